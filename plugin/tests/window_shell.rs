//! The shell of the window, with real clicks, drags and typing, and a host that writes down every
//! gesture.
#![allow(clippy::unwrap_used)]

mod host;

use egui::{Key, Modifiers, Role, pos2, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT, Queryable};
use host::Host;
use procession::bell::Bell;
use procession::editor::shell::Shell;
use procession::feed::feed;
use procession::params::Parameters;
use procession_core::phrase::Phrase;
use std::sync::Arc;

/// A window of that size on an instance with these parameters.
struct Desk {
    harness: Harness<'static>,
    parameters: Arc<Parameters>,
    host: Arc<Host>,
    bell: Bell,
}

impl Desk {
    fn new(width: f32, height: f32) -> Self {
        Self::of(width, height, false)
    }

    fn in_program() -> Self {
        Self::of(1200.0, 800.0, true)
    }

    fn of(width: f32, height: f32, in_program: bool) -> Self {
        let (parameters, _audio) = Parameters::new();
        let host = Host::new(parameters.clone());
        let (_, seer) = feed();
        let bell = Bell::default();
        let mut shell = Shell::new(parameters.clone(), seer, bell.clone());
        shell.in_program(in_program);
        let context = host.context();
        let own = parameters.clone();
        let mut prepared = false;
        let harness = Harness::builder()
            .with_size(vec2(width, height))
            .build_ui(move |ui| {
                if !std::mem::replace(&mut prepared, true) {
                    shell.prepare(ui.ctx());
                    // A frame of the harness lasts as long as many of a window.
                    ui.ctx()
                        .options_mut(|options| options.input_options.max_double_click_delay = 1.0);
                }
                shell.show(ui, &|gesture| gesture.make(&own, &context.param_setter()));
            });
        Self {
            harness,
            parameters,
            host,
            bell,
        }
    }

    fn usual() -> Self {
        Self::new(1200.0, 800.0)
    }

    fn with_phrase(self, text: &str) -> Self {
        let phrase = Phrase::from_text(text, 0.25).unwrap();
        self.parameters
            .kept
            .edit(|kept| kept.taken.phrase = phrase.clone());
        self
    }

    fn heard(&mut self) -> Vec<String> {
        self.harness.run();
        self.host.take_heard()
    }

    fn click(&mut self, label: &str) {
        self.harness.run();
        self.harness.get_by_label(label).click();
        self.harness.run();
    }

    fn middle_of(&mut self, label: &str) -> egui::Pos2 {
        self.harness.run();
        self.harness.get_by_label(label).rect().center()
    }

    fn value_of(&mut self, label: &str) -> Option<String> {
        self.harness.run();
        let node = self.harness.get_by_label(label);
        node.accesskit_node().value()
    }
}

#[test]
fn pressing_hold_is_one_whole_gesture() {
    let mut desk = Desk::usual();
    desk.click("Hold");
    assert_eq!(desk.heard(), ["begin hold", "hold = On", "end hold"]);
    assert!(desk.parameters.hold());
    assert!(
        desk.bell.takes_hold(),
        "the audio thread knows whose hand it was"
    );
    desk.click("Hold");
    assert_eq!(desk.heard(), ["begin hold", "hold = Off", "end hold"]);
    assert!(!desk.bell.takes_hold());
}

#[test]
fn a_typed_number_is_understood_without_its_unit() {
    let mut desk = Desk::usual();
    desk.click("Dwell");
    desk.harness.event(egui::Event::Text("3".to_owned()));
    desk.harness.run();
    desk.harness.key_press(Key::Enter);
    assert_eq!(
        desk.heard(),
        ["begin dwell", "dwell = 3 cycles", "end dwell"]
    );
    assert_eq!(desk.value_of("Dwell").as_deref(), Some("3 cycles"));
}

