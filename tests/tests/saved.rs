//! Saved and opened again it sounds the same, and a damaged project leaves the last good phrase.

mod common;

use common::plugin;
use procession_core::phrase::Phrase;
use procession_tests::heard::Recording;
use procession_tests::host::{Error, Event, Loaded, Plugin, Setup};
use procession_tests::session::Session;
use procession_tests::staging::{Dice, framed, held, listening, play_live, project, sixteenths};

type Outcome = Result<(), Error>;

fn phrase() -> Phrase {
    sixteenths("D4 F4 G4 A4 | C5 . E4+B4 -")
}

/// Everything that a saved project has to bring back is heard in this.
const RICH: [(&str, &str); 14] = [
    ("copies", "4"),
    ("dwell", "1"),
    ("drift", "1"),
    ("shifts", "Endless"),
    ("copies_move", "In turn"),
    ("entry", "2"),
    ("offset", "0.21 steps"),
    ("copy2_octave", "-1"),
    ("growth", "Fill"),
    ("growth_order", "Scattered"),
    ("growth_every", "3"),
    ("fold", "By degree"),
    ("target_mode", "Custom"),
    ("target_tonic", "Eb"),
];

/// A note's beginning or end as the host gets it: frame, channel, key, and the velocity, -1 for an
/// end.
type PlayedNote = (u64, Option<u16>, Option<u16>, f64);

/// Begins and ends of notes, counted from frame `start`.
fn notes_from(recording: &Recording, start: u64) -> Vec<PlayedNote> {
    let told = |event| match event {
        Event::NoteOn { note, velocity } => Some((note.channel, note.key, velocity)),
        Event::NoteOff { note, .. } => Some((note.channel, note.key, -1.0)),
        _ => None,
    };
    recording
        .events()
        .iter()
        .filter(|heard| heard.frame >= start)
        .filter_map(|heard| {
            let (channel, key, velocity) = told(heard.event)?;
            Some((heard.frame - start, channel, key, velocity))
        })
        .collect()
}

/// Plays four bars from bar 9 on, the transport having leapt there.
fn from_bar_9(session: &mut Session) -> Result<Vec<PlayedNote>, Error> {
    session.stop();
    session.run(0.1)?;
    session.seek(32.0);
    session.play();
    let start = session.frames();
    session.run(16.0)?;
    Ok(notes_from(&session.recording(), start))
}

fn opened(saved: &[u8]) -> Result<Session, Error> {
    let mut plugin: Plugin<Loaded> = plugin()?;
    plugin.load(saved)?;
    Ok(Session::new(plugin.activate(Setup::default())?.start()?))
}

#[test]
fn a_captured_phrase_saved_and_opened_elsewhere_sounds_the_same_to_the_sample() -> Outcome {
    let mut session = listening(plugin()?, &RICH)?;
    play_live(&mut session, 1.0, &phrase());
    play_live(&mut session, 3.0, &phrase());
    session.automate(5.0, "hold", "On")?;
    session.run_to(9.3)?;
    let saved = session.plugin().save()?;
    let expected = from_bar_9(&mut session)?;
    assert!(expected.len() > 100, "{}", expected.len());
    assert_eq!(from_bar_9(&mut opened(&saved)?)?, expected);
    // And once more, from what that one saves.
    let again = opened(&saved)?.plugin().save()?;
    assert_eq!(from_bar_9(&mut opened(&again)?)?, expected);
    Ok(())
}

#[test]
fn a_project_opened_into_an_instance_that_plays_sounds_as_in_a_fresh_one() -> Outcome {
    let mut session = held(plugin()?, &phrase(), &RICH)?;
    let saved = session.plugin().save()?;
    let expected = from_bar_9(&mut session)?;
    let mut other = held(plugin()?, &sixteenths("C3 - - G3"), &[("copies", "8")])?;
    other.run_to(3.3)?;
    other.plugin().load(&saved)?;
    assert_eq!(from_bar_9(&mut other)?, expected);
    Ok(())
}

#[test]
fn a_project_opened_while_the_song_rolls_stands_where_it_should_at_once() -> Outcome {
    let mut session = held(plugin()?, &phrase(), &RICH)?;
    let saved = session.plugin().save()?;
    session.run_to(16.0)?;
    let start = session.frames();
    session.run_to(24.0)?;
    // Notes that sound at the join aside.
    let ons = |notes: Vec<PlayedNote>| {
        let mut notes = notes;
        notes.retain(|note| note.3 >= 0.0);
        notes
    };
    let expected = ons(notes_from(&session.recording(), start));
    let mut other = held(plugin()?, &sixteenths("C3 - - G3"), &[("copies", "0")])?;
    other.run_to(16.0)?;
    other.plugin().load(&saved)?;
    other.run_to(24.0)?;
    assert_eq!(ons(notes_from(&other.recording(), start)), expected);
    Ok(())
}

