//! Metre: how long a bar is, its time signature, and the beats that beams and ties show.
//!
//! Lengths are in *written ticks*, 960 to a written quarter. Where the beat is divided by three
//! throughout it is written as a dotted quarter, and a written tick is two thirds of a tick.

use crate::metre::Metre as Bar;
use crate::time::to_ticks;

/// A written quarter.
pub(super) const QUARTER: i64 = 960;
/// A dotted one.
pub(super) const DOTTED_QUARTER: i64 = 1440;
const EIGHTH: i64 = 480;

/// The longest bar: eight quarters.
const LONGEST_BAR: i64 = 8 * QUARTER;

/// A bar, or what a pick-up leaves of one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Metre {
    pub length: i64,
    pub compound: bool,
    /// The shortest denominator wanted: 4, 8, 16 or 32.
    pub unit: i64,
    /// The bar that it is of, if the phrase lies in one.
    pub of: Option<Whole>,
}

/// A bar that the phrase lies in, of which some may be written elsewhere.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Whole {
    /// How it is grouped, if its beats are not all divided by three.
    pub metre: Option<Bar>,
    /// How long it is.
    pub length: i64,
    /// How much of it stands in the bar before.
    pub from: i64,
}

impl Metre {
    /// Whether it is less than the bar that its time signature says: a pick-up, or what it leaves.
    pub fn is_part(&self) -> bool {
        self.of.is_some_and(|whole| whole.length != self.length)
    }

    /// The time signature: groups, or so many, of a part of a whole note, 4 being a quarter.
    pub fn signature(&self) -> (String, i64) {
        if let Some(bar) = self.of.and_then(|whole| whole.metre) {
            return (bar.above(), bar.unit().into());
        }
        let length = self.of.map_or(self.length, |whole| whole.length);
        let wanted = [4, 8, 16, 32]
            .into_iter()
            .filter(|unit| *unit >= self.unit && !(self.compound && *unit == 4));
        let fits = |unit: &i64| length % (4 * QUARTER / unit) == 0;
        let unit = wanted.into_iter().find(fits).unwrap_or(32);
        ((length * unit / (4 * QUARTER)).to_string(), unit)
    }

    /// The beats: where each begins and ends. A remainder makes a short one at the end.
    pub fn beats(&self) -> Vec<(i64, i64)> {
        let (length, from) = self
            .of
            .map_or((self.length, 0), |whole| (whole.length, whole.from));
        let beats = match self.of.and_then(|whole| whole.metre) {
            Some(bar) => beats_of(bar),
            None if self.compound => vec![DOTTED_QUARTER],
            None => vec![QUARTER],
        };
        let mut start = 0;
        let ends = beats.iter().cycle().map(|beat| {
            let end = (start + beat).min(length);
            (std::mem::replace(&mut start, end), end)
        });
        // What stands in the bar before is not here.
        ends.take_while(|(start, _)| *start < length)
            .map(|(start, end)| (start.max(from) - from, end.min(from + self.length) - from))
            .filter(|(start, end)| start < end)
            .collect()
    }
}

/// The beats of a bar, one after another: its groups, or parts of them that one beam can show. One
/// group has beats of one kind, with a shorter one at the end if they do not come out even.
fn beats_of(bar: Bar) -> Vec<i64> {
    let pulse = to_ticks(bar.pulse());
    if !bar.is_grouped() {
        return vec![to_ticks(bar.beat()).max(QUARTER)];
    }
    // As many as make a quarter; of eighths also three.
    let together = (QUARTER / pulse).max(1);
    let most = together.max(if pulse == EIGHTH { 3 } else { 1 });
    let mut beats = Vec::new();
    for group in bar.groups() {
        let mut left = i64::from(group);
        while left > most {
            beats.push(together * pulse);
            left -= together;
        }
        beats.push(left * pulse);
    }
    // A half note has two beats.
    let quarters =
        |beat: i64| std::iter::repeat_n(beat.min(QUARTER), (beat / QUARTER).max(1) as usize);
    match pulse > QUARTER {
        true => beats.into_iter().flat_map(quarters).collect(),
        false => beats,
    }
}

