//! What came out of the plug-in's audio output, as a file, written while it plays, and brought to the
//! loudness of files when it is whole.

use super::files::said;
use anyhow::{Result, bail};
use procession_core::exchange::loudness::Meter;
use procession_core::exchange::put::{Existing, Part, Trouble, create};
use procession_core::exchange::sound::{FILE_LUFS, SoundError, Wav, amplify};
use procession_core::mallet::CEILING_DB;
use std::fs::File;
use std::path::{Path, PathBuf};

/// What the file is called.
pub const NAME: &str = "sound.wav";

/// A sound file on its way, beside its place until it is whole.
pub struct Recorder {
    path: PathBuf,
    existing: Existing,
    wav: Result<(Part, Wav<File>)>,
    /// Frames before the music begins, which are left out.
    before: usize,
    is_silent: bool,
    meter: Meter,
}

/// A sound file, and how loud it is.
pub struct Recorded {
    pub path: PathBuf,
    /// None if there is hardly anything to be heard.
    pub lufs: Option<f64>,
}

impl Recorder {
    /// Begins `sound.wav` in `folder`, at `sample_rate` Hz, without the first `before` frames.
    pub fn new(folder: &Path, existing: Existing, sample_rate: u32, before: usize) -> Self {
        let path = folder.join(NAME);
        let wav = begin(&path, sample_rate);
        Self {
            path,
            existing,
            wav,
            before,
            is_silent: true,
            meter: Meter::with_peak(sample_rate),
        }
    }

    /// Adds what came out. What goes wrong is told at the end: the music does not depend on it.
    pub fn hear(&mut self, [left, right]: [Vec<f32>; 2]) {
        let from = self.before.min(left.len());
        self.before -= from;
        let (left, right) = (&left[from..], &right[from..]);
        self.is_silent &= left.iter().chain(right).all(|sample| *sample == 0.0);
        self.meter.hear(left, right);
        if let Ok((_, wav)) = &mut self.wav
            && let Err(error) = wav.put(left, right)
        {
            self.wav = Err(why(error, &self.path));
        }
    }

    /// Ends the file: where it is.
    pub fn end(self) -> Result<Recorded> {
        let (mut part, wav) = self.wav?;
        wav.finish().map_err(|error| why(error, &self.path))?;
        if self.is_silent {
            bail!("nothing came out: is audition off?");
        }
        let louder = louder_by(&self.meter);
        amplify(part.file(), louder).map_err(|error| why(error, &self.path))?;
        part.finish(self.existing).map_err(said)?;
        Ok(Recorded {
            path: self.path,
            lufs: self.meter.lufs().map(|lufs| lufs + louder),
        })
    }
}

/// By how many dB a recording is to be louder: to the loudness of files, but no peak of it, between
/// the samples either, comes near full scale for that.
fn louder_by(meter: &Meter) -> f64 {
    match (meter.lufs(), meter.true_peak_db()) {
        (Some(lufs), Some(peak)) => (FILE_LUFS - lufs).min(CEILING_DB - peak),
        _ => 0.0,
    }
}

fn begin(path: &Path, sample_rate: u32) -> Result<(Part, Wav<File>)> {
    let mut part = Part::beside(path, create).map_err(said)?;
    let file = part.file().try_clone();
    let file = file.map_err(|error| said(Trouble::of(&error, path)))?;
    let wav = Wav::new(file, sample_rate).map_err(|error| why(error, path))?;
    Ok((part, wav))
}

fn why(error: SoundError, path: &Path) -> anyhow::Error {
    match error {
        SoundError::Write(error) => said(Trouble::of(&error, path)),
        other => other.into(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    fn folder(name: &str) -> PathBuf {
        let folder = std::env::temp_dir().join(format!("procession-{name}-{}", std::process::id()));
        fs::create_dir_all(&folder).unwrap();
        folder
    }

    #[test]
    fn a_recording_begins_where_the_music_does_and_leaves_one_whole_file() {
        let folder = folder("recorder");
        let mut recorder = Recorder::new(&folder, Existing::Keep, 48_000, 3);
        recorder.hear([vec![0.9; 2], vec![0.9; 2]]);
        recorder.hear([vec![0.9, 0.25, 0.5], vec![0.9, 0.0, 0.0]]);
        let path = recorder.end().unwrap().path;
        assert_eq!(path, folder.join(NAME));
        assert_eq!(fs::read_dir(&folder).unwrap().count(), 1);
        let bytes = fs::read(path).unwrap();
        let first = [0, 0, 0x20, 0, 0, 0];
        assert_eq!(bytes[bytes.len() - 12..][..6], first);
        fs::remove_dir_all(folder).unwrap();
    }

    /// Told by a second hearing, of the file.
    #[test]
    fn a_quiet_recording_is_brought_to_the_loudness_of_files_and_no_peak_to_full_scale() {
        let folder = folder("louder");
        // A steady tone; and the same with one peak in it, 30 dB above.
        for spike in [0.0, 0.3] {
            let tone = |frame: i32| 0.01 * (frame as f32 * 0.13).sin();
            let mut side: Vec<f32> = (0..96_000).map(tone).collect();
            side[50_000] += spike;
            let mut recorder = Recorder::new(&folder, Existing::Replace, 48_000, 0);
            recorder.hear([side.clone(), side]);
            let recorded = recorder.end().unwrap();
            let bytes = fs::read(&recorded.path).unwrap();
            let samples: Vec<f32> = bytes[bytes.len() - 6 * 96_000..]
                .chunks(6)
                .map(|frame| {
                    let whole = i32::from_le_bytes([0, frame[0], frame[1], frame[2]]);
                    whole as f32 / i32::MAX as f32
                })
                .collect();
            let mut meter = Meter::with_peak(48_000);
            meter.hear(&samples, &samples);
            let (lufs, peak) = (meter.lufs().unwrap(), meter.true_peak_db().unwrap());
            assert!((lufs - recorded.lufs.unwrap()).abs() < 0.01, "{lufs}");
            assert!(peak < CEILING_DB + 0.01, "{peak}");
            if spike == 0.0 {
                assert!((lufs - FILE_LUFS).abs() < 0.1, "{lufs}");
            } else {
                assert!(
                    lufs < FILE_LUFS - 3.0 && peak > CEILING_DB - 0.1,
                    "{lufs} {peak}"
                );
            }
        }
        fs::remove_dir_all(folder).unwrap();
    }

    #[test]
    fn silence_leaves_no_file_and_says_why() {
        let folder = folder("silence");
        let mut recorder = Recorder::new(&folder, Existing::Keep, 48_000, 0);
        recorder.hear([vec![0.0; 9], vec![0.0; 9]]);
        let refusal = recorder.end().err().unwrap().to_string();
        assert!(refusal.contains("audition"), "{refusal}");
        assert_eq!(fs::read_dir(&folder).unwrap().count(), 0);
        fs::remove_dir_all(folder).unwrap();
    }
}
