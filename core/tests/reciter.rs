//! The voice goes along: with its notes, at its own pitch, without a click, and without taking memory.

#![allow(clippy::unwrap_used, reason = "a test")]

mod hearing;

use hearing::{cents, pitch_near};
use nice_assert_no_alloc::{AllocDisabler, assert_no_alloc};
use procession_core::clock::Transport;
use procession_core::engine::{Anchor, Controls, Engine};
use procession_core::ledger::Message;
use procession_core::mallet::Mallets;
use procession_core::note::{Key, Note, Syllable, Velocity};
use procession_core::part::Part;
use procession_core::phrase::Phrase;
use procession_core::reciter::{Along, Reciter, Utterance};
use procession_core::settings::{GoesWith, Motion, Settings, Shifts};
use procession_core::speech::Recording;
use proptest::prelude::*;
use std::f64::consts::TAU;
use std::sync::Arc;

#[global_allocator]
static ALLOCATOR: AllocDisabler = AllocDisabler;

/// A phrase with what was said, and a song in which it is played.
struct Stage {
    engine: Engine,
    reciter: Reciter,
    mallets: Mallets,
    controls: Controls,
    along: Along,
    utterance: Arc<Utterance>,
    /// Those before it: nobody frees any while it may sound.
    kept: Vec<Arc<Utterance>>,
    rate: f64,
    tempo: f64,
    /// Song position, in beats.
    at: f64,
    playing: bool,
    /// Frames rendered so far, and where among them notes began: on which frame, whose, which key.
    frames: usize,
    struck: Vec<(usize, Part, u8)>,
}

impl Stage {
    fn new(phrase: &Phrase, said: &[f32], rate: f64, settings: Settings) -> Self {
        let recording = Recording::new(said.to_vec(), rate).unwrap();
        let utterance = Utterance::of(&recording, 0.0, recording.seconds()).unwrap();
        let mut engine = Engine::new(rate);
        engine.restore(phrase, Anchor::Song(0.0));
        Self {
            engine,
            reciter: Reciter::new(rate),
            mallets: Mallets::new(rate),
            controls: Controls {
                settings,
                hold: true,
                ..Controls::default()
            },
            along: Along {
                level: Some(0.0),
                with: GoesWith::Steady,
            },
            utterance: Arc::new(utterance),
            kept: Vec::new(),
            rate,
            tempo: 120.0,
            at: 0.0,
            playing: true,
            frames: 0,
            struck: Vec::new(),
        }
    }

    /// A block of so many frames; the left side of what is heard. Takes no memory but for that.
    fn block(&mut self, frames: usize) -> Vec<f32> {
        let transport = Transport {
            playing: self.playing,
            tempo: Some(self.tempo),
            position: Some(self.at),
        };
        let (mut left, mut right) = (vec![0.0; frames], vec![0.0; frames]);
        self.struck.reserve(1_000);
        let (begun, struck) = (self.frames, &mut self.struck);
        assert_no_alloc(|| {
            let mut send = |event: procession_core::player::Event| {
                if let Message::NoteOn {
                    part: Some(part),
                    key,
                    ..
                } = event.message
                {
                    struck.push((begun + event.frame as usize, part, key.number()));
                }
            };
            self.reciter.take(Some(&self.utterance));
            let block = self
                .engine
                .begin(&transport, frames as u32, &self.controls, &mut send);
            self.reciter.enter(&block, &self.along);
            self.mallets
                .render_beside(&mut self.reciter, &mut left, &mut right);
            block.finish(&mut send);
        });
        self.frames += frames;
        if self.playing {
            self.at += frames as f64 * self.tempo / (60.0 * self.rate);
        }
        left
    }

    fn seconds(&mut self, seconds: f64, block: usize) -> Vec<f32> {
        let blocks = (seconds * self.rate / block as f64).round() as usize;
        (0..blocks).flat_map(|_| self.block(block)).collect()
    }
}

fn tone(hertz: f64, at: f64) -> f64 {
    (1..=5)
        .map(|k| (TAU * hertz * f64::from(k) * at).sin() / f64::from(k))
        .sum::<f64>()
        * 0.2
}

fn note(onset: f64, length: f64, key: u8, said: [f32; 3]) -> Note {
    Note {
        onset,
        length,
        key: Key::new(key).unwrap(),
        velocity: Velocity::new(0.7),
        said: Syllable::new(said[0], said[1], said[2], 0.0),
    }
}

