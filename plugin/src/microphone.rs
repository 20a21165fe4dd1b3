//! What is said into the audio input: the audio thread copies it, a thread of its own listens to it,
//! the window shows it, and Hold makes the phrase of it.
//!
//! While *Listen to* is at *Voice* the audio thread writes what comes in onto a [`Tape`], and how
//! loud it is ([`Level`]). The [`Listener`] follows the tape: wherever a pause has ended something
//! (`pauses`), it listens to the last 20 s as it would to a file, and leaves the sentences at the
//! [`Booth`], where the window finds them. When Hold is switched on, [`Microphone::ask`] says up to
//! which frame. The listener makes the phrase, hands it over as everything written is
//! ([`crate::handover`]), and answers; Hold waits for that, and nobody waits on the audio thread.

#[allow(clippy::disallowed_types, reason = "never on the audio thread")]
mod booth;
mod level;
#[allow(clippy::disallowed_methods, reason = "never on the audio thread")]
mod listener;
mod pauses;
mod tape;

pub use booth::{Booth, Live, Manner, Said};
pub use level::{FAINTEST, Level, Reading};
pub use listener::Listener;
pub use tape::{STAYS, Tape};

use crossbeam::queue::ArrayQueue;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};

/// What both ends know. Nobody waits here.
#[derive(Debug)]
struct Shared {
    /// Whether what comes in is a voice.
    listens: AtomicBool,
    /// Whether somebody listens to it.
    attended: AtomicBool,
    /// Frames a second.
    rate: AtomicU32,
    level: Level,
    /// On its way to the audio thread.
    tape: ArrayQueue<Arc<Tape>>,
    /// On its way to the listener.
    asked: ArrayQueue<Asked>,
    /// The number of what Hold waits for; 0 if it waits for nothing.
    awaited: AtomicU32,
    /// The number of what was answered last, and whether something was found then.
    answered: AtomicU32,
    found: AtomicBool,
}

/// Hold was switched on.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Asked {
    number: u32,
    /// Up to that frame of the tape it counts what was said.
    to: u64,
    /// The song's tempo, in beats a minute.
    tempo: f64,
}

/// The audio thread's end.
#[derive(Debug)]
pub struct Microphone {
    shared: Arc<Shared>,
    tape: Option<Arc<Tape>>,
    rate: u32,
    listens: bool,
    asked: u32,
    /// As of the last [`Self::poll`].
    answered: u32,
    found: bool,
}

/// The two ends. Make one pair for each plug-in instance.
pub fn line() -> (Booth, Microphone) {
    let shared = Arc::new(Shared {
        listens: AtomicBool::new(false),
        attended: AtomicBool::new(false),
        rate: AtomicU32::new(0),
        level: Level::default(),
        tape: ArrayQueue::new(1),
        asked: ArrayQueue::new(4),
        awaited: AtomicU32::new(0),
        answered: AtomicU32::new(0),
        found: AtomicBool::new(false),
    });
    let microphone = Microphone {
        shared: shared.clone(),
        tape: None,
        rate: 0,
        listens: false,
        asked: 0,
        answered: 0,
        found: false,
    };
    (Booth::new(shared), microphone)
}

