//! The route as a table: a row a stage, every cell to be typed or stepped. Only the rows in sight
//! are drawn.

mod file;

use crate::editor::choice;
use crate::editor::circle::{fitting, put};
use crate::editor::focus;
use crate::editor::look::Look;
use crate::editor::model::plan::stage_now;
use crate::editor::model::route::cells::{Column, followed_by};
use crate::editor::model::route::{Places, listed, round_from};
use crate::editor::plan::last;
use crate::editor::seen::{Edition, Seen};
use crate::editor::wish::{RouteWish, Wish};
use egui::{
    Button, EventFilter, FontId, Id, Key, Label, Rect, RichText, Role, ScrollArea, Sense, Stroke,
    StrokeKind, TextEdit, Ui, Vec2, WidgetInfo, pos2, vec2,
};
use procession_core::performed::{Happened, Moment, Recollection};
use procession_core::pick::{Pick, pick};
use procession_core::route::{Afterwards, Edit, Route};
use procession_core::snippet::Subject;
use procession_core::words::{kind_word, number_of, stage_words};
use std::sync::Arc;

/// What can be picked, and what that is called.
const PICKS: [(Pick, &str); 3] = [
    (Pick::Interlocking, "only those that interlock"),
    (Pick::AllPitches, "only those with all pitches"),
    (Pick::FewToMany, "each once, from few attacks to many"),
];

/// What the table remembers between two frames.
#[derive(Debug, Default)]
pub struct RouteState {
    listed: Option<Listed>,
    /// The cell that is being typed in, and the text.
    typing: Option<((usize, Column), String)>,
    /// The stage of the list to be looked at once what was wished for is there.
    goes_to: Option<usize>,
    /// The row to whose number the keyboard goes, once it is in sight.
    keyboard: Option<usize>,
    /// The row that was brought into sight last.
    followed: Option<usize>,
    /// A route out of a file.
    file: file::PlanFile,
    /// What is to come when.
    moment: last::Asking,
    /// How far it is scrolled, and how much is in sight, in points.
    sight: Vec2,
}

/// The list, and where its stages are on the plan.
#[derive(Debug)]
struct Listed {
    edition: Edition,
    route: Route,
    places: Places,
}

const ROW: f32 = 24.0;
const HEADING: f32 = 20.0;
const SMALL: f32 = 12.0;
/// Left of the columns: the number.
const NUMBER: f32 = 40.0;
const AIR: f32 = 4.0;

/// Shows the table in all the room there is. `chosen` is the stage of the plan that is looked at.
pub fn show(
    ui: &mut Ui,
    seen: &Seen,
    look: &Look,
    state: &mut RouteState,
    chosen: &mut Option<usize>,
) -> Vec<Wish> {
    if seen.phrase().is_empty() || seen.process.voices().count() < 2 {
        let words = if seen.phrase().is_empty() {
            "First play a phrase and switch Hold on, or enter one under Phrase. Then the stages of \
             the form are listed here, to be written."
        } else {
            "The phrase is alone: there are no stages to write. Set Copies to 1 or more."
        };
        ui.add(Label::new(RichText::new(words).color(look.quiet)).wrap());
        return Vec::new();
    }
    let known = state.listed.take();
    let fresh = known
        .as_ref()
        .is_none_or(|listed| listed.edition != seen.edition);
    let listed = match known {
        Some(listed) if !fresh => listed,
        _ => Listed {
            edition: seen.edition,
            route: listed(seen),
            places: Places::of(seen),
        },
    };
    if fresh && let Some(index) = state.goes_to.take() {
        *chosen = listed.places.on_plan(index);
    }
    let on_list = |stage: Option<usize>| listed.places.get(stage?).map(|place| place.index);
    let mut table = Table {
        seen,
        look,
        listed: &listed,
        chosen: on_list(*chosen),
        now: on_list(stage_now(seen)),
        columns: columns(seen),
        base: ui.scope_id().with("route"),
        state,
        wishes: Vec::new(),
        choose: None,
    };
    table.words(ui);
    table.performed(ui);
    table.tools(ui);
    ui.add_space(2.0);
    table.rows(ui);
    let (wishes, choose) = (table.wishes, table.choose);
    if let Some(index) = choose {
        *chosen = listed.places.on_plan(index);
    }
    state.listed = Some(listed);
    wishes
}

