//! Undo and redo: one row of named steps over all that the composer writes.
//!
//! A step holds what it changed, as it was before and after. To have something else undone, say in
//! `Thing` what it is, where it is kept and how it is put back; that is all. Parameters are the
//! host's to undo; but those that a step turned along with what it wrote are turned back with it.

mod names;

pub use names::Name;

use crate::state::{Kept, Sketches, Takes, Voice};
use procession_core::metre::Grouping;
use procession_core::mode::PitchSet;
use procession_core::performed::Recollection;
use procession_core::phrase::Phrase;
use procession_core::route::Route;
use procession_core::settings::Modulations;
use procession_core::time::Beats;
use std::collections::VecDeque;
use std::sync::Arc;

/// So many steps can be taken back.
pub const DEPTH: usize = 500;

/// Something of the project that the composer writes.
#[derive(Clone, Debug, PartialEq)]
enum Thing {
    Phrase(Box<Phrase>),
    Route(Arc<Route>),
    BeginsAt(Option<Beats>),
    Grouping(Grouping),
    Modulations(Box<Modulations>),
    Custom(PitchSet),
    Performed(Arc<Recollection>),
    Voice(Option<Voice>),
    Seed(u64),
    Takes(Takes),
    Sketches(Sketches),
}

/// So many of them there are.
const THINGS: usize = 11;

impl Thing {
    /// All that there is, as it is kept now.
    fn all(kept: &Kept) -> [Self; THINGS] {
        [
            Self::Phrase(Box::new(kept.taken.phrase.clone())),
            Self::Route(kept.route.clone()),
            Self::BeginsAt(kept.begins_at),
            Self::Grouping(kept.grouping),
            Self::Modulations(Box::new(kept.modulations)),
            Self::Custom(kept.custom),
            Self::Performed(kept.performed.clone()),
            Self::Voice(kept.voice.clone()),
            Self::Seed(kept.seed),
            Self::Takes(kept.takes.clone()),
            Self::Sketches(kept.sketches.clone()),
        ]
    }

    fn put_back(&self, kept: &mut Kept) {
        match self {
            Self::Phrase(phrase) => kept.taken.phrase.clone_from(phrase),
            Self::Route(route) => kept.route.clone_from(route),
            Self::BeginsAt(at) => kept.begins_at = *at,
            Self::Grouping(grouping) => kept.grouping = *grouping,
            Self::Modulations(plan) => kept.modulations = **plan,
            Self::Custom(mode) => kept.custom = *mode,
            Self::Performed(told) => kept.performed.clone_from(told),
            Self::Voice(voice) => kept.voice.clone_from(voice),
            Self::Seed(seed) => kept.seed = *seed,
            Self::Takes(takes) => kept.takes.clone_from(takes),
            Self::Sketches(sketches) => kept.sketches.clone_from(sketches),
        }
    }

    fn is_like(&self, other: &Self) -> bool {
        std::mem::discriminant(self) == std::mem::discriminant(other)
    }

    /// Whether it is what is performed.
    fn is_performed(&self) -> bool {
        matches!(self, Self::Phrase(_) | Self::Route(_))
    }

    fn is_performance(&self) -> bool {
        matches!(self, Self::Performed(_))
    }
}

/// A parameter that a step has turned, as hosts know it: normalized values.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Turned {
    /// Which.
    pub id: &'static str,
    /// Before.
    pub before: f32,
    /// After.
    pub after: f32,
}

/// A step that was taken back, or taken again.
#[derive(Clone, Debug, PartialEq)]
pub struct Gone {
    /// What it is called.
    pub name: Name,
    /// Parameters that are to go with it, and where to.
    pub turned: Vec<(&'static str, f32)>,
}

/// One gesture of the composer.
#[derive(Clone, Debug)]
struct Step {
    name: Name,
    /// What it changed: before and after.
    changed: Vec<(Thing, Thing)>,
    /// Parameters that it turned.
    turned: Vec<Turned>,
    /// The hand that did it, from taking hold to letting go.
    hand: u64,
}

impl Step {
    /// Whether anything is left of it when these things have come from elsewhere: nothing, if it is
    /// about one of them; but what was performed goes with what it was performed of.
    fn is_left_by(&mut self, foreign: &[Thing]) -> bool {
        if foreign.iter().any(Thing::is_performed) {
            self.changed.retain(|(before, _)| !before.is_performance());
        }
        let is_foreign = |thing: &Thing| foreign.iter().any(|other| other.is_like(thing));
        let goes_with = |thing: &Thing| self.is_of_a_performance() && thing.is_performance();
        let mut about = self.changed.iter().map(|(before, _)| before);
        let none = !about.any(|thing| is_foreign(thing) && !goes_with(thing));
        none && !self.is_empty()
    }

