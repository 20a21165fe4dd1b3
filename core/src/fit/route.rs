//! Fitting a route: counts of its stages moved so that the whole lasts as long as wished, or so
//! that one of its moments comes when it is wished.
//!
//! All is counted in cycles, in whole numbers: the dwells that are not left to a cue, 1 to 64 each,
//! and the drifts, from what a player needs to 64. Counts are stretched or shortened by one common
//! factor and rounded so that they come to the sum exactly, the way seats are shared out by the
//! method of odd numbers (Sainte-Laguë, 1910; Webster, 1832): no cycle could go from one count to
//! another and leave the two truer to what was written. So dwells keep their proportion to drifts,
//! and stages to each other. Where several have the same right to a cycle, they are taken evenly
//! spread over the route.

use crate::part::{CopyNumber, Part};
use crate::process::Process;
use crate::route::{Afterwards, CYCLES, Dwell, Route, RouteError};
use crate::settings::Motion;
use crate::time::{Beats, HAIR, to_ticks};
use std::cmp::Ordering;
use thiserror::Error;

/// A moment of a route: the beginning of a dwell.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Moment {
    /// All copies are in unison with the steady voice again, their offset parameters aside.
    Unison,
    /// Copy 1 is locked at that one of the distinct alignments, counted from 1, unison.
    Alignment(usize),
    /// Every copy has come to that stage, counted from 0.
    Stage(usize),
}

/// A route whose counts fit.
#[derive(Clone, Debug, PartialEq)]
pub struct Fitted {
    /// With the counts moved; all else is as it was.
    pub route: Route,
    /// Beats from the origin to where the whole ends, as [`Totals::chosen`](crate::form::Totals)
    /// has it, or to where the moment comes.
    pub at: Beats,
    /// Why that is not quite what was wished, or not certain.
    pub because: Vec<Because>,
}

/// Why something comes near, and not where it was wished.
#[derive(Clone, Copy, Debug, Error, PartialEq)]
pub enum Because {
    /// It falls within a cycle.
    #[error("A stage begins with a cycle, and a cycle lasts {0} beats.")]
    Cycle(Beats),
    /// It is wished too early.
    #[error(
        "It cannot come earlier: every dwell before it lasts 1 cycle, and every drift as few as a player needs."
    )]
    Least,
    /// It is wished too late.
    #[error("It cannot come later: every dwell and every drift before it lasts 64 cycles.")]
    Most,
    /// Nothing before it can be counted otherwise.
    #[error("No count before it can be moved.")]
    Fixed,
    /// It comes after a cue.
    #[error(
        "Stage {stage} waits for a cue; counted here as {cycles} cycles, it lasts as long as its performers wait."
    )]
    Cue {
        /// Counted from 1.
        stage: usize,
        /// As is proposed to the performer.
        cycles: u32,
    },
}

/// Why nothing can be fitted; the text says what to do.
#[derive(Clone, Debug, Error, PartialEq)]
pub enum Unfit {
    /// No stage begins.
    #[error(
        "No copy enters, so the route is never begun. Let copies play, and growth come to an end."
    )]
    NoCopy,
    /// It is no length of time.
    #[error("Say when in numbers, from the beginning on: 0 or later.")]
    NoTime,
    /// It is not on the way.
    #[error(
        "The copies never come to unison again on this route. Put a stage in that stands in unison."
    )]
    NoUnison,
    /// It is not on the way, or only as the process begins.
    #[error("Copy 1 never comes to alignment {0} on this route. Put a stage in that stands there.")]
    NoAlignment(usize),
    /// There is no such stage, or nothing before it.
    #[error(
        "Stage {0} cannot be moved: it is the first, or not there. Choose a later one, or begin the process elsewhere."
    )]
    NoStage(usize),
    /// What would become of it is no route.
    #[error(transparent)]
    Route(#[from] RouteError),
}

