//! Motion: how far a copy is displaced over time, and when it reaches a given point of the phrase.
//!
//! A voice reads the *material*: the phrase, laid end to end for ever. The steady voice reads it
//! at one beat a beat. A copy runs ahead of (or behind) it by a displacement that dwells, drifts
//! and dwells again. Its course is cut into [`Piece`]s in each of which the place in the material
//! is a quadratic of time at most, so the time of an onset is a square root, never a search.

mod going_on;
mod schedule;
mod timetable;

pub use going_on::{BuildUp, Onward, Stood};
pub use schedule::{Laid, Rule, Schedule, drift_cycles, least_cycles, shifts_to_unison};
pub use timetable::{Going, StagePart, Station, Timetable};

use crate::time::{Beats, HAIR, MaterialPlace, Since};

/// The fastest a changed offset is approached, in beats of material per beat: together with the
/// slowest drift (half speed) the material still runs forwards.
const FASTEST_SLEW: f64 = 0.25;

/// A stretch of a voice's course.
///
/// After `s` beats of the piece the voice has reached
/// `from + rate * s + bend * s * s` in the material.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Piece {
    /// When it begins.
    pub start: Since,
    /// When it ends, if it does.
    pub end: Since,
    /// Where in the material it begins.
    pub from: MaterialPlace,
    /// Where in the material it ends. What lies here belongs to the next piece, unless that one
    /// begins elsewhere.
    pub to: MaterialPlace,
    /// Beats of material per beat at the start; positive.
    pub rate: f64,
    /// Half the rate's change per beat.
    pub bend: f64,
    /// The build-up that it is, if it is one.
    pub building: Option<Building>,
    /// Notes of the phrase that sound, in the order of growth, if that is written.
    pub grown: Option<usize>,
}

/// A build-up.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Building {
    /// Where in the material it began.
    pub from: MaterialPlace,
    /// Notes that stood then.
    pub built: usize,
}

impl Piece {
    /// Reading straight on for ever.
    pub const STEADY: Self = Self {
        start: Since::START,
        end: Since::NEVER,
        from: MaterialPlace::START,
        to: MaterialPlace::NEVER,
        rate: 1.0,
        bend: 0.0,
        building: None,
        grown: None,
    };

    /// The place in the material at time `at`.
    pub fn place_at(&self, at: Since) -> MaterialPlace {
        let s = at - self.start;
        self.from + (self.rate + self.bend * s) * s
    }

    /// When the voice reaches `place`, were the piece to go on for ever; not before its start.
    ///
    /// The root is taken in the form that loses no digits when the bend is slight.
    pub fn time_of(&self, place: MaterialPlace) -> Since {
        let ahead = (place - self.from).max(0.0);
        if self.bend == 0.0 {
            return self.start + ahead / self.rate;
        }
        let reach = (self.rate * self.rate + 4.0 * self.bend * ahead).max(0.0);
        self.start + 2.0 * ahead / (self.rate + reach.sqrt())
    }

    /// Whether `place` is read in this piece.
    pub fn reads(&self, place: MaterialPlace) -> bool {
        place >= self.from - HAIR && !self.is_past(place)
    }

    /// Whether `place` lies after this piece.
    pub fn is_past(&self, place: MaterialPlace) -> bool {
        place >= self.to - HAIR
    }

    /// The local tempo ratio at time `at`; 1 when steady.
    pub fn ratio_at(&self, at: Since) -> f64 {
        self.rate + 2.0 * self.bend * (at - self.start)
    }
}

/// The offset a copy is told to stand at, on its way from one value to the next.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Standing {
    from: Beats,
    to: Beats,
    leaves: Since,
    arrives: Since,
}

impl Standing {
    /// At `offset` beats since ever.
    pub fn at(offset: Beats) -> Self {
        Self {
            from: offset,
            to: offset,
            leaves: Since::START,
            arrives: Since::START,
        }
    }

    /// Where it is going, in beats.
    pub fn target(&self) -> Beats {
        self.to
    }

