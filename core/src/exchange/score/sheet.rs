//! What a score writes: the cycles of the steady voice, equal ones gathered into one repeat.

use super::tonality::Tonality;
use super::{Layout, Score};
use crate::form::{BUILD_RANGE, Doing, HOLD_RANGE, SLIDE_RANGE, Stage};
use crate::growth::Lap;
use crate::note::Key;
use crate::part::{CopyNumber, MAX_COPIES, MAX_PARTS, Part};
use crate::time::{Beats, HAIR, MaterialPlace, Since, Span, from_ticks, to_ticks};

/// A note of a part.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct PartNote {
    /// Ticks after the passage begins.
    pub onset: i64,
    /// The key that sounds.
    pub key: Key,
    /// Ticks; it may ring on beyond the passage.
    pub length: i64,
}

impl PartNote {
    /// Ticks after the passage begins.
    pub fn end(&self) -> i64 {
        self.onset + self.length
    }
}

/// A stretch that is written once and played so many times.
#[derive(Clone, Debug, PartialEq)]
pub struct Passage {
    /// Song position at which it is first played.
    pub at: Beats,
    /// Ticks of one play.
    pub length: i64,
    /// Plays in all, 1 or more.
    pub plays: u32,
    /// What each part plays, the steady one first, the resulting line last, in order of onset,
    /// then key.
    pub parts: Vec<Vec<PartNote>>,
    /// The first and the last play, counted from 1, in which the resulting line sounds.
    pub line_plays: Option<(u32, u32)>,
    /// Which copies drift: what they play is what they leave from.
    pub drifting: Vec<bool>,
    /// Which stage of the form it belongs to.
    pub stage: usize,
    /// Whether it is the stage's first passage.
    pub begins: bool,
    /// Whether it is all of the stage.
    pub is_whole: bool,
    /// Beats a minute as it begins.
    pub tempo: f64,
    /// Whether it was performed, and is no proposal.
    pub performed: bool,
    /// How its pitches are written.
    pub(super) tonality: Tonality,
}

impl Passage {
    /// Whether any part drifts.
    pub fn is_drift(&self) -> bool {
        self.drifting.contains(&true)
    }

    /// The fewest and the most plays that are customary, if the number is left to the players: a
    /// passage that is part of a stage is counted.
    pub fn customary_plays(&self, score: &Score) -> Option<(u32, u32)> {
        if !self.is_whole || self.plays < 2 || self.performed {
            return None;
        }
        let stage = &score.piece.form.stages[self.stage];
        let (fewest, most) = match () {
            () if self.is_drift() => SLIDE_RANGE,
            () if builds(stage, score) => BUILD_RANGE,
            () => HOLD_RANGE,
        };
        let of = |share: f64| (f64::from(self.plays) * share).round().max(1.0) as u32;
        Some((of(fewest), of(most)))
    }

    /// Whether the resulting line sounds in some of the plays and not in others.
    pub fn is_line_partial(&self) -> bool {
        self.line_plays
            .is_some_and(|plays| plays != (1, self.plays))
    }

    /// Takes `next` in as one more play if it is the same pattern again; gives it back if not.
    fn play_again(&mut self, mut next: Self) -> Option<Self> {
        let same = self.stage == next.stage
            && self.performed == next.performed
            && self.tempo == next.tempo
            && self.length == next.length
            && self.voices() == next.voices()
            && self.drifting == next.drifting
            && self.tonality.is_as(&next.tonality);
        let line_plays = match (self.line_plays, next.line_plays) {
            (plays, None) => plays,
            (None, Some(_)) => Some((self.plays + 1, self.plays + 1)),
            (Some((first, last)), Some(_)) if last == self.plays && strikes_as(self, &next) => {
                Some((first, last + 1))
            }
            // It strikes something else, or comes back.
            _ => return Some(next),
        };
        if !same {
            return Some(next);
        }
        if self.line_plays.is_none() {
            self.parts = std::mem::take(&mut next.parts);
        }
        self.line_plays = line_plays;
        self.plays += 1;
        None
    }

    /// What the steady voice and its copies play.
    fn voices(&self) -> &[Vec<PartNote>] {
        &self.parts[..=self.drifting.len()]
    }
}

/// Whether the resulting line strikes the same keys in both. Its last note before it leaves has
/// nothing to end it, and may be longer.
fn strikes_as(one: &Passage, other: &Passage) -> bool {
    let strokes = |passage: &Passage| -> Vec<(i64, Key)> {
        let line = passage.parts.last().into_iter().flatten();
        line.map(|note| (note.onset, note.key)).collect()
    };
    strokes(one) == strokes(other)
}

