//! A mallet instrument of our own, for auditioning before anything is routed.
//!
//! Each note strikes a bar: a few partials, driven by the mallet's short contact and left to ring
//! ([`bar`]). The bar is of wood, tuned as a marimba's are, and struck hard or soft; or it is of
//! metal. The players' bars are added up, brought to the level asked for, and limited.
//!
//! **How loud it is.** At a level of 0 dB one player who strikes sixteenths at a velocity of 0.7
//! is heard near -20 LUFS (ITU-R BS.1770), at [`START_LEVEL_DB`] near -30. The more players there
//! are, the more room each leaves to the others ([`Mallets::set_players`]), so that nine players of
//! chords take the limiter by no more than 6 dB and do not pump.
//!
//! **How loud it gets.** The true peak of the mallets stays below [`CEILING_DB`], whatever is
//! played. That is about the mallets' own sum: [`Mallets::render`] adds it to the audio that is
//! already there and leaves that audio alone, so the total can be as loud as the two together.
//!
//! ```
//! use procession_core::mallet::{Mallets, START_LEVEL_DB};
//! use procession_core::note::{Key, Velocity};
//!
//! let mut mallets = Mallets::new(48_000.0);
//! mallets.set_level(Some(START_LEVEL_DB));
//! mallets.note_on(1, Key::by_octave(62), Velocity::new(0.7), 64);
//! let (mut left, mut right) = ([0.0; 480], [0.0; 480]);
//! mallets.render(&mut left, &mut right);
//! assert!(left.iter().any(|sample| *sample != 0.0));
//! ```

mod abreast;
pub mod bar;
mod level;
mod limiter;
mod make;
mod stroke;

pub(crate) use level::Level;
pub use limiter::CEILING_DB;
pub(crate) use stroke::places;

use crate::note::{Key, Velocity};
use crate::settings::Mallet;
use abreast::{ABREAST, Abreast};
use arrayvec::ArrayVec;
use bar::PARTIALS;
use limiter::Limiter;
use make::Make;
use stroke::Stroke;

/// How many bars ring at once. A stroke beyond them takes the place of the one that is heard least.
pub const MAX_RINGING: usize = 64;

/// The level to begin with, in dB: quiet, so that the first note hurts nobody, but to be heard, so
/// that nobody turns up what comes after it.
pub const START_LEVEL_DB: f32 = -10.0;

/// The quietest level that is not off, in dB. The loudest is 0.
pub const LOWEST_LEVEL_DB: f32 = -60.0;

/// Ringing bars, and as many again that are being faded out because their place was needed.
const PLACES: usize = 2 * MAX_RINGING;

/// How much softer each of several players is: their number to this power. Players in unison add up
/// like their number, players apart like its square root; half-way between the two, nine of them
/// are a little softer apart than one alone, and 5 dB louder in unison. Own choice.
pub(crate) const ROOM: f64 = -0.75;

/// Frames computed at a time.
const STRETCH: usize = 64;

/// Sample rates that make sense, in Hz, and the one taken for a rate that is no number.
const SAMPLE_RATES: (f64, f64) = (8_000.0, 768_000.0);
const USUAL_SAMPLE_RATE: f64 = 48_000.0;

/// What else sounds under the mallets' ceiling.
pub trait Beside {
    /// Whether it adds nothing for the time being.
    fn is_silent(&self) -> bool;

    /// Adds what it sounds like in the frames that come next to both sides, which are equally long:
    /// as loud as it is meant to be, full scale being 1.
    ///
    /// # Real-time
    /// To allocate never, to block never.
    fn add(&mut self, left: &mut [f64], right: &mut [f64]);
}

/// Nothing else.
struct Nothing;

impl Beside for Nothing {
    fn is_silent(&self) -> bool {
        true
    }

    fn add(&mut self, _: &mut [f64], _: &mut [f64]) {}
}

/// All the players' bars. Off at first: see [`Self::set_level`].
///
/// # Real-time
/// [`Self::new`] allocates; nothing else does, nor blocks. The work is bounded by
/// [`MAX_RINGING`] x frames, and there is next to none when nothing rings.
#[derive(Debug)]
pub struct Mallets {
    sample_rate: f64,
    /// How strong each partial is, by the choice of mallet.
    strengths: [[f64; PARTIALS]; Mallet::ALL.len()],
    /// A stroke keeps its place, so that sums are always made in the same order.
    strokes: Box<[Option<Stroke>]>,
    /// In dB; none while off.
    level_db: Option<f32>,
    players: usize,
    /// What the level is multiplied by, for files.
    gain: f64,
    level: Level,
    limiter: Limiter,
    abreast: Abreast,
    sum: [[f64; STRETCH]; 2],
}

