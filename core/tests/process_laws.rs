//! Laws of the process, for any phrase and any settings.

mod common;

use common::{phrase, settings};
use procession_core::motion::{drift_cycles, shifts_to_unison};
use procession_core::phrase::Phrase;
use procession_core::process::{Process, VoiceNote};
use procession_core::settings::{Advance, Growth, Motion, Settings, Shifts};
use procession_core::time::{Span, to_ticks};
use procession_core::unrolling::unroll;
use proptest::prelude::*;

fn notes(process: &Process, voice: usize, from: f64, to: f64) -> Vec<VoiceNote> {
    process.notes(voice, Span::new(from, to)).collect()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, ..ProptestConfig::default() })]

    /// Where a stretch of time is cut is not heard: nothing is lost, nothing is doubled.
    #[test]
    fn a_stretch_asked_in_parts_is_the_stretch_asked_at_once(
        phrase in phrase(), settings in settings(),
        cuts in proptest::collection::vec(0.0f64..200.0, 0..12),
    ) {
        let process = Process::new(phrase, settings, 1.5);
        let mut cuts = cuts;
        cuts.extend([0.0, 200.0]);
        cuts.sort_by(f64::total_cmp);
        for voice in 0..process.voices().count() {
            let whole = notes(&process, voice, 0.0, 200.0);
            let parts: Vec<_> = cuts
                .windows(2)
                .flat_map(|cut| notes(&process, voice, cut[0], cut[1]))
                .collect();
            prop_assert_eq!(whole, parts);
        }
        // The resulting line with them.
        let whole: Vec<_> = unroll(&process, Span::new(0.0, 200.0)).collect();
        let parts: Vec<_> = cuts
            .windows(2)
            .flat_map(|cut| unroll(&process, Span::new(cut[0], cut[1])))
            .collect();
        prop_assert_eq!(whole, parts);
    }

    /// Onsets come in order, inside the span, and every note lasts.
    #[test]
    fn notes_come_in_order_and_last(phrase in phrase(), settings in settings()) {
        let process = Process::new(phrase, settings, 0.0);
        let all: Vec<_> = unroll(&process, Span::new(3.3, 120.0)).collect();
        for pair in all.windows(2) {
            prop_assert!(pair[0].on <= pair[1].on);
        }
        for note in &all {
            prop_assert!((3.3..120.0).contains(&note.on), "{note:?}");
            prop_assert!(note.off > note.on, "{note:?}");
        }
    }

    /// While drifting the displacement has no gap, and the material never runs backwards: the
    /// local tempo stays between half and double.
    #[test]
    fn a_drift_has_no_gap_and_stays_between_half_and_double_tempo(
        phrase in phrase(), settings in settings(),
    ) {
        let mut settings = settings;
        settings.motion.motion = Motion::Drift;
        let process = Process::new(phrase, settings, 0.0);
        for copy in 1..process.voices().count() {
            let course = process.voices().course(copy);
            let mut piece = course.piece_at(0.0);
            for _ in 0..40 {
                if !piece.end.is_finite() {
                    break;
                }
                let next = course.piece_after(&piece);
                prop_assert_eq!(piece.end, next.start);
                prop_assert!((piece.to - next.from).abs() < 1e-9, "{piece:?} {next:?}");
                prop_assert!((piece.place_at(piece.end) - piece.to).abs() < 1e-9);
                for at in [piece.start, piece.end] {
                    let ratio = piece.ratio_at(at);
                    prop_assert!((0.5 - 1e-9..=2.0 + 1e-9).contains(&ratio), "{ratio}");
                }
                piece = next;
            }
        }
    }

    /// A place in the material and the time it is reached are each other's inverse.
    #[test]
    fn time_and_place_invert_each_other(
        phrase in phrase(), settings in settings(), tau in 0.0f64..500.0,
    ) {
        let process = Process::new(phrase, settings, 0.0);
        let piece = process.voices().course(1).piece_at(tau);
        let back = piece.time_of(piece.place_at(tau));
        prop_assert!((back - tau).abs() < 1e-9, "{tau} {back}");
    }

    /// With shifts on Auto the copies end in unison, and were not in unison after any fewer.
    #[test]
    fn unison_comes_back_exactly_when_the_arithmetic_says(
        phrase in phrase(), settings in settings(),
    ) {
        let mut settings = settings;
        settings.motion.shifts = Shifts::Auto;
        settings.motion.copies = settings.motion.copies.max(1);
        let round = shifts_to_unison(&phrase, &settings);
        let rotation = phrase.smallest_rotation();
        let process = Process::new(phrase, settings, 0.0);
        let apart = |stage: u64| {
            (1..process.voices().count()).any(|copy| {
                to_ticks(process.voices().course(copy).shifted(stage)).rem_euclid(rotation) != 0
            })
        };
        prop_assert!(!apart(round));
        for stage in 1..round.min(400) {
            prop_assert!(apart(stage), "unison after {stage} of {round}");
        }
    }

    /// A drift never takes less time than was asked for.
    #[test]
    fn a_drift_takes_as_long_as_asked_or_longer(phrase in phrase(), settings in settings()) {
        prop_assert!(drift_cycles(&phrase, &settings) >= settings.motion.drift);
    }

    /// With nothing growing, a cycle of the steady voice is the phrase.
    #[test]
    fn the_steady_voice_plays_the_phrase(phrase in phrase(), cycle in 0u32..100_000) {
        let mut settings = Settings::default();
        settings.growth.growth = Growth::Off;
        let length = phrase.length();
        let process = Process::new(phrase.clone(), settings, 0.0);
        let start = f64::from(cycle) * length;
        let heard = notes(&process, 0, start - 1e-7, start + length - 1e-7);
        prop_assert_eq!(heard.len(), phrase.notes().len());
        for (heard, written) in heard.iter().zip(phrase.notes()) {
            prop_assert!((heard.on - start - written.onset).abs() < 1e-7);
            prop_assert_eq!(heard.key, written.key);
        }
    }

    /// A change of the offset while drifting is approached without a gap and never backwards.
    #[test]
    fn a_changed_offset_never_turns_the_material_back(
        phrase in phrase(), settings in settings(), now in 0.1f64..100.0, offset in -32.0f64..32.0,
    ) {
        let mut settings = settings;
        settings.motion.motion = Motion::Drift;
        settings.motion.copies = settings.motion.copies.max(1);
        let mut process = Process::new(phrase, settings, 0.0);
        settings.motion.offset = offset;
        let before = process.voices().displacement(1, now);
        process.set_settings(settings, now);
        let after = process.voices().displacement(1, now);
        prop_assert_eq!(before.is_some(), after.is_some());
        if let (Some(before), Some(after)) = (before, after) {
            prop_assert!((before - after).abs() < 1e-9, "{before} {after}");
            let mut earlier = now + after;
            for tick in 1..2000 {
                let at = now + f64::from(tick) * 0.05;
                let place = at + process.voices().displacement(1, at).unwrap();
                prop_assert!(place > earlier, "{place} {earlier}");
                earlier = place;
            }
        }
    }
}

