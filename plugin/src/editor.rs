//! The window.
//!
//! Every view is one file with one function, `show(ui, &Seen, ...) -> Vec<Wish>`: it reads what is
//! [`Seen`](seen::Seen), draws, and returns wishes. [`shell`] lays the views out and [`grant`]
//! turns wishes into parameter gestures and edited phrases, in one place. What a view draws is
//! worked out by the pure functions of [`model`], which are tested without a window.
//!
//! This file is the border to the framework: it opens the window and keeps its size.

pub mod about;
pub mod accidentals;
pub mod alignments;
pub mod around;
pub mod choice;
pub mod circle;
pub mod class;
pub mod compare;
pub mod field;
pub mod files;
pub mod focus;
pub mod grant;
pub mod handle;
pub mod header;
pub mod keep;
pub mod listen;
pub mod look;
pub mod model;
pub mod modulations;
pub mod notes;
pub mod order;
pub mod parameters;
pub mod phrase;
pub mod plan;
pub mod practice;
pub mod rehearsing;
pub mod route;
pub mod screen;
pub mod seen;
pub mod shell;
pub mod song;
pub mod sonority;
pub mod speech;
pub mod starts;
pub mod status;
pub mod tracing;
pub mod views;
pub mod welcome;
pub mod wish;

use crate::bell::{Bell, OpenWindow};
use crate::feed::FeedReader;
use crate::params::Parameters;
use crate::program::closing::{Closing, hear_signals};
use crate::program::{Program, start};
use crate::state::WindowSize;
use around::{Around, UnusedKeys};
use crossbeam::atomic::AtomicCell;
use grant::{Gesture, Host};
use handle::{Door, Handle, Line, Make, Place};
use model::layout::{SMALLEST, fitting};
use nice_plug::context::gui::GuiContext;
use nice_plug::editor::dpi::{LogicalSize, NativeSize};
use nice_plug::editor::{HostMethods, SizeConstraints, SpawnedEditor};
use nice_plug::prelude::{Editor, ParentWindowHandle, PluginApi, ResizeHint};
use nice_plug_egui::{
    EguiEditorState, EguiNiceSettings, Frame, GraphicsConfig, NiceEguiApp, baseview,
    create_egui_editor,
};
use screen::Screen;
use shell::Shell;
use std::error::Error;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

/// The host's end of the window, whichever thread it wants to be told on.
///
/// The window's thread is not the host's main thread on Linux. CLAP takes gestures from there;
/// VST3 wants them on the main thread, so they go round by the framework's queue for it.
#[derive(Clone, Default)]
pub struct HostsEnd {
    /// That of the window opened last. It knows the plug-in but does not keep it alive.
    context: Arc<Mutex<Option<GuiContext>>>,
}

impl HostsEnd {
    /// Makes a gesture that was sent round; on the main thread.
    pub fn make(&self, gesture: Gesture, parameters: &Parameters) {
        let context = self.lock().clone();
        if let Some(context) = context {
            gesture.make(parameters, &context.param_setter());
        }
    }

    fn lock(&self) -> MutexGuard<'_, Option<GuiContext>> {
        self.context.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Calls sketches up from outside the window, whether one is open or not.
pub struct Caller {
    shell: Arc<Mutex<Shell>>,
    hosts_end: HostsEnd,
    parameters: Arc<Parameters>,
}

impl Caller {
    /// Puts the sketch of a place, counted from 0, in place of what is there; on the main thread.
    ///
    /// Parameters go to the host through the window opened last, which need not be open any more.
    /// As long as none was opened since the plug-in was loaded there is no way to tell the host: the
    /// phrase, the route and what else is kept beside the parameters come, and the parameters with
    /// the opening of a window.
    pub fn call_up(&self, place: usize) {
        let context = self.hosts_end.lock().clone();
        let setter = context.as_ref().map(GuiContext::param_setter);
        let to_host = |gesture: Gesture| {
            if let Some(setter) = &setter {
                gesture.make(&self.parameters, setter);
            }
        };
        let host: Option<Host<'_>> = setter.as_ref().map(|_| &to_host as Host<'_>);
        in_order(&self.shell).call_up(place, host);
    }
}

