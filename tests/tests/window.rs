//! The real window: the built plug-in, opened in a host, on a screen, under a mouse.
//!
//! Each test runs on an unseen screen of its own; where there is none, it says that it was
//! skipped. Pictures are left in `target/window-shots/`.
#![cfg(target_os = "linux")]

use procession_tests::host::screen::run_test;
use procession_tests::host::{Block, Error, Event, Instance, Key, Library, Room};
use procession_tests::host::{Loaded, Plugin, Processing, Setup, Timed};
use procession_tests::host::{Transport, Window};
use procession_tests::patience::wait_until;
use procession_tests::staging::framed;
use serde_json::{Value, json};
use std::cell::Cell;
use std::path::PathBuf;
use std::time::Duration;

type Outcome = Result<(), Error>;

/// On the word Hold, in a window that is not zoomed.
const HOLD: (i16, i16) = (70, 26);

fn on_a_screen(name: &str, body: impl FnOnce() -> Outcome) {
    run_test(name, || body().expect("the window goes through it"));
}

fn instance() -> Result<Plugin<Loaded>, Error> {
    Library::built()?.first_plugin()
}

fn playing() -> Result<Plugin<Processing>, Error> {
    instance()?.activate(Setup::default())?.start()
}

fn shots() -> PathBuf {
    // A test lies in target/debug/deps.
    let program = std::env::current_exe().expect("a test knows where it lies");
    let target = program.ancestors().nth(3).expect("a folder above");
    target.join("window-shots")
}

/// The state of the plug-in with another window and phrase.
fn state(
    instance: &mut Instance,
    window: Value,
    settings: &[(&str, Value)],
) -> Result<Vec<u8>, Error> {
    let saved = instance.save()?;
    let mut state: Value = serde_json::from_slice(&saved[8..]).expect("a saved state is JSON");
    let kept = state["fields"]["kept"].as_str().expect("a text");
    let mut kept: Value = serde_json::from_str(kept).expect("JSON");
    kept["window"] = window;
    kept["anchor"] = json!({"song": 0.0});
    kept["phrase"] = json!({
        "length": 3.0,
        "notes": [
            {"onset": 0.0, "length": 0.25, "key": 62, "velocity": 0.8},
            {"onset": 0.5, "length": 0.25, "key": 65, "velocity": 0.6},
            {"onset": 0.75, "length": 0.25, "key": 67, "velocity": 0.7},
            {"onset": 1.25, "length": 0.25, "key": 69, "velocity": 0.7},
            {"onset": 1.5, "length": 0.25, "key": 72, "velocity": 0.8},
            {"onset": 2.0, "length": 0.25, "key": 69, "velocity": 0.6},
            {"onset": 2.5, "length": 0.5, "key": 67, "velocity": 0.7},
        ],
    });
    state["fields"]["kept"] = json!(kept.to_string());
    for (id, value) in settings {
        state["params"][*id] = value.clone();
        if let Some(choices) = state["fields"]["choices"].as_str() {
            let mut choices: Value = serde_json::from_str(choices).expect("JSON");
            choices.as_object_mut().expect("a map").remove(*id);
            state["fields"]["choices"] = json!(choices.to_string());
        }
    }
    Ok(framed(&state.to_string()))
}

/// What a saved state says of the window.
fn window_of(state: &[u8]) -> Value {
    let state: Value = serde_json::from_slice(&state[8..]).expect("a saved state is JSON");
    let kept = state["fields"]["kept"].as_str().expect("a text");
    let kept: Value = serde_json::from_str(kept).expect("JSON");
    kept["window"].clone()
}

/// The same state with a modulation plan.
fn with_plan(state: &[u8], plan: Value) -> Vec<u8> {
    let mut state: Value = serde_json::from_slice(&state[8..]).expect("a saved state is JSON");
    let kept = state["fields"]["kept"].as_str().expect("a text");
    let mut kept: Value = serde_json::from_str(kept).expect("JSON");
    kept["modulations"] = plan;
    state["fields"]["kept"] = json!(kept.to_string());
    framed(&state.to_string())
}

/// The keys that copy 1 strikes up to song position `until`.
fn struck_by_copy(
    plugin: &mut Plugin<Processing>,
    window: &mut Window,
    at: &mut f64,
    until: f64,
) -> Result<Vec<u16>, Error> {
    let mut struck = Vec::new();
    while *at < until {
        let block = Block::of(512).transport(Transport::rolling(120.0).at(*at));
        for heard in plugin.process(&block)? {
            if let Event::NoteOn { note, .. } = heard.event
                && note.channel == Some(1)
            {
                struck.extend(note.key);
            }
        }
        window.tend(plugin)?;
        *at += 512.0 / 24_000.0;
    }
    Ok(struck)
}

