//! Handing what is kept over between the audio thread and all the others.
//!
//! Everything crosses once each way, whole, through two triple buffers, so nobody ever waits: what
//! is kept goes down to the audio thread, the phrase that it takes comes back.
//!
//! Both sides may take or change a phrase at the same moment. The main side has the last word: it
//! numbers its orders, the audio side says which order its report builds on, and a report that
//! builds on an older one is dropped, since the newer order is about to replace it anyway.

use crate::hearing::{self, Asked, Asking, Order as Heard};
use crate::microphone::{self, Booth, Microphone};
use crate::practice;
use crate::state::{How, Kept, MOST_TAKES, Notice, Taken, Voice, now};
use crossbeam::queue::ArrayQueue;
use procession_core::performed::{Performed, Recollection};
use procession_core::phrase::Phrase;
use procession_core::practice::{Judged, Practising};
use procession_core::reciter::Utterance;
use procession_core::route::Route;
use procession_core::snippet::Snippet;
use std::sync::{Arc, MutexGuard, PoisonError};
use triple_buffer::{Input, Output, triple_buffer};

/// The two ends of what is kept beside the parameters. Make one pair for each plug-in instance.
pub fn exchange(first: Kept) -> (MainSide, AudioSide) {
    let answer = Report {
        taken: first.taken.clone(),
        answers: 0,
    };
    let told = Told {
        performed: Recollection::default(),
        answers: 0,
    };
    let (told_out, told_in) = triple_buffer(&told);
    let (orders_out, orders_in) = triple_buffer(&Order {
        kept: first.clone(),
        phrases: 0,
        routes: 0,
        loads: 0,
        performances: 0,
        performed: Arc::default(),
    });
    let (reports_out, reports_in) = triple_buffer(&answer);
    let (asking, asked) = hearing::line();
    let (practice_asking, practice_asked) = practice::line();
    let (booth, microphone) = microphone::line();
    let held = Arc::new(ArrayQueue::new(MOST_TAKES));
    let main = MainSide(Lock::new(Latest {
        kept: first,
        phrases: 0,
        routes: 0,
        loads: 0,
        performances: 0,
        told: told_in,
        performed: Arc::default(),
        orders: orders_out,
        reports: reports_in,
        heard: Vec::new(),
        notice: None,
        asking,
        practice: practice_asking,
        booth: Arc::new(booth),
        held: held.clone(),
    }));
    let audio = AudioSide {
        orders: orders_in,
        looks: 0,
        reports: reports_out,
        phrases: 0,
        loads: 0,
        route: (0, 0),
        performances: 0,
        told: told_out,
        asked,
        practice: practice_asked,
        microphone,
        held,
    };
    (main, audio)
}

/// From the main side: this is kept from now on.
#[derive(Clone)]
struct Order {
    kept: Kept,
    /// How many phrases had been sent, this one counted.
    phrases: u64,
    /// How many routes, likewise.
    routes: u64,
    /// How many states had been loaded when this was sent.
    loads: u64,
    /// How often it was said what was performed, and what that was. Dropped on the main side alone.
    performances: u64,
    performed: Arc<Performed>,
}

/// From the audio side: this was held, at that time by the system's clock.
struct Held {
    phrase: Phrase,
    at: u64,
}

/// From the audio side: this was performed.
#[derive(Clone)]
struct Told {
    performed: Recollection,
    /// How often the main side had said otherwise before.
    answers: u64,
}

/// From the audio side: this is what is playing now.
#[derive(Clone)]
struct Report {
    taken: Taken,
    /// The last phrase that had arrived before.
    answers: u64,
}

/// Why the audio side is handed a phrase or a route.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cause {
    /// A saved state was loaded. All that was remembered about parameters is void: a `hold` that
    /// is on now was on when the state was saved, so it takes no phrase.
    Loaded,
    /// The composer edited it, or imported a phrase.
    Edited,
}

