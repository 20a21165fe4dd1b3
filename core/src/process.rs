//! The process: phrase and settings, and what each voice plays between two beats.

use crate::boundaries::Boundary;
use crate::fold::FoldMap;
use crate::growth::{Lap, Laps, Ranks};
use crate::mode::Mode;
use crate::modulation::{ModeChange, ModePlan};
use crate::motion::{Course, Dwelling, Piece, SAME_PLACE, Timetable};
use crate::note::{Key, Velocity};
use crate::phrase::Phrase;
use crate::resulting::RESULTING;
use crate::settings::{Advance, FoldKind, GrowthSettings, MAX_COPIES, Motion, Resulting, Settings};
use crate::time::{Beats, Span};

/// A note as a voice plays it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct VoiceNote {
    /// 0 is the steady voice, k is copy k, [`RESULTING`] the resulting line.
    pub voice: usize,
    /// Song position at which it begins.
    pub on: Beats,
    /// Song position at which it ends.
    pub off: Beats,
    /// The key, folded and in the voice's octave.
    pub key: Key,
    /// How hard, at the voice's level.
    pub velocity: Velocity,
    /// Which note of the phrase it is.
    pub index: usize,
}

/// Phrase and settings, made ready to be asked.
///
/// Copying settings in takes no allocation, and neither does asking.
#[derive(Clone, Debug)]
pub struct Process {
    phrase: Phrase,
    settings: Settings,
    origin: Beats,
    ranks: Ranks,
    steady: Laps,
    /// What every copy reads if copies grow; each has its own, since each grows from its entry.
    copies: [CopyProcess; MAX_COPIES],
    fold: FoldMap,
    modes: ModePlan,
    /// Ticks after which the phrase is as it was.
    rotation: i64,
}

/// What one copy reads, and how it moves.
#[derive(Clone, Debug)]
struct CopyProcess {
    laps: Laps,
    course: Course,
}

impl Process {
    /// The process of `phrase` under `settings`, its cycle 0 beginning at song position `origin`.
    pub fn new(phrase: Phrase, settings: Settings, origin: Beats) -> Self {
        let timetable = Timetable::new(&phrase, &settings, build_up_length(&phrase, &settings));
        let laps = copy_laps(&phrase, &settings.growth);
        let copies = std::array::from_fn(|index| CopyProcess {
            laps: laps.clone(),
            course: Course::new(index + 1, timetable, &settings),
        });
        let mut process = Self {
            ranks: Ranks::new(&phrase, settings.growth.order, settings.growth.seed),
            steady: Laps::new(&phrase, &settings.growth),
            copies,
            fold: FoldMap::new(&settings.fold, &phrase),
            rotation: phrase.smallest_rotation(),
            modes: ModePlan::default(),
            phrase,
            settings,
            origin,
        };
        process.plan_modes();
        process
    }

    /// The same settings with another phrase. Works in place: an audio thread's stack is small.
    pub fn set_phrase(&mut self, phrase: &Phrase) {
        let settings = &self.settings;
        self.phrase.clone_from(phrase);
        self.ranks = Ranks::new(phrase, settings.growth.order, settings.growth.seed);
        self.fold = FoldMap::new(&settings.fold, phrase);
        self.rotation = phrase.smallest_rotation();
        let timetable = Timetable::new(phrase, settings, build_up_length(phrase, settings));
        for (index, copy) in self.copies.iter_mut().enumerate() {
            copy.course = Course::new(index + 1, timetable, settings);
        }
        self.settle();
        self.forget_cues();
        self.plan_modes();
    }

    /// The phrase.
    pub fn phrase(&self) -> &Phrase {
        &self.phrase
    }

    /// The settings in force.
    pub fn settings(&self) -> &Settings {
        &self.settings
    }

    /// Song position at which cycle 0 begins.
    pub fn origin(&self) -> Beats {
        self.origin
    }

    /// Cycle 0 begins at song position `origin`.
    pub fn set_origin(&mut self, origin: Beats) {
        self.origin = origin;
    }

