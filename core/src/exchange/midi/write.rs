//! A whole piece written to a Standard MIDI File.

use super::MidiError;
use crate::note::{Channel, Key, Velocity};
use crate::time::{Beats, TICKS_PER_BEAT, to_ticks};
use midly::num::{u4, u7, u15, u24, u28};
use midly::{Format, Header, MetaMessage, MidiMessage, Smf, Timing, TrackEvent, TrackEventKind};

/// The last tick that the distance of two events in a file can reach (RP-001: four bytes of
/// seven bits).
const LAST_TICK: i64 = 0x0FFF_FFFF;

/// The last position that can be written, in beats: 279 620, or 38 hours at 120 bpm.
pub const FURTHEST: Beats = LAST_TICK as f64 / TICKS_PER_BEAT as f64;

/// A piece as a file holds it. Positions are beats from its beginning, tempos beats a minute.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Score {
    /// What the piece is called. Written in UTF-8, as all texts are.
    pub name: String,
    /// The tempo from a position on.
    pub tempo: Vec<(Beats, f64)>,
    /// The metre from a position on: beats in a bar, and the part of a whole note that a beat is.
    pub metre: Vec<(Beats, (u8, u8))>,
    /// Words at a position.
    pub markers: Vec<(Beats, String)>,
    /// A track a voice.
    pub tracks: Vec<Track>,
}

/// What one voice plays.
#[derive(Clone, Debug, PartialEq)]
pub struct Track {
    /// What the voice is called.
    pub name: String,
    /// The channel it plays on.
    pub channel: Channel,
    /// The program chosen at the beginning, 0 ..= 127 as on the wire; a higher one is 127.
    pub program: Option<u8>,
    /// Controller 10 at the beginning: 0 left, 64 centre, 127 right; a higher one is 127.
    pub pan: Option<u8>,
    /// In any order.
    pub notes: Vec<TrackNote>,
}

/// A note at its place in the piece.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrackNote {
    /// Where it begins.
    pub on: Beats,
    /// Where it ends; not after `on`, and it is a tick long.
    pub off: Beats,
    /// The key struck.
    pub key: Key,
    /// How hard.
    pub velocity: Velocity,
}

/// Writes `score` as a Standard MIDI File of format 1 with 960 ticks a beat.
///
/// The first track has the name, the tempos, the metres and the markers; every other is a named
/// voice. All tracks end together, with the last event of any. Each position goes to its nearest tick,
/// so errors never add up.
///
/// Within a track a note ends before another begins on the same tick, and a key struck while it
/// sounds ends its earlier note there; of two that strike a key on the same tick, one is written,
/// as hard and as long as either. Tracks that share a channel are kept apart: each is right in
/// itself.
///
/// # Errors
/// [`MidiError::Position`], [`MidiError::Tempo`], [`MidiError::Metre`], [`MidiError::TooLarge`].
pub fn write(score: &Score) -> Result<Vec<u8>, MidiError> {
    let mut tracks = vec![conductor(score)?];
    for voice in &score.tracks {
        tracks.push(voice_track(voice)?);
    }
    let end = tracks
        .iter()
        .flatten()
        .map(|event| event.tick)
        .max()
        .unwrap_or(0);

    let ticks = u15::new(TICKS_PER_BEAT as u16);
    let mut file = Smf::new(Header::new(Format::Parallel, Timing::Metrical(ticks)));
    file.tracks = tracks
        .into_iter()
        .map(|events| in_order(events, end))
        .collect();
    let mut bytes = Vec::new();
    file.write_std(&mut bytes)
        .map_err(|_| MidiError::TooLarge)?;
    Ok(bytes)
}

/// An event, and the tick it happens on.
struct Placed<'a> {
    tick: u32,
    kind: TrackEventKind<'a>,
}

impl<'a> Placed<'a> {
    fn meta(tick: u32, message: MetaMessage<'a>) -> Self {
        Self {
            tick,
            kind: TrackEventKind::Meta(message),
        }
    }

    fn on_channel(tick: u32, channel: Channel, message: MidiMessage) -> Self {
        let channel = u4::new(channel.number());
        Self {
            tick,
            kind: TrackEventKind::Midi { channel, message },
        }
    }

    /// At one tick: what sets the scene, then what ends, then what begins.
    fn rank(&self) -> (u32, u8) {
        let turn = match self.kind {
            TrackEventKind::Midi {
                message: MidiMessage::NoteOff { .. },
                ..
            } => 1,
            TrackEventKind::Midi {
                message: MidiMessage::NoteOn { .. },
                ..
            } => 2,
            _ => 0,
        };
        (self.tick, turn)
    }
}

