//! Modes: a tonic and an ascending set of semitone steps above it.

/// A set of pitch classes, or of semitones above a tonic.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct PitchSet(u16);

impl PitchSet {
    /// All twelve.
    pub const CHROMATIC: Self = Self(0xFFF);
}

/// The modes that ship, and one of the composer's own.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum ModeName {
    /// 0 2 3 5 7 9 10
    #[default]
    Dorian,
}