impl Microphone {
    /// Frames come at `rate` hertz from now on.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn prepare(&mut self, rate: f32) {
        self.rate = rate as u32;
        self.shared.rate.store(self.rate, Ordering::Relaxed);
    }

    /// Whether what comes in is a voice, in the block that begins.
    ///
    /// # Real-time
    /// Allocates never, blocks never; the tape that was there is kept by the booth while it is here.
    pub fn listen(&mut self, listens: bool) {
        if self.listens != listens {
            self.listens = listens;
            self.shared.listens.store(listens, Ordering::Relaxed);
            self.shared.level.rest();
        }
        if let Some(tape) = self.shared.tape.pop() {
            self.tape = Some(tape);
        }
    }

    /// Whether what comes in is listened to as a voice.
    pub fn listens(&self) -> bool {
        self.listens
    }

    /// Goes on with these frames, if it is listened to them.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn hear(&mut self, left: &[f32], right: &[f32]) {
        if !self.listens {
            return;
        }
        self.shared.level.hear(left, right, self.rate as f32);
        if let Some(tape) = self.tape.as_ref().filter(|tape| tape.rate() == self.rate) {
            tape.write(left, right);
        }
    }

    /// Takes note of what was answered. To be called before it is looked what is handed over: with an
    /// answer, that is there.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn poll(&mut self) {
        self.answered = self.shared.answered.load(Ordering::Acquire);
        self.found = self.shared.found.load(Ordering::Relaxed);
    }

    /// Hold is switched on: what was said until now is to become the phrase. The number of the
    /// question; none if there is nobody to answer it.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn ask(&mut self, tempo: f64) -> Option<u32> {
        if !self.shared.attended.load(Ordering::Relaxed) {
            return None;
        }
        self.asked = self.asked.wrapping_add(1).max(1);
        let asked = Asked {
            number: self.asked,
            to: self.tape.as_ref().map_or(0, |tape| tape.written()),
            tempo,
        };
        self.shared.awaited.store(self.asked, Ordering::Relaxed);
        self.shared.asked.force_push(asked);
        Some(self.asked)
    }

    /// Nothing is waited for any more.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn give_up(&mut self) {
        self.shared.awaited.store(0, Ordering::Relaxed);
    }

    /// What was answered to that question, as of the last [`Self::poll`]: whether something was said.
    /// None as long as it is being worked out.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn answer(&self, number: u32) -> Option<bool> {
        let gone = !self.shared.attended.load(Ordering::Relaxed);
        if self.answered == number {
            Some(self.found)
        } else {
            gone.then_some(false)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use nice_assert_no_alloc::assert_no_alloc;

    static SECOND: [f32; 8_000] = [0.25; 8_000];

    #[test]
    fn only_while_it_listens_something_is_kept_and_at_another_rate_on_another_tape() {
        let (booth, mut microphone) = line();
        microphone.prepare(8_000.0);
        let tape = booth.lay_tape();
        assert_no_alloc(|| {
            microphone.listen(false);
            microphone.hear(&SECOND, &SECOND);
        });
        assert_eq!(tape.written(), 0);
        assert_no_alloc(|| {
            microphone.listen(true);
            microphone.hear(&SECOND, &SECOND);
        });
        assert_eq!(tape.written(), 8_000);
        assert!(Arc::ptr_eq(&tape, &booth.lay_tape()), "it is there already");
        microphone.prepare(16_000.0);
        assert_no_alloc(|| microphone.hear(&SECOND, &SECOND));
        assert_eq!(tape.written(), 8_000);
        let other = booth.lay_tape();
        assert_no_alloc(|| {
            microphone.listen(true);
            microphone.hear(&SECOND, &SECOND);
        });
        assert_eq!((other.rate(), other.written()), (16_000, 8_000));
    }

    #[test]
    fn a_tape_is_never_let_go_of_by_the_audio_thread_last() {
        let (booth, mut microphone) = line();
        microphone.prepare(8_000.0);
        let old = Arc::downgrade(&booth.lay_tape());
        microphone.listen(true);
        microphone.prepare(16_000.0);
        let _ = booth.lay_tape();
        assert_no_alloc(|| microphone.listen(true));
        assert!(old.upgrade().is_some());
        microphone.prepare(8_000.0);
        let _ = booth.lay_tape();
        assert!(
            old.upgrade().is_none(),
            "the booth lets go of it in the end"
        );
    }

    #[test]
    fn with_nobody_to_answer_hold_waits_for_nothing() {
        let (_booth, mut microphone) = line();
        microphone.prepare(8_000.0);
        assert_eq!(microphone.ask(120.0), None);
        microphone.shared.attended.store(true, Ordering::Relaxed);
        let asked = microphone.ask(120.0).unwrap();
        microphone.poll();
        assert_eq!(microphone.answer(asked), None);
        microphone.shared.attended.store(false, Ordering::Relaxed);
        assert_eq!(
            microphone.answer(asked),
            Some(false),
            "whoever listened is gone"
        );
    }
}
