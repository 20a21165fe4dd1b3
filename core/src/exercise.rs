//! What there is to practise in a form: all of it, a stage, a seam between two, a drift.
//!
//! The seam between two patterns is as hard as the patterns (Duffy & Pearce, PLoS ONE 13(10)
//! e0205847, 2018), so it is offered by itself. A drift begins where it is still locked and ends
//! where it is locked again, since arriving is part of it.

use crate::follower::Goal;
use crate::form::{CopyStage, Doing, Form, Stage, StageKind};
use crate::part::Part;
use crate::practice::{Exercise, Round};
use crate::time::{Beats, HAIR, Span};
use crate::words::{kind_word, steps_ahead};

/// Cycles before a seam and after it. (Own choice: the first to listen, the second to know.)
const AROUND_SEAM: f64 = 2.0;

/// Cycles before a drift, in which it is heard from where it goes.
const BEFORE_DRIFT: f64 = 1.0;

/// Cycles after a drift, in which it is to lock.
const AFTER_DRIFT: f64 = 3.0;

/// All that `part` can practise in `form`, in order: the whole, then stage by stage the stage, its
/// drift and the seam to the next.
pub fn exercises(form: &Form, part: Part) -> impl Iterator<Item = Exercise> + '_ {
    let of_stage = move |stage: usize| {
        [
            Exercise::Stage(stage),
            Exercise::Drift(stage),
            Exercise::Seam(stage),
        ]
    };
    let all = (0..form.stages.len()).flat_map(of_stage);
    let there_is = move |exercise: &Exercise| round_of(form, 0.0, part, *exercise).is_some();
    std::iter::once(Exercise::Whole).chain(all).filter(there_is)
}

/// The stretch of that exercise, in a form of which cycle 0 begins at song position `origin`, and
/// what `part` has to do in it. None if there is no such exercise.
pub fn round_of(form: &Form, origin: Beats, part: Part, exercise: Exercise) -> Option<Round> {
    let stage = |index: usize| form.stages.get(index);
    let first = stage(0)?.span.start;
    let (span, goal) = match exercise {
        Exercise::Whole => (Span::new(first, form.end()), Goal::Stay),
        Exercise::Stage(index) => (stage(index)?.span, Goal::Stay),
        Exercise::Seam(index) => seam(stage(index)?, stage(index + 1)?, part),
        Exercise::Drift(index) => {
            let before = index.checked_sub(1).and_then(stage);
            drift(before, stage(index)?, stage(index + 1), part)?
        }
    };
    let round = Round { span, goal };
    (span.length() > HAIR).then(|| round.in_song(-origin))
}

/// What an exercise of `part` is called: "stage 3, drift", "the seam of stages 2 and 3", "the drift of
/// stage 2 to 1 step ahead".
pub fn exercise_words(form: &Form, part: Part, exercise: Exercise) -> String {
    let kind = |index: usize| {
        let stage = form.stages.get(index);
        stage.map_or("gone", |stage| kind_word(stage.kind))
    };
    match exercise {
        Exercise::Whole => "the whole".to_owned(),
        Exercise::Stage(index) => format!("stage {}, {}", index + 1, kind(index)),
        Exercise::Seam(index) => format!("the seam of stages {} and {}", index + 1, index + 2),
        Exercise::Drift(index) => {
            let copy = form
                .stages
                .get(index)
                .and_then(|stage| of_part(stage, part));
            let to = copy.filter(|copy| copy.doing == Doing::Drifting);
            let to = to.map(|copy| format!(" to {}", steps_ahead(copy.to)));
            format!("the drift of stage {}{}", index + 1, to.unwrap_or_default())
        }
    }
}

/// What a part does in a stage. None of the steady voice and of the line, which have no offset.
fn of_part(stage: &Stage, part: Part) -> Option<&CopyStage> {
    stage.copies.get(part.as_copy()?.index())
}

fn seam(before: &Stage, after: &Stage, part: Part) -> (Span, Goal) {
    let at = before.span.end;
    let span = Span::new(
        (at - AROUND_SEAM * before.lap).max(before.span.start),
        (at + AROUND_SEAM * after.lap).min(after.span.end),
    );
    let leaps = of_part(before, part).zip(of_part(after, part));
    let leaps = leaps.filter(|(before, after)| {
        let locked = |copy: &CopyStage| copy.doing == Doing::Locked;
        locked(before) && locked(after) && (after.from - before.to).abs() > HAIR
    });
    let goal = leaps.map_or(Goal::Stay, |(from, to)| Goal::Move {
        during: Span::new(at, at),
        from: from.to,
        to: to.from,
        cycle: after.lap,
    });
    (span, goal)
}

fn drift(
    before: Option<&Stage>,
    stage: &Stage,
    after: Option<&Stage>,
    part: Part,
) -> Option<(Span, Goal)> {
    let copy = of_part(stage, part).filter(|copy| copy.doing == Doing::Drifting)?;
    let earliest = before.map_or(stage.span.start, |before| before.span.start);
    // What is held at the end is held for ever.
    let latest = after.map_or(Beats::INFINITY, |after| after.span.end);
    let is_seen_off = after.is_none_or(|after| after.kind != StageKind::Drift);
    let cycles_after = if is_seen_off { AFTER_DRIFT } else { 0.0 };
    let span = Span::new(
        (stage.span.start - BEFORE_DRIFT * stage.lap).max(earliest),
        (stage.span.end + cycles_after * stage.lap).min(latest),
    );
    let goal = Goal::Move {
        during: stage.span,
        from: copy.from,
        to: copy.to,
        cycle: stage.lap,
    };
    Some((span, goal))
}
