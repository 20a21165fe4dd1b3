//! The circle: every voice a ring, turned to where the voice stands, so that what sounds together
//! stands on one radius.
//!
//! The steady voice's ring, the outermost, stays still; a hand runs round as it plays, and copies'
//! rings turn against it as they move. A ring can be turned by hand, too: that sets the copy's own
//! offset.

use crate::editor::look::{Look, dashes, mark};
use crate::editor::model::circle::{
    Circle, DraggedOffset, Face, Ring, Turning, normalised, numbered_every, offset_id,
};
use crate::editor::seen::Seen;
use crate::editor::wish::Wish;
use egui::text::LayoutJob;
use egui::{
    Align2, Color32, CursorIcon, EventFilter, FontId, Galley, Key, Painter, Pos2, Rect, Response,
    Role, Sense, Shape, Stroke, Ui, WidgetInfo, pos2, vec2,
};
use procession_core::part::{CopyNumber, Part};
use procession_core::settings::Motion;
use procession_core::words::steps_ahead;
use std::sync::Arc;

/// What the circle remembers between two frames: whose ring is in hand.
#[derive(Clone, Debug, Default)]
pub struct CircleState {
    held: Option<Turning>,
    sent: f64,
}

impl CircleState {
    /// The copy whose ring is in hand, and the offset of its own that the hand asks for.
    fn dragged(&self) -> DraggedOffset {
        self.held.map(|turning| (turning.copy, self.sent))
    }

    /// Takes the hand off the ring it holds, if it holds one: the circle is out of sight.
    pub fn let_go(&mut self) -> Option<Wish> {
        let turning = self.held.take()?;
        Some(Wish::LetGo(offset_id(turning.copy)))
    }
}

const MARGIN: f32 = 8.0;
const TOOLTIP: f32 = 290.0;
const HEADING: f32 = 22.0;
const TEXT: f32 = 13.0;
const SMALL: f32 = 11.5;
/// A column of voices that says what each does, and one that says where it stands.
const WIDE: f32 = 165.0;
const NARROW: f32 = 100.0;
/// Around the outermost ring, for ticks and their numbers.
const RIM: f32 = 26.0;

/// Draws the circle into all of the room there is. With a stage `chosen`, it shows that stage
/// instead of the present.
pub fn show(
    ui: &mut Ui,
    seen: &Seen,
    look: &Look,
    state: &mut CircleState,
    chosen: Option<usize>,
) -> Vec<Wish> {
    let (rect, _) = ui.allocate_exact_size(ui.available_size(), Sense::hover());
    if seen.phrase().is_empty() {
        say_what_to_do(ui, rect, look);
        return state.let_go().into_iter().collect();
    }
    let stage = chosen.and_then(|stage| Circle::of_stage(seen, stage, state.dragged()));
    let is_stage = stage.is_some();
    let circle = stage.unwrap_or_else(|| Circle::now(seen, state.dragged()));

    let rooms = Rooms::new(rect.shrink(MARGIN), circle.rings.len());
    let face = rooms.face();
    let mut wishes = Vec::new();
    let mut touched = turn_rings(ui, seen, state, &rooms, &face, &circle, &mut wishes);
    for (row, ring) in rooms.rows.iter().zip(&circle.rings) {
        let response = list_voice(ui, seen, look, *row, ring, &mut wishes);
        if response.hovered() || response.has_focus() {
            touched = Some(ring.part);
        }
    }
    draw_heading(ui, look, rooms.heading, &circle, state, is_stage);
    draw_circle(ui.painter(), look, &face, &circle, seen, touched);
    wishes
}

/// Who gets which room.
struct Rooms {
    heading: Rect,
    circle: Rect,
    /// One a voice.
    rows: Vec<Rect>,
}

