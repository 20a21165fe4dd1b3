//! Builds, shows, tests and measures Procession.
fn main() {}
