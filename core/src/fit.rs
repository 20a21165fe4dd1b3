//! Fit: how many cycles to dwell, to drift and to grow so that the whole lasts as long as wished.
//!
//! Counts are varied within [`Ranges`]: those that are customary in this repertory, whatever is
//! set, or those near what is set. The length of the whole is linear in each count, so that all
//! there are can be tried. A written route has a count for every stage, and is fitted in
//! [`fit_whole`] and [`fit_moment`].

mod route;

pub use route::{Because, Fitted, Moment, Unfit, fit_moment, fit_whole};

use crate::form::{BUILD_RANGE, HOLD_RANGE, SLIDE_RANGE};
use crate::motion::{StagePart, Station, drift_cycles, shifts_to_unison};
use crate::part::{CopyNumber, Part};
use crate::phrase::Phrase;
use crate::process::Process;
use crate::settings::{Advance, Growth, Motion, Settings};
use crate::time::{Beats, MaterialPlace};
use std::cmp::Ordering;
use std::ops::RangeInclusive;

/// The counts that are varied.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Counts {
    /// Cycles locked at one offset.
    pub dwell: u32,
    /// Cycles that a drift takes.
    pub drift: u32,
    /// Cycles between two steps of growth.
    pub growth_every: u32,
}

impl Counts {
    /// As set.
    pub fn of(settings: &Settings) -> Self {
        Self {
            dwell: settings.motion.dwell,
            drift: settings.motion.drift,
            growth_every: settings.growth.every,
        }
    }

    /// The same settings with these counts.
    pub fn put_in(self, settings: &Settings) -> Settings {
        let mut settings = *settings;
        settings.motion.dwell = self.dwell;
        settings.motion.drift = self.drift;
        settings.growth.every = self.growth_every;
        settings
    }
}

/// The least and the most that each count may be, in cycles.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Ranges {
    /// Of the dwell.
    pub dwell: RangeInclusive<u32>,
    /// Of the drift.
    pub drift: RangeInclusive<u32>,
    /// Of the cycles between two steps of growth.
    pub growth_every: RangeInclusive<u32>,
}

impl Ranges {
    /// What scores of this repertory ask for: places held for 4 to 24 cycles, slides over 4 to 16,
    /// a build-up's stages played 2 to 8 times (from memory of published directions, rounded
    /// outwards). They do not depend on what is set, so what is in reach once is in reach again.
    pub fn customary() -> Self {
        Self {
            dwell: 4..=24,
            drift: 4..=16,
            growth_every: 2..=8,
        }
    }

    /// As far as musicians customarily vary the counts they are given, see [`form`](crate::form).
    pub fn around(set: Counts) -> Self {
        Self {
            dwell: around(set.dwell, HOLD_RANGE, MOST_CYCLES),
            drift: around(set.drift, SLIDE_RANGE, MOST_CYCLES),
            growth_every: around(set.growth_every, BUILD_RANGE, MOST_EVERY),
        }
    }
}

/// Counts, and how long the whole lasts with them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Proposal {
    /// The counts.
    pub counts: Counts,
    /// The whole, as [`Totals::chosen`](crate::form::Totals) has it.
    pub lasts: Beats,
}

/// What fits.
#[derive(Clone, Debug, PartialEq)]
pub struct Fit {
    /// The nearest first, by the clock's seconds; each of the others lies farther off but is truer
    /// to the proportions that were set. At most [`PROPOSALS`], never none.
    pub proposals: Vec<Proposal>,
    /// The shortest that the ranges allow.
    pub shortest: Beats,
    /// The longest.
    pub longest: Beats,
}

/// The most that are proposed: a choice, not a catalogue.
pub const PROPOSALS: usize = 3;

/// The longest a dwell or a drift, and the slowest growth, that can be set, in cycles.
const MOST_CYCLES: u32 = 64;
const MOST_EVERY: u32 = 32;

