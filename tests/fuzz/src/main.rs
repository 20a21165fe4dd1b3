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
            mind_only_our_own();
            let name = std::env::var(TOLD).unwrap_or_default();
            target(&name).unwrap_or(&TARGETS[0])
        });
        (chosen.run)(bytes);
    });
});

/// Others' decoders, whose panics are caught where they are called.
const GUARDED: [&str; 3] = ["symphonia", "flac-codec", "midly"];

/// The guide takes any panic for a find. Those that are caught are none.
fn mind_only_our_own() {
    let find = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |told| {
        let place = told.location();
        let is_of = |decoder: &str| place.is_some_and(|place| place.file().contains(decoder));
        if !GUARDED.into_iter().any(is_of) {
            find(told);
        }
    }));
}
