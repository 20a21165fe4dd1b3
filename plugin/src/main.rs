//! Procession as a program: for those with no host at hand.
//!
//! The same plug-in, between the audio and MIDI of the system, with no song: Hold starts the process.

use nice_plug::prelude::nice_export_standalone;
use procession::Program;
use std::process::ExitCode;

fn main() -> ExitCode {
    eprintln!(
        "Procession looks for the system's audio and MIDI. Where there are none, its window opens \
         all the same, silent, and the lines below say so. Audition starts on, quietly."
    );
    if nice_export_standalone::<Program>() {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}
