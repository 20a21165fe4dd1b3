//! The laws of the route: what is generated and written out is the same music; nothing leaps; what
//! has passed stays as it was.

use procession_core::part::{CopyNumber, MAX_COPIES, Part};
use procession_core::phrase::Phrase;
use procession_core::process::Process;
use procession_core::route::{Afterwards, Dwell, Route, Way, WrittenStage};
use procession_core::settings::{
    Advance, CopiesMove, Growth, GrowthSettings, Motion, MotionSettings, Settings, Shifts,
};
use procession_core::time::{Beats, LATE, Span};
use proptest::prelude::*;

/// Phrases as people play them: sixteenths, triplets, loose hands, a chord.
const PHRASES: [(&str, f64); 5] = [
    ("D4 F4 G4 A4 C5 E4", 0.25),
    ("D4 . A4 F4+C5 . E4 G4 .", 0.25),
    ("E4 G4 A4 . D5 B4 A4 . G4 . . F#4", 1.0 / 3.0),
    ("A3 . . C4 E4", 0.5),
    ("D4 E4 . G4 A4 . C5 D5 . A4 G4 . E4 .", 0.125),
];

fn phrase(which: usize) -> Phrase {
    let (text, step) = PHRASES[which % PHRASES.len()];
    Phrase::from_text(text, step).expect("these words are notes")
}

fn any_motion() -> impl Strategy<Value = MotionSettings> {
    (
        (
            prop_oneof![
                Just(Motion::Drift),
                Just(Motion::Jump),
                Just(Motion::BuildUp)
            ],
            1..5usize,
            -4..5i32,
            1..7u32,
            1..6u32,
        ),
        (
            prop_oneof![
                Just(Shifts::Auto),
                Just(Shifts::Endless),
                (0..9u32).prop_map(Shifts::Count)
            ],
            0..4u32,
            prop_oneof![
                Just(CopiesMove::Fanned),
                Just(CopiesMove::Together),
                Just(CopiesMove::InTurn)
            ],
        ),
    )
        .prop_map(
            |((motion, copies, shift_by, dwell, drift), (shifts, entry, copies_move))| {
                MotionSettings {
                    motion,
                    copies,
                    shift_by,
                    dwell,
                    drift,
                    shifts,
                    entry,
                    copies_move,
                    ..MotionSettings::default()
                }
            },
        )
}

fn any_growth() -> impl Strategy<Value = GrowthSettings> {
    (
        prop_oneof![
            3 => Just(Growth::Off),
            1 => Just(Growth::Fill),
            1 => Just(Growth::Lengthen)
        ],
        -3..5i32,
        1..4u32,
        any::<bool>(),
    )
        .prop_map(|(growth, step, every, copies_grow)| GrowthSettings {
            growth,
            step,
            every,
            copies_grow,
            ..GrowthSettings::default()
        })
}

fn any_settings() -> impl Strategy<Value = Settings> {
    (any_motion(), any_growth()).prop_map(|(motion, growth)| Settings {
        motion,
        growth,
        ..Settings::default()
    })
}

/// A stage that can be written, not far from home.
fn any_stage() -> impl Strategy<Value = WrittenStage> {
    (
        prop_oneof![
            Just(Motion::Drift),
            Just(Motion::Jump),
            Just(Motion::BuildUp)
        ],
        1..6u32,
        1..6u32,
        proptest::array::uniform8(-9..10i32),
        proptest::option::weighted(0.2, 0..8u32),
    )
        .prop_map(|(motion, over, dwell, ahead, grown)| WrittenStage {
            way: Way { motion, over },
            dwell: Dwell::Cycles(dwell),
            ahead: ahead.map(f64::from),
            grown,
            turn: None,
        })
}

fn any_route() -> impl Strategy<Value = Route> {
    (
        proptest::collection::vec(any_stage(), 1..9),
        0..3u8,
        any::<usize>(),
    )
        .prop_map(|(stages, end, from)| {
            let route = Route::new(&stages, Afterwards::Hold).expect("these can be written");
            let afterwards = match end {
                0 => Afterwards::Hold,
                1 => route.round_from(from % stages.len(), 6.0),
                _ => Afterwards::Silence,
            };
            Route::new(&stages, afterwards).expect("these can be written")
        })
}

