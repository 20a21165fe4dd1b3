//! What the plug-in may ask of the host, and what it is told about threads.

use clack_extensions::gui::{GuiSize, HostGui, HostGuiImpl};
use clack_extensions::latency::{HostLatency, HostLatencyImpl};
use clack_extensions::params::{
    HostParams, HostParamsImplMainThread, HostParamsImplShared, ParamClearFlags, ParamRescanFlags,
};
use clack_extensions::state::{HostState, HostStateImpl};
use clack_extensions::thread_check::{HostThreadCheck, HostThreadCheckImpl};
use clack_host::prelude::*;
use std::cell::Cell;
use std::sync::atomic::{AtomicBool, AtomicU8, AtomicU32, AtomicU64, Ordering::Relaxed};
use std::thread::ThreadId;

thread_local! {
    /// Whether this thread plays the audio thread's part just now.
    static IS_AUDIO: Cell<bool> = const { Cell::new(false) };
}

/// Runs `work` as the audio thread: one thread may play both parts, and the plug-in is told
/// truthfully which one it meets.
pub(super) fn as_audio_thread<T>(work: impl FnOnce() -> T) -> T {
    let before = IS_AUDIO.replace(true);
    let done = work();
    IS_AUDIO.set(before);
    done
}

/// What the plug-in has asked for since it was loaded.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Requests {
    /// To be deactivated and activated again.
    pub restarts: u32,
    /// To have its parameters' values, names or ranges read again.
    pub rescans: u32,
    /// To have its latency read again.
    pub latency_changes: u32,
    /// To have the project marked as changed.
    pub dirty_marks: u32,
    /// For its window, to have another size.
    pub sizes: u32,
}

pub(super) struct Handlers;

impl HostHandlers for Handlers {
    type Shared<'a> = Pending;
    type MainThread<'a> = MainPending<'a>;
    type AudioProcessor<'a> = ();

    fn declare_extensions(builder: &mut HostExtensions<Self>, _: &Self::Shared<'_>) {
        builder
            .register::<HostParams>()
            .register::<HostState>()
            .register::<HostGui>()
            .register::<HostLatency>()
            .register::<HostThreadCheck>();
    }
}

/// Where requests are left, from any thread.
pub(super) struct Pending {
    main_thread: ThreadId,
    callback: AtomicBool,
    restarts: AtomicU32,
    rescans: AtomicU32,
    latency_changes: AtomicU32,
    dirty_marks: AtomicU32,
    sizes: AtomicU32,
    /// The size the plug-in wants its window to have, packed; 0 if there is no such wish.
    window_size: AtomicU64,
    room: AtomicU8,
}

/// What a host does about a window that wants another size.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Room {
    /// It makes room.
    Made,
    /// It says that it will not.
    Refused,
    /// It says that it will, and does not.
    Promised,
}

impl Pending {
    pub(super) fn new() -> Self {
        Self {
            main_thread: std::thread::current().id(),
            callback: AtomicBool::new(false),
            restarts: AtomicU32::new(0),
            rescans: AtomicU32::new(0),
            latency_changes: AtomicU32::new(0),
            dirty_marks: AtomicU32::new(0),
            sizes: AtomicU32::new(0),
            window_size: AtomicU64::new(0),
            room: AtomicU8::new(Room::Made as u8),
        }
    }

    pub(super) fn set_room(&self, room: Room) {
        self.room.store(room as u8, Relaxed);
    }

    /// Whether a call on the main thread is due; asking settles it.
    pub(super) fn takes_callback(&self) -> bool {
        self.callback.swap(false, Relaxed)
    }

    /// The size the plug-in wants its window to have; asking settles it.
    pub(super) fn takes_window_size(&self) -> Option<GuiSize> {
        match self.window_size.swap(0, Relaxed) {
            0 => None,
            packed => Some(GuiSize::unpack_from_u64(packed)),
        }
    }

    pub(super) fn requests(&self) -> Requests {
        Requests {
            restarts: self.restarts.load(Relaxed),
            rescans: self.rescans.load(Relaxed),
            latency_changes: self.latency_changes.load(Relaxed),
            dirty_marks: self.dirty_marks.load(Relaxed),
            sizes: self.sizes.load(Relaxed),
        }
    }
}

impl SharedHandler<'_> for Pending {
    fn request_restart(&self) {
        self.restarts.fetch_add(1, Relaxed);
    }

    fn request_process(&self) {}

    fn request_callback(&self) {
        self.callback.store(true, Relaxed);
    }
}

impl HostGuiImpl for Pending {
    fn resize_hints_changed(&self) {}

    fn request_resize(&self, new_size: GuiSize) -> Result<(), HostError> {
        self.sizes.fetch_add(1, Relaxed);
        let room = self.room.load(Relaxed);
        if room == Room::Refused as u8 {
            return Err(HostError::Message("there is no room"));
        }
        if room == Room::Made as u8 {
            self.window_size.store(new_size.pack_to_u64(), Relaxed);
        }
        Ok(())
    }

    fn request_show(&self) -> Result<(), HostError> {
        Ok(())
    }

    fn request_hide(&self) -> Result<(), HostError> {
        Ok(())
    }

    fn closed(&self, _: bool) {}
}

impl HostThreadCheckImpl for Pending {
    fn is_main_thread(&self) -> bool {
        std::thread::current().id() == self.main_thread && !IS_AUDIO.get()
    }

    fn is_audio_thread(&self) -> bool {
        IS_AUDIO.get()
    }
}

impl HostParamsImplShared for Pending {
    fn request_flush(&self) {}
}

pub(super) struct MainPending<'a>(pub(super) &'a Pending);

impl<'a> MainThreadHandler<'a> for MainPending<'a> {}

impl HostParamsImplMainThread for MainPending<'_> {
    fn rescan(&self, _: ParamRescanFlags) {
        self.0.rescans.fetch_add(1, Relaxed);
    }

    fn clear(&self, _: ClapId, _: ParamClearFlags) {}
}

impl HostLatencyImpl for MainPending<'_> {
    fn changed(&self) {
        self.0.latency_changes.fetch_add(1, Relaxed);
    }
}

impl HostStateImpl for MainPending<'_> {
    fn mark_dirty(&self) {
        self.0.dirty_marks.fetch_add(1, Relaxed);
    }
}
