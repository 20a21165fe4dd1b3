//! A limiter that looks ahead: the sound waits a moment, so the gain is down before the peak comes.
//!
//! Peaks are looked for between the samples too, four points a frame, where a converter will make
//! them. Both sides get the same gain, so the picture does not move.

use std::collections::VecDeque;
use std::f64::consts::PI;

/// What the true peak stays below, in dBFS.
pub const CEILING_DB: f64 = -3.0;

/// What the limiter aims at, in dBFS. Four points a frame may miss the peak of a tone at 0.4 of
/// the sample rate by 0.44 dB; the rest is for the gain's own movement.
const AIM_DB: f64 = -3.55;

/// Seconds over which the gain goes down. Short enough not to be felt as latency, long enough not
/// to be heard as a click. Own choice.
const APPROACH: f64 = 0.0015;

/// Seconds in which the gain comes back, to 63 %. Own choice.
const RECOVERY: f64 = 0.15;

/// Frames on either side from which a point between two frames is computed.
const REACH: usize = 12;
const TAPS: usize = 2 * REACH;

/// Points looked at between two frames.
const BETWEEN: usize = 3;

type Stereo = [f64; 2];

/// The limiter of a stereo sound.
#[derive(Debug)]
pub(super) struct Limiter {
    aim: f64,
    peaks: PeakFinder,
    /// The sound that waits.
    waiting: VecDeque<Stereo>,
    gain: Gain,
    /// Frames of silence that have come in.
    quiet: usize,
}

impl Limiter {
    /// Allocates all it will ever need.
    pub fn new(sample_rate: f64) -> Self {
        let approach = (APPROACH * sample_rate).ceil() as usize;
        let aim = 10_f64.powf(AIM_DB / 20.0);
        let latency = REACH + approach;
        Self {
            aim,
            peaks: PeakFinder::new(aim),
            waiting: VecDeque::from(vec![[0.0; 2]; latency]),
            gain: Gain::new(approach, (-1.0 / (RECOVERY * sample_rate)).exp()),
            quiet: usize::MAX,
        }
    }

    /// Frames from input to output.
    pub fn latency(&self) -> usize {
        self.waiting.len()
    }

    /// Whether only silence will come out unless something else goes in.
    pub fn is_drained(&self) -> bool {
        self.quiet >= self.latency() + TAPS
    }

    /// As new.
    pub fn reset(&mut self) {
        self.peaks.reset();
        self.waiting.iter_mut().for_each(|frame| *frame = [0.0; 2]);
        self.gain.reset();
        self.quiet = usize::MAX;
    }

    /// A frame goes in, the one of [`Self::latency`] frames ago comes out.
    pub fn next(&mut self, frame: Stereo) -> Stereo {
        let was_drained = self.is_drained();
        self.listen_for_silence(frame);
        if self.is_drained() {
            if !was_drained {
                self.reset();
            }
            return [0.0; 2];
        }
        let peak = self.peaks.next(frame);
        let gain = self.gain.next((self.aim / peak).min(1.0));
        pass_on(&mut self.waiting, frame).map(|side| side * gain)
    }

    fn listen_for_silence(&mut self, frame: Stereo) {
        self.quiet = match frame {
            [0.0, 0.0] => self.quiet.saturating_add(1),
            _ => 0,
        };
    }
}

/// One goes in at the end of a queue that is not empty, the one at the front comes out.
fn pass_on<T: Copy>(queue: &mut VecDeque<T>, one: T) -> T {
    let front = queue.pop_front();
    queue.push_back(one);
    front.unwrap_or(one)
}

/// Finds the highest point, of both sides, from one frame to the next.
#[derive(Debug)]
struct PeakFinder {
    /// The last frames, twice over, so that they lie in one piece from wherever they begin.
    past: [Stereo; 2 * TAPS],
    /// Where the earliest of them is.
    first: usize,
    /// What makes each point between two frames out of those around it, frame by frame.
    weights: [[f64; BETWEEN]; TAPS],
    /// As long as no frame is above this, no point between them is above the aim.
    loud: f64,
    /// Frames since one was.
    since_loud: usize,
}

