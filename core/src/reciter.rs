//! The voice goes along: the recording of which a phrase was made sounds with its notes, a syllable
//! with each, at its own pitch.
//!
//! Where a voice plays a note that was said ([`Note::said`](crate::note::Note::said)), the vowel of its
//! syllable begins on the note's own frame. What comes before the vowel is heard before: the
//! [`Process`] is asked ahead for it. How long the syllable lasts is the time that there is until the
//! next (`reciter/saying.rs` says how); so the voice stays with its notes at any tempo and in a drift. What is
//! not known ahead, because hold has only just been pressed or a copy has just been cued, begins with
//! the vowel or wherever it would have come by then.
//!
//! It ends as notes do: whenever all voices fall silent, it fades, within 5 ms.
//!
//! The [`Mallets`](crate::mallet::Mallets) carry it to the output, under their ceiling.

mod between;
mod lines;
mod saying;
mod utterance;

pub(crate) use lines::Lines;
pub use utterance::{LONGEST, Utterance};

use crate::engine::InBlock;
use crate::mallet::{Beside, LOWEST_LEVEL_DB, Level, ROOM, places};
use crate::note::Syllable;
use crate::part::{MAX_VOICES, Part};
use crate::player::pan_of;
use crate::process::{Process, VoiceNote};
use crate::settings::GoesWith;
use crate::speech::PAUSE;
use crate::time::{Beats, Block, HAIR, Span};
use arrayvec::ArrayVec;
use between::Between;
use saying::{Cue, Saying, Stretch};
use std::cmp::Reverse;
use std::sync::Arc;

/// What is heard before a vowel at most, in seconds: longer than that no consonant is. Own choice.
const LEAD: f64 = 0.15;

/// After a vowel has begun, nothing else does for so many seconds: it would not be told apart, and
/// the fade of what was there before is over.
const APART: f64 = 0.012;

/// How far ahead the next note is looked for, in seconds.
const AHEAD: f64 = 3.0;

/// Syllables that one voice is saying at most: one that is heard, others that fade out. One too many
/// is left out.
const AT_ONCE: usize = 4;

/// How far a vowel may be off its note's frame before it is put there, in seconds: more than it is
/// put there for, less than it would be heard for.
const OFF: f64 = 0.003;

/// The most syllables that begin in one block; what is more is left out.
const MOST: usize = 128;

/// What the controls say of the voice that goes along.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Along {
    /// dB, [`LOWEST_LEVEL_DB`] ..= 0, the recording itself being 0; none is off.
    pub level: Option<f32>,
    /// Which voices it goes with.
    pub with: GoesWith,
}

/// Says syllables with notes.
///
/// # Real-time
/// [`Self::new`] allocates; nothing else does, nor blocks. The work is bounded: four syllables a
/// voice, and one search among some hundred places in ten milliseconds of each. An [`Utterance`] is
/// let go of when another comes: whoever hands them over is to keep each until nobody else has it.
#[derive(Debug)]
pub struct Reciter {
    sample_rate: f64,
    between: Between,
    mouths: [Mouth; MAX_VOICES],
    utterance: Option<Arc<Utterance>>,
    /// What begins in the block, the latest first.
    coming: ArrayVec<Coming, MOST>,
    /// The frame of the block on which everything ends, if it does.
    ends: Option<u32>,
    /// Frames of the block that are done.
    frame: u32,
    /// How often the voices had fallen silent.
    silences: u32,
    /// What all that is said is multiplied by, for files.
    gain: f64,
}

/// The voice of one part.
#[derive(Debug)]
struct Mouth {
    /// The latest last.
    sayings: ArrayVec<Saying, AT_ONCE>,
    sides: [Level; 2],
    /// Song position of the latest note of which it has begun to say the syllable.
    begun: Beats,
}

/// A syllable that is about to begin.
#[derive(Clone, Copy, Debug)]
struct Coming {
    frame: u32,
    part: Part,
    cue: Cue,
    stretch: Stretch,
    /// Where in the utterance it begins, in samples.
    place: f64,
    /// Frames until it should be over.
    time: f64,
}

