//! Clefs: the one that puts a part's notes nearest to the staff.

use super::pitch::Pitch;

/// A clef.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Clef {
    pub sign: &'static str,
    pub line: u8,
    /// Octaves that notes sound above where they stand.
    pub octaves: i32,
    /// Where its lowest line is, in letters above C0.
    lowest: i32,
}

/// The lowest line is E4.
pub(super) const TREBLE: Clef = Clef {
    sign: "G",
    line: 2,
    octaves: 0,
    lowest: 4 * 7 + 2,
};

/// Treble; bass, whose lowest line is G2; and both with an octave added outside.
const CLEFS: [Clef; 4] = [
    TREBLE,
    Clef {
        sign: "F",
        line: 4,
        octaves: 0,
        lowest: 2 * 7 + 4,
    },
    Clef {
        sign: "G",
        line: 2,
        octaves: 1,
        lowest: 5 * 7 + 2,
    },
    Clef {
        sign: "F",
        line: 4,
        octaves: -1,
        lowest: 7 + 4,
    },
];

/// The clef for these pitches: the fewest ledger lines, the plain clefs first.
pub(super) fn clef(pitches: &[Pitch]) -> Clef {
    let cost = |clef: &Clef| -> i32 {
        let reading = if clef.octaves == 0 { 0 } else { 2 };
        let each = pitches.iter().map(|pitch| {
            let above = pitch.letters_above_c0() - clef.lowest;
            // Between the space below the staff and the space above it there are no ledgers.
            let ledgers = (above - 8).max(-above).max(1) / 2;
            // Many are worse than few, twice over.
            ledgers * ledgers + reading
        });
        each.sum()
    };
    let best = CLEFS.iter().min_by_key(|clef| cost(clef));
    best.copied().unwrap_or(TREBLE)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mode::{Mode, ModeName, PitchSet};
    use crate::note::Key;

    fn clef_for(keys: &[u8]) -> (&'static str, i32) {
        let mode = Mode::named(0, ModeName::Ionian, PitchSet::CHROMATIC);
        let spelling = mode.spelling();
        let keys = keys.iter().filter_map(|key| Key::new(*key));
        let pitches: Vec<_> = keys.map(|key| Pitch::below(key, 0, &spelling)).collect();
        let clef = clef(&pitches);
        (clef.sign, clef.octaves)
    }

    #[test]
    fn clefs_follow_the_range() {
        assert_eq!(clef_for(&[62, 69, 76]), ("G", 0));
        assert_eq!(clef_for(&[36, 48, 55]), ("F", 0));
        assert_eq!(clef_for(&[96, 100, 103]), ("G", 1));
        assert_eq!(clef_for(&[24, 26, 28]), ("F", -1));
        assert_eq!(clef_for(&[]), ("G", 0));
    }
}
