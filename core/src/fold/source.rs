//! The source mode of a fold: as set, or as the phrase lets it be heard.

use crate::mode::{Mode, ModeName, PitchSet};
use crate::phrase::Phrase;
use crate::settings::FoldSettings;
use crate::time::to_ticks;
use arrayvec::ArrayVec;

/// The source mode: what the settings leave open is found by listening to the phrase.
pub fn source(settings: &FoldSettings, phrase: &Phrase) -> Mode {
    match (settings.source_tonic, settings.source_mode) {
        (Some(tonic), Some(name)) => Mode::named(tonic, name, settings.custom),
        (Some(tonic), None) => detect_source_mode(tonic, phrase),
        (None, Some(name)) => {
            detect_source_tonic(Mode::named(0, name, settings.custom).steps(), phrase)
        }
        (None, None) => detect_source(phrase),
    }
}

/// The mode in which the degrees of `phrase` are counted on its way into `target`.
///
/// A phrase that is heard in a mode of fewer tones than the target is taken to lie within one of as
/// many on the same tonic, the first of the list that contains it: so C D E G A leads from C Ionian
/// into C Dorian degree for degree, and is not squeezed into the first five. If its mode was named,
/// or no mode of that size contains it, it is counted in the mode it is heard in.
pub fn counted_in(settings: &FoldSettings, phrase: &Phrase, target: &Mode) -> Mode {
    let heard = source(settings, phrase);
    if settings.source_mode.is_some() || heard.size() >= target.size() {
        return heard;
    }
    let played = pitch_classes(phrase);
    ModeName::shipped()
        .map(|(_, steps)| Mode::new(heard.tonic(), steps))
        .filter(|wider| wider.size() == target.size())
        .find(|wider| played.is_subset_of(wider.pitch_classes()))
        .unwrap_or(heard)
}

/// Of the shipped modes that contain the whole phrase, one with the fewest extra pitches: the
/// first of the list on the tonic for which the phrase speaks most; if there is
/// none on any tonic it speaks for, the first of the list on the first tonic from C upwards. An
/// empty phrase is heard as C chromatic.
///
/// A phrase speaks for its first note, its last, its lowest, and the pitch class that lasts
/// longest in all, a vote each; of those with as many votes, in that order.
///
/// # Real-time
/// Allocates never, blocks never, bounded by the notes of the phrase; so are its sisters.
pub fn detect_source(phrase: &Phrase) -> Mode {
    let played = pitch_classes(phrase);
    let contains = |mode: &Mode| played.is_subset_of(mode.pitch_classes());
    let on = |tonic| ModeName::shipped().map(move |(_, steps)| Mode::new(tonic, steps));
    let everywhere =
        || ModeName::shipped().flat_map(|(_, steps)| (0..12).map(move |t| Mode::new(t, steps)));
    if played.is_empty() {
        return Mode::new(0, PitchSet::CHROMATIC);
    }
    let smallest = everywhere().filter(contains).map(|mode| mode.size()).min();
    let fits = |mode: &Mode| contains(mode) && Some(mode.size()) == smallest;
    let spoken_for = Tonics::of(phrase)
        .ranked
        .into_iter()
        .flat_map(on)
        .find(fits);
    spoken_for
        .or_else(|| everywhere().find(fits))
        // Not reached: the chromatic scale contains every phrase.
        .unwrap_or(Mode::new(0, PitchSet::CHROMATIC))
}

/// The first of the shipped modes on this tonic that contains the phrase with the fewest extra
/// pitches. An empty phrase is heard as chromatic.
pub fn detect_source_mode(tonic: u8, phrase: &Phrase) -> Mode {
    let played = pitch_classes(phrase);
    let chromatic = Mode::new(tonic, PitchSet::CHROMATIC);
    if played.is_empty() {
        return chromatic;
    }
    ModeName::shipped()
        .map(|(_, steps)| Mode::new(tonic, steps))
        .filter(|mode| played.is_subset_of(mode.pitch_classes()))
        .min_by_key(Mode::size)
        .unwrap_or(chromatic)
}

/// These steps on the tonic that leaves the fewest played pitch classes outside; of several, the
/// one the phrase speaks for most, else the first from C upwards. An empty phrase gives C.
pub fn detect_source_tonic(steps: PitchSet, phrase: &Phrase) -> Mode {
    let played = pitch_classes(phrase);
    let tonics = Tonics::of(phrase);
    (0..12)
        .map(|tonic| Mode::new(tonic, steps))
        .min_by_key(|mode| {
            let outside = played.without(mode.pitch_classes()).len();
            (outside, tonics.rank(mode.tonic()))
        })
        // Not reached: there are twelve.
        .unwrap_or(Mode::new(0, steps))
}

/// The pitch classes that are played.
pub(crate) fn pitch_classes(phrase: &Phrase) -> PitchSet {
    let notes = phrase.notes().iter();
    notes.map(|note| note.key.pitch_class()).collect()
}

/// The pitch classes a phrase speaks for as tonics, the strongest first.
///
/// Its first note, its last note, its lowest, and the pitch class that lasts longest in all have
/// a vote each. Of those with as many votes, the first note's precedes the last's, the lowest's
/// and the longest's. Of a chord the lowest note counts; of those that last equally long, the one
/// heard first.
struct Tonics {
    ranked: ArrayVec<u8, 4>,
}

