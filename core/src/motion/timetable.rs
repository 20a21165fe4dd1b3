//! The timetable of a process: which stage a moment falls in, and which part of it.

use crate::phrase::Phrase;
use crate::settings::{Advance, CopiesMove, Motion, Settings, Shifts};
use crate::time::{Beats, HAIR, LATE, Since, to_ticks};

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

impl Station {
    /// Where every copy begins.
    pub const FIRST: Self = Self {
        stage: 0,
        part: StagePart::Dwell,
    };
}

/// The timetable that all copies share: how long stages last and how many there are.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Timetable {
    motion: Motion,
    dwell: Beats,
    drift: Beats,
    build: Beats,
    /// The stage that is never left.
    last: Option<u64>,
    /// One cycle of the phrase.
    cycle: Beats,
    /// Where a copy stands that moves on cue; none if stages are counted.
    cued: Option<Dwelling>,
}

/// A dwell that a cue ends, and the move after it.
///
/// What was before is forgotten: a performer's past cannot be computed from the song position.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Dwelling {
    /// Shifts completed.
    pub stage: u64,
    /// When it began.
    pub since: Since,
    /// When it ends: never, until it is cued.
    pub until: Since,
}

impl Dwelling {
    /// Before the first cue.
    pub const FIRST: Self = Self::at(0);

    /// At rest after `stage` shifts, since ever.
    const fn at(stage: u64) -> Self {
        Self {
            stage,
            since: Since::START,
            until: Since::NEVER,
        }
    }
}

impl Timetable {
    /// The timetable of `phrase` under `settings`. `build` is how long a build-up takes, in beats.
    pub fn new(phrase: &Phrase, settings: &Settings, build: Beats) -> Self {
        let motion = &settings.motion;
        Self {
            motion: motion.motion,
            dwell: f64::from(motion.dwell.max(1)) * phrase.length(),
            drift: match motion.motion {
                Motion::Drift => f64::from(drift_cycles(phrase, settings)) * phrase.length(),
                Motion::Jump | Motion::BuildUp => 0.0,
            },
            build: if motion.motion == Motion::BuildUp {
                build
            } else {
                0.0
            },
            last: match motion.shifts {
                Shifts::Auto => Some(shifts_to_unison(phrase, settings)),
                Shifts::Count(count) => Some(u64::from(count)),
                Shifts::Endless => None,
            },
            cycle: phrase.length(),
            cued: (motion.advance == Advance::OnCue).then_some(Dwelling::FIRST),
        }
    }

    /// Where the copy stands, if it moves on cue.
    pub fn dwelling(&self) -> Option<Dwelling> {
        self.cued
    }

    /// The same, with dwells counted.
    pub fn counted(&self) -> Self {
        Self {
            cued: None,
            ..*self
        }
    }

    /// Puts a copy that moves on cue there. Nothing happens if stages are counted.
    pub fn dwell(&mut self, dwelling: Dwelling) {
        self.cued = self.cued.map(|_| dwelling);
    }

    /// Whether a cue at `tau` would be taken: not on the way, not twice in a dwell, and not in the
    /// last stage.
    pub fn waits_for_cue(&self, tau: Since) -> bool {
        let Station { stage, part } = self.station_at(tau);
        let over = self.last.is_some_and(|last| stage >= last);
        let open = !self.dwelling_at(tau).until.is_finite();
        self.cued.is_some() && part == StagePart::Dwell && open && !over
    }

    /// A cue at `tau`: the dwell ends with its cycle, at once if one has just ended. Whether the
    /// cue is taken, see [`Self::waits_for_cue`].
    pub fn cue(&mut self, tau: Since) -> bool {
        if !self.waits_for_cue(tau) {
            return false;
        }
        let now = self.dwelling_at(tau);
        let cycles = ((tau - LATE - now.since) / self.cycle).ceil();
        self.cued = Some(Dwelling {
            until: now.since + cycles.max(0.0) * self.cycle,
            ..now
        });
        true
    }

