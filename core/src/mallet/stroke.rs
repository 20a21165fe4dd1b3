//! One stroke on one bar, from the mallet's contact until nothing is left to hear.

use super::STRETCH;
use super::bar::{self, PARTIALS};
use super::make::Make;
use crate::note::{Key, Velocity};
use arrayvec::ArrayVec;
use std::f64::consts::{FRAC_PI_2, PI, TAU};

/// Below this amplitude (-140 dBFS) a partial is over.
const FAINT: f64 = 1e-7;

/// How often a stroke is asked whether it is over, in frames of its own age: not in blocks, or the
/// answer would depend on them.
const LISTEN_EVERY: u64 = 64;

/// Partials above this share of the sample rate are left out: close to half of it a sampled tone
/// peaks far between its samples.
pub(super) const HIGHEST_PARTIAL: f64 = 0.4;

/// Seconds over which a stroke is faded out when its place is needed. Own choice.
pub(super) const FADE: f64 = 0.008;

/// A bar that was struck, and still rings.
#[derive(Clone, Debug)]
pub(super) struct Stroke {
    id: i32,
    make: &'static Make,
    partials: ArrayVec<Partial, PARTIALS>,
    contact: Contact,
    /// What the fundamental rises to.
    amplitude: f64,
    left: f64,
    right: f64,
    /// Frames since it began.
    age: u64,
    damped: bool,
    fade: Option<Fade>,
}

impl Stroke {
    /// The mallet touches the bar. `strengths` are those of [`bar::strengths`] of that make.
    pub fn new(
        id: i32,
        key: Key,
        velocity: Velocity,
        pan: u8,
        (make, strengths): (&'static Make, &[f64; PARTIALS]),
        sample_rate: f64,
    ) -> Self {
        let fundamental = bar::frequency(key);
        let contact = Contact::new(bar::contact_time(make, fundamental, velocity) * sample_rate);
        let amplitude = make.fortissimo * amplitude(velocity);
        let turn = |hz: f64| TAU * hz / sample_rate;
        let push = amplitude / contact.spectrum(turn(fundamental));
        let partials = (0..PARTIALS)
            .filter(|&k| fundamental * make.ratios[k] < HIGHEST_PARTIAL * sample_rate)
            .map(|k| Partial {
                push: push * strengths[k],
                ..Partial::new(
                    turn(fundamental * make.ratios[k]),
                    bar::decay_per_frame(bar::ring_of(make, fundamental, k), sample_rate),
                )
            })
            .collect();
        let (left, right) = places(pan);
        Self {
            id,
            make,
            partials,
            contact,
            amplitude,
            left,
            right,
            age: 0,
            damped: false,
            fade: None,
        }
    }

    /// The number it was struck under.
    pub fn id(&self) -> i32 {
        self.id
    }

    /// Whether it is being faded out.
    pub fn is_leaving(&self) -> bool {
        self.fade.is_some()
    }

    /// How loud it is: the amplitude its partials have or, while the mallet still drives them, are
    /// about to have.
    pub fn loudness(&self) -> f64 {
        if self.contact.is_over() {
            self.partials.iter().map(Partial::power).sum::<f64>().sqrt()
        } else {
            self.amplitude
        }
    }

    /// Lays a hand on the bar.
    pub fn damp(&mut self, sample_rate: f64) {
        if !self.damped {
            self.damped = true;
            let damped = bar::decay_per_frame(self.make.damped_ring, sample_rate);
            self.partials.iter_mut().for_each(|p| p.damp(damped));
        }
    }

    /// Fades out.
    pub fn leave(&mut self, sample_rate: f64) {
        if self.fade.is_none() {
            self.fade = Some(Fade::new((FADE * sample_rate).ceil()));
        }
    }

    /// Adds what it sounds like to both sides, which are equally long.
    pub fn ring(&mut self, left: &mut [f64], right: &mut [f64]) {
        let (place_left, place_right) = self.sides();
        let frames = left.len();
        let sides = left.iter_mut().zip(right);
        for ((left, right), heard) in sides.zip(self.sound(frames)) {
            *left += place_left * heard;
            *right += place_right * heard;
        }
    }

    /// What it sounds like in the coming frames, until it is over.
    pub fn sound(&mut self, frames: usize) -> impl Iterator<Item = f64> {
        (0..frames).map_while(|_| (!self.is_over()).then(|| self.next()))
    }

    /// How much of it is heard left and right.
    pub fn sides(&self) -> (f64, f64) {
        (self.left, self.right)
    }

    /// Whether nothing happens to it within a [`STRETCH`] but that its partials swing on: the mallet
    /// has left it, it is not fading out, and none of them falls silent.
    pub fn only_swings(&self) -> bool {
        let is_left_alone = self.contact.is_over() && self.fade.is_none();
        is_left_alone && self.partials.iter().all(Partial::outlasts_a_stretch)
    }

    /// One of the partials that are still heard, if there are so many.
    pub fn partial(&mut self, place: usize) -> Option<&mut Partial> {
        self.partials.get_mut(place)
    }

    /// Its partials have swung on for so many frames.
    pub fn grow_older(&mut self, frames: usize) {
        self.age += frames as u64;
    }

    fn next(&mut self) -> f64 {
        let force = self.contact.next();
        let sum: f64 = self.partials.iter_mut().map(|p| p.next(force)).sum();
        self.age += 1;
        if self.age.is_multiple_of(LISTEN_EVERY) && self.contact.is_over() {
            self.partials.retain(|partial| !partial.is_faint());
        }
        self.fade.as_mut().map_or(sum, |fade| fade.next() * sum)
    }

    /// Whether nothing is left to hear.
    pub fn is_over(&self) -> bool {
        self.partials.is_empty() || self.fade.as_ref().is_some_and(Fade::is_over)
    }
}

/// A damped rotation; what is heard is its height. Driven, it is a two-pole resonator.
#[derive(Clone, Copy, Debug)]
pub(super) struct Partial {
    pub across: f64,
    pub height: f64,
    /// A frame's turn and decay.
    pub turn_across: f64,
    pub turn_height: f64,
    decay: f64,
    /// With more power than this it is not faint a stretch later.
    lasting: f64,
    /// What a force of 1 adds in a frame.
    push: f64,
}

impl Partial {
    fn new(turn: f64, decay: f64) -> Self {
        Self {
            across: 0.0,
            height: 0.0,
            turn_across: decay * turn.cos(),
            turn_height: decay * turn.sin(),
            decay,
            lasting: lasting(decay),
            push: 0.0,
        }
    }

