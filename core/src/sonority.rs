//! Sonorities: the pitch classes that sound together, and what a musician calls them.

use crate::mode::{Mode, ModeName, PitchName, PitchSet};
use crate::note::Key;

/// The set of pitch classes sounding within a cycle.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Sonority {
    /// 0 = C.
    pub pitch_classes: PitchSet,
}

/// Chords by their semitones above the root, in the order in which they are thought of: where one
/// set is two chords, the earlier one names it. Common practice, no source.
const CHORDS: [(PitchSet, &str); 25] = [
    (PitchSet::of(&[0, 4, 7]), "major"),
    (PitchSet::of(&[0, 3, 7]), "minor"),
    (PitchSet::of(&[0, 3, 6]), "diminished"),
    (PitchSet::of(&[0, 4, 8]), "augmented"),
    (PitchSet::of(&[0, 5, 7]), "suspended fourth"),
    (PitchSet::of(&[0, 2, 7]), "suspended second"),
    (PitchSet::of(&[0, 4, 7, 10]), "dominant seventh"),
    (PitchSet::of(&[0, 4, 7, 11]), "major seventh"),
    (PitchSet::of(&[0, 3, 7, 10]), "minor seventh"),
    (PitchSet::of(&[0, 3, 7, 11]), "minor with major seventh"),
    (PitchSet::of(&[0, 3, 6, 10]), "half-diminished seventh"),
    (PitchSet::of(&[0, 3, 6, 9]), "diminished seventh"),
    (PitchSet::of(&[0, 4, 8, 10]), "augmented seventh"),
    (PitchSet::of(&[0, 4, 8, 11]), "augmented major seventh"),
    (PitchSet::of(&[0, 5, 7, 10]), "seventh, suspended fourth"),
    (PitchSet::of(&[0, 4, 7, 9]), "sixth"),
    (PitchSet::of(&[0, 3, 7, 9]), "minor sixth"),
    (PitchSet::of(&[0, 2, 4, 7]), "added ninth"),
    (PitchSet::of(&[0, 2, 3, 7]), "minor, added ninth"),
    (PitchSet::of(&[0, 2, 4, 7, 10]), "dominant ninth"),
    (PitchSet::of(&[0, 2, 4, 7, 11]), "major ninth"),
    (PitchSet::of(&[0, 2, 3, 7, 10]), "minor ninth"),
    (PitchSet::of(&[0, 1, 4, 7, 10]), "seventh, flat ninth"),
    (PitchSet::of(&[0, 3, 4, 7, 10]), "seventh, sharp ninth"),
    (PitchSet::of(&[0, 7]), "open fifth"),
];

impl Sonority {
    /// What these keys make together.
    pub fn of(keys: impl IntoIterator<Item = Key>) -> Self {
        Self {
            pitch_classes: keys.into_iter().map(Key::pitch_class).collect(),
        }
    }

    /// In plain words: the mode it is exactly ("D Dorian"), else the chord ("C minor seventh"),
    /// else its pitches ("4 pitches: D E♭ F F♯").
    ///
    /// `heard_in` is the mode the music is in, if one is known. Its tonic comes first wherever a
    /// set may be heard in several ways, and its spelling holds. Without it modes and roots are
    /// tried from C upwards. Allocates: for the window and files.
    pub fn name(self, heard_in: Option<&Mode>) -> String {
        if self.pitch_classes.is_empty() {
            return "silence".to_owned();
        }
        if self.pitch_classes == PitchSet::CHROMATIC {
            return "all twelve pitches".to_owned();
        }
        self.as_mode(heard_in)
            .or_else(|| self.as_chord(heard_in))
            .unwrap_or_else(|| self.as_pitches(heard_in))
    }

    fn as_mode(self, heard_in: Option<&Mode>) -> Option<String> {
        let is_this = |mode: &Mode| mode.pitch_classes() == self.pitch_classes;
        if let Some(mode) = heard_in.filter(|mode| is_this(mode)) {
            return Some(mode.name());
        }
        let on = |tonic| ModeName::shipped().map(move |(_, steps)| Mode::new(tonic, steps));
        roots(heard_in)
            .flat_map(on)
            .find(is_this)
            .map(|mode| mode.name())
    }

    fn as_chord(self, heard_in: Option<&Mode>) -> Option<String> {
        let on_tonic = heard_in.and_then(|mode| self.chord_on(mode.tonic()));
        let anywhere = || {
            let chords = roots(heard_in).filter_map(|root| self.chord_on(root));
            chords.min_by_key(|chord| chord.rank)
        };
        let chord = on_tonic.or_else(anywhere)?;
        let root = match heard_in {
            Some(mode) => mode.spelling().name(chord.root),
            None => self.from(chord.root).tonic_name(),
        };
        Some(format!("{root} {}", CHORDS[chord.rank].1))
    }

    fn chord_on(self, root: u8) -> Option<Chord> {
        let above = self.pitch_classes.transposed(-i32::from(root));
        let rank = CHORDS.iter().position(|(chord, _)| *chord == above)?;
        Some(Chord { root, rank })
    }

