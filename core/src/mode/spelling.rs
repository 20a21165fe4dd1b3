//! Spelling: which letter and accidental a pitch class is written with.

use super::{Mode, PitchSet};
use std::fmt;

/// A letter and its accidental, kept as a place on the line of fifths:
/// ... B♭ -2, F -1, C 0, G 1, D 2 ...
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct PitchName(i8);

/// The letters in the order of the line of fifths; F lies one before C.
const LETTERS: [char; 7] = ['F', 'C', 'G', 'D', 'A', 'E', 'B'];

/// For each letter up from the tonic's: its place on the line of fifths and its semitones, both
/// above the tonic, in a major scale.
const MAJOR: [(i32, i32); 7] = [(0, 0), (2, 2), (4, 4), (-1, 5), (1, 7), (3, 9), (5, 11)];

impl PitchName {
    /// How a pitch class is written where nothing speaks for either side: D♭ ... F♯.
    pub fn neutral(pitch_class: u8) -> Self {
        let sharps = i32::from(pitch_class % 12) * 7 % 12;
        Self::at(if sharps > 6 { sharps - 12 } else { sharps })
    }

    /// The pitch that a letter with up to two accidentals stands for: "C", "f#", "Bb", "F♯".
    pub fn from_text(text: &str) -> Option<Self> {
        let mut signs = text.trim().chars();
        let letter = signs.next()?.to_ascii_uppercase();
        let place = LETTERS.iter().position(|known| *known == letter)? as i32 - 1;
        let accidentals: Option<Vec<i32>> = signs
            .map(|sign| match sign {
                '#' | '♯' => Some(1),
                'b' | '♭' => Some(-1),
                _ => None,
            })
            .collect();
        let accidentals = accidentals.filter(|signs| signs.len() <= 2)?;
        Some(Self::at(place + 7 * accidentals.iter().sum::<i32>()))
    }

    /// The name at that place on the line of fifths; far beyond any use it stops.
    pub(crate) fn at(fifths: i32) -> Self {
        Self(fifths.clamp(-100, 100) as i8)
    }

    /// The place on the line of fifths; C is 0, each fifth up one more.
    pub fn fifths(self) -> i32 {
        i32::from(self.0)
    }

    /// C, D, E, F, G, A or B.
    pub fn letter(self) -> char {
        LETTERS[(self.fifths() + 1).rem_euclid(7) as usize]
    }

    /// Sharps, or flats if negative.
    pub fn accidental(self) -> i32 {
        (self.fifths() + 1).div_euclid(7)
    }

    /// 0 (C) ..= 11 (B).
    pub fn pitch_class(self) -> u8 {
        (self.fifths() * 7).rem_euclid(12) as u8
    }

    /// The same pitch without double accidentals.
    pub fn without_doubles(self) -> Self {
        if self.accidental().abs() > 1 {
            Self::neutral(self.pitch_class())
        } else {
            self
        }
    }

    /// The same pitch; a white key takes its plain letter.
    fn plain(self) -> Self {
        let neutral = Self::neutral(self.pitch_class());
        if neutral.accidental() == 0 {
            neutral
        } else {
            self.without_doubles()
        }
    }
}

impl fmt::Display for PitchName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sign = if self.0 < 0 { "♭" } else { "♯" };
        let count = self.accidental().unsigned_abs() as usize;
        write!(f, "{}{}", self.letter(), sign.repeat(count))
    }
}

/// How each of the twelve pitch classes is written within a mode.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Spelling([PitchName; 12]);

impl Spelling {
    /// The name of a pitch class; one outside the mode is written by its interval from the tonic.
    pub fn name(&self, pitch_class: u8) -> PitchName {
        self.0[usize::from(pitch_class % 12)]
    }

    /// The same, but for these pitch classes, which take their names from `other`.
    pub fn respelt(&self, pitch_classes: PitchSet, other: &Self) -> Self {
        Self(std::array::from_fn(|index| {
            if pitch_classes.contains(index as u8) {
                other.0[index]
            } else {
                self.0[index]
            }
        }))
    }
}

impl Mode {
    /// How the mode is written.
    ///
    /// A white key is a tonic under its own letter; a black one under whichever of its two names
    /// needs fewer accidentals in all, the flat one if they need the same. In a mode of seven
    /// notes each degree has a letter of its own, as common practice has it. Other sizes, and
    /// pitches outside the mode, are written by their interval from the tonic, white keys plainly.
    pub fn spelling(&self) -> Spelling {
        self.spelling_from(self.tonic_name())
    }

