//! One note a key at a time: a phrase's notes, so that no key is struck while it sounds.

use crate::note::Note;
use crate::time::{Beats, to_ticks};

/// Cuts notes, given in order of onset, so that each ends where its key is struck again, also
/// across the seam of a phrase of `length` beats. Two that strike a key at the same tick become
/// one, as hard and as long as either.
///
/// Returns how many remain; they come first.
pub(crate) fn one_note_a_key(notes: &mut [Note], length: Beats) -> usize {
    let mut first = [None::<usize>; 128];
    let mut latest = [None::<usize>; 128];
    let mut kept = 0;
    for index in 0..notes.len() {
        let note = notes[index];
        let key = usize::from(note.key.number());
        if let Some(earlier) = latest[key].map(|earlier| &mut notes[earlier]) {
            if to_ticks(earlier.onset) == to_ticks(note.onset) {
                *earlier = either(earlier, &note);
                continue;
            }
            earlier.length = earlier.length.min(note.onset - earlier.onset);
        }
        notes[kept] = note;
        first[key].get_or_insert(kept);
        latest[key] = Some(kept);
        kept += 1;
    }
    for (first, latest) in first
        .into_iter()
        .flatten()
        .zip(latest.into_iter().flatten())
    {
        let again = notes[first].onset + length;
        let latest = &mut notes[latest];
        latest.length = latest.length.min(again - latest.onset);
    }
    kept
}

fn either(earlier: &Note, note: &Note) -> Note {
    let harder = if note.velocity > earlier.velocity {
        note.velocity
    } else {
        earlier.velocity
    };
    Note {
        length: earlier.length.max(note.length),
        velocity: harder,
        ..*earlier
    }
}
