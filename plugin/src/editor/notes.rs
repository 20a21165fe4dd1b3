//! The notes: a lane a voice, gliding past now, and underneath the composite rhythm they make.

use crate::editor::look::{self, Look};
use crate::editor::model::notes::{
    Attack, Bar, Carried, Frame, Head, Stretch, Tally, Zoom, attack_words, bar_words, glow, heads,
};
use crate::editor::seen::{Edition, Seen};
use crate::editor::wish::Wish;
use crate::feed::Snapshot;
use egui::text::{LayoutJob, TextWrapping};
use egui::{
    Align2, Color32, FontId, Painter, Pos2, Rect, Role, Sense, Shape, Stroke, StrokeKind, Ui,
    WidgetInfo, pos2, vec2,
};
use procession_core::part::Part;
use procession_core::time::{Beats, Span};

/// What the view keeps between frames: notes worked out, to be drawn again.
#[derive(Default)]
pub struct NotesState {
    drawn: Option<(Edition, Stretch)>,
    carried: Carried,
}

/// Shows the last and the coming cycles; at rest the first, of a `chosen` stage its own.
pub fn show(
    ui: &mut Ui,
    seen: &Seen,
    look: &Look,
    state: &mut NotesState,
    chosen: Option<usize>,
) -> Vec<Wish> {
    let rect = ui.available_rect_before_wrap();
    ui.allocate_rect(rect, Sense::hover());
    if seen.phrase().is_empty() {
        say_what_to_do(ui, rect, look);
        return Vec::new();
    }
    let time = ui.input(|input| input.time);
    let Snapshot {
        position,
        tempo,
        running,
        ..
    } = seen.snapshot;
    let now = state.carried.position(position, tempo, running, time);
    let zoom = if rect.width() < 420.0 {
        Zoom::Close
    } else {
        Zoom::Wide
    };
    let frame = Frame::new(seen, now, chosen, zoom);
    let stretch = state.stretch(seen, &frame);
    let places = Places::new(rect, stretch.voices.len());
    let heads = heads(seen, frame.now.unwrap_or(frame.span.start));
    let scene = Scene {
        seen,
        look,
        frame: &frame,
        stretch,
        places: &places,
    };
    scene.heading(ui);
    scene.cycles(ui);
    for (lane, head) in heads.iter().enumerate() {
        scene.lane(ui, lane, head);
    }
    scene.attacks(ui);
    scene.playhead(ui);
    Vec::new()
}

impl NotesState {
    /// The notes of the frame, worked out anew only if it has left what was, or they have changed.
    fn stretch(&mut self, seen: &Seen, frame: &Frame) -> &Stretch {
        let wanted = frame.stretch();
        let fits = |(edition, stretch): &(Edition, Stretch)| {
            stretch.span == wanted && *edition == seen.edition
        };
        let kept = self.drawn.take().filter(fits);
        let drawn = kept.unwrap_or_else(|| {
            let stretch = Stretch::new(&frame.process(seen), wanted);
            (seen.edition, stretch)
        });
        &self.drawn.insert(drawn).1
    }
}

/// Where everything goes.
struct Places {
    heading: Rect,
    /// What the lanes have to their left.
    heads: f32,
    /// Left and right end of the notes.
    notes: egui::Rangef,
    lanes: Rect,
    lane_height: f32,
    attacks: Rect,
    cycles: Rect,
    /// Whether there is room to say more.
    roomy: bool,
}

/// Height of the playhead's arrow.
const ARROW: f32 = 8.0;

