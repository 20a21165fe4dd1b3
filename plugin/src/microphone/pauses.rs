//! Where, in what comes in, something has ended: a pause follows what sounded.

use procession_core::speech::PAUSE;
use std::collections::VecDeque;

/// Frames a second in which it is looked how loud it is.
const LOOKS: usize = 100;

/// How far back the loudest of them is looked for.
const BACK: usize = 20 * LOOKS;

/// What is that much fainter than the loudest is a pause, as a factor of power: 25 dB (de Jong &
/// Wempe, 2009).
const PAUSES: f32 = 0.003_162;

/// The power of what is silence whatever else there is: -60 dB.
const SILENCE: f32 = 1e-6;

/// So many frames go by without a pause before it is listened all the same: 2 s.
const PATIENCE: usize = 2 * LOOKS;

/// Notices pauses.
#[derive(Debug)]
pub struct Pauses {
    /// Samples of a frame.
    frame: usize,
    sum: f32,
    count: usize,
    powers: VecDeque<f32>,
    /// Frames since something sounded.
    quiet: usize,
    /// Frames since what sounded was listened to, if anything did since.
    since: Option<usize>,
}

impl Pauses {
    /// Of sound with so many samples a second.
    pub fn at_rate(rate: u32) -> Self {
        Self {
            frame: (rate as usize / LOOKS).max(1),
            sum: 0.0,
            count: 0,
            powers: VecDeque::with_capacity(BACK),
            quiet: 0,
            since: None,
        }
    }

    /// Goes on with these samples.
    pub fn hear(&mut self, samples: &[f32]) {
        for sample in samples {
            let sample = sample.clamp(-2.0, 2.0);
            self.sum += if sample.is_nan() {
                0.0
            } else {
                sample * sample
            };
            self.count += 1;
            if self.count == self.frame {
                let power = self.sum / self.frame as f32;
                (self.sum, self.count) = (0.0, 0);
                self.look(power);
            }
        }
    }

    fn look(&mut self, power: f32) {
        if self.powers.len() == BACK {
            self.powers.pop_front();
        }
        self.powers.push_back(power);
        let loudest = self.powers.iter().copied().fold(0.0, f32::max);
        if power > (loudest * PAUSES).max(SILENCE) {
            self.quiet = 0;
            self.since.get_or_insert(0);
        } else {
            self.quiet += 1;
        }
        if let Some(since) = &mut self.since {
            *since += 1;
        }
    }

    /// Whether it is time to listen to what came in.
    pub fn are_over(&self) -> bool {
        let paused = self.quiet as f64 >= PAUSE * LOOKS as f64;
        self.since.is_some_and(|since| paused || since >= PATIENCE)
    }

    /// It was listened to.
    pub fn listened(&mut self) {
        self.since = None;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// So much of a square wave that loud, in seconds.
    fn wave(seconds: f64, loud: f32) -> Vec<f32> {
        let samples = 0..(seconds * 8_000.0) as usize;
        samples
            .map(|n| if n % 40 < 20 { loud } else { -loud })
            .collect()
    }

    #[test]
    fn it_is_listened_when_a_pause_has_lasted_or_after_two_seconds_of_sound_and_never_in_silence() {
        let mut pauses = Pauses::at_rate(8_000);
        pauses.hear(&wave(60.0, 0.0005));
        assert!(!pauses.are_over(), "that is silence");
        pauses.hear(&wave(0.5, 0.3));
        pauses.hear(&wave(0.25, 0.001));
        assert!(!pauses.are_over(), "no pause yet");
        pauses.hear(&wave(0.06, 0.001));
        assert!(pauses.are_over());
        pauses.listened();
        pauses.hear(&wave(5.0, 0.001));
        assert!(!pauses.are_over(), "once");
        pauses.hear(&wave(1.9, 0.3));
        assert!(!pauses.are_over());
        pauses.hear(&wave(0.2, 0.3));
        assert!(pauses.are_over());
    }
}
