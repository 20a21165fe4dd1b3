//! The fields above the grid: length and words; the file's are in [`super::file`].

use super::PhraseView;
use super::file::FileFields;
use crate::editor::focus;
use crate::editor::model::phrase::{self as model, SongMetre, number};
use crate::editor::wish::Wish;
use egui::{Key, RichText, TextEdit, Ui};
use procession_core::phrase::{Cut, Edited, Phrase};
use procession_core::time::Beats;

/// What stands in the fields.
#[derive(Default)]
pub(super) struct Fields {
    /// The length while it is typed.
    length: Option<String>,
    /// The metre while it is typed.
    metre: Option<String>,
    /// The phrase in words while they are typed, or as they were refused; else the words are those
    /// of the phrase itself.
    pub(super) typed: Option<String>,
    /// The words of the phrase, and what they were made from.
    words: Option<(Box<Phrase>, Beats, String)>,
    /// A file, and what of it.
    pub(super) file: FileFields,
    /// Whether the fields for words and files are shown where there is little room.
    more: bool,
    about_length: Option<Remark>,
    about_text: Option<Remark>,
}

/// Something to say beside a field.
pub(super) struct Remark {
    pub(super) text: String,
    alarm: bool,
}

impl Remark {
    pub(super) fn alarm(text: impl Into<String>) -> Option<Self> {
        Some(Self {
            text: text.into(),
            alarm: true,
        })
    }

    pub(super) fn note(text: impl Into<String>) -> Option<Self> {
        Some(Self {
            text: text.into(),
            alarm: false,
        })
    }
}

impl Fields {
    /// An edit has been made, or another phrase has come: whatever was said about the one before
    /// is over, and the words are those of the phrase.
    pub(super) fn moved_on(&mut self) {
        self.typed = None;
        self.about_length = None;
        self.about_text = None;
        self.file.about = None;
    }

    /// The phrase in words; nothing of one without notes, so that the field says how to write one.
    fn words_of(&mut self, phrase: &Phrase, step: Beats) -> String {
        if phrase.is_empty() {
            return String::new();
        }
        match &self.words {
            Some((known, with, words)) if **known == *phrase && *with == step => words.clone(),
            _ => {
                let words = phrase.to_text(step).text;
                self.words = Some((Box::new(phrase.clone()), step, words.clone()));
                words
            }
        }
    }
}

