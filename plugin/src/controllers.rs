//! What controllers stand at: as the player's hand left them, and on each channel that leaves.
//!
//! What a hand does on one channel goes to every channel in use. So a channel is *lent* what was
//! not played on it. When it goes out of use, a gesture that it was lent is taken back: pedals come
//! up, bend goes to the middle, pressure is lifted. When it comes into use, it gets what is in force.
//! Controllers that set a channel up (volume, sounds, programs) are no gestures: a voice that begins
//! gets them, unless its channel was given its own, and they stay. Pan is left out: it is what Width
//! spreads.

use crate::outbox::HostEvent;
use nice_plug::midi::{Channel, Key, VoiceID};
use nice_plug::prelude::*;
use procession_core::note;

const CHANNELS: usize = 16;

/// What is remembered of a channel: controllers, then what has no number, then pressure by key.
const BEND: usize = 128;
const PRESSURE: usize = 129;
const PROGRAM: usize = 130;
const KEYS: usize = 131;
const PLACES: usize = KEYS + 128;

/// Controller 121 (MIDI 1.0): all of them as they were at first.
const RESET_ALL: u8 = 121;

/// Values no further apart are the same. The middle of a bend's 16 384 steps is half a step (3e-5)
/// off the middle of their range.
const SAME: f32 = 4e-5;

/// One controller on one channel.
#[derive(Clone, Copy, Debug, Default)]
struct Stand {
    /// What was played there.
    played: Option<f32>,
    /// What the host has been sent for it.
    sent: Option<f32>,
    /// Whether that is of another channel's.
    lent: bool,
}

/// All of them. Allocates when made, and never again.
pub struct Controllers {
    /// What was played last, on whatever channel.
    in_force: Box<[Option<f32>; PLACES]>,
    stands: Box<[[Stand; PLACES]; CHANNELS]>,
    /// Channels in use, a bit each.
    used: u16,
    /// Channels that have not been sent all they should be.
    unsettled: u16,
}

impl Default for Controllers {
    fn default() -> Self {
        Self {
            in_force: Box::new([None; PLACES]),
            stands: Box::new([[Stand::default(); PLACES]; CHANNELS]),
            used: 0,
            unsettled: 0,
        }
    }
}

impl Controllers {
    /// Whether every channel has been sent what it should be.
    pub fn is_settled(&self) -> bool {
        self.unsettled == 0
    }

    /// A controller, bend, pressure or program that was played on `played` (none: on no channel in
    /// particular) goes to the channels `to`. `send` says whether it leaves.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn play(
        &mut self,
        event: HostEvent,
        played: Option<note::Channel>,
        to: impl Iterator<Item = note::Channel>,
        mut send: impl FnMut(HostEvent) -> bool,
    ) {
        if is_reset(&event) {
            self.rest_all(played);
        }
        let moved = moved_by(&event);
        if let Some((place, value)) = moved {
            self.in_force[place] = Some(value);
            if let Some(channel) = played {
                self.stand(channel, place).played = Some(value);
            }
        }
        for channel in to {
            if !send(on_channel(event, channel)) {
                self.unsettled |= bit(channel);
            } else if let Some((place, value)) = moved {
                let stand = self.stand(channel, place);
                stand.sent = Some(value);
                stand.lent = Some(channel) != played;
            } else if is_reset(&event) {
                self.is_as_at_first(channel);
            }
        }
    }

    /// The channels in use are now these: those that no longer are give back what they were lent,
    /// those that are new are given what is in force. What `send` does not take is sent later.
    ///
    /// # Real-time
    /// Allocates never, blocks never. Bounded by channels x controllers, and next to nothing if no
    /// channel comes or goes.
    pub fn settle(
        &mut self,
        used: impl Iterator<Item = note::Channel>,
        mut send: impl FnMut(HostEvent) -> bool,
    ) {
        let used = used.fold(0, |bits, channel| bits | bit(channel));
        self.unsettled |= used ^ self.used;
        self.used = used;
        if self.is_settled() {
            return;
        }
        for number in 0..CHANNELS as u8 {
            let Some(channel) = note::Channel::new(number) else {
                continue;
            };
            if self.unsettled & bit(channel) != 0 && self.settle_one(channel, &mut send) {
                self.unsettled &= !bit(channel);
            }
        }
    }

    /// A hand lets go of everything: what it does next counts.
    pub fn let_go(&mut self) {
        for place in gestures() {
            self.in_force[place] = rest(place);
            for stands in self.stands.iter_mut() {
                stands[place].played = rest(place);
            }
        }
        self.unsettled = u16::MAX;
    }

    /// Whether all that `channel` had to be sent was.
    fn settle_one(
        &mut self,
        channel: note::Channel,
        send: &mut impl FnMut(HostEvent) -> bool,
    ) -> bool {
        let in_use = self.used & bit(channel) != 0;
        for place in 0..PLACES {
            let stand = self.stands[usize::from(channel.number())][place];
            let (wanted, lent) = if in_use {
                self.in_use(place, &stand)
            } else {
                out_of_use(place, &stand)
            };
            // What was never sent is as it is at first.
            let stands_at = stand.sent.or(rest(place));
            let differs = |wanted: f32| stands_at.is_none_or(|at| (at - wanted).abs() > SAME);
            if let Some(value) = wanted.filter(|wanted| differs(*wanted)) {
                if !send(event_of(place, channel, value)) {
                    return false;
                }
                self.stand(channel, place).sent = Some(value);
            }
            if wanted.is_some() || !in_use {
                self.stand(channel, place).lent = lent;
            }
        }
        true
    }

    /// Where a controller of a channel in use should be, and whether that is another channel's.
    fn in_use(&self, place: usize, stand: &Stand) -> (Option<f32>, bool) {
        let wanted = match rest(place) {
            // Pressure on a key is of that stroke: only its end is for later strokes.
            Some(_) if place >= KEYS => stand.sent.and(self.in_force[place]),
            Some(_) => self.in_force[place],
            None => stand.played.or(self.in_force[place]),
        };
        (wanted, wanted != stand.played)
    }

    /// All gestures are over, as the one who plays on `played` says.
    fn rest_all(&mut self, played: Option<note::Channel>) {
        for place in gestures() {
            self.in_force[place] = rest(place);
            if let Some(channel) = played {
                self.stand(channel, place).played = rest(place);
            }
        }
    }

    /// A channel was told that all gestures are over.
    fn is_as_at_first(&mut self, channel: note::Channel) {
        for place in gestures() {
            let stand = self.stand(channel, place);
            (stand.sent, stand.lent) = (rest(place), false);
        }
    }

    fn stand(&mut self, channel: note::Channel, place: usize) -> &mut Stand {
        &mut self.stands[usize::from(channel.number())][place]
    }
}

