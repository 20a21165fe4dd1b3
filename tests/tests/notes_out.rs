//! Notes out: channels, ends, and everything that is played through.

mod common;

use common::plugin;
use procession_core::phrase::Phrase;
use procession_tests::heard::Recording;
use procession_tests::host::{
    Address, Block, Buses, Error, Event, Expression, Setup, Timed, Transport,
};
use procession_tests::session::Session;
use procession_tests::staging::{ByHand, held, listening, play_live, project, sixteenths};

type Outcome = Result<(), Error>;

/// Notes that last: at every moment something sounds.
fn legato() -> Phrase {
    sixteenths("D4 - - - F4 - - -")
}

fn with(copies: &'static str) -> Result<Session, Error> {
    held(plugin()?, &legato(), &[("copies", copies)])
}

/// Frames at which notes end.
fn ends(recording: &Recording) -> Vec<u64> {
    let notes = recording.notes();
    notes
        .iter()
        .filter_map(|note| note.end.map(|end| end.frame))
        .collect()
}

fn is_on(event: &Event) -> bool {
    matches!(event, Event::NoteOn { .. })
}

fn is_off(event: &Event) -> bool {
    matches!(event, Event::NoteOff { .. })
}

#[test]
fn the_steady_voice_is_on_channel_1_copy_k_on_k_plus_1_and_never_on_10() -> Outcome {
    let mut session = with("8")?;
    session.run_to(4.0)?;
    let recording = session.recording();
    for channel in 1..=16 {
        let notes = recording.channel(channel).notes().len();
        assert_eq!(notes > 0, channel <= 9, "channel {channel}: {notes}");
    }
    Ok(())
}

#[test]
fn on_one_channel_a_key_struck_by_two_voices_ends_when_the_last_one_ends() -> Outcome {
    let settings = [
        ("channels", "All on one"),
        ("copies", "1"),
        ("copy1_offset", "-2 steps"),
        ("motion", "Jump"),
        ("dwell", "64"),
    ];
    let mut session = held(plugin()?, &sixteenths("D4 - - - . . . ."), &settings)?;
    session.run_to(3.9)?;
    let recording = session.recording();
    let sixteenth = 6_000;
    // Struck at 0 by the steady voice and at 2 by the copy behind it, which holds it until 6. The
    // copy enters in the middle of a note, which is not struck.
    let round = |start: u64| {
        [
            (start, true),
            (start + 2 * sixteenth, false),
            (start + 2 * sixteenth, true),
            (start + 6 * sixteenth, false),
        ]
    };
    let heard: Vec<(u64, bool)> = recording
        .events()
        .iter()
        .filter(|heard| is_on(&heard.event) || is_off(&heard.event))
        .map(|heard| (heard.frame, is_on(&heard.event)))
        .collect();
    let expected = [round(0), round(8 * sixteenth)].concat();
    assert_eq!(heard, expected);
    assert_eq!(recording.channel(1).notes().len(), 4);
    Ok(())
}

#[test]
fn in_unison_on_one_channel_every_stroke_is_an_off_before_an_on() -> Outcome {
    let settings = [("channels", "All on one"), ("copies", "8")];
    let mut session = held(plugin()?, &sixteenths("D4 D4 D4 F4"), &settings)?;
    session.automate(4.0, "hold", "Off")?;
    session.run_to(5.0)?;
    let recording = session.recording();
    recording.assert_no_note_hangs();
    let mut sounding = [false; 128];
    for heard in recording.events() {
        match heard.event {
            Event::NoteOn { note, .. } => {
                let key = usize::from(note.key.unwrap_or_default());
                assert!(!sounding[key], "struck while it sounds: {heard:?}");
                sounding[key] = true;
            }
            Event::NoteOff { note, .. } => {
                let key = usize::from(note.key.unwrap_or_default());
                assert!(sounding[key], "ends while silent: {heard:?}");
                sounding[key] = false;
            }
            _ => {}
        }
    }
    // Nine voices strike together: that is one stroke.
    assert_eq!(recording.notes().len(), 4 * 4);
    Ok(())
}

