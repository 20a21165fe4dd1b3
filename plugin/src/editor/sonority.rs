//! The sonority: what sounds, the mode it is heard in, and the way into the target mode.

use crate::declaration::Kind;
use crate::editor::alignments::choice_button;
use crate::editor::choice;
use crate::editor::focus;
use crate::editor::look::Look;
use crate::editor::model::parameters::written;
use crate::editor::model::sonority::{Cell, Cycle, SonorityPicture, Switch, switched, switches};
use crate::editor::notes::{line, name, paragraph};
use crate::editor::seen::{Edition, Seen};
use crate::editor::wish::Wish;
use crate::params::{DECLARATIONS, describe};
use egui::{
    Align2, Color32, Rect, RichText, Role, ScrollArea, Sense, Shape, Stroke, StrokeKind, Ui,
    UiBuilder, WidgetInfo, pos2, vec2,
};
use procession_core::mode::ModeName;
use procession_core::time::{Beats, to_ticks};

/// What the view keeps between frames.
#[derive(Default)]
pub struct SonorityState {
    drawn: Option<(Edition, Moment, SonorityPicture)>,
}

/// For which moment a picture was made; what is nearer than a sixteenth of a beat is the same.
type Moment = (Option<usize>, bool, i64);

/// Shows what sounded in the last cycle; at rest in the first; of a `chosen` stage at its end.
pub fn show(
    ui: &mut Ui,
    seen: &Seen,
    look: &Look,
    state: &mut SonorityState,
    chosen: Option<usize>,
) -> Vec<Wish> {
    let mut wishes = Vec::new();
    let area = ui.available_rect_before_wrap().shrink2(vec2(8.0, 6.0));
    ui.allocate_rect(area, Sense::hover());
    if seen.phrase().is_empty() {
        let words = "No phrase yet. Play something, then switch Hold on: this shows its pitches and its mode.";
        paragraph(ui, area, words, look.quiet);
        name(ui, area, "empty", words);
        return wishes;
    }
    let picture = state.picture(seen, chosen);
    let ui = &mut ui.new_child(UiBuilder::new().max_rect(area));
    ui.spacing_mut().item_spacing = vec2(6.0, 5.0);
    let scene = Scene {
        seen,
        look,
        picture,
        room: area.height(),
    };
    ScrollArea::vertical().auto_shrink(false).show(ui, |ui| {
        if area.width() >= 720.0 && area.height() < 520.0 {
            side_by_side(ui, &scene, &mut wishes);
        } else {
            paint(ui, look, picture, scene.room);
            words(ui, &scene, &mut wishes);
        }
        focus::follow(ui);
    });
    wishes
}

/// What is to be shown, and in how high a room.
#[derive(Clone, Copy)]
struct Scene<'a> {
    seen: &'a Seen,
    look: &'a Look,
    picture: &'a SonorityPicture,
    room: f32,
}

impl SonorityState {
    fn picture(&mut self, seen: &Seen, chosen: Option<usize>) -> &SonorityPicture {
        const SIXTEENTH: Beats = 1.0 / 16.0;
        let moment = (
            chosen,
            seen.snapshot.running,
            to_ticks(seen.elapsed()) / to_ticks(SIXTEENTH),
        );
        let same = |(edition, drawn, _): &(Edition, Moment, SonorityPicture)| {
            *drawn == moment && *edition == seen.edition
        };
        let kept = self.drawn.take().filter(same);
        let drawn = kept.unwrap_or_else(|| {
            let picture = SonorityPicture::new(seen, &Cycle::of(seen, chosen));
            (seen.edition, moment, picture)
        });
        &self.drawn.insert(drawn).2
    }
}

fn side_by_side(ui: &mut Ui, scene: &Scene, wishes: &mut Vec<Wish>) {
    let width = ui.available_width();
    ui.horizontal_top(|ui| {
        ui.allocate_ui(vec2(width * 0.58, 0.0), |ui| {
            ui.vertical(|ui| paint(ui, scene.look, scene.picture, scene.room));
        });
        ui.add_space(16.0);
        ui.vertical(|ui| words(ui, scene, wishes));
    });
}

