//! The follower: what a player plays, found again in what the part should play.
//!
//! Every note that is struck is looked for, by pitch and time, among the notes that the part plays
//! around then. One note says little: the same pitch comes again, and some are wrong. So the
//! follower holds a belief about how far the player is from the plan, and each note sharpens it
//! (`follower/belief.rs`). From the plan follows how far the player is from the steady voice.
//!
//! Ahead is positive, as offsets are; *late* is said where a player thinks of being late.
//!
//! Nothing here is heard: a player who is followed changes no note.

mod belief;
mod latency;
mod pass;
mod spread;

pub use latency::{FEWEST_TAPS, Latency, MOST_UNEVEN_MS, Tapping, TappingError};
pub use pass::{Goal, Outcome, Pass};

use crate::note::Key;
use crate::part::Part;
use crate::process::{Process, VoiceNote};
use crate::resulting::ResultingNotes;
use crate::time::{Beats, HAIR, Span};
use belief::{Belief, REACH};

/// The most notes of one pass that are kept to be judged: nine minutes of sixteenths at 108 beats
/// a minute, and more. Those after it are followed, but no longer counted.
pub const MOST_NOTES: usize = 4096;

/// Steps from where a player is believed to be within which a note of the right pitch is that note.
/// Nearly a step, so that an uneven hand is not read as an even one that plays wrong notes.
const NEAR: f64 = 0.9;

/// The most notes of a part that are looked at for one that is struck: far more than two hands play
/// in sixteen steps.
const MOST_LOOKED_AT: usize = 512;

/// How many of the last matches are looked at to find whether a note was struck already.
const REMEMBERED: usize = 24;

/// A note that a player struck.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Struck {
    /// Song position at which it came in.
    pub at: Beats,
    /// The key.
    pub key: Key,
    /// Milliseconds that a beat lasts then.
    pub beat_ms: f64,
}

/// A struck note, and the note of the part that was meant.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Match {
    /// Song position at which it was played, latency taken off.
    pub at: Beats,
    /// Song position at which the part plays it.
    pub on: Beats,
    /// The key of both.
    pub key: Key,
    /// Beats by which the player is ahead of the steady voice.
    pub over_steady: Beats,
    /// Milliseconds that a beat lasts then.
    pub beat_ms: f64,
}

impl Match {
    /// Beats by which the player is ahead of the plan.
    pub fn over_plan(&self) -> Beats {
        self.on - self.at
    }

    /// Milliseconds by which the player is late.
    pub fn late_ms(&self) -> f64 {
        -self.over_plan() * self.beat_ms
    }
}

/// What was made of a note.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Heard {
    /// It is this note of the part.
    Matched(Match),
    /// It is a note that was struck already.
    Again,
    /// It is none of the part's: wrong, or one too many.
    Stray,
}

/// How far the player is, as far as can be told.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Standing {
    /// Song position of the last note of which it was told.
    pub at: Beats,
    /// Beats ahead of the plan.
    pub over_plan: Beats,
    /// Beats ahead of the steady voice.
    pub over_steady: Beats,
}

/// Follows one player through one part.
///
/// # Real-time
/// Making one takes memory; all else allocates never, blocks never. A note costs what the part
/// plays in sixteen steps, at most 512 notes of it; what is said after a pass costs its notes.
#[derive(Clone, Debug)]
pub struct Follower {
    step: Beats,
    latency_ms: f64,
    belief: Belief,
    standing: Option<Standing>,
    matches: Vec<Match>,
    /// Where numbers are sorted.
    scratch: Vec<f64>,
    stray: usize,
    again: usize,
}

impl Follower {
    /// One that counts in steps of so many beats. A step of no length is taken for a sixteenth.
    pub fn new(step: Beats) -> Self {
        let mut follower = Self {
            step,
            latency_ms: 0.0,
            belief: Belief::default(),
            standing: None,
            matches: Vec::with_capacity(MOST_NOTES),
            scratch: Vec::with_capacity(MOST_NOTES),
            stray: 0,
            again: 0,
        };
        follower.begin(step);
        follower
    }

    /// A new pass: the player is believed to be with the plan.
    pub fn begin(&mut self, step: Beats) {
        let is_length = step.is_finite() && step > HAIR;
        self.step = if is_length { step } else { 0.25 };
        self.belief = Belief::default();
        self.standing = None;
        self.matches.clear();
        (self.stray, self.again) = (0, 0);
    }

