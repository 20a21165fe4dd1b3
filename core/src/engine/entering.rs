//! How a block is entered: what went before it, and what the controls say.

use super::{Anchor, Controls, Engine, TakenNews};
use crate::capture::{Bars, Taken};
use crate::clock::Joint;
use crate::metre::BarLines;
use crate::part::{MAX_PARTS, Part};
use crate::performed::Shape;
use crate::player::Event;
use crate::settings::{EndOn, Settings};
use crate::time::{Beats, Block, LATE};

/// What led to a block. It is decided once, when the block begins.
#[derive(Clone, Copy, Debug)]
struct Entry {
    joint: Joint,
    /// By a reset of the host, a player's panic, another phrase.
    interrupted: bool,
    /// Nobody has told what the controls say, or a state was loaded.
    opened: bool,
}

impl Entry {
    /// Whether time goes on from the block before.
    fn goes_on(&self) -> bool {
        self.joint == Joint::On
    }

    /// Whether what the controls say is no change, but how things stand: nothing led here.
    fn is_afresh(&self) -> bool {
        self.interrupted || self.opened || !self.goes_on()
    }

    /// Whether a performance begins anew: with the song, and with a project that was opened.
    fn is_anew(&self) -> bool {
        self.opened || self.joint == Joint::Starts
    }
}

/// A block that is being entered.
struct Entering<'e, S> {
    engine: &'e mut Engine,
    entry: Entry,
    /// Where the process was to begin before this block.
    anchor: Anchor,
    block: Block,
    send: S,
}

impl Engine {
    /// Enters `block`, which joins the time before it as `joint` says. The controls may have moved
    /// since the block before, or not.
    pub(super) fn enter(
        &mut self,
        block: Block,
        joint: Joint,
        (controls, moved): (&Controls, bool),
        send: impl FnMut(Event),
    ) {
        let entry = Entry {
            joint,
            interrupted: std::mem::take(&mut self.interrupted),
            opened: self.controls.is_none(),
        };
        let anchor = self.anchor;
        let mut entering = Entering {
            engine: self,
            entry,
            anchor,
            block,
            send,
        };
        if entry.interrupted {
            entering.lift_all();
        }
        if !entry.goes_on() {
            entering.leave_where_it_was();
        }
        entering.find_place_in_song(controls);
        entering.hear_bars();
        if moved || entry.opened {
            entering.apply(controls);
        } else {
            debug_assert!(controls.settings == *entering.engine.process.settings());
        }
        if entry.is_afresh() {
            self.process.settle();
        }
        if entry.is_anew() {
            self.process.begin_anew();
        }
        self.go_on_as_performed(entry, block.start);
    }
}

impl Engine {
    /// The song has started, or goes on from elsewhere: what was performed there is believed, if
    /// the controls agree. A leap that copies make on cue is one of a loop, and they go on.
    fn go_on_as_performed(&mut self, entry: Entry, now: Beats) {
        if !self.remembers() {
            return;
        }
        let resumes = entry.is_anew() || (entry.interrupted && self.performed.is_followed());
        let leaps = entry.joint == Joint::Leaps;
        if resumes || (leaps && !self.process.voices().are_cued()) {
            self.performed.recall(now, &mut self.process);
        } else if leaps {
            self.performed.go_adrift();
        }
    }
}