#[test]
fn on_one_channel_a_soft_copy_in_unison_does_not_duck_the_steady_voice() -> Outcome {
    let alone = [("channels", "All on one"), ("copies", "0")];
    let doubled = [
        ("channels", "All on one"),
        ("copies", "1"),
        ("copy1_level", "20 %"),
    ];
    let mut strokes = Vec::new();
    for settings in [&alone[..], &doubled[..]] {
        let mut session = held(plugin()?, &sixteenths("D4 F4 . A4"), settings)?;
        session.run_to(7.9)?;
        let notes = session.recording().notes();
        let of = |note: &procession_tests::heard::HeardNote| {
            let end = note.end.map(|end| end.frame);
            (note.start.frame, end, note.key, note.velocity)
        };
        strokes.push(notes.iter().map(of).collect::<Vec<_>>());
    }
    assert_eq!(strokes[0].len(), 3 * 8);
    assert_eq!(strokes[0], strokes[1]);
    Ok(())
}

#[test]
fn width_spreads_the_channels_from_left_to_right_by_controller_10() -> Outcome {
    let pans = |copies: &'static str, width: &str| -> Result<Vec<Vec<u8>>, Error> {
        let settings = [("copies", copies), ("width", width)];
        let mut session = held(plugin()?, &legato(), &settings)?;
        session.run_to(1.0)?;
        let recording = session.recording();
        let values = |channel| {
            let told = recording.controller(channel, 10);
            told.iter().map(|(_, value)| *value).collect()
        };
        Ok((1..=9).map(values).collect())
    };
    // Once each, before the first note; 64 is the middle (General MIDI).
    let of = |values: &[u8]| -> Vec<Vec<u8>> {
        let told = values.iter().map(|value| vec![*value]);
        let silent = std::iter::repeat_n(Vec::new(), 9 - values.len());
        told.chain(silent).collect()
    };
    assert_eq!(pans("1", "100 %")?, of(&[1, 127]));
    assert_eq!(pans("2", "100 %")?, of(&[1, 64, 127]));
    assert_eq!(pans("2", "0 %")?, of(&[64, 64, 64]));
    assert_eq!(pans("4", "50 %")?.concat(), [33, 48, 64, 80, 96]);
    Ok(())
}

#[test]
fn width_by_automation_moves_the_channels_and_on_one_channel_it_does_nothing() -> Outcome {
    let mut session = with("1")?;
    session.automate(1.0, "width", "100 %")?;
    session.run_to(2.0)?;
    let told = session.recording().controller(2, 10);
    assert_eq!(told.len(), 2, "{told:?}");
    assert!((told[1].0 - 1.0).abs() < 1e-4, "{told:?}");
    assert_eq!(told[1].1, 127);

    let settings = [("channels", "All on one")];
    let mut session = held(plugin()?, &legato(), &settings)?;
    session.automate(1.0, "width", "100 %")?;
    session.run_to(2.0)?;
    for channel in 1..=16 {
        assert!(session.recording().controller(channel, 10).is_empty());
    }
    Ok(())
}

/// A pedal, a bend, a pressure, a program, as they come from a keyboard on channel 1.
fn gestures() -> [Event; 4] {
    [
        Event::controller(0, 64, 127),
        Event::pitch_bend(0, 10_000),
        Event::pressure(0, 77),
        Event::program(0, 11),
    ]
}

fn on_channel(event: Event, channel: u8) -> Event {
    match event {
        Event::Midi([status, first, second]) => {
            Event::Midi([status & 0xF0 | channel, first, second])
        }
        other => other,
    }
}

#[test]
fn controllers_bend_pressure_and_programs_go_to_every_channel_in_use() -> Outcome {
    let mut session = with("2")?;
    session.run_to(0.1)?;
    let mut hand = ByHand::new(session.into_plugin());
    let mut block = Block::of(64).transport(Transport::rolling(120.0).at(0.1));
    for (frame, gesture) in gestures().into_iter().enumerate() {
        block = block.event(10 * frame as u32 + 3, gesture);
    }
    let heard = hand.block(&block)?;
    let expected: Vec<Timed> = gestures()
        .into_iter()
        .zip([3, 13, 23, 33])
        .flat_map(|(gesture, frame)| {
            (0..3).map(move |channel| on_channel(gesture, channel).at(frame))
        })
        .collect();
    assert_eq!(heard, expected);
    Ok(())
}

