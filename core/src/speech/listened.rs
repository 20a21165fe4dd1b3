//! What is heard in a recording: its sentences, and plainly what it is if that is no speech.

use super::extent::extents;
use super::pace::{Pace, pace};
use super::recording::Recording;
use super::sentences::{Sentence, sentences, steadiest_first};
use super::tones::{RUNNING_SPEECH, tones};
use super::track::{HOP, PitchTrack};
use std::fmt;
use std::ops::Range;
use std::sync::Arc;
use thiserror::Error;

/// A recording whose loudest sample is fainter is silent: -60 dB.
const SILENT: f32 = 0.001;

/// A voice is on a tone for at least that part of the time in which anything sounds (own choice;
/// the tracker takes 3 in 100 frames of noise for a voice, people speak on tones half of the time).
const VOICE: f64 = 0.1;

/// What is that many decibels fainter than the loudest frame is no part of that time.
const SOUNDING: f64 = 25.0;

/// Whoever speaks takes breath or a consonant sooner than that, in seconds (own choice).
const SUNG: f64 = 3.0;

/// So many samples at one ceiling, one after another, were cut off; and so often that it counts.
const CUT: usize = 3;
const OFTEN: usize = 5;

/// A ceiling lower than that is no full scale.
const CEILING: f32 = 0.9;

/// Fewer samples a second are telephone quality.
const TELEPHONE: f64 = 11_000.0;

/// Fewer notes are hardly a melody.
const MELODY: usize = 3;

/// Why there is nothing to take from a recording; the text says what to do.
#[derive(Clone, Copy, Debug, Error, PartialEq, Eq)]
pub enum NoVoice {
    /// Nothing sounds.
    #[error("there is only silence: check that the right input or file is chosen, and its level")]
    Silence,
    /// Something sounds, and none of it is a voice.
    #[error("there is noise and no voice in it: take one voice by itself, close to the microphone")]
    Noise,
}

/// What is worth knowing of a recording that can be used all the same; said with what to do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Remark {
    /// It sounds on for too long to be speech.
    Music,
    /// It was cut off at full scale, that often.
    Clipped(usize),
    /// It has that many samples a second.
    Telephone(f64),
    /// The longest sentence has only so many notes.
    Short(usize),
}

impl fmt::Display for Remark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Music => write!(
                f,
                "It sounds on without a break, as music does: one voice is heard in it, right only where nothing else sounds. Take a voice by itself."
            ),
            Self::Clipped(times) => write!(
                f,
                "It is clipped {times} times: the pitch is right, the voice itself is distorted. Record it again at a lower level."
            ),
            Self::Telephone(rate) => write!(
                f,
                "It has {rate:.0} samples a second, as a telephone has: the pitch is right, the voice itself is dull. Record at 44,100 or more if it is to be heard."
            ),
            Self::Short(notes) => {
                let notes = match notes {
                    1 => "one note".to_owned(),
                    more => format!("{more} notes"),
                };
                write!(
                    f,
                    "It is only {notes}, hardly a melody: say a whole sentence."
                )
            }
        }
    }
}

/// A sentence to choose from.
#[derive(Clone, Debug, PartialEq)]
pub struct Candidate {
    /// What was said.
    pub sentence: Sentence,
    /// Of each tone, from where to where in the recording its syllable lasts, in seconds.
    pub syllables: Vec<Range<f64>>,
    /// Its own tempo, if three tones or more tell one.
    pub pace: Option<Pace>,
}

impl Candidate {
    /// From where to where in the recording it lasts, in seconds.
    pub fn span(&self) -> Range<f64> {
        let from = self.syllables.first().map_or(0.0, |first| first.start);
        from..self.syllables.last().map_or(from, |last| last.end)
    }
}

/// All that was heard in a recording.
#[derive(Clone, Debug, PartialEq)]
pub struct Listened {
    track: Arc<PitchTrack>,
    candidates: Vec<Candidate>,
    steadiest: Vec<usize>,
    remarks: Vec<Remark>,
}

impl Listened {
    /// Listens to a recording: some 2 ms of work for each second of it.
    ///
    /// # Errors
    /// See [`NoVoice`].
    pub fn to(recording: &Recording) -> Result<Self, NoVoice> {
        let loudest = (recording.samples().iter()).fold(0.0_f32, |most, one| most.max(one.abs()));
        if loudest < SILENT {
            return Err(NoVoice::Silence);
        }
        let track = PitchTrack::of(recording);
        let tones = tones(&track, RUNNING_SPEECH);
        let voiced: f64 = tones.iter().map(|tone| tone.length).sum();
        if voiced <= VOICE * sounding(&track) {
            return Err(NoVoice::Noise);
        }
        let found = sentences(&tones);
        let steadiest = steadiest_first(&found);
        let most = found.iter().map(|one| one.tones.len()).max().unwrap_or(0);
        let remarks = remarks(recording, &track, loudest, most);
        let candidates = found.into_iter().map(|sentence| Candidate {
            syllables: extents(&track, &sentence.tones),
            pace: pace(&sentence.tones),
            sentence,
        });
        Ok(Self {
            candidates: candidates.collect(),
            track: Arc::new(track),
            steadiest,
            remarks,
        })
    }

    /// How pitch and loudness go.
    pub fn track(&self) -> &Arc<PitchTrack> {
        &self.track
    }

    /// The sentences, in the order in which they were said; one at least.
    pub fn candidates(&self) -> &[Candidate] {
        &self.candidates
    }

    /// The places of the sentences in [`Self::candidates`], the steadiest in pitch first; those of
    /// one or two tones come last.
    pub fn steadiest(&self) -> &[usize] {
        &self.steadiest
    }

    /// The place of the sentence that was said last; of one or two tones only if all are.
    pub fn latest(&self) -> usize {
        let is_melody = |candidate: &Candidate| candidate.sentence.tones.len() >= MELODY;
        let last = self.candidates.len().saturating_sub(1);
        self.candidates.iter().rposition(is_melody).unwrap_or(last)
    }

    /// What is worth knowing beside.
    pub fn remarks(&self) -> &[Remark] {
        &self.remarks
    }
}

/// Seconds in which anything sounds.
fn sounding(track: &PitchTrack) -> f64 {
    let levels = || track.frames().iter().map(|frame| frame.level);
    let loudest = levels().fold(f64::MIN, f64::max);
    levels().filter(|level| *level > loudest - SOUNDING).count() as f64 * HOP
}

fn remarks(recording: &Recording, track: &PitchTrack, loudest: f32, most: usize) -> Vec<Remark> {
    let unbroken = track
        .frames()
        .chunk_by(|a, b| a.hertz.is_some() == b.hertz.is_some());
    let voiced = unbroken.filter(|frames| frames[0].hertz.is_some());
    let longest = voiced.map(<[_]>::len).max().unwrap_or(0) as f64 * HOP;
    let cut = clipped(recording.samples(), loudest);
    [
        (longest >= SUNG).then_some(Remark::Music),
        (cut >= OFTEN).then_some(Remark::Clipped(cut)),
        (recording.rate() < TELEPHONE).then_some(Remark::Telephone(recording.rate())),
        (most < MELODY).then_some(Remark::Short(most)),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// How often several samples, one after another, are as loud as the loudest.
fn clipped(samples: &[f32], loudest: f32) -> usize {
    if loudest < CEILING {
        return 0;
    }
    let at_ceiling = |sample: &f32| sample.abs() >= loudest * 0.999;
    let runs = samples.chunk_by(|a, b| at_ceiling(a) && at_ceiling(b) && a * b > 0.0);
    runs.filter(|run| run.len() >= CUT).count()
}
