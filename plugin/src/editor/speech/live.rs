//! What is being said into the audio input: whether it is listened to, how loud it is, and which of
//! its sentences Hold is to take.

use super::SpeechView;
use crate::editor::choice;
use crate::editor::model::speech;
use crate::editor::wish::{ListenWish, Wish};
use crate::microphone::{Manner, Said};
use egui::{Rect, Role, Sense, Stroke, StrokeKind, Ui, WidgetInfo, vec2};
use std::time::Duration;

/// Between two looks at how loud it is.
const LOOKS: Duration = Duration::from_millis(50);

/// The bar of the meter, and room for its words beside it.
const BAR: egui::Vec2 = vec2(160.0, 10.0);
const WORDS: f32 = 68.0;

impl SpeechView<'_> {
    /// The switch, and beside it, or below where there is no room, how loud it is.
    pub(super) fn microphone(&mut self, ui: &mut Ui) {
        let listens = self.seen.spoken.listens;
        ui.horizontal_wrapped(|ui| {
            let mut on = listens;
            let switch = ui.checkbox(&mut on, "Hold takes what is said into the audio input");
            let switch = switch.on_hover_text(
                "Listen to: Voice. Sentences are shown as they end; Hold makes the latest the phrase, \
                 or the one that is chosen.",
            );
            if switch.changed() {
                let to = if on { "Voice" } else { "Notes" };
                self.wishes
                    .push(Wish::Type("listen_to", to.to_owned()));
            }
            if listens {
                self.meter(ui);
            }
        });
        if listens {
            ui.ctx().request_repaint_after(LOOKS);
        }
    }

    fn meter(&mut self, ui: &mut Ui) {
        let look = self.look;
        let meter = &mut self.state.meter;
        meter.follow(self.now, self.seen.spoken.level);
        let (words, [peak, rms]) = (meter.words(), meter.shares());
        let ink = if meter.clips() {
            look.alarm
        } else {
            look.quiet
        };
        let room = vec2(BAR.x + WORDS, BAR.y + 6.0);
        let (room, bar) = ui.allocate_exact_size(room, Sense::hover());
        let left = room.left_center() - vec2(0.0, BAR.y / 2.0);
        let place = Rect::from_min_size(left, BAR);
        let painter = ui.painter();
        painter.rect_filled(place, 2.0, look.rule);
        let filled = Rect::from_min_size(place.min, vec2(BAR.x * rms, BAR.y));
        painter.rect_filled(filled, 2.0, look.voices[0]);
        let tick = place.min.x + BAR.x * peak;
        painter.vline(tick, place.y_range(), Stroke::new(2.0, look.ink));
        painter.rect_stroke(place, 2.0, Stroke::new(1.0, look.edge), StrokeKind::Inside);
        let told = format!("Level at the audio input: {words}");
        bar.on_hover_text(
            "From -60 dB to full scale: filled up to the mean of a third of a second, the stroke is the \
             peak. Best between -24 and -6 dBFS; where it clips, the voice is distorted.",
        )
        .widget_info(|| WidgetInfo::labeled(Role::Meter, true, &told));
        ui.painter().text(
            room.right_center(),
            egui::Align2::RIGHT_CENTER,
            words,
            egui::FontId::proportional(12.0),
            ink,
        );
    }

    /// The sentences, and the one that Hold would take.
    pub(super) fn being_said(&mut self, ui: &mut Ui) {
        let live = self.seen.spoken.live.clone();
        if self.seen.spoken.works {
            self.say(ui, "Working out what was said ...", false);
        }
        if let Some(why) = &live.refused {
            self.say(ui, why, true);
        }
        let said = match (&live.chosen, &live.said) {
            (Some((said, place)), _) => Some((said, *place)),
            (None, Some(said)) => Some((said, said.spoken.listened.latest())),
            (None, None) => None,
        };
        match said {
            Some((said, place)) => {
                let latest = live.said.as_ref().unwrap_or(said);
                let is_old = latest.since != said.since;
                self.sentence(ui, &said.spoken, place, |view, ui| {
                    view.choose_said(ui, latest, (!is_old).then_some(place));
                });
            }
            None => self.say(
                ui,
                "Say a sentence: it is shown when a pause of 0.3 s has ended it. Then press Hold, and it \
                 is the phrase.",
                false,
            ),
        }
    }

    /// One that is no longer among the latest has no place there.
    fn choose_said(&mut self, ui: &mut Ui, said: &Said, place: Option<usize>) {
        let (places, mut names) = speech::as_said(&said.spoken.listened);
        let now = place.and_then(|place| places.iter().position(|one| *one == place));
        let now = now.unwrap_or_else(|| {
            names.push("One from before".to_owned());
            names.len() - 1
        });
        let width = ui.available_width().min(270.0);
        let (_, chosen) = choice::menu(ui, self.look, "said", "Sentence", width, (&names, now));
        if let Some(place) = chosen.and_then(|chosen| places.get(chosen)) {
            let is_latest = *place == said.spoken.listened.latest();
            let frame = (!is_latest).then(|| said.frames(*place).start);
            self.wishes.push(Wish::Listen(ListenWish::Choose(frame)));
        }
    }

    /// Hold is to do it as it is shown here.
    pub(super) fn tell_manner(&mut self) {
        let manner = Manner {
            fit: self.state.fit,
            in_mode: self.state.in_mode,
        };
        if self.state.told != manner {
            self.state.told = manner;
            self.wishes.push(Wish::Listen(ListenWish::Manner(manner)));
        }
    }
}
