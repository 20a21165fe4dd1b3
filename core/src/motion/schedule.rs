//! The schedule: how long every stage lasts, how it is come to, and where copies stand in it.
//!
//! Generated, every stage is like the others, and all is a multiplication. Written, it is a list
//! laid out in beats once, so that any stage is found by halving it.

use crate::part::{CopyNumber, MAX_COPIES};
use crate::phrase::Phrase;
use crate::route::{Afterwards, Dwell, MAX_STAGES, Route, WrittenStage};
use crate::settings::{Advance, CopiesMove, Motion, Settings, Shifts};
use crate::time::{Beats, HAIR, to_ticks};
use arrayvec::ArrayVec;

/// The schedule that follows from the settings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rule {
    dwell: Beats,
    on_cue: bool,
    drift: Beats,
    build: Beats,
    /// The stage that is never left.
    last: Option<u64>,
    /// Whether that is so since all are in unison there.
    until_unison: bool,
    /// Beats of one move of copy 1.
    shift: Beats,
    copies_move: CopiesMove,
    copies: u64,
}

impl Rule {
    /// The schedule of `phrase` under `settings`. `build` is how long a build-up takes, in beats.
    pub fn new(phrase: &Phrase, settings: &Settings, build: Beats) -> Self {
        let motion = &settings.motion;
        let cycles = |count: u32| f64::from(count) * phrase.length();
        Self {
            dwell: cycles(motion.dwell.max(1)),
            on_cue: motion.advance == Advance::OnCue,
            drift: match motion.motion {
                Motion::Drift => cycles(drift_cycles(phrase, settings)),
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
            until_unison: motion.shifts == Shifts::Auto,
            shift: settings.step() * f64::from(motion.shift_by),
            copies_move: motion.copies_move,
            copies: motion.copies.max(1) as u64,
        }
    }

    /// The same, or with dwells counted that wait for a cue.
    pub fn counting(self, counted: bool) -> Self {
        Self {
            on_cue: self.on_cue && !counted,
            ..self
        }
    }

    /// Beats ahead after `stage` shifts.
    fn ahead(&self, copy: CopyNumber, stage: u64) -> Beats {
        let number = copy.number() as u64;
        let (by, turn, turns) = match self.copies_move {
            CopiesMove::Fanned => (self.shift * number as f64, 1, 1),
            CopiesMove::Together => (self.shift, 1, 1),
            CopiesMove::InTurn => (self.shift, number, self.copies),
        };
        by * ((stage + turns).saturating_sub(turn) / turns) as f64
    }

    /// Beats of one move of `copy`, if it moves until it is in unison again, whenever the others do.
    pub(super) fn shift_to_unison(&self, copy: CopyNumber) -> Option<Beats> {
        let by = match self.copies_move {
            CopiesMove::Fanned => self.shift * copy.number() as f64,
            CopiesMove::Together => self.shift,
            CopiesMove::InTurn => return None,
        };
        self.until_unison.then_some(by)
    }

    fn round(&self) -> Beats {
        self.build + self.dwell + self.drift
    }
}

/// A written route, laid out in beats.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Laid {
    /// When each stage begins, were no cue waited for, and the first built up like the others.
    starts: ArrayVec<Beats, MAX_STAGES>,
    /// How long the way to the next stage takes; from the last one, to where a round goes on.
    ways: ArrayVec<Beats, MAX_STAGES>,
    /// From the beginning of the last round to its end.
    round: Beats,
    cycle: Beats,
    step: Beats,
    build: Beats,
    /// How long a stage is counted that waits for a cue.
    proposed: Beats,
    /// Whether any does wait.
    waits: bool,
}

