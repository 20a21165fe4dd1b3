//! Growth: the phrase note by note, in its frame or longer and longer.

mod common;

use common::plugin;
use procession_tests::host::Error;
use procession_tests::session::Session;
use procession_tests::staging::{held, sixteenths};

type Outcome = Result<(), Error>;

/// A fill, forward, a note a cycle, the steady voice alone, unless told otherwise.
const FILL: [(&str, &str); 4] = [
    ("growth", "Fill"),
    ("growth_order", "Forward"),
    ("growth_every", "1 cycle"),
    ("copies", "0"),
];

fn growing(phrase: &str, settings: &[(&str, &str)]) -> Result<Session, Error> {
    let all: Vec<_> = FILL.iter().chain(settings).copied().collect();
    held(plugin()?, &sixteenths(phrase), &all)
}

#[track_caller]
fn assert_plays(session: &Session, channel: u16, score: &str) {
    let beats = score.split_whitespace().filter(|word| *word != "|").count() as f64 * 0.25;
    let line = session.recording().channel(channel);
    line.between(0.0, beats).assert_attacks(0.25, score);
}

#[test]
fn fill_keeps_the_length_and_replaces_rests_by_notes() -> Outcome {
    let mut session = growing("C4 D4 E4 G4", &[])?;
    session.run_to(5.0)?;
    assert_plays(
        &session,
        1,
        "C4 . . . | C4 D4 . . | C4 D4 E4 . | C4 D4 E4 G4 | C4 D4 E4 G4",
    );
    Ok(())
}

#[test]
fn two_notes_every_two_cycles() -> Outcome {
    let mut session = growing(
        "C4 D4 E4 G4",
        &[("growth_step", "2"), ("growth_every", "2")],
    )?;
    session.run_to(5.0)?;
    assert_plays(
        &session,
        1,
        "C4 D4 . . | C4 D4 . . | C4 D4 E4 G4 | C4 D4 E4 G4 | C4 D4 E4 G4",
    );
    Ok(())
}

#[test]
fn a_negative_step_strips_the_phrase() -> Outcome {
    let mut session = growing("C4 D4 E4 G4", &[("growth_step", "-1")])?;
    session.run_to(6.0)?;
    assert_plays(
        &session,
        1,
        "C4 D4 E4 G4 | C4 D4 E4 . | C4 D4 . . | C4 . . . | . . . . | . . . .",
    );
    Ok(())
}

#[test]
fn lengthen_plays_the_first_note_then_two_then_three() -> Outcome {
    let mut session = growing("C4 D4 E4 G4", &[("growth", "Lengthen")])?;
    session.run_to(3.5)?;
    assert_plays(
        &session,
        1,
        "C4 | C4 D4 | C4 D4 E4 | C4 D4 E4 G4 | C4 D4 E4 G4",
    );
    Ok(())
}

#[test]
fn lengthening_twelve_equal_notes_takes_78_steps_and_then_the_copy_enters() -> Outcome {
    // 1 + 2 + ... + 12, the sum of the first twelve numbers.
    let phrase = "D4 F4 G4 A4 C5 E4 G4 A4 B4 D5 C5 E5";
    let mut session = growing(phrase, &[("growth", "Lengthen"), ("copies", "1")])?;
    session.run_to(24.0)?;
    let recording = session.recording();
    let first_of_copy = recording.channel(2).notes()[0];
    assert_eq!(
        (first_of_copy.start.frame, first_of_copy.key),
        (78 * 6_000, 62)
    );
    let steady = recording.channel(1);
    // The twelfth stage is the whole phrase, once.
    steady
        .clone()
        .between(66.0 * 0.25, 78.0 * 0.25)
        .assert_attacks(0.25, phrase);
    assert_eq!(steady.between(0.0, 78.0 * 0.25).notes().len(), 78);
    Ok(())
}

