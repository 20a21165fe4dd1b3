//! A folder that is gone when the test is.

#![allow(
    dead_code,
    clippy::unwrap_used,
    reason = "shared by tests that use a part each"
)]

use std::fs;
use std::path::{Path, PathBuf};
use tempfile::TempDir;

/// Where the files of a test are landed.
pub struct Quay(TempDir);

impl Quay {
    pub fn new() -> Self {
        Self(TempDir::new().unwrap())
    }

    pub fn folder(&self) -> &Path {
        self.0.path()
    }

    /// The place of a file, as it is typed.
    pub fn path(&self, name: &str) -> String {
        self.folder().join(name).display().to_string()
    }

    /// The files there are, in order.
    pub fn names(&self) -> Vec<String> {
        let entries = fs::read_dir(self.folder()).unwrap();
        let mut names: Vec<_> = entries
            .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned())
            .collect();
        names.sort();
        names
    }

    /// A file with that in it.
    pub fn put(&self, name: &str, content: impl AsRef<[u8]>) -> PathBuf {
        let path = self.folder().join(name);
        fs::write(&path, content).unwrap();
        path
    }
}
