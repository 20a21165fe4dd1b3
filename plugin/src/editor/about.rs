//! What Procession is, on what terms, what it sends, and what in it others wrote.

use crate::editor::look::Look;
use egui::{
    EventFilter, FontId, Key, Label, Response, RichText, Role, ScrollArea, Sense, Ui, WidgetInfo,
};

/// What in it others wrote, and on what terms: the very file that lies beside the bundle. Empty
/// where the build was handed none.
pub const NOTICES: &str = include_str!(concat!(env!("OUT_DIR"), "/notices.txt"));

/// What is said where the build was handed none.
const ABSENT: &str = "This build carries no notices of what in it others wrote. \
    cargo xtask bundle makes one that does, and puts them beside it: Procession notices.txt.";

/// What stays between frames.
#[derive(Default)]
pub struct AboutState {
    /// Whether it is shown.
    pub is_open: bool,
    /// The notices as they are broken for that many signs in a row.
    rows: Vec<&'static str>,
    columns: usize,
    /// How far it is scrolled, in points.
    offset: f32,
}

/// Of the bar that scrolls, in points.
const BAR: f32 = 14.0;

/// Shows it in all the room there is.
pub fn show(ui: &mut Ui, look: &Look, state: &mut AboutState, notices: &'static str) {
    let name = concat!("Procession ", env!("CARGO_PKG_VERSION"));
    ui.horizontal(|ui| {
        if ui.button("Back").clicked() {
            state.is_open = false;
        }
        ui.label(RichText::new(name).color(look.ink).size(19.0));
    });
    let terms = env!("CARGO_PKG_LICENSE").replace(" OR ", " or ");
    for line in [
        concat!(env!("CARGO_PKG_DESCRIPTION"), ".").to_owned(),
        format!("Use it on the terms of {terms}, at your choice."),
        "It sends nothing anywhere and fetches nothing.".to_owned(),
    ] {
        say(ui, look, &line);
    }
    if notices.is_empty() {
        say(ui, look, ABSENT);
    } else {
        ui.scope(|ui| scroll(ui, look, state, notices));
    }
}

fn say(ui: &mut Ui, look: &Look, line: &str) {
    ui.add(Label::new(RichText::new(line).color(look.ink)).wrap());
}

/// Of the text only what is in sight is laid out: it is as long as a book.
fn scroll(ui: &mut Ui, look: &Look, state: &mut AboutState, notices: &'static str) {
    let font = FontId::monospace(12.0);
    let (wide, high) =
        ui.fonts_mut(|fonts| (fonts.glyph_width(&font, 'n'), fonts.row_height(&font)));
    ui.spacing_mut().item_spacing.y = 0.0;
    let room = ui.available_rect_before_wrap();
    let columns = ((room.width() - BAR) / wide) as usize;
    if state.rows.is_empty() || state.columns != columns {
        state.rows = rows(notices, columns);
        state.columns = columns;
    }
    let id = ui.scope_id().with("notices");
    let text = ui.interact(room, id, Sense::click());
    text.widget_info(|| WidgetInfo::labeled(Role::Group, true, "Notices"));
    if text.clicked() {
        text.request_focus();
    }
    let end = (state.rows.len() as f32 * high - room.height()).max(0.0);
    let mut area = ScrollArea::vertical().id_salt("notices").auto_shrink(false);
    if let Some(to) = keys(ui, &text, state.offset, end, room.height()) {
        area = area.vertical_scroll_offset(to);
    }
    let shown = area.show_rows(ui, high, state.rows.len(), |ui, range| {
        for row in &state.rows[range] {
            let row = RichText::new(*row).font(font.clone()).color(look.ink);
            ui.add(Label::new(row).extend().selectable(false));
        }
    });
    state.offset = shown.state.clamped_offset().y;
}

/// Where the keyboard scrolls to, if it is on the text and does.
fn keys(ui: &Ui, text: &Response, from: f32, end: f32, page: f32) -> Option<f32> {
    const STEP: f32 = 42.0;
    if !text.has_focus() {
        return None;
    }
    let arrows = EventFilter {
        vertical_arrows: true,
        ..EventFilter::default()
    };
    ui.memory_mut(|memory| memory.set_focus_lock_filter(text.id, arrows));
    ui.input(|input| {
        let presses = |key| input.num_presses(key) as f32;
        let steps = presses(Key::ArrowDown) - presses(Key::ArrowUp);
        let pages = presses(Key::PageDown) - presses(Key::PageUp);
        let by = steps * STEP + pages * (page - STEP).max(STEP);
        let to = match (input.key_pressed(Key::Home), input.key_pressed(Key::End)) {
            (true, _) => 0.0,
            (_, true) => end,
            _ => (from + by).clamp(0.0, end),
        };
        (to != from).then_some(to)
    })
}

/// A text in rows of so many signs at most, broken between words where there is a place to.
fn rows(text: &str, columns: usize) -> Vec<&str> {
    let mut rows = Vec::new();
    for mut line in text.lines() {
        while let Some(end) = overflow(line, columns.max(1)) {
            let between = line[..end].rfind(' ');
            let between = between.filter(|at| !line[..*at].trim().is_empty());
            let (row, rest) = line.split_at(between.unwrap_or(end));
            rows.push(row);
            line = rest.trim_start_matches(' ');
        }
        rows.push(line);
    }
    rows
}

/// Where the first sign begins that has no room in a row, but for one at the beginning.
fn overflow(line: &str, columns: usize) -> Option<usize> {
    let mut taken = 0;
    let mut signs = line.char_indices();
    let outside = signs.find(|(_, sign)| {
        // As wide as egui draws it.
        taken += if *sign == '\t' { 4 } else { 1 };
        taken > columns
    });
    outside.map(|(at, _)| at).filter(|at| *at > 0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn rows_break_between_words_and_long_words_where_they_must() {
        let text = "Permission is hereby granted\n\n  to whoever\nhttps://quay.example/terms";
        let broken = [
            "Permission is",
            "hereby granted",
            "",
            "  to whoever",
            "https://quay.e",
            "xample/terms",
        ];
        assert_eq!(rows(text, 14), broken);
    }

    proptest! {
        #[test]
        fn no_sign_is_lost_and_no_row_is_too_long(text in "[a-zéß ©\n]{0,200}", columns in 0_usize..40) {
            let broken = rows(&text, columns);
            let signs = |text: &str| text.split_whitespace().collect::<String>();
            prop_assert_eq!(signs(&broken.concat()), signs(&text));
            for row in broken {
                prop_assert!(row.chars().count() <= columns.max(1), "{row:?}");
            }
        }
    }
}
