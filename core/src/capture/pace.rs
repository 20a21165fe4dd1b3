//! A player's own pace: where the steps fall that a hand had in mind.
//!
//! Several readings of the same hand are possible: a phrase of a little over four beats is four
//! beats played slowly, or four and a sixteenth in time. Each reading has a cost, and the cheapest
//! is taken. It costs to be off the lines, to be off the tempo, and not to last whole beats.

use super::period::Attack;
use crate::time::Beats;

/// How far a hand is usually off its own lines, in beats: 17 ms at 120 beats a minute, within
/// what is measured of ensembles (27 to 49 ms; Rasch, Acustica 43 (1979) 121-31).
const OFF_LINE: Beats = 0.035;

/// How far, as a part of the tempo, a player is usually off it: with nothing to go by, and with the
/// song rolling.
pub(super) const ALONE: f64 = 0.035;
pub(super) const WITH_SONG: f64 = 0.01;

/// What a phrase costs that does not last whole beats.
const ODD_LENGTH: f64 = 6.0;

/// Paces looked at: from a tenth slower to a tenth faster.
const WIDEST: f64 = 0.1;

/// Attacks looked at.
const MOST: usize = 64;

/// Of more readings than that, only those of whole beats are tried.
const MANY: i64 = 32;

/// Of a passage that does not repeat, so many paces to either side are tried, so far apart.
const TRIED: (i32, f64) = (16, 0.005);

/// How the steps fall: one is at `zero`, and one lasts `step` beats.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Pace {
    pub(super) zero: Beats,
    pub(super) step: Beats,
}

/// How `attacks`, at least one, fall on steps of `step` beats that come round after `period`, and
/// how many steps there are; none if no pace makes it whole steps, `most` of them at most.
/// `off_tempo` is one of [`ALONE`] and [`WITH_SONG`].
pub(super) fn of_period(
    attacks: &[Attack],
    period: Beats,
    (step, most): (Beats, i64),
    off_tempo: f64,
) -> Option<(Pace, i64)> {
    let in_a_beat = step.recip().round() as i64;
    let fewest = (period / (step * (1.0 + WIDEST))).ceil().max(1.0) as i64;
    let greatest = (period / (step * (1.0 - WIDEST))).floor() as i64;
    let each = if greatest - fewest < MANY {
        1
    } else {
        in_a_beat
    };
    let readings = (fewest..=greatest.min(most)).filter(|steps| steps % each == 0);
    let read = readings.map(|steps| {
        let own = period / steps as f64;
        let (zero, off_line) = off_line(attacks, own);
        let odd = if steps % in_a_beat == 0 {
            0.0
        } else {
            ODD_LENGTH
        };
        let cost = off_line + costs(own / step, off_tempo) + odd;
        (cost, Pace { zero, step: own }, steps)
    });
    read.min_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, pace, steps)| (pace, steps))
}

/// How `attacks`, at least one, fall on steps of about `step` beats.
pub(super) fn of_passage(attacks: &[Attack], step: Beats) -> Pace {
    let (tried, apart) = TRIED;
    let read = (-tried..=tried).map(|by| {
        let own = step * (1.0 + f64::from(by) * apart);
        let (zero, off_line) = off_line(attacks, own);
        (
            off_line + costs(own / step, ALONE),
            Pace { zero, step: own },
        )
    });
    read.min_by(|a, b| a.0.total_cmp(&b.0)).map_or(
        Pace {
            zero: attacks[0].at,
            step,
        },
        |(_, pace)| pace,
    )
}

fn costs(ratio: f64, off_tempo: f64) -> f64 {
    ((ratio - 1.0) / off_tempo).powi(2)
}

/// Where the lines `step` beats apart lie that `attacks` are nearest to, the first of them on one,
/// and what it costs that they are not on them.
fn off_line(attacks: &[Attack], step: Beats) -> (Beats, f64) {
    let each = attacks.len().div_ceil(MOST);
    let off = |zero: Beats| {
        attacks.iter().step_by(each).map(move |attack| {
            let steps = (attack.at - zero) / step;
            (steps - steps.round()) * step
        })
    };
    let count = attacks.len().div_ceil(each) as f64;
    // Any one attack may be far off: the lines are laid through each of the first few.
    let laid = attacks.iter().take(3).map(|attack| {
        let zero = attack.at + off(attack.at).sum::<Beats>() / count;
        let cost = off(zero).map(|off| (off / OFF_LINE).powi(2)).sum();
        (zero, cost)
    });
    let best = laid.min_by(|a: &(Beats, f64), b| a.1.total_cmp(&b.1));
    best.unwrap_or((0.0, 0.0))
}
