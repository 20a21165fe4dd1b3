//! The corpora, whole and damaged by chance.

use procession_fuzz::TARGETS;
use procession_tests::staging::Dice;
use std::fs;
use std::path::Path;

/// How often each piece of a corpus is damaged. The seeds are always the same.
const DAMAGES: u64 = 12;

fn corpus(name: &str) -> Vec<(String, Vec<u8>)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("corpus")
        .join(name);
    let mut pieces: Vec<_> = fs::read_dir(&folder)
        .unwrap_or_else(|error| panic!("{}: {error}", folder.display()))
        .map(|entry| {
            let path = entry.expect("a folder can be read").path();
            let name = path.display().to_string();
            (name, fs::read(path).expect("a file can be read"))
        })
        .collect();
    pieces.sort();
    assert!(!pieces.is_empty(), "nothing in {}", folder.display());
    pieces
}

/// A few bytes changed, taken out, doubled, or cut off.
fn damaged(bytes: &[u8], dice: &mut Dice) -> Vec<u8> {
    let mut bytes = bytes.to_vec();
    for _ in 0..=dice.below(4) {
        let at = dice.below(bytes.len() as u64) as usize;
        let length = dice.below(1 + (bytes.len() - at).min(16) as u64) as usize;
        match dice.below(5) {
            0 if at < bytes.len() => bytes[at] = dice.below(256) as u8,
            1 if at < bytes.len() => bytes[at] ^= 1 << dice.below(8),
            2 => drop(bytes.drain(at..at + length)),
            3 => {
                let again = bytes[at..at + length].to_vec();
                bytes.splice(at..at, again);
            }
            _ => bytes.truncate(at + length),
        }
    }
    bytes
}

/// Each target by itself, so that they run side by side.
fn try_target(name: &str) {
    let target = procession_fuzz::target(name).expect("a target");
    for (path, bytes) in corpus(name) {
        // Shown if the test fails.
        println!("{path}");
        (target.run)(&bytes);
        for seed in 0..DAMAGES {
            println!("{path}, damaged by {seed}");
            (target.run)(&damaged(&bytes, &mut Dice::new(seed)));
        }
    }
}

#[test]
fn files_are_read_or_refused() {
    try_target("file");
}

#[test]
fn sound_files_are_read_or_refused() {
    try_target("sound");
}

#[test]
fn words_are_read_or_refused() {
    try_target("words");
}

#[test]
fn plans_are_read_and_played_or_refused() {
    try_target("plan");
}

#[test]
fn states_are_loaded_or_refused_and_saved_as_they_are() {
    try_target("state");
}

#[test]
fn hosts_by_chance_leave_no_note_hanging() {
    try_target("host");
}

#[test]
fn every_way_in_is_tried() {
    let tried = ["file", "sound", "words", "plan", "state", "host"];
    assert_eq!(TARGETS.map(|target| target.name), tried);
}
