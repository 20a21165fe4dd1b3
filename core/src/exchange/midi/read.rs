//! A phrase read from a Standard MIDI File.

use super::MidiError;
use crate::capture::{SHORTEST, one_note_a_key};
use crate::exchange::guarded;
use crate::metre::Metre;
use crate::note::{Key, Note, Velocity};
use crate::phrase::{Bar, MAX_LENGTH, MAX_NOTES, MIN_LENGTH, Phrase};
use crate::time::Beats;
use midly::num::u4;
use midly::{
    EventIter, Format, Header, MetaMessage, MidiMessage, Timing, TrackEventKind, TrackIter,
};
use std::collections::BTreeMap;
use std::ops::{Range, RangeInclusive};

/// Channel 10 as musicians count: percussion, in General MIDI.
const PERCUSSION: u8 = 9;

/// Bars beyond these are not counted: twelve hours of 4/4 at 120 beats a minute.
const MAX_BARS: usize = 21_600;

/// The most tracks that are read. Whoever chooses a part has to find it in a list.
pub const MOST_TRACKS: usize = 1024;

/// A bar, in beats, where the file tells no metre.
const BAR: Beats = 4.0;

/// Which part of a file, and which of its bars.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Excerpt {
    /// A place among the parts that [`contents`] lists; none is all of them.
    pub part: Option<usize>,
    /// From 1, as the file's metres have them (4/4 where it tells none); none is from the first
    /// note to the last.
    pub bars: Option<RangeInclusive<usize>>,
}

/// A channel of a track on which something is played.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Part {
    /// What the track is called, or "Track 2"; with the channel, if the track plays several.
    pub name: String,
    /// How many notes it plays, in the whole file.
    pub notes: usize,
}

/// A phrase, and what else the file said.
#[derive(Clone, Debug, PartialEq)]
pub struct ReadPhrase {
    /// The phrase.
    pub phrase: Phrase,
    /// Beats a minute where the phrase begins, if the file tells.
    pub tempo: Option<f64>,
    /// What the file calls the piece, or else the first track with a name.
    pub name: Option<String>,
    /// How many tracks play a note in the phrase.
    pub tracks: usize,
    /// How many notes were left out: percussion beside other notes, and strokes that double
    /// another of the same key.
    pub left_out: usize,
}

/// Reads a phrase from the bytes of a Standard MIDI File, with a grid step of `step` beats.
///
/// With bars chosen, the phrase is those bars, whole; what sounds over their end is cut there.
/// Without:
/// all tracks and channels become one. Percussion (channel 10) is left out unless there is
/// nothing else. A key struck again ends its earlier note; a note that is never ended lasts to
/// the end of the phrase.
///
/// The phrase begins at the whole beat at or before its first note. It ends where the file does,
/// if that is a whole number of steps after the beginning, and later than the last note ends by
/// less than a bar: so the rest at the end of a loop is kept. Otherwise it ends at the whole beat
/// at or after the end of the last note. Beats are those of the file's metre, counted from the bar
/// line: eighths in 7/8, dotted quarters in 6/8. The phrase keeps the bar it lies in.
///
/// Oddities that do not make the music doubtful are read over: chunks of unknown kinds, bytes
/// after the last track, more tracks than announced, a track without an end mark.
///
/// # Errors
/// See [`MidiError`]. Never panics, whatever the bytes are.
pub fn read_phrase(bytes: &[u8], step: Beats, excerpt: &Excerpt) -> Result<ReadPhrase, MidiError> {
    let (piece, ticks_per_beat) = piece(bytes)?;
    piece.phrase(ticks_per_beat, step, excerpt)
}

/// What a Standard MIDI File has to choose from: everything in it that plays, and how many bars
/// there are up to the end of the last note.
///
/// # Errors
/// See [`MidiError`]. Never panics, whatever the bytes are.
pub fn contents(bytes: &[u8]) -> Result<(Vec<Part>, usize), MidiError> {
    let (mut piece, ticks_per_beat) = piece(bytes)?;
    let parts = piece.parts().into_iter().map(|(_, part)| part).collect();
    Ok((parts, piece.bars(ticks_per_beat).len()))
}

