//! The circle, worked out: where every note of every voice stands on the circle of the phrase.
//!
//! The circle is one cycle of the steady voice, beginning at the top and running clockwise. A
//! place on it is a share of the whole, 0 ..< 1. A voice that is ahead sounds its notes earlier,
//! so its ring is turned back by as much. Whatever coincides stands on one radius, and the hand,
//! which shows where the steady voice is, meets every note at the moment it sounds.

use crate::editor::model::notes::{Tally, end_of_stage};
use crate::editor::model::plan::stage_at;
use crate::editor::seen::Seen;
use egui::{Pos2, pos2, vec2};
use procession_core::form::Doing;
use procession_core::part::{CopyNumber, MAX_COPIES, MAX_PARTS, Part};
use procession_core::phrase::Phrase;
use procession_core::process::Process;
use procession_core::time::{Beats, to_ticks};
use procession_core::voices::Passing;
use procession_core::words::{place_words, steps_ahead, to_hundredths};

/// Two attacks no farther apart than this share of a step are heard, and marked, as a coincidence:
/// at 120 bpm and sixteenths 12.5 ms (common practice, no source).
pub const TOGETHER: f64 = 0.1;

/// Steps by which a copy may miss the offset it is told before it is said to be on its way.
const ARRIVED: f64 = 0.01;

/// The farthest a copy's own offset goes, in steps, either way.
pub const FARTHEST: f64 = 32.0;

/// The whole circle.
#[derive(Clone, Debug, PartialEq)]
pub struct Circle {
    /// What is shown: "Now", "At the start", "Stage 3 of 25".
    pub title: String,
    /// What sounds in a cycle: "11 attacks, 5 coincidences".
    pub facts: String,
    /// The steps of the phrase, in order.
    pub ticks: Vec<Tick>,
    /// A ring a voice, the steady one first.
    pub rings: Vec<Ring>,
    /// Where voices strike together.
    pub coincidences: Vec<Meeting>,
    /// Moments of a cycle at which something is struck.
    pub attacks: usize,
    /// Where the steady voice is; none when nothing plays, or when a stage is shown.
    pub hand: Option<f64>,
}

/// A step on the rim.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tick {
    /// On the circle.
    pub place: f64,
    /// Counted from 1.
    pub number: usize,
    /// Whether a beat begins here.
    pub on_beat: bool,
}

/// The ring of a voice.
#[derive(Clone, Debug, PartialEq)]
pub struct Ring {
    /// Whose it is.
    pub part: Part,
    /// Whether it has entered.
    pub entered: bool,
    /// Whether it stays where it is: it neither drifts nor is on its way.
    pub locked: bool,
    /// Where its phrase begins.
    pub beginning: f64,
    /// The same, if it begins in this cycle of the steady voice: in a cycle of its own it may several
    /// times, or not at all.
    pub begins: Vec<f64>,
    /// Where its phrase will begin once it has reached an offset it was told to go to.
    pub bound_for: Option<f64>,
    /// Its attacks, in the order of the phrase.
    pub attacks: Vec<Attack>,
    /// "Copy 1".
    pub name: String,
    /// "3 steps ahead".
    pub place: String,
    /// "locked", "drifts to 4 steps ahead".
    pub doing: String,
}

/// A moment of the phrase at which it strikes one or several notes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Attack {
    /// On the circle.
    pub place: f64,
    /// Whether it sounds, or is silent in this cycle.
    pub sounds: bool,
}

/// A moment at which several voices strike.
#[derive(Clone, Debug, PartialEq)]
pub struct Meeting {
    /// On the circle.
    pub place: f64,
    /// Which voices, in order.
    pub voices: Vec<Part>,
}

/// What a hand on a ring would have: this copy at this offset of its own, in steps.
pub type DraggedOffset = Option<(CopyNumber, f64)>;

/// A moment of the process and where every voice stands then, in beats ahead.
struct Moment {
    at: Beats,
    ahead: [Option<Beats>; MAX_PARTS],
}

