//! The keyboard in the real window: every key that the window tells of does what it says.
//!
//! The windowing layer knows some keys only by the text that they write, and some not at all, which
//! no test without a real window finds.
#![cfg(target_os = "linux")]

use procession_tests::host::screen::run_test;
use procession_tests::host::{Block, Error, Key, Library, Plugin, Processing, Setup, Window};
use procession_tests::patience::{PATIENCE, wait_until};
use procession_tests::staging::framed;
use serde_json::{Value, json};
use std::time::{Duration, Instant};

type Outcome = Result<(), Error>;

fn on_a_screen(name: &str, body: impl FnOnce() -> Outcome) {
    run_test(name, || body().expect("the window goes through it"));
}

fn kept(plugin: &mut Plugin<Processing>) -> Result<Value, Error> {
    let saved = plugin.save()?;
    let state: Value = serde_json::from_slice(&saved[8..]).expect("a saved state is JSON");
    let kept = state["fields"]["kept"].as_str().expect("a text");
    Ok(serde_json::from_str(kept).expect("JSON"))
}

/// A window with a phrase of three notes in four steps, D4 F4 G4 and a rest.
fn with_a_phrase() -> Result<(Plugin<Processing>, Window), Error> {
    let mut plugin = Library::built()?.first_plugin()?;
    let saved = plugin.save()?;
    let mut state: Value = serde_json::from_slice(&saved[8..]).expect("a saved state is JSON");
    let text = state["fields"]["kept"].as_str().expect("a text");
    let mut kept: Value = serde_json::from_str(text).expect("JSON");
    kept["window"] = json!({"width": 760, "height": 480, "zoom": 1.0, "dark": false});
    let note = |step: u32, key: u32| json!({"onset": f64::from(step) * 0.25, "length": 0.25, "key": key, "velocity": 0.5});
    kept["phrase"] = json!({"length": 1.0, "notes": [note(0, 62), note(1, 65), note(2, 67)]});
    state["fields"]["kept"] = json!(kept.to_string());
    plugin.load(&framed(&state.to_string()))?;
    let mut plugin = plugin.activate(Setup::default())?.start()?;
    let mut window = Window::open(&mut plugin)?;
    window.wait_until_drawn(&mut plugin)?;
    Ok((plugin, window))
}

/// Waits until what is kept is as it should be.
fn until(
    plugin: &mut Plugin<Processing>,
    window: &mut Window,
    what: &str,
    is: impl Fn(&Value) -> bool,
) -> Outcome {
    let end = Instant::now() + PATIENCE;
    loop {
        plugin.process(&Block::of(512))?;
        window.wait(plugin, Duration::from_millis(20))?;
        let kept = kept(plugin)?;
        if is(&kept) {
            return Ok(());
        }
        assert!(Instant::now() < end, "{what}: {}", kept["phrase"]);
    }
}

fn keys(kept: &Value) -> Vec<u64> {
    let notes = kept["phrase"]["notes"].as_array().expect("notes");
    notes
        .iter()
        .filter_map(|note| note["key"].as_u64())
        .collect()
}

fn onsets(kept: &Value) -> Vec<f64> {
    let notes = kept["phrase"]["notes"].as_array().expect("notes");
    notes
        .iter()
        .filter_map(|note| note["onset"].as_f64())
        .collect()
}

fn velocity(kept: &Value) -> f64 {
    kept["phrase"]["notes"][0]["velocity"]
        .as_f64()
        .expect("a number")
}

/// On the word Phrase of the row of views, and in the middle of the grid, in a small window.
const PHRASE: (i16, i16) = (290, 70);
const GRID: (i16, i16) = (440, 250);

#[test]
fn every_key_of_the_phrase_grid_does_what_the_hint_says() {
    on_a_screen(
        "every_key_of_the_phrase_grid_does_what_the_hint_says",
        || {
            let (mut the_plugin, mut the_window) = with_a_phrase()?;
            let (plugin, window) = (&mut the_plugin, &mut the_window);
            for (place, at_least) in [(PHRASE, 5000), (GRID, 500)] {
                let before = window.picture()?;
                window.click(plugin, place)?;
                wait_until("another picture", || {
                    window.wait(plugin, Duration::from_millis(50))?;
                    Ok(window.picture()?.difference(&before) > at_least)
                })?;
            }
            // No note is chosen: all of them are meant.
            window.strike(plugin, Key::Up)?;
            until(plugin, window, "up", |kept| keys(kept) == [63, 66, 68])?;
            window.strike(plugin, Key::Down)?;
            until(plugin, window, "down", |kept| keys(kept) == [62, 65, 67])?;
            window.strike_with(plugin, Key::Shift, Key::Up)?;
            until(plugin, window, "an octave up", |kept| {
                keys(kept) == [74, 77, 79]
            })?;
            window.strike_with(plugin, Key::Shift, Key::Down)?;
            until(plugin, window, "an octave down", |kept| {
                keys(kept) == [62, 65, 67]
            })?;
            window.strike(plugin, Key::Right)?;
            until(plugin, window, "right", |kept| {
                onsets(kept) == [0.25, 0.5, 0.75]
            })?;
            window.strike(plugin, Key::Left)?;
            until(plugin, window, "left", |kept| {
                onsets(kept) == [0.0, 0.25, 0.5]
            })?;
            // On the keyboard of the test, plus is Shift and the key of the equals sign.
            window.strike_with(plugin, Key::Shift, Key::Letter('='))?;
            until(plugin, window, "plus", |kept| velocity(kept) > 0.52)?;
            for _ in 0..2 {
                window.strike(plugin, Key::Letter('-'))?;
            }
            until(plugin, window, "minus", |kept| velocity(kept) < 0.48)?;
            window.strike_with(plugin, Key::Control, Key::Letter('z'))?;
            until(plugin, window, "undo", |kept| velocity(kept) > 0.48)?;
            window.strike_with(plugin, Key::Control, Key::Letter('y'))?;
            until(plugin, window, "redo", |kept| velocity(kept) < 0.48)?;
            window.strike(plugin, Key::Return)?;
            until(plugin, window, "enter", |kept| keys(kept).len() == 4)?;
            window.strike(plugin, Key::Delete)?;
            until(plugin, window, "delete", |kept| keys(kept) == [62, 65, 67])?;
            the_window.close(&mut the_plugin)
        },
    );
}
