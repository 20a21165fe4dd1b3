//! The shell: keeps what is [`Seen`] up to date, lays the views out, and has wishes granted.

use crate::bell::Bell;
use crate::editor::class::{self, ClassState};
use crate::editor::focus;
use crate::editor::grant::{Granter, Host, Instance};
use crate::editor::header::{self, Asked, Head};
use crate::editor::keep;
use crate::editor::look::{Look, Theme};
use crate::editor::model::layout::{Layout, SMALLEST, View};
use crate::editor::model::practice::Stamina;
use crate::editor::model::status::{Status, WindowState, progress, status};
use crate::editor::order::InOrder;
use crate::editor::parameters::{self, ParametersState};
use crate::editor::plan::lets_go;
use crate::editor::rehearsing::Going;
use crate::editor::seen::{Seen, Spoken};
use crate::editor::song::{self, ProgramStrip};
use crate::editor::tracing::Tracing;
use crate::editor::views::{Views, choose};
use crate::editor::wish::Wish;
use crate::editor::{status as status_line, welcome};
use crate::feed::{FeedReader, Snapshot};
use crate::files::{Speaker, Writing};
use crate::params::Parameters;
use crate::program::Program;
use egui::{CornerRadius, Key, Modifiers, Rect, Stroke, StrokeKind, Ui, UiBuilder, vec2};
use nice_plug_egui::resizable_window::ResizableWindow;
use procession_core::part::MAX_PARTS;
use procession_core::practice::Practising;
use std::sync::Arc;

/// So long a view's word stands on the status line, in seconds.
const SAID_FOR: f64 = 8.0;

/// Between two looks at whether the curve of a recording is known.
const TRACING: std::time::Duration = std::time::Duration::from_millis(30);

/// Between two looks at how far the writing of files has come.
const WRITING: std::time::Duration = std::time::Duration::from_millis(100);

/// All of the window but its border to the framework. It outlives the window, so that opening it
/// again shows what was shown before.
pub struct Shell {
    parameters: Arc<Parameters>,
    feed: FeedReader,
    bell: Bell,
    /// Large, and so not on the stack of the host's or the window's thread.
    seen: Option<Box<Seen>>,
    granter: Granter,
    tracing: Tracing,
    /// Large: they remember the phrases they were drawn from.
    views: Box<Views>,
    parameters_state: ParametersState,
    /// The view that was chosen, once one was.
    chosen: Option<View>,
    /// What a view wanted to have said, and until when it stands.
    said: Option<(String, f64)>,
    misses: Misses,
    ear: Ear,
    stamina: Stamina,
    class: ClassState,
    /// The theme that egui has been told.
    dressed: Option<Theme>,
    /// Whether it is the window of the program, and not in a host's.
    in_program: bool,
    /// What the program has besides.
    program: Option<Box<ProgramStrip>>,
}

/// So long a struck key is shown at least, in seconds: playing fast it stands still, playing slowly
/// it never comes and goes more than three times a second.
const HEARD_FOR: f64 = 0.4;

/// Notices whether somebody plays.
#[derive(Clone, Copy, Debug, Default)]
struct Ear {
    strikes: Option<u32>,
    /// When a key was struck last, by the window's time.
    at: Option<f64>,
}

impl Ear {
    /// How much longer it is to be shown that somebody plays, if it is. Times are in seconds.
    fn hears(&mut self, now: f64, struck: u32) -> Option<f64> {
        if self
            .strikes
            .replace(struck)
            .is_some_and(|before| before != struck)
        {
            self.at = Some(now);
        }
        // A window that was opened anew counts its time from 0.
        let since = self.at.map(|at| now - at);
        since
            .filter(|since| (0.0..HEARD_FOR).contains(since))
            .map(|since| HEARD_FOR - since)
    }
}

/// Notices whether hold was asked for with nothing played. Whoever wrote the phrase need not play
/// it.
#[derive(Clone, Copy, Debug, Default)]
struct Misses {
    nothing_played: Option<u32>,
    taken: u32,
    written: bool,
    last_missed: bool,
}

impl Misses {
    fn follow(&mut self, snapshot: &Snapshot, hold: bool) -> bool {
        let before = self.nothing_played.replace(snapshot.nothing_played);
        if before.is_some_and(|before| before != snapshot.nothing_played) {
            self.last_missed = !self.written;
        }
        if snapshot.taken != self.taken {
            self.written = false;
        }
        if snapshot.taken != self.taken || !hold {
            self.last_missed = false;
        }
        self.taken = snapshot.taken;
        self.last_missed
    }
}

