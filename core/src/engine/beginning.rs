//! Where the process begins when hold goes on and nothing was newly played, and where it ends when
//! hold goes off.

use super::{Anchor, Engine};
use crate::count_in::CountIn;
use crate::metre::BarLines;
use crate::player::Event;
use crate::settings::{BeginOn, Beginning, MAX_COUNT_IN};
use crate::time::{Beats, Block, HAIR, LATE, MaterialPlace};

impl Engine {
    /// The bars of the song; bars of four from its beginning if the host tells none.
    fn bar_lines(&self) -> BarLines {
        self.bars.unwrap_or_default()
    }

    /// Beats by which the phrase begins before its first bar line.
    pub(super) fn pick_up(&self) -> Beats {
        self.process.phrase().pick_up()
    }

    /// What is counted in before the first note. Nothing is before none.
    pub(super) fn count_in(&self) -> CountIn {
        let controls = self.controls.filter(|_| !self.process.phrase().is_empty());
        let bars = controls.map_or(0, |controls| controls.beginning.count_in);
        self.count_in_to(self.process.origin() + self.pick_up(), bars)
    }

    /// So many bars before a bar line.
    pub(super) fn count_in_to(&self, origin: Beats, bars: u32) -> CountIn {
        CountIn {
            bars: bars.min(MAX_COUNT_IN),
            metre: self.bar_lines().metre,
            origin,
            goes_on: false,
        }
    }

    /// The process begins anew: hold has gone on in the rolling song at `now`. It waits for the
    /// next boundary, and the count-in begins there. A pick-up comes before the boundary, within the
    /// count-in if there is one.
    pub(super) fn begin_in_song(&mut self, now: Beats, beginning: &Beginning) {
        let lines = self.bar_lines();
        let pick_up = self.pick_up();
        let from = match beginning.count_in {
            0 => now + pick_up,
            _ => now,
        };
        let boundary = match beginning.begin_on {
            BeginOn::Now => from,
            BeginOn::Beat => lines.next_beat(from),
            BeginOn::Bar => lines.next_bar(from),
        };
        let bar_line = match beginning.at {
            Some(at) => at,
            None => boundary + self.count_in_to(boundary, beginning.count_in).length(),
        };
        let origin = bar_line - pick_up;
        self.process.set_origin(origin);
        self.anchor_at(Anchor::Song(origin));
    }

    /// The same on the own clock, which has no boundaries: the count-in begins at once.
    pub(super) fn begin_at_rest(&mut self, now: Beats, beginning: &Beginning) {
        let count_in = self.count_in_to(now, beginning.count_in).length();
        // Clicks are counted back from the bar line; without any, the pick-up begins now.
        let origin = now + (count_in - self.pick_up()).max(0.0);
        self.process.set_origin(origin);
    }

    /// Whether that is news.
    pub(super) fn anchor_at(&mut self, anchor: Anchor) -> bool {
        let moved = self.anchor != anchor;
        self.anchor = anchor;
        self.news.anchored |= moved;
        moved
    }

    /// Whether at `now`, the first moment of a song that starts or leaps, hold has been on since the
    /// process, or its count-in, began: a lane that says so is only where it was left, and switches
    /// nothing on.
    pub(super) fn was_held_since_it_began(&self, now: Beats, before: Anchor, bars: u32) -> bool {
        let Anchor::Song(origin) = before else {
            return false;
        };
        let count_in = self.count_in_to(origin + self.pick_up(), bars);
        let began = count_in.begins().min(origin);
        let is_held_here = self.let_go_at.is_none_or(|off| now < off - HAIR);
        began <= now + LATE && is_held_here
    }

    /// Where the steady voice's cycle ends that is on at `now`. None before the first, and on a
    /// boundary: nothing is begun there that would have to be played to its end.
    pub(super) fn end_of_cycle(&self, now: Beats) -> Option<Beats> {
        let origin = self.process.origin();
        let lap = self.process.voices().steady_lap(now);
        let in_song = |place: MaterialPlace| place.steady_since().to_song(origin);
        let is_inside = now - origin > LATE && now - in_song(lap.start) > LATE;
        is_inside.then(|| in_song(lap.end()))
    }

    /// The frame of `block` on which the process comes to its end, if it does so there.
    pub(super) fn ends_in(&self, block: &Block) -> Option<u32> {
        let end = self.ending.filter(|end| *end < block.span().end)?;
        Some(block.frame_of(end))
    }

    /// The process is at its end: what still sounds is ended.
    pub(super) fn end(&mut self, frame: u32, send: impl FnMut(Event)) {
        self.give_up_ending();
        self.player.stop(frame, send);
        self.process.settle();
    }

    /// Whatever was to be played to its end is not, any more.
    pub(super) fn give_up_ending(&mut self) {
        if self.ending.take().is_some() {
            self.free = false;
        }
    }
}
