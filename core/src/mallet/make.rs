//! What each choice of mallet is: which bar, and which beater strikes it.

use super::bar::PARTIALS;
use crate::settings::Mallet;

/// A bar and a beater.
#[derive(Debug)]
pub struct Make {
    /// The partials' frequencies over the fundamental's.
    pub ratios: [f64; PARTIALS],
    /// Seconds in which the fundamental of A4 falls by 60 dB.
    pub ring_of_a4: f64,
    /// However low the bar, it rings no longer; however high, no shorter. Seconds.
    pub longest_ring: f64,
    pub shortest_ring: f64,
    /// How long each partial rings, over the fundamental: inner friction and air damp fast movement
    /// more.
    pub ring_shares: [f64; PARTIALS],
    /// How well each partial is radiated.
    pub radiation: [f64; PARTIALS],
    /// Where the mallet meets the bar, as a share of its length.
    pub striking_place: f64,
    /// How long the softest and the hardest stroke stay on the bar.
    pub soft_contact: Contact,
    pub hard_contact: Contact,
    /// Seconds in which a bar falls by 60 dB with a hand laid on it.
    pub damped_ring: f64,
    /// What the fundamental of the hardest stroke rises to, as a share of full scale: so that a
    /// player at a velocity of 0.7 is heard near -20 LUFS (measured: `tests/references/loudness.py`).
    pub fortissimo: f64,
}

/// How long a beater stays on a bar: so many seconds, but no more than so many periods of the
/// fundamental, for small bars are played with small mallets.
#[derive(Debug)]
pub struct Contact {
    pub seconds: f64,
    pub periods: f64,
}

impl Contact {
    /// Seconds on the bar tuned to `fundamental` Hz.
    pub fn within(&self, fundamental: f64) -> f64 {
        self.seconds.min(self.periods / fundamental)
    }
}

impl Make {
    /// What that choice is.
    pub fn of(mallet: Mallet) -> &'static Self {
        match mallet {
            Mallet::Wood => &WOOD,
            Mallet::Metal => &METAL,
            Mallet::Soft => &SOFT,
        }
    }
}

/// A wooden bar over a tube, and a mallet of cord.
///
/// A marimba bar is undercut until its second partial is two octaves above the first and its third
/// lies near the tenth harmonic (HyperPhysics, "Marimba": 4, and about 10; 9.6 in just tuning).
/// 9.8 is a maker's target in between. The tube below the bar helps the fundamental only. A little
/// off the centre, where the second partial would have a node, is where it is struck (common
/// practice, no source). Rings and contacts are of the order of the real thing (from memory); the
/// values are own choice.
///
/// With a contact of 0.36 periods the softest stroke just leaves out the second partial (the
/// spectrum of a half-sine of length T has its first zero at 1.5 / T), with 0.15 the hardest one
/// does not.
const WOOD: Make = Make {
    ratios: [1.0, 4.0, 9.8],
    ring_of_a4: 1.2,
    longest_ring: 3.0,
    shortest_ring: 0.12,
    ring_shares: [1.0, 0.3, 0.1],
    radiation: [1.0, 0.5, 0.25],
    striking_place: 0.42,
    soft_contact: Contact {
        seconds: 0.0025,
        periods: 0.36,
    },
    hard_contact: Contact {
        seconds: 0.0005,
        periods: 0.15,
    },
    damped_ring: 0.3,
    fortissimo: 0.46,
};

/// A bar of metal with no tube below, and a hard beater: it rings on, and is not quite let go when a
/// hand is laid on it.
///
/// A bar that is no thinner in the middle, as those of a glockenspiel are, has the partials of a
/// uniform bar with free ends: 1 : 2.756 : 5.404 (Fletcher & Rossing, "The Physics of Musical
/// Instruments", the chapter on mallet percussion; from memory, and computed in
/// [`uniform_bar_ratio`](super::bar::uniform_bar_ratio)). Metal has little friction inside. All other
/// values are own choice.
const METAL: Make = Make {
    ratios: [1.0, 2.7565, 5.4039],
    ring_of_a4: 4.0,
    longest_ring: 6.0,
    shortest_ring: 0.5,
    ring_shares: [1.0, 0.5, 0.25],
    radiation: [1.0, 0.6, 0.3],
    striking_place: 0.42,
    soft_contact: Contact {
        seconds: 0.0015,
        periods: 0.36,
    },
    hard_contact: Contact {
        seconds: 0.0003,
        periods: 0.12,
    },
    damped_ring: 0.6,
    fortissimo: 0.32,
};

/// The wooden bar, struck with a soft beater: it stays on the bar longer, and so drives the upper
/// partials less.
///
/// At 0.375 periods and a ratio of 4 the spectrum has its first zero, so the softest stroke has no
/// second partial, and the hardest has a third of what it has under a mallet of cord.
const SOFT: Make = Make {
    soft_contact: Contact {
        seconds: 0.006,
        periods: 0.375,
    },
    hard_contact: Contact {
        seconds: 0.003,
        periods: 0.28,
    },
    ..WOOD
};

#[cfg(test)]
mod tests {
    use super::super::bar::uniform_bar_ratio;
    use super::*;

    #[test]
    fn metal_has_the_partials_of_a_uniform_bar_and_wood_has_not() {
        for partial in 0..PARTIALS {
            let uniform = uniform_bar_ratio(partial);
            assert!((METAL.ratios[partial] - uniform).abs() < 1e-4);
            assert!(partial == 0 || WOOD.ratios[partial] > 1.4 * uniform);
        }
    }
}