impl Circle {
    /// Where the voices stand now or, with nothing running, as the process begins.
    pub fn now(seen: &Seen, dragged: DraggedOffset) -> Self {
        let process = &seen.process;
        let running = seen.snapshot.running;
        let at = process.origin() + seen.elapsed();
        let ahead = if running {
            seen.snapshot.ahead
        } else {
            Part::ALL.map(|part| process.voices().displacement(part, at))
        };
        let moment = Moment { at, ahead };
        let stage = stage_at(seen, at).unwrap_or(0);
        let mut circle = Self::at(seen, &moment, dragged, |copy| doing_now(seen, stage, copy));
        circle.title = if running { "Now" } else { "At the start" }.to_owned();
        let length = seen.phrase().length();
        circle.hand = running.then(|| share(into_steady(process, at), length));
        circle
    }

    /// Where the voices stand at the end of a stage: where a drift has led, what growth has
    /// brought. None if there is no such stage.
    pub fn of_stage(seen: &Seen, stage: usize, dragged: DraggedOffset) -> Option<Self> {
        let at = end_of_stage(seen.form.stages.get(stage)?);
        let process = seen.performance.at(at);
        let moment = Moment {
            at,
            ahead: Part::ALL.map(|part| process.voices().displacement(part, at)),
        };
        let mut circle = Self::at(seen, &moment, dragged, |copy| doing_in(seen, stage, copy));
        circle.title = format!("Stage {} of {}", stage + 1, seen.form.stages.len());
        Some(circle)
    }

    fn at(
        seen: &Seen,
        moment: &Moment,
        dragged: DraggedOffset,
        doing: impl Fn(CopyNumber) -> Does,
    ) -> Self {
        let process = &seen.process;
        let phrase = process.phrase();
        let rings: Vec<Ring> = (process.voices().parts())
            .map(|part| ring(process, part, moment, dragged, &doing))
            .collect();
        let tolerance = TOGETHER * process.settings().step() / phrase.length();
        let moments = struck_together(&rings, tolerance);
        let entered = rings.iter().filter(|ring| ring.entered).count();
        let locked = rings.iter().all(|ring| ring.locked);
        let tally = Tally::at(process, moment.at);
        let coincidences: Vec<Meeting> = moments
            .into_iter()
            .filter(|moment| moment.voices.len() > 1)
            .collect();
        Self {
            title: String::new(),
            facts: facts(tally, entered, locked),
            ticks: ticks(phrase, process.settings().step()),
            rings,
            coincidences,
            attacks: tally.attacks,
            hand: None,
        }
    }
}

/// Attacks of a phrase: when each is struck, and which notes it strikes.
fn attacks_of(phrase: &Phrase) -> Vec<(Beats, std::ops::Range<usize>)> {
    let mut attacks: Vec<(Beats, std::ops::Range<usize>)> = Vec::new();
    for (index, note) in phrase.notes().iter().enumerate() {
        match attacks.last_mut() {
            Some((onset, notes)) if to_ticks(*onset) == to_ticks(note.onset) => {
                notes.end = index + 1;
            }
            _ => attacks.push((note.onset, index..index + 1)),
        }
    }
    attacks
}

/// Beats by which an attack may come before the top of the circle and be on it.
const HERE: Beats = 1e-6;

