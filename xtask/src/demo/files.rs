//! What the demo leaves in the folder.

use super::performance::Performance;
use super::story::{BEATS_PER_BAR, Story};
use anyhow::{Context, Error, Result};
use procession_core::exchange::picture::{Picture, png};
use procession_core::exchange::put::{self, Existing, Trouble, create, put};
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

/// What is left beside them of a phrase that was spoken.
pub const MELODY: &str = "melody.png";

/// The picture of what was spoken, if the phrase was: where it went.
pub fn leave_melody(folder: &Path, story: &Story, existing: Existing) -> Result<Option<PathBuf>> {
    let Some(svg) = &story.melody else {
        return Ok(None);
    };
    whole(&folder.join(MELODY), &png(svg)?, existing).map(Some)
}

/// Writes everything: where it went.
pub fn leave(
    folder: &Path,
    story: &Story,
    performance: &Performance,
    existing: Existing,
) -> Result<Vec<PathBuf>> {
    fs::create_dir_all(folder)
        .with_context(|| format!("the folder {} cannot be made", folder.display()))?;
    let route = performance.process.voices().as_route();
    let proposed = procession_core::performance::Performance::proposed(&performance.process);
    let (modes, turnings) = match story.modulations.is_empty() {
        true => {
            let turning = performance.turning.into_iter();
            let spans = turning.map(|(start, end)| Span::new(start, end));
            (modes(performance), spans.collect())
        }
        false => written_modes(&proposed),
    };
    let piece = Piece {
        title: &story.title,
        performance: &proposed,
        form: &performance.form,
        route: &route,
        notes: &performance.notes,
        modes: &modes,
        tempo: story.tempo,
        tempi: None,
        beats_per_bar: BEATS_PER_BAR,
    };
    let picture = Picture {
        piece,
        turnings: &turnings,
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
        .map(|(name, bytes)| whole(&folder.join(name), &bytes, existing))
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

/// The modes of written mode changes, each from when it is whole, and the ways there.
fn written_modes(
    proposed: &procession_core::performance::Performance,
) -> (Vec<(Beats, Mode)>, Vec<Span>) {
    let changes: Vec<_> = proposed.mode_changes().collect();
    let modes = changes
        .iter()
        .map(|change| (change.turning.end, change.mode));
    let written = changes.iter().filter(|change| change.index.is_some());
    (
        modes.collect(),
        written.map(|change| change.turning).collect(),
    )
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

/// As the plug-in writes its files.
fn whole(path: &Path, bytes: &[u8], existing: Existing) -> Result<PathBuf> {
    let fill = |file: &mut _| put::bytes(file, bytes, path, || false);
    put(path, existing, create, fill).map_err(said)?;
    Ok(path.to_owned())
}

/// What went wrong with a file, in its own words.
pub fn said(trouble: Trouble) -> Error {
    Error::msg(trouble.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo::sound::Recorder;

    #[cfg(unix)]
    #[test]
    fn a_link_that_lies_beside_is_not_written_through() -> Result<()> {
        let folder = std::env::temp_dir().join(format!("procession-links-{}", std::process::id()));
        fs::create_dir_all(&folder)?;
        let diary = folder.join("diary");
        fs::write(&diary, "mine")?;
        for name in ["piece.part", "sound.part", "piece.mid", "sound.wav"] {
            std::os::unix::fs::symlink(&diary, folder.join(name))?;
        }
        whole(&folder.join("piece.mid"), b"notes", Existing::Replace)?;
        let mut recorder = Recorder::new(&folder, Existing::Replace, 48_000, 0);
        recorder.hear([vec![0.5; 9], vec![0.5; 9]]);
        recorder.end()?;
        assert_eq!(fs::read(&diary)?, b"mine");
        assert_eq!(fs::read(folder.join("piece.mid"))?, b"notes");
        fs::remove_dir_all(folder)?;
        Ok(())
    }

    #[test]
    fn what_cannot_be_written_leaves_nothing_and_says_why() -> Result<()> {
        let folder = std::env::temp_dir().join(format!("procession-gone-{}", std::process::id()));
        let refusal = whole(&folder.join("piece.mid"), b"notes", Existing::Replace);
        let refusal = refusal.expect_err("there is no such folder").to_string();
        assert!(refusal.contains("is gone"), "{refusal}");
        assert!(!folder.exists());
        Ok(())
    }
}
