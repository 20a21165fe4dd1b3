//! The resulting line: a melody that nobody plays, picked out of what all voices play together.
//!
//! A further player doubles what a listener may pick out of the composite: its top, its bottom,
//! or the places where voices coincide. *Top* takes the highest of whatever is struck at each
//! moment, which music information retrieval calls the skyline (A. Uitdenbogerd and J. Zobel,
//! *Melodic matching techniques for large music databases*, ACM Multimedia 1999; from memory).
//!
//! The line is heard while the voices dwell. It enters when every copy has been locked for a
//! cycle, and leaves a cycle before one of them moves; where a dwell lasts no longer than these two
//! cycles it stays away. In unison nothing results, so nothing is played (common practice, no source).
//!
//! A chord that a hand has spread is one attack, for the line as for growth: the line strikes once,
//! where the chord begins.

use crate::ensemble::Ensemble;
use crate::motion::StagePart;
use crate::note::Key;
use crate::part::{CopyNumber, Part};
use crate::phrase::{AttackFinder, CHORD};
use crate::process::{Process, VoiceNote, VoiceNotes};
use crate::settings::Resulting;
use crate::time::{Beats, HAIR, Since, Span, to_ticks};
use std::iter::Peekable;

/// So many moments are searched for the end of a note, no more: a note over which more is struck
/// keeps its own.
const LOOK_AHEAD: usize = 64;

/// The notes of the line whose onsets lie in a span, in order. One sounds at a time: each ends
/// where the next begins, if not before.
///
/// # Real-time
/// Allocates never, blocks never.
#[derive(Clone, Debug)]
pub struct ResultingNotes<'a> {
    process: &'a Process,
    picked: Option<Picked<'a>>,
}

impl<'a> ResultingNotes<'a> {
    /// The line in `span`; empty if it is switched off or there is no copy.
    pub fn new(process: &'a Process, span: Span) -> Self {
        Self {
            process,
            picked: process.has_line().then(|| Picked::new(process, span)),
        }
    }

    /// Where the line goes on after `note`, if that is while the note sounds.
    fn next_onset(&self, note: &VoiceNote) -> Option<Beats> {
        let while_it_sounds = Span::new(note.on + 2.0 * HAIR, note.off);
        let mut ahead = Picked::new(self.process, while_it_sounds);
        let attacks = std::iter::from_fn(|| ahead.next_attack());
        let next = attacks.take(LOOK_AHEAD).flatten().next()?;
        Some(next.on)
    }
}

impl Iterator for ResultingNotes<'_> {
    type Item = VoiceNote;

    fn next(&mut self) -> Option<VoiceNote> {
        let settings = self.process.settings().resulting;
        let level = self.process.level(Part::ResultingLine);
        loop {
            let picked = self.picked.as_mut()?.next()?;
            let Some(velocity) = picked.velocity.scaled(level) else {
                continue;
            };
            return Some(VoiceNote {
                part: Part::ResultingLine,
                off: self.next_onset(&picked).unwrap_or(picked.off),
                key: Key::by_octave(i32::from(picked.key.number()) + 12 * settings.octave),
                velocity,
                ..picked
            });
        }
    }
}

/// The notes of voices that the line doubles.
#[derive(Clone, Debug)]
struct Picked<'a> {
    process: &'a Process,
    span: Span,
    notes: Peekable<Ensemble<Attacks<'a>>>,
}

impl<'a> Picked<'a> {
    fn new(process: &'a Process, span: Span) -> Self {
        // A little more on either side, so that no attack is cut in two.
        let around = Span::new(span.start - 2.0 * HAIR, span.end + CHORD + 2.0 * HAIR);
        let voices = process.voices().parts();
        let attacks = voices.map(|voice| Attacks::new(process, voice, around));
        Self {
            process,
            span,
            notes: Ensemble::of(attacks).peekable(),
        }
    }

