//! What the mallets sound like, measured.

mod hearing;

use hearing::{cents, db, level_at, peak, pitch_near, roughness, true_peak};
use procession_core::mallet::bar::{frequency, ring_time};
use procession_core::mallet::{CEILING_DB, LOWEST_LEVEL_DB, MAX_RINGING, Mallets, START_LEVEL_DB};
use procession_core::note::{Key, Velocity};
use procession_core::settings::Mallet;

const RATE: f64 = 48_000.0;
const RATES: [f64; 8] = [
    22_050.0, 32_000.0, 44_100.0, 48_000.0, 88_200.0, 96_000.0, 176_400.0, 192_000.0,
];
const LEFT: u8 = 0;
const CENTRE: u8 = 64;

/// Quiet enough that sixty-four bars stay clear of the limiter.
const CLEAR: f32 = -40.0;

fn key(number: u8) -> Key {
    Key::new(number).expect("a MIDI key")
}

fn mallets_at(level: f32, rate: f64) -> Mallets {
    let mut mallets = Mallets::new(rate);
    mallets.set_level(Some(level));
    mallets
}

#[track_caller]
fn strike(mallets: &mut Mallets, id: i32, number: u8, velocity: f32, pan: u8) {
    assert!(mallets.note_on(id, key(number), Velocity::new(velocity), pan));
}

/// What both sides sound like for so many frames.
fn listen(mallets: &mut Mallets, frames: usize) -> (Vec<f32>, Vec<f32>) {
    let (mut left, mut right) = (vec![0.0; frames], vec![0.0; frames]);
    mallets.render(&mut left, &mut right);
    (left, right)
}

fn listen_left(mallets: &mut Mallets, frames: usize) -> Vec<f32> {
    listen(mallets, frames).0
}

/// One stroke on wood, at full level, on the left.
fn one_stroke(number: u8, velocity: f32, seconds: f64, rate: f64) -> Vec<f32> {
    one_stroke_on(Mallet::Wood, number, velocity, seconds, rate)
}

fn one_stroke_on(mallet: Mallet, number: u8, velocity: f32, seconds: f64, rate: f64) -> Vec<f32> {
    let mut mallets = mallets_at(0.0, rate);
    assert!(mallets.strike(mallet, 1, key(number), Velocity::new(velocity), LEFT));
    listen_left(&mut mallets, (seconds * rate) as usize)
}

/// A part of a sound, in seconds.
fn part(sound: &[f32], from: f64, to: f64, rate: f64) -> &[f32] {
    &sound[(from * rate) as usize..(to * rate) as usize]
}

/// In how many seconds the sound at `hz` falls by 60 dB, from its levels in two stretches of
/// `wide` seconds, a third of that ring apart.
fn ring_heard(hz: f64, sound: &[f32], expected: f64, wide: f64) -> f64 {
    let (early, late) = (0.02, 0.02 + expected / 3.0);
    let level = |from| level_at(hz, part(sound, from, from + wide, RATE), RATE);
    60.0 * (late - early) / (level(early) - level(late))
}

#[test]
fn a_struck_bar_sounds_a_marimbas_partials() {
    // HyperPhysics, "Marimba": the second partial two octaves up, the third near the tenth
    // harmonic, 9.6 if just.
    for number in [45, 57, 60, 69, 76] {
        let sound = one_stroke(number, 1.0, 0.25, RATE);
        let fundamental = frequency(key(number));
        let heard = pitch_near(fundamental, part(&sound, 0.005, 0.245, RATE), RATE);
        let second = pitch_near(4.0 * heard, part(&sound, 0.005, 0.245, RATE), RATE);
        let third = pitch_near(9.8 * heard, part(&sound, 0.005, 0.125, RATE), RATE);
        assert!(cents(4.0 * heard, second).abs() < 2.0, "{}", second / heard);
        assert!((9.6..=10.0).contains(&(third / heard)), "{}", third / heard);
        assert!(cents(9.8 * heard, third).abs() < 5.0, "{}", third / heard);
    }
}

#[test]
fn a_bar_of_metal_sounds_the_partials_of_a_uniform_bar() {
    // Fletcher & Rossing, "The Physics of Musical Instruments": 1 : 2.756 : 5.404 for a uniform bar
    // with free ends (from memory; also computed with scipy, see `bar.rs`).
    for number in [57, 60, 69, 76, 84] {
        let sound = one_stroke_on(Mallet::Metal, number, 1.0, 0.5, RATE);
        let early = part(&sound, 0.005, 0.245, RATE);
        let heard = pitch_near(frequency(key(number)), early, RATE);
        for ratio in [2.756, 5.404] {
            let partial = pitch_near(ratio * heard, early, RATE);
            let off = cents(ratio * heard, partial);
            assert!(off.abs() < 5.0, "{number}: {}", partial / heard);
        }
    }
}

