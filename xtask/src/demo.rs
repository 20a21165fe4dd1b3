//! `demo`: the main job in one command.

use anyhow::{Result, bail};
use lexopt::Parser;

/// Not there yet.
pub fn run(_arguments: Parser) -> Result<()> {
    bail!("the demo is not there yet")
}
