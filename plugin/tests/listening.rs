//! A voice at the audio input: what is said is the phrase when Hold is switched on, whether or not
//! anybody looks.
//!
//! Every block is processed under the guard against allocation.
#![allow(clippy::unwrap_used)]
#![expect(
    unsafe_code,
    reason = "a block is made by an unsafe function of the framework, a parameter set by another"
)]

mod host;
mod system;

use egui::{Role, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT, Queryable};
use host::Host;
use nice_assert_no_alloc::assert_no_alloc;
use nice_plug::buffer::Buffer;
use nice_plug::midi::{Channel, Key as HostKey, NoteEvent, VoiceID};
use nice_plug::prelude::Transport;
use procession::bell::Bell;
use procession::editor::model::layout::View;
use procession::editor::shell::Shell;
use procession::feed::{FeedReader, feed};
use procession::microphone::Listener;
use procession::params::Parameters;
use procession::process::AudioThread;
use procession_core::phrase::Phrase;
use std::f64::consts::TAU;
use std::sync::Arc;
use std::time::{Duration, Instant};
use system::System;

const RATE: f64 = 16_000.0;
/// At 120.
const BEAT: usize = 8_000;
/// An eighth of a second: a sixteenth note at 120.
const STEP: usize = BEAT / 4;

/// Longer than anybody has to wait.
const GENEROUS: Duration = Duration::from_secs(120);

/// Vowels in a silence of that many seconds: when each begins, and at which pitch; 0.1 s long.
fn spoken(seconds: f64, vowels: &[(f64, f64)]) -> Vec<f32> {
    let mut samples = vec![0.0_f32; (seconds * RATE) as usize];
    for (onset, pitch) in vowels {
        let hertz = 440.0 * ((pitch - 69.0) / 12.0).exp2();
        for n in 0..(0.1 * RATE) as usize {
            let at = n as f64 / RATE;
            let swell = (at / 0.015).min((0.1 - at) / 0.015).min(1.0);
            let sum: f64 = (1..=8)
                .map(|h| (TAU * f64::from(h) * hertz * at).sin() / f64::from(h))
                .sum();
            samples[(onset * RATE) as usize + n] += (0.2 * swell * sum) as f32;
        }
    }
    samples
}

const FIRST: [(f64, f64); 4] = [(0.5, 50.0), (0.625, 48.0), (0.75, 46.0), (1.0, 45.0)];

/// "The gangway is up": four syllables.
fn a_sentence() -> Vec<f32> {
    spoken(1.6, &FIRST)
}

/// The same, a pause, and three more.
fn two_sentences() -> Vec<f32> {
    let second = [(2.0, 55.0), (2.25, 53.0), (2.5, 50.0)];
    spoken(3.1, &[&FIRST[..], &second[..]].concat())
}

/// What the four syllables of the first are on the grid at 120.
const FOUR: [(f64, u8); 4] = [(0.0, 50), (1.0, 48), (2.0, 46), (4.0, 45)];
const THREE: [(f64, u8); 3] = [(0.0, 55), (2.0, 53), (4.0, 50)];

/// An instance in a host, and its listener.
struct Stage {
    audio: AudioThread,
    parameters: Arc<Parameters>,
    host: Arc<Host>,
    bell: Bell,
    reader: Option<FeedReader>,
    system: System<false>,
    frame: usize,
    block: usize,
    /// No audio comes with the blocks.
    deaf: bool,
    /// Frames and keys of the notes that were struck.
    struck: Vec<(usize, u8)>,
    sound: Vec<f32>,
    listener: Option<Listener>,
}

