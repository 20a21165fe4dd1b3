//! A phrase read from a MusicXML file.

use super::bounds;
use crate::capture::{SHORTEST, one_note_a_key};
use crate::metre::Metre;
use crate::note::{Key, Note, Velocity};
use crate::phrase::{Bar, MAX_LENGTH, MAX_NOTES, MIN_LENGTH, Phrase, PhraseError};
use crate::time::Beats;
use roxmltree::{Document, Node, ParsingOptions};
use std::borrow::Cow;
use std::collections::BTreeMap;
use std::ops::RangeInclusive;
use thiserror::Error;

/// Which part, and which of its bars.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Excerpt {
    /// From 0, in the order of the file.
    pub part: usize,
    /// From 1, counted as they stand in the file; none is from the first bar in which something
    /// sounds to the last.
    pub bars: Option<RangeInclusive<usize>>,
}

impl Default for Excerpt {
    /// The first part, from its first note on.
    fn default() -> Self {
        Self {
            part: 0,
            bars: None,
        }
    }
}

/// A phrase, and what else the file said.
#[derive(Clone, Debug, PartialEq)]
pub struct ReadPart {
    /// The phrase.
    pub phrase: Phrase,
    /// Beats a minute where the phrase begins, if the file tells.
    pub tempo: Option<f64>,
    /// What the file calls the piece.
    pub name: Option<String>,
    /// The names of all parts, to choose from.
    pub parts: Vec<String>,
    /// Bars of the part that was read.
    pub bars: usize,
    /// How many notes were left out: grace notes, cues, unpitched ones beside others, and those
    /// that double another of the same key.
    pub left_out: usize,
}

/// Why a score could not be read; the text says what to do.
#[derive(Clone, Debug, Error, PartialEq)]
pub enum ScoreError {
    /// The file has no bytes.
    #[error("the file is empty: export it again")]
    Empty,
    /// It is compressed (.mxl).
    #[error("this is a compressed score: export it as uncompressed MusicXML (.musicxml or .xml)")]
    Compressed,
    /// Its characters are neither UTF-8 nor UTF-16.
    #[error("the file's characters cannot be read: export it as MusicXML in UTF-8")]
    Encoding,
    /// It is no XML, or breaks off, in that line.
    #[error("the file is not MusicXML, or is damaged in line {0}: export it again as MusicXML")]
    Damaged(u32),
    /// It is XML of another kind.
    #[error("the file holds no score: choose a MusicXML file (.musicxml or .xml)")]
    NotMusicXml,
    /// It has so many parts, fewer than asked for.
    #[error("the score has {0} parts: choose one of them")]
    NoSuchPart(usize),
    /// The part has so many bars, fewer than asked for.
    #[error("the part has {0} bars: choose bars from 1 to {0}, the first one first")]
    NoSuchBars(usize),
    /// Nothing is played there.
    #[error("no notes are played there: choose another part, or other bars")]
    NoNotes,
    /// A number in that bar, counted from 1, makes no sense.
    #[error("bar {0} has a pitch or a duration that makes no sense: export the score again")]
    Bar(usize),
    /// There are more notes than a phrase holds.
    #[error("{0} notes are more than the {MAX_NOTES} a phrase holds: choose fewer bars")]
    TooManyNotes(usize),
    /// It lasts that many beats, longer than a phrase can.
    #[error(
        "{0:.0} beats are more than the {MAX_LENGTH} a phrase lasts at most: choose fewer bars"
    )]
    TooLong(Beats),
    /// It lasts that many beats, shorter than a phrase can.
    #[error(
        "{0:.4} beats are less than the {MIN_LENGTH} a phrase lasts at least: choose more bars"
    )]
    TooShort(Beats),
    /// In that line it is beyond what any score is made of.
    #[error(
        "the file holds more than any score needs, from line {0} on: export only the bars you want"
    )]
    TooMuch(u32),
}

