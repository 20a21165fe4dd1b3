//! Prints where transposing by degree and turning over send keys, as JSON, so that an outside
//! reference can be asked the same: `cargo run --example degree_facts`.
//!
//! A line for each target mode and each of some distances: the tonic and semitones of the mode in
//! force, what the steady voice plays there, what copy 1 plays so many degrees above it, and what
//! it plays turned over about the first note.

use procession_core::mode::ModeName;
use procession_core::part::Part;
use procession_core::phrase::Phrase;
use procession_core::process::Process;
use procession_core::settings::{CopySettings, FoldKind, Settings};
use procession_core::time::Span;
use serde_json::{Value, json};

/// Invented: fourteen steps of D Dorian over two octaves.
const PHRASE: &str = "D4 A4 F4 C5 . E4 G4 B3 D5 A3 F5 G3 C4 D4";

const DISTANCES: [i32; 7] = [-9, -3, -1, 1, 2, 4, 11];

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut lines = Vec::new();
    for (place, (name, _)) in ModeName::shipped().enumerate() {
        let tonic = (place * 5 % 12) as u8;
        for degrees in DISTANCES {
            lines.push(line(tonic, name, degrees)?);
        }
    }
    println!("{}", serde_json::to_string(&lines)?);
    Ok(())
}

fn line(tonic: u8, name: ModeName, degrees: i32) -> Result<Value, Box<dyn std::error::Error>> {
    let played = |own: CopySettings| -> Result<Process, Box<dyn std::error::Error>> {
        let mut settings = Settings::default();
        settings.fold.fold = FoldKind::ByDegree;
        settings.fold.target_tonic = tonic;
        settings.fold.target_mode = name;
        settings.copies[0] = own;
        Ok(Process::new(
            Phrase::from_text(PHRASE, 0.25)?,
            settings,
            0.0,
        ))
    };
    let moved = played(CopySettings {
        degrees,
        ..CopySettings::default()
    })?;
    let turned = played(CopySettings {
        upside_down: true,
        ..CopySettings::default()
    })?;
    let mode = moved.mode_at(0.0);
    Ok(json!({
        "mode": name.id(),
        "tonic": mode.tonic(),
        "semitones": mode.steps().iter().collect::<Vec<_>>(),
        "degrees": degrees,
        "steady": keys(&moved, Part::Steady),
        "moved": keys(&moved, Part::COPY_1),
        "turned_over": keys(&turned, Part::COPY_1),
    }))
}

fn keys(process: &Process, part: Part) -> Vec<u8> {
    let cycle = Span::new(0.0, process.phrase().length());
    (process.notes(part, cycle))
        .map(|note| note.key.number())
        .collect()
}
