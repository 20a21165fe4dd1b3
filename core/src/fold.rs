//! Folding: moving pitches into the target mode.

mod order;
mod source;

pub use order::Turn;
pub use source::{counted_in, detect_source, detect_source_mode, detect_source_tonic, source};

use crate::mode::{Mode, PitchName, PitchSet, Place};
use crate::note::Key;
use crate::phrase::Phrase;
use crate::settings::{FoldKind, FoldSettings};
use arrayvec::ArrayVec;

/// Where every key goes, for one phrase and one setting of the fold.
///
/// By degree, a pitch on some degree of the source goes to the same degree of the target. The
/// target's tonic is the one nearest to the source's; at a tritone it lies above if its pitch
/// class is the greater number, and below if not, so that there and back again is the identity.
/// If the two modes differ in size, degrees are counted along the mode from the source tonic at or
/// below the phrase's lowest note (at or below middle C if there is none), and a source that is left open is widened first, see
/// [`counted_in`]. A pitch outside the
/// source keeps its distance above the degree below it; where that leaves the target, it goes on
/// to the nearest pitch of the target, ties downward.
///
/// Nearest, a pitch goes to the closest pitch of the target, ties downward; notes that are in the
/// target stay.
///
/// The pitch classes that differ turn one after another as the amount grows, see [`Self::order`];
/// at 0 nothing has moved, not even a transposition. A pitch class that is in neither the source
/// nor the phrase turns with the degree below it, or, where that stays or the fold is to the
/// nearest, with the last of them.
///
/// # Real-time
/// Allocates never, blocks never, and is bounded: 128 keys and the notes of the phrase. Any
/// settings will do: tonics count modulo the octave, an amount out of range is brought into it,
/// NaN is 0, an empty custom set is the chromatic scale.
#[derive(Clone, Debug, PartialEq)]
pub struct FoldMap {
    /// Where every key goes once it has turned.
    goals: [Key; 128],
    /// How many pitch classes have turned when it does, 0 being as soon as anything may.
    turns_with: [u8; 128],
    source: Mode,
    target: Mode,
    order: ArrayVec<Turn, 12>,
    moved: usize,
    /// Whether the amount is more than nothing.
    begun: bool,
    /// Whether it moves pitches at all.
    leads: bool,
}

impl FoldMap {
    /// The map for these settings; the phrase tells the source mode if it is to be found.
    pub fn new(settings: &FoldSettings, phrase: &Phrase) -> Self {
        let target = Mode::named(settings.target_tonic, settings.target_mode, settings.custom);
        let source = match settings.fold {
            FoldKind::ByDegree => counted_in(settings, phrase, &target),
            FoldKind::Off | FoldKind::Nearest => source(settings, phrase),
        };
        let whole = Self::between((source, target), settings.fold, Played::of(phrase));
        // NaN, clamped, is NaN still, and 0 as a whole number.
        let amount = settings.amount.clamp(0.0, 1.0);
        Self {
            moved: (amount * whole.order.len() as f64).round() as usize,
            begun: amount > 0.0,
            ..whole
        }
    }

    /// The map from one mode into another, at the full amount.
    pub fn between((source, target): (Mode, Mode), fold: FoldKind, played: Played) -> Self {
        let whole = Whole::new(fold, &source, &target, played.lowest);
        let turning = whole.turning(source.pitch_classes(), played.pitch_classes);
        let order = order::order(&source, &target, turning, whole.turns_into);
        // For each pitch class that leads, once and not for every key it leads: the audio thread waits.
        let mut turns_with = [order.len() as u8; 12];
        for (turned, turn) in (1..).zip(&order) {
            turns_with[usize::from(turn.pitch_class())] = turned;
        }
        Self {
            goals: std::array::from_fn(|key| Key::by_octave(whole.goals[key])),
            turns_with: whole.leaders.map(|leader| turns_with[usize::from(leader)]),
            source,
            target,
            moved: order.len(),
            begun: true,
            leads: fold != FoldKind::Off,
            order,
        }
    }

    /// Where `key` goes.
    pub fn key(&self, key: Key) -> Key {
        if self.begun {
            self.key_when(key, self.moved)
        } else {
            key
        }
    }

