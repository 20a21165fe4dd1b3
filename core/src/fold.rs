//! Folding: moving pitches into the target mode.

use crate::note::Key;
use crate::phrase::Phrase;
use crate::settings::FoldSettings;

/// Where every key goes, for one phrase and one setting of the fold.
#[derive(Clone, Debug, PartialEq)]
pub struct FoldMap {
    to: [Key; 128],
}

impl FoldMap {
    /// The map for these settings; the phrase tells the source mode if it is to be found.
    pub fn new(_settings: &FoldSettings, _phrase: &Phrase) -> Self {
        Self {
            to: std::array::from_fn(|key| Key::by_octave(key as i32)),
        }
    }

    /// Where `key` goes.
    pub fn key(&self, key: Key) -> Key {
        self.to[usize::from(key.number())]
    }
}
