//! A block that has begun: what is played into it, and what it plays.

use super::Engine;
use crate::note::{Channel, Key, Velocity};
use crate::player::Event;
use crate::time::{Beats, Block};

/// The engine in a block: from when it has begun until it is finished.
///
/// Whoever holds it has the engine to himself, so that no block is begun in another.
#[must_use = "a block that has begun is to be finished"]
#[derive(Debug)]
pub struct InBlock<'e> {
    engine: &'e mut Engine,
    block: Block,
    /// How many frames of the block are done.
    frame: u32,
}

impl<'e> InBlock<'e> {
    pub(super) fn new(engine: &'e mut Engine, block: Block) -> Self {
        Self {
            engine,
            block,
            frame: 0,
        }
    }

    /// The engine.
    pub fn engine(&self) -> &Engine {
        self.engine
    }

    /// Its time.
    pub fn time(&self) -> &Block {
        &self.block
    }

    /// A key is struck at `frame`. A key that is not told is none; a channel that is not told is
    /// the first.
    pub fn note_on(
        &mut self,
        frame: u32,
        (channel, key): (Option<Channel>, Option<Key>),
        velocity: Velocity,
        mut send: impl FnMut(Event),
    ) {
        let Some(key) = key else { return };
        let channel = channel.unwrap_or(Channel::FIRST);
        self.play_until(frame, &mut send);
        if self.engine.cues(|controls| controls.cue_key == Some(key)) {
            self.engine.cue_key_down = true;
            self.engine.cue(self.now());
            return;
        }
        let (heard, frame, now) = (self.heard(), self.frame(), self.now());
        let engine = &mut *self.engine;
        engine.struck = engine.struck.wrapping_add(1);
        if engine.rehearsal.is_on() {
            engine.hear(now, key, &self.block);
        } else {
            engine.listener.note_on(heard, channel, key, velocity);
            engine.played |= engine.controls.is_none_or(|controls| !controls.hold);
        }
        if engine.lets_through() {
            engine
                .player
                .press(frame, (channel, key), velocity, &mut send);
        }
    }

    /// A key is let go at `frame`; all those that channel and key, where told, agree with.
    pub fn note_off(
        &mut self,
        frame: u32,
        (channel, key): (Option<Channel>, Option<Key>),
        mut send: impl FnMut(Event),
    ) {
        self.play_until(frame, &mut send);
        let (heard, frame) = (self.heard(), self.frame());
        let of_cues = self.engine.controls.and_then(|controls| controls.cue_key);
        if key.is_none() || key == of_cues {
            self.engine.cue_key_down = false;
        }
        self.engine.listener.note_off(heard, channel, key);
        // Whatever let the key through, its end goes through too.
        self.engine.player.lift(frame, channel, key, &mut send);
    }

    /// A controller is moved at `frame`, to `value` of 0 ..= 1. Whether that is a matter of cues,
    /// and not to be passed on.
    pub fn control(
        &mut self,
        frame: u32,
        controller: u8,
        value: f32,
        send: impl FnMut(Event),
    ) -> bool {
        let gives_cues = |controls: &super::Controls| controls.cue_controller == Some(controller);
        if !self.engine.cues(gives_cues) {
            return false;
        }
        self.play_until(frame, send);
        let down = value >= 0.5;
        let was_down = std::mem::replace(&mut self.engine.pedal_down, down);
        if down && !was_down {
            self.engine.cue(self.now());
        }
        true
    }

    /// Plays up to `frame` of the block, so that what is sent next comes in time order.
    pub fn play_until(&mut self, frame: u32, mut send: impl FnMut(Event)) {
        let until = frame.min(self.block.frames);
        if until <= self.frame {
            return;
        }
        self.repeat_cues(until, &mut send);
        if let Some(end) = self.engine.ends_in(&self.block).filter(|end| *end < until) {
            self.play_on(end, &mut send);
            self.engine.end(self.frame, &mut send);
        }
        while let Some(end) = self.engine.pass_ends_in(&self.block) {
            if end >= until {
                break;
            }
            self.play_on(end, &mut send);
            self.block = self.engine.pass_again(self.frame, self.block, &mut send);
        }
        self.play_on(until, send);
    }

    /// Plays up to each cue before frame `until` that was performed here, and gives it again.
    fn repeat_cues(&mut self, until: u32, mut send: impl FnMut(Event)) {
        let origin = self.engine.process.origin();
        while self.engine.remembers() {
            let Some(at) = self.engine.performed.next_cue(origin) else {
                return;
            };
            if at >= self.block.span().end || self.block.frame_of(at) >= until {
                return;
            }
            self.play_on(self.block.frame_of(at), &mut send);
            self.engine.process.cue(at);
            self.engine.performed.pass_cue();
        }
    }

    fn play_on(&mut self, until: u32, send: impl FnMut(Event)) {
        let engine = &mut *self.engine;
        if engine.is_running() && until > self.frame {
            let cast = engine.cast();
            let frames = self.frame..until;
            engine
                .player
                .play(&engine.process, cast, &self.block, frames, send);
        }
        self.frame = self.frame.max(until);
    }

    /// Plays the rest of the block.
    pub fn finish(mut self, mut send: impl FnMut(Event)) {
        self.play_until(self.block.frames, &mut send);
        let engine = self.engine;
        let origin = engine.process.origin();
        engine.performed.come_to(self.block.span().end, origin);
        if engine.remembers() && !engine.process.phrase().is_empty() {
            let tempo = engine.clock.tempo();
            engine.performed.went(self.block.span(), tempo, origin);
        }
        engine.rehearsed(&self.block);
        engine.clock.pass(&self.block);
        engine.listener.advance(engine.clock.heard());
    }

    /// The frame of the block that has been come to: events are sent on it now. Past the end it is
    /// the last.
    pub fn frame(&self) -> u32 {
        self.frame.min(self.block.frames.saturating_sub(1))
    }

    /// Song position that has been come to.
    fn now(&self) -> Beats {
        self.block.start + self.beats_done()
    }

    /// The same, as the listener counts: leaps of the song aside.
    fn heard(&self) -> Beats {
        self.engine.clock.heard() + self.beats_done()
    }

    fn beats_done(&self) -> Beats {
        f64::from(self.frame) * self.block.beats_per_frame
    }
}