    /// How the mode is written if its tonic is written `tonic`; so B♭ Lydian can turn into
    /// B♭ Locrian rather than A♯ Locrian. A name of another pitch is passed over.
    pub fn spelling_from(&self, tonic: PitchName) -> Spelling {
        let line = self.line(if tonic.pitch_class() == self.tonic {
            tonic
        } else {
            self.tonic_name()
        });
        let lettered = has_a_letter_each(self.steps);
        Spelling(std::array::from_fn(|pitch_class| {
            let name = line[pitch_class];
            let member = self.pitch_classes().contains(pitch_class as u8);
            if lettered && member {
                name
            } else {
                name.plain()
            }
        }))
    }

    /// The names of the degrees, upwards from the lowest.
    pub fn degree_names(&self) -> impl Iterator<Item = PitchName> {
        let (spelling, tonic) = (self.spelling(), self.tonic);
        self.steps
            .iter()
            .map(move |step| spelling.name(tonic + step))
    }

    /// The tonic's name, see [`Self::spelling`].
    pub fn tonic_name(&self) -> PitchName {
        let neutral = PitchName::neutral(self.tonic);
        if neutral.accidental() == 0 {
            return neutral;
        }
        let sharp = (self.tonic + 11) % 12;
        let flat = (self.tonic + 1) % 12;
        let flat = PitchName::at(PitchName::neutral(flat).fifths() - 7);
        let sharp = PitchName::at(PitchName::neutral(sharp).fifths() + 7);
        if self.accidentals(sharp) < self.accidentals(flat) {
            sharp
        } else {
            flat
        }
    }

    /// Every pitch class's place on the line of fifths if the tonic is written `tonic`, however
    /// many accidentals that takes: what distances are measured on.
    pub(crate) fn line(&self, tonic: PitchName) -> [PitchName; 12] {
        let above = fifths_above_tonic(self.steps);
        std::array::from_fn(|pitch_class| {
            let step = (pitch_class + 12 - usize::from(self.tonic)) % 12;
            PitchName::at(tonic.fifths() + above[step])
        })
    }

    /// Accidentals of all degrees together if the tonic is written `tonic`.
    fn accidentals(&self, tonic: PitchName) -> u32 {
        let line = self.line(tonic);
        self.pitch_classes()
            .iter()
            .map(|pitch_class| line[usize::from(pitch_class)].accidental().unsigned_abs())
            .sum()
    }
}

/// For each semitone above the tonic, how far along the line of fifths it is written.
fn fifths_above_tonic(steps: PitchSet) -> [i32; 12] {
    let mut above = std::array::from_fn(|step| PitchName::neutral(step as u8).fifths());
    // A tritone beside a fourth, with no fifth above it, is the fifth, lowered.
    if steps.contains(5) && !steps.contains(7) {
        above[6] = -6;
    }
    if has_a_letter_each(steps) {
        for (step, (fifths, semitones)) in steps.iter().zip(MAJOR) {
            above[usize::from(step)] = fifths + 7 * (i32::from(step) - semitones);
        }
    }
    above
}

/// Whether one letter a degree makes a readable spelling: seven notes from the tonic up, none of
/// them two semitones above its place in the major scale or three below it.
fn has_a_letter_each(steps: PitchSet) -> bool {
    let readable = |(step, (_, semitones)): (u8, (i32, i32))| {
        (-2..=1).contains(&(i32::from(step) - semitones))
    };
    steps.len() == 7 && steps.contains(0) && steps.iter().zip(MAJOR).all(readable)
}

#[cfg(test)]
mod tests {
    use super::super::ModeName;
    use super::*;

    #[track_caller]
    fn is_written(tonic: u8, name: ModeName, expected: &str) {
        let mode = Mode::named(tonic, name, PitchSet::CHROMATIC);
        let names: Vec<_> = mode.degree_names().map(|name| name.to_string()).collect();
        assert_eq!(names.join(" "), expected);
    }

