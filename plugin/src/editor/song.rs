//! The strip beneath the head, in the program only: what a host would have. The song starts and
//! stops here, its tempo and its place stand here, and so do the project and the state of audio
//! and MIDI.

use crate::editor::look::Look;
use crate::editor::model::files::Tone;
use crate::editor::model::project::{Project, Question, World};
use crate::editor::model::song::{about, audio, bar_and_beat, midi, place};
use crate::editor::wish::{SongWish, Wish};
use crate::params::Parameters;
use crate::program::line::Come;
use crate::program::song::TEMPOS;
use crate::program::{Program, rescue};
use egui::{
    Align, Area, Button, DragValue, Frame, Id, Key, Label, Layout, Modal, Modifiers, Order, Rect,
    Response, RichText, Sense, Stroke, TextEdit, Ui, UiBuilder, ViewportCommand, pos2, vec2,
};
use procession_core::words::minutes;
use std::time::Duration;

/// Of the strip, in points.
pub const HEIGHT: f32 = 44.0;
/// Of what can be pressed in it.
const ROW: f32 = 30.0;
/// Of the card in which a project is opened and saved.
const CARD: f32 = 420.0;
/// Between two looks whether the project has changed and audio still comes, in seconds.
const LOOK: f64 = 1.0;

/// What the program's window has besides a plug-in's.
pub struct ProgramStrip {
    /// What there is to command and to see.
    program: Program,
    /// What is open.
    project: Project,
    /// Whether the card for it is shown.
    card: bool,
    /// The place that is being typed.
    typing: Option<String>,
    watch: Watch,
    /// Whether the window may close without asking.
    may_close: bool,
}

/// When what was seen last.
#[derive(Clone, Copy, Debug, Default)]
struct Watch {
    come: Come,
    block_at: f64,
    note_at: f64,
    looked_at: f64,
}

impl Watch {
    fn look(&mut self, come: Come, now: f64) {
        // The time of a new window begins anew.
        if now < self.looked_at || self.block_at > now {
            (self.looked_at, self.block_at, self.note_at) = (now, now, f64::NEG_INFINITY);
        }
        if come.blocks != self.come.blocks {
            self.block_at = now;
        }
        if come.notes != self.come.notes {
            self.note_at = now;
        }
        self.come = come;
    }
}

impl ProgramStrip {
    /// With the project that the program was started with, or a new one.
    pub fn new(mut program: Program, parameters: &Parameters) -> Self {
        let opened = program.opened.take();
        let song = program.song.clone();
        let world = World {
            parameters,
            song: &song,
        };
        let mut project = Project::new(world);
        match &opened {
            Some(opened) => project.started_with(opened, world),
            None => project.offer(program.state_folder.as_deref().and_then(rescue::kept)),
        }
        Self {
            card: project.offered().is_some(),
            program,
            project,
            typing: None,
            watch: Watch::default(),
            may_close: false,
        }
    }

