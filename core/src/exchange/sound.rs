//! Sound files: what the mallets make of the notes, as WAV, 24 bit, stereo.
//!
//! The file begins with the process: its first frame is the origin, to the frame, since the moment
//! that the mallets' limiter looks ahead is taken off. It ends when the last bar is silent.
//!
//! **How loud.** Near [`FILE_LUFS`], whatever is played, so that nobody need turn the volume up for
//! one file and be hit by the next. It is played twice: once to be measured, once to be written,
//! under the mallets' ceiling of -3 dBTP.
//!
//! **Voice by voice.** The same playing can be taken away apart, a file a part
//! ([`Sound::write_part`]): before the limiter, which hears all of them, and as loud as the whole, or
//! less where that would not fit into a file. Each sample is the step from the rounded sum of the
//! parts before it to the rounded sum with its own, so that the files add up to the mix exactly as it
//! is rounded, and none is off by more than one least significant bit. The recording that goes along
//! with a phrase of speech is one of them, the last ([`Sound::write_voice`]).
//!
//! **The voice that goes along** is as loud beside the mallets as audition has it, or would have it
//! where that begins, if it is off.
//!
//! **Rounding.** Plain, to the nearest of 2^24 steps, without dither: the error stays at -144 dBFS
//! and below, under the noise of any converter, while dither would put a hiss into silence and make
//! no two renditions alike.

use super::loudness::Meter;
use crate::mallet::{Beside, CEILING_DB, Mallets, ROOM, START_LEVEL_DB};
use crate::part::{MAX_PARTS, Part};
use crate::player::pan_of;
use crate::process::Process;
use crate::process::VoiceNote;
use crate::reciter::{Along, Lines, Reciter, Utterance};
use crate::settings::Mallet;
use crate::tempo_map::TempoMap;
use crate::time::{Beats, Block};
use hound::{SampleFormat, WavReader, WavSpec, WavWriter};
use std::io::{self, BufWriter, Cursor, Read, Seek, Write};
use std::ops::{ControlFlow, Range};
use std::sync::Arc;
use thiserror::Error;

/// How loud files are, in LUFS (ITU-R BS.1770): about what music that is streamed is brought to.
/// Louder than where audition begins, for whoever opens a file has a volume of their own.
pub const FILE_LUFS: f64 = -18.0;

/// The gain at which a sound is measured, in dB: the limiter is not to be measured with it.
const MEASURED_AT_DB: f64 = -40.0;

/// The sample rate of files, in Hz, for want of a reason for another.
pub const FILE_SAMPLE_RATE: u32 = 48_000;

/// Sample rates that the mallets play at, in Hz.
const SAMPLE_RATES: std::ops::RangeInclusive<u32> = 8_000..=768_000;

/// Stereo, three bytes a side.
const BYTES_PER_FRAME: u64 = 6;

/// A WAV file counts its bytes in 32 bits; some of them are the header's.
const MOST_FRAMES: u64 = (u32::MAX as u64 - 1_024) / BYTES_PER_FRAME;

/// Frames rendered at a time, and between two words of progress.
const STRETCH: usize = 16_384;

/// 24 bits: what full scale is, and the largest number below it.
const FULL_SCALE: f32 = 8_388_608.0;
const LARGEST: f32 = 8_388_607.0;

/// Notes to be played on the mallets, into a file.
#[derive(Clone, Copy, Debug)]
pub struct Sound<'a> {
    /// Song position with which the sound begins.
    pub origin: Beats,
    /// How many voices stand side by side, the steady one among them.
    pub voices: usize,
    /// How far apart they stand, 0 ..= 1.
    pub width: f64,
    /// What each part plays on, by its place.
    pub mallets: [Mallet; MAX_PARTS],
    /// What is played, in any order. Notes before the origin are left out.
    pub notes: &'a [VoiceNote],
    /// Quarter notes a minute.
    pub tempo: f64,
    /// Where it went faster or slower than that, if it did.
    pub tempi: Option<&'a TempoMap>,
    /// Hz, 8 000 ..= 768 000; [`FILE_SAMPLE_RATE`] if there is no wish.
    pub sample_rate: u32,
    /// The recording that goes along, if one does.
    pub voice: Option<SoundVoice<'a>>,
}

/// The recording that goes along with the notes.
#[derive(Clone, Copy, Debug)]
pub struct SoundVoice<'a> {
    /// What was said.
    pub utterance: &'a Arc<Utterance>,
    /// Whose notes know their syllables, and whose voices stand side by side.
    pub process: &'a Process,
    /// How loud it goes along, and with whom.
    pub along: Along,
    /// How loud audition plays the mallets, in dB; none while it is off.
    pub audition: Option<f32>,
    /// How many play in audition.
    pub players: usize,
}

impl SoundVoice<'_> {
    /// By what the recording is multiplied where a mallet is left as it is.
    fn beside_mallets(&self) -> f64 {
        let level = f64::from(self.audition.unwrap_or(START_LEVEL_DB));
        let mallets = 10_f64.powf(level / 20.0) * (self.players.max(1) as f64).powf(ROOM);
        1.0 / mallets
    }
}

