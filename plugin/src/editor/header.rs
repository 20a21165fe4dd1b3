//! The head of the window: Hold, how far the process has come, and what concerns the whole.

use crate::editor::circle::{fitting, put};
use crate::editor::look::{Look, Theme};
use crate::editor::model::history::Name;
use crate::editor::wish::Wish;
use crate::params::describe;
use egui::{
    Align2, Color32, CornerRadius, FontId, Id, Key, Popup, Rect, Response, Role, Sense, Stroke,
    StrokeKind, Ui, WidgetInfo, pos2, vec2,
};

/// Zooms to choose from.
const ZOOMS: [f32; 6] = [0.75, 1.0, 1.25, 1.5, 1.75, 2.0];

/// What the head shows.
#[derive(Clone, Debug)]
pub struct Head {
    /// Whether hold is on.
    pub hold: bool,
    /// Whether somebody plays at this moment.
    pub hears: bool,
    /// Whether copies advance on cue.
    pub on_cue: bool,
    /// How far the process has come.
    pub progress: Option<String>,
    /// The step that can be taken back.
    pub undo: Option<Name>,
    /// The step that can be taken again.
    pub redo: Option<Name>,
    /// Light or dark.
    pub theme: Theme,
    /// How far the window is zoomed.
    pub zoom: f32,
}

/// What was asked for in the head.
#[derive(Clone, Debug, Default)]
pub struct Asked {
    /// Of the plug-in.
    pub wishes: Vec<Wish>,
    /// Of the window.
    pub theme: Option<Theme>,
    /// Of the window.
    pub zoom: Option<f32>,
}

/// Shows the head in `room`.
pub fn show(ui: &mut Ui, room: Rect, head: &Head, look: &Look) -> Asked {
    let mut asked = Asked::default();
    ui.painter().rect_filled(room, 0.0, look.card);
    ui.painter()
        .hline(room.x_range(), room.max.y, Stroke::new(1.0, look.rule));
    let inside = room.shrink2(vec2(10.0, 8.0));
    let left = hold(ui, inside, head, look, &mut asked);
    let left = if head.on_cue {
        cue(ui, inside.with_min_x(left + 8.0), look, &mut asked)
    } else {
        left
    };
    let mut right = inside.max.x;
    let mut from_right = |width: f32| {
        let place = Rect::from_min_max(
            pos2(right - width, inside.min.y + 3.0),
            pos2(right, inside.max.y - 3.0),
        );
        right = place.min.x - 8.0;
        place
    };
    let (panic_place, zoom_place, theme_place) =
        (from_right(64.0), from_right(64.0), from_right(56.0));
    zoom(ui, zoom_place, head.zoom, look, &mut asked);
    theme(ui, theme_place, head.theme, look, &mut asked);
    panic(ui, panic_place, look, &mut asked);
    let room = Rect::from_min_max(pos2(left + 14.0, inside.min.y), pos2(right, inside.max.y));
    let (progress_room, steps_room) = split_for_steps(room);
    if let Some(room) = steps_room {
        steps(ui, room, head, look, &mut asked);
    }
    progress(ui, progress_room, head, look);
    asked
}

/// The largest thing in the head; the right edge of what it takes.
fn hold(ui: &mut Ui, inside: Rect, head: &Head, look: &Look, asked: &mut Asked) -> f32 {
    let on = head.hold;
    let width = (inside.width() * 0.2).clamp(110.0, 190.0);
    let place = inside.with_max_x(inside.min.x + width);
    let response = ui.interact(place, Id::unique("hold"), Sense::click());
    response.widget_info(|| WidgetInfo::selected(Role::Switch, true, on, "Hold"));
    let (fill, ink) = if on {
        (look.accent, look.card)
    } else {
        (look.paper, look.ink)
    };
    large_button(ui, place, &response, fill, look);
    let painter = ui.painter();
    // Not by hue alone: a filled disc when it holds, a ring when it listens, with a point in it
    // while it hears something.
    let disc = pos2(place.min.x + 20.0, place.center().y);
    if on {
        painter.circle_filled(disc, 6.0, ink);
    } else {
        painter.circle_stroke(disc, 6.0, Stroke::new(2.0, look.accent));
        if head.hears {
            painter.circle_filled(disc, 3.0, look.accent);
        }
    }
    painter.text(
        pos2(place.min.x + 36.0, place.center().y),
        Align2::LEFT_CENTER,
        if on { "Holding" } else { "Hold" },
        FontId::proportional(19.0),
        ink,
    );
    if response.clicked() {
        let other = if on { "Off" } else { "On" };
        asked.wishes.push(Wish::Type("hold", other.to_owned()));
    }
    response.on_hover_text(describe("hold"));
    place.max.x
}

/// So long a cue stays on at least, in seconds: longer than any block of audio, so that it is seen.
const CUED_FOR: f64 = 0.15;

