//! Procession as a program: for those with no host at hand.
//!
//! The same plug-in, between the audio and MIDI of the system, with a song and a project of its
//! own.

use nice_plug::prelude::nice_export_standalone_with_args;
use procession::Program;
use procession::program::start::{HELP, Start, has_window_opened, wait_with};
use std::process::ExitCode;

fn main() -> ExitCode {
    if std::env::args().any(|word| matches!(word.as_str(), "--help" | "-h")) {
        print!("{HELP}");
    }
    let start = match Start::read(std::env::args()) {
        Ok(start) => start,
        Err(refusal) => {
            eprintln!("{refusal}");
            return ExitCode::FAILURE;
        }
    };
    eprintln!(
        "Procession looks for the system's audio and MIDI. Where there are none, its window opens \
         all the same, silent, and the lines below say so. Audition starts on, quietly."
    );
    // One after the other, so that the window can say which it is.
    for (backend, words) in start.tries() {
        wait_with(start.over(backend));
        if nice_export_standalone_with_args::<Program, _>(words) {
            return ExitCode::SUCCESS;
        }
        if has_window_opened() {
            break;
        }
    }
    ExitCode::FAILURE
}
