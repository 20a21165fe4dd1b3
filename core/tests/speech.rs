//! What is heard in a recording of which we know what was said.

#![allow(clippy::unwrap_used, reason = "a test")]

use procession_core::speech::RecordingError;
use procession_core::speech::{Frame, HIGHEST, HOP, LONGEST, LOWEST, PitchTrack, Recording};
use proptest::prelude::*;
use std::f64::consts::TAU;

/// Harmonics 1 to 12 at a pitch that changes in time, each fainter than the one before, as of a throat.
fn sung(seconds: f64, rate: f64, hertz: impl Fn(f64) -> f64) -> Vec<f32> {
    let mut turns = 0.0;
    (0..(seconds * rate) as usize)
        .map(|n| {
            let pitch = hertz(n as f64 / rate);
            turns += pitch / rate;
            let sounding = (1..=12).filter(|h| f64::from(*h) * pitch < rate / 2.0);
            let sum: f64 = sounding
                .map(|h| (TAU * f64::from(h) * turns).sin() / f64::from(h))
                .sum();
            (0.2 * sum) as f32
        })
        .collect()
}

/// A hiss of that loudest sample; no two samples have to do with each other.
fn hiss(seconds: f64, rate: f64, loud: f64) -> Vec<f32> {
    let mut state = 0x2545_F491_4F6C_DD1D_u64;
    (0..(seconds * rate) as usize)
        .map(|_| {
            // xorshift64 (G. Marsaglia, Journal of Statistical Software 8/14, 2003)
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            let random = (state >> 11) as f64 / (1_u64 << 53) as f64;
            (loud * (2.0 * random - 1.0)) as f32
        })
        .collect()
}

fn frames(samples: Vec<f32>, rate: f64) -> Vec<Frame> {
    PitchTrack::of(&Recording::new(samples, rate).unwrap())
        .frames()
        .to_vec()
}

fn cents(a: f64, b: f64) -> f64 {
    1200.0 * (a / b).log2().abs()
}

/// All but the first and last 50 ms, where the sound begins and ends.
fn inside(frames: &[Frame]) -> &[Frame] {
    &frames[5..frames.len() - 5]
}

#[test]
fn a_steady_pitch_is_heard_within_two_cents_from_the_lowest_to_the_highest_at_any_rate() {
    for rate in [8_000.0, 11_025.0, 16_000.0, 44_100.0, 48_000.0, 96_000.0] {
        for hertz in [
            41.0, 60.0, 74.0, 76.0, 98.5, 151.0, 210.0, 333.3, 523.25, 790.0,
        ] {
            for frame in inside(&frames(sung(0.6, rate, |_| hertz), rate)) {
                let heard = frame.hertz.unwrap_or(0.0);
                assert!(
                    cents(heard, hertz) < 2.0,
                    "{hertz} Hz at {rate}: heard {heard}"
                );
            }
        }
    }
}

#[test]
fn a_glide_of_two_octaves_and_a_vibrato_are_followed() {
    let glide = |t: f64| 80.0 * 4.0_f64.powf(t / 2.0);
    let vibrato = |t: f64| 220.0 * 2.0_f64.powf(50.0 / 1200.0 * (TAU * 5.5 * t).sin());
    for hertz in [&glide as &dyn Fn(f64) -> f64, &vibrato] {
        let heard = frames(sung(2.0, 16_000.0, hertz), 16_000.0);
        for (index, frame) in heard.iter().enumerate().skip(5).take(190) {
            let meant = hertz(index as f64 * HOP);
            assert!(
                cents(frame.hertz.unwrap(), meant) < 10.0,
                "{frame:?}, meant {meant}"
            );
        }
    }
}

#[test]
fn a_voice_without_its_fundamental_is_heard_at_its_pitch_as_over_the_telephone() {
    let samples: Vec<f32> = (0..8_000)
        .map(|n| {
            let turns = 120.0 * n as f64 / 8_000.0;
            (3..8)
                .map(|h| (TAU * f64::from(h) * turns).sin())
                .sum::<f64>() as f32
                * 0.1
        })
        .collect();
    for frame in inside(&frames(samples, 8_000.0)) {
        assert!(cents(frame.hertz.unwrap(), 120.0) < 5.0, "{frame:?}");
    }
}

#[test]
fn a_strong_octave_does_not_pull_the_voice_up() {
    let rate = 16_000.0;
    let samples: Vec<f32> = (0..16_000)
        .map(|n| {
            let turns = TAU * 110.0 * n as f64 / rate;
            (0.1 * turns.sin() + 0.4 * (2.0 * turns).sin() + 0.1 * (3.0 * turns).sin()) as f32
        })
        .collect();
    for frame in inside(&frames(samples, rate)) {
        assert!(cents(frame.hertz.unwrap(), 110.0) < 5.0, "{frame:?}");
    }
}

