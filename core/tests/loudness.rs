//! How loud the mallets are to those who listen, and how hard the limiter has to work.

use procession_core::exchange::loudness::Meter;
use procession_core::mallet::{CEILING_DB, Mallets, START_LEVEL_DB};
use procession_core::note::{Key, Velocity};
use procession_core::part::Part;
use procession_core::player::pan_of;
use procession_core::settings::Mallet;

const RATE: f64 = 48_000.0;
/// Frames of a sixteenth at 112.
const STEP: usize = 6_429;
/// The phrase of a night crossing: twelve steps, two of them rests; five times round.
const PHRASE: [i32; 12] = [62, 69, 0, 72, 64, 71, 0, 69, 76, 72, 67, 65];
const STEPS: usize = 60;
const CHORD: [i32; 4] = [0, 3, 7, -5];

/// Some players, each so many steps ahead of the one before; a chord of so many notes a stroke.
fn ensemble(players: usize, notes: usize, apart: usize, level: f32) -> [Vec<f32>; 2] {
    ensemble_on(Mallet::Wood, players, notes, apart, level)
}

fn ensemble_on(
    mallet: Mallet,
    players: usize,
    notes: usize,
    apart: usize,
    level: f32,
) -> [Vec<f32>; 2] {
    let mut mallets = Mallets::new(RATE);
    mallets.set_players(players);
    mallets.set_level(Some(level));
    let mut sides = [vec![0.0; STEPS * STEP], vec![0.0; STEPS * STEP]];
    for step in 0..STEPS {
        for player in 0..players {
            let key = PHRASE[(step + player * apart) % PHRASE.len()];
            for (note, above) in CHORD.iter().take(notes).enumerate() {
                let id = (player * CHORD.len() + note) as i32;
                mallets.note_off(id);
                if key > 0 {
                    let pan = pan_of(Part::ALL[player], players, 0.6);
                    let key = Key::by_octave(key + above);
                    mallets.strike(mallet, id, key, Velocity::new(0.7), pan);
                }
            }
        }
        let part = step * STEP..(step + 1) * STEP;
        let [left, right] = &mut sides;
        mallets.render(&mut left[part.clone()], &mut right[part]);
    }
    sides
}

/// LUFS and dBTP.
fn measured([left, right]: &[Vec<f32>; 2]) -> (f64, f64) {
    let mut meter = Meter::with_peak(RATE as u32);
    meter.hear(left, right);
    let told = (meter.lufs(), meter.true_peak_db());
    (told.0.expect("it sounds"), told.1.expect("it sounds"))
}

/// By how much the limiter turned it down where it did so most, in dB: what was played at full
/// level beside what was played so softly that there was nothing to limit.
fn limited(mallet: Mallet, players: usize, notes: usize, apart: usize) -> f64 {
    const SOFT: f32 = -40.0;
    let loud = ensemble_on(mallet, players, notes, apart, 0.0);
    let soft = ensemble_on(mallet, players, notes, apart, SOFT);
    let up = 10_f32.powf(-SOFT / 20.0);
    let both = loud.iter().flatten().zip(soft.iter().flatten());
    both.filter(|(loud, _)| loud.abs() > 0.05)
        .map(|(loud, soft)| 20.0 * f64::from(soft * up / loud).log10())
        .fold(0.0, f64::max)
}

#[test]
fn one_player_at_full_level_is_heard_near_20_lufs_below_full_scale() {
    for mallet in Mallet::ALL {
        let (lufs, _) = measured(&ensemble_on(mallet, 1, 1, 0, 0.0));
        println!("{mallet:?}: {lufs:.2} LUFS");
        assert!((lufs + 20.0).abs() < 1.0, "{mallet:?}: {lufs} LUFS");
        assert!(limited(mallet, 1, 1, 0) < 0.1);
    }
}

#[test]
fn audition_starts_near_30_lufs_below_full_scale() {
    let (lufs, _) = measured(&ensemble(1, 1, 0, START_LEVEL_DB));
    assert!((lufs + 30.0).abs() < 1.0, "{lufs} LUFS");
}

#[test]
fn more_players_make_room_for_each_other() {
    let alone = measured(&ensemble(1, 1, 0, 0.0)).0;
    for players in [2, 3, 5, 9] {
        let apart = measured(&ensemble(players, 1, 5, 0.0)).0 - alone;
        assert!((-4.0..1.0).contains(&apart), "{players}: {apart} LU");
        let unison = measured(&ensemble(players, 1, 0, 0.0)).0 - alone;
        assert!((0.0..6.0).contains(&unison), "{players}: {unison} LU");
    }
}

#[test]
fn nine_players_of_chords_take_the_limiter_by_6_db_at_most_and_stay_below_the_ceiling() {
    for (mallet, apart, notes) in Mallet::ALL.into_iter().flat_map(|mallet| {
        [0, 1, 5]
            .into_iter()
            .flat_map(move |apart| [(mallet, apart, 3), (mallet, apart, 4)])
    }) {
        let (lufs, peak) = measured(&ensemble_on(mallet, 9, notes, apart, 0.0));
        let limited = limited(mallet, 9, notes, apart);
        let what = format!("{mallet:?}, {notes} notes, {apart} apart");
        println!("{what}: {lufs:.1} LUFS, {peak:.1} dBTP, {limited:.1} dB");
        assert!(peak < CEILING_DB, "{what}: {peak} dBTP");
        assert!(limited <= 6.0, "{what}: {limited} dB");
    }
}

#[test]
fn a_player_who_joins_while_others_ring_makes_no_click() {
    let mut mallets = Mallets::new(RATE);
    mallets.set_level(Some(-12.0));
    mallets.note_on(1, Key::by_octave(50), Velocity::new(0.7), 64);
    let mut hear = |frames: usize| {
        let (mut left, mut right) = (vec![0.0; frames], vec![0.0; frames]);
        mallets.render(&mut left, &mut right);
        let steps = left.windows(2).map(|pair| (pair[1] - pair[0]).abs());
        let steepest = steps.fold(0.0_f32, f32::max);
        mallets.set_players(9);
        (steepest, left)
    };
    hear(12_000);
    let mut again = Mallets::new(RATE);
    again.set_level(Some(-12.0));
    again.note_on(1, Key::by_octave(50), Velocity::new(0.7), 64);
    let (mut left, mut right) = (vec![0.0; 24_000], vec![0.0; 24_000]);
    again.render(&mut left, &mut right);
    let alone = left[12_000..].windows(2).map(|p| (p[1] - p[0]).abs());
    let steepest_alone = alone.fold(0.0_f32, f32::max);
    let (steepest, heard) = hear(12_000);
    assert!(
        steepest <= 1.02 * steepest_alone,
        "{steepest} {steepest_alone}"
    );
    // And it is softer then: 14.3 dB.
    let peak = |sound: &[f32]| sound.iter().fold(0.0_f32, |p, s| p.max(s.abs()));
    let softer = 20.0 * (peak(&heard[9_600..]) / peak(&left[21_600..])).log10();
    assert!((softer + 14.3).abs() < 0.1, "{softer} dB");
}
