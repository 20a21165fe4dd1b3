//! What is kept aside: eight sketches, two of them held against each other, and the takes; and
//! beside them the starting points.

use crate::editor::choice;
use crate::editor::compare::Side;
use crate::editor::focus;
use crate::editor::listen::{entered, stepped, steps};
use crate::editor::look::Look;
use crate::editor::model::keep::{About, about_take, differences};
use crate::editor::seen::Seen;
use crate::editor::starts::{self, StartsState};
use crate::editor::views::choose;
use crate::editor::wish::{SketchWish, Wish};
use crate::state::{Comes, LONGEST_NAME, PLACES, Sketch, now};
use egui::{
    Align2, Button, FontId, Id, Key, Label, Painter, Rect, Response, RichText, Role, ScrollArea,
    Sense, Stroke, TextEdit, Ui, WidgetInfo, pos2, vec2,
};
use procession_core::phrase::Phrase;
use std::sync::Arc;
use std::time::Duration;

/// What the view remembers between two frames.
#[derive(Default)]
pub struct KeepState {
    /// The place that is looked at, counted from 0.
    chosen: usize,
    /// The name that is being typed.
    naming: Option<(usize, String)>,
    /// The place to which the keyboard goes.
    keyboard: Option<usize>,
    /// What was said of sketches, as long as they are the same.
    abouts: [Option<(Arc<Sketch>, About, String)>; PLACES],
    /// Whether starting points are shown; until that was chosen, they are while nothing is kept.
    starts_shown: Option<bool>,
    starts: StartsState,
}

impl KeepState {
    /// Starting points are shown, and the keyboard goes to them.
    pub fn show_starting_points(&mut self) {
        self.starts_shown = Some(true);
        self.starts.take_keyboard();
    }
}

/// What there is to look at.
const PAGES: [&str; 2] = ["Sketches and takes", "Starting points"];

const GAP: f32 = 6.0;
/// Of a place for a sketch.
const CARD: f32 = 62.0;
/// Of a take.
const TAKE: egui::Vec2 = vec2(112.0, 50.0);
const SMALL: f32 = 11.5;
/// How long ago something was is looked at anew so often.
const A_WHILE: Duration = Duration::from_secs(20);

/// Shows it in all the room there is.
pub fn show(ui: &mut Ui, seen: &Seen, look: &Look, state: &mut KeepState) -> Vec<Wish> {
    let mut view = KeepView {
        seen,
        look,
        state,
        wishes: Vec::new(),
    };
    if view.page(ui) {
        let wishes = starts::show(ui, seen, look, &mut state.starts);
        if !wishes.is_empty() {
            // What was chosen stays, to be listened for.
            state.starts_shown = Some(true);
        }
        return wishes;
    }
    view.learn();
    let width = ui.available_width();
    ScrollArea::vertical()
        .id_salt("keep")
        .auto_shrink(false)
        .show(ui, |ui| {
            // Beside the bar that scrolls.
            ui.set_max_width(width - 10.0);
            ui.spacing_mut().item_spacing = vec2(GAP, GAP);
            view.heading(ui, "Sketches");
            view.places(ui);
            view.tools(ui);
            view.compared(ui);
            ui.add_space(4.0);
            view.heading(ui, "Takes");
            view.takes(ui);
            focus::follow(ui);
        });
    view.wishes
}

/// Whether the key was pressed by which the other of two sketches comes: Ctrl+B, in every view.
pub fn flips(ui: &Ui) -> Option<Wish> {
    let types = ui.ctx().text_edit_focused();
    let pressed = ui.input_mut(|input| input.consume_key(egui::Modifiers::COMMAND, Key::B));
    (pressed && !types).then_some(Wish::Sketch(SketchWish::Flip))
}

struct KeepView<'a> {
    seen: &'a Seen,
    look: &'a Look,
    state: &'a mut KeepState,
    wishes: Vec<Wish>,
}

