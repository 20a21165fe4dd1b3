//! Practice through the whole of the plug-in: a window with real clicks and keys, the audio thread
//! under the guard against allocation, and a simulated player.
#![allow(clippy::unwrap_used)]
#![expect(
    unsafe_code,
    reason = "a block is made by an unsafe function of the framework, a parameter set by another"
)]

mod host;
mod system;

use egui::{Key, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use host::Host;
use nice_assert_no_alloc::assert_no_alloc;
use nice_plug::buffer::Buffer;
use nice_plug::midi::{Channel, Key as HostKey, NoteEvent, VoiceID};
use nice_plug::prelude::{Params, Transport};
use procession::bell::Bell;
use procession::editor::shell::Shell;
use procession::feed::feed;
use procession::params::Parameters;
use procession::practice::{Desk, MOST_PASSES, Partner};
use procession::process::AudioThread;
use procession::state::KEPT;
use procession_core::engine::Anchor;
use procession_core::exercise::round_of;
use procession_core::form::Form;
use procession_core::part::Part;
use procession_core::phrase::Phrase;
use procession_core::practice::Exercise;
use procession_core::process::Process;
use procession_core::settings::Settings;
use procession_core::time::{Beats, Span};
use std::sync::Arc;
use system::System;

const RATE: f64 = 48_000.0;
/// At 120.
const BEAT: usize = 24_000;
const BLOCK: usize = 480;
/// Six sixteenths: a cycle of one and a half beats. They stay in unison for eight.
const SIX: &str = "D4 F4 G4 A4 C5 E4";

/// An instance with its window, in a host with somebody at a keyboard.
struct Room {
    audio: AudioThread,
    harness: Harness<'static>,
    parameters: Arc<Parameters>,
    host: Arc<Host>,
    system: System<false>,
    frame: usize,
    /// Channels and frames of the strokes that left.
    strokes: Vec<(u8, usize)>,
    sound: Vec<f32>,
}

impl Room {
    fn new() -> Self {
        let (parameters, exchange) = Parameters::new();
        parameters.kept.edit(|kept| {
            kept.taken.phrase = Phrase::from_text(SIX, 0.25).unwrap();
            kept.taken.anchor = Anchor::Song(0.0);
        });
        let (feed, reader) = feed();
        let bell = Bell::default();
        let mut audio = AudioThread::new(exchange, feed, bell.clone());
        audio.prepare(RATE as f32);
        let host = Host::new(parameters.clone());
        let mut shell = Shell::new(parameters.clone(), reader, bell.clone());
        let (context, own) = (host.context(), parameters.clone());
        let window = bell.open_window();
        let mut prepared = false;
        let harness = Harness::builder()
            .with_size(vec2(1200.0, 1100.0))
            .build_ui(move |ui| {
                let _ = &window;
                if !std::mem::replace(&mut prepared, true) {
                    shell.prepare(ui.ctx());
                }
                shell.show(ui, &|gesture| gesture.make(&own, &context.param_setter()));
            });
        let mut transport = Transport::new(RATE as f32);
        transport.tempo = Some(120.0);
        let system = System::new(transport);
        let (strokes, sound) = (Vec::new(), Vec::new());
        Self {
            audio,
            harness,
            parameters,
            host,
            system,
            frame: 0,
            strokes,
            sound,
        }
    }

    /// One block, with these keys struck in it.
    fn block(&mut self, struck: &[(usize, u8)]) {
        let (mut left, mut right) = (vec![0.0; BLOCK], vec![0.0; BLOCK]);
        let transport = &mut self.system.transport;
        transport.pos_beats = transport.playing.then_some(self.frame as f64 / BEAT as f64);
        // The last one is handed out first.
        for (at, key) in struck.iter().rev() {
            self.system.coming.push(NoteEvent::NoteOn {
                timing: (at - self.frame) as u32,
                voice_id: VoiceID::Wildcard,
                channel: Channel::Number(0),
                key: HostKey::Number(*key),
                velocity: 0.6,
            });
        }
        {
            let mut buffer = Buffer::default();
            // SAFETY: both slices are as long as the block, and outlive the buffer.
            unsafe {
                buffer.set_slices(BLOCK, |slices| {
                    *slices = vec![&mut left[..], &mut right[..]];
                });
            }
            let (audio, parameters, system) = (&mut self.audio, &self.parameters, &mut self.system);
            assert_no_alloc(|| audio.process(&mut buffer, parameters, system));
        }
        for event in self.system.sent.drain(..) {
            if let NoteEvent::NoteOn {
                timing,
                channel: Channel::Number(channel),
                ..
            } = event
            {
                self.strokes.push((channel, self.frame + timing as usize));
            }
        }
        self.sound.extend(left);
        self.frame += BLOCK;
    }

    /// So many beats, with keys struck at these frames from now on; now and then the window looks.
    fn go_on(&mut self, beats: Beats, struck: &[(usize, u8)]) {
        let begun = self.frame;
        let mut struck: Vec<(usize, u8)> =
            struck.iter().map(|(at, key)| (begun + at, *key)).collect();
        struck.sort_unstable();
        let end = begun + (beats * BEAT as f64) as usize;
        while self.frame < end {
            let until = self.frame + BLOCK;
            let later = struck.partition_point(|(at, _)| *at < until);
            let now: Vec<(usize, u8)> = struck.drain(..later).collect();
            self.block(&now);
            if (self.frame / BLOCK).is_multiple_of(50) {
                self.harness.step();
            }
        }
        self.harness.run();
    }

    fn click(&mut self, label: &str) {
        self.harness.run();
        self.harness.get_by_label(label).click();
        self.harness.run();
    }

    fn says(&self, words: &str) -> bool {
        self.harness
            .query_all_by_label_contains(words)
            .next()
            .is_some()
    }

    fn desk(&self) -> Desk {
        (*self.parameters.kept.current().practice).clone()
    }

    fn on(&self, channel: u8) -> Vec<usize> {
        let on = self.strokes.iter().filter(|(on, _)| *on == channel);
        on.map(|(_, at)| *at).collect()
    }
}

/// What a part plays in a stretch, so many milliseconds late: frames after the stretch begins.
fn played(part: Part, span: Span, late_ms: f64) -> Vec<(usize, u8)> {
    let phrase = Phrase::from_text(SIX, 0.25).unwrap();
    let process = Process::new(phrase, Settings::default(), 0.0);
    let at = |on: Beats| ((on - span.start) * BEAT as f64 + late_ms * RATE / 1000.0) as usize;
    process
        .notes(part, span)
        .map(|note| (at(note.on), note.key.number()))
        .collect()
}

/// The same after a bar of four that is counted in.
fn after_a_bar(played: &[(usize, u8)]) -> Vec<(usize, u8)> {
    played
        .iter()
        .map(|(at, key)| (4 * BEAT + at, *key))
        .collect()
}

/// Twelve beats, as the form has them.
fn first_stage() -> Span {
    let process = Process::new(
        Phrase::from_text(SIX, 0.25).unwrap(),
        Settings::default(),
        0.0,
    );
    round_of(&Form::new(&process), 0.0, Part::COPY_1, Exercise::Stage(0))
        .unwrap()
        .span
}

#[test]
fn by_mouse_a_stage_is_practised_and_who_is_15_ms_late_is_told_so() {
    let mut room = Room::new();
    room.click("Practice");
    room.click("Exercise");
    room.click("Stage 1, unison");
    room.click("Practise");
    assert!(room.says("Practising copy 1, stage 1, unison"));
    assert_eq!(first_stage(), Span::new(0.0, 12.0));
    room.go_on(2.0, &[]);
    assert!(room.says("counted in"));
    let late = after_a_bar(&played(Part::COPY_1, first_stage(), 15.0));
    let late: Vec<_> = late.iter().map(|(at, key)| (at - 2 * BEAT, *key)).collect();
    room.go_on(14.1, &late);
    assert!(
        room.says("15 ms late on average, even to 0 ms."),
        "{:?}",
        room.desk()
    );
    assert!(room.on(1).is_empty(), "my part is silent");
    let steady: Vec<usize> = (0..48).map(|note| 4 * BEAT + note * BEAT / 4).collect();
    let own: Vec<usize> = late.iter().map(|(at, _)| at + 2 * BEAT).collect();
    let sounding = room.on(0);
    assert!(
        steady.iter().all(|at| sounding.contains(at)),
        "the steady voice plays"
    );
    assert!(
        own.iter().all(|at| sounding.contains(at)),
        "what I play is heard"
    );
    let clicks: Vec<usize> = (0..17).map(|beat| beat * BEAT).collect();
    assert_eq!(
        room.on(9),
        clicks,
        "a bar is counted in, the beats on the way, and the next pass"
    );
    room.click("Stop");
    room.strokes.clear();
    room.go_on(4.0, &[]);
    assert!(room.strokes.is_empty(), "{:?}", room.strokes);
}

#[test]
fn by_keys_alone_practice_begins_and_ends() {
    let mut room = Room::new();
    room.click("Practice");
    let press = |room: &mut Room, label: &str| {
        room.harness.get_by_label(label).focus();
        room.harness.run();
        room.harness.key_press(Key::Enter);
        room.harness.run();
    };
    press(&mut room, "Practise");
    room.go_on(5.0, &[]);
    assert!(!room.strokes.is_empty());
    press(&mut room, "Stop");
    room.go_on(0.5, &[]);
    room.strokes.clear();
    room.go_on(4.0, &[]);
    assert!(room.strokes.is_empty());
}

/// What a level of 0 % does to the sound is known from elsewhere.
#[test]
fn in_the_song_my_part_is_silent_in_the_audition_too_and_the_others_are_unchanged() {
    let play = |practises: bool| {
        let mut room = Room::new();
        let settings = [
            ("audition", "-24 dB"),
            ("hold", "On"),
            ("motion", "Jump"),
            ("dwell", "2 cycles"),
        ];
        for (id, text) in settings {
            room.host.automate_to(id, text);
        }
        if practises {
            room.click("Practice");
            room.click("Practise");
        } else {
            room.host.automate_to("copy1_level", "0 %");
        }
        room.system.transport.playing = true;
        room.go_on(12.0, &[]);
        room
    };
    let (mut mine, muted) = (play(true), play(false));
    assert!(!mine.on(0).is_empty() && mine.on(1).is_empty());
    assert_eq!(mine.on(0), muted.on(0));
    assert!(mine.sound == muted.sound, "to the sample");
    assert!(mine.says("its tempo rules, 120 beats a minute"));
    mine.system.transport.playing = false;
    mine.go_on(1.0, &[]);
    assert!(mine.says("The song has stopped, and practice with it."));
}

#[test]
fn passes_are_kept_with_the_project_and_come_back_with_it() {
    let mut room = Room::new();
    let desk = Desk {
        part: Part::COPY_1,
        exercise: Exercise::Drift(1),
        pace: 0.8,
        click: false,
        partner: Partner::Gives,
        share: 0.4,
        latency_ms: Some(23.4),
        passes: Vec::new(),
    };
    room.parameters
        .kept
        .edit(|kept| kept.practice = Arc::new(desk.clone()));
    room.click("Practice");
    room.click("Practise");
    // At 80 % a beat takes a quarter longer, and a pass twenty. A single slip is a pass that was
    // played; those after it are none.
    room.go_on(90.0, &[(10 * BEAT, 30)]);
    let kept = room.desk();
    assert_eq!(kept.passes.len(), 1);
    assert_eq!(
        (kept.passes[0].tempo, kept.passes[0].exercise),
        (96.0, Exercise::Drift(1))
    );
    assert_eq!(
        (kept.passes[0].pass.matched, kept.passes[0].pass.stray),
        (0, 1)
    );
    assert!(room.says("Nothing was played."));
    let saved = room.parameters.serialize_fields();
    let (again, _) = Parameters::new();
    again.deserialize_fields(&saved);
    assert_eq!(*again.kept.current().practice, kept);
    assert_eq!(again.serialize_fields()[KEPT], saved[KEPT]);
}

#[test]
fn a_project_that_makes_no_sense_of_practice_is_told_so_and_the_rest_is_loaded() {
    type Change = fn(&mut serde_json::Value);
    let (parameters, _) = Parameters::new();
    let spoilt = |change: Change| {
        parameters.kept.edit(|kept| {
            let desk = Desk {
                latency_ms: Some(12.0),
                ..Desk::default()
            };
            kept.practice = Arc::new(desk);
        });
        let mut saved: serde_json::Value =
            serde_json::from_str(&parameters.serialize_fields()[KEPT]).unwrap();
        change(&mut saved["practice"]);
        let (again, _) = Parameters::new();
        let fields = [(KEPT.to_owned(), saved.to_string())];
        again.deserialize_fields(&fields.into_iter().collect());
        (again.kept.current(), again.kept.notice())
    };
    let changes: [(Change, &str); 5] = [
        (|saved| saved["pace"] = 3.into(), "3 is no pace"),
        (|saved| saved["part"] = 17.into(), "no part 17"),
        (|saved| saved["share"] = (-1).into(), "-1 is no share"),
        (
            |saved| saved["latency_ms"] = 9999.into(),
            "9999 ms is no latency",
        ),
        (|saved| saved["exercise"] = "sideways".into(), "sideways"),
    ];
    for (change, words) in changes {
        let (kept, notice) = spoilt(change);
        let notice = notice.unwrap().0;
        assert!(
            notice.contains(words) && notice.contains("set up anew"),
            "{notice}"
        );
        assert_eq!(*kept.practice, Desk::default());
    }
    let (kept, notice) = spoilt(|saved| {
        let pass = serde_json::json!({"part": 1, "exercise": "whole", "tempo": 90.0, "expected": 3, "matched": 2});
        saved["passes"] = vec![pass; MOST_PASSES + 5].into();
    });
    assert_eq!(notice, None);
    assert_eq!(kept.practice.passes.len(), MOST_PASSES);
}

#[test]
fn the_latency_is_measured_by_tapping_kept_and_taken_off() {
    let mut room = Room::new();
    room.click("Practice");
    room.click("Measure");
    let taps: Vec<(usize, u8)> = (2..12).map(|beat| (beat * BEAT + 960, 60)).collect();
    room.go_on(6.1, &taps[..4]);
    assert!(room.says("4 of 8 taps"));
    let later: Vec<(usize, u8)> = taps[5..]
        .iter()
        .map(|(at, key)| (at - room.frame, *key))
        .collect();
    room.go_on(6.0, &later);
    assert!(room.says("20 ms, even to 0 ms"));
    room.click("Take it off");
    let kept = room.desk().latency_ms.unwrap();
    assert!((kept - 20.0).abs() < 0.2, "{kept}");
    assert!(room.says("20 ms, taken off"));
}

#[test]
fn where_copies_move_on_cue_a_stage_is_practised_by_itself_and_the_whole_in_the_song() {
    let mut room = Room::new();
    for (id, text) in [("advance", "On cue"), ("dwell", "2 cycles")] {
        room.host.automate_to(id, text);
    }
    room.click("Practice");
    room.click("Exercise");
    room.click("Stage 3, dwell");
    room.click("Practise");
    // A bar is counted in, then two cycles of nine steps, again and again.
    room.go_on(8.0, &[]);
    assert!(room.says("Practising copy 1, stage 3, dwell"));
    room.go_on(5.0, &[]);
    assert!(room.says("What waits for a cue lasts 2 cycles here."));
    assert_eq!(room.on(0)[..2], [4 * BEAT, 4 * BEAT + BEAT / 4]);
    assert_eq!(
        room.on(0)[12],
        11 * BEAT,
        "three beats, and a bar is counted in"
    );
    assert!(room.on(1).is_empty(), "my part is silent");
    room.host.automate_to("hold", "On");
    room.system.transport.playing = true;
    room.go_on(1.0, &[]);
    assert!(room.says("In the rolling song copies move at your cue"));
    room.click("Exercise");
    room.click("The whole");
    room.click("Practise");
    room.strokes.clear();
    room.go_on(8.0, &[]);
    assert_eq!(room.on(0).len(), 32, "the steady voice plays");
    assert!(room.on(1).is_empty());
}
