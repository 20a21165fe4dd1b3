//! What an instance takes: opening it, memory, and none of that once audio runs.

use super::blocks::{EIGHT, FRAMES, Piece, holding, rolling, started};
use super::report::micros;
use crate::bundle::{self, Build};
use anyhow::{Context, Result, ensure};
use procession_tests::host::{Library, Prepared, Setup};
use procession_tests::staging::sixteenths;
use std::path::Path;
use std::time::Instant;

type Row = (String, String);

/// How many at once.
const INSTANCES: usize = 200;

/// What a host does that looks what is there, and then opens a project.
pub fn opening(clap: &Path) -> Result<Vec<Row>> {
    let begun = Instant::now();
    let library = Library::open(clap)?;
    ensure!(!library.ids().is_empty(), "the library holds no plug-in");
    let scanned = begun.elapsed();
    let begun = Instant::now();
    let mut plugin = library.first_plugin()?;
    let count = plugin.parameters().len();
    ensure!(count > 0, "the plug-in has no parameters");
    let made = begun.elapsed();
    let phrase = sixteenths(&"D4 ".repeat(64));
    let project = procession_tests::staging::project(&phrase, 0.0, true);
    let begun = Instant::now();
    plugin.load(&project)?;
    let mut plugin = plugin.activate(Setup::default())?.start()?;
    let opened = begun.elapsed();
    // It plays: the library was opened, and not put off.
    let heard = plugin.clock(&Prepared::of(rolling(FRAMES, 0.0, 1.0)))?;
    ensure!(heard.left > 0, "the project does not play");
    let millis = |what: &str, took: std::time::Duration| {
        (
            what.to_owned(),
            format!("{:.1} ms", took.as_secs_f64() * 1e3),
        )
    };
    Ok(vec![
        millis("the library opened and looked through", scanned),
        millis("the first instance made, its parameters read", made),
        millis("a project loaded, and ready to play", opened),
    ])
}

/// Time and memory of one, from that of many.
pub fn many(clap: &Path) -> Result<Vec<Row>> {
    let library = Library::open(clap)?;
    let _warm = started(&library)?;
    let before = resident()?;
    let begun = Instant::now();
    let instances = (0..INSTANCES)
        .map(|_| started(&library))
        .collect::<Result<Vec<_>>>()?;
    let each = begun.elapsed().as_secs_f64() / INSTANCES as f64;
    let memory = (resident()? - before) / INSTANCES as f64;
    drop(instances);
    Ok(vec![(
        format!("one more instance, of {INSTANCES}"),
        format!("{} us, {memory:.2} MiB", micros(each)),
    )])
}

/// An hour in the build that ends at the first thing that the audio thread asks the system for.
pub fn guarded_hour() -> Result<Row> {
    let clap = bundle::make_clap(Build::Debug)?;
    let library = Library::open(&clap)?;
    // At 120 beats a minute; with the mallets, five minutes of it.
    for (audition, beats) in [(false, 6_600.0), (true, 600.0)] {
        let mut plugin = holding(&library, Piece { audition, ..EIGHT })?;
        let mut at = 0.0;
        while at < beats {
            let heard = plugin.clock(&Prepared::of(rolling(1024, at, at + 100.0)))?;
            ensure!(heard.left > 0, "nothing was played");
            at += 100.0;
        }
    }
    Ok((
        "what the audio thread asks the system for in an hour of 8 copies".to_owned(),
        "nothing".to_owned(),
    ))
}

/// Resident memory of this process in MiB.
fn resident() -> Result<f64> {
    let status = std::fs::read_to_string("/proc/self/status")
        .context("memory can only be measured where /proc/self/status tells it (Linux)")?;
    let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:"));
    let kib = line.and_then(|line| line.split_whitespace().next()?.parse::<f64>().ok());
    Ok(kib.context("/proc/self/status tells no VmRSS")? / 1024.0)
}
