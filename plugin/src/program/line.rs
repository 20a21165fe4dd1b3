//! The program's line to the system: what was asked for when it was started, and what has come
//! since. The framework's wrapper tells no more than each block does.

use crossbeam::atomic::AtomicCell;
use std::sync::Arc;
use std::sync::atomic::{AtomicU32, AtomicU64, Ordering};

/// What carries audio and MIDI.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Backend {
    /// A JACK server, or what answers in its place.
    Jack,
    /// The system's own: ALSA, Core Audio, WASAPI.
    System,
    /// None: no sound, no MIDI.
    #[default]
    Silent,
}

impl Backend {
    /// In the order in which they are tried.
    pub const ALL: [Self; 3] = [Self::Jack, Self::System, Self::Silent];

    /// What the framework's wrapper calls it.
    pub fn word(self) -> &'static str {
        match self {
            Self::Jack => "jack",
            Self::System if cfg!(target_os = "macos") => "core-audio",
            Self::System if cfg!(target_os = "windows") => "wasapi",
            Self::System => "alsa",
            Self::Silent => "dummy",
        }
    }

    /// What people call it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Jack => "JACK",
            Self::System if cfg!(target_os = "macos") => "Core Audio",
            Self::System if cfg!(target_os = "windows") => "WASAPI",
            Self::System => "ALSA",
            Self::Silent => "none",
        }
    }
}

/// What was asked for.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Connection {
    /// What carries audio and MIDI.
    pub backend: Backend,
    /// The device that plays, if it was named.
    pub output: Option<String>,
    /// The MIDI input, if one was named.
    pub midi_input: Option<String>,
    /// The MIDI output, if one was named.
    pub midi_output: Option<String>,
}

#[derive(Debug, Default)]
struct Shared {
    blocks: AtomicU64,
    frames: AtomicU32,
    sample_rate: AtomicCell<f32>,
    notes: AtomicU64,
    /// The last note's key.
    key: AtomicU32,
}

/// The window's end.
#[derive(Clone, Debug)]
pub struct Line {
    /// What was asked for.
    pub wired: Connection,
    shared: Arc<Shared>,
}

/// What has come so far.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Come {
    /// Blocks of audio.
    pub blocks: u64,
    /// Frames of the last block.
    pub frames: u32,
    /// Hertz; 0 before the first block.
    pub sample_rate: f32,
    /// Notes that were struck.
    pub notes: u64,
    /// The key of the last of them.
    pub key: u8,
}

/// The audio thread's end.
#[derive(Debug)]
pub struct LineEnd(Arc<Shared>);

/// The two ends of a line.
pub fn line(wired: Connection) -> (Line, LineEnd) {
    const { assert!(AtomicCell::<f32>::is_lock_free()) };
    let shared = Arc::<Shared>::default();
    let end = LineEnd(shared.clone());
    (Line { wired, shared }, end)
}

impl Line {
    /// What has come so far.
    pub fn come(&self) -> Come {
        Come {
            blocks: self.shared.blocks.load(Ordering::Relaxed),
            frames: self.shared.frames.load(Ordering::Relaxed),
            sample_rate: self.shared.sample_rate.load(),
            notes: self.shared.notes.load(Ordering::Relaxed),
            key: self.shared.key.load(Ordering::Relaxed) as u8,
        }
    }
}

impl LineEnd {
    /// A block has come.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn block(&self, frames: u32, sample_rate: f32) {
        let shared = &self.0;
        shared.blocks.fetch_add(1, Ordering::Relaxed);
        shared.frames.store(frames, Ordering::Relaxed);
        shared.sample_rate.store(sample_rate);
    }

    /// A key was struck.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn note(&self, key: u8) {
        self.0.key.store(key.into(), Ordering::Relaxed);
        self.0.notes.fetch_add(1, Ordering::Relaxed);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use nice_assert_no_alloc::assert_no_alloc;

    #[test]
    fn what_comes_is_counted() {
        let (line, end) = line(Connection::default());
        assert_eq!(line.come(), Come::default());
        assert_no_alloc(|| {
            end.block(256, 44_100.0);
            end.block(512, 44_100.0);
            end.note(62);
        });
        let come = Come {
            blocks: 2,
            frames: 512,
            sample_rate: 44_100.0,
            notes: 1,
            key: 62,
        };
        assert_eq!(line.come(), come);
    }
}
