//! What was said: the recording that goes along with a phrase, as a project keeps it.

use super::between::Between;
use crate::speech::Recording;

/// The longest that goes along, in seconds.
pub const LONGEST: f64 = 20.0;

/// The rates at which it is kept, in samples a second. A recording of a higher rate is brought down
/// to the highest: what that leaves out, above 20 kHz, is no part of a voice.
const RATES: std::ops::RangeInclusive<u32> = 8_000..=48_000;

/// How finely a sample is kept, in bits: as CDs have it, where that is all there is, or as studios do.
const COARSE: u32 = 16;
const FINE: u32 = 24;

/// One channel of sound in whole steps, so that it can be kept without loss.
#[derive(Clone, Debug, PartialEq)]
pub struct Utterance {
    /// Full scale is 1; each is a whole number of steps.
    samples: Vec<f32>,
    rate: u32,
    bits: u32,
}

impl Utterance {
    /// That much of a recording, from one second to another, but no more than [`LONGEST`]. What is
    /// beyond full scale is cut off there. None if nothing is left of it.
    pub fn of(recording: &Recording, from: f64, to: f64) -> Option<Self> {
        if from.is_nan() || to.is_nan() {
            return None;
        }
        let rate = (recording.rate().round() as u32).clamp(*RATES.start(), *RATES.end());
        let step = recording.rate() / f64::from(rate);
        let (from, to) = (from.max(0.0), to.min(recording.seconds()));
        let count = ((to - from).min(LONGEST) * f64::from(rate)).round() as usize;
        let first = (from * recording.rate()).round();
        let between = Between::up_to(1.0 / step.max(1.0));
        let samples: Vec<f32> = (0..count)
            .map(|n| between.at(recording.samples(), first + n as f64 * step))
            .collect();
        let bits = if samples.iter().all(|sample| is_whole(*sample, COARSE)) {
            COARSE
        } else {
            FINE
        };
        let steps = samples.iter().map(|sample| nearest(*sample, bits));
        Self::from_steps(steps, rate, bits)
    }

    /// Out of the steps of [`Self::steps`], at so many `bits`. None if that is no utterance: nothing,
    /// longer than [`LONGEST`], of another rate or fineness than one is kept at, or beyond full scale.
    pub fn from_steps(steps: impl IntoIterator<Item = i32>, rate: u32, bits: u32) -> Option<Self> {
        if !RATES.contains(&rate) || ![COARSE, FINE].contains(&bits) {
            return None;
        }
        let most = (LONGEST * f64::from(rate)) as usize;
        let full = full_scale(bits);
        let mut samples = Vec::new();
        for step in steps {
            if samples.len() == most || step < -full || step >= full {
                return None;
            }
            // 24 bits and a sign: exact.
            samples.push(step as f32 / full as f32);
        }
        (!samples.is_empty()).then_some(Self {
            samples,
            rate,
            bits,
        })
    }

    /// Every sample as a whole number of steps.
    pub fn steps(&self) -> impl Iterator<Item = i32> + '_ {
        self.samples
            .iter()
            .map(|sample| nearest(*sample, self.bits))
    }

    /// Bits of a sample: 16 or 24.
    pub fn bits(&self) -> u32 {
        self.bits
    }

    /// Samples a second: 8,000 ..= 48,000.
    pub fn rate(&self) -> u32 {
        self.rate
    }

    /// Its samples, full scale being 1.
    pub fn samples(&self) -> &[f32] {
        &self.samples
    }

    /// How long it lasts, in seconds.
    pub fn seconds(&self) -> f64 {
        self.samples.len() as f64 / f64::from(self.rate)
    }
}

fn full_scale(bits: u32) -> i32 {
    1 << (bits - 1)
}

fn is_whole(sample: f32, bits: u32) -> bool {
    let steps = sample * full_scale(bits) as f32;
    steps == steps.round()
}

fn nearest(sample: f32, bits: u32) -> i32 {
    let full = full_scale(bits);
    ((sample * full as f32).round() as i32).clamp(-full, full - 1)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    fn tone(hertz: f64, rate: f64, seconds: f64) -> Recording {
        let samples = (0..(seconds * rate) as usize)
            .map(|n| (0.5 * (TAU * hertz * n as f64 / rate).sin()) as f32);
        Recording::new(samples.collect(), rate).expect("a recording")
    }

    #[test]
    fn what_a_file_of_16_bits_holds_is_kept_as_it_is() {
        let steps = [0, 1, -1, 32_767, -32_768, 1_234];
        let samples = steps.map(|step| step as f32 / 32_768.0).to_vec();
        let recording = Recording::new(samples.clone(), 8_000.0).expect("a recording");
        let kept = Utterance::of(&recording, 0.0, 1.0).expect("there is something");
        assert_eq!((kept.bits(), kept.rate()), (16, 8_000));
        assert_eq!(kept.steps().collect::<Vec<_>>(), steps);
        assert_eq!(kept.samples(), samples);
    }

    #[test]
    fn no_more_than_twenty_seconds_are_kept_and_nothing_of_nothing() {
        let long = tone(100.0, 8_000.0, 25.0);
        let kept = Utterance::of(&long, 2.0, 60.0).expect("there is something");
        assert_eq!((kept.seconds(), kept.bits()), (20.0, 24));
        assert_eq!(Utterance::of(&long, 30.0, 60.0), None);
        assert_eq!(Utterance::of(&long, 9.0, 3.0), None);
        assert_eq!(Utterance::of(&long, f64::NAN, f64::NAN), None);
    }

    #[test]
    fn a_recording_of_a_higher_rate_keeps_its_pitch_and_loses_only_what_is_above_the_voice() {
        let at = |hertz| {
            let kept = Utterance::of(&tone(hertz, 96_000.0, 0.2), 0.0, 1.0).expect("some");
            assert_eq!((kept.rate(), kept.samples().len()), (48_000, 9_600));
            kept
        };
        let low = at(440.0);
        for (n, sample) in low.samples().iter().enumerate().skip(50).take(9_000) {
            let wanted = 0.5 * (TAU * 440.0 * n as f64 / 48_000.0).sin();
            assert!((f64::from(*sample) - wanted).abs() < 0.005, "{n}");
        }
        let high = at(40_000.0);
        let inside = &high.samples()[50..9_000];
        assert!(inside.iter().all(|sample| sample.abs() < 0.005));
    }

    #[test]
    fn what_is_no_utterance_is_refused() {
        let some = || [1, 2, 3];
        assert!(Utterance::from_steps(some(), 44_100, 16).is_some());
        assert_eq!(Utterance::from_steps([], 44_100, 16), None);
        assert_eq!(Utterance::from_steps(some(), 7_999, 16), None);
        assert_eq!(Utterance::from_steps(some(), 96_000, 16), None);
        assert_eq!(Utterance::from_steps(some(), 44_100, 8), None);
        assert_eq!(Utterance::from_steps([32_768], 44_100, 16), None);
        assert_eq!(Utterance::from_steps(vec![0; 160_001], 8_000, 16), None);
    }
}
