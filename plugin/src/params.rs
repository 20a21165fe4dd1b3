//! The parameters: the public contract with hosts, saved projects and automation lanes.
//!
//! Each is written once: id, name, values, and a sentence about what is heard. Ids, names and
//! meanings stay for ever; adding is free. [`Parameters::settings`] is the only way in which the
//! audio side reads them.

use crate::declaration::{
    Amount, Choice, Declaration, Declared, Kind, Moved, Naming, Shown, Toggle, Unit, Whole,
};
use crate::handover::{AudioSide, MainSide, exchange};
use crate::state::{CHOICES, Kept};
use nice_plug::params::persist::PersistentField;
use nice_plug::params::{FloatParam, IntParam, Param, Params};
use nice_plug::plugin::PluginState;
use nice_plug::prelude::{FloatRange, IntRange};
use procession_core::mallet::{LOWEST_LEVEL_DB, START_LEVEL_DB};
use procession_core::mode::ModeName;
use procession_core::note::Key;
use procession_core::phrase::{key_from_name, key_name};
use procession_core::program::{PROGRAMS, Program};
use procession_core::reciter::Along;
use procession_core::settings::{
    Advance, BeginOn, Beginning, CaptureSettings, CopiesMove, CopySettings, EndOn, FoldKind,
    FoldSettings, GoesWith, Grid, Growth, GrowthOrder, GrowthSettings, Hearing, ListenTo,
    MAX_COPIES, MAX_COUNT_IN, Mallet, Motion, MotionSettings, OutputSettings, Resulting,
    ResultingSettings, Settings, Shifts, SteadySettings, TouchSettings, Worded, Wording, bared,
};
use std::collections::BTreeMap;
use std::sync::Arc;

const STEPS: Unit = Unit::new("step", "steps");
const CYCLES: Unit = Unit::new("cycle", "cycles");
const NOTES: Unit = Unit::new("note", "notes");
const COPIES: Unit = Unit::new("copy", "copies");
const SHIFTS: Unit = Unit::new("shift", "shifts");
const BARS: Unit = Unit::new("bar", "bars");
const OCTAVES: Unit = Unit::new("octave", "octaves");
const KEYS: Unit = Unit::new("key", "keys");
const CONTROLLERS: Unit = Unit::new("cc", "cc");
const DEGREES: Unit = Unit::new("degree", "degrees");
const SEMITONES: Unit = Unit::new("semitone", "semitones");
const PROGRAM: Unit = Unit::new("program", "program");

/// Keys by their names, with the signs that tonics and modes have: C4, middle C, is 60.
const KEY_NAMES: Naming = Naming {
    text: |number| {
        let name = Key::new(number.clamp(0, 127) as u8).map_or(String::new(), key_name);
        name.replace('b', "♭").replace('#', "♯")
    },
    value: |text| {
        // "BB3" is a B flat: only the first letter names the note.
        let mut text = text.trim().to_lowercase();
        text.get_mut(..1)?.make_ascii_uppercase();
        key_from_name(&text).map(|key| i32::from(key.number()))
    },
};

/// Controllers as the MIDI standard counts them: "CC 64".
const CONTROLLER_NAMES: Naming = Naming {
    text: |number| format!("CC {number}"),
    value: |text| {
        let number = text.trim().to_lowercase();
        let number: i32 = number.strip_prefix("cc")?.trim().parse().ok()?;
        (0..120).contains(&number).then_some(number)
    },
};

/// Programs by number and name: "13 Marimba".
const PROGRAM_NAMES: Naming = Naming {
    text: |number| {
        let program = u8::try_from(number).ok().and_then(Program::new);
        program.map_or(String::new(), |program| {
            format!("{} {}", program.number(), program.name())
        })
    },
    value: |text| {
        let text = bared(text);
        let is_meant = |program: &Program| {
            let (number, name) = (program.number(), bared(program.name()));
            text == name || text == bared(&format!("{number} {name}"))
        };
        Program::all()
            .find(is_meant)
            .map(|program| program.number().into())
    },
};

