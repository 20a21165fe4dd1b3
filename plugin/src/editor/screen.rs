//! The screen that the window is on: how far the window may grow, and whether it is seen at all.
//!
//! The windowing layer tells neither (baseview 0.4.2), so on X11 the server is asked. Elsewhere a
//! window is taken to be seen, on a screen without end.

#[cfg(target_os = "linux")]
pub use x11::Screen;

#[cfg(not(target_os = "linux"))]
pub use elsewhere::Screen;

#[cfg(target_os = "linux")]
mod x11 {
    use egui::{Vec2, vec2};
    use raw_window_handle::{HasWindowHandle, RawWindowHandle};
    use std::num::NonZeroU32;
    use std::time::{Duration, Instant};
    use x11rb::connection::Connection;
    use x11rb::protocol::xproto::{ConnectionExt as _, MapState};
    use x11rb::rust_connection::RustConnection;

    /// Between two questions whether the window is seen.
    const NEWS: Duration = Duration::from_millis(200);

    /// The screen of an open window.
    pub struct Screen {
        server: RustConnection,
        window: u32,
        root: u32,
        seen: bool,
        asked: Instant,
    }

    impl Screen {
        /// Of this window. None if it is not on X11.
        pub fn of(window: &impl HasWindowHandle) -> Option<Self> {
            let window = match window.window_handle().ok()?.as_raw() {
                RawWindowHandle::Xcb(handle) => handle.window,
                RawWindowHandle::Xlib(handle) => NonZeroU32::new(handle.window as u32)?,
                _ => return None,
            };
            let (server, number) = x11rb::connect(None).ok()?;
            let root = server.setup().roots.get(number)?.root;
            Some(Self {
                server,
                window: window.get(),
                root,
                seen: true,
                asked: Instant::now(),
            })
        }

        /// The window's number.
        pub fn window(&self) -> u32 {
            self.window
        }

        /// Shows the window at once: see [`crate::editor::handle`].
        pub fn show_window(&self) {
            if let Ok(shown) = self.server.map_window(self.window) {
                let _ = shown.check();
            }
        }

        /// From the window's top left corner to the screen's end, in pixels.
        pub fn room(&self) -> Option<Vec2> {
            let screen = self.server.setup().roots.iter();
            let screen = screen.into_iter().find(|screen| screen.root == self.root)?;
            let corner = self
                .server
                .translate_coordinates(self.window, self.root, 0, 0)
                .ok()?
                .reply()
                .ok()?;
            let left = |size: u16, from: i16| f32::from(size) - f32::from(from.max(0));
            Some(vec2(
                left(screen.width_in_pixels, corner.dst_x),
                left(screen.height_in_pixels, corner.dst_y),
            ))
        }

        /// Whether the window is on the screen, and not minimised or in a parent that is.
        pub fn shows_window(&mut self) -> bool {
            if self.asked.elapsed() < NEWS && self.seen {
                return true;
            }
            self.asked = Instant::now();
            let state = self.server.get_window_attributes(self.window).ok();
            let state = state.and_then(|state| state.reply().ok());
            self.seen = state.is_none_or(|state| state.map_state == MapState::VIEWABLE);
            self.seen
        }
    }
}

#[cfg(not(target_os = "linux"))]
mod elsewhere {
    use egui::Vec2;

    /// The screen of an open window.
    pub enum Screen {}

    impl Screen {
        /// Not known here.
        pub fn of<Window>(_: &Window) -> Option<Self> {
            None
        }

        /// Not known here.
        pub fn window(&self) -> u32 {
            match *self {}
        }

        /// The framework does it.
        pub fn show_window(&self) {
            match *self {}
        }

        /// Not known here.
        pub fn room(&self) -> Option<Vec2> {
            None
        }

        /// Not known here.
        pub fn shows_window(&mut self) -> bool {
            true
        }
    }
}