#[test]
fn keys_that_a_slow_frame_brings_all_at_once_are_not_lost() {
    let mut desk = Desk::usual();
    desk.click("Dwell");
    for text in ["1", "2"] {
        desk.harness
            .input_mut()
            .events
            .push(egui::Event::Text(text.to_owned()));
    }
    desk.harness.step();
    desk.harness.event(egui::Event::Text(" cycles".to_owned()));
    desk.harness.key_press(Key::Enter);
    assert_eq!(
        desk.heard(),
        ["begin dwell", "dwell = 12 cycles", "end dwell"]
    );
}

#[test]
fn what_makes_no_sense_is_refused_in_words_and_the_value_stays() {
    let mut desk = Desk::usual();
    desk.click("Dwell");
    for letter in ["s", "o", "o", "n"] {
        desk.harness.event(egui::Event::Text(letter.to_owned()));
        desk.harness.run();
    }
    desk.harness.key_press(Key::Enter);
    assert!(desk.heard().is_empty());
    assert_eq!(desk.value_of("Dwell").as_deref(), Some("8 cycles"));
    desk.harness.get_by_label_contains(
        "\"soon\" is not a value of Dwell, which stays as it was. It goes from 1 cycle to 64 cycles.",
    );
}

#[test]
fn escape_gives_up_typing() {
    let mut desk = Desk::usual();
    desk.click("Dwell");
    desk.harness.event(egui::Event::Text("3".to_owned()));
    desk.harness.run();
    desk.harness.key_press(Key::Escape);
    assert!(desk.heard().is_empty());
    assert_eq!(desk.value_of("Dwell").as_deref(), Some("8 cycles"));
}

#[test]
fn dragging_is_one_gesture_from_press_to_release_and_shift_makes_it_fine() {
    let dragged = |modifiers: Modifiers| {
        let mut desk = Desk::usual();
        let at = desk.middle_of("Offset");
        let harness = &mut desk.harness;
        harness.event(egui::Event::ModifiersChanged(modifiers));
        harness.hover_at(at);
        harness.step();
        harness.drag_at(at);
        harness.step();
        for x in 1..=6 {
            harness.hover_at(at + vec2(x as f32 * 10.0, 0.0));
            harness.step();
        }
        harness.drop_at(at + vec2(60.0, 0.0));
        harness.step();
        let heard = desk.heard();
        assert_eq!(heard.first().map(String::as_str), Some("begin offset"));
        assert_eq!(heard.last().map(String::as_str), Some("end offset"));
        let begins = heard.iter().filter(|line| line.starts_with("begin"));
        assert_eq!(begins.count(), 1, "{heard:?}");
        desk.parameters
            .settings(&desk.parameters.kept.current())
            .motion
            .offset
    };
    let (coarse, fine) = (dragged(Modifiers::NONE), dragged(Modifiers::SHIFT));
    assert!(coarse > 4.0, "{coarse}");
    assert!(fine > 0.2 && fine < coarse / 5.0, "{fine}");
}

#[test]
fn a_host_that_moves_the_parameter_under_the_hand_neither_breaks_the_gesture_nor_wins() {
    let mut desk = Desk::usual();
    let at = desk.middle_of("Dwell");
    desk.harness.hover_at(at);
    desk.harness.step();
    desk.harness.drag_at(at);
    desk.harness.step();
    for x in 1..=6 {
        desk.harness.hover_at(at + vec2(x as f32 * 12.0, 0.0));
        desk.harness.step();
        desk.host.automate("dwell", 0.0);
    }
    desk.harness.drop_at(at + vec2(72.0, 0.0));
    desk.harness.step();
    let heard = desk.heard();
    assert_eq!(heard.first().map(String::as_str), Some("begin dwell"));
    assert_eq!(heard.last().map(String::as_str), Some("end dwell"));
    assert!(heard.len() > 4, "{heard:?}");
}

