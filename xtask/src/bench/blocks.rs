//! What a block takes.

use super::report::{Table, micros};
use anyhow::{Result, ensure};
use procession_core::note::{Key, Note, Velocity};
use procession_core::phrase::Phrase;
#[cfg(target_os = "linux")]
use procession_tests::host::Window;
use procession_tests::host::{Block, Library, Plugin, Prepared, Processing, Setup, Transport};
use procession_tests::staging::project;
use std::path::Path;
use std::time::Duration;

/// Hertz, and beats a minute.
pub const RATE: f64 = 48_000.0;
const TEMPO: f64 = 120.0;

/// Frames of a block, where nothing else is said.
pub const FRAMES: u32 = 64;

/// Beats of 100 000 bars of four.
const LATE: f64 = 400_000.0;

/// Beats that are played before those that count, so that what rings has begun to.
const LEAD: f64 = 2.0;

/// Pieces that what counts is cut into, and rounds of which the best of each counts.
const PIECES: usize = 16;
const ROUNDS: usize = 9;
const FEWER_ROUNDS: usize = 4;

/// Beats of the minute in which the worst block is looked for, so often.
const MINUTE: f64 = 120.0;
const WORST_ROUNDS: usize = 3;

/// What a plug-in does.
#[derive(Clone, Copy)]
pub struct Piece {
    pub copies: usize,
    pub notes: usize,
    pub audition: bool,
}

/// Eight copies of a phrase of 32 sixteenths.
pub const EIGHT: Piece = Piece {
    copies: 8,
    notes: 32,
    audition: false,
};

pub fn started(library: &Library) -> Result<Plugin<Processing>> {
    let plugin = library.first_plugin()?.activate(Setup::default())?;
    Ok(plugin.start()?)
}

/// A plug-in that holds a phrase of sixteenths from the beginning of the song.
pub fn holding(library: &Library, piece: Piece) -> Result<Plugin<Processing>> {
    let mut plugin = started(library)?;
    plugin.load(&project(&sixteenths(piece.notes)?, 0.0, true))?;
    let copies = piece.copies.to_string();
    let audition = if piece.audition { "-10 dB" } else { "Off" };
    for (id, value) in [
        ("copies", copies.as_str()),
        ("shifts", "Endless"),
        ("dwell", "1"),
        ("audition", audition),
    ] {
        plugin.set(id, value)?;
    }
    Ok(plugin)
}

fn sixteenths(notes: usize) -> Result<Phrase> {
    let note = |place: usize| Note {
        onset: 0.25 * place as f64,
        length: 0.2,
        key: Key::by_octave(57 + (place * 7 % 24) as i32),
        velocity: Velocity::new(0.7),
        said: None,
    };
    Ok(Phrase::new((0..notes).map(note), 0.25 * notes as f64)?)
}

/// Blocks of so many frames, from one place of the song to another.
pub fn rolling(frames: u32, from: f64, to: f64) -> Vec<Block> {
    let beats = f64::from(frames) * TEMPO / (60.0 * RATE);
    let blocks = ((to - from) / beats).floor() as usize;
    let block = |block: usize| {
        let at = from + block as f64 * beats;
        Block::of(frames).transport(Transport::rolling(TEMPO).at(at))
    };
    (0..blocks).map(block).collect()
}

/// What is measured of a plug-in, piece by piece.
pub struct Course {
    plugin: Plugin<Processing>,
    lead: Prepared,
    pieces: Vec<(Prepared, Duration)>,
    left: usize,
}

impl Course {
    /// Blocks of so many frames, from a place of the song on.
    pub fn new(plugin: Plugin<Processing>, frames: u32, from: f64) -> Self {
        // Two bars; a block a frame takes a fraction of that to tell as much.
        let beats = if frames == 1 { 2.0 } else { 8.0 };
        let counts = from + LEAD;
        let blocks = rolling(frames, counts, counts + beats);
        let pieces = blocks.chunks(blocks.len().div_ceil(PIECES));
        Self {
            plugin,
            lead: Prepared::of(rolling(FRAMES, from, counts)),
            pieces: pieces
                .map(|blocks| (Prepared::of(blocks.iter().cloned()), Duration::MAX))
                .collect(),
            left: 0,
        }
    }