    /// The offset at time `tau`, in beats.
    pub fn value(&self, tau: Since) -> Beats {
        if tau >= self.arrives {
            self.to
        } else {
            self.just_before(tau)
        }
    }

    /// From here on, at `rate` beats a beat, towards `target`.
    pub fn glide(&self, tau: Since, target: Beats, rate: f64) -> Self {
        let from = self.value(tau);
        let rate = rate.min(FASTEST_SLEW);
        Self {
            from,
            to: target,
            leaves: tau,
            arrives: tau + (target - from).abs() / rate,
        }
    }

    /// At `target` from time `at` on, and until then where it is at time `tau`.
    pub fn leap(&self, tau: Since, target: Beats, at: Since) -> Self {
        Self {
            from: self.value(tau),
            to: target,
            leaves: at,
            arrives: at,
        }
    }

    /// The offset as `tau` is approached.
    fn just_before(&self, tau: Since) -> Beats {
        if tau <= self.leaves {
            return self.from;
        }
        if tau > self.arrives {
            return self.to;
        }
        let share = (tau - self.leaves) / (self.arrives - self.leaves);
        self.from + share * (self.to - self.from)
    }

    /// The part of `piece` in which `tau` falls, with this offset laid over it.
    fn over(&self, piece: Piece, tau: Since) -> Piece {
        let cuts = [self.leaves, self.arrives];
        let start = cuts
            .into_iter()
            .filter(|cut| *cut <= tau)
            .fold(piece.start, Since::max);
        let end = cuts
            .into_iter()
            .filter(|cut| *cut > tau)
            .fold(piece.end, Since::min);
        let gliding = self.leaves <= start && start < self.arrives;
        let slope = if gliding {
            (self.to - self.from) / (self.arrives - self.leaves)
        } else {
            0.0
        };
        let to = if end < piece.end {
            piece.place_at(end)
        } else {
            piece.to
        };
        Piece {
            start,
            end,
            from: piece.place_at(start) + self.value(start),
            to: if end.is_finite() {
                to + self.just_before(end)
            } else {
                MaterialPlace::NEVER
            },
            rate: piece.ratio_at(start) + slope,
            building: piece.building.map(|building| Building {
                from: building.from + self.value(start),
                ..building
            }),
            ..piece
        }
    }
}

/// The whole course of one copy.
#[derive(Clone, Copy, Debug)]
pub struct Course<'a> {
    timetable: Timetable<'a>,
    /// Its offset besides.
    pub standing: Standing,
}

impl<'a> Course<'a> {
    /// The course of a copy that keeps `timetable`.
    pub fn new(timetable: Timetable<'a>, standing: Standing) -> Self {
        Self {
            timetable,
            standing,
        }
    }