impl Rooms {
    /// The voices are listed beside the circle, or beneath it where there is more room. The more
    /// there are, the closer they stand, so that the circle keeps most of the room.
    fn new(rect: Rect, voices: usize) -> Self {
        let (heading, body) = rect.split_top_bottom_at_y(rect.top() + HEADING);
        if body.width() > 1.2 * body.height() {
            return Self::beside(heading, body, voices);
        }
        let beneath = |columns| Self::beneath(heading, body, voices, columns);
        let most = ((body.width() / NARROW) as usize).clamp(1, voices.max(1));
        let wide = ((body.width() / WIDE) as usize).clamp(1, most);
        let enough = 0.6 * body.width().min(body.height());
        let large = |rooms: &Self| rooms.side() >= enough;
        (wide..=most)
            .map(beneath)
            .find(large)
            .unwrap_or_else(|| beneath(most))
    }

    fn beside(heading: Rect, body: Rect, voices: usize) -> Self {
        let side = (body.width() - body.height()).clamp(128.0, 250.0);
        let (circle, list) = body.split_left_right_at_x(body.right() - side);
        let height = (list.height() / voices as f32).min(40.0);
        let top = list.center().y - height * voices as f32 / 2.0;
        let row = |index: usize| {
            let at = pos2(list.left() + 4.0, top + height * index as f32);
            Rect::from_min_size(at, vec2(side - 4.0, height))
        };
        Self {
            heading,
            circle,
            rows: (0..voices).map(row).collect(),
        }
    }

    fn beneath(heading: Rect, body: Rect, voices: usize, columns: usize) -> Self {
        let lines = voices.div_ceil(columns);
        let spare = body.height() - body.width();
        let height = (spare / lines as f32).clamp(18.0, 38.0);
        let top = body.bottom() - height * lines as f32;
        let (circle, _) = body.split_top_bottom_at_y(top);
        let width = body.width() / columns as f32;
        let row = |index: usize| {
            let (line, column) = (index / columns, index % columns);
            let at = pos2(
                body.left() + width * column as f32,
                top + height * line as f32,
            );
            Rect::from_min_size(at, vec2(width, height))
        };
        Self {
            heading,
            circle,
            rows: (0..voices).map(row).collect(),
        }
    }

    /// Of the square that the circle has.
    fn side(&self) -> f32 {
        self.circle.width().min(self.circle.height())
    }

    fn face(&self) -> Face {
        let radius = self.side() / 2.0 - RIM;
        Face::new(self.circle.center(), radius.max(20.0), self.rows.len())
    }
}

/// Where the rings of so many voices lie when the circle is drawn into `rect`.
pub fn face_in(rect: Rect, voices: usize) -> Face {
    Rooms::new(rect.shrink(MARGIN), voices).face()
}

/// Lets rings be taken, turned, and put back with two clicks. Whose ring is under the pointer.
fn turn_rings(
    ui: &mut Ui,
    seen: &Seen,
    state: &mut CircleState,
    rooms: &Rooms,
    face: &Face,
    circle: &Circle,
    wishes: &mut Vec<Wish>,
) -> Option<Part> {
    let id = ui.scope_id().with("circle");
    // Not for the keyboard, which has the list of voices.
    let response = ui.interact(rooms.circle, id, Sense::CLICK | Sense::DRAG);
    response.widget_info(|| {
        let said = format!("Circle, {}: {}", circle.title, circle.facts);
        WidgetInfo::labeled(Role::Image, true, said)
    });
    let steps = seen.phrase().length() / seen.settings().step();

    if response.drag_started()
        && let Some(origin) = ui.input(|input| input.pointer.press_origin())
        && let Some(copy) = face.voice_at(origin).and_then(Part::as_copy)
    {
        let own = seen.settings().copies[copy.index()].offset;
        state.held = Some(Turning::begin(copy, own, face.place(origin)));
        state.sent = own;
        wishes.push(Wish::Grasp(offset_id(copy)));
    }
    if let Some(turning) = &mut state.held {
        let id = offset_id(turning.copy);
        let (any_between, given_up) = ui.input(|input| {
            let keys = input.modifiers;
            let given_up = input.key_pressed(Key::Escape);
            (keys.shift || keys.alt || keys.command, given_up)
        });
        if let Some(at) = response.interact_pointer_pos() {
            turning.follow(face.place(at));
        }
        let asked = if given_up {
            turning.before
        } else {
            turning.offset(steps, !any_between)
        };
        if asked != state.sent {
            state.sent = asked;
            wishes.push(Wish::Turn(id, normalised(asked)));
        }
        if given_up || !response.dragged() {
            wishes.push(Wish::LetGo(id));
            state.held = None;
            if given_up {
                ui.ctx().stop_dragging();
            }
        }
    }
    let under = response.hover_pos().and_then(|at| face.voice_at(at));
    if response.double_clicked()
        && let Some(copy) = under.and_then(Part::as_copy)
    {
        wishes.push(Wish::Reset(offset_id(copy)));
    }
    if let Some(turning) = state.held {
        ui.set_cursor_icon(CursorIcon::Grabbing);
        return Some(Part::Copy(turning.copy));
    }
    let part = under?;
    let ring = circle.rings.get(part.index())?;
    if part != Part::Steady {
        ui.set_cursor_icon(CursorIcon::Grab);
    }
    response.on_hover_ui_at_pointer(|ui| {
        ui.set_max_width(TOOLTIP);
        ui.label(about_ring(seen, ring));
    });
    Some(part)
}