impl PeakFinder {
    fn new(aim: f64) -> Self {
        let weights: [[f64; BETWEEN]; TAPS] = std::array::from_fn(|tap| {
            std::array::from_fn(|point| {
                let place = (point + 1) as f64 / (BETWEEN + 1) as f64;
                weight(tap as f64 - (REACH - 1) as f64 - place)
            })
        });
        let sum_of = |point: usize| weights.iter().map(|tap| tap[point].abs()).sum::<f64>();
        let most = (0..BETWEEN).map(sum_of).fold(1.0, f64::max);
        Self {
            past: [[0.0; 2]; 2 * TAPS],
            first: 0,
            weights,
            loud: aim / most,
            since_loud: TAPS,
        }
    }

    fn reset(&mut self) {
        self.past = [[0.0; 2]; 2 * TAPS];
        self.since_loud = TAPS;
    }

    /// A frame goes in; out comes the peak from [`REACH`] frames ago to the frame after that, or 0
    /// if it is below the aim for sure.
    fn next(&mut self, frame: Stereo) -> f64 {
        self.past[self.first] = frame;
        self.past[self.first + TAPS] = frame;
        self.first = (self.first + 1) % TAPS;
        let is_loud = frame.iter().any(|side| side.abs() > self.loud);
        self.since_loud = if is_loud { 0 } else { self.since_loud + 1 };
        if self.since_loud >= TAPS {
            return 0.0;
        }
        self.highest()
    }

    /// The highest point of the frames around the middle of those that have come, and between them.
    fn highest(&self) -> f64 {
        let past = &self.past[self.first..self.first + TAPS];
        let mut points = [[0.0; 2]; BETWEEN];
        for (weights, frame) in self.weights.iter().zip(past) {
            for (point, weight) in points.iter_mut().zip(weights) {
                point[0] += weight * frame[0];
                point[1] += weight * frame[1];
            }
        }
        let frames = &past[REACH - 1..=REACH];
        let all = points.iter().chain(frames).flatten();
        all.fold(0.0, |highest: f64, side| highest.max(side.abs()))
    }
}

/// A sinc under a raised cosine: what a frame `distance` away has to say about a point.
fn weight(distance: f64) -> f64 {
    let window = (PI * distance / TAPS as f64).cos().powi(2);
    window * (PI * distance).sin() / (PI * distance)
}

/// From the gain each frame needs to the gain that is used: it goes down in a straight line, is
/// down when the frame comes that needs it, and recovers slowly.
#[derive(Debug)]
struct Gain {
    lowest: Lowest,
    recovery: f64,
    recovered: f64,
    /// The last gains, and their sum.
    averaged: VecDeque<f64>,
    sum: f64,
}

impl Gain {
    fn new(approach: usize, recovery: f64) -> Self {
        Self {
            // Two more than are averaged: a peak lies between two frames, and both need the gain.
            lowest: Lowest::new(approach + 2),
            recovery,
            recovered: 1.0,
            averaged: VecDeque::from(vec![1.0; approach]),
            sum: approach as f64,
        }
    }

    fn reset(&mut self) {
        self.lowest.reset();
        self.recovered = 1.0;
        self.averaged.iter_mut().for_each(|gain| *gain = 1.0);
        self.sum = self.averaged.len() as f64;
    }

    fn next(&mut self, needed: f64) -> f64 {
        let lowest = self.lowest.next(needed);
        let recovering = lowest + (self.recovered - lowest) * self.recovery;
        self.recovered = recovering.min(lowest);
        self.sum += self.recovered - pass_on(&mut self.averaged, self.recovered);
        // Rounding may leave the sum a hair above what it was made of.
        (self.sum / self.averaged.len() as f64).min(1.0)
    }
}

