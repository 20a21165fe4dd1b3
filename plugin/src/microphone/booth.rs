//! Where window and listener meet: what was said, which sentence is chosen, and how it is to be put
//! on the grid. Never the audio thread's.

use super::{Reading, Shared, Tape};
use crate::files::Spoken;
use procession_core::speech::{Candidate, Fit};
use std::ops::Range;
use std::sync::atomic::Ordering;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// A sentence is the same if it begins within so many seconds of where it did: what comes after it
/// may move its edges a little when it is listened to again.
const SAME: f64 = 0.15;

/// The end of everybody but the audio thread.
#[derive(Debug)]
pub struct Booth {
    pub(super) shared: Arc<Shared>,
    desk: Mutex<Desk>,
}

#[derive(Debug, Default)]
struct Desk {
    /// The tape in use last, and those that the audio thread may still hold.
    tapes: Vec<Arc<Tape>>,
    live: Live,
    manner: Manner,
}

/// What was said, as the window shows it.
#[derive(Clone, Debug, Default)]
pub struct Live {
    /// What was listened to last, if there was a voice in it.
    pub said: Option<Said>,
    /// The sentence that was chosen, if it is not to be the latest.
    pub chosen: Option<(Said, usize)>,
    /// Why nothing was found in what came in last.
    pub refused: Option<String>,
    /// Why the last Hold did not take what was said.
    pub missed: Option<String>,
}

/// A part of what came in.
#[derive(Clone, Debug)]
pub struct Said {
    /// Its recording, and the sentences in that.
    pub spoken: Spoken,
    /// The frame of all that came in with which the recording begins.
    pub since: u64,
}

/// How a sentence is to be put on the grid, beside what parameters say.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Manner {
    /// What may become of its own tempo.
    pub fit: Fit,
    /// Whether pitches go to the tones of the mode alone.
    pub in_mode: bool,
}

impl Said {
    /// The sentence at that place.
    pub fn candidate(&self, place: usize) -> Option<&Candidate> {
        self.spoken.listened.candidates().get(place)
    }

    /// The frames from where to where that sentence lasts.
    pub fn frames(&self, place: usize) -> Range<u64> {
        let span = self.candidate(place).map_or(0.0..0.0, Candidate::span);
        let frame = |seconds: f64| (seconds * self.spoken.recording.rate()).round() as u64;
        self.since + frame(span.start)..self.since + frame(span.end)
    }

    /// The place of the sentence that begins with about that frame.
    pub fn place_of(&self, frame: u64) -> Option<usize> {
        let same = (SAME * self.spoken.recording.rate()) as u64;
        let count = self.spoken.listened.candidates().len();
        (0..count).find(|place| self.frames(*place).start.abs_diff(frame) <= same)
    }
}

impl Booth {
    pub(super) fn new(shared: Arc<Shared>) -> Self {
        Self {
            shared,
            desk: Mutex::default(),
        }
    }

    /// Whether what comes in is listened to as a voice.
    pub fn listens(&self) -> bool {
        self.shared.listens.load(Ordering::Relaxed)
    }

    /// Whether Hold waits for a sentence to be worked out.
    pub fn works(&self) -> bool {
        self.shared.awaited.load(Ordering::Relaxed) != 0
    }

    /// Whether there is somebody who listens.
    pub fn is_attended(&self) -> bool {
        self.shared.attended.load(Ordering::Relaxed)
    }

    /// How loud it is what comes in. Whoever asks takes away the peak.
    pub fn level(&self) -> Reading {
        self.shared.level.read()
    }

    /// Nobody listens, and why.
    pub fn is_unattended(&self, why: String) {
        self.desk().live.refused = Some(why);
    }

    /// What was said.
    pub fn live(&self) -> Live {
        self.desk().live.clone()
    }

    /// Changes what is shown of what was said.
    pub(super) fn tell(&self, change: impl FnOnce(&mut Live)) {
        change(&mut self.desk().live);
    }

    /// What was listened to last: a sentence that was chosen stays chosen.
    pub(super) fn show(&self, said: Said) {
        let live = &mut self.desk().live;
        live.refused = None;
        if let Some((before, place)) = &live.chosen
            && let Some(now) = said.place_of(before.frames(*place).start)
        {
            live.chosen = Some((said.clone(), now));
        }
        live.said = Some(said);
    }

    /// Chooses the sentence that begins with that frame, or the latest one.
    pub fn choose(&self, frame: Option<u64>) {
        let live = &mut self.desk().live;
        live.chosen = frame.and_then(|frame| {
            let said = live.said.clone()?;
            let place = said.place_of(frame)?;
            Some((said, place))
        });
    }

    /// How sentences are to be put on the grid.
    pub fn manner(&self) -> Manner {
        self.desk().manner
    }

    /// They are to be put on it so.
    pub fn set_manner(&self, manner: Manner) {
        self.desk().manner = manner;
    }

    /// The tape for the rate at which frames come; a new one, on its way to the audio thread, if that
    /// is another. Allocates.
    pub fn lay_tape(&self) -> Arc<Tape> {
        let mut desk = self.desk();
        // Read here, so that whoever knows of a new rate lays the last one.
        let rate = self.shared.rate.load(Ordering::Relaxed);
        if let Some(tape) = desk.tapes.last().filter(|tape| tape.rate() == rate) {
            return tape.clone();
        }
        let tape = Arc::new(Tape::at_rate(rate));
        self.shared.tape.force_push(tape.clone());
        desk.tapes.retain(|tape| Arc::strong_count(tape) > 1);
        desk.tapes.push(tape.clone());
        tape
    }

    fn desk(&self) -> MutexGuard<'_, Desk> {
        // Whoever panicked here left a whole desk behind: its fields are only ever replaced.
        self.desk.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