    /// Where keys go as the fold's parameters say: at the beginning, before any modulation.
    pub fn fold(&self) -> &FoldMap {
        &self.fold
    }

    /// The mode that the piece begins in: where the fold leads, if it leads anywhere.
    pub fn first_mode(&self) -> Mode {
        let fold = &self.settings.fold;
        if fold.fold != FoldKind::Off && fold.amount > 0.0 {
            self.fold.target()
        } else {
            self.fold.source()
        }
    }

    /// Where `key` goes at song position `at`.
    pub fn folded(&self, key: Key, at: Beats) -> Key {
        self.modes.key(key, at - self.origin, &self.fold)
    }

    /// The fold in charge at song position `at`, and how many pitch classes it has turned: the
    /// fold's parameters, or a modulation from the mode before it.
    pub fn fold_at(&self, at: Beats) -> (&FoldMap, usize) {
        let modulation = self.modes.fold_at(at - self.origin);
        modulation.unwrap_or((&self.fold, self.fold.moved()))
    }

    /// Whether a modulation is in charge at song position `at`, and not the fold's parameters.
    pub fn is_modulated(&self, at: Beats) -> bool {
        self.modes.fold_at(at - self.origin).is_some()
    }

    /// The mode that the piece begins in, and every modulation that will take place, in order.
    pub fn mode_changes(&self) -> impl Iterator<Item = ModeChange> + '_ {
        let first = ModeChange {
            turning: Span::new(self.origin, self.origin),
            mode: self.first_mode(),
            index: None,
        };
        let later = self.modes.changes().map(|change| ModeChange {
            turning: Span::new(
                self.origin + change.turning.start,
                self.origin + change.turning.end,
            ),
            ..change
        });
        std::iter::once(first).chain(later)
    }

    /// The order in which notes appear.
    pub fn ranks(&self) -> &Ranks {
        &self.ranks
    }

    /// How copy `copy` (1 ..= 8) moves, in beats since its entry.
    pub fn course(&self, copy: usize) -> &Course {
        &self.copies[copy - 1].course
    }

    /// What `voice` reads.
    pub fn laps(&self, voice: usize) -> &Laps {
        match voice {
            0 => &self.steady,
            copy => &self.copies[copy - 1].laps,
        }
    }

    /// Voices in use: the steady one and its copies.
    pub fn voices(&self) -> usize {
        1 + self.settings.motion.copies.min(MAX_COPIES)
    }

    /// Whether a line is picked out of what the voices play together.
    pub fn has_line(&self) -> bool {
        self.voices() > 1 && self.settings.resulting.which != Resulting::Off
    }

    /// Whether a part, as [`VoiceNote::voice`] counts them, is in use.
    pub fn plays(&self, part: usize) -> bool {
        part < self.voices() || (part == RESULTING && self.has_line())
    }

    /// The parts in use: the voices, then the resulting line.
    pub fn parts(&self) -> impl Iterator<Item = usize> + use<> {
        let line = self.has_line().then_some(RESULTING);
        (0..self.voices()).chain(line)
    }

    /// Ticks after which the phrase, turned on itself, is as it was.
    pub fn rotation(&self) -> i64 {
        self.rotation
    }

    /// Song position at which `voice` begins to play; `None` if it never does.
    ///
    /// Copies enter when the steady voice has grown, one entry gap after another.
    pub fn entry(&self, voice: usize) -> Option<Beats> {
        if voice == 0 {
            return Some(self.origin);
        }
        let gaps = (voice - 1) as f64 * f64::from(self.settings.motion.entry);
        Some(self.origin + self.steady.done()? + gaps * self.phrase.length())
    }

    /// Song position from which `voice` counts its dwells and moves. A copy that grows counts
    /// from when it is whole; copies that move in turn count from the last copy's entry.
    pub fn moves_from(&self, voice: usize) -> Option<Beats> {
        use crate::settings::CopiesMove::InTurn;
        let counted_from = match self.settings.motion.copies_move {
            InTurn if voice > 0 => self.voices().max(2) - 1,
            _ => voice,
        };
        let grown = if voice == 0 {
            0.0
        } else {
            self.laps(voice).done()?
        };
        Some(self.entry(counted_from)? + grown)
    }

    /// Beats by which `voice` is ahead of the steady one at song position `at`; `None` while it
    /// has not entered.
    pub fn displacement(&self, voice: usize, at: Beats) -> Option<Beats> {
        let entry = self.entry(voice).filter(|entry| *entry <= at)?;
        Some(self.piece_at(voice, at - entry)?.place_at(at - entry) - (at - entry))
    }

    /// What `voice` plays whose onset lies in `span`, in order of onset.
    pub fn notes(&self, voice: usize, span: Span) -> VoiceNotes<'_> {
        VoiceNotes::new(self, voice, span)
    }

    /// Puts other settings in force from song position `now` on.
    ///
    /// Where the model lets a change take its time, it does: offsets are approached or wait for
    /// the copy's next cycle, a growth step counts from the next stage on. All else holds at once.
    pub fn set_settings(&mut self, settings: Settings, now: Beats) {
        let old = std::mem::replace(&mut self.settings, settings);
        if old.fold != settings.fold {
            self.fold = FoldMap::new(&settings.fold, &self.phrase);
        }
        if old.growth != settings.growth {
            self.change_growth(&old.growth, now);
        }
        let moved = old.motion != settings.motion
            || old.copies != settings.copies
            || old.step() != settings.step()
            || old.growth != settings.growth;
        if moved {
            self.change_courses(&old, now);
        }
        let stages_moved = moved && settings.modulations.follow_stages();
        if old.fold != settings.fold || old.modulations != settings.modulations || stages_moved {
            self.plan_modes();
        }
    }

    fn plan_modes(&mut self) {
        // In two steps, since the plan asks the process.
        let plan = ModePlan::new(self);
        self.modes = plan;
    }

    fn follow_stages(&mut self) {
        if self.settings.modulations.follow_stages() {
            self.plan_modes();
        }
    }

    /// Forgets how it got here: offsets stand at their target, growth is what the present step
    /// would have given from the origin. After a leap in song position.
    pub fn settle(&mut self) {
        let laps = copy_laps(&self.phrase, &self.settings.growth);
        self.steady = Laps::new(&self.phrase, &self.settings.growth);
        for (index, copy) in self.copies.iter_mut().enumerate() {
            copy.laps.clone_from(&laps);
            let offset = self.settings.standing_offset(index + 1) * self.settings.step();
            copy.course.standing = crate::motion::Standing::at(offset);
        }
        self.follow_stages();
    }

    /// A performer's cue at song position `now`: every copy that dwells moves at its next cycle.
    /// Whether any took it.
    pub fn cue(&mut self, now: Beats) -> bool {
        let mut taken = false;
        for copy in 1..self.voices() {
            if let Some(tau) = self.counted(copy, now) {
                let timetable = self.copies[copy - 1].course.timetable_mut();
                taken |= timetable.cue(tau);
            }
        }
        self.follow_stages();
        taken
    }

    /// No cue was ever given.
    pub fn forget_cues(&mut self) {
        self.set_dwellings([Some(Dwelling::FIRST); MAX_COPIES]);
    }

    /// Song position leaps from `now` to `then`: copies that move on cue come to rest at the offset
    /// they have or were on their way to. Those that were cued and have not moved yet do so at
    /// their next cycle there.
    pub fn come_to_rest(&mut self, now: Beats, then: Beats) {
        for copy in 1..=MAX_COPIES {
            let tau = self.counted(copy, now).unwrap_or(0.0);
            let there = self.counted(copy, then).unwrap_or(0.0);
            self.copies[copy - 1]
                .course
                .timetable_mut()
                .come_to_rest(tau, there);
        }
        self.follow_stages();
    }

    /// Where copies stand that move on cue; none if stages are counted.
    pub fn dwellings(&self) -> [Option<Dwelling>; MAX_COPIES] {
        std::array::from_fn(|index| self.copies[index].course.timetable().dwelling())
    }

    /// Puts copies that move on cue where another process has them.
    pub fn set_dwellings(&mut self, dwellings: [Option<Dwelling>; MAX_COPIES]) {
        if dwellings == self.dwellings() {
            return;
        }
        for (copy, dwelling) in self.copies.iter_mut().zip(dwellings) {
            if let Some(dwelling) = dwelling {
                copy.course.timetable_mut().dwell(dwelling);
            }
        }
        self.follow_stages();
    }

    /// Song position at which a boundary comes as it is performed: where it is counted to come, or
    /// on cue where it has come. None while that is not known.
    pub fn performed(&self, boundary: &Boundary) -> Option<Beats> {
        let Some((copy, station)) = boundary.begins else {
            return Some(boundary.at);
        };
        let timetable = self.course(copy).timetable();
        let at = match timetable.dwelling() {
            None => return Some(boundary.at),
            Some(now) if station.stage < now.stage => 0.0,
            Some(_) => timetable.begin_of(station),
        };
        at.is_finite().then_some(self.moves_from(copy)? + at)
    }

    /// The same with dwells counted: what a process that moves on cue proposes to its performer.
    pub fn as_counted(&self) -> Self {
        let mut settings = self.settings;
        settings.motion.advance = Advance::Counted;
        Self::new(self.phrase.clone(), settings, self.origin)
    }

    /// Where song position `at` falls in the form. On cue that is where copy 1 would stand as it
    /// does were dwells counted; a dwell that lasts longer stays at its end.
    pub fn place_in_form(&self, at: Beats) -> Beats {
        let timetable = self.course(1).timetable();
        let (Some(_), Some(from)) = (timetable.dwelling(), self.moves_from(1)) else {
            return at;
        };
        if at < from {
            return at;
        }
        let station = timetable.station_at(at - from);
        let counted = timetable.counted();
        let since = at - from - timetable.begin_of(station);
        let lasts = counted.end_of(station) - counted.begin_of(station);
        // A hair before its end, so that it is still in that part.
        let since = since.clamp(0.0, (lasts - SAME_PLACE * 1000.0).max(0.0));
        from + counted.begin_of(station) + since
    }

    /// Beats since `copy` began to count its moves, once it has.
    fn counted(&self, copy: usize, now: Beats) -> Option<Beats> {
        let tau = now - self.moves_from(copy)?;
        (tau >= 0.0).then_some(tau)
    }

    fn change_growth(&mut self, old: &GrowthSettings, now: Beats) {
        let new = self.settings.growth;
        if (old.order, old.seed) != (new.order, new.seed) {
            self.ranks = Ranks::new(&self.phrase, new.order, new.seed);
        }
        let only_step = GrowthSettings {
            step: new.step,
            order: new.order,
            seed: new.seed,
            ..*old
        };
        if only_step == new && now > self.origin {
            self.change_growth_step(now);
        } else {
            let laps = copy_laps(&self.phrase, &new);
            self.copies
                .iter_mut()
                .for_each(|copy| copy.laps.clone_from(&laps));
            self.steady = Laps::new(&self.phrase, &new);
        }
    }

    fn change_growth_step(&mut self, now: Beats) {
        let step = self.settings.growth.step;
        for copy in 1..=MAX_COPIES {
            let place = self
                .entry(copy)
                .filter(|entry| *entry <= now)
                .and_then(|entry| Some(self.piece_at(copy, now - entry)?.place_at(now - entry)));
            let laps = match place {
                Some(place) => self.laps(copy).with_step_from(place, step, &self.phrase),
                None => copy_laps(&self.phrase, &self.settings.growth),
            };
            self.copies[copy - 1].laps = laps;
        }
        self.steady = self
            .steady
            .with_step_from(now - self.origin, step, &self.phrase);
    }

    fn change_courses(&mut self, old: &Settings, now: Beats) {
        let settings = self.settings;
        let build = build_up_length(&self.phrase, &settings);
        let timetable = Timetable::new(&self.phrase, &settings, build);
        let same_step = old.step() == settings.step();
        for copy in 1..=MAX_COPIES {
            let mut course = Course::new(copy, timetable, &settings);
            let counted = self.counted(copy, now).unwrap_or(0.0);
            let before = self.copies[copy - 1].course;
            course
                .timetable_mut()
                .take_over(before.timetable(), counted);
            let tau = self
                .entry(copy)
                .map(|entry| now - entry)
                .filter(|tau| *tau > 0.0);
            if let (Some(tau), true) = (tau, same_step) {
                let target = course.standing.target();
                let standing = self.copies[copy - 1].course.standing;
                course.standing = if standing.target() == target {
                    standing
                } else {
                    self.approach(standing, tau, target)
                };
            }
            self.copies[copy - 1].course = course;
        }
    }

    /// How a copy gets to a changed offset.
    fn approach(
        &self,
        standing: crate::motion::Standing,
        tau: Beats,
        target: Beats,
    ) -> crate::motion::Standing {
        let cycle = self.phrase.length();
        match self.settings.motion.motion {
            Motion::Drift => {
                let cycles = f64::from(self.settings.motion.drift.max(1));
                standing.glide(tau, target, self.settings.step() / (cycles * cycle))
            }
            Motion::Jump | Motion::BuildUp => {
                standing.leap(tau, target, ((tau - SAME_PLACE) / cycle).ceil() * cycle)
            }
        }
    }

    /// The piece of its course that `voice` is in `tau` beats after its entry.
    fn piece_at(&self, voice: usize, tau: Beats) -> Option<Piece> {
        let waits = self.moves_from(voice)? - self.entry(voice)?;
        Some(self.leg_at(voice, tau, waits).piece)
    }

    /// The same, if it is known how long the voice waits before it counts its moves.
    fn leg_at(&self, voice: usize, tau: Beats, waits: Beats) -> Leg {
        if voice == 0 {
            return Leg::waiting(Piece::STEADY);
        }
        let course = self.course(voice);
        if tau >= waits {
            return Leg::counted(course.piece_at(tau - waits), waits);
        }
        // Waiting, it stands where its offset puts it.
        let place = course.standing.value(tau - waits);
        Leg::waiting(Piece {
            end: waits,
            from: place,
            to: waits + place,
            ..Piece::STEADY
        })
    }

    /// The one that follows.
    fn leg_after(&self, voice: usize, leg: &Leg, waits: Beats) -> Leg {
        let course = self.course(voice);
        let next = match &leg.counted {
            Some(piece) => course.piece_after(piece),
            None => course.piece_at(0.0),
        };
        Leg::counted(next, waits)
    }
}