/// Where a controller of a channel out of use should be: none, where it is.
fn out_of_use(place: usize, stand: &Stand) -> (Option<f32>, bool) {
    let wanted = if stand.lent {
        rest(place).or(stand.played)
    } else {
        stand.played
    };
    (wanted, false)
}

fn gestures() -> impl Iterator<Item = usize> {
    (0..PLACES).filter(|place| rest(*place).is_some())
}

fn bit(channel: note::Channel) -> u16 {
    1 << channel.number()
}

fn is_reset(event: &HostEvent) -> bool {
    matches!(event, NoteEvent::MidiCC { cc: RESET_ALL, .. })
}

/// Where a gesture is when no hand makes it; none for what is no gesture.
///
/// MIDI Manufacturers Association, RP-015 (*Response to Reset All Controllers*), from memory:
/// modulation, pedals and pressure at 0, expression full, bend in the middle; volume, pan, programs,
/// sound and effect controllers stay. Breath and foot are taken for gestures, too.
fn rest(place: usize) -> Option<f32> {
    match place {
        1 | 2 | 4 | 33 | 34 | 36 | 64..=69 => Some(0.0),
        11 | 43 => Some(1.0),
        BEND => Some(0.5),
        PRESSURE | KEYS.. => Some(0.0),
        _ => None,
    }
}

/// What an event moves, and to where; none if it leaves nothing behind, or is not for us to keep:
/// pan, and the numbers of parameters with what is entered for them, which mean nothing apart.
fn moved_by(event: &HostEvent) -> Option<(usize, f32)> {
    match *event {
        NoteEvent::MidiCC {
            cc: 6 | 10 | 38 | 96..=101 | 120..,
            ..
        } => None,
        NoteEvent::MidiCC { cc, value, .. } => Some((usize::from(cc), value)),
        NoteEvent::MidiPitchBend { value, .. } => Some((BEND, value)),
        NoteEvent::MidiChannelPressure { pressure, .. } => Some((PRESSURE, pressure)),
        NoteEvent::MidiProgramChange { program, .. } => Some((PROGRAM, f32::from(program))),
        NoteEvent::PolyPressure {
            key: Key::Number(key),
            pressure,
            ..
        } => Some((KEYS + usize::from(key.min(127)), pressure)),
        _ => None,
    }
}

/// The same for another channel.
fn on_channel(mut event: HostEvent, to: note::Channel) -> HostEvent {
    match &mut event {
        NoteEvent::MidiCC { channel, .. }
        | NoteEvent::MidiPitchBend { channel, .. }
        | NoteEvent::MidiChannelPressure { channel, .. }
        | NoteEvent::MidiProgramChange { channel, .. } => *channel = to.number(),
        NoteEvent::PolyPressure { channel, .. } => *channel = Channel::Number(to.number()),
        _ => (),
    }
    event
}

