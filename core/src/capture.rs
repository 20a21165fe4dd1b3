//! Capture: what was played, kept for a while, and the phrase taken out of it.
//!
//! The [`Listener`] hears all the time, so nobody has to arm anything; [`Listener::take`] looks
//! back and decides what the phrase was.
//!
//! **Length found by listening.** The *passage* is everything from the first note after the last
//! silence of a bar or more (nothing sounding, nothing begun). If it ends with something played
//! twice or more, the phrase is the latest whole pass of that, whatever came before: what counts is
//! which keys are struck and when, not how hard or for how long. A pass in which one attack differs
//! is outvoted if there are three or more. Otherwise the phrase is the whole passage up to the end
//! of its last note, rounded up to whole bars if it lasts a bar or more, else to whole beats; of a
//! passage longer than [`UNREPEATED`] the last part. Notes inside one bar, with rests at both its
//! ends, are that bar, if the bar is over.
//!
//! **Fixed length.** The last so many steps before the step nearest to the moment of taking.
//!
//! **The steps** are the song's. Without a song, or if what repeats is not in its tempo, they are
//! the player's own (`capture/pace.rs`): so a hand that is a little slow is taken for what it meant, and the
//! phrase is played at the host's tempo.
//!
//! **Where it goes on.** The origin is the seam: the phrase's own end, or, if that has gone by,
//! the last moment at or before now that is a whole number of phrases later. A hand up to half a
//! step ahead of a seam is on time for it. Without a song, what was played a whole phrase ago is
//! over, and it begins now.

mod pace;
mod period;
mod trim;

use crate::metre::Metre;
use crate::note::{Channel, Key, Note, Velocity};
use crate::phrase::{Bar, MAX_LENGTH, MAX_NOTES, Phrase};
use crate::settings::CaptureSettings;
use crate::time::Beats;
use arrayvec::ArrayVec;
use pace::Pace;
use period::{Attack, Repetition, repetition};
use std::collections::VecDeque;
use std::ops::Range;

pub(crate) use trim::one_note_a_key;

/// How far back is remembered, in beats: the longest phrase twice, by a hand an eighth slower.
pub const MEMORY: Beats = 2.25 * MAX_LENGTH;

/// How many notes are remembered: 7 a beat over all that time, 32 over the last 64 beats, more
/// than ten fingers do. Two passes of the fullest phrase are half of that.
pub const CAPACITY: usize = 2048;

/// Of a passage that does not repeat, that many beats are taken, the last.
pub const UNREPEATED: Beats = 64.0;

/// A bar, in beats, where no metre is known.
const BAR: Beats = 4.0;

/// No silence shorter than that ends a passage, however short a bar is, in beats.
const SHORTEST_SILENCE: Beats = 2.0;

/// How far from its place an attack of a pass may be, in beats, in steps and at most: a hand sways,
/// but a note a step away is another one.
const SWAY: (f64, Beats) = (0.85, 0.21);

/// Strokes closer together than this are one attack, in steps and at most in beats: 50 ms at 120
/// beats a minute. A chord's notes are about 30 ms apart at most, if not broken on purpose (Goebl,
/// JASA 110 (2001) 563-572; the figure from memory).
const CHORD: (f64, Beats) = (0.4, 0.1);

/// If a pass is no whole steps, up to that many together may be.
const MOST_PASSES: usize = 4;

/// A player so much off the song's tempo is not playing to it: as a part of the tempo, and at least
/// in beats from one pass to the next, since a hand that sways seems to be off in a short phrase.
const OFF_THE_SONG: (f64, Beats) = (0.015, 0.07);

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

// A passage that is taken whole is rounded by a step at both ends, and up to a whole beat.
const _: () = assert!(UNREPEATED + 8.0 <= MAX_LENGTH);