/// Reads a phrase from the bytes of an uncompressed MusicXML file.
///
/// The phrase is whole bars, as they are written: repeats are not played out. All voices and
/// staves of the part become one; tied notes are one note; pitches are those that sound, on a
/// transposing instrument too. A pick-up bar is as long as what is in it. Notes without a pitch are
/// read where there are no others: on the key that the file gives their instrument, else on the one
/// that stands in their place in the treble clef.
///
/// # Errors
/// See [`ScoreError`]. Never panics, whatever the bytes are.
pub fn read_phrase_xml(bytes: &[u8], excerpt: &Excerpt) -> Result<ReadPart, ScoreError> {
    let text = text(bytes)?;
    let text = bounds::within(&text)?;
    let document = document(&text)?;
    let root = document.root_element();
    let names = part_names(root);
    if names.is_empty() {
        return Err(ScoreError::NotMusicXml);
    }
    let bars = bars(root, excerpt.part, names.len())?;
    let mut part = Part {
        percussion: percussion_keys(root),
        ..Part::default()
    };
    for (index, bar) in bars.iter().enumerate() {
        part.read_bar(bar).ok_or(ScoreError::Bar(index + 1))?;
    }
    part.leave_out_unpitched();
    if part.tempos.is_empty() {
        part.tempos = tempos_on_top(root, names.len());
    }
    part.phrase(root, excerpt, names)
}

/// The keys of the instruments without pitch, by their ids.
fn percussion_keys(root: Node) -> BTreeMap<String, Key> {
    let parts = child(root, "part-list").into_iter();
    let parts = parts.flat_map(|list| children(list, "score-part"));
    parts
        .flat_map(|part| children(part, "midi-instrument"))
        .filter_map(|instrument| {
            // Counted from 1.
            let number = number(instrument, "midi-unpitched")? - 1.0;
            let key = (number.fract() == 0.0 && (0.0..128.0).contains(&number))
                .then(|| Key::new(number as u8))??;
            Some((instrument.attribute("id")?.to_owned(), key))
        })
        .collect()
}

/// Tempos stand above the first part, and are meant for all; as far as they can be read.
fn tempos_on_top(root: Node, count: usize) -> Vec<(Beats, f64)> {
    let mut top = Part::default();
    for bar in bars(root, 0, count).unwrap_or_default() {
        if top.read_bar(&bar).is_none() {
            break;
        }
    }
    top.tempos
}

/// What a MusicXML file has to choose from: the names of its parts, and how many bars there are.
///
/// # Errors
/// See [`ScoreError`]. Never panics, whatever the bytes are.
pub fn contents(bytes: &[u8]) -> Result<(Vec<String>, usize), ScoreError> {
    let text = text(bytes)?;
    let text = bounds::within(&text)?;
    let document = document(&text)?;
    let root = document.root_element();
    let names = part_names(root);
    if names.is_empty() {
        return Err(ScoreError::NotMusicXml);
    }
    let bars = bars(root, 0, names.len())?.len();
    Ok((names, bars))
}

fn document(text: &str) -> Result<Document<'_>, ScoreError> {
    let options = ParsingOptions {
        // Many files name the format's document type; that was taken out before.
        allow_dtd: false,
        nodes_limit: bounds::MOST_NODES,
        ..ParsingOptions::default()
    };
    Document::parse_with_options(text, options)
        .map_err(|error| ScoreError::Damaged(error.pos().row))
}

fn text(bytes: &[u8]) -> Result<Cow<'_, str>, ScoreError> {
    let wide = |from_bytes: fn([u8; 2]) -> u16| {
        let (pairs, _) = bytes[2..].as_chunks::<2>();
        let units: Vec<u16> = pairs.iter().map(|pair| from_bytes(*pair)).collect();
        let text = String::from_utf16(&units).map_err(|_| ScoreError::Encoding);
        text.map(Cow::Owned)
    };
    match bytes {
        [] => Err(ScoreError::Empty),
        [b'P', b'K', ..] => Err(ScoreError::Compressed),
        [0xFE, 0xFF, ..] => wide(u16::from_be_bytes),
        [0xFF, 0xFE, ..] => wide(u16::from_le_bytes),
        [0xEF, 0xBB, 0xBF, rest @ ..] | rest => std::str::from_utf8(rest)
            .map(Cow::Borrowed)
            .map_err(|_| ScoreError::Encoding),
    }
}

fn part_names(root: Node) -> Vec<String> {
    let list = child(root, "part-list");
    let parts = list
        .into_iter()
        .flat_map(|list| children(list, "score-part"));
    parts
        .enumerate()
        .map(|(index, part)| match child_text(part, "part-name") {
            Some(name) if !name.trim().is_empty() => name.trim().to_owned(),
            _ => format!("Part {}", index + 1),
        })
        .collect()
}