impl Tonics {
    fn of(phrase: &Phrase) -> Self {
        let notes = phrase.notes();
        let last = notes.last().and_then(|last| {
            let last_chord = notes.iter().filter(|note| note.onset == last.onset);
            last_chord.min_by_key(|note| note.key)
        });
        let lowest = notes.iter().min_by_key(|note| note.key);
        let by_note = [notes.first(), last, lowest].map(|note| Some(note?.key.pitch_class()));
        let [first, last, lowest] = by_note;
        let votes: ArrayVec<u8, 4> = [first, last, lowest, longest(phrase)]
            .into_iter()
            .flatten()
            .collect();

        let mut ranked: ArrayVec<u8, 4> = ArrayVec::new();
        for wanted in (1..=votes.len()).rev() {
            for vote in &votes {
                let count = votes.iter().filter(|other| *other == vote).count();
                if count == wanted && !ranked.contains(vote) {
                    ranked.push(*vote);
                }
            }
        }
        Self { ranked }
    }

    /// 0 for the strongest; after all that are spoken for, the same for every other.
    fn rank(&self, tonic: u8) -> usize {
        let rank = self.ranked.iter().position(|ranked| *ranked == tonic);
        rank.unwrap_or(self.ranked.len())
    }
}

/// The pitch class whose notes last longest together; of several, the one heard first.
fn longest(phrase: &Phrase) -> Option<u8> {
    // In ticks, so that equal lengths compare equal.
    let mut ticks = [0_i64; 12];
    for note in phrase.notes() {
        ticks[usize::from(note.key.pitch_class())] += to_ticks(note.length);
    }
    let most = ticks.into_iter().max()?;
    let heard = phrase.notes().iter().map(|note| note.key.pitch_class());
    let mut longest = heard.filter(|pitch_class| ticks[usize::from(*pitch_class)] == most);
    longest.next()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn heard_as(text: &str, expected: &str) {
        let phrase = Phrase::from_text(text, 0.25).unwrap();
        assert_eq!(detect_source(&phrase).name(), expected, "{text}");
    }

    fn phrase(text: &str) -> Phrase {
        Phrase::from_text(text, 0.25).unwrap()
    }

    #[test]
    fn all_seven_notes_leave_only_the_tonic_open() {
        heard_as("D4 E4 F4 G4 A4 B4 C5 D4", "D Dorian");
        heard_as("E4 F4 G4 A4 B4 C5 D5 E4", "E Phrygian");
        heard_as("A3 B3 C4 D4 E4 F4 G#4 A3", "A harmonic minor");
        heard_as("Bb3 C4 D4 E4 F4 G4 A4 Bb3", "B♭ Lydian");
    }

    #[test]
    fn a_pentatonic_phrase_needs_no_more_than_five_notes() {
        heard_as("D4 F4 G4 A4 C5 A4", "D minor pentatonic");
        heard_as("F4 G4 A4 C5 D5 F4", "F major pentatonic");
    }

    #[test]
    fn six_notes_are_heard_as_the_first_mode_of_the_list_that_completes_them() {
        // A B (Dorian) or a B♭ (Aeolian) would both complete it.
        heard_as("D4 E4 F4 G4 A4 C5 D4", "D Dorian");
    }

    #[test]
    fn the_tonic_goes_by_votes_then_to_the_first_note() {
        // First, last and lowest E against the long C.
        heard_as("E4 F4 G4 A4 B4 C5 - - - D5 E4", "E Phrygian");
        // A vote each: first D, last G, lowest C, longest A.
        heard_as("D4 E4 F4 A4 - - B4 C4 G4", "D Dorian");
        // The last chord's lowest note and the lowest note against the first note.
        heard_as("A4 B4 C5 D4 F4 E4 C4+G4", "C Ionian");
    }

    #[test]
    fn if_no_mode_fits_on_the_strongest_tonic_the_next_one_has_its_turn() {
        // Nothing that ships makes five notes of these on D, which comes first; A comes last.
        heard_as("D4 E4 G4 A4 C5 A4", "A minor pentatonic");
        // Here the phrase speaks for D alone, so the list decides.
        heard_as("D4 E4 G4 A4 C5 D4", "C major pentatonic");
    }

    #[test]
    fn twelve_notes_are_chromatic_and_silence_is_too() {
        heard_as("D4 D#4 E4 F4 F#4 G4 G#4 A4 A#4 B4 C5 C#5", "D chromatic");
        heard_as(". .", "C chromatic");
    }

    #[test]
    fn a_tonic_that_is_set_leaves_the_mode_to_be_found() {
        let white = phrase("C4 D4 E4 F4 G4 A4 B4");
        assert_eq!(detect_source_mode(4, &white).name(), "E Phrygian");
        assert_eq!(detect_source_mode(5, &white).name(), "F Lydian");
        assert_eq!(detect_source_mode(14, &white).name(), "D Dorian");
        assert_eq!(detect_source_mode(1, &white).name(), "C♯ chromatic");
    }

    #[test]
    fn a_mode_that_is_set_leaves_the_tonic_to_be_found() {
        let tonic_of = |name: ModeName, text| {
            let steps = name.steps().unwrap();
            detect_source_tonic(steps, &phrase(text)).tonic()
        };
        let white = "C4 D4 E4 F4 G4 A4 B4";
        assert_eq!(tonic_of(ModeName::Dorian, white), 2);
        assert_eq!(tonic_of(ModeName::Locrian, white), 11);
        // Both fit; the phrase speaks for D.
        assert_eq!(tonic_of(ModeName::Dorian, "D4 E4 G4 A4 D4"), 2);
        assert_eq!(tonic_of(ModeName::Dorian, ". ."), 0);
    }

    #[test]
    fn a_mode_that_never_quite_fits_goes_where_it_misses_least() {
        let steps = ModeName::Ionian.steps().unwrap();
        let with_one_stranger = phrase("G4 A4 B4 C5 D5 E5 F#5 G#5");
        assert_eq!(detect_source_tonic(steps, &with_one_stranger).tonic(), 7);
    }
}
