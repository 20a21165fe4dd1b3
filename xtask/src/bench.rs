//! `bench`: what the plug-in costs, measured so that anybody can measure it again.
//!
//! The clock runs while `process` does, and at no other time. What is compared is measured in turn,
//! piece by piece, and of each piece the best round counts: whatever else the machine did, it did
//! in another. The floor is a bare plug-in of the same framework, with as many parameters.

mod blocks;
mod instances;
mod offline;
mod report;
mod worst;

use crate::bundle::{self, Build};
use crate::workspace;
use anyhow::{Context, Result, bail};
use lexopt::{Arg, Parser};
use procession_tests::host::screen::{self, Screen};
use report::{Report, Table};
use std::env;
use std::env::consts::{DLL_PREFIX, DLL_SUFFIX};
use std::path::PathBuf;
use std::process::Command;

/// What `bench` does.
pub const HELP: &str = "\
cargo xtask bench [--readme]

Measures the plug-in in a release build, and tells it as tables in Markdown: what a block takes, beside
a bare plug-in of the same framework with as many parameters; the same in blocks of other lengths, by
notes and by copies; the worst block there is, of all that can change at once; what an instance takes,
and opening it; how fast a piece is unrolled and written, beside the scripts that one would write with
other libraries (if cargo xtask test has installed those). It takes some three minutes once all is
built; the less else the machine does meanwhile, the better.

  --readme  put the tables into README.md, in the place of those that are there
";

/// Of the tables in the README.
const MARKS: [&str; 2] = ["<!-- bench -->\n", "<!-- end of bench -->\n"];

/// `bench`
pub fn run(mut arguments: Parser) -> Result<()> {
    let mut into_readme = false;
    while let Some(argument) = arguments.next()? {
        match argument {
            Arg::Long("readme") => into_readme = true,
            other => return Err(other.unexpected().into()),
        }
    }
    if cfg!(debug_assertions) {
        return optimised(into_readme);
    }
    let text = measured()?.markdown();
    println!("\n{text}");
    if into_readme {
        let path = workspace::root().join("README.md");
        let readme = std::fs::read_to_string(&path).context("README.md cannot be read")?;
        let readme = between(&readme, &text).context("README.md has no place for the tables")?;
        std::fs::write(&path, readme).context("README.md cannot be written")?;
        println!("README.md has them.");
    }
    Ok(())
}

/// The same program, built with optimising, so that what is measured beside the plug-in is not
/// slowed down; on a screen that nobody sees, if there is one to be had, to open the window on.
fn optimised(into_readme: bool) -> Result<()> {
    workspace::cargo(&["build", "--release", "--package", "xtask"], &[])?;
    let program = workspace::target()?.join("release/xtask");
    let mut command = Command::new(program.with_extension(env::consts::EXE_EXTENSION));
    command.arg("bench");
    if into_readme {
        command.arg("--readme");
    }
    let status = match Screen::start(1400, 1000) {
        Some(screen) => screen.run(&mut command),
        None => command.status(),
    };
    match status.context("the bench cannot be started")?.success() {
        true => Ok(()),
        false => bail!("the bench failed, see above"),
    }
}

/// A text with another in the place of what stands between the marks.
fn between(text: &str, new: &str) -> Option<String> {
    let (before, rest) = text.split_once(MARKS[0])?;
    let (_, after) = rest.split_once(MARKS[1])?;
    Some([before, MARKS[0], "\n", new, "\n", MARKS[1], after].concat())
}

fn measured() -> Result<Report> {
    let clap = bundle::make_clap(Build::Release)?;
    let bare = bare()?;
    let mut report = Report::new(machine());
    let say = |what: &str| println!("{what} ...");
    // First of all, for a library is opened once.
    say("opening");
    let opening = instances::opening(&clap)?;
    say("an hour in which nothing may be asked for");
    let hour = instances::guarded_hour()?;
    say("blocks");
    report.add(blocks::side_by_side(&bare, &clap, screen::is_inside())?);
    report.add(blocks::lengths(&bare, &clap)?);
    report.add(blocks::copies_and_notes(&clap)?);
    say("all that can change at once");
    report.add(worst::table(&clap)?);
    say("instances");
    let mut rows = Table::new("An instance, and a piece", ["", ""]);
    rows.extend([hour]);
    rows.extend(opening);
    rows.extend(instances::many(&clap)?);
    say("offline");
    rows.extend(offline::rows()?);
    report.add(rows);
    Ok(report)
}

/// Builds the bare plug-in: where it is.
fn bare() -> Result<PathBuf> {
    workspace::cargo(&["build", "--release", "--package", "procession-bare"], &[])?;
    let library = format!("{DLL_PREFIX}procession_bare{DLL_SUFFIX}");
    Ok(workspace::target()?.join("release").join(library))
}

/// What this is measured on.
fn machine() -> String {
    let told = std::fs::read_to_string("/proc/cpuinfo").unwrap_or_default();
    let name = told.lines().find_map(|line| {
        let (key, value) = line.split_once(':')?;
        (key.trim() == "model name").then(|| value.trim().to_owned())
    });
    let name = name.unwrap_or_else(|| env::consts::ARCH.to_owned());
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    format!("{name}, {cores} cores, {}", env::consts::OS)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tables_take_the_place_of_those_that_are_there() {
        let text = "a\n<!-- bench -->\nold\n<!-- end of bench -->\nb\n";
        let put = between(text, "new").expect("there is a place");
        assert_eq!(put, "a\n<!-- bench -->\n\nnew\n<!-- end of bench -->\nb\n");
        assert_eq!(between(&put, "new"), Some(put.clone()));
        assert_eq!(between("a\n", "new"), None);
    }
}
