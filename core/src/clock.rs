//! The clock: the song's position while the host rolls, the plug-in's own while it does not.

mod rounding;

use crate::time::{Beats, Block};
use rounding::Rounding;

/// What a host tells about time. Any of it may be missing or absurd.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Transport {
    /// Whether the song is rolling.
    pub playing: bool,
    /// Beats a minute.
    pub tempo: Option<f64>,
    /// Song position of the first frame, in beats.
    pub position: Option<Beats>,
}

/// How a block's time joins the time before.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Joint {
    /// It goes on.
    On,
    /// The song begins to roll.
    Starts,
    /// The song comes to a stop.
    Stops,
    /// The song goes on somewhere else.
    Leaps,
}

/// The tempo used until the host tells one.
pub const DEFAULT_TEMPO: f64 = 120.0;

/// Tempos taken from a host, in beats a minute; anything else leaves the tempo as it was.
pub const TEMPOS: std::ops::RangeInclusive<f64> = 1.0..=10_000.0;

/// Positions taken from a host, in beats either side of the song's start. Beyond, an `f64` no
/// longer tells two samples apart.
const FURTHEST: Beats = 1e9;

/// Seconds by which a host's position may differ from where the song should have come to.
const JITTER: f64 = 1e-3;

/// Blocks in a row for which a position that contradicts the song's own course is not believed,
/// and how far back the reason for it is looked for.
const DOUBTED: usize = 8;

/// Frames by which a position that was counted twice may miss the count: hosts round the moment
/// of a turn to a frame.
const COUNTED_TO: f64 = 2.0;

/// A position that differs from the song's own course by no more beats says the same; so does one
/// that follows from the last. Fixed-point positions of hosts are exact to 5e-10 beats.
const SAME: Beats = 2e-9;

/// Where the song goes while its tempo stands: derived from where it began to, never added up.
#[derive(Clone, Copy, Debug)]
struct Course {
    from: Beats,
    /// Frames since.
    frames: u64,
    beats_per_frame: f64,
}

impl Course {
    fn position(&self) -> Beats {
        self.from + self.frames as f64 * self.beats_per_frame
    }

    fn go_to(&mut self, position: Beats) {
        (self.from, self.frames) = (position, 0);
    }
}

/// Keeps the position between blocks.
#[derive(Clone, Debug)]
pub struct Clock {
    sample_rate: f64,
    tempo: f64,
    /// The share of the tempo at which the own time goes.
    pace: f64,
    playing: bool,
    /// Where the song, or the own time, has come to.
    course: Course,
    /// What the host would give next if it gave the same course as last.
    expected: Option<Beats>,
    /// How far off the course the song may be, if the host rounds.
    rounding: Option<Rounding>,
    /// How long the last block was.
    last: Beats,
    /// Frames of the last blocks, the latest first.
    lately: [u32; DOUBTED],
    /// Blocks in a row whose position was not believed, and by how many frames it was ahead.
    doubted: usize,
    doubted_by: f64,
    /// Beats heard since the beginning, whatever the song did.
    heard: Beats,
}

impl Clock {
    /// A clock at rest. A `sample_rate` (hertz) that is none is taken for 48 000.
    pub fn new(sample_rate: f64) -> Self {
        let sane = sample_rate.is_finite() && sample_rate >= 1.0;
        let sample_rate = if sane { sample_rate } else { 48_000.0 };
        Self {
            sample_rate,
            tempo: DEFAULT_TEMPO,
            pace: 1.0,
            playing: false,
            course: Course {
                from: 0.0,
                frames: 0,
                beats_per_frame: Block::new(0.0, DEFAULT_TEMPO, sample_rate, 0).beats_per_frame,
            },
            expected: None,
            rounding: None,
            last: 0.0,
            lately: [0; DOUBTED],
            doubted: 0,
            doubted_by: 0.0,
            heard: 0.0,
        }
    }

    /// Whether the song rolls.
    pub fn is_playing(&self) -> bool {
        self.playing
    }