/// A piece of a voice's course, in both ways it is counted.
#[derive(Clone, Copy, Debug)]
struct Leg {
    /// From the voice's entry: this is what it reads.
    piece: Piece,
    /// From where its moves are counted, to find the next; none while it waits for that. Counted
    /// back from the other it would be a rounding off, and the next could be the same again.
    counted: Option<Piece>,
}

impl Leg {
    fn waiting(piece: Piece) -> Self {
        Self {
            piece,
            counted: None,
        }
    }

    fn counted(piece: Piece, waits: Beats) -> Self {
        Self {
            piece: later(piece, waits),
            counted: Some(piece),
        }
    }
}

/// A copy's own growth, if copies grow.
fn copy_laps(phrase: &Phrase, growth: &GrowthSettings) -> Laps {
    if growth.copies_grow {
        Laps::new(phrase, growth)
    } else {
        Laps::whole(phrase)
    }
}

/// Beats a build-up takes: a silent opening, then as many steps as bring the whole phrase.
fn build_up_length(phrase: &Phrase, settings: &Settings) -> Beats {
    let growth = &settings.growth;
    let stages = phrase.notes().len().div_ceil(notes_a_stage(growth));
    (stages as u32 * growth.every.max(1)) as f64 * phrase.length()
}

fn notes_a_stage(growth: &GrowthSettings) -> usize {
    growth.step.unsigned_abs().max(1) as usize
}