#[test]
fn a_phrase_captured_with_the_song_at_rest_begins_where_the_song_next_starts_saved_or_not()
-> Outcome {
    let mut session = listening(plugin()?, &[("copies", "0")])?;
    session.stop();
    for (step, key) in [62u16, 65, 67, 69, 62, 65, 67, 69].into_iter().enumerate() {
        let at = 6_000 * step as u64;
        session.event_in(at, Event::note_on(0, key, 0.7));
        session.event_in(at + 5_000, Event::note_off(0, key));
    }
    let hold = session.plugin().setting("hold", "On")?;
    session.event_in(48_000, hold);
    session.run_frames(60_000)?;
    let saved = session.plugin().save()?;
    let mut reopened = opened(&saved)?;
    reopened.seek(5.25);
    reopened.run_to(7.25)?;
    let line = reopened.recording().channel(1).between(5.25, 7.25);
    line.assert_attacks(0.25, "D4 F4 G4 A4 | D4 F4 G4 A4");
    Ok(())
}

/// An instance that holds a good phrase, playing.
fn good() -> Result<Session, Error> {
    let mut session = held(plugin()?, &sixteenths("D4 F4 G4 A4"), &[("copies", "0")])?;
    session.run_to(1.0)?;
    Ok(session)
}

/// Whether the good phrase still plays, a beat of it.
#[track_caller]
fn assert_still_good(session: &mut Session) -> Outcome {
    session.plugin().set("hold", "On")?;
    session.plugin().set("copies", "0")?;
    session.plugin().set("bypass", "Off")?;
    session.run(0.5)?;
    let from = session.position().ceil();
    session.run_to(from + 1.0)?;
    let line = session.recording().channel(1).between(from, from + 1.0);
    line.assert_attacks(0.25, "D4 F4 G4 A4");
    Ok(())
}

#[test]
fn states_that_are_none_are_refused_and_the_last_good_phrase_plays_on() -> Outcome {
    let whole = project(&phrase(), 0.0, true);
    let mut nothing = vec![Vec::new(), vec![0; 7], vec![0; 8], vec![0xFF; 64]];
    nothing.push(framed(""));
    nothing.push(framed("null"));
    nothing.push(framed("[1, 2, 3]"));
    nothing.push(framed("{\"params\":{}}"));
    for end in (0..whole.len()).step_by(41) {
        nothing.push(whole[..end].to_vec());
        let text = String::from_utf8_lossy(&whole[8..8 + end.min(whole.len() - 9)]);
        nothing.push(framed(&text));
    }
    let mut session = good()?;
    for state in &nothing {
        assert!(session.plugin().load(state).is_err(), "{state:?}");
        session.run(0.1)?;
    }
    assert_still_good(&mut session)
}

#[test]
fn a_state_whose_phrase_is_damaged_keeps_the_last_good_phrase() -> Outcome {
    for (whole, damage) in [
        ("'version':1", "'version':99"),
        ("'version':1,", ""),
        ("'length':2.0,", "'length':-2.0,"),
        ("'length':2.0,", "'length':0.0,"),
        ("'length':2.0,", "'length':1e300,"),
        ("'key':65", "'key':128"),
        ("'key':65", "'key':-1"),
        ("'onset':0.25", "'onset':77.0"),
        ("'onset':0.25", "'onset':null"),
        ("'song':0.0", "'song':1e12"),
        ("'song':0.0", "'river':0.0"),
        ("'notes':[", "'notes':[[],"),
    ] {
        // Text within text: its quotes are written with a backslash.
        let [whole, damage] = [whole, damage].map(|part| part.replace('\'', "\\\""));
        let text = String::from_utf8(project(&phrase(), 0.0, true)[8..].to_vec());
        let text = text.expect("a project is text");
        assert!(text.contains(&whole), "{whole} in {text}");
        let mut session = good()?;
        // Read as far as it can be, or refused: either way the phrase stays.
        let _ = session
            .plugin()
            .load(&framed(&text.replacen(&whole, &damage, 1)));
        assert_still_good(&mut session)?;
    }
    Ok(())
}

#[test]
fn states_with_bytes_changed_by_chance_take_no_host_down_and_hang_no_note() -> Outcome {
    let mut original = held(plugin()?, &phrase(), &RICH)?;
    let whole = original.plugin().save()?;
    for seed in 0..6 {
        println!("seed {seed}");
        let mut dice = Dice::new(seed);
        let mut session = good()?;
        for _ in 0..80 {
            let mut damaged = whole.clone();
            for _ in 0..=dice.below(6) {
                let place = 8 + dice.below(damaged.len() as u64 - 8) as usize;
                damaged[place] = match dice.below(3) {
                    0 => dice.below(256) as u8,
                    1 => b"0123456789-.eE"[dice.below(14) as usize],
                    _ => b"{}[]\",: tf"[dice.below(10) as usize],
                };
            }
            let _ = session.plugin().load(&damaged);
            session.run(0.3)?;
            for parameter in session.plugin().parameters() {
                let value = session.plugin().value(&parameter.name)?;
                let proper = parameter.min..=parameter.max;
                assert!(proper.contains(&value), "{}: {value}", parameter.name);
            }
            let saved = session.plugin().save()?;
            plugin()?.load(&saved)?;
        }
        session.plugin().set("hold", "Off")?;
        session.run(0.5)?;
        session.recording().assert_no_note_hangs();
    }
    Ok(())
}