/// The host's bars, on the listener's clock.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bars {
    /// Their time signature.
    pub metre: Metre,
    /// Where one of them begins; none with the song at rest.
    pub line: Option<Beats>,
}

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
    bars: Option<Bars>,
    /// Room to work in: the attacks of the passage, and where each comes again.
    attacks: Vec<Attack>,
    again: Box<[u16; CAPACITY]>,
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
    /// How many times the host's tempo it was played at. It is to be played at the host's.
    pub pace: f64,
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
            bars: None,
            attacks: Vec::with_capacity(CAPACITY),
            again: Box::new([0; CAPACITY]),
        }
    }

    /// The host's bars from now on, if it tells any.
    pub fn count_bars(&mut self, bars: Option<Bars>) {
        self.bars = bars.filter(|bars| bars.line.is_none_or(|line| line.abs() < FURTHEST));
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
    /// player's own steps are looked for. None if nothing was played (within the fixed length, if there
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
        let step = settings.grid.beats();
        self.find_attacks(step);
        let song = grid_zero
            .filter(|zero| zero.abs() < FURTHEST)
            .map(|zero| Pace { zero, step });
        let found = self.repetition(step);
        let (lines, found) = self.lines(step, song, found);
        let extent = match (settings.length, found) {
            (Some(steps), _) => self.last_steps(&lines, steps),
            (None, Some((repetition, steps))) => self.pass(&lines, repetition.pass, steps),
            (None, None) => self.passage(&lines),
        };
        let (phrase, dropped) = self.phrase_in(&extent, &lines, settings.snap)?;
        let phrase = phrase.with_bar(self.bar_at(&lines, &extent, song));
        let origin = self.origin(&lines, &extent, song);
        self.forget();
        Some(Taken {
            phrase,
            origin,
            dropped,
            repeats: extent.repeats,
            pace: lines.pace(),
        })
    }

    fn has_been_silent_for_a_bar(&self) -> bool {
        let bar = self.bars.map_or(BAR, |bars| bars.metre.bar());
        let silence = bar * (SHORTEST_SILENCE / bar).ceil();
        let ended = |note: &Heard| note.off.is_some_and(|off| self.now - off >= silence - HAIR);
        // The latest first: while somebody plays, one look is enough.
        self.heard.iter().rev().all(ended)
    }

    /// The attacks of the present passage.
    fn find_attacks(&mut self, step: Beats) {
        let chord = CHORD.1.min(CHORD.0 * step);
        let mut began = -FURTHEST;
        self.attacks.clear();
        for (index, note) in self.heard.iter().enumerate() {
            if note.on < self.began {
                continue;
            }
            match self.attacks.last_mut() {
                Some(attack) if note.on - began < chord => attack.join(note.on, note.key),
                _ => {
                    began = note.on;
                    self.attacks.push(Attack::new(note.on, note.key, index));
                }
            }
        }
    }

    fn repetition(&mut self, step: Beats) -> Option<Repetition> {
        let sway = SWAY.1.min(SWAY.0 * step);
        let longest = MEMORY / 2.0;
        let when = (self.began, self.now);
        repetition(&self.attacks, (sway, longest), when, &mut self.again[..])
    }

    /// The lines to which the phrase is pulled, and how many steps of them what repeats lasts.
    fn lines(
        &self,
        step: Beats,
        song: Option<Pace>,
        found: Option<Repetition>,
    ) -> (Lines, Option<(Repetition, i64)>) {
        let most = (MAX_LENGTH / step + HAIR).floor() as i64;
        let off_tempo = song.map_or(pace::ALONE, |_| pace::WITH_SONG);
        let read = |found: Repetition| {
            let attacks = &self.attacks[found.pass.clone()];
            let (pace, steps) = pace::of_period(attacks, found.period, (step, most), off_tempo)?;
            Some((pace, (found, steps)))
        };
        // A triplet is no whole steps of sixteenths, but three of them are.
        let read = found.and_then(|found| {
            (1..=MOST_PASSES).find_map(|passes| found.times(passes).and_then(read))
        });
        let is_off_the_song = read.as_ref().is_some_and(|(own, (_, steps))| {
            let in_time = *steps as f64 * step;
            let off = *steps as f64 * own.step - in_time;
            off.abs() > (OFF_THE_SONG.0 * in_time).max(OFF_THE_SONG.1)
        });
        let (own, found) = read.unzip();
        let pace = match (song, own) {
            (Some(song), _) if !is_off_the_song => song,
            (_, Some(own)) => own,
            (Some(song), None) => song,
            (None, None) => match &self.attacks[..] {
                [] => Pace {
                    zero: self.now,
                    step,
                },
                attacks => pace::of_passage(attacks, step),
            },
        };
        (Lines { pace, step }, found)
    }

    /// The `steps` steps before the line nearest to now.
    fn last_steps(&self, grid: &Lines, steps: u32) -> Extent {
        let steps = i64::from(steps.clamp(1, MOST_STEPS));
        let start = grid.nearest(self.now) - steps;
        let lines = start..start + steps;
        let before = |note: &&Heard| grid.nearest(note.on) < lines.start;
        let inside = |note: &&Heard| grid.nearest(note.on) < lines.end;
        let first = self.heard.iter().take_while(before).count();
        let end = self.heard.iter().take_while(inside).count();
        Extent {
            start,
            steps,
            notes: first..end,
            repeats: false,
        }
    }

    /// One pass of what repeats.
    fn pass(&self, grid: &Lines, pass: Range<usize>, steps: i64) -> Extent {
        let end = self.attacks.get(pass.end);
        Extent {
            start: grid.nearest(self.attacks[pass.start].at),
            steps,
            notes: self.attacks[pass.start].first
                ..end.map_or(self.heard.len(), |attack| attack.first),
            repeats: true,
        }
    }

    /// All of the present passage, or its last part.
    fn passage(&self, grid: &Lines) -> Extent {
        let since = self.began.max(self.now - UNREPEATED);
        let first = self.heard.iter().take_while(|note| note.on < since).count();
        let notes = || self.heard.range(first..);
        let start = notes().map(|note| grid.nearest(note.on)).min();
        let end = notes().map(|note| grid.end_of(note, self.now)).max();
        let (Some(start), Some(end)) = (start, end) else {
            return self.last_steps(grid, 1);
        };
        let (start, steps) = self
            .bar_around(grid, start..end)
            .unwrap_or_else(|| (start, self.whole(grid, end - start)));
        Extent {
            start,
            steps,
            notes: first..self.heard.len(),
            repeats: false,
        }
    }

    /// The bar of the song that those steps lie in, if it has rests at both ends and is over.
    fn bar_around(&self, grid: &Lines, played: Range<i64>) -> Option<(i64, i64)> {
        let bars = self.bars?;
        let in_a_bar = grid.whole_steps(bars.metre.bar())?;
        let line = grid.nearest(bars.line?);
        let bar = (played.start - line).div_euclid(in_a_bar) * in_a_bar + line;
        let end = bar + in_a_bar;
        let has_rests = bar < played.start && played.end < end;
        (has_rests && grid.nearest(self.now) >= end).then_some((bar, in_a_bar))
    }

    /// `steps`, rounded up to whole bars if there is one, else to whole beats.
    fn whole(&self, grid: &Lines, steps: i64) -> i64 {
        let up_to = |unit: i64| (steps + unit - 1) / unit * unit;
        let metre = self.bars.map(|bars| bars.metre);
        let bar = metre.and_then(|metre| grid.whole_steps(metre.bar()));
        let beat = metre.and_then(|metre| grid.whole_steps(metre.beat()));
        let bars = bar.filter(|bar| steps >= *bar).map(up_to);
        bars.filter(|steps| *steps as f64 * grid.step <= MAX_LENGTH)
            .unwrap_or_else(|| up_to(beat.unwrap_or_else(|| grid.in_a_beat())))
    }

    /// Where the bar begins in the phrase. With no song to tell, it begins with the phrase.
    fn bar_at(&self, grid: &Lines, extent: &Extent, song: Option<Pace>) -> Option<Bar> {
        let bars = self.bars?;
        let in_song = bars.line.filter(|_| song == Some(grid.pace));
        let is_whole = |length: Beats| {
            let bars = length / bars.metre.bar();
            (bars - bars.round()).abs() < HAIR && bars > 0.5
        };
        let begins = match in_song {
            Some(line) => line - grid.at(extent.start),
            None if is_whole(extent.steps as f64 * grid.step) => 0.0,
            None => return None,
        };
        Some(Bar::around(bars.metre, begins))
    }

    /// Where cycle 0 begins, at the host's tempo.
    fn origin(&self, grid: &Lines, extent: &Extent, song: Option<Pace>) -> Beats {
        let seam = self.seam(extent, grid);
        let is_over = seam > extent.start + extent.steps;
        if song.is_none() && is_over {
            return self.now;
        }
        let at = grid.at(seam);
        // What has gone by of a pass went by at the player's pace.
        let origin = if at < self.now {
            self.now - (self.now - at) * grid.pace()
        } else {
            at
        };
        match song {
            // The song has its own lines.
            Some(song) if song != grid.pace => {
                let lines = Lines {
                    pace: song,
                    step: grid.step,
                };
                lines.at(lines.nearest(origin))
            }
            _ => origin,
        }
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
        for heard in self.heard.range(extent.notes.clone()) {
            let onset = extent.onset_of(heard, grid, snap);
            let played = heard
                .off
                .map_or(length - onset, |off| (off - heard.on) * grid.pace());
            let note = Note {
                onset,
                length: played.max(SHORTEST).min(length),
                key: heard.key,
                velocity: heard.velocity,
                said: None,
            };
            dropped += usize::from(notes.try_push(note).is_err());
        }
        // A loose hand may change the order.
        notes.sort_unstable_by(|a, b| a.onset.total_cmp(&b.onset).then(a.key.cmp(&b.key)));
        let kept = one_note_a_key(&mut notes, length);
        notes.truncate(kept);
        if notes.is_empty() {
            return None;
        }
        // All notes begin inside and the length is in bounds: this does not fail.
        let phrase = Phrase::new(notes, length).ok()?;
        Some((phrase, dropped))
    }
}

