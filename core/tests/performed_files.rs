//! What was performed, taken away: every file tells it, and where it turns into what is generated.

#![allow(clippy::unwrap_used, reason = "a test")]

use procession_core::exchange::picture::Picture;
use procession_core::exchange::score::{Layout, Score};
use procession_core::exchange::{Unrolled, midi, plan};
use procession_core::performed::{Happened, Moment, Recollection, Shape};
use procession_core::phrase::Phrase;
use procession_core::process::Process;
use procession_core::settings::{Advance, Motion, Settings};
use procession_core::tempo_map::{TempoMap, TempoStep};

/// Six steps, a cycle of 1.5 beats, from beat 4 on; counted, a copy would jump every two cycles.
/// Cues came 5.8 and 15.9 beats after the beginning, and were followed after 6 and 16.5: after four
/// cycles, and after seven more.
fn performed() -> Unrolled {
    let mut settings = Settings::default();
    settings.motion.motion = Motion::Jump;
    settings.motion.advance = Advance::OnCue;
    settings.motion.dwell = 2;
    let phrase = Phrase::from_text("D4 F4 G4 A4 C5 E4", 0.25).unwrap();
    let mut told = Recollection {
        first: Some(Shape::of(&settings)),
        ..Recollection::default()
    };
    let cue = |at| Moment {
        at,
        what: Happened::Cue,
    };
    told.moments.extend([cue(5.8), cue(15.9)]);
    let process = Process::new(phrase, settings, 4.0);
    Unrolled::performed(&process, &told, 120.0, 4.0)
}

#[test]
fn the_plan_in_words_tells_the_stages_as_they_were() {
    let unrolled = performed();
    let text = plan::text(&unrolled.piece("Night ferry"));
    assert!(
        text.contains("Performed up to bar 5, as generated from here on.\n"),
        "{text}"
    );
    let lines: Vec<&str> = text
        .lines()
        .skip_while(|line| !line.contains("alignment  "))
        .collect();
    for (line, said) in lines.iter().skip(1).zip([
        "unison",
        "copy 1 stays 1 step ahead, on cue",
        "(as generated from here on)",
        "copy 1 stays 2 steps ahead, on cue",
        "copy 1 stays 3 steps ahead ",
    ]) {
        assert!(line.contains(said), "{said}: {text}");
    }
}

#[test]
fn the_plan_for_programs_says_who_made_each_stage() {
    let unrolled = performed();
    let text = plan::json(&unrolled.piece("Night ferry"));
    let plan: serde_json::Value = serde_json::from_str(&text).unwrap();
    assert_eq!(plan["performed_until"], 16.5);
    let stage = |index: usize| {
        let stage = &plan["stages"][index];
        let lasts = stage["length_beats"].as_f64().unwrap();
        (
            lasts,
            stage["made"].as_str().unwrap(),
            stage["on_cue"].as_bool().unwrap(),
        )
    };
    assert_eq!(stage(0), (6.0, "performed", false));
    assert_eq!(stage(1), (10.5, "performed", true));
    assert_eq!(stage(2), (3.0, "generated", true));
    assert_eq!(stage(3), (3.0, "generated", false));
}

#[test]
fn markers_of_a_midi_file_lie_where_stages_were_cued() {
    let unrolled = performed();
    let markers = midi::Score::of(&unrolled.piece("Night ferry")).markers;
    let markers: Vec<_> = markers[..4]
        .iter()
        .map(|(at, words)| (*at, words.as_str()))
        .collect();
    assert_eq!(
        markers,
        [
            (0.0, "unison"),
            (6.0, "copy 1 stays 1 step ahead, on cue"),
            (16.5, "performed up to here, as generated from here on"),
            (16.5, "copy 1 stays 2 steps ahead, on cue"),
        ]
    );
}

/// What was performed has the number of plays that there were, and no range to choose from.
#[test]
fn the_score_says_up_to_where_it_was_performed_and_what_came_on_cue() {
    let unrolled = performed();
    let score = Score {
        piece: unrolled.piece("Night ferry"),
        layout: Layout::SharedBeatOne,
        transpositions: &[],
    };
    let sheet = score.sheet();
    let plays: Vec<u32> = sheet.passages[..4]
        .iter()
        .map(|passage| passage.plays)
        .collect();
    assert_eq!(plays, [4, 7, 2, 2]);
    assert_eq!(sheet.passages[1].customary_plays(&score), None);
    let xml = score.to_musicxml();
    assert_eq!(
        xml.matches("performed up to here,\nas generated from here on")
            .count(),
        1
    );
    assert_eq!(xml.matches("on cue").count(), 2);
    assert!(xml.contains("play 4x") && xml.contains("play 7x"));
}

#[test]
fn the_picture_has_a_line_where_it_was_performed_up_to() {
    let unrolled = performed();
    let picture = Picture {
        piece: unrolled.piece("Night ferry"),
        turnings: &unrolled.turnings,
    };
    let svg = picture.to_svg();
    assert!(svg.contains("performed up to bar 5") && svg.contains("as generated from here on"));
}

/// 6 beats at 120 are 3 seconds, 10.5 at 60 as many more as they are beats.
#[test]
fn files_go_as_fast_as_the_song_did() {
    let step = |at, tempo| TempoStep { at, tempo };
    let unrolled = Unrolled {
        tempi: TempoMap::new([step(0.0, 120.0), step(6.0, 60.0)]),
        ..performed()
    };
    let piece = unrolled.piece("Night ferry");
    assert_eq!(midi::Score::of(&piece).tempo, [(0.0, 120.0), (6.0, 60.0)]);
    let plan: serde_json::Value = serde_json::from_str(&plan::json(&piece)).unwrap();
    assert_eq!(plan["stages"][1]["start_seconds"], 3.0);
    assert_eq!(plan["stages"][2]["start_seconds"], 13.5);
    assert!(plan::text(&piece).contains(" at 60 to 120 bpm; "));
    let score = Score {
        piece,
        layout: Layout::SharedBeatOne,
        transpositions: &[],
    };
    let tempi: Vec<f64> = score.sheet().passages.iter().map(|one| one.tempo).collect();
    assert_eq!(tempi[..3], [120.0, 60.0, 60.0]);
    let xml = score.to_musicxml();
    assert_eq!(xml.matches("<sound tempo=").count(), 2);
    assert!(xml.contains("<sound tempo=\"60\"/>"));
}

#[test]
fn where_nothing_was_performed_no_file_says_so() {
    let phrase = Phrase::from_text("D4 F4 G4 A4 C5 E4", 0.25).unwrap();
    let process = Process::new(phrase, Settings::default(), 4.0);
    let unrolled = Unrolled::performed(&process, &Recollection::default(), 120.0, 4.0);
    let piece = unrolled.piece("Night ferry");
    assert!(!plan::text(&piece).contains("erformed"));
    let plan: serde_json::Value = serde_json::from_str(&plan::json(&piece)).unwrap();
    assert!(plan["performed_until"].is_null());
    assert_eq!(plan["stages"][0]["made"], "generated");
}
