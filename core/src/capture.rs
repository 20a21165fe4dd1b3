//! Capture: what was played, kept for a while, and the phrase taken out of it.
//!
//! The [`Listener`] hears all the time, so nobody has to arm anything; [`Listener::take`] looks
//! back and decides what the phrase was.
//!
//! **Length found by listening.** The *passage* is everything from the first note after the last
//! silence of a bar or more (nothing sounding, nothing begun). If it repeats on the grid, the
//! phrase is the last whole period of it; what counts is which keys are struck on which step, not
//! how hard or for how long, and at least two whole sets must have been struck. Otherwise the
//! phrase is the whole passage up to the end of its last note, rounded up to a whole beat. Either
//! way it starts on a step, and none is longer than what is remembered: of a longer passage the
//! last part is kept.
//!
//! **Fixed length.** The last so many steps before the step nearest to the moment of taking.
//!
//! **Where it goes on.** The origin is the seam: the phrase's own end, or, if that has gone by,
//! the last moment at or before now that is a whole number of phrases later. A hand up to half a
//! step ahead of a seam is on time for it.
//!
//! Without a song there is no grid to keep to: the passage's first note is a step.

mod period;
mod trim;

use crate::note::{Channel, Key, Note, Velocity};
use crate::phrase::{MAX_LENGTH, MAX_NOTES, Phrase};
use crate::settings::CaptureSettings;
use crate::time::Beats;
use arrayvec::ArrayVec;
use period::Struck;
use std::collections::VecDeque;

pub(crate) use trim::one_note_a_key;

/// How far back is remembered, in beats.
pub const MEMORY: Beats = 64.0;

/// How many notes are remembered: 32 a beat, more than ten fingers do.
pub const CAPACITY: usize = 2048;

/// A silence that long, in beats, ends a passage: a bar of four.
const BAR: Beats = 4.0;

/// The shortest note a phrase is given, in beats: 8 ms at 120 bpm. Below that a stroke is lost
/// on most instruments.
pub const SHORTEST: Beats = 1.0 / 64.0;

/// The most steps of a fixed length.
const MOST_STEPS: u32 = 128;

/// Times further from 0 than this, in beats, are no times: an `f64` would no longer tell two
/// samples apart.
const FURTHEST: Beats = 1e9;

/// What rounding may take off a silence that was meant to be a bar, in beats.
const HAIR: Beats = 1e-9;

// A passage is at most what is remembered, plus the steps it is rounded by at both ends and the
// whole beat it is rounded up to. So no phrase found by listening can be too long.
const _: () = assert!(MEMORY + 3.0 <= MAX_LENGTH);

/// A note as it was played.
#[derive(Clone, Copy, Debug)]
struct Heard {
    on: Beats,
    /// None while the key is down.
    off: Option<Beats>,
    channel: Channel,
    key: Key,
    velocity: Velocity,
}

/// Remembers what was played within the last [`MEMORY`] beats, up to [`CAPACITY`] notes; when
/// full, the oldest note makes room.
///
/// It keeps a clock of its own, in beats, that only goes forward: a time that is earlier than one
/// already told, or is no time at all, counts as the latest one told.
///
/// # Real-time
/// All but [`new`](Self::new) allocate never and block never; the work is bounded by
/// [`CAPACITY`].
#[derive(Debug)]
pub struct Listener {
    /// In order of onset. Never holds more than it was made for, so it never grows.
    heard: VecDeque<Heard>,
    now: Beats,
    /// When the present passage began; remembered even when its first note no longer is.
    began: Beats,
}

/// A phrase, taken out of what was played.
#[derive(Clone, Debug, PartialEq)]
pub struct Taken {
    /// The phrase.
    pub phrase: Phrase,
    /// Where cycle 0 begins, in beats of the listener's clock.
    pub origin: Beats,
    /// How many notes there were beyond the [`MAX_NOTES`] that a phrase holds.
    pub dropped: usize,
    /// Whether the phrase is a period of what was played.
    pub repeats: bool,
}

impl Default for Listener {
    fn default() -> Self {
        Self::new()
    }
}

