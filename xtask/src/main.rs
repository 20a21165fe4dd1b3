//! Builds, installs, shows, tests and measures Procession: `cargo xtask help`.

mod bench;
mod bundle;
mod demo;
mod fuzz;
mod install;
mod notices;
mod references;
mod run;
mod soak;
mod test;
mod workspace;

use anyhow::{Error, Result, bail};
use lexopt::{Arg, Parser};
use std::ffi::OsString;
use std::process::ExitCode;

/// A command of `cargo xtask`, and how it explains itself.
struct Verb {
    name: &'static str,
    /// In a few words, for the list.
    does: &'static str,
    /// What it does, leaves and understands.
    help: &'static str,
    run: fn(Parser) -> Result<()>,
}

const VERBS: [Verb; 8] = [
    Verb {
        name: "demo",
        does: "play a phrase through the plug-in; leaves MIDI, sound, pictures, a score and the plan",
        help: demo::HELP,
        run: demo::run,
    },
    Verb {
        name: "test",
        does: "run every test, and ask the outside references (needs Python 3)",
        help: test::HELP,
        run: test::run,
    },
    Verb {
        name: "run",
        does: "open the plug-in as a program, with no host",
        help: run::HELP,
        run: run::run,
    },
    Verb {
        name: "install",
        does: "build, and copy CLAP and VST3 into your plug-in folders",
        help: install::HELP,
        run: install::run,
    },
    Verb {
        name: "bundle",
        does: "build the plug-in as CLAP and VST3 for this system",
        help: bundle::HELP,
        run: bundle::run,
    },
    Verb {
        name: "bench",
        does: "measure what the plug-in costs, beside a bare one",
        help: bench::HELP,
        run: bench::run,
    },
    Verb {
        name: "soak",
        does: "play ten simulated hours of everything at once, twice",
        help: soak::HELP,
        run: soak::run,
    },
    Verb {
        name: "fuzz",
        does: "give it what it does not expect, for an hour (needs a C++ compiler)",
        help: fuzz::HELP,
        run: fuzz::run,
    },
];

fn main() -> ExitCode {
    let done =
        fuzz::compiler().unwrap_or_else(|| Asked::of(Parser::from_env()).and_then(Asked::answer));
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("{error:#}");
            ExitCode::FAILURE
        }
    }
}

/// What is wanted.
enum Asked {
    /// An explanation.
    Help(String),
    /// That a command be carried out, with what follows it.
    Do(&'static Verb, Vec<OsString>),
}

impl Asked {
    /// Help is asked for before or after the command, and first of all: no command that is asked
    /// to explain itself does anything.
    fn of(mut arguments: Parser) -> Result<Self> {
        let mut explain = false;
        let verb = loop {
            match arguments.next()? {
                Some(Arg::Long("help") | Arg::Short('h')) => explain = true,
                Some(Arg::Value(word)) if word == "help" && !explain => explain = true,
                Some(Arg::Value(word)) => break verb(&word.to_string_lossy())?,
                None => return Ok(Self::Help(list())),
                Some(other) => bail!("{}\n\n{}", other.unexpected(), list()),
            }
        };
        let words: Vec<_> = arguments.raw_args()?.collect();
        // Behind a bare `--` it is somebody else who is asked.
        let ours = words.iter().take_while(|word| *word != "--");
        explain |= ours.clone().any(|word| word == "--help" || word == "-h");
        Ok(if explain {
            Self::Help(verb.help.to_owned())
        } else {
            Self::Do(verb, words)
        })
    }

    fn answer(self) -> Result<()> {
        match self {
            Self::Help(text) => {
                print!("{text}");
                Ok(())
            }
            Self::Do(verb, words) => {
                (verb.run)(Parser::from_args(words)).map_err(|error| refused(verb, error))
            }
        }
    }
}

fn verb(word: &str) -> Result<&'static Verb> {
    match VERBS.iter().find(|verb| verb.name == word) {
        Some(verb) => Ok(verb),
        None => bail!("unknown command \"{word}\"\n\n{}", list()),
    }
}

/// Words that a command does not understand: with where to read which it does.
fn refused(verb: &Verb, error: Error) -> Error {
    if error.is::<lexopt::Error>() {
        let name = verb.name;
        return Error::msg(format!("{error}; see cargo xtask {name} --help"));
    }
    error
}