/// An offset of a copy's own, which may be none at all.
fn own_offset(steps: f64) -> String {
    if steps == 0.0 {
        "none".to_owned()
    } else {
        steps_ahead(steps)
    }
}

/// What a ring is and what a hand can do with it.
fn about_ring(seen: &Seen, ring: &Ring) -> String {
    let Part::Copy(copy) = ring.part else {
        return "Steady: plays the phrase as it is, and never moves.".to_owned();
    };
    let settings = seen.settings();
    let own = own_offset(settings.copies[copy.index()].offset);
    let arrives = match settings.motion.motion {
        _ if !seen.snapshot.running => "",
        Motion::Drift => " It drifts there.",
        Motion::Jump | Motion::BuildUp => " It goes there at its next cycle.",
    };
    format!(
        "{}: {}, {}.\nIts own offset: {own}. Drag the ring to set it: counter-clockwise is farther \
         ahead; hold Shift for positions between steps.{arrives} Double-click to reset it to none.",
        ring.name, ring.place, ring.doing
    )
}

/// A voice in the list: mark, name, where it stands. The keyboard's way to its offset.
fn list_voice(
    ui: &mut Ui,
    seen: &Seen,
    look: &Look,
    row: Rect,
    ring: &Ring,
    wishes: &mut Vec<Wish>,
) -> Response {
    let id = ui.scope_id().with(("voice", ring.part));
    let sense = match ring.part {
        Part::Copy(_) => Sense::click(),
        // They never move.
        Part::Steady | Part::ResultingLine => Sense::hover(),
    };
    let response = ui.interact(row, id, sense);
    match ring.part {
        Part::Steady | Part::ResultingLine => {
            response.widget_info(|| WidgetInfo::labeled(Role::Label, true, &ring.name));
        }
        Part::Copy(copy) => {
            let own = seen.settings().copies[copy.index()].offset;
            response.widget_info(|| {
                let said = format!("{} offset, {}", ring.name, ring.place);
                WidgetInfo::slider(true, own, said)
            });
            if response.clicked() {
                response.request_focus();
            }
            nudge(ui, &response, copy, own, wishes);
            if response.double_clicked() {
                wishes.push(Wish::Reset(offset_id(copy)));
            }
        }
    }
    draw_voice(ui.painter(), look, row, ring, &response);
    response.on_hover_ui_at_pointer(|ui| {
        ui.set_max_width(TOOLTIP);
        ui.label(about_ring(seen, ring));
        if ring.part != Part::Steady {
            ui.label("Click here, and the arrow keys move it step by step.");
        }
    })
}