impl Shell {
    /// For one instance of the plug-in.
    pub fn new(parameters: Arc<Parameters>, feed: FeedReader, bell: Bell) -> Self {
        Self {
            parameters,
            feed,
            bell,
            seen: None,
            granter: Granter::default(),
            tracing: Tracing::default(),
            views: Box::default(),
            parameters_state: ParametersState::default(),
            chosen: None,
            said: None,
            misses: Misses::default(),
            ear: Ear::default(),
            stamina: Stamina::default(),
            class: ClassState::default(),
            dressed: None,
            in_program: false,
            program: None,
        }
    }

    /// Whether it is the window of the program: there Space is Hold. In a host it is the host's.
    pub fn in_program(&mut self, in_program: bool) {
        self.in_program = in_program;
    }

    /// In the program.
    pub fn become_program(&mut self, program: Program) {
        self.granter.song = Some(program.song.clone());
        self.program = Some(Box::new(ProgramStrip::new(program, &self.parameters)));
    }

    /// The sketch of a place, counted from 0, takes the place of what is there; `host` makes the
    /// gestures, if there is one to be told.
    pub fn call_up(&mut self, place: usize, host: Option<Host<'_>>) {
        self.granter.comparing.alone(&self.bell);
        self.granter.call_up(place, &self.parameters, host);
    }

    /// Whether the window may close. If not, what stands against it is asked in the next window.
    pub fn may_close(&mut self) -> bool {
        let parameters = &self.parameters;
        self.program
            .as_mut()
            .is_none_or(|program| program.may_close(parameters))
    }

    /// The program must end, and nobody can be asked: what became of what was not saved.
    pub fn rescue(&mut self) -> Option<String> {
        self.program.as_mut()?.rescue(&self.parameters)
    }

    /// A new window is about to show this.
    pub fn prepare(&mut self, ctx: &egui::Context) {
        crate::editor::look::prepare(ctx);
        ctx.add_plugin(InOrder::default());
        self.dressed = None;
    }

    /// Shows that view, as if its word were clicked.
    pub fn choose(&mut self, view: View) {
        self.chosen = Some(view);
    }

    /// The look in force.
    pub fn look(&self) -> Look {
        Look::of(self.theme())
    }

    fn theme(&self) -> Theme {
        if self.parameters.kept.current().window.dark {
            Theme::Dark
        } else {
            Theme::Light
        }
    }

    /// A frame. Whether the audio thread has moved on since the last one.
    pub fn show(&mut self, ui: &mut Ui, host: Host<'_>) -> bool {
        let before = self.seen.as_ref().map(|seen| seen.snapshot);
        let look = self.look();
        self.dress(ui.ctx());
        let space = space(ui);
        let seen = self.see(ui);
        let begins = seen.snapshot.playing && before.is_some_and(|before| !before.playing);
        if seen.own_song && begins {
            self.views.let_go_of_stage();
        }
        self.granter.pay(&self.parameters, host);
        let window = WindowState {
            bypass: self.parameters.bypass(),
            nothing_played: self.misses.follow(&seen.snapshot, seen.hold),
        };
        let mut line = self.with_what_was_said(status(&seen, window));
        let now = ui.input(|input| input.time);
        let waits = self.granter.listening.waits(&seen.snapshot, now);
        line.problems.extend(waits.map(str::to_owned));
        let practises = seen.rehearsing == Going::Practice;
        let pause = self.stamina.follow(now, seen.snapshot.struck, practises);
        line.problems.extend(pause.map(str::to_owned));
        let mut wishes = ResizableWindow::new("procession")
            .min_size(SMALLEST)
            .show(ui, |ui| self.rooms(ui, &seen, &line, &look))
            .inner;
        focus::ring(ui.ctx(), &look);
        if seen.hearing.is_some() && lets_go(ui) {
            wishes.push(Wish::Hush);
        }
        if space && self.in_program {
            let other = if seen.hold { "Off" } else { "On" };
            wishes.push(Wish::Type("hold", other.to_owned()));
        }
        // Whatever happened to the widget it held, a hand that presses nothing holds nothing.
        let pressed = ui.input(|input| input.pointer.any_down());
        if !wishes.is_empty() {
            // What was granted is to be seen at once.
            ui.ctx().request_repaint();
        }
        for wish in wishes {
            let instance = Instance {
                parameters: &self.parameters,
                bell: &self.bell,
                host,
            };
            self.granter.grant(wish, &seen, instance);
        }
        if !pressed {
            self.granter.let_go_of_all(host);
        }
        self.misses.written |= self.granter.take_wrote();
        if self.granter.take_granted() {
            // What was refused, or said of the edit before, is over.
            self.said = None;
        }
        if let Some(text) = self.granter.take_said() {
            self.said = Some((text, ui.input(|input| input.time) + SAID_FOR));
            ui.ctx().request_repaint();
        }
        let moved = before.map(what_is_seen) != Some(what_is_seen(seen.snapshot));
        self.seen = Some(seen);
        moved
    }

