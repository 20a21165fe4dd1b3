//! On cue: the performer's clock instead of the counted one.

use procession_core::clock::Transport;
use procession_core::engine::{Anchor, Controls, Engine};
use procession_core::ledger::Message;
use procession_core::note::{Channel, Key, Velocity};
use procession_core::part::Part;
use procession_core::phrase::Phrase;
use procession_core::settings::{Advance, Motion, MotionSettings, Settings};
use procession_core::time::Beats;
use proptest::prelude::*;

const RATE: f64 = 48_000.0;
/// At 120 beats a minute.
const FRAMES_A_BEAT: f64 = 24_000.0;
/// A pedal (MIDI 1.0: controller 64).
const PEDAL: u8 = 64;

fn cue_key() -> Key {
    Key::by_octave(24)
}

/// Six sixteenths, 1.5 beats; a copy that jumps by one.
fn settings() -> Settings {
    Settings {
        motion: MotionSettings {
            motion: Motion::Jump,
            advance: Advance::OnCue,
            dwell: 2,
            ..MotionSettings::default()
        },
        ..Settings::default()
    }
}

/// A performer at a host.
struct Stage {
    engine: Engine,
    controls: Controls,
    frame: u64,
    heard: Vec<(u64, Message)>,
}

impl Stage {
    fn new(settings: Settings) -> Self {
        let phrase = Phrase::from_text("D4 F4 G4 A4 C5 E4", 0.25).expect("these words are notes");
        let mut engine = Engine::new(RATE);
        engine.restore(&phrase, Anchor::Song(0.0));
        let controls = Controls {
            settings,
            hold: true,
            cue_key: Some(cue_key()),
            cue_controller: Some(PEDAL),
            ..Controls::default()
        };
        let mut stage = Self {
            engine,
            controls,
            frame: 0,
            heard: Vec::new(),
        };
        stage.block(false, 0, None);
        stage
    }

    /// A controller is moved where the song has come to. Whether that is a matter of cues.
    fn moves(&mut self, controller: u8, value: f32) -> bool {
        let transport = Transport {
            playing: true,
            tempo: Some(120.0),
            position: Some(self.frame as f64 / FRAMES_A_BEAT),
        };
        let mut moment = self.engine.begin(&transport, 0, &self.controls, |_| ());
        let is_a_cue = moment.control(0, controller, value, |_| ());
        moment.finish(|_| ());
        is_a_cue
    }

    /// A block, in which the cue key may be struck at a frame.
    fn block(&mut self, playing: bool, frames: u32, cue_at: Option<u32>) {
        let transport = Transport {
            playing,
            tempo: Some(120.0),
            position: Some(self.frame as f64 / FRAMES_A_BEAT),
        };
        let begun = self.frame;
        let heard = &mut self.heard;
        let mut hear = |event: procession_core::player::Event| {
            heard.push((begun + u64::from(event.frame), event.message));
        };
        let mut block = self
            .engine
            .begin(&transport, frames, &self.controls, &mut hear);
        if let Some(frame) = cue_at {
            let place = (Some(Channel::FIRST), Some(cue_key()));
            block.note_on(frame, place, Velocity::new(0.8), &mut hear);
            block.note_off(frame, place, &mut hear);
        }
        block.finish(&mut hear);
        if playing {
            self.frame += u64::from(frames);
        }
    }

    /// Rolls to a song position, in blocks of these lengths, with cues at these positions.
    fn roll_to(&mut self, beats: Beats, lengths: &[u32], cues: &[Beats]) {
        let end = (beats * FRAMES_A_BEAT) as u64;
        let mut lengths = lengths.iter().cycle();
        while self.frame < end {
            let length = u64::from(*lengths.next().unwrap_or(&512)).min(end - self.frame);
            let cue = cues
                .iter()
                .map(|cue| (cue * FRAMES_A_BEAT) as u64)
                .find(|cue| (self.frame..self.frame + length).contains(cue))
                .map(|cue| (cue - self.frame) as u32);
            self.block(true, length as u32, cue);
        }
    }

    /// Steps by which the copy is ahead.
    fn ahead(&self) -> Option<f64> {
        let at = self.frame as f64 / FRAMES_A_BEAT;
        let beats = self
            .engine
            .process()
            .voices()
            .displacement(Part::COPY_1, at)?;
        Some((beats / 0.25 * 1000.0).round() / 1000.0)
    }
}

