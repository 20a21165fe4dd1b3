//! Tones out of speech: one for each syllable, two where its pitch is heard to move.
//!
//! A syllable is where the sound swells: its peak lies at least 2 dB above the dips around it,
//! less than 25 dB below the loudest one, and is voiced (N. de Jong & T. Wempe, Behavior Research
//! Methods 41, 2009, 385-390). Its tone begins with the vowel, which is where a syllable's beat is
//! felt.
//!
//! A movement of the pitch over a time is heard as one if their product reaches a threshold
//! ([`is_glide`]); below it a syllable is flat, at its median.

use super::track::{Frame, HOP, PitchTrack};

/// How far a peak stands out, in decibels.
const SWELL: f64 = 2.0;

/// How far below the loudest peak another may be, in decibels.
const RANGE: f64 = 25.0;

/// Where a vowel begins and ends: so many decibels below its peak (own choices).
const BEGINS: f64 = 6.0;
const ENDS: f64 = 9.0;

/// A vowel lasts that many frames at least: less is a click.
const SHORTEST: usize = 3;

/// The threshold of a glide in running speech, in semitones times seconds: twice that of single
/// vowels (0.16), as P. Mertens, Speech Prosody 2004, has it.
pub const RUNNING_SPEECH: f64 = 0.32;

/// The threshold for vowels by themselves (J. 't Hart, 1976, as cited there).
pub const SINGLE_VOWELS: f64 = 0.16;

/// What was said on one pitch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tone {
    /// Seconds after the recording's beginning.
    pub onset: f64,
    /// Seconds.
    pub length: f64,
    /// As a MIDI key with a fraction: 69 is 440 Hz, 69.5 a quarter tone above.
    pub pitch: f64,
    /// Decibels below full scale, at the syllable's peak.
    pub level: f64,
    /// How far the pitch moved within the tone, in semitones; rising is positive.
    pub moved: f64,
}

/// The MIDI pitch of a frequency, with its fraction.
pub fn pitch_of(hertz: f64) -> f64 {
    69.0 + 12.0 * (hertz / 440.0).log2()
}

/// Whether so many semitones in so many seconds are heard as a movement, rather than as one pitch.
pub fn is_glide(semitones: f64, seconds: f64, threshold: f64) -> bool {
    // A hair, for products that are the threshold but for rounding.
    semitones.abs() * seconds >= threshold - 1e-9
}

/// The tones of a recording, one after the other.
pub fn tones(track: &PitchTrack, threshold: f64) -> Vec<Tone> {
    let frames = track.frames();
    let peaks = peaks(frames);
    let loudest = peaks
        .iter()
        .map(|at| frames[*at].level)
        .fold(f64::MIN, f64::max);
    let mut found = Vec::new();
    let mut free = 0;
    for (index, peak) in peaks.iter().enumerate() {
        let next = peaks.get(index + 1).copied().unwrap_or(frames.len());
        if frames[*peak].level < loudest - RANGE {
            continue;
        }
        let (from, to) = vowel(frames, *peak, free, dip(frames, *peak, next));
        if to - from >= SHORTEST {
            found.extend(sung(frames, from, to, *peak, threshold));
            free = to;
        }
    }
    found
}

/// Where the sound swells by [`SWELL`] and falls by as much.
fn peaks(frames: &[Frame]) -> Vec<usize> {
    let mut found = Vec::new();
    let mut dip = f64::MIN;
    let mut top: Option<usize> = None;
    let level = |at: usize| frames[at].level;
    for at in 0..frames.len() {
        match top {
            None if level(at) >= dip + SWELL => top = Some(at),
            None => dip = dip.min(level(at)),
            Some(peak) if level(at) > level(peak) => top = Some(at),
            Some(peak) if level(at) <= level(peak) - SWELL => {
                found.push(peak);
                dip = level(at);
                top = None;
            }
            Some(_) => {}
        }
    }
    found.extend(top);
    found.retain(|at| frames[*at].hertz.is_some());
    found
}

/// The faintest frame between two peaks.
fn dip(frames: &[Frame], from: usize, to: usize) -> usize {
    (from..to)
        .min_by(|a, b| frames[*a].level.total_cmp(&frames[*b].level))
        .map_or(
            to,
            |faintest| if to == frames.len() { to } else { faintest },
        )
}

/// The voiced frames around a peak that are part of its vowel.
fn vowel(frames: &[Frame], peak: usize, first: usize, last: usize) -> (usize, usize) {
    let part = |at: usize, below: f64| {
        frames[at].hertz.is_some() && frames[at].level >= frames[peak].level - below
    };
    let from = (first..=peak)
        .rev()
        .take_while(|at| part(*at, BEGINS))
        .last();
    let to = (peak..last).take_while(|at| part(*at, ENDS)).last();
    (from.unwrap_or(peak), to.map_or(peak, |to| to + 1))
}

/// One tone, or two for a glide.
fn sung(frames: &[Frame], from: usize, to: usize, peak: usize, threshold: f64) -> Vec<Tone> {
    let pitches: Vec<f64> = frames[from..to]
        .iter()
        .flat_map(|frame| frame.hertz)
        .map(pitch_of)
        .collect();
    let edge = SHORTEST.min(pitches.len());
    let (start, end) = (
        median(&pitches[..edge]),
        median(&pitches[pitches.len() - edge..]),
    );
    let seconds = (to - from) as f64 * HOP;
    let tone = |part: f64, parts: f64, pitch, moved| Tone {
        onset: from as f64 * HOP + part / parts * seconds,
        length: seconds / parts,
        pitch,
        level: frames[peak].level,
        moved,
    };
    if is_glide(end - start, seconds, threshold) {
        vec![tone(0.0, 2.0, start, 0.0), tone(1.0, 2.0, end, 0.0)]
    } else {
        vec![tone(0.0, 1.0, median(&pitches), end - start)]
    }
}

fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let upper = sorted[sorted.len() / 2];
    f64::midpoint(upper, sorted[(sorted.len() - 1) / 2])
}
