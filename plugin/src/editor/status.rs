//! The status line, as drawn.

use crate::editor::look::Look;
use crate::editor::model::status::Status;
use egui::{Align2, FontId, Rect, Role, Sense, Ui, WidgetInfo, pos2};

/// Between the text and the edges, in points.
const MARGIN: f32 = 12.0;

/// Height of the line in a window of that width, in points.
pub fn height(ui: &Ui, status: &Status, width: f32) -> f32 {
    let lines = [Some(&status.doing), status.problems.first()];
    let text: f32 = lines
        .into_iter()
        .flatten()
        .map(|text| galley(ui, text, width, egui::Color32::PLACEHOLDER).size().y + 4.0)
        .sum();
    text + 10.0
}

/// Shows it at the foot of the window.
pub fn show(ui: &mut Ui, room: Rect, status: &Status, look: &Look) {
    let painter = ui.painter();
    painter.rect_filled(room, 0.0, look.card);
    painter.hline(
        room.x_range(),
        room.min.y,
        egui::Stroke::new(1.0, look.rule),
    );
    let mut y = room.min.y + 6.0;
    let mut line = |text: &str, colour, name: &str| {
        let galley = galley(ui, text, room.width(), colour);
        let place = Rect::from_min_size(pos2(room.min.x + MARGIN, y), galley.size());
        ui.painter().galley(place.min, galley, colour);
        let response = ui.interact(place, ui.scope_id().with(name), Sense::hover());
        response.widget_info(|| WidgetInfo::labeled(Role::Status, true, text));
        y = place.max.y + 4.0;
        response
    };
    line(&status.doing, look.ink, "doing");
    if let Some((first, others)) = status.problems.split_first() {
        let response = line(first, look.alarm, "problem");
        if !others.is_empty() {
            let more = format!("and {} more", others.len());
            ui.painter().text(
                pos2(room.max.x - MARGIN, response.rect.center().y),
                Align2::RIGHT_CENTER,
                more,
                FontId::proportional(12.0),
                look.alarm,
            );
            response.on_hover_text(others.join("\n"));
        }
    }
}

fn galley(ui: &Ui, text: &str, width: f32, colour: egui::Color32) -> std::sync::Arc<egui::Galley> {
    // The corner by which the window is resized stays free.
    let room = (width - 2.0 * MARGIN - 12.0).max(100.0);
    ui.painter()
        .layout(text.to_owned(), FontId::proportional(13.0), colour, room)
}
