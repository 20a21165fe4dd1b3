//! Musical time: beats, spans of beats, and the one place where a beat becomes a sample.
//!
//! A beat is a quarter note, as hosts count. Positions and lengths are `f64` beats of song
//! position: ten hours at 120 bpm are 72 000 beats, where an `f64` still resolves 1.5e-11 beats,
//! about a millionth of a sample.

use std::ops::{Add, Sub};

/// A position in, or a length of, musical time in beats (quarter notes).
pub type Beats = f64;

/// Ticks per beat of the fine raster on which lengths and offsets are compared exactly.
///
/// 960 is divided by every grid the product offers, and is the resolution of the files it writes.
pub const TICKS_PER_BEAT: i64 = 960;

/// The nearest tick to `beats`. Values beyond the range of `i64` saturate; NaN is 0.
pub fn to_ticks(beats: Beats) -> i64 {
    (beats * TICKS_PER_BEAT as f64).round() as i64
}

/// The beats that `ticks` of the fine raster last.
pub fn from_ticks(ticks: i64) -> Beats {
    ticks as f64 / TICKS_PER_BEAT as f64
}

/// Beats by which a change may come after a boundary and still be on it.
///
/// Hosts round song positions to a tick of their own, 1/480 beat at the coarsest (common practice,
/// no source); a player who is a millisecond late means the bar line, too.
pub const LATE: Beats = 1.0 / 480.0;

/// Beats by which two reckonings of the same moment, or of the same place in the phrase, may differ:
/// nearer than a hair they are one.
///
/// Far above rounding (1e-10 beats after a hundred hours), far below a frame (1e-5 beats and more):
/// no note can be lost or doubled at a border, and nothing is heard to move.
pub const HAIR: Beats = 1e-6;

/// A point on a line of its own, counted in beats: two of the same line are some beats apart, and
/// some beats on from one is another. Points of different lines cannot be mixed.
macro_rules! point {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
        pub struct $name(Beats);

        impl $name {
            /// Where the line begins.
            pub const START: Self = Self(0.0);

            /// After all others.
            pub const NEVER: Self = Self(Beats::INFINITY);

            /// So many beats on from the start.
            pub const fn new(beats: Beats) -> Self {
                Self(beats)
            }

            /// Beats from the start.
            pub const fn beats(self) -> Beats {
                self.0
            }

            /// Whether it is ever reached.
            pub fn is_finite(self) -> bool {
                self.0.is_finite()
            }

            /// The earlier of two.
            pub fn min(self, other: Self) -> Self {
                Self(self.0.min(other.0))
            }

            /// The later of two.
            pub fn max(self, other: Self) -> Self {
                Self(self.0.max(other.0))
            }
        }

        impl Sub for $name {
            type Output = Beats;

            fn sub(self, other: Self) -> Beats {
                self.0 - other.0
            }
        }

        impl Add<Beats> for $name {
            type Output = Self;

            fn add(self, beats: Beats) -> Self {
                Self(self.0 + beats)
            }
        }

        impl Sub<Beats> for $name {
            type Output = Self;

            fn sub(self, beats: Beats) -> Self {
                Self(self.0 - beats)
            }
        }
    };
}

point! {
    /// A place in a voice's material: the phrase, or as much of it as stands, laid end to end.
    MaterialPlace
}

point! {
    /// A moment, counted from where a voice entered, or from where it began to count its moves.
    Since
}

impl Since {
    /// Song position `at`, counted from song position `from`.
    pub fn from_song(at: Beats, from: Beats) -> Self {
        Self(at - from)
    }

    /// The song position, if it is counted from song position `from`.
    pub fn to_song(self, from: Beats) -> Beats {
        from + self.0
    }

    /// Where a voice that reads steadily, a beat a beat, has come by then.
    pub const fn steady_place(self) -> MaterialPlace {
        MaterialPlace(self.0)
    }
}

impl MaterialPlace {
    /// When a voice that reads steadily, a beat a beat, has come there.
    pub const fn steady_since(self) -> Since {
        Since(self.0)
    }

    /// Beats by which a voice that is here at `since` is ahead of one that reads steadily.
    pub fn ahead_at(self, since: Since) -> Beats {
        self - since.steady_place()
    }
}

