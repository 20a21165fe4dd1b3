//! What a copy makes of the phrase by itself: other degrees, other semitones, backwards, upside
//! down; and who is heard.

#![allow(clippy::unwrap_used, reason = "a test")]

mod common;

use procession_core::mode::ModeName;
use procession_core::note::{Key, Note, Velocity};
use procession_core::part::{CopyNumber, Part};
use procession_core::phrase::{Phrase, key_name};
use procession_core::process::Process;
use procession_core::settings::{
    CopySettings, FoldKind, Grid, Growth, GrowthOrder, Hearing, Motion, Resulting, Settings, Shifts,
};
use procession_core::time::Span;
use procession_core::unrolling::unroll;
use proptest::prelude::*;

fn process(words: &str, change: impl FnOnce(&mut Settings)) -> Process {
    let mut settings = Settings::default();
    change(&mut settings);
    Process::new(Phrase::from_text(words, 0.25).unwrap(), settings, 0.0)
}

/// What a part strikes in the first cycle: the step and the key.
fn cycle(process: &Process, part: Part) -> Vec<(f64, u8)> {
    let cycle = Span::new(0.0, process.phrase().length());
    (process.notes(part, cycle))
        .map(|note| (note.on * 4.0, note.key.number()))
        .collect()
}

fn keys(process: &Process, part: Part) -> Vec<u8> {
    let notes = cycle(process, part).into_iter();
    notes.map(|(_, key)| key).collect()
}

/// The melody in C major with which PyPI's music-melodicdevice 0.3.0 shows what it does: two
/// degrees up, and turned over.
#[test]
fn a_melody_moves_by_degrees_and_turns_over_as_a_library_has_it() {
    let melody = "C4 E4 D4 G4 C5";
    let copy = |own: CopySettings| {
        let process = process(melody, |settings| {
            settings.fold.source_tonic = Some(0);
            settings.fold.source_mode = Some(ModeName::Ionian);
            settings.copies[0] = own;
        });
        assert_eq!(keys(&process, Part::Steady), [60, 64, 62, 67, 72]);
        keys(&process, Part::COPY_1)
    };
    let plain = CopySettings::default();
    assert_eq!(
        copy(CopySettings {
            degrees: 2,
            ..plain
        }),
        [64, 67, 65, 71, 76]
    );
    assert_eq!(
        copy(CopySettings {
            upside_down: true,
            ..plain
        }),
        [60, 57, 59, 53, 48]
    );
    assert_eq!(
        copy(CopySettings {
            semitones: -3,
            ..plain
        }),
        [57, 61, 59, 64, 69]
    );
}

#[test]
fn degrees_are_those_of_the_mode_that_is_in_force() {
    let copy = |amount: f64| {
        let process = process("D4 F4 B4", |settings| {
            settings.fold.fold = FoldKind::ByDegree;
            settings.fold.source_tonic = Some(2);
            settings.fold.source_mode = Some(ModeName::Dorian);
            settings.fold.target_tonic = 2;
            settings.fold.target_mode = ModeName::Phrygian;
            settings.fold.amount = amount;
            settings.copies[0].degrees = 1;
        });
        keys(&process, Part::COPY_1)
    };
    // D Dorian: E G C. Half-way B has turned into B flat, which is D Aeolian: E G C. D Phrygian:
    // E flat, G, C.
    assert_eq!(copy(0.0), [64, 67, 72]);
    assert_eq!(copy(0.5), [64, 67, 72]);
    assert_eq!(copy(1.0), [63, 67, 72]);
}

#[test]
fn on_its_way_a_mode_is_that_of_what_has_turned() {
    let process = process("D4 F4 A4", |settings| {
        settings.fold.fold = FoldKind::ByDegree;
        settings.fold.source_tonic = Some(2);
        settings.fold.source_mode = Some(ModeName::Dorian);
        settings.fold.target_tonic = 2;
        settings.fold.target_mode = ModeName::Phrygian;
        settings.fold.amount = 0.5;
        settings.copies[0].degrees = 1;
    });
    assert_eq!(process.mode_at(0.0).name(), "D Aeolian");
    // A goes to B flat, not to B.
    assert_eq!(keys(&process, Part::COPY_1), [64, 67, 70]);
}