/// Whether something is being built up in a stage.
pub(super) fn builds(stage: &Stage, score: &Score) -> bool {
    let process = score.piece.performance.at(stage.span.start);
    let laps = process.voices().laps(Part::Steady);
    let grown = laps.done().unwrap_or(MaterialPlace::NEVER);
    let grown = grown.steady_since().to_song(score.piece.process().origin());
    stage.span.start < grown - HAIR
        || stage
            .copies
            .iter()
            .any(|copy| copy.doing == Doing::Building)
}

/// All passages, in order.
#[derive(Clone, Debug, PartialEq)]
pub struct Sheet {
    /// In order.
    pub passages: Vec<Passage>,
    /// Whether the beat is divided by three throughout, and so written as a dotted quarter.
    pub compound: bool,
}

impl Sheet {
    pub(super) fn new(score: &Score) -> Self {
        let raster = Raster::of(score);
        let mut passages: Vec<Passage> = Vec::new();
        let mut reader = Reader::new(score);
        for lap in laps(score) {
            let next = reader.passage(&lap, &raster);
            let next = match passages.last_mut() {
                Some(last) => last.play_again(next),
                None => Some(next),
            };
            passages.extend(next);
        }
        mark_stages(&mut passages);
        Self {
            passages,
            compound: raster.compound,
        }
    }
}

/// Whether the beat is divided by three throughout.
pub(super) fn is_compound(score: &Score) -> bool {
    Raster::of(score).compound
}

fn mark_stages(passages: &mut [Passage]) {
    let stages: Vec<usize> = passages.iter().map(|passage| passage.stage).collect();
    for (index, passage) in passages.iter_mut().enumerate() {
        passage.begins = index == 0 || stages[index - 1] != passage.stage;
        passage.is_whole = passage.begins && stages.get(index + 1) != Some(&passage.stage);
    }
}

/// The steady voice's laps up to the end of the form, where the last one is cut.
fn laps<'a>(score: &'a Score) -> impl Iterator<Item = Lap> + 'a {
    let performance = score.piece.performance;
    let origin = score.piece.process().origin();
    let end = Since::from_song(score.piece.form.end(), origin).steady_place();
    let in_song = move |place: MaterialPlace| place.steady_since().to_song(origin);
    // A lap in which something changed ends as it has it that was there at its end.
    let whole = move |lap: Lap| {
        let at = in_song(lap.end()) - HAIR;
        let ended = performance.at(at).voices().steady_lap(at);
        let same = (ended.start - lap.start).abs() < HAIR;
        if same { ended } else { lap }
    };
    let first = MaterialPlace::START;
    let laps_at = move |place: MaterialPlace| {
        let process = performance.at(in_song(place) + HAIR);
        let lap = process.voices().laps(Part::Steady).at(place + HAIR / 2.0);
        if lap.start > place - HAIR {
            return lap;
        }
        // It began otherwise, and what was before of it is written.
        Lap {
            start: place,
            length: lap.end() - place,
            ..lap
        }
    };
    std::iter::successors(Some(whole(laps_at(first))), move |lap| {
        Some(whole(laps_at(lap.end())))
    })
    .take_while(move |lap| lap.start < end - HAIR)
    .map(move |lap| Lap {
        length: lap.length.min(end - lap.start),
        ..lap
    })
}

/// Turns laps into passages, in order.
struct Reader<'a> {
    score: &'a Score<'a>,
    /// Notes of each part, in order.
    parts: [Vec<PlayedNote>; MAX_PARTS],
    /// What each copy played when it last was locked, and what the steady voice played then.
    left: [(Vec<PartNote>, Vec<PartNote>); MAX_COPIES],
}

#[derive(Clone, Copy)]
struct PlayedNote {
    on: Beats,
    off: Beats,
    key: Key,
}

impl<'a> Reader<'a> {
    fn new(score: &'a Score<'a>) -> Self {
        let mut parts: [Vec<PlayedNote>; MAX_PARTS] = Default::default();
        for note in score.piece.notes {
            parts[note.part.index()].push(PlayedNote {
                on: note.on,
                off: note.off,
                key: note.key,
            });
        }
        Self {
            score,
            parts,
            left: Default::default(),
        }
    }

    /// Song position at which the steady voice begins a lap.
    fn begin_of(&self, lap: &Lap) -> Beats {
        (lap.start.steady_since()).to_song(self.score.piece.process().origin())
    }

