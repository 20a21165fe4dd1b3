//! The bar under the mallet: what rings, how strongly, and for how long.

use super::make::Make;
use crate::note::{Key, Velocity};
use crate::settings::Mallet;
use std::f64::consts::{LN_10, PI};

/// How many partials of a bar are sounded. Those above are too short and too weak to be missed.
pub const PARTIALS: usize = 3;

/// The frequency of a key, in Hz: equal temperament, A4 (key 69) at 440.
pub fn frequency(key: Key) -> f64 {
    440.0 * ((f64::from(key.number()) - 69.0) / 12.0).exp2()
}

/// Seconds in which a partial (counted from 0) of the bar tuned to `fundamental` Hz falls by 60 dB.
///
/// It shortens with the square root of the pitch: on wood 2.4 s at A2, 1.2 s at A4, 0.6 s at A6.
pub fn ring_time(mallet: Mallet, fundamental: f64, partial: usize) -> f64 {
    ring_of(Make::of(mallet), fundamental, partial)
}

/// The same of a make.
pub(super) fn ring_of(make: &Make, fundamental: f64, partial: usize) -> f64 {
    let first = make.ring_of_a4 * (440.0 / fundamental).sqrt();
    first.clamp(make.shortest_ring, make.longest_ring) * make.ring_shares[partial]
}

/// Seconds that the mallet stays on the bar tuned to `fundamental` Hz: the harder the stroke, the
/// shorter, and so the brighter.
pub(super) fn contact_time(make: &Make, fundamental: f64, velocity: Velocity) -> f64 {
    let soft = make.soft_contact.within(fundamental);
    let hard = make.hard_contact.within(fundamental);
    soft * (hard / soft).powf(f64::from(velocity.value()))
}

/// How strongly an infinitely hard mallet would make each partial heard, over the fundamental.
pub(super) fn strengths(make: &Make) -> [f64; PARTIALS] {
    let first = deflection(0, make.striking_place);
    std::array::from_fn(|k| make.radiation[k] * (deflection(k, make.striking_place) / first).abs())
}

/// The factor a frame that makes a sound fall by 60 dB in `seconds`.
pub(super) fn decay_per_frame(seconds: f64, sample_rate: f64) -> f64 {
    (-3.0 * LN_10 / (seconds * sample_rate)).exp()
}

/// The partial's frequency over the fundamental's in a uniform bar with free ends, counted from 0:
/// what a marimba bar would sound like if it were not undercut. 1, 2.7565, 5.4039, 8.9330 ...
pub fn uniform_bar_ratio(partial: usize) -> f64 {
    (wave_number(partial) / wave_number(0)).powi(2)
}

/// How far a uniform bar with free ends bends, `place` lengths from one end, in the vibration of
/// that partial, counted from 0. An end moves by 2.
///
/// (Euler-Bernoulli beam, textbook form. A tuned bar's shapes differ in detail, not in the number
/// of their nodes.)
pub fn deflection(partial: usize, place: f64) -> f64 {
    let k = wave_number(partial);
    let sigma = (k.cosh() - k.cos()) / (k.sinh() - k.sin());
    let x = k * place;
    x.cosh() + x.cos() - sigma * (x.sinh() + x.sin())
}

/// The roots of cos x cosh x = 1 above 0, by Newton's method on cos x = 1 / cosh x; they lie close
/// to odd multiples of pi / 2.
fn wave_number(partial: usize) -> f64 {
    let mut x = (partial as f64 + 1.5) * PI;
    for _ in 0..8 {
        let off = x.cos() - 1.0 / x.cosh();
        let slope = x.tanh() / x.cosh() - x.sin();
        x -= off / slope;
    }
    x
}

#[cfg(test)]
mod tests {
    use super::*;

    fn key(number: u8) -> Key {
        Key::new(number).expect("a MIDI key")
    }

    #[test]
    fn a_uniform_bar_has_the_published_partials() {
        // Roots 4.730, 7.853, 10.996: engineersedge.com, "Uniform bar with free ends". The ratios
        // were also computed with scipy and with a 40-element beam model.
        for (partial, root) in [4.730, 7.853, 10.996].into_iter().enumerate() {
            assert!((wave_number(partial) - root).abs() < 5e-4);
        }
        for (partial, ratio) in [1.0, 2.7565, 5.4039, 8.9330, 13.3443]
            .into_iter()
            .enumerate()
        {
            assert!((uniform_bar_ratio(partial) - ratio).abs() < 1e-4);
        }
    }

    #[test]
    fn a_bar_rests_on_the_nodes_of_its_first_partial() {
        // 0.224 of the length from either end: textbook value, from memory.
        assert!(deflection(0, 0.2242).abs() < 1e-3);
        assert!(deflection(0, 1.0 - 0.2242).abs() < 1e-3);
        assert!(deflection(1, 0.5).abs() < 1e-9, "a node in the middle");
        assert!((deflection(2, 0.0) - 2.0).abs() < 1e-9);
    }

    #[test]
    fn a_struck_bar_is_mostly_its_fundamental() {
        for mallet in Mallet::ALL {
            let [first, second, third] = strengths(Make::of(mallet));
            assert_eq!(first, 1.0);
            assert!((0.1..0.6).contains(&second), "{mallet:?}: {second}");
            assert!((0.05..0.6).contains(&third), "{mallet:?}: {third}");
        }
    }

    #[test]
    fn keys_are_tuned_in_equal_temperament_to_a_440() {
        assert_eq!(frequency(key(69)), 440.0);
        assert_eq!(frequency(key(57)), 220.0);
        // Middle C as it stands in the usual tables, to two decimals.
        assert!((frequency(key(60)) - 261.63).abs() < 0.005);
    }

    #[test]
    fn a_harder_stroke_stays_shorter_and_no_stroke_outlasts_the_bars_swing() {
        for mallet in Mallet::ALL {
            let make = Make::of(mallet);
            let at = |hz, velocity| contact_time(make, hz, Velocity::new(velocity));
            for number in 0..128 {
                let hz = frequency(key(number));
                assert!(at(hz, 1.0) < at(hz, 0.5) && at(hz, 0.5) < at(hz, 0.01));
                assert!(at(hz, 0.01) * hz < 0.5, "{mallet:?} {number}");
            }
        }
    }

    #[test]
    fn low_bars_ring_longer_than_high_ones_and_upper_partials_are_shorter() {
        assert!((ring_time(Mallet::Wood, 440.0, 0) - 1.2).abs() < 1e-12);
        assert!((ring_time(Mallet::Wood, 110.0, 0) - 2.4).abs() < 1e-12);
        for mallet in Mallet::ALL {
            let ring = |number, partial| ring_time(mallet, frequency(key(number)), partial);
            for number in 1..128 {
                assert!(ring(number, 0) <= ring(number - 1, 0));
                assert!(ring(number, 1) < ring(number, 0));
                assert!(ring(number, 2) < ring(number, 1));
            }
        }
    }
}
