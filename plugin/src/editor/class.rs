//! For a class: the circle, the plan, and what is now and next in words, as large as the window and
//! readable from the last row.

use crate::editor::look::{Look, mark};
use crate::editor::model::class::{Lesson, Step, moves_on_cue, turned};
use crate::editor::model::plan::playhead;
use crate::editor::seen::Seen;
use crate::editor::wish::Wish;
use egui::{
    Align2, Button, Color32, CornerRadius, FontId, Key, Label, Rect, RichText, Role, Sense, Shape,
    Stroke, Ui, WidgetInfo, pos2, vec2,
};
use procession_core::form::Stage;
use std::f32::consts::TAU;

/// A screen of so many lines.
const LINES: f32 = 1080.0;
/// On it, the smallest type, and those of what is now and next, in points.
const SMALL: f32 = 26.0;
const LARGE: f32 = 54.0;
/// So long a cue stays on, in seconds: longer than any block of audio.
const CUE: f64 = 0.3;

/// What the view remembers between frames.
#[derive(Debug, Default)]
pub struct ClassState {
    lesson: Lesson,
    /// Until when a cue is on that was given here.
    cue_until: Option<f64>,
}

impl ClassState {
    /// The view is left: the hand is off the cue, and nothing is heard by itself.
    fn leave(&mut self) -> Vec<Wish> {
        let mut wishes = self.let_go();
        wishes.extend([Wish::Hush, Wish::ShowToClass(false)]);
        wishes
    }

    /// The hand is off the cue, if one was being given.
    pub fn let_go(&mut self) -> Vec<Wish> {
        let given = self.cue_until.take();
        given.map(|_| cue("Off")).into_iter().collect()
    }
}

fn cue(to: &str) -> Wish {
    Wish::Type("cue", to.to_owned())
}

/// Shows it in all the window.
pub fn show(ui: &mut Ui, seen: &Seen, look: &Look, state: &mut ClassState) -> Vec<Wish> {
    let room = ui.max_rect();
    let scale = room.height() / LINES;
    ui.painter().rect_filled(room, 0.0, look.card);
    let mut wishes = hands(ui, seen, state);
    let inside = room.shrink(32.0 * scale);
    let plan = inside.with_min_y(inside.max.y - 110.0 * scale);
    let foot = Rect::from_min_max(
        pos2(inside.min.x, plan.min.y - 90.0 * scale),
        pos2(inside.max.x, plan.min.y - 20.0 * scale),
    );
    let above = inside.with_max_y(foot.min.y - 16.0 * scale);
    let side = above.height().min(above.width() * 0.5);
    let ring = Rect::from_min_size(above.min, vec2(side, side));
    let now = state.lesson.now(seen);
    circle(ui, ring, seen, look, now);
    let words = above.with_min_x(ring.max.x + 40.0 * scale);
    said(ui, words, seen, look, state, scale);
    strip(ui, plan, seen, look, (now, state.lesson.asks()), scale);
    wishes.extend(buttons(ui, foot, seen, look, state, scale));
    wishes
}

/// What keys, a pedal and cues do.
fn hands(ui: &mut Ui, seen: &Seen, state: &mut ClassState) -> Vec<Wish> {
    let pressed = |keys: &[Key]| ui.input(|input| keys.iter().any(|key| input.key_pressed(*key)));
    let mut wishes = Vec::new();
    let now = ui.input(|input| input.time);
    if let Some(to) = state.lesson.cued(seen, now) {
        wishes.extend(state.lesson.step(seen, to));
    }
    if state.lesson.is_waiting() {
        ui.ctx().request_repaint();
    }
    // Those that presenters' remotes send, too.
    if pressed(&[Key::ArrowRight, Key::ArrowDown, Key::PageDown]) {
        wishes.extend(step(ui, seen, state, Step::On));
    }
    if pressed(&[Key::ArrowLeft, Key::ArrowUp, Key::PageUp]) {
        wishes.extend(step(ui, seen, state, Step::Back));
    }
    if pressed(&[Key::H]) {
        state.lesson.ask(!state.lesson.asks());
    }
    if pressed(&[Key::Escape]) {
        wishes.extend(state.leave());
    }
    if state.cue_until.is_some_and(|until| now >= until) {
        wishes.extend(state.let_go());
    } else if state.cue_until.is_some() {
        ui.ctx().request_repaint();
    }
    wishes
}

