//! Editing: a phrase, and the phrase that an editing hand makes of it.
//!
//! Every verb leaves the phrase it is asked of as it was, and gives back another. Notes are named
//! by their place in [`Phrase::notes`], which an edit can change: so it says where they went.
//! For the window: these allocate.

use super::{MAX_LENGTH, MAX_NOTES, Phrase, PhraseError};
use crate::note::{Key, Note, Velocity};
use crate::time::{Beats, from_ticks, to_ticks};

/// A phrase after an edit.
#[derive(Clone, Debug, PartialEq)]
pub struct Edited {
    /// What it has become.
    pub phrase: Phrase,
    /// Where the notes that the edit was about stand now, ascending.
    pub chosen: Vec<usize>,
}

/// A phrase whose length was changed.
#[derive(Clone, Debug, PartialEq)]
pub struct Cut {
    /// What it has become.
    pub phrase: Phrase,
    /// How many notes started beyond its new end and are gone.
    pub left_out: usize,
}

impl Phrase {
    /// The chosen notes moved in time and pitch, as one body: it stops where the first of them
    /// reaches an end of the phrase or of the keyboard.
    pub fn moved(&self, chosen: &[usize], by: Beats, semitones: i32) -> Edited {
        let Some(room) = Room::around(self, chosen) else {
            return self.unchanged(chosen);
        };
        // Not `clamp`: a phrase shorter than a tick leaves no room at all.
        let by = by.min(room.after).max(-room.before);
        let semitones = semitones.min(room.above).max(-room.below);
        self.with_each(chosen, |note| Note {
            onset: if by == 0.0 {
                note.onset
            } else {
                on_tick(note.onset + by).clamp(0.0, self.last_onset())
            },
            key: higher(note.key, semitones).unwrap_or(note.key),
            ..note
        })
    }

    /// The chosen notes so many semitones higher, or lower if negative. Where one of them would
    /// leave the keyboard all stay, so that no interval is bent.
    pub fn transposed(&self, chosen: &[usize], semitones: i32) -> Edited {
        let fits = Room::around(self, chosen)
            .is_some_and(|room| (-room.below..=room.above).contains(&semitones));
        self.moved(chosen, 0.0, if fits { semitones } else { 0 })
    }

    /// The chosen notes later, or earlier if negative; what leaves at one end of the phrase comes
    /// in at the other.
    pub fn rotated(&self, chosen: &[usize], by: Beats) -> Edited {
        self.with_each(chosen, |note| {
            let onset = on_tick((note.onset + by).rem_euclid(self.length));
            Note {
                // Rounding can reach the end, which is the start.
                onset: if onset < self.length { onset } else { 0.0 },
                ..note
            }
        })
    }

    /// The chosen notes longer, or shorter if negative, down to `least` and up to the phrase's
    /// own length.
    pub fn lengthened(&self, chosen: &[usize], by: Beats, least: Beats) -> Edited {
        self.with_each(chosen, |note| {
            let least = least.max(from_ticks(1)).min(note.length);
            Note {
                length: on_tick(note.length + by).max(least).min(self.length),
                ..note
            }
        })
    }

    /// The chosen notes struck harder by that much of the whole range, or softer if negative.
    pub fn struck_harder(&self, chosen: &[usize], by: f32) -> Edited {
        self.with_each(chosen, |note| Note {
            velocity: Velocity::new(note.velocity.value() + by),
            ..note
        })
    }

    /// One note more, which is the chosen one.
    ///
    /// # Errors
    /// [`PhraseError::Note`] if it does not start inside, [`PhraseError::TooMany`] if there is no
    /// room.
    pub fn with_note(&self, note: Note) -> Result<Edited, PhraseError> {
        Self::new([note], self.length)?;
        if self.notes.len() == MAX_NOTES {
            return Err(PhraseError::TooMany(MAX_NOTES + 1));
        }
        let length = note.length.min(self.length);
        let old = self.notes.iter().map(|note| (*note, false));
        Ok(self.of_notes(old.chain([(Note { length, ..note }, true)])))
    }

    /// Without the chosen notes.
    pub fn without(&self, chosen: &[usize]) -> Self {
        let kept = self.notes.iter().enumerate();
        let kept = kept.filter(|(index, _)| !chosen.contains(index));
        Self {
            notes: kept.map(|(_, note)| *note).collect(),
            length: self.length,
            bar: self.bar,
        }
    }

