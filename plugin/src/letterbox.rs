//! A letterbox between two threads: it holds one message, the latest.
//!
//! Three boxes go round in it (the writer's, the one in the middle, the reader's), so nobody ever
//! allocates, frees or waits: sending and receiving are one atomic swap each.

use crossbeam::atomic::AtomicCell;
use std::sync::Arc;

/// One of the three boxes of a letterbox: the sender's, the middle one, the receiver's. Whoever
/// holds it may write in it.
struct Sheet<T> {
    content: T,
    /// Sent and not yet read.
    fresh: bool,
}

// Always `Some`; an `Option` because a box has to be let go of before another is in hand.
type Slot<T> = Option<Box<Sheet<T>>>;

/// The end that writes.
pub struct Sender<T> {
    middle: Arc<AtomicCell<Slot<T>>>,
    own: Slot<T>,
}

/// The end that reads.
pub struct Receiver<T> {
    middle: Arc<AtomicCell<Slot<T>>>,
    own: Slot<T>,
}

/// The two ends of a letterbox; `blank` makes what lies in its boxes until something is sent.
pub fn letterbox<T>(blank: impl Fn() -> T) -> (Sender<T>, Receiver<T>) {
    // Otherwise the cell would take a lock behind our back.
    const { assert!(AtomicCell::<Slot<T>>::is_lock_free()) };
    let sheet = || {
        Some(Box::new(Sheet {
            content: blank(),
            fresh: false,
        }))
    };
    let middle = Arc::new(AtomicCell::new(sheet()));
    let sender = Sender {
        middle: middle.clone(),
        own: sheet(),
    };
    let receiver = Receiver {
        middle,
        own: sheet(),
    };
    (sender, receiver)
}

impl<T> Sender<T> {
    /// Sends what `write` writes. It must overwrite everything: the box still holds some older
    /// message.
    ///
    /// # Real-time
    /// Allocates never, blocks never: one atomic swap.
    pub fn send(&mut self, write: impl FnOnce(&mut T)) {
        if let Some(sheet) = &mut self.own {
            write(&mut sheet.content);
            sheet.fresh = true;
        }
        self.own = self.middle.swap(self.own.take());
    }
}

impl<T> Receiver<T> {
    /// The latest message, if one has come since the last call.
    ///
    /// # Real-time
    /// Allocates never, blocks never: one atomic swap.
    pub fn receive(&mut self) -> Option<&T> {
        self.own = self.middle.swap(self.own.take());
        let sheet = self.own.as_mut()?;
        std::mem::take(&mut sheet.fresh).then_some(&sheet.content)
    }
}
