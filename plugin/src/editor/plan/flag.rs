//! The flag at the foot of the plan: where in the song the process is written to begin. It is
//! dragged, or clicked and typed.

use crate::editor::circle::{fitting, put};
use crate::editor::focus;
use crate::editor::look::Look;
use crate::editor::model::flag::{SongBars, about, begins, on_the_flag};
use crate::editor::seen::Seen;
use crate::editor::wish::Wish;
use egui::text::{CCursor, CCursorRange};
use egui::text_edit::TextEditState;
use egui::{
    Align2, CursorIcon, EventFilter, FontId, Id, Key, Popup, PopupCloseBehavior, Rect, RectAlign,
    Response, Role, Sense, Shape, Stroke, TextEdit, Ui, Vec2, WidgetInfo, pos2, vec2,
};
use procession_core::time::Beats;

/// What the flag remembers between two frames.
#[derive(Clone, Debug, Default)]
pub struct FlagState {
    /// While it is open to be typed.
    typed: Option<Typed>,
    /// While it is dragged: where from, and how far, in points.
    drag: Option<(Beats, f32)>,
}

/// What is typed.
#[derive(Clone, Debug)]
struct Typed {
    text: String,
    /// The keyboard has not come to it yet: a field that is not yet laid out does not keep it.
    is_new: bool,
}

const SMALL: f32 = 11.5;
const TEXT: f32 = 13.0;
/// Of the cloth, in points.
const CLOTH: f32 = 17.0;
/// How deep the cloth is cut at its end.
const CUT: f32 = 4.0;

/// Shows the flag in `room`, which ends at the line where the form begins; a point of the chart is
/// `beats_a_point`.
pub fn show(
    ui: &mut Ui,
    room: Rect,
    seen: &Seen,
    look: &Look,
    beats_a_point: f64,
    state: &mut FlagState,
) -> Vec<Wish> {
    let id = ui.scope_id().with("flag");
    let response = ui.interact(room, id, Sense::click_and_drag());
    let mut wishes = Vec::new();
    let bars = SongBars::of(seen);
    wishes.extend(drag(ui, &response, seen, &bars, beats_a_point, state));
    wishes.extend(keys(ui, &response, seen, &bars));
    let dragged = state.drag.map(|(from, by)| {
        let fine = ui.input(|input| input.modifiers.shift);
        (bars.dragged(from, f64::from(by) * beats_a_point, fine), by)
    });
    draw(ui, room, seen, look, &response, dragged);
    if response.clicked() {
        state.typed = match state.typed {
            Some(_) => {
                response.request_focus();
                None
            }
            None => Some(Typed {
                text: seen.beginning.at.map_or(String::new(), |at| bars.text(at)),
                is_new: true,
            }),
        };
    }
    wishes.extend(open(&response, seen, &bars, look, state));
    response.widget_info(|| {
        let mut info = WidgetInfo::labeled(Role::Button, true, "Begins at");
        info.current_text_value = on_the_flag(seen, seen.beginning.at).into_iter().next();
        info
    });
    if response.hovered() || response.dragged() {
        ui.set_cursor_icon(CursorIcon::ResizeHorizontal);
    }
    if state.typed.is_none() && state.drag.is_none() {
        response.on_hover_ui(|ui| {
            ui.set_max_width(300.0);
            ui.label(about(seen));
            ui.label("Drag: bar by bar; with Shift, beat by beat. Click: type it, or lift it.");
        });
    }
    wishes
}

/// Dragged along the plan, it goes as far in the song; Escape gives that up.
fn drag(
    ui: &Ui,
    response: &Response,
    seen: &Seen,
    bars: &SongBars,
    beats_a_point: f64,
    state: &mut FlagState,
) -> Option<Wish> {
    if response.drag_started() {
        let from = begins(seen).unwrap_or(bars.first);
        state.drag = Some((from, 0.0));
        state.typed = None;
    }
    let (from, by) = state.drag.as_mut()?;
    *by += response.drag_delta().x;
    let fine = ui.input(|input| input.modifiers.shift);
    let to = bars.dragged(*from, f64::from(*by) * beats_a_point, fine);
    if ui.input(|input| input.key_pressed(Key::Escape)) {
        state.drag = None;
        return None;
    }
    if !response.drag_stopped() {
        return None;
    }
    state.drag = None;
    (seen.beginning.at != Some(to)).then_some(Wish::BeginAt(Some(to)))
}

/// With the keyboard on it: arrows go from bar to bar, Delete lifts it.
fn keys(ui: &Ui, response: &Response, seen: &Seen, bars: &SongBars) -> Option<Wish> {
    if !response.has_focus() {
        return None;
    }
    let filter = EventFilter {
        horizontal_arrows: true,
        ..EventFilter::default()
    };
    ui.memory_mut(|memory| memory.set_focus_lock_filter(response.id, filter));
    let (back, on, lifted, fine) = ui.input(|input| {
        let presses = |key| input.num_presses(key) as f64;
        let lifted = input.key_pressed(Key::Delete) || input.key_pressed(Key::Backspace);
        let arrows = (presses(Key::ArrowLeft), presses(Key::ArrowRight));
        (arrows.0, arrows.1, lifted, input.modifiers.shift)
    });
    if lifted {
        return seen.beginning.at.map(|_| Wish::BeginAt(None));
    }
    let each = if fine { 1.0 } else { bars.length };
    let from = begins(seen).unwrap_or(bars.first);
    (on != back).then(|| Wish::BeginAt(Some(bars.dragged(from, (on - back) * each, fine))))
}

