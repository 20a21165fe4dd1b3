//! The plan written by hand: the end of a stage dragged, a copy's line, a stage to another place;
//! and the same with keys.

use crate::editor::look::Look;
use crate::editor::model::plan::{Plan, Window};
use crate::editor::model::route::cells::{Column, dwell_words, stepped_dwell, way_words};
use crate::editor::model::route::{Place, Places, Share, listed};
use crate::editor::seen::{Edition, Seen};
use crate::editor::wish::{RouteWish, Wish};
use egui::{
    Align2, CursorIcon, EventFilter, FontId, Key, Pos2, Rect, Response, Stroke, Ui, pos2, vec2,
};
use procession_core::part::{CopyNumber, Part};
use procession_core::route::{CYCLES, Dwell, Edit, Route, Way};
use procession_core::settings::Motion;
use procession_core::words::steps_ahead;

/// What the hand remembers between two frames.
#[derive(Clone, Debug, Default)]
pub struct HandState {
    listed: Option<Listed>,
    drag: Option<Drag>,
    /// The stage of the list to be looked at once what was wished for is there.
    goes_to: Option<usize>,
}

#[derive(Clone, Debug)]
struct Listed {
    edition: Edition,
    route: Route,
    places: Places,
}

/// What the hand holds.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Grip {
    /// The end of a dwell, or of the way there.
    End(Place),
    /// The line of a copy in a stage.
    Line(Place, CopyNumber),
    /// A whole stage.
    Stage(Place),
}

#[derive(Clone, Debug)]
struct Drag {
    grip: Grip,
    at: Pos2,
}

/// Where things are.
#[derive(Clone, Copy, Debug)]
pub struct Where {
    /// Of the lines.
    pub chart: Rect,
    /// Of the blocks.
    pub strip: Rect,
    /// What is in sight.
    pub window: Window,
}

/// So near an end or a line is taken hold of, in points.
const REACH: f32 = 5.0;
const SMALL: f32 = 12.0;

/// Lays hands on the plan: what is wished for, and whether something is held, so that a drag moves
/// nothing else. `chosen` is the stage that is looked at.
pub fn lay(
    ui: &Ui,
    seen: &Seen,
    state: &mut HandState,
    plan: Option<&Plan>,
    place: Where,
    response: &Response,
    chosen: &mut Option<usize>,
) -> (Vec<Wish>, bool) {
    let listed = list(seen, state, chosen);
    let hand = Hand {
        seen,
        listed: &listed,
        plan,
        place,
        chosen: *chosen,
    };
    let mut wishes = Vec::new();
    if let Some(edit) = hand.keys(ui, response) {
        if let Edit::Move { to, .. } = &edit {
            state.goes_to = Some(*to);
        }
        wishes.push(Wish::Route(RouteWish::Edit(edit)));
    }
    if response.drag_started()
        && let Some(at) = ui.input(|input| input.pointer.press_origin())
    {
        state.drag = hand.grip(at).map(|grip| Drag { grip, at });
    }
    if let Some(at) = response.hover_pos().filter(|_| state.drag.is_none())
        && let Some(grip) = hand.grip(at)
    {
        ui.set_cursor_icon(grip.cursor());
    }
    let held = state.drag.is_some();
    if let Some(drag) = &mut state.drag {
        ui.set_cursor_icon(drag.grip.cursor());
        if let Some(at) = response.interact_pointer_pos() {
            drag.at = at;
        }
    }
    if ui.input(|input| input.key_pressed(Key::Escape)) {
        state.drag = None;
    }
    if response.drag_stopped()
        && let Some(drag) = state.drag.take()
        && let Some(edit) = hand.edit(&drag)
    {
        if let Edit::Move { to, .. } = &edit {
            state.goes_to = Some(*to);
        }
        wishes.push(Wish::Route(RouteWish::Edit(edit)));
    }
    if !response.dragged() && !response.drag_stopped() {
        state.drag = None;
    }
    state.listed = Some(listed);
    (wishes, held)
}

/// With the keyboard on the plan and a stage looked at, arrows move nothing but it.
pub fn keep_arrows(ui: &Ui, response: &Response) {
    let filter = EventFilter {
        horizontal_arrows: true,
        vertical_arrows: true,
        ..EventFilter::default()
    };
    ui.memory_mut(|memory| memory.set_focus_lock_filter(response.id, filter));
}

