//! The curve of a voice under the notes that were made of it.

use super::tones::pitch_of;
use super::track::{HOP, PitchTrack};
use crate::note::{Note, Syllable};
use crate::phrase::Phrase;
use crate::time::Beats;

/// A line without a break: moments of the phrase, and pitches as MIDI keys with a fraction.
pub type Strand = Vec<(Beats, f64)>;

/// How the pitch goes under the notes of a phrase: each syllable where its note is, its vowel on the
/// onset, for as long as there is time until the next note, or as the last one lasts. The times of
/// syllables are counted from `from` seconds in the recording.
pub fn strands(track: &PitchTrack, from: f64, phrase: &Phrase) -> Vec<Strand> {
    let notes = phrase.notes();
    let all = notes.iter().enumerate().filter_map(|(index, note)| {
        let next = notes[index + 1..]
            .iter()
            .find(|next| next.onset > note.onset);
        let until = next.map_or(note.onset + note.length, |next| next.onset);
        Some(under(track, from, note, &note.said?, until - note.onset))
    });
    all.flatten().collect()
}

fn under(
    track: &PitchTrack,
    origin: f64,
    note: &Note,
    said: &Syllable,
    room: Beats,
) -> Vec<Strand> {
    let [start, vowel, end] = [said.start, said.vowel, said.end].map(f64::from);
    let beats_a_second = room / (end - vowel);
    let frame = |seconds: f64| ((origin + seconds) / HOP).round().max(0.0) as usize;
    let frames = track.frames();
    let to = frame(end).min(frames.len());
    let from = frame(start).min(to);
    let numbered: Vec<usize> = (from..to).collect();
    let voiced = |at: &usize| frames[*at].hertz.is_some();
    numbered
        .chunk_by(|a, b| voiced(a) == voiced(b))
        .map(|run| {
            let at = |at: &usize| {
                let seconds = *at as f64 * HOP - origin;
                let beats = note.onset + (seconds - vowel) * beats_a_second;
                Some((beats, pitch_of(frames[*at].hertz?)))
            };
            run.iter().filter_map(at).collect::<Strand>()
        })
        .filter(|strand| strand.len() > 1)
        .collect()
}