/// Plays a few blocks of a song from `at` on, the window being tended between them: for what is
/// worth seeing. What is asserted is waited for.
fn roll(
    plugin: &mut Plugin<Processing>,
    window: &mut Window,
    at: f64,
    blocks: u32,
) -> Result<f64, Error> {
    let mut at = at;
    for _ in 0..blocks {
        let block = Block::of(512).transport(Transport::rolling(120.0).at(at));
        plugin.process(&block)?;
        window.wait(plugin, Duration::from_millis(8))?;
        at += 512.0 / 48_000.0 * 2.0;
    }
    Ok(at)
}

/// Plays on until the plug-in has said something that `is` it.
fn hear(
    plugin: &mut Plugin<Processing>,
    window: &mut Window,
    what: &str,
    mut is: impl FnMut(&mut Plugin<Processing>, &[Event]) -> bool,
) -> Outcome {
    wait_until(what, || {
        let heard: Vec<Event> = plugin
            .process(&Block::of(512))?
            .iter()
            .map(|heard| heard.event)
            .collect();
        if is(plugin, &heard) {
            return Ok(true);
        }
        window.wait(plugin, Duration::from_millis(10))?;
        Ok(false)
    })
}

/// Hands laid on (true) and taken off (false).
fn gestures_in(heard: &[Timed]) -> Vec<bool> {
    let begins = heard.iter().filter_map(|heard| match heard.event {
        Event::Gesture { begins, .. } => Some(begins),
        _ => None,
    });
    begins.collect()
}

/// Waits until a parameter reads like this.
fn reads(
    plugin: &mut Plugin<Processing>,
    window: &mut Window,
    parameter: &str,
    text: &str,
) -> Outcome {
    hear(plugin, window, parameter, |plugin, _| {
        plugin.text(parameter).is_ok_and(|now| now == text)
    })
}

/// Tries what a hand does until a parameter reads like this, each time with a longer pause between
/// its movements: a window that is slow to draw a field misses what is typed into it meanwhile.
fn tries(
    plugin: &mut Plugin<Processing>,
    window: &mut Window,
    (parameter, text): (&str, &str),
    mut hand: impl FnMut(&mut Plugin<Processing>, &mut Window, Duration) -> Outcome,
) -> Outcome {
    let mut pause = Duration::from_millis(50);
    wait_until(parameter, || {
        // Whatever the last try has left open is given up.
        window.strike(plugin, Key::Escape)?;
        hand(plugin, window, pause)?;
        for _ in 0..20 {
            plugin.process(&Block::of(512))?;
            if plugin.text(parameter)? == text {
                return Ok(true);
            }
            window.wait(plugin, pause / 5)?;
        }
        pause = (pause * 2).min(Duration::from_secs(5));
        Ok(false)
    })
}

/// Lets time pass until it is so.
fn until(
    plugin: &mut Plugin<Processing>,
    window: &mut Window,
    what: &str,
    mut is: impl FnMut(&mut Plugin<Processing>, &mut Window) -> Result<bool, Error>,
) -> Outcome {
    wait_until(what, || {
        window.wait(plugin, Duration::from_millis(20))?;
        is(plugin, window)
    })
}

#[test]
fn keys_that_the_window_has_no_use_for_are_the_hosts() {
    on_a_screen("keys_that_the_window_has_no_use_for_are_the_hosts", || {
        let space = Key::Letter(' ');
        let mut plugin = playing()?;
        let mut window = Window::open(&mut plugin)?;
        window.wait_until_drawn(&mut plugin)?;
        window.click(&mut plugin, HOLD)?;
        reads(&mut plugin, &mut window, "hold", "On")?;
        window.strike(&mut plugin, space)?;
        until(&mut plugin, &mut window, "Space is heard", |_, window| {
            Ok(window.host_heard(space)? == [true, false])
        })?;
        // While somebody types, everything is the text's, however slow the window is to see it.
        window.click(&mut plugin, (860, 120))?;
        for key in [Key::Letter('5'), space, Key::Return] {
            window.strike(&mut plugin, key)?;
        }
        reads(&mut plugin, &mut window, "copies", "5 copies")?;
        assert_eq!(window.host_heard(space)?, [true, false]);
        assert!(window.host_heard(Key::Letter('5'))?.is_empty());
        assert_eq!(plugin.text("hold")?, "On", "nor did Space press anything");
        window.close(&mut plugin)
    });
}

