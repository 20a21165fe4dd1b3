//! Practice: one part is played by hand against all others.
//!
//! What is practised is a *round*: a stretch of the form, and what the part has to do in it. With
//! the song at rest a round goes round on the plug-in's own clock, counted in each time; in a
//! rolling song the player joins in, and each time the song comes through the stretch is a pass.
//!
//! What is struck is followed, and not captured. After each pass there is something to say of it.

mod rehearsal;

pub use rehearsal::{Judged, Rehearsal, Stage, Told};

use crate::follower::Goal;
use crate::part::Part;
use crate::partner::Manner;
use crate::time::{Beats, Span};

/// The slowest and the fastest practice, as shares of the tempo.
pub const PACES: std::ops::RangeInclusive<f64> = 0.5..=1.1;

/// What of the form is practised.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Exercise {
    /// All of it.
    #[default]
    Whole,
    /// That stage, counted from 0.
    Stage(usize),
    /// The seam between that stage and the next.
    Seam(usize),
    /// That stage, in which the part drifts, and where it leads to.
    Drift(usize),
}

/// A stretch of the form, and what the part has to do in it; in beats after the process begins.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Round {
    /// From where to where.
    pub span: Span,
    /// What the part has to do.
    pub goal: Goal,
}

impl Round {
    /// The same in the song, where the process begins at `origin`.
    pub fn in_song(self, origin: Beats) -> Self {
        let moved = |span: Span| Span::new(span.start + origin, span.end + origin);
        let goal = match self.goal {
            Goal::Move {
                during,
                from,
                to,
                cycle,
            } => Goal::Move {
                during: moved(during),
                from,
                to,
                cycle,
            },
            Goal::Stay => Goal::Stay,
        };
        Self {
            span: moved(self.span),
            goal,
        }
    }
}

/// What is to be practised, and how.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Practice {
    /// The part that the player plays.
    pub part: Part,
    /// How often practising was begun, this time counted: another number begins anew.
    pub number: u32,
    /// What it is called that is practised.
    pub exercise: Exercise,
    /// Where that is.
    pub round: Round,
    /// The share of the tempo at which it goes round, within [`PACES`]; with the song at rest.
    pub pace: f64,
    /// Whether the beats are clicked on the way; likewise.
    pub click: bool,
    /// How the steady voice is played; likewise.
    pub manner: Manner,
    /// The chance of whoever plays it.
    pub seed: u64,
    /// Milliseconds by which every note comes in later than it was played.
    pub latency_ms: f64,
}

/// What is asked of the engine beside playing.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Practising {
    /// Nothing.
    #[default]
    Not,
    /// To click, so that the latency of the input can be measured; with the song at rest. For the
    /// how manieth time: another number begins anew.
    Tapping(u32),
    /// To leave a part to the player.
    Playing(Practice),
}

impl Practising {
    /// What is practised.
    pub fn practice(&self) -> Option<&Practice> {
        match self {
            Self::Playing(practice) => Some(practice),
            Self::Not | Self::Tapping(_) => None,
        }
    }

    /// Whether that begins as `other` does: what differs can be changed on the way.
    pub fn is_as(&self, other: &Self) -> bool {
        match (self, other) {
            (Self::Not, Self::Not) => true,
            (Self::Tapping(one), Self::Tapping(other)) => one == other,
            (Self::Playing(one), Self::Playing(other)) => {
                let gives = |practice: &Practice| practice.manner != Manner::Rigid;
                let told = |practice: &Practice| {
                    (
                        practice.part,
                        practice.number,
                        practice.round,
                        gives(practice),
                    )
                };
                told(one) == told(other)
            }
            _ => false,
        }
    }
}
