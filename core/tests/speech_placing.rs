//! From a recording to a phrase: which sentences there are, how one comes to lie on the grid, and what
//! is said of a recording that is none.

#![allow(clippy::unwrap_used, reason = "a test")]

use procession_core::exchange::recorded::{self, SoundError};
use procession_core::mode::Mode;
use procession_core::phrase::MIN_LENGTH;
use procession_core::speech::{
    Candidate, Fit, Listened, NoVoice, Placing, Recording, Remark, Sentence, Tone, own_tempo, pace,
};
use proptest::prelude::*;
use std::f64::consts::TAU;

const RATE: f64 = 16_000.0;

/// A vowel: when it begins and how long it is in seconds, at which pitch.
type Vowel = (f64, f64, f64);

/// Vowels in a silence of that many seconds, each swelling and fading within 15 ms.
fn spoken(seconds: f64, vowels: &[Vowel], rate: f64, loud: f64) -> Recording {
    let mut samples = vec![0.0_f32; (seconds * rate) as usize];
    for (onset, length, pitch) in vowels {
        let hertz = 440.0 * ((pitch - 69.0) / 12.0).exp2();
        for n in 0..(length * rate) as usize {
            let at = n as f64 / rate;
            let swell = (at / 0.015).min((length - at) / 0.015).min(1.0);
            let sum: f64 = (1..=8)
                .map(|h| (TAU * f64::from(h) * hertz * at).sin() / f64::from(h))
                .sum();
            samples[(onset * rate) as usize + n] += (loud * swell * sum) as f32;
        }
    }
    Recording::new(samples, rate).unwrap()
}

/// Tones of a tenth of a second at those onsets and pitches, each syllable beginning 50 ms before.
fn sentence(tones: &[(f64, f64)]) -> Candidate {
    let tones: Vec<Tone> = (tones.iter())
        .map(|(onset, pitch)| Tone {
            onset: *onset,
            length: 0.1,
            pitch: *pitch,
            level: -12.0,
            moved: 0.0,
        })
        .collect();
    let syllables = tones.iter().map(|tone| tone.onset - 0.05..tone.onset + 0.1);
    Candidate {
        syllables: syllables.collect(),
        pace: pace(&tones),
        sentence: Sentence { tones },
    }
}

/// Sixteenths on the grid, at 120 beats a minute: an eighth of a second each.
fn at_120() -> Placing {
    Placing {
        step: 0.25,
        snap: 1.0,
        steps: None,
        tempo: 120.0,
        mode: None,
        fit: Fit::AsSaid,
    }
}

fn onsets(placing: &Placing, of: &Candidate) -> Vec<f64> {
    let placed = placing.place(of).unwrap();
    let notes = placed.phrase.notes();
    notes.iter().map(|note| note.onset).collect()
}

#[test]
fn vowels_go_to_their_steps_and_the_first_begins_the_phrase() {
    // 0, 1, 3, 4 and 6 sixteenths after the first, each up to 30 ms early or late.
    let said = [
        (0.51, 45.1),
        (0.64, 47.0),
        (0.86, 43.0),
        (1.02, 43.2),
        (1.24, 41.0),
    ];
    let placed = at_120().place(&sentence(&said)).unwrap();
    let phrase = &placed.phrase;
    let notes: Vec<_> = phrase
        .notes()
        .iter()
        .map(|n| (n.onset, n.key.number()))
        .collect();
    assert_eq!(
        notes,
        [(0.0, 45), (0.25, 47), (0.75, 43), (1.0, 43), (1.5, 41)]
    );
    assert_eq!(phrase.length(), 2.0, "to the next beat after the last");
    let cents: Vec<_> = placed
        .phrase
        .notes()
        .iter()
        .map(|note| note.said.unwrap().cents.round())
        .collect();
    assert_eq!(cents, [10.0, 0.0, 0.0, 20.0, 0.0]);
    let third = placed.phrase.notes()[2].said.unwrap();
    // Counted from where the first syllable begins, at 0.46 s.
    for (found, meant) in [(third.start, 0.35), (third.vowel, 0.4), (third.end, 0.5)] {
        assert!((found - meant).abs() < 1e-6, "{found} for {meant}");
    }
    assert_eq!((placed.stretched, placed.left_out), (1.0, 0));
}

#[test]
fn without_snap_the_vowels_stay_where_they_were_said() {
    let said = [(0.5, 45.0), (0.64, 47.0), (0.86, 43.0)];
    let as_said = Placing {
        snap: 0.0,
        ..at_120()
    };
    let found = onsets(&as_said, &sentence(&said));
    // 0.14 s and 0.36 s are 0.28 and 0.72 beats.
    for (found, meant) in found.iter().zip([0.0, 0.28, 0.72]) {
        assert!((found - meant).abs() < 1e-9, "{found} for {meant}");
    }
}

