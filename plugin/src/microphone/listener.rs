//! The listener: hears, on a thread of its own, what sentences there are in what comes in, and makes
//! the phrase of one when Hold asks for it.

use super::booth::{Booth, Live, Said};
use super::pauses::Pauses;
use super::{Asked, Tape};
use crate::bell::Bell;
use crate::files::{Spoken, sentence};
use crate::params::Parameters;
use crate::state::{Voice, now};
use procession_core::process::Process;
use procession_core::reciter::LONGEST;
use procession_core::speech::{Candidate, Listened, NoVoice, Placing};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::{self, JoinHandle};
use std::time::Duration;

/// Between two looks at what came in.
const LOOKS: Duration = Duration::from_millis(20);

/// Between two looks at whether anything is to be listened to.
const IDLE: Duration = Duration::from_millis(250);

/// The tempo of a song that has not told any, in beats a minute.
const USUAL_TEMPO: f64 = 120.0;

/// Lasts as long as somebody listens. Dropped, it stops and is waited for.
#[derive(Debug)]
pub struct Listener {
    stop: Arc<AtomicBool>,
    hand: Option<JoinHandle<()>>,
}

impl Listener {
    /// Begins to listen for the instance with these parameters.
    ///
    /// # Errors
    /// The system lends no thread; what to do.
    pub fn begin(parameters: Arc<Parameters>, bell: Bell) -> Result<Self, String> {
        let booth = parameters.kept.booth();
        let stop = Arc::new(AtomicBool::new(false));
        let asked = stop.clone();
        let attendance = Attendance(booth.clone());
        let hand = thread::Builder::new()
            .name("procession listening".to_owned())
            .spawn(move || {
                let _attendance = attendance;
                let mut ear = Ear::new(booth, parameters, bell);
                while !asked.load(Ordering::Relaxed) {
                    thread::park_timeout(ear.attend());
                }
            })
            .map_err(|error| {
                format!(
                    "The system lends no thread to listen to the voice on ({error}): close something \
                     and load Procession again."
                )
            })?;
        Ok(Self {
            stop,
            hand: Some(hand),
        })
    }
}

impl Drop for Listener {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        if let Some(hand) = self.hand.take() {
            hand.thread().unpark();
            // Whoever panicked has left: that was told.
            let _ = hand.join();
        }
    }
}

/// Somebody listens, for as long as this lives.
struct Attendance(Arc<Booth>);

impl Drop for Attendance {
    fn drop(&mut self) {
        self.0.shared.attended.store(false, Ordering::Relaxed);
    }
}

/// What the listener knows.
struct Ear {
    booth: Arc<Booth>,
    parameters: Arc<Parameters>,
    bell: Bell,
    tape: Option<Arc<Tape>>,
    pauses: Pauses,
    /// Up to that frame it was looked for pauses.
    come_to: u64,
    /// Up to that frame what was said has become a phrase.
    taken: u64,
}

/// A sentence that is to become the phrase.
type Found = (Said, usize);

impl Ear {
    fn new(booth: Arc<Booth>, parameters: Arc<Parameters>, bell: Bell) -> Self {
        booth.shared.attended.store(true, Ordering::Relaxed);
        Self {
            booth,
            parameters,
            bell,
            tape: None,
            pauses: Pauses::at_rate(1),
            come_to: 0,
            taken: 0,
        }
    }

    /// Does what there is to do. When it is to be looked again.
    fn attend(&mut self) -> Duration {
        if !self.booth.listens() {
            return IDLE;
        }
        let tape = self.tape();
        let mut asked = None;
        while let Some(next) = self.booth.shared.asked.pop() {
            asked = Some(next);
        }
        if let Some(asked) = asked {
            self.answer(&tape, &asked);
        }
        let written = tape.written();
        let came = tape.read(self.come_to, written);
        self.pauses.hear(&came.mean);
        self.come_to = written;
        if self.pauses.are_over() {
            self.pauses.listened();
            self.listen(&tape, written);
        }
        LOOKS
    }

    /// The one that is written.
    fn tape(&mut self) -> Arc<Tape> {
        let tape = self.booth.lay_tape();
        let same = |known: &Arc<Tape>| Arc::ptr_eq(known, &tape);
        if !self.tape.as_ref().is_some_and(same) {
            (self.come_to, self.taken) = (0, 0);
            self.pauses = Pauses::at_rate(tape.rate());
            self.tape = Some(tape.clone());
            self.booth.tell(|live| *live = Live::default());
        }
        tape
    }

