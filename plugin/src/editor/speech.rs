//! Speech: a recording, the sentences in it, and the phrase that one of them would become, over the
//! curve of its pitch.

mod live;

use crate::editor::choice;
use crate::editor::focus;
use crate::editor::listen::{SIGN, sign, toggled};
use crate::editor::look::Look;
use crate::editor::model::meter::Meter;
use crate::editor::model::phrase::{self as model, Grid, Names, Rows};
use crate::editor::model::speech::{self, Curve};
use crate::editor::seen::Seen;
use crate::editor::wish::{Sentence, SongWish, Wish};
use crate::files::{Heard, Reader, Spoken, hear};
use crate::microphone::Manner;
use crate::state::Voice;
use egui::{
    Align2, Button, FontId, Label, Rangef, Rect, RichText, Role, Sense, Stroke, StrokeKind,
    TextEdit, Ui, WidgetInfo, pos2, vec2,
};
use procession_core::note::Key;
use procession_core::phrase::Phrase;
use procession_core::snippet::Subject;
use procession_core::speech::{Candidate, Fit, Placed, Placing};
use procession_core::time::Beats;
use std::time::Duration;

/// Seconds after which listening is said to take its time, and can be stopped.
const A_WHILE: f64 = 0.3;

/// How often it is looked whether a recording was listened to.
const LOOK_AGAIN: Duration = Duration::from_millis(30);

/// Room for the names of the rows.
const NAMES_WIDTH: f32 = 36.0;

/// Of a song that nobody has told the tempo of.
const USUAL_TEMPO: f64 = 120.0;

/// What may become of the own tempo, as it is offered.
const FITS: [(Fit, &str); 3] = [
    (Fit::Unasked, "Fit by a tenth at most"),
    (Fit::ToSong, "Fit to the song"),
    (Fit::AsSaid, "Leave as it was said"),
];

/// What the view itself remembers. None of it is saved.
#[derive(Default)]
pub struct SpeechState {
    /// The path of a sound file, as typed.
    path: String,
    reader: Reader<Heard>,
    /// When the reading began.
    began: f64,
    spoken: Option<Spoken>,
    /// Which sentence, the steadiest first.
    rank: usize,
    fit: Fit,
    /// Whether pitches go to the tones of the mode.
    in_mode: bool,
    /// The two as they were told last.
    told: Manner,
    meter: Meter,
    /// What was refused, and what to do.
    refused: Option<String>,
}

impl SpeechState {
    /// Whether a recording is being listened to, on a thread of its own.
    pub fn is_listening(&self) -> bool {
        self.reader.is_reading()
    }
}

/// Shows it in all the room there is.
pub fn show(ui: &mut Ui, seen: &Seen, look: &Look, state: &mut SpeechState) -> Vec<Wish> {
    let now = ui.input(|input| input.time);
    let mut view = SpeechView {
        seen,
        look,
        state,
        wishes: Vec::new(),
        now,
    };
    view.take_over();
    ui.scope(|ui| {
        ui.spacing_mut().item_spacing = vec2(6.0, 4.0);
        view.microphone(ui);
        if view.seen.spoken.listens {
            view.being_said(ui);
        } else {
            view.file(ui);
            view.of_file(ui);
        }
        view.tell_manner();
    });
    view.wishes
}

struct SpeechView<'a> {
    seen: &'a Seen,
    look: &'a Look,
    state: &'a mut SpeechState,
    wishes: Vec<Wish>,
    now: f64,
}

