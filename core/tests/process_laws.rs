//! Laws of the process, for any phrase and any settings.

mod common;

use common::{phrase, settings};
use procession_core::motion::{drift_cycles, shifts_to_unison};
use procession_core::note::Note;
use procession_core::part::{CopyNumber, Part};
use procession_core::phrase::Phrase;
use procession_core::process::{Process, VoiceNote};
use procession_core::settings::{
    Advance, CopiesMove, Growth, Motion, MotionSettings, Settings, Shifts,
};
use procession_core::time::{Since, Span, to_ticks};
use procession_core::unrolling::unroll;
use proptest::prelude::*;

fn notes(process: &Process, part: Part, from: f64, to: f64) -> Vec<VoiceNote> {
    process.notes(part, Span::new(from, to)).collect()
}

/// Copies that enter with the steady voice, at no offset.
fn at_once(motion: MotionSettings) -> MotionSettings {
    MotionSettings {
        entry: 0,
        offset: 0.0,
        ..motion
    }
}

/// Up to four times the same phrase, its notes held as a hand holds them: a little longer or
/// shorter each time. Sometimes one of them is another note value, and the parts are not the same.
fn in_parts() -> impl Strategy<Value = Phrase> {
    let hand = proptest::collection::vec(0.95f64..1.05, 16);
    let other = proptest::option::weighted(0.3, any::<proptest::sample::Index>());
    (phrase(), 1u32..=4, hand, other).prop_map(|(part, times, hand, other)| {
        let mut notes: Vec<Note> = Vec::new();
        for time in 0..times {
            for note in part.notes() {
                let onset = note.onset + f64::from(time) * part.length();
                let held = note.length * hand[notes.len() % hand.len()];
                // A key is struck once at a time.
                let struck = |other: &Note| other.onset == onset && other.key == note.key;
                if !notes.iter().any(struck) {
                    notes.push(Note {
                        onset,
                        length: held,
                        ..*note
                    });
                }
            }
        }
        if let Some(other) = other {
            let count = notes.len();
            let length = &mut notes[other.index(count)].length;
            *length = if *length > 0.5 {
                *length / 2.0
            } else {
                *length + 0.25
            };
        }
        Phrase::new(notes, part.length() * f64::from(times)).expect("as long as a phrase may be")
    })
}

/// Ticks by which `copy` is ahead after so many shifts: counted one by one.
fn ticks_ahead(copy: usize, shifts: u64, settings: &Settings) -> i64 {
    let motion = &settings.motion;
    let shift = (settings.step() * 960.0).round() as i64 * i64::from(motion.shift_by);
    (0..shifts)
        .map(|earlier| match motion.copies_move {
            CopiesMove::Fanned => shift * copy as i64,
            CopiesMove::Together => shift,
            CopiesMove::InTurn if earlier % motion.copies as u64 == copy as u64 - 1 => shift,
            CopiesMove::InTurn => 0,
        })
        .sum()
}