impl Listener {
    /// A listener that has heard nothing. Allocates all it will ever need.
    pub fn new() -> Self {
        Self {
            heard: VecDeque::with_capacity(CAPACITY),
            now: -FURTHEST,
            began: -FURTHEST,
        }
    }

    /// A key is struck. If it is still down, its earlier note ends here.
    pub fn note_on(&mut self, at: Beats, channel: Channel, key: Key, velocity: Velocity) {
        self.note_off(at, Some(channel), Some(key));
        if self.has_been_silent_for_a_bar() {
            self.began = self.now;
        }
        if self.heard.len() == CAPACITY {
            self.heard.pop_front();
        }
        let (on, off) = (self.now, None);
        self.heard.push_back(Heard {
            on,
            off,
            channel,
            key,
            velocity,
        });
    }

    /// A key is let go: all those down that channel and key, where told, agree with. There need
    /// not be any.
    pub fn note_off(&mut self, at: Beats, channel: Option<Channel>, key: Option<Key>) {
        self.advance(at);
        // A key can be down only once on a channel.
        let at_most = if channel.is_some() && key.is_some() {
            1
        } else {
            CAPACITY
        };
        let agrees = |note: &&mut Heard| {
            note.off.is_none()
                && channel.is_none_or(|channel| channel == note.channel)
                && key.is_none_or(|key| key == note.key)
        };
        for note in self.heard.iter_mut().rev().filter(agrees).take(at_most) {
            note.off = Some(self.now);
        }
    }

    /// Time passes; notes that began more than [`MEMORY`] beats ago are forgotten, also if they
    /// are still down.
    pub fn advance(&mut self, to: Beats) {
        if to.abs() < FURTHEST {
            self.now = self.now.max(to);
        }
        while self
            .heard
            .front()
            .is_some_and(|note| note.on < self.now - MEMORY)
        {
            self.heard.pop_front();
        }
    }

    /// Forgets all that was played; keys still down were not struck, then.
    pub fn forget(&mut self) {
        self.heard.clear();
    }

    /// Takes the phrase out of what was played up to `now`, and forgets it.
    ///
    /// `grid_zero` is where, on this clock, some grid line of the song lies; without a song the
    /// passage's first note is one. None if nothing was played (within the fixed length, if there
    /// is one); then nothing is forgotten either.
    pub fn take(
        &mut self,
        now: Beats,
        grid_zero: Option<Beats>,
        settings: &CaptureSettings,
    ) -> Option<Taken> {
        self.advance(now);
        if self.heard.is_empty() {
            return None;
        }
        let zero = grid_zero
            .filter(|zero| zero.abs() < FURTHEST)
            .unwrap_or(self.began);
        let grid = Lines {
            zero,
            step: settings.grid.beats(),
        };
        let extent = match settings.length {
            Some(steps) => self.last_steps(&grid, steps),
            None => self.passage(&grid),
        };
        let (phrase, dropped) = self.phrase_in(&extent, &grid, settings.snap)?;
        self.forget();
        Some(Taken {
            phrase,
            origin: grid.at(self.seam(&extent, &grid)),
            dropped,
            repeats: extent.repeats,
        })
    }

    fn has_been_silent_for_a_bar(&self) -> bool {
        let ended = |note: &Heard| note.off.is_some_and(|off| self.now - off >= BAR - HAIR);
        // The latest first: while somebody plays, one look is enough.
        self.heard.iter().rev().all(ended)
    }

    /// The `steps` steps before the line nearest to now.
    fn last_steps(&self, grid: &Lines, steps: u32) -> Extent {
        let steps = i64::from(steps.clamp(1, MOST_STEPS));
        let start = grid.nearest(self.now) - steps;
        Extent {
            start,
            steps,
            repeats: false,
        }
    }

    /// One period of the present passage, or all of it.
    fn passage(&self, grid: &Lines) -> Extent {
        let struck = self.struck(grid);
        if let Some(period) = struck.period() {
            let began = grid.nearest(self.began);
            let start = struck.last_whole_set(period, began);
            return Extent {
                start,
                steps: period,
                repeats: true,
            };
        }
        let start = struck.first();
        let played = self
            .notes_of_passage()
            .map(|note| grid.end_of(note, self.now))
            .max();
        let steps = grid.whole_beats(played.map_or(1, |end| end - start));
        Extent {
            start,
            steps,
            repeats: false,
        }
    }

