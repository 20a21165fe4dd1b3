//! A performance: a process as it was performed, and as it goes on from there.
//!
//! What was performed is a row of stretches, in each of which the process stood otherwise than in
//! the one before. Whatever is asked about a song position is answered by the process as it stood
//! there, so that nobody who looks at the whole, or writes it down, need know what happened when.
//! Where nothing was performed there is one process for all.
//!
//! Computed outside the audio thread.

use crate::modulation::ModeChange;
use crate::part::{CopyNumber, MAX_PARTS, Part};
use crate::performed::{Recollection, Shape};
use crate::process::{Process, Stance, VoiceNote};
use crate::time::{Beats, HAIR, LATE, Span};
use crate::unrolling::unroll;
use std::borrow::Cow;
use std::cell::RefCell;
use std::cmp::Ordering;
use std::ops::Deref;
use std::sync::Arc;

/// A process as it was performed, and as it goes on.
#[derive(Clone, Debug)]
pub struct Performance<'a> {
    /// What was performed, in order; empty if nothing was.
    past: Vec<Stretch>,
    /// As it goes on from there, with dwells counted that wait for a cue: when cues will come nobody
    /// knows.
    future: Cow<'a, Process>,
    /// Song position from which it does.
    goes_on: Beats,
    /// Song position up to which it was performed.
    until: Option<Beats>,
    /// Which parts are in use at any time.
    used: Plays,
    /// See [`Self::mode_changes`].
    modes: Vec<ModeChange>,
    /// The process as it stood in the stretch that was asked about last: a process is large, and
    /// there may be a thousand stretches.
    stood: RefCell<Option<(usize, Arc<Process>)>>,
}

/// A stretch that was performed, up to the next one.
#[derive(Clone, Debug)]
struct Stretch {
    /// Song position.
    from: Beats,
    shape: Shape,
    stance: Stance,
}

/// Which parts are in use.
type Plays = [bool; MAX_PARTS];

fn plays(process: &Process) -> Plays {
    Part::ALL.map(|part| process.plays(part))
}

/// The process as it stood somewhere.
pub enum Stood<'a> {
    /// One that stands so anyway.
    Lent(&'a Process),
    /// One that was made to.
    Made(Arc<Process>),
}

impl Deref for Stood<'_> {
    type Target = Process;

    fn deref(&self) -> &Process {
        match self {
            Self::Lent(process) => process,
            Self::Made(process) => process,
        }
    }
}

impl<'a> Performance<'a> {
    /// Of a process of which nothing was performed.
    pub fn proposed(process: &'a Process) -> Self {
        if process.voices().are_cued() {
            Self::alone(Cow::Owned(process.as_counted()))
        } else {
            Self::alone(Cow::Borrowed(process))
        }
    }

    fn alone(process: Cow<'a, Process>) -> Self {
        let performance = Self {
            past: Vec::new(),
            used: plays(&process),
            future: process,
            goes_on: Beats::NEG_INFINITY,
            until: None,
            modes: Vec::new(),
            stood: RefCell::default(),
        };
        performance.with_modes()
    }

    /// Of a process all of whose dwells are counted.
    pub fn counted(process: Process) -> Self {
        Self::alone(Cow::Owned(process))
    }

    /// Of `process` as it was performed; as proposed, if nothing was, or if that is not what the
    /// settings say any more.
    pub fn new(process: &'a Process, told: &Recollection) -> Self {
        if told.moments.is_empty() || !told.agrees_with(process.settings()) {
            return Self::proposed(process);
        }
        Self::performed(process, told).unwrap_or_else(|| Self::proposed(process))
    }

    fn performed(process: &Process, told: &Recollection) -> Option<Self> {
        let origin = process.origin();
        let mut process = Arc::new(process.clone());
        let stands = Arc::make_mut(&mut process);
        let first = told.first?.over(stands.settings());
        stands.set_settings(first, origin);
        stands.begin_anew();
        let mut past = vec![Stretch::of(origin, stands)];
        let mut used = plays(stands);
        told.perform(stands, |moment, process| {
            past.push(Stretch::of(origin + moment.at, process));
            for (used, plays) in used.iter_mut().zip(plays(process)) {
                *used |= plays;
            }
        });
        let last = past.last()?.from;
        let mut future = process.as_ref().clone();
        let (mut until, mut goes_on) = (last, last);
        if future.voices().are_cued() {
            until = future.voices().cue_holds_until(last).unwrap_or(last);
            goes_on = until + LATE;
            future.count_from(goes_on);
        } else {
            past.pop();
        }
        let performance = Self {
            past,
            future: Cow::Owned(future),
            goes_on,
            until: Some(until),
            used,
            modes: Vec::new(),
            stood: RefCell::new(Some((usize::MAX, process))),
        };
        Some(performance.with_modes())
    }

