//! Which process it is: for whoever remembers what one said.

use std::sync::atomic::{AtomicU64, Ordering};

/// A number that no other process has, and this one only until something about it changes. Copies
/// have it in common: they say the same.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Edition(u64);

impl Edition {
    /// One that has never been.
    ///
    /// # Real-time
    /// Allocates never, blocks never: one atomic addition.
    pub(super) fn next() -> Self {
        static NEXT: AtomicU64 = AtomicU64::new(0);
        Self(NEXT.fetch_add(1, Ordering::Relaxed))
    }
}
