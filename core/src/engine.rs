//! The engine: one instance of the whole, block by block, as a host drives it.
//!
//! A block goes through three verbs: [`begin`](Engine::begin) says what time it is and what the
//! controls say, [`note_on`](Engine::note_on) and its like tell what is played in, in order, and
//! [`finish`](Engine::finish) plays the rest.

use crate::capture::{Bars, Listener, Taken};
use crate::clock::{Clock, Joint, Transport};
use crate::metre::Metre;
use crate::note::{Channel, Key, Velocity};
use crate::phrase::Phrase;
use crate::player::{Event, Player, channel_of};
use crate::process::Process;
use crate::settings::{MAX_PARTS, Settings};
use crate::time::{Beats, Block};

/// What the controls say during a block.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Controls {
    /// All that shapes the process.
    pub settings: Settings,
    /// Going on takes the phrase; on plays it; off lets the output fall silent.
    pub hold: bool,
    /// Whether it was a hand in the plug-in's own window that put hold where it is.
    pub by_hand: bool,
    /// Whether what is played goes through while holding.
    pub thru: bool,
    /// Whether everything that is played goes through and nothing else sounds.
    pub bypass: bool,
    /// Going on gives a cue.
    pub cue: bool,
    /// The key that gives a cue when struck. It is neither heard nor passed on, but for bypass.
    pub cue_key: Option<Key>,
    /// The number of the controller that gives a cue when it rises past its middle.
    pub cue_controller: Option<u8>,
}

/// Where the process begins.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Anchor {
    /// Cycle 0 begins at this song position.
    Song(Beats),
    /// Cycle 0 begins where the song next starts to roll. So it is after a phrase was taken, or
    /// written, with the song at rest.
    NextStart,
}

/// What happened in a block that somebody else may want to know.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct News {
    /// A phrase was taken.
    pub taken: Option<TakenNews>,
    /// Hold was asked for, and nothing had been played.
    pub nothing_played: bool,
    /// The process found its place in the song.
    pub anchored: bool,
}

/// About a phrase that was taken.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TakenNews {
    /// How many notes it has.
    pub notes: usize,
    /// How many more there were than a phrase holds.
    pub left_out: usize,
    /// Whether it was heard to repeat.
    pub repeats: bool,
    /// The tempo it was played at, in beats a minute, as far as it can be told.
    pub played_at: f64,
    /// The tempo it was taken for: the host's.
    pub taken_as: f64,
}

/// One instance of the whole.
#[derive(Debug)]
pub struct Engine {
    clock: Clock,
    listener: Listener,
    /// The host's metre, and where in the song one of its bars begins.
    bars: Option<(Metre, Beats)>,
    process: Process,
    player: Player,
    anchor: Anchor,
    /// None until a first block has told, and after a state was loaded: a control that is on then
    /// has not been switched on.
    controls: Option<Controls>,
    /// Playing on the own clock, with the song at rest.
    free: bool,
    /// Whether anything was played since hold was off.
    played: bool,
    /// Everything that sounds is to be ended first of all.
    interrupted: bool,
    /// Whether the controller that gives cues is past its middle.
    pedal_down: bool,
    block: Block,
    /// How many frames of the block are done.
    frame: u32,
    news: News,
}

impl Engine {
    /// An engine at rest, with no phrase, for blocks at `sample_rate` hertz.
    ///
    /// Allocates all it will ever need.
    pub fn new(sample_rate: f64) -> Self {
        // A bar of rest. The bounds of a phrase's length are constants, so this cannot fail.
        let rest = Phrase::empty(4.0).unwrap_or_else(|_| unreachable!("a bar is a length"));
        Self {
            clock: Clock::new(sample_rate),
            listener: Listener::new(),
            bars: None,
            process: Process::new(rest, Settings::default(), 0.0),
            player: Player::default(),
            anchor: Anchor::NextStart,
            controls: None,
            free: false,
            played: false,
            interrupted: false,
            pedal_down: false,
            block: Block::new(0.0, crate::clock::DEFAULT_TEMPO, 48_000.0, 0),
            frame: 0,
            news: News::default(),
        }
    }