/// What is in each bar of a part: one piece, or several where bars hold parts.
fn bars<'a>(
    root: Node<'a, 'a>,
    part: usize,
    count: usize,
) -> Result<Vec<Vec<Node<'a, 'a>>>, ScoreError> {
    let ids: Vec<_> = child(root, "part-list")
        .into_iter()
        .flat_map(|list| children(list, "score-part"))
        .map(|part| part.attribute("id"))
        .collect();
    let is_part = |node: &Node, wanted: Option<&str>| node.attribute("id") == wanted;
    let no_such_part = ScoreError::NoSuchPart(count);
    let id = *ids.get(part).ok_or(match root.tag_name().name() {
        "score-partwise" | "score-timewise" => no_such_part,
        _ => ScoreError::NotMusicXml,
    })?;
    match root.tag_name().name() {
        "score-partwise" => Ok(children(root, "part")
            .filter(|node| is_part(node, id))
            .flat_map(|part| children(part, "measure"))
            .map(|bar| vec![bar])
            .collect()),
        "score-timewise" => Ok(children(root, "measure")
            .map(|bar| {
                children(bar, "part")
                    .filter(|node| is_part(node, id))
                    .collect()
            })
            .collect()),
        _ => Err(ScoreError::NotMusicXml),
    }
}

fn children<'a>(node: Node<'a, 'a>, name: &'static str) -> impl Iterator<Item = Node<'a, 'a>> {
    node.children()
        .filter(move |child| child.has_tag_name(name))
}

fn child<'a>(node: Node<'a, 'a>, name: &'static str) -> Option<Node<'a, 'a>> {
    children(node, name).next()
}

fn child_text<'a>(node: Node<'a, 'a>, name: &'static str) -> Option<&'a str> {
    child(node, name)?.text()
}

/// A number in a child; `None` if there is none, or if it is not finite.
fn number(node: Node, name: &'static str) -> Option<f64> {
    let number: f64 = child_text(node, name)?.trim().parse().ok()?;
    number.is_finite().then_some(number)
}

/// A note as it sounds, in beats from the beginning of the part.
#[derive(Clone, Copy, Debug)]
struct Sound {
    onset: Beats,
    length: Beats,
    key: Key,
    velocity: Velocity,
    /// Still to be continued by a tied one.
    is_open: bool,
    /// Whether it has a pitch of its own.
    is_pitched: bool,
}

impl Sound {
    fn end(&self) -> Beats {
        self.onset + self.length
    }
}

/// Two places closer than this are the same: far above rounding, far below any note value.
const SAME_PLACE: Beats = 1e-4;

/// Beats of the longest duration that is taken for one.
const LONGEST: Beats = 1e6;

/// What a note with no dynamics of its own is played at.
const MEZZO_FORTE: f32 = 0.7;

/// A part, as far as it was read.
struct Part {
    /// Where the present bar begins.
    start: Beats,
    /// Where each bar begins, and the end of the last.
    bar_lines: Vec<Beats>,
    divisions: f64,
    /// What the time signature says a bar lasts.
    bar: Option<Beats>,
    /// Where bars of a metre begin, and which it is.
    metres: Vec<(Beats, Metre)>,
    transposition: i32,
    velocity: Velocity,
    /// Where tempos are set, and to how many beats a minute.
    tempos: Vec<(Beats, f64)>,
    sounds: Vec<Sound>,
    left_out: Vec<Beats>,
    /// The keys of instruments without pitch, by their ids.
    percussion: BTreeMap<String, Key>,
}

impl Default for Part {
    fn default() -> Self {
        Self {
            start: 0.0,
            bar_lines: vec![0.0],
            divisions: 1.0,
            bar: None,
            metres: Vec::new(),
            transposition: 0,
            velocity: Velocity::new(MEZZO_FORTE),
            tempos: Vec::new(),
            sounds: Vec::new(),
            left_out: Vec::new(),
            percussion: BTreeMap::new(),
        }
    }
}