/// What the hand would do, drawn while it holds something.
pub fn draw(ui: &Ui, seen: &Seen, look: &Look, state: &HandState, plan: &Plan, place: Where) {
    let (Some(drag), Some(listed)) = (&state.drag, &state.listed) else {
        return;
    };
    let hand = Hand {
        seen,
        listed,
        plan: Some(plan),
        place,
        chosen: None,
    };
    hand.draw(ui, look, drag);
}

/// The list, and where its stages are on the plan: worked out anew only if the form has changed.
fn list(seen: &Seen, state: &mut HandState, chosen: &mut Option<usize>) -> Listed {
    match state.listed.take() {
        Some(listed) if listed.edition == seen.edition => listed,
        _ => {
            let places = Places::of(seen);
            if let Some(index) = state.goes_to.take() {
                *chosen = places.on_plan(index);
            }
            Listed {
                edition: seen.edition,
                route: listed(seen),
                places,
            }
        }
    }
}

impl Grip {
    fn cursor(&self) -> CursorIcon {
        match self {
            Self::End(_) => CursorIcon::ResizeHorizontal,
            Self::Line(..) => CursorIcon::ResizeVertical,
            Self::Stage(_) => CursorIcon::Grab,
        }
    }
}

struct Hand<'a> {
    seen: &'a Seen,
    listed: &'a Listed,
    plan: Option<&'a Plan>,
    place: Where,
    /// The stage of the plan that is looked at.
    chosen: Option<usize>,
}

