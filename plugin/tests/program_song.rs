//! The program's song as the engine hears it: what sounds from where, to the frame, whatever is
//! started, stopped and moved.
#![allow(clippy::unwrap_used)]
#![expect(
    unsafe_code,
    reason = "a block without channels is made by an unsafe function of the framework"
)]

mod system;

use nice_assert_no_alloc::assert_no_alloc;
use nice_plug::buffer::Buffer;
use nice_plug::midi::{Channel, Key, VoiceID};
use nice_plug::prelude::{NoteEvent, Transport};
use procession::bell::Bell;
use procession::feed::feed;
use procession::params::Parameters;
use procession::process::AudioThread;
use procession::program::start::Start;
use procession::program::{Program, program};
use procession_core::engine::Anchor;
use procession_core::phrase::Phrase;
use std::sync::Arc;
use system::System;

/// The program at a system, and what it has played: frame, channel, key.
struct Desk {
    audio: AudioThread,
    parameters: Arc<Parameters>,
    program: Program,
    bell: Bell,
    system: System<true>,
    frame: u64,
    heard: Vec<(u64, u8, u8)>,
}

impl Desk {
    /// At 120, with that phrase in sixteenths, of which a copy goes its way.
    fn with(text: &str) -> Self {
        let (parameters, exchange) = Parameters::of_program();
        let phrase = Phrase::from_text(text, 0.25).unwrap();
        parameters.kept.edit(|kept| kept.taken.phrase = phrase);
        let (program, audio) = program(&Start::default());
        let (feed, _) = feed();
        let bell = Bell::default();
        let audio = AudioThread::new(exchange, feed, bell.clone()).of_program(audio);
        // As the wrapper tells it: rolling from the start, at a tempo of its own.
        let mut transport = Transport::new(48_000.0);
        (transport.playing, transport.tempo) = (true, Some(77.0));
        transport.pos_samples = Some(123_456);
        let mut desk = Self {
            audio,
            parameters,
            program,
            bell,
            system: System::new(transport),
            frame: 0,
            heard: Vec::new(),
        };
        desk.turn("dwell", "1 cycle");
        desk.turn("drift", "1 cycle");
        desk.audio.prepare(48_000.0);
        desk.pass(512);
        desk
    }

    /// A parameter as it is typed in the window.
    fn turn(&self, id: &str, text: &str) {
        if id == "hold" {
            self.bell.hold();
        }
        let (declaration, parameter) = self.parameters.of_id(id).unwrap();
        let normalized = parameter.value_of(text).unwrap();
        let plain = match parameter.saved() {
            nice_plug::plugin::ParamValue::Bool(_) => {
                nice_plug::plugin::ParamValue::Bool(normalized > 0.5)
            }
            nice_plug::plugin::ParamValue::I32(_) => {
                let number: String = text.chars().take_while(char::is_ascii_digit).collect();
                nice_plug::plugin::ParamValue::I32(number.parse().unwrap())
            }
            other => panic!("{} is {other:?}", declaration.id),
        };
        parameter.restore(&plain);
    }

    fn block(&mut self, frames: u32) {
        let mut buffer = Buffer::default();
        // SAFETY: there are no channels, so no slices to be too short.
        unsafe { buffer.set_slices(frames as usize, |_| ()) };
        let (audio, parameters, system) = (&mut self.audio, &self.parameters, &mut self.system);
        assert_no_alloc(|| audio.process(&mut buffer, parameters, system));
        for event in self.system.sent.drain(..) {
            if let NoteEvent::NoteOn {
                timing,
                channel: Channel::Number(channel),
                key: Key::Number(key),
                ..
            } = event
            {
                self.heard
                    .push((self.frame + u64::from(timing), channel, key));
            }
        }
        self.frame += u64::from(frames);
    }

    /// So many frames, in blocks of an odd length.
    fn pass(&mut self, mut frames: u32) {
        while frames > 0 {
            let block = frames.min(441);
            self.block(block);
            frames -= block;
        }
    }

    /// What is heard in the next `frames` frames, counted from now.
    fn hear(&mut self, frames: u32) -> Vec<(u64, u8, u8)> {
        let (start, before) = (self.frame, self.heard.len());
        self.pass(frames);
        let heard = self.heard[before..].iter();
        heard
            .map(|(frame, channel, key)| (frame - start, *channel, *key))
            .collect()
    }
}

/// At 120 and 48 kHz.
const SIXTEENTH: u32 = 6_000;
const BEAT: u32 = 24_000;

const D4: u8 = 62;
const A4: u8 = 69;

#[test]
fn nothing_rolls_until_the_song_is_started_whatever_the_wrapper_says() {
    let mut desk = Desk::with("D4 . A4 .");
    desk.turn("copies", "0 copies");
    desk.program.song.roll(true);
    // With hold off the song passes silently.
    assert_eq!(desk.hear(2 * BEAT), []);
    desk.program.song.roll(false);
    desk.program.song.go_to(0.0);
    assert_eq!(desk.hear(BEAT), []);
    desk.turn("hold", "On");
    let mut held = desk.hear(BEAT);
    held.retain(|(_, channel, _)| *channel == 0);
    // At rest it plays on a clock of its own from that moment, as in a host.
    assert_eq!(held, [(0, 0, D4), (u64::from(2 * SIXTEENTH), 0, A4)]);
}