/// Makes a group of parameters out of its declarations: the struct the framework derives its list
/// from, the constructor, and the table.
///
/// A line reads: what is heard; id, field, kind; name; values. `fixed` marks what no host automates.
macro_rules! parameters {
    (
        $(#[doc = $about:literal])+
        $group:ident {
            $(
                $(#[doc = $heard:literal])+
                $id:tt $field:ident: $kind:ident, $name:literal, $values:expr $(, $fixed:ident)?;
            )+
        }
    ) => {
        $(#[doc = $about])+
        #[derive(Params)]
        pub struct $group {
            $(
                $(#[doc = $heard])+
                #[id = $id]
                pub $field: <$kind as Declared>::Parameter,
            )+
        }

        impl $group {
            fn new(named: impl Fn(&str) -> String, moved: &Moved) -> Self {
                Self {
                    $($field: $values.build(&named($name), automatable!($($fixed)?), moved),)+
                }
            }

            fn declarations() -> Vec<Declaration> {
                vec![$(
                    Declaration {
                        id: $id.to_owned(),
                        name: $name.to_owned(),
                        heard: concat!($($heard),+).trim_ascii_start(),
                        kind: $values.kind(),
                        automatable: automatable!($($fixed)?),
                    },
                )+]
            }

            /// Shows every parameter of the group, in the order of the table.
            fn each<'a>(&'a self, look: &mut impl FnMut(&'a dyn Shown)) {
                $(look(<$kind as Declared>::shown(&self.$field));)+
            }
        }
    };
}

macro_rules! automatable {
    () => {
        true
    };
    (fixed) => {
        false
    };
}

parameters! {
    /// Taking a phrase.
    PhraseParameters {
        /// On: captures what you just played and loops it. Off: stops.
        "hold" hold: Toggle, "Hold", Toggle::OFF;
        /// The length of a step, in which phrase length, offsets and shifts are counted.
        "grid" grid: Choice, "Grid", Choice::of::<Grid>(), fixed;
        /// How many steps of what you played become the phrase; Auto finds where it repeats.
        "length" length: Whole, "Phrase length", Whole::new(1..=128, STEPS, 0).or_below("Auto"), fixed;
        /// How far notes are pulled to the grid when the phrase is captured; 0 % keeps them as played.
        "snap" snap: Amount, "Snap", Amount::percent(100.0), fixed;
        /// Lets what you play be heard while the phrase loops.
        "thru" thru: Toggle, "Play through", Toggle::OFF;
    }
}

parameters! {
    /// How copies are displaced over time.
    MotionParameters {
        /// How many voices play the phrase besides the steady one.
        "copies" copies: Whole, "Copies", Whole::new(0..=MAX_COPIES as i32, COPIES, 1);
        /// How a copy gets to its next offset: it drifts there, jumps there, or drops out and builds up there.
        "motion" motion: Choice, "Motion", Choice::of::<Motion>();
        /// Sets copy 1 this far ahead of the steady voice, copy 2 twice as far, and so on; negative is behind.
        "offset" offset: Amount, "Offset", Amount::steps(32.0, STEPS);
        /// How far ahead a copy moves at each shift; negative is back.
        "shift_by" shift_by: Whole, "Shift by", Whole::new(-8..=8, STEPS, 1);
        /// Who moves at a shift: each copy further than the one before it, all equally, or one after another.
        "copies_move" copies_move: Choice, "Copies move", Choice::of::<CopiesMove>();
        /// How many cycles a copy stays locked in one alignment before it moves on.
        "dwell" dwell: Whole, "Dwell", Whole::new(1..=64, CYCLES, 8);
        /// How many cycles a drift to the next offset takes; the more, the smaller the change of tempo.
        "drift" drift: Whole, "Drift over", Whole::new(1..=64, CYCLES, 4);
        /// How many shifts there are before the voices stay where they are; Auto goes once round to unison.
        "shifts" shifts: Whole, "Shifts", Whole::new(0..=128, SHIFTS, 0).or_below("Auto").or_above("Endless");
        /// How many cycles each copy waits after the one before it has entered.
        "entry" entry: Whole, "Entry gap", Whole::new(0..=64, CYCLES, 0);
        /// Whether dwells are counted, or last until you give a cue.
        "advance" advance: Choice, "Advance", Choice::of::<Advance>();
        /// Switched on, copies that are dwelling move at their next cycle, if they advance on cue.
        "cue" cue: Toggle, "Cue", Toggle::OFF;
        /// The key that gives a cue while copies advance on cue, and is not heard itself; C4 is middle C (60).
        "cue_key" cue_key: Whole, "Cue key", Whole::new(0..=127, KEYS, 0).or_below("Off").named(KEY_NAMES), fixed;
        /// The controller, a pedal perhaps, that gives a cue while copies advance on cue.
        "cue_controller" cue_controller: Whole, "Cue controller", Whole::new(0..=119, CONTROLLERS, 0).or_below("Off").named(CONTROLLER_NAMES), fixed;
    }
}

parameters! {
    /// How the phrase grows.
    GrowthParameters {
        /// Builds the phrase up note by note, at its full length (Fill) or longer and longer (Lengthen).
        "growth" growth: Choice, "Growth", Choice::of::<Growth>();
        /// How many notes join at each stage; negative takes notes away, 0 holds.
        "growth_step" step: Whole, "Growth step", Whole::new(-8..=8, NOTES, 1);
        /// How many cycles a stage lasts before the next notes join.
        "growth_every" every: Whole, "Grow every", Whole::new(1..=32, CYCLES, 2);
        /// Which notes of the phrase come first as it grows.
        "growth_order" order: Choice, "Growth order", Choice::of::<GrowthOrder>();
        /// Lets every copy build up from its own entry instead of entering with the whole phrase.
        "copies_grow" copies_grow: Toggle, "Copies grow", Toggle::OFF;
    }
}

parameters! {
    /// How pitches are moved into another mode.
    FoldParameters {
        /// Recasts the phrase in the target mode, degree for degree or each note to the nearest pitch.
        "fold" fold: Choice, "Fold", Choice::of::<FoldKind>();
        /// The tonic of the mode the phrase is in; Auto finds it in the phrase.
        "source_tonic" source_tonic: Choice, "Source tonic", Choice::auto_or::<Tonic>();
        /// The mode the phrase is in; Auto finds it in the phrase.
        "source_mode" source_mode: Choice, "Source mode", Choice::auto_or::<ModeName>();
        /// The tonic of the mode the phrase is recast in.
        "target_tonic" target_tonic: Choice, "Target tonic", Choice::of::<Tonic>();
        /// The mode the phrase is recast in.
        "target_mode" target_mode: Choice, "Target mode", Choice::of::<ModeName>();
        /// How far the phrase has gone into the target mode, one degree after another.
        "fold_amount" amount: Amount, "Fold amount", Amount::percent(100.0);
    }
}

parameters! {
    /// How voices leave.
    OutputParameters {
        /// Gives every voice a MIDI channel of its own, or all of them one.
        "channels" channels: Choice, "Channels", Choice::of::<Channels>(), fixed;
        /// Scales the velocities of the steady voice; 0 % mutes it.
        "steady_level" steady_level: Amount, "Steady level", Amount::level();
        /// Pans the voices from left to right, by controller 10 on each channel.
        "width" width: Amount, "Width", Amount::percent(60.0);
        /// Plays everything that goes out on built-in mallets too, to hear it with no instrument behind.
        "audition" audition: Amount, "Audition", audition_level();
        /// Passes what you play straight through and silences the process.
        "bypass" bypass: Toggle, "Bypass", Toggle::BYPASS;
    }
}

parameters! {
    /// The line picked out of what all voices play together.
    LineParameters {
        /// Plays the top, the bottom or the coincidences of all voices while they dwell, on channel 11.
        "resulting" which: Choice, "Resulting", Choice::of::<Resulting>();
        /// Scales the velocities of the resulting line; 0 % mutes it.
        "resulting_level" level: Amount, "Resulting level", Amount::level();
        /// Transposes the resulting line by octaves.
        "resulting_octave" octave: Whole, "Resulting octave", Whole::new(-3..=3, OCTAVES, 0);
    }
}

parameters! {
    /// What one copy has of its own.
    CopyParameters {
        /// Sets this copy further ahead of the steady voice, on top of all else; negative is behind.
        "offset" offset: Amount, "offset", Amount::steps(32.0, STEPS);
        /// Scales the velocities of this copy; 0 % mutes it.
        "level" level: Amount, "level", Amount::level();
        /// Transposes this copy by octaves.
        "octave" octave: Whole, "octave", Whole::new(-3..=3, OCTAVES, 0);
    }
}

parameters! {
    /// What the steady voice has of its own.
    SteadyParameters {
        /// Silences the steady voice, whatever its level; the copies go on against it unheard.
        "steady_mute" mute: Toggle, "Steady mute", Toggle::OFF;
        /// Lets only those voices be heard that are on solo.
        "steady_solo" solo: Toggle, "Steady solo", Toggle::OFF;
        /// The instrument that a MIDI file asks for, by its General MIDI number.
        "steady_program" program: Whole, "Steady program", programs(), fixed;
    }
}

parameters! {
    /// What one copy makes of the phrase.
    MaterialParameters {
        /// Moves this copy up by degrees of the mode in force; negative is down.
        "degrees" degrees: Whole, "degrees", Whole::new(-14..=14, DEGREES, 0);
        /// Moves this copy up by semitones, whatever the mode; negative is down.
        "semitones" semitones: Whole, "semitones", Whole::new(-12..=12, SEMITONES, 0);
        /// Has this copy read the phrase from its last note to its first.
        "backwards" backwards: Toggle, "backwards", Toggle::OFF;
        /// Turns this copy's melody over about the phrase's first note: what went up goes down, degree by degree.
        "upside_down" upside_down: Toggle, "upside down", Toggle::OFF;
        /// Silences this copy, whatever its level.
        "mute" mute: Toggle, "mute", Toggle::OFF;
        /// Lets only those voices be heard that are on solo.
        "solo" solo: Toggle, "solo", Toggle::OFF;
        /// The instrument that a MIDI file asks for, by its General MIDI number.
        "program" program: Whole, "program", programs(), fixed;
    }
}

parameters! {
    /// How players play what is written.
    TouchParameters {
        /// How much longer the first of two steps is than the second; 1 is even.
        "swing" swing: Amount, "Swing", Amount::ratio(3.5), fixed;
        /// How far notes come early or late, as a share of a step, never twice the same yet remembering what was.
        "breathe_timing" timing: Amount, "Timing breathes", Amount::percent_up_to(25.0), fixed;
        /// How much notes are louder or softer, as a share of their velocity, never twice the same yet remembering what was.
        "breathe_velocity" velocity: Amount, "Velocity breathes", Amount::percent_up_to(25.0), fixed;
        /// How much softer notes are on weak places of the bar; at 100 % the weakest are hardly heard.
        "accents" accents: Amount, "Accents", Amount::percent(0.0), fixed;
    }
}

parameters! {
    /// What a part is heard on when audition plays it, and in sound files.
    MalletParameters {
        /// The mallets that audition and sound files play this on: wood, metal that rings on, or a soft beater.
        "mallet" mallet: Choice, "mallet", Choice::of::<Mallet>();
    }
}

parameters! {
    /// The cycle that one copy goes round in.
    CycleParameters {
        /// How many steps this copy goes round in: with fewer than the phrase has it leaves out its end, with more it rests.
        "length" length: Whole, "length", Whole::new(1..=128, STEPS, 0).or_below("As the phrase");
    }
}

parameters! {
    /// Where the process begins, and how it ends.
    BeginningParameters {
        /// Where Hold begins a phrase that was there already: at once, or on the next beat or bar of the song.
        "begin_on" begin_on: Choice, "Begin on", Choice::of::<BeginOn>(), fixed;
        /// Whether switching Hold off ends all at once, or plays the steady voice's cycle to its end.
        "end_on" end_on: Choice, "End on", Choice::of::<EndOn>(), fixed;
        /// How many bars are clicked, on channel 10, before a phrase that was there already begins.
        "count_in" count_in: Whole, "Count-in", Whole::new(0..=MAX_COUNT_IN as i32, BARS, 0), fixed;
    }
}

parameters! {
    /// The voice that goes along with a phrase of speech.
    VoiceParameters {
        /// Sounds the recording that a phrase was taken from along with its notes, each syllable with its own.
        "voice_level" level: Amount, "Voice level", audition_level();
        /// Whom the recording goes along with: the steady voice alone, or every voice.
        "voice_with" with: Choice, "Voice with", Choice::of::<GoesWith>();
        /// Sends with each note of speech how far the voice was from its key, as a note's tuning.
        "send_tuning" tuned: Toggle, "Send tuning", Toggle::OFF;
    }
}

parameters! {
    /// What is listened to.
    ListeningParameters {
        /// What Hold makes the phrase of: notes that are played, or a sentence that is said into the audio input.
        "listen_to" to: Choice, "Listen to", Choice::of::<ListenTo>();
    }
}

/// All parameters of one instance of the plug-in, and what is kept beside them.
#[derive(Params)]
pub struct Parameters {
    /// Taking a phrase.
    #[nested(group = "Phrase")]
    pub phrase: PhraseParameters,
    /// How copies move.
    #[nested(group = "Motion")]
    pub motion: MotionParameters,
    /// How the phrase grows.
    #[nested(group = "Growth")]
    pub growth: GrowthParameters,
    /// Where pitches go.
    #[nested(group = "Fold")]
    pub fold: FoldParameters,
    /// How voices leave.
    #[nested(group = "Output")]
    pub output: OutputParameters,
    /// The line picked out of all voices.
    #[nested(group = "Resulting line")]
    pub line: LineParameters,
    /// Copy 1's own.
    #[nested(id_prefix = "copy1", group = "Copy 1")]
    pub copy1: CopyParameters,
    /// Copy 2's own.
    #[nested(id_prefix = "copy2", group = "Copy 2")]
    pub copy2: CopyParameters,
    /// Copy 3's own.
    #[nested(id_prefix = "copy3", group = "Copy 3")]
    pub copy3: CopyParameters,
    /// Copy 4's own.
    #[nested(id_prefix = "copy4", group = "Copy 4")]
    pub copy4: CopyParameters,
    /// Copy 5's own.
    #[nested(id_prefix = "copy5", group = "Copy 5")]
    pub copy5: CopyParameters,
    /// Copy 6's own.
    #[nested(id_prefix = "copy6", group = "Copy 6")]
    pub copy6: CopyParameters,
    /// Copy 7's own.
    #[nested(id_prefix = "copy7", group = "Copy 7")]
    pub copy7: CopyParameters,
    /// Copy 8's own.
    #[nested(id_prefix = "copy8", group = "Copy 8")]
    pub copy8: CopyParameters,
    /// Where the process begins, and how it ends.
    #[nested(group = "Beginning")]
    pub beginning: BeginningParameters,
    /// What the steady voice has of its own.
    #[nested(group = "Steady voice")]
    pub steady: SteadyParameters,
    /// What copy 1 makes of the phrase.
    #[nested(id_prefix = "copy1", group = "Copy 1")]
    pub material1: MaterialParameters,
    /// What copy 2 makes of the phrase.
    #[nested(id_prefix = "copy2", group = "Copy 2")]
    pub material2: MaterialParameters,
    /// What copy 3 makes of the phrase.
    #[nested(id_prefix = "copy3", group = "Copy 3")]
    pub material3: MaterialParameters,
    /// What copy 4 makes of the phrase.
    #[nested(id_prefix = "copy4", group = "Copy 4")]
    pub material4: MaterialParameters,
    /// What copy 5 makes of the phrase.
    #[nested(id_prefix = "copy5", group = "Copy 5")]
    pub material5: MaterialParameters,
    /// What copy 6 makes of the phrase.
    #[nested(id_prefix = "copy6", group = "Copy 6")]
    pub material6: MaterialParameters,
    /// What copy 7 makes of the phrase.
    #[nested(id_prefix = "copy7", group = "Copy 7")]
    pub material7: MaterialParameters,
    /// What copy 8 makes of the phrase.
    #[nested(id_prefix = "copy8", group = "Copy 8")]
    pub material8: MaterialParameters,
    /// The voice that goes along.
    #[nested(group = "Voice")]
    pub voice: VoiceParameters,
    /// How players play what is written.
    #[nested(group = "Touch")]
    pub touch: TouchParameters,
    /// What the steady voice is heard on.
    #[nested(id_prefix = "steady", group = "Steady voice")]
    pub steady_mallet: MalletParameters,
    /// What the resulting line is heard on.
    #[nested(id_prefix = "resulting", group = "Resulting line")]
    pub resulting_mallet: MalletParameters,
    /// What copy 1 is heard on.
    #[nested(id_prefix = "copy1", group = "Copy 1")]
    pub mallet1: MalletParameters,
    /// What copy 2 is heard on.
    #[nested(id_prefix = "copy2", group = "Copy 2")]
    pub mallet2: MalletParameters,
    /// What copy 3 is heard on.
    #[nested(id_prefix = "copy3", group = "Copy 3")]
    pub mallet3: MalletParameters,
    /// What copy 4 is heard on.
    #[nested(id_prefix = "copy4", group = "Copy 4")]
    pub mallet4: MalletParameters,
    /// What copy 5 is heard on.
    #[nested(id_prefix = "copy5", group = "Copy 5")]
    pub mallet5: MalletParameters,
    /// What copy 6 is heard on.
    #[nested(id_prefix = "copy6", group = "Copy 6")]
    pub mallet6: MalletParameters,
    /// What copy 7 is heard on.
    #[nested(id_prefix = "copy7", group = "Copy 7")]
    pub mallet7: MalletParameters,
    /// What copy 8 is heard on.
    #[nested(id_prefix = "copy8", group = "Copy 8")]
    pub mallet8: MalletParameters,
    /// What is listened to.
    #[nested(group = "Listening")]
    pub listening: ListeningParameters,
    /// The cycle that copy 1 goes round in.
    #[nested(id_prefix = "copy1", group = "Copy 1")]
    pub cycle1: CycleParameters,
    /// The cycle that copy 2 goes round in.
    #[nested(id_prefix = "copy2", group = "Copy 2")]
    pub cycle2: CycleParameters,
    /// The cycle that copy 3 goes round in.
    #[nested(id_prefix = "copy3", group = "Copy 3")]
    pub cycle3: CycleParameters,
    /// The cycle that copy 4 goes round in.
    #[nested(id_prefix = "copy4", group = "Copy 4")]
    pub cycle4: CycleParameters,
    /// The cycle that copy 5 goes round in.
    #[nested(id_prefix = "copy5", group = "Copy 5")]
    pub cycle5: CycleParameters,
    /// The cycle that copy 6 goes round in.
    #[nested(id_prefix = "copy6", group = "Copy 6")]
    pub cycle6: CycleParameters,
    /// The cycle that copy 7 goes round in.
    #[nested(id_prefix = "copy7", group = "Copy 7")]
    pub cycle7: CycleParameters,
    /// The cycle that copy 8 goes round in.
    #[nested(id_prefix = "copy8", group = "Copy 8")]
    pub cycle8: CycleParameters,
    /// The phrase, its origin, the seed, the custom mode, the window: the end of everybody but the
    /// audio thread.
    #[persist = "kept"]
    pub kept: MainSide,
    #[persist = "choices"]
    choices: SavedChoices,
    moved: Moved,
}

/// Every parameter as declared, in the order of the host's list.
#[allow(
    clippy::disallowed_types,
    reason = "the audio side reads values, never declarations"
)]
pub static DECLARATIONS: std::sync::LazyLock<Vec<Declaration>> = std::sync::LazyLock::new(|| {
    let groups = [
        PhraseParameters::declarations(),
        MotionParameters::declarations(),
        GrowthParameters::declarations(),
        FoldParameters::declarations(),
        OutputParameters::declarations(),
        LineParameters::declarations(),
    ];
    let of = |whose: String, own: fn() -> Vec<Declaration>| {
        let id = whose.to_lowercase().replace(' ', "");
        own().into_iter().map(move |own| Declaration {
            id: format!("{id}_{}", own.id),
            name: format!("{whose} {}", own.name),
            ..own
        })
    };
    let of_each_copy = |own: fn() -> Vec<Declaration>| {
        (1..=MAX_COPIES).flat_map(move |copy| of(format!("Copy {copy}"), own))
    };
    groups
        .into_iter()
        .flatten()
        .chain(of_each_copy(CopyParameters::declarations))
        .chain(BeginningParameters::declarations())
        .chain(SteadyParameters::declarations())
        .chain(of_each_copy(MaterialParameters::declarations))
        .chain(VoiceParameters::declarations())
        .chain(TouchParameters::declarations())
        .chain(of("Steady".to_owned(), MalletParameters::declarations))
        .chain(of("Resulting".to_owned(), MalletParameters::declarations))
        .chain(of_each_copy(MalletParameters::declarations))
        .chain(ListeningParameters::declarations())
        .chain(of_each_copy(CycleParameters::declarations))
        .collect()
});

/// One plain sentence about what is heard of a parameter, for its tooltip. Empty if there is none
/// of that id.
pub fn describe(id: &str) -> &'static str {
    let found = DECLARATIONS.iter().find(|declaration| declaration.id == id);
    found.map_or("", |declaration| declaration.heard)
}

impl Parameters {
    /// All at their defaults, and the audio thread's end of what is kept beside them.
    #[allow(clippy::new_ret_no_self)] // One constructor makes the pair.
    pub fn new() -> (Arc<Self>, AudioSide) {
        Self::with_audition(audition_level())
    }

    /// The same for a program of its own, with no instrument behind: audition starts on, quietly.
    pub fn of_program() -> (Arc<Self>, AudioSide) {
        Self::with_audition(audition_level().starting_at(START_LEVEL_DB))
    }

    fn with_audition(audition: Amount) -> (Arc<Self>, AudioSide) {
        let (kept, audio) = exchange(Kept::default());
        let moved = &Moved::default();
        let plain = |name: &str| name.to_owned();
        let copy = |copy: usize| CopyParameters::new(|name| format!("Copy {copy} {name}"), moved);
        let material =
            |copy: usize| MaterialParameters::new(|name| format!("Copy {copy} {name}"), moved);
        let phrase = PhraseParameters::new(plain, moved);
        let motion = MotionParameters::new(plain, moved);
        let growth = GrowthParameters::new(plain, moved);
        let fold = FoldParameters::new(plain, moved);
        let output = OutputParameters {
            audition: audition.build("Audition", true, moved),
            ..OutputParameters::new(plain, moved)
        };
        let line = LineParameters::new(plain, moved);
        let beginning = BeginningParameters::new(plain, moved);
        let voice = VoiceParameters::new(plain, moved);
        let mallet = |whose: &str| MalletParameters::new(|name| format!("{whose} {name}"), moved);
        let steady_mallet = mallet("Steady");
        let resulting_mallet = mallet("Resulting");
        let mallet1 = mallet("Copy 1");
        let mallet2 = mallet("Copy 2");
        let mallet3 = mallet("Copy 3");
        let mallet4 = mallet("Copy 4");
        let mallet5 = mallet("Copy 5");
        let mallet6 = mallet("Copy 6");
        let mallet7 = mallet("Copy 7");
        let mallet8 = mallet("Copy 8");
        let listening = ListeningParameters::new(plain, moved);
        let cycle = |copy: usize| CycleParameters::new(|name| format!("Copy {copy} {name}"), moved);
        let choices = SavedChoices::new([
            ("grid", &phrase.grid),
            ("motion", &motion.motion),
            ("copies_move", &motion.copies_move),
            ("growth", &growth.growth),
            ("growth_order", &growth.order),
            ("fold", &fold.fold),
            ("source_tonic", &fold.source_tonic),
            ("source_mode", &fold.source_mode),
            ("target_tonic", &fold.target_tonic),
            ("target_mode", &fold.target_mode),
            ("channels", &output.channels),
            ("advance", &motion.advance),
            ("resulting", &line.which),
            ("begin_on", &beginning.begin_on),
            ("end_on", &beginning.end_on),
            ("voice_with", &voice.with),
            ("steady_mallet", &steady_mallet.mallet),
            ("resulting_mallet", &resulting_mallet.mallet),
            ("copy1_mallet", &mallet1.mallet),
            ("copy2_mallet", &mallet2.mallet),
            ("copy3_mallet", &mallet3.mallet),
            ("copy4_mallet", &mallet4.mallet),
            ("copy5_mallet", &mallet5.mallet),
            ("copy6_mallet", &mallet6.mallet),
            ("copy7_mallet", &mallet7.mallet),
            ("copy8_mallet", &mallet8.mallet),
            ("listen_to", &listening.to),
        ]);
        let parameters = Self {
            phrase,
            motion,
            growth,
            fold,
            output,
            line,
            copy1: copy(1),
            copy2: copy(2),
            copy3: copy(3),
            copy4: copy(4),
            copy5: copy(5),
            copy6: copy(6),
            copy7: copy(7),
            copy8: copy(8),
            beginning,
            steady: SteadyParameters::new(plain, moved),
            material1: material(1),
            material2: material(2),
            material3: material(3),
            material4: material(4),
            material5: material(5),
            material6: material(6),
            material7: material(7),
            material8: material(8),
            voice,
            touch: TouchParameters::new(plain, moved),
            steady_mallet,
            resulting_mallet,
            mallet1,
            mallet2,
            mallet3,
            mallet4,
            mallet5,
            mallet6,
            mallet7,
            mallet8,
            listening,
            cycle1: cycle(1),
            cycle2: cycle(2),
            cycle3: cycle(3),
            cycle4: cycle(4),
            cycle5: cycle(5),
            cycle6: cycle(6),
            cycle7: cycle(7),
            cycle8: cycle(8),
            kept,
            choices,
            moved: moved.clone(),
        };
        (Arc::new(parameters), audio)
    }

    /// How often any of them has moved, whoever moved it.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn moves(&self) -> u64 {
        self.moved.count()
    }

    /// Everything the engine reads, each value within its range whatever host or state said; the
    /// seed, the custom mode and the mode changes from what is `kept` beside the parameters.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn settings(&self, kept: &Kept) -> Settings {
        Settings {
            capture: self.capture(),
            motion: self.motion.settings(),
            growth: self.growth.settings(kept.seed),
            fold: FoldSettings {
                custom: kept.custom,
                ..self.fold.settings()
            },
            output: OutputSettings {
                tuned: self.voice.tuned.value(),
                ..self.output.settings()
            },
            modulations: kept.modulations,
            resulting: ResultingSettings {
                mallet: chosen(&self.resulting_mallet.mallet),
                ..self.line.settings()
            },
            copies: std::array::from_fn(|copy| CopySettings {
                length: steps(&self.cycles()[copy].length),
                mallet: chosen(&self.mallets()[copy].mallet),
                ..self.materials()[copy].settings(self.copies()[copy].settings())
            }),
            steady: SteadySettings {
                mallet: chosen(&self.steady_mallet.mallet),
                ..self.steady.settings()
            },
            touch: self.touch.settings(),
        }
    }

    /// How a phrase is to be taken.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn capture(&self) -> CaptureSettings {
        CaptureSettings {
            grid: chosen(&self.phrase.grid),
            length: steps(&self.phrase.length),
            snap: share(&self.phrase.snap),
        }
    }

    /// Where the process begins, and how it ends; the written position from what is `kept` beside
    /// the parameters.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn beginning(&self, kept: &Kept) -> Beginning {
        let own = &self.beginning;
        Beginning {
            begin_on: chosen(&own.begin_on),
            end_on: chosen(&own.end_on),
            count_in: count(&own.count_in),
            at: kept.begins_at,
        }
    }

    /// Whether the phrase is held. Turning on takes a phrase, unless a load did it: see
    /// [`Cause::Loaded`](crate::handover::Cause::Loaded).
    pub fn hold(&self) -> bool {
        self.phrase.hold.value()
    }

    /// Whether it is a voice that Hold makes the phrase of.
    pub fn listens(&self) -> bool {
        chosen::<ListenTo>(&self.listening.to) == ListenTo::Voice
    }

    /// Whether played notes are passed on while holding.
    pub fn thru(&self) -> bool {
        self.phrase.thru.value()
    }

    /// Whether the host or the user has taken the plug-in out of the way.
    pub fn bypass(&self) -> bool {
        self.output.bypass.value()
    }

    /// Whether a cue is being given. Turning on gives it.
    pub fn cue(&self) -> bool {
        self.motion.cue.value()
    }

    /// The key that gives cues while copies advance on cue.
    pub fn cue_key(&self) -> Option<Key> {
        self.cued_by(&self.motion.cue_key).and_then(Key::new)
    }

    /// The controller that gives cues while copies advance on cue.
    pub fn cue_controller(&self) -> Option<u8> {
        self.cued_by(&self.motion.cue_controller)
    }

    fn cued_by(&self, mapped: &IntParam) -> Option<u8> {
        let on_cue = chosen::<Advance>(&self.motion.advance) == Advance::OnCue;
        u8::try_from(whole(mapped)).ok().filter(|_| on_cue)
    }

    /// How loud the mallets are, in dB; none while they are off.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn audition(&self) -> Option<f32> {
        level(&self.output.audition)
    }

    /// How loud the recording goes along with the phrase, and with whom.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn along(&self) -> Along {
        Along {
            level: level(&self.voice.level),
            with: chosen(&self.voice.with),
        }
    }

    /// What copies 1 ..= 8 have of their own.
    pub fn copies(&self) -> [&CopyParameters; MAX_COPIES] {
        [
            &self.copy1,
            &self.copy2,
            &self.copy3,
            &self.copy4,
            &self.copy5,
            &self.copy6,
            &self.copy7,
            &self.copy8,
        ]
    }

    /// What copies 1 ..= 8 make of the phrase.
    pub fn materials(&self) -> [&MaterialParameters; MAX_COPIES] {
        [
            &self.material1,
            &self.material2,
            &self.material3,
            &self.material4,
            &self.material5,
            &self.material6,
            &self.material7,
            &self.material8,
        ]
    }

    /// What copies 1 ..= 8 are heard on.
    pub fn mallets(&self) -> [&MalletParameters; MAX_COPIES] {
        [
            &self.mallet1,
            &self.mallet2,
            &self.mallet3,
            &self.mallet4,
            &self.mallet5,
            &self.mallet6,
            &self.mallet7,
            &self.mallet8,
        ]
    }

    /// The cycles that copies 1 ..= 8 go round in.
    pub fn cycles(&self) -> [&CycleParameters; MAX_COPIES] {
        [
            &self.cycle1,
            &self.cycle2,
            &self.cycle3,
            &self.cycle4,
            &self.cycle5,
            &self.cycle6,
            &self.cycle7,
            &self.cycle8,
        ]
    }

    /// Shows every parameter beside its declaration, in the order of the host's list.
    pub fn each<'a>(&'a self, mut look: impl FnMut(&'static Declaration, &'a dyn Shown)) {
        let mut declarations = DECLARATIONS.iter();
        let mut next = |parameter: &'a dyn Shown| {
            if let Some(declaration) = declarations.next() {
                look(declaration, parameter);
            }
        };
        self.phrase.each(&mut next);
        self.motion.each(&mut next);
        self.growth.each(&mut next);
        self.fold.each(&mut next);
        self.output.each(&mut next);
        self.line.each(&mut next);
        for copy in self.copies() {
            copy.each(&mut next);
        }
        self.beginning.each(&mut next);
        self.steady.each(&mut next);
        for material in self.materials() {
            material.each(&mut next);
        }
        self.voice.each(&mut next);
        self.touch.each(&mut next);
        self.steady_mallet.each(&mut next);
        self.resulting_mallet.each(&mut next);
        for mallet in self.mallets() {
            mallet.each(&mut next);
        }
        self.listening.each(&mut next);
        for cycle in self.cycles() {
            cycle.each(&mut next);
        }
    }
}