#[test]
fn a_copy_dwells_until_it_is_cued_and_moves_with_the_next_cycle() {
    let mut stage = Stage::new(settings());
    stage.roll_to(30.0, &[512], &[]);
    assert_eq!(stage.ahead(), Some(0.0));
    // Cycles begin at 30, 31.5, 33 ...
    stage.roll_to(31.4, &[512], &[30.2]);
    assert_eq!(stage.ahead(), Some(0.0));
    stage.roll_to(31.6, &[512], &[]);
    assert_eq!(stage.ahead(), Some(1.0));
    stage.roll_to(60.0, &[512], &[]);
    assert_eq!(stage.ahead(), Some(1.0));
}

#[test]
fn the_cue_key_is_neither_heard_nor_passed_on() {
    let mut stage = Stage::new(settings());
    stage.controls.thru = true;
    stage.roll_to(4.0, &[512], &[1.0, 2.0]);
    let is_cue = |message: &Message| match message {
        Message::NoteOn { key, .. } | Message::NoteOff { key, .. } => *key == cue_key(),
        Message::Tuning { .. } | Message::Control { .. } => false,
    };
    assert!(!stage.heard.iter().any(|(_, message)| is_cue(message)));
}

#[test]
fn a_pedal_cues_as_it_goes_down_and_only_then() {
    let mut stage = Stage::new(settings());
    stage.roll_to(1.0, &[512], &[]);
    assert!(stage.moves(PEDAL, 0.9));
    assert!(stage.moves(PEDAL, 1.0));
    assert!(!stage.moves(1, 1.0));
    stage.roll_to(2.0, &[512], &[]);
    assert_eq!(stage.ahead(), Some(1.0));
    // Held down, it gives no second cue, and on its way up none.
    assert!(stage.moves(PEDAL, 0.9));
    assert!(stage.moves(PEDAL, 0.1));
    stage.roll_to(6.0, &[512], &[]);
    assert_eq!(stage.ahead(), Some(1.0));
    assert!(stage.moves(PEDAL, 0.9));
    stage.roll_to(8.0, &[512], &[]);
    assert_eq!(stage.ahead(), Some(2.0));
}

#[test]
fn the_cue_parameter_cues_as_it_goes_on() {
    let mut stage = Stage::new(settings());
    stage.roll_to(1.0, &[512], &[]);
    stage.controls.cue = true;
    stage.roll_to(4.0, &[512], &[]);
    assert_eq!(stage.ahead(), Some(1.0));
    stage.controls.cue = false;
    stage.roll_to(7.0, &[512], &[]);
    assert_eq!(stage.ahead(), Some(1.0));
}

#[test]
fn a_loop_of_the_host_keeps_the_offset_and_a_new_start_begins_anew() {
    let mut stage = Stage::new(settings());
    stage.roll_to(8.0, &[512], &[1.0, 4.0]);
    assert_eq!(stage.ahead(), Some(2.0));
    stage.frame = (2.0 * FRAMES_A_BEAT) as u64;
    stage.roll_to(5.0, &[512], &[]);
    assert_eq!(stage.ahead(), Some(2.0));
    stage.block(false, 512, None);
    stage.frame = 0;
    stage.roll_to(5.0, &[512], &[]);
    assert_eq!(stage.ahead(), Some(0.0));
}

#[test]
fn a_project_opened_on_cue_begins_before_the_first_cue_wherever_the_song_starts() {
    let mut stage = Stage::new(settings());
    // An engine that no block has told anything yet.
    let phrase = stage.engine.process().phrase().clone();
    stage.engine = Engine::new(RATE);
    stage.engine.restore(&phrase, Anchor::Song(0.0));
    // Counted, several dwells would be over by here.
    stage.frame = (33.0 * FRAMES_A_BEAT) as u64;
    stage.roll_to(35.0, &[512], &[]);
    assert_eq!(stage.ahead(), Some(0.0));
}

