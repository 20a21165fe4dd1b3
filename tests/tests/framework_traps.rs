//! What the framework is known to do to a plug-in that does not look out, one statement each.
//!
//! Others stand where they belong: tempo and loops told inside a block in `transport.rs`, absurd
//! saved values in `projects.rs`, a host without audio in `notes_out.rs`.

mod common;

use common::plugin;
use procession_tests::host::{Block, Error, Event, Timed, Transport};
use procession_tests::staging::{ByHand, held, listening, sixteenths};

type Outcome = Result<(), Error>;

fn listening_hand() -> Result<ByHand, Error> {
    Ok(ByHand::new(
        listening(plugin()?, &[("copies", "0")])?.into_plugin(),
    ))
}

fn ons(events: &[Timed]) -> Vec<(u32, u16)> {
    events
        .iter()
        .filter_map(|timed| match timed.event {
            Event::NoteOn { note, .. } => Some((timed.frame, note.key.unwrap_or(u16::MAX))),
            _ => None,
        })
        .collect()
}

/// A parameter event cuts the block; what stands before it on the same sample is handed over one
/// sample past the end of the first part.
#[test]
fn what_stands_on_the_sample_of_a_parameter_change_is_not_lost_whichever_comes_first() -> Outcome {
    for note_first in [true, false] {
        let mut hand = listening_hand()?;
        let width = hand.plugin.setting("width", "10 %")?;
        let notes = [
            Event::note_on(0, 60, 0.7),
            Event::controller(0, 1, 99),
            Event::note_on(0, 64, 0.7),
        ];
        let mut block = Block::of(128).event(5, Event::note_on(0, 50, 0.7));
        if !note_first {
            block = block.event(64, width);
        }
        for event in notes {
            block = block.event(64, event);
        }
        if note_first {
            block = block.event(64, width);
        }
        block = block.event(64, Event::note_off(0, 50));
        block = block.event(127, Event::note_on(0, 67, 0.7));
        let heard = hand.block(&block)?;
        let frames: Vec<u32> = heard.iter().map(|timed| timed.frame).collect();
        let edge = if note_first { 63 } else { 64 };
        assert_eq!(
            frames,
            [5, edge, edge, edge, 64, 127],
            "note first: {note_first}"
        );
        assert_eq!(ons(&heard).len(), 4);
    }
    Ok(())
}

#[test]
fn a_last_note_on_the_very_sample_of_hold_belongs_to_the_phrase_if_it_is_listed_before() -> Outcome
{
    for (note_first, score) in [(true, "C4 E4 . ."), (false, "C4 . . .")] {
        let mut session = listening(plugin()?, &[("copies", "0")])?;
        session.note(0.5, 0.2, 60, 0.7);
        let strike = Event::note_on(0, 64, 0.7);
        let hold = session.plugin().setting("hold", "On")?;
        let (first, second) = if note_first {
            (strike, hold)
        } else {
            (hold, strike)
        };
        session.event(0.75, first);
        session.event(0.75, second);
        session.event(0.9, Event::note_off(0, 64));
        session.run_to(3.5)?;
        let line = session.recording().channel(1).between(1.5, 3.5);
        line.assert_attacks(0.25, &[score; 2].join(" | "));
    }
    Ok(())
}

#[test]
fn events_that_a_host_lists_out_of_order_leave_in_order_and_end() -> Outcome {
    let mut hand = listening_hand()?;
    let block = Block::of(64)
        .event(40, Event::note_on(0, 60, 0.7))
        .event(10, Event::controller(0, 1, 5))
        .event(50, Event::note_on(0, 62, 0.7))
        .event(20, Event::note_off(0, 60))
        .event(5, Event::pitch_bend(0, 5))
        .event(63, Event::note_off(0, 62))
        .event(0, Event::program(0, 5));
    // The host itself complains if they come back out of order.
    let heard = hand.block(&block)?;
    assert_eq!(heard.len(), 7);
    hand.recording().assert_no_note_hangs();
    Ok(())
}

#[test]
fn events_out_of_order_do_not_put_a_held_phrase_out_of_order() -> Outcome {
    let phrase = sixteenths("D4 F4 G4 A4");
    let mut hand = ByHand::new(held(plugin()?, &phrase, &[("copies", "2")])?.into_plugin());
    let mut frames = 0u32;
    for _ in 0..20 {
        let transport = Transport::rolling(120.0).at(f64::from(frames) / 24_000.0);
        let block = Block::of(4_096)
            .transport(transport)
            .event(4_000, Event::controller(0, 1, 1))
            .event(100, Event::controller(0, 1, 2))
            .event(3_000, Event::note_on(0, 60, 0.5))
            .event(2_000, Event::note_off(0, 60))
            .event(50, Event::pressure(0, 1));
        hand.block(&block)?;
        frames += 4_096;
    }
    hand.plugin.set("hold", "Off")?;
    hand.block(&Block::of(64))?;
    hand.recording().assert_no_note_hangs();
    Ok(())
}

