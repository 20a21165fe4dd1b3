//! An ear for the tests: how high, how loud, how rough. It shares no code with what it listens to.

#![allow(dead_code, reason = "shared by tests that use a part each")]

use realfft::RealFftPlanner;
use std::f64::consts::{PI, TAU};

/// How many times finer than the sound the spectrum's bins are.
const FINENESS: usize = 8;

/// The frequency, in Hz, of the strongest partial within a semitone of `near` Hz: the highest bin
/// of a Hann-windowed spectrum and a parabola through its neighbours.
pub fn pitch_near(near: f64, sound: &[f32], sample_rate: f64) -> f64 {
    let fft = RealFftPlanner::<f64>::new().plan_fft_forward(sound.len() * FINENESS);
    let mut input = fft.make_input_vec();
    for (n, sample) in sound.iter().enumerate() {
        input[n] = f64::from(*sample) * hann(n, sound.len());
    }
    let bin_hz = sample_rate / input.len() as f64;
    let mut bins = fft.make_output_vec();
    fft.process(&mut input, &mut bins)
        .expect("the lengths are the planner's own");
    let db = |bin: usize| bins[bin].norm().log10();
    let semitone = 2_f64.powf(1.0 / 12.0);
    let range = (near / semitone / bin_hz) as usize..=(near * semitone / bin_hz) as usize;
    let top = range
        .max_by(|a, b| db(*a).total_cmp(&db(*b)))
        .expect("a semitone has bins");
    let (below, at, above) = (db(top - 1), db(top), db(top + 1));
    let aside = 0.5 * (below - above) / (below - 2.0 * at + above);
    (top as f64 + aside) * bin_hz
}

/// From one frequency to another, in cents.
pub fn cents(from: f64, to: f64) -> f64 {
    1200.0 * (to / from).log2()
}

/// How loud the sound is at `hz`, in dB (a full-scale sine there is 0).
pub fn level_at(hz: f64, sound: &[f32], sample_rate: f64) -> f64 {
    let (mut re, mut im) = (0.0, 0.0);
    for (n, sample) in sound.iter().enumerate() {
        let seen = f64::from(*sample) * hann(n, sound.len());
        let angle = TAU * hz / sample_rate * n as f64;
        re += seen * angle.cos();
        im += seen * angle.sin();
    }
    // The window lets half of it through, and a sine has two lines in the spectrum.
    20.0 * (4.0 * f64::hypot(re, im) / sound.len() as f64).log10()
}

/// The highest point of the sound as a converter draws it: band-limited interpolation to `times`
/// as many frames, by a spectrum with zeros above. The last eighth is faded, so that the end may
/// follow on the beginning.
pub fn true_peak(sound: &[f32], times: usize) -> f64 {
    let mut planner = RealFftPlanner::<f64>::new();
    let (long, short) = (sound.len() * times, sound.len());
    let (forward, back) = (
        planner.plan_fft_forward(short),
        planner.plan_fft_inverse(long),
    );
    let mut input: Vec<f64> = sound
        .iter()
        .enumerate()
        .map(|(n, sample)| f64::from(*sample) * fade_of_last_eighth(n, short))
        .collect();
    let mut bins = forward.make_output_vec();
    let mut all_bins = back.make_input_vec();
    let mut output = back.make_output_vec();
    forward
        .process(&mut input, &mut bins)
        .expect("the lengths are the planner's own");
    all_bins[..bins.len()].copy_from_slice(&bins);
    all_bins[bins.len() - 1] *= 0.5;
    back.process(&mut all_bins, &mut output)
        .expect("the lengths are the planner's own");
    output.iter().map(|s| s.abs()).fold(0.0, f64::max) / short as f64
}

/// An amplitude in dB.
pub fn db(amplitude: f64) -> f64 {
    20.0 * amplitude.log10()
}

/// The highest sample, as an amplitude.
pub fn peak(sound: &[f32]) -> f64 {
    sound.iter().map(|s| f64::from(s.abs())).fold(0.0, f64::max)
}

/// The greatest second difference: a click is a corner or a step, and stands out in it.
pub fn roughness(sound: &[f32]) -> f64 {
    sound
        .windows(3)
        .map(|w| (f64::from(w[0]) - 2.0 * f64::from(w[1]) + f64::from(w[2])).abs())
        .fold(0.0, f64::max)
}

fn hann(n: usize, of: usize) -> f64 {
    (PI * (n as f64 + 0.5) / of as f64).sin().powi(2)
}

fn fade_of_last_eighth(n: usize, of: usize) -> f64 {
    let left = (of - n) as f64 / (of as f64 / 8.0);
    (0.5 - 0.5 * (PI * left.min(1.0)).cos()).clamp(0.0, 1.0)
}