fn piece(bytes: &[u8]) -> Result<(Piece, u32), MidiError> {
    guarded(|| decoded(bytes)).unwrap_or(Err(MidiError::Damaged(None)))
}

fn decoded(bytes: &[u8]) -> Result<(Piece, u32), MidiError> {
    let (header, tracks) = open(bytes)?;
    let ticks_per_beat = ticks_per_beat(&header)?;
    let mut piece = Piece::default();
    for (index, events) in whole_tracks(tracks)?.into_iter().enumerate() {
        piece.read_track(index, events)?;
    }
    Ok((piece, ticks_per_beat))
}

fn open(bytes: &[u8]) -> Result<(Header, TrackIter<'_>), MidiError> {
    const HEADER: usize = 14;
    if counts_film_frames(bytes) {
        return Err(MidiError::FilmTime);
    }
    match bytes {
        [] => Err(MidiError::Empty),
        [b'M', b'T', b'h', b'd', ..] if bytes.len() < HEADER => Err(MidiError::Truncated),
        [b'M', b'T', b'h', b'd', ..] => midly::parse(bytes).map_err(|_| MidiError::Damaged(None)),
        // MIDI inside another container is read too, if it is MIDI.
        _ => midly::parse(bytes).map_err(|_| MidiError::NotMidi),
    }
}

/// RP-001: a division with its highest bit set is minus the film frames a second. Looked at before
/// the library does, which cannot negate the lowest of them. In a container the header comes later.
fn counts_film_frames(bytes: &[u8]) -> bool {
    let header = bytes.windows(13).find(|header| header.starts_with(b"MThd"));
    header.is_some_and(|header| header[12] >= 0x80)
}

fn ticks_per_beat(header: &Header) -> Result<u32, MidiError> {
    match (header.format, header.timing) {
        (Format::Sequential, _) => Err(MidiError::SeveralPieces),
        (_, Timing::Timecode(..)) => Err(MidiError::FilmTime),
        (_, Timing::Metrical(ticks)) if ticks.as_int() == 0 => Err(MidiError::NoTicks),
        (_, Timing::Metrical(ticks)) => Ok(u32::from(ticks.as_int())),
    }
}