fn step(ui: &Ui, seen: &Seen, state: &mut ClassState, to: Step) -> Option<Wish> {
    if to == Step::On && moves_on_cue(seen) {
        state.cue_until = Some(ui.input(|input| input.time) + CUE);
        return Some(cue("On"));
    }
    state.lesson.step(seen, to)
}

/// What is now and what is next.
fn said(ui: &mut Ui, room: Rect, seen: &Seen, look: &Look, state: &ClassState, scale: f32) {
    let said = state.lesson.said(seen);
    let half = room.height() / 2.0;
    let rooms = [
        (
            "Now",
            said.now,
            look.ink,
            room.with_max_y(room.min.y + half),
        ),
        (
            "Next",
            said.next,
            look.quiet,
            room.with_min_y(room.min.y + half),
        ),
    ];
    for (name, words, ink, place) in rooms {
        let heading = place.with_max_y(place.min.y + 1.4 * SMALL * scale);
        let label = RichText::new(name).size(SMALL * scale).color(look.accent);
        put(ui, heading, Label::new(label));
        let below = place.with_min_y(heading.max.y + 8.0 * scale);
        let size = fitting(ui, &words, below, LARGE * scale, SMALL * scale);
        put(
            ui,
            below,
            Label::new(RichText::new(words).size(size).color(ink)).wrap(),
        );
    }
}

fn put(ui: &mut Ui, place: Rect, label: Label) {
    let mut inner = ui.new_child(egui::UiBuilder::new().max_rect(place));
    inner.add(label);
}

/// The largest size, in points, at which words fit.
fn fitting(ui: &Ui, words: &str, room: Rect, most: f32, least: f32) -> f32 {
    let mut size = most;
    while size > least {
        let font = FontId::proportional(size);
        let laid = ui
            .painter()
            .layout(words.to_owned(), font, Color32::BLACK, room.width());
        if laid.size().y <= room.height() {
            break;
        }
        size -= 2.0;
    }
    size.max(least)
}

/// Every voice a ring, turned to where it stands, and a hand that goes round.
fn circle(ui: &mut Ui, room: Rect, seen: &Seen, look: &Look, now: Option<usize>) {
    let response = ui.interact(room, ui.scope_id().with("class circle"), Sense::hover());
    response.widget_info(|| WidgetInfo::labeled(Role::Image, true, "The voices on a circle"));
    let painter = ui.painter();
    let centre = room.center();
    let voices = turned(seen, now);
    let length = seen.phrase().length();
    let outer = 0.94 * room.width() / 2.0;
    let between = 0.62 * outer / voices.len().max(2) as f32;
    let at = |share: f64, radius: f32| {
        let angle = TAU * (share as f32 - 0.25);
        centre + radius * vec2(angle.cos(), angle.sin())
    };
    for (index, (part, ahead)) in voices.iter().enumerate() {
        let radius = outer - index as f32 * between;
        let hue = look.hue(*part);
        painter.circle_stroke(centre, radius, Stroke::new(2.0, look.rule));
        let Some(ahead) = ahead else { continue };
        for note in seen.phrase().notes() {
            let place = at(note.onset / length - ahead, radius);
            painter.add(mark(*part, place, 0.016 * room.width(), hue, true));
        }
    }
    if seen.snapshot.running && seen.hearing.is_none() {
        let share = (seen.elapsed() / length).rem_euclid(1.0);
        let hand = [at(share, 0.2 * outer), at(share, outer)];
        painter.line_segment(hand, Stroke::new(4.0, look.accent));
    }
}

