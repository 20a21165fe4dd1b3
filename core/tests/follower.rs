//! The follower, with simulated players whose truth is known.

#![allow(clippy::unwrap_used, reason = "a test")]

#[path = "follower/player.rs"]
#[allow(dead_code, reason = "shared by tests that use a part each")]
mod player;

use nice_assert_no_alloc::{AllocDisabler, assert_no_alloc};
use player::{Chance, Hand, performance};
use procession_core::follower::*;
use procession_core::note::Key;
use procession_core::part::Part;
use procession_core::phrase::Phrase;
use procession_core::process::Process;
use procession_core::settings::{Motion, Settings};
use procession_core::time::{Beats, Span};

#[cfg(debug_assertions)]
#[global_allocator]
static NO_ALLOCATION: AllocDisabler = AllocDisabler;

/// Sixteenths at 108 beats a minute, the steps of this repertory: 139 ms.
const BEAT_MS: f64 = 60_000.0 / 108.0;
const STEP: Beats = 0.25;
const CYCLE: Beats = 3.0;

/// Lamps along a quay, twelve sixteenths.
const QUAY: &str = "D4 . A4 G4 . E4 A4 C5 . G4 E4 A4";

/// Four cycles in unison, four of drift by a step, four locked there.
fn drifting() -> Process {
    let mut settings = Settings::default();
    settings.motion.motion = Motion::Drift;
    (settings.motion.dwell, settings.motion.drift) = (4, 4);
    Process::new(Phrase::from_text(QUAY, STEP).unwrap(), settings, 0.0)
}

/// From two cycles before the drift until just before the next.
const SEAM: Span = Span {
    start: 2.0 * CYCLE,
    end: 12.0 * CYCLE,
};

const DRIFT: Span = Span {
    start: 4.0 * CYCLE,
    end: 8.0 * CYCLE,
};

const MOVE: Goal = Goal::Move {
    during: DRIFT,
    from: 0.0,
    to: 1.0,
    cycle: CYCLE,
};

/// What is made of a player who is `ahead` steps ahead of the steady voice.
fn heard(
    process: &Process,
    part: Part,
    span: Span,
    goal: Goal,
    hand: Hand,
    seed: u64,
    ahead: impl Fn(Beats) -> f64,
) -> Pass {
    let mut chance = Chance::new(seed);
    let ahead = |at| STEP * ahead(at);
    let played = performance(process, part, span, BEAT_MS, hand, &mut chance, ahead);
    let mut follower = Follower::new(STEP);
    for one in played {
        follower.hear(process, part, one.struck);
    }
    follower.pass(process, part, span, goal)
}

#[test]
fn a_player_who_is_always_15_ms_late_is_read_within_a_millisecond() {
    let process = drifting();
    let late = |late_ms| Hand {
        late_ms,
        ..Hand::default()
    };
    for late_ms in [15.0, -15.0, 40.0] {
        let span = Span::new(0.0, 12.0);
        let stays = |part| heard(&process, part, span, Goal::Stay, late(late_ms), 1, |_| 0.0);
        for part in [Part::Steady, Part::COPY_1] {
            let pass = stays(part);
            assert!((pass.late_ms.unwrap() - late_ms).abs() < 1.0, "{pass:?}");
            assert!(pass.spread_ms.unwrap() < 1.0, "{pass:?}");
            assert_eq!((pass.expected, pass.stray), (pass.matched, 0), "{pass:?}");
        }
    }
}

#[test]
fn measured_latency_is_taken_off() {
    let process = drifting();
    let mut follower = Follower::new(STEP);
    follower.set_latency_ms(35.0);
    for note in process.notes(Part::Steady, Span::new(0.0, 12.0)) {
        let at = note.on + (35.0 - 8.0) / BEAT_MS;
        let struck = Struck {
            at,
            key: note.key,
            beat_ms: BEAT_MS,
        };
        assert!(matches!(
            follower.hear(&process, Part::Steady, struck),
            Heard::Matched(_)
        ));
    }
    let pass = follower.pass(&process, Part::Steady, Span::new(0.0, 12.0), Goal::Stay);
    assert!((pass.late_ms.unwrap() + 8.0).abs() < 1e-6, "{pass:?}");
}