/// The route of `process`, written or as the settings make it, with the whole lasting `wished`
/// beats from the origin, or as nearly so as its counts can. Where it goes round, it is one round
/// that is meant, as the form lists it: the stage to which it comes back keeps its counts.
///
/// # Errors
/// See [`Unfit`].
pub fn fit_whole(process: &Process, wished: Beats) -> Result<Fitted, Unfit> {
    let laid = Laid::of(process)?;
    let mut counts = laid.counts.clone();
    let mut after = 0;
    if let Afterwards::Repeat { from, .. } = laid.route.afterwards() {
        let repeated = [What::Dwell(*from), What::Way(*from)];
        for count in &mut counts {
            if repeated.contains(&count.what) {
                count.fix();
            }
        }
        after = laid.tail;
    }
    laid.fitted(&counts, laid.last_enters, after, wished)
}

/// The same route with `moment` coming `wished` beats after the origin, or as nearly so as the
/// counts before it can; those after it stay. If it comes several times, that one is moved which
/// comes nearest, and of these the one that has to be moved least. As the process begins does not
/// count: nothing comes before that.
///
/// # Errors
/// See [`Unfit`].
pub fn fit_moment(process: &Process, moment: Moment, wished: Beats) -> Result<Fitted, Unfit> {
    let laid = Laid::of(process)?;
    let from = match moment {
        Moment::Alignment(_) => laid.first_enters,
        Moment::Unison | Moment::Stage(_) => laid.last_enters,
    };
    let stages = (1..laid.route.stages().len()).filter(|stage| laid.is_at(process, moment, *stage));
    let tried: Vec<(Fitted, u32)> = stages
        .map(|stage| {
            let before = laid.before(stage);
            let fitted = laid.fitted(before, from, 0, wished)?;
            let moved = laid.moved(&fitted.route);
            Ok((fitted, moved))
        })
        .collect::<Result<_, Unfit>>()?;
    let off = |fitted: &Fitted| to_ticks((fitted.at - wished).abs());
    let best = tried
        .into_iter()
        .min_by_key(|(fitted, moved)| (off(fitted), *moved));
    best.map(|(fitted, _)| fitted).ok_or(match moment {
        Moment::Unison => Unfit::NoUnison,
        Moment::Alignment(number) => Unfit::NoAlignment(number),
        Moment::Stage(stage) => Unfit::NoStage(stage.saturating_add(1)),
    })
}

/// What is counted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum What {
    /// The dwell of a stage.
    Dwell(usize),
    /// The dwell of a stage that waits for a cue.
    Waits(usize),
    /// The drift to a stage.
    Way(usize),
    /// The build-up of a stage.
    Build,
}

/// A count of cycles, and within which bounds it can be moved.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Count {
    what: What,
    set: u32,
    least: u32,
    most: u32,
}

impl Count {
    fn fixed(what: What, set: u32) -> Self {
        Self {
            what,
            set,
            least: set,
            most: set,
        }
    }

    fn fix(&mut self) {
        *self = Self::fixed(self.what, self.set);
    }
}

/// A route laid out in cycles.
struct Laid {
    route: Route,
    cycle: Beats,
    /// All counts in the order in which they are played.
    counts: Vec<Count>,
    /// Beats from the origin to where copy 1, and the last copy, begins to count.
    first_enters: Beats,
    last_enters: Beats,
    /// Cycles that a form which goes round is listed for after its last stage.
    tail: u32,
}

