//! The keys, while the grid has the focus.

use super::PhraseView;
use crate::editor::model::phrase as model;
use crate::editor::wish::Wish;
use egui::{Event, EventFilter, Key, Modifiers, Response, Ui};
use procession_core::note::Note;
use procession_core::phrase::Phrase;

/// How much a key changes the velocity, of the whole range.
const A_LITTLE: f32 = 5.0 / 127.0;

impl PhraseView<'_> {
    /// The keys; `under` is the note that the pointer asks for, if it is over the grid.
    pub(super) fn keys(&mut self, ui: &Ui, response: &Response, under: Option<Note>) {
        if !response.has_focus() {
            return;
        }
        let filter = EventFilter {
            horizontal_arrows: true,
            vertical_arrows: true,
            escape: true,
            tab: false,
        };
        ui.memory_mut(|memory| memory.set_focus_lock_filter(response.id, filter));
        let mut events = ui.input(|input| input.events.clone());
        let before = events.len();
        events.retain(|event| !self.key(ui, event, under));
        if events.len() < before {
            // What was done here is not to be done again elsewhere.
            ui.input_mut(|input| input.events = events);
        }
    }

    /// Whether the event was for the phrase; then it is done.
    fn key(&mut self, ui: &Ui, event: &Event, under: Option<Note>) -> bool {
        match event {
            Event::Key {
                key,
                pressed: true,
                modifiers,
                ..
            } => self.pressed(*key, *modifiers, under),
            Event::Copy => {
                self.copy(ui);
                true
            }
            Event::Paste(text) => {
                self.paste(text);
                true
            }
            // The windowing layer has no keys for these signs, only the text that they write.
            Event::Text(text) if matches!(text.as_str(), "+" | "=" | "-" | "\u{2212}") => {
                let louder = matches!(text.as_str(), "+" | "=");
                self.strike(if louder { A_LITTLE } else { -A_LITTLE });
                true
            }
            // Some windows hand over what is pasted as if it were typed at once.
            Event::Text(text) if text.trim().chars().count() > 1 => {
                self.paste(text);
                true
            }
            _ => false,
        }
    }

    fn pressed(&mut self, key: Key, with: Modifiers, under: Option<Note>) -> bool {
        if with.command {
            match key {
                Key::A => self.state.chosen = (0..self.phrase.notes().len()).collect(),
                Key::Z if with.shift => self.wishes.push(Wish::Redo),
                Key::Z => self.wishes.push(Wish::Undo),
                Key::Y => self.wishes.push(Wish::Redo),
                _ => return false,
            }
            return true;
        }
        let octave = if with.shift { 12 } else { 1 };
        match key {
            Key::ArrowUp => self.transpose(octave),
            Key::ArrowDown => self.transpose(-octave),
            Key::ArrowRight if with.shift => self.lengthen(self.step),
            Key::ArrowLeft if with.shift => self.lengthen(-self.step),
            Key::ArrowRight => self.rotate(self.step),
            Key::ArrowLeft => self.rotate(-self.step),
            Key::Enter | Key::Insert => self.add_one(under),
            Key::Delete | Key::Backspace => self.remove(&self.state.chosen.clone()),
            Key::PageDown => self.choose_next(1),
            Key::PageUp => self.choose_next(-1),
            Key::S => self.split(),
            Key::J => self.join(),
            Key::Escape => self.state.chosen.clear(),
            _ => return false,
        }
        true
    }

    fn transpose(&mut self, semitones: i32) {
        let edited = self.phrase.transposed(&self.at_hand(), semitones);
        self.wish_of_chosen(edited);
    }

    fn rotate(&mut self, by: f64) {
        let edited = self.phrase.rotated(&self.at_hand(), by);
        self.wish_of_chosen(edited);
    }

    fn lengthen(&mut self, by: f64) {
        let edited = self.phrase.lengthened(&self.at_hand(), by, self.step);
        self.wish_of_chosen(edited);
    }

    fn strike(&mut self, by: f32) {
        let edited = self.phrase.struck_harder(&self.at_hand(), by);
        self.wish_of_chosen(edited);
        if let Some(first) = self.state.chosen.first() {
            self.touched(*first);
        }
    }

    /// If no note was chosen, none is afterwards, though all were meant.
    fn wish_of_chosen(&mut self, edited: procession_core::phrase::Edited) {
        let none = self.state.chosen.is_empty();
        self.wish(edited);
        if none {
            self.state.chosen.clear();
        }
    }

    /// Where the pointer is, or else after the last note that is chosen.
    fn add_one(&mut self, under: Option<Note>) {
        let chosen = self.state.chosen.last();
        let before = chosen.and_then(|index| self.phrase.notes().get(*index));
        let velocity = self.new_velocity();
        let after = model::note_after(before, self.step, self.phrase.length(), velocity);
        self.add(under.unwrap_or(after));
    }

    pub(super) fn remove(&mut self, notes: &[usize]) {
        let phrase = self.phrase.without(notes);
        self.wish(procession_core::phrase::Edited {
            phrase,
            chosen: Vec::new(),
        });
    }

    /// The next note in time, or the one before.
    fn choose_next(&mut self, way: isize) {
        let count = self.phrase.notes().len();
        let next = match (way > 0, self.state.chosen.as_slice()) {
            (true, [.., last]) => last + 1,
            (true, []) => 0,
            (false, [first, ..]) => first.saturating_sub(1),
            (false, []) => count.saturating_sub(1),
        };
        if count > 0 {
            let next = next.min(count - 1);
            self.state.chosen = vec![next];
            self.touched(next);
        }
    }

    /// The first chosen note as two.
    pub(super) fn split(&mut self) {
        let Some(index) = self.state.chosen.first().copied() else {
            return;
        };
        let note = self.phrase.notes()[index];
        let at = model::where_to_split(&note, self.step);
        if let Some(edited) = self.phrase.split(index, at) {
            self.wish(edited);
        }
    }

    /// The first chosen note and the one after it as one.
    pub(super) fn join(&mut self) {
        let joined = (self.state.chosen.first()).and_then(|first| self.phrase.joined(*first));
        if let Some(edited) = joined {
            self.wish(edited);
        }
    }

    /// Whatever is pasted onto the grid is read as a phrase in words.
    fn paste(&mut self, text: &str) {
        self.state.fields.typed = Some(text.trim().to_owned());
        self.write();
    }

    pub(super) fn read_words(&self, text: &str) -> Result<Phrase, String> {
        if text.trim().is_empty() {
            return Err(
                "Type notes first, such as D4 - F4 G4 . A4 (C4 is middle C, key 60).".to_owned(),
            );
        }
        let song = self.seen.snapshot.counted;
        model::words_as_phrase(text, self.step, &self.phrase, song)
    }
}