/// The twelve in order of fifths, three times: what sounds, the source, the target.
fn paint(ui: &mut Ui, look: &Look, picture: &SonorityPicture, room: f32) {
    let tiers = Tiers::new(look, ui.available_width(), room);
    let size = vec2(ui.available_width(), tiers.height());
    let (place, _) = ui.allocate_exact_size(size, Sense::hover());
    tiers.name_sonority(ui, place, picture);
    let sounding = tiers.row(place, tiers.title + 2.0);
    tiers.sounding(ui, sounding, &picture.sounding);

    let target_is = if picture.folding {
        "Target"
    } else {
        "Target, the fold being off:"
    };
    let target_ink = if picture.folding {
        look.ink
    } else {
        look.quiet
    };
    let source_title = tiers.row(sounding, tiers.row_height() + 2.0);
    let source = tiers.row(source_title, tiers.title);
    let target = tiers.row(source, tiers.row_height() + tiers.gap);
    let target_title = tiers.row(target, tiers.row_height());
    tiers.ways(ui, source, target, picture);
    let of_source = &picture.heard_as;
    tiers.mode(ui, source, &picture.source.cells, look.ink);
    tiers.name_mode(ui, source_title, of_source, look.ink);
    let of_target = format!("{target_is} {}", picture.target.name);
    tiers.mode(ui, target, &picture.target.cells, target_ink);
    tiers.name_mode(ui, target_title, &of_target, target_ink);

    let spoken_source = format!("{of_source}: {}", spoken(&picture.source.cells));
    name(ui, source, "source", &spoken_source);
    let spoken_target = format!("{of_target}: {}", spoken(&picture.target.cells));
    name(ui, target, "target", &spoken_target);
}

/// The pitches that belong, for a screen reader.
fn spoken(cells: &[Cell; 12]) -> String {
    let names: Vec<&str> = cells
        .iter()
        .filter(|cell| cell.filled)
        .map(|cell| cell.name.as_str())
        .collect();
    names.join(" ")
}

/// Three rows of twelve, as large as the room allows.
struct Tiers<'a> {
    look: &'a Look,
    column: f32,
    radius: f32,
    /// Between source and target.
    gap: f32,
    /// Height of a line of words above or below a row.
    title: f32,
}

impl<'a> Tiers<'a> {
    fn new(look: &'a Look, width: f32, room: f32) -> Self {
        let column = width / 12.0;
        let radius = (column * 0.42).min((room * 0.045).max(16.0));
        Self {
            look,
            column,
            radius,
            // The flatter the ways from source to target, the harder they are to follow.
            gap: (room * 0.13).clamp(1.2 * radius + 10.0, 110.0),
            title: if radius > 14.0 { 22.0 } else { 18.0 },
        }
    }
}

