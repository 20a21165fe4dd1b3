//! Ending the program: whoever wants it to end, the window has the last word, for it knows what has
//! not been saved.
//!
//! The windowing layer closes a window that is asked to close, and asks nobody. So the window that
//! has something to ask is opened again (`editor/handle.rs`), with the question in it.

use crate::bell::Bell;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// What is known about ending.
#[derive(Debug, Default)]
pub struct Closing {
    asked: AtomicBool,
}

impl Closing {
    /// Somebody wants the program to end.
    pub fn ask(&self) {
        self.asked.store(true, Ordering::Release);
    }

    /// Whether somebody wants it to.
    pub fn is_asked(&self) -> bool {
        self.asked.load(Ordering::Acquire)
    }

    /// It goes on.
    pub fn call_off(&self) {
        self.asked.store(false, Ordering::Release);
    }
}

/// Hears Ctrl-C as a wish to end, and a second one as the wish not to be asked. A session that
/// ends, or a terminal that closes, asks nobody either. What was not saved goes to `rescue` then.
#[cfg(all(unix, feature = "standalone"))]
pub fn hear_signals(closing: Arc<Closing>, bell: Bell, rescue: impl Fn() + Send + 'static) {
    use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
    use signal_hook::iterator::Signals;

    let signals = match Signals::new([SIGINT, SIGTERM, SIGHUP]) {
        Ok(signals) => signals,
        Err(error) => {
            eprintln!("Ctrl-C will not be heard ({error}): close the window to end the program.");
            return;
        }
    };
    let listen = move || {
        let mut signals = signals;
        for signal in signals.forever() {
            if signal == SIGINT && !closing.is_asked() {
                closing.ask();
                bell.ring();
                eprintln!("Asked to end. Once more ends at once, without asking in the window.");
                continue;
            }
            rescue();
            // At once: what the graphics driver would do at exit may crash while a window is open.
            signal_hook::low_level::exit(128 + signal);
        }
    };
    let listener = std::thread::Builder::new().name("procession signals".to_owned());
    if let Err(error) = listener.spawn(listen) {
        eprintln!("Ctrl-C will not be heard ({error}): close the window to end the program.");
    }
}

/// Elsewhere the framework's wrapper catches Ctrl-C, and looks at it only where there is no window.
#[cfg(not(all(unix, feature = "standalone")))]
pub fn hear_signals(_: Arc<Closing>, _: Bell, _: impl Fn() + Send + 'static) {}
