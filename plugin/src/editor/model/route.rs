//! The route on the desk: what a gesture makes of it and is called, and which stage of the list a
//! stage of the plan belongs to.

pub mod cells;

use crate::editor::model::history::Name;
use crate::editor::seen::Seen;
use crate::editor::wish::RouteWish;
use cells::{dwell_words, followed_by, mode_words, notes_words, way_words};
use procession_core::motion::StagePart;
use procession_core::part::{CopyNumber, Part};
use procession_core::process::Process;
use procession_core::route::{Afterwards, Edit, MAX_STAGES, Route};
use procession_core::settings::Shifts;
use procession_core::time::{Beats, HAIR, Since, to_ticks};
use procession_core::words::{number_of, steps_ahead};

/// What a wish has made of the route.
#[derive(Clone, Debug, PartialEq)]
pub struct After {
    /// The route.
    pub route: Route,
    /// What the step is called.
    pub name: Name,
    /// What there is to say about it.
    pub said: Option<String>,
}

/// What `wish` makes of the route `before`; if none is written, of what the settings make.
///
/// # Errors
/// It cannot be: why, and what can be done instead.
pub fn after(wish: &RouteWish, before: &Route, seen: &Seen) -> Result<After, String> {
    if seen.phrase().is_empty() {
        return Err(
            "There is no form yet. First play a phrase and switch Hold on, or enter one under \
             Phrase."
                .to_owned(),
        );
    }
    match wish {
        RouteWish::AsGenerated if !before.is_written() => {
            Err("The settings make the form already.".to_owned())
        }
        RouteWish::AsGenerated => Ok(After {
            route: Route::generated(),
            name: Name::new("as generated", None),
            said: Some(
                "The settings make the form again. Undo brings back what was written.".to_owned(),
            ),
        }),
        RouteWish::WriteOut if before.is_written() => {
            Err("The form is written out already.".to_owned())
        }
        RouteWish::WriteOut => {
            let route = listed(seen);
            Ok(After {
                name: Name::new(
                    "writing the form out",
                    Some(number_of(route.stages().len(), "stage")),
                ),
                said: Some(written_out(&route, seen)),
                route,
            })
        }
        RouteWish::Take(route, called) => Ok(After {
            route: Route::clone(route),
            name: Name::new(called.clone(), None),
            said: (!before.is_written() && route.is_written()).then(|| written_out(route, seen)),
        }),
        RouteWish::Edit(edit) => edited(edit, before, seen),
    }
}

fn edited(edit: &Edit, before: &Route, seen: &Seen) -> Result<After, String> {
    let written = if before.is_written() {
        before
    } else {
        &listed(seen)
    };
    let route = written.edited(edit).map_err(|error| error.to_string())?;
    let said = (!before.is_written()).then(|| written_out(written, seen));
    let name = name_of(edit, seen);
    Ok(After { route, name, said })
}

/// The route as a list, written or not.
pub fn listed(seen: &Seen) -> Route {
    seen.process.voices().as_route()
}

/// Said once, as a generated form becomes a written one.
fn written_out(route: &Route, seen: &Seen) -> String {
    let stages = number_of(route.stages().len(), "stage");
    let cut = match seen.settings().motion.shifts {
        Shifts::Count(_) | Shifts::Auto if route.stages().len() == MAX_STAGES => {
            ", which is as many as can be"
        }
        _ => "",
    };
    format!(
        "The form is now written: {stages}{cut}. Motion, Shift by, Copies move, Shifts, Dwell and \
         Drift over say nothing to it until \"As generated\"."
    )
}

