//! Which of the candidates it is: the best path through all frames.
//!
//! A frame by itself is often ambiguous: a period fits twice into two periods. So every candidate
//! has a merit, every step from frame to frame a cost, and of all paths the best is taken (the
//! Viterbi search; merits and costs are shaped as in Boersma 1993). Being unvoiced is one of the
//! states of the path, so that voicing is decided with it and not before it.
//!
//! The numbers are our own, found on the same recorded speech that agreement with other trackers is
//! measured on, so that agreement flatters them somewhat. How far each could be moved was not
//! measured throughout; the silence below which nothing is voiced is among those that matter.

use super::candidates::Candidate;
use super::track::LOWEST;

/// How high a peak has to be for a voice.
pub(super) const VOICED: f64 = 0.5;

/// What is that many times fainter than the loud frames of the recording is taken for silence.
const FAINT: f64 = 0.022;

/// The merit of an octave: less than that apart, the higher of two peaks is believed.
const OCTAVE: f64 = 0.01;

/// What a jump of an octave costs from one frame to the next.
const JUMP: f64 = 0.8;

/// What it costs to begin or to end a voiced stretch.
const TURN: f64 = 0.25;

/// A frame, seen from the path.
#[derive(Clone, Debug, Default)]
pub(super) struct Choices {
    /// What the pitch may be.
    pub candidates: Vec<Candidate>,
    /// How loud, in parts of the recording's loud frames.
    pub loudness: f64,
}

/// A state on the way: where it came from, and what the way has been worth.
#[derive(Clone, Copy)]
struct State {
    octaves: Option<f64>,
    worth: f64,
    from: usize,
}

/// The candidate of each frame on the best path, or none where the voice is silent or unvoiced.
/// `hop` is the time between two frames, in seconds.
pub(super) fn best(frames: &[Choices], hop: f64) -> Vec<Option<Candidate>> {
    // The costs are meant for a hundred frames a second.
    let scale = 0.01 / hop;
    let mut ways: Vec<Vec<State>> = Vec::with_capacity(frames.len());
    for frame in frames {
        let mut states = merits(frame);
        if let Some(before) = ways.last() {
            for state in &mut states {
                let (from, worth) = best_before(before, state.octaves, scale);
                state.from = from;
                state.worth += worth;
            }
        }
        ways.push(states);
    }
    back(frames, &ways)
}

/// The states of a frame by themselves: unvoiced first, then its candidates.
fn merits(frame: &Choices) -> Vec<State> {
    let silence = (2.0 - frame.loudness * (1.0 + VOICED) / FAINT).max(0.0);
    let state = |octaves, worth| State {
        octaves,
        worth,
        from: 0,
    };
    let unvoiced = state(None, VOICED + silence);
    let voiced = frame.candidates.iter().map(|candidate| {
        let octaves = (candidate.hertz / LOWEST).log2();
        state(Some(octaves), candidate.height + OCTAVE * octaves)
    });
    std::iter::once(unvoiced).chain(voiced).collect()
}

fn best_before(before: &[State], to: Option<f64>, scale: f64) -> (usize, f64) {
    let mut best = (0, f64::NEG_INFINITY);
    for (index, state) in before.iter().enumerate() {
        let cost = match (state.octaves, to) {
            (None, None) => 0.0,
            (Some(from), Some(to)) => JUMP * (from - to).abs(),
            _ => TURN,
        };
        let worth = state.worth - scale * cost;
        if worth > best.1 {
            best = (index, worth);
        }
    }
    best
}

fn back(frames: &[Choices], ways: &[Vec<State>]) -> Vec<Option<Candidate>> {
    let mut path = vec![None; frames.len()];
    let Some(last) = ways.last() else {
        return path;
    };
    // Of equals the first, so that the same recording always gives the same.
    let mut at = 0;
    for (index, state) in last.iter().enumerate() {
        if state.worth > last[at].worth {
            at = index;
        }
    }
    for frame in (0..frames.len()).rev() {
        path[frame] = at
            .checked_sub(1)
            .map(|candidate| frames[frame].candidates[candidate]);
        at = ways[frame][at].from;
    }
    path
}