/// Why there is no sound file.
#[derive(Debug, Error)]
pub enum SoundError {
    /// Stopped on the way, as was asked for.
    #[error("the sound was not finished, as you asked")]
    Cancelled,
    /// No tempo at which anything could be played, in quarter notes a minute.
    #[error("at a tempo of {0} nothing can be played: choose one above 0")]
    Tempo(f64),
    /// No sample rate that the mallets play at, in Hz.
    #[error("a sample rate of {0} Hz is not possible: choose {least} to {most} Hz, for example {FILE_SAMPLE_RATE}", least = SAMPLE_RATES.start(), most = SAMPLE_RATES.end())]
    SampleRate(u32),
    /// Longer than a WAV file can be: seconds there are, and seconds there can be.
    #[error("{:.1} hours are too long for a WAV file, which ends at {:.1}: choose a shorter part or a lower sample rate", .lasts / 3600.0, .longest / 3600.0)]
    TooLong {
        /// Seconds.
        lasts: f64,
        /// Seconds.
        longest: f64,
    },
    /// The bytes found no place.
    #[error("the sound cannot be written: {0}")]
    Write(io::Error),
}

impl Sound<'_> {
    /// The file as bytes.
    ///
    /// # Errors
    /// See [`SoundError`].
    pub fn to_wav(&self) -> Result<Vec<u8>, SoundError> {
        let mut bytes = Cursor::new(Vec::new());
        self.write(&mut bytes, |_| ControlFlow::Continue(()))?;
        Ok(bytes.into_inner())
    }

    /// Writes the file, a stretch at a time. `progress` is told what part is done, 0 ..= 1, and may
    /// break it off; what is written by then is no whole file.
    ///
    /// # Errors
    /// See [`SoundError`].
    pub fn write(
        &self,
        to: impl Write + Seek,
        progress: impl FnMut(f64) -> ControlFlow<()>,
    ) -> Result<(), SoundError> {
        let work = self.checked_work()?;
        let rate = f64::from(self.sample_rate);
        let mut come_to = halves(&work, progress);
        let (gain, _) = self.gain(&work, |frames| come_to(0.0, frames))?;
        let mut wav = Wav::new(to, self.sample_rate)?;
        let mut rendition = Rendition::new(rate, gain, &work);
        while let Some([left, right]) = rendition.next() {
            wav.put(left, right)?;
            come_to(1.0, wav.frames)?;
        }
        wav.finish()
    }

    /// Writes what one part plays, before the limiter: together with those of the other parts it is
    /// the mix, to a least significant bit. All have the same length.
    ///
    /// # Errors
    /// See [`SoundError`].
    pub fn write_part(
        &self,
        part: Part,
        to: impl Write + Seek,
        progress: impl FnMut(f64) -> ControlFlow<()>,
    ) -> Result<(), SoundError> {
        self.write_apart(part.index(), to, progress)
    }

    /// The same of the recording that goes along.
    ///
    /// # Errors
    /// See [`SoundError`].
    pub fn write_voice(
        &self,
        to: impl Write + Seek,
        progress: impl FnMut(f64) -> ControlFlow<()>,
    ) -> Result<(), SoundError> {
        self.write_apart(VOICE, to, progress)
    }

    fn write_apart(
        &self,
        own: usize,
        to: impl Write + Seek,
        progress: impl FnMut(f64) -> ControlFlow<()>,
    ) -> Result<(), SoundError> {
        let work = self.checked_work()?;
        let rate = f64::from(self.sample_rate);
        let mut come_to = halves(&work, progress);
        let (gain, peak) = self.gain(&work, |frames| come_to(0.0, frames))?;
        let room = CEILING_DB - 20.0 * peak.max(f64::MIN_POSITIVE).log10();
        let mut wav = Wav::new(to, self.sample_rate)?;
        let mut rendition = Rendition::new(rate, gain.min(room), &work);
        let mut groups = Groups::default();
        while let Some(frames) = rendition.next_apart(&mut groups) {
            for frame in 0..frames {
                wav.put_whole([0, 1].map(|side| step_of(own, &groups, side, frame)))?;
            }
            wav.check_length()?;
            come_to(1.0, wav.frames)?;
        }
        wav.finish()
    }

    /// What there is to do, if it can be done.
    fn checked_work(&self) -> Result<Work<'_>, SoundError> {
        self.check()?;
        let work = self.work();
        let length = work.deeds.last().map_or(0, |deed| deed.at);
        if length >= MOST_FRAMES {
            let rate = f64::from(self.sample_rate);
            return Err(SoundError::TooLong {
                lasts: length as f64 / rate,
                longest: MOST_FRAMES as f64 / rate,
            });
        }
        Ok(work)
    }

    /// How loud the mallets are with it when `players` play together and the level is 0 dB, in LUFS,
    /// without a limiter; none if it is next to silent.
    ///
    /// # Errors
    /// See [`SoundError`].
    pub fn auditioned_lufs(&self, players: usize) -> Result<Option<f64>, SoundError> {
        let (lufs, _) = self.loudness(&self.checked_work()?, players, |_| Ok(()))?;
        Ok(lufs)
    }

    /// The gain that brings it to [`FILE_LUFS`], in dB, and how high its samples go without it, 1
    /// being full scale.
    fn gain(
        &self,
        work: &Work<'_>,
        come_to: impl FnMut(u64) -> Result<(), SoundError>,
    ) -> Result<(f64, f64), SoundError> {
        let (lufs, peak) = self.loudness(work, 1, come_to)?;
        Ok((lufs.map_or(0.0, |lufs| FILE_LUFS - lufs), peak))
    }

    /// How loud it is by itself, without a limiter, none if it is next to silent; and how high its
    /// samples go.
    fn loudness(
        &self,
        work: &Work<'_>,
        players: usize,
        mut come_to: impl FnMut(u64) -> Result<(), SoundError>,
    ) -> Result<(Option<f64>, f64), SoundError> {
        let mut meter = Meter::new(self.sample_rate);
        let mut rendition = Rendition::new(f64::from(self.sample_rate), MEASURED_AT_DB, work);
        rendition.mallets.set_players(players);
        let back = 10_f64.powf(-MEASURED_AT_DB / 20.0) as f32;
        let mut frames = 0;
        let mut peak = 0.0_f64;
        let mut sides = [Vec::new(), Vec::new()];
        while let Some(heard) = rendition.next() {
            for (side, heard) in sides.iter_mut().zip(heard) {
                side.clear();
                side.extend(heard.iter().map(|sample| sample * back));
            }
            let heights = sides
                .iter()
                .flatten()
                .map(|side: &f32| f64::from(side.abs()));
            peak = heights.fold(peak, f64::max);
            meter.hear(&sides[0], &sides[1]);
            frames += sides[0].len() as u64;
            come_to(frames)?;
        }
        Ok((meter.lufs(), peak))
    }

    fn check(&self) -> Result<(), SoundError> {
        if !(self.tempo > 0.0 && self.tempo.is_finite()) {
            return Err(SoundError::Tempo(self.tempo));
        }
        if !SAMPLE_RATES.contains(&self.sample_rate) {
            return Err(SoundError::SampleRate(self.sample_rate));
        }
        Ok(())
    }

    /// All there is to do.
    fn work(&self) -> Work<'_> {
        let rate = f64::from(self.sample_rate);
        let seconds = |note: &VoiceNote| self.frame_of(note.on) as f64 / rate;
        let heard = self.notes.iter().filter(|note| note.on >= self.origin);
        let recital = self.voice.map(|voice| {
            let phrase = voice.process.phrase();
            let lines = Lines::of(phrase, heard.map(|note| (seconds(note), note)));
            Recital { voice, lines }
        });
        Work {
            deeds: self.deeds(),
            recital,
        }
    }

    /// What there is to do on bars, in order: on one frame, hands are laid on before mallets strike.
    fn deeds(&self) -> Vec<Deed> {
        let origin = self.origin;
        let heard = self.notes.iter().filter(|note| note.on >= origin);
        let mut deeds: Vec<_> = (0..)
            .zip(heard)
            .flat_map(|(id, note)| {
                let (on, off) = (self.frame_of(note.on), self.frame_of(note.off));
                let strike = Deed {
                    at: on,
                    id,
                    strike: Some(Strike {
                        note: *note,
                        mallet: self.mallets[note.part.index()],
                        pan: pan_of(note.part, self.voices, self.width),
                    }),
                };
                let damp = Deed {
                    at: off.max(on + 1),
                    id,
                    strike: None,
                };
                [strike, damp]
            })
            .collect();
        deeds.sort_by_key(|deed| (deed.at, deed.strike.is_some(), deed.id));
        deeds
    }

    /// Frames from the origin.
    fn frame_of(&self, at: Beats) -> u64 {
        let beats = at - self.origin;
        let seconds = match self.tempi {
            Some(tempi) => tempi.seconds(beats),
            None => beats * 60.0 / self.tempo,
        };
        // `as` saturates.
        (seconds * f64::from(self.sample_rate)).round() as u64
    }
}

