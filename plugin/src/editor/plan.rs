//! The plan: the whole form along an axis of time, where the song is in it, and what each stage
//! is in words.
//!
//! A stage that is clicked is chosen: looked at, while playback goes on. Other views show it then,
//! and two cycles of it are heard by themselves. In the program, whose song is its own, the song
//! goes there.

pub mod flag;
mod hand;
pub mod last;

use crate::editor::circle::{fitting, put, voice_line};
use crate::editor::listen::{SIGN, entered, sign, stepped, steps, toggled};
use crate::editor::look::{Look, mark};
use crate::editor::model::plan::{
    About, Block, InForce, ModeMark, Plan, Playhead, Window, about, length, mode_in_force,
    modes_at, playhead, stage_now, totals,
};
use crate::editor::seen::{Edition, Seen};
use crate::editor::wish::{RouteWish, SongWish, Wish};
use egui::{
    Align2, CursorIcon, FontId, Galley, Key, Painter, Pos2, Rect, Response, Role, Sense, Shape,
    Stroke, StrokeKind, Ui, WidgetInfo, epaint, pos2, vec2,
};
use procession_core::form::StageKind;
use procession_core::part::Part;
use procession_core::snippet::Subject;
use procession_core::time::Beats;
use procession_core::words::{kind_word, stage_words, steps_ahead};

/// What the plan remembers between two frames: the part of the form that is looked at.
#[derive(Clone, Debug, Default)]
pub struct PlanState {
    /// None is the whole form.
    window: Option<Window>,
    /// Whether the playhead was to be seen, and is followed off the edge.
    follows: bool,
    laid_out: Option<LaidOut>,
    told: Option<(usize, Essence, About)>,
    last: last::LastState,
    flag: flag::FlagState,
    hand: hand::HandState,
}

/// A plan laid out, and what it was laid out from.
#[derive(Clone, Debug)]
struct LaidOut {
    essence: Essence,
    window: Window,
    chart: Rect,
    plan: Plan,
}

/// All that the plan follows from.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Essence {
    edition: Edition,
    tempo: f64,
    beats_per_bar: f64,
}

impl Essence {
    fn of(seen: &Seen) -> Self {
        Self {
            edition: seen.edition,
            tempo: seen.snapshot.tempo,
            beats_per_bar: seen.snapshot.beats_per_bar,
        }
    }
}

const LINE: f32 = 19.0;
const TEXT: f32 = 13.0;
const SMALL: f32 = 11.5;
/// Beneath the chart: what happens, in a word.
const STRIP: f32 = 17.0;
/// Beneath the strip: bars, and minutes.
const AXIS: f32 = 32.0;
/// Beside the chart: steps.
const LEVELS: f32 = 46.0;