/// What all voices play: who, which note, and when to a ten-thousandth of a millisecond at 120 beats
/// a minute, which no sample rate tells apart.
fn played(process: &Process, span: Span) -> Vec<(usize, usize, i64, i64)> {
    let tick = |at: Beats| (at * 2e7).round() as i64;
    let mut notes: Vec<_> = process
        .parts()
        .filter(|part| *part != Part::ResultingLine)
        .flat_map(|part| process.notes(part, span))
        .map(|note| (note.part.index(), note.index, tick(note.on), tick(note.off)))
        .collect();
    notes.sort_unstable();
    notes
}

/// The same notes, at the same times but for a rounding.
fn same(left: &Process, right: &Process, span: Span) -> Result<(), TestCaseError> {
    let (left, right) = (played(left, span), played(right, span));
    prop_assert_eq!(left.len(), right.len());
    for (a, b) in left.iter().zip(&right) {
        prop_assert_eq!((a.0, a.1), (b.0, b.1));
        prop_assert!(
            (a.2 - b.2).abs() <= 20 && (a.3 - b.3).abs() <= 20,
            "{a:?} {b:?}"
        );
    }
    Ok(())
}

fn written(which: usize, settings: Settings, route: &Route) -> Process {
    let mut process = Process::new(phrase(which), settings, 4.0);
    process.set_route(route);
    process
}

