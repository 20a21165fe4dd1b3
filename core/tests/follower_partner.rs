//! A partner who gives, against what is published of such.

#![allow(clippy::unwrap_used, reason = "a test")]

#[path = "follower/player.rs"]
#[allow(dead_code, reason = "shared by tests that use a part each")]
mod player;

use player::Chance;
use procession_core::follower::{Follower, Heard, Struck};
use procession_core::part::Part;
use procession_core::partner::{Manner, Partner};
use procession_core::phrase::Phrase;
use procession_core::process::Process;
use procession_core::settings::Settings;
use procession_core::time::{Beats, Span};

const STEP: Beats = 0.25;
/// 10 ms at 108 beats a minute.
const TEN_MS: Beats = 0.018;

/// How far partner and player are apart, stroke by stroke, a player's intervals varying by `uneven`.
fn apart(manner: Manner, uneven: Beats, of_partner: Beats, seed: u64) -> Vec<f64> {
    let mut chance = Chance::new(seed);
    let mut partner = Partner::new(manner, STEP, of_partner, seed);
    let mut player = 0.0;
    let strokes = (0..20_000).map(|_| {
        player += uneven * chance.bell();
        let apart = player - partner.ahead();
        partner.hears(player, player);
        apart
    });
    strokes.collect()
}

fn deviation(values: &[f64]) -> f64 {
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    let squares: f64 = values.iter().map(|value| (value - mean).powi(2)).sum();
    (squares / (values.len() - 1) as f64).sqrt()
}

/// s / sqrt(1 - (1 - a)^2), by hand.
const PUBLISHED: [(f64, f64); 4] = [(0.1, 2.294), (0.25, 1.512), (0.5, 1.155), (1.0, 1.0)];

#[test]
fn the_two_are_apart_by_what_the_published_formula_says() {
    for (share, times) in PUBLISHED {
        for seed in 0..5 {
            let apart = apart(Manner::Follows(share), TEN_MS, 0.0, seed);
            let read = deviation(&apart) / TEN_MS;
            assert!(
                (read / times - 1.0).abs() < 0.1,
                "{share}: {read} for {times}"
            );
            // And one distance tells of the next by what is left of it.
            let products: f64 = apart.windows(2).map(|two| two[0] * two[1]).sum();
            let likeness = products / apart.iter().map(|one| one * one).sum::<f64>();
            assert!(
                (likeness - (1.0 - share)).abs() < 0.05,
                "{share}: {likeness}"
            );
        }
    }
}

#[test]
fn an_uneven_partner_adds_his_own_as_variances_add() {
    // 3 and 4 make 5.
    let apart = apart(Manner::Follows(0.5), 3.0 * TEN_MS, 4.0 * TEN_MS, 11);
    let read = deviation(&apart) / (5.0 * TEN_MS);
    assert!((read / 1.155 - 1.0).abs() < 0.1, "{read}");
}

#[test]
fn through_the_follower_it_is_the_same() {
    let phrase = Phrase::from_text("D4 . A4 G4 . E4 A4 C5 . G4 E4 A4", STEP).unwrap();
    let mut settings = Settings::default();
    settings.motion.dwell = 64;
    let process = Process::new(phrase, settings, 0.0);
    // Twenty cycles each, so that nobody wanders away.
    let span = Span::new(0.0, 60.0);
    for (share, times) in PUBLISHED {
        let mut all = Vec::new();
        for seed in 0..40 {
            let mut chance = Chance::new(seed);
            let mut follower = Follower::new(STEP);
            let mut partner = Partner::new(Manner::Follows(share), STEP, 0.0, seed);
            let mut late = 0.0;
            for note in process.notes(Part::COPY_1, span) {
                late += TEN_MS / 2.0 * chance.bell();
                let struck = Struck {
                    at: note.on + late,
                    key: note.key,
                    beat_ms: 60_000.0 / 108.0,
                };
                let Heard::Matched(heard) = follower.hear(&process, Part::COPY_1, struck) else {
                    continue;
                };
                all.push(heard.over_plan() - partner.ahead());
                partner.hears(heard.over_plan(), heard.over_steady);
            }
        }
        assert!(all.len() > 7_000, "{}", all.len());
        let read = deviation(&all) / (TEN_MS / 2.0);
        assert!(
            (read / times - 1.0).abs() < 0.1,
            "{share}: {read} for {times}"
        );
    }
}

#[test]
fn one_who_is_rigid_gives_nothing() {
    let mut partner = Partner::new(Manner::Rigid, STEP, TEN_MS, 1);
    (0..100).for_each(|_| partner.hears(0.1, 0.1));
    assert_eq!(partner.ahead(), 0.0);
}

#[test]
fn one_who_pulls_goes_along_until_the_player_is_half_a_step_away() {
    let partner = || Partner::new(Manner::PullsBack(0.3), STEP, 0.0, 1);
    // A drift over four cycles of twelve: the partner comes with it, and the two stay together.
    let (mut gentle, mut apart) = (partner(), 0.0f64);
    for stroke in 0..48 {
        let ahead = STEP * f64::from(stroke) / 48.0;
        apart = apart.max((ahead - gentle.ahead()).abs());
        gentle.hears(0.0, ahead);
    }
    assert!(apart < STEP / 8.0 && gentle.ahead() > 0.8 * STEP, "{apart}");
    // Who leans in at once has got away, and the partner is back where it was written.
    let mut resolute = partner();
    resolute.hears(0.0, 0.2 * STEP);
    assert!(resolute.ahead() > 0.0);
    (0..40).for_each(|_| resolute.hears(0.0, STEP));
    assert!(resolute.ahead() < STEP / 100.0);
}

#[test]
fn the_same_seed_plays_the_same_and_nonsense_is_not_heard() {
    let played = |seed| apart(Manner::Follows(0.4), TEN_MS, TEN_MS, seed);
    assert_eq!(played(5), played(5));
    let mut two = [1, 2].map(|seed| Partner::new(Manner::Follows(0.4), STEP, TEN_MS, seed));
    two.iter_mut().for_each(|one| one.hears(0.0, 0.0));
    assert_ne!(two[0].ahead(), two[1].ahead());
    let mut partner = Partner::new(Manner::Follows(f64::NAN), STEP, f64::NAN, 0);
    partner.hears(f64::NAN, 0.0);
    partner.hears(0.1, f64::INFINITY);
    partner.hears(0.1, 0.1);
    assert_eq!(partner.ahead(), 0.0);
}
