//! What can go wrong with files that are asked for, said plainly: cause and remedy.

use procession_core::exchange::put;
use std::fmt;
use std::path::PathBuf;

/// Why files were not written.
#[derive(Clone, Debug, PartialEq)]
pub enum Trouble {
    /// No folder was said.
    NoFolder,
    /// The folder is said from somewhere unknown.
    NotWholePath(String),
    /// There is no home folder for `~` to stand for.
    NoHome,
    /// The folder cannot be made; why not.
    FolderNotMade(PathBuf, String),
    /// No name was given.
    NoName,
    /// The name holds something that no file's name can everywhere.
    NameHolds(char),
    /// The name is one that a system keeps for itself.
    NameIsTaken(String),
    /// Nothing is chosen.
    NoKind,
    /// There is no phrase.
    NoPhrase,
    /// The writing itself went wrong.
    File(put::Trouble),
}

impl From<put::Trouble> for Trouble {
    fn from(trouble: put::Trouble) -> Self {
        Self::File(trouble)
    }
}

impl fmt::Display for Trouble {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoFolder => write!(
                f,
                "Say which folder the files go to: type or paste its path."
            ),
            Self::NotWholePath(typed) => write!(
                f,
                "\"{typed}\" does not say where it begins: type the whole path of the folder, or start it with ~/ for your home."
            ),
            Self::NoHome => write!(
                f,
                "This machine does not say where your home folder is: type the whole path of the folder."
            ),
            Self::FolderNotMade(path, why) => write!(
                f,
                "The folder {} cannot be made ({why}): choose one that is there.",
                path.display()
            ),
            Self::NoName => write!(f, "The files have no name: type one."),
            Self::NameHolds(sign) if sign.is_control() => write!(
                f,
                "The name holds a sign that cannot be seen, and no file's name can: type it anew."
            ),
            Self::NameHolds(sign) => write!(
                f,
                "No file's name can hold \"{sign}\": take it out. A folder belongs into the field for the folder."
            ),
            Self::NameIsTaken(name) => write!(
                f,
                "\"{name}\" is a name that systems keep for themselves: choose another."
            ),
            Self::NoKind => write!(f, "No file is chosen: switch on at least one."),
            Self::NoPhrase => write!(
                f,
                "There is no phrase to write of yet: play one and switch on Hold, or write one in the Phrase view."
            ),
            Self::File(trouble) => trouble.fmt(f),
        }
    }
}
