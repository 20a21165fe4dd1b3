//! The form that follows from the settings, written out as a list.

use super::Voices;
use crate::motion::shifts_to_unison;
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
        let motion = &self.settings.motion;
        let round = shifts_to_unison(&self.phrase, &self.settings);
        let count = match motion.shifts {
            Shifts::Auto => round + 1,
            Shifts::Count(shifts) => u64::from(shifts) + 1,
            Shifts::Endless => round.max(1),
        };
        let stages: Vec<WrittenStage> = (0..count.min(MAX_STAGES as u64))
            .map(|stage| self.written(stage))
            .collect();
        let afterwards = match motion.shifts {
            Shifts::Endless if count <= MAX_STAGES as u64 => Afterwards::Repeat {
                from: 0,
                gained: self.ahead_at(count),
            },
            _ => Afterwards::Hold,
        };
        Route::new(&stages, afterwards).unwrap_or_default()
    }

    fn written(&self, stage: u64) -> WrittenStage {
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
            ahead: self.ahead_at(stage),
            grown: None,
            turn: None,
        }
    }

    /// Steps that each copy stands ahead after `stage` shifts.
    fn ahead_at(&self, stage: u64) -> [f64; MAX_COPIES] {
        let step = self.settings.step();
        CopyNumber::ALL.map(|copy| {
            // Shifts are whole steps; what is more or less is rounding.
            (self.course(copy).shifted(stage) / step).round()
        })
    }
}
