//! What can go wrong when a file is written, said plainly: cause and remedy.

use std::io::{Error, ErrorKind};
use std::path::{Path, PathBuf};

/// Why a file was not written.
#[derive(Clone, Debug, thiserror::Error, PartialEq)]
pub enum Trouble {
    /// The folder is a file.
    #[error("{0} is a file, not a folder: choose the folder it is in, or another.")]
    FolderIsFile(PathBuf),
    /// The name is too long.
    #[error("The name is too long for a file: choose a shorter one.")]
    NameTooLong,
    /// Nothing may be written there.
    #[error("Nothing may be written in {0}: change its permissions, or choose another folder.")]
    Forbidden(PathBuf),
    /// The disk is full.
    #[error(
        "The disk that {0} is on is full: make room, or choose a folder on another. No part of a file was left."
    )]
    Full(PathBuf),
    /// The disk takes no file of that size.
    #[error(
        "The disk takes no file as large as {0} would be: choose a folder on another, or make the piece shorter. No part of it was left."
    )]
    TooLarge(PathBuf),
    /// There is a folder where the file would go.
    #[error("{0} is a folder, which no file can replace: choose another name.")]
    FileIsFolder(PathBuf),
    /// The file has come to be there meanwhile.
    #[error(
        "{0} came to be there in the meantime and was left as it is: write again to decide about it."
    )]
    CameBetween(PathBuf),
    /// The folder has gone meanwhile.
    #[error("The folder {0} is gone: is its disk still connected? Write again to make it anew.")]
    FolderGone(PathBuf),
    /// The system says something else.
    #[error("{0} cannot be written ({1}): try another folder.")]
    Other(PathBuf, String),
    /// What is to be written cannot be made; why not, and what to do.
    #[error("{0}")]
    NotMade(String),
    /// It was stopped.
    #[error("Stopped, as you asked. No part of a file was left.")]
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
