//! The modulation plan: which mode is in force when, for those who write no automation.
//!
//! The fold's parameters say how the piece begins. From there on each modulation leads from the
//! mode before it into its own, one pitch class after another, the least distant first, at the
//! beginnings of cycles. A note keeps the pitch that it began with.

use crate::boundaries::{Boundaries, Boundary, listed_end};
use crate::fold::{self, FoldMap, Played};
use crate::mode::{Mode, ModeName};
use crate::note::Key;
use crate::part::{CopyNumber, Part};
use crate::phrase::Phrase;
use crate::settings::{FoldKind, FoldSettings, MAX_MODULATIONS, Place, Settings};
use crate::time::{Beats, HAIR, Span};
use crate::voices::Voices;
use arrayvec::ArrayVec;

/// A mode and the stretch of the song over which it comes into force.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ModeChange {
    /// From where the first pitch class turns to where the last one does; of no length if all turn
    /// at once.
    pub turning: Span,
    /// The mode that is in force then.
    pub mode: Mode,
    /// Which modulation of the list it is; none for the mode that the piece begins in.
    pub index: Option<usize>,
}

/// A modulation in its place.
#[derive(Clone, Debug)]
struct Turning {
    index: usize,
    /// Beats after the origin.
    start: Beats,
    cycles: u32,
    fold: FoldMap,
    /// Where the modulations before it, and the fold itself, have taken every key.
    before: [Key; 128],
}

/// The most mode changes that can be in force: those of the list, and as many of the route's.
const MOST_CHANGES: usize = 2 * MAX_MODULATIONS;

/// A mode change that is asked for.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Asked {
    by: AskedBy,
    tonic: u8,
    mode: ModeName,
    over: u32,
}

/// Who asks for it, and where.
#[derive(Clone, Copy, Debug, PartialEq)]
enum AskedBy {
    /// The list.
    List(Place),
    /// The route, as copy 1 comes to that stage.
    Route(u64),
}

impl Asked {
    /// What the list asks for, then what the route does.
    fn of(voices: &Voices) -> ArrayVec<Self, MOST_CHANGES> {
        let listed = voices.settings().modulations;
        let listed = listed.iter().map(|modulation| Self {
            by: AskedBy::List(modulation.place),
            tonic: modulation.tonic,
            mode: modulation.mode,
            over: modulation.over,
        });
        let mut asked: ArrayVec<_, MOST_CHANGES> = listed.collect();
        let turns = voices.route().turns().map(|(stage, turn)| Self {
            by: AskedBy::Route(stage),
            tonic: turn.tonic,
            mode: turn.mode,
            over: turn.over,
        });
        asked.extend(turns.take(MAX_MODULATIONS.min(asked.remaining_capacity())));
        asked
    }
}

/// Where each change begins that is asked for.
#[derive(Clone, Debug, PartialEq)]
pub struct ChangesBegin(ArrayVec<Option<Begins>, MOST_CHANGES>);

/// Where a modulation begins as counted, whoever cues what.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Begins {
    /// Beats after the origin.
    at: Beats,
    /// The boundary that it begins with, if it begins with a stage.
    with: Option<Boundary>,
}

/// Which mode is in force when: the fold as its parameters have it, and the modulations after it.
///
/// What it costs to work out is kept apart by what it depends on, since the audio thread waits:
/// where stages begin on growth and motion, which keys turn on the modes and the phrase alone.
#[derive(Clone, Debug)]
pub struct ModePlan {
    /// The fold as its parameters have it: in charge before the first modulation.
    base: FoldMap,
    /// The mode that the piece begins in.
    first: Mode,
    /// Where each change that is asked for begins; none if it has no place or its stage never comes.
    begins: ArrayVec<Option<Begins>, MOST_CHANGES>,
    /// What was asked for when that was worked out.
    asked: ArrayVec<Asked, MOST_CHANGES>,
    turnings: ArrayVec<Turning, MOST_CHANGES>,
    cycle: Beats,
}

impl ModePlan {
    /// The plan of `voices`, as they stand.
    ///
    /// # Real-time
    /// Allocates never, blocks never; bounded by modulations, notes and changes of growth. So are
    /// its sisters.
    pub fn new(voices: &Voices) -> Self {
        let (base, first) = beginning(voices);
        let mut plan = Self {
            first,
            base,
            begins: ArrayVec::new(),
            asked: ArrayVec::new(),
            turnings: ArrayVec::new(),
            cycle: voices.phrase().length(),
        };
        plan.place_changes(voices);
        plan.lead_on(voices);
        plan
    }

