//! Folding: the phrase in another mode, a degree at a time.

mod common;

use common::plugin;
use procession_tests::host::Error;
use procession_tests::session::Session;
use procession_tests::staging::{held, listening, modulating_project, sixteenths};

type Outcome = Result<(), Error>;

/// D Dorian, up and not down: a cycle of two beats.
const DORIAN: &str = "D4 E4 F4 G4 | A4 B4 C5 D5";

/// From D Dorian into D Phrygian, which lowers the second and the sixth degree.
const INTO_PHRYGIAN: [(&str, &str); 7] = [
    ("fold", "By degree"),
    ("source_tonic", "D"),
    ("source_mode", "Dorian"),
    ("target_tonic", "D"),
    ("target_mode", "Phrygian"),
    ("copies", "0"),
    ("dwell", "64"),
];

fn folding(phrase: &str, settings: &[(&str, &str)]) -> Result<Session, Error> {
    let all: Vec<_> = INTO_PHRYGIAN.iter().chain(settings).copied().collect();
    held(plugin()?, &sixteenths(phrase), &all)
}

#[test]
fn by_degree_every_note_goes_to_the_same_degree_of_the_target() -> Outcome {
    let mut session = folding(DORIAN, &[])?;
    session.run_to(2.0)?;
    let line = session.recording().channel(1);
    line.assert_attacks(0.25, "D4 Eb4 F4 G4 | A4 Bb4 C5 D5");
    Ok(())
}

/// D Dorian and D Lydian differ in F, C and G, which turn in this order: F at once, C two cycles
/// later, G two cycles after that.
#[test]
fn a_modulation_plan_leads_to_another_mode_and_a_project_keeps_it() -> Outcome {
    let to_lydian = r#"{"beats":4.0,"tonic":2,"mode":"lydian","over":6}"#;
    let to_aeolian = r#"{"stage":2,"tonic":2,"mode":"aeolian","over":0}"#;
    let plan = format!("[{to_lydian},{to_aeolian}]");
    let mut first = plugin()?;
    first.load(&modulating_project(&sixteenths(DORIAN), 0.0, true, &plan))?;
    // Saved and opened again.
    let project = first.save()?;
    let mut again = plugin()?;
    again.load(&project)?;
    // Stage 2 begins with the jump, after 10 cycles of 2 beats.
    let mut session = listening(again, &[("motion", "Jump"), ("dwell", "10")])?;
    session.run_to(22.0)?;
    let line = session.recording().channel(1);
    let dorian = "D4 E4 F4 G4 | A4 B4 C5 D5";
    let f_sharp = "D4 E4 F#4 G4 | A4 B4 C5 D5";
    let c_sharp = "D4 E4 F#4 G4 | A4 B4 C#5 D5";
    let lydian = "D4 E4 F#4 G#4 | A4 B4 C#5 D5";
    let aeolian = "D4 E4 F4 G4 | A4 Bb4 C5 D5";
    let expected = [
        dorian, dorian, f_sharp, f_sharp, c_sharp, c_sharp, lydian, lydian, lydian, lydian, aeolian,
    ];
    line.assert_attacks(0.25, &expected.join(" | "));
    Ok(())
}

#[test]
fn the_source_is_found_by_listening() -> Outcome {
    // D is first, last, lowest and longest; only D Dorian has just these seven pitch classes.
    let settings = [("source_tonic", "Auto"), ("source_mode", "Auto")];
    let mut session = folding(DORIAN, &settings)?;
    session.run_to(2.0)?;
    let line = session.recording().channel(1);
    line.assert_attacks(0.25, "D4 Eb4 F4 G4 | A4 Bb4 C5 D5");
    Ok(())
}

