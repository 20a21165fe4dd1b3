//! Metre: how long a bar is, and which of its places are strong.

use crate::time::{Beats, HAIR, LATE};
use std::fmt;
use thiserror::Error;

/// A time signature, such as 7/8, and how its bar is grouped, such as 2+2+3.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Metre {
    count: u8,
    unit: u8,
    /// Where groups begin: a bit a pulse, the lowest the bar line's, which is always set.
    heads: u64,
}

/// The most that a bar counts, and the smallest part of a whole note that it counts by.
const MOST: (u32, u32) = (64, 128);

/// A bar that is one group: it is divided as its number can be.
const ONE_GROUP: u64 = 1;

/// How strong a counted place of a bar is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Strength {
    /// A beat among others.
    Beat,
    /// The first of a group, in a bar that is grouped.
    Group,
    /// The first of a bar.
    Bar,
}

impl Metre {
    /// Four quarter notes a bar: what is counted where no metre is told (common practice, no
    /// source).
    pub const COMMON: Self = Self {
        count: 4,
        unit: 4,
        heads: ONE_GROUP,
    };

    /// `count` of the note value 1/`unit` a bar, in one group; none unless `count` is 1 ..= 64 and
    /// `unit` a power of two up to 128.
    pub fn new(count: u32, unit: u32) -> Option<Self> {
        let is_one = (1..=MOST.0).contains(&count) && unit.is_power_of_two() && unit <= MOST.1;
        is_one.then_some(Self {
            count: count as u8,
            unit: unit as u8,
            heads: ONE_GROUP,
        })
    }

    /// A bar of these groups, each so many of the note value 1/`unit`; none unless there is such a
    /// bar.
    pub fn grouped(groups: impl IntoIterator<Item = u32>, unit: u32) -> Option<Self> {
        let (mut count, mut heads) = (0_u32, 0_u64);
        for group in groups {
            if group == 0 || group > MOST.0 || count >= MOST.0 {
                return None;
            }
            heads |= 1 << count;
            count += group;
        }
        Self::new(count, unit).map(|metre| Self { heads, ..metre })
    }

