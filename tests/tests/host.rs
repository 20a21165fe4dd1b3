//! The test host itself, tried on a plug-in that hands on what it gets: what these tests show,
//! the others may rely on.

use procession_tests::host::{
    Address, Block, Buses, Error, Event, Expression, Plugin, Processing, Setup, Transport,
    parameter_number,
};
use procession_tests::pass_through;
use procession_tests::session::{Blocks, Session};

type Outcome = Result<(), Error>;

fn pass_through(setup: Setup) -> Result<Plugin<Processing>, Error> {
    pass_through::library()?
        .first_plugin()?
        .activate(setup)?
        .start()
}

fn session() -> Result<Session, Error> {
    Ok(Session::new(pass_through(Setup::default())?))
}

#[test]
fn every_kind_of_event_reaches_the_plugin_and_comes_back_as_it_was() -> Outcome {
    let note = Address {
        channel: None,
        key: Some(60),
        id: Some(7),
    };
    let events = [
        Event::NoteOn {
            note,
            velocity: 0.5,
        },
        Event::NoteOff {
            note,
            velocity: 0.25,
        },
        Event::Choke(Address::ANY),
        Event::NoteEnd(Address::new(200, 999)),
        Event::Expression {
            note,
            kind: Expression::Pan,
            value: 0.1,
        },
        Event::controller(3, 10, 127),
        Event::pitch_bend(15, 8192),
        Event::program(0, 5),
        Event::pressure(9, 64),
        Event::Value {
            parameter: 1,
            value: 2.0,
        },
        Event::Modulation {
            parameter: 1,
            amount: -1.0,
        },
        Event::Gesture {
            parameter: 1,
            begins: true,
        },
        Event::Gesture {
            parameter: 1,
            begins: false,
        },
    ];
    let block = events
        .iter()
        .zip([0, 0, 1, 31, 32, 32, 33, 62, 63, 63, 63, 63, 63])
        .fold(Block::of(64), |block, (event, frame)| {
            block.event(frame, *event)
        });
    let mut plugin = pass_through(Setup::default())?;
    assert_eq!(plugin.process(&block)?, block.events());
    assert_eq!(Event::pitch_bend(15, 8192), Event::Midi([0xEF, 0, 64]));
    Ok(())
}

#[test]
fn a_full_list_turns_the_plugin_away() -> Outcome {
    let mut plugin = pass_through(Setup::default())?;
    plugin.audio().set_room(1);
    let block = Block::of(8)
        .event(0, Event::note_on(0, 60, 0.5))
        .event(1, Event::note_off(0, 60));
    assert_eq!(plugin.process(&block)?, &block.events()[..1]);
    assert_eq!(plugin.audio().refused(), 1);
    Ok(())
}

#[test]
fn events_out_of_order_or_outside_the_block_are_found_out() -> Outcome {
    let mut plugin = pass_through(Setup::default())?;
    let disorder = Block::of(64)
        .event(9, Event::note_on(0, 60, 0.5))
        .event(8, Event::note_off(0, 60));
    let message = plugin.process(&disorder).unwrap_err().to_string();
    assert!(message.contains("out of order"), "{message}");
    let outside = Block::of(64).event(64, Event::note_on(0, 60, 0.5));
    let message = plugin.process(&outside).unwrap_err().to_string();
    assert!(message.contains("in a block of 64 frames"), "{message}");
    Ok(())
}

#[test]
fn audio_passes_and_a_block_without_buses_still_has_its_length() -> Outcome {
    let mut plugin = pass_through(Setup::default())?;
    plugin.audio().input()[1][7] = 0.5;
    plugin.process(&Block::of(8))?;
    assert_eq!(plugin.audio().output()[1][7], 0.5);
    assert_eq!(plugin.audio().output()[0][7], 0.0);

    let mut plugin = pass_through(Setup {
        buses: Buses::None,
        ..Setup::default()
    })?;
    let block = Block::of(8).event(7, Event::note_on(0, 60, 0.5));
    assert_eq!(plugin.process(&block)?, block.events());
    Ok(())
}

#[test]
fn a_plugin_goes_through_its_stages_and_back() -> Outcome {
    let block = Block::of(8).event(7, Event::note_on(0, 60, 0.5));
    let mut plugin = pass_through(Setup::default())?;
    plugin.process(&block)?;
    plugin.reset();
    let mut plugin = plugin
        .stop()
        .deactivate()
        .activate(Setup::default())?
        .start()?;
    assert_eq!(plugin.process(&block)?, block.events());
    Ok(())
}

