//! One note made two, and two made one; with them the syllables that they were.

use super::{Edited, Phrase, PhraseError};
use crate::note::{Note, Syllable};
use crate::time::{Beats, from_ticks, to_ticks};

impl Phrase {
    /// A note as two at its pitch, the second from `at` on, in beats from the phrase's beginning;
    /// the chosen one is the second. What it was said as is parted at the same place of its vowel.
    /// None if there is no such note, or `at` is not inside it, or the phrase is full.
    pub fn split(&self, index: usize, at: Beats) -> Option<Edited> {
        let note = self.notes.get(index)?;
        let first = from_ticks(to_ticks(at) - to_ticks(note.onset));
        let rest = note.length - first;
        if first < from_ticks(1) || rest < from_ticks(1) {
            return None;
        }
        let (said, said_on) = parted(note.said, (first / note.length) as f32);
        let shorter = Note {
            length: first,
            said,
            ..*note
        };
        let second = Note {
            onset: note.onset + first,
            length: rest,
            said: said_on,
            ..*note
        };
        self.without(&[index])
            .with_note(shorter)
            .and_then(|edited| edited.phrase.with_note(second))
            .ok()
    }

    /// A note and the one that follows it, as one at the pitch of the first, which is the chosen
    /// one; what they were said as is put together. None if none follows.
    pub fn joined(&self, index: usize) -> Option<Edited> {
        let (note, next) = (self.notes.get(index)?, self.notes.get(index + 1)?);
        let end = (note.onset + note.length).max(next.onset + next.length);
        let one = Note {
            length: end - note.onset,
            said: put_together(note.said, next.said),
            ..*note
        };
        let joined: Result<Edited, PhraseError> = self.without(&[index, index + 1]).with_note(one);
        joined.ok()
    }
}

/// The syllable up to that part of its vowel, and from there on.
fn parted(said: Option<Syllable>, part: f32) -> (Option<Syllable>, Option<Syllable>) {
    let Some(said) = said else {
        return (None, None);
    };
    let cut = said.vowel + part * (said.end - said.vowel);
    (
        Syllable::new(said.start, said.vowel, cut, said.cents),
        Syllable::new(cut, cut, said.end, said.cents),
    )
}

fn put_together(one: Option<Syllable>, next: Option<Syllable>) -> Option<Syllable> {
    match (one, next) {
        (Some(one), Some(next)) if next.end > one.end => Some(Syllable {
            end: next.end,
            ..one
        }),
        (one, next) => one.or(next),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Six notes, each a syllable of a fifth of a second whose vowel begins 50 ms in.
    fn sentence() -> Phrase {
        let written = Phrase::from_text("D4 . F4 - G4 . A4 . F4 . C4 .", 0.25).unwrap();
        let notes = written.notes().iter().enumerate().map(|(at, note)| {
            let start = 1.0 + 0.2 * at as f32;
            Note {
                said: Syllable::new(start, start + 0.05, start + 0.2, at as f32),
                ..*note
            }
        });
        Phrase::new(notes, written.length()).unwrap()
    }

    fn times(note: &Note) -> [f32; 3] {
        let said = note.said.unwrap();
        [said.start, said.vowel, said.end].map(|time| (time * 1000.0).round())
    }

    #[test]
    fn a_note_that_is_split_shares_its_syllable() {
        let two = sentence().split(1, 0.75).unwrap();
        assert_eq!(two.chosen, [2]);
        let notes = &two.phrase.notes()[1..3];
        assert_eq!((notes[0].onset, notes[0].length), (0.5, 0.25));
        assert_eq!((notes[1].onset, notes[1].length), (0.75, 0.25));
        assert_eq!(notes[0].key, notes[1].key);
        // 1.2 to 1.4 s, the vowel at 1.25; half of the vowel is at 1.325.
        assert_eq!(times(&notes[0]), [1200.0, 1250.0, 1325.0]);
        assert_eq!(times(&notes[1]), [1325.0, 1325.0, 1400.0]);
        for at in [0.5, 1.0, 0.2] {
            assert_eq!(sentence().split(1, at), None, "not inside");
        }
        assert_eq!(sentence().split(6, 0.75), None);
    }

    #[test]
    fn notes_that_are_joined_put_their_syllables_together() {
        let one = sentence().joined(2).unwrap();
        assert_eq!(one.chosen, [2]);
        let note = one.phrase.notes()[2];
        assert_eq!(
            (note.onset, note.length, note.key.number()),
            (1.0, 0.75, 67)
        );
        assert_eq!(times(&note), [1400.0, 1450.0, 1800.0]);
        assert_eq!(one.phrase.notes().len(), 5);
        assert_eq!(sentence().joined(5), None, "none follows");
    }

    proptest! {
        #[test]
        fn a_note_that_is_split_and_joined_again_is_as_it_was(
            index in 0_usize..6, part in 0.01..0.99_f64,
        ) {
            let sentence = sentence();
            let note = sentence.notes()[index];
            let Some(two) = sentence.split(index, note.onset + part * note.length) else {
                return Ok(());
            };
            prop_assert_eq!(two.phrase.joined(index).unwrap().phrase, sentence);
        }

        #[test]
        fn every_gesture_takes_the_syllables_along(
            index in 0_usize..6, ticks in -3000_i64..3000, semitones in -20..20,
        ) {
            let sentence = sentence();
            let by = from_ticks(ticks);
            let names = |phrase: &Phrase| -> Vec<u32> {
                let said = phrase.notes().iter().map(|note| note.said.unwrap().cents as u32);
                said.collect()
            };
            let moved = sentence.moved(&[index], by, semitones);
            let mut others = names(&moved.phrase);
            prop_assert_eq!(others.remove(moved.chosen[0]), index as u32);
            let meant: Vec<u32> = (0..6).filter(|at| *at != index as u32).collect();
            prop_assert_eq!(others, meant);
            let turned = sentence.rotated(&[0, 1, 2, 3, 4, 5], by).phrase;
            let first = names(&turned)[0];
            let round: Vec<u32> = (0..6).map(|at| (at + first) % 6).collect();
            prop_assert_eq!(names(&turned), round);
            let twice = sentence.doubled().unwrap();
            prop_assert_eq!(names(&twice), (0..6).chain(0..6).collect::<Vec<u32>>());
        }
    }
}
