//! The program's window: the song, the project and the line to the system, with real clicks and
//! typing. In a host's window there is none of it.
#![allow(clippy::unwrap_used)]
#![allow(clippy::disallowed_types, reason = "never on the audio thread")]

mod host;
mod quay;

use egui::{Event, Key, Modifiers, Pos2, Role, ViewportCommand, pos2, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT, Queryable};
use host::Host;
use procession::bell::Bell;
use procession::editor::shell::Shell;
use procession::feed::feed;
use procession::params::Parameters;
use procession::program::line::{Backend, Connection};
use procession::program::song::Song;
use procession::program::start::Start;
use procession::program::{Program, program};
use procession_core::phrase::Phrase;
use quay::Quay;
use std::fs;
use std::sync::{Arc, Mutex};

/// A window of that size, of the program or of a plug-in.
struct Desk {
    harness: Harness<'static>,
    parameters: Arc<Parameters>,
    shell: Arc<Mutex<Shell>>,
    program: Program,
    song: Song,
}

impl Desk {
    fn new(width: f32, height: f32, is_program: bool) -> Self {
        let (parameters, _audio) = Parameters::of_program();
        let phrase = Phrase::from_text("D4 F4 . A4", 0.25).unwrap();
        parameters.kept.edit(|kept| kept.taken.phrase = phrase);
        let mut start = Start::default();
        start.line = Connection {
            backend: Backend::System,
            midi_input: Some("Quay".to_owned()),
            ..Connection::default()
        };
        let (program, audio) = program(&start);
        let host = Host::new(parameters.clone());
        let (_, seer) = feed();
        let mut shell = Shell::new(parameters.clone(), seer, Bell::default());
        if is_program {
            shell.become_program(program.clone());
        }
        let shell = Arc::new(Mutex::new(shell));
        let (shown, own) = (shell.clone(), parameters.clone());
        let context = host.context();
        let mut prepared = false;
        let harness = Harness::builder()
            .with_size(vec2(width, height))
            .build_ui(move |ui| {
                let mut shell = shown.lock().unwrap();
                if !std::mem::replace(&mut prepared, true) {
                    shell.prepare(ui.ctx());
                }
                shell.show(ui, &|gesture| gesture.make(&own, &context.param_setter()));
            });
        let mut desk = Self {
            harness,
            parameters,
            shell,
            program,
            song: audio.song,
        };
        desk.harness.run_steps(3);
        desk
    }

    fn usual() -> Self {
        Self::new(1200.0, 800.0, true)
    }

    /// The audio thread comes by.
    fn pass(&mut self) {
        self.song.pass(0, 48_000.0);
        self.harness.run_steps(2);
    }

    fn click(&mut self, label: &str) {
        self.harness.get_by_label(label).click();
        self.harness.run_steps(3);
    }

    fn write(&mut self, text: &str) {
        self.harness.event(Event::Text(text.to_owned()));
        self.harness.run_steps(2);
    }

    fn press(&mut self, modifiers: Modifiers, key: Key) {
        self.harness.key_press_modifiers(modifiers, key);
        self.harness.run_steps(3);
    }

    fn type_path(&mut self, path: &str) {
        self.click("Project file");
        self.press(Modifiers::COMMAND, Key::A);
        self.write(path);
    }

    fn has(&self, label: &str) -> bool {
        self.harness.query_by_label(label).is_some()
    }

    fn says(&self, part: &str) -> bool {
        self.harness
            .query_all_by_label_contains(part)
            .next()
            .is_some()
    }

    /// Whether the window was told to close.
    fn closes(&self) -> bool {
        let output = self.harness.output();
        let mut commands = output
            .viewport_output
            .values()
            .flat_map(|viewport| &viewport.commands);
        commands.any(|command| *command == ViewportCommand::Close)
    }

    fn change(&self) {
        let phrase = Phrase::from_text("E4 G4", 0.25).unwrap();
        self.parameters.kept.edit(|kept| kept.taken.phrase = phrase);
    }
}

