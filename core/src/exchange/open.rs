//! A phrase out of whatever file there is: MIDI or MusicXML, told by its first bytes.

use crate::exchange::{midi, score};
use crate::phrase::Phrase;
use crate::time::Beats;
use std::ops::RangeInclusive;
use thiserror::Error;

/// The largest file that is read, in bytes. A phrase takes some kilobytes; what is far larger is a
/// whole work, of which the bars that are wanted can be saved by themselves.
pub const LARGEST: usize = 1 << 20;

/// Which part of a file, and which of its bars.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Excerpt {
    /// A place in [`Contents::parts`]. None is all of a MIDI file, and the first part of a score.
    pub part: Option<usize>,
    /// From 1; none is from the first note to the last.
    pub bars: Option<RangeInclusive<usize>>,
}

/// What a file has to choose from.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Contents {
    /// Every part that may be chosen, by name.
    pub parts: Vec<String>,
    /// How many bars there are.
    pub bars: usize,
    /// Whether all parts can be read as one.
    pub as_one: bool,
}

/// A phrase, and what else the file said.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// The phrase.
    pub phrase: Phrase,
    /// Beats a minute where the phrase begins, if the file tells.
    pub tempo: Option<f64>,
    /// What the file calls the piece.
    pub name: Option<String>,
    /// How many notes were left out: percussion, doubled ones, ornaments without a length.
    pub left_out: usize,
}