/// What was performed, in words; none if nothing was.
fn performed(told: &Recollection) -> Option<String> {
    let is_cue = |moment: &&Moment| moment.what == Happened::Cue;
    let cues = told.moments.iter().filter(is_cue).count();
    let changes = told.moments.len() - cues;
    // The first is how fast it went before any change.
    let tempi = told.tempi.steps().len().saturating_sub(1);
    let what = [(cues, "cue"), (changes, "change"), (tempi, "tempo change")];
    let what = what.into_iter().filter(|(count, _)| *count > 0);
    let what: Vec<String> = what.map(|(count, what)| number_of(count, what)).collect();
    if what.is_empty() {
        return None;
    }
    let what = procession_core::words::listed(what.into_iter());
    let room = if told.moments.is_full() || told.tempi.is_full() {
        " There is no room for more."
    } else {
        ""
    };
    Some(format!(
        "Performed: {what}, heard again from any bar.{room}"
    ))
}

/// The columns that are written in, and how wide they are.
fn columns(seen: &Seen) -> Vec<(Column, f32)> {
    let copies = seen.process.voices().copies();
    let before = [(Column::Way, 96.0), (Column::Dwell, 84.0)];
    let after = [(Column::Grown, 44.0), (Column::Turn, 128.0)];
    let offsets = copies.map(|copy| (Column::Ahead(copy), 48.0));
    before.into_iter().chain(offsets).chain(after).collect()
}

struct Table<'a> {
    seen: &'a Seen,
    look: &'a Look,
    listed: &'a Listed,
    /// The row that is looked at.
    chosen: Option<usize>,
    /// The row that plays.
    now: Option<usize>,
    columns: Vec<(Column, f32)>,
    base: Id,
    state: &'a mut RouteState,
    wishes: Vec<Wish>,
    /// The row that is to be looked at.
    choose: Option<usize>,
}

