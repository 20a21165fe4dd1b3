//! The plug-in's own window inside one of ours, on X11.

use crate::host::Error;
use std::cell::RefCell;
use std::ffi::c_void;
use std::time::{Duration, Instant};
use vst3::Steinberg::Linux::*;
use vst3::Steinberg::Vst::{IEditController, IEditControllerTrait, ViewType};
use vst3::Steinberg::*;
use vst3::{Class, ComPtr, ComRef, ComWrapper};
use x11rb::connection::Connection;
use x11rb::protocol::xproto::{ConnectionExt, CreateWindowAux, ImageFormat, WindowClass};
use x11rb::rust_connection::RustConnection;

/// Whether the host lends the plug-in its run loop, as VST3 wants it on Linux.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RunLoop {
    /// It does.
    Lent,
    /// It does not.
    Missing,
}

/// An open window. Dropping it closes it.
pub struct Editor {
    view: ComPtr<IPlugView>,
    frame: ComWrapper<Frame>,
    _bare: ComWrapper<BareFrame>,
    // Last: our window outlives the plug-in's.
    parent: Parent,
}

impl Editor {
    pub(super) fn open(
        controller: &ComPtr<IEditController>,
        run_loop: RunLoop,
    ) -> Result<Self, Error> {
        let parent = Parent::open()?;
        let frame = ComWrapper::new(Frame::default());
        let bare = ComWrapper::new(BareFrame);
        let lent = match run_loop {
            RunLoop::Lent => frame.as_com_ref::<IPlugFrame>(),
            RunLoop::Missing => bare.as_com_ref::<IPlugFrame>(),
        }
        .map_or(std::ptr::null_mut(), |frame| frame.as_ptr());
        // SAFETY: the order of calls is the standard's; frame and parent outlive the view.
        unsafe {
            let view = ComPtr::from_raw(controller.createView(ViewType::kEditor))
                .ok_or_else(|| Error::new("the plug-in has no window"))?;
            if view.isPlatformTypeSupported(kPlatformTypeX11EmbedWindowID) != kResultOk {
                return Err(Error::new("the plug-in's window does not know X11"));
            }
            view.setFrame(lent);
            let editor = Self {
                view,
                frame,
                _bare: bare,
                parent,
            };
            // Asked for the plug-in's sake: a host sizes its own window first.
            editor.size();
            let window = editor.parent.window as usize as *mut c_void;
            match editor.view.attached(window, kPlatformTypeX11EmbedWindowID) {
                result if result == kResultOk => Ok(editor),
                result => Err(Error::new(format!(
                    "the plug-in's window does not open: {result}"
                ))),
            }
        }
    }

    /// Width and height in pixels, as the plug-in tells them.
    pub fn size(&self) -> Option<(i32, i32)> {
        let mut size = ViewRect {
            left: 0,
            top: 0,
            right: 0,
            bottom: 0,
        };
        // SAFETY: there is room for one rectangle.
        let result = unsafe { self.view.getSize(&mut size) };
        (result == kResultOk).then_some((size.right - size.left, size.bottom - size.top))
    }

    /// Lets the run loop turn for a while; does nothing but wait if it is not lent.
    pub fn run_for(&self, time: Duration) {
        let end = Instant::now() + time;
        while Instant::now() < end {
            self.frame.turn();
            std::thread::sleep(Duration::from_millis(2));
        }
    }

    /// Lets the run loop turn until the window has been drawn, for so long at most: whether it was.
    ///
    /// # Errors
    /// The screen is gone.
    pub fn run_until_drawn(&self, time: Duration) -> Result<bool, Error> {
        let end = Instant::now() + time;
        while Instant::now() < end {
            self.run_for(Duration::from_millis(20));
            if self.parent.shows_something()? {
                return Ok(true);
            }
        }
        Ok(false)
    }

    /// The descriptors and timers the plug-in has entered into the run loop by now.
    pub fn registered(&self) -> (usize, usize) {
        (
            self.frame.handlers.borrow().len(),
            self.frame.timers.borrow().len(),
        )
    }
}

impl Drop for Editor {
    fn drop(&mut self) {
        // SAFETY: the end of what `open` began.
        unsafe {
            self.view.removed();
            self.view.setFrame(std::ptr::null_mut());
        }
    }
}

/// Pixels.
const SIZE: (u16, u16) = (900, 600);

/// A window of ours.
struct Parent {
    connection: RustConnection,
    window: u32,
}

impl Parent {
    fn open() -> Result<Self, Error> {
        let failure = |error: &dyn std::fmt::Display| {
            Error::new(format!(
                "no window can be opened ({error}): set DISPLAY, or run under xvfb-run"
            ))
        };
        let (connection, screen) = x11rb::connect(None).map_err(|error| failure(&error))?;
        let (depth, visual, root) = {
            let screen = &connection.setup().roots[screen];
            (screen.root_depth, screen.root_visual, screen.root)
        };
        let window = connection.generate_id().map_err(|error| failure(&error))?;
        connection
            .create_window(
                depth,
                window,
                root,
                0,
                0,
                SIZE.0,
                SIZE.1,
                0,
                WindowClass::INPUT_OUTPUT,
                visual,
                &CreateWindowAux::new(),
            )
            .and_then(|_| connection.map_window(window))
            .and_then(|_| connection.flush())
            .map_err(|error| failure(&error))?;
        // The plug-in has a connection of its own: the window must be there before it looks.
        connection
            .get_input_focus()
            .map_err(|error| failure(&error))?
            .reply()
            .map_err(|error| failure(&error))?;
        Ok(Self { connection, window })
    }