#[test]
fn a_sentence_near_the_songs_tempo_is_fitted_and_one_far_from_it_only_if_asked() {
    // Eight syllables, 0.135 s apart: 8 % slower than sixteenths at 120.
    let slow: Vec<_> = (0..8).map(|n| (0.135 * f64::from(n), 45.0)).collect();
    let even: Vec<_> = (0..8).map(|n| 0.25 * f64::from(n)).collect();
    let unasked = Placing {
        fit: Fit::Unasked,
        ..at_120()
    };
    let placed = unasked.place(&sentence(&slow)).unwrap();
    assert!(
        (placed.stretched - 0.125 / 0.135).abs() < 0.005,
        "{}",
        placed.stretched
    );
    assert_eq!(onsets(&unasked, &sentence(&slow)), even);
    // 0.16 s apart: 28 % slower.
    let slower: Vec<_> = (0..8).map(|n| (0.16 * f64::from(n), 45.0)).collect();
    assert_eq!(unasked.place(&sentence(&slower)).unwrap().stretched, 1.0);
    assert_ne!(onsets(&unasked, &sentence(&slower)), even);
    let asked = Placing {
        fit: Fit::ToSong,
        ..at_120()
    };
    assert_eq!(onsets(&asked, &sentence(&slower)), even);
    // Its own tempo: sixteenths of 0.16 s are beats of 0.64 s.
    let own = own_tempo(&sentence(&slower).pace.unwrap(), 0.25, 120.0);
    assert!((own - 93.75).abs() < 0.5, "{own}");
}

#[test]
fn a_near_tie_goes_to_the_tone_of_the_mode() {
    // 151 Hz is 50.48: D3 is in D minor, E flat is not.
    let d_minor = Mode::new(
        2,
        procession_core::mode::PitchSet::of(&[0, 2, 3, 5, 7, 8, 10]),
    );
    let in_mode = Placing {
        mode: Some(d_minor),
        ..at_120()
    };
    let said = [(0.0, 50.52), (0.25, 53.0), (0.5, 51.2)];
    let keys = |placing: &Placing| -> Vec<u8> {
        let placed = placing.place(&sentence(&said)).unwrap();
        placed
            .phrase
            .notes()
            .iter()
            .map(|note| note.key.number())
            .collect()
    };
    assert_eq!(keys(&in_mode), [50, 53, 52]);
    assert_eq!(keys(&at_120()), [51, 53, 51]);
}

#[test]
fn a_length_that_was_asked_for_leaves_out_what_is_beyond_and_says_so() {
    let said: Vec<_> = (0..10).map(|n| (0.125 * f64::from(n), 45.0)).collect();
    let eight = Placing {
        steps: Some(8),
        ..at_120()
    };
    let placed = eight.place(&sentence(&said)).unwrap();
    assert_eq!(placed.phrase.length(), 2.0);
    assert_eq!((placed.phrase.notes().len(), placed.left_out), (8, 2));
    assert_eq!(
        placed
            .phrase
            .notes()
            .iter()
            .filter(|note| note.said.is_some())
            .count(),
        8
    );
    let long: Vec<_> = (0..400).map(|n| (0.2 * f64::from(n), 45.0)).collect();
    assert!(
        at_120().place(&sentence(&long)).is_err(),
        "160 beats are too many"
    );
}

#[test]
fn sentences_are_found_in_a_recording_and_the_steadiest_is_offered_first() {
    let mut vowels: Vec<Vowel> = (0..5)
        .map(|n| (0.3 + 0.2 * f64::from(n), 0.12, 50.0))
        .collect();
    vowels.extend((0..4).map(|n| (2.0 + 0.2 * f64::from(n), 0.12, 45.0 + f64::from(n))));
    let recording = spoken(3.2, &vowels, RATE, 0.2);
    let listened = Listened::to(&recording).unwrap();
    let counts: Vec<_> = listened
        .candidates()
        .iter()
        .map(|c| c.sentence.tones.len())
        .collect();
    assert_eq!(counts, [5, 4]);
    assert_eq!(listened.steadiest().len(), 2);
    assert!(listened.remarks().is_empty(), "{:?}", listened.remarks());
    for candidate in listened.candidates() {
        let syllables = &candidate.syllables;
        assert!(syllables.windows(2).all(|two| two[0].end == two[1].start));
        for (syllable, tone) in syllables.iter().zip(&candidate.sentence.tones) {
            assert!(
                syllable.start <= tone.onset && tone.onset < syllable.end,
                "{syllable:?} {tone:?}"
            );
        }
    }
    let (first, second) = (
        listened.candidates()[0].span(),
        listened.candidates()[1].span(),
    );
    assert!(first.end <= second.start && second.end <= 3.2);
    let frame = |seconds: f64| (seconds * RATE).round() as usize;
    let samples = recording.samples()[frame(second.start)..frame(second.end)].to_vec();
    let cut = Recording::new(samples, RATE).unwrap();
    let again = Listened::to(&cut).unwrap();
    assert_eq!(again.candidates().len(), 1);
    assert_eq!(again.candidates()[0].sentence.tones.len(), 4);
}

