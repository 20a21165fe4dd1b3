//! What a class sees, worked out without a window: what is now, what comes next, and what a step on
//! or back does.

use crate::editor::model::plan::{capitalised, stage_now};
use crate::editor::seen::Seen;
use crate::editor::wish::{SongWish, Wish};
use procession_core::form::Doing;
use procession_core::part::Part;
use procession_core::snippet::Subject;
use procession_core::words::stage_words;

/// What stands in the place of what comes next, where that is to be heard first.
pub const ASKS: &str = "What will you hear?";

/// A cue that is held for so many seconds leads back.
pub const HELD: f64 = 0.7;

/// What the lesson has come to.
#[derive(Clone, Debug, Default)]
pub struct Lesson {
    /// The stage that was heard last by itself, at rest.
    heard: Option<usize>,
    /// Whether what comes next is a question.
    asks: bool,
    /// How many cues had been given.
    cues: Option<u32>,
    /// When the one was given of which it is not known yet where it leads, by the window's time.
    cued_at: Option<f64>,
}

/// A step in the form.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// To the next stage.
    On,
    /// To the one before.
    Back,
}

/// What is said.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Said {
    /// What sounds, or what sounded last.
    pub now: String,
    /// What comes next.
    pub next: String,
}

impl Lesson {
    /// Whether what comes next is a question.
    pub fn asks(&self) -> bool {
        self.asks
    }

    /// What comes next becomes a question, or is told.
    pub fn ask(&mut self, asks: bool) {
        self.asks = asks;
    }

    /// Where a cue leads that was given by a key or a pedal: on, when that is let go, or back if it
    /// is held for [`HELD`]. While copies move on cue it is theirs, and moves them. `now` is in
    /// seconds.
    pub fn cued(&mut self, seen: &Seen, now: f64) -> Option<Step> {
        let given = seen.snapshot.cues;
        let before = self.cues.replace(given);
        if moves_on_cue(seen) {
            self.cued_at = None;
            return None;
        }
        if before.is_some_and(|before| before != given) {
            self.cued_at = Some(now);
        }
        let at = self.cued_at?;
        // A window that was opened anew counts its time from 0.
        let step = match seen.snapshot.cue_held {
            true if (0.0..HELD).contains(&(now - at)) => return None,
            true => Step::Back,
            false => Step::On,
        };
        self.cued_at = None;
        Some(step)
    }

    /// Whether it is not known yet where a cue leads.
    pub fn is_waiting(&self) -> bool {
        self.cued_at.is_some()
    }

    /// The stage that sounds, or that sounded last: none before anything has.
    pub fn now(&self, seen: &Seen) -> Option<usize> {
        let stages = seen.form.stages.len();
        let now = match seen.hearing {
            Some(Subject::Stage(stage)) => Some(stage),
            _ if seen.snapshot.running => stage_now(seen),
            _ => self.heard,
        };
        now.filter(|stage| *stage < stages)
    }

    /// What is said of this moment.
    pub fn said(&self, seen: &Seen) -> Said {
        let words = |stage: usize| {
            let stage = seen.form.stages.get(stage);
            stage.map(|stage| capitalised(stage_words(stage, &seen.process)))
        };
        let now = self.now(seen);
        let next = now.map_or(0, |now| now + 1);
        Said {
            now: now.and_then(words).unwrap_or_else(|| "Silence".to_owned()),
            next: match words(next) {
                Some(_) if self.asks => ASKS.to_owned(),
                Some(words) => words,
                None if seen.form.endless => "From the beginning".to_owned(),
                None => "The end".to_owned(),
            },
        }
    }

    /// A step on or back. In the program's rolling song it goes there; else the stage is heard by
    /// itself, for two cycles.
    pub fn step(&mut self, seen: &Seen, step: Step) -> Option<Wish> {
        let stages = seen.form.stages.len();
        let to = match (self.now(seen), step) {
            (None, _) => 0,
            (Some(now), Step::On) => now + 1,
            (Some(now), Step::Back) => now.saturating_sub(1),
        };
        let stage = seen.form.stages.get(to).filter(|_| to < stages)?;
        self.heard = Some(to);
        Some(if seen.own_song && seen.snapshot.playing {
            Wish::Song(SongWish::Visit(stage.span.start - seen.process.origin()))
        } else {
            Wish::Hear(Subject::Stage(to))
        })
    }
}

/// Whether copies play, and wait for a cue.
pub fn moves_on_cue(seen: &Seen) -> bool {
    seen.snapshot.running && seen.process.voices().are_cued()
}

/// By which share of the phrase each voice is ahead, in the order of the parts: where it is now, or
/// where the stage at rest has it. None has not entered.
pub fn turned(seen: &Seen, now: Option<usize>) -> Vec<(Part, Option<f64>)> {
    let length = seen.phrase().length();
    let stage = now.and_then(|now| seen.form.stages.get(now));
    let by_itself = !seen.snapshot.running || seen.hearing.is_some();
    let ahead = |part: Part| {
        if !by_itself {
            return seen.snapshot.ahead[part.index()];
        }
        let Some(copy) = part.as_copy() else {
            return Some(0.0);
        };
        let copy = stage?.copies.get(copy.index())?;
        (copy.doing != Doing::Waiting).then(|| copy.to * seen.settings().step())
    };
    let voices = seen.process.parts().filter(|part| part.is_voice());
    voices
        .map(|part| (part, ahead(part).map(|ahead| ahead / length)))
        .collect()
}