/// The form along time, a block a stage.
fn strip(
    ui: &mut Ui,
    room: Rect,
    seen: &Seen,
    look: &Look,
    (now, asks): (Option<usize>, bool),
    scale: f32,
) {
    let response = ui.interact(room, ui.scope_id().with("class plan"), Sense::hover());
    response.widget_info(|| WidgetInfo::labeled(Role::Image, true, "The plan"));
    let painter = ui.painter();
    let form = &seen.form;
    let Some(first) = form.stages.first() else {
        return;
    };
    let (start, end) = (first.span.start, form.end());
    let x = |at: f64| room.min.x + room.width() * ((at - start) / (end - start)) as f32;
    let ahead = |stage: &Stage| {
        let copies = stage.copies.iter().map(|copy| copy.to.abs());
        copies.fold(0.0, f64::max)
    };
    let most = form.stages.iter().map(ahead).fold(1.0, f64::max);
    for (index, stage) in form.stages.iter().enumerate() {
        let block = Rect::from_x_y_ranges(
            x(stage.span.start) + 1.0..=x(stage.span.end) - 1.0,
            room.y_range(),
        );
        // What is a question says nothing by its height either.
        let hidden = asks && index > now.map_or(0, |now| now);
        let height = if hidden {
            0.35
        } else {
            0.35 + 0.65 * (ahead(stage) / most) as f32
        };
        let block = block.with_min_y(block.max.y - height * block.height());
        let is_now = now == Some(index);
        let fill = if is_now { look.accent } else { look.rule };
        painter.rect_filled(block, CornerRadius::same(3), fill);
        let font = FontId::proportional(SMALL * scale);
        if block.width() > 1.4 * SMALL * scale {
            let ink = if is_now { look.card } else { look.ink };
            let number = (index + 1).to_string();
            let at = pos2(block.center().x, room.max.y - 0.6 * SMALL * scale);
            painter.text(at, Align2::CENTER_CENTER, number, font, ink);
        }
    }
    if let Some(head) = playhead(seen).filter(|_| seen.hearing.is_none()) {
        let at = x((seen.process.origin() + head.at).clamp(start, end));
        let line = Shape::line_segment(
            [pos2(at, room.min.y), pos2(at, room.max.y)],
            Stroke::new(4.0, look.ink),
        );
        painter.add(line);
    }
}

fn buttons(
    ui: &mut Ui,
    room: Rect,
    seen: &Seen,
    look: &Look,
    state: &mut ClassState,
    scale: f32,
) -> Vec<Wish> {
    let mut wishes = Vec::new();
    let mut inner = ui.new_child(
        egui::UiBuilder::new()
            .max_rect(room)
            .layout(egui::Layout::left_to_right(egui::Align::Center)),
    );
    inner.spacing_mut().item_spacing.x = 16.0 * scale;
    let text = |words: &str| RichText::new(words).size(SMALL * scale).color(look.ink);
    let button = |words: &str| Button::new(text(words)).min_size(vec2(0.0, 56.0 * scale));
    if inner
        .add(button("Back"))
        .on_hover_text("Left, Page up; a pedal or key that gives cues, held")
        .clicked()
    {
        wishes.extend(step(&inner, seen, state, Step::Back));
    }
    if inner
        .add(button("Next"))
        .on_hover_text("Right, Page down, a pedal or key that gives cues")
        .clicked()
    {
        wishes.extend(step(&inner, seen, state, Step::On));
    }
    let asks = state.lesson.asks();
    let ask = button(if asks {
        "Tell what comes"
    } else {
        "Ask what comes"
    });
    if inner.add(ask).on_hover_text("H").clicked() {
        state.lesson.ask(!asks);
    }
    if inner.add(button("Leave")).on_hover_text("Escape").clicked() {
        wishes.extend(state.leave());
    }
    wishes
}
