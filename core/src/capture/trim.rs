//! One note a key at a time: a phrase's notes, so that no key is struck while it sounds.

use crate::note::Note;
use crate::time::{Beats, from_ticks};

/// Cuts notes, given in order of onset, so that each ends where its key is struck again, also
/// across the seam of a phrase of `length` beats. Two that strike a key within a tick become one,
/// as hard and as long as either.
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
            let since = note.onset - earlier.onset;
            if since < from_ticks(1) {
                *earlier = either(earlier, &note);
                continue;
            }
            earlier.length = earlier.length.min(since);
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::note::{Key, Velocity};

    fn note(onset: Beats, length: Beats, velocity: f32) -> Note {
        let key = Key::new(60).unwrap();
        Note {
            onset,
            length,
            key,
            velocity: Velocity::new(velocity),
            said: None,
        }
    }

    #[test]
    fn a_note_ends_where_its_key_is_struck_again_also_across_the_seam() {
        let mut notes = [note(0.5, 2.0, 0.5), note(1.5, 3.5, 0.5)];
        assert_eq!(one_note_a_key(&mut notes, 4.0), 2);
        assert_eq!(notes[0].length, 1.0);
        assert_eq!(notes[1].length, 3.0, "the first comes round at 4.5");
    }

    #[test]
    fn two_strokes_at_once_are_one_as_hard_and_as_long_as_either() {
        let mut notes = [
            note(1.0, 0.25, 0.8),
            note(1.0, 0.5, 0.4),
            note(2.0, 0.25, 0.3),
        ];
        assert_eq!(one_note_a_key(&mut notes, 4.0), 2);
        assert_eq!(notes[0], note(1.0, 0.5, 0.8));
        assert_eq!(notes[1], note(2.0, 0.25, 0.3));
    }
}
