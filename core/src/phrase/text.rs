//! A phrase in words, to be copied: what [`Phrase::from_text`] reads.

use super::{Bar, Phrase, PhraseError};
use crate::note::{Key, Note};
use crate::time::{Beats, to_ticks};
use std::collections::BTreeMap;

/// A phrase in words, and what they leave unsaid.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Written {
    /// Notes, rests and holds, a word a step.
    pub text: String,
    /// Notes that start between two steps; they are written on the nearest one.
    pub off_grid: usize,
    /// Notes of another length than written: words hold whole steps, a chord ends together, and
    /// a note ends where the next one starts, or the phrase does.
    pub other_length: usize,
    /// The phrase is no whole number of steps long; the nearest is written.
    pub other_end: bool,
    /// Notes are struck with different strength, of which words say nothing.
    pub uneven: bool,
}

impl Written {
    /// What the words leave unsaid, in plain language; none if they say it all.
    pub fn unsaid(&self) -> Option<String> {
        let notes = |count: usize| {
            if count == 1 {
                "1 note".to_owned()
            } else {
                format!("{count} notes")
            }
        };
        let mut parts = Vec::new();
        if self.off_grid > 0 {
            parts.push(format!(
                "{} off the grid, written on the nearest step",
                notes(self.off_grid)
            ));
        }
        if self.other_length > 0 {
            parts.push(format!(
                "{} of a length that words cannot hold",
                notes(self.other_length)
            ));
        }
        if self.other_end {
            parts.push("the length, rounded to whole steps".to_owned());
        }
        if self.uneven {
            parts.push("velocities".to_owned());
        }
        (!parts.is_empty()).then(|| format!("Not in the text: {}.", parts.join("; ")))
    }
}

/// Notes that start on the same step.
#[derive(Default)]
struct Chord {
    keys: Vec<Key>,
    /// Beats of each.
    lengths: Vec<Beats>,
}

impl Phrase {
    /// The same as [`Phrase::from_text`] in bars that are known. Of a phrase of whole bars, `|` says
    /// where a bar begins, if each stands whole bars after the first; so what is before that may be a
    /// pick-up. Otherwise the bar begins where it did.
    ///
    /// # Errors
    /// [`PhraseError`].
    pub fn from_text_in(text: &str, step: Beats, bar: Bar) -> Result<Self, PhraseError> {
        let phrase = Self::from_text(text, step)?;
        let is_whole_bars = |beats: Beats| is_whole(beats, bar.metre.bar());
        let mut words = 0;
        let mut marks = Vec::new();
        for word in text.split_whitespace() {
            match word {
                "|" => marks.push(f64::from(words) * step),
                _ => words += 1,
            }
        }
        // The last one may close the phrase.
        marks.retain(|at| *at < phrase.length - step / 2.0);
        let marked = marks.first().copied().filter(|first| {
            let apart = marks.iter().all(|at| is_whole_bars(at - first));
            apart && is_whole_bars(phrase.length)
        });
        let bar = marked.map_or(bar, |first| Bar::around(bar.metre, first));
        Ok(phrase.with_bar(Some(bar)))
    }

    /// The phrase in words, one a step of `step` beats; read back by [`Phrase::from_text`] it is
    /// the same phrase, struck evenly, unless [`Written::unsaid`] says otherwise. With a pick-up, `|`
    /// stands where bars begin.
    pub fn to_text(&self, step: Beats) -> Written {
        let steps = nearest(self.length, step).max(1);
        let mut written = Written {
            other_end: !is_whole(self.length, step),
            uneven: self
                .notes
                .windows(2)
                .any(|pair| pair[0].velocity.midi() != pair[1].velocity.midi()),
            ..Written::default()
        };
        let mut words = vec![".".to_owned(); steps];
        let chords = self.chords(step, steps, &mut written);
        let nexts = chords.keys().skip(1).copied().chain([steps]);
        for ((start, chord), next) in chords.iter().zip(nexts) {
            let room = next - start;
            let longest = chord.lengths.iter().copied().fold(0.0, Beats::max);
            let held = nearest(longest, step).clamp(1, room);
            let said = to_ticks(held as f64 * step);
            let others = chord
                .lengths
                .iter()
                .filter(|length| to_ticks(**length) != said);
            written.other_length += others.count();
            words[*start] = chord
                .keys
                .iter()
                .map(|key| key_name(*key))
                .collect::<Vec<_>>()
                .join("+");
            words[start + 1..start + held].fill("-".to_owned());
        }
        for line in self.bar_lines(step) {
            words[line].insert_str(0, "| ");
        }
        written.text = words.join(" ");
        written
    }

    /// The steps on which bars begin, if a pick-up leads to the first, and if all are on the grid.
    fn bar_lines(&self, step: Beats) -> Vec<usize> {
        let bar = self.bar.filter(|bar| {
            let is_on_grid = is_whole(bar.begins, step) && is_whole(bar.metre.bar(), step);
            self.pick_up() > 0.0 && is_on_grid && is_whole(self.length, step)
        });
        let Some(bar) = bar else { return Vec::new() };
        let (first, apart) = (nearest(bar.begins, step), nearest(bar.metre.bar(), step));
        (first..nearest(self.length, step))
            .step_by(apart.max(1))
            .collect()
    }

    /// Which notes start on which step.
    fn chords(&self, step: Beats, steps: usize, written: &mut Written) -> BTreeMap<usize, Chord> {
        let mut chords: BTreeMap<usize, Chord> = BTreeMap::new();
        for Note {
            onset, length, key, ..
        } in &self.notes
        {
            written.off_grid += usize::from(!is_whole(*onset, step));
            let chord = chords
                .entry(nearest(*onset, step).min(steps - 1))
                .or_default();
            chord.keys.push(*key);
            chord.lengths.push(*length);
        }
        chords
    }
}

