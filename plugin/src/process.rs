//! A block: what the host says is put into the engine's words, what the engine says into the
//! host's.

mod calling;
mod desk;
mod events;
mod exit;
mod hand;
mod song;
mod spoken;
mod transport;

use crate::Task;
use crate::audition::{Audition, sides};
use crate::bell::Bell;
use crate::controllers::Controllers;
use crate::feed::{Bars, Feed};
use crate::handover::{AudioSide, Cause};
use crate::outbox::Outbox;
use crate::params::Parameters;
use crate::program::ProgramAudio;
use crate::state::{Taken, Voice};
use calling::Calling;
use desk::Desk;
use events::{play_in, struck, was_never_moved};
use exit::Exit;
use hand::Hand;
use nice_plug::prelude::*;
use procession_core::engine::{Engine, News};
use procession_core::time::Block;
use spoken::{Held, Spoken};
use transport::{bar_start, bars, heard_from};

/// All that the audio thread owns.
pub struct AudioThread {
    engine: Box<Engine>,
    outbox: Outbox,
    controllers: Controllers,
    audition: Audition,
    exchange: AudioSide,
    /// The edition of what was performed that the other threads know.
    performed: u32,
    feed: Feed,
    bell: Bell,
    hand: Hand,
    spoken: Spoken,
    desk: Desk,
    calling: Calling,
    /// In the program, what a host would have.
    program: Option<ProgramAudio>,
    /// Hertz.
    sample_rate: f32,
}

impl AudioThread {
    /// An engine at rest. Allocates all it will ever need.
    pub fn new(exchange: AudioSide, feed: Feed, bell: Bell) -> Self {
        // The rate is told before the first block.
        Self {
            engine: Box::new(Engine::new(48_000.0)),
            outbox: Outbox::default(),
            controllers: Controllers::default(),
            audition: Audition::default(),
            exchange,
            performed: 0,
            feed,
            bell,
            hand: Hand::default(),
            spoken: Spoken::default(),
            desk: Desk::default(),
            calling: Calling::default(),
            program: None,
            sample_rate: 48_000.0,
        }
    }

    /// In the program.
    pub fn of_program(self, program: ProgramAudio) -> Self {
        Self {
            program: Some(program),
            ..self
        }
    }

    /// Blocks come at `sample_rate` hertz from now on.
    pub fn prepare(&mut self, sample_rate: f32) {
        self.sample_rate = sample_rate;
        self.engine.prepare(f64::from(sample_rate));
        self.hand = Hand::at_rate(sample_rate);
        self.audition.prepare(f64::from(sample_rate));
        self.exchange.microphone().prepare(sample_rate);
    }

    /// The host starts afresh: what sounds is ended in the next block, the phrase stays.
    pub fn reset(&mut self) {
        self.interrupt();
    }

    /// The framework's wrapper for programs says at first which rate was asked for, and with each
    /// block which rate the system has.
    fn hear_rate(&mut self, given: f32) {
        let another = self.program.is_some() && given != self.sample_rate && given >= 1.0;
        if another {
            // Once, before anything sounds: a server has one rate as long as it runs.
            nice_plug::util::permit_alloc(|| self.prepare(given));
        }
    }

    fn interrupt(&mut self) {
        self.engine.interrupt();
        self.audition.hush();
    }