/// The same piece, `by` beats later, having read on steadily until then.
fn later(piece: Piece, by: Beats) -> Piece {
    Piece {
        start: piece.start + by,
        end: piece.end + by,
        from: piece.from + by,
        to: piece.to + by,
        building_from: piece.building_from.map(|from| from + by),
        ..piece
    }
}

/// The notes of one voice whose onsets lie in a span, in order.
#[derive(Clone, Debug)]
pub struct VoiceNotes<'a> {
    process: &'a Process,
    voice: usize,
    span: Span,
    entry: Beats,
    waits: Beats,
    leg: Leg,
    lap: Lap,
    index: usize,
    done: bool,
}

impl<'a> VoiceNotes<'a> {
    fn new(process: &'a Process, voice: usize, span: Span) -> Self {
        let entry = process.entry(voice);
        let moves_from = process.moves_from(voice);
        let plays = !process.phrase.is_empty() && voice < process.voices();
        let (Some(entry), Some(moves_from), true) = (entry, moves_from, plays) else {
            return Self::none(process, voice, span);
        };
        let tau = (span.start - entry).max(0.0);
        let waits = moves_from - entry;
        let leg = process.leg_at(voice, tau, waits);
        let mut notes = Self {
            entry,
            waits,
            leg,
            done: false,
            ..Self::none(process, voice, span)
        };
        notes.start_reading_at(leg.piece.place_at(tau));
        notes
    }