impl Part {
    fn read_bar(&mut self, pieces: &[Node]) -> Option<()> {
        let mut now = 0.0f64;
        let mut furthest = 0.0f64;
        // Where the chord that is being read began.
        let mut chord = 0.0;
        for element in pieces.iter().flat_map(|piece| piece.children()) {
            match element.tag_name().name() {
                "attributes" => self.read_attributes(element)?,
                "backup" => now = (now - self.beats(element)?).max(0.0),
                "forward" => now += self.beats(element)?,
                "note" => {
                    let is_chord = child(element, "chord").is_some();
                    let length = self.note_length(element)?;
                    if !is_chord {
                        chord = now;
                        now += length;
                    }
                    self.read_note(element, self.start + chord, length)?;
                }
                "direction" => self.read_direction(element, self.start + now),
                "sound" => self.read_sound(element, self.start + now),
                _ => {}
            }
            furthest = furthest.max(now);
        }
        let is_pick_up = pieces
            .iter()
            .any(|piece| piece.attribute("implicit") == Some("yes"));
        let signed = self.bar.filter(|_| !is_pick_up || furthest == 0.0);
        self.start += furthest.max(signed.unwrap_or(0.0));
        self.bar_lines.push(self.start);
        Some(())
    }

    fn read_attributes(&mut self, attributes: Node) -> Option<()> {
        if child(attributes, "divisions").is_some() {
            self.divisions = number(attributes, "divisions").filter(|number| *number > 0.0)?;
        }
        if let Some(time) = child(attributes, "time") {
            self.bar = bar_length(time);
            let metre = metre(time).map(|metre| (self.start, metre));
            self.metres.extend(metre);
        }
        if let Some(transpose) = child(attributes, "transpose") {
            let chromatic = number(transpose, "chromatic").unwrap_or(0.0);
            let octaves = number(transpose, "octave-change").unwrap_or(0.0);
            self.transposition = (chromatic + 12.0 * octaves).round() as i32;
        }
        Some(())
    }

    fn beats(&self, element: Node) -> Option<Beats> {
        let duration = number(element, "duration")?;
        let beats = duration / self.divisions;
        (0.0..=LONGEST).contains(&beats).then_some(beats)
    }

    /// Grace notes take no time.
    fn note_length(&self, note: Node) -> Option<Beats> {
        if child(note, "grace").is_some() {
            return Some(0.0);
        }
        self.beats(note)
    }

    fn read_note(&mut self, note: Node, onset: Beats, length: Beats) -> Option<()> {
        if child(note, "rest").is_some() {
            return Some(());
        }
        let is_played = child(note, "grace").is_none() && child(note, "cue").is_none();
        if !is_played || length <= 0.0 {
            self.left_out.push(onset);
            return Some(());
        }
        let (pitch, unpitched) = (child(note, "pitch"), child(note, "unpitched"));
        let key = match (pitch, unpitched) {
            (Some(pitch), _) => Key::by_octave(sounding(pitch)?.saturating_add(self.transposition)),
            (None, Some(unpitched)) => self.struck(note, unpitched)?,
            (None, None) => {
                self.left_out.push(onset);
                return Some(());
            }
        };
        let ties =
            |kind: &str| children(note, "tie").any(|tie| tie.attribute("type") == Some(kind));
        let is_open = ties("start");
        if ties("stop") && self.continue_tie(key, onset, length, is_open) {
            return Some(());
        }
        self.sounds.push(Sound {
            onset,
            length,
            key,
            velocity: own_velocity(note).unwrap_or(self.velocity),
            is_open,
            is_pitched: pitch.is_some(),
        });
        Some(())
    }

    /// The key of what has no pitch.
    fn struck(&self, note: Node, unpitched: Node) -> Option<Key> {
        let instrument = child(note, "instrument").and_then(|it| it.attribute("id"));
        if let Some(key) = instrument.and_then(|id| self.percussion.get(id)) {
            return Some(*key);
        }
        if child(unpitched, "display-step").is_none() {
            // It stands on the middle line.
            return Some(Key::by_octave(71));
        }
        let step = child_text(unpitched, "display-step")?;
        let octave = child_text(unpitched, "display-octave")?;
        natural_key(step, octave).map(Key::by_octave)
    }

    /// As everywhere, percussion is no part of a melody.
    fn leave_out_unpitched(&mut self) {
        if !self.sounds.iter().any(|sound| sound.is_pitched) {
            return;
        }
        let unpitched = self.sounds.iter().filter(|sound| !sound.is_pitched);
        self.left_out.extend(unpitched.map(|sound| sound.onset));
        self.sounds.retain(|sound| sound.is_pitched);
    }

    /// Lengthens the note that the tie comes from, if there is one.
    fn continue_tie(&mut self, key: Key, at: Beats, length: Beats, is_open: bool) -> bool {
        let comes_from = |sound: &&mut Sound| {
            sound.is_open && sound.key == key && (sound.end() - at).abs() < SAME_PLACE
        };
        let Some(sound) = self.sounds.iter_mut().rev().find(comes_from) else {
            return false;
        };
        sound.length += length;
        sound.is_open = is_open;
        true
    }