/// A block, as it is asked.
#[derive(Clone, Copy)]
struct Moment<'a> {
    process: &'a Process,
    /// What is said, if that is known beforehand; song positions are seconds then.
    lines: Option<&'a Lines>,
    block: &'a Block,
    /// Up to where everything was played before.
    from: Beats,
    /// From where on nothing is played any more.
    ends: Beats,
    /// Frames a second.
    rate: f64,
}

impl<'a> Moment<'a> {
    /// Beats a second.
    fn pace(&self) -> f64 {
        self.rate * self.block.beats_per_frame
    }

    /// The frame that something begins on, which may be one of a later block. What is late begins
    /// with the block.
    fn frame_of(&self, at: Beats) -> f64 {
        self.block.frames_until(at).max(0.0)
    }

    /// The notes of a part that were said, from one song position up to another.
    fn said(
        &self,
        part: Part,
        from: Beats,
        to: Beats,
    ) -> impl Iterator<Item = (Beats, Syllable)> + use<'a> {
        let (process, to) = (self.process, to.min(self.ends));
        let said =
            move |note: VoiceNote| Some((note.on, process.phrase().notes()[note.index].said?));
        let known = self.lines.map(|lines| lines.between(part, from, to));
        let asked = known.is_none().then(|| {
            let notes = process.notes(part, Span::new(from, to));
            notes.filter_map(said)
        });
        let known = known.into_iter().flatten();
        known.chain(asked.into_iter().flatten())
    }

    /// When the syllable of the note at `on` is over, and up to which second of the utterance it goes
    /// then: to where the next begins, if that follows; otherwise to its own end, in its own time if
    /// there is that much.
    fn end_of(&self, part: Part, on: Beats, syllable: &Syllable) -> (Beats, f64) {
        let (vowel, end) = (f64::from(syllable.vowel), f64::from(syllable.end));
        let after = on + APART * self.pace();
        let mut next = self.said(part, after, on + AHEAD * self.pace());
        let own = on + (end - vowel) * self.pace();
        let Some((at, next)) = next.next() else {
            return (own, end);
        };
        let begins = (at - lead(&next) * self.pace()).max(after);
        let start = f64::from(next.start);
        if start > vowel && (start - end).abs() < PAUSE {
            (begins, start)
        } else {
            (own.min(begins), end)
        }
    }
}

/// Seconds by which a syllable begins before its note.
fn lead(syllable: &Syllable) -> f64 {
    f64::from(syllable.vowel - syllable.start).min(LEAD)
}

impl Reciter {
    /// Silent. The sample rate is in Hz.
    pub fn new(sample_rate: f64) -> Self {
        let mouth = |_| Mouth {
            sayings: ArrayVec::new(),
            sides: [Level::new(sample_rate), Level::new(sample_rate)],
            begun: Beats::NEG_INFINITY,
        };
        Self {
            sample_rate,
            between: Between::up_to(1.0),
            mouths: std::array::from_fn(mouth),
            utterance: None,
            coming: ArrayVec::new(),
            ends: None,
            frame: 0,
            silences: 0,
            gain: 1.0,
        }
    }

    /// The same, with all that is said louder or softer by that factor: for a file whose loudness is
    /// known beforehand.
    pub(crate) fn amplified(sample_rate: f64, gain: f64) -> Self {
        Self {
            gain,
            ..Self::new(sample_rate)
        }
    }

    /// What was said, from the next block on; none is nothing.
    pub fn take(&mut self, utterance: Option<&Arc<Utterance>>) {
        let same = match (&self.utterance, utterance) {
            (Some(old), Some(new)) => Arc::ptr_eq(old, new),
            (None, None) => true,
            _ => false,
        };
        if !same {
            self.hush();
            self.utterance = utterance.cloned();
        }
    }

    /// Whether there is anything that could be said.
    pub fn has_words(&self) -> bool {
        self.utterance.is_some()
    }

    /// Silent at once, not minding a click: there is nobody to hear it.
    pub fn reset(&mut self) {
        self.hush();
        for mouth in &mut self.mouths {
            mouth.sayings.clear();
        }
    }

    /// Everything fades out, at once.
    pub fn hush(&mut self) {
        self.coming.clear();
        self.ends = None;
        self.mouths.iter_mut().for_each(Mouth::fall_silent);
    }

