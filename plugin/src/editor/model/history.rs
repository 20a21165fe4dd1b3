//! Undo and redo of phrase edits.

use procession_core::phrase::Phrase;

/// So many edits can be taken back.
const DEPTH: usize = 200;

/// The phrases before and after the present one.
///
/// A phrase that came from elsewhere, played or loaded, begins a new history: nobody who takes an
/// edit back means to throw away what was just played.
#[derive(Clone, Debug, Default)]
pub struct History {
    past: Vec<Phrase>,
    future: Vec<Phrase>,
    /// What the last edit, undo or redo left.
    left: Option<Phrase>,
}

impl History {
    /// `present` is replaced by `next`.
    pub fn edit(&mut self, present: &Phrase, next: &Phrase) {
        self.follow(present);
        if present == next {
            return;
        }
        self.future.clear();
        if self.past.len() == DEPTH {
            self.past.remove(0);
        }
        self.past.push(present.clone());
        self.left = Some(next.clone());
    }

    /// The phrase before the last edit, if `present` is what that edit left.
    pub fn undo(&mut self, present: &Phrase) -> Option<Phrase> {
        self.follow(present);
        let before = self.past.pop()?;
        self.future.push(present.clone());
        self.left = Some(before.clone());
        Some(before)
    }

    /// The phrase that the last undo took back.
    pub fn redo(&mut self, present: &Phrase) -> Option<Phrase> {
        self.follow(present);
        let after = self.future.pop()?;
        self.past.push(present.clone());
        self.left = Some(after.clone());
        Some(after)
    }

    fn follow(&mut self, present: &Phrase) {
        if self.left.as_ref() != Some(present) {
            *self = Self::default();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn phrase(text: &str) -> Phrase {
        Phrase::from_text(text, 0.25).expect("these words are notes")
    }

    #[test]
    fn edits_are_taken_back_in_turn_and_done_again() {
        let [one, two, three] = ["D4", "D4 E4", "D4 E4 A4"].map(phrase);
        let mut history = History::default();
        history.edit(&one, &two);
        history.edit(&two, &three);
        assert_eq!(history.undo(&three), Some(two.clone()));
        assert_eq!(history.undo(&two), Some(one.clone()));
        assert_eq!(history.undo(&one), None);
        assert_eq!(history.redo(&one), Some(two.clone()));
        assert_eq!(history.redo(&two), Some(three.clone()));
        assert_eq!(history.redo(&three), None);
    }

    #[test]
    fn a_new_edit_forgets_what_was_taken_back() {
        let [one, two, three] = ["D4", "D4 E4", "D4 E4 A4"].map(phrase);
        let mut history = History::default();
        history.edit(&one, &two);
        history.undo(&two);
        history.edit(&one, &three);
        assert_eq!(history.redo(&three), None);
        assert_eq!(history.undo(&three), Some(one));
    }

    #[test]
    fn a_phrase_that_was_played_is_not_undone() {
        let [one, two, played] = ["D4", "D4 E4", "G4 A4"].map(phrase);
        let mut history = History::default();
        history.edit(&one, &two);
        assert_eq!(history.undo(&played), None);
        assert_eq!(history.undo(&two), None, "its history is over");
    }

    #[test]
    fn an_edit_that_changes_nothing_is_none() {
        let [one, two] = ["D4", "D4 E4"].map(phrase);
        let mut history = History::default();
        history.edit(&one, &two);
        history.edit(&two, &two);
        assert_eq!(history.undo(&two), Some(one));
    }
}
