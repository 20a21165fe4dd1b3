//! A list to choose from. It opens under the value; the arrow keys move in it, Enter chooses, and
//! Escape or Tab goes back to the value.

use crate::editor::look::Look;
use egui::{
    Align2, AsIdSalt, CornerRadius, FocusDirection, FontId, Id, Key, Popup, PopupCloseBehavior,
    Rect, Response, Role, ScrollArea, Sense, Stroke, StrokeKind, Ui, WidgetInfo, pos2, vec2,
};

/// Whether the list of this value is open.
pub fn is_open(value: &Response) -> bool {
    Popup::is_id_open(&value.ctx, Popup::default_response_id(value))
}

/// The list of a value that opens it by a click; `under` is what it opens under. Which of `names`
/// was chosen, if one was.
pub fn list(value: &Response, under: Rect, names: &[String], now: usize) -> Option<usize> {
    let was_open = is_open(value);
    if was_open && value.ctx.input(|input| input.key_pressed(Key::Tab)) {
        Popup::close_id(&value.ctx, Popup::default_response_id(value));
        value
            .ctx
            .memory_mut(|memory| memory.move_focus(FocusDirection::None));
        value.request_focus();
        return None;
    }
    let fresh = value.id.with("opens");
    if !was_open {
        value.ctx.data_mut(|data| data.insert_temp(fresh, true));
    }
    let shown = Popup::menu(value)
        .anchor(under)
        .width(under.width().max(150.0))
        .gap(2.0)
        .close_behavior(PopupCloseBehavior::CloseOnClick)
        .show(|ui| options(ui, names, now, fresh));
    let chosen = shown.and_then(|shown| shown.inner);
    if chosen.is_some() {
        Popup::close_id(&value.ctx, Popup::default_response_id(value));
    }
    let clicked = value.ctx.input(|input| input.pointer.any_click());
    if chosen.is_some() || (was_open && !is_open(value) && !clicked) {
        value.request_focus();
    }
    chosen
}

fn options(ui: &mut Ui, names: &[String], now: usize, fresh: Id) -> Option<usize> {
    let mut chosen = None;
    // In the pass that only finds out how large the list is, nothing can have the keyboard.
    let opens = !ui.is_sizing_pass()
        && ui
            .data_mut(|data| data.remove_temp::<bool>(fresh))
            .is_some();
    ScrollArea::vertical().max_height(300.0).show(ui, |ui| {
        for (index, name) in names.iter().enumerate() {
            let option = ui.selectable_label(index == now, name);
            if opens && index == now {
                option.request_focus();
                option.scroll_to_me(None);
            }
            if option.gained_focus() {
                option.scroll_to_me(None);
            }
            if option.clicked() {
                chosen = Some(index);
            }
        }
    });
    chosen
}

/// A value of so many points, and its list: for what is no parameter. The value's response, and
/// which of `names` was chosen.
pub fn menu(
    ui: &mut Ui,
    look: &Look,
    salt: impl AsIdSalt,
    label: &str,
    width: f32,
    (names, now): (&[String], usize),
) -> (Response, Option<usize>) {
    let (_, place) = ui.allocate_space(vec2(width, 22.0));
    let response = ui.interact(place, ui.scope_id().with(salt), Sense::click());
    let text = names.get(now).map_or("", String::as_str);
    response.widget_info(|| {
        let mut info = WidgetInfo::labeled(Role::ComboBox, ui.is_enabled(), label);
        info.current_text_value = Some(text.to_owned());
        info
    });
    value(ui, place, &response, text, look);
    let chosen = list(&response, place, names, now);
    (response, chosen)
}

/// The value as it stands there, with the tip that says that a list opens.
fn value(ui: &Ui, place: Rect, response: &Response, text: &str, look: &Look) {
    let edge = if response.hovered() {
        Stroke::new(1.5, look.ink)
    } else {
        Stroke::new(1.0, look.edge)
    };
    let painter = ui.painter();
    painter.rect(
        place,
        CornerRadius::same(4),
        look.paper,
        edge,
        StrokeKind::Inside,
    );
    tip(ui, place, look);
    let room = place.with_max_x(place.max.x - 20.0);
    painter.with_clip_rect(room).text(
        pos2(place.min.x + 7.0, place.center().y),
        Align2::LEFT_CENTER,
        text,
        FontId::proportional(13.0),
        look.ink,
    );
}

/// Points down where a list opens.
pub fn tip(ui: &Ui, place: Rect, look: &Look) {
    let tip = pos2(place.max.x - 12.0, place.center().y + 2.5);
    ui.painter().line(
        vec![tip + vec2(-4.0, -4.0), tip, tip + vec2(4.0, -4.0)],
        Stroke::new(1.5, look.quiet),
    );
}