    fn is_empty(&self) -> bool {
        self.changed.is_empty() && self.turned.is_empty()
    }

    /// Whether it changed something of which there are performances: one of what was there before
    /// is none of what comes.
    fn is_of_a_performance(&self) -> bool {
        self.changed.iter().any(|(before, _)| before.is_performed())
    }

    /// Before it is taken back, or taken again: what has been performed goes away with it, to come
    /// back when that is undone in its turn.
    fn take_performance(&mut self, kept: &Kept, which: fn(&mut (Thing, Thing)) -> &mut Thing) {
        if !self.is_of_a_performance() {
            return;
        }
        if !self
            .changed
            .iter()
            .any(|(before, _)| before.is_performance())
        {
            let nothing = || Thing::Performed(Arc::default());
            self.changed.push((nothing(), nothing()));
        }
        for pair in self
            .changed
            .iter_mut()
            .filter(|pair| pair.0.is_performance())
        {
            *which(pair) = Thing::Performed(kept.performed.clone());
        }
    }
}

/// The steps before and after the present state.
///
/// What came from elsewhere, a phrase that was played, begins anew: nobody who takes a step back
/// means to throw away what was just played. The steps about other things stay. With a project that
/// is loaded, all are over.
#[derive(Clone, Debug, Default)]
pub struct History {
    past: VecDeque<Step>,
    future: Vec<Step>,
    /// What the last step left, and how many projects had been loaded then.
    left: Option<(Box<[Thing; THINGS]>, u64)>,
}

impl History {
    /// Notices what has changed otherwise than by a step. `loads` counts the projects that were
    /// loaded. Whether another was.
    pub fn follow(&mut self, kept: &Kept, loads: u64) -> bool {
        let now = Thing::all(kept);
        match &self.left {
            Some((left, before)) if *before == loads => {
                if **left == now {
                    return false;
                }
                let others = left.iter().zip(&now).filter(|(left, now)| left != now);
                let foreign: Vec<Thing> = others.map(|(_, now)| now.clone()).collect();
                let stays = |step: &mut Step| step.is_left_by(&foreign);
                self.past.retain_mut(stays);
                self.future.retain_mut(stays);
            }
            _ => {
                self.past.clear();
                self.future.clear();
            }
        }
        let before = self.left.replace((Box::new(now), loads));
        before.is_some_and(|(_, before)| before != loads)
    }

    /// A step has been taken. What one `hand` does on end to the same thing is one step.
    pub fn record(&mut self, name: Name, before: &Kept, after: &Kept, loads: u64, hand: u64) {
        self.record_turning(name, (before, after), Vec::new(), loads, hand);
    }

    /// The same of a step that has turned parameters, too.
    pub fn record_turning(
        &mut self,
        name: Name,
        (before, after): (&Kept, &Kept),
        turned: Vec<Turned>,
        loads: u64,
        hand: u64,
    ) {
        self.follow(before, loads);
        let (was, is) = (Thing::all(before), Thing::all(after));
        let pairs = was.into_iter().zip(is.clone());
        let changed: Vec<_> = pairs.filter(|(was, is)| was != is).collect();
        self.left = Some((Box::new(is), loads));
        if changed.is_empty() && turned.is_empty() {
            return;
        }
        self.future.clear();
        let step = match self.past.pop_back() {
            Some(last) if last.goes_on_in(&name, &changed, hand) && turned.is_empty() => {
                last.and_then(name, changed)
            }
            last => {
                self.past.extend(last);
                Step {
                    name,
                    changed,
                    turned,
                    hand,
                }
            }
        };
        if self.past.len() == DEPTH {
            self.past.pop_front();
        }
        self.past.push_back(step);
    }