impl Stage {
    /// It listens to the voice, and the song rolls from its beginning.
    fn new(settings: &[(&str, &str)]) -> Self {
        let (parameters, exchange) = Parameters::new();
        let (feed, reader) = feed();
        let bell = Bell::default();
        let mut audio = AudioThread::new(exchange, feed, bell.clone());
        audio.prepare(RATE as f32);
        let host = Host::new(parameters.clone());
        for (id, text) in [("listen_to", "Voice")].iter().chain(settings) {
            host.automate_to(id, text);
        }
        parameters.kept.booth().lay_tape();
        let listener = Listener::begin(parameters.clone(), bell.clone()).unwrap();
        let mut transport = Transport::new(RATE as f32);
        transport.tempo = Some(120.0);
        transport.playing = true;
        let stage = Self {
            audio,
            parameters,
            host,
            bell,
            reader: Some(reader),
            system: System::new(transport),
            frame: 0,
            block: 441,
            deaf: false,
            struck: Vec::new(),
            sound: Vec::new(),
            listener: Some(listener),
        };
        let begun = Instant::now();
        while !stage.parameters.kept.booth().is_attended() {
            assert!(begun.elapsed() < GENEROUS, "nobody listens");
            std::thread::yield_now();
        }
        stage
    }

    fn pass(&mut self, incoming: &[f32]) {
        for block in incoming.chunks(self.block) {
            let (mut left, mut right) = (block.to_vec(), block.to_vec());
            let frames = block.len();
            let transport = &mut self.system.transport;
            transport.pos_beats = transport.playing.then_some(self.frame as f64 / BEAT as f64);
            {
                let mut buffer = Buffer::default();
                let deaf = self.deaf;
                // SAFETY: both slices are as long as the block, and outlive the buffer.
                unsafe {
                    buffer.set_slices(frames, |slices| {
                        if !deaf {
                            *slices = vec![&mut left[..], &mut right[..]];
                        }
                    });
                }
                let (audio, parameters, system) =
                    (&mut self.audio, &self.parameters, &mut self.system);
                assert_no_alloc(|| audio.process(&mut buffer, parameters, system));
            }
            for event in self.system.sent.drain(..) {
                if let NoteEvent::NoteOn {
                    timing,
                    key: HostKey::Number(key),
                    ..
                } = event
                {
                    self.struck.push((self.frame + timing as usize, key));
                }
            }
            self.sound.extend(&left);
            self.frame += frames;
        }
    }

    fn rest(&mut self, frames: usize) {
        self.pass(&vec![0.0; frames]);
    }

    fn hold(&mut self, on: bool) {
        self.host.automate_to("hold", if on { "On" } else { "Off" });
    }

    /// Silence comes in until what was said has been worked out; slower than in a song, so that what
    /// was said stays on the tape however long that takes.
    #[allow(clippy::disallowed_methods, reason = "a test may wait")]
    fn wait(&mut self) {
        let booth = self.parameters.kept.booth();
        self.rest(1);
        let begun = Instant::now();
        while booth.works() {
            assert!(begun.elapsed() < GENEROUS, "no answer");
            self.rest(1);
            std::thread::sleep(Duration::from_millis(1));
        }
    }

    /// Until the listener has heard so many sentences, and none since.
    fn wait_for_sentences(&mut self, count: usize) {
        let begun = Instant::now();
        let heard = |stage: &Self| {
            let said = stage.parameters.kept.booth().live().said;
            said.map_or(0, |said| said.spoken.listened.candidates().len())
        };
        while heard(self) != count {
            assert!(begun.elapsed() < GENEROUS, "{} of {count}", heard(self));
            std::thread::yield_now();
        }
    }

    fn phrase(&self) -> Phrase {
        self.parameters.kept.current().taken.phrase
    }

    fn notes(&self) -> Vec<(f64, u8)> {
        written(&self.phrase())
    }

    fn missed(&self) -> Option<String> {
        self.parameters.kept.booth().live().missed
    }
}

/// Onsets in sixteenths, and keys.
fn written(phrase: &Phrase) -> Vec<(f64, u8)> {
    let notes = phrase.notes().iter();
    notes
        .map(|note| (note.onset * 4.0, note.key.number()))
        .collect()
}

