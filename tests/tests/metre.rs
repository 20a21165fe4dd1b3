//! Metre, through a host: click and accents follow how its bar is grouped, and a pick-up keeps its
//! place before beat one.

mod common;

use common::plugin;
use procession_tests::host::Error;
use procession_tests::session::Session;
use procession_tests::staging::{listening, play_live, project_with, sixteenths};

type Outcome = Result<(), Error>;

const ALONE: (&str, &str) = ("copies", "0");

/// Key and velocity, of 127, of what begins on a channel from a place on, by the place.
fn strokes(session: &Session, channel: u16, from: f64) -> Vec<(f64, u16, f64)> {
    let notes = session.recording().channel(channel).notes();
    let late = notes.iter().filter(|note| note.start.beats > from - 1e-3);
    let rounded = |beats: f64| (beats * 1000.0).round() / 1000.0;
    late.map(|note| {
        (
            rounded(note.start.beats),
            note.key,
            (note.velocity * 127.0).round(),
        )
    })
    .collect()
}

/// What is clicked in a bar of 7/8 before a phrase that was there: keys, eighth by eighth.
fn clicked(kept: &str) -> Result<Vec<u16>, Error> {
    let mut plugin = plugin()?;
    plugin.load(&project_with(&sixteenths("D4 . F4 ."), 0.0, false, kept))?;
    let mut session = listening(plugin, &[ALONE, ("count_in", "1 bar")])?.in_time(7, 8);
    session.seek(33.0);
    session.automate(34.0, "hold", "On")?;
    session.run_to(38.9)?;
    let clicks = strokes(&session, 10, 0.0);
    let places: Vec<f64> = clicks.iter().map(|click| click.0).collect();
    assert_eq!(places, [35.0, 35.5, 36.0, 36.5, 37.0, 37.5, 38.0], "{kept}");
    Ok(clicks.into_iter().map(|click| click.1).collect())
}

#[test]
fn the_click_follows_how_the_bar_is_grouped() -> Outcome {
    assert_eq!(
        clicked(r#""metre":"3+2+2/8","#)?,
        [76, 77, 77, 76, 77, 76, 77]
    );
    assert_eq!(
        clicked(r#""metre":"usual","#)?,
        [76, 77, 76, 77, 76, 77, 77]
    );
    // A project from before bars were grouped; and a metre that the song's bars are too short for.
    assert_eq!(clicked("")?, [76, 77, 77, 77, 77, 77, 77]);
    assert_eq!(
        clicked(r#""metre":"3+3+2/8","#)?,
        [76, 77, 76, 77, 76, 77, 77]
    );
    Ok(())
}

/// Worked by hand: in 2+2+3 the bar line weighs 1, the other groups 1/2, the eighths within them
/// 1/4; of what is missing to 1, all goes.
#[test]
fn accents_follow_how_the_bar_was_grouped_in_which_it_was_played() -> Outcome {
    let mut session = listening(plugin()?, &[ALONE, ("accents", "100 %")])?.in_time(7, 8);
    play_live(
        &mut session,
        7.0,
        &sixteenths("D4 . E4 . F4 . G4 . A4 . B4 . C5 ."),
    );
    session.automate(10.5, "hold", "On")?;
    session.run_to(13.9)?;
    let heard = strokes(&session, 1, 10.5);
    let hard: Vec<f64> = heard.iter().map(|note| note.2).collect();
    let full = (0.7 * 127.0_f64).round();
    assert_eq!(hard[0], full);
    for (index, weight) in [1.0, 0.25, 0.5, 0.25, 0.5, 0.25, 0.25].iter().enumerate() {
        assert!((hard[index] - full * weight).abs() <= 1.0, "{hard:?}");
    }
    Ok(())
}

#[test]
fn a_pick_up_comes_before_the_bar_line_on_which_it_is_begun_again() -> Outcome {
    for (begin, count_in, on, bar_line) in [
        // The next bar line that the eighth before it still leads to.
        ("Bar", "0 bars", 28.2, 32.0),
        ("Bar", "0 bars", 31.6, 36.0),
        // A bar of click from 32 on; the eighth is played within it.
        ("Bar", "1 bar", 29.0, 36.0),
        // The next beat that it leads to.
        ("Beat", "0 bars", 29.2, 30.0),
        ("Beat", "0 bars", 29.7, 31.0),
    ] {
        let settings = [ALONE, ("begin_on", begin), ("count_in", count_in)];
        let mut session = listening(plugin()?, &settings)?;
        let bar = "A4 . D4 . . . F4 . . . G4 . . . F4 .";
        play_live(&mut session, 7.5, &sixteenths(&format!("{bar} {bar}")));
        session.automate(15.5, "hold", "On")?;
        session.automate(20.0, "hold", "Off")?;
        session.run_to(on - 1.0)?;
        // Taken, it goes on where it was played: the eighth before the bar line.
        let taken = strokes(&session, 1, 15.5);
        assert_eq!(
            (taken[0].0, taken[0].1, taken[1].0, taken[1].1),
            (15.5, 69, 16.0, 62)
        );
        session.automate(on, "hold", "On")?;
        session.run_to(bar_line + 1.0)?;
        let again = strokes(&session, 1, on);
        let places = (again[0].0, again[0].1, again[1].0, again[1].1);
        assert_eq!(
            places,
            (bar_line - 0.5, 69, bar_line, 62),
            "{begin} {count_in} {on}"
        );
        session.recording().assert_no_note_hangs();
    }
    Ok(())
}
