//! What the practice view draws and says: parts and exercises by name, where a pass stands, its
//! curve, the own part as it comes, and a small picture of the last passes.

use crate::editor::model::plan::capitalised;
use crate::editor::rehearsing::Going;
use crate::editor::seen::{Edition, Seen};
use crate::practice::{Desk, Passed};
use procession_core::exercise::{exercise_words, exercises, round_of};
use procession_core::follower::{Goal, Outcome};
use procession_core::part::Part;
use procession_core::practice::{Exercise, Judged, Stage};
use procession_core::resulting::ResultingNotes;
use procession_core::route::Dwell;
use procession_core::settings::Advance;
use procession_core::time::{Beats, Span};
use procession_core::words::{number_of, pass_words, steps_ahead, to_hundredths};

/// Beats before now that the own part is shown, and after.
pub const SHOWN: (Beats, Beats) = (1.0, 7.0);

/// The most notes of it that are drawn.
const MOST_DRAWN: usize = 256;

/// So many of the last passes stand in the picture.
pub const PICTURED: usize = 40;

/// After so many seconds without a pause one is suggested.
const LONG: f64 = 20.0 * 60.0;

/// So many seconds with nothing played are a pause.
const PAUSE: f64 = 60.0;

/// The parts that can be mine, in order, and which of them is.
pub fn parts(seen: &Seen) -> (Vec<Part>, usize) {
    let parts: Vec<Part> = seen.process.parts().collect();
    let mine = parts.iter().position(|part| *part == seen.practice.part);
    // One that does not play here is named all the same: it may be again.
    match mine {
        Some(mine) => (parts, mine),
        None => {
            let last = parts.len();
            (
                parts.into_iter().chain([seen.practice.part]).collect(),
                last,
            )
        }
    }
}

/// What can be practised, by name; worked out anew only where something has changed.
#[derive(Debug, Default)]
pub struct Choice {
    of: Option<(Edition, Part, bool)>,
    exercises: Vec<Exercise>,
    names: Vec<String>,
}

impl Choice {
    /// As of this moment.
    pub fn follow(&mut self, seen: &Seen) {
        let of = Some((seen.edition, seen.practice.part, seen.snapshot.playing));
        if self.of != of {
            self.of = of;
            self.exercises = exercises(seen.form_to_practise(), seen.practice.part).collect();
            let part = seen.practice.part;
            let name = |exercise: &Exercise| {
                capitalised(exercise_words(seen.form_to_practise(), part, *exercise))
            };
            self.names = self.exercises.iter().map(name).collect();
        }
    }

    /// Their names, in order.
    pub fn names(&self) -> &[String] {
        &self.names
    }

    /// The exercise at that place.
    pub fn at(&self, place: usize) -> Option<Exercise> {
        self.exercises.get(place).copied()
    }

    /// Where that exercise is; the whole, where it is not.
    pub fn place(&self, exercise: Exercise) -> usize {
        let place = self.exercises.iter().position(|one| *one == exercise);
        place.unwrap_or(0)
    }
}

/// What goes on in practice, in a sentence; nothing if nothing does.
pub fn doing(seen: &Seen) -> Option<String> {
    let snapshot = &seen.snapshot;
    match seen.rehearsing {
        Going::Nothing => return None,
        Going::Taps => {
            return Some("Tap one key with each click to measure the latency.".to_owned());
        }
        Going::Practice => (),
    }
    let Desk {
        part,
        exercise,
        pace,
        ..
    } = *seen.practice;
    let what = exercise_words(seen.form_to_practise(), part, exercise);
    let about = format!("Practising {}, {what}", named(part));
    Some(match snapshot.rehearsal.stage {
        Stage::Rests => "The song has stopped, and practice with it. Press Practise to go on \
                         without the song."
            .to_owned(),
        _ if snapshot.playing && !snapshot.running => {
            format!("{about}: Hold is off, so nothing plays with you. Press Hold.")
        }
        Stage::Waits if snapshot.playing => {
            format!("{about}: it begins when the song comes to it. The song's tempo rules.")
        }
        _ if snapshot.playing => format!(
            "{about}, in the song: its tempo rules, {} beats a minute.",
            to_hundredths(snapshot.tempo)
        ),
        _ if is_counted_in(seen) => format!("{about}: counted in."),
        _ => format!(
            "{about}, at {:.0} % of {}.{}",
            100.0 * pace,
            to_hundredths(snapshot.tempo),
            cues(seen)
        ),
    })
}

/// What becomes of cues, with the song at rest: nobody gives them there.
fn cues(seen: &Seen) -> String {
    let (route, settings) = (seen.process.route(), seen.settings());
    let waits = match route.is_written() {
        true => route
            .stages()
            .iter()
            .any(|stage| stage.dwell == Dwell::UntilCued),
        false => settings.motion.advance == Advance::OnCue,
    };
    if !waits {
        return String::new();
    }
    let cycles = number_of(settings.motion.dwell as usize, "cycle");
    format!(" What waits for a cue lasts {cycles} here.")
}

