//! The fields above the grid: length, words, file.

use super::Desk;
use crate::editor::model::phrase::{self as model, number};
use crate::editor::wish::Wish;
use egui::{Key, RichText, TextEdit, Ui};
use procession_core::exchange::midi::{ReadPhrase, read_phrase};
use procession_core::phrase::{Cut, Edited};
use procession_core::time::Beats;
use std::io::Read;
use std::path::PathBuf;

/// The largest file that is read here, in bytes. Reading it must not hold up the window.
const LARGEST_FILE: u64 = 1 << 20;

/// What stands in the fields.
#[derive(Default)]
pub(super) struct Fields {
    /// The length while it is typed.
    length: Option<String>,
    /// The phrase in words.
    pub(super) text: String,
    /// The path of a file.
    path: String,
    /// Whether the fields for words and files are shown where there is little room.
    more: bool,
    about_length: Option<Remark>,
    about_text: Option<Remark>,
    about_file: Option<Remark>,
}

/// Something to say beside a field.
struct Remark {
    text: String,
    alarm: bool,
}

impl Remark {
    fn alarm(text: impl Into<String>) -> Option<Self> {
        Some(Self {
            text: text.into(),
            alarm: true,
        })
    }

    fn note(text: impl Into<String>) -> Option<Self> {
        Some(Self {
            text: text.into(),
            alarm: false,
        })
    }
}

