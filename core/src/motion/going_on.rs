//! Going on without a leap: what a copy does when its schedule becomes another while it plays.
//!
//! What has passed stays as it was. A dwell that is on lasts as long as it now should; if it has
//! lasted longer already, it ends with the cycle. A drift that is on is on its way to where it now
//! leads, from where it is. A build-up goes on from what stands.

use super::Course;
use super::schedule::{Schedule, greatest_common_divisor, least_cycles, shortest_drift};
use super::timetable::{Going, StagePart, Station, end_of_cycle, until};
use crate::part::CopyNumber;
use crate::time::{Beats, HAIR, LATE, Since, to_ticks};

/// How build-ups go.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BuildUp {
    /// Notes of the phrase.
    pub total: usize,
    /// Notes that a stage of it brings.
    pub notes: usize,
    /// Cycles that a stage of it takes.
    pub every: u32,
}

impl BuildUp {
    /// Cycles until everything stands, from when `built` notes do.
    fn cycles(&self, built: usize) -> u32 {
        let missing = self.total.saturating_sub(built);
        missing.div_ceil(self.notes.max(1)) as u32 * self.every.max(1)
    }

    /// Notes that stand when so many cycles have gone by since `built` did.
    pub fn stand(&self, built: usize, cycles: usize) -> usize {
        built + cycles / self.every.max(1) as usize * self.notes.max(1)
    }
}

/// A copy in the middle of its course, a moment before its schedule becomes another.
#[derive(Clone, Copy, Debug)]
pub struct Stood {
    /// When, counted as its moves are.
    now: Since,
    part: StagePart,
    going: Going,
    /// Beats ahead, its standing offset aside.
    ahead: Beats,
    /// Beats ahead that the settings alone gave it in the stage, if they made the form.
    generated: Option<Beats>,
    /// Whether the cue has come that its dwell waited for.
    cued: bool,
    building: BuildUp,
}

impl Stood {
    /// How a copy on that course, whose build-ups go like that, stands at `now`.
    pub fn at(now: Since, course: &Course<'_>, building: BuildUp) -> Self {
        let timetable = course.timetable();
        let Station { stage, part } = timetable.station_at(now);
        Self {
            now,
            part,
            going: timetable.going_at(now),
            ahead: course.moved(now),
            generated: timetable.generated(stage),
            cued: timetable.is_cued(stage),
            building,
        }
    }

    /// The stage that it is in, or that it comes from.
    pub fn stage(&self) -> u64 {
        self.going.stage
    }
}

/// What a copy goes on under.
#[derive(Clone, Copy, Debug)]
pub struct Onward<'a> {
    /// The schedule.
    pub schedule: Schedule<'a>,
    /// Whose.
    pub copy: CopyNumber,
    /// The stage that the present one has become.
    pub stage: u64,
    /// How build-ups go.
    pub building: BuildUp,
    /// One cycle of the phrase.
    pub cycle: Beats,
    /// Ticks after which the phrase is as it was.
    pub rotation: i64,
}