/// One voice, no copies.
fn alone() -> Settings {
    let mut settings = Settings::default();
    settings.motion.copies = 0;
    settings.output.width = 0.0;
    settings
}

/// When a sound of that pitch ends, in seconds: half a period before it is half as strong as before,
/// over a period.
fn end_of(sound: &[f32], hertz: f64, rate: f64) -> f64 {
    let period = (rate / hertz).round() as usize;
    let strength: Vec<f64> = sound
        .windows(period)
        .map(|part| part.iter().map(|x| f64::from(*x).powi(2)).sum())
        .collect();
    let usual = strength[(0.1 * rate) as usize];
    let last = strength.iter().rposition(|now| *now > usual / 2.0);
    (last.expect("it sounds") as f64 + period as f64 / 2.0) / rate
}

#[test]
fn at_another_tempo_a_vowel_lasts_as_long_as_there_is_time_and_keeps_its_pitch() {
    const RATE: f64 = 48_000.0;
    let hum = |hertz: f64, at: f64| 0.5 * (TAU * hertz * at).sin();
    for hertz in [98.0, 151.0, 247.0, 390.0] {
        // Nearly half a second of voice, then nothing is said, for 50 ms before a vowel and after.
        let notes = [
            note(0.0, 0.9, 60, [0.0, 0.02, 0.45]),
            note(1.0, 0.9, 62, [0.45, 0.5, 0.9]),
        ];
        let phrase = Phrase::new(notes, 2.0).unwrap();
        for (tempo, voice) in [75.0, 90.0, 119.0, 120.0, 126.0, 160.0, 200.0]
            .into_iter()
            .flat_map(|tempo| [(tempo, &hum as &dyn Fn(f64, f64) -> f64), (tempo, &tone)])
        {
            let said: Vec<f32> = (0..48_000)
                .map(|n| f64::from(n) / RATE)
                .map(|at| {
                    if at < 0.45 {
                        voice(hertz, at) as f32
                    } else {
                        0.0
                    }
                })
                .collect();
            let mut stage = Stage::new(&phrase, &said, RATE, alone());
            stage.tempo = tempo;
            let sound = stage.seconds(90.0 / tempo, 480);
            let delay = stage.mallets.latency() as f64 / RATE;
            // The second syllable begins 50 ms before its note, and ends the first.
            let until = 60.0 / tempo - 0.05 + delay;
            let off = 1000.0 * (end_of(&sound, hertz, RATE) - until);
            // A fade of 5 ms, or less where the voice has just ended; the ear above is as sure as a
            // quarter of a period.
            let unsure = 250.0 / hertz;
            assert!(
                (-1.5 - unsure..4.0 + unsure).contains(&off),
                "{hertz} Hz at {tempo}: {off} ms"
            );
            let from = (0.05 + delay) * RATE;
            let vowel = &sound[from as usize..((until - 0.02) * RATE) as usize];
            let off = cents(hertz, pitch_near(hertz, vowel, RATE));
            assert!(off.abs() < 5.0, "{hertz} Hz at {tempo}: {off} cents");
        }
    }
}

/// Eight syllables of a quarter of a second: noise before the vowel, and a vowel that begins with a
/// burst that no other has.
fn eight(rate: f64) -> (Vec<f32>, Phrase) {
    let mut seed = 1u32;
    let mut noise = move || {
        seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        f64::from(seed >> 8) / f64::from(1 << 23) - 1.0
    };
    let said = (0..(2.0 * rate) as usize).map(|n| {
        let at = n as f64 / rate;
        let (which, into) = ((at / 0.25).floor(), at % 0.25);
        let loud = match into {
            _ if into < 0.06 => 0.03 * noise(),
            _ if into < 0.08 => 0.5 * noise(),
            _ => tone(110.0 + 12.0 * which, into),
        };
        loud as f32
    });
    let notes = (0..8).map(|which| {
        let at = 0.25 * f32::from(which);
        let said = [at, at + 0.06, at + 0.25];
        note(0.5 * f64::from(which), 0.4, 60 + which, said)
    });
    let phrase = Phrase::new(notes, 4.0).unwrap();
    (said.collect(), phrase)
}

