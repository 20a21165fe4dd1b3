//! The phrase: its notes, its length, and the smallest rotation that leaves it as it was.

use crate::metre::Metre;
use crate::note::{Key, Note, Velocity};
use crate::time::{Beats, HAIR, from_ticks, to_ticks};
use arrayvec::ArrayVec;
use thiserror::Error;

mod attacks;
mod backwards;
mod edit;
mod lasting;
mod parting;
mod text;

pub use attacks::{AttackFinder, CHORD, attack_times};
pub use backwards::Backwards;
pub use edit::{Cut, Edited};
pub use text::{Written, key_name};

/// The most notes a phrase holds. Capturing or loading more leaves out the latest and says so.
pub const MAX_NOTES: usize = 512;

/// The shortest phrase, in beats: a step of the finest grid, a thirty-second note. What comes round
/// faster is heard as a buzz, not as a phrase, and costs the audio thread a cycle each time.
pub const MIN_LENGTH: Beats = 0.125;

/// The longest phrase, in beats: 128 steps of a quarter note.
pub const MAX_LENGTH: Beats = 128.0;

/// Notes in order of onset (then key), and the length after which they come round again.
///
/// Never shorter than [`MIN_LENGTH`]: a phrase of no length would repeat for ever. It has a fixed capacity and
/// lives in place, so that the audio thread can take one without allocating.
#[derive(Clone, Debug, PartialEq)]
pub struct Phrase {
    notes: ArrayVec<Note, MAX_NOTES>,
    length: Beats,
    bar: Option<Bar>,
}

/// The bar that a phrase was played in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bar {
    /// The time signature.
    pub metre: Metre,
    /// Where in the phrase a bar begins, in beats.
    pub begins: Beats,
    /// Whether what is before that is a pick-up: it keeps its place before the bar line on which
    /// the phrase is begun.
    pub pick_up: bool,
}

impl Bar {
    /// The bar of a phrase in which `begins` beats are before a bar line. Up to half a bar leads to
    /// that, as a pick-up; more begins within a bar (common practice, no source).
    pub fn around(metre: Metre, begins: Beats) -> Self {
        let before = begins.rem_euclid(metre.bar());
        Self {
            metre,
            begins,
            pick_up: before > HAIR && before < metre.bar() / 2.0 + HAIR,
        }
    }
}

/// Why a phrase could not be made; the text says what to do.
#[derive(Clone, Debug, Error, PartialEq)]
pub enum PhraseError {
    /// The length is below [`MIN_LENGTH`], beyond [`MAX_LENGTH`], or no number.
    #[error(
        "a phrase lasts at least {MIN_LENGTH} and at most {MAX_LENGTH} beats, this one {0}: choose a length in between"
    )]
    Length(Beats),
    /// A note starts outside the phrase, or has no proper length.
    #[error("note {} does not start inside the phrase, or has no length: move or lengthen it", .0 + 1)]
    Note(usize),
    /// There are more than [`MAX_NOTES`].
    #[error("{0} notes are more than the {MAX_NOTES} a phrase holds: choose a shorter stretch")]
    TooMany(usize),
    /// A word of a written phrase is no note, rest or hold.
    #[error(
        "\"{0}\" is not a note: write notes like C4 (middle C), F#4 or Bb3, chords like D4+F4, a dot for a rest, a dash to hold"
    )]
    Word(String),
}