#[test]
fn each_order_brings_the_notes_in_its_own_way() -> Outcome {
    for (order, score) in [
        ("Forward", "G4 . . . | G4 C4 . . | G4 C4 E4 ."),
        ("Backward", ". . . D4 | . . E4 D4 | . C4 E4 D4"),
        ("Low to high", ". C4 . . | . C4 . D4 | . C4 E4 D4"),
        ("High to low", "G4 . . . | G4 . E4 . | G4 . E4 D4"),
        // The middle of the phrase is its third step; of the two beside it the earlier is first.
        ("Centre out", ". . E4 . | . C4 E4 . | . C4 E4 D4"),
        // Beat, half, then the quarters of it from the left (common practice, no source).
        ("Strong beats first", "G4 . . . | G4 . E4 . | G4 C4 E4 ."),
    ] {
        let mut session = growing("G4 C4 E4 D4", &[("growth_order", order)])?;
        session.run_to(4.0)?;
        assert_plays(&session, 1, &format!("{score} | G4 C4 E4 D4"));
    }
    Ok(())
}

#[test]
fn scattered_adds_a_note_a_cycle_and_is_the_same_each_time() -> Outcome {
    let play = || -> Result<_, Error> {
        let mut session = growing("D4 F4 G4 A4 C5 E4 G5 B4", &[("growth_order", "Scattered")])?;
        session.run_to(16.0)?;
        Ok(session.recording().channel(1))
    };
    let (once, again) = (play()?, play()?);
    for cycle in 0..8 {
        let from = 2.0 * f64::from(cycle);
        let shown = once.clone().between(from, from + 2.0);
        assert_eq!(shown.notes().len(), cycle as usize + 1);
        assert_eq!(shown.keys(), again.clone().between(from, from + 2.0).keys());
    }
    let third = once.between(4.0, 6.0).keys();
    assert_ne!(third, [62, 65, 67], "scattered is not forward");
    Ok(())
}

#[test]
fn a_step_changed_by_automation_counts_from_the_next_stage_on() -> Outcome {
    let mut session = growing("C4 D4 E4 G4", &[])?;
    session.automate(1.5, "growth_step", "2 notes")?;
    session.automate(3.5, "growth_step", "-1 note")?;
    session.automate(5.5, "growth_step", "0")?;
    session.run_to(8.0)?;
    assert_plays(
        &session,
        1,
        "C4 . . . | C4 D4 . . | C4 D4 E4 G4 | C4 D4 E4 G4 \
         | C4 D4 E4 . | C4 D4 . . | C4 D4 . . | C4 D4 . .",
    );
    Ok(())
}

#[test]
fn copies_enter_when_the_growth_is_done() -> Outcome {
    let mut session = growing("C4 D4 E4 G4", &[("copies", "1"), ("growth_step", "2")])?;
    session.run_to(4.0)?;
    assert_plays(
        &session,
        1,
        "C4 D4 . . | C4 D4 E4 G4 | C4 D4 E4 G4 | C4 D4 E4 G4",
    );
    assert_plays(&session, 2, ". . . . | . . . . | C4 D4 E4 G4 | C4 D4 E4 G4");
    Ok(())
}

#[test]
fn copies_that_grow_do_so_from_their_own_entry() -> Outcome {
    let mut session = growing(
        "C4 D4 E4 G4",
        &[("copies", "1"), ("growth_step", "2"), ("copies_grow", "On")],
    )?;
    session.run_to(4.0)?;
    assert_plays(&session, 2, ". . . . | . . . . | C4 D4 . . | C4 D4 E4 G4");
    Ok(())
}

#[test]
fn growth_starts_where_a_seek_puts_it() -> Outcome {
    let mut session = growing("C4 D4 E4 G4", &[])?;
    session.run_to(1.5)?;
    session.seek(2.0);
    session.run_to(4.0)?;
    session
        .recording()
        .channel(1)
        .between(2.0, 4.0)
        .assert_attacks(0.25, "C4 D4 E4 . | C4 D4 E4 G4");
    Ok(())
}
