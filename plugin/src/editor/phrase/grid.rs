//! The grid, its rulers and the lane of velocities: painted, and open to the hand.

use super::{Hand, PhraseView, Places};
use crate::editor::model::phrase::{self as model, Bar, Drag, Gesture, Grid, Under};
use egui::accesskit::Role;
use egui::{
    Align2, Color32, CursorIcon, FontId, PointerButton, Pos2, Rangef, Rect, Response, Sense, Shape,
    Stroke, StrokeKind, Ui, Vec2, WidgetInfo, pos2, vec2,
};
use procession_core::note::{Key, Note, Velocity};
use procession_core::part::Part;
use procession_core::phrase::Edited;
use procession_core::time::{Beats, MaterialPlace};

/// Points of a drag that stand for the whole range of velocity, where there is no lane to see.
const WHOLE_RANGE: f32 = 100.0;

/// How hard a new note is struck if none was touched before.
const NEW_NOTE: f32 = 0.7;

fn small() -> FontId {
    FontId::proportional(10.5)
}

fn normal() -> FontId {
    FontId::proportional(12.0)
}

/// `share` of `over` on `under`.
fn mix(under: Color32, over: Color32, share: f32) -> Color32 {
    under.lerp_to_gamma(over, share)
}

impl PhraseView<'_> {
    /// The grid itself. Which note to tell about, and where it lies on the screen.
    pub(super) fn grid(
        &mut self,
        ui: &Ui,
        view: Rect,
        grid: &Grid,
        drawn: &Edited,
    ) -> Option<(usize, Rect)> {
        let response = ui.interact(view, ui.scope_id().with("notes"), Sense::click_and_drag());
        response.widget_info(|| WidgetInfo::labeled(Role::Group, true, "Phrase"));
        self.scroll(ui, &response, view, grid);
        let origin = view.min.to_vec2() - self.state.scroll;
        let viewport = view.translate(-origin);
        let bars = model::bars(&drawn.phrase, &drawn.chosen, grid);
        self.paint_ground(ui, view, origin, viewport, grid, drawn);
        self.paint_curve(ui, origin, grid, drawn);
        self.paint_bars(ui, origin, viewport, &bars, drawn);
        self.paint_playhead(ui, view, origin, grid);
        if response.has_focus() {
            let edge = Stroke::new(1.5, self.look.accent);
            ui.painter()
                .rect_stroke(view.shrink(1.0), 2.0, edge, StrokeKind::Inside);
        }
        let hovered = self.hand(ui, &response, origin, grid, &bars);
        self.paint_box(ui, origin);
        let pointed = response.hover_pos().map(|at| at - origin);
        let under = pointed.and_then(|at| grid.note_at(at, self.new_velocity()));
        self.keys(ui, &response, under);
        if drawn.phrase.is_empty() && self.state.hand == Hand::Free {
            self.invitation(ui, view);
        }
        let index = self.told_about(drawn, hovered)?;
        let bar = bars.iter().find(|bar| bar.index == index)?;
        Some((index, bar.rect.translate(origin)))
    }

    fn paint_ground(
        &self,
        ui: &Ui,
        view: Rect,
        origin: Vec2,
        viewport: Rect,
        grid: &Grid,
        drawn: &Edited,
    ) {
        let look = self.look;
        let painter = ui.painter();
        painter.rect_filled(view, 0.0, look.card);
        let aside = mix(look.card, look.rule, 0.45);
        let end = (origin.x + grid.x(drawn.phrase.length())).min(view.right());
        let across = Rangef::new(view.left(), end.max(view.left()));
        let (top, bottom) = (grid.key(viewport.top()), grid.key(viewport.bottom()));
        for number in bottom.number()..=top.number() {
            let key = Key::by_octave(number.into());
            let row = grid.row(number);
            let row = Rangef::new(row.min + origin.y, row.max + origin.y);
            if !self.names.in_it(key) {
                painter.rect_filled(Rect::from_x_y_ranges(across, row), 0.0, aside);
            }
            if self.names.is_tonic(key) {
                painter.hline(across, row.max, Stroke::new(1.0, look.edge));
            }
        }
        let thin = Stroke::new(1.0, look.rule);
        let thick = Stroke::new(1.0, mix(look.rule, look.edge, 0.7));
        let lines_of = Grid {
            length: drawn.phrase.length(),
            ..*grid
        };
        for line in model::lines(&lines_of, viewport.x_range()) {
            let stroke = if line.beat { thick } else { thin };
            painter.vline(origin.x + line.x, view.y_range(), stroke);
        }
        let beyond = Rect::from_x_y_ranges(end..=view.right(), view.y_range());
        if beyond.width() > 0.0 {
            painter.rect_filled(beyond, 0.0, mix(look.paper, look.rule, 0.6));
        }
        painter.rect_stroke(view, 0.0, Stroke::new(1.0, look.edge), StrokeKind::Inside);
    }

    /// How the voice went, each syllable under its note.
    fn paint_curve(&self, ui: &Ui, origin: Vec2, grid: &Grid, drawn: &Edited) {
        let Some(curve) = &self.seen.curve else {
            return;
        };
        let stroke = Stroke::new(2.0, self.look.edge);
        for strand in curve.strands(&drawn.phrase) {
            let at = |(beats, pitch): (Beats, f64)| {
                let below_top = f64::from(grid.rows.highest) - pitch + 0.5;
                pos2(grid.x(beats), below_top as f32 * grid.row_height) + origin
            };
            ui.painter()
                .line(strand.into_iter().map(at).collect(), stroke);
        }
    }

    fn paint_bars(&self, ui: &Ui, origin: Vec2, viewport: Rect, bars: &[Bar], drawn: &Edited) {
        let silent = self.silent(drawn);
        for bar in bars {
            let seen = bar.rect.intersects(viewport)
                || bar.over.is_some_and(|over| over.intersects(viewport));
            if !seen {
                continue;
            }
            let note = drawn.phrase.notes()[bar.index];
            let rect = bar.rect.translate(origin);
            ui.interact(
                rect,
                ui.scope_id().with(("note", bar.index)),
                Sense::hover(),
            )
            .widget_info(|| {
                let words = self.names.words(&note, self.step);
                WidgetInfo::selected(Role::ListBoxOption, true, bar.chosen, words)
            });
            self.paint_bar(ui, rect, bar, silent(bar.index));
            if let Some(over) = bar.over {
                self.paint_rest_of_note(ui, over.translate(origin), bar);
            }
        }
    }

    fn hue(&self, chosen: bool) -> Color32 {
        if chosen {
            self.look.accent
        } else {
            self.look.voices[0]
        }
    }

    /// A note: filled from below as high as it is struck hard; hollow while it does not sound.
    fn paint_bar(&self, ui: &Ui, rect: Rect, bar: &Bar, silent: bool) {
        let painter = ui.painter();
        let hue = self.hue(bar.chosen);
        if silent {
            painter.rect_filled(rect, 2.0, self.look.card);
        } else {
            painter.rect_filled(rect, 2.0, mix(self.look.card, hue, 0.3));
            let mut fill = rect;
            fill.min.y = rect.bottom() - rect.height() * bar.strength.max(0.1);
            painter.rect_filled(fill, 2.0, hue);
        }
        let edge = Stroke::new(if bar.chosen { 2.0 } else { 1.0 }, hue);
        painter.rect_stroke(rect, 2.0, edge, StrokeKind::Inside);
        if bar.chosen {
            // A ring around it, so that the choice is not told by hue alone.
            let ring = Stroke::new(1.0, self.look.ink);
            painter.rect_stroke(rect.expand(2.0), 4.0, ring, StrokeKind::Inside);
        }
        if bar.doubled {
            let dot = rect.left_center() + vec2(5.0, 0.0);
            painter.circle(dot, 2.5, self.look.card, Stroke::new(1.0, hue));
        }
    }

    fn paint_rest_of_note(&self, ui: &Ui, rect: Rect, bar: &Bar) {
        let hue = self.hue(bar.chosen);
        let middle = rect.center().y;
        let ends = [pos2(rect.left(), middle), pos2(rect.right(), middle)];
        let dashes = Shape::dashed_line(&ends, Stroke::new(2.0, hue), 4.0, 3.0);
        ui.painter().extend(dashes);
    }

    /// Which notes do not sound yet, because the phrase is growing.
    fn silent(&self, drawn: &Edited) -> impl Fn(usize) -> bool {
        let running = self.seen.snapshot.running && drawn.phrase == *self.seen.phrase();
        let lap = self
            .seen
            .process
            .voices()
            .laps(Part::Steady)
            .at(MaterialPlace::new(self.seen.elapsed()));
        let ranks = self.seen.process.voices().ranks();
        let notes = self.seen.phrase().notes();
        move |index| {
            let beyond = notes
                .get(index)
                .is_some_and(|note| note.onset >= lap.length);
            running && (beyond || !ranks.among_first(index, lap.shown))
        }
    }

    /// Where the steady voice is.
    fn paint_playhead(&self, ui: &Ui, view: Rect, origin: Vec2, grid: &Grid) {
        if let Some(place) = self.playing() {
            let x = origin.x + grid.x(place);
            ui.painter()
                .vline(x, view.y_range(), Stroke::new(2.0, self.look.accent));
        }
    }

    /// Where in the phrase the steady voice is, if the process runs.
    fn playing(&self) -> Option<Beats> {
        let elapsed = MaterialPlace::new(self.seen.elapsed());
        let lap = self.seen.process.voices().laps(Part::Steady).at(elapsed);
        self.seen
            .snapshot
            .running
            .then(|| (elapsed - lap.start).max(0.0))
    }

    fn paint_box(&self, ui: &Ui, origin: Vec2) {
        if let Hand::Chooses { from, to, .. } = self.state.hand {
            let area = Rect::from_two_pos(from, to).translate(origin);
            let fill = self.look.accent.gamma_multiply(0.12);
            let edge = Stroke::new(1.5, self.look.accent);
            ui.painter().rect(area, 0.0, fill, edge, StrokeKind::Middle);
        }
    }

    /// The note in the hand, or under it.
    fn told_about(&self, drawn: &Edited, hovered: Option<usize>) -> Option<usize> {
        match self.state.hand {
            Hand::Edits(drag) if drag.gesture != Gesture::End => drawn.chosen.first().copied(),
            Hand::Free => hovered,
            _ => None,
        }
    }

    /// A note in words, beside it.
    pub(super) fn tag(&self, ui: &Ui, view: Rect, drawn: &Edited, index: usize, rect: Rect) {
        let Some(note) = drawn.phrase.notes().get(index) else {
            return;
        };
        let text = self.names.words(note, self.step);
        let look = self.look;
        let room = view.width() - 14.0;
        let galley = ui.painter().layout(text, normal(), look.ink, room);
        let size = galley.size() + vec2(10.0, 4.0);
        let above = rect.top() - size.y - 4.0;
        let top = if above >= view.top() + 2.0 {
            above
        } else {
            rect.bottom() + 4.0
        };
        let left = rect
            .left()
            .min(view.right() - size.x - 2.0)
            .max(view.left() + 2.0);
        let tag = Rect::from_min_size(pos2(left, top), size);
        let painter = ui.painter();
        let edge = Stroke::new(1.0, look.edge);
        painter.rect(tag, 3.0, look.card, edge, StrokeKind::Inside);
        painter.galley(tag.min + vec2(5.0, 2.0), galley, look.ink);
    }

    /// What to do about an empty phrase.
    fn invitation(&self, ui: &Ui, view: Rect) {
        let words = "Play a phrase, then press Hold.\nOr enter one here: double-click the grid,\ntype notes such as D4 - F4 G4 . A4,\nor load a MIDI file or a score.";
        let size = if view.width() > 600.0 { 15.0 } else { 12.5 };
        let width = (view.width() - 24.0).min(460.0);
        let mut job = egui::text::LayoutJob::simple(
            words.to_owned(),
            FontId::proportional(size),
            self.look.ink,
            width,
        );
        job.halign = egui::Align::Center;
        let galley = ui.painter().layout_job(job);
        let height = galley.size().y;
        let top = pos2(view.center().x, view.center().y - height / 2.0);
        let behind = Rect::from_center_size(view.center(), galley.size() + vec2(16.0, 10.0));
        let painter = ui.painter().with_clip_rect(view);
        painter.rect_filled(behind, 4.0, self.look.card);
        painter.galley(top, galley, self.look.ink);
        self.say(ui, behind, "invitation", words);
    }

    /// Painted words, for those who have the screen read to them.
    fn say(&self, ui: &Ui, place: Rect, id: &str, words: &str) {
        ui.interact(place, ui.scope_id().with(id), Sense::hover())
            .widget_info(|| WidgetInfo::labeled(Role::Label, true, words));
    }

    /// What the hand does to the grid. Which note it is over.
    fn hand(
        &mut self,
        ui: &Ui,
        response: &Response,
        origin: Vec2,
        grid: &Grid,
        bars: &[Bar],
    ) -> Option<usize> {
        let with = ui.input(|input| input.modifiers);
        if response.drag_started_by(PointerButton::Primary) {
            response.request_focus();
            if let Some(at) = ui.input(|input| input.pointer.press_origin()) {
                self.take(model::under(bars, at - origin), at - origin, with);
            }
        }
        self.carry(response, origin, with.shift);
        if response.drag_stopped() {
            self.put_down(bars, grid);
        }
        if let Some(at) = response.interact_pointer_pos() {
            self.click(response, at - origin, grid, bars, with);
        }
        let hovered = response.hover_pos()?;
        let under = model::under(bars, hovered - origin);
        self.show_cursor(ui, under);
        match under {
            Under::Note(index) | Under::End(index) => Some(index),
            Under::Nothing => None,
        }
    }

    fn show_cursor(&self, ui: &Ui, under: Under) {
        let cursor = match (self.state.hand, under) {
            (Hand::Edits(drag), _) => match drag.gesture {
                Gesture::Lengthen(_) | Gesture::End => CursorIcon::ResizeHorizontal,
                Gesture::Strike(_) => CursorIcon::ResizeVertical,
                Gesture::Move(_) => CursorIcon::Grabbing,
            },
            (_, Under::End(_)) => CursorIcon::ResizeHorizontal,
            (_, Under::Note(_)) => CursorIcon::Grab,
            (_, Under::Nothing) => return,
        };
        ui.ctx().set_cursor_icon(cursor);
    }

    /// A drag begins.
    fn take(&mut self, under: Under, at: Pos2, with: egui::Modifiers) {
        let gesture = match under {
            Under::Nothing => {
                self.state.hand = Hand::Chooses {
                    from: at,
                    to: at,
                    more: with.shift,
                };
                return;
            }
            Under::Note(_) if with.command => Gesture::Strike(WHOLE_RANGE),
            Under::Note(index) => Gesture::Move(index),
            Under::End(index) => Gesture::Lengthen(index),
        };
        if let Under::Note(index) | Under::End(index) = under {
            self.choose_with(index);
        }
        self.begin(gesture, at);
    }

    /// The note is in the hand, with the others if it is one of the chosen.
    fn choose_with(&mut self, index: usize) {
        if !self.state.chosen.contains(&index) {
            self.state.chosen = vec![index];
        }
        self.touched(index);
    }

    fn begin(&mut self, gesture: Gesture, at: Pos2) {
        self.state.hand = Hand::Edits(Drag {
            gesture,
            from: at,
            to: at,
            fine: false,
        });
    }

    /// The drag goes on.
    fn carry(&mut self, response: &Response, origin: Vec2, shift: bool) {
        let Some(at) = response.interact_pointer_pos().map(|at| at - origin) else {
            return;
        };
        if !response.dragged() {
            return;
        }
        match &mut self.state.hand {
            Hand::Edits(drag) => {
                drag.to = at;
                drag.fine = shift;
            }
            Hand::Chooses { to, .. } => *to = at,
            Hand::Free | Hand::GivenUp => (),
        }
    }

    /// The drag ends: what was a preview becomes a wish.
    fn put_down(&mut self, bars: &[Bar], grid: &Grid) {
        match std::mem::take(&mut self.state.hand) {
            Hand::Edits(drag) => {
                let edited = model::dragged(&self.phrase, &self.state.chosen, grid, &drag);
                let gone = self.phrase.notes().len() - edited.phrase.notes().len();
                self.wish(edited);
                if drag.gesture == Gesture::End {
                    self.say_left_out(gone);
                }
                if let Some(first) = self.state.chosen.first().copied() {
                    self.touched(first);
                }
            }
            Hand::Chooses { from, to, more } => {
                let mut chosen = model::in_box(bars, [from, to]);
                if more {
                    chosen.extend(&self.state.chosen);
                    chosen.sort_unstable();
                    chosen.dedup();
                }
                self.state.chosen = chosen;
            }
            Hand::Free | Hand::GivenUp => (),
        }
    }

    fn click(
        &mut self,
        response: &Response,
        at: Pos2,
        grid: &Grid,
        bars: &[Bar],
        with: egui::Modifiers,
    ) {
        let under = model::under(bars, at);
        if response.clicked() || response.secondary_clicked() {
            response.request_focus();
        }
        match under {
            Under::Note(index) | Under::End(index) if response.secondary_clicked() => {
                self.remove(&[index]);
            }
            Under::Note(index) | Under::End(index) if response.clicked() => {
                self.choose(index, with.shift);
            }
            Under::Nothing if response.double_clicked() => {
                if let Some(note) = grid.note_at(at, self.new_velocity()) {
                    self.add(note);
                }
            }
            Under::Nothing if response.clicked() && !with.shift => self.state.chosen.clear(),
            _ => (),
        }
    }

    /// One note; or, with `more`, one more or one less.
    fn choose(&mut self, index: usize, more: bool) {
        let chosen = &mut self.state.chosen;
        if !more {
            *chosen = vec![index];
        } else if let Some(place) = chosen.iter().position(|other| *other == index) {
            chosen.remove(place);
        } else {
            chosen.push(index);
            chosen.sort_unstable();
        }
        self.touched(index);
    }

    /// As the last note that was touched.
    pub(super) fn new_velocity(&self) -> Velocity {
        self.state.velocity.unwrap_or(Velocity::new(NEW_NOTE))
    }

    pub(super) fn add(&mut self, note: Note) {
        match self.phrase.with_note(note) {
            Ok(edited) => self.wish(edited),
            Err(error) => self.resized(Err(model::sentence(error))),
        }
    }

    /// The names of the rows, as far as they have room.
    pub(super) fn names_of_rows(&self, ui: &Ui, places: &Places, grid: &Grid) {
        let painter = ui.painter().with_clip_rect(places.names);
        let origin = places.grid.top() - self.state.scroll.y;
        let top = grid.key(self.state.scroll.y).number();
        let bottom = grid
            .key(self.state.scroll.y + places.grid.height())
            .number();
        for number in bottom..=top {
            let key = Key::by_octave(number.into());
            let middle = origin + grid.row(number).center();
            let tonic = self.names.is_tonic(key);
            let clear = middle - 6.0 >= places.names.top() && middle + 6.0 <= places.names.bottom();
            let room = grid.row_height >= 12.0 && self.names.in_it(key);
            if clear && (tonic || room) {
                let ink = if tonic {
                    self.look.ink
                } else {
                    self.look.quiet
                };
                let at = pos2(places.names.right() - 5.0, middle);
                painter.text(at, Align2::RIGHT_CENTER, self.names.of(key), small(), ink);
            }
        }
    }

    /// The numbers of the steps, and where the steady voice is.
    pub(super) fn ruler(&self, ui: &Ui, places: &Places, grid: &Grid, drawn: &Edited) {
        let painter = ui.painter().with_clip_rect(places.ruler);
        let origin = places.grid.left() - self.state.scroll.x;
        let lines_of = Grid {
            length: drawn.phrase.length(),
            ..*grid
        };
        let left = self.state.scroll.x;
        let seen = Rangef::new(left, left + places.grid.width());
        let middle = places.ruler.center().y;
        let end = origin + grid.x(drawn.phrase.length());
        for line in model::lines(&lines_of, seen) {
            let at = pos2(origin + line.x + 3.0, middle);
            if let Some(number) = line.number.filter(|_| at.x + 20.0 < end) {
                let ink = if line.beat {
                    self.look.ink
                } else {
                    self.look.quiet
                };
                painter.text(at, Align2::LEFT_CENTER, number.to_string(), small(), ink);
            }
        }
        if let Some(place) = self.playing() {
            let tip = pos2(origin + grid.x(place), places.ruler.bottom());
            let corners = vec![tip, tip + vec2(-5.0, -8.0), tip + vec2(5.0, -8.0)];
            painter.add(Shape::convex_polygon(
                corners,
                self.look.accent,
                Stroke::NONE,
            ));
        }
    }

    /// The phrase's end, which can be dragged.
    pub(super) fn end_of_phrase(&mut self, ui: &Ui, places: &Places, grid: &Grid, drawn: &Edited) {
        let origin = vec2(places.grid.left() - self.state.scroll.x, 0.0);
        let x = origin.x + grid.x(drawn.phrase.length());
        let high = Rangef::new(places.ruler.top(), places.grid.bottom());
        if x > places.grid.right() - 2.0 || x < places.grid.left() {
            return;
        }
        let handle = Rect::from_x_y_ranges(x - 1.0..=x + 8.0, high);
        let response = ui.interact(handle, ui.scope_id().with("phrase end"), Sense::DRAG);
        let length = model::steps(drawn.phrase.length() / self.step);
        response.widget_info(|| {
            let steps = drawn.phrase.length() / self.step;
            WidgetInfo::slider(true, steps, "End of the phrase")
        });
        let response = response.on_hover_and_drag_cursor(CursorIcon::ResizeHorizontal);
        if response.drag_started_by(PointerButton::Primary)
            && let Some(at) = ui.input(|input| input.pointer.press_origin())
        {
            self.begin(Gesture::End, at - origin);
        }
        self.carry(&response, origin, ui.input(|input| input.modifiers.shift));
        if response.drag_stopped() {
            self.put_down(&[], grid);
        }
        let busy = response.hovered() || response.dragged();
        let ink = if busy {
            self.look.accent
        } else {
            self.look.ink
        };
        let painter = ui.painter();
        painter.vline(x, high, Stroke::new(if busy { 3.0 } else { 2.0 }, ink));
        let tab = Rect::from_min_size(pos2(x, places.ruler.top() + 3.0), vec2(6.0, 12.0));
        painter.rect_filled(tab, 2.0, ink);
        if busy {
            let galley = painter.layout_no_wrap(length, normal(), self.look.ink);
            let size = galley.size() + vec2(10.0, 4.0);
            let at = pos2(x - size.x - 4.0, places.grid.top() + 4.0);
            let tag = Rect::from_min_size(at, size);
            let edge = Stroke::new(1.0, self.look.edge);
            painter.rect(tag, 3.0, self.look.card, edge, StrokeKind::Inside);
            painter.galley(tag.min + vec2(5.0, 2.0), galley, self.look.ink);
        }
    }

    /// The velocities, a stem a note.
    pub(super) fn lane(&mut self, ui: &Ui, lane: Rect, grid: &Grid, drawn: &Edited) {
        let look = self.look;
        let painter = ui.painter().with_clip_rect(lane.expand(1.0));
        painter.rect(
            lane,
            0.0,
            look.card,
            Stroke::new(1.0, look.edge),
            StrokeKind::Inside,
        );
        let left = pos2(lane.left() - NAME_GAP, lane.center().y);
        ui.painter()
            .text(left, Align2::RIGHT_CENTER, "Vel.", small(), look.quiet);
        let origin = lane.left() - self.state.scroll.x;
        let stems = model::stems(&drawn.phrase, grid);
        let room = lane.shrink2(vec2(0.0, 5.0));
        for (index, stem) in stems.iter().enumerate() {
            let x = origin + stem;
            let chosen = drawn.chosen.binary_search(&index).is_ok();
            let hue = self.hue(chosen);
            let velocity = drawn.phrase.notes()[index].velocity.value();
            let top = room.bottom() - velocity * room.height();
            painter.vline(x, top..=lane.bottom() - 1.0, Stroke::new(2.0, hue));
            let radius = if chosen { 4.0 } else { 3.0 };
            painter.circle_filled(pos2(x, top), radius, hue);
            if chosen {
                painter.circle_stroke(pos2(x, top), 5.5, Stroke::new(1.0, look.ink));
            }
        }
        self.hand_in_lane(ui, lane, room.height(), &stems, origin, grid);
    }

    fn hand_in_lane(
        &mut self,
        ui: &Ui,
        lane: Rect,
        range: f32,
        stems: &[f32],
        origin: f32,
        grid: &Grid,
    ) {
        let response = ui.interact(
            lane,
            ui.scope_id().with("velocities"),
            // Not for the keyboard, which has + and - on the grid.
            Sense::CLICK | Sense::DRAG,
        );
        response.widget_info(|| WidgetInfo::labeled(Role::Group, true, "Velocities"));
        let at_x = |x: f32| model::stem_at(stems, &self.state.chosen, x - origin);
        let hovered = response.hover_pos().and_then(|at| at_x(at.x));
        if hovered.is_some() || response.dragged() {
            ui.ctx().set_cursor_icon(CursorIcon::ResizeVertical);
        }
        if response.drag_started_by(PointerButton::Primary)
            && let Some(at) = ui.input(|input| input.pointer.press_origin())
            && let Some(index) = at_x(at.x)
        {
            self.choose_with(index);
            self.begin(Gesture::Strike(range), at);
        }
        self.carry(&response, Vec2::ZERO, false);
        if response.drag_stopped() {
            self.put_down(&[], grid);
        }
        let clicked = response.clicked().then(|| response.interact_pointer_pos());
        if let Some(at) = clicked.flatten()
            && let Some(index) = model::stem_at(stems, &self.state.chosen, at.x - origin)
        {
            self.choose(index, ui.input(|input| input.modifiers.shift));
        }
    }

    /// What can be done, or what is chosen, in the words there is room for.
    pub(super) fn hint(&self, ui: &Ui, place: Rect, drawn: &Edited) {
        let painter = ui.painter().with_clip_rect(place);
        let layout =
            |text: &str| painter.layout_no_wrap(text.to_owned(), normal(), self.look.quiet);
        let count = match drawn.chosen.len() {
            0 => String::new(),
            count => format!("{} chosen. ", model::notes(count)),
        };
        let hints = model::hints(drawn.chosen.len());
        let fitting = hints
            .iter()
            .map(|hint| layout(&format!("{count}{hint}")))
            .find(|galley| galley.size().x <= place.width() - 4.0);
        if let Some(galley) = fitting {
            let at = place.left_center() - vec2(-2.0, galley.size().y / 2.0);
            let words = galley.text().to_owned();
            painter.galley(at, galley, self.look.quiet);
            self.say(ui, place, "hint", &words);
        }
    }
}

/// Between a name at the left and what it names.
const NAME_GAP: f32 = 5.0;
