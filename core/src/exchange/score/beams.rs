//! Beams: short notes of one beat, joined.

use super::values::Written;

/// What a beam does at a note.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Beam {
    Begin,
    Continue,
    End,
    ForwardHook,
    BackwardHook,
}

impl Beam {
    /// Its name in the format.
    pub fn name(self) -> &'static str {
        match self {
            Self::Begin => "begin",
            Self::Continue => "continue",
            Self::End => "end",
            Self::ForwardHook => "forward hook",
            Self::BackwardHook => "backward hook",
        }
    }
}

/// The beams of each thing written in a bar, the thickest level first. A beam shows its beat: it goes
/// on over rests within, but neither begins nor ends with one. Notes alone in their beat have none.
pub(super) fn beams(bar: &[Written]) -> Vec<Vec<Beam>> {
    let mut beams = vec![Vec::new(); bar.len()];
    let mut at = 0;
    for group in bar.chunk_by(|a, b| a.beat == b.beat && flags(a) > 0 && flags(b) > 0) {
        let is_note = |written: &Written| !written.keys.is_empty();
        let first = group.iter().position(is_note).unwrap_or(0);
        let last = group.iter().rposition(is_note).unwrap_or(0);
        for index in (first..=last).filter(|index| is_note(&group[*index]) && first < last) {
            beams[at + index] = (1..=flags(&group[index]))
                .map(|level| beam(group, index, level))
                .collect();
        }
        at += group.len();
    }
    beams
}

fn flags(written: &Written) -> usize {
    written.value.flags()
}

fn beam(group: &[Written], index: usize, level: usize) -> Beam {
    let before = joins(group[..index].iter().rev(), level);
    let after = joins(group[index + 1..].iter(), level);
    match (before, after) {
        (false, true) => Beam::Begin,
        (true, true) => Beam::Continue,
        (true, false) => Beam::End,
        (false, false) if index == 0 => Beam::ForwardHook,
        (false, false) => Beam::BackwardHook,
    }
}

/// Whether there is another note that way, and it and all rests up to it have so many flags.
fn joins<'a>(way: impl Iterator<Item = &'a Written>, level: usize) -> bool {
    way.take_while(|written| flags(written) >= level)
        .any(|written| !written.keys.is_empty())
}

#[cfg(test)]
mod tests {
    use super::super::metre::Metre;
    use super::super::values::tests::line;
    use super::super::values::written;
    use super::*;

    /// The beams of a beat's notes, a level a letter; `chords` in written ticks.
    fn beat(chords: &[(i64, i64)]) -> String {
        let line = line(chords);
        let metre = Metre {
            length: 960,
            compound: false,
            unit: 4,
            of: None,
        };
        let words: Vec<String> = beams(&written(&line, 0, &metre))
            .iter()
            .map(|levels| levels.iter().map(|beam| &beam.name()[..1]).collect())
            .collect();
        words.join(" ")
    }

    #[test]
    fn a_beam_goes_on_over_a_rest_within_the_beat() {
        assert_eq!(beat(&[(0, 240), (240, 480), (720, 960)]), "bb cc  ee");
        assert_eq!(beat(&[(0, 240), (480, 960)]), "bf  e");
    }

    #[test]
    fn a_beam_neither_begins_nor_ends_with_a_rest() {
        assert_eq!(beat(&[(240, 480), (480, 720)]), " bb ee ");
        assert_eq!(beat(&[(240, 480)]), "  ");
    }

    #[test]
    fn a_level_that_a_rest_does_not_reach_is_broken_there() {
        // Thirty-seconds with a rest of a sixteenth, among others, between them.
        assert_eq!(beat(&[(0, 120), (480, 600)]), "bbf   eeb  ");
    }
}