fn ring(
    process: &Process,
    part: Part,
    moment: &Moment,
    dragged: DraggedOffset,
    doing: impl Fn(CopyNumber) -> Does,
) -> Ring {
    let length = process.phrase().length();
    let own = part
        .as_copy()
        .and_then(|copy| process.voices().own_cycle(copy));
    let material = process.voices().material(part);
    let attacks = attacks_of(material.phrase());
    let step = process.settings().step();
    let ahead = moment.ahead[part.index()];
    let entered = ahead.is_some();
    let passing = ahead.and_then(|ahead| process.voices().passing(part, moment.at, ahead));
    let beginning = match &passing {
        Some(passing) => into_steady(process, moment.at) - passing.into,
        None => -standing(process, part),
    };
    let silenced = process.level(part) <= 0.0;
    let sounds = |notes: &std::ops::Range<usize>| {
        let mut notes = notes.clone();
        let appear = |passing: &Passing| notes.any(|note| passing.appears(material.index(note)));
        !silenced && passing.as_ref().is_some_and(appear)
    };
    let to_go = to_go(process, part, moment, dragged);
    let bound_for = to_go.filter(|beats| beats.abs() > ARRIVED * step);
    let ahead = ahead.unwrap_or_else(|| standing(process, part)) / step;
    let (doing, locked) = match (part, bound_for) {
        (Part::Steady | Part::ResultingLine, _) => ("never moves".to_owned(), true),
        (Part::Copy(_), Some(to_go)) => {
            let way = format!("on its way to {}", steps_ahead(ahead + to_go / step));
            (way, false)
        }
        (Part::Copy(_), None) if !entered => (format!("will enter {}", entering(ahead)), true),
        (Part::Copy(copy), None) => doing(copy),
    };
    // In a cycle of its own, what of its rounds falls into this one.
    let rounds: Vec<Beats> = match own {
        None => vec![beginning],
        Some(own) => {
            let before = (beginning / own.length).ceil();
            let first = beginning - before * own.length;
            let rounds = (0u32..).map(|round| first + f64::from(round) * own.length);
            rounds.take_while(|begins| *begins < length).collect()
        }
    };
    let falls_here = |at: &Beats| own.is_none() || (-HERE..length - HERE).contains(at);
    let cycle = own.map(|own| own.length / step);
    Ring {
        part,
        entered,
        locked,
        beginning: share(beginning, length),
        begins: (rounds.iter().copied().filter(falls_here))
            .map(|at| share(at, length))
            .collect(),
        bound_for: bound_for.map(|to_go| share(beginning - to_go, length)),
        attacks: (rounds.iter())
            .flat_map(|begins| {
                attacks
                    .iter()
                    .map(move |(onset, notes)| (begins + onset, notes))
            })
            .filter(|(at, _)| falls_here(at))
            .map(|(at, notes)| Attack {
                place: share(at, length),
                sounds: sounds(notes),
            })
            .collect(),
        name: part.to_string(),
        place: match part {
            Part::Steady => String::new(),
            _ if !entered => "waits".to_owned(),
            _ => place_words(ahead, cycle),
        },
        doing,
    }
}

/// How far the steady voice has come in its lap: where the hand stands.
fn into_steady(process: &Process, at: Beats) -> Beats {
    let passing = process.voices().passing(Part::Steady, at, 0.0);
    passing.map_or(0.0, |passing| passing.into)
}

/// Beats a voice is told to stand ahead, its shifts aside.
fn standing(process: &Process, part: Part) -> Beats {
    match part {
        Part::Steady | Part::ResultingLine => 0.0,
        Part::Copy(copy) => process.settings().standing_offset(copy) * process.settings().step(),
    }
}

/// Beats between where a copy stands and where its settings, or a hand on it, want it.
fn to_go(process: &Process, part: Part, moment: &Moment, dragged: DraggedOffset) -> Option<Beats> {
    let copy = part.as_copy()?;
    let settings = process.settings();
    let handed = match dragged {
        Some((held, offset)) if held == copy => offset - settings.copies[copy.index()].offset,
        _ => 0.0,
    };
    let as_set = match moment.ahead[part.index()] {
        Some(ahead) => process.voices().displacement(part, moment.at)? - ahead,
        None => 0.0,
    };
    Some(as_set + handed * settings.step())
}

/// "in unison", "3 steps ahead".
fn entering(steps: f64) -> String {
    match steps_ahead(steps).as_str() {
        "unison" => "in unison".to_owned(),
        place => place.to_owned(),
    }
}

/// Whether a copy that plays is on its way to an offset it was told to go to.
pub fn is_sliding(seen: &Seen, copy: CopyNumber) -> bool {
    let moment = Moment {
        at: seen.process.origin() + seen.elapsed(),
        ahead: seen.snapshot.ahead,
    };
    let to_go = to_go(&seen.process, Part::Copy(copy), &moment, None);
    to_go.is_some_and(|beats| beats.abs() > ARRIVED * seen.settings().step())
}

/// What a copy does, in words, and whether it is locked.
type Does = (String, bool);

