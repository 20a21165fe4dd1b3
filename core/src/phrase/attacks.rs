//! Attacks: when something is struck. The notes of a chord, as a hand strikes it, are one.

use super::Phrase;
use crate::note::Note;
use crate::time::Beats;

/// Strokes closer together than this, in beats, are one attack: a chord, as a hand strikes it, or
/// a note and its grace note.
///
/// The notes of a chord that a pianist means to strike at once lie up to about 30 ms apart, the
/// melody first (Goebl, "Melody lead in piano performance", JASA 110 (2001) 563-572; the figure
/// from memory). A phrase knows no tempo, so it is counted in beats: 31 ms at 120 beats a minute,
/// and half a step of the finest grid, so that no two notes on a grid are taken for one. A 64th
/// note stays a note.
pub const CHORD: Beats = 1.0 / 16.0 - 1e-6;

/// When something is struck, each chord once: when its first note is.
pub fn attack_times(notes: &[Note]) -> impl Iterator<Item = Beats> + '_ {
    let mut began = f64::NEG_INFINITY;
    notes.iter().filter_map(move |note| {
        let is_new = note.onset - began >= CHORD;
        if is_new {
            began = note.onset;
        }
        is_new.then_some(began)
    })
}

/// The attacks that notes of a phrase belong to, asked for in the order of the notes.
#[derive(Clone, Copy, Debug, Default)]
pub struct AttackFinder {
    /// The note that was asked for last, and when its attack began.
    last: Option<(usize, Beats)>,
}

impl AttackFinder {
    /// When the attack began that note `index` of `phrase` belongs to, in beats of the phrase.
    ///
    /// # Real-time
    /// Allocates never, blocks never. A lap of notes costs no more than going through the phrase
    /// twice.
    pub fn attack_of(&mut self, index: usize, phrase: &Phrase) -> Beats {
        let notes = phrase.notes();
        let (from, began) = match self.last {
            Some((last, began)) if last <= index => (last, began),
            _ => first_of_cluster(index, notes),
        };
        let began = notes[from..=index].iter().fold(began, |began, note| {
            if note.onset - began >= CHORD {
                note.onset
            } else {
                began
            }
        });
        self.last = Some((index, began));
        began
    }
}

/// The nearest note up to `index` that surely begins an attack, since nothing is struck close
/// before it; and its onset.
fn first_of_cluster(index: usize, notes: &[Note]) -> (usize, Beats) {
    let begins = |at: &usize| *at == 0 || notes[*at].onset - notes[*at - 1].onset >= CHORD;
    let first = (0..=index).rev().find(begins).unwrap_or(0);
    (first, notes[first].onset)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::note::{Key, Velocity};

    fn struck(onsets: &[Beats]) -> Phrase {
        let note = |onset: &Beats| Note {
            onset: *onset,
            length: 0.25,
            key: Key::new(62).unwrap(),
            velocity: Velocity::new(0.8),
            said: None,
        };
        Phrase::new(onsets.iter().map(note), 2.0).unwrap()
    }

    #[test]
    fn a_spread_chord_is_one_attack_and_sixty_fourths_are_two() {
        let phrase = struck(&[0.0, 0.02, 0.05, 0.5, 0.5625, 1.0]);
        let times: Vec<_> = attack_times(phrase.notes()).collect();
        assert_eq!(times, [0.0, 0.5, 0.5625, 1.0]);
    }

    /// A slow roll: what lies too far from its first note is another attack.
    const ROLL: [Beats; 7] = [0.0, 0.04, 0.08, 0.12, 0.16, 1.0, 1.01];

    #[test]
    fn notes_belong_to_the_attack_before_them_wherever_one_begins_to_ask() {
        let phrase = struck(&ROLL);
        let expected = [0.0, 0.0, 0.08, 0.08, 0.16, 1.0, 1.0];
        for first in 0..ROLL.len() {
            let mut finder = AttackFinder::default();
            for index in (first..ROLL.len()).chain(0..first) {
                assert_eq!(finder.attack_of(index, &phrase), expected[index]);
            }
        }
    }

    #[test]
    fn notes_that_are_left_out_still_belong_together() {
        let phrase = struck(&ROLL);
        let mut finder = AttackFinder::default();
        let asked = [1, 3, 6].map(|index| finder.attack_of(index, &phrase));
        assert_eq!(asked, [0.0, 0.08, 1.0]);
    }
}
