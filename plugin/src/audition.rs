//! Audition: the mallets play all that leaves as notes, into the audio that goes by.
//!
//! To be heard before anything is routed. Each voice stands where its pan puts it, also when all
//! share a channel; the player's own hand stands in the middle, and plays what the steady voice plays. While audition is off and nothing
//! rings, the audio is not touched.
//!
//! The recording of a phrase that was said goes along with its notes here too, under the same
//! ceiling, whether audition is on or off.
//!
//! A snippet that the window asks for is heard in the place of what leaves, also while audition is
//! off. What leaves goes on leaving.

use crate::hearing::{Hearing, Order, SnippetBlock, strike};
use nice_plug::prelude::Buffer;
use procession_core::engine::InBlock;
use procession_core::ledger::Message;
use procession_core::mallet::{Beside, Mallets, START_LEVEL_DB};
use procession_core::part::{MAX_PARTS, Part};
use procession_core::player::{Event, pan_of};
use procession_core::reciter::{Along, Reciter, Utterance};
use procession_core::settings::{Mallet, Resulting, Settings};
use std::sync::Arc;

/// The middle, as a MIDI pan position.
const MIDDLE: u8 = 64;

/// No system gives out memory below this address. A host that has switched its audio off may hand
/// over null for where the audio is; the framework counts on from there to the frame at which a
/// slice begins, so that null is not the only address to mind.
const FIRST_ADDRESS: usize = 0x1_0000;

/// The mallets, between two blocks.
pub struct Audition {
    mallets: Mallets,
    reciter: Reciter,
    rings: bool,
    hearing: Hearing,
    /// Hold, in the last block.
    held: bool,
}

impl Default for Audition {
    /// Silent. Allocates all it will ever need.
    fn default() -> Self {
        // The rate is told before the first block.
        Self::at(48_000.0)
    }
}

impl Audition {
    fn at(sample_rate: f64) -> Self {
        Self {
            mallets: Mallets::new(sample_rate),
            reciter: Reciter::new(sample_rate),
            rings: false,
            hearing: Hearing::default(),
            held: false,
        }
    }

    /// Blocks come at `sample_rate` hertz from now on. Allocates.
    pub fn prepare(&mut self, sample_rate: f64) {
        *self = Self {
            hearing: self.hearing.broken_off(),
            held: self.held,
            ..Self::at(sample_rate)
        };
    }

    /// Whether anything is still to be heard.
    pub fn rings(&self) -> bool {
        self.rings
    }

    /// The recording that may go along, from the next block on.
    ///
    /// # Real-time
    /// Allocates never, blocks never; whoever hands recordings over keeps each while it is held here.
    pub fn take_voice(&mut self, utterance: Option<&Arc<Utterance>>) {
        self.reciter.take(utterance);
    }

    /// All bars fall silent in the next block, as fast as can be without a click.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn hush(&mut self) {
        self.reciter.hush();
        self.hearing.stop(&mut self.mallets);
        self.mallets.all_off();
    }

    /// A snippet that was asked for begins, or ends, with the coming block. One that sounds is
    /// broken off by hold, and by bypass, under which none begins.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn hear(&mut self, order: &Order, hold: bool, bypass: bool) {
        let hold_moved = std::mem::replace(&mut self.held, hold) != hold;
        if hold_moved {
            self.hearing.stop(&mut self.mallets);
        }
        self.hearing.look(order, &mut self.mallets);
        if bypass {
            self.hearing.stop(&mut self.mallets);
            self.hearing.die_away();
        }
    }

    /// A snippet that sounds is broken off; what leaves rings on.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn break_off(&mut self) {
        self.hearing.stop(&mut self.mallets);
    }

    /// What is heard of the snippets that are asked for.
    pub fn hearing(&self) -> &Hearing {
        &self.hearing
    }

    /// Begins a block, with what leaves at `level` dB or off, the recording going along, and the
    /// snippet that may sound at its tempo. None if there is nothing to play or nowhere to play to: no audio came with the
    /// block.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn begin<'a>(
        &'a mut self,
        (level, along): (Option<f32>, Along),
        settings: &Settings,
        buffer: &'a mut Buffer<'_>,
        (order, beats_per_frame): (&'a Order, f64),
    ) -> Option<Playing<'a>> {
        let plays_song = level.is_some();
        // As loud as what leaves, or as that would be when it is switched on.
        let level = if self.hearing.is_heard() {
            level.or(Some(START_LEVEL_DB))
        } else {
            level
        };
        // In the place of what leaves, the snippet is heard.
        let along = along.unless(self.hearing.is_heard());
        let speaks = along.level.is_some() && self.reciter.has_words();
        if level.is_none() && !speaks && !self.rings {
            return None;
        }
        let frames = buffer.samples() as u32;
        let Some((left, right)) = sides(buffer) else {
            self.hearing.find_no_audio();
            self.mallets.reset();
            self.reciter.reset();
            self.rings = false;
            return None;
        };
        self.mallets.set_players(players(settings));
        self.mallets.set_level(level);
        Some(Playing {
            mallets: &mut self.mallets,
            reciter: &mut self.reciter,
            along,
            rings: &mut self.rings,
            left,
            right,
            frame: 0,
            voices: 1 + settings.motion.copies,
            width: settings.output.width,
            chosen: settings.mallets(),
            plays_song,
            snatch: SnippetBlock::begin(&mut self.hearing, order, beats_per_frame, frames),
        })
    }
}

