//! Metre: how long a bar is, and which of its places are strong.

use crate::time::{Beats, HAIR, LATE};

/// A time signature, such as 7/8.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Metre {
    count: u8,
    unit: u8,
}

/// The most that a bar counts, and the smallest part of a whole note that it counts by.
const MOST: (u32, u32) = (64, 128);

impl Metre {
    /// Four quarter notes a bar: what is counted where no metre is told (common practice, no
    /// source).
    pub const COMMON: Self = Self { count: 4, unit: 4 };

    /// `count` of the note value 1/`unit` a bar; none unless `count` is 1 ..= 64 and `unit` a
    /// power of two up to 128.
    pub fn new(count: u32, unit: u32) -> Option<Self> {
        let is_one = (1..=MOST.0).contains(&count) && unit.is_power_of_two() && unit <= MOST.1;
        is_one.then_some(Self {
            count: count as u8,
            unit: unit as u8,
        })
    }

    /// What is above in the time signature.
    pub fn count(self) -> u32 {
        self.count.into()
    }

    /// What is below.
    pub fn unit(self) -> u32 {
        self.unit.into()
    }

    /// How long a bar is, in beats.
    pub fn bar(self) -> Beats {
        f64::from(self.count) * self.pulse()
    }

    /// What one counts, in beats: the note value of the signature, three of them in compound
    /// time (6/8, 9/8, 12/8), and never more than a quarter note otherwise.
    pub fn beat(self) -> Beats {
        if self.is_compound() {
            3.0 * self.pulse()
        } else {
            self.pulse().min(1.0)
        }
    }

    /// How many of those a bar has.
    pub fn beats_a_bar(self) -> u32 {
        (self.bar() / self.beat()).round() as u32
    }

    fn is_compound(self) -> bool {
        self.unit >= 8 && self.count > 3 && self.count.is_multiple_of(3)
    }

    /// The note value of the signature, in beats.
    fn pulse(self) -> Beats {
        4.0 / f64::from(self.unit)
    }

    /// How strong the place `at` beats after a bar line is: the number of levels of the metre that
    /// fall there.
    ///
    /// A bar is halved as often as it can be, else divided by three, down to the note value of the
    /// signature, and that into halves, quarters and eighths, and into thirds and sixths. A bar of
    /// five or seven has no level in between: how it is grouped is not told. For sixteenths in 4/4
    /// this gives the order of 5 1 2 1 3 1 2 1 4 1 2 1 3 1 2 1 (common practice, no source).
    pub fn weight(self, at: Beats) -> u32 {
        const BELOW: [f64; 5] = [2.0, 4.0, 8.0, 3.0, 6.0];
        let pulse = self.pulse();
        let falls_on = |level: Beats| {
            let place = at + HAIR;
            // Not by `rem_euclid`, which takes several times as long.
            let remainder = place - (place / level).floor() * level;
            u32::from(remainder < 0.01)
        };
        let mut weight: u32 = BELOW.into_iter().map(|part| falls_on(pulse / part)).sum();
        let mut level = self.count;
        while level > 1 {
            weight += falls_on(f64::from(level) * pulse);
            level = [2, 3]
                .into_iter()
                .find(|part| level.is_multiple_of(*part))
                .map_or(1, |part| level / part);
        }
        weight + falls_on(pulse)
    }
}

impl Metre {
    /// How strong the place `at` beats after a bar line is, from 1 for the bar line down: half as much
    /// for each level of the metre that is passed on the way down from the bar. A bar is halved as
    /// often as it can be, else divided by three, down to the note value of the signature, and that
    /// into halves, quarters and eighths; what falls on none of these is weakest.
    ///
    /// Source: the accent weights of music21 10.5.1 (`TimeSignature.getAccentWeight`), compared in
    /// `tests/references/touch.py`.
    pub fn accent(self, at: Beats) -> f64 {
        const BELOW: i32 = 3;
        let pulse = self.pulse();
        let falls_on = |level: Beats| {
            let place = at + HAIR;
            place - (place / level).floor() * level < 0.01
        };
        let mut weight = 1.0;
        let mut level = self.count;
        loop {
            if falls_on(f64::from(level) * pulse) {
                return weight;
            }
            weight /= 2.0;
            if level == 1 {
                break;
            }
            level = [2, 3]
                .into_iter()
                .find(|part| level.is_multiple_of(*part))
                .map_or(1, |part| level / part);
        }
        for half in 1..=BELOW {
            if falls_on(pulse / f64::from(1 << half)) {
                return weight;
            }
            weight /= 2.0;
        }
        weight
    }
}