/// What is typed, while it is open.
fn open(
    response: &Response,
    seen: &Seen,
    bars: &SongBars,
    look: &Look,
    state: &mut FlagState,
) -> Option<Wish> {
    let typed = state.typed.as_mut()?;
    let mut stays = true;
    let wish = Popup::from_response(response)
        .id(response.id.with("typed"))
        .open_bool(&mut stays)
        .gap(4.0)
        .align(RectAlign::TOP_START)
        .width(190.0)
        .close_behavior(PopupCloseBehavior::CloseOnClickOutside)
        .show(|ui| write(ui, seen, bars, look, typed))
        .and_then(|shown| shown.inner);
    let is_done = matches!(wish, Some(Wish::BeginAt(_)));
    if is_done || !stays {
        state.typed = None;
    }
    wish
}

fn write(
    ui: &mut Ui,
    seen: &Seen,
    bars: &SongBars,
    look: &Look,
    typed: &mut Typed,
) -> Option<Wish> {
    ui.spacing_mut().item_spacing = vec2(6.0, 6.0);
    let heading = egui::RichText::new("Begins at this bar of the song").color(look.quiet);
    ui.add(egui::Label::new(heading).wrap());
    let mut wish = None;
    ui.horizontal(|ui| {
        let id = ui.scope_id().with("bar");
        let edit = TextEdit::singleline(&mut typed.text)
            .id(id)
            .hint_text("33 or 33:2")
            .font(FontId::proportional(TEXT))
            .desired_width(84.0)
            .margin(Vec2::new(6.0, 2.0));
        let field = ui.add(edit).accessible_name("Bar to begin at");
        // Asked for until it was so from one frame to the next.
        typed.is_new &= !field.has_focus();
        if typed.is_new {
            field.request_focus();
            select_all(ui, id, &typed.text);
            ui.ctx().request_repaint();
        }
        if focus::entered(ui, &field) {
            wish = Some(
                bars.typed(&typed.text)
                    .map_or_else(Wish::Say, Wish::BeginAt),
            );
        }
        let is_written = seen.beginning.at.is_some();
        if ui
            .add_enabled(is_written, egui::Button::new("Lift"))
            .clicked()
        {
            wish = Some(Wish::BeginAt(None));
        }
    });
    wish
}

/// So that another bar takes its place as it is typed.
fn select_all(ui: &Ui, id: Id, text: &str) {
    let end = CCursor::new(text.chars().count());
    let all = CCursorRange::two(CCursor::default(), end);
    let mut state = TextEditState::load(ui.ctx(), id).unwrap_or_default();
    state.cursor.set_char_range(Some(all));
    state.store(ui.ctx(), id);
}

/// A pole, and a cloth with the bar on it: filled if it is written, an outline if it is not.
fn draw(
    ui: &Ui,
    room: Rect,
    seen: &Seen,
    look: &Look,
    response: &Response,
    dragged: Option<(Beats, f32)>,
) {
    let painter = ui.painter();
    let at = dragged.map(|(at, _)| at).or(seen.beginning.at);
    let (by, hue) = match dragged {
        Some((_, by)) => (by, look.accent),
        None if at.is_some() => (0.0, look.accent),
        None => (0.0, look.edge),
    };
    let pole = room.right() + by;
    let cloth = Rect::from_min_max(
        pos2(room.left() + by, room.top()),
        pos2(pole, room.top() + CLOTH),
    );
    painter.vline(
        pole,
        cloth.top()..=cloth.bottom() + 5.0,
        Stroke::new(2.0, hue),
    );
    let middle = cloth.center().y;
    let outline = vec![
        cloth.right_top(),
        cloth.left_top(),
        pos2(cloth.left() + CUT, middle),
        cloth.left_bottom(),
        cloth.right_bottom(),
    ];
    let ink = if at.is_some() {
        // Not convex, so in three pieces.
        let body = cloth.with_min_x(cloth.left() + CUT);
        painter.rect_filled(body, 0.0, hue);
        for corner in [cloth.left_top(), cloth.left_bottom()] {
            let tip = vec![
                pos2(body.left(), middle),
                corner,
                pos2(body.left(), corner.y),
            ];
            painter.add(Shape::convex_polygon(tip, hue, Stroke::NONE));
        }
        look.card
    } else {
        look.quiet
    };
    let edge = if response.hovered() || response.has_focus() {
        Stroke::new(1.5, look.ink)
    } else {
        Stroke::new(1.0, hue)
    };
    painter.add(Shape::closed_line(outline, edge));
    let width = cloth.width() - CUT - 4.0;
    let words = fitting(painter, &on_the_flag(seen, at), SMALL, ink, width);
    let left = cloth.left() + CUT + (cloth.width() - CUT - words.size().x) / 2.0;
    put(painter, pos2(left, middle), &words);
    painter.text(
        pos2(pole - 4.0, cloth.bottom() + 8.0),
        Align2::RIGHT_CENTER,
        "begins",
        FontId::proportional(SMALL),
        look.quiet,
    );
}
