//! The mode changes of the plan, to be written: a row for each, with what comes of it.

use crate::editor::choice;
use crate::editor::focus;
use crate::editor::listen::{sign, stepped, steps, toggled};
use crate::editor::look::Look;
use crate::editor::model::modulations::{
    and, has_room, outcomes, place_from, place_text, proposal, tonic_name, with,
};
use crate::editor::model::parameters::written;
use crate::editor::model::plan::beats_per_bar;
use crate::editor::seen::Seen;
use crate::editor::wish::Wish;
use crate::state::LONGEST_TURNING;
use egui::{
    Button, DragValue, Id, Key, Label, RichText, Role, ScrollArea, Sense, Stroke, StrokeKind,
    TextEdit, Ui, WidgetInfo, vec2,
};
use procession_core::mode::ModeName;
use procession_core::settings::{MAX_MODULATIONS, Modulation, Modulations};
use procession_core::snippet::Subject;

/// What is being typed.
#[derive(Debug, Default)]
pub struct ModulationsState {
    /// The row whose place is being typed, and the text.
    typing: Option<(usize, String)>,
    /// Why what was typed last was refused.
    refused: Option<String>,
}

/// Shows the plan in all the room there is. `stage` is the one that is looked at, if any.
pub fn show(
    ui: &mut Ui,
    seen: &Seen,
    look: &Look,
    state: &mut ModulationsState,
    stage: Option<usize>,
) -> Vec<Wish> {
    let mut view = ModulationsView {
        seen,
        look,
        state,
        changed: None,
        asked: None,
        goes_to: None,
    };
    let width = ui.available_width();
    ScrollArea::vertical()
        .id_salt("modulations")
        .auto_shrink(false)
        .show(ui, |ui| {
            // Beside the bar that scrolls.
            ui.set_max_width(width - 10.0);
            view.beginning(ui);
            view.rows(ui);
            view.add(ui, stage);
            focus::follow(ui);
        });
    let changed = view.changed.map(|plan| Wish::Modulate(Box::new(plan)));
    changed.into_iter().chain(view.asked).collect()
}

struct ModulationsView<'a> {
    seen: &'a Seen,
    look: &'a Look,
    state: &'a mut ModulationsState,
    changed: Option<Modulations>,
    /// What is to be heard.
    asked: Option<Wish>,
    /// The mode change to which the keyboard goes.
    goes_to: Option<usize>,
}