/// Each part by itself, and last the recording that goes along: two sides each.
type Groups = [[Vec<f64>; 2]; MAX_PARTS + 1];

/// The place of the recording among them.
const VOICE: usize = MAX_PARTS;

/// All there is to do: on bars, and what there is to say.
struct Work<'a> {
    deeds: Vec<Deed>,
    recital: Option<Recital<'a>>,
}

/// What is said beside.
struct Recital<'a> {
    voice: SoundVoice<'a>,
    lines: Lines,
}

/// Tells `progress` of work that is done twice over.
fn halves(
    work: &Work<'_>,
    mut progress: impl FnMut(f64) -> ControlFlow<()>,
) -> impl FnMut(f64, u64) -> Result<(), SoundError> {
    let length = work.deeds.last().map_or(0, |deed| deed.at);
    move |half, frames| {
        let done = (frames as f64 / (length + 1) as f64).min(1.0);
        match progress((half + done) / 2.0) {
            ControlFlow::Continue(()) => Ok(()),
            ControlFlow::Break(()) => Err(SoundError::Cancelled),
        }
    }
}

/// By what the sample of the group at place `own` takes the rounded sum of those before it to the one
/// with its own.
fn step_of(own: usize, groups: &Groups, side: usize, frame: usize) -> i32 {
    let sum = |parts: usize| -> f64 { groups[..parts].iter().map(|own| own[side][frame]).sum() };
    let whole = |sum: f64| (sum * f64::from(FULL_SCALE)).round() as i32;
    whole(sum(own + 1)) - whole(sum(own))
}

/// Something to do at a frame: strike a bar, or lay a hand on it.
struct Deed {
    at: u64,
    id: i32,
    strike: Option<Strike>,
}

/// On which bar, and at which pan position.
#[derive(Clone, Copy)]
struct Strike {
    note: VoiceNote,
    mallet: Mallet,
    pan: u8,
}

/// The mallets at work, a stretch at a time.
struct Rendition<'a> {
    mallets: Mallets,
    reciter: Reciter,
    recital: Option<&'a Recital<'a>>,
    sample_rate: f64,
    deeds: &'a [Deed],
    /// Which part strikes, by the number of the stroke.
    parts: Vec<Part>,
    frame: u64,
    /// Frames that the mallets come late and are yet to be taken off.
    late: usize,
    sides: [Vec<f32>; 2],
}

