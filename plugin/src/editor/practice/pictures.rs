//! The pictures of practice: the own part as it comes, the curve of a pass, the last passes.

use super::about_own_part;
use crate::editor::look::Look;
use crate::editor::model::practice::{Column, Curve, PICTURED, SHOWN, columns, coming};
use crate::editor::rehearsing::Going;
use crate::editor::seen::Seen;
use crate::practice::Passed;
use egui::{
    Align2, Color32, CornerRadius, FontId, Painter, Rect, Role, Sense, Shape, Stroke, Ui,
    WidgetInfo, pos2, vec2,
};
use procession_core::exercise::round_of;
use procession_core::note::Key;
use procession_core::phrase::key_name;

/// Heights, in points.
const OWN_PART: f32 = 92.0;
const CURVE: f32 = 52.0;
const PROGRESS: f32 = 40.0;

/// Steps over the plan, and under it, that the curve shows.
const STEPS: f64 = 1.5;

/// Milliseconds late, and early, that the picture of passes shows.
const MOST_MS: f64 = 80.0;

/// A place for a picture, which is told by `words`.
fn canvas(ui: &mut Ui, look: &Look, height: f32, words: &str) -> Rect {
    let size = vec2(ui.available_width(), height);
    let (place, response) = ui.allocate_exact_size(size, Sense::hover());
    response.widget_info(|| WidgetInfo::labeled(Role::Image, true, words));
    let edge = Stroke::new(1.0, look.rule);
    let inside = egui::StrokeKind::Inside;
    ui.painter()
        .rect(place, CornerRadius::same(4), look.paper, edge, inside);
    place.shrink(4.0)
}

/// The own part, rolling ahead of a line that is now.
pub(super) fn own_part(ui: &mut Ui, seen: &Seen, look: &Look) {
    let place = canvas(ui, look, OWN_PART, &about_own_part(seen));
    let notes = coming(seen);
    let painter = ui.painter().with_clip_rect(place);
    let (past, ahead) = SHOWN;
    let x = |beats: f64| {
        let share = (beats + past) / (past + ahead);
        place.min.x + place.width() * share as f32
    };
    let keys = notes.iter().map(|note| note.2);
    let lowest = f32::from(keys.clone().min().unwrap_or(60));
    let range = (f32::from(keys.max().unwrap_or(60)) - lowest).max(7.0);
    let y = |key: u8| {
        let share = (f32::from(key) - lowest) / range;
        place.max.y - 8.0 - (place.height() - 16.0) * share
    };
    painter.vline(x(0.0), place.y_range(), Stroke::new(2.0, look.accent));
    let hue = look.hue(seen.practice.part);
    for (on, off, number) in &notes {
        let bar = Rect::from_x_y_ranges(
            x(*on)..=x(*off).max(x(*on) + 4.0) - 1.0,
            y(*number) - 6.0..=y(*number) + 6.0,
        );
        let (fill, ink) = if *on < 0.0 {
            (look.rule, look.quiet)
        } else {
            (hue, look.card)
        };
        painter.rect_filled(bar, CornerRadius::same(3), fill);
        if let Some(name) = Key::new(*number).map(key_name) {
            label(&painter, bar, &name, ink);
        }
    }
    if notes.is_empty() {
        say(ui, place, "Your part rests here.", look.quiet);
    }
}

/// A note's name on its bar: without the octave where there is no room, and none where there is less.
fn label(painter: &Painter, bar: Rect, name: &str, ink: Color32) {
    let pitch = name.trim_end_matches(|sign: char| sign.is_ascii_digit() || sign == '-');
    for words in [name, pitch] {
        let font = FontId::proportional(10.5);
        let laid = painter.layout_no_wrap(words.to_owned(), font, ink);
        if laid.size().x <= bar.width() - 3.0 {
            let at = bar.center() - laid.size() / 2.0;
            painter.galley(at, laid, ink);
            return;
        }
    }
}

fn say(ui: &Ui, place: Rect, text: &str, ink: Color32) {
    let font = FontId::proportional(13.0);
    ui.painter()
        .text(place.center(), Align2::CENTER_CENTER, text, font, ink);
}

/// How far the player is over the plan, which is the line in the middle.
pub(super) fn curve(ui: &mut Ui, seen: &Seen, look: &Look, curve: &Curve) {
    let words = "Where you are over the plan: above its line you are ahead, below it behind";
    let place = canvas(ui, look, CURVE, words);
    let painter = ui.painter().with_clip_rect(place);
    let middle = place.center().y;
    painter.hline(place.x_range(), middle, Stroke::new(1.0, look.edge));
    let font = FontId::proportional(10.5);
    let corner = place.left_top();
    painter.text(corner, Align2::LEFT_TOP, "ahead", font.clone(), look.quiet);
    let corner = place.left_bottom();
    painter.text(corner, Align2::LEFT_BOTTOM, "behind", font, look.quiet);
    let desk = &seen.practice;
    let origin = seen.process.origin();
    let round = round_of(seen.form_to_practise(), origin, desk.part, desk.exercise);
    let Some(span) = round
        .filter(|_| seen.rehearsing == Going::Practice)
        .map(|round| round.span)
    else {
        return;
    };
    let at = |(beats, steps): &(f64, f64)| {
        let share = (beats - origin - span.start) / span.length();
        let up = (steps / STEPS).clamp(-1.0, 1.0) as f32;
        pos2(
            place.min.x + place.width() * share as f32,
            middle - up * place.height() / 2.0,
        )
    };
    let points: Vec<_> = curve.points().iter().map(at).collect();
    let stroke = Stroke::new(2.0, look.hue(desk.part));
    painter.add(Shape::line(points, stroke));
}

/// The last passes: of each how late and how even, and whether it arrived.
pub(super) fn progress(ui: &mut Ui, look: &Look, passes: &[Passed], words: &str) {
    let place = canvas(ui, look, PROGRESS, words);
    let painter = ui.painter().with_clip_rect(place);
    let middle = place.center().y;
    painter.hline(place.x_range(), middle, Stroke::new(1.0, look.rule));
    let width = place.width() / PICTURED as f32;
    let y = |ms: f64| middle + (ms / MOST_MS).clamp(-1.0, 1.0) as f32 * place.height() / 2.0;
    for (index, column) in columns(passes).iter().enumerate() {
        let x = place.min.x + (index as f32 + 0.5) * width;
        let Column {
            late,
            spread,
            arrived,
        } = *column;
        let around = late.or(spread.map(|spread| (0.0, spread)));
        if let Some((late, spread)) = around {
            let bar = Rect::from_x_y_ranges(x - 2.0..=x + 2.0, y(late - spread)..=y(late + spread));
            painter.rect_filled(bar, CornerRadius::same(2), look.edge);
        }
        let at = pos2(x, late.map_or(middle, |(late, _)| y(late)));
        match arrived {
            Some(false) => painter.circle(at, 3.5, look.paper, Stroke::new(1.5, look.ink)),
            Some(true) | None => painter.circle_filled(at, 3.0, look.ink),
        };
    }
}
