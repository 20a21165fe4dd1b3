//! Two questions about time, each a field: how long it is to last, and when a moment of it is to
//! come. What is typed is answered with counts that come near it.

use crate::editor::focus;
use crate::editor::look::Look;
use crate::editor::model::last::Last;
use crate::editor::seen::Seen;
use crate::editor::wish::Wish;
use egui::{
    Align2, FontId, Popup, PopupCloseBehavior, Rect, RectAlign, Response, TextEdit, Ui, Vec2, pos2,
    vec2,
};

/// What is asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Question {
    /// "6:00".
    Length,
    /// "unison at 1:17".
    Moment,
}

impl Question {
    fn name(self) -> &'static str {
        match self {
            Self::Length => "Make it last",
            Self::Moment => "Let come",
        }
    }

    fn hint(self) -> &'static str {
        match self {
            Self::Length => "6:00",
            Self::Moment => "unison at 1:17",
        }
    }

    fn about(self) -> &'static str {
        match self {
            Self::Length => {
                "How long the whole piece is to last: 6:00, 6 (minutes) or 360 s. Enter offers how \
                 many cycles to dwell and to drift."
            }
            Self::Moment => {
                "What is to come when: unison at 1:17, alignment 5 at bar 40, stage 7 at 3:00, by \
                 the minutes and bars of the plan. Enter offers how many cycles to dwell and to drift \
                 until then; the form is written for it."
            }
        }
    }

    fn answered(self, seen: &Seen, text: &str) -> Result<Last, String> {
        match self {
            Self::Length => Last::of(seen, text),
            Self::Moment => Last::of_moment(seen, text),
        }
    }
}

/// What was typed, and what is offered for it.
#[derive(Clone, Debug, Default)]
pub struct Asking {
    text: String,
    offered: Option<Last>,
}

/// Of both fields.
#[derive(Clone, Debug, Default)]
pub struct LastState {
    length: Asking,
    moment: Asking,
}

const FIELD: f32 = 58.0;
const MOMENT: f32 = 118.0;
/// What "Let come" and the air around it take.
const MOMENT_NAME: f32 = 74.0;
const TEXT: f32 = 13.0;

/// What both take of a row of that width, in points; nothing where words need it all.
pub fn width(row: f32) -> f32 {
    let moment = if has_moment(row) {
        MOMENT + MOMENT_NAME
    } else {
        0.0
    };
    length_width(row) + moment
}

fn length_width(row: f32) -> f32 {
    match row {
        row if row < 280.0 => 0.0,
        row if row < 560.0 => FIELD + 38.0,
        _ => FIELD + 90.0,
    }
}

/// In a narrower row the moment is asked for above the table of stages alone.
fn has_moment(row: f32) -> bool {
    row >= 620.0
}

/// Shows them at the right of a row.
pub fn show(ui: &mut Ui, row: Rect, seen: &Seen, look: &Look, state: &mut LastState) -> Vec<Wish> {
    let width = length_width(row.width());
    if width == 0.0 {
        return Vec::new();
    }
    let mut wishes = Vec::new();
    let named = |ui: &Ui, field: Rect, name: &str| {
        let at = pos2(field.left() - 8.0, row.center().y);
        let font = FontId::proportional(TEXT);
        let painter = ui.painter();
        painter.text(at, Align2::RIGHT_CENTER, name, font, look.quiet);
    };
    if has_moment(row.width()) {
        let right = row.right() - width - 8.0;
        let field = row.with_max_x(right).with_min_x(right - MOMENT);
        named(ui, field, Question::Moment.name());
        wishes.extend(ask(
            ui,
            field,
            (Question::Moment, &mut state.moment),
            seen,
            look,
        ));
    }
    let field = row.with_min_x(row.right() - FIELD);
    let is_whole = width > FIELD + 40.0;
    named(
        ui,
        field,
        if is_whole {
            Question::Length.name()
        } else {
            "Last"
        },
    );
    wishes.extend(ask(
        ui,
        field,
        (Question::Length, &mut state.length),
        seen,
        look,
    ));
    wishes
}

/// The moment alone, as one of a row of tools.
pub fn moment(ui: &mut Ui, seen: &Seen, look: &Look, state: &mut Asking) -> Vec<Wish> {
    ui.label(egui::RichText::new(Question::Moment.name()).color(look.quiet));
    let (_, field) = ui.allocate_space(vec2(MOMENT, ui.spacing().interact_size.y));
    ask(ui, field, (Question::Moment, state), seen, look)
}

/// A field, and what is offered beneath it once Enter was pressed.
fn ask(
    ui: &mut Ui,
    field: Rect,
    (question, asking): (Question, &mut Asking),
    seen: &Seen,
    look: &Look,
) -> Vec<Wish> {
    let edit = TextEdit::singleline(&mut asking.text)
        .id(ui.scope_id().with(question.name()))
        .hint_text(question.hint())
        .font(FontId::proportional(TEXT))
        .margin(Vec2::new(6.0, 1.0));
    let response = ui.put(field, edit).accessible_name(question.name());
    let mut wishes = Vec::new();
    let entered = focus::entered(ui, &response);
    if response.changed() {
        asking.offered = None;
    }
    if entered && !asking.text.trim().is_empty() {
        match question.answered(seen, &asking.text) {
            Ok(last) => asking.offered = Some(last),
            Err(words) => wishes.push(Wish::Say(words)),
        }
    }
    if let Some(last) = asking.offered.take().filter(|last| last.holds(seen)) {
        let (chosen, open) = choose(&response, &last, look);
        match chosen {
            Some(choice) => wishes.extend(last.choices[choice].wishes.clone()),
            None if open => asking.offered = Some(last),
            None => (),
        }
    }
    response.on_hover_ui(|ui| {
        ui.set_max_width(280.0);
        ui.label(question.about());
    });
    wishes
}

/// Which of them was clicked, and whether they stay open.
fn choose(field: &Response, last: &Last, look: &Look) -> (Option<usize>, bool) {
    let mut open = true;
    let chosen = Popup::from_response(field)
        .open_bool(&mut open)
        .gap(4.0)
        .align(RectAlign::BOTTOM_END)
        .width(280.0)
        .close_behavior(PopupCloseBehavior::CloseOnClickOutside)
        .show(|ui| offers(ui, last, look))
        .and_then(|shown| shown.inner);
    (chosen, open)
}

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
