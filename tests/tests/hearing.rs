//! A snippet asked for in the real window, in a host: it is heard, and nothing else changes.
//!
//! On an unseen screen of its own; where there is none, the test says that it was skipped. Pictures
//! are left in `target/window-shots/`. The plug-in is the one under the guard against allocation.
#![cfg(target_os = "linux")]

mod common;

use common::plugin;
use procession_tests::host::screen::run_test;
use procession_tests::host::{Block, Error, Key, Plugin, Processing, Setup, Transport, Window};
use procession_tests::patience::wait_until;
use procession_tests::staging::{modulating_project, sixteenths};
use std::path::PathBuf;
use std::time::Duration;

type Outcome = Result<(), Error>;

/// On the words of the views, in a window of the usual size that is not zoomed.
const ALIGNMENTS: (i16, i16) = (420, 276);
const MODE_CHANGES: (i16, i16) = (400, 309);
/// On the sign beside a mode change.
const SIGN: (i16, i16) = (540, 399);
/// On a row of the list, and on a stage of the plan.
const ROW: (i16, i16) = (500, 420);
const STAGE: (i16, i16) = (300, 150);

/// A mode change in the second stage.
const PLAN: &str = r#"[{"stage":2,"tonic":2,"mode":"lydian","over":4}]"#;

fn shots() -> PathBuf {
    // A test lies in target/debug/deps.
    let program = std::env::current_exe().expect("a test knows where it lies");
    let target = program.ancestors().nth(3).expect("a folder above");
    target.join("window-shots")
}

/// Held, at the beginning of the song.
fn held() -> Result<Plugin<Processing>, Error> {
    let mut plugin = plugin()?;
    let phrase = sixteenths("D4 F4 . A4 C5 . G4 A4 . F4 E4 .");
    plugin.load(&modulating_project(&phrase, 0.0, true, PLAN))?;
    plugin.activate(Setup::default())?.start()
}

/// Two instances in the same song, block by block; one has a window.
struct Pair {
    watched: Plugin<Processing>,
    other: Plugin<Processing>,
    rolls: bool,
    at: f64,
}

impl Pair {
    fn new(rolls: bool) -> Result<Self, Error> {
        Ok(Self {
            watched: held()?,
            other: held()?,
            rolls,
            at: 0.0,
        })
    }

    /// A block, in which both must say the same to the sample. How loud the watched one is.
    fn block(&mut self) -> Result<f32, Error> {
        const FRAMES: u32 = 512;
        let transport = Transport {
            playing: self.rolls,
            ..Transport::rolling(120.0)
        };
        let block = Block::of(FRAMES).transport(transport.at(self.at));
        let without = self.other.process(&block)?.to_vec();
        let with = self.watched.process(&block)?;
        assert_eq!(with, without, "at {}", self.at);
        if self.rolls {
            self.at += f64::from(FRAMES) / 24_000.0;
        }
        let peak = |plugin: &mut Plugin<Processing>| {
            let sides = plugin.audio().output().iter();
            let samples = sides.flat_map(|side| &side[..FRAMES as usize]);
            samples.fold(0.0_f32, |peak, sample| peak.max(sample.abs()))
        };
        assert_eq!(peak(&mut self.other), 0.0, "audition is off");
        Ok(peak(&mut self.watched))
    }

    /// Plays on until it is heard, or is not any more.
    fn until(&mut self, window: &mut Window, what: &str, heard: bool) -> Outcome {
        wait_until(what, || {
            let peak = self.block()?;
            window.wait(&mut self.watched, Duration::from_millis(5))?;
            Ok((peak > 0.0) == heard)
        })
    }
}

#[test]
fn what_is_clicked_is_heard_and_the_song_and_its_notes_stay_as_they_are() {
    run_test(
        "what_is_clicked_is_heard_and_the_song_and_its_notes_stay_as_they_are",
        || clicked_in_both_songs().expect("the window goes through it"),
    );
}

fn clicked_in_both_songs() -> Outcome {
    for rolls in [false, true] {
        let name = if rolls { "rolling" } else { "rest" };
        let mut pair = Pair::new(rolls)?;
        let mut window = Window::open(&mut pair.watched)?;
        window.wait_until_drawn(&mut pair.watched)?;
        for _ in 0..20 {
            assert_eq!(pair.block()?, 0.0, "nobody has asked yet");
            window.tend(&mut pair.watched)?;
        }
        window.click(&mut pair.watched, STAGE)?;
        pair.until(&mut window, "a stage that is heard", true)?;
        window.wait(&mut pair.watched, Duration::from_millis(400))?;
        window.screenshot(&shots().join(format!("hearing-stage-{name}.png")))?;
        window.strike(&mut pair.watched, Key::Escape)?;
        pair.until(&mut window, "silence after Escape", false)?;
        window.click(&mut pair.watched, ALIGNMENTS)?;
        window.wait(&mut pair.watched, Duration::from_millis(300))?;
        window.click(&mut pair.watched, ROW)?;
        pair.until(&mut window, "an alignment that is heard", true)?;
        window.wait(&mut pair.watched, Duration::from_millis(400))?;
        window.screenshot(&shots().join(format!("hearing-alignment-{name}.png")))?;
        pair.until(&mut window, "its end", false)?;
        window.click(&mut pair.watched, MODE_CHANGES)?;
        window.wait(&mut pair.watched, Duration::from_millis(300))?;
        window.click(&mut pair.watched, SIGN)?;
        pair.until(&mut window, "a mode change that is heard", true)?;
        window.wait(&mut pair.watched, Duration::from_millis(400))?;
        window.screenshot(&shots().join(format!("hearing-change-{name}.png")))?;
        window.click(&mut pair.watched, SIGN)?;
        pair.until(&mut window, "silence after a second click", false)?;
        window.close(&mut pair.watched)?;
    }
    Ok(())
}
