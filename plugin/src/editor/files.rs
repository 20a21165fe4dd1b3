//! The view of what can be taken away as files: which, where to, and what became of them.

use crate::editor::about::{self, AboutState};
use crate::editor::choice;
use crate::editor::focus;
use crate::editor::look::Look;
use crate::editor::model::files::{
    Answer, TRANSPOSITIONS, Tone, answer, button, in_order, instruments, progress, sounds,
    suggested_name,
};
use crate::editor::seen::Seen;
use crate::editor::wish::Wish;
use crate::files::{FileKind, Order, Trouble, Writing, place, unseen};
use egui::{
    Align, Button, Label, Layout, RichText, ScrollArea, Stroke, TextEdit, Ui, UiBuilder, vec2,
};
use procession_core::exchange::score::{Layout as PartLayout, Transposition};
use procession_core::part::{MAX_PARTS, Part};

/// What is chosen and typed. It stays while the plug-in does.
pub struct FilesState {
    /// What stands in the field; none before the view was first shown.
    folder: Option<String>,
    /// What was typed; until then a name is suggested.
    name: Option<String>,
    kinds: Vec<FileKind>,
    transpositions: Vec<Transposition>,
    /// The order that was given last.
    given: Order,
    /// How many orders had been given when their answer was last shown.
    shown: u64,
    /// Orders up to this one are over and done with: something else was typed since.
    dismissed: u64,
    about: AboutState,
}

impl Default for FilesState {
    fn default() -> Self {
        Self {
            folder: None,
            name: None,
            kinds: vec![
                FileKind::Midi,
                FileKind::Score(PartLayout::SharedBeatOne),
                FileKind::PlanText,
                FileKind::PicturePng,
            ],
            transpositions: Vec::new(),
            given: Order::default(),
            shown: 0,
            dismissed: 0,
            about: AboutState::default(),
        }
    }
}

/// Shows the view in all the room there is.
pub fn show(ui: &mut Ui, seen: &Seen, look: &Look, state: &mut FilesState) -> Vec<Wish> {
    if state.about.is_open {
        about::show(ui, look, &mut state.about, about::NOTICES);
        return Vec::new();
    }
    let mut view = FilesView {
        seen,
        look,
        state,
        wishes: Vec::new(),
    };
    let size = ui.available_size();
    ScrollArea::vertical()
        .id_salt("files")
        .auto_shrink(false)
        .show(ui, |ui| {
            // Beside the bar that scrolls.
            ui.set_max_width(size.x - 10.0);
            view.folder(ui);
            view.name(ui);
            view.answer(ui);
            view.rule(ui);
            view.kinds(ui, size.x >= 590.0 && size.y >= 330.0);
            view.parts(ui);
            view.about(ui);
            focus::follow(ui);
        });
    view.wishes
}

struct FilesView<'a> {
    seen: &'a Seen,
    look: &'a Look,
    state: &'a mut FilesState,
    wishes: Vec<Wish>,
}

/// Of the words before a field, in points.
const LABEL: f32 = 48.0;
/// Of a kind's switch and name.
const KIND: f32 = 160.0;
/// Of a part's name and choice.
const PART: f32 = 156.0;
/// Height of a row.
const ROW: f32 = 22.0;