#[test]
fn a_controller_played_on_a_channel_of_its_own_goes_there_too() -> Outcome {
    let mut session = with("1")?;
    session.run_to(0.1)?;
    let mut hand = ByHand::new(session.into_plugin());
    let block = Block::of(64)
        .transport(Transport::rolling(120.0).at(0.1))
        .event(5, Event::controller(12, 1, 99));
    let heard = hand.block(&block)?;
    let expected = [12, 0, 1].map(|channel| Event::controller(channel, 1, 99).at(5));
    assert_eq!(heard, expected);
    Ok(())
}

/// A pedal, a bend, a pressure of channel and key, the modulation wheel and expression, as they were
/// last told on a channel (1 ..= 16). What was never told is at rest.
fn gestures_on(recording: &Recording, channel: u8) -> [u16; 6] {
    let mut stand = [0, 8192, 0, 0, 0, 127];
    for heard in recording.events() {
        let (status, first, second) = match heard.event {
            Event::Midi([status, first, second]) if status & 15 == channel - 1 => {
                (status & 0xF0, first, u16::from(second))
            }
            Event::Expression {
                note,
                kind: Expression::Pressure,
                value,
            } if note.channel == Some(u16::from(channel) - 1) => {
                stand[3] = (value * 127.0).round() as u16;
                continue;
            }
            _ => continue,
        };
        match (status, first) {
            (0xB0, 64) => stand[0] = second,
            (0xE0, low) => stand[1] = u16::from(low) | second << 7,
            (0xD0, pressure) => stand[2] = u16::from(pressure),
            (0xA0, _) => stand[3] = second,
            (0xB0, 1) => stand[4] = second,
            (0xB0, 11) => stand[5] = second,
            _ => {}
        }
    }
    stand
}

const AT_REST: [u16; 6] = [0, 8192, 0, 0, 0, 127];

#[test]
fn what_copies_were_given_by_pedal_bend_and_pressure_is_taken_back_when_they_fall_silent() -> Outcome
{
    type Ends = fn(&mut Session) -> Outcome;
    let endings: [(&str, Ends, std::ops::RangeInclusive<u8>); 5] = [
        ("hold off", |on| on.automate(1.5, "hold", "Off"), 2..=4),
        ("bypass", |on| on.automate(1.5, "bypass", "On"), 2..=4),
        ("fewer copies", |on| on.automate(1.5, "copies", "1"), 3..=4),
        (
            "one channel",
            |on| on.automate(1.5, "channels", "All on one"),
            2..=4,
        ),
        (
            "stop",
            |on| {
                on.run_to(1.5)?;
                on.stop();
                Ok(())
            },
            2..=4,
        ),
    ];
    for (name, ends, silent) in endings {
        for room in [3, 1_000] {
            let mut session = with("3")?;
            let hand = [
                Event::controller(0, 64, 127),
                Event::pitch_bend(0, 10_000),
                Event::pressure(0, 77),
                Event::Midi([0xA0, 62, 50]),
                Event::controller(0, 1, 99),
                Event::controller(0, 11, 40),
            ];
            hand.into_iter().for_each(|event| session.event(1.0, event));
            session.run_to(1.4)?;
            let held = [127, 10_000, 77, 50, 99, 40];
            for channel in 1..=4 {
                assert_eq!(gestures_on(&session.recording(), channel), held, "{name}");
            }
            session.plugin().audio().set_room(room);
            ends(&mut session)?;
            session.run(1.0)?;
            let recording = session.recording();
            for channel in silent.clone() {
                let stand = gestures_on(&recording, channel);
                assert_eq!(stand, AT_REST, "{name}, channel {channel}, room {room}");
            }
            // The hand has let go of nothing on its own channel.
            assert_eq!(gestures_on(&recording, 1), held, "{name}, room {room}");
        }
    }
    Ok(())
}