#[test]
fn backwards_a_copy_begins_with_the_last_note_and_is_ahead_as_any_other() {
    let backwards = |offset: f64| {
        process("D4 - . F4 G4 A4", |settings| {
            settings.copies[0].backwards = true;
            settings.copies[0].offset = offset;
        })
    };
    let straight = [(0.0, 69), (1.0, 67), (2.0, 65), (4.0, 62)];
    assert_eq!(cycle(&backwards(0.0), Part::COPY_1), straight);
    // A step ahead it sounds a step earlier.
    let ahead = [(0.0, 67), (1.0, 65), (3.0, 62), (5.0, 69)];
    assert_eq!(cycle(&backwards(1.0), Part::COPY_1), ahead);
    assert_eq!(keys(&backwards(1.0), Part::Steady), [62, 65, 67, 69]);
}

/// Backwards, A comes first, then G: so the first lap is A, the second A and G.
#[test]
fn a_copy_that_grows_backwards_lengthens_from_its_own_beginning() {
    let process = process("D4 F4 G4 A4", |settings| {
        settings.growth.growth = Growth::Lengthen;
        settings.growth.every = 1;
        settings.growth.copies_grow = true;
        settings.copies[0].backwards = true;
    });
    let entry = process.voices().entry(Part::COPY_1).unwrap();
    let first: Vec<u8> = process
        .notes(Part::COPY_1, Span::new(entry, entry + 1.5))
        .map(|note| note.key.number())
        .collect();
    assert_eq!(first, [69, 69, 67, 69, 67, 65]);
}

/// Each note is held for 0.3 beats: a sixteenth, or else an eighth. So backwards, on sixteenths G
/// begins at 0.75 and D at 1.75; on eighths, at 0.5 and 1.5, and so much shorter is the first lap.
#[test]
fn a_copy_that_grows_backwards_lengthens_as_another_grid_has_it() {
    let note = |onset, key| Note {
        onset,
        length: 0.3,
        key: Key::new(key).unwrap(),
        velocity: Velocity::new(0.7),
        said: None,
    };
    let phrase = Phrase::new([note(0.0, 62), note(1.0, 67)], 2.0).unwrap();
    let settings = |grid| {
        let mut settings = Settings::default();
        settings.motion.dwell = 64;
        settings.growth.growth = Growth::Lengthen;
        settings.growth.every = 4;
        settings.growth.copies_grow = true;
        settings.copies[0].backwards = true;
        settings.capture.grid = grid;
        settings
    };
    let mut changed = Process::new(phrase.clone(), settings(Grid::Sixteenth), 0.0);
    let afresh = Process::new(phrase, settings(Grid::Eighth), 0.0);
    let entry = afresh.voices().entry(Part::COPY_1).unwrap();
    assert_eq!(changed.voices().entry(Part::COPY_1), Some(entry));
    let onsets = |process: &Process| -> Vec<f64> {
        let notes = process.notes(Part::COPY_1, Span::new(entry + 0.25, entry + 8.0));
        notes.map(|note| note.on - entry).collect()
    };
    assert_eq!(onsets(&afresh)[..4], [0.5, 2.0, 3.5, 5.0]);
    changed.set_settings(settings(Grid::Eighth), entry + 0.25);
    assert_eq!(onsets(&changed), onsets(&afresh));
}

