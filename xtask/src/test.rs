//! `test`: everything there is to check, in one go.

use crate::bundle::{self, Build};
use crate::{references, workspace};
use anyhow::{Result, bail};
use lexopt::Parser;

/// What `test` does.
pub const HELP: &str = "\
cargo xtask test

Builds the plug-in as the tests load it, runs every test of the workspace, and compares what
Procession computes with outside references, Python libraries that are installed into the target
folder the first time. It takes Python 3 with venv. Tests of the window want Xvfb: where there is
neither that nor a screen they are left out, and say so.

To run some tests only: cargo test --package procession-core --test engine_laws
";

/// `test`
pub fn run(arguments: Parser) -> Result<()> {
    crate::no_more(arguments)?;
    // The tests load the built plug-in as a host would.
    let bundles = bundle::make(Build::Debug)?;
    let variables = [("PROCESSION_CLAP", bundles[0].clone().into_os_string())];
    let steps = [
        workspace::cargo(&["test", "--workspace", "--no-fail-fast"], &variables),
        references::ask(),
    ];
    // One step's failure does not hide the other's.
    let failures: Vec<_> = steps
        .into_iter()
        .filter_map(Result::err)
        .map(|error| format!("{error:#}"))
        .collect();
    if failures.is_empty() {
        return Ok(());
    }
    bail!("{}", failures.join("\n"))
}
