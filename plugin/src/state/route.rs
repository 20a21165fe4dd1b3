//! The route as it is saved.

use procession_core::mode::ModeName;
use procession_core::part::MAX_COPIES;
use procession_core::route::{Afterwards, Dwell, Route, Turn, Way, WrittenStage};
use procession_core::settings::Motion;
use serde::{Deserialize, Serialize};
use serde_json::Value;

/// A written route in a saved state.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(super) struct SavedRoute {
    stages: Vec<SavedStage>,
    #[serde(default)]
    afterwards: SavedAfterwards,
}

#[derive(Clone, Debug, Serialize, Deserialize)]
struct SavedStage {
    way: SavedMotion,
    /// Cycles, 1 ..= 64.
    over: u32,
    /// Cycles, 1 ..= 64; none is until a cue.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    dwell: Option<u32>,
    /// Steps, copy by copy; the others stand at 0.
    ahead: Vec<f64>,
    /// Notes of the phrase.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    grown: Option<u32>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    turn: Option<SavedTurn>,
}

#[derive(Clone, Copy, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
enum SavedMotion {
    Drift,
    Jump,
    BuildUp,
}

#[derive(Clone, Debug, Serialize, Deserialize)]
struct SavedTurn {
    /// Pitch class, 0 (C) ..= 11 (B).
    tonic: u8,
    /// By its lasting id.
    mode: String,
    /// Cycles, 0 ..= 64.
    over: u32,
}

#[derive(Clone, Debug, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
enum SavedAfterwards {
    #[default]
    Hold,
    Repeat {
        /// The stage, counted from 1.
        from: usize,
        /// Steps, copy by copy; the others gain none.
        gained: Vec<f64>,
    },
    Silence,
}

/// The route as it is saved; a form that the settings make needs no words.
pub(super) fn saved(route: &Route) -> Option<SavedRoute> {
    route.is_written().then(|| SavedRoute {
        stages: route.stages().iter().map(SavedStage::from).collect(),
        afterwards: match route.afterwards() {
            Afterwards::Hold => SavedAfterwards::Hold,
            Afterwards::Silence => SavedAfterwards::Silence,
            Afterwards::Repeat { from, gained } => SavedAfterwards::Repeat {
                from: from + 1,
                gained: each_copy(gained),
            },
        },
    })
}

/// The route that was saved; none was in states from before there were routes, nor is in those of
/// a form that the settings make.
pub(super) fn restored(saved: &Value) -> Result<Route, String> {
    let Some(route) = saved.get("route") else {
        return Ok(Route::generated());
    };
    let read = || SavedRoute::deserialize(route).map_err(|error| error.to_string());
    read().and_then(|route| route.checked()).map_err(|reason| {
        format!(
            "The saved route was refused: {reason} What was there before stays. Load an earlier \
             save of the project, or write the route anew."
        )
    })
}

impl SavedRoute {
    fn checked(&self) -> Result<Route, String> {
        let stages: Result<Vec<_>, String> = (self.stages.iter().enumerate())
            .map(|(index, stage)| {
                let stage = stage.checked();
                stage.map_err(|reason| format!("Stage {}: {reason}", index + 1))
            })
            .collect();
        let afterwards = match &self.afterwards {
            SavedAfterwards::Hold => Afterwards::Hold,
            SavedAfterwards::Silence => Afterwards::Silence,
            SavedAfterwards::Repeat { from, gained } => Afterwards::Repeat {
                from: from.checked_sub(1).ok_or("There is no stage 0.")?,
                gained: all_copies(gained)?,
            },
        };
        Route::new(&stages?, afterwards).map_err(|error| error.to_string())
    }
}

impl SavedStage {
    fn checked(&self) -> Result<WrittenStage, String> {
        let motion = match self.way {
            SavedMotion::Drift => Motion::Drift,
            SavedMotion::Jump => Motion::Jump,
            SavedMotion::BuildUp => Motion::BuildUp,
        };
        Ok(WrittenStage {
            way: Way {
                motion,
                over: self.over,
            },
            dwell: self.dwell.map_or(Dwell::UntilCued, Dwell::Cycles),
            ahead: all_copies(&self.ahead)?,
            grown: self.grown,
            turn: self.turn.as_ref().map(SavedTurn::checked).transpose()?,
        })
    }
}

impl From<&WrittenStage> for SavedStage {
    fn from(stage: &WrittenStage) -> Self {
        Self {
            way: match stage.way.motion {
                Motion::Drift => SavedMotion::Drift,
                Motion::Jump => SavedMotion::Jump,
                Motion::BuildUp => SavedMotion::BuildUp,
            },
            over: stage.way.over,
            dwell: match stage.dwell {
                Dwell::Cycles(cycles) => Some(cycles),
                Dwell::UntilCued => None,
            },
            ahead: each_copy(&stage.ahead),
            grown: stage.grown,
            turn: stage.turn.map(|turn| SavedTurn {
                tonic: turn.tonic,
                mode: turn.mode.id().to_owned(),
                over: turn.over,
            }),
        }
    }
}

impl SavedTurn {
    fn checked(&self) -> Result<Turn, String> {
        let mode = ModeName::from_id(&self.mode);
        Ok(Turn {
            tonic: self.tonic,
            mode: mode.ok_or_else(|| format!("the mode \"{}\" is unknown.", self.mode))?,
            over: self.over,
        })
    }
}

/// Up to the last copy that does not stand at 0.
fn each_copy(steps: &[f64; MAX_COPIES]) -> Vec<f64> {
    let last = steps.iter().rposition(|steps| *steps != 0.0);
    steps[..last.map_or(0, |last| last + 1)].to_vec()
}

fn all_copies(steps: &[f64]) -> Result<[f64; MAX_COPIES], String> {
    let mut all = [0.0; MAX_COPIES];
    let told = all.get_mut(..steps.len()).ok_or_else(|| {
        let count = steps.len();
        format!("offsets of {count} copies are more than {MAX_COPIES}.")
    })?;
    told.copy_from_slice(steps);
    Ok(all)
}
