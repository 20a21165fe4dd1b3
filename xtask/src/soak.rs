//! `soak`: hours of everything at once, twice.

use crate::bundle::{self, Build};
use anyhow::{Result, bail, ensure};
use lexopt::{Arg, Parser, ValueExt};
use procession_tests::host::Library;
use procession_tests::soak::soak;

/// What `soak` does.
pub const HELP: &str = "\
cargo xtask soak [--hours N]

Plays ten simulated hours (or N) through the built plug-in, twice, as fast as the machine can: 8
copies, every parameter automated, tempo ramps, loops and leaps, notes coming in, the project saved
and opened meanwhile. Every ten minutes of them no note may hang, and a project far into the song
must play as on a new instance; both times the same must leave, and the second time no more memory
may be in use than after the first.
";

/// By how many MiB the second time may take more memory than the first. What is measured is what the
/// system has given out, in pages, with what the allocator keeps.
const MORE: f64 = 8.0;

/// `soak`
pub fn run(mut arguments: Parser) -> Result<()> {
    let mut hours = 10.0_f64;
    while let Some(argument) = arguments.next()? {
        match argument {
            Arg::Long("hours") => hours = arguments.value()?.parse()?,
            other => return Err(other.unexpected().into()),
        }
    }
    ensure!(hours > 0.0, "--hours takes a number above 0");
    let bundles = bundle::make(Build::Release)?;
    let library = Library::open(&bundles[0])?;
    let mut soaked = Vec::new();
    for round in ["once", "twice"] {
        let mut told = 0.0;
        let result = soak(
            || library.first_plugin(),
            hours * 3_600.0,
            |seconds| {
                if seconds - told >= 3_600.0 {
                    told = seconds;
                    println!(
                        "{round}: {:.0} hours, {} in use",
                        seconds / 3_600.0,
                        told_memory()
                    );
                }
            },
        )?;
        soaked.push((result, memory()));
    }
    let [(first, in_use), (second, in_use_then)] = soaked[..] else {
        bail!("it was soaked twice");
    };
    ensure!(first == second, "once {first:?}, twice {second:?}");
    if let (Some(once), Some(twice)) = (in_use, in_use_then) {
        ensure!(twice < once + MORE, "{once:.1} MiB in use, then {twice:.1}");
    }
    println!(
        "{hours} hours, twice the same: {} notes, none hung, {} projects played as on a new instance; {} in use",
        first.notes,
        first.stocktakings,
        told_memory(),
    );
    Ok(())
}

/// MiB that this program has in memory, where the system tells.
fn memory() -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status
        .lines()
        .find_map(|line| line.strip_prefix("VmRSS:"))?;
    let kib: f64 = line.trim().strip_suffix(" kB")?.trim().parse().ok()?;
    Some(kib / 1_024.0)
}

fn told_memory() -> String {
    memory().map_or("unknown memory".to_owned(), |mib| format!("{mib:.1} MiB"))
}
