//! What is believed of where the player is: so many steps ahead of the plan, or behind it.
//!
//! A row of places, each with how likely it is. Between two notes the player may wander, so the row
//! is blurred; each note makes those places likelier at which it would be right, and leaves the
//! others what a wrong note would. (A histogram filter: Thrun, Burgard & Fox, Probabilistic
//! Robotics, MIT Press 2005, ch. 4; from memory.) It finds a player again who leapt, and a single
//! wrong note moves nothing.

/// Steps from the plan up to which a player is looked for.
pub(super) const REACH: f64 = 8.0;

/// Places a step.
const FINENESS: f64 = 16.0;

/// All places.
const PLACES: usize = 2 * (REACH * FINENESS) as usize + 1;

/// How likely a note is that fits nowhere, beside one that fits exactly.
const WRONG: f32 = 0.1;

/// How likely a place is at least, beside all: whoever leaps is found.
const LEAST: f32 = 1e-5;

/// Milliseconds by which notes of one player are uneven as a rule: the lower end of what ensembles
/// are (Rasch, Acustica 43, 1979, 121-131).
const UNEVEN_MS: f64 = 30.0;

#[derive(Clone, Debug)]
pub(super) struct Belief {
    likely: [f32; PLACES],
    /// Step at which the last note came.
    last: Option<f64>,
}

/// What one note says of every place.
pub(super) struct Hint {
    likely: [f32; PLACES],
    width: f64,
}

/// How many steps ahead of the plan a place is.
fn steps_of(place: usize) -> f64 {
    place as f64 / FINENESS - REACH
}

/// The part of a bell curve that is left so many widths from its middle.
fn bell(widths: f64) -> f32 {
    (-0.5 * widths * widths).exp() as f32
}

impl Default for Belief {
    /// With the plan, give or take half a step.
    fn default() -> Self {
        let mut belief = Self {
            likely: std::array::from_fn(|place| bell(steps_of(place) / 0.5)),
            last: None,
        };
        belief.even_out();
        belief
    }
}

impl Belief {
    /// Lets the player wander until step `now`: by a sixteenth of a step in each, as if by chance.
    /// A drift of one step takes many.
    pub(super) fn wait(&mut self, now: f64) {
        let gone = self.last.map_or(1.0, |last| (now - last).clamp(0.0, 8.0));
        self.last = Some(now);
        // Each blur adds a variance of half a place.
        let mut blurs = 2.0 * gone;
        while blurs > 0.0 {
            self.blur(0.25 * blurs.min(1.0) as f32);
            blurs -= 1.0;
        }
    }

    fn blur(&mut self, share: f32) {
        let mut before = self.likely[0];
        for place in 0..PLACES {
            let here = self.likely[place];
            let after = self.likely[(place + 1).min(PLACES - 1)];
            self.likely[place] = here + share * (before + after - 2.0 * here);
            before = here;
        }
    }

    /// What a note says that fits nowhere, a step lasting so many milliseconds.
    pub(super) fn hint(&self, step_ms: f64) -> Hint {
        Hint {
            likely: [WRONG; PLACES],
            width: (UNEVEN_MS / step_ms).clamp(0.1, 0.35),
        }
    }

    /// Believes it.
    pub(super) fn take(&mut self, hint: Hint) {
        for (likely, hint) in self.likely.iter_mut().zip(hint.likely) {
            *likely *= hint;
        }
        self.even_out();
    }

    /// All together are 1, and none is impossible.
    fn even_out(&mut self) {
        let all: f32 = self.likely.iter().sum();
        for likely in &mut self.likely {
            *likely = (*likely / all).max(LEAST);
        }
    }

    /// Steps ahead of the plan at which the player most likely is: the middle of what is likely
    /// within half a step of the likeliest place.
    pub(super) fn place(&self) -> f64 {
        let likeliest = (0..PLACES).fold(0, |best, place| {
            if self.likely[place] > self.likely[best] {
                place
            } else {
                best
            }
        });
        let half = (FINENESS / 2.0) as usize;
        let around = likeliest.saturating_sub(half)..=(likeliest + half).min(PLACES - 1);
        let (mut sum, mut weight) = (0.0, 0.0);
        for place in around {
            let likely = f64::from(self.likely[place]);
            sum += likely * steps_of(place);
            weight += likely;
        }
        sum / weight
    }
}

impl Hint {
    /// The note is right if the player is so many steps ahead.
    pub(super) fn may_be(&mut self, steps: f64) {
        let reach = 4.0 * self.width;
        let place_of = |steps: f64| ((steps + REACH) * FINENESS).clamp(0.0, PLACES as f64 - 1.0);
        let first = place_of(steps - reach).ceil() as usize;
        let last = place_of(steps + reach).floor() as usize;
        for place in first..=last {
            self.likely[place] += bell((steps_of(place) - steps) / self.width);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(belief: &mut Belief, step: f64, ahead: &[f64]) {
        belief.wait(step);
        let mut hint = belief.hint(140.0);
        ahead.iter().for_each(|steps| hint.may_be(*steps));
        belief.take(hint);
    }

    #[test]
    fn one_wrong_note_moves_nothing() {
        let mut belief = Belief::default();
        (0..8).for_each(|step| told(&mut belief, f64::from(step), &[0.0, 4.0]));
        told(&mut belief, 8.0, &[-3.0]);
        assert!(belief.place().abs() < 0.05, "{}", belief.place());
    }

    #[test]
    fn who_leapt_is_found_again() {
        let mut belief = Belief::default();
        (0..8).for_each(|step| told(&mut belief, f64::from(step), &[0.0]));
        (8..14).for_each(|step| {
            told(
                &mut belief,
                f64::from(step),
                &[5.0, -1.0 - f64::from(step % 3)],
            )
        });
        assert!((belief.place() - 5.0).abs() < 0.1, "{}", belief.place());
    }

    #[test]
    fn on_one_pitch_it_is_followed_step_by_step_the_way_that_was_gone() {
        // Every step strikes the same key: only where one was before tells which is meant.
        let mut belief = Belief::default();
        for step in 0..=96 {
            let ahead = 2.0 * f64::from(step) / 96.0;
            let alike: Vec<f64> = (-7..=5).map(|k| f64::from(k) + ahead).collect();
            told(&mut belief, f64::from(step), &alike);
        }
        assert!((belief.place() - 2.0).abs() < 0.1, "{}", belief.place());
    }

    #[test]
    fn nonsense_leaves_a_number() {
        let mut belief = Belief::default();
        told(&mut belief, 1e9, &[f64::MAX, f64::MIN, 0.0]);
        told(&mut belief, -1e9, &[]);
        assert!(belief.place().abs() < 0.2, "{}", belief.place());
    }
}