impl Hand<'_> {
    /// Of a song position.
    fn x(&self, at: f64) -> f32 {
        let origin = self.seen.process.origin();
        self.place.window.x(at - origin, self.place.chart)
    }

    /// What of the list stands at a stage of the plan, no longer than it is drawn.
    fn listed_at(&self, stage: usize) -> Option<Place> {
        let end = self.seen.form.stages.get(stage)?.span.end;
        let place = self.listed.places.get(stage)?;
        let ends = if place.ends.is_finite() {
            place.ends
        } else {
            end
        };
        Some(Place { ends, ..place })
    }

    fn grip(&self, at: Pos2) -> Option<Grip> {
        let chosen = self.chosen.and_then(|stage| self.listed_at(stage));
        if self.place.strip.contains(at) {
            let time = self.place.window.time(at.x, self.place.chart);
            let stage = self.seen.form.stage_at(self.seen.process.origin() + time)?;
            // A little left of an end and a little right of it.
            let near = [Some(stage), stage.checked_sub(1)].into_iter().flatten();
            let end = near
                .filter_map(|stage| self.listed_at(stage))
                .find(|place| {
                    let (left, right) = (self.x(place.begins), self.x(place.ends));
                    (at.x - right).abs() <= REACH && right - left > 2.0 * REACH
                });
            let is_on = |place: &Place| (self.x(place.begins)..self.x(place.ends)).contains(&at.x);
            return match (end, chosen) {
                (Some(place), _) if self.has_an_end(&place) => Some(Grip::End(place)),
                (_, Some(place)) if is_on(&place) => Some(Grip::Stage(place)),
                _ => None,
            };
        }
        let place = chosen.filter(|place| place.share == Share::Dwell)?;
        let within = self.place.chart.contains(at)
            && (self.x(place.begins)..self.x(place.ends)).contains(&at.x);
        if !within {
            return None;
        }
        let distance = |copy: &CopyNumber| self.height(*copy).map(|y| (y - at.y).abs());
        let copies = self.seen.process.voices().copies();
        let near = copies.filter(|copy| distance(copy).is_some_and(|far| far <= REACH));
        let copy = near.min_by(|one, other| {
            let far = |copy| distance(copy).unwrap_or(f32::MAX);
            far(one).total_cmp(&far(other))
        })?;
        Some(Grip::Line(place, copy))
    }

    /// Building up takes as long as the phrase has notes, and a jump no time.
    fn has_an_end(&self, place: &Place) -> bool {
        let stage = self.listed.route.stages().get(place.index);
        place.share == Share::Dwell || stage.is_some_and(|stage| stage.way.motion == Motion::Drift)
    }

    /// Of a copy's line in the stage that is looked at.
    fn height(&self, copy: CopyNumber) -> Option<f32> {
        let stage = self.seen.form.stages.get(self.chosen?)?;
        let copy = stage.copies.get(copy.index())?;
        Some(self.plan?.scale.y(copy.to, self.place.chart))
    }

    fn cycles(&self, place: &Place, x: f32) -> i64 {
        let time = self.place.window.time(x, self.place.chart);
        let long = self.seen.process.origin() + time - place.begins;
        (long / self.seen.phrase().length()).round() as i64
    }

    /// What letting go here means; none if all is as it was.
    fn edit(&self, drag: &Drag) -> Option<Edit> {
        let stages = self.listed.route.stages();
        match drag.grip {
            Grip::End(place) => {
                let stage = place.index;
                let written = stages.get(stage)?;
                let cycles = self.cycles(&place, drag.at.x);
                let counted =
                    cycles.clamp(i64::from(*CYCLES.start()), i64::from(*CYCLES.end())) as u32;
                match place.share {
                    Share::Dwell => {
                        let dwell = Dwell::Cycles(counted);
                        (written.dwell != dwell).then_some(Edit::Dwell { stage, dwell })
                    }
                    Share::Way => {
                        let motion = if cycles <= 0 {
                            Motion::Jump
                        } else {
                            Motion::Drift
                        };
                        let way = Way {
                            motion,
                            over: counted,
                        };
                        (written.way != way).then_some(Edit::Way { stage, way })
                    }
                }
            }
            Grip::Line(place, copy) => {
                let stage = place.index;
                let steps = self.dragged_steps(drag, place, copy)?;
                let now = stages.get(stage)?.ahead_of(copy);
                (steps != now).then_some(Edit::Ahead { stage, copy, steps })
            }
            Grip::Stage(place) => {
                let to = self.drop_place(drag)?;
                (to != place.index).then_some(Edit::Move {
                    from: place.index,
                    to,
                })
            }
        }
    }

    /// On a whole step, and what the copy's own offset adds left out.
    fn dragged_steps(&self, drag: &Drag, place: Place, copy: CopyNumber) -> Option<f64> {
        let written = self.listed.route.stages().get(place.index)?.ahead_of(copy);
        let stage = self.listed.places.on_plan(place.index)?;
        let drawn = self
            .seen
            .form
            .stages
            .get(stage)?
            .copies
            .get(copy.index())?
            .to;
        let height = self.plan?.scale.steps(drag.at.y, self.place.chart);
        Some((height - (drawn - written)).round())
    }

    /// Where on the list a stage that is let go here comes to stand.
    fn drop_place(&self, drag: &Drag) -> Option<usize> {
        let time = self.place.window.time(drag.at.x, self.place.chart);
        let at = self.seen.process.origin() + time.max(0.0);
        let stage = self.seen.form.stage_at(at)?;
        Some(self.listed.places.get(stage).map_or(0, |place| place.index))
    }

    /// With the keyboard on the plan.
    fn keys(&self, ui: &Ui, response: &Response) -> Option<Edit> {
        if !response.has_focus() {
            return None;
        }
        let place = self.listed_at(self.chosen?)?;
        let stage = place.index;
        let written = self.listed.route.stages().get(stage)?;
        ui.input_mut(|input| {
            let with = input.modifiers;
            let presses = |key| input.num_presses(key) as i32;
            let up = presses(Key::ArrowUp) - presses(Key::ArrowDown);
            let on = presses(Key::ArrowRight) - presses(Key::ArrowLeft);
            if up != 0 {
                let is_way = with.shift || place.share == Share::Way;
                let column = if is_way { Column::Way } else { Column::Dwell };
                return column.stepped(stage, written, up);
            }
            if on != 0 && with.command {
                // Not to the next stage.
                for key in [Key::ArrowLeft, Key::ArrowRight] {
                    input.consume_key(with, key);
                }
                let last = self.listed.route.stages().len().saturating_sub(1);
                let to = stage.saturating_add_signed(on as isize).min(last);
                return (to != stage).then_some(Edit::Move { from: stage, to });
            }
            if input.key_pressed(Key::Delete) || input.key_pressed(Key::Backspace) {
                return Some(Edit::LeaveOut { stage });
            }
            let copies = self.seen.process.voices().copies();
            for (copy, key) in copies.zip(DIGITS) {
                if input.key_pressed(key) {
                    let by = if with.command { -1 } else { 1 };
                    return Column::Ahead(copy).stepped(stage, written, by);
                }
            }
            if !with.is_none() {
                return None;
            }
            if input.key_pressed(Key::R) {
                return Some(Edit::Repeat { stage, times: 2 });
            }
            if input.key_pressed(Key::C) {
                let dwell = match written.dwell {
                    Dwell::UntilCued => stepped_dwell(Dwell::Cycles(8), 0),
                    Dwell::Cycles(_) => Dwell::UntilCued,
                };
                return Some(Edit::Dwell { stage, dwell });
            }
            input.key_pressed(Key::W).then_some(Edit::Way {
                stage,
                way: Way {
                    motion: match written.way.motion {
                        Motion::Drift => Motion::Jump,
                        Motion::Jump => Motion::BuildUp,
                        Motion::BuildUp => Motion::Drift,
                    },
                    ..written.way
                },
            })
        })
    }

    fn draw(&self, ui: &Ui, look: &Look, drag: &Drag) {
        let painter = ui.painter();
        let Where { chart, strip, .. } = self.place;
        let line = Stroke::new(2.0, look.accent);
        let edit = self.edit(drag);
        let (at, words) = match drag.grip {
            Grip::End(place) => {
                let cycles = self.cycles(&place, drag.at.x);
                let least = i64::from(place.share == Share::Dwell);
                let cycles = cycles.clamp(least, i64::from(*CYCLES.end()));
                let x = self.x(place.begins + cycles as f64 * self.seen.phrase().length());
                painter.vline(x, chart.top()..=strip.bottom(), line);
                let written = self.listed.route.stages().get(place.index);
                let words = match (&edit, written) {
                    (Some(Edit::Dwell { dwell, .. }), _) => dwell_words(*dwell),
                    (Some(Edit::Way { way, .. }), _) => way_words(*way),
                    (_, Some(stage)) if place.share == Share::Way => way_words(stage.way),
                    (_, Some(stage)) => dwell_words(stage.dwell),
                    _ => String::new(),
                };
                (pos2(x, strip.top() - 12.0), words)
            }
            Grip::Line(place, copy) => {
                let Some(steps) = self.dragged_steps(drag, place, copy) else {
                    return;
                };
                let drawn = self.drawn_steps(place, copy, steps);
                let y = self
                    .plan
                    .map_or(drag.at.y, |plan| plan.scale.y(drawn, chart));
                let (left, right) = (self.x(place.begins), self.x(place.ends));
                let line = Stroke::new(2.5, look.hue(Part::Copy(copy)));
                painter.hline(left..=right, y, line);
                (pos2((left + right) / 2.0, y - 12.0), steps_ahead(steps))
            }
            Grip::Stage(place) => {
                let Some(to) = self.drop_place(drag) else {
                    return;
                };
                let stage = self.listed.places.on_plan(to);
                let span = stage.and_then(|stage| self.listed_at(stage));
                let x = match span {
                    Some(span) if to > place.index => self.x(span.ends),
                    Some(span) => self.x(span.begins),
                    None => drag.at.x,
                };
                painter.vline(x, chart.top()..=strip.bottom(), line);
                let words = format!("stage {} to place {}", place.index + 1, to + 1);
                (pos2(x, strip.top() - 12.0), words)
            }
        };
        let font = FontId::proportional(SMALL);
        let galley = painter.layout_no_wrap(words, font, look.card);
        let size = galley.size() + vec2(10.0, 4.0);
        let x = at.x.clamp(
            chart.left() + size.x / 2.0,
            (chart.right() - size.x / 2.0).max(chart.left() + size.x / 2.0),
        );
        let y = at.y.max(chart.top() + size.y / 2.0);
        let label = Rect::from_center_size(pos2(x, y), size);
        painter.rect_filled(label, 4.0, look.accent);
        let corner = Align2::CENTER_CENTER
            .align_size_within_rect(galley.size(), label)
            .min;
        painter.galley(corner, galley, look.card);
    }

    /// Where a copy's line is drawn that is written to stand so many steps ahead.
    fn drawn_steps(&self, place: Place, copy: CopyNumber, steps: f64) -> f64 {
        let written = self.listed.route.stages().get(place.index);
        let stage = self.listed.places.on_plan(place.index);
        let drawn =
            stage.and_then(|stage| self.seen.form.stages.get(stage)?.copies.get(copy.index()));
        match (written, drawn) {
            (Some(written), Some(drawn)) => steps + drawn.to - written.ahead_of(copy),
            _ => steps,
        }
    }
}

/// A key a copy.
const DIGITS: [Key; 8] = [
    Key::Num1,
    Key::Num2,
    Key::Num3,
    Key::Num4,
    Key::Num5,
    Key::Num6,
    Key::Num7,
    Key::Num8,
];
