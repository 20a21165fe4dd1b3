//! What can go wrong when a file is written, said plainly: cause and remedy.

use std::fmt;
use std::io::{Error, ErrorKind};
use std::path::{Path, PathBuf};

/// Why a file was not written.
#[derive(Clone, Debug, PartialEq)]
pub enum Trouble {
    /// The folder is a file.
    FolderIsFile(PathBuf),
    /// The name is too long.
    NameTooLong,
    /// Nothing may be written there.
    Forbidden(PathBuf),
    /// The disk is full.
    Full(PathBuf),
    /// The disk takes no file of that size.
    TooLarge(PathBuf),
    /// There is a folder where the file would go.
    FileIsFolder(PathBuf),
    /// The file has come to be there meanwhile.
    CameBetween(PathBuf),
    /// The folder has gone meanwhile.
    FolderGone(PathBuf),
    /// The system says something else.
    Other(PathBuf, String),
    /// What is to be written cannot be made; why not, and what to do.
    NotMade(String),
    /// It was stopped.
    Stopped,
}

impl Trouble {
    /// What an error of the system means for the file at `path`.
    pub fn of(error: &Error, path: &Path) -> Self {
        let (file, folder) = (path.to_owned(), folder_of(path));
        match error.kind() {
            ErrorKind::PermissionDenied | ErrorKind::ReadOnlyFilesystem => Self::Forbidden(folder),
            ErrorKind::StorageFull | ErrorKind::QuotaExceeded => Self::Full(folder),
            ErrorKind::FileTooLarge => Self::TooLarge(file),
            ErrorKind::IsADirectory => Self::FileIsFolder(file),
            ErrorKind::AlreadyExists => Self::CameBetween(file),
            ErrorKind::NotFound => Self::FolderGone(folder),
            ErrorKind::NotADirectory => Self::FolderIsFile(folder),
            ErrorKind::InvalidFilename => Self::NameTooLong,
            _ => Self::Other(file, error.to_string()),
        }
    }
}

fn folder_of(path: &Path) -> PathBuf {
    path.parent().unwrap_or(path).to_owned()
}

impl fmt::Display for Trouble {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::FolderIsFile(path) => write!(
                f,
                "{} is a file, not a folder: choose the folder it is in, or another.",
                path.display()
            ),
            Self::NameTooLong => {
                write!(f, "The name is too long for a file: choose a shorter one.")
            }
            Self::Forbidden(folder) => write!(
                f,
                "Nothing may be written in {}: change its permissions, or choose another folder.",
                folder.display()
            ),
            Self::Full(folder) => write!(
                f,
                "The disk that {} is on is full: make room, or choose a folder on another. No part of a file was left.",
                folder.display()
            ),
            Self::TooLarge(path) => write!(
                f,
                "The disk takes no file as large as {} would be: choose a folder on another, or make the piece shorter. No part of it was left.",
                path.display()
            ),
            Self::FileIsFolder(path) => write!(
                f,
                "{} is a folder, which no file can replace: choose another name.",
                path.display()
            ),
            Self::CameBetween(path) => write!(
                f,
                "{} came to be there in the meantime and was left as it is: write again to decide about it.",
                path.display()
            ),
            Self::FolderGone(folder) => write!(
                f,
                "The folder {} is gone: is its disk still connected? Write again to make it anew.",
                folder.display()
            ),
            Self::Other(path, why) => write!(
                f,
                "{} cannot be written ({why}): try another folder.",
                path.display()
            ),
            Self::NotMade(why) => write!(f, "{why}"),
            Self::Stopped => write!(f, "Stopped, as you asked. No part of a file was left."),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_the_system_says_is_put_plainly_with_a_remedy() {
        let path = Path::new("/quay/night.mid");
        let said = |kind: ErrorKind| Trouble::of(&kind.into(), path).to_string();
        for (kind, cause, remedy) in [
            (
                ErrorKind::PermissionDenied,
                "may be written in /quay:",
                "permissions",
            ),
            (
                ErrorKind::ReadOnlyFilesystem,
                "may be written in /quay:",
                "another folder",
            ),
            (ErrorKind::StorageFull, "is full", "make room"),
            (ErrorKind::QuotaExceeded, "is full", "make room"),
            (ErrorKind::FileTooLarge, "no file as large", "shorter"),
            (ErrorKind::NotFound, "/quay is gone", "Write again"),
            (
                ErrorKind::NotADirectory,
                "/quay is a file",
                "choose the folder",
            ),
            (
                ErrorKind::IsADirectory,
                "/quay/night.mid is a folder",
                "another name",
            ),
            (
                ErrorKind::AlreadyExists,
                "/quay/night.mid came",
                "write again",
            ),
            (
                ErrorKind::TimedOut,
                "cannot be written (timed out)",
                "another folder",
            ),
        ] {
            let said = said(kind);
            assert!(said.contains(cause) && said.contains(remedy), "{said}");
        }
    }
}
