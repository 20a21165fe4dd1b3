//! Speech, to be drawn and chosen from: the curve of its pitch under the notes, and its sentences and
//! its own tempo in words.

use crate::editor::model::phrase::number;
use crate::files::Spoken;
use procession_core::phrase::Phrase;
use procession_core::speech::{
    Fit, Listened, Pace, PitchTrack, Placed, Placing, Strand, own_tempo, strands,
};
use procession_core::words::number_of;
use std::sync::Arc;

/// A change of tempo smaller than that, in parts of it, is none.
const HARDLY: f64 = 0.005;

/// How the pitch goes in a recording, counted from where a sentence begins in it.
#[derive(Clone, Debug, PartialEq)]
pub struct Curve {
    track: Arc<PitchTrack>,
    /// Seconds.
    from: f64,
}

impl Curve {
    /// From that moment of the recording on, in seconds.
    pub fn new(track: Arc<PitchTrack>, from: f64) -> Self {
        Self { track, from }
    }

    /// The curve as it lies under the notes of a phrase; see [`strands`].
    pub fn strands(&self, phrase: &Phrase) -> Vec<Strand> {
        strands(&self.track, self.from, phrase)
    }
}

/// The sentences in words, the steadiest first: "Sentence 2: 1.4 s, 7 notes (the steadiest)".
pub fn sentences(listened: &Listened) -> Vec<String> {
    let several = listened.candidates().len() > 1;
    let places = listened.steadiest().iter().enumerate();
    let word = |rank| match rank {
        0 if several => " (the steadiest)",
        _ => "",
    };
    places
        .map(|(rank, place)| in_words(listened, *place) + word(rank))
        .collect()
}

/// The same of what is being said: the places of the sentences, the latest first, and their words.
pub fn as_said(listened: &Listened) -> (Vec<usize>, Vec<String>) {
    let (latest, steadiest) = (listened.latest(), listened.steadiest().first().copied());
    let count = listened.candidates().len();
    let others = (0..count).rev().filter(|place| *place != latest);
    let places: Vec<usize> = std::iter::once(latest).chain(others).collect();
    let words = places.iter().map(|place| {
        let word = match (*place == latest, Some(*place) == steadiest && count > 1) {
            (true, true) => " (the latest and steadiest)",
            (true, false) => " (the latest)",
            (false, true) => " (the steadiest)",
            (false, false) => "",
        };
        in_words(listened, *place) + word
    });
    let words = words.collect();
    (places, words)
}

fn in_words(listened: &Listened, place: usize) -> String {
    let candidate = &listened.candidates()[place];
    let span = candidate.span();
    let notes = number_of(candidate.sentence.tones.len(), "note");
    let seconds = span.end - span.start;
    format!("Sentence {}: {seconds:.1} s, {notes}", place + 1)
}

/// The place of the sentence of that rank among the steadiest.
pub fn chosen(spoken: &Spoken, rank: usize) -> Option<usize> {
    spoken.listened.steadiest().get(rank).copied()
}

/// Its own tempo, in whole beats a minute, if it has one.
pub fn tempo_of_its_own(pace: Option<&Pace>, placing: &Placing) -> Option<f64> {
    pace.map(|pace| own_tempo(pace, placing.step, placing.tempo).round())
}

/// What becomes of its own tempo, in words.
pub fn tempo_words(pace: Option<&Pace>, placing: &Placing, placed: &Placed) -> String {
    let Some(own) = tempo_of_its_own(pace, placing) else {
        return "Too short to have a tempo of its own.".to_owned();
    };
    let song = number(placing.tempo);
    let is = format!("Its own tempo is about {own:.0} bpm; the song has {song}.");
    let change = placed.stretched - 1.0;
    let becomes = if change.abs() >= HARDLY {
        let way = if change < 0.0 { "faster" } else { "slower" };
        let times = (1.0 / placed.stretched - 1.0).abs() * 100.0;
        format!("It becomes {times:.0} % {way}.")
    } else if placing.fit == Fit::Unasked && (own / placing.tempo - 1.0).abs() > 0.1 {
        "Too far apart to be fitted unasked: it stays as it was said.".to_owned()
    } else {
        "It stays as it was said.".to_owned()
    };
    format!("{is} {becomes}")
}

