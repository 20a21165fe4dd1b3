//! The signals between the audio thread and the window: "look again" one way; "silence" and "it was
//! I who pressed Hold" the other.

use nice_plug_egui::RepaintNotifier;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};

/// Shared by the audio thread and the window of one instance; every verb is an atomic access.
#[derive(Clone, Debug, Default)]
pub struct Bell {
    repaint: RepaintNotifier,
    windows: Arc<AtomicU32>,
    panic: Arc<AtomicBool>,
    held: Arc<AtomicBool>,
    unheard: Arc<AtomicBool>,
}

/// A window is open for as long as this lives.
#[derive(Debug)]
pub struct OpenWindow(Bell);

impl Bell {
    /// There is something new to see.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn ring(&self) {
        if !self.unheard.load(Ordering::Relaxed) {
            self.repaint.request_repaint();
        }
    }

    /// Whether it is worth ringing: a window that nobody sees is not drawn. When it is shown again,
    /// the system has it drawn.
    pub fn heard(&self, heard: bool) {
        self.unheard.store(!heard, Ordering::Relaxed);
    }

    /// Whether anybody looks.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn is_window_open(&self) -> bool {
        self.windows.load(Ordering::Relaxed) > 0
    }

    /// Everything that sounds is to end.
    pub fn panic(&self) {
        self.panic.store(true, Ordering::Relaxed);
    }

    /// Whether everything is to end; asking settles it.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn takes_panic(&self) -> bool {
        self.panic.swap(false, Ordering::Relaxed)
    }

    /// Hold is switched on in the window; the host will say so too, in its own time.
    pub fn hold(&self) {
        self.held.store(true, Ordering::Relaxed);
    }

    /// Whether hold was switched on in the window; asking settles it.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn takes_hold(&self) -> bool {
        self.held.swap(false, Ordering::Relaxed)
    }

    /// What the framework polls while a window is open.
    pub fn notifier(&self) -> RepaintNotifier {
        self.repaint.clone()
    }

    /// Says that a window is open.
    pub fn open_window(&self) -> OpenWindow {
        self.windows.fetch_add(1, Ordering::Relaxed);
        self.heard(true);
        OpenWindow(self.clone())
    }
}

impl Drop for OpenWindow {
    fn drop(&mut self) {
        self.0.windows.fetch_sub(1, Ordering::Relaxed);
    }
}
