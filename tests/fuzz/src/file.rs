//! A phrase out of a file, MIDI or MusicXML.

use procession_core::exchange::open::{Excerpt, contents, read};
use procession_core::phrase::Phrase;

/// Most parts and bars of a file that are asked for by number.
const ASKED: usize = 3;

/// What a file has to choose from can be chosen, or is refused in words; what is read is a phrase.
pub fn run(bytes: &[u8]) {
    let grid = 0.25;
    read_one(bytes, grid, &Excerpt::default());
    let Ok(contents) = contents(bytes) else {
        return;
    };
    for part in 0..contents.parts.len().min(ASKED) {
        let bars = (contents.bars > 1).then(|| 2..=contents.bars.min(ASKED));
        let part = Some(part);
        read_one(bytes, grid, &Excerpt { part, bars });
    }
}

fn read_one(bytes: &[u8], grid: f64, excerpt: &Excerpt) {
    match read(bytes, grid, excerpt) {
        Ok(found) => {
            let again = Phrase::new(found.phrase.notes().iter().copied(), found.phrase.length());
            assert!(again.is_ok(), "{again:?}");
            if let Some(tempo) = found.tempo {
                assert!(tempo.is_finite() && tempo > 0.0, "{tempo}");
            }
        }
        Err(refused) => assert!(!refused.to_string().is_empty()),
    }
}
