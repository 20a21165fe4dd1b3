//! Two sketches held against each other, at equal loudness.
//!
//! How loud each is, is measured on a thread of its own, from what the mallets of the audition make
//! of its first minute; the louder one is then made as much softer as it is louder.

use crate::audition::players;
use crate::bell::Bell;
use crate::state::{Sketch, Sketches};
use procession_core::exchange::sound::Sound;
use procession_core::process::Process;
use procession_core::time::Span;
use procession_core::unrolling::unroll;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, TryRecvError, channel};
use std::thread;

/// So much of a sketch is measured, in seconds.
const MEASURED: f64 = 60.0;

/// Hertz. No bar of the mallets rings above half of it.
const SAMPLE_RATE: u32 = 48_000;

/// One of the two.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// The first.
    A,
    /// The second.
    B,
}

/// What can be seen of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Compared {
    /// The places of A and B, counted from 0.
    pub pair: (usize, usize),
    /// Which of them is heard; none while nothing is compared.
    pub heard: Option<Side>,
    /// By how much louder A is by itself than B, in LU, once that is known.
    pub louder: Option<f64>,
}

impl Default for Compared {
    fn default() -> Self {
        Self {
            pair: (0, 1),
            heard: None,
            louder: None,
        }
    }
}

/// Two sketches, of which one is heard.
#[derive(Debug, Default)]
pub struct Comparing {
    compared: Compared,
    measuring: Option<Measuring>,
}

#[derive(Debug)]
struct Measuring {
    /// What is measured, and at which tempo.
    of: (Arc<Sketch>, Arc<Sketch>, f64),
    answer: Receiver<Option<f64>>,
    louder: Option<f64>,
}

impl Comparing {
    /// What can be seen of it.
    pub fn seen(&self) -> Compared {
        self.compared
    }

    /// Those two are compared from now on, and none of them is heard yet.
    pub fn pair(&mut self, a: usize, b: usize, bell: &Bell) {
        self.alone(bell);
        self.compared.pair = (a, b);
    }

    /// Nothing is compared: all is as loud as it is.
    pub fn alone(&mut self, bell: &Bell) {
        self.compared.heard = None;
        bell.soften(0.0);
    }

    /// The one that is not heard, and its place; A at first.
    pub fn other(&self) -> (Side, usize) {
        match self.compared.heard {
            Some(Side::A) => (Side::B, self.compared.pair.1),
            Some(Side::B) | None => (Side::A, self.compared.pair.0),
        }
    }

    /// That one is heard from now on, at `tempo` beats a minute.
    pub fn hear(&mut self, side: Side, sketches: &Sketches, tempo: f64, bell: &Bell) {
        self.compared.heard = Some(side);
        let (a, b) = self.compared.pair;
        let both = sketches.get(a).cloned().zip(sketches.get(b).cloned());
        let of = both.map(|(a, b)| (a, b, tempo));
        let known = self.measuring.as_ref().map(|known| &known.of);
        if known != of.as_ref() {
            self.measuring = of.and_then(Measuring::begun);
        }
        self.follow(bell);
    }

    /// What was measured meanwhile is heard. Whether that is still to come.
    pub fn follow(&mut self, bell: &Bell) -> bool {
        let measuring = self.measuring.as_mut();
        let louder = measuring.and_then(Measuring::louder);
        self.compared.louder = louder;
        let softer = match (self.compared.heard, louder) {
            (Some(Side::A), Some(louder)) => louder,
            (Some(Side::B), Some(louder)) => -louder,
            _ => 0.0,
        };
        bell.soften(softer as f32);
        self.compared.heard.is_some() && louder.is_none() && self.measuring.is_some()
    }
}

impl Measuring {
    fn begun(of: (Arc<Sketch>, Arc<Sketch>, f64)) -> Option<Self> {
        let (tell, answer) = channel();
        let (a, b, tempo) = of.clone();
        let work = move || {
            let louder = lufs(&a, tempo, MEASURED).zip(lufs(&b, tempo, MEASURED));
            // Nobody may wait for it any more.
            let _ = tell.send(louder.map(|(a, b)| a - b));
        };
        let named = thread::Builder::new().name("procession measuring".to_owned());
        // With no thread to be had all is as loud as it is.
        named.spawn(work).ok()?;
        let louder = None;
        Some(Self { of, answer, louder })
    }

    fn louder(&mut self) -> Option<f64> {
        match self.answer.try_recv() {
            // One that is silent cannot be as loud as the other.
            Ok(louder) => self.louder = Some(louder.unwrap_or(0.0)),
            // Whoever measures has gone without a word: all is as loud as it is.
            Err(TryRecvError::Disconnected) => self.louder = self.louder.or(Some(0.0)),
            Err(TryRecvError::Empty) => (),
        }
        self.louder
    }
}

