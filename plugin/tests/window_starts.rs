//! Starting points in the window, with real clicks and keys, and a host that writes down every
//! gesture.
#![allow(clippy::unwrap_used)]

mod host;

use egui::{Key, Modifiers, Vec2, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use host::Host;
use procession::bell::Bell;
use procession::editor::shell::Shell;
use procession::feed::feed;
use procession::params::Parameters;
use procession::state::How;
use procession_core::phrase::Phrase;
use procession_core::starting_points::{ALL, named};
use std::sync::Arc;

struct Desk {
    harness: Harness<'static>,
    parameters: Arc<Parameters>,
    host: Arc<Host>,
}

const LARGE: Vec2 = vec2(1280.0, 900.0);
const SMALLEST: Vec2 = vec2(760.0, 480.0);

impl Desk {
    /// A new instance, in which there is no phrase yet.
    fn new(size: Vec2) -> Self {
        let (parameters, _) = Parameters::new();
        let host = Host::new(parameters.clone());
        let (_, seer) = feed();
        let mut shell = Shell::new(parameters.clone(), seer, Bell::default());
        let context = host.context();
        let own = parameters.clone();
        let mut prepared = false;
        let harness = Harness::builder().with_size(size).build_ui(move |ui| {
            if !std::mem::replace(&mut prepared, true) {
                shell.prepare(ui.ctx());
            }
            shell.show(ui, &|gesture| gesture.make(&own, &context.param_setter()));
        });
        Self {
            harness,
            parameters,
            host,
        }
    }

    fn click(&mut self, label: &str) {
        self.harness.run_steps(3);
        self.harness.get_by_label_contains(label).click();
        self.harness.run_steps(3);
    }

    fn key(&mut self, modifiers: Modifiers, key: Key) {
        self.harness.key_press_modifiers(modifiers, key);
        self.harness.run_steps(8);
    }

    fn says(&mut self, words: &str) -> bool {
        self.harness.run_steps(3);
        self.harness.query_by_label_contains(words).is_some()
    }

    fn undo(&mut self) {
        self.key(Modifiers::COMMAND, Key::Z);
    }

    fn phrase(&self) -> Phrase {
        self.parameters.kept.current().taken.phrase
    }

    fn value(&self, id: &str) -> String {
        let (_, parameter) = self.parameters.of_id(id).unwrap();
        parameter.text_of(parameter.normalized())
    }

    /// All that is saved, byte for byte: what is kept, and every parameter.
    fn saved(&self) -> String {
        let mut saved = self.parameters.kept.current().to_json();
        self.parameters.each(|declaration, parameter| {
            let value = parameter.normalized();
            saved += &format!("\n{} {value:?}", declaration.id);
        });
        saved
    }
}

#[test]
fn from_the_empty_window_one_is_read_and_begun_with_as_one_step() {
    for size in [LARGE, SMALLEST] {
        let mut desk = Desk::new(size);
        let before = desk.saved();
        desk.click("Starting points");
        desk.click("Starting point: Wake");
        let wake = named("Wake").unwrap();
        assert!(wake.listen.iter().all(|sentence| desk.says(sentence)));
        assert!(desk.phrase().is_empty(), "it is only looked at");
        desk.host.take_heard();
        desk.click("Begin with it");
        assert_eq!(
            desk.host.take_heard(),
            [
                "begin dwell",
                "dwell = 4 cycles",
                "end dwell",
                "begin drift",
                "drift = 2 cycles",
                "end drift"
            ]
        );
        assert_eq!(desk.phrase(), wake.phrase());
        assert!(desk.says("Wake is there. Press Hold to hear it."));
        assert!(desk.says(wake.listen[1]), "what to listen for stays");
        assert!(desk.says("Undo: Starting point: Wake") || desk.says("Undo"));
        desk.undo();
        assert_eq!(desk.saved(), before);
        desk.key(Modifiers::COMMAND | Modifiers::SHIFT, Key::Z);
        assert_eq!(
            (desk.phrase(), desk.value("drift")),
            (wake.phrase(), "2 cycles".into())
        );
    }
}

#[test]
fn what_was_there_gives_way_whole_and_its_phrase_stays_among_the_takes() {
    let mut desk = Desk::new(LARGE);
    let own = Phrase::from_text("E4 B4 . G4 A4 . . C5", 0.25).unwrap();
    desk.parameters
        .kept
        .edit(|kept| kept.taken.phrase = own.clone());
    desk.host.automate_to("copies", "5 copies");
    desk.host.automate_to("audition", "-20 dB");
    desk.click("Keep");
    assert!(
        !desk.says("Starting point: Wake"),
        "a phrase is there to be kept"
    );
    let before = desk.saved();
    desk.click("Starting points");
    // It is further down, out of sight; the keyboard brings it there.
    desk.harness
        .get_by_label_contains("Starting point: Fog on the Car Deck")
        .focus();
    desk.click("Begin with it");
    let kept = desk.parameters.kept.current();
    let takes: Vec<_> = kept
        .takes
        .iter()
        .map(|take| (take.phrase.clone(), take.how))
        .collect();
    assert_eq!(takes, [(own, How::Written)]);
    assert_eq!(kept.route.stages().len(), 3);
    assert_eq!(
        (
            desk.value("copies"),
            desk.value("grid"),
            desk.value("audition")
        ),
        ("6 copies".into(), "1/8".into(), "-20 dB".into()),
        "how loud the room is stays"
    );
    desk.harness
        .get_by_label_contains("Starting point: Wake")
        .focus();
    desk.click("Begin with it");
    assert!(
        !desk.parameters.kept.current().route.is_written(),
        "the form is generated again"
    );
    assert_eq!(desk.value("copy1_level"), "100 %");
    desk.undo();
    desk.undo();
    assert_eq!(desk.saved(), before);
}

#[test]
fn with_the_keyboard_alone_each_is_begun_with_and_undone_to_the_byte() {
    let mut desk = Desk::new(LARGE);
    let before = desk.saved();
    desk.harness.run_steps(3);
    desk.harness.get_by_label("Starting points").focus();
    desk.harness.run_steps(2);
    desk.key(Modifiers::NONE, Key::Enter);
    assert!(desk.phrase().is_empty(), "it is only looked at");
    for (place, start) in ALL.iter().enumerate() {
        if place > 0 {
            desk.key(Modifiers::NONE, Key::ArrowDown);
        }
        assert!(desk.says(start.listen[0]), "{}", start.name);
        desk.key(Modifiers::NONE, Key::Enter);
        assert_eq!(desk.phrase(), start.phrase(), "{}", start.name);
        let kept = desk.parameters.kept.current();
        assert_eq!(kept.modulations, start.modulations(), "{}", start.name);
        assert_eq!(*kept.route, start.route(), "{}", start.name);
        for (id, text) in start.settings() {
            let (_, parameter) = desk.parameters.of_id(id).unwrap();
            assert_eq!(
                Some(parameter.normalized()),
                parameter.value_of(text),
                "{id}"
            );
        }
    }
    // All but the last gave way, and two of them are on the same phrase.
    let takes = desk.parameters.kept.current().takes;
    assert_eq!(takes.iter().len(), ALL.len() - 2);
    for _ in ALL {
        desk.undo();
    }
    assert_eq!(desk.saved(), before);
}
