//! A phrase backwards, as a copy may read it: from its last note to its first, each as long as it was.

use super::{MAX_NOTES, Phrase};
use crate::note::Note;
use crate::time::{Beats, HAIR};
use arrayvec::ArrayVec;

/// A phrase read from its end to its beginning, and which note of it each one is.
///
/// On paper a retrograde begins each note where it ended. A hand lets go of its notes here and
/// there, and rhythm would turn ragged: so a note counts as lasting to the next attack near its
/// end, within half a step, or else to the nearest line of the grid, for at least half a step. How
/// long it sounds stays as it was played.
#[derive(Clone, Debug)]
pub struct Backwards {
    phrase: Phrase,
    /// For each note, which of the phrase it is.
    indices: ArrayVec<u16, MAX_NOTES>,
    /// For each note of the phrase, its place in the order of reading.
    places: ArrayVec<u16, MAX_NOTES>,
}

impl Backwards {
    /// `phrase` backwards, on a grid of steps so long.
    pub fn of(phrase: &Phrase, step: Beats) -> Self {
        let mut backwards = Self {
            phrase: phrase.clone(),
            indices: ArrayVec::new(),
            places: ArrayVec::new(),
        };
        backwards.turn(phrase, step);
        backwards
    }

    /// The same of another phrase. Works in place: an audio thread's stack is small.
    ///
    /// # Real-time
    /// Allocates never, blocks never; bounded by the notes, n log n of them.
    pub fn turn(&mut self, phrase: &Phrase, step: Beats) {
        let notes = phrase.notes();
        // Each is turned once: a sort looks at it again and again.
        let onsets: ArrayVec<Beats, MAX_NOTES> = (notes.iter())
            .map(|note| begins(phrase, note, step))
            .collect();
        let note = |index: &u16| Note {
            onset: onsets[usize::from(*index)],
            ..notes[usize::from(*index)]
        };
        self.indices.clear();
        self.indices.extend(0..notes.len() as u16);
        self.indices.sort_unstable_by(|a, b| {
            let (one, other) = (note(a), note(b));
            (one.onset.total_cmp(&other.onset))
                .then(one.key.cmp(&other.key))
                .then(a.cmp(b))
        });
        self.places.clear();
        self.places.extend(0..self.indices.len() as u16);
        for (place, index) in (0..).zip(&self.indices) {
            self.places[usize::from(*index)] = place;
        }
        self.phrase.length = phrase.length;
        self.phrase.bar = phrase.bar;
        self.phrase.notes.clear();
        self.phrase.notes.extend(self.indices.iter().map(note));
    }

    /// The phrase as it is read.
    pub fn phrase(&self) -> &Phrase {
        &self.phrase
    }

    /// Which note of the phrase the one at `place` is, in the order of reading.
    pub fn index(&self, place: usize) -> usize {
        self.indices.get(place).map_or(place, |&index| index.into())
    }

    /// At which place in the order of reading a note of the phrase stands.
    pub fn place(&self, index: usize) -> Option<usize> {
        self.places.get(index).map(|&place| place.into())
    }
}

/// Where a note begins, read backwards: as far from the beginning as it ends before the end.
fn begins(phrase: &Phrase, note: &Note, step: Beats) -> Beats {
    let length = phrase.length;
    let begins = (length - ends(phrase, note, step)).rem_euclid(length);
    // What is a rounding short of the end is the beginning.
    if length - begins < HAIR { 0.0 } else { begins }
}

/// Where a note counts as ending, after its onset.
fn ends(phrase: &Phrase, note: &Note, step: Beats) -> Beats {
    let half = step / 2.0;
    let earliest = note.onset + half - HAIR;
    let end = note.onset + note.length;
    let near = attacks_around(phrase, end)
        .filter(|attack| *attack >= earliest && (attack - end).abs() < half)
        .min_by(|a, b| (a - end).abs().total_cmp(&(b - end).abs()));
    near.unwrap_or_else(|| {
        let line = (end / step).round() * step;
        if line >= earliest { line } else { line + step }
    })
}

/// The attack before `at` and the one after it, round the phrase.
fn attacks_around(phrase: &Phrase, at: Beats) -> impl Iterator<Item = Beats> + '_ {
    let round = (at / phrase.length).floor();
    let after = phrase
        .notes
        .partition_point(|note| round * phrase.length + note.onset < at);
    let count = phrase.notes.len() as i64;
    [after as i64 - 1, after as i64]
        .into_iter()
        .filter_map(move |place| {
            let rounds = round + place.div_euclid(count.max(1)) as f64;
            let note = phrase.notes.get(place.rem_euclid(count.max(1)) as usize)?;
            Some(rounds * phrase.length + note.onset)
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(words: &str) -> Vec<(f64, u8)> {
        let phrase = Phrase::from_text(words, 0.25).unwrap();
        let backwards = Backwards::of(&phrase, 0.25);
        let notes = backwards.phrase().notes().iter();
        notes
            .map(|note| (note.onset * 4.0, note.key.number()))
            .collect()
    }

    /// Written out by hand: D for three steps, a rest, F and G; backwards G, F, a rest, D.
    #[test]
    fn notes_come_in_the_other_order_each_as_long_and_rests_with_them() {
        assert_eq!(read("D4 - - . F4 G4"), [(0.0, 67), (1.0, 65), (3.0, 62)]);
        assert_eq!(read("D4"), [(0.0, 62)]);
        assert_eq!(read(". D4 . ."), [(2.0, 62)]);
        // Held over the end, it opens the phrase: what comes round is turned as a whole.
        assert_eq!(read("D4+A4 . F4 ."), [(1.0, 65), (3.0, 62), (3.0, 69)]);
    }

    #[test]
    fn a_hand_that_lets_go_early_or_late_keeps_its_rhythm() {
        let phrase = Phrase::from_text("D4 F4 - G4 . A4", 0.25).unwrap();
        let expected = Backwards::of(&phrase, 0.25);
        let by_hand = |change: f64| {
            let notes = phrase.notes().iter().map(|note| Note {
                length: note.length + change,
                ..*note
            });
            let played = Phrase::new(notes, phrase.length()).unwrap();
            Backwards::of(&played, 0.25)
        };
        let onsets = |backwards: &Backwards| -> Vec<f64> {
            let notes = backwards.phrase().notes().iter();
            notes.map(|note| note.onset).collect()
        };
        for change in [-0.1, -0.05, 0.04, 0.1] {
            assert_eq!(onsets(&by_hand(change)), onsets(&expected), "{change}");
        }
    }

    #[test]
    fn backwards_twice_is_the_phrase() {
        let phrase = Phrase::from_text("D4+A4 . F4 - G4 A4 . . C5 -", 0.25).unwrap();
        let twice = Backwards::of(Backwards::of(&phrase, 0.25).phrase(), 0.25);
        assert_eq!(*twice.phrase(), phrase);
    }

    #[test]
    fn every_note_is_known_by_its_place_in_the_phrase() {
        let phrase = Phrase::from_text("D4 - - . F4 G4", 0.25).unwrap();
        let backwards = Backwards::of(&phrase, 0.25);
        assert_eq!([0, 1, 2].map(|place| backwards.index(place)), [2, 1, 0]);
        assert_eq!(backwards.place(2), Some(0));
    }
}