    /// Whether it is no longer one colour all over, the plug-in's window in it.
    fn shows_something(&self) -> Result<bool, Error> {
        let failure = |error: &dyn std::fmt::Display| Error::new(format!("the screen: {error}"));
        let (width, height) = SIZE;
        let image = self
            .connection
            .get_image(ImageFormat::Z_PIXMAP, self.window, 0, 0, width, height, !0)
            .map_err(|error| failure(&error))?
            .reply()
            .map_err(|error| failure(&error))?;
        let mut pixels = image.data.chunks_exact(4).map(|pixel| &pixel[..3]);
        let first = pixels.next();
        Ok(pixels.any(|pixel| Some(pixel) != first))
    }
}

impl Drop for Parent {
    fn drop(&mut self) {
        // Nothing is left to be done if it fails.
        let _ = self.connection.destroy_window(self.window);
        let _ = self.connection.flush();
    }
}

struct Timer {
    handler: ComPtr<ITimerHandler>,
    period: Duration,
    due: Instant,
}

/// Our window to the plug-in: takes wishes for a size, and lends the run loop.
#[derive(Default)]
struct Frame {
    handlers: RefCell<Vec<(ComPtr<IEventHandler>, FileDescriptor)>>,
    timers: RefCell<Vec<Timer>>,
}

impl Frame {
    fn turn(&self) {
        // Cloned: a handler may enter or leave the loop while it is called.
        let handlers = self.handlers.borrow().clone();
        for (handler, descriptor) in handlers {
            if readable(descriptor) {
                // SAFETY: entered by the plug-in and not yet withdrawn.
                unsafe { handler.onFDIsSet(descriptor) };
            }
        }
        for handler in self.due_timers() {
            // SAFETY: entered by the plug-in and not yet withdrawn.
            unsafe { handler.onTimer() };
        }
    }

    fn due_timers(&self) -> Vec<ComPtr<ITimerHandler>> {
        let now = Instant::now();
        let mut timers = self.timers.borrow_mut();
        timers
            .iter_mut()
            .filter(|timer| timer.due <= now)
            .map(|timer| {
                timer.due = now + timer.period;
                timer.handler.clone()
            })
            .collect()
    }
}

fn readable(descriptor: FileDescriptor) -> bool {
    let mut question = libc::pollfd {
        fd: descriptor,
        events: libc::POLLIN,
        revents: 0,
    };
    // SAFETY: one question, which does not wait.
    unsafe { libc::poll(&mut question, 1, 0) > 0 }
}

impl Class for Frame {
    type Interfaces = (IPlugFrame, IRunLoop);
}

impl IPlugFrameTrait for Frame {
    unsafe fn resizeView(&self, view: *mut IPlugView, size: *mut ViewRect) -> tresult {
        // SAFETY: as for the caller.
        unsafe { resize(view, size) }
    }
}

/// Our window to the plug-in, without a run loop.
struct BareFrame;

impl Class for BareFrame {
    type Interfaces = (IPlugFrame,);
}

impl IPlugFrameTrait for BareFrame {
    unsafe fn resizeView(&self, view: *mut IPlugView, size: *mut ViewRect) -> tresult {
        // SAFETY: as for the caller.
        unsafe { resize(view, size) }
    }
}

/// Every wish for a size is granted at once.
unsafe fn resize(view: *mut IPlugView, size: *mut ViewRect) -> tresult {
    // SAFETY: the plug-in hands over its own view and a rectangle.
    unsafe { ComRef::from_raw(view).map_or(kInvalidArgument, |view| view.onSize(size)) }
}

impl IRunLoopTrait for Frame {
    unsafe fn registerEventHandler(
        &self,
        handler: *mut IEventHandler,
        descriptor: FileDescriptor,
    ) -> tresult {
        // SAFETY: a live object of the plug-in; a reference of our own is taken.
        match unsafe { ComRef::from_raw(handler) } {
            Some(handler) => self
                .handlers
                .borrow_mut()
                .push((handler.to_com_ptr(), descriptor)),
            None => return kInvalidArgument,
        }
        kResultOk
    }

    unsafe fn unregisterEventHandler(&self, handler: *mut IEventHandler) -> tresult {
        self.handlers
            .borrow_mut()
            .retain(|(entered, _)| entered.as_ptr() != handler);
        kResultOk
    }

    unsafe fn registerTimer(&self, handler: *mut ITimerHandler, period: TimerInterval) -> tresult {
        // SAFETY: a live object of the plug-in; a reference of our own is taken.
        match unsafe { ComRef::from_raw(handler) } {
            Some(handler) => self.timers.borrow_mut().push(Timer {
                handler: handler.to_com_ptr(),
                period: Duration::from_millis(period),
                due: Instant::now(),
            }),
            None => return kInvalidArgument,
        }
        kResultOk
    }

    unsafe fn unregisterTimer(&self, handler: *mut ITimerHandler) -> tresult {
        self.timers
            .borrow_mut()
            .retain(|timer| timer.handler.as_ptr() != handler);
        kResultOk
    }
}
