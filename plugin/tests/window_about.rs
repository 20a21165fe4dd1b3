//! What Procession is, told in the window, and the notices of others scrolled by hand and by keys.

use egui::accesskit::Role;
use egui::{Event, Key, Modifiers, MouseWheelUnit, TouchPhase, pos2, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use procession::editor::about::{AboutState, show};
use procession::editor::look::{Look, Theme, dress, prepare};

fn screen(notices: &'static str) -> Harness<'static, AboutState> {
    let look = Look::of(Theme::Light);
    let mut prepared = false;
    let frame = move |ui: &mut egui::Ui, state: &mut AboutState| {
        if !std::mem::replace(&mut prepared, true) {
            prepare(ui.ctx());
            dress(ui.ctx(), Theme::Light);
        }
        show(ui, &look, state, notices);
    };
    let mut harness = Harness::builder()
        .with_size(vec2(440.0, 330.0))
        .build_ui_state(frame, AboutState::default());
    harness.run_steps(3);
    harness
}

/// Three hundred lines, each of which says which it is.
fn lanterns() -> &'static str {
    let lines = (1..=300).map(|number| format!("lantern {number} is lit\n"));
    lines.collect::<String>().leak()
}

fn is_in_sight(screen: &Harness<AboutState>, number: usize) -> bool {
    let label = format!("lantern {number} is lit");
    let row = screen.query_by_label(&label);
    row.is_some_and(|row| row.rect().min.y >= 0.0 && row.rect().max.y <= 330.0)
}

fn press(screen: &mut Harness<AboutState>, key: Key) {
    screen.key_press(key);
    screen.run_steps(4);
}

#[test]
fn it_says_what_it_is_and_that_it_sends_nothing() {
    let screen = screen(lanterns());
    for words in [
        "Procession 0.1.0",
        "MIT or Apache-2.0",
        "sends nothing anywhere",
    ] {
        let said = screen.query_all_by_label_contains(words).count();
        assert_eq!(said, 1, "{words}");
    }
}

#[test]
fn keys_scroll_from_the_first_line_to_the_last_and_back() {
    let mut screen = screen(lanterns());
    assert!(is_in_sight(&screen, 1) && !is_in_sight(&screen, 300));
    screen.get_by_role_and_label(Role::Group, "Notices").focus();
    screen.run_steps(2);
    press(&mut screen, Key::ArrowDown);
    assert!(!is_in_sight(&screen, 1) && is_in_sight(&screen, 6));
    press(&mut screen, Key::ArrowUp);
    assert!(is_in_sight(&screen, 1));
    let mut pages = 0;
    let mut seen = vec![false; 301];
    while !is_in_sight(&screen, 300) {
        for (number, seen) in seen.iter_mut().enumerate() {
            *seen |= is_in_sight(&screen, number);
        }
        press(&mut screen, Key::PageDown);
        pages += 1;
        assert!(pages < 100, "no end");
    }
    let missed = (1..280).find(|number| !seen[*number]);
    assert_eq!(missed, None, "page by page, nothing is passed over");
    press(&mut screen, Key::Home);
    assert!(is_in_sight(&screen, 1));
    press(&mut screen, Key::End);
    assert!(is_in_sight(&screen, 300));
}

#[test]
fn the_wheel_scrolls_too() {
    let mut screen = screen(lanterns());
    screen.event(Event::PointerMoved(pos2(200.0, 250.0)));
    screen.run_steps(2);
    screen.event(Event::MouseWheel {
        unit: MouseWheelUnit::Point,
        delta: vec2(0.0, -400.0),
        phase: TouchPhase::Move,
        source: egui::MouseWheelSource::Wheel,
        modifiers: Modifiers::NONE,
    });
    screen.run_steps(30);
    assert!(!is_in_sight(&screen, 1) && is_in_sight(&screen, 30));
}

#[test]
fn a_build_without_notices_says_which_one_has_them() {
    let screen = screen("");
    let said = screen.query_all_by_label_contains("Procession notices.txt");
    assert_eq!(said.count(), 1);
}