impl Places {
    fn new(rect: Rect, lanes_in_all: usize) -> Self {
        let rect = rect.shrink2(vec2(8.0, 6.0));
        let roomy = rect.height() > 300.0;
        let heads = (rect.width() * 0.2).clamp(126.0, 150.0);
        let heading = Rect::from_min_size(rect.min, vec2(rect.width(), 20.0));
        let cycles = Rect::from_min_size(
            pos2(rect.left() + heads, heading.bottom()),
            vec2(rect.width() - heads, 16.0),
        );
        let attacks_height = if roomy { 60.0 } else { 36.0 };
        let attacks = Rect::from_min_max(
            pos2(cycles.left(), rect.bottom() - attacks_height),
            rect.max,
        );
        let lanes = Rect::from_min_max(
            pos2(rect.left(), cycles.bottom() + ARROW),
            pos2(rect.right(), attacks.top() - 6.0),
        );
        Self {
            heading,
            heads,
            notes: cycles.x_range(),
            lanes,
            lane_height: (lanes.height() / lanes_in_all as f32).min(120.0),
            attacks,
            cycles,
            roomy,
        }
    }

    fn lane(&self, lane: usize) -> Rect {
        let top = self.lanes.top() + lane as f32 * self.lane_height;
        let size = vec2(self.lanes.width(), self.lane_height);
        Rect::from_min_size(pos2(self.lanes.left(), top), size)
    }

    fn notes(&self, lane: usize) -> Rect {
        Rect::from_x_y_ranges(self.notes, self.lane(lane).y_range())
    }

    fn x(&self, at: Beats, span: Span) -> f32 {
        let share = (at - span.start) / span.length();
        self.notes.min + share as f32 * self.notes.span()
    }
}

/// One frame, about to be drawn.
struct Scene<'a> {
    seen: &'a Seen,
    look: &'a Look,
    frame: &'a Frame,
    stretch: &'a Stretch,
    places: &'a Places,
}

