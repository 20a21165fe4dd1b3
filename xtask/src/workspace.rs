//! Where things lie, and how cargo is called.

use anyhow::{Context, Result, bail};
use std::ffi::OsString;
use std::path::{Path, PathBuf};
use std::process::Command;

/// The top of the workspace.
pub fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .parent()
        .unwrap_or(Path::new("."))
}

/// Cargo's target folder, wherever the user has put it: this program was built into it.
pub fn target() -> Result<PathBuf> {
    let program = std::env::current_exe().context("this program cannot find itself")?;
    program
        .parent()
        .and_then(Path::parent)
        .map(Path::to_owned)
        .with_context(|| format!("{} does not lie in a target folder", program.display()))
}

/// Runs cargo at the top of the workspace and lets it speak for itself.
pub fn cargo(arguments: &[&str], variables: &[(&str, OsString)]) -> Result<()> {
    let mut command = command(arguments);
    // What cargo told this program about itself must not look like the user's own settings to
    // the next cargo, or it would rebuild what it has.
    for (name, _) in std::env::vars_os() {
        if is_told_by_cargo(&name.to_string_lossy()) {
            command.env_remove(name);
        }
    }
    command.env("CARGO_TARGET_DIR", target()?);
    command.envs(variables.iter().cloned());
    let status = command.status().context("cargo cannot be started")?;
    if !status.success() {
        bail!("`cargo {}` failed, see above", arguments.join(" "));
    }
    Ok(())
}

/// What cargo answers.
pub fn ask_cargo(arguments: &[&str]) -> Result<Vec<u8>> {
    let answer = command(arguments)
        .output()
        .context("cargo cannot be started")?;
    if !answer.status.success() {
        let said = String::from_utf8_lossy(&answer.stderr);
        bail!("`cargo {}` failed: {said}", arguments.join(" "));
    }
    Ok(answer.stdout)
}

/// The system that is built for, as the compiler calls it.
pub fn platform() -> Result<String> {
    let compiler = std::env::var_os("RUSTC").unwrap_or_else(|| "rustc".into());
    let answer = Command::new(compiler).arg("-vV").output();
    let answer = answer.context("rustc cannot be started")?.stdout;
    let told = String::from_utf8_lossy(&answer);
    let host = told.lines().find_map(|line| line.strip_prefix("host: "));
    host.map(str::to_owned)
        .context("rustc does not tell what system it is on")
}

fn command(arguments: &[&str]) -> Command {
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| env!("CARGO").into());
    let mut command = Command::new(cargo);
    command.args(arguments).current_dir(root());
    command
}

fn is_told_by_cargo(name: &str) -> bool {
    const GROUPS: [&str; 3] = ["CARGO_PKG_", "CARGO_MANIFEST_", "CARGO_BIN_"];
    const SINGLE: [&str; 4] = [
        "CARGO_CRATE_NAME",
        "CARGO_PRIMARY_PACKAGE",
        "LD_LIBRARY_PATH",
        "OUT_DIR",
    ];
    GROUPS.iter().any(|group| name.starts_with(group)) || SINGLE.contains(&name)
}
