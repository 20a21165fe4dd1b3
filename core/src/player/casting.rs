//! Who plays what: all of it the machine, or one part a hand, and with whom the steady voice keeps.

use crate::part::Part;
use crate::process::{Process, VoiceNote, VoiceNotes};
use crate::time::{Beats, Span};
use crate::touch::{Playing, perform};
use std::iter::Peekable;

/// What is played otherwise than it is written. By default, nothing.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Casting {
    /// The part that a hand plays: it is silent here. The others play as if it were not.
    pub by_hand: Option<Part>,
    /// Song position before which all voices are silent.
    pub from: Option<Beats>,
    /// Beats by which the steady voice is ahead of what is written, if it gives way to a player.
    pub steady_ahead: Option<Beats>,
}

/// What sounds, in order of onset.
#[derive(Clone, Debug)]
pub(super) struct Cast<'a> {
    casting: Casting,
    /// Where the steady voice catches up with itself: no note is before.
    begin: Beats,
    others: Peekable<Playing<'a>>,
    /// The steady voice by itself, as it is written, if it gives way.
    steady: Option<Peekable<VoiceNotes<'a>>>,
}

impl Casting {
    /// What the steady voice comes to in `span`, as it is written, having come up to `come_to`.
    /// None if it plays as all others do.
    pub(super) fn steady_in(&self, span: Span, come_to: Option<Beats>) -> Option<Span> {
        let ahead = self.steady_ahead?;
        let begin = come_to.unwrap_or(self.sounding(span).start);
        // It goes on from where it was: what was played is not played again.
        Some(Span::new(begin, begin.max(span.end + ahead)))
    }

    /// What `process` plays in `span`, which may open the performance, with its touch; a steady voice
    /// that gives way, what it has written in `steady`.
    pub(super) fn notes<'a>(
        self,
        process: &'a Process,
        (span, opens): (Span, bool),
        steady: Option<Span>,
    ) -> Cast<'a> {
        let steady = steady.map(|steady| self.sounding(steady));
        let steady = steady.filter(|_| self.by_hand != Some(Part::Steady));
        Cast {
            casting: self,
            begin: span.start,
            others: perform(process, self.sounding(span), opens).peekable(),
            steady: steady.map(|steady| process.notes(Part::Steady, steady).peekable()),
        }
    }

    /// The end of a stretch, from when on voices sound.
    fn sounding(&self, span: Span) -> Span {
        let from = self.from.unwrap_or(span.start);
        Span::new(span.start.max(from).min(span.end), span.end)
    }
}

impl Iterator for Cast<'_> {
    type Item = VoiceNote;

    fn next(&mut self) -> Option<VoiceNote> {
        let ahead = self.casting.steady_ahead;
        let by_hand = self.casting.by_hand;
        let elsewhere = |note: &VoiceNote| {
            Some(note.part) == by_hand || (ahead.is_some() && note.part == Part::Steady)
        };
        while self.others.next_if(elsewhere).is_some() {}
        let begin = self.begin;
        let moved = |note: VoiceNote| {
            let on = (note.on - ahead.unwrap_or(0.0)).max(begin);
            let off = on + (note.off - note.on);
            VoiceNote { on, off, ..note }
        };
        let steady = self.steady.as_mut();
        let next = steady.and_then(|steady| steady.peek().copied()).map(moved);
        match (next, self.others.peek()) {
            (Some(steady), other) if other.is_none_or(|other| steady.on <= other.on) => {
                self.steady.as_mut()?.next();
                Some(steady)
            }
            _ => self.others.next(),
        }
    }
}