/// A step ahead or behind by the arrow keys, or by what a screen reader asks.
fn nudge(ui: &mut Ui, response: &Response, copy: CopyNumber, own: f64, wishes: &mut Vec<Wish>) {
    use egui::accesskit::Action;
    let filter = EventFilter {
        horizontal_arrows: true,
        vertical_arrows: true,
        ..EventFilter::default()
    };
    ui.memory_mut(|memory| memory.set_focus_lock_filter(response.id, filter));
    let focused = response.has_focus();
    let steps = ui.input(|input| {
        let asked = |action| input.num_accesskit_action_requests(response.id, action) as i32;
        let pressed = |keys: [Key; 2]| -> i32 {
            let counts = keys.map(|key| input.num_presses(key) as i32);
            counts.iter().sum()
        };
        let keyed = if focused {
            pressed([Key::ArrowUp, Key::ArrowRight]) - pressed([Key::ArrowDown, Key::ArrowLeft])
        } else {
            0
        };
        keyed + asked(Action::Increment) - asked(Action::Decrement)
    });
    if steps != 0 {
        let id = offset_id(copy);
        wishes.push(Wish::Grasp(id));
        wishes.push(Wish::Turn(id, normalised(own + f64::from(steps))));
        wishes.push(Wish::LetGo(id));
    }
}

fn draw_voice(painter: &Painter, look: &Look, row: Rect, ring: &Ring, response: &Response) {
    if response.hovered() || response.has_focus() {
        painter.rect_filled(row.shrink(1.0), 3.0, look.paper);
    }
    let hue = hue(look, ring);
    let narrow = row.width() < 150.0;
    let (mark_at, text) = if narrow { (9.0, 20.0) } else { (17.0, 36.0) };
    let text = row.left() + text;
    let width = row.right() - text - 3.0;
    let two_lines = row.height() >= 34.0;
    let middle = row.center().y;
    let first = if two_lines { middle - 8.0 } else { middle };
    let mark_at = pos2(row.left() + mark_at, first);
    if !narrow {
        let line = [mark_at - vec2(13.0, 0.0), mark_at + vec2(13.0, 0.0)];
        painter.extend(voice_line(&line, ring.part, Stroke::new(1.6, hue)));
        painter.circle_filled(mark_at, 6.5, look.card);
    }
    painter.add(mark(ring.part, mark_at, 4.5, hue, ring.entered));

    let ink = if ring.entered { look.ink } else { look.quiet };
    let (names, doing) = names(ring, two_lines);
    let names = fitting(painter, &names, TEXT, ink, width);
    put(painter, pos2(text, first), &names);
    if two_lines {
        let doing = fitting(painter, &[doing], SMALL, look.quiet, width);
        put(painter, pos2(text, middle + 8.0), &doing);
    }
}

/// A voice's line of the list, the most telling wording first, and the line beneath.
fn names(ring: &Ring, two_lines: bool) -> (Vec<String>, String) {
    let Ring {
        part, name, place, ..
    } = ring;
    let doing = ring.doing.clone();
    let Part::Copy(copy) = part else {
        return (vec![name.clone()], doing);
    };
    let number = copy.number();
    let in_full = format!("{name}: {place}, {doing}");
    let shorter = [
        format!("{name}: {place}"),
        format!("{number}: {place}"),
        format!(
            "{number}: {}",
            place.replace(" steps", "").replace(" step", "")
        ),
    ];
    let wordings = (!two_lines).then_some(in_full);
    (wordings.into_iter().chain(shorter).collect(), doing)
}

fn draw_heading(
    ui: &Ui,
    look: &Look,
    room: Rect,
    circle: &Circle,
    state: &CircleState,
    is_stage: bool,
) {
    let painter = ui.painter();
    let at = pos2(room.left(), room.top() + HEADING / 2.0 - 2.0);
    if let Some((copy, own)) = state.dragged() {
        let words = [
            format!("{}, own offset: {}", Part::Copy(copy), own_offset(own)),
            format!("{}: {}", copy.number(), own_offset(own)),
        ];
        put(
            painter,
            at,
            &fitting(painter, &words, 15.0, look.accent, room.width()),
        );
        return;
    }
    let (hue, words) = if is_stage {
        let words = vec![
            format!(
                "{}: {} (not now; Escape returns to now)",
                circle.title, circle.facts
            ),
            format!("{}: {} (not now)", circle.title, circle.facts),
            format!("{}: {}", circle.title, circle.facts),
        ];
        (look.accent, words)
    } else {
        (
            look.ink,
            vec![format!("{}: {}", circle.title, circle.facts)],
        )
    };
    put(
        painter,
        at,
        &fitting(painter, &words, 15.0, hue, room.width()),
    );
}

