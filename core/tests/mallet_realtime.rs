//! What a host relies on: the mallets take no memory, depend on no block, spoil no audio, and mind
//! no nonsense.

use nice_assert_no_alloc::{AllocDisabler, assert_no_alloc};
use procession_core::mallet::{Mallets, START_LEVEL_DB};
use procession_core::note::{Key, Velocity};
use proptest::prelude::*;

#[global_allocator]
static ALLOCATOR: AllocDisabler = AllocDisabler;

fn key(number: u8) -> Key {
    Key::by_octave(i32::from(number))
}

/// Something done to the mallets.
#[derive(Clone, Copy, Debug)]
enum Deed {
    Strike(i32, u8, f32, u8),
    Damp(i32),
    Silence,
    Level(Option<f32>),
}

impl Deed {
    fn any() -> impl Strategy<Value = Self> {
        let strike = (0..40, 0..128_u8, 0.0..1.0_f32, 0..128_u8);
        prop_oneof![
            12 => strike.prop_map(|(id, key, velocity, pan)| Self::Strike(id, key, velocity, pan)),
            4 => (0..40).prop_map(Self::Damp),
            1 => Just(Self::Silence),
            2 => prop::option::weighted(0.8, -60.0..0.0_f32).prop_map(Self::Level),
        ]
    }

    fn done_to(self, mallets: &mut Mallets) {
        match self {
            Self::Strike(id, number, velocity, pan) => {
                mallets.note_on(id, key(number), Velocity::new(velocity), pan);
            }
            Self::Damp(id) => mallets.note_off(id),
            Self::Silence => mallets.all_off(),
            Self::Level(db) => mallets.set_level(db),
        }
    }
}

const FRAMES: usize = 6_000;

/// The deeds, each at its frame, and the sound in blocks that end there and at `cuts`.
fn played(deeds: &[(usize, Deed)], cuts: &[usize]) -> Vec<u32> {
    let mut mallets = Mallets::new(44_100.0);
    mallets.set_level(Some(-3.0));
    let (mut left, mut right) = (vec![0.0; FRAMES], vec![0.0; FRAMES]);
    let mut ends: Vec<usize> = deeds.iter().map(|(at, _)| *at).collect();
    ends.extend(cuts.iter().chain([&FRAMES]));
    ends.sort_unstable();
    let mut from = 0;
    for to in ends {
        mallets.render(&mut left[from..to], &mut right[from..to]);
        if to > from || to == 0 {
            let now = deeds.iter().filter(|(at, _)| *at == to);
            now.for_each(|(_, deed)| deed.done_to(&mut mallets));
        }
        from = to;
    }
    left.iter().chain(&right).map(|s| s.to_bits()).collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn any_block_split_gives_the_same_samples(
        deeds in prop::collection::vec((1..FRAMES, Deed::any()), 1..60),
        cuts in prop::collection::vec(0..FRAMES, 0..40),
    ) {
        let whole = played(&deeds, &[]);
        prop_assert!(whole == played(&deeds, &cuts));
        let every_frame: Vec<usize> = (0..FRAMES).collect();
        prop_assert!(whole == played(&deeds, &every_frame));
    }
}

#[test]
fn after_a_silence_it_plays_as_a_fresh_one_does() {
    let mut played = Mallets::new(48_000.0);
    played.set_level(Some(0.0));
    let mut fresh = Mallets::new(48_000.0);
    fresh.set_level(Some(0.0));
    (0..64).for_each(|id| Deed::Strike(id, 60, 1.0, 20).done_to(&mut played));
    let (mut left, mut right) = ([0.0; 4_000], [0.0; 4_000]);
    played.render(&mut left, &mut right);
    played.reset();
    assert!(played.is_silent());
    let ten_frames = |mallets: &mut Mallets| {
        Deed::Strike(1, 72, 0.5, 64).done_to(mallets);
        let (mut left, mut right) = ([0.0; 400], [0.0; 400]);
        mallets.render(&mut left, &mut right);
        (left, right)
    };
    assert_eq!(ten_frames(&mut played), ten_frames(&mut fresh));
}