/// All tracks that were announced, and those beyond.
fn whole_tracks(mut tracks: TrackIter<'_>) -> Result<Vec<EventIter<'_>>, MidiError> {
    let (announced, _) = tracks.size_hint();
    let mut whole = Vec::new();
    loop {
        match tracks.next() {
            Some(Ok(_)) if whole.len() == MOST_TRACKS => {
                let more = tracks.filter(Result::is_ok).count();
                return Err(MidiError::TooManyTracks(MOST_TRACKS + 1 + more));
            }
            Some(Ok(events)) => whole.push(events),
            // What comes after the last announced track may be anything.
            Some(Err(_)) | None if whole.len() >= announced => return Ok(whole),
            Some(Err(_)) | None => return Err(MidiError::Truncated),
        }
    }
}

/// A note as the file has it, in ticks.
struct FileNote {
    on: u64,
    /// None if the file never ends it.
    off: Option<u64>,
    channel: u8,
    key: u8,
    velocity: u8,
    track: usize,
}

/// Which stroke holds each key down, by channel and key.
struct Down([[Option<usize>; 128]; 16]);

#[derive(Default)]
struct Piece {
    strokes: Vec<FileNote>,
    /// Ticks, and microseconds a beat.
    tempos: Vec<(u64, u32)>,
    name: Option<String>,
    /// What each track is called first, as far as it tells.
    names: BTreeMap<usize, String>,
    /// Ticks, and the metre from there on.
    metres: Vec<(u64, Metre)>,
    /// Where the last track ends.
    end: u64,
}

impl Piece {
    fn read_track(&mut self, track: usize, events: EventIter<'_>) -> Result<(), MidiError> {
        let mut now = 0;
        let mut down = Down([[None; 128]; 16]);
        for event in events {
            let event = event.map_err(|_| MidiError::Damaged(Some(track + 1)))?;
            now += u64::from(event.delta.as_int());
            match event.kind {
                TrackEventKind::Midi { channel, message } => {
                    self.play(&mut down, (now, track), channel, message);
                }
                TrackEventKind::Meta(MetaMessage::Tempo(micros)) if micros.as_int() > 0 => {
                    self.tempos.push((now, micros.as_int()));
                }
                TrackEventKind::Meta(MetaMessage::TrackName(name)) => self.call(track, name),
                TrackEventKind::Meta(MetaMessage::TimeSignature(beats, unit, ..)) => {
                    self.turn_to_metre(now, beats, unit);
                }
                TrackEventKind::Meta(MetaMessage::EndOfTrack) => break,
                _ => (),
            }
        }
        self.end = self.end.max(now);
        Ok(())
    }

    fn play(
        &mut self,
        down: &mut Down,
        (at, track): (u64, usize),
        channel: u4,
        message: MidiMessage,
    ) {
        // A stroke of no velocity is an end, and a stroke of a key that is down ends it, too.
        let (key, velocity) = match message {
            MidiMessage::NoteOn { key, vel } => (key, vel.as_int()),
            MidiMessage::NoteOff { key, .. } => (key, 0),
            _ => return,
        };
        let stroke = &mut down.0[usize::from(channel.as_int())][usize::from(key.as_int())];
        if let Some(ended) = stroke.take() {
            self.strokes[ended].off = Some(at);
        }
        if velocity > 0 {
            *stroke = Some(self.strokes.len());
            let (channel, key) = (channel.as_int(), key.as_int());
            self.strokes.push(FileNote {
                on: at,
                off: None,
                channel,
                key,
                velocity,
                track,
            });
        }
    }

    fn call(&mut self, track: usize, name: &[u8]) {
        let name = String::from_utf8_lossy(name);
        let name: String = name.chars().filter(|c| !c.is_control()).collect();
        let name = name.trim();
        if name.is_empty() {
            return;
        }
        self.names.entry(track).or_insert_with(|| name.to_owned());
        self.name.get_or_insert_with(|| name.to_owned());
    }

    /// RP-001: the unit is a power of two, 2 being a quarter note. A metre of no beats is none.
    fn turn_to_metre(&mut self, at: u64, beats: u8, unit: u8) {
        let unit = 1_u32.checked_shl(unit.into()).unwrap_or(0);
        let metre = Metre::new(beats.into(), unit);
        self.metres.extend(metre.map(|metre| (at, metre)));
    }

    /// The metre at a tick, if the file tells one, and where that bar begins. Metres are in order.
    fn bar_at(&self, tick: u64, bars: &[Range<u64>]) -> Option<(Metre, u64)> {
        let bar = bars.iter().rev().find(|bar| bar.start <= tick)?.start;
        let told = self.metres.iter().rev().find(|(at, _)| *at <= bar)?;
        Some((told.1, bar))
    }

    /// The same for a phrase from that tick on: a bar of half the next one's length at most, with a
    /// metre of its own, is a pick-up to that.
    fn bar_from(&self, tick: u64, bars: &[Range<u64>]) -> Option<(Metre, u64)> {
        let (metre, line) = self.bar_at(tick, bars)?;
        let index = bars.iter().rposition(|bar| bar.start <= tick)?;
        let (bar, next) = (bars.get(index)?, bars.get(index + 1));
        let leads = |next: &&Range<u64>| 2 * (bar.end - bar.start) <= next.end - next.start;
        let to = next
            .filter(leads)
            .and_then(|next| self.bar_at(next.start, bars));
        Some(
            to.filter(|(next, _)| *next != metre)
                .unwrap_or((metre, line)),
        )
    }

    fn phrase(
        mut self,
        ticks_per_beat: u32,
        step: Beats,
        excerpt: &Excerpt,
    ) -> Result<ReadPhrase, MidiError> {
        let all = self.strokes.len();
        // Bars are those of the whole file, whatever part is read.
        let bars = self.bars(ticks_per_beat);
        self.keep_part(excerpt.part)?;
        let chosen = self.keep_bars(excerpt.bars.as_ref(), &bars)?;
        let asked_for = self.strokes.len();
        let mut left_out = match excerpt.part {
            Some(_) => 0,
            None => self.leave_out_percussion(),
        };
        if all > 0 && asked_for == 0 {
            return Err(MidiError::NothingThere);
        }
        let first = self.strokes.iter().map(|stroke| stroke.on).min();
        let first = first.ok_or(MidiError::NoNotes)?;
        let told = self.bar_at(chosen.as_ref().map_or(first, |bars| bars.start), &bars);
        let metre = told.map(|(metre, _)| metre);
        let start = match &chosen {
            Some(bars) => bars.start,
            None => {
                let bar = told.map_or(0, |(_, bar)| bar);
                let beat = f64::from(ticks_per_beat) * metre.map_or(1.0, Metre::beat);
                bar + (((first - bar) as f64 / beat).floor() * beat).round() as u64
            }
        };
        let beats = |tick: u64| (tick.saturating_sub(start)) as f64 / f64::from(ticks_per_beat);

        let length = match &chosen {
            Some(bars) => beats(bars.end),
            None => self.length(beats, step, metre),
        };
        if length > MAX_LENGTH {
            return Err(MidiError::TooLong(length));
        }
        if length < MIN_LENGTH {
            return Err(MidiError::TooShort(length));
        }
        let mut notes: Vec<Note> = self.notes(beats, length).collect();
        if chosen.is_some() {
            for note in &mut notes {
                note.length = note.length.min(length - note.onset);
            }
        }
        notes.sort_by(|a, b| a.onset.total_cmp(&b.onset).then(a.key.cmp(&b.key)));
        let kept = one_note_a_key(&mut notes, length);
        left_out += notes.len() - kept;
        notes.truncate(kept);
        if kept > MAX_NOTES {
            return Err(MidiError::TooManyNotes(kept));
        }
        let mut tracks: Vec<_> = self.strokes.iter().map(|stroke| stroke.track).collect();
        tracks.dedup();
        // The length and the number of notes were looked at: this does not fail.
        let phrase = Phrase::new(notes, length).map_err(|_| MidiError::Damaged(None))?;
        let bar = self.bar_from(start, &bars).map(|(metre, bar)| {
            let begins = (bar as f64 - start as f64) / f64::from(ticks_per_beat);
            Bar::around(metre.usually(), begins)
        });
        Ok(ReadPhrase {
            phrase: phrase.with_bar(bar),
            tempo: self.tempo_at(start),
            name: self.name,
            tracks: tracks.len(),
            left_out,
        })
    }

    /// The tracks and channels that play, in the order of the file.
    fn parts(&self) -> Vec<((usize, u8), Part)> {
        let mut counts: BTreeMap<(usize, u8), usize> = BTreeMap::new();
        for stroke in &self.strokes {
            *counts.entry((stroke.track, stroke.channel)).or_default() += 1;
        }
        let several = |track: usize| counts.range((track, 0)..(track + 1, 0)).count() > 1;
        let name = |(track, channel): (usize, u8)| {
            let name = self.names.get(&track).cloned();
            let name = name.unwrap_or_else(|| format!("Track {}", track + 1));
            match several(track) {
                true => format!("{name}, channel {}", channel + 1),
                false => name,
            }
        };
        counts
            .iter()
            .map(|(key, notes)| {
                let part = Part {
                    name: name(*key),
                    notes: *notes,
                };
                (*key, part)
            })
            .collect()
    }

    fn keep_part(&mut self, part: Option<usize>) -> Result<(), MidiError> {
        let Some(part) = part else { return Ok(()) };
        let parts = self.parts();
        let (wanted, _) = parts.get(part).ok_or(MidiError::NoSuchPart(parts.len()))?;
        self.strokes
            .retain(|stroke| (stroke.track, stroke.channel) == *wanted);
        Ok(())
    }

    /// The ticks of those bars. Only what begins in them stays.
    fn keep_bars(
        &mut self,
        wanted: Option<&RangeInclusive<usize>>,
        bars: &[Range<u64>],
    ) -> Result<Option<Range<u64>>, MidiError> {
        let Some(wanted) = wanted else {
            return Ok(None);
        };
        let (first, last) = (*wanted.start(), *wanted.end());
        if first < 1 || last < first || last > bars.len() {
            return Err(MidiError::NoSuchBars(bars.len()));
        }
        let ticks = bars[first - 1].start..bars[last - 1].end;
        self.strokes.retain(|stroke| ticks.contains(&stroke.on));
        Ok(Some(ticks))
    }

    /// The ticks of every bar up to the last note.
    fn bars(&mut self, ticks_per_beat: u32) -> Vec<Range<u64>> {
        self.metres.sort_by_key(|(at, _)| *at);
        let played = self.strokes.iter().map(|stroke| stroke.on + 1);
        let last = played.max().unwrap_or(0);
        let ticks = |beats: Beats| (beats * f64::from(ticks_per_beat)).round().max(1.0) as u64;
        let mut metres = self.metres.iter().peekable();
        let mut length = ticks(BAR);
        let mut bars: Vec<Range<u64>> = Vec::new();
        let mut start = 0;
        while start < last && bars.len() < MAX_BARS {
            while let Some((_, metre)) = metres.next_if(|(at, _)| *at <= start) {
                length = ticks(metre.bar());
            }
            // A metre that changes inside a bar cuts it short.
            let cut = metres.peek().map_or(u64::MAX, |(at, _)| *at);
            let end = (start + length).min(cut);
            bars.push(start..end);
            start = end;
        }
        bars
    }

    fn leave_out_percussion(&mut self) -> usize {
        let all = self.strokes.len();
        let melodic = |stroke: &FileNote| stroke.channel != PERCUSSION;
        if self.strokes.iter().any(melodic) {
            self.strokes.retain(melodic);
        }
        all - self.strokes.len()
    }

    fn length(&self, beats: impl Fn(u64) -> Beats, step: Beats, metre: Option<Metre>) -> Beats {
        let bar = metre.map_or(BAR, Metre::bar);
        let beat = metre.map_or(1.0, Metre::beat);
        let latest = |tick: fn(&FileNote) -> Option<u64>| {
            let ticks = self
                .strokes
                .iter()
                .map(|stroke| tick(stroke).unwrap_or(self.end));
            beats(ticks.max().unwrap_or(self.end))
        };
        let last_end = latest(|stroke| stroke.off);
        let file_end = beats(self.end);
        let steps = file_end / step;
        let on_grid = (steps - steps.round()).abs() < 1e-6;
        let rest = file_end - last_end;
        if on_grid && rest > 0.0 && rest < bar {
            return file_end;
        }
        // A note of no length at the beginning of a beat still takes that beat.
        let last_beat = (latest(|stroke| Some(stroke.on)) / beat).floor();
        beat * (last_end / beat).ceil().max(last_beat + 1.0)
    }

    fn notes(&self, beats: impl Fn(u64) -> Beats, length: Beats) -> impl Iterator<Item = Note> {
        self.strokes.iter().filter_map(move |stroke| {
            let onset = beats(stroke.on);
            let end = stroke.off.map_or(length, &beats);
            Some(Note {
                onset,
                length: (end - onset).max(SHORTEST).min(length),
                key: Key::new(stroke.key)?,
                velocity: Velocity::new(f32::from(stroke.velocity) / 127.0),
                said: None,
            })
        })
    }

    fn tempo_at(&self, tick: u64) -> Option<f64> {
        let before = self.tempos.iter().filter(|(at, _)| *at <= tick);
        let (_, micros) = before.max_by_key(|(at, _)| *at)?;
        Some(60_000_000.0 / f64::from(*micros))
    }
}