/// Whether the phrase, turned by so many ticks, has every note where there was one of that key and
/// note value.
fn is_heard_as_it_was(phrase: &Phrase, ahead: i64) -> bool {
    let round = to_ticks(phrase.length());
    let turned_by = |ahead: i64| {
        let turned = phrase.notes().iter().map(|note| {
            let onset = (to_ticks(note.onset) - ahead).rem_euclid(round);
            (onset, note.key, to_ticks(note.length))
        });
        let mut turned: Vec<_> = turned.collect();
        turned.sort_unstable();
        turned
    };
    // Of two note values the longer is at least the shorter dotted: 4 : 3. Less than a sixteenth of
    // a beat is no difference.
    let one_value = |a: i64, b: i64| (a - b).abs() < 60 || 4 * a.min(b) > 3 * a.max(b);
    std::iter::zip(turned_by(0), turned_by(ahead))
        .all(|(a, b)| (a.0, a.1) == (b.0, b.1) && one_value(a.2, b.2))
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
        for voice in process.voices().parts() {
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
        for copy in process.voices().copies() {
            let course = process.voices().course(copy);
            let mut piece = course.piece_at(Since::START);
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
        let tau = Since::new(tau);
        let piece = process.voices().course(CopyNumber::FIRST).piece_at(tau);
        let back = piece.time_of(piece.place_at(tau));
        prop_assert!((back - tau).abs() < 1e-9, "{tau:?} {back:?}");
    }

    /// With shifts on Auto the copies end in unison, and were not in unison after any fewer.
    #[test]
    fn unison_comes_back_after_as_many_shifts_as_it_takes_and_no_fewer(
        phrase in in_parts(), settings in settings(),
    ) {
        let mut settings = settings;
        settings.motion.copies = settings.motion.copies.max(1);
        let round = shifts_to_unison(&phrase, &settings);
        prop_assert_eq!(round == 0, settings.motion.shift_by == 0);
        let unison = |shifts: u64| {
            (1..=settings.motion.copies)
                .all(|copy| is_heard_as_it_was(&phrase, ticks_ahead(copy, shifts, &settings)))
        };
        prop_assert!(unison(round), "not in unison after {round}");
        for shifts in 1..round {
            prop_assert!(!unison(shifts), "unison after {shifts} of {round}");
        }
        // And what plays is ahead by as much.
        settings.motion = MotionSettings {
            motion: Motion::Jump,
            shifts: Shifts::Auto,
            dwell: 1,
            ..at_once(settings.motion)
        };
        settings.growth.growth = Growth::Off;
        settings.copies = Settings::default().copies;
        let process = Process::new(phrase, settings, 0.0);
        for shifts in [round / 2, round, round + 1] {
            let at = (shifts as f64 + 0.5) * process.phrase().length();
            for copy in 1..=settings.motion.copies {
                let ahead = process.voices().displacement(Part::ALL[copy], at).map(to_ticks);
                let expected = ticks_ahead(copy, shifts.min(round), &settings);
                prop_assert_eq!(ahead, Some(expected), "copy {} after {}", copy, shifts);
            }
        }
    }

    /// A drift takes as long as asked, unless a copy would then be faster than twice or slower than
    /// half the tempo: then it takes the fewest whole cycles in which none is.
    #[test]
    fn a_drift_takes_as_long_as_asked_unless_a_player_could_not(
        phrase in phrase(), settings in settings(),
    ) {
        let mut settings = settings;
        settings.motion = MotionSettings {
            motion: Motion::Drift,
            shifts: Shifts::Endless,
            ..at_once(settings.motion)
        };
        settings.motion.copies = settings.motion.copies.max(1);
        settings.growth.growth = Growth::Off;
        settings.copies = Settings::default().copies;
        let motion = settings.motion;
        let cycles = drift_cycles(&phrase, &settings);
        let cycle = phrase.length();
        let dwell = f64::from(motion.dwell) * cycle;
        let drift = f64::from(cycles) * cycle;
        let process = Process::new(phrase, settings, 0.0);
        // The ease 2p^2 is steepest half-way, where a drift of d beats over R has the tempo
        // 1 + 2d/R.
        let peak = |ahead: f64, cycles: u32| 1.0 + 2.0 * ahead / (f64::from(cycles) * cycle);
        let playable = 0.5 - 1e-5..=2.0 + 1e-5;
        let mut all_could = true;
        for copy in 1..=motion.copies {
            let ahead_at = |at: f64| process.voices().displacement(Part::ALL[copy], at).unwrap();
            let (shift, moves_in) = match motion.copies_move {
                CopiesMove::Fanned => (copy, 0),
                CopiesMove::Together => (1, 0),
                CopiesMove::InTurn => (1, copy - 1),
            };
            let ahead = shift as f64 * f64::from(motion.shift_by) * settings.step();
            let leaves = dwell + moves_in as f64 * (dwell + drift);
            prop_assert!(ahead_at(leaves).abs() < 1e-9);
            prop_assert!((ahead_at(leaves + drift) - ahead).abs() < 1e-9);
            // Measured: beats of material a beat, over the shortest of times.
            let moment = drift / 65_536.0;
            let tempo = |at: f64| 1.0 + (ahead_at(at + moment) - ahead_at(at)) / moment;
            for part in 0..64 {
                let ratio = tempo(leaves + drift * f64::from(part) / 64.0);
                prop_assert!(playable.contains(&ratio), "copy {copy}: {ratio}");
            }
            prop_assert!((tempo(leaves + drift / 2.0) - peak(ahead, cycles)).abs() < 1e-4);
            all_could &= cycles == 1 || (0.5..=2.0).contains(&peak(ahead, cycles - 1));
        }
        prop_assert!(cycles >= motion.drift);
        prop_assert!(cycles == motion.drift || !all_could, "{cycles} cycles, and fewer would do");
    }

    /// With nothing growing, a cycle of the steady voice is the phrase.
    #[test]
    fn the_steady_voice_plays_the_phrase(phrase in phrase(), cycle in 0u32..100_000) {
        let mut settings = Settings::default();
        settings.growth.growth = Growth::Off;
        let length = phrase.length();
        let process = Process::new(phrase.clone(), settings, 0.0);
        let start = f64::from(cycle) * length;
        let heard = notes(&process, Part::Steady, start - 1e-7, start + length - 1e-7);
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
        let before = process.voices().displacement(Part::COPY_1, now);
        process.set_settings(settings, now);
        let after = process.voices().displacement(Part::COPY_1, now);
        prop_assert_eq!(before.is_some(), after.is_some());
        if let (Some(before), Some(after)) = (before, after) {
            prop_assert!((before - after).abs() < 1e-9, "{before} {after}");
            let mut earlier = now + after;
            for tick in 1..2000 {
                let at = now + f64::from(tick) * 0.05;
                let place = at + process.voices().displacement(Part::COPY_1, at).unwrap();
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
            let done = process.voices().laps(Part::Steady).done().unwrap().beats();
            assert_eq!(
                notes(&process, Part::Steady, done, done + 2.0).len(),
                6,
                "{growth:?} {step}"
            );
            let before = notes(&process, Part::Steady, 0.0, 2.0).len();
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
        let ahead = |at| process.voices().displacement(Part::COPY_1, at);
        assert_eq!(ahead(boundary - 0.1), Some(0.0), "{now}");
        assert_eq!(ahead(boundary + 0.1), Some(0.5), "{now}");

        let mut settings = Settings::default();
        settings.growth.growth = Growth::Fill;
        settings.growth.step = 0;
        settings.growth.every = 1;
        let mut process = Process::new(six(), settings, 0.0);
        settings.growth.step = -2;
        process.set_settings(settings, now);
        let sounding = |cycle: f64| notes(&process, Part::Steady, cycle, cycle + 1.5).len();
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
        assert_eq!(
            process.voices().displacement(Part::COPY_1, 6.1),
            Some(ahead),
            "{now}"
        );
    }
}