    #[test]
    fn seven_notes_take_seven_letters() {
        is_written(2, ModeName::Dorian, "D E F G A B C");
        is_written(10, ModeName::Lydian, "B♭ C D E F G A");
        is_written(9, ModeName::HarmonicMinor, "A B C D E F G♯");
        is_written(6, ModeName::Aeolian, "F♯ G♯ A B C♯ D E");
        is_written(0, ModeName::Altered, "C D♭ E♭ F♭ G♭ A♭ B♭");
        is_written(11, ModeName::LydianAugmented, "B C♯ D♯ E♯ F♯♯ G♯ A♯");
    }

    #[test]
    fn a_black_tonic_takes_the_name_with_fewer_accidentals_and_else_the_flat_one() {
        is_written(1, ModeName::Ionian, "D♭ E♭ F G♭ A♭ B♭ C");
        is_written(1, ModeName::Aeolian, "C♯ D♯ E F♯ G♯ A B");
        is_written(10, ModeName::Locrian, "A♯ B C♯ D♯ E F♯ G♯");
        is_written(8, ModeName::Phrygian, "G♯ A B C♯ D♯ E F♯");
        is_written(6, ModeName::Ionian, "G♭ A♭ B♭ C♭ D♭ E♭ F");
        is_written(3, ModeName::Aeolian, "E♭ F G♭ A♭ B♭ C♭ D♭");
    }

    #[test]
    fn the_tonic_may_ask_for_its_other_name() {
        let locrian = Mode::named(10, ModeName::Locrian, PitchSet::CHROMATIC);
        let spelling = locrian.spelling_from(PitchName::neutral(10));
        let names = [10, 11, 1, 3, 4, 6, 8].map(|p| spelling.name(p).to_string());
        assert_eq!(names, ["B♭", "C♭", "D♭", "E♭", "F♭", "G♭", "A♭"]);
        let of_another_pitch = locrian.spelling_from(PitchName::neutral(0));
        assert_eq!(of_another_pitch, locrian.spelling());
    }

    #[test]
    fn every_seven_note_mode_on_every_tonic_has_each_letter_once() {
        for (name, steps) in ModeName::shipped().filter(|(_, steps)| steps.len() == 7) {
            for tonic in 0..12 {
                let mode = Mode::new(tonic, steps);
                let mut letters: Vec<_> = mode.degree_names().map(PitchName::letter).collect();
                letters.sort_unstable();
                assert_eq!(
                    letters,
                    ['A', 'B', 'C', 'D', 'E', 'F', 'G'],
                    "{name:?} {tonic}"
                );
            }
        }
    }

    #[test]
    fn other_sizes_are_written_by_interval() {
        is_written(0, ModeName::MinorPentatonic, "C E♭ F G B♭");
        is_written(0, ModeName::OctatonicHalfWhole, "C D♭ E♭ E F♯ G A B♭");
        is_written(0, ModeName::OctatonicWholeHalf, "C D E♭ F G♭ A♭ A B");
        is_written(11, ModeName::WholeTone, "B C♯ D♯ F G A");
        is_written(0, ModeName::Chromatic, "C D♭ D E♭ E F F♯ G A♭ A B♭ B");
    }

    #[test]
    fn every_spelling_sounds_as_the_mode_does() {
        for bits in 1..=PitchSet::CHROMATIC.bits() {
            for tonic in 0..12 {
                let mode = Mode::new(tonic, PitchSet::from_bits(bits));
                let spelling = mode.spelling();
                for pitch_class in 0..12 {
                    assert_eq!(spelling.name(pitch_class).pitch_class(), pitch_class);
                }
            }
        }
    }

    #[test]
    fn tonics_are_understood_as_they_are_typed() {
        let typed = ["C", "F#", "Gb", "f♯", " b♭ ", "Cb", "B#", "Fbb"];
        let meant = [0, 6, 6, 6, 10, 11, 0, 3];
        let heard = typed.map(|text| PitchName::from_text(text).map(PitchName::pitch_class));
        assert_eq!(heard, meant.map(Some));
        for nonsense in ["", "H", "C4", "C###", "#", "♭"] {
            assert_eq!(PitchName::from_text(nonsense), None, "{nonsense}");
        }
    }

    #[test]
    fn a_name_written_out_is_read_back() {
        for fifths in -15..=19 {
            let name = PitchName::at(fifths);
            assert_eq!(PitchName::from_text(&name.to_string()), Some(name));
        }
    }
}