/// Why a file could not be read; the text says what to do.
#[derive(Clone, Debug, Error, PartialEq)]
pub enum OpenError {
    /// It is nothing that is known.
    #[error("this is neither a MIDI file nor a score: choose a .mid, .musicxml or .xml file")]
    Unknown,
    /// A MIDI file.
    #[error(transparent)]
    Midi(midi::MidiError),
    /// A score.
    #[error(transparent)]
    Score(#[from] score::ScoreError),
    /// There are so many bytes, more than [`LARGEST`].
    #[error("{:.1} MiB are too large for a phrase: save the bars you want as a file of their own, of {} MiB at most", *.0 as f64 / f64::from(1 << 20), LARGEST >> 20)]
    TooLarge(usize),
}

impl From<midi::MidiError> for OpenError {
    fn from(error: midi::MidiError) -> Self {
        match error {
            midi::MidiError::NotMidi => Self::Unknown,
            other => Self::Midi(other),
        }
    }
}

/// What the file of these bytes has to choose from.
///
/// # Errors
/// See [`OpenError`]. Never panics, whatever the bytes are.
pub fn contents(bytes: &[u8]) -> Result<Contents, OpenError> {
    check_size(bytes)?;
    if is_score(bytes) {
        let (parts, bars) = score::contents(bytes)?;
        return Ok(Contents {
            parts,
            bars,
            as_one: false,
        });
    }
    let (parts, bars) = midi::contents(bytes)?;
    Ok(Contents {
        parts: parts.into_iter().map(|part| part.name).collect(),
        bars,
        as_one: true,
    })
}

/// Reads a phrase from the bytes of a file, with a grid step of `step` beats.
///
/// # Errors
/// See [`OpenError`]. Never panics, whatever the bytes are.
pub fn read(bytes: &[u8], step: Beats, excerpt: &Excerpt) -> Result<Found, OpenError> {
    check_size(bytes)?;
    if is_score(bytes) {
        let excerpt = score::Excerpt {
            part: excerpt.part.unwrap_or(0),
            bars: excerpt.bars.clone(),
        };
        let read = score::read_phrase_xml(bytes, &excerpt)?;
        return Ok(Found {
            phrase: read.phrase,
            tempo: read.tempo,
            name: read.name,
            left_out: read.left_out,
        });
    }
    let excerpt = midi::Excerpt {
        part: excerpt.part,
        bars: excerpt.bars.clone(),
    };
    let read = midi::read_phrase(bytes, step, &excerpt)?;
    Ok(Found {
        phrase: read.phrase,
        tempo: read.tempo,
        name: read.name,
        left_out: read.left_out,
    })
}

fn check_size(bytes: &[u8]) -> Result<(), OpenError> {
    match bytes.len() {
        length if length > LARGEST => Err(OpenError::TooLarge(length)),
        _ => Ok(()),
    }
}

/// XML begins with an angle bracket, in one encoding or another; a compressed score with the mark
/// of its container, and gets a message of its own.
fn is_score(bytes: &[u8]) -> bool {
    let text = match bytes {
        [b'P', b'K', ..] | [0xFE, 0xFF, ..] | [0xFF, 0xFE, ..] => return true,
        [0xEF, 0xBB, 0xBF, rest @ ..] => rest,
        bytes => bytes,
    };
    let first = text.iter().find(|byte| !byte.is_ascii_whitespace());
    first == Some(&b'<')
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::exchange::midi::{Score, Track, TrackNote, write};
    use crate::note::{Channel, Key, Velocity};

    /// A crotchet on each beat of four bars, in two tracks.
    fn midi_file() -> Vec<u8> {
        let track = |name: &str, channel, key| Track {
            name: name.to_owned(),
            channel: Channel::new(channel).unwrap(),
            program: None,
            pan: None,
            notes: (0..16)
                .map(|beat| TrackNote {
                    on: f64::from(beat),
                    off: f64::from(beat) + 1.0,
                    key: Key::new(key).unwrap(),
                    velocity: Velocity::new(0.5),
                })
                .collect(),
        };
        let score = Score {
            metre: vec![(0.0, (4, 4))],
            tracks: vec![track("Deck", 0, 62), track("Hold", 1, 50)],
            ..Score::default()
        };
        write(&score).unwrap()
    }

    const XML: &str = r#"<?xml version="1.0"?>
        <score-partwise version="4.0">
          <part-list>
            <score-part id="P1"><part-name>Deck</part-name></score-part>
            <score-part id="P2"><part-name>Hold</part-name></score-part>
          </part-list>
          <part id="P1"><measure number="1"><attributes><divisions>1</divisions></attributes>
            <note><pitch><step>D</step><octave>4</octave></pitch><duration>4</duration></note>
          </measure></part>
          <part id="P2"><measure number="1"><attributes><divisions>1</divisions></attributes>
            <note><pitch><step>A</step><octave>3</octave></pitch><duration>4</duration></note>
          </measure></part>
        </score-partwise>"#;

    fn keys(found: &Found) -> Vec<u8> {
        let notes = found.phrase.notes().iter();
        notes.map(|note| note.key.number()).collect()
    }

    #[test]
    fn both_kinds_of_file_list_their_parts_and_bars() {
        let midi = contents(&midi_file()).unwrap();
        assert_eq!(
            (midi.parts, midi.bars),
            (vec!["Deck".into(), "Hold".into()], 4)
        );
        let score = contents(XML.as_bytes()).unwrap();
        assert_eq!(
            (score.parts, score.bars),
            (vec!["Deck".into(), "Hold".into()], 1)
        );
        assert!(midi.as_one && !score.as_one);
    }

    #[test]
    fn a_part_and_some_bars_are_read_from_either() {
        let choice = Excerpt {
            part: Some(1),
            bars: Some(2..=2),
        };
        let found = read(&midi_file(), 0.25, &choice).unwrap();
        assert_eq!((keys(&found), found.phrase.length()), (vec![50; 4], 4.0));
        let choice = Excerpt {
            part: Some(1),
            bars: None,
        };
        let found = read(XML.as_bytes(), 0.25, &choice).unwrap();
        assert_eq!(keys(&found), [57]);
    }

    #[test]
    fn what_is_neither_is_told_what_would_be() {
        let error = contents(b"a letter from the harbour").unwrap_err();
        assert!(error.to_string().contains("neither"), "{error}");
        let error = contents(b"PK\x03\x04").unwrap_err();
        assert!(error.to_string().contains("compressed"), "{error}");
    }
}