#[test]
fn events_beyond_the_end_of_the_block_are_played_on_its_last_sample() -> Outcome {
    let mut hand = listening_hand()?;
    let block = Block::of(64)
        .event(64, Event::note_on(0, 60, 0.7))
        .event(1_000, Event::controller(0, 1, 5))
        .event(u32::MAX, Event::note_off(0, 60));
    let heard = hand.block(&block)?;
    let frames: Vec<u32> = heard.iter().map(|timed| timed.frame).collect();
    assert_eq!(frames, [63, 63, 63]);
    hand.recording().assert_no_note_hangs();
    Ok(())
}

/// Left to itself the framework loses a parameter change at the very end of the block, and makes a
/// slice that is longer than the block of one after it.
#[test]
fn a_parameter_change_at_or_behind_the_end_of_its_block_is_taken_and_no_audio_is_written_there()
-> Outcome {
    for frame in [63, 64, 65, 4_000, u32::MAX] {
        let mut hand = listening_hand()?;
        for side in hand.plugin.audio().input() {
            side.fill(0.25);
        }
        let copies = hand.plugin.setting("copies", "5")?;
        hand.block(&Block::of(64).event(frame, copies))?;
        let five = hand.plugin.value_of("copies", "5")?;
        assert_eq!(hand.plugin.value("copies")?, five, "at {frame}");
        for side in hand.plugin.audio().output() {
            assert!(side[..64].iter().all(|sample| *sample == 0.25));
            assert!(side[64..].iter().all(|sample| *sample == 0.0));
        }
    }
    Ok(())
}

#[test]
fn a_note_behind_a_parameter_change_but_dated_before_it_is_played_with_it() -> Outcome {
    let mut hand = listening_hand()?;
    let width = hand.plugin.setting("width", "10 %")?;
    let block = Block::of(64)
        .event(40, width)
        .event(20, Event::note_on(0, 60, 0.7))
        .event(50, Event::note_off(0, 60));
    let heard = hand.block(&block)?;
    let frames: Vec<u32> = heard.iter().map(|timed| timed.frame).collect();
    assert_eq!(frames, [40, 50]);
    Ok(())
}

#[test]
fn a_transport_behind_the_end_of_its_block_waits_for_the_next() -> Outcome {
    let phrase = sixteenths("D4 F4 G4 A4");
    let mut hand = ByHand::new(held(plugin()?, &phrase, &[("copies", "0")])?.into_plugin());
    let elsewhere = Transport::rolling(120.0).at(100.0);
    let block = Block::of(64)
        .transport(Transport::rolling(120.0).at(0.0))
        .event(64, Event::Transport(elsewhere));
    assert_eq!(ons(&hand.block(&block)?), [(0, 62)]);
    Ok(())
}

/// By the host's plain values a step of a stepped parameter is 1, and Off to On as well.
#[test]
fn what_is_automated_under_a_modulation_is_there_when_the_modulation_goes() -> Outcome {
    for (name, before, amount, after) in [
        ("copies", "3", 8.0, "5"),
        ("copies", "3", -8.0, "1"),
        ("hold", "On", 1.0, "Off"),
        ("width", "90 %", 0.5, "95 %"),
        ("width", "20 %", -1.0, "0 %"),
    ] {
        for between_blocks in [false, true] {
            let mut hand = listening_hand()?;
            hand.plugin.set(name, before)?;
            let parameter = hand.plugin.parameter(name)?.number;
            let modulated = |amount| Event::Modulation { parameter, amount };
            hand.block(&Block::of(64).event(10, modulated(amount)))?;
            if between_blocks {
                hand.plugin.set(name, after)?;
            } else {
                let change = hand.plugin.setting(name, after)?;
                hand.block(&Block::of(64).event(10, change))?;
            }
            hand.block(&Block::of(64).event(10, modulated(0.0)))?;
            let (is, wanted) = (hand.plugin.value(name)?, hand.plugin.value_of(name, after)?);
            assert!((is - wanted).abs() < 1e-6, "{name} by {amount}: {is}");
        }
    }
    Ok(())
}

#[test]
fn a_modulated_parameter_is_heard_where_the_modulation_puts_it() -> Outcome {
    let phrase = sixteenths("D4 F4 G4 A4");
    let mut hand = ByHand::new(held(plugin()?, &phrase, &[("copies", "1")])?.into_plugin());
    let parameter = hand.plugin.parameter("copies")?.number;
    let amount = 2.0;
    let two = hand.plugin.setting("copies", "2")?;
    let block = Block::of(64)
        .transport(Transport::rolling(120.0).at(0.0))
        .event(0, Event::Modulation { parameter, amount })
        .event(0, two);
    // The steady voice, the two that are set, and the two that are added.
    assert_eq!(ons(&hand.block(&block)?).len(), 5);
    Ok(())
}