/// Beats ahead, where the copy plays.
fn ahead(process: &Process, copy: CopyNumber, at: Beats) -> Option<Beats> {
    process.voices().displacement(Part::Copy(copy), at)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(192))]

    #[test]
    fn the_generated_route_written_out_is_the_same_music(
        which in 0..PHRASES.len(),
        settings in any_settings(),
    ) {
        let generated = Process::new(phrase(which), settings, 4.0);
        let list = written(which, settings, &generated.voices().as_route());
        for start in [0.0, 37.0, 411.0, 1003.0] {
            same(&generated, &list, Span::new(start, start + 24.0))?;
        }
    }

    #[test]
    fn a_written_route_is_the_same_from_anywhere(
        which in 0..PHRASES.len(),
        settings in any_settings(),
        route in any_route(),
        cuts in proptest::collection::vec(0.01..40.0f64, 1..30),
    ) {
        let process = written(which, settings, &route);
        let end: Beats = cuts.iter().sum();
        let mut pieces = Vec::new();
        let mut at = 0.0;
        for cut in cuts {
            pieces.extend(played(&process, Span::new(at, at + cut)));
            at += cut;
        }
        pieces.sort_unstable();
        // The last beat of the sum may be a rounding off.
        prop_assert!((at - end).abs() < 1e-9);
        prop_assert_eq!(pieces, played(&process, Span::new(0.0, at)));
    }

    /// Where a copy comes to a stage is where the list says, and between it goes no faster than a
    /// player could: the material runs on at half to double tempo.
    #[test]
    fn written_drifts_are_never_faster_than_twice_or_slower_than_half_the_tempo(
        which in 0..PHRASES.len(),
        settings in any_settings(),
        route in any_route(),
    ) {
        let settings = Settings { growth: GrowthSettings::default(), ..settings };
        let process = written(which, settings, &route);
        let drifts = route.stages().iter().all(|stage| stage.way.motion == Motion::Drift);
        let cut = 1.0 / 64.0;
        for copy in process.voices().copies() {
            let mut before = None;
            for at in (0..6000).map(|at| 4.0 + f64::from(at) * cut) {
                let now = ahead(&process, copy, at);
                if let (Some(before), Some(now), true) = (before, now, drifts) {
                    let moved: f64 = now - before;
                    prop_assert!(moved <= cut + 1e-9 && moved >= -cut / 2.0 - 1e-9, "{at}: {moved}");
                }
                before = now;
            }
        }
    }

    /// Any stream of changes: no copy's offset moves by more than a drift allows. Jumps and
    /// build-ups, which leap at a cycle, stand aside.
    #[test]
    fn no_change_on_the_way_leaps(
        which in 0..PHRASES.len(),
        first in any_settings(),
        changes in proptest::collection::vec((0.1..60.0f64, any_settings()), 1..8),
    ) {
        let drifting = |settings: Settings| {
            let motion = MotionSettings { motion: Motion::Drift, ..settings.motion };
            Settings { motion, ..settings }
        };
        let mut process = Process::new(phrase(which), drifting(first), 4.0);
        let cut = 1.0 / 16.0;
        let mut now = 4.0;
        for (lasts, settings) in changes {
            let end = now + lasts;
            let mut before = CopyNumber::ALL.map(|copy| ahead(&process, copy, now));
            while now < end {
                now += cut;
                let after = CopyNumber::ALL.map(|copy| ahead(&process, copy, now));
                let in_use = process.voices().copies().len();
                for (before, after) in before.iter().zip(&after).take(in_use) {
                    if let (Some(before), Some(after)) = (before, after) {
                        let moved = after - before;
                        prop_assert!(moved <= cut + 1e-9 && moved >= -cut / 2.0 - 1e-9, "{moved} at {now}");
                    }
                }
                before = after;
            }
            process.set_settings(drifting(settings), now);
            let after = CopyNumber::ALL.map(|copy| ahead(&process, copy, now));
            for (before, after) in before.iter().zip(&after) {
                if let (Some(before), Some(after)) = (before, after) {
                    prop_assert!((before - after).abs() < 1e-6, "{before} {after} at {now}");
                }
            }
        }
    }

    /// Editing the route while it plays leaps no more, drifts or not: a jump waits for its cycle, and
    /// one that comes a hair late has come on it, as everything has.
    #[test]
    fn no_edit_of_the_route_leaps(
        which in 0..PHRASES.len(),
        settings in any_settings(),
        routes in proptest::collection::vec((0.1..80.0f64, any_route()), 2..6),
    ) {
        let mut process = written(which, settings, &routes[0].1);
        let mut now = 4.0;
        for (lasts, route) in &routes {
            now += lasts;
            // Late by less than a hand could be, after a cycle of any of the copies: of the grid that
            // it moves on, which growth may have put beside the steady voice's.
            let cycle = process.phrase().length();
            let is_late = |copy| {
                let moves_from = process.voices().moves_from(Part::Copy(copy));
                moves_from.is_some_and(|from| (now - from).rem_euclid(cycle) <= LATE)
            };
            prop_assume!(!CopyNumber::ALL.into_iter().any(is_late));
            let before = CopyNumber::ALL.map(|copy| ahead(&process, copy, now));
            process.change_route(route, now);
            let after = CopyNumber::ALL.map(|copy| ahead(&process, copy, now));
            for (before, after) in before.iter().zip(&after) {
                if let (Some(before), Some(after)) = (before, after) {
                    prop_assert!((before - after).abs() < 1e-6, "{before} {after} at {now}");
                }
            }
        }
    }

    /// However settings came about, what they make from the present stage on ends: no block is
    /// without end, and every note has one.
    #[test]
    fn after_any_changes_the_music_is_the_same_however_it_is_cut(
        which in 0..PHRASES.len(),
        first in any_settings(),
        changes in proptest::collection::vec((0.1..40.0f64, any_settings()), 1..6),
        route in proptest::option::of(any_route()),
    ) {
        let mut process = Process::new(phrase(which), first, 4.0);
        let mut now = 4.0;
        for (lasts, settings) in changes {
            now += lasts;
            process.set_settings(settings, now);
        }
        if let Some(route) = route {
            now += 11.3;
            process.change_route(&route, now);
        }
        let whole = played(&process, Span::new(now, now + 60.0));
        let mut pieces = Vec::new();
        for piece in 0..240 {
            let at = now + f64::from(piece) * 0.25;
            pieces.extend(played(&process, Span::new(at, at + 0.25)));
        }
        pieces.sort_unstable();
        prop_assert_eq!(whole, pieces);
    }

    /// The values that are in force already change nothing, at any moment.
    #[test]
    fn told_again_nothing_changes(
        which in 0..PHRASES.len(),
        settings in any_settings(),
        at in 5.0..300.0f64,
    ) {
        let fresh = Process::new(phrase(which), settings, 4.0);
        let mut touched = fresh.clone();
        let mut other = settings;
        other.motion.dwell += 1;
        // There and back within a moment: the stage that is on is as long as it was.
        touched.set_settings(other, at);
        touched.set_settings(settings, at);
        same(&fresh, &touched, Span::new(at, at + 60.0))?;
    }
}

/// Six sixteenths, a cycle of 1.5 beats; dwells of 4 cycles, jumps.
fn jumping() -> Settings {
    Settings {
        motion: MotionSettings {
            motion: Motion::Jump,
            dwell: 4,
            ..MotionSettings::default()
        },
        ..Settings::default()
    }
}

