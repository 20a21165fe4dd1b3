//! Standard MIDI Files: a phrase read from one, a whole piece written to one.
//!
//! Source for the format: *Standard MIDI Files 1.0*, RP-001, MIDI Manufacturers Association.

mod piece;
mod read;
mod write;

pub use read::{Excerpt, MOST_TRACKS, Part, ReadPhrase, contents, read_phrase};
pub use write::{FURTHEST, Score, Track, TrackNote, write};

use crate::phrase::{MAX_LENGTH, MAX_NOTES, MIN_LENGTH};
use crate::time::Beats;

/// Why a file could not be read or written; the text says what to do.
#[derive(Clone, Debug, PartialEq)]
pub enum MidiError {
    /// The file has no bytes.
    Empty,
    /// It does not begin like a MIDI file.
    NotMidi,
    /// It ends before its header or its tracks do.
    Truncated,
    /// The header or an event cannot be read; in that track, counted from 1, if in one.
    Damaged(Option<usize>),
    /// Its tracks are pieces of their own (format 2).
    SeveralPieces,
    /// It counts film frames instead of beats.
    FilmTime,
    /// It says that a beat has no ticks.
    NoTicks,
    /// Nothing is played in it.
    NoNotes,
    /// Nothing is played in the part, or the bars, that were asked for.
    NothingThere,
    /// It has so many parts, fewer than asked for.
    NoSuchPart(usize),
    /// It has so many bars, fewer than asked for.
    NoSuchBars(usize),
    /// There are more notes than a phrase holds.
    TooManyNotes(usize),
    /// It lasts that many beats, longer than a phrase can.
    TooLong(Beats),
    /// What was asked for lasts that many beats, shorter than a phrase can.
    TooShort(Beats),
    /// It has so many tracks, more than [`MOST_TRACKS`].
    TooManyTracks(usize),
    /// A position to be written is negative, not finite, or beyond [`FURTHEST`].
    Position(Beats),
    /// A tempo, in beats a minute, that a file cannot hold.
    Tempo(f64),
    /// A metre that a file cannot hold.
    Metre(u8, u8),
    /// More tracks, or a longer text, than a file can hold.
    TooLarge,
}

impl std::fmt::Display for MidiError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Empty => write!(f, "the file is empty: export it again"),
            Self::NotMidi => write!(
                f,
                "this is not a MIDI file: choose a Standard MIDI File (.mid)"
            ),
            Self::Truncated => write!(
                f,
                "the MIDI file ends too early, part of it is missing: copy or export it again"
            ),
            Self::Damaged(Some(track)) => write!(
                f,
                "track {track} of the MIDI file is damaged: copy or export it again"
            ),
            Self::Damaged(None) => write!(
                f,
                "the beginning of the MIDI file is damaged: copy or export it again"
            ),
            Self::SeveralPieces => write!(
                f,
                "the MIDI file holds several pieces side by side (format 2): export one of them as format 0 or 1"
            ),
            Self::FilmTime => write!(
                f,
                "the MIDI file counts film frames instead of beats (SMPTE time): export it with beats (ticks per quarter note)"
            ),
            Self::NoTicks => write!(
                f,
                "the MIDI file gives a beat no ticks, so it has no rhythm: export it again"
            ),
            Self::NoNotes => write!(
                f,
                "there are no notes in the MIDI file: choose one in which something is played"
            ),
            Self::NothingThere => write!(
                f,
                "nothing is played there: choose another part, or other bars"
            ),
            Self::NoSuchPart(count) => write!(
                f,
                "the MIDI file has {count} parts that play: choose one of them"
            ),
            Self::NoSuchBars(count) => write!(
                f,
                "the MIDI file has {count} bars: choose bars from 1 to {count}, the first one first"
            ),
            Self::TooManyNotes(count) => write!(
                f,
                "{count} notes are more than the {MAX_NOTES} a phrase holds: choose fewer bars, or one part"
            ),
            Self::TooLong(beats) => write!(
                f,
                "{beats} beats are more than the {MAX_LENGTH} a phrase lasts at most: choose fewer bars"
            ),
            Self::TooShort(beats) => write!(
                f,
                "{beats} beats are less than the {MIN_LENGTH} a phrase lasts at least: choose more bars"
            ),
            Self::TooManyTracks(count) => write!(
                f,
                "the MIDI file has {count} tracks, more than the {MOST_TRACKS} that are read: export only those you want"
            ),
            Self::Position(beats) => write!(
                f,
                "beat {beats} is out of range: positions in a MIDI file go from 0 to {:.0} beats",
                FURTHEST
            ),
            Self::Tempo(tempo) => write!(
                f,
                "a MIDI file cannot hold a tempo of {tempo} bpm: choose one between 4 and 10000"
            ),
            Self::Metre(beats, unit) => write!(
                f,
                "{beats}/{unit} cannot be written: choose 1 to 255 beats of a halved whole note (1, 2, 4, 8 ... 128)"
            ),
            Self::TooLarge => write!(
                f,
                "there are more tracks or longer names than a MIDI file holds: write fewer, or shorter ones"
            ),
        }
    }
}

impl std::error::Error for MidiError {}

#[cfg(test)]
mod tests;
