//! Keeps the library in memory once it is loaded.

fn main() {
    println!("cargo:rerun-if-changed=build.rs");
    // A window's thread may still be leaving when the host unloads the last instance's code; it
    // would then run what is no longer there.
    let system = std::env::var("CARGO_CFG_TARGET_OS").unwrap_or_default();
    if system == "linux" {
        println!("cargo:rustc-cdylib-link-arg=-Wl,-z,nodelete");
    }
}
