//! Practice: one part is yours. What to practise, how, how it goes, and how it went.

mod pictures;

use crate::editor::choice;
use crate::editor::focus;
use crate::editor::look::Look;
use crate::editor::model::practice::{
    Choice, Curve, doing, named, parts, progress_words, standing_words, words,
};
use crate::editor::rehearsing::Going;
use crate::editor::seen::Seen;
use crate::editor::wish::{PracticeWish, Wish};
use crate::practice::{Desk, Partner};
use egui::{Button, DragValue, Label, RichText, ScrollArea, Ui};
use procession_core::follower::FEWEST_TAPS;
use procession_core::practice::{PACES, Stage};

/// Of what is chosen in a list, in points.
const LIST: f32 = 230.0;

/// What the view remembers between frames.
#[derive(Debug, Default)]
pub struct PracticeState {
    choice: Choice,
    curve: Curve,
}

/// Shows it in all the room there is.
pub fn show(ui: &mut Ui, seen: &Seen, look: &Look, state: &mut PracticeState) -> Vec<Wish> {
    state.choice.follow(seen);
    state.curve.follow(seen);
    let mut view = PracticeView {
        seen,
        look,
        desk: (*seen.practice).clone(),
        wishes: Vec::new(),
    };
    let width = ui.available_width();
    ScrollArea::vertical()
        .id_salt("practice")
        .auto_shrink(false)
        .show(ui, |ui| {
            // Beside the bar that scrolls.
            ui.set_max_width(width - 10.0);
            view.begin(ui);
            view.what(ui, &state.choice);
            view.said(ui);
            pictures::own_part(ui, seen, look);
            pictures::curve(ui, seen, look, &state.curve);
            view.tempo(ui);
            view.partner(ui);
            view.latency(ui);
            ui.add_space(4.0);
            view.progress(ui);
            view.class(ui);
            focus::follow(ui);
        });
    if view.desk != *seen.practice {
        let set = PracticeWish::Set(Box::new(view.desk));
        view.wishes.push(Wish::Practise(set));
    }
    view.wishes
}

struct PracticeView<'a> {
    seen: &'a Seen,
    look: &'a Look,
    desk: Desk,
    wishes: Vec<Wish>,
}