    fn read_direction(&mut self, direction: Node, at: Beats) {
        let sound = child(direction, "sound");
        let says_tempo = sound.is_some_and(|sound| sound.has_attribute("tempo"));
        if let Some(sound) = sound {
            self.read_sound(sound, at);
        }
        let metronomes = children(direction, "direction-type")
            .filter_map(|kind| child(kind, "metronome"))
            .filter_map(metronome);
        if !says_tempo {
            self.tempos.extend(metronomes.map(|tempo| (at, tempo)));
        }
    }

    fn read_sound(&mut self, sound: Node, at: Beats) {
        let value = |name| {
            sound
                .attribute(name)
                .and_then(|text| text.parse::<f64>().ok())
        };
        let tempo = value("tempo").filter(|tempo| tempo.is_finite() && *tempo > 0.0);
        self.tempos.extend(tempo.map(|tempo| (at, tempo)));
        if let Some(percent) = value("dynamics") {
            self.velocity = velocity(percent);
        }
    }

    fn phrase(
        self,
        root: Node,
        excerpt: &Excerpt,
        parts: Vec<String>,
    ) -> Result<ReadPart, ScoreError> {
        let (from, to) = self.stretch(excerpt)?;
        let length = to - from;
        if length > MAX_LENGTH {
            return Err(ScoreError::TooLong(length));
        }
        if length < MIN_LENGTH {
            return Err(ScoreError::TooShort(length));
        }
        let inside = |at: Beats| at > from - SAME_PLACE && at < to - SAME_PLACE;
        let mut notes: Vec<Note> = self
            .sounds
            .iter()
            .filter(|sound| inside(sound.onset))
            .map(|sound| Note {
                onset: (sound.onset - from).max(0.0),
                length: sound.length.max(SHORTEST).min(length),
                key: sound.key,
                velocity: sound.velocity,
                said: None,
            })
            .collect();
        if notes.is_empty() {
            return Err(ScoreError::NoNotes);
        }
        notes.sort_by(|a, b| a.onset.total_cmp(&b.onset).then(a.key.cmp(&b.key)));
        let kept = one_note_a_key(&mut notes, length);
        let left_out = self.left_out.iter().filter(|at| inside(**at)).count();
        let left_out = left_out + notes.len() - kept;
        notes.truncate(kept);
        let phrase = Phrase::new(notes, length).map_err(|error| match error {
            PhraseError::TooMany(count) => ScoreError::TooManyNotes(count),
            PhraseError::Length(beats) => ScoreError::TooLong(beats),
            PhraseError::Note(_) | PhraseError::Word(_) => ScoreError::NoNotes,
        })?;
        let before = |(at, _): &&(Beats, f64)| *at < from + SAME_PLACE;
        let bar = self.bar_of(from);
        Ok(ReadPart {
            phrase: phrase.with_bar(bar),
            tempo: self
                .tempos
                .iter()
                .rev()
                .find(before)
                .map(|(_, tempo)| *tempo),
            name: name(root),
            parts,
            bars: self.bar_lines.len() - 1,
            left_out,
        })
    }

    /// The bar of a phrase from there on. A bar that is no whole one leads to the next.
    fn bar_of(&self, from: Beats) -> Option<Bar> {
        let told = |(at, _): &&(Beats, Metre)| *at < from + SAME_PLACE;
        let (_, metre) = *self.metres.iter().rev().find(told)?;
        let ends = *self.bar_lines.get(self.bar_at(from))?;
        let begins = ends - from - metre.bar();
        Some(Bar {
            // However long, a bar that is written short leads to the next.
            pick_up: begins < -SAME_PLACE,
            ..Bar::around(metre, begins)
        })
    }

    /// From where to where the bars asked for last.
    fn stretch(&self, excerpt: &Excerpt) -> Result<(Beats, Beats), ScoreError> {
        let count = self.bar_lines.len() - 1;
        let (first, last) = match &excerpt.bars {
            Some(bars) => (*bars.start(), *bars.end()),
            None => {
                if self.sounds.is_empty() {
                    return Err(ScoreError::NoNotes);
                }
                let onsets = self.sounds.iter().map(|sound| sound.onset);
                let ends = self.sounds.iter().map(Sound::end);
                let earliest = onsets.fold(Beats::INFINITY, f64::min);
                // A hair before the end: the bar line belongs to the bar that it closes.
                let latest = ends.fold(0.0, f64::max) - 2.0 * SAME_PLACE;
                (self.bar_at(earliest), self.bar_at(latest))
            }
        };
        if first < 1 || first > last || last > count {
            return Err(ScoreError::NoSuchBars(count));
        }
        Ok((self.bar_lines[first - 1], self.bar_lines[last]))
    }