    /// The same notes coming round after another length: rests are added at the end, or notes
    /// that start beyond it left out.
    ///
    /// # Errors
    /// [`PhraseError::Length`].
    pub fn of_length(&self, length: Beats) -> Result<Cut, PhraseError> {
        let length = on_tick(length.min(2.0 * MAX_LENGTH));
        let inside = self.notes.iter().filter(|note| note.onset < length);
        let phrase = Self::new(inside.copied(), length)?.with_bar(self.bar);
        let left_out = self.notes.len() - phrase.notes.len();
        Ok(Cut { phrase, left_out })
    }

    /// The phrase twice over, as one phrase.
    ///
    /// # Errors
    /// [`PhraseError::Length`] or [`PhraseError::TooMany`] if that is more than a phrase holds.
    pub fn doubled(&self) -> Result<Self, PhraseError> {
        let again = self.notes.iter().map(|note| Note {
            onset: note.onset + self.length,
            ..*note
        });
        let both = self.notes.iter().copied().chain(again);
        Ok(Self::new(both, 2.0 * self.length)?.with_bar(self.bar))
    }

    /// The first half of the phrase.
    ///
    /// # Errors
    /// [`PhraseError::Length`] if half of it is too short for one.
    pub fn halved(&self) -> Result<Cut, PhraseError> {
        self.of_length(self.length / 2.0)
    }

    /// The last moment at which a note may start.
    fn last_onset(&self) -> Beats {
        (self.length - from_ticks(1)).max(0.0)
    }

    fn unchanged(&self, chosen: &[usize]) -> Edited {
        self.with_each(chosen, |note| note)
    }

    /// The chosen notes each turned into another.
    fn with_each(&self, chosen: &[usize], edit: impl Fn(Note) -> Note) -> Edited {
        let notes = self.notes.iter().enumerate().map(|(index, note)| {
            if chosen.contains(&index) {
                (edit(*note), true)
            } else {
                (*note, false)
            }
        });
        self.of_notes(notes)
    }

    /// These notes, put in order, and where the chosen ones came to stand.
    fn of_notes(&self, notes: impl Iterator<Item = (Note, bool)>) -> Edited {
        let mut notes: Vec<_> = notes.collect();
        notes.sort_by(|(a, _), (b, _)| a.onset.total_cmp(&b.onset).then(a.key.cmp(&b.key)));
        let chosen = (0..notes.len()).filter(|index| notes[*index].1).collect();
        let phrase = Self {
            notes: notes.into_iter().map(|(note, _)| note).collect(),
            length: self.length,
            bar: self.bar,
        };
        Edited { phrase, chosen }
    }
}

/// How far chosen notes can move before the first of them reaches an end.
struct Room {
    before: Beats,
    after: Beats,
    below: i32,
    above: i32,
}

impl Room {
    /// None if no note is chosen.
    fn around(phrase: &Phrase, chosen: &[usize]) -> Option<Self> {
        let last = phrase.last_onset();
        let notes = chosen.iter().filter_map(|index| phrase.notes.get(*index));
        notes
            .map(|note| Self {
                before: note.onset,
                after: (last - note.onset).max(0.0),
                below: note.key.number().into(),
                above: 127 - i32::from(note.key.number()),
            })
            .reduce(|a, b| Self {
                before: a.before.min(b.before),
                after: a.after.min(b.after),
                below: a.below.min(b.below),
                above: a.above.min(b.above),
            })
    }
}

fn higher(key: Key, semitones: i32) -> Option<Key> {
    u8::try_from(i32::from(key.number()) + semitones)
        .ok()
        .and_then(Key::new)
}