impl Phrase {
    /// A phrase of `length` beats. Notes are put in order; a note longer than the phrase is cut
    /// to its length.
    ///
    /// # Errors
    /// See [`PhraseError`].
    pub fn new(notes: impl IntoIterator<Item = Note>, length: Beats) -> Result<Self, PhraseError> {
        if !(MIN_LENGTH..=MAX_LENGTH).contains(&length) {
            return Err(PhraseError::Length(length));
        }
        let mut kept = ArrayVec::new();
        let mut count = 0;
        for (index, note) in notes.into_iter().enumerate() {
            let starts_inside = note.onset >= 0.0 && note.onset < length;
            if !(starts_inside && note.length > 0.0) {
                return Err(PhraseError::Note(index));
            }
            count += 1;
            let _ = kept.try_push(Note {
                length: note.length.min(length),
                ..note
            });
        }
        if count > MAX_NOTES {
            return Err(PhraseError::TooMany(count));
        }
        kept.sort_unstable_by(|a: &Note, b: &Note| {
            a.onset.total_cmp(&b.onset).then(a.key.cmp(&b.key))
        });
        Ok(Self {
            notes: kept,
            length,
            bar: None,
        })
    }

    /// The phrase in that bar, if a bar comes round with it: if it lasts whole bars, or a whole
    /// part of one. Otherwise every cycle lies differently in the bar, and it has none.
    pub fn with_bar(mut self, bar: Option<Bar>) -> Self {
        let goes_into = |a: Beats, b: Beats| {
            let times = (b / a).round();
            times >= 1.0 && (times * a - b).abs() < from_ticks(1) / 2.0
        };
        self.bar = bar
            .filter(|bar| bar.begins.is_finite())
            .map(|bar| Bar {
                begins: bar.begins.rem_euclid(bar.metre.bar()),
                ..bar
            })
            .filter(|bar| {
                let bar = bar.metre.bar();
                goes_into(bar, self.length) || goes_into(self.length, bar)
            })
            .map(|bar| {
                let lies_before = bar.begins.min(bar.metre.bar() - bar.begins) > HAIR;
                let is_whole = goes_into(bar.metre.bar(), self.length);
                Bar {
                    pick_up: bar.pick_up && lies_before && is_whole,
                    ..bar
                }
            });
        self
    }

    /// How many beats of it lead to its first bar line, as a pick-up.
    pub fn pick_up(&self) -> Beats {
        let bar = self.bar.filter(|bar| bar.pick_up);
        bar.map_or(0.0, |bar| bar.begins)
    }

    /// The bar it was played in, where one is known.
    pub fn bar(&self) -> Option<Bar> {
        self.bar
    }

    /// No notes: `length` beats of rest.
    ///
    /// # Errors
    /// [`PhraseError::Length`].
    pub fn empty(length: Beats) -> Result<Self, PhraseError> {
        Self::new([], length)
    }

    /// A phrase from words, one a step of `step` beats: a note (`D4`, `F#4`, `Bb3`), several at
    /// once (`D4+F4`), a rest (`.`), or a dash that holds what came before. `|` may stand
    /// anywhere and means nothing.
    ///
    /// # Errors
    /// [`PhraseError::Word`] names the first word that is none of these.
    pub fn from_text(text: &str, step: Beats) -> Result<Self, PhraseError> {
        let mut notes: Vec<Note> = Vec::new();
        let mut steps = 0;
        let mut held = 0..0;
        for word in text.split_whitespace().filter(|word| *word != "|") {
            let onset = f64::from(steps) * step;
            match word {
                "." => held = 0..0,
                "-" => notes[held.clone()]
                    .iter_mut()
                    .for_each(|note| note.length += step),
                chord => {
                    let first = notes.len();
                    for name in chord.split('+') {
                        let key = key_from_name(name)
                            .ok_or_else(|| PhraseError::Word(word.to_owned()))?;
                        let velocity = Velocity::new(0.7);
                        notes.push(Note {
                            onset,
                            length: step,
                            key,
                            velocity,
                            said: None,
                        });
                    }
                    held = first..notes.len();
                }
            }
            steps += 1;
        }
        Self::new(notes, f64::from(steps) * step)
    }

    /// The notes, by onset, then key.
    pub fn notes(&self) -> &[Note] {
        &self.notes
    }

    /// Beats; [`MIN_LENGTH`] ..= [`MAX_LENGTH`].
    pub fn length(&self) -> Beats {
        self.length
    }

