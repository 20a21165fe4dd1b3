//! What a view may look at: one moment of the plug-in, with everything worked out that follows.

use crate::feed::Snapshot;
use crate::files::Report;
use procession_core::engine::Anchor;
use procession_core::form::Form;
use procession_core::phrase::Phrase;
use procession_core::process::Process;
use procession_core::settings::Settings;
use procession_core::time::Beats;

/// One moment. Views read it and never change it.
pub struct Seen {
    /// From the audio thread.
    pub snapshot: Snapshot,
    /// The phrase, its settings and its place in the song, ready to be asked what sounds when.
    pub process: Process,
    /// The whole form that follows from them.
    pub form: Form,
    /// Where the process begins.
    pub anchor: Anchor,
    /// Whether hold is on.
    pub hold: bool,
    /// A problem, its cause and its remedy, if there is one.
    pub notice: Option<String>,
    /// How far the writing of files has come.
    pub writing: Report,
}

impl Seen {
    /// Works out what follows from phrase and settings. Costs a few milliseconds: only when one of
    /// them has changed.
    pub fn new(snapshot: Snapshot, phrase: Phrase, settings: Settings, anchor: Anchor) -> Self {
        let mut process = Process::new(phrase, settings, snapshot.origin);
        process.set_dwellings(snapshot.dwellings);
        let form = Form::new(&process);
        Self {
            snapshot,
            process,
            form,
            anchor,
            hold: false,
            notice: None,
            writing: Report::default(),
        }
    }

    /// The next moment, of the same phrase and settings.
    pub fn moment(&mut self, snapshot: Snapshot) {
        self.process.set_dwellings(snapshot.dwellings);
        self.snapshot = snapshot;
    }

    /// The phrase.
    pub fn phrase(&self) -> &Phrase {
        self.process.phrase()
    }

    /// The settings.
    pub fn settings(&self) -> &Settings {
        self.process.settings()
    }

    /// Beats since cycle 0 began; before it, and with nothing running, 0.
    pub fn elapsed(&self) -> Beats {
        if self.snapshot.running {
            (self.snapshot.position - self.snapshot.origin).max(0.0)
        } else {
            0.0
        }
    }

    /// Steps by which `voice` is ahead now; none if it has not entered.
    pub fn steps_ahead(&self, voice: usize) -> Option<f64> {
        self.snapshot.ahead[voice].map(|ahead| ahead / self.settings().step())
    }
}
