//! The last half minute of what came in: a ring that the audio thread writes and others copy from.
//! Nobody waits for anybody; what is written over while it is copied is left out of the copy.

use procession_core::speech::{Recording, RecordingError};
use std::fmt;
use std::sync::atomic::{AtomicU32, AtomicU64, Ordering, fence};

/// How much of it stays, in seconds: what Hold looks at, and as much again as may come in while the
/// listener is at that, in a bounce that runs faster than time.
pub const STAYS: f64 = 30.0;

/// A ring of samples. Its frames are counted from 0, when the first came in.
pub struct Tape {
    rate: u32,
    mean: Box<[AtomicU32]>,
    first: Box<[AtomicU32]>,
    /// Up to here something is written, or just about to be.
    claimed: AtomicU64,
    /// Up to here all is written.
    written: AtomicU64,
}

/// What was copied from a tape.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Stretch {
    /// Of which frame the first sample is.
    pub since: u64,
    /// The mean of the channels.
    pub mean: Vec<f32>,
    first: Vec<f32>,
}

impl fmt::Debug for Tape {
    /// Without its samples.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Tape")
            .field("rate", &self.rate)
            .field("written", &self.written)
            .finish_non_exhaustive()
    }
}

impl Tape {
    /// Of nothing, at so many frames a second. Allocates.
    pub fn at_rate(rate: u32) -> Self {
        let frames = (STAYS * f64::from(rate)).max(1.0) as usize;
        let silence = || (0..frames).map(|_| AtomicU32::new(0)).collect();
        Self {
            rate,
            mean: silence(),
            first: silence(),
            claimed: AtomicU64::new(0),
            written: AtomicU64::new(0),
        }
    }

    /// Frames a second.
    pub fn rate(&self) -> u32 {
        self.rate
    }

    /// How many frames came in.
    pub fn written(&self) -> u64 {
        self.written.load(Ordering::Acquire)
    }

    /// Goes on with these frames. One thread alone may write.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn write(&self, left: &[f32], right: &[f32]) {
        let from = self.written.load(Ordering::Relaxed);
        let to = from + left.len().min(right.len()) as u64;
        self.claimed.store(to, Ordering::Relaxed);
        fence(Ordering::Release);
        for (frame, (left, right)) in (from..to).zip(left.iter().zip(right)) {
            let place = self.place_of(frame);
            let mean = f32::midpoint(*left, *right);
            self.mean[place].store(mean.to_bits(), Ordering::Relaxed);
            self.first[place].store(left.to_bits(), Ordering::Relaxed);
        }
        self.written.store(to, Ordering::Release);
    }

    /// What is still there of the frames from one up to another.
    pub fn read(&self, from: u64, to: u64) -> Stretch {
        let to = to.min(self.written());
        let from = self.oldest(to).max(from).min(to);
        let copied = |channel: &[AtomicU32]| -> Vec<f32> {
            let samples = (from..to).map(|frame| &channel[self.place_of(frame)]);
            let bits = samples.map(|sample| sample.load(Ordering::Relaxed));
            bits.map(f32::from_bits).collect()
        };
        let (mut mean, mut first) = (copied(&self.mean), copied(&self.first));
        fence(Ordering::Acquire);
        // What may have been written over meanwhile.
        let since = self.oldest(self.claimed.load(Ordering::Relaxed)).max(from);
        let lost = (since - from).min(to - from) as usize;
        mean.drain(..lost);
        first.drain(..lost);
        Stretch { since, mean, first }
    }

    /// The oldest frame that is still there when so many came in.
    fn oldest(&self, count: u64) -> u64 {
        count.saturating_sub(self.mean.len() as u64)
    }

    fn place_of(&self, frame: u64) -> usize {
        (frame % self.mean.len() as u64) as usize
    }
}

impl Stretch {
    /// As a recording of one channel, taken at so many frames a second.
    ///
    /// # Errors
    /// See [`RecordingError`].
    pub fn recording(self, rate: u32) -> Result<Recording, RecordingError> {
        Recording::of_channels(self.mean, self.first, rate.into())
    }
}

#[cfg(test)]
#[allow(clippy::disallowed_methods, reason = "a test may wait")]
mod tests {
    use super::*;
    use std::sync::Arc;

    const RATE: u32 = 8_000;

    #[test]
    fn however_blocks_are_cut_the_same_is_kept_and_of_too_much_the_last_half_minute() {
        let sound: Vec<f32> = (0..300_000).map(|n| (n % 9_973) as f32).collect();
        let other: Vec<f32> = sound.iter().map(|sample| sample + 2.0).collect();
        let written = |block: usize| {
            let tape = Tape::at_rate(RATE);
            for (left, right) in sound.chunks(block).zip(other.chunks(block)) {
                tape.write(left, right);
            }
            tape.read(0, u64::MAX)
        };
        let whole = written(sound.len());
        assert_eq!(whole.since, 300_000 - 240_000);
        let last = &sound[60_000..];
        assert_eq!(whole.first, last);
        assert!(
            whole
                .mean
                .iter()
                .zip(last)
                .all(|(mean, one)| *mean == one + 1.0)
        );
        for block in [1, 63, 64, 441, 4_096] {
            assert!(written(block) == whole, "blocks of {block}");
        }
    }

    #[test]
    fn a_part_can_be_read_and_nothing_is_before_or_after_what_there_is() {
        let tape = Tape::at_rate(RATE);
        assert_eq!(tape.read(0, 100), Stretch::default());
        tape.write(&[1.0, 2.0, 3.0], &[1.0, 2.0, 3.0]);
        let part = tape.read(1, 2);
        assert_eq!((part.since, part.mean), (1, vec![2.0]));
        assert_eq!(tape.read(2, 100).mean, [3.0]);
        assert!(tape.read(7, 100).mean.is_empty());
        assert!(tape.read(2, 1).mean.is_empty());
    }

    /// Every sample says which frame it is of: one that does not belong would give itself away.
    #[test]
    fn what_is_copied_while_it_is_written_is_in_order_and_without_a_gap() {
        let tape = Arc::new(Tape::at_rate(100));
        let writer = tape.clone();
        let done = Arc::new(std::sync::atomic::AtomicBool::new(false));
        let over = done.clone();
        let hand = std::thread::spawn(move || {
            for block in 0..20_000_u32 {
                let frames: Vec<f32> = (0..97).map(|n| (block * 97 + n) as f32).collect();
                writer.write(&frames, &frames);
            }
            over.store(true, Ordering::Relaxed);
        });
        while !done.load(Ordering::Relaxed) {
            let copy = tape.read(0, u64::MAX);
            for (n, sample) in copy.mean.iter().enumerate() {
                assert_eq!(*sample, (copy.since + n as u64) as f32);
            }
        }
        hand.join().unwrap();
    }
}
