//! What a voice reads of the phrase: as it is, or backwards, in its own cycle or the phrase's.

use super::Voices;
use crate::note::Note;
use crate::part::Part;
use crate::phrase::{AttackFinder, Backwards, Phrase};
use crate::time::Beats;

/// The phrase as one voice reads it.
#[derive(Clone, Copy, Debug)]
pub struct Material<'a> {
    phrase: &'a Phrase,
    backwards: Option<&'a Backwards>,
}

impl<'a> Material<'a> {
    /// The phrase in the order of reading.
    pub fn phrase(self) -> &'a Phrase {
        self.backwards.map_or(self.phrase, Backwards::phrase)
    }

    /// Which note of the phrase the one at `place` is, in the order of reading.
    pub fn index(self, place: usize) -> usize {
        self.backwards
            .map_or(place, |backwards| backwards.index(place))
    }

    /// A note of the phrase where it is read.
    pub fn note(self, index: usize) -> Option<&'a Note> {
        self.phrase().notes().get(self.place(index)?)
    }

    /// Beats by which a note of the phrase comes after the attack that it belongs to, as it is read.
    pub fn late(self, index: usize, finder: &mut AttackFinder) -> Beats {
        let phrase = self.phrase();
        let Some((place, note)) = self.place(index).zip(self.note(index)) else {
            return 0.0;
        };
        note.onset - finder.attack_of(place, phrase)
    }

    fn place(self, index: usize) -> Option<usize> {
        match self.backwards {
            Some(backwards) => backwards.place(index),
            None => Some(index),
        }
    }
}

impl Voices {
    /// What a part reads. The resulting line, which doubles what others play, goes with the steady
    /// voice.
    pub fn material(&self, part: Part) -> Material<'_> {
        let Some(copy) = part.as_copy() else {
            return Material {
                phrase: &self.phrase,
                backwards: None,
            };
        };
        let (phrase, backwards) = match self.has_own_cycle(copy) {
            true => self.own[copy.index()].both_ways(),
            false => (&self.phrase, &self.backwards),
        };
        let turned = self.settings.copies[copy.index()].backwards;
        Material {
            phrase,
            backwards: turned.then_some(backwards),
        }
    }
}