#[test]
fn solo_leaves_only_those_who_have_it_and_mute_goes_before() {
    let heard = |change: fn(&mut Settings)| -> Vec<Part> {
        let process = process("D4 F4 . A4", |settings| {
            settings.motion.copies = 3;
            settings.motion.offset = 1.0;
            settings.resulting.which = Resulting::Top;
            change(settings);
        });
        let all = unroll(&process, Span::new(0.0, 4.0));
        let mut heard: Vec<Part> = all.map(|note| note.part).collect();
        heard.sort_unstable();
        heard.dedup();
        heard
    };
    let copy = |number| Part::copy(number).unwrap();
    let all = [Part::Steady, copy(1), copy(2), copy(3), Part::ResultingLine];
    assert_eq!(heard(|_| ()), all);
    let muted = heard(|settings| settings.copies[1].hearing.mute = true);
    assert_eq!(muted, [Part::Steady, copy(1), copy(3), Part::ResultingLine]);
    let alone = heard(|settings| settings.copies[1].hearing.solo = true);
    assert_eq!(alone, [copy(2)]);
    let two = heard(|settings| {
        settings.copies[1].hearing.solo = true;
        settings.steady.hearing.solo = true;
    });
    assert_eq!(two, [Part::Steady, copy(2)]);
    let both = Hearing {
        mute: true,
        solo: true,
    };
    let neither = heard(|settings| {
        settings.copies[1].hearing = Hearing {
            mute: true,
            solo: true,
        }
    });
    assert!(neither.is_empty(), "{both:?}");
    // A copy that does not play asks for nothing.
    let beyond = heard(|settings| settings.copies[5].hearing.solo = true);
    assert_eq!(beyond, all);
}

/// Six steps, and a copy that goes round in four of them: D . F G, again and again; in eight: the
/// phrase, and two steps of rest.
#[test]
fn in_a_cycle_of_its_own_a_copy_comes_round_sooner_or_later() {
    let own = |steps: u32, span: f64| {
        let process = process("D4 . F4 G4 A4 -", |settings| {
            settings.copies[0].length = Some(steps);
        });
        let notes = process.notes(Part::COPY_1, Span::new(0.0, span));
        notes
            .map(|note| ((note.on * 4.0).round() as i64, note.key.number()))
            .collect::<Vec<_>>()
    };
    let three_rounds = [0, 4, 8].map(|begin| [(begin, 62), (begin + 2, 65), (begin + 3, 67)]);
    assert_eq!(own(4, 3.0), three_rounds.concat());
    let two_rounds = [0, 8].map(|begin| {
        let notes = [(0, 62), (2, 65), (3, 67), (4, 69)];
        notes.map(|(step, key)| (begin + step, key))
    });
    assert_eq!(own(8, 4.0), two_rounds.concat());
}

/// A is held for two steps and cut after one; backwards the cut comes first, then G and F, and D
/// last.
#[test]
fn a_note_ends_with_a_cycle_that_is_cut_and_backwards_begins_with_it() {
    let heard = |backwards: bool| {
        let process = process("D4 . F4 G4 A4 -", |settings| {
            settings.copies[0].length = Some(5);
            settings.copies[0].backwards = backwards;
        });
        let notes = process.notes(Part::COPY_1, Span::new(0.0, 1.25));
        notes
            .map(|note| (note.on * 4.0, note.off * 4.0, note.key.number()))
            .collect::<Vec<_>>()
    };
    let straight = [
        (0.0, 1.0, 62),
        (2.0, 3.0, 65),
        (3.0, 4.0, 67),
        (4.0, 5.0, 69),
    ];
    assert_eq!(heard(false), straight);
    let turned = [
        (0.0, 1.0, 69),
        (1.0, 2.0, 67),
        (2.0, 3.0, 65),
        (4.0, 5.0, 62),
    ];
    assert_eq!(heard(true), turned);
}

/// Cycles of six steps; after two of them, twelve steps, the copy jumps one step ahead: in its own
/// cycle of four that is from its beginning to its second step, a rest.
#[test]
fn its_jumps_are_counted_in_cycles_of_the_steady_voice() {
    let process = process("D4 . F4 G4 A4 -", |settings| {
        settings.motion.motion = Motion::Jump;
        settings.motion.dwell = 2;
        settings.copies[0].length = Some(4);
    });
    let notes = process.notes(Part::COPY_1, Span::new(2.0, 4.5));
    let heard: Vec<_> = notes
        .map(|note| ((note.on * 4.0).round() as i64, note.key.number()))
        .collect();
    let after_the_jump = [(13, 65), (14, 67), (15, 62), (17, 65)];
    let before = [(8, 62), (10, 65), (11, 67)];
    assert_eq!(heard, [&before[..], &after_the_jump].concat());
}