/// The shell; whatever a frame that panicked left undone, the next one draws anew.
fn in_order(shell: &Mutex<Shell>) -> MutexGuard<'_, Shell> {
    shell.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Sends a gesture round to the main thread.
pub type SendRound = Arc<dyn Fn(Gesture) + Send + Sync>;

/// Opens the window, as often as the host likes; at most one is open at a time.
pub struct ProcessionEditor {
    parameters: Arc<Parameters>,
    shell: Arc<Mutex<Shell>>,
    bell: Bell,
    hosts_end: HostsEnd,
    send_round: Option<SendRound>,
    /// Pixels a logical point, as the last window found it.
    scale: Arc<AtomicCell<f32>>,
    /// In the program, who hears that it is to end.
    closing: Option<Arc<Closing>>,
}

impl ProcessionEditor {
    /// For one instance of the plug-in.
    pub fn new(parameters: Arc<Parameters>, feed: FeedReader, bell: Bell) -> Self {
        let shell = Shell::new(parameters.clone(), feed, bell.clone());
        Self {
            parameters,
            shell: Arc::new(Mutex::new(shell)),
            bell,
            hosts_end: HostsEnd::default(),
            send_round: None,
            scale: Arc::new(AtomicCell::new(1.0)),
            closing: None,
        }
    }

    /// In the program.
    pub fn of_program(self, program: Program) -> Self {
        let closing = Some(program.closing.clone());
        in_order(&self.shell).become_program(program);
        Self { closing, ..self }
    }

    /// Who is asked before the program ends, and who hears that it is to.
    fn door(&self) -> Option<Door> {
        let closing = self.closing.clone()?;
        start::window_opened();
        let (asked, rescued, signalled) =
            (self.shell.clone(), self.shell.clone(), self.shell.clone());
        hear_signals(closing, self.bell.clone(), move || {
            if let Some(said) = in_order(&signalled).rescue() {
                eprintln!("{said}");
            }
        });
        Some(Door {
            may_close: Box::new(move || in_order(&asked).may_close()),
            rescue: Box::new(move || in_order(&rescued).rescue()),
        })
    }

    /// The host's end, for whoever makes the gestures that are sent round.
    pub fn hosts_end(&self) -> HostsEnd {
        self.hosts_end.clone()
    }

    /// Whoever calls sketches up from outside the window.
    pub fn caller(&self) -> Caller {
        Caller {
            shell: self.shell.clone(),
            hosts_end: self.hosts_end.clone(),
            parameters: self.parameters.clone(),
        }
    }

    /// Makes a window, once the place for it is known.
    fn maker(&self, gui_context: GuiContext, host: Option<HostMethods>, line: Line) -> Make {
        *self.hosts_end.lock() = Some(gui_context.clone());
        let by_main_thread = gui_context.plugin_api() == PluginApi::Vst3;
        let send_round = self.send_round.clone().filter(|_| by_main_thread);
        let in_program = gui_context.plugin_api() == PluginApi::Standalone;
        let (shell, parameters) = (self.shell.clone(), self.parameters.clone());
        in_order(&shell).in_program(in_program);
        let (scale, bell) = (self.scale.clone(), self.bell.clone());
        let sizes = self.resize_hint();
        let mut host = host.map(|host| line.listen_to(host));
        Box::new(move |parent, fallback_scale_factor| {
            let settings = EguiNiceSettings::new()
                .with_tile("Procession")
                .with_resize_hint(sizes)
                .with_repaint_poll_interval(LISTENING)
                // Its noise smoothes gradients, of which there are none, at a price for every pixel.
                .with_graphics_config(GraphicsConfig {
                    dithering: false,
                    ..GraphicsConfig::default()
                });
            let known = parameters.kept.current().window;
            let size = LogicalSize::new(known.width as f32, known.height as f32);
            let window = Window {
                parent: parent.and_then(number_of),
                around: None,
                keys: UnusedKeys::default(),
                settled: false,
                line: line.clone(),
                moved: None,
                prepared: false,
                zoomed: known.zoom,
                screen: None,
                bell: bell.clone(),
                known,
                send_round: send_round.clone(),
                shell: shell.clone(),
                parameters: parameters.clone(),
                scale: scale.clone(),
                host: gui_context.clone(),
                open: Some(bell.open_window()),
            };
            let state = EguiEditorState::from_size(size, known.zoom);
            create_egui_editor(state, bell.notifier(), settings, window)
                .ok_or("the framework makes no window")?
                .spawn(
                    parent,
                    false,
                    fallback_scale_factor,
                    gui_context.clone(),
                    host.take(),
                )
        })
    }