impl ModulationsView<'_> {
    fn plan(&self) -> &Modulations {
        &self.seen.settings().modulations
    }

    /// The mode that the piece begins in, or what to do.
    fn beginning(&self, ui: &mut Ui) {
        let first = self.seen.process.first_mode();
        let text = if self.plan().is_empty() {
            format!(
                "Begins and stays in {}. Add a mode change to lead it elsewhere, at a stage or a \
                 bar; no automation is needed.",
                first.name()
            )
        } else {
            format!("Begins in {}.", first.name())
        };
        self.say(ui, &text, self.look.quiet);
        ui.add_space(4.0);
    }

    fn rows(&mut self, ui: &mut Ui) {
        let outcomes = outcomes(self.seen);
        let rows: Vec<Modulation> = self.plan().iter().copied().collect();
        let hear = ui.scope_id().with("hear");
        let coming: Vec<usize> = (0..rows.len())
            .filter(|index| !outcomes[*index].missing)
            .collect();
        for (index, (modulation, outcome)) in rows.iter().zip(&outcomes).enumerate() {
            ui.horizontal_wrapped(|ui| {
                ui.spacing_mut().item_spacing.x = 6.0;
                let mut now = *modulation;
                self.place(ui, index, &mut now);
                tonic(ui, self.look, index, &mut now);
                mode(ui, self.look, index, &mut now);
                over(ui, index, &mut now);
                if now != *modulation {
                    self.changed = Some(with(self.plan(), index, Some(now)));
                    self.state.refused = None;
                }
                self.remove(ui, index);
                self.hear(ui, hear.with(index), index, &coming);
            });
            let ink = if outcome.missing {
                self.look.alarm
            } else {
                self.look.quiet
            };
            self.say(ui, &outcome.text, ink);
            ui.add_space(6.0);
        }
        // Not before all are drawn: the next would take the same key for its own.
        if let Some(index) = self.goes_to {
            ui.memory_mut(|memory| memory.request_focus(hear.with(index)));
        }
    }

    fn place(&mut self, ui: &mut Ui, index: usize, modulation: &mut Modulation) {
        let a_bar = beats_per_bar(self.seen);
        let now = place_text(modulation.place, a_bar);
        let typed = self
            .state
            .typing
            .as_ref()
            .filter(|typing| typing.0 == index);
        let mut text = typed.map_or(now, |typing| typing.1.clone());
        let field = TextEdit::singleline(&mut text).desired_width(84.0);
        let field = ui
            .add(field)
            .accessible_name(format!("Position {}", index + 1));
        if field.changed() {
            self.state.typing = Some((index, text.clone()));
            self.state.refused = None;
        }
        let left = field.lost_focus();
        focus::entered(ui, &field);
        if left && self.state.typing.take().is_some() {
            let given_up = ui.input(|input| input.key_pressed(Key::Escape));
            match place_from(&text, a_bar) {
                _ if given_up => self.state.refused = None,
                Ok(place) => modulation.place = place,
                Err(refusal) => self.state.refused = Some(refusal),
            }
        }
        field.on_hover_text("Where it begins: \"stage 4\", \"bar 9\" or \"bar 9 beat 2.5\", counted from where the process begins. Beats are quarters.");
    }

    fn remove(&mut self, ui: &mut Ui, index: usize) {
        let button = ui
            .button("Remove")
            .accessible_name(format!("Remove {}", index + 1));
        if button.on_hover_text("Removes this mode change.").clicked() {
            self.changed = Some(with(self.plan(), index, None));
            self.state.typing = None;
        }
    }

    /// A cycle before the change and a cycle after it, heard by themselves; `coming` are those
    /// that take place.
    fn hear(&mut self, ui: &mut Ui, id: Id, index: usize, coming: &[usize]) {
        let Some(place) = coming.iter().position(|coming| *coming == index) else {
            return;
        };
        let subject = Subject::ModeChange(index);
        let heard = self.seen.hearing == Some(subject);
        let (rect, _) = ui.allocate_exact_size(vec2(26.0, 20.0), Sense::hover());
        let button = ui.interact(rect, id, Sense::click());
        let words = format!("Hear mode change {}", index + 1);
        button.widget_info(|| WidgetInfo::selected(Role::Button, true, heard, &words));
        let edge = if button.hovered() {
            self.look.accent
        } else {
            self.look.edge
        };
        let stroke = Stroke::new(1.0, edge);
        let inside = StrokeKind::Inside;
        ui.painter().rect(rect, 3.0, self.look.card, stroke, inside);
        sign(ui.painter(), rect.center(), self.look, heard);
        let on = steps(ui, &button);
        if on != 0 {
            let next = coming[stepped(place, on, coming.len())];
            self.asked = Some(Wish::Hear(Subject::ModeChange(next)));
            self.goes_to = Some(next);
        } else if button.clicked() {
            button.request_focus();
            self.asked = Some(toggled(self.seen, subject));
        }
        button.on_hover_text(
            "Hear the last cycle before this change and the first in which it is complete. Arrow \
             keys step on.",
        );
    }

    fn add(&mut self, ui: &mut Ui, stage: Option<usize>) {
        if let Some(refusal) = &self.state.refused {
            self.say(ui, refusal, self.look.alarm);
        }
        let text = match stage {
            Some(stage) => format!("Change mode at stage {}", stage + 1),
            None => "Add a mode change".to_owned(),
        };
        let (empty, room) = (self.seen.phrase().is_empty(), has_room(self.plan()));
        let button = Button::new(RichText::new(text).color(self.look.card)).fill(self.look.accent);
        if ui.add_enabled(room && !empty, button).clicked()
            && let Some(more) = proposal(self.seen, stage)
        {
            self.changed = Some(and(self.plan(), more));
        }
        if empty {
            self.say(
                ui,
                "First play a phrase and switch Hold on, or enter one under Phrase.",
                self.look.quiet,
            );
        } else if !room {
            let full = format!("A plan has at most {MAX_MODULATIONS} mode changes.");
            self.say(ui, &full, self.look.quiet);
        }
    }

    fn say(&self, ui: &mut Ui, text: &str, ink: egui::Color32) {
        ui.add(Label::new(RichText::new(text).color(ink)).wrap());
    }
}

fn tonic(ui: &mut Ui, look: &Look, index: usize, modulation: &mut Modulation) {
    let names: Vec<String> = (0..12).map(tonic_name).collect();
    let now = usize::from(modulation.tonic);
    let label = format!("Tonic {}", index + 1);
    let (menu, chosen) = choice::menu(ui, look, ("tonic", index), &label, 56.0, (&names, now));
    if let Some(chosen) = chosen {
        modulation.tonic = chosen as u8;
    }
    menu.on_hover_text("The new tonic.");
}

fn mode(ui: &mut Ui, look: &Look, index: usize, modulation: &mut Modulation) {
    let names = ModeName::ALL.map(|mode| written(mode.name()));
    let now = ModeName::ALL
        .iter()
        .position(|mode| *mode == modulation.mode);
    let now = now.unwrap_or(0);
    let label = format!("Mode {}", index + 1);
    let (menu, chosen) = choice::menu(ui, look, ("mode", index), &label, 136.0, (&names, now));
    if let Some(chosen) = chosen {
        modulation.mode = ModeName::ALL[chosen];
    }
    menu.on_hover_text("The new mode.");
}

fn over(ui: &mut Ui, index: usize, modulation: &mut Modulation) {
    let field = DragValue::new(&mut modulation.over)
        .range(0..=LONGEST_TURNING)
        .speed(0.1)
        .custom_formatter(|cycles, _| match cycles {
            0.0 => "at once".to_owned(),
            1.0 => "over 1 cycle".to_owned(),
            cycles => format!("over {cycles} cycles"),
        })
        .custom_parser(cycles_from);
    let field = ui.add(field).accessible_name(format!("Over {}", index + 1));
    field.on_hover_text(
        "Over how many cycles the pitches turn, one after another; 0 turns them all at once.",
    );
}

/// "4", "over 4 cycles", "at once".
fn cycles_from(text: &str) -> Option<f64> {
    let text = text.to_lowercase();
    if text.contains("once") {
        return Some(0.0);
    }
    text.split_whitespace().find_map(|word| word.parse().ok())
}