/// On while it is pressed: a performer's cue. The right edge of what it takes.
fn cue(ui: &mut Ui, room: Rect, look: &Look, asked: &mut Asked) -> f32 {
    let place = room.with_max_x(room.min.x + 72.0);
    let id = Id::unique("cue");
    let response = ui.interact(place, id, Sense::click_and_drag());
    response.widget_info(|| WidgetInfo::labeled(Role::Button, true, "Cue"));
    let now = ui.input(|input| input.time);
    let since: Option<f64> = ui.data(|data| data.get_temp(id));
    let pressed = response.is_pointer_button_down_on();
    match since {
        None if pressed || response.clicked() => {
            ui.data_mut(|data| data.insert_temp(id, now));
            asked.wishes.push(Wish::Type("cue", "On".to_owned()));
            ui.ctx().request_repaint();
        }
        Some(since) if !pressed && now - since >= CUED_FOR => {
            ui.data_mut(|data| data.remove::<f64>(id));
            asked.wishes.push(Wish::Type("cue", "Off".to_owned()));
        }
        Some(_) => ui
            .ctx()
            .request_repaint_after(std::time::Duration::from_millis(30)),
        None => (),
    }
    let (fill, ink) = if since.is_some() {
        (look.accent, look.card)
    } else {
        (look.paper, look.ink)
    };
    large_button(ui, place, &response, fill, look);
    ui.painter().text(
        place.center(),
        Align2::CENTER_CENTER,
        "Cue",
        FontId::proportional(19.0),
        ink,
    );
    response.on_hover_text(describe("cue"));
    place.max.x
}

/// What a performer reaches for, Hold and Cue, is large.
fn large_button(ui: &Ui, place: Rect, response: &Response, fill: Color32, look: &Look) {
    let edge = match (response.has_focus(), response.hovered()) {
        (true, _) => Stroke::new(3.0, look.ink),
        (_, true) => Stroke::new(2.0, look.ink),
        _ => Stroke::new(2.0, look.accent),
    };
    let corners = CornerRadius::same(8);
    ui.painter()
        .rect(place, corners, fill, edge, StrokeKind::Inside);
}

fn progress(ui: &Ui, room: Rect, head: &Head, look: &Look) {
    let size = if room.width() < 200.0 { 16.0 } else { 22.0 };
    match &head.progress {
        Some(progress) if room.width() > 60.0 => {
            ui.painter().text(
                pos2(room.min.x, room.center().y),
                Align2::LEFT_CENTER,
                progress,
                FontId::proportional(size),
                look.ink,
            );
        }
        _ if room.width() > 130.0 => {
            ui.painter().text(
                pos2(room.min.x, room.center().y),
                Align2::LEFT_CENTER,
                "Procession",
                FontId::proportional(size),
                look.quiet,
            );
        }
        _ => (),
    }
}

/// The room of the progress, and of what can be undone, where there is some for it.
fn split_for_steps(room: Rect) -> (Rect, Option<Rect>) {
    let width = match room.width() {
        width if width < 170.0 => return (room, None),
        width if width < 330.0 => STEP_LEAST,
        width => (width - 250.0).clamp(STEP_LEAST, 190.0),
    };
    let left = room.max.x - width;
    let steps = room.with_min_x(left).with_max_x(room.max.x - 6.0);
    (room.with_max_x(left - 8.0), Some(steps))
}

/// Of what can be undone, in points.
const STEP_LEAST: f32 = 62.0;

/// One above the other: the step that can be taken back, and the one that can be taken again.
fn steps(ui: &mut Ui, room: Rect, head: &Head, look: &Look, asked: &mut Asked) {
    let half = room.height() / 2.0;
    // Beside what stands at the right, as far as there are words.
    let room = if head.undo.is_none() && head.redo.is_none() {
        room.with_min_x((room.max.x - STEP_LEAST).max(room.min.x))
    } else {
        room
    };
    let lines = [
        ("Undo", "Ctrl+Z", &head.undo, Wish::Undo),
        ("Redo", "Ctrl+Shift+Z", &head.redo, Wish::Redo),
    ];
    for (line, (verb, keys, name, wish)) in lines.into_iter().enumerate() {
        let top = room.min.y + half * line as f32;
        let place = Rect::from_x_y_ranges(room.x_range(), top..=top + half);
        let sense = if name.is_some() {
            Sense::click()
        } else {
            Sense::hover()
        };
        let response = ui.interact(place, Id::unique(("head", verb)), sense);
        let full = name.as_ref().map(|name| format!("{verb}: {}", name.what));
        response.widget_info(|| {
            let words = full.clone().unwrap_or_else(|| verb.to_owned());
            WidgetInfo::labeled(Role::Button, name.is_some(), words)
        });
        let hue = match name {
            Some(_) if response.hovered() || response.has_focus() => look.accent,
            Some(_) => look.ink,
            None => look.edge,
        };
        arrow(
            ui,
            pos2(place.min.x + 8.0, place.center().y),
            line == 0,
            hue,
        );
        let words = match full {
            Some(full) => vec![full, verb.to_owned()],
            None => vec![verb.to_owned()],
        };
        let words = fitting(ui.painter(), &words, 12.5, hue, place.width() - 22.0);
        put(
            ui.painter(),
            pos2(place.min.x + 20.0, place.center().y),
            &words,
        );
        if response.clicked() {
            asked.wishes.push(wish);
        }
        if let Some(name) = name {
            response.on_hover_text(format!("{verb} ({keys}). {}", name.in_full()));
        }
    }
}

