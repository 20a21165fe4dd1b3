//! The way out: events that the host's list had no room for wait here for the next block.

use nice_plug::midi::{Channel, Key, VoiceID};
use nice_plug::prelude::*;
use procession_core::ledger::Message;
use procession_core::player::Event;
use std::collections::VecDeque;

/// What the plug-in sends and receives: notes and MIDI, no system exclusive messages.
pub type HostEvent = NoteEvent<()>;

/// The most events that wait.
const ROOM: usize = 8192;

/// From here on only ends of notes are let in, so that none is ever lost: the other half holds
/// one for every key of every channel.
const ROOM_FOR_BEGINNINGS: usize = ROOM / 2;

/// Sends in order; keeps what the host would not take.
pub struct Outbox {
    waiting: VecDeque<HostEvent>,
    /// For each key of each channel, the number of a note that was refused, so that its end is
    /// not sent either. One is enough: on one key, notes end before the next begins.
    refused: Box<[[Option<i32>; 128]; 16]>,
}

impl Default for Outbox {
    fn default() -> Self {
        Self {
            waiting: VecDeque::with_capacity(ROOM),
            refused: Box::new([[None; 128]; 16]),
        }
    }
}

impl Outbox {
    /// Whether nothing waits.
    pub fn is_empty(&self) -> bool {
        self.waiting.is_empty()
    }

    /// Sends what has waited, at the start of a block, as far as the host takes it.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn send_waiting(&mut self, mut to_host: impl FnMut(HostEvent) -> bool) {
        while let Some(event) = self.waiting.front() {
            if !to_host(*event) {
                return;
            }
            self.waiting.pop_front();
        }
    }

    /// Sends an event of the engine, or lets it wait. `to_host` says whether the host took it.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn send(&mut self, event: Event, to_host: impl FnMut(HostEvent) -> bool) {
        if self.is_to_be_sent(&event.message) {
            self.send_or_keep(to_host_event(event), to_host);
        }
    }

    /// Sends an event that goes through, or lets it wait; whether there was room to. No end of a
    /// note is among these: they leave the rest of the room to those.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn send_as_is(&mut self, event: HostEvent, to_host: impl FnMut(HostEvent) -> bool) -> bool {
        let has_room = self.waiting.len() < ROOM_FOR_BEGINNINGS;
        if has_room {
            self.send_or_keep(event, to_host);
        }
        has_room
    }

    fn send_or_keep(&mut self, event: HostEvent, mut to_host: impl FnMut(HostEvent) -> bool) {
        // Nothing overtakes what waits.
        let sent = self.waiting.is_empty() && to_host(event);
        if !sent && self.waiting.len() < ROOM {
            self.waiting.push_back(at_once(event));
        }
    }

    fn is_to_be_sent(&mut self, message: &Message) -> bool {
        let full = self.waiting.len() >= ROOM_FOR_BEGINNINGS;
        match *message {
            Message::NoteOn {
                channel, key, id, ..
            } => {
                let refused = &mut self.refused[usize::from(channel.number())];
                refused[usize::from(key.number())] = full.then_some(id);
                !full
            }
            Message::NoteOff { channel, key, id } => {
                let refused = &mut self.refused[usize::from(channel.number())];
                refused[usize::from(key.number())]
                    .take_if(|refused| *refused == id)
                    .is_none()
            }
            Message::Tuning {
                channel, key, id, ..
            } => {
                let refused =
                    self.refused[usize::from(channel.number())][usize::from(key.number())];
                !full && refused != Some(id)
            }
            Message::Control { .. } => !full,
        }
    }
}

/// What has waited is sent on the first frame of a later block.
fn at_once(mut event: HostEvent) -> HostEvent {
    event.subtract_timing(event.timing());
    event
}

fn to_host_event(Event { frame, message }: Event) -> HostEvent {
    let timing = frame;
    match message {
        Message::NoteOn {
            channel,
            key,
            velocity,
            id,
            ..
        } => NoteEvent::NoteOn {
            timing,
            voice_id: VoiceID::ID(id),
            channel: Channel::Number(channel.number()),
            key: Key::Number(key.number()),
            velocity: velocity.value(),
        },
        Message::NoteOff { channel, key, id } => NoteEvent::NoteOff {
            timing,
            voice_id: VoiceID::ID(id),
            channel: Channel::Number(channel.number()),
            key: Key::Number(key.number()),
            velocity: 0.0,
        },
        Message::Tuning {
            channel,
            key,
            id,
            cents,
        } => NoteEvent::PolyTuning {
            timing,
            voice_id: VoiceID::ID(id),
            channel: Channel::Number(channel.number()),
            key: Key::Number(key.number()),
            tuning: cents / 100.0,
        },
        Message::Control {
            channel,
            controller,
            value,
        } => NoteEvent::MidiCC {
            timing,
            channel: channel.number(),
            cc: controller,
            value: f32::from(value) / 127.0,
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use procession_core::note;

    fn on(id: i32) -> Event {
        let key = note::Key::new(60).unwrap();
        let message = Message::NoteOn {
            channel: note::Channel::FIRST,
            key,
            velocity: note::Velocity::new(0.5),
            part: None,
            id,
        };
        Event { frame: 3, message }
    }

    fn off(id: i32) -> Event {
        let key = note::Key::new(60).unwrap();
        Event {
            frame: 5,
            message: Message::NoteOff {
                channel: note::Channel::FIRST,
                key,
                id,
            },
        }
    }

    #[test]
    fn what_the_host_will_not_take_comes_first_in_the_next_block() {
        let mut outbox = Outbox::default();
        outbox.send(on(1), |_| false);
        outbox.send(off(1), |_| panic!("nothing overtakes what waits"));
        let mut sent = Vec::new();
        outbox.send_waiting(|event| {
            sent.push(event);
            true
        });
        assert!(matches!(sent[0], NoteEvent::NoteOn { timing: 0, .. }));
        assert!(matches!(sent[1], NoteEvent::NoteOff { timing: 0, .. }));
        assert!(outbox.is_empty());
    }

    #[test]
    fn a_note_that_was_refused_is_not_ended_and_all_others_are() {
        let mut outbox = Outbox::default();
        let mut balance = 0i64;
        for id in 0..20_000 {
            outbox.send(on(id), |_| false);
            outbox.send(off(id), |_| false);
        }
        outbox.send_waiting(|event| {
            balance += match event {
                NoteEvent::NoteOn { .. } => 1,
                NoteEvent::NoteOff { .. } => -1,
                _ => 0,
            };
            true
        });
        assert_eq!(balance, 0);
    }
}
