//! The alignments: what each place is like at which two voices can stand, before it is heard.

use crate::editor::focus;
use crate::editor::listen::{SIGN, sign, stepped, steps, toggled};
use crate::editor::look::{self, Look};
use crate::editor::model::alignments::{
    Meeting, Order, Row, Standing, own_offset_for, rows, sorted, standings, strokes, unequal,
};
use crate::editor::model::circle::offset_id;
use crate::editor::notes::{line, name, paragraph};
use crate::editor::seen::{Edition, Seen};
use crate::editor::wish::Wish;
use egui::{
    Align2, Color32, Direction, Id, Layout, Rangef, Rect, Response, RichText, Role, ScrollArea,
    Sense, Shape, Stroke, StrokeKind, Ui, UiBuilder, WidgetInfo, pos2, vec2,
};
use procession_core::part::{CopyNumber, Part};
use procession_core::snippet::Subject;
use procession_core::words::number_of;
use procession_core::words::steps_ahead;
use std::collections::HashMap;

/// What the view keeps between frames.
#[derive(Default)]
pub struct AlignmentsState {
    order: Order,
    /// The row that was clicked; where copy 1 stands, if none was.
    chosen: Option<usize>,
    /// The copy that is to stand where the button says.
    copy: CopyNumber,
    listed: Option<Listed>,
    /// What meets, of the alignments that were in view since the fold was this.
    told: Option<(Edition, HashMap<usize, Meeting>)>,
}

/// Shows the distinct alignments. Clicking a row tells more of it, and lets two cycles of it be
/// heard; the arrow keys go on to the next. Only the button that puts a copy there changes anything.
pub fn show(ui: &mut Ui, seen: &Seen, look: &Look, state: &mut AlignmentsState) -> Vec<Wish> {
    let mut wishes = Vec::new();
    if seen.phrase().is_empty() {
        let rect = ui.available_rect_before_wrap();
        ui.allocate_rect(rect, Sense::hover());
        let words =
            "No phrase yet. Play something, then switch Hold on: this lists its alignments.";
        paragraph(ui, rect, words, look.quiet);
        name(ui, rect, "empty", words);
        return wishes;
    }
    state.list(seen);
    let AlignmentsState {
        order,
        chosen,
        copy,
        listed,
        told,
    } = state;
    let rows = listed.as_ref().map_or(&[][..], |listed| &listed.rows);
    let told = match told {
        Some((_, told)) => told,
        None => return wishes,
    };
    let standings = standings(seen);

    let area = ui.available_rect_before_wrap().shrink2(vec2(8.0, 6.0));
    ui.allocate_rect(area, Sense::hover());
    let ui = &mut ui.new_child(UiBuilder::new().max_rect(area));
    ui.spacing_mut().item_spacing = vec2(6.0, 4.0);
    sorting(ui, look, rows.len(), order);
    if let Some(words) = unequal(seen) {
        ui.label(RichText::new(words).size(12.0).color(look.ink));
    }
    let fallback = standings.first().map_or(0, |standing| standing.alignment);
    let shown = chosen
        .filter(|chosen| *chosen < rows.len())
        .unwrap_or(fallback);
    let copies = seen.process.voices().copies();
    let last = copies.clone().next_back().unwrap_or_default();
    *copy = last.min(*copy);
    let mut list = List {
        told,
        seen,
        look,
        standings: &standings,
        copy: *copy,
    };
    list.titles(ui);
    let detail_height = if area.height() > 300.0 { 72.0 } else { 58.0 };
    let room = (ui.available_height() - detail_height).max(ROW);
    // Where all of them fit, they take more of the room, and what is told of one stands below.
    let spacing = ui.spacing().item_spacing.y;
    let each = room / rows.len().max(1) as f32 - spacing;
    let row_height = each.clamp(ROW, 2.0 * ROW);
    let height = room.min(rows.len() as f32 * (row_height + spacing));
    let places = sorted(rows, *order);
    let pitch = row_height + spacing;
    ScrollArea::vertical()
        .auto_shrink(false)
        .max_height(height)
        .min_scrolled_height(height)
        .show_rows(ui, row_height, rows.len(), |ui, visible| {
            let mut gone_to = None;
            for place in visible {
                let row = &rows[places[place]];
                let is_shown = row.alignment == shown;
                let response = list.row(ui, (place, row), row_height, is_shown);
                let on = steps(ui, &response);
                if on != 0 {
                    let next = stepped(place, on, rows.len());
                    let down = (next as f32 - place as f32) * pitch;
                    gone_to = Some((next, response.rect.translate(vec2(0.0, down))));
                } else if response.clicked() {
                    response.request_focus();
                    *chosen = Some(row.alignment);
                    wishes.push(toggled(seen, list.subject(row)));
                }
            }
            // Not before all are drawn: the next would take the same key for its own.
            if let Some((next, rect)) = gone_to {
                let row = &rows[places[next]];
                *chosen = Some(row.alignment);
                wishes.push(Wish::Hear(list.subject(row)));
                go_to(ui, next, rect);
            }
            focus::follow(ui);
        });
    if let Some(row) = rows.get(shown) {
        let meeting = list.meeting(row).clone();
        detail(ui, seen, look, (row, &meeting), copy, &mut wishes);
    }
    wishes
}