/// Draws the plan into all of the room there is. `chosen` is the stage that is looked at, if one
/// is; a click on a stage chooses it, another click, or Escape, lets it go.
pub fn show(
    ui: &mut Ui,
    seen: &Seen,
    look: &Look,
    state: &mut PlanState,
    chosen: &mut Option<usize>,
) -> Vec<Wish> {
    let (rect, _) = ui.allocate_exact_size(ui.available_size(), Sense::hover());
    *chosen = chosen.filter(|stage| *stage < seen.form.stages.len());
    if seen.phrase().is_empty() {
        say_what_follows(ui, rect, look);
        return Vec::new();
    }
    let rooms = Rooms::new(rect.shrink(8.0));
    let head = playhead(seen);
    let response = ui.interact(
        rooms.chart.union(rooms.strip),
        ui.scope_id().with("plan"),
        Sense::click_and_drag(),
    );
    // A click means what was under it, before two of them show the whole: chosen and let go.
    let window = state.window.unwrap_or(Window::whole(seen));
    let before = *chosen;
    let here = hand::Where {
        chart: rooms.chart,
        strip: rooms.strip,
        window,
    };
    let drawn = state.laid_out.as_ref().map(|laid_out| &laid_out.plan);
    let hand = &mut state.hand;
    let (written, held) = hand::lay(ui, seen, hand, drawn, here, &response, chosen);
    let visit = choose(ui, seen, &rooms, window, &response, chosen);
    let heard = hear(ui, seen, &response, before, *chosen);
    if chosen.is_some() {
        hand::keep_arrows(ui, &response);
    }
    look_around(ui, seen, state, &rooms, &response, (head, held));
    let window = state.window.unwrap_or(Window::whole(seen));

    let hovered = response
        .hover_pos()
        .and_then(|at| stage_at(seen, &rooms, window, at));
    lay_out(seen, state, window, rooms.chart);
    let plan = state.laid_out.as_ref().map(|laid_out| &laid_out.plan);
    let at = head.map(|head| window.x(head.at, rooms.chart));
    let modes = plan.map_or_else(Vec::new, |plan| modes_at(plan, seen, at));
    if let Some(plan) = plan {
        let frame = Frame {
            painter: ui.painter(),
            look,
            rooms: &rooms,
            seen,
            window,
            modes: &modes,
        };
        frame.draw(plan, hovered, *chosen, head);
        let here = hand::Where { window, ..here };
        hand::draw(ui, seen, look, &state.hand, plan, here);
    }
    draw_words(ui, seen, look, &rooms, state, *chosen, head);
    let mut wishes = match rooms.words.first() {
        Some(row) => last::show(ui, *row, seen, look, &mut state.last),
        None => Vec::new(),
    };
    wishes.extend(as_generated(ui, seen, &rooms));
    wishes.extend(written);
    wishes.extend(visit);
    wishes.extend(heard);
    wishes.extend(mode_marks(ui, seen, &modes, rooms.chart));
    let beats_a_point = window.length() / f64::from(rooms.chart.width().max(1.0));
    let flag = &mut state.flag;
    wishes.extend(flag::show(ui, rooms.foot, seen, look, beats_a_point, flag));
    response.widget_info(|| {
        let (lasts, now) = (totals(seen), now_in_words(seen, *chosen, head));
        let label = format!("Plan: {}. {}", lasts[0], now[0]);
        WidgetInfo::labeled(Role::Button, true, label)
    });
    if let Some(told) = hovered.and_then(|stage| tell(seen, state, stage)) {
        let is_chosen = hovered == *chosen;
        ui.set_cursor_icon(CursorIcon::PointingHand);
        response.on_hover_ui_at_pointer(|ui| {
            ui.set_max_width(320.0);
            ui.strong(&told.title);
            ui.label(capital(&told.words));
            ui.label(&told.when);
            ui.label(format!("{}; {}", told.facts, told.sonority));
            ui.label(if seen.own_song {
                "Click: the song goes there. Wheel: zoom. Drag: move along."
            } else if is_chosen {
                HANDS
            } else {
                "Click to look at it and hear two cycles of it; playback goes on. Wheel: zoom. \
                 Drag: move along."
            });
        });
    }
    wishes
}

/// Where a mode begins, a click has the change heard.
fn mode_marks(ui: &Ui, seen: &Seen, modes: &[ModeMark], chart: Rect) -> Option<Wish> {
    let top = chart.top();
    let mut wish = None;
    for mode in modes {
        let Some(index) = mode.index else { continue };
        let right = (mode.left + MODE_MARK).min(mode.right);
        let place = Rect::from_x_y_ranges(mode.left - 4.0..=right, top - 7.0..=top + 15.0);
        let id = ui.scope_id().with(("mode change", index));
        let mark = ui.interact(place.intersect(chart.expand(7.0)), id, Sense::click());
        let label = format!("Hear mode change {}: {}", index + 1, mode.name);
        mark.widget_info(|| WidgetInfo::labeled(Role::Button, true, &label));
        if mark.clicked() {
            mark.request_focus();
            wish = Some(toggled(seen, Subject::ModeChange(index)));
        }
        if mark.hovered() {
            ui.set_cursor_icon(CursorIcon::PointingHand);
        }
        mark.on_hover_text(format!(
            "{}. Click to hear a cycle before the change and the first that is whole.",
            mode.name
        ));
    }
    wish
}

/// What can be clicked of where a mode begins, in points.
const MODE_MARK: f32 = 72.0;

/// What hands can do with a stage that is looked at.
const HANDS: &str = "Click to return to now. Enter: hear it. Drag the end of a block: how long. Drag \
                     a line up or down: where the copy stands. Drag the block: to another place. Keys: Up, \
                     Down (with Shift: the way there); W, drift, jump or build up; C, until a cue; 1 to \
                     8, that copy a step ahead (with Ctrl: back); R, repeat; Delete, leave out; Ctrl \
                     and arrows, to another place.";

/// The way back from a written form, beside the words about the mode; where there are none, about
/// the stage.
fn as_generated(ui: &mut Ui, seen: &Seen, rooms: &Rooms) -> Option<Wish> {
    let row = generated_row(rooms)?;
    let width = generated_width(seen, rooms, row);
    if width == 0.0 {
        return None;
    }
    let line = rooms.words.get(row)?;
    let place = line.with_min_x(line.right() - width);
    let button = egui::Button::new(egui::RichText::new("As generated").size(TEXT)).small();
    let button = ui.put(place, button);
    let button = button.on_hover_text(
        "This form is written. A click has the settings make it again; Undo brings back what was \
         written.",
    );
    button
        .clicked()
        .then_some(Wish::Route(RouteWish::AsGenerated))
}

/// The line of words beside which that stands. The first has a field of its own.
fn generated_row(rooms: &Rooms) -> Option<usize> {
    (1..rooms.words.len().min(3)).next_back()
}

