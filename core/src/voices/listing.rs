//! The form that follows from the settings, written out as a list.

use super::Voices;
use crate::motion::{Schedule, shifts_to_unison};
use crate::part::{CopyNumber, MAX_COPIES};
use crate::route::{Afterwards, Dwell, MAX_STAGES, Route, Way, WrittenStage};
use crate::settings::{Advance, Shifts};

impl Voices {
    /// The route as a list: the one that is written, or what the settings make of it. Played, it
    /// is the same to the sample.
    ///
    /// A form of more than [`MAX_STAGES`] stages is written as far as that. One that goes on for
    /// ever is written for one round, and repeats.
    pub fn as_route(&self) -> Route {
        if self.route.is_written() {
            return self.route.clone();
        }
        let count = self.generated_stages();
        let stages: Vec<WrittenStage> = (0..count.min(MAX_STAGES))
            .map(|stage| self.generated(stage))
            .collect();
        let afterwards = match self.settings.motion.shifts {
            Shifts::Endless if count <= MAX_STAGES => Afterwards::Repeat {
                from: 0,
                gained: self.ahead_at(count as u64),
            },
            _ => Afterwards::Hold,
        };
        Route::new(&stages, afterwards).unwrap_or_default()
    }

    /// How many stages the settings make; of a form that goes on for ever, one round.
    fn generated_stages(&self) -> usize {
        let round = shifts_to_unison(&self.phrase, &self.settings);
        let count = match self.settings.motion.shifts {
            Shifts::Auto => round + 1,
            Shifts::Count(shifts) => u64::from(shifts) + 1,
            Shifts::Endless => round.max(1),
        };
        usize::try_from(count).unwrap_or(usize::MAX)
    }

    fn generated(&self, stage: usize) -> WrittenStage {
        let motion = &self.settings.motion;
        WrittenStage {
            way: Way {
                motion: motion.motion,
                over: motion.drift.max(1),
            },
            dwell: match motion.advance {
                Advance::Counted => Dwell::Cycles(motion.dwell.max(1)),
                Advance::OnCue => Dwell::UntilCued,
            },
            ahead: self.ahead_at(stage as u64),
            grown: None,
            turn: None,
        }
    }

    /// Steps that each copy stands ahead after `stage` shifts.
    fn ahead_at(&self, stage: u64) -> [f64; MAX_COPIES] {
        let step = self.settings.step();
        CopyNumber::ALL.map(|copy| {
            // Shifts are whole steps; what is more or less is rounding.
            (Schedule::Generated(&self.rule).ahead(copy, stage) / step).round()
        })
    }
}

/// A route as a list, written or not, without making one: the audio thread asks.
pub(super) struct Listed<'a> {
    voices: &'a Voices,
    route: &'a Route,
    /// How many stages there are.
    pub count: usize,
    /// From which of them they go round.
    again: Option<usize>,
}

impl<'a> Listed<'a> {
    pub fn of(voices: &'a Voices, route: &'a Route) -> Self {
        let written = route.is_written();
        let count = if written {
            route.stages().len()
        } else {
            voices.generated_stages()
        };
        let again = match (route.afterwards(), voices.settings.motion.shifts) {
            (Afterwards::Repeat { from, .. }, _) if written => Some(*from),
            (_, Shifts::Endless) if !written => Some(0),
            _ => None,
        };
        Self {
            voices,
            route,
            count,
            again,
        }
    }

    /// Stage `index`, as it is written or would be.
    pub fn at(&self, index: usize) -> WrittenStage {
        let written = self.route.stages().get(index).copied();
        written.unwrap_or_else(|| self.voices.generated(index))
    }

    /// Where on the list stage `stage` stands, and after how many rounds.
    pub fn place(&self, stage: u64) -> (usize, u64) {
        let last = self.count.max(1) - 1;
        let stage = usize::try_from(stage).unwrap_or(usize::MAX);
        match self.again {
            Some(from) if stage >= self.count => {
                let period = (self.count - from).max(1);
                let beyond = stage - from;
                (from + beyond % period, (beyond / period) as u64)
            }
            _ => (stage.min(last), 0),
        }
    }

    /// The stage that stands there after so many rounds.
    pub fn stage(&self, index: usize, rounds: u64) -> u64 {
        let period = self.again.map_or(0, |from| self.count - from);
        let rounds = if self.again.is_some_and(|from| index >= from) {
            rounds
        } else {
            0
        };
        index as u64 + rounds * period as u64
    }
}