    fn passage(&mut self, lap: &Lap, raster: &Raster) -> Passage {
        let at = self.begin_of(lap);
        let length = raster.bar(to_ticks(lap.length));
        let stage = self.score.piece.form.stage_at(at + 1e-4).unwrap_or(0);
        let steady = self.played(Part::Steady, lap, length, raster);
        let mut parts = vec![steady];
        let mut drifting = Vec::new();
        let performance = self.score.piece.performance;
        for copy in performance.copies() {
            let drifts = self.drifts(copy, at, at + lap.length);
            let process = performance.at(at + HAIR);
            let part = if drifts && process.voices().has_own_cycle(copy) {
                self.undrifted(copy, lap, length, raster)
            } else if drifts {
                let settings = self.score.piece.process().settings();
                let semitones = settings.copies[copy.index()].semitones;
                recast(&self.left[copy.index()], &parts[0], semitones)
            } else {
                let part = self.played(Part::Copy(copy), lap, length, raster);
                let part = self.own_beat_one(copy, stage, length, part);
                self.left[copy.index()] = (part.clone(), parts[0].clone());
                part
            };
            parts.push(part);
            drifting.push(drifts);
        }
        // The line is heard against the steady part's beat one, whatever the layout.
        let has_line = performance.parts().any(|part| part == Part::ResultingLine);
        let line = has_line.then(|| self.played(Part::ResultingLine, lap, length, raster));
        let sounds = line.as_ref().is_some_and(|line| !line.is_empty());
        parts.extend(line);
        Passage {
            at,
            length,
            plays: 1,
            parts,
            line_plays: sounds.then_some((1, 1)),
            drifting,
            stage,
            begins: false,
            is_whole: false,
            tempo: self.score.piece.tempo_at(at),
            performed: performance.until().is_some_and(|until| at < until - HAIR),
            tonality: Tonality::of(self.score, Span::new(at, at + lap.length)),
        }
    }

    /// What a part strikes in a lap, on the raster.
    fn played(&self, part: Part, lap: &Lap, length: i64, raster: &Raster) -> Vec<PartNote> {
        let at = self.begin_of(lap);
        let notes = &self.parts[part.index()];
        // A note played early may belong to this lap, and one played late to the next.
        let reach = from_ticks(raster.step);
        let from = notes.partition_point(|note| note.on < at - reach);
        let until = at + lap.length;
        let notes = notes[from..].iter().take_while(|note| note.on < until);
        on_raster(notes.copied(), at, length, raster)
    }

    /// What a copy in a cycle of its own leaves from in a lap in which it drifts: what it would strike
    /// if it stayed. What it struck before comes elsewhere in the steady voice's lap.
    fn undrifted(
        &self,
        copy: CopyNumber,
        lap: &Lap,
        length: i64,
        raster: &Raster,
    ) -> Vec<PartNote> {
        let at = self.begin_of(lap);
        let piece = self.score.piece;
        let process = piece.performance.at(at + HAIR);
        let part = Part::Copy(copy);
        if process.level(part) <= 0.0 {
            return Vec::new();
        }
        let stage = piece.form.stage_at(at + 1e-4).unwrap_or(0);
        let steps = piece.form.stages[stage].copies[copy.index()].from;
        let ahead = steps * piece.process().settings().step();
        let reach = from_ticks(raster.step);
        let around = Span::new(at - reach, at + lap.length);
        let voices = process.voices();
        let notes = voices
            .standing(copy, ahead, around)
            .map(|(index, on, off)| {
                let key = process.phrase().notes()[index].key;
                let key = process.key_of(part, key, on);
                PlayedNote { on, off, key }
            });
        on_raster(notes, at, length, raster)
    }

    /// Whether a copy drifts at any time of a lap.
    fn drifts(&self, copy: CopyNumber, from: Beats, to: Beats) -> bool {
        let stages = &self.score.piece.form.stages;
        let first = self.score.piece.form.stage_at(from + 1e-4).unwrap_or(0);
        stages[first..]
            .iter()
            .take_while(|stage| stage.span.start < to - 1e-4)
            .any(|stage| stage.copies[copy.index()].doing == Doing::Drifting)
    }

    /// The pattern from its own beat one, if that is the layout.
    fn own_beat_one(
        &self,
        copy: CopyNumber,
        stage: usize,
        length: i64,
        mut part: Vec<PartNote>,
    ) -> Vec<PartNote> {
        let cycle = to_ticks(self.score.piece.process().phrase().length());
        if self.score.layout == Layout::SharedBeatOne || (length - cycle).abs() > 1 {
            return part;
        }
        let steps = self.score.piece.form.stages[stage].copies[copy.index()].from;
        let ahead = to_ticks(steps * self.score.piece.process().settings().step());
        for note in &mut part {
            note.onset = (note.onset + ahead).rem_euclid(length);
        }
        part.sort_unstable();
        part
    }
}