    /// The settings of `voices` have changed from `old`; where stages begin, if `stages_moved`.
    pub fn follow_settings(&mut self, old: &Settings, stages_moved: bool, voices: &Voices) {
        let settings = voices.settings();
        let refolded = old.fold != settings.fold;
        let relisted = old.modulations != settings.modulations;
        let moved = stages_moved && self.follows_stages(voices);
        if refolded {
            (self.base, self.first) = beginning(voices);
            self.turnings.clear();
        }
        if relisted || moved {
            self.place_changes(voices);
        }
        if refolded || relisted || moved {
            self.lead_on(voices);
        }
    }

    /// Stages begin elsewhere: modulations that begin with one go where it has gone.
    pub fn follow_stages(&mut self, voices: &Voices) {
        if self.follows_stages(voices) {
            self.place_changes(voices);
            self.lead_on(voices);
        }
    }

    /// Cues were given or forgotten. Stages are counted as before, and nothing is looked for.
    pub fn follow_cues(&mut self, voices: &Voices) {
        if self.follows_stages(voices) {
            self.lead_on(voices);
        }
    }

    /// Where changes begin that are asked for.
    pub fn begins(&self) -> ChangesBegin {
        ChangesBegin(self.begins.clone())
    }

    /// Changes begin where they did, if they are those that are asked for; where they begin now, if
    /// they are not.
    pub fn stand(&mut self, begins: &ChangesBegin, voices: &Voices) {
        if begins.0.len() == self.asked.len() {
            self.begins.clone_from(&begins.0);
        } else {
            self.place_changes(voices);
        }
        self.lead_on(voices);
    }

    /// Whether any change begins with a stage, or did.
    fn follows_stages(&self, voices: &Voices) -> bool {
        let with_route = |asked: &Asked| matches!(asked.by, AskedBy::Route(_));
        voices.settings().modulations.follow_stages()
            || voices.route().turns().next().is_some()
            || self.asked.iter().any(with_route)
    }

    /// Finds where each change begins. What had begun before something changed on the way, had
    /// begun where it had.
    fn place_changes(&mut self, voices: &Voices) {
        let asked = Asked::of(voices);
        let mut begins = begins(voices, &asked);
        for (begin, asked) in begins.iter_mut().zip(&asked) {
            if *begin == Some(Begins::BEFORE) {
                let same = self.asked.iter().position(|before| before.by == asked.by);
                let at = same.and_then(|same| self.begins[same]?.performed(voices));
                *begin = at.map_or(*begin, |at| Some(Begins { at, with: None }));
            }
        }
        self.begins = begins;
        self.asked = asked;
    }

    /// Puts every modulation in its place, each leading on from the mode before it. Those up to
    /// the first that leads elsewhere turn the same keys as before. How many had to be worked out
    /// anew.
    fn lead_on(&mut self, voices: &Voices) -> usize {
        let settings = voices.settings();
        let placed = self.in_order(voices);
        let target = |asked: &Asked| Mode::named(asked.tonic, asked.mode, settings.fold.custom);
        let as_before = |(turning, placed): &(&mut Turning, &Placed)| {
            turning.fold.target() == target(&placed.asked)
        };
        let kept = self.turnings.iter_mut().zip(&placed).take_while(as_before);
        let mut stay = 0;
        for (turning, placed) in kept {
            turning.index = placed.index;
            turning.start = placed.start;
            turning.cycles = placed.asked.over;
            stay += 1;
        }
        self.turnings.truncate(stay);
        for placed in &placed[stay..] {
            self.lead_into(target(&placed.asked), placed, voices);
        }
        placed.len() - stay
    }

    /// One more modulation, after those that are there.
    fn lead_into(&mut self, target: Mode, placed: &Placed, voices: &Voices) {
        let settings = &voices.settings().fold;
        let kind = match settings.fold {
            FoldKind::Off => FoldKind::ByDegree,
            kind => kind,
        };
        let (source, before) = match self.turnings.last() {
            Some(last) => (
                last.fold.target(),
                last.before.map(|key| last.fold.key(key)),
            ),
            None => (
                self.counted_from(&target, settings, voices.phrase()),
                std::array::from_fn(|key| self.base.key(Key::by_octave(key as i32))),
            ),
        };
        let goes = |key: Key| before[usize::from(key.number())];
        let played = Played::through(voices.phrase(), goes);
        self.turnings.push(Turning {
            index: placed.index,
            start: placed.start,
            cycles: placed.asked.over,
            fold: FoldMap::between((source, target), kind, played),
            before,
        });
    }

