//! The engine: one instance of the whole, block by block, as a host drives it.
//!
//! A block goes through three verbs: [`begin`](Engine::begin) says what time it is and what the
//! controls say, and gives the [`InBlock`] in which [`note_on`](InBlock::note_on) and its like tell what
//! is played in, in order, until [`finish`](InBlock::finish) plays the rest.

mod beginning;
mod entering;
mod in_block;
mod practising;

pub use in_block::InBlock;

use crate::capture::Listener;
use crate::clock::{Clock, Transport};
use crate::metre::{BarLines, Metre};
use crate::note::{Channel, Key};
use crate::part::MAX_PARTS;
use crate::performed::Performed;
use crate::phrase::Phrase;
use crate::player::{Event, Player, channel_of};
use crate::practice::{Practising, Rehearsal};
use crate::process::Process;
use crate::route::Route;
use crate::settings::{Beginning, Settings};
use crate::time::Beats;

/// What the controls say during a block.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Controls {
    /// All that shapes the process.
    pub settings: Settings,
    /// Going on takes the phrase, or begins the one that is there; on plays it; off lets the output
    /// fall silent.
    pub hold: bool,
    /// Where it begins, and how it ends.
    pub beginning: Beginning,
    /// Whether hold was switched on and is off here only until its phrase is worked out.
    pub waits: bool,
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
    /// What a hand plays in the place of the process.
    pub practising: Practising,
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
    /// The host's, if it tells any.
    bars: Option<BarLines>,
    process: Process,
    /// What was performed in the song. On the heap, since it is large.
    performed: Box<Performed>,
    player: Player,
    anchor: Anchor,
    /// None until a first block has told, and after a state was loaded: a control that is on then
    /// has not been switched on.
    controls: Option<Controls>,
    /// Playing on the own clock, with the song at rest.
    free: bool,
    /// Hold has gone off, and until this song position the process plays on.
    ending: Option<Beats>,
    /// Where in the rolling song hold last went off, if it has not gone on since.
    let_go_at: Option<Beats>,
    /// Hold waits, or waited last, since the song started or leapt.
    waits_from_start: bool,
    /// How many keys were struck.
    struck: u32,
    cues_given: u32,
    /// Whether anything was played since hold was off.
    played: bool,
    /// Everything that sounds is to be ended first of all.
    interrupted: bool,
    /// Whether the controller that gives cues is past its middle.
    pedal_down: bool,
    /// Whether the key that gives cues is down.
    cue_key_down: bool,
    rehearsal: Rehearsal,
    /// Where the last block ended.
    left_at: Beats,
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
            performed: Box::default(),
            player: Player::default(),
            anchor: Anchor::NextStart,
            controls: None,
            free: false,
            ending: None,
            let_go_at: None,
            waits_from_start: false,
            struck: 0,
            cues_given: 0,
            played: false,
            interrupted: false,
            pedal_down: false,
            cue_key_down: false,
            rehearsal: Rehearsal::default(),
            left_at: 0.0,
            news: News::default(),
        }
    }

    /// Blocks come at another sample rate from now on, in hertz. What was heard is forgotten,
    /// what sounds is ended in the next block; the phrase stays.
    pub fn prepare(&mut self, sample_rate: f64) {
        self.clock = Clock::new(sample_rate);
        // It begins anew.
        self.rehearsal.leave_off();
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
        self.let_go_at = None;
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
        self.performed.forget();
        self.anchor = anchor;
        self.waits_from_start = false;
        self.interrupted = true;
    }

    /// A loaded route, or none: the form is as it says, as if it had always been.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn set_route(&mut self, route: &Route) {
        self.process.set_route(route);
        self.performed.forget();
    }

    /// The composer has changed the route, perhaps while it plays: from the present stage on it is
    /// as it says now.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn change_route(&mut self, route: &Route) {
        if self.is_running() {
            let now = self.player.come_to(self.clock.position());
            self.process.change_route(route, now);
        } else {
            self.process.set_route(route);
        }
        self.performed.forget();
    }

    /// The phrase and where it stands.
    pub fn process(&self) -> &Process {
        &self.process
    }

    /// Where the process begins.
    pub fn anchor(&self) -> Anchor {
        self.anchor
    }

    /// How many keys were struck so far, those that give cues aside.
    pub fn struck(&self) -> u32 {
        self.struck
    }

    /// What sounds.
    pub fn player(&self) -> &Player {
        &self.player
    }

    /// Time.
    pub fn clock(&self) -> &Clock {
        &self.clock
    }

    /// Whether the process plays: held, or not yet at its end, and with a song or an own time to play
    /// in. Before its beginning it waits for that.
    pub fn is_running(&self) -> bool {
        if self.practises_alone() {
            return true;
        }
        let is_on =
            |controls: Controls| (controls.hold || self.ending.is_some()) && !controls.bypass;
        self.controls.is_some_and(is_on) && (self.clock.is_playing() || self.free)
    }

    /// Until which song position the process plays on, if hold has gone off.
    pub fn ending(&self) -> Option<Beats> {
        self.ending
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
        self.bars = metre.map(|metre| BarLines { metre, line });
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
        send: impl FnMut(Event),
    ) -> InBlock<'_> {
        self.begin_block(transport, frames, (controls, true), send)
    }

    /// The same if the `controls` say to the letter what they said to the block before: what follows
    /// from them is not worked out again, nor are they compared.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn begin_unmoved(
        &mut self,
        transport: &Transport,
        frames: u32,
        controls: &Controls,
        send: impl FnMut(Event),
    ) -> InBlock<'_> {
        debug_assert!(self.controls.is_none_or(|told| told == *controls));
        self.begin_block(transport, frames, (controls, false), send)
    }

    fn begin_block(
        &mut self,
        transport: &Transport,
        frames: u32,
        (controls, moved): (&Controls, bool),
        mut send: impl FnMut(Event),
    ) -> InBlock<'_> {
        // Whoever is out of the way practises nothing.
        let practising = if controls.bypass {
            Practising::Not
        } else {
            controls.practising
        };
        self.set_pace(&practising);
        let (block, joint) = self.clock.advance(transport, frames);
        self.leave_practice(&block, joint, &practising);
        self.enter(block, joint, (controls, moved), &mut send);
        let block = self.rehearse(block, joint, practising, send);
        InBlock::new(self, block)
    }

    /// What was performed in the song.
    pub fn performed(&self) -> &Performed {
        &self.performed
    }

    /// Whether what plays is what was performed.
    pub fn follows_performance(&self) -> bool {
        self.remembers() && self.performed.is_followed()
    }

    /// What was performed before, as a project has kept it; nothing, if it is to be forgotten.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn restore_performed(&mut self, performed: &Performed) {
        self.performed.copy_from(performed);
    }

    /// Whether what is performed is remembered: in the rolling song alone. The own time has no
    /// positions to come back to.
    fn remembers(&self) -> bool {
        self.is_running() && self.clock.is_playing()
    }

    /// Forgets what was played, so that the next hold takes nothing of it.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn forget_playing(&mut self) {
        self.listener.forget();
        self.played = false;
    }

    fn lets_through(&self) -> bool {
        self.controls
            .is_none_or(|controls| !controls.hold || controls.thru || controls.bypass)
    }

    /// Whether what is played is a matter of cues: never while everything goes through.
    fn cues(&self, are_given_by: impl FnOnce(&Controls) -> bool) -> bool {
        self.controls
            .as_ref()
            .is_some_and(|controls| !controls.bypass && are_given_by(controls))
    }

    /// How many cues were given so far, taken or not.
    pub fn cues_given(&self) -> u32 {
        self.cues_given
    }

    /// Whether what gives cues is held down: the parameter, the key or the controller.
    pub fn cue_is_held(&self) -> bool {
        let by_parameter = self.controls.is_some_and(|controls| controls.cue);
        by_parameter || self.pedal_down || self.cue_key_down
    }

    /// A performer's cue at song position `now`.
    fn cue(&mut self, now: Beats) {
        self.cues_given = self.cues_given.wrapping_add(1);
        if !self.is_running() || self.performed.was_cued(now, self.process.origin()) {
            return;
        }
        if self.process.cue(now) && self.remembers() {
            self.performed.cued(now, &self.process);
        }
    }
}
