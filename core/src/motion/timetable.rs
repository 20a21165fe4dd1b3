//! The timetable of a copy: which stage a moment falls in, and which part of it.
//!
//! A copy keeps the schedule from the stage on that it *goes on from*: its first, or the one that
//! it was in when something changed. What had passed by then is not counted again.

use super::schedule::Schedule;
use crate::part::CopyNumber;
use crate::settings::Motion;
use crate::time::{Beats, LATE, Since};

/// Beats by which the beginning of a loop may miss that of a cycle: hosts round it to a frame.
const LOOSE_START: Beats = 1e-3;

/// What a copy is doing within a stage.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StagePart {
    /// Silent, then filling in, already displaced.
    Build,
    /// Locked.
    Dwell,
    /// Leaning into the faster (or slower) tempo.
    Lean,
    /// Relaxing out of it.
    Settle,
}

/// A stage and the part of it that a moment falls in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Station {
    /// Shifts completed.
    pub stage: u64,
    /// The part.
    pub part: StagePart,
}

/// Where a copy goes on from: a stage, as the copy came to be in it, and the way on from it.
///
/// What was before is not known here.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Going {
    /// Shifts completed.
    pub stage: u64,
    /// When the stage began: with its build-up, if it has one.
    pub begun: Since,
    /// When the copy stood whole, and the dwell began.
    pub since: Since,
    /// When the dwell ends: never, until it is cued.
    pub until: Since,
    /// How long the way on takes; 0 is a jump.
    pub(super) way: Beats,
    /// Beats ahead in the dwell.
    pub(super) ahead: Beats,
    /// Beats ahead where the way leads.
    pub(super) to: Beats,
    /// By how much it is further ahead, here and later, than the schedule alone would have it: what
    /// it had gained under other settings.
    pub(super) besides: Beats,
    /// The stage that is never left, if not the schedule's.
    pub(super) last: Option<u64>,
    /// Beats ahead where it came from.
    came_from: Beats,
    /// Notes that stood already when the build-up began.
    pub built: usize,
}

impl Going {
    /// From the beginning.
    pub fn first(schedule: Schedule<'_>, copy: CopyNumber) -> Self {
        Self {
            stage: 0,
            begun: Since::START,
            since: Since::START,
            until: until(schedule, 0, Since::START),
            way: schedule.way(0),
            ahead: schedule.ahead(copy, 0),
            to: schedule.ahead(copy, 1),
            besides: 0.0,
            last: None,
            came_from: schedule.ahead(copy, 0),
            built: 0,
        }
    }

    /// The same, standing there already, if it stands.
    pub fn standing_at(self, ahead: Option<Beats>) -> Self {
        Self {
            ahead: ahead.unwrap_or(self.ahead),
            came_from: ahead.unwrap_or(self.came_from),
            ..self
        }
    }
}

/// When a dwell is over that begins `since` then.
pub(super) fn until(schedule: Schedule<'_>, stage: u64, since: Since) -> Since {
    if schedule.waits(stage) {
        Since::NEVER
    } else {
        since + schedule.dwell(stage)
    }
}

/// The first end of a cycle, counted from `since`, that is not before `tau`; what comes up to
/// [`LATE`] after it has come on it.
pub(super) fn end_of_cycle(since: Since, tau: Since, cycle: Beats) -> Since {
    let cycles = ((tau - LATE - since) / cycle).ceil();
    since + cycles.max(0.0) * cycle
}

/// The timetable that a copy keeps.
#[derive(Clone, Copy, Debug)]
pub struct Timetable<'a> {
    schedule: Schedule<'a>,
    copy: CopyNumber,
    going: Going,
    /// Whether dwells that wait for a cue are counted, as is proposed to the performer.
    counted: bool,
}

impl<'a> Timetable<'a> {
    /// The timetable of `copy`, which goes on from there.
    pub fn new(schedule: Schedule<'a>, copy: CopyNumber, going: Going) -> Self {
        Self {
            schedule,
            copy,
            going,
            counted: false,
        }
    }

