//! The program's own song: a tempo, a place, and whether it rolls. The engine is told of it in the
//! same words as of a host's.
//!
//! The audio thread owns it; whoever else has a [`SongControl`] says what it is to do, and sees where
//! it is. What was said is done at the beginning of the next block. A place is derived from the
//! frames since the song was last started, moved or given another tempo, so nothing adds up.

use crossbeam::atomic::AtomicCell;
use procession_core::clock::{DEFAULT_TEMPO, Transport};
use procession_core::time::Beats;
use std::ops::RangeInclusive;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// Tempos to choose from, in beats (quarter notes) a minute.
pub const TEMPOS: RangeInclusive<f64> = 20.0..=300.0;

/// The farthest place to go to, in beats after the song's beginning: more than a week at the
/// fastest.
pub const FARTHEST: Beats = 4_000_000.0;

/// What is shared. A place that is not a number is none.
#[derive(Debug)]
struct Shared {
    tempo: AtomicCell<f64>,
    rolls: AtomicBool,
    /// Where to go, in beats after the song's beginning.
    place: AtomicCell<Beats>,
    /// Where to go, in beats after the process's beginning.
    visit: AtomicCell<Beats>,
    /// Where the song has come to.
    position: AtomicCell<Beats>,
}

/// The two ends of a song at rest, at its beginning.
pub fn song(tempo: f64) -> (SongControl, Song) {
    // Otherwise the cells would take a lock behind our back.
    const { assert!(AtomicCell::<f64>::is_lock_free()) };
    let tempo = within(tempo).unwrap_or(DEFAULT_TEMPO);
    let shared = Arc::new(Shared {
        tempo: AtomicCell::new(tempo),
        rolls: AtomicBool::new(false),
        place: AtomicCell::new(Beats::NAN),
        visit: AtomicCell::new(Beats::NAN),
        position: AtomicCell::new(0.0),
    });
    let song = Song {
        shared: shared.clone(),
        rolls: false,
        tempo,
        sample_rate: 48_000.0,
        mark: 0.0,
        frames: 0,
    };
    (SongControl(shared), song)
}

/// A tempo within [`TEMPOS`]; none of what is no number.
fn within(tempo: f64) -> Option<f64> {
    tempo
        .is_finite()
        .then(|| tempo.clamp(*TEMPOS.start(), *TEMPOS.end()))
}

/// The end of the window, or of whoever else is not the audio thread.
#[derive(Clone, Debug)]
pub struct SongControl(Arc<Shared>);

impl SongControl {
    /// Whether the song rolls, or is about to.
    pub fn rolls(&self) -> bool {
        self.0.rolls.load(Ordering::Acquire)
    }

    /// Beats a minute.
    pub fn tempo(&self) -> f64 {
        self.0.tempo.load()
    }

    /// Where it has come to, in beats.
    pub fn position(&self) -> Beats {
        self.0.position.load()
    }

    /// It is to roll from where it is, or to stop there.
    pub fn roll(&self, rolls: bool) {
        self.0.rolls.store(rolls, Ordering::Release);
    }

    /// It is to have that tempo from where it is; the nearest of [`TEMPOS`].
    pub fn set_tempo(&self, tempo: f64) {
        if let Some(tempo) = within(tempo) {
            self.0.tempo.store(tempo);
        }
    }

    /// It is to go on at that place, or to rest there.
    pub fn go_to(&self, place: Beats) {
        if place.is_finite() {
            self.0.place.store(place.clamp(0.0, FARTHEST));
        }
    }

    /// The same, so many beats after the process's beginning.
    pub fn visit(&self, after_beginning: Beats) {
        if after_beginning.is_finite() {
            self.0.visit.store(after_beginning.clamp(0.0, FARTHEST));
        }
    }
}

/// The audio thread's end.
#[derive(Debug)]
pub struct Song {
    shared: Arc<Shared>,
    rolls: bool,
    tempo: f64,
    sample_rate: f64,
    /// Where it was started, moved or given its tempo last, and the frames since.
    mark: Beats,
    frames: u64,
}