#[test]
fn copies_begin_with_the_expression_the_volume_and_the_program_in_force() -> Outcome {
    let mut session = listening(plugin()?, &[("copies", "2")])?;
    for event in [
        Event::controller(0, 11, 40),
        Event::controller(0, 7, 90),
        Event::program(0, 11),
        Event::controller(0, 64, 127),
    ] {
        session.event(0.5, event);
    }
    session.event(0.7, Event::controller(0, 64, 0));
    play_live(&mut session, 0.0, &legato());
    play_live(&mut session, 2.0, &legato());
    session.automate(4.0, "hold", "On")?;
    session.run_to(7.0)?;
    let recording = session.recording();
    for channel in 1..=2u8 {
        let is_here = |event: &Event| match event {
            Event::Midi([status, first, _]) => {
                status & 15 == channel && (status & 0xF0 != 0xB0 || *first != 10)
            }
            Event::NoteOn { note, .. } => note.channel == Some(u16::from(channel)),
            _ => false,
        };
        let heard: Vec<Event> = recording.events().iter().map(|heard| heard.event).collect();
        let first: Vec<Event> = heard.into_iter().filter(is_here).take(4).collect();
        let told = [
            Event::controller(channel, 7, 90),
            Event::controller(channel, 11, 40),
            Event::program(channel, 11),
        ];
        assert_eq!(first[..3], told, "channel {channel}");
        assert!(is_on(&first[3]), "{first:?}");
    }
    Ok(())
}

#[test]
fn while_not_holding_everything_goes_through_as_it_was() -> Outcome {
    let mut hand = ByHand::new(listening(plugin()?, &[])?.into_plugin());
    let events = [
        Event::note_on(4, 60, 0.5),
        Event::controller(4, 1, 3),
        Event::pitch_bend(4, 0),
        Event::program(4, 9),
        Event::pressure(4, 127),
        Event::note_off(4, 60),
    ];
    let block = events
        .iter()
        .zip([0, 1, 1, 31, 62, 63])
        .fold(Block::of(64), |block, (event, frame)| {
            block.event(frame, *event)
        });
    let heard = hand.block(&block)?;
    let without_number = |timed: &Timed| match timed.event {
        Event::NoteOn { note, velocity } => (
            timed.frame,
            Event::NoteOn {
                note: Address { id: None, ..note },
                velocity,
            },
        ),
        Event::NoteOff { note, velocity } => (
            timed.frame,
            Event::NoteOff {
                note: Address { id: None, ..note },
                velocity,
            },
        ),
        other => (timed.frame, other),
    };
    let heard: Vec<_> = heard.iter().map(without_number).collect();
    let played: Vec<_> = block.events().iter().map(without_number).collect();
    assert_eq!(heard, played);
    Ok(())
}

#[test]
fn while_holding_played_notes_go_through_only_if_play_through_is_on() -> Outcome {
    for (thru, expected) in [("Off", 0), ("On", 1)] {
        let settings = [("copies", "0"), ("thru", thru)];
        let mut session = held(plugin()?, &legato(), &settings)?;
        session.note(0.5, 0.25, 90, 0.7);
        session.run_to(2.0)?;
        let keys = session.recording().all().keys();
        let through = keys.iter().filter(|key| **key == 90).count();
        assert_eq!(through, expected, "{thru}");
    }
    Ok(())
}

#[test]
fn a_key_that_went_through_ends_though_hold_or_play_through_changed_meanwhile() -> Outcome {
    let mut session = listening(plugin()?, &[("copies", "0")])?;
    session.note(0.0, 3.0, 90, 0.7);
    session.automate(1.0, "hold", "On")?;
    session.automate(2.0, "thru", "On")?;
    session.note(2.2, 2.0, 91, 0.7);
    session.automate(2.5, "thru", "Off")?;
    session.automate(5.0, "hold", "Off")?;
    session.run_to(6.0)?;
    session.recording().assert_no_note_hangs();
    Ok(())
}

#[test]
fn bypass_ends_what_sounds_at_once_and_lets_everything_through() -> Outcome {
    let mut session = with("3")?;
    session.automate(0.3, "bypass", "On")?;
    session.note(0.5, 0.25, 90, 0.7);
    session.automate(1.5, "bypass", "Off")?;
    session.run_to(2.0)?;
    let recording = session.recording();
    let at = |beats: f64| (beats * 24_000.0) as u64;
    assert_eq!(ends(&recording)[..4], [at(0.3); 4]);
    let bypassed = recording.frames(at(0.3), at(1.5)).notes();
    let keys: Vec<u16> = bypassed.iter().map(|note| note.key).collect();
    assert_eq!(keys, [90]);
    session.automate(3.0, "bypass", "On")?;
    session.run_to(4.0)?;
    session.recording().assert_no_note_hangs();
    Ok(())
}

