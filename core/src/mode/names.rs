//! The modes that ship, by name.

use super::PitchSet;

/// The modes that ship, and one of the composer's own.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum ModeName {
    /// The major scale.
    Ionian,
    /// Minor with a raised sixth.
    #[default]
    Dorian,
    /// Minor with a lowered second.
    Phrygian,
    /// Major with a raised fourth.
    Lydian,
    /// Major with a lowered seventh.
    Mixolydian,
    /// Natural minor.
    Aeolian,
    /// Phrygian with a lowered fifth.
    Locrian,
    /// Melodic minor as it ascends.
    MelodicMinor,
    /// From the second degree of melodic minor.
    DorianFlat2,
    /// From its third degree.
    LydianAugmented,
    /// From its fourth degree.
    LydianDominant,
    /// From its fifth degree.
    MixolydianFlat6,
    /// From its sixth degree.
    LocrianNatural2,
    /// From its seventh degree.
    Altered,
    /// Natural minor with a raised seventh.
    HarmonicMinor,
    /// Major with a lowered sixth.
    HarmonicMajor,
    /// Major without its fourth and seventh.
    MajorPentatonic,
    /// Natural minor without its second and sixth.
    MinorPentatonic,
    /// Six whole steps.
    WholeTone,
    /// Half and whole steps in turn, a half step first.
    OctatonicHalfWhole,
    /// Whole and half steps in turn, a whole step first.
    OctatonicWholeHalf,
    /// The third mode of limited transposition: 4 distinct ones.
    LimitedTransposition3,
    /// The fourth: 6 distinct ones.
    LimitedTransposition4,
    /// The fifth: 6 distinct ones.
    LimitedTransposition5,
    /// The sixth: 6 distinct ones.
    LimitedTransposition6,
    /// The seventh: 6 distinct ones.
    LimitedTransposition7,
    /// All twelve.
    Chromatic,
    /// The composer's own set, kept beside this name.
    Custom,
}

impl ModeName {
    /// In the order of every list of them. Ids hang on it, so it is only ever added to.
    pub const ALL: [Self; 28] = [
        Self::Ionian,
        Self::Dorian,
        Self::Phrygian,
        Self::Lydian,
        Self::Mixolydian,
        Self::Aeolian,
        Self::Locrian,
        Self::MelodicMinor,
        Self::DorianFlat2,
        Self::LydianAugmented,
        Self::LydianDominant,
        Self::MixolydianFlat6,
        Self::LocrianNatural2,
        Self::Altered,
        Self::HarmonicMinor,
        Self::HarmonicMajor,
        Self::MajorPentatonic,
        Self::MinorPentatonic,
        Self::WholeTone,
        Self::OctatonicHalfWhole,
        Self::OctatonicWholeHalf,
        Self::LimitedTransposition3,
        Self::LimitedTransposition4,
        Self::LimitedTransposition5,
        Self::LimitedTransposition6,
        Self::LimitedTransposition7,
        Self::Chromatic,
        Self::Custom,
    ];

    /// Every mode with steps of its own: all but [`Self::Custom`].
    pub fn shipped() -> impl Iterator<Item = (Self, PitchSet)> {
        Self::ALL
            .into_iter()
            .filter_map(|name| Some((name, name.steps()?)))
    }

