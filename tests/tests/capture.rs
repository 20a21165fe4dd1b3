//! Capture: somebody plays into the plug-in, hold is switched on, and the phrase goes on.

mod common;

use common::plugin;
use procession_core::note::{Key, Note, Velocity};
use procession_core::phrase::Phrase;
use procession_tests::heard::HeardNote;
use procession_tests::host::{Error, Event};
use procession_tests::session::{Blocks, Session};
use procession_tests::staging::{listening, play_live, project, sixteenths};

type Outcome = Result<(), Error>;

/// At 120 beats a minute and 48 kHz.
const SIXTEENTH: u64 = 6_000;

/// Only the steady voice.
const ALONE: (&str, &str) = ("copies", "0");

fn alone() -> Result<Session, Error> {
    listening(plugin()?, &[ALONE])
}

/// When and which, of what began from frame `start` on.
fn attacks_from(session: &Session, start: u64) -> Vec<(u64, u16)> {
    let notes = session.recording().channel(1).notes();
    notes
        .iter()
        .filter(|note| note.start.frame >= start)
        .map(|note| (note.start.frame, note.key))
        .collect()
}

fn let_go(session: &mut Session) -> Outcome {
    let off = session.plugin().setting("hold", "Off")?;
    session.event_in(0, off);
    session.run(1.0)?;
    session.recording().assert_no_note_hangs();
    Ok(())
}

#[test]
fn a_phrase_played_twice_goes_on_at_the_seam_without_a_gap() -> Outcome {
    let mut session = alone()?;
    play_live(&mut session, 0.0, &sixteenths("D4 F4 G4 A4 | D4 F4 G4 A4"));
    session.automate(2.0, "hold", "On")?;
    session.run_to(4.0)?;
    session.recording().channel(1).assert_attacks(
        0.25,
        "D4 F4 G4 A4 | D4 F4 G4 A4 | D4 F4 G4 A4 | D4 F4 G4 A4",
    );
    let frames: Vec<u64> = attacks_from(&session, 0)
        .iter()
        .map(|(at, _)| *at)
        .collect();
    let written: Vec<u64> = (0..16).map(|step| step * SIXTEENTH).collect();
    assert_eq!(frames, written);
    let_go(&mut session)
}

#[test]
fn a_phrase_of_two_beats_and_a_half_keeps_its_length() -> Outcome {
    let mut session = alone()?;
    let phrase = "D4 . F4 G4 . A4 C5 . E4 .";
    play_live(
        &mut session,
        1.0,
        &sixteenths(&format!("{phrase} {phrase}")),
    );
    session.automate(6.0, "hold", "On")?;
    session.run_to(11.0)?;
    let line = session.recording().channel(1).between(6.0, 11.0);
    line.assert_attacks(0.25, &format!("{phrase} {phrase}"));
    Ok(())
}

#[test]
fn a_phrase_played_once_lasts_up_to_the_next_whole_beat() -> Outcome {
    let mut session = alone()?;
    play_live(&mut session, 8.0, &sixteenths("D4 F4 A4 . | C5 E4 ."));
    session.automate(10.0, "hold", "On")?;
    session.run_to(14.0)?;
    let line = session.recording().channel(1).between(10.0, 14.0);
    line.assert_attacks(0.25, "D4 F4 A4 . | C5 E4 . . | D4 F4 A4 . | C5 E4 . .");
    Ok(())
}

#[test]
fn in_seven_eight_a_bar_played_once_is_a_bar_and_rests_at_both_its_ends_belong_to_it() -> Outcome {
    let seven = "D4 . F4 . A4 . C5 . A4 . G4 . E4";
    let mut session = alone()?.in_time(7, 8);
    play_live(&mut session, 7.0, &sixteenths(seven));
    session.automate(10.5, "hold", "On")?;
    session.run_to(17.5)?;
    let line = session.recording().channel(1).between(10.5, 17.5);
    line.assert_attacks(0.25, &format!("{seven} . {seven} ."));

    let mut session = alone()?.in_time(7, 8);
    play_live(&mut session, 7.5, &sixteenths("F4 . A4 . C5 . A4"));
    session.automate(10.5, "hold", "On")?;
    session.run_to(14.0)?;
    let line = session.recording().channel(1).between(10.5, 14.0);
    line.assert_attacks(0.25, ". . F4 . A4 . C5 . A4 . . . . .");
    Ok(())
}

