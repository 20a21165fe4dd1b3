//! "Make it last": a length is typed, and counts that come near it are offered.

use crate::editor::focus;
use crate::editor::look::Look;
use crate::editor::model::last::Last;
use crate::editor::seen::Seen;
use crate::editor::wish::Wish;
use egui::{
    Align2, FontId, Popup, PopupCloseBehavior, Rect, RectAlign, TextEdit, Ui, Vec2, pos2, vec2,
};

/// What was typed, and what is offered for it.
#[derive(Clone, Debug, Default)]
pub struct LastState {
    text: String,
    offered: Option<Last>,
}

const FIELD: f32 = 58.0;
const TEXT: f32 = 13.0;

/// What it takes of a row of that width, in points; nothing where words need it all.
pub fn width(row: f32) -> f32 {
    match row {
        row if row < 280.0 => 0.0,
        row if row < 560.0 => FIELD + 38.0,
        _ => FIELD + 90.0,
    }
}

/// Shows it at the right of a row.
pub fn show(ui: &mut Ui, row: Rect, seen: &Seen, look: &Look, state: &mut LastState) -> Vec<Wish> {
    let width = width(row.width());
    if width == 0.0 {
        return Vec::new();
    }
    let field = Rect::from_min_max(pos2(row.right() - FIELD, row.top()), row.max);
    ui.painter().text(
        pos2(field.left() - 8.0, row.center().y),
        Align2::RIGHT_CENTER,
        if width > FIELD + 40.0 {
            "Make it last"
        } else {
            "Last"
        },
        FontId::proportional(TEXT),
        look.quiet,
    );
    let edit = TextEdit::singleline(&mut state.text)
        .id(ui.scope_id().with("last"))
        .hint_text("6:00")
        .font(FontId::proportional(TEXT))
        .margin(Vec2::new(6.0, 1.0));
    let response = ui.put(field, edit).accessible_name("Make it last");
    let mut wishes = Vec::new();
    let entered = focus::entered(ui, &response);
    if response.changed() {
        state.offered = None;
    }
    if entered && !state.text.trim().is_empty() {
        match Last::of(seen, &state.text) {
            Ok(last) => state.offered = Some(last),
            Err(words) => wishes.push(Wish::Say(words)),
        }
    }
    if let Some(last) = state.offered.take().filter(|last| last.holds(seen)) {
        let mut open = true;
        let chosen = Popup::from_response(&response)
            .open_bool(&mut open)
            .gap(4.0)
            .align(RectAlign::BOTTOM_END)
            .width(280.0)
            .close_behavior(PopupCloseBehavior::CloseOnClickOutside)
            .show(|ui| offers(ui, &last, look))
            .and_then(|shown| shown.inner);
        match chosen {
            Some(choice) => wishes.extend(last.choices[choice].wishes.clone()),
            None if open => state.offered = Some(last),
            None => (),
        }
    }
    response.on_hover_ui(|ui| {
        ui.set_max_width(280.0);
        ui.label(
            "How long the whole piece is to last: 6:00, 6 (minutes) or 360 s. Enter offers how many \
             cycles to dwell and to drift.",
        );
    });
    wishes
}

/// Which of them was clicked.
fn offers(ui: &mut Ui, last: &Last, look: &Look) -> Option<usize> {
    ui.spacing_mut().item_spacing = vec2(6.0, 4.0);
    ui.add(egui::Label::new(egui::RichText::new(&last.heading).color(look.quiet)).wrap());
    let mut chosen = None;
    for (index, choice) in last.choices.iter().enumerate() {
        if ui.selectable_label(false, &choice.words).clicked() {
            chosen = Some(index);
        }
    }
    chosen
}