fn doing_now(seen: &Seen, stage: usize, copy: CopyNumber) -> Does {
    let Some(state) = copy_in(seen, stage, copy) else {
        return ("waits".to_owned(), true);
    };
    match state.doing {
        Doing::Waiting => ("waits".to_owned(), true),
        Doing::Entering => ("enters".to_owned(), true),
        Doing::Building => ("builds up".to_owned(), false),
        Doing::Locked => ("locked".to_owned(), true),
        Doing::Drifting => (format!("drifts to {}", steps_ahead(state.to)), false),
    }
}

fn doing_in(seen: &Seen, stage: usize, copy: CopyNumber) -> Does {
    let drifted = copy_in(seen, stage, copy).filter(|state| state.doing == Doing::Drifting);
    match drifted {
        Some(state) => (
            format!("has drifted from {}", steps_ahead(state.from)),
            false,
        ),
        None => doing_now(seen, stage, copy),
    }
}

fn copy_in(
    seen: &Seen,
    stage: usize,
    copy: CopyNumber,
) -> Option<procession_core::form::CopyStage> {
    let stage = seen.form.stages.get(stage)?;
    stage.copies.get(copy.index()).copied()
}

/// All moments of a cycle at which something is struck, and by which voices.
fn struck_together(rings: &[Ring], tolerance: f64) -> Vec<Meeting> {
    let mut struck: Vec<(f64, Part)> = rings
        .iter()
        .flat_map(|ring| {
            let sounding = ring.attacks.iter().filter(|attack| attack.sounds);
            sounding.map(|attack| (attack.place, ring.part))
        })
        .collect();
    struck.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut moments: Vec<Meeting> = Vec::new();
    for (place, part) in struck {
        match moments.last_mut() {
            Some(moment) if place - moment.place <= tolerance => moment.voices.push(part),
            _ => moments.push(Meeting {
                place,
                voices: vec![part],
            }),
        }
    }
    // The circle closes: its last moment may be its first.
    if moments.len() > 1 && moments[0].place + 1.0 - moments[moments.len() - 1].place <= tolerance {
        let last = moments.pop().map_or(Vec::new(), |moment| moment.voices);
        moments[0].voices.extend(last);
    }
    for moment in &mut moments {
        moment.voices.sort_unstable();
        moment.voices.dedup();
    }
    moments
}

/// What is struck in a cycle; that voices interlock is said only of voices that are locked.
fn facts(tally: Tally, voices: usize, locked: bool) -> String {
    let struck = tally.attacks_words();
    match (voices, tally.coincidences) {
        (0 | 1, _) => struck,
        (_, 0) if tally.attacks > 0 && locked => format!("{struck}, interlocking"),
        _ => format!("{struck}, {}", tally.coincidences_words()),
    }
}

fn ticks(phrase: &Phrase, step: Beats) -> Vec<Tick> {
    let steps = (phrase.length() / step - 1e-9).ceil().max(1.0) as usize;
    (0..steps)
        .map(|index| {
            let at = index as f64 * step;
            Tick {
                place: at / phrase.length(),
                number: index + 1,
                on_beat: (at - at.round()).abs() < 1e-6,
            }
        })
        .collect()
}

/// Which steps carry their number: every so many, where `room` is how many numbers have room.
pub fn numbered_every(steps: usize, step: Beats, room: usize) -> usize {
    let a_beat = (1.0 / step).round().max(1.0) as usize;
    let all = [1, a_beat, 2 * a_beat, 4 * a_beat, 8 * a_beat, 16 * a_beat];
    let fits = |every: &usize| steps.div_ceil(*every) <= room.max(1);
    all.into_iter().find(fits).unwrap_or(steps.max(1))
}

/// Beats on the circle, as a share of it.
fn share(beats: Beats, length: Beats) -> f64 {
    let share = (beats / length).rem_euclid(1.0);
    // A hair before the top is the top.
    if share > 1.0 - 1e-9 { 0.0 } else { share }
}

/// The rings in the window: where places on the circle lie, and back.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Face {
    /// The middle.
    pub centre: Pos2,
    /// Radius of the steady voice's ring, the outermost.
    pub outer: f32,
    /// From one ring to the next.
    pub gap: f32,
    /// How many rings there are.
    pub rings: usize,
}

