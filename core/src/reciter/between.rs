//! The sound between two samples: a sinc under a raised cosine.

use std::f64::consts::PI;

/// Samples on either side of a point that have a say in it.
const REACH: usize = 16;
const TAPS: usize = 2 * REACH;

/// Points between two samples for which it is worked out beforehand; others lie on a straight line
/// between the nearest two.
const POINTS: usize = 128;

/// Weights of samples for points between them.
#[derive(Debug)]
pub(super) struct Between {
    weights: Box<[[f32; TAPS]]>,
    /// Whether it leaves out nothing, so that a point on a sample is the sample.
    passes_all: bool,
}

impl Between {
    /// Everything up to that part of half the rate, 0 < `part` <= 1. Allocates.
    pub(super) fn up_to(part: f64) -> Self {
        let point = |point: usize| {
            let place = point as f64 / POINTS as f64;
            std::array::from_fn(|tap| weight(tap as f64 - (REACH - 1) as f64 - place, part) as f32)
        };
        Self {
            weights: (0..=POINTS).map(point).collect(),
            passes_all: part == 1.0,
        }
    }

    /// The sound at a place that is counted in samples; before the first and after the last is
    /// silence.
    pub(super) fn at(&self, samples: &[f32], place: f64) -> f32 {
        let before = place.floor();
        let into = place - before;
        let index = before as i64;
        if into == 0.0 && self.passes_all {
            return sample(samples, index);
        }
        let fine = into * POINTS as f64;
        let point = (fine as usize).min(POINTS - 1);
        let aside = (fine - point as f64) as f32;
        let first = index - (REACH as i64 - 1);
        let pairs = self.weights[point].iter().zip(&self.weights[point + 1]);
        let weights = pairs.map(|(here, there)| here + aside * (there - here));
        let inside = usize::try_from(first)
            .ok()
            .and_then(|first| samples.get(first..first + TAPS));
        match inside {
            Some(around) => around.iter().zip(weights).map(|(s, w)| s * w).sum(),
            None => (first..)
                .zip(weights)
                .map(|(index, weight)| sample(samples, index) * weight)
                .sum(),
        }
    }
}

fn sample(samples: &[f32], index: i64) -> f32 {
    let index = usize::try_from(index).ok();
    index
        .and_then(|index| samples.get(index))
        .copied()
        .unwrap_or(0.0)
}

/// What a sample `distance` away has to say about a point.
fn weight(distance: f64, part: f64) -> f64 {
    let turn = PI * distance * part;
    let sinc = if turn == 0.0 { 1.0 } else { turn.sin() / turn };
    if distance.abs() >= REACH as f64 {
        return 0.0;
    }
    part * sinc * (PI * distance / TAPS as f64).cos().powi(2)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    #[test]
    fn a_tone_is_found_between_its_samples() {
        let between = Between::up_to(1.0);
        let turn = TAU * 0.11;
        let tone: Vec<f32> = (0..400)
            .map(|n| (turn * f64::from(n)).sin() as f32)
            .collect();
        for n in 0..1_000 {
            let place = 100.0 + 0.137 * f64::from(n);
            let off = f64::from(between.at(&tone, place)) - (turn * place).sin();
            assert!(off.abs() < 3e-4, "{place}: {off}");
        }
    }

    #[test]
    fn a_sample_is_itself_and_beyond_the_ends_is_silence() {
        let between = Between::up_to(1.0);
        let sound = [0.25, -0.5, 1.0];
        let heard = [-1.0, 0.0, 1.0, 2.0, 3.0].map(|place| between.at(&sound, place));
        assert_eq!(heard, [0.0, 0.25, -0.5, 1.0, 0.0]);
        assert_eq!(between.at(&sound, -40.5), 0.0);
        assert_eq!(between.at(&sound, 1e9), 0.0);
    }
}
