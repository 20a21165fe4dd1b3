//! A block: what the host says is put into the engine's words, what the engine says into the
//! host's.

use crate::audition::{Audition, Playing};
use crate::bell::Bell;
use crate::controllers::Controllers;
use crate::feed::{Bars, Feed};
use crate::handover::{AudioSide, Cause};
use crate::outbox::{HostEvent, Outbox};
use crate::params::Parameters;
use crate::program::ProgramAudio;
use crate::state::Taken;
use nice_plug::midi::{Channel, Key, VoiceID};
use nice_plug::prelude::*;
use procession_core::clock::Transport;
use procession_core::engine::{Anchor, Controls, Engine, InBlock, News};
use procession_core::metre::Metre;
use procession_core::note;
use procession_core::player::Event;
use procession_core::time::{Beats, Block};

/// All that the audio thread owns.
pub struct AudioThread {
    engine: Box<Engine>,
    outbox: Outbox,
    controllers: Controllers,
    audition: Audition,
    exchange: AudioSide,
    feed: Feed,
    bell: Bell,
    hand: Hand,
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
            feed,
            bell,
            hand: Hand::default(),
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
    pub fn process<P: Plugin<SysExMessage = ()>>(
        &mut self,
        buffer: &mut Buffer,
        parameters: &Parameters,
        context: &mut impl ProcessContext<P>,
    ) -> ProcessStatus {
        self.receive();
        if self.bell.takes_panic() {
            self.interrupt();
            self.controllers.let_go();
        }
        let frames = buffer.samples() as u32;
        let api = context.plugin_api();
        self.hear_rate(context.transport().sample_rate);
        let bars = bars(context.transport(), self.program.is_some());
        let of_host = heard_from(context.transport());
        let controls = Controls {
            by_hand: self.hand.holds(&self.bell, parameters.hold(), frames),
            ..controls(parameters, &self.exchange)
        };
        // Out of the way means that the audio passes as it came.
        let level = parameters.audition().filter(|_| !controls.bypass);
        let snippet = self.exchange.poll_snippet();
        self.audition.hear(snippet, controls.hold, controls.bypass);
        let engine = &mut self.engine;
        let rate = f64::from(self.sample_rate);
        let pace = Block::new(0.0, engine.clock().tempo(), rate, frames).beats_per_frame;
        let mut exit = Exit {
            outbox: &mut self.outbox,
            mallets: self
                .audition
                .begin(level, &controls.settings, buffer, (snippet, pace)),
        };
        exit.outbox
            .send_waiting(|event| context.try_send_event(event).is_ok());
        // The program's song is its own, and begins with a bar.
        let bar_start = match &self.program {
            Some(_) => None,
            None => context.transport().bar_start_pos_beats(),
        };
        engine.count_bars(metre(context.transport()), bar_start);
        let mut send = |event| exit.send(event, |event| context.try_send_event(event).is_ok());
        let transport = match &mut self.program {
            Some(program) => {
                program.line.block(frames, self.sample_rate);
                song(
                    program,
                    engine,
                    (frames, self.sample_rate),
                    &controls,
                    &mut send,
                )
            }
            None => of_host,
        };
        let mut block = engine.begin(&transport, frames, &controls, &mut send);
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
            let to_host = |event| context.try_send_event(event).is_ok();
            play_in(&mut block, controllers, &mut exit, event, frames, to_host);
        }
        block.finish(|event| {
            exit.send(event, |event| context.try_send_event(event).is_ok());
        });
        exit.close();
        let news = self.report();
        self.show(&news, bars);
        let is_done = self.outbox.is_empty() && self.controllers.is_settled();
        // While somebody looks, something may be asked for at any moment.
        let asleep = !self.audition.rings() && !self.bell.is_window_open();
        if self.engine.is_idle() && is_done && asleep {
            ProcessStatus::Normal
        } else {
            ProcessStatus::KeepAlive
        }
    }

    /// A phrase and a route from the window, or from a saved project.
    fn receive(&mut self) {
        match self.exchange.poll_incoming() {
            Some((Cause::Loaded, kept)) => {
                self.audition.break_off();
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
    }

    /// What a saved project has to know.
    fn report(&mut self) -> News {
        let news = self.engine.take_news();
        if news != News::default() {
            let phrase = self.engine.process().phrase();
            let anchor = self.engine.anchor();
            self.exchange.publish(&Taken {
                phrase: phrase.clone(),
                anchor,
            });
        }
        news
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

/// Whether hold was switched on in the window. The window tells at once, the host of the same only
/// when it comes to it.
#[derive(Clone, Copy, Debug, Default)]
struct Hand {
    /// For so many frames more, a hold that goes on is the window's.
    left: u32,
    patience: u32,
}

impl Hand {
    /// As long as a host may take to send round what was done in the window, in seconds.
    const PATIENCE: f32 = 2.0;

    fn at_rate(sample_rate: f32) -> Self {
        Self {
            left: 0,
            patience: (sample_rate * Self::PATIENCE) as u32,
        }
    }

    /// Whether a hold that is seen on for the first time in these frames is the window's.
    fn holds(&mut self, bell: &Bell, hold: bool, frames: u32) -> bool {
        if bell.takes_hold() {
            self.left = self.patience;
        }
        let by_hand = self.left > 0;
        self.left = if hold {
            0
        } else {
            self.left.saturating_sub(frames)
        };
        by_hand
    }
}

/// Where all that sounds leaves: to the host, and to the mallets while they are on.
struct Exit<'a> {
    outbox: &'a mut Outbox,
    mallets: Option<Playing<'a>>,
}

impl Exit<'_> {
    fn send(&mut self, event: Event, to_host: impl FnMut(HostEvent) -> bool) {
        if let Some(mallets) = &mut self.mallets {
            mallets.play(&event);
        }
        self.outbox.send(event, to_host);
    }

    fn close(self) {
        if let Some(mallets) = self.mallets {
            mallets.finish();
        }
    }
}

fn controls(parameters: &Parameters, exchange: &AudioSide) -> Controls {
    Controls {
        settings: parameters.settings(exchange.kept()),
        hold: parameters.hold(),
        beginning: parameters.beginning(exchange.kept()),
        by_hand: false,
        thru: parameters.thru(),
        bypass: parameters.bypass(),
        cue: parameters.cue(),
        cue_key: parameters.cue_key(),
        cue_controller: parameters.cue_controller(),
    }
}

fn heard_from(transport: &nice_plug::prelude::Transport) -> Transport {
    Transport {
        playing: transport.playing,
        tempo: transport.tempo,
        position: transport.pos_beats(),
    }
}

/// Whether that is what the framework tells a VST3 host of a controller that nobody has touched.
/// It says that each rests at 0 and stands at one half, so a host that opens a project believes
/// all of them moved and sends them round: a half on every channel, of volume too. No value of 7
/// bits is exactly a half: 63 of 127 lies below and 64 above. A bend at one half is none.
fn was_never_moved(event: &HostEvent) -> bool {
    matches!(
        event,
        NoteEvent::MidiCC { value: 0.5, .. } | NoteEvent::MidiChannelPressure { pressure: 0.5, .. }
    )
}

/// What the program's own song does in this block, after it has gone where it was asked to go.
fn song(
    program: &mut ProgramAudio,
    engine: &mut Engine,
    (frames, sample_rate): (u32, f32),
    controls: &Controls,
    mut send: impl FnMut(Event),
) -> Transport {
    let song = &mut program.song;
    if let Some(after_beginning) = song.takes_visit() {
        // What plays on the own clock is to go on playing, from there.
        if engine.is_running() && !engine.clock().is_playing() {
            song.roll();
        }
        song.go_to(beginning(engine, controls, &mut send) + after_beginning);
    }
    song.pass(frames, f64::from(sample_rate))
}

/// Where in the song the process begins. If that is open, it is at the beginning of the song from
/// now on.
fn beginning(engine: &mut Engine, controls: &Controls, mut send: impl FnMut(Event)) -> Beats {
    if engine.anchor() == Anchor::NextStart {
        let start = Transport {
            playing: true,
            tempo: None,
            position: Some(0.0),
        };
        // A moment of no length, in which nothing sounds.
        engine
            .begin(&start, 0, controls, &mut send)
            .finish(&mut send);
    }
    match engine.anchor() {
        Anchor::Song(beginning) => beginning,
        Anchor::NextStart => 0.0,
    }
}

/// The key that a note strikes.
fn struck(event: &HostEvent) -> Option<u8> {
    match event {
        NoteEvent::NoteOn {
            key: Key::Number(key),
            velocity,
            ..
        } if *velocity > 0.0 => Some(*key),
        _ => None,
    }
}

/// The host's time signature, if it tells one.
fn metre(transport: &nice_plug::prelude::Transport) -> Option<Metre> {
    let count = u32::try_from(transport.time_sig_numerator?).ok()?;
    let unit = u32::try_from(transport.time_sig_denominator?).ok()?;
    Metre::new(count, unit)
}

/// The bars of the song. The program's song is its own, and begins with one.
fn bars(transport: &nice_plug::prelude::Transport, is_own: bool) -> Bars {
    let length = beats_per_bar(transport);
    let told = transport.bar_start_pos_beats().zip(transport.bar_number());
    let first = match told.filter(|_| !is_own) {
        Some((start, number)) => start - f64::from(number) * length,
        None => 0.0,
    };
    Bars { length, first }
}

/// Quarter notes a bar; 4 if the host tells none.
fn beats_per_bar(transport: &nice_plug::prelude::Transport) -> f64 {
    match (transport.time_sig_numerator, transport.time_sig_denominator) {
        (Some(beats), Some(unit)) if beats > 0 && unit > 0 => {
            f64::from(beats) * 4.0 / f64::from(unit)
        }
        _ => 4.0,
    }
}

/// An event that is played into the plug-in.
fn play_in(
    block: &mut InBlock,
    controllers: &mut Controllers,
    exit: &mut Exit,
    event: HostEvent,
    frames: u32,
    mut to_host: impl FnMut(HostEvent) -> bool,
) {
    // An event that stands at the end of the slice belongs to it; the host may list it so.
    let frame = event.timing().min(frames);
    let mut send = |event| exit.send(event, &mut to_host);
    match event {
        NoteEvent::NoteOn {
            channel,
            key,
            velocity,
            ..
        } if velocity > 0.0 => {
            block.note_on(
                frame,
                which(channel, key),
                note::Velocity::new(velocity),
                send,
            );
        }
        NoteEvent::NoteOn { channel, key, .. }
        | NoteEvent::NoteOff { channel, key, .. }
        | NoteEvent::Choke { channel, key, .. } => {
            block.note_off(frame, which(channel, key), send);
        }
        NoteEvent::MidiCC { cc, value, .. } if block.control(frame, cc, value, &mut send) => (),
        // The plug-in's own word to the host, never the host's.
        NoteEvent::VoiceTerminated { .. } => (),
        other => {
            block.play_until(frame, &mut send);
            // A host may list events out of order: what is late is sent now.
            let event = at_frame(other, block.frame());
            let mut send = |event| exit.outbox.send_as_is(event, &mut to_host);
            match channel_of(&event) {
                Some(played) => {
                    controllers.play(event, played, block.engine().channels(played), send)
                }
                None => drop(send(event)),
            }
        }
    }
}

/// The channel of an event that concerns a whole channel, or a key in every voice.
fn channel_of(event: &HostEvent) -> Option<Option<note::Channel>> {
    match *event {
        NoteEvent::MidiCC { channel, .. }
        | NoteEvent::MidiPitchBend { channel, .. }
        | NoteEvent::MidiChannelPressure { channel, .. }
        | NoteEvent::MidiProgramChange { channel, .. } => Some(note::Channel::new(channel)),
        NoteEvent::PolyPressure { channel, .. } => Some(known_channel(channel)),
        _ => None,
    }
}

/// What goes through, on `frame`. A note it concerns is told by channel and key: the number that
/// the host gave it stayed behind, since notes leave with numbers of their own.
fn at_frame(mut event: HostEvent, frame: u32) -> HostEvent {
    match &mut event {
        NoteEvent::PolyPressure {
            timing, voice_id, ..
        }
        | NoteEvent::PolyVolume {
            timing, voice_id, ..
        }
        | NoteEvent::PolyPan {
            timing, voice_id, ..
        }
        | NoteEvent::PolyTuning {
            timing, voice_id, ..
        }
        | NoteEvent::PolyVibrato {
            timing, voice_id, ..
        }
        | NoteEvent::PolyExpression {
            timing, voice_id, ..
        }
        | NoteEvent::PolyBrightness {
            timing, voice_id, ..
        } => {
            *timing = frame;
            *voice_id = VoiceID::Wildcard;
        }
        NoteEvent::MidiChannelPressure { timing, .. }
        | NoteEvent::MidiPitchBend { timing, .. }
        | NoteEvent::MidiCC { timing, .. }
        | NoteEvent::MidiProgramChange { timing, .. } => *timing = frame,
        _ => (),
    }
    event
}

fn which(channel: Channel, key: Key) -> (Option<note::Channel>, Option<note::Key>) {
    let key = match key {
        Key::Number(number) => note::Key::new(number),
        Key::Wildcard => None,
    };
    (known_channel(channel), key)
}

fn known_channel(channel: Channel) -> Option<note::Channel> {
    match channel {
        Channel::Number(number) => note::Channel::new(number),
        Channel::Wildcard => None,
    }
}
