//! Where a player stands in what is practised: pass by pass, each followed and judged.

use super::{Exercise, Practising, Round};
use crate::follower::{
    Follower, Goal, Heard, Latency, Pass, Standing, Struck, Tapping, TappingError,
};
use crate::note::Key;
use crate::part::Part;
use crate::partner::{Manner, Partner};
use crate::process::Process;
use crate::time::{Beats, HAIR, Span};

/// Steps before a round from which on what is struck belongs to it: an early first note.
const EARLY: f64 = 0.5;

/// The fewest notes of a pass that was broken off of which something is said.
const FEWEST: usize = 8;

/// What a player is in the middle of.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Stage {
    /// Nothing is practised.
    #[default]
    Off,
    /// The song has to come to where the round begins.
    Waits,
    /// A pass is counted in, or goes on.
    Plays,
    /// The latency is measured.
    Taps,
    /// The song has stopped, and what was practised with it has too.
    Rests,
}

/// A pass, and what it was a pass through.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Judged {
    /// What was played.
    pub pass: Pass,
    /// Whose part.
    pub part: Part,
    /// Of what.
    pub exercise: Exercise,
    /// What the part had to do.
    pub goal: Goal,
    /// Beats a minute.
    pub tempo: f64,
}

/// What can be told of a rehearsal at any moment.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Told {
    /// What the player is in the middle of.
    pub stage: Stage,
    /// How many passes there have been.
    pub passes: u32,
    /// How far the player is in this one.
    pub standing: Option<Standing>,
    /// The latency that was tapped, or why it is none yet.
    pub tapped: Option<Result<Latency, TappingError>>,
}

/// A player, followed through what is practised.
///
/// # Real-time
/// Making one takes memory; all else allocates never, blocks never.
#[derive(Debug)]
pub struct Rehearsal {
    asked: Practising,
    follower: Follower,
    partner: Partner,
    tapping: Tapping,
    /// The round that a pass goes through, in the song, if one is on.
    through: Option<Round>,
    /// The song has stopped: nothing goes on by itself until it is asked for anew.
    rests: bool,
    passes: u32,
    news: Option<Judged>,
}

impl Default for Rehearsal {
    fn default() -> Self {
        Self {
            asked: Practising::Not,
            follower: Follower::new(0.25),
            partner: Partner::new(Manner::Rigid, 0.25, 0.0, 0),
            tapping: Tapping::default(),
            through: None,
            rests: false,
            passes: 0,
            news: None,
        }
    }
}

impl Rehearsal {
    /// What is asked for.
    pub fn asked(&self) -> &Practising {
        &self.asked
    }

    /// This is asked for from now on. Whether it is something else, so that it begins.
    pub(crate) fn ask(&mut self, asked: Practising) -> bool {
        let is_other = !self.asked.is_as(&asked);
        self.asked = asked;
        if is_other {
            self.through = None;
            self.rests = false;
            self.tapping = Tapping::default();
        }
        if let Some(practice) = self.asked.practice() {
            self.follower.set_latency_ms(practice.latency_ms);
            self.partner.set_manner(practice.manner);
        }
        is_other
    }

    /// The song starts, or stops: with it, what is practised.
    pub(crate) fn rest(&mut self, rests: bool) {
        self.rests = rests;
    }

    /// Whether something goes on by itself, as long as the song is at rest.
    pub(crate) fn goes_on_alone(&self) -> bool {
        self.is_on() && !self.rests
    }

    /// Whether anything is played by hand, and so not captured.
    pub fn is_on(&self) -> bool {
        self.asked != Practising::Not
    }

    /// Nothing is asked for, so that whatever is asked for next begins.
    pub(crate) fn leave_off(&mut self) {
        self.ask(Practising::Not);
    }

    /// What is practised, in a song in which the process begins at `origin`.
    pub(crate) fn round(&self, origin: Beats) -> Option<Round> {
        let practice = self.asked.practice()?;
        Some(practice.round.in_song(origin))
    }