/// Back, or on again.
fn arrow(ui: &Ui, at: egui::Pos2, back: bool, hue: Color32) {
    let way = if back { -1.0 } else { 1.0 };
    let stroke = Stroke::new(1.5, hue);
    let tip = pos2(at.x + 5.0 * way, at.y);
    ui.painter()
        .line_segment([pos2(at.x - 5.0 * way, at.y), tip], stroke);
    for side in [-3.5, 3.5] {
        let end = pos2(tip.x - 4.0 * way, tip.y + side);
        ui.painter().line_segment([end, tip], stroke);
    }
}

fn panic(ui: &mut Ui, place: Rect, look: &Look, asked: &mut Asked) {
    let response = button(ui, place, "Panic", look.alarm, look);
    if response.clicked() {
        asked.wishes.push(Wish::Panic);
    }
    response.on_hover_text("Ends every sounding note at once; the process goes on.");
}

fn theme(ui: &mut Ui, place: Rect, theme: Theme, look: &Look, asked: &mut Asked) {
    let (name, other) = match theme {
        Theme::Light => ("Dark", Theme::Dark),
        Theme::Dark => ("Light", Theme::Light),
    };
    let response = button(ui, place, name, look.ink, look);
    if response.clicked() {
        asked.theme = Some(other);
    }
    response.on_hover_text("Switches between light and dark.");
}

fn zoom(ui: &mut Ui, place: Rect, zoom: f32, look: &Look, asked: &mut Asked) {
    let text = |zoom: f32| format!("{:.0} %", zoom * 100.0);
    let response = button(ui, place, &text(zoom), look.ink, look);
    response.widget_info(|| {
        let mut info = WidgetInfo::labeled(Role::ComboBox, true, "Zoom");
        info.current_text_value = Some(text(zoom));
        info
    });
    let chosen = Popup::menu(&response).show(|ui| {
        let mut chosen = None;
        for choice in ZOOMS {
            if ui.selectable_label(choice == zoom, text(choice)).clicked() {
                chosen = Some(choice);
            }
        }
        chosen
    });
    asked.zoom = chosen.and_then(|shown| shown.inner);
    response.on_hover_text("Makes everything larger or smaller, as far as the screen has room.");
}

fn button(ui: &mut Ui, place: Rect, name: &str, ink: Color32, look: &Look) -> Response {
    let response = ui.interact(
        place,
        Id::unique(("head", place_name(name))),
        Sense::click(),
    );
    response.widget_info(|| WidgetInfo::labeled(Role::Button, true, name));
    let edge = match (response.has_focus(), response.hovered()) {
        (true, _) => Stroke::new(2.0, look.accent),
        (_, true) => Stroke::new(1.5, look.ink),
        _ => Stroke::new(1.0, look.edge),
    };
    let painter = ui.painter();
    painter.rect(
        place,
        CornerRadius::same(6),
        look.paper,
        edge,
        StrokeKind::Inside,
    );
    painter.text(
        place.center(),
        Align2::CENTER_CENTER,
        name,
        FontId::proportional(14.0),
        ink,
    );
    response
}

/// A button keeps its identity though its name changes.
fn place_name(name: &str) -> &str {
    match name {
        "Dark" | "Light" => "theme",
        zoom if zoom.ends_with('%') => "zoom",
        other => other,
    }
}

/// Keys that work in the whole window, while nobody types.
pub fn keys(ui: &Ui) -> Vec<Wish> {
    if ui.ctx().text_edit_focused() {
        return Vec::new();
    }
    ui.input_mut(|input| {
        use egui::Modifiers;
        let redo = input.consume_key(Modifiers::COMMAND | Modifiers::SHIFT, Key::Z)
            || input.consume_key(Modifiers::COMMAND, Key::Y);
        let undo = input.consume_key(Modifiers::COMMAND, Key::Z);
        redo.then_some(Wish::Redo)
            .into_iter()
            .chain(undo.then_some(Wish::Undo))
            .collect()
    })
}