/// What is struck in a bar of so many ticks that begins at song position `at`.
fn on_raster(
    notes: impl Iterator<Item = PlayedNote>,
    at: Beats,
    length: i64,
    raster: &Raster,
) -> Vec<PartNote> {
    let mut part: Vec<PartNote> = notes
        .map(|note| {
            let onset = raster.nearest(to_ticks(note.on - at));
            let end = raster.nearest(to_ticks(note.off - at));
            let long = if end > onset {
                end - onset
            } else {
                raster.step
            };
            PartNote {
                onset,
                key: note.key,
                length: long.min(length),
            }
        })
        .filter(|note| (0..length).contains(&note.onset))
        .collect();
    one_note_a_key(&mut part);
    part
}

/// What a drifting copy left from, in the pitches that its notes have by now: where the steady
/// voice's key of a pitch class has moved since, so does the copy's, which stands so many semitones
/// above.
fn recast(
    left: &(Vec<PartNote>, Vec<PartNote>),
    steady: &[PartNote],
    semitones: i32,
) -> Vec<PartNote> {
    let (part, steady_then) = left;
    let mut moved = [0i32; 12];
    for then in steady_then {
        let same_place = steady.iter().filter(|now| now.onset == then.onset);
        let by = same_place.map(|now| i32::from(now.key.number()) - i32::from(then.key.number()));
        if let Some(by) = by.min_by_key(|by| by.abs()) {
            moved[usize::from(then.key.pitch_class())] = by;
        }
    }
    part.iter()
        .map(|note| {
            let written = i32::from(note.key.number()) - semitones;
            let by = moved[written.rem_euclid(12) as usize];
            PartNote {
                key: Key::by_octave(i32::from(note.key.number()) + by),
                ..*note
            }
        })
        .collect()
}

/// In order; no key is struck twice at once, or while it sounds.
fn one_note_a_key(part: &mut Vec<PartNote>) {
    part.sort_unstable_by_key(|note| (note.onset, note.key, -note.length));
    part.dedup_by_key(|note| (note.onset, note.key));
    for index in 0..part.len() {
        let note = part[index];
        let again = part[index + 1..].iter().find(|next| next.key == note.key);
        if let Some(again) = again {
            part[index].length = note.length.min(again.onset - note.onset);
        }
    }
}

/// Where notes can be written, in ticks.
struct Raster {
    step: i64,
    /// What is needed beside the step.
    fine: Vec<i64>,
    compound: bool,
}

/// A thirty-second, and a triplet thirty-second.
const BINARY: i64 = 120;
const TERNARY: i64 = 80;

/// Ticks within which a position is on the raster: far more than a sample, far less than a step.
const NEAR: i64 = 4;

impl Raster {
    /// The steps; and thirty-seconds, and their triplets, if the phrase has notes that need them.
    /// A phrase that was played loosely is written on the steps: where it falls on something
    /// finer, it does so by accident.
    fn of(score: &Score) -> Self {
        let process = score.piece.process();
        let settings = process.settings();
        let step = to_ticks(settings.step());
        let phrase = process.phrase();
        let offsets = score.piece.performance.copies();
        let offsets = offsets.map(|copy| settings.standing_offset(copy));
        let places: Vec<i64> = (phrase.notes().iter().map(|note| note.onset))
            .chain([phrase.length()])
            .chain(offsets.map(|steps| steps * settings.step()))
            .map(to_ticks)
            .collect();
        let own = if step % BINARY == 0 { BINARY } else { TERNARY };
        let mut fine = Vec::new();
        for place in places.iter().filter(|place| !is_on(**place, step)) {
            match [own, BINARY, TERNARY]
                .into_iter()
                .find(|unit| is_on(*place, *unit))
            {
                Some(unit) => fine.extend([own, unit]),
                None => {
                    fine.clear();
                    break;
                }
            }
        }
        fine.sort_unstable_by_key(|unit| std::cmp::Reverse(*unit));
        fine.dedup();
        Self {
            step,
            compound: own == TERNARY && !fine.contains(&BINARY),
            fine,
        }
    }

    fn nearest(&self, ticks: i64) -> i64 {
        let on_fine = self.fine.iter().map(|unit| nearest_multiple(ticks, *unit));
        let mut close = on_fine.filter(|place| (place - ticks).abs() <= NEAR);
        close
            .next()
            .unwrap_or_else(|| nearest_multiple(ticks, self.step))
    }

    /// A length that a bar can have.
    fn bar(&self, ticks: i64) -> i64 {
        let unit = if self.compound { TERNARY } else { BINARY };
        nearest_multiple(self.nearest(ticks), unit).max(unit)
    }
}

fn is_on(ticks: i64, unit: i64) -> bool {
    (ticks - nearest_multiple(ticks, unit)).abs() <= NEAR
}

pub(super) fn nearest_multiple(ticks: i64, unit: i64) -> i64 {
    (ticks + unit / 2).div_euclid(unit) * unit
}