/// The name of a key as words have it: `C4` is 60; black keys by the commoner of their two names.
pub fn key_name(key: Key) -> String {
    const NAMES: [&str; 12] = [
        "C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B",
    ];
    let octave = i32::from(key.number() / 12) - 1;
    format!("{}{octave}", NAMES[usize::from(key.pitch_class())])
}

fn nearest(beats: Beats, step: Beats) -> usize {
    (beats / step).round() as usize
}

fn is_whole(beats: Beats, step: Beats) -> bool {
    to_ticks(beats) % to_ticks(step).max(1) == 0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::metre::Metre;
    use crate::note::Velocity;
    use crate::phrase::key_from_name;
    use proptest::prelude::*;

    const SIXTEENTH: Beats = 0.25;

    fn note(onset: Beats, length: Beats, name: &str) -> Note {
        Note {
            onset,
            length,
            key: key_from_name(name).unwrap(),
            velocity: Velocity::new(0.7),
            said: None,
        }
    }

    #[test]
    fn rests_holds_and_chords_are_written_as_they_are_read() {
        for text in ["D4 - F4 G4 . A4", ". . F#4+A4 - Bb3 .", ".", "C-1 G9"] {
            let written = Phrase::from_text(text, SIXTEENTH)
                .unwrap()
                .to_text(SIXTEENTH);
            assert_eq!(written.text, text);
            assert_eq!(written.unsaid(), None);
        }
    }

    #[test]
    fn a_stroke_says_where_the_bar_begins_where_bars_are_known() {
        let bar = |begins| Bar::around(Metre::COMMON, begins);
        let read = |text, before| Phrase::from_text_in(text, 0.5, bar(before)).unwrap();
        let lantern = "A4 | D4 - F4 . A4 G4 F4";
        let phrase = read(lantern, 0.0);
        assert_eq!((phrase.bar(), phrase.pick_up()), (Some(bar(0.5)), 0.5));
        assert_eq!(phrase.to_text(0.5).text, lantern);
        // Without one it begins where it did; so it does where they stand at random, or where
        // bars do not come round with the phrase.
        assert_eq!(read("A4 D4 - F4 . A4 G4 F4", 0.5).pick_up(), 0.5);
        assert_eq!(read("A4 | D4 - | F4 . A4 G4 F4", 1.5).pick_up(), 1.5);
        assert_eq!(read("A4 | D4 -", 0.0).bar(), None);
        // Two bars, and one stroke more to close them.
        let two = "G4 A4 | D4 . . . . . . . | F4 . . . C5 - |";
        assert_eq!(read(two, 0.0).pick_up(), 1.0);
    }

    #[test]
    fn what_words_cannot_say_is_named() {
        let late = Phrase::new([note(0.27, 0.25, "D4")], 1.0).unwrap();
        let written = late.to_text(SIXTEENTH);
        assert_eq!(written.text, ". D4 . .");
        assert_eq!(
            written.unsaid().as_deref(),
            Some("Not in the text: 1 note off the grid, written on the nearest step.")
        );

        let over = Phrase::new([note(0.0, 1.0, "D4"), note(0.5, 0.5, "F4")], 1.0).unwrap();
        let written = over.to_text(SIXTEENTH);
        assert_eq!(
            (written.text.as_str(), written.other_length),
            ("D4 - F4 -", 1)
        );

        let short = Phrase::new([note(0.0, 0.1, "D4")], 0.9).unwrap();
        let written = short.to_text(SIXTEENTH);
        assert_eq!(written.text, "D4 . . .");
        assert!(written.other_end && written.other_length == 1);

        let soft = Note {
            velocity: Velocity::new(0.2),
            ..note(0.5, 0.5, "F4")
        };
        let uneven = Phrase::new([note(0.0, 0.5, "D4"), soft], 1.0).unwrap();
        assert_eq!(
            uneven.to_text(SIXTEENTH).unsaid().as_deref(),
            Some("Not in the text: velocities.")
        );
    }

    #[test]
    fn a_triplet_grid_is_written_in_its_own_steps() {
        let third = 1.0 / 3.0;
        let written = Phrase::from_text("D4 F4 - A4 . .", third)
            .unwrap()
            .to_text(third);
        assert_eq!(written.text, "D4 F4 - A4 . .");
        assert_eq!(written.unsaid(), None);
    }

    proptest! {
        /// If nothing is left unsaid, the words read back are the phrase.
        #[test]
        fn words_read_back_are_the_phrase(
            rests in 0..3_usize,
            all in prop::collection::vec(
                (prop::collection::btree_set(0..128_u8, 1..4), 1..4_usize, 0..3_usize), 1..20,
            ),
            step in prop::sample::select(vec![1.0, 0.5, 1.0 / 3.0, 0.25, 1.0 / 6.0, 0.125]),
        ) {
            let mut notes = Vec::new();
            let mut at = rests;
            for (keys, held, pause) in all {
                notes.extend(keys.into_iter().map(|key| Note {
                    onset: at as f64 * step,
                    length: held as f64 * step,
                    key: Key::new(key).unwrap(),
                    velocity: Velocity::new(0.7), said: None,
                }));
                at += held + pause;
            }
            let phrase = Phrase::new(notes, at as f64 * step).unwrap().on_ticks();
            let written = phrase.to_text(step);
            prop_assert_eq!(written.unsaid(), None);
            prop_assert_eq!(Phrase::from_text(&written.text, step).unwrap().on_ticks(), phrase);
        }
    }
}
