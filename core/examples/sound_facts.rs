//! Writes half a minute for two players as a sound file and prints what is in it, for an outside
//! reader to compare, or to listen to:
//! `cargo run -p procession-core --example sound_facts -- crossing.wav`.
//!
//! A file that is there already is left alone.

use procession_core::exchange::sound::{FILE_SAMPLE_RATE, Sound};
use procession_core::phrase::Phrase;
use procession_core::process::{Process, VoiceNote};
use procession_core::settings::{Settings, Shifts};
use procession_core::time::Span;
use procession_core::unrolling::unroll;
use std::error::Error;
use std::fs::File;
use std::io::Write;

const TEMPO: f64 = 112.0;
const BEATS: f64 = 54.0;

fn main() -> Result<(), Box<dyn Error>> {
    let path = std::env::args()
        .nth(1)
        .ok_or("say where to write: sound_facts PATH.wav")?;
    let mut file =
        File::create_new(&path).map_err(|e| format!("{path}: {e}; choose another name"))?;
    let process = crossing()?;
    let notes: Vec<VoiceNote> = unroll(&process, Span::new(0.0, BEATS)).collect();
    let sound = Sound {
        origin: process.origin(),
        voices: process.voices().count(),
        width: process.settings().output.width,
        mallets: process.settings().mallets(),
        notes: &notes,
        tempo: TEMPO,
        tempi: None,
        sample_rate: FILE_SAMPLE_RATE,
        voice: None,
    };
    let bytes = sound.to_wav()?;
    file.write_all(&bytes)?;
    print_facts(&bytes, &notes)
}

/// Lights of a night ferry: one player holds, the other moves two steps ahead.
fn crossing() -> Result<Process, Box<dyn Error>> {
    let phrase = Phrase::from_text("E4 B4 . G4 D5 A4 . B4 F#4 . G4 A4", 0.25)?;
    let mut settings = Settings::default();
    settings.motion.copies = 1;
    settings.motion.dwell = 4;
    settings.motion.drift = 2;
    settings.motion.shifts = Shifts::Count(2);
    Ok(Process::new(phrase, settings, 0.0))
}

/// JSON: what hound's own reader finds, and when the music ends, in seconds.
fn print_facts(bytes: &[u8], notes: &[VoiceNote]) -> Result<(), Box<dyn Error>> {
    let mut reader = hound::WavReader::new(bytes)?;
    let rate = reader.spec().sample_rate;
    let samples = reader.samples().collect::<Result<Vec<i32>, _>>()?;
    let side = |side: usize| samples.iter().copied().skip(side).step_by(2).map(i64::from);
    let sums = [0, 1].map(|number| side(number).map(i64::abs).sum::<i64>());
    let peaks = [0, 1].map(|number| side(number).map(i64::abs).max().unwrap_or(0));
    let ends = notes.iter().map(|note| note.off).fold(0.0, f64::max) * 60.0 / TEMPO;
    println!(
        r#"{{"rate": {rate}, "frames": {}, "sums": {sums:?}, "peaks": {peaks:?}, "ends": {ends}}}"#,
        samples.len() / 2
    );
    Ok(())
}