/// At the start of a block, what stands at `place` moves.
fn event_of(place: usize, channel: note::Channel, value: f32) -> HostEvent {
    let (timing, channel) = (0, channel.number());
    match place {
        BEND => NoteEvent::MidiPitchBend {
            timing,
            channel,
            value,
        },
        PRESSURE => NoteEvent::MidiChannelPressure {
            timing,
            channel,
            pressure: value,
        },
        PROGRAM => NoteEvent::MidiProgramChange {
            timing,
            channel,
            program: value as u8,
        },
        KEYS.. => NoteEvent::PolyPressure {
            timing,
            voice_id: VoiceID::Wildcard,
            channel: Channel::Number(channel),
            key: Key::Number((place - KEYS) as u8),
            pressure: value,
        },
        controller => NoteEvent::MidiCC {
            timing,
            channel,
            cc: controller as u8,
            value,
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn channel(number: u8) -> note::Channel {
        note::Channel::new(number).unwrap()
    }

    fn all(numbers: &[u8]) -> impl Iterator<Item = note::Channel> {
        numbers.iter().map(|number| channel(*number))
    }

    fn controller(number: u8, value: f32) -> HostEvent {
        NoteEvent::MidiCC {
            timing: 0,
            channel: 0,
            cc: number,
            value,
        }
    }

    /// Channel, controller and value of what is sent, if the list has room for it.
    fn settle(controllers: &mut Controllers, used: &[u8], room: usize) -> Vec<(u8, u8, f32)> {
        let mut sent = Vec::new();
        controllers.settle(all(used), |event| {
            let fits = sent.len() < room;
            if let (
                NoteEvent::MidiCC {
                    channel, cc, value, ..
                },
                true,
            ) = (event, fits)
            {
                sent.push((channel, cc, value));
            }
            fits
        });
        sent
    }

    #[test]
    fn a_pedal_that_a_full_list_has_no_room_to_lift_is_lifted_later() {
        let mut controllers = Controllers::default();
        assert_eq!(settle(&mut controllers, &[0, 1, 2], 9), []);
        let first = Some(channel(0));
        controllers.play(controller(64, 1.0), first, all(&[0, 1, 2]), |_| true);
        assert_eq!(settle(&mut controllers, &[], 0), []);
        assert!(!controllers.is_settled());
        assert_eq!(settle(&mut controllers, &[], 1), [(1, 64, 0.0)]);
        assert_eq!(settle(&mut controllers, &[], 9), [(2, 64, 0.0)]);
        assert!(controllers.is_settled());
        assert_eq!(settle(&mut controllers, &[], 9), []);
    }

    #[test]
    fn a_release_that_found_no_room_follows() {
        let mut controllers = Controllers::default();
        settle(&mut controllers, &[0, 1], 9);
        let first = Some(channel(0));
        controllers.play(controller(64, 1.0), first, all(&[0, 1]), |_| true);
        controllers.play(controller(64, 0.0), first, all(&[0, 1]), |_| false);
        let late = settle(&mut controllers, &[0, 1], 9);
        assert_eq!(late, [(0, 64, 0.0), (1, 64, 0.0)]);
    }

    #[test]
    fn a_channel_keeps_its_own_sound_and_gets_anothers_gestures() {
        let mut controllers = Controllers::default();
        // Volume of its own on the second channel, then volume and expression on the first.
        controllers.play(controller(7, 0.9), Some(channel(1)), all(&[1]), |_| true);
        for number in [7, 11] {
            controllers.play(controller(number, 0.4), Some(channel(0)), all(&[0]), |_| {
                true
            });
        }
        let begun = settle(&mut controllers, &[0, 1, 2], 9);
        assert_eq!(begun, [(1, 11, 0.4), (2, 7, 0.4), (2, 11, 0.4)]);
        let ended = settle(&mut controllers, &[0], 9);
        assert_eq!(ended, [(1, 11, 1.0), (2, 11, 1.0)]);
    }

    #[test]
    fn what_the_hand_holds_on_its_own_channel_stays() {
        let mut controllers = Controllers::default();
        settle(&mut controllers, &[0, 1], 9);
        controllers.play(controller(64, 1.0), Some(channel(1)), all(&[1, 0]), |_| {
            true
        });
        assert_eq!(settle(&mut controllers, &[], 9), [(0, 64, 0.0)]);
        controllers.let_go();
        assert_eq!(settle(&mut controllers, &[], 9), [(1, 64, 0.0)]);
    }

    #[test]
    fn after_all_controllers_were_reset_nothing_is_given_to_those_who_begin() {
        let mut controllers = Controllers::default();
        let first = Some(channel(0));
        controllers.play(controller(64, 1.0), first, all(&[0]), |_| true);
        controllers.play(controller(RESET_ALL, 0.0), first, all(&[0]), |_| true);
        assert_eq!(settle(&mut controllers, &[0, 1], 9), []);
    }
}