impl Laid {
    fn of(process: &Process) -> Result<Self, Unfit> {
        let route = process.voices().as_route();
        let settings = *process.settings();
        let phrase = process.phrase();
        let playing = |route: &Route| {
            let mut playing = Box::new(Process::new(phrase.clone(), settings, 0.0));
            playing.set_route(&route.counted(settings.motion.dwell));
            playing
        };
        let as_written = playing(&route);
        // What a player needs is what the fastest drift takes.
        let fastest = {
            let mut stages = route.stages().to_vec();
            for stage in &mut stages {
                stage.way.over = 1;
            }
            playing(&Route::new(&stages, *route.afterwards())?)
        };
        let voices = as_written.voices();
        let enters = |copy: CopyNumber| voices.moves_from(Part::Copy(copy));
        let mut entries = voices.copies().map(enters);
        let first_enters = entries.next().flatten().ok_or(Unfit::NoCopy)?;
        let last_enters = entries.flatten().fold(first_enters, f64::max);
        let cycle = phrase.length();
        let cycles = |beats: Beats| (beats / cycle).round() as u32;
        let (schedule, quickest) = (voices.schedule(), fastest.voices().schedule());
        let mut counts = Vec::new();
        for (index, stage) in route.stages().iter().enumerate() {
            let number = index as u64;
            if index > 0 && stage.way.motion == Motion::Drift {
                let least = cycles(quickest.way(number - 1)).max(*CYCLES.start());
                counts.push(Count {
                    what: What::Way(index),
                    set: cycles(schedule.way(number - 1)),
                    least,
                    most: least.max(*CYCLES.end()),
                });
                if least > *CYCLES.end() {
                    counts.last_mut().into_iter().for_each(Count::fix);
                }
            }
            let build = cycles(schedule.build(number));
            if build > 0 {
                counts.push(Count::fixed(What::Build, build));
            }
            counts.push(match stage.dwell {
                Dwell::Cycles(set) => Count {
                    what: What::Dwell(index),
                    set,
                    least: *CYCLES.start(),
                    most: *CYCLES.end(),
                },
                Dwell::UntilCued => {
                    Count::fixed(What::Waits(index), cycles(schedule.dwell(number)))
                }
            });
        }
        let last = route.stages().len() as u64;
        let tail = schedule.way(last - 1) + schedule.build(last) + schedule.dwell(last);
        Ok(Self {
            cycle,
            counts,
            first_enters,
            last_enters,
            tail: cycles(tail),
            route,
        })
    }

    /// The counts up to where stage `stage` begins to be dwelt in.
    fn before(&self, stage: usize) -> &[Count] {
        let dwells = [What::Dwell(stage), What::Waits(stage)];
        let place = self
            .counts
            .iter()
            .position(|count| dwells.contains(&count.what));
        &self.counts[..place.unwrap_or(self.counts.len())]
    }

    /// Whether that moment is where a stage begins to be dwelt in.
    fn is_at(&self, process: &Process, moment: Moment, stage: usize) -> bool {
        let Some(written) = self.route.stages().get(stage) else {
            return false;
        };
        let step = to_ticks(process.settings().step()).max(1) as f64;
        let rotation = process.phrase().smallest_rotation() as f64 / step;
        let stands = |copy: CopyNumber, steps: f64| {
            let turns = (written.ahead_of(copy) - steps) / rotation;
            (turns - turns.round()).abs() * rotation < 1e-6
        };
        match moment {
            Moment::Stage(wanted) => wanted == stage,
            Moment::Alignment(number) => number.checked_sub(1).is_some_and(|steps| {
                (steps as f64) < rotation && stands(CopyNumber::FIRST, steps as f64)
            }),
            Moment::Unison => {
                let lasts = match written.dwell {
                    Dwell::Cycles(cycles) => f64::from(cycles) * self.cycle,
                    Dwell::UntilCued => Beats::INFINITY,
                };
                let is_held = stage + 1 == self.route.stages().len()
                    && *self.route.afterwards() == Afterwards::Hold;
                // The first copy must not have left when the last one comes.
                let meet = is_held || lasts > self.last_enters - self.first_enters + HAIR;
                meet && process.voices().copies().all(|copy| stands(copy, 0.0))
            }
        }
    }