/// The least height of a row; the spacing between two is added.
const ROW: f32 = 22.0;

/// The rows, and what they follow from.
struct Listed {
    edition: Edition,
    rows: Vec<Row>,
}

impl AlignmentsState {
    fn list(&mut self, seen: &Seen) {
        let same = |listed: &Listed| listed.edition == seen.alignments_edition;
        if !self.listed.as_ref().is_some_and(same) {
            self.listed = Some(Listed {
                edition: seen.alignments_edition,
                rows: rows(seen),
            });
        }
        let same = |told: &(Edition, _)| told.0 == seen.edition;
        if !self.told.as_ref().is_some_and(same) {
            self.told = Some((seen.edition, HashMap::new()));
        }
    }
}

fn sorting(ui: &mut Ui, look: &Look, count: usize, order: &mut Order) {
    ui.horizontal(|ui| {
        let roomy = ui.available_width() > 460.0;
        let what = if roomy {
            "distinct alignment"
        } else {
            "alignment"
        };
        ui.label(
            RichText::new(number_of(count, what))
                .size(13.0)
                .color(look.ink),
        );
        for choice in Order::ALL {
            if choice_button(ui, look, choice.words(), *order == choice).clicked() {
                *order = choice;
            }
        }
    });
}

/// A button that stays down while its choice holds.
pub(super) fn choice_button(ui: &mut Ui, look: &Look, words: &str, chosen: bool) -> Response {
    let (fill, ink) = if chosen {
        (look.accent, look.paper)
    } else {
        (look.card, look.ink)
    };
    let text = RichText::new(words).size(11.5).color(ink);
    let button = egui::Button::new(text)
        .selected(chosen)
        .fill(fill)
        .stroke(Stroke::new(
            1.0,
            if chosen { look.accent } else { look.edge },
        ));
    ui.add(button)
}

struct List<'a> {
    told: &'a mut HashMap<usize, Meeting>,
    seen: &'a Seen,
    look: &'a Look,
    standings: &'a [Standing],
    /// The one that is heard against the steady voice.
    copy: CopyNumber,
}

/// Of the row at that place of the list.
fn row_id(ui: &Ui, place: usize) -> Id {
    ui.scope_id().with(("alignment", place))
}

/// The keyboard goes to the row at that place, which lies in `rect` and comes into sight.
fn go_to(ui: &Ui, place: usize, rect: Rect) {
    ui.memory_mut(|memory| memory.request_focus(row_id(ui, place)));
    ui.scroll_to_rect_animation(rect, None, egui::style::ScrollAnimation::none());
}

/// From where to where the parts of a row reach.
struct Columns {
    marks: Rangef,
    place: Rangef,
    picture: Rangef,
    attacks: Rangef,
    coincidences: Rangef,
    sonority: Option<Rangef>,
}

impl Columns {
    /// `crowd` is the number of marks in the row that has the most.
    fn of(row: Rect, crowd: usize) -> Self {
        const GAP: f32 = 8.0;
        // The sign of what can be heard stands at the end.
        let width = row.width() - SIGN - 6.0;
        let roomy = width > 420.0;
        let marks = (4.0 + 10.0 * crowd as f32).clamp(14.0, width * 0.16);
        let place = if roomy { 104.0 } else { 84.0 };
        let number = if roomy {
            (width * 0.13).min(150.0)
        } else {
            52.0
        };
        let sonority = if width > 620.0 { width * 0.24 } else { 0.0 };
        let mut left = row.left() + 4.0;
        let mut next = |width: f32| {
            let column = Rangef::new(left, left + width);
            left += width + GAP;
            column
        };
        let rest = width - 8.0 - marks - place - 2.0 * number - sonority - 5.0 * GAP;
        Self {
            marks: next(marks),
            place: next(place),
            picture: next(rest.max(20.0)),
            attacks: next(number),
            coincidences: next(number),
            sonority: (sonority > 0.0).then(|| next(sonority)),
        }
    }
}

