//! Copies whose cycle is not as long as the phrase: what they read, and when they are together again.

use super::Voices;
use crate::part::{CopyNumber, MAX_COPIES, Part};
use crate::phrase::{Backwards, Phrase};
use crate::time::{Beats, HAIR, MaterialPlace, Since, Span, from_ticks, to_ticks};
use std::fmt;

/// The phrase in the cycle of one copy, read either way. As long as the copy has no such cycle, it is
/// whatever it was before, and nobody reads it.
#[derive(Clone)]
pub struct OwnMaterial {
    phrase: Phrase,
    backwards: Backwards,
}

impl fmt::Debug for OwnMaterial {
    /// Without its notes, which follow from the phrase and the settings if anybody reads them.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("OwnMaterial")
    }
}

impl OwnMaterial {
    /// Room for that of every copy, where the phrase is to begin with. Allocates; nothing else here
    /// does.
    pub(super) fn for_all(phrase: &Phrase, backwards: &Backwards) -> Box<[Self]> {
        let one = |_| Self {
            phrase: phrase.clone(),
            backwards: backwards.clone(),
        };
        (0..MAX_COPIES).map(one).collect()
    }

    /// It, and it backwards.
    pub(super) fn both_ways(&self) -> (&Phrase, &Backwards) {
        (&self.phrase, &self.backwards)
    }
}

/// A copy in a cycle of its own.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OwnCycle {
    /// Which.
    pub copy: CopyNumber,
    /// How long its cycle is.
    pub length: Beats,
    /// Beats from where it and the steady voice begin a cycle together to where they do again: the
    /// least common multiple of both.
    pub together: Beats,
}

impl Voices {
    /// The cycle of a copy that goes round in one of its own: not, if it is told to last as long as
    /// the phrase does anyway.
    pub fn own_cycle(&self, copy: CopyNumber) -> Option<OwnCycle> {
        let own = self.own_length(copy)?;
        let together = least_common_multiple(own, to_ticks(self.phrase.length()))?;
        Some(OwnCycle {
            copy,
            length: from_ticks(own),
            together: from_ticks(together),
        })
    }

    /// Whether a copy goes round in a cycle of its own.
    pub fn has_own_cycle(&self, copy: CopyNumber) -> bool {
        self.own_length(copy).is_some()
    }

    /// The ticks of such a cycle.
    fn own_length(&self, copy: CopyNumber) -> Option<i64> {
        let steps = self.settings.copies[copy.index()].length?;
        let own = to_ticks(f64::from(steps) * self.settings.step());
        (own != to_ticks(self.phrase.length())).then_some(own)
    }

    /// The copies in use that do.
    pub fn own_cycles(&self) -> impl Iterator<Item = OwnCycle> + '_ {
        self.copies().filter_map(|copy| self.own_cycle(copy))
    }

    /// Beats from where all voices in use begin a cycle together to where they do again; none if that
    /// is longer than anybody could count.
    pub fn all_together(&self) -> Option<Beats> {
        let phrase = to_ticks(self.phrase.length());
        let all = self.own_cycles().try_fold(phrase, |all, own| {
            least_common_multiple(all, to_ticks(own.length))
        });
        all.map(from_ticks)
    }

    /// What a copy would read whose onset lies in `span` if it stood so far ahead all the time: which
    /// note of the phrase, from when, until when.
    pub fn standing(
        &self,
        copy: CopyNumber,
        ahead: Beats,
        span: Span,
    ) -> impl Iterator<Item = (usize, Beats, Beats)> + '_ {
        let part = Part::Copy(copy);
        let entry = self.entry(part).unwrap_or(f64::INFINITY);
        let place = move |at: Beats| Since::from_song(at, entry).steady_place() + ahead;
        let when = move |place: MaterialPlace| (place - ahead).steady_since().to_song(entry);
        let (laps, material) = (self.laps(part), self.material(part));
        let last = place(span.end);
        let mut lap = Some(laps.at(place(span.start)));
        let laps = std::iter::from_fn(move || {
            let this = lap.filter(|lap| entry.is_finite() && lap.start < last)?;
            lap = Some(laps.after(&this));
            Some(this)
        });
        laps.flat_map(move |lap| {
            let notes = material.phrase().notes().iter().enumerate();
            let inside = notes.take_while(move |(_, note)| note.onset < lap.length - HAIR);
            inside.map(move |(index, note)| {
                let on = lap.start + note.onset;
                (material.index(index), when(on), when(on + note.length))
            })
        })
        .filter(move |(_, on, _)| span.contains(*on + HAIR))
    }

    /// What the steady voice and copy 1 read, which can be held against each other. In a cycle of its
    /// own a copy keeps no place: then it is the phrase against itself, as the others read it.
    pub fn aligned(&self) -> [&Phrase; 2] {
        let copy = match self.has_own_cycle(CopyNumber::FIRST) {
            true => &self.phrase,
            false => self.material(Part::COPY_1).phrase(),
        };
        [&self.phrase, copy]
    }

    /// What every copy reads that goes round in a cycle of its own.
    pub(super) fn make_own_material(&mut self) {
        CopyNumber::ALL
            .into_iter()
            .for_each(|copy| self.make_material_of(copy));
    }

    /// The same of one of them.
    pub(super) fn make_material_of(&mut self, copy: CopyNumber) {
        let step = self.settings.step();
        if let Some(length) = self.own_length(copy) {
            let own = &mut self.own[copy.index()];
            own.phrase
                .become_lasting(&self.phrase, from_ticks(length), step);
            own.backwards.turn(&own.phrase, step);
        }
    }
}

/// Of two lengths in ticks, both above 0; none if it is beyond all counting.
fn least_common_multiple(one: i64, other: i64) -> Option<i64> {
    let (mut a, mut b) = (one, other);
    while b != 0 {
        (a, b) = (b, a % b);
    }
    one.checked_div(a)?.checked_mul(other)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::Settings;

    fn voices(words: &str, lengths: &[u32]) -> Voices {
        let mut settings = Settings::default();
        settings.motion.copies = lengths.len();
        for (copy, length) in settings.copies.iter_mut().zip(lengths) {
            copy.length = Some(*length);
        }
        Voices::new(Phrase::from_text(words, 0.25).unwrap(), settings, 0.0)
    }

    const SIXTEEN: &str = "D4 . F4 G4 . A4 C5 . D5 . . A4 G4 . F4 .";

    /// 14 and 16 have 112 in common, 12 and 16 have 48, all three 336 (by hand).
    #[test]
    fn cycles_meet_after_their_least_common_multiple() {
        let voices = voices(SIXTEEN, &[14, 12]);
        let together: Vec<f64> = voices.own_cycles().map(|own| own.together * 4.0).collect();
        assert_eq!(together, [112.0, 48.0]);
        assert_eq!(voices.all_together(), Some(84.0));
    }

    #[test]
    fn a_cycle_as_long_as_the_phrase_is_none_of_its_own() {
        let voices = voices(SIXTEEN, &[16]);
        assert_eq!(voices.own_cycles().count(), 0);
        assert_eq!(voices.all_together(), Some(4.0));
    }

    #[test]
    fn what_is_beyond_counting_is_told_from_what_is_not() {
        let voices = voices(SIXTEEN, &[127, 113, 109, 107, 103, 101, 97, 89]);
        assert_eq!(voices.all_together(), None);
        assert_eq!(voices.own_cycles().count(), 8);
    }
}
