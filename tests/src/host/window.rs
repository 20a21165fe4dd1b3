//! The plug-in's window in a host: opened in a parent, looked at, and handled with mouse and keys.
//!
//! On X11 only: elsewhere the window is tested by hand.
#![expect(
    unsafe_code,
    reason = "a plug-in is told the number of a window, trusted to be there until it is closed"
)]

use super::{Error, Instance};
use crate::patience::wait_until;
use clack_extensions::gui::{GuiApiType, GuiConfiguration, GuiSize, PluginGui};
use std::fs::File;
use std::io::BufWriter;
use std::path::Path;
use std::time::{Duration, Instant};
use x11rb::connection::Connection;
use x11rb::protocol::Event;
use x11rb::protocol::xproto::{
    BUTTON_PRESS_EVENT, BUTTON_RELEASE_EVENT, ConfigureWindowAux, ConnectionExt as _,
    CreateWindowAux, EventMask, ImageFormat, KEY_PRESS_EVENT, KEY_RELEASE_EVENT,
    MOTION_NOTIFY_EVENT, WindowClass,
};
use x11rb::protocol::xtest::ConnectionExt as _;
use x11rb::rust_connection::RustConnection;

/// A plug-in's window, open in a parent of the host's.
///
/// Close it by [`Window::close`] before its instance goes.
pub struct Window {
    server: RustConnection,
    /// The host's own, which hears its keys.
    outer: u32,
    /// In it, the place for the plug-in's.
    parent: u32,
    keys: Vec<(u8, bool)>,
    root: u32,
    size: (u32, u32),
}

/// What a window looked like.
#[derive(Clone, PartialEq, Eq)]
pub struct Picture {
    /// Pixels.
    pub width: u32,
    /// Pixels.
    pub height: u32,
    /// Red, green and blue of every pixel, line by line from the top.
    pub pixels: Vec<u8>,
}

/// A key to press.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Key {
    /// What it writes.
    Letter(char),
    /// Confirms.
    Return,
    /// Gives up.
    Escape,
    /// Held for fine movements.
    Shift,
    /// Held for undo and redo.
    Control,
    /// Takes away.
    Delete,
    /// The arrow to the left.
    Left,
    /// The arrow upwards.
    Up,
    /// The arrow to the right.
    Right,
    /// The arrow downwards.
    Down,
}

impl Key {
    /// By the tables of the X protocol's appendix A: Latin letters have their own numbers.
    fn symbol(self) -> u32 {
        match self {
            Self::Letter(letter) => letter as u32,
            Self::Return => 0xFF0D,
            Self::Escape => 0xFF1B,
            Self::Shift => 0xFFE1,
            Self::Control => 0xFFE3,
            Self::Delete => 0xFFFF,
            Self::Left => 0xFF51,
            Self::Up => 0xFF52,
            Self::Right => 0xFF53,
            Self::Down => 0xFF54,
        }
    }
}

fn gui(instance: &mut Instance) -> Result<PluginGui, Error> {
    let handle = instance.0.plugin_handle();
    handle
        .get_extension::<PluginGui>()
        .ok_or_else(|| Error::new("the plug-in has no window"))
}

fn x<T, E: std::fmt::Display>(result: Result<T, E>) -> Result<T, Error> {
    result.map_err(|error| Error::new(format!("the screen: {error}")))
}

impl Window {
    /// Opens the window in a parent of the size it asks for.
    ///
    /// # Errors
    /// There is no screen, or the plug-in does not open a window on it.
    pub fn open(instance: &mut Instance) -> Result<Self, Error> {
        Self::open_in(instance, Duration::ZERO, false)
    }

    /// As [`Window::open`], in a host whose main thread is kept from its work for a moment as soon
    /// as the plug-in has made its window.
    ///
    /// # Errors
    /// As for [`Window::open`].
    pub fn open_interrupted(instance: &mut Instance) -> Result<Self, Error> {
        Self::open_in(instance, Duration::ZERO, true)
    }

    /// As [`Window::open`], with a pause after each of the three steps: making, placing, showing.
    ///
    /// # Errors
    /// As for [`Window::open`].
    pub fn open_slowly(instance: &mut Instance, pause: Duration) -> Result<Self, Error> {
        Self::open_in(instance, pause, false)
    }

