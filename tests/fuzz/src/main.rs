//! The guide: libFuzzer tries what reaches new code. `cargo xtask fuzz` says how it is called.
#![no_main]

use libfuzzer_sys::fuzz_target;
use procession_fuzz::{TARGETS, Target, target};
use std::cell::OnceCell;

/// Where the name of the target is told.
const TOLD: &str = "PROCESSION_FUZZ_TARGET";

thread_local! {
    static CHOSEN: OnceCell<&'static Target> = const { OnceCell::new() };
}

fuzz_target!(|bytes: &[u8]| {
    CHOSEN.with(|chosen| {
        let chosen = chosen.get_or_init(|| {
            let name = std::env::var(TOLD).unwrap_or_default();
            target(&name).unwrap_or(&TARGETS[0])
        });
        (chosen.run)(bytes);
    });
});