    /// The pass that is on.
    pub(crate) fn through(&self) -> Option<Round> {
        self.through
    }

    /// A pass begins.
    pub(crate) fn begin(&mut self, round: Round, step: Beats) {
        let Some(practice) = self.asked.practice() else {
            return;
        };
        self.follower.begin(step);
        self.partner = Partner::new(practice.manner, step, 0.0, practice.seed);
        self.through = Some(round);
    }

    /// The pass that is on is over, and is judged.
    pub(crate) fn end(&mut self, process: &Process, tempo: f64) {
        let Some((round, practice)) = self.through.take().zip(self.asked.practice()) else {
            return;
        };
        let Round { span, goal } = round;
        self.news = Some(Judged {
            pass: self.follower.pass(process, practice.part, span, goal),
            part: practice.part,
            exercise: practice.exercise,
            goal,
            tempo,
        });
        self.passes = self.passes.wrapping_add(1);
    }

    /// The pass that is on is broken off at song position `at`. There is something to say of what
    /// was played until then, unless it was to lead somewhere.
    pub(crate) fn break_off(&mut self, process: &Process, tempo: f64, at: Beats) {
        let Some(mut round) = self.through else {
            return;
        };
        round.span.end = round.span.end.min(at);
        let says = round.goal == Goal::Stay && self.follower.matches().len() >= FEWEST;
        self.through = says.then_some(round);
        self.end(process, tempo);
    }

    /// A key is struck at song position `at`.
    pub(crate) fn hear(&mut self, process: &Process, at: Beats, key: Key, beat_ms: f64) {
        let Some(practice) = self.asked.practice() else {
            if matches!(self.asked, Practising::Tapping(_)) {
                self.tapping.tap(at - process.origin(), 1.0, beat_ms);
            }
            return;
        };
        let early = EARLY * process.settings().step();
        if self
            .through
            .is_none_or(|round| at < round.span.start - early)
        {
            return;
        }
        let struck = Struck { at, key, beat_ms };
        if let Heard::Matched(new) = self.follower.hear(process, practice.part, struck) {
            self.partner.hears(new.over_plan(), new.over_steady);
        }
    }

    /// Beats by which the steady voice is ahead of what is written, if it gives way.
    pub(crate) fn steady_ahead(&self) -> Option<Beats> {
        let practice = self.asked.practice()?;
        (practice.manner != Manner::Rigid).then(|| self.partner.ahead())
    }

    /// The song rolls through `span`, without a leap.
    pub(crate) fn roll(&mut self, process: &Process, span: Span) {
        let step = process.settings().step();
        if self.through.is_none()
            && let Some(round) = self.round(process.origin())
            && span.end > round.span.start + HAIR
            && span.start < round.span.end - HAIR
        {
            let start = round.span.start.max(span.start);
            let span = Span::new(start, round.span.end);
            self.begin(Round { span, ..round }, step);
        }
    }

    /// The song has come to `at`.
    pub(crate) fn come_to(&mut self, process: &Process, at: Beats, tempo: f64) {
        if self
            .through
            .is_some_and(|round| at >= round.span.end - HAIR)
        {
            self.end(process, tempo);
        }
    }

    /// What became of the last pass, if that was not asked yet.
    pub fn take_judged(&mut self) -> Option<Judged> {
        self.news.take()
    }

    /// Where it stands.
    pub fn told(&self) -> Told {
        let stage = match (&self.asked, self.through) {
            (Practising::Not, _) => Stage::Off,
            _ if self.rests => Stage::Rests,
            (Practising::Tapping(_), _) => Stage::Taps,
            (Practising::Playing(_), None) => Stage::Waits,
            (Practising::Playing(_), Some(_)) => Stage::Plays,
        };
        Told {
            stage,
            passes: self.passes,
            standing: self.through.and(self.follower.standing()),
            tapped: (stage == Stage::Taps).then(|| self.tapping.latency()),
        }
    }
}