fn steps_ahead(process: &Process, at: Beats) -> f64 {
    (ahead(process, CopyNumber::FIRST, at).expect("it plays") / 0.25 * 1000.0).round() / 1000.0
}

/// Worked by hand: dwells of 6 beats from beat 4 on. In the third stage (16 to 22) the dwell
/// becomes 2 cycles: it has lasted 2 cycles at 19, so at 17.2 it ends at 19; at 20.1, at the end of
/// the cycle, 20.5.
#[test]
fn a_shorter_dwell_ends_the_stage_that_is_on_and_no_earlier_one() {
    for (now, leaves) in [(17.2, 19.0), (20.1, 20.5)] {
        let mut process = Process::new(phrase(0), jumping(), 4.0);
        let mut shorter = jumping();
        shorter.motion.dwell = 2;
        process.set_settings(shorter, now);
        assert_eq!(steps_ahead(&process, now), 2.0);
        assert_eq!(steps_ahead(&process, leaves - 0.01), 2.0);
        assert_eq!(steps_ahead(&process, leaves), 3.0);
        // The next one lasts 2 cycles.
        assert_eq!(steps_ahead(&process, leaves + 2.99), 3.0);
        assert_eq!(steps_ahead(&process, leaves + 3.0), 4.0);
    }
}

#[test]
fn a_longer_dwell_keeps_the_stage_that_is_on() {
    let mut process = Process::new(phrase(0), jumping(), 4.0);
    let mut longer = jumping();
    longer.motion.dwell = 8;
    // Two shifts are over at beat 16; that stage now lasts until 28.
    process.set_settings(longer, 21.9);
    assert_eq!(steps_ahead(&process, 27.9), 2.0);
    assert_eq!(steps_ahead(&process, 28.0), 3.0);
    assert_eq!(steps_ahead(&process, 40.0), 4.0);
}

#[test]
fn a_wider_shift_goes_on_from_where_the_copy_stands() {
    let mut process = Process::new(phrase(0), jumping(), 4.0);
    let mut wider = jumping();
    wider.motion.shift_by = 2;
    // Two steps ahead; by twos it is back in unison, six steps ahead, two shifts later.
    process.set_settings(wider, 17.0);
    assert_eq!(steps_ahead(&process, 21.9), 2.0);
    assert_eq!(steps_ahead(&process, 22.0), 4.0);
    assert_eq!(steps_ahead(&process, 28.0), 6.0);
    assert_eq!(steps_ahead(&process, 500.0), 6.0);
}

#[test]
fn a_drift_that_is_to_be_a_jump_waits_where_it_is_for_the_end_of_its_cycle() {
    let drifting = Settings::default();
    let mut process = Process::new(phrase(0), drifting, 4.0);
    // A dwell of 8 cycles, 12 beats; from 16 on a drift of 4, 6 beats.
    let mut jumps = drifting;
    jumps.motion.motion = Motion::Jump;
    let here = steps_ahead(&process, 18.0);
    process.set_settings(jumps, 18.0);
    assert!(here > 0.0 && here < 1.0);
    assert_eq!(steps_ahead(&process, 18.9), here);
    assert_eq!(steps_ahead(&process, 19.0), 1.0);
}

#[test]
fn an_entry_that_would_have_been_earlier_is_with_the_next_cycle() {
    let mut settings = jumping();
    settings.motion.copies = 2;
    settings.motion.entry = 8;
    let mut process = Process::new(phrase(0), settings, 4.0);
    assert_eq!(
        process.voices().entry(Part::Copy(CopyNumber::ALL[1])),
        Some(16.0)
    );
    settings.motion.entry = 1;
    process.set_settings(settings, 9.0);
    // Cycles of 1.5 beats from 4 on: the next begins at 10.
    assert_eq!(
        process.voices().entry(Part::Copy(CopyNumber::ALL[1])),
        Some(10.0)
    );
    assert_eq!(process.voices().entry(Part::COPY_1), Some(4.0));
}

fn stage(motion: Motion, over: u32, dwell: Dwell, steps: f64) -> WrittenStage {
    let mut ahead = [0.0; MAX_COPIES];
    ahead[0] = steps;
    WrittenStage {
        way: Way { motion, over },
        dwell,
        ahead,
        grown: None,
        turn: None,
    }
}

