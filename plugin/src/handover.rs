//! Handing the phrase over between the audio thread and all the others.
//!
//! Two letterboxes, one each way, so nobody ever waits.
//!
//! Both sides may take or change a phrase at the same moment. The main side has the last word: it
//! numbers its orders, the audio side says which order its report builds on, and a report that
//! builds on an older one is dropped, since the newer order is about to replace it anyway.

use crate::letterbox::{Receiver, Sender, letterbox};
use crate::state::{Kept, Notice, Taken};
use crossbeam::atomic::AtomicCell;
use procession_core::mode::PitchSet;
use procession_core::settings::Modulations;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};

/// The two ends of what is kept beside the parameters. Make one pair for each plug-in instance.
pub fn exchange(first: Kept) -> (MainSide, AudioSide) {
    let blank = || first.taken.clone();
    let (orders_out, orders_in) = letterbox(|| Order {
        taken: blank(),
        number: 0,
        loads: 0,
    });
    let (reports_out, reports_in) = letterbox(|| Report {
        taken: blank(),
        answers: 0,
    });
    let (plans_out, plans_in) = letterbox(Modulations::default);
    let main = MainSide {
        seed: AtomicU64::new(first.seed),
        custom: AtomicCell::new(first.custom),
        desk: Mutex::new(Desk {
            kept: first,
            number: 0,
            loads: 0,
            orders: orders_out,
            plans: plans_out,
            reports: reports_in,
            notice: None,
        }),
    };
    let audio = AudioSide {
        modulations: Modulations::default(),
        plans: plans_in,
        orders: orders_in,
        reports: reports_out,
        answers: 0,
        loads: 0,
    };
    (main, audio)
}

/// From the main side: play this from now on.
struct Order {
    taken: Taken,
    number: u64,
    /// How many states had been loaded when this was sent.
    loads: u64,
}

/// From the audio side: this is what is playing now.
struct Report {
    taken: Taken,
    /// The last order that had arrived before.
    answers: u64,
}

/// Why the audio side is handed something.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cause {
    /// A saved state was loaded. All that was remembered about parameters is void: a `hold` that
    /// is on now was on when the state was saved, so it takes no phrase.
    Loaded,
    /// The composer edited or imported the phrase.
    Edited,
}

/// The audio thread's end. It belongs to the plug-in object.
pub struct AudioSide {
    /// The modulation plan that came last.
    modulations: Modulations,
    plans: Receiver<Modulations>,
    orders: Receiver<Order>,
    reports: Sender<Report>,
    answers: u64,
    loads: u64,
}

impl AudioSide {
    /// What has come from the other threads since the last call, if anything; only the latest.
    ///
    /// Call it before looking at `hold`: see [`Cause::Loaded`].
    ///
    /// # Real-time
    /// Allocates never, blocks never: one atomic swap.
    pub fn poll_incoming(&mut self) -> Option<(Cause, &Taken)> {
        let order = self.orders.receive()?;
        let cause = if order.loads == self.loads {
            Cause::Edited
        } else {
            Cause::Loaded
        };
        self.answers = order.number;
        self.loads = order.loads;
        Some((cause, &order.taken))
    }

    /// The modulation plan in force: a setting that is too large to be read like a parameter.
    ///
    /// # Real-time
    /// Allocates never, blocks never: one atomic swap.
    pub fn modulations(&mut self) -> Modulations {
        if let Some(plan) = self.plans.receive() {
            self.modulations = *plan;
        }
        self.modulations
    }

    /// Tells the other threads that a phrase was taken or the origin moved.
    ///
    /// # Real-time
    /// Allocates never, blocks never: a copy of the phrase and one atomic swap.
    pub fn publish(&mut self, taken: &Taken) {
        let answers = self.answers;
        self.reports.send(|report| {
            report.taken.clone_from(taken);
            report.answers = answers;
        });
    }
}

