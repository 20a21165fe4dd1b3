//! A snippet as it sounds: through the mallets alone, with the song and its notes untouched.
//!
//! Every block is processed under the guard against allocation.
#![allow(clippy::unwrap_used)]
#![expect(
    unsafe_code,
    reason = "a block is made by an unsafe function of the framework, a parameter set by another"
)]

mod host;
mod system;

use host::Host;
use nice_assert_no_alloc::assert_no_alloc;
use nice_plug::buffer::Buffer;
use nice_plug::prelude::Transport;
use procession::bell::Bell;
use procession::feed::{FeedReader, feed};
use procession::params::Parameters;
use procession::process::AudioThread;
use procession_core::engine::Anchor;
use procession_core::form::Form;
use procession_core::ledger::Message;
use procession_core::mallet::{Mallets, START_LEVEL_DB};
use procession_core::performance::Performance;
use procession_core::phrase::Phrase;
use procession_core::process::Process;
use procession_core::settings::Settings;
use procession_core::snippet::{Snippet, Subject};
use std::sync::Arc;
use system::System;

const RATE: f64 = 48_000.0;
/// At 120.
const BEAT: usize = 24_000;
/// Six sixteenths: a cycle of one and a half beats.
const SIX: &str = "D4 F4 G4 A4 C5 E4";
const TWO_CYCLES: usize = 3 * BEAT;

/// An instance in a host, the host's window open.
struct Desk {
    audio: AudioThread,
    parameters: Arc<Parameters>,
    host: Arc<Host>,
    reader: FeedReader,
    system: System<false>,
    frame: usize,
    heard: Vec<String>,
    sound: [Vec<f32>; 2],
    _window: procession::bell::OpenWindow,
}

impl Desk {
    fn new() -> Self {
        let (parameters, exchange) = Parameters::new();
        let phrase = Phrase::from_text(SIX, 0.25).unwrap();
        parameters.kept.edit(|kept| {
            kept.taken.phrase = phrase;
            kept.taken.anchor = Anchor::Song(0.0);
        });
        let (feed, reader) = feed();
        let bell = Bell::default();
        let mut audio = AudioThread::new(exchange, feed, bell.clone());
        audio.prepare(RATE as f32);
        let mut transport = Transport::new(RATE as f32);
        transport.tempo = Some(120.0);
        Self {
            audio,
            host: Host::new(parameters.clone()),
            parameters,
            reader,
            system: System::new(transport),
            frame: 0,
            heard: Vec::new(),
            sound: Default::default(),
            _window: bell.open_window(),
        }
    }

    /// Held, and the song rolls from its beginning.
    fn rolling(settings: &[(&str, &str)]) -> Self {
        let mut desk = Self::new();
        for (id, text) in settings.iter().chain(&[("hold", "On")]) {
            desk.host.automate_to(id, text);
        }
        desk.system.transport.playing = true;
        desk
    }

    fn block(&mut self, frames: usize) {
        let (mut left, mut right) = (vec![0.0; frames], vec![0.0; frames]);
        let transport = &mut self.system.transport;
        transport.pos_beats = transport.playing.then_some(self.frame as f64 / BEAT as f64);
        {
            let mut buffer = Buffer::default();
            // SAFETY: both slices are as long as the block, and outlive the buffer.
            unsafe {
                buffer.set_slices(frames, |slices| {
                    *slices = vec![&mut left[..], &mut right[..]];
                });
            }
            let (audio, parameters, system) = (&mut self.audio, &self.parameters, &mut self.system);
            assert_no_alloc(|| audio.process(&mut buffer, parameters, system));
        }
        for event in self.system.sent.drain(..) {
            self.heard.push(format!("{} {event:?}", self.frame));
        }
        self.sound[0].extend(left);
        self.sound[1].extend(right);
        self.frame += frames;
    }

    /// So many frames, in blocks of an odd length.
    fn pass(&mut self, mut frames: usize) {
        while frames > 0 {
            let block = frames.min(441);
            self.block(block);
            frames -= block;
        }
    }

    fn hear(&self, subject: Subject) -> Snippet {
        let snippet = snippet(subject);
        self.parameters.kept.hear(snippet.clone());
        snippet
    }

    fn peak(&self, from: usize, to: usize) -> f32 {
        let part = self.sound[0][from..to]
            .iter()
            .chain(&self.sound[1][from..to]);
        part.fold(0.0, |peak, sample| peak.max(sample.abs()))
    }
}