    /// With a way round to the main thread.
    pub fn sending_round(self, send_round: SendRound) -> Self {
        Self {
            send_round: Some(send_round),
            ..self
        }
    }
}

impl Editor for ProcessionEditor {
    type Handle = Handle;

    // The framework's own editor knows its size from the start on; ours learns it from the
    // project, which is loaded later. So each window gets a new one.
    fn spawn(
        &self,
        parent: Option<ParentWindowHandle>,
        _wait_for_parent: bool,
        fallback_scale_factor: Option<f64>,
        gui_context: GuiContext,
        host: Option<HostMethods>,
    ) -> Result<SpawnedEditor<Self::Handle>, Box<dyn Error>> {
        let line = Line::default();
        let make = self.maker(gui_context, host, line.clone());
        let end = handle::End::new(self.bell.clone(), line);
        let place = if cfg!(target_os = "linux") && parent.is_none() {
            Place::waiting(make, fallback_scale_factor, end)
        } else {
            Place::made(make, parent, fallback_scale_factor, end)?
        };
        let place = place.behind(self.door());
        Ok(SpawnedEditor {
            handle: Handle {
                bell: self.bell.clone(),
                sizes: self.resize_hint(),
            },
            window: place,
        })
    }

    fn size(&self) -> NativeSize<u32> {
        let window = self.parameters.kept.current().window;
        let zoomed = |points: u32| points as f32 * window.zoom;
        NativeSize::from_size(
            LogicalSize::new(zoomed(window.width), zoomed(window.height)).into(),
            f64::from(self.scale.load()),
        )
    }

    fn resize_hint(&self) -> ResizeHint {
        ResizeHint {
            size_constraints: SizeConstraints::min_logical_size(LogicalSize::new(
                SMALLEST.x, SMALLEST.y,
            )),
            ..ResizeHint::RESIZABLE
        }
    }
}

/// The number of the host's window, on X11.
fn number_of(parent: ParentWindowHandle) -> Option<u32> {
    match parent {
        ParentWindowHandle::XlibWindow(number) => u32::try_from(number).ok(),
        ParentWindowHandle::XcbWindow(number) => Some(number.get()),
        _ => None,
    }
}

/// An open window.
struct Window {
    /// The host's, on X11.
    parent: Option<u32>,
    /// What lies around it, in a host on X11.
    around: Option<Around>,
    keys: UnusedKeys,
    /// Whether it is known to lie within the host's.
    settled: bool,
    line: Line,
    shell: Arc<Mutex<Shell>>,
    parameters: Arc<Parameters>,
    scale: Arc<AtomicCell<f32>>,
    host: GuiContext,
    /// If gestures have to be made on the main thread.
    send_round: Option<SendRound>,
    /// Its size and zoom as they were kept last: what differs was loaded since.
    known: WindowSize,
    /// When something moved last.
    moved: Option<Instant>,
    /// Whether egui knows how this window looks.
    prepared: bool,
    /// The zoom that was in force last.
    zoomed: f32,
    /// Where it is, if the system tells.
    screen: Option<Screen>,
    bell: Bell,
    /// Until the window's thread has it.
    open: Option<OpenWindow>,
}