impl Mallets {
    /// Silent, and off. A sample rate (in Hz) that is out of 8 000 ..= 768 000 is taken for the
    /// nearest one that is not; one that is no number for 48 000.
    pub fn new(sample_rate: f64) -> Self {
        let sample_rate = if sample_rate.is_nan() {
            USUAL_SAMPLE_RATE
        } else {
            sample_rate.clamp(SAMPLE_RATES.0, SAMPLE_RATES.1)
        };
        Self {
            sample_rate,
            strengths: Mallet::ALL.map(|mallet| bar::strengths(Make::of(mallet))),
            strokes: vec![None; PLACES].into_boxed_slice(),
            level_db: None,
            players: 1,
            gain: 1.0,
            level: Level::new(sample_rate),
            limiter: Limiter::new(sample_rate),
            abreast: Abreast::new(),
            sum: [[0.0; STRETCH]; 2],
        }
    }

    /// The same, with all that is played louder by `gain_db` before it is limited: for a file whose
    /// loudness is known beforehand. Never for what somebody listens to.
    pub(crate) fn amplified(sample_rate: f64, gain_db: f64) -> Self {
        Self {
            gain: 10_f64.powf(gain_db / 20.0),
            ..Self::new(sample_rate)
        }
    }

    /// Strikes the wooden bar of `key`: see [`Self::strike`].
    pub fn note_on(&mut self, id: i32, key: Key, velocity: Velocity, pan: u8) -> bool {
        self.strike(Mallet::Wood, id, key, velocity, pan)
    }

    /// Strikes the bar of `key` with such a mallet. `id` is what [`Self::note_off`] will call it; `pan` is a MIDI pan
    /// position, 0 (left) ..= 64 (centre) ..= 127 (right), more being right.
    ///
    /// Whether it sounds: not while the mallets are off, and not if more than [`MAX_RINGING`]
    /// bars were struck within the last few milliseconds, when a place could only be made with a
    /// click. A bar above the reach of the sample rate sounds, but silently.
    pub fn strike(
        &mut self,
        mallet: Mallet,
        id: i32,
        key: Key,
        velocity: Velocity,
        pan: u8,
    ) -> bool {
        if self.level.is_off() {
            return false;
        }
        let Some(free) = self.strokes.iter().position(Option::is_none) else {
            return false;
        };
        self.give_way();
        let bar = (Make::of(mallet), &self.strengths[mallet as usize]);
        let rate = self.sample_rate;
        self.strokes[free] = Some(Stroke::new(id, key, velocity, pan, bar, rate));
        true
    }

    /// Lays a hand on the bars struck as `id`, gently: they fall silent within a fraction of a
    /// second. An `id` that does not ring is no error.
    pub fn note_off(&mut self, id: i32) {
        let struck_so = |stroke: &&mut Stroke| stroke.id() == id;
        for stroke in self.strokes.iter_mut().flatten().filter(struck_so) {
            stroke.damp(self.sample_rate);
        }
    }

    /// Silences everything, as fast as it can be done without a click.
    pub fn all_off(&mut self) {
        for stroke in self.strokes.iter_mut().flatten() {
            stroke.leave(self.sample_rate);
        }
    }

    /// How loud: dB, [`LOWEST_LEVEL_DB`] ..= 0, taken for the nearest of them if out of range;
    /// or off, which not-a-number means too. What rings goes there smoothly, and is gone if that
    /// is off.
    pub fn set_level(&mut self, db: Option<f32>) {
        let db = db.filter(|db| !db.is_nan());
        self.level_db = db.map(|db| db.clamp(LOWEST_LEVEL_DB, 0.0));
        self.make_room();
    }

    /// How many play together, 1 at first: the more, the softer each. What rings goes there
    /// smoothly. None is taken for one.
    pub fn set_players(&mut self, players: usize) {
        self.players = players.max(1);
        self.make_room();
    }

    fn make_room(&mut self) {
        let room = (self.players as f64).powf(ROOM);
        let level = |db: f32| 10_f64.powf(f64::from(db) / 20.0) * room * self.gain;
        self.level.go_to(self.level_db.map_or(0.0, level));
        self.settle_if_silent();
    }

    /// Adds the sound to what is there. If the sides are not equally long, what is too long stays
    /// as it is.
    pub fn render(&mut self, left: &mut [f32], right: &mut [f32]) {
        self.render_beside(&mut Nothing, left, right);
    }