#[test]
fn started_it_plays_from_where_the_song_is_to_the_frame_and_stopped_it_is_silent() {
    let mut desk = Desk::with("D4 . A4 .");
    desk.turn("copies", "0 copies");
    desk.program.song.roll(true);
    desk.pass(441);
    desk.program.song.roll(false);
    desk.pass(441);
    // Begun where the song first rolled: at its beginning.
    desk.program.song.go_to(0.25);
    desk.turn("hold", "On");
    desk.program.song.roll(true);
    let heard = desk.hear(BEAT);
    let sixteenth = u64::from(SIXTEENTH);
    assert_eq!(heard, [(sixteenth, 0, A4), (3 * sixteenth, 0, D4)]);
    desk.program.song.roll(false);
    assert_eq!(desk.hear(2 * BEAT), []);
    desk.program.song.roll(true);
    // A beat further than before.
    assert_eq!(
        desk.hear(BEAT),
        [(sixteenth, 0, A4), (3 * sixteenth, 0, D4)]
    );
}

#[test]
fn another_tempo_takes_effect_from_where_the_song_is() {
    let mut desk = Desk::with("D4 . A4 .");
    desk.turn("copies", "0 copies");
    desk.turn("hold", "On");
    desk.program.song.roll(true);
    desk.pass(SIXTEENTH);
    desk.program.song.set_tempo(60.0);
    // The second half of what lies between the two notes takes twice as long.
    assert_eq!(
        desk.hear(2 * SIXTEENTH + 1),
        [(u64::from(2 * SIXTEENTH), 0, A4)]
    );
}

/// From any stage it plays what playing from the start gives there.
#[test]
fn from_a_stage_it_plays_what_is_played_there_from_the_start() {
    let whole = |desk: &mut Desk| {
        desk.turn("hold", "On");
        desk.program.song.roll(true);
        desk.hear(20 * BEAT)
    };
    let from_start = whole(&mut Desk::with("D4 F4 . A4"));
    for beats in [1u32, 3, 8] {
        let mut desk = Desk::with("D4 F4 . A4");
        desk.turn("hold", "On");
        desk.program.song.visit(f64::from(beats));
        desk.program.song.roll(true);
        let heard = desk.hear(4 * BEAT);
        let at = u64::from(beats * BEAT);
        let there: Vec<_> = from_start
            .iter()
            .filter(|(frame, ..)| (at..at + u64::from(4 * BEAT)).contains(frame))
            .map(|(frame, channel, key)| (frame - at, *channel, *key))
            .collect();
        assert!(there.len() > 12, "{there:?}");
        assert_eq!(heard, there, "from beat {beats}");
    }
}

#[test]
fn a_stage_is_counted_from_where_the_process_begins_and_moves_no_beginning() {
    let mut desk = Desk::with("D4 . A4 .");
    let kept = |desk: &Desk| desk.parameters.kept.current().taken.anchor;
    desk.parameters
        .kept
        .edit(|kept| kept.taken.anchor = Anchor::Song(6.0));
    desk.program.song.visit(3.0);
    desk.pass(441);
    assert_eq!(desk.program.song.position(), 9.0);
    assert_eq!(kept(&desk), Anchor::Song(6.0));

    // Where that was open, the process begins with the song from now on.
    let mut desk = Desk::with("D4 . A4 .");
    assert_eq!(kept(&desk), Anchor::NextStart);
    desk.program.song.visit(3.0);
    desk.pass(441);
    assert_eq!(desk.program.song.position(), 3.0);
    assert!(!desk.program.song.rolls(), "it rests there");
    assert_eq!(kept(&desk), Anchor::Song(0.0));
}

#[test]
fn what_plays_on_its_own_clock_goes_on_playing_from_the_stage() {
    let mut desk = Desk::with("D4 . A4 .");
    desk.turn("copies", "0 copies");
    desk.turn("hold", "On");
    desk.pass(BEAT);
    desk.program.song.visit(4.5);
    assert_eq!(desk.hear(SIXTEENTH), [(0, 0, A4)]);
    assert!(desk.program.song.rolls());
}

#[test]
fn the_rate_that_the_system_has_counts_not_the_one_that_was_asked_for() {
    let mut desk = Desk::with("D4 . A4 .");
    desk.turn("copies", "0 copies");
    desk.system.transport = Transport::new(44_100.0);
    desk.pass(441);
    desk.turn("hold", "On");
    desk.program.song.roll(true);
    let eighth = 44_100 / 4;
    assert_eq!(
        desk.hear(eighth + 1),
        [(0, 0, D4), (u64::from(eighth), 0, A4)]
    );
    assert_eq!(desk.program.line.come().sample_rate, 44_100.0);
}

#[test]
fn notes_that_come_are_counted() {
    let mut desk = Desk::with("D4 . A4 .");
    desk.system.coming.push(NoteEvent::NoteOn {
        timing: 0,
        voice_id: VoiceID::Wildcard,
        channel: Channel::Number(0),
        key: Key::Number(65),
        velocity: 0.5,
    });
    desk.pass(441);
    let come = desk.program.line.come();
    assert_eq!((come.notes, come.key), (1, 65));
}