#[test]
fn a_double_click_brings_back_the_default() {
    let mut desk = Desk::usual();
    desk.click("Dwell");
    desk.harness.key_press(Key::ArrowUp);
    assert_eq!(
        desk.heard(),
        ["begin dwell", "dwell = 9 cycles", "end dwell"]
    );
    let at = desk.middle_of("Dwell");
    // Long after the click above, so that these two are the double one.
    desk.harness.run_steps(16);
    for _ in 0..2 {
        desk.harness.drag_at(at);
        desk.harness.drop_at(at);
        desk.harness.step();
    }
    assert_eq!(
        desk.heard(),
        ["begin dwell", "dwell = 8 cycles", "end dwell"]
    );
}

#[test]
fn a_choice_is_made_from_its_list() {
    let mut desk = Desk::usual();
    desk.click("Motion");
    desk.click("Build up");
    assert_eq!(
        desk.heard(),
        ["begin motion", "motion = Build up", "end motion"]
    );
    assert_eq!(desk.value_of("Motion").as_deref(), Some("Build up"));
}

#[test]
fn every_parameter_is_there_and_tells_what_is_heard_of_it() {
    use procession::editor::model::parameters::GROUPS;
    use procession::params::DECLARATIONS;
    let mut desk = Desk::usual();
    for group in GROUPS {
        desk.harness.run();
        desk.harness
            .get_by_role_and_label(Role::Tab, group.name)
            .click();
        desk.harness.run();
        for id in group.ids {
            let declaration = DECLARATIONS.iter().find(|one| one.id == *id).unwrap();
            // "Copies" is a group, too, and "Growth" and "Fold".
            let node = desk
                .harness
                .get_all_by_label(&declaration.name)
                .find(|node| node.accesskit_node().role() != Role::Tab)
                .unwrap();
            assert!(node.rect().is_positive());
            node.hover();
            desk.harness.run_steps(4);
            let sentence = desk.harness.query_by_label_contains(declaration.heard);
            assert!(sentence.is_some(), "{id} has no tooltip");
            desk.harness.hover_at(pos2(600.0, 400.0));
            desk.harness.run_steps(4);
        }
    }
}

#[test]
fn knowing_nothing_one_reads_what_to_do() {
    for (width, height) in [(1200.0, 800.0), (760.0, 480.0)] {
        let mut desk = Desk::new(width, height);
        desk.harness.run();
        desk.harness
            .get_by_label("Listening. Play a phrase, then press Hold.");
    }
}

/// The header's, not the parameter's.
fn cue_button(desk: &mut Desk) -> Option<egui::Pos2> {
    desk.harness.run();
    let button = desk.harness.query_by_role_and_label(Role::Button, "Cue")?;
    Some(button.rect().center())
}

#[test]
fn a_cue_is_on_while_it_is_pressed_and_long_enough_to_be_heard() {
    let mut desk = Desk::usual();
    assert_eq!(cue_button(&mut desk), None);
    desk.host.automate_to("advance", "On cue");
    let at = cue_button(&mut desk).unwrap();
    desk.heard();
    desk.harness.drag_at(at);
    desk.harness.run_steps(2);
    assert_eq!(desk.host.take_heard(), ["begin cue", "cue = On", "end cue"]);
    desk.harness.drop_at(at);
    desk.harness.run();
    assert_eq!(
        desk.host.take_heard(),
        ["begin cue", "cue = Off", "end cue"]
    );
}

#[test]
fn panic_reaches_the_audio_thread_once() {
    let mut desk = Desk::usual();
    desk.click("Panic");
    assert!(desk.bell.takes_panic());
    assert!(!desk.bell.takes_panic());
}

#[test]
fn the_theme_is_kept_with_the_project() {
    let mut desk = Desk::usual();
    desk.click("Dark");
    assert!(desk.parameters.kept.current().window.dark);
    desk.click("Light");
    assert!(!desk.parameters.kept.current().window.dark);
}

#[test]
fn undo_with_nothing_to_undo_says_so_and_changes_nothing() {
    let mut desk = Desk::usual().with_phrase("D4 F4 G4");
    desk.harness.run();
    let before = desk.parameters.kept.current();
    desk.harness.key_press_modifiers(Modifiers::COMMAND, Key::Z);
    desk.harness.run();
    assert_eq!(desk.parameters.kept.current(), before);
    desk.harness.get_by_label("There is nothing to undo.");
}

