//! Where the process begins and how it ends, through a host.
//!
//! The laws, for any song, are in `core/tests/beginning.rs`; here is that a host's lanes, metre and
//! projects come through.

mod common;

use common::{assert_plays, plugin};
use procession_tests::heard::HeardNote;
use procession_tests::host::Error;
use procession_tests::session::{Blocks, Session};
use procession_tests::staging::{framed, listening, project, sixteenths};
use serde_json::{Value, json};

type Outcome = Result<(), Error>;

/// Four eighths: a cycle of two beats that no metre here is made of but 4/4.
const FOUR: &str = "D4 - F4 - G4 - A4 -";
const ALONE: (&str, &str) = ("copies", "0");

/// A song that has rolled on to `from`, a phrase loaded that began at the beginning of the song,
/// and hold off.
fn loaded(settings: &[(&str, &str)], from: f64) -> Result<Session, Error> {
    let mut plugin = plugin()?;
    plugin.load(&project(&sixteenths(FOUR), 0.0, false))?;
    let mut session = listening(plugin, settings)?;
    session.seek(from);
    Ok(session)
}

/// The state with a beginning that is written.
fn beginning_at(state: &[u8], at: f64) -> Vec<u8> {
    let mut state: Value = serde_json::from_slice(&state[8..]).expect("a saved state is JSON");
    let kept = state["fields"]["kept"].as_str().expect("a text");
    let mut kept: Value = serde_json::from_str(kept).expect("JSON");
    kept["begins_at"] = json!(at);
    state["fields"]["kept"] = json!(kept.to_string());
    framed(&state.to_string())
}

fn of_channel(session: &Session, channel: u16) -> Vec<HeardNote> {
    let notes = session.recording().notes();
    let on_it = notes.into_iter().filter(|note| note.channel == channel);
    on_it.collect()
}

/// The lane's point in bar 33, the boundary, and where it is.
const METRES: [(u16, u16, f64, f64); 3] = [
    // Beats a bar, note value, quarters a bar, quarters a beat.
    (4, 4, 4.0, 1.0),
    (7, 8, 3.5, 0.5),
    (5, 4, 5.0, 1.0),
];

#[test]
fn a_lane_that_switches_hold_on_in_bar_33_begins_the_phrase_there() -> Outcome {
    let blocks = [
        Blocks::Of(1024),
        Blocks::Of(1),
        Blocks::Random {
            seed: 7,
            longest: 3_000,
        },
    ];
    for (beats, value, bar, beat) in METRES {
        for (blocks, within) in blocks.iter().zip([0.4321, 0.0837, 0.91]) {
            let line = 32.0 * bar;
            let on = line + within * bar;
            let next_beat = line + (on - line).div_euclid(beat) * beat + beat;
            for (begin_on, boundary) in [("Now", on), ("Beat", next_beat), ("Bar", line + bar)] {
                let settings = [ALONE, ("begin_on", begin_on)];
                let mut session = loaded(&settings, line - 0.1)?
                    .in_time(beats, value)
                    .blocks(blocks.clone());
                // The tempo is on its way all the time.
                for step in 0..12 {
                    let at = line + f64::from(step) * bar / 12.0;
                    session.tempo_at(at, 240.0 + 17.3 * f64::from(step));
                }
                session.automate(on, "hold", "On")?;
                session.run_to(line + bar + 0.6)?;
                let first = of_channel(&session, 1)[0];
                let late = first.start.beats - boundary;
                let a_frame = 450.0 / (60.0 * 48_000.0);
                assert!(
                    first.key == 62 && (-1e-6..a_frame).contains(&late),
                    "{beats}/{value} {begin_on} {blocks:?}: {late} late, key {}",
                    first.key
                );
            }
        }
    }
    Ok(())
}

#[test]
fn a_project_that_was_saved_since_plays_the_same_from_any_bar() -> Outcome {
    let mut session = loaded(&[ALONE], 126.0)?;
    session.automate(129.5, "hold", "On")?;
    session.run_to(140.0)?;
    // On the bar, which is bar 34.
    assert_plays(
        &session,
        1,
        128.0,
        &[". . . . . . . .", ". . . . . . . .", FOUR].join(" "),
    );
    let saved = session.plugin().save()?;
    let mut again = plugin()?;
    again.load(&saved)?;
    let mut again = listening(again, &[])?;
    again.seek(137.0);
    again.run_to(141.0)?;
    assert_plays(&again, 1, 137.0, "G4 - A4 - D4 - F4 - G4 - A4 -");
    Ok(())
}