    fn notes_of_passage(&self) -> impl Iterator<Item = &Heard> {
        self.heard.iter().skip_while(|note| note.on < self.began)
    }

    fn struck(&self, grid: &Lines) -> Struck {
        let onsets = self
            .notes_of_passage()
            .map(|note| (grid.nearest(note.on), note.key));
        onsets.collect()
    }

    /// The line on which the phrase is to go on.
    fn seam(&self, extent: &Extent, grid: &Lines) -> i64 {
        let end = extent.start + extent.steps;
        let since = (grid.nearest(self.now) - end).max(0);
        end + since / extent.steps * extent.steps
    }

    /// The notes that belong to `extent`, and how many more there are than a phrase holds; None
    /// if there are none.
    fn phrase_in(&self, extent: &Extent, grid: &Lines, snap: f64) -> Option<(Phrase, usize)> {
        let length = extent.steps as f64 * grid.step;
        let mut notes = ArrayVec::<Note, MAX_NOTES>::new();
        let mut dropped = 0;
        for heard in self.notes_of(extent, grid) {
            let onset = extent.onset_of(heard, grid, snap);
            let played = heard.off.map_or(length - onset, |off| off - heard.on);
            let note = Note {
                onset,
                length: played.max(SHORTEST).min(length),
                key: heard.key,
                velocity: heard.velocity,
            };
            dropped += usize::from(notes.try_push(note).is_err());
        }
        let kept = one_note_a_key(&mut notes, length);
        notes.truncate(kept);
        if notes.is_empty() {
            return None;
        }
        // All notes begin inside and the length is in bounds: this does not fail.
        let phrase = Phrase::new(notes, length).ok()?;
        Some((phrase, dropped))
    }

    fn notes_of(&self, extent: &Extent, grid: &Lines) -> impl Iterator<Item = &Heard> {
        let lines = extent.start..extent.start + extent.steps;
        self.heard
            .iter()
            .filter(move |note| lines.contains(&grid.nearest(note.on)))
    }
}

/// A stretch of the grid.
struct Extent {
    /// Its first line.
    start: i64,
    /// At least 1.
    steps: i64,
    /// Whether it is a period of what was played.
    repeats: bool,
}

impl Extent {
    /// Where in the phrase a note begins: `snap` of the way from where it was played to its line.
    ///
    /// A note played a little before the first line begins with the phrase, however little it is
    /// snapped.
    fn onset_of(&self, note: &Heard, grid: &Lines, snap: f64) -> Beats {
        let line = (grid.nearest(note.on) - self.start) as f64 * grid.step;
        let played = note.on - grid.at(self.start);
        let off_grid = if snap.is_nan() {
            0.0
        } else {
            1.0 - snap.clamp(0.0, 1.0)
        };
        (line + off_grid * (played - line)).max(0.0)
    }
}

/// The grid's lines on the listener's clock, counted from one of them.
struct Lines {
    zero: Beats,
    step: Beats,
}

impl Lines {
    /// The line nearest to `at`; half-way, the later one.
    fn nearest(&self, at: Beats) -> i64 {
        ((at - self.zero) / self.step + 0.5).floor() as i64
    }

    fn at(&self, line: i64) -> Beats {
        self.zero + line as f64 * self.step
    }

    /// The line on which a note ends, at least a step after it began; a key still down is let go
    /// now.
    fn end_of(&self, note: &Heard, now: Beats) -> i64 {
        let end = self.nearest(note.off.unwrap_or(now));
        end.max(self.nearest(note.on) + 1)
    }

    /// `steps`, rounded up to a whole beat.
    fn whole_beats(&self, steps: i64) -> i64 {
        // Every step offered is a whole part of a beat.
        let in_a_beat = self.step.recip().round() as i64;
        (steps + in_a_beat - 1) / in_a_beat * in_a_beat
    }
}

#[cfg(test)]
mod tests;
