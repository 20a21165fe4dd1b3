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
use thiserror::Error;

/// Why a file could not be read or written; the text says what to do.
#[derive(Clone, Debug, Error, PartialEq)]
pub enum MidiError {
    /// The file has no bytes.
    #[error("the file is empty: export it again")]
    Empty,
    /// It does not begin like a MIDI file.
    #[error("this is not a MIDI file: choose a Standard MIDI File (.mid)")]
    NotMidi,
    /// It ends before its header or its tracks do.
    #[error("the MIDI file ends too early, part of it is missing: copy or export it again")]
    Truncated,
    /// The header or an event cannot be read; in that track, counted from 1, if in one.
    #[error("{} of the MIDI file is damaged: copy or export it again", place(*.0))]
    Damaged(Option<usize>),
    /// Its tracks are pieces of their own (format 2).
    #[error(
        "the MIDI file holds several pieces side by side (format 2): export one of them as format 0 or 1"
    )]
    SeveralPieces,
    /// It counts film frames instead of beats.
    #[error(
        "the MIDI file counts film frames instead of beats (SMPTE time): export it with beats (ticks per quarter note)"
    )]
    FilmTime,
    /// It says that a beat has no ticks.
    #[error("the MIDI file gives a beat no ticks, so it has no rhythm: export it again")]
    NoTicks,
    /// Nothing is played in it.
    #[error("there are no notes in the MIDI file: choose one in which something is played")]
    NoNotes,
    /// Nothing is played in the part, or the bars, that were asked for.
    #[error("nothing is played there: choose another part, or other bars")]
    NothingThere,
    /// It has so many parts, fewer than asked for.
    #[error("the MIDI file has {0} parts that play: choose one of them")]
    NoSuchPart(usize),
    /// It has so many bars, fewer than asked for.
    #[error("the MIDI file has {0} bars: choose bars from 1 to {0}, the first one first")]
    NoSuchBars(usize),
    /// There are more notes than a phrase holds.
    #[error(
        "{0} notes are more than the {MAX_NOTES} a phrase holds: choose fewer bars, or one part"
    )]
    TooManyNotes(usize),
    /// It lasts that many beats, longer than a phrase can.
    #[error("{0} beats are more than the {MAX_LENGTH} a phrase lasts at most: choose fewer bars")]
    TooLong(Beats),
    /// What was asked for lasts that many beats, shorter than a phrase can.
    #[error("{0} beats are less than the {MIN_LENGTH} a phrase lasts at least: choose more bars")]
    TooShort(Beats),
    /// It has so many tracks, more than [`MOST_TRACKS`].
    #[error(
        "the MIDI file has {0} tracks, more than the {MOST_TRACKS} that are read: export only those you want"
    )]
    TooManyTracks(usize),
    /// A position to be written is negative, not finite, or beyond [`FURTHEST`].
    #[error("beat {0} is out of range: positions in a MIDI file go from 0 to {FURTHEST:.0} beats")]
    Position(Beats),
    /// A tempo, in beats a minute, that a file cannot hold.
    #[error("a MIDI file cannot hold a tempo of {0} bpm: choose one between 4 and 10000")]
    Tempo(f64),
    /// A metre that a file cannot hold.
    #[error(
        "{0}/{1} cannot be written: choose 1 to 255 beats of a halved whole note (1, 2, 4, 8 ... 128)"
    )]
    Metre(u8, u8),
    /// More tracks, or a longer text, than a file can hold.
    #[error(
        "there are more tracks or longer names than a MIDI file holds: write fewer, or shorter ones"
    )]
    TooLarge,
}

fn place(track: Option<usize>) -> String {
    track.map_or("the beginning".to_owned(), |track| format!("track {track}"))
}

#[cfg(test)]
mod tests;