#[test]
fn nothing_it_does_takes_or_gives_back_memory() {
    for rate in [22_050.0, 48_000.0, 192_000.0] {
        let mut mallets = Mallets::new(rate);
        let (mut left, mut right) = ([0.0; 333], [0.0; 333]);
        assert_no_alloc(|| {
            mallets.set_level(Some(0.0));
            for block in 0..400_i32 {
                for stroke in 0..6 {
                    let number = (block * 7 + stroke * 11).rem_euclid(128) as u8;
                    Deed::Strike(block, number, 1.0, 64).done_to(&mut mallets);
                }
                mallets.note_off(block - 3);
                if block % 97 == 96 {
                    mallets.all_off();
                }
                mallets.set_level(Some(-(block % 50) as f32));
                mallets.render(&mut left, &mut right);
            }
            mallets.set_level(None);
            (0..200).for_each(|_| mallets.render(&mut left, &mut right));
            mallets.reset();
        });
        assert!(mallets.is_silent());
    }
}

#[test]
fn audio_that_comes_in_passes_through_below_it() {
    // Louder than the mallets may be, with everything in it that a float can be.
    let incoming: Vec<f32> = (0..480)
        .map(|n| match n % 5 {
            0 => 1.5,
            1 => -0.25,
            2 => 1e-40,
            3 => f32::INFINITY,
            _ => 0.001 * n as f32,
        })
        .collect();
    let bits = |sound: &[f32]| sound.iter().map(|s| s.to_bits()).collect::<Vec<_>>();
    let mut mallets = Mallets::new(48_000.0);
    let (mut left, mut right) = (incoming.clone(), incoming.clone());
    mallets.render(&mut left, &mut right);
    assert_eq!(bits(&left), bits(&incoming), "off");

    mallets.set_level(Some(START_LEVEL_DB));
    mallets.render(&mut left, &mut right);
    assert_eq!(bits(&right), bits(&incoming), "on, but nothing struck");

    let strike = |mallets: &mut Mallets| Deed::Strike(1, 60, 0.8, 64).done_to(mallets);
    strike(&mut mallets);
    mallets.render(&mut left, &mut right);
    let mut alone = Mallets::new(48_000.0);
    alone.set_level(Some(START_LEVEL_DB));
    strike(&mut alone);
    let (mut own, mut own_right) = ([0.0; 480], [0.0; 480]);
    alone.render(&mut own, &mut own_right);
    let sum: Vec<f32> = incoming.iter().zip(own).map(|(a, b)| a + b).collect();
    assert_eq!(bits(&left), bits(&sum));
}

#[test]
fn nonsense_has_a_meaning() {
    for rate in [f64::NAN, 0.0, -1.0, 1e300, f64::INFINITY, f64::NEG_INFINITY] {
        let mut mallets = Mallets::new(rate);
        mallets.set_level(Some(f32::INFINITY));
        for number in [0, 60, 127] {
            assert!(mallets.note_on(i32::MIN, key(number), Velocity::new(f32::NAN), 255));
        }
        let (mut left, mut right) = ([0.0; 4_000], [0.0; 3_000]);
        mallets.render(&mut left, &mut right);
        assert!(left.iter().chain(&right).all(|s| s.abs() < 0.708));
        assert!(right.iter().any(|s| *s != 0.0), "at {rate} Hz it sounds");
        assert!(left[3_000..].iter().all(|s| *s == 0.0), "no partner there");
        mallets.render(&mut [], &mut []);
        mallets.note_off(12_345);
        mallets.set_level(Some(f32::NAN));
        assert!(!mallets.note_on(1, key(60), Velocity::new(1.0), 64), "off");
    }
}

#[test]
fn turned_off_it_falls_silent_and_turned_on_again_it_waits_for_a_stroke() {
    let mut mallets = Mallets::new(48_000.0);
    mallets.set_level(Some(0.0));
    Deed::Strike(1, 48, 1.0, 64).done_to(&mut mallets);
    let (mut left, mut right) = ([0.0; 4_800], [0.0; 4_800]);
    mallets.render(&mut left, &mut right);
    mallets.set_level(None);
    mallets.render(&mut left, &mut right);
    assert!(mallets.is_silent());
    mallets.set_level(Some(0.0));
    left.fill(0.0);
    mallets.render(&mut left, &mut right);
    assert!(left.iter().all(|s| *s == 0.0));
    Deed::Strike(2, 48, 1.0, 64).done_to(&mut mallets);
    mallets.render(&mut left, &mut right);
    assert!(left.iter().any(|s| *s != 0.0));
}

#[test]
fn a_bar_beyond_the_reach_of_the_sample_rate_is_silent() {
    let mut mallets = Mallets::new(22_050.0);
    mallets.set_level(Some(0.0));
    Deed::Strike(1, 127, 1.0, 64).done_to(&mut mallets);
    let (mut left, mut right) = ([0.0; 4_800], [0.0; 4_800]);
    mallets.render(&mut left, &mut right);
    assert!(left.iter().all(|s| *s == 0.0));
    assert!(mallets.is_silent());
}