/// Worked by hand, 1.5 beats a cycle from beat 4 on: two cycles in unison, a drift of two cycles to
/// 3 steps ahead, one cycle there, a jump back to -1, held.
#[test]
fn a_route_is_played_as_it_is_written() {
    let cycles = Dwell::Cycles;
    let stages = [
        stage(Motion::Drift, 4, cycles(2), 0.0),
        stage(Motion::Drift, 2, cycles(1), 3.0),
        stage(Motion::Jump, 4, cycles(1), -1.0),
    ];
    let route = Route::new(&stages, Afterwards::Hold).expect("these can be written");
    let process = written(0, Settings::default(), &route);
    let at = |beat| steps_ahead(&process, beat);
    assert_eq!([at(4.0), at(6.9), at(8.5)], [0.0, 0.0, 1.5]);
    assert_eq!([at(10.0), at(11.4)], [3.0, 3.0]);
    assert_eq!([at(11.5), at(900.0)], [-1.0, -1.0]);
    let again = Route::new(&stages, route.round_from(0, 6.0)).unwrap();
    let process = written(0, Settings::default(), &again);
    // From -1 it drifts to 0, over four cycles: from 13 to 19.
    assert_eq!(steps_ahead(&process, 13.0), -1.0);
    assert_eq!(steps_ahead(&process, 19.0), 0.0);
    assert_eq!(steps_ahead(&process, 25.0), 3.0);
    let silent = Route::new(&stages, Afterwards::Silence).unwrap();
    let process = written(0, Settings::default(), &silent);
    assert!(!played(&process, Span::new(11.5, 13.0)).is_empty());
    assert_eq!(played(&process, Span::new(13.0, 100.0)), []);
}

#[test]
fn a_stage_waits_for_its_cue_and_the_others_are_counted() {
    let stages = [
        stage(Motion::Jump, 4, Dwell::Cycles(2), 0.0),
        stage(Motion::Jump, 4, Dwell::UntilCued, 1.0),
        stage(Motion::Jump, 4, Dwell::Cycles(1), 2.0),
        stage(Motion::Jump, 4, Dwell::Cycles(1), 3.0),
    ];
    let route = Route::new(&stages, Afterwards::Hold).expect("these can be written");
    let mut process = written(0, Settings::default(), &route);
    assert!(!process.cue(5.0), "the first is counted");
    assert_eq!(steps_ahead(&process, 7.0), 1.0);
    assert_eq!(steps_ahead(&process, 700.0), 1.0);
    assert!(process.cue(20.2));
    // Cycles from 7 on: the next ends at 20.5.
    assert_eq!(steps_ahead(&process, 20.4), 1.0);
    assert_eq!(steps_ahead(&process, 20.5), 2.0);
    assert_eq!(steps_ahead(&process, 22.0), 3.0);
}

/// On cue, counted on: the dwell that has lasted long ends with its cycle.
#[test]
fn copies_that_were_cued_are_counted_on_from_where_they_are() {
    let mut settings = jumping();
    settings.motion.advance = Advance::OnCue;
    let mut process = Process::new(phrase(0), settings, 4.0);
    process.cue(30.0);
    assert_eq!(steps_ahead(&process, 50.0), 1.0);
    settings.motion.advance = Advance::Counted;
    process.set_settings(settings, 50.2);
    assert_eq!(steps_ahead(&process, 50.3), 1.0);
    assert_eq!(steps_ahead(&process, 50.5), 2.0);
    assert_eq!(steps_ahead(&process, 56.5), 3.0);
}

#[test]
fn a_route_edited_before_the_present_stage_leaves_the_present_one_on() {
    let cycles = Dwell::Cycles;
    let mut stages: Vec<_> = (0..6)
        .map(|step| stage(Motion::Jump, 4, cycles(2), f64::from(step)))
        .collect();
    let route = Route::new(&stages, Afterwards::Hold).expect("these can be written");
    let mut process = written(0, Settings::default(), &route);
    // Stages of 3 beats: at 14 the fourth is on, from 13 to 16.
    stages.remove(1);
    process.change_route(&Route::new(&stages, Afterwards::Hold).unwrap(), 14.0);
    assert_eq!(steps_ahead(&process, 15.9), 3.0);
    assert_eq!(steps_ahead(&process, 16.0), 4.0);
    // And back to the rule: copies go on from there, by its dwells of 8 cycles and drifts.
    process.change_route(&Route::generated(), 17.0);
    assert_eq!(steps_ahead(&process, 27.9), 4.0);
    assert_eq!(steps_ahead(&process, 34.0), 5.0);
}
