//! One syllable, as it is said with a note: at its own pitch, as long as there is time for it.
//!
//! What comes before the vowel, and the vowel's beginning, are said as they are: there is the rhythm,
//! and consonants suffer most from being stretched. The rest lasts as long as it may. It is read on
//! as it is until that has led too far from where it should be; then it goes on elsewhere, at the
//! place near there that looks most like how it would have gone on, by a short crossfade. So a voice
//! skips periods, or says some twice, and its pitch stays (waveform similarity as the measure:
//! W. Verhelst & M. Roelands, "An overlap-add technique based on waveform similarity (WSOLA) for high
//! quality time-scale modification of speech", ICASSP 1993; going on untouched in between: S. Roucos
//! & A. Wilgus, "High quality time-scale modification for speech", ICASSP 1985).

use super::between::Between;
use super::utterance::Utterance;
use crate::time::Beats;
use std::f64::consts::PI;
use std::sync::Arc;

/// Seconds of a fade, in or out: no click, and shorter than any consonant. Own choice.
pub(super) const FADE: f64 = 0.005;

/// Seconds of vowel that are said as they are. Own choice.
const HEAD: f64 = 0.03;

/// How far a voice may be from where it should be before it goes on elsewhere, in seconds: half a
/// period of 62 Hz, so that in twice that there is one for every voice but the deepest.
const AWAY: f64 = 0.008;

/// Seconds that are compared, and over which is crossfaded.
const SEAM: f64 = 0.01;

/// Samples a second that are enough to compare at first.
const ENOUGH: f64 = 12_000.0;

/// How much slower or faster than it was said, at most; what is left of the time is silence, what is
/// left of the syllable is not heard. Own choice.
const SLOWEST: f64 = 0.5;
const FASTEST: f64 = 2.0;

/// Where a syllable lies in its utterance, in samples.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Stretch {
    /// Where its vowel begins.
    pub vowel: f64,
    /// Where it ends, which is where the next begins if that follows.
    pub end: f64,
}

/// When a syllable is said, in the song.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Cue {
    /// Its note.
    pub on: Beats,
    /// When it should be over.
    pub over: Beats,
}

/// A syllable that is being said.
#[derive(Clone, Debug)]
pub(super) struct Saying {
    utterance: Arc<Utterance>,
    stretch: Stretch,
    cue: Cue,
    /// Samples a frame.
    ratio: f64,
    /// What is read, and where it should be.
    place: f64,
    aim: f64,
    /// Samples of the utterance in the time of one, from the head's end on.
    pace: f64,
    seam: Option<Seam>,
    /// Whether it comes to its end in time as it goes.
    lands: bool,
    frames: Frames,
    /// Frames since it began, and since it began to leave.
    age: u32,
    leaving: Option<u32>,
}

/// How many frames things last.
#[derive(Clone, Copy, Debug)]
struct Frames {
    fade: u32,
    seam: u32,
}

/// What a voice is leaving by a crossfade.
#[derive(Clone, Copy, Debug)]
struct Seam {
    place: f64,
    age: u32,
}

impl Saying {
    /// Begins to say a syllable, from `place` on, in samples.
    pub(super) fn new(
        utterance: &Arc<Utterance>,
        stretch: Stretch,
        cue: Cue,
        place: f64,
        sample_rate: f64,
    ) -> Self {
        let ratio = f64::from(utterance.rate()) / sample_rate;
        Self {
            utterance: utterance.clone(),
            stretch,
            cue,
            ratio,
            // A hair off a sample is that sample, and needs no reckoning.
            place: settled(place),
            aim: place,
            pace: 1.0,
            seam: None,
            lands: false,
            frames: Frames {
                fade: (FADE * sample_rate).ceil() as u32,
                seam: (SEAM * sample_rate).ceil() as u32,
            },
            age: 0,
            leaving: None,
        }
    }

    /// When it is said.
    pub(super) fn cue(&self) -> Cue {
        self.cue
    }

    /// By how many seconds its vowel will be early if its note is `frames` frames away.
    pub(super) fn off(&self, frames: f64) -> f64 {
        let place = self.stretch.vowel - frames * self.ratio;
        (self.place - place) / f64::from(self.utterance.rate())
    }

    /// It has as many frames as that until it should be over.
    pub(super) fn allow(&mut self, frames: f64) {
        let head = (self.head() - self.aim).max(0.0);
        let rest = self.stretch.end - self.aim.max(self.head());
        let time = (frames * self.ratio - head).max(1.0);
        self.pace = (rest / time).clamp(SLOWEST, FASTEST);
    }

    /// It fades out.
    pub(super) fn leave(&mut self) {
        self.leaving.get_or_insert(0);
    }

