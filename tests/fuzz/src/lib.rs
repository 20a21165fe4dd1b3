//! Whatever may come in from outside, as bytes, and what must be true of it however they are.
//!
//! Each [`Target`] takes any bytes and fails, by a panic, if a promise is broken. `tests/short.rs`
//! gives it what lies in `corpus/` under its name, whole and damaged by chance, with every
//! `cargo xtask test`; `cargo xtask fuzz` gives it, for as long as is wished, what the guide finds
//! to reach code that nothing reached before. What is found goes into the corpus.

mod file;
mod host;
mod plan;
mod sound;
mod state;
mod words;

/// One way in.
pub struct Target {
    /// Its name, and that of its folder in the corpus.
    pub name: &'static str,
    /// Takes the bytes.
    ///
    /// # Panics
    /// If a promise is broken.
    pub run: fn(&[u8]),
}

/// All ways in.
pub const TARGETS: [Target; 6] = [
    Target {
        name: "file",
        run: file::run,
    },
    Target {
        name: "sound",
        run: sound::run,
    },
    Target {
        name: "words",
        run: words::run,
    },
    Target {
        name: "plan",
        run: plan::run,
    },
    Target {
        name: "state",
        run: state::run,
    },
    Target {
        name: "host",
        run: host::run,
    },
];

/// The target of that name.
pub fn target(name: &str) -> Option<&'static Target> {
    TARGETS.iter().find(|target| target.name == name)
}
