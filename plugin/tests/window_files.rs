//! The view of files, with real clicks and typing, and real files in a folder of the test's own.

#![allow(clippy::disallowed_methods, reason = "a hand may wait")]
#![allow(clippy::unwrap_used)]

mod quay;

use egui::accesskit::Role;
use egui::{Event, Key, Modifiers, Vec2, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT, Queryable};
use procession::bell::Bell;
use procession::editor::files::{FilesState, show};
use procession::editor::grant::{Granter, Instance};
use procession::editor::look::{Look, Theme, dress, prepare};
use procession::editor::seen::Seen;
use procession::editor::shell::Shell;
use procession::feed::{Snapshot, feed};
use procession::files::Writing;
use procession::params::Parameters;
use procession_core::engine::Anchor;
use procession_core::phrase::Phrase;
use procession_core::settings::{Settings, Shifts};
use quay::Quay;
use std::fs;
use std::sync::Arc;
use std::time::{Duration, Instant};

/// The view, and behind it what grants its wishes, as in the window.
struct Desk {
    view: FilesState,
    seen: Seen,
    granter: Granter,
    parameters: Arc<Parameters>,
}

struct Screen(Harness<'static, Desk>);

fn screen(text: &str) -> Screen {
    screen_of(text, 1, vec2(440.0, 330.0))
}

fn screen_of(text: &str, copies: usize, size: Vec2) -> Screen {
    screen_with(text, size, |settings| {
        settings.motion.copies = copies;
        settings.motion.dwell = 2;
        settings.motion.drift = 1;
        settings.motion.shifts = Shifts::Count(1);
    })
}

fn screen_with(text: &str, size: Vec2, adjust: impl FnOnce(&mut Settings)) -> Screen {
    let phrase = match text {
        "" => Phrase::empty(4.0).unwrap(),
        text => Phrase::from_text(text, 0.25).unwrap(),
    };
    let mut settings = Settings::default();
    adjust(&mut settings);
    let desk = Desk {
        view: FilesState::default(),
        seen: Seen::new(Snapshot::default(), phrase, settings, Anchor::NextStart),
        granter: Granter::default(),
        parameters: Parameters::new().0,
    };
    let look = Look::of(Theme::Light);
    let mut prepared = false;
    let frame = move |ui: &mut egui::Ui, desk: &mut Desk| {
        if !std::mem::replace(&mut prepared, true) {
            prepare(ui.ctx());
            dress(ui.ctx(), Theme::Light);
        }
        desk.seen.writing = desk.granter.writing();
        for wish in show(ui, &desk.seen, &look, &mut desk.view) {
            let instance = Instance {
                parameters: &desk.parameters,
                bell: &Bell::default(),
                host: &|_| (),
            };
            desk.granter.grant(wish, &desk.seen, instance);
        }
    };
    let mut harness = Harness::builder()
        .with_size(size)
        .build_ui_state(frame, desk);
    harness.run_steps(3);
    Screen(harness)
}

impl Screen {
    fn click(&mut self, label: &str) {
        self.0.get_by_label(label).click();
        self.0.run_steps(3);
    }

    fn type_into(&mut self, field: &str, text: &str) {
        self.0.get_by_role_and_label(Role::TextInput, field).click();
        self.0.run_steps(2);
        self.0.event_modifiers(
            Event::Key {
                key: Key::A,
                physical_key: None,
                pressed: true,
                repeat: false,
                modifiers: Modifiers::COMMAND,
            },
            Modifiers::COMMAND,
        );
        self.0.run_steps(1);
        if text.is_empty() {
            self.0.key_press(Key::Backspace);
        } else {
            self.0.event(Event::Text(text.to_owned()));
        }
        self.0.run_steps(2);
    }

    fn value_of(&self, field: &str) -> Option<String> {
        let field = self.0.get_by_role_and_label(Role::TextInput, field);
        field.accesskit_node().value()
    }

    /// Until what was ordered has ended; whatever goes wrong ends the test.
    fn await_end(&mut self) {
        let patience = Instant::now() + Duration::from_secs(60);
        loop {
            self.0.run_steps(1);
            if !matches!(self.0.state().seen.writing.writing, Writing::Going { .. }) {
                break;
            }
            assert!(Instant::now() < patience, "the writing does not end");
            std::thread::sleep(Duration::from_millis(5));
        }
        self.0.run_steps(2);
    }

    fn write(&mut self, button: &str) {
        self.click(button);
        self.await_end();
    }

    fn says(&self, words: &str) -> bool {
        self.0.query_all_by_label_contains(words).count() > 0
    }

    /// In that folder, under the name "night", only the text of the plan.
    fn only_plan(&mut self, quay: &Quay) {
        self.type_into("Folder", &quay.folder().display().to_string());
        self.type_into("Name", "night");
        for kind in ["MIDI", "Score, shared beat one", "Picture, PNG"] {
            self.click(kind);
        }
    }
}

const LANTERNS: &str = "D4 F4 G4 . A4 C5 E5 D5";

#[test]
fn what_is_switched_on_is_written_where_it_was_said_and_told() {
    let quay = Quay::new();
    let mut screen = screen(LANTERNS);
    screen.type_into("Folder", &quay.folder().display().to_string());
    screen.type_into("Name", "night");
    screen.click("Picture, PNG");
    screen.click("Plan as JSON");
    screen.write("Write 4 files");
    assert_eq!(
        quay.names(),
        ["night.json", "night.mid", "night.musicxml", "night.txt"]
    );
    assert!(screen.says(&format!("Written to {}:", quay.folder().display())));
    for name in quay.names() {
        assert!(screen.says(&name), "{name}");
    }
    let text = fs::read_to_string(quay.folder().join("night.txt")).unwrap();
    assert!(text.starts_with("night\n\n7 notes in 8 steps"), "{text}");
}

#[test]
fn the_score_is_written_for_the_instruments_that_were_chosen() {
    let quay = Quay::new();
    let mut screen = screen(LANTERNS);
    screen.type_into("Folder", &quay.folder().display().to_string());
    screen.type_into("Name", "night");
    for kind in ["MIDI", "Plan as text", "Picture, PNG"] {
        screen.click(kind);
    }
    screen.click("Score, own beat one");
    screen.click("Copy 1 sounds");
    screen.click("an octave up");
    screen.write("Write 2 files");
    for name in ["night.musicxml", "night, own beat one.musicxml"] {
        let score = fs::read_to_string(quay.folder().join(name)).unwrap();
        assert_eq!(
            score.matches("sounds an octave higher").count(),
            1,
            "{name}"
        );
    }
}

#[test]
fn a_file_that_is_there_is_asked_about_in_place() {
    let quay = Quay::new();
    fs::write(quay.folder().join("night.txt"), "older").unwrap();
    let mut screen = screen(LANTERNS);
    screen.only_plan(&quay);
    let older =
        |quay: &Quay| fs::read_to_string(quay.folder().join("night.txt")).unwrap() == "older";

    screen.write("Write 1 file");
    assert!(screen.says("night.txt is there already"));
    assert!(older(&quay));
    screen.click("Leave");
    assert!(!screen.says("night.txt is there already"));
    assert!(older(&quay));

    screen.write("Write 1 file");
    screen.write("Keep both");
    assert!(screen.says("night 2.txt"));
    assert!(older(&quay));

    screen.write("Write 1 file");
    screen.write("Replace");
    assert!(screen.says("Written to"));
    assert!(!older(&quay));
    assert_eq!(quay.names(), ["night 2.txt", "night.txt"]);
}

#[test]
fn of_several_only_those_that_are_not_there_can_be_written() {
    let quay = Quay::new();
    fs::write(quay.folder().join("night.txt"), "older").unwrap();
    let mut screen = screen(LANTERNS);
    screen.only_plan(&quay);
    screen.click("Plan as JSON");
    screen.write("Write 2 files");
    screen.write("Write the others");
    assert!(screen.says("Left as they were:"));
    assert_eq!(quay.names(), ["night.json", "night.txt"]);
    assert_eq!(fs::read(quay.folder().join("night.txt")).unwrap(), b"older");
}

#[test]
fn a_folder_that_is_missing_is_made_if_that_is_wanted() {
    let quay = Quay::new();
    let pier = quay.folder().join("pier");
    let mut screen = screen(LANTERNS);
    screen.only_plan(&quay);
    screen.type_into("Folder", &pier.display().to_string());
    screen.write("Write 1 file");
    assert!(screen.says(&format!("There is no folder {}", pier.display())));
    assert!(!pier.exists());
    screen.write("Make the folder");
    assert!(pier.join("night.txt").is_file());
}

#[test]
fn what_cannot_be_is_said_with_its_remedy_and_can_be_mended() {
    let quay = Quay::new();
    fs::write(quay.folder().join("pier"), "a file").unwrap();
    let mut screen = screen(LANTERNS);
    screen.only_plan(&quay);
    let on_file = quay.folder().join("pier").display().to_string();
    for (field, typed, said) in [
        ("Name", "night/crossing", "can hold \"/\": take it out"),
        ("Name", "", "have no name: type one"),
        ("Folder", "quay", "type the whole path"),
        ("Folder", on_file.as_str(), "is a file, not a folder"),
    ] {
        screen.type_into(field, typed);
        screen.write("Write 1 file");
        assert!(screen.says(said), "{said}");
        // What was typed stands there to be mended, and the complaint goes with the mending.
        assert_eq!(screen.value_of(field).as_deref(), Some(typed));
        let mended = match field {
            "Name" => "night".to_owned(),
            _ => quay.folder().display().to_string(),
        };
        screen.type_into(field, &mended);
        assert!(!screen.says(said), "{said}");
    }
    screen.write("Write 1 file");
    assert_eq!(quay.names(), ["night.txt", "pier"]);
}

#[test]
fn without_a_phrase_it_says_what_to_do_and_writes_nothing() {
    let quay = Quay::new();
    let mut screen = screen("");
    screen.type_into("Folder", &quay.folder().display().to_string());
    assert!(screen.says("play one and switch on Hold"));
    screen.click("Write 4 files");
    screen.await_end();
    assert!(quay.names().is_empty());
}

#[test]
fn enter_in_the_name_writes_too() {
    let quay = Quay::new();
    let mut screen = screen(LANTERNS);
    screen.only_plan(&quay);
    screen
        .0
        .get_by_role_and_label(Role::TextInput, "Name")
        .click();
    screen.0.run_steps(2);
    screen.0.key_press(Key::Enter);
    screen.0.run_steps(3);
    screen.await_end();
    assert_eq!(quay.names(), ["night.txt"]);
}

#[test]
fn what_is_being_written_can_be_stopped_and_leaves_no_part() {
    let quay = Quay::new();
    let mut screen = screen_with(LANTERNS, vec2(440.0, 330.0), |settings| {
        // Half an hour of sound.
        settings.motion.dwell = 64;
        settings.motion.drift = 64;
    });
    screen.only_plan(&quay);
    screen.click("Plan as text");
    screen.click("Sound, WAV");
    screen.click("Write 1 file");
    assert!(screen.says("Writing"));
    screen.click("Stop");
    screen.await_end();
    assert!(screen.says("Stopped, as you asked"));
    assert!(quay.names().is_empty());
}

#[test]
fn the_plug_in_may_go_while_files_are_being_written() {
    let quay = Quay::new();
    let mut screen = screen_with(LANTERNS, vec2(440.0, 330.0), |settings| {
        settings.motion.dwell = 64;
        settings.motion.drift = 64;
    });
    screen.only_plan(&quay);
    screen.click("Sound, WAV");
    screen.click("Write 2 files");
    drop(screen);
    // The thread is joined by now, and has taken away what it was at.
    assert!(!quay.names().iter().any(|name| name.contains(".wav")));
}

#[test]
fn in_the_smallest_room_the_button_is_in_sight_with_eight_copies_too() {
    let size = vec2(340.0, 220.0);
    let screen = screen_of(LANTERNS, 8, size);
    let button = screen.0.get_by_label("Write 4 files").rect();
    assert!(
        button.max.x <= size.x && button.max.y <= size.y,
        "{button:?}"
    );
    for copy in ["Steady sounds", "Copy 8 sounds"] {
        let choice = screen.0.get_by_label(copy).rect();
        assert!(choice.max.x <= size.x, "{copy}: {choice:?}");
    }
}

#[test]
fn about_the_plug_in_is_told_below_the_files_and_leads_back() {
    let mut screen = screen(LANTERNS);
    screen.click("Plan as JSON");
    screen.0.get_by_label("About Procession").focus();
    screen.0.run_steps(4);
    screen.click("About Procession");
    assert!(screen.says("sends nothing anywhere"));
    screen.click("Back");
    assert!(!screen.says("sends nothing anywhere"));
    assert!(screen.says("Write 5 files"), "what was chosen stays");
}

#[test]
fn the_window_has_the_view_to_choose() {
    let (parameters, _audio) = Parameters::new();
    let phrase = Phrase::from_text(LANTERNS, 0.25).unwrap();
    parameters.kept.edit(|kept| kept.taken.phrase = phrase);
    let mut shell = Shell::new(parameters, feed().1, Bell::default());
    let mut prepared = false;
    let mut harness = Harness::builder()
        .with_size(vec2(760.0, 480.0))
        .build_ui(move |ui| {
            if !std::mem::replace(&mut prepared, true) {
                shell.prepare(ui.ctx());
            }
            shell.show(ui, &|_| ());
        });
    harness.run_steps(3);
    harness.get_by_label("Files").click();
    harness.run_steps(3);
    assert!(harness.query_by_label("Write 4 files").is_some());
}
