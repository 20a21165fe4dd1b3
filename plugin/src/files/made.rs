//! What stands in each file.

use super::{Kind, Trouble, put};
use procession_core::exchange::picture::{Picture, png};
use procession_core::exchange::score::{Score, Transposition};
use procession_core::exchange::{Piece, midi, plan};
use procession_core::time::Span;
use std::fmt::Display;
use std::fs::File;
use std::path::Path;

/// Writes what stands in a file of that kind.
///
/// # Errors
/// [`Trouble::NotMade`], [`Trouble::Stopped`], or what the system says.
pub fn fill(
    file: &mut File,
    path: &Path,
    kind: Kind,
    (piece, turnings): (Piece, &[Span]),
    transpositions: &[Transposition],
    stop: impl Fn() -> bool,
) -> Result<(), Trouble> {
    let picture = || Picture { piece, turnings }.to_svg();
    let bytes = match kind {
        Kind::Midi => midi::write(&midi::Score::of(&piece)).map_err(not_made)?,
        Kind::Score(layout) => {
            let score = Score {
                piece,
                layout,
                transpositions,
            };
            score.to_musicxml().into_bytes()
        }
        Kind::PlanText => plan::text(&piece).into_bytes(),
        Kind::PlanJson => plan::json(&piece).into_bytes(),
        Kind::PictureSvg => picture().into_bytes(),
        Kind::PicturePng => png(&picture()).map_err(not_made)?,
    };
    put::bytes(file, &bytes, path, stop)
}

/// Reasons begin small, for they follow a file's name elsewhere.
fn not_made(reason: impl Display) -> Trouble {
    let reason = reason.to_string();
    let mut signs = reason.chars();
    let first = signs.next().into_iter().flat_map(char::to_uppercase);
    Trouble::NotMade(format!("{}{}.", first.collect::<String>(), signs.as_str()))
}