#[test]
fn metal_rings_on_and_a_soft_beater_leaves_out_what_wood_has_above_the_fundamental() {
    let at = |mallet, ratio: f64, from: f64| {
        let sound = one_stroke_on(mallet, 60, 0.7, 2.2, RATE);
        level_at(
            ratio * frequency(key(60)),
            part(&sound, from, from + 0.1, RATE),
            RATE,
        )
    };
    for mallet in Mallet::ALL {
        let off = at(mallet, 1.0, 0.005) - at(Mallet::Wood, 1.0, 0.005);
        assert!(off.abs() < 6.0, "{mallet:?}: {off} dB");
    }
    assert!(at(Mallet::Metal, 1.0, 2.0) - at(Mallet::Wood, 1.0, 2.0) > 30.0);
    assert!(at(Mallet::Soft, 4.0, 0.005) - at(Mallet::Wood, 4.0, 0.005) < -9.0);
}

#[test]
fn every_key_is_in_tune_at_every_sample_rate() {
    // 440 * 2^((n - 69) / 12): the MIDI tuning that librosa, pretty_midi, tonal and music21 share.
    for rate in RATES {
        for number in [33, 48, 60, 69, 81, 93, 108] {
            let formula = 440.0 * 2_f64.powf((f64::from(number) - 69.0) / 12.0);
            let sound = one_stroke(number, 0.6, 0.35, rate);
            let heard = pitch_near(formula, part(&sound, 0.01, 0.34, rate), rate);
            let off = cents(formula, heard);
            assert!(off.abs() < 1.0, "key {number} at {rate} Hz: {off} cents");
        }
    }
}

#[test]
fn a_stroke_is_as_loud_at_every_sample_rate() {
    for number in [40, 60, 81] {
        let loudness = RATES.map(|rate| db(peak(&one_stroke(number, 0.8, 0.1, rate))));
        let (low, high) = (
            loudness.iter().copied().fold(f64::INFINITY, f64::min),
            loudness.iter().copied().fold(f64::NEG_INFINITY, f64::max),
        );
        assert!(high - low < 1.0, "key {number}: {loudness:?}");
    }
}

#[test]
fn the_fundamental_rings_as_long_as_documented() {
    for mallet in Mallet::ALL {
        for number in [45, 57, 69, 81, 93] {
            let hz = frequency(key(number));
            let expected = ring_time(mallet, hz, 0);
            let sound = one_stroke_on(mallet, number, 0.7, 2.5, RATE);
            let heard = ring_heard(hz, &sound, expected, 0.1);
            let off = (heard / expected - 1.0).abs();
            assert!(off < 0.02, "{mallet:?} {number}: {heard} s");
        }
    }
}

#[test]
fn the_upper_partials_ring_as_long_as_documented() {
    for number in [45, 57, 69] {
        let hz = frequency(key(number));
        let sound = one_stroke(number, 1.0, 1.5, RATE);
        for (partial, ratio) in [(1, 4.0), (2, 9.8)] {
            let expected = ring_time(Mallet::Wood, hz, partial);
            let heard = ring_heard(hz * ratio, &sound, expected, 0.04);
            let off = (heard / expected - 1.0).abs();
            assert!(off < 0.05, "{number}, partial {partial}: {heard} s");
        }
    }
}

#[test]
fn the_whole_sound_dies_away_as_room_acoustics_would_measure_it() {
    // Schroeder's backward integration; from -15 to -45 dB only the fundamental is left.
    let sound = one_stroke(60, 0.7, 4.0, RATE);
    let mut energy: Vec<f64> = sound.iter().map(|s| f64::from(*s).powi(2)).collect();
    for n in (0..energy.len() - 1).rev() {
        energy[n] += energy[n + 1];
    }
    let falls_to = |db: f64| {
        let floor = energy[0] * 10_f64.powf(db / 10.0);
        energy
            .iter()
            .position(|e| *e < floor)
            .expect("it dies away") as f64
            / RATE
    };
    let heard = 2.0 * (falls_to(-45.0) - falls_to(-15.0));
    let expected = ring_time(Mallet::Wood, frequency(key(60)), 0);
    assert!((heard / expected - 1.0).abs() < 0.02, "{heard} s");
}

