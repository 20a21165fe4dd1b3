//! One VST3 instance that is never removed, so that no removal takes the host down.
//!
//! All VST3 instances share a worker thread of the framework's. The worker panics when a
//! parameter moves while a window opens, and ends when an instance goes while something is queued
//! for it; whoever removes the last instance then asks a dead thread to stop, and the host aborts
//! (nice-plug 0.4.2, `event_loop/background_thread.rs`). With an instance that stays there is no
//! last one. The worker may still end; nothing here needs it while the host lends its run loop.

use crate::Procession;
use nice_plug::wrapper::vst3::Wrapper;

/// Call it from `activate`, under VST3 only: nothing has been queued by then.
#[allow(
    clippy::disallowed_types,
    reason = "`activate` is called on the main thread"
)]
pub fn keep_the_worker() {
    static KEPT: std::sync::Once = std::sync::Once::new();
    KEPT.call_once(|| std::mem::forget(Wrapper::<Procession>::new()));
}
