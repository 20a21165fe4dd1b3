//! Lines: a part's notes sorted into what one stem can carry.

use super::sheet::PartNote;
use crate::note::Key;

/// The most lines on a staff.
const MOST_LINES: usize = 4;

/// Notes struck and released together, in written ticks.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Chord {
    pub start: i64,
    pub end: i64,
    /// From low to high.
    pub keys: Vec<Key>,
    /// Whether it sounds on beyond the passage.
    pub rings: bool,
}

/// The lines of a passage of `length`, from high to low; in each, one chord ends before the next
/// begins, and the next goes on in the line that is nearest. Where more sounds at once than lines
/// can carry, chords are shortened.
pub(super) fn lines(notes: &[PartNote], length: i64, compound: bool) -> Vec<Vec<Chord>> {
    let mut lines: Vec<Vec<Chord>> = Vec::new();
    for chord in chords(notes, length, compound) {
        let free = (0..lines.len())
            .filter(|line| ends(&lines[*line]) <= chord.start)
            .min_by_key(|line| distance(&lines[*line], &chord));
        match free {
            Some(line) => lines[line].push(chord),
            None if lines.len() < MOST_LINES => lines.push(vec![chord]),
            None => squeeze(&mut lines, chord),
        }
    }
    lines.sort_by_key(|line| std::cmp::Reverse(height(line)));
    lines
}

/// From a line's last note up or down to a chord, in semitones.
fn distance(line: &[Chord], chord: &Chord) -> i32 {
    let top = |chord: &Chord| chord.keys.last().map_or(0, |key| i32::from(key.number()));
    line.last().map_or(0, |last| (top(last) - top(chord)).abs())
}

/// The mean of a line's keys.
fn height(line: &[Chord]) -> usize {
    let keys = || line.iter().flat_map(|chord| &chord.keys);
    let sum: usize = keys().map(|key| usize::from(key.number())).sum();
    sum / keys().count().max(1)
}

fn ends(line: &[Chord]) -> i64 {
    line.last().map_or(0, |chord| chord.end)
}

/// Takes the place of the chord that began first.
fn squeeze(lines: &mut [Vec<Chord>], chord: Chord) {
    let starts = |line: &Vec<Chord>| line.last().map_or(0, |chord| chord.start);
    let Some(line) = lines.iter_mut().min_by_key(|line| starts(line)) else {
        return;
    };
    match line.last_mut() {
        Some(last) if last.start == chord.start => {
            last.keys.extend(chord.keys);
            last.keys.sort_unstable();
            last.keys.dedup();
        }
        Some(last) => {
            last.end = chord.start;
            last.rings = false;
            line.push(chord);
        }
        None => line.push(chord),
    }
}

/// By onset, the highest first.
fn chords(notes: &[PartNote], length: i64, compound: bool) -> Vec<Chord> {
    let written = |ticks: i64| if compound { ticks * 3 / 2 } else { ticks };
    let mut chords: Vec<Chord> = Vec::new();
    for note in notes {
        let (start, end) = (written(note.onset), written(note.end().min(length)));
        let rings = note.end() > length;
        let together = chords
            .iter_mut()
            .rev()
            .take_while(|chord| chord.start == start)
            .find(|chord| (chord.end, chord.rings) == (end, rings));
        match together {
            Some(chord) => chord.keys.push(note.key),
            None => chords.push(Chord {
                start,
                end,
                keys: vec![note.key],
                rings,
            }),
        }
    }
    chords.sort_by_key(|chord| (chord.start, std::cmp::Reverse(chord.keys.last().copied())));
    chords
}