#[test]
fn a_hand_on_the_bar_ends_it_within_a_fraction_of_a_second() {
    let mut mallets = mallets_at(0.0, RATE);
    strike(&mut mallets, 7, 57, 0.8, LEFT);
    listen(&mut mallets, 9_600);
    mallets.note_off(7);
    let sound = listen_left(&mut mallets, 48_000);
    let heard = ring_heard(frequency(key(57)), &sound, 0.3, 0.1);
    assert!((heard / 0.3 - 1.0).abs() < 0.03, "{heard} s");
}

#[test]
fn a_hand_on_one_bar_leaves_the_others_ringing() {
    let mut mallets = mallets_at(0.0, RATE);
    strike(&mut mallets, 1, 57, 0.8, LEFT);
    strike(&mut mallets, 2, 64, 0.8, LEFT);
    mallets.note_off(1);
    mallets.note_off(99);
    let sound = listen_left(&mut mallets, 24_000);
    let late = part(&sound, 0.35, 0.5, RATE);
    let level = |number| level_at(frequency(key(number)), late, RATE);
    assert!(level(64) - level(57) > 40.0);
}

#[test]
fn a_harder_stroke_is_louder_and_brighter() {
    let [soft, hard] = [0.3, 0.9].map(|v| one_stroke(60, v, 0.2, RATE));
    let at = |ratio: f64, sound: &[f32]| {
        let early = part(sound, 0.004, 0.104, RATE);
        level_at(ratio * frequency(key(60)), early, RATE)
    };
    let louder = at(1.0, &hard) - at(1.0, &soft);
    // Velocity squared: 40 log10(3) dB.
    assert!((louder - 19.08).abs() < 0.3, "{louder} dB");
    assert!(at(4.0, &hard) - at(1.0, &hard) > at(4.0, &soft) - at(1.0, &soft) + 6.0);
}

#[test]
fn a_place_between_the_sides_keeps_the_loudness() {
    let power = |pan| {
        let mut mallets = mallets_at(-12.0, RATE);
        strike(&mut mallets, 1, 60, 0.8, pan);
        let (left, right) = listen(&mut mallets, 4_800);
        [left, right].map(|side| side.iter().map(|s| f64::from(*s).powi(2)).sum::<f64>())
    };
    let whole: f64 = power(CENTRE).iter().sum();
    for pan in [0, 1, 20, 64, 90, 127, 255] {
        assert!((power(pan).iter().sum::<f64>() / whole - 1.0).abs() < 1e-6);
    }
    let (centre, left, right) = (power(CENTRE), power(0), power(127));
    assert!((centre[0] / centre[1] - 1.0).abs() < 1e-6);
    assert_eq!((left[1], right[0]), (0.0, 0.0));
}

#[test]
fn it_starts_off_and_then_quiet() {
    let mut mallets = Mallets::new(RATE);
    assert!(!mallets.note_on(1, key(60), Velocity::new(1.0), CENTRE));
    assert_eq!(
        listen(&mut mallets, 4_800),
        (vec![0.0; 4_800], vec![0.0; 4_800])
    );
    mallets.set_level(Some(START_LEVEL_DB));
    strike(&mut mallets, 2, 60, 1.0, LEFT);
    let loudest = db(peak(&listen_left(&mut mallets, 4_800)));
    // The hardest stroke there is; at 0.7 it is 6 dB softer, near -30 LUFS (`loudness.rs`).
    assert!((-20.0..-12.0).contains(&loudest), "{loudest} dBFS");
}

#[test]
fn the_level_is_decibels() {
    let loudness = |level| {
        let mut mallets = mallets_at(level, RATE);
        strike(&mut mallets, 1, 60, 0.8, LEFT);
        db(peak(&listen_left(&mut mallets, 4_800)))
    };
    for level in [-1.0, -20.0, LOWEST_LEVEL_DB] {
        let lower = loudness(0.0) - loudness(level);
        assert!((lower + f64::from(level)).abs() < 1e-3, "{level}: {lower}");
    }
    assert_eq!(loudness(12.0), loudness(0.0), "never above full level");
    assert_eq!(loudness(-200.0), loudness(LOWEST_LEVEL_DB));
}

/// Frames in which the true peak is looked for.
const LOUD_PART: usize = 16_384;

#[track_caller]
fn assert_below_the_ceiling(what: &str, rate: f64, (left, right): &(Vec<f32>, Vec<f32>)) {
    // Coarser where the highest partial is far below half the sample rate anyway.
    let times = if rate < 50_000.0 { 16 } else { 4 };
    let highest = true_peak(left, times).max(true_peak(right, times));
    let sample = peak(left).max(peak(right));
    println!(
        "{what} at {rate} Hz: {:.3} dBTP, highest sample {:.3} dBFS",
        db(highest),
        db(sample)
    );
    assert!(db(sample) < CEILING_DB && db(highest) < CEILING_DB);
    assert!(db(highest) > CEILING_DB - 6.0, "this was meant to be loud");
}

