//! The worst that a block costs: all that can change at once, to the largest piece there is.
//!
//! 512 notes over 128 beats, eight copies that grow by themselves, and sixteen mode changes at late
//! stages. What is not measured is how often that happens: once is enough to be heard.

use super::blocks::{FRAMES, RATE};
use super::report::{Table, micros};
use anyhow::{Context, Result};
use procession_core::note::{Key, Note, Velocity};
use procession_core::phrase::{MAX_LENGTH, MAX_NOTES, Phrase};
use procession_tests::host::{
    Block, Event, Library, Plugin, Prepared, Processing, Setup, Transport,
};
use procession_tests::staging::modulating_project;
use std::path::Path;
use std::time::Duration;

/// So fast that a phrase of 64 beats is soon played.
const TEMPO: f64 = 480.0;
const ROUNDS: usize = 12;

/// How many of the worst are told.
const TOLD: usize = 5;

/// How the plug-in is set before anything changes.
const SETTINGS: [(&str, &str); 8] = [
    ("copies", "8"),
    ("copies_grow", "On"),
    ("growth", "Lengthen"),
    ("growth_every", "1"),
    ("shifts", "Endless"),
    ("fold", "By degree"),
    ("snap", "0 %"),
    ("audition", "-10 dB"),
];

/// What is changed, between two values.
const CHANGES: [(&str, [&str; 2]); 12] = [
    ("growth_order", ["Strong beats first", "Centre out"]),
    ("growth", ["Fill", "Lengthen"]),
    ("growth_step", ["-1", "1"]),
    ("growth_every", ["32", "1"]),
    ("copies", ["7", "8"]),
    ("offset", ["3", "0"]),
    ("dwell", ["9", "8"]),
    ("motion", ["Build up", "Drift"]),
    ("fold", ["Nearest", "By degree"]),
    ("fold_amount", ["50 %", "100 %"]),
    ("target_tonic", ["G", "C"]),
    ("grid", ["1/8", "1/16"]),
];

/// The worst of them.
pub fn table(clap: &Path) -> Result<Table> {
    let mut table = Table::new(
        "The worst of all that can change at once, with 512 notes, 8 copies that grow, 16 mode \
         changes and audition on:",
        ["", "us"],
    );
    for (what, took) in blocks(clap)?.into_iter().take(TOLD) {
        table.row([what, micros(took.as_secs_f64())]);
    }
    Ok(table)
}

/// What takes how long, the worst first.
fn blocks(clap: &Path) -> Result<Vec<(String, Duration)>> {
    let library = Library::open(clap)?;
    let mut plugin = library
        .first_plugin()?
        .activate(Setup::default())?
        .start()?;
    let state = modulating_project(&full()?, 0.0, true, &late_modulations());
    plugin.load(&state)?;
    for (id, value) in SETTINGS {
        plugin.set(id, value)?;
    }
    let mut host = Host { plugin, at: 0.0 };
    host.pass(200)?;
    let mut found = Vec::new();
    for (id, values) in CHANGES {
        for value in values {
            let name = id.replace('_', " ");
            found.push((format!("{name} to {value}"), Duration::MAX));
        }
        let first = found.len() - values.len();
        for _ in 0..ROUNDS {
            for (place, value) in (first..).zip(values) {
                let setting = host.plugin.setting(id, value)?;
                let took = host.block(&[setting])?;
                found[place].1 = found[place].1.min(took);
                host.pass(4)?;
            }
        }
    }
    found.push(("a project that is opened".to_owned(), host.opened(&state)?));
    found.push(("a phrase that is taken".to_owned(), host.taken()?));
    found.sort_by_key(|(_, took)| std::cmp::Reverse(*took));
    Ok(found)
}

/// As many notes as there can be, no two of them alike.
fn full() -> Result<Phrase> {
    let notes = (0..MAX_NOTES).map(|note| Note {
        onset: note as f64 * MAX_LENGTH / MAX_NOTES as f64,
        length: 0.2,
        key: Key::by_octave(40 + (note * 7 % 40) as i32),
        velocity: Velocity::new(0.5 + 0.001 * (note % 100) as f32),
        said: None,
    });
    Ok(Phrase::new(notes, MAX_LENGTH)?)
}

fn late_modulations() -> String {
    let one = |place: usize| {
        let (stage, tonic) = (200 + place, 7 * place % 12);
        format!(r#"{{"stage":{stage},"tonic":{tonic},"mode":"lydian","over":4}}"#)
    };
    let all: Vec<String> = (0..16).map(one).collect();
    format!("[{}]", all.join(","))
}

/// Blocks one after another, the song rolling.
struct Host {
    plugin: Plugin<Processing>,
    at: f64,
}

impl Host {
    /// How long a block with these events takes.
    fn block(&mut self, events: &[Event]) -> Result<Duration> {
        let transport = Transport::rolling(TEMPO).at(self.at);
        let block = Block::of(FRAMES).transport(transport);
        let block = events
            .iter()
            .fold(block, |block, event| block.event(0, *event));
        let took = self.plugin.clock_each(&Prepared::of([block]))?;
        self.at += f64::from(FRAMES) * TEMPO / (60.0 * RATE);
        took.first().copied().context("a block was clocked")
    }

    fn pass(&mut self, blocks: usize) -> Result<()> {
        for _ in 0..blocks {
            self.block(&[])?;
        }
        Ok(())
    }

    fn opened(&mut self, state: &[u8]) -> Result<Duration> {
        let mut best = Duration::MAX;
        for _ in 0..ROUNDS {
            self.plugin.load(state)?;
            best = best.min(self.block(&[])?);
            self.pass(4)?;
        }
        Ok(best)
    }

    /// Chords of four sixteenths apart, so many that they are all a phrase can hold.
    fn taken(&mut self) -> Result<Duration> {
        const CHORD: usize = 4;
        let [off, on] = ["Off", "On"].map(|value| self.plugin.setting("hold", value));
        let (off, on) = (off?, on?);
        let mut best = Duration::MAX;
        for _ in 0..3 {
            self.block(&[off])?;
            self.pass(8)?;
            let begun = self.at;
            for stroke in 0..MAX_NOTES / CHORD {
                let keys = (0..CHORD).map(|voice| (40 + 11 * voice + stroke * 7 % 11) as u16);
                let keys: Vec<u16> = keys.collect();
                let struck: Vec<_> = keys
                    .iter()
                    .map(|key| Event::note_on(0, *key, 0.7))
                    .collect();
                self.block(&struck)?;
                self.pass(2)?;
                let left: Vec<_> = keys.iter().map(|key| Event::note_off(0, *key)).collect();
                self.block(&left)?;
                while self.at < begun + (stroke + 1) as f64 * 0.25 {
                    self.block(&[])?;
                }
            }
            best = best.min(self.block(&[on])?);
            self.pass(4)?;
        }
        (best < Duration::MAX)
            .then_some(best)
            .context("nothing was measured")
    }
}
