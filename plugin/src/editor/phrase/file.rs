//! A phrase from a file: where it is, which part of it, and which bars.

use super::PhraseView;
use super::fields::Remark;
use crate::editor::choice;
use crate::editor::focus;
use crate::editor::model::phrase::{self as model, number};
use crate::files::{Answer, Reader, Wanted};
use egui::{RichText, TextEdit, Ui};
use procession_core::exchange::open::{Contents, Excerpt, Found};
use procession_core::time::Beats;
use std::ops::RangeInclusive;
use std::time::Duration;

/// Seconds after which reading is said to take its time, and can be stopped.
const A_WHILE: f64 = 0.3;

/// How often it is looked whether a file was read.
const LOOK_AGAIN: Duration = Duration::from_millis(30);

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
    reader: Reader,
    /// When the reading began.
    began: f64,
    pub(super) about: Option<Remark>,
}

impl FileFields {
    pub(super) fn is_reading(&self) -> bool {
        self.reader.is_reading()
    }
}

impl PhraseView<'_> {
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
            file.reader.stop();
            *file = FileFields {
                path: std::mem::take(&mut file.path),
                reader: std::mem::take(&mut file.reader),
                ..FileFields::default()
            };
        }
        let entered = focus::entered(ui, &field);
        if file.reader.is_reading() && self.now - file.began > A_WHILE {
            file.about = Remark::note("Reading the file ...");
            if ui.button("Stop").clicked() {
                file.reader.stop();
                file.about = Remark::note("Stopped, as you asked: the phrase is as it was.");
            }
        } else if ui.button("Load").clicked() || entered {
            self.load();
        }
        if self.state.fields.file.reader.is_reading() {
            ui.ctx().request_repaint_after(LOOK_AGAIN);
        }
    }

    /// Takes over what was read meanwhile.
    pub(super) fn hear_of_file(&mut self) {
        if let Some(answer) = self.state.fields.file.reader.answer() {
            self.take_over(answer);
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
            let whole = opened.as_one.then(|| "all parts".to_owned());
            let first = usize::from(opened.as_one);
            let names: Vec<String> = whole
                .into_iter()
                .chain(opened.parts.iter().cloned())
                .collect();
            let now = file.part.map_or(0, |part| part + first);
            let what = "Part of the file";
            let (_, chosen) = choice::menu(ui, self.look, what, what, 156.0, (&names, now));
            if let Some(chosen) = chosen {
                let part = chosen.checked_sub(first);
                again |= part != file.part;
                file.part = part;
            }
            let label = ui.label("bars").id;
            let hint = RichText::new("all").color(self.look.quiet);
            let bars = TextEdit::singleline(&mut file.bars)
                .hint_text(hint)
                .desired_width(52.0);
            let bars = ui.add(bars).labelled_by(label);
            again |= focus::entered(ui, &bars);
            bars.on_hover_text("Which bars become the phrase, whole: \"3\" or \"3-6\".");
            ui.label(format!("of {}", opened.bars));
        });
        if again {
            self.load();
        }
    }

    fn load(&mut self) {
        let file = &mut self.state.fields.file;
        let begun = typed_bars(&file.bars).and_then(|bars| {
            file.reader.read(Wanted {
                path: file.path.clone(),
                choice: Excerpt {
                    part: file.part,
                    bars,
                },
                step: self.step,
            })
        });
        file.began = self.now;
        if let Err(error) = begun {
            file.about = Remark::alarm(error);
        }
    }

    fn take_over(&mut self, answer: Answer) {
        let file = &mut self.state.fields.file;
        file.opened = answer.contents;
        if file.opened.is_some() {
            file.part = answer.part;
        }
        let about = match answer.found {
            Ok(loaded) => {
                let words = loaded_words(&loaded, self.step);
                self.load_phrase(loaded.phrase);
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
            "\"{typed}\" is not a range of bars. Type one bar (\"3\"), several (\"3-6\"), or nothing for all."
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::editor::look::{Look, Theme};
    use crate::editor::phrase::{PhraseState, show};
    use crate::editor::seen::Seen;
    use crate::feed::Snapshot;
    use egui_kittest::Harness;
    use egui_kittest::kittest::Queryable;
    use procession_core::engine::Anchor;
    use procession_core::phrase::Phrase;
    use procession_core::settings::Settings;

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
    fn what_takes_long_to_read_can_be_stopped_and_the_phrase_stays() {
        let phrase = Phrase::from_text("D4 F4", 0.25).unwrap();
        let (now, settings) = (Snapshot::default(), Settings::default());
        let seen = Seen::new(now, phrase, settings, Anchor::NextStart);
        let look = Look::of(Theme::Light);
        let mut state = PhraseState::default();
        let endless = |stop: &dyn Fn() -> bool| {
            while !stop() {
                std::thread::sleep(Duration::from_millis(1));
            }
            Answer {
                contents: None,
                part: None,
                found: Err("nobody waits for this any more".to_owned()),
            }
        };
        state.fields.file.reader.begin(endless).unwrap();
        let show = move |ui: &mut Ui, state: &mut PhraseState| {
            assert!(show(ui, &seen, &look, state).is_empty());
        };
        let mut screen = Harness::builder()
            .with_size(egui::vec2(760.0, 480.0))
            .with_step_dt(1.0 / 60.0)
            .build_ui_state(show, state);
        screen.run_steps(3);
        assert!(screen.query_by_label("Load").is_some(), "not at once");
        screen.run_steps(30);
        assert!(screen.query_by_label_contains("Reading").is_some());
        screen.get_by_label("Stop").click();
        screen.run_steps(3);
        assert!(screen.query_by_label_contains("Stopped").is_some());
        assert!(screen.query_by_label("Load").is_some());
        assert!(!screen.state().is_reading());
    }
}
