//! Sentences: what lies between two pauses, and which of them sings best.

use super::tones::Tone;

/// Silence that long is a pause, in seconds (de Jong & Wempe, 2009).
pub const PAUSE: f64 = 0.3;

/// Fewer tones than that are no melody (own choice).
const FEWEST: usize = 3;

/// Tones without a pause between them.
#[derive(Clone, Debug, PartialEq)]
pub struct Sentence {
    /// One at least.
    pub tones: Vec<Tone>,
}

impl Sentence {
    /// How far the pitch moves within a tone, in semitones, on the average of the time: the less,
    /// the more it sounds sung.
    pub fn sway(&self) -> f64 {
        let seconds: f64 = self.tones.iter().map(|tone| tone.length).sum();
        let moved: f64 = (self.tones.iter())
            .map(|tone| tone.moved.abs() * tone.length)
            .sum();
        moved / seconds
    }
}

/// The sentences, in the order in which they were said.
pub fn sentences(tones: &[Tone]) -> Vec<Sentence> {
    tones
        .chunk_by(|a, b| b.onset - (a.onset + a.length) < PAUSE)
        .map(|tones| Sentence {
            tones: tones.to_vec(),
        })
        .collect()
}

/// The places of the sentences in `sentences`, the steadiest first; those of one or two tones
/// come last.
pub fn steadiest_first(sentences: &[Sentence]) -> Vec<usize> {
    let mut places: Vec<usize> = (0..sentences.len()).collect();
    let short = |place: usize| sentences[place].tones.len() < FEWEST;
    places.sort_by(|a, b| {
        let sway = |place: &usize| sentences[*place].sway();
        short(*a).cmp(&short(*b)).then(sway(a).total_cmp(&sway(b)))
    });
    places
}