#[test]
fn in_a_small_window_all_views_are_a_click_away() {
    let mut desk = Desk::new(760.0, 480.0).with_phrase("D4 F4 G4");
    desk.harness.run();
    for view in ["Circle", "Plan", "Notes", "Alignments", "Sonority"] {
        desk.click(view);
        let tab = desk.harness.get_by_role_and_label(Role::Tab, view);
        let toggled = tab.accesskit_node().toggled();
        assert_eq!(toggled, Some(egui::accesskit::Toggled::True), "{view}");
    }
}

#[test]
fn no_two_things_to_touch_overlap_at_any_size() {
    let sizes = [
        (760.0, 480.0),
        (960.0, 640.0),
        (1200.0, 800.0),
        (480.0, 320.0),
    ];
    for (width, height) in sizes {
        let mut desk = Desk::new(width, height).with_phrase("D4 F4 G4");
        desk.harness.run();
        let touchable = [
            Role::Button,
            Role::ComboBox,
            Role::SpinButton,
            Role::CheckBox,
            Role::Tab,
            Role::Switch,
        ];
        let places: Vec<_> = touchable
            .into_iter()
            .flat_map(|role| desk.harness.query_all_by_role(role))
            .map(|node| (node.accesskit_node().label(), node.rect()))
            .collect();
        assert!(places.len() > 5);
        for (index, (name, place)) in places.iter().enumerate() {
            for (other_name, other) in &places[index + 1..] {
                let shared = place.intersect(*other);
                let overlap = shared.width() > 0.5 && shared.height() > 0.5;
                assert!(
                    !overlap,
                    "{width}x{height}: {name:?} {place:?} and {other_name:?} {other:?}"
                );
            }
        }
    }
}

/// What has the keyboard: its name and its place.
fn keyboard(desk: &Desk) -> Option<(String, egui::Rect)> {
    let nodes = desk.harness.root().children_recursive();
    let mut focused = nodes.filter(|node| node.accesskit_node().is_focused());
    focused.next().map(|node| {
        let name = node.accesskit_node().label().unwrap_or_default();
        (name, node.rect())
    })
}

/// The frames, of ink, that are drawn around something.
fn frames(desk: &Desk, ink: egui::Color32) -> Vec<egui::Rect> {
    let shapes = desk.harness.output().shapes.iter();
    let frame = |shape: &egui::Shape| match shape {
        egui::Shape::Rect(rect) if rect.stroke.color == ink && rect.stroke.width >= 2.0 => {
            Some(rect.rect)
        }
        _ => None,
    };
    shapes.filter_map(|clipped| frame(&clipped.shape)).collect()
}

/// Tab goes from one thing to the next; each is in sight, and is seen to have the keyboard.
#[test]
fn wherever_tab_leads_it_is_seen_and_lies_in_the_window() {
    use procession::editor::look::{Look, Theme};
    let ink = Look::of(Theme::Light).ink;
    for (size, view) in [
        (vec2(760.0, 480.0), "Circle"),
        (vec2(760.0, 480.0), "Plan"),
        (vec2(760.0, 480.0), "Alignments"),
        (vec2(760.0, 480.0), "Phrase"),
        (vec2(760.0, 480.0), "Mode changes"),
        (vec2(760.0, 480.0), "Sonority"),
        (vec2(760.0, 480.0), "Files"),
        (vec2(1200.0, 800.0), "Notes"),
    ] {
        let mut desk = Desk::new(size.x, size.y).with_phrase("D4 F4 . A4 C5 . G4 A4 . F4 E4 .");
        desk.host.automate_to("copies", "8");
        desk.click(view);
        let mut met = std::collections::BTreeSet::new();
        for press in 0..48 {
            desk.harness.key_press(Key::Tab);
            desk.harness.run_steps(4);
            let Some((name, place)) = keyboard(&desk) else {
                continue;
            };
            let window = egui::Rect::from_min_size(egui::Pos2::ZERO, size);
            assert!(
                window.contains(place.center()),
                "{view}, {press}: {name} at {place}"
            );
            let around = |frame: &egui::Rect| {
                frame.contains(place.center()) && frame.intersects(place.shrink(1.0))
            };
            let seen = frames(&desk, ink).iter().any(around);
            assert!(
                seen,
                "{view}, {press}: {name} at {place} is not seen to have the keyboard"
            );
            met.insert(name);
        }
        assert!(met.len() > 15, "{view}: {met:?}");
    }
}