    fn open_in(
        instance: &mut Instance,
        pause: Duration,
        is_interrupted: bool,
    ) -> Result<Self, Error> {
        let (server, screen_number) = x(x11rb::connect(None))?;
        let gui = gui(instance)?;
        let configuration = GuiConfiguration {
            api_type: GuiApiType::X11,
            is_floating: false,
        };
        let refused = |error| Error::new(format!("the plug-in's window: {error}"));
        let handle = instance.0.plugin_handle();
        gui.create(&handle, configuration).map_err(refused)?;
        std::thread::sleep(pause);
        let size = gui
            .get_size(&handle)
            .ok_or_else(|| Error::new("the plug-in's window has no size"))?;
        let screen = &server.setup().roots[screen_number];
        let (root, depth, visual) = (screen.root, screen.root_depth, screen.root_visual);
        let create = |within: u32, aux: &CreateWindowAux| {
            let window = x(server.generate_id())?;
            x(server.create_window(
                depth,
                window,
                within,
                0,
                0,
                size.width as u16,
                size.height as u16,
                0,
                WindowClass::INPUT_OUTPUT,
                visual,
                aux,
            ))?;
            x(server.map_window(window))?;
            Ok(window)
        };
        let keys = EventMask::KEY_PRESS | EventMask::KEY_RELEASE;
        let outer = create(root, &CreateWindowAux::new().event_mask(keys))?;
        let parent = create(outer, &CreateWindowAux::new())?;
        x(server.sync())?;
        if is_interrupted {
            interrupt_when_made(parent);
        }
        let window = clack_extensions::gui::Window::from_x11_handle(parent.into());
        // SAFETY: the parent stays until `close`, which closes the plug-in's window first.
        unsafe { gui.set_parent(&handle, window) }.map_err(refused)?;
        std::thread::sleep(pause);
        gui.show(&handle).map_err(refused)?;
        let mut window = Self {
            server,
            outer,
            parent,
            keys: Vec::new(),
            root,
            size: (size.width, size.height),
        };
        window.wait(instance, Duration::from_millis(20))?;
        Ok(window)
    }

    /// Pixels.
    pub fn size(&self) -> (u32, u32) {
        self.size
    }

    /// Lets time pass, with the main thread doing what it is asked to.
    ///
    /// # Errors
    /// The screen is gone.
    pub fn wait(&mut self, instance: &mut Instance, time: Duration) -> Result<(), Error> {
        let until = Instant::now() + time;
        loop {
            self.tend(instance)?;
            if Instant::now() >= until {
                return Ok(());
            }
            std::thread::sleep(Duration::from_millis(4));
        }
    }

    /// Does on the main thread what the plug-in asked for: calls, another size.
    ///
    /// # Errors
    /// The screen is gone.
    pub fn tend(&mut self, instance: &mut Instance) -> Result<(), Error> {
        instance.run_callbacks();
        let wanted = instance
            .0
            .access_shared_handler(|pending| pending.takes_window_size());
        match wanted {
            Some(size) => self.resize(instance, size.width, size.height),
            None => Ok(()),
        }
    }

    /// Waits until the window has been drawn and is no longer one colour all over.
    ///
    /// # Errors
    /// Nothing was drawn within [`crate::patience::PATIENCE`].
    pub fn wait_until_drawn(&mut self, instance: &mut Instance) -> Result<(), Error> {
        wait_until("a window that is drawn", || {
            self.wait(instance, Duration::from_millis(50))?;
            let picture = self.picture()?;
            let first = &picture.pixels[..3];
            Ok(picture.pixels.chunks(3).any(|pixel| pixel != first))
        })?;
        // The layout settles in the second frame.
        self.wait(instance, Duration::from_millis(250))
    }

    /// Waits until the window has looked the same for `time`.
    ///
    /// # Errors
    /// It does not come to rest within [`crate::patience::PATIENCE`].
    pub fn wait_until_still(
        &mut self,
        instance: &mut Instance,
        time: Duration,
    ) -> Result<(), Error> {
        let mut before = self.picture()?;
        wait_until("a window at rest", || {
            self.wait(instance, time)?;
            let now = self.picture()?;
            let still = before.difference(&now) == 0;
            before = now;
            Ok(still)
        })
    }

    /// Gives parent and window another size, as a host does whose user drags an edge.
    ///
    /// # Errors
    /// The plug-in refuses.
    pub fn resize(
        &mut self,
        instance: &mut Instance,
        width: u32,
        height: u32,
    ) -> Result<(), Error> {
        let gui = gui(instance)?;
        let handle = instance.0.plugin_handle();
        let wanted = GuiSize { width, height };
        let size = gui.adjust_size(&handle, wanted).unwrap_or(wanted);
        self.resize_parent(size.width, size.height)?;
        gui.set_size(&handle, size)
            .map_err(|error| Error::new(format!("the plug-in's window: {error}")))
    }