impl Parameters {
    /// The parameter of that id beside its declaration.
    pub fn of_id(&self, id: &str) -> Option<(&'static Declaration, &dyn Shown)> {
        let mut found = None;
        self.each(|declaration, parameter| {
            if declaration.id == id {
                found = Some((declaration, parameter));
            }
        });
        found
    }
}

impl MotionParameters {
    fn settings(&self) -> MotionSettings {
        MotionSettings {
            copies: count(&self.copies) as usize,
            motion: chosen(&self.motion),
            offset: amount(&self.offset),
            shift_by: whole(&self.shift_by),
            copies_move: chosen(&self.copies_move),
            advance: chosen(&self.advance),
            dwell: count(&self.dwell),
            drift: count(&self.drift),
            shifts: match whole(&self.shifts) {
                -1 => Shifts::Auto,
                129 => Shifts::Endless,
                number => Shifts::Count(number.unsigned_abs()),
            },
            entry: count(&self.entry),
        }
    }
}

impl GrowthParameters {
    fn settings(&self, seed: u64) -> GrowthSettings {
        GrowthSettings {
            growth: chosen(&self.growth),
            step: whole(&self.step),
            every: count(&self.every),
            order: chosen(&self.order),
            copies_grow: self.copies_grow.value(),
            seed,
        }
    }
}

