//! Keeps the library in memory once it is loaded, and puts the notices into it.

use std::path::PathBuf;
use std::{env, fs};

fn main() {
    println!("cargo:rerun-if-changed=build.rs");
    // A window's thread may still be leaving when the host unloads the last instance's code; it
    // would then run what is no longer there.
    let system = env::var("CARGO_CFG_TARGET_OS").unwrap_or_default();
    if system == "linux" {
        println!("cargo:rustc-cdylib-link-arg=-Wl,-z,nodelete");
    }
    put_notices();
}

/// `cargo xtask bundle` tells where the text is that it puts beside the bundle. Whoever else builds
/// has none, and the window says so.
fn put_notices() {
    const PATH: &str = "PROCESSION_NOTICES";
    println!("cargo:rerun-if-env-changed={PATH}");
    let text = env::var_os(PATH).map(PathBuf::from).map(|path| {
        println!("cargo:rerun-if-changed={}", path.display());
        fs::read_to_string(&path)
            .unwrap_or_else(|error| panic!("{PATH}, {}: {error}", path.display()))
    });
    let to = PathBuf::from(env::var_os("OUT_DIR").unwrap_or_default()).join("notices.txt");
    fs::write(&to, text.unwrap_or_default())
        .unwrap_or_else(|error| panic!("{}: {error}", to.display()));
}
