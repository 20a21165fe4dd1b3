//! Hosts that round: song positions given in ticks of the host's own.
//!
//! A host that counts a beat in 1920 ticks says at the start of each block which tick is nearest,
//! at 120 beats a minute up to 6 samples off. While the tempo stands its course is known better
//! than that: each position it tells bounds where the song can be, and the bounds close in.

use crate::time::Beats;

/// Ticks a beat that hosts have been seen to count, or may (common practice, no source).
const TICKS: [f64; 3] = [480.0, 960.0, 1920.0];

/// Part of a tick by which a position on it may miss it: fixed-point numbers of hosts.
const HAIR: f64 = 1e-5;

/// How far from the own course the song may be, in view of what a host that rounds has given.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Rounding {
    /// Beats by which a position may miss: half a tick.
    by: Beats,
    /// The song is at least so many beats ahead of the course,
    least: Beats,
    /// and at most so many.
    most: Beats,
}

impl Rounding {
    /// That of a host that has given this position; none if it is on no tick.
    pub(super) fn of(given: Beats) -> Option<Self> {
        let is_whole = |ticks: f64| (ticks - ticks.round()).abs() <= HAIR;
        let ticks = TICKS.into_iter().find(|ticks| is_whole(given * ticks))?;
        let by = (0.5 + HAIR) / ticks;
        Some(Self {
            by,
            least: -by,
            most: by,
        })
    }

    /// The same bounds, if the host has turned out to count ticks as fine as `other`'s.
    pub(super) fn finer(self, other: Self) -> Self {
        Self {
            by: self.by.min(other.by),
            ..self
        }
    }

    /// Whether a song on its course may be given as `ahead` of it: both the position that the
    /// course began with and this one may be rounded.
    pub(super) fn explains(&self, ahead: Beats) -> bool {
        ahead.abs() <= 2.0 * self.by
    }

    /// The song was given as `ahead` of its course: how far the course has to be moved.
    ///
    /// Where it has to, it goes to the least that is possible. The song is then never behind its
    /// course: what happens on a bar line comes no later than the notes of that bar.
    pub(super) fn narrow(&mut self, ahead: Beats) -> Beats {
        let now = (ahead - self.by, ahead + self.by);
        let both = (self.least.max(now.0), self.most.min(now.1));
        // If nothing agrees with all that was given, the host's course is a little other than its
        // tempo says: the latest word holds.
        let (least, most) = if both.0 <= both.1 { both } else { now };
        let correction = if least > 0.0 || most < 0.0 {
            least
        } else {
            0.0
        };
        self.least = least - correction;
        self.most = most - correction;
        correction
    }
}