#[test]
fn more_events_on_one_sample_than_the_framework_sets_aside_are_spread_over_the_next() -> Outcome {
    let mut hand = listening_hand()?;
    let mut block = Block::of(64);
    for index in 0..3_000u32 {
        let (channel, key) = ((index % 16) as u16, (index % 128) as u16);
        block = block.event(9, Event::note_on(channel, key, 0.7));
        block = block.event(9, Event::note_off(channel, key));
    }
    let heard = hand.block(&block)?;
    assert_eq!(heard.len(), 6_000);
    // What stands before the first cut, on its sample, is one early: see the first statement.
    assert!(heard.iter().all(|timed| (8..15).contains(&timed.frame)));
    hand.recording().assert_no_note_hangs();
    Ok(())
}

#[test]
fn more_events_in_a_block_than_the_framework_sets_aside_all_come_through() -> Outcome {
    let mut hand = listening_hand()?;
    let mut block = Block::of(4_096);
    for index in 0..3_000u32 {
        let key = (index % 128) as u16;
        block = block
            .event(index, Event::note_on((index % 16) as u16, key, 0.7))
            .event(index + 1, Event::note_off((index % 16) as u16, key));
    }
    let heard = hand.block(&block)?;
    assert_eq!(heard.len(), 6_000);
    hand.recording().assert_no_note_hangs();
    Ok(())
}

#[test]
fn more_parameter_changes_in_a_block_than_the_framework_can_report_do_no_harm() -> Outcome {
    let phrase = sixteenths("D4 F4 G4 A4");
    let mut hand = ByHand::new(held(plugin()?, &phrase, &[("copies", "8")])?.into_plugin());
    let parameter = hand.plugin.parameter("fold_amount")?.number;
    let mut block = Block::of(4_096).transport(Transport::rolling(120.0));
    for index in 0..4_200u32 {
        let value = f64::from(index % 100) / 99.0;
        block = block.event(index * 4_096 / 4_200, Event::Value { parameter, value });
    }
    let heard = hand.block(&block)?;
    assert_eq!(ons(&heard).len(), 9);
    let value = hand.plugin.value("fold_amount")?;
    assert!(
        (value - f64::from(4_199 % 100) / 99.0).abs() < 1e-6,
        "{value}"
    );
    Ok(())
}

#[test]
fn a_host_that_stops_and_starts_processing_finds_the_phrase_again() -> Outcome {
    let phrase = sixteenths("D4 - - - F4 - - -");
    let mut session = held(plugin()?, &phrase, &[("copies", "1")])?;
    session.run_to(0.3)?;
    let plugin = session.into_plugin().stop().start()?;
    let mut hand = ByHand::new(plugin);
    let heard = hand.block(&Block::of(512).transport(Transport::rolling(120.0).at(0.99)))?;
    let offs = |timed: &&Timed| matches!(timed.event, Event::NoteOff { .. });
    assert_eq!(heard.iter().take_while(offs).count(), 2, "{heard:?}");
    assert_eq!(ons(&heard), [(240, 65), (240, 65)]);
    Ok(())
}

#[test]
fn modulation_and_gestures_from_the_host_leave_the_phrase_in_peace() -> Outcome {
    let phrase = sixteenths("D4 F4 G4 A4");
    let mut session = held(plugin()?, &phrase, &[("copies", "0")])?;
    let parameters = session.plugin().parameters();
    for (index, parameter) in parameters.iter().enumerate() {
        let at = 0.01 * index as f64;
        let parameter = parameter.number;
        for begins in [true, false] {
            session.event(at, Event::Gesture { parameter, begins });
        }
        if index % 7 == 0 {
            let amount = 0.0;
            session.event(at, Event::Modulation { parameter, amount });
        }
    }
    session.run_to(2.0)?;
    let line = session.recording().channel(1);
    line.assert_attacks(0.25, "D4 F4 G4 A4 | D4 F4 G4 A4");
    Ok(())
}

#[test]
fn values_far_out_of_range_and_no_numbers_at_all_do_no_harm() -> Outcome {
    let phrase = sixteenths("D4 F4 G4 A4");
    for value in [-1e30, 1e30, f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 0.5] {
        let mut session = held(plugin()?, &phrase, &[("copies", "3")])?;
        for (index, parameter) in session.plugin().parameters().iter().enumerate() {
            let parameter = parameter.number;
            session.event(0.03 * index as f64, Event::Value { parameter, value });
        }
        session.event(
            0.5,
            Event::Value {
                parameter: 12_345,
                value,
            },
        );
        session.run_to(8.0)?;
        session.plugin().set("bypass", "On")?;
        session.run(0.5)?;
        session.recording().assert_no_note_hangs();
        // The state can still be saved, and opened again.
        let saved = session.plugin().save()?;
        plugin()?.load(&saved)?;
    }
    Ok(())
}