impl Tiers<'_> {
    fn row_height(&self) -> f32 {
        2.0 * self.radius + 4.0
    }

    fn height(&self) -> f32 {
        3.0 * self.row_height() + self.gap + 3.0 * self.title + 8.0
    }

    /// A row as wide as `place`, that far below its top.
    fn row(&self, place: Rect, below: f32) -> Rect {
        let size = vec2(place.width(), self.row_height());
        Rect::from_min_size(place.min + vec2(0.0, below), size)
    }

    /// What sounds, by name, and in which cycle.
    fn name_sonority(&self, ui: &Ui, place: Rect, picture: &SonorityPicture) {
        let (look, painter) = (self.look, ui.painter());
        let (at, width) = (place.left_top(), place.width());
        let name_is = &picture.name;
        let named = line(
            painter,
            at,
            Align2::LEFT_TOP,
            width,
            name_is,
            16.0,
            look.ink,
        );
        let at = pos2(named.right() + 10.0, named.bottom() - 1.0);
        let rest = (place.right() - at.x).max(1.0);
        let when = &picture.when;
        line(
            painter,
            at,
            Align2::LEFT_BOTTOM,
            rest,
            when,
            11.5,
            look.quiet,
        );
        let words = format!("Sounding: {name_is}, {when}. {}", spoken(&picture.sounding));
        let whole = Rect::from_min_size(place.min, vec2(width, self.title));
        name(ui, whole, "sounding", &words);
    }

    fn name_mode(&self, ui: &Ui, place: Rect, words: &str, ink: Color32) {
        let size = if self.radius > 20.0 { 14.5 } else { 12.0 };
        let (painter, width) = (ui.painter(), place.width());
        line(
            painter,
            place.min,
            Align2::LEFT_TOP,
            width,
            words,
            size,
            ink,
        );
    }

    fn x(&self, row: Rect, column: usize) -> f32 {
        row.left() + (column as f32 + 0.5) * self.column
    }

    fn name_size(&self) -> f32 {
        (self.radius * 0.95).clamp(10.0, 20.0)
    }

    /// What sounds is filled; what does not is named only.
    fn sounding(&self, ui: &Ui, row: Rect, cells: &[Cell; 12]) {
        let look = self.look;
        for (column, cell) in cells.iter().enumerate() {
            let at = pos2(self.x(row, column), row.center().y);
            let ink = if cell.filled {
                ui.painter().circle_filled(at, self.radius, look.accent);
                look.paper
            } else {
                ui.painter()
                    .circle_stroke(at, self.radius, Stroke::new(1.0, look.rule));
                look.quiet
            };
            self.write(ui, at, &cell.name, ink);
        }
    }

    /// What belongs is ringed, the tonic twice; what does not is a dot.
    fn mode(&self, ui: &Ui, row: Rect, cells: &[Cell; 12], ink: Color32) {
        for (column, cell) in cells.iter().enumerate() {
            let at = pos2(self.x(row, column), row.center().y);
            if !cell.filled {
                ui.painter().circle_filled(at, 2.0, self.look.edge);
                continue;
            }
            ui.painter()
                .circle(at, self.radius, self.look.card, Stroke::new(1.25, ink));
            if cell.tonic {
                ui.painter()
                    .circle_stroke(at, self.radius - 3.0, Stroke::new(1.25, ink));
            }
            self.write(ui, at, &cell.name, ink);
        }
    }

    /// From source to target: what stays goes straight down, thin; what turns is strong if it has,
    /// dashed if it is still to.
    fn ways(&self, ui: &Ui, source: Rect, target: Rect, picture: &SonorityPicture) {
        let look = self.look;
        let ends = |from: usize, to: usize| {
            let top = pos2(self.x(source, from), source.bottom() - 1.0);
            [top, pos2(self.x(target, to), target.top() + 1.0)]
        };
        let turns_from = |column: usize| picture.turns.iter().any(|turn| turn.from == column);
        for column in 0..12 {
            let both = picture.source.cells[column].filled && picture.target.cells[column].filled;
            if both && !turns_from(column) {
                ui.painter()
                    .line_segment(ends(column, column), Stroke::new(1.0, look.edge));
            }
        }
        for turn in &picture.turns {
            let ends = ends(turn.from, turn.to);
            if turn.moved {
                ui.painter()
                    .line_segment(ends, Stroke::new(2.5, look.accent));
            } else {
                ui.painter().extend(Shape::dashed_line(
                    &ends,
                    Stroke::new(1.75, look.accent),
                    5.0,
                    4.0,
                ));
            }
        }
    }

    fn write(&self, ui: &Ui, at: egui::Pos2, name: &str, ink: Color32) {
        let width = 2.0 * self.radius;
        line(
            ui.painter(),
            at,
            Align2::CENTER_CENTER,
            width,
            name,
            self.name_size(),
            ink,
        );
    }
}