#[test]
fn audio_may_be_processed_on_another_thread() -> Outcome {
    let mut plugin = pass_through(Setup::default())?;
    let (main, audio) = plugin.split();
    let block = Block::of(8).event(7, Event::note_on(0, 60, 0.5));
    let heard = std::thread::scope(|scope| {
        let other = scope.spawn(|| audio.process(&block).map(<[_]>::len));
        main.run_callbacks();
        other.join().expect("the other thread does not panic")
    });
    assert_eq!(heard?, 1);
    Ok(())
}

/// Tempo changes, a loop and a seek, with a note on every sixteenth.
fn eventful(blocks: Blocks, mid_block: bool) -> Result<Vec<(u64, Event)>, Error> {
    let mut session = session()?.tempo(97.0).blocks(blocks);
    if mid_block {
        session = session.turning_mid_block();
    }
    session.tempo_at(4.0, 130.0);
    session.tempo_at(6.0, 60.0);
    session.set_loop(Some((2.0, 8.0)));
    session.seek_at(7.5, 3.0);
    for sixteenth in 0..32u16 {
        session.note(f64::from(sixteenth) * 0.25, 0.2, 60 + sixteenth, 0.7);
    }
    session.run(22.0)?;
    let recording = session.recording();
    recording.assert_no_note_hangs();
    let notes = |event: &Event| matches!(event, Event::NoteOn { .. } | Event::NoteOff { .. });
    Ok(recording
        .events()
        .iter()
        .map(|heard| (heard.frame, heard.event))
        .filter(|(_, event)| notes(event))
        .collect())
}

#[test]
fn a_session_plays_the_same_whatever_the_blocks() -> Outcome {
    let expected = eventful(Blocks::Of(512), false)?;
    // Once through 0 to 7.5, then 3 to 8, then 2 to 8, and half a loop more: 22 beats.
    assert_eq!(expected.len(), 2 * 22 * 4);
    for blocks in [
        Blocks::Of(1),
        Blocks::Of(7),
        Blocks::Pattern(vec![1, 441, 3]),
        Blocks::Random {
            seed: 5,
            longest: 3000,
        },
    ] {
        for mid_block in [false, true] {
            let heard = eventful(blocks.clone(), mid_block)?;
            assert_eq!(
                heard, expected,
                "{blocks:?}, turning mid-block: {mid_block}"
            );
        }
    }
    Ok(())
}

#[test]
fn a_loop_comes_round_and_plays_what_stands_in_it() -> Outcome {
    let mut session = session()?;
    for (beat, key) in [(0.0, 60), (1.0, 62), (2.0, 64), (3.0, 65)] {
        session.note(beat, 0.5, key, 0.7);
    }
    session.set_loop(Some((1.0, 3.0)));
    session.run(7.0)?;
    assert!((session.position() - 1.0).abs() < 1e-9);
    session
        .recording()
        .channel(1)
        .as_time_passed()
        .assert_sounds(0.5, "C4 . D4 . | E4 . D4 . | E4 . D4 . | E4 .");
    Ok(())
}

#[test]
fn a_beat_lies_where_the_tempo_puts_it() -> Outcome {
    let mut session = session()?.tempo(60.0);
    session.tempo_at(1.0, 120.0);
    session.note(0.5, 0.25, 60, 0.7);
    session.note(2.0, 0.25, 62, 0.7);
    session.run_to(3.0)?;
    let notes = session.recording().notes();
    // Half a beat at 60 is half a second; then one beat at 60, and one at 120.
    assert_eq!(notes[0].start.frame, 24_000);
    assert_eq!(notes[1].start.frame, 48_000 + 24_000);
    Ok(())
}

#[test]
fn with_the_transport_stopped_only_live_events_sound() -> Outcome {
    let mut session = session()?;
    session.note(0.0, 0.5, 60, 0.7);
    session.stop();
    session.event_in(100, Event::note_on(0, 50, 0.7));
    session.event_in(24_100, Event::note_off(0, 50));
    session.run(2.0)?;
    let notes = session.recording().notes();
    assert_eq!(notes.len(), 1);
    assert_eq!(notes[0].start.frame, 100);
    assert_eq!(session.position(), 0.0);
    Ok(())
}

#[test]
fn a_transport_rolls_on_block_by_block() {
    let bar = Transport::rolling(120.0).at(3.5).looping(0.0, 4.0);
    assert_eq!(bar.after(12_000, 48_000.0).beats, Some(0.0));
    assert_eq!(
        Transport::stopped(120.0).after(12_000, 48_000.0).beats,
        Some(0.0)
    );
}

#[test]
fn different_ids_get_different_numbers() {
    // By hand: the bytes of "hold" are 104, 111, 108, 100.
    let by_hand = ((104 * 31 + 111) * 31 + 108) * 31 + 100;
    assert_eq!(parameter_number("hold"), by_hand);
    assert!(parameter_number("copy8_octave_and_a_longer_id") < 1 << 31);
}