impl PhraseView<'_> {
    pub(super) fn fields(&mut self, ui: &mut Ui) {
        let (wide, high) = (
            ui.available_width() >= 560.0,
            ui.available_height() >= 300.0,
        );
        let roomy = wide && high;
        ui.horizontal_wrapped(|ui| {
            if !wide {
                let narrow = if ui.available_width() < 330.0 {
                    3.0
                } else {
                    5.0
                };
                ui.spacing_mut().item_spacing.x = narrow;
                ui.spacing_mut().button_padding.x = narrow;
            }
            self.length(ui, wide);
            self.undo(ui);
            self.metre(ui, wide);
            self.part(ui);
            if !roomy {
                self.more(ui);
            }
        });
        self.remark(ui, |fields| &fields.about_length);
        let write = roomy || self.state.fields.more || self.phrase.is_empty();
        if wide && write {
            let half = (ui.available_width() - ui.spacing().item_spacing.x) / 2.0;
            ui.horizontal(|ui| {
                ui.scope(|ui| {
                    ui.set_width(half);
                    self.words(ui);
                });
                self.file(ui);
            });
        } else if write {
            ui.horizontal(|ui| self.words(ui));
            if self.state.fields.more {
                ui.horizontal(|ui| self.file(ui));
            }
        }
        self.remark(ui, |fields| &fields.about_text);
        self.excerpt(ui);
        self.remark(ui, |fields| &fields.file.about);
    }

    fn more(&mut self, ui: &mut Ui) {
        let more = &mut self.state.fields.more;
        let button = ui.add(egui::Button::new("Words, file").selected(*more));
        if button
            .on_hover_text("Type the phrase in words, or load it from a file.")
            .clicked()
        {
            *more = !*more;
        }
    }

    fn remark(&self, ui: &mut Ui, of: impl Fn(&Fields) -> &Option<Remark>) {
        if let Some(remark) = of(&self.state.fields) {
            let ink = if remark.alarm {
                self.look.alarm
            } else {
                self.look.quiet
            };
            ui.add(egui::Label::new(RichText::new(&remark.text).color(ink)).wrap());
        }
    }

    fn length(&mut self, ui: &mut Ui, wide: bool) {
        let label = wide.then(|| ui.label("Length").id);
        let current = number(self.phrase.length() / self.step);
        let mut text = self.state.fields.length.clone().unwrap_or(current.clone());
        let field =
            ui.add(TextEdit::singleline(&mut text).desired_width(if wide { 44.0 } else { 30.0 }));
        let field = match label {
            Some(label) => field.labelled_by(label),
            None => field.accessible_name("Length"),
        };
        ui.label("steps");
        if field.changed() {
            self.state.fields.length = Some(text.clone());
            if model::typed_length(&text, self.step).is_ok() {
                self.state.fields.about_length = None;
            }
        }
        let left = field.lost_focus();
        focus::entered(ui, &field);
        field.on_hover_text(format!(
            "How many steps the phrase lasts; a step is {} quarter notes.",
            number(self.step)
        ));
        if left {
            let typed = self.state.fields.length.take();
            let given_up = ui.input(|input| input.key_pressed(Key::Escape));
            if let Some(typed) = typed.filter(|typed| *typed != current && !given_up) {
                self.set_length(&typed);
            }
        }
        let double = ui
            .button("Double")
            .on_hover_text("Plays the phrase twice, as one phrase.");
        if double.clicked() {
            match self.phrase.doubled() {
                Ok(phrase) => self.resized(Ok(Cut {
                    phrase,
                    left_out: 0,
                })),
                Err(error) => self.resized(Err(model::sentence(error))),
            }
        }
        let halve = ui
            .button("Halve")
            .on_hover_text("Keeps the first half of the phrase.");
        if halve.clicked() {
            self.resized(self.phrase.halved().map_err(model::sentence));
        }
    }

    fn metre(&mut self, ui: &mut Ui, wide: bool) {
        let label = wide.then(|| ui.label("Metre").id);
        let song = SongMetre {
            told: self.seen.snapshot.metre,
            counted: self.seen.snapshot.counted,
            is_own: self.seen.own_song,
        };
        let current = model::metre_of(&self.phrase, song.counted).to_string();
        let mut text = self.state.fields.metre.clone().unwrap_or(current.clone());
        let field =
            ui.add(TextEdit::singleline(&mut text).desired_width(if wide { 64.0 } else { 44.0 }));
        let field = match label {
            Some(label) => field.labelled_by(label),
            None => field.accessible_name("Metre"),
        };
        if field.changed() {
            self.state.fields.metre = Some(text);
            self.state.fields.about_length = None;
        }
        let left = field.lost_focus();
        focus::entered(ui, &field);
        field.on_hover_text(
            "How the bar is grouped, such as 2+2+3, or 3+2/8 with what is counted; leave it empty \
             for the usual. Accents, click, beams and grid follow it.",
        );
        if left {
            let typed = self.state.fields.metre.take();
            let given_up = ui.input(|input| input.key_pressed(Key::Escape));
            if let Some(typed) = typed.filter(|typed| *typed != current && !given_up) {
                self.set_metre(typed, song);
            }
        }
    }

    fn set_metre(&mut self, typed: String, song: SongMetre) {
        match model::typed_metre(&typed, &self.phrase, song) {
            Ok(barred) => {
                let edited = Edited {
                    phrase: barred.phrase.clone(),
                    chosen: self.state.chosen.clone(),
                };
                let phrase = Box::new(barred.phrase);
                self.wishes.push(Wish::Metre(barred.grouping, phrase));
                self.awaited(edited);
                self.state.fields.about_length = barred.said.and_then(Remark::note);
            }
            Err(error) => {
                // Nothing is lost: it stands there to be mended.
                self.state.fields.metre = Some(typed);
                self.state.fields.about_length = Remark::alarm(error);
            }
        }
    }

    fn set_length(&mut self, typed: &str) {
        let length = model::typed_length(typed, self.step);
        let cut = length.and_then(|length| self.phrase.of_length(length).map_err(model::sentence));
        if cut.is_err() {
            // Nothing is lost: it stands there to be mended.
            self.state.fields.length = Some(typed.to_owned());
        }
        self.resized(cut);
    }

    /// The phrase at another length, and what there is to say about it.
    pub(super) fn resized(&mut self, cut: Result<Cut, String>) {
        match cut {
            Ok(cut) => {
                let chosen = std::mem::take(&mut self.state.chosen);
                let left = cut.phrase.notes().len();
                self.wish(Edited {
                    phrase: cut.phrase,
                    chosen: chosen.into_iter().filter(|index| *index < left).collect(),
                });
                self.state.fields.length = None;
                self.say_left_out(cut.left_out);
            }
            Err(error) => self.state.fields.about_length = Remark::alarm(error),
        }
    }

    pub(super) fn say_left_out(&mut self, count: usize) {
        self.state.fields.about_length = match count {
            0 => None,
            _ => Remark::note(format!(
                "Left out after the new end: {}. Undo brings them back.",
                model::notes(count)
            )),
        };
    }

    /// What can be done to a note that is chosen.
    fn part(&mut self, ui: &mut Ui) {
        if self.state.chosen.is_empty() {
            return;
        }
        let split = ui.button("Split").on_hover_text("The note as two: S");
        if split.clicked() {
            self.split();
        }
        let join = ui.button("Join");
        if join.on_hover_text("With the note after it: J").clicked() {
            self.join();
        }
    }

    fn undo(&mut self, ui: &mut Ui) {
        let undo = ui.button("Undo").on_hover_text("Ctrl+Z");
        if undo.clicked() {
            self.wishes.push(Wish::Undo);
        }
        let redo = ui.button("Redo").on_hover_text("Ctrl+Y");
        if redo.clicked() {
            self.wishes.push(Wish::Redo);
        }
    }

    fn words(&mut self, ui: &mut Ui) {
        let buttons = 100.0;
        let width = (ui.available_width() - buttons).max(80.0);
        let hint = RichText::new("D4 - F4 G4 . A4").color(self.look.quiet);
        let fields = &mut self.state.fields;
        let mut text = match &fields.typed {
            Some(typed) => typed.clone(),
            None => fields.words_of(&self.phrase, self.step),
        };
        let field = TextEdit::singleline(&mut text)
            .hint_text(hint)
            .desired_width(width);
        let field = ui.add(field).accessible_name("Phrase in words");
        if field.changed() {
            let good = Phrase::from_text(&text, self.step).is_ok();
            fields.typed = Some(text);
            if good {
                fields.about_text = None;
            }
        }
        let entered = focus::entered(ui, &field);
        field.on_hover_text(
            "One word a step: a note such as F#4, a chord such as D4+F4, a dot for a rest, a dash \
             to hold. C4 is middle C, key 60.",
        );
        let use_it = ui
            .button("Use")
            .on_hover_text("Takes these words as the phrase.");
        if use_it.clicked() || entered {
            self.write();
        }
        let copy = ui
            .button("Copy")
            .on_hover_text("Copies the phrase as words.");
        if copy.clicked() {
            self.copy(ui);
        }
    }

    /// Makes the words the phrase.
    pub(super) fn write(&mut self) {
        let Some(typed) = self.state.fields.typed.clone() else {
            // They are the phrase already.
            return;
        };
        match self.read_words(&typed) {
            Ok(phrase) => {
                self.replace(phrase);
                self.state.fields.typed = None;
                self.state.fields.about_text = None;
            }
            Err(error) => self.state.fields.about_text = Remark::alarm(error),
        }
    }

    /// Copies the phrase as words, and shows them.
    pub(super) fn copy(&mut self, ui: &Ui) {
        let written = self.phrase.to_text(self.step);
        ui.ctx().copy_text(written.text.clone());
        let unsaid = written.unsaid();
        self.state.fields.typed = None;
        let words = unsaid.map_or("Copied.".to_owned(), |unsaid| format!("Copied. {unsaid}"));
        self.state.fields.about_text = Remark::note(words);
    }
}
