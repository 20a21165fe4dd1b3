//! What is to be said of a piece that is known from beginning to end: for files.

use crate::note::Syllable;
use crate::part::{MAX_VOICES, Part};
use crate::phrase::Phrase;
use crate::process::VoiceNote;

/// Which syllables each voice says, and when, in seconds from the beginning.
#[derive(Clone, Debug, Default)]
pub(crate) struct Lines([Vec<(f64, Syllable)>; MAX_VOICES]);

impl Lines {
    /// Of notes of that phrase in any order, each with its time in seconds.
    pub(crate) fn of<'a>(
        phrase: &Phrase,
        notes: impl Iterator<Item = (f64, &'a VoiceNote)>,
    ) -> Self {
        let mut lines = Self::default();
        for (at, note) in notes.filter(|(_, note)| note.part.is_voice()) {
            let said = phrase.notes().get(note.index).and_then(|note| note.said);
            if let Some(said) = said {
                lines.0[note.part.index()].push((at, said));
            }
        }
        for line in &mut lines.0 {
            line.sort_by(|one, other| one.0.total_cmp(&other.0));
        }
        lines
    }

    /// What a voice says whose notes begin between two moments, in seconds.
    pub(super) fn between(
        &self,
        part: Part,
        from: f64,
        to: f64,
    ) -> impl Iterator<Item = (f64, Syllable)> + use<'_> {
        let line = &self.0[part.index()];
        let place = |at: f64| line.partition_point(|(on, _)| *on < at);
        let from = place(from);
        line[from..place(to).max(from)].iter().copied()
    }
}