/// A part in the middle of a sentence.
pub fn named(part: Part) -> String {
    match part {
        Part::Steady => "the steady voice".to_owned(),
        Part::Copy(copy) => format!("copy {}", copy.number()),
        Part::ResultingLine => "the resulting line".to_owned(),
    }
}

fn is_counted_in(seen: &Seen) -> bool {
    let Desk { part, exercise, .. } = *seen.practice;
    let origin = seen.process.origin();
    let round = round_of(seen.form_to_practise(), origin, part, exercise);
    round.is_some_and(|round| seen.snapshot.position < origin + round.span.start)
}

/// What is said of the last pass, the most important first; at most three sentences.
pub fn words(judged: &Judged, cycle: Beats) -> Vec<String> {
    let (from, cycle) = match judged.goal {
        Goal::Move { from, cycle, .. } => (from, cycle),
        Goal::Stay => (0.0, cycle),
    };
    pass_words(&judged.pass, from, cycle)
}

/// How far the player is over the plan, as a pass goes on.
#[derive(Clone, Debug, Default)]
pub struct Curve {
    pass: u32,
    points: Vec<(Beats, f64)>,
}

impl Curve {
    /// As of this moment. A new pass begins with nothing.
    pub fn follow(&mut self, seen: &Seen) {
        let told = &seen.snapshot.rehearsal;
        if told.passes != self.pass || told.stage != Stage::Plays {
            self.points.clear();
        }
        self.pass = told.passes;
        let Some(standing) = told.standing else {
            return;
        };
        if self.points.last().is_some_and(|last| standing.at < last.0) {
            self.points.clear();
        }
        if self.points.last().is_none_or(|last| standing.at > last.0) {
            let steps = standing.over_plan / seen.settings().step();
            self.points.push((standing.at, steps));
        }
    }

    /// Song positions, and steps over the plan there.
    pub fn points(&self) -> &[(Beats, f64)] {
        &self.points
    }
}

/// A note of the own part: beats from now to its beginning and its end, and its key.
pub type Coming = (Beats, Beats, u8);

/// The own part around now, as it comes. At rest, its beginning.
pub fn coming(seen: &Seen) -> Vec<Coming> {
    let now = if seen.snapshot.running {
        seen.snapshot.position
    } else {
        let Desk { part, exercise, .. } = *seen.practice;
        let origin = seen.process.origin();
        let round = round_of(seen.form_to_practise(), origin, part, exercise);
        origin + round.map_or(0.0, |round| round.span.start)
    };
    let span = Span::new(now - SHOWN.0, now + SHOWN.1);
    let part = seen.practice.part;
    let told = |note: procession_core::process::VoiceNote| {
        (note.on - now, note.off - now, note.key.number())
    };
    match part {
        Part::ResultingLine => ResultingNotes::new(&seen.process, span)
            .take(MOST_DRAWN)
            .map(told)
            .collect(),
        Part::Steady | Part::Copy(_) if seen.process.plays(part) => seen
            .process
            .notes(part, span)
            .take(MOST_DRAWN)
            .map(told)
            .collect(),
        _ => Vec::new(),
    }
}

/// A pass in the small picture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Column {
    /// Milliseconds late, and the standard deviation.
    pub late: Option<(f64, f64)>,
    /// How even alone, where nothing can be said of late.
    pub spread: Option<f64>,
    /// Whether it got where it was to get; nothing, if it was to stay.
    pub arrived: Option<bool>,
}

/// The last passes, the oldest first.
pub fn columns(passes: &[Passed]) -> Vec<Column> {
    let first = passes.len().saturating_sub(PICTURED);
    let column = |passed: &Passed| Column {
        late: passed.pass.late_ms.zip(passed.pass.spread_ms),
        spread: passed.pass.spread_ms,
        arrived: passed
            .pass
            .outcome
            .map(|outcome| matches!(outcome, Outcome::Arrived { .. })),
    };
    passes[first..].iter().map(column).collect()
}

/// The same in a sentence, for whoever does not see the picture.
pub fn progress_words(passes: &[Passed]) -> String {
    let count = passes.len();
    let moves: Vec<bool> = passes
        .iter()
        .filter_map(|passed| passed.pass.outcome)
        .map(|outcome| matches!(outcome, Outcome::Arrived { .. }))
        .collect();
    let even: Vec<f64> = passes
        .iter()
        .filter_map(|passed| passed.pass.spread_ms)
        .collect();
    let mut said = match count {
        0 => return "No passes yet.".to_owned(),
        1 => "1 pass".to_owned(),
        _ => format!("{count} passes"),
    };
    if let (Some(first), Some(last)) = (even.first(), even.last())
        && even.len() > 1
    {
        said += &format!(", even to {first:.0} ms in the first, to {last:.0} ms in the last");
    }
    if !moves.is_empty() {
        let arrived = moves.iter().filter(|arrived| **arrived).count();
        said += &format!(", arrived in {arrived} of {}", moves.len());
    }
    said + "."
}