#[test]
fn a_beginning_that_is_written_in_the_project_is_waited_for_and_joined() -> Outcome {
    let mut writing = plugin()?;
    writing.load(&project(&sixteenths(FOUR), 0.0, false))?;
    let written = beginning_at(&writing.save()?, 128.0);
    let opened = |from: f64| -> Result<Session, Error> {
        let mut plugin = plugin()?;
        plugin.load(&written)?;
        let mut session = listening(plugin, &[ALONE])?;
        session.seek(from);
        Ok(session)
    };
    let mut before = opened(120.0)?;
    before.automate(121.3, "hold", "On")?;
    before.run_to(131.0)?;
    let first = of_channel(&before, 1)[0];
    assert!((first.start.beats - 128.0).abs() < 1e-3, "{first:?}");
    let mut after = opened(132.0)?;
    after.automate(133.0, "hold", "On")?;
    after.run_to(136.0)?;
    assert_plays(&after, 1, 132.0, ". . . . G4 - A4 - D4 - F4 -");
    // It is kept.
    let saved = String::from_utf8_lossy(&after.plugin().save()?[8..]).into_owned();
    assert!(saved.contains(r#"\"begins_at\":128.0"#), "{saved}");
    Ok(())
}

#[test]
fn it_is_counted_in_on_a_channel_of_its_own_and_softly_by_the_mallets() -> Outcome {
    let settings = [ALONE, ("count_in", "1 bar"), ("audition", "-6 dB")];
    let mut session = loaded(&settings, 127.0)?.in_time(3, 4).keeping_sound();
    session.automate(127.5, "hold", "On")?;
    session.automate(136.9, "hold", "Off")?;
    session.run_to(137.0)?;
    let clicks: Vec<_> = of_channel(&session, 10)
        .iter()
        .map(|note| ((note.start.beats * 1000.0).round() / 1000.0, note.key))
        .collect();
    // Held in bar 43 of three: clicked in bar 44, and the music begins with bar 45.
    assert_eq!(clicks, [(129.0, 76), (130.0, 77), (131.0, 77)]);
    let first = of_channel(&session, 1)[0];
    assert!((first.start.beats - 132.0).abs() < 1e-3, "{first:?}");
    session.recording().assert_no_note_hangs();
    let [left, _] = session.sound();
    let loudest = |from: f64, to: f64| {
        let frame = |beats: f64| ((beats - 127.0) * 24_000.0) as usize;
        let part = &left[frame(from)..frame(to)];
        part.iter()
            .fold(0.0_f32, |most, sample| most.max(sample.abs()))
    };
    let (before, counted, music) = (
        loudest(127.0, 129.0),
        loudest(129.0, 132.0),
        loudest(132.0, 137.0),
    );
    assert_eq!(before, 0.0);
    assert!(counted > 1e-3 && counted < music, "{counted} {music}");
    Ok(())
}

#[test]
fn hold_off_plays_the_cycle_to_its_end_and_then_there_is_silence() -> Outcome {
    for blocks in [Blocks::Of(1024), Blocks::Of(7)] {
        let settings = [
            ("copies", "3"),
            ("copy2_offset", "1.5 steps"),
            ("end_on", "Cycle"),
        ];
        let mut session = loaded(&settings, 3.0)?.blocks(blocks);
        session.automate(3.5, "hold", "On")?;
        session.automate(7.2, "hold", "Off")?;
        session.run_to(12.0)?;
        assert_plays(&session, 1, 4.0, &format!("{FOUR} {FOUR} . . . . . . . ."));
        session.recording().assert_no_note_hangs();
        let events = session.recording();
        let last = events.events().last().expect("something was heard");
        assert!((last.beats - 8.0).abs() < 1e-3, "{last:?}");
    }
    Ok(())
}