#[test]
fn in_a_host_there_is_none_of_it() {
    let desk = Desk::new(1200.0, 800.0, false);
    for label in ["Start", "Bar 1", "Tempo", "New project"] {
        assert!(!desk.has(label), "{label}");
    }
    assert!(!desk.says("MIDI in"));
}

#[test]
fn the_song_starts_and_stops_by_the_button_and_by_the_keys() {
    let mut desk = Desk::usual();
    desk.click("Start");
    assert!(desk.program.song.rolls());
    desk.click("Stop");
    assert!(!desk.program.song.rolls());
    desk.press(Modifiers::COMMAND, Key::Enter);
    assert!(desk.program.song.rolls() && desk.has("Stop"));
}

#[test]
fn the_tempo_is_typed_and_dragged_within_its_range() {
    let mut desk = Desk::usual();
    let middle = |desk: &Desk| desk.harness.get_by_label("Tempo").rect().center();
    let typed = |desk: &mut Desk, text: &str| {
        desk.click("Tempo");
        desk.press(Modifiers::COMMAND, Key::A);
        desk.write(text);
        desk.press(Modifiers::NONE, Key::Enter);
        desk.program.song.tempo()
    };
    assert_eq!(typed(&mut desk, "97.5"), 97.5);
    assert_eq!(typed(&mut desk, "7000"), 300.0);
    assert_eq!(typed(&mut desk, "1"), 20.0);
    assert_eq!(typed(&mut desk, "soon"), 20.0);
    let from = middle(&desk);
    desk.harness.drag_at(from);
    desk.harness.run_steps(2);
    desk.harness.hover_at(from + vec2(50.0, 0.0));
    desk.harness.run_steps(2);
    desk.harness.drop_at(from + vec2(50.0, 0.0));
    desk.harness.run_steps(2);
    let dragged = desk.program.song.tempo();
    assert!(dragged > 22.0 && dragged < 60.0, "{dragged}");
}

#[test]
fn the_place_is_shown_and_typed_as_a_bar_a_beat_or_a_time() {
    let mut desk = Desk::usual();
    let mut typed = |text: &str| {
        desk.click("Place");
        desk.write(text);
        desk.press(Modifiers::NONE, Key::Enter);
        desk.pass();
        let shown = desk.harness.get_by_label("Place").accesskit_node().value();
        (desk.program.song.position(), shown.unwrap())
    };
    assert_eq!(typed("12.3"), (46.0, "12.3".to_owned()));
    assert_eq!(typed("0:10"), (20.0, "6.1".to_owned()));
    // What is none is said, and the song stays.
    assert_eq!(typed("soon").0, 20.0);
    assert!(desk.says("is not a place in the song"));
    desk.click("Bar 1");
    desk.pass();
    assert_eq!(desk.program.song.position(), 0.0);
}

#[test]
fn a_stage_that_is_clicked_on_the_plan_is_where_the_song_goes() {
    let mut desk = Desk::usual();
    let plan = desk.harness.get_by_label_contains("Plan: ").rect();
    let at = |share: f32| pos2(plan.left() + plan.width() * share, plan.center().y);
    let mut click = |at: Pos2| {
        desk.harness.hover_at(at);
        desk.harness.run_steps(2);
        desk.harness.drag_at(at);
        desk.harness.run_steps(1);
        desk.harness.drop_at(at);
        desk.harness.run_steps(2);
        desk.song.takes_visit()
    };
    // A phrase of one beat: a dwell of 8 cycles, a drift of 4, and so on, four times, and a dwell.
    assert_eq!(click(at(0.02)), Some(0.0));
    assert_eq!(click(at(0.99)), Some(48.0));
    assert_eq!(click(at(0.5 * (8.0 + 12.0) / 56.0 + 0.005)), Some(8.0));
}

#[test]
fn what_audio_and_midi_do_is_shown() {
    let mut desk = Desk::usual();
    assert!(desk.says("Audio: ALSA begins") || !cfg!(target_os = "linux"));
    assert!(desk.says("MIDI in: Quay, no note yet"));
    desk.harness.run_steps(2);
}

