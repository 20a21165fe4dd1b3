//! What is played into the plug-in: an event of the host's in the engine's words.

use super::exit::Exit;
use crate::controllers::Controllers;
use crate::outbox::HostEvent;
use nice_plug::midi::{Channel, Key, VoiceID};
use nice_plug::prelude::NoteEvent;
use procession_core::engine::InBlock;
use procession_core::note;

/// An event that is played into the plug-in.
pub(super) fn play_in(
    block: &mut InBlock,
    controllers: &mut Controllers,
    exit: &mut Exit,
    event: HostEvent,
    frames: u32,
    mut to_host: impl FnMut(HostEvent) -> bool,
) {
    // An event that stands at the end of the slice belongs to it; the host may list it so.
    let frame = event.timing().min(frames);
    let mut send = |event| exit.send(event, &mut to_host);
    match event {
        NoteEvent::NoteOn {
            channel,
            key,
            velocity,
            ..
        } if velocity > 0.0 => {
            block.note_on(
                frame,
                which(channel, key),
                note::Velocity::new(velocity),
                send,
            );
        }
        NoteEvent::NoteOn { channel, key, .. }
        | NoteEvent::NoteOff { channel, key, .. }
        | NoteEvent::Choke { channel, key, .. } => {
            block.note_off(frame, which(channel, key), send);
        }
        NoteEvent::MidiCC { cc, value, .. } if block.control(frame, cc, value, &mut send) => (),
        // The plug-in's own word to the host, never the host's.
        NoteEvent::VoiceTerminated { .. } => (),
        other => {
            block.play_until(frame, &mut send);
            // A host may list events out of order: what is late is sent now.
            let event = at_frame(other, block.frame());
            let mut send = |event| exit.outbox.send_as_is(event, &mut to_host);
            match channel_of(&event) {
                Some(played) => {
                    controllers.play(event, played, block.engine().channels(played), send)
                }
                None => drop(send(event)),
            }
        }
    }
}

/// The channel of an event that concerns a whole channel, or a key in every voice.
fn channel_of(event: &HostEvent) -> Option<Option<note::Channel>> {
    match *event {
        NoteEvent::MidiCC { channel, .. }
        | NoteEvent::MidiPitchBend { channel, .. }
        | NoteEvent::MidiChannelPressure { channel, .. }
        | NoteEvent::MidiProgramChange { channel, .. } => Some(note::Channel::new(channel)),
        NoteEvent::PolyPressure { channel, .. } => Some(known_channel(channel)),
        _ => None,
    }
}

/// What goes through, on `frame`. A note it concerns is told by channel and key: the number that
/// the host gave it stayed behind, since notes leave with numbers of their own.
fn at_frame(mut event: HostEvent, frame: u32) -> HostEvent {
    match &mut event {
        NoteEvent::PolyPressure {
            timing, voice_id, ..
        }
        | NoteEvent::PolyVolume {
            timing, voice_id, ..
        }
        | NoteEvent::PolyPan {
            timing, voice_id, ..
        }
        | NoteEvent::PolyTuning {
            timing, voice_id, ..
        }
        | NoteEvent::PolyVibrato {
            timing, voice_id, ..
        }
        | NoteEvent::PolyExpression {
            timing, voice_id, ..
        }
        | NoteEvent::PolyBrightness {
            timing, voice_id, ..
        } => {
            *timing = frame;
            *voice_id = VoiceID::Wildcard;
        }
        NoteEvent::MidiChannelPressure { timing, .. }
        | NoteEvent::MidiPitchBend { timing, .. }
        | NoteEvent::MidiCC { timing, .. }
        | NoteEvent::MidiProgramChange { timing, .. } => *timing = frame,
        _ => (),
    }
    event
}

fn which(channel: Channel, key: Key) -> (Option<note::Channel>, Option<note::Key>) {
    let key = match key {
        Key::Number(number) => note::Key::new(number),
        Key::Wildcard => None,
    };
    (known_channel(channel), key)
}

fn known_channel(channel: Channel) -> Option<note::Channel> {
    match channel {
        Channel::Number(number) => note::Channel::new(number),
        Channel::Wildcard => None,
    }
}

/// The key that a note strikes.
pub(super) fn struck(event: &HostEvent) -> Option<u8> {
    match event {
        NoteEvent::NoteOn {
            key: Key::Number(key),
            velocity,
            ..
        } if *velocity > 0.0 => Some(*key),
        _ => None,
    }
}

/// Whether that is what the framework tells a VST3 host of a controller that nobody has touched.
/// It says that each rests at 0 and stands at one half, so a host that opens a project believes
/// all of them moved and sends them round: a half on every channel, of volume too. No value of 7
/// bits is exactly a half: 63 of 127 lies below and 64 above. A bend at one half is none.
pub(super) fn was_never_moved(event: &HostEvent) -> bool {
    matches!(
        event,
        NoteEvent::MidiCC { value: 0.5, .. } | NoteEvent::MidiChannelPressure { pressure: 0.5, .. }
    )
}