    /// Takes the last step back.
    pub fn undo(&mut self, kept: &mut Kept, loads: u64) -> Option<Gone> {
        self.follow(kept, loads);
        let mut step = self.past.pop_back()?;
        step.take_performance(kept, |(_, after)| after);
        for (before, _) in &step.changed {
            before.put_back(kept);
        }
        self.left = Some((Box::new(Thing::all(kept)), loads));
        let turned = step.turned.iter().map(|turned| (turned.id, turned.before));
        let gone = Gone {
            name: step.name.clone(),
            turned: turned.collect(),
        };
        self.future.push(step);
        Some(gone)
    }

    /// Takes the step again that was taken back last.
    pub fn redo(&mut self, kept: &mut Kept, loads: u64) -> Option<Gone> {
        self.follow(kept, loads);
        let mut step = self.future.pop()?;
        step.take_performance(kept, |(before, _)| before);
        for (_, after) in &step.changed {
            after.put_back(kept);
        }
        self.left = Some((Box::new(Thing::all(kept)), loads));
        let turned = step.turned.iter().map(|turned| (turned.id, turned.after));
        let gone = Gone {
            name: step.name.clone(),
            turned: turned.collect(),
        };
        // What one hand did is over.
        self.past.push_back(Step {
            hand: u64::MAX,
            ..step
        });
        Some(gone)
    }

    /// The steps that can be taken back, the last one first.
    pub fn past(&self) -> impl Iterator<Item = &Name> {
        self.past.iter().rev().map(|step| &step.name)
    }

    /// The steps that can be taken again, the next one first.
    pub fn future(&self) -> impl Iterator<Item = &Name> {
        self.future.iter().rev().map(|step| &step.name)
    }
}

impl Step {
    /// Whether a step so named, by that hand, is no more than this one going on.
    fn goes_on_in(&self, name: &Name, changed: &[(Thing, Thing)], hand: u64) -> bool {
        let is_mine = |its: &Thing| self.changed.iter().any(|(mine, _)| mine.is_like(its));
        let same_things = changed.iter().all(|(its, _)| is_mine(its));
        hand != u64::MAX && self.hand == hand && self.name.what == name.what && same_things
    }