impl Laid {
    /// Lays out `route`. `build` is how long a build-up takes, in beats.
    ///
    /// # Real-time
    /// Allocates never, blocks never; bounded by the stages.
    pub fn lay(&mut self, route: &Route, phrase: &Phrase, settings: &Settings, build: Beats) {
        self.cycle = phrase.length();
        self.step = settings.step();
        self.build = build;
        self.proposed = f64::from(settings.motion.dwell.max(1)) * self.cycle;
        self.starts.clear();
        self.ways.clear();
        self.waits = route
            .stages()
            .iter()
            .any(|stage| stage.dwell == Dwell::UntilCued);
        let copies = settings.motion.copies;
        let mut start = 0.0;
        for (index, stage) in route.stages().iter().enumerate() {
            let way = next_of(route, index).map_or(0.0, |(next, gained)| {
                self.way_between(stage, next, gained, copies)
            });
            self.starts.push(start);
            self.ways.push(way);
            start += self.build_of(stage) + self.dwell_of(stage) + way;
        }
        self.round = match route.afterwards() {
            Afterwards::Repeat { from, .. } => {
                start - self.starts.get(*from).copied().unwrap_or_default()
            }
            Afterwards::Hold | Afterwards::Silence => 0.0,
        };
    }

    /// Has dwells counted that wait for a cue.
    pub fn count(&mut self) {
        self.waits = false;
    }

    /// How long a drift from one stage to the next takes: as written, or as many cycles as keep
    /// every copy's tempo between half and double.
    fn way_between(
        &self,
        here: &WrittenStage,
        next: &WrittenStage,
        gained: Option<&[f64; MAX_COPIES]>,
        copies: usize,
    ) -> Beats {
        if next.way.motion != Motion::Drift {
            return 0.0;
        }
        let distance = |copy: usize| {
            let gained = gained.map_or(0.0, |gained| gained[copy]);
            (next.ahead[copy] + gained - here.ahead[copy]) * self.step
        };
        let needed = (0..copies.min(MAX_COPIES))
            .map(|copy| least_cycles(distance(copy), self.cycle))
            .fold(0, u32::max);
        f64::from(next.way.over.max(1).max(needed)) * self.cycle
    }

    /// When stage `stage`, of any round, begins; the first, which is not built up, where it would
    /// be whole.
    fn begins(&self, route: &Route, stage: u64) -> Beats {
        let (index, rounds) = place(route, stage);
        let built = match route.stages().first() {
            Some(first) if stage == 0 => self.build_of(first),
            _ => 0.0,
        };
        let start = self.starts.get(index).copied().unwrap_or_default();
        start + built + rounds as f64 * self.round
    }

    /// The stage that is on then.
    fn stage_at(&self, route: &Route, at: Beats) -> u64 {
        let (period, rounds) = match route.afterwards() {
            Afterwards::Repeat { from, .. } if self.round > 0.0 => {
                let begins = self.starts.get(*from).copied().unwrap_or_default();
                let rounds = ((at - begins) / self.round).floor().max(0.0);
                (self.starts.len() - from, rounds)
            }
            _ => (0, 0.0),
        };
        let at = at - rounds * self.round;
        let index = self.starts.partition_point(|start| *start <= at).max(1) - 1;
        index as u64 + period as u64 * rounds as u64
    }

    fn build_of(&self, stage: &WrittenStage) -> Beats {
        match stage.way.motion {
            Motion::BuildUp => self.build,
            Motion::Drift | Motion::Jump => 0.0,
        }
    }

    fn dwell_of(&self, stage: &WrittenStage) -> Beats {
        match stage.dwell {
            Dwell::Cycles(cycles) => f64::from(cycles) * self.cycle,
            Dwell::UntilCued => self.proposed,
        }
    }
}

/// The stage after stage `index`, and what has been gained on the way if that begins a round.
fn next_of(route: &Route, index: usize) -> Option<(&WrittenStage, Option<&[f64; MAX_COPIES]>)> {
    let following = route.stages().get(index + 1).map(|next| (next, None));
    following.or(match route.afterwards() {
        Afterwards::Repeat { from, gained } => Some((route.stages().get(*from)?, Some(gained))),
        Afterwards::Hold | Afterwards::Silence => None,
    })
}

/// The schedule that is kept: the settings' or the composer's.
#[derive(Clone, Copy, Debug)]
pub enum Schedule<'a> {
    /// It follows from the settings.
    Generated(&'a Rule),
    /// It is written.
    Written(&'a Route, &'a Laid),
}