    /// Whether there is nothing to play.
    pub fn is_empty(&self) -> bool {
        self.notes.is_empty()
    }

    /// The smallest rotation, in ticks, that maps the phrase (onset, pitch and length together)
    /// onto itself. The whole length unless the phrase is made of equal parts.
    ///
    /// Parts that differ only as a hand plays the same thing twice are equal: how hard a note is
    /// struck does not count, and two lengths are the same unless they are different note values.
    pub fn smallest_rotation(&self) -> i64 {
        let length = to_ticks(self.length).max(1);
        let count = self.notes.len();
        (2..=count)
            .rev()
            .filter(|parts| count % parts == 0 && length % (*parts as i64) == 0)
            .find(|parts| self.consists_of(*parts))
            .map_or(length, |parts| length / parts as i64)
    }

    /// Whether the phrase is `parts` times the same.
    fn consists_of(&self, parts: usize) -> bool {
        let per_part = self.notes.len() / parts;
        let shift = self.length / parts as f64;
        self.notes
            .iter()
            .zip(&self.notes[per_part..])
            .all(|(a, b)| {
                to_ticks(a.onset + shift) == to_ticks(b.onset)
                    && are_one_value(a.length, b.length)
                    && a.key == b.key
            })
    }

    /// The phrase with its onsets, lengths and own length moved to the nearest tick.
    pub fn on_ticks(&self) -> Self {
        let to_raster = |beats: Beats| from_ticks(to_ticks(beats));
        let tick = from_ticks(1);
        let length = to_raster(self.length).max(tick);
        let notes = self.notes.iter().map(|note| Note {
            onset: to_raster(note.onset).min(length - tick),
            length: to_raster(note.length).max(tick),
            ..*note
        });
        Self {
            notes: notes.collect(),
            length,
            bar: self.bar,
        }
    }
}

/// Whether a hand may have meant two notes to last equally long.
///
/// The note values nearest to each other that are commonly written are a value and the dotted one
/// below it, 4 : 3 (common practice, no source); what is closer is one value. Of short notes,
/// 31 ms at 120 beats a minute may be missing: a 64th note is still told from a 32nd.
fn are_one_value(a: Beats, b: Beats) -> bool {
    let allowed = (a.max(b) / 4.0).max(1.0 / 16.0);
    (a - b).abs() < allowed - from_ticks(1) / 2.0
}