fn draw_circle(
    painter: &Painter,
    look: &Look,
    face: &Face,
    circle: &Circle,
    seen: &Seen,
    touched: Option<Part>,
) {
    draw_rim(painter, look, face, circle, seen);
    let many = |ring: &Ring| ring.attacks.len();
    let size = face.mark(circle.rings.iter().map(many).max().unwrap_or(0));
    for ring in &circle.rings {
        draw_ring(painter, look, face, ring, touched == Some(ring.part));
    }
    for meeting in &circle.coincidences {
        let [first, .., last] = meeting.voices[..] else {
            continue;
        };
        let ends = [first, last].map(|voice| face.point(meeting.place, face.radius(voice)));
        let width = if size < 2.5 { 1.0 } else { 2.0 };
        painter.line_segment(ends, Stroke::new(width, look.quiet));
    }
    if let Some(hand) = circle.hand {
        draw_hand(painter, look, face, hand);
    }
    for ring in &circle.rings {
        draw_attacks(painter, look, face, ring, size);
    }
}

fn draw_rim(painter: &Painter, look: &Look, face: &Face, circle: &Circle, seen: &Seen) {
    let around = std::f32::consts::TAU * (face.outer + 14.0);
    let steps = circle.ticks.len();
    let every = numbered_every(steps, seen.settings().step(), (around / 26.0) as usize);
    let all_ticks = around / steps as f32 > 4.0;
    for tick in &circle.ticks {
        let numbered = (tick.number - 1).is_multiple_of(every);
        if !numbered && !tick.on_beat && !all_ticks {
            continue;
        }
        let reach = if tick.on_beat { 13.0 } else { 10.0 };
        let ends = [8.0, reach].map(|out| face.point(tick.place, face.outer + out));
        let hue = if tick.on_beat { look.quiet } else { look.edge };
        painter.line_segment(ends, Stroke::new(1.0, hue));
        if numbered {
            let at = face.point(tick.place, face.outer + 20.0);
            let font = FontId::proportional(10.5);
            painter.text(at, Align2::CENTER_CENTER, tick.number, font, look.quiet);
        }
    }
}

fn draw_hand(painter: &Painter, look: &Look, face: &Face, hand: f64) {
    let innermost = face.innermost() - face.gap / 2.0;
    let ends = [
        face.point(hand, (innermost - 6.0).max(4.0)),
        face.point(hand, face.outer + 9.0),
    ];
    painter.line_segment(ends, Stroke::new(2.5, look.accent));
    let along = (ends[1] - ends[0]).normalized();
    let across = along.rot90() * 4.5;
    let base = ends[1] + along * 4.0;
    let points = vec![ends[1] - along * 3.0, base + across, base - across];
    painter.add(Shape::convex_polygon(points, look.accent, Stroke::NONE));
}

fn draw_ring(painter: &Painter, look: &Look, face: &Face, ring: &Ring, touched: bool) {
    let width = match (ring.entered, touched) {
        (_, true) => 3.0,
        (true, false) => 1.6,
        (false, false) => 1.0,
    };
    let stroke = Stroke::new(width, hue(look, ring));
    let radius = face.radius(ring.part);
    painter.extend(ring_line(face, ring, radius, stroke));
    let reach = face.gap.min(20.0) * 0.46;
    let notch = |place: f64, stroke: Stroke| {
        let ends = [radius - reach, radius + reach].map(|out| face.point(place, out));
        painter.line_segment(ends, stroke);
    };
    if ring.part != Part::Steady {
        ring.begins.iter().for_each(|begins| notch(*begins, stroke));
    }
    if let Some(place) = ring.bound_for {
        notch(place, Stroke::new(1.5, look.accent));
    }
}