#[test]
fn silence_and_hiss_have_no_pitch() {
    assert!(
        frames(vec![0.0; 16_000], 16_000.0)
            .iter()
            .all(|frame| frame.hertz.is_none())
    );
    for rate in [8_000.0, 16_000.0, 48_000.0] {
        let heard = frames(hiss(10.0, rate, 0.5), rate);
        let voiced = heard.iter().filter(|frame| frame.hertz.is_some()).count();
        // Three in a hundred are chance; the general-purpose trackers have up to nine.
        assert!(
            voiced * 100 <= heard.len() * 3,
            "{voiced} of {} at {rate}",
            heard.len()
        );
    }
}

#[test]
fn what_lies_between_two_words_is_silent_even_if_the_microphone_hears_a_hum() {
    let rate = 16_000.0;
    let mut samples = sung(1.0, rate, |_| 140.0);
    let hum = |n: usize| (0.002 * (TAU * 50.0 * n as f64 / rate).sin()) as f32;
    samples.extend((0..16_000).map(hum));
    samples.extend(sung(1.0, rate, |_| 140.0));
    let heard = frames(samples, rate);
    assert!(heard[110..190].iter().all(|frame| frame.hertz.is_none()));
    assert!(heard[10..90].iter().all(|frame| frame.hertz.is_some()));
}

#[test]
fn a_knock_on_the_microphone_does_not_silence_the_voice() {
    let rate = 16_000.0;
    let mut samples: Vec<f32> = sung(3.0, rate, |_| 180.0)
        .iter()
        .map(|x| x * 0.02)
        .collect();
    for (n, sample) in samples[8_000..8_160].iter_mut().enumerate() {
        *sample += if n % 40 < 20 { 1.0 } else { -1.0 };
    }
    let heard = frames(samples, rate);
    let voiced = heard.iter().filter(|frame| frame.hertz.is_some()).count();
    assert!(
        voiced * 10 >= heard.len() * 9,
        "{voiced} of {}",
        heard.len()
    );
}

#[test]
fn a_clipped_voice_keeps_its_pitch() {
    let clipped = sung(1.0, 16_000.0, |_| 130.0)
        .iter()
        .map(|x| (x * 20.0).clamp(-1.0, 1.0))
        .collect();
    for frame in inside(&frames(clipped, 16_000.0)) {
        assert!(cents(frame.hertz.unwrap(), 130.0) < 5.0, "{frame:?}");
    }
}

#[test]
fn no_sound_at_all_has_no_frames_and_one_sample_has_one() {
    assert!(frames(Vec::new(), 48_000.0).is_empty());
    assert_eq!(frames(vec![0.3], 48_000.0).len(), 1);
}

#[test]
fn a_rate_or_a_length_that_is_none_is_refused_in_plain_words() {
    for rate in [0.0, -1.0, 4_000.0, f64::NAN, f64::INFINITY] {
        let refused = Recording::new(vec![0.0; 10], rate).unwrap_err();
        assert!(matches!(refused, RecordingError::Rate(_)), "{refused}");
        assert!(
            refused.to_string().contains("convert the recording"),
            "{refused}"
        );
    }
    let hours = vec![0.0; (8_000.0 * LONGEST) as usize + 8_000];
    let refused = Recording::new(hours, 8_000.0).unwrap_err().to_string();
    assert!(refused.contains("601 seconds"), "{refused}");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// Whatever the samples are, the track is as long as the sound, in range, and always the same.
    #[test]
    fn any_samples_give_a_track_in_range(
        samples in proptest::collection::vec(
            prop_oneof![Just(f32::NAN), Just(f32::INFINITY), Just(0.0), -1.0_f32..1.0], 0..4_000),
        rate in prop_oneof![Just(8_000.0), Just(44_100.0)],
    ) {
        let heard = frames(samples.clone(), rate);
        prop_assert_eq!(heard.len(), (samples.len() as f64 / rate / HOP).ceil() as usize);
        for frame in &heard {
            prop_assert!(frame.level.is_finite());
            prop_assert!(frame.hertz.is_none_or(|hertz| (LOWEST..=HIGHEST).contains(&hertz)));
        }
        prop_assert_eq!(heard, frames(samples, rate));
    }

    /// Half as loud, or turned over, it is the same melody.
    #[test]
    fn the_pitch_does_not_depend_on_how_loud_the_recording_is(hertz in 60.0..400.0, gain in 0.05_f32..1.0) {
        let plain = sung(0.4, 16_000.0, |t| hertz * (1.0 + 0.2 * t));
        let other = plain.iter().map(|x| -x * gain).collect();
        for (a, b) in inside(&frames(plain, 16_000.0)).iter().zip(inside(&frames(other, 16_000.0))) {
            prop_assert!(cents(a.hertz.unwrap(), b.hertz.unwrap()) < 0.5);
        }
    }
}
