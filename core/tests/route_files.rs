//! A written route in every file: the plan in words, the score, MIDI and the picture say what the
//! list says.

#![allow(clippy::unwrap_used, reason = "a test")]

use procession_core::exchange::picture::Picture;
use procession_core::exchange::score::{Layout, Score};
use procession_core::exchange::{Unrolled, midi, plan};
use procession_core::part::{MAX_COPIES, Part};
use procession_core::phrase::Phrase;
use procession_core::process::Process;
use procession_core::route::{Afterwards, Dwell, Route, Way, WrittenStage};
use procession_core::settings::{Motion, Settings};
use procession_core::time::Span;

/// Copy 1 so many steps ahead, come to by `motion` over a cycle.
fn stage(motion: Motion, cycles: u32, steps: f64) -> WrittenStage {
    let mut ahead = [0.0; MAX_COPIES];
    ahead[0] = steps;
    WrittenStage {
        way: Way { motion, over: 1 },
        dwell: Dwell::Cycles(cycles),
        ahead,
        grown: None,
        turn: None,
    }
}

/// Eight steps, two beats a cycle. Unison for 2 cycles, a jump to 5 ahead for 3, a drift to 3 for
/// 2, and then nothing sounds. Two steps back, half a beat, want 1 - 2 * 0.5 / R >= 1/2, an R of two beats:
/// the one cycle that is written is enough.
fn written(back_to: f64) -> Unrolled {
    let stages = [
        stage(Motion::Jump, 2, 0.0),
        stage(Motion::Jump, 3, 5.0),
        stage(Motion::Drift, 2, back_to),
    ];
    let phrase = Phrase::from_text("D4 . . F4 . A4 . .", 0.25).unwrap();
    let mut process = Process::new(phrase, Settings::default(), 0.0);
    process.set_route(&Route::new(&stages, Afterwards::Silence).unwrap());
    Unrolled::new(process, 60.0, 4.0)
}

#[test]
fn the_plan_in_words_tells_the_route() {
    let unrolled = written(3.0);
    let text = plan::text(&unrolled.piece("Night ferry"));
    // Of the table: time and what. A beat is a second.
    let told: Vec<(String, String)> = text
        .lines()
        .filter(|line| line.contains("copy 1") || line.contains("  unison  "))
        .filter(|line| {
            line.trim_start()
                .starts_with(|sign: char| sign.is_ascii_digit())
        })
        .map(|line| {
            let columns: Vec<&str> = line.split("  ").map(str::trim).collect();
            let columns: Vec<&str> = columns.into_iter().filter(|one| !one.is_empty()).collect();
            (columns[2].to_owned(), columns[3].to_owned())
        })
        .collect();
    let expected = [
        ("0:00", "unison"),
        ("0:04", "copy 1 stays 5 steps ahead"),
        ("0:10", "copy 1 drifts to 3 steps ahead"),
        ("0:12", "copy 1 stays 3 steps ahead"),
    ];
    let expected: Vec<_> = expected
        .map(|(at, what)| (at.to_owned(), what.to_owned()))
        .into();
    assert_eq!(told, expected, "{text}");
    assert!(!text.contains("not the 1"), "{text}");
}

/// Three steps back are 0.75 beats: R >= 3 beats, two cycles of two.
#[test]
fn a_drift_that_takes_longer_than_is_written_is_told() {
    let unrolled = written(2.0);
    let text = plan::text(&unrolled.piece("Night ferry"));
    assert!(
        text.contains("The drift to stage 3 of the route takes 2 cycles, not the 1 cycle written"),
        "{text}"
    );
    // 2 + 3 dwelt, 2 drifted, 2 dwelt: nine cycles of two beats.
    assert_eq!(unrolled.form.totals.chosen, 18.0);
}

/// The copy's strokes by hand: on 0, 3 and 5 of eight; five ahead they come on 3, 6 and 0.
#[test]
fn what_is_played_stands_where_the_list_has_it() {
    let unrolled = written(3.0);
    let strokes = |from: f64, to: f64| -> Vec<f64> {
        let span = Span::new(from, to);
        let copy = unrolled
            .notes
            .iter()
            .filter(|note| note.part == Part::COPY_1);
        let inside = copy.filter(|note| note.on > span.start - 1e-6 && note.on < span.end - 1e-6);
        inside
            .map(|note| ((note.on - from) * 4.0).round())
            .collect()
    };
    assert_eq!(strokes(0.0, 2.0), [0.0, 3.0, 5.0]);
    assert_eq!(strokes(4.0, 6.0), [0.0, 3.0, 6.0]);
    // Three ahead: on 5, 0 and 2.
    assert_eq!(strokes(12.0, 14.0), [0.0, 2.0, 5.0]);
    assert!(unrolled.notes.iter().all(|note| note.on < 16.0));
    let file = midi::write(&midi::Score::of(&unrolled.piece("Night ferry"))).unwrap();
    let all = midi::read_phrase(&file, 0.25, &midi::Excerpt::default()).unwrap();
    assert_eq!(
        all.phrase.notes().len() + all.left_out,
        unrolled.notes.len()
    );
}

#[test]
fn score_and_picture_name_the_places() {
    let unrolled = written(3.0);
    let piece = unrolled.piece("Night ferry");
    let xml = Score {
        piece,
        layout: Layout::default(),
        transpositions: &[],
    }
    .to_musicxml();
    let svg = Picture {
        piece,
        turnings: &[],
    }
    .to_svg();
    // The grid is of sixteenths: so a score counts.
    for words in ["jump: 5 sixteenths ahead", "3 sixteenths ahead"] {
        assert!(xml.contains(words), "the score does not say {words}");
    }
    for place in ["bar 2: 5 steps ahead", "bar 4: 3 steps ahead"] {
        assert!(svg.contains(place), "the picture does not say {place}");
    }
}