impl Onward<'_> {
    /// Where a copy goes on from that stood there.
    pub fn from(&self, stood: &Stood) -> Going {
        let mut going = stood.going;
        going.stage = self.stage;
        if stood.part == StagePart::Build && stood.building != self.building {
            self.build_on(&mut going, stood);
        }
        let there = self.lead_on(&mut going, stood);
        let on_its_way = matches!(stood.part, StagePart::Lean | StagePart::Settle);
        if on_its_way {
            self.redirect(&mut going, there, stood);
        } else {
            self.dwell_on(&mut going, there, stood);
        }
        going.last = self.last(&going, on_its_way);
        going
    }

    /// Where the copy goes after this stage; and what it has gained besides.
    fn lead_on(&self, going: &mut Going, stood: &Stood) -> Beats {
        let ahead = |stage| self.schedule.ahead(self.copy, stage);
        if matches!(self.schedule, Schedule::Written(..)) {
            // Copies stand where it is written.
            going.besides = 0.0;
            return ahead(self.stage + 1);
        }
        let here = ahead(self.stage);
        // If nothing has changed, it stays the same to the bit.
        if stood.generated != Some(here) {
            going.besides = going.ahead - here;
        }
        ahead(self.stage + 1) + going.besides
    }

    /// A dwell, or what is built up for it, lasts as long as the schedule now has it.
    fn dwell_on(&self, going: &mut Going, there: Beats, stood: &Stood) {
        if !(stood.cued && self.schedule.waits(self.stage)) {
            let ends = until(self.schedule, self.stage, going.since);
            let is_over = ends <= stood.now - LATE;
            going.until = if is_over {
                let ends = end_of_cycle(going.since, stood.now, self.cycle);
                ends.max(going.since + self.cycle)
            } else {
                ends
            };
        }
        going.to = there;
        going.way = self.way(there - going.ahead);
    }

    /// How long the way on takes from this stage, if it is so far.
    fn way(&self, distance: Beats) -> Beats {
        let way = self.schedule.way(self.stage);
        if way == 0.0 {
            return 0.0;
        }
        way.max(f64::from(least_cycles(distance, self.cycle)) * self.cycle)
    }

    /// A copy on its way goes where the way now leads, and arrives when it now should: with its
    /// cycle, if that is past, and no faster than a player could. A jump waits for the end of the
    /// cycle where the copy is.
    fn redirect(&self, going: &mut Going, there: Beats, stood: &Stood) {
        let (left, way) = (going.until, self.schedule.way(self.stage));
        if going.to == there && going.way == way {
            return;
        }
        let next_cycle = end_of_cycle(left, stood.now, self.cycle);
        going.ahead = stood.ahead;
        going.to = there;
        if way == 0.0 {
            going.until = next_cycle;
            going.way = 0.0;
            return;
        }
        let mut arrives = (left + way).max(next_cycle);
        let short = shortest_drift(there - stood.ahead) - (arrives - stood.now);
        if short > HAIR {
            arrives = arrives + (short / self.cycle).ceil() * self.cycle;
        }
        going.until = stood.now;
        going.way = arrives - stood.now;
    }

    /// What stands goes on to be built on.
    fn build_on(&self, going: &mut Going, stood: &Stood) {
        let before = stood.building;
        let every = before.every.max(1) as usize;
        // `as` saturates: before it began, nothing is built.
        let cycles = ((stood.now - LATE - going.begun + HAIR) / self.cycle) as usize;
        let whole = cycles / every * every;
        going.built = before.stand(going.built, whole);
        let begun = going.begun + whole as f64 * self.cycle;
        let next = end_of_cycle(begun, stood.now, self.cycle).max(begun + self.cycle);
        let stage = f64::from(self.building.every.max(1)) * self.cycle;
        going.begun = begun.max(next - stage);
        going.since = going.begun + f64::from(self.building.cycles(going.built)) * self.cycle;
    }

    /// The stage that is never left, if not the schedule's: unison lies elsewhere for a copy that
    /// has gained something besides, and nobody goes back to a stage that is over.
    fn last(&self, going: &Going, on_its_way: bool) -> Option<u64> {
        let last = self.schedule.last()?;
        let (stage, at) = if on_its_way {
            (self.stage + 1, going.to)
        } else {
            (self.stage, going.ahead)
        };
        let unison = match self.schedule {
            Schedule::Generated(rule) if going.besides != 0.0 => rule
                .shift_to_unison(self.copy)
                .map_or(last, |shift| stage + self.shifts_to_unison(at, shift)),
            _ => last,
        };
        let held = unison.max(stage);
        (held != last).then_some(held)
    }

    /// Shifts from there to unison; as many as lead round, if none does.
    fn shifts_to_unison(&self, at: Beats, shift: Beats) -> u64 {
        let (at, shift) = (to_ticks(at), to_ticks(shift));
        let rotation = self.rotation.max(1);
        let round = rotation / greatest_common_divisor(rotation, shift.abs());
        let is_unison = |shifts: &i64| {
            let place = at + (shifts * shift) % rotation;
            place % rotation == 0 && (*shifts > 0 || at != 0)
        };
        (0..=round).find(is_unison).unwrap_or(round) as u64
    }
}
