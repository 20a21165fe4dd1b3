//! `bench`: the plug-in's cost, as ratios measured in one run.

use anyhow::{Result, bail};
use lexopt::Parser;

/// Not there yet.
pub fn run(_arguments: Parser) -> Result<()> {
    bail!("the bench is not there yet")
}
