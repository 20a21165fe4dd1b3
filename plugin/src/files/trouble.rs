//! What can go wrong with files that are asked for, said plainly: cause and remedy.

use procession_core::exchange::put;
use std::path::PathBuf;
use thiserror::Error;

/// Why files were not written.
#[derive(Clone, Debug, Error, PartialEq)]
pub enum Trouble {
    /// No folder was said.
    #[error("Say which folder the files go to: type or paste its path.")]
    NoFolder,
    /// The folder is said from somewhere unknown.
    #[error(
        "\"{0}\" does not say where it begins: type the whole path of the folder, or start it with ~/ for your home."
    )]
    NotWholePath(String),
    /// There is no home folder for `~` to stand for.
    #[error(
        "This machine does not say where your home folder is: type the whole path of the folder."
    )]
    NoHome,
    /// The folder cannot be made; why not.
    #[error("The folder {0} cannot be made ({1}): choose one that is there.")]
    FolderNotMade(PathBuf, String),
    /// No name was given.
    #[error("The files have no name: type one.")]
    NoName,
    /// The name holds something that no file's name can everywhere.
    #[error("{}", name_holds(*.0))]
    NameHolds(char),
    /// The name is one that a system keeps for itself.
    #[error("\"{0}\" is a name that systems keep for themselves: choose another.")]
    NameIsTaken(String),
    /// Nothing is chosen.
    #[error("No file is chosen: switch on at least one.")]
    NoKind,
    /// There is no phrase.
    #[error(
        "There is no phrase to write of yet: play one and switch on Hold, or write one in the Phrase view."
    )]
    NoPhrase,
    /// The writing itself went wrong.
    #[error(transparent)]
    File(#[from] put::Trouble),
}

fn name_holds(sign: char) -> String {
    if sign.is_control() {
        return "The name holds a sign that cannot be seen, and no file's name can: type it anew."
            .to_owned();
    }
    format!(
        "No file's name can hold \"{sign}\": take it out. A folder belongs into the field for the folder."
    )
}
