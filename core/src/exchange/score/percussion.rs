//! Percussion: where on the staff stands what has no pitch.

use super::sheet::Sheet;
use super::{Score, Transposition};
use crate::note::Key;
use crate::part::Part;
use crate::phrase::key_name;

/// The most things to strike that a staff has room for: its lines and spaces, and one beyond on
/// either side. A part with more is written at its pitches.
const MOST: usize = 11;

/// So many stand each on a line, or each in a space.
const APART: usize = 5;

/// B4 in letters above C0: the middle line of a staff as in the treble clef, which is how places under
/// a percussion clef are told (MusicXML 4.0, `display-step`).
const MIDDLE_LINE: i32 = 4 * 7 + 6;

/// What a part strikes, if it has no pitch.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Percussion {
    /// From low to high, each once.
    keys: Vec<Key>,
}

impl Percussion {
    /// That of the part at a place of the sheet, if its instrument has no pitch, and it strikes
    /// something.
    pub fn of(score: &Score, sheet: &Sheet, place: usize, part: Part) -> Option<Self> {
        if score.transposition(part) != Transposition::Unpitched {
            return None;
        }
        let passages = sheet.passages.iter();
        let notes = passages.flat_map(|passage| &passage.parts[place]);
        Self::struck(notes.map(|note| note.key))
    }

    fn struck(keys: impl Iterator<Item = Key>) -> Option<Self> {
        let mut keys: Vec<Key> = keys.collect();
        keys.sort_unstable();
        keys.dedup();
        (1..=MOST).contains(&keys.len()).then_some(Self { keys })
    }

    /// What is struck, from low to high.
    pub fn keys(&self) -> &[Key] {
        &self.keys
    }

    /// What it is called.
    pub fn name(&self, key: Key) -> String {
        key_name(key)
    }

    /// Where it stands: the higher the key the higher, around the middle line.
    pub fn place(&self, key: Key) -> (char, i32) {
        const NAMES: [char; 7] = ['C', 'D', 'E', 'F', 'G', 'A', 'B'];
        let index = self.keys.iter().position(|struck| *struck == key);
        let (index, above) = (index.unwrap_or(0) as i32, self.keys.len() as i32 - 1);
        let letters = if self.keys.len() <= APART {
            MIDDLE_LINE + 2 * index - above
        } else {
            MIDDLE_LINE + index - above / 2
        };
        let name = NAMES[letters.rem_euclid(7) as usize];
        (name, letters.div_euclid(7))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn places(keys: &[u8]) -> Option<String> {
        let keys: Vec<Key> = keys.iter().filter_map(|key| Key::new(*key)).collect();
        let percussion = Percussion::struck(keys.iter().copied())?;
        let words = keys.iter().map(|key| {
            let (letter, octave) = percussion.place(*key);
            format!("{letter}{octave}")
        });
        Some(words.collect::<Vec<_>>().join(" "))
    }

    /// Worked by hand on a staff whose lines are E4 G4 B4 D5 F5.
    #[test]
    fn what_is_struck_stands_around_the_middle_line() {
        assert_eq!(places(&[76]).as_deref(), Some("B4"));
        assert_eq!(places(&[76, 77, 76]).as_deref(), Some("A4 C5 A4"));
        assert_eq!(places(&[36, 38, 42]).as_deref(), Some("G4 B4 D5"));
        assert_eq!(
            places(&[36, 38, 42, 46, 49]).as_deref(),
            Some("E4 G4 B4 D5 F5")
        );
        let eleven: Vec<u8> = (36..47).collect();
        let staff = "D4 E4 F4 G4 A4 B4 C5 D5 E5 F5 G5";
        assert_eq!(places(&eleven).as_deref(), Some(staff));
        assert_eq!(places(&(36..48).collect::<Vec<_>>()), None);
        assert_eq!(places(&[]), None);
    }
}
