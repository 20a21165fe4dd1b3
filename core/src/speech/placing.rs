//! A sentence as a phrase: every vowel on its step, every pitch on its key.
//!
//! The grid is laid where the vowels miss it by least. Each then goes to the nearest step, but no two to
//! one: where two would meet, all are moved so that the sum of the squares of how far they are moved is
//! least, and their order stays. That is isotonic regression (R. Barlow et al., Statistical
//! Inference under Order Restrictions, 1972), of the steps less their number.

use super::listened::Candidate;
use super::pace::{Pace, stretch};
use super::tones::Tone;
use super::tuning::in_tune;
use crate::mode::Mode;
use crate::note::{Key, Note, Syllable, Velocity};
use crate::phrase::{MAX_LENGTH, MAX_NOTES, Phrase, PhraseError};
use crate::time::{Beats, HAIR, from_ticks};
use std::f64::consts::TAU;

/// How hard the loudest syllable is struck, and how much softer one 25 dB below it (own choices).
const LOUDEST: f64 = 0.8;
const SOFTER: f64 = 0.5 / 25.0;

/// What may become of a sentence's own tempo.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Fit {
    /// Its steps become the song's, half of them or twice, if that takes no more than a tenth.
    #[default]
    Unasked,
    /// They become the song's, whatever it takes.
    ToSong,
    /// It stays as it was said.
    AsSaid,
}

/// How a sentence is put on the grid.
#[derive(Clone, Debug, PartialEq)]
pub struct Placing {
    /// The grid's step, in beats.
    pub step: Beats,
    /// 0 leaves vowels where they were said, 1 puts them on the grid.
    pub snap: f64,
    /// The phrase's length in steps; none is to the next beat after the last note.
    pub steps: Option<u32>,
    /// The song's, in beats a minute.
    pub tempo: f64,
    /// The mode whose tones pitches go to; none is all twelve.
    pub mode: Option<Mode>,
    /// What may become of the sentence's own tempo.
    pub fit: Fit,
}

/// A sentence on the grid.
#[derive(Clone, Debug, PartialEq)]
pub struct Placed {
    /// The phrase, each note with its syllable, whose times are those of the recording cut to the
    /// sentence ([`Candidate::span`]).
    pub phrase: Phrase,
    /// By what times were stretched to fit the song; less than 1 is faster than it was said.
    pub stretched: f64,
    /// How many notes were left out: beyond the length that was asked for, or the most there can be.
    pub left_out: usize,
}

impl Placing {
    /// Puts a sentence on the grid.
    ///
    /// # Errors
    /// [`PhraseError::Length`] if it is longer than a phrase may be, or has no proper length.
    pub fn place(&self, of: &Candidate) -> Result<Placed, PhraseError> {
        let stretched = self.stretch_of(of.pace.as_ref());
        let (notes, end) = self.notes(&of.sentence.tones, stretched);
        let length = match self.steps {
            Some(steps) => f64::from(steps) * self.step,
            None => (end - HAIR).ceil().max(1.0),
        };
        if length > MAX_LENGTH {
            return Err(PhraseError::Length(length));
        }
        let tuned = in_tune(&pitches(&of.sentence.tones), self.mode.as_ref());
        let each = notes
            .into_iter()
            .zip(tuned)
            .zip(&of.syllables)
            .zip(&of.sentence.tones);
        let all = each.map(|(((note, tuned), syllable), tone)| {
            let [start, vowel, end] = [syllable.start, tone.onset, syllable.end]
                .map(|seconds| (seconds - of.span().start) as f32);
            Note {
                key: tuned.key,
                said: Syllable::new(start, vowel, end, tuned.cents as f32),
                ..note
            }
        });
        let fits = |note: &Note| note.onset < length - HAIR;
        let notes: Vec<Note> = all.filter(fits).take(MAX_NOTES).collect();
        let left_out = of.sentence.tones.len() - notes.len();
        Ok(Placed {
            phrase: Phrase::new(notes, length)?,
            stretched,
            left_out,
        })
    }

    /// By what the sentence's times are stretched.
    fn stretch_of(&self, pace: Option<&Pace>) -> f64 {
        let Some(pace) = pace else {
            return 1.0;
        };
        match self.fit {
            Fit::AsSaid => 1.0,
            Fit::Unasked => stretch(pace.step, self.seconds_a_step()).unwrap_or(1.0),
            Fit::ToSong => own_tempo(pace, self.step, self.tempo) / self.tempo,
        }
    }

    fn seconds_a_step(&self) -> f64 {
        60.0 * self.step / self.tempo
    }