    /// The modulations that have a place, the earliest first.
    fn in_order(&self, voices: &Voices) -> ArrayVec<Placed, MOST_CHANGES> {
        let listed = voices.settings().modulations.iter().count();
        let place = |(place, asked): (usize, &Asked)| {
            let of_route = place.checked_sub(listed);
            Some(Placed {
                index: of_route.map_or(place, |own| MAX_MODULATIONS + own),
                start: self.begins[place]?.performed(voices)?,
                asked: *asked,
            })
        };
        let mut placed: ArrayVec<_, MOST_CHANGES> =
            self.asked.iter().enumerate().filter_map(place).collect();
        // Stable without allocating: the place in the list decides between equals.
        placed.sort_unstable_by(|a, b| a.start.total_cmp(&b.start).then(a.index.cmp(&b.index)));
        placed
    }

    /// The fold as its parameters have it.
    pub fn base(&self) -> &FoldMap {
        &self.base
    }

    /// The mode that the piece begins in: where the fold leads, if it leads anywhere.
    pub fn first(&self) -> Mode {
        self.first
    }

    /// Where `key` goes `at` beats after the origin.
    pub fn key(&self, key: Key, at: Beats) -> Key {
        match self.turning_at(at) {
            Some(turning) => {
                let key = turning.before[usize::from(key.number())];
                turning.fold.key_when(key, turning.moved(at, self.cycle))
            }
            None => self.base.key(key),
        }
    }

    /// The fold in charge `at` beats after the origin, and how many of its pitch classes have
    /// turned.
    pub fn fold_at(&self, at: Beats) -> (&FoldMap, usize) {
        match self.turning_at(at) {
            Some(turning) => (&turning.fold, turning.moved(at, self.cycle)),
            None => (&self.base, self.base.moved()),
        }
    }

    /// Whether a modulation is in charge `at` beats after the origin, and not the fold's
    /// parameters.
    pub fn is_modulated(&self, at: Beats) -> bool {
        self.turning_at(at).is_some()
    }

    /// The mode in which the degrees of the first modulation are counted: as the fold would count
    /// them, unless the fold has led elsewhere.
    fn counted_from(&self, target: &Mode, settings: &FoldSettings, phrase: &Phrase) -> Mode {
        if self.first == self.base.source() {
            fold::counted_in(settings, phrase, target)
        } else {
            self.first
        }
    }

    /// The modulations that will take place, in order of time, in beats after the origin.
    pub fn changes(&self) -> impl Iterator<Item = ModeChange> + '_ {
        self.turnings.iter().map(|turning| ModeChange {
            turning: Span::new(turning.start, turning.whole_from(self.cycle)),
            mode: turning.fold.target(),
            index: Some(turning.index),
        })
    }

    fn turning_at(&self, at: Beats) -> Option<&Turning> {
        self.turnings
            .iter()
            .rev()
            .find(|turning| turning.start <= at + HAIR)
    }
}

impl Turning {
    /// How many pitch classes have turned.
    fn moved(&self, at: Beats, cycle: Beats) -> usize {
        let count = self.fold.differing();
        let cycles = (at + HAIR - self.start) / cycle;
        (0..count)
            .take_while(|place| f64::from(self.cycle_of(*place)) <= cycles)
            .count()
    }

    /// In which cycle of the modulation a pitch class turns: the first in the first, the others
    /// evenly after it.
    fn cycle_of(&self, place: usize) -> u32 {
        let count = self.fold.differing().max(1) as u32;
        place as u32 * self.cycles / count
    }

    fn whole_from(&self, cycle: Beats) -> Beats {
        let last = self.fold.differing().saturating_sub(1);
        self.start + f64::from(self.cycle_of(last)) * cycle
    }
}

/// A modulation of the list, and where it takes place.
struct Placed {
    index: usize,
    /// Beats after the origin.
    start: Beats,
    asked: Asked,
}

impl Begins {
    /// Somewhere before something changed on the way.
    const BEFORE: Self = Self {
        at: 0.0,
        with: None,
    };

    /// Beats after the origin; none while it has not been cued.
    fn performed(&self, voices: &Voices) -> Option<Beats> {
        match self.with {
            Some(boundary) => boundary.performed(self.at, voices),
            None => Some(self.at),
        }
    }
}

/// The fold as its parameters have it, and the mode that the piece begins in.
fn beginning(voices: &Voices) -> (FoldMap, Mode) {
    let fold = &voices.settings().fold;
    let base = FoldMap::new(fold, voices.phrase());
    let leads = fold.fold != FoldKind::Off && fold.amount > 0.0;
    let first = if leads { base.target() } else { base.source() };
    (base, first)
}

