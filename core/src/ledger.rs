//! The ledger of sounding notes: the only place that says when a note begins and ends.
//!
//! Several owners may hold the same key of the same channel: two voices in unison on one channel,
//! or a voice and the player's own hand. Owners are counted. A new one strikes the key again
//! (off before on), and the key is let go when the last owner leaves it. What voices strike at one
//! moment is one stroke, at the velocity of the loudest: so they are [gathered](Ledger::strike)
//! first, and [sound](Ledger::sound) together.

use crate::note::{Channel, Key, Velocity};
use crate::part::Part;
use crate::time::Beats;
use std::cmp::{Ordering, Reverse};
use std::collections::BinaryHeap;

/// The most notes of voices that sound at once. Beyond it a note is left out.
pub const MAX_SOUNDING: usize = 4096;

const CHANNELS: usize = 16;
const KEYS: usize = 128;

/// What is to be sent.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Message {
    /// A note begins.
    NoteOn {
        /// Where.
        channel: Channel,
        /// Which.
        key: Key,
        /// How hard.
        velocity: Velocity,
        /// Whose it is; none is the player's own hand, or the click of a count-in.
        part: Option<Part>,
        /// Its own number, carried by its note-off too; not negative.
        id: i32,
    },
    /// The note begun under `id` ends.
    NoteOff {
        /// Where.
        channel: Channel,
        /// Which.
        key: Key,
        /// The number of its note-on.
        id: i32,
    },
    /// The note begun under `id`, at this moment, is not quite on its key.
    Tuning {
        /// Where.
        channel: Channel,
        /// Which.
        key: Key,
        /// The number of its note-on.
        id: i32,
        /// Cents above the key.
        cents: f32,
    },
    /// A controller moves.
    Control {
        /// Where.
        channel: Channel,
        /// Controller number, 0 ..= 127.
        controller: u8,
        /// 0 ..= 127.
        value: u8,
    },
}

/// A voice's note that sounds until `off`.
#[derive(Clone, Copy, Debug)]
struct Held {
    off: Beats,
    serial: u64,
    /// None is a click.
    part: Option<Part>,
    channel: Channel,
    key: Key,
}

impl PartialEq for Held {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}

impl Eq for Held {}

impl PartialOrd for Held {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Held {
    fn cmp(&self, other: &Self) -> Ordering {
        self.off
            .total_cmp(&other.off)
            .then(self.serial.cmp(&other.serial))
    }
}

/// One key of one channel.
#[derive(Clone, Copy, Debug, Default)]
struct Slot {
    /// Voices' notes that hold it.
    voices: u16,
    /// Whether the player's own hand holds it.
    hand: bool,
    /// Under which number it sounds.
    id: i32,
    /// Struck at the present moment, and not yet sent.
    stroke: Option<Struck>,
}

/// A voice's stroke of a key.
#[derive(Clone, Copy, Debug)]
struct Struck {
    part: Option<Part>,
    touch: Touch,
}

/// How a key is struck.
#[derive(Clone, Copy, Debug)]
pub struct Touch {
    /// How hard.
    pub velocity: Velocity,
    /// Cents above the key, if that is to be told.
    pub cents: Option<f32>,
}

impl From<Velocity> for Touch {
    fn from(velocity: Velocity) -> Self {
        Self {
            velocity,
            cents: None,
        }
    }
}

impl Slot {
    fn is_held(&self) -> bool {
        self.voices > 0 || self.hand
    }

    /// What was struck is sent, if anything was, and ends at once if nobody holds it any more.
    fn sound(&mut self, channel: Channel, key: Key, send: &mut impl FnMut(Message)) {
        if let Some(Struck { part, touch }) = self.stroke.take() {
            send(Message::NoteOn {
                channel,
                key,
                velocity: touch.velocity,
                part,
                id: self.id,
            });
            if let Some(cents) = touch.cents {
                send(Message::Tuning {
                    channel,
                    key,
                    id: self.id,
                    cents,
                });
            }
            if !self.is_held() {
                send(self.off(channel, key));
            }
        }
    }