    /// The dwell that `tau` falls in, or that the copy leaves from if it is on its way.
    pub fn dwelling_at(&self, tau: Since) -> Dwelling {
        let station = self.station_at(tau);
        let dwell = Station {
            part: StagePart::Dwell,
            ..station
        };
        Dwelling {
            stage: station.stage,
            since: self.begin_of(dwell),
            until: self.end_of(dwell),
        }
    }

    /// Goes on from where the copy stands at `tau` under the timetable it had.
    pub fn take_over(&mut self, before: &Self, tau: Since) {
        let counted = || {
            let dwelling = before.dwelling_at(tau);
            match before.station_at(tau).part {
                StagePart::Lean | StagePart::Settle => dwelling,
                // Nobody counts any more.
                StagePart::Build | StagePart::Dwell => Dwelling {
                    until: Since::NEVER,
                    ..dwelling
                },
            }
        };
        self.dwell(before.cued.unwrap_or_else(counted));
    }

    /// Where a copy stands after a leap from `tau` to `then`: locked, at the offset it had or was on
    /// its way to. A cue that it had taken and not yet followed still holds, for the first cycle
    /// there: else none would ever come true in a loop of a cycle.
    pub fn come_to_rest(&mut self, tau: Since, then: Since) {
        let Station { stage, part } = self.station_at(tau);
        let on_its_way = matches!(part, StagePart::Lean | StagePart::Settle);
        let is_cued = part == StagePart::Dwell && self.dwelling_at(tau).until.is_finite();
        self.dwell(Dwelling::at(stage + u64::from(on_its_way)));
        if is_cued {
            // A loop that begins with a cycle may miss its beginning by a frame.
            self.cue(then - LOOSE_START);
        }
    }

    /// How long a drift takes.
    pub(super) fn drift(&self) -> Beats {
        self.drift
    }

    /// The stage that is held for ever, if the process comes to an end.
    pub fn last_stage(&self) -> Option<u64> {
        self.last
    }

    /// When stage `stage` begins.
    pub fn start_of(&self, stage: u64) -> Since {
        match (stage, self.cued) {
            (_, Some(cued)) if stage > cued.stage + 1 => Since::NEVER,
            (_, Some(cued)) if stage > cued.stage => cued.until + self.drift,
            // Where a dwell began on cue, its build-up is forgotten.
            (_, Some(cued)) => cued.since - self.built(stage),
            (0, None) => Since::START,
            (_, None) => Since::new(self.dwell + self.drift) + (stage - 1) as f64 * self.round(),
        }
    }

    /// How long the build-up of a stage takes.
    fn built(&self, stage: u64) -> Beats {
        if stage == 0 { 0.0 } else { self.build }
    }

    /// The part of the stage in which `tau` falls.
    pub fn station_at(&self, tau: Since) -> Station {
        let stage = match self.cued {
            Some(cued) => cued.stage + u64::from(tau >= cued.until + self.drift),
            None => self.counted_stage_at(tau),
        };
        let part = [StagePart::Build, StagePart::Dwell, StagePart::Lean]
            .into_iter()
            .find(|part| tau < self.end_of(Station { stage, part: *part }))
            .unwrap_or(StagePart::Settle);
        Station { stage, part }
    }

    fn counted_stage_at(&self, tau: Since) -> u64 {
        let guess = 1.0 + ((tau.beats() - self.dwell - self.drift) / self.round()).floor();
        // `as` saturates; the two corrections undo at most a rounding of the division.
        let mut stage = guess as u64;
        if tau < self.start_of(stage) {
            stage = stage.saturating_sub(1);
        } else if tau >= self.start_of(stage + 1) {
            stage += 1;
        }
        self.last.map_or(stage, |last| stage.min(last))
    }