impl<'a> Rendition<'a> {
    fn new(sample_rate: f64, gain_db: f64, work: &'a Work<'a>) -> Self {
        let (deeds, recital) = (&work.deeds[..], work.recital.as_ref());
        let mut mallets = Mallets::amplified(sample_rate, gain_db);
        mallets.set_level(Some(0.0));
        let beside = recital.map_or(1.0, |recital| recital.voice.beside_mallets());
        let gain = 10_f64.powf(gain_db / 20.0);
        let mut reciter = Reciter::amplified(sample_rate, gain * beside);
        reciter.take(recital.map(|recital| recital.voice.utterance));
        let mut parts = Vec::new();
        for deed in deeds {
            let id = deed.id as usize;
            parts.resize(parts.len().max(id + 1), Part::Steady);
            if let Some(strike) = &deed.strike {
                parts[id] = strike.note.part;
            }
        }
        Self {
            late: mallets.latency(),
            mallets,
            reciter,
            recital,
            sample_rate,
            parts,
            deeds,
            frame: 0,
            sides: [(); 2].map(|()| vec![0.0; STRETCH]),
        }
    }

    /// The next stretch, left and right; none when all has rung out.
    fn next(&mut self) -> Option<[&[f32]; 2]> {
        let frames = self.frames_to_come()?;
        let mut sides = std::mem::take(&mut self.sides);
        sides.iter_mut().for_each(|side| side.fill(0.0));
        self.recite(frames);
        self.strike(frames, |mallets, reciter, here| {
            let [left, right] = &mut sides;
            mallets.render_beside(reciter, &mut left[here.clone()], &mut right[here]);
        });
        self.sides = sides;
        let from = std::mem::take(&mut self.late).min(frames);
        Some(self.sides.each_ref().map(|side| &side[from..frames]))
    }

    /// The next stretch of each part by itself, and of the recording that goes along, before the limiter; how many frames, none when all
    /// has rung out.
    fn next_apart(&mut self, groups: &mut Groups) -> Option<usize> {
        let frames = self.frames_to_come()?;
        for side in groups.iter_mut().flatten() {
            side.clear();
            side.resize(frames, 0.0);
        }
        let parts = std::mem::take(&mut self.parts);
        let group = |id: i32| parts[id as usize].index();
        self.recite(frames);
        self.strike(frames, |mallets, reciter, here| {
            let (parts, voice) = groups.split_at_mut(VOICE);
            mallets.render_apart(group, parts, here.clone());
            for [left, right] in voice {
                reciter.add(&mut left[here.clone()], &mut right[here.clone()]);
            }
        });
        self.parts = parts;
        Some(frames)
    }

    fn frames_to_come(&self) -> Option<usize> {
        match self.deeds.last() {
            Some(last) if self.frame <= last.at => Some(STRETCH),
            _ if self.mallets.is_silent() && self.reciter.is_silent() => None,
            // Listened to closely, so that hardly any silence is left at the end.
            _ => Some(64),
        }
    }

    /// What is to be said in so many frames is known from here on.
    fn recite(&mut self, frames: usize) {
        if let Some(Recital { voice, lines }) = self.recital {
            let start = self.frame as f64 / self.sample_rate;
            // A beat a second: positions are seconds.
            let block = Block::new(start, 60.0, self.sample_rate, frames as u32);
            let whose = (voice.process, lines);
            self.reciter.recite(whose, &block, &voice.along);
        }
    }

    /// Does what there is to do in so many frames, and has the mallets ring and the reciter speak
    /// between.
    fn strike(
        &mut self,
        frames: usize,
        mut sound: impl FnMut(&mut Mallets, &mut Reciter, Range<usize>),
    ) {
        let end = self.frame + frames as u64;
        let mut done = 0;
        let (now, later) = self
            .deeds
            .split_at(self.deeds.partition_point(|deed| deed.at < end));
        self.deeds = later;
        for deed in now {
            let at = (deed.at - self.frame) as usize;
            sound(&mut self.mallets, &mut self.reciter, done..at);
            done = at;
            match &deed.strike {
                Some(Strike { note, mallet, pan }) => {
                    let (key, velocity) = (note.key, note.velocity);
                    self.mallets.strike(*mallet, deed.id, key, velocity, *pan);
                }
                None => self.mallets.note_off(deed.id),
            }
        }
        sound(&mut self.mallets, &mut self.reciter, done..frames);
        self.frame = end;
    }
}

/// A WAV file on its way: 24 bit, stereo. For sound from elsewhere too.
pub struct Wav<W: Write + Seek> {
    writer: WavWriter<BufWriter<W>>,
    sample_rate: u32,
    frames: u64,
}

impl<W: Write + Seek> Wav<W> {
    /// Begins a file at `sample_rate` Hz.
    ///
    /// # Errors
    /// The bytes found no place.
    pub fn new(to: W, sample_rate: u32) -> Result<Self, SoundError> {
        let spec = WavSpec {
            channels: 2,
            sample_rate,
            bits_per_sample: 24,
            sample_format: SampleFormat::Int,
        };
        Ok(Self {
            writer: WavWriter::new(BufWriter::new(to), spec)?,
            sample_rate,
            frames: 0,
        })
    }

