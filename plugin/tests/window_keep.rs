//! Takes and sketches in the window, with real clicks, typing and keys, and a host that writes down
//! every gesture.
#![allow(clippy::unwrap_used)]
#![allow(clippy::disallowed_methods, reason = "a hand may wait")]

mod host;

use egui::{Key, Modifiers, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use host::Host;
use procession::bell::Bell;
use procession::editor::model::layout::View;
use procession::editor::shell::Shell;
use procession::feed::feed;
use procession::handover::AudioSide;
use procession::params::Parameters;
use procession::state::{How, Kept};
use procession_core::phrase::Phrase;
use std::sync::Arc;

struct Desk {
    harness: Harness<'static>,
    parameters: Arc<Parameters>,
    audio: AudioSide,
    host: Arc<Host>,
    bell: Bell,
}

const ONE: &str = "D4 . F4 G4 . A4";
const OTHER: &str = "E4 B4 . G4 A4 . . C5";

fn phrase(text: &str) -> Phrase {
    Phrase::from_text(text, 0.25).unwrap()
}

impl Desk {
    fn new() -> Self {
        let (parameters, audio) = Parameters::new();
        let host = Host::new(parameters.clone());
        let (_, seer) = feed();
        let bell = Bell::default();
        let mut shell = Shell::new(parameters.clone(), seer, bell.clone());
        shell.choose(View::Keep);
        let context = host.context();
        let own = parameters.clone();
        let mut prepared = false;
        let harness = Harness::builder()
            .with_size(vec2(1280.0, 900.0))
            .build_ui(move |ui| {
                if !std::mem::replace(&mut prepared, true) {
                    shell.prepare(ui.ctx());
                }
                shell.show(ui, &|gesture| gesture.make(&own, &context.param_setter()));
            });
        let desk = Self {
            harness,
            parameters,
            audio,
            host,
            bell,
        };
        desk.write(ONE);
        desk
    }

    /// As if it were written by hand.
    fn write(&self, text: &str) {
        let phrase = phrase(text);
        self.parameters.kept.edit(|kept| kept.taken.phrase = phrase);
    }

    /// As if it were played, and held.
    fn hold(&mut self, text: &str) {
        let mut taken = self.parameters.kept.current().taken;
        taken.phrase = phrase(text);
        self.audio.poll_incoming();
        self.audio.hand_on(&taken.phrase);
        self.audio.publish(&taken);
    }

    fn kept(&self) -> Kept {
        self.parameters.kept.current()
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

    fn value(&self, id: &str) -> String {
        let (_, parameter) = self.parameters.of_id(id).unwrap();
        parameter.text_of(parameter.normalized())
    }

    /// The essence of what is saved, byte for byte.
    fn saved(&self) -> String {
        self.kept().to_json()
    }
}

#[test]
fn whatever_is_held_stays_though_nobody_looks_and_a_click_brings_it_back() {
    let mut desk = Desk::new();
    for text in [OTHER, "C4 D4", "A4"] {
        desk.hold(text);
    }
    let takes: Vec<_> = desk
        .kept()
        .takes
        .iter()
        .map(|take| (take.phrase.clone(), take.how))
        .collect();
    let held = |text| (phrase(text), How::Held);
    let written = (phrase(ONE), How::Written);
    assert_eq!(takes, [written, held(OTHER), held("C4 D4"), held("A4")]);
    let before = desk.saved();
    desk.click("Take: 5 notes, held");
    assert_eq!(desk.kept().taken.phrase, phrase(OTHER));
    assert_eq!(desk.kept().takes.iter().len(), 4, "what gave way was there");
    desk.undo();
    assert_eq!(desk.saved(), before);
}

/// All that is part of it comes back, parameters as gestures of the host's; and one step of undo
/// takes all of it back.
#[test]
fn a_sketch_is_stored_and_called_up_with_all_its_parameters_as_gestures() {
    let mut desk = Desk::new();
    desk.host.automate_to("dwell", "3 cycles");
    desk.host.automate_to("target_mode", "Lydian");
    desk.host.automate_to("audition", "-20 dB");
    desk.click("Store as 1");
    desk.host.automate_to("dwell", "9 cycles");
    desk.host.automate_to("target_mode", "Dorian");
    desk.host.automate_to("audition", "-30 dB");
    desk.write(OTHER);
    let before = desk.saved();
    desk.host.take_heard();
    desk.click("Sketch 1:");
    assert_eq!(
        desk.host.take_heard(),
        [
            "begin dwell",
            "dwell = 3 cycles",
            "end dwell",
            "begin target_mode",
            "target_mode = Lydian",
            "end target_mode"
        ]
    );
    assert_eq!(desk.value("audition"), "-30 dB", "how loud the room is");
    assert_eq!(desk.kept().taken.phrase, phrase(ONE));
    desk.undo();
    assert_eq!(desk.saved(), before);
    assert_eq!(
        (desk.value("dwell"), desk.value("target_mode")),
        ("9 cycles".into(), "Dorian".into())
    );
    desk.undo();
    assert!(desk.kept().sketches.is_empty(), "the storing too");
}

#[test]
fn a_sketch_is_named_duplicated_and_emptied_and_the_keyboard_does_the_same() {
    let mut desk = Desk::new();
    desk.click("Store as 1");
    desk.click("Name of the sketch");
    desk.harness
        .event(egui::Event::Text("Lights astern".to_owned()));
    desk.harness.run_steps(2);
    desk.key(Modifiers::NONE, Key::Enter);
    let name = |desk: &Desk, place| {
        desk.kept()
            .sketches
            .get(place)
            .map(|sketch| sketch.name.clone())
    };
    assert_eq!(name(&desk, 0).as_deref(), Some("Lights astern"));
    desk.click("Duplicate");
    assert_eq!(name(&desk, 1).as_deref(), Some("Lights astern"));
    desk.click("Empty");
    assert_eq!(name(&desk, 1), None);
    desk.click("Sketch 4:");
    desk.key(Modifiers::NONE, Key::S);
    assert_eq!(name(&desk, 3).as_deref(), Some(""));
    desk.key(Modifiers::NONE, Key::ArrowLeft);
    desk.key(Modifiers::NONE, Key::S);
    assert_eq!(name(&desk, 2).as_deref(), Some(""));
    desk.key(Modifiers::NONE, Key::Delete);
    assert_eq!(name(&desk, 2), None);
}

#[test]
fn two_sketches_are_compared_with_one_key_and_told_apart_in_words() {
    let mut desk = Desk::new();
    desk.click("Store as 1");
    desk.host.automate_to("dwell", "4 cycles");
    desk.host.automate_to("copies", "5 copies");
    desk.click("Sketch 2:");
    desk.click("Store as 2");
    assert!(desk.says("B: copies 5 instead of 1, dwell 4 instead of 8 cycles."));
    desk.click("Hear A");
    assert_eq!(desk.value("dwell"), "8 cycles");
    desk.key(Modifiers::COMMAND, Key::B);
    assert_eq!(desk.value("dwell"), "4 cycles");
    desk.click("End comparing");
    assert_eq!(desk.bell.softer(), 0.0);
}

#[test]
fn what_is_compared_must_be_there_and_what_comes_otherwise_ends_it() {
    let mut desk = Desk::new();
    desk.click("Store as 1");
    desk.host.automate_to("dwell", "4 cycles");
    desk.key(Modifiers::COMMAND, Key::B);
    assert!(desk.says("Sketch 2, which is to be B, is empty: store one there"));
    assert_eq!(desk.value("dwell"), "4 cycles", "nothing has come");
    let compares = |desk: &mut Desk| desk.says("End comparing");
    assert!(!compares(&mut desk));
    desk.click("Sketch 2:");
    desk.click("Store as 2");
    desk.key(Modifiers::COMMAND, Key::B);
    assert!(compares(&mut desk));
    desk.undo();
    assert!(!compares(&mut desk), "what is there now is none of both");
    desk.key(Modifiers::COMMAND, Key::B);
    assert!(compares(&mut desk));
    desk.parameters.kept.load(|_| None);
    assert!(!compares(&mut desk), "another project");
}

/// A program change calls up what nobody compares, and a window that is closed compares nothing.
#[test]
fn called_up_from_outside_or_closed_nothing_is_softer_any_more() {
    let (parameters, _audio) = Parameters::new();
    let bell = Bell::default();
    let mut shell = Shell::new(parameters, feed().1, bell.clone());
    bell.soften(3.0);
    shell.call_up(0, None);
    assert_eq!(bell.softer(), 0.0);
    bell.soften(3.0);
    shell.let_go(&|_| ());
    assert_eq!(bell.softer(), 0.0);
}
