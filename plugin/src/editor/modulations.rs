//! The modulation plan, to be written: a row for each, with what comes of it.

use crate::editor::look::Look;
use crate::editor::model::modulations::{
    and, outcomes, place_from, place_text, proposal, tonic_name, with,
};
use crate::editor::model::plan::beats_per_bar;
use crate::editor::seen::Seen;
use crate::editor::wish::Wish;
use crate::state::LONGEST_TURNING;
use egui::{Button, ComboBox, DragValue, Key, Label, RichText, ScrollArea, TextEdit, Ui};
use procession_core::mode::ModeName;
use procession_core::settings::{MAX_MODULATIONS, Modulation, Modulations};

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
    let mut desk = Desk {
        seen,
        look,
        state,
        changed: None,
    };
    let width = ui.available_width();
    ScrollArea::vertical()
        .id_salt("modulations")
        .auto_shrink(false)
        .show(ui, |ui| {
            // Beside the bar that scrolls.
            ui.set_max_width(width - 10.0);
            desk.beginning(ui);
            desk.rows(ui);
            desk.add(ui, stage);
        });
    let changed = desk.changed;
    changed
        .map(|plan| Wish::Modulate(Box::new(plan)))
        .into_iter()
        .collect()
}

struct Desk<'a> {
    seen: &'a Seen,
    look: &'a Look,
    state: &'a mut ModulationsState,
    changed: Option<Modulations>,
}

impl Desk<'_> {
    fn plan(&self) -> &Modulations {
        &self.seen.settings().modulations
    }

    /// The mode that the piece begins in, or what to do.
    fn beginning(&self, ui: &mut Ui) {
        let first = self.seen.process.first_mode();
        let text = if self.plan().is_empty() {
            format!(
                "Begins and stays in {}. Add a modulation to lead it elsewhere, at a stage or a \
                 bar, without any automation.",
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
        for (index, (modulation, outcome)) in rows.iter().zip(&outcomes).enumerate() {
            ui.horizontal_wrapped(|ui| {
                ui.spacing_mut().item_spacing.x = 6.0;
                let mut now = *modulation;
                self.place(ui, index, &mut now);
                tonic(ui, index, &mut now);
                mode(ui, index, &mut now);
                over(ui, index, &mut now);
                if now != *modulation {
                    self.changed = Some(with(self.plan(), index, Some(now)));
                    self.state.refused = None;
                }
                self.remove(ui, index);
            });
            let ink = if outcome.missing {
                self.look.alarm
            } else {
                self.look.quiet
            };
            self.say(ui, &outcome.text, ink);
            ui.add_space(6.0);
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
            .accessible_name(format!("Place {}", index + 1));
        if field.changed() {
            self.state.typing = Some((index, text.clone()));
            self.state.refused = None;
        }
        if field.lost_focus() && self.state.typing.take().is_some() {
            let given_up = ui.input(|input| input.key_pressed(Key::Escape));
            match place_from(&text, a_bar) {
                Ok(place) if !given_up => modulation.place = place,
                Err(refusal) if !given_up => self.state.refused = Some(refusal),
                _ => (),
            }
        }
        field.on_hover_text("Where it begins: \"stage 4\", \"bar 9\" or \"bar 9 beat 2.5\", counted from the origin.");
    }

    fn remove(&mut self, ui: &mut Ui, index: usize) {
        let button = ui
            .button("Remove")
            .accessible_name(format!("Remove {}", index + 1));
        if button.on_hover_text("Takes this modulation out.").clicked() {
            self.changed = Some(with(self.plan(), index, None));
            self.state.typing = None;
        }
    }

    fn add(&mut self, ui: &mut Ui, stage: Option<usize>) {
        if let Some(refusal) = &self.state.refused {
            self.say(ui, refusal, self.look.alarm);
        }
        let proposal = proposal(self.seen, stage);
        let text = match stage {
            Some(stage) => format!("Modulate at stage {}", stage + 1),
            None => "Add a modulation".to_owned(),
        };
        let empty = self.seen.phrase().is_empty();
        let button = Button::new(RichText::new(text).color(self.look.card)).fill(self.look.accent);
        let button = ui.add_enabled(proposal.is_some() && !empty, button);
        if let (true, Some(more)) = (button.clicked(), proposal) {
            self.changed = Some(and(self.plan(), more));
        }
        if empty {
            self.say(
                ui,
                "First play a phrase and hold it, or write one.",
                self.look.quiet,
            );
        } else if proposal.is_none() {
            let full = format!("{MAX_MODULATIONS} modulations are all there is room for.");
            self.say(ui, &full, self.look.quiet);
        }
    }

    fn say(&self, ui: &mut Ui, text: &str, ink: egui::Color32) {
        ui.add(Label::new(RichText::new(text).color(ink)).wrap());
    }
}

fn tonic(ui: &mut Ui, index: usize, modulation: &mut Modulation) {
    let menu = ComboBox::from_id_salt(("tonic", index))
        .width(46.0)
        .selected_text(tonic_name(modulation.tonic))
        .show_ui(ui, |ui| {
            for choice in 0..12 {
                ui.selectable_value(&mut modulation.tonic, choice, tonic_name(choice));
            }
        });
    menu.response
        .accessible_name(format!("Tonic {}", index + 1))
        .on_hover_text("The tonic it leads to.");
}

fn mode(ui: &mut Ui, index: usize, modulation: &mut Modulation) {
    let menu = ComboBox::from_id_salt(("mode", index))
        .width(124.0)
        .truncate()
        .selected_text(modulation.mode.name())
        .show_ui(ui, |ui| {
            for choice in ModeName::ALL {
                ui.selectable_value(&mut modulation.mode, choice, choice.name());
            }
        });
    menu.response
        .accessible_name(format!("Mode {}", index + 1))
        .on_hover_text("The mode it leads to.");
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
        "Over how many cycles the pitches that differ turn, one after another; 0 is at once.",
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
