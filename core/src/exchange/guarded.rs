//! Where others' decoders are at work on what may be damaged.

use std::panic::{UnwindSafe, catch_unwind};

/// What that decoder makes of it; none if it falls over, which is all there is to say of it then.
pub(super) fn guarded<T>(decoder: impl FnOnce() -> T + UnwindSafe) -> Option<T> {
    catch_unwind(decoder).ok()
}