#[test]
fn a_standard_deviation_of_30_ms_is_read_within_a_tenth_over_200_notes() {
    let process = drifting();
    let hand = Hand {
        uneven_ms: 30.0,
        ..Hand::default()
    };
    // Nine notes a cycle, and two more: 200 notes.
    let span = Span::new(-0.1, 22.0 * CYCLE + 0.6);
    let mut read = Vec::new();
    for seed in 0..100 {
        let mut chance = Chance::new(seed);
        let played = performance(
            &process,
            Part::Steady,
            span,
            BEAT_MS,
            hand,
            &mut chance,
            |_| 0.0,
        );
        let plan: Vec<_> = process
            .notes(Part::Steady, Span::new(-CYCLE, 80.0))
            .collect();
        // What this performance is in truth: each stroke against the note that was meant.
        let first = plan.iter().position(|note| note.on >= span.start).unwrap();
        let late: Vec<f64> = (played.iter())
            .map(|one| (one.struck.at - plan[first + one.meant.unwrap()].on) * BEAT_MS)
            .collect();
        let mean = late.iter().sum::<f64>() / late.len() as f64;
        let squares: f64 = late.iter().map(|ms| (ms - mean).powi(2)).sum();
        let truth = (squares / (late.len() - 1) as f64).sqrt();
        let pass = heard(&process, Part::Steady, span, Goal::Stay, hand, seed, |_| {
            0.0
        });
        let spread = pass.spread_ms.unwrap();
        // Of 20 000 notes, one may lie four deviations off: a step, and so another note.
        assert!(
            played.len() == 200 && pass.matched >= 199,
            "{seed}: {pass:?}"
        );
        assert!(
            (spread / truth - 1.0).abs() < 0.1,
            "{seed}: {spread} for {truth}"
        );
        read.push(spread);
    }
    // Chance makes one of 200 notes vary by a twentieth; all together say what the hand is.
    let mean = read.iter().sum::<f64>() / read.len() as f64;
    assert!((mean / 30.0 - 1.0).abs() < 0.02, "{mean}");
}

/// The three ways in which a drift goes, at every song position so many steps ahead.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Way {
    Arrives,
    GoesTooFar,
    IsPulledBack,
}

fn ease(share: f64) -> f64 {
    let share = share.clamp(0.0, 1.0);
    share * share * (3.0 - 2.0 * share)
}

impl Way {
    const ALL: [Self; 3] = [Self::Arrives, Self::GoesTooFar, Self::IsPulledBack];

    fn is(self, outcome: Option<Outcome>) -> bool {
        match outcome {
            Some(Outcome::Arrived { .. }) => self == Self::Arrives,
            Some(Outcome::TooFar) => self == Self::GoesTooFar,
            Some(Outcome::PulledBack) => self == Self::IsPulledBack,
            _ => false,
        }
    }

    /// One that goes so: sooner or later, faster or slower, not twice the same. In cycles after the
    /// drift begins.
    fn gone(self, chance: &mut Chance) -> impl Fn(Beats) -> f64 + use<> {
        let start = chance.between(-0.5, 1.0);
        let over = chance.between(2.0, 5.0);
        let bump = chance.between(0.0, 0.2);
        let peak = chance.between(0.3, 0.65);
        let back = chance.between(1.0, 2.5);
        move |at| {
            let cycles = (at - DRIFT.start) / CYCLE - start;
            match self {
                // Some overshoot a little, and come back.
                Self::Arrives => {
                    let settling =
                        ease((cycles - over) / 1.5) * (1.0 - ease((cycles - over - 0.5) / 1.5));
                    ease(cycles / over) + bump * settling
                }
                Self::GoesTooFar => 2.0 * ease(cycles / (over + 1.0)),
                Self::IsPulledBack => {
                    let up = over / 2.0;
                    peak * ease(cycles / up) * (1.0 - ease((cycles - up) / back))
                }
            }
        }
    }
}

