//! Pitch: letter, accidental and octave; the key signature, and which accidentals are shown.

use crate::mode::{Mode, Spelling};
use crate::note::Key;
use std::collections::HashMap;

/// A pitch as it is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Pitch {
    pub letter: char,
    /// Sharps, or flats if negative.
    pub alter: i32,
    /// 4 begins at middle C; the format knows 0 to 9.
    pub octave: i32,
}

impl Pitch {
    /// `key` as it is written so many octaves below where it sounds.
    pub fn below(key: Key, octaves: i32, spelling: &Spelling) -> Self {
        let number = i32::from(key.number()) - 12 * octaves;
        let name = spelling.name(number.rem_euclid(12) as u8);
        let natural = number - name.accidental();
        Self {
            letter: name.letter(),
            alter: name.accidental(),
            octave: (natural.div_euclid(12) - 1).clamp(0, 9),
        }
    }

    /// How many letters it stands above C0.
    pub fn letters_above_c0(self) -> i32 {
        let letter = "CDEFGAB".find(self.letter).unwrap_or(0);
        self.octave * 7 + letter as i32
    }
}

/// The sharps (or, negative, flats) of a mode's key signature: 0 unless its degrees are seven
/// neighbours on the line of fifths, as the diatonic modes' are.
pub(super) fn key_signature(mode: &Mode, spelling: &Spelling) -> i32 {
    let mut fifths: Vec<i32> = mode
        .pitch_classes()
        .iter()
        .map(|pitch_class| spelling.name(pitch_class).fifths())
        .collect();
    fifths.sort_unstable();
    match fifths[..] {
        // F is at -1, and F is the lowest where there is nothing in the signature.
        [first, .., last] if fifths.len() == 7 && last - first == 6 => (first + 1).clamp(-7, 7),
        _ => 0,
    }
}

/// Which accidentals a bar has shown so far.
pub(super) struct Accidentals {
    signature: i32,
    shown: HashMap<(char, i32), i32>,
}

impl Accidentals {
    /// At the bar line.
    pub fn new(signature: i32) -> Self {
        Self {
            signature,
            shown: HashMap::new(),
        }
    }

    /// Whether this pitch needs its accidental, which then holds to the end of the bar.
    pub fn shows(&mut self, pitch: Pitch) -> bool {
        let place = (pitch.letter, pitch.octave);
        let in_force = self.shown.get(&place).copied();
        let in_force = in_force.unwrap_or_else(|| in_signature(pitch.letter, self.signature));
        if in_force == pitch.alter {
            return false;
        }
        self.shown.insert(place, pitch.alter);
        true
    }
}

fn in_signature(letter: char, signature: i32) -> i32 {
    let sharps = "FCGDAEB".find(letter).unwrap_or(0) as i32;
    match signature {
        s if s > 0 && sharps < s => 1,
        s if s < 0 && 6 - sharps < -s => -1,
        _ => 0,
    }
}

/// The accidental's name in the format.
pub(super) fn accidental_name(alter: i32) -> &'static str {
    match alter {
        ..=-2 => "flat-flat",
        -1 => "flat",
        0 => "natural",
        1 => "sharp",
        2.. => "double-sharp",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mode::{ModeName, PitchSet};

    fn signature(tonic: u8, name: ModeName) -> i32 {
        let mode = Mode::named(tonic, name, PitchSet::CHROMATIC);
        key_signature(&mode, &mode.spelling())
    }

    #[test]
    fn diatonic_modes_have_the_signature_of_their_relative_major() {
        assert_eq!(signature(2, ModeName::Dorian), 0);
        assert_eq!(signature(4, ModeName::Dorian), 2);
        assert_eq!(signature(2, ModeName::Phrygian), -2);
        assert_eq!(signature(5, ModeName::Lydian), 0);
        assert_eq!(signature(6, ModeName::Ionian), -6);
    }

    #[test]
    fn other_modes_have_none() {
        assert_eq!(signature(9, ModeName::HarmonicMinor), 0);
        assert_eq!(signature(0, ModeName::MinorPentatonic), 0);
    }

    #[test]
    fn an_accidental_holds_to_the_end_of_the_bar_in_its_octave() {
        let mut bar = Accidentals::new(-2);
        let pitch = |alter, octave| Pitch {
            letter: 'B',
            alter,
            octave,
        };
        assert!(!bar.shows(pitch(-1, 4)), "B flat is in the signature");
        assert!(bar.shows(pitch(0, 4)));
        assert!(!bar.shows(pitch(0, 4)));
        assert!(!bar.shows(pitch(-1, 5)));
        assert!(bar.shows(pitch(-1, 4)));
    }

    #[test]
    fn letters_cross_the_octave_with_their_accidental() {
        let mode = Mode::named(1, ModeName::Ionian, PitchSet::CHROMATIC);
        let gb = Mode::named(6, ModeName::Ionian, PitchSet::CHROMATIC).spelling();
        let c_flat = Pitch::below(Key::by_octave(59), 0, &gb);
        assert_eq!((c_flat.letter, c_flat.alter, c_flat.octave), ('C', -1, 4));
        let d_flat = Pitch::below(Key::by_octave(85), 2, &mode.spelling());
        assert_eq!((d_flat.letter, d_flat.alter, d_flat.octave), ('D', -1, 4));
    }
}
