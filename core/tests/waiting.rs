//! Nothing on the audio thread waits: the lists by which clippy says so, and who may opt out.
//!
//! What allocates is caught while it runs, by the framework's guard. A lock that nobody else holds
//! cannot be caught so: it does not wait, that time. It is caught where it is written.

#![allow(clippy::unwrap_used, reason = "a test")]

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// All of the standard library by which one thread may wait for another, and what of its channels
/// allocates or frees.
const WAITS: [&str; 10] = [
    "std::sync::Mutex",
    "std::sync::RwLock",
    "std::sync::Condvar",
    "std::sync::Barrier",
    "std::sync::Once",
    "std::sync::OnceLock",
    "std::sync::LazyLock",
    "std::sync::mpsc::Sender",
    "std::sync::mpsc::SyncSender",
    "std::sync::mpsc::Receiver",
];

const PAUSES: [&str; 3] = [
    "std::thread::sleep",
    "std::thread::park",
    "std::thread::JoinHandle::join",
];

#[test]
fn whatever_waits_is_on_the_lists_that_core_and_the_plug_in_are_checked_by() {
    for list in ["core/clippy.toml", "plugin/clippy.toml"] {
        let text = fs::read_to_string(root().join(list)).unwrap();
        for path in WAITS.iter().chain(&PAUSES) {
            let entry = format!("{{ path = \"{path}\", reason = ");
            assert!(text.contains(&entry), "{path} is not in {list}");
        }
    }
}

fn opted_out_below(folder: &Path, found: &mut BTreeSet<String>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            opted_out_below(&path, found);
        } else if path.extension().is_some_and(|end| end == "rs") {
            let text = fs::read_to_string(&path).unwrap();
            if text.contains("clippy::disallowed_") {
                let shown = path.strip_prefix(root()).unwrap();
                found.insert(shown.to_string_lossy().replace('\\', "/"));
            }
        }
    }
}

/// Whoever opts out says so here too: of the window and of files nothing runs on the audio thread;
/// the rest is a line or two each, with its reason beside it.
#[test]
fn only_these_files_may_wait() {
    let mut found = BTreeSet::new();
    opted_out_below(&root().join("core/src"), &mut found);
    opted_out_below(&root().join("plugin/src"), &mut found);
    let known = [
        "plugin/src/clap.rs",
        "plugin/src/handover.rs",
        "plugin/src/lib.rs",
        "plugin/src/microphone.rs",
        "plugin/src/microphone/tape.rs",
        "plugin/src/params.rs",
        "plugin/src/program.rs",
        "plugin/src/vst3_keeper.rs",
    ];
    assert_eq!(found, known.map(str::to_owned).into());
}
