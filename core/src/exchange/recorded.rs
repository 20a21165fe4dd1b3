//! A recording out of a sound file: WAV, AIFF, FLAC, Ogg Vorbis or MP3, told by its first bytes, of any
//! depth and with any number of channels.

use super::guarded;
use crate::speech::{LONGEST, Recording, RecordingError};
use std::io::Cursor;
use symphonia::core::audio::GenericAudioBufferRef;
use symphonia::core::codecs::audio::AudioDecoderOptions;
use symphonia::core::errors::Error;
use symphonia::core::formats::probe::Hint;
use symphonia::core::formats::{FormatOptions, TrackType};
use symphonia::core::io::MediaSourceStream;
use symphonia::core::meta::MetadataOptions;
use thiserror::Error as ThisError;

/// The largest sound file that is read, in bytes: ten minutes in studio quality.
pub const LARGEST: usize = 128 << 20;

/// Why a sound file could not be read; the text says what to do.
#[derive(Clone, Debug, PartialEq, ThisError)]
pub enum SoundError {
    /// It is no kind of sound file that is known.
    #[error(
        "this is no sound file that can be read: save the recording as .wav or .flac, and choose that"
    )]
    Unknown,
    /// It holds no sound, or breaks off before the first of it.
    #[error("the sound file is empty or damaged: record or save it again")]
    Empty,
    /// There are so many bytes, more than [`LARGEST`].
    #[error("{:.0} MiB are too large for a recording: cut out the sentences you need, {} MiB at most", *.0 as f64 / f64::from(1 << 20), LARGEST >> 20)]
    TooLarge(usize),
    /// The recording itself cannot be used.
    #[error(transparent)]
    Recording(#[from] RecordingError),
}

/// Whether a file that begins with these bytes may be a sound file.
pub fn is_sound(bytes: &[u8]) -> bool {
    let begins = |with: &[u8]| bytes.starts_with(with);
    // The last: a frame of MPEG audio begins with eleven bits that are set.
    [&b"RIFF"[..], b"RF64", b"FORM", b"fLaC", b"OggS", b"ID3"]
        .map(begins)
        .contains(&true)
        || matches!(bytes, [0xFF, second, ..] if *second >= 0xE0 && *second != 0xFE && *second != 0xFF)
}

/// Reads the recording, all channels as one. Of a file that breaks off, what there is.
///
/// # Errors
/// See [`SoundError`].
pub fn read(bytes: &[u8]) -> Result<Recording, SoundError> {
    if bytes.len() > LARGEST {
        return Err(SoundError::TooLarge(bytes.len()));
    }
    guarded(|| decoded(bytes)).unwrap_or(Err(SoundError::Empty))
}

fn decoded(bytes: &[u8]) -> Result<Recording, SoundError> {
    // The decoders lend from nobody.
    let source = Box::new(Cursor::new(bytes));
    let stream = MediaSourceStream::new(source, Default::default());
    let mut file = symphonia::default::get_probe()
        .probe(
            &Hint::new(),
            stream,
            FormatOptions::default(),
            MetadataOptions::default(),
        )
        .map_err(|_| SoundError::Unknown)?;
    let track = file
        .default_track(TrackType::Audio)
        .ok_or(SoundError::Unknown)?;
    let (id, parameters) = (track.id, track.codec_params.as_ref());
    let parameters = parameters
        .and_then(|about| about.audio())
        .ok_or(SoundError::Unknown)?;
    let mut decoder = symphonia::default::get_codecs()
        .make_audio_decoder(parameters, &AudioDecoderOptions::default())
        .map_err(|_| SoundError::Unknown)?;
    let mut mix = Mix::default();
    while let Ok(Some(packet)) = file.next_packet() {
        if packet.track_id != id {
            continue;
        }
        match decoder.decode(&packet) {
            Ok(sound) => mix.add(&sound)?,
            // A damaged packet is left out.
            Err(Error::DecodeError(_)) => (),
            Err(_) => break,
        }
    }
    mix.recording()
}

/// All channels as one.
#[derive(Default)]
struct Mix {
    rate: u32,
    mean: Vec<f32>,
    first: Vec<f32>,
    packet: Vec<f32>,
}

impl Mix {
    /// # Errors
    /// It becomes too long, or has a rate at which minutes would take any amount of memory.
    fn add(&mut self, sound: &GenericAudioBufferRef<'_>) -> Result<(), SoundError> {
        let spec = sound.spec();
        let channels = spec.channels().count().max(1);
        self.rate = spec.rate();
        Recording::new(Vec::new(), self.rate.into())?;
        sound.copy_to_vec_interleaved(&mut self.packet);
        for frame in self.packet.chunks_exact(channels) {
            self.mean.push(frame.iter().sum::<f32>() / channels as f32);
            self.first.push(frame[0]);
        }
        let seconds = self.mean.len() as f64 / f64::from(self.rate.max(1));
        if seconds > LONGEST {
            return Err(RecordingError::TooLong(seconds).into());
        }
        Ok(())
    }

    fn recording(self) -> Result<Recording, SoundError> {
        if self.mean.is_empty() {
            return Err(SoundError::Empty);
        }
        let rate = self.rate.into();
        Ok(Recording::of_channels(self.mean, self.first, rate)?)
    }
}
