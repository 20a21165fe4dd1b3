//! The settings: the plain values of all the parameters, as the engine reads them.

use crate::mode::{ModeName, PitchSet};
use crate::part::{CopyNumber, MAX_PARTS, Part};
use crate::program::Program;
use crate::time::Beats;

mod choices;

pub use crate::part::MAX_COPIES;
pub use choices::{
    Advance, BeginOn, CopiesMove, EndOn, FoldKind, GoesWith, Grid, Growth, GrowthOrder, ListenTo,
    Mallet, Motion, Resulting, Worded, Wording, bared, plain,
};

/// How many shifts there are before the offset reached is held.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Shifts {
    /// Once round to unison.
    #[default]
    Auto,
    /// That many.
    Count(u32),
    /// On and on.
    Endless,
}

/// The most bars that are counted in.
pub const MAX_COUNT_IN: u32 = 2;

/// Where the process begins, and how it ends.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Beginning {
    /// The boundary that hold going on is moved to.
    pub begin_on: BeginOn,
    /// What hold going off waits for.
    pub end_on: EndOn,
    /// Bars of click before the first note, 0 ..= [`MAX_COUNT_IN`].
    pub count_in: u32,
    /// The song position that the composer wrote down for it, if one is. It goes before all else.
    pub at: Option<Beats>,
}

/// How the phrase is taken out of what was played.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CaptureSettings {
    /// The step.
    pub grid: Grid,
    /// The last that many steps (1 ..= 128), or found by listening.
    pub length: Option<u32>,
    /// 0 leaves onsets where they were played, 1 puts them on the grid.
    pub snap: f64,
}

impl Default for CaptureSettings {
    fn default() -> Self {
        Self {
            grid: Grid::default(),
            length: None,
            snap: 1.0,
        }
    }
}

/// The most modulations of a plan.
pub const MAX_MODULATIONS: usize = 16;

/// Where a modulation begins.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Place {
    /// With that stage of the form, counted from 1. One that never comes is never reached.
    Stage(u32),
    /// So many beats after the origin.
    Beats(Beats),
}

/// Another mode from a place on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Modulation {
    /// Where it begins.
    pub place: Place,
    /// Tonic pitch class 0 ..= 11.
    pub tonic: u8,
    /// The mode.
    pub mode: ModeName,
    /// Cycles over which the differing pitch classes turn, 0 ..= 64; 0 is all at once.
    pub over: u32,
}

/// The modulation plan, in the order in which it was written.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Modulations {
    list: [Option<Modulation>; MAX_MODULATIONS],
}

impl Modulations {
    /// These, as many as there is room for.
    pub fn new(modulations: impl IntoIterator<Item = Modulation>) -> Self {
        let mut all = Self::default();
        for (place, modulation) in all.list.iter_mut().zip(modulations) {
            *place = Some(modulation);
        }
        all
    }

    /// In the order in which they were written.
    pub fn iter(&self) -> impl Iterator<Item = &Modulation> {
        self.list.iter().flatten()
    }

    /// One of them.
    pub fn get(&self, index: usize) -> Option<&Modulation> {
        self.list.get(index)?.as_ref()
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.list[0].is_none()
    }

    /// Whether any depends on where stages are.
    pub fn follow_stages(&self) -> bool {
        self.iter()
            .any(|modulation| matches!(modulation.place, Place::Stage(_)))
    }
}

/// What one copy has of its own.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CopySettings {
    /// Steps ahead, added to the shared offset; -32 ..= 32.
    pub offset: f64,
    /// Scales velocity; 0 is silence, 2 is double.
    pub level: f32,
    /// Octaves up, -3 ..= 3.
    pub octave: i32,
    /// Degrees up in the mode that is in force, -14 ..= 14.
    pub degrees: i32,
    /// Semitones up, -12 ..= 12.
    pub semitones: i32,
    /// Steps of a cycle of its own (1 ..= 128), or the phrase's.
    pub length: Option<u32>,
    /// The phrase is read from its end to its beginning.
    pub backwards: bool,
    /// The phrase is turned over, degree by degree, about its first note.
    pub upside_down: bool,
    /// Who is heard.
    pub hearing: Hearing,
    /// The program that files name for it.
    pub program: Program,
    /// What it is heard on, with no instrument behind.
    pub mallet: Mallet,
}