#[test]
fn a_value_keeps_the_keyboard_after_enter_and_escape() {
    let mut desk = Desk::usual();
    desk.click("Dwell");
    for key in [Key::Enter, Key::Escape] {
        desk.harness.event(egui::Event::Text("3".to_owned()));
        desk.harness.run();
        desk.harness.key_press(key);
        desk.harness.run_steps(3);
        assert_eq!(
            keyboard(&desk).map(|found| found.0).as_deref(),
            Some("Dwell")
        );
    }
}

#[test]
fn an_open_list_lies_under_its_value_and_the_arrow_keys_move_in_it() {
    let mut desk = Desk::usual();
    let value = {
        desk.harness.run();
        desk.harness.get_by_label("Motion").rect()
    };
    desk.click("Motion");
    desk.heard();
    let list = desk.harness.get_by_label("Build up").rect();
    assert!(
        list.left() > value.center().x - 0.2 * value.width(),
        "{list} {value}"
    );
    assert!(list.top() > value.bottom() - 1.0);
    // Drift, Jump, Build up: down is down, and nothing is chosen yet.
    desk.harness.key_press(Key::ArrowDown);
    desk.harness.run_steps(3);
    assert!(desk.heard().is_empty());
    desk.harness.key_press(Key::Enter);
    desk.harness.run_steps(3);
    assert_eq!(
        desk.heard(),
        ["begin motion", "motion = Jump", "end motion"]
    );
    assert_eq!(
        keyboard(&desk).map(|found| found.0).as_deref(),
        Some("Motion")
    );
    // Closed, too, down is the next one of the list.
    desk.harness.key_press(Key::ArrowDown);
    desk.harness.run_steps(2);
    assert_eq!(
        desk.heard(),
        ["begin motion", "motion = Build up", "end motion"]
    );
    // Tab closes it and chooses nothing.
    desk.harness.key_press(Key::Enter);
    desk.harness.run_steps(3);
    desk.harness.key_press(Key::Tab);
    desk.harness.run_steps(3);
    assert!(desk.harness.query_by_label("Jump").is_none());
    assert!(desk.heard().is_empty());
    assert_eq!(
        keyboard(&desk).map(|found| found.0).as_deref(),
        Some("Motion")
    );
}

#[test]
fn space_presses_nothing_in_a_hosts_window() {
    let mut desk = Desk::usual();
    desk.click("Hold");
    desk.heard();
    for _ in 0..3 {
        desk.harness.key_press(Key::Tab);
        desk.harness.run_steps(3);
        desk.harness.key_press(Key::Space);
        desk.harness.run_steps(3);
    }
    assert!(desk.heard().is_empty());
}

#[test]
fn space_is_hold_in_the_program() {
    let mut desk = Desk::in_program();
    desk.harness.run();
    desk.harness.key_press(Key::Space);
    assert_eq!(desk.heard(), ["begin hold", "hold = On", "end hold"]);
    desk.harness.key_press(Key::Space);
    assert_eq!(desk.heard(), ["begin hold", "hold = Off", "end hold"]);
    // Where somebody types, it is a space.
    desk.click("Phrase in words");
    desk.harness.key_press(Key::Space);
    assert!(desk.heard().is_empty());
}