/// The end of the window, the host's main thread and whoever else is not the audio thread.
///
/// It locks and allocates; the audio side never waits for it.
pub struct MainSide {
    desk: Mutex<Desk>,
    // These two are settings that happen not to be parameters, so the audio side reads them like
    // parameters instead of having them sent.
    seed: AtomicU64,
    custom: AtomicCell<PitchSet>,
}

struct Desk {
    kept: Kept,
    number: u64,
    loads: u64,
    orders: Sender<Order>,
    plans: Sender<Modulations>,
    reports: Receiver<Report>,
    notice: Option<Notice>,
}

impl MainSide {
    /// What is kept now, with the latest from the audio thread.
    pub fn current(&self) -> Kept {
        self.up_to_date().kept.clone()
    }

    /// Changes what is kept. A change of the phrase or its anchor goes to the audio thread.
    pub fn edit(&self, change: impl FnOnce(&mut Kept)) {
        let mut desk = self.up_to_date();
        let before = desk.kept.taken.clone();
        change(&mut desk.kept);
        self.share_settings(&mut desk);
        if desk.kept.taken != before {
            desk.send();
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
        let mut desk = self.up_to_date();
        desk.notice = restore(&mut desk.kept);
        self.share_settings(&mut desk);
        desk.loads += 1;
        desk.send();
    }

    /// What could not be loaded and why, until the next load; for the status line.
    pub fn notice(&self) -> Option<Notice> {
        self.up_to_date().notice.clone()
    }

    /// The seed of scattered growth.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn seed(&self) -> u64 {
        self.seed.load(Ordering::Relaxed)
    }

    /// The custom mode, as semitones above its tonic.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn custom(&self) -> PitchSet {
        const { assert!(AtomicCell::<PitchSet>::is_lock_free()) };
        self.custom.load()
    }

    fn share_settings(&self, desk: &mut Desk) {
        self.seed.store(desk.kept.seed, Ordering::Relaxed);
        self.custom.store(desk.kept.custom);
        let modulations = desk.kept.modulations;
        desk.plans.send(|plan| *plan = modulations);
    }

    fn up_to_date(&self) -> MutexGuard<'_, Desk> {
        // A thread that panicked here left a whole `Kept` behind: fields are only ever replaced.
        let mut desk = self.desk.lock().unwrap_or_else(PoisonError::into_inner);
        desk.hear_audio();
        desk
    }
}

impl Desk {
    fn hear_audio(&mut self) {
        if let Some(report) = self.reports.receive()
            && report.answers == self.number
        {
            self.kept.taken.clone_from(&report.taken);
        }
    }

    fn send(&mut self) {
        self.number += 1;
        let (taken, number, loads) = (&self.kept.taken, self.number, self.loads);
        self.orders.send(|order| {
            order.taken.clone_from(taken);
            order.number = number;
            order.loads = loads;
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use nice_assert_no_alloc::assert_no_alloc;
    use procession_core::engine::Anchor;
    use procession_core::phrase::{MAX_NOTES, Phrase};

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
    fn a_new_seed_or_mode_does_not_send_the_phrase_again() {
        let (main, mut audio) = exchange(Kept::default());
        main.edit(|kept| kept.seed = 9);
        assert_eq!(main.seed(), 9);
        assert!(audio.poll_incoming().is_none());
    }

    #[test]
    fn a_modulation_plan_arrives_without_the_phrase_being_sent_again() {
        use procession_core::mode::ModeName;
        use procession_core::settings::{Modulation, Place};
        let (main, mut audio) = exchange(Kept::default());
        let plan = Modulations::new([Modulation {
            place: Place::Stage(3),
            tonic: 2,
            mode: ModeName::Lydian,
            over: 4,
        }]);
        main.edit(|kept| kept.modulations = plan);
        assert_eq!(assert_no_alloc(|| audio.modulations()), plan);
        assert_eq!(audio.modulations(), plan, "it stays in force");
        assert!(audio.poll_incoming().is_none());
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
