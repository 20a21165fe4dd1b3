//! Writes half a minute for two players as sound, to listen to and to measure:
//! `cargo run -p procession-core --example strike -- crossing.wav`.
//!
//! 24 bit, stereo, 48 kHz. A file that is there already is left alone.

use hound::{SampleFormat, WavSpec, WavWriter};
use procession_core::mallet::Mallets;
use procession_core::phrase::Phrase;
use procession_core::player::{pan_of, unroll};
use procession_core::process::{Process, VoiceNote};
use procession_core::settings::{Settings, Shifts};
use procession_core::time::{Beats, Span};
use std::error::Error;
use std::fs::File;
use std::io::BufWriter;

const SAMPLE_RATE: u32 = 48_000;
const TEMPO: f64 = 112.0;
const LEVEL_DB: f32 = -6.0;

/// Seconds for the last bars to ring.
const TAIL: f64 = 3.0;

/// The largest number that 24 bits hold.
const FULL_SCALE: f32 = 8_388_607.0;

fn main() -> Result<(), Box<dyn Error>> {
    let path = std::env::args()
        .nth(1)
        .ok_or("say where to write: strike PATH.wav")?;
    let file = File::create_new(&path).map_err(|e| format!("{path}: {e}; choose another name"))?;
    let process = crossing()?;
    let end = 54.0;
    let (left, right) = sound_of(&process, end);
    write(file, &left, &right)?;
    println!("{path}: {} frames at {SAMPLE_RATE} Hz", left.len());
    Ok(())
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

/// A bar is struck, or a hand laid on it.
enum Deed {
    Strike(VoiceNote),
    Damp,
}

fn sound_of(process: &Process, end: Beats) -> (Vec<f32>, Vec<f32>) {
    let mut mallets = Mallets::new(f64::from(SAMPLE_RATE));
    mallets.set_level(Some(LEVEL_DB));
    let frames = frame_of(end) + (TAIL * f64::from(SAMPLE_RATE)) as usize;
    let (mut left, mut right) = (vec![0.0; frames], vec![0.0; frames]);
    let mut from = 0;
    for (at, id, deed) in deeds(process, end) {
        mallets.render(&mut left[from..at], &mut right[from..at]);
        from = at;
        match deed {
            Deed::Strike(note) => {
                let pan = pan_of(note.voice, process.voices(), 0.6);
                mallets.note_on(id, note.key, note.velocity, pan);
            }
            Deed::Damp => mallets.note_off(id),
        }
    }
    mallets.render(&mut left[from..], &mut right[from..]);
    (left, right)
}

/// All there is to do, in order, with its frame and the note's number.
fn deeds(process: &Process, end: Beats) -> Vec<(usize, i32, Deed)> {
    let mut deeds = Vec::new();
    for (id, note) in (0..).zip(unroll(process, Span::new(0.0, end))) {
        deeds.push((frame_of(note.off.min(end)), id, Deed::Damp));
        deeds.push((frame_of(note.on), id, Deed::Strike(note)));
    }
    deeds.sort_by_key(|(at, id, _)| (*at, *id));
    deeds
}

fn frame_of(at: Beats) -> usize {
    (at * 60.0 / TEMPO * f64::from(SAMPLE_RATE)).round() as usize
}

fn write(file: File, left: &[f32], right: &[f32]) -> Result<(), hound::Error> {
    let spec = WavSpec {
        channels: 2,
        sample_rate: SAMPLE_RATE,
        bits_per_sample: 24,
        sample_format: SampleFormat::Int,
    };
    let mut writer = WavWriter::new(BufWriter::new(file), spec)?;
    for sample in left.iter().zip(right).flat_map(|(l, r)| [l, r]) {
        writer.write_sample((sample * FULL_SCALE).round() as i32)?;
    }
    writer.finalize()
}