    /// The same bar as it is usually grouped: what can be divided neither by two nor by three is
    /// twos and, last, a three, such as 2+3 and 2+2+3 (common practice; for eighths, music21 10.5.1
    /// beams them so, compared in `tests/references/touch.py`).
    pub fn usually(self) -> Self {
        let count = self.count();
        let has_none = count > 3 && !count.is_multiple_of(2) && !count.is_multiple_of(3);
        let twos = (count as usize).saturating_sub(3) / 2;
        let groups = std::iter::repeat_n(2, twos).chain([3]);
        let usual = Self::grouped(groups, self.unit()).filter(|_| has_none);
        usual.unwrap_or(Self {
            heads: ONE_GROUP,
            ..self
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

    /// Whether its bar has groups of its own.
    pub fn is_grouped(self) -> bool {
        self.heads != ONE_GROUP
    }

    /// How much each group counts, in their order; all of the bar if it is one.
    pub fn groups(self) -> impl Iterator<Item = u32> {
        let count = self.count();
        let next = move |from: u32| self.head_after(from).unwrap_or(count);
        std::iter::successors(Some(0), move |from| Some(next(*from)))
            .take_while(move |from| *from < count)
            .map(move |from| next(from) - from)
    }

    /// The pulse on which the group after that one begins.
    fn head_after(self, pulse: u32) -> Option<u32> {
        let later = self.heads.checked_shr(pulse + 1).unwrap_or(0);
        (later != 0).then(|| pulse + 1 + later.trailing_zeros())
    }

    /// How long a bar is, in beats.
    pub fn bar(self) -> Beats {
        f64::from(self.count) * self.pulse()
    }

    /// Whether a bar of it is as long as one of the other.
    pub fn is_as_long_as(self, other: Self) -> bool {
        (self.bar() - other.bar()).abs() < HAIR
    }

    /// What one counts, in beats: the note value of the signature, three of them in compound
    /// time (6/8, 9/8, 12/8), and never more than a quarter note otherwise. In a bar of eighths or
    /// less with groups, a group if they are all twos or all threes, else the note value.
    pub fn beat(self) -> Beats {
        match self.equal_groups().filter(|_| self.is_grouped()) {
            Some(group @ 2..=3) if self.unit >= 8 => f64::from(group) * self.pulse(),
            _ if self.is_compound() => 3.0 * self.pulse(),
            _ => self.pulse().min(1.0),
        }
    }

    /// How many of those a bar has.
    pub fn beats_a_bar(self) -> u32 {
        (self.bar() / self.beat()).round() as u32
    }

    fn is_compound(self) -> bool {
        let threes = self.unit >= 8 && self.count > 3 && self.count.is_multiple_of(3);
        threes && !self.is_grouped()
    }

    /// The note value of the signature, in beats.
    pub fn pulse(self) -> Beats {
        4.0 / f64::from(self.unit)
    }

    /// How much every group counts, if they are equal.
    fn equal_groups(self) -> Option<u32> {
        let first = self.groups().next()?;
        self.groups().all(|group| group == first).then_some(first)
    }

    /// The group that lies `at` beats after a bar line: how far into it that is, and how much it
    /// counts.
    fn group_at(self, at: Beats) -> (Beats, u32) {
        if !self.is_grouped() {
            return (at, self.count());
        }
        let into = at - ((at + HAIR) / self.bar()).floor() * self.bar();
        let pulse = ((into + HAIR) / self.pulse()).floor();
        let pulse = pulse.clamp(0.0, f64::from(self.count - 1)) as u32;
        // Of those up to there, the last; the bar line's is always one.
        let head = 63 - (self.heads & (u64::MAX >> (63 - pulse))).leading_zeros();
        let end = self.head_after(head).unwrap_or(self.count());
        (into - f64::from(head) * self.pulse(), end - head)
    }

    /// The levels of the metre above its groups, from the bar down, in pulses. Equal groups are
    /// gathered by two or three, others only by the bar; one group is the bar.
    fn above_groups(self) -> impl Iterator<Item = u32> {
        let equal = self.equal_groups();
        let each = equal.unwrap_or(self.count());
        let gathered = levels(self.count() / each).filter(|times| *times > 1);
        let all = self.count();
        gathered
            .map(move |times| times * each)
            .chain(equal.is_none().then_some(all))
    }

    /// How strong the place `at` beats after a bar line is: the number of levels of the metre that
    /// fall there.
    ///
    /// A bar is halved as often as it can be, else divided by three, down to the note value of the
    /// signature, and that into halves, quarters and eighths, and into thirds and sixths. A bar of
    /// five or seven in one group has no level in between. For sixteenths in 4/4 this gives the
    /// order of 5 1 2 1 3 1 2 1 4 1 2 1 3 1 2 1 (common practice, no source). Where there are groups,
    /// each is divided so, and all their beginnings are equally strong.
    pub fn weight(self, at: Beats) -> u32 {
        const BELOW: [f64; 5] = [2.0, 4.0, 8.0, 3.0, 6.0];
        let pulse = self.pulse();
        let below: u32 = BELOW
            .into_iter()
            .map(|part| u32::from(falls_on(at, pulse / part)))
            .sum();
        let above = self.above_groups();
        let above = above.filter(|level| falls_on(at, f64::from(*level) * pulse));
        let (since, group) = self.group_at(at);
        let within = levels(group).filter(|level| falls_on(since, f64::from(*level) * pulse));
        let within = match within.count() {
            all if self.is_grouped() && all == levels(group).count() && falls_on(since, pulse) => {
                let deepest = self.groups().map(|group| levels(group).count()).max();
                deepest.unwrap_or(all)
            }
            some => some,
        };
        below + (above.count() + within) as u32
    }

    /// How strong the place `at` beats after a bar line is, from 1 for the bar line down: half as much
    /// for each level of the metre that is passed on the way down from the bar. A bar is halved as
    /// often as it can be, else divided by three, down to the note value of the signature, and that
    /// into halves, quarters and eighths; what falls on none of these is weakest. Where there are
    /// groups, each is divided so.
    ///
    /// Source: the accent weights of music21 10.5.1 (`TimeSignature.getAccentWeight`), compared in
    /// `tests/references/touch.py`.
    pub fn accent(self, at: Beats) -> f64 {
        const BELOW: i32 = 3;
        let pulse = self.pulse();
        let (since, group) = self.group_at(at);
        let above = self.above_groups().map(|level| (at, level));
        let within = levels(group).map(|level| (since, level));
        let mut weight = 1.0;
        for (place, level) in above.chain(within) {
            if falls_on(place, f64::from(level) * pulse) {
                return weight;
            }
            weight /= 2.0;
        }
        for half in 1..=BELOW {
            if falls_on(at, pulse / f64::from(1 << half)) {
                return weight;
            }
            weight /= 2.0;
        }
        weight
    }

    /// How strong the beat `at` beats after a bar line is, as it is counted aloud.
    pub fn strength(self, at: Beats) -> Strength {
        let (since, _) = self.group_at(at);
        match () {
            () if falls_on(at, self.bar()) => Strength::Bar,
            () if self.is_grouped() && since < 0.01 => Strength::Group,
            () => Strength::Beat,
        }
    }
}

/// What a bar or a group of so many is divided into, by two as often as can be, else by three: the
/// whole first, 1 last.
fn levels(count: u32) -> impl Iterator<Item = u32> {
    std::iter::successors(Some(count), |level| {
        let part = [2, 3].into_iter().find(|part| level.is_multiple_of(*part));
        (*level > 1).then(|| part.map_or(1, |part| level / part))
    })
}

/// Whether a place lies on a multiple of `level`, or hardly after it.
fn falls_on(at: Beats, level: Beats) -> bool {
    let place = at + HAIR;
    // Not by `rem_euclid`, which takes several times as long.
    place - (place / level).floor() * level < 0.01
}

impl fmt::Display for Metre {
    /// As it is typed: "7/8", "2+2+3/8".
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        write!(f, "{}/{}", self.above(), self.unit)
    }
}

/// Why a typed metre is none; the text says what to do.
#[derive(Clone, Debug, Error, PartialEq, Eq)]
pub enum MetreError {
    /// It is nothing of the kind.
    #[error(
        "\"{0}\" is not a metre: write the groups of a bar, such as 2+2+3, and the note value that they count if it is another, such as 3+2/8"
    )]
    Nonsense(String),
    /// There is no such bar.
    #[error(
        "there is no bar of {0}: a bar counts 1 to 64 of a whole note, a half, a 4th, and so on down to a 128th"
    )]
    NoSuchBar(String),
    /// The groups make so many, and the bar has another number.
    #[error(
        "{groups} makes {sum}, and a bar of {bar} has {count}: write groups that make {count}, or say what they count, as in {groups}/{other}",
        count = bar.count(), bar = bar.signature(), other = if bar.unit() == 8 { 4 } else { 8 }
    )]
    DoesNotAddUp {
        /// As they were typed.
        groups: String,
        /// What they make.
        sum: u32,
        /// The bar that they should make.
        bar: Metre,
    },
}

