//! Phasing: what the moving voices play against the steady one, copy k on channel k + 1.
//!
//! Expected scores are worked out by hand from the definitions of the motions.

mod common;

use common::{assert_plays, plugin};
use procession_tests::heard::HeardNote;
use procession_tests::host::Error;
use procession_tests::session::Session;
use procession_tests::staging::{held, sixteenths};

type Outcome = Result<(), Error>;

/// Four sixteenths: a cycle of one beat.
const FOUR: &str = "C4 D4 E4 G4";

/// Jumps, each alignment played once, unless told otherwise.
const JUMPS: [(&str, &str); 2] = [("motion", "Jump"), ("dwell", "1 cycle")];

fn jumping(settings: &[(&str, &str)]) -> Result<Session, Error> {
    let all: Vec<_> = JUMPS.iter().chain(settings).copied().collect();
    held(plugin()?, &sixteenths(FOUR), &all)
}

#[test]
fn the_second_voice_jumps_a_step_ahead_after_each_cycle_until_all_is_unison_again() -> Outcome {
    let mut session = jumping(&[])?;
    session.run_to(6.0)?;
    assert_plays(&session, 1, 0.0, &[FOUR; 6].join(" | "));
    assert_plays(
        &session,
        2,
        0.0,
        "C4 D4 E4 G4 | D4 E4 G4 C4 | E4 G4 C4 D4 | G4 C4 D4 E4 | C4 D4 E4 G4 | C4 D4 E4 G4",
    );
    Ok(())
}

#[test]
fn a_dwell_of_two_plays_each_alignment_twice() -> Outcome {
    let mut session = jumping(&[("dwell", "2")])?;
    session.run_to(6.0)?;
    assert_plays(
        &session,
        2,
        0.0,
        "C4 D4 E4 G4 | C4 D4 E4 G4 | D4 E4 G4 C4 | D4 E4 G4 C4 | E4 G4 C4 D4 | E4 G4 C4 D4",
    );
    Ok(())
}

#[test]
fn a_negative_shift_falls_behind() -> Outcome {
    let mut session = jumping(&[("shift_by", "-1")])?;
    session.run_to(3.0)?;
    assert_plays(&session, 2, 0.0, "C4 D4 E4 G4 | G4 C4 D4 E4 | E4 G4 C4 D4");
    Ok(())
}

#[test]
fn a_number_of_shifts_holds_where_it_arrives_and_endless_goes_on() -> Outcome {
    let mut session = jumping(&[("shifts", "2")])?;
    session.run_to(6.0)?;
    let arrives = "C4 D4 E4 G4 | D4 E4 G4 C4 | E4 G4 C4 D4";
    assert_plays(
        &session,
        2,
        0.0,
        &format!("{arrives} | E4 G4 C4 D4 | E4 G4 C4 D4 | E4 G4 C4 D4"),
    );
    let mut session = jumping(&[("shifts", "Endless")])?;
    session.run_to(6.0)?;
    assert_plays(
        &session,
        2,
        0.0,
        &format!("{arrives} | G4 C4 D4 E4 | C4 D4 E4 G4 | D4 E4 G4 C4"),
    );
    Ok(())
}

/// Four steps against three, together again after twelve; and against five, of which the last is a rest.
#[test]
fn a_copy_goes_round_in_a_cycle_of_its_own() -> Outcome {
    let own = |length: &'static str| jumping(&[("shifts", "0"), ("copy1_length", length)]);
    let mut session = own("3 steps")?;
    session.run_to(6.0)?;
    assert_plays(&session, 1, 0.0, &[FOUR; 6].join(" | "));
    let round = "C4 D4 E4 C4 | D4 E4 C4 D4 | E4 C4 D4 E4";
    assert_plays(&session, 2, 0.0, &[round; 2].join(" | "));
    let mut session = own("5 steps")?;
    session.run_to(5.0)?;
    let round = "C4 D4 E4 G4 | . C4 D4 E4 | G4 . C4 D4 | E4 G4 . C4 | D4 E4 G4 .";
    assert_plays(&session, 2, 0.0, round);
    Ok(())
}

/// From beat 2 on, the ninth step, it is where three steps would have been: at its third.
#[test]
fn a_lane_changes_the_length_of_a_cycle_at_once() -> Outcome {
    let mut session = jumping(&[("shifts", "0")])?;
    session.automate(1.99, "copy1_length", "3 steps")?;
    session.run_to(4.0)?;
    assert_plays(
        &session,
        2,
        0.0,
        "C4 D4 E4 G4 | C4 D4 E4 G4 | E4 C4 D4 E4 | C4 D4 E4 C4",
    );
    Ok(())
}

