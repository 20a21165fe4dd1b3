//! The signals between the audio thread and the window: "look again" one way; "silence", "it was I
//! who pressed Hold", "that sketch, when it is to come" and "so much softer" the other.

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
    /// The place of a sketch that is to come, counted from 1; 0 is none.
    asked: Arc<AtomicU32>,
    /// By how much softer the audition is, in dB, as bits; 0 dB at first.
    softer: Arc<AtomicU32>,
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
        takes(&self.panic)
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
        takes(&self.held)
    }

    /// The sketch in that place, counted from 0, is to come when sketches are to come.
    pub fn ask_for(&self, place: usize) {
        let place = u32::try_from(place + 1).unwrap_or(0);
        self.asked.store(place, Ordering::Relaxed);
    }

    /// The place of a sketch that was asked for, counted from 0; asking settles it.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn takes_asked(&self) -> Option<usize> {
        if self.asked.load(Ordering::Relaxed) == 0 {
            return None;
        }
        let place = self.asked.swap(0, Ordering::Relaxed);
        (place as usize).checked_sub(1)
    }

    /// The audition is to be so much softer, in dB, 0 or more; what is compared is as loud then.
    pub fn soften(&self, by_db: f32) {
        let by_db = if by_db.is_finite() {
            by_db.max(0.0)
        } else {
            0.0
        };
        self.softer.store(by_db.to_bits(), Ordering::Relaxed);
    }

    /// By how much softer, in dB.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn softer(&self) -> f32 {
        f32::from_bits(self.softer.load(Ordering::Relaxed))
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

/// Whether a sign was given, which is taken away. Asked in every block, so it only looks as long as
/// there is none: looking is free, writing what another thread reads is not.
fn takes(sign: &AtomicBool) -> bool {
    sign.load(Ordering::Relaxed) && sign.swap(false, Ordering::Relaxed)
}

impl Drop for OpenWindow {
    fn drop(&mut self) {
        self.0.windows.fetch_sub(1, Ordering::Relaxed);
    }
}