/// Where the corner is by which a window of the usual size is dragged.
const CORNER: (i16, i16) = (954, 634);

#[test]
fn in_a_host_that_makes_no_room_the_window_goes_back_to_the_size_of_its_place() {
    on_a_screen(
        "in_a_host_that_makes_no_room_the_window_goes_back_to_the_size_of_its_place",
        || {
            for room in [Room::Promised, Room::Refused] {
                let mut plugin = playing()?;
                plugin.set_room(room);
                let mut window = Window::open(&mut plugin)?;
                window.wait_until_drawn(&mut plugin)?;
                let place = window.size();
                assert_eq!(place, (960, 640));
                for way in [(120, 90), (-90, -70)] {
                    drag_corner(&mut plugin, &mut window, way)?;
                    until(&mut plugin, &mut window, "its size", |_, window| {
                        Ok(window.inner_size()? == place)
                    })?;
                }
                window.close(&mut plugin)?;
            }
            Ok(())
        },
    );
}

/// Drags the corner until the host is asked for another size, and lets go. The window may just be on
/// its way back from where it was dragged before: whoever misses the corner then reaches for it again.
fn drag_corner(
    plugin: &mut Plugin<Processing>,
    window: &mut Window,
    (across, down): (i16, i16),
) -> Outcome {
    const LOOKS: u32 = 100;
    let asked = plugin.requests().sizes;
    let mut looks = 0..;
    until(plugin, window, "the wish for a size", |plugin, window| {
        if plugin.requests().sizes > asked {
            return Ok(true);
        }
        if looks
            .next()
            .is_some_and(|look: u32| look.is_multiple_of(LOOKS))
        {
            window.press(false)?;
            window.point(CORNER)?;
            window.press(true)?;
            window.point((CORNER.0 + across, CORNER.1 + down))?;
        }
        Ok(false)
    })?;
    window.press(false)
}

#[test]
fn a_host_that_makes_room_on_its_own_and_says_nothing_is_followed() {
    on_a_screen(
        "a_host_that_makes_room_on_its_own_and_says_nothing_is_followed",
        || {
            let mut plugin = playing()?;
            // Nor does it listen.
            plugin.set_room(Room::Promised);
            let mut window = Window::open(&mut plugin)?;
            window.wait_until_drawn(&mut plugin)?;
            // Smaller than it is meant to be, too: what is cut off cannot be clicked.
            for (width, height) in [(1100, 720), (640, 420), (960, 640)] {
                window.resize_parent(width, height)?;
                let mut way = 0;
                until(&mut plugin, &mut window, "it follows", |_, window| {
                    // At rest it looks at nothing; a hand comes by.
                    way = (way + 1) % 100;
                    window.point((300 + way, 200))?;
                    Ok(window.inner_size()? == (width, height))
                })?;
                window.wait_until_still(&mut plugin, Duration::from_millis(500))?;
                window.screenshot(&shots().join(format!("followed-{width}.png")))?;
            }
            window.close(&mut plugin)
        },
    );
}

#[test]
fn while_it_listens_one_sees_that_notes_come_in() {
    on_a_screen("while_it_listens_one_sees_that_notes_come_in", || {
        let mut plugin = playing()?;
        let mut window = Window::open(&mut plugin)?;
        window.wait_until_drawn(&mut plugin)?;
        let inside_the_ring = |window: &mut Window| {
            let picture = window.picture()?;
            let place = (26 * picture.width as usize + 30) * 3;
            Ok(picture.pixels[place..place + 3].to_vec())
        };
        let quiet = inside_the_ring(&mut window)?;
        let strike = Block::of(512).event(0, Event::note_on(0, 62, 0.8));
        plugin.process(&strike.event(400, Event::note_off(0, 62)))?;
        let mut heard = quiet.clone();
        until(
            &mut plugin,
            &mut window,
            "it shows that it hears",
            |_, window| {
                heard = inside_the_ring(window)?;
                Ok(heard != quiet)
            },
        )?;
        window.screenshot(&shots().join("hears.png"))?;
        until(
            &mut plugin,
            &mut window,
            "it is quiet again",
            |_, window| Ok(inside_the_ring(window)? == quiet),
        )?;
        window.close(&mut plugin)
    });
}