    /// The timetable it keeps.
    pub fn timetable(&self) -> Timetable<'a> {
        self.timetable
    }

    /// Beats ahead in stage `stage`, standing offset aside.
    pub fn shifted(&self, stage: u64) -> Beats {
        self.timetable.ahead(stage)
    }

    /// Beats ahead at time `tau`, standing offset aside.
    fn moved(&self, tau: Since) -> Beats {
        let piece = self.plain_piece(self.timetable.station_at(tau));
        piece.place_at(tau).ahead_at(tau)
    }

    /// Beats ahead at time `tau`, all told.
    pub fn displacement(&self, tau: Since) -> Beats {
        self.piece_at(tau).place_at(tau).ahead_at(tau)
    }

    /// The piece in which `tau`, not before the start, falls.
    pub fn piece_at(&self, tau: Since) -> Piece {
        self.piece_in(self.timetable.station_at(tau), tau)
    }

    /// The piece that follows.
    pub fn piece_after(&self, piece: &Piece) -> Piece {
        let station = self.timetable.station_at(piece.start);
        if piece.end < self.timetable.end_of(station) {
            return self.piece_in(station, piece.end);
        }
        let next = self.timetable.after(station);
        self.piece_in(next, self.timetable.begin_of(next))
    }

    fn piece_in(&self, station: Station, tau: Since) -> Piece {
        self.standing.over(self.plain_piece(station), tau)
    }

    /// The piece with no standing offset.
    fn plain_piece(&self, station: Station) -> Piece {
        let Station { stage, part } = station;
        let start = self.timetable.begin_of(station);
        let end = self.timetable.end_of(station);
        let here = self.shifted(stage);
        let there = self.shifted(stage + 1);
        let distance = there - here;
        let half_way = here + distance / 2.0;
        let drift = self.timetable.way(stage);
        let (before, after, rate, bend) = match part {
            StagePart::Build | StagePart::Dwell => (here, here, 1.0, 0.0),
            // A stage that moves another copy.
            StagePart::Lean | StagePart::Settle if distance == 0.0 => (here, here, 1.0, 0.0),
            // ease(p) = 2p^2, then 1 - 2(1 - p)^2
            StagePart::Lean => (here, half_way, 1.0, 2.0 * distance / (drift * drift)),
            StagePart::Settle => (
                half_way,
                there,
                1.0 + 2.0 * distance / drift,
                -2.0 * distance / (drift * drift),
            ),
        };
        Piece {
            start,
            end,
            from: start.steady_place() + before,
            to: end.steady_place() + after,
            rate,
            bend,
            building: (part == StagePart::Build && self.timetable.is_rebuilt(stage)).then(|| {
                Building {
                    from: start.steady_place() + before,
                    built: self.timetable.stood(stage),
                }
            }),
            grown: self.timetable.grown(stage),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::part::CopyNumber;
    use crate::phrase::Phrase;
    use crate::settings::{CopiesMove, Motion, MotionSettings, Settings};

    fn since(beats: Beats) -> Since {
        Since::new(beats)
    }

    fn place(beats: Beats) -> MaterialPlace {
        MaterialPlace::new(beats)
    }

    fn twelve_steps() -> Phrase {
        Phrase::from_text("D4 F4 G4 . A4 . C5 A4 . G4 E4 .", 0.25).unwrap()
    }

    fn course(motion: MotionSettings, copy: usize) -> Course<'static> {
        let settings = Settings {
            motion,
            ..Settings::default()
        };
        let rule = Box::leak(Box::new(Rule::new(&twelve_steps(), &settings, 24.0)));
        let (schedule, copy) = (Schedule::Generated(rule), CopyNumber::new(copy).unwrap());
        let timetable = Timetable::new(schedule, copy, Going::first(schedule, copy));
        Course::new(timetable, Standing::at(0.0))
    }

    /// Worked by hand: a cycle of 3 beats, a shift of a sixteenth, dwells of 8 and drifts of 4 cycles.
    #[test]
    fn a_drift_of_a_sixteenth_over_four_cycles_peaks_at_one_twenty_fourth() {
        let course = course(MotionSettings::default(), 1);
        assert_eq!(course.timetable.start_of(1), since(36.0));
        let middle = course.piece_at(since(30.0));
        assert_eq!(middle.start, since(30.0));
        assert!((middle.ratio_at(since(30.0)) - (1.0 + 0.5 / 12.0)).abs() < 1e-12);
        assert_eq!(course.timetable.last_stage(), Some(12));
        assert_eq!(course.timetable.start_of(12), since(432.0));
        assert_eq!(course.displacement(since(10_000.0)), 3.0);
    }

    #[test]
    fn the_copy_is_half_a_step_ahead_in_the_middle_and_locked_at_the_end() {
        let course = course(MotionSettings::default(), 1);
        assert_eq!(course.displacement(since(24.0)), 0.0);
        assert!((course.displacement(since(30.0)) - 0.125).abs() < 1e-12);
        assert_eq!(course.displacement(since(36.0)), 0.25);
        assert!((course.displacement(since(27.0)) - 0.25 * 2.0 * 0.0625).abs() < 1e-12);
    }

    #[test]
    fn pieces_follow_each_other_without_a_seam() {
        let course = course(MotionSettings::default(), 3);
        let mut piece = course.piece_at(since(0.0));
        while piece.end.is_finite() {
            let next = course.piece_after(&piece);
            assert_eq!(piece.end, next.start);
            assert!((piece.to - next.from).abs() < 1e-9);
            assert!((piece.place_at(piece.end) - piece.to).abs() < 1e-9);
            piece = next;
        }
    }

    #[test]
    fn a_jump_keeps_time_and_leaves_the_material() {
        let jump = MotionSettings {
            motion: Motion::Jump,
            ..MotionSettings::default()
        };
        let course = course(jump, 2);
        let first = course.piece_at(since(0.0));
        let second = course.piece_after(&first);
        assert_eq!((first.end, first.to), (since(24.0), place(24.0)));
        assert_eq!((second.start, second.from), (since(24.0), place(24.5)));
        assert_eq!(second.rate, 1.0);
    }

    #[test]
    fn in_turn_one_copy_moves_a_stage() {
        let motion = MotionSettings {
            copies: 3,
            copies_move: CopiesMove::InTurn,
            ..MotionSettings::default()
        };
        let shifted = |copy, stage| course(motion, copy).shifted(stage) / 0.25;
        let after: Vec<[f64; 3]> = (0..=4)
            .map(|stage| [1, 2, 3].map(|copy| shifted(copy, stage)))
            .collect();
        assert_eq!(
            after,
            [
                [0., 0., 0.],
                [1., 0., 0.],
                [1., 1., 0.],
                [1., 1., 1.],
                [2., 1., 1.]
            ]
        );
    }

    #[test]
    fn a_build_up_opens_every_stage_but_the_first() {
        let motion = MotionSettings {
            motion: Motion::BuildUp,
            ..MotionSettings::default()
        };
        let course = course(motion, 1);
        let first = course.piece_at(since(0.0));
        let second = course.piece_after(&first);
        let third = course.piece_after(&second);
        assert_eq!((first.building, first.end), (None, since(24.0)));
        assert_eq!(
            (second.building.map(|building| building.from), second.end),
            (Some(place(24.25)), since(48.0))
        );
        assert_eq!((third.building, third.end), (None, since(72.0)));
    }

    #[test]
    fn a_drift_too_fast_for_a_player_takes_more_cycles() {
        let short = Phrase::from_text("D4 F4", 0.25).unwrap();
        let motion = MotionSettings {
            copies: 4,
            shift_by: 2,
            drift: 1,
            ..Default::default()
        };
        let settings = Settings {
            motion,
            ..Settings::default()
        };
        // Copy 4 moves 2 beats: 4 beats of drift at least, 8 cycles of half a beat.
        assert_eq!(drift_cycles(&short, &settings), 8);
        let back = Settings {
            motion: MotionSettings {
                shift_by: -2,
                ..motion
            },
            ..settings
        };
        assert_eq!(drift_cycles(&short, &back), 16);
    }

    #[test]
    fn a_changed_offset_is_approached_and_not_leapt_to_while_drifting() {
        let standing = Standing::at(0.0).glide(since(10.0), 0.5, 0.25 / 12.0);
        assert_eq!(standing.value(since(10.0)), 0.0);
        assert!((standing.value(since(22.0)) - 0.25).abs() < 1e-12);
        assert_eq!(standing.value(since(34.0)), 0.5);
        let mut course = course(MotionSettings::default(), 1);
        course.standing = standing;
        let piece = course.piece_at(since(5.0));
        assert_eq!(piece.end, since(10.0));
        let gliding = course.piece_after(&piece);
        assert_eq!((gliding.start, gliding.end), (since(10.0), since(24.0)));
        assert!((gliding.rate - (1.0 + 0.25 / 12.0)).abs() < 1e-12);
        let leaning = course.piece_after(&gliding);
        assert_eq!(leaning.start, since(24.0));
        assert!((gliding.to - leaning.from).abs() < 1e-12);
    }
}
