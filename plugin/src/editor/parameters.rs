//! The parameters, grouped as a musician thinks: phrase, copies, growth, mode, output.

use crate::editor::field::{Field, ROW};
use crate::editor::focus;
use crate::editor::look::{Look, mark};
use crate::editor::model::parameters::{
    COPIES_GROUP, COPY_IDS, CYCLE_IDS, GROUPS, PITCH_IDS, READING_IDS, matters_to,
};
use crate::editor::seen::Seen;
use crate::editor::views::choose;
use crate::editor::wish::Wish;
use crate::files::sentence;
use crate::params::Parameters;
use egui::{Align2, FontId, Rect, RichText, ScrollArea, Ui, pos2, vec2};
use procession_core::part::{CopyNumber, MAX_COPIES, Part};
use procession_core::words::realignment_words;

/// Which group comes first.
#[derive(Clone, Copy, Debug)]
pub struct ParametersState {
    group: usize,
}

impl Default for ParametersState {
    fn default() -> Self {
        Self {
            group: COPIES_GROUP,
        }
    }
}

/// Shows the chosen group and, as far as there is room, those that follow, the first ones after
/// the last.
pub fn show(
    ui: &mut Ui,
    parameters: &Parameters,
    seen: &Seen,
    look: &Look,
    state: &mut ParametersState,
) -> Vec<Wish> {
    let names: Vec<&str> = GROUPS.iter().map(|group| group.name).collect();
    if let Some(group) = choose(ui, &names, state.group, look) {
        state.group = group;
    }
    ui.add_space(4.0);
    let first = state.group.min(GROUPS.len() - 1);
    let mut wishes = Vec::new();
    ScrollArea::vertical()
        .id_salt(GROUPS[first].name)
        .auto_shrink([false, false])
        .show(ui, |ui| {
            ui.spacing_mut().item_spacing.y = 2.0;
            // Room for the scroll bar.
            ui.set_max_width(ui.available_width() - 6.0);
            let in_order = GROUPS.iter().enumerate().cycle();
            for (place, group) in in_order.skip(first).take(GROUPS.len()) {
                if place != first {
                    heading(ui, group.name, look);
                }
                for id in group.ids {
                    if let Some(field) = field(id, parameters, seen, false) {
                        wishes.extend(field.show(ui, look));
                    }
                }
                if place == COPIES_GROUP {
                    wishes.extend(of_each_copy(ui, parameters, seen, look));
                }
            }
            focus::follow(ui);
        });
    wishes
}

fn heading(ui: &mut Ui, name: &str, look: &Look) {
    ui.add_space(8.0);
    let row = ui.allocate_space(vec2(ui.available_width(), 22.0)).1;
    let text = ui.painter().text(
        pos2(row.min.x, row.center().y),
        Align2::LEFT_CENTER,
        name,
        FontId::proportional(13.0),
        look.quiet,
    );
    ui.painter().hline(
        text.max.x + 8.0..=row.max.x,
        row.center().y + 1.0,
        egui::Stroke::new(1.0, look.rule),
    );
}

fn field<'a>(id: &str, parameters: &'a Parameters, seen: &Seen, bare: bool) -> Option<Field<'a>> {
    let (declaration, parameter) = parameters.of_id(id)?;
    // Then no boundary is looked for.
    let is_written = seen.beginning.at.is_some();
    Some(Field {
        declaration,
        parameter,
        matters: matters_to(id, seen) && !(id == "begin_on" && is_written),
        bare,
    })
}

/// What is set for each copy by itself, a copy a row: where it stands, what it makes of the phrase,
/// and whether it is heard.
fn of_each_copy(ui: &mut Ui, parameters: &Parameters, seen: &Seen, look: &Look) -> Vec<Wish> {
    let place = Table {
        columns: [
            ("offset, steps", 0.42),
            ("level, %", 0.31),
            ("octave", 0.27),
        ],
        ids: &COPY_IDS,
    };
    let pitch = Table {
        columns: [("degrees", 0.33), ("semitones", 0.33), ("program", 0.34)],
        ids: &PITCH_IDS,
    };
    let reading = Table {
        columns: [
            ("mute", 0.19),
            ("solo", 0.19),
            ("backwards", 0.28),
            ("upside down", 0.34),
        ],
        ids: &READING_IDS,
    };
    let cycle = Table {
        columns: [("length", 0.55), ("mallet", 0.45)],
        ids: &CYCLE_IDS,
    };
    let mut wishes = place.show(ui, parameters, seen, look);
    wishes.extend(pitch.show(ui, parameters, seen, look));
    wishes.extend(reading.show(ui, parameters, seen, look));
    wishes.extend(cycle.show(ui, parameters, seen, look));
    for line in realignment_words(seen.process.voices()) {
        ui.add_space(4.0);
        ui.label(RichText::new(sentence(line)).size(12.5).color(look.ink));
    }
    wishes
}

/// Parameters of copies: a copy a row, a column a parameter.
struct Table<const COLUMNS: usize> {
    /// What stands above each, and its share of the width.
    columns: [(&'static str, f32); COLUMNS],
    /// For each copy.
    ids: &'static [[&'static str; COLUMNS]; MAX_COPIES],
}

impl<const COLUMNS: usize> Table<COLUMNS> {
    fn show(&self, ui: &mut Ui, parameters: &Parameters, seen: &Seen, look: &Look) -> Vec<Wish> {
        let mut wishes = Vec::new();
        if seen.settings().motion.copies == 0 {
            return wishes;
        }
        ui.add_space(6.0);
        let heading = ui.allocate_space(vec2(ui.available_width(), 20.0)).1;
        for (column, (name, _)) in self.places(heading).iter().zip(&self.columns) {
            ui.painter().text(
                pos2(column.max.x - 4.0, heading.center().y),
                Align2::RIGHT_CENTER,
                name,
                FontId::proportional(12.0),
                look.quiet,
            );
        }
        for copy in seen.process.voices().copies() {
            let row = ui.allocate_space(vec2(ui.available_width(), ROW)).1;
            let row = row.shrink2(vec2(0.0, 1.0));
            label(ui, copy, row, look);
            for (place, id) in self.places(row).into_iter().zip(self.ids[copy.index()]) {
                if let Some(field) = field(id, parameters, seen, true) {
                    wishes.extend(field.show_in(ui, place, look));
                }
            }
        }
        wishes
    }

    /// Where the columns lie in a row.
    fn places(&self, row: Rect) -> [Rect; COLUMNS] {
        const NAME: f32 = 32.0;
        const GAP: f32 = 4.0;
        let room = row.with_min_x(row.min.x + NAME);
        let width = room.width();
        let mut left = room.min.x;
        self.columns.map(|(_, share)| {
            let column = Rect::from_x_y_ranges(left..=left + width * share - GAP, room.y_range());
            left += width * share;
            column
        })
    }
}

/// Which copy a row is of.
fn label(ui: &Ui, copy: CopyNumber, row: Rect, look: &Look) {
    let part = Part::Copy(copy);
    let at = pos2(row.min.x + 7.0, row.center().y);
    ui.painter().add(mark(part, at, 5.0, look.hue(part), true));
    ui.painter().text(
        pos2(row.min.x + 18.0, row.center().y),
        Align2::LEFT_CENTER,
        copy.number().to_string(),
        FontId::proportional(13.0),
        look.ink,
    );
}
