//! All voices at once: what they play, merged in order of time.

use crate::part::MAX_VOICES;
use crate::process::{Process, VoiceNote, VoiceNotes};
use crate::time::Span;
use arrayvec::ArrayVec;
use std::iter::Peekable;

/// The notes of every voice whose onsets lie in a span, in order of onset; of those struck
/// together, the lower voice first.
///
/// # Real-time
/// Allocates never, blocks never.
#[derive(Clone, Debug)]
pub struct Ensemble<'a> {
    voices: ArrayVec<Peekable<VoiceNotes<'a>>, MAX_VOICES>,
}

impl<'a> Ensemble<'a> {
    /// What the voices of `process` play in `span`.
    pub fn new(process: &'a Process, span: Span) -> Self {
        let voices = process.voices().parts();
        Self {
            voices: voices
                .map(|voice| process.notes(voice, span).peekable())
                .collect(),
        }
    }
}

impl Iterator for Ensemble<'_> {
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
