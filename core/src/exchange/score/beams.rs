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

/// The beams of each thing written in a bar, the thickest level first. Rests, and notes alone in
/// their beat, have none.
pub(super) fn beams(bar: &[Written]) -> Vec<Vec<Beam>> {
    let flags = |written: &Written| {
        if written.keys.is_empty() {
            0
        } else {
            written.value.flags()
        }
    };
    let mut beams = vec![Vec::new(); bar.len()];
    let mut at = 0;
    for group in bar.chunk_by(|a, b| a.beat == b.beat && flags(a) > 0 && flags(b) > 0) {
        let levels: Vec<usize> = group.iter().map(flags).collect();
        if group.len() > 1 {
            for (index, note) in beams[at..at + group.len()].iter_mut().enumerate() {
                *note = (1..=levels[index])
                    .map(|level| beam(&levels, index, level))
                    .collect();
            }
        }
        at += group.len();
    }
    beams
}

fn beam(levels: &[usize], index: usize, level: usize) -> Beam {
    let joins = |index: Option<usize>| {
        index
            .and_then(|index| levels.get(index))
            .is_some_and(|flags| *flags >= level)
    };
    match (joins(index.checked_sub(1)), joins(Some(index + 1))) {
        (false, true) => Beam::Begin,
        (true, true) => Beam::Continue,
        (true, false) => Beam::End,
        (false, false) if index == 0 => Beam::ForwardHook,
        (false, false) => Beam::BackwardHook,
    }
}
