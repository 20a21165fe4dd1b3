//! What is typed: a phrase in words, the name of a key.

use procession_core::phrase::Phrase;

/// What is read is written and read again as it is, as far as words say it.
pub fn run(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    for grid in [0.25, 0.5, 1.0 / 3.0] {
        match Phrase::from_text(&text, grid) {
            Ok(phrase) => {
                let written = phrase.to_text(grid);
                let again = Phrase::from_text(&written.text, grid);
                let Ok(again) = again else {
                    panic!("{again:?} of {}", written.text);
                };
                assert_eq!(again.to_text(grid).text, written.text);
                assert_eq!(again.notes().len(), phrase.notes().len());
            }
            Err(refused) => assert!(!refused.to_string().is_empty()),
        }
    }
}