#[test]
fn with_stages_counted_a_cue_changes_nothing() {
    let mut counted = settings();
    counted.motion.advance = Advance::Counted;
    let mut cued = Stage::new(counted);
    cued.roll_to(20.0, &[512], &[1.0, 5.0, 9.0]);
    let mut uncued = Stage::new(counted);
    uncued.roll_to(20.0, &[512], &[]);
    assert_eq!(cued.heard, uncued.heard);
}

/// Dwells of two cycles of 1.5 beats: counted, the second offset begins at 3 and the third at 6.
#[test]
fn a_place_in_the_form_is_where_the_copy_would_stand_as_it_does() {
    let mut stage = Stage::new(settings());
    stage.roll_to(20.0, &[512], &[]);
    let place = stage.engine.process().voices().place_in_form(20.0);
    assert!((2.9..3.0).contains(&place), "{place}");
    // Cued, the copy moves at 21.
    stage.roll_to(22.0, &[512], &[20.2]);
    assert_eq!(stage.engine.process().voices().place_in_form(22.0), 4.0);
    let place = stage.engine.process().voices().place_in_form(90.0);
    assert!((5.9..6.0).contains(&place), "{place}");
}

#[test]
fn from_counted_to_on_cue_it_goes_on_from_where_it_stands() {
    let mut counted = settings();
    counted.motion.advance = Advance::Counted;
    let mut stage = Stage::new(counted);
    // Two jumps, after two cycles each.
    stage.roll_to(7.0, &[512], &[]);
    assert_eq!(stage.ahead(), Some(2.0));
    stage.controls.settings.motion.advance = Advance::OnCue;
    stage.roll_to(30.0, &[512], &[]);
    assert_eq!(stage.ahead(), Some(2.0));
    stage.roll_to(33.0, &[512], &[30.5]);
    assert_eq!(stage.ahead(), Some(3.0));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, ..ProptestConfig::default() })]

    /// A performance with its cues at the same moments is the same, however it is cut into blocks.
    #[test]
    fn blocks_are_not_heard_on_cue_either(
        cues in proptest::collection::vec(0u32..24, 0..8),
        lengths in proptest::collection::vec(1u32..3000, 1..6),
        motion in proptest::sample::select(vec![Motion::Drift, Motion::Jump, Motion::BuildUp]),
    ) {
        let mut settings = settings();
        settings.motion.motion = motion;
        settings.motion.drift = 1;
        let cues: Vec<Beats> = cues.into_iter().map(|cue| f64::from(cue) + 0.125).collect();
        let perform = |lengths: &[u32]| {
            let mut stage = Stage::new(settings);
            stage.roll_to(24.0, lengths, &cues);
            stage.heard
        };
        prop_assert_eq!(perform(&[512]), perform(&lengths));
    }
}

#[test]
fn a_cue_in_a_loop_no_longer_than_a_cycle_is_taken() {
    let mut stage = Stage::new(settings());
    stage.roll_to(3.0, &[500], &[]);
    // The host loops one cycle, from 1.5 to 3.
    stage.frame = (1.5 * FRAMES_A_BEAT) as u64;
    stage.roll_to(3.0, &[500], &[2.2]);
    stage.frame = (1.5 * FRAMES_A_BEAT) as u64;
    stage.roll_to(2.0, &[500], &[]);
    assert_eq!(stage.ahead(), Some(1.0));
}

#[test]
fn a_cue_shortly_before_a_loop_turns_is_taken_at_the_next_cycle_in_it() {
    let mut stage = Stage::new(settings());
    stage.roll_to(4.0, &[500], &[3.5]);
    stage.frame = (2.0 * FRAMES_A_BEAT) as u64;
    stage.roll_to(2.5, &[500], &[]);
    assert_eq!(stage.ahead(), Some(0.0));
    stage.roll_to(3.5, &[500], &[]);
    assert_eq!(stage.ahead(), Some(1.0));
}

#[test]
fn out_of_the_way_the_cue_key_passes_like_any_other() {
    let mut stage = Stage::new(settings());
    stage.controls.bypass = true;
    stage.roll_to(4.0, &[512], &[1.0]);
    let struck =
        |message: &Message| matches!(message, Message::NoteOn { key, .. } if *key == cue_key());
    assert!(stage.heard.iter().any(|(_, message)| struck(message)));
    assert!(!stage.moves(PEDAL, 0.9));
}
