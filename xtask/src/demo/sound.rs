//! What came out of the plug-in's audio output, as a file, written while it plays.

use super::files::said;
use anyhow::{Result, bail};
use procession_core::exchange::put::{Over, Part, Trouble, create};
use procession_core::exchange::sound::{SoundError, Wav};
use std::fs::File;
use std::path::{Path, PathBuf};

/// What the file is called.
pub const NAME: &str = "sound.wav";

/// A sound file on its way, beside its place until it is whole.
pub struct Recorder {
    path: PathBuf,
    over: Over,
    wav: Result<(Part, Wav<File>)>,
    /// Frames before the music begins, which are left out.
    before: usize,
    is_silent: bool,
}

impl Recorder {
    /// Begins `sound.wav` in `folder`, at `sample_rate` Hz, without the first `before` frames.
    pub fn new(folder: &Path, over: Over, sample_rate: u32, before: usize) -> Self {
        let path = folder.join(NAME);
        let wav = begin(&path, sample_rate);
        Self {
            path,
            over,
            wav,
            before,
            is_silent: true,
        }
    }

    /// Adds what came out. What goes wrong is told at the end: the music does not depend on it.
    pub fn hear(&mut self, [left, right]: [Vec<f32>; 2]) {
        let from = self.before.min(left.len());
        self.before -= from;
        let (left, right) = (&left[from..], &right[from..]);
        self.is_silent &= left.iter().chain(right).all(|sample| *sample == 0.0);
        if let Ok((_, wav)) = &mut self.wav
            && let Err(error) = wav.put(left, right)
        {
            self.wav = Err(why(error, &self.path));
        }
    }

    /// Ends the file: where it is.
    pub fn end(self) -> Result<PathBuf> {
        let (part, wav) = self.wav?;
        wav.finish().map_err(|error| why(error, &self.path))?;
        if self.is_silent {
            bail!("nothing came out: is audition off?");
        }
        part.finish(self.over).map_err(said)?;
        Ok(self.path)
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
        let mut recorder = Recorder::new(&folder, Over::Nothing, 48_000, 3);
        recorder.hear([vec![0.9; 2], vec![0.9; 2]]);
        recorder.hear([vec![0.9, 0.25, 0.5], vec![0.9, 0.0, 0.0]]);
        let path = recorder.end().unwrap();
        assert_eq!(path, folder.join(NAME));
        assert_eq!(fs::read_dir(&folder).unwrap().count(), 1);
        let bytes = fs::read(path).unwrap();
        let first = [0, 0, 0x20, 0, 0, 0];
        assert_eq!(bytes[bytes.len() - 12..][..6], first);
        fs::remove_dir_all(folder).unwrap();
    }

    #[test]
    fn silence_leaves_no_file_and_says_why() {
        let folder = folder("silence");
        let mut recorder = Recorder::new(&folder, Over::Nothing, 48_000, 0);
        recorder.hear([vec![0.0; 9], vec![0.0; 9]]);
        let refusal = recorder.end().unwrap_err().to_string();
        assert!(refusal.contains("audition"), "{refusal}");
        assert_eq!(fs::read_dir(&folder).unwrap().count(), 0);
        fs::remove_dir_all(folder).unwrap();
    }
}