#[test]
fn silence_noise_and_no_sound_at_all_are_told_apart_in_plain_words() {
    for samples in [vec![], vec![0.0; 16_000], vec![0.0005; 16_000]] {
        let refusal = Listened::to(&Recording::new(samples, RATE).unwrap()).unwrap_err();
        assert_eq!(refusal, NoVoice::Silence);
        assert!(refusal.to_string().contains("check that the right input"));
    }
    let mut state = 1_u64;
    let hiss = (0..48_000).map(|_| {
        // An LCG (D. Knuth, The Art of Computer Programming 2, 3.3.4: MMIX).
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        ((state >> 40) as f32 / (1 << 24) as f32 - 0.5) * 0.4
    });
    let refusal = Listened::to(&Recording::new(hiss.collect(), RATE).unwrap()).unwrap_err();
    assert_eq!(refusal, NoVoice::Noise);
    assert!(refusal.to_string().contains("one voice by itself"));
}

#[test]
fn music_clipping_a_telephone_and_a_single_word_are_used_and_said_with_a_remedy() {
    let said = |recording: &Recording| Listened::to(recording).unwrap().remarks().to_vec();
    let five: Vec<Vowel> = (0..5)
        .map(|n| (0.3 + 0.2 * f64::from(n), 0.12, 50.0))
        .collect();
    // A tone held for four seconds.
    let held = said(&spoken(5.0, &[(0.5, 4.0, 57.0)], RATE, 0.2));
    assert_eq!(held, [Remark::Music, Remark::Short(1)]);
    let loud = spoken(1.6, &five, RATE, 0.9);
    let cut: Vec<f32> = loud
        .samples()
        .iter()
        .map(|one| one.clamp(-1.0, 1.0))
        .collect();
    let clipped = said(&Recording::new(cut, RATE).unwrap());
    assert!(
        matches!(clipped[..], [Remark::Clipped(times)] if times > 10),
        "{clipped:?}"
    );
    assert_eq!(
        said(&spoken(1.6, &five, 8_000.0, 0.2)),
        [Remark::Telephone(8_000.0)]
    );
    // One second of speech: two syllables.
    assert_eq!(
        said(&spoken(1.0, &five[..2], RATE, 0.2)),
        [Remark::Short(2)]
    );
    for (remark, remedy) in [
        (Remark::Music, "by itself"),
        (Remark::Clipped(9), "lower level"),
        (Remark::Telephone(8_000.0), "44,100"),
        (Remark::Short(2), "whole sentence"),
    ] {
        assert!(remark.to_string().contains(remedy), "{remark}");
    }
}

/// A WAV file by hand (Multimedia Programming Interface and Data Specifications 1.0, 1991).
fn wav(format: u16, bits: u16, channels: u16, data: &[u8]) -> Vec<u8> {
    let rate = 16_000_u32;
    let frame = channels * bits / 8;
    let mut file = b"RIFF".to_vec();
    file.extend((36 + data.len() as u32).to_le_bytes());
    file.extend(b"WAVEfmt ");
    file.extend(16_u32.to_le_bytes());
    file.extend(format.to_le_bytes());
    file.extend(channels.to_le_bytes());
    file.extend(rate.to_le_bytes());
    file.extend((rate * u32::from(frame)).to_le_bytes());
    file.extend(frame.to_le_bytes());
    file.extend(bits.to_le_bytes());
    file.extend(b"data");
    file.extend((data.len() as u32).to_le_bytes());
    file.extend(data);
    file
}

