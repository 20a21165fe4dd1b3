//! What the demo leaves in the folder.

use super::performance::Performance;
use super::story::{BEATS_PER_BAR, Story};
use anyhow::{Context, Result};
use procession_core::exchange::picture::{Picture, png};
use procession_core::exchange::{Piece, midi, plan, score};
use procession_core::mode::Mode;
use procession_core::time::{Beats, Span};
use std::fs;
use std::path::{Path, PathBuf};

/// What is left here, in the order in which it is made.
pub const NAMES: [&str; 6] = [
    "piece.mid",
    "plan.png",
    "plan.svg",
    "plan.txt",
    "plan.json",
    "score.musicxml",
];

/// Writes everything, each file beside its place first: where it went.
pub fn leave(folder: &Path, story: &Story, performance: &Performance) -> Result<Vec<PathBuf>> {
    fs::create_dir_all(folder)
        .with_context(|| format!("the folder {} cannot be made", folder.display()))?;
    let title = format!("{}, for mallets", story.title);
    let modes = modes(performance);
    let piece = Piece {
        title: &title,
        process: &performance.process,
        form: &performance.form,
        notes: &performance.notes,
        modes: &modes,
        tempo: story.tempo,
        beats_per_bar: BEATS_PER_BAR,
    };
    let turning = performance.turning;
    let turning = turning.map(|(start, end)| Span::new(start, end));
    let picture = Picture {
        piece,
        turnings: turning.as_slice(),
    };
    let svg = picture.to_svg();
    let score = score::Score {
        piece,
        layout: score::Layout::SharedBeatOne,
        transpositions: &[],
    };
    let made = [
        midi::write(&as_heard(piece, performance))?,
        png(&svg)?,
        svg.into_bytes(),
        plan::text(&piece).into_bytes(),
        plan::json(&piece).into_bytes(),
        score.to_musicxml().into_bytes(),
    ];
    NAMES
        .into_iter()
        .zip(made)
        .map(|(name, bytes)| put(&folder.join(name), &bytes))
        .collect()
}

/// The source, and from when all has turned the target.
fn modes(performance: &Performance) -> Vec<(Beats, Mode)> {
    let process = &performance.process;
    let (source, target) = (process.fold().source(), process.fold().target());
    match performance.turning {
        Some((_, end)) => vec![(process.origin(), source), (end, target)],
        None if process.fold().moved() > 0 => vec![(process.origin(), target)],
        None => vec![(process.origin(), source)],
    }
}

/// The voices where the plug-in has placed them.
fn as_heard(piece: Piece, performance: &Performance) -> midi::Score {
    let mut score = midi::Score::of(&piece);
    for track in &mut score.tracks {
        let heard = performance.pans.get(usize::from(track.channel.number()));
        track.pan = heard.copied().flatten();
    }
    score
}

/// Never half a file: beside its place, then renamed.
fn put(path: &Path, bytes: &[u8]) -> Result<PathBuf> {
    let beside = path.with_extension("part");
    fs::write(&beside, bytes).with_context(|| {
        format!(
            "{} cannot be written: is the disk full, or the folder read-only?",
            path.display()
        )
    })?;
    fs::rename(&beside, path).with_context(|| format!("{} cannot be replaced", path.display()))?;
    Ok(path.to_owned())
}