/// By how many seconds `sound` says what was said around `vowel` later than on `frame`.
fn late(sound: &[f32], frame: usize, said: &[f32], vowel: f64, rate: f64) -> f64 {
    let frames = |seconds: f64| (seconds * rate) as i64;
    let said = &said[(frames(vowel) - frames(0.01)) as usize..][..frames(0.03) as usize];
    let likeness = |lag: i64| {
        let from = (frame as i64 - frames(0.01) + lag) as usize;
        let heard = &sound[from..from + said.len()];
        let dot =
            |a: &[f32], b: &[f32]| a.iter().zip(b).map(|(a, b)| f64::from(a * b)).sum::<f64>();
        dot(heard, said) / (dot(heard, heard) * dot(said, said)).sqrt().max(1e-9)
    };
    let lags = -frames(0.04)..=frames(0.04);
    let best = lags
        .max_by(|a, b| likeness(*a).total_cmp(&likeness(*b)))
        .unwrap();
    assert!(likeness(best) > 0.7, "{} is no syllable", likeness(best));
    best as f64 / rate
}

#[test]
fn after_ten_minutes_of_phasing_the_voice_is_within_ten_milliseconds_of_its_notes() {
    const RATE: f64 = 8_000.0;
    let (said, phrase) = eight(RATE);
    for motion in [Motion::Drift, Motion::Jump] {
        let mut settings = Settings::default();
        settings.motion.motion = motion;
        settings.motion.dwell = 2;
        settings.motion.drift = 4;
        settings.motion.shifts = Shifts::Endless;
        // The copy alone is heard.
        settings.output.steady_level = 0.0;
        let mut stage = Stage::new(&phrase, &said, RATE, settings);
        stage.along.with = GoesWith::All;
        for (minutes, tempo) in [(3.0, 120.0), (3.0, 97.0), (2.0, 141.5)] {
            stage.tempo = tempo;
            stage.seconds(60.0 * minutes, 512);
        }
        // Two minutes in which the tempo rises all the time, of which the last is listened to.
        let mut sound = Vec::new();
        let mut from = 0;
        for second in 0..120 {
            stage.tempo = 100.0 + 0.3 * f64::from(second);
            if second == 60 {
                stage.struck.clear();
                from = stage.frames;
            }
            let heard = stage.seconds(1.0, 250);
            sound.extend(heard.into_iter().filter(|_| second >= 60));
        }
        let latency = stage.mallets.latency();
        let inside = |frame: usize| frame > from + 1_000 && frame + 1_000 < stage.frames;
        let of_copy =
            |(frame, part, _): &&(usize, Part, u8)| *part == Part::COPY_1 && inside(*frame);
        let notes: Vec<_> = stage.struck.iter().filter(of_copy).collect();
        assert!(notes.len() > 200, "{} notes", notes.len());
        for (frame, _, key) in notes {
            let vowel = 0.25 * f64::from(key - 60) + 0.06;
            let late = late(&sound, frame - from + latency, &said, vowel, RATE);
            assert!(late.abs() <= 0.01, "{motion:?}: {late} s after its note");
        }
    }
}

#[test]
fn a_consonant_comes_before_its_note_and_the_voice_with_whom_it_is_sent() {
    const RATE: f64 = 8_000.0;
    let (said, phrase) = eight(RATE);
    let mut settings = Settings::default();
    for (with, steady_level, is_heard) in [
        (GoesWith::Steady, 1.0, true),
        (GoesWith::Steady, 0.0, false),
        (GoesWith::All, 0.0, true),
    ] {
        settings.output.steady_level = steady_level;
        let mut stage = Stage::new(&phrase, &said, RATE, settings);
        stage.along.with = with;
        let sound = stage.seconds(1.0, 100);
        let loud = sound.iter().any(|sample| *sample != 0.0);
        assert_eq!(loud, is_heard, "{with:?} at a level of {steady_level}");
    }
    let mut stage = Stage::new(&phrase, &said, RATE, alone());
    let sound = stage.seconds(1.0, 100);
    // The second note, half a beat on: before it the noise of its consonant, as it was said.
    let note = 2_000 + stage.mallets.latency();
    let before = &sound[note - 400..note];
    let consonant = &said[2_480 - 400..2_480];
    let share = sound[note + 100] / said[2_580];
    assert!(share > 0.1, "{share}");
    for (heard, said) in before.iter().zip(consonant) {
        assert!((heard - share * said).abs() < 1e-4);
    }
}

