//! A route, read out of a plan that was written as JSON, and perhaps changed by hand since.

use super::json::SCHEMA;
use crate::mode::ModeName;
use crate::part::MAX_COPIES;
use crate::route::{Afterwards, Dwell, MAX_STAGES, Route, RouteError, Turn, Way, WrittenStage};
use crate::settings::Motion;
use serde_json::Value;
use thiserror::Error;

/// The largest plan that is read, in bytes: several times what the longest form takes.
pub const LARGEST: usize = 32 << 20;

/// The first version that tells a route as this one does.
const FIRST: u32 = 3;

/// Why no route could be read; the text says what to do.
#[derive(Clone, Debug, Error, PartialEq)]
pub enum ReadError {
    /// There are so many bytes, more than are read.
    #[error(
        "{} MiB are too large for a plan: choose the .json that was written with the others, of {} MiB at most",
        .0.div_ceil(1 << 20), LARGEST >> 20
    )]
    TooLarge(usize),
    /// It breaks off, or has a sign too many.
    #[error(
        "this is no JSON from line {line}, place {column} on: mend it there, or write the plan anew"
    )]
    NotJson {
        /// Counted from 1.
        line: usize,
        /// Counted from 1.
        column: usize,
    },
    /// Some other JSON.
    #[error(
        "this is JSON, but no plan with a route: choose the .json that was written with the others"
    )]
    NoPlan,
    /// It was written by an earlier or a later build.
    #[error(
        "this plan is of version {0}, and its route can be read from versions {FIRST} to {SCHEMA}: write the plan anew"
    )]
    Version(u64),
    /// A field is not there, or says what it cannot.
    #[error("{place}: {field} is {found}, not {wanted}: change it there")]
    Field {
        /// "Stage 3", counted from 1.
        place: String,
        /// What it is called.
        field: &'static str,
        /// What stands there.
        found: String,
        /// What may stand there.
        wanted: String,
    },
    /// It could not be played.
    #[error(transparent)]
    Route(#[from] RouteError),
}

/// The route that a plan tells, as JSON; the generated one if the form was left to the settings.
///
/// # Errors
/// See [`ReadError`]. Never panics, whatever the bytes are.
pub fn read_route(bytes: &[u8]) -> Result<Route, ReadError> {
    if bytes.len() > LARGEST {
        return Err(ReadError::TooLarge(bytes.len()));
    }
    let plan: Value = serde_json::from_slice(bytes).map_err(|error| ReadError::NotJson {
        line: error.line(),
        column: error.column(),
    })?;
    match plan["schema"].as_u64() {
        Some(version) if (u64::from(FIRST)..=u64::from(SCHEMA)).contains(&version) => (),
        Some(version) => return Err(ReadError::Version(version)),
        None => return Err(ReadError::NoPlan),
    }
    let fields = Fields {
        place: "The route".to_owned(),
        object: plan.get("route").ok_or(ReadError::NoPlan)?,
    };
    let is_written = fields.read("written", "true or false", Value::as_bool)?;
    if !is_written {
        return Ok(Route::generated());
    }
    let told = fields.read("stages", "a list of stages", Value::as_array)?;
    if told.is_empty() {
        let wanted = "a list of stages, or written is false";
        return fields.read("stages", wanted, |_| None);
    }
    if told.len() > MAX_STAGES {
        return Err(RouteError::TooMany(told.len()).into());
    }
    let stages: Vec<WrittenStage> = told
        .iter()
        .enumerate()
        .map(stage)
        .collect::<Result<_, _>>()?;
    let afterwards = fields.read("afterwards", "what comes after the last stage", Some)?;
    Ok(Route::new(&stages, afterwards_of(afterwards)?)?)
}

/// The fields of an object, and where in the route it stands.
struct Fields<'a> {
    place: String,
    object: &'a Value,
}