    /// The same, with dwells counted that wait for a cue.
    pub fn counted(self) -> Self {
        let mut going = self.going;
        if !going.until.is_finite() {
            going.until = going.since + self.schedule.dwell(going.stage);
        }
        Self {
            going,
            counted: true,
            ..self
        }
    }

    /// Where the copy goes on from.
    pub fn going(&self) -> &Going {
        &self.going
    }

    /// Where the copy would go on from, if something changed at `tau`: the stage that it is in.
    pub fn going_at(&self, tau: Since) -> Going {
        let Station { stage, .. } = self.station_at(tau);
        if stage <= self.going.stage {
            return self.going;
        }
        let dwell = Station {
            stage,
            part: StagePart::Dwell,
        };
        Going {
            stage,
            begun: self.start_of(stage),
            since: self.begin_of(dwell),
            until: self.leaves(stage),
            way: self.way(stage),
            ahead: self.ahead(stage),
            to: self.ahead(stage + 1),
            came_from: self.came_from(stage),
            built: 0,
            ..self.going
        }
    }

    /// Whether another copy goes on in the same stages at the same times, counted from where it began to move.
    pub fn goes_as(&self, other: &Self) -> bool {
        let times = |going: &Going| {
            let last = going.last;
            (
                going.stage,
                going.begun,
                going.since,
                going.until,
                going.way,
                last,
            )
        };
        times(&self.going) == times(&other.going)
    }

    /// Whether any dwell waits for a cue.
    pub fn has_cues(&self) -> bool {
        self.schedule.has_cues() && !self.counted
    }

    /// Whether a cue at `tau` would be taken: not on the way, not twice in a dwell, and not in the
    /// last stage, unless silence comes after it.
    pub fn waits_for_cue(&self, tau: Since) -> bool {
        let Station { stage, part } = self.station_at(tau);
        let is_over = self.is_last(stage) && !self.schedule.ends_in_silence();
        let is_open = !self.leaves(stage).is_finite();
        part == StagePart::Dwell && self.waits(stage) && is_open && !is_over
    }

    /// Where the copy goes on from after a cue at `tau`: the dwell ends with its cycle, at once if one
    /// has just ended. None if the cue is not taken, see [`Self::waits_for_cue`].
    pub fn cue(&self, tau: Since, cycle: Beats) -> Option<Going> {
        self.waits_for_cue(tau).then(|| {
            let now = self.going_at(tau);
            Going {
                until: end_of_cycle(now.since, tau, cycle),
                ..now
            }
        })
    }

    /// Where a copy stands after a leap from `tau` to `then`: locked, at the offset it had or was on
    /// its way to. A cue that it had taken and not yet followed still holds, for the first cycle
    /// there: else none would ever come true in a loop of a cycle.
    pub fn come_to_rest(&self, tau: Since, then: Since, cycle: Beats) -> Going {
        let Station { stage, part } = self.station_at(tau);
        let on_its_way = matches!(part, StagePart::Lean | StagePart::Settle);
        let is_cued = part == StagePart::Dwell && self.leaves(stage).is_finite();
        let stage = stage + u64::from(on_its_way);
        let waits = self.waits(stage);
        let since = if waits {
            Since::START
        } else {
            let cycles = ((then + LOOSE_START).beats() / cycle).floor();
            Since::new(cycles.max(0.0) * cycle)
        };
        let rest = Going {
            stage,
            begun: since,
            since,
            until: until(self.schedule, stage, since),
            way: self.way(stage),
            ahead: self.ahead(stage),
            to: self.ahead(stage + 1),
            ..self.going
        };
        // A loop that begins with a cycle may miss its beginning by a frame.
        let cued = || Self::new(self.schedule, self.copy, rest).cue(then - LOOSE_START, cycle);
        (is_cued && waits).then(cued).flatten().unwrap_or(rest)
    }

    /// Whether stage `stage` waits for a cue, and has got it.
    pub fn is_cued(&self, stage: u64) -> bool {
        self.waits(stage) && self.leaves(stage).is_finite()
    }

