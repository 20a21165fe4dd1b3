//! A window in the hands of the framework, with two of the framework's faults on Linux worked
//! around (baseview 0.4.2).
//!
//! - A window that is asked to draw before it is shown never draws at all: the one answer it then
//!   waits for went by before it listened (`x11/present.rs`: the request is sent whenever somebody
//!   wants a redraw, but answers are asked for at mapping only). Hosts make a window, give it a
//!   parent and show it, with as much time in between as they like, and the framework itself asks
//!   for a redraw a poll interval after making it. So ours is made with its parent, or for the
//!   program when it is run; it is shown while it is made, before its thread looks at anything
//!   (`Window::build`); and it is dressed in its first frame, since fonts and styles ask for a
//!   redraw.
//! - When a window is closed, the framework asks its thread to stop and means to wait for it. If
//!   the thread is quick to stop hearing, it does not wait (`x11/window_thread.rs`: the request in
//!   `run_until_closed` fails with a warning, and the join is left out). A process that ends in that
//!   moment crashes in what the graphics driver left to be done at exit. So the window is asked to
//!   close, and waited for, before it is dropped; then there is nothing to warn of.
//!
//! A window that is asked to close closes, and the framework asks nobody. The program has something
//! to lose, so here its window is made again, with the question in it, until it may close.

use crate::bell::{Bell, OpenWindow};
use crate::editor::around::ask_to_close;
use crossbeam::atomic::AtomicCell;
use nice_plug::editor::dpi::{NativeSize, Size};
use nice_plug::editor::{
    EditorHandle, HostCallbacks, HostMainThreadCaller, HostMethods, ParentWindowHandle, ResizeHint,
    SpawnedEditor,
};
use nice_plug_egui::{EguiEditorHandle, baseview};
use std::cell::RefCell;
use std::error::Error;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// Longer than any thread takes to leave; a host that hangs is worse than one that crashes at exit.
const PATIENCE: Duration = Duration::from_secs(2);

thread_local! {
    /// Goes when the window's thread has gone through everything else.
    static LEAVING: RefCell<Option<OpenWindow>> = const { RefCell::new(None) };
}

/// Says that the window is open for as long as this thread runs.
pub fn open_while_this_thread_runs(open: OpenWindow) {
    LEAVING.set(Some(open));
}

/// Makes the window, in a parent if there is one, on a screen of that scale if the system tells
/// none.
pub type Make = Box<
    dyn FnMut(
        Option<ParentWindowHandle>,
        Option<f64>,
    ) -> Result<SpawnedEditor<EguiEditorHandle>, Box<dyn Error>>,
>;

/// What the window's thread and the host's know of each other.
#[derive(Clone, Debug, Default)]
pub struct Line {
    /// The window's number on X11, once there is one.
    pub window: Arc<AtomicCell<u32>>,
    /// When the host was last asked for the size that the window has.
    pub asked: Arc<AtomicCell<Option<Instant>>>,
    /// Whether the host closes the window: what the window still has to say is no news then.
    closing: Arc<AtomicBool>,
}

impl Line {
    /// The host's end, which passes through here.
    pub fn listen_to(&self, host: HostMethods) -> HostMethods {
        HostMethods {
            callbacks: Box::new(Listening(host.callbacks, self.clone())),
            main_thread_caller: Box::new(Listening(host.main_thread_caller, self.clone())),
        }
    }
}

/// A host, with an ear on what it is asked.
struct Listening<T: ?Sized>(Box<T>, Line);

impl HostCallbacks for Listening<dyn HostCallbacks> {
    fn request_resize(&mut self, new_size: Size, scale: f64) -> Result<(), Box<dyn Error>> {
        let answer = self.0.request_resize(new_size, scale);
        self.1.asked.store(Some(Instant::now()));
        answer
    }

    fn destroyed(&mut self) {
        self.0.destroyed();
    }
}

impl HostMainThreadCaller for Listening<dyn HostMainThreadCaller> {
    fn call_main_thread(&mut self) {
        if !self.1.closing.load(Ordering::Relaxed) {
            self.0.call_main_thread();
        }
    }
}

/// How a window ends.
#[derive(Clone, Debug)]
pub struct End {
    bell: Bell,
    line: Line,
}

impl End {
    /// Of the window that is open while the bell says so.
    pub fn new(bell: Bell, line: Line) -> Self {
        Self { bell, line }
    }

    /// Asks the window to close, and waits until its thread has gone through everything.
    fn ask(&self) {
        self.line.closing.store(true, Ordering::Relaxed);
        if ask_to_close(self.line.window.load()) {
            self.wait();
        }
    }

    fn wait(&self) {
        let until = Instant::now() + PATIENCE;
        while self.bell.is_window_open() && Instant::now() < until {
            std::thread::sleep(Duration::from_millis(1));
        }
    }
}

/// A window, made or still to be made.
pub struct Place {
    make: RefCell<Make>,
    stage: RefCell<Stage>,
    end: End,
    /// Of the program alone.
    door: Option<Door>,
}

/// Who is asked before the program ends.
pub struct Door {
    /// Whether the window may stay closed.
    pub may_close: Box<dyn Fn() -> bool>,
    /// What is done where no window can be made to ask in; what is to be said of it.
    pub rescue: Box<dyn Fn() -> Option<String>>,
}

enum Stage {
    /// The host has not said where; meanwhile it may have told the scale of its screen.
    ToBeMade(Option<f64>),
    Made(EguiEditorHandle, baseview::Window),
    /// It could not be made, or it is closed.
    None,
}