impl Schedule<'_> {
    /// How long stage `stage` builds up before it is dwelt in. The first is never built.
    pub fn build(self, stage: u64) -> Beats {
        match self {
            _ if stage == 0 => 0.0,
            Self::Generated(rule) => rule.build,
            Self::Written(..) => self.on_list(stage, |laid, written, _| laid.build_of(written)),
        }
    }

    /// How long it is dwelt in; if it waits for a cue, how long is proposed to the performer.
    pub fn dwell(self, stage: u64) -> Beats {
        match self {
            Self::Generated(rule) => rule.dwell,
            Self::Written(..) => self.on_list(stage, |laid, written, _| laid.dwell_of(written)),
        }
    }

    /// How long the drift takes that leads on from it; 0 if it is left by a jump.
    pub fn way(self, stage: u64) -> Beats {
        match self {
            Self::Generated(rule) => rule.drift,
            Self::Written(..) => self.on_list(stage, |laid, _, index| laid.ways[index]),
        }
    }

    /// Beats ahead at which `copy` stands in it, its offset parameters aside.
    pub fn ahead(self, copy: CopyNumber, stage: u64) -> Beats {
        match self {
            Self::Generated(rule) => rule.ahead(copy, stage),
            Self::Written(route, laid) => {
                let (index, rounds) = place(route, stage);
                let gained = match route.afterwards() {
                    Afterwards::Repeat { gained, .. } => gained[copy.index()] * rounds as f64,
                    Afterwards::Hold | Afterwards::Silence => 0.0,
                };
                let written = route.stages().get(index);
                (written.map_or(0.0, |written| written.ahead_of(copy)) + gained) * laid.step
            }
        }
    }

    /// Notes of the phrase that sound in it, in the order of growth, if that is written.
    pub fn grown(self, stage: u64) -> Option<usize> {
        match self {
            Self::Generated(_) => None,
            Self::Written(..) => self.on_list(stage, |_, written, _| written.grown),
        }
        .map(|notes| notes as usize)
    }

    /// The stage that is never left, if there is one.
    pub fn last(self) -> Option<u64> {
        match self {
            Self::Generated(rule) => rule.last,
            Self::Written(route, _) => match route.afterwards() {
                Afterwards::Repeat { .. } => None,
                Afterwards::Hold | Afterwards::Silence => {
                    Some(route.stages().len().saturating_sub(1) as u64)
                }
            },
        }
    }

    /// Whether the last stage is left after all, and nothing sounds after it.
    pub fn ends_in_silence(self) -> bool {
        match self {
            Self::Generated(_) => false,
            Self::Written(route, _) => *route.afterwards() == Afterwards::Silence,
        }
    }

    /// Whether any stage waits for a cue.
    pub fn has_cues(self) -> bool {
        match self {
            Self::Generated(rule) => rule.on_cue,
            Self::Written(_, laid) => laid.waits,
        }
    }

    /// Whether it is dwelt in until a cue comes.
    pub fn waits(self, stage: u64) -> bool {
        match self {
            Self::Generated(rule) => rule.on_cue,
            Self::Written(_, laid) if !laid.waits => false,
            Self::Written(..) => {
                self.on_list(stage, |_, written, _| written.dwell == Dwell::UntilCued)
            }
        }
    }

    /// The first stage from `stage` on that waits for a cue.
    pub fn next_wait(self, stage: u64) -> Option<u64> {
        match self {
            Self::Generated(rule) => rule.on_cue.then_some(stage),
            Self::Written(_, laid) if !laid.waits => None,
            Self::Written(route, _) => {
                // In a round, every stage comes once more after the last.
                let more = 2 * route.stages().len() as u64;
                let last = self.last().unwrap_or(stage + more);
                (stage..=last).find(|stage| self.waits(*stage))
            }
        }
    }

    /// From the beginning of stage `from` to that of `to`, dwells
    /// that wait for a cue counted.
    pub fn between(self, from: u64, to: u64) -> Beats {
        match self {
            Self::Generated(rule) => to.saturating_sub(from) as f64 * rule.round(),
            Self::Written(route, laid) => laid.begins(route, to) - laid.begins(route, from),
        }
    }

    /// Which stage is on `elapsed` beats after stage `from` began; by rounding, one too early or
    /// too late.
    pub fn stage_after(self, from: u64, elapsed: Beats) -> u64 {
        match self {
            // `as` saturates.
            Self::Generated(rule) => from + (elapsed / rule.round()).floor() as u64,
            Self::Written(route, laid) => {
                laid.stage_at(route, laid.begins(route, from) + elapsed.max(0.0))
            }
        }
    }

    /// A stage and a round later things are as they were, moved on: how long that takes, where every stage is like
    /// the others.
    pub fn round(self) -> Option<Beats> {
        match self {
            Self::Generated(rule) => Some(rule.round()),
            Self::Written(..) => None,
        }
    }

    /// How long all drifts take, and all build-ups, until stage `last` is dwelt in.
    pub fn moves(self, last: u64) -> (Beats, Beats) {
        match self {
            Self::Generated(rule) => (rule.drift * last as f64, rule.build * last as f64),
            Self::Written(..) => (0..last)
                .map(|stage| (self.way(stage), self.build(stage + 1)))
                .fold((0.0, 0.0), |(ways, builds), (way, build)| {
                    (ways + way, builds + build)
                }),
        }
    }

    /// How long a form that goes on for ever takes until it begins again: so many `stages` of a
    /// generated one, a round of a written one.
    pub fn round_of(self, stages: u64) -> Beats {
        match self {
            Self::Generated(rule) => stages as f64 * rule.round(),
            Self::Written(_, laid) => laid.round,
        }
    }

    fn on_list<T: Default>(self, stage: u64, ask: impl Fn(&Laid, &WrittenStage, usize) -> T) -> T {
        let Self::Written(route, laid) = self else {
            return T::default();
        };
        let (index, _) = place(route, stage);
        match route.stages().get(index) {
            Some(written) if index < laid.ways.len() => ask(laid, written, index),
            _ => T::default(),
        }
    }
}