impl List<'_> {
    fn meeting(&mut self, row: &Row) -> &Meeting {
        let told = self.told.entry(row.alignment);
        told.or_insert_with(|| Meeting::of(self.seen, row.alignment))
    }

    fn columns(&self, row: Rect) -> Columns {
        let places = self.standings.iter().map(|standing| standing.alignment);
        let crowd = |place| {
            self.standings
                .iter()
                .filter(|other| other.alignment == place)
                .count()
        };
        Columns::of(row, places.map(crowd).max().unwrap_or(0))
    }

    /// What the columns tell.
    fn titles(&self, ui: &mut Ui) {
        let size = vec2(ui.available_width(), 12.0);
        let (rect, _) = ui.allocate_exact_size(size, Sense::hover());
        let columns = self.columns(rect);
        let roomy = columns.picture.span() > 90.0;
        let picture = if roomy { "composite rhythm" } else { "rhythm" };
        let mut coincidences = columns.coincidences;
        if columns.sonority.is_none() {
            // There is no sign in this line.
            coincidences.max = rect.right();
        }
        let titles = [
            (Some(columns.picture), picture),
            (Some(columns.attacks), "attacks"),
            (Some(coincidences), "coincidences"),
            (columns.sonority, "what coincides"),
        ];
        for (column, words) in titles {
            if let Some(column) = column {
                self.write(ui, column, rect, words, 10.5, self.look.quiet);
            }
        }
    }

    fn subject(&self, row: &Row) -> Subject {
        Subject::Alignment {
            copy: self.copy,
            steps: row.alignment as i64,
        }
    }

    fn row(
        &mut self,
        ui: &mut Ui,
        (place, row): (usize, &Row),
        height: f32,
        chosen: bool,
    ) -> Response {
        let size = vec2(ui.available_width(), height);
        let (rect, _) = ui.allocate_exact_size(size, Sense::hover());
        let response = ui.interact(rect, row_id(ui, place), Sense::click());
        let heard = self.seen.hearing == Some(self.subject(row));
        let sounds = if heard { ", heard now" } else { "" };
        let words = format!(
            "{}: {}{}{sounds}",
            row.place,
            row.facts(),
            self.who_stands(row)
        );
        response.widget_info(|| WidgetInfo::selected(Role::ListBoxOption, true, chosen, &words));
        if ui.is_rect_visible(rect) {
            let lively = response.hovered() || response.has_focus();
            self.ground(ui, rect, chosen, lively);
            self.paint(ui, rect, row);
            if lively || chosen || heard {
                let at = pos2(rect.right() - SIGN / 2.0 - 4.0, rect.center().y);
                sign(ui.painter(), at, self.look, heard);
            }
        }
        response.on_hover_ui(|ui| {
            ui.label(self.more(row));
        })
    }

    fn ground(&self, ui: &Ui, rect: Rect, chosen: bool, lively: bool) {
        if chosen || lively {
            ui.painter().rect_filled(rect, 3.0, self.look.card);
        }
        if chosen {
            let edge = Stroke::new(1.5, self.look.accent);
            let inside = StrokeKind::Inside;
            ui.painter().rect_stroke(rect, 3.0, edge, inside);
        }
    }

    fn paint(&mut self, ui: &Ui, rect: Rect, row: &Row) {
        let look = self.look;
        let columns = self.columns(rect);
        let cell = |column: Rangef| Rect::from_x_y_ranges(column, rect.y_range());
        self.marks(ui, cell(columns.marks), row);
        self.write(ui, columns.place, rect, &row.place, 12.5, look.ink);
        let picture = cell(columns.picture);
        let height = (picture.height() - 6.0).min(26.0);
        let size = vec2(picture.width(), height);
        self.picture(ui, Rect::from_center_size(picture.center(), size), row);
        let attacks = cell(columns.attacks);
        self.amount(ui, attacks, row.attacks, row.attacks_share, look.edge);
        if row.interlocks {
            let roomy = columns.coincidences.span() > 60.0;
            let words = if roomy { "interlocks" } else { "none" };
            self.write(ui, columns.coincidences, rect, words, 11.5, look.ink);
        } else {
            let coincidences = cell(columns.coincidences);
            let share = row.coincidences_share;
            self.amount(ui, coincidences, row.coincidences, share, look.accent);
        }
        if let Some(column) = columns.sonority {
            let sonority = self.meeting(row).sonority.clone();
            self.write(ui, column, rect, &sonority, 11.5, look.quiet);
        }
    }

    fn write(&self, ui: &Ui, column: Rangef, row: Rect, words: &str, size: f32, colour: Color32) {
        let at = pos2(column.min, row.center().y);
        let width = column.span();
        line(
            ui.painter(),
            at,
            Align2::LEFT_CENTER,
            width,
            words,
            size,
            colour,
        );
    }

    /// The copies that stand here; hollow if they only pass.
    fn marks(&self, ui: &Ui, place: Rect, row: &Row) {
        let here: Vec<&Standing> = self.here(row).collect();
        let gap = match here.len() {
            0 | 1 => 0.0,
            many => ((place.width() - 12.0) / (many as f32 - 1.0)).min(10.0),
        };
        for (index, standing) in here.iter().enumerate() {
            let at = pos2(place.left() + 6.0 + gap * index as f32, place.center().y);
            let part = Part::Copy(standing.copy);
            let hue = self.look.hue(part);
            ui.painter()
                .add(look::mark(part, at, 4.0, hue, standing.locked));
        }
    }

    /// The composite rhythm: the steady voice upwards, the copy downwards, a bead where they meet.
    fn picture(&self, ui: &Ui, place: Rect, row: &Row) {
        let look = self.look;
        let middle = place.center().y;
        let mut shapes = vec![Shape::hline(
            place.x_range(),
            middle,
            Stroke::new(1.0, look.rule),
        )];
        let arm = place.height() / 2.0;
        for stroke in strokes(&self.seen.process, row.alignment as i64) {
            let x = place.left() + 2.0 + stroke.at * (place.width() - 4.0);
            if stroke.steady {
                shapes.push(Shape::vline(
                    x,
                    middle - arm..=middle,
                    Stroke::new(1.5, look.voices[0]),
                ));
            }
            if stroke.copy {
                shapes.push(Shape::vline(
                    x,
                    middle..=middle + arm,
                    Stroke::new(1.5, look.voices[1]),
                ));
            }
            if stroke.steady && stroke.copy {
                shapes.push(Shape::circle_filled(pos2(x, middle), 2.5, look.accent));
            }
        }
        ui.painter().extend(shapes);
    }

    /// A number, and a bar as long as its share.
    fn amount(&self, ui: &Ui, place: Rect, number: usize, share: f32, colour: Color32) {
        const NUMBER: f32 = 24.0;
        let digits = Rangef::new(place.left(), place.left() + NUMBER);
        self.write(ui, digits, place, &number.to_string(), 12.5, self.look.ink);
        let left = pos2(digits.max, place.center().y - 3.0);
        let room = place.right() - digits.max;
        let bar = Rect::from_min_size(left, vec2((room * share).max(1.0), 6.0));
        ui.painter().rect_filled(bar, 1.0, colour);
    }

    fn here<'b>(&'b self, row: &'b Row) -> impl Iterator<Item = &'b Standing> {
        self.standings
            .iter()
            .filter(|standing| standing.alignment == row.alignment)
    }

    /// ", copy 1 stands here, copy 2 passes".
    fn who_stands(&self, row: &Row) -> String {
        self.here(row)
            .map(|standing| {
                let does = if standing.locked {
                    "stands here"
                } else {
                    "passes"
                };
                format!(", copy {} {does}", standing.copy.number())
            })
            .collect()
    }

    fn more(&mut self, row: &Row) -> String {
        let facts = format!("{}: {}{}", row.place, row.facts(), self.who_stands(row));
        let copy = Part::Copy(self.copy).to_string().to_lowercase();
        let hear = format!("Click to hear two cycles of it with {copy}; arrow keys step on.");
        let meeting = self.meeting(row);
        if meeting.intervals.is_empty() {
            return format!("{facts}\n{hear}");
        }
        format!(
            "{facts}\nWhat coincides: {}\nTogether: {}\n{hear}",
            meeting.intervals, meeting.sonority
        )
    }
}