/// What a gesture is called.
fn name_of(edit: &Edit, seen: &Seen) -> Name {
    match edit {
        Edit::Dwell { stage, dwell } => Name::new(
            format!("dwell of stage {}", stage + 1),
            Some(dwell_words(*dwell)),
        ),
        Edit::Way { stage, way } => {
            Name::new(format!("way to stage {}", stage + 1), Some(way_words(*way)))
        }
        Edit::Ahead { stage, copy, steps } => Name::new(
            format!("offset of copy {} in stage {}", copy.number(), stage + 1),
            Some(steps_ahead(*steps)),
        ),
        Edit::Grown { stage, notes } => Name::new(
            format!("notes in stage {}", stage + 1),
            Some(notes_words(*notes)),
        ),
        Edit::Turn { stage, turn } => Name::new(
            format!("mode from stage {}", stage + 1),
            Some(mode_words(*turn, seen.settings().fold.custom)),
        ),
        Edit::LeaveOut { stage } => Name::new(format!("leaving out stage {}", stage + 1), None),
        Edit::Repeat { stage, times } => Name::new(
            format!("repeating stage {}", stage + 1),
            Some(number_of(*times, "time")),
        ),
        Edit::Move { from, to } => Name::new(
            format!("moving stage {}", from + 1),
            Some(format!("to place {}", to + 1)),
        ),
        Edit::PutIn { at, .. } => Name::new(format!("putting in stage {}", at + 1), None),
        Edit::Afterwards(afterwards) => {
            Name::new("what follows the last stage", Some(followed_by(afterwards)))
        }
    }
}

/// Going round again from stage `from`, counted from 0.
pub fn round_from(seen: &Seen, from: usize) -> Afterwards {
    let step = to_ticks(seen.settings().step()).max(1);
    let rotation = seen.phrase().smallest_rotation() as f64 / step as f64;
    listed(seen).round_from(from, rotation)
}

/// What of a stage of the list a stage of the plan is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// The stage of the list, counted from 0.
    pub index: usize,
    /// What of it.
    pub share: Share,
    /// Song position at which that begins.
    pub begins: Beats,
    /// Song position at which that ends; for ever, if nothing ends it.
    pub ends: Beats,
}

/// Of a stage of the list.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Share {
    /// The way there.
    Way,
    /// What is dwelt in.
    Dwell,
}

/// Which stage of the list each stage of the plan belongs to; none while voices enter and the
/// phrase grows.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Places(Vec<Option<Place>>);

impl Places {
    /// Of all that is listed.
    pub fn of(seen: &Seen) -> Self {
        let route = listed(seen);
        let stages = seen.form.stages.iter();
        let middle = |span: &procession_core::time::Span| span.start + span.length() / 2.0;
        Self(
            stages
                .map(|stage| {
                    let middle = middle(&stage.span);
                    let place = place_at(&seen.performance.at(middle), &route, middle)?;
                    // A dwell that waited is as long as it waited.
                    let ends = Some(place.ends).filter(|ends| ends.is_finite());
                    let ends = ends.unwrap_or(stage.span.end);
                    Some(Place { ends, ..place })
                })
                .collect(),
        )
    }

    /// Of a stage of the plan.
    pub fn get(&self, stage: usize) -> Option<Place> {
        self.0.get(stage).copied().flatten()
    }

    /// The first stage of the plan in which that stage of the list is dwelt in.
    pub fn on_plan(&self, index: usize) -> Option<usize> {
        let is = |share: Share| {
            self.0.iter().position(move |place| {
                place.is_some_and(|place| place.index == index && place.share == share)
            })
        };
        is(Share::Dwell).or_else(|| is(Share::Way))
    }
}

fn place_at(process: &Process, route: &Route, at: Beats) -> Option<Place> {
    let voices = process.voices();
    if voices.count() < 2 {
        return None;
    }
    let moves = voices.moves_from(Part::Copy(CopyNumber::FIRST))?;
    if at < moves - HAIR {
        return None;
    }
    let course = voices.course(CopyNumber::FIRST);
    let timetable = course.timetable();
    let station = timetable.station_at(Since::from_song(at, moves));
    let (stage, share) = match station.part {
        StagePart::Lean | StagePart::Settle => (station.stage + 1, Share::Way),
        StagePart::Build => (station.stage, Share::Way),
        StagePart::Dwell => (station.stage, Share::Dwell),
    };
    let part = |part| procession_core::motion::Station {
        stage: station.stage,
        part,
    };
    let (first, last) = match station.part {
        StagePart::Lean | StagePart::Settle => (part(StagePart::Lean), part(StagePart::Settle)),
        StagePart::Build | StagePart::Dwell => (station, station),
    };
    Some(Place {
        index: on_the_list(route, stage),
        share,
        begins: timetable.begin_of(first).to_song(moves),
        ends: timetable.end_of(last).to_song(moves),
    })
}

