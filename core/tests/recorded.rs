//! What a dozen and more settings put out, kept as files: notes, plan, score. A change of the
//! house is not heard; a change of the music shows in the files, line by line.
//!
//! `PROCESSION_RECORD=1 cargo test -p procession-core --test recorded` writes them anew. Say in the
//! commit what a musician will hear that is different.

#![allow(clippy::unwrap_used, reason = "a test")]

use procession_core::exchange::Unrolled;
use procession_core::exchange::plan;
use procession_core::exchange::score::{Layout, Score};
use procession_core::mode::ModeName;
use procession_core::note::{Key, Note, Velocity};
use procession_core::phrase::Phrase;
use procession_core::process::{Process, VoiceNote};
use procession_core::settings::*;
use procession_core::time::{Beats, Span};
use procession_core::unrolling::unroll;
use std::fmt::Write;
use std::path::PathBuf;

/// Six notes in eight steps, in D Dorian.
const EIGHT: &str = "D4 . F4 G4 . A4 C5 .";

/// Seven strokes over five beats, with a chord, long notes and triplets between.
fn loose() -> Phrase {
    let notes = [
        (0.0, 0.5, 57, 0.9),
        (0.0, 1.25, 64, 0.6),
        (2.0 / 3.0, 1.0 / 3.0, 60, 0.5),
        (1.0, 1.0 / 3.0, 62, 0.7),
        (2.375, 0.3, 69, 0.8),
        (3.04, 1.96, 71, 0.4),
        (4.5, 0.75, 65, 1.0),
    ];
    let notes = notes.map(|(onset, length, key, velocity)| Note {
        onset,
        length,
        key: Key::new(key).unwrap(),
        velocity: Velocity::new(velocity),
        said: None,
    });
    Phrase::new(notes, 5.0).unwrap()
}

fn eight() -> Phrase {
    Phrase::from_text(EIGHT, 0.25).unwrap()
}

/// A short piece: dwells of two cycles, drifts of two.
fn short(change: impl FnOnce(&mut Settings)) -> Settings {
    let mut settings = Settings::default();
    settings.motion.dwell = 2;
    settings.motion.drift = 2;
    settings.motion.shifts = Shifts::Count(3);
    settings.growth.every = 1;
    settings.growth.step = 2;
    change(&mut settings);
    settings
}

/// A control that moves, or a cue, at a song position.
enum Moment {
    Settings(Box<Settings>),
    Cue,
}

/// Plays on from the origin; every moment takes hold at its place.
fn performed(process: &mut Process, moments: &[(Beats, Moment)], end: Beats) -> Vec<VoiceNote> {
    let mut heard = Vec::new();
    let mut from = process.origin();
    for (at, moment) in moments {
        heard.extend(unroll(process, Span::new(from, *at)));
        match moment {
            Moment::Settings(settings) => process.set_settings(**settings, *at),
            Moment::Cue => {
                process.cue(*at);
            }
        }
        from = *at;
    }
    heard.extend(unroll(process, Span::new(from, end)));
    heard
}

/// A line a note: part, beginning, end, key, velocity.
fn in_words(notes: &[VoiceNote]) -> String {
    let mut out = String::new();
    for note in notes {
        let _ = writeln!(
            out,
            "{} {:.6} {:.6} {} {}",
            note.part.index(),
            note.on,
            note.off,
            note.key.number(),
            note.velocity.midi()
        );
    }
    out
}

/// FNV-1a, 64 bits (Fowler, Noll and Vo; constants from memory): scores are long.
fn digest(text: &str) -> u64 {
    text.bytes().fold(0xcbf2_9ce4_8422_2325, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3)
    })
}

#[track_caller]
fn compare(name: &str, now: &str) {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .join("tests/recordings")
        .join(format!("{name}.txt"));
    if std::env::var_os("PROCESSION_RECORD").is_some() {
        std::fs::write(&path, now).unwrap();
        return;
    }
    let then = std::fs::read_to_string(&path)
        .unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    let differs = then.lines().zip(now.lines()).position(|(a, b)| a != b);
    if let Some(line) = differs {
        let (a, b) = (then.lines().nth(line), now.lines().nth(line));
        panic!("{name}, line {}:\n  was {a:?}\n  is  {b:?}", line + 1);
    }
    assert_eq!(then.len(), now.len(), "{name}: one goes on longer");
}

