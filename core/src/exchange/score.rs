//! The score: a process as players read it, and a phrase read from a written part, as MusicXML.
//!
//! Source for the format: *MusicXML 4.0*, W3C Music Notation Community Group.
//!
//! A process is written as its players practise it: a bar for each alignment or growth stage,
//! repeated. The repeat's `times` is the number of plays that was chosen; the customary range
//! stands above it in words. During a drift the moving part keeps the pattern it leaves from,
//! under words and a dashed line: the gradual move itself is not notated.
//!
//! A phrase that lies in bars is written in them; with a pick-up, each passage begins with a short bar,
//! and ends with one that is as much shorter.
//!
//! The resulting line is the last part. It joins in while the others dwell, so in a repeat it may
//! be silent the first time and the last: words say so to the player, and each note's `time-only`
//! to a program.

mod beams;
mod bounds;
mod clef;
mod lines;
mod metre;
mod percussion;
mod pitch;
mod read;
mod sheet;
mod systems;
mod tonality;
mod values;
mod words;
mod write;

pub use read::{Excerpt, ReadPart, ScoreError, contents, read_phrase_xml};
pub use sheet::{PartNote, Passage, Sheet};

use super::Piece;
use crate::part::Part;

/// Against which beat one the moving parts are written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Layout {
    /// One bar for all: the moving part's pattern is written as it falls, rotated.
    #[default]
    SharedBeatOne,
    /// Every part begins its own pattern at its own bar, and words say where that bar falls.
    OwnBeatOne,
}

/// How a part's instrument sounds beside what is written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Transposition {
    /// As written: marimba, vibraphone, piano.
    #[default]
    AtPitch,
    /// An octave higher: xylophone.
    OctaveUp,
    /// Two octaves higher: glockenspiel.
    TwoOctavesUp,
    /// It has no pitch: wood block, drum. Written under a percussion clef.
    Unpitched,
}

impl Transposition {
    /// Octaves that it sounds above what is written.
    pub fn octaves(self) -> i32 {
        match self {
            Self::AtPitch | Self::Unpitched => 0,
            Self::OctaveUp => 1,
            Self::TwoOctavesUp => 2,
        }
    }
}

/// What a score is made from.
#[derive(Clone, Copy, Debug)]
pub struct Score<'a> {
    /// What is written. Its bars are not: a score's follow from the phrase.
    pub piece: Piece<'a>,
    /// Against which beat one the moving parts are written.
    pub layout: Layout,
    /// How the instrument of each part sounds, at [`Part::index`]. Parts beyond are at pitch.
    pub transpositions: &'a [Transposition],
}

impl Score<'_> {
    /// The score as the text of a MusicXML 4.0 file (partwise, uncompressed).
    ///
    /// Notes begin and end on the nearest step, or where the phrase needs it on the nearest
    /// thirty-second or triplet thirty-second. A note that sounds over the end of the cycle is
    /// written up to there, and rings on. Keys below C0, which the format does not know, are
    /// written in octave 0.
    pub fn to_musicxml(&self) -> String {
        write::musicxml(self, None)
    }

    /// What one player reads: their part alone, in the bars and under the letters of the score.
    pub fn part_to_musicxml(&self, part: Part) -> String {
        write::musicxml(self, Some(part))
    }

    /// What the score writes: the stretches that are repeated, before they are cut into bars.
    pub fn sheet(&self) -> Sheet {
        Sheet::new(self)
    }

    /// How the instrument of a part sounds.
    pub fn transposition(&self, part: Part) -> Transposition {
        let told = self.transpositions.get(part.index());
        told.copied().unwrap_or_default()
    }
}

#[cfg(test)]
mod tests;
