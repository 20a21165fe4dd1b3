//! Starting points to choose from: each a phrase with a process, and what to listen for.

use crate::editor::focus;
use crate::editor::keep::draw;
use crate::editor::listen::{entered, stepped};
use crate::editor::look::Look;
use crate::editor::seen::Seen;
use crate::editor::wish::{SongWish, Wish};
use egui::{
    Align2, EventFilter, FontId, Id, Key, Label, Rect, Response, RichText, Role, ScrollArea, Sense,
    Stroke, Ui, UiBuilder, WidgetInfo, pos2, style::ScrollAnimation, vec2,
};
use procession_core::phrase::Phrase;
use procession_core::starting_points::{ALL, StartingPoint};
use procession_core::words::number_of;

/// What the list remembers between two frames.
#[derive(Default)]
pub struct StartsState {
    /// The one that is looked at.
    chosen: usize,
    /// The phrases, read once.
    phrases: Vec<Phrase>,
    /// Whether the keyboard is to go to the one that is looked at.
    keyboard: bool,
    /// The one that was brought into sight with what is said of it.
    in_sight: Option<usize>,
}

impl StartsState {
    /// The keyboard goes to the one that is looked at.
    pub fn take_keyboard(&mut self) {
        self.keyboard = true;
    }
}

const GAP: f32 = 4.0;
/// Of one in the list.
const ROW: f32 = 36.0;
/// Of its picture there.
const PICTURE: f32 = 72.0;
/// Of the list, where what is said of one stands beside it.
const LIST: f32 = 270.0;
/// Where there is less, it stands beneath.
const LEAST_BESIDE: f32 = 560.0;
/// Lines of text are no longer.
const LONGEST_LINE: f32 = 560.0;

/// Shows them in all the room there is.
pub fn show(ui: &mut Ui, seen: &Seen, look: &Look, state: &mut StartsState) -> Vec<Wish> {
    if state.phrases.is_empty() {
        state.phrases = ALL.iter().map(StartingPoint::phrase).collect();
    }
    let mut view = StartsView {
        seen,
        look,
        state,
        wishes: Vec::new(),
    };
    let room = ui.available_rect_before_wrap();
    if room.width() < LEAST_BESIDE {
        scrolled(ui, "starting points", |ui| {
            let mut told = None;
            for index in 0..ALL.len() {
                view.row(ui, index);
                if index == view.state.chosen {
                    let room = ui.scope(|ui| view.told(ui)).response.rect;
                    ui.add_space(6.0);
                    let is_new = view.state.in_sight.replace(index) != Some(index);
                    told = is_new.then(|| room.with_min_y(room.min.y - ROW - GAP));
                }
            }
            told
        });
        return view.wishes;
    }
    let mut beside = |from: f32, to: f32, content: &mut dyn FnMut(&mut Ui)| {
        let room = room.with_min_x(from).with_max_x(to);
        let mut ui = ui.new_child(UiBuilder::new().max_rect(room).id_salt(from as i32));
        content(&mut ui);
    };
    let middle = room.min.x + LIST;
    beside(room.min.x, middle, &mut |ui| {
        scrolled(ui, "starting points", |ui| {
            (0..ALL.len()).for_each(|index| view.row(ui, index));
            None
        });
    });
    beside(middle + 14.0, room.max.x, &mut |ui| {
        scrolled(ui, "starting point", |ui| {
            ui.set_max_width(ui.available_width().min(LONGEST_LINE));
            view.picture(ui);
            view.told(ui);
            None
        });
    });
    view.wishes
}

/// Scrolled as far as is needed for the keyboard, and for the room that `content` wants seen.
fn scrolled(ui: &mut Ui, salt: &str, content: impl FnOnce(&mut Ui) -> Option<Rect>) {
    let width = ui.available_width();
    ScrollArea::vertical()
        .id_salt(salt)
        .auto_shrink(false)
        .show(ui, |ui| {
            // Beside the bar that scrolls.
            ui.set_max_width(width - 10.0);
            ui.spacing_mut().item_spacing = vec2(GAP, GAP);
            let wanted = content(ui);
            focus::follow(ui);
            if let Some(wanted) = wanted {
                // At once: the keyboard, which comes after, then has no further to go.
                ui.scroll_to_rect_animation(wanted, None, ScrollAnimation::none());
            }
        });
}

struct StartsView<'a> {
    seen: &'a Seen,
    look: &'a Look,
    state: &'a mut StartsState,
    wishes: Vec<Wish>,
}