/// Where the player is, in words: to a quarter of a step, so that it stands still while a hand is
/// uneven.
pub fn standing_words(seen: &Seen) -> Option<String> {
    let standing = seen.snapshot.rehearsal.standing?;
    let steps = standing.over_steady / seen.settings().step();
    Some(format!("You: {}", steps_ahead((4.0 * steps).round() / 4.0)))
}

/// Notices how long somebody has practised without a pause, by whatever clock it is told.
#[derive(Clone, Copy, Debug, Default)]
pub struct Stamina {
    struck: Option<u32>,
    since: Option<f64>,
    last: f64,
}

impl Stamina {
    /// At `now`, in seconds, so many keys had been struck. Whether a pause would do good.
    pub fn follow(&mut self, now: f64, struck: u32, practises: bool) -> Option<&'static str> {
        let strikes = self
            .struck
            .replace(struck)
            .is_some_and(|before| before != struck);
        // A window that was opened anew counts its time from 0.
        if now < self.last || now - self.last >= PAUSE {
            self.since = None;
        }
        if practises && strikes {
            self.since.get_or_insert(now);
            self.last = now;
        }
        let long = self.since.is_some_and(|since| now - since >= LONG);
        (long && practises).then_some(
            "You have practised for 20 minutes on end. Rest your hands for a while: put them down \
             and shake them out. If anything hurts, stop for today.",
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::editor::model::circle::tests::seen;
    use procession_core::form::Form;
    use procession_core::performed::{Happened, Moment, Recollection, Shape};
    use procession_core::settings::Settings;
    use std::sync::Arc;

    /// A key every half second, with no clock but the one that is told.
    #[test]
    fn after_20_minutes_without_a_pause_one_is_suggested_and_after_one_it_is_not() {
        let mut stamina = Stamina::default();
        let play = |stamina: &mut Stamina, from: u32, to: u32| {
            let halves = (2 * from)..(2 * to);
            let said =
                halves.map(|half| stamina.follow(f64::from(half) / 2.0, half, true).is_some());
            said.collect::<Vec<bool>>()
        };
        let minutes = 60;
        assert!(play(&mut stamina, 0, 20 * minutes).iter().all(|said| !said));
        assert!(
            play(&mut stamina, 20 * minutes + 1, 21 * minutes)
                .iter()
                .all(|said| *said)
        );
        // Two minutes of rest.
        let rested = play(&mut stamina, 23 * minutes, 42 * minutes);
        assert!(rested.iter().all(|said| !said));
        assert!(stamina.follow(f64::from(43 * minutes), 0, false).is_none());
    }

    /// Performed with dwells of four cycles at first; by oneself they are as they are set, eight.
    #[test]
    fn by_oneself_one_practises_what_is_proposed_and_not_what_was_performed() {
        let settings = Settings::default();
        let mut shorter = settings;
        shorter.motion.dwell = 4;
        let mut told = Recollection {
            first: Some(Shape::of(&shorter)),
            ..Recollection::default()
        };
        let what = Happened::Shaped(Shape::of(&settings));
        told.moments.push(Moment { at: 30.0, what });
        let mut seen = seen("D4 F4 . A4 C5 . G4 .", settings, None);
        seen.follow_performed(&Arc::new(told));
        let begins = |form: &Form| form.stages[1].span.start - seen.process.origin();
        assert_eq!(begins(&seen.form), 8.0);
        assert_eq!(begins(seen.form_to_practise()), 16.0);
        seen.snapshot.playing = true;
        assert_eq!(begins(seen.form_to_practise()), 8.0);
    }

    #[test]
    fn passes_are_summed_up_in_a_sentence() {
        let passed = |spread_ms, outcome| Passed {
            part: Part::COPY_1,
            exercise: Exercise::Drift(1),
            tempo: 96.0,
            pass: procession_core::follower::Pass {
                spread_ms: Some(spread_ms),
                outcome,
                ..Default::default()
            },
        };
        assert_eq!(progress_words(&[]), "No passes yet.");
        assert_eq!(progress_words(&[passed(30.0, None)]), "1 pass.");
        let arrived = Outcome::Arrived { locked_after: 3.0 };
        let passes = [
            passed(31.0, Some(Outcome::TooFar)),
            passed(18.0, Some(arrived)),
        ];
        assert_eq!(
            progress_words(&passes),
            "2 passes, even to 31 ms in the first, to 18 ms in the last, arrived in 1 of 2."
        );
        assert_eq!(columns(&passes).len(), 2);
        assert_eq!(columns(&passes)[0].arrived, Some(false));
    }
}
