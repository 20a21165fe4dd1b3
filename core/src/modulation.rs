//! The modulation plan: which mode is in force when, for those who write no automation.
//!
//! The fold's parameters say how the piece begins. From there on each modulation leads from the
//! mode before it into its own, one pitch class after another, the least distant first, at the
//! beginnings of cycles. A note keeps the pitch that it began with.

use crate::boundaries::{Boundaries, listed_end};
use crate::fold::{self, FoldMap, Played};
use crate::mode::Mode;
use crate::note::Key;
use crate::phrase::Phrase;
use crate::settings::{FoldKind, FoldSettings, MAX_MODULATIONS, Modulation, Place};
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

/// Which mode is in force when: the fold as its parameters have it, and the modulations after it.
#[derive(Clone, Debug)]
pub struct ModePlan {
    /// The fold as its parameters have it: in charge before the first modulation.
    base: FoldMap,
    /// The mode that the piece begins in.
    first: Mode,
    turnings: ArrayVec<Turning, MAX_MODULATIONS>,
    cycle: Beats,
}

impl ModePlan {
    /// The plan of `voices`, as they stand.
    ///
    /// # Real-time
    /// Allocates never, blocks never; bounded by modulations and stages.
    pub fn new(voices: &Voices) -> Self {
        let fold = &voices.settings().fold;
        let base = FoldMap::new(fold, voices.phrase());
        let leads = fold.fold != FoldKind::Off && fold.amount > 0.0;
        let mut plan = Self {
            first: if leads { base.target() } else { base.source() },
            base,
            turnings: ArrayVec::new(),
            cycle: voices.phrase().length(),
        };
        plan.lay(voices);
        plan
    }

    /// Puts every modulation in its place anew: stages may have moved.
    ///
    /// # Real-time
    /// As [`Self::new`].
    pub fn lay(&mut self, voices: &Voices) {
        self.turnings.clear();
        let settings = voices.settings();
        if settings.modulations.is_empty() {
            return;
        }
        let kind = match settings.fold.fold {
            FoldKind::Off => FoldKind::ByDegree,
            kind => kind,
        };
        let mut before = std::array::from_fn(|key| self.base.key(Key::by_octave(key as i32)));
        let mut mode = self.first;
        for (index, start, modulation) in in_order(voices) {
            let goes = |key: Key| before[usize::from(key.number())];
            let played = Played::through(voices.phrase(), goes);
            let target = Mode::named(modulation.tonic, modulation.mode, settings.fold.custom);
            let source = match self.turnings.is_empty() {
                true => self.counted_from(&target, &settings.fold, voices.phrase()),
                false => mode,
            };
            let fold = FoldMap::between((source, target), kind, played);
            let after = before.map(|key| fold.key(key));
            self.turnings.push(Turning {
                index,
                start,
                cycles: modulation.over,
                fold,
                before: std::mem::replace(&mut before, after),
            });
            mode = target;
        }
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

/// The modulations that have a place, the earliest first, with it and their place in the list.
fn in_order(voices: &Voices) -> ArrayVec<(usize, Beats, Modulation), MAX_MODULATIONS> {
    let modulations = &voices.settings().modulations;
    let starts = starts(voices);
    let mut placed: ArrayVec<_, MAX_MODULATIONS> = modulations
        .iter()
        .enumerate()
        .filter_map(|(index, modulation)| Some((index, starts[index]?, *modulation)))
        .collect();
    // Stable without allocating: the place in the list decides between equals.
    placed.sort_unstable_by(|a, b| a.1.total_cmp(&b.1).then(a.0.cmp(&b.0)));
    placed
}

/// Where each modulation begins, in beats after the origin; none if its stage never comes.
fn starts(voices: &Voices) -> [Option<Beats>; MAX_MODULATIONS] {
    let modulations = &voices.settings().modulations;
    let stage_of = |index: usize| match modulations.get(index)?.place {
        Place::Stage(stage) => Some(stage),
        Place::Beats(_) => None,
    };
    let mut starts: [Option<Beats>; MAX_MODULATIONS] =
        std::array::from_fn(|index| match modulations.get(index)?.place {
            Place::Beats(at) => at.is_finite().then_some(at.max(0.0)),
            Place::Stage(_) => None,
        });
    let last = (0..MAX_MODULATIONS).filter_map(stage_of).max().unwrap_or(0);
    let (end, _) = listed_end(voices);
    let stages = Boundaries::new(voices, end).take_while(|boundary| boundary.at < end - HAIR);
    for (stage, boundary) in (1..=last).zip(stages) {
        for (index, start) in starts.iter_mut().enumerate() {
            if stage_of(index) == Some(stage) {
                let at = boundary.performed(voices);
                *start = at.map(|at| at - voices.origin());
            }
        }
    }
    starts
}
