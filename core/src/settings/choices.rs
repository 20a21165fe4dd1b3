//! The lists that a composer chooses from. Each option stands once, with the word it is saved by and
//! the name it is shown by: whoever offers, saves, writes or reads options asks here.

use crate::mode::ModeName;
use crate::time::Beats;

/// How an option is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Wording {
    /// Lasting: saved states hang on it.
    pub id: &'static str,
    /// As it is shown.
    pub name: &'static str,
    /// Other ways to write it that are understood.
    pub also: &'static [&'static str],
}

impl Wording {
    /// Written by its name alone.
    pub const fn new(id: &'static str, name: &'static str) -> Self {
        Self {
            id,
            name,
            also: &[],
        }
    }

    /// Understood under these, too.
    pub const fn also(self, also: &'static [&'static str]) -> Self {
        Self { also, ..self }
    }

    /// The name within a sentence.
    pub fn in_text(&self) -> String {
        self.name.to_lowercase()
    }

    fn matches(&self, bare: &str) -> bool {
        let mut ways = self.also.iter().chain([&self.id, &self.name]);
        ways.any(|way| bared(way) == bare)
    }
}

/// A closed list of options.
pub trait Worded: Copy + PartialEq + Default + 'static {
    /// In the order of every list of them; append only.
    const ALL: &'static [Self];

    /// How this one is written.
    fn wording(self) -> Wording;

    /// The one that is meant by a text, in capitals or not, hyphenated or not.
    fn meant_by(text: &str) -> Option<Self> {
        let bare = bared(text);
        Self::ALL
            .iter()
            .copied()
            .find(|option| option.wording().matches(&bare))
    }
}

/// A text without what people write differently: capitals, spaces, signs of accidentals.
pub fn plain(text: &str) -> String {
    let text = text.to_lowercase().replace("sharp", "#");
    let text = text
        .replace("flat", "b")
        .replace('♯', "#")
        .replace('♭', "b");
    let text = text.replace('−', "-");
    text.split_whitespace().collect()
}

/// A name in the same way, hyphenated or not.
pub fn bared(name: &str) -> String {
    plain(name).replace(['-', '_'], "")
}