#[test]
fn hold_makes_what_was_said_the_phrase_and_plays_it_in_its_rhythm_with_nobody_looking() {
    let mut stage = Stage::new(&[("copies", "0")]);
    stage.pass(&a_sentence());
    assert!(stage.struck.is_empty() && stage.phrase().is_empty());
    stage.hold(true);
    stage.wait();
    assert_eq!(stage.notes(), FOUR);
    assert_eq!(stage.missed(), None);
    stage.rest(3 * BEAT);
    let begins = stage.struck[0].0;
    let heard: Vec<(f64, u8)> = stage.struck[..4]
        .iter()
        .map(|(frame, key)| ((frame - begins) as f64 / STEP as f64, *key))
        .collect();
    assert_eq!(heard, FOUR);
    // It stays as what was held, and is saved with its recording.
    let kept = stage.parameters.kept.current();
    assert_eq!(kept.takes.iter().len(), 1);
    let take = kept.takes.get(0).unwrap();
    assert!(take.voice.is_some() && take.voice == kept.voice);
    let saved: serde_json::Value = serde_json::from_str(&kept.to_json()).unwrap();
    assert_eq!(saved["recordings"].as_array().map(Vec::len), Some(1));
}

#[test]
fn the_voice_goes_along_within_10_ms_of_its_notes() {
    let mut stage = Stage::new(&[("copies", "0"), ("voice_level", "0 dB")]);
    stage.pass(&a_sentence());
    stage.hold(true);
    stage.wait();
    let from = stage.frame;
    stage.struck.clear();
    stage.rest(6 * BEAT);
    // A vowel counts from where it has swollen to half its height, 7.5 ms after it began; before it is
    // a gap of 25 ms.
    let loud = |at: usize| stage.sound[at].abs() > 0.08;
    let quiet_before = |at: usize| !(at - 200..at).any(loud);
    let vowels: Vec<usize> = (from + 200..stage.sound.len())
        .filter(|at| loud(*at) && quiet_before(*at))
        .collect();
    assert!(vowels.len() >= 8, "{vowels:?}");
    for (frame, key) in stage.struck.iter().filter(|(frame, _)| *frame > from + 400) {
        let off = vowels
            .iter()
            .map(|at| (*at as f64 - *frame as f64) / RATE)
            .min_by(|one, other| one.abs().total_cmp(&other.abs()))
            .unwrap();
        assert!(off.abs() < 0.010, "key {key} at {frame}: {off} s");
    }
}

#[test]
fn however_blocks_are_cut_the_same_phrase_and_recording_are_kept() {
    let taken = |block: usize| {
        let mut stage = Stage::new(&[]);
        stage.block = block;
        stage.pass(&two_sentences());
        stage.hold(true);
        stage.wait();
        let kept = stage.parameters.kept.current();
        (kept.taken.phrase, kept.voice.unwrap())
    };
    let whole = taken(4_096);
    assert_eq!(written(&whole.0), THREE, "the latest");
    for block in [37, 512] {
        assert!(taken(block) == whole, "blocks of {block}");
    }
}

#[test]
fn of_two_sentences_the_one_that_was_chosen_is_taken_and_the_other_is_left_for_the_next_hold() {
    let mut stage = Stage::new(&[]);
    stage.pass(&two_sentences());
    stage.wait_for_sentences(2);
    let booth = stage.parameters.kept.booth();
    let said = booth.live().said.unwrap();
    booth.choose(Some(said.frames(0).start));
    stage.hold(true);
    stage.wait();
    assert_eq!(stage.notes(), FOUR);
    stage.hold(false);
    stage.rest(BEAT);
    stage.hold(true);
    stage.wait();
    assert_eq!(stage.notes(), THREE);
    // Nothing new is said: it plays what was there, and says so.
    stage.hold(false);
    stage.rest(BEAT);
    stage.hold(true);
    stage.wait();
    assert_eq!(stage.notes(), THREE);
    assert!(
        stage
            .missed()
            .unwrap()
            .starts_with("Nothing was said since")
    );
    stage.struck.clear();
    // It begins with the next bar.
    stage.rest(8 * BEAT);
    assert!(stage.struck.len() >= 3);
}