/// Where each change begins that is asked for.
fn begins(voices: &Voices, asked: &[Asked]) -> ArrayVec<Option<Begins>, MOST_CHANGES> {
    let mut begins: ArrayVec<_, MOST_CHANGES> = asked.iter().map(|_| None).collect();
    let mut by_stage: ArrayVec<(usize, usize), MOST_CHANGES> = ArrayVec::new();
    let (changed, begun) = voices.changed();
    let has_changed = changed > voices.origin();
    for (index, asked) in asked.iter().enumerate() {
        match asked.by {
            AskedBy::List(Place::Stage(stage)) if has_changed && stage as usize <= begun => {
                begins[index] = Some(Begins::BEFORE);
            }
            AskedBy::List(Place::Stage(stage)) => by_stage.push((stage as usize, index)),
            AskedBy::List(Place::Beats(at)) if at.is_finite() => {
                let at = at.max(0.0);
                begins[index] = Some(Begins { at, with: None });
            }
            AskedBy::List(Place::Beats(_)) => (),
            AskedBy::Route(stage) => begins[index] = begins_with(voices, stage),
        }
    }
    if by_stage.is_empty() {
        return begins;
    }
    by_stage.sort_unstable();
    let (end, _) = listed_end(voices);
    let mut stages = Boundaries::new(voices, end);
    // Where something changed is where the listing begins, and no stage of its own.
    if has_changed {
        stages.next();
    }
    let (mut told, mut found) = (if has_changed { begun } else { 0 }, None);
    for (stage, index) in by_stage {
        if stage > told {
            found = stages.nth(stage - told - 1);
            // The end is a boundary, too, but no stage begins there.
            found = found.filter(|boundary: &Boundary| boundary.at < end - HAIR);
            told = stage;
        }
        begins[index] = found.map(|boundary| Begins {
            at: boundary.at - voices.origin(),
            with: Some(boundary),
        });
    }
    begins
}

/// Where a change begins that the route asks for: where copy 1 comes to the stage.
fn begins_with(voices: &Voices, stage: u64) -> Option<Begins> {
    let copy = CopyNumber::FIRST;
    let timetable = voices.proposed(copy);
    let (changed, _) = voices.changed();
    let now = timetable.going().stage;
    if stage < now || (stage == now && changed > voices.origin()) {
        return Some(Begins::BEFORE);
    }
    let station = timetable.opening(stage);
    let from = voices.moves_from(Part::Copy(copy))?;
    let at = timetable.begin_of(station);
    at.is_finite().then(|| {
        let at = at.to_song(from);
        Begins {
            at: at - voices.origin(),
            with: Some(Boundary {
                at,
                begins: Some((copy, station)),
            }),
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mode::ModeName;
    use crate::settings::{Modulation, Modulations};

    fn modulations(last: ModeName) -> Modulations {
        let modes = [ModeName::Lydian, ModeName::Phrygian, last];
        let at = |place: usize| Place::Stage(2 * place as u32 + 2);
        Modulations::new(
            modes
                .into_iter()
                .enumerate()
                .map(|(place, mode)| Modulation {
                    place: at(place),
                    tonic: 2,
                    mode,
                    over: 4,
                }),
        )
    }

    /// What the audio thread waits for.
    #[test]
    fn only_what_leads_elsewhere_is_worked_out_anew() {
        let phrase = Phrase::from_text("D4 E4 F4 G4 A4 B4 C5 .", 0.25).unwrap();
        let mut settings = Settings {
            modulations: modulations(ModeName::Aeolian),
            ..Settings::default()
        };
        let mut voices = Voices::new(phrase, settings, 0.0);
        let mut plan = ModePlan::new(&voices);
        let starts = |plan: &ModePlan| plan.changes().map(|one| one.turning.start).collect();
        let before: Vec<Beats> = starts(&plan);
        settings.motion.dwell = 3;
        voices.set_settings(settings, 0.0, |_| 1);
        plan.follow_stages(&voices);
        let moved: Vec<Beats> = starts(&plan);
        assert!(before.len() == 3 && moved.len() == 3 && before != moved);
        assert_eq!(plan.lead_on(&voices), 0);
        settings.modulations = modulations(ModeName::Locrian);
        voices.set_settings(settings, 0.0, |_| 1);
        plan.place_changes(&voices);
        assert_eq!(plan.lead_on(&voices), 1);
    }
}