#[test]
fn a_lane_of_fold_amount_turns_one_degree_after_another() -> Outcome {
    let mut session = folding(DORIAN, &[("fold_amount", "0 %")])?;
    session.ramp("fold_amount", (2.0, 0.0), (6.0, 1.0), 400)?;
    session.run_to(8.0)?;
    // Dorian, then Aeolian (B lowered: the least distant on the circle of fifths), then Phrygian.
    session.recording().channel(1).assert_attacks(
        0.25,
        "D4 E4 F4 G4 | A4 B4 C5 D5 \
         | D4 E4 F4 G4 | A4 Bb4 C5 D5 \
         | D4 E4 F4 G4 | A4 Bb4 C5 D5 \
         | D4 Eb4 F4 G4 | A4 Bb4 C5 D5",
    );
    Ok(())
}

#[test]
fn the_mode_is_recast_on_the_very_sample_of_the_automation() -> Outcome {
    let mut session = folding("E4 E4 E4 E4", &[("fold_amount", "0 %")])?;
    session.automate(0.5, "fold_amount", "100 %")?;
    session.automate(1.0 + 1.0 / 24_000.0, "fold_amount", "0 %")?;
    session.run_to(2.0)?;
    let line = session.recording().channel(1);
    line.assert_attacks(0.25, "E4 E4 Eb4 Eb4 | Eb4 E4 E4 E4");
    Ok(())
}

#[test]
fn a_note_keeps_the_pitch_it_started_with_until_it_ends() -> Outcome {
    let mut session = folding("E4 - - - - - - .", &[("fold_amount", "0 %")])?;
    session.automate(1.0, "fold_amount", "100 %")?;
    session.run_to(4.0)?;
    session
        .recording()
        .channel(1)
        .assert_sounds(0.25, "E4 - - - - - - . | Eb4 - - - - - - .");
    session.recording().assert_no_note_hangs();
    Ok(())
}

#[test]
fn nearest_moves_only_what_is_not_in_the_mode_and_ties_go_down() -> Outcome {
    // E lies between E flat and F, B between B flat and C: both go down. F sharp lies a semitone
    // below G and above F: down again.
    let mut session = folding("D4 E4 F#4 G4 | A4 B4 C5 D5", &[("fold", "Nearest")])?;
    session.run_to(2.0)?;
    let line = session.recording().channel(1);
    line.assert_attacks(0.25, "D4 Eb4 F4 G4 | A4 Bb4 C5 D5");
    Ok(())
}

#[test]
fn a_target_tonic_by_automation_moves_the_whole_phrase() -> Outcome {
    let mut session = folding(DORIAN, &[("target_mode", "Dorian")])?;
    session.automate(2.0, "target_tonic", "E")?;
    session.run_to(4.0)?;
    session.recording().channel(1).assert_attacks(
        0.25,
        "D4 E4 F4 G4 | A4 B4 C5 D5 | E4 F#4 G4 A4 | B4 C#5 D5 E5",
    );
    Ok(())
}

#[test]
fn the_copies_are_folded_too_and_their_octaves_stay_within_midi() -> Outcome {
    let settings = [
        ("copies", "2"),
        ("copy1_octave", "3"),
        ("copy2_octave", "-3"),
    ];
    let mut session = folding("E8 B1 E0 E4", &settings)?;
    session.run_to(1.0)?;
    let keys = |channel| session.recording().channel(channel).keys();
    assert_eq!(keys(1), [111, 34, 15, 63]);
    // E flat 8 three octaves up is brought back by octaves to the highest there is.
    assert_eq!(keys(2), [123, 70, 51, 99]);
    // And three down from E flat 0, to the lowest.
    assert_eq!(keys(3), [75, 10, 3, 27]);
    Ok(())
}

#[test]
fn folding_off_plays_what_was_played() -> Outcome {
    let mut session = folding(DORIAN, &[])?;
    session.automate(2.0, "fold", "Off")?;
    session.run_to(4.0)?;
    let line = session.recording().channel(1).between(2.0, 4.0);
    line.assert_attacks(0.25, DORIAN);
    Ok(())
}