    /// The same together with something else, which neither the level nor the number of players
    /// concerns, under one ceiling.
    pub fn render_beside(&mut self, beside: &mut impl Beside, left: &mut [f32], right: &mut [f32]) {
        let frames = left.len().min(right.len());
        let mut done = 0;
        while done < frames && !(self.is_silent() && beside.is_silent()) {
            let stretch = (frames - done).min(STRETCH);
            let here = done..done + stretch;
            self.ring(stretch);
            self.bring_to_level(stretch);
            let [sum_left, sum_right] = &mut self.sum;
            beside.add(&mut sum_left[..stretch], &mut sum_right[..stretch]);
            self.send(&mut left[here.clone()], &mut right[here]);
            done += stretch;
        }
        self.settle_if_silent();
    }

    /// What each group of bars sounds like by itself, at the level of the whole and before it is
    /// limited, in `frames` of the group's two sides; `group` tells which a stroke belongs to by its
    /// `id`. Added up, the groups are what [`Self::render`] would limit, and come sooner than that by
    /// [`Self::latency`]. For files: all sides are as long as `frames` reach.
    pub(crate) fn render_apart(
        &mut self,
        group: impl Fn(i32) -> usize,
        groups: &mut [[Vec<f64>; 2]],
        frames: std::ops::Range<usize>,
    ) {
        for place in &mut self.strokes {
            if let Some(stroke) = place {
                let [left, right] = &mut groups[group(stroke.id())];
                let (left, right) = (&mut left[frames.clone()], &mut right[frames.clone()]);
                stroke.ring(left, right);
                if stroke.is_over() {
                    *place = None;
                }
            }
        }
        for frame in frames {
            let level = self.level.next();
            let sides = groups.iter_mut().flatten();
            sides.for_each(|side| side[frame] *= level);
        }
        self.settle_if_silent();
    }

    /// Whether it adds nothing until a note is struck.
    pub fn is_silent(&self) -> bool {
        self.limiter.is_drained() && self.strokes.iter().all(Option::is_none)
    }

    /// At once as new, but for the level.
    pub fn reset(&mut self) {
        self.strokes.fill(None);
        self.limiter.reset();
        self.level.settle();
    }

    /// Frames between a stroke and its sound: the limiter looks that far ahead (2 ms or so).
    pub fn latency(&self) -> usize {
        self.limiter.latency()
    }

    /// If all bars ring, the one heard least leaves.
    fn give_way(&mut self) {
        let staying = |stroke: &&mut Stroke| !stroke.is_leaving();
        let ringing = self.strokes.iter_mut().flatten().filter(staying);
        if ringing.count() < MAX_RINGING {
            return;
        }
        let ringing = self.strokes.iter_mut().flatten().filter(staying);
        let least = ringing.min_by(|a, b| a.loudness().total_cmp(&b.loudness()));
        if let Some(stroke) = least {
            stroke.leave(self.sample_rate);
        }
    }

    /// Adds up the bars.
    fn ring(&mut self, stretch: usize) {
        let [left, right] = &mut self.sum;
        let (left, right) = (&mut left[..stretch], &mut right[..stretch]);
        left.fill(0.0);
        right.fill(0.0);
        let mut ringing = self.strokes.iter_mut().flatten();
        loop {
            let mut few: ArrayVec<&mut Stroke, ABREAST> = ringing.by_ref().take(ABREAST).collect();
            if few.is_empty() {
                break;
            }
            self.abreast.ring(&mut few, left, right);
        }
        for place in &mut self.strokes {
            if place.as_ref().is_some_and(Stroke::is_over) {
                *place = None;
            }
        }
    }

    /// Brings the sum to its level.
    fn bring_to_level(&mut self, stretch: usize) {
        let [left, right] = &mut self.sum;
        for (left, right) in left.iter_mut().zip(right).take(stretch) {
            let level = self.level.next();
            *left *= level;
            *right *= level;
        }
        // Not a frame too early or late for anyone to notice: at a level of 0 nothing was heard.
        if self.level.has_gone_off() {
            self.strokes.fill(None);
        }
    }

    /// Limits the sum and adds it to the output.
    fn send(&mut self, left: &mut [f32], right: &mut [f32]) {
        for (frame, (left, right)) in left.iter_mut().zip(right).enumerate() {
            let sum = [self.sum[0][frame], self.sum[1][frame]];
            let [out_left, out_right] = self.limiter.next(sum);
            *left += out_left as f32;
            *right += out_right as f32;
        }
    }

    /// With nothing to be heard there is nothing to smooth.
    fn settle_if_silent(&mut self) {
        if self.is_silent() {
            self.level.settle();
        }
    }
}
