//! What a note is made of: key, channel, velocity; a note of a phrase, and the syllable it was.

use crate::time::Beats;

/// A MIDI key, 0 ..= 127; 60 is middle C, written C4.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Key(u8);

impl Key {
    /// The key of that number, if it is one.
    pub fn new(number: u8) -> Option<Self> {
        (number < 128).then_some(Self(number))
    }

    /// The key at `number`, moved by whole octaves until it is one: pitch class before register.
    pub fn by_octave(number: i32) -> Self {
        let folded = match number {
            n if n < 0 => n.rem_euclid(12),
            // The highest key of the same pitch class that MIDI knows.
            n if n > 127 => 127 - (127 - n).rem_euclid(12),
            n => n,
        };
        Self(folded as u8)
    }

    /// 0 ..= 127.
    pub fn number(self) -> u8 {
        self.0
    }

    /// 0 (C) ..= 11 (B).
    pub fn pitch_class(self) -> u8 {
        self.0 % 12
    }
}

/// A MIDI channel, 0 ..= 15 as on the wire; musicians count from 1.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Channel(u8);

impl Channel {
    /// Where the steady voice plays, and everything if all is on one channel.
    pub const FIRST: Self = Self(0);

    /// The channel of that number on the wire, if it is one.
    pub fn new(number: u8) -> Option<Self> {
        (number < 16).then_some(Self(number))
    }

    /// 0 ..= 15.
    pub fn number(self) -> u8 {
        self.0
    }
}

/// How hard a note is struck, above 0 and up to 1.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Velocity(f32);

impl Velocity {
    /// The softest stroke that is still one: MIDI reads velocity 0 as a note-off.
    pub const SOFTEST: Self = Self(1.0 / 127.0);

    /// `value` kept within the range that sounds; NaN becomes the softest.
    pub fn new(value: f32) -> Self {
        // Not `clamp`, which would let NaN through.
        #[allow(clippy::manual_clamp)]
        Self(value.max(Self::SOFTEST.0).min(1.0))
    }

    /// 1/127 ..= 1.
    pub fn value(self) -> f32 {
        self.0
    }

    /// 1 ..= 127.
    pub fn midi(self) -> u8 {
        (self.0 * 127.0).round() as u8
    }

    /// Scaled by a level (1 leaves it alone). A level of 0 is silence: no note at all.
    pub fn scaled(self, level: f32) -> Option<Self> {
        (level > 0.0).then(|| Self::new(self.0 * level))
    }
}

/// A note of a phrase.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Note {
    /// Beats after the start of the phrase; not negative, less than the phrase's length.
    pub onset: Beats,
    /// Beats; positive, at most the phrase's length.
    pub length: Beats,
    /// The key struck.
    pub key: Key,
    /// How hard.
    pub velocity: Velocity,
    /// The syllable that it was, if it was taken from speech.
    pub said: Option<Syllable>,
}

/// A syllable of a recording, of which a note was made.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Syllable {
    /// Seconds into the recording at which it begins, with what is said before its vowel.
    pub start: f32,
    /// Seconds at which its vowel begins, where its beat is felt: the note's onset. Not before the
    /// start.
    pub vowel: f32,
    /// Seconds at which it ends: after the vowel's beginning, no later than the next one starts.
    pub end: f32,
    /// Cents by which the voice was above the key.
    pub cents: f32,
}

impl Syllable {
    /// The furthest that a voice is believed to be from its key, in cents: the nearest tone of a
    /// mode may be some semitones away.
    pub const MOST_CENTS: f32 = 1200.0;

    /// These times and cents, if they are those of a syllable: finite, none before the recording
    /// begins, and in order; the cents at most [`Self::MOST_CENTS`] to either side.
    pub fn new(start: f32, vowel: f32, end: f32, cents: f32) -> Option<Self> {
        let in_order = 0.0 <= start && start <= vowel && vowel < end && end.is_finite();
        let near = cents.abs() <= Self::MOST_CENTS;
        (in_order && near).then_some(Self {
            start,
            vowel,
            end,
            cents,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pitch_out_of_range_comes_back_by_octaves() {
        assert_eq!(Key::by_octave(-1).number(), 11);
        assert_eq!(Key::by_octave(128).number(), 116);
        assert_eq!(Key::by_octave(-25).pitch_class(), 11);
        assert_eq!(Key::by_octave(139).number(), 127);
    }

    #[test]
    fn the_times_of_a_syllable_are_in_order() {
        assert!(Syllable::new(0.0, 0.0, 0.1, -40.0).is_some());
        assert!(Syllable::new(0.3, 0.35, 0.6, 12.5).is_some());
        let none = [
            (0.3, 0.2, 0.6, 0.0),
            (0.3, 0.35, 0.35, 0.0),
            (-0.1, 0.0, 0.6, 0.0),
            (0.1, 0.2, f32::INFINITY, 0.0),
            (0.1, f32::NAN, 0.6, 0.0),
            (0.1, 0.2, 0.6, f32::NAN),
            (0.1, 0.2, 0.6, 1201.0),
        ];
        for (start, vowel, end, cents) in none {
            assert_eq!(Syllable::new(start, vowel, end, cents), None);
        }
    }

    #[test]
    fn a_scaled_stroke_never_turns_into_a_note_off() {
        let soft = Velocity::new(0.2)
            .scaled(0.001)
            .expect("a level above 0 sounds");
        assert_eq!(soft.midi(), 1);
        assert_eq!(Velocity::new(0.2).scaled(0.0), None);
        assert_eq!(Velocity::new(f32::NAN), Velocity::SOFTEST);
    }
}
