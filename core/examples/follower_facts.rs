//! Prints, for simulated players of a drift, the keys of the part, the keys that were struck, and
//! which of them the follower takes for which, for an outside library to compare.

#[path = "../tests/follower/player.rs"]
#[allow(dead_code, reason = "shared with tests that use a part each")]
mod player;

use player::{Chance, Hand, performance};
use procession_core::follower::{Follower, Heard};
use procession_core::part::Part;
use procession_core::phrase::{Phrase, PhraseError};
use procession_core::process::Process;
use procession_core::settings::Settings;
use procession_core::time::Span;

fn main() -> Result<(), PhraseError> {
    let mut settings = Settings::default();
    (settings.motion.dwell, settings.motion.drift) = (4, 4);
    let phrase = Phrase::from_text("D4 . A4 G4 . E4 A4 C5 . G4 E4 A4", 0.25)?;
    let process = Process::new(phrase, settings, 0.0);
    let passes: Vec<String> = (0..30).map(|seed| pass(&process, seed)).collect();
    println!("[{}]", passes.join(",\n"));
    Ok(())
}

fn pass(process: &Process, seed: u64) -> String {
    let hand = Hand {
        late_ms: 10.0,
        uneven_ms: 20.0,
        wrong: 0.05,
        missing: 0.05,
        doubled: 0.0,
        extra: 0.05,
    };
    let mut chance = Chance::new(seed);
    // To a step ahead, to two, or half-way and back.
    let ahead = |at: f64| {
        let share = ((at - 12.0) / 15.0).clamp(0.0, 1.0);
        0.25 * match seed % 3 {
            0 => share,
            1 => 2.0 * share,
            _ => 1.2 * share * (1.0 - share) * 2.0,
        }
    };
    let span = Span::new(6.0, 36.0);
    let played = performance(process, Part::COPY_1, span, 556.0, hand, &mut chance, ahead);
    let plan: Vec<_> = process.notes(Part::COPY_1, Span::new(0.0, 42.0)).collect();
    let mut follower = Follower::new(0.25);
    let mut matches = Vec::new();
    for (index, one) in played.iter().enumerate() {
        if let Heard::Matched(found) = follower.hear(process, Part::COPY_1, one.struck) {
            let meant = plan
                .iter()
                .position(|note| (note.on - found.on).abs() < 1e-6 && note.key == found.key);
            matches.extend(meant.map(|meant| format!("[{index}, {meant}]")));
        }
    }
    let keys: Vec<u8> = plan.iter().map(|note| note.key.number()).collect();
    let struck: Vec<u8> = played.iter().map(|one| one.struck.key.number()).collect();
    format!(
        "{{\"plan\": {keys:?}, \"struck\": {struck:?}, \"matches\": [{}]}}",
        matches.join(", ")
    )
}