/// Something that ends notes, or changes what they are.
#[derive(Clone, Copy, Debug)]
enum Deed {
    Roll,
    Leap(u32),
    Panic,
    Hold,
    Bypass,
    Tempo(f64),
    Level(bool),
    With(GoesWith),
    OtherWords,
}

impl Deed {
    fn any() -> impl Strategy<Value = Self> {
        prop_oneof![
            Just(Self::Roll),
            (0..64u32).prop_map(Self::Leap),
            Just(Self::Panic),
            Just(Self::Hold),
            Just(Self::Bypass),
            (60.0..240.0f64).prop_map(Self::Tempo),
            any::<bool>().prop_map(Self::Level),
            Just(Self::With(GoesWith::All)),
            Just(Self::With(GoesWith::Steady)),
            Just(Self::OtherWords),
        ]
    }

    fn done_to(self, stage: &mut Stage) {
        match self {
            Self::Roll => stage.playing ^= true,
            Self::Leap(to) => stage.at = 0.37 * f64::from(to),
            Self::Panic => {
                stage.engine.interrupt();
                stage.reciter.hush();
            }
            Self::Hold => stage.controls.hold ^= true,
            Self::Bypass => stage.controls.bypass ^= true,
            Self::Tempo(tempo) => stage.tempo = tempo,
            Self::Level(on) => stage.along.level = on.then_some(0.0),
            Self::With(with) => stage.along.with = with,
            Self::OtherWords => {
                let other = Arc::new((*stage.utterance).clone());
                stage
                    .kept
                    .push(std::mem::replace(&mut stage.utterance, other));
            }
        }
    }
}

const LOW: f64 = 16_000.0;

/// Two seconds of one low tone, in eight syllables: wherever it is cut without a fade, it clicks.
fn stage_of_hum() -> Stage {
    let said: Vec<f32> = (0..32_000)
        .map(|n| (0.4 * (TAU * 160.0 * f64::from(n) / LOW).sin()) as f32)
        .collect();
    let (_, phrase) = eight(LOW);
    let mut settings = Settings::default();
    settings.motion.dwell = 1;
    settings.motion.drift = 2;
    Stage::new(&phrase, &said, LOW, settings)
}

proptest! {
    #[test]
    fn whatever_happens_the_voice_does_not_click_and_takes_no_memory(
        deeds in prop::collection::vec((1..40usize, 1..300usize, Deed::any()), 1..12),
    ) {
        let mut stage = stage_of_hum();
        let mut before = 0.0;
        for (blocks, frames, deed) in deeds {
            for _ in 0..blocks {
                for now in stage.block(frames) {
                    // The tone moves by 0.025 a frame at most; four of them at once, which fade, by
                    // a little more than four times that. What begins or ends in mid-air, by 0.2.
                    let step: f32 = now - before;
                    prop_assert!(step.abs() < 0.12, "{} {} before {:?}", before, now, deed);
                    before = now;
                }
            }
            deed.done_to(&mut stage);
        }
    }
}

#[test]
fn what_ends_the_notes_ends_the_voice_within_eight_milliseconds() {
    for deed in [Deed::Roll, Deed::Hold, Deed::Bypass, Deed::Level(false)] {
        for blocks in 40..60 {
            let mut stage = stage_of_hum();
            let sound: Vec<f32> = (0..blocks).flat_map(|_| stage.block(128)).collect();
            assert!(sound.iter().any(|sample| sample.abs() > 0.1));
            deed.done_to(&mut stage);
            let after = stage.seconds(0.2, 64);
            let gone = (0.008 * LOW) as usize + stage.mallets.latency();
            let rest = &after[gone..];
            assert!(
                rest.iter().all(|sample| *sample == 0.0),
                "{deed:?} after {blocks}"
            );
        }
    }
}

#[test]
fn a_phrase_that_nobody_said_is_played_in_silence() {
    let (said, phrase) = eight(LOW);
    let unsaid = phrase.notes().iter().map(|note| Note {
        said: None,
        ..*note
    });
    let phrase = Phrase::new(unsaid, phrase.length()).unwrap();
    let mut stage = Stage::new(&phrase, &said, LOW, Settings::default());
    assert!(stage.seconds(2.0, 333).iter().all(|sample| *sample == 0.0));
    assert!(!stage.struck.is_empty());
}