    /// Plays a block. `buffer` holds the audio that comes in, and is where the audition is added.
    ///
    /// # Real-time
    /// Allocates never, blocks never; bounded by voices and by the notes in the block.
    pub fn process<P: Plugin<SysExMessage = (), BackgroundTask = Task>>(
        &mut self,
        buffer: &mut Buffer,
        parameters: &Parameters,
        context: &mut impl ProcessContext<P>,
    ) -> ProcessStatus {
        // First of all: what an answer announces is then received.
        self.exchange.microphone().poll();
        self.receive();
        self.take_panic();
        let frames = buffer.samples() as u32;
        let api = context.plugin_api();
        self.hear_rate(context.transport().sample_rate);
        let is_own = self.program.is_some();
        let grouping = self.exchange.kept().grouping;
        let bars = bars(context.transport(), is_own, grouping);
        let of_host = heard_from(context.transport());
        let practising = self.exchange.poll_practising();
        self.desk.read(parameters, &self.exchange);
        let held = self.hold(frames);
        let moved = self.desk.told(practising, held);
        let controls = self.desk.controls();
        if let Some((left, right)) = sides(buffer) {
            self.exchange.microphone().hear(left, right);
        }
        // Out of the way means that the audio passes as it came.
        let level = self.desk.audition().filter(|_| !controls.bypass);
        let along = self.desk.along().unless(controls.bypass);
        let voice = self.exchange.kept().voice.as_ref();
        self.audition.take_voice(voice.map(Voice::utterance));
        let level = level.map(|level| level - self.bell.softer());
        let filled = self.exchange.kept().sketches.filled();
        let snippet = self.exchange.poll_snippet();
        self.audition.hear(snippet, controls.hold, controls.bypass);
        let engine = &mut self.engine;
        let rate = f64::from(self.sample_rate);
        let pace = Block::new(0.0, engine.clock().tempo(), rate, frames).beats_per_frame;
        let mut exit = Exit {
            outbox: &mut self.outbox,
            mallets: self.audition.begin(
                (level, along),
                &controls.settings,
                buffer,
                (snippet, pace),
            ),
        };
        exit.outbox
            .send_waiting(|event| context.try_send_event(event).is_ok());
        engine.count_bars(bars.counted, bar_start(context.transport(), is_own));
        let mut send = |event| exit.send(event, |event| context.try_send_event(event).is_ok());
        let transport = match &mut self.program {
            Some(program) => {
                let pass = (frames, self.sample_rate);
                song::song(program, engine, pass, controls, &mut send)
            }
            None => of_host,
        };
        let mut block = if moved {
            engine.begin(&transport, frames, controls, &mut send)
        } else {
            engine.begin_unmoved(&transport, frames, controls, &mut send)
        };
        exit.enter(&block);
        let controllers = &mut self.controllers;
        controllers.settle(block.engine().channels(None), |event| {
            let to_host = |event| context.try_send_event(event).is_ok();
            exit.outbox.send_as_is(event, to_host)
        });
        while let Some(event) = context.next_event() {
            if let (Some(program), Some(key)) = (&self.program, struck(&event)) {
                program.line.note(key);
                self.bell.ring();
            }
            if api == PluginApi::Vst3 && was_never_moved(&event) {
                continue;
            }
            // Out of the way, it lets them through as it does all else.
            if let NoteEvent::MidiProgramChange { program, .. } = event
                && !controls.bypass
                && self.calling.program(program, filled)
            {
                continue;
            }
            let to_host = |event| context.try_send_event(event).is_ok();
            play_in(&mut block, controllers, &mut exit, event, frames, to_host);
        }
        block.finish(|event| {
            exit.send(event, |event| context.try_send_event(event).is_ok());
        });
        exit.close();
        if let Some(judged) = self.engine.rehearsal_mut().take_judged() {
            self.exchange.publish_pass(&judged);
            self.feed.note_pass(&judged);
        }
        let (comes, lines) = (self.exchange.kept().comes, (bars.first, bars.length));
        let due = self.calling.due(&self.bell, comes, &self.engine, lines);
        if let Some(place) = due {
            context.execute_gui(Task::CallUp(place));
        }
        let news = self.report();
        self.show(&news, bars);
        self.status()
    }

    /// Whether the host may stop asking until something comes in.
    fn status(&self) -> ProcessStatus {
        let is_done = self.outbox.is_empty() && self.controllers.is_settled();
        // While somebody looks, something may be asked for at any moment.
        let looked_at = self.bell.is_window_open() || self.exchange.listens();
        let asleep = !self.audition.rings() && !looked_at;
        if self.engine.is_idle() && is_done && asleep {
            ProcessStatus::Normal
        } else {
            ProcessStatus::KeepAlive
        }
    }

    /// Hold as it counts in this block: of what was said a phrase is made first.
    fn hold(&mut self, frames: u32) -> Held {
        let hold = self.desk.hold();
        let by_hand = self.hand.holds(&self.bell, hold, frames);
        let tempo = self.engine.clock().tempo();
        let microphone = self.exchange.microphone();
        microphone.listen(self.desk.listens());
        let held = self.spoken.hold((hold, by_hand), tempo, microphone);
        if held.turns {
            self.bell.ring();
            if held.hold {
                // Where a voice is listened to, what was played is no phrase.
                self.engine.forget_playing();
            }
        }
        held
    }

    fn take_panic(&mut self) {
        if self.bell.takes_panic() {
            self.interrupt();
            self.controllers.let_go();
        }
    }

    /// A phrase and a route from the window, or from a saved project.
    fn receive(&mut self) {
        match self.exchange.poll_incoming() {
            Some((Cause::Loaded, kept)) => {
                self.audition.break_off();
                self.spoken.begin_anew();
                self.engine.restore(&kept.phrase, kept.anchor);
            }
            Some((Cause::Edited, kept)) => self.engine.edit(&kept.phrase, kept.anchor),
            None => (),
        }
        match self.exchange.poll_route() {
            Some((Cause::Loaded, route)) => self.engine.set_route(route),
            Some((Cause::Edited, route)) => self.engine.change_route(route),
            None => (),
        }
        if let Some(performed) = self.exchange.poll_performed() {
            self.engine.restore_performed(performed);
        }
    }

    /// What a saved project has to know.
    fn report(&mut self) -> News {
        let performed = self.engine.performed();
        if performed.edition() != self.performed {
            self.performed = performed.edition();
            self.exchange.publish_performed(performed.told());
        }
        let news = self.engine.take_news();
        if news != News::default() {
            let phrase = self.engine.process().phrase();
            if news.taken.is_some() {
                self.exchange.hand_on(phrase);
            }
            let anchor = self.engine.anchor();
            self.exchange.publish(&Taken {
                phrase: phrase.clone(),
                anchor,
            });
        }
        News {
            // What was said before Hold, or was not, is told by whoever listened.
            nothing_played: news.nothing_played && !self.exchange.listens(),
            ..news
        }
    }

    /// What the window has to know. With no window open, only what must not be missed.
    fn show(&mut self, news: &News, bars: Bars) {
        self.feed.note_hearing(self.audition.hearing());
        let awaited = self.bell.is_window_open() || *news != News::default();
        if awaited && self.feed.show(&self.engine, news, bars) {
            self.bell.ring();
        }
    }
}