#[test]
fn the_view_in_which_the_first_note_was_written_stays() {
    let mut desk = Desk::usual();
    desk.harness.run();
    let field = desk.harness.get_by_label("Phrase in words");
    field.click();
    desk.harness.run();
    desk.harness
        .get_by_label("Phrase in words")
        .type_text("D4 F4");
    desk.harness.run();
    desk.harness.key_press(Key::Enter);
    desk.harness.run();
    assert_eq!(desk.parameters.kept.current().taken.phrase.notes().len(), 2);
    let tab = desk.harness.get_by_role_and_label(Role::Tab, "Phrase");
    assert_eq!(
        tab.accesskit_node().toggled(),
        Some(egui::accesskit::Toggled::True)
    );
}

#[test]
fn a_refusal_ends_when_the_value_is_good() {
    let mut desk = Desk::usual();
    for (text, refused) in [("soon", true), ("5", false)] {
        desk.click("Dwell");
        desk.harness.run_steps(20);
        desk.harness.event(egui::Event::Text(text.to_owned()));
        desk.harness.run();
        desk.harness.key_press(Key::Enter);
        desk.harness.run();
        let said = desk
            .harness
            .query_by_label_contains("is not a value of Dwell");
        assert_eq!(said.is_some(), refused, "{text}");
    }
}

#[test]
fn no_word_names_two_things() {
    let mut desk = Desk::usual().with_phrase("D4 F4 G4");
    desk.harness.run();
    let mut seen = std::collections::BTreeSet::new();
    for tab in desk.harness.get_all_by_role(Role::Tab) {
        let name = tab.accesskit_node().label().unwrap_or_default();
        assert!(seen.insert(name.clone()), "{name} twice");
    }
    assert!(
        !seen.contains("Mode") && !seen.contains("Modes"),
        "{seen:?}"
    );
}

#[test]
fn a_stage_is_heard_until_escape_and_under_bypass_it_is_said_why_not() {
    let mut desk = Desk::usual().with_phrase("D4 . F4 G4 . A4 . .");
    desk.harness.run();
    let stage = desk.harness.get_by_label_contains("Plan: ").rect().center();
    let click = |desk: &mut Desk| {
        for pressed in [true, false] {
            desk.harness.hover_at(stage);
            desk.harness.event(egui::Event::PointerButton {
                pos: stage,
                button: egui::PointerButton::Primary,
                pressed,
                modifiers: Modifiers::NONE,
            });
            desk.harness.step();
        }
        desk.harness.run();
    };
    click(&mut desk);
    desk.harness.get_by_label_contains("Hearing stage ");
    desk.harness.key_press(Key::Escape);
    desk.harness.run();
    let hears = |desk: &Desk| {
        let said = desk.harness.query_by_label_contains("Hearing stage ");
        said.is_some()
    };
    assert!(!hears(&desk));
    desk.host.automate_to("bypass", "On");
    click(&mut desk);
    assert!(!hears(&desk));
    desk.harness
        .get_by_label_contains("Nothing is heard while Bypass is on");
}

#[test]
fn a_gesture_on_the_route_is_named_undone_and_done_again() {
    let mut desk = Desk::usual().with_phrase("D4 . F4 G4 . A4 . .");
    desk.click("Route");
    let before = desk.parameters.kept.current();
    desk.click("Dwell of stage 3");
    desk.harness.key_press_modifiers(Modifiers::COMMAND, Key::A);
    desk.harness.event(egui::Event::Text("6".to_owned()));
    desk.harness.run();
    desk.harness.key_press(Key::Enter);
    desk.harness.run();
    desk.harness
        .get_by_label_contains("The form is now written: 9 stages");
    let written = desk.parameters.kept.current();
    assert_eq!(
        written.route.stages()[2].dwell,
        procession_core::route::Dwell::Cycles(6)
    );
    desk.click("Undo: dwell of stage 3");
    assert_eq!(desk.parameters.kept.current().to_json(), before.to_json());
    desk.click("Redo: dwell of stage 3");
    assert_eq!(desk.parameters.kept.current().to_json(), written.to_json());
}
