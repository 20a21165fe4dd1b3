//! What was performed, as it is saved.

use procession_core::part::MAX_COPIES;
use procession_core::performed::{Happened, MOST_MOMENTS, Moment, Recollection, Shape};
use procession_core::settings::{GrowthSettings, MotionSettings, Settings, Shifts, Worded};
use procession_core::tempo_map::{TempoMap, TempoStep};
use procession_core::time::Beats;
use serde::{Deserialize, Serialize};
use serde_json::Value;

/// A performance in a saved state.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(super) struct SavedPerformance {
    /// How stages were shaped before anything happened.
    first: SavedShape,
    moments: Vec<SavedMoment>,
}

#[derive(Clone, Debug, Serialize, Deserialize)]
struct SavedMoment {
    /// Beats after the origin.
    at: Beats,
    /// None is a cue.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    shaped: Option<SavedShape>,
}

/// The settings that shape stages, in the words and ranges of the parameters.
#[derive(Clone, Debug, Serialize, Deserialize)]
struct SavedShape {
    copies: usize,
    motion: String,
    shift_by: i32,
    copies_move: String,
    advance: String,
    dwell: u32,
    drift: u32,
    shifts: SavedShifts,
    entry: u32,
    growth: String,
    growth_step: i32,
    growth_every: u32,
    copies_grow: bool,
    grid: String,
}

#[derive(Clone, Copy, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
enum SavedShifts {
    Auto,
    Count(u32),
    Endless,
}

/// What was performed as it is saved; nothing needs no words.
pub(super) fn saved(performed: &Recollection) -> Option<SavedPerformance> {
    let moment = |moment: &Moment| SavedMoment {
        at: moment.at,
        shaped: match &moment.what {
            Happened::Cue => None,
            Happened::Shaped(shape) => Some(SavedShape::of(shape)),
        },
    };
    Some(SavedPerformance {
        first: SavedShape::of(performed.first.as_ref()?),
        moments: performed.moments.iter().map(moment).collect(),
    })
}

/// A tempo of the song, and from where on it went so.
#[derive(Clone, Copy, Debug, Serialize, Deserialize)]
pub(super) struct SavedTempo {
    /// Beats after the origin.
    at: Beats,
    /// Beats a minute.
    tempo: f64,
}

/// The tempi of the song as they are saved; none if there was one.
pub(super) fn saved_tempi(performed: &Recollection) -> Vec<SavedTempo> {
    let steps = performed.tempi.steps().iter();
    steps
        .map(|step| SavedTempo {
            at: step.at,
            tempo: step.tempo,
        })
        .collect()
}

/// The tempi when the state was saved; one in states from before more were kept.
fn restored_tempi(saved: &Value) -> Result<TempoMap, String> {
    let Some(tempi) = saved.get("tempi") else {
        return Ok(TempoMap::default());
    };
    let read = Vec::<SavedTempo>::deserialize(tempi).map_err(|error| error.to_string())?;
    let steps = read.iter().map(|saved| TempoStep {
        at: saved.at,
        tempo: saved.tempo,
    });
    let map = TempoMap::new(steps);
    let out_of_order = read.get(map.steps().len());
    match out_of_order {
        Some(saved) => Err(format!(
            "a tempo of {} at beat {} cannot be",
            saved.tempo, saved.at
        )),
        None => Ok(map),
    }
}

/// What was performed when the state was saved; nothing in states from before it was kept.
pub(super) fn restored(saved: &Value) -> Result<Recollection, String> {
    let tempi = restored_tempi(saved).map_err(|reason| {
        format!(
            "What the project says of the tempi of the song was refused: {reason}. It is taken as \
             not performed; load an earlier save of the project, or perform it again."
        )
    })?;
    let told = restored_moments(saved)?;
    Ok(Recollection { tempi, ..told })
}

fn restored_moments(saved: &Value) -> Result<Recollection, String> {
    let Some(performed) = saved.get("performed") else {
        return Ok(Recollection::default());
    };
    let read = SavedPerformance::deserialize(performed).map_err(|error| error.to_string());
    read.and_then(|performed| performed.checked())
        .map_err(|reason| {
            format!(
                "What the project says was performed was refused: {reason}. It is taken as not \
                 performed; load an earlier save of the project, or perform it again."
            )
        })
}

impl SavedPerformance {
    fn checked(&self) -> Result<Recollection, String> {
        if self.moments.len() > MOST_MOMENTS {
            return Err(format!("it has more than {MOST_MOMENTS} moments"));
        }
        let mut told = Recollection {
            first: Some(self.first.checked()?),
            ..Recollection::default()
        };
        let mut before = 0.0;
        for moment in &self.moments {
            if !super::is_within_reach(moment.at) || moment.at < before {
                return Err(format!("beat {} is out of order", moment.at));
            }
            before = moment.at;
            let what = match &moment.shaped {
                None => Happened::Cue,
                Some(shape) => Happened::Shaped(shape.checked()?),
            };
            let at = moment.at;
            told.moments.push(Moment { at, what });
        }
        Ok(told)
    }
}