impl FoldParameters {
    fn settings(&self) -> FoldSettings {
        FoldSettings {
            fold: chosen(&self.fold),
            source_tonic: chosen_or_auto::<Tonic>(&self.source_tonic).map(|tonic| tonic.0),
            source_mode: chosen_or_auto(&self.source_mode),
            target_tonic: chosen::<Tonic>(&self.target_tonic).0,
            target_mode: chosen(&self.target_mode),
            amount: share(&self.amount),
            ..FoldSettings::default()
        }
    }
}

impl OutputParameters {
    fn settings(&self) -> OutputSettings {
        OutputSettings {
            all_on_one: chosen::<Channels>(&self.channels) == Channels::AllOnOne,
            steady_level: share(&self.steady_level) as f32,
            width: share(&self.width),
            ..OutputSettings::default()
        }
    }
}

impl LineParameters {
    fn settings(&self) -> ResultingSettings {
        ResultingSettings {
            which: chosen(&self.which),
            level: share(&self.level) as f32,
            octave: whole(&self.octave),
            ..ResultingSettings::default()
        }
    }
}

impl CopyParameters {
    fn settings(&self) -> CopySettings {
        CopySettings {
            offset: amount(&self.offset),
            level: share(&self.level) as f32,
            octave: whole(&self.octave),
            ..CopySettings::default()
        }
    }
}