/// Growth of any kind leaves a phrase that, once done, is whole.
#[test]
fn what_has_grown_is_the_whole_phrase() {
    let phrase = Phrase::from_text("D4 F4 G4 A4 C5 . E4 .", 0.25).unwrap();
    for growth in [Growth::Fill, Growth::Lengthen] {
        for step in 1..=8 {
            let mut settings = Settings::default();
            settings.growth.growth = growth;
            settings.growth.step = step;
            let process = Process::new(phrase.clone(), settings, 0.0);
            let done = process.voices().laps(0).done().unwrap();
            assert_eq!(
                notes(&process, 0, done, done + 2.0).len(),
                6,
                "{growth:?} {step}"
            );
            let before = notes(&process, 0, 0.0, 2.0).len();
            assert!(before < 6 || step >= 6 || growth == Growth::Lengthen);
        }
    }
}

/// Hosts round positions, and hands are not exact: what comes up to 1/480 beat after a boundary is
/// on it, what comes later waits for the next.
#[test]
fn a_change_just_after_a_boundary_is_on_it() {
    let six = || Phrase::from_text("D4 F4 G4 A4 C5 E4", 0.25).expect("these words are notes");
    let late = 1.0 / 480.0;
    // Cycles of 1.5 beats; the change comes about beat 6.
    for (now, boundary) in [
        (6.0 - 1e-3, 6.0),
        (6.0, 6.0),
        (6.0 + 0.99 * late, 6.0),
        (6.0 + 1.01 * late, 7.5),
    ] {
        let mut settings = Settings::default();
        settings.motion.motion = Motion::Jump;
        settings.motion.dwell = 64;
        let mut process = Process::new(six(), settings, 0.0);
        settings.motion.offset = 2.0;
        process.set_settings(settings, now);
        let ahead = |at| process.voices().displacement(1, at);
        assert_eq!(ahead(boundary - 0.1), Some(0.0), "{now}");
        assert_eq!(ahead(boundary + 0.1), Some(0.5), "{now}");

        let mut settings = Settings::default();
        settings.growth.growth = Growth::Fill;
        settings.growth.step = 0;
        settings.growth.every = 1;
        let mut process = Process::new(six(), settings, 0.0);
        settings.growth.step = -2;
        process.set_settings(settings, now);
        let sounding = |cycle: f64| notes(&process, 0, cycle, cycle + 1.5).len();
        // At each boundary what is then in force is taken away.
        let around = [boundary - 1.5, boundary, boundary + 1.5].map(sounding);
        assert_eq!(around, [6, 4, 2], "{now}");
    }
}

#[test]
fn a_cue_just_after_a_cycle_began_moves_copies_with_it() {
    let six = Phrase::from_text("D4 F4 G4 A4 C5 E4", 0.25).expect("these words are notes");
    let mut settings = Settings::default();
    settings.motion.motion = Motion::Jump;
    settings.motion.advance = Advance::OnCue;
    for (now, ahead) in [(6.0, 0.25), (6.0 + 0.9 / 480.0, 0.25), (6.01, 0.0)] {
        let mut process = Process::new(six.clone(), settings, 0.0);
        assert!(process.cue(now));
        assert_eq!(process.voices().displacement(1, 6.1), Some(ahead), "{now}");
    }
}
