//! From speech to tones: syllables, glides, sentences, the own tempo, keys.

#![allow(clippy::unwrap_used, reason = "a test")]

use procession_core::mode::Mode;
use procession_core::speech::{
    PitchTrack, RUNNING_SPEECH, Recording, SINGLE_VOWELS, Tone, in_tune, is_glide, pace, pitch_of,
    sentences, steadiest_first, stretch, tones,
};
use std::f64::consts::TAU;

const RATE: f64 = 16_000.0;

/// A vowel: when it begins and how long it is in seconds, from which pitch to which.
type Vowel = (f64, f64, f64, f64);

/// Vowels in a silence of that many seconds, each swelling and fading within 15 ms.
fn spoken(seconds: f64, vowels: &[Vowel]) -> Recording {
    let mut samples = vec![0.0_f32; (seconds * RATE) as usize];
    for (onset, length, from, to) in vowels {
        let mut turns = 0.0;
        for n in 0..(length * RATE) as usize {
            let at = n as f64 / RATE;
            let pitch = from + (to - from) * at / length;
            turns += 440.0 * ((pitch - 69.0) / 12.0).exp2() / RATE;
            let swell = (at / 0.015).min((length - at) / 0.015).min(1.0);
            let sum: f64 = (1..=8)
                .map(|h| (TAU * f64::from(h) * turns).sin() / f64::from(h))
                .sum();
            samples[(onset * RATE) as usize + n] += (0.2 * swell * sum) as f32;
        }
    }
    Recording::new(samples, RATE).unwrap()
}

fn heard(recording: &Recording) -> Vec<Tone> {
    tones(&PitchTrack::of(recording), RUNNING_SPEECH)
}

fn tone(onset: f64, pitch: f64, moved: f64) -> Tone {
    Tone {
        onset,
        length: 0.1,
        pitch,
        level: -12.0,
        moved,
    }
}

#[test]
fn the_published_thresholds_tell_a_glide_from_a_flat_syllable() {
    // Semitones, seconds, heard at G = 0.16, 0.24, 0.32 (Mertens, Speech Prosody 2004).
    for (semitones, seconds, meant) in [
        (2.0, 0.10, [true, false, false]),
        (1.0, 0.20, [true, false, false]),
        (4.0, 0.15, [true, true, true]),
        (0.5, 0.30, [false, false, false]),
        (3.0, 0.08, [true, true, false]),
    ] {
        let found = [SINGLE_VOWELS, 0.24, RUNNING_SPEECH].map(|g| is_glide(semitones, seconds, g));
        assert_eq!(found, meant, "{semitones} semitones in {seconds} s");
        let falling =
            [SINGLE_VOWELS, 0.24, RUNNING_SPEECH].map(|g| is_glide(-semitones, seconds, g));
        assert_eq!(falling, meant, "falling");
    }
}

#[test]
fn every_syllable_is_a_tone_that_begins_with_its_vowel_at_its_pitch() {
    let said = [
        (0.20, 0.12, 50.0, 50.0),
        (0.42, 0.15, 53.3, 53.3),
        (0.65, 0.10, 47.6, 47.6),
    ];
    let found = heard(&spoken(1.0, &said));
    assert_eq!(found.len(), 3, "{found:?}");
    for (tone, (onset, length, pitch, _)) in found.iter().zip(said) {
        assert!((tone.onset - onset).abs() <= 0.015, "{tone:?}");
        assert!((tone.length - length).abs() <= 0.035, "{tone:?}");
        assert!((tone.pitch - pitch).abs() < 0.05, "{tone:?}");
    }
}

#[test]
fn a_glide_that_is_heard_is_two_tones_and_a_slighter_one_is_flat_at_its_middle() {
    let two = heard(&spoken(0.6, &[(0.1, 0.3, 48.0, 54.0)]));
    assert_eq!(two.len(), 2, "{two:?}");
    assert!(
        (two[0].pitch - 48.0).abs() < 0.6 && (two[1].pitch - 54.0).abs() < 0.6,
        "{two:?}"
    );
    assert!((two[0].onset + two[0].length - two[1].onset).abs() < 1e-9);
    let flat = heard(&spoken(0.6, &[(0.1, 0.2, 50.0, 51.0)]));
    assert_eq!(flat.len(), 1, "{flat:?}");
    assert!((flat[0].pitch - 50.5).abs() < 0.1, "{flat:?}");
}