/// All commands.
fn list() -> String {
    let lines: String = VERBS
        .iter()
        .map(|verb| format!("  {:<9} {}\n", verb.name, verb.does))
        .collect();
    format!(
        "cargo xtask COMMAND\n\n{lines}  {:<9} this text; `cargo xtask COMMAND --help` says more\n",
        "help"
    )
}

/// For commands that take nothing more.
fn no_more(mut arguments: Parser) -> Result<()> {
    match arguments.next()? {
        Some(argument) => Err(argument.unexpected().into()),
        None => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(words: &[&str]) -> Result<Asked> {
        Asked::of(Parser::from_args(words))
    }

    #[track_caller]
    fn help(words: &[&str]) -> String {
        match asked(words) {
            Ok(Asked::Help(text)) => text,
            Ok(Asked::Do(verb, _)) => panic!("{words:?} would carry out {}", verb.name),
            Err(refusal) => panic!("{words:?}: {refusal}"),
        }
    }

    #[track_caller]
    fn refusal(words: &[&str]) -> String {
        match asked(words).and_then(Asked::answer) {
            Ok(()) => panic!("{words:?} is understood"),
            Err(refusal) => format!("{refusal:#}"),
        }
    }

    #[test]
    fn every_command_explains_itself_and_its_options() {
        let options: [(&str, &[&str]); 8] = [
            (
                "demo",
                &[
                    "--part",
                    "--bars",
                    "--minutes",
                    "--set",
                    "--out",
                    "--replace",
                ],
            ),
            ("test", &[]),
            ("run", &["--debug", "--midi-input", "--tempo", "--backend"]),
            ("install", &[]),
            ("bundle", &["--debug"]),
            ("bench", &["--readme"]),
            ("soak", &["--hours"]),
            ("fuzz", &["--minutes"]),
        ];
        assert_eq!(options.map(|(name, _)| name), VERBS.map(|verb| verb.name));
        for (name, options) in options {
            let text = help(&[name, "--help"]);
            assert!(text.starts_with(&format!("cargo xtask {name}")), "{text}");
            assert!(text.lines().count() > 2, "{text}");
            for option in options {
                assert!(text.contains(option), "{name} says nothing of {option}");
            }
            for other in [&[name, "-h"], &["help", name], &["--help", name]] {
                assert_eq!(help(other), text);
            }
        }
    }

    #[test]
    fn help_is_given_wherever_it_is_asked_for_and_nothing_is_done() {
        let text = help(&["demo", "--help"]);
        assert_eq!(help(&["demo", "mine.mid", "--minutes", "6", "-h"]), text);
        assert_eq!(help(&["demo", "--no-such-option", "--help"]), text);
    }

    #[test]
    fn help_behind_two_dashes_is_asked_of_the_program() {
        let asked = asked(&["run", "--", "--help"]);
        assert!(
            matches!(asked, Ok(Asked::Do(verb, words)) if verb.name == "run" && words == ["--", "--help"])
        );
    }

    #[test]
    fn whoever_asks_for_nothing_gets_the_list() {
        for words in [&[][..], &["help"], &["--help"], &["-h"]] {
            let list = help(words);
            for verb in VERBS {
                assert!(list.contains(verb.does), "{list}");
            }
        }
    }

    #[test]
    fn an_unknown_command_is_called_so_and_the_list_is_given() {
        for words in [&["dmeo"][..], &["help", "dmeo"], &["dmeo", "--help"]] {
            let refusal = refusal(words);
            assert!(
                refusal.starts_with("unknown command \"dmeo\"\n"),
                "{refusal}"
            );
            assert!(refusal.contains("  demo "), "{refusal}");
        }
    }

    #[test]
    fn an_option_that_a_command_lacks_is_refused_with_where_to_look() {
        for (words, look) in [
            (["demo", "--colour"], "cargo xtask demo --help"),
            (["bundle", "--release"], "cargo xtask bundle --help"),
            (["install", "here"], "cargo xtask install --help"),
        ] {
            let refusal = refusal(&words);
            assert!(
                refusal.contains(words[1]) && refusal.contains(look),
                "{refusal}"
            );
        }
        assert!(refusal(&["--colour"]).contains("  demo "));
    }
}