impl Fit {
    /// Whether the ranges reach a whole of so many seconds; `clock` as in [`fit`].
    pub fn reaches(&self, seconds: f64, clock: impl Fn(Beats) -> f64) -> bool {
        let clock = |beats: Beats| clock(beats).round();
        (clock(self.shortest)..=clock(self.longest)).contains(&seconds.round())
    }
}

/// What makes `phrase` under `settings` last `seconds`, or as nearly so as counts within `ranges`
/// can. `clock` says in how many seconds the song goes through so many beats from the origin on.
///
/// Of counts that come equally near by the clock, those that keep the proportions that were set;
/// of those, the ones nearest to what was set.
pub fn fit(
    phrase: &Phrase,
    settings: &Settings,
    ranges: &Ranges,
    seconds: f64,
    clock: impl Fn(Beats) -> f64,
) -> Fit {
    let (all, varied) = within(phrase, settings, ranges);
    let off = |proposal: &Proposal| (clock(proposal.lasts).round() - seconds.round()).abs();
    let mut ranked: Vec<(Proposal, Merit)> = all
        .iter()
        .map(|proposal| {
            (
                *proposal,
                Merit::of(proposal, settings, varied, off(proposal)),
            )
        })
        .collect();
    ranked.sort_by(|(_, one), (_, other)| one.against(other));
    let mut truest = f64::INFINITY;
    let truer = ranked.into_iter().filter(|(_, merit)| {
        let truer = merit.out_of_proportion < truest - 1e-9;
        truest = truest.min(merit.out_of_proportion);
        truer
    });
    let proposals = truer.map(|(proposal, _)| proposal).take(PROPOSALS);
    let lengths = || all.iter().map(|proposal| proposal.lasts);
    Fit {
        proposals: proposals.collect(),
        shortest: lengths().fold(f64::INFINITY, f64::min),
        longest: lengths().fold(0.0, f64::max),
    }
}

/// How good a proposal is; less is better, the first counting most.
#[derive(Clone, Copy, Debug)]
struct Merit {
    /// Seconds by the clock.
    off: f64,
    /// By how much the counts have changed against each other, as logarithms.
    out_of_proportion: f64,
    /// By how much they have changed at all.
    changed: f64,
}

impl Merit {
    fn of(proposal: &Proposal, settings: &Settings, varied: Varied, off: f64) -> Self {
        let (set, now) = (Counts::of(settings), proposal.counts);
        let times = |now: u32, set: u32| (f64::from(now) / f64::from(set.max(1))).ln();
        let dwell = varied.dwell.then(|| times(now.dwell, set.dwell));
        let drift = varied.drift.then(|| times(now.drift, set.drift));
        let growth = varied
            .growth
            .then(|| times(now.growth_every, set.growth_every));
        let against = |one: Option<f64>, other: Option<f64>| match (one, other) {
            (Some(one), Some(other)) => (one - other).abs(),
            _ => 0.0,
        };
        let each = [dwell, drift, growth].into_iter().flatten();
        Self {
            off,
            out_of_proportion: against(dwell, drift)
                + against(dwell, growth)
                + against(drift, growth),
            changed: each.map(f64::abs).sum(),
        }
    }

    fn against(&self, other: &Self) -> Ordering {
        // A hair apart is the same, so that rounding decides nothing.
        let hairs = |value: f64| (value * 1e9).round();
        self.off
            .total_cmp(&other.off)
            .then(hairs(self.out_of_proportion).total_cmp(&hairs(other.out_of_proportion)))
            .then(hairs(self.changed).total_cmp(&hairs(other.changed)))
    }
}

/// Which counts make a difference.
#[derive(Clone, Copy, Debug)]
struct Varied {
    dwell: bool,
    drift: bool,
    growth: bool,
}