impl KeepView<'_> {
    /// Chooses what is looked at: whether that is the starting points.
    fn page(&mut self, ui: &mut Ui) -> bool {
        let nothing_kept = self.seen.phrase().is_empty()
            && self.seen.sketches.is_empty()
            && self.seen.takes.iter().len() == 0;
        let shown = self.state.starts_shown.unwrap_or(nothing_kept);
        let chosen = choose(ui, &PAGES, usize::from(shown), self.look);
        if let Some(page) = chosen {
            self.state.starts_shown = Some(page == 1);
        }
        chosen.map_or(shown, |page| page == 1)
    }

    /// What each sketch is in words, worked out once.
    fn learn(&mut self) {
        for (place, known) in self.state.abouts.iter_mut().enumerate() {
            let sketch = self.seen.sketches.get(place);
            let is_known = match (&known, sketch) {
                (Some((known, ..)), Some(sketch)) => Arc::ptr_eq(known, sketch),
                (None, None) => true,
                _ => false,
            };
            if !is_known {
                *known = sketch.map(|sketch| {
                    let about = About::of(sketch);
                    let words = about.words(sketch);
                    (sketch.clone(), about, words)
                });
            }
        }
    }

    fn wish(&mut self, wish: SketchWish) {
        self.wishes.push(Wish::Sketch(wish));
    }

    fn heading(&self, ui: &mut Ui, text: &str) {
        ui.label(RichText::new(text).strong().color(self.look.ink));
    }

    fn places(&mut self, ui: &mut Ui) {
        let width = ui.available_width();
        let columns = if width > 460.0 { 4 } else { 2 };
        let card = (width - GAP * (columns - 1) as f32) / columns as f32;
        // The keyboard stays where it is when the room moves.
        let base = Id::unique("sketch");
        for row in 0..PLACES / columns {
            let (_, line) = ui.allocate_space(vec2(width, CARD));
            for column in 0..columns {
                let left = line.left() + (card + GAP) * column as f32;
                let room = Rect::from_min_size(pos2(left, line.top()), vec2(card, CARD));
                let place = row * columns + column;
                self.place(ui, base.with(place), room, place, columns);
            }
        }
    }

    fn place(&mut self, ui: &Ui, id: Id, room: Rect, place: usize, columns: usize) {
        let response = ui.interact(room, id, Sense::click());
        let is_chosen = self.state.chosen == place;
        let number = place + 1;
        let known = self.state.abouts[place].as_ref();
        let is_there = known.is_some();
        let (name, words) = match known {
            Some((sketch, _, words)) => (sketch.name.clone(), words.clone()),
            None => (String::new(), "empty".to_owned()),
        };
        let label = format!(
            "Sketch {number}: {}",
            [&name, &words].map(String::as_str).join(" ")
        );
        response.widget_info(|| WidgetInfo::selected(Role::Button, true, is_chosen, &label));
        let painter = ui.painter().with_clip_rect(room);
        self.look.frame(&painter, room, &response, is_chosen);
        let title = match (name.is_empty(), self.letter(place)) {
            (true, None) => format!("{number}"),
            (true, Some(letter)) => format!("{number} · {letter}"),
            (false, None) => format!("{number}  {name}"),
            (false, Some(letter)) => format!("{number} · {letter}  {name}"),
        };
        let inner = room.shrink(6.0);
        let text = |at, text: &str, size, colour| {
            painter.text(
                at,
                Align2::LEFT_TOP,
                text,
                FontId::proportional(size),
                colour,
            )
        };
        text(inner.min, &title, 13.0, self.look.ink);
        if let Some((sketch, ..)) = known {
            let picture = inner
                .with_min_y(inner.min.y + 19.0)
                .with_max_y(inner.max.y - 15.0);
            draw(&painter, picture, &sketch.phrase, self.look);
        }
        let foot = pos2(inner.min.x, inner.max.y - 12.0);
        text(foot, &words, SMALL, self.look.quiet);
        if response.clicked() {
            response.request_focus();
            self.state.chosen = place;
            if is_there {
                self.wish(SketchWish::CallUp(place));
            }
        }
        if self.state.keyboard == Some(place) {
            self.state.keyboard = None;
            response.request_focus();
        }
        if response.has_focus() {
            self.keys(ui, &response, place, columns);
        }
        response.on_hover_text(match is_there {
            true => format!(
                "{words}. Click, or Enter, calls it up; S stores what there is now in its place, \
                 Delete empties it. A program change {number} calls it up too."
            ),
            false => "Nothing is kept here yet. S, or Store, keeps all as it stands: phrase, \
                      parameters, route, mode changes, what was performed."
                .to_owned(),
        });
    }

    /// Whether it is A or B.
    fn letter(&self, place: usize) -> Option<&'static str> {
        let (a, b) = self.seen.compared.pair;
        match place {
            place if place == a => Some("A"),
            place if place == b => Some("B"),
            _ => None,
        }
    }

    /// With the keyboard on a place.
    fn keys(&mut self, ui: &Ui, response: &Response, place: usize, columns: usize) {
        let filter = egui::EventFilter {
            horizontal_arrows: true,
            vertical_arrows: true,
            ..egui::EventFilter::default()
        };
        ui.memory_mut(|memory| memory.set_focus_lock_filter(response.id, filter));
        let (across, down, stores, empties) = ui.input(|input| {
            let presses = |key| input.num_presses(key) as isize;
            (
                presses(Key::ArrowRight) - presses(Key::ArrowLeft),
                presses(Key::ArrowDown) - presses(Key::ArrowUp),
                input.key_pressed(Key::S) && input.modifiers.is_none(),
                input.key_pressed(Key::Delete) || input.key_pressed(Key::Backspace),
            )
        });
        let by = across + down * columns as isize;
        let to = place.saturating_add_signed(by).min(PLACES - 1);
        if to != place {
            self.state.chosen = to;
            self.state.keyboard = Some(to);
        }
        if stores {
            self.wish(SketchWish::Store(place));
        }
        if empties && self.seen.sketches.get(place).is_some() {
            self.wish(SketchWish::Empty(place));
        }
    }

    /// What can be done with the place that is looked at.
    fn tools(&mut self, ui: &mut Ui) {
        let place = self.state.chosen.min(PLACES - 1);
        let sketch = self.seen.sketches.get(place).cloned();
        let is_there = sketch.is_some();
        ui.horizontal_wrapped(|ui| {
            let store = ui.button(format!("Store as {}", place + 1));
            if store
                .on_hover_text("Keeps all as it stands in the place that is looked at.")
                .clicked()
            {
                self.wish(SketchWish::Store(place));
            }
            let call = ui.add_enabled(is_there, Button::new("Call up"));
            if call.clicked() {
                self.wish(SketchWish::CallUp(place));
            }
            self.comes(ui);
            self.name(ui, place, sketch.as_deref());
            let free = (0..PLACES).find(|place| self.seen.sketches.get(*place).is_none());
            let double = ui.add_enabled(is_there && free.is_some(), Button::new("Duplicate"));
            let double = double.on_hover_text("Keeps it in the first empty place, too.");
            if let Some(to) = free.filter(|_| double.clicked()) {
                self.wish(SketchWish::Duplicate { from: place, to });
                self.state.chosen = to;
            }
            let empty = ui.add_enabled(is_there, Button::new("Empty"));
            if empty.on_hover_text("Undo brings it back.").clicked() {
                self.wish(SketchWish::Empty(place));
            }
        });
    }

    /// When one that is called up comes.
    fn comes(&mut self, ui: &mut Ui) {
        let names: Vec<String> = Comes::ALL.map(|comes| comes.name().to_owned()).into();
        let now = Comes::ALL
            .iter()
            .position(|comes| *comes == self.seen.comes);
        let label = "When a sketch comes";
        let shown = (&names[..], now.unwrap_or(0));
        let (menu, wanted) = choice::menu(ui, self.look, "comes", label, 132.0, (shown.0, shown.1));
        if let Some(comes) = wanted.and_then(|wanted| Comes::ALL.get(wanted)) {
            self.wish(SketchWish::Comes(*comes));
        }
        menu.on_hover_text("When a sketch that is called up comes, by a program change too.");
    }

    fn name(&mut self, ui: &mut Ui, place: usize, sketch: Option<&Sketch>) {
        let kept = sketch.map(|sketch| sketch.name.clone()).unwrap_or_default();
        let here = |naming: &&(usize, String)| naming.0 == place;
        let typed = self.state.naming.as_ref().filter(here);
        let mut text = typed.map_or_else(|| kept.clone(), |typed| typed.1.clone());
        let edit = TextEdit::singleline(&mut text)
            .hint_text("Name")
            .char_limit(LONGEST_NAME)
            .desired_width(120.0);
        let field = ui.add_enabled(sketch.is_some(), edit);
        let field = field.accessible_name("Name of the sketch");
        if field.changed() {
            self.state.naming = Some((place, text.clone()));
        }
        let left = field.lost_focus();
        focus::entered(ui, &field);
        if left
            && self
                .state
                .naming
                .take_if(|naming| naming.0 == place)
                .is_some()
        {
            let given_up = ui.input(|input| input.key_pressed(Key::Escape));
            if !given_up && text.trim() != kept {
                self.wish(SketchWish::Name(place, text));
            }
        }
    }

    /// Two of them, held against each other.
    fn compared(&mut self, ui: &mut Ui) {
        let compared = self.seen.compared;
        let (a, b) = compared.pair;
        let names: Vec<String> = (1..=PLACES).map(|number| number.to_string()).collect();
        ui.horizontal_wrapped(|ui| {
            for (letter, now) in [("A", a), ("B", b)] {
                let label = format!("Sketch that is {letter}");
                ui.label(letter);
                let (_, wanted) = choice::menu(ui, self.look, letter, &label, 44.0, (&names, now));
                if let Some(wanted) = wanted.filter(|wanted| *wanted != now) {
                    let pair = if letter == "A" {
                        (wanted, b)
                    } else {
                        (a, wanted)
                    };
                    self.wish(SketchWish::Pair(pair.0, pair.1));
                }
            }
            let (filled, is_heard) = (self.both().is_some(), compared.heard.is_some());
            let other = match compared.heard {
                Some(Side::A) => "Hear B",
                _ => "Hear A",
            };
            let flip = ui.add_enabled(filled, Button::new(other));
            let flip = flip.on_disabled_hover_text("Store a sketch in both places first.");
            if flip
                .on_hover_text(
                    "The other of the two comes at once, in the audition as loud as this one. \
                     Ctrl+B does the same in every view.",
                )
                .clicked()
            {
                self.wish(SketchWish::Flip);
            }
            if is_heard && ui.button("End comparing").clicked() {
                self.wish(SketchWish::Alone);
            }
            let words = match (compared.heard, compared.louder) {
                (None, _) => String::new(),
                (Some(_), None) => "Measuring how loud they are ...".to_owned(),
                (Some(side), Some(louder)) => evened(side, louder),
            };
            ui.label(RichText::new(words).color(self.look.quiet));
        });
        if let Some(((one, about_one, _), (other, about_other, _))) = self.both() {
            let words = differences((one, about_one), (other, about_other));
            let words = RichText::new(format!("B: {words}.")).color(self.look.ink);
            ui.add(Label::new(words).wrap());
        }
    }

    #[expect(clippy::type_complexity, reason = "two of what is known of a sketch")]
    fn both(&self) -> Option<(&(Arc<Sketch>, About, String), &(Arc<Sketch>, About, String))> {
        let (a, b) = self.seen.compared.pair;
        let known = |place: usize| self.state.abouts.get(place)?.as_ref();
        known(a).zip(known(b))
    }

    /// The newest first.
    fn takes(&mut self, ui: &mut Ui) {
        let count = self.seen.takes.iter().len();
        if count == 0 {
            let words = "Every phrase that you hold or load stays here, the last 32: a click brings \
                         it back.";
            ui.add(Label::new(RichText::new(words).color(self.look.quiet)).wrap());
            return;
        }
        ui.ctx().request_repaint_after(A_WHILE);
        let base = Id::unique("take");
        let now = now();
        let now_there = self.seen.takes.place_of(self.seen.phrase());
        ui.horizontal_wrapped(|ui| {
            for (index, take) in self.seen.takes.iter().enumerate().rev() {
                let (_, room) = ui.allocate_space(TAKE);
                let response = ui.interact(room, base.with(index), Sense::click());
                let words = about_take(take, now);
                let is_there = now_there == Some(index);
                response.widget_info(|| {
                    WidgetInfo::selected(Role::Button, true, is_there, format!("Take: {words}"))
                });
                let painter = ui.painter().with_clip_rect(room);
                self.look.frame(&painter, room, &response, is_there);
                let inner = room.shrink(5.0);
                draw(&painter, inner.with_max_y(inner.max.y - 14.0), &take.phrase, self.look);
                let font = FontId::proportional(10.5);
                let foot = inner.left_bottom();
                painter.text(foot, Align2::LEFT_BOTTOM, &words, font, self.look.quiet);
                let on = steps(ui, &response);
                if on != 0 {
                    let to = stepped(index, -on, count);
                    ui.memory_mut(|memory| memory.request_focus(base.with(to)));
                }
                if response.clicked() || entered(ui, &response) {
                    response.request_focus();
                    self.wishes.push(Wish::BringBack(index));
                }
                response.on_hover_text(format!(
                    "{words}. Click, or Enter, brings it back; the phrase that gives way stays here."
                ));
            }
        });
    }
}

