//! A parameter to lay hands on: its name and its value, in a row.
//!
//! Drag a value to change it, with Shift for fine; click it and type; double-click for the default.
//! Resting the pointer on it tells in one sentence what is heard of it.

use crate::declaration::{Declaration, Kind, Shown};
use crate::editor::choice;
use crate::editor::look::Look;
use crate::editor::model::parameters::written;
use crate::editor::wish::Wish;
use egui::{
    Align2, CornerRadius, CursorIcon, Event, EventFilter, FontId, Id, Key, Rect, Response, Role,
    Sense, Stroke, StrokeKind, Ui, Vec2, WidgetInfo, pos2, vec2,
};

/// Height of a row, in points.
pub const ROW: f32 = 28.0;
const CORNER: CornerRadius = CornerRadius::same(4);

/// A parameter of whatever kind, and how it is to be shown.
#[derive(Clone, Copy)]
pub struct Field<'a> {
    /// What is declared about it.
    pub declaration: &'static Declaration,
    /// The parameter.
    pub parameter: &'a dyn Shown,
    /// Whether it makes a difference now; one that does not stands back.
    pub matters: bool,
    /// Whether the unit is left out, for the heading names it, and the name too.
    pub bare: bool,
}

impl Field<'_> {
    /// Shows it in all the width there is.
    pub fn show(self, ui: &mut Ui, look: &Look) -> Vec<Wish> {
        let size = vec2(ui.available_width(), ROW);
        let (_, row) = ui.allocate_space(size);
        self.show_in(ui, row.shrink2(vec2(0.0, 1.0)), look)
    }

    /// Shows it in a given place.
    pub fn show_in(self, ui: &mut Ui, row: Rect, look: &Look) -> Vec<Wish> {
        let value = if self.bare {
            row
        } else {
            row.with_min_x(row.min.x + name_width(row))
        };
        match &self.declaration.kind {
            Kind::Toggle(_) => self.toggle(ui, row, value, look),
            Kind::Choice(list) => {
                let names = list.options.iter().map(|option| option.name);
                self.choice(ui, row, value, &names.collect::<Vec<_>>(), look)
            }
            Kind::Whole(_) | Kind::Amount(_) => self.number(ui, row, value, look),
        }
    }

    fn id(&self) -> &'static str {
        &self.declaration.id
    }

    fn widget_id(&self) -> Id {
        Id::unique(("parameter", self.id()))
    }

    fn text(&self) -> String {
        self.text_of(self.parameter.normalized())
    }

    /// A value as the window writes it.
    fn text_of(&self, normalized: f32) -> String {
        let text = self.parameter.text_of(normalized);
        match &self.declaration.kind {
            Kind::Choice(_) => written(&text),
            _ => text,
        }
    }

    fn toggle(&self, ui: &mut Ui, row: Rect, value: Rect, look: &Look) -> Vec<Wish> {
        let response = ui.interact(row, self.widget_id(), Sense::click());
        let on = self.parameter.normalized() > 0.5;
        response
            .widget_info(|| WidgetInfo::selected(Role::CheckBox, true, on, &self.declaration.name));
        self.name(ui, row, look);
        let switch =
            Rect::from_min_size(pos2(value.min.x, value.center().y - 9.0), vec2(34.0, 18.0));
        // Under a heading it stands where the heading ends.
        let switch = if self.bare {
            switch.translate(vec2(value.max.x - switch.max.x, 0.0))
        } else {
            switch
        };
        let painter = ui.painter();
        let (fill, edge) = if on {
            (look.accent, look.accent)
        } else {
            (look.paper, look.edge)
        };
        painter.rect(
            switch,
            CornerRadius::same(9),
            fill,
            self.edge(&response, edge, look),
            StrokeKind::Inside,
        );
        let knob = if on {
            switch.max.x - 9.0
        } else {
            switch.min.x + 9.0
        };
        let knob_fill = if on { look.card } else { look.edge };
        painter.circle_filled(pos2(knob, switch.center().y), 5.5, knob_fill);
        if !self.bare {
            painter.text(
                pos2(switch.max.x + 8.0, switch.center().y),
                Align2::LEFT_CENTER,
                if on { "On" } else { "Off" },
                FontId::proportional(13.0),
                self.ink(look),
            );
        }
        if response.clicked() {
            response.request_focus();
        }
        let wish = (response.clicked() && !response.double_clicked()).then(|| {
            let other = if on { "Off" } else { "On" };
            Wish::Type(self.id(), other.to_owned())
        });
        let wishes = wish.into_iter().chain(self.reset(&response)).collect();
        self.explain(response);
        wishes
    }

    fn choice(
        &self,
        ui: &mut Ui,
        row: Rect,
        value: Rect,
        names: &[&'static str],
        look: &Look,
    ) -> Vec<Wish> {
        let response = ui.interact(row, self.widget_id(), Sense::click());
        let text = self.text();
        response.widget_info(|| self.info(Role::ComboBox, &text));
        self.name(ui, row, look);
        self.frame(ui, value, &response, look);
        ui.painter().text(
            pos2(value.min.x + 8.0, value.center().y),
            Align2::LEFT_CENTER,
            &text,
            FontId::proportional(13.0),
            self.ink(look),
        );
        choice::tip(ui, value, look);
        let mut wishes: Vec<Wish> = self.reset(&response).into_iter().collect();
        if response.clicked() {
            response.request_focus();
        }
        if !choice::is_open(&response) {
            wishes.extend(self.by_keys(ui, &response));
        }
        let written: Vec<String> = names.iter().map(|name| written(name)).collect();
        let now = written.iter().position(|name| *name == text).unwrap_or(0);
        if let Some(chosen) = choice::list(&response, value, &written, now) {
            wishes.push(Wish::Type(self.id(), names[chosen].to_owned()));
        }
        self.explain(response);
        wishes
    }

    fn number(&self, ui: &mut Ui, row: Rect, value: Rect, look: &Look) -> Vec<Wish> {
        let id = self.widget_id();
        let typing = id.with("typing");
        if let Some(text) = ui.data(|data| data.get_temp::<String>(typing)) {
            self.name(ui, row, look);
            return self.entry(ui, value, typing, text);
        }
        let response = ui
            .interact(row, id, Sense::click_and_drag())
            .on_hover_and_drag_cursor(CursorIcon::ResizeHorizontal);
        let text = self.text();
        response.widget_info(|| self.info(Role::SpinButton, &text));
        self.name(ui, row, look);
        self.frame(ui, value, &response, look);
        self.gauge(ui, value, look);
        let shown = if self.bare { bare(&text) } else { text.clone() };
        ui.painter().text(
            pos2(value.max.x - 8.0, value.center().y),
            Align2::RIGHT_CENTER,
            shown,
            FontId::proportional(13.0),
            self.ink(look),
        );
        let mut wishes = self.by_drag(ui, &response);
        wishes.extend(self.reset(&response));
        if response.clicked() {
            response.request_focus();
        }
        wishes.extend(self.by_keys(ui, &response));
        match begun_entry(ui, &response, &text) {
            Some(Entry::Begun(begun)) => begin_entry(ui, typing, begun),
            Some(Entry::Done(typed)) => wishes.push(Wish::Type(self.id(), typed)),
            None => (),
        }
        self.explain(response);
        wishes
    }

    /// Dragging right or up raises, left or down lowers.
    fn by_drag(&self, ui: &Ui, response: &Response) -> Vec<Wish> {
        let hand = response.id.with("hand");
        let mut wishes = Vec::new();
        if response.drag_started() {
            response.request_focus();
            let now = self.parameter.normalized();
            ui.data_mut(|data| data.insert_temp(hand, now));
            wishes.push(Wish::Grasp(self.id()));
        }
        if response.dragged() {
            let moved = response.drag_delta();
            let fine = ui.input(|input| input.modifiers.shift);
            let reach = self.reach() * if fine { 10.0 } else { 1.0 };
            let before = ui
                .data(|data| data.get_temp(hand))
                .unwrap_or_else(|| self.parameter.normalized());
            let after = (before + (moved.x - moved.y) / reach).clamp(0.0, 1.0);
            ui.data_mut(|data| data.insert_temp(hand, after));
            let now = self.parameter.nearest(self.parameter.normalized());
            if self.parameter.nearest(after) != now {
                wishes.push(Wish::Turn(self.id(), after));
            }
        }
        if response.drag_stopped() {
            ui.data_mut(|data| data.remove::<f32>(hand));
            wishes.push(Wish::LetGo(self.id()));
        }
        wishes
    }

    /// Points of dragging from one end to the other: some for every step, but no longer than a
    /// hand's way.
    fn reach(&self) -> f32 {
        let steps = self.parameter.steps().map_or(200.0, |steps| steps as f32);
        (steps * 8.0).clamp(80.0, 320.0)
    }

    /// The arrow keys go a step up or down; in a list, down is down.
    fn by_keys(&self, ui: &Ui, response: &Response) -> Vec<Wish> {
        if !response.has_focus() {
            return Vec::new();
        }
        ui.memory_mut(|memory| {
            let arrows = EventFilter {
                vertical_arrows: true,
                horizontal_arrows: true,
                ..EventFilter::default()
            };
            memory.set_focus_lock_filter(response.id, arrows);
        });
        let up = match &self.declaration.kind {
            Kind::Choice(_) => -1.0,
            _ => 1.0,
        };
        let presses = ui.input(|input| {
            let count = |key| input.num_presses(key) as f32;
            up * (count(Key::ArrowUp) - count(Key::ArrowDown)) + count(Key::ArrowRight)
                - count(Key::ArrowLeft)
        });
        let step = match &self.declaration.kind {
            // A percent, or a tenth of a step.
            Kind::Amount(amount) => {
                let range = amount.range().end() - amount.range().start();
                let unit = if amount.decimals > 1 { 0.1 } else { 1.0 };
                unit / range
            }
            _ => 1.0 / self.parameter.steps().unwrap_or(100).max(1) as f32,
        };
        if presses == 0.0 {
            return Vec::new();
        }
        let value = self.parameter.normalized() + presses * step;
        vec![
            Wish::Grasp(self.id()),
            Wish::Turn(self.id(), value.clamp(0.0, 1.0)),
            Wish::LetGo(self.id()),
        ]
    }

    fn reset(&self, response: &Response) -> Option<Wish> {
        response.double_clicked().then(|| Wish::Reset(self.id()))
    }

    /// Typing a value.
    fn entry(&self, ui: &mut Ui, value: Rect, typing: Id, mut text: String) -> Vec<Wish> {
        let edit = egui::TextEdit::singleline(&mut text)
            .id(edit_of(typing))
            .font(FontId::proportional(13.0))
            .margin(Vec2::new(6.0, 2.0));
        let response = ui.put(value, edit);
        response.widget_info(|| WidgetInfo::labeled(Role::TextInput, true, &self.declaration.name));
        let (given_up, entered) = ui.input(|input| {
            (
                input.key_pressed(Key::Escape),
                input.key_pressed(Key::Enter),
            )
        });
        let done = response.lost_focus() || !response.has_focus();
        if done || given_up {
            ui.data_mut(|data| data.remove::<String>(typing));
            if given_up || entered {
                // The keyboard goes back to the value.
                ui.memory_mut(|memory| memory.request_focus(self.widget_id()));
            }
        } else {
            ui.data_mut(|data| data.insert_temp(typing, text.clone()));
        }
        if done && !given_up && !text.trim().is_empty() {
            vec![Wish::Type(self.id(), text)]
        } else {
            Vec::new()
        }
    }

    fn name(&self, ui: &Ui, row: Rect, look: &Look) {
        if self.bare {
            return;
        }
        let colour = self.ink(look);
        let laid = |size: f32| {
            let name = self.declaration.name.clone();
            ui.painter()
                .layout_no_wrap(name, FontId::proportional(size), colour)
        };
        let mut name = laid(13.0);
        let share = (name_width(row) - 5.0) / name.size().x;
        if share < 1.0 {
            name = laid((13.0 * share).max(10.5));
        }
        let at = pos2(row.min.x, row.center().y - name.size().y / 2.0);
        ui.painter().galley(at, name, colour);
    }

    fn frame(&self, ui: &Ui, value: Rect, response: &Response, look: &Look) {
        ui.painter().rect(
            value,
            CORNER,
            look.paper,
            self.edge(response, look.edge, look),
            StrokeKind::Inside,
        );
    }

    fn edge(&self, response: &Response, at_rest: egui::Color32, look: &Look) -> Stroke {
        if response.has_focus() || response.dragged() {
            Stroke::new(2.0, look.accent)
        } else if response.hovered() {
            Stroke::new(1.5, look.ink)
        } else if self.matters {
            Stroke::new(1.0, at_rest)
        } else {
            Stroke::new(1.0, look.rule)
        }
    }

    /// How far between its ends the value stands, and on which side of its middle.
    fn gauge(&self, ui: &Ui, value: Rect, look: &Look) {
        let track = Rect::from_min_max(
            pos2(value.min.x + 4.0, value.max.y - 4.5),
            pos2(value.max.x - 4.0, value.max.y - 2.5),
        );
        let x = |share: f32| track.min.x + share * track.width();
        let zero = match &self.declaration.kind {
            Kind::Whole(whole) if *whole.numbers.start() < 0 => 0.5,
            Kind::Amount(amount) if -amount.numbers.start() == *amount.numbers.end() => 0.5,
            _ => 0.0,
        };
        let now = self.parameter.normalized();
        let (from, to) = (x(f32::min(zero, now)), x(f32::max(zero, now)));
        let colour = if self.matters { look.accent } else { look.rule };
        ui.painter().rect_filled(
            Rect::from_x_y_ranges(from..=to, track.y_range()),
            CornerRadius::same(1),
            colour,
        );
    }

    fn ink(&self, look: &Look) -> egui::Color32 {
        if self.matters { look.ink } else { look.quiet }
    }

    fn info(&self, role: Role, text: &str) -> WidgetInfo {
        let mut info = WidgetInfo::labeled(role, true, &self.declaration.name);
        info.current_text_value = Some(text.to_owned());
        info
    }

    fn explain(&self, response: Response) {
        let usual = self.text_of(self.parameter.normalized_default());
        let idle = if self.matters {
            ""
        } else {
            " It makes no difference at present."
        };
        response.on_hover_ui(|ui| {
            ui.set_max_width(280.0);
            ui.label(format!("{}{idle}", self.declaration.heard));
            let how = match &self.declaration.kind {
                Kind::Toggle(_) => "Double-click",
                Kind::Choice(_) => "Click for the list, or arrow keys. Double-click",
                Kind::Whole(_) | Kind::Amount(_) => {
                    "Drag (Shift: fine), arrow keys, or click and type. Double-click"
                }
            };
            ui.weak(format!("{how} to reset to {usual}."));
        });
    }
}

