//! All voices at once: what they play, merged in order of time.

use crate::part::MAX_VOICES;
use crate::process::{Process, VoiceNote, VoiceNotes};
use crate::time::Span;
use arrayvec::ArrayVec;
use std::iter::Peekable;

/// The notes of every voice, in order of onset; of those struck together, the lower voice first.
///
/// # Real-time
/// Allocates never, blocks never.
#[derive(Clone, Debug)]
pub struct Ensemble<N: Iterator<Item = VoiceNote>> {
    voices: ArrayVec<Peekable<N>, MAX_VOICES>,
}

impl<'a> Ensemble<VoiceNotes<'a>> {
    /// What the voices of `process` play whose onsets lie in `span`.
    pub fn new(process: &'a Process, span: Span) -> Self {
        let voices = process.voices().parts();
        Self::of(voices.map(|voice| process.notes(voice, span)))
    }
}

impl<N: Iterator<Item = VoiceNote>> Ensemble<N> {
    /// What voices play, each by itself in order of onset.
    pub fn of(voices: impl Iterator<Item = N>) -> Self {
        Self {
            voices: voices.map(Iterator::peekable).collect(),
        }
    }
}

impl<N: Iterator<Item = VoiceNote>> Iterator for Ensemble<N> {
    type Item = VoiceNote;

    fn next(&mut self) -> Option<VoiceNote> {
        let earliest = self
            .voices
            .iter_mut()
            .enumerate()
            .filter_map(|(index, notes)| Some((notes.peek()?.on, index)))
            .min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)))?;
        self.voices[earliest.1].next()
    }
}
