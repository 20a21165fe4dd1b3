//! What was not saved when the program had to end without asking, kept in a folder of the user's
//! and offered at the next start.

use super::project::{self, ENDING};
use procession_core::exchange::put::Existing;
use std::path::{Path, PathBuf};
use std::{env, fs};

/// The folder for what programs keep between two runs. On Linux that of the XDG Base Directory
/// Specification 0.8; elsewhere from memory.
pub fn folder() -> Option<PathBuf> {
    let named = |variable: &str| {
        env::var_os(variable)
            .map(PathBuf::from)
            .filter(|path| path.is_absolute())
    };
    let home = || env::home_dir();
    let folder = if cfg!(target_os = "windows") {
        named("LOCALAPPDATA")?
    } else if cfg!(target_os = "macos") {
        home()?.join("Library/Application Support")
    } else {
        named("XDG_STATE_HOME").or_else(|| Some(home()?.join(".local/state")))?
    };
    Some(folder.join("procession"))
}

/// Keeps `bytes` there; where they went.
///
/// # Errors
/// In plain words.
pub fn keep(folder: &Path, bytes: &[u8]) -> Result<PathBuf, String> {
    fs::create_dir_all(folder)
        .map_err(|error| format!("The folder {} cannot be made ({error}).", folder.display()))?;
    let free = (1..)
        .map(|number| place(folder, number))
        .find(|path| fs::symlink_metadata(path).is_err())
        .unwrap_or_else(|| place(folder, 1));
    project::save(&free, Existing::Keep, bytes)?;
    Ok(free)
}

/// The last that was kept there, if any.
pub fn kept(folder: &Path) -> Option<PathBuf> {
    let there = |path: &PathBuf| path.is_file();
    (1..)
        .map(|number| place(folder, number))
        .take_while(there)
        .last()
}

fn place(folder: &Path, number: u32) -> PathBuf {
    let name = match number {
        1 => "unsaved".to_owned(),
        _ => format!("unsaved {number}"),
    };
    folder.join(format!("{name}.{ENDING}"))
}
