//! The program's project, worked out: what is open, whether it has changed, and what is asked
//! before anything could be lost.

use super::files::Tone;
use crate::params::Parameters;
use crate::program::project::{self, Opened, Stands};
use crate::program::rescue;
use crate::program::song::SongControl;
use procession_core::exchange::put::Existing;
use std::path::{Path, PathBuf};

/// Something that is asked before it is done.
#[derive(Clone, Debug)]
pub enum Question {
    /// A file is there already.
    Replace(PathBuf),
    /// What is open has not been saved.
    Discard(Box<Opened>),
}

/// What a project consists of.
#[derive(Clone, Copy)]
pub struct World<'a> {
    /// All that a host would keep.
    pub parameters: &'a Parameters,
    /// And the song.
    pub song: &'a SongControl,
}

/// The project that is open, or a new one.
#[derive(Clone, Debug, Default)]
pub struct Project {
    /// Where it was opened or saved last; none if it is new.
    path: Option<PathBuf>,
    /// What stands there.
    known: Vec<u8>,
    /// What there was to lose when it was opened or saved last.
    safe: Vec<u8>,
    /// Whether there is more now, as far as was looked.
    changed: bool,
    /// The path that is typed.
    pub typed: String,
    /// What is asked.
    pub question: Option<Question>,
    /// What is said.
    pub said: Option<(Tone, String)>,
    /// What was kept when the program had to end without asking.
    rescued: Option<PathBuf>,
    /// Whether that is what is open.
    rescued_is_open: bool,
}

impl Project {
    /// A new one, of the world as it is.
    pub fn new(world: World<'_>) -> Self {
        Self {
            safe: project::essence(world.parameters, world.song),
            ..Self::default()
        }
    }

    /// The file's name without its ending; none while it is new.
    pub fn name(&self) -> Option<String> {
        let name = self.path.as_ref()?.file_stem()?;
        Some(name.to_string_lossy().into_owned())
    }

    /// Whether it has changed since it was opened or saved, as far as was looked.
    pub fn has_changed(&self) -> bool {
        self.changed
    }

    /// Looks whether it has changed. Costs a millisecond or two.
    pub fn look(&mut self, world: World<'_>) -> bool {
        self.changed = project::essence(world.parameters, world.song) != self.safe;
        self.changed
    }

    /// Says that something was kept from before, and offers it.
    pub fn offer(&mut self, kept: Option<PathBuf>) {
        if let Some(kept) = &kept {
            self.say(
                Tone::Plain,
                format!(
                    "The program had to end without asking before. What was not saved then is in {}.",
                    kept.display()
                ),
            );
        }
        self.rescued = kept;
    }

    /// What is offered.
    pub fn offered(&self) -> Option<&Path> {
        self.rescued.as_deref()
    }

    /// What is offered is not wanted: it is taken off the disk.
    pub fn forget_offered(&mut self) {
        if let Some(kept) = self.rescued.take() {
            self.said = None;
            if let Err(error) = std::fs::remove_file(&kept) {
                let said = format!("{} cannot be taken away ({error}).", kept.display());
                self.say(Tone::Alarm, said);
            }
        }
    }

    /// What is offered is opened as new: it belongs to no file yet.
    pub fn open_offered(&mut self, world: World<'_>) {
        let Some(kept) = self.rescued.clone() else {
            return;
        };
        match project::open(&kept) {
            Ok(opened) => {
                opened.take_place(world.parameters);
                self.take_tempo(&opened, world);
                (self.path, self.known) = (None, Vec::new());
                self.safe.clear();
                self.changed = true;
                self.rescued_is_open = true;
                self.say(Tone::Plain, "Opened. Save it where it belongs.".to_owned());
            }
            Err(refusal) => self.say(Tone::Alarm, refusal),
        }
    }

    /// Opens what is typed, or asks first.
    pub fn open(&mut self, world: World<'_>) {
        self.question = None;
        let opened = project::path(&self.typed, home().as_deref(), false)
            .and_then(|path| project::open(&path));
        match opened {
            Err(refusal) => self.say(Tone::Alarm, format!("{refusal} Nothing was changed.")),
            Ok(opened) if self.look(world) => {
                self.question = Some(Question::Discard(opened.into()))
            }
            Ok(opened) => self.adopt(&opened, world),
        }
    }