/// What was left out, if anything was.
pub fn left_out_words(placed: &Placed) -> Option<String> {
    (placed.left_out > 0).then(|| {
        format!(
            "Left out beyond the length that is set: {}. Set Length to 0 for the whole sentence.",
            number_of(placed.left_out, "note")
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use procession_core::speech::Recording;
    use std::f64::consts::TAU;

    const RATE: f64 = 16_000.0;

    /// Three vowels of 0.2 s, 0.3 s apart from 0.5 s on, at 110, 147 and 131 Hz.
    fn spoken() -> Arc<Listened> {
        let samples = (0..24_000).map(|n| {
            let at = n as f64 / RATE - 0.5;
            let vowel = (at / 0.3).floor();
            let inside = at - 0.3 * vowel;
            let hertz = [110.0, 147.0, 131.0].get(vowel as usize).copied();
            let Some(hertz) = hertz.filter(|_| at >= 0.0 && inside < 0.2) else {
                return 0.0;
            };
            let swell = (inside / 0.015).min((0.2 - inside) / 0.015).min(1.0);
            let sum: f64 = (1..=8)
                .map(|h| (TAU * f64::from(h) * hertz * inside).sin() / f64::from(h))
                .sum();
            (0.2 * swell * sum) as f32
        });
        let recording = Recording::new(samples.collect(), RATE).unwrap();
        Arc::new(Listened::to(&recording).unwrap())
    }

    fn placing() -> Placing {
        Placing {
            step: 0.25,
            snap: 1.0,
            steps: None,
            tempo: 120.0,
            mode: None,
            fit: Fit::Unasked,
        }
    }

    #[test]
    fn each_syllable_lies_under_its_note_at_its_pitch_wherever_that_was_moved() {
        let listened = spoken();
        let candidate = &listened.candidates()[0];
        let phrase = placing().place(candidate).unwrap().phrase;
        let keys: Vec<u8> = phrase
            .notes()
            .iter()
            .map(|note| note.key.number())
            .collect();
        assert_eq!(keys, [45, 50, 48]);
        let curve = Curve::new(listened.track().clone(), candidate.span().start);
        for phrase in [phrase.moved(&[2], 0.5, 0).phrase, phrase] {
            let strands = curve.strands(&phrase);
            assert_eq!(strands.len(), 3);
            for (strand, note) in strands.iter().zip(phrase.notes()) {
                let (first, last) = (strand[0].0, strand[strand.len() - 1].0);
                assert!((first - note.onset).abs() < 0.15, "{first} of {note:?}");
                assert!(last > note.onset && last < note.onset + 1.0);
                let key = f64::from(note.key.number());
                assert!(strand.iter().all(|(_, pitch)| (pitch - key).abs() < 0.3));
            }
        }
        let other = Phrase::from_text("D4 F4", 0.25).unwrap();
        assert!(curve.strands(&other).is_empty(), "nobody has said that");
    }

    #[test]
    fn sentences_and_tempi_are_told_in_words() {
        let listened = spoken();
        let told = sentences(&listened);
        assert_eq!(told.len(), 1);
        assert!(
            told[0].starts_with("Sentence 1: 1.") && told[0].ends_with("3 notes"),
            "{told:?}"
        );
        let candidate = &listened.candidates()[0];
        let pace = candidate.pace.as_ref();
        // 0.3 s from vowel to vowel: two sixteenths of 0.15 s, beats of 0.6 s.
        assert_eq!(tempo_of_its_own(pace, &placing()), Some(100.0));
        let words =
            |placing: &Placing| tempo_words(pace, placing, &placing.place(candidate).unwrap());
        assert!(
            words(&placing()).contains("Too far apart"),
            "{}",
            words(&placing())
        );
        let asked = Placing {
            fit: Fit::ToSong,
            ..placing()
        };
        assert!(words(&asked).contains("20 % faster"), "{}", words(&asked));
        let near = Placing {
            tempo: 95.0,
            ..placing()
        };
        assert!(words(&near).contains("5 % slower"), "{}", words(&near));
        assert!(tempo_words(None, &near, &near.place(candidate).unwrap()).contains("Too short"));
    }
}