/// What that takes of a line of words.
fn generated_width(seen: &Seen, rooms: &Rooms, line: usize) -> f32 {
    let is_written = seen.process.route().is_written();
    let wide = rooms
        .words
        .get(line)
        .is_some_and(|line| line.width() > 280.0);
    if is_written && wide && generated_row(rooms) == Some(line) {
        98.0
    } else {
        0.0
    }
}

/// Who gets which room.
struct Rooms {
    words: Vec<Rect>,
    chart: Rect,
    strip: Rect,
    axis: Rect,
    /// Left of strip and axis, up to where the form begins.
    foot: Rect,
}

impl Rooms {
    /// Lines of words above, as many as leave the chart most of the room.
    fn new(rect: Rect) -> Self {
        let lines = match rect.height() {
            height if height < 150.0 => 1,
            height if height < 190.0 => 2,
            height if height < 260.0 => 3,
            _ => 4,
        };
        let words = (0..lines).map(|line| {
            let at = pos2(rect.left(), rect.top() + LINE * line as f32);
            Rect::from_min_size(at, vec2(rect.width(), LINE))
        });
        let top = rect.top() + LINE * lines as f32 + 6.0;
        let (left, right) = (rect.left() + LEVELS, rect.right() - 4.0);
        let axis = rect.bottom() - AXIS;
        let across = |top: f32, bottom: f32| {
            Rect::from_min_max(pos2(left, top), pos2(right, bottom.max(top + 1.0)))
        };
        Self {
            words: words.collect(),
            chart: across(top, axis - STRIP),
            strip: across(axis - STRIP, axis),
            axis: across(axis, rect.bottom()),
            foot: Rect::from_min_max(pos2(rect.left(), axis - STRIP), pos2(left, rect.bottom())),
        }
    }
}

/// The wheel looks nearer or wider, a drag or a sideways wheel moves on, two clicks show all. The
/// playhead is followed while it is in sight.
fn look_around(
    ui: &Ui,
    seen: &Seen,
    state: &mut PlanState,
    rooms: &Rooms,
    response: &Response,
    (head, held): (Option<Playhead>, bool),
) {
    let whole = Window::whole(seen);
    let mut window = state.window.unwrap_or(whole);
    // The form may have become shorter.
    window = window.nearer(1.0, window.from, seen).moved(0.0, seen);
    let beats_a_point = window.length() / f64::from(rooms.chart.width().max(1.0));
    if response.hovered()
        && let Some(at) = response.hover_pos()
    {
        let (wheel, pinch) = ui.input_mut(|input| {
            let wheel = input.smooth_scroll_delta;
            input.smooth_scroll_delta = egui::Vec2::ZERO;
            (wheel, input.zoom_delta())
        });
        let factor = f64::from(pinch) * f64::from(wheel.y / 240.0).exp2();
        if factor != 1.0 {
            window = window.nearer(factor, window.time(at.x, rooms.chart), seen);
        }
        if wheel.x != 0.0 {
            window = window.moved(-f64::from(wheel.x) * beats_a_point, seen);
        }
    }
    if response.dragged() && !held {
        let by = -f64::from(response.drag_delta().x) * beats_a_point;
        window = window.moved(by, seen);
    }
    if response.double_clicked() {
        window = whole;
    }
    let in_sight =
        |window: &Window| head.is_some_and(|head| (window.from..=window.to).contains(&head.at));
    let untouched = state.window.unwrap_or(whole) == window;
    if let Some(head) = head
        && state.follows
        && untouched
        && !in_sight(&window)
    {
        let margin = window.length() / 10.0;
        window = window.moved(head.at - window.from - margin, seen);
    }
    state.follows = in_sight(&window);
    let is_whole = window.length() >= whole.length() * 0.999;
    state.window = (!is_whole).then_some(window);
}

/// The stage under a point of the plan.
fn stage_at(seen: &Seen, rooms: &Rooms, window: Window, at: Pos2) -> Option<usize> {
    let time = window
        .time(at.x, rooms.chart)
        .clamp(0.0, length(seen) - 1e-6);
    seen.form.stage_at(seen.process.origin() + time)
}

/// Chooses a stage to look at. Where the song is the program's own, it goes there, too; and if it
/// plays, what plays is looked at.
fn choose(
    ui: &Ui,
    seen: &Seen,
    rooms: &Rooms,
    window: Window,
    response: &Response,
    chosen: &mut Option<usize>,
) -> Option<Wish> {
    let clicked = response
        .interact_pointer_pos()
        .filter(|_| response.clicked())
        .and_then(|at| stage_at(seen, rooms, window, at));
    if clicked.is_some() {
        response.request_focus();
        *chosen = clicked.filter(|stage| *chosen != Some(*stage));
    }
    let clicked = clicked.filter(|_| seen.own_song);
    if clicked.is_some() && seen.snapshot.running {
        *chosen = None;
    }
    let on = steps(ui, response);
    if on != 0 {
        let from = chosen.or_else(|| stage_now(seen)).unwrap_or(0);
        *chosen = Some(stepped(from, on, seen.form.stages.len()));
    }
    if lets_go(ui) {
        *chosen = None;
    }
    let stage = seen.form.stages.get(clicked?)?;
    let after_beginning = stage.span.start - seen.process.origin();
    Some(Wish::Song(SongWish::Visit(after_beginning)))
}