    fn off(&self, channel: Channel, key: Key) -> Message {
        Message::NoteOff {
            channel,
            key,
            id: self.id,
        }
    }
}

/// What sounds, and until when.
#[derive(Debug)]
pub struct Ledger {
    slots: Box<[[Slot; KEYS]; CHANNELS]>,
    held: BinaryHeap<Reverse<Held>>,
    /// The keys that are struck at the present moment, in order.
    gathered: Vec<(Channel, Key)>,
    struck: u64,
    /// How many keys the player's own hand holds.
    pressed: usize,
}

impl Default for Ledger {
    fn default() -> Self {
        Self::new()
    }
}

impl Ledger {
    /// Nothing sounds. Allocates all it will ever need.
    pub fn new() -> Self {
        Self {
            slots: Box::new([[Slot::default(); KEYS]; CHANNELS]),
            held: BinaryHeap::with_capacity(MAX_SOUNDING),
            gathered: Vec::with_capacity(MAX_SOUNDING),
            struck: 0,
            pressed: 0,
        }
    }

    /// Whether nothing sounds.
    pub fn is_silent(&self) -> bool {
        self.held.is_empty() && self.pressed == 0
    }

    /// The keys a voice's notes hold, in no order, as (part, key).
    pub fn held(&self) -> impl Iterator<Item = (Part, Key)> + '_ {
        let of_part = |Reverse(held): &Reverse<Held>| Some((held.part?, held.key));
        self.held.iter().filter_map(of_part)
    }

    /// A voice strikes a key and holds it until `off`. Left out if [`MAX_SOUNDING`] do already.
    ///
    /// What sounds on the key ends now; the stroke itself is sent by the next [`Self::sound`], for
    /// all voices that strike the key until then.
    pub fn strike(
        &mut self,
        part: Part,
        off: Beats,
        place: (Channel, Key),
        touch: impl Into<Touch>,
        send: impl FnMut(Message),
    ) {
        self.gather(Some(part), off, place, touch.into(), send);
    }

    /// A click of a count-in, which lasts until `off`. It is nobody's.
    pub fn click(
        &mut self,
        off: Beats,
        place: (Channel, Key),
        velocity: Velocity,
        mut send: impl FnMut(Message),
    ) {
        self.gather(None, off, place, velocity.into(), &mut send);
        self.sound(send);
    }

    fn gather(
        &mut self,
        part: Option<Part>,
        off: Beats,
        (channel, key): (Channel, Key),
        touch: Touch,
        mut send: impl FnMut(Message),
    ) {
        if self.held.len() == MAX_SOUNDING || self.gathered.len() == MAX_SOUNDING {
            return;
        }
        let id = self.next_number();
        let serial = self.struck;
        let stroke = Struck { part, touch };
        let slot = self.slot(channel, key);
        slot.voices += 1;
        match &mut slot.stroke {
            Some(before) if before.touch.velocity >= touch.velocity => (),
            Some(before) => *before = stroke,
            None => {
                if slot.voices > 1 || slot.hand {
                    send(slot.off(channel, key));
                }
                slot.id = id;
                slot.stroke = Some(stroke);
                self.gathered.push((channel, key));
            }
        }
        self.held.push(Reverse(Held {
            off,
            serial,
            part,
            channel,
            key,
        }));
    }

    /// The moment is over: what was struck at it sounds, in the order in which it was struck.
    pub fn sound(&mut self, mut send: impl FnMut(Message)) {
        for (channel, key) in self.gathered.drain(..) {
            let slot = &mut self.slots[usize::from(channel.number())][usize::from(key.number())];
            slot.sound(channel, key, &mut send);
        }
    }

    /// The player's own hand strikes a key.
    pub fn press(
        &mut self,
        channel: Channel,
        key: Key,
        velocity: Velocity,
        mut send: impl FnMut(Message),
    ) {
        let id = self.next_number();
        let slot = self.slot(channel, key);
        if slot.is_held() {
            send(slot.off(channel, key));
        }
        slot.id = id;
        let held = std::mem::replace(&mut slot.hand, true);
        self.pressed += usize::from(!held);
        send(Message::NoteOn {
            channel,
            key,
            velocity,
            part: None,
            id,
        });
    }