    /// Frames a second.
    pub fn sample_rate(&self) -> f64 {
        self.sample_rate
    }

    /// Beats a minute.
    pub fn tempo(&self) -> f64 {
        self.tempo
    }

    /// From the next block on the plug-in's own time goes at this share of the tempo. The song's
    /// tempo is the host's. A share that is none is taken for the whole.
    pub fn set_pace(&mut self, pace: f64) {
        let is_share = pace.is_finite() && pace > 0.0;
        self.pace = if is_share { pace } else { 1.0 };
    }

    /// Goes back by so many beats, in the own time: something begins again.
    pub fn go_back(&mut self, beats: Beats) {
        self.course.from -= beats;
    }

    /// Where the last block ended.
    pub fn position(&self) -> Beats {
        self.course.position()
    }

    /// Beats that have gone by at the start of the coming block, leaps of the song aside.
    pub fn heard(&self) -> Beats {
        self.heard
    }

    /// The musical time of the next `frames` frames, and how it joins what was before.
    pub fn advance(&mut self, transport: &Transport, frames: u32) -> (Block, Joint) {
        let tempo = transport.tempo.filter(|tempo| TEMPOS.contains(tempo));
        let tempo_stands = tempo.is_none_or(|tempo| tempo == self.tempo);
        self.tempo = tempo.unwrap_or(self.tempo);
        let joint = self.join(transport, tempo_stands);
        self.playing = transport.playing;
        let pace = if self.playing { 1.0 } else { self.pace };
        let tempo = pace * self.tempo;
        let block = Block::new(self.position(), tempo, self.sample_rate, frames);
        if block.beats_per_frame != self.course.beats_per_frame {
            self.course.go_to(block.start);
            self.course.beats_per_frame = block.beats_per_frame;
        }
        self.course.frames += u64::from(frames);
        self.last = block.end() - block.start;
        self.expected = given_by(transport).map(|given| given + self.last);
        self.lately.rotate_right(1);
        self.lately[0] = frames;
        (block, joint)
    }

    /// What was advanced over has been heard.
    pub fn pass(&mut self, block: &Block) {
        self.heard += block.end() - block.start;
    }

    fn join(&mut self, transport: &Transport, tempo_stands: bool) -> Joint {
        let given = given_by(transport);
        match (self.playing, transport.playing) {
            (false, false) => Joint::On,
            (true, false) => Joint::Stops,
            (false, true) => {
                self.believe(given.unwrap_or(self.position()));
                self.doubted = 0;
                Joint::Starts
            }
            (true, true) => given.map_or(Joint::On, |at| self.follow(at, tempo_stands)),
        }
    }

    /// The song is at `at`, as far as the host knows.
    fn believe(&mut self, at: Beats) {
        self.course.go_to(at);
        self.rounding = Rounding::of(at);
    }

    /// The song says it is at `at`.
    ///
    /// While the tempo stands, the song's own course is believed before a position that may be
    /// rounded. A position ahead by just as much as the last few blocks were long is doubted for a
    /// while: a framework that cuts the host's blocks at transport events has been seen to count
    /// the part before the cut twice. The own course goes on then, too. Of other differences, up
    /// to half a block is explained by a change of tempo in it: the host is followed. The rest are
    /// leaps.
    fn follow(&mut self, at: Beats, tempo_stands: bool) -> Joint {
        if tempo_stands && self.agrees_with(at) {
            self.doubted = 0;
            return Joint::On;
        }
        let jitter = JITTER * self.tempo / 60.0;
        let ahead = at - self.position();
        let frames = ahead * 60.0 * self.sample_rate / self.tempo;
        if self.is_counted_twice(frames) {
            self.doubted += 1;
            self.doubted_by = frames;
            return Joint::On;
        }
        self.doubted = 0;
        self.believe(at);
        if ahead.abs() <= jitter.max(self.last / 2.0) {
            Joint::On
        } else {
            Joint::Leaps
        }
    }