impl Scene<'_> {
    fn heading(&self, ui: &Ui) {
        let words = &self.frame.words;
        let place = self.places.heading;
        line(
            ui.painter(),
            place.left_center(),
            Align2::LEFT_CENTER,
            place.width(),
            words,
            13.0,
            self.look.quiet,
        );
        name(ui, place, "heading", words).on_hover_text(words);
    }

    /// Where the steady voice begins anew, and which cycle that is.
    fn cycles(&self, ui: &Ui) {
        let (places, look) = (self.places, self.look);
        let painter = ui.painter_at(Rect::from_min_max(places.cycles.min, places.attacks.max));
        let mut free_from = places.notes.min;
        for cycle in &self.stretch.cycles {
            let x = self.x(cycle.at);
            if !places.notes.contains(x) {
                continue;
            }
            painter.vline(
                x,
                places.cycles.top()..=places.attacks.bottom(),
                Stroke::new(1.0, look.rule),
            );
            if let Some(number) = cycle.number.filter(|_| x >= free_from) {
                let words = format!("cycle {number}");
                let words = painter.layout_no_wrap(words, small(), look.quiet);
                let at = pos2(x + 4.0, places.cycles.center().y - words.size().y / 2.0);
                free_from = at.x + words.size().x + 8.0;
                if free_from - 8.0 <= places.notes.max {
                    painter.galley(at, words, look.quiet);
                }
            }
        }
    }

    fn lane(&self, ui: &Ui, index: usize, head: &Head) {
        let lane = self.places.lane(index);
        let notes = self.places.notes(index);
        ui.painter().hline(
            lane.x_range(),
            lane.bottom(),
            Stroke::new(1.0, self.look.rule),
        );
        self.head(ui, head, lane);
        let visible = self.visible(index);
        let mut shapes = Vec::new();
        for bar in visible {
            self.bar(&mut shapes, head.part, bar, notes);
        }
        ui.painter_at(notes).extend(shapes);
        let words = format!("{}, {}", head.name, head.place);
        let response = name(ui, lane, ("lane", head.part), &words);
        let under = response
            .hover_pos()
            .and_then(|at| self.bar_under(at, index, notes));
        match under {
            // What glides past is not named: nobody could read it.
            Some(bar) if self.frame.now.is_none() => {
                response.on_hover_text_at_pointer(bar_words(&self.seen.process, head.part, bar))
            }
            _ => response.on_hover_text_at_pointer(words),
        };
    }

    /// Mark and line of the voice, its name and its place.
    fn head(&self, ui: &Ui, head: &Head, lane: Rect) {
        let (look, painter) = (self.look, ui.painter());
        let hue = look.hue(head.part);
        let width = self.places.heads;
        let middle = pos2(lane.left() + 12.0, lane.center().y);
        let radius = (lane.height() * 0.28).min(5.0);
        let arms = [middle - vec2(12.0, 0.0), middle + vec2(12.0, 0.0)];
        let stroke = Stroke::new(1.5, hue);
        match look::dashes(head.part).filter(|_| head.moving) {
            Some((on, off)) => painter.extend(Shape::dashed_line(&arms, stroke, on, off)),
            None => {
                painter.line_segment(arms, stroke);
            }
        }
        painter.add(look::mark(head.part, middle, radius, hue, true));
        let left = lane.left() + 30.0;
        let width = width - 36.0;
        if lane.height() >= 31.0 {
            let upper = pos2(left, lane.center().y);
            line(
                painter,
                upper,
                Align2::LEFT_BOTTOM,
                width,
                &head.name,
                13.0,
                look.ink,
            );
            line(
                painter,
                upper,
                Align2::LEFT_TOP,
                width,
                &head.place,
                11.0,
                look.quiet,
            );
        } else {
            // Of name and place the place is news; the mark tells the voice.
            let words = if head.part == Part::Steady {
                &head.name
            } else {
                &head.place
            };
            let size = if lane.height() >= 16.0 { 11.0 } else { 10.0 };
            line(
                painter,
                pos2(left, lane.center().y),
                Align2::LEFT_CENTER,
                width,
                words,
                size,
                look.ink,
            );
        }
    }

    fn bar(&self, shapes: &mut Vec<Shape>, part: Part, bar: &Bar, notes: Rect) {
        let hue = self.look.hue(part);
        let place = self.bar_rect(bar, notes);
        if !bar.filled {
            let outline = place.shrink(0.5);
            shapes.push(Shape::rect_stroke(
                outline,
                0.0,
                Stroke::new(1.0, hue),
                StrokeKind::Middle,
            ));
            return;
        }
        let glow = self.frame.now.map_or(0.0, |now| {
            glow(bar, now, self.seen.snapshot.sounding[part.index()])
        });
        if glow > 0.0 {
            let halo = place.expand(1.0 + 2.0 * glow);
            shapes.push(Shape::rect_filled(
                halo,
                2.5,
                self.look.ink.gamma_multiply(glow),
            ));
            shapes.push(Shape::rect_filled(place.expand(1.0), 1.5, self.look.card));
        }
        // Square corners: there are many notes, and these are drawn quickly.
        shapes.push(Shape::rect_filled(place, 0.0, hue));
    }

    fn bar_rect(&self, bar: &Bar, notes: Rect) -> Rect {
        let height = (notes.height() / 9.0).clamp(3.0, 8.0);
        let room = (notes.height() - height - 6.0).max(0.0);
        let top = notes.top() + 3.0 + (1.0 - bar.height) * room;
        let left = self.x(bar.on);
        // A gap, so that notes that follow each other are seen apart.
        let right = (self.x(bar.off) - 1.5).max(left + 2.5);
        Rect::from_min_max(pos2(left, top), pos2(right, top + height))
    }

    fn visible(&self, lane: usize) -> &[Bar] {
        let bars = &self.stretch.voices[lane];
        // The longest note lasts a cycle, twice that if it drifts at half the tempo.
        let reach = 2.0 * self.seen.phrase().length();
        let from = bars.partition_point(|bar| bar.on < self.frame.span.start - reach);
        let until = bars.partition_point(|bar| bar.on < self.frame.span.end);
        &bars[from..until]
    }

    fn bar_under(&self, at: Pos2, lane: usize, notes: Rect) -> Option<&Bar> {
        let mut bars = self.visible(lane).iter();
        bars.find(|bar| self.bar_rect(bar, notes).expand(3.0).contains(at))
    }

    /// The composite rhythm: a stroke an attack, the taller the more voices meet.
    fn attacks(&self, ui: &Ui) {
        let look = self.look;
        let place = self.places.attacks;
        let painter = ui.painter_at(place.expand2(vec2(4.0, 0.0)));
        let attacks = self.attacks_in_view();
        // Beads that would touch are left away, and strokes get thinner.
        let room_each = place.width() / attacks.len().max(1) as f32;
        let bead = (room_each * 0.3).min(3.0);
        let mut shapes = vec![Shape::hline(
            place.x_range(),
            self.attack_base(),
            Stroke::new(1.0, look.edge),
        )];
        for attack in attacks {
            let top = self.attack_top(attack);
            let (width, colour) = if attack.coincides() {
                ((room_each * 0.4).clamp(1.5, 2.5), look.ink)
            } else {
                (1.5, look.edge)
            };
            let stroke = Stroke::new(width, colour);
            shapes.push(Shape::vline(top.x, top.y..=self.attack_base(), stroke));
            if attack.coincides() && bead > 1.5 {
                shapes.push(Shape::circle_filled(top, bead, look.ink));
            }
        }
        painter.extend(shapes);
        self.counts(&painter);
        self.tally(ui);
    }

    fn attack_base(&self) -> f32 {
        self.places.attacks.bottom() - 2.0
    }

    /// Where the stroke of an attack ends: the more voices meet, the higher.
    fn attack_top(&self, attack: &Attack) -> Pos2 {
        let count_room = 14.0;
        let room = self.places.attacks.height() - 4.0 - count_room;
        let others = self.seen.process.voices().count().max(2) as f32 - 1.0;
        let share = 0.3 + 0.7 * (attack.voices() as f32 - 1.0) / others;
        pos2(self.x(attack.at), self.attack_base() - room * share)
    }

    /// How many voices meet, over each coincidence that has room for it. Two voices that meet need
    /// no number to say so.
    fn counts(&self, painter: &Painter) {
        const NUMBER: f32 = 11.0;
        let attacks = self.attacks_in_view();
        let gap = |index: usize| match (attacks.get(index), attacks.get(index + 1)) {
            (Some(one), Some(next)) => self.x(next.at) - self.x(one.at),
            _ => NUMBER,
        };
        let before = |index: usize| index.checked_sub(1).map_or(NUMBER, gap);
        let has_room = |index: usize| before(index) >= NUMBER && gap(index) >= NUMBER;
        let says_more = self.seen.process.voices().count() > 2;
        for (index, attack) in attacks.iter().enumerate() {
            if says_more && attack.coincides() && has_room(index) {
                let at = self.attack_top(attack) - vec2(0.0, 3.0);
                let font = FontId::proportional(10.0);
                painter.text(
                    at,
                    Align2::CENTER_BOTTOM,
                    attack.voices(),
                    font,
                    self.look.quiet,
                );
            }
        }
    }

    fn tally(&self, ui: &Ui) {
        let (places, look) = (self.places, self.look);
        let place = places.attacks;
        let tally = Tally::at(&self.frame.process(self.seen), self.frame.tallied);
        let (attacks, coincidences) = (tally.attacks_words(), tally.coincidences_words());
        let left = places.lanes.left();
        let width = places.heads - 6.0;
        let lines = [&attacks, &coincidences, "in this cycle"];
        let height = place.height() / if places.roomy { 3.0 } else { 2.0 };
        let shown = lines.iter().take(if places.roomy { 3 } else { 2 });
        for (index, words) in shown.enumerate() {
            let at = pos2(left, place.top() + (index as f32 + 0.5) * height);
            let colour = if index < 2 { look.ink } else { look.quiet };
            line(
                ui.painter(),
                at,
                Align2::LEFT_CENTER,
                width,
                words,
                12.0,
                colour,
            );
        }
        let whole = Rect::from_min_max(pos2(left, place.top()), place.max);
        let words = format!("{attacks}, {coincidences} in this cycle");
        let response = name(ui, whole, "attacks", &words);
        let near = response.hover_pos().and_then(|at| self.attack_near(at.x));
        match near {
            Some(attack) if self.frame.now.is_none() => {
                response.on_hover_text_at_pointer(attack_words(attack))
            }
            _ => response.on_hover_text_at_pointer(words),
        };
    }

    fn attacks_in_view(&self) -> &[Attack] {
        let attacks = &self.stretch.attacks;
        let span = self.frame.span;
        let from = attacks.partition_point(|attack| attack.at < span.start);
        let until = attacks.partition_point(|attack| attack.at < span.end);
        &attacks[from..until]
    }

    fn attack_near(&self, x: f32) -> Option<&Attack> {
        let attacks = self.attacks_in_view().iter();
        let nearest = attacks.min_by(|a, b| {
            let distance = |attack: &Attack| (self.x(attack.at) - x).abs();
            distance(a).total_cmp(&distance(b))
        });
        nearest.filter(|attack| (self.x(attack.at) - x).abs() < 5.0)
    }

    fn playhead(&self, ui: &Ui) {
        let Some(now) = self.frame.now else {
            return;
        };
        let (places, accent) = (self.places, self.look.accent);
        let x = self.x(now);
        let painter = ui.painter();
        painter.vline(
            x,
            places.cycles.bottom()..=places.attacks.bottom(),
            Stroke::new(1.5, accent),
        );
        let tip = pos2(x, places.cycles.bottom() + ARROW);
        let arrow = vec![tip, tip - vec2(5.0, ARROW), tip + vec2(5.0, -ARROW)];
        painter.add(Shape::convex_polygon(arrow, accent, Stroke::NONE));
    }

    fn x(&self, at: Beats) -> f32 {
        self.places.x(at, self.frame.span)
    }
}