    /// Plays it once more.
    pub fn round(&mut self) -> Result<()> {
        self.plugin.clock(&self.lead)?;
        for (blocks, best) in &mut self.pieces {
            let clocked = self.plugin.clock(blocks)?;
            *best = clocked.mean.min(*best);
            self.left += clocked.left;
        }
        Ok(())
    }

    /// Seconds a block. Whether events were left is checked: if not, something else was measured.
    pub fn seconds(&self, leaves: bool) -> Result<f64> {
        ensure!(
            (self.left > 0) == leaves,
            "{} events were left, so something else was measured",
            self.left
        );
        let each = self.pieces.iter().map(|(blocks, best)| {
            let blocks = blocks.len() as f64;
            (best.as_secs_f64() * blocks, blocks)
        });
        let (seconds, blocks) = each.fold((0.0, 0.0), |all, one| (all.0 + one.0, all.1 + one.1));
        Ok(seconds / blocks)
    }
}

/// Plays all of them so often, in turn.
fn all_rounds(courses: &mut [Course], rounds: usize) -> Result<()> {
    for _ in 0..rounds {
        courses.iter_mut().try_for_each(Course::round)?;
    }
    Ok(())
}

/// A block of the usual length, doing this and that, beside the floor.
pub fn side_by_side(bare: &Path, clap: &Path, has_screen: bool) -> Result<Table> {
    let (bare, clap) = (Library::open(bare)?, Library::open(clap)?);
    let heard = Piece {
        audition: true,
        ..EIGHT
    };
    let mut floor = started(&bare)?;
    let mut idle = started(&clap)?;
    let parameters = (floor.parameters().len(), idle.parameters().len());
    ensure!(
        parameters.0 == parameters.1,
        "the bare plug-in has {} parameters, Procession {}",
        parameters.0,
        parameters.1
    );
    let at = |plugin, from| Course::new(plugin, FRAMES, from);
    let mut named = vec![
        (
            format!("a bare plug-in with {} parameters", parameters.0),
            at(floor, 0.0),
        ),
        ("idle".to_owned(), at(idle, 0.0)),
        (
            "8 copies, from bar 1".to_owned(),
            at(holding(&clap, EIGHT)?, 0.0),
        ),
        (
            "8 copies, from bar 100 000".to_owned(),
            at(holding(&clap, EIGHT)?, LATE),
        ),
        (
            "8 copies, audition on".to_owned(),
            at(holding(&clap, heard)?, 0.0),
        ),
    ];
    let window = if has_screen {
        let mut plugin = holding(&clap, EIGHT)?;
        let window = open(&mut plugin)?;
        named.push(("8 copies, window open".to_owned(), at(plugin, 0.0)));
        window
    } else {
        None
    };
    let (names, mut courses): (Vec<_>, Vec<_>) = named.into_iter().unzip();
    all_rounds(&mut courses, ROUNDS)?;
    let floor = courses[0].seconds(false)?;
    let mut table = Table::new(
        format!("A block of {FRAMES} frames at 48 kHz (it lasts 1333 us), 32 notes:"),
        ["", "us", "x bare"],
    );
    for (place, (name, course)) in names.into_iter().zip(&courses).enumerate() {
        let seconds = course.seconds(place > 1)?;
        table.row([name, micros(seconds), format!("{:.2}", seconds / floor)]);
    }
    if let (Some(window), Some(last)) = (window, courses.last_mut()) {
        close(window, &mut last.plugin)?;
    }
    let worst = worst_of_a_minute(&clap, heard)?;
    table.row([
        "the worst of a minute of that, audition on".to_owned(),
        micros(worst),
        String::new(),
    ]);
    Ok(table)
}