/// More of one alignment, and the button that puts a copy there.
fn detail(
    ui: &mut Ui,
    seen: &Seen,
    look: &Look,
    (row, meeting): (&Row, &Meeting),
    copy: &mut CopyNumber,
    wishes: &mut Vec<Wish>,
) {
    let area = ui.available_rect_before_wrap();
    ui.painter().hline(
        area.x_range(),
        area.top() + 1.0,
        Stroke::new(1.0, look.rule),
    );
    let button_width = 92.0;
    let words_end = area.right() - button_width - 10.0;
    let words = Rect::from_min_max(area.min + vec2(0.0, 6.0), pos2(words_end, area.bottom()));
    let lines = [
        (format!("{}: {}", row.place, row.facts()), 13.0, look.ink),
        (what_meets(meeting), 11.5, look.quiet),
        (meeting.pairs.clone(), 11.5, look.quiet),
    ];
    let mut top = words.top();
    for (text, size, colour) in lines.iter().filter(|(text, ..)| !text.is_empty()) {
        let at = pos2(words.left(), top);
        top = line(
            ui.painter(),
            at,
            Align2::LEFT_TOP,
            words.width(),
            text,
            *size,
            *colour,
        )
        .bottom()
            + 3.0;
    }
    name(
        ui,
        words,
        "detail",
        &format!("{}. {}. {}", lines[0].0, lines[1].0, lines[2].0),
    )
    .on_hover_text(&meeting.pairs);

    let right = words_end + 10.0;
    let copies = seen.process.voices().copies();
    if copies.len() > 1 {
        let row = pos2(right, area.top() + 40.0);
        choose_copy(
            ui,
            look,
            copies,
            Rect::from_min_size(row, vec2(button_width, 16.0)),
            copy,
        );
    }
    let size = vec2(button_width, 26.0);
    let button = Rect::from_min_size(pos2(right, area.top() + 8.0), size);
    stand_here(ui, seen, look, (row, *copy), button, wishes);
}