#[test]
fn a_phrase_of_two_equal_halves_is_in_unison_after_half_the_shifts() -> Outcome {
    let phrase = sixteenths("C4 D4 C4 D4");
    let mut session = held(plugin()?, &phrase, &JUMPS)?;
    session.run_to(4.0)?;
    assert_plays(
        &session,
        2,
        0.0,
        "C4 D4 C4 D4 | D4 C4 D4 C4 | C4 D4 C4 D4 | C4 D4 C4 D4",
    );
    Ok(())
}

#[test]
fn fanned_the_second_copy_moves_twice_as_far() -> Outcome {
    let mut session = jumping(&[("copies", "2")])?;
    session.run_to(6.0)?;
    assert_plays(&session, 2, 1.0, "D4 E4 G4 C4 | E4 G4 C4 D4 | G4 C4 D4 E4");
    assert_plays(
        &session,
        3,
        0.0,
        "C4 D4 E4 G4 | E4 G4 C4 D4 | C4 D4 E4 G4 | E4 G4 C4 D4 | C4 D4 E4 G4 | C4 D4 E4 G4",
    );
    Ok(())
}

#[test]
fn together_the_copies_keep_the_distances_that_their_offsets_gave_them() -> Outcome {
    let settings = [
        ("copies", "2"),
        ("copies_move", "Together"),
        ("copy2_offset", "2 steps"),
    ];
    let mut session = jumping(&settings)?;
    session.run_to(3.0)?;
    assert_plays(&session, 2, 0.0, "C4 D4 E4 G4 | D4 E4 G4 C4 | E4 G4 C4 D4");
    assert_plays(&session, 3, 0.0, "E4 G4 C4 D4 | G4 C4 D4 E4 | C4 D4 E4 G4");
    Ok(())
}

#[test]
fn in_turn_one_copy_moves_at_a_time() -> Outcome {
    let settings = [("copies", "2"), ("copies_move", "In turn")];
    let mut session = jumping(&settings)?;
    session.run_to(5.0)?;
    assert_plays(
        &session,
        2,
        0.0,
        "C4 D4 E4 G4 | D4 E4 G4 C4 | D4 E4 G4 C4 | E4 G4 C4 D4 | E4 G4 C4 D4",
    );
    assert_plays(
        &session,
        3,
        0.0,
        "C4 D4 E4 G4 | C4 D4 E4 G4 | D4 E4 G4 C4 | D4 E4 G4 C4 | E4 G4 C4 D4",
    );
    Ok(())
}

#[test]
fn copies_enter_one_entry_gap_after_another_and_count_from_there() -> Outcome {
    let mut session = jumping(&[("copies", "3"), ("entry", "2 cycles")])?;
    session.run_to(6.0)?;
    assert_plays(&session, 2, 0.0, "C4 D4 E4 G4 | D4 E4 G4 C4");
    assert_plays(
        &session,
        3,
        0.0,
        ". . . . | . . . . | C4 D4 E4 G4 | E4 G4 C4 D4",
    );
    assert_plays(
        &session,
        4,
        0.0,
        ". . . . | . . . . | . . . . | . . . . | C4 D4 E4 G4 | G4 C4 D4 E4",
    );
    Ok(())
}

#[test]
fn each_copy_has_an_offset_an_octave_and_a_level_of_its_own() -> Outcome {
    let settings = [
        ("dwell", "64"),
        ("copies", "3"),
        ("offset", "1 step"),
        ("copy2_offset", "-1 step"),
        ("copy1_octave", "1"),
        ("copy2_octave", "-2"),
        ("copy1_level", "50 %"),
        ("copy2_level", "200 %"),
        ("copy3_level", "0 %"),
    ];
    let mut session = jumping(&settings)?;
    session.run_to(2.0)?;
    // Copy k stands k times the shared offset ahead, and its own on top.
    assert_plays(&session, 2, 0.0, "D5 E5 G5 C5 | D5 E5 G5 C5");
    assert_plays(&session, 3, 0.0, "D2 E2 G2 C2 | D2 E2 G2 C2");
    assert_plays(&session, 4, 0.0, ". . . . | . . . .");
    let recording = session.recording();
    let velocity = |channel| recording.channel(channel).notes()[0].velocity;
    assert!((velocity(1) - 0.7).abs() < 1e-6);
    assert!((velocity(2) - 0.35).abs() < 1e-6);
    assert_eq!(velocity(3), 1.0);
    Ok(())
}