#[test]
fn a_wav_file_of_any_depth_and_any_number_of_channels_becomes_one_voice() {
    let meant = [0.0_f32, 0.5, -0.5, 0.25];
    let coded = |code: &dyn Fn(f32) -> Vec<u8>| {
        meant.iter().flat_map(|one| code(*one)).collect::<Vec<u8>>()
    };
    let of_16 = |one: f32| ((one * 32_768.0) as i16).to_le_bytes().to_vec();
    for file in [
        wav(1, 8, 1, &coded(&|one| vec![(one * 128.0 + 128.0) as u8])),
        wav(1, 16, 1, &coded(&of_16)),
        wav(
            1,
            24,
            1,
            &coded(&|one| ((one * 8_388_608.0) as i32).to_le_bytes()[..3].to_vec()),
        ),
        wav(
            1,
            32,
            1,
            &coded(&|one| {
                ((f64::from(one) * 2_147_483_648.0) as i32)
                    .to_le_bytes()
                    .to_vec()
            }),
        ),
        wav(3, 32, 1, &coded(&|one| one.to_le_bytes().to_vec())),
        wav(
            3,
            64,
            1,
            &coded(&|one| f64::from(one).to_le_bytes().to_vec()),
        ),
        // On two channels the mean; of opposite sign the first, for their mean is silence.
        wav(1, 16, 2, &coded(&|one| [of_16(one), of_16(one)].concat())),
        wav(1, 16, 2, &coded(&|one| [of_16(one), of_16(-one)].concat())),
    ] {
        assert!(recorded::is_sound(&file));
        let recording = recorded::read(&file).unwrap();
        assert_eq!(recording.rate(), 16_000.0);
        let found = recording.samples();
        assert_eq!(found.len(), meant.len());
        for (found, meant) in found.iter().zip(meant) {
            assert!((found - meant).abs() < 0.005, "{found} for {meant}");
        }
    }
}

#[test]
fn what_is_no_sound_file_is_refused_plainly() {
    assert_eq!(recorded::read(b"").unwrap_err(), SoundError::Unknown);
    assert_eq!(
        recorded::read(b"RIFF????WAVE").unwrap_err(),
        SoundError::Unknown
    );
    assert_eq!(
        recorded::read(&wav(1, 16, 1, &[])).unwrap_err(),
        SoundError::Empty
    );
    assert!(
        !recorded::is_sound(b"MThd")
            && !recorded::is_sound(b"<?xml")
            && !recorded::is_sound(&[0xFF, 0xFE])
    );
    let error = recorded::read(&vec![0; recorded::LARGEST + 1]).unwrap_err();
    assert!(
        error.to_string().contains("cut out the sentences"),
        "{error}"
    );
}

/// Any sentence: gaps between vowels in seconds, and pitches.
fn any_sentence() -> impl Strategy<Value = Candidate> {
    prop::collection::vec((0.1..0.6_f64, 38.0..70.0_f64), 1..30).prop_map(|tones| {
        let mut at = 0.2;
        let tones: Vec<_> = tones
            .iter()
            .map(|(gap, pitch)| {
                at += gap;
                (at, *pitch)
            })
            .collect();
        sentence(&tones)
    })
}

proptest! {
    #[test]
    fn a_sentence_stays_one_line_in_its_order_and_every_note_is_near_what_was_said(
        said in any_sentence(),
        snap in 0.0..=1.0_f64,
        tempo in 40.0..240.0_f64,
        step in prop::sample::select(vec![1.0, 0.5, 1.0 / 3.0, 0.25, 1.0 / 6.0, 0.125]),
        fit in prop::sample::select(vec![Fit::AsSaid, Fit::Unasked, Fit::ToSong]),
    ) {
        let placing = Placing { step, snap, steps: None, tempo, mode: None, fit };
        let Ok(placed) = placing.place(&said) else { return Ok(()) };
        let phrase = &placed.phrase;
        let notes = phrase.notes();
        prop_assert_eq!(notes.len(), said.sentence.tones.len());
        prop_assert!(phrase.length() >= MIN_LENGTH && phrase.length().fract() == 0.0);
        for (two, tones) in notes.windows(2).zip(said.sentence.tones.windows(2)) {
            prop_assert!(two[0].onset + two[0].length <= two[1].onset + 2e-3, "{:?}", two);
            prop_assert!(tones[0].onset < tones[1].onset);
        }
        for (note, tone) in notes.iter().zip(&said.sentence.tones) {
            let found = note.said.unwrap();
            let vowel = tone.onset - said.span().start;
            prop_assert!((f64::from(found.vowel) - vowel).abs() < 1e-5);
            let heard = f64::from(note.key.number()) + f64::from(found.cents) / 100.0;
            prop_assert!((heard - tone.pitch).abs() < 1e-5);
            // Half a semitone, and what hysteresis near a tie adds to it.
            prop_assert!(found.cents.abs() <= 70.0 + 1e-3, "{}", found.cents);
        }
        if fit == Fit::Unasked {
            prop_assert!((placed.stretched - 1.0).abs() <= 0.1 + 1e-9);
        }
        if snap == 1.0 {
            prop_assert!(notes.iter().all(|note| (note.onset / step - (note.onset / step).round()).abs() < 1e-6));
        }
    }
}
