//! Modes: a tonic and an ascending set of semitone steps above it.

mod names;
mod pitch_set;
mod spelling;

pub use names::ModeName;
pub use pitch_set::PitchSet;
pub use spelling::{PitchName, Spelling};

use crate::note::Key;

/// A tonic pitch class and the semitones above it that belong.
///
/// It always has at least one pitch. Steps need not contain 0: a composer's own set may avoid its
/// tonic. Degrees are counted from 0, the lowest step at or above the tonic.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Mode {
    tonic: u8,
    steps: PitchSet,
}

/// Where a pitch stands in a mode.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Place {
    /// The degree at or below it, counted along the mode through the octaves: in a mode of seven
    /// notes, 7 is the tonic an octave up and -1 the note below the tonic.
    pub degree: i32,
    /// Semitones above that degree; 0 for a pitch of the mode.
    pub above: i32,
}

impl Mode {
    /// The mode of those steps on that tonic. A tonic beyond 11 is taken modulo the octave; from
    /// no steps at all the chromatic scale is made, so that folding always has somewhere to go.
    pub fn new(tonic: u8, steps: PitchSet) -> Self {
        let steps = if steps.is_empty() {
            PitchSet::CHROMATIC
        } else {
            steps
        };
        Self {
            tonic: tonic % 12,
            steps,
        }
    }

    /// The mode of that name on that tonic; `custom` is what [`ModeName::Custom`] stands for.
    pub fn named(tonic: u8, name: ModeName, custom: PitchSet) -> Self {
        Self::new(tonic, name.steps().unwrap_or(custom))
    }

    /// 0 (C) ..= 11 (B).
    pub fn tonic(&self) -> u8 {
        self.tonic
    }

    /// The semitones above the tonic.
    pub fn steps(&self) -> PitchSet {
        self.steps
    }

    /// How many notes an octave holds, 1 ..= 12.
    pub fn size(&self) -> usize {
        self.steps.len()
    }

    /// The pitch classes, 0 = C.
    pub fn pitch_classes(&self) -> PitchSet {
        self.steps.transposed(i32::from(self.tonic))
    }

    /// Whether `key` is a note of the mode.
    pub fn contains(&self, key: Key) -> bool {
        self.pitch_classes().contains(key.pitch_class())
    }

    /// Which degree the pitch class is, counted from 0, if it belongs.
    pub fn degree(&self, pitch_class: u8) -> Option<usize> {
        self.steps.position(pitch_class % 12 + 12 - self.tonic)
    }

    /// Where a pitch `above_tonic` semitones above (below, if negative) a tonic stands.
    pub fn place(&self, above_tonic: i32) -> Place {
        let octave = above_tonic.div_euclid(12);
        let step = above_tonic.rem_euclid(12) as u8;
        let up_to_step = self.steps.below(step) + usize::from(self.steps.contains(step));
        // Below the lowest step it stands above the highest of the octave before.
        let below = match self.steps.at_or_below(step) {
            Some(below) => i32::from(below),
            None => i32::from(self.steps.highest().unwrap_or(0)) - 12,
        };
        Place {
            degree: octave * self.size() as i32 + up_to_step as i32 - 1,
            above: i32::from(step) - below,
        }
    }

    /// Semitones from a tonic up to a degree, counted along the mode through the octaves.
    pub fn height(&self, degree: i32) -> i32 {
        let size = self.size() as i32;
        let within = degree.rem_euclid(size) as usize;
        let step = self.steps.nth(within).unwrap_or(0);
        degree.div_euclid(size) * 12 + i32::from(step)
    }

    /// The pitch `degrees` further up the mode (down, if negative), in semitones above a tonic as
    /// `above_tonic` is; one from outside the mode keeps its distance above the degree below it.
    ///
    /// This is what musicians call a tonal, or diatonic, transposition (common practice, no source).
    pub fn transposed(&self, above_tonic: i32, degrees: i32) -> i32 {
        let place = self.place(above_tonic);
        self.height(place.degree + degrees) + place.above
    }

    /// The pitch that lies as many degrees below `axis` as `above_tonic` lies above it, both in
    /// semitones above a tonic. What is raised comes out lowered; the axis stays where it is.
    ///
    /// This is what musicians call a tonal inversion (common practice, no source).
    pub fn inverted(&self, above_tonic: i32, axis: i32) -> i32 {
        let (place, axis) = (self.place(above_tonic), self.place(axis));
        self.height(2 * axis.degree - place.degree) + 2 * axis.above - place.above
    }

    /// The sum of the semitones above the tonic: of two modes of one size the brighter has more.
    /// (Persichetti, Twentieth-Century Harmony, 1961, ch. 2, orders the diatonic modes so.)
    pub fn brightness(&self) -> u32 {
        self.steps.iter().map(u32::from).sum()
    }

    /// Such as "D Dorian" or "A harmonic minor". Allocates: for the window and files.
    pub fn name(&self) -> String {
        self.name_on(self.tonic_name())
    }

    /// The same with the tonic written as given.
    pub fn name_on(&self, tonic: PitchName) -> String {
        let name = ModeName::of(self.steps).unwrap_or(ModeName::Custom);
        format!("{tonic} {}", name.after_tonic())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mode(tonic: u8, name: ModeName) -> Mode {
        Mode::named(tonic, name, PitchSet::CHROMATIC)
    }

    #[test]
    fn degrees_run_on_through_the_octaves() {
        let dorian = mode(2, ModeName::Dorian);
        for degree in -30..30 {
            let on = Place { degree, above: 0 };
            assert_eq!(dorian.place(dorian.height(degree)), on);
        }
        assert_eq!(dorian.height(7), 12);
        assert_eq!(dorian.height(-1), -2);
    }

    #[test]
    fn a_pitch_outside_stands_above_the_degree_below_it() {
        let dorian = mode(2, ModeName::Dorian);
        let raised_third = Place {
            degree: 2,
            above: 1,
        };
        assert_eq!(dorian.place(4), raised_third);
        let under_the_tonic = Place {
            degree: -1,
            above: 1,
        };
        assert_eq!(dorian.place(-1), under_the_tonic);
    }

    #[test]
    fn a_set_may_avoid_its_own_tonic() {
        let open = Mode::new(0, PitchSet::of(&[2, 7]));
        assert_eq!(open.place(2).degree, 0);
        assert_eq!(
            open.place(0),
            Place {
                degree: -1,
                above: 5
            }
        );
        assert_eq!(open.degree(0), None);
        assert_eq!(open.degree(7), Some(1));
    }

    #[test]
    fn no_steps_and_a_strange_tonic_still_make_a_mode() {
        assert_eq!(Mode::new(255, PitchSet::EMPTY).size(), 12);
        assert_eq!(Mode::new(255, PitchSet::EMPTY).tonic(), 3);
    }

    #[test]
    fn a_degree_is_found_by_its_pitch_class() {
        let dorian = mode(2, ModeName::Dorian);
        assert_eq!(dorian.degree(2), Some(0));
        assert_eq!(dorian.degree(0), Some(6));
        assert_eq!(dorian.degree(1), None);
    }

    #[test]
    fn names_read_as_a_musician_writes_them() {
        assert_eq!(mode(2, ModeName::Dorian).name(), "D Dorian");
        assert_eq!(mode(9, ModeName::HarmonicMinor).name(), "A harmonic minor");
        assert_eq!(mode(10, ModeName::Lydian).name(), "B♭ Lydian");
        assert_eq!(mode(6, ModeName::Aeolian).name(), "F♯ Aeolian");
        assert_eq!(Mode::new(3, PitchSet::of(&[0, 6])).name(), "E♭ custom");
    }
}