/// The lowest of the last so many values: a queue of those that nothing later undercuts.
#[derive(Debug)]
struct Lowest {
    candidates: VecDeque<(u64, f64)>,
    frames: u64,
    now: u64,
}

impl Lowest {
    fn new(frames: usize) -> Self {
        Self {
            candidates: VecDeque::with_capacity(frames + 1),
            frames: frames as u64,
            now: 0,
        }
    }

    fn reset(&mut self) {
        self.candidates.clear();
        self.now = 0;
    }

    fn next(&mut self, value: f64) -> f64 {
        while self.candidates.back().is_some_and(|&(_, v)| v >= value) {
            self.candidates.pop_back();
        }
        self.candidates.push_back((self.now, value));
        self.now += 1;
        while let Some(&(since, lowest)) = self.candidates.front() {
            if since + self.frames >= self.now {
                return lowest;
            }
            self.candidates.pop_front();
        }
        value
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn what_is_quiet_enough_passes_unchanged() {
        let mut limiter = Limiter::new(48_000.0);
        let sound: Vec<f64> = (0..2000).map(|n| 0.3 * (0.05 * n as f64).sin()).collect();
        let heard: Vec<f64> = sound.iter().map(|&s| limiter.next([s, -s])[0]).collect();
        let latency = limiter.latency();
        assert_eq!(heard[latency..], sound[..2000 - latency]);
    }

    #[test]
    fn after_silence_it_is_as_new() {
        let mut limiter = Limiter::new(48_000.0);
        (0..500).for_each(|_| assert_ne!(limiter.next([5.0, -5.0])[0], 5.0));
        let waits = limiter.latency() + TAPS;
        let end = (0..waits).map(|_| limiter.next([0.0; 2]));
        assert_eq!(end.last(), Some([0.0; 2]));
        assert!(limiter.is_drained());
        let mut fresh = Limiter::new(48_000.0);
        for n in 0..1000 {
            let frame = [(0.3 * f64::from(n)).sin(), 0.5];
            assert_eq!(limiter.next(frame), fresh.next(frame));
        }
    }

    #[test]
    fn the_gain_is_down_in_time_and_gets_there_in_a_straight_line() {
        let approach = 72;
        let mut gain = Gain::new(approach, 0.9999);
        let needed = |n| if (200..210).contains(&n) { 0.1 } else { 1.0 };
        let gains: Vec<f64> = (0..1000).map(|n| gain.next(needed(n))).collect();
        // The sound waits as long as the approach takes.
        let while_needed = &gains[200 + approach..210 + approach];
        assert!(while_needed.iter().all(|gain| *gain <= 0.1 + 1e-12));
        let steepest = 0.9 / approach as f64 + 1e-12;
        let changes = gains.windows(2).map(|pair| (pair[1] - pair[0]).abs());
        assert!(changes.fold(0.0, f64::max) <= steepest);
        assert!(gains[999] > gains[210 + approach], "and it recovers");
    }

    proptest! {
        #[test]
        fn the_lowest_of_a_window_is_what_sorting_would_find(
            values in prop::collection::vec(0.0..1.0_f64, 1..200),
            frames in 1..20_usize,
        ) {
            let mut lowest = Lowest::new(frames);
            for end in 1..=values.len() {
                let window = &values[end.saturating_sub(frames)..end];
                let wanted = window.iter().copied().fold(f64::INFINITY, f64::min);
                prop_assert_eq!(lowest.next(values[end - 1]), wanted);
            }
        }

        #[test]
        fn no_frame_of_any_noise_passes_the_aim(
            noise in prop::collection::vec(-20.0..20.0_f64, 1..600),
        ) {
            let mut limiter = Limiter::new(22_050.0);
            for side in noise.into_iter().chain([0.0; 100]) {
                let out = limiter.next([side, -0.5 * side]);
                prop_assert!(out[0].abs() <= limiter.aim * (1.0 + 1e-9));
            }
        }
    }
}