/// A piece from its origin to its end, in every form in which it leaves.
#[track_caller]
fn piece(name: &str, phrase: Phrase, settings: Settings) {
    let unrolled = Unrolled::new(Process::new(phrase, settings, 16.0), 112.0, 4.0);
    let piece = unrolled.piece("Recorded");
    let mut out = plan::text(&piece);
    for layout in [Layout::SharedBeatOne, Layout::OwnBeatOne] {
        let score = Score {
            piece,
            layout,
            transpositions: &[],
        };
        let score = score.to_musicxml();
        let _ = writeln!(out, "score {layout:?}: {:016x}", digest(&score));
    }
    let _ = writeln!(out, "plan as JSON: {:016x}", digest(&plan::json(&piece)));
    out.push_str(&in_words(&unrolled.notes));
    compare(name, &out);
}

#[test]
fn a_drift() {
    piece("drift", eight(), short(|_| ()));
}

#[test]
fn a_drift_of_three_fanned_copies_with_entry_gaps() {
    let settings = short(|settings| {
        settings.motion.copies = 3;
        settings.motion.entry = 1;
        settings.motion.shifts = Shifts::Count(2);
        settings.copies[1].octave = 1;
        settings.copies[2].level = 0.5;
    });
    piece("drift-fanned-entry", eight(), settings);
}

#[test]
fn a_drift_backwards_in_turn() {
    let settings = short(|settings| {
        settings.motion.copies = 2;
        settings.motion.copies_move = CopiesMove::InTurn;
        settings.motion.shift_by = -2;
        settings.motion.shifts = Shifts::Count(4);
    });
    piece("drift-in-turn-back", eight(), settings);
}

#[test]
fn a_loose_phrase_with_a_chord_drifts() {
    piece("drift-loose", loose(), short(|_| ()));
}

#[test]
fn a_drift_too_fast_to_be_played() {
    let settings = short(|settings| {
        settings.motion.copies = 2;
        settings.motion.shift_by = 8;
        settings.motion.drift = 1;
        settings.motion.shifts = Shifts::Count(1);
    });
    piece("drift-slowed", eight(), settings);
}

#[test]
fn a_jump_of_copies_together_that_stand_apart() {
    let settings = short(|settings| {
        settings.motion.motion = Motion::Jump;
        settings.motion.copies = 2;
        settings.motion.copies_move = CopiesMove::Together;
        settings.motion.offset = 1.5;
        settings.capture.grid = Grid::EighthTriplet;
    });
    piece("jump-together-offset", eight(), settings);
}

#[test]
fn a_jump_once_round() {
    let settings = short(|settings| {
        settings.motion.motion = Motion::Jump;
        settings.motion.dwell = 1;
        settings.motion.shifts = Shifts::Auto;
    });
    piece("jump-round", eight(), settings);
}

#[test]
fn a_jump_without_end() {
    let settings = short(|settings| {
        settings.motion.motion = Motion::Jump;
        settings.motion.dwell = 1;
        settings.motion.shift_by = 3;
        settings.motion.shifts = Shifts::Endless;
    });
    piece("jump-endless", loose(), settings);
}

#[test]
fn a_build_up() {
    let settings = short(|settings| {
        settings.motion.motion = Motion::BuildUp;
        settings.motion.shifts = Shifts::Count(2);
        settings.growth.order = GrowthOrder::CentreOut;
    });
    piece("build-up", eight(), settings);
}

#[test]
fn a_phrase_fills_in_by_strong_beats_and_copies_grow() {
    let settings = short(|settings| {
        settings.growth.growth = Growth::Fill;
        settings.growth.copies_grow = true;
        settings.motion.entry = 2;
        settings.motion.copies = 2;
        settings.motion.motion = Motion::Jump;
        settings.motion.shifts = Shifts::Count(1);
    });
    piece("fill-copies-grow", eight(), settings);
}

