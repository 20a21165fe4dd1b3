//! What stands there before there is a phrase: what to do.

use crate::editor::look::Look;
use egui::{Button, FontId, Pos2, Rect, Ui, Vec2, pos2, vec2};
use procession_core::part::Part;

/// Of the button.
const BUTTON: Vec2 = vec2(150.0, 26.0);
/// Above it.
const GAP: f32 = 4.0;

/// Says what to do, in the middle of `room`. Whether a starting point was asked for.
pub fn show(ui: &mut Ui, room: Rect, hold: bool, look: &Look) -> bool {
    let (first, then) = if hold {
        (
            "Holding, but nothing was played.",
            "Switch Hold off, play a phrase, and press Hold again.",
        )
    } else {
        (
            "Play a phrase, then press Hold.",
            "Procession always listens, and finds where your phrase repeats.",
        )
    };
    let size = (room.width() / 22.0).clamp(17.0, 28.0);
    let lines = [
        (first, size, look.ink),
        (then, 14.0, look.quiet),
        (
            "Or enter one under Phrase, or begin with one of ours:",
            14.0,
            look.quiet,
        ),
    ];
    let beside = room.width() > 520.0;
    let radius = (room.height() * 0.34).min(if beside { 80.0 } else { size * 1.7 });
    let text_room = if beside {
        room.with_min_x(room.min.x + 2.0 * radius + 56.0)
    } else {
        room
    };
    let galleys = lines.map(|(text, size, colour)| {
        let font = FontId::proportional(size);
        let width = text_room.width() - 24.0;
        (
            ui.painter().layout(text.to_owned(), font, colour, width),
            colour,
        )
    });
    let height: f32 = galleys
        .iter()
        .map(|(galley, _)| galley.size().y + 6.0)
        .sum();
    let height = height + GAP + BUTTON.y;
    let above = if beside { 0.0 } else { 2.0 * radius + 16.0 };
    let fits = height + above <= room.height();
    let mut y = text_room.center().y - height / 2.0;
    if beside {
        rings(
            ui,
            pos2(room.min.x + radius + 28.0, room.center().y),
            radius,
            look,
        );
    } else if fits {
        y += above / 2.0;
        rings(ui, pos2(room.center().x, y - 16.0 - radius), radius, look);
    }
    for (galley, colour) in galleys {
        let x = if beside {
            text_room.min.x
        } else {
            room.center().x - galley.size().x / 2.0
        };
        let next = y + galley.size().y + 6.0;
        ui.painter().galley(pos2(x, y), galley, colour);
        y = next;
    }
    let x = if beside {
        text_room.min.x
    } else {
        room.center().x - BUTTON.x / 2.0
    };
    let place = Rect::from_min_size(pos2(x, y + GAP), BUTTON);
    ui.put(place, Button::new("Starting points")).clicked()
}

/// Two voices on their circles, one of them turned a little.
fn rings(ui: &Ui, middle: Pos2, radius: f32, look: &Look) {
    use crate::editor::look::mark;
    const STEPS: usize = 12;
    const ONSETS: [usize; 5] = [0, 3, 5, 8, 10];
    for (part, radius) in [(Part::Steady, radius), (Part::COPY_1, radius * 0.66)] {
        let stroke = egui::Stroke::new(1.0, look.rule);
        ui.painter().circle_stroke(middle, radius, stroke);
        for onset in ONSETS {
            let turned = (onset + STEPS - part.index()) % STEPS;
            let angle =
                std::f32::consts::TAU * turned as f32 / STEPS as f32 - std::f32::consts::FRAC_PI_2;
            let at = middle + vec2(angle.cos(), angle.sin()) * radius;
            ui.painter().add(mark(part, at, 3.5, look.hue(part), true));
        }
    }
}