/// A hand at 98 in a hundred of the host's tempo, the song at rest: four beats three times.
#[test]
fn at_rest_a_slow_hand_is_taken_as_it_was_meant_and_goes_on_at_its_own_seam() -> Outcome {
    let mut session = alone()?.tempo(120.0);
    session.stop();
    let keys = [62, 65, 67, 69, 72, 69, 67, 64];
    // An eighth of the hand's lasts 12 240 frames, one of the host's 12 000.
    for stroke in 0..24_u64 {
        let (at, key) = (12_240 * stroke, keys[stroke as usize % 8]);
        session.event_in(at, Event::note_on(0, key, 0.7));
        session.event_in(at + 9_000, Event::note_off(0, key));
    }
    let seam = 24 * 12_240;
    let hold = session.plugin().setting("hold", "On")?;
    session.event_in(seam - 2_000, hold);
    session.run_frames(seam + 16 * 12_000)?;
    let expected: Vec<(u64, u16)> = (0..16)
        .map(|stroke| (seam + 12_000 * stroke, keys[stroke as usize % 8]))
        .collect();
    assert_eq!(attacks_from(&session, seam - 2_000), expected);
    let_go(&mut session)
}

#[test]
fn a_fixed_length_takes_the_last_that_many_steps() -> Outcome {
    let mut session = listening(plugin()?, &[ALONE, ("length", "8 steps")])?;
    play_live(
        &mut session,
        0.0,
        &sixteenths("C4 . E4 . | D4 F4 G4 A4 | B4 . C5 ."),
    );
    session.automate(3.0, "hold", "On")?;
    session.run_to(7.0)?;
    let line = session.recording().channel(1).between(3.0, 7.0);
    line.assert_attacks(0.25, "D4 F4 G4 A4 | B4 . C5 . | D4 F4 G4 A4 | B4 . C5 .");
    Ok(())
}

/// A loose hand: D4 late, F4 early, the others in time. In frames after the beat.
const LOOSE: [(u64, u16); 4] = [(1_200, 62), (5_040, 65), (12_000, 67), (18_000, 69)];

fn loosely_played(snap: &str) -> Result<Vec<(u64, u16)>, Error> {
    let mut session = listening(plugin()?, &[ALONE, ("length", "4"), ("snap", snap)])?;
    for (frame, key) in LOOSE {
        session.event_in(frame, Event::note_on(0, key, 0.7));
        session.event_in(frame + 2_000, Event::note_off(0, key));
    }
    session.automate(1.0, "hold", "On")?;
    session.run_to(2.0)?;
    Ok(attacks_from(&session, 24_000))
}

#[test]
fn snap_pulls_a_loose_hand_onto_the_grid_wholly_half_or_not_at_all() -> Outcome {
    let a_beat_later = |onsets: [u64; 4]| -> Vec<(u64, u16)> {
        let keys = LOOSE.map(|(_, key)| key);
        onsets.map(|at| at + 24_000).into_iter().zip(keys).collect()
    };
    assert_eq!(
        loosely_played("100 %")?,
        a_beat_later([0, 6_000, 12_000, 18_000])
    );
    assert_eq!(
        loosely_played("50 %")?,
        a_beat_later([600, 5_520, 12_000, 18_000])
    );
    assert_eq!(
        loosely_played("0 %")?,
        a_beat_later([1_200, 5_040, 12_000, 18_000])
    );
    Ok(())
}

#[test]
fn velocities_are_kept() -> Outcome {
    let mut session = listening(plugin()?, &[ALONE, ("length", "4")])?;
    let played = [0.2, 0.55, 0.9, 1.0];
    for (step, velocity) in played.into_iter().enumerate() {
        session.note(step as f64 * 0.25, 0.2, 60 + step as u16, velocity);
    }
    session.automate(1.0, "hold", "On")?;
    session.run_to(2.0)?;
    let heard = session.recording().channel(1).between(1.0, 2.0).notes();
    assert_eq!(heard.len(), 4);
    for (note, velocity) in heard.iter().zip(played) {
        assert!((note.velocity - velocity).abs() < 1e-6, "{note:?}");
    }
    Ok(())
}

#[test]
fn a_key_still_down_is_closed_at_the_end_of_the_phrase() -> Outcome {
    let mut session = listening(plugin()?, &[ALONE, ("length", "4")])?;
    session.event(0.0, Event::note_on(0, 62, 0.7));
    session.event(0.5, Event::note_on(0, 65, 0.7));
    session.automate(1.0, "hold", "On")?;
    // The hand stays down until long after.
    session.event(3.5, Event::note_off(0, 62));
    session.event(3.5, Event::note_off(0, 65));
    session.run_to(4.0)?;
    let line = session.recording().channel(1).between(1.0, 3.0);
    line.assert_attacks(0.25, "D4 . F4 . | D4 . F4 .");
    let_go(&mut session)
}

#[test]
fn when_nothing_was_played_hold_keeps_the_phrase_of_before() -> Outcome {
    let mut session = alone()?;
    play_live(&mut session, 0.0, &sixteenths("D4 F4 G4 A4 | D4 F4 G4 A4"));
    session.automate(2.0, "hold", "On")?;
    session.automate(4.0, "hold", "Off")?;
    session.automate(6.5, "hold", "On")?;
    session.run_to(9.0)?;
    session
        .recording()
        .channel(1)
        .between(4.0, 9.0)
        .assert_attacks(0.25, ". . . . | . . . . | . . . . | . . . . | D4 F4 G4 A4");
    Ok(())
}