    /// Adds sound, 1 being full scale; what is above it is cut off, and what is no number is
    /// silence. If the sides are not equally long, what is too long is left out.
    ///
    /// # Errors
    /// The file becomes longer than it can be, or the bytes found no place.
    pub fn put(&mut self, left: &[f32], right: &[f32]) -> Result<(), SoundError> {
        self.frames += left.len().min(right.len()) as u64;
        self.check_length()?;
        for sample in left
            .iter()
            .zip(right)
            .flat_map(|(left, right)| [left, right])
        {
            let whole = (sample * FULL_SCALE).round().clamp(-FULL_SCALE, LARGEST);
            // `as` makes 0 of what is no number.
            self.writer.write_sample(whole as i32)?;
        }
        Ok(())
    }

    /// Adds a frame that has been rounded already.
    fn put_whole(&mut self, frame: [i32; 2]) -> Result<(), SoundError> {
        self.frames += 1;
        for side in frame {
            let within = side.clamp(-(FULL_SCALE as i32), LARGEST as i32);
            self.writer.write_sample(within)?;
        }
        Ok(())
    }

    fn check_length(&self) -> Result<(), SoundError> {
        let seconds = |frames: u64| frames as f64 / f64::from(self.sample_rate.max(1));
        if self.frames <= MOST_FRAMES {
            return Ok(());
        }
        Err(SoundError::TooLong {
            lasts: seconds(self.frames),
            longest: seconds(MOST_FRAMES),
        })
    }

    /// Ends the file.
    ///
    /// # Errors
    /// The bytes found no place.
    pub fn finish(self) -> Result<(), SoundError> {
        Ok(self.writer.finalize()?)
    }
}

/// Makes a whole file of [`Wav`]'s louder by `gain_db`, in its place.
///
/// # Errors
/// It is none of those, or the bytes found no place; half of it is louder then.
pub fn amplify(file: &mut (impl Read + Write + Seek), gain_db: f64) -> Result<(), SoundError> {
    const BYTES: usize = BYTES_PER_FRAME as usize / 2;
    file.rewind().map_err(SoundError::Write)?;
    let mut left = u64::from(WavReader::new(&mut *file)?.len()) * BYTES as u64;
    let gain = 10_f64.powf(gain_db / 20.0);
    let largest = f64::from(LARGEST);
    let mut bytes = [0; BYTES * STRETCH];
    while left > 0 {
        let some = &mut bytes[..left.min((BYTES * STRETCH) as u64) as usize];
        file.read_exact(some).map_err(SoundError::Write)?;
        for sample in some.chunks_exact_mut(BYTES) {
            // From the top of 32 bits down, so that the sign comes along.
            let whole = i32::from_le_bytes([0, sample[0], sample[1], sample[2]]) >> 8;
            let louder = (f64::from(whole) * gain).round();
            let louder = louder.clamp(-largest - 1.0, largest) as i32;
            sample.copy_from_slice(&louder.to_le_bytes()[..BYTES]);
        }
        file.seek_relative(-(some.len() as i64))
            .and_then(|()| file.write_all(some))
            .map_err(SoundError::Write)?;
        left -= some.len() as u64;
    }
    file.flush().map_err(SoundError::Write)
}