/// What is to be heard: the stage that has just been chosen by a click or by the arrow keys, or,
/// with Enter, the one that is looked at. Where the song goes there and plays, it is heard anyway.
fn hear(
    ui: &Ui,
    seen: &Seen,
    response: &Response,
    before: Option<usize>,
    chosen: Option<usize>,
) -> Option<Wish> {
    let subject = |stage: Option<usize>| stage.map(Subject::Stage);
    if entered(ui, response) {
        let stage = chosen.or_else(|| stage_now(seen)).unwrap_or(0);
        return Some(toggled(seen, Subject::Stage(stage)));
    }
    let clicked = response.clicked_by(egui::PointerButton::Primary);
    let asked = clicked || steps(ui, response) != 0;
    if !asked {
        return None;
    }
    match subject(chosen) {
        Some(subject) => Some(Wish::Hear(subject)),
        None => (seen.hearing.is_some() && seen.hearing == subject(before)).then_some(Wish::Hush),
    }
}

/// Whether Escape lets a chosen stage go. While something is dragged, Escape gives that up, and no
/// more.
pub fn lets_go(ui: &Ui) -> bool {
    ui.input(|input| input.key_pressed(Key::Escape) && !input.pointer.any_down())
}

fn lay_out(seen: &Seen, state: &mut PlanState, window: Window, chart: Rect) {
    let still_holds = state.laid_out.as_ref().is_some_and(|laid_out| {
        laid_out.window == window
            && laid_out.chart == chart
            && laid_out.essence == Essence::of(seen)
    });
    if !still_holds {
        state.laid_out = Some(LaidOut {
            essence: Essence::of(seen),
            window,
            chart,
            plan: Plan::new(seen, window, chart),
        });
    }
}

/// What a stage is, worked out once while the pointer rests on it.
fn tell(seen: &Seen, state: &mut PlanState, stage: usize) -> Option<About> {
    if let Some((told, essence, about)) = &state.told
        && *told == stage
        && *essence == Essence::of(seen)
    {
        return Some(about.clone());
    }
    let told = about(seen, stage)?;
    state.told = Some((stage, Essence::of(seen), told.clone()));
    Some(told)
}

/// Where the song is, or what is looked at, the most telling wording first.
fn now_in_words(seen: &Seen, chosen: Option<usize>, head: Option<Playhead>) -> Vec<String> {
    let count = seen.form.stages.len();
    let words = |stage: usize| {
        let stage = seen.form.stages.get(stage);
        let words = |stage| stage_words(stage, &seen.process);
        stage.map_or(String::new(), words)
    };
    match seen.hearing {
        Some(Subject::Stage(stage)) => {
            let number = stage + 1;
            return vec![
                format!(
                    "Hearing stage {number} of {count}: {} (Escape stops)",
                    words(stage)
                ),
                format!("Hearing stage {number} of {count}: {}", words(stage)),
                format!("Hearing stage {number}: {}", words(stage)),
                format!("Hearing stage {number}: {}", word(seen, stage)),
            ];
        }
        Some(Subject::Alignment { copy, steps }) => {
            let copy = copy.number();
            let place = steps_ahead(steps as f64);
            return vec![
                format!("Hearing copy {copy} and the steady voice: {place} (Escape stops)"),
                format!("Hearing copy {copy}: {place}"),
            ];
        }
        Some(Subject::Sentence(index)) => {
            let number = index + 1;
            return vec![
                format!("Hearing sentence {number} as a phrase (Escape stops)"),
                format!("Hearing sentence {number}"),
            ];
        }
        Some(Subject::ModeChange(index)) => {
            let number = index + 1;
            return vec![
                format!(
                    "Hearing mode change {number}: a cycle before, a cycle after (Escape stops)"
                ),
                format!("Hearing mode change {number}"),
            ];
        }
        None => (),
    }
    if let Some(stage) = chosen {
        let number = stage + 1;
        return vec![
            format!(
                "Looking at stage {number} of {count}: {} (Escape returns to now)",
                words(stage)
            ),
            format!("Looking at stage {number} of {count}: {}", words(stage)),
            format!("Stage {number}: {}", words(stage)),
            format!("Looking at stage {number}: {}", word(seen, stage)),
        ];
    }
    let (Some(head), Some(stage)) = (head, stage_now(seen)) else {
        return vec!["Not playing. Click a stage to look at it and hear it.".to_owned()];
    };
    let round = match head.rounds {
        0 => String::new(),
        rounds => format!(", round {}", rounds + 1),
    };
    let held = if head.held { ", held" } else { "" };
    vec![
        format!(
            "Now stage {} of {count}{round}: {}{held}",
            stage + 1,
            words(stage)
        ),
        format!("Now stage {}: {}{held}", stage + 1, words(stage)),
        format!("Now stage {}: {}{held}", stage + 1, word(seen, stage)),
    ]
}