fn snippet(subject: Subject) -> Snippet {
    let phrase = Phrase::from_text(SIX, 0.25).unwrap();
    let process = Process::new(phrase, Settings::default(), 0.0);
    Snippet::of(
        &Performance::proposed(&process),
        &Form::new(&process),
        subject,
        0.0,
    )
    .unwrap()
}

/// The same strokes on mallets of one's own, from frame `begin` on: what ought to be heard.
fn on_own_mallets(snippet: &Snippet, level: f32, begin: usize, frames: usize) -> [Vec<f32>; 2] {
    let mut mallets = Mallets::new(RATE);
    mallets.set_players(2);
    mallets.set_level(Some(level));
    let [mut left, mut right] = [(); 2].map(|()| vec![0.0; frames]);
    let mut from = 0;
    for stroke in snippet.strokes() {
        let at = begin + (stroke.at * BEAT as f64 - 1e-3).ceil() as usize;
        mallets.render(&mut left[from..at], &mut right[from..at]);
        from = at;
        match stroke.message {
            Message::NoteOn {
                key, velocity, id, ..
            } => {
                mallets.note_on(id, key, velocity, stroke.pan);
            }
            Message::NoteOff { id, .. } => mallets.note_off(id),
            Message::Tuning { .. } | Message::Control { .. } => (),
        }
    }
    mallets.render(&mut left[from..], &mut right[from..]);
    [left, right]
}

#[test]
fn with_the_song_at_rest_and_audition_off_it_sounds_to_its_end_and_no_note_leaves() {
    let mut desk = Desk::new();
    desk.pass(441);
    let snippet = desk.hear(Subject::Stage(1));
    desk.pass(TWO_CYCLES + 4 * BEAT);
    assert!(desk.heard.is_empty(), "{:?}", desk.heard);
    let expected = on_own_mallets(&snippet, START_LEVEL_DB, 441, desk.frame);
    assert!(desk.sound == expected, "it is struck on the very frames");
    assert!(desk.peak(441, TWO_CYCLES) > 0.01);
    let end = desk.frame;
    assert_eq!(desk.peak(end - 441, end), 0.0, "it has died away");
}

/// As in a slot of a host for note effects.
#[test]
fn with_no_audio_to_sound_in_that_is_told() {
    let mut desk = Desk::new();
    let number = desk.parameters.kept.hear(snippet(Subject::Stage(0)));
    let mut none = Buffer::default();
    // SAFETY: there are no channels, so no slices to be too short.
    unsafe { none.set_slices(441, |_| ()) };
    let (audio, parameters, system) = (&mut desk.audio, &desk.parameters, &mut desk.system);
    assert_no_alloc(|| audio.process(&mut none, parameters, system));
    let shown = desk.reader.look();
    assert_eq!((shown.mute_snippet, shown.heard_snippet), (number, 0));
}

#[test]
fn what_sounds_is_shown_until_it_is_over() {
    let mut desk = Desk::new();
    desk.pass(441);
    let number = desk.parameters.kept.hear(snippet(Subject::Stage(0)));
    assert_eq!(desk.reader.look().answered_snippet, 0);
    desk.pass(441);
    let shown = desk.reader.look();
    assert_eq!(
        (shown.answered_snippet, shown.heard_snippet),
        (number, number)
    );
    desk.pass(TWO_CYCLES);
    let shown = desk.reader.look();
    assert_eq!((shown.answered_snippet, shown.heard_snippet), (number, 0));
}

#[test]
fn the_songs_notes_are_the_same_with_and_without_it() {
    let played = |subject: Option<Subject>| {
        let mut desk = Desk::rolling(&[("copies", "3 copies"), ("dwell", "1 cycle")]);
        desk.pass(7 * 441);
        if let Some(subject) = subject {
            desk.hear(subject);
        }
        desk.pass(24 * BEAT);
        desk
    };
    let without = played(None);
    assert!(without.heard.len() > 100);
    assert_eq!(without.peak(0, without.frame), 0.0);
    let with = played(Some(Subject::Stage(1)));
    assert_eq!(with.heard, without.heard);
    assert!(with.peak(7 * 441, TWO_CYCLES) > 0.01);
}

/// The largest difference from one sample to the next.
fn steepest(sound: &[f32]) -> f32 {
    let steps = sound.windows(2).map(|pair| (pair[1] - pair[0]).abs());
    steps.fold(0.0, f32::max)
}

