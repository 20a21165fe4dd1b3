//! A partner who gives: the steady voice, as a person would play it who listens.
//!
//! At each note that the player strikes, the partner corrects a share of what the two are apart:
//! linear phase correction (Vorberg & Wing 1996; Repp, Psychonomic Bulletin & Review 12, 2005,
//! 969-992; for ensembles Wing et al., Journal of the Royal Society Interface 11, 2014, where about
//! a quarter is best for four). What is left of a distance is then (1 - share) of it, and if every
//! interval of the player varies by a standard deviation of s, the two are apart by one of
//! s / sqrt(1 - (1 - share)^2).
//!
//! What such a partner plays depends on what was played to it, so it is no part of the law that the
//! song sounds the same from wherever one starts.

use crate::time::Beats;

/// How the steady voice is played.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Manner {
    /// As written, whatever the player does.
    #[default]
    Rigid,
    /// Keeps the distance that is planned: follows a player who is early or late, by this share
    /// (0 ..= 1) of it a note.
    Follows(f64),
    /// For training: goes along with a player who moves off, by this share (0 ..= 1) a note, so that
    /// the two stay together; whoever gets half a step away is let go, and the partner is back where
    /// it was written.
    PullsBack(f64),
}

/// The steady voice as a partner plays it.
///
/// # Real-time
/// Allocates never, blocks never; a note costs the same always.
#[derive(Clone, Debug)]
pub struct Partner {
    manner: Manner,
    uneven: Beats,
    step: Beats,
    ahead: Beats,
    chance: u64,
}

impl Partner {
    /// A partner in steps of so many beats, whose own intervals vary by a standard deviation of
    /// `uneven` beats. The same seed plays the same. One who is rigid is even, too.
    pub fn new(manner: Manner, step: Beats, uneven: Beats, seed: u64) -> Self {
        Self {
            manner,
            uneven: if uneven.is_finite() {
                uneven.max(0.0)
            } else {
                0.0
            },
            step,
            ahead: 0.0,
            // Never 0, of which nothing but 0 would come.
            chance: seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1,
        }
    }

    /// Plays in that manner from now on.
    pub fn set_manner(&mut self, manner: Manner) {
        self.manner = manner;
    }

    /// Beats by which the steady voice is now ahead of what is written.
    pub fn ahead(&self) -> Beats {
        self.ahead
    }

    /// The player has struck a note, so many beats ahead of the plan, and of the steady voice as it
    /// is written. Numbers that are none are not heard.
    pub fn hears(&mut self, over_plan: Beats, over_steady: Beats) {
        if !(over_plan.is_finite() && over_steady.is_finite()) {
            return;
        }
        self.ahead += match self.manner {
            Manner::Rigid => return,
            Manner::Follows(share) => share_of(share) * (over_plan - self.ahead),
            Manner::PullsBack(share) => {
                let apart = over_steady - self.ahead;
                let is_near = apart.abs() < self.step / 2.0;
                let towards = if is_near { apart } else { -self.ahead };
                share_of(share) * towards
            }
        };
        self.ahead += self.uneven * self.bell();
    }

    /// 0 ..= 1, each as likely (xorshift, Marsaglia 2003; from memory).
    fn share(&mut self) -> f64 {
        self.chance ^= self.chance << 13;
        self.chance ^= self.chance >> 7;
        self.chance ^= self.chance << 17;
        (self.chance >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Nearly a bell curve of width 1: twelve of these together vary by 1.
    fn bell(&mut self) -> f64 {
        (0..12).map(|_| self.share()).sum::<f64>() - 6.0
    }
}

fn share_of(share: f64) -> f64 {
    if share.is_finite() {
        share.clamp(0.0, 1.0)
    } else {
        0.0
    }
}