#[test]
fn audio_passes_whether_bypassed_or_not() -> Outcome {
    let mut session = with("1")?;
    for bypass in ["Off", "On"] {
        session.plugin().set("bypass", bypass)?;
        session.plugin().audio().input()[0][7] = 0.25;
        session.plugin().audio().input()[1][8] = -0.5;
        session.run_frames(512)?;
        let output = session.plugin().audio().output();
        assert_eq!((output[0][7], output[1][8]), (0.25, -0.5), "{bypass}");
        assert_eq!((output[0][8], output[1][7]), (0.0, 0.0), "{bypass}");
    }
    Ok(())
}

#[test]
fn fewer_copies_end_their_notes_at_once_and_the_others_sound_on() -> Outcome {
    let mut session = with("3")?;
    session.automate(0.3, "copies", "1")?;
    session.run_to(0.9)?;
    let recording = session.recording();
    let ended: Vec<(u16, Option<u64>)> = recording
        .notes()
        .iter()
        .map(|note| (note.channel, note.end.map(|end| end.frame)))
        .collect();
    let at = Some(7_200);
    assert_eq!(ended, [(1, None), (2, None), (3, at), (4, at)]);
    Ok(())
}

#[test]
fn hold_off_ends_every_note_on_its_very_sample() -> Outcome {
    let mut session = with("8")?;
    session.automate(0.3, "hold", "Off")?;
    session.run_to(2.0)?;
    session.recording().assert_no_note_hangs();
    assert_eq!(ends(&session.recording()), [7_200; 9]);
    Ok(())
}

/// Frames of the offs, if all of them come before anything else and the rest is none.
#[track_caller]
fn assert_offs_come_first(events: &[Timed], offs: usize) {
    let begin = events.iter().take_while(|timed| is_off(&timed.event));
    assert!(begin.clone().all(|timed| timed.frame == 0), "{events:?}");
    assert_eq!(begin.count(), offs, "{events:?}");
    let all = events.iter().filter(|timed| is_off(&timed.event)).count();
    assert_eq!(all, offs, "{events:?}");
}

#[test]
fn after_a_reset_the_ends_come_first_thing() -> Outcome {
    let mut session = with("2")?;
    session.run_to(0.3)?;
    let mut hand = ByHand::new(session.into_plugin());
    hand.plugin.reset();
    let heard = hand.block(&Block::of(64).transport(Transport::rolling(120.0).at(0.3)))?;
    assert_offs_come_first(&heard, 3);
    Ok(())
}

#[test]
fn after_deactivation_the_ends_come_first_thing_and_the_phrase_goes_on() -> Outcome {
    for rate in [48_000.0, 44_100.0] {
        let mut session = with("2")?;
        session.run_to(0.3)?;
        let plugin = session
            .into_plugin()
            .stop()
            .deactivate()
            .activate(Setup {
                sample_rate: rate,
                ..Setup::default()
            })?
            .start()?;
        let mut hand = ByHand::new(plugin);
        let heard = hand.block(&Block::of(64).transport(Transport::rolling(120.0).at(0.99)))?;
        assert_offs_come_first(&heard, 3);
        // F4 lies on beat 1, a hundredth of a beat away.
        let heard = hand.block(
            &Block::of(512).transport(Transport::rolling(120.0).at(0.99 + 64.0 * 2.0 / rate)),
        )?;
        let on = heard.iter().find(|timed| is_on(&timed.event));
        let frames = (0.01 * rate / 2.0).round() as u32 - 64;
        let found = on.map(|timed| timed.frame);
        assert!(
            found.is_some_and(|frame| frame.abs_diff(frames) <= 1),
            "{found:?}"
        );
    }
    Ok(())
}

#[test]
fn a_project_loaded_while_playing_ends_what_sounds_first_thing() -> Outcome {
    let mut session = with("2")?;
    session.run_to(0.3)?;
    let mut hand = ByHand::new(session.into_plugin());
    let other = project(&sixteenths("C3 - - - - - - -"), 0.0, true);
    hand.plugin.load(&other)?;
    let heard = hand.block(&Block::of(64).transport(Transport::rolling(120.0).at(0.3)))?;
    assert_offs_come_first(&heard, 3);
    Ok(())
}