/// The bars of a song: their metre, and where one of them begins.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BarLines {
    /// As long as it stands.
    pub metre: Metre,
    /// Song position of a bar line.
    pub line: Beats,
}

impl Default for BarLines {
    /// Bars of four quarter notes from the beginning of the song.
    fn default() -> Self {
        Self {
            metre: Metre::COMMON,
            line: 0.0,
        }
    }
}

impl BarLines {
    /// The bar line at or after `at`. One that is less than [`LATE`] past is not missed yet.
    pub fn next_bar(&self, at: Beats) -> Beats {
        self.next(at, self.metre.bar())
    }

    /// The beat at or after `at`, likewise.
    pub fn next_beat(&self, at: Beats) -> Beats {
        self.next(at, self.metre.beat())
    }

    fn next(&self, at: Beats, each: Beats) -> Beats {
        let missed = LATE - HAIR;
        self.line + ((at - self.line - missed) / each).ceil() * each
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn metre(count: u32, unit: u32) -> Metre {
        Metre::new(count, unit).unwrap()
    }

    #[test]
    fn the_next_line_is_the_one_at_hand_while_it_is_hardly_past() {
        let bars = BarLines {
            metre: metre(7, 8),
            line: 10.5,
        };
        for (at, bar, beat) in [
            (10.5, 10.5, 10.5),
            (10.5 + 0.9 * LATE, 10.5, 10.5),
            (10.5 + 1.1 * LATE, 14.0, 11.0),
            (13.9, 14.0, 14.0),
            (14.0 - 1e-9, 14.0, 14.0),
            (-0.1, 0.0, 0.0),
        ] {
            assert_eq!((bars.next_bar(at), bars.next_beat(at)), (bar, beat), "{at}");
        }
        let compound = BarLines {
            metre: metre(6, 8),
            line: 0.0,
        };
        assert_eq!(
            (compound.next_bar(1.0), compound.next_beat(1.0)),
            (3.0, 1.5)
        );
        assert_eq!(compound.metre.beats_a_bar(), 2);
    }

    #[test]
    fn a_bar_is_as_long_as_its_signature_says() {
        let bars = [
            (4, 4, 4.0, 1.0),
            (7, 8, 3.5, 0.5),
            (6, 8, 3.0, 1.5),
            (3, 2, 6.0, 1.0),
        ];
        for (count, unit, bar, beat) in bars {
            let metre = metre(count, unit);
            assert_eq!((metre.bar(), metre.beat()), (bar, beat), "{count}/{unit}");
        }
        for (count, unit) in [(0, 4), (4, 0), (4, 3), (65, 4), (4, 256)] {
            assert_eq!(Metre::new(count, unit), None, "{count}/{unit}");
        }
    }

    /// Common practice, no source: two halves in 4/4 and 6/8, three beats in 3/4 and 9/8.
    #[test]
    fn strong_beats_are_where_musicians_count_them() {
        let eighths = |metre: Metre| -> Vec<usize> {
            let count = (metre.bar() * 2.0) as usize;
            let mut order: Vec<usize> = (0..count).collect();
            order.sort_by_key(|&at| (std::cmp::Reverse(metre.weight(at as f64 * 0.5)), at));
            order
        };
        assert_eq!(eighths(metre(4, 4)), [0, 4, 2, 6, 1, 3, 5, 7]);
        assert_eq!(eighths(metre(3, 4)), [0, 2, 4, 1, 3, 5]);
        assert_eq!(eighths(metre(6, 8)), [0, 3, 1, 2, 4, 5]);
        assert_eq!(eighths(metre(9, 8)), [0, 3, 6, 1, 2, 4, 5, 7, 8]);
        assert_eq!(eighths(metre(7, 8)), [0, 1, 2, 3, 4, 5, 6]);
        assert!(
            metre(7, 8).weight(3.5) > metre(7, 8).weight(3.0),
            "the next bar line"
        );
    }
}
