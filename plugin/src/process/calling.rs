//! Sketches that are called up, by a program change or in the window: when they come.
//!
//! The audio thread only says when. What comes is put in place on the host's main thread, which may
//! lock and allocate, and from where parameters go to the host as gestures; so it is heard from one
//! of the next blocks on.

use crate::bell::Bell;
use crate::state::{Comes, PLACES};
use procession_core::engine::Engine;
use procession_core::time::{Beats, HAIR};

/// What was called up and has not come.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Calling {
    waits: Option<usize>,
    /// Where the song was at the end of the last block.
    before: Beats,
}

/// Whether a line of that spacing, one of them at `first`, lies between two places of the song; the
/// later one counts. A leap is taken for one.
fn crosses(before: Beats, now: Beats, first: Beats, spacing: Beats) -> bool {
    let line = |at: Beats| ((at - first + HAIR) / spacing).floor();
    line(before) != line(now)
}

impl Calling {
    /// A program change, 0 ..= 127: whether it calls a sketch up, the places being `filled`, bit by
    /// bit. One for an empty place goes through to the instruments.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn program(&mut self, program: u8, filled: u8) -> bool {
        let place = usize::from(program);
        let is_there = place < PLACES && filled >> place & 1 == 1;
        if is_there {
            self.waits = Some(place);
        }
        is_there
    }

    /// At the end of a block: the place of the sketch that is to come now. The bars of the song are
    /// so long, and one begins at `first_bar`.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn due(
        &mut self,
        bell: &Bell,
        comes: Comes,
        engine: &Engine,
        (first_bar, bar): (Beats, Beats),
    ) -> Option<usize> {
        self.waits = bell.takes_asked().or(self.waits);
        let now = engine.clock().position();
        let before = std::mem::replace(&mut self.before, now);
        let process = engine.process();
        let is_due = match comes {
            Comes::Now => true,
            Comes::Bar => !engine.clock().is_playing() || crosses(before, now, first_bar, bar),
            Comes::Cycle => {
                let cycle = process.phrase().length();
                !engine.is_running() || crosses(before, now, process.origin(), cycle)
            }
        };
        if is_due { self.waits.take() } else { None }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn programs_for_places_that_are_filled_call_sketches_up_and_others_go_through() {
        let mut calling = Calling::default();
        let filled = 0b1000_0010;
        let called: Vec<u8> = (0..=127)
            .filter(|program| calling.program(*program, filled))
            .collect();
        assert_eq!(called, [1, 7]);
    }

    #[test]
    fn a_line_is_crossed_by_the_block_that_comes_to_it() {
        assert!(!crosses(3.9, 3.99, 0.0, 4.0));
        assert!(crosses(3.99, 4.0, 0.0, 4.0));
        assert!(!crosses(4.0, 4.1, 0.0, 4.0));
        assert!(crosses(5.4, 5.6, 1.5, 4.0), "bars that begin off the grid");
        assert!(crosses(12.0, 1.0, 0.0, 4.0), "a leap");
    }
}