    fn as_pitches(self, heard_in: Option<&Mode>) -> String {
        let spell = |pitch_class| match heard_in {
            Some(mode) => mode.spelling().name(pitch_class),
            None => PitchName::neutral(pitch_class),
        };
        let names: Vec<_> = roots(heard_in)
            .filter(|pitch_class| self.pitch_classes.contains(*pitch_class))
            .map(|pitch_class| spell(pitch_class).to_string())
            .collect();
        let pitches = if names.len() == 1 { "pitch" } else { "pitches" };
        format!("{} {pitches}: {}", names.len(), names.join(" "))
    }

    /// The sonority seen as steps above one of its pitches.
    fn from(self, root: u8) -> Mode {
        Mode::new(root, self.pitch_classes.transposed(-i32::from(root)))
    }
}

/// A root and the chord's number in the list.
struct Chord {
    root: u8,
    rank: usize,
}

/// All pitch classes upwards from the tonic of the mode, or from C.
fn roots(heard_in: Option<&Mode>) -> impl Iterator<Item = u8> {
    let first = heard_in.map_or(0, Mode::tonic);
    (0..12).map(move |step| (first + step) % 12)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sonority(pitch_classes: &[u8]) -> Sonority {
        Sonority {
            pitch_classes: PitchSet::of(pitch_classes),
        }
    }

    fn mode(tonic: u8, name: ModeName) -> Mode {
        Mode::named(tonic, name, PitchSet::CHROMATIC)
    }

    const WHITE: [u8; 7] = [0, 2, 4, 5, 7, 9, 11];

    #[test]
    fn keys_of_all_registers_make_one_sonority() {
        let keys = [36, 60, 64, 79].map(|number| Key::new(number).unwrap());
        assert_eq!(Sonority::of(keys), sonority(&[0, 4, 7]));
    }

    #[test]
    fn a_whole_mode_goes_by_the_name_it_is_heard_in() {
        let white = sonority(&WHITE);
        let dorian = mode(2, ModeName::Dorian);
        assert_eq!(white.name(Some(&dorian)), "D Dorian");
        // The mode is another one, but its tonic still speaks.
        let minor = mode(9, ModeName::HarmonicMinor);
        assert_eq!(white.name(Some(&minor)), "A Aeolian");
        assert_eq!(white.name(None), "C Ionian");
    }

    #[test]
    fn a_mode_of_the_composers_own_is_known_by_its_tonic() {
        let own = Mode::new(2, PitchSet::of(&[0, 1, 6, 8]));
        assert_eq!(sonority(&[2, 3, 8, 10]).name(Some(&own)), "D custom");
    }

    #[test]
    fn chords_go_by_root_and_kind() {
        let chords: [(&[u8], &str); 8] = [
            (&[0, 4, 7], "C major"),
            (&[1, 4, 8], "C♯ minor"),
            (&[1, 5, 8], "D♭ major"),
            (&[0, 4, 7, 10], "C dominant seventh"),
            (&[11, 2, 5, 9], "B half-diminished seventh"),
            (&[0, 2, 7], "G suspended fourth"),
            (&[0, 4, 7, 9], "A minor seventh"),
            (&[2, 9], "D open fifth"),
        ];
        for (pitch_classes, name) in chords {
            assert_eq!(sonority(pitch_classes).name(None), name);
        }
    }

    #[test]
    fn a_chord_of_two_names_takes_the_tonic_as_its_root() {
        let ionian = mode(0, ModeName::Ionian);
        assert_eq!(sonority(&[0, 4, 7, 9]).name(Some(&ionian)), "C sixth");
        assert_eq!(
            sonority(&[0, 2, 7]).name(Some(&ionian)),
            "C suspended second"
        );
        let flat_side = mode(8, ModeName::Ionian);
        assert_eq!(sonority(&[1, 5, 8]).name(Some(&flat_side)), "D♭ major");
        assert_eq!(
            sonority(&[2, 5, 8, 11]).name(Some(&ionian)),
            "D diminished seventh"
        );
    }

    #[test]
    fn anything_else_lists_its_pitches_from_the_tonic_upwards() {
        let dorian = mode(2, ModeName::Dorian);
        let cluster = sonority(&[1, 2, 3, 5]);
        assert_eq!(cluster.name(Some(&dorian)), "4 pitches: D E♭ F C♯");
        assert_eq!(sonority(&[0, 1, 4, 6]).name(None), "4 pitches: C D♭ E F♯");
        assert_eq!(sonority(&[9]).name(None), "1 pitch: A");
        assert_eq!(sonority(&[]).name(None), "silence");
        let all = Sonority {
            pitch_classes: PitchSet::CHROMATIC,
        };
        assert_eq!(all.name(None), "all twelve pitches");
    }

    #[test]
    fn every_shipped_mode_is_recognised_on_its_own_tonic() {
        for (_, steps) in ModeName::shipped().filter(|(_, steps)| steps.len() < 12) {
            for tonic in 0..12 {
                let mode = Mode::new(tonic, steps);
                let heard = Sonority {
                    pitch_classes: mode.pitch_classes(),
                };
                assert_eq!(heard.name(Some(&mode)), mode.name());
            }
        }
    }

    #[test]
    fn no_chord_hides_behind_another_or_a_mode() {
        for (rank, (steps, name)) in CHORDS.iter().enumerate() {
            assert_eq!(ModeName::of(*steps), None, "{name}");
            let chord = Sonority {
                pitch_classes: *steps,
            };
            assert_eq!(chord.chord_on(0).unwrap().rank, rank, "{name}");
        }
    }
}