    /// That one takes the place of what was open.
    pub fn adopt(&mut self, opened: &Opened, world: World<'_>) {
        opened.take_place(world.parameters);
        self.take_tempo(opened, world);
        world.song.roll(false);
        world.song.go_to(0.0);
        self.is_at(opened.path.clone(), opened.bytes.clone(), world);
        self.say(Tone::Plain, format!("Opened {}.", opened.path.display()));
    }

    /// It was opened before anybody looked: the program was started with it.
    pub fn started_with(&mut self, opened: &Opened, world: World<'_>) {
        opened.take_place(world.parameters);
        self.is_at(opened.path.clone(), opened.bytes.clone(), world);
    }

    fn take_tempo(&self, opened: &Opened, world: World<'_>) {
        if let Some(tempo) = opened.tempo() {
            world.song.set_tempo(tempo);
        }
    }

    /// Saves it where it is typed, or asks first. Whether it is saved.
    pub fn save(&mut self, world: World<'_>) -> bool {
        self.question = None;
        let path = match project::path(&self.typed, home().as_deref(), true) {
            Ok(path) => path,
            Err(refusal) => {
                self.say(Tone::Alarm, refusal);
                return false;
            }
        };
        let known: &[u8] = match &self.path {
            Some(own) if *own == path => &self.known,
            _ => &[],
        };
        match project::stands(&path, known) {
            Stands::Nothing => self.write(path, Existing::Keep, world),
            Stands::TheSame => self.write(path, Existing::Replace, world),
            Stands::Another => {
                self.said = None;
                self.question = Some(Question::Replace(path));
                false
            }
        }
    }

    /// What was asked is to be done. Whether the project is saved then.
    pub fn agree(&mut self, world: World<'_>) -> bool {
        match self.question.take() {
            Some(Question::Replace(path)) => self.write(path, Existing::Replace, world),
            Some(Question::Discard(opened)) => {
                self.adopt(&opened, world);
                false
            }
            None => false,
        }
    }

    /// What was asked is not to be done.
    pub fn decline(&mut self) {
        self.question = None;
        self.said = None;
    }

    fn write(&mut self, path: PathBuf, existing: Existing, world: World<'_>) -> bool {
        let bytes = project::written(world.parameters, world.song);
        match project::save(&path, existing, &bytes) {
            Ok(()) => {
                let said = format!("Saved as {}.", path.display());
                if self.rescued_is_open {
                    self.forget_offered();
                }
                self.is_at(path, bytes, world);
                self.say(Tone::Plain, said);
                true
            }
            Err(refusal) => {
                self.say(Tone::Alarm, refusal);
                false
            }
        }
    }

    fn is_at(&mut self, path: PathBuf, bytes: Vec<u8>, world: World<'_>) {
        self.typed = path.display().to_string();
        (self.path, self.known) = (Some(path), bytes);
        self.safe = project::essence(world.parameters, world.song);
        self.changed = false;
        self.rescued_is_open = false;
        self.question = None;
    }

    fn say(&mut self, tone: Tone, text: String) {
        self.said = Some((tone, text));
    }

    /// The program must end and nobody can be asked: what was not saved is kept, and where is said.
    /// In `folder`, if there is one for that.
    pub fn rescue(&mut self, folder: Option<&Path>, world: World<'_>) -> Option<String> {
        if !self.look(world) {
            return None;
        }
        let bytes = project::written(world.parameters, world.song);
        let kept = folder
            .ok_or_else(|| "This machine does not say where your home folder is.".to_owned())
            .and_then(|folder| rescue::keep(folder, &bytes));
        Some(match kept {
            Ok(path) => format!(
                "What was not saved is in {}; the program offers it when it is started again.",
                path.display()
            ),
            Err(refusal) => format!("What was not saved is lost. {refusal}"),
        })
    }
}

fn home() -> Option<PathBuf> {
    std::env::home_dir()
}
