//! Files out and in: which there are, where they go, how they are written, and how one is read.
//! Knows no window.
//!
//! [`place`] reads what was typed, [`made`] makes what stands in a file, [`put`](mod@procession_core::exchange::put) writes it so that
//! nothing is lost, and [`Writer`] does all that on a thread of its own. [`Reader`] takes a
//! phrase, or a route, out of a file on another, or listens to a recording ([`hear`]).

pub mod made;
pub mod place;
mod listening;
mod reader;
mod writer;
mod trouble;
pub mod unseen;

pub use listening::{Heard, Spoken, hear};
pub use reader::{Answer, Reader, Told, Wanted};
pub use trouble::Trouble;
pub use writer::{Ending, Report, Writer, Writing};

use procession_core::exchange::score::{Layout, Transposition};
use procession_core::note::Note;
use procession_core::part::Part;
use procession_core::performed::Recollection;
use procession_core::process::Process;
use procession_core::reciter::{Along, Utterance};
use std::path::PathBuf;
use std::sync::Arc;

/// A file that can be written of a process.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FileKind {
    /// A Standard MIDI File.
    Midi,
    /// What the mallets make of it.
    Sound,
    /// A score, its moving parts written against a beat one or another.
    Score(Layout),
    /// The plan in words.
    PlanText,
    /// The plan for programs.
    PlanJson,
    /// The picture, in pixels.
    PicturePng,
    /// The picture, in lines.
    PictureSvg,
    /// What the mallets make of each voice, a file for each: see [`Self::each`].
    Voices,
    /// What the mallets make of one part.
    Voice(Part),
    /// The recording that goes along.
    Spoken,
    /// A score for each player, a file for each.
    Players,
    /// What one player reads.
    Player(Part),
}

impl FileKind {
    /// In the order in which they are offered and written.
    pub const ALL: [Self; 10] = [
        Self::Midi,
        Self::Score(Layout::SharedBeatOne),
        Self::Score(Layout::OwnBeatOne),
        Self::Players,
        Self::PlanText,
        Self::PlanJson,
        Self::PicturePng,
        Self::PictureSvg,
        Self::Sound,
        Self::Voices,
    ];

    /// The files that are meant, if `subject` is written.
    pub fn each(self, subject: &Subject) -> Vec<Self> {
        let process = &subject.process;
        let spoken = subject.speaker().map(|_| Self::Spoken);
        match self {
            Self::Voices => process.parts().map(Self::Voice).chain(spoken).collect(),
            Self::Players => process.parts().map(Self::Player).collect(),
            one => vec![one],
        }
    }

    /// What it is called.
    pub fn name(self) -> &'static str {
        match self {
            Self::Midi => "MIDI",
            Self::Sound => "Sound, WAV",
            Self::Score(Layout::SharedBeatOne) => "Score, shared beat one",
            Self::Score(Layout::OwnBeatOne) => "Score, own beat one",
            Self::PlanText => "Plan as text",
            Self::PlanJson => "Plan as JSON",
            Self::PicturePng => "Picture, PNG",
            Self::PictureSvg => "Picture, SVG",
            Self::Voices | Self::Voice(_) | Self::Spoken => "Voices apart, WAV",
            Self::Players | Self::Player(_) => "Players' parts",
        }
    }

    /// What it is good for.
    pub fn purpose(self) -> &'static str {
        match self {
            Self::Midi => "for a sequencer: a track a voice, the stages as markers",
            Self::Sound => "to listen to: the mallets, stereo, 24 bit, -18 LUFS",
            Self::Score(Layout::SharedBeatOne) => {
                "for players: MusicXML, all parts written against one bar"
            }
            Self::Score(Layout::OwnBeatOne) => {
                "for players: MusicXML, each moving part written from its own bar"
            }
            Self::PlanText => "to read: what happens in which bar, and what sounds",
            Self::PlanJson => "the same for other programs",
            Self::PicturePng => "to look at: plan and notes",
            Self::PictureSvg => "the same in lines, for print and other programs",
            Self::Voices | Self::Voice(_) | Self::Spoken => {
                "to mix: a sound file a voice, together the mix before its limiter"
            }
            Self::Players | Self::Player(_) => {
                "for each player: MusicXML, their part alone, in the bars of the score"
            }
        }
    }

    /// The end of the file's name: two kinds of one name never meet.
    pub fn ending(self) -> String {
        let ending = match self {
            Self::Midi => ".mid",
            Self::Sound => ".wav",
            Self::Score(Layout::SharedBeatOne) => ".musicxml",
            Self::Score(Layout::OwnBeatOne) => ", own beat one.musicxml",
            Self::PlanText => ".txt",
            Self::PlanJson => ".json",
            Self::PicturePng => ".png",
            Self::PictureSvg => ".svg",
            Self::Voices => ", voices.wav",
            Self::Players => ", parts.musicxml",
            Self::Spoken => ", spoken.wav",
            Self::Voice(part) => return format!(", {}.wav", part.to_string().to_lowercase()),
            Self::Player(part) => {
                return format!(", {}.musicxml", part.to_string().to_lowercase());
            }
        };
        ending.to_owned()
    }
}

/// What becomes of files that are there already under the names that are wanted.
#[derive(Clone, Debug, Default, PartialEq)]
pub enum There {
    /// Nothing is written before that is decided.
    #[default]
    Ask,
    /// Just these give way to new ones.
    Replace(Vec<PathBuf>),
    /// They stay, and all new ones get a number after their name.
    Number,
    /// They stay, and only those that are missing are written.
    Leave,
}

/// What is to be written, and where.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Order {
    /// As it was typed.
    pub folder: String,
    /// As it was typed; also what the piece is called.
    pub name: String,
    /// One or more.
    pub kinds: Vec<FileKind>,
    /// Whether a folder that is missing is made.
    pub make_folder: bool,
    /// What becomes of files that are there.
    pub there: There,
    /// How each part's instrument sounds, the steady one's first.
    pub transpositions: Vec<Transposition>,
}

/// What there is to write of.
#[derive(Clone, Debug)]
pub struct Subject {
    /// Whose voices move.
    pub process: Process,
    /// What was performed of it.
    pub performed: Arc<Recollection>,
    /// Beats a minute.
    pub tempo: f64,
    /// Beats a bar.
    pub beats_per_bar: f64,
    /// The recording that goes along, if it is heard.
    pub voice: Option<Speaker>,
}

/// The recording that goes along with a phrase of speech, as it is heard.
#[derive(Clone, Debug)]
pub struct Speaker {
    /// What was said.
    pub utterance: Arc<Utterance>,
    /// How loud, and with whom.
    pub along: Along,
    /// How loud audition plays the mallets beside it, in dB; none while it is off.
    pub audition: Option<f32>,
}

impl Subject {
    /// The recording that goes along, if it is heard with any note.
    pub fn speaker(&self) -> Option<&Speaker> {
        let is_said = |note: &Note| note.said.is_some();
        let speaks = self.process.phrase().notes().iter().any(is_said);
        let voice = self.voice.as_ref().filter(|_| speaks);
        voice.filter(|voice| voice.along.level.is_some())
    }
}

/// A reason as a sentence of its own. Reasons begin small and end without a point, for they follow
/// a file's name elsewhere.
pub fn sentence(reason: impl std::fmt::Display) -> String {
    let reason = reason.to_string();
    let mut signs = reason.chars();
    let first = signs.next().into_iter().flat_map(char::to_uppercase);
    format!("{}{}.", first.collect::<String>(), signs.as_str())
}
