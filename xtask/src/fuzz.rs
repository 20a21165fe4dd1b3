//! `fuzz`: what may come in from outside, by chance, guided by what code it reaches.

use crate::workspace;
use anyhow::{Context, Result, bail, ensure};
use lexopt::{Arg, Parser, ValueExt};
use std::ffi::OsString;
use std::fs;
use std::path::PathBuf;
use std::process::Command;

/// What `fuzz` does.
pub const HELP: &str = "\
cargo xtask fuzz [TARGET] [--minutes N]

Gives Procession what it does not expect, guided by which code that reaches: files (file), sound
files (sound), phrases in words (words), plans as JSON (plan), saved states (state), and hosts that do
anything in any order (host). Without a TARGET all of them, one after another, for an hour together; --minutes says
how long. It takes a C++ compiler.

It begins with what lies in tests/fuzz/corpus, and keeps what it learns in the target folder. What breaks a
promise is kept under tests/fuzz/found: copy it into the corpus, where every `cargo xtask test` tries it.
";

const TARGETS: [&str; 6] = ["file", "sound", "words", "plan", "state", "host"];

/// Tells this program that cargo calls it in the place of the compiler.
const INSTRUMENTING: &str = "PROCESSION_INSTRUMENTING";

/// What makes a program count which of its edges were passed, and what was compared. The compiler's
/// own options, as any guided fuzzer passes them.
const COUNTING: [&str; 5] = [
    "-Cpasses=sancov-module",
    "-Cllvm-args=-sanitizer-coverage-level=4",
    "-Cllvm-args=-sanitizer-coverage-inline-8bit-counters",
    "-Cllvm-args=-sanitizer-coverage-pc-table",
    "-Cllvm-args=-sanitizer-coverage-trace-compares",
];

/// If cargo calls this program in the place of the compiler: calls that, and has it count.
pub fn compiler() -> Option<Result<()>> {
    std::env::var_os(INSTRUMENTING)?;
    let mut words = std::env::args_os().skip(1);
    let compiler = words.next()?;
    let words: Vec<OsString> = words.collect();
    let counting = if counts(&words) { &COUNTING[..] } else { &[] };
    let status = Command::new(compiler).args(words).args(counting).status();
    Some(match status {
        Ok(status) if status.success() => Ok(()),
        Ok(_) => Err(anyhow::Error::msg("the compiler failed, see above")),
        Err(error) => Err(error).context("the compiler cannot be started"),
    })
}

/// Whether what is compiled is to count: not what only helps to build the rest, with which nothing is
/// linked that counts.
fn counts(words: &[OsString]) -> bool {
    !words.iter().any(|word| word == "build_script_build")
}

/// `fuzz`
pub fn run(mut arguments: Parser) -> Result<()> {
    let (mut chosen, mut minutes) = (None, 60.0_f64);
    while let Some(argument) = arguments.next()? {
        match argument {
            Arg::Long("minutes") => minutes = arguments.value()?.parse()?,
            Arg::Value(word) if chosen.is_none() => chosen = Some(word.string()?),
            other => return Err(other.unexpected().into()),
        }
    }
    ensure!(minutes > 0.0, "--minutes takes a number above 0");
    let chosen: Vec<&str> = match &chosen {
        Some(name) => match TARGETS.iter().find(|target| *target == name) {
            Some(target) => vec![*target],
            None => bail!("no target \"{name}\": one of {}", TARGETS.join(", ")),
        },
        None => TARGETS.to_vec(),
    };
    let program = build()?;
    let seconds = (minutes * 60.0 / chosen.len() as f64).ceil() as u64;
    let failed: Vec<&str> = chosen
        .into_iter()
        .filter_map(|target| match guide(&program, target, seconds) {
            Ok(true) => None,
            Ok(false) => Some(Ok(target)),
            Err(error) => Some(Err(error)),
        })
        .collect::<Result<_>>()?;
    if !failed.is_empty() {
        bail!("{} failed: see tests/fuzz/found", failed.join(", "));
    }
    Ok(())
}

/// The instrumented program. Only this workspace counts; what it stands on is built as ever.
fn build() -> Result<PathBuf> {
    let itself = std::env::current_exe().context("this program cannot find itself")?;
    let variables = [
        ("RUSTC_WORKSPACE_WRAPPER", itself.into_os_string()),
        (INSTRUMENTING, OsString::from("1")),
    ];
    let arguments = [
        "build",
        "--package",
        "procession-fuzz",
        "--features",
        "guided",
    ];
    workspace::cargo(&arguments, &variables)?;
    Ok(workspace::target()?
        .join("debug")
        .join(format!("fuzz{}", std::env::consts::EXE_SUFFIX)))
}

/// One target for so long. Whether it kept every promise.
fn guide(program: &PathBuf, target: &str, seconds: u64) -> Result<bool> {
    let learnt = workspace::target()?.join("fuzz").join(target);
    let found = workspace::root().join("tests/fuzz/found");
    for folder in [&learnt, &found] {
        fs::create_dir_all(folder)
            .with_context(|| format!("{} cannot be made", folder.display()))?;
    }
    println!("{target}, for {seconds} seconds");
    let status = Command::new(program)
        .env("PROCESSION_FUZZ_TARGET", target)
        .arg(&learnt)
        .arg(workspace::root().join("tests/fuzz/corpus").join(target))
        .arg(format!("-max_total_time={seconds}"))
        .arg(format!("-artifact_prefix={}/{target}-", found.display()))
        // Longer for one piece is a promise broken too.
        .args([
            "-timeout=20",
            "-rss_limit_mb=4096",
            "-print_final_stats=1",
            "-verbosity=0",
        ])
        .status()
        .with_context(|| format!("{} cannot be started", program.display()))?;
    Ok(status.success())
}
