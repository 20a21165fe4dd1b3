//! A simulated player: goes a way of their own, with a hand that is never quite even.

use procession_core::follower::Struck;
use procession_core::note::Key;
use procession_core::part::Part;
use procession_core::process::Process;
use procession_core::time::{Beats, Span};

/// Chance that is the same for the same seed (xorshift64*, Vigna, ACM Transactions on Mathematical
/// Software 42, 2016; from memory).
pub struct Chance(u64);

impl Chance {
    pub fn new(seed: u64) -> Self {
        let mut chance = Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1);
        (0..8).for_each(|_| _ = chance.share());
        chance
    }

    /// 0 ..< 1
    pub fn share(&mut self) -> f64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 11) as f64 / (1u64 << 53) as f64
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.share()
    }

    /// A bell curve of width 1 (Box and Muller 1958).
    pub fn bell(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.share()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.share()).cos()
    }
}

/// How a hand plays.
#[derive(Clone, Copy, Default)]
pub struct Hand {
    pub late_ms: f64,
    pub uneven_ms: f64,
    /// Shares of the notes.
    pub wrong: f64,
    pub missing: f64,
    pub doubled: f64,
    pub extra: f64,
}

/// What was struck, and the place in the part that was meant: none for a slip.
#[derive(Clone, Copy)]
pub struct Played {
    pub struck: Struck,
    pub meant: Option<usize>,
}

/// What the player strikes in `span`, being `ahead` beats ahead of the steady voice at each song
/// position, in order of time.
pub fn performance(
    process: &Process,
    part: Part,
    span: Span,
    beat_ms: f64,
    hand: Hand,
    chance: &mut Chance,
    ahead: impl Fn(Beats) -> Beats,
) -> Vec<Played> {
    let phrase = process.phrase();
    let entry = process.voices().entry(part).unwrap_or(0.0);
    let first = ((span.start - entry) / phrase.length()).floor() as i64 - 3;
    let last = ((span.end - entry) / phrase.length()).ceil() as i64 + 6;
    let mut played = Vec::new();
    let mut meant = 0;
    for cycle in first..last {
        for note in phrase.notes() {
            let place = entry + cycle as f64 * phrase.length() + note.onset;
            // Where time and the lead over the steady voice make up the place.
            let at = (0..60).fold(place, |at, _| place - ahead(at));
            if !(span.start..span.end).contains(&at) {
                continue;
            }
            let ms = hand.late_ms + hand.uneven_ms * chance.bell();
            let mut strike = |at: Beats, key: Key, meant: Option<usize>| {
                let struck = Struck { at, key, beat_ms };
                played.push(Played { struck, meant });
            };
            let at_hand = at + ms / beat_ms;
            let key = process.key_of(part, note.key, at);
            let number = i32::from(key.number());
            let slip = Key::by_octave(number + [-2, -1, 1, 2][(chance.share() * 4.0) as usize]);
            let what = chance.share();
            if what < hand.missing {
            } else if what < hand.missing + hand.wrong {
                strike(at_hand, slip, None);
            } else {
                strike(at_hand, key, Some(meant));
                if chance.share() < hand.doubled {
                    let bounce = chance.between(20.0, 60.0) / beat_ms;
                    strike(at_hand + bounce, key, Some(meant));
                }
                if chance.share() < hand.extra {
                    let between = chance.between(0.05, 0.2);
                    strike(at_hand + between, slip, None);
                }
            }
            meant += 1;
        }
    }
    played.sort_by(|one, other| one.struck.at.total_cmp(&other.struck.at));
    played
}