    /// The player's own hand lets go of a key; of all it holds where channel or key is not told.
    pub fn lift(
        &mut self,
        channel: Option<Channel>,
        key: Option<Key>,
        mut send: impl FnMut(Message),
    ) {
        for_each_matching(channel, key, |channel, key| {
            let slot = self.slot(channel, key);
            if !std::mem::take(&mut slot.hand) {
                return;
            }
            if !slot.is_held() {
                send(slot.off(channel, key));
            }
            self.pressed -= 1;
        });
    }

    /// When the next voice's note ends.
    pub fn next_off(&self) -> Option<Beats> {
        self.held.peek().map(|Reverse(held)| held.off)
    }

    /// The note that ends next is over.
    pub fn release_next(&mut self, send: impl FnMut(Message)) {
        if let Some(Reverse(held)) = self.held.pop() {
            self.release(held, send);
        }
    }

    /// The parts of which `falls_silent` is true do so; none is a click.
    pub fn silence(
        &mut self,
        falls_silent: impl Fn(Option<Part>) -> bool,
        mut send: impl FnMut(Message),
    ) {
        let slots = &mut self.slots;
        self.held.retain(|Reverse(held)| {
            let stays = !falls_silent(held.part);
            if !stays {
                leave(slots, held, &mut send);
            }
            stays
        });
    }

    /// Kept positive; after 2^31 notes numbers come round, long after their first owners left.
    fn next_number(&mut self) -> i32 {
        self.struck += 1;
        (self.struck & 0x7FFF_FFFF) as i32
    }

    fn release(&mut self, held: Held, mut send: impl FnMut(Message)) {
        leave(&mut self.slots, &held, &mut send);
    }

    fn slot(&mut self, channel: Channel, key: Key) -> &mut Slot {
        &mut self.slots[usize::from(channel.number())][usize::from(key.number())]
    }
}

/// A voice's note leaves its key.
fn leave(slots: &mut [[Slot; KEYS]; CHANNELS], held: &Held, send: &mut impl FnMut(Message)) {
    let Held { channel, key, .. } = *held;
    let slot = &mut slots[usize::from(channel.number())][usize::from(key.number())];
    slot.voices = slot.voices.saturating_sub(1);
    // A note shorter than the moment it was struck at ends when it has sounded, in its turn.
    if !slot.is_held() && slot.stroke.is_none() {
        send(slot.off(channel, key));
    }
}