#[test]
fn the_window_is_seen_at_every_size_theme_and_zoom() {
    on_a_screen("the_window_is_seen_at_every_size_theme_and_zoom", || {
        let looks = [
            ("usual-light", 960, 640, 1.0, false),
            ("usual-dark", 960, 640, 1.0, true),
            ("small-light", 760, 480, 1.0, false),
            ("small-dark", 760, 480, 1.0, true),
            ("large-light", 1200, 800, 1.0, false),
            ("large-dark", 1200, 800, 1.0, true),
            ("zoomed-150", 960, 640, 1.5, true),
            ("zoomed-200", 960, 640, 2.0, false),
            ("small-zoomed-200", 760, 480, 2.0, false),
        ];
        for (name, width, height, zoom, dark) in looks {
            let mut plugin = playing()?;
            let window = json!({"width": width, "height": height, "zoom": zoom, "dark": dark});
            let state = state(
                &mut plugin,
                window,
                &[
                    ("hold", json!({"bool": true})),
                    ("copies", json!({"i32": 3})),
                ],
            )?;
            plugin.load(&state)?;
            let mut window = Window::open(&mut plugin)?;
            let zoomed = |points: u32| (f64::from(points) * zoom) as u32;
            assert_eq!(window.size(), (zoomed(width), zoomed(height)), "{name}");
            window.wait_until_drawn(&mut plugin)?;
            roll(&mut plugin, &mut window, 120.0, 30)?;
            window.screenshot(&shots().join(format!("{name}.png")))?;
            window.close(&mut plugin)?;
        }
        Ok(())
    });
}

#[test]
fn every_view_and_every_group_of_parameters_is_a_click_away() {
    on_a_screen(
        "every_view_and_every_group_of_parameters_is_a_click_away",
        || {
            let mut plugin = playing()?;
            let window = json!({"width": 960, "height": 640, "zoom": 1.0, "dark": false});
            let settings = [
                ("hold", json!({"bool": true})),
                ("copies", json!({"i32": 8})),
                ("fold", json!({"i32": 1})),
                // Asked to be faster than a player could, so that a problem is told.
                ("drift", json!({"i32": 1})),
                ("shift_by", json!({"i32": 3})),
            ];
            let state = state(&mut plugin, window, &settings)?;
            plugin.load(&state)?;
            let mut window = Window::open(&mut plugin)?;
            window.wait_until_drawn(&mut plugin)?;
            let mut at = roll(&mut plugin, &mut window, 120.0, 10)?;
            let places = [
                ("alignments", (420, 276)),
                ("phrase", (482, 276)),
                ("mode-changes", (554, 276)),
                ("sonority", (629, 276)),
                ("files", (676, 276)),
                ("group-capture", (737, 85)),
                ("group-growth", (827, 85)),
                ("group-fold", (877, 85)),
                ("group-output", (919, 85)),
            ];
            let mut before = window.picture()?;
            for (name, place) in places {
                window.click(&mut plugin, place)?;
                at = roll(&mut plugin, &mut window, at, 10)?;
                let mut after = window.picture()?;
                wait_until(&format!("{name} on another page"), || {
                    at = roll(&mut plugin, &mut window, at, 5)?;
                    after = window.picture()?;
                    Ok(after.difference(&before) > 1500)
                })?;
                after.save(&shots().join(format!("page-{name}.png")))?;
                before = after;
            }
            window.close(&mut plugin)
        },
    );
}

/// On the Cue button, where there is one.
const CUE: (i16, i16) = (244, 28);

