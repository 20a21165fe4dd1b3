//! A route out of a plan as JSON.

use procession_core::exchange::plan::read_route;
use procession_core::phrase::Phrase;
use procession_core::process::Process;
use procession_core::settings::Settings;
use procession_core::time::Span;

/// What is read can be played.
pub fn run(bytes: &[u8]) {
    let route = match read_route(bytes) {
        Ok(route) => route,
        Err(refused) => return assert!(!refused.to_string().is_empty()),
    };
    let Ok(phrase) = Phrase::from_text("D4 F4 . A4", 0.25) else {
        unreachable!("that is a phrase");
    };
    let mut process = Process::new(phrase, Settings::default(), 0.0);
    process.set_route(&route);
    for (from, to) in [(-1.0, 4.0), (100.0, 101.0), (1e6, 1e6 + 1.0)] {
        for part in procession_core::part::Part::ALL {
            let notes = process.notes(part, Span::new(from, to));
            assert!(notes.take(10_000).count() < 10_000);
        }
    }
}