    /// Whether the song may be on its own course though the host says it is at `at`. What the
    /// host's rounding cannot explain of the difference is made up for.
    fn agrees_with(&mut self, at: Beats) -> bool {
        let ahead = at - self.position();
        if ahead.abs() <= SAME {
            // A host that does not round is followed as it is.
            self.course.go_to(at);
            return true;
        }
        let said_before = self
            .expected
            .is_some_and(|given| (at - given).abs() <= SAME);
        if said_before
            && self
                .rounding
                .is_some_and(|rounding| rounding.explains(ahead))
        {
            // A later part of the host's block, counted on from what was rounded at its start.
            return true;
        }
        let Some(rounding) = Rounding::of(at) else {
            return false;
        };
        let mut rounding = match self.rounding {
            Some(before) => before.finer(rounding),
            None => rounding,
        };
        if !rounding.explains(ahead) {
            return false;
        }
        let correction = rounding.narrow(ahead);
        if correction != 0.0 {
            self.course.go_to(self.position() + correction);
        }
        self.rounding = Some(rounding);
        true
    }

    /// Whether a position that is `ahead` frames ahead may be so because blocks were counted
    /// twice: the last few, or those that were when this first came up.
    fn is_counted_twice(&self, ahead: f64) -> bool {
        if ahead < 1.0 || self.doubted == DOUBTED {
            return false;
        }
        let is_near = |frames: f64| (ahead - frames).abs() <= COUNTED_TO;
        let mut counted = 0.0;
        let mut is_last_few = || {
            self.lately.iter().any(|frames| {
                counted += f64::from(*frames);
                is_near(counted)
            })
        };
        (self.doubted > 0 && is_near(self.doubted_by)) || is_last_few()
    }
}