#[test]
fn a_list_with_room_for_three_events_a_block_loses_no_end_and_keeps_the_order() -> Outcome {
    let mut session = held(plugin()?, &sixteenths("D4+F4+A4 . . ."), &[("copies", "8")])?;
    session.plugin().audio().set_room(3);
    session.run_to(1.0)?;
    session.automate(4.0, "hold", "Off")?;
    session.run_to(8.0)?;
    let recording = session.recording();
    recording.assert_no_note_hangs();
    // Four strokes of three keys in nine voices: every one of them, in the end.
    assert_eq!(recording.notes().len(), 4 * 3 * 9);
    Ok(())
}

#[test]
fn a_list_with_no_room_at_all_for_a_while_hangs_no_note() -> Outcome {
    let settings = [("copies", "8"), ("dwell", "1"), ("drift", "1")];
    let mut session = held(plugin()?, &sixteenths("D4 F4 A4 C5"), &settings)?;
    session.run_to(1.1)?;
    session.plugin().audio().set_room(0);
    // Some 9000 notes, far more than may wait.
    session.run_to(260.0)?;
    session.plugin().audio().set_room(100);
    session.automate(261.0, "hold", "Off")?;
    session.run_to(270.0)?;
    let recording = session.recording();
    recording.assert_no_note_hangs();
    assert!(recording.notes().len() > 1_000);
    Ok(())
}

#[test]
fn what_is_played_through_a_full_list_hangs_no_note() -> Outcome {
    let mut session = listening(plugin()?, &[])?;
    session.plugin().audio().set_room(0);
    for index in 0..9_000u16 {
        let frame = u64::from(index) * 40;
        session.event_in(frame, Event::note_on(index % 16, 30 + index % 60, 0.5));
        session.event_in(frame + 30, Event::note_off(index % 16, 30 + index % 60));
        session.event_in(frame + 31, Event::controller(0, 1, (index % 128) as u8));
    }
    session.run_frames(9_000 * 40 + 100)?;
    session.plugin().audio().set_room(1_000);
    session.run_frames(10_000)?;
    session.recording().assert_no_note_hangs();
    Ok(())
}

#[test]
fn controllers_that_flood_a_full_list_take_no_room_from_the_ends_of_notes() -> Outcome {
    let mut session = listening(plugin()?, &[])?;
    for key in 0..128 {
        session.event_in(0, Event::note_on(key % 16, key, 0.5));
    }
    session.run_frames(100)?;
    session.plugin().audio().set_room(0);
    for index in 0..20_000u64 {
        session.event_in(index, Event::controller(0, 1, (index % 128) as u8));
    }
    session.run_frames(20_000)?;
    for key in 0..128 {
        session.event_in(0, Event::note_off(key % 16, key));
    }
    session.run_frames(100)?;
    session.plugin().audio().set_room(10_000);
    session.run_frames(1_000)?;
    session.recording().assert_no_note_hangs();
    assert_eq!(session.recording().notes().len(), 128);
    Ok(())
}

#[test]
fn a_wildcard_note_off_ends_every_key_and_a_wildcard_note_on_begins_none() -> Outcome {
    let mut hand = ByHand::new(listening(plugin()?, &[])?.into_plugin());
    let mut block = Block::of(64);
    for (channel, key) in [(0, 60), (5, 64), (15, 127), (0, 0)] {
        block = block.event(1, Event::note_on(channel, key, 0.7));
    }
    hand.block(&block)?;
    let any = Event::NoteOn {
        note: Address::ANY,
        velocity: 0.7,
    };
    let none = hand.block(&Block::of(64).event(3, any))?;
    assert!(none.is_empty(), "{none:?}");
    // All of channel 1, then everything.
    let channel_1 = Address {
        channel: Some(0),
        ..Address::ANY
    };
    for (note, ended) in [(channel_1, 2), (Address::ANY, 2), (Address::ANY, 0)] {
        let off = Event::NoteOff {
            note,
            velocity: 0.0,
        };
        let heard = hand.block(&Block::of(64).event(9, off))?;
        assert_eq!(
            heard.iter().filter(|timed| is_off(&timed.event)).count(),
            ended
        );
    }
    hand.recording().assert_no_note_hangs();
    Ok(())
}

