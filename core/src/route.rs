//! The route: the form as a list that one can hold. How long each stage lasts, how it is come to,
//! and where each copy stands in it.
//!
//! A form that nobody has written is *generated*: it follows from the settings, and the route is
//! empty. Once written, the list is what is played, and the settings that would have generated it
//! (motion, shifts, dwell, drift) are silent; entries, growth and offsets go on as they are.

mod edit;
#[cfg(test)]
pub(crate) mod invented;

pub use edit::{Edit, EditError};

use crate::mode::ModeName;
use crate::part::{CopyNumber, MAX_COPIES};
use crate::settings::Motion;
use arrayvec::ArrayVec;

/// The most stages that can be written.
pub const MAX_STAGES: usize = 512;

/// Cycles that a written dwell or drift may take.
pub const CYCLES: std::ops::RangeInclusive<u32> = 1..=64;

/// The furthest a copy may be written to stand ahead or behind, in steps: every stage a shift of the
/// widest, by the last copy.
pub const FURTHEST: f64 = 32_768.0;

/// How long a stage is dwelt in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Dwell {
    /// So many cycles, of [`CYCLES`].
    Cycles(u32),
    /// Until a performer's cue.
    UntilCued,
}

/// How a stage is come to from the one before it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Way {
    /// By a drift, at once, or building itself up.
    pub motion: Motion,
    /// Cycles that a drift takes, of [`CYCLES`]; more, if a player could not go that fast.
    pub over: u32,
}

/// Another mode from a stage on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Turn {
    /// Tonic pitch class 0 ..= 11.
    pub tonic: u8,
    /// The mode.
    pub mode: ModeName,
    /// Cycles over which the differing pitch classes turn, 0 ..= 64; 0 is all at once.
    pub over: u32,
}

/// A stage as it is written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WrittenStage {
    /// How it is come to. Nothing comes before the first.
    pub way: Way,
    /// How long it is dwelt in, once come to.
    pub dwell: Dwell,
    /// Steps that each copy stands ahead, on top of its offset parameters.
    pub ahead: [f64; MAX_COPIES],
    /// Notes of the phrase that sound in it, in the order of growth; none leaves that to growth.
    pub grown: Option<u32>,
    /// Another mode from here on.
    pub turn: Option<Turn>,
}

impl WrittenStage {
    /// Steps that `copy` stands ahead.
    pub fn ahead_of(&self, copy: CopyNumber) -> f64 {
        self.ahead[copy.index()]
    }
}

/// What comes after the last stage.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Afterwards {
    /// It is held.
    #[default]
    Hold,
    /// The stages go round again.
    Repeat {
        /// From this stage on, counted from 0.
        from: usize,
        /// Steps that each copy has gained each time round, so that the way back to where it began
        /// is no detour: whole turns of the phrase.
        gained: [f64; MAX_COPIES],
    },
    /// Nothing sounds.
    Silence,
}

/// The form as it is written; empty if the settings make it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Route {
    stages: ArrayVec<WrittenStage, MAX_STAGES>,
    afterwards: Afterwards,
}

/// Why a list is no route.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum RouteError {
    /// Too many stages.
    #[error("A route has at most {MAX_STAGES} stages, and this one has {0}. Leave some out.")]
    TooMany(usize),
    /// A count of cycles out of bounds.
    #[error("Stage {stage}: {what} takes 1 to 64 cycles, not {cycles}.")]
    Cycles {
        /// Counted from 1.
        stage: usize,
        /// The dwell or the drift.
        what: &'static str,
        /// As written.
        cycles: u32,
    },
    /// A copy too far away, or nowhere.
    #[error("Stage {stage}: copy {copy} cannot stand {steps} steps ahead; 32 768 is the furthest.")]
    Ahead {
        /// Counted from 1.
        stage: usize,
        /// Counted from 1.
        copy: usize,
        /// As written.
        steps: f64,
    },
    /// A mode that cannot be.
    #[error("Stage {stage}: a mode turns over at most 64 cycles, on a tonic from C to B.")]
    Turn {
        /// Counted from 1.
        stage: usize,
    },
    /// There is nothing to repeat.
    #[error("The route repeats from stage {0}, which it does not have.")]
    RepeatsFrom(usize),
}

impl Route {
    /// The form that follows from the settings.
    pub const fn generated() -> Self {
        Self {
            stages: ArrayVec::new_const(),
            afterwards: Afterwards::Hold,
        }
    }

    /// These stages; the generated form if there are none.
    pub fn new(stages: &[WrittenStage], afterwards: Afterwards) -> Result<Self, RouteError> {
        let written: ArrayVec<_, MAX_STAGES> = stages
            .try_into()
            .map_err(|_| RouteError::TooMany(stages.len()))?;
        for (index, stage) in written.iter().enumerate() {
            check(index + 1, stage)?;
        }
        if let Afterwards::Repeat { from, gained } = &afterwards {
            if !written.is_empty() && *from >= written.len() {
                return Err(RouteError::RepeatsFrom(from.saturating_add(1)));
            }
            check_ahead(from + 1, gained)?;
        }
        let afterwards = if written.is_empty() {
            Afterwards::Hold
        } else {
            afterwards
        };
        Ok(Self {
            stages: written,
            afterwards,
        })
    }