fn told_apart(hand: Hand) {
    let process = drifting();
    for way in Way::ALL {
        let passes: Vec<Pass> = (0..100)
            .map(|seed| {
                let gone = way.gone(&mut Chance::new(1000 + seed));
                heard(&process, Part::COPY_1, SEAM, MOVE, hand, seed, gone)
            })
            .collect();
        let right = passes.iter().filter(|pass| way.is(pass.outcome)).count();
        let wrong: Vec<_> = passes.iter().filter(|pass| !way.is(pass.outcome)).collect();
        assert!(right >= 95, "{way:?}: {right} of 100; {wrong:#?}");
    }
}

#[test]
fn arrived_too_far_and_pulled_back_are_told_apart() {
    told_apart(Hand {
        uneven_ms: 25.0,
        ..Hand::default()
    });
}

#[test]
fn wrong_missing_and_doubled_notes_change_no_verdict() {
    let uneven_ms = 25.0;
    let with = |hand| Hand { uneven_ms, ..hand };
    told_apart(with(Hand {
        wrong: 0.1,
        ..Hand::default()
    }));
    told_apart(with(Hand {
        missing: 0.1,
        ..Hand::default()
    }));
    told_apart(with(Hand {
        doubled: 0.1,
        ..Hand::default()
    }));
    told_apart(with(Hand {
        late_ms: 12.0,
        uneven_ms,
        wrong: 0.05,
        missing: 0.05,
        doubled: 0.1,
        extra: 0.05,
    }));
}

#[test]
fn steps_reached_evenness_and_when_it_locked_are_what_the_player_did() {
    let process = drifting();
    let hand = Hand {
        uneven_ms: 20.0,
        ..Hand::default()
    };
    for seed in 0..30 {
        // Straight from unison to a step ahead within three cycles: within a quarter of it after
        // two and a quarter.
        let gone = |at: Beats| ((at - DRIFT.start) / CYCLE / 3.0).clamp(0.0, 1.0);
        let pass = heard(&process, Part::COPY_1, SEAM, MOVE, hand, seed, gone);
        let Some(Outcome::Arrived { locked_after }) = pass.outcome else {
            panic!("{seed}: {pass:?}");
        };
        let cycles = locked_after / CYCLE;
        assert!((1.75..3.0).contains(&cycles), "{seed}: {cycles} cycles");
        assert!(
            (pass.reached.unwrap() - 1.0).abs() < 0.15,
            "{seed}: {pass:?}"
        );
        assert!(
            (pass.spread_ms.unwrap() - 20.0).abs() < 6.0,
            "{seed}: {pass:?}"
        );
        assert!(pass.late_ms.unwrap().abs() < 12.0, "{seed}: {pass:?}");
    }
}

#[test]
fn at_every_moment_it_is_known_how_far_the_player_is() {
    let process = drifting();
    let hand = Hand {
        uneven_ms: 20.0,
        wrong: 0.05,
        missing: 0.05,
        ..Hand::default()
    };
    for way in Way::ALL {
        let mut chance = Chance::new(7);
        let gone = way.gone(&mut chance);
        let ahead = |at| STEP * gone(at);
        let played = performance(
            &process,
            Part::COPY_1,
            SEAM,
            BEAT_MS,
            hand,
            &mut chance,
            ahead,
        );
        let mut follower = Follower::new(STEP);
        for one in &played {
            if !matches!(
                follower.hear(&process, Part::COPY_1, one.struck),
                Heard::Matched(_)
            ) {
                continue;
            }
            let told = follower.standing().unwrap();
            let steps = told.over_steady / STEP;
            let truth = gone(one.struck.at);
            assert!(
                (steps - truth).abs() < 0.4,
                "{way:?}: {steps} for {truth} at {}",
                told.at
            );
            let plan = process
                .voices()
                .displacement(Part::COPY_1, told.at)
                .unwrap();
            let over_plan = (told.over_plan + plan) / STEP;
            assert!(
                (over_plan - truth).abs() < 0.4,
                "{way:?}: {over_plan} for {truth}"
            );
        }
        assert!(played.len() > 60);
    }
}