#[test]
fn keys_and_channels_that_do_not_exist_do_no_harm() -> Outcome {
    let mut hand = ByHand::new(listening(plugin()?, &[])?.into_plugin());
    let mut block = Block::of(64).transport(Transport::rolling(120.0));
    for (channel, key) in [(16, 60), (200, 999), (0, 128), (0, 30_000)] {
        block = block
            .event(1, Event::note_on(channel, key, 0.7))
            .event(2, Event::note_off(channel, key));
    }
    hand.block(&block)?;
    hand.recording().assert_no_note_hangs();
    Ok(())
}

#[test]
fn chokes_expressions_and_note_ends_from_the_host_leave_no_note_hanging() -> Outcome {
    let mut hand = ByHand::new(listening(plugin()?, &[])?.into_plugin());
    let note = Address {
        id: Some(77),
        ..Address::new(2, 60)
    };
    let block = Block::of(64)
        .event(
            0,
            Event::NoteOn {
                note,
                velocity: 0.7,
            },
        )
        .event(
            5,
            Event::Expression {
                note,
                kind: Expression::Tuning,
                value: 0.5,
            },
        )
        .event(7, Event::NoteEnd(note))
        .event(9, Event::Choke(note));
    hand.block(&block)?;
    hand.recording().assert_no_note_hangs();
    assert_eq!(ends(&hand.recording()), [9]);
    Ok(())
}

#[test]
fn an_expression_finds_its_note_though_notes_leave_with_numbers_of_their_own() -> Outcome {
    let mut hand = ByHand::new(listening(plugin()?, &[])?.into_plugin());
    let note = Address {
        id: Some(77),
        ..Address::new(2, 60)
    };
    let tuned = |note| Event::Expression {
        note,
        kind: Expression::Tuning,
        value: 0.5,
    };
    let strike = Event::NoteOn {
        note,
        velocity: 0.7,
    };
    let heard = hand.block(&Block::of(64).event(0, strike).event(5, tuned(note)))?;
    assert_eq!(heard[1], tuned(Address::new(2, 60)).at(5));
    Ok(())
}

#[test]
fn velocities_no_instrument_knows_are_brought_into_range() -> Outcome {
    let mut hand = ByHand::new(listening(plugin()?, &[])?.into_plugin());
    for (key, velocity) in [(60, 0.0), (61, -3.0), (62, 7.0), (63, f64::NAN), (64, 1e-9)] {
        hand.block(&Block::of(64).event(3, Event::note_on(0, key, velocity)))?;
        hand.block(&Block::of(64).event(3, Event::note_off(0, key)))?;
    }
    let recording = hand.recording();
    recording.assert_no_note_hangs();
    for note in recording.notes() {
        let audible = note.velocity > 0.0 && note.velocity <= 1.0;
        assert!(audible, "{note:?}");
    }
    Ok(())
}

/// The framework skips the plug-in if a host hands over no audio where stereo was declared; so
/// nothing can sound then, but nothing may be lost for good either.
#[test]
fn when_a_host_hands_over_no_audio_for_a_while_the_ends_come_when_it_does_again() -> Outcome {
    let mut session = with("2")?;
    session.run_to(0.3)?;
    let without = Setup {
        buses: Buses::None,
        ..Setup::default()
    };
    let silent = session.into_plugin().stop().deactivate();
    let mut hand = ByHand::new(silent.activate(without)?.start()?);
    let rolling = |beats: f64| Block::of(64).transport(Transport::rolling(120.0).at(beats));
    assert!(hand.block(&rolling(0.3))?.is_empty());
    let back = hand.plugin.stop().deactivate();
    let mut hand = ByHand::new(back.activate(Setup::default())?.start()?);
    assert_offs_come_first(&hand.block(&rolling(0.5))?, 3);
    Ok(())
}

#[test]
fn every_note_has_a_number_of_its_own_and_its_end_carries_it() -> Outcome {
    let mut session = with("8")?;
    play_live(&mut session, 0.0, &legato());
    session.automate(4.0, "hold", "Off")?;
    session.run_to(5.0)?;
    let mut begun = std::collections::HashSet::new();
    for heard in session.recording().events() {
        match heard.event {
            Event::NoteOn { note, .. } => assert!(begun.insert(note.id), "{heard:?}"),
            Event::NoteOff { note, .. } => assert!(begun.contains(&note.id), "{heard:?}"),
            _ => {}
        }
    }
    assert!(!begun.contains(&None));
    Ok(())
}