    fn split<'a>(&'a mut self, parameters: &'a Parameters) -> (World<'a>, &'a mut Project) {
        let world = World {
            parameters,
            song: &self.program.song,
        };
        (world, &mut self.project)
    }

    /// Whether the window may close: nothing would be lost, or that was said to be right. If not,
    /// it will be asked.
    pub fn may_close(&mut self, parameters: &Parameters) -> bool {
        let allowed = self.may_close;
        let (world, project) = self.split(parameters);
        let may_close = allowed || !project.look(world);
        if !may_close {
            self.program.closing.ask();
        }
        may_close
    }

    /// The program must end, and nobody can be asked.
    pub fn rescue(&mut self, parameters: &Parameters) -> Option<String> {
        if self.may_close {
            return None;
        }
        let folder = self.program.state_folder.clone();
        let (world, project) = self.split(parameters);
        project.rescue(folder.as_deref(), world)
    }

    /// Keys that work in the whole window.
    pub fn keys(&mut self, ui: &Ui, parameters: &Parameters) -> Vec<Wish> {
        let pressed = |with, key| ui.input_mut(|input| input.consume_key(with, key));
        let mut wishes = Vec::new();
        if pressed(Modifiers::COMMAND, Key::Enter) {
            wishes.push(self.roll());
        }
        if pressed(Modifiers::COMMAND, Key::O) {
            self.card = true;
        }
        if pressed(Modifiers::COMMAND, Key::S) {
            let is_new = self.project.name().is_none();
            let (world, project) = self.split(parameters);
            if is_new || !project.save(world) {
                self.card = true;
            } else if let Some((_, said)) = &self.project.said {
                wishes.push(Wish::Say(said.clone()));
            }
        }
        wishes
    }

    fn roll(&self) -> Wish {
        Wish::Song(SongWish::Roll(!self.program.song.rolls()))
    }

    /// Shows the strip in `room`, and whatever else belongs to the program.
    pub fn show(
        &mut self,
        ui: &mut Ui,
        room: Rect,
        beats_per_bar: f64,
        parameters: &Parameters,
        look: &Look,
    ) -> Vec<Wish> {
        self.watch(ui, parameters);
        ui.painter().rect_filled(room, 0.0, look.card);
        ui.painter()
            .hline(room.x_range(), room.max.y, Stroke::new(1.0, look.rule));
        let inside = room.shrink2(vec2(10.0, (HEIGHT - ROW) / 2.0));
        let row = UiBuilder::new()
            .id_salt("song")
            .max_rect(inside)
            .layout(Layout::left_to_right(Align::Center));
        let mut row = ui.new_child(row);
        row.shrink_clip_rect(room);
        row.spacing_mut().interact_size.y = ROW;
        let mut wishes = Vec::new();
        self.start(&mut row, look, &mut wishes);
        self.place(
            &mut row,
            room.width() >= 420.0,
            beats_per_bar,
            look,
            &mut wishes,
        );
        self.tempo(&mut row, &mut wishes);
        row.with_layout(Layout::right_to_left(Align::Center), |ui| {
            self.project(ui, look);
            if room.width() >= 640.0 {
                self.line(ui, look);
            }
        });
        if !wishes.is_empty() {
            // Until the audio thread has done it.
            ui.ctx().request_repaint_after(Duration::from_millis(60));
        }
        if self.card {
            self.card(ui, room, parameters, look);
        }
        if self.program.closing.is_asked() {
            self.ask(ui, parameters, look);
        }
        wishes
    }

    /// Looks now and then at what changes by itself.
    fn watch(&mut self, ui: &Ui, parameters: &Parameters) {
        let now = ui.input(|input| input.time);
        self.watch.look(self.program.line.come(), now);
        if now - self.watch.looked_at >= LOOK || self.watch.looked_at == 0.0 {
            self.watch.looked_at = now;
            let (world, project) = self.split(parameters);
            project.look(world);
        }
        ui.ctx()
            .request_repaint_after(Duration::from_secs_f64(LOOK));
    }

    fn start(&self, ui: &mut Ui, look: &Look, wishes: &mut Vec<Wish>) {
        let rolls = self.program.song.rolls();
        let (name, fill, ink, about) = if rolls {
            (
                "Stop",
                look.accent,
                look.card,
                "Stops the song where it is (Ctrl+Enter).",
            )
        } else {
            (
                "Start",
                look.paper,
                look.ink,
                "Rolls the song from where it is (Ctrl+Enter).",
            )
        };
        let words = RichText::new(name).size(16.0).color(ink);
        let button = Button::new(words)
            .fill(fill)
            .stroke(Stroke::new(1.5, look.accent))
            .min_size(vec2(66.0, ROW));
        if ui.add(button).on_hover_text(about).clicked() {
            wishes.push(self.roll());
        }
    }

    /// Where the song is; a click on it types another place.
    fn place(
        &mut self,
        ui: &mut Ui,
        roomy: bool,
        beats_per_bar: f64,
        look: &Look,
        wishes: &mut Vec<Wish>,
    ) {
        let song = &self.program.song;
        if roomy {
            let back = ui.add(Button::new("Bar 1").min_size(vec2(0.0, ROW)));
            if back
                .on_hover_text("Goes back to the beginning of the song.")
                .clicked()
            {
                wishes.push(Wish::Song(SongWish::GoTo(0.0)));
            }
        }
        let (position, tempo) = (song.position(), song.tempo());
        if let Some(typed) = &mut self.typing {
            let field = TextEdit::singleline(typed)
                .desired_width(76.0)
                .hint_text("bar.beat");
            let field = ui.add(field).accessible_name("Place in the song");
            let (entered, given_up) = ui.input(|input| {
                (
                    input.key_pressed(Key::Enter),
                    input.key_pressed(Key::Escape),
                )
            });
            if entered {
                wishes.push(match place(typed, beats_per_bar, tempo) {
                    Some(place) => Wish::Song(SongWish::GoTo(place)),
                    None => Wish::Say(format!(
                        "\"{typed}\" is not a place in the song: type a bar, a bar and its beat, or \
                         a time, like 12, 12.3 or 1:30."
                    )),
                });
            }
            if entered || given_up || field.lost_focus() {
                self.typing = None;
            } else {
                field.request_focus();
            }
            return;
        }
        let words = format!(
            "{}  {}",
            bar_and_beat(position, beats_per_bar),
            minutes(position, tempo)
        );
        let words = RichText::new(words).size(16.0).color(look.ink);
        let button = Button::new(words).min_size(vec2(98.0, ROW));
        let button = ui.add(button);
        button.widget_info(|| {
            let mut info = egui::WidgetInfo::labeled(egui::Role::Button, true, "Place");
            info.current_text_value = Some(bar_and_beat(position, beats_per_bar));
            info
        });
        let about = "Bar and beat of the song, and the time at this tempo. Click to type another \
                     place: 12, 12.3 or 1:30.";
        if button.on_hover_text(about).clicked() {
            self.typing = Some(String::new());
        }
    }

    fn tempo(&self, ui: &mut Ui, wishes: &mut Vec<Wish>) {
        let mut tempo = self.program.song.tempo();
        let field = DragValue::new(&mut tempo)
            .range(TEMPOS)
            .speed(0.2)
            .max_decimals(2)
            .suffix(" bpm")
            .update_while_editing(false);
        let field = ui
            .add_sized(vec2(84.0, ROW), field)
            .accessible_name("Tempo");
        if field.changed() {
            wishes.push(Wish::Song(SongWish::Tempo(tempo)));
        }
        field.on_hover_text(
            "Quarter notes a minute, 20 to 300: drag, or click and type. It is kept with the project.",
        );
    }

    fn line(&self, ui: &mut Ui, look: &Look) {
        let now = ui.input(|input| input.time);
        let (line, come) = (&self.program.line, &self.watch.come);
        let told = [
            audio(line, come, now - self.watch.block_at),
            midi(line, come, now - self.watch.note_at),
        ];
        let (_, room) = ui.allocate_space(ui.available_size());
        let column = UiBuilder::new()
            .id_salt("line")
            .max_rect(room)
            .layout(Layout::top_down(Align::Min));
        let mut column = ui.new_child(column);
        column.spacing_mut().item_spacing.y = 1.0;
        column.spacing_mut().interact_size.y = 14.0;
        for (tone, text) in told {
            let words = RichText::new(text).size(11.5).color(ink(tone, look));
            let label = Label::new(words).truncate().sense(Sense::hover());
            column.add(label).on_hover_text(about(line, come));
        }
    }

    fn project(&mut self, ui: &mut Ui, look: &Look) {
        let name = self
            .project
            .name()
            .unwrap_or_else(|| "New project".to_owned());
        let changed = self.project.has_changed();
        let short: String = match name.chars().count() {
            0..=18 => name,
            _ => name.chars().take(17).chain(['…']).collect(),
        };
        let words = if changed {
            format!("{short}, not saved")
        } else {
            short
        };
        let words = RichText::new(words).color(look.ink);
        let edge = if self.card { look.accent } else { look.edge };
        let button = Button::new(words)
            .stroke(Stroke::new(1.0, edge))
            .min_size(vec2(96.0, ROW));
        let button = ui.add(button).on_hover_text(
            "The project: all that a host would keep of Procession, and the tempo. Opens and saves \
             it (Ctrl+O, Ctrl+S).",
        );
        if button.clicked() {
            self.card = !self.card;
            self.project.decline();
        }
    }

    fn card(&mut self, ui: &Ui, strip: Rect, parameters: &Parameters, look: &Look) {
        let width = CARD.min(strip.width() - 40.0);
        let at = pos2(strip.max.x - width - 30.0, strip.max.y + 2.0);
        let shown = Area::new(Id::unique("project card"))
            .order(Order::Foreground)
            .fixed_pos(at)
            .show(ui.ctx(), |ui| {
                framed(ui, look, |ui| {
                    ui.set_width(width);
                    self.typed_path(ui, look);
                    let mut done = false;
                    ui.horizontal(|ui| {
                        let (world, project) = self.split(parameters);
                        let open = ui
                            .button("Open")
                            .on_hover_text("Opens the project in that file.");
                        if open.clicked() {
                            project.open(world);
                        }
                        let save = ui
                            .button("Save")
                            .on_hover_text("Saves this project in that file.");
                        if save.clicked() {
                            project.save(world);
                        }
                        done = ui.button("Done").clicked();
                    });
                    self.said(ui, parameters, look);
                    self.offered(ui, parameters);
                    done
                })
            });
        let escaped = ui.input(|input| input.key_pressed(Key::Escape));
        if shown.inner || escaped {
            self.card = false;
            self.project.decline();
        }
    }

    fn typed_path(&mut self, ui: &mut Ui, look: &Look) -> Response {
        let hint = RichText::new("Path of a project file").color(look.quiet);
        let field = TextEdit::singleline(&mut self.project.typed)
            .hint_text(hint)
            .desired_width(ui.available_width());
        let field = ui.add(field).accessible_name("Project file");
        if field.changed() {
            self.project.decline();
        }
        field.on_hover_text("Where the project is, or is to be; ~ is your home.")
    }

    /// What is said, and what is asked. Whether the project was saved as an answer.
    fn said(&mut self, ui: &mut Ui, parameters: &Parameters, look: &Look) -> bool {
        let (world, project) = self.split(parameters);
        if let Some((tone, said)) = &project.said {
            let words = RichText::new(said).color(ink(*tone, look));
            ui.add(Label::new(words).wrap());
        }
        let (asked, agree, decline) = match &project.question {
            None => return false,
            Some(Question::Replace(path)) => (
                format!("{} is there already.", path.display()),
                "Replace",
                "Leave it",
            ),
            Some(Question::Discard(_)) => (
                "What is open now has not been saved, and would be gone.".to_owned(),
                "Open all the same",
                "Keep what is open",
            ),
        };
        ui.add(Label::new(RichText::new(asked).color(look.alarm)).wrap());
        let mut saved = false;
        ui.horizontal(|ui| {
            if ui.button(agree).clicked() {
                saved = project.agree(world);
            }
            if ui.button(decline).clicked() {
                project.decline();
            }
        });
        saved
    }

    fn offered(&mut self, ui: &mut Ui, parameters: &Parameters) {
        let (world, project) = self.split(parameters);
        if project.offered().is_none() {
            return;
        }
        ui.horizontal(|ui| {
            if ui.button("Open what was kept").clicked() {
                project.open_offered(world);
            }
            if ui.button("Delete it").clicked() {
                project.forget_offered();
            }
        });
    }

    /// The window is to close, and something would be lost.
    fn ask(&mut self, ui: &Ui, parameters: &Parameters, look: &Look) {
        let (world, project) = self.split(parameters);
        if !project.look(world) {
            self.close(ui);
            return;
        }
        self.card = false;
        Modal::new(Id::unique("closing")).show(ui.ctx(), |ui| {
            ui.set_width(CARD);
            let what = match self.project.name() {
                Some(name) => format!("\"{name}\" has changed since it was saved."),
                None => "This project has not been saved.".to_owned(),
            };
            ui.label(RichText::new(what).size(16.0).color(look.ink));
            self.typed_path(ui, look);
            let mut saved = false;
            ui.horizontal(|ui| {
                let (world, project) = self.split(parameters);
                if ui.button("Save and close").clicked() {
                    saved = project.save(world);
                }
                if ui.button("Close without saving").clicked() {
                    self.close(ui);
                }
                if ui.button("Go on").clicked() {
                    self.program.closing.call_off();
                    self.project.decline();
                }
            });
            saved |= self.said(ui, parameters, look);
            if saved {
                self.close(ui);
            }
        });
    }

    fn close(&mut self, ui: &Ui) {
        self.may_close = true;
        ui.ctx().send_viewport_cmd(ViewportCommand::Close);
    }
}

fn framed<R>(ui: &mut Ui, look: &Look, content: impl FnOnce(&mut Ui) -> R) -> R {
    Frame::popup(ui.style())
        .fill(look.card)
        .stroke(Stroke::new(1.0, look.edge))
        .show(ui, content)
        .inner
}

fn ink(tone: Tone, look: &Look) -> egui::Color32 {
    match tone {
        Tone::Plain => look.ink,
        Tone::Quiet => look.quiet,
        Tone::Alarm => look.alarm,
    }
}