/// The audio thread's end. It belongs to the plug-in object.
pub struct AudioSide {
    orders: Output<Order>,
    /// How many orders were looked at.
    looks: u64,
    reports: Input<Report>,
    /// Of the last order that was looked at.
    phrases: u64,
    loads: u64,
    /// Loads and routes, of the last route that was looked at.
    route: (u64, u64),
    performances: u64,
    told: Input<Told>,
    asked: Asked,
    practice: practice::Asked,
    microphone: Microphone,
    held: Arc<ArrayQueue<Held>>,
}

impl AudioSide {
    /// Whether what is said into the audio input is listened to.
    pub fn listens(&self) -> bool {
        self.microphone.listens()
    }

    /// What is said into the audio input.
    pub fn microphone(&mut self) -> &mut Microphone {
        &mut self.microphone
    }

    /// What is to be practised.
    ///
    /// # Real-time
    /// Allocates never, blocks never: one atomic swap.
    pub fn poll_practising(&mut self) -> Practising {
        self.practice.poll()
    }

    /// Tells the other threads of a pass that was played.
    ///
    /// # Real-time
    /// Allocates never, blocks never: a copy and one atomic swap.
    pub fn publish_pass(&mut self, judged: &Judged) {
        self.practice.tell(judged);
    }

    /// The snippet that the window wants to be heard, if it does.
    ///
    /// # Real-time
    /// Allocates never, blocks never: one atomic swap.
    pub fn poll_snippet(&mut self) -> &Heard {
        self.asked.poll()
    }

    /// The same, as of the last [`Self::poll_snippet`].
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn snippet(&self) -> &Heard {
        self.asked.order()
    }

    /// The phrase that has come from the other threads since the last call, if one has; only the
    /// latest. Whatever else is kept is up to date from here on, see [`Self::kept`].
    ///
    /// Call it before looking at `hold`: see [`Cause::Loaded`].
    ///
    /// # Real-time
    /// Allocates never, blocks never: one atomic swap.
    pub fn poll_incoming(&mut self) -> Option<(Cause, &Taken)> {
        if !self.orders.update() {
            // What was looked at before was answered before.
            return None;
        }
        self.looks += 1;
        let order = self.orders.output_buffer();
        let cause = match (order.loads == self.loads, order.phrases == self.phrases) {
            (true, true) => return None,
            (true, false) => Cause::Edited,
            (false, _) => Cause::Loaded,
        };
        (self.phrases, self.loads) = (order.phrases, order.loads);
        Some((cause, &order.kept.taken))
    }

    /// The route that has come since the last call, if one has; only the latest, as of the last
    /// call of [`Self::poll_incoming`].
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn poll_route(&mut self) -> Option<(Cause, &Route)> {
        let order = self.orders.output_buffer();
        let (loads, routes) = std::mem::replace(&mut self.route, (order.loads, order.routes));
        let cause = match (order.loads == loads, order.routes == routes) {
            (true, true) => return None,
            (true, false) => Cause::Edited,
            (false, _) => Cause::Loaded,
        };
        Some((cause, &order.kept.route))
    }

    /// What was performed, if a project was opened that says so or it is to be forgotten; only the
    /// latest, as of the last call of [`Self::poll_incoming`]. Call it after the phrase and the route.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn poll_performed(&mut self) -> Option<&Performed> {
        let order = self.orders.output_buffer();
        let before = std::mem::replace(&mut self.performances, order.performances);
        (before != order.performances).then_some(&*order.performed)
    }

    /// Tells the other threads what was performed.
    ///
    /// # Real-time
    /// Allocates never, blocks never: a copy of the moments and one atomic swap.
    pub fn publish_performed(&mut self, performed: &Recollection) {
        let told = self.told.input_buffer_mut();
        told.performed.copy_from(performed);
        told.answers = self.performances;
        self.told.publish();
    }

    /// How often what is kept has become other than it was, as of the last call of
    /// [`Self::poll_incoming`].
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn looks(&self) -> u64 {
        self.looks
    }

    /// What is kept beside the parameters, as of the last call of [`Self::poll_incoming`]: the
    /// seed, the custom mode, the mode changes. Of its phrase the engine knows better.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn kept(&self) -> &Kept {
        &self.orders.output_buffer().kept
    }

    /// Hands on a phrase that was held, so that it stays among the takes whatever comes after, and
    /// whether or not anybody looks meanwhile: the last [`MOST_TAKES`] wait there. To be called
    /// before [`Self::publish`].
    ///
    /// # Real-time
    /// Allocates never, blocks never: a copy of the phrase, and the clock is read.
    pub fn hand_on(&mut self, phrase: &Phrase) {
        let phrase = phrase.clone();
        self.held.force_push(Held { phrase, at: now() });
    }

    /// Tells the other threads that a phrase was taken or the origin moved.
    ///
    /// # Real-time
    /// Allocates never, blocks never: a copy of the phrase and one atomic swap.
    pub fn publish(&mut self, taken: &Taken) {
        let report = self.reports.input_buffer_mut();
        report.taken.clone_from(taken);
        report.answers = self.phrases;
        self.reports.publish();
    }
}

