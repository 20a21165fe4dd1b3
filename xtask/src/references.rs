//! The outside references: Python libraries, in an environment of their own below `target/`,
//! that check what Procession computes and writes.
//!
//! Every `tests/references/*.py` is a check, unless its name begins with an underscore. It runs
//! at the top of the workspace and passes if it ends with 0.

use crate::{bundle, workspace};
use anyhow::{Context, Result, bail};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

/// Runs every check.
pub fn ask() -> Result<()> {
    let folder = workspace::root().join("tests/references");
    let checks = checks(&folder)?;
    if checks.is_empty() {
        bail!("there is no check in {}", folder.display());
    }
    let python = environment(&folder.join("requirements.txt"))?;
    let mut failed = Vec::new();
    for check in &checks {
        let name = check
            .file_name()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned();
        println!("\nreference {name}");
        let status = Command::new(&python)
            .arg(check)
            .current_dir(workspace::root())
            .env("PYTHONDONTWRITEBYTECODE", "1")
            .env("CARGO_TARGET_DIR", workspace::target()?)
            .status()
            .with_context(|| format!("{} cannot be started", python.display()))?;
        if !status.success() {
            failed.push(name);
        }
    }
    println!(
        "\n{} passed, {} failed",
        checks.len() - failed.len(),
        failed.len()
    );
    if !failed.is_empty() {
        bail!("outside references disagree: {}", failed.join(", "));
    }
    Ok(())
}

fn checks(folder: &Path) -> Result<Vec<PathBuf>> {
    let entries =
        fs::read_dir(folder).with_context(|| format!("{} cannot be read", folder.display()))?;
    let mut checks = Vec::new();
    for entry in entries {
        let path = entry?.path();
        let is_helper = path
            .file_name()
            .is_some_and(|name| name.to_string_lossy().starts_with('_'));
        if path.extension().is_some_and(|extension| extension == "py") && !is_helper {
            checks.push(path);
        }
    }
    checks.sort();
    Ok(checks)
}

/// The Python of the environment, if one has been made.
pub fn python() -> Result<Option<PathBuf>> {
    let home = home()?;
    let python = python_in(&home);
    Ok((home.join(STAMP).exists() && python.exists()).then_some(python))
}

/// Written last, so that an environment whose making was cut short is made again.
const STAMP: &str = "made-for.txt";

fn home() -> Result<PathBuf> {
    Ok(workspace::target()?.join("references-venv"))
}

fn python_in(home: &Path) -> PathBuf {
    match std::env::consts::OS {
        "windows" => home.join("Scripts/python.exe"),
        _ => home.join("bin/python"),
    }
}

/// The environment with just the pinned libraries: made when it is missing, or made for other
/// pins. Where its Python is.
fn environment(requirements: &Path) -> Result<PathBuf> {
    let home = home()?;
    let python = python_in(&home);
    let stamp = home.join(STAMP);
    let wanted = fs::read(requirements)
        .with_context(|| format!("{} cannot be read", requirements.display()))?;
    let works = || speaks(Command::new(&python).arg("--version")).is_ok();
    if fs::read(&stamp).is_ok_and(|made_for| made_for == wanted) && works() {
        return Ok(python);
    }
    println!(
        "\nMaking the references' Python environment in {} ...",
        home.display()
    );
    bundle::remove(&home)?;
    let system = if std::env::consts::OS == "windows" {
        "python"
    } else {
        "python3"
    };
    speaks(Command::new(system).arg("--version")).with_context(|| {
        format!("the outside references need Python 3, and there is no `{system}`: install it (Debian: apt-get install python3 python3-venv)")
    })?;
    speaks(Command::new(system).args(["-m", "venv"]).arg(&home)).context(
        "Python's venv module is missing or fails: install it (Debian: apt-get install python3-venv)",
    )?;
    speaks(
        Command::new(&python)
            .args([
                "-m",
                "pip",
                "install",
                "--quiet",
                "--disable-pip-version-check",
                "--requirement",
            ])
            .arg(requirements),
    )
    .with_context(|| {
        format!(
            "the libraries in {} cannot be installed: check the network, then try again",
            requirements.display()
        )
    })?;
    fs::write(&stamp, wanted).with_context(|| format!("{} cannot be written", stamp.display()))?;
    Ok(python)
}

/// Runs a command quietly; if it fails, the error is the last line it said.
fn speaks(command: &mut Command) -> Result<()> {
    let output = command.output()?;
    if !output.status.success() {
        let said = [output.stderr, output.stdout].concat();
        let said = String::from_utf8_lossy(&said);
        let last = said.lines().rev().find(|line| !line.trim().is_empty());
        bail!("it says: {}", last.unwrap_or("nothing"));
    }
    Ok(())
}