    /// Takes over another route in place: an audio thread's stack is small.
    pub fn copy_from(&mut self, other: &Self) {
        self.stages.clear();
        // It has the same capacity.
        let _ = self.stages.try_extend_from_slice(&other.stages);
        self.afterwards = other.afterwards;
    }

    /// The same with dwells that wait for a cue counted as `dwell` cycles, of [`CYCLES`].
    pub fn counted(&self, dwell: u32) -> Self {
        let mut counted = self.clone();
        for stage in &mut counted.stages {
            if stage.dwell == Dwell::UntilCued {
                stage.dwell = Dwell::Cycles(dwell.clamp(*CYCLES.start(), *CYCLES.end()));
            }
        }
        counted
    }

    /// Whether there is a list, and the settings do not make the form.
    pub fn is_written(&self) -> bool {
        !self.stages.is_empty()
    }

    /// The stages in order; none if the form is generated.
    pub fn stages(&self) -> &[WrittenStage] {
        &self.stages
    }

    /// The stages from which another mode is in force, in the order in which they come, rounds
    /// gone through again and again.
    pub fn turns(&self) -> impl Iterator<Item = (u64, Turn)> + '_ {
        let count = self.stages.len();
        let from = match self.afterwards {
            Afterwards::Repeat { from, .. } => from,
            Afterwards::Hold | Afterwards::Silence => count,
        };
        let turn = |(index, stage): (usize, &WrittenStage)| Some((index, stage.turn?));
        let again = self.stages.iter().enumerate().skip(from).filter_map(turn);
        let rounds = (1..).flat_map(move |round: u64| {
            let later = round * (count - from) as u64;
            again
                .clone()
                .map(move |(index, turn)| (index as u64 + later, turn))
        });
        let goes_round = self.stages[from.min(count)..]
            .iter()
            .any(|stage| stage.turn.is_some());
        let first = self.stages.iter().enumerate().filter_map(turn);
        first
            .map(|(index, turn)| (index as u64, turn))
            .chain(goes_round.then_some(rounds).into_iter().flatten())
    }

    /// What comes after the last of them.
    pub fn afterwards(&self) -> &Afterwards {
        &self.afterwards
    }
}

fn check(number: usize, stage: &WrittenStage) -> Result<(), RouteError> {
    let cycles = |what, cycles| {
        if CYCLES.contains(&cycles) {
            Ok(())
        } else {
            Err(RouteError::Cycles {
                stage: number,
                what,
                cycles,
            })
        }
    };
    if let Dwell::Cycles(dwell) = stage.dwell {
        cycles("a dwell", dwell)?;
    }
    cycles("a drift", stage.way.over)?;
    check_ahead(number, &stage.ahead)?;
    match stage.turn {
        Some(turn) if turn.tonic > 11 || turn.over > *CYCLES.end() => {
            Err(RouteError::Turn { stage: number })
        }
        _ => Ok(()),
    }
}

fn check_ahead(stage: usize, ahead: &[f64; MAX_COPIES]) -> Result<(), RouteError> {
    let is_near = |steps: &f64| steps.abs() <= FURTHEST;
    match ahead.iter().position(|steps| !is_near(steps)) {
        Some(copy) => Err(RouteError::Ahead {
            stage,
            copy: copy + 1,
            steps: ahead[copy],
        }),
        None => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stage(cycles: u32) -> WrittenStage {
        WrittenStage {
            way: Way {
                motion: Motion::Jump,
                over: 4,
            },
            dwell: Dwell::Cycles(cycles),
            ahead: [0.0; MAX_COPIES],
            grown: None,
            turn: None,
        }
    }

    #[test]
    fn what_no_player_could_do_is_refused_with_its_place() {
        let refused = |stages: &[WrittenStage], afterwards| {
            Route::new(stages, afterwards).unwrap_err().to_string()
        };
        assert_eq!(
            refused(&[stage(4), stage(65)], Afterwards::Hold),
            "Stage 2: a dwell takes 1 to 64 cycles, not 65."
        );
        assert_eq!(
            refused(&[stage(4); 513], Afterwards::Hold),
            "A route has at most 512 stages, and this one has 513. Leave some out."
        );
        let mut lost = stage(4);
        lost.ahead[2] = f64::NAN;
        assert_eq!(
            refused(&[lost], Afterwards::Hold),
            "Stage 1: copy 3 cannot stand NaN steps ahead; 32 768 is the furthest."
        );
        let again = Afterwards::Repeat {
            from: 1,
            gained: [0.0; MAX_COPIES],
        };
        assert_eq!(
            refused(&[stage(4)], again),
            "The route repeats from stage 2, which it does not have."
        );
    }

    #[test]
    fn no_stages_are_the_generated_form() {
        assert!(!Route::new(&[], Afterwards::Silence).unwrap().is_written());
        assert_eq!(
            Route::new(&[], Afterwards::Silence).unwrap(),
            Route::generated()
        );
    }
}
