//! The period of a passage: after how many steps the same keys are struck again.

use crate::note::Key;
use arrayvec::ArrayVec;

/// Room for what is remembered on the finest grid, 64 beats of 8 steps, with both ends rounded.
const MOST: usize = 516;

/// Which keys are struck on each step, from the first step with a note to the last.
#[derive(Clone, Debug, Default)]
pub(super) struct Struck {
    first: i64,
    /// A bit for each key.
    keys: ArrayVec<u128, MOST>,
}

impl FromIterator<(i64, Key)> for Struck {
    /// From keys and the steps they are struck on, in order of step.
    fn from_iter<T: IntoIterator<Item = (i64, Key)>>(onsets: T) -> Self {
        let mut struck = Self::default();
        for (step, key) in onsets {
            struck.strike(step, key);
        }
        struck
    }
}

impl Struck {
    fn strike(&mut self, step: i64, key: Key) {
        if self.keys.is_empty() {
            self.first = step;
        }
        let index = usize::try_from(step - self.first).unwrap_or(0);
        while self.keys.len() <= index && self.keys.try_push(0).is_ok() {}
        if let Some(keys) = self.keys.get_mut(index) {
            *keys |= 1 << key.number();
        }
    }

    /// The first step with a note.
    pub(super) fn first(&self) -> i64 {
        self.first
    }

    /// The smallest number of steps after which everything comes again, if there is one and two
    /// whole sets were struck. The last set may be a broken-off third.
    pub(super) fn period(&self) -> Option<i64> {
        (1..self.keys.len())
            .find(|period| self.comes_again_after(*period) && self.is_whole(*period, *period))
            .map(|period| period as i64)
    }

    /// The first step of the last set that was struck as a whole, if everything comes again after
    /// `period` steps and a set began on step `began`.
    pub(super) fn last_whole_set(&self, period: i64, began: i64) -> i64 {
        let offset = (began - self.first).rem_euclid(period) as usize;
        let steps = period as usize;
        let starts = (offset..self.keys.len()).step_by(steps);
        let last = starts.rev().find(|start| self.is_whole(*start, steps));
        // Two whole sets were struck, so there is one whichever of its steps it is counted from.
        self.first + last.unwrap_or(0) as i64
    }

    fn comes_again_after(&self, period: usize) -> bool {
        self.keys
            .iter()
            .zip(&self.keys[period..])
            .all(|(set, next)| set == next)
    }

    /// Whether all notes of the set beginning at index `start` have been struck: on the steps it
    /// has yet to come to, the set before has only rests.
    fn is_whole(&self, start: usize, period: usize) -> bool {
        (self.keys.len()..start + period).all(|index| self.keys[index - period] == 0)
    }
}