    /// When that part begins.
    pub fn begin_of(&self, Station { stage, part }: Station) -> Since {
        let start = self.start_of(stage);
        let built = start + self.built(stage);
        match part {
            StagePart::Build => start,
            StagePart::Dwell => built,
            StagePart::Lean => self.leaves(stage),
            StagePart::Settle => self.leaves(stage) + self.drift / 2.0,
        }
    }

    /// When that part ends: never, if it is the dwell of the last stage.
    pub fn end_of(&self, Station { stage, part }: Station) -> Since {
        let begin_of = |part| self.begin_of(Station { stage, part });
        match part {
            StagePart::Build => begin_of(StagePart::Dwell),
            StagePart::Dwell if self.last.is_some_and(|last| stage >= last) => Since::NEVER,
            // Without a drift the dwell runs to the next stage, computed as that one's start is.
            StagePart::Dwell if self.drift == 0.0 => self.start_of(stage + 1),
            StagePart::Dwell => begin_of(StagePart::Lean),
            StagePart::Lean => begin_of(StagePart::Settle),
            StagePart::Settle => self.start_of(stage + 1),
        }
    }

    /// When the dwell of a stage is over.
    fn leaves(&self, stage: u64) -> Since {
        match self.cued {
            Some(cued) if stage > cued.stage => Since::NEVER,
            Some(cued) => cued.until,
            None => self.start_of(stage) + self.built(stage) + self.dwell,
        }
    }

    /// The part after that one, leaving out those of no length.
    pub fn after(&self, station: Station) -> Station {
        let Station { stage, part } = station;
        let next = match part {
            StagePart::Build => Station {
                stage,
                part: StagePart::Dwell,
            },
            StagePart::Dwell if self.drift > 0.0 => Station {
                stage,
                part: StagePart::Lean,
            },
            StagePart::Lean => Station {
                stage,
                part: StagePart::Settle,
            },
            StagePart::Dwell | StagePart::Settle => Station {
                stage: stage + 1,
                part: StagePart::Build,
            },
        };
        match next.part {
            StagePart::Build if self.build == 0.0 => Station {
                part: StagePart::Dwell,
                ..next
            },
            _ => next,
        }
    }

    /// From one stage to the next, once the first is over. Never 0: a dwell lasts a cycle at
    /// least.
    pub fn round(&self) -> Beats {
        self.build + self.dwell + self.drift
    }
}

/// The whole cycles a drift takes: as asked, or as many as keep every copy's tempo between half
/// and double.
pub fn drift_cycles(phrase: &Phrase, settings: &Settings) -> u32 {
    let motion = &settings.motion;
    let fan = match motion.copies_move {
        CopiesMove::Fanned => motion.copies.max(1),
        CopiesMove::Together | CopiesMove::InTurn => 1,
    };
    let furthest = settings.step() * f64::from(motion.shift_by.abs()) * fan as f64;
    // The ease peaks at twice the mean rate: 1 + 2d/R <= 2 ahead, 1 - 2d/R >= 1/2 behind.
    let shortest = if motion.shift_by < 0 {
        4.0 * furthest
    } else {
        2.0 * furthest
    };
    let needed = (shortest / phrase.length() - HAIR).ceil();
    motion.drift.max(1).max(needed as u32)
}

/// Shifts after which a moving copy first coincides with the steady voice again.
///
/// The smallest n > 0 with n shifts a multiple of the phrase's smallest rotation; 0 if there is no
/// shift. When copies move in turn, each needs so many.
pub fn shifts_to_unison(phrase: &Phrase, settings: &Settings) -> u64 {
    let motion = &settings.motion;
    let shift = to_ticks(settings.step() * f64::from(motion.shift_by.abs()));
    if shift == 0 {
        return 0;
    }
    let rotation = phrase.smallest_rotation();
    let rounds = (rotation / greatest_common_divisor(rotation, shift)) as u64;
    match motion.copies_move {
        CopiesMove::Fanned | CopiesMove::Together => rounds,
        // A shift by a whole rotation is heard by nobody, whoever makes it.
        CopiesMove::InTurn if rounds == 1 => 1,
        CopiesMove::InTurn => rounds * motion.copies.max(1) as u64,
    }
}