    /// Whether something is shown that moves fast while the process plays.
    pub fn is_lively(&self) -> bool {
        self.views.are_lively() || self.granter.shows_to_class
    }

    /// The window closes: every gesture ends.
    pub fn let_go(&mut self, host: Host<'_>) {
        if let Some(seen) = &self.seen {
            let instance = Instance {
                parameters: &self.parameters,
                bell: &self.bell,
                host,
            };
            for wish in self.class.let_go() {
                self.granter.grant(wish, seen, instance);
            }
        }
        self.granter.listening.end(&self.parameters);
        self.granter.comparing.alone(&self.bell);
        self.granter.rehearsing.end();
        self.parameters.kept.practise(Practising::Not);
        self.granter.let_go_of_all(host);
    }

    /// The moment to be drawn. Works out what follows from phrase and settings only if one of
    /// them has changed.
    fn see(&mut self, ui: &Ui) -> Box<Seen> {
        let snapshot = self.feed.look();
        let kept = self.parameters.kept.current();
        let settings = self.parameters.settings(&kept);
        let taken = &kept.taken;
        let loads = self.parameters.kept.loads();
        self.granter.follow(&kept, loads, &self.bell);
        let mut seen = match self.seen.take() {
            Some(mut seen) => {
                seen.follow(snapshot, &taken.phrase, settings, taken.anchor);
                seen
            }
            None => {
                let phrase = taken.phrase.clone();
                Box::new(Seen::new(snapshot, phrase, settings, taken.anchor))
            }
        };
        seen.follow_route(&kept.route);
        seen.follow_performed(&kept.performed);
        seen.takes.clone_from(&kept.takes);
        seen.sketches.clone_from(&kept.sketches);
        seen.comes = kept.comes;
        if self.granter.comparing.follow(&self.bell) {
            ui.ctx().request_repaint_after(WRITING);
        }
        seen.compared = self.granter.comparing.seen();
        seen.hold = self.parameters.hold();
        seen.beginning = self.parameters.beginning(&kept);
        seen.own_song = self.program.is_some();
        let now = ui.input(|input| input.time);
        if let Some(refusal) = self.granter.listening.refused(&snapshot) {
            self.said = Some((refusal.to_owned(), now + SAID_FOR));
        }
        seen.hearing = self.granter.listening.follow(&snapshot);
        seen.practice.clone_from(&kept.practice);
        if let Some(refusal) = self.granter.rehearsing.follow(&seen, &self.parameters) {
            self.said = Some((refusal.to_owned(), now + SAID_FOR));
        }
        seen.rehearsing = self.granter.rehearsing.going();
        seen.curve = self.tracing.follow(kept.voice.as_ref());
        if self.tracing.works() {
            ui.ctx().request_repaint_after(TRACING);
        }
        seen.speaker = kept.voice.as_ref().map(|voice| Speaker {
            utterance: voice.utterance().clone(),
            along: self.parameters.along(),
            audition: self.parameters.audition(),
        });
        seen.spoken = Spoken::at(&self.parameters.kept.booth());
        if let Some((_, until)) = &self.said {
            let left = *until - now;
            if left <= 0.0 || left > SAID_FOR {
                self.said = None;
            } else {
                let left = std::time::Duration::from_secs_f64(left);
                ui.ctx().request_repaint_after(left);
            }
        }
        seen.writing = self.granter.writing();
        if matches!(seen.writing.writing, Writing::Going { .. }) {
            ui.ctx().request_repaint_after(WRITING);
        }
        seen.notice = self.parameters.kept.notice().map(|notice| notice.0);
        seen
    }

    fn with_what_was_said(&self, mut status: Status) -> Status {
        if let Some((text, _)) = &self.said {
            status.problems.insert(0, text.clone());
        }
        status
    }

    fn dress(&mut self, ctx: &egui::Context) {
        let theme = self.theme();
        if self.dressed != Some(theme) {
            crate::editor::look::dress(ctx, theme);
            self.dressed = Some(theme);
        }
    }