/// All counts within the ranges, and how long the whole lasts with each.
fn within(phrase: &Phrase, settings: &Settings, ranges: &Ranges) -> (Vec<Proposal>, Varied) {
    let set = Counts::of(settings);
    let as_set = Measure::of(phrase, settings);
    let varied = Varied {
        dwell: as_set.dwells(),
        drift: as_set.drifts(),
        growth: as_set.growth_dominates(set),
    };
    let range = |is_varied: bool, set: u32, range: &RangeInclusive<u32>| {
        if is_varied { range.clone() } else { set..=set }
    };
    let dwells = range(varied.dwell, set.dwell, &ranges.dwell);
    let drifts = range(varied.drift, set.drift, &ranges.drift);
    let paces = range(varied.growth, set.growth_every, &ranges.growth_every);
    let mut all = Vec::new();
    for growth_every in paces {
        let counts = Counts {
            growth_every,
            ..set
        };
        let measure = Measure::of(phrase, &counts.put_in(settings));
        for dwell in dwells.clone() {
            for drift in drifts.clone() {
                let counts = Counts {
                    dwell,
                    drift,
                    growth_every,
                };
                let lasts = measure.lasts(counts);
                all.push(Proposal { counts, lasts });
            }
        }
    }
    (all, varied)
}

/// From the least to the most that `set` customarily becomes, in whole cycles.
fn around(set: u32, range: (f64, f64), most: u32) -> RangeInclusive<u32> {
    let times = |factor: f64| f64::from(set) * factor;
    let least = times(range.0).ceil().max(1.0) as u32;
    least.min(most)..=(times(range.1).floor() as u32).clamp(1, most)
}

/// What the length of the whole is made of, for one pace of growth.
#[derive(Clone, Copy, Debug)]
struct Measure {
    /// Beats of a cycle.
    cycle: Beats,
    /// Beats until the steady voice has grown, if it ever has.
    grown: Option<Beats>,
    /// Beats until the last copy begins to count its dwells.
    counted_from: Option<Beats>,
    /// Shifts until the end.
    shifts: u64,
    /// Beats of one build-up.
    build: Beats,
    /// The fewest cycles a drift can take; none if the copies do not drift.
    least_drift: Option<u32>,
    /// Whether nothing ever happens, so that a dwell of it is listed.
    uneventful: bool,
}

impl Measure {
    fn of(phrase: &Phrase, settings: &Settings) -> Self {
        let mut settings = *settings;
        // Where a dwell waits for a cue, the form lists it as counted, and so does this.
        settings.motion.advance = Advance::Counted;
        let settings = &settings;
        let process = Box::new(Process::new(phrase.clone(), *settings, 0.0));
        let copies = process.voices().copies();
        let timetable = process.voices().course(CopyNumber::FIRST).timetable();
        let station = |stage, part| Station { stage, part };
        let drifting = settings.motion.motion == Motion::Drift;
        Self {
            cycle: phrase.length(),
            grown: process
                .voices()
                .laps(Part::Steady)
                .done()
                .map(MaterialPlace::beats),
            counted_from: copies
                .filter_map(|copy| process.voices().moves_from(Part::Copy(copy)))
                .reduce(f64::max),
            shifts: timetable
                .last_stage()
                .unwrap_or_else(|| shifts_to_unison(phrase, settings)),
            build: timetable.begin_of(station(1, StagePart::Dwell)) - timetable.start_of(1),
            least_drift: drifting.then(|| {
                let mut fastest = *settings;
                fastest.motion.drift = 1;
                drift_cycles(phrase, &fastest)
            }),
            uneventful: process.voices().count() == 1 && settings.growth.growth == Growth::Off,
        }
    }

    /// The whole with these counts, in beats.
    fn lasts(&self, counts: Counts) -> Beats {
        let dwell = f64::from(counts.dwell.max(1)) * self.cycle;
        let drift = self.drift_cycles(counts.drift) * self.cycle;
        let shifts = self.shifts as f64;
        let grown = self.grown.unwrap_or(dwell);
        let moved = self
            .counted_from
            .map(|from| from + shifts * (self.build + dwell + drift) + dwell);
        let end = moved.map_or(grown, |moved| moved.max(grown));
        if self.uneventful { end + dwell } else { end }
    }

