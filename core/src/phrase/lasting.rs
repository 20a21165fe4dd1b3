//! A phrase in a cycle of another length: its beginning alone, or all of it and a rest.

use super::{MAX_LENGTH, MIN_LENGTH, Phrase};
use crate::note::Note;
use crate::time::{Beats, HAIR};

impl Phrase {
    /// Becomes `phrase` in a cycle of `length` beats: if that is shorter, its first notes, of which
    /// none sounds beyond the end; if it is longer, all of it and a rest. What a hand struck less than
    /// a quarter of a `step` before the end of a shorter one was meant for what comes after it.
    ///
    /// Notes keep their places in the list. Works in place: an audio thread's stack is small.
    ///
    /// # Real-time
    /// Allocates never, blocks never; bounded by the notes.
    pub fn become_lasting(&mut self, phrase: &Self, length: Beats, step: Beats) {
        let length = length.clamp(MIN_LENGTH, MAX_LENGTH);
        let is_cut = length < phrase.length - HAIR;
        let from_here_beyond = if is_cut { length - step / 4.0 } else { length };
        let reached = phrase
            .notes
            .partition_point(|note| note.onset < from_here_beyond);
        let sounds = |note: &Note| Note {
            length: if is_cut {
                note.length.min(length - note.onset)
            } else {
                note.length
            },
            ..*note
        };
        self.length = length;
        // In a bar it comes round otherwise than the phrase does.
        self.bar = None;
        self.notes.clear();
        self.notes
            .extend(phrase.notes[..reached].iter().map(sounds));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phrase::Backwards;

    fn read(words: &str, steps: u32) -> (Phrase, Vec<(f64, u8, f64)>) {
        let phrase = Phrase::from_text(words, 0.25).unwrap();
        let mut own = phrase.clone();
        own.become_lasting(&phrase, f64::from(steps) * 0.25, 0.25);
        let facts = facts(&own);
        (own, facts)
    }

    fn facts(phrase: &Phrase) -> Vec<(f64, u8, f64)> {
        let notes = phrase.notes().iter();
        notes
            .map(|note| (note.onset * 4.0, note.key.number(), note.length * 4.0))
            .collect()
    }

    /// D for three steps, a rest, F, and G for two, held over the end: by hand, cut within D, within
    /// the rest, and within G; and with rests behind.
    #[test]
    fn it_is_cut_or_rests_and_what_rings_over_a_cut_ends_there() {
        let words = "D4 - - . F4 G4 -";
        assert_eq!(read(words, 2).1, [(0.0, 62, 2.0)]);
        assert_eq!(read(words, 4).1, [(0.0, 62, 3.0)]);
        let cut = [(0.0, 62, 3.0), (4.0, 65, 1.0), (5.0, 67, 1.0)];
        assert_eq!(read(words, 6).1, cut);
        let whole = [(0.0, 62, 3.0), (4.0, 65, 1.0), (5.0, 67, 2.0)];
        assert_eq!(read(words, 9).1, whole);
        assert_eq!(read(words, 9).0.length(), 2.25);
        assert_eq!(read(". . D4 F4", 2).1, []);
    }

    /// Backwards, the rest comes first, and of a cut the last note that it has.
    #[test]
    fn backwards_it_is_read_from_its_own_end() {
        let backwards = |steps| {
            let (own, _) = read("D4 - - . F4 G4", steps);
            facts(Backwards::of(&own, 0.25).phrase())
        };
        assert_eq!(backwards(5), [(0.0, 65, 1.0), (2.0, 62, 3.0)]);
        assert_eq!(backwards(2), [(0.0, 62, 2.0)]);
        let after_a_rest = [(2.0, 67, 1.0), (3.0, 65, 1.0), (5.0, 62, 3.0)];
        assert_eq!(backwards(8), after_a_rest);
    }

    #[test]
    fn what_a_hand_struck_early_is_not_left_as_a_stub() {
        let phrase = Phrase::from_text("D4 F4 G4 A4", 0.25).unwrap();
        let early = phrase.notes().iter().map(|note| Note {
            onset: (note.onset - 0.04).max(0.0),
            ..*note
        });
        let played = Phrase::new(early, 1.0).unwrap();
        let mut own = played.clone();
        own.become_lasting(&played, 0.5, 0.25);
        assert_eq!(own.notes().len(), 2);
    }
}