    /// A block has begun: what it will play is known, as far as it can be.
    pub fn enter(&mut self, block: &InBlock<'_>, along: &Along) {
        let engine = block.engine();
        let player = engine.player();
        let silences = std::mem::replace(&mut self.silences, player.silences());
        self.coming.clear();
        self.frame = 0;
        // Whoever practises plays against notes that may wait for him.
        let practises = engine.rehearsal().asked().practice().is_some();
        let speaks = engine.is_running() && !practises;
        if silences != self.silences || !speaks {
            self.hush();
        }
        if !speaks {
            return;
        }
        let block = block.time();
        self.ends = engine
            .ending()
            .filter(|end| *end < block.span().end)
            .map(|end| block.frame_of(end));
        let moment = Moment {
            process: engine.process(),
            lines: None,
            block,
            from: player.come_to(block.span().start),
            ends: engine.ending().unwrap_or(Beats::INFINITY),
            rate: self.sample_rate,
        };
        self.follow(&moment, along);
    }

    /// A block has begun of a piece of which all lines are known; its positions are seconds, and
    /// voices stand as they do in `process`.
    pub(crate) fn recite(
        &mut self,
        (process, lines): (&Process, &Lines),
        block: &Block,
        along: &Along,
    ) {
        self.coming.clear();
        self.frame = 0;
        let moment = Moment {
            process,
            lines: Some(lines),
            block,
            from: block.start,
            ends: Beats::INFINITY,
            rate: self.sample_rate,
        };
        self.follow(&moment, along);
    }

    fn follow(&mut self, moment: &Moment<'_>, along: &Along) {
        let process = moment.process;
        let goes_with = |part: &Part| along.goes_with(*part) && process.plays(*part);
        let players = process.voices().parts().filter(goes_with).count();
        for (mouth, part) in self.mouths.iter_mut().zip(Part::ALL) {
            if goes_with(&part) {
                mouth.place(process, part, self.gain * along.gain(players));
                mouth.keep_to(moment, part);
            } else {
                mouth.fall_silent();
            }
        }
        let Some(utterance) = self.utterance.clone() else {
            return;
        };
        for part in process.voices().parts().filter(goes_with) {
            self.await_notes(moment, part, f64::from(utterance.rate()));
        }
        self.coming
            .sort_unstable_by_key(|coming| Reverse(coming.frame));
    }

    /// What of a part begins in this block, because its note does or its vowel is near. The
    /// utterance has `rate` samples a second.
    fn await_notes(&mut self, moment: &Moment<'_>, part: Part, rate: f64) {
        let ratio = rate / self.sample_rate;
        let frames = f64::from(moment.block.frames);
        let ahead = moment.block.span().end + LEAD * moment.pace();
        let mouth = &mut self.mouths[part.index()];
        for (on, syllable) in moment.said(part, moment.from, ahead) {
            if on <= mouth.begun + APART * moment.pace() {
                continue;
            }
            let struck = moment.frame_of(on);
            let free = moment.frame_of(mouth.begun + APART * moment.pace());
            let begins = (struck - lead(&syllable) * self.sample_rate).ceil();
            let begins = begins.max(free);
            if begins >= frames {
                // The one after it may have more to be heard before it, but waits its turn.
                return;
            }
            let (over, end) = moment.end_of(part, on, &syllable);
            let vowel = f64::from(syllable.vowel) * rate;
            let coming = Coming {
                frame: begins as u32,
                part,
                cue: Cue { on, over },
                stretch: Stretch {
                    vowel,
                    end: end * rate,
                },
                place: vowel - (struck - begins) * ratio,
                time: moment.frame_of(over) - begins,
            };
            if self.coming.try_push(coming).is_err() {
                return;
            }
            mouth.begun = on;
        }
    }

    fn begin(&mut self, coming: &Coming) {
        let Some(utterance) = &self.utterance else {
            return;
        };
        let mouth = &mut self.mouths[coming.part.index()];
        mouth.sayings.iter_mut().for_each(Saying::leave);
        let Coming {
            stretch,
            cue,
            place,
            ..
        } = *coming;
        let mut saying = Saying::new(utterance, stretch, cue, place, self.sample_rate);
        saying.allow(coming.time);
        // One too many, all of which fade: this one is left out.
        let _ = mouth.sayings.try_push(saying);
    }