#[test]
fn sixty_four_players_in_unison_stay_below_the_ceiling() {
    for mallet in Mallet::ALL {
        for rate in RATES {
            for number in [36, 60, 84, 108, 117, 120] {
                let mut mallets = mallets_at(0.0, rate);
                for id in 0..MAX_RINGING as i32 {
                    assert!(mallets.strike(mallet, id, key(number), Velocity::new(1.0), CENTRE));
                }
                let sound = listen(&mut mallets, LOUD_PART);
                assert_below_the_ceiling(&format!("{mallet:?}, key {number}"), rate, &sound);
            }
        }
    }
}

#[test]
fn a_hail_of_loud_strokes_stays_below_the_ceiling() {
    for rate in RATES {
        let mut mallets = mallets_at(0.0, rate);
        let mut chance = Chance(rate as u64);
        let mut sound = (Vec::new(), Vec::new());
        let mut id = 0;
        while sound.0.len() < LOUD_PART {
            for _ in 0..chance.below(8) {
                id += 1;
                let (number, pan) = (30 + chance.below(90) as u8, chance.below(128) as u8);
                let mallet = Mallet::ALL[id as usize % 3];
                mallets.strike(mallet, id, key(number), Velocity::new(1.0), pan);
            }
            let frames = (1 + chance.below(200) as usize).min(LOUD_PART - sound.0.len());
            let (left, right) = listen(&mut mallets, frames);
            sound.0.extend(left);
            sound.1.extend(right);
        }
        assert_below_the_ceiling("hail", rate, &sound);
    }
}

#[test]
fn a_level_turned_up_at_once_stays_below_the_ceiling() {
    for number in [36, 60, 96] {
        let mut mallets = mallets_at(LOWEST_LEVEL_DB, RATE);
        for id in 0..MAX_RINGING as i32 {
            strike(&mut mallets, id, number, 1.0, LEFT);
        }
        listen(&mut mallets, 480);
        mallets.set_level(Some(0.0));
        let sound = listen(&mut mallets, LOUD_PART);
        assert_below_the_ceiling("turned up", RATE, &sound);
    }
}

/// A generator of no great distinction (Knuth's MMIX constants), so that the hail is the same
/// each time.
struct Chance(u64);

impl Chance {
    fn below(&mut self, limit: u64) -> u64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % limit
    }
}

/// A chord of low bars that has been ringing for a while: smooth, so that a click would show.
fn low_chord(level: f32) -> Mallets {
    low_chord_on(Mallet::Wood, level)
}

fn low_chord_on(mallet: Mallet, level: f32) -> Mallets {
    let mut mallets = mallets_at(level, RATE);
    for id in 0..MAX_RINGING as i32 {
        let bar = key(40 + (id % 8) as u8);
        assert!(mallets.strike(mallet, id, bar, Velocity::new(0.9), LEFT));
    }
    listen(&mut mallets, 24_000);
    mallets
}

const BEFORE: usize = 4_800;
const AFTER: usize = 9_600;

/// How rough the low chord is before `change` and after it.
fn roughness_around(change: impl FnOnce(&mut Mallets)) -> (f64, f64) {
    roughness_on(Mallet::Wood, change)
}

fn roughness_on(mallet: Mallet, change: impl FnOnce(&mut Mallets)) -> (f64, f64) {
    let mut mallets = low_chord_on(mallet, CLEAR);
    let before = listen_left(&mut mallets, BEFORE);
    change(&mut mallets);
    let after = listen_left(&mut mallets, AFTER);
    let seam = [&before[BEFORE - 2..], &after].concat();
    (roughness(&before), roughness(&seam))
}

#[test]
fn a_cut_would_be_heard_as_a_click() {
    // The measure the next tests rely on: it must tell a click from a smooth change.
    let mut cut = listen_left(&mut low_chord(CLEAR), BEFORE);
    let smooth = roughness(&cut);
    let loud = cut.iter().map(|s| s.abs()).fold(0.0, f32::max);
    let at = cut.iter().position(|s| s.abs() == loud).expect("a peak");
    cut[at..].fill(0.0);
    assert!(roughness(&cut) > 100.0 * smooth);
}

#[test]
fn hands_on_all_bars_make_no_click() {
    for mallet in Mallet::ALL {
        let damp = |mallets: &mut Mallets| (0..64).for_each(|id| mallets.note_off(id));
        let (before, after) = roughness_on(mallet, damp);
        assert!(after < 1.1 * before, "{mallet:?}: {before} {after}");
    }
}

