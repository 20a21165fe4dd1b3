//! One part played by hand: with the song at rest in a loop on the own clock, else in the song.

use super::Engine;
use crate::clock::Joint;
use crate::count_in::CountIn;
use crate::metre::Metre;
use crate::note::Key;
use crate::player::{Casting, Event};
use crate::practice::{Practising, Rehearsal, Round};
use crate::time::{Beats, Block, HAIR, Span};

impl Engine {
    /// Where a player stands in what is practised.
    pub fn rehearsal(&self) -> &Rehearsal {
        &self.rehearsal
    }

    /// The same, to be asked what has become of a pass.
    pub fn rehearsal_mut(&mut self) -> &mut Rehearsal {
        &mut self.rehearsal
    }

    /// Whether something is practised by itself: with the song at rest.
    pub(super) fn practises_alone(&self) -> bool {
        self.rehearsal.goes_on_alone() && !self.clock.is_playing()
    }

    /// The share of the tempo at which the own time is to go.
    pub(super) fn set_pace(&mut self, practising: &Practising) {
        let practice = practising.practice();
        self.clock
            .set_pace(practice.map_or(1.0, |practice| practice.pace));
    }

    /// Before `block`, judges what was played until then, if something else is asked for or time does
    /// not go on. In the song, and if nothing is practised, dwells wait for their cues again.
    pub(super) fn leave_practice(&mut self, block: &Block, joint: Joint, practising: &Practising) {
        let is_afresh = joint != Joint::On;
        if is_afresh || !self.rehearsal.asked().is_as(practising) {
            let tempo = self.sounding_tempo(block);
            // Where it came to, the song may have left already.
            let at = if is_afresh { self.left_at } else { block.start };
            self.rehearsal.break_off(&self.process, tempo, at);
        }
        if self.clock.is_playing() || practising.practice().is_none() {
            self.process.count_dwells(false);
        }
    }

    /// Begins what is asked for, or leaves off. Where the own time goes back for that, so does the
    /// block. With the song at rest nobody is there to give cues: dwells that wait for one are as
    /// long as is proposed.
    pub(super) fn rehearse(
        &mut self,
        block: Block,
        joint: Joint,
        practising: Practising,
        mut send: impl FnMut(Event),
    ) -> Block {
        let was_alone = self.practises_alone();
        let is_afresh = joint != Joint::On;
        match joint {
            Joint::Stops => self.rehearsal.rest(true),
            Joint::Starts => self.rehearsal.rest(false),
            Joint::On | Joint::Leaps => (),
        }
        let begins = self.rehearsal.ask(practising) || is_afresh;
        let alone = self.practises_alone();
        if begins && (alone || was_alone) {
            self.free = false;
            self.ending = None;
            self.player.stop(0, &mut send);
            self.process.settle();
            self.process
                .count_dwells(alone && practising.practice().is_some());
            if alone {
                return self.begin_alone(block);
            }
        } else if self.clock.is_playing() && self.is_running() {
            let span = Span::new(block.start, block.end());
            self.rehearsal.roll(&self.process, span);
        }
        block
    }

    /// A pass, counted in, or clicks, begin with `block`, which is put where they do.
    fn begin_alone(&mut self, block: Block) -> Block {
        let origin = self.process.origin();
        let begin = match self.rehearsal.round(origin) {
            Some(round) => {
                self.rehearsal.begin(round, self.process.settings().step());
                self.counted_in(round).begins()
            }
            None => origin,
        };
        self.go_back(block, block.start - begin)
    }

    fn go_back(&mut self, block: Block, beats: Beats) -> Block {
        self.clock.go_back(beats);
        Block {
            start: block.start - beats,
            ..block
        }
    }

    /// The count-in of a pass: as many bars as are set, and at least one. Where the phrase lies in
    /// bars that are grouped, it is counted by these.
    fn counted_in(&self, round: Round) -> CountIn {
        let bars = self.controls.map_or(0, |all| all.beginning.count_in);
        let practice = self.rehearsal.asked().practice();
        let count_in = self.count_in_to(round.span.start + self.pick_up(), bars.max(1));
        let of_phrase = self.process.phrase().bar().map(|bar| bar.metre);
        CountIn {
            goes_on: practice.is_some_and(|practice| practice.click),
            metre: of_phrase
                .filter(|metre| metre.is_grouped())
                .unwrap_or(count_in.metre),
            ..count_in
        }
    }

    /// What is clicked, and who plays what.
    pub(super) fn cast(&self) -> (CountIn, Casting) {
        let practice = self.rehearsal.asked().practice();
        let by_hand = practice.map(|practice| practice.part);
        if !self.practises_alone() {
            let casting = Casting {
                by_hand,
                ..Casting::default()
            };
            return (self.count_in(), casting);
        }
        match self.rehearsal.through() {
            Some(round) => {
                let casting = Casting {
                    by_hand,
                    from: Some(round.span.start - HAIR),
                    steady_ahead: self.rehearsal.steady_ahead(),
                };
                (self.counted_in(round), casting)
            }
            None => {
                let clicks = CountIn {
                    bars: 0,
                    metre: Metre::COMMON,
                    origin: self.process.origin(),
                    goes_on: true,
                };
                let silent = Casting {
                    from: Some(Beats::INFINITY),
                    ..Casting::default()
                };
                (clicks, silent)
            }
        }
    }

    /// The frame of `block` on which a pass that is practised alone is over, if it is there.
    pub(super) fn pass_ends_in(&self, block: &Block) -> Option<u32> {
        let round = self.rehearsal.through()?;
        let end = round.span.end - HAIR;
        let is_there = self.practises_alone() && end < block.span().end;
        is_there.then(|| block.frame_of(end))
    }

    /// The pass is over at `frame` of `block`, and the next begins there.
    pub(super) fn pass_again(
        &mut self,
        frame: u32,
        block: Block,
        send: impl FnMut(Event),
    ) -> Block {
        let tempo = self.sounding_tempo(&block);
        let Some(round) = self.rehearsal.through() else {
            return block;
        };
        self.player.stop(frame, send);
        self.rehearsal.end(&self.process, tempo);
        self.process.settle();
        let Some(next) = self.rehearsal.round(self.process.origin()) else {
            return block;
        };
        self.rehearsal.begin(next, self.process.settings().step());
        let begin = self.counted_in(next).begins();
        self.go_back(block, round.span.end - begin)
    }

    /// A key is struck at song position `at` in `block`, by who practises.
    pub(super) fn hear(&mut self, at: Beats, key: Key, block: &Block) {
        let beat_ms = 60_000.0 / self.sounding_tempo(block);
        self.rehearsal.hear(&self.process, at, key, beat_ms);
    }

    /// The block is over.
    pub(super) fn rehearsed(&mut self, block: &Block) {
        self.left_at = block.end();
        if self.clock.is_playing() {
            let tempo = self.sounding_tempo(block);
            self.rehearsal.come_to(&self.process, block.end(), tempo);
        }
    }

    /// Beats a minute, as they sound.
    fn sounding_tempo(&self, block: &Block) -> f64 {
        block.beats_per_frame * 60.0 * self.clock.sample_rate()
    }
}
