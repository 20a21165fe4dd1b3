//! The sentence's own tempo: the grid that its tones miss by least.

use super::tones::Tone;
use std::f64::consts::TAU;

/// The steps that are tried, in seconds: speech has four to nine syllables a second, and a step
/// may be half a syllable or two.
const SHORTEST: f64 = 0.1;
const LONGEST: f64 = 0.35;

/// Each step that is tried is longer than the one before by that factor.
const FINER: f64 = 1.004;

/// A longer step is preferred if it misses by no more than that, in parts of the step.
const AS_GOOD: f64 = 0.02;

/// How far a sentence may be stretched unasked: less is hardly heard as another tempo of speech
/// (H. Quene, JASA 122, 2007: 5 to 10 %).
pub const UNASKED: f64 = 0.1;

/// A grid in a sentence.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pace {
    /// Seconds from step to step.
    pub step: f64,
    /// By how much the tones miss it, as a part of a step: 0 is exact, 0.29 is chance.
    pub error: f64,
}

/// The pace of those tones; none if there are fewer than three.
pub fn pace(tones: &[Tone]) -> Option<Pace> {
    if tones.len() < 3 {
        return None;
    }
    let steps = std::iter::successors(Some(SHORTEST), |step| Some(step * FINER));
    let tried: Vec<Pace> = (steps.take_while(|step| *step <= LONGEST))
        .map(|step| Pace {
            step,
            error: error(tones, step),
        })
        .collect();
    let least = tried
        .iter()
        .map(|pace| pace.error)
        .fold(f64::INFINITY, f64::min);
    let longest = tried
        .iter()
        .rposition(|pace| pace.error <= least + AS_GOOD)?;
    // Down the slope to where that step misses by least.
    let mut best = longest;
    while best > 0 && tried[best - 1].error <= tried[best].error {
        best -= 1;
    }
    Some(tried[best])
}

/// By how much the onsets miss a grid of that step at its best place, as the root of the mean
/// square, in parts of a step.
fn error(tones: &[Tone], step: f64) -> f64 {
    let turns = || tones.iter().map(|tone| TAU * tone.onset / step);
    let (sin, cos) = turns().fold((0.0, 0.0), |(s, c), turn| (s + turn.sin(), c + turn.cos()));
    let middle = f64::atan2(sin, cos);
    let squares: f64 = turns()
        .map(|turn| {
            let off = (turn - middle) / TAU;
            (off - off.round()).powi(2)
        })
        .sum();
    (squares / tones.len() as f64).sqrt()
}

/// The factor by which the times of a sentence are stretched so that its step is the song's, half
/// of it or twice: none if that is more than [`UNASKED`].
pub fn stretch(own: f64, song: f64) -> Option<f64> {
    [0.5, 1.0, 2.0]
        .map(|times| times * song / own)
        .into_iter()
        .filter(|factor| (factor - 1.0).abs() <= UNASKED)
        .min_by(|a, b| a.ln().abs().total_cmp(&b.ln().abs()))
}
