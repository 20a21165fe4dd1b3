//! The parts: who plays. A steady voice, up to eight copies of it, and a line that doubles them.

use std::fmt;

/// The most copies that move beside the steady voice.
pub const MAX_COPIES: usize = 8;

/// The steady voice and all its copies.
pub const MAX_VOICES: usize = MAX_COPIES + 1;

/// All that can sound: the voices and the resulting line.
pub const MAX_PARTS: usize = MAX_VOICES + 1;

/// Which copy: 1 ..= [`MAX_COPIES`]. Copy 1, unless told otherwise.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct CopyNumber(u8);

impl Default for CopyNumber {
    fn default() -> Self {
        Self::FIRST
    }
}

impl CopyNumber {
    /// Copy 1, which all others follow.
    pub const FIRST: Self = Self(1);

    /// All of them, in order.
    pub const ALL: [Self; MAX_COPIES] = {
        let mut all = [Self(1); MAX_COPIES];
        let mut index = 1;
        while index < MAX_COPIES {
            all[index] = Self(index as u8 + 1);
            index += 1;
        }
        all
    };

    /// The copy that is called by `number`, if there is one.
    pub const fn new(number: usize) -> Option<Self> {
        match number {
            1..=MAX_COPIES => Some(Self(number as u8)),
            _ => None,
        }
    }

    /// As a musician counts: 1 ..= [`MAX_COPIES`].
    pub const fn number(self) -> usize {
        self.0 as usize
    }

    /// Its place in an array of all copies: 0 ..< [`MAX_COPIES`].
    pub const fn index(self) -> usize {
        self.number() - 1
    }
}

/// Who plays. In order: the steady voice, the copies, the resulting line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Part {
    /// The voice that plays the phrase as it is.
    Steady,
    /// A copy, which moves against it.
    Copy(CopyNumber),
    /// The line that is picked out of what all voices play together.
    ResultingLine,
}

impl Part {
    /// Copy 1, which all others follow.
    pub const COPY_1: Self = Self::Copy(CopyNumber::FIRST);

    /// All of them, in order; each stands at its own [`Self::index`].
    pub const ALL: [Self; MAX_PARTS] = {
        let mut all = [Self::Steady; MAX_PARTS];
        let mut index = 0;
        while index < MAX_COPIES {
            all[index + 1] = Self::Copy(CopyNumber::ALL[index]);
            index += 1;
        }
        all[MAX_VOICES] = Self::ResultingLine;
        all
    };

    /// The copy that is called by `number` (1 ..= 8), if there is one.
    pub const fn copy(number: usize) -> Option<Self> {
        match CopyNumber::new(number) {
            Some(copy) => Some(Self::Copy(copy)),
            None => None,
        }
    }

    /// Its place in an array of all parts: 0 for the steady voice, k for copy k, [`MAX_VOICES`] for
    /// the resulting line.
    pub const fn index(self) -> usize {
        match self {
            Self::Steady => 0,
            Self::Copy(copy) => copy.number(),
            Self::ResultingLine => MAX_VOICES,
        }
    }

    /// Which copy it is, if it is one.
    pub const fn as_copy(self) -> Option<CopyNumber> {
        match self {
            Self::Copy(copy) => Some(copy),
            Self::Steady | Self::ResultingLine => None,
        }
    }

    /// Whether it is the steady voice or a copy, and not the line that doubles them.
    pub const fn is_voice(self) -> bool {
        !matches!(self, Self::ResultingLine)
    }
}

/// As screens and files call it.
impl fmt::Display for Part {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Steady => f.pad("Steady"),
            Self::Copy(copy) => f.pad(&format!("Copy {}", copy.number())),
            Self::ResultingLine => f.pad("Resulting line"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_part_stands_at_its_own_place() {
        for (index, part) in Part::ALL.into_iter().enumerate() {
            assert_eq!(part.index(), index);
        }
        assert!(Part::ALL.is_sorted());
    }

    #[test]
    fn copies_are_called_by_one_to_eight() {
        assert_eq!((Part::copy(0), Part::copy(9)), (None, None));
        let called = Part::copy(8).map(|part| part.to_string());
        assert_eq!(called.as_deref(), Some("Copy 8"));
    }

    #[test]
    fn parts_are_called_as_players_read_them() {
        let first_and_last = [Part::Steady, Part::ResultingLine].map(|part| part.to_string());
        assert_eq!(first_and_last, ["Steady", "Resulting line"]);
    }
}
