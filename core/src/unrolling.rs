//! The process, unrolled: everything that sounds, the resulting line with the voices.

use crate::ensemble::Ensemble;
use crate::process::{Process, VoiceNote, VoiceNotes};
use crate::resulting::ResultingNotes;
use crate::time::Span;
use std::iter::Peekable;

/// All that sounds: every voice and, after them where they strike together, the resulting line.
#[derive(Clone, Debug)]
pub struct Unrolled<'a> {
    voices: Peekable<Ensemble<VoiceNotes<'a>>>,
    line: Peekable<ResultingNotes<'a>>,
}

impl Iterator for Unrolled<'_> {
    type Item = VoiceNote;

    fn next(&mut self) -> Option<VoiceNote> {
        match (self.voices.peek(), self.line.peek()) {
            (Some(voice), Some(line)) if line.on < voice.on => self.line.next(),
            (Some(_), _) => self.voices.next(),
            (None, _) => self.line.next(),
        }
    }
}

/// Everything `process` plays whose onset lies in `span`, in order: the process, unrolled.
pub fn unroll(process: &Process, span: Span) -> Unrolled<'_> {
    Unrolled {
        voices: Ensemble::new(process, span).peekable(),
        line: ResultingNotes::new(process, span).peekable(),
    }
}