/// Note by note: D; D . F; D . F G; each lap once, and then its own cycle of four.
#[test]
fn a_copy_that_lengthens_grows_to_its_own_cycle_and_then_counts_its_moves() {
    let process = process("D4 . F4 G4 A4 -", |settings| {
        settings.growth.growth = Growth::Lengthen;
        settings.growth.every = 1;
        settings.growth.copies_grow = true;
        settings.copies[0].length = Some(4);
    });
    let voices = process.voices();
    let entry = voices.entry(Part::COPY_1).unwrap();
    // Laps of two steps, three and four.
    assert_eq!(voices.moves_from(Part::COPY_1), Some(entry + 9.0 / 4.0));
    let notes = process.notes(Part::COPY_1, Span::new(entry, entry + 13.0 / 4.0));
    let steps: Vec<i64> = notes
        .map(|note| ((note.on - entry) * 4.0).round() as i64)
        .collect();
    assert_eq!(steps, [0, 2, 4, 5, 7, 8, 9, 11, 12]);
}

/// The phrase of six notes has grown to four, in order; the copy, which has three, plays all of its
/// own then, and no others later.
#[test]
fn a_copy_that_fills_waits_for_notes_that_it_does_not_have() {
    let process = process("D4 F4 G4 A4 C5 E5", |settings| {
        settings.growth.growth = Growth::Fill;
        settings.growth.order = GrowthOrder::Backward;
        settings.growth.every = 1;
        settings.growth.copies_grow = true;
        settings.copies[0].length = Some(3);
    });
    let entry = process.voices().entry(Part::COPY_1).unwrap();
    let lap = |lap: u32| {
        let from = entry + 0.75 * f64::from(lap);
        let notes = process.notes(Part::COPY_1, Span::new(from, from + 0.75));
        notes.map(|note| note.key.number()).collect::<Vec<_>>()
    };
    // E, C and A are not among its own.
    assert_eq!([0, 1, 2].map(|one| lap(one).len()), [0, 0, 0]);
    assert_eq!((lap(3), lap(4)), (vec![67], vec![65, 67]));
    assert_eq!((lap(5), lap(9)), (vec![62, 65, 67], vec![62, 65, 67]));
}

/// Changed on the way, it is as if it had always been so, from that moment on.
#[test]
fn another_length_holds_at_once() {
    let with = |steps: Option<u32>| {
        process("D4 . F4 G4 A4 -", |settings| {
            settings.copies[0].length = steps;
            settings.copies[0].offset = 1.0;
        })
    };
    let now = 10.3;
    for (before, after) in [(None, Some(4)), (Some(4), Some(7)), (Some(9), None)] {
        let (mut changed, fresh) = (with(before), with(after));
        changed.set_settings(*fresh.settings(), now);
        let later = Span::new(now, now + 12.0);
        let notes = |process: &Process| process.notes(Part::COPY_1, later).collect::<Vec<_>>();
        assert_eq!(notes(&changed), notes(&fresh), "{before:?} {after:?}");
        assert_eq!(
            changed.voices().laps(Part::COPY_1),
            fresh.voices().laps(Part::COPY_1)
        );
    }
}

/// Of a copy that goes its own way something results, though it is not ahead.
#[test]
fn there_is_a_resulting_line_without_any_offset() {
    let line = |steps: Option<u32>| {
        let process = process("D4 . F4 G4 A4 -", |settings| {
            settings.copies[0].length = steps;
            settings.resulting.which = Resulting::Top;
        });
        let notes = unroll(&process, Span::new(3.0, 6.0));
        notes
            .filter(|note| note.part == Part::ResultingLine)
            .count()
    };
    assert_eq!(line(None), 0);
    assert!(line(Some(4)) > 0);
}