impl Table<'_> {
    fn count(&self) -> usize {
        self.listed.route.stages().len()
    }

    fn is_written(&self) -> bool {
        self.seen.process.route().is_written()
    }

    fn edit(&mut self, edit: Edit) {
        self.wishes.push(Wish::Route(RouteWish::Edit(edit)));
    }

    fn words(&self, ui: &mut Ui) {
        let stages = number_of(self.count(), "stage");
        let words = if self.is_written() {
            format!("Written: {stages}.")
        } else {
            format!(
                "As generated: {stages}. What is changed here or on the plan makes it a written form."
            )
        };
        ui.add(Label::new(RichText::new(words).color(self.look.quiet)).wrap());
    }

    /// What was performed in the song, if anything was, and how to be rid of it.
    fn performed(&mut self, ui: &mut Ui) {
        let Some(words) = performed(&self.seen.performed) else {
            return;
        };
        ui.horizontal_wrapped(|ui| {
            ui.label(RichText::new(words).color(self.look.quiet));
            let forget = ui.button("Forget what was performed").on_hover_text(
                "Cues and changes are forgotten: from any bar the form is then as the settings \
                 and the list now have it. Undo brings them back.",
            );
            if forget.clicked() {
                self.wishes.push(Wish::ForgetPerformed);
            }
        });
    }

    fn tools(&mut self, ui: &mut Ui) {
        ui.horizontal_wrapped(|ui| {
            ui.spacing_mut().item_spacing = vec2(4.0, 4.0);
            self.stage_tools(ui);
            self.afterwards(ui);
            self.picks(ui);
            let asked = last::moment(ui, self.seen, self.look, &mut self.state.moment);
            self.wishes.extend(asked);
            self.state.file.show(ui, self.look, &mut self.wishes);
            let back = ui.add_enabled(self.is_written(), Button::new("As generated"));
            if back
                .on_hover_text("The settings make the form again. Undo brings the list back.")
                .clicked()
            {
                self.wishes.push(Wish::Route(RouteWish::AsGenerated));
            }
        });
    }

    /// What can be done with the stage that is looked at.
    fn stage_tools(&mut self, ui: &mut Ui) {
        let (chosen, last) = (self.chosen, self.count().saturating_sub(1));
        let mut tool = |name: &str, able: bool, about: &str| {
            let button = ui.add_enabled(able && chosen.is_some(), Button::new(name));
            let button = button.on_hover_text(about);
            let button = button.on_disabled_hover_text(if chosen.is_none() {
                "Click the number of a stage first."
            } else {
                "It stands there already."
            });
            button.clicked()
        };
        let out = tool(
            "Leave out",
            true,
            "The stage is gone; Delete on its number.",
        );
        let again = tool(
            "Repeat",
            true,
            "The stage stands there twice; R on its number.",
        );
        let earlier = tool(
            "Earlier",
            chosen > Some(0),
            "Before the stage above; Ctrl+Up on its number.",
        );
        let later = tool(
            "Later",
            chosen < Some(last),
            "After the stage below; Ctrl+Down on its number.",
        );
        let Some(stage) = chosen else { return };
        if out {
            self.edit(Edit::LeaveOut { stage });
        }
        if again {
            self.edit(Edit::Repeat { stage, times: 2 });
        }
        if earlier {
            self.move_to(stage, stage - 1);
        }
        if later {
            self.move_to(stage, stage + 1);
        }
    }

    fn move_to(&mut self, from: usize, to: usize) {
        self.edit(Edit::Move { from, to });
        self.state.goes_to = Some(to);
    }

    fn afterwards(&mut self, ui: &mut Ui) {
        let now = *self.listed.route.afterwards();
        let from = self.chosen.unwrap_or(0);
        let mut all = vec![
            Afterwards::Hold,
            round_from(self.seen, from),
            Afterwards::Silence,
        ];
        if !all.iter().any(|one| followed_by(one) == followed_by(&now)) {
            all.insert(1, now);
        }
        let names: Vec<String> = (all.iter())
            .map(|one| format!("then {}", followed_by(one)))
            .collect();
        let place = all
            .iter()
            .position(|one| followed_by(one) == followed_by(&now));
        let label = "After the last stage";
        let (menu, wanted) = choice::menu(
            ui,
            self.look,
            "afterwards",
            label,
            166.0,
            (&names, place.unwrap_or(0)),
        );
        if let Some(wanted) = wanted.filter(|wanted| Some(*wanted) != place) {
            self.edit(Edit::Afterwards(all[wanted]));
        }
        menu.on_hover_text(
            "What comes after the last stage: it is held, all goes round again from the stage that \
             is looked at, or nothing sounds any more.",
        );
    }

    fn picks(&mut self, ui: &mut Ui) {
        let mut names = vec!["pick stages".to_owned()];
        names.extend(PICKS.iter().map(|(_, name)| (*name).to_owned()));
        let label = "Pick stages";
        let (menu, wanted) = choice::menu(ui, self.look, "picks", label, 166.0, (&names, 0));
        let wanted = wanted.and_then(|wanted| PICKS.get(wanted.checked_sub(1)?));
        if let Some((which, name)) = wanted {
            let wish = match pick(&self.seen.process, *which) {
                Ok(route) => {
                    let called = format!("picking {name}");
                    Wish::Route(RouteWish::Take(Arc::new(route), called))
                }
                Err(refusal) => Wish::Say(refusal.to_string()),
            };
            self.wishes.push(wish);
        }
        menu.on_hover_text(
            "Keeps or puts in order the stages that are of a kind; Undo takes it back.",
        );
    }

    fn rows(&mut self, ui: &mut Ui) {
        let (room, _) = ui.allocate_exact_size(ui.available_size(), Sense::hover());
        if room.height() < HEADING + ROW {
            return;
        }
        let below = room.with_min_y(room.min.y + HEADING);
        let fixed: f32 = self.columns.iter().map(|(_, width)| width + AIR).sum();
        let words = (room.width() - 14.0 - NUMBER - fixed - AIR).clamp(74.0, 330.0);
        let mut inner = ui.new_child(egui::UiBuilder::new().max_rect(below).id_salt("rows"));
        inner.spacing_mut().item_spacing = Vec2::ZERO;
        let mut area = ScrollArea::both().id_salt("stages").auto_shrink(false);
        if let Some(offset) = self.brought_into_sight(below.height()) {
            area = area.vertical_scroll_offset(offset);
        }
        let shown = area.show_rows(&mut inner, ROW, self.count(), |ui, range| {
            for index in range.clone() {
                self.row(ui, index, words);
            }
            // Not before all are drawn: the next would take the same key for its own.
            if let Some(index) = self.state.keyboard.take_if(|index| range.contains(index)) {
                let id = self.base.with(("number", index));
                ui.memory_mut(|memory| memory.request_focus(id));
            }
            focus::follow(ui);
        });
        self.state.sight = vec2(shown.state.clamped_offset().y, shown.inner_rect.height());
        self.headings(ui, room, words, shown.state.clamped_offset().x);
    }

    /// How far to scroll, so that what is looked at is in sight, or else what plays.
    fn brought_into_sight(&mut self, height: f32) -> Option<f32> {
        let wanted = self.chosen.or(self.now);
        if self.state.followed == wanted {
            return None;
        }
        self.state.followed = wanted;
        let top = wanted? as f32 * ROW;
        let (from, length) = (self.state.sight.x, self.state.sight.y.max(1.0));
        let in_sight = top >= from && top + ROW <= from + length;
        (!in_sight).then(|| (top - (height - ROW) / 2.0).max(0.0))
    }

    fn headings(&self, ui: &Ui, room: Rect, words: f32, scrolled: f32) {
        let line = room.with_max_y(room.min.y + HEADING);
        let painter = ui.painter().with_clip_rect(line);
        let mut x = room.min.x - scrolled + NUMBER;
        let mut heading = |text: String, width: f32| {
            let galley = fitting(&painter, &[text], SMALL, self.look.quiet, width - 4.0);
            put(&painter, pos2(x + 4.0, line.center().y), &galley);
            x += width + AIR;
        };
        heading("stage".to_owned(), words);
        for (column, width) in &self.columns {
            heading(column.heading(), *width);
        }
        let rule = Stroke::new(1.0, self.look.rule);
        painter.hline(line.x_range(), line.max.y - 1.0, rule);
    }

    fn row(&mut self, ui: &mut Ui, index: usize, words: f32) {
        let columns: f32 = self.columns.iter().map(|(_, width)| width + AIR).sum();
        let size = vec2(NUMBER + words + AIR + columns, ROW);
        let (_, rect) = ui.allocate_space(size);
        let painter = ui.painter();
        if self.chosen == Some(index) {
            painter.rect_filled(rect, 3.0, self.look.edge.gamma_multiply(0.18));
            let edge = Stroke::new(1.0, self.look.accent);
            painter.rect_stroke(rect, 3.0, edge, StrokeKind::Inside);
        }
        self.number(ui, index, rect.with_max_x(rect.min.x + NUMBER));
        let mut x = rect.min.x + NUMBER;
        self.name(ui, index, pos2(x + 4.0, rect.center().y), words - 8.0);
        x += words + AIR;
        for (column, width) in self.columns.clone() {
            let place = Rect::from_min_size(pos2(x, rect.min.y + 1.0), vec2(width, ROW - 2.0));
            self.cell(ui, index, column, place);
            x += width + AIR;
        }
    }

    fn number(&mut self, ui: &Ui, index: usize, place: Rect) {
        let id = self.base.with(("number", index));
        let response = ui.interact(place, id, Sense::click());
        let is_chosen = self.chosen == Some(index);
        let words = format!("Stage {}", index + 1);
        response.widget_info(|| WidgetInfo::selected(Role::Button, true, is_chosen, &words));
        let hue = if response.hovered() || is_chosen {
            self.look.accent
        } else {
            self.look.ink
        };
        let painter = ui.painter();
        if self.now == Some(index) {
            let tip = pos2(place.min.x + 10.0, place.center().y);
            let points = vec![tip + vec2(-6.0, -5.0), tip, tip + vec2(-6.0, 5.0)];
            let shape = egui::Shape::convex_polygon(points, self.look.accent, Stroke::NONE);
            painter.add(shape);
        }
        painter.text(
            pos2(place.max.x - 8.0, place.center().y),
            egui::Align2::RIGHT_CENTER,
            index + 1,
            FontId::proportional(13.0),
            hue,
        );
        if response.clicked() {
            response.request_focus();
            self.choose = Some(index);
            if let Some(stage) = self.listed.places.on_plan(index) {
                self.wishes.push(Wish::Hear(Subject::Stage(stage)));
            }
        }
        if response.has_focus() {
            self.keys(ui, index, response.id);
        }
        response.on_hover_text(
            "Click to look at it and hear two cycles of it. Up and Down go from stage to stage; \
             with Ctrl they move it. Delete leaves it out, R repeats it.",
        );
    }

    /// With the keyboard on the number of a stage.
    fn keys(&mut self, ui: &Ui, index: usize, id: Id) {
        let filter = EventFilter {
            vertical_arrows: true,
            ..EventFilter::default()
        };
        ui.memory_mut(|memory| memory.set_focus_lock_filter(id, filter));
        let (by, moves, out, again) = ui.input(|input| {
            let presses = |key| input.num_presses(key) as isize;
            let out = input.key_pressed(Key::Delete) || input.key_pressed(Key::Backspace);
            let again = input.key_pressed(Key::R) && input.modifiers.is_none();
            let by = presses(Key::ArrowDown) - presses(Key::ArrowUp);
            (by, input.modifiers.command, out, again)
        });
        if out {
            self.edit(Edit::LeaveOut { stage: index });
        }
        if again {
            self.edit(Edit::Repeat {
                stage: index,
                times: 2,
            });
        }
        let to = index
            .saturating_add_signed(by)
            .min(self.count().saturating_sub(1));
        if to == index {
            return;
        }
        if moves {
            self.move_to(index, to);
        } else {
            self.choose = Some(to);
        }
        self.state.keyboard = Some(to);
    }

    fn name(&self, ui: &Ui, index: usize, at: egui::Pos2, width: f32) {
        let on_plan = self.listed.places.on_plan(index);
        let stage = on_plan.and_then(|stage| self.seen.form.stages.get(stage));
        let words = match stage {
            Some(stage) => vec![
                format!(
                    "{}: {}",
                    kind_word(stage.kind),
                    stage_words(stage, &self.seen.process)
                ),
                stage_words(stage, &self.seen.process),
                kind_word(stage.kind).to_owned(),
            ],
            None => vec!["not reached".to_owned()],
        };
        let words = fitting(ui.painter(), &words, 13.0, self.look.ink, width);
        put(ui.painter(), at, &words);
    }

    fn cell(&mut self, ui: &mut Ui, index: usize, column: Column, place: Rect) {
        let Some(stage) = self.listed.route.stages().get(index) else {
            return;
        };
        let custom = self.seen.settings().fold.custom;
        let here = |typing: &&((usize, Column), String)| typing.0 == (index, column);
        let typed = self.state.typing.as_ref().filter(here);
        let mut text = typed.map_or_else(|| column.text(stage, custom), |typed| typed.1.clone());
        let edit = TextEdit::singleline(&mut text)
            .id(self.base.with((column, index)))
            .font(FontId::proportional(13.0))
            .margin(Vec2::new(4.0, 2.0));
        let field = ui.put(place, edit).accessible_name(column.of(index));
        if field.changed() {
            self.state.typing = Some(((index, column), text.clone()));
        }
        if field.gained_focus() {
            self.choose = Some(index);
        }
        if field.has_focus() {
            let by = ui.input(|input| {
                let presses = |key| input.num_presses(key) as i32;
                presses(Key::ArrowUp) - presses(Key::ArrowDown)
            });
            let stepped = (by != 0).then(|| column.stepped(index, stage, by));
            if let Some(edit) = stepped.flatten() {
                self.state.typing = None;
                self.edit(edit);
            }
        }
        let left = field.lost_focus();
        focus::entered(ui, &field);
        if left
            && self
                .state
                .typing
                .take_if(|typing| typing.0 == (index, column))
                .is_some()
        {
            let given_up = ui.input(|input| input.key_pressed(Key::Escape));
            if !given_up {
                match column.typed(index, stage, &text) {
                    Ok(edit) => self.edit(edit),
                    Err(refusal) => self.wishes.push(Wish::Say(refusal)),
                }
            }
        }
        field.on_hover_text(column.about());
    }
}