/// All keys that `channel` and `key` stand for; `None` stands for any.
fn for_each_matching(
    channel: Option<Channel>,
    key: Option<Key>,
    mut visit: impl FnMut(Channel, Key),
) {
    let channels = (0..CHANNELS as u8).filter_map(Channel::new);
    for channel in channels.filter(|each| channel.is_none_or(|channel| channel == *each)) {
        let keys = (0..KEYS as u8).filter_map(Key::new);
        for key in keys.filter(|each| key.is_none_or(|key| key == *each)) {
            visit(channel, key);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn d4() -> (Channel, Key) {
        (Channel::FIRST, Key::new(62).unwrap())
    }

    fn written(messages: &[Message]) -> Vec<(&'static str, i32)> {
        let write = |message: &Message| match message {
            Message::NoteOn { id, .. } => ("on", *id),
            Message::NoteOff { id, .. } => ("off", *id),
            Message::Tuning { id, .. } => ("tuning", *id),
            Message::Control { .. } => ("control", 0),
        };
        messages.iter().map(write).collect()
    }

    #[test]
    fn a_key_held_by_two_voices_is_struck_twice_and_ends_with_the_later() {
        let mut ledger = Ledger::new();
        let mut sent = Vec::new();
        ledger.strike(Part::Steady, 2.0, d4(), Velocity::new(0.5), |m| {
            sent.push(m)
        });
        ledger.sound(|m| sent.push(m));
        ledger.strike(Part::COPY_1, 1.0, d4(), Velocity::new(0.5), |m| {
            sent.push(m)
        });
        ledger.sound(|m| sent.push(m));
        assert_eq!(ledger.next_off(), Some(1.0));
        ledger.release_next(|m| sent.push(m));
        assert_eq!(written(&sent), [("on", 1), ("off", 1), ("on", 2)]);
        ledger.release_next(|m| sent.push(m));
        assert_eq!(written(&sent)[3..], [("off", 2)]);
        assert!(ledger.is_silent());
    }

    #[test]
    fn what_voices_strike_at_one_moment_is_one_stroke_as_loud_as_the_loudest() {
        let mut ledger = Ledger::new();
        let mut sent = Vec::new();
        let strokes = [(0, 2.0, 0.5), (1, 3.0, 0.8), (2, 1.0, 0.1)];
        for (part, off, velocity) in strokes {
            let velocity = Velocity::new(velocity);
            ledger.strike(Part::ALL[part], off, d4(), velocity, |m| sent.push(m));
        }
        assert_eq!(sent, []);
        ledger.sound(|m| sent.push(m));
        let [Message::NoteOn { velocity, part, .. }] = sent[..] else {
            panic!("{sent:?}")
        };
        assert_eq!((velocity, part), (Velocity::new(0.8), Some(Part::COPY_1)));
        for off in [1.0, 2.0, 3.0] {
            assert_eq!((ledger.next_off(), sent.len()), (Some(off), 1));
            ledger.release_next(|m| sent.push(m));
        }
        assert_eq!(written(&sent), [("on", 1), ("off", 1)]);
    }

    #[test]
    fn a_note_that_ends_at_the_moment_it_is_struck_begins_first() {
        let mut ledger = Ledger::new();
        let mut sent = Vec::new();
        ledger.strike(Part::Steady, 1.0, d4(), Velocity::new(0.5), |m| {
            sent.push(m)
        });
        ledger.release_next(|m| sent.push(m));
        ledger.sound(|m| sent.push(m));
        assert_eq!(written(&sent), [("on", 1), ("off", 1)]);
    }

    #[test]
    fn what_is_struck_at_one_moment_sounds_in_order_also_if_some_of_it_ends_there() {
        let mut ledger = Ledger::new();
        let mut sent = Vec::new();
        let a4 = (Channel::FIRST, Key::new(69).unwrap());
        for (off, place) in [(2.0, d4()), (1.0, a4), (3.0, d4())] {
            ledger.strike(Part::Steady, off, place, Velocity::new(0.5), |m| {
                sent.push(m)
            });
        }
        ledger.release_next(|m| sent.push(m));
        ledger.sound(|m| sent.push(m));
        assert_eq!(written(&sent), [("on", 1), ("on", 2), ("off", 2)]);
    }

    #[test]
    fn a_hand_keeps_a_key_that_a_voice_leaves() {
        let mut ledger = Ledger::new();
        let mut sent = Vec::new();
        ledger.strike(Part::Steady, 1.0, d4(), Velocity::new(0.5), |m| {
            sent.push(m)
        });
        ledger.sound(|m| sent.push(m));
        ledger.press(d4().0, d4().1, Velocity::new(0.5), |m| sent.push(m));
        ledger.release_next(|m| sent.push(m));
        assert_eq!(written(&sent), [("on", 1), ("off", 1), ("on", 2)]);
        ledger.lift(None, None, |m| sent.push(m));
        assert_eq!(written(&sent)[3..], [("off", 2)]);
    }

    #[test]
    fn a_voice_that_falls_silent_takes_only_its_own_notes_along() {
        let mut ledger = Ledger::new();
        let mut sent = Vec::new();
        for voice in 0..3 {
            let channel = Channel::new(voice as u8).unwrap();
            ledger.strike(
                Part::ALL[voice],
                9.0,
                (channel, d4().1),
                Velocity::new(0.5),
                |_| (),
            );
        }
        ledger.sound(|_| ());
        ledger.silence(|part| part != Some(Part::Steady), |m| sent.push(m));
        assert_eq!(written(&sent).len(), 2);
        assert_eq!(ledger.held().count(), 1);
    }

    #[test]
    fn a_note_too_many_is_left_out_and_leaves_no_trace() {
        let mut ledger = Ledger::new();
        let mut sounding = 0i64;
        let mut count = |message| match message {
            Message::NoteOn { .. } => sounding += 1,
            Message::NoteOff { .. } => sounding -= 1,
            Message::Tuning { .. } | Message::Control { .. } => (),
        };
        for _ in 0..MAX_SOUNDING + 9 {
            ledger.strike(Part::Steady, 1.0, d4(), Velocity::new(0.5), &mut count);
        }
        ledger.sound(&mut count);
        ledger.silence(|_| true, &mut count);
        assert_eq!(sounding, 0);
        assert!(ledger.is_silent());
    }
}