    /// Where `key` goes when that many pitch classes have turned.
    pub fn key_when(&self, key: Key, moved: usize) -> Key {
        let index = usize::from(key.number());
        if usize::from(self.turns_with[index]) <= moved {
            self.goals[index]
        } else {
            key
        }
    }

    /// The mode that the phrase is heard in: as set, or as found; by degree, the one its degrees
    /// are counted in ([`counted_in`]). Also when the fold is off.
    pub fn source(&self) -> Mode {
        self.source
    }

    /// The mode that pitches move into. Also when the fold is off.
    pub fn target(&self) -> Mode {
        self.target
    }

    /// How the target's tonic is best written beside the source: B♭ Lydian turns into B♭ Locrian,
    /// which by itself would be called A♯ Locrian. For [`Mode::name_on`].
    pub fn target_tonic_name(&self) -> PitchName {
        order::tonic_beside(&self.source, &self.target)
    }

    /// The mode that is in force when that many pitch classes have turned: on the way, the source
    /// with those turned that have, on the source's tonic.
    pub fn mode_when(&self, moved: usize) -> Mode {
        const MIDDLE_C: i32 = 60;
        if !(self.leads && self.begun) {
            return self.source;
        }
        if moved >= self.order.len() {
            return self.target;
        }
        let turned = |pitch_class| Key::by_octave(MIDDLE_C + i32::from(pitch_class));
        let members = self.source.pitch_classes().iter();
        let members = members.map(|member| self.key_when(turned(member), moved).pitch_class());
        let members: PitchSet = members.collect();
        let tonic = self.source.tonic();
        Mode::new(tonic, members.transposed(-i32::from(tonic)))
    }

    /// The pitch classes that differ, in the order in which they turn: from the least to the most
    /// distant on the circle of fifths. None when the fold is off.
    pub fn order(&self) -> &[Turn] {
        &self.order
    }

    /// How many of [`Self::differing`] have turned at this amount.
    pub fn moved(&self) -> usize {
        self.moved
    }

    /// How many pitch classes differ.
    pub fn differing(&self) -> usize {
        self.order.len()
    }
}

/// What a fold has to know of the music it moves.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Played {
    pitch_classes: PitchSet,
    /// Key number.
    lowest: u8,
}

impl Played {
    /// The pitches of `phrase`; those around middle C if it has none.
    pub fn of(phrase: &Phrase) -> Self {
        Self::through(phrase, |key| key)
    }

    /// The pitches of `phrase` after each has gone where `goes` says.
    pub fn through(phrase: &Phrase, goes: impl Fn(Key) -> Key) -> Self {
        const MIDDLE_C: u8 = 60;
        let keys = || phrase.notes().iter().map(|note| goes(note.key));
        Self {
            pitch_classes: keys().map(Key::pitch_class).collect(),
            lowest: keys().map(Key::number).min().unwrap_or(MIDDLE_C),
        }
    }
}

/// Where every key goes once all of them have turned.
struct Whole {
    /// Key numbers, not yet brought back into MIDI's range.
    goals: [i32; 128],
    /// For each key, the pitch class it turns with.
    leaders: [u8; 128],
    /// Pitch classes of which some key moves.
    differing: PitchSet,
    /// For each pitch class, the one it becomes; in the phrase's lowest octave, if that matters.
    turns_into: [u8; 12],
}

impl Whole {
    fn new(fold: FoldKind, source: &Mode, target: &Mode, lowest: u8) -> Self {
        let degrees = Degrees::new(source, target, lowest);
        let goal = |key, place| match fold {
            FoldKind::Off => key,
            FoldKind::ByDegree => nearest(target, degrees.goal(place)),
            FoldKind::Nearest => nearest(target, key),
        };
        let places: [Place; 128] = std::array::from_fn(|key| degrees.place(key as i32));
        let goals: [i32; 128] = std::array::from_fn(|key| goal(key as i32, places[key]));
        let differing: PitchSet = (0..128)
            .filter(|key| goals[usize::from(*key)] != i32::from(*key))
            .collect();
        let leaders = std::array::from_fn(|key| {
            let own = (key % 12) as u8;
            let below = (key as i32 - places[key].above).rem_euclid(12) as u8;
            if fold == FoldKind::ByDegree && differing.contains(below) {
                below
            } else {
                own
            }
        });
        Self {
            goals,
            leaders,
            differing,
            turns_into: std::array::from_fn(|pitch_class| {
                let lowest = degrees.lowest(pitch_class as u8);
                goal(lowest, degrees.place(lowest)).rem_euclid(12) as u8
            }),
        }
    }