impl<'a> Fields<'a> {
    /// What `take` makes of a field, if it is there and it can make something of it.
    fn read<T>(
        &self,
        field: &'static str,
        wanted: &str,
        take: impl FnOnce(&'a Value) -> Option<T>,
    ) -> Result<T, ReadError> {
        let value = self.object.get(field);
        value.and_then(take).ok_or_else(|| ReadError::Field {
            place: self.place.clone(),
            field,
            found: value.map_or("not there".to_owned(), shortened),
            wanted: wanted.to_owned(),
        })
    }
}

/// What stands there, as far as a message has room for it.
fn shortened(value: &Value) -> String {
    let whole = match value {
        Value::Array(list) => return format!("a list of {}", list.len()),
        Value::Object(_) => return "a group of fields".to_owned(),
        single => single.to_string(),
    };
    if whole.chars().count() <= 32 {
        return whole;
    }
    let beginning: String = whole.chars().take(32).collect();
    format!("{beginning}...")
}

fn stage((index, told): (usize, &Value)) -> Result<WrittenStage, ReadError> {
    let place = format!("Stage {}", index + 1);
    let fields = Fields {
        object: told,
        place,
    };
    let motion = fields.read("motion", "drift, jump or build-up", |told| {
        let word = told.as_str()?;
        let all = [Motion::Drift, Motion::Jump, Motion::BuildUp];
        all.into_iter().find(|motion| motion.noun() == word)
    })?;
    let over = fields.read("over_cycles", "a whole number from 1 to 64", whole)?;
    let cycles = "a whole number from 1 to 64, or null until a cue";
    let dwell = fields.read("dwell_cycles", cycles, |told| or_null(told, whole))?;
    let grown = "a whole number, or null to leave it to growth";
    Ok(WrittenStage {
        way: Way { motion, over },
        dwell: dwell.map_or(Dwell::UntilCued, Dwell::Cycles),
        ahead: fields.read("ahead_steps", EACH_COPY, each_copy)?,
        grown: fields.read("grown_notes", grown, |told| or_null(told, whole))?,
        turn: turn(&fields)?,
    })
}

fn turn(stage: &Fields) -> Result<Option<Turn>, ReadError> {
    let told = stage.read("mode", "a tonic, a name and over_cycles, or null", |told| {
        or_null(told, |told| told.is_object().then_some(told))
    })?;
    let Some(object) = told else {
        return Ok(None);
    };
    let fields = Fields {
        place: format!("{}, mode", stage.place),
        object,
    };
    let tonic = fields.read("tonic", "a whole number from 0 (C) to 11 (B)", |told| {
        u8::try_from(whole(told)?).ok()
    })?;
    let mode = fields.read("name", "the name of a mode, such as dorian", |told| {
        ModeName::from_text(told.as_str()?)
    })?;
    let over = fields.read("over_cycles", "a whole number from 0 to 64", whole)?;
    Ok(Some(Turn { tonic, mode, over }))
}

fn afterwards_of(object: &Value) -> Result<Afterwards, ReadError> {
    let fields = Fields {
        place: "Afterwards".to_owned(),
        object,
    };
    let then = fields.read("then", "hold, repeat or silence", |told| {
        let word = told.as_str()?;
        ["hold", "repeat", "silence"]
            .contains(&word)
            .then_some(word)
    })?;
    Ok(match then {
        "hold" => Afterwards::Hold,
        "silence" => Afterwards::Silence,
        _ => Afterwards::Repeat {
            from: fields.read("from_stage", "the number of a stage, from 1 on", |told| {
                (whole(told)? as usize).checked_sub(1)
            })?,
            gained: fields.read("gained_steps", EACH_COPY, each_copy)?,
        },
    })
}

fn or_null<'a, T>(told: &'a Value, take: impl FnOnce(&'a Value) -> Option<T>) -> Option<Option<T>> {
    if told.is_null() {
        Some(None)
    } else {
        take(told).map(Some)
    }
}

/// A whole number, also if some program has written it as 8.0.
fn whole(told: &Value) -> Option<u32> {
    let number = told.as_f64()?;
    let fits = number >= 0.0 && number <= f64::from(u32::MAX) && number.fract() == 0.0;
    fits.then_some(number as u32)
}

const EACH_COPY: &str = "a list of numbers, one for each of up to 8 copies";

fn each_copy(told: &Value) -> Option<[f64; MAX_COPIES]> {
    let told = told.as_array().filter(|told| told.len() <= MAX_COPIES)?;
    let mut steps = [0.0; MAX_COPIES];
    for (steps, told) in steps.iter_mut().zip(told) {
        *steps = told.as_f64()?;
    }
    Some(steps)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::exchange::Unrolled;
    use crate::exchange::plan::json;
    use crate::phrase::Phrase;
    use crate::process::Process;
    use crate::route::invented::any_route;
    use crate::settings::{Advance, Settings};
    use proptest::prelude::*;
    use serde_json::json;

    /// A plan that could be written of a phrase under `settings`, and that route.
    fn plan_of(route: &Route, adjust: impl FnOnce(&mut Settings)) -> Value {
        let phrase = Phrase::from_text("D4 F4 . A4 C5 E5", 0.25).unwrap();
        let mut settings = Settings::default();
        adjust(&mut settings);
        let mut process = Process::new(phrase, settings, 4.0);
        process.set_route(route);
        let unrolled = Unrolled::new(process, 96.0, 3.0);
        serde_json::from_str(&json(&unrolled.piece("Night ferry"))).unwrap()
    }

    fn read(plan: &Value) -> Result<Route, ReadError> {
        read_route(plan.to_string().as_bytes())
    }

    fn refused(plan: &Value) -> String {
        read(plan).unwrap_err().to_string()
    }

    /// Two stages written by hand, in an editor of text.
    fn by_hand() -> Value {
        json!({"schema": SCHEMA, "route": {
            "written": true,
            "stages": [
                {"motion": "jump", "over_cycles": 4, "dwell_cycles": 8, "ahead_steps": [],
                 "grown_notes": null, "mode": null},
                {"motion": "drift", "over_cycles": 6.0, "dwell_cycles": null,
                 "ahead_steps": [5, -2.5], "grown_notes": 3,
                 "mode": {"tonic": 9, "name": "Aeolian", "over_cycles": 2}},
            ],
            "afterwards": {"then": "repeat", "from_stage": 2, "gained_steps": [6]},
        }})
    }

    #[test]
    fn a_route_may_be_written_in_an_editor_of_text() {
        let route = read(&by_hand()).unwrap();
        let [first, second] = route.stages() else {
            panic!("two stages");
        };
        assert_eq!(first.dwell, Dwell::Cycles(8));
        assert_eq!(first.ahead, [0.0; MAX_COPIES]);
        assert_eq!((second.way.over, second.dwell), (6, Dwell::UntilCued));
        assert_eq!(second.ahead[..3], [5.0, -2.5, 0.0]);
        let turn = Turn {
            tonic: 9,
            mode: ModeName::Aeolian,
            over: 2,
        };
        assert_eq!((second.grown, second.turn), (Some(3), Some(turn)));
        let mut gained = [0.0; MAX_COPIES];
        gained[0] = 6.0;
        assert_eq!(route.afterwards(), &Afterwards::Repeat { from: 1, gained });
    }

    /// Such as an older program, a slip of the hand and a broken upload leave.
    #[test]
    fn what_is_broken_is_told_with_its_stage_and_what_to_do() {
        let damaged = |path: &str, value: Value| {
            let mut plan = by_hand();
            *plan.pointer_mut(path).unwrap() = value;
            refused(&plan)
        };
        assert_eq!(
            damaged("/route/stages/1/dwell_cycles", json!("eight")),
            "Stage 2: dwell_cycles is \"eight\", not a whole number from 1 to 64, or null until a cue: change it there"
        );
        assert_eq!(
            damaged("/route/stages/0/dwell_cycles", json!(65)),
            "Stage 1: a dwell takes 1 to 64 cycles, not 65."
        );
        assert_eq!(
            damaged("/route/stages/0/over_cycles", json!(2.5)),
            "Stage 1: over_cycles is 2.5, not a whole number from 1 to 64: change it there"
        );
        assert_eq!(
            damaged("/route/stages/1/mode/name", json!("a little blue")),
            "Stage 2, mode: name is \"a little blue\", not the name of a mode, such as dorian: change it there"
        );
        assert_eq!(
            damaged("/route/stages/0/ahead_steps", json!(vec![0; 9])),
            "Stage 1: ahead_steps is a list of 9, not a list of numbers, one for each of up to 8 copies: change it there"
        );
        assert_eq!(
            damaged("/route/stages/1", json!("unison")),
            "Stage 2: motion is not there, not drift, jump or build-up: change it there"
        );
        assert_eq!(
            damaged("/route/afterwards/from_stage", json!(3)),
            "The route repeats from stage 3, which it does not have."
        );
        assert_eq!(
            damaged("/route/afterwards/from_stage", json!(0)),
            "Afterwards: from_stage is 0, not the number of a stage, from 1 on: change it there"
        );
        assert_eq!(
            damaged("/route/stages", json!([])),
            "The route: stages is a list of 0, not a list of stages, or written is false: change it there"
        );
        assert_eq!(
            damaged("/route/stages", json!(vec![0; 513])),
            "A route has at most 512 stages, and this one has 513. Leave some out."
        );
        assert_eq!(
            damaged("/schema", json!(2)),
            "this plan is of version 2, and its route can be read from versions 3 to 4: write the plan anew"
        );
        let mut before = by_hand();
        before["schema"] = json!(3);
        assert_eq!(read(&before), read(&by_hand()));
        assert_eq!(refused(&json!([1, 2])), ReadError::NoPlan.to_string());
        assert_eq!(
            refused(&json!({"schema": 3})),
            ReadError::NoPlan.to_string()
        );
        assert_eq!(
            read_route(b"{\n  \"schema\": 3,\n")
                .unwrap_err()
                .to_string(),
            "this is no JSON from line 3, place 0 on: mend it there, or write the plan anew"
        );
        assert!(matches!(
            read_route(&vec![b' '; LARGEST + 1]),
            Err(ReadError::TooLarge(_))
        ));
    }

    /// It is listed, to be looked at and to be made one's own.
    #[test]
    fn a_generated_form_is_told_and_read_back_is_generated() {
        let mut plan = plan_of(&Route::generated(), |settings| {
            settings.motion.advance = Advance::OnCue;
        });
        assert_eq!(read(&plan), Ok(Route::generated()));
        plan["route"]["written"] = json!(true);
        let route = read(&plan).unwrap();
        // Six alignments and unison again, each until a cue.
        let ahead: Vec<f64> = route.stages().iter().map(|stage| stage.ahead[0]).collect();
        assert_eq!(ahead, [0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0]);
        let waits = |stage: &WrittenStage| stage.dwell == Dwell::UntilCued;
        assert!(route.stages().iter().all(waits));
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(48))]

        #[test]
        fn read_back_it_is_the_same_route(route in any_route(), is_cued in any::<bool>()) {
            let plan = plan_of(&route, |settings| {
                settings.motion.advance = if is_cued { Advance::OnCue } else { Advance::Counted };
            });
            prop_assert_eq!(read(&plan), Ok(route));
        }

        #[test]
        fn whatever_the_bytes_are_nothing_breaks(
            bytes in proptest::collection::vec(any::<u8>(), 0..200),
            cut in any::<prop::sample::Index>(),
            sign in any::<u8>(),
        ) {
            let _ = read_route(&bytes);
            let mut plan = by_hand().to_string().into_bytes();
            let place = cut.index(plan.len());
            prop_assert!(read_route(&plan[..place]).is_err());
            plan[place] = sign;
            // Another sign may mean something, or be refused.
            let _ = read_route(&plan);
        }
    }
}
