//! Practice, as it is saved: what was set where it is not as it comes, and the last passes.

use crate::practice::{Desk, MOST_LATENCY_MS, MOST_PASSES, Partner, Passed};
use procession_core::follower::{Outcome, Pass};
use procession_core::part::Part;
use procession_core::practice::{Exercise, PACES};
use procession_core::time::Beats;
use serde::{Deserialize, Serialize};
use serde_json::Value;

/// Practice in a saved state.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(super) struct SavedPractice {
    /// 0 is the steady voice, k copy k, 9 the resulting line.
    part: usize,
    exercise: SavedExercise,
    /// Shares.
    pace: f64,
    click: bool,
    partner: SavedPartner,
    share: f64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    latency_ms: Option<f64>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    passes: Vec<SavedPass>,
}

#[derive(Clone, Copy, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
enum SavedExercise {
    Whole,
    Stage(usize),
    Seam(usize),
    Drift(usize),
}

#[derive(Clone, Copy, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
enum SavedPartner {
    Rigid,
    Gives,
    Pulls,
}

#[derive(Clone, Copy, Debug, Serialize, Deserialize)]
struct SavedPass {
    part: usize,
    exercise: SavedExercise,
    /// Beats a minute.
    tempo: f64,
    expected: usize,
    matched: usize,
    #[serde(default)]
    stray: usize,
    #[serde(default)]
    again: usize,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    late_ms: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    spread_ms: Option<f64>,
    /// Steps.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    reached: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    outcome: Option<SavedOutcome>,
}

#[derive(Clone, Copy, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
enum SavedOutcome {
    /// Locked after so many beats.
    Arrived(Beats),
    TooFar,
    PulledBack,
    NotLocked,
    Unclear,
}

/// Practice as it is saved; as it comes needs no words.
pub(super) fn saved(desk: &Desk) -> Option<SavedPractice> {
    if *desk == Desk::default() {
        return None;
    }
    Some(SavedPractice {
        part: desk.part.index(),
        exercise: desk.exercise.into(),
        pace: desk.pace,
        click: desk.click,
        partner: match desk.partner {
            Partner::Rigid => SavedPartner::Rigid,
            Partner::Gives => SavedPartner::Gives,
            Partner::Pulls => SavedPartner::Pulls,
        },
        share: desk.share,
        latency_ms: desk.latency_ms,
        passes: desk.passes.iter().map(SavedPass::of).collect(),
    })
}

/// Practice when the state was saved; as it comes in states from before it was kept.
pub(super) fn restored(saved: &Value) -> Result<Desk, String> {
    let Some(practice) = saved.get("practice") else {
        return Ok(Desk::default());
    };
    let read = SavedPractice::deserialize(practice).map_err(|error| error.to_string());
    read.and_then(|practice| practice.checked())
        .map_err(|reason| {
            format!(
                "What the project says of practice was refused: {reason}. It is set up anew, \
                 without the passes of before; an earlier save of the project may have them."
            )
        })
}

impl SavedPractice {
    fn checked(&self) -> Result<Desk, String> {
        if !PACES.contains(&self.pace) {
            return Err(format!("{} is no pace from 0.5 to 1.1", self.pace));
        }
        if !(0.0..=1.0).contains(&self.share) {
            return Err(format!("{} is no share from 0 to 1", self.share));
        }
        let latency = self.latency_ms.filter(|ms| ms.abs() > MOST_LATENCY_MS);
        if let Some(latency) = latency {
            return Err(format!("{latency} ms is no latency"));
        }
        // Of too many, the last.
        let first = self.passes.len().saturating_sub(MOST_PASSES);
        let passes: Result<_, String> = self.passes[first..]
            .iter()
            .map(SavedPass::checked)
            .collect();
        Ok(Desk {
            part: part(self.part)?,
            exercise: self.exercise.into(),
            pace: self.pace,
            click: self.click,
            partner: match self.partner {
                SavedPartner::Rigid => Partner::Rigid,
                SavedPartner::Gives => Partner::Gives,
                SavedPartner::Pulls => Partner::Pulls,
            },
            share: self.share,
            latency_ms: self.latency_ms,
            passes: passes?,
        })
    }
}

fn part(index: usize) -> Result<Part, String> {
    let part = Part::ALL.get(index).copied();
    part.ok_or_else(|| format!("there is no part {index}"))
}

impl SavedPass {
    fn of(passed: &Passed) -> Self {
        let Pass {
            expected,
            matched,
            stray,
            again,
            late_ms,
            spread_ms,
            reached,
            outcome,
        } = passed.pass;
        Self {
            part: passed.part.index(),
            exercise: passed.exercise.into(),
            tempo: passed.tempo,
            expected,
            matched,
            stray,
            again,
            late_ms,
            spread_ms,
            reached,
            outcome: outcome.map(SavedOutcome::from),
        }
    }

    fn checked(&self) -> Result<Passed, String> {
        if self.tempo.is_nan() || self.tempo <= 0.0 {
            return Err(format!("{} is no tempo", self.tempo));
        }
        Ok(Passed {
            part: part(self.part)?,
            exercise: self.exercise.into(),
            tempo: self.tempo,
            pass: Pass {
                expected: self.expected,
                matched: self.matched,
                stray: self.stray,
                again: self.again,
                late_ms: self.late_ms,
                spread_ms: self.spread_ms,
                reached: self.reached,
                outcome: self.outcome.map(Outcome::from),
            },
        })
    }
}

impl From<Exercise> for SavedExercise {
    fn from(exercise: Exercise) -> Self {
        match exercise {
            Exercise::Whole => Self::Whole,
            Exercise::Stage(stage) => Self::Stage(stage),
            Exercise::Seam(stage) => Self::Seam(stage),
            Exercise::Drift(stage) => Self::Drift(stage),
        }
    }
}

impl From<SavedExercise> for Exercise {
    fn from(saved: SavedExercise) -> Self {
        match saved {
            SavedExercise::Whole => Self::Whole,
            SavedExercise::Stage(stage) => Self::Stage(stage),
            SavedExercise::Seam(stage) => Self::Seam(stage),
            SavedExercise::Drift(stage) => Self::Drift(stage),
        }
    }
}

impl From<Outcome> for SavedOutcome {
    fn from(outcome: Outcome) -> Self {
        match outcome {
            Outcome::Arrived { locked_after } => Self::Arrived(locked_after),
            Outcome::TooFar => Self::TooFar,
            Outcome::PulledBack => Self::PulledBack,
            Outcome::NotLocked => Self::NotLocked,
            Outcome::Unclear => Self::Unclear,
        }
    }
}

impl From<SavedOutcome> for Outcome {
    fn from(saved: SavedOutcome) -> Self {
        match saved {
            SavedOutcome::Arrived(locked_after) => Self::Arrived { locked_after },
            SavedOutcome::TooFar => Self::TooFar,
            SavedOutcome::PulledBack => Self::PulledBack,
            SavedOutcome::NotLocked => Self::NotLocked,
            SavedOutcome::Unclear => Self::Unclear,
        }
    }
}