/// Why a window cannot do what the host wants.
#[derive(Debug, thiserror::Error)]
#[error("{0}")]
pub struct Refusal(String);

impl Place {
    /// For a window that is made when the host says where.
    pub fn waiting(make: Make, scale: Option<f64>, end: End) -> Self {
        Self {
            make: RefCell::new(make),
            stage: RefCell::new(Stage::ToBeMade(scale)),
            end,
            door: None,
        }
    }

    /// With the window made at once.
    ///
    /// # Errors
    /// It cannot be made.
    pub fn made(
        mut make: Make,
        parent: Option<ParentWindowHandle>,
        scale: Option<f64>,
        end: End,
    ) -> Result<Self, Box<dyn Error>> {
        let made = make(parent, scale)?;
        Ok(Self {
            make: RefCell::new(make),
            stage: RefCell::new(Stage::Made(made.handle, made.window)),
            end,
            door: None,
        })
    }

    /// With somebody to ask before the program ends.
    pub fn behind(mut self, door: Option<Door>) -> Self {
        self.door = door;
        self
    }

    /// Makes the window if it is not made, and shows it. Whether it was made now.
    fn make(&self, parent: Option<ParentWindowHandle>) -> Result<bool, Refusal> {
        let mut stage = self.stage.borrow_mut();
        match std::mem::replace(&mut *stage, Stage::None) {
            Stage::ToBeMade(scale) => {
                let mut make = self.make.borrow_mut();
                let made = make(parent, scale).map_err(|error| Refusal(error.to_string()))?;
                let shown = made.handle.show(&made.window).map_err(refusal);
                *stage = Stage::Made(made.handle, made.window);
                shown.map(|()| true)
            }
            other => {
                *stage = other;
                Ok(false)
            }
        }
    }

    /// Shows the window until it is closed, by whomever.
    fn run(&self) -> Result<(), Refusal> {
        self.make(None)?;
        match self.stage.replace(Stage::None) {
            Stage::Made(_, window) => window.run_until_closed().map_err(refusal),
            Stage::ToBeMade(..) | Stage::None => Ok(()),
        }
    }

    /// Asks the window, if it is made.
    fn ask(
        &self,
        ask: impl FnOnce(&EguiEditorHandle, &baseview::Window) -> Result<(), baseview::Error>,
    ) -> Result<(), Refusal> {
        match &*self.stage.borrow() {
            Stage::Made(handle, window) => ask(handle, window).map_err(refusal),
            Stage::ToBeMade(..) | Stage::None => Ok(()),
        }
    }
}

fn refusal(error: baseview::Error) -> Refusal {
    Refusal(error.to_string())
}

impl Drop for Place {
    fn drop(&mut self) {
        let was_made = matches!(*self.stage.borrow(), Stage::Made(..));
        if cfg!(target_os = "linux") && was_made {
            self.end.ask();
            self.stage.replace(Stage::None);
            self.end.wait();
        }
    }
}

/// What the framework tells a window of, from any thread.
pub struct Handle {
    /// Rung to have the window drawn.
    pub bell: Bell,
    /// What sizes there may be.
    pub sizes: ResizeHint,
}

impl EditorHandle for Handle {
    type Window = Place;
    type Error = Refusal;

    fn run_until_closed(place: Place) -> Result<(), Refusal> {
        loop {
            let ran = place.run();
            let Some(door) = &place.door else { return ran };
            if ran.is_err()
                && let Some(said) = (door.rescue)()
            {
                eprintln!("{said}");
            }
            if ran.is_err() || (door.may_close)() {
                return ran;
            }
            place.stage.replace(Stage::ToBeMade(None));
        }
    }

    fn set_parent(&self, parent: ParentWindowHandle, place: &Place) -> Result<(), Refusal> {
        if place.make(Some(parent))? {
            return Ok(());
        }
        place.ask(|handle, window| handle.set_parent(parent, window))
    }

    fn show(&self, place: &Place) -> Result<(), Refusal> {
        if place.make(None)? {
            return Ok(());
        }
        place.ask(|handle, window| handle.show(window))
    }

    fn hide(&self, place: &Place) -> Result<(), Refusal> {
        place.ask(|handle, window| handle.hide(window))
    }

    fn set_size(&self, size: NativeSize<u32>, place: &Place) -> Result<(), Refusal> {
        place.ask(|handle, window| handle.set_size(size, window))
    }

    fn host_main_thread_callback(&self, place: &Place) {
        if let Stage::Made(handle, window) = &*place.stage.borrow() {
            handle.host_main_thread_callback(window);
        }
    }

    fn adjust_size(&self, size: NativeSize<u32>, place: &Place) -> Option<NativeSize<u32>> {
        match &*place.stage.borrow() {
            Stage::Made(handle, window) => handle.adjust_size(size, window),
            Stage::ToBeMade(scale) => {
                Some(self.sizes.adjust_size(size, size, scale.unwrap_or(1.0)))
            }
            Stage::None => None,
        }
    }

    fn set_fallback_scale_factor(&self, scale: f64, place: &Place) -> Result<(), Refusal> {
        if let Stage::ToBeMade(told) = &mut *place.stage.borrow_mut() {
            *told = Some(scale);
            return Ok(());
        }
        place.ask(|handle, window| handle.set_fallback_scale_factor(scale, window))
    }

    fn state_changed(&self) {
        self.bell.ring();
    }

    fn param_value_changed(&self, _: &str, _: f32) {
        self.bell.ring();
    }

    fn param_modulation_changed(&self, _: &str, _: f32) {
        self.bell.ring();
    }
}