    fn none(process: &'a Process, voice: usize, span: Span) -> Self {
        let lap = Lap {
            start: 0.0,
            length: process.phrase.length(),
            shown: 0,
        };
        Self {
            process,
            voice,
            span,
            entry: 0.0,
            waits: 0.0,
            leg: Leg::waiting(Piece::STEADY),
            lap,
            index: 0,
            done: true,
        }
    }

    /// Sets out a hair before `place`: what turns out to be earlier is passed over.
    fn start_reading_at(&mut self, place: Beats) {
        let place = place - 2.0 * SAME_PLACE;
        self.lap = self.process.laps(self.voice).at(place);
        let into = place - self.lap.start;
        self.index = self
            .process
            .phrase
            .notes()
            .partition_point(|note| note.onset < into);
    }

    fn next_lap(&mut self) {
        self.lap = self.process.laps(self.voice).after(&self.lap);
        self.index = 0;
    }

    fn next_leg(&mut self) {
        let end = self.leg.piece.end;
        if !end.is_finite() || self.entry + end >= self.span.end {
            self.done = true;
            return;
        }
        self.leg = self.leg_after(&self.leg);
        self.start_reading_at(self.leg.piece.from);
    }

    fn leg_after(&self, leg: &Leg) -> Leg {
        self.process.leg_after(self.voice, leg, self.waits)
    }