    /// The route with `counts`, which begin at `from`, and `after` cycles more coming to `wished`.
    fn fitted(
        &self,
        counts: &[Count],
        from: Beats,
        after: u32,
        wished: Beats,
    ) -> Result<Fitted, Unfit> {
        if !(wished.is_finite() && wished >= 0.0) {
            return Err(Unfit::NoTime);
        }
        let sum = |of: fn(&Count) -> u32| counts.iter().map(|count| u64::from(of(count))).sum();
        let (least, most): (u64, u64) = (sum(|count| count.least), sum(|count| count.most));
        let exactly = (wished - from) / self.cycle - f64::from(after);
        // `as` saturates.
        let cycles = (exactly.round().max(0.0) as u64).clamp(least, most);
        let shared = share(counts, cycles);
        let mut stages = self.route.stages().to_vec();
        for (count, cycles) in counts.iter().zip(&shared) {
            match count.what {
                What::Dwell(stage) => stages[stage].dwell = Dwell::Cycles(*cycles),
                // Where a player needs more than is written, that it is written stays.
                What::Way(stage) if *cycles != count.set => stages[stage].way.over = *cycles,
                What::Way(_) | What::Waits(_) | What::Build => (),
            }
        }
        let waits = |count: &Count| match count.what {
            What::Waits(stage) => Some(Because::Cue {
                stage: stage + 1,
                cycles: count.set,
            }),
            _ => None,
        };
        let near = if (exactly - cycles as f64).abs() * self.cycle < 2.0 * HAIR {
            None
        } else if least == most {
            Some(Because::Fixed)
        } else if exactly < least as f64 {
            Some(Because::Least)
        } else if exactly > most as f64 {
            Some(Because::Most)
        } else {
            Some(Because::Cycle(self.cycle))
        };
        Ok(Fitted {
            route: Route::new(&stages, *self.route.afterwards())?,
            at: from + (cycles + u64::from(after)) as f64 * self.cycle,
            because: near
                .into_iter()
                .chain(counts.iter().filter_map(waits))
                .collect(),
        })
    }

    /// By how many cycles another route's counts differ.
    fn moved(&self, other: &Route) -> u32 {
        let stages = self.route.stages().iter().zip(other.stages());
        stages
            .map(|(before, after)| {
                let dwell = match (before.dwell, after.dwell) {
                    (Dwell::Cycles(before), Dwell::Cycles(after)) => before.abs_diff(after),
                    _ => 0,
                };
                dwell + before.way.over.abs_diff(after.way.over)
            })
            .sum()
    }
}

/// A cycle more for one of the counts, and how early it has a right to it: at which common factor
/// the count would be rounded up to it, (2k + 1) / (2 set).
#[derive(Clone, Copy)]
struct Claim {
    place: usize,
    half: u64,
    set: u64,
}

impl Claim {
    fn against(&self, other: &Self) -> Ordering {
        (self.half * other.set).cmp(&(other.half * self.set))
    }
}