#[test]
fn a_phrase_is_stripped_by_chance() {
    let settings = short(|settings| {
        settings.growth.growth = Growth::Fill;
        settings.growth.step = -1;
        settings.growth.order = GrowthOrder::Scattered;
        settings.growth.seed = 77;
        settings.motion.shifts = Shifts::Count(1);
    });
    piece("strip-scattered", loose(), settings);
}

#[test]
fn a_phrase_lengthens() {
    let settings = short(|settings| {
        settings.growth.growth = Growth::Lengthen;
        settings.growth.step = 1;
        settings.growth.order = GrowthOrder::Forward;
        settings.motion.shifts = Shifts::Count(1);
    });
    piece("lengthen", eight(), settings);
}

#[test]
fn a_fold_by_degree_half_way_into_another_mode() {
    let settings = short(|settings| {
        settings.fold.fold = FoldKind::ByDegree;
        settings.fold.target_tonic = 2;
        settings.fold.target_mode = ModeName::Locrian;
        settings.fold.amount = 0.5;
        settings.motion.shifts = Shifts::Count(1);
    });
    piece("fold-by-degree", eight(), settings);
}

#[test]
fn a_fold_to_the_nearest_and_modes_that_change_with_stages_and_bars() {
    let settings = short(|settings| {
        settings.fold.fold = FoldKind::Nearest;
        settings.fold.target_mode = ModeName::WholeTone;
        settings.modulations = Modulations::new([
            Modulation {
                place: Place::Stage(3),
                tonic: 2,
                mode: ModeName::Lydian,
                over: 3,
            },
            Modulation {
                place: Place::Beats(22.0),
                tonic: 4,
                mode: ModeName::Phrygian,
                over: 0,
            },
        ]);
    });
    piece("fold-nearest-mode-changes", loose(), settings);
}

#[test]
fn a_resulting_line_on_top() {
    let settings = short(|settings| {
        settings.motion.dwell = 5;
        settings.motion.shifts = Shifts::Count(1);
        settings.resulting.which = Resulting::Top;
        settings.resulting.octave = 1;
    });
    piece("resulting-top", eight(), settings);
}

#[test]
fn an_offset_that_is_moved_in_a_drift_and_in_a_jump() {
    for (name, motion) in [("moved-drift", Motion::Drift), ("moved-jump", Motion::Jump)] {
        let settings = short(|settings| settings.motion.motion = motion);
        let mut to_three = settings;
        to_three.motion.offset = 3.0;
        let mut back = settings;
        back.copies[0].offset = -0.75;
        let moments = [
            (19.3, Moment::Settings(Box::new(to_three))),
            (26.1, Moment::Settings(Box::new(back))),
        ];
        let mut process = Process::new(eight(), settings, 16.0);
        let heard = performed(&mut process, &moments, 40.0);
        compare(name, &in_words(&heard));
    }
}

#[test]
fn a_growth_step_that_is_turned_round_on_the_way() {
    for (name, growth) in [
        ("turned-fill", Growth::Fill),
        ("turned-lengthen", Growth::Lengthen),
    ] {
        let settings = short(|settings| {
            settings.growth.growth = growth;
            settings.growth.step = 1;
            settings.growth.copies_grow = true;
        });
        let mut away = settings;
        away.growth.step = -2;
        let mut again = settings;
        again.growth.step = 3;
        let moments = [
            (20.5, Moment::Settings(Box::new(away))),
            (25.0, Moment::Settings(Box::new(again))),
        ];
        let mut process = Process::new(eight(), settings, 16.0);
        let heard = performed(&mut process, &moments, 40.0);
        compare(name, &in_words(&heard));
    }
}

#[test]
fn copies_that_are_cued() {
    let settings = short(|settings| {
        settings.motion.advance = Advance::OnCue;
        settings.motion.copies = 2;
        settings.motion.shifts = Shifts::Auto;
    });
    let moments = [
        (21.0, Moment::Cue),
        (22.5, Moment::Cue),
        (30.0, Moment::Cue),
    ];
    let mut process = Process::new(eight(), settings, 16.0);
    let heard = performed(&mut process, &moments, 48.0);
    compare("cued", &in_words(&heard));
}