#[test]
fn what_is_no_speech_is_said_with_its_remedy_and_the_phrase_from_before_plays() {
    let noise: Vec<f32> = {
        let mut state = 1_u32;
        let mut next = || {
            // Numerical Recipes' quick generator (Press et al., 2007).
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (state >> 8) as f32 / 8_388_608.0 - 1.0
        };
        (0..32_000).map(|_| 0.3 * next()).collect()
    };
    let silence = vec![0.0; 16_000];
    for (deaf, sound, words) in [
        (true, &silence, "No audio comes in"),
        (
            false,
            &silence,
            "Nothing was said before Hold, there is only silence",
        ),
        (
            false,
            &noise,
            "Nothing was said before Hold, there is noise and no voice",
        ),
    ] {
        let mut stage = Stage::new(&[]);
        stage.deaf = deaf;
        let before = Phrase::from_text("D4 F4", 0.25).unwrap();
        stage
            .parameters
            .kept
            .edit(|kept| kept.taken.phrase = before.clone());
        stage.pass(sound);
        stage.hold(true);
        stage.wait();
        let missed = stage.missed().unwrap();
        assert!(missed.starts_with(words), "{missed}");
        assert!(
            missed.ends_with("The phrase that was there plays."),
            "{missed}"
        );
        assert_eq!(stage.phrase(), before);
        stage.rest(8 * BEAT);
        assert!(stage.struck.len() >= 2, "{words}");
    }
}

#[test]
fn half_of_a_sentence_a_clipped_one_and_one_word_are_taken_all_the_same() {
    for (sound, notes) in [
        (a_sentence()[..14_400].to_vec(), &FOUR[..3]),
        (
            a_sentence()
                .iter()
                .map(|one| (one * 20.0).clamp(-1.0, 1.0))
                .collect(),
            &FOUR[..],
        ),
        (spoken(1.0, &FIRST[..1]), &FOUR[..1]),
    ] {
        let mut stage = Stage::new(&[]);
        stage.pass(&sound);
        stage.hold(true);
        stage.wait();
        assert_eq!(stage.notes(), notes);
    }
}

#[test]
fn at_rest_too_a_sentence_is_taken_and_hold_plays_it() {
    let mut stage = Stage::new(&[("copies", "0")]);
    stage.system.transport.playing = false;
    stage.pass(&a_sentence());
    stage.hold(true);
    stage.wait();
    stage.rest(3 * BEAT);
    let keys: Vec<u8> = stage.struck.iter().map(|(_, key)| *key).take(4).collect();
    assert_eq!(keys, [50, 48, 46, 45]);
}

#[test]
fn what_is_played_by_hand_is_no_phrase_while_a_voice_is_listened_to() {
    let mut stage = Stage::new(&[]);
    stage.rest(BEAT);
    for (key, at) in [(60, 0), (64, STEP)] {
        stage.rest(at);
        stage.system.coming.push(NoteEvent::NoteOn {
            timing: 0,
            voice_id: VoiceID::Wildcard,
            channel: Channel::Number(0),
            key: HostKey::Number(key),
            velocity: 0.7,
        });
    }
    stage.rest(BEAT);
    stage.hold(true);
    stage.wait();
    stage.rest(BEAT);
    assert!(stage.phrase().is_empty());
}

#[test]
fn while_it_is_out_of_the_way_nothing_is_heard_and_nobody_waits() {
    let mut stage = Stage::new(&[("bypass", "On")]);
    stage.pass(&a_sentence());
    stage.hold(true);
    stage.rest(BEAT);
    let booth = stage.parameters.kept.booth();
    assert!(!booth.listens() && !booth.works());
    assert!(stage.phrase().is_empty());
    assert_eq!(&stage.sound[..25_600], a_sentence(), "it passes as it came");
}

#[test]
fn a_reset_keeps_what_was_said_another_rate_begins_anew_and_nothing_panics() {
    let mut stage = Stage::new(&[]);
    stage.pass(&a_sentence());
    stage.audio.reset();
    stage.hold(true);
    stage.wait();
    assert_eq!(stage.notes(), FOUR);
    stage.hold(false);
    stage.rest(BEAT);
    for rate in [96_000.0, 8_000.0, RATE as f32] {
        stage.audio.prepare(rate);
        stage.parameters.kept.booth().lay_tape();
        stage.rest(64);
    }
    stage.pass(&spoken(1.2, &[(0.2, 55.0), (0.45, 53.0), (0.7, 50.0)]));
    stage.hold(true);
    stage.wait();
    assert_eq!(stage.notes(), THREE);
}

