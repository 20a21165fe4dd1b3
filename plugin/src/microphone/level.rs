//! How loud it is what comes in.

use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};

/// Over how long the mean is taken, in seconds: as long as level meters usually take (common
/// practice, no source).
const MEAN_OVER: f32 = 0.3;

/// A sample as high as that has reached the ceiling: the highest step of 16 bits.
const CEILING: f32 = 32_767.0 / 32_768.0;

/// What is fainter is nothing, in dB.
pub const FAINTEST: f32 = -90.0;

/// Written by the audio thread, read by the window. All of it is bits of numbers.
#[derive(Debug, Default)]
pub struct Level {
    /// The highest since it was last read. Numbers that are not negative are in the order of their
    /// bits.
    peak: AtomicU32,
    square: AtomicU32,
    clipped: AtomicBool,
}

/// How loud it is at a moment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// The highest sample since the last reading, in dB below full scale.
    pub peak: f32,
    /// The root of the mean square over the last third of a second, likewise.
    pub rms: f32,
    /// Whether the ceiling was reached since the last reading.
    pub clipped: bool,
}

impl Default for Reading {
    fn default() -> Self {
        Self {
            peak: FAINTEST,
            rms: FAINTEST,
            clipped: false,
        }
    }
}

impl Level {
    /// Goes on with these frames, `rate` a second.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn hear(&self, left: &[f32], right: &[f32], rate: f32) {
        let share = 1.0 / (MEAN_OVER * rate).max(1.0);
        let mut square = f32::from_bits(self.square.load(Ordering::Relaxed));
        let mut peak = 0.0_f32;
        for (left, right) in left.iter().zip(right) {
            // Of what is no number nothing is kept.
            peak = peak.max(left.abs()).max(right.abs());
            let mean = f32::midpoint(*left, *right).clamp(-2.0, 2.0);
            let mean = if mean.is_nan() { 0.0 } else { mean };
            square += share * (mean * mean - square);
        }
        self.square.store(square.to_bits(), Ordering::Relaxed);
        self.peak.fetch_max(peak.to_bits(), Ordering::Relaxed);
        if peak >= CEILING {
            self.clipped.store(true, Ordering::Relaxed);
        }
    }

    /// Nothing comes in any more.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn rest(&self) {
        self.square.store(0, Ordering::Relaxed);
        self.peak.store(0, Ordering::Relaxed);
    }

    /// How loud it is, and was since this was last asked.
    pub fn read(&self) -> Reading {
        let in_db = |factor: f32| (20.0 * factor.log10()).max(FAINTEST);
        let square = f32::from_bits(self.square.load(Ordering::Relaxed));
        Reading {
            peak: in_db(f32::from_bits(self.peak.swap(0, Ordering::Relaxed))),
            rms: in_db(square.sqrt()),
            clipped: self.clipped.swap(false, Ordering::Relaxed),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f32::consts::TAU;

    #[test]
    fn a_sine_is_three_decibels_below_its_peak_however_blocks_are_cut() {
        let sine: Vec<f32> = (0..96_000)
            .map(|n| 0.5 * (TAU * 441.0 * n as f32 / 48_000.0).sin())
            .collect();
        for block in [1, 64, 96_000] {
            let level = Level::default();
            for part in sine.chunks(block) {
                level.hear(part, part, 48_000.0);
            }
            let read = level.read();
            assert!((read.peak + 6.02).abs() < 0.05, "{read:?}");
            assert!((read.rms + 9.03).abs() < 0.1, "{read:?}");
            assert!(!read.clipped);
            assert_eq!(level.read().peak, FAINTEST, "it is asked once");
        }
    }

    #[test]
    fn the_ceiling_is_told_once_and_what_is_no_number_spoils_nothing() {
        let level = Level::default();
        level.hear(&[f32::NAN, 0.1], &[0.0, 0.1], 48_000.0);
        assert!(!level.read().clipped);
        level.hear(&[0.0, 0.1], &[0.0, -1.0], 48_000.0);
        level.hear(&[f32::INFINITY], &[0.0], 48_000.0);
        assert!(level.read().clipped && !level.read().clipped);
        assert!(level.read().rms.is_finite());
    }
}