/// Where in the list stage `stage` stands, and after how many rounds.
fn place(route: &Route, stage: u64) -> (usize, u64) {
    let count = route.stages().len() as u64;
    if stage < count {
        return (stage as usize, 0);
    }
    match route.afterwards() {
        Afterwards::Repeat { from, .. } => {
            let from = *from as u64;
            let period = count.saturating_sub(from).max(1);
            let beyond = stage - from;
            ((from + beyond % period) as usize, beyond / period)
        }
        Afterwards::Hold | Afterwards::Silence => (count.saturating_sub(1) as usize, 0),
    }
}

/// Beats that a drift of `distance` beats takes at least, so that its tempo stays between half and
/// double: the ease peaks at twice the mean rate, 1 + 2d/R <= 2 ahead, 1 - 2d/R >= 1/2 behind.
pub(super) fn shortest_drift(distance: Beats) -> Beats {
    if distance < 0.0 {
        -4.0 * distance
    } else {
        2.0 * distance
    }
}

/// The same in whole cycles.
pub fn least_cycles(distance: Beats, cycle: Beats) -> u32 {
    // `as` saturates.
    (shortest_drift(distance) / cycle - HAIR).ceil() as u32
}

/// The whole cycles a drift takes: as asked, or as many as keep every copy's tempo between half
/// and double.
pub fn drift_cycles(phrase: &Phrase, settings: &Settings) -> u32 {
    let motion = &settings.motion;
    let fan = match motion.copies_move {
        CopiesMove::Fanned => motion.copies.max(1),
        CopiesMove::Together | CopiesMove::InTurn => 1,
    };
    let furthest = settings.step() * f64::from(motion.shift_by) * fan as f64;
    motion
        .drift
        .max(1)
        .max(least_cycles(furthest, phrase.length()))
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
pub(super) fn greatest_common_divisor(a: i64, b: i64) -> i64 {
    if b == 0 {
        a
    } else {
        greatest_common_divisor(b, a % b)
    }
}
