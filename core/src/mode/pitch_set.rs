//! A set of pitch classes, or of semitones above a tonic.

/// Any of the twelve: bit `n` stands for pitch class (or semitone) `n`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct PitchSet(u16);

impl PitchSet {
    /// None.
    pub const EMPTY: Self = Self(0);

    /// All twelve.
    pub const CHROMATIC: Self = Self(0xFFF);

    /// Those listed, in any order, each taken modulo the octave.
    pub const fn of(members: &[u8]) -> Self {
        let mut set = Self::EMPTY;
        let mut index = 0;
        // `for` is not allowed in a const fn.
        while index < members.len() {
            set = set.with(members[index]);
            index += 1;
        }
        set
    }

    /// From the lowest twelve bits, as [`Self::bits`] gives them; others are left out.
    pub const fn from_bits(bits: u16) -> Self {
        Self(bits & Self::CHROMATIC.0)
    }

    /// Bit `n` for member `n`: for the saved state.
    pub const fn bits(self) -> u16 {
        self.0
    }

    /// This set and one more member, taken modulo the octave.
    pub const fn with(self, member: u8) -> Self {
        Self(self.0 | 1 << (member % 12))
    }

    /// Adds a member, taken modulo the octave.
    pub fn insert(&mut self, member: u8) {
        *self = self.with(member);
    }

    /// Whether `member`, taken modulo the octave, is in.
    pub const fn contains(self, member: u8) -> bool {
        self.0 & 1 << (member % 12) != 0
    }

    /// How many, 0 ..= 12.
    pub const fn len(self) -> usize {
        self.0.count_ones() as usize
    }

    /// Whether there is none.
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// The members in ascending order.
    pub fn iter(self) -> impl Iterator<Item = u8> {
        // From bit to bit: folds ask for members by the thousand, and the audio thread waits.
        let rest = |set: &Self| Some(Self(set.0 & (set.0 - 1))).filter(|set| !set.is_empty());
        std::iter::successors(Some(self).filter(|set| !set.is_empty()), rest)
            .map(|set| set.0.trailing_zeros() as u8)
    }

    /// The member with `index` smaller ones below it.
    pub fn nth(self, index: usize) -> Option<u8> {
        self.iter().nth(index)
    }

    /// How many smaller ones lie below `member` (taken modulo the octave), if it is in.
    pub fn position(self, member: u8) -> Option<usize> {
        self.contains(member).then(|| self.below(member))
    }

    /// How many lie below `member` (taken modulo the octave), whether it is in or not.
    pub const fn below(self, member: u8) -> usize {
        Self(self.0 & ((1 << (member % 12)) - 1)).len()
    }

    /// The greatest member that is no greater than `number`, if there is one.
    pub fn at_or_below(self, number: u8) -> Option<u8> {
        let up_to = Self(self.0 & ((2 << number.min(11)) - 1));
        up_to.highest()
    }

    /// The greatest member.
    pub fn highest(self) -> Option<u8> {
        self.0.checked_ilog2().map(|member| member as u8)
    }

    /// What is in either.
    pub const fn union(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// What is in both: the common tones.
    pub const fn intersection(self, other: Self) -> Self {
        Self(self.0 & other.0)
    }

    /// What is in this one only.
    pub const fn without(self, other: Self) -> Self {
        Self(self.0 & !other.0)
    }

    /// Whether all of it is in `other`.
    pub const fn is_subset_of(self, other: Self) -> bool {
        self.without(other).is_empty()
    }

    /// All moved up by `semitones` (down, if negative), round the octave.
    pub const fn transposed(self, semitones: i32) -> Self {
        let up = semitones.rem_euclid(12);
        Self::from_bits(self.0 << up | self.0 >> (12 - up))
    }
}

impl FromIterator<u8> for PitchSet {
    fn from_iter<I: IntoIterator<Item = u8>>(members: I) -> Self {
        members.into_iter().fold(Self::EMPTY, Self::with)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_set_lists_its_members_upwards() {
        let set: PitchSet = [7, 0, 16, 4].into_iter().collect();
        assert_eq!(set.iter().collect::<Vec<_>>(), [0, 4, 7]);
        assert_eq!(set, PitchSet::of(&[0, 4, 7]));
        assert_eq!((set.nth(1), set.nth(3)), (Some(4), None));
        assert_eq!((set.position(7), set.position(8)), (Some(2), None));
        assert_eq!(
            [0, 1, 5, 7, 8, 11].map(|n| set.below(n)),
            [0, 1, 2, 2, 3, 3]
        );
        let lowest = PitchSet::of(&[4, 7]);
        assert_eq!(
            [3, 4, 6, 7, 11].map(|n| lowest.at_or_below(n)),
            [None, Some(4), Some(4), Some(7), Some(7)]
        );
        assert_eq!(
            (lowest.highest(), PitchSet::EMPTY.highest()),
            (Some(7), None)
        );
    }

    #[test]
    fn transposing_goes_round_the_octave() {
        let triad = PitchSet::of(&[0, 4, 7]);
        assert_eq!(triad.transposed(7), PitchSet::of(&[7, 11, 2]));
        assert_eq!(triad.transposed(-5), triad.transposed(7));
        assert_eq!(triad.transposed(24), triad);
    }

    #[test]
    fn sets_combine() {
        let (low, high) = (PitchSet::of(&[0, 2, 4]), PitchSet::of(&[4, 5]));
        assert_eq!(low.union(high), PitchSet::of(&[0, 2, 4, 5]));
        assert_eq!(low.intersection(high), PitchSet::of(&[4]));
        assert_eq!(low.without(high), PitchSet::of(&[0, 2]));
        assert!(low.is_subset_of(PitchSet::CHROMATIC) && !low.is_subset_of(high));
    }

    #[test]
    fn stray_bits_of_a_damaged_file_are_left_out() {
        assert_eq!(PitchSet::from_bits(u16::MAX), PitchSet::CHROMATIC);
        assert_eq!(
            PitchSet::from_bits(PitchSet::of(&[3, 11]).bits()).bits(),
            0b1000_0000_1000
        );
    }
}