/// The marks of the copies, of which the one that is to stand here is filled.
fn choose_copy(
    ui: &Ui,
    look: &Look,
    copies: impl ExactSizeIterator<Item = CopyNumber>,
    room: Rect,
    copy: &mut CopyNumber,
) {
    let width = (room.width() / copies.len() as f32).min(20.0);
    for number in copies {
        let part = Part::Copy(number);
        let left = room.left() + width * number.index() as f32;
        let place = Rect::from_min_size(pos2(left, room.top()), vec2(width, room.height()));
        let words = part.to_string();
        let id = ui.scope_id().with(("stands", number));
        let response = ui.interact(place, id, Sense::click());
        if response.clicked() {
            *copy = number;
        }
        let chosen = *copy == number;
        response.widget_info(|| WidgetInfo::selected(Role::RadioButton, true, chosen, &words));
        let lively = response.hovered() || response.has_focus();
        let radius = if lively { 5.0 } else { 4.0 };
        let mark = look::mark(part, place.center(), radius, look.hue(part), chosen);
        ui.painter().add(mark);
        response.on_hover_text(format!("{words} is the one that is moved here."));
    }
}

fn what_meets(meeting: &Meeting) -> String {
    if meeting.intervals.is_empty() {
        return "No coincidences: the voices interlock, each in the other's gaps.".to_owned();
    }
    format!(
        "What coincides: {}; together {}",
        meeting.intervals, meeting.sonority
    )
}

fn stand_here(
    ui: &mut Ui,
    seen: &Seen,
    look: &Look,
    (row, copy): (&Row, CopyNumber),
    place: Rect,
    wishes: &mut Vec<Wish>,
) {
    let offset = own_offset_for(seen, copy, row.alignment);
    let colour = if offset.is_ok() { look.ink } else { look.quiet };
    let text = RichText::new(format!("{} here", Part::Copy(copy)))
        .size(12.5)
        .color(colour);
    let button = egui::Button::new(text).fill(look.card).stroke(Stroke::new(
        1.5,
        if offset.is_ok() {
            look.accent
        } else {
            look.rule
        },
    ));
    let centred = Layout::centered_and_justified(Direction::LeftToRight);
    let mut child = ui.new_child(UiBuilder::new().max_rect(place).layout(centred));
    let response = child.add_enabled(offset.is_ok(), button);
    match offset {
        Ok(steps) => {
            let words = format!(
                "Sets copy {}'s own offset to {}, so that it stands {}. It goes on shifting from \
                 there.",
                copy.number(),
                steps_ahead(steps),
                row.place
            );
            if response.on_hover_text(words).clicked() {
                wishes.push(Wish::Type(offset_id(copy), steps.to_string()));
            }
        }
        Err(unreachable) => {
            response.on_disabled_hover_text(unreachable.words());
        }
    }
}