/// The end of the window, the host's main thread and whoever else is not the audio thread.
///
/// It locks and allocates; the audio side never waits for it.
pub struct MainSide(Lock<Latest>);

#[allow(
    clippy::disallowed_types,
    reason = "the main side's alone; the audio side has no way to it"
)]
type Lock<T> = std::sync::Mutex<T>;

struct Latest {
    kept: Kept,
    phrases: u64,
    routes: u64,
    loads: u64,
    performances: u64,
    told: Output<Told>,
    performed: Arc<Performed>,
    orders: Input<Order>,
    reports: Output<Report>,
    /// Every recording that the audio side may still hold, so that it never is the last to.
    heard: Vec<Arc<Utterance>>,
    notice: Option<Notice>,
    asking: Asking,
    practice: practice::Asking,
    booth: Arc<Booth>,
    held: Arc<ArrayQueue<Held>>,
}

impl MainSide {
    /// Where it is found what is said into the audio input.
    pub fn booth(&self) -> Arc<Booth> {
        self.up_to_date().booth.clone()
    }

    /// Asks for this to be practised from now on.
    pub fn practise(&self, practising: Practising) {
        self.up_to_date().practice.ask(practising);
    }

    /// Asks for a snippet to be heard at once, in the place of any other; see [`Asking::play`].
    pub fn hear(&self, snippet: Snippet) -> u32 {
        self.up_to_date().asking.play(snippet)
    }

    /// Asks for no snippet to be heard any more.
    pub fn hush(&self) {
        self.up_to_date().asking.stop();
    }

    /// What is kept now, with the latest from the audio thread.
    pub fn current(&self) -> Kept {
        self.up_to_date().kept.clone()
    }

    /// How many states were loaded so far.
    pub fn loads(&self) -> u64 {
        self.up_to_date().loads
    }

    /// Changes what is kept. A change of the phrase, its anchor or the route is played; anything
    /// else holds from the next block on. With another phrase or route, what was performed is
    /// forgotten, unless that is changed, too.
    pub fn edit(&self, change: impl FnOnce(&mut Kept)) {
        let mut latest = self.up_to_date();
        let before = latest.kept.clone();
        change(&mut latest.kept);
        let is_other =
            latest.kept.taken.phrase != before.taken.phrase || latest.kept.route != before.route;
        if is_other && latest.kept.performed == before.performed {
            // It was performed of what was there before. Whoever brings that back, brings it too.
            latest.kept.performed = Arc::default();
        }
        if latest.kept != before {
            latest.phrases += u64::from(latest.kept.taken != before.taken);
            latest.routes += u64::from(latest.kept.route != before.route);
            if latest.kept.performed != before.performed {
                latest.tell_performed();
            }
            latest.send();
        }
    }