    /// Beats ahead that the settings alone give the copy in that stage, if they make the form.
    pub(super) fn generated(&self, stage: u64) -> Option<Beats> {
        let generated = matches!(self.schedule, Schedule::Generated(_));
        generated.then(|| self.schedule.ahead(self.copy, stage))
    }

    fn waits(&self, stage: u64) -> bool {
        self.schedule.waits(stage) && !self.counted
    }

    /// How long the way on from a stage takes.
    pub(super) fn way(&self, stage: u64) -> Beats {
        if stage == self.going.stage {
            self.going.way
        } else {
            self.schedule.way(stage)
        }
    }

    /// How a copy goes on from a stage.
    pub fn way_on(&self, stage: u64) -> Motion {
        if self.way(stage) > 0.0 {
            Motion::Drift
        } else if self.built(stage + 1) > 0.0 {
            Motion::BuildUp
        } else {
            Motion::Jump
        }
    }

    /// Beats ahead in a stage, the copy's offset aside.
    pub fn ahead(&self, stage: u64) -> Beats {
        match stage.checked_sub(self.going.stage) {
            None | Some(0) => self.going.ahead,
            Some(1) => self.going.to,
            Some(_) => self.schedule.ahead(self.copy, stage) + self.going.besides,
        }
    }

    /// Notes of the phrase that sound in a stage, in the order of growth, if that is written.
    pub fn grown(&self, stage: u64) -> Option<usize> {
        self.schedule.grown(stage)
    }

    /// The stage that is held for ever, if the process comes to an end.
    pub fn last_stage(&self) -> Option<u64> {
        self.going.last.or(self.schedule.last())
    }

    fn is_last(&self, stage: u64) -> bool {
        self.last_stage().is_some_and(|last| stage >= last)
    }

    /// When everything falls silent, if it does: the last dwell is over.
    pub fn falls_silent(&self) -> Option<Since> {
        let last = self.last_stage()?;
        (self.schedule.ends_in_silence()).then(|| self.leaves(last))
    }

    /// When stage `stage` begins: never, while a cue is waited for before it.
    pub fn start_of(&self, stage: u64) -> Since {
        let Some(later) = stage.checked_sub(self.going.stage + 1) else {
            return self.going.begun;
        };
        let next = self.going.stage + 1;
        if later > 0 && self.is_barred(next, stage) {
            return Since::NEVER;
        }
        // Another course from there than an addition a stage: no error adds up.
        self.first_come() + self.schedule.between(next, stage)
    }

    /// Whether a stage of `from .. to` waits for a cue.
    fn is_barred(&self, from: u64, to: u64) -> bool {
        let wait = self.schedule.next_wait(from).filter(|_| !self.counted);
        wait.is_some_and(|wait| wait < to)
    }

    /// When the stage begins after the one that the copy goes on from.
    fn first_come(&self) -> Since {
        self.going.until + self.going.way
    }

    /// How long the build-up of a stage takes.
    fn built(&self, stage: u64) -> Beats {
        if stage <= self.going.stage {
            self.going.since - self.going.begun
        } else {
            self.schedule.build(stage)
        }
    }

    /// Whether the copy builds itself up at the beginning of a stage: it does where it comes from elsewhere.
    pub(super) fn is_rebuilt(&self, stage: u64) -> bool {
        self.came_from(stage) != self.ahead(stage)
    }

    /// Beats ahead where the copy came from as it came to a stage, its offset aside.
    pub fn came_from(&self, stage: u64) -> Beats {
        if stage <= self.going.stage {
            self.going.came_from
        } else {
            self.ahead(stage - 1)
        }
    }

    /// Notes that stood when the build-up of a stage began.
    pub(super) fn stood(&self, stage: u64) -> usize {
        if stage == self.going.stage {
            self.going.built
        } else {
            0
        }
    }

    /// The part of the stage in which `tau` falls.
    pub fn station_at(&self, tau: Since) -> Station {
        let stage = self.stage_at(tau);
        let part = [StagePart::Build, StagePart::Dwell, StagePart::Lean]
            .into_iter()
            .find(|part| tau < self.end_of(Station { stage, part: *part }))
            .unwrap_or(StagePart::Settle);
        Station { stage, part }
    }

