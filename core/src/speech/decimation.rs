//! The low part of a sound, where the voice's pitch is, at a rate that makes it cheap to look at.

use std::f64::consts::PI;

/// The rate that is aimed at, in samples a second; the result is up to twice that.
const ENOUGH: f64 = 4_000.0;

/// Above that the sound is left out, in hertz: the first harmonics of a voice are below, most of
/// a hiss is above.
const CUTOFF: f64 = 1_000.0;

/// Half the length of the filter, in seconds: long enough for a slope of about 600 Hz.
const REACH: f64 = 0.002_5;

/// `samples` without what is above [`CUTOFF`], and how many a second there are now.
pub(super) fn decimated(samples: &[f32], rate: f64) -> (Vec<f32>, f64) {
    let factor = (rate / ENOUGH).floor().max(1.0) as usize;
    let taps = low_pass(rate);
    let reach = taps.len() / 2;
    // Silence before and after, so that the filter need not ask where it is.
    let mut padded = vec![0.0; samples.len() + 2 * reach];
    padded[reach..reach + samples.len()].copy_from_slice(samples);
    let low = padded
        .windows(taps.len())
        .step_by(factor)
        .map(|window| dot(window, &taps))
        .collect();
    (low, rate / factor as f64)
}

/// A windowed sinc (Hann), whose taps sum to 1.
fn low_pass(rate: f64) -> Vec<f32> {
    let reach = (REACH * rate).round() as i64;
    let taps: Vec<f64> = (-reach..=reach)
        .map(|at| {
            let turn = 2.0 * PI * CUTOFF * at as f64 / rate;
            let sinc = if at == 0 { 1.0 } else { turn.sin() / turn };
            sinc * (0.5 + 0.5 * (PI * at as f64 / (reach + 1) as f64).cos())
        })
        .collect();
    let sum: f64 = taps.iter().sum();
    taps.iter().map(|tap| (tap / sum) as f32).collect()
}

/// Eight sums side by side, which is what a processor does at once.
fn dot(a: &[f32], b: &[f32]) -> f32 {
    let mut sums = [0.0_f32; 8];
    let (a_whole, b_whole) = (a.chunks_exact(8), b.chunks_exact(8));
    let rest: f32 = (a_whole.remainder().iter())
        .zip(b_whole.remainder())
        .map(|(a, b)| a * b)
        .sum();
    for (a, b) in a_whole.zip(b_whole) {
        for (sum, (a, b)) in sums.iter_mut().zip(a.iter().zip(b)) {
            *sum += a * b;
        }
    }
    sums.iter().sum::<f32>() + rest
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rms(samples: &[f32]) -> f64 {
        let sum: f64 = samples.iter().map(|x| f64::from(*x).powi(2)).sum();
        (sum / samples.len() as f64).sqrt()
    }

    #[test]
    fn a_harmonic_of_the_voice_stays_and_a_hiss_goes_at_any_rate() {
        for rate in [8_000.0, 11_025.0, 22_050.0, 44_100.0, 48_000.0, 96_000.0] {
            let tone = |hertz: f64| -> Vec<f32> {
                let samples =
                    (0..rate as usize).map(|n| (2.0 * PI * hertz * n as f64 / rate).sin());
                samples.map(|sample| sample as f32).collect()
            };
            for (hertz, level) in [(200.0, 1.0), (600.0, 1.0), (2_000.0, 0.0)] {
                let (low, now) = decimated(&tone(hertz), rate);
                assert!((4_000.0..8_000.0).contains(&now), "{rate} became {now}");
                let inside = &low[100..low.len() - 100];
                let found = rms(inside) * 2.0_f64.sqrt();
                assert!(
                    (found - level).abs() < 0.02,
                    "{hertz} Hz at {rate}: {found}"
                );
            }
        }
    }
}