    fn drift_cycles(&self, asked: u32) -> f64 {
        self.least_drift
            .map_or(0.0, |least| f64::from(asked.max(1).max(least)))
    }

    /// Whether the dwell has a say.
    fn dwells(&self) -> bool {
        self.uneventful || self.counted_from.is_some() || self.grown.is_none()
    }

    /// Whether the drift has a say.
    fn drifts(&self) -> bool {
        self.counted_from.is_some() && self.least_drift.is_some() && self.shifts > 0
    }

    /// Whether more than half of the whole is growth, so that dwells and drifts alone would have
    /// to give way too far.
    fn growth_dominates(&self, counts: Counts) -> bool {
        let builds = self.counted_from.map_or(0.0, |_| self.build);
        let growing = self.grown.unwrap_or(0.0) + builds * self.shifts as f64;
        growing > self.lasts(counts) / 2.0
    }
}

/// A length of time that was typed, in seconds: "6:00", "1:02:30", "6" or "6.5" (minutes), "360 s",
/// "6 min". `None` if it is none, or not longer than nothing.
pub fn seconds_of(text: &str) -> Option<f64> {
    let text = text.trim().to_lowercase().replace(',', ".");
    let number = |text: &str| {
        let digits = text
            .chars()
            .all(|sign| sign.is_ascii_digit() || sign == '.');
        let value: f64 = digits.then(|| text.parse().ok())??;
        Some(value)
    };
    let seconds = if text.contains(':') {
        let parts: Vec<f64> = text
            .split(':')
            .map(|part| number(part.trim()))
            .collect::<Option<_>>()?;
        let below_sixty = parts.iter().skip(1).all(|part| *part < 60.0);
        let known = (2..=3).contains(&parts.len()) && below_sixty;
        known.then(|| parts.iter().fold(0.0, |all, part| all * 60.0 + part))?
    } else {
        let end = text.find(|sign: char| sign.is_alphabetic() || sign.is_whitespace());
        let (value, unit) = text.split_at(end.unwrap_or(text.len()));
        let unit_seconds = match unit.trim() {
            "" | "m" | "min" | "minute" | "minutes" => 60.0,
            "s" | "sec" | "second" | "seconds" => 1.0,
            "h" | "hour" | "hours" => 3600.0,
            _ => return None,
        };
        number(value)? * unit_seconds
    };
    (seconds > 0.0 && seconds.is_finite()).then_some(seconds)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::form::Form;
    use crate::settings::{CopiesMove, GrowthOrder, Shifts};
    use proptest::prelude::*;

    /// Twelve steps, three beats.
    fn twelve() -> Phrase {
        Phrase::from_text("D4 F4 . A4 C5 . G4 A4 . F4 E4 .", 0.25).unwrap()
    }

    fn lasts(phrase: &Phrase, settings: &Settings) -> Beats {
        let process = Process::new(phrase.clone(), *settings, 0.0);
        Form::new(&process).totals.chosen
    }

    fn at(tempo: f64) -> impl Fn(Beats) -> f64 {
        move |beats| beats * 60.0 / tempo
    }

    /// Within what is near the counts that are set.
    fn near(phrase: &Phrase, settings: &Settings, seconds: f64, tempo: f64) -> Fit {
        let ranges = Ranges::around(Counts::of(settings));
        fit(phrase, settings, &ranges, seconds, at(tempo))
    }

    fn counts(dwell: u32, drift: u32) -> Counts {
        Counts {
            dwell,
            drift,
            growth_every: Settings::default().growth.every,
        }
    }

    /// By hand: a cycle of 3 beats is 2 s at 90, so 6:00 is 180 cycles, of 13 dwells and 12 drifts:
    /// 13 D + 12 R. A whole of 180, 179, ... 168 cycles needs a D of 12, 11, ... 0 more than a
    /// multiple of 12. So 12 : 2 lands on it; a cycle short is 11 : 3, two are 10 : 4, three 9 : 5;
    /// one to six more would need a D of 13 to 18, or 1 to 6. Each is truer to the 2 : 1 that was
    /// set than the one before.
    #[test]
    fn six_minutes_of_twelve_steps_and_what_is_nearly_that_but_truer() {
        let fit = near(&twelve(), &Settings::default(), 360.0, 90.0);
        let found: Vec<_> = fit.proposals.iter().map(|one| one.counts).collect();
        assert_eq!(found, [counts(12, 2), counts(11, 3), counts(10, 4)]);
        assert_eq!(fit.proposals[0].lasts, 540.0);
    }

    #[test]
    fn what_lasts_as_wished_already_stays() {
        let settings = Settings::default();
        let fit = near(&twelve(), &settings, 228.0, 120.0);
        assert_eq!(fit.proposals.len(), 1);
        assert_eq!(fit.proposals[0].counts, Counts::of(&settings));
    }

    /// Dwells of 6 to 12 cycles, drifts of 2 to 8: 13 * 6 + 12 * 2 = 102 cycles and
    /// 13 * 12 + 12 * 8 = 252, at 1.5 s.
    #[test]
    fn what_is_out_of_reach_gets_the_nearest_end() {
        let fit = near(&twelve(), &Settings::default(), 3600.0, 120.0);
        assert_eq!((fit.shortest, fit.longest), (306.0, 756.0));
        assert!(!fit.reaches(3600.0, at(120.0)) && fit.reaches(228.0, at(120.0)));
        assert_eq!(fit.proposals[0].counts, counts(12, 8));
    }

    /// 13 dwells of 4 to 24 cycles and 12 drifts of 4 to 16, a cycle being 3 beats:
    /// 13 * 4 + 12 * 4 = 100 cycles and 13 * 24 + 12 * 16 = 504.
    #[test]
    fn what_is_customary_stays_whatever_is_set_and_whatever_was_chosen_before() {
        let mut settings = Settings::default();
        for (dwell, drift) in [(8, 4), (24, 16), (1, 64), (4, 4)] {
            settings = counts(dwell, drift).put_in(&settings);
            let fit = fit(&twelve(), &settings, &Ranges::customary(), 600.0, at(120.0));
            assert_eq!(
                (fit.shortest, fit.longest),
                (300.0, 1512.0),
                "{dwell}:{drift}"
            );
            assert_eq!(
                lasts(&twelve(), &fit.proposals[0].counts.put_in(&settings)),
                1200.0
            );
        }
    }

    #[test]
    fn a_piece_that_mostly_grows_is_fitted_by_its_growth_too() {
        let mut settings = Settings::default();
        settings.growth.growth = Growth::Lengthen;
        settings.growth.every = 8;
        settings.motion.dwell = 1;
        settings.motion.drift = 1;
        let as_set = lasts(&twelve(), &settings) / 2.0;
        let fit = near(&twelve(), &settings, as_set * 1.5, 120.0);
        assert!(fit.proposals[0].counts.growth_every > 8, "{fit:?}");
    }

    #[test]
    fn a_jump_is_fitted_by_its_dwells_alone() {
        let mut settings = Settings::default();
        settings.motion.motion = Motion::Jump;
        // 13 dwells of 10 cycles of 1.5 s.
        let fit = near(&twelve(), &settings, 195.0, 120.0);
        assert_eq!(fit.proposals[0].counts, counts(10, 4));
    }

    #[test]
    fn lengths_are_typed_as_people_write_them() {
        for text in [
            "6:00", "6", " 6.0 ", "6,0", "360 s", "360s", "6 min", "0:06:00", "0.1 h",
        ] {
            let seconds = seconds_of(text).unwrap_or_default();
            assert!((seconds - 360.0).abs() < 1e-9, "{text}: {seconds}");
        }
        assert_eq!(seconds_of("1:02:30"), Some(3750.0));
        for text in [
            "", "soon", "6:75", "1:2:3:4", "-6", "0", "6:", ":", "inf", "nan", "6 bars",
        ] {
            assert_eq!(seconds_of(text), None, "{text}");
        }
    }

    prop_compose! {
        fn any_settings()(
            copies in 0..=4usize,
            (dwell, drift, every) in (1..=10u32, 1..=8u32, 1..=6u32),
            motion in prop_oneof![
                Just(Motion::Drift), Just(Motion::Jump), Just(Motion::BuildUp)
            ],
            copies_move in prop_oneof![
                Just(CopiesMove::Fanned), Just(CopiesMove::Together), Just(CopiesMove::InTurn)
            ],
            shift_by in -4..=4i32,
            shifts in prop_oneof![
                Just(Shifts::Auto), Just(Shifts::Endless), (0..5u32).prop_map(Shifts::Count)
            ],
            entry in 0..=3u32,
            growth in prop_oneof![
                Just(Growth::Off), Just(Growth::Fill), Just(Growth::Lengthen)
            ],
            step in -3..=3i32,
            (copies_grow, on_cue) in any::<(bool, bool)>(),
        ) -> Settings {
            let mut settings = Settings::default();
            if on_cue {
                settings.motion.advance = Advance::OnCue;
            }
            let motions = &mut settings.motion;
            (motions.copies, motions.motion, motions.copies_move) = (copies, motion, copies_move);
            (motions.dwell, motions.drift, motions.entry) = (dwell, drift, entry);
            (motions.shift_by, motions.shifts) = (shift_by, shifts);
            let growing = &mut settings.growth;
            (growing.growth, growing.step, growing.every) = (growth, step, every);
            (growing.copies_grow, growing.order) = (copies_grow, GrowthOrder::Forward);
            settings
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]

        /// The form, which knows nothing of this, tells how long every customary choice lasts; no
        /// choice of dwell and drift comes nearer than what is proposed.
        #[test]
        fn nothing_customary_comes_nearer(
            settings in any_settings(),
            seconds in 1.0..900.0f64,
            tempo in 40.0..200.0f64,
        ) {
            let phrase = Phrase::from_text("D4 F4 . A4 . E4", 0.25).unwrap();
            let fit = near(&phrase, &settings, seconds, tempo);
            let off = |lasts: Beats| ((lasts * 60.0 / tempo).round() - seconds.round()).abs();
            let nearest = off(fit.proposals[0].lasts);
            for proposal in &fit.proposals {
                let real = lasts(&phrase, &proposal.counts.put_in(&settings));
                prop_assert!((real - proposal.lasts).abs() < 1e-6, "{proposal:?}: {real}");
                prop_assert!(off(proposal.lasts) >= nearest);
            }
            let set = settings.motion;
            let within = |count: u32, set: u32, least: f64, most: f64| {
                let times = f64::from(count) / f64::from(set);
                (least..=most).contains(&times)
            };
            for dwell in (1..=64).filter(|dwell| within(*dwell, set.dwell, 0.75, 1.5)) {
                for drift in (1..=64).filter(|drift| within(*drift, set.drift, 0.5, 2.0)) {
                    let mut settings = settings;
                    settings.motion.dwell = dwell;
                    settings.motion.drift = drift;
                    let lasts = lasts(&phrase, &settings);
                    prop_assert!(off(lasts) >= nearest, "dwell {dwell}, drift {drift}: {lasts}");
                    prop_assert!(lasts >= fit.shortest - 1e-6 && lasts <= fit.longest + 1e-6);
                }
            }
        }
    }
}