impl Metre {
    /// What is above in the time signature, group by group: "2+2+3"; "7" if it is one.
    pub fn above(self) -> String {
        let groups: Vec<String> = self.groups().map(|group| group.to_string()).collect();
        groups.join("+")
    }

    /// The plain signature: "7/8".
    pub fn signature(self) -> String {
        format!("{}/{}", self.count, self.unit)
    }

    /// A metre as it is typed: groups of a bar and what they count, "2+2+3/8"; without that, groups
    /// of `bar`, which they must make.
    ///
    /// # Errors
    /// See [`MetreError`].
    pub fn from_text(text: &str, bar: Self) -> Result<Self, MetreError> {
        let text = text.trim();
        let nonsense = || MetreError::Nonsense(text.to_owned());
        let (above, unit) = match text.split_once('/') {
            Some((above, unit)) => (above, Some(unit)),
            None => (text, None),
        };
        let number = |word: &str| word.trim().parse::<u32>().map_err(|_| nonsense());
        let groups: Vec<u32> = above.split('+').map(number).collect::<Result<_, _>>()?;
        let unit = unit.map(number).transpose()?;
        let metre = Self::grouped(groups.iter().copied(), unit.unwrap_or(bar.unit()));
        let metre = metre.ok_or_else(|| MetreError::NoSuchBar(text.to_owned()))?;
        if unit.is_none() && metre.count != bar.count {
            return Err(MetreError::DoesNotAddUp {
                groups: metre.above(),
                sum: metre.count(),
                bar,
            });
        }
        Ok(metre)
    }
}