/// Where a host says the song is, if that is anywhere.
fn given_by(transport: &Transport) -> Option<Beats> {
    transport
        .position
        .filter(|at| at.is_finite() && at.abs() < FURTHEST)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(position: f64) -> Transport {
        Transport {
            playing: true,
            tempo: Some(120.0),
            position: Some(position),
        }
    }

    /// 480 frames at 120 and 48 kHz: a fiftieth of a beat.
    const FIFTIETH: u32 = 480;

    #[test]
    fn the_song_is_followed_and_a_loop_is_a_leap() {
        let mut clock = Clock::new(48_000.0);
        assert_eq!(clock.advance(&at(4.0), FIFTIETH).1, Joint::Starts);
        assert_eq!(clock.advance(&at(4.02), FIFTIETH).1, Joint::On);
        let (block, joint) = clock.advance(&at(0.0), FIFTIETH);
        assert_eq!((block.start, joint), (0.0, Joint::Leaps));
    }

    #[test]
    fn a_tempo_that_is_none_leaves_the_tempo() {
        let mut clock = Clock::new(48_000.0);
        for absurd in [0.0, -3.0, f64::NAN, f64::INFINITY, 1e12] {
            clock.advance(
                &Transport {
                    tempo: Some(absurd),
                    ..at(0.0)
                },
                FIFTIETH,
            );
            assert_eq!(clock.tempo(), DEFAULT_TEMPO);
        }
    }

    #[test]
    fn a_position_that_is_none_lets_the_song_go_on() {
        let mut clock = Clock::new(48_000.0);
        clock.advance(&at(8.0), FIFTIETH);
        for absurd in [f64::NAN, f64::NEG_INFINITY, 1e300] {
            let (_, joint) = clock.advance(&at(absurd), FIFTIETH);
            assert_eq!(joint, Joint::On);
        }
        assert!((clock.position() - 8.08).abs() < 1e-9);
    }

    #[test]
    fn stopped_the_own_clock_goes_on_at_the_hosts_tempo() {
        let mut clock = Clock::new(48_000.0);
        let stopped = Transport {
            playing: false,
            tempo: Some(60.0),
            position: Some(0.0),
        };
        for _ in 0..100 {
            clock.advance(&stopped, FIFTIETH);
        }
        assert!((clock.position() - 1.0).abs() < 1e-9);
    }

    #[test]
    fn a_position_counted_twice_inside_a_block_is_no_leap() {
        let mut clock = Clock::new(48_000.0);
        clock.advance(&at(4.0), 240);
        let (block, joint) = clock.advance(&at(4.02), 272);
        assert_eq!(joint, Joint::On);
        assert!((block.start - 4.01).abs() < 1e-9);
        let (block, joint) = clock.advance(&at(4.0 + 0.02 * 512.0 / 480.0), 512);
        assert_eq!(joint, Joint::On);
        assert!((block.start - 4.021_333).abs() < 1e-5);
    }

    #[test]
    fn whatever_the_new_tempo_and_however_often_the_block_was_cut_it_is_no_leap() {
        let mut clock = Clock::new(48_000.0);
        let at_tempo = |tempo, position| Transport {
            tempo: Some(tempo),
            ..at(position)
        };
        // A block of 480 frames, cut at 400 and 440 by automation, then at 450 by a new tempo.
        let per_frame = |tempo: f64| tempo / (60.0 * 48_000.0);
        clock.advance(&at_tempo(60.0, 0.0), 400);
        clock.advance(&at_tempo(60.0, 400.0 * per_frame(60.0)), 40);
        clock.advance(&at_tempo(60.0, 440.0 * per_frame(60.0)), 10);
        let turn = 450.0 * per_frame(60.0);
        let told = turn + 450.0 * per_frame(240.0);
        let (block, joint) = clock.advance(&at_tempo(240.0, told), 10);
        assert_eq!(joint, Joint::On);
        assert!((block.start - turn).abs() < 1e-9, "{block:?}");
        // Cut once more by automation, it is still ahead by what came before the turn.
        let told = turn + 460.0 * per_frame(240.0);
        let (block, joint) = clock.advance(&at_tempo(240.0, told), 20);
        assert_eq!(joint, Joint::On);
        assert!((block.start - turn - 10.0 * per_frame(240.0)).abs() < 1e-9);
    }

    #[test]
    fn a_step_back_is_a_leap_at_once() {
        let mut clock = Clock::new(48_000.0);
        clock.advance(&at(4.0), FIFTIETH);
        clock.advance(&at(4.02), FIFTIETH);
        let (block, joint) = clock.advance(&at(4.02), FIFTIETH);
        assert_eq!((block.start, joint), (4.02, Joint::Leaps));
    }

    #[test]
    fn a_seek_that_looks_like_a_block_counted_twice_is_believed_in_the_end() {
        let mut clock = Clock::new(48_000.0);
        clock.advance(&at(4.0), FIFTIETH);
        let joints: Vec<_> = (1..20)
            .map(|block| {
                let sought = 4.02 + 0.02 * f64::from(block);
                clock.advance(&at(sought), FIFTIETH).1
            })
            .collect();
        let leaps = joints.iter().filter(|joint| **joint == Joint::Leaps);
        assert_eq!(leaps.count(), 1, "{joints:?}");
        assert!((clock.position() - 4.42).abs() < 1e-9);
    }

    #[test]
    fn a_ramp_of_the_tempo_is_no_leap() {
        let mut clock = Clock::new(48_000.0);
        let mut position = 0.0;
        for step in 0..200 {
            let tempo = 60.0 + f64::from(step);
            let told = Transport {
                playing: true,
                tempo: Some(tempo),
                position: Some(position),
            };
            let (_, joint) = clock.advance(&told, 1024);
            assert!(step == 0 || joint == Joint::On, "{step}");
            position += (tempo + 0.5) * 1024.0 / (60.0 * 48_000.0);
        }
    }

    /// A host whose song is where it should be, and that says which tick is nearest.
    struct Rounds {
        clock: Clock,
        truth: f64,
        ticks: f64,
    }

    impl Rounds {
        fn from(truth: f64, ticks: f64) -> Self {
            let clock = Clock::new(48_000.0);
            Self {
                clock,
                truth,
                ticks,
            }
        }

        /// By how many beats the clock's song is ahead of the host's, block for block.
        fn roll(&mut self, tempo: f64, lengths: impl IntoIterator<Item = u32>) -> Vec<f64> {
            let mut ahead = Vec::new();
            for frames in lengths {
                let told = Transport {
                    playing: true,
                    tempo: Some(tempo),
                    position: Some((self.truth * self.ticks).round() / self.ticks),
                };
                let (block, joint) = self.clock.advance(&told, frames);
                assert!(matches!(joint, Joint::On | Joint::Starts), "{joint:?}");
                ahead.push(block.start - self.truth);
                self.truth += f64::from(frames) * tempo / (60.0 * 48_000.0);
            }
            ahead
        }
    }

    /// Lengths that have nothing in common with ticks: their sum, 2047 frames, and the 12.5, 25 or
    /// 50 frames of a tick at 120 meet on every frame.
    fn lengths(count: usize) -> impl Iterator<Item = u32> {
        [64, 1024, 7, 441, 511].into_iter().cycle().take(count)
    }

    #[test]
    fn a_song_told_in_ticks_goes_its_own_course_from_a_bar_line() {
        for (ticks, tempo) in [
            (480.0, 120.0),
            (960.0, 97.3),
            (1920.0, 120.0),
            (1920.0, 61.7),
        ] {
            let ahead = Rounds::from(8.0, ticks).roll(tempo, lengths(5000));
            assert!(ahead.iter().all(|beats| beats.abs() < 1e-9), "{ticks}");
        }
    }

    #[test]
    fn from_anywhere_it_is_within_a_tick_and_soon_within_two_samples_and_hardly_ahead() {
        for ticks in [480.0, 960.0, 1920.0] {
            for hundredth in 0..100 {
                let from = 3.0 + f64::from(hundredth) / (100.0 * ticks);
                let ahead = Rounds::from(from, ticks).roll(120.0, lengths(600));
                let tick = 1.0 / ticks;
                assert!(
                    ahead.iter().all(|beats| beats.abs() <= tick),
                    "{ticks} {from}"
                );
                let sample = 1.0 / 24_000.0;
                // Blocks are whole samples long: less than one cannot be told apart.
                let later = -1.5 * sample..1.0 * sample;
                assert!(
                    ahead[500..].iter().all(|beats| later.contains(beats)),
                    "{ticks} {from}: {:?}",
                    ahead.last()
                );
            }
        }
    }

    #[test]
    fn other_tempi_are_followed_within_a_tick() {
        let mut host = Rounds::from(0.0, 1920.0);
        for step in 0..200 {
            let tempo = 60.0 + f64::from(step);
            let ahead = host.roll(tempo, lengths(10));
            assert!(
                ahead.iter().all(|beats| beats.abs() <= 1.0 / 1920.0),
                "{step}"
            );
        }
    }

    /// The framework cuts a host's block where automation moves, and counts on from its start.
    #[test]
    fn a_block_that_is_cut_goes_on_as_it_began() {
        let mut clock = Clock::new(48_000.0);
        let per_frame = 1.0 / 24_000.0;
        for block in 0..500 {
            let truth = 4.0 + f64::from(block * 509) * per_frame;
            let told = (truth * 1920.0).round() / 1920.0;
            for (from, frames) in [(0, 100), (100, 1), (101, 408)] {
                let (part, _) = clock.advance(&at(told + f64::from(from) * per_frame), frames);
                let exact = truth + f64::from(from) * per_frame;
                assert!((part.start - exact).abs() < 1e-9, "{block} {from}");
            }
        }
    }

    #[test]
    fn a_loop_of_a_host_that_rounds_is_a_leap() {
        let mut host = Rounds::from(0.0, 1920.0);
        host.roll(120.0, lengths(50));
        let (block, joint) = host.clock.advance(&at(0.0), 64);
        assert_eq!((block.start, joint), (0.0, Joint::Leaps));
    }
}