/// How loud the audition of a sketch is at 0 dB, in LUFS, over its first so many seconds; none if it
/// is next to silent. Takes a while.
pub fn lufs(sketch: &Sketch, tempo: f64, seconds: f64) -> Option<f64> {
    let stood = sketch.stood();
    let settings = stood.settings(&stood.kept.current());
    let mut process = Box::new(Process::new(sketch.phrase.clone(), settings, 0.0));
    process.set_route(&sketch.route);
    let process = process.as_counted();
    let notes: Vec<_> = unroll(&process, Span::new(0.0, seconds * tempo / 60.0)).collect();
    let sound = Sound {
        origin: 0.0,
        voices: process.voices().count(),
        width: settings.output.width,
        mallets: settings.mallets(),
        notes: &notes,
        tempo,
        tempi: None,
        sample_rate: SAMPLE_RATE,
        voice: None,
    };
    sound.auditioned_lufs(players(&settings)).ok().flatten()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::params::Parameters;
    use crate::state::Kept;
    use nice_plug::plugin::ParamValue;
    use procession_core::exchange::loudness::Meter;
    use procession_core::mallet::Mallets;
    use procession_core::phrase::Phrase;

    /// Seconds, enough to be measured and short enough for a test.
    const SECONDS: f64 = 6.0;

    fn sketch(text: &str, copies: i32) -> Sketch {
        let (parameters, _) = Parameters::new();
        if let Some((_, parameter)) = parameters.of_id("copies") {
            parameter.restore(&ParamValue::I32(copies));
        }
        let mut kept = Kept::default();
        kept.taken.phrase = Phrase::from_text(text, 0.25).expect("a phrase");
        Sketch::of(&kept, &parameters, String::new())
    }

    /// What the mallets of the audition make of it at `level` dB, struck here note by note, as they
    /// are on the audio thread; in LUFS by ITU-R BS.1770.
    fn heard(sketch: &Sketch, level: f32) -> f64 {
        let stood = sketch.stood();
        let settings = stood.settings(&stood.kept.current());
        let process = Box::new(Process::new(sketch.phrase.clone(), settings, 0.0));
        let mut mallets = Mallets::new(48_000.0);
        mallets.set_players(players(&settings));
        mallets.set_level(Some(level));
        let frame = |beats: f64| (beats * 24_000.0) as usize;
        let notes: Vec<_> = unroll(&process, Span::new(0.0, SECONDS * 2.0)).collect();
        let mut deeds: Vec<(usize, i32, bool)> = Vec::new();
        for (id, note) in (0..).zip(&notes) {
            deeds.push((frame(note.on), id, true));
            deeds.push((frame(note.off), id, false));
        }
        deeds.sort_unstable();
        let mut meter = Meter::new(48_000);
        let mut done = 0;
        for (at, id, strikes) in deeds {
            let (mut left, mut right) = (vec![0.0; at - done], vec![0.0; at - done]);
            mallets.render(&mut left, &mut right);
            meter.hear(&left, &right);
            done = at;
            let note = &notes[id as usize];
            if strikes {
                mallets.note_on(id, note.key, note.velocity, 64);
            } else {
                mallets.note_off(id);
            }
        }
        meter.lufs().expect("it sounds")
    }

    #[test]
    fn one_who_measures_and_dies_is_not_waited_for() {
        let one = Arc::new(sketch("D4", 0));
        let (tell, answer) = channel();
        let mut comparing = Comparing::default();
        comparing.compared.heard = Some(Side::A);
        let of = (one.clone(), one, 120.0);
        let louder = None;
        comparing.measuring = Some(Measuring { of, answer, louder });
        let bell = Bell::default();
        assert!(comparing.follow(&bell), "it is still to come");
        drop(tell);
        assert!(!comparing.follow(&bell));
        assert_eq!(comparing.seen().louder, Some(0.0));
    }

    /// One soft low voice against nine that strike together: far apart by themselves, and within
    /// half an LU of each other as they are compared.
    #[test]
    fn what_is_compared_is_as_loud() {
        let (one, other) = (sketch("D3 . . . F3 . . .", 0), sketch("D5+A5 F5 A5 C6", 8));
        let louder =
            lufs(&one, 120.0, SECONDS).expect("loud") - lufs(&other, 120.0, SECONDS).expect("loud");
        let level = -12.0;
        let (a, b) = (heard(&one, level), heard(&other, level));
        assert!((a - b).abs() > 2.0, "{a} and {b} LUFS by themselves");
        let bell = Bell::default();
        let softened = |side| {
            let mut comparing = Comparing::default();
            comparing.compared.heard = Some(side);
            let (_, answer) = channel();
            let of = (Arc::new(one.clone()), Arc::new(other.clone()), 120.0);
            let louder = Some(louder);
            comparing.measuring = Some(Measuring { of, answer, louder });
            comparing.follow(&bell);
            level - bell.softer()
        };
        let a = heard(&one, softened(Side::A));
        let b = heard(&other, softened(Side::B));
        assert!((a - b).abs() < 0.5, "{a} and {b} LUFS as they are compared");
    }
}