    fn next(&mut self, force: f64) -> f64 {
        let across = self.across * self.turn_across - self.height * self.turn_height;
        self.height = self.across * self.turn_height + self.height * self.turn_across;
        self.across = across + self.push * force;
        self.height
    }

    /// Decays as `decay` says, unless it does so faster already.
    fn damp(&mut self, decay: f64) {
        let faster = (decay / self.decay).min(1.0);
        self.turn_across *= faster;
        self.turn_height *= faster;
        self.decay *= faster;
        self.lasting = lasting(self.decay);
    }

    fn outlasts_a_stretch(&self) -> bool {
        self.power() > self.lasting
    }

    fn power(&self) -> f64 {
        self.across * self.across + self.height * self.height
    }

    fn is_faint(&self) -> bool {
        self.power() < FAINT * FAINT
    }
}

/// The power of which more than [`FAINT`] is left after a stretch, at that decay a frame; with a little
/// to spare, since what swings is rounded.
fn lasting(decay: f64) -> f64 {
    1.001 * FAINT * FAINT / decay.powi(2 * STRETCH as i32)
}

/// The mallet's push: half a sine, from first touch to rebound.
#[derive(Clone, Copy, Debug)]
struct Contact {
    now: f64,
    before: f64,
    /// Twice the cosine of a frame's turn: the next sine is this times the present one, less the
    /// one before.
    twice_cosine: f64,
    frames: u32,
    left: u32,
}

impl Contact {
    fn new(frames: f64) -> Self {
        let frames = frames.round().max(1.0) as u32;
        let first = (FRAC_PI_2 / f64::from(frames)).sin();
        Self {
            now: first,
            before: -first,
            twice_cosine: 2.0 * (PI / f64::from(frames)).cos(),
            frames,
            left: frames,
        }
    }

    fn is_over(&self) -> bool {
        self.left == 0
    }

    fn next(&mut self) -> f64 {
        if self.is_over() {
            return 0.0;
        }
        self.left -= 1;
        let force = self.now;
        self.now = self.twice_cosine * force - self.before;
        self.before = force;
        force
    }

    /// How strongly it drives what turns by `turn` radians a frame: the half-sine's spectrum,
    /// two sums of cosines in closed form.
    fn spectrum(&self, turn: f64) -> f64 {
        let frames = f64::from(self.frames);
        let sum = |angle: f64| {
            let half = angle / 2.0;
            if half.sin().abs() < 1e-9 {
                frames
            } else {
                (frames * half).sin() / half.sin()
            }
        };
        0.5 * (sum(turn + PI / frames) + sum(turn - PI / frames)).abs()
    }
}

/// A way out without a corner: 3 t^2 - 2 t^3.
#[derive(Clone, Copy, Debug)]
struct Fade {
    left: f64,
    frames: f64,
}

impl Fade {
    fn new(frames: f64) -> Self {
        Self {
            left: frames,
            frames,
        }
    }

    fn is_over(&self) -> bool {
        self.left <= 0.0
    }