/// Where on the list a stage stands, rounds counted on.
fn on_the_list(route: &Route, stage: u64) -> usize {
    let count = route.stages().len().max(1);
    let stage = usize::try_from(stage).unwrap_or(usize::MAX);
    match route.afterwards() {
        Afterwards::Repeat { from, .. } if stage >= count => {
            from + (stage - from) % (count - from).max(1)
        }
        _ => stage.min(count - 1),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::feed::Snapshot;
    use procession_core::engine::Anchor;
    use procession_core::phrase::Phrase;
    use procession_core::route::Dwell;
    use procession_core::settings::{Growth, Settings};

    /// Eight steps of a sixteenth: dwells of 16 beats, drifts of 8.
    fn seen(settings: Settings) -> Seen {
        let phrase = Phrase::from_text("D4 . F4 G4 . A4 . .", 0.25).expect("a phrase");
        Seen::new(Snapshot::default(), phrase, settings, Anchor::Song(0.0))
    }

    #[test]
    fn every_second_stage_of_the_plan_is_the_way_to_the_next_of_the_list() {
        let seen = seen(Settings::default());
        let places = Places::of(&seen);
        for stage in 0..seen.form.stages.len() {
            let place = places
                .get(stage)
                .expect("all copies are there from the start");
            assert_eq!(place.index, stage.div_ceil(2));
            let way = stage % 2 == 1;
            assert_eq!(place.share == Share::Way, way, "{stage}");
            let begins = 24.0 * (stage / 2) as f64 + if way { 16.0 } else { 0.0 };
            assert!((place.begins - begins).abs() < 1e-6, "{stage}: {place:?}");
        }
        assert_eq!(places.on_plan(0), Some(0));
        assert_eq!(places.on_plan(3), Some(6));
        assert_eq!(places.on_plan(99), None);
    }

    #[test]
    fn while_voices_enter_no_stage_of_the_list_is_on() {
        let mut settings = Settings::default();
        settings.motion.copies = 3;
        settings.motion.entry = 4;
        settings.growth.growth = Growth::Fill;
        let seen = seen(settings);
        let places = Places::of(&seen);
        let first = (0..).find(|stage| places.get(*stage).is_some());
        let first = first.expect("they move at last");
        assert!(first > 0);
        assert_eq!(places.get(first).map(|place| place.index), Some(0));
    }

    #[test]
    fn the_first_gesture_writes_a_generated_form_out_and_says_so() {
        let seen = seen(Settings::default());
        let dwell = Edit::Dwell {
            stage: 2,
            dwell: Dwell::Cycles(6),
        };
        let wish = RouteWish::Edit(dwell);
        let first = after(&wish, &Route::generated(), &seen).expect("it can be");
        assert_eq!(first.name.in_full(), "Dwell of stage 3: 6 cycles");
        assert_eq!(first.route.stages().len(), 9);
        assert_eq!(first.route.stages()[2].dwell, Dwell::Cycles(6));
        assert_eq!(first.route.stages()[3].dwell, Dwell::Cycles(8));
        let said = first.said.expect("it is said");
        assert!(
            said.starts_with("The form is now written: 9 stages."),
            "{said}"
        );
        // From then on nothing is said of it.
        let again = after(&wish, &first.route, &seen).expect("it can be");
        assert_eq!((again.said, again.route), (None, first.route.clone()));
        let back = after(&RouteWish::AsGenerated, &first.route, &seen).expect("it can be");
        assert_eq!(back.route, Route::generated());
    }

    #[test]
    fn what_cannot_be_is_said() {
        let seen = seen(Settings::default());
        let wish = RouteWish::Edit(Edit::LeaveOut { stage: 9 });
        let refusal = after(&wish, &Route::generated(), &seen).expect_err("no such stage");
        assert_eq!(refusal, "There is no stage 10: the route has 9.");
        assert!(after(&RouteWish::AsGenerated, &Route::generated(), &seen).is_err());
    }
}