    /// Milliseconds by which every note comes in later than it was played; see [`Tapping`].
    pub fn set_latency_ms(&mut self, latency_ms: f64) {
        self.latency_ms = if latency_ms.is_finite() {
            latency_ms
        } else {
            0.0
        };
    }

    /// How far the player is. None before anything was recognised.
    pub fn standing(&self) -> Option<Standing> {
        self.standing
    }

    /// The notes of this pass that were recognised, in the order in which they were struck.
    pub fn matches(&self) -> &[Match] {
        &self.matches
    }

    /// Looks for what was struck in what `part` plays. Notes are told in the order in which they
    /// came; one whose time or tempo is no number is a stray.
    pub fn hear(&mut self, process: &Process, part: Part, struck: Struck) -> Heard {
        let at = struck.at - self.latency_ms / struck.beat_ms;
        if !(at.is_finite() && struck.beat_ms.is_finite() && struck.beat_ms > 0.0) {
            self.stray += 1;
            return Heard::Stray;
        }
        let reach = REACH * self.step;
        let around = Span::new(at - reach, at + reach);
        let step_ms = self.step * struck.beat_ms;
        self.belief.wait(at / self.step);
        let mut hint = self.belief.hint(step_ms);
        each_of(process, part, around, |note| {
            if note.key == struck.key {
                hint.may_be((note.on - at) / self.step);
            }
        });
        self.belief.take(hint);
        let believed = self.belief.place();
        let mut nearest: Option<(f64, VoiceNote)> = None;
        each_of(process, part, around, |note| {
            let away = ((note.on - at) / self.step - believed).abs();
            let is_nearer = nearest.is_none_or(|(least, _)| away < least);
            if note.key == struck.key && away <= NEAR && is_nearer {
                nearest = Some((away, note));
            }
        });
        let Some((_, note)) = nearest else {
            self.stray += 1;
            return Heard::Stray;
        };
        // A line that is picked out of all voices has no offset of its own.
        let planned = process.voices().displacement(part, note.on).unwrap_or(0.0);
        let over_plan = believed * self.step;
        self.standing = Some(Standing {
            at,
            over_plan,
            over_steady: planned + over_plan,
        });
        self.keep(Match {
            at,
            on: note.on,
            key: note.key,
            over_steady: planned + note.on - at,
            beat_ms: struck.beat_ms,
        })
    }

    /// Keeps a match. Of two strokes for one note, the one counts that is nearer to where the
    /// player is believed to be: the other bounced, or was a slip.
    fn keep(&mut self, new: Match) -> Heard {
        let believed = self.belief.place() * self.step;
        let away = |one: &Match| (one.over_plan() - believed).abs();
        let same = |one: &&mut Match| one.key == new.key && (one.on - new.on).abs() < HAIR;
        if let Some(old) = self.matches.iter_mut().rev().take(REMEMBERED).find(same) {
            if away(&new) < away(old) {
                *old = new;
            }
            self.again += 1;
            return Heard::Again;
        }
        if self.matches.len() < MOST_NOTES {
            self.matches.push(new);
        }
        Heard::Matched(new)
    }

    /// What there is to say after a pass through `span`, in which `part` was to do this.
    pub fn pass(&mut self, process: &Process, part: Part, span: Span, goal: Goal) -> Pass {
        let mut expected = 0;
        each_of_all(process, part, span, |_| expected += 1);
        Pass {
            expected,
            stray: self.stray,
            again: self.again,
            ..pass::judged(&self.matches, goal, self.step, &mut self.scratch)
        }
    }
}

/// Shows what a part plays in a short stretch.
fn each_of(process: &Process, part: Part, span: Span, mut look: impl FnMut(VoiceNote)) {
    let mut left = MOST_LOOKED_AT;
    each_while(process, part, span, |note| {
        look(note);
        left -= 1;
        left > 0
    });
}

/// Shows everything that a part plays.
fn each_of_all(process: &Process, part: Part, span: Span, mut look: impl FnMut(VoiceNote)) {
    each_while(process, part, span, |note| {
        look(note);
        true
    });
}

fn each_while(process: &Process, part: Part, span: Span, mut more: impl FnMut(VoiceNote) -> bool) {
    match part {
        Part::Steady | Part::Copy(_) => process.notes(part, span).all(&mut more),
        Part::ResultingLine => ResultingNotes::new(process, span).all(&mut more),
    };
}