proptest! {
    /// Worked out step by step from the phrase as a row of steps, with no lap, no place and no least
    /// common multiple: what a copy in a cycle of its own strikes, and after how many cycles of the
    /// steady voice both begin together for the first time.
    #[test]
    fn unequal_cycles_go_round_each_by_itself_and_meet_when_both_are_over(
        row in prop::collection::vec(prop::option::of(40u8..90), 2..20),
        own in 1usize..=30,
        ahead in -9i32..=9,
        first in 0usize..500,
    ) {
        let words: Vec<String> = (row.iter())
            .map(|key| key.map_or(".".to_owned(), |key| key_name(Key::new(key).unwrap())))
            .collect();
        let process = process(&words.join(" "), |settings| {
            settings.motion.shifts = Shifts::Count(0);
            settings.copies[0].length = Some(own as u32);
            settings.copies[0].offset = f64::from(ahead);
        });
        let struck = |step: usize| {
            let place = (step as i32 + ahead).rem_euclid(own as i32) as usize;
            row.get(place).copied().flatten().map(|key| (step, key))
        };
        let steps = 4 * row.len();
        let expected: Vec<_> = (first..first + steps).filter_map(struck).collect();
        // From the middle of the step before, so that no rounding moves an onset out.
        let beats = |step: usize| (step as f64 - 0.5) * 0.25;
        let span = Span::new(beats(first), beats(first + steps));
        let heard: Vec<_> = process
            .notes(Part::COPY_1, span)
            .map(|note| ((note.on * 4.0).round() as usize, note.key.number()))
            .collect();
        prop_assert_eq!(heard, expected);
        let cycles = (1..).find(|cycles| cycles * row.len() % own == 0).unwrap();
        let together = process.voices().own_cycle(CopyNumber::FIRST).map(|own| own.together * 4.0);
        if own == row.len() {
            prop_assert_eq!(together, None);
        } else {
            prop_assert_eq!(together, Some((cycles * row.len()) as f64));
        }
    }

    /// Whatever a copy makes of pitches, it strikes when and as long as it did; turned over twice,
    /// and moved there and back, a note of the mode is where it was.
    #[test]
    fn pitch_is_all_that_a_transposition_changes(
        phrase in common::phrase(),
        settings in common::settings(),
        degrees in -14i32..=14,
        semitones in -12i32..=12,
        upside_down in any::<bool>(),
    ) {
        let plain = settings.copies.map(|copy| CopySettings {
            degrees: 0, semitones: 0, upside_down: false, ..copy
        });
        let own = plain.map(|copy| CopySettings { degrees, semitones, upside_down, ..copy });
        let of = |copies| Process::new(phrase.clone(), Settings { copies, ..settings }, 0.0);
        let (plain, own) = (of(plain), of(own));
        let span = Span::new(0.0, 3.0 * phrase.length());
        for part in plain.voices().parts() {
            let when = |process: &Process| -> Vec<(f64, f64, usize)> {
                let notes = process.notes(part, span);
                notes.map(|note| (note.on, note.off, note.index)).collect()
            };
            prop_assert_eq!(when(&plain), when(&own));
        }
        let mode = plain.mode_at(0.0);
        for height in -30..30 {
            let there = mode.transposed(height, degrees);
            if mode.place(height).above == 0 {
                prop_assert_eq!(mode.transposed(there, -degrees), height);
            }
            if mode.place(height).above == 0 {
                let axis = mode.height(degrees);
                prop_assert_eq!(mode.inverted(mode.inverted(height, axis), axis), height);
            }
        }
    }

    /// Backwards, a copy strikes as many notes in a cycle, each as long and as hard.
    #[test]
    fn backwards_nothing_is_lost(phrase in common::phrase(), step in prop_oneof![Just(0.25), Just(0.5)]) {
        let turned = procession_core::phrase::Backwards::of(&phrase, step);
        let facts = |phrase: &Phrase| {
            let notes = phrase.notes().iter();
            let mut facts: Vec<_> = notes
                .map(|note| (note.key, note.length.to_bits(), note.velocity.midi()))
                .collect();
            facts.sort_unstable();
            facts
        };
        prop_assert_eq!(facts(turned.phrase()), facts(&phrase));
        for (place, note) in turned.phrase().notes().iter().enumerate() {
            prop_assert!((0.0..phrase.length()).contains(&note.onset));
            prop_assert_eq!(turned.place(turned.index(place)), Some(place));
        }
    }
}
