//! The parameters, grouped as a musician thinks: phrase, copies, growth, mode, output.

use crate::editor::field::{Field, ROW};
use crate::editor::focus;
use crate::editor::look::{Look, mark};
use crate::editor::model::parameters::{COPIES_GROUP, COPY_IDS, GROUPS, matters_to};
use crate::editor::seen::Seen;
use crate::editor::views::choose;
use crate::editor::wish::Wish;
use crate::params::Parameters;
use egui::{Align2, FontId, Rect, ScrollArea, Ui, pos2, vec2};
use procession_core::part::Part;

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

/// A table: a copy a row, with its own offset, level and octave.
fn of_each_copy(ui: &mut Ui, parameters: &Parameters, seen: &Seen, look: &Look) -> Vec<Wish> {
    let copies = seen.settings().motion.copies;
    let mut wishes = Vec::new();
    if copies == 0 {
        return wishes;
    }
    ui.add_space(6.0);
    let heading = ui.allocate_space(vec2(ui.available_width(), 20.0)).1;
    let columns = columns(heading);
    let named = ["offset, steps", "level, %", "octave"];
    for (column, name) in columns.iter().zip(named) {
        ui.painter().text(
            pos2(column.max.x - 4.0, heading.center().y),
            Align2::RIGHT_CENTER,
            name,
            FontId::proportional(12.0),
            look.quiet,
        );
    }
    for copy in seen.process.voices().copies() {
        let part = Part::Copy(copy);
        let row = ui.allocate_space(vec2(ui.available_width(), ROW)).1;
        let row = row.shrink2(vec2(0.0, 1.0));
        let at = pos2(row.min.x + 7.0, row.center().y);
        ui.painter().add(mark(part, at, 5.0, look.hue(part), true));
        ui.painter().text(
            pos2(row.min.x + 18.0, row.center().y),
            Align2::LEFT_CENTER,
            copy.number().to_string(),
            FontId::proportional(13.0),
            look.ink,
        );
        for (column, id) in self::columns(row).into_iter().zip(COPY_IDS[copy.index()]) {
            if let Some(field) = field(id, parameters, seen, true) {
                wishes.extend(field.show_in(ui, column, look));
            }
        }
    }
    wishes
}

fn columns(row: Rect) -> [Rect; 3] {
    const NAME: f32 = 32.0;
    const GAP: f32 = 4.0;
    let room = row.with_min_x(row.min.x + NAME);
    let width = room.width();
    let mut left = room.min.x;
    [0.42, 0.31, 0.27].map(|share| {
        let column = Rect::from_x_y_ranges(left..=left + width * share - GAP, room.y_range());
        left += width * share;
        column
    })
}