impl Face {
    /// `rings` rings within `radius` of `centre`. What is left in the middle is never less than a
    /// quarter of the whole, so that marks of the innermost ring keep apart.
    pub fn new(centre: Pos2, radius: f32, rings: usize) -> Self {
        let gap = 0.74 * radius / rings.max(1) as f32;
        Self {
            centre,
            outer: radius - f32::min(gap / 2.0, 10.0),
            gap: gap.min(34.0),
            rings,
        }
    }

    /// Radius of a voice's ring.
    pub fn radius(&self, part: Part) -> f32 {
        self.outer - part.index() as f32 * self.gap
    }

    /// Radius of the innermost ring.
    pub fn innermost(&self) -> f32 {
        self.outer - self.rings.saturating_sub(1) as f32 * self.gap
    }

    /// A place of the circle at `radius`.
    pub fn point(&self, place: f64, radius: f32) -> Pos2 {
        let angle = place * std::f64::consts::TAU;
        self.centre + vec2(angle.sin() as f32, -angle.cos() as f32) * radius
    }

    /// The place of the circle in whose direction `at` lies.
    pub fn place(&self, at: Pos2) -> f64 {
        let way = at - self.centre;
        f64::from(way.x.atan2(-way.y)) / std::f64::consts::TAU
    }

    /// The voice whose ring `at` lies on.
    pub fn voice_at(&self, at: Pos2) -> Option<Part> {
        let inwards = (self.outer - at.distance(self.centre)) / self.gap;
        let ring = inwards.round();
        let is_one = ring >= 0.0 && ring < self.rings as f32;
        Part::ALL.get(ring as usize).copied().filter(|_| is_one)
    }

    /// How large a mark may be if a ring has so many attacks.
    pub fn mark(&self, attacks: usize) -> f32 {
        let apart = std::f32::consts::TAU * self.innermost() / attacks.max(1) as f32;
        f32::min(self.gap * 0.34, apart * 0.4).clamp(1.5, 6.5)
    }
}

impl Default for Face {
    fn default() -> Self {
        Self::new(pos2(0.0, 0.0), 1.0, 1)
    }
}

/// A hand on the ring of a copy.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Turning {
    /// Which copy.
    pub copy: CopyNumber,
    /// The copy's own offset when the hand was laid on, in steps.
    pub before: f64,
    /// Where on the circle the hand is.
    hand: f64,
    /// How far it has gone round, clockwise, in circles.
    round: f64,
}

impl Turning {
    /// A hand is laid on the ring of `copy` at that place of the circle.
    pub fn begin(copy: CopyNumber, own_offset: f64, place: f64) -> Self {
        Self {
            copy,
            before: own_offset,
            hand: place,
            round: 0.0,
        }
    }

    /// The hand moves on to `place`, the short way round.
    pub fn follow(&mut self, place: f64) {
        let way = (place - self.hand + 0.5).rem_euclid(1.0) - 0.5;
        self.round += way;
        self.hand = place;
    }

    /// The offset that the hand asks for, in steps: whole ones, or as it lies. Notes that are
    /// turned back, counter-clockwise, sound earlier, so the copy is farther ahead.
    pub fn offset(&self, steps_in_phrase: f64, whole: bool) -> f64 {
        let asked = self.before - self.round * steps_in_phrase;
        let asked = if whole {
            asked.round()
        } else {
            to_hundredths(asked)
        };
        asked.clamp(-FARTHEST, FARTHEST) + 0.0
    }
}

/// The id of a copy's own offset.
pub fn offset_id(copy: CopyNumber) -> &'static str {
    const IDS: [&str; MAX_COPIES] = [
        "copy1_offset",
        "copy2_offset",
        "copy3_offset",
        "copy4_offset",
        "copy5_offset",
        "copy6_offset",
        "copy7_offset",
        "copy8_offset",
    ];
    IDS[copy.index()]
}