fn say_what_to_do(ui: &Ui, rect: Rect, look: &Look) {
    let words = "No phrase yet. Play something, then switch Hold on: its notes appear here.";
    paragraph(ui, rect, words, look.quiet);
    name(ui, rect, "empty", words);
}

/// Text in the middle of a rectangle, on as many lines as it takes.
pub(super) fn paragraph(ui: &Ui, rect: Rect, words: &str, colour: Color32) {
    let width = (rect.width() - 24.0).min(380.0);
    let mut job = LayoutJob::simple(words.to_owned(), FontId::proportional(14.0), colour, width);
    job.halign = egui::Align::Center;
    let galley = ui.painter().layout_job(job);
    let top = rect.center().y - galley.size().y / 2.0;
    ui.painter()
        .galley(pos2(rect.center().x, top), galley, colour);
}

/// Text on one line, cut with dots where it leaves its width. The room it took.
pub(super) fn line(
    painter: &Painter,
    at: Pos2,
    anchor: Align2,
    width: f32,
    words: &str,
    size: f32,
    colour: Color32,
) -> Rect {
    let mut job =
        LayoutJob::simple_singleline(words.to_owned(), FontId::proportional(size), colour);
    job.wrap = TextWrapping::truncate_at_width(width);
    let galley = painter.layout_job(job);
    let place = anchor.anchor_size(at, galley.size());
    painter.galley(place.min, galley, colour);
    place
}

/// Names what was drawn, for screen readers and tests, and lets it be pointed at.
pub(super) fn name(ui: &Ui, place: Rect, salt: impl egui::AsIdSalt, words: &str) -> egui::Response {
    let response = ui.interact(place, ui.scope_id().with(salt), Sense::hover());
    response.widget_info(|| WidgetInfo::labeled(Role::Label, true, words));
    response
}

fn small() -> FontId {
    FontId::proportional(11.0)
}