impl SpeechView<'_> {
    /// What was heard meanwhile.
    fn take_over(&mut self) {
        match self.state.reader.answer() {
            Some(Heard(Ok(spoken))) => {
                self.state.spoken = Some(spoken);
                self.state.rank = 0;
                self.state.refused = None;
            }
            Some(Heard(Err(why))) => self.state.refused = Some(why),
            None => (),
        }
    }

    fn file(&mut self, ui: &mut Ui) {
        const WHAT: &str = "Path of a sound file: .wav, .flac, .aiff, .ogg or .mp3";
        ui.horizontal(|ui| {
            let width = (ui.available_width() - 66.0).max(80.0);
            let hint = RichText::new(WHAT).color(self.look.quiet);
            let field = TextEdit::singleline(&mut self.state.path)
                .hint_text(hint)
                .desired_width(width);
            let field = ui.add(field).accessible_name(WHAT);
            let entered = focus::entered(ui, &field);
            let listens = self.state.reader.is_reading();
            if listens && self.now - self.state.began > A_WHILE {
                if ui.button("Stop").clicked() {
                    self.state.reader.stop();
                }
            } else if ui.button("Listen").clicked() || entered {
                self.listen();
            }
        });
        if self.state.reader.is_reading() {
            ui.ctx().request_repaint_after(LOOK_AGAIN);
            if self.now - self.state.began > A_WHILE {
                self.say(ui, "Listening ...", false);
            }
        }
        if let Some(refused) = self.state.refused.clone() {
            self.say(ui, &refused, true);
        }
    }

    fn listen(&mut self) {
        let path = self.state.path.clone();
        self.state.began = self.now;
        self.state.refused = (self.state.reader)
            .begin(move |stop| hear(&path, stop))
            .err();
    }

    fn say(&self, ui: &mut Ui, words: &str, alarm: bool) {
        let ink = if alarm {
            self.look.alarm
        } else {
            self.look.quiet
        };
        ui.add(Label::new(RichText::new(words).color(ink)).wrap());
    }

    /// How a sentence is to be put on the grid.
    fn placing(&self) -> Placing {
        let settings = self.seen.settings();
        let tempo = self.seen.snapshot.tempo;
        Placing {
            step: settings.step(),
            snap: settings.capture.snap,
            steps: settings.capture.length,
            tempo: if tempo > 0.0 { tempo } else { USUAL_TEMPO },
            mode: self.state.in_mode.then(|| self.seen.process.first_mode()),
            fit: self.state.fit,
        }
    }

    /// A sentence of the file.
    fn of_file(&mut self, ui: &mut Ui) {
        let Some(spoken) = self.state.spoken.clone() else {
            self.invitation(ui);
            return;
        };
        if let Some(place) = speech::chosen(&spoken, self.state.rank) {
            self.sentence(ui, &spoken, place, |view, ui| {
                view.choose_sentence(ui, &spoken);
            });
        }
    }

    /// The sentence at that place, and what it would become; `choose` shows which others there are.
    fn sentence(
        &mut self,
        ui: &mut Ui,
        spoken: &Spoken,
        place: usize,
        choose: impl FnOnce(&mut Self, &mut Ui),
    ) {
        let Some(candidate) = spoken.listened.candidates().get(place) else {
            return;
        };
        let placing = self.placing();
        let placed = placing.place(candidate);
        ui.horizontal_wrapped(|ui| {
            choose(self, ui);
            if let Ok(placed) = &placed {
                self.hear(ui, place, &placed.phrase);
                self.take(ui, spoken, candidate, placed);
            }
        });
        ui.horizontal_wrapped(|ui| {
            self.choose_fit(ui);
            let mode = self.seen.process.first_mode();
            let words = format!("Only tones of {}", mode.name());
            ui.checkbox(&mut self.state.in_mode, words)
                .on_hover_text("Each pitch goes to the nearest tone of the mode, not of all keys.");
            self.song_to_own_tempo(ui, candidate, &placing);
        });
        match placed {
            Ok(placed) => {
                let pace = candidate.pace.as_ref();
                let words = speech::tempo_words(pace, &placing, &placed);
                self.say(ui, &words, false);
                if let Some(words) = speech::left_out_words(&placed) {
                    self.say(ui, &words, false);
                }
                self.remarks(ui, spoken);
                let curve = Curve::new(spoken.listened.track().clone(), candidate.span().start);
                self.picture(ui, &placed.phrase, &curve);
            }
            Err(error) => self.say(ui, &model::sentence(error), true),
        }
    }

    fn remarks(&self, ui: &mut Ui, spoken: &Spoken) {
        for remark in spoken.listened.remarks() {
            self.say(ui, &remark.to_string(), true);
        }
    }

    fn choose_sentence(&mut self, ui: &mut Ui, spoken: &Spoken) {
        let names = speech::sentences(&spoken.listened);
        let width = ui.available_width().min(270.0);
        let now = self.state.rank;
        let (_, chosen) = choice::menu(ui, self.look, "sentence", "Sentence", width, (&names, now));
        if let Some(chosen) = chosen {
            self.state.rank = chosen;
        }
    }

    fn hear(&mut self, ui: &mut Ui, place: usize, phrase: &Phrase) {
        let subject = Subject::Sentence(place);
        let heard = self.seen.hearing == Some(subject);
        let what = if heard { "Hush" } else { "Hear" };
        let button = ui.add(Button::new(format!("{what}      ")).selected(heard));
        let at = pos2(button.rect.right() - SIGN, button.rect.center().y);
        sign(ui.painter(), at, self.look, heard);
        let name = format!("{what} the sentence as a phrase");
        button.widget_info(|| WidgetInfo::selected(Role::Button, true, heard, &name));
        if button
            .on_hover_text("The mallets play it, twice.")
            .clicked()
        {
            self.wishes.push(match toggled(self.seen, subject) {
                Wish::Hush => Wish::Hush,
                _ => Wish::HearSentence(place, Box::new(phrase.clone())),
            });
        }
    }

    fn take(&mut self, ui: &mut Ui, spoken: &Spoken, candidate: &Candidate, placed: &Placed) {
        let is_taken = *self.seen.phrase() == placed.phrase;
        let button = ui.add_enabled(!is_taken, Button::new("Make it the phrase"));
        let button = button.on_hover_text(
            "Undo brings the phrase before back. Its notes are edited in the Phrase view, over the curve.",
        );
        if button.clicked() {
            let sentence = Sentence {
                phrase: placed.phrase.clone(),
                voice: Voice::of(&spoken.recording, candidate.span()),
            };
            self.wishes.push(Wish::Speak(Box::new(sentence)));
        }
    }

    fn choose_fit(&mut self, ui: &mut Ui) {
        let names = FITS.map(|(_, name)| name.to_owned());
        let now = FITS.iter().position(|(fit, _)| *fit == self.state.fit);
        let now = (&names[..], now.unwrap_or(0));
        let (_, chosen) = choice::menu(ui, self.look, "fit", "Own tempo", 176.0, now);
        if let Some(chosen) = chosen {
            self.state.fit = FITS[chosen].0;
        }
    }

    /// In the program, the song can have the sentence's tempo instead.
    fn song_to_own_tempo(&mut self, ui: &mut Ui, candidate: &Candidate, placing: &Placing) {
        let own = speech::tempo_of_its_own(candidate.pace.as_ref(), placing);
        let Some(own) = own.filter(|own| self.seen.own_song && *own != placing.tempo) else {
            return;
        };
        if ui.button(format!("Song to {own:.0} bpm")).clicked() {
            self.wishes.push(Wish::Song(SongWish::Tempo(own)));
        }
    }

    fn invitation(&self, ui: &mut Ui) {
        self.say(
            ui,
            "Open a recording of one voice speaking. Its sentences are found, and each can be heard as \
             a melody: a note for each syllable, two where the voice is heard to glide. The one \
             whose pitch is steadiest is offered first.",
            false,
        );
    }

    /// The notes over the curve.
    fn picture(&self, ui: &mut Ui, phrase: &Phrase, curve: &Curve) {
        let outer = ui.available_rect_before_wrap();
        ui.advance_cursor_after_rect(outer);
        let view = outer.with_min_x(outer.min.x + NAMES_WIDTH);
        if view.width() < 40.0 || view.height() < 40.0 {
            return;
        }
        let rows = Rows::around(phrase);
        let count = f32::from(rows.highest - rows.lowest + 1);
        let grid = Grid {
            step: self.seen.settings().step(),
            length: phrase.length(),
            step_width: view.width() / (phrase.length() / self.seen.settings().step()) as f32,
            row_height: view.height() / count,
            rows,
            bar: phrase.bar(),
        };
        let names = Names::in_mode(self.seen.process.fold().source());
        self.ground(ui, view, &grid, &names);
        let strands = curve.strands(phrase);
        let painter = ui.painter().with_clip_rect(view);
        let at = |(beats, pitch): (Beats, f64)| {
            let below_top = f64::from(grid.rows.highest) - pitch + 0.5;
            view.min + vec2(grid.x(beats), below_top as f32 * grid.row_height)
        };
        for (index, note) in phrase.notes().iter().enumerate() {
            let row = grid.row(note.key.number());
            let (left, right) = (grid.x(note.onset), grid.x(note.onset + note.length));
            let bar = Rect::from_min_max(pos2(left, row.min), pos2(right, row.max))
                .translate(view.min.to_vec2())
                .shrink2(vec2(0.5, row.span() * 0.12));
            let hue = self.look.voices[0];
            painter.rect(
                bar,
                2.0,
                self.look.card.lerp_to_gamma(hue, 0.25),
                Stroke::new(1.0, hue),
                StrokeKind::Inside,
            );
            let words = names.words(note, grid.step);
            ui.interact(bar, ui.scope_id().with(("said", index)), Sense::hover())
                .on_hover_text(&words)
                .widget_info(|| WidgetInfo::labeled(Role::Label, true, &words));
        }
        for strand in strands {
            let stroke = Stroke::new(2.5, self.look.accent);
            painter.line(strand.into_iter().map(at).collect(), stroke);
        }
    }

    /// Rows, steps and their names.
    fn ground(&self, ui: &Ui, view: Rect, grid: &Grid, names: &Names) {
        let look = self.look;
        let painter = ui.painter();
        painter.rect_filled(view, 0.0, look.card);
        for number in grid.rows.lowest..=grid.rows.highest {
            let key = Key::by_octave(number.into());
            let row = grid.row(number);
            let (top, bottom) = (view.min.y + row.min, view.min.y + row.max);
            if !names.in_it(key) {
                let band = Rect::from_x_y_ranges(view.x_range(), top..=bottom);
                painter.rect_filled(band, 0.0, look.card.lerp_to_gamma(look.rule, 0.45));
            }
            let room = grid.row_height >= 11.0 || names.is_tonic(key);
            if room && names.in_it(key) {
                painter.text(
                    pos2(view.min.x - 5.0, (top + bottom) / 2.0),
                    Align2::RIGHT_CENTER,
                    names.of(key),
                    FontId::proportional(10.5),
                    look.quiet,
                );
            }
        }
        for line in model::lines(grid, Rangef::new(0.0, view.width())) {
            let share = if line.beat { 0.7 } else { 0.0 };
            let ink = look.rule.lerp_to_gamma(look.edge, share);
            painter.vline(view.min.x + line.x, view.y_range(), Stroke::new(1.0, ink));
        }
        painter.rect_stroke(view, 0.0, Stroke::new(1.0, look.edge), StrokeKind::Inside);
    }
}