/// A stretch of the grid.
struct Extent {
    /// Its first line.
    start: i64,
    /// At least 1.
    steps: i64,
    /// The places of its notes among those heard.
    notes: Range<usize>,
    /// Whether it is a period of what was played.
    repeats: bool,
}

impl Extent {
    /// Where in the phrase a note begins: `snap` of the way from where it was played to its line.
    ///
    /// A note played a little before the first line begins with the phrase, however little it is
    /// snapped.
    fn onset_of(&self, note: &Heard, grid: &Lines, snap: f64) -> Beats {
        let step = (grid.nearest(note.on) - self.start).clamp(0, self.steps - 1);
        let line = step as f64 * grid.step;
        let played = (note.on - grid.at(self.start)) * grid.pace();
        let off_grid = if snap.is_nan() {
            0.0
        } else {
            1.0 - snap.clamp(0.0, 1.0)
        };
        let last = self.steps as f64 * grid.step - SHORTEST;
        (line + off_grid * (played - line)).clamp(0.0, last)
    }
}

/// The lines on the listener's clock to which a hand played, and the step they stand for.
struct Lines {
    pace: Pace,
    /// Beats.
    step: Beats,
}

impl Lines {
    /// The line nearest to `at`; half-way, the later one.
    fn nearest(&self, at: Beats) -> i64 {
        ((at - self.pace.zero) / self.pace.step + 0.5).floor() as i64
    }

    fn at(&self, line: i64) -> Beats {
        self.pace.zero + line as f64 * self.pace.step
    }

    /// How many times the host's tempo the hand played at.
    fn pace(&self) -> f64 {
        self.step / self.pace.step
    }

    /// The line on which a note ends, at least a step after it began; a key still down is let go
    /// now.
    fn end_of(&self, note: &Heard, now: Beats) -> i64 {
        let end = self.nearest(note.off.unwrap_or(now));
        end.max(self.nearest(note.on) + 1)
    }

    /// Every step offered is a whole part of a beat.
    fn in_a_beat(&self) -> i64 {
        self.step.recip().round() as i64
    }

    /// How many steps `beats` are, if they are whole steps.
    fn whole_steps(&self, beats: Beats) -> Option<i64> {
        let steps = (beats / self.step).round();
        let is_whole = (steps * self.step - beats).abs() < HAIR && steps >= 1.0;
        is_whole.then_some(steps as i64)
    }
}

#[cfg(test)]
mod tests;
#[cfg(test)]
mod hands;