    /// Takes over a loaded state: `restore` makes it out of what was there, so that parts which
    /// cannot be read stay as they were. The audio thread learns of it as [`Cause::Loaded`], even
    /// if the phrase is the same.
    ///
    /// The framework sets the parameters first and calls this after, while audio goes on. So a
    /// block in between may see `hold` switched on by the load and take a phrase. No harm comes of
    /// it: that phrase answers an older order and is dropped, and the loaded one replaces it at the
    /// next block.
    ///
    /// It locks and allocates, so it must not run on the audio thread. The framework would do that
    /// if the window loaded states by itself (`GuiContext::set_state`): never use it.
    pub fn load(&self, restore: impl FnOnce(&mut Kept) -> Option<Notice>) {
        let mut latest = self.up_to_date();
        latest.notice = restore(&mut latest.kept);
        latest.phrases += 1;
        latest.loads += 1;
        latest.tell_performed();
        latest.send();
    }

    /// What could not be loaded and why, until the next load; for the status line.
    pub fn notice(&self) -> Option<Notice> {
        self.up_to_date().notice.clone()
    }

    fn up_to_date(&self) -> MutexGuard<'_, Latest> {
        // A thread that panicked here left a whole `Kept` behind: fields are only ever replaced.
        let mut latest = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        latest.hear_audio();
        latest
    }
}

impl Latest {
    /// The audio side is to be told what was performed.
    fn tell_performed(&mut self) {
        self.performed = Arc::from(self.kept.recollected());
        self.performances += 1;
    }

    fn hear_audio(&mut self) {
        for judged in self.practice.passes() {
            Arc::make_mut(&mut self.kept.practice).keep(&judged);
        }
        while let Some(Held { phrase, at }) = self.held.pop() {
            // What was written by hand gives way, and stays too.
            let before = self.kept.taken.phrase.clone();
            self.kept.takes.keep(&before, self.kept.voice.as_ref());
            self.kept.takes.add(&phrase, None, at, How::Held);
        }
        if self.told.update() {
            let told = self.told.output_buffer();
            if told.answers == self.performances {
                self.kept.performed = Arc::new(told.performed.clone());
            }
        }
        if !self.reports.update() {
            return;
        }
        let report = self.reports.output_buffer();
        if report.answers == self.phrases {
            self.kept.taken.clone_from(&report.taken);
        }
    }

    /// Keeps the recording that is about to be sent, and lets go of those that only this side has.
    fn keep_voice(&mut self) {
        let now = self.kept.voice.as_ref().map(Voice::utterance);
        let is_new = |now: &&Arc<Utterance>| !self.heard.iter().any(|kept| Arc::ptr_eq(kept, now));
        if let Some(new) = now.filter(is_new).cloned() {
            self.heard.push(new);
        }
        self.heard.retain(|kept| Arc::strong_count(kept) > 1);
    }

    fn send(&mut self) {
        self.keep_voice();
        let order = self.orders.input_buffer_mut();
        order.kept.clone_from(&self.kept);
        (order.phrases, order.loads) = (self.phrases, self.loads);
        order.routes = self.routes;
        order.performances = self.performances;
        order.performed.clone_from(&self.performed);
        self.orders.publish();
    }
}

#[cfg(test)]
#[allow(clippy::disallowed_methods, reason = "a test may wait")]
mod tests {
    use super::*;
    use nice_assert_no_alloc::assert_no_alloc;
    use procession_core::engine::Anchor;
    use procession_core::part::MAX_COPIES;
    use procession_core::phrase::{MAX_NOTES, Phrase};
    use procession_core::reciter::Reciter;
    use procession_core::route::{Afterwards, Dwell, MAX_STAGES, Way, WrittenStage};
    use procession_core::settings::Motion;

    /// A phrase of `notes` notes that all say so by their key: a torn one would give itself away.
    fn telling(notes: usize, at: f64) -> Taken {
        let name = ["C4 ", "D4 ", "E4 ", "G4 "][notes % 4];
        Taken {
            phrase: Phrase::from_text(&name.repeat(notes), 0.125).expect("these words are notes"),
            anchor: Anchor::Song(at),
        }
    }

