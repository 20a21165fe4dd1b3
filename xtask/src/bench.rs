//! `bench`: ratios, measured side by side in one run.
//!
//! Each figure is the best of several rounds, with the two sides of a ratio taking turns, so that
//! whatever else the machine does falls on both.

mod worst;

use crate::bundle::{self, Build};
use anyhow::{Context, Result, bail};
use lexopt::Parser;
use procession_core::phrase::Phrase;
use procession_core::process::Process;
use procession_core::settings::{Settings, Shifts};
use procession_core::time::Span;
use procession_core::unrolling::unroll;
use procession_tests::host::{Block, Library, Plugin, Processing, Setup, Transport};
use procession_tests::pass_through;
use std::path::Path;
use std::time::{Duration, Instant};

const RATE: f64 = 48_000.0;
const FRAMES: u32 = 64;
const TEMPO: f64 = 120.0;
const BLOCKS: u32 = 20_000;
const ROUNDS: usize = 7;

/// How many of the worst blocks are told.
const WORST: usize = 8;

/// A phrase of 32 notes in 32 steps.
const PHRASE: &str = "D4 A4 F4 C5 E4 B4 D5 A4 E5 C5 G4 F4 D4 E4 A4 G4 \
                      C5 B4 F4 A4 D5 E5 G4 C5 A4 F4 E4 D4 B4 G4 A4 C5";

/// What `bench` does.
pub const HELP: &str = "\
cargo xtask bench

Measures the plug-in in a release build: the time of a block against a bare pass-through, idle and
playing, early and late in a song; the worst block there is, of all that can change at once; notes a
second offline; memory of an instance. The two sides of a
ratio are measured in turn in the same run, so that whatever else the machine does falls on both.
";

/// `bench`
pub fn run(arguments: Parser) -> Result<()> {
    crate::no_more(arguments)?;
    let clap = &bundle::make_clap(Build::Release)?;
    println!("a block is {FRAMES} frames at {RATE} Hz; 8 copies of a 32-note phrase\n");
    let bare = pass_through::library()?;
    let mut bare = started(&bare)?;
    let mut idle = idle(clap)?;
    let mut playing = holding(clap)?;
    // Half a minute in, the copies are on their way.
    let early = 60.0;
    // Bar 100 000 of four beats.
    let late = 400_000.0;
    let mut best = [Duration::MAX; 4];
    for _ in 0..ROUNDS {
        best[0] = best[0].min(time(&mut bare, early, false)?);
        best[1] = best[1].min(time(&mut idle, early, false)?);
        best[2] = best[2].min(time(&mut playing, early, true)?);
        best[3] = best[3].min(time(&mut playing, late, true)?);
    }
    let [bare, idle, early, late] = best.map(|time| time.as_secs_f64() / f64::from(BLOCKS) * 1e6);
    println!("bare pass-through        {bare:8.3} us a block");
    println!(
        "idle                     {idle:8.3} us a block  {:5.2} x the pass-through",
        idle / bare
    );
    println!(
        "playing, bar 16          {early:8.3} us a block  {:5.2} x the pass-through",
        early / bare
    );
    println!(
        "playing, bar 100 000     {late:8.3} us a block  {:5.2} x bar 16",
        late / early
    );
    println!(
        "a real-time block lasts  {:8.3} us",
        f64::from(FRAMES) / RATE * 1e6
    );
    let real = f64::from(FRAMES) / RATE * 1e6;
    println!("\nat worst, 512 notes, 8 copies that grow, 16 mode changes at stages 200 to 215:");
    for (what, took) in worst::blocks(clap)?.iter().take(WORST) {
        let took = took.as_secs_f64() * 1e6;
        println!(
            "  {what:36} {took:8.1} us  {:5.1} % of a real-time block",
            took / real * 100.0
        );
    }
    println!(
        "\noffline                  {:8.2} million notes a second",
        unrolled() / 1e6
    );
    println!("an instance              {:8.2} MiB", instance(clap)?);
    Ok(())
}

fn started(library: &Library) -> Result<Plugin<Processing>> {
    Ok(library
        .first_plugin()?
        .activate(Setup::default())?
        .start()?)
}

fn idle(clap: &Path) -> Result<Plugin<Processing>> {
    started(&Library::open(clap)?)
}

/// The phrase has been played in and is held.
fn holding(clap: &Path) -> Result<Plugin<Processing>> {
    let mut plugin = idle(clap)?;
    for (id, value) in [
        ("copies", "8"),
        ("length", "32"),
        ("shifts", "Endless"),
        ("dwell", "1"),
    ] {
        plugin.set(id, value)?;
    }
    let phrase = Phrase::from_text(PHRASE, 0.25)?;
    let mut session = procession_tests::session::Session::new(plugin).tempo(TEMPO);
    for note in phrase.notes() {
        session.note(note.onset, 0.2, u16::from(note.key.number()), 0.7);
    }
    session.automate(8.0, "hold", "On")?;
    session.run_to(16.0)?;
    Ok(session.into_plugin())
}

/// The time that a stretch of blocks from `position` on takes; whether it `sounds` is checked.
fn time(plugin: &mut Plugin<Processing>, position: f64, sounds: bool) -> Result<Duration> {
    let beats_a_block = f64::from(FRAMES) * TEMPO / (60.0 * RATE);
    let blocks: Vec<Block> = (0..BLOCKS)
        .map(|block| {
            let at = position + f64::from(block) * beats_a_block;
            Block::of(FRAMES).transport(Transport::rolling(TEMPO).at(at))
        })
        .collect();
    let mut events = 0;
    let begun = Instant::now();
    for block in &blocks {
        events += plugin.process(block)?.len();
    }
    let took = begun.elapsed();
    if (events > 0) != sounds {
        bail!("{events} events were heard, so this would have measured something else");
    }
    Ok(took)
}

/// Notes a second, an hour of eight voices at 120.
fn unrolled() -> f64 {
    let phrase = Phrase::from_text(PHRASE, 0.25).expect("these words are notes");
    let mut settings = Settings::default();
    settings.motion.copies = 7;
    settings.motion.shifts = Shifts::Endless;
    let process = Process::new(phrase, settings, 0.0);
    let hour = Span::new(0.0, 7200.0);
    (0..ROUNDS)
        .map(|_| {
            let begun = Instant::now();
            let notes = unroll(&process, hour).map(std::hint::black_box).count();
            notes as f64 / begun.elapsed().as_secs_f64()
        })
        .fold(0.0, f64::max)
}

/// Resident memory of one instance, from that of many.
fn instance(clap: &Path) -> Result<f64> {
    const INSTANCES: usize = 32;
    let library = Library::open(clap)?;
    let _warm = started(&library)?;
    let before = resident()?;
    let _instances: Vec<_> = (0..INSTANCES)
        .map(|_| started(&library))
        .collect::<Result<_>>()?;
    Ok((resident()? - before) / INSTANCES as f64)
}

/// Resident memory of this process in MiB.
fn resident() -> Result<f64> {
    let status = std::fs::read_to_string("/proc/self/status")
        .context("memory can only be measured where /proc/self/status tells it (Linux)")?;
    let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:"));
    let kib = line.and_then(|line| line.split_whitespace().next()?.parse::<f64>().ok());
    Ok(kib.context("/proc/self/status tells no VmRSS")? / 1024.0)
}
