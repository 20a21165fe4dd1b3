//! Prints, for many rhythms, what is said of their alignments, and for many sets of pitch classes
//! what they are called, for outside libraries to compare.

use procession_core::form::alignments;
use procession_core::mode::{PitchName, PitchSet};
use procession_core::note::{Key, Note, Velocity};
use procession_core::phrase::{Phrase, PhraseError};
use procession_core::sonority::Sonority;

fn main() -> Result<(), PhraseError> {
    let mut chance = 2026u64;
    let rhythms: Result<Vec<_>, _> = (0..300).map(|_| rhythm(&mut chance)).collect();
    let chords = (0..4096u16)
        .map(PitchSet::from_bits)
        .filter(|set| (3..=4).contains(&set.len()));
    let chords: Vec<_> = chords.map(chord).collect();
    println!(
        "{{\"rhythms\": [\n{}\n], \"chords\": [\n{}\n]}}",
        rhythms?.join(",\n"),
        chords.join(",\n")
    );
    Ok(())
}

/// Some steps of 4 to 24, struck by chance.
fn rhythm(chance: &mut u64) -> Result<String, PhraseError> {
    let mut next = |below: u64| {
        // Knuth's linear congruential generator (The Art of Computer Programming, vol. 2, from
        // memory): any numbers without a pattern would do.
        *chance = chance
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (*chance >> 33) % below
    };
    let steps = 4 + next(21);
    let mut struck: Vec<u64> = (0..steps).filter(|_| next(2) == 0).collect();
    if struck.is_empty() {
        struck.push(0);
    }
    let notes = struck.iter().filter_map(|step| {
        let (key, velocity) = (Key::new(60)?, Velocity::new(0.5));
        Some(Note {
            onset: *step as f64 * 0.25,
            length: 0.25,
            key,
            velocity,
            said: None,
        })
    });
    let phrase = Phrase::new(notes, steps as f64 * 0.25)?;
    let attacks: Vec<_> = alignments(&phrase, 0.25)
        .iter()
        .map(|a| a.attacks)
        .collect();
    Ok(format!(
        "{{\"steps\": {steps}, \"struck\": {struck:?}, \"attacks\": {attacks:?}}}"
    ))
}

fn chord(set: PitchSet) -> String {
    let pitch_classes: Vec<u8> = set.iter().collect();
    let name = Sonority { pitch_classes: set }.name(None);
    // The root is the first word, where the name begins with one.
    let root = name
        .split(' ')
        .next()
        .and_then(PitchName::from_text)
        .map(PitchName::pitch_class);
    let root = root.map_or("null".to_owned(), |root| root.to_string());
    format!("{{\"pitch_classes\": {pitch_classes:?}, \"name\": \"{name}\", \"root\": {root}}}")
}
