//! `run`: the same plug-in as a program of its own, for those with no host at hand.

use crate::workspace;
use anyhow::{Context, Result, bail};
use lexopt::Parser;
use std::env::consts::{EXE_SUFFIX, OS};
use std::ffi::OsString;
use std::process::Command;

/// What `run` does and understands.
pub const HELP: &str = "\
cargo xtask run [--debug] [WORDS OF THE PROGRAM ...]

Builds Procession as a program and opens it, on the audio and MIDI of the system. Where there are
none it opens all the same, silent. Audition starts on, quietly. Song, project, and the state of
audio and MIDI are in its window; close it to end the program.

  --debug            build quickly; the sound may stutter
  --project FILE     open this project
  --midi-input NAME  let this keyboard in; an empty NAME lists those there are
  --tempo 108        in quarter notes a minute, 20 to 300
  --backend dummy    silent
  -- --help          all that the program itself understands
";

/// What the program needs on Linux to be built: what `pkg-config` calls it, and Debian's package.
const LIBRARIES: [(&str, &str); 2] = [("alsa", "libasound2-dev"), ("jack", "libjack-jackd2-dev")];

const PROGRAM: &str = "procession-standalone";

/// `run [--debug] [words of the program]`
pub fn run(arguments: Parser) -> Result<()> {
    let wishes = Wishes::read(arguments)?;
    if OS == "linux" {
        check_packages(is_there)?;
    }
    let mut build = vec![
        "build",
        "--package",
        "procession",
        "--features",
        "standalone",
    ];
    build.extend(["--bin", PROGRAM]);
    build.extend((!wishes.debug).then_some("--release"));
    workspace::cargo(&build, &[])?;
    let folder = if wishes.debug { "debug" } else { "release" };
    let program = workspace::target()?
        .join(folder)
        .join(format!("{PROGRAM}{EXE_SUFFIX}"));
    let status = Command::new(&program)
        .args(wishes.words)
        .status()
        .with_context(|| format!("{} cannot be started", program.display()))?;
    if !status.success() {
        bail!(
            "the program ended with an error, see above: it needs a screen, and the audio system if you named one"
        );
    }
    Ok(())
}

/// What the user asked for.
#[derive(Debug, Default, PartialEq)]
struct Wishes {
    debug: bool,
    /// All that is the program's own.
    words: Vec<OsString>,
}

impl Wishes {
    fn read(mut arguments: Parser) -> Result<Self> {
        let mut wishes = Self::default();
        let mut is_for_program = false;
        for word in arguments.raw_args()? {
            match word.to_str() {
                Some("--") if !is_for_program => is_for_program = true,
                Some("--debug") if !is_for_program => wishes.debug = true,
                _ => wishes.words.push(word),
            }
        }
        Ok(wishes)
    }
}

/// Names what is missing before cargo fills the screen with it.
fn check_packages(is_there: impl Fn(&str) -> bool) -> Result<()> {
    let missing = LIBRARIES.iter().filter(|(library, _)| !is_there(library));
    let missing: Vec<_> = missing.map(|(_, package)| *package).collect();
    if missing.is_empty() {
        return Ok(());
    }
    bail!(
        "the program needs what ALSA and JACK give to those who build on them, found by pkg-config.\n\
         Missing here: {0}. On Debian: apt-get install pkg-config {0}\n\
         The plug-in itself needs none of it: cargo xtask install",
        missing.join(" ")
    )
}

/// Asks `pkg-config`. If there is none, nothing is there for whoever builds.
fn is_there(library: &str) -> bool {
    let asked = Command::new("pkg-config")
        .args(["--exists", library])
        .status();
    asked.is_ok_and(|status| status.success())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wishes(words: &[&str]) -> Wishes {
        Wishes::read(Parser::from_args(words)).unwrap()
    }

    #[test]
    fn what_is_not_ours_goes_to_the_program() {
        let asked = wishes(&["--debug", "--backend", "dummy", "--tempo", "108"]);
        assert!(asked.debug);
        assert_eq!(asked.words, ["--backend", "dummy", "--tempo", "108"]);
    }

    #[test]
    fn behind_two_dashes_all_goes_to_the_program() {
        let programs = wishes(&["--", "--help", "--debug", "--"]);
        assert!(!programs.debug);
        assert_eq!(programs.words, ["--help", "--debug", "--"]);
    }

    #[test]
    fn what_is_missing_is_named_with_the_remedy() {
        assert!(check_packages(|_| true).is_ok());
        let refusal = check_packages(|library| library == "jack").unwrap_err();
        let refusal = refusal.to_string();
        assert!(refusal.contains("apt-get install pkg-config libasound2-dev"));
        assert!(!refusal.contains("libjack"), "{refusal}");
    }
}
