//! Events between host and plug-in, as plain values.

use super::Transport;
use clack_host::events::event_types::*;
use clack_host::events::io::{EventBuffer, OutputEventBuffer, TryPushError};
use clack_host::events::spaces::CoreEventSpace;
use clack_host::events::{Match, Pckn, UnknownEvent};
use clack_host::utils::ClapId;

pub use clack_host::events::event_types::NoteExpressionType as Expression;

/// Which notes an event means. `None` is the wildcard: any.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Address {
    /// As on the wire: 0 ..= 15 is sensible, more is a test of bad input.
    pub channel: Option<u16>,
    /// 0 ..= 127 is sensible; 60 is middle C.
    pub key: Option<u16>,
    /// The host's, or the plug-in's, own number for the note.
    pub id: Option<u32>,
}

impl Address {
    /// The notes of this key on this channel (0 ..= 15, as on the wire).
    pub fn new(channel: u16, key: u16) -> Self {
        Self {
            channel: Some(channel),
            key: Some(key),
            id: None,
        }
    }

    /// Every note.
    pub const ANY: Self = Self {
        channel: None,
        key: None,
        id: None,
    };

    fn to_clap(self) -> Pckn {
        fn specific<T>(value: Option<T>) -> Match<T> {
            value.map_or(Match::All, Match::Specific)
        }
        Pckn {
            port_index: Match::Specific(0),
            channel: specific(self.channel),
            key: specific(self.key),
            note_id: specific(self.id),
        }
    }

    fn from_clap(address: Pckn) -> Self {
        Self {
            channel: address.channel.into_specific(),
            key: address.key.into_specific(),
            id: address.note_id.into_specific(),
        }
    }
}

/// What happens at one sample, in either direction.
#[derive(Clone, Copy, Debug, PartialEq)]
#[allow(missing_docs, reason = "the fields say what they are")]
pub enum Event {
    /// Velocity 0 ..= 1.
    NoteOn { note: Address, velocity: f64 },
    /// Release velocity 0 ..= 1.
    NoteOff { note: Address, velocity: f64 },
    /// Ends at once, without a release.
    Choke(Address),
    /// The plug-in tells that a note has died away.
    NoteEnd(Address),
    /// Pan 0 ..= 1 (0.5 is the middle), tuning in semitones, the others 0 ..= 1 (volume 0 ..= 4).
    Expression {
        note: Address,
        kind: Expression,
        value: f64,
    },
    /// One MIDI 1.0 message: controllers, bend, program, pressure.
    Midi([u8; 3]),
    /// A parameter takes a value, in the host's plain units.
    Value { parameter: u32, value: f64 },
    /// A parameter is moved away from its value by this much.
    Modulation { parameter: u32, amount: f64 },
    /// A hand is laid on a parameter (`begins`), or taken off.
    Gesture { parameter: u32, begins: bool },
    /// The transport as it stands from this sample on.
    Transport(Transport),
    /// Some other kind, by its CLAP event number.
    Other(u16),
}

impl Event {
    /// A note starts. Channel 0 ..= 15, key 0 ..= 127, velocity 0 ..= 1.
    pub fn note_on(channel: u16, key: u16, velocity: f64) -> Self {
        let note = Address::new(channel, key);
        Self::NoteOn { note, velocity }
    }

    /// A note ends.
    pub fn note_off(channel: u16, key: u16) -> Self {
        let note = Address::new(channel, key);
        Self::NoteOff {
            note,
            velocity: 0.0,
        }
    }

    /// A controller on a channel, 0 ..= 127 each.
    pub fn controller(channel: u8, number: u8, value: u8) -> Self {
        Self::Midi([0xB0 | (channel & 15), number & 127, value & 127])
    }

    /// Pitch bend, 0 ..= 16383; 8192 is the middle.
    pub fn pitch_bend(channel: u8, value: u16) -> Self {
        let [low, high] = [value & 127, (value >> 7) & 127].map(|byte| byte as u8);
        Self::Midi([0xE0 | (channel & 15), low, high])
    }

    /// A program change.
    pub fn program(channel: u8, program: u8) -> Self {
        Self::Midi([0xC0 | (channel & 15), program & 127, 0])
    }

    /// Channel pressure.
    pub fn pressure(channel: u8, value: u8) -> Self {
        Self::Midi([0xD0 | (channel & 15), value & 127, 0])
    }

    /// This event, `frame` frames into a block.
    pub fn at(self, frame: u32) -> Timed {
        Timed { frame, event: self }
    }
}

/// An event and its frame within the block.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Timed {
    /// Frames after the start of the block.
    pub frame: u32,
    /// What happens there.
    pub event: Event,
}