    /// Semitones above the tonic; [`Self::Custom`] has none of its own.
    ///
    /// The diatonic and minor modes are common practice; those of limited transposition are
    /// numbered as in Messiaen, Technique de mon langage musical (1944).
    pub const fn steps(self) -> Option<PitchSet> {
        let steps: &[u8] = match self {
            Self::Ionian => &[0, 2, 4, 5, 7, 9, 11],
            Self::Dorian => &[0, 2, 3, 5, 7, 9, 10],
            Self::Phrygian => &[0, 1, 3, 5, 7, 8, 10],
            Self::Lydian => &[0, 2, 4, 6, 7, 9, 11],
            Self::Mixolydian => &[0, 2, 4, 5, 7, 9, 10],
            Self::Aeolian => &[0, 2, 3, 5, 7, 8, 10],
            Self::Locrian => &[0, 1, 3, 5, 6, 8, 10],
            Self::MelodicMinor => &[0, 2, 3, 5, 7, 9, 11],
            Self::DorianFlat2 => &[0, 1, 3, 5, 7, 9, 10],
            Self::LydianAugmented => &[0, 2, 4, 6, 8, 9, 11],
            Self::LydianDominant => &[0, 2, 4, 6, 7, 9, 10],
            Self::MixolydianFlat6 => &[0, 2, 4, 5, 7, 8, 10],
            Self::LocrianNatural2 => &[0, 2, 3, 5, 6, 8, 10],
            Self::Altered => &[0, 1, 3, 4, 6, 8, 10],
            Self::HarmonicMinor => &[0, 2, 3, 5, 7, 8, 11],
            Self::HarmonicMajor => &[0, 2, 4, 5, 7, 8, 11],
            Self::MajorPentatonic => &[0, 2, 4, 7, 9],
            Self::MinorPentatonic => &[0, 3, 5, 7, 10],
            Self::WholeTone => &[0, 2, 4, 6, 8, 10],
            Self::OctatonicHalfWhole => &[0, 1, 3, 4, 6, 7, 9, 10],
            Self::OctatonicWholeHalf => &[0, 2, 3, 5, 6, 8, 9, 11],
            Self::LimitedTransposition3 => &[0, 2, 3, 4, 6, 7, 8, 10, 11],
            Self::LimitedTransposition4 => &[0, 1, 2, 5, 6, 7, 8, 11],
            Self::LimitedTransposition5 => &[0, 1, 5, 6, 7, 11],
            Self::LimitedTransposition6 => &[0, 2, 4, 5, 6, 8, 10, 11],
            Self::LimitedTransposition7 => &[0, 1, 2, 3, 5, 6, 7, 8, 9, 11],
            Self::Chromatic => &[0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11],
            Self::Custom => return None,
        };
        Some(PitchSet::of(steps))
    }

    /// As it stands in a list.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Ionian => "Ionian",
            Self::Dorian => "Dorian",
            Self::Phrygian => "Phrygian",
            Self::Lydian => "Lydian",
            Self::Mixolydian => "Mixolydian",
            Self::Aeolian => "Aeolian",
            Self::Locrian => "Locrian",
            Self::MelodicMinor => "Melodic minor",
            Self::DorianFlat2 => "Dorian ♭2",
            Self::LydianAugmented => "Lydian augmented",
            Self::LydianDominant => "Lydian dominant",
            Self::MixolydianFlat6 => "Mixolydian ♭6",
            Self::LocrianNatural2 => "Locrian ♮2",
            Self::Altered => "Altered",
            Self::HarmonicMinor => "Harmonic minor",
            Self::HarmonicMajor => "Harmonic major",
            Self::MajorPentatonic => "Major pentatonic",
            Self::MinorPentatonic => "Minor pentatonic",
            Self::WholeTone => "Whole tone",
            Self::OctatonicHalfWhole => "Octatonic half-whole",
            Self::OctatonicWholeHalf => "Octatonic whole-half",
            Self::LimitedTransposition3 => "Limited transposition 3",
            Self::LimitedTransposition4 => "Limited transposition 4",
            Self::LimitedTransposition5 => "Limited transposition 5",
            Self::LimitedTransposition6 => "Limited transposition 6",
            Self::LimitedTransposition7 => "Limited transposition 7",
            Self::Chromatic => "Chromatic",
            Self::Custom => "Custom",
        }
    }

    /// As it is saved. Never changes: projects hang on it.
    pub const fn id(self) -> &'static str {
        match self {
            Self::Ionian => "ionian",
            Self::Dorian => "dorian",
            Self::Phrygian => "phrygian",
            Self::Lydian => "lydian",
            Self::Mixolydian => "mixolydian",
            Self::Aeolian => "aeolian",
            Self::Locrian => "locrian",
            Self::MelodicMinor => "melodic_minor",
            Self::DorianFlat2 => "dorian_flat_2",
            Self::LydianAugmented => "lydian_augmented",
            Self::LydianDominant => "lydian_dominant",
            Self::MixolydianFlat6 => "mixolydian_flat_6",
            Self::LocrianNatural2 => "locrian_natural_2",
            Self::Altered => "altered",
            Self::HarmonicMinor => "harmonic_minor",
            Self::HarmonicMajor => "harmonic_major",
            Self::MajorPentatonic => "major_pentatonic",
            Self::MinorPentatonic => "minor_pentatonic",
            Self::WholeTone => "whole_tone",
            Self::OctatonicHalfWhole => "octatonic_half_whole",
            Self::OctatonicWholeHalf => "octatonic_whole_half",
            Self::LimitedTransposition3 => "limited_transposition_3",
            Self::LimitedTransposition4 => "limited_transposition_4",
            Self::LimitedTransposition5 => "limited_transposition_5",
            Self::LimitedTransposition6 => "limited_transposition_6",
            Self::LimitedTransposition7 => "limited_transposition_7",
            Self::Chromatic => "chromatic",
            Self::Custom => "custom",
        }
    }

    /// The mode saved under that id.
    pub fn from_id(id: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|name| name.id() == id)
    }

    /// The mode a musician means by `text`: a name or id in any case, "b6" for "♭6", also "major"
    /// and "minor". Allocates: for typed values.
    pub fn from_text(text: &str) -> Option<Self> {
        let wanted = plain(text);
        let by_other_name = match wanted.as_str() {
            "major" => Some(Self::Ionian),
            "minor" | "naturalminor" => Some(Self::Aeolian),
            _ => None,
        };
        by_other_name.or_else(|| {
            Self::ALL
                .into_iter()
                .find(|name| plain(name.name()) == wanted || plain(name.id()) == wanted)
        })
    }

    /// The shipped mode of exactly those steps above its tonic.
    pub fn of(steps: PitchSet) -> Option<Self> {
        Self::shipped()
            .find(|(_, theirs)| *theirs == steps)
            .map(|(name, _)| name)
    }

    /// The name as it follows a tonic: only the Greek names, all in "-ian", keep their capital.
    pub(super) fn after_tonic(self) -> String {
        let name = self.name();
        let greek = name
            .split(' ')
            .next()
            .is_some_and(|word| word.ends_with("ian"));
        if greek {
            name.to_owned()
        } else {
            name.to_lowercase()
        }
    }
}

