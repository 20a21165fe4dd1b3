//! What stands in each file.

use super::{FileKind, Speaker, sentence};
use crate::audition::players;
use procession_core::exchange::picture::{Picture, png};
use procession_core::exchange::put::{self, Trouble};
use procession_core::exchange::score::{Layout, Score, Transposition};
use procession_core::exchange::sound::{FILE_SAMPLE_RATE, Sound, SoundError, SoundVoice};
use procession_core::exchange::{Piece, midi, plan};
use procession_core::time::Span;
use std::fmt::Display;
use std::fs::File;
use std::ops::ControlFlow;
use std::path::Path;

/// Writes what stands in a file of that kind. `came_to` is told which part of it is done, 0 ..= 1,
/// and may break it off.
///
/// # Errors
/// [`Trouble::NotMade`], [`Trouble::Stopped`], or what the system says.
pub fn fill(
    file: &mut File,
    path: &Path,
    kind: FileKind,
    (piece, turnings): (Piece, &[Span]),
    (transpositions, speaker): (&[Transposition], Option<&Speaker>),
    came_to: &dyn Fn(f64) -> ControlFlow<()>,
) -> Result<(), Trouble> {
    let picture = || Picture { piece, turnings }.to_svg();
    let bytes = match kind {
        FileKind::Sound => return sound(file, path, (&piece, speaker), kind, came_to),
        FileKind::Voice(_) | FileKind::Spoken => {
            return sound(file, path, (&piece, speaker), kind, came_to);
        }
        FileKind::Midi => midi::write(&midi::Score::of(&piece)).map_err(not_made)?,
        FileKind::Score(layout) => {
            let score = Score {
                piece,
                layout,
                transpositions,
            };
            score.to_musicxml().into_bytes()
        }
        FileKind::Player(part) => {
            let score = Score {
                piece,
                layout: Layout::SharedBeatOne,
                transpositions,
            };
            score.part_to_musicxml(part).into_bytes()
        }
        // Never asked for: an order for all is one for each.
        FileKind::Voices | FileKind::Players => Vec::new(),
        FileKind::PlanText => plan::text(&piece).into_bytes(),
        FileKind::PlanJson => plan::json(&piece).into_bytes(),
        FileKind::PictureSvg => picture().into_bytes(),
        FileKind::PicturePng => png(&picture()).map_err(not_made)?,
    };
    put::bytes(file, &bytes, path, || came_to(0.0).is_break())
}

/// All parts, one, or the recording that goes along, written as it is made: it may be larger than memory.
fn sound(
    file: &mut File,
    path: &Path,
    (piece, speaker): (&Piece, Option<&Speaker>),
    kind: FileKind,
    came_to: &dyn Fn(f64) -> ControlFlow<()>,
) -> Result<(), Trouble> {
    let played = piece.played();
    let sound = Sound {
        origin: piece.process().origin(),
        voices: 1 + piece.performance.copies().len(),
        width: piece.process().settings().output.width,
        mallets: piece.process().settings().mallets(),
        notes: &played,
        tempo: piece.tempo,
        tempi: piece.tempi,
        sample_rate: FILE_SAMPLE_RATE,
        voice: speaker.map(|speaker| SoundVoice {
            utterance: &speaker.utterance,
            process: piece.process(),
            along: speaker.along,
            audition: speaker.audition,
            players: players(piece.process().settings()),
        }),
    };
    let written = match kind {
        FileKind::Voice(part) => sound.write_part(part, file, came_to),
        FileKind::Spoken => sound.write_voice(file, came_to),
        _ => sound.write(file, came_to),
    };
    written.map_err(|error| match error {
        SoundError::Cancelled => Trouble::Stopped,
        SoundError::Write(error) => Trouble::of(&error, path),
        reason => not_made(reason),
    })
}

fn not_made(reason: impl Display) -> Trouble {
    Trouble::NotMade(sentence(reason))
}