#[test]
fn a_cue_from_the_window_moves_the_copy_with_the_next_cycle() {
    on_a_screen(
        "a_cue_from_the_window_moves_the_copy_with_the_next_cycle",
        || {
            let mut instance = instance()?;
            let plan = json!([
                {"stage": 2, "tonic": 2, "mode": "lydian", "over": 6},
                {"beats": 200.0, "tonic": 9, "mode": "aeolian", "over": 0},
            ]);
            let settings = [
                ("hold", json!({"bool": true})),
                ("motion", json!({"i32": 1})),
                ("dwell", json!({"i32": 8})),
                ("advance", json!({"i32": 1})),
                ("resulting", json!({"i32": 1})),
            ];
            let size = json!({"width": 960, "height": 640, "zoom": 1.0});
            let bytes = with_plan(&state(&mut instance, size, &settings)?, plan);
            instance.load(&bytes)?;
            let mut plugin = instance.activate(Setup::default())?.start()?;
            let mut window = Window::open(&mut plugin)?;
            window.wait_until_drawn(&mut plugin)?;
            // Cycles of 3 beats; cued before beat 36, the copy jumps there. The song creeps until
            // the window has seen the hand, however long that takes.
            let mut at = roll(&mut plugin, &mut window, 33.0, 20)?;
            window.point(CUE)?;
            window.press(true)?;
            let mut given = false;
            wait_until("the cue", || {
                assert!(at < 35.0, "the window is too slow for this song");
                let block = Block::of(4).transport(Transport::rolling(120.0).at(at));
                given |= gestures_in(plugin.process(&block)?).contains(&true);
                at += 4.0 / 24_000.0;
                window.wait(&mut plugin, Duration::from_millis(8))?;
                Ok(given && plugin.text("cue")? == "On")
            })?;
            window.press(false)?;
            let before = struck_by_copy(&mut plugin, &mut window, &mut at, 35.9)?;
            assert_eq!(before.last(), Some(&67), "the phrase ends as it was played");
            let after = struck_by_copy(&mut plugin, &mut window, &mut at, 36.6)?;
            // A step ahead, the second note comes where the phrase has its first rest; and there
            // the plan leads into Lydian, with F sharp.
            assert_eq!(after.first(), Some(&66), "{after:?}");
            window.click(&mut plugin, (554, 276))?;
            at = roll(&mut plugin, &mut window, at, 40)?;
            window.screenshot(&shots().join("on-cue-modes.png"))?;
            window.click(&mut plugin, (360, 276))?;
            roll(&mut plugin, &mut window, at, 200)?;
            window.screenshot(&shots().join("on-cue-notes.png"))?;
            window.close(&mut plugin)
        },
    );
}

#[test]
fn knowing_nothing_one_reads_what_to_do_plays_and_presses_hold() {
    on_a_screen(
        "knowing_nothing_one_reads_what_to_do_plays_and_presses_hold",
        || {
            let mut plugin = playing()?;
            let mut window = Window::open(&mut plugin)?;
            window.wait_until_drawn(&mut plugin)?;
            window.screenshot(&shots().join("first-listening.png"))?;
            let mut at = 0.0;
            for key in [62, 65, 67, 69] {
                let on = Event::note_on(0, key, 0.8);
                let block = Block::of(512)
                    .transport(Transport::rolling(120.0).at(at))
                    .event(0, on);
                plugin.process(&block)?;
                at = roll(&mut plugin, &mut window, at + 512.0 / 24_000.0, 20)?;
                let off = Block::of(512)
                    .transport(Transport::rolling(120.0).at(at))
                    .event(0, Event::note_off(0, key));
                plugin.process(&off)?;
                at += 512.0 / 24_000.0;
            }
            window.click(&mut plugin, HOLD)?;
            let mut gestures = Vec::new();
            wait_until("a press of Hold", || {
                let block = Block::of(512).transport(Transport::rolling(120.0).at(at));
                at += 512.0 / 24_000.0;
                gestures.extend(gestures_in(plugin.process(&block)?));
                window.wait(&mut plugin, Duration::from_millis(10))?;
                Ok(gestures.len() >= 2)
            })?;
            assert_eq!(gestures, [true, false], "the hand on and the hand off");
            assert_eq!(plugin.text("hold")?, "On");
            roll(&mut plugin, &mut window, at, 120)?;
            window.wait(&mut plugin, Duration::from_millis(200))?;
            window.screenshot(&shots().join("first-holding.png"))?;
            wait_until("the phrase in the project", || {
                roll(&mut plugin, &mut window, at, 1)?;
                let saved = plugin.save()?;
                let text = String::from_utf8_lossy(&saved[8..]).into_owned();
                Ok(text.contains("\\\"key\\\":62"))
            })?;
            window.close(&mut plugin)
        },
    );
}

#[test]
fn a_host_may_take_its_time_between_making_placing_and_showing_the_window() {
    on_a_screen(
        "a_host_may_take_its_time_between_making_placing_and_showing_the_window",
        || {
            let mut plugin = playing()?;
            for pause in [30, 300] {
                let mut window = Window::open_slowly(&mut plugin, Duration::from_millis(pause))?;
                window.wait_until_drawn(&mut plugin)?;
                window.close(&mut plugin)?;
            }
            Ok(())
        },
    );
}