#[test]
fn it_is_heard_in_the_place_of_the_songs_audition_which_then_comes_back() {
    let audition = [("audition", "-10 dB")];
    let begin = 40 * 441;
    let mut alone = Desk::rolling(&audition);
    alone.pass(24 * BEAT);
    let mut desk = Desk::rolling(&audition);
    desk.pass(begin);
    // An alignment that is none of the song's, so that the two cannot be mistaken.
    let snippet = desk.hear(Subject::Stage(6));
    desk.pass(24 * BEAT - begin);
    assert_eq!(desk.heard, alone.heard);
    for side in 0..2 {
        let (with, without) = (&desk.sound[side], &alone.sound[side]);
        assert!(with[..begin] == without[..begin], "before it");
        let expected = &on_own_mallets(&snippet, -10.0, begin, desk.frame)[side];
        // What rang is gone within 8 ms, the limiter's 2 ms besides.
        let (from, to) = (begin + 600, begin + TWO_CYCLES);
        let close = |a: &[f32], b: &[f32]| a.iter().zip(b).all(|(a, b)| (a - b).abs() < 1e-4);
        assert!(
            close(&with[from..to], &expected[from..to]),
            "nothing but it"
        );
        let after = desk.frame - 4 * BEAT..desk.frame;
        assert!(
            close(&with[after.clone()], &without[after]),
            "the song is back"
        );
        assert!(
            steepest(with) <= 1.1 * steepest(without).max(steepest(expected)),
            "no click"
        );
    }
}

/// Frames after which nothing of it may be heard: a stroke leaves within 8 ms, and the limiter
/// looks 2 ms ahead.
const GONE: usize = 600;

#[test]
fn asked_to_stop_held_bypassed_or_hushed_it_ends_at_once_and_without_a_click() {
    type End = fn(&Desk);
    let ends: [(&str, End); 4] = [
        ("asked to stop", |desk| desk.parameters.kept.hush()),
        ("hold", |desk| desk.host.automate_to("hold", "On")),
        ("bypass", |desk| desk.host.automate_to("bypass", "On")),
        ("a loaded project", |desk| {
            desk.parameters.kept.load(|_| None)
        }),
    ];
    for (name, end) in ends {
        let mut desk = Desk::new();
        desk.pass(441);
        let number = desk.parameters.kept.hear(snippet(Subject::Stage(1)));
        desk.pass(BEAT);
        let at = desk.frame;
        assert!(desk.peak(at - 4_000, at) > 0.001, "{name}");
        end(&desk);
        desk.pass(BEAT);
        assert_eq!(desk.peak(at + GONE, desk.frame), 0.0, "{name}");
        assert_ne!(desk.reader.look().heard_snippet, number, "{name}");
        for side in &desk.sound {
            let before = steepest(&side[..at]);
            assert!(steepest(&side[at..]) <= before, "{name}");
        }
    }
}

#[test]
fn the_next_takes_the_place_of_the_one_before() {
    let mut desk = Desk::new();
    desk.hear(Subject::Stage(1));
    desk.pass(BEAT);
    let at = desk.frame;
    let second = desk.hear(Subject::Stage(4));
    desk.pass(TWO_CYCLES);
    let expected = on_own_mallets(&second, START_LEVEL_DB, at, desk.frame);
    for (side, expected) in desk.sound.iter().zip(&expected) {
        let (heard, expected) = (&side[at + GONE..], &expected[at + GONE..]);
        let far = heard.iter().zip(expected).map(|(a, b)| (a - b).abs());
        assert!(far.fold(0.0, f32::max) < 1e-4);
    }
}

#[test]
fn how_time_is_cut_into_blocks_is_not_heard() {
    let in_blocks = |lengths: &[usize]| {
        let mut desk = Desk::new();
        desk.hear(Subject::Stage(1));
        for length in lengths.iter().cycle() {
            if desk.frame + length > TWO_CYCLES + BEAT {
                break;
            }
            desk.block(*length);
        }
        desk.pass(TWO_CYCLES + BEAT - desk.frame);
        desk.sound
    };
    let whole = in_blocks(&[4096]);
    for lengths in [&[64][..], &[1, 7, 1000, 333], &[511]] {
        assert!(in_blocks(lengths) == whole, "{lengths:?}");
    }
}