impl Song {
    /// A stage to go to, in beats after the process's beginning, if one was asked for.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn takes_visit(&mut self) -> Option<Beats> {
        let visit = self.shared.visit.swap(Beats::NAN);
        visit.is_finite().then_some(visit)
    }

    /// Goes on at that place, or rests there.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn go_to(&mut self, place: Beats) {
        (self.mark, self.frames) = (place, 0);
        self.shared.position.store(place);
    }

    /// Rolls from the next block on.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn roll(&mut self) {
        self.shared.rolls.store(true, Ordering::Release);
    }

    /// What the song does in the next `frames` frames at `sample_rate` hertz; then it is past them.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn pass(&mut self, frames: u32, sample_rate: f64) -> Transport {
        // Asked before the place: whoever says a place, then start, is not to hear the place before.
        let rolls = self.shared.rolls.load(Ordering::Acquire);
        let tempo = self.shared.tempo.load();
        if (tempo, sample_rate) != (self.tempo, self.sample_rate) {
            self.go_to(self.position());
            (self.tempo, self.sample_rate) = (tempo, sample_rate);
        }
        let place = self.shared.place.swap(Beats::NAN);
        if place.is_finite() {
            self.go_to(place);
        }
        self.rolls = rolls;
        let transport = Transport {
            playing: self.rolls,
            tempo: Some(self.tempo),
            position: Some(self.position()),
        };
        if self.rolls {
            self.frames += u64::from(frames);
        }
        self.shared.position.store(self.position());
        transport
    }

    fn position(&self) -> Beats {
        self.mark + self.frames as f64 * self.tempo / (60.0 * self.sample_rate)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use nice_assert_no_alloc::assert_no_alloc;

    /// At 120 and 48 kHz: a hundredth of a beat.
    const HUNDREDTH: u32 = 240;

    fn pass(song: &mut Song, blocks: u32) -> Transport {
        let mut last = Transport::default();
        for _ in 0..blocks {
            last = assert_no_alloc(|| song.pass(HUNDREDTH, 48_000.0));
        }
        last
    }

    #[test]
    fn it_rests_at_its_beginning_until_it_is_started() {
        let (desk, mut song) = song(120.0);
        assert_eq!(
            pass(&mut song, 100),
            Transport {
                playing: false,
                tempo: Some(120.0),
                position: Some(0.0)
            }
        );
        desk.roll(true);
        assert_eq!(pass(&mut song, 1).position, Some(0.0));
        assert_eq!(pass(&mut song, 1).position, Some(0.01));
        assert_eq!(desk.position(), 0.02);
    }

    #[test]
    fn stopped_it_stays_where_it_came_to_and_goes_on_from_there() {
        let (desk, mut song) = song(120.0);
        desk.roll(true);
        pass(&mut song, 100);
        desk.roll(false);
        let rest = pass(&mut song, 1000);
        assert_eq!((rest.playing, rest.position), (false, Some(1.0)));
        desk.roll(true);
        assert_eq!(pass(&mut song, 1).position, Some(1.0));
    }

    #[test]
    fn it_goes_to_a_place_at_the_next_block_rolling_or_not() {
        let (desk, mut song) = song(120.0);
        desk.go_to(16.0);
        assert_eq!(pass(&mut song, 1).position, Some(16.0));
        desk.go_to(8.0);
        desk.roll(true);
        let there = pass(&mut song, 1);
        assert_eq!((there.playing, there.position), (true, Some(8.0)));
        desk.go_to(4.0);
        assert_eq!(pass(&mut song, 1).position, Some(4.0));
        assert_eq!(pass(&mut song, 1).position, Some(4.01));
    }

    #[test]
    fn another_tempo_goes_on_from_where_the_song_is() {
        let (desk, mut song) = song(120.0);
        desk.roll(true);
        pass(&mut song, 100);
        desk.set_tempo(60.0);
        let turned = pass(&mut song, 1);
        assert_eq!((turned.tempo, turned.position), (Some(60.0), Some(1.0)));
        assert_eq!(pass(&mut song, 1).position, Some(1.005));
    }

    /// Ten hours of blocks of an odd length, and the place is what dividing says.
    #[test]
    fn hours_do_not_add_up_to_a_drift() {
        let (desk, mut song) = song(97.0);
        desk.roll(true);
        let blocks = 10 * 3600 * 44_100 / 441;
        for _ in 0..blocks {
            song.pass(441, 44_100.0);
        }
        assert!((desk.position() - 10.0 * 60.0 * 97.0).abs() < 1e-7);
    }

    #[test]
    fn what_is_no_tempo_and_no_place_changes_nothing() {
        let (desk, mut song) = song(f64::NAN);
        assert_eq!(desk.tempo(), 120.0);
        desk.set_tempo(f64::INFINITY);
        desk.go_to(f64::NAN);
        desk.visit(f64::NAN);
        assert_eq!(pass(&mut song, 1).tempo, Some(120.0));
        assert_eq!(song.takes_visit(), None);
        desk.set_tempo(7.0);
        assert_eq!(desk.tempo(), 20.0);
        desk.set_tempo(7000.0);
        assert_eq!(desk.tempo(), 300.0);
        desk.go_to(-4.0);
        assert_eq!(pass(&mut song, 1).position, Some(0.0));
    }
}