    fn leader(&self, key: u8) -> u8 {
        self.leaders[usize::from(key)]
    }

    /// The pitch classes that turn in their own time: those of the source that differ, and those
    /// that are played outside it and follow none of its degrees.
    fn turning(&self, source: PitchSet, played: PitchSet) -> PitchSet {
        source
            .union(played)
            .intersection(self.differing)
            .iter()
            .filter(|pitch_class| self.leader(*pitch_class) == *pitch_class)
            .collect()
    }
}

/// The way from the source to the target, degree by degree.
struct Degrees<'a> {
    source: &'a Mode,
    target: &'a Mode,
    /// The key number from which the source's degrees are counted; may lie below 0.
    source_tonic: i32,
    /// The key number from which the target's are.
    target_tonic: i32,
}

impl<'a> Degrees<'a> {
    fn new(source: &'a Mode, target: &'a Mode, lowest: u8) -> Self {
        let lowest = i32::from(lowest);
        let source_tonic = lowest - (lowest - i32::from(source.tonic())).rem_euclid(12);
        Self {
            source,
            target,
            source_tonic,
            target_tonic: source_tonic + way_between(source.tonic(), target.tonic()),
        }
    }

    /// Where `number` stands in the source.
    fn place(&self, number: i32) -> Place {
        self.source.place(number - self.source_tonic)
    }

    /// Where what stands there goes, a pitch outside the source by its distance above the degree
    /// below.
    fn goal(&self, place: Place) -> i32 {
        self.target_tonic + self.target.height(place.degree) + place.above
    }

    /// The number of that pitch class at or above the source tonic.
    fn lowest(&self, pitch_class: u8) -> i32 {
        self.source_tonic + (i32::from(pitch_class) - self.source_tonic).rem_euclid(12)
    }
}

/// Semitones from one tonic to the nearest of the other, -6 ..= 6. A tritone is not brought to
/// one side: it leads up from the lower number and back down, so the way back is the same way.
fn way_between(from: u8, to: u8) -> i32 {
    match i32::from(to) - i32::from(from) {
        up if up > 6 => up - 12,
        down if down < -6 => down + 12,
        way => way,
    }
}

/// The pitch of the mode closest to `number`, ties downward.
fn nearest(mode: &Mode, number: i32) -> i32 {
    let pitch_classes = mode.pitch_classes();
    let belongs = |number: &i32| pitch_classes.contains(number.rem_euclid(12) as u8);
    (0..=6)
        .find_map(|distance| {
            [number - distance, number + distance]
                .into_iter()
                .find(belongs)
        })
        // Not reached: a mode is never empty, so one of its pitches is at most a tritone away.
        .unwrap_or(number)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_way_to_a_tonic_is_short_and_the_same_back() {
        assert_eq!(way_between(2, 9), -5);
        assert_eq!(way_between(9, 2), 5);
        assert_eq!(way_between(7, 6), -1);
        for from in 0..12 {
            for to in 0..12 {
                let way = way_between(from, to);
                assert_eq!(way, -way_between(to, from));
                assert!((-6..=6).contains(&way));
                assert_eq!((i32::from(from) + way).rem_euclid(12), i32::from(to));
            }
        }
    }

    #[test]
    fn nearest_goes_round_the_octave_and_down_at_a_tie() {
        let triad = Mode::new(0, PitchSet::of(&[0, 4, 7]));
        assert_eq!(nearest(&triad, 71), 72);
        assert_eq!(nearest(&triad, 70), 72);
        assert_eq!(nearest(&triad, 62), 60);
        assert_eq!(nearest(&triad, 67), 67);
        let one = Mode::new(0, PitchSet::of(&[0]));
        assert_eq!(nearest(&one, 66), 60);
    }
}
