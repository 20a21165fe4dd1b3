//! The song clock of a session: where each frame lies in the song, and where the song turns.
//!
//! Between two turns (a tempo change, the end of the loop, a seek) a position is computed from
//! the last turn, never added up, so that ten hours are as exact as a bar.

/// Part of a frame by which an event may lie behind the frame it is given; arithmetic leaves
/// exact hits a hair to either side.
const TOLERANCE: f64 = 1e-3;

pub(super) struct Clock {
    sample_rate: f64,
    pub(super) playing: bool,
    /// Tempo changes in order: song position, beats a minute.
    tempi: Vec<(f64, f64)>,
    pub(super) cycle: Option<(f64, f64)>,
    /// Seeks still to come: at this song position, go to that one.
    seeks: Vec<(f64, f64)>,
    /// The last turn: frames since the session began, song position there, tempo from there on.
    turned_at: u64,
    position: f64,
    tempo: f64,
    /// Song position of the last turn itself, which may lie a part of a frame before.
    turn: f64,
    /// Beats at the tempo in force that had passed by the last turn, rolling or not.
    passed: f64,
    /// Where the events not yet played begin.
    reached: f64,
    /// Frames since the session began.
    now: u64,
}

/// A stretch of frames without a turn.
pub(super) struct Stretch {
    /// Events from here on, up to `to`, belong to it.
    pub(super) from: f64,
    pub(super) to: f64,
}

/// Where a frame lies.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Place {
    pub(super) beats: f64,
    pub(super) passed: f64,
}

enum Turn {
    Tempo,
    Jump { to: f64 },
}

impl Clock {
    pub(super) fn new(sample_rate: f64) -> Self {
        Self {
            sample_rate,
            playing: true,
            tempi: Vec::new(),
            cycle: None,
            seeks: Vec::new(),
            turned_at: 0,
            position: 0.0,
            tempo: 120.0,
            turn: 0.0,
            passed: 0.0,
            reached: 0.0,
            now: 0,
        }
    }

    pub(super) fn now(&self) -> u64 {
        self.now
    }

    pub(super) fn tempo(&self) -> f64 {
        self.tempo
    }

    /// The tempo from song position `at` on.
    pub(super) fn add_tempo(&mut self, at: f64, tempo: f64) {
        self.tempi.retain(|(other, _)| *other != at);
        let index = self.tempi.partition_point(|(other, _)| *other < at);
        self.tempi.insert(index, (at, tempo));
        self.settle(self.here().beats);
    }

    pub(super) fn add_seek(&mut self, at: f64, to: f64) {
        self.seeks.push((at, to));
        self.seeks.sort_by(|a, b| a.0.total_cmp(&b.0));
    }

    /// Goes elsewhere between two blocks.
    pub(super) fn go(&mut self, to: f64) {
        self.settle(to);
        self.reached = to;
    }

    pub(super) fn set_playing(&mut self, playing: bool) {
        self.settle(self.here().beats);
        self.playing = playing;
    }

    /// Where the coming frame lies.
    pub(super) fn here(&self) -> Place {
        self.place(self.now)
    }

    fn place(&self, frame: u64) -> Place {
        let beats = (frame - self.turned_at) as f64 * self.beats_per_frame();
        Place {
            beats: self.position + if self.playing { beats } else { 0.0 },
            passed: self.passed + beats,
        }
    }

    fn beats_per_frame(&self) -> f64 {
        self.tempo / (60.0 * self.sample_rate)
    }

    /// Frames since the session began of the frame on which `beats` sounds, as things stand.
    pub(super) fn frame_of(&self, beats: f64) -> u64 {
        let frames = ((beats - self.position) / self.beats_per_frame() - TOLERANCE).ceil();
        // `as` saturates: what lies before the last turn sounds there.
        self.turned_at + frames as u64
    }

    /// Goes on by at most `frames` frames, and not past the next turn: how many it were, and
    /// what of the song they hold.
    pub(super) fn advance(&mut self, frames: u32) -> (u32, Stretch) {
        let from = self.reached;
        if !self.playing {
            self.now += u64::from(frames);
            return (frames, Stretch { from, to: from });
        }
        let turn = self.next_turn();
        let end = turn
            .as_ref()
            .map_or(u64::MAX, |(beats, _)| self.frame_of(*beats))
            .clamp(self.now, self.now + u64::from(frames));
        let ends_in_jump = matches!(&turn, Some((beats, Turn::Jump { .. }))
            if self.frame_of(*beats) == end);
        let to = match turn {
            // Everything before a jump has to sound before it.
            Some((beats, _)) if ends_in_jump => beats,
            _ => self.place(end).beats - (1.0 - TOLERANCE) * self.beats_per_frame(),
        };
        let done = (end - self.now) as u32;
        self.now = end;
        self.reached = self.reached.max(to);
        (done, Stretch { from, to })
    }

    /// If the song turns at the coming frame, it does so now.
    pub(super) fn turns(&mut self) -> bool {
        if !self.playing {
            return false;
        }
        match self.next_turn() {
            Some((at, turn)) if self.frame_of(at) <= self.now => {
                match turn {
                    Turn::Tempo => {
                        let reached = self.reached;
                        self.settle(self.here().beats.max(at));
                        self.turn = at;
                        self.reached = reached;
                    }
                    Turn::Jump { to } => {
                        self.seeks.retain(|seek| !(seek.0 == at && seek.1 == to));
                        // The part of a frame by which the end was passed is kept.
                        let late = (self.here().beats - at).max(0.0);
                        self.settle(to + late);
                        self.turn = to;
                        self.reached = to;
                    }
                }
                true
            }
            _ => false,
        }
    }

    /// Counts anew from the coming frame, which lies at `beats` in the song.
    fn settle(&mut self, beats: f64) {
        self.passed = self.here().passed;
        self.turned_at = self.now;
        self.position = beats;
        self.turn = beats;
        if let Some((_, tempo)) = self.tempi.iter().rev().find(|(at, _)| *at <= beats) {
            self.tempo = *tempo;
        }
    }

    fn next_turn(&self) -> Option<(f64, Turn)> {
        let tempo = self
            .tempi
            .iter()
            .find(|(at, _)| *at > self.turn)
            .map(|(at, _)| (*at, Turn::Tempo));
        let round = self
            .cycle
            .filter(|(start, end)| self.turn < *end && start < end)
            .map(|(start, end)| (end, Turn::Jump { to: start }));
        let seek = self
            .seeks
            .iter()
            .find(|(at, _)| *at >= self.turn)
            .map(|(at, to)| (*at, Turn::Jump { to: *to }));
        [seek, round, tempo]
            .into_iter()
            .flatten()
            .min_by(|a, b| a.0.total_cmp(&b.0))
    }
}