    /// Gives the parent another size and does not tell the plug-in, as careless hosts do.
    ///
    /// # Errors
    /// The screen is gone.
    pub fn resize_parent(&mut self, width: u32, height: u32) -> Result<(), Error> {
        let size = ConfigureWindowAux::new().width(width).height(height);
        for window in [self.outer, self.parent] {
            x(self.server.configure_window(window, &size))?;
        }
        x(self.server.sync())?;
        self.size = (width, height);
        Ok(())
    }

    /// The size of the plug-in's own window in pixels, whatever that of its parent.
    ///
    /// # Errors
    /// The screen or the window is gone.
    pub fn inner_size(&self) -> Result<(u32, u32), Error> {
        let tree = x(x(self.server.query_tree(self.parent))?.reply())?;
        let inner = tree.children.first();
        let inner = *inner.ok_or_else(|| Error::new("the plug-in's window is gone"))?;
        let geometry = x(x(self.server.get_geometry(inner))?.reply())?;
        Ok((geometry.width.into(), geometry.height.into()))
    }

    /// What the host heard of a key since the window was opened: pressed, let go.
    ///
    /// # Errors
    /// The screen is gone.
    pub fn host_heard(&mut self, key: Key) -> Result<Vec<bool>, Error> {
        while let Some(event) = x(self.server.poll_for_event())? {
            match event {
                Event::KeyPress(event) => self.keys.push((event.detail, true)),
                Event::KeyRelease(event) => self.keys.push((event.detail, false)),
                _ => (),
            }
        }
        let code = self.key_code(key)?;
        let heard = self.keys.iter().filter(|(struck, _)| *struck == code);
        Ok(heard.map(|(_, down)| *down).collect())
    }

    /// What it looks like now.
    ///
    /// # Errors
    /// The screen is gone.
    pub fn picture(&self) -> Result<Picture, Error> {
        let (width, height) = self.size;
        let image = x(x(self.server.get_image(
            ImageFormat::Z_PIXMAP,
            self.parent,
            0,
            0,
            width as u16,
            height as u16,
            u32::MAX,
        ))?
        .reply())?;
        let pixels = image.data.chunks_exact(4);
        Ok(Picture {
            width,
            height,
            pixels: pixels
                .flat_map(|pixel| [pixel[2], pixel[1], pixel[0]])
                .collect(),
        })
    }

    /// Leaves a picture of it in a file; the folder is made if need be.
    ///
    /// # Errors
    /// The file cannot be written.
    pub fn screenshot(&self, path: &Path) -> Result<(), Error> {
        self.picture()?.save(path)
    }

    /// Moves the mouse there.
    ///
    /// # Errors
    /// The screen is gone.
    pub fn point(&self, (x, y): (i16, i16)) -> Result<(), Error> {
        self.fake(MOTION_NOTIFY_EVENT, 0, (x, y))
    }

    /// Presses the mouse's first button, or lets it go.
    ///
    /// # Errors
    /// The screen is gone.
    pub fn press(&self, down: bool) -> Result<(), Error> {
        let event = if down {
            BUTTON_PRESS_EVENT
        } else {
            BUTTON_RELEASE_EVENT
        };
        self.fake(event, 1, (0, 0))
    }

    /// A click there.
    ///
    /// # Errors
    /// The screen is gone.
    pub fn click(&mut self, instance: &mut Instance, at: (i16, i16)) -> Result<(), Error> {
        let moment = Duration::from_millis(60);
        self.point(at)?;
        self.wait(instance, moment)?;
        self.press(true)?;
        self.wait(instance, moment)?;
        self.press(false)?;
        self.wait(instance, moment)
    }

    /// Strikes a key.
    ///
    /// # Errors
    /// The keyboard has no such key.
    pub fn strike(&mut self, instance: &mut Instance, key: Key) -> Result<(), Error> {
        self.hold_key(key, true)?;
        self.wait(instance, Duration::from_millis(30))?;
        self.hold_key(key, false)?;
        self.wait(instance, Duration::from_millis(30))
    }

    /// Strikes a key while another one is held.
    ///
    /// # Errors
    /// The keyboard has no such key.
    pub fn strike_with(
        &mut self,
        instance: &mut Instance,
        held: Key,
        key: Key,
    ) -> Result<(), Error> {
        self.hold_key(held, true)?;
        self.strike(instance, key)?;
        self.hold_key(held, false)?;
        self.wait(instance, Duration::from_millis(30))
    }

    /// Presses a key, or lets it go.
    ///
    /// # Errors
    /// The keyboard has no such key.
    pub fn hold_key(&self, key: Key, down: bool) -> Result<(), Error> {
        let event = if down {
            KEY_PRESS_EVENT
        } else {
            KEY_RELEASE_EVENT
        };
        self.fake(event, self.key_code(key)?, (0, 0))
    }