#[test]
fn the_steady_voice_may_fall_silent_and_the_copies_play_on() -> Outcome {
    let mut session = jumping(&[("steady_level", "0 %")])?;
    session.automate(1.5, "steady_level", "100 %")?;
    session.run_to(2.0)?;
    assert_plays(&session, 1, 0.0, ". . . . | . . E4 G4");
    assert_plays(&session, 2, 0.0, "C4 D4 E4 G4 | D4 E4 G4 C4");
    Ok(())
}

#[test]
fn an_offset_changed_in_jump_waits_for_the_copys_next_cycle() -> Outcome {
    let mut session = jumping(&[("dwell", "64")])?;
    session.automate(2.4, "offset", "2 steps")?;
    session.automate(4.0, "copy1_offset", "1 step")?;
    session.run_to(6.0)?;
    assert_plays(
        &session,
        2,
        1.0,
        "C4 D4 E4 G4 | C4 D4 E4 G4 | E4 G4 C4 D4 | G4 C4 D4 E4 | G4 C4 D4 E4",
    );
    Ok(())
}

#[test]
fn a_build_up_is_silence_then_the_displaced_phrase_note_by_note() -> Outcome {
    let settings = [
        ("motion", "Build up"),
        ("dwell", "1"),
        ("growth_order", "Forward"),
        ("growth_step", "2 notes"),
        ("growth_every", "1 cycle"),
        ("shifts", "2"),
    ];
    let mut session = held(plugin()?, &sixteenths(FOUR), &settings)?;
    session.run_to(8.0)?;
    assert_plays(
        &session,
        2,
        0.0,
        "C4 D4 E4 G4 \
         | .  .  .  . | D4 .  .  C4 | D4 E4 G4 C4 \
         | .  .  .  . | .  .  C4 D4 | E4 G4 C4 D4 | E4 G4 C4 D4",
    );
    Ok(())
}

/// When a rising function reaches `goal`, by halving the interval: nothing the product does.
fn when(goal: f64, place_at: impl Fn(f64) -> f64) -> f64 {
    let (mut early, mut late) = (0.0, goal + 64.0);
    for _ in 0..200 {
        let middle = (early + late) / 2.0;
        if place_at(middle) < goal {
            early = middle;
        } else {
            late = middle;
        }
    }
    late
}

/// Holds what a copy plays against when it should, to the sample.
#[track_caller]
fn assert_onsets(notes: &[HeardNote], place_at: impl Fn(f64) -> f64) {
    assert!(notes.len() > 16, "{}", notes.len());
    for (index, note) in notes.iter().enumerate() {
        let goal = when(index as f64 * 0.25, &place_at) * 24_000.0;
        let late = note.start.frame as f64 - goal;
        assert!(late.abs() < 1.01, "note {index} sounds {late} frames late");
    }
}

/// Two parabolas: leaning into the faster tempo, and relaxing out of it.
fn ease(part: f64) -> f64 {
    match part.clamp(0.0, 1.0) {
        part if part < 0.5 => 2.0 * part * part,
        part => 1.0 - 2.0 * (1.0 - part) * (1.0 - part),
    }
}

#[test]
fn a_drift_leans_ahead_and_locks_in_a_step_further_to_the_sample() -> Outcome {
    let settings = [("dwell", "1"), ("drift", "4 cycles")];
    let mut session = held(plugin()?, &sixteenths(FOUR), &settings)?;
    session.run_to(12.0)?;
    // Beats 0-1 unison, 1-5 drift, 5-6 locked a step ahead, 6-10 drift, 10-11 locked.
    let place_at = |beat: f64| {
        let shifts = ease((beat - 1.0) / 4.0) + ease((beat - 6.0) / 4.0);
        beat + 0.25 * (shifts + ease((beat - 11.0) / 4.0))
    };
    assert_onsets(&session.recording().channel(2).notes(), place_at);
    assert_plays(&session, 2, 5.0, "D4 E4 G4 C4");
    assert_plays(&session, 2, 10.0, "E4 G4 C4 D4");
    Ok(())
}

