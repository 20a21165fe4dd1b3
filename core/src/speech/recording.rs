//! A recording of one voice: samples of one channel, and how many a second.

use thiserror::Error;

/// The longest recording that is listened to, in seconds: ten minutes.
pub const LONGEST: f64 = 600.0;

/// The rates that are understood, in samples a second: telephone to four times a studio's.
const RATES: std::ops::RangeInclusive<f64> = 8_000.0..=384_000.0;

/// If the channels together are that much fainter in power than the first one, they are of opposite
/// sign and cancel: 12 dB.
const CANCELLED: f64 = 1.0 / 16.0;

/// One channel of sound.
#[derive(Clone, Debug, PartialEq)]
pub struct Recording {
    samples: Vec<f32>,
    rate: f64,
}

/// Why a recording cannot be listened to; the text says what to do.
#[derive(Clone, Debug, Error, PartialEq)]
pub enum RecordingError {
    /// The rate is no rate, or far from any that is in use.
    #[error(
        "{0} samples a second is no rate for a voice: convert the recording to between 8,000 and 384,000, 48,000 for example"
    )]
    Rate(f64),
    /// Longer than [`LONGEST`].
    #[error(
        "the recording lasts {0:.0} seconds, the longest is {LONGEST:.0}: cut out the sentences you need"
    )]
    TooLong(f64),
}

impl Recording {
    /// The recording with those samples, full scale being 1. A sample that is no number counts as silence,
    /// one far beyond full scale as full scale twice over.
    ///
    /// # Errors
    /// See [`RecordingError`].
    pub fn new(mut samples: Vec<f32>, rate: f64) -> Result<Self, RecordingError> {
        if !RATES.contains(&rate) {
            return Err(RecordingError::Rate(rate));
        }
        let seconds = samples.len() as f64 / rate;
        if seconds > LONGEST {
            return Err(RecordingError::TooLong(seconds));
        }
        for sample in &mut samples {
            *sample = if sample.is_nan() {
                0.0
            } else {
                sample.clamp(-2.0, 2.0)
            };
        }
        Ok(Self { samples, rate })
    }

    /// The same of several channels, given as their mean and the first of them: the mean, unless the
    /// channels are of opposite sign and cancel in it.
    ///
    /// # Errors
    /// See [`RecordingError`].
    pub fn of_channels(mean: Vec<f32>, first: Vec<f32>, rate: f64) -> Result<Self, RecordingError> {
        let power = |of: &[f32]| of.iter().map(|one| f64::from(*one).powi(2)).sum::<f64>();
        let cancelled = power(&mean) < CANCELLED * power(&first);
        Self::new(if cancelled { first } else { mean }, rate)
    }

    /// Its samples.
    pub fn samples(&self) -> &[f32] {
        &self.samples
    }

    /// Samples a second.
    pub fn rate(&self) -> f64 {
        self.rate
    }

    /// How long it lasts, in seconds.
    pub fn seconds(&self) -> f64 {
        self.samples.len() as f64 / self.rate
    }
}