#[test]
fn a_project_is_saved_and_opened_by_its_path() {
    let quay = Quay::new();
    let mut desk = Desk::usual();
    desk.click("New project");
    desk.type_path(&quay.path("night"));
    desk.click("Save");
    assert!(desk.says("Saved as"));
    assert!(desk.has("night"), "the project has its name");
    let saved = fs::read(quay.folder().join("night.procession")).unwrap();

    desk.change();
    // By its key, without a word about where.
    desk.click("Done");
    desk.press(Modifiers::COMMAND, Key::S);
    let again = fs::read(quay.folder().join("night.procession")).unwrap();
    assert_ne!(again, saved);

    // Another one is asked about before what is open would be gone.
    fs::write(quay.folder().join("day.procession"), &saved).unwrap();
    desk.parameters.kept.edit(|kept| kept.seed = 99);
    desk.press(Modifiers::COMMAND, Key::O);
    desk.type_path(&quay.path("day.procession"));
    desk.click("Open");
    assert!(desk.says("has not been saved, and would be gone"));
    assert_eq!(desk.parameters.kept.current().seed, 99);
    desk.click("Open all the same");
    assert!(desk.has("day"));
    assert_eq!(desk.parameters.kept.current().seed, 1);
}

#[test]
fn closing_asks_only_if_something_would_be_lost() {
    let mut desk = Desk::usual();
    assert!(desk.shell.lock().unwrap().may_close());
    desk.program.closing.ask();
    desk.harness.step();
    assert!(desk.closes(), "nothing to ask about");

    let mut desk = Desk::usual();
    desk.change();
    assert!(!desk.shell.lock().unwrap().may_close());
    // The next window shows the question.
    desk.harness.run_steps(3);
    assert!(desk.says("This project has not been saved."));
    assert!(!desk.closes());
    desk.click("Go on");
    assert!(!desk.says("This project has not been saved."));
    assert!(
        !desk.shell.lock().unwrap().may_close(),
        "and it is asked again"
    );
    desk.harness.run_steps(3);
    desk.harness.get_by_label("Close without saving").click();
    desk.harness.step();
    desk.harness.step();
    assert!(desk.shell.lock().unwrap().may_close());
}

#[test]
fn save_and_close_saves_or_says_why_not_and_stays() {
    let quay = Quay::new();
    let mut desk = Desk::usual();
    desk.change();
    desk.program.closing.ask();
    desk.harness.run_steps(3);
    desk.click("Save and close");
    assert!(desk.says("Type the path of a project file"));
    fs::write(quay.folder().join("night.procession"), "somebody's").unwrap();
    desk.type_path(&quay.path("night"));
    desk.click("Save and close");
    assert!(desk.says("is there already"));
    assert!(!desk.shell.lock().unwrap().may_close());
    desk.click("Replace");
    assert!(desk.shell.lock().unwrap().may_close());
    let saved = fs::read(quay.folder().join("night.procession")).unwrap();
    assert!(saved.starts_with(b"{\"version\""));
}

#[test]
fn at_every_size_what_starts_the_song_is_to_be_seen() {
    for (width, height) in [
        (380.0, 300.0),
        (760.0, 480.0),
        (1200.0, 800.0),
        (1900.0, 1000.0),
    ] {
        let desk = Desk::new(width, height, true);
        let window = egui::Rect::from_min_size(Pos2::ZERO, vec2(width, height));
        for label in ["Start", "Place", "Tempo"] {
            let rect = desk.harness.get_by_label(label).rect();
            assert!(
                window.contains_rect(rect),
                "{label} at {width}x{height}: {rect:?}"
            );
        }
        let holds = desk
            .harness
            .get_by_role_and_label(Role::Switch, "Hold")
            .rect();
        let start = desk.harness.get_by_label("Start").rect();
        assert!(!holds.intersects(start));
    }
}