#[test]
fn durations_stretch_with_the_drift() -> Outcome {
    let settings = [("dwell", "1"), ("drift", "1"), ("shifts", "1")];
    let mut session = held(plugin()?, &sixteenths("C4 - - - - - . ."), &settings)?;
    session.run_to(8.0)?;
    let notes = session.recording().channel(2).notes();
    let end = |note: &HeardNote| note.end.map_or(f64::NAN, |end| end.frame as f64);
    // Beats 0-2 locked, 2-4 drifting: a beat and a half of material, from 2 to 3.5, passes sooner.
    let place_at = |beat: f64| beat + 0.25 * ease((beat - 2.0) / 2.0);
    assert_eq!(notes[0].start.frame, 0);
    assert_eq!(end(&notes[0]), 36_000.0);
    let sooner = when(3.5, place_at) * 24_000.0;
    assert!((end(&notes[1]) - sooner).abs() < 1.01, "{:?}", notes[1]);
    assert!(sooner < 84_000.0 - 3_000.0);
    // Begun before the drift is over, the third ends when all is locked again, a step ahead.
    assert_eq!(end(&notes[2]), (5.5 - 0.25) * 24_000.0);
    assert_eq!(notes[3].start.frame, (6 * 24_000) - 6_000);
    Ok(())
}

#[test]
fn an_offset_changed_in_drift_is_approached_at_a_step_a_drift() -> Outcome {
    let settings = [("dwell", "64"), ("drift", "4")];
    let mut session = held(plugin()?, &sixteenths(FOUR), &settings)?;
    session.automate(2.0, "offset", "2 steps")?;
    session.run_to(12.0)?;
    // Two steps over twice four cycles, in a straight line.
    let place_at = |beat: f64| beat + 0.0625 * (beat - 2.0).clamp(0.0, 8.0);
    assert_onsets(&session.recording().channel(2).notes(), place_at);
    assert_plays(&session, 2, 10.0, "E4 G4 C4 D4");
    Ok(())
}

#[test]
fn an_offset_swept_back_and_forth_never_plays_the_phrase_backwards() -> Outcome {
    let settings = [("dwell", "1"), ("drift", "1"), ("shifts", "Endless")];
    let mut session = held(plugin()?, &sixteenths(FOUR), &settings)?;
    // A host counts from -32 steps as 0 to 32 steps as 1.
    session.ramp("offset", (1.0, 0.5), (3.0, 1.0), 200)?;
    session.ramp("offset", (3.0, 1.0), (4.0, 0.0), 100)?;
    session.run_to(40.0)?;
    let keys = session.recording().channel(2).keys();
    let follows = |key: u16| match key {
        60 => 62,
        62 => 64,
        64 => 67,
        _ => 60,
    };
    assert!(keys.len() > 80, "{}", keys.len());
    for pair in keys.windows(2) {
        assert_eq!(pair[1], follows(pair[0]), "{keys:?}");
    }
    Ok(())
}

#[test]
fn twelve_steps_against_themselves_are_back_in_unison_after_432_beats() -> Outcome {
    // Worked by hand: 12 sixteenths are 3 beats; a dwell of 8 cycles and a drift of 4 are 36
    // beats; 12 shifts bring the copy round.
    let phrase = sixteenths("D4 F4 G4 A4 C5 E4 . G4 A4 B4 D5 C5");
    let mut session = held(plugin()?, &phrase, &[("dwell", "8"), ("drift", "4")])?;
    session.run_to(456.0)?;
    let recording = session.recording();
    let of = |channel: u16, from: f64, to: f64| -> Vec<(u64, u16)> {
        let notes = recording.channel(channel).between(from, to).notes();
        notes
            .iter()
            .map(|note| (note.start.frame, note.key))
            .collect()
    };
    assert_eq!(of(2, 432.0, 456.0), of(1, 432.0, 456.0));
    assert_ne!(of(2, 396.0, 420.0), of(1, 396.0, 420.0));
    // Alignment 6 of 12, half-way: locked six steps ahead from beat 6 x 36 on, for 24 beats.
    let ahead: Vec<u16> = of(2, 216.0, 219.0).iter().map(|(_, key)| *key).collect();
    assert_eq!(ahead, [67, 69, 71, 74, 72, 62, 65, 67, 69, 72, 64]);
    Ok(())
}

#[test]
fn motion_changed_while_it_plays_ends_every_note() -> Outcome {
    let settings = [("dwell", "1"), ("drift", "1"), ("copies", "4")];
    let mut session = held(plugin()?, &sixteenths("C4 - E4 -"), &settings)?;
    for (beat, motion) in [
        (2.3, "Jump"),
        (4.1, "Build up"),
        (9.9, "Drift"),
        (12.0, "Jump"),
    ] {
        session.automate(beat, "motion", motion)?;
    }
    session.automate(16.0, "hold", "Off")?;
    session.run_to(17.0)?;
    session.recording().assert_no_note_hangs();
    Ok(())
}