#[test]
fn a_host_that_is_kept_from_its_work_while_the_window_is_made_sees_it_drawn() {
    on_a_screen(
        "a_host_that_is_kept_from_its_work_while_the_window_is_made_sees_it_drawn",
        || {
            let mut plugin = playing()?;
            for _ in 0..3 {
                let mut window = Window::open_interrupted(&mut plugin)?;
                window.wait_until_drawn(&mut plugin)?;
                window.close(&mut plugin)?;
            }
            Ok(())
        },
    );
}

#[test]
fn an_open_window_at_rest_stays_as_it_is() {
    on_a_screen("an_open_window_at_rest_stays_as_it_is", || {
        let mut plugin = instance()?;
        let mut window = Window::open(&mut plugin)?;
        window.wait_until_drawn(&mut plugin)?;
        // Just opened, it is drawn a few times more.
        window.wait_until_still(&mut plugin, Duration::from_secs(2))?;
        window.close(&mut plugin)
    });
}

#[test]
fn opening_and_closing_a_hundred_times_leaves_it_whole() {
    on_a_screen(
        "opening_and_closing_a_hundred_times_leaves_it_whole",
        || {
            let mut plugin = playing()?;
            let mut at = 0.0;
            for _ in 0..100 {
                let mut window = Window::open(&mut plugin)?;
                at = roll(&mut plugin, &mut window, at, 2)?;
                window.close(&mut plugin)?;
            }
            let mut window = Window::open(&mut plugin)?;
            window.wait_until_drawn(&mut plugin)?;
            window.click(&mut plugin, HOLD)?;
            reads(&mut plugin, &mut window, "hold", "On")?;
            window.close(&mut plugin)
        },
    );
}

#[test]
fn resizing_while_it_plays_is_drawn_and_kept_with_the_project() {
    on_a_screen(
        "resizing_while_it_plays_is_drawn_and_kept_with_the_project",
        || {
            let mut plugin = playing()?;
            let state = state(
                &mut plugin,
                json!({"width": 960, "height": 640, "zoom": 1.0, "dark": true}),
                &[("hold", json!({"bool": true}))],
            )?;
            plugin.load(&state)?;
            let mut window = Window::open(&mut plugin)?;
            window.wait_until_drawn(&mut plugin)?;
            let mut at = 0.0;
            for step in 0..24 {
                window.resize(&mut plugin, 800 + step * 25, 500 + step * 18)?;
                at = roll(&mut plugin, &mut window, at, 4)?;
            }
            window.resize(&mut plugin, 300, 200)?;
            roll(&mut plugin, &mut window, at, 20)?;
            assert_eq!(window.size(), (760, 480), "no smaller than it can be read");
            window.resize(&mut plugin, 1100, 720)?;
            // The window learns its size on a thread of its own.
            let mut saved = Vec::new();
            wait_until("the new size in the project", || {
                at = roll(&mut plugin, &mut window, at, 5)?;
                saved = plugin.save()?;
                Ok(window_of(&saved)["width"] == 1100 && window_of(&saved)["height"] == 720)
            })?;
            roll(&mut plugin, &mut window, at, 30)?;
            window.screenshot(&shots().join("resized.png"))?;
            window.close(&mut plugin)?;
            drop(plugin);
            let mut again = instance()?;
            again.load(&saved)?;
            let window = Window::open(&mut again)?;
            assert_eq!(window.size(), (1100, 720));
            window.close(&mut again)
        },
    );
}

#[test]
fn a_project_loaded_while_the_window_is_open_brings_its_size_and_zoom() {
    on_a_screen(
        "a_project_loaded_while_the_window_is_open_brings_its_size_and_zoom",
        || {
            let mut plugin = playing()?;
            let mut window = Window::open(&mut plugin)?;
            window.wait_until_drawn(&mut plugin)?;
            let looks = [(1100, 700, 1.0), (900, 600, 1.5), (760, 480, 1.0)];
            let mut at = 0.0;
            for (width, height, zoom) in looks {
                let other = json!({"width": width, "height": height, "zoom": zoom, "dark": true});
                let state = state(&mut plugin, other, &[("hold", json!({"bool": true}))])?;
                plugin.load(&state)?;
                let zoomed = |points: u32| (f64::from(points) * zoom) as u32;
                let wanted = (zoomed(width), zoomed(height));
                wait_until(&format!("{wanted:?}"), || {
                    at = roll(&mut plugin, &mut window, at, 1)?;
                    Ok(window.size() == wanted)
                })?;
            }
            window.close(&mut plugin)
        },
    );
}

