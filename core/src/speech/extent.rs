//! Where syllables begin and end in the recording, consonants and all.

use super::tones::Tone;
use super::track::{HOP, PitchTrack};
use std::ops::Range;

/// How long before the first vowel its consonants may begin, and the last syllable goes on, in
/// seconds (own choice): half a pause, so that no two sentences share anything.
const EDGE: f64 = super::sentences::PAUSE / 2.0;

/// Of each tone of a sentence, from where to where its syllable lasts, in seconds. One ends where
/// the next begins: at the faintest moment between two vowels, or where a glide passes from its
/// first tone to its second.
pub(super) fn extents(track: &PitchTrack, tones: &[Tone]) -> Vec<Range<f64>> {
    let seconds = track.frames().len() as f64 * HOP;
    let (Some(first), Some(last)) = (tones.first(), tones.last()) else {
        return Vec::new();
    };
    let borders = tones.windows(2).map(|two| border(track, &two[0], &two[1]));
    let begins = std::iter::once((first.onset - EDGE).max(0.0));
    let ends = std::iter::once((last.onset + last.length + EDGE).min(seconds));
    let all: Vec<f64> = begins.chain(borders).chain(ends).collect();
    all.windows(2).map(|two| two[0]..two[1]).collect()
}

/// Where the syllable of one tone passes to that of the next.
fn border(track: &PitchTrack, one: &Tone, next: &Tone) -> f64 {
    let frame = |at: f64| (at / HOP).round() as usize;
    let (from, to) = (frame(one.onset + one.length), frame(next.onset));
    let between = from..to.min(track.frames().len());
    let level = |at: &usize| track.frames()[*at].level;
    between
        .min_by(|a, b| level(a).total_cmp(&level(b)))
        .map_or(next.onset, |faintest| {
            (faintest as f64 * HOP).min(next.onset)
        })
}