/// Of two positive whole numbers.
fn greatest_common_divisor(a: i64, b: i64) -> i64 {
    if b == 0 {
        a
    } else {
        greatest_common_divisor(b, a % b)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::MotionSettings;

    /// Three beats a cycle, drifts of four cycles, on cue.
    fn on_cue(motion: Motion) -> Timetable {
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
        Timetable::new(&phrase, &settings, 24.0)
    }

    fn part_at(timetable: &Timetable, tau: Beats) -> (u64, StagePart) {
        let Station { stage, part } = timetable.station_at(Since::new(tau));
        (stage, part)
    }

    #[test]
    fn without_a_cue_the_first_dwell_never_ends() {
        let timetable = on_cue(Motion::Drift);
        assert_eq!(part_at(&timetable, 1e6), (0, StagePart::Dwell));
    }

    #[test]
    fn a_cue_moves_at_the_next_cycle_and_the_dwell_after_it_waits_again() {
        let mut timetable = on_cue(Motion::Drift);
        assert!(timetable.cue(Since::new(100.0)));
        // 34 cycles are 102 beats; four cycles of drift.
        assert_eq!(part_at(&timetable, 101.9), (0, StagePart::Dwell));
        assert_eq!(part_at(&timetable, 102.0), (0, StagePart::Lean));
        assert_eq!(part_at(&timetable, 108.0), (0, StagePart::Settle));
        assert_eq!(part_at(&timetable, 114.0), (1, StagePart::Dwell));
        assert_eq!(part_at(&timetable, 1e6), (1, StagePart::Dwell));
        assert!(timetable.cue(Since::new(115.0)));
        assert_eq!(part_at(&timetable, 117.0), (1, StagePart::Lean));
        assert_eq!(timetable.start_of(2), Since::new(129.0));
    }

    #[test]
    fn a_cue_on_the_first_beat_of_a_cycle_moves_there() {
        let mut timetable = on_cue(Motion::Jump);
        assert!(timetable.cue(Since::new(6.0)));
        assert_eq!(part_at(&timetable, 6.0), (1, StagePart::Dwell));
    }

    #[test]
    fn on_its_way_or_cued_already_a_copy_takes_no_cue() {
        let mut timetable = on_cue(Motion::Drift);
        assert!(timetable.cue(Since::new(1.0)));
        assert!(!timetable.cue(Since::new(2.0)));
        assert!(!timetable.cue(Since::new(4.0)));
        assert!(timetable.cue(Since::new(15.0)));
    }

    #[test]
    fn back_in_unison_there_is_nothing_left_to_cue() {
        let mut timetable = on_cue(Motion::Jump);
        for shift in 0..12 {
            assert!(timetable.cue(Since::new(f64::from(shift) * 3.0)), "{shift}");
        }
        assert!(!timetable.cue(Since::new(60.0)));
        assert_eq!(part_at(&timetable, 1e6), (12, StagePart::Dwell));
    }

    #[test]
    fn a_build_up_on_cue_opens_the_stage() {
        let mut timetable = on_cue(Motion::BuildUp);
        assert!(timetable.cue(Since::new(5.0)));
        assert_eq!(part_at(&timetable, 6.0), (1, StagePart::Build));
        assert_eq!(part_at(&timetable, 30.0), (1, StagePart::Dwell));
        assert!(timetable.cue(Since::new(40.0)));
        assert_eq!(part_at(&timetable, 42.0), (2, StagePart::Build));
    }

    #[test]
    fn after_a_leap_a_copy_stands_where_it_was_going() {
        let mut timetable = on_cue(Motion::Drift);
        timetable.cue(Since::new(1.0));
        timetable.come_to_rest(Since::new(10.0), Since::START);
        assert_eq!(part_at(&timetable, 0.0), (1, StagePart::Dwell));
    }
}
