//! What tests of the views have in common: a moment to look at, a screen, and a hand.
#![allow(dead_code, clippy::unwrap_used)] // Whoever includes it needs a part of it.

use egui::{Event, Modifiers, PointerButton, Pos2, Rect, Shape, Ui, Vec2};
use egui_kittest::Harness;
use procession::editor::accidentals;
use procession::editor::seen::Seen;
use procession::feed::Snapshot;
use procession_core::engine::Anchor;
use procession_core::part::Part;
use procession_core::phrase::Phrase;
use procession_core::process::Process;
use procession_core::settings::Settings;

/// `elapsed` beats into the process, which plays at 120; at rest at 0. A text that is no phrase
/// makes an empty one.
pub fn seen(text: &str, settings: Settings, elapsed: f64) -> Seen {
    let phrase =
        Phrase::from_text(text, settings.step()).unwrap_or_else(|_| Phrase::empty(2.0).unwrap());
    let process = Box::new(Process::new(phrase.clone(), settings, 0.0));
    let snapshot = Snapshot {
        playing: elapsed > 0.0,
        running: elapsed > 0.0,
        position: elapsed,
        tempo: 120.0,
        beats_per_bar: 4.0,
        ahead: Part::ALL.map(|part| process.voices().displacement(part, elapsed)),
        ..Snapshot::default()
    };
    Seen::new(snapshot, phrase, settings, Anchor::Song(0.0))
}

/// A view on its own screen of that size, in points, at so many pixels a point.
pub fn screen<State>(
    size: Vec2,
    zoom: f32,
    state: State,
    show: impl FnMut(&mut Ui, &mut State) + 'static,
) -> Harness<'static, State> {
    Harness::builder()
        .with_size(size)
        .with_pixels_per_point(zoom)
        .with_step_dt(1.0 / 60.0)
        .with_context_setup(accidentals::install)
        .build_ui_state(show, state)
}

/// Presses or lets go of the first button.
pub fn button<State>(
    harness: &mut Harness<'_, State>,
    at: Pos2,
    pressed: bool,
    modifiers: Modifiers,
) {
    harness.event(Event::PointerButton {
        pos: at,
        button: PointerButton::Primary,
        pressed,
        modifiers,
    });
    harness.step();
}

/// Goes there and presses the first button.
pub fn take<State>(harness: &mut Harness<'_, State>, at: Pos2) {
    harness.hover_at(at);
    harness.step();
    button(harness, at, true, Modifiers::NONE);
}

/// Where every text is drawn.
pub fn texts(shapes: &[egui::epaint::ClippedShape]) -> Vec<(String, Rect)> {
    fn gather(shape: &Shape, into: &mut Vec<(String, Rect)>) {
        match shape {
            Shape::Text(text) if !text.galley.is_empty() => {
                into.push((text.galley.text().to_owned(), shape.visual_bounding_rect()));
            }
            Shape::Vec(shapes) => shapes.iter().for_each(|shape| gather(shape, into)),
            _ => (),
        }
    }
    let mut found = Vec::new();
    for clipped in shapes {
        gather(&clipped.shape, &mut found);
    }
    found
}