/// Whether two windows have the same size and zoom.
fn is_as_large(one: WindowSize, other: WindowSize) -> bool {
    (one.width, one.height, one.zoom) == (other.width, other.height, other.zoom)
}

/// Whether the size that a window has come to is one to keep. On its way to its place it may pass
/// through sizes nobody has chosen, and one that was loaded meanwhile is still to be taken.
fn is_chosen(shorter_side: f64, kept: WindowSize, known: WindowSize) -> bool {
    shorter_side >= 100.0 && is_as_large(kept, known)
}

/// The framework clears in the values it is given, and draws in those of the screen.
fn as_cleared(colour: egui::Color32) -> egui::Rgba {
    let [red, green, blue, _] = colour.to_array().map(|part| f32::from(part) / 255.0);
    egui::Rgba::from_rgb(red, green, blue)
}

/// How often a window at rest looks whether something has changed.
const LISTENING: Duration = Duration::from_millis(100);

/// Between two drawings of a window in which something moves: a thirtieth of a second, and the
/// sixtieth that egui takes off every wait, being the time it thinks that a frame takes.
const FRAME: Duration = Duration::from_millis(50);

/// For so long after something moved, more is awaited: a long block of audio.
const MOVING: Duration = Duration::from_millis(200);

/// So long a host has to make room, once it was asked. One that takes longer is followed later.
const MAKING_ROOM: Duration = Duration::from_secs(1);

impl Window {
    /// Keys that are the host's go there.
    fn give_back_keys(&mut self, ctx: &egui::Context) {
        if let Some(around) = &self.around {
            for stroke in self.keys.take(ctx) {
                around.send_on(stroke);
            }
        }
    }

    /// After its size has changed, or the host's, the window comes to lie within the host's again.
    fn stay_within(&mut self, ctx: &egui::Context) {
        let Some(around) = &mut self.around else {
            return;
        };
        if around.has_changed() {
            self.settled = false;
            self.line.asked.store(Some(Instant::now()));
        }
        if self.settled {
            return;
        }
        let asked = self.line.asked.load();
        let had_its_time = asked.is_some_and(|asked| asked.elapsed() >= MAKING_ROOM);
        self.settled = around.is_settled(had_its_time);
        if !self.settled {
            ctx.request_repaint_after(LISTENING);
        }
    }

    fn tell(&self, gesture: Gesture) {
        match &self.send_round {
            Some(send_round) => send_round(gesture),
            None => gesture.make(&self.parameters, &self.host.param_setter()),
        }
    }

    fn shell(&self) -> MutexGuard<'_, Shell> {
        in_order(&self.shell)
    }

    fn keep(&mut self, change: impl FnOnce(&mut WindowSize)) {
        self.parameters.kept.edit(|kept| change(&mut kept.window));
        self.known = self.parameters.kept.current().window;
    }

    /// Keeps a window that was zoomed on its screen.
    fn fit_on_screen(&mut self, ui: &egui::Ui) {
        let zoom = ui.ctx().zoom_factor();
        if std::mem::replace(&mut self.zoomed, zoom) == zoom {
            return;
        }
        let Some(room) = self.screen.as_ref().and_then(Screen::room) else {
            return;
        };
        let points = ui.ctx().content_rect().size();
        let (fits, size) = fitting(self.known_size(), zoom, room / self.scale.load());
        if fits != zoom {
            ui.ctx().set_zoom_factor(fits);
        }
        if size != points || fits != zoom {
            ui.send_viewport_cmd(egui::ViewportCommand::InnerSize(size));
        }
    }

    fn known_size(&self) -> egui::Vec2 {
        egui::vec2(self.known.width as f32, self.known.height as f32)
    }

    /// Takes the size and the zoom of a project that was loaded while it is open.
    fn follow_load(&mut self, ui: &egui::Ui) {
        let loaded = self.parameters.kept.current().window;
        let before = std::mem::replace(&mut self.known, loaded);
        if loaded.zoom != before.zoom {
            ui.ctx().set_zoom_factor(loaded.zoom);
        }
        if !is_as_large(loaded, before) {
            let size = self.known_size();
            ui.send_viewport_cmd(egui::ViewportCommand::InnerSize(size));
        }
    }
}