/// The line of a ring: solid if steady, dashed from where its phrase begins if not, so that the
/// dashes turn with it.
fn ring_line(face: &Face, ring: &Ring, radius: f32, stroke: Stroke) -> Vec<Shape> {
    let Some((on, off)) = dashes(ring.part) else {
        return vec![Shape::circle_stroke(face.centre, radius, stroke)];
    };
    let around = std::f32::consts::TAU * radius;
    // As many dashes as come out even.
    let count = (around / (on + off)).round().max(1.0) as usize;
    let dash = |index: usize| {
        let from = ring.beginning + index as f64 / count as f64;
        let to = from + f64::from(on / (on + off)) / count as f64;
        Shape::line_segment([face.point(from, radius), face.point(to, radius)], stroke)
    };
    (0..count).map(dash).collect()
}

fn draw_attacks(painter: &Painter, look: &Look, face: &Face, ring: &Ring, size: f32) {
    let radius = face.radius(ring.part);
    let hue = hue(look, ring);
    let turned = ring.bound_for.map_or(0.0, |bound| bound - ring.beginning);
    for attack in &ring.attacks {
        if ring.bound_for.is_some() {
            let at = face.point(attack.place + turned, radius);
            painter.circle(at, size * 0.55, look.card, Stroke::new(1.0, look.accent));
        }
        let at = face.point(attack.place, radius);
        if !attack.sounds {
            painter.circle_filled(at, size, look.card);
        }
        painter.add(mark(ring.part, at, size, hue, attack.sounds));
    }
}

/// The hue of a voice; of one that has not entered, that of edges.
fn hue(look: &Look, ring: &Ring) -> Color32 {
    if ring.entered {
        look.hue(ring.part)
    } else {
        look.edge
    }
}

/// The line of a voice along a path.
pub(super) fn voice_line(path: &[Pos2], part: Part, stroke: Stroke) -> Vec<Shape> {
    match dashes(part) {
        Some((on, off)) => Shape::dashed_line(path, stroke, on, off),
        None => vec![Shape::line(path.to_vec(), stroke)],
    }
}

/// The first of the wordings that fits into `width` in one line; the last one, cut short, if none
/// does.
pub(super) fn fitting(
    painter: &Painter,
    wordings: &[String],
    size: f32,
    hue: Color32,
    width: f32,
) -> Arc<Galley> {
    let font = FontId::proportional(size);
    for words in wordings {
        let galley = painter.layout_no_wrap(words.clone(), font.clone(), hue);
        if galley.size().x <= width {
            return galley;
        }
    }
    let shortest = wordings.last().cloned().unwrap_or_default();
    let mut job = LayoutJob::simple(shortest, font, hue, width.max(1.0));
    job.wrap.max_rows = 1;
    job.wrap.break_anywhere = true;
    painter.layout_job(job)
}

/// Text, its left edge and the middle of its height at `at`.
pub(super) fn put(painter: &Painter, at: Pos2, galley: &Arc<Galley>) {
    if galley.text().is_empty() {
        return;
    }
    let corner = pos2(at.x, at.y - galley.size().y / 2.0);
    painter.galley(corner, galley.clone(), Color32::PLACEHOLDER);
}

fn say_what_to_do(ui: &mut Ui, rect: Rect, look: &Look) {
    let said = "No phrase yet. Play a few bars, then switch Hold on.";
    let response = ui.interact(
        rect,
        ui.scope_id().with("circle without a phrase"),
        Sense::hover(),
    );
    response.widget_info(|| WidgetInfo::labeled(Role::Label, true, said));
    let font = FontId::proportional(15.0);
    let galley = ui
        .painter()
        .layout(said.to_owned(), font, look.quiet, rect.width() - 40.0);
    let corner = rect.center() - galley.size() / 2.0;
    ui.painter().galley(corner, galley, look.quiet);
}