    /// When the voice, reading on from this piece, reaches `place`. Where the course leaps, what
    /// sounds rings on as if it did not.
    fn time_of(&self, place: Beats) -> Beats {
        let mut leg = self.leg;
        while leg.piece.is_past(place) && leg.piece.end.is_finite() {
            let next = self.leg_after(&leg);
            if (next.piece.from - leg.piece.to).abs() > SAME_PLACE {
                break;
            }
            leg = next;
        }
        leg.piece.time_of(place)
    }

    /// Whether note `index` of the phrase has appeared, read at `place`.
    fn sounds(&self, index: usize, place: Beats) -> bool {
        let ranks = &self.process.ranks;
        let built = self.leg.piece.building_from.is_none_or(|from| {
            let growth = &self.process.settings.growth;
            let cycles = ((place - from + SAME_PLACE) / self.process.phrase.length()) as usize;
            let stages = cycles / growth.every.max(1) as usize;
            ranks.among_first(index, stages * notes_a_stage(growth))
        });
        built && ranks.among_first(index, self.lap.shown)
    }

    fn voice_note(&self, index: usize, on: Beats, place: Beats) -> Option<VoiceNote> {
        let note = &self.process.phrase.notes()[index];
        let settings = &self.process.settings;
        let (level, octave) = match self.voice {
            0 => (settings.output.steady_level, 0),
            copy => (
                settings.copies[copy - 1].level,
                settings.copies[copy - 1].octave,
            ),
        };
        let folded = i32::from(self.process.folded(note.key, on).number());
        Some(VoiceNote {
            voice: self.voice,
            on,
            off: self.entry + self.time_of(place + note.length),
            key: Key::by_octave(folded + 12 * octave),
            velocity: note.velocity.scaled(level)?,
            index,
        })
    }
}