impl SavedShape {
    fn of(shape: &Shape) -> Self {
        let Settings {
            motion,
            growth,
            capture,
            ..
        } = shape.over(&Settings::default());
        let word = |id: &str| id.to_owned();
        Self {
            copies: motion.copies,
            motion: word(motion.motion.wording().id),
            shift_by: motion.shift_by,
            copies_move: word(motion.copies_move.wording().id),
            advance: word(motion.advance.wording().id),
            dwell: motion.dwell,
            drift: motion.drift,
            shifts: match motion.shifts {
                Shifts::Auto => SavedShifts::Auto,
                Shifts::Count(count) => SavedShifts::Count(count),
                Shifts::Endless => SavedShifts::Endless,
            },
            entry: motion.entry,
            growth: word(growth.growth.wording().id),
            growth_step: growth.step,
            growth_every: growth.every,
            copies_grow: growth.copies_grow,
            grid: word(capture.grid.wording().id),
        }
    }

    /// Numbers out of their range are brought into it, as those of parameters are.
    fn checked(&self) -> Result<Shape, String> {
        let mut settings = Settings::default();
        settings.motion = MotionSettings {
            copies: self.copies.min(MAX_COPIES),
            motion: option(&self.motion)?,
            shift_by: self.shift_by.clamp(-8, 8),
            copies_move: option(&self.copies_move)?,
            advance: option(&self.advance)?,
            dwell: self.dwell.clamp(1, 64),
            drift: self.drift.clamp(1, 64),
            shifts: match self.shifts {
                SavedShifts::Auto => Shifts::Auto,
                SavedShifts::Count(count) => Shifts::Count(count.min(128)),
                SavedShifts::Endless => Shifts::Endless,
            },
            entry: self.entry.min(64),
            ..settings.motion
        };
        settings.growth = GrowthSettings {
            growth: option(&self.growth)?,
            step: self.growth_step.clamp(-8, 8),
            every: self.growth_every.clamp(1, 32),
            copies_grow: self.copies_grow,
            ..settings.growth
        };
        settings.capture.grid = option(&self.grid)?;
        Ok(Shape::of(&settings))
    }
}

/// The option that is saved by that word.
fn option<T: Worded>(id: &str) -> Result<T, String> {
    let found = T::ALL.iter().find(|option| option.wording().id == id);
    found
        .copied()
        .ok_or_else(|| format!("\"{id}\" is none of the options"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    fn performance() -> Recollection {
        let mut settings = Settings::default();
        let mut told = Recollection {
            first: Some(Shape::of(&settings)),
            ..Recollection::default()
        };
        settings.motion.dwell = 3;
        settings.motion.shifts = Shifts::Count(5);
        let happened = [
            (12.25, Happened::Shaped(Shape::of(&settings))),
            (20.1, Happened::Cue),
        ];
        for (at, what) in happened {
            told.moments.push(Moment { at, what });
        }
        told
    }

    #[test]
    fn what_was_performed_is_read_as_it_was_saved() {
        let state = json!({ "performed": saved(&performance()) });
        assert_eq!(restored(&state), Ok(performance()));
        assert_eq!(restored(&json!({})), Ok(Recollection::default()));
        assert!(saved(&Recollection::default()).is_none());
    }

    #[test]
    fn the_tempi_of_the_song_are_read_as_they_were_saved() {
        let step = |at, tempo| TempoStep { at, tempo };
        let told = Recollection {
            tempi: TempoMap::new([step(0.0, 120.0), step(16.0, 66.5)]),
            ..Recollection::default()
        };
        let state = json!({ "tempi": saved_tempi(&told) });
        assert_eq!(restored(&state), Ok(told));
        let backwards =
            json!({ "tempi": [{"at": 0.0, "tempo": 90.0}, {"at": -1.0, "tempo": 90.0}] });
        let refused = restored(&backwards).expect_err("it is refused");
        assert!(
            refused.contains("a tempo of 90 at beat -1 cannot be"),
            "{refused}"
        );
    }

    #[test]
    fn what_cannot_have_been_performed_is_refused_in_words() {
        let refused = |change: fn(&mut Value)| {
            let mut state = json!({ "performed": saved(&performance()) });
            change(&mut state["performed"]);
            restored(&state).expect_err("it is refused")
        };
        let backwards = refused(|performed| performed["moments"][1]["at"] = json!(3.0));
        assert!(backwards.contains("beat 3 is out of order"), "{backwards}");
        let unknown = refused(|performed| performed["first"]["motion"] = json!("sideways"));
        assert!(unknown.contains("\"sideways\" is none"), "{unknown}");
    }
}