impl FilesView<'_> {
    fn kinds(&mut self, ui: &mut Ui, roomy: bool) {
        if !roomy {
            // Down, not across: the long names stand in the first column.
            let columns = if ui.available_width() < 280.0 { 1 } else { 2 };
            let rows = FileKind::ALL.len().div_ceil(columns);
            for row in 0..rows {
                ui.horizontal(|ui| {
                    for kind in FileKind::ALL.into_iter().skip(row).step_by(rows) {
                        cell(ui, KIND, |ui| self.kind(ui, kind));
                    }
                });
            }
            return;
        }
        for kind in FileKind::ALL {
            ui.horizontal(|ui| {
                cell(ui, KIND + 8.0, |ui| self.kind(ui, kind));
                let purpose = RichText::new(kind.purpose()).color(self.look.quiet);
                ui.add(Label::new(purpose.size(13.0)).truncate());
            });
        }
    }

    fn kind(&mut self, ui: &mut Ui, kind: FileKind) {
        let kinds = &mut self.state.kinds;
        let mut on = kinds.contains(&kind);
        let switch = ui.checkbox(&mut on, kind.name());
        if switch.changed() {
            kinds.retain(|other| *other != kind);
            if on {
                kinds.push(kind);
            }
        }
        switch.on_hover_text(kind.purpose());
    }

    /// How each part's instrument sounds, if there is a score to be written.
    fn parts(&mut self, ui: &mut Ui) {
        let is_score = |kind: &FileKind| matches!(kind, FileKind::Score(_) | FileKind::Players);
        if !self.state.kinds.iter().any(is_score) {
            return;
        }
        let parts: Vec<Part> = self.seen.process.parts().collect();
        let all = &mut self.state.transpositions;
        all.resize(MAX_PARTS, Transposition::default());
        ui.add_space(6.0);
        let heading = RichText::new("In the score, instruments sound").color(self.look.quiet);
        ui.add(Label::new(heading.size(13.0)));
        cells(ui, PART, parts.len(), |ui, index| {
            self.part(ui, parts[index]);
        });
    }

    fn part(&mut self, ui: &mut Ui, part: Part) {
        let name = match part {
            Part::ResultingLine => "Line".to_owned(),
            Part::Steady | Part::Copy(_) => part.to_string(),
        };
        let chosen = &mut self.state.transpositions[part.index()];
        label(ui, &name);
        let names = TRANSPOSITIONS.map(|choice| sounds(choice).to_owned());
        let now = TRANSPOSITIONS.iter().position(|choice| choice == chosen);
        let about = format!("{name} sounds");
        let now = (&names[..], now.unwrap_or(0));
        let (menu, picked) = choice::menu(ui, self.look, ("part", part), &about, 104.0, now);
        if let Some(picked) = picked {
            *chosen = TRANSPOSITIONS[picked];
        }
        menu.on_hover_text(instruments(*chosen));
    }

    /// Last, where it is in nobody's way.
    fn about(&mut self, ui: &mut Ui) {
        ui.add_space(6.0);
        let button = ui.button("About Procession");
        let told = "Its version and terms, what it sends, and what in it others wrote.";
        if button.on_hover_text(told).clicked() {
            self.state.about.is_open = true;
        }
    }

    fn folder(&mut self, ui: &mut Ui) {
        let first = || place::first(std::env::home_dir().as_deref(), |path| path.is_dir());
        let folder = self.state.folder.get_or_insert_with(first);
        let hint = RichText::new("Path of a folder").color(self.look.quiet);
        ui.horizontal(|ui| {
            label(ui, "Folder");
            let field = TextEdit::singleline(folder)
                .hint_text(hint)
                .desired_width(ui.available_width());
            let field = ui.add(field).accessible_name("Folder");
            focus::entered(ui, &field);
            if field.changed() {
                self.state.dismissed = self.seen.writing.orders;
            }
            field.on_hover_text("The folder the files go to; ~ is your home folder.");
        });
    }

    fn name(&mut self, ui: &mut Ui) {
        let kinds = in_order(&self.state.kinds);
        let nothing = self.seen.phrase().is_empty();
        let going = matches!(self.seen.writing.writing, Writing::Going { .. });
        let mut name = self
            .state
            .name
            .clone()
            .unwrap_or_else(|| suggested_name(self.seen));
        let mut entered = false;
        ui.horizontal(|ui| {
            label(ui, "Name");
            let width = (ui.available_width() - 110.0).max(80.0);
            let field = ui
                .add(TextEdit::singleline(&mut name).desired_width(width))
                .accessible_name("Name");
            if field.changed() {
                self.state.name = Some(name.clone());
                self.state.dismissed = self.seen.writing.orders;
            }
            entered = focus::entered(ui, &field);
            field.on_hover_text("The name of all files; each gets its own extension.");
            let write = Button::new(RichText::new(button(kinds.len())).color(self.look.card))
                .fill(self.look.accent)
                .min_size(vec2(100.0, ROW));
            let may = !nothing && !going && !kinds.is_empty();
            if ui.add_enabled(may, write).clicked() || (entered && may) {
                self.give(Order {
                    folder: self.state.folder.clone().unwrap_or_default(),
                    name: name.clone(),
                    kinds: kinds.clone(),
                    transpositions: self.state.transpositions.clone(),
                    ..Order::default()
                });
            }
        });
        let folder = self.state.folder.clone().unwrap_or_default();
        for (what, typed) in [("name", &name), ("folder", &folder)] {
            if let Some(spelt) = unseen::spelt_out(typed) {
                let holds = format!("The {what} holds signs that are not seen: {spelt}");
                self.say(ui, Tone::Alarm, &holds);
            }
        }
        if nothing {
            self.say(ui, Tone::Plain, &Trouble::NoPhrase.to_string());
        } else if kinds.is_empty() {
            self.say(ui, Tone::Plain, &Trouble::NoKind.to_string());
        }
    }

    fn give(&mut self, order: Order) {
        self.state.given = order.clone();
        self.wishes.push(Wish::Write(Box::new(order)));
    }

    /// How far the writing has come, how it ended, or what has to be decided.
    fn answer(&mut self, ui: &mut Ui) {
        let report = &self.seen.writing;
        if let Some((share, words)) = progress(&report.writing) {
            ui.horizontal(|ui| {
                if ui.button("Stop").clicked() {
                    self.wishes.push(Wish::StopWriting);
                }
                let words = RichText::new(words).color(self.look.ink);
                ui.add(Label::new(words).truncate());
            });
            let bar = egui::ProgressBar::new(share)
                .desired_height(5.0)
                .fill(self.look.accent);
            ui.add(bar);
        }
        let Writing::Ended(ending) = &report.writing else {
            return;
        };
        if self.state.dismissed >= report.orders {
            return;
        }
        let Answer { lines, choices } = answer(ending, &self.state.given);
        let top = ui.cursor().min;
        for line in &lines {
            self.say(ui, line.tone, &line.text);
        }
        let mut chosen = None;
        if !choices.is_empty() {
            ui.horizontal_wrapped(|ui| {
                for choice in choices {
                    let button = ui.button(choice.label).on_hover_text(choice.about);
                    if button.clicked() {
                        chosen = Some(choice.order);
                    }
                }
                if ui
                    .button("Leave")
                    .on_hover_text("Writes nothing.")
                    .clicked()
                {
                    self.state.dismissed = report.orders;
                }
            });
        }
        if let Some(order) = chosen {
            self.give(order);
        }
        // Where the room is small, an answer is worth more than what led to it.
        if std::mem::replace(&mut self.state.shown, report.orders) != report.orders {
            let answered = egui::Rect::from_min_max(top, ui.cursor().min);
            ui.scroll_to_rect(answered, None);
        }
    }

    fn rule(&self, ui: &mut Ui) {
        let (_, place) = ui.allocate_space(vec2(ui.available_width(), 9.0));
        let stroke = Stroke::new(1.0, self.look.rule);
        ui.painter()
            .hline(place.x_range(), place.center().y, stroke);
    }

    fn say(&self, ui: &mut Ui, tone: Tone, text: &str) {
        let ink = match tone {
            Tone::Plain => self.look.ink,
            Tone::Quiet => self.look.quiet,
            Tone::Alarm => self.look.alarm,
        };
        ui.add(Label::new(RichText::new(text).color(ink)).wrap());
    }
}

fn label(ui: &mut Ui, text: &str) {
    cell(ui, LABEL, |ui| {
        ui.label(text);
    });
}

/// Something in a place of that width, however much of it it takes.
fn cell(ui: &mut Ui, width: f32, content: impl FnOnce(&mut Ui)) {
    let (_, place) = ui.allocate_space(vec2(width, ROW));
    let from_left = UiBuilder::new()
        .max_rect(place)
        .layout(Layout::left_to_right(Align::Center));
    let mut child = ui.new_child(from_left);
    child.spacing_mut().item_spacing.x = 4.0;
    content(&mut child);
}

/// So many things in columns of that width.
fn cells(ui: &mut Ui, width: f32, count: usize, mut content: impl FnMut(&mut Ui, usize)) {
    let columns = ((ui.available_width() / width) as usize).max(1);
    for row in 0..count.div_ceil(columns) {
        ui.horizontal(|ui| {
            ui.spacing_mut().item_spacing.x = 0.0;
            for index in (row * columns..count).take(columns) {
                cell(ui, width, |ui| content(ui, index));
            }
        });
    }
}