    fn stage_at(&self, tau: Since) -> u64 {
        let first = self.first_come();
        let next = self.going.stage + 1;
        // Written so that it also holds if the stage is never left.
        if !(first.is_finite() && tau >= first) || self.is_last(self.going.stage) {
            return self.going.stage;
        }
        let mut stage = self.schedule.stage_after(next, tau - first);
        // Undoes a rounding.
        if tau < self.start_within(stage) {
            stage = stage.max(next + 1) - 1;
        } else if tau >= self.start_within(stage + 1) {
            stage += 1;
        }
        let wait = self.schedule.next_wait(next).filter(|_| !self.counted);
        let bounds = [self.last_stage(), wait];
        bounds.into_iter().flatten().fold(stage, u64::min)
    }

    /// When a stage after the next begins, were no cue waited for.
    fn start_within(&self, stage: u64) -> Since {
        self.first_come() + self.schedule.between(self.going.stage + 1, stage)
    }

    /// When that part begins.
    pub fn begin_of(&self, Station { stage, part }: Station) -> Since {
        let start = self.start_of(stage);
        match part {
            StagePart::Build => start,
            StagePart::Dwell if stage <= self.going.stage => self.going.since,
            StagePart::Dwell => start + self.built(stage),
            StagePart::Lean => self.leaves(stage),
            StagePart::Settle => self.leaves(stage) + self.way(stage) / 2.0,
        }
    }

    /// When that part ends: never, if it is the dwell of the last stage.
    pub fn end_of(&self, Station { stage, part }: Station) -> Since {
        let begin_of = |part| self.begin_of(Station { stage, part });
        match part {
            StagePart::Build => begin_of(StagePart::Dwell),
            StagePart::Dwell if self.is_last(stage) => Since::NEVER,
            // Without a drift the dwell runs to the next stage, computed as that one's start is.
            StagePart::Dwell if self.way(stage) == 0.0 => self.start_of(stage + 1),
            StagePart::Dwell => begin_of(StagePart::Lean),
            StagePart::Lean => begin_of(StagePart::Settle),
            StagePart::Settle => self.start_of(stage + 1),
        }
    }

    /// When the dwell of a stage is over.
    fn leaves(&self, stage: u64) -> Since {
        if stage <= self.going.stage {
            self.going.until
        } else if self.waits(stage) {
            Since::NEVER
        } else {
            self.start_of(stage) + self.built(stage) + self.schedule.dwell(stage)
        }
    }

    /// The part after that one, leaving out those of no length.
    pub fn after(&self, station: Station) -> Station {
        let Station { stage, part } = station;
        let at = |stage, part| Station { stage, part };
        match part {
            StagePart::Build => at(stage, StagePart::Dwell),
            StagePart::Dwell if self.way(stage) > 0.0 => at(stage, StagePart::Lean),
            StagePart::Lean => at(stage, StagePart::Settle),
            StagePart::Dwell | StagePart::Settle if self.built(stage + 1) > 0.0 => {
                at(stage + 1, StagePart::Build)
            }
            StagePart::Dwell | StagePart::Settle => at(stage + 1, StagePart::Dwell),
        }
    }

    /// The part with which the copy goes on.
    pub fn first(&self) -> Station {
        self.opening(self.going.stage)
    }

    /// The part with which a stage begins.
    pub fn opening(&self, stage: u64) -> Station {
        let part = if self.built(stage) > 0.0 {
            StagePart::Build
        } else {
            StagePart::Dwell
        };
        Station { stage, part }
    }

    /// From one stage to the next, once the first is over, if all are alike. Never 0: a dwell lasts
    /// a cycle at least.
    pub fn round(&self) -> Option<Beats> {
        self.schedule.round()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::motion::Rule;
    use crate::phrase::Phrase;
    use crate::settings::{Advance, Motion, MotionSettings, Settings};

    /// Three beats a cycle, drifts of four cycles, on cue.
    struct OnCue {
        rule: Rule,
        going: Going,
    }

    impl OnCue {
        fn timetable(&self) -> Timetable<'_> {
            Timetable::new(
                Schedule::Generated(&self.rule),
                CopyNumber::FIRST,
                self.going,
            )
        }

        fn cue(&mut self, tau: Beats) -> bool {
            let taken = self.timetable().cue(Since::new(tau), 3.0);
            self.going = taken.unwrap_or(self.going);
            taken.is_some()
        }

        fn part_at(&self, tau: Beats) -> (u64, StagePart) {
            let Station { stage, part } = self.timetable().station_at(Since::new(tau));
            (stage, part)
        }
    }