impl<S: FnMut(Event)> Entering<'_, S> {
    /// Voices and hand fall silent.
    fn lift_all(&mut self) {
        self.start_afresh();
        self.engine.player.lift(0, None, None, &mut self.send);
    }

    /// The song has started, stopped or leapt.
    fn leave_where_it_was(&mut self) {
        let start = self.block.start;
        self.engine.free = false;
        // In a loop, a performance goes on.
        let came_to = self.engine.player.come_to(start);
        self.engine.process.come_to_rest(came_to, start);
        self.start_afresh();
        self.engine.player.pan_anew();
    }

    /// Once the song rolls, the process begins at a song position: the one that is written, or else
    /// the one that was found.
    fn find_place_in_song(&mut self, controls: &Controls) {
        let engine = &mut *self.engine;
        let rolls = engine.clock.is_playing();
        let anchor = match (controls.beginning.at, engine.anchor) {
            (Some(written), _) => Anchor::Song(written - engine.pick_up()),
            (None, Anchor::NextStart) if rolls => Anchor::Song(self.block.start),
            (None, anchor) => anchor,
        };
        let moved = engine.anchor_at(anchor);
        if let (Anchor::Song(origin), true) = (anchor, rolls) {
            if moved && engine.is_running() {
                self.start_afresh();
            }
            if moved {
                self.engine.performed.forget();
            }
            self.engine.process.set_origin(origin);
        }
    }

    fn hear_bars(&mut self) {
        let engine = &mut *self.engine;
        let rolls = engine.clock.is_playing();
        let song_starts = engine.clock.heard() - self.block.start;
        let bars = engine.bars.map(|BarLines { metre, line }| Bars {
            metre,
            line: rolls.then_some(song_starts + line),
        });
        engine.listener.count_bars(bars);
    }

    fn apply(&mut self, controls: &Controls) {
        self.apply_settings(&controls.settings);
        let engine = &mut *self.engine;
        let before = engine.controls.replace(*controls).unwrap_or(*controls);
        if before.cue_controller != controls.cue_controller {
            // Another pedal: how far the old one is down says nothing about it.
            engine.pedal_down = false;
        }
        if before.cue_key != controls.cue_key {
            engine.cue_key_down = false;
        }
        if controls.bypass != before.bypass {
            self.start_afresh();
        }
        if controls.waits && !before.waits {
            self.engine.waits_from_start = !self.entry.goes_on();
        }
        self.engine.waits_from_start &= controls.waits || before.waits;
        match (before.hold, controls.hold) {
            // What is practised by itself, hold leaves alone.
            _ if self.engine.practises_alone() => (),
            (false, true) if self.is_meant(controls) => self.hold(controls),
            (true, false) => self.let_go(controls),
            _ => (),
        }
        if self.engine.ending.is_some() && controls.beginning.end_on == EndOn::Now {
            self.start_afresh();
        }
        if controls.cue && !before.cue {
            self.engine.cue(self.block.start);
        }
        let is_on = |controls: &Controls| controls.hold && !controls.bypass;
        if is_on(controls) && !is_on(&before) {
            self.engine.player.start_late(self.block.start);
        }
    }

    fn apply_settings(&mut self, settings: &Settings) {
        let engine = &mut *self.engine;
        if settings == engine.process.settings() {
            return;
        }
        let now = engine.player.come_to(self.block.start);
        let played: [bool; MAX_PARTS] = Part::ALL.map(|part| engine.process.plays(part));
        let (before, shape) = (Shape::of(engine.process.settings()), Shape::of(settings));
        let reshaped = before != shape && engine.remembers() && self.entry.goes_on();
        let now = if reshaped {
            let origin = engine.process.origin();
            engine.performed.told_before(now, &shape, origin)
        } else {
            now
        };
        engine.process.set_settings(*settings, now);
        if reshaped && now > engine.process.origin() + LATE {
            engine.performed.shaped(now, &before, &engine.process);
        }
        if !engine.is_running() {
            // Nothing is on its way.
            engine.process.settle();
        }
        engine
            .player
            .silence_unused(&engine.process, 0, &mut self.send);
        if engine.is_running() {
            let joins = |part: Part| !played[part.index()];
            engine
                .player
                .join_late(&engine.process, joins, &mut self.send);
        }
    }

    /// Whether a hold that goes on is a player's wish. With the song at rest it may be no more than
    /// the host telling what its lane says where the playhead was put; nothing is to sound of that.
    fn is_meant(&self, controls: &Controls) -> bool {
        self.engine.clock.is_playing() || self.engine.played || controls.by_hand
    }

    /// Hold goes off: at once, or with the cycle that is on.
    fn let_go(&mut self, controls: &Controls) {
        let (entry, now) = (self.entry, self.block.start);
        let engine = &mut *self.engine;
        engine.played = false;
        let rolls = engine.clock.is_playing();
        if entry.goes_on() && rolls {
            engine.let_go_at = Some(now);
        }
        let plays = !entry.is_afresh() && !controls.bypass && (rolls || engine.free);
        let waits = plays && controls.beginning.end_on == EndOn::Cycle;
        match engine.end_of_cycle(now).filter(|_| waits) {
            Some(end) => engine.ending = Some(end),
            None => {
                engine.free = false;
                self.start_afresh();
            }
        }
    }

    /// Takes the phrase out of what was played, and begins to play it; if nothing was, the one that
    /// was there.
    fn hold(&mut self, controls: &Controls) {
        let engine = &mut *self.engine;
        if engine.ending.is_some() && !engine.played {
            // It has not ended yet, so it goes on.
            engine.ending = None;
            engine.let_go_at = None;
            return;
        }
        self.start_afresh();
        let engine = &mut *self.engine;
        engine.process.begin_anew();
        engine.player.pan_anew();
        let rolls = engine.clock.is_playing();
        let heard = engine.clock.heard();
        let grid_zero = rolls.then_some(heard - self.block.start);
        let capture = &controls.settings.capture;
        match engine.listener.take(heard, grid_zero, capture) {
            Some(taken) => self.adopt(&taken, controls),
            None => self.begin(controls),
        }
        self.engine.free = !rolls;
        self.engine.let_go_at = None;
    }

    /// Begins the phrase that was there.
    fn begin(&mut self, controls: &Controls) {
        let now = self.block.start;
        // Hold that was pressed at rest is told with this block or with the one before it; or had to
        // wait since then, and found nothing.
        let found_on = !self.entry.goes_on() || self.engine.waits_from_start;
        let bars = controls.beginning.count_in;
        let engine = &mut *self.engine;
        if !engine.clock.is_playing() {
            engine.news.nothing_played = true;
            engine.performed.forget();
            engine.begin_at_rest(now, &controls.beginning);
        } else if !(found_on && engine.was_held_since_it_began(now, self.anchor, bars)) {
            engine.news.nothing_played = true;
            engine.performed.forget();
            engine.begin_in_song(now, &controls.beginning);
        }
    }

    fn adopt(&mut self, taken: &Taken, controls: &Controls) {
        let engine = &mut *self.engine;
        engine.news.taken = Some(TakenNews {
            notes: taken.phrase.notes().len(),
            left_out: taken.dropped,
            repeats: taken.repeats,
            played_at: engine.clock.tempo() * taken.pace,
            taken_as: engine.clock.tempo(),
        });
        let origin = self.block.start + (taken.origin - engine.clock.heard());
        engine.process.set_phrase(&taken.phrase);
        engine.performed.forget();
        if controls.beginning.at.is_some() && engine.clock.is_playing() {
            // It waits for where it is written to begin, or joins in.
            return;
        }
        engine.process.set_origin(origin);
        engine.anchor = if engine.clock.is_playing() {
            Anchor::Song(origin)
        } else {
            Anchor::NextStart
        };
        // A hand that is a little late does not cost the first note.
        let late = self.block.start - origin;
        if late > 0.0 && late <= controls.settings.step() / 2.0 {
            engine.player.start_from(origin);
        }
    }

    /// Voices fall silent and stand where the settings put them.
    fn start_afresh(&mut self) {
        self.engine.give_up_ending();
        self.engine.player.stop(0, &mut self.send);
        self.engine.process.settle();
    }
}