/// A half-open stretch of musical time: `start` belongs to it, `end` does not.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Span {
    /// The first position inside.
    pub start: Beats,
    /// The first position after.
    pub end: Beats,
}

impl Span {
    /// The stretch from `start` up to `end`; empty if `end` is not after `start`.
    pub fn new(start: Beats, end: Beats) -> Self {
        Self { start, end }
    }

    /// Whether `at` lies inside.
    pub fn contains(&self, at: Beats) -> bool {
        self.start <= at && at < self.end
    }

    /// The length in beats, never negative.
    pub fn length(&self) -> Beats {
        (self.end - self.start).max(0.0)
    }
}

/// Part of a sample by which a frame may lie before the beat it is given.
///
/// Onsets fall exactly on a frame again and again, and arithmetic leaves them a hair to either
/// side. The tolerance lets both hairs land on that frame.
const FRAME_TOLERANCE: f64 = 1e-3;

/// A run of audio frames laid over musical time at one tempo.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Block {
    /// Song position of frame 0.
    pub start: Beats,
    /// Beats that pass in one frame; positive and finite.
    pub beats_per_frame: f64,
    /// Number of frames.
    pub frames: u32,
}

impl Block {
    /// A block of `frames` frames from `start` at `tempo` beats a minute.
    ///
    /// `tempo` and `sample_rate` (hertz) must be positive and finite; the clock sees to that.
    pub fn new(start: Beats, tempo: f64, sample_rate: f64, frames: u32) -> Self {
        debug_assert!(tempo > 0.0 && sample_rate > 0.0);
        Self {
            start,
            beats_per_frame: tempo / (60.0 * sample_rate),
            frames,
        }
    }

    /// The musical time whose events belong to these frames.
    ///
    /// An event sounds on the first frame that is not before it, so the time of a frame reaches
    /// back almost to the frame before.
    pub fn span(&self) -> Span {
        Span::new(self.reach_of(0.0), self.reach_of(f64::from(self.frames)))
    }

    /// The frame on which an event at `at` sounds, kept inside the block.
    pub fn frame_of(&self, at: Beats) -> u32 {
        // `as` saturates: a position before the block is frame 0.
        (self.frames_until(at) as u32).min(self.frames.saturating_sub(1))
    }

    /// The frame on which an event at `at` sounds, also if that is of another block: a whole number,
    /// counted from the start of this one.
    pub fn frames_until(&self, at: Beats) -> f64 {
        ((at - self.start) / self.beats_per_frame - FRAME_TOLERANCE).ceil()
    }

    /// Song position of the first frame after the block.
    pub fn end(&self) -> Beats {
        self.start + f64::from(self.frames) * self.beats_per_frame
    }

    /// Where the time of the frames from `frame` on begins.
    fn reach_of(&self, frame: f64) -> Beats {
        self.start + (frame - 1.0 + FRAME_TOLERANCE) * self.beats_per_frame
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_beat_on_a_frame_sounds_on_that_frame_from_either_side() {
        let block = Block::new(4.0, 120.0, 48_000.0, 64);
        let tenth = 4.0 + 10.0 * block.beats_per_frame;
        for hair in [-1e-10, 0.0, 1e-10] {
            assert_eq!(block.frame_of(tenth + hair), 10);
        }
    }

    #[test]
    fn a_beat_between_two_frames_waits_for_the_later_one() {
        let block = Block::new(0.0, 120.0, 48_000.0, 64);
        assert_eq!(block.frame_of(10.5 * block.beats_per_frame), 11);
    }

    #[test]
    fn the_spans_of_neighbouring_blocks_meet() {
        let first = Block::new(0.0, 97.0, 44_100.0, 441);
        let second = Block {
            start: first.end(),
            ..first
        };
        assert!((first.span().end - second.span().start).abs() < 1e-12);
    }

    #[test]
    fn every_grid_divides_the_fine_raster() {
        for grid in crate::settings::Grid::ALL {
            let ticks = grid.beats() * TICKS_PER_BEAT as f64;
            assert!((ticks - ticks.round()).abs() < 1e-9, "{grid:?}");
        }
    }
}