#[test]
fn silencing_everything_makes_no_click() {
    for mallet in Mallet::ALL {
        let (before, after) = roughness_on(mallet, Mallets::all_off);
        assert!(after < 2.0 * before, "{mallet:?}: {before} {after}");
    }
}

#[test]
fn turning_it_off_makes_no_click() {
    let (before, after) = roughness_around(|mallets| mallets.set_level(None));
    assert!(after < 1.1 * before, "{before} {after}");
}

#[test]
fn turning_it_up_makes_no_click() {
    let louder = 10_f64.powf(20.0 / 20.0);
    let (before, after) = roughness_around(|mallets| mallets.set_level(Some(CLEAR + 20.0)));
    assert!(after < 1.1 * louder * before, "{before} {after}");
}

#[test]
fn a_bar_that_gives_way_makes_no_click() {
    for strokes in [1, 64] {
        let new_stroke = |mallets: &mut Mallets| {
            for id in 0..strokes {
                strike(mallets, 1000 + id, 40, 0.05, LEFT);
            }
        };
        let mut alone = mallets_at(CLEAR, RATE);
        new_stroke(&mut alone);
        let new = roughness(&listen_left(&mut alone, AFTER));
        let (before, after) = roughness_around(new_stroke);
        assert!(after < 2.0 * before + new, "{before} {after} {new}");
    }
}

#[test]
fn with_all_bars_ringing_the_one_heard_least_gives_way() {
    let mut mallets = mallets_at(CLEAR, RATE);
    for id in 0..63 {
        strike(&mut mallets, id, 45, 0.9, LEFT);
    }
    strike(&mut mallets, 63, 81, 0.4, LEFT);
    let first = listen_left(&mut mallets, 4_800);
    strike(&mut mallets, 64, 50, 0.9, LEFT);
    let then = listen_left(&mut mallets, 9_600);
    let level = |number, sound| level_at(frequency(key(number)), sound, RATE);
    let later = part(&then, 0.05, 0.15, RATE);
    assert!(level(81, &first) - level(81, later) > 30.0);
    assert!(level(45, &first) - level(45, later) < 6.0);
    assert!(level(50, later) > -70.0, "the new one sounds");
}

#[test]
fn a_burst_no_hand_could_play_is_refused_beyond_what_can_be_faded() {
    let mut mallets = mallets_at(CLEAR, RATE);
    let struck = (0..300)
        .filter(|id| mallets.note_on(*id, key(60), Velocity::new(0.5), CENTRE))
        .count();
    assert_eq!(struck, 2 * MAX_RINGING);
    listen(&mut mallets, 480);
    assert!(mallets.note_on(301, key(60), Velocity::new(0.5), CENTRE));
}

#[test]
fn it_ends_in_true_silence() {
    let everywhere = Mallet::ALL
        .into_iter()
        .flat_map(|mallet| [0, 36, 60, 96, 127].map(|number| (mallet, number)));
    for (mallet, number) in everywhere {
        let mut mallets = mallets_at(LOWEST_LEVEL_DB, RATE);
        assert!(mallets.is_silent());
        assert!(mallets.strike(mallet, 1, key(number), Velocity::new(1.0), CENTRE));
        assert!(!mallets.is_silent());
        let (left, right) = listen(&mut mallets, 16 * RATE as usize);
        assert!(left.iter().chain(&right).all(|s| !s.is_subnormal()));
        assert!(mallets.is_silent(), "key {number} has died away");
        assert_eq!(left.last(), Some(&0.0));
        assert_eq!(listen_left(&mut mallets, 64), vec![0.0; 64]);
    }
}

#[test]
fn all_off_is_silence_within_a_moment() {
    let mut mallets = low_chord(0.0);
    mallets.all_off();
    // The fade of 8 ms, the limiter's look ahead, and its own memory.
    let moment = 384 + mallets.latency() + 32;
    listen(&mut mallets, moment);
    assert!(mallets.is_silent());
}

#[test]
fn a_stroke_is_heard_after_the_latency_told() {
    for rate in RATES {
        let mut mallets = mallets_at(0.0, rate);
        strike(&mut mallets, 1, 60, 1.0, LEFT);
        let sound = listen_left(&mut mallets, 2_000);
        let first = sound.iter().position(|s| *s != 0.0).expect("a sound");
        // The bar is at rest when the mallet touches it, and moves from the next frame on.
        assert_eq!(first, mallets.latency() + 1);
        assert!(mallets.latency() as f64 / rate < 0.0025);
    }
}