/// The mallets, during a block.
pub struct Playing<'a> {
    mallets: &'a mut Mallets,
    reciter: &'a mut Reciter,
    along: Along,
    rings: &'a mut bool,
    left: &'a mut [f32],
    right: &'a mut [f32],
    /// Up to here the audio is done.
    frame: usize,
    voices: usize,
    width: f64,
    /// What each part plays on, by its place.
    chosen: [Mallet; MAX_PARTS],
    /// Whether what leaves is heard while no snippet is.
    plays_song: bool,
    snatch: SnippetBlock<'a>,
}

impl Playing<'_> {
    /// The engine has begun the block: what it is about to play is heard of.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn enter(&mut self, block: &InBlock) {
        self.reciter.enter(block, &self.along);
    }

    /// Plays what leaves, on its frame, unless a snippet sounds then. Events come in order of time.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn play(&mut self, event: &Event) {
        self.play_snippet_until(event.frame);
        let is_heard = self.plays_song && !self.snatch.sounds();
        match event.message {
            Message::NoteOn { .. } if !is_heard => (),
            Message::NoteOn {
                key,
                velocity,
                part,
                id,
                ..
            } => {
                self.ring_until(event.frame as usize);
                let pan = part.map_or(MIDDLE, |part| pan_of(part, self.voices, self.width));
                let mallet = self.chosen[part.unwrap_or(Part::Steady).index()];
                self.mallets.strike(mallet, id, key, velocity, pan);
            }
            Message::NoteOff { id, .. } => {
                self.ring_until(event.frame as usize);
                self.mallets.note_off(id);
            }
            // Bars are tuned once.
            Message::Tuning { .. } | Message::Control { .. } => (),
        }
    }

    /// Plays the rest of the block.
    pub fn finish(mut self) {
        self.play_snippet_until(u32::MAX);
        self.ring_until(self.left.len());
        let rings = !self.mallets.is_silent();
        *self.rings = rings || !self.reciter.is_silent();
        self.snatch.finish(rings);
    }

    fn play_snippet_until(&mut self, frame: u32) {
        while let Some((frame, stroke)) = self.snatch.next_until(frame) {
            self.ring_until(frame as usize);
            strike(self.mallets, &stroke);
        }
    }

    fn ring_until(&mut self, frame: usize) {
        let until = frame.clamp(self.frame, self.left.len());
        let part = self.frame..until;
        let (left, right) = (&mut self.left[part.clone()], &mut self.right[part]);
        self.mallets.render_beside(self.reciter, left, right);
        self.frame = until;
    }
}

/// The steady voice, the copies, and the resulting line if there is one to be picked out.
pub(crate) fn players(settings: &Settings) -> usize {
    let copies = settings.motion.copies;
    let line = copies > 0 && settings.resulting.which != Resulting::Off;
    1 + copies + usize::from(line)
}

/// Left and right, if they came with the block.
pub(crate) fn sides<'a>(buffer: &'a mut Buffer<'_>) -> Option<(&'a mut [f32], &'a mut [f32])> {
    let frames = buffer.samples();
    let [left, right, ..] = buffer.as_slice() else {
        return None;
    };
    let is_there = |side: &[f32]| side.len() == frames && side.as_ptr().addr() >= FIRST_ADDRESS;
    (is_there(left) && is_there(right)).then_some((&mut **left, &mut **right))
}

#[cfg(test)]
mod tests {
    use super::*;
    use procession_core::note::{Channel, Key, Velocity};
    use procession_core::part::Part;

    /// Beats a frame.
    const PACE: f64 = 2.0 / 48_000.0;

    fn stroke(frame: u32) -> Event {
        let message = Message::NoteOn {
            channel: Channel::FIRST,
            key: Key::by_octave(62),
            velocity: Velocity::new(0.8),
            part: Some(Part::Steady),
            id: 1,
        };
        Event { frame, message }
    }

    #[test]
    fn with_no_audio_in_the_block_nothing_is_struck_and_nothing_rings() {
        let mut audition = Audition::default();
        let order = Order::default();
        let mut none = Buffer::default();
        let levels = (Some(-18.0), Along::default());
        let playing = audition.begin(levels, &Settings::default(), &mut none, (&order, PACE));
        assert!(playing.is_none() && !audition.rings());
    }

    #[test]
    fn what_rings_is_gone_when_the_audio_is_taken_away() {
        let mut audition = Audition::default();
        let order = Order::default();
        let (mut left, mut right) = ([0.0; 64], [0.0; 64]);
        let mut playing = Playing {
            mallets: &mut audition.mallets,
            reciter: &mut audition.reciter,
            along: Along::default(),
            rings: &mut audition.rings,
            left: &mut left,
            right: &mut right,
            frame: 0,
            voices: 2,
            width: 1.0,
            chosen: Settings::default().mallets(),
            plays_song: true,
            snatch: SnippetBlock::begin(&mut audition.hearing, &order, PACE, 64),
        };
        playing.mallets.set_level(Some(-18.0));
        playing.play(&stroke(3));
        playing.finish();
        assert!(audition.rings());
        let mut none = Buffer::default();
        assert!(
            audition
                .begin(
                    (None, Along::default()),
                    &Settings::default(),
                    &mut none,
                    (&order, PACE)
                )
                .is_none()
        );
        assert!(!audition.rings() && audition.mallets.is_silent());
    }
}