/// The first track: all that concerns the whole piece.
fn conductor(score: &Score) -> Result<Vec<Placed<'_>>, MidiError> {
    let mut events = vec![Placed::meta(
        0,
        MetaMessage::TrackName(score.name.as_bytes()),
    )];
    for (at, (beats, unit)) in &score.metre {
        events.push(Placed::meta(tick(*at)?, metre(*beats, *unit)?));
    }
    for (at, tempo) in &score.tempo {
        let micros = MetaMessage::Tempo(micros_per_beat(*tempo)?);
        events.push(Placed::meta(tick(*at)?, micros));
    }
    for (at, text) in &score.markers {
        events.push(Placed::meta(
            tick(*at)?,
            MetaMessage::Marker(text.as_bytes()),
        ));
    }
    Ok(events)
}

fn voice_track(track: &Track) -> Result<Vec<Placed<'_>>, MidiError> {
    let mut events = vec![Placed::meta(
        0,
        MetaMessage::TrackName(track.name.as_bytes()),
    )];
    if let Some(program) = track.program.map(seven_bits) {
        let message = MidiMessage::ProgramChange { program };
        events.push(Placed::on_channel(0, track.channel, message));
    }
    if let Some(value) = track.pan.map(seven_bits) {
        let message = MidiMessage::Controller {
            controller: u7::new(10),
            value,
        };
        events.push(Placed::on_channel(0, track.channel, message));
    }
    for note in strokes_of(&track.notes)? {
        let key = u7::new(note.key.number());
        let on = MidiMessage::NoteOn {
            key,
            vel: u7::new(note.velocity),
        };
        // 64 is how fast a key goes up when nobody measured it.
        let off = MidiMessage::NoteOff {
            key,
            vel: u7::new(64),
        };
        events.push(Placed::on_channel(note.on, track.channel, on));
        events.push(Placed::on_channel(note.off, track.channel, off));
    }
    Ok(events)
}

/// A note in ticks.
#[derive(Clone, Copy)]
struct TickNote {
    on: u32,
    off: u32,
    key: Key,
    velocity: u8,
}

/// The notes on their ticks, none of a key beginning while another of it sounds.
fn strokes_of(notes: &[TrackNote]) -> Result<Vec<TickNote>, MidiError> {
    let mut strokes = Vec::with_capacity(notes.len());
    for note in notes {
        let on = tick(note.on)?;
        // Room for a tick, so that the end is after the beginning.
        let off = tick(note.off)?.max(on + 1);
        strokes.push(TickNote {
            on,
            off,
            key: note.key,
            velocity: note.velocity.midi(),
        });
    }
    strokes.sort_by_key(|stroke| (stroke.key, stroke.on));
    strokes.dedup_by(|stroke, earlier| {
        let double = stroke.key == earlier.key && stroke.on == earlier.on;
        if double {
            earlier.off = earlier.off.max(stroke.off);
            earlier.velocity = earlier.velocity.max(stroke.velocity);
        }
        double
    });
    for index in 1..strokes.len() {
        let again = strokes[index];
        let earlier = &mut strokes[index - 1];
        if again.key == earlier.key {
            earlier.off = earlier.off.min(again.on);
        }
    }
    Ok(strokes)
}

/// Events as a file has them: each with its distance from the one before, the end mark last.
fn in_order(mut events: Vec<Placed<'_>>, end: u32) -> midly::Track<'_> {
    events.sort_by_key(Placed::rank);
    events.push(Placed::meta(end, MetaMessage::EndOfTrack));
    let mut track = midly::Track::with_capacity(events.len());
    let mut before = 0;
    for Placed { tick, kind } in events {
        let delta = u28::new(tick - before);
        track.push(TrackEvent { delta, kind });
        before = tick;
    }
    track
}

fn tick(at: Beats) -> Result<u32, MidiError> {
    // One tick is left free after the last, for a note that begins there.
    if !(0.0..FURTHEST).contains(&at) {
        return Err(MidiError::Position(at));
    }
    Ok(to_ticks(at).clamp(0, LAST_TICK - 1) as u32)
}

fn micros_per_beat(tempo: f64) -> Result<u24, MidiError> {
    let micros = (60_000_000.0 / tempo).round();
    if !(1.0..=f64::from(u24::max_value().as_int())).contains(&micros) {
        return Err(MidiError::Tempo(tempo));
    }
    Ok(u24::new(micros as u32))
}

/// RP-001, FF 58: the unit as a power of two; 24 MIDI clocks a quarter note, for a click on each
/// unit; 8 thirty-second notes a quarter note.
fn metre(beats: u8, unit: u8) -> Result<MetaMessage<'static>, MidiError> {
    if beats == 0 || !unit.is_power_of_two() {
        return Err(MidiError::Metre(beats, unit));
    }
    let click = (96 / u16::from(unit)).max(1) as u8;
    Ok(MetaMessage::TimeSignature(
        beats,
        unit.trailing_zeros() as u8,
        click,
        8,
    ))
}

fn seven_bits(value: u8) -> u7 {
    u7::new(value.min(127))
}