impl SteadyParameters {
    fn settings(&self) -> SteadySettings {
        SteadySettings {
            hearing: Hearing {
                mute: self.mute.value(),
                solo: self.solo.value(),
            },
            program: program(&self.program),
            ..SteadySettings::default()
        }
    }
}

impl TouchParameters {
    fn settings(&self) -> TouchSettings {
        TouchSettings {
            swing: amount(&self.swing),
            timing: share(&self.timing),
            velocity: share(&self.velocity),
            accents: share(&self.accents),
        }
    }
}

impl MaterialParameters {
    fn settings(&self, own: CopySettings) -> CopySettings {
        CopySettings {
            degrees: whole(&self.degrees),
            semitones: whole(&self.semitones),
            backwards: self.backwards.value(),
            upside_down: self.upside_down.value(),
            hearing: Hearing {
                mute: self.mute.value(),
                solo: self.solo.value(),
            },
            program: program(&self.program),
            ..own
        }
    }
}

/// The programs of General MIDI, a marimba to begin with.
fn programs() -> Whole {
    let last = i32::from(PROGRAMS);
    Whole::new(1..=last, PROGRAM, Program::MARIMBA.number().into()).named(PROGRAM_NAMES)
}

fn program(parameter: &IntParam) -> Program {
    let number = u8::try_from(whole(parameter)).ok();
    number.and_then(Program::new).unwrap_or_default()
}