#[test]
fn a_host_that_ends_the_instance_while_hold_waits_is_not_kept() {
    let mut stage = Stage::new(&[]);
    stage.pass(&a_sentence());
    stage.hold(true);
    stage.rest(64);
    drop(stage.listener.take());
    // Nobody answers any more: hold goes on with what there is.
    stage.rest(64);
    let booth = stage.parameters.kept.booth();
    assert!(!booth.is_attended());
    stage.rest(4 * BEAT);
}

/// The window over a stage.
fn window(stage: &mut Stage, view: View) -> Harness<'static> {
    let reader = stage.reader.take().unwrap();
    let mut shell = Shell::new(stage.parameters.clone(), reader, stage.bell.clone());
    shell.choose(view);
    let (context, own) = (stage.host.context(), stage.parameters.clone());
    let mut prepared = false;
    Harness::builder()
        .with_size(vec2(1200.0, 800.0))
        .build_ui(move |ui| {
            if !std::mem::replace(&mut prepared, true) {
                shell.prepare(ui.ctx());
            }
            shell.show(ui, &|gesture| gesture.make(&own, &context.param_setter()));
        })
}

#[test]
fn the_window_shows_how_loud_it_is_and_what_is_said_and_hold_takes_what_is_chosen_there() {
    let mut stage = Stage::new(&[("listen_to", "Notes")]);
    let mut window = window(&mut stage, View::Speech);
    window.run_steps(3);
    let switch = "Hold takes what is said into the audio input";
    window.get_by_label(switch).click();
    window.run_steps(3);
    assert!(stage.parameters.listens());
    stage.rest(1);
    window.run_steps(2);
    window.get_by_label("Level at the audio input: Silence");
    assert!(
        window
            .query_by_label_contains("Say a sentence: it is")
            .is_some()
    );
    stage.pass(&[0.5; 800]);
    window.run_steps(1);
    window.get_by_label("Level at the audio input: -6 dBFS");
    stage.pass(&[1.0; 16]);
    window.run_steps(1);
    window.get_by_label("Level at the audio input: Clips");
    stage.rest(8 * BEAT);
    stage.pass(&two_sentences());
    stage.wait_for_sentences(2);
    window.run_steps(3);
    window.get_by_label("Sentence").click();
    window.run_steps(3);
    window
        .query_all_by_label_contains("Sentence 1:")
        .next()
        .unwrap()
        .click();
    window.run_steps(3);
    stage.hold(true);
    stage.rest(1);
    window.run_steps(1);
    stage.wait();
    window.run_steps(3);
    assert_eq!(stage.notes(), FOUR);
    // What is shown now is what the next Hold would take.
    let take = "Make it the phrase";
    window.get_by_role_and_label(Role::Button, take).click();
    window.run_steps(3);
    assert_eq!(stage.notes(), THREE);
    let take = window.get_by_role_and_label(Role::Button, take);
    assert!(take.accesskit_node().is_disabled(), "it is");
}

#[test]
fn a_project_that_is_opened_again_shows_the_curve_of_what_was_said() {
    let mut stage = Stage::new(&[]);
    stage.pass(&a_sentence());
    stage.hold(true);
    stage.wait();
    let saved = serde_json::from_str(&stage.parameters.kept.current().to_json()).unwrap();
    let (parameters, _audio) = Parameters::new();
    parameters.kept.load(|kept| kept.restore(&saved));
    let phrase = parameters.kept.current().taken.phrase;
    assert_eq!(written(&phrase), FOUR);
    let mut tracing = procession::editor::tracing::Tracing::default();
    let begun = Instant::now();
    let curve = loop {
        let voice = parameters.kept.current().voice;
        if let Some(curve) = tracing.follow(voice.as_ref()) {
            break curve;
        }
        assert!(begun.elapsed() < GENEROUS && tracing.works());
        std::thread::yield_now();
    };
    let strands = curve.strands(&phrase);
    assert_eq!(strands.len(), 4);
    for (strand, note) in strands.iter().zip(phrase.notes()) {
        let key = f64::from(note.key.number());
        assert!(strand.iter().all(|(_, pitch)| (pitch - key).abs() < 0.3));
    }
    assert_eq!(tracing.follow(None), None, "another phrase has none");
}