    fn rooms(&mut self, ui: &mut Ui, seen: &Seen, line: &Status, look: &Look) -> Vec<Wish> {
        if self.granter.shows_to_class {
            return class::show(ui, seen, look, &mut self.class);
        }
        let window = ui.max_rect();
        let strip = if self.program.is_some() {
            song::HEIGHT
        } else {
            0.0
        };
        let below = window.with_min_y(window.min.y + strip);
        let mut layout = Layout::new(below, status_line::height(ui, line, window.width()));
        layout.header = layout.header.translate(vec2(0.0, -strip));
        let layout = if seen.phrase().is_empty() {
            layout.with_nothing_on_the_circle()
        } else {
            layout
        };
        let now = ui.input(|input| input.time);
        let left = self.ear.hears(now, seen.snapshot.struck);
        if let Some(left) = left {
            let left = std::time::Duration::from_secs_f64(left);
            ui.ctx().request_repaint_after(left);
        }
        let history = self.granter.history();
        let head = Head {
            undo: history.past().next().cloned(),
            redo: history.future().next().cloned(),
            hold: seen.hold,
            hears: left.is_some(),
            on_cue: seen.process.voices().are_cued(),
            progress: progress(seen),
            theme: self.theme(),
            zoom: ui.ctx().zoom_factor(),
        };
        let asked = header::show(ui, layout.header, &head, look);
        let mut wishes = self.ask(ui, asked);
        wishes.extend(header::keys(ui));
        wishes.extend(keep::flips(ui));
        if let Some(program) = &mut self.program {
            let top = layout.header.max.y;
            let room = Rect::from_x_y_ranges(window.x_range(), top..=top + strip);
            let beats_per_bar = seen.snapshot.beats_per_bar;
            wishes.extend(program.keys(ui, &self.parameters));
            wishes.extend(program.show(ui, room, beats_per_bar, &self.parameters, look));
        }
        if let Some(room) = layout.parameters {
            wishes.extend(card(ui, room, look, |ui| {
                let parameters = &self.parameters;
                parameters::show(ui, parameters, seen, look, &mut self.parameters_state)
            }));
        }
        wishes.extend(self.views(ui, &layout, seen, look));
        status_line::show(ui, layout.status, line, look);
        wishes
    }

    fn views(&mut self, ui: &mut Ui, layout: &Layout, seen: &Seen, look: &Look) -> Vec<Wish> {
        let mut wishes = Vec::new();
        let unknown = seen.phrase().is_empty();
        let mut asked = false;
        match layout.plan {
            // It has nothing to show yet; what to do counts for more.
            Some(plan) if unknown => asked |= welcome(ui, plan, seen, look),
            _ => {
                for (room, view) in [(layout.plan, View::Plan), (layout.circle, View::Circle)] {
                    if let Some(room) = room {
                        wishes.extend(self.view_in(ui, room, view, seen, look));
                    }
                }
            }
        }
        self.chooser(ui, layout, seen, look);
        let chosen = self.chosen_view(layout, seen);
        let nothing_to_see = unknown && matches!(chosen, View::Circle | View::Plan);
        if nothing_to_see {
            asked |= welcome(ui, layout.chosen, seen, look);
        } else {
            let wished = self.view_in(ui, layout.chosen, chosen, seen, look);
            let touched = ui.input(|input| {
                let pressed = input.pointer.press_origin();
                pressed.is_some_and(|at| layout.chosen.contains(at))
            });
            if touched || !wished.is_empty() {
                // To touch a view is to choose it: it stays when its first note is written.
                self.chosen = Some(chosen);
            }
            wishes.extend(wished);
        }
        wishes.extend(self.views.end_frame());
        if asked {
            self.chosen = Some(View::Keep);
            self.views.show_starting_points();
            ui.ctx().request_repaint();
        }
        wishes
    }

    /// Until a view was chosen: where a phrase can be written while there is none.
    fn chosen_view(&self, layout: &Layout, seen: &Seen) -> View {
        let first = if seen.phrase().is_empty() && layout.plan.is_some() {
            View::Phrase
        } else {
            View::Circle
        };
        layout.chosen_view(self.chosen.unwrap_or(first))
    }