    /// The bar that a place lies in, from 1.
    fn bar_at(&self, at: Beats) -> usize {
        let after = self
            .bar_lines
            .partition_point(|line| *line <= at + SAME_PLACE);
        after.min(self.bar_lines.len() - 1)
    }
}

/// A time signature as a metre, with the groups that it says or that are usual; `None` if its beats
/// are of several kinds, or no number.
fn metre(time: Node) -> Option<Metre> {
    let unit: u32 = child_text(time, "beat-type")?.trim().parse().ok()?;
    let beats = child_text(time, "beats")?;
    let groups = beats.split('+').map(|group| group.trim().parse::<u32>());
    let groups: Vec<u32> = groups.collect::<Result<_, _>>().ok()?;
    let is_one = children(time, "beat-type").count() == 1;
    let metre = Metre::grouped(groups, unit).filter(|_| is_one)?;
    Some(if metre.is_grouped() {
        metre
    } else {
        metre.usually()
    })
}

/// What a time signature says, such as 3+2/8; `None` if there is none to count by.
fn bar_length(time: Node) -> Option<Beats> {
    let counts = children(time, "beats").filter_map(|beats| {
        let parts = beats.text()?.split('+');
        parts.map(|part| part.trim().parse::<f64>().ok()).sum()
    });
    let units = children(time, "beat-type")
        .filter_map(|unit| unit.text()?.trim().parse::<f64>().ok())
        .filter(|unit| *unit > 0.0);
    let length: f64 = counts
        .zip(units)
        .map(|(count, unit): (f64, f64)| count * 4.0 / unit)
        .sum();
    (length > 0.0 && length.is_finite()).then_some(length)
}

/// The key that a written pitch stands for, before transposition. A quarter-tone goes to the
/// nearest key, upwards.
fn sounding(pitch: Node) -> Option<i32> {
    let natural = natural_key(child_text(pitch, "step")?, child_text(pitch, "octave")?)?;
    let alter = match child(pitch, "alter") {
        Some(_) => number(pitch, "alter")?,
        None => 0.0,
    };
    if alter.abs() > 12.0 {
        return None;
    }
    Some(natural + (alter + 0.5).floor() as i32)
}

/// The key of a letter in an octave.
fn natural_key(step: &str, octave: &str) -> Option<i32> {
    let natural = match step.trim() {
        "C" => 0,
        "D" => 2,
        "E" => 4,
        "F" => 5,
        "G" => 7,
        "A" => 9,
        "B" => 11,
        _ => return None,
    };
    let octave: i32 = octave.trim().parse().ok()?;
    (0..=9)
        .contains(&octave)
        .then_some((octave + 1) * 12 + natural)
}

/// The format's dynamics are in percent of a velocity of 90.
fn velocity(percent: f64) -> Velocity {
    Velocity::new((percent * 0.9 / 127.0) as f32)
}

fn own_velocity(note: Node) -> Option<Velocity> {
    let percent: f64 = note.attribute("dynamics")?.parse().ok()?;
    percent.is_finite().then(|| velocity(percent))
}

/// Quarters a minute; `None` where it is said in other ways.
fn metronome(metronome: Node) -> Option<f64> {
    let unit = match child_text(metronome, "beat-unit")?.trim() {
        "whole" => 4.0,
        "half" => 2.0,
        "quarter" => 1.0,
        "eighth" => 0.5,
        "16th" => 0.25,
        _ => return None,
    };
    let dotted = if child(metronome, "beat-unit-dot").is_some() {
        1.5
    } else {
        1.0
    };
    let per_minute = number(metronome, "per-minute").filter(|count| *count > 0.0)?;
    Some(per_minute * unit * dotted)
}

fn name(root: Node) -> Option<String> {
    let work = child(root, "work").and_then(|work| child_text(work, "work-title"));
    let name = work.or_else(|| child_text(root, "movement-title"))?.trim();
    (!name.is_empty()).then(|| name.to_owned())
}
