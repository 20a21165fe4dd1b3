//! The modulation plan as it is saved.

use super::FARTHEST;
use procession_core::mode::ModeName;
use procession_core::settings::{MAX_MODULATIONS, Modulation, Modulations, Place};
use procession_core::time::Beats;
use serde::{Deserialize, Serialize};
use serde_json::Value;

/// Stages beyond this are damage: no form lists more.
const LAST_STAGE: u32 = 4096;

/// Cycles over which a mode may turn.
pub const LONGEST_TURNING: u32 = 64;

/// One modulation in a saved state.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(super) struct SavedModulation {
    #[serde(flatten)]
    place: SavedPlace,
    /// Pitch class, 0 (C) ..= 11 (B).
    tonic: u8,
    /// By its lasting id.
    mode: String,
    /// Cycles, 0 ..= 64.
    over: u32,
}

#[derive(Clone, Copy, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
enum SavedPlace {
    /// With this stage, counted from 1.
    Stage(u32),
    /// Beats after the origin.
    Beats(Beats),
}

/// The plan as it is saved.
pub(super) fn saved(modulations: &Modulations) -> Vec<SavedModulation> {
    let saved = |modulation: &Modulation| SavedModulation {
        place: match modulation.place {
            Place::Stage(stage) => SavedPlace::Stage(stage),
            Place::Beats(beats) => SavedPlace::Beats(beats),
        },
        tonic: modulation.tonic,
        mode: modulation.mode.id().to_owned(),
        over: modulation.over,
    };
    modulations.iter().map(saved).collect()
}

/// The plan that was saved; none was in states from before there were plans.
pub(super) fn restored(saved: &Value) -> Result<Modulations, String> {
    let Some(list) = saved.get("modulations") else {
        return Ok(Modulations::default());
    };
    let read = || -> Result<Modulations, String> {
        let list = Vec::<SavedModulation>::deserialize(list).map_err(|error| error.to_string())?;
        if list.len() > MAX_MODULATIONS {
            let count = list.len();
            return Err(format!(
                "{count} mode changes are more than {MAX_MODULATIONS}"
            ));
        }
        let all: Result<Vec<_>, String> = list.iter().map(SavedModulation::checked).collect();
        Ok(Modulations::new(all?))
    };
    read().map_err(|reason| {
        format!("The saved mode changes were refused: {reason}. What was there before stays.")
    })
}

impl SavedModulation {
    fn checked(&self) -> Result<Modulation, String> {
        let place = match self.place {
            SavedPlace::Stage(stage) if (1..=LAST_STAGE).contains(&stage) => Place::Stage(stage),
            SavedPlace::Stage(stage) => return Err(format!("there is no stage {stage}")),
            SavedPlace::Beats(beats) if (0.0..=FARTHEST).contains(&beats) => Place::Beats(beats),
            SavedPlace::Beats(beats) => return Err(format!("there is no beat {beats}")),
        };
        if self.tonic > 11 {
            return Err(format!("there is no pitch class {}", self.tonic));
        }
        if self.over > LONGEST_TURNING {
            return Err(format!("{} cycles are too many", self.over));
        }
        let mode = ModeName::from_id(&self.mode);
        Ok(Modulation {
            place,
            tonic: self.tonic,
            mode: mode.ok_or_else(|| format!("the mode \"{}\" is unknown", self.mode))?,
            over: self.over,
        })
    }
}