    fn on_cue(motion: Motion) -> OnCue {
        let phrase = Phrase::from_text("D4 F4 G4 . A4 . C5 A4 . G4 E4 .", 0.25).unwrap();
        let motion = MotionSettings {
            motion,
            advance: Advance::OnCue,
            ..MotionSettings::default()
        };
        let settings = Settings {
            motion,
            ..Settings::default()
        };
        let rule = Rule::new(&phrase, &settings, 24.0);
        let going = Going::first(Schedule::Generated(&rule), CopyNumber::FIRST);
        OnCue { rule, going }
    }

    #[test]
    fn without_a_cue_the_first_dwell_never_ends() {
        let timetable = on_cue(Motion::Drift);
        assert_eq!(timetable.part_at(1e6), (0, StagePart::Dwell));
    }

    #[test]
    fn a_cue_moves_at_the_next_cycle_and_the_dwell_after_it_waits_again() {
        let mut timetable = on_cue(Motion::Drift);
        assert!(timetable.cue(100.0));
        // 34 cycles are 102 beats; four cycles of drift.
        assert_eq!(timetable.part_at(101.9), (0, StagePart::Dwell));
        assert_eq!(timetable.part_at(102.0), (0, StagePart::Lean));
        assert_eq!(timetable.part_at(108.0), (0, StagePart::Settle));
        assert_eq!(timetable.part_at(114.0), (1, StagePart::Dwell));
        assert_eq!(timetable.part_at(1e6), (1, StagePart::Dwell));
        assert!(timetable.cue(115.0));
        assert_eq!(timetable.part_at(117.0), (1, StagePart::Lean));
        assert_eq!(timetable.timetable().start_of(2), Since::new(129.0));
    }

    #[test]
    fn a_cue_on_the_first_beat_of_a_cycle_moves_there() {
        let mut timetable = on_cue(Motion::Jump);
        assert!(timetable.cue(6.0));
        assert_eq!(timetable.part_at(6.0), (1, StagePart::Dwell));
    }

    #[test]
    fn on_its_way_or_cued_already_a_copy_takes_no_cue() {
        let mut timetable = on_cue(Motion::Drift);
        assert!(timetable.cue(1.0));
        assert!(!timetable.cue(2.0));
        assert!(!timetable.cue(4.0));
        assert!(timetable.cue(15.0));
    }

    #[test]
    fn back_in_unison_there_is_nothing_left_to_cue() {
        let mut timetable = on_cue(Motion::Jump);
        for shift in 0..12 {
            assert!(timetable.cue(f64::from(shift) * 3.0), "{shift}");
        }
        assert!(!timetable.cue(60.0));
        assert_eq!(timetable.part_at(1e6), (12, StagePart::Dwell));
    }

    #[test]
    fn a_build_up_on_cue_opens_the_stage() {
        let mut timetable = on_cue(Motion::BuildUp);
        assert!(timetable.cue(5.0));
        assert_eq!(timetable.part_at(6.0), (1, StagePart::Build));
        assert_eq!(timetable.part_at(30.0), (1, StagePart::Dwell));
        assert!(timetable.cue(40.0));
        assert_eq!(timetable.part_at(42.0), (2, StagePart::Build));
    }

    #[test]
    fn after_a_leap_a_copy_stands_where_it_was_going() {
        let mut timetable = on_cue(Motion::Drift);
        timetable.cue(1.0);
        timetable.going = timetable
            .timetable()
            .come_to_rest(Since::new(10.0), Since::START, 3.0);
        assert_eq!(timetable.part_at(0.0), (1, StagePart::Dwell));
    }
}
