//! One pass, judged when it is over: how late, how even, and where it arrived.

use super::Match;
use super::spread::{mean_and_spread, median};
use crate::time::{Beats, Span};

/// What a part has to do in a pass.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Goal {
    /// To stay where the plan has it.
    Stay,
    /// To get to another offset, and to stay there until the pass is over.
    Move {
        /// When it is on its way.
        during: Span,
        /// Steps ahead of the steady voice before.
        from: f64,
        /// Steps ahead of the steady voice after.
        to: f64,
        /// Beats of a cycle: what is played in the last one says where the player got to.
        cycle: Beats,
    },
}

/// What became of a move. (The two ways to fail are those of Kim, Frontiers in Psychology
/// 14:1207646, 2023.)
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Outcome {
    /// It is where it was to go, and stays there.
    Arrived {
        /// Beats from where the move begins until it was locked.
        locked_after: Beats,
    },
    /// It went past that, towards the next step.
    TooFar,
    /// It is nearer to where it came from, or to unison.
    PulledBack,
    /// It is nearest to where it was to go, but does not lock there.
    NotLocked,
    /// Too little was recognised to tell.
    Unclear,
}

/// What there is to say of a pass.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Pass {
    /// Notes that the part plays.
    pub expected: usize,
    /// Notes of it that were recognised.
    pub matched: usize,
    /// Notes that are none of the part's.
    pub stray: usize,
    /// Strokes for notes that were struck already.
    pub again: usize,
    /// Milliseconds late on average; below 0, early. Of a move only what is locked counts, and
    /// nothing if it is not.
    pub late_ms: Option<f64>,
    /// Standard deviation in milliseconds; in a move, from the player's own course.
    pub spread_ms: Option<f64>,
    /// Steps ahead of the steady voice at the end.
    pub reached: Option<f64>,
    /// What became of a move.
    pub outcome: Option<Outcome>,
}

impl Pass {
    /// Whether anything was struck at all.
    pub fn is_played(&self) -> bool {
        self.matched + self.stray + self.again > 0
    }
}

/// The fewest notes that say where a player got to.
const FEWEST_AT_END: usize = 6;

/// Steps from a place within which a player is locked there: of a step of 140 ms, the 35 ms of
/// which an echo begins. (Own choice.)
const LOCKED: f64 = 0.25;

/// The share of what is played from some note on that has to be locked, for it to be locked there.
const MOSTLY: f64 = 0.9;

/// Notes before and after that smooth a course.
const AROUND: usize = 4;

/// What `matches` say, in steps of so many beats; `scratch` has room for as many numbers.
pub(super) fn judged(matches: &[Match], goal: Goal, step: Beats, scratch: &mut Vec<f64>) -> Pass {
    let mut pass = Pass {
        matched: matches.len(),
        ..Pass::default()
    };
    match goal {
        Goal::Stay => {
            let plain = spread_of(matches.iter().map(Match::late_ms), scratch);
            pass.late_ms = plain.map(|(mean, _)| mean);
            pass.spread_ms = plain.map(|(_, spread)| spread);
            pass.reached = median_of(matches.iter().map(|one| one.over_steady / step), scratch);
        }
        Goal::Move {
            during,
            from,
            to,
            cycle,
        } => {
            let end = at_end(matches, cycle);
            pass.reached = median_of(end.iter().map(|one| one.over_steady / step), scratch);
            let course = (0..matches.len()).map(|index| from_course(matches, index));
            pass.spread_ms = spread_of(course, scratch).map(|(_, spread)| spread);
            let locked = first_locked(matches, to, step, during.start);
            if let Some(locked) = locked {
                let late = matches[locked..].iter();
                let late = late.map(|one| (to * step - one.over_steady) * one.beat_ms);
                pass.late_ms = spread_of(late, scratch).map(|(mean, _)| mean);
            }
            pass.outcome = Some(match pass.reached {
                Some(reached) if end.len() >= FEWEST_AT_END => {
                    let after = locked.map(|index| (matches[index].at - during.start).max(0.0));
                    outcome(reached, from, to, after)
                }
                _ => Outcome::Unclear,
            });
            if !matches!(pass.outcome, Some(Outcome::Arrived { .. })) {
                pass.late_ms = None;
            }
        }
    }
    pass
}

fn outcome(reached: f64, from: f64, to: f64, locked_after: Option<Beats>) -> Outcome {
    let onwards = (to - from).signum();
    if (reached - to) * onwards > 0.5 {
        return Outcome::TooFar;
    }
    // Of a move by one step, half a step.
    if (reached - from) * onwards < (to - from).abs() / 2.0 {
        return Outcome::PulledBack;
    }
    match locked_after {
        Some(locked_after) => Outcome::Arrived { locked_after },
        None => Outcome::NotLocked,
    }
}

fn spread_of(values: impl Iterator<Item = f64>, scratch: &mut Vec<f64>) -> Option<(f64, f64)> {
    scratch.clear();
    scratch.extend(values);
    mean_and_spread(scratch)
}

fn median_of(values: impl Iterator<Item = f64>, scratch: &mut Vec<f64>) -> Option<f64> {
    scratch.clear();
    scratch.extend(values);
    median(scratch)
}

/// What was played in the last cycle of what was played at all.
fn at_end(matches: &[Match], cycle: Beats) -> &[Match] {
    let Some(last) = matches.last() else {
        return matches;
    };
    let earlier = matches
        .iter()
        .rev()
        .take_while(|one| one.at > last.at - cycle);
    &matches[matches.len() - earlier.count()..]
}

/// The notes around one.
fn around(matches: &[Match], index: usize) -> &[Match] {
    let end = (index + AROUND + 1).min(matches.len());
    &matches[index.saturating_sub(AROUND)..end]
}

/// Milliseconds by which a note is late against those around it, of which it is one: made larger by
/// as much as it has pulled their mean along.
fn from_course(matches: &[Match], index: usize) -> f64 {
    let around = around(matches, index);
    let many = around.len() as f64;
    let mean = around.iter().map(Match::late_ms).sum::<f64>() / many;
    (matches[index].late_ms() - mean) * (many / (many - 1.0).max(1.0)).sqrt()
}

/// The first note from which on nearly all are locked so many steps ahead.
fn first_locked(matches: &[Match], steps: f64, step: Beats, from: Beats) -> Option<usize> {
    let is_locked = |index: usize| {
        let around = around(matches, index);
        let mut places = [0.0; 2 * AROUND + 1];
        let places = &mut places[..around.len()];
        for (place, one) in places.iter_mut().zip(around) {
            *place = one.over_steady / step;
        }
        median(places).is_some_and(|place| (place - steps).abs() <= LOCKED)
    };
    let (mut locked, mut count) = (0, 0);
    let mut first = None;
    for index in (0..matches.len()).rev() {
        if matches[index].at < from {
            break;
        }
        let here = is_locked(index);
        count += 1;
        locked += usize::from(here);
        if here && count >= FEWEST_AT_END && locked as f64 >= MOSTLY * count as f64 {
            first = Some(index);
        }
    }
    first
}