impl Default for CopySettings {
    fn default() -> Self {
        Self {
            offset: 0.0,
            level: 1.0,
            octave: 0,
            degrees: 0,
            semitones: 0,
            length: None,
            backwards: false,
            upside_down: false,
            hearing: Hearing::default(),
            program: Program::default(),
            mallet: Mallet::default(),
        }
    }
}

/// Whether a voice is heard, whatever its level.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Hearing {
    /// It is not.
    pub mute: bool,
    /// Nobody else is, but for others of whom the same is said.
    pub solo: bool,
}

/// How players play what is written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TouchSettings {
    /// The first of two steps is so many times as long as the second, 1 ..= 3.5.
    pub swing: f64,
    /// The standard deviation of onsets, in steps: 0 ..= 0.25.
    pub timing: f64,
    /// The standard deviation of velocities, as a share of them: 0 ..= 0.25.
    pub velocity: f64,
    /// The share of its velocity that the weakest place in the bar loses, 0 ..= 1.
    pub accents: f64,
}

impl Default for TouchSettings {
    fn default() -> Self {
        Self {
            swing: 1.0,
            timing: 0.0,
            velocity: 0.0,
            accents: 0.0,
        }
    }
}

impl TouchSettings {
    /// Whether notes are played exactly as they are written.
    pub fn is_plain(&self) -> bool {
        *self == Self::default()
    }
}

/// What the steady voice has of its own, beside its level.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct SteadySettings {
    /// Who is heard.
    pub hearing: Hearing,
    /// The program that files name for it.
    pub program: Program,
    /// What it is heard on, with no instrument behind.
    pub mallet: Mallet,
}

/// How copies are displaced over time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MotionSettings {
    /// The moving voices in use, 0 ..= [`MAX_COPIES`].
    pub copies: usize,
    /// How they get to the next offset.
    pub motion: Motion,
    /// Steps that copy k stands k times ahead; -32 ..= 32.
    pub offset: f64,
    /// Steps of one shift, -8 ..= 8.
    pub shift_by: i32,
    /// Who moves.
    pub copies_move: CopiesMove,
    /// What ends a dwell.
    pub advance: Advance,
    /// Cycles locked at one offset, 1 ..= 64.
    pub dwell: u32,
    /// Cycles that a drift takes, 1 ..= 64.
    pub drift: u32,
    /// How many shifts.
    pub shifts: Shifts,
    /// Cycles between one copy's entry and the next, 0 ..= 64.
    pub entry: u32,
}

impl Default for MotionSettings {
    fn default() -> Self {
        Self {
            copies: 1,
            motion: Motion::default(),
            offset: 0.0,
            shift_by: 1,
            copies_move: CopiesMove::default(),
            advance: Advance::default(),
            dwell: 8,
            drift: 4,
            shifts: Shifts::default(),
            entry: 0,
        }
    }
}

/// How the phrase grows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct GrowthSettings {
    /// Whether, and how.
    pub growth: Growth,
    /// Notes added at a stage; negative takes away. -8 ..= 8.
    pub step: i32,
    /// Cycles between two steps, 1 ..= 32.
    pub every: u32,
    /// Which notes come first.
    pub order: GrowthOrder,
    /// Whether each copy grows from its own entry.
    pub copies_grow: bool,
    /// For [`GrowthOrder::Scattered`].
    pub seed: u64,
}

impl Default for GrowthSettings {
    fn default() -> Self {
        Self {
            growth: Growth::default(),
            step: 1,
            every: 2,
            order: GrowthOrder::default(),
            copies_grow: false,
            seed: 1,
        }
    }
}

/// How pitches are folded.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FoldSettings {
    /// Whether, and how.
    pub fold: FoldKind,
    /// Tonic pitch class 0 ..= 11 of the source, or found by listening.
    pub source_tonic: Option<u8>,
    /// Mode of the source, or found by listening.
    pub source_mode: Option<ModeName>,
    /// Tonic pitch class 0 ..= 11 of the target.
    pub target_tonic: u8,
    /// Mode of the target.
    pub target_mode: ModeName,
    /// 0 ..= 1: the share of the differing degrees that have moved.
    pub amount: f64,
    /// What [`ModeName::Custom`] stands for, as semitones above the tonic.
    pub custom: PitchSet,
}