impl From<hound::Error> for SoundError {
    fn from(error: hound::Error) -> Self {
        Self::Write(match error {
            hound::Error::IoError(error) => error,
            // None of these can come of 24 bit and whole frames.
            other => io::Error::other(other),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::note::{Key, Note, Syllable, Velocity};
    use crate::phrase::Phrase;
    use crate::settings::{GoesWith, Settings};
    use crate::time::Span;
    use crate::unrolling::unroll;

    /// Lamps along a pier, from song position `origin` on.
    fn lamps(origin: Beats, copies: usize) -> Process {
        let phrase = Phrase::from_text("E4 B4 . G4 D5 A4 . B4 F#4 . G4 A4", 0.25).unwrap();
        let mut settings = Settings::default();
        settings.motion.copies = copies;
        settings.output.width = 1.0;
        Process::new(phrase, settings, origin)
    }

    fn of<'a>(process: &'a Process, notes: &'a [VoiceNote]) -> Sound<'a> {
        Sound {
            origin: process.origin(),
            voices: process.voices().count(),
            width: process.settings().output.width,
            mallets: process.settings().mallets(),
            notes,
            tempo: 120.0,
            tempi: None,
            sample_rate: FILE_SAMPLE_RATE,
            voice: None,
        }
    }

    fn beats(process: &Process, beats: Beats) -> Vec<VoiceNote> {
        let origin = process.origin();
        unroll(process, Span::new(origin, origin + beats)).collect()
    }

    /// Read back by hound's reader: frames of left and right.
    fn read(bytes: &[u8]) -> (WavSpec, Vec<[i32; 2]>) {
        let mut reader = WavReader::new(bytes).unwrap();
        let samples: Vec<i32> = reader.samples().map(Result::unwrap).collect();
        let frames = samples.chunks(2).map(|frame| [frame[0], frame[1]]);
        (reader.spec(), frames.collect())
    }

    fn peak_db(frames: &[[i32; 2]]) -> f64 {
        let peak = frames.iter().flatten().map(|side| side.abs()).max();
        20.0 * (f64::from(peak.unwrap_or(0)) / f64::from(FULL_SCALE)).log10()
    }

    #[test]
    fn a_file_is_24_bit_stereo_and_lasts_until_the_last_bar_is_silent() {
        let process = lamps(7.3, 1);
        let notes = beats(&process, 12.0);
        let (spec, frames) = read(&of(&process, &notes).to_wav().unwrap());
        assert_eq!((spec.channels, spec.bits_per_sample), (2, 24));
        assert_eq!(
            (spec.sample_rate, spec.sample_format),
            (48_000, SampleFormat::Int)
        );
        let last = notes.iter().map(|note| note.off).fold(0.0, f64::max);
        let music = (last - 7.3) * 0.5;
        let seconds = frames.len() as f64 / 48_000.0;
        // A hand on a bar takes 0.3 s for 60 dB, and a bar is over at -140 dBFS.
        assert!((music + 0.3..music + 0.9).contains(&seconds), "{seconds}");
        let end = &frames[frames.len() - 64..];
        assert!(peak_db(end) < -120.0);
    }

    /// The mix before the limiter is heard here through the mallets themselves, so softly that the
    /// limiter leaves it alone, and made louder again.
    #[test]
    fn the_voices_by_themselves_are_together_the_mix_before_the_limiter() {
        // Nine voices of chords: far more bars than ring at once, so that some have to give way.
        let process = lamps(0.0, 8);
        let notes = beats(&process, 6.0);
        let sound = of(&process, &notes);
        are_together_the_mix(&apart(&process, &sound), &sound);
    }

    /// A file a part, and last that of the recording that goes along, if one does.
    fn apart(process: &Process, sound: &Sound<'_>) -> Vec<Vec<[i32; 2]>> {
        let go_on = |_| ControlFlow::Continue(());
        let parts = process.parts().map(|part| {
            let mut bytes = Cursor::new(Vec::new());
            sound.write_part(part, &mut bytes, go_on).unwrap();
            read(&bytes.into_inner()).1
        });
        let spoken = sound.voice.map(|_| {
            let mut bytes = Cursor::new(Vec::new());
            sound.write_voice(&mut bytes, go_on).unwrap();
            read(&bytes.into_inner()).1
        });
        parts.chain(spoken).collect()
    }

    fn are_together_the_mix(files: &[Vec<[i32; 2]>], sound: &Sound<'_>) {
        let work = sound.work();
        let (gain, peak) = sound.gain(&work, |_| Ok(())).unwrap();
        let gain = gain.min(CEILING_DB - 20.0 * peak.log10());
        let mut softly = Rendition::new(48_000.0, gain - 40.0, &work);
        let mut mix: Vec<[f64; 2]> = Vec::new();
        while let Some([left, right]) = softly.next() {
            let frames = left.iter().zip(right);
            let louder = |side: &f32| f64::from(*side) * 100.0 * f64::from(FULL_SCALE);
            mix.extend(frames.map(|(left, right)| [louder(left), louder(right)]));
        }
        assert!(files.iter().all(|file| file.len() == files[0].len()));
        assert!(
            files.iter().all(|file| peak_db(file) > -60.0),
            "each is heard"
        );
        for frame in 0..files[0].len().min(mix.len()) {
            for side in 0..2 {
                let sum: i32 = files.iter().map(|file| file[frame][side]).sum();
                let apart = (f64::from(sum) - mix[frame][side]).abs();
                assert!(
                    apart <= 1.0,
                    "frame {frame}: {sum} for {}",
                    mix[frame][side]
                );
            }
        }
    }

    /// Four syllables of a quarter of a second, with 50 ms before the vowel: a voice of 150 Hz.
    fn spoken_lamps(copies: usize) -> (Process, Arc<Utterance>) {
        let process = lamps(0.0, copies);
        let phrase = Phrase::from_text("D3 - F3 - E3 - G3 -", 0.25).unwrap();
        let notes = phrase.notes().iter().enumerate().map(|(which, note)| {
            let at = 0.25 * which as f32;
            Note {
                said: Syllable::new(at, at + 0.05, at + 0.25, 0.0),
                ..*note
            }
        });
        let phrase = Phrase::new(notes, phrase.length()).unwrap();
        let process = Process::new(phrase, *process.settings(), 0.0);
        let samples = (0..44_100).map(|n| {
            let turn = 150.0 * std::f64::consts::TAU * f64::from(n) / 44_100.0;
            (10_000.0 * (turn.sin() + (2.0 * turn).sin() + (3.0 * turn).sin())) as i32
        });
        let utterance = Utterance::from_steps(samples, 44_100, 16).unwrap();
        (process, Arc::new(utterance))
    }

    fn speaking<'a>(
        sound: Sound<'a>,
        (process, utterance): (&'a Process, &'a Arc<Utterance>),
        (level, audition): (f32, f32),
    ) -> Sound<'a> {
        let along = Along {
            level: Some(level),
            with: GoesWith::All,
        };
        Sound {
            voice: Some(SoundVoice {
                utterance,
                process,
                along,
                audition: Some(audition),
                players: 1,
            }),
            ..sound
        }
    }

    #[test]
    fn the_recording_that_goes_along_is_one_of_the_files_that_are_together_the_mix() {
        let (process, utterance) = spoken_lamps(2);
        let notes = beats(&process, 6.0);
        let sound = speaking(of(&process, &notes), (&process, &utterance), (-6.0, -10.0));
        let files = apart(&process, &sound);
        assert_eq!(files.len(), 4);
        are_together_the_mix(&files, &sound);
    }

    /// At 120 a syllable is as long as it was said, so that the sound is the recording's own, to the
    /// frame where its note is struck; the level is what audition makes of mallets and voice.
    #[test]
    fn the_recording_is_heard_with_its_notes_as_loud_beside_them_as_in_audition() {
        let (process, utterance) = spoken_lamps(0);
        let notes = beats(&process, 4.0);
        let heard = |level: f32, audition: f32| {
            let sound = speaking(
                of(&process, &notes),
                (&process, &utterance),
                (level, audition),
            );
            let files = apart(&process, &sound);
            let ratio = peak_db(&files[1]) - peak_db(&files[0]);
            (files, ratio)
        };
        let (files, ratio) = heard(-12.0, -20.0);
        let (_, softer) = heard(-18.0, -20.0);
        let (_, beside_louder) = heard(-12.0, -10.0);
        assert!((ratio - softer - 6.0).abs() < 0.05, "{ratio} {softer}");
        assert!(
            (ratio - beside_louder - 10.0).abs() < 0.05,
            "{beside_louder}"
        );
        // Two sides of one steady tone: the first vowel and the third differ by a whole beat, which
        // is half a second, and 150 turns go into that 75 times.
        let voice = &files[1];
        let (early, late) = (&voice[2_400..9_000], &voice[26_400..33_000]);
        let loudest = early.iter().map(|frame| frame[0].abs()).max().unwrap();
        assert!(loudest > 100_000, "{loudest}");
        let apart = early
            .iter()
            .zip(late)
            .map(|(one, other)| (one[0] - other[0]).abs());
        assert!(apart.max().unwrap() < loudest / 50);
    }

    #[test]
    fn the_first_note_begins_with_the_file_and_the_others_on_their_frames() {
        let process = lamps(7.3, 0);
        let notes = beats(&process, 3.0);
        let (_, frames) = read(&of(&process, &notes[..1]).to_wav().unwrap());
        let begins = |frames: &[[i32; 2]]| frames.iter().position(|frame| *frame != [0; 2]);
        let first = begins(&frames).unwrap();
        assert!(first < 8, "{first}");
        // A sixteenth at 120 is six thousand frames.
        let (_, frames) = read(&of(&process, &notes[1..2]).to_wav().unwrap());
        assert_eq!(begins(&frames).unwrap() / 8, 6_000 / 8);
    }

    /// In LUFS, by the meter's second hearing: of what was written.
    fn lufs(frames: &[[i32; 2]]) -> f64 {
        let side = |side: usize| -> Vec<f32> {
            let samples = frames.iter().map(|frame| frame[side] as f32 / FULL_SCALE);
            samples.collect()
        };
        let mut meter = Meter::new(FILE_SAMPLE_RATE);
        meter.hear(&side(0), &side(1));
        meter.lufs().unwrap()
    }

    #[test]
    fn however_many_play_and_however_hard_a_file_is_as_loud_as_files_are() {
        for (copies, velocity) in [(0, 0.2), (0, 0.7), (1, 0.7), (8, 0.7), (8, 1.0)] {
            let process = lamps(0.0, copies);
            let notes: Vec<_> = beats(&process, 24.0)
                .into_iter()
                .map(|note| VoiceNote {
                    velocity: Velocity::new(velocity),
                    ..note
                })
                .collect();
            let (_, frames) = read(&of(&process, &notes).to_wav().unwrap());
            let heard = lufs(&frames);
            assert!(
                (heard - FILE_LUFS).abs() < 0.5,
                "{copies} {velocity}: {heard}"
            );
            assert!(peak_db(&frames) < CEILING_DB);
        }
    }

    #[test]
    fn a_file_stays_under_the_ceiling_whatever_is_played() {
        let process = lamps(0.0, 1);
        let loud: Vec<_> = (30..100)
            .map(|key| VoiceNote {
                part: Part::ALL[usize::from(key) % 2],
                on: 0.0,
                off: 4.0,
                key: Key::new(key).unwrap(),
                velocity: Velocity::new(1.0),
                index: 0,
            })
            .collect();
        let (_, frames) = read(&of(&process, &loud).to_wav().unwrap());
        let loudest = peak_db(&frames);
        assert!((-6.0..CEILING_DB).contains(&loudest), "{loudest} dBFS");
    }

    #[test]
    fn each_voice_stands_in_its_place() {
        let process = lamps(0.0, 1);
        let notes = beats(&process, 6.0);
        for (part, side, silent) in [(Part::Steady, 0, 1), (Part::COPY_1, 1, 0)] {
            let own: Vec<_> = notes.iter().copied().filter(|n| n.part == part).collect();
            let (_, frames) = read(&of(&process, &own).to_wav().unwrap());
            assert!(frames.iter().any(|frame| frame[side] != 0));
            assert!(frames.iter().all(|frame| frame[silent] == 0));
        }
    }

    #[test]
    fn silence_stays_silence() {
        let process = lamps(0.0, 1);
        let (_, frames) = read(&of(&process, &[]).to_wav().unwrap());
        assert!(frames.is_empty());
        let late = VoiceNote {
            on: 16.0,
            ..beats(&process, 1.0)[0]
        };
        let notes = [VoiceNote { off: 16.5, ..late }];
        let (_, frames) = read(&of(&process, &notes).to_wav().unwrap());
        assert!(frames[..8 * 48_000].iter().all(|frame| *frame == [0; 2]));
    }

    /// 6 beats at 120, 3 seconds, then as many at 60, 6 seconds: a note at beat 9 comes after 6.
    #[test]
    fn a_note_comes_when_it_was_heard_at_whatever_tempi() {
        let step = |at, tempo| crate::tempo_map::TempoStep { at, tempo };
        let tempi = TempoMap::new([step(0.0, 120.0), step(6.0, 60.0)]);
        let process = lamps(4.0, 0);
        let sound = Sound {
            tempi: Some(&tempi),
            ..of(&process, &[])
        };
        let frames = [4.0, 10.0, 13.0].map(|at| sound.frame_of(at));
        assert_eq!(frames, [0, 3 * 48_000, 6 * 48_000]);
    }

    /// The steady voice rings on in metal and the copy does not: each part's file tells which.
    #[test]
    fn each_part_is_heard_on_its_own_mallets() {
        let mut process = lamps(0.0, 1);
        let wood = beats(&process, 3.0);
        let (mut settings, before) = (*process.settings(), of(&process, &wood).to_wav().unwrap());
        settings.steady.mallet = Mallet::Metal;
        process.set_settings(settings, 0.0);
        let notes = beats(&process, 3.0);
        assert_eq!(notes, wood, "the same is played");
        let sound = of(&process, &notes);
        assert_ne!(sound.to_wav().unwrap(), before);
        let apart = |part: Part| {
            let mut bytes = Cursor::new(Vec::new());
            sound
                .write_part(part, &mut bytes, |_| ControlFlow::Continue(()))
                .unwrap();
            read(&bytes.into_inner()).1
        };
        // The last note ends at 1.5 seconds. Half a second later wood has fallen by 100 dB, metal by 50.
        let late = |frames: &[[i32; 2]]| {
            let tail = &frames[2 * 48_000..2 * 48_000 + 4_800];
            tail.iter().flatten().map(|side| side.abs()).max().unwrap()
        };
        let (metal, wooden) = (late(&apart(Part::Steady)), late(&apart(Part::COPY_1)));
        assert!(metal > 30 * wooden.max(1), "{metal} {wooden}");
    }

    #[test]
    fn half_the_tempo_is_twice_as_long_and_any_sample_rate_is_in_the_header() {
        let process = lamps(0.0, 0);
        let notes = beats(&process, 12.0);
        let slow = Sound {
            tempo: 60.0,
            sample_rate: 44_100,
            ..of(&process, &notes)
        };
        let (spec, frames) = read(&slow.to_wav().unwrap());
        assert_eq!(spec.sample_rate, 44_100);
        let seconds = frames.len() as f64 / 44_100.0;
        assert!((12.0..13.0).contains(&seconds), "{seconds}");
    }

    #[test]
    fn whoever_waits_is_told_how_far_it_is_and_may_break_it_off() {
        let process = lamps(0.0, 1);
        let notes = beats(&process, 24.0);
        let mut told = Vec::new();
        let sound = of(&process, &notes);
        let listen = |part| {
            told.push(part);
            ControlFlow::Continue(())
        };
        sound.write(Cursor::new(Vec::new()), listen).unwrap();
        assert!(told.is_sorted() && told.len() > 10);
        assert_eq!(told.last(), Some(&1.0));
        let mut count = 0;
        let stop = |_| {
            count += 1;
            ControlFlow::Break(())
        };
        let stopped = sound.write(Cursor::new(Vec::new()), stop);
        assert!(matches!(stopped, Err(SoundError::Cancelled)));
        assert_eq!(count, 1);
    }

    #[test]
    fn what_cannot_be_written_is_refused_with_the_remedy() {
        let process = lamps(0.0, 1);
        let notes = beats(&process, 3.0);
        let far = [VoiceNote {
            on: 40_000.0,
            off: 40_001.0,
            ..notes[0]
        }];
        let sound = of(&process, &notes);
        for (sound, remedy) in [
            (
                Sound {
                    tempo: 0.0,
                    ..sound
                },
                "above 0",
            ),
            (
                Sound {
                    tempo: f64::NAN,
                    ..sound
                },
                "above 0",
            ),
            (
                Sound {
                    sample_rate: 100,
                    ..sound
                },
                "48000",
            ),
            (
                Sound {
                    notes: &far,
                    ..sound
                },
                "shorter",
            ),
        ] {
            let refused = sound.to_wav().unwrap_err().to_string();
            assert!(refused.contains(remedy), "{refused}");
        }
        let mut full = Cursor::new([0; 1_000].as_mut_slice().to_vec().into_boxed_slice());
        let refused = sound.write(&mut full, |_| ControlFlow::Continue(()));
        assert!(matches!(refused, Err(SoundError::Write(_))));
    }

    #[test]
    fn a_whole_file_is_made_louder_where_it_stands() {
        let frames = 2 * STRETCH + 3;
        let side: Vec<f32> = (0..frames).map(|n| (n as f32 * 0.01).sin() * 0.3).collect();
        let other: Vec<f32> = side.iter().map(|sample| -0.5 * sample).collect();
        let mut file = Cursor::new(Vec::new());
        let mut wav = Wav::new(&mut file, 48_000).unwrap();
        wav.put(&side, &other).unwrap();
        wav.finish().unwrap();
        let (spec, before) = read(file.get_ref());
        amplify(&mut file, 20.0 * 3_f64.log10()).unwrap();
        let (same, after) = read(file.get_ref());
        assert_eq!((spec, before.len()), (same, after.len()));
        for (before, after) in before.iter().flatten().zip(after.iter().flatten()) {
            assert!((3 * before - after).abs() <= 1, "{before} {after}");
        }
    }

    #[test]
    fn what_is_no_number_is_silence_and_what_is_too_loud_is_cut_off() {
        let mut bytes = Cursor::new(Vec::new());
        let mut wav = Wav::new(&mut bytes, 48_000).unwrap();
        wav.put(&[f32::NAN, 2.0, 0.5], &[-2.0, f32::INFINITY, -0.5, 0.1])
            .unwrap();
        wav.finish().unwrap();
        let (_, frames) = read(bytes.get_ref());
        let (low, high) = (-8_388_608, 8_388_607);
        assert_eq!(frames, [[0, low], [high, high], [4_194_304, -4_194_304]]);
    }
}