#[cfg(target_os = "linux")]
fn open(plugin: &mut Plugin<Processing>) -> Result<Option<Window>> {
    let window = Window::open(plugin)?;
    // What it is drawn with is made ready once.
    plugin.clock(&Prepared::of(rolling(FRAMES, 0.0, 8.0)))?;
    std::thread::sleep(Duration::from_secs(2));
    Ok(Some(window))
}

/// On X11 only.
#[cfg(not(target_os = "linux"))]
struct Window;

#[cfg(not(target_os = "linux"))]
fn open(_: &mut Plugin<Processing>) -> Result<Option<Window>> {
    Ok(None)
}

#[cfg(not(target_os = "linux"))]
fn close(_: Window, _: &mut Plugin<Processing>) -> Result<()> {
    Ok(())
}

#[cfg(target_os = "linux")]
fn close(window: Window, plugin: &mut Plugin<Processing>) -> Result<()> {
    Ok(window.close(plugin)?)
}

/// The longest that this thread worked for a block, of many; of each, the best round counts.
fn worst_of_a_minute(clap: &Library, piece: Piece) -> Result<f64> {
    let mut plugin = holding(clap, piece)?;
    let lead = Prepared::of(rolling(FRAMES, 0.0, LEAD));
    let blocks = Prepared::of(rolling(FRAMES, LEAD, LEAD + MINUTE));
    let mut best = vec![Duration::MAX; blocks.len()];
    for _ in 0..WORST_ROUNDS {
        plugin.clock(&lead)?;
        for (best, took) in best.iter_mut().zip(plugin.clock_each(&blocks)?) {
            *best = took.min(*best);
        }
    }
    Ok(best.into_iter().max().unwrap_or_default().as_secs_f64())
}

/// Blocks of other lengths.
pub fn lengths(bare: &Path, clap: &Path) -> Result<Table> {
    const LENGTHS: [u32; 5] = [1, 16, 64, 512, 4096];
    let (bare, clap) = (Library::open(bare)?, Library::open(clap)?);
    let heard = Piece {
        audition: true,
        ..EIGHT
    };
    let mut table = Table::new(
        "Blocks of other lengths, in us a block:",
        ["frames", "bare", "idle", "8 copies", "audition on"],
    );
    for frames in LENGTHS {
        let mut courses = [
            started(&bare)?,
            started(&clap)?,
            holding(&clap, EIGHT)?,
            holding(&clap, heard)?,
        ]
        .map(|plugin| Course::new(plugin, frames, 0.0));
        all_rounds(&mut courses, FEWER_ROUNDS)?;
        let mut row = vec![frames.to_string()];
        for (place, course) in courses.iter().enumerate() {
            row.push(micros(course.seconds(place > 1)?));
        }
        table.row(row);
    }
    Ok(table)
}

/// How what a block takes grows.
pub fn copies_and_notes(clap: &Path) -> Result<Table> {
    const NOTES: [usize; 5] = [1, 8, 32, 128, 512];
    const COPIES: [usize; 5] = [0, 1, 2, 4, 8];
    let clap = Library::open(clap)?;
    let columns = COPIES.iter().map(|copies| match copies {
        1 => "1 copy".to_owned(),
        _ => format!("{copies} copies"),
    });
    let mut table = Table::new(
        format!("By notes, all sixteenths, and copies, in us a block of {FRAMES} frames:"),
        std::iter::once("notes".to_owned()).chain(columns),
    );
    for notes in NOTES {
        let plugin = |copies| {
            let piece = Piece {
                copies,
                notes,
                audition: false,
            };
            Ok(Course::new(holding(&clap, piece)?, FRAMES, 0.0))
        };
        let mut courses = COPIES
            .iter()
            .map(|copies| plugin(*copies))
            .collect::<Result<Vec<_>>>()?;
        all_rounds(&mut courses, FEWER_ROUNDS)?;
        let mut row = vec![notes.to_string()];
        for course in &courses {
            row.push(micros(course.seconds(true)?));
        }
        table.row(row);
    }
    Ok(table)
}
