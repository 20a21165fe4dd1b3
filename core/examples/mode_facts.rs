//! Prints what the modes are and where folding by degree sends keys, as JSON, so that an outside
//! reference can be asked the same: `cargo run --example mode_facts`.
//!
//! `modes` lists every shipped mode. `by_degree` has a line for each pair of them, on two tonics:
//! the phrase's keys, where they went, and the key numbers of the two tonics from which degrees
//! are counted. A key that is no degree of the source is marked by `outside`.

use procession_core::fold::FoldMap;
use procession_core::mode::{Mode, ModeName, PitchSet};
use procession_core::note::{Key, Note, Velocity};
use procession_core::phrase::Phrase;
use procession_core::settings::{FoldKind, FoldSettings};
use std::fmt::Display;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let modes = ModeName::shipped().map(|(name, steps)| mode_line(name, steps));
    let mut dice = Dice(1);
    let mut pairs = Vec::new();
    for (from, _) in ModeName::shipped() {
        for (to, _) in ModeName::shipped() {
            pairs.push(pair_line(from, to, &mut dice)?);
        }
    }
    println!("{{\"modes\": [\n{}\n],", lines(modes));
    println!("\"by_degree\": [\n{}\n]}}", lines(pairs));
    Ok(())
}

fn mode_line(name: ModeName, steps: PitchSet) -> String {
    format!(
        r#"{{"id": "{}", "name": "{}", "semitones": {}}}"#,
        name.id(),
        name.name(),
        list(steps.iter())
    )
}

fn pair_line(
    from: ModeName,
    to: ModeName,
    dice: &mut Dice,
) -> Result<String, Box<dyn std::error::Error>> {
    let settings = FoldSettings {
        fold: FoldKind::ByDegree,
        source_tonic: Some(dice.below(12)),
        source_mode: Some(from),
        target_tonic: dice.below(12),
        target_mode: to,
        ..FoldSettings::default()
    };
    // Around the middle, where no result has to be brought back by octaves.
    let keys: [u8; 12] = std::array::from_fn(|_| 55 + dice.below(24));
    let keys = keys.map(Key::new).into_iter().flatten();
    let notes = keys.enumerate().map(|(index, key)| Note {
        onset: index as f64,
        length: 1.0,
        key,
        velocity: Velocity::new(0.7),
        said: None,
    });
    let phrase = Phrase::new(notes, 12.0)?;
    let map = FoldMap::new(&settings, &phrase);
    let keys = || phrase.notes().iter().map(|note| note.key);
    let lowest = keys().min().map_or(60, Key::number);
    let source_tonic = i32::from(tonic_at_or_below(lowest, &map.source()));
    // The nearest of the target's tonics; at a tritone, the direction of the numbers.
    let way = i32::from(map.target().tonic()) - i32::from(map.source().tonic());
    let way = if way.abs() > 6 {
        way - 12 * way.signum()
    } else {
        way
    };
    Ok(format!(
        r#"{{"source": "{}", "source_tonic": {}, "target": "{}", "target_tonic": {}, "keys": {}, "outside": {}, "folded": {}}}"#,
        from.id(),
        source_tonic,
        to.id(),
        source_tonic + way,
        list(keys().map(Key::number)),
        list(keys().map(|key| !map.source().contains(key))),
        list(keys().map(|key| map.key(key).number())),
    ))
}

fn tonic_at_or_below(key: u8, mode: &Mode) -> u8 {
    key - (key + 12 - mode.tonic()) % 12
}

fn lines(lines: impl IntoIterator<Item = String>) -> String {
    lines.into_iter().collect::<Vec<_>>().join(",\n")
}

fn list(values: impl Iterator<Item = impl Display>) -> String {
    let values: Vec<_> = values.map(|value| value.to_string()).collect();
    format!("[{}]", values.join(", "))
}

/// The same chance each time: a linear congruential generator with Knuth's constants for 64 bits.
struct Dice(u64);

impl Dice {
    fn below(&mut self, sides: u8) -> u8 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        // The upper bits are the more random ones.
        ((self.0 >> 33) % u64::from(sides)) as u8
    }
}
