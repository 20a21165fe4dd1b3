//! Metre: how long a bar is, its time signature, and the beats that beams and ties show.
//!
//! Lengths are in *written ticks*, 960 to a written quarter. Where the beat is divided by three
//! throughout it is written as a dotted quarter, and a written tick is two thirds of a tick.

/// A written quarter.
pub(super) const QUARTER: i64 = 960;
/// A dotted one.
pub(super) const DOTTED_QUARTER: i64 = 1440;
const EIGHTH: i64 = 480;

/// The longest bar: eight quarters.
const LONGEST_BAR: i64 = 8 * QUARTER;

/// A bar.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Metre {
    pub length: i64,
    pub compound: bool,
    /// The shortest denominator wanted: 4, 8, 16 or 32.
    pub unit: i64,
}

impl Metre {
    /// The time signature: so many of a part of a whole note, 4 being a quarter.
    pub fn signature(&self) -> (i64, i64) {
        let wanted = [4, 8, 16, 32]
            .into_iter()
            .filter(|unit| *unit >= self.unit && !(self.compound && *unit == 4));
        let fits = |unit: &i64| self.length % (4 * QUARTER / unit) == 0;
        let unit = wanted.into_iter().find(fits).unwrap_or(32);
        (self.length * unit / (4 * QUARTER), unit)
    }

    /// The beats: where each begins and ends. A remainder makes a short one at the end.
    pub fn beats(&self) -> Vec<(i64, i64)> {
        let beat = if self.compound {
            DOTTED_QUARTER
        } else {
            QUARTER
        };
        let mut beats = Vec::new();
        let mut start = 0;
        while start < self.length {
            let end = (start + beat).min(self.length);
            beats.push((start, end));
            start = end;
        }
        beats
    }
}

/// The bars that a passage of `length` is cut into: one if it is not too long, else equal ones
/// (of four beats, if that works), else bars of four beats and a shorter one.
pub(super) fn bars(length: i64, compound: bool, unit: i64) -> Vec<Metre> {
    let metre = |length| Metre {
        length,
        compound,
        unit,
    };
    if length <= LONGEST_BAR {
        return vec![metre(length)];
    }
    let beat = if compound { DOTTED_QUARTER } else { QUARTER };
    let equal = [4, 3, 5, 6, 2].map(|beats| beats * beat);
    if let Some(bar) = equal.into_iter().find(|bar| length % bar == 0) {
        return vec![metre(bar); (length / bar) as usize];
    }
    let mut bars = vec![metre(4 * beat); (length / (4 * beat)) as usize];
    bars.push(metre(length % (4 * beat)));
    bars
}

/// The denominator that writes a step of the grid, in written ticks.
pub(super) fn unit_of(step: i64) -> i64 {
    match step {
        s if s >= QUARTER => 4,
        s if s >= EIGHTH => 8,
        s if s >= EIGHTH / 2 => 16,
        _ => 32,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn signature(length: i64, compound: bool) -> (i64, i64) {
        let unit = 4;
        Metre {
            length,
            compound,
            unit,
        }
        .signature()
    }

    #[test]
    fn time_signatures_follow_the_phrase() {
        assert_eq!(signature(16 * 240, false), (4, 4));
        assert_eq!(signature(12 * 240, false), (3, 4));
        assert_eq!(signature(10 * 240, false), (5, 8));
        assert_eq!(signature(19 * 240, false), (19, 16));
        assert_eq!(signature(12 * 480, true), (12, 8));
        assert_eq!(signature(7 * 480, true), (7, 8));
    }

    #[test]
    fn a_long_phrase_is_cut_into_bars_of_four_where_that_works() {
        let lengths = |beats: i64| -> Vec<i64> {
            let bars = bars(beats * QUARTER, false, 4);
            bars.iter().map(|bar| bar.length / QUARTER).collect()
        };
        assert_eq!(lengths(8), [8]);
        assert_eq!(lengths(16), [4, 4, 4, 4]);
        assert_eq!(lengths(9), [3, 3, 3]);
        assert_eq!(lengths(10), [5, 5]);
        assert_eq!(lengths(13), [4, 4, 4, 1]);
    }
}