/// What a name takes of its row.
fn name_width(row: Rect) -> f32 {
    (row.width() * 0.41).floor()
}

/// What was typed on a value.
enum Entry {
    /// So far this.
    Begun(String),
    /// This, and it was confirmed.
    Done(String),
}

/// Characters replace the value, Enter alone opens it for editing. A slow frame may bring several
/// keys at once.
fn begun_entry(ui: &Ui, response: &Response, text: &str) -> Option<Entry> {
    if !response.has_focus() {
        return None;
    }
    ui.input(|input| {
        let typed: String = input
            .events
            .iter()
            .filter_map(|event| match event {
                Event::Text(typed) => Some(typed.as_str()),
                _ => None,
            })
            .collect();
        match (typed.trim().is_empty(), input.key_pressed(Key::Enter)) {
            (true, false) => None,
            (true, true) => Some(Entry::Begun(text.to_owned())),
            (false, false) => Some(Entry::Begun(typed)),
            (false, true) => Some(Entry::Done(typed)),
        }
    })
}

fn edit_of(typing: Id) -> Id {
    typing.with("edit")
}

/// The next frame shows a text to be edited, and what is typed until then goes into it.
fn begin_entry(ui: &Ui, typing: Id, text: String) {
    let end = egui::text::CCursor::new(text.chars().count());
    let mut state = egui::text_edit::TextEditState::default();
    state
        .cursor
        .set_char_range(Some(egui::text::CCursorRange::one(end)));
    egui::TextEdit::store_state(ui.ctx(), edit_of(typing), state);
    ui.data_mut(|data| data.insert_temp(typing, text));
    ui.memory_mut(|memory| memory.request_focus(edit_of(typing)));
    ui.ctx().request_repaint();
}

/// A number without its unit; a name stays whole.
fn bare(text: &str) -> String {
    let number = text
        .split(' ')
        .next()
        .filter(|word| word.contains(|c: char| c.is_ascii_digit()));
    number.unwrap_or(text).to_owned()
}