    /// The same, kept by itself.
    pub fn into_owned(self) -> Performance<'static> {
        Performance {
            past: self.past,
            future: Cow::Owned(self.future.into_owned()),
            goes_on: self.goes_on,
            until: self.until,
            used: self.used,
            modes: self.modes,
            stood: self.stood,
        }
    }

    /// The process as it goes on: what of it is the same from beginning to end, and how it is from
    /// [`Self::until`] on.
    pub fn future(&self) -> &Process {
        &self.future
    }

    /// Song position up to which it was performed: that of the last change, or of the last move that
    /// was cued. None if nothing was.
    pub fn until(&self) -> Option<Beats> {
        self.until
    }

    /// The process as it stood at song position `at`; what comes up to [`LATE`] after a change is as
    /// that has it.
    pub fn at(&self, at: Beats) -> Stood<'_> {
        if at >= self.goes_on - LATE {
            return Stood::Lent(&self.future);
        }
        let begun = self.past.partition_point(|one| one.from - LATE <= at);
        self.stood(begun.saturating_sub(1))
    }

    /// The stretches, and how the process stood in each; what comes up to [`LATE`] after a change
    /// belongs to that. The last goes on for ever.
    pub fn stretches(&self) -> impl Iterator<Item = (Span, Stood<'_>)> {
        let from = |index| match index {
            0 => self.from(0),
            _ => self.from(index) - LATE,
        };
        (0..=self.past.len())
            .map(move |index| (Span::new(from(index), from(index + 1)), self.stood(index)))
    }

    /// The process in a stretch, the future being the last.
    fn stood(&self, index: usize) -> Stood<'_> {
        let Some(stretch) = self.past.get(index) else {
            return Stood::Lent(&self.future);
        };
        let mut stood = self.stood.borrow_mut();
        let (found, process) =
            stood.get_or_insert_with(|| (usize::MAX, Arc::new(self.future.as_ref().clone())));
        if *found != index {
            *found = index;
            let process = Arc::make_mut(process);
            let settings = stretch.shape.over(process.settings());
            process.set_settings(settings, process.origin());
            process.begin_anew();
            process.stand_at(&stretch.stance);
        }
        Stood::Made(process.clone())
    }

    /// The parts that are in use at any time.
    pub fn parts(&self) -> impl Iterator<Item = Part> + use<> {
        let used = self.used;
        Part::ALL.into_iter().filter(move |part| used[part.index()])
    }

    /// The most copies that are in use at once.
    pub fn copies(&self) -> impl ExactSizeIterator<Item = CopyNumber> + Clone + use<> {
        let voices = self.parts().filter(|part| part.is_voice()).count();
        CopyNumber::ALL.into_iter().take(voices.max(1) - 1)
    }

    /// The mode that it begins in, and every modulation that takes place, in order.
    pub fn mode_changes(&self) -> impl Iterator<Item = ModeChange> + '_ {
        self.modes.iter().copied()
    }

    fn with_modes(mut self) -> Self {
        self.modes = self.find_modes();
        self
    }

    fn find_modes(&self) -> Vec<ModeChange> {
        let mut told: Vec<ModeChange> = Vec::new();
        for (index, (span, process)) in self.stretches().enumerate() {
            let mut before = None;
            for change in process.mode_changes() {
                if index == 0 || change.turning.start >= span.start {
                    told.extend(before.take().filter(|one| is_other(&told, one)));
                    if change.turning.start < span.end {
                        told.push(change);
                    }
                } else {
                    // It began before; where nobody knew, it holds from here on.
                    let start = span.start;
                    let turning = Span::new(start, change.turning.end.max(start));
                    before = Some(ModeChange { turning, ..change });
                }
            }
            told.extend(before.filter(|one| is_other(&told, one)));
        }
        told
    }

    /// All that sounds from the origin up to song position `end`, in order: what was heard, note for
    /// note, and what comes after it. No more than `most` notes and one.
    pub fn notes(&self, end: Beats, most: usize) -> Vec<VoiceNote> {
        let mut notes: Vec<VoiceNote> = Vec::new();
        let mut before = None;
        for index in 0..=self.past.len() {
            let process = self.stood(index);
            let from = self.from(index);
            if from >= end {
                break;
            }
            let now = plays(&process);
            if let Some(before) = before.replace(now) {
                fall_silent(&mut notes, from, |part| before[part] && !now[part]);
                join_late(&mut notes, from, &process, |part| {
                    now[part] && !before[part]
                });
            }
            let to = self.from(index + 1).min(end);
            if to > from {
                let room = (most + 1).saturating_sub(notes.len());
                notes.extend(unroll(&process, Span::new(from, to)).take(room));
            }
        }
        notes
    }

    /// Song position from which a stretch was performed, the future being the last.
    fn from(&self, index: usize) -> Beats {
        match index.cmp(&self.past.len()) {
            _ if index == 0 => self.future.origin(),
            Ordering::Less => self.past[index].from,
            Ordering::Equal => self.goes_on,
            Ordering::Greater => Beats::INFINITY,
        }
    }
}

/// Whether a mode change leads elsewhere than the last that was told.
fn is_other(told: &[ModeChange], change: &ModeChange) -> bool {
    told.last()
        .is_none_or(|last| last.mode != change.mode || last.turning.end > change.turning.end + HAIR)
}

/// Parts that are not in use any more fall silent.
fn fall_silent(notes: &mut [VoiceNote], from: Beats, left: impl Fn(usize) -> bool) {
    for note in notes.iter_mut().filter(|note| left(note.part.index())) {
        note.off = note.off.min(from);
    }
}

/// Parts that come into use strike what they would have struck at most [`LATE`] ago.
fn join_late(
    notes: &mut Vec<VoiceNote>,
    from: Beats,
    process: &Process,
    joins: impl Fn(usize) -> bool,
) {
    let missed = unroll(process, Span::new(from - LATE, from));
    let missed = missed.filter(|note| joins(note.part.index()) && note.off > from);
    notes.extend(missed.map(|note| VoiceNote { on: from, ..note }));
}

impl Stretch {
    fn of(from: Beats, process: &Process) -> Self {
        Self {
            from,
            shape: Shape::of(process.settings()),
            stance: process.stance(),
        }
    }
}
