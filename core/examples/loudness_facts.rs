//! Writes what audition sounds like to so many voices, and a sound file, as WAV, and prints how loud
//! our own meter finds them, for an outside reader to measure:
//! `cargo run -p procession-core --example loudness_facts -- FOLDER`.
//!
//! Files that are there already are left alone.

use procession_core::exchange::loudness::Meter;
use procession_core::exchange::sound::{FILE_SAMPLE_RATE, Sound, Wav};
use procession_core::mallet::{Mallets, START_LEVEL_DB};
use procession_core::note::{Key, Note, Velocity};
use procession_core::phrase::Phrase;
use procession_core::player::pan_of;
use procession_core::process::{Process, VoiceNote};
use procession_core::settings::{Mallet, Settings, Shifts};
use procession_core::time::Span;
use procession_core::unrolling::unroll;
use std::error::Error;
use std::fs::File;
use std::path::Path;

const TEMPO: f64 = 112.0;
const BEATS: f64 = 54.0;

/// Soft enough that the limiter has nothing to do.
const SOFT_DB: f32 = -40.0;

fn main() -> Result<(), Box<dyn Error>> {
    let folder = std::env::args()
        .nth(1)
        .ok_or("say where to write: loudness_facts FOLDER")?;
    let folder = Path::new(&folder);
    let mut lines = Vec::new();
    for (name, voices, chord, level, mallet) in [
        ("one", 1, 1, 0.0, Mallet::Wood),
        ("one-metal", 1, 1, 0.0, Mallet::Metal),
        ("one-soft", 1, 1, 0.0, Mallet::Soft),
        ("start", 1, 1, START_LEVEL_DB, Mallet::Wood),
        ("three", 3, 1, 0.0, Mallet::Wood),
        ("nine", 9, 1, 0.0, Mallet::Wood),
        ("nine-chords", 9, 3, 0.0, Mallet::Wood),
        ("nine-chords-of-four", 9, 4, 0.0, Mallet::Wood),
        ("nine-chords-metal", 9, 3, 0.0, Mallet::Metal),
        ("nine-chords-soft", 9, 3, 0.0, Mallet::Soft),
    ] {
        let process = crossing(voices, chord, mallet)?;
        let heard = auditioned(&process, level);
        lines.push(line(name, &heard));
        write(&folder.join(format!("{name}.wav")), &heard)?;
        let soft = auditioned(&process, SOFT_DB);
        write(&folder.join(format!("{name}-quiet.wav")), &soft)?;
    }
    let written = [("file-one", 1, 1), ("file-two", 2, 1), ("file-nine", 9, 3)];
    for (name, voices, chord) in written {
        let process = crossing(voices, chord, Mallet::Wood)?;
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
        std::fs::write(folder.join(format!("{name}.wav")), sound.to_wav()?)?;
    }
    println!("{{{}, \"soft_db\": {SOFT_DB}}}", lines.join(", "));
    Ok(())
}

/// Lights of a night ferry, at a velocity of 0.7: the voices drift apart, each further than the one
/// before; a chord of so many notes a stroke.
fn crossing(voices: usize, chord: usize, mallet: Mallet) -> Result<Process, Box<dyn Error>> {
    let line = Phrase::from_text("D4 A4 . C5 E4 B4 . A4 E5 C5 G4 F4", 0.25)?;
    let notes = line.notes().iter().flat_map(|note| {
        let above = [0, 3, 7, -5].into_iter().take(chord);
        above.map(|above| Note {
            key: Key::by_octave(i32::from(note.key.number()) + above),
            velocity: Velocity::new(0.7),
            ..*note
        })
    });
    let mut settings = Settings::default();
    settings.motion.copies = voices - 1;
    settings.motion.dwell = 1;
    settings.motion.drift = 1;
    settings.motion.shifts = Shifts::Endless;
    settings.steady.mallet = mallet;
    settings
        .copies
        .iter_mut()
        .for_each(|copy| copy.mallet = mallet);
    Ok(Process::new(
        Phrase::new(notes, line.length())?,
        settings,
        0.0,
    ))
}

/// What audition makes of it at that level, in dB.
fn auditioned(process: &Process, level: f32) -> [Vec<f32>; 2] {
    let frame = |beats: f64| (beats * 60.0 / TEMPO * f64::from(FILE_SAMPLE_RATE)) as usize;
    let notes: Vec<VoiceNote> = unroll(process, Span::new(0.0, BEATS)).collect();
    let mut deeds: Vec<_> = notes
        .iter()
        .enumerate()
        .flat_map(|(id, note)| [(frame(note.on), true, id), (frame(note.off), false, id)])
        .collect();
    deeds.sort_unstable();
    let mut mallets = Mallets::new(f64::from(FILE_SAMPLE_RATE));
    mallets.set_players(process.voices().count());
    mallets.set_level(Some(level));
    let mut sides = [(); 2].map(|()| vec![0.0; frame(BEATS + 4.0)]);
    let mut from = 0;
    let mut ring = |mallets: &mut Mallets, until: usize| {
        let [left, right] = &mut sides;
        mallets.render(&mut left[from..until], &mut right[from..until]);
        from = until;
    };
    for (at, strikes, id) in deeds {
        ring(&mut mallets, at);
        let note = &notes[id];
        if strikes {
            let width = process.settings().output.width;
            let pan = pan_of(note.part, process.voices().count(), width);
            let mallet = process.settings().mallets()[note.part.index()];
            mallets.strike(mallet, id as i32, note.key, note.velocity, pan);
        } else {
            mallets.note_off(id as i32);
        }
    }
    ring(&mut mallets, frame(BEATS + 4.0));
    sides
}

fn write(path: &Path, [left, right]: &[Vec<f32>; 2]) -> Result<(), Box<dyn Error>> {
    let file = File::create_new(path)
        .map_err(|e| format!("{}: {e}; choose another folder", path.display()))?;
    let mut wav = Wav::new(file, FILE_SAMPLE_RATE)?;
    wav.put(left, right)?;
    Ok(wav.finish()?)
}

/// JSON: what our own meter finds.
fn line(name: &str, [left, right]: &[Vec<f32>; 2]) -> String {
    let mut meter = Meter::with_peak(FILE_SAMPLE_RATE);
    meter.hear(left, right);
    let told = |number: Option<f64>| number.map_or("null".to_owned(), |number| number.to_string());
    let (lufs, peak) = (told(meter.lufs()), told(meter.true_peak_db()));
    format!(r#""{name}": {{"lufs": {lufs}, "true_peak": {peak}}}"#)
}