impl Desk<'_> {
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
        self.remark(ui, |fields| &fields.about_file);
    }

    fn more(&mut self, ui: &mut Ui) {
        let more = &mut self.state.fields.more;
        let button = ui.add(egui::Button::new("Write").selected(*more));
        if button
            .on_hover_text("Write the phrase in words, or load it from a file.")
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
        }
        if field.lost_focus() {
            let typed = self.state.fields.length.take();
            let given_up = ui.input(|input| input.key_pressed(Key::Escape));
            if let Some(typed) = typed.filter(|typed| *typed != current && !given_up) {
                self.set_length(&typed);
            }
        }
        let double = ui
            .button("Double")
            .on_hover_text("The phrase twice over, as one.");
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
            .on_hover_text("The first half of the phrase only.");
        if halve.clicked() {
            self.resized(self.phrase.halved().map_err(model::sentence));
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
                "Left out beyond the new end: {}. Undo brings back what was there.",
                model::notes(count)
            )),
        };
    }

    fn undo(&mut self, ui: &mut Ui) {
        if ui.button("Undo").clicked() {
            self.wishes.push(Wish::Undo);
        }
        if ui.button("Redo").clicked() {
            self.wishes.push(Wish::Redo);
        }
    }

    fn words(&mut self, ui: &mut Ui) {
        let buttons = 100.0;
        let width = (ui.available_width() - buttons).max(80.0);
        let hint = RichText::new("D4 - F4 G4 . A4").color(self.look.quiet);
        let field = TextEdit::singleline(&mut self.state.fields.text)
            .hint_text(hint)
            .desired_width(width);
        let field = ui.add(field).accessible_name("Phrase in words");
        if field.changed() {
            self.state.fields.about_text = None;
        }
        let entered = field.lost_focus() && ui.input(|input| input.key_pressed(Key::Enter));
        field.on_hover_text(
            "One word a step: a note such as F#4, a chord such as D4+F4, a dot for a rest, a dash to hold.",
        );
        let use_it = ui
            .button("Use")
            .on_hover_text("Make these words the phrase.");
        if use_it.clicked() || entered {
            self.write();
        }
        let copy = ui.button("Copy").on_hover_text("Copy the phrase as words.");
        if copy.clicked() {
            self.copy(ui);
        }
    }

    /// Makes the words the phrase.
    pub(super) fn write(&mut self) {
        match self.read_words(&self.state.fields.text) {
            Ok(phrase) => {
                self.replace(phrase);
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
        self.state.fields.text = written.text;
        let words = unsaid.map_or("Copied.".to_owned(), |unsaid| format!("Copied. {unsaid}"));
        self.state.fields.about_text = Remark::note(words);
    }

    fn file(&mut self, ui: &mut Ui) {
        let width = (ui.available_width() - 58.0).max(80.0);
        let hint = RichText::new("Path of a .mid file").color(self.look.quiet);
        let field = TextEdit::singleline(&mut self.state.fields.path)
            .hint_text(hint)
            .desired_width(width);
        let field = ui.add(field).accessible_name("Path of a .mid file");
        if field.changed() {
            self.state.fields.about_file = None;
        }
        let entered = field.lost_focus() && ui.input(|input| input.key_pressed(Key::Enter));
        if ui.button("Load").clicked() || entered {
            self.load();
        }
    }

    fn load(&mut self) {
        let loaded = read_file(&self.state.fields.path)
            .and_then(|bytes| read_phrase(&bytes, self.step).map_err(model::sentence));
        self.state.fields.about_file = match loaded {
            Ok(loaded) => {
                let words = loaded_words(&loaded, self.step);
                self.replace(loaded.phrase);
                Remark::note(words)
            }
            Err(error) => Remark::alarm(error),
        };
    }
}

/// What a file had to give.
fn loaded_words(loaded: &ReadPhrase, step: Beats) -> String {
    let notes = model::notes(loaded.phrase.notes().len());
    let length = model::steps(loaded.phrase.length() / step);
    let name = loaded
        .name
        .as_ref()
        .map_or(String::new(), |name| format!(" \"{name}\""));
    let mut words = format!("Loaded{name}: {notes} in {length}.");
    if let Some(tempo) = loaded.tempo {
        words += &format!(" The file's tempo is {} bpm.", number(tempo));
    }
    if loaded.left_out > 0 {
        words += &format!(
            " Left out as percussion or doubled: {}.",
            model::notes(loaded.left_out)
        );
    }
    words
}

/// The bytes of the file at a typed or pasted path.
fn read_file(typed: &str) -> Result<Vec<u8>, String> {
    let path = path_of(typed).ok_or("Type or paste the path of a .mid file first.")?;
    let shown = path.display();
    let cannot = |error: std::io::Error| match error.kind() {
        std::io::ErrorKind::NotFound => {
            format!("There is no file {shown}: check the path.")
        }
        std::io::ErrorKind::PermissionDenied => {
            format!("{shown} may not be read: change its permissions, or choose another file.")
        }
        _ => format!("{shown} cannot be read ({error}): choose another file."),
    };
    let about = std::fs::metadata(&path).map_err(cannot)?;
    if !about.is_file() {
        return Err(format!("{shown} is not a file: add the file's name."));
    }
    let mut bytes = Vec::new();
    let file = std::fs::File::open(&path).map_err(cannot)?;
    let read = file.take(LARGEST_FILE + 1).read_to_end(&mut bytes);
    read.map_err(cannot)?;
    if bytes.len() as u64 > LARGEST_FILE {
        return Err(format!(
            "{shown} is larger than 1 MiB, too large for a phrase: save the bars you want as a file of their own."
        ));
    }
    Ok(bytes)
}

/// The path in what was typed, or pasted from a file manager: with quotes, as an address, or from
/// the home folder.
fn path_of(typed: &str) -> Option<PathBuf> {
    let quotes = ['"', '\''];
    let path = typed.trim().trim_matches(quotes).trim();
    let path = path.strip_prefix("file://").unwrap_or(path);
    let in_home = path.strip_prefix("~/").zip(std::env::home_dir());
    let path = match in_home {
        Some((rest, home)) => home.join(rest),
        None => PathBuf::from(path),
    };
    (!path.as_os_str().is_empty()).then_some(path)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pasted_path_may_have_quotes_or_be_an_address() {
        let path = |typed| path_of(typed).map(|path| path.display().to_string());
        assert_eq!(
            path(" '/a/deck at night.mid' ").as_deref(),
            Some("/a/deck at night.mid")
        );
        assert_eq!(path("file:///a/deck.mid").as_deref(), Some("/a/deck.mid"));
        assert_eq!(path(" \"\" "), None);
    }

    #[test]
    fn what_is_no_file_is_said_plainly() {
        let folder = std::env::temp_dir();
        let error = read_file(&folder.display().to_string()).unwrap_err();
        assert!(error.contains("is not a file"), "{error}");
        let error = read_file("/no/such/deck.mid").unwrap_err();
        assert!(
            error.contains("There is no file /no/such/deck.mid"),
            "{error}"
        );
        assert!(read_file(" ").unwrap_err().contains("Type or paste"));
    }
}
