//! How the program is started: its own words on the command line, and what it hands on to the
//! framework's wrapper.
//!
//! The wrapper makes the plug-in by itself, so what the program was started with waits for it here.

use super::line::{Backend, Connection};
use super::project::{self, Opened};
use super::song::TEMPOS;
use procession_core::clock::DEFAULT_TEMPO;
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, PoisonError};

/// What is understood besides what the wrapper's own help tells.
pub const HELP: &str = "\
      --project <FILE>
          Open this project. Its window saves one and opens others

      Tempos are 20 to 300; without --tempo, the project's, or 120

";

/// What the program is started with.
#[derive(Clone, Debug, Default)]
pub struct Start {
    /// A project to begin with.
    pub opened: Option<Opened>,
    /// A tempo that was asked for.
    pub tempo: Option<f64>,
    /// What carries audio and MIDI.
    pub line: Connection,
    /// The folder in which unsaved work is kept and looked for; without one, none is.
    pub state_folder: Option<PathBuf>,
    /// The backend that was named; without, all are tried.
    named: Option<String>,
    /// All that is the wrapper's, but the backend.
    words: Vec<String>,
}

impl Start {
    /// Reads the command line, the program's name first.
    ///
    /// # Errors
    /// A project that cannot be opened, or a tempo that is none; said plainly.
    pub fn read(words: impl IntoIterator<Item = String>) -> Result<Self, String> {
        let mut words: Vec<String> = words.into_iter().collect();
        let project = take(&mut words, &["--project"])?;
        let tempo = take(&mut words, &["--tempo"])?
            .map(|typed| tempo(&typed))
            .transpose()?;
        let named = take(&mut words, &["--backend", "-b"])?.filter(|word| word != "auto");
        let look = |name: &str| take(&mut words.clone(), &[name]);
        let line = Connection {
            backend: Backend::default(),
            output: look("--output-device")?,
            midi_input: look("--midi-input")?,
            midi_output: look("--midi-output")?,
        };
        let opened = match project {
            Some(path) if path.is_empty() => {
                return Err("--project needs the path of a project file.".to_owned());
            }
            Some(path) => Some(open(&path)?),
            None => None,
        };
        Ok(Self {
            opened,
            tempo,
            line,
            state_folder: super::rescue::folder(),
            named,
            words,
        })
    }

    /// The tempo that the song begins with.
    pub fn tempo_at_first(&self) -> f64 {
        let of_project = || self.opened.as_ref().and_then(Opened::tempo);
        self.tempo.or_else(of_project).unwrap_or(DEFAULT_TEMPO)
    }

    /// The backends to be tried, in order, each with what the wrapper is told then.
    pub fn tries(&self) -> Vec<(Backend, Vec<String>)> {
        let with = |word: &str| {
            let mut words = self.words.clone();
            words.extend(["--backend".to_owned(), word.to_owned()]);
            words
        };
        match &self.named {
            Some(word) => {
                let known = Backend::ALL.iter().find(|backend| backend.word() == word);
                vec![(known.copied().unwrap_or(Backend::System), with(word))]
            }
            None => Backend::ALL
                .into_iter()
                .map(|backend| (backend, with(backend.word())))
                .collect(),
        }
    }

    /// The same over another backend.
    pub fn over(&self, backend: Backend) -> Self {
        let mut start = self.clone();
        start.line.backend = backend;
        start
    }
}

/// The project at a path that may begin where the program was started.
fn open(path: &str) -> Result<Opened, String> {
    let whole = std::path::absolute(path).unwrap_or_else(|_| path.into());
    project::open(&whole).map_err(|refusal| {
        format!(
            "{refusal} To begin a new project, start without --project and save it in the window."
        )
    })
}

/// The value of an option, taken out of the words: `--name value`, `--name=value`, `-n value`,
/// `-nvalue`. The last one counts.
fn take(words: &mut Vec<String>, names: &[&str]) -> Result<Option<String>, String> {
    let mut found = None;
    let mut at = 1;
    while at < words.len() {
        if words[at] == "--" {
            break;
        }
        let word = words[at].clone();
        let Some(name) = names.iter().find(|name| is_of(&word, name)) else {
            at += 1;
            continue;
        };
        words.remove(at);
        let rest = &word[name.len()..];
        found = Some(match rest.strip_prefix('=') {
            Some(value) => value.to_owned(),
            None if !rest.is_empty() => rest.to_owned(),
            None if at < words.len() => words.remove(at),
            None => return Err(format!("{name} needs a value after it.")),
        });
    }
    Ok(found)
}