#[test]
fn two_windows_side_by_side_do_not_meddle_with_each_other() {
    on_a_screen(
        "two_windows_side_by_side_do_not_meddle_with_each_other",
        || {
            let (mut one, mut other) = (playing()?, playing()?);
            let mut under = Window::open(&mut one)?;
            under.wait_until_drawn(&mut one)?;
            // The later one lies above the earlier.
            let mut above = Window::open(&mut other)?;
            above.wait_until_drawn(&mut other)?;
            above.click(&mut other, HOLD)?;
            reads(&mut other, &mut above, "hold", "On")?;
            one.process(&Block::of(512))?;
            assert_eq!(one.text("hold")?, "Off");
            above.close(&mut other)?;
            under.click(&mut one, HOLD)?;
            reads(&mut one, &mut under, "hold", "On")?;
            under.close(&mut one)
        },
    );
}

#[test]
fn a_host_may_move_a_parameter_that_is_being_dragged() {
    on_a_screen("a_host_may_move_a_parameter_that_is_being_dragged", || {
        let mut plugin = playing()?;
        let state = state(
            &mut plugin,
            json!({"width": 960, "height": 640, "zoom": 1.0, "dark": false}),
            &[("hold", json!({"bool": true}))],
        )?;
        plugin.load(&state)?;
        let mut window = Window::open(&mut plugin)?;
        window.wait_until_drawn(&mut plugin)?;
        // The first row of the parameters is Copies.
        let start = (860, 120);
        window.point(start)?;
        window.wait(&mut plugin, Duration::from_millis(50))?;
        window.press(true)?;
        let (begins, ends, values) = (Cell::new(0), Cell::new(0), Cell::new(0));
        let add = |count: &Cell<u32>| count.set(count.get() + 1);
        let count = |plugin: &mut Plugin<Processing>, at: f64| -> Outcome {
            let host_moves = plugin.setting("copies", "2")?;
            let block = Block::of(256)
                .transport(Transport::rolling(120.0).at(at))
                .event(17, host_moves);
            for heard in plugin.process(&block)? {
                match heard.event {
                    Event::Gesture { begins: true, .. } => add(&begins),
                    Event::Gesture { begins: false, .. } => add(&ends),
                    Event::Value { .. } => add(&values),
                    _ => (),
                }
            }
            Ok(())
        };
        // To and fro, until enough of it was heard: how often a window is drawn is its own affair.
        let mut step = 0_u32;
        wait_until("the hand", || {
            step += 1;
            let way = 20 + (step * 7 % 90) as i16;
            window.point((start.0 + way, start.1))?;
            window.wait(&mut plugin, Duration::from_millis(12))?;
            count(&mut plugin, f64::from(step) * 0.02)?;
            Ok(values.get() > 4)
        })?;
        window.press(false)?;
        wait_until("the end of the gesture", || {
            step += 1;
            count(&mut plugin, f64::from(step) * 0.02)?;
            window.wait(&mut plugin, Duration::from_millis(12))?;
            Ok(ends.get() > 0)
        })?;
        assert_eq!((begins.get(), ends.get()), (1, 1), "one gesture");
        window.close(&mut plugin)
    });
}

#[test]
fn a_value_is_typed_on_a_real_keyboard() {
    on_a_screen("a_value_is_typed_on_a_real_keyboard", || {
        let mut plugin = playing()?;
        let mut window = Window::open(&mut plugin)?;
        window.wait_until_drawn(&mut plugin)?;
        let five = ("copies", "5 copies");
        tries(&mut plugin, &mut window, five, |plugin, window, pause| {
            window.click(plugin, (860, 120))?;
            window.wait(plugin, pause)?;
            for key in [Key::Letter('5'), Key::Return] {
                window.strike(plugin, key)?;
            }
            Ok(())
        })?;
        window.close(&mut plugin)
    });
}