/// What has moved, what comes next, what was guessed and how to overrule it.
fn words(ui: &mut Ui, scene: &Scene, wishes: &mut Vec<Wish>) {
    let Scene {
        seen,
        look,
        picture,
        room,
    } = *scene;
    let size = if room > 520.0 { 15.0 } else { 12.5 };
    let say = |ui: &mut Ui, words: &str, colour: Color32| {
        ui.add(egui::Label::new(RichText::new(words).size(size).color(colour)).wrap());
    };
    say(ui, &picture.moved, look.ink);
    if let Some(next) = &picture.next {
        say(ui, next, look.ink);
    }
    say(
        ui,
        &format!("{} between source and target.", picture.kept),
        look.quiet,
    );
    ui.add_space(4.0);
    say(ui, &picture.guess, look.quiet);
    if !picture.suggestions.is_empty() {
        ui.horizontal_wrapped(|ui| {
            for suggestion in &picture.suggestions {
                let words = format!("Hear as {}", suggestion.name);
                if choice_button(ui, look, &words, false).clicked() {
                    wishes.push(Wish::Type("source_tonic", suggestion.tonic.clone()));
                    wishes.push(Wish::Type("source_mode", suggestion.mode.to_owned()));
                }
            }
        });
    }
    ui.horizontal_wrapped(|ui| {
        let settings = &seen.settings().fold;
        let tonic = settings.source_tonic.map(|tonic| usize::from(tonic) + 1);
        menu(
            ui,
            look,
            "source_tonic",
            "Source tonic",
            tonic,
            74.0,
            wishes,
        );
        let mode = settings.source_mode.and_then(|mode| {
            let place = ModeName::ALL.iter().position(|other| *other == mode);
            Some(place? + 1)
        });
        menu(ui, look, "source_mode", "Source mode", mode, 150.0, wishes);
    });
    if let Some(switches) = switches(&seen.process) {
        custom(ui, seen, look, &switches, wishes);
    }
}

/// A menu of all values of a parameter; none chosen is Auto.
fn menu(
    ui: &mut Ui,
    look: &Look,
    id: &'static str,
    title: &str,
    chosen: Option<usize>,
    width: f32,
    wishes: &mut Vec<Wish>,
) {
    let found = DECLARATIONS.iter().find(|declaration| declaration.id == id);
    let Some(Kind::Choice(list)) = found.map(|declaration| &declaration.kind) else {
        return;
    };
    let chosen = chosen.unwrap_or(0);
    let label = ui.label(RichText::new(title).size(12.0).color(look.quiet));
    let names: Vec<String> = list
        .options
        .iter()
        .map(|option| written(option.name))
        .collect();
    let (shown, picked) = choice::menu(ui, look, id, title, width, (&names, chosen));
    if let Some(option) = picked.and_then(|picked| list.options.get(picked)) {
        wishes.push(Wish::Type(id, option.name.to_owned()));
    }
    shown.labelled_by(label.id).on_hover_text(describe(id));
}

/// The twelve switches of the custom mode, upwards from its tonic.
fn custom(ui: &mut Ui, seen: &Seen, look: &Look, switches: &[Switch; 12], wishes: &mut Vec<Wish>) {
    ui.add_space(4.0);
    let title = "Custom mode: semitones above the tonic";
    ui.label(RichText::new(title).size(12.5).color(look.ink));
    let width = ui.available_width().min(12.0 * 44.0);
    let cell = vec2(width / 12.0 - 3.0, 34.0);
    ui.horizontal(|ui| {
        ui.spacing_mut().item_spacing.x = 3.0;
        for switch in switches {
            if toggle(ui, look, switch, cell).clicked() {
                wishes.push(match switched(&seen.settings().fold, switch.step) {
                    Some(custom) => Wish::Custom(custom),
                    None => Wish::Say(
                        "A mode has at least one pitch: switch another on first.".to_owned(),
                    ),
                });
            }
        }
    });
}

fn toggle(ui: &mut Ui, look: &Look, switch: &Switch, size: egui::Vec2) -> egui::Response {
    let (rect, response) = ui.allocate_exact_size(size, Sense::click());
    let words = format!("{}, {} above the tonic", switch.name, switch.step);
    response.widget_info(|| WidgetInfo::selected(Role::CheckBox, true, switch.on, &words));
    let (fill, ink) = if switch.on {
        (look.accent, look.paper)
    } else {
        (look.card, look.ink)
    };
    let lively = response.hovered() || response.has_focus();
    let edge = Stroke::new(
        if lively { 2.0 } else { 1.0 },
        if lively { look.ink } else { look.edge },
    );
    ui.painter().rect(rect, 3.0, fill, edge, StrokeKind::Inside);
    let middle = rect.center();
    line(
        ui.painter(),
        middle - vec2(0.0, 7.0),
        Align2::CENTER_CENTER,
        size.x,
        &switch.name,
        12.5,
        ink,
    );
    line(
        ui.painter(),
        middle + vec2(0.0, 8.0),
        Align2::CENTER_CENTER,
        size.x,
        &switch.step.to_string(),
        10.0,
        ink,
    );
    response.on_hover_text(words)
}