impl Default for FoldSettings {
    fn default() -> Self {
        Self {
            fold: FoldKind::default(),
            source_tonic: None,
            source_mode: None,
            target_tonic: 0,
            target_mode: ModeName::Dorian,
            amount: 1.0,
            custom: PitchSet::CHROMATIC,
        }
    }
}

/// How voices leave.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OutputSettings {
    /// Every voice on the first channel, instead of a channel each.
    pub all_on_one: bool,
    /// Scales the steady voice's velocity; 0 is silence, 2 is double.
    pub steady_level: f32,
    /// 0 ..= 1: how far voices are spread left to right.
    pub width: f64,
    /// Whether notes that were said tell how far the voice was from their key.
    pub tuned: bool,
}

impl Default for OutputSettings {
    fn default() -> Self {
        Self {
            all_on_one: false,
            steady_level: 1.0,
            width: 0.6,
            tuned: false,
        }
    }
}

/// The resulting line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ResultingSettings {
    /// What it picks out.
    pub which: Resulting,
    /// Scales velocity; 0 is silence, 2 is double.
    pub level: f32,
    /// Octaves above what it doubles, -3 ..= 3.
    pub octave: i32,
    /// What it is heard on, with no instrument behind.
    pub mallet: Mallet,
}

impl Default for ResultingSettings {
    fn default() -> Self {
        Self {
            which: Resulting::default(),
            level: 1.0,
            octave: 0,
            mallet: Mallet::default(),
        }
    }
}

/// All that the engine reads while it plays. A plain value: copying it is all it takes.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Settings {
    /// How a phrase is taken, and the step all offsets are counted in.
    pub capture: CaptureSettings,
    /// How copies move.
    pub motion: MotionSettings,
    /// How the phrase grows.
    pub growth: GrowthSettings,
    /// Where pitches go.
    pub fold: FoldSettings,
    /// How voices leave.
    pub output: OutputSettings,
    /// Which modes follow on the one that the fold says.
    pub modulations: Modulations,
    /// The line picked out of all voices.
    pub resulting: ResultingSettings,
    /// What each copy has of its own.
    pub copies: [CopySettings; MAX_COPIES],
    /// What the steady voice has of its own.
    pub steady: SteadySettings,
    /// How players play what is written.
    pub touch: TouchSettings,
}

impl Settings {
    /// The length of one step.
    pub fn step(&self) -> Beats {
        self.capture.grid.beats()
    }

    /// Whether a part is heard, whatever its level: not if it is muted, nor if others play alone.
    /// The resulting line, which doubles them all, is not heard beside those who play alone.
    pub fn is_heard(&self, part: Part) -> bool {
        let copies = &self.copies[..self.motion.copies.min(MAX_COPIES)];
        let anybody_alone = self.steady.hearing.solo || copies.iter().any(|copy| copy.hearing.solo);
        let own = match part {
            Part::Steady => self.steady.hearing,
            Part::Copy(copy) => self.copies[copy.index()].hearing,
            Part::ResultingLine => Hearing::default(),
        };
        !own.mute && (own.solo || !anybody_alone)
    }

    /// The program that files name for a part; for the resulting line, a marimba.
    pub fn program(&self, part: Part) -> Program {
        match part {
            Part::Steady => self.steady.program,
            Part::Copy(copy) => self.copies[copy.index()].program,
            Part::ResultingLine => Program::MARIMBA,
        }
    }

    /// What each part is heard on, by its place, with no instrument behind.
    pub fn mallets(&self) -> [Mallet; MAX_PARTS] {
        Part::ALL.map(|part| match part {
            Part::Steady => self.steady.mallet,
            Part::Copy(copy) => self.copies[copy.index()].mallet,
            Part::ResultingLine => self.resulting.mallet,
        })
    }

    /// Steps that a copy is told to stand ahead, besides its shifts.
    pub fn standing_offset(&self, copy: CopyNumber) -> f64 {
        self.motion.offset * copy.number() as f64 + self.copies[copy.index()].offset
    }
}