    fn next(&mut self) -> f64 {
        self.left -= 1.0;
        let t = self.left / self.frames;
        t * t * (3.0 - 2.0 * t)
    }
}

/// Velocity to amplitude: 40 log10 of the velocity, in dB (General MIDI's recommendation, from
/// memory).
fn amplitude(velocity: Velocity) -> f64 {
    f64::from(velocity.value()).powi(2)
}

/// How much of a sound is heard left and right at that MIDI pan position: constant power, 64 in
/// the centre, 0 and 1 both at the left edge (MIDI recommended practice RP-036, from memory).
pub(crate) fn places(pan: u8) -> (f64, f64) {
    let angle = FRAC_PI_2 * f64::from(pan.clamp(1, 127) - 1) / 126.0;
    match pan {
        ..=1 => (1.0, 0.0),
        127.. => (0.0, 1.0),
        _ => (angle.cos(), angle.sin()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::Mallet;

    const RATE: f64 = 48_000.0;

    fn stroke_on(mallet: Mallet, number: u8, velocity: f32) -> Stroke {
        let key = Key::new(number).expect("a MIDI key");
        let velocity = Velocity::new(velocity);
        let make = Make::of(mallet);
        Stroke::new(1, key, velocity, 1, (make, &bar::strengths(make)), RATE)
    }

    fn ring_one(stroke: &mut Stroke) -> (f64, bool) {
        let (mut left, mut right) = ([0.0], [0.0]);
        stroke.ring(&mut left, &mut right);
        (left[0], !stroke.is_over())
    }

    #[test]
    fn a_fading_bar_never_reaches_the_numbers_that_computers_are_slow_with() {
        for (mallet, number) in everywhere(&[0, 30, 60, 90, 120]) {
            let mut stroke = stroke_on(mallet, number, 0.0);
            while ring_one(&mut stroke).1 {
                for partial in &stroke.partials {
                    assert!(!partial.across.is_subnormal() && !partial.height.is_subnormal());
                }
            }
        }
    }

    #[test]
    fn the_fundamental_rises_to_the_velocity_squared() {
        for (mallet, number) in everywhere(&[40, 60, 80]) {
            for velocity in [0.25_f32, 0.5, 1.0] {
                let mut stroke = stroke_on(mallet, number, velocity);
                while !stroke.contact.is_over() {
                    ring_one(&mut stroke);
                }
                let wanted = Make::of(mallet).fortissimo * f64::from(velocity * velocity);
                let reached = stroke.partials[0].power().sqrt();
                assert!((reached / wanted - 1.0).abs() < 0.01, "{reached} {wanted}");
            }
        }
    }

    #[test]
    fn a_harder_stroke_is_brighter() {
        for (mallet, number) in everywhere(&[40, 60, 80, 90]) {
            let from_soft_to_hard =
                [0.1, 0.3, 0.5, 0.7, 0.9].map(|v| brightness(mallet, number, v));
            assert!(
                from_soft_to_hard.is_sorted(),
                "{mallet:?}: {from_soft_to_hard:?}"
            );
        }
    }

    #[test]
    fn a_soft_beater_leaves_the_upper_partials_out() {
        for number in [40, 60, 80] {
            for velocity in [0.1, 0.4, 0.7, 1.0] {
                let [wood, soft] =
                    [Mallet::Wood, Mallet::Soft].map(|mallet| brightness(mallet, number, velocity));
                assert!(soft < 0.5 * wood, "{number} {velocity}: {soft} {wood}");
            }
        }
    }

    /// How strong the second partial is over the first when the mallet leaves the bar.
    fn brightness(mallet: Mallet, number: u8, velocity: f32) -> f64 {
        let mut stroke = stroke_on(mallet, number, velocity);
        while !stroke.contact.is_over() {
            ring_one(&mut stroke);
        }
        (stroke.partials[1].power() / stroke.partials[0].power()).sqrt()
    }

    fn everywhere(keys: &[u8]) -> Vec<(Mallet, u8)> {
        let each = |mallet| keys.iter().map(move |number| (mallet, *number));
        Mallet::ALL.into_iter().flat_map(each).collect()
    }

    #[test]
    fn the_contacts_spectrum_is_that_of_its_frames() {
        for frames in [1.0, 2.0, 7.0, 60.0] {
            let contact = Contact::new(frames);
            for turn in [0.0, 0.01, PI / frames, 0.7, 2.5] {
                let mut played = contact;
                let (mut re, mut im) = (0.0, 0.0);
                for frame in 0..contact.frames {
                    let force = played.next();
                    re += force * (turn * f64::from(frame)).cos();
                    im += force * (turn * f64::from(frame)).sin();
                }
                assert!((re.hypot(im) - contact.spectrum(turn)).abs() < 1e-6);
            }
        }
    }

    #[test]
    fn a_place_between_the_sides_keeps_the_power() {
        for pan in 0..=255 {
            let (left, right) = places(pan);
            assert!((left * left + right * right - 1.0).abs() < 1e-12);
        }
        let (left, right) = places(64);
        assert!((left - right).abs() < 1e-12, "64 is the centre");
        assert_eq!((places(0), places(1)), ((1.0, 0.0), (1.0, 0.0)));
        assert_eq!(places(127), (0.0, 1.0));
    }
}