    /// What is said in the last 20 s before that frame, leaving out what was taken before.
    fn hear(&self, tape: &Tape, to: u64) -> Result<Said, NoVoice> {
        let back = (LONGEST * f64::from(tape.rate())) as u64;
        let stretch = tape.read(self.taken.max(to.saturating_sub(back)), to);
        let since = stretch.since;
        let recording = stretch
            .recording(tape.rate())
            .map_err(|_| NoVoice::Silence)?;
        let listened = Listened::to(&recording)?;
        let spoken = Spoken {
            recording: Arc::new(recording),
            listened: Arc::new(listened),
        };
        Ok(Said { spoken, since })
    }

    /// Shows what sentences there are.
    fn listen(&self, tape: &Tape, to: u64) {
        match self.hear(tape, to) {
            Ok(said) => self.booth.show(said),
            Err(why) => self.booth.tell(|live| live.refused = Some(sentence(why))),
        }
        self.bell.ring();
    }

    /// Hold was switched on: makes the phrase, and says so.
    fn answer(&mut self, tape: &Tape, asked: &Asked) {
        self.booth.tell(|live| live.missed = None);
        let found = self.find(tape, asked.to);
        let made = found.and_then(|found| {
            self.make(&found, asked)?;
            Ok(found)
        });
        let is_found = match made {
            Ok((said, place)) => {
                self.taken = self.taken.max(said.frames(place).end);
                self.booth.tell(|live| {
                    live.chosen = None;
                    live.said = Some(said);
                });
                true
            }
            Err(why) => {
                self.booth.tell(|live| live.missed = Some(why));
                false
            }
        };
        let shared = &self.booth.shared;
        shared.found.store(is_found, Ordering::Relaxed);
        shared.answered.store(asked.number, Ordering::Release);
        let (number, relaxed) = (asked.number, Ordering::Relaxed);
        let _ = shared.awaited.compare_exchange(number, 0, relaxed, relaxed);
        self.bell.ring();
    }

    /// The sentence that was chosen, or else the latest; or why there is none.
    fn find(&self, tape: &Tape, to: u64) -> Result<Found, String> {
        let live = self.booth.live();
        if let Some(chosen) = live.chosen {
            return Ok(chosen);
        }
        match self.hear(tape, to) {
            Ok(said) => {
                let latest = said.spoken.listened.latest();
                Ok((said, latest))
            }
            Err(why) => {
                // Longer ago, and nothing but silence since.
                let before = live.said.map(|said| {
                    let latest = said.spoken.listened.latest();
                    (said, latest)
                });
                before
                    .filter(|(said, latest)| said.frames(*latest).start >= self.taken)
                    .ok_or_else(|| self.nothing_said(tape, why))
            }
        }
    }

    fn nothing_said(&self, tape: &Tape, why: NoVoice) -> String {
        let why = match why {
            _ if tape.written() == 0 => {
                "No audio comes in: send a voice to Procession's audio input, or set Listen to to \
                 Notes."
                    .to_owned()
            }
            NoVoice::Silence if self.taken > 0 => {
                "Nothing was said since the sentence that was taken last: switch Hold off, say one, \
                 and switch it on again."
                    .to_owned()
            }
            why => sentence(format!("nothing was said before Hold, {why}")),
        };
        if self.parameters.kept.current().taken.phrase.is_empty() {
            why
        } else {
            format!("{why} The phrase that was there plays.")
        }
    }

    /// Makes the phrase, and hands it over.
    fn make(&self, (said, place): &Found, asked: &Asked) -> Result<(), String> {
        let candidate = said
            .candidate(*place)
            .ok_or("the sentence is gone: say it again")
            .map_err(sentence)?;
        let placed = self
            .placing(asked.tempo)
            .place(candidate)
            .map_err(sentence)?;
        let voice = voice(said, candidate)?;
        let is_awaited = self.booth.shared.awaited.load(Ordering::Relaxed) == asked.number;
        if is_awaited {
            let at = now();
            self.parameters
                .kept
                .edit(|kept| kept.hold_said(placed.phrase, voice, at));
        }
        Ok(())
    }

    fn placing(&self, tempo: f64) -> Placing {
        let kept = self.parameters.kept.current();
        let settings = self.parameters.settings(&kept);
        let manner = self.booth.manner();
        let mode = || {
            let phrase = kept.taken.phrase.clone();
            Process::new(phrase, settings, 0.0).first_mode()
        };
        Placing {
            step: settings.step(),
            snap: settings.capture.snap,
            steps: settings.capture.length,
            tempo: if tempo > 0.0 { tempo } else { USUAL_TEMPO },
            mode: manner.in_mode.then(mode),
            fit: manner.fit,
        }
    }
}

/// The recording that goes along.
fn voice(said: &Said, candidate: &Candidate) -> Result<Option<Voice>, String> {
    Voice::of(&said.spoken.recording, candidate.span())
}