fn on_tick(beats: Beats) -> Beats {
    from_ticks(to_ticks(beats))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const SIXTEENTH: Beats = 0.25;

    fn play(text: &str) -> Phrase {
        Phrase::from_text(text, SIXTEENTH).unwrap()
    }

    #[track_caller]
    fn sounds(phrase: &Phrase, text: &str) {
        assert_eq!(phrase.to_text(SIXTEENTH).text, text);
    }

    #[test]
    fn an_edited_phrase_stays_in_its_bar_unless_its_length_leaves_it() {
        let metre = crate::metre::Metre::new(3, 4).unwrap();
        let bar = crate::phrase::Bar::around(metre, 0.5);
        let phrase = play("D4 . F4 . G4 . A4 . C5 . A4 .").with_bar(Some(bar));
        assert_eq!(phrase.bar(), Some(bar));
        assert_eq!(phrase.pick_up(), 0.5);
        assert_eq!(phrase.moved(&[0], SIXTEENTH, 2).phrase.bar(), Some(bar));
        assert_eq!(phrase.without(&[1]).bar(), Some(bar));
        assert_eq!(phrase.doubled().unwrap().bar(), Some(bar));
        // Half a bar comes round with it, but has no bar to lead to.
        let half = phrase.halved().unwrap().phrase;
        assert_eq!(half.bar().map(|bar| bar.begins), Some(0.5));
        assert_eq!(half.pick_up(), 0.0);
        assert_eq!(phrase.of_length(2.0).unwrap().phrase.bar(), None);
        assert_eq!(phrase.on_ticks().bar(), Some(bar));
    }

    #[test]
    fn a_note_moved_past_its_neighbour_is_still_the_chosen_one() {
        let edited = play("D4 F4 . .").moved(&[0], 2.0 * SIXTEENTH, 3);
        sounds(&edited.phrase, ". F4 F4 .");
        assert_eq!(edited.chosen, [1]);
    }

    #[test]
    fn chosen_notes_stop_together_at_the_ends_of_the_phrase_and_the_keyboard() {
        let phrase = play(". D4 F4 .");
        sounds(&phrase.moved(&[0, 1], -9.0, 0).phrase, "D4 F4 . .");
        let late = phrase.moved(&[0, 1], 9.0, 0).phrase;
        assert_eq!(
            late.notes()[1].onset - late.notes()[0].onset,
            SIXTEENTH,
            "the distance between them stays"
        );
        assert!(late.notes()[1].onset < late.length());
        sounds(&play("C9 G9").moved(&[0, 1], 0.0, 5).phrase, "C9 G9");
        sounds(&play("C9 F9").moved(&[0, 1], 0.0, 5).phrase, "D9 G9");
    }

    #[test]
    fn a_transposition_that_does_not_fit_bends_no_interval() {
        let phrase = play("C9 E9");
        sounds(&phrase.transposed(&[0, 1], 12).phrase, "C9 E9");
        sounds(&phrase.transposed(&[0, 1], 3).phrase, "Eb9 G9");
        sounds(&phrase.transposed(&[0, 1], -12).phrase, "C8 E8");
    }

    #[test]
    fn a_rotated_phrase_comes_in_again_at_the_start() {
        let phrase = play("D4 F4 G4 .");
        let edited = phrase.rotated(&[0, 1, 2], 2.0 * SIXTEENTH);
        sounds(&edited.phrase, "G4 . D4 F4");
        assert_eq!(edited.chosen, [0, 1, 2]);
        sounds(&phrase.rotated(&[0], -SIXTEENTH).phrase, ". F4 G4 D4");
    }

    #[test]
    fn a_note_lengthens_up_to_the_phrase_and_shortens_down_to_the_least() {
        let phrase = play("D4 . . .");
        sounds(
            &phrase.lengthened(&[0], 2.0 * SIXTEENTH, SIXTEENTH).phrase,
            "D4 - - .",
        );
        sounds(&phrase.lengthened(&[0], 99.0, SIXTEENTH).phrase, "D4 - - -");
        let short = play("D4 - . .").lengthened(&[0], -99.0, SIXTEENTH).phrase;
        sounds(&short, "D4 . . .");
    }

    #[test]
    fn a_note_struck_softer_never_falls_silent() {
        let softer = play("D4").struck_harder(&[0], -2.0).phrase;
        assert_eq!(softer.notes()[0].velocity.midi(), 1);
        let harder = play("D4").struck_harder(&[0], 2.0).phrase;
        assert_eq!(harder.notes()[0].velocity.midi(), 127);
    }

    #[test]
    fn a_note_is_added_and_removed() {
        let phrase = play("D4 . G4 .");
        let note = Note {
            onset: SIXTEENTH,
            ..play("F4").notes()[0]
        };
        let edited = phrase.with_note(note).unwrap();
        sounds(&edited.phrase, "D4 F4 G4 .");
        assert_eq!(edited.chosen, [1]);
        sounds(&edited.phrase.without(&[0, 2]), ". F4 . .");
        let outside = Note { onset: 1.0, ..note };
        assert_eq!(phrase.with_note(outside), Err(PhraseError::Note(0)));
    }

    #[test]
    fn a_full_phrase_takes_no_more_notes() {
        let one = play("D4").notes()[0];
        let full = Phrase::new(std::iter::repeat_n(one, MAX_NOTES), 1.0).unwrap();
        assert_eq!(
            full.with_note(one),
            Err(PhraseError::TooMany(MAX_NOTES + 1))
        );
    }

    #[test]
    fn a_shorter_phrase_says_how_many_notes_are_left_out() {
        let cut = play("D4 - - F4 G4 A4").of_length(2.0 * SIXTEENTH).unwrap();
        sounds(&cut.phrase, "D4 -");
        assert_eq!(cut.left_out, 3);
        let cut = play("D4 F4").of_length(1.0).unwrap();
        sounds(&cut.phrase, "D4 F4 . .");
        assert_eq!(cut.left_out, 0);
    }

    #[test]
    fn no_length_and_no_number_are_refused() {
        for length in [0.0, -1.0, f64::NAN, f64::INFINITY, MAX_LENGTH + 1.0] {
            assert!(play("D4").of_length(length).is_err(), "{length}");
        }
    }

    #[test]
    fn a_doubled_phrase_says_it_twice_and_halved_it_is_the_phrase_again() {
        let phrase = play("D4 F4 .");
        let twice = phrase.doubled().unwrap();
        sounds(&twice, "D4 F4 . D4 F4 .");
        assert_eq!(twice.halved().unwrap().phrase, phrase);
        assert!(Phrase::empty(MAX_LENGTH).unwrap().doubled().is_err());
    }

    prop_compose! {
        fn notes()(all in prop::collection::vec(
            (0..3840_i64, 1..3840_i64, 0..128_u8, 1..128_u8), 0..40,
        )) -> Phrase {
            let notes = all.into_iter().map(|(onset, length, key, velocity)| Note {
                onset: from_ticks(onset),
                length: from_ticks(length),
                key: Key::new(key).unwrap(),
                velocity: Velocity::new(f32::from(velocity) / 127.0), said: None,
            });
            Phrase::new(notes, 4.0).unwrap()
        }
    }

    proptest! {
        /// Whatever an edit is asked for, it leaves a phrase that could have been made by hand,
        /// with the notes it was about still chosen and all others as they were.
        #[test]
        fn every_edit_leaves_a_proper_phrase(
            phrase in notes(),
            picked in prop::collection::vec(any::<bool>(), 40),
            by in -9.0..9.0_f64,
            semitones in -200..200_i32,
        ) {
            let chosen: Vec<_> = (0..phrase.notes().len()).filter(|i| picked[*i]).collect();
            for edited in [
                phrase.moved(&chosen, by, semitones),
                phrase.transposed(&chosen, semitones),
                phrase.rotated(&chosen, by),
                phrase.lengthened(&chosen, by, 0.25),
                phrase.struck_harder(&chosen, by as f32),
            ] {
                let again = Phrase::new(edited.phrase.notes().iter().copied(), 4.0);
                prop_assert_eq!(again.map(|phrase| phrase.notes().len()), Ok(phrase.notes().len()));
                prop_assert_eq!(edited.chosen.len(), chosen.len());
                prop_assert_eq!(edited.phrase.without(&edited.chosen), phrase.without(&chosen));
            }
        }

        /// Turning there and back changes nothing.
        #[test]
        fn a_rotation_and_its_opposite_are_none(phrase in notes(), ticks in -9999..9999_i64) {
            let all: Vec<_> = (0..phrase.notes().len()).collect();
            let by = from_ticks(ticks);
            let back = phrase.rotated(&all, by).phrase.rotated(&all, -by).phrase;
            let tied = |phrase: &Phrase| {
                let mut notes: Vec<_> = phrase
                    .notes()
                    .iter()
                    .map(|n| (to_ticks(n.onset), n.key, to_ticks(n.length), n.velocity.midi()))
                    .collect();
                notes.sort_unstable();
                notes
            };
            prop_assert_eq!(tied(&back), tied(&phrase));
        }
    }
}