#[test]
fn a_length_is_asked_for_and_one_click_sets_the_counts() {
    on_a_screen(
        "a_length_is_asked_for_and_one_click_sets_the_counts",
        || {
            let mut plugin = playing()?;
            let window = json!({"width": 960, "height": 640, "zoom": 1.0, "dark": false});
            let state = state(&mut plugin, window, &[("hold", json!({"bool": true}))])?;
            plugin.load(&state)?;
            let mut window = Window::open(&mut plugin)?;
            window.wait_until_drawn(&mut plugin)?;
            roll(&mut plugin, &mut window, 120.0, 10)?;
            // 13 dwells and 12 drifts of cycles of 1.5 s: 5:00 is 200 cycles, 8 of each.
            let eight = ("drift", "8 cycles");
            tries(&mut plugin, &mut window, eight, |plugin, window, pause| {
                window.click(plugin, (650, 90))?;
                window.wait(plugin, pause)?;
                for key in [Key::Letter('5'), Key::Return] {
                    window.strike(plugin, key)?;
                }
                roll(plugin, window, 121.0, 10)?;
                // What is offered comes up out of the paper in a moment.
                window.wait(plugin, 4 * pause)?;
                window.screenshot(&shots().join("make-it-last.png"))?;
                window.click(plugin, (560, 138))
            })?;
            window.close(&mut plugin)
        },
    );
}

#[test]
fn closing_in_the_middle_of_a_drag_takes_the_hand_off() {
    on_a_screen("closing_in_the_middle_of_a_drag_takes_the_hand_off", || {
        let mut plugin = playing()?;
        let mut window = Window::open(&mut plugin)?;
        window.wait_until_drawn(&mut plugin)?;
        window.point((860, 120))?;
        window.wait(&mut plugin, Duration::from_millis(50))?;
        window.press(true)?;
        // On and on, until the hand is heard: a window that is slow has seen nothing yet.
        let (mut gestures, mut step) = (Vec::new(), 0_u32);
        wait_until("the hand", || {
            step += 1;
            window.point((862 + (step * 7 % 60) as i16, 120))?;
            window.wait(&mut plugin, Duration::from_millis(15))?;
            gestures.extend(gestures_in(plugin.process(&Block::of(512))?));
            Ok(!gestures.is_empty())
        })?;
        window.close(&mut plugin)?;
        gestures.extend(gestures_in(plugin.process(&Block::of(512))?));
        assert_eq!(gestures, [true, false]);
        Ok(())
    });
}

/// On the flag at the foot of the plan, in a window of the usual size.
const FLAG: (i16, i16) = (46, 202);

/// What a saved state says of where the process begins.
fn begins_at(state: &[u8]) -> Value {
    let state: Value = serde_json::from_slice(&state[8..]).expect("a saved state is JSON");
    let kept = state["fields"]["kept"].as_str().expect("a text");
    let kept: Value = serde_json::from_str(kept).expect("JSON");
    kept["begins_at"].clone()
}

#[test]
fn a_bar_typed_on_the_flag_of_the_plan_is_kept_and_waited_for() {
    on_a_screen(
        "a_bar_typed_on_the_flag_of_the_plan_is_kept_and_waited_for",
        || {
            let mut plugin = instance()?;
            let size = json!({"width": 960, "height": 640, "zoom": 1.0});
            let state = state(&mut plugin, size, &[("hold", json!({"bool": true}))])?;
            plugin.load(&state)?;
            let mut plugin = plugin.activate(Setup::default())?.start()?;
            let mut window = Window::open(&mut plugin)?;
            window.wait_until_drawn(&mut plugin)?;
            roll(&mut plugin, &mut window, 0.0, 40)?;
            window.screenshot(&shots().join("flag-unwritten.png"))?;
            let mut pause = Duration::from_millis(50);
            wait_until("a beginning that is kept", || {
                window.strike(&mut plugin, Key::Escape)?;
                window.click(&mut plugin, FLAG)?;
                window.wait(&mut plugin, pause)?;
                window.screenshot(&shots().join("flag-typing.png"))?;
                for key in "33".chars().map(Key::Letter).chain([Key::Return]) {
                    window.strike(&mut plugin, key)?;
                    window.wait(&mut plugin, pause)?;
                }
                pause *= 2;
                Ok(begins_at(&plugin.save()?) == 128.0)
            })?;
            roll(&mut plugin, &mut window, 120.0, 40)?;
            window.screenshot(&shots().join("flag-written.png"))?;
            let mut struck = Vec::new();
            let mut at = 126.0;
            while at < 129.0 {
                let block = Block::of(480).transport(Transport::rolling(120.0).at(at));
                let heard = plugin.process(&block)?.to_vec();
                let ons = heard
                    .iter()
                    .filter(|heard| matches!(heard.event, Event::NoteOn { .. }));
                struck.extend(ons.map(|heard| at + f64::from(heard.frame) / 24_000.0));
                at += 480.0 / 24_000.0;
            }
            assert!((struck[0] - 128.0).abs() < 1e-3, "{struck:?}");
            window.close(&mut plugin)
        },
    );
}