impl NiceEguiApp for Window {
    // Nothing that wants to be drawn may be done here: see `handle`.
    fn build(
        &mut self,
        _: egui::Context,
        _: GuiContext,
        frame: &mut Frame,
    ) -> Result<(), baseview::HandlerError> {
        self.screen = Screen::of(frame.baseview_window());
        if let Some(screen) = &self.screen {
            let own = screen.window();
            self.line.window.store(own);
            self.line.asked.store(Some(Instant::now()));
            self.around = self.parent.and_then(|parent| Around::of(parent, own));
            screen.show_window();
        }
        if cfg!(target_os = "linux")
            && let Some(open) = self.open.take()
        {
            handle::open_while_this_thread_runs(open);
        }
        Ok(())
    }

    fn ui(&mut self, ui: &mut egui::Ui, frame: &mut Frame) {
        if !std::mem::replace(&mut self.prepared, true) {
            self.shell().prepare(ui.ctx());
        }
        let seen = self.screen.as_mut().is_none_or(Screen::shows_window);
        self.bell.heard(seen);
        self.give_back_keys(ui.ctx());
        self.stay_within(ui.ctx());
        self.follow_load(ui);
        self.fit_on_screen(ui);
        let shell = self.shell.clone();
        let mut shell = in_order(&shell);
        frame.set_clear_color(as_cleared(shell.look().paper));
        if shell.show(ui, &|gesture| self.tell(gesture)) {
            self.moved = Some(Instant::now());
        }
        let moves = self.moved.is_some_and(|moved| moved.elapsed() < MOVING);
        // What is slow is drawn whenever the window looks whether something has changed.
        if seen && moves && shell.is_lively() {
            ui.ctx().request_repaint_after(FRAME);
        }
    }

    fn resized(&mut self, new_size: baseview::WindowSize) {
        self.line.asked.store(None);
        self.settled = false;
        let points = new_size.logical;
        let kept = self.parameters.kept.current().window;
        let zoom = kept.zoom;
        self.scale.store(new_size.scale_factor as f32 / zoom);
        if is_chosen(points.width.min(points.height), kept, self.known) {
            self.keep(|window| {
                window.width = points.width.round() as u32;
                window.height = points.height.round() as u32;
            });
        }
    }

    fn zoom_factor_changed(&mut self, zoom_factor: f32) {
        self.keep(|window| window.zoom = zoom_factor);
    }
}

impl Drop for Window {
    fn drop(&mut self) {
        // A window that is closed in the middle of a drag takes its hand off.
        self.shell().let_go(&|gesture| self.tell(gesture));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_size_that_was_just_loaded_is_not_written_over_by_the_one_before() {
        let known = WindowSize {
            width: 960,
            height: 640,
            zoom: 1.0,
            dark: false,
        };
        let loaded = WindowSize {
            width: known.width + 100,
            ..known
        };
        let dark = WindowSize {
            dark: !known.dark,
            ..known
        };
        assert!(!is_chosen(640.0, loaded, known));
        assert!(is_chosen(640.0, known, known));
        assert!(is_chosen(640.0, dark, known), "a look has no size");
        assert!(!is_chosen(1.0, known, known), "on its way to its place");
    }
}
