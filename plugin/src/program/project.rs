//! A project of the program's own: the state that a host would keep, in a file, and with it what is
//! the host's there, the tempo of the song.

use super::song::SongControl;
use crate::files::{Trouble, place};
use crate::params::Parameters;
use crate::state::{KEPT, Kept, WindowSize, filter};
use nice_plug::params::Params;
use nice_plug::plugin::PluginState;
use procession_core::engine::Anchor;
use procession_core::exchange::put::{self, Existing, put};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::fs;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

/// The end of a project's name.
pub const ENDING: &str = "procession";

/// The key in a project under which the song stands. Hosts have one of their own and pass it over.
pub const SONG: &str = "song";

/// The largest file that is read, in bytes: beyond any project, with eight sketches of the largest
/// form and as many takes as stay.
pub const LARGEST: u64 = 128 << 20;

/// What is kept of the song.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
struct KeptSong {
    /// Quarter notes a minute.
    tempo: f64,
}

/// A project that was read, and found whole.
#[derive(Clone, Debug)]
pub struct Opened {
    /// Where it was.
    pub path: PathBuf,
    /// What stood there.
    pub bytes: Vec<u8>,
    state: PluginState,
    song: Option<KeptSong>,
}

impl Opened {
    /// The tempo that is kept in it.
    pub fn tempo(&self) -> Option<f64> {
        self.song.map(|song| song.tempo)
    }

    /// Takes the place of what was there, as when a host loads a state.
    pub fn take_place(&self, parameters: &Parameters) {
        // In the order in which hosts do it: the parameters first.
        for (id, value) in &self.state.params {
            if let Some((_, parameter)) = parameters.of_id(id) {
                parameter.restore(value);
            }
        }
        parameters.deserialize_fields(&self.state.fields);
    }
}

/// The state as a host keeps it.
pub fn state_of(parameters: &Parameters) -> PluginState {
    let mut state = PluginState {
        version: env!("CARGO_PKG_VERSION").to_owned(),
        params: Default::default(),
        fields: parameters.serialize_fields(),
    };
    parameters.each(|declaration, parameter| {
        state
            .params
            .insert(declaration.id.clone(), parameter.saved());
    });
    state
}

/// What is written.
pub fn written(parameters: &Parameters, song: &SongControl) -> Vec<u8> {
    bytes(state_of(parameters), song)
}

/// What it would be a loss to lose: all that is written but how the window stands, where the song
/// was last started, and the two buttons that one plays on.
pub fn essence(parameters: &Parameters, song: &SongControl) -> Vec<u8> {
    let mut state = state_of(parameters);
    for played in ["hold", "cue"] {
        state.params.remove(played);
    }
    let mut kept = parameters.kept.current();
    kept.window = WindowSize {
        dark: false,
        ..Kept::default().window
    };
    kept.taken.anchor = Anchor::NextStart;
    state.fields.insert(KEPT.to_owned(), kept.to_json());
    bytes(state, song)
}

fn bytes(mut state: PluginState, song: &SongControl) -> Vec<u8> {
    let song = KeptSong {
        tempo: song.tempo(),
    };
    let as_text = |song| serde_json::to_string(song).unwrap_or_default();
    state.fields.insert(SONG.to_owned(), as_text(&song));
    // Numbers, words and lists under words: there is nothing in it that JSON could not say.
    serde_json::to_vec(&state).unwrap_or_default()
}

/// Reads a project.
///
/// # Errors
/// In plain words, when it is not there, not ours, of a newer version, or damaged.
pub fn open(path: &Path) -> Result<Opened, String> {
    let bytes = read(path)?;
    let unchanged = |why: &str| format!("{} cannot be opened: {why}", path.display());
    let foreign = || unchanged("it is not a project of Procession, or it is damaged.");
    let mut state: PluginState = serde_json::from_slice(&bytes).map_err(|_| foreign())?;
    let kept = state.fields.get(KEPT).ok_or_else(foreign)?;
    let kept: Value = serde_json::from_str(kept).map_err(|_| foreign())?;
    if let Some(notice) = Kept::default().restore(&kept) {
        return Err(unchanged(&notice.0));
    }
    // A state from a host has none.
    let song = match state.fields.get(SONG) {
        Some(text) => Some(serde_json::from_str(text).map_err(|_| foreign())?),
        None => None,
    };
    filter(&mut state);
    Ok(Opened {
        path: path.to_owned(),
        bytes,
        state,
        song,
    })
}

fn read(path: &Path) -> Result<Vec<u8>, String> {
    let shown = path.display();
    let trouble = |error: std::io::Error| match error.kind() {
        ErrorKind::NotFound => format!("There is no file {shown}."),
        ErrorKind::PermissionDenied => {
            format!("{shown} may not be read: change its permissions, or choose another file.")
        }
        _ => format!("{shown} cannot be read ({error})."),
    };
    let about = fs::metadata(path).map_err(trouble)?;
    if about.is_dir() {
        return Err(format!("{shown} is a folder: choose a project file in it."));
    }
    // Neither what never ends nor what waits for somebody to write.
    if !about.is_file() || about.len() > LARGEST {
        return Err(format!(
            "{shown} cannot be opened: it is not a project of Procession."
        ));
    }
    fs::read(path).map_err(trouble)
}

/// The file that a typed path means. One without an ending gets ours if it is `new`.
///
/// # Errors
/// In plain words, when it says no file.
pub fn path(typed: &str, home: Option<&Path>, new: bool) -> Result<PathBuf, String> {
    let mut path = place::folder(typed, home).map_err(|trouble| match trouble {
        Trouble::NoFolder => {
            "Type the path of a project file, for example ~/night.procession.".to_owned()
        }
        Trouble::NotWholePath(typed) => format!(
            "\"{typed}\" does not say where it begins: type the whole path of the file, or start \
             it with ~/ for your home."
        ),
        _ => {
            "This machine does not say where your home folder is: type the whole path of the file."
                .to_owned()
        }
    })?;
    if path.file_name().is_none() {
        return Err("The file has no name: type one after the folder.".to_owned());
    }
    if new && path.extension().is_none() && !path.is_dir() {
        path.set_extension(ENDING);
    }
    Ok(path)
}

/// What stands where a project is to be saved.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stands {
    /// Nothing.
    Nothing,
    /// What was read or written there last.
    TheSame,
    /// Something else.
    Another,
}

/// What stands at `path`, of which `known` was read or written last.
pub fn stands(path: &Path, known: &[u8]) -> Stands {
    match fs::symlink_metadata(path) {
        Err(_) => Stands::Nothing,
        Ok(_) => match read(path) {
            Ok(there) if there == known => Stands::TheSame,
            _ => Stands::Another,
        },
    }
}

/// Writes a project, whole or not at all.
///
/// # Errors
/// In plain words: what stands in the way.
pub fn save(path: &Path, existing: Existing, bytes: &[u8]) -> Result<(), String> {
    let fill = |file: &mut fs::File| put::bytes(file, bytes, path, || false);
    put(path, existing, put::create, fill).map_err(|trouble| trouble.to_string())
}
