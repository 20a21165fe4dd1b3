//! A piece unrolled and written to a file, beside the script that one would write with another
//! library: the same voices and as many notes, in the same run.

use crate::{references, workspace};
use anyhow::{Context, Result, ensure};
use procession_core::exchange::{Unrolled, midi};
use procession_core::phrase::Phrase;
use procession_core::process::Process;
use procession_core::settings::{Settings, Shifts};
use std::collections::BTreeMap;
use std::process::Command;
use std::time::{Duration, Instant};

const PHRASE: &str = "D4 A4 F4 C5 E4 B4 D5 A4 E5 C5 G4 F4 D4 E4 A4 G4 \
                      C5 B4 F4 A4 D5 E5 G4 C5 A4 F4 E4 D4 B4 G4 A4 C5";
const VOICES: usize = 8;
const TEMPO: f64 = 140.0;
const ROUNDS: usize = 5;

/// An hour of eight voices. At 140, that is 8400 beats; a shift takes eight cycles and four, of eight
/// beats.
const SHIFTS: u32 = 8_400 / (12 * 8);

/// What was made, and how long each took.
pub fn rows() -> Result<Vec<(String, String)>> {
    let (notes, took) = ours()?;
    let a_second = |took: f64| format!("{:.2} million notes/s", notes as f64 / took / 1e6);
    let mut rows = vec![(
        format!("an hour of {VOICES} voices, {notes} notes, unrolled and written as MIDI"),
        format!("{:.2} s, {}", took, a_second(took)),
    )];
    match theirs(notes)? {
        None => rows.push((
            "the same by a script".to_owned(),
            "not measured: cargo xtask test installs the libraries".to_owned(),
        )),
        Some(theirs) => rows.extend(theirs.into_iter().map(|(name, theirs)| {
            let times = theirs / took;
            (
                format!("the same by a script with {name}"),
                format!("{theirs:.2} s, {times:.0} x as long"),
            )
        })),
    }
    Ok(rows)
}

/// Notes, and seconds.
fn ours() -> Result<(usize, f64)> {
    let phrase = Phrase::from_text(PHRASE, 0.25)?;
    let mut settings = Settings::default();
    settings.motion.copies = VOICES - 1;
    settings.motion.shifts = Shifts::Count(SHIFTS);
    let process = Process::new(phrase, settings, 0.0);
    let folder = workspace::target()?.join("bench.mid");
    let (mut notes, mut best) = (0, Duration::MAX);
    for _ in 0..ROUNDS {
        let begun = Instant::now();
        let unrolled = Unrolled::new(process.clone(), TEMPO, 4.0);
        let score = midi::Score::of(&unrolled.piece("an hour"));
        std::fs::write(&folder, midi::write(&score)?).context("the file cannot be written")?;
        best = best.min(begun.elapsed());
        notes = unrolled.notes.len();
    }
    std::fs::remove_file(&folder).context("the file cannot be removed")?;
    ensure!(notes > 0, "nothing was unrolled");
    Ok((notes, best.as_secs_f64()))
}

/// Seconds, by library; none if there are no libraries here.
fn theirs(notes: usize) -> Result<Option<BTreeMap<String, f64>>> {
    let Some(python) = references::python()? else {
        return Ok(None);
    };
    let answer = Command::new(python)
        .arg("tests/references/_offline.py")
        .args([VOICES.to_string(), (notes / VOICES).to_string()])
        .arg(workspace::target()?)
        .current_dir(workspace::root())
        .env("PYTHONDONTWRITEBYTECODE", "1")
        .output()
        .context("the script cannot be started")?;
    let said = String::from_utf8_lossy(&answer.stderr);
    ensure!(answer.status.success(), "the script failed: {said}");
    let took =
        serde_json::from_slice(&answer.stdout).context("the script says nothing sensible")?;
    Ok(Some(took))
}
