//! Which process it is: for whoever remembers what one said.

use std::fmt;
use std::sync::atomic::{AtomicU64, Ordering};

/// A number that no other process has, and this one only until something about it changes. Copies
/// have it in common: they say the same.
#[derive(Clone, Copy, PartialEq, Eq)]
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

impl fmt::Debug for Edition {
    /// Without its number, which says nothing about the process.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Edition")
    }
}