impl StartsView<'_> {
    /// One of the list: its picture, what it is called, and what it is an example of.
    fn row(&mut self, ui: &mut Ui, index: usize) {
        let Some(start) = ALL.get(index) else {
            return;
        };
        let (_, room) = ui.allocate_space(vec2(ui.available_width(), ROW));
        let response = ui.interact(room, id(index), Sense::click());
        let is_chosen = index == self.state.chosen;
        let label = format!("Starting point: {}, {}", start.name, start.idea);
        response
            .widget_info(|| WidgetInfo::selected(Role::Button, true, is_chosen, label.as_str()));
        self.look.frame(ui.painter(), room, &response, is_chosen);
        let inner = room.shrink2(vec2(7.0, 4.0));
        let picture = inner
            .with_min_x(inner.max.x - PICTURE)
            .shrink2(vec2(0.0, 3.0));
        let painter = ui.painter().with_clip_rect(room);
        draw(&painter, picture, &self.state.phrases[index], self.look);
        let painter = ui
            .painter()
            .with_clip_rect(room.with_max_x(picture.min.x - 4.0));
        let lines = [
            (
                inner.left_top(),
                Align2::LEFT_TOP,
                start.name,
                13.0,
                self.look.ink,
            ),
            (
                inner.left_bottom(),
                Align2::LEFT_BOTTOM,
                start.idea,
                11.5,
                self.look.quiet,
            ),
        ];
        for (at, align, text, size, colour) in lines {
            painter.text(at, align, text, FontId::proportional(size), colour);
        }
        self.hand(ui, &response, index);
        // After the hand: what was pressed to come here neither begins it nor leads further.
        if index == self.state.chosen && std::mem::take(&mut self.state.keyboard) {
            response.request_focus();
        }
        response.on_hover_text("Click to read what to listen for; Enter begins with it.");
    }

    /// What is looked at follows hand and keyboard.
    fn hand(&mut self, ui: &Ui, response: &Response, index: usize) {
        if entered(ui, response) {
            self.state.chosen = index;
            self.begin();
        } else if response.clicked() || response.gained_focus() {
            response.request_focus();
            self.state.chosen = index;
        }
        if response.double_clicked() {
            self.begin();
        }
        if !response.has_focus() {
            return;
        }
        let filter = EventFilter {
            vertical_arrows: true,
            ..EventFilter::default()
        };
        ui.memory_mut(|memory| memory.set_focus_lock_filter(response.id, filter));
        let by = ui.input(|input| {
            let presses = |key| input.num_presses(key) as isize;
            presses(Key::ArrowDown) - presses(Key::ArrowUp)
        });
        let to = stepped(index, by, ALL.len());
        if to != index {
            self.state.chosen = to;
            self.state.keyboard = true;
        }
    }

    fn chosen(&self) -> Option<&'static StartingPoint> {
        ALL.get(self.state.chosen)
    }

    fn begin(&mut self) {
        self.wishes.extend(self.chosen().map(Wish::StartFrom));
    }

    /// Its phrase, larger.
    fn picture(&self, ui: &mut Ui) {
        let (_, room) = ui.allocate_space(vec2(ui.available_width(), 56.0));
        let phrase = &self.state.phrases[self.state.chosen];
        let step = self.chosen().map_or(1.0, |start| start.grid.beats());
        let steps = (phrase.length() / step).round() as usize;
        let painter = ui.painter();
        for line in 0..=steps {
            let x = room.left() + room.width() * line as f32 / steps.max(1) as f32;
            let stroke = Stroke::new(1.0, self.look.rule);
            painter.line_segment([pos2(x, room.top()), pos2(x, room.bottom())], stroke);
        }
        draw(painter, room.shrink2(vec2(0.0, 5.0)), phrase, self.look);
    }

    /// What to listen for, and the way to hear it.
    fn told(&mut self, ui: &mut Ui) {
        let Some(start) = self.chosen() else {
            return;
        };
        for sentence in start.listen {
            let text = RichText::new(sentence).size(13.5).color(self.look.ink);
            ui.add(Label::new(text).wrap());
        }
        let phrase = &self.state.phrases[self.state.chosen];
        let steps = (phrase.length() / start.grid.beats()).round() as usize;
        let about = format!(
            "{} in {}; about {} quarter notes a minute.",
            number_of(phrase.notes().len(), "note"),
            number_of(steps, "step"),
            start.tempo
        );
        ui.label(RichText::new(about).size(12.0).color(self.look.quiet));
        ui.horizontal_wrapped(|ui| {
            let begin = ui.button("Begin with it");
            let begin = begin.on_hover_text(
                "Phrase, parameters, form and mode changes take the place of what is there: one step, \
                 which Undo takes back. The phrase that gives way stays among the takes.",
            );
            if begin.clicked() {
                self.begin();
            }
            let tempo = format!("Song to {} bpm", start.tempo);
            let is_so = (self.seen.snapshot.tempo - start.tempo).abs() < 0.05;
            if self.seen.own_song && !is_so && ui.button(tempo).clicked() {
                self.wishes.push(Wish::Song(SongWish::Tempo(start.tempo)));
            }
        });
    }
}

/// The keyboard stays with one when the room moves.
fn id(index: usize) -> Id {
    Id::unique("starting point").with(index)
}