#[test]
fn chords_are_followed_note_by_note_in_whatever_order_the_hand_spreads_them() {
    let text = "D3+A3+D4 . . F3+A4 . G3+D4 C3+G3+E4 .";
    let Ok(phrase) = Phrase::from_text(text, STEP) else {
        panic!("{text}");
    };
    let process = Process::new(phrase, Settings::default(), 0.0);
    let hand = Hand {
        late_ms: 10.0,
        uneven_ms: 12.0,
        ..Hand::default()
    };
    let span = Span::new(0.0, 32.0);
    let pass = heard(&process, Part::Steady, span, Goal::Stay, hand, 3, |_| 0.0);
    assert_eq!(pass.expected, 160);
    assert!(pass.matched >= 158 && pass.stray == 0, "{pass:?}");
    assert!((pass.late_ms.unwrap() - 10.0).abs() < 3.0, "{pass:?}");
}

#[test]
fn whoever_plays_something_else_is_told_nothing_about_arriving() {
    let process = drifting();
    let mut follower = Follower::new(STEP);
    for note in 0..120 {
        let at = 6.0 + 0.25 * f64::from(note);
        let key = Key::new(30 + (note % 7) as u8).unwrap();
        let struck = Struck {
            at,
            key,
            beat_ms: BEAT_MS,
        };
        assert_eq!(follower.hear(&process, Part::COPY_1, struck), Heard::Stray);
    }
    assert_eq!(follower.standing(), None);
    let pass = follower.pass(&process, Part::COPY_1, SEAM, MOVE);
    assert_eq!((pass.matched, pass.stray), (0, 120));
    assert_eq!((pass.outcome, pass.reached), (Some(Outcome::Unclear), None));
}

#[test]
fn nonsense_is_a_stray_and_all_goes_on() {
    let process = drifting();
    let key = Key::new(62).unwrap();
    let mut follower = Follower::new(f64::NAN);
    for (at, beat_ms) in [
        (f64::NAN, 500.0),
        (f64::INFINITY, 500.0),
        (0.0, 0.0),
        (0.0, f64::NAN),
        (0.0, -1.0),
        (1e300, 500.0),
    ] {
        let struck = Struck { at, key, beat_ms };
        assert_eq!(follower.hear(&process, Part::Steady, struck), Heard::Stray);
    }
    let struck = Struck {
        at: 0.0,
        key,
        beat_ms: BEAT_MS,
    };
    assert!(matches!(
        follower.hear(&process, Part::Steady, struck),
        Heard::Matched(_)
    ));
}

#[test]
fn following_and_judging_take_and_give_back_no_memory() {
    let process = drifting();
    let mut follower = Follower::new(STEP);
    let keys: Vec<Key> = process
        .phrase()
        .notes()
        .iter()
        .map(|note| note.key)
        .collect();
    let pass = assert_no_alloc(|| {
        // Longer than what is kept.
        for note in 0..(MOST_NOTES + 500) {
            let struck = Struck {
                at: note as f64 * 0.375 + 0.01,
                key: keys[note % keys.len()],
                beat_ms: BEAT_MS,
            };
            follower.hear(&process, Part::COPY_1, struck);
        }
        let pass = follower.pass(&process, Part::COPY_1, SEAM, MOVE);
        follower.begin(STEP);
        pass
    });
    assert!(pass.matched <= MOST_NOTES);
    assert!(follower.matches().is_empty());
}