    fn and_then(self, name: Name, changed: Vec<(Thing, Thing)>) -> Self {
        let both = self.changed.into_iter().map(|(before, then)| {
            let mut afters = changed.iter().map(|(_, after)| after);
            let after = afters.find(|after| after.is_like(&before)).cloned();
            (before, after.unwrap_or(then))
        });
        Self {
            name,
            changed: both.collect(),
            turned: self.turned,
            hand: self.hand,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::params::Parameters;
    use crate::state::{PLACES, Sketch, Taken};
    use procession_core::engine::Anchor;
    use procession_core::mode::ModeName;
    use procession_core::part::{CopyNumber, MAX_COPIES};
    use procession_core::performed::{Happened, Moment, Shape};
    use procession_core::process::Process;
    use procession_core::route::{Afterwards, Dwell, Edit, Way, WrittenStage};
    use procession_core::settings::{Modulation, Motion, Place, Settings};
    use proptest::prelude::*;

    fn phrase(text: &str) -> Phrase {
        Phrase::from_text(text, 0.25).expect("these words are notes")
    }

    /// A desk on which things are written, one hand after another.
    struct Desk {
        kept: Kept,
        history: History,
        hand: u64,
        loads: u64,
    }

    impl Desk {
        fn new() -> Self {
            let taken = Taken {
                phrase: phrase("D4 . F4 G4 . A4"),
                anchor: Anchor::Song(8.0),
            };
            let kept = Kept {
                taken,
                ..Kept::default()
            };
            Self {
                kept,
                history: History::default(),
                hand: 0,
                loads: 1,
            }
        }

        fn step(&mut self, what: &str, change: impl FnOnce(&mut Kept)) {
            self.hand += 1;
            self.hold_on(what, change);
        }

        /// The hand that took hold has not let go.
        fn hold_on(&mut self, what: &str, change: impl FnOnce(&mut Kept)) {
            let before = self.kept.clone();
            change(&mut self.kept);
            let name = Name::new(what, None);
            self.history
                .record(name, &before, &self.kept, self.loads, self.hand);
        }

        fn undo(&mut self) -> Option<String> {
            let gone = self.history.undo(&mut self.kept, self.loads);
            gone.map(|gone| gone.name.what)
        }

        fn redo(&mut self) -> Option<String> {
            let gone = self.history.redo(&mut self.kept, self.loads);
            gone.map(|gone| gone.name.what)
        }
    }

    fn says(word: &str) -> Option<String> {
        Some(word.to_owned())
    }

    #[test]
    fn steps_about_different_things_are_taken_back_in_turn_and_taken_again() {
        let mut desk = Desk::new();
        let first = desk.kept.to_json();
        desk.step("phrase", |kept| kept.taken.phrase = phrase("D4 E4"));
        desk.step("flag", |kept| kept.begins_at = Some(128.0));
        desk.step("mode", |kept| kept.custom = PitchSet::of(&[0, 3, 7]));
        let last = desk.kept.to_json();
        assert_eq!(desk.undo(), says("mode"));
        assert_eq!(desk.undo(), says("flag"));
        assert_eq!(desk.kept.begins_at, None);
        assert_eq!(desk.undo(), says("phrase"));
        assert_eq!((desk.undo(), desk.kept.to_json()), (None, first));
        assert_eq!(desk.redo(), says("phrase"));
        assert_eq!(desk.redo(), says("flag"));
        assert_eq!(desk.redo(), says("mode"));
        assert_eq!((desk.redo(), desk.kept.to_json()), (None, last));
    }

    #[test]
    fn a_new_step_forgets_what_was_taken_back_and_one_that_changes_nothing_is_none() {
        let mut desk = Desk::new();
        desk.step("one", |kept| kept.begins_at = Some(4.0));
        desk.undo();
        desk.step("nothing", |kept| kept.begins_at = None);
        assert_eq!(desk.redo(), says("one"), "nothing happened");
        desk.undo();
        desk.step("two", |kept| kept.begins_at = Some(8.0));
        assert_eq!(desk.redo(), None);
        assert_eq!(desk.undo(), says("two"));
        assert_eq!(desk.undo(), None);
    }

    #[test]
    fn a_phrase_that_was_played_is_not_undone_and_what_else_was_written_is() {
        let mut desk = Desk::new();
        desk.step("phrase", |kept| kept.taken.phrase = phrase("D4 E4"));
        desk.step("flag", |kept| kept.begins_at = Some(128.0));
        desk.kept.taken.phrase = phrase("G4 A4 C5");
        assert_eq!(desk.undo(), says("flag"));
        assert_eq!(desk.undo(), None);
        assert_eq!(desk.kept.taken.phrase, phrase("G4 A4 C5"));
        assert_eq!(desk.redo(), says("flag"));
    }

    fn a_cue(at: f64) -> Arc<Recollection> {
        let settings = Settings::default();
        let mut told = Recollection {
            first: Some(Shape::of(&settings)),
            ..Recollection::default()
        };
        let what = Happened::Cue;
        told.moments.push(Moment { at, what });
        Arc::new(told)
    }

    #[test]
    fn what_another_route_forgot_comes_back_with_the_route_that_was_there() {
        let mut desk = Desk::new();
        desk.kept.performed = a_cue(9.5);
        let first = desk.kept.clone();
        let route = Process::new(phrase("D4 E4"), Settings::default(), 0.0);
        let route = Arc::new(route.voices().as_route());
        let write = |kept: &mut Kept| {
            kept.route = route.clone();
            kept.performed = Arc::default();
        };
        desk.step("route", write);
        desk.hold_on("route", |kept| kept.route = Arc::default());
        desk.hold_on("route", |kept| kept.route = route.clone());
        assert_eq!(desk.undo(), says("route"));
        assert_eq!(desk.kept, first);
        desk.redo();
        // What was performed of the other since then goes with that, and comes back with it.
        desk.kept.performed = a_cue(3.25);
        assert_eq!(desk.undo(), says("route"));
        assert_eq!(desk.kept, first);
        desk.kept.performed = a_cue(1.5);
        assert_eq!(desk.redo(), says("route"));
        assert_eq!(
            (&desk.kept.performed, &desk.kept.route),
            (&a_cue(3.25), &route)
        );
        assert_eq!(desk.undo(), says("route"));
        assert_eq!(
            (&desk.kept.performed, &desk.kept.route),
            (&a_cue(1.5), &first.route)
        );
    }

    /// As the window does it, where another route forgets what was performed.
    #[test]
    fn a_route_that_is_written_before_anything_is_performed_goes_and_comes_with_its_performance() {
        let (parameters, _audio) = Parameters::new();
        let kept = &parameters.kept;
        let mut history = History::default();
        let before = kept.current();
        let route = Process::new(phrase("D4 E4"), Settings::default(), 0.0);
        let route = Arc::new(route.voices().as_route());
        kept.edit(|kept| kept.route = route.clone());
        history.record(Name::new("route", None), &before, &kept.current(), 0, 1);
        kept.edit(|kept| kept.performed = a_cue(3.25));
        kept.edit(|kept| assert!(history.undo(kept, 0).is_some()));
        assert!(kept.current().performed.moments.is_empty());
        kept.edit(|kept| assert!(history.redo(kept, 0).is_some()));
        assert_eq!(kept.current().performed, a_cue(3.25));
    }

    #[test]
    fn forgetting_what_was_performed_is_not_undone_once_something_else_was() {
        let mut desk = Desk::new();
        desk.kept.performed = a_cue(9.5);
        desk.step("forgetting", |kept| kept.performed = Arc::default());
        assert_eq!(desk.undo(), says("forgetting"));
        assert_eq!(desk.kept.performed, a_cue(9.5));
        desk.redo();
        desk.kept.performed = a_cue(3.25);
        assert_eq!(desk.undo(), None);
        assert_eq!(desk.kept.performed, a_cue(3.25));
    }

    #[test]
    fn a_loaded_project_has_no_past_though_it_be_the_same() {
        let mut desk = Desk::new();
        desk.step("flag", |kept| kept.begins_at = Some(128.0));
        desk.loads += 1;
        assert_eq!(desk.undo(), None);
        assert_eq!(desk.kept.begins_at, Some(128.0));
    }

    #[test]
    fn what_a_hand_does_until_it_lets_go_is_one_step() {
        let mut desk = Desk::new();
        desk.step("flag", |kept| kept.begins_at = Some(4.0));
        desk.hold_on("flag", |kept| kept.begins_at = Some(8.0));
        desk.hold_on("flag", |kept| kept.begins_at = Some(12.0));
        desk.hold_on("phrase", |kept| kept.taken.phrase = phrase("D4"));
        desk.step("flag", |kept| kept.begins_at = Some(16.0));
        assert_eq!(desk.history.past().count(), 3);
        desk.undo();
        desk.undo();
        assert_eq!(desk.kept.begins_at, Some(12.0));
        desk.undo();
        assert_eq!((desk.kept.begins_at, desk.undo()), (None, None));
    }

    #[test]
    fn two_hundred_steps_and_more_are_taken_back() {
        let mut desk = Desk::new();
        let first = desk.kept.to_json();
        for bar in 0..DEPTH {
            desk.step("flag", |kept| kept.begins_at = Some(bar as f64));
        }
        while desk.undo().is_some() {}
        assert_eq!(desk.kept.to_json(), first);
        const { assert!(DEPTH >= 200) };
    }

    /// Something that the composer does.
    #[derive(Clone, Debug)]
    enum Deed {
        Route(Edit),
        AsGenerated,
        WriteOut,
        BeginAt(Option<f64>),
        Phrase(usize),
        Mode(u32, u8),
        Custom(u16),
        Load(usize),
        BringBack(usize),
        Store(usize, usize),
        CallUp(usize),
        Empty(usize),
        Undo,
        Redo,
    }

    fn any_deed() -> impl Strategy<Value = Deed> {
        let stage = || 0..9usize;
        let stood = WrittenStage {
            way: Way {
                motion: Motion::BuildUp,
                over: 2,
            },
            dwell: Dwell::UntilCued,
            ahead: [1.5; MAX_COPIES],
            grown: Some(2),
            turn: None,
        };
        let edit = prop_oneof![
            (stage(), 0..70u32).prop_map(|(stage, cycles)| Edit::Dwell {
                stage,
                dwell: Dwell::Cycles(cycles)
            }),
            (stage(), 0..MAX_COPIES, -9.0..9.0f64).prop_map(|(stage, copy, steps)| Edit::Ahead {
                stage,
                copy: CopyNumber::ALL[copy],
                steps
            }),
            stage().prop_map(|stage| Edit::LeaveOut { stage }),
            (stage(), 0..5usize).prop_map(|(stage, times)| Edit::Repeat { stage, times }),
            (stage(), stage()).prop_map(|(from, to)| Edit::Move { from, to }),
            stage().prop_map(move |at| Edit::PutIn { at, stage: stood }),
            Just(Edit::Afterwards(Afterwards::Silence)),
        ];
        prop_oneof![
            6 => edit.prop_map(Deed::Route),
            1 => Just(Deed::AsGenerated),
            1 => Just(Deed::WriteOut),
            1 => proptest::option::of(-8.0..900.0f64).prop_map(Deed::BeginAt),
            1 => (0..4usize).prop_map(Deed::Phrase),
            1 => (1..20u32, 0..12u8).prop_map(|(stage, tonic)| Deed::Mode(stage, tonic)),
            1 => (1..0x1000u16).prop_map(Deed::Custom),
            1 => (0..4usize).prop_map(Deed::Load),
            1 => (0..8usize).prop_map(Deed::BringBack),
            1 => (0..PLACES, 0..4usize).prop_map(|(place, name)| Deed::Store(place, name)),
            2 => (0..PLACES).prop_map(Deed::CallUp),
            1 => (0..PLACES).prop_map(Deed::Empty),
            2 => Just(Deed::Undo),
            1 => Just(Deed::Redo),
        ]
    }

    fn written_out(kept: &Kept) -> Route {
        if kept.route.is_written() {
            return Route::clone(&kept.route);
        }
        let phrase = kept.taken.phrase.clone();
        Process::new(phrase, Settings::default(), 0.0)
            .voices()
            .as_route()
    }

    fn done(deed: &Deed, kept: &mut Kept, parameters: &Parameters) {
        match deed {
            Deed::Route(edit) => {
                if let Ok(route) = written_out(kept).edited(edit) {
                    kept.route = Arc::new(route);
                }
            }
            Deed::AsGenerated => kept.route = Arc::default(),
            Deed::WriteOut => kept.route = Arc::new(written_out(kept)),
            Deed::BeginAt(at) => kept.begins_at = *at,
            Deed::Phrase(which) => {
                kept.taken.phrase = phrase(["D4", "D4 . E4", "A4 C5", "D4 . F4 G4 . A4"][*which]);
            }
            Deed::Mode(stage, tonic) => {
                kept.modulations = Modulations::new([Modulation {
                    place: Place::Stage(*stage),
                    tonic: *tonic,
                    mode: ModeName::Lydian,
                    over: 4,
                }]);
            }
            Deed::Custom(bits) => kept.custom = PitchSet::from_bits(*bits),
            Deed::Load(which) => {
                let loaded = phrase(["D4", "D4 . E4", "A4 C5", "D4 . F4 G4 . A4"][*which]);
                kept.load(loaded, None, 1000 + *which as u64);
            }
            Deed::BringBack(which) => kept.bring_back(*which),
            Deed::Store(place, name) => {
                let sketch = Sketch::of(kept, parameters, format!("idea {name}"));
                kept.sketches.put(*place, Some(Arc::new(sketch)));
            }
            Deed::CallUp(place) => {
                if let Some(sketch) = kept.sketches.get(*place).cloned() {
                    sketch.take_place(kept);
                }
            }
            Deed::Empty(place) => kept.sketches.put(*place, None),
            Deed::Undo | Deed::Redo => (),
        }
    }

    proptest! {
        /// Whatever was done, taken back and done again in between: taking all back leaves the
        /// saved state as it was, byte for byte, and taking it all again what it had become.
        #[test]
        fn taking_everything_back_gives_the_identical_state(
            deeds in proptest::collection::vec(any_deed(), 1..60),
        ) {
            let (parameters, _audio) = Parameters::new();
            let mut desk = Desk::new();
            let first = desk.kept.to_json();
            for deed in &deeds {
                match deed {
                    Deed::Undo => drop(desk.undo()),
                    Deed::Redo => drop(desk.redo()),
                    deed => desk.step("deed", |kept| done(deed, kept, &parameters)),
                }
            }
            let last = desk.kept.to_json();
            let ahead = desk.history.future().count();
            while desk.undo().is_some() {}
            prop_assert_eq!(desk.kept.to_json(), first);
            while desk.history.future().count() > ahead {
                desk.redo();
            }
            prop_assert_eq!(desk.kept.to_json(), last);
        }
    }
}