fn is_of(word: &str, name: &str) -> bool {
    match word.strip_prefix(name) {
        Some("") => true,
        Some(rest) => rest.starts_with('=') || !name.starts_with("--"),
        None => false,
    }
}

fn tempo(typed: &str) -> Result<f64, String> {
    let tempo = typed
        .trim()
        .parse()
        .ok()
        .filter(|tempo| TEMPOS.contains(tempo));
    tempo.ok_or_else(|| {
        format!(
            "\"{typed}\" is not a tempo: type a number from {} to {}, in quarter notes a minute.",
            TEMPOS.start(),
            TEMPOS.end()
        )
    })
}

static WAITING: Mutex<Option<Start>> = Mutex::new(None);
static WINDOW_OPENED: AtomicBool = AtomicBool::new(false);

/// Lets the next instance of the program find it.
pub fn wait_with(start: Start) {
    *WAITING.lock().unwrap_or_else(PoisonError::into_inner) = Some(start);
}

/// What the program was started with; nothing in particular if nobody said.
pub fn waiting() -> Start {
    let waiting = WAITING.lock().unwrap_or_else(PoisonError::into_inner);
    waiting.clone().unwrap_or_default()
}

/// The window has been opened: so audio was found as far as it was to be.
pub fn window_opened() {
    WINDOW_OPENED.store(true, Ordering::Relaxed);
}

/// Whether the window has been opened.
pub fn has_window_opened() -> bool {
    WINDOW_OPENED.load(Ordering::Relaxed)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(words: &[&str]) -> Result<Start, String> {
        let own = std::iter::once("procession").chain(words.iter().copied());
        Start::read(own.map(str::to_owned))
    }

    #[test]
    fn with_no_backend_named_the_loudest_comes_first_and_silence_last() {
        let tries = read(&["-r", "44100"]).unwrap().tries();
        let words: Vec<_> = tries.iter().map(|(_, words)| words.join(" ")).collect();
        assert_eq!(words[0], "procession -r 44100 --backend jack");
        assert_eq!(words[2], "procession -r 44100 --backend dummy");
        assert_eq!(read(&["--backend", "auto"]).unwrap().tries().len(), 3);
    }

    #[test]
    fn a_backend_that_is_named_is_the_only_one_however_it_is_written() {
        for words in [
            ["--backend", "dummy"].as_slice(),
            &["--backend=dummy"],
            &["-b", "dummy"],
            &["-bdummy"],
            &["-b=dummy"],
        ] {
            let tries = read(words).unwrap().tries();
            let told = tries.iter().map(|(backend, words)| (*backend, words.len()));
            assert_eq!(told.collect::<Vec<_>>(), [(Backend::Silent, 3)]);
        }
    }

    #[test]
    fn names_of_devices_are_seen_and_handed_on() {
        let start = read(&["--midi-input", "Quay", "--output-device=Deck"]).unwrap();
        assert_eq!(start.line.midi_input.as_deref(), Some("Quay"));
        assert_eq!(start.line.output.as_deref(), Some("Deck"));
        let (_, words) = &start.tries()[0];
        assert!(
            words.contains(&"Quay".to_owned())
                && words.contains(&"--output-device=Deck".to_owned())
        );
    }

    #[test]
    fn a_tempo_is_ours_and_what_is_none_is_refused_with_the_range() {
        let start = read(&["--tempo", "97.5"]).unwrap();
        assert_eq!(start.tempo_at_first(), 97.5);
        assert!(!start.tries()[0].1.contains(&"--tempo".to_owned()));
        assert_eq!(read(&[]).unwrap().tempo_at_first(), 120.0);
        for typed in ["fast", "19", "301", "NaN", ""] {
            let refusal = read(&["--tempo", typed]).unwrap_err();
            assert!(refusal.contains("from 20 to 300"), "{refusal}");
        }
        assert!(read(&["--tempo"]).unwrap_err().contains("needs a value"));
    }

    #[test]
    fn a_project_that_is_not_there_is_said_plainly() {
        let refusal = read(&["--project", "/nowhere/night.procession"]).unwrap_err();
        assert!(
            refusal.starts_with("There is no file /nowhere/night.procession."),
            "{refusal}"
        );
        assert!(refusal.contains("without --project"), "{refusal}");
    }
}
