//! Where the keyboard is: shown on everything, scrolled to, and kept.

use crate::editor::look::Look;
use egui::{Context, CornerRadius, Id, Key, Response, Stroke, StrokeKind, Ui};

/// Shows what the keyboard acts on: an outer line of ink and an inner one of paper, so that it is
/// seen on every fill. Once a frame, when everything is drawn.
pub fn ring(ctx: &Context, look: &Look) {
    let Some(response) = focused(ctx) else {
        return;
    };
    let seen = response.interact_rect;
    if !seen.is_positive() {
        return;
    }
    let painter = ctx.layer_painter(response.layer_id);
    let corner = CornerRadius::same(5);
    let lines = [(0.0, 1.0, look.card), (2.0, 2.0, look.ink)];
    for (out, width, colour) in lines {
        let line = Stroke::new(width, colour);
        painter.rect_stroke(seen.expand(out), corner, line, StrokeKind::Inside);
    }
}

/// At the end of what a scroll area holds: what the keyboard has come to is scrolled into sight.
pub fn follow(ui: &Ui) {
    let id = ui.scope_id().with("followed focus");
    let before: Option<Id> = ui.data(|data| data.get_temp(id));
    let now = focused(ui.ctx()).filter(|now| {
        let within = ui.min_rect().expand(1.0);
        now.layer_id == ui.layer_id() && within.contains(now.rect.center())
    });
    match now {
        Some(now) if before != Some(now.id) => {
            ui.data_mut(|data| data.insert_temp(id, now.id));
            ui.scroll_to_rect(now.rect.expand(4.0), None);
            ui.ctx().request_repaint();
        }
        Some(_) => (),
        None => ui.data_mut(|data| data.remove::<Id>(id)),
    }
}

/// Whether Enter ended the typing in a field. The keyboard stays with it.
pub fn entered(ui: &Ui, field: &Response) -> bool {
    let entered = field.lost_focus() && ui.input(|input| input.key_pressed(Key::Enter));
    if entered {
        field.request_focus();
    }
    entered
}

fn focused(ctx: &Context) -> Option<Response> {
    let id = ctx.memory(|memory| memory.focused())?;
    ctx.read_response(id)
}
