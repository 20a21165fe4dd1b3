//! Sketches in a host, by program change and with the window closed: what is called up comes, no
//! note hangs, and what is for the instruments goes through.

mod common;

use common::plugin;
use procession_core::phrase::Phrase;
use procession_tests::host::{Error, Event};
use procession_tests::session::Session;
use procession_tests::staging::{Dice, project_with, sixteenths};
use std::fmt::Write;

type Outcome = Result<(), Error>;

const PLAYED: &str = "D4 F4 G4 A4 C5 . E4 B4";
const SECOND: &str = "C3 . G3 . E3 . G3 -";
const FIFTH: &str = "B5 B5 . A5 B5 . . B5";

/// The notes of a phrase as they are saved.
fn notes(phrase: &Phrase) -> String {
    let mut notes = String::new();
    for note in phrase.notes() {
        let comma = if notes.is_empty() { "" } else { "," };
        let (key, velocity) = (note.key.number(), note.velocity.value());
        let (onset, length) = (note.onset, note.length);
        let _ = write!(
            notes,
            r#"{comma}{{"onset":{onset:?},"length":{length:?},"key":{key},"velocity":{velocity:?}}}"#
        );
    }
    notes
}

fn sketch(text: &str) -> String {
    let phrase = sixteenths(text);
    format!(
        r#"{{"phrase":{{"length":{:?},"notes":[{}]}},"seed":1,"custom":[0,2,4,5,7,9,11],"modulations":[],"values":{{}}}}"#,
        phrase.length(),
        notes(&phrase)
    )
}

/// Held from the start of the song, with sketches in places 2 and 5.
fn session(comes: &str) -> Result<Session, Error> {
    let mut plugin = plugin()?;
    let sketches = format!(
        r#""sketches":[null,{},null,null,{},null,null,null],"comes":"{comes}","#,
        sketch(SECOND),
        sketch(FIFTH)
    );
    plugin.load(&project_with(&sixteenths(PLAYED), 0.0, true, &sketches))?;
    Ok(Session::new(plugin.activate(Default::default())?.start()?))
}

/// Runs on, the host seeing to its main thread as hosts do, many times a second.
fn run(session: &mut Session, beats: f64) -> Outcome {
    for _ in 0..(beats * 16.0) as usize {
        session.run(1.0 / 16.0)?;
        session.plugin().split().0.run_callbacks();
    }
    Ok(())
}

/// The keys that the steady voice strikes from one beat to another.
fn struck(session: &Session, from: f64, to: f64) -> Vec<u16> {
    let frame = |beat: f64| (beat * 24_000.0) as u64;
    let steady = |event: &Event| match event {
        Event::NoteOn { note, .. } if note.channel == Some(0) => note.key,
        _ => None,
    };
    let recording = session.recording();
    let heard = recording.events().iter();
    heard
        .filter(|heard| (frame(from)..frame(to)).contains(&heard.frame))
        .filter_map(|heard| steady(&heard.event))
        .collect()
}

/// The programs that come out, those that come on several channels once.
fn programs(session: &Session) -> Vec<u8> {
    let recording = session.recording();
    let sent = |event: &Event| match event {
        Event::Midi([status, program, _]) if status & 0xF0 == 0xC0 => Some(*program),
        _ => None,
    };
    let heard = recording.events().iter();
    let mut programs: Vec<u8> = heard.filter_map(|heard| sent(&heard.event)).collect();
    programs.dedup();
    programs
}

fn keys(text: &str) -> Vec<u16> {
    let phrase = sixteenths(text);
    let mut keys: Vec<u16> = phrase
        .notes()
        .iter()
        .map(|note| note.key.number().into())
        .collect();
    keys.sort_unstable();
    keys.dedup();
    keys
}

fn only(mut struck: Vec<u16>) -> Vec<u16> {
    struck.sort_unstable();
    struck.dedup();
    struck
}

#[test]
fn a_program_change_calls_a_sketch_up_with_the_window_closed() -> Outcome {
    let mut session = session("now")?;
    session.play();
    session.event(5.0, Event::program(0, 1));
    session.event(11.0, Event::program(3, 4));
    run(&mut session, 16.0)?;
    assert_eq!(only(struck(&session, 0.0, 4.9)), keys(PLAYED));
    assert_eq!(only(struck(&session, 6.0, 10.9)), keys(SECOND));
    assert_eq!(only(struck(&session, 12.0, 15.9)), keys(FIFTH));
    Ok(())
}

/// In 4/4: called up within bar 2, it comes with bar 3, and within an eighth of it.
#[test]
fn a_sketch_comes_with_the_next_bar_if_told_to() -> Outcome {
    let mut session = session("bar")?;
    session.play();
    session.event(5.0, Event::program(0, 1));
    run(&mut session, 12.0)?;
    assert_eq!(only(struck(&session, 4.0, 8.0)), keys(PLAYED));
    assert_eq!(only(struck(&session, 8.5, 12.0)), keys(SECOND));
    Ok(())
}

/// Programs for instruments: nothing is kept in place 3, and there is no place 9.
#[test]
fn a_program_change_for_an_empty_place_goes_through() -> Outcome {
    let mut session = session("now")?;
    session.play();
    session.event(2.0, Event::program(0, 2));
    session.event(3.0, Event::program(0, 8));
    session.event(4.0, Event::program(0, 1));
    run(&mut session, 6.0)?;
    assert_eq!(programs(&session), [2, 8]);
    Ok(())
}

/// Out of the way it calls nothing up: that program is for the instruments, like all that is played.
#[test]
fn bypassed_it_lets_every_program_change_through() -> Outcome {
    let mut session = session("now")?;
    session.automate(0.0, "bypass", "On")?;
    session.automate(4.0, "bypass", "Off")?;
    session.play();
    session.event(2.0, Event::program(0, 1));
    run(&mut session, 12.0)?;
    assert_eq!(programs(&session), [1]);
    assert_eq!(only(struck(&session, 4.5, 12.0)), keys(PLAYED));
    Ok(())
}

/// Called up at any moment, through copies that enter, drift and leave: every note that began has
/// ended.
#[test]
fn however_often_sketches_are_called_up_no_note_hangs() -> Outcome {
    for (seed, comes) in (0..).zip(["now", "bar", "cycle"]) {
        let mut session = session(comes)?;
        let mut dice = Dice::new(seed);
        session.automate(0.0, "copies", "4")?;
        session.automate(0.0, "dwell", "1")?;
        session.automate(0.0, "motion", "Jump")?;
        session.play();
        for _ in 0..40 {
            let at = dice.part() * 24.0;
            session.event(at, Event::program(0, dice.one_of(&[1, 4])));
        }
        run(&mut session, 26.0)?;
        session.automate(26.1, "hold", "Off")?;
        run(&mut session, 6.0)?;
        session.recording().assert_no_note_hangs();
    }
    Ok(())
}