/// What was done for both to be as loud.
fn evened(side: Side, louder: f64) -> String {
    let softer = match side {
        Side::A => louder,
        Side::B => -louder,
    };
    let letter = match side {
        Side::A => "A",
        Side::B => "B",
    };
    if softer < 0.05 {
        format!("{letter} is heard, as loud as it is.")
    } else {
        format!("{letter} is heard {softer:.1} dB softer, so that both are as loud.")
    }
}

/// The phrase, small: a line a note.
pub fn draw(painter: &Painter, room: Rect, phrase: &Phrase, look: &Look) {
    let keys = phrase.notes().iter().map(|note| note.key.number());
    let (Some(low), Some(high)) = (keys.clone().min(), keys.max()) else {
        return;
    };
    let span = f32::from(high - low).max(1.0);
    let x = |beats: f64| room.left() + (beats / phrase.length()) as f32 * room.width();
    for note in phrase.notes() {
        let share = if high == low {
            0.5
        } else {
            f32::from(note.key.number() - low) / span
        };
        let y = room.bottom() - 1.5 - share * (room.height() - 3.0);
        let right = x(note.onset + note.length).min(room.right());
        let right = right.max(x(note.onset) + 2.0);
        painter.hline(x(note.onset)..=right, y, Stroke::new(2.0, look.voices[0]));
    }
}