    fn chooser(&mut self, ui: &mut Ui, layout: &Layout, seen: &Seen, look: &Look) {
        let names: Vec<&str> = layout.choice.iter().map(|view| view.name()).collect();
        let chosen = self.chosen_view(layout, seen);
        let index = layout.choice.iter().position(|view| *view == chosen);
        let clicked = inside(ui, layout.chooser, "chooser", |ui| {
            let (first, second) = names.split_at(layout.in_first_row());
            let index = index.unwrap_or(0);
            let above = choose(ui, first, index, look);
            if second.is_empty() {
                return above;
            }
            let beyond = index.checked_sub(first.len()).unwrap_or(usize::MAX);
            let below = choose(ui, second, beyond, look);
            above.or(below.map(|place| first.len() + place))
        });
        if let Some(view) = clicked.and_then(|clicked| layout.choice.get(clicked)) {
            self.chosen = Some(*view);
        }
    }

    fn view_in(
        &mut self,
        ui: &mut Ui,
        room: Rect,
        view: View,
        seen: &Seen,
        look: &Look,
    ) -> Vec<Wish> {
        card(ui, room, look, |ui| match view {
            View::Parameters => {
                let parameters = &self.parameters;
                parameters::show(ui, parameters, seen, look, &mut self.parameters_state)
            }
            _ => self.views.show(view, ui, seen, look),
        })
    }

    /// Grants what was asked of the window itself; what is left is for the plug-in.
    fn ask(&mut self, ui: &Ui, asked: Asked) -> Vec<Wish> {
        if let Some(theme) = asked.theme {
            let dark = theme == Theme::Dark;
            self.parameters.kept.edit(|kept| kept.window.dark = dark);
            ui.ctx().request_repaint();
        }
        if let Some(zoom) = asked.zoom {
            ui.ctx().set_zoom_factor(zoom);
        }
        asked.wishes
    }
}

/// Whether Space was pressed while nobody types. It is taken away: no button in the window is
/// pressed by it.
fn space(ui: &Ui) -> bool {
    let types = ui.ctx().text_edit_focused();
    !types && ui.input_mut(|input| input.consume_key(Modifiers::NONE, Key::Space))
}

/// What of a moment can be seen: while nothing plays, no view shows where the song is.
fn what_is_seen(snapshot: Snapshot) -> Snapshot {
    if snapshot.running {
        return snapshot;
    }
    Snapshot {
        position: 0.0,
        ahead: [None; MAX_PARTS],
        ..snapshot
    }
}

/// What to do while there is no phrase. Whether starting points were asked for.
fn welcome(ui: &mut Ui, room: Rect, seen: &Seen, look: &Look) -> bool {
    card(ui, room, look, |ui| {
        welcome::show(ui, ui.max_rect(), seen.hold, look)
    })
}

/// A room of its own, with an edge.
fn card<R>(ui: &mut Ui, room: Rect, look: &Look, content: impl FnOnce(&mut Ui) -> R) -> R {
    ui.painter().rect(
        room,
        CornerRadius::same(6),
        look.card,
        Stroke::new(1.0, look.rule),
        StrokeKind::Inside,
    );
    let salt = (room.min.x as i32, room.min.y as i32);
    inside(ui, room.shrink(8.0), salt, content)
}

/// Within a room and nowhere else.
fn inside<R>(
    ui: &mut Ui,
    room: Rect,
    salt: impl egui::AsIdSalt,
    content: impl FnOnce(&mut Ui) -> R,
) -> R {
    let mut inner = ui.new_child(UiBuilder::new().id_salt(salt).max_rect(room));
    inner.shrink_clip_rect(room.expand(2.0));
    content(&mut inner)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What the ear shows at `times`, when a key is struck every `gap` seconds.
    fn shown(gap: f64, times: impl Iterator<Item = f64>) -> Vec<bool> {
        let mut ear = Ear::default();
        times
            .map(|time| ear.hears(time, (time / gap) as u32).is_some())
            .collect()
    }

    #[test]
    fn a_struck_key_is_seen_for_a_moment() {
        let times = [0.0, 0.9, 1.0, 1.3, 1.5, 1.9];
        assert_eq!(
            shown(1.0, times.into_iter()),
            [false, false, true, true, false, false]
        );
    }

    /// Harmful are flashes faster than three a second (WCAG 2.2, 2.3.1).
    #[test]
    fn however_fast_somebody_plays_nothing_flashes_faster_than_three_times_a_second() {
        for step in 1..60 {
            let gap = f64::from(step) * 0.02;
            let frames = (0..600).map(|frame| f64::from(frame) / 60.0);
            let seen = shown(gap, frames);
            let flashes = seen.windows(2).filter(|pair| !pair[0] && pair[1]).count();
            assert!(flashes <= 30, "{flashes} in 10 s, a key every {gap} s");
            assert!(flashes > 0);
        }
    }
}
