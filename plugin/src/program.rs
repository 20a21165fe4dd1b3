//! What only the program has: a song of its own, a project of its own, and a line to the system's
//! audio and MIDI. In a host all of this is the host's.

pub mod closing;
pub mod line;
pub mod project;
pub mod rescue;
pub mod song;
#[allow(clippy::disallowed_types, reason = "never on the audio thread")]
pub mod start;

use closing::Closing;
use line::{Line, LineEnd};
use project::Opened;
use song::{Song, SongControl};
use start::Start;
use std::path::PathBuf;
use std::sync::Arc;

/// The audio thread's end.
pub struct ProgramAudio {
    /// What the song does.
    pub song: Song,
    /// What comes from the system.
    pub line: LineEnd,
}

/// The window's end.
#[derive(Clone)]
pub struct Program {
    /// What the song is to do.
    pub song: SongControl,
    /// What comes from the system.
    pub line: Line,
    /// Whether the program is to end.
    pub closing: Arc<Closing>,
    /// The project that the program was started with, until it is shown.
    pub opened: Option<Opened>,
    /// The folder in which unsaved work is kept and looked for, if there is one.
    pub state_folder: Option<PathBuf>,
}

/// The two ends of a program that was started so.
pub fn program(start: &Start) -> (Program, ProgramAudio) {
    let (song, audio_song) = song::song(start.tempo_at_first());
    let (line, audio_line) = line::line(start.line.clone());
    let program = Program {
        song,
        line,
        closing: Arc::default(),
        opened: start.opened.clone(),
        state_folder: start.state_folder.clone(),
    };
    let audio = ProgramAudio {
        song: audio_song,
        line: audio_line,
    };
    (program, audio)
}