    /// What happens on the frame that has come, and how many frames go by until something else does.
    fn turn(&mut self) -> usize {
        while let Some(coming) = self.coming.last().copied() {
            if coming.frame > self.frame {
                break;
            }
            self.coming.pop();
            self.begin(&coming);
        }
        if self.ends.is_some_and(|end| end <= self.frame) {
            self.hush();
        }
        let next = self.coming.last().map(|coming| coming.frame);
        let until = next.into_iter().chain(self.ends).min();
        until.map_or(usize::MAX, |until| (until - self.frame) as usize)
    }
}

impl Beside for Reciter {
    fn is_silent(&self) -> bool {
        let is_quiet = |mouth: &Mouth| mouth.sayings.is_empty();
        self.coming.is_empty() && self.mouths.iter().all(is_quiet)
    }

    fn add(&mut self, left: &mut [f64], right: &mut [f64]) {
        let frames = left.len().min(right.len());
        let mut done = 0;
        while done < frames {
            let until = frames.min(done.saturating_add(self.turn()));
            let here = done..until;
            for mouth in &mut self.mouths {
                mouth.speak(
                    &self.between,
                    &mut left[here.clone()],
                    &mut right[here.clone()],
                );
            }
            self.frame += here.len() as u32;
            done = until;
        }
    }
}

impl Along {
    /// The same, but off if it is to be.
    pub fn unless(self, off: bool) -> Self {
        Self {
            level: self.level.filter(|_| !off),
            ..self
        }
    }

    /// Whether it goes with a part.
    fn goes_with(&self, part: Part) -> bool {
        let with = match self.with {
            GoesWith::Steady => part == Part::Steady,
            GoesWith::All => part.is_voice(),
        };
        with && self.level.is_some()
    }

    /// What each of several that speak at a time is multiplied by.
    fn gain(&self, players: usize) -> f64 {
        let level = |db: f32| 10_f64.powf(f64::from(db.clamp(LOWEST_LEVEL_DB, 0.0)) / 20.0);
        self.level.map_or(0.0, level) * (players.max(1) as f64).powf(ROOM)
    }
}

impl Mouth {
    fn fall_silent(&mut self) {
        self.begun = Beats::NEG_INFINITY;
        self.sayings.iter_mut().for_each(Saying::leave);
    }

    /// Stands where its part does, as loud as that plays: the level as a velocity, squared.
    fn place(&mut self, process: &Process, part: Part, gain: f64) {
        let width = process.settings().output.width;
        let (left, right) = places(pan_of(part, process.voices().count(), width));
        let gain = gain * f64::from(process.level(part)).powi(2);
        for (side, share) in self.sides.iter_mut().zip([left, right]) {
            side.go_to(gain * share);
            if self.sayings.is_empty() {
                side.settle();
            }
        }
    }

    /// Stays with its note: takes the time that there is now, and leaves a note that is not to come
    /// after all, or that is not where it was.
    fn keep_to(&mut self, moment: &Moment<'_>, part: Part) {
        let Some(saying) = self
            .sayings
            .last_mut()
            .filter(|saying| !saying.is_leaving())
        else {
            return;
        };
        let Cue { on, over } = saying.cue();
        saying.allow(moment.frame_of(over));
        let is_to_come = on >= moment.from;
        let off = || saying.off(moment.frame_of(on)).abs();
        let comes = || moment.said(part, on - HAIR, on + HAIR).next().is_some();
        if is_to_come && (off() > OFF || !comes()) {
            // To be found anew, if it is there.
            self.fall_silent();
        }
    }

    /// Adds what is said.
    fn speak(&mut self, between: &Between, left: &mut [f64], right: &mut [f64]) {
        if self.sayings.is_empty() {
            return;
        }
        for (left, right) in left.iter_mut().zip(right) {
            let sum: f64 = (self.sayings.iter_mut())
                .map(|saying| saying.next(between))
                .sum();
            let [to_left, to_right] = &mut self.sides;
            *left += to_left.next() * sum;
            *right += to_right.next() * sum;
        }
        self.sayings.retain(|saying| !saying.is_over());
    }
}