    fn key_code(&self, key: Key) -> Result<u8, Error> {
        let setup = self.server.setup();
        let (first, last) = (setup.min_keycode, setup.max_keycode);
        let map = x(x(self.server.get_keyboard_mapping(first, last - first + 1))?.reply())?;
        let per_key = usize::from(map.keysyms_per_keycode).max(1);
        let found = map
            .keysyms
            .chunks(per_key)
            .position(|symbols| symbols.first() == Some(&key.symbol()));
        found
            .map(|place| first + place as u8)
            .ok_or_else(|| Error::new(format!("the keyboard has no key {key:?}")))
    }

    fn fake(&self, event: u8, detail: u8, (left, top): (i16, i16)) -> Result<(), Error> {
        x(self
            .server
            .xtest_fake_input(event, detail, 0, self.root, left, top, 0))?;
        x(self.server.sync())
    }

    /// Closes the window, then its parent.
    ///
    /// # Errors
    /// The screen is gone, or the plug-in's window stays.
    pub fn close(self, instance: &mut Instance) -> Result<(), Error> {
        let gui = gui(instance)?;
        gui.destroy(&instance.0.plugin_handle());
        instance.run_callbacks();
        // The plug-in's end of the screen may still be clearing away.
        wait_until("the end of the plug-in's window", || {
            let tree = x(x(self.server.query_tree(self.parent))?.reply())?;
            std::thread::sleep(Duration::from_millis(2));
            Ok(tree.children.is_empty())
        })?;
        x(self.server.destroy_window(self.outer))?;
        x(self.server.sync())
    }
}

/// Longer than a plug-in's window takes between two looks whether it is to be drawn.
static INTERRUPTION: libc::timespec = libc::timespec {
    tv_sec: 0,
    tv_nsec: 500_000_000,
};

/// Keeps this thread from its work for a moment, once there is a window in `parent`.
fn interrupt_when_made(parent: u32) {
    extern "C" fn rest(_: libc::c_int) {
        // SAFETY: both arguments are valid, and sleeping is allowed in a signal's handler.
        unsafe { libc::nanosleep(&raw const INTERRUPTION, std::ptr::null_mut()) };
    }
    // SAFETY: the handler is a function for as long as the program runs.
    let thread = unsafe {
        let handler = rest as extern "C" fn(libc::c_int);
        libc::signal(libc::SIGUSR1, handler as libc::sighandler_t);
        libc::pthread_self()
    };
    std::thread::spawn(move || {
        wait_until("a window that is made", || {
            let (server, _) = x(x11rb::connect(None))?;
            let tree = x(x(server.query_tree(parent))?.reply())?;
            Ok(!tree.children.is_empty())
        })?;
        // SAFETY: a test's thread ends after its windows are closed.
        unsafe { libc::pthread_kill(thread, libc::SIGUSR1) };
        Ok::<(), Error>(())
    });
}

/// Waiting for the server to have done everything asked of it.
trait Sync {
    fn sync(&self) -> Result<(), x11rb::errors::ReplyError>;
}

impl Sync for RustConnection {
    fn sync(&self) -> Result<(), x11rb::errors::ReplyError> {
        self.get_input_focus()?.reply().map(|_| ())
    }
}

impl Picture {
    /// Writes it as a PNG file; the folder is made if need be.
    ///
    /// # Errors
    /// The file cannot be written.
    pub fn save(&self, path: &Path) -> Result<(), Error> {
        let failed =
            |error: &dyn std::fmt::Display| Error::new(format!("{}: {error}", path.display()));
        if let Some(folder) = path.parent() {
            std::fs::create_dir_all(folder).map_err(|error| failed(&error))?;
        }
        let file = File::create(path).map_err(|error| failed(&error))?;
        self.write(BufWriter::new(file))
            .map_err(|error| failed(&error))
    }

    /// Writes it as PNG.
    ///
    /// # Errors
    /// The bytes found no place.
    pub fn write(&self, to: impl std::io::Write) -> Result<(), std::io::Error> {
        let mut encoder = png::Encoder::new(to, self.width, self.height);
        encoder.set_color(png::ColorType::Rgb);
        encoder.set_depth(png::BitDepth::Eight);
        let mut writer = encoder.write_header()?;
        writer.write_image_data(&self.pixels)?;
        Ok(writer.finish()?)
    }

    /// How many pixels differ from those of another picture of the same size; all of them, if the
    /// sizes differ.
    pub fn difference(&self, other: &Self) -> usize {
        if (self.width, self.height) != (other.width, other.height) {
            return (self.width * self.height) as usize;
        }
        let pairs = self.pixels.chunks(3).zip(other.pixels.chunks(3));
        pairs.filter(|(one, other)| one != other).count()
    }
}
