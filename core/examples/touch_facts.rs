//! Prints how a process is played, as JSON, so that an outside reference can be asked whether it is
//! as it should be: `cargo run --example touch_facts`.
//!
//! `timing` and `velocity` have a series for each of some seeds: how far every sixteenth of a steady
//! pulse is from where, and from how hard, it is written. `accents` has the weights of every eighth of
//! a bar, for some metres; `usual` says how some signatures are grouped.

use procession_core::metre::Metre;
use procession_core::part::Part;
use procession_core::phrase::Phrase;
use procession_core::process::Process;
use procession_core::settings::{Settings, TouchSettings};
use procession_core::time::Span;
use procession_core::touch::Touch;
use serde_json::json;

const SEEDS: u64 = 12;
const NOTES: usize = 4096;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let (mut timing, mut velocity) = (Vec::new(), Vec::new());
    for seed in 1..=SEEDS {
        let mut settings = Settings::default();
        settings.growth.seed = seed;
        settings.touch = TouchSettings {
            timing: 0.08,
            velocity: 0.1,
            ..TouchSettings::default()
        };
        // From a later beat on, so that nothing is held back by the beginning.
        let process = Process::new(Phrase::from_text("D4 F4 G4 A4", 0.25)?, settings, 0.0);
        let touch = Touch::of(&process);
        let written = process.notes(Part::Steady, Span::new(8.0, 8.0 + 0.25 * NOTES as f64));
        let both = written.map(|note| {
            let played = touch.play(note);
            let harder = played.velocity.value() / note.velocity.value() - 1.0;
            (played.on - note.on, f64::from(harder))
        });
        let (early_or_late, harder): (Vec<f64>, Vec<f64>) = both.unzip();
        timing.push(early_or_late);
        velocity.push(harder);
    }
    let accents = [(4, 4), (3, 4), (2, 4), (6, 8), (9, 8), (12, 8)].map(|(count, unit)| {
        let weights = Metre::new(count, unit).map(|metre| {
            let eighths = (metre.bar() * 2.0) as usize;
            let weights = (0..eighths).map(|eighth| metre.accent(eighth as f64 / 2.0));
            weights.collect::<Vec<_>>()
        });
        json!({"metre": format!("{count}/{unit}"), "weights": weights})
    });
    const GROUPED: [&str; 10] = [
        "2+2+3/8",
        "3+2/8",
        "3+3+2/8",
        "2+2/4",
        "4+3/8",
        "2+2+2+3/8",
        "2+2+2/8",
        "3+2/4",
        "3+3+3+3/8",
        "1+2+2/8",
    ];
    let grouped = GROUPED.map(|text| {
        let weights = Metre::from_text(text, Metre::COMMON).map(|metre| {
            let pulses = (0..metre.count()).map(|at| metre.accent(f64::from(at) * metre.pulse()));
            pulses.collect::<Vec<_>>()
        });
        json!({"metre": text, "weights": weights.unwrap_or_default()})
    });
    let usual = [(5, 8), (7, 8), (5, 4), (7, 4), (7, 16)].map(|(count, unit)| {
        let metre = Metre::new(count, unit).map(Metre::usually);
        let groups = metre.map(|metre| metre.groups().collect::<Vec<_>>());
        json!({"metre": format!("{count}/{unit}"), "groups": groups})
    });
    println!(
        "{}",
        json!({
            "timing": timing,
            "velocity": velocity,
            "accents": accents,
            "grouped": grouped,
            "usual": usual,
        })
    );
    Ok(())
}