/// Letters and digits in lower case, accidentals in words.
fn plain(text: &str) -> String {
    let mut plain = String::new();
    let mut rest = text.chars().peekable();
    while let Some(character) = rest.next() {
        let counts = |next: &char| next.is_ascii_digit();
        match character {
            '♭' => plain.push_str("flat"),
            'b' if rest.peek().is_some_and(counts) => plain.push_str("flat"),
            '♮' => plain.push_str("natural"),
            letter if letter.is_alphanumeric() => plain.extend(letter.to_lowercase()),
            _ => {}
        }
    }
    plain
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::HashSet;

    #[test]
    fn every_mode_differs_from_its_neighbours_in_sound_and_word() {
        let sounds: HashSet<_> = ModeName::ALL.map(ModeName::steps).into();
        let ids: HashSet<_> = ModeName::ALL.map(ModeName::id).into();
        let names: HashSet<_> = ModeName::ALL.map(ModeName::name).into();
        let count = ModeName::ALL.len();
        assert_eq!(
            (sounds.len(), ids.len(), names.len()),
            (count, count, count)
        );
    }

    #[test]
    fn every_mode_is_found_again_by_id_and_by_name() {
        for name in ModeName::ALL {
            assert_eq!(ModeName::from_id(name.id()), Some(name));
            assert_eq!(ModeName::from_text(name.id()), Some(name));
            assert_eq!(ModeName::from_text(&name.name().to_uppercase()), Some(name));
        }
    }

    #[test]
    fn a_mode_may_be_typed_as_musicians_type() {
        let typed = [
            "mixolydian b6",
            " Dorian",
            "MAJOR",
            "natural minor",
            "whole-tone",
        ];
        let meant = [
            ModeName::MixolydianFlat6,
            ModeName::Dorian,
            ModeName::Ionian,
            ModeName::Aeolian,
            ModeName::WholeTone,
        ];
        assert_eq!(typed.map(ModeName::from_text), meant.map(Some));
        assert_eq!(ModeName::from_text("doric"), None);
        assert_eq!(ModeName::from_text(""), None);
    }

    #[test]
    fn every_shipped_mode_starts_on_its_tonic() {
        assert!(ModeName::shipped().all(|(_, steps)| steps.contains(0)));
        assert_eq!(ModeName::shipped().count(), ModeName::ALL.len() - 1);
    }
}
