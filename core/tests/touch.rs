//! What a touch may do to what is written, and what it may not.

#![allow(clippy::unwrap_used, reason = "a test")]

mod common;

use procession_core::count_in::CountIn;
use procession_core::ledger::Message;
use procession_core::metre::Metre;
use procession_core::part::Part;
use procession_core::player::{Casting, Event, Player};
use procession_core::process::{Process, VoiceNote};
use procession_core::settings::{Settings, TouchSettings};
use procession_core::time::{Block, Span};
use procession_core::touch::{Touch, perform};
use procession_core::unrolling::unroll;
use proptest::prelude::*;

fn touch() -> impl Strategy<Value = TouchSettings> {
    (100u32..=350, 0u32..=25, 0u32..=25, 0u32..=100).prop_map(
        |(swing, timing, velocity, accents)| {
            let of = |percent: u32| f64::from(percent) / 100.0;
            TouchSettings {
                swing: of(swing),
                timing: of(timing),
                velocity: of(velocity),
                accents: of(accents),
            }
        },
    )
}

fn played(process: &Process, start: f64, end: f64, opens: bool) -> Vec<VoiceNote> {
    perform(process, Span::new(start, end), opens).collect()
}

proptest! {
    /// What is heard of a stretch does not depend on where one began to listen before it.
    #[test]
    fn however_time_is_cut_the_same_is_played(
        phrase in common::phrase(),
        settings in common::settings(),
        touch in touch(),
        from in 0.0f64..40.0,
        cuts in proptest::collection::vec(0.01f64..3.0, 1..12),
    ) {
        let process = Process::new(phrase, Settings { touch, ..settings }, 3.0);
        let from = 3.0 + from;
        let whole_to = from + cuts.iter().sum::<f64>();
        let whole = played(&process, from, whole_to, false);
        prop_assert!(whole.is_sorted_by(|a, b| a.on <= b.on), "in order");
        let (mut at, mut pieced) = (from, Vec::new());
        for cut in &cuts {
            let next = if at + cut > whole_to { whole_to } else { at + cut };
            pieced.extend(played(&process, at, next, false));
            at = next;
        }
        pieced.extend(played(&process, at, whole_to, false));
        prop_assert_eq!(pieced, whole);
    }

    /// Each note of each part is played once, in the order in which it is written, and ends no
    /// earlier than it begins.
    #[test]
    fn nothing_is_lost_or_overtaken(
        phrase in common::phrase(),
        settings in common::settings(),
        touch in touch(),
    ) {
        let process = Process::new(phrase, Settings { touch, ..settings }, 3.0);
        let hand = Touch::of(&process);
        let written: Vec<VoiceNote> = unroll(&process, Span::new(3.0, 23.0)).collect();
        for part in Part::ALL {
            let own = written.iter().filter(|note| note.part == part);
            let times: Vec<f64> = own.clone().map(|note| hand.play(*note).on).collect();
            prop_assert!(times.is_sorted());
            prop_assert!(own.clone().all(|note| hand.play(*note).off >= hand.play(*note).on));
        }
        let all = played(&process, 3.0, 60.0, true);
        for note in &written {
            let own = hand.play(*note);
            let found = all.iter().filter(|other| **other == own).count();
            let alike = written.iter().filter(|other| hand.play(**other) == own).count();
            prop_assert_eq!(found, alike, "{:?}", own);
        }
    }

    /// Off, everything is as it is written, to the bit.
    #[test]
    fn off_leaves_everything_as_it_is(phrase in common::phrase(), settings in common::settings()) {
        let process = Process::new(phrase, settings, 3.0);
        let written: Vec<VoiceNote> = unroll(&process, Span::new(3.0, 23.0)).collect();
        prop_assert_eq!(played(&process, 3.0, 23.0, true), written);
    }

    /// Every note-on gets its note-off, in order of time.
    #[test]
    fn every_stroke_ends(
        phrase in common::phrase(),
        settings in common::settings(),
        touch in touch(),
        frames in 16u32..2_000,
    ) {
        let process = Process::new(phrase, Settings { touch, ..settings }, 0.0);
        let mut player = Player::default();
        let mut sounding = std::collections::BTreeMap::new();
        let mut events: Vec<Event> = Vec::new();
        for block in 0..60 {
            let start = f64::from(block * frames) * 120.0 / (60.0 * 8_000.0);
            let block = Block::new(start, 120.0, 8_000.0, frames);
            let none = CountIn {
                bars: 0,
                metre: Metre::COMMON,
                origin: 0.0,
                goes_on: false,
            };
            let first = events.len();
            player.play(&process, (none, Casting::default()), &block, 0..frames, |event| events.push(event));
            prop_assert!(events[first..].is_sorted_by_key(|event| event.frame));
        }
        player.stop(0, |event| events.push(event));
        for event in &events {
            match event.message {
                Message::NoteOn { channel, key, .. } => {
                    let before = sounding.insert((channel, key), true);
                    prop_assert!(before != Some(true), "struck again while it sounds");
                }
                Message::NoteOff { channel, key, .. } => {
                    prop_assert_eq!(sounding.insert((channel, key), false), Some(true));
                }
                _ => (),
            }
        }
        prop_assert!(sounding.values().all(|sounds| !sounds));
    }
}