/// The bars that a passage of `length` is cut into: one if it is not too long, else equal ones
/// (of four beats, if that works), else bars of four beats and a shorter one.
pub(super) fn bars(length: i64, compound: bool, unit: i64) -> Vec<Metre> {
    let metre = |length| Metre {
        length,
        compound,
        unit,
        of: None,
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

/// The bars of a passage that begins `pick_up` before a bar line and lasts whole bars: the last one is
/// as much shorter, so that it and the pick-up of the repeat make a bar.
pub(super) fn bars_in(whole: Whole, length: i64, compound: bool, pick_up: i64) -> Vec<Metre> {
    let part = |length, from| Metre {
        length,
        compound,
        unit: 4,
        of: Some(Whole { from, ..whole }),
    };
    if pick_up == 0 {
        return vec![part(whole.length, 0); (length / whole.length) as usize];
    }
    let mut bars = vec![part(pick_up, whole.length - pick_up)];
    let full = (length / whole.length - 1).max(0) as usize;
    bars.extend(vec![part(whole.length, 0); full]);
    bars.push(part(whole.length - pick_up, 0));
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
        let metre = Metre {
            length,
            compound,
            unit: 4,
            of: None,
        };
        let (above, unit) = metre.signature();
        (above.parse().unwrap(), unit)
    }

    /// A passage of so many eighths in bars that are typed so, with a pick-up of some.
    fn in_bars(text: &str, eighths: i64, pick_up: i64) -> Vec<Metre> {
        let bar = Bar::from_text(text, Bar::COMMON).unwrap();
        let whole = Whole {
            metre: Some(bar),
            length: to_ticks(bar.bar()),
            from: 0,
        };
        bars_in(whole, eighths * EIGHTH, false, pick_up * EIGHTH)
    }

    /// Worked by hand, in eighths: where beats begin.
    #[test]
    fn beats_are_the_groups_of_a_bar_or_quarters_of_them() {
        for (text, eighths, beats) in [
            ("2+2+3/8", 7, &[0, 2, 4][..]),
            ("3+2+2/8", 7, &[0, 3, 5]),
            ("7/8", 7, &[0, 2, 4, 6]),
            ("6/8", 6, &[0, 3]),
            ("2+2+2/8", 6, &[0, 2, 4]),
            ("4+3/8", 7, &[0, 2, 4]),
            ("5+3/8", 8, &[0, 2, 5]),
            ("1+3/8", 4, &[0, 1]),
            ("3+2/4", 10, &[0, 2, 4, 6, 8]),
            ("1+1/2", 8, &[0, 2, 4, 6]),
            ("4+6/16", 5, &[0, 2, 4]),
        ] {
            let metre = in_bars(text, eighths, 0)[0];
            let starts: Vec<i64> = metre.beats().iter().map(|beat| beat.0 / EIGHTH).collect();
            assert_eq!(starts, beats, "{text}");
            let end = metre.beats().last().map(|beat| beat.1);
            assert_eq!(end, Some(eighths * EIGHTH), "{text}");
        }
    }

    /// Worked by hand: two bars of 7/8 with a pick-up of three eighths, and one bar with one.
    #[test]
    fn a_pick_up_and_the_last_bar_make_a_bar_together() {
        let told = |text, eighths, pick_up| -> Vec<(i64, bool, Vec<i64>)> {
            let bars = in_bars(text, eighths, pick_up);
            let starts = |bar: &Metre| bar.beats().iter().map(|beat| beat.0 / EIGHTH).collect();
            bars.iter()
                .map(|bar| (bar.length / EIGHTH, bar.is_part(), starts(bar)))
                .collect()
        };
        assert_eq!(
            told("2+2+3/8", 14, 3),
            [
                (3, true, vec![0]),
                (7, false, vec![0, 2, 4]),
                (4, true, vec![0, 2])
            ]
        );
        assert_eq!(
            told("4/4", 8, 1),
            [(1, true, vec![0]), (7, true, vec![0, 2, 4, 6])]
        );
        let (above, unit) = in_bars("2+2+3/8", 14, 3)[0].signature();
        assert_eq!((above.as_str(), unit), ("2+2+3", 8));
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
