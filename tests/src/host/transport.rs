//! The transport: what a host tells about song position and tempo.

use clack_host::events::event_types::{TransportEvent, TransportFlags};
use clack_host::events::{EventFlags, EventHeader};
use clack_host::utils::{BeatTime, SecondsTime};

/// The transport at one sample. What is `None` the host does not know, or does not tell.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Transport {
    /// Whether it rolls.
    pub playing: bool,
    /// Whether it records.
    pub recording: bool,
    /// Quarter notes a minute.
    pub tempo: Option<f64>,
    /// Song position in quarter notes.
    pub beats: Option<f64>,
    /// Song position in seconds.
    pub seconds: Option<f64>,
    /// Time signature: beats in a bar, and the note value of one.
    pub signature: Option<(u16, u16)>,
    /// Start and end of the loop in quarter notes, if it is on.
    pub cycle: Option<(f64, f64)>,
}

impl Transport {
    /// Rolling from the start of the song in 4/4.
    pub fn rolling(tempo: f64) -> Self {
        Self {
            playing: true,
            recording: false,
            tempo: Some(tempo),
            beats: Some(0.0),
            seconds: Some(0.0),
            signature: Some((4, 4)),
            cycle: None,
        }
    }

    /// Standing at the start of the song in 4/4.
    pub fn stopped(tempo: f64) -> Self {
        Self {
            playing: false,
            ..Self::rolling(tempo)
        }
    }

    /// At another song position, in beats; the seconds follow as if the tempo had never changed.
    pub fn at(self, beats: f64) -> Self {
        Self {
            beats: Some(beats),
            seconds: self.tempo.map(|tempo| beats * 60.0 / tempo),
            ..self
        }
    }

    /// In another time signature.
    pub fn in_time(self, beats: u16, note_value: u16) -> Self {
        Self {
            signature: Some((beats, note_value)),
            ..self
        }
    }

    /// With the loop on, in beats.
    pub fn looping(self, start: f64, end: f64) -> Self {
        Self {
            cycle: Some((start, end)),
            ..self
        }
    }

    /// Where it stands `frames` frames later: further on if it rolls, round the loop if it ends.
    pub fn after(self, frames: u32, sample_rate: f64) -> Self {
        let (true, Some(beats), Some(tempo)) = (self.playing, self.beats, self.tempo) else {
            return self;
        };
        let next = beats + f64::from(frames) * tempo / (60.0 * sample_rate);
        match self.cycle {
            Some((start, end)) if beats < end && next >= end => self.at(next - (end - start)),
            _ => self.at(next),
        }
    }

    pub(super) fn to_clap(self, time: u32) -> TransportEvent {
        let mut flags = TransportFlags::empty();
        flags.set(TransportFlags::IS_PLAYING, self.playing);
        flags.set(TransportFlags::IS_RECORDING, self.recording);
        flags.set(TransportFlags::HAS_TEMPO, self.tempo.is_some());
        flags.set(TransportFlags::HAS_BEATS_TIMELINE, self.beats.is_some());
        flags.set(TransportFlags::HAS_SECONDS_TIMELINE, self.seconds.is_some());
        flags.set(TransportFlags::HAS_TIME_SIGNATURE, self.signature.is_some());
        flags.set(TransportFlags::IS_LOOP_ACTIVE, self.cycle.is_some());
        let (numerator, denominator) = self.signature.unwrap_or((0, 0));
        let (loop_start, loop_end) = self.cycle.unwrap_or((0.0, 0.0));
        let seconds =
            |beats: f64| SecondsTime::from_float(beats * 60.0 / self.tempo.unwrap_or(120.0));
        let bar = self.bar();
        TransportEvent {
            header: EventHeader::new_core(time, EventFlags::empty()),
            flags,
            song_pos_beats: BeatTime::from_float(self.beats.unwrap_or(0.0)),
            song_pos_seconds: SecondsTime::from_float(self.seconds.unwrap_or(0.0)),
            tempo: self.tempo.unwrap_or(0.0),
            tempo_inc: 0.0,
            loop_start_beats: BeatTime::from_float(loop_start),
            loop_end_beats: BeatTime::from_float(loop_end),
            loop_start_seconds: seconds(loop_start),
            loop_end_seconds: seconds(loop_end),
            bar_start: BeatTime::from_float(bar * self.bar_length()),
            bar_number: bar as i32,
            time_signature_numerator: numerator,
            time_signature_denominator: denominator,
        }
    }

    /// Bars before the song position, as if the time signature had never changed.
    fn bar(self) -> f64 {
        (self.beats.unwrap_or(0.0) / self.bar_length()).floor()
    }

    fn bar_length(self) -> f64 {
        match self.signature {
            Some((beats, note_value)) if beats > 0 && note_value > 0 => {
                4.0 * f64::from(beats) / f64::from(note_value)
            }
            _ => 4.0,
        }
    }
}
