//! Loading: the one place where a host has to take foreign code on trust.
//!
//! Rust cannot look behind a C function table. Whoever opens a library vouches that it keeps to
//! CLAP; here that is our own plug-in, and everything after this file is safe.
#![expect(
    unsafe_code,
    reason = "a plug-in is a table of C functions, trusted to be CLAP"
)]

use super::Error;
use clack_host::entry::{EntryDescriptor, PluginEntry};
use clack_host::process::audio_buffers::InputAudioBuffers;
use std::path::Path;

/// A library of plug-ins, opened.
pub struct Library(pub(super) PluginEntry);

impl Library {
    /// Opens a built plug-in: the file `Procession.clap`, or the bundle of that name on macOS.
    ///
    /// # Errors
    /// The file is missing, or is no CLAP library for this system.
    pub fn open(path: &Path) -> Result<Self, Error> {
        if !path.exists() {
            return Err(Error::new(format!(
                "there is no plug-in at {}: build it with `cargo xtask bundle --debug` (for tests) or `cargo xtask bundle`",
                path.display()
            )));
        }
        // SAFETY: the caller names a CLAP plug-in, by the contract of this function.
        unsafe { PluginEntry::load(path) }
            .map(Self)
            .map_err(|error| Error::new(format!("{} cannot be loaded: {error}", path.display())))
    }

    /// The plug-in that `cargo xtask test` has built, or `cargo xtask bundle --debug`.
    ///
    /// # Errors
    /// As for [`Library::open`].
    pub fn built() -> Result<Self, Error> {
        if let Some(path) = std::env::var_os("PROCESSION_CLAP") {
            return Self::open(path.as_ref());
        }
        // A test lies in target/debug/deps.
        let program = std::env::current_exe().map_err(Error::new)?;
        let target = program.ancestors().nth(3).unwrap_or(Path::new("target"));
        Self::open(&target.join("bundled-debug/Procession.clap"))
    }

    /// The plug-in linked into this very program, so that the guard against allocation in
    /// `process` (part of its debug build) watches it, and a debugger sees it.
    ///
    /// ```text
    /// Library::linked(&procession::clap_entry)
    /// ```
    ///
    /// # Errors
    /// The entry does not initialise.
    pub fn linked(entry: &'static EntryDescriptor) -> Result<Self, Error> {
        // SAFETY: a table linked into this program, made by the framework's export.
        unsafe { PluginEntry::load_from_raw(entry, c"") }
            .map(Self)
            .map_err(|error| Error::new(format!("the linked plug-in does not start: {error}")))
    }
}

/// A block of `frames` frames without any audio bus: notes only.
pub(super) fn no_buses(frames: u32) -> InputAudioBuffers<'static> {
    // SAFETY: no buffer is named, so there is none that could be too short.
    unsafe { InputAudioBuffers::from_raw_buffers(&[], frames) }
}