/// How the bars of a song are grouped.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Grouping {
    /// As the signature can be divided, and no further: five and seven are one group. So it was in
    /// projects from before there was a choice.
    Undivided,
    /// As is usual for the signature.
    #[default]
    Usual,
    /// As is written, where bars are as long.
    Written(Metre),
}

impl Grouping {
    /// The metre to count by where the song's is this one, or is not told; `is_own` if the song is
    /// nobody else's, so that what is written is its metre.
    pub fn of(self, told: Option<Metre>, is_own: bool) -> Option<Metre> {
        match self {
            Self::Undivided => told,
            Self::Written(metre) if is_own || told.is_none_or(|told| told.is_as_long_as(metre)) => {
                Some(metre)
            }
            Self::Usual | Self::Written(_) => told.map(Metre::usually),
        }
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
    use proptest::prelude::*;

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

    fn typed(text: &str) -> Metre {
        Metre::from_text(text, Metre::COMMON).unwrap()
    }

    #[test]
    fn a_metre_is_read_as_it_is_typed_and_shown_as_it_is_read() {
        for (text, groups, unit, shown) in [
            ("2+2+3/8", &[2, 2, 3][..], 8, "2+2+3/8"),
            (" 3 + 2 / 8 ", &[3, 2], 8, "3+2/8"),
            ("7/8", &[7], 8, "7/8"),
            ("3+1", &[3, 1], 4, "3+1/4"),
            ("4", &[4], 4, "4/4"),
            ("1+62+1/128", &[1, 62, 1], 128, "1+62+1/128"),
        ] {
            let metre = typed(text);
            assert_eq!(
                (metre.groups().collect::<Vec<_>>(), metre.unit()),
                (groups.to_vec(), unit)
            );
            assert_eq!(metre.to_string(), shown);
        }
        assert_eq!(
            Metre::from_text("3+2+2", metre(7, 8)).unwrap().to_string(),
            "3+2+2/8"
        );
    }

    #[test]
    fn what_is_no_metre_or_does_not_add_up_is_refused_in_words() {
        let refused = |text, bar| Metre::from_text(text, bar).unwrap_err().to_string();
        let seven = metre(7, 8);
        for nonsense in [
            "", "ferry", "2+", "+2/8", "2+2+3/", "2..3/8", "-2+9/8", "2+3/8/8",
        ] {
            let said = refused(nonsense, seven);
            assert!(said.contains("is not a metre: write the groups"), "{said}");
        }
        for none in [
            "0/8",
            "2+0+3/8",
            "65/8",
            "40+40/8",
            "7/6",
            "7/256",
            "4294967295+1/8",
        ] {
            let said = refused(none, seven);
            assert!(said.contains("there is no bar of"), "{said}");
        }
        assert_eq!(
            refused("2+2+2", seven),
            "2+2+2 makes 6, and a bar of 7/8 has 7: write groups that make 7, or say what they \
             count, as in 2+2+2/4"
        );
    }

    #[test]
    fn what_neither_halves_nor_has_threes_is_usually_twos_and_a_three() {
        for (count, unit, usual) in [
            (5, 8, "2+3/8"),
            (7, 8, "2+2+3/8"),
            (5, 4, "2+3/4"),
            (11, 8, "2+2+2+2+3/8"),
            (4, 4, "4/4"),
            (3, 4, "3/4"),
            (6, 8, "6/8"),
            (9, 8, "9/8"),
            (10, 8, "10/8"),
            (1, 4, "1/4"),
        ] {
            assert_eq!(metre(count, unit).usually().to_string(), usual);
            assert!(!metre(count, unit).is_grouped());
        }
    }

    /// Worked by hand: what is counted is the note value, unless groups of eighths are all alike.
    #[test]
    fn a_grouped_bar_is_counted_by_its_note_value_or_by_equal_groups() {
        for (text, beat, a_bar) in [
            ("2+2+3/8", 0.5, 7),
            ("2+2+2/8", 1.0, 3),
            ("3+3/8", 1.5, 2),
            ("2+2+2+3/8", 0.5, 9),
            ("3+2/4", 1.0, 5),
            ("2+2/4", 1.0, 4),
        ] {
            assert_eq!(
                (typed(text).beat(), typed(text).beats_a_bar()),
                (beat, a_bar),
                "{text}"
            );
        }
    }

    /// Worked by hand: the bar line, then the first of every group, then the rest.
    #[test]
    fn the_first_of_each_group_is_strong() {
        let eighths = |text: &str| -> Vec<usize> {
            let metre = typed(text);
            let mut order: Vec<usize> = (0..metre.count() as usize).collect();
            order.sort_by_key(|&at| (std::cmp::Reverse(metre.weight(3.5 + at as f64 * 0.5)), at));
            order
        };
        let from_a_bar_line = |text| (typed(text).bar() == 3.5).then(|| eighths(text));
        assert_eq!(from_a_bar_line("2+2+3/8"), Some(vec![0, 2, 4, 1, 3, 5, 6]));
        assert_eq!(from_a_bar_line("3+2+2/8"), Some(vec![0, 3, 5, 1, 2, 4, 6]));
        assert_eq!(from_a_bar_line("4+3/8"), Some(vec![0, 4, 2, 1, 3, 5, 6]));
        assert_eq!(from_a_bar_line("1+6/8"), Some(vec![0, 1, 4, 2, 3, 5, 6]));
    }

    #[test]
    fn bars_of_the_song_are_grouped_as_is_written_where_they_are_as_long() {
        let of = |grouping: Grouping, told: Option<Metre>| {
            grouping.of(told, false).map(|metre| metre.to_string())
        };
        let said = |text: &str| Some(text.to_owned());
        let (seven, four) = (Some(metre(7, 8)), Some(Metre::COMMON));
        assert_eq!(of(Grouping::Undivided, seven), said("7/8"));
        assert_eq!(of(Grouping::Usual, seven), said("2+2+3/8"));
        assert_eq!(of(Grouping::Usual, None), None);
        let written = Grouping::Written(typed("3+3+2/8"));
        assert_eq!(of(written, four), said("3+3+2/8"));
        assert_eq!(of(written, seven), said("2+2+3/8"));
        assert_eq!(of(written, None), said("3+3+2/8"));
        let own = Grouping::Written(typed("3+3+2/8")).of(seven, true);
        assert_eq!(own, Some(typed("3+3+2/8")));
    }

    proptest! {
        /// Every bar of any groups comes round, its bar line is the strongest place of it, what it is
        /// shown as is read as the same, and one group is what a bar without groups is.
        #[test]
        fn a_bar_of_any_groups_comes_round_and_begins_strongest(
            groups in prop::collection::vec(1..8_u32, 1..8),
            power in 1..6_u32,
            bars in -9..9_i32,
            sixteenth in 0..400_u32,
        ) {
            let metre = Metre::grouped(groups.iter().copied(), 1 << power).unwrap();
            prop_assert_eq!(metre.groups().collect::<Vec<_>>(), groups.clone());
            prop_assert_eq!(Metre::from_text(&metre.to_string(), Metre::COMMON), Ok(metre));
            let at = f64::from(sixteenth) / 4.0;
            let later = at + f64::from(bars) * metre.bar();
            prop_assert_eq!(metre.accent(at), metre.accent(later));
            prop_assert_eq!(metre.weight(at), metre.weight(later));
            prop_assert_eq!(metre.strength(at), metre.strength(later));
            prop_assert!(metre.accent(at) <= metre.accent(0.0));
            prop_assert!(metre.weight(at) <= metre.weight(0.0));
            let counted = (0..metre.beats_a_bar()).map(|beat| f64::from(beat) * metre.beat());
            let heads = counted.filter(|at| metre.strength(*at) > Strength::Beat).count();
            let all_counted = metre.beat() <= metre.pulse() + 1e-9 || groups.len() as u32 == metre.beats_a_bar();
            prop_assert!(heads == groups.len() || !all_counted);
        }
    }
}