/// The counts as they are when they come to `cycles` in all, which lies within their bounds.
fn share(counts: &[Count], cycles: u64) -> Vec<u32> {
    let mut shared: Vec<u32> = counts.iter().map(|count| count.least).collect();
    let given: u64 = shared.iter().map(|least| u64::from(*least)).sum();
    let mut claims: Vec<Claim> = Vec::new();
    for (place, count) in counts.iter().enumerate() {
        claims.extend((count.least..count.most).map(|cycle| Claim {
            place,
            half: 2 * u64::from(cycle) + 1,
            set: u64::from(count.set.max(1)),
        }));
    }
    claims.sort_by(|one, other| one.against(other).then(one.place.cmp(&other.place)));
    let rest = usize::try_from(cycles.saturating_sub(given)).unwrap_or(usize::MAX);
    let rest = rest.min(claims.len());
    for equals in claims.chunk_by(|one, other| one.against(other).is_eq()) {
        let taken: u64 = shared.iter().map(|cycles| u64::from(*cycles)).sum::<u64>() - given;
        let left = (rest - taken as usize).min(equals.len());
        for (place, claim) in equals.iter().enumerate() {
            // Evenly spread: as a rhythm of so many strokes in so many places is.
            let strokes = |places: usize| (2 * places * left + equals.len()) / (2 * equals.len());
            shared[claim.place] += u32::from(strokes(place + 1) > strokes(place));
        }
        if left < equals.len() {
            break;
        }
    }
    shared
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::form::{Form, StageKind};
    use crate::motion::{StagePart, Station};
    use crate::part::MAX_COPIES;
    use crate::phrase::Phrase;
    use crate::route::invented::any_route;
    use crate::route::{Way, WrittenStage};
    use crate::settings::{Growth, Settings, Shifts};
    use proptest::prelude::*;

    /// Twelve steps, three beats.
    fn process(adjust: impl FnOnce(&mut Settings)) -> Process {
        let mut settings = Settings::default();
        adjust(&mut settings);
        let phrase = Phrase::from_text("D4 F4 . A4 C5 . G4 A4 . F4 E4 .", 0.25).unwrap();
        Process::new(phrase, settings, 16.0)
    }

    fn with(process: &Process, route: &Route) -> Form {
        let mut process = process.clone();
        process.set_route(route);
        Form::new(&process)
    }

    fn dwells(route: &Route) -> Vec<Dwell> {
        route.stages().iter().map(|stage| stage.dwell).collect()
    }

    /// A cycle is 3 beats. 13 dwells of 8 and 12 drifts of 4 are 152 cycles, 456 beats; twice as
    /// long is each count doubled.
    #[test]
    fn twice_as_long_is_everything_doubled() {
        let fitted = fit_whole(&process(|_| ()), 912.0).unwrap();
        assert_eq!((fitted.at, fitted.because.len()), (912.0, 0));
        assert_eq!(dwells(&fitted.route), [Dwell::Cycles(16); 13]);
        assert!(
            fitted.route.stages()[1..]
                .iter()
                .all(|stage| stage.way.over == 8)
        );
    }

    /// Three cycles more, and thirteen dwells of eight with the same right to them: the 3rd, the
    /// 7th and the 11th have nine. (Drifts of 4 would go up at a factor of 4.5 / 4, dwells at
    /// 8.5 / 8.)
    #[test]
    fn a_few_cycles_more_are_spread_evenly() {
        let fitted = fit_whole(&process(|_| ()), 465.0).unwrap();
        let longer: Vec<usize> = (0..13)
            .filter(|stage| fitted.route.stages()[*stage].dwell == Dwell::Cycles(9))
            .collect();
        assert_eq!(longer, [2, 6, 10]);
    }

    /// At 4/4, bar 40 begins 156 beats after the origin: 52 cycles. Alignment 5, four steps ahead,
    /// comes after four dwells of 8 and four drifts of 4, 48 cycles.
    #[test]
    fn alignment_5_at_bar_40() {
        let process = process(|_| ());
        let fitted = fit_moment(&process, Moment::Alignment(5), 156.0).unwrap();
        assert_eq!((fitted.at, fitted.because.clone()), (156.0, vec![]));
        // Each of the four dwells a cycle more, at 8.5 / 8; the rest as it was.
        let mut expected = [Dwell::Cycles(8); 13];
        expected[..4].fill(Dwell::Cycles(9));
        assert_eq!(dwells(&fitted.route), expected);
        let form = with(&process, &fitted.route);
        let stage = form.stage_at(16.0 + 156.0).unwrap();
        assert_eq!(form.stages[stage].span.start, 172.0);
        assert_eq!(form.stages[stage].copies[0].from, 4.0);
    }

    /// 1:17 at 120 is 154 beats, and a cycle 3: the nearest is 153, 51 cycles. Unison comes after
    /// twelve dwells and twelve drifts, and its counts go down from 144 in the same measure.
    #[test]
    fn unison_at_1_17() {
        let process = process(|_| ());
        let fitted = fit_moment(&process, Moment::Unison, 154.0).unwrap();
        assert_eq!(
            (fitted.at, fitted.because),
            (153.0, vec![Because::Cycle(3.0)])
        );
        let form = with(&process, &fitted.route);
        let unison = form
            .stages
            .iter()
            .skip(1)
            .find(|stage| stage.kind == StageKind::Unison);
        assert_eq!(unison.unwrap().span.start, 16.0 + 153.0);
        // The earliest: every count 1, 24 cycles.
        let early = fit_moment(&process, Moment::Unison, 10.0).unwrap();
        assert_eq!((early.at, early.because), (72.0, vec![Because::Least]));
        let late = fit_moment(&process, Moment::Unison, 1e9).unwrap();
        assert_eq!(
            (late.at, late.because),
            (24.0 * 64.0 * 3.0, vec![Because::Most])
        );
    }

    #[test]
    fn what_is_not_on_the_way_is_told() {
        let told =
            |process: &Process, moment| fit_moment(process, moment, 60.0).unwrap_err().to_string();
        let short = process(|settings| settings.motion.shifts = Shifts::Count(3));
        assert_eq!(told(&short, Moment::Unison), Unfit::NoUnison.to_string());
        assert_eq!(
            told(&short, Moment::Alignment(5)),
            Unfit::NoAlignment(5).to_string()
        );
        for never in [0, 13, usize::MAX] {
            assert_eq!(
                told(&short, Moment::Alignment(never)),
                Unfit::NoAlignment(never).to_string()
            );
        }
        assert_eq!(
            told(&short, Moment::Stage(0)),
            Unfit::NoStage(1).to_string()
        );
        let alone = process(|settings| settings.motion.copies = 0);
        assert_eq!(told(&alone, Moment::Unison), Unfit::NoCopy.to_string());
        assert_eq!(fit_whole(&short, f64::NAN), Err(Unfit::NoTime));
    }

    #[test]
    fn a_stage_that_waits_is_the_performers() {
        let process = process(|_| ());
        let mut stages = process.voices().as_route().stages().to_vec();
        stages[1].dwell = Dwell::UntilCued;
        let mut waiting = process;
        waiting.set_route(&Route::new(&stages, Afterwards::Hold).unwrap());
        let fitted = fit_moment(&waiting, Moment::Stage(3), 150.0).unwrap();
        assert_eq!(fitted.route.stages()[1].dwell, Dwell::UntilCued);
        assert_eq!(
            fitted.because,
            [Because::Cue {
                stage: 2,
                cycles: 8
            }]
        );
        // Before it, nothing is uncertain.
        assert_eq!(
            fit_moment(&waiting, Moment::Stage(1), 60.0)
                .unwrap()
                .because,
            []
        );
    }

    /// Twelve steps in two cycles of three beats: 1 + 2 * 3 / R <= 2, so at least two cycles.
    #[test]
    fn a_drift_is_never_asked_to_be_faster_than_a_player() {
        let far = |ahead: f64| {
            let mut stands = [0.0; MAX_COPIES];
            stands[0] = ahead;
            WrittenStage {
                way: Way {
                    motion: Motion::Drift,
                    over: 1,
                },
                dwell: Dwell::Cycles(1),
                ahead: stands,
                grown: None,
                turn: None,
            }
        };
        let mut process = process(|_| ());
        process.set_route(&Route::new(&[far(0.0), far(12.0)], Afterwards::Hold).unwrap());
        let fitted = fit_whole(&process, 3.0).unwrap();
        assert_eq!((fitted.at, fitted.because), (12.0, vec![Because::Least]));
        assert_eq!(with(&process, &fitted.route).totals.chosen, 12.0);
        // What is written stays written, since it is not what makes it long.
        assert_eq!(fitted.route.stages()[1].way.over, 1);
    }

    /// Every route, under growth, entries and build-ups.
    fn any_process() -> impl Strategy<Value = Process> {
        let growth = prop_oneof![
            Just(Growth::Off),
            Just(Growth::Fill),
            Just(Growth::Lengthen)
        ];
        (any_route(), 1..4usize, growth, 0..3u32).prop_map(|(route, copies, growth, entry)| {
            let mut process = process(|settings| {
                settings.motion.copies = copies;
                settings.motion.entry = entry;
                settings.growth.growth = growth;
            });
            process.set_route(&route);
            process
        })
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(48))]

        /// The form, which lays stages out one by one, says the same; and it is the nearest cycle
        /// between the shortest and the longest that the counts allow.
        #[test]
        fn the_whole_lasts_as_promised(process in any_process(), wished in 0.0..4000.0f64) {
            let fitted = fit_whole(&process, wished).unwrap();
            let lasts = |route: &Route| with(&process, route).totals.chosen;
            let real = lasts(&fitted.route);
            prop_assert!((real - fitted.at).abs() < 1e-6, "{real} {}", fitted.at);
            let shortest = fit_whole(&process, 0.0).unwrap();
            let longest = fit_whole(&process, 1e9).unwrap();
            if (shortest.at..=longest.at).contains(&wished) {
                prop_assert!((fitted.at - wished).abs() <= 1.5 + 1e-6);
            } else {
                prop_assert!([shortest.at, longest.at].contains(&fitted.at));
            }
        }

        #[test]
        fn what_lasts_as_wished_stays(process in any_process()) {
            let lasts = Form::new(&process).totals.chosen;
            prop_assert_eq!(fit_whole(&process, lasts).unwrap().route, process.voices().as_route());
        }

        /// A stage begins where it is promised, whichever copy comes last; nothing after it has
        /// been changed.
        #[test]
        fn a_stage_comes_when_promised(
            process in any_process(),
            place in any::<usize>(),
            wished in 0.0..2000.0f64,
        ) {
            let count = process.route().stages().len();
            prop_assume!(count > 1);
            let stage = 1 + place % (count - 1);
            let fitted = fit_moment(&process, Moment::Stage(stage), wished).unwrap();
            let mut after = process.clone();
            after.set_route(&fitted.route.counted(process.settings().motion.dwell));
            let voices = after.voices();
            let dwell = Station { stage: stage as u64, part: StagePart::Dwell };
            let begins = voices.copies().map(|copy| {
                let since = voices.course(copy).timetable().begin_of(dwell);
                since.to_song(voices.moves_from(Part::Copy(copy)).unwrap())
            });
            let begins = begins.fold(0.0, f64::max) - process.origin();
            prop_assert!((begins - fitted.at).abs() < 1e-6, "{begins} {}", fitted.at);
            prop_assert_eq!(
                &fitted.route.stages()[stage + 1..],
                &process.route().stages()[stage + 1..]
            );
        }

        /// No cycle could be given by one count to another and leave the two nearer to a common
        /// factor; what is at its bound may not give or take.
        #[test]
        fn counts_are_moved_evenly(
            sets in proptest::collection::vec(1..=64u32, 1..20),
            part in 0.0..1.0f64,
        ) {
            let counts: Vec<Count> = sets
                .iter()
                .enumerate()
                .map(|(stage, set)| Count { what: What::Dwell(stage), set: *set, least: 1, most: 64 })
                .collect();
            let (least, most) = (sets.len() as f64, 64.0 * sets.len() as f64);
            let cycles = (least + part * (most - least)).round() as u64;
            let shared = share(&counts, cycles);
            prop_assert_eq!(shared.iter().map(|cycles| u64::from(*cycles)).sum::<u64>(), cycles);
            for (giver, gives) in sets.iter().zip(&shared) {
                for (taker, takes) in sets.iter().zip(&shared) {
                    prop_assert!((1..=64).contains(gives));
                    if *gives > 1 && *takes < 64 {
                        let lowered = (f64::from(*gives) - 0.5) / f64::from(*giver);
                        let raised = (f64::from(*takes) + 0.5) / f64::from(*taker);
                        prop_assert!(lowered <= raised + 1e-9);
                    }
                }
            }
        }
    }
}