/// A copy's own offset in the host's range 0 ..= 1.
pub fn normalised(steps: f64) -> f32 {
    ((steps + FARTHEST) / (2.0 * FARTHEST)).clamp(0.0, 1.0) as f32
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::feed::Snapshot;
    use procession_core::engine::Anchor;
    use procession_core::settings::{Growth, Motion, Settings};
    use procession_core::time::Span;

    /// A phrase whose process begins at bar 5, and how long it has been playing, if it does.
    pub fn seen(text: &str, settings: Settings, elapsed: Option<Beats>) -> Seen {
        let phrase = Phrase::from_text(text, settings.step()).unwrap();
        let process = Process::new(phrase.clone(), settings, 16.0);
        let position = 16.0 + elapsed.unwrap_or(0.0);
        let snapshot = Snapshot {
            playing: elapsed.is_some(),
            running: elapsed.is_some(),
            position,
            tempo: 120.0,
            beats_per_bar: 4.0,
            origin: 16.0,
            ahead: Part::ALL.map(|part| process.voices().displacement(part, position)),
            ..Snapshot::default()
        };
        Seen::new(snapshot, phrase, settings, Anchor::Song(16.0))
    }

    fn ahead_by(steps: f64) -> Settings {
        let mut settings = Settings::default();
        settings.copies[0].offset = steps;
        settings
    }

    fn places(ring: &Ring) -> Vec<f64> {
        ring.attacks.iter().map(|attack| attack.place).collect()
    }

    const EIGHT: &str = "D4 . F4 G4 . A4 . .";

    #[test]
    fn the_phrase_begins_at_the_top_and_runs_clockwise() {
        let circle = Circle::now(&seen(EIGHT, Settings::default(), None), None);
        assert_eq!(places(&circle.rings[0]), [0.0, 0.25, 0.375, 0.625]);
        assert_eq!(circle.title, "At the start");
        assert_eq!(circle.hand, None);
    }

    #[test]
    fn a_copy_that_is_ahead_sounds_earlier_so_its_ring_is_turned_back() {
        let circle = Circle::now(&seen(EIGHT, ahead_by(2.0), None), None);
        let copy = &circle.rings[1];
        assert_eq!(copy.beginning, 0.75);
        assert_eq!(places(copy), [0.75, 0.0, 0.125, 0.375]);
        assert_eq!(copy.place, "2 steps ahead");
    }

    /// Eight steps against four: D . F G, twice round. Against twelve: the phrase, and a rest that goes
    /// on beyond this cycle.
    #[test]
    fn of_a_cycle_of_its_own_the_ring_has_what_falls_into_this_cycle() {
        let own = |steps| {
            let mut settings = Settings::default();
            settings.copies[0].length = Some(steps);
            Circle::now(&seen(EIGHT, settings, None), None)
        };
        let circle = own(4);
        let copy = &circle.rings[1];
        assert_eq!(places(copy), [0.0, 0.25, 0.375, 0.5, 0.75, 0.875]);
        assert_eq!(copy.begins, [0.0, 0.5]);
        assert_eq!(copy.place, "round in 4 steps");
        assert_eq!(circle.facts, "7 attacks, 3 coincidences");
        assert_eq!(places(&own(12).rings[1]), [0.0, 0.25, 0.375, 0.625]);
    }

    #[test]
    fn notes_that_coincide_stand_on_one_radius_and_are_marked() {
        let circle = Circle::now(&seen(EIGHT, ahead_by(2.0), None), None);
        let marked: Vec<f64> = circle.coincidences.iter().map(|d| d.place).collect();
        assert_eq!(marked, [0.0, 0.375]);
        assert_eq!(circle.coincidences[0].voices, [Part::Steady, Part::COPY_1]);
        assert_eq!(circle.facts, "6 attacks, 2 coincidences");
    }

    #[test]
    fn every_alignment_counts_what_the_form_counts() {
        let form = seen(EIGHT, Settings::default(), None).form;
        for alignment in &form.alignments {
            let seen = seen(EIGHT, ahead_by(alignment.offset as f64), None);
            let circle = Circle::now(&seen, None);
            assert_eq!(circle.attacks, alignment.attacks);
            assert_eq!(circle.coincidences.len(), alignment.doublings);
        }
    }

    #[test]
    fn voices_that_fill_each_others_gaps_interlock() {
        let circle = Circle::now(&seen("D4 . F4 .", ahead_by(1.0), None), None);
        assert_eq!(circle.facts, "4 attacks, interlocking");
    }

    #[test]
    fn a_hairs_breadth_is_a_coincidence_and_a_quarter_of_a_step_is_none() {
        let near = Circle::now(&seen(EIGHT, ahead_by(0.09), None), None);
        assert_eq!(near.coincidences.len(), 4);
        let far = Circle::now(&seen(EIGHT, ahead_by(0.25), None), None);
        assert_eq!(far.coincidences.len(), 0);
        // From before the top to after it is a hair's breadth, too.
        let behind = Circle::now(&seen(EIGHT, ahead_by(-0.09), None), None);
        assert_eq!(behind.coincidences.len(), 4);
    }

    #[test]
    fn the_hand_meets_each_note_as_it_sounds() {
        let settings = Settings::default();
        let unmoving = seen(EIGHT, settings, None);
        let span = Span::new(16.0, 16.0 + 60.0);
        for note in unmoving.process.notes(Part::COPY_1, span) {
            let circle = Circle::now(&seen(EIGHT, settings, Some(note.on - 16.0)), None);
            let hand = circle.hand.unwrap();
            let met = circle.rings[1].attacks.iter().any(|attack| {
                let apart = (attack.place - hand + 0.5).rem_euclid(1.0) - 0.5;
                attack.sounds && apart.abs() < 1e-6
            });
            assert!(met, "at {}", note.on);
        }
    }

    #[test]
    fn notes_that_have_not_grown_are_hollow() {
        let mut settings = Settings::default();
        settings.growth.growth = Growth::Fill;
        settings.growth.every = 1;
        let sounding = |elapsed| {
            let circle = Circle::now(&seen(EIGHT, settings, Some(elapsed)), None);
            let ring = &circle.rings[0];
            ring.attacks.iter().filter(|attack| attack.sounds).count()
        };
        assert_eq!([0.5, 2.5, 4.5, 6.5].map(sounding), [1, 2, 3, 4]);
    }

    #[test]
    fn a_phrase_that_lengthens_shows_the_rest_of_itself_hollow() {
        let mut settings = Settings::default();
        settings.growth.growth = Growth::Lengthen;
        settings.growth.every = 1;
        // Laps of 2, 3, 5 and 8 steps.
        let circle = Circle::now(&seen(EIGHT, settings, Some(5.5 * 0.25)), None);
        let sounding: Vec<bool> = circle.rings[0].attacks.iter().map(|a| a.sounds).collect();
        assert_eq!(sounding, [true, true, true, false]);
        assert_eq!(circle.hand, Some(0.5 / 8.0));
    }

    #[test]
    fn a_copy_that_has_not_entered_sounds_nothing_and_says_so() {
        let mut settings = Settings::default();
        settings.growth.growth = Growth::Fill;
        let circle = Circle::now(&seen(EIGHT, settings, Some(1.0)), None);
        let copy = &circle.rings[1];
        assert!(!copy.entered && copy.attacks.iter().all(|attack| !attack.sounds));
        assert_eq!(
            (copy.place.as_str(), copy.doing.as_str()),
            ("waits", "will enter in unison")
        );
        assert_eq!(circle.facts, "1 attack");
    }

    #[test]
    fn a_copy_that_builds_up_is_hollow_first_and_fills_as_it_is_heard() {
        let mut settings = Settings::default();
        settings.motion.motion = Motion::BuildUp;
        settings.motion.dwell = 1;
        settings.growth.every = 1;
        settings.growth.step = 2;
        let whole = seen(EIGHT, settings, None);
        for note in whole.process.notes(Part::COPY_1, Span::new(16.0, 76.0)) {
            let circle = Circle::now(&seen(EIGHT, settings, Some(note.on - 16.0 + 1e-6)), None);
            let attack = circle.rings[1].attacks[note.index];
            assert!(attack.sounds, "note {} at {}", note.index, note.on);
        }
        let silent = Circle::now(&seen(EIGHT, settings, Some(2.5)), None);
        assert!(silent.rings[1].attacks.iter().all(|attack| !attack.sounds));
        let whole = Circle::now(&seen(EIGHT, settings, Some(7.0)), None);
        assert!(whole.rings[1].attacks.iter().all(|attack| attack.sounds));
    }

    #[test]
    fn a_silenced_voice_is_hollow() {
        let mut settings = Settings::default();
        settings.output.steady_level = 0.0;
        let circle = Circle::now(&seen(EIGHT, settings, None), None);
        assert!(circle.rings[0].attacks.iter().all(|attack| !attack.sounds));
        assert!(circle.rings[1].attacks.iter().all(|attack| attack.sounds));
    }

    #[test]
    fn a_stage_shows_where_its_drift_has_led() {
        let seen = seen(EIGHT, Settings::default(), Some(0.0));
        let circle = Circle::of_stage(&seen, 1, None).unwrap();
        assert_eq!(circle.title, "Stage 2 of 17");
        assert_eq!(circle.rings[1].place, "1 step ahead");
        assert_eq!(circle.rings[1].doing, "has drifted from unison");
        assert_eq!(circle.hand, None);
        assert_eq!(Circle::of_stage(&seen, 99, None), None);
    }

    #[test]
    fn a_copy_told_to_go_elsewhere_shows_where_it_is_bound() {
        let mut moving = seen(EIGHT, ahead_by(2.0), Some(1.0));
        moving.snapshot.ahead[1] = Some(0.125);
        let copy = &Circle::now(&moving, None).rings[1];
        assert_eq!(copy.bound_for, Some(0.75));
        assert_eq!(copy.place, "0.5 steps ahead");
        assert_eq!(copy.doing, "on its way to 2 steps ahead");
        let held = &Circle::now(&moving, Some((CopyNumber::FIRST, 4.0))).rings[1];
        assert_eq!(held.bound_for, Some(0.5));
    }

    #[test]
    fn a_ring_turned_back_by_an_eighth_puts_its_copy_a_step_ahead_of_eight() {
        let mut turning = Turning::begin(CopyNumber::FIRST, 0.0, 0.1);
        turning.follow(0.0);
        assert_eq!(turning.offset(8.0, true), 1.0);
        assert_eq!(turning.offset(8.0, false), 0.8);
        turning.follow(-0.025);
        assert_eq!(turning.offset(8.0, false), 1.0);
    }

    #[test]
    fn going_round_several_times_adds_up_and_stops_at_the_farthest() {
        let mut turning = Turning::begin(CopyNumber::FIRST, 0.0, 0.0);
        for _ in 0..8 {
            turning.follow(turning.hand - 0.25);
        }
        assert_eq!(turning.offset(8.0, true), 16.0);
        for _ in 0..40 {
            turning.follow(turning.hand + 0.25);
        }
        assert_eq!(turning.offset(8.0, true), -32.0);
    }

    #[test]
    fn the_hosts_range_runs_from_thirty_two_behind_to_thirty_two_ahead() {
        assert_eq!([-32.0, 0.0, 32.0].map(normalised), [0.0, 0.5, 1.0]);
    }

    #[test]
    fn a_point_on_a_ring_is_found_again() {
        let face = Face::new(pos2(100.0, 80.0), 70.0, 4);
        for voice in &Part::ALL[..4] {
            let at = face.point(0.3, face.radius(*voice));
            assert_eq!(face.voice_at(at), Some(*voice));
            assert!((face.place(at) - 0.3).abs() < 1e-6);
        }
        assert_eq!(face.voice_at(face.centre), None);
        assert_eq!(face.voice_at(pos2(100.0, 0.0)), None);
    }

    #[test]
    fn steps_are_numbered_as_densely_as_there_is_room() {
        assert_eq!(numbered_every(8, 0.25, 12), 1);
        assert_eq!(numbered_every(16, 0.25, 12), 4);
        assert_eq!(numbered_every(128, 0.25, 12), 16);
        assert_eq!(numbered_every(12, 1.0 / 6.0, 4), 6);
    }
}