    fn is_whole(taken: &Taken) -> bool {
        let notes = taken.phrase.notes();
        let of_one_kind = notes.windows(2).all(|pair| pair[0].key == pair[1].key);
        let same_anchor = taken.anchor == Anchor::Song(notes.len() as f64);
        of_one_kind && same_anchor && taken.phrase.length() == 0.125 * notes.len() as f64
    }

    /// The same crossing both ways: what the engine remembers is saved, what was saved it remembers.
    #[test]
    fn what_was_performed_is_kept_told_again_and_forgotten() {
        use procession_core::performed::{Happened, Moment, Shape};
        use procession_core::settings::Settings;
        let (main, mut audio) = exchange(Kept::default());
        let mut told = Recollection {
            first: Some(Shape::of(&Settings::default())),
            ..Recollection::default()
        };
        let what = Happened::Cue;
        told.moments.push(Moment { at: 9.5, what });
        assert_no_alloc(|| audio.publish_performed(&told));
        assert_eq!(*main.current().performed, told);
        let saved: serde_json::Value =
            serde_json::from_str(&main.current().to_json()).expect("it is JSON");
        main.load(|kept| {
            *kept = Kept::default();
            kept.restore(&saved)
        });
        audio.poll_incoming();
        let again = assert_no_alloc(|| audio.poll_performed().map(Performed::told));
        assert_eq!(again, Some(&told));
        assert_eq!(audio.poll_performed().map(Performed::told), None);
        main.edit(|kept| kept.performed = Arc::default());
        // What was still on its way when it was to be forgotten is no answer to that.
        audio.publish_performed(&told);
        assert!(main.current().performed.moments.is_empty());
        audio.poll_incoming();
        let again = audio.poll_performed().map(Performed::told);
        assert_eq!(again, Some(&Recollection::default()));
    }

    #[test]
    fn the_audio_side_is_never_the_last_to_hold_a_recording() {
        let (main, mut audio) = exchange(Kept::default());
        let voice = |level| {
            let said = Utterance::from_steps(vec![level; 9_000], 44_100, 16);
            Voice::new(said.expect("an utterance")).expect("it is written")
        };
        main.edit(|kept| kept.voice = Some(voice(100)));
        let mut reciter = Reciter::new(48_000.0);
        let mut take = |audio: &mut AudioSide| {
            assert_no_alloc(|| {
                audio.poll_incoming();
                reciter.take(audio.kept().voice.as_ref().map(Voice::utterance));
            });
        };
        take(&mut audio);
        let first = main
            .current()
            .voice
            .map(|voice| Arc::downgrade(voice.utterance()));
        let first = first.expect("there is one");
        for level in 0..5 {
            main.edit(|kept| kept.voice = Some(voice(level)));
        }
        // Nobody keeps it any more but the reciter, who is about to let go of it.
        assert!(first.upgrade().is_some());
        take(&mut audio);
        assert!(
            first.upgrade().is_some(),
            "it is for the main side to let go"
        );
        main.edit(|kept| kept.voice = None);
        // An order that was looked at lies there until another is written over it.
        for seed in 2..4 {
            main.edit(|kept| kept.seed = seed);
        }
        assert!(first.upgrade().is_none());
        take(&mut audio);
    }

    #[test]
    fn another_route_forgets_what_was_performed_and_whoever_brings_it_back_brings_both() {
        use procession_core::performed::{Happened, Moment, Shape};
        use procession_core::process::Process;
        use procession_core::settings::Settings;
        let (main, mut audio) = exchange(Kept::default());
        let mut told = Recollection {
            first: Some(Shape::of(&Settings::default())),
            ..Recollection::default()
        };
        let what = Happened::Cue;
        told.moments.push(Moment { at: 9.5, what });
        audio.publish_performed(&told);
        let phrase = Phrase::from_text("D4 E4", 0.25).expect("these words are notes");
        let route = Process::new(phrase, Settings::default(), 0.0);
        let route = route.voices().as_route();
        let before = main.current();
        main.edit(|kept| kept.route = Arc::new(route));
        assert!(main.current().performed.moments.is_empty());
        main.edit(|kept| {
            kept.route.clone_from(&before.route);
            kept.performed.clone_from(&before.performed);
        });
        assert_eq!(*main.current().performed, told);
        audio.poll_incoming();
        assert_eq!(audio.poll_performed().map(Performed::told), Some(&told));
    }