    /// The notes, their keys still to be found, and where the last one ends.
    fn notes(&self, tones: &[Tone], stretched: f64) -> (Vec<Note>, Beats) {
        let a_step = self.seconds_a_step();
        let steps = |seconds: f64| seconds * stretched / a_step;
        let onsets: Vec<f64> = tones.iter().map(|tone| steps(tone.onset)).collect();
        let shift = phase(&onsets);
        let onsets: Vec<f64> = onsets.iter().map(|at| at - shift).collect();
        let lines = increasing(&onsets);
        let first = lines.first().copied().unwrap_or(0.0);
        let pulled = |at: f64, line: f64| at + self.snap * (line - at) - first;
        let begins: Vec<f64> = (onsets.iter().zip(&lines))
            .map(|(at, line)| pulled(*at, *line))
            .collect();
        // What is said just before its line still begins with the phrase.
        let early = begins.first().map_or(0.0, |at| (-at).max(0.0));
        let loudest = tones.iter().map(|tone| tone.level).fold(f64::MIN, f64::max);
        let mut notes = Vec::with_capacity(tones.len());
        let mut end = 0.0_f64;
        for (index, tone) in tones.iter().enumerate() {
            let onset = begins[index] + early;
            let said_until = steps(tone.onset + tone.length) - shift;
            let line = said_until.round().max(lines[index] + 1.0);
            let next = begins.get(index + 1).map_or(f64::INFINITY, |at| at + early);
            let until = (pulled(said_until, line) + early).min(next);
            let velocity = LOUDEST - SOFTER * (loudest - tone.level);
            notes.push(Note {
                onset: onset * self.step,
                length: ((until - onset) * self.step).max(from_ticks(1)),
                key: Key::by_octave(0),
                velocity: Velocity::new(velocity as f32),
                said: None,
            });
            end = end.max(until * self.step);
        }
        (notes, end)
    }
}

/// The tempo of the sentence's own, in beats a minute, with grid steps of `step` beats: of all that
/// are half or double one another the nearest to the song's.
pub fn own_tempo(pace: &Pace, step: Beats, song: f64) -> f64 {
    let tempo = 60.0 * step / pace.step;
    tempo * (song / tempo).log2().round().exp2()
}

fn pitches(tones: &[Tone]) -> Vec<f64> {
    tones.iter().map(|tone| tone.pitch).collect()
}

/// Where the grid lies that these places, in steps, miss by least: the middle of their angles.
fn phase(places: &[f64]) -> f64 {
    let turns = places.iter().map(|at| TAU * at);
    let (sin, cos) = turns.fold((0.0, 0.0), |(s, c), turn| (s + turn.sin(), c + turn.cos()));
    f64::atan2(sin, cos) / TAU
}

/// The whole numbers nearest to ascending places, each greater than the one before.
fn increasing(places: &[f64]) -> Vec<f64> {
    // Places less their number may stay equal but not fall; where they fall, the mean of all those
    // is nearest. Sum and count of each such pool.
    let mut pools: Vec<(f64, usize)> = Vec::new();
    for (index, place) in places.iter().enumerate() {
        let mut pool = (place - index as f64, 1);
        while let Some((sum, count)) = pools.last().copied() {
            if sum / count as f64 <= pool.0 / pool.1 as f64 {
                break;
            }
            pool = (pool.0 + sum, pool.1 + count);
            pools.pop();
        }
        pools.push(pool);
    }
    let means = pools
        .into_iter()
        .flat_map(|(sum, count)| std::iter::repeat_n((sum / count as f64).round(), count));
    means
        .enumerate()
        .map(|(index, mean)| mean + index as f64)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn two_syllables_on_one_step_part_to_both_sides() {
        assert_eq!(increasing(&[0.0, 1.4, 1.5, 3.0]), [0.0, 1.0, 2.0, 3.0]);
        // 4.9 and 5.1 would both be 5: one of them has to give way.
        assert_eq!(increasing(&[0.0, 4.7, 5.1, 8.0]), [0.0, 4.0, 5.0, 8.0]);
    }

    proptest! {
        #[test]
        fn where_no_two_meet_every_place_goes_to_its_nearest(
            steps in prop::collection::vec((1_i32..4, -0.49..0.49_f64), 1..40)
        ) {
            let mut at = 0.0;
            let (meant, places): (Vec<f64>, Vec<f64>) = steps.iter().map(|(on, off)| {
                at += f64::from(*on);
                (at, at + off)
            }).unzip();
            prop_assert_eq!(increasing(&places), meant);
        }

        #[test]
        fn no_two_share_a_step_however_dense_they_are(
            gaps in prop::collection::vec(0.0..2.0_f64, 1..60)
        ) {
            let places: Vec<f64> = gaps.iter().scan(0.0, |at, gap| {
                *at += gap;
                Some(*at)
            }).collect();
            let lines = increasing(&places);
            prop_assert!(lines.windows(2).all(|two| two[1] >= two[0] + 1.0), "{:?}", lines);
        }
    }
}