fn word(seen: &Seen, stage: usize) -> &'static str {
    let stage = seen.form.stages.get(stage);
    stage.map_or("", |stage| kind_word(stage.kind))
}

fn draw_words(
    ui: &Ui,
    seen: &Seen,
    look: &Look,
    rooms: &Rooms,
    state: &PlanState,
    chosen: Option<usize>,
    head: Option<Playhead>,
) {
    let painter = ui.painter();
    let middle = |room: &Rect| pos2(room.left(), room.center().y);
    if let Some(room) = rooms.words.first() {
        let mut width = room.width() - last::width(room.width());
        if state.window.is_some() {
            let hint = fitting(
                painter,
                &["Double-click: the whole form".to_owned()],
                SMALL,
                look.quiet,
                width / 2.0,
            );
            width -= hint.size().x + 12.0;
            put(
                painter,
                pos2(room.left() + width + 12.0, room.center().y),
                &hint,
            );
        }
        put(
            painter,
            middle(room),
            &fitting(painter, &totals(seen), 15.0, look.ink, width),
        );
    }
    if let Some(room) = rooms.words.get(1) {
        let hue = if chosen.is_some() || seen.hearing.is_some() {
            look.accent
        } else {
            look.ink
        };
        let words = now_in_words(seen, chosen, head);
        let width = room.width() - generated_width(seen, rooms, 1) - 4.0;
        put(
            painter,
            middle(room),
            &fitting(painter, &words, TEXT, hue, width),
        );
    }
    if let Some(room) = rooms.words.get(2) {
        let left = room.with_max_x(room.right() - generated_width(seen, rooms, 2));
        draw_mode(painter, look, left, &mode_in_force(seen));
    }
    if let Some(room) = rooms.words.get(3) {
        let voices: Vec<Part> = seen.process.voices().parts().collect();
        draw_voices(painter, look, *room, &voices);
    }
}

/// The mode in force, and a dot a tone that differs: filled once it has moved.
fn draw_mode(painter: &Painter, look: &Look, room: Rect, mode: &InForce) {
    let dots = 10.0 * mode.moved.len() as f32;
    let words = fitting(
        painter,
        &mode.words,
        TEXT,
        look.ink,
        room.width() - dots - 8.0,
    );
    put(painter, pos2(room.left(), room.center().y), &words);
    let first = room.left() + words.size().x + 12.0;
    for (tone, moved) in mode.moved.iter().enumerate() {
        let at = pos2(first + 10.0 * tone as f32, room.center().y);
        let fill = if *moved { look.accent } else { look.card };
        painter.circle(at, 3.5, fill, Stroke::new(1.2, look.accent));
    }
}

/// Which line is whose: by line, mark and name, or by less where there is less room.
fn draw_voices(painter: &Painter, look: &Look, room: Rect, voices: &[Part]) {
    let named = |short: bool| -> Vec<_> {
        let name = |part: &Part| match part {
            Part::Copy(copy) if short => copy.number().to_string(),
            _ => part.to_string(),
        };
        let galley = |part| fitting(painter, &[name(part)], SMALL, look.quiet, f32::INFINITY);
        voices.iter().map(galley).collect()
    };
    // Names in full or not, the length of a line, the air around a name.
    let ways = [(false, 26.0, 16.0), (true, 26.0, 16.0), (true, 10.0, 6.0)];
    let width = |line: f32, air: f32, name: &Galley| line + 1.5 * air + name.size().x;
    let fits = |(short, line, air): &(bool, f32, f32)| {
        let widths = named(*short).into_iter();
        let widths = widths.map(|name| width(*line, *air, &name));
        widths.sum::<f32>() - air <= room.width()
    };
    let (short, line, air) = ways.into_iter().find(fits).unwrap_or(ways[2]);
    let (mut x, y) = (room.left(), room.center().y);
    for (part, name) in voices.iter().zip(&named(short)) {
        let hue = look.hue(*part);
        let middle = pos2(x + line / 2.0, y);
        if line > 20.0 {
            let ends = [pos2(x, y), pos2(x + line, y)];
            painter.extend(voice_line(&ends, *part, Stroke::new(1.8, hue)));
            painter.circle_filled(middle, 6.0, look.card);
        }
        painter.add(mark(*part, middle, 4.0, hue, true));
        put(painter, pos2(x + line + air / 2.0, y), name);
        x += width(line, air, name);
    }
}