    #[test]
    fn an_edit_arrives_once_and_is_called_an_edit() {
        let (main, mut audio) = exchange(Kept::default());
        assert!(audio.poll_incoming().is_none());
        main.edit(|kept| kept.taken = telling(3, 0.0));
        let (cause, taken) = audio.poll_incoming().expect("something was sent");
        assert_eq!((cause, taken), (Cause::Edited, &telling(3, 0.0)));
        assert!(audio.poll_incoming().is_none());
    }

    #[test]
    fn a_load_is_called_a_load_even_if_an_edit_follows_before_anyone_looked() {
        let (main, mut audio) = exchange(Kept::default());
        main.load(|_| None);
        main.edit(|kept| kept.taken = telling(5, 0.0));
        let (cause, taken) = audio.poll_incoming().expect("something was sent");
        assert_eq!((cause, taken), (Cause::Loaded, &telling(5, 0.0)));
        main.edit(|kept| kept.taken = telling(6, 0.0));
        let cause = audio.poll_incoming().map(|(cause, _)| cause);
        assert_eq!(cause, Some(Cause::Edited));
    }

    #[test]
    fn a_seed_a_mode_and_its_changes_arrive_without_the_phrase_being_played_anew() {
        use procession_core::mode::{ModeName, PitchSet};
        use procession_core::settings::{Modulation, Modulations, Place};
        let (main, mut audio) = exchange(Kept::default());
        let plan = Modulations::new([Modulation {
            place: Place::Stage(3),
            tonic: 2,
            mode: ModeName::Lydian,
            over: 4,
        }]);
        let custom = PitchSet::of(&[0, 2, 3, 7]);
        main.edit(|kept| {
            kept.seed = 9;
            kept.custom = custom;
            kept.modulations = plan;
        });
        assert!(assert_no_alloc(|| audio.poll_incoming().is_none()));
        for _ in 0..2 {
            let kept = audio.kept();
            assert_eq!((kept.seed, kept.custom), (9, custom), "they stay in force");
            assert_eq!(kept.modulations, plan);
            assert!(audio.poll_incoming().is_none());
        }
    }

    #[test]
    fn a_route_arrives_once_whole_and_whether_it_was_written_or_loaded_is_told() {
        let route = |dwells: &[u32]| {
            let stages = dwells.iter().map(|cycles| stage(*cycles));
            Arc::new(Route::new(&stages.collect::<Vec<_>>(), Afterwards::Hold).expect("a route"))
        };
        let (main, mut audio) = exchange(Kept::default());
        let (long, short) = (route(&[7; MAX_STAGES]), route(&[3, 4]));
        main.edit(|kept| kept.route = long.clone());
        let arrived = assert_no_alloc(|| {
            assert!(audio.poll_incoming().is_none(), "the phrase is as it was");
            let (cause, arrived) = audio.poll_route().expect("something was sent");
            cause == Cause::Edited && *arrived == *long
        });
        assert!(arrived);
        assert!(audio.poll_route().is_none());
        // The seed is no route.
        main.edit(|kept| kept.seed = 9);
        audio.poll_incoming();
        assert!(audio.poll_route().is_none());
        // A project with the same one, and then another one, before anyone looked.
        main.load(|_| None);
        main.edit(|kept| kept.route = short.clone());
        audio.poll_incoming();
        assert_eq!(audio.poll_route(), Some((Cause::Loaded, &*short)));
        main.edit(|kept| kept.route = Arc::default());
        audio.poll_incoming();
        let generated = Route::generated();
        assert_eq!(audio.poll_route(), Some((Cause::Edited, &generated)));
    }

