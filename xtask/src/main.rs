//! Builds, installs, shows, tests and measures Procession: `cargo xtask help`.

mod bench;
mod bundle;
mod demo;
mod install;
mod references;
mod run;
mod test;
mod workspace;

use anyhow::{Result, bail};
use lexopt::{Arg, Parser};
use std::process::ExitCode;

const HELP: &str = "\
cargo xtask VERB

  bundle [--debug]  build the plug-in as CLAP and VST3 for this system
  install           build, and copy both into your plug-in folders
  run               open the plug-in as a program, with no host
  demo              play a phrase through the plug-in; leaves MIDI, sound, a picture and the plan
  test              run every test, and ask the outside references (needs Python 3)
  bench             measure the plug-in against a bare pass-through
  help              this text
";

fn main() -> ExitCode {
    match obey(Parser::from_env()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("{error:#}");
            ExitCode::FAILURE
        }
    }
}

fn obey(mut arguments: Parser) -> Result<()> {
    let verb = match arguments.next()? {
        Some(Arg::Value(verb)) => verb.to_string_lossy().into_owned(),
        Some(Arg::Long("help") | Arg::Short('h')) | None => "help".to_owned(),
        Some(other) => return Err(other.unexpected().into()),
    };
    match verb.as_str() {
        "bundle" => bundle::run(arguments),
        "install" => install::run(arguments),
        "run" => run::run(arguments),
        "demo" => demo::run(arguments),
        "test" => test::run(arguments),
        "bench" => bench::run(arguments),
        "help" => {
            print!("{HELP}");
            Ok(())
        }
        _ => bail!("there is no verb \"{verb}\"\n\n{HELP}"),
    }
}

/// For verbs that take nothing more.
fn no_more(mut arguments: Parser) -> Result<()> {
    match arguments.next()? {
        Some(argument) => Err(argument.unexpected().into()),
        None => Ok(()),
    }
}
