//! The order in which pitch classes turn as the amount of the fold grows.

use crate::mode::{Mode, PitchName, PitchSet};
use arrayvec::ArrayVec;

/// A pitch class that turns into another.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Turn {
    /// As the source writes it.
    pub from: PitchName,
    /// As the target, beside the source, writes it. Where the modes differ in size, a pitch class
    /// may turn differently in another octave: this is how it turns in the phrase's lowest.
    pub to: PitchName,
}

impl Turn {
    /// The pitch class that turns, 0 (C) ..= 11 (B).
    pub fn pitch_class(&self) -> u8 {
        self.from.pitch_class()
    }
}

/// The turns of the pitch classes in `turning`, the least distant first; `into` tells for each
/// pitch class which one it becomes.
///
/// Distance is how far the new pitch, as it is written, lies outside the stretch that the source
/// takes up on the line of fifths. So D Dorian reaches D Phrygian by way of D Aeolian: B turns
/// into B♭, then E into E♭. Of those equally far, the lower degree turns first, and a pitch from
/// outside the source last.
pub(super) fn order(
    source: &Mode,
    target: &Mode,
    turning: PitchSet,
    into: [u8; 12],
) -> ArrayVec<Turn, 12> {
    let source_line = source.line(source.tonic_name());
    let target_line = target.line(tonic_beside(source, target));
    let stretch = Stretch::of(source, &source_line);
    let mut turns: ArrayVec<Turn, 12> = turning
        .iter()
        .map(usize::from)
        .map(|pitch_class| Turn {
            from: source_line[pitch_class],
            to: target_line[usize::from(into[pitch_class])],
        })
        .collect();
    turns.sort_unstable_by_key(|turn| {
        let degree = source.degree(turn.pitch_class());
        let outside = stretch.distance(turn.to);
        (outside, degree.unwrap_or(usize::MAX), turn.pitch_class())
    });
    for turn in &mut turns {
        turn.from = turn.from.without_doubles();
        turn.to = turn.to.without_doubles();
    }
    turns
}

/// The name of the target's tonic that fits the source's spelling: the same name for the same
/// tonic, else the one whose mode as a whole lies closest on the line of fifths (then the one
/// whose tonic does, then the flatter).
pub(super) fn tonic_beside(source: &Mode, target: &Mode) -> PitchName {
    let source_tonic = source.tonic_name();
    if source.tonic() == target.tonic() {
        return source_tonic;
    }
    let middle_of_source = Middle::of(source, source_tonic);
    let neutral = PitchName::neutral(target.tonic()).fifths();
    [neutral - 12, neutral, neutral + 12]
        .map(PitchName::at)
        .into_iter()
        .min_by_key(|tonic| {
            let between_tonics = tonic.fifths() - source_tonic.fifths();
            let between_middles = Middle::of(target, *tonic).distance(&middle_of_source);
            (between_middles, between_tonics.abs(), tonic.fifths())
        })
        .unwrap_or(source_tonic)
}

/// The mean place of a mode's pitches on the line of fifths, as a fraction.
struct Middle {
    sum: i32,
    count: i32,
}

impl Middle {
    fn of(mode: &Mode, tonic: PitchName) -> Self {
        let line = mode.line(tonic);
        let members = mode.pitch_classes().iter();
        Self {
            sum: members
                .map(|member| line[usize::from(member)].fifths())
                .sum(),
            count: mode.size() as i32,
        }
    }

    /// In parts that are the same for any two modes of these sizes, so that no rounding decides.
    fn distance(&self, other: &Self) -> i32 {
        (self.sum * other.count - other.sum * self.count).abs()
    }
}

/// From the flattest to the sharpest pitch of a mode, on the line of fifths.
struct Stretch {
    flattest: i32,
    sharpest: i32,
}

impl Stretch {
    fn of(mode: &Mode, line: &[PitchName; 12]) -> Self {
        let places = || {
            let members = mode.pitch_classes().iter();
            members.map(|member| line[usize::from(member)].fifths())
        };
        Self {
            flattest: places().min().unwrap_or(0),
            sharpest: places().max().unwrap_or(0),
        }
    }

    /// How far `name` lies outside; 0 inside.
    fn distance(&self, name: PitchName) -> i32 {
        let place = name.fifths();
        (self.flattest - place).max(place - self.sharpest).max(0)
    }
}