    /// What is heard of it in the next frame.
    pub(super) fn next(&mut self, between: &Between) -> f64 {
        if self.aim >= self.stretch.end + FADE * f64::from(self.utterance.rate()) {
            self.leave();
        }
        self.keep_near();
        let samples = self.utterance.samples();
        let mut heard = f64::from(between.at(samples, self.place));
        if let Some(seam) = &mut self.seam {
            let left = f64::from(between.at(samples, seam.place));
            let share = rise(seam.age, self.frames.seam);
            heard = left + share * (heard - left);
            seam.place += self.ratio;
            seam.age += 1;
        }
        self.seam.take_if(|seam| seam.age >= self.frames.seam);
        let in_head = self.aim < self.head();
        self.place += self.ratio;
        self.aim += self.ratio * if in_head { 1.0 } else { self.pace };
        let mut gain = rise(self.age, self.frames.fade);
        self.age = self.age.saturating_add(1);
        if let Some(gone) = &mut self.leaving {
            gain *= 1.0 - rise(*gone, self.frames.fade);
            *gone += 1;
        }
        gain * heard
    }

    /// Whether it is fading out.
    pub(super) fn is_leaving(&self) -> bool {
        self.leaving.is_some()
    }

    /// Whether it has faded out.
    pub(super) fn is_over(&self) -> bool {
        self.leaving.is_some_and(|gone| gone >= self.frames.fade)
    }

    fn head(&self) -> f64 {
        self.stretch.vowel + HEAD * f64::from(self.utterance.rate())
    }

    /// Goes on elsewhere if it is too far from where it should be, or would come to the end too soon:
    /// what follows there is said in its own time.
    fn keep_near(&mut self) {
        if self.seam.is_some() || self.lands {
            return;
        }
        let rate = f64::from(self.utterance.rate());
        let (away, seam) = (AWAY * rate, SEAM * rate);
        // Twice: one seam may have to be waited for.
        let soon = self.place > self.aim && self.place + 2.0 * seam >= self.stretch.end;
        if (self.place - self.aim).abs() <= away && !soon {
            return;
        }
        let here = self.place.floor();
        let middle = if soon {
            // From there it comes to the end in time, read as it was said.
            let left = (self.stretch.end - self.aim) / self.pace;
            self.stretch.end - left - away
        } else {
            self.aim
        };
        let middle = middle + here - self.place;
        let range = (
            (middle - away).ceil() as i64,
            (middle + away).floor() as i64,
        );
        self.lands = soon;
        let samples = self.utterance.samples();
        let there = alike(samples, here as i64, range, seam as usize, self.stride());
        self.seam = Some(Seam {
            place: self.place,
            age: 0,
        });
        self.place += there as f64 - here;
    }

    fn stride(&self) -> usize {
        (f64::from(self.utterance.rate()) / ENOUGH).round().max(1.0) as usize
    }
}

/// The place within `(from, to)` from which the sound goes on most as it does at `here`: at every
/// `stride`-th sample first, then around the best of those.
fn alike(samples: &[f32], here: i64, (from, to): (i64, i64), length: usize, stride: usize) -> i64 {
    let best = |places: &mut dyn Iterator<Item = i64>, stride: usize| {
        let of = |place: i64| likeness(samples, here, place, length, stride);
        places
            .map(|place| (of(place), place))
            .max_by(|a, b| a.0.total_cmp(&b.0))
            .map_or(from, |(_, place)| place)
    };
    let near = best(&mut (from..=to).step_by(stride), stride);
    let close = stride as i64 - 1;
    best(&mut ((near - close).max(from)..=(near + close).min(to)), 1)
}

/// How alike two stretches are, however loud: the normalised correlation, 1 being the same.
fn likeness(samples: &[f32], here: i64, there: i64, length: usize, stride: usize) -> f32 {
    let stretch = |from: i64| {
        let from = usize::try_from(from).ok()?;
        samples.get(from..from + length)
    };
    let (Some(here), Some(there)) = (stretch(here), stretch(there)) else {
        return 0.0;
    };
    let pairs = here.iter().zip(there).step_by(stride);
    let (both, power) = pairs.fold((0.0, 0.0), |(both, power), (a, b)| {
        (both + a * b, power + b * b)
    });
    if power > 0.0 {
        both / power.sqrt()
    } else {
        0.0
    }
}

/// A way from 0 to 1 without a corner, over so many frames.
fn rise(age: u32, frames: u32) -> f64 {
    let part = (f64::from(age) + 0.5) / f64::from(frames.max(1));
    if part >= 1.0 {
        return 1.0;
    }
    0.5 - 0.5 * (PI * part).cos()
}

fn settled(place: f64) -> f64 {
    let near = place.round();
    if (place - near).abs() < 1e-6 {
        near
    } else {
        place
    }
}
