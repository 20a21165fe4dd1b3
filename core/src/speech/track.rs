//! The pitch of a recording, a hundred times a second.

use super::candidates::{Candidate, Finder};
use super::decimation::decimated;
use super::path::{Choices, best};
use super::recording::Recording;

/// The lowest pitch that is looked for, in hertz.
pub const LOWEST: f64 = 40.0;

/// The highest, in hertz.
pub const HIGHEST: f64 = 800.0;

/// The time between two frames, in seconds.
pub const HOP: f64 = 0.01;

/// Below that pitch, in hertz, a longer stretch is looked at.
const DEEP: f64 = 75.0;

/// A peak of that height leaves no doubt that the pitch is not a deep one.
const CLEAR: f64 = 0.85;

/// How many candidates of a frame go on to the path.
const KEPT: usize = 12;

/// Which of the frames is a loud one: nine in ten that sound are fainter. Not the loudest, which
/// may be a knock on the microphone.
const LOUD: f64 = 0.95;

/// What is heard around one moment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Frame {
    /// Hertz, if the voice is voiced.
    pub hertz: Option<f64>,
    /// How loud the low part of the sound is, up to 1 kHz, in decibels below full scale.
    pub level: f64,
}

/// How pitch and loudness go in a recording.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PitchTrack {
    frames: Vec<Frame>,
}

impl PitchTrack {
    /// Listens to a recording. The same recording always gives the same.
    pub fn of(recording: &Recording) -> Self {
        let (low, rate) = decimated(recording.samples(), recording.rate());
        let mut finders = [
            Finder::new(DEEP, HIGHEST, rate),
            Finder::new(LOWEST, DEEP, rate),
        ];
        let count = (recording.seconds() / HOP).ceil() as usize;
        let (mut choices, mut levels): (Vec<_>, Vec<_>) = (0..count)
            .map(|frame| {
                choices(
                    &mut finders,
                    &low,
                    (frame as f64 * HOP * rate).round() as usize,
                )
            })
            .unzip();
        let loud = loud_frame(&levels);
        for (frame, level) in choices.iter_mut().zip(&levels) {
            frame.loudness = if loud > 0.0 { level / loud } else { 0.0 };
        }
        let path = best(&choices, HOP);
        let frames = path
            .iter()
            .zip(levels.drain(..))
            .map(|(candidate, level)| Frame {
                hertz: candidate.map(|candidate| candidate.hertz),
                level: 20.0 * level.max(1e-10).log10(),
            });
        Self {
            frames: frames.collect(),
        }
    }

    /// A frame every [`HOP`], the first at the recording's beginning.
    pub fn frames(&self) -> &[Frame] {
        &self.frames
    }
}

/// What the pitch may be around that sample, and how loud it is there.
fn choices(finders: &mut [Finder; 2], low: &[f32], centre: usize) -> (Choices, f64) {
    let mut candidates: Vec<Candidate> = Vec::new();
    let [lively, deep] = finders;
    let level = lively.find(low, centre, &mut candidates);
    if candidates.iter().all(|candidate| candidate.height < CLEAR) {
        deep.find(low, centre, &mut candidates);
    }
    candidates.retain(|candidate| (LOWEST..=HIGHEST).contains(&candidate.hertz));
    candidates.sort_by(|a, b| b.height.total_cmp(&a.height));
    candidates.truncate(KEPT);
    let choices = Choices {
        candidates,
        loudness: 0.0,
    };
    (choices, level)
}

/// How loud the loud frames are.
fn loud_frame(levels: &[f64]) -> f64 {
    let mut sorted = levels.to_vec();
    sorted.sort_by(f64::total_cmp);
    let at = (sorted.len() as f64 * LOUD) as usize;
    sorted.get(at).copied().unwrap_or(0.0)
}
