//! The latency of the input, measured once by tapping along with a click.
//!
//! What is measured is the way from the click to the player's ear and from the key to here, less
//! what tappers are early by as a rule: some tens of milliseconds (Repp, Psychonomic Bulletin &
//! Review 12, 2005, 969-992). The two cannot be told apart from here, and need not be: who taps so
//! plays so, and a constant is no fault.

use super::spread::mean_and_spread;
use crate::time::Beats;
use arrayvec::ArrayVec;

/// Taps that it takes.
pub const FEWEST_TAPS: usize = 8;

/// The most taps that count; later ones take the place of the first.
const MOST_TAPS: usize = 64;

/// Standard deviation, in milliseconds, above which taps say nothing of a latency: well above the
/// 27 to 49 ms of ensembles (Rasch, Acustica 43, 1979, 121-131).
pub const MOST_UNEVEN_MS: f64 = 60.0;

/// Taps along with a click.
///
/// # Real-time
/// Allocates never, blocks never.
#[derive(Clone, Debug, Default)]
pub struct Tapping {
    late_ms: ArrayVec<f64, MOST_TAPS>,
}

/// A latency.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Latency {
    /// Milliseconds by which taps came after the click; below 0, before it.
    pub ms: f64,
    /// Their standard deviation, in milliseconds.
    pub spread_ms: f64,
}

/// Why taps say nothing.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum TappingError {
    /// There are too few.
    #[error("{0} of {FEWEST_TAPS} taps: go on tapping with the click.")]
    TooFew(usize),
    /// They are all over the place.
    #[error(
        "The taps are {0:.0} ms apart from each other, too uneven to measure by: listen to a few \
         clicks first, then tap one key with each."
    )]
    TooUneven(f64),
}

impl Tapping {
    /// A tap at song position `at`, the click coming every so many beats from 0 on. It belongs to
    /// the click that is nearest, so latencies up to half the time between two are measured.
    pub fn tap(&mut self, at: Beats, every: Beats, beat_ms: f64) {
        let late_ms = (at - (at / every).round() * every) * beat_ms;
        if !late_ms.is_finite() {
            return;
        }
        if self.late_ms.is_full() {
            self.late_ms.remove(0);
        }
        self.late_ms.push(late_ms);
    }

    /// The latency.
    ///
    /// # Errors
    /// If there are fewer than 8 taps, or if they are more uneven than 60 ms.
    pub fn latency(&self) -> Result<Latency, TappingError> {
        let mut late_ms = self.late_ms.clone();
        let too_few = TappingError::TooFew(late_ms.len());
        if late_ms.len() < FEWEST_TAPS {
            return Err(too_few);
        }
        let (ms, spread_ms) = mean_and_spread(&mut late_ms).ok_or(too_few)?;
        if spread_ms > MOST_UNEVEN_MS {
            return Err(TappingError::TooUneven(spread_ms));
        }
        Ok(Latency { ms, spread_ms })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tapped(late_ms: impl IntoIterator<Item = f64>) -> Result<Latency, TappingError> {
        let mut tapping = Tapping::default();
        for (click, late_ms) in late_ms.into_iter().enumerate() {
            // At 120 beats a minute.
            tapping.tap(click as f64 + late_ms / 500.0, 1.0, 500.0);
        }
        tapping.latency()
    }

    #[test]
    fn taps_that_come_in_20_ms_late_are_measured_so_though_one_was_missed() {
        let late = (0..12).map(|tap| {
            if tap == 5 {
                190.0
            } else {
                20.0 + f64::from(tap % 3)
            }
        });
        let latency = tapped(late).unwrap();
        assert!((latency.ms - 21.0).abs() < 0.5, "{latency:?}");
        assert!(latency.spread_ms < 1.5, "{latency:?}");
    }

    #[test]
    fn who_taps_before_the_click_has_a_latency_below_nothing() {
        let latency = tapped((0..100).map(|_| -30.0)).unwrap();
        assert!((latency.ms + 30.0).abs() < 1e-6, "{latency:?}");
    }

    #[test]
    fn too_few_and_too_uneven_taps_say_nothing_and_why() {
        assert_eq!(tapped([1.0; 7]), Err(TappingError::TooFew(7)));
        let wild = tapped((0..16).map(|tap| f64::from(tap % 4) * 110.0 - 165.0));
        let wild = wild.unwrap_err();
        assert!(
            matches!(wild, TappingError::TooUneven(ms) if (ms - 127.0).abs() < 1.0),
            "{wild}"
        );
        assert_eq!(tapped([f64::NAN; 20]), Err(TappingError::TooFew(0)));
    }
}
