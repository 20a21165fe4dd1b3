//! A phrase from a file: where it is, which part of it, and which bars.

use super::Desk;
use super::fields::Remark;
use crate::editor::model::phrase::{self as model, number};
use crate::files::place::from_address;
use egui::{ComboBox, Key, RichText, TextEdit, Ui};
use procession_core::exchange::open::{Choice, Contents, Found, contents, read};
use procession_core::time::Beats;
use std::io::Read;
use std::ops::RangeInclusive;
use std::path::PathBuf;

/// The largest file that is read here, in bytes. Reading it must not hold up the window.
const LARGEST_FILE: u64 = 1 << 20;

/// What stands in the fields.
#[derive(Default)]
pub(super) struct FileFields {
    /// The path of a file.
    path: String,
    /// The file that was opened last, and what it has to choose from.
    opened: Option<Contents>,
    part: Option<usize>,
    /// "all", "3" or "3-6".
    bars: String,
    pub(super) about: Option<Remark>,
}

impl Desk<'_> {
    pub(super) fn file(&mut self, ui: &mut Ui) {
        const WHAT: &str = "Path of a .mid or .musicxml file";
        let width = (ui.available_width() - 58.0).max(80.0);
        let file = &mut self.state.fields.file;
        let hint = RichText::new(WHAT).color(self.look.quiet);
        let field = TextEdit::singleline(&mut file.path)
            .hint_text(hint)
            .desired_width(width);
        let field = ui.add(field).accessible_name(WHAT);
        if field.changed() {
            // Another file has other parts.
            *file = FileFields {
                path: std::mem::take(&mut file.path),
                ..FileFields::default()
            };
        }
        let entered = field.lost_focus() && ui.input(|input| input.key_pressed(Key::Enter));
        if ui.button("Load").clicked() || entered {
            self.load();
        }
    }

    /// Which part and which bars of the file, once it is known what there is.
    pub(super) fn excerpt(&mut self, ui: &mut Ui) {
        let file = &mut self.state.fields.file;
        let Some(opened) = file.opened.as_ref().filter(|opened| is_a_choice(opened)) else {
            return;
        };
        let mut again = false;
        ui.horizontal_wrapped(|ui| {
            ui.label("From");
            let before = file.part;
            let name = |part: Option<usize>| match part {
                Some(part) => opened.parts.get(part).map_or("", String::as_str),
                None => "all parts",
            };
            let menu = ComboBox::from_id_salt("part of the file")
                .width(150.0)
                .truncate()
                .selected_text(name(file.part))
                .show_ui(ui, |ui| {
                    if opened.as_one {
                        ui.selectable_value(&mut file.part, None, name(None));
                    }
                    for part in 0..opened.parts.len() {
                        ui.selectable_value(&mut file.part, Some(part), name(Some(part)));
                    }
                });
            menu.response.accessible_name("Part of the file");
            again |= file.part != before;
            let label = ui.label("bars").id;
            let hint = RichText::new("all").color(self.look.quiet);
            let bars = TextEdit::singleline(&mut file.bars)
                .hint_text(hint)
                .desired_width(52.0);
            let bars = ui.add(bars).labelled_by(label);
            again |= bars.lost_focus() && ui.input(|input| input.key_pressed(Key::Enter));
            bars.on_hover_text("Which bars become the phrase, whole: \"3\" or \"3-6\".");
            ui.label(format!("of {}", opened.bars));
        });
        if again {
            self.load();
        }
    }

    fn load(&mut self) {
        let file = &mut self.state.fields.file;
        let bytes = match read_file(&file.path) {
            Ok(bytes) => bytes,
            Err(error) => {
                file.opened = None;
                file.about = Remark::alarm(error);
                return;
            }
        };
        file.opened = contents(&bytes).ok();
        if file.opened.as_ref().is_some_and(|opened| !opened.as_one) {
            file.part.get_or_insert(0);
        }
        let loaded = typed_bars(&file.bars).and_then(|bars| {
            let choice = Choice {
                part: file.part,
                bars,
            };
            read(&bytes, self.step, &choice).map_err(model::sentence)
        });
        let about = match loaded {
            Ok(loaded) => {
                let words = loaded_words(&loaded, self.step);
                self.replace(loaded.phrase);
                Remark::note(words)
            }
            Err(error) => Remark::alarm(error),
        };
        self.state.fields.file.about = about;
    }
}

fn is_a_choice(opened: &Contents) -> bool {
    opened.parts.len() > 1 || opened.bars > 1
}

/// The bars that were typed; none is all.
fn typed_bars(typed: &str) -> Result<Option<RangeInclusive<usize>>, String> {
    let text = typed.trim().to_lowercase().replace(['–', '—'], "-");
    if text.is_empty() || text == "all" {
        return Ok(None);
    }
    let (first, last) = text.split_once('-').unwrap_or((&text, &text));
    match (first.trim().parse(), last.trim().parse()) {
        (Ok(first), Ok(last)) => Ok(Some(first..=last)),
        _ => Err(format!(
            "\"{typed}\" are no bars. Type something like \"3\" or \"3-6\", or nothing for all."
        )),
    }
}

/// What a file had to give.
fn loaded_words(loaded: &Found, step: Beats) -> String {
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
            " Left out, as percussion, doubled or without a length: {}.",
            model::notes(loaded.left_out)
        );
    }
    words
}

/// The bytes of the file at a typed or pasted path.
fn read_file(typed: &str) -> Result<Vec<u8>, String> {
    let path = path_of(typed).ok_or("Type or paste the path of a .mid or .musicxml file first.")?;
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
    let path = match path.strip_prefix("file://") {
        Some(address) => from_address(address),
        None => path.to_owned(),
    };
    let in_home = path.strip_prefix("~/").zip(std::env::home_dir());
    let path = match in_home {
        Some((rest, home)) => home.join(rest),
        None => PathBuf::from(&path),
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
        assert_eq!(
            path("file:///a/deck%20at%20night.mid").as_deref(),
            Some("/a/deck at night.mid")
        );
        assert_eq!(path(" \"\" "), None);
    }

    #[test]
    fn bars_are_one_or_from_one_to_another() {
        assert_eq!(typed_bars(" "), Ok(None));
        assert_eq!(typed_bars("All"), Ok(None));
        assert_eq!(typed_bars("3"), Ok(Some(3..=3)));
        assert_eq!(typed_bars(" 3 – 6 "), Ok(Some(3..=6)));
        let refusal = typed_bars("the last").expect_err("these are none");
        assert!(refusal.contains("\"3-6\""), "{refusal}");
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
