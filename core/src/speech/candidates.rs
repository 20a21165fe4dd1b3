//! What the pitch may be: the peaks of the autocorrelation of a short stretch.
//!
//! The stretch is windowed (Hann), and the autocorrelation divided by the window's own, so that a
//! steady tone has peaks of height 1 at its period and at every multiple (P. Boersma, "Accurate
//! short-term analysis of the fundamental frequency and the harmonics-to-noise ratio of a sampled
//! sound", IFA Proceedings 17, 1993). It is read off between the samples by a spectrum that is
//! continued with zeros.
//!
//! Two lengths of stretch: three periods of 75 Hz follow a lively voice; only what is lower needs
//! the longer one.

use realfft::num_complex::Complex;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};
use std::f64::consts::PI;
use std::sync::Arc;

/// How many periods of its lowest pitch a stretch holds.
const PERIODS: f64 = 3.0;

/// How finely the autocorrelation is read, in points a sample.
const FINELY: usize = 2;

/// Peaks lower than that are not looked at.
const FAINT: f64 = 0.2;

/// What the pitch may be in one frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Candidate {
    /// Hertz.
    pub hertz: f64,
    /// The height of its peak: 1 is perfectly periodic.
    pub height: f64,
}

/// Finds the candidates between two pitches.
pub(super) struct Finder {
    rate: f64,
    window: Vec<f32>,
    /// The window's own autocorrelation, point by point, 1 at no lag.
    own: Vec<f32>,
    /// The power of a steady 1 through the window.
    unit: f32,
    lags: std::ops::Range<usize>,
    forward: Arc<dyn RealToComplex<f32>>,
    backward: Arc<dyn ComplexToReal<f32>>,
    stretch: Vec<f32>,
    spectrum: Vec<Complex<f32>>,
    fine: Vec<Complex<f32>>,
    correlation: Vec<f32>,
    scratch: Vec<Complex<f32>>,
}

impl Finder {
    /// Between `lowest` and `highest`, in hertz, of sound at that rate.
    pub(super) fn new(lowest: f64, highest: f64, rate: f64) -> Self {
        let length = (PERIODS / lowest * rate).round() as usize;
        let longest = (rate / lowest).ceil() as usize;
        let size = (length + longest + 2).next_power_of_two();
        let mut planner = RealFftPlanner::new();
        let forward = planner.plan_fft_forward(size);
        let backward = planner.plan_fft_inverse(size * FINELY);
        let scratch = forward.get_scratch_len().max(backward.get_scratch_len());
        let window: Vec<f32> = (0..length)
            .map(|n| (0.5 - 0.5 * (2.0 * PI * (n as f64 + 0.5) / length as f64).cos()) as f32)
            .collect();
        let mut finder = Self {
            rate,
            own: Vec::new(),
            unit: 1.0,
            lags: ((rate / highest * FINELY as f64) as usize).max(2)
                ..(rate / lowest * FINELY as f64) as usize + 1,
            stretch: forward.make_input_vec(),
            spectrum: forward.make_output_vec(),
            fine: backward.make_input_vec(),
            correlation: backward.make_output_vec(),
            scratch: vec![Complex::default(); scratch],
            window,
            forward,
            backward,
        };
        let length = finder.window.len();
        finder.stretch[..length].copy_from_slice(&finder.window);
        finder.correlate();
        finder.own = finder.correlation[..=finder.lags.end].to_vec();
        finder.unit = finder.own[0];
        let unit = finder.unit;
        finder.own.iter_mut().for_each(|value| *value /= unit);
        finder
    }

    /// Puts into `found` what the pitch may be around sample `centre`, and says how loud it is there: the
    /// root of the mean square under the window.
    pub(super) fn find(
        &mut self,
        samples: &[f32],
        centre: usize,
        found: &mut Vec<Candidate>,
    ) -> f64 {
        self.take(samples, centre);
        self.correlate();
        let power = self.correlation[0];
        if power <= f32::MIN_POSITIVE {
            return 0.0;
        }
        let height = |lag: usize| f64::from(self.correlation[lag] / (power * self.own[lag]));
        for lag in self.lags.clone() {
            let (before, here, after) = (height(lag - 1), height(lag), height(lag + 1));
            if here > FAINT && here >= before && here > after {
                let bend = 2.0 * here - before - after;
                let aside = (after - before) / (2.0 * bend);
                found.push(Candidate {
                    hertz: self.rate * FINELY as f64 / (lag as f64 + aside),
                    // More than perfect is an artefact of a very short period.
                    height: here + (after - before) * aside / 4.0,
                });
            }
        }
        f64::from(power / self.unit).sqrt()
    }

    /// The windowed stretch around `centre`, its mean taken off; beyond the ends is silence.
    fn take(&mut self, samples: &[f32], centre: usize) {
        let length = self.window.len();
        let begin = centre as i64 - (length / 2) as i64;
        let from = begin.clamp(0, samples.len() as i64) as usize;
        let to = (begin + length as i64).clamp(0, samples.len() as i64) as usize;
        let there = &samples[from..to];
        let at = (from as i64 - begin) as usize;
        let mean = there.iter().sum::<f32>() / there.len().max(1) as f32;
        self.stretch.fill(0.0);
        let window = &self.window[at.min(length)..];
        for ((into, sample), weight) in self.stretch[at..].iter_mut().zip(there).zip(window) {
            *into = (sample - mean) * weight;
        }
    }

    /// From the stretch to its autocorrelation.
    fn correlate(&mut self) {
        // The lengths are those that the transforms were made for: it cannot fail.
        let _ = self.forward.process_with_scratch(
            &mut self.stretch,
            &mut self.spectrum,
            &mut self.scratch,
        );
        self.fine.fill(Complex::default());
        for (fine, value) in self.fine.iter_mut().zip(&self.spectrum) {
            fine.re = value.norm_sqr();
        }
        let _ = self.backward.process_with_scratch(
            &mut self.fine,
            &mut self.correlation,
            &mut self.scratch,
        );
    }
}
