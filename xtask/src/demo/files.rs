//! What the demo leaves in the folder.

use super::performance::Performance;
use super::story::{BEATS_PER_BAR, Story};
use anyhow::{Context, Result};
use procession_core::exchange::midi::{Score, Track, TrackNote, write};
use procession_core::exchange::picture::{Picture, voice_name};
use procession_core::exchange::plan::{Plan, stage_words};
use procession_core::exchange::score;
use procession_core::mode::Mode;
use procession_core::player::channel_of;
use procession_core::time::Beats;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// General MIDI's marimba: 13 in the published list, which counts from 1.
const MARIMBA: u8 = 12;

/// Writes everything, each file beside its place first: where it went.
pub fn leave(folder: &Path, story: &Story, performance: &Performance) -> Result<Vec<PathBuf>> {
    fs::create_dir_all(folder)
        .with_context(|| format!("the folder {} cannot be made", folder.display()))?;
    let modes = modes(performance);
    let mut names: Vec<_> = modes.iter().map(|(at, mode)| (*at, mode.name())).collect();
    if let Some((start, _)) = performance.turning {
        names.insert(1, (start, "turning".to_owned()));
    }
    let title = format!("{}, for mallets", story.title);
    let svg = Picture {
        title: &title,
        process: &performance.process,
        form: &performance.form,
        notes: &performance.notes,
        modes: &names,
        tempo: story.tempo,
        beats_per_bar: BEATS_PER_BAR,
    }
    .to_svg();
    let plan = Plan {
        title: &title,
        process: &performance.process,
        form: &performance.form,
        notes: &performance.notes,
        modes: &modes,
        tempo: story.tempo,
        beats_per_bar: BEATS_PER_BAR,
    }
    .to_text();
    let midi = write(&piece(story, performance, &title))?;
    let sheet = score::Score {
        title: &title,
        process: &performance.process,
        form: &performance.form,
        notes: &performance.notes,
        modes: &modes,
        tempo: story.tempo,
        layout: score::Layout::SharedBeatOne,
        transpositions: &[],
    }
    .to_musicxml();
    [
        ("piece.mid", midi),
        ("plan.png", to_png(&svg)?),
        ("plan.svg", svg.into_bytes()),
        ("plan.txt", plan.into_bytes()),
        ("score.musicxml", sheet.into_bytes()),
    ]
    .into_iter()
    .map(|(name, bytes)| put(&folder.join(name), &bytes))
    .collect()
}

/// The source, the target, and one by one the modes in between.
fn modes(performance: &Performance) -> Vec<(Beats, Mode)> {
    let process = &performance.process;
    let (source, target) = (process.fold().source(), process.fold().target());
    match performance.turning {
        Some((_, end)) => vec![(process.origin(), source), (end, target)],
        None if process.fold().moved() > 0 => vec![(process.origin(), target)],
        None => vec![(process.origin(), source)],
    }
}

/// From the origin on, so that the file begins with the music.
fn piece(story: &Story, performance: &Performance, title: &str) -> Score {
    let process = &performance.process;
    let origin = process.origin();
    let tracks = (0..process.voices()).map(|voice| {
        let notes = performance.notes.iter().filter(|note| note.voice == voice);
        let channel = channel_of(voice, &process.settings().output);
        Track {
            name: voice_name(voice),
            channel,
            program: Some(MARIMBA),
            pan: performance
                .pans
                .get(usize::from(channel.number()))
                .copied()
                .flatten(),
            notes: notes
                .map(|note| TrackNote {
                    on: note.on - origin,
                    off: note.off - origin,
                    key: note.key,
                    velocity: note.velocity,
                })
                .collect(),
        }
    });
    let markers = performance.form.stages.iter().map(|stage| {
        (
            stage.span.start - origin,
            stage_words(stage, &performance.form, process),
        )
    });
    Score {
        name: title.to_owned(),
        tempo: vec![(0.0, story.tempo)],
        metre: vec![(0.0, (BEATS_PER_BAR as u8, 4))],
        markers: markers.collect(),
        tracks: tracks.collect(),
    }
}

/// Drawn with a typeface that is built in: a fresh machine may have none.
fn to_png(svg: &str) -> Result<Vec<u8>> {
    use resvg::{tiny_skia, usvg};
    let mut options = usvg::Options::default();
    let fonts = Arc::make_mut(&mut options.fontdb);
    fonts.load_font_data(epaint_default_fonts::UBUNTU_LIGHT.to_vec());
    fonts.load_font_data(epaint_default_fonts::HACK_REGULAR.to_vec());
    let tree = usvg::Tree::from_str(svg, &options).context("the picture cannot be read back")?;
    let size = tree.size().to_int_size();
    let mut pixels =
        tiny_skia::Pixmap::new(size.width(), size.height()).context("the picture has no size")?;
    resvg::render(
        &tree,
        tiny_skia::Transform::identity(),
        &mut pixels.as_mut(),
    );
    pixels
        .encode_png()
        .context("the picture cannot be written as PNG")
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