/// Off to begin with: most have an instrument behind.
fn audition_level() -> Amount {
    Amount::decibels(LOWEST_LEVEL_DB).or_below("Off")
}

/// The value in dB, to a tenth; none below the quietest, which is off.
fn level(parameter: &FloatParam) -> Option<f32> {
    let level = in_parts_of(10.0, parameter) as f32;
    (level >= LOWEST_LEVEL_DB).then_some(level)
}

/// The value, in range.
fn whole(parameter: &IntParam) -> i32 {
    match parameter.range() {
        IntRange::Linear { min, max } => parameter.value().clamp(min, max),
        IntRange::Reversed(_) => parameter.value(),
    }
}

/// A number of steps; none if it stands below the fewest.
fn steps(parameter: &IntParam) -> Option<u32> {
    Some(count(parameter)).filter(|steps| *steps > 0)
}

/// The value of a parameter whose range has no negative numbers.
fn count(parameter: &IntParam) -> u32 {
    whole(parameter).max(0).unsigned_abs()
}

/// The value in range, to a hundredth, without the noise of `f32`.
fn amount(parameter: &FloatParam) -> f64 {
    in_parts_of(100.0, parameter)
}

/// The value in range, to the nearest of so many parts of one.
fn in_parts_of(one: f64, parameter: &FloatParam) -> f64 {
    let value = match parameter.value() {
        value if value.is_nan() => parameter.default_plain_value(),
        value => value,
    };
    let within = match parameter.range() {
        FloatRange::Linear { min, max } => value.clamp(min, max),
        _ => value,
    };
    // Counted in f32, as the text is.
    f64::from((within / (1.0 / one as f32)).round()) / one
}