    fn stage(cycles: u32) -> WrittenStage {
        WrittenStage {
            way: Way {
                motion: Motion::Jump,
                over: 4,
            },
            dwell: Dwell::Cycles(cycles),
            ahead: [f64::from(cycles); MAX_COPIES],
            grown: None,
            turn: None,
        }
    }

    #[test]
    fn a_phrase_taken_while_a_new_seed_is_on_its_way_is_not_lost() {
        let (main, mut audio) = exchange(Kept::default());
        main.edit(|kept| kept.seed = 9);
        audio.publish(&telling(6, 2.0));
        assert_eq!(main.current().taken, telling(6, 2.0));
        assert_eq!(main.current().seed, 9);
    }

    #[test]
    fn a_captured_phrase_is_what_gets_saved() {
        let (main, mut audio) = exchange(Kept::default());
        audio.publish(&telling(2, 1.0));
        audio.publish(&telling(7, 2.0));
        assert_eq!(main.current().taken, telling(7, 2.0));
        assert!(audio.poll_incoming().is_none(), "nobody sends it back");
    }

    #[test]
    fn a_phrase_captured_before_a_load_arrived_does_not_replace_the_loaded_one() {
        let (main, mut audio) = exchange(Kept::default());
        main.load(|kept| {
            kept.taken = telling(4, 4.0);
            None
        });
        audio.publish(&telling(2, 2.0));
        assert_eq!(main.current().taken, telling(4, 4.0));
        let loaded = audio.poll_incoming().map(|(_, taken)| taken.clone());
        assert_eq!(loaded, Some(telling(4, 4.0)));
        audio.publish(&telling(3, 3.0));
        assert_eq!(main.current().taken, telling(3, 3.0));
    }

    #[test]
    fn whoever_holds_what_is_kept_the_audio_side_goes_on() {
        use std::time::Duration;
        const GENEROUS: Duration = Duration::from_secs(120);
        let (main, mut audio) = exchange(Kept::default());
        let (done, is_done) = std::sync::mpsc::channel();
        main.edit(|_| {
            std::thread::spawn(move || {
                for _ in 0..100 {
                    audio.poll_incoming();
                    audio.publish(&telling(4, 4.0));
                    assert_eq!(audio.kept().seed, 1);
                }
                done.send(()).expect("somebody waits");
            });
            // Still held.
            is_done
                .recv_timeout(GENEROUS)
                .expect("the audio side waits for nobody");
        });
        assert_eq!(main.current().taken, telling(4, 4.0));
    }

    #[test]
    fn under_two_threads_every_phrase_arrives_whole_and_the_last_one_arrives() {
        const ROUNDS: usize = 2000;
        let (main, mut audio) = exchange(Kept::default());
        let phrases: Vec<_> = (1..=MAX_NOTES)
            .step_by(37)
            .map(|n| telling(n, n as f64))
            .collect();
        let last = telling(11, 11.0);
        let audio_phrases = phrases.clone();
        let audio_last = last.clone();
        let audio_thread = std::thread::spawn(move || {
            let mut heard = 0;
            loop {
                // The audio side alone stands under the guard: it must not touch the allocator.
                let arrived_last = assert_no_alloc(|| {
                    audio.publish(&audio_phrases[heard % audio_phrases.len()]);
                    audio.poll_incoming().map(|(_, taken)| {
                        assert!(is_whole(taken));
                        *taken == audio_last
                    })
                });
                heard += usize::from(arrived_last.is_some());
                match arrived_last {
                    Some(true) => return (audio, heard),
                    _ => std::thread::yield_now(),
                }
            }
        });
        for round in 0..ROUNDS {
            main.edit(|kept| kept.taken = phrases[round % phrases.len()].clone());
            assert!(is_whole(&main.current().taken));
        }
        main.edit(|kept| kept.taken = last.clone());
        let (mut audio, heard) = audio_thread.join().expect("the audio side found all whole");
        assert!(heard > 0);
        assert_eq!(main.current().taken, last, "older reports are dropped");
        audio.publish(&phrases[0]);
        assert_eq!(main.current().taken, phrases[0]);
    }
}