/// What a frame is drawn with.
struct Frame<'a> {
    painter: &'a Painter,
    look: &'a Look,
    rooms: &'a Rooms,
    seen: &'a Seen,
    window: Window,
    /// As they are drawn now.
    modes: &'a [ModeMark],
}

impl Frame<'_> {
    fn draw(
        &self,
        plan: &Plan,
        hovered: Option<usize>,
        chosen: Option<usize>,
        head: Option<Playhead>,
    ) {
        let chart = self.rooms.chart;
        self.draw_growth(plan);
        if let Some(stage) = hovered {
            let column = self.column(stage);
            self.painter
                .rect_filled(column, 0.0, self.look.edge.gamma_multiply(0.18));
        }
        self.draw_levels(plan);
        self.draw_unit();
        self.draw_blocks(plan);
        self.draw_bars(plan);
        let inside = self.painter.with_clip_rect(chart.expand2(vec2(1.0, 6.0)));
        for jump in &plan.jumps {
            let ends = [pos2(*jump, chart.top()), pos2(*jump, chart.bottom())];
            let stroke = Stroke::new(1.0, self.look.rule);
            inside.extend(Shape::dotted_line(&ends, stroke.color, 4.0, 1.0));
        }
        for course in plan.courses.iter().rev() {
            let hue = self.look.hue(course.part);
            let stroke = Stroke::new(1.8, hue);
            inside.extend(voice_line(&course.points, course.part, stroke));
        }
        for course in plan.courses.iter().rev() {
            let hue = self.look.hue(course.part);
            for (at, filled) in &course.marks {
                if !filled {
                    inside.circle_filled(*at, 4.5, self.look.card);
                }
                inside.add(mark(course.part, *at, 4.0, hue, *filled));
            }
        }
        self.draw_performed(plan);
        self.draw_modes();
        if let Some(stage) = chosen {
            let stroke = Stroke::new(2.0, self.look.accent);
            let column = self.column(stage);
            self.painter
                .rect_stroke(column, 2.0, stroke, StrokeKind::Outside);
        }
        self.draw_listening(chosen);
        if let Some(head) = head {
            self.draw_head(head);
        }
    }

    /// The stage that can be heard, or is.
    fn draw_listening(&self, chosen: Option<usize>) {
        let heard = self.seen.hearing.and_then(|subject| match subject {
            Subject::Stage(stage) => Some(stage),
            Subject::Alignment { .. } | Subject::ModeChange(_) | Subject::Sentence(_) => None,
        });
        let listed = |stage: usize| self.seen.form.stages.get(stage);
        let Some((stage, span)) = heard
            .or(chosen)
            .and_then(|stage| Some((stage, listed(stage)?.span)))
        else {
            return;
        };
        let origin = self.seen.process.origin();
        if span.end - origin <= self.window.from || span.start - origin >= self.window.to {
            return;
        }
        let column = self.column(stage);
        let chart = self.rooms.chart;
        let edge = SIGN / 2.0 + 2.0;
        let x = column.center().x;
        let x = x.clamp(chart.left() + edge, chart.right() - edge);
        let at = pos2(x, chart.bottom() - edge - 2.0);
        self.painter.circle_filled(at, edge, self.look.card);
        sign(self.painter, at, self.look, heard.is_some());
    }

    /// Up to where the form was performed, and is not as generated or written.
    fn draw_performed(&self, plan: &Plan) {
        let Some((x, bar)) = plan.performed else {
            return;
        };
        let chart = self.rooms.chart;
        let ends = [pos2(x, chart.top()), pos2(x, chart.bottom())];
        let stroke = Stroke::new(1.2, self.look.quiet);
        let dashes = Shape::dashed_line(&ends, stroke, 2.0, 4.0);
        self.painter.extend(dashes);
        let said = [
            format!("performed up to bar {bar}"),
            "performed".to_owned(),
            String::new(),
        ];
        let words = fitting(
            self.painter,
            &said,
            SMALL,
            self.look.quiet,
            x - chart.left() - 8.0,
        );
        let size = words.size();
        let at = pos2(x - 5.0 - size.x, chart.bottom() - 9.0);
        let behind = Rect::from_min_size(pos2(at.x - 2.0, at.y - size.y / 2.0), size);
        self.painter
            .rect_filled(behind.expand(1.0), 2.0, self.look.card);
        put(self.painter, at, &words);
    }

    /// The modulation plan along the top: dashed where pitches turn, solid where a mode is whole.
    fn draw_modes(&self) {
        let top = self.rooms.chart.top() - 2.0;
        let hue = self.look.accent;
        for mode in self.modes {
            let turning = [pos2(mode.left, top), pos2(mode.whole.min(mode.right), top)];
            let thin = Stroke::new(1.5, hue);
            self.painter
                .extend(Shape::dashed_line(&turning, thin, 4.0, 3.0));
            let whole = [turning[1], pos2(mode.right, top)];
            self.painter.line_segment(whole, Stroke::new(2.5, hue));
            if mode.index.is_some() {
                let ends = top - 3.0..=top + 16.0;
                self.painter.vline(mode.left, ends, Stroke::new(1.5, hue));
            }
            let room = mode.right - mode.left - 8.0;
            let names = [mode.name.clone(), short_name(&mode.name)];
            let name = fitting(self.painter, &names, SMALL, self.look.ink, room);
            if name.size().x <= room {
                let at = pos2(mode.left + 4.0, top + 10.0);
                let behind = Rect::from_min_size(
                    pos2(at.x - 2.0, at.y - name.size().y / 2.0),
                    name.size() + vec2(4.0, 0.0),
                );
                self.painter.rect_filled(behind, 2.0, self.look.card);
                put(self.painter, at, &name);
            }
        }
    }

    /// A stage from the top of the chart to the bottom of the strip; never too narrow to be seen.
    fn column(&self, stage: usize) -> Rect {
        let all = self.rooms.chart.union(self.rooms.strip);
        let Some(stage) = self.seen.form.stages.get(stage) else {
            return Rect::NOTHING;
        };
        let edge = |at: Beats| {
            let x = self.window.x(at - self.seen.process.origin(), all);
            x.clamp(all.left(), all.right())
        };
        let (left, right) = (edge(stage.span.start), edge(stage.span.end));
        let right = right.max(left + 2.0);
        Rect::from_x_y_ranges(left..=right, all.y_range())
    }

    fn draw_growth(&self, plan: &Plan) {
        for grown in &plan.growth {
            self.painter
                .rect_filled(grown.rect, 0.0, self.look.rule.gamma_multiply(0.7));
            let top = [grown.rect.left_top(), grown.rect.right_top()];
            self.painter
                .line_segment(top, Stroke::new(1.5, self.look.edge));
            let label = fitting(
                self.painter,
                &[
                    format!("{} notes", grown.shown),
                    grown.shown.to_string(),
                    String::new(),
                ],
                SMALL,
                self.look.quiet,
                grown.rect.width() - 1.0,
            );
            let x = grown.rect.center().x - label.size().x / 2.0;
            let y = f32::max(grown.rect.top() - 8.0, self.rooms.chart.top() + 7.0);
            put(self.painter, pos2(x, y), &label);
        }
    }

    fn draw_levels(&self, plan: &Plan) {
        let chart = self.rooms.chart;
        for level in &plan.levels {
            let ends = [pos2(chart.left(), level.y), pos2(chart.right(), level.y)];
            self.painter
                .line_segment(ends, Stroke::new(1.0, self.look.rule));
            self.painter.text(
                pos2(chart.left() - 6.0, level.y),
                Align2::RIGHT_CENTER,
                level.steps,
                FontId::proportional(SMALL),
                self.look.quiet,
            );
        }
    }

    /// What the numbers at the side count, upwards along them.
    fn draw_unit(&self) {
        let chart = self.rooms.chart;
        let font = FontId::proportional(SMALL);
        let words = "steps ahead".to_owned();
        let words = self.painter.layout_no_wrap(words, font, self.look.quiet);
        if words.size().x > chart.height() {
            return;
        }
        let corner = pos2(
            chart.left() - LEVELS,
            chart.center().y + words.size().x / 2.0,
        );
        let upwards = epaint::TextShape::new(corner, words, self.look.quiet)
            .with_angle(-std::f32::consts::FRAC_PI_2);
        self.painter.add(upwards);
    }

    fn draw_blocks(&self, plan: &Plan) {
        for block in &plan.blocks {
            self.draw_block(block);
        }
        let strip = self.rooms.strip;
        for block in &plan.blocks {
            if block.right - block.left > 4.0 {
                let x = block.right;
                let ends = [pos2(x, strip.top()), pos2(x, strip.bottom())];
                self.painter
                    .line_segment(ends, Stroke::new(1.0, self.look.card));
            }
        }
    }

    /// Unison stands out, a drift slopes up, what grows or builds up does so in stairs.
    fn draw_block(&self, block: &Block) {
        let strip = self.rooms.strip;
        let rect = Rect::from_x_y_ranges(block.left..=block.right, strip.y_range());
        let (fill, ink) = match block.kind {
            Some(StageKind::Unison) => (self.look.accent, self.look.card),
            Some(StageKind::Drift | StageKind::Growth | StageKind::BuildUp) => {
                (self.look.paper, self.look.ink)
            }
            Some(StageKind::Alone | StageKind::Entry | StageKind::Dwell) | None => {
                (self.look.rule, self.look.ink)
            }
        };
        self.painter.rect_filled(rect, 0.0, fill);
        let has_room = rect.width() > 3.0;
        match block.kind {
            Some(StageKind::Drift) if has_room => {
                let slope = [rect.left_bottom(), rect.right_top()];
                self.painter
                    .line_segment(slope, Stroke::new(1.0, self.look.edge));
            }
            Some(StageKind::Growth | StageKind::BuildUp) if has_room => {
                for stair in 1..=3_u8 {
                    let part = f32::from(stair) / 3.0;
                    let corner = pos2(
                        rect.left() + rect.width() * (part - 1.0 / 3.0),
                        rect.bottom() - rect.height() * part,
                    );
                    let stair = Rect::from_min_max(corner, rect.right_bottom());
                    self.painter.rect_filled(stair, 0.0, self.look.rule);
                }
            }
            _ => (),
        }
        let word = match block.stages {
            1 => block.word().to_owned(),
            _ if block.kind.is_none() => block.word().to_owned(),
            _ => String::new(),
        };
        let word = fitting(
            self.painter,
            &[word, String::new()],
            SMALL,
            ink,
            rect.width() - 6.0,
        );
        let x = rect.center().x - word.size().x / 2.0;
        if block.kind == Some(StageKind::Drift) && word.size().x > 1.0 {
            let behind = Rect::from_center_size(rect.center(), word.size() + vec2(4.0, 0.0));
            self.painter.rect_filled(behind.intersect(rect), 0.0, fill);
        }
        put(self.painter, pos2(x, rect.center().y), &word);
    }

    fn draw_bars(&self, plan: &Plan) {
        let axis = self.rooms.axis;
        let font = FontId::proportional(SMALL);
        let mut free_from = f32::NEG_INFINITY;
        for x in &plan.groups {
            let ends = [pos2(*x, axis.top()), pos2(*x, axis.top() + 3.0)];
            self.painter
                .line_segment(ends, Stroke::new(1.0, self.look.rule));
        }
        for bar in &plan.bars {
            let ends = [pos2(bar.x, axis.top()), pos2(bar.x, axis.top() + 5.0)];
            self.painter
                .line_segment(ends, Stroke::new(1.0, self.look.edge));
            let words = [(&bar.bar, self.look.ink), (&bar.clock, self.look.quiet)];
            let words = words.map(|(words, hue)| {
                self.painter
                    .layout_no_wrap(words.clone(), font.clone(), hue)
            });
            let width = f32::max(words[0].size().x, words[1].size().x);
            // The last one would run over the edge, and may stay out of the way of the one before.
            let x = bar.x.min(axis.right() - width);
            if x < free_from {
                continue;
            }
            free_from = x + width + 8.0;
            for (line, words) in words.iter().enumerate() {
                let y = axis.top() + 12.0 + 13.0 * line as f32;
                put(self.painter, pos2(x, y), words);
            }
        }
    }

    fn draw_head(&self, head: Playhead) {
        let chart = self.rooms.chart;
        let x = self.window.x(head.at, chart);
        if x < chart.left() - 1.0 || x > chart.right() + 1.0 {
            return;
        }
        let top = chart.top() - 3.0;
        let ends = [pos2(x, top), pos2(x, self.rooms.strip.bottom())];
        self.painter
            .line_segment(ends, Stroke::new(2.0, self.look.accent));
        let points = vec![
            pos2(x - 5.0, top - 3.0),
            pos2(x + 5.0, top - 3.0),
            pos2(x, top + 5.0),
        ];
        let tip = Shape::convex_polygon(points, self.look.accent, Stroke::NONE);
        self.painter.add(tip);
    }
}

fn capital(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or(String::new(), |first| {
        first.to_uppercase().chain(letters).collect()
    })
}

fn say_what_follows(ui: &mut Ui, rect: Rect, look: &Look) {
    let said = "The plan of the piece appears here once there is a phrase.";
    let id = ui.scope_id().with("plan without a phrase");
    let response = ui.interact(rect, id, Sense::hover());
    response.widget_info(|| WidgetInfo::labeled(Role::Label, true, said));
    let font = FontId::proportional(15.0);
    let galley = ui
        .painter()
        .layout(said.to_owned(), font, look.quiet, rect.width() - 40.0);
    let corner = rect.center() - galley.size() / 2.0;
    ui.painter().galley(corner, galley, look.quiet);
}

/// "D Lydian" as "D Lyd.", for where there is little room.
fn short_name(name: &str) -> String {
    match name.split_once(' ') {
        Some((tonic, mode)) if mode.chars().count() > 4 => {
            let mode: String = mode.chars().take(3).collect();
            format!("{tonic} {mode}.")
        }
        _ => name.to_owned(),
    }
}