/// A list of options: behind each the word that it is saved by, which never changes, and the name
/// that it is shown by.
macro_rules! choice {
    (
        $(#[$about:meta])*
        pub enum $list:ident {
            $($(#[$doc:meta])* $option:ident = $id:literal, $name:literal $(also [$($also:literal),*])?,)*
        }
    ) => {
        $(#[$about])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
        pub enum $list {
            $($(#[$doc])* $option,)*
        }

        impl $list {
            /// In the order of every list of them; append only.
            pub const ALL: [Self; [$($id),*].len()] = [$(Self::$option),*];
        }

        impl Worded for $list {
            const ALL: &'static [Self] = &Self::ALL;

            fn wording(self) -> Wording {
                match self {
                    $(Self::$option => Wording::new($id, $name)$(.also(&[$($also),*]))?,)*
                }
            }
        }
    };
}

choice! {
    /// The grid: how long a step is.
    pub enum Grid {
        /// 1/4
        Quarter = "quarter", "1/4",
        /// 1/8
        Eighth = "eighth", "1/8",
        /// 1/8 triplet
        EighthTriplet = "eighth_triplet", "1/8 triplet" also ["1/8t"],
        /// 1/16
        #[default]
        Sixteenth = "sixteenth", "1/16",
        /// 1/16 triplet
        SixteenthTriplet = "sixteenth_triplet", "1/16 triplet" also ["1/16t"],
        /// 1/32
        ThirtySecond = "thirty_second", "1/32",
    }
}

choice! {
    /// What a voice is heard on by itself, with no instrument behind.
    pub enum Mallet {
        /// Wooden bars, and a mallet of cord.
        #[default]
        Wood = "wood", "Wood" also ["wooden"],
        /// Bars of metal, which ring on.
        Metal = "metal", "Metal",
        /// Wooden bars, and a soft beater.
        Soft = "soft", "Soft",
    }
}

impl Grid {
    /// The length of one step.
    pub fn beats(self) -> Beats {
        match self {
            Self::Quarter => 1.0,
            Self::Eighth => 0.5,
            Self::EighthTriplet => 1.0 / 3.0,
            Self::Sixteenth => 0.25,
            Self::SixteenthTriplet => 1.0 / 6.0,
            Self::ThirtySecond => 0.125,
        }
    }
}

choice! {
    /// How a copy gets to its next offset.
    pub enum Motion {
        /// It runs a little fast (or slow), then locks in.
        #[default]
        Drift = "drift", "Drift",
        /// At once, on a cycle boundary.
        Jump = "jump", "Jump",
        /// It falls silent and builds the phrase up again, already displaced.
        BuildUp = "build_up", "Build up",
    }
}

impl Motion {
    /// One move of that kind, within a sentence.
    pub const fn noun(self) -> &'static str {
        match self {
            Self::Drift => "drift",
            Self::Jump => "jump",
            Self::BuildUp => "build-up",
        }
    }
}

choice! {
    /// What ends a dwell.
    pub enum Advance {
        /// So many cycles: everything follows from the song position.
        #[default]
        Counted = "counted", "Counted",
        /// A performer's cue. Where a voice stands then depends on when cues were given, so it does
        /// not follow from the song position.
        OnCue = "on_cue", "On cue",
    }
}

choice! {
    /// Who moves at a shift, and how far.
    pub enum CopiesMove {
        /// Copy k moves k times as far: the voices open like a fan.
        #[default]
        Fanned = "fanned", "Fanned",
        /// Every copy moves by the same.
        Together = "together", "Together",
        /// One copy a stage, round and round.
        InTurn = "in_turn", "In turn",
    }
}

choice! {
    /// The additive process.
    pub enum Growth {
        /// The whole phrase from the start.
        #[default]
        Off = "off", "Off",
        /// The length stays, rests are replaced by notes.
        Fill = "fill", "Fill",
        /// Note 1, then 1-2, then 1-2-3.
        Lengthen = "lengthen", "Lengthen",
    }
}

choice! {
    /// Which notes come first as the phrase grows.
    pub enum GrowthOrder {
        /// As played.
        Forward = "forward", "Forward",
        /// The last first.
        Backward = "backward", "Backward",
        /// By metrical weight.
        #[default]
        StrongBeatsFirst = "strong_beats_first", "Strong beats first",
        /// By pitch, upwards.
        LowToHigh = "low_to_high", "Low to high",
        /// By pitch, downwards.
        HighToLow = "high_to_low", "High to low",
        /// The middle of the phrase first.
        CentreOut = "centre_out", "Centre out" also ["Center out"],
        /// By chance, the same chance each time: the seed is kept.
        Scattered = "scattered", "Scattered",
    }
}

choice! {
    /// How pitches are moved into the target mode.
    pub enum FoldKind {
        /// Pitches stay.
        #[default]
        Off = "off", "Off",
        /// Degree d of the source becomes degree d of the target.
        ByDegree = "by_degree", "By degree",
        /// The closest pitch of the target, ties downward.
        Nearest = "nearest", "Nearest",
    }
}

choice! {
    /// On which boundary of the song a phrase that is already there begins, when hold goes on.
    pub enum BeginOn {
        /// On none: at once.
        Now = "now", "Now",
        /// The next beat.
        Beat = "beat", "Beat",
        /// The next bar line.
        #[default]
        Bar = "bar", "Bar",
    }
}

choice! {
    /// What hold waits for when it goes off.
    pub enum EndOn {
        /// Nothing: all falls silent at once.
        #[default]
        Now = "now", "Now",
        /// The end of the steady voice's cycle.
        Cycle = "cycle", "Cycle",
    }
}

choice! {
    /// With whom the voice goes along of which a phrase was made.
    pub enum GoesWith {
        /// With the steady voice alone.
        #[default]
        Steady = "steady", "Steady voice",
        /// With every voice.
        All = "all", "Every voice",
    }
}

choice! {
    /// What Hold makes the phrase of.
    pub enum ListenTo {
        /// Notes that are played.
        #[default]
        Notes = "notes", "Notes",
        /// A sentence that is said into the audio input.
        Voice = "voice", "Voice",
    }
}

choice! {
    /// What a further player picks out of what all voices play together.
    pub enum Resulting {
        /// Nothing.
        #[default]
        Off = "off", "Off",
        /// The highest of what is struck at each moment.
        Top = "top", "Top",
        /// The lowest.
        Bottom = "bottom", "Bottom",
        /// Only what two or more voices strike together; the highest of it.
        Together = "together", "Coincidences",
    }
}

impl Worded for ModeName {
    const ALL: &'static [Self] = &Self::ALL;

    fn wording(self) -> Wording {
        Wording::new(self.id(), self.name())
    }

    fn meant_by(text: &str) -> Option<Self> {
        Self::from_text(text)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::HashSet;
    use std::fmt::Debug;

    fn told_apart<T: Worded + Debug>() {
        let mut ways = HashSet::new();
        for option in T::ALL {
            let wording = option.wording();
            // A name may be its id in other letters; no two options may share either.
            let of_one: HashSet<_> = [wording.id, wording.name].map(bared).into();
            for way in of_one {
                assert!(ways.insert(way), "{option:?}");
            }
            for way in wording.also.iter().chain([&wording.id, &wording.name]) {
                assert_eq!(T::meant_by(way), Some(*option), "{way}");
                assert_eq!(T::meant_by(&way.to_uppercase()), Some(*option), "{way}");
            }
        }
        assert_eq!(T::meant_by("a foghorn"), None);
    }

    #[test]
    fn no_two_options_of_a_list_can_be_taken_for_each_other() {
        told_apart::<Grid>();
        told_apart::<Motion>();
        told_apart::<Advance>();
        told_apart::<CopiesMove>();
        told_apart::<Growth>();
        told_apart::<GrowthOrder>();
        told_apart::<FoldKind>();
        told_apart::<BeginOn>();
        told_apart::<EndOn>();
        told_apart::<Resulting>();
        told_apart::<ModeName>();
    }

    #[test]
    fn options_are_understood_as_people_type_them() {
        assert_eq!(Motion::meant_by("build-up"), Some(Motion::BuildUp));
        assert_eq!(
            GrowthOrder::meant_by("Center out"),
            Some(GrowthOrder::CentreOut)
        );
        assert_eq!(Grid::meant_by("1/8 T"), Some(Grid::EighthTriplet));
        assert_eq!(FoldKind::meant_by("by  degree"), Some(FoldKind::ByDegree));
    }
}
