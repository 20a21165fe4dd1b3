//! The order of the house: a module of core names only modules that `lib.rs` lists above it.

#![allow(clippy::unwrap_used, reason = "a test")]

use std::fs;
use std::path::{Path, PathBuf};

fn source() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("src")
}

/// The modules in reading order, the lowest first.
fn modules() -> Vec<String> {
    let lib = fs::read_to_string(source().join("lib.rs")).unwrap();
    lib.lines()
        .filter_map(|line| line.strip_prefix("pub mod ")?.strip_suffix(';'))
        .map(str::to_owned)
        .collect()
}

/// The files of a module: its own, and those in the folder of its name.
fn files_of(module: &str) -> Vec<PathBuf> {
    fn below(folder: &Path, found: &mut Vec<PathBuf>) {
        for entry in fs::read_dir(folder).into_iter().flatten() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                below(&path, found);
            } else if path.extension().is_some_and(|end| end == "rs") {
                found.push(path);
            }
        }
    }
    let mut found = Vec::new();
    let own = source().join(format!("{module}.rs"));
    found.extend(own.exists().then_some(own));
    below(&source().join(module), &mut found);
    found
}

/// The modules that the code of a file names; its comments, and the tests at its end, may name any.
fn named(code: &str) -> Vec<String> {
    let lines = code.lines().take_while(|line| *line != "#[cfg(test)]");
    let told = lines.filter(|line| !line.trim_start().starts_with("//"));
    told.flat_map(|line| line.split("crate::").skip(1))
        .map(|path| {
            // A list of modules in braces would hide all but the first.
            assert!(
                !path.starts_with('{'),
                "a line for each module: crate::{path}"
            );
            let ends = |c: char| !(c.is_alphanumeric() || c == '_');
            path.split(ends).next().unwrap_or_default().to_owned()
        })
        .collect()
}

#[test]
fn no_module_names_one_that_stands_above_it() {
    let modules = modules();
    let place = |name: &str| modules.iter().position(|module| module == name);
    assert!(place("time") < place("voices") && place("voices") < place("process"));
    let mut upwards = Vec::new();
    let mut files = 0;
    for (index, module) in modules.iter().enumerate() {
        for file in files_of(module) {
            files += 1;
            // The tests of a module in a file of their own.
            if file.ends_with("tests.rs") {
                continue;
            }
            for other in named(&fs::read_to_string(&file).unwrap()) {
                if place(&other).is_some_and(|other| other > index) {
                    upwards.push(format!("{} names {other}", file.display()));
                }
            }
        }
    }
    assert!(files >= modules.len(), "every module has a file");
    assert!(upwards.is_empty(), "{upwards:#?}");
}