    /// The next moment at which something is struck, with what of it the line takes.
    fn next_attack(&mut self) -> Option<Option<VoiceNote>> {
        let first = self.notes.next().filter(|note| note.on < self.span.end)?;
        let picked = self.pick(first);
        let inside = first.on >= self.span.start && sings(self.process, first.on);
        Some(picked.filter(|_| inside))
    }

    /// What is struck together with `first`, and what of it the line takes.
    fn pick(&mut self, first: VoiceNote) -> Option<VoiceNote> {
        let which = self.process.settings().resulting.which;
        let mut best = first;
        let mut coincide = false;
        let same = |note: &VoiceNote| note.on - first.on <= HAIR;
        while let Some(note) = self.notes.next_if(same) {
            coincide |= note.part != first.part;
            let better = match which {
                Resulting::Bottom => note.key < best.key,
                Resulting::Off | Resulting::Top | Resulting::Together => note.key > best.key,
            };
            if better {
                best = note;
            }
        }
        let taken = coincide || which != Resulting::Together;
        taken.then_some(VoiceNote {
            on: first.on,
            ..best
        })
    }
}

impl Iterator for Picked<'_> {
    type Item = VoiceNote;

    fn next(&mut self) -> Option<VoiceNote> {
        std::iter::from_fn(|| self.next_attack()).flatten().next()
    }
}

/// The notes of one voice, each beginning where its attack does: those of a spread chord together.
///
/// Which notes make a chord is a matter of the phrase, not of what sounds at once: it is the same
/// wherever one begins to listen, and two voices that stand a hair apart stay two.
#[derive(Clone, Debug)]
struct Attacks<'a> {
    process: &'a Process,
    notes: VoiceNotes<'a>,
    finder: AttackFinder,
}

impl<'a> Attacks<'a> {
    fn new(process: &'a Process, voice: Part, span: Span) -> Self {
        Self {
            process,
            notes: process.notes(voice, span),
            finder: AttackFinder::default(),
        }
    }
}

impl Iterator for Attacks<'_> {
    type Item = VoiceNote;

    fn next(&mut self) -> Option<VoiceNote> {
        let note = self.notes.next()?;
        let material = self.process.voices().material(note.part);
        // The line is heard only while all read a beat a beat, so beats of the phrase are the song's.
        let late = material.late(note.index, &mut self.finder);
        Some(VoiceNote {
            on: note.on - late,
            ..note
        })
    }
}

/// Whether the line is heard at song position `at`.
pub fn sings(process: &Process, at: Beats) -> bool {
    process.has_line()
        && (process.voices().copies()).all(|copy| is_well_locked(process, copy, at))
        && (process.voices().copies()).any(|copy| is_apart(process, copy, at))
}

/// Whether `copy` has been locked for a cycle, and will be for another.
fn is_well_locked(process: &Process, copy: CopyNumber, at: Beats) -> bool {
    let Some(from) = process.voices().moves_from(Part::Copy(copy)) else {
        return false;
    };
    let tau = Since::from_song(at, from) + HAIR;
    let timetable = process.voices().course(copy).timetable();
    let station = timetable.station_at(tau.max(Since::START));
    let cycle = process.phrase().length();
    let (begin, end) = (timetable.begin_of(station), timetable.end_of(station));
    station.part == StagePart::Dwell && (begin + cycle..end - cycle).contains(&tau)
}

/// Whether `copy` does not play along with the steady voice: it is displaced, or goes its own way.
fn is_apart(process: &Process, copy: CopyNumber, at: Beats) -> bool {
    let part = Part::Copy(copy);
    let ahead = process.voices().displacement(part, at).unwrap_or(0.0);
    let own = &process.settings().copies[copy.index()];
    let displaced = to_ticks(ahead).rem_euclid(process.voices().rotation()) != 0;
    displaced || own.backwards || own.upside_down || process.voices().has_own_cycle(copy)
}