/// The value of a parameter in percent, to a tenth of one, as a factor.
fn share(parameter: &FloatParam) -> f64 {
    in_parts_of(10.0, parameter) / 100.0
}

/// The option chosen.
fn chosen<T: Worded>(parameter: &IntParam) -> T {
    option(parameter.value()).unwrap_or_default()
}

/// The option chosen, of a list that opens with "Auto".
fn chosen_or_auto<T: Worded>(parameter: &IntParam) -> Option<T> {
    option(parameter.value().saturating_sub(1))
}

fn option<T: Worded>(index: i32) -> Option<T> {
    T::ALL.get(usize::try_from(index).ok()?).copied()
}

/// Saves every choice by its lasting id, beside the places in the lists that the framework saves,
/// so that saved projects do not depend on the order of a list.
pub(crate) struct SavedChoices {
    of: Vec<(&'static str, Arc<IntParam>)>,
}

/// The saved choices of a state: parameter id to option id.
pub(crate) type ChoiceIds = BTreeMap<String, String>;

impl SavedChoices {
    fn new<const N: usize>(of: [(&'static str, &Arc<IntParam>); N]) -> Self {
        Self {
            of: of.map(|(id, parameter)| (id, parameter.clone())).into(),
        }
    }

    /// Takes them out of a saved state; none if they cannot be read.
    pub(crate) fn take_from(state: &mut PluginState) -> ChoiceIds {
        let saved = state.fields.remove(CHOICES);
        let read = saved.and_then(|json| serde_json::from_str(&json).ok());
        read.unwrap_or_default()
    }
}

impl PersistentField<'_, ChoiceIds> for SavedChoices {
    /// Nothing: [`crate::state::filter`] has put the ids in force before.
    fn set(&self, _: ChoiceIds) {}

    fn map<F, R>(&self, f: F) -> R
    where
        F: Fn(&ChoiceIds) -> R,
    {
        let saved = self.of.iter().filter_map(|(id, parameter)| {
            let declaration = DECLARATIONS
                .iter()
                .find(|declaration| declaration.id == *id)?;
            let Kind::Choice(list) = &declaration.kind else {
                return None;
            };
            let option = list.id(parameter.unmodulated_plain_value())?;
            Some(((*id).to_owned(), option.to_owned()))
        });
        f(&saved.collect())
    }
}

/// Whether voices have channels of their own.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
enum Channels {
    #[default]
    OneEach,
    AllOnOne,
}

/// A pitch class as a tonic.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Tonic(u8);

impl Worded for Channels {
    const ALL: &'static [Self] = &[Self::OneEach, Self::AllOnOne];