impl PracticeView<'_> {
    fn wish(&mut self, wish: PracticeWish) {
        self.wishes.push(Wish::Practise(wish));
    }

    fn say(&self, ui: &mut Ui, text: &str, ink: egui::Color32) {
        ui.add(Label::new(RichText::new(text).color(ink)).wrap());
    }

    /// The one button, and what goes on.
    fn begin(&mut self, ui: &mut Ui) {
        let rests = self.seen.snapshot.rehearsal.stage == Stage::Rests;
        let goes_on = self.seen.rehearsing == Going::Practice && !rests;
        ui.horizontal(|ui| {
            let (text, wish, about) = if goes_on {
                (
                    "Stop",
                    PracticeWish::End,
                    "Ends practice. Your part plays again.",
                )
            } else {
                (
                    "Practise",
                    PracticeWish::Begin,
                    "Your part falls silent and the others play. With the song at rest it goes \
                     round and round, counted in; in a rolling song you join in.",
                )
            };
            let label = RichText::new(text).color(self.look.card).size(16.0);
            let button = Button::new(label)
                .fill(self.look.accent)
                .min_size(egui::vec2(92.0, 30.0));
            if ui.add(button).on_hover_text(about).clicked() {
                self.wish(wish);
            }
            let said = doing(self.seen).unwrap_or_else(|| {
                "Choose your part and what to practise. What you play then is followed, and not \
                 captured."
                    .to_owned()
            });
            self.say(ui, &said, self.look.quiet);
        });
        ui.add_space(4.0);
    }

    fn what(&mut self, ui: &mut Ui, exercises: &Choice) {
        let (parts, mine) = parts(self.seen);
        let names: Vec<String> = parts.iter().map(ToString::to_string).collect();
        self.row(ui, "My part", |view, ui| {
            let of = (&names[..], mine);
            let (menu, chosen) = choice::menu(ui, view.look, "part", "My part", LIST, of);
            if let Some(part) = chosen.and_then(|chosen| parts.get(chosen)) {
                view.desk.part = *part;
            }
            menu.on_hover_text("The part that you play. It is silent while you practise.");
        });
        self.row(ui, "Exercise", |view, ui| {
            let now = exercises.place(view.desk.exercise);
            let of = (exercises.names(), now);
            let (menu, chosen) = choice::menu(ui, view.look, "exercise", "Exercise", LIST, of);
            if let Some(exercise) = chosen.and_then(|chosen| exercises.at(chosen)) {
                view.desk.exercise = exercise;
            }
            menu.on_hover_text(
                "The whole, a stage, the seam of two stages, or a drift from where it is locked to \
                 where it locks again.",
            );
        });
    }

    /// What is said of the last pass; while one goes on, only where the player is.
    fn said(&self, ui: &mut Ui) {
        let cycle = self.seen.phrase().length();
        let text = match &self.seen.snapshot.judged {
            Some(judged) => words(judged, cycle).join(" "),
            None => "After each pass, what there is to say of it stands here.".to_owned(),
        };
        ui.add_space(2.0);
        ui.add(Label::new(RichText::new(text).color(self.look.ink).size(16.0)).wrap());
        let now = standing_words(self.seen).unwrap_or_else(|| " ".to_owned());
        self.say(ui, &now, self.look.quiet);
    }

    fn tempo(&mut self, ui: &mut Ui) {
        self.row(ui, "Tempo", |view, ui| {
            let (least, most) = (100.0 * PACES.start(), 100.0 * PACES.end());
            let mut percent = 100.0 * view.desk.pace;
            let field = DragValue::new(&mut percent)
                .range(least..=most)
                .speed(0.5)
                .fixed_decimals(0)
                .suffix(" %");
            let field = ui.add(field).accessible_name("Practice tempo");
            if field.changed() {
                view.desk.pace = (percent.round() / 100.0).clamp(*PACES.start(), *PACES.end());
            }
            field.on_hover_text("With the song at rest. In a rolling song the song's tempo rules.");
            ui.checkbox(&mut view.desk.click, "Click")
                .on_hover_text("Clicks go on during a pass, on channel 10; with the song at rest.");
        });
    }

    fn partner(&mut self, ui: &mut Ui) {
        let names = Partner::ALL.map(|partner| partner.name().to_owned());
        self.row(ui, "Steady voice", |view, ui| {
            let now = Partner::ALL
                .iter()
                .position(|one| *one == view.desk.partner);
            let of = (&names[..], now.unwrap_or(0));
            let (menu, chosen) = choice::menu(ui, view.look, "partner", "Partner", 120.0, of);
            if let Some(chosen) = chosen {
                view.desk.partner = Partner::ALL[chosen];
            }
            menu.on_hover_text(
                "Rigid plays what is written. Gives way meets you where you are early or late, as \
                 a person would. Pulls back goes along when you move off, so that you learn to \
                 get away. With the song at rest.",
            );
            if view.desk.partner == Partner::Rigid {
                return;
            }
            let mut percent = 100.0 * view.desk.share;
            let field = DragValue::new(&mut percent)
                .range(0.0..=100.0)
                .speed(0.5)
                .fixed_decimals(0)
                .suffix(" %");
            let field = ui.add(field).accessible_name("Share");
            if field.changed() {
                view.desk.share = (percent.round() / 100.0).clamp(0.0, 1.0);
            }
            field.on_hover_text("How much of the distance it makes up at each note of yours.");
        });
    }

    fn latency(&mut self, ui: &mut Ui) {
        let taps = self.seen.rehearsing == Going::Taps;
        self.row(ui, "Latency", |view, ui| {
            if !taps {
                let known = match view.desk.latency_ms {
                    Some(ms) => format!("{ms:.0} ms, taken off"),
                    None => "not measured".to_owned(),
                };
                view.say(ui, &known, view.look.ink);
                let button = ui.button("Measure");
                let about = "Clicks, so that you can tap along: what your notes are late by for \
                             reasons of wires and machines is measured once, and taken off.";
                if button.on_hover_text(about).clicked() {
                    view.wish(PracticeWish::Measure);
                }
                return;
            }
            let tapped = view.seen.snapshot.rehearsal.tapped;
            match tapped {
                Some(Ok(latency)) => {
                    let ms = latency.ms;
                    let said = format!("{ms:.0} ms, even to {:.0} ms", latency.spread_ms);
                    view.say(ui, &said, view.look.ink);
                    if ui.button("Take it off").clicked() {
                        view.wish(PracticeWish::Keep((10.0 * ms).round() / 10.0));
                    }
                }
                Some(Err(error)) => view.say(ui, &error.to_string(), view.look.ink),
                None => view.say(ui, &format!("0 of {FEWEST_TAPS} taps."), view.look.ink),
            }
            if ui.button("Cancel").clicked() {
                view.wish(PracticeWish::End);
            }
        });
    }

    fn progress(&self, ui: &mut Ui) {
        let passes = &self.seen.practice.passes;
        let said = progress_words(passes);
        pictures::progress(ui, self.look, passes, &said);
        self.say(ui, &said, self.look.quiet);
    }

    fn class(&mut self, ui: &mut Ui) {
        ui.add_space(6.0);
        let button = ui.button("Show to a class");
        let about = "Circle, plan, and what is now and next in words fill the window. Escape \
                     comes back.";
        if button.on_hover_text(about).clicked() {
            self.wishes.push(Wish::ShowToClass(true));
        }
    }

    fn row(&mut self, ui: &mut Ui, name: &str, content: impl FnOnce(&mut Self, &mut Ui)) {
        ui.horizontal_wrapped(|ui| {
            let (_, place) = ui.allocate_space(egui::vec2(92.0, 22.0));
            let at = egui::pos2(place.min.x, place.center().y);
            let font = egui::FontId::proportional(13.0);
            let left = egui::Align2::LEFT_CENTER;
            ui.painter().text(at, left, name, font, self.look.quiet);
            content(self, ui);
        });
    }
}

/// Whose part is practised, for the pictures.
fn about_own_part(seen: &Seen) -> String {
    format!("The notes of {} as they come", named(seen.practice.part))
}