#[test]
fn silence_and_no_sound_at_all_have_no_tones() {
    assert!(heard(&spoken(1.0, &[])).is_empty());
    assert!(heard(&spoken(0.0, &[])).is_empty());
}

#[test]
fn a_pause_of_three_tenths_of_a_second_ends_a_sentence_and_a_shorter_one_does_not() {
    let told = |gap: f64| [tone(0.0, 50.0, 0.0), tone(0.1 + gap, 50.0, 0.0)];
    assert_eq!(sentences(&told(0.29)).len(), 1);
    assert_eq!(sentences(&told(0.31)).len(), 2);
    assert!(sentences(&[]).is_empty());
}

#[test]
fn the_steadiest_sentence_is_offered_first_and_a_single_word_last() {
    let told: Vec<Tone> = [
        (0.0, 0.9),
        (0.2, 0.9),
        (0.4, 0.9), // lively
        (1.0, 0.0), // one word
        (2.0, 0.1),
        (2.2, -0.1),
        (2.4, 0.1), // as if sung
    ]
    .map(|(onset, moved)| tone(onset, 50.0, moved))
    .to_vec();
    assert_eq!(steadiest_first(&sentences(&told)), [2, 0, 1]);
}

#[test]
fn the_own_tempo_of_a_sentence_is_found_in_even_and_in_wavering_syllables() {
    let onsets = |step: f64, sway: f64| -> Vec<Tone> {
        let said = [
            (0, 0.0),
            (1, 1.0),
            (3, -1.0),
            (4, 0.5),
            (6, -0.5),
            (7, 1.0),
            (8, -1.0),
        ];
        said.map(|(at, off)| tone(0.37 + f64::from(at) * step + off * sway, 50.0, 0.0))
            .to_vec()
    };
    for step in [0.13, 0.17, 0.2, 0.25] {
        for sway in [0.0, 0.008] {
            let found = pace(&onsets(step, sway)).unwrap();
            assert!((found.step / step - 1.0).abs() < 0.03, "{step}: {found:?}");
            assert!(found.error < 0.1, "{found:?}");
        }
    }
    assert_eq!(pace(&onsets(0.2, 0.0)[..2]), None);
}

#[test]
fn a_sentence_is_stretched_by_a_tenth_at_most_to_the_songs_step_its_half_or_its_double() {
    assert_eq!(stretch(0.20, 0.21), Some(0.21 / 0.20));
    assert_eq!(stretch(0.20, 0.42), Some(0.21 / 0.20));
    assert_eq!(stretch(0.20, 0.095), Some(0.19 / 0.20));
    assert_eq!(stretch(0.20, 0.15), None);
    assert_eq!(stretch(0.20, 0.29), None);
}

#[test]
fn a_pitch_goes_to_the_nearest_key_and_keeps_its_cents() {
    // 98.5 Hz is key 43 and 9 cents; 151 Hz is 50.48, nearly a tie: by arithmetic.
    let pitches = [98.5, 151.0].map(pitch_of);
    let found = in_tune(&pitches, None);
    assert_eq!(found[0].key.number(), 43);
    assert!((found[0].cents - 9.0).abs() < 0.5, "{found:?}");
    assert_eq!(found[1].key.number(), 50);
    // G major has no E flat, B flat major no D sharp but an E flat.
    let g = Mode::new(7, [0, 2, 4, 5, 7, 9, 11].into_iter().collect());
    assert_eq!(in_tune(&pitches, Some(&g))[1].key.number(), 50);
    let b_minor_five = Mode::new(6, [0, 3, 5, 7, 9].into_iter().collect());
    let tuned = in_tune(&pitches, Some(&b_minor_five))[1];
    assert_eq!((tuned.key.number(), tuned.cents.signum()), (51, -1.0));
}

#[test]
fn a_voice_that_wavers_between_two_keys_does_not_trill() {
    let keys = |pitches: &[f64]| -> Vec<u8> {
        in_tune(pitches, None)
            .iter()
            .map(|tuned| tuned.key.number())
            .collect()
    };
    assert_eq!(keys(&[50.45, 50.55, 50.48, 50.58]), [50, 50, 50, 50]);
    assert_eq!(keys(&[50.45, 50.65, 50.55]), [50, 51, 51]);
    assert!(keys(&[]).is_empty());
}