    /// Blocks come at another sample rate from now on, in hertz. What was heard is forgotten,
    /// what sounds is ended in the next block; the phrase stays.
    pub fn prepare(&mut self, sample_rate: f64) {
        self.clock = Clock::new(sample_rate);
        self.forget_playing();
        self.interrupt();
    }

    /// Ends everything that sounds in the next block, then goes on: a reset by the host, or a
    /// player's panic.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn interrupt(&mut self) {
        self.interrupted = true;
    }

    /// A loaded phrase. A `hold` that is on then was not switched on.
    ///
    /// # Real-time
    /// Allocates never, blocks never. What sounds is ended in the next block.
    pub fn restore(&mut self, phrase: &Phrase, anchor: Anchor) {
        self.controls = None;
        self.edit(phrase, anchor);
    }

    /// Another phrase in the place of the one that was there. What was played before is
    /// forgotten, so that the next hold plays this one unless something is played after it.
    ///
    /// # Real-time
    /// Allocates never, blocks never. What sounds is ended in the next block.
    pub fn edit(&mut self, phrase: &Phrase, anchor: Anchor) {
        self.forget_playing();
        self.process.set_phrase(phrase);
        self.anchor = anchor;
        self.interrupted = true;
    }

    /// The phrase and where it stands.
    pub fn process(&self) -> &Process {
        &self.process
    }

    /// Where the process begins.
    pub fn anchor(&self) -> Anchor {
        self.anchor
    }

    /// What sounds.
    pub fn player(&self) -> &Player {
        &self.player
    }

    /// Time.
    pub fn clock(&self) -> &Clock {
        &self.clock
    }

    /// Whether the process plays: held, and with a song or an own time to play in.
    pub fn is_running(&self) -> bool {
        let held = self
            .controls
            .is_some_and(|controls| controls.hold && !controls.bypass);
        held && (self.clock.is_playing() || self.free)
    }

    /// Whether nothing sounds and nothing will of its own accord.
    pub fn is_idle(&self) -> bool {
        !self.is_running() && !self.interrupted && self.player.ledger().is_silent()
    }

    /// What happened since this was last asked.
    pub fn take_news(&mut self) -> News {
        std::mem::take(&mut self.news)
    }

    /// The channels that parts, or a hand on `played`, use now: where controllers go.
    pub fn channels(&self, played: Option<Channel>) -> impl Iterator<Item = Channel> + '_ {
        let output = self.process.settings().output;
        let different = match (self.is_running(), output.all_on_one) {
            (false, _) => 0,
            (true, true) => 1,
            (true, false) => MAX_PARTS,
        };
        let of_parts = self
            .process
            .parts()
            .take(different)
            .map(move |part| channel_of(part, &output));
        played
            .into_iter()
            .chain(of_parts.filter(move |channel| Some(*channel) != played))
    }

    /// The host's metre from the coming block on, and where in the song one of its bars begins, in
    /// beats; the song itself begins with one if that is not told.
    pub fn count_bars(&mut self, metre: Option<Metre>, line: Option<Beats>) {
        let line = line.filter(|line| line.is_finite()).unwrap_or(0.0);
        self.bars = metre.map(|metre| (metre, line));
    }

    /// Begins a block of `frames` frames.
    ///
    /// # Real-time
    /// Allocates never, blocks never; taking a phrase is bounded by what the listener holds.
    pub fn begin(
        &mut self,
        transport: &Transport,
        frames: u32,
        controls: &Controls,
        mut send: impl FnMut(Event),
    ) {
        let (block, joint) = self.clock.advance(transport, frames);
        (self.block, self.frame) = (block, 0);
        // Nothing led here: what the controls say is no change, it is how things stand.
        let afresh = self.interrupted || joint != Joint::On || self.controls.is_none();
        // A performance begins anew with the song, and with a project that was opened.
        let anew = joint == Joint::Starts || self.controls.is_none();
        if std::mem::take(&mut self.interrupted) {
            self.start_afresh(&mut send);
            self.player.lift(0, None, None, &mut send);
        }
        self.join(joint, &mut send);
        self.hear_bars();
        self.apply(controls, &mut send);
        if afresh {
            self.process.settle();
        }
        if anew {
            self.process.forget_cues();
        }
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
        if self.cues(|controls| controls.cue_key == Some(key)) {
            self.cue();
            return;
        }
        self.listener
            .note_on(self.heard_at_frame(), channel, key, velocity);
        self.played |= self.controls.is_none_or(|controls| !controls.hold);
        if self.lets_through() {
            self.player
                .press(self.frame(), (channel, key), velocity, &mut send);
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
        self.listener.note_off(self.heard_at_frame(), channel, key);
        // Whatever let the key through, its end goes through too.
        self.player.lift(self.frame(), channel, key, &mut send);
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
        if !self.cues(|controls| controls.cue_controller == Some(controller)) {
            return false;
        }
        self.play_until(frame, send);
        let down = value >= 0.5;
        if down && !std::mem::replace(&mut self.pedal_down, down) {
            self.cue();
        }
        self.pedal_down = down;
        true
    }

    /// Plays up to `frame` of the block, so that what is sent next comes in time order.
    pub fn play_until(&mut self, frame: u32, mut send: impl FnMut(Event)) {
        let until = frame.min(self.block.frames);
        if until <= self.frame {
            return;
        }
        if self.is_running() {
            self.player
                .play(&self.process, &self.block, self.frame..until, &mut send);
        }
        self.frame = until;
    }

    /// Plays the rest of the block.
    pub fn finish(&mut self, mut send: impl FnMut(Event)) {
        self.play_until(self.block.frames, &mut send);
        self.clock.pass(&self.block);
        self.listener.advance(self.clock.heard());
    }

    fn hear_bars(&mut self) {
        let rolls = self.clock.is_playing();
        let song_starts = self.clock.heard() - self.block.start;
        let bars = self.bars.map(|(metre, line)| Bars {
            metre,
            line: rolls.then_some(song_starts + line),
        });
        self.listener.count_bars(bars);
    }

    fn join(&mut self, joint: Joint, send: &mut impl FnMut(Event)) {
        match joint {
            Joint::On => (),
            Joint::Starts | Joint::Stops | Joint::Leaps => {
                self.free = false;
                // In a loop, a performance goes on.
                let came_to = self.player.come_to(self.block.start);
                self.process.come_to_rest(came_to, self.block.start);
                self.start_afresh(send);
                self.player.pan_anew();
            }
        }
        if self.clock.is_playing() {
            self.find_place_in_song();
        }
    }

    /// Whether what is played is a matter of cues: never while everything goes through.
    fn cues(&self, are_given_by: impl FnOnce(&Controls) -> bool) -> bool {
        self.controls
            .as_ref()
            .is_some_and(|controls| !controls.bypass && are_given_by(controls))
    }

    /// A performer's cue, now.
    fn cue(&mut self) {
        if self.is_running() {
            let now = self.block.start + f64::from(self.frame) * self.block.beats_per_frame;
            self.process.cue(now);
        }
    }

    /// Once the song rolls, the process begins at a song position.
    fn find_place_in_song(&mut self) {
        if self.anchor == Anchor::NextStart {
            self.anchor = Anchor::Song(self.block.start);
            self.news.anchored = true;
        }
        if let Anchor::Song(origin) = self.anchor {
            self.process.set_origin(origin);
        }
    }

    fn apply(&mut self, controls: &Controls, send: &mut impl FnMut(Event)) {
        let now = self.player.come_to(self.block.start);
        if controls.settings != *self.process.settings() {
            let played: [bool; MAX_PARTS] = std::array::from_fn(|part| self.process.plays(part));
            self.process.set_settings(controls.settings, now);
            self.player.silence_unused(&self.process, 0, &mut *send);
            if self.is_running() {
                let joins = |part: usize| !played[part];
                self.player.join_late(&self.process, joins, &mut *send);
            }
        }
        let before = self.controls.replace(*controls).unwrap_or(*controls);
        if before.cue_controller != controls.cue_controller {
            // Another pedal: how far the old one is down says nothing about it.
            self.pedal_down = false;
        }
        if controls.bypass != before.bypass {
            self.start_afresh(send);
        }
        match (before.hold, controls.hold) {
            (false, true) if self.is_meant(controls) => self.hold(&controls.settings, send),
            (true, false) => {
                self.free = false;
                self.played = false;
                self.start_afresh(send);
            }
            _ => (),
        }
        if controls.cue && !before.cue {
            self.cue();
        }
        let is_on = |controls: &Controls| controls.hold && !controls.bypass;
        if is_on(controls) && !is_on(&before) {
            self.player.start_late(self.block.start);
        }
    }

    /// Whether a hold that goes on is a player's wish. With the song at rest it may be no more than
    /// the host telling what its lane says where the playhead was put; nothing is to sound of that.
    fn is_meant(&self, controls: &Controls) -> bool {
        self.clock.is_playing() || self.played || controls.by_hand
    }

    fn forget_playing(&mut self) {
        self.listener.forget();
        self.played = false;
    }

    /// Takes the phrase out of what was played, and begins to play it.
    fn hold(&mut self, settings: &Settings, send: &mut impl FnMut(Event)) {
        self.start_afresh(send);
        self.process.forget_cues();
        self.player.pan_anew();
        let song_starts = self.clock.heard() - self.block.start;
        let grid_zero = self.clock.is_playing().then_some(song_starts);
        match self
            .listener
            .take(self.clock.heard(), grid_zero, &settings.capture)
        {
            Some(taken) => self.adopt(&taken, settings),
            None => {
                self.news.nothing_played = true;
                if !self.clock.is_playing() {
                    self.process.set_origin(self.block.start);
                }
            }
        }
        self.free = !self.clock.is_playing();
    }

    fn adopt(&mut self, taken: &Taken, settings: &Settings) {
        self.news.taken = Some(TakenNews {
            notes: taken.phrase.notes().len(),
            left_out: taken.dropped,
            repeats: taken.repeats,
            played_at: self.clock.tempo() * taken.pace,
            taken_as: self.clock.tempo(),
        });
        let origin = self.block.start + (taken.origin - self.clock.heard());
        self.process.set_phrase(&taken.phrase);
        self.process.set_origin(origin);
        self.anchor = if self.clock.is_playing() {
            Anchor::Song(origin)
        } else {
            Anchor::NextStart
        };
        // A hand that is a little late does not cost the first note.
        let late = self.block.start - origin;
        if late > 0.0 && late <= settings.step() / 2.0 {
            self.player.start_from(origin);
        }
    }

    /// Voices fall silent and stand where the settings put them.
    fn start_afresh(&mut self, send: &mut impl FnMut(Event)) {
        self.player.stop(0, &mut *send);
        self.process.settle();
    }

    fn lets_through(&self) -> bool {
        self.controls
            .is_none_or(|controls| !controls.hold || controls.thru || controls.bypass)
    }

    fn heard_at_frame(&self) -> Beats {
        self.clock.heard() + f64::from(self.frame) * self.block.beats_per_frame
    }

    /// The frame of the block that has been come to: events are sent on it now. Past the end it is
    /// the last.
    pub fn frame(&self) -> u32 {
        self.frame.min(self.block.frames.saturating_sub(1))
    }
}