/// The key that a name such as `C4`, `F#3` or `Bb-1` stands for; C4 is 60.
pub fn key_from_name(name: &str) -> Option<Key> {
    let letter = name.chars().next()?;
    let natural = match letter.to_ascii_uppercase() {
        'C' => 0,
        'D' => 2,
        'E' => 4,
        'F' => 5,
        'G' => 7,
        'A' => 9,
        'B' => 11,
        _ => return None,
    };
    let rest = &name[letter.len_utf8()..];
    let digits = rest.trim_start_matches(['#', 'b', '♯', '♭']);
    let accidental: i32 = rest[..rest.len() - digits.len()]
        .chars()
        .map(|sign| if matches!(sign, '#' | '♯') { 1 } else { -1 })
        .sum();
    let octave: i32 = digits
        .parse()
        .ok()
        .filter(|octave| (-1..=9).contains(octave))?;
    u8::try_from((octave + 1) * 12 + natural + accidental)
        .ok()
        .and_then(Key::new)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::Grid;

    fn phrase(text: &str) -> Phrase {
        Phrase::from_text(text, 0.25).unwrap()
    }

    #[test]
    fn words_become_notes_rests_and_holds() {
        let written = phrase("D4 - F#4 . | Bb3+D4 -");
        let heard: Vec<_> = written
            .notes()
            .iter()
            .map(|n| (n.onset, n.length, n.key.number()))
            .collect();
        assert_eq!(
            heard,
            [
                (0.0, 0.5, 62),
                (0.5, 0.25, 66),
                (1.0, 0.5, 58),
                (1.0, 0.5, 62)
            ]
        );
        assert_eq!(written.length(), 1.5);
    }

    #[test]
    fn a_word_that_is_no_note_is_named() {
        let error = Phrase::from_text("D4 H4", 0.25).unwrap_err();
        assert!(error.to_string().contains("\"H4\""), "{error}");
    }

    #[test]
    fn a_phrase_of_two_equal_halves_comes_round_after_one() {
        assert_eq!(phrase("D4 F4 . D4 F4 .").smallest_rotation(), 720);
        assert_eq!(phrase("D4 D4 D4 D4").smallest_rotation(), 240);
        assert_eq!(phrase("D4 F4 . D4 G4 .").smallest_rotation(), 1440);
    }

    /// Two bars of the same four notes, each struck as hard and held as long as told.
    fn two_halves(velocities: [f32; 8], lengths: [Beats; 8]) -> Phrase {
        let written = phrase("D4 . F4 . G4 . A4 . | D4 . F4 . G4 . A4 .");
        let notes = written.notes().iter().enumerate().map(|(i, note)| Note {
            velocity: Velocity::new(velocities[i]),
            length: lengths[i],
            ..*note
        });
        Phrase::new(notes, written.length()).unwrap()
    }

    #[test]
    fn halves_that_differ_only_as_a_hand_differs_are_equal() {
        let even = [0.5; 8];
        let by_hand = [0.61, 0.4, 0.55, 0.8, 0.5, 0.47, 0.66, 0.7];
        let legato = [0.5; 8];
        assert_eq!(two_halves(even, legato).smallest_rotation(), 1920);
        assert_eq!(two_halves(by_hand, legato).smallest_rotation(), 1920);
        let held_by_hand = [0.46, 0.5, 0.41, 0.22, 0.5, 0.44, 0.47, 0.25];
        assert_eq!(two_halves(even, held_by_hand).smallest_rotation(), 1920);
        let once_staccato = [0.5, 0.5, 0.5, 0.5, 0.5, 0.25, 0.5, 0.5];
        assert_eq!(two_halves(even, once_staccato).smallest_rotation(), 3840);
    }

    #[test]
    fn neighbouring_note_values_are_told_apart_however_short() {
        for value in [1.0 / 16.0, 0.125, 1.0 / 6.0, 0.25, 0.5, 1.0, 3.0] {
            assert!(!are_one_value(value, 2.0 * value), "{value}");
            assert!(are_one_value(value, value + from_ticks(20)), "{value}");
        }
        assert!(!are_one_value(1.0, 0.75) && !are_one_value(1.5, 2.0));
    }

    #[test]
    fn a_phrase_of_no_length_is_refused() {
        assert!(Phrase::empty(0.0).is_err());
        assert!(Phrase::empty(f64::NAN).is_err());
    }

    #[test]
    fn a_phrase_is_no_shorter_than_a_step_of_the_finest_grid() {
        let finest = Grid::ALL.map(Grid::beats).into_iter();
        assert_eq!(finest.fold(f64::INFINITY, f64::min), MIN_LENGTH);
        assert!(Phrase::empty(MIN_LENGTH).is_ok());
        for length in [1e-9, 1e-6, 0.0005, 0.124, -0.125] {
            let refusal = Phrase::empty(length).unwrap_err();
            assert_eq!(refusal, PhraseError::Length(length));
            assert!(refusal.to_string().contains("at least 0.125"));
        }
    }

    #[test]
    fn key_names_reach_both_ends() {
        assert_eq!(key_from_name("C-1").map(Key::number), Some(0));
        assert_eq!(key_from_name("G9").map(Key::number), Some(127));
        assert_eq!(key_from_name("G#9"), None);
        assert_eq!(key_from_name(""), None);
    }
}