#[test]
fn with_no_phrase_at_all_hold_is_silence() -> Outcome {
    let mut session = alone()?;
    session.automate(1.0, "hold", "On")?;
    session.run_to(8.0)?;
    assert!(session.recording().notes().is_empty());
    Ok(())
}

#[test]
fn a_second_phrase_takes_the_place_of_the_first() -> Outcome {
    let mut session = alone()?;
    play_live(&mut session, 0.0, &sixteenths("D4 F4 G4 A4 | D4 F4 G4 A4"));
    session.automate(2.0, "hold", "On")?;
    session.automate(3.0, "hold", "Off")?;
    play_live(&mut session, 8.0, &sixteenths("E4 . B4 . | E4 . B4 ."));
    session.automate(10.0, "hold", "On")?;
    session.run_to(12.0)?;
    let line = session.recording().channel(1).between(10.0, 12.0);
    line.assert_attacks(0.25, "E4 . B4 . | E4 . B4 .");
    Ok(())
}

/// Plays a phrase twice, holds `late` frames after the seam, and says when notes begin.
fn held_late(late: u64, blocks: Blocks) -> Result<Vec<(u64, u16)>, Error> {
    let mut session = alone()?.blocks(blocks);
    play_live(&mut session, 0.0, &sixteenths("D4 F4 G4 A4 | D4 F4 G4 A4"));
    let hold = session.plugin().setting("hold", "On")?;
    session.event_in(48_000 + late, hold);
    session.run_to(4.0)?;
    Ok(attacks_from(&session, 48_000))
}

#[test]
fn hold_by_automation_inside_a_block_acts_on_its_very_sample() -> Outcome {
    for blocks in [Blocks::Of(64), Blocks::Of(1024), Blocks::Of(4096)] {
        // In time; a little late, which does not cost the first note; late by more than half a
        // step, which does.
        let in_time = held_late(0, blocks.clone())?;
        assert_eq!(in_time[..2], [(48_000, 62), (54_000, 65)], "{blocks:?}");
        let a_little = held_late(1_001, blocks.clone())?;
        assert_eq!(a_little[..2], [(49_001, 62), (54_000, 65)], "{blocks:?}");
        let late = held_late(3_100, blocks.clone())?;
        assert_eq!(late[..2], [(54_000, 65), (60_000, 67)], "{blocks:?}");
    }
    Ok(())
}

#[test]
fn what_is_played_up_to_the_very_sample_of_hold_belongs_to_the_phrase() -> Outcome {
    for blocks in [Blocks::Of(7), Blocks::Of(1024)] {
        let mut session = listening(plugin()?, &[ALONE, ("length", "4")])?.blocks(blocks);
        play_live(&mut session, 0.0, &sixteenths("D4 F4 G4"));
        // Hold comes half a step before the seam, one sample after the A, one before the C.
        session.event_in(20_999, Event::note_on(0, 69, 0.7));
        let hold = session.plugin().setting("hold", "On")?;
        session.event_in(21_000, hold);
        session.event_in(21_001, Event::note_on(0, 72, 0.7));
        session.event_in(22_000, Event::note_off(0, 69));
        session.event_in(22_000, Event::note_off(0, 72));
        session.run_to(2.0)?;
        let line = session.recording().channel(1).between(1.0, 2.0);
        line.assert_attacks(0.25, "D4 F4 G4 A4");
        let_go(&mut session)?;
    }
    Ok(())
}

#[test]
fn with_the_transport_stopped_the_phrase_goes_on_by_the_own_clock() -> Outcome {
    let mut session = alone()?.tempo(100.0);
    session.seek(37.3);
    session.stop();
    // A sixteenth at 100 is 7200 frames. Nobody counts from the song: the first note is a step.
    for (step, key) in [62, 65, 67, 69, 62, 65, 67, 69].into_iter().enumerate() {
        let at = 500 + 7_200 * step as u64;
        session.event_in(at, Event::note_on(0, key, 0.7));
        session.event_in(at + 7_000, Event::note_off(0, key));
    }
    let hold = session.plugin().setting("hold", "On")?;
    session.event_in(500 + 8 * 7_200, hold);
    session.run_frames(500 + 16 * 7_200)?;
    let held = attacks_from(&session, 500 + 8 * 7_200);
    let expected: Vec<(u64, u16)> = (8..16)
        .zip([62, 65, 67, 69].into_iter().cycle())
        .map(|(step, key)| (500 + 7_200 * step, key))
        .collect();
    assert_eq!(held, expected);

    // When the song rolls the process begins there, from the phrase's start.
    session.forget();
    session.play();
    session.run(1.0)?;
    let rolled: Vec<u16> = session.recording().channel(1).keys();
    assert_eq!(rolled, [62, 65, 67, 69]);
    let_go(&mut session)
}