    fn wording(self) -> Wording {
        match self {
            Self::OneEach => Wording::new("one_each", "One each"),
            Self::AllOnOne => Wording::new("all_on_one", "All on one"),
        }
    }
}

impl Worded for Tonic {
    const ALL: &'static [Self] = &[
        Self(0),
        Self(1),
        Self(2),
        Self(3),
        Self(4),
        Self(5),
        Self(6),
        Self(7),
        Self(8),
        Self(9),
        Self(10),
        Self(11),
    ];

    // Spelt as keys are, each black one by the name that is nearer to C on the circle of fifths.
    fn wording(self) -> Wording {
        match self.0 {
            0 => Wording::new("c", "C").also(&["B#"]),
            1 => Wording::new("c_sharp", "D♭").also(&["C#"]),
            2 => Wording::new("d", "D"),
            3 => Wording::new("e_flat", "E♭").also(&["D#"]),
            4 => Wording::new("e", "E").also(&["Fb"]),
            5 => Wording::new("f", "F").also(&["E#"]),
            6 => Wording::new("f_sharp", "F♯").also(&["Gb"]),
            7 => Wording::new("g", "G"),
            8 => Wording::new("a_flat", "A♭").also(&["G#"]),
            9 => Wording::new("a", "A"),
            10 => Wording::new("b_flat", "B♭").also(&["A#"]),
            _ => Wording::new("b", "B").also(&["Cb"]),
        }
    }
}
