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

    /// The first step of the last set that was struck as a whole, if sets begin every `period`
    /// steps and one began on `began`.
    ///
    /// If so little is remembered that no whole set begins on such a step, sets are counted from
    /// the first step with a note.
    pub(super) fn last_whole_set(&self, period: i64, began: i64) -> i64 {
        let steps = period as usize;
        let whole_set_from = |offset: usize| {
            let starts = (offset..self.keys.len()).step_by(steps);
            starts.rev().find(|start| self.is_whole(*start, steps))
        };
        let offset = (began - self.first).rem_euclid(period) as usize;
        let start = whole_set_from(offset)
            .or_else(|| whole_set_from(0))
            .unwrap_or(0);
        self.first + start as i64
    }

    fn comes_again_after(&self, period: usize) -> bool {
        self.keys
            .iter()
            .zip(&self.keys[period..])
            .all(|(set, next)| set == next)
    }

    /// Whether all notes of the set beginning at index `start` have been struck: what the set
    /// before it has beyond our end is nothing.
    fn is_whole(&self, start: usize, period: usize) -> bool {
        let to_come = self.keys.len()..start + period;
        to_come
            .into_iter()
            .all(|index| self.keys.get(index.wrapping_sub(period)) == Some(&0))
    }
}
