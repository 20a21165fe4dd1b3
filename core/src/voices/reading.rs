//! What a voice reads: the notes that it passes in a stretch of time, one after another.

use super::passing::Sounding;
use super::{Leg, Material, Voices};
use crate::growth::Lap;
use crate::motion::Piece;
use crate::part::Part;
use crate::time::{Beats, HAIR, MaterialPlace, Since, Span};

/// A note of the phrase, as a voice passes it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reading {
    /// Which note of the phrase.
    pub index: usize,
    /// Song position at which it begins.
    pub on: Beats,
    /// Song position at which it ends.
    pub off: Beats,
    /// Whether it has appeared: one that has yet to grow, or to be built up again, is passed in
    /// silence.
    pub appears: bool,
}

/// The readings of one voice whose onsets lie in a span, in order.
///
/// # Real-time
/// Allocates never, blocks never; bounded by the notes in the span.
#[derive(Clone, Debug)]
pub struct Readings<'a> {
    voices: &'a Voices,
    part: Part,
    material: Material<'a>,
    span: Span,
    entry: Beats,
    waits: Beats,
    leg: Leg,
    lap: Lap,
    index: usize,
    done: bool,
}

impl<'a> Readings<'a> {
    pub(super) fn new(voices: &'a Voices, part: Part, span: Span) -> Self {
        let entry = voices.entry(part);
        let moves_from = voices.moves_from(part);
        let plays = !voices.material(part).phrase().is_empty() && voices.plays(part);
        let (Some(entry), Some(moves_from), true) = (entry, moves_from, plays) else {
            return Self::none(voices, part, span);
        };
        let span = match voices.ends() {
            Some(end) => Span::new(span.start, span.end.min(end)),
            None => span,
        };
        let tau = Since::from_song(span.start, entry).max(Since::START);
        let waits = moves_from - entry;
        let leg = voices.leg_at(part, tau, waits);
        let mut readings = Self {
            entry,
            waits,
            leg,
            done: false,
            ..Self::none(voices, part, span)
        };
        readings.start_at(leg.piece.place_at(tau));
        readings
    }

    fn none(voices: &'a Voices, part: Part, span: Span) -> Self {
        let lap = Lap {
            start: MaterialPlace::START,
            length: voices.phrase.length(),
            shown: 0,
        };
        Self {
            voices,
            part,
            material: voices.material(part),
            span,
            entry: 0.0,
            waits: 0.0,
            leg: Leg::waiting(Piece::STEADY),
            lap,
            index: 0,
            done: true,
        }
    }

    /// Sets out a hair before `place`: what turns out to be earlier is passed over.
    fn start_at(&mut self, place: MaterialPlace) {
        let place = place - 2.0 * HAIR;
        self.lap = self.voices.laps(self.part).at(place);
        let into = place - self.lap.start;
        let notes = self.material.phrase().notes();
        self.index = notes.partition_point(|note| note.onset < into);
    }

    fn next_lap(&mut self) {
        self.lap = self.voices.laps(self.part).after(&self.lap);
        self.index = 0;
    }

    fn next_leg(&mut self) {
        let end = self.leg.piece.end;
        if !end.is_finite() || end.to_song(self.entry) >= self.span.end {
            self.done = true;
            return;
        }
        self.leg = self.leg_after(&self.leg);
        self.start_at(self.leg.piece.from);
    }

    fn leg_after(&self, leg: &Leg) -> Leg {
        self.voices.leg_after(self.part, leg, self.waits)
    }

    /// When the voice, reading on from this piece, reaches `place`. Where the course leaps, what
    /// sounds rings on as if it did not.
    fn time_of(&self, place: MaterialPlace) -> Since {
        let mut leg = self.leg;
        while leg.piece.is_past(place) && leg.piece.end.is_finite() {
            let next = self.leg_after(&leg);
            if (next.piece.from - leg.piece.to).abs() > HAIR {
                break;
            }
            leg = next;
        }
        leg.piece.time_of(place)
    }
}

impl Iterator for Readings<'_> {
    type Item = Reading;

    fn next(&mut self) -> Option<Reading> {
        while !self.done {
            let index = self.index;
            let note = self.material.phrase().notes().get(index);
            // Past the last note of the lap, look at where the next one begins.
            let note = note.filter(|note| note.onset < self.lap.length - HAIR);
            let place = self.lap.start + note.map_or(self.lap.length, |note| note.onset);
            if self.leg.piece.is_past(place) {
                self.next_leg();
                continue;
            }
            let on = (self.leg.piece.time_of(place).min(self.leg.piece.end)).to_song(self.entry);
            if on >= self.span.end {
                self.done = true;
                continue;
            }
            let Some(note) = note else {
                self.next_lap();
                continue;
            };
            self.index += 1;
            if self.leg.piece.reads(place) && on >= self.span.start {
                let piece = &self.leg.piece;
                let sounding = Sounding {
                    building: piece.building,
                    grown: self.voices.grown(self.part, piece, on),
                };
                let index = self.material.index(index);
                return Some(Reading {
                    index,
                    on,
                    off: self.time_of(place + note.length).to_song(self.entry),
                    appears: self.voices.appears(index, place, &self.lap, &sounding),
                });
            }
        }
        None
    }
}