/// 128 sixteenths, no two next to each other alike, and no repeat but the last of the first.
fn long_phrase() -> Phrase {
    let notes = (0..128u32).map(|step| Note {
        onset: f64::from(step) * 0.25,
        length: 0.25,
        key: Key::new((step * 29 % 127) as u8).expect("a remainder of 127 is a key"),
        velocity: Velocity::new(0.7),
        said: None,
    });
    Phrase::new(notes, 32.0).expect("128 sixteenths are a phrase")
}

#[test]
fn a_phrase_of_128_notes_is_taken_whole_and_all_eight_copies_play_it() -> Outcome {
    let phrase = long_phrase();
    let written: Vec<u16> = phrase
        .notes()
        .iter()
        .map(|note| u16::from(note.key.number()))
        .collect();
    for length in ["Auto", "128 steps"] {
        let mut session = listening(plugin()?, &[("copies", "8"), ("length", length)])?;
        play_live(&mut session, 0.0, &phrase);
        session.automate(32.0, "hold", "On")?;
        session.run_to(64.0)?;
        for channel in 1..=9 {
            let line = session.recording().channel(channel).between(32.0, 64.0);
            assert_eq!(line.keys(), written, "{length}, channel {channel}");
        }
        let_go(&mut session)?;
    }
    Ok(())
}

/// As many notes as that, evenly over 32 beats, no key twice within a hundred.
fn a_flood(session: &mut Session, notes: u64) {
    for index in 0..notes {
        let at = 32 * 24_000 * index / notes;
        let key = 10 + (index % 100) as u16;
        session.event_in(at, Event::note_on(0, key, 0.7));
        session.event_in(at + 100, Event::note_off(0, key));
    }
}

#[test]
fn more_notes_than_a_phrase_or_the_memory_holds_do_no_harm() -> Outcome {
    for flood in [600, 5_000] {
        let settings = [ALONE, ("length", "128 steps"), ("snap", "0 %")];
        let mut session = listening(plugin()?, &settings)?;
        a_flood(&mut session, flood);
        session.automate(32.0, "hold", "On")?;
        session.run_to(96.0)?;
        for cycle in [32.0, 64.0] {
            let line = session.recording().channel(1).between(cycle, cycle + 32.0);
            assert_eq!(line.notes().len(), 512, "{flood} notes, cycle at {cycle}");
        }
        let_go(&mut session)?;
    }
    Ok(())
}

#[test]
fn a_project_opened_with_hold_on_takes_nothing_that_was_played() -> Outcome {
    let mut session = alone()?;
    play_live(&mut session, 0.0, &sixteenths("D4 F4 G4 A4 | D4 F4 G4 A4"));
    session.run_to(2.0)?;
    let saved = project(&sixteenths("C4 . E4 ."), 0.0, true);
    session.plugin().load(&saved)?;
    session.plugin().set("copies", "0")?;
    session.run_to(4.0)?;
    let line = session.recording().channel(1).between(2.0, 4.0);
    line.assert_attacks(0.25, "C4 . E4 . | C4 . E4 .");
    let_go(&mut session)
}

#[test]
fn note_ons_without_offs_are_struck_again_and_end_once() -> Outcome {
    let mut session = listening(plugin()?, &[ALONE, ("length", "4")])?;
    for step in 0..8 {
        session.event(f64::from(step) * 0.25, Event::note_on(0, 62, 0.7));
    }
    session.automate(2.0, "hold", "On")?;
    session.run_to(3.0)?;
    let notes: Vec<HeardNote> = session.recording().channel(1).between(2.0, 3.0).notes();
    assert_eq!(notes.len(), 4);
    // The last key was never let go; the hand lifts at last.
    session.event(3.5, Event::note_off(0, 62));
    session.run_to(4.0)?;
    let_go(&mut session)
}

#[test]
fn what_was_played_on_several_channels_becomes_one_phrase() -> Outcome {
    let mut session = listening(plugin()?, &[ALONE, ("length", "4")])?;
    for (step, channel, key) in [(0, 0, 62), (1, 3, 65), (2, 9, 67), (3, 15, 69)] {
        let at = f64::from(step) * 0.25;
        session.event(at, Event::note_on(channel, key, 0.7));
        session.event(at + 0.2, Event::note_off(channel, key));
    }
    session.automate(1.0, "hold", "On")?;
    session.run_to(2.0)?;
    let line = session.recording().channel(1).between(1.0, 2.0);
    line.assert_attacks(0.25, "D4 F4 G4 A4");
    Ok(())
}
