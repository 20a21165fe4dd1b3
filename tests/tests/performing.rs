//! What a performer does while it plays: cues, and a further player's resulting line.
//!
//! Expected scores are worked out by hand from the definitions.

mod common;

use common::{assert_plays, plugin};
use procession_tests::host::Error;
use procession_tests::score::Line;
use procession_tests::session::Session;
use procession_tests::staging::{held, sixteenths};

type Outcome = Result<(), Error>;

/// Four sixteenths: a cycle of one beat.
const FOUR: &str = "C4 D4 E4 G4";

fn jumping(settings: &[(&str, &str)]) -> Result<Session, Error> {
    let jumps = [("motion", "Jump"), ("dwell", "4 cycles")];
    let all: Vec<_> = jumps.iter().chain(settings).copied().collect();
    held(plugin()?, &sixteenths(FOUR), &all)
}

#[track_caller]
fn assert_all_end(line: &Line) {
    let hanging = line.notes().into_iter().find(|note| note.end.is_none());
    assert!(hanging.is_none(), "{hanging:?}");
}

#[test]
fn on_cue_the_copy_waits_for_the_lane_to_switch_cue_on_and_moves_with_the_next_cycle() -> Outcome {
    let mut session = jumping(&[("advance", "On cue")])?;
    session.automate(9.3, "cue", "On")?;
    session.automate(9.6, "cue", "Off")?;
    session.automate(12.0, "cue", "On")?;
    session.run_to(14.0)?;
    assert_plays(&session, 2, 8.0, "C4 D4 E4 G4 | C4 D4 E4 G4 | D4 E4 G4 C4");
    assert_plays(&session, 2, 11.0, "D4 E4 G4 C4 | E4 G4 C4 D4");
    Ok(())
}

#[test]
fn a_mapped_key_cues_and_is_not_heard() -> Outcome {
    let mut session = jumping(&[("advance", "On cue"), ("cue_key", "C1"), ("thru", "On")])?;
    session.note(5.5, 0.25, 24, 0.9);
    session.run_to(8.0)?;
    assert_plays(&session, 2, 5.0, "C4 D4 E4 G4 | D4 E4 G4 C4");
    let heard = session.recording().notes();
    assert!(heard.iter().all(|note| note.key != 24), "{heard:?}");
    Ok(())
}

#[test]
fn counted_the_same_key_is_a_key_like_any_other() -> Outcome {
    let mut session = jumping(&[("cue_key", "C1"), ("thru", "On")])?;
    session.note(1.5, 0.25, 24, 0.9);
    session.run_to(4.0)?;
    let heard = session.recording().notes();
    assert!(heard.iter().any(|note| note.key == 24));
    Ok(())
}

/// One step ahead, the composite is C+D, D+E, E+G, G+C; the line enters with the second cycle of
/// the dwell and leaves before the last.
#[test]
fn the_resulting_line_plays_the_top_on_channel_11_inside_a_dwell() -> Outcome {
    let mut session = jumping(&[("resulting", "Top")])?;
    session.run_to(9.0)?;
    assert_plays(
        &session,
        11,
        0.0,
        ". . . . | . . . . | . . . . | . . . . | . . . . | D4 E4 G4 G4 | D4 E4 G4 G4 | . . . .",
    );
    assert_all_end(&session.recording().channel(11));
    Ok(())
}

#[test]
fn the_line_has_an_octave_of_its_own_and_sits_in_the_middle() -> Outcome {
    let mut session = jumping(&[
        ("resulting", "Bottom"),
        ("resulting_octave", "1"),
        ("width", "100 %"),
    ])?;
    session.run_to(7.0)?;
    assert_plays(&session, 11, 5.0, "C5 D5 E5 C5");
    let pan = session.recording().controller(11, 10);
    assert_eq!(pan.last().map(|pan| pan.1), Some(64));
    Ok(())
}

#[test]
fn switched_off_in_the_middle_of_a_note_the_line_ends_it() -> Outcome {
    let mut session = jumping(&[("resulting", "Top")])?;
    session.automate(5.1, "resulting", "Off")?;
    session.run_to(7.0)?;
    let line = session.recording().channel(11);
    assert_all_end(&line);
    assert_eq!(line.between(5.0, 7.0).notes().len(), 1);
    Ok(())
}