impl Iterator for VoiceNotes<'_> {
    type Item = VoiceNote;

    fn next(&mut self) -> Option<VoiceNote> {
        while !self.done {
            let index = self.index;
            let onset = self
                .process
                .phrase
                .notes()
                .get(index)
                .map(|note| note.onset);
            // Past the last note of the lap, look at where the next one begins.
            let onset = onset.filter(|onset| *onset < self.lap.length - SAME_PLACE);
            let place = self.lap.start + onset.unwrap_or(self.lap.length);
            if self.leg.piece.is_past(place) {
                self.next_leg();
                continue;
            }
            let on = self.entry + self.leg.piece.time_of(place).min(self.leg.piece.end);
            if on >= self.span.end {
                self.done = true;
                continue;
            }
            if onset.is_none() {
                self.next_lap();
                continue;
            }
            self.index += 1;
            let here = self.leg.piece.reads(place) && on >= self.span.start;
            if here
                && self.sounds(index, place)
                && let Some(note) = self.voice_note(index, on, place)
            {
                return Some(note);
            }
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::{CopySettings, Growth, MotionSettings};

    const SIX: &str = "D4 F4 G4 A4 C5 E4";

    fn process(text: &str, settings: Settings) -> Process {
        Process::new(Phrase::from_text(text, 0.25).unwrap(), settings, 0.0)
    }

    fn keys(process: &Process, voice: usize, start: Beats, end: Beats) -> Vec<u8> {
        process
            .notes(voice, Span::new(start, end))
            .map(|note| note.key.number())
            .collect()
    }

    #[test]
    fn after_a_jump_the_copy_is_one_note_ahead() {
        let motion = MotionSettings {
            motion: Motion::Jump,
            dwell: 2,
            ..Default::default()
        };
        let process = process(
            SIX,
            Settings {
                motion,
                ..Settings::default()
            },
        );
        assert_eq!(keys(&process, 1, 1.5, 3.0), [62, 65, 67, 69, 72, 64]);
        assert_eq!(keys(&process, 1, 3.0, 4.5), [65, 67, 69, 72, 64, 62]);
        assert_eq!(keys(&process, 1, 6.0, 7.5), [67, 69, 72, 64, 62, 65]);
    }

    #[test]
    fn a_note_across_the_start_of_a_drift_is_shortened_by_it() {
        let motion = MotionSettings {
            dwell: 1,
            drift: 1,
            ..Default::default()
        };
        let process = process(
            "D4 - - - - -",
            Settings {
                motion,
                ..Settings::default()
            },
        );
        let notes: Vec<_> = process.notes(1, Span::new(0.0, 6.0)).collect();
        assert_eq!((notes[0].on, notes[0].off), (0.0, 1.5));
        // From 1.5 on the copy leans forward and gains a step of 0.25: it is through with the
        // phrase before 3.0.
        assert_eq!(notes[1].on, 1.5);
        assert!(notes[1].off < 3.0 && notes[1].off > 2.7, "{}", notes[1].off);
    }

    #[test]
    fn a_copy_with_an_offset_enters_in_the_middle_of_the_phrase() {
        let mut settings = Settings::default();
        settings.copies[0] = CopySettings {
            offset: 2.0,
            octave: 1,
            ..Default::default()
        };
        let process = process(SIX, settings);
        assert_eq!(keys(&process, 1, 0.0, 1.5), [79, 81, 84, 76, 74, 77]);
    }

    #[test]
    fn copies_enter_when_the_phrase_has_grown() {
        let mut settings = Settings::default();
        settings.growth = GrowthSettings {
            growth: Growth::Fill,
            step: 3,
            every: 1,
            ..settings.growth
        };
        settings.motion.copies = 2;
        settings.motion.entry = 4;
        let process = process(SIX, settings);
        assert_eq!(process.entry(1), Some(3.0));
        assert_eq!(process.entry(2), Some(9.0));
        assert_eq!(keys(&process, 0, 0.0, 1.5).len(), 3);
        assert_eq!(keys(&process, 1, 0.0, 3.0).len(), 0);
        assert_eq!(keys(&process, 1, 3.0, 4.5).len(), 6);
    }

    #[test]
    fn a_build_up_is_silent_first_and_fills_in_displaced() {
        let mut settings = Settings::default();
        settings.motion = MotionSettings {
            motion: Motion::BuildUp,
            dwell: 1,
            ..settings.motion
        };
        settings.growth = GrowthSettings {
            step: 3,
            every: 1,
            ..settings.growth
        };
        let process = process(SIX, settings);
        let sounding: Vec<usize> = (0..5)
            .map(|c| keys(&process, 1, f64::from(c) * 1.5, f64::from(c + 1) * 1.5).len())
            .collect();
        assert_eq!(sounding, [6, 0, 3, 6, 0]);
        assert_eq!(keys(&process, 1, 4.5, 6.0), [65, 67, 69, 72, 64, 62]);
    }

    #[test]
    fn a_lap_that_lengthens_repeats_its_beginning() {
        let mut settings = Settings::default();
        settings.growth = GrowthSettings {
            growth: Growth::Lengthen,
            every: 1,
            ..settings.growth
        };
        let process = process("D4 F4 G4", settings);
        assert_eq!(
            keys(&process, 0, 0.0, 2.25),
            [62, 62, 65, 62, 65, 67, 62, 65, 67]
        );
    }

    /// Found in a host: the copy never came past a piece, and the block never ended.
    #[test]
    fn a_copy_that_waits_and_glides_comes_on() {
        let mut settings = Settings::default();
        settings.motion.dwell = 1;
        settings.motion.drift = 1;
        settings.motion.entry = 3;
        settings.motion.copies = 3;
        settings.motion.copies_move = crate::settings::CopiesMove::InTurn;
        settings.motion.shifts = crate::settings::Shifts::Endless;
        for moment in 0..2000 {
            let mut process = process(SIX, settings);
            let mut other = settings;
            other.motion.offset = 3.0 + f64::from(moment) * 0.0137;
            let now = 20.0 + f64::from(moment) * 0.731;
            process.set_settings(other, now);
            let waits = process.moves_from(1).unwrap() - process.entry(1).unwrap();
            let mut leg = process.leg_at(1, now, waits);
            for _ in 0..40 {
                let next = process.leg_after(1, &leg, waits);
                assert!(next.piece.end > leg.piece.end, "{leg:?} {next:?}");
                leg = next;
            }
        }
    }

    #[test]
    fn nothing_is_lost_or_doubled_where_spans_meet() {
        let motion = MotionSettings {
            copies: 8,
            dwell: 1,
            drift: 1,
            ..Default::default()
        };
        let process = process(
            SIX,
            Settings {
                motion,
                ..Settings::default()
            },
        );
        for voice in 0..9 {
            let whole: Vec<_> = process.notes(voice, Span::new(0.0, 100.0)).collect();
            let mut pieced = Vec::new();
            let mut at = 0.0;
            while at < 100.0 {
                let next = f64::min(at + 0.37, 100.0);
                pieced.extend(process.notes(voice, Span::new(at, next)));
                at = next;
            }
            assert_eq!(whole, pieced);
        }
    }
}