impl Timed {
    /// Writes the event the way CLAP has it.
    pub(super) fn write_to(&self, list: &mut EventBuffer) {
        let time = self.frame;
        let any = Address::ANY.to_clap();
        match self.event {
            Event::NoteOn { note, velocity } => {
                list.push(&NoteOnEvent::new(time, note.to_clap(), velocity));
            }
            Event::NoteOff { note, velocity } => {
                list.push(&NoteOffEvent::new(time, note.to_clap(), velocity));
            }
            Event::Choke(note) => list.push(&NoteChokeEvent::new(time, note.to_clap())),
            Event::NoteEnd(note) => list.push(&NoteEndEvent::new(time, note.to_clap())),
            Event::Expression { note, kind, value } => {
                list.push(&NoteExpressionEvent::new(time, note.to_clap(), kind, value));
            }
            Event::Midi(bytes) => list.push(&MidiEvent::new(time, 0, bytes)),
            Event::Value { parameter, value } => {
                list.push(&ParamValueEvent::new(
                    time,
                    ClapId::new(parameter),
                    any,
                    value,
                ));
            }
            Event::Modulation { parameter, amount } => {
                list.push(&ParamModEvent::new(
                    time,
                    ClapId::new(parameter),
                    any,
                    amount,
                ));
            }
            Event::Gesture {
                parameter,
                begins: true,
            } => list.push(&ParamGestureBeginEvent::new(time, ClapId::new(parameter))),
            Event::Gesture { parameter, .. } => {
                list.push(&ParamGestureEndEvent::new(time, ClapId::new(parameter)));
            }
            Event::Transport(transport) => list.push(&transport.to_clap(time)),
            Event::Other(_) => {}
        }
    }

    fn read(event: &UnknownEvent) -> Self {
        use CoreEventSpace as Clap;
        let address = Address::from_clap;
        let number = |id: Option<ClapId>| id.map_or(u32::MAX, ClapId::get);
        let other = Event::Other(event.header().type_id());
        let read = match event.as_core_event() {
            Some(Clap::NoteOn(it)) => Event::NoteOn {
                note: address(it.pckn()),
                velocity: it.velocity(),
            },
            Some(Clap::NoteOff(it)) => Event::NoteOff {
                note: address(it.pckn()),
                velocity: it.velocity(),
            },
            Some(Clap::NoteChoke(it)) => Event::Choke(address(it.pckn())),
            Some(Clap::NoteEnd(it)) => Event::NoteEnd(address(it.pckn())),
            Some(Clap::NoteExpression(it)) => match it.expression_type() {
                Some(kind) => Event::Expression {
                    note: address(it.pckn()),
                    kind,
                    value: it.value(),
                },
                None => other,
            },
            Some(Clap::Midi(it)) => Event::Midi(it.data()),
            Some(Clap::ParamValue(it)) => Event::Value {
                parameter: number(it.param_id()),
                value: it.value(),
            },
            Some(Clap::ParamMod(it)) => Event::Modulation {
                parameter: number(it.param_id()),
                amount: it.amount(),
            },
            Some(Clap::ParamGestureBegin(it)) => Event::Gesture {
                parameter: number(it.param_id()),
                begins: true,
            },
            Some(Clap::ParamGestureEnd(it)) => Event::Gesture {
                parameter: number(it.param_id()),
                begins: false,
            },
            _ => other,
        };
        read.at(event.header().time())
    }
}

/// The host's list for events from the plug-in. It never grows: its room is set beforehand, and
/// when it is full the plug-in is told so, as in a real host.
pub(super) struct Outlet {
    pub(super) events: Vec<Timed>,
    pub(super) room: usize,
    /// How often the plug-in was turned away since the start of the block.
    pub(super) refused: usize,
}

impl Outlet {
    pub(super) fn with_room(room: usize) -> Self {
        Self {
            events: Vec::with_capacity(room),
            room,
            refused: 0,
        }
    }

    /// It grows after all.
    pub(super) fn without_reserve() -> Self {
        Self {
            events: Vec::new(),
            room: usize::MAX,
            refused: 0,
        }
    }

    pub(super) fn clear(&mut self) {
        self.events.clear();
        self.refused = 0;
    }
}

impl OutputEventBuffer for Outlet {
    fn try_push(&mut self, event: &UnknownEvent) -> Result<(), TryPushError> {
        if self.events.len() == self.room {
            self.refused += 1;
            return Err(TryPushError::new());
        }
        self.events.push(Timed::read(event));
        Ok(())
    }
}
