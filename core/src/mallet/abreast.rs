//! Bars that only ring on, several side by side: so a processor takes the same step for all of them
//! at once. What is heard is to the bit what each would sound like by itself.

use super::STRETCH;
use super::stroke::{Partial, Stroke};
use arrayvec::ArrayVec;

/// How many bars go side by side. With eight, a frame's arithmetic takes longer than waiting for the
/// frame before it. Measured.
pub(super) const ABREAST: usize = 8;

/// Where a few bars are rung.
#[derive(Debug)]
pub(super) struct Abreast {
    /// Frame by frame, what each sounds like.
    heard: [[f64; ABREAST]; STRETCH],
}

/// The same partial of every bar, the first of each, say. Bars that have it no more rest.
#[derive(Default)]
struct Row {
    across: [f64; ABREAST],
    height: [f64; ABREAST],
    turn_across: [f64; ABREAST],
    turn_height: [f64; ABREAST],
}

impl Abreast {
    pub fn new() -> Self {
        Self {
            heard: [[0.0; ABREAST]; STRETCH],
        }
    }

    /// Adds what the `strokes` sound like, one after another in the order in which they come, to both
    /// sides, which are equally long and no longer than a [`STRETCH`].
    pub fn ring(
        &mut self,
        strokes: &mut ArrayVec<&mut Stroke, ABREAST>,
        left: &mut [f64],
        right: &mut [f64],
    ) {
        let frames = left.len();
        let heard = &mut self.heard[..frames];
        let swings: [bool; ABREAST] = std::array::from_fn(|lane| {
            let stroke = strokes.get(lane);
            stroke.is_some_and(|stroke| stroke.only_swings())
        });
        heard.fill([0.0; ABREAST]);
        for partial in 0.. {
            let mut row = Row::default();
            let mut is_empty = true;
            for (lane, stroke) in swinging(strokes, &swings) {
                if let Some(partial) = stroke.partial(partial) {
                    row.enter(lane, partial);
                    is_empty = false;
                }
            }
            if is_empty {
                break;
            }
            row.swing(heard);
            for (lane, stroke) in swinging(strokes, &swings) {
                if let Some(partial) = stroke.partial(partial) {
                    row.leave(lane, partial);
                }
            }
        }
        let mut sides = [[0.0; ABREAST]; 2];
        for (lane, stroke) in strokes.iter_mut().enumerate() {
            if swings[lane] {
                stroke.grow_older(frames);
            } else {
                let alone = heard.iter_mut().zip(stroke.sound(frames));
                alone.for_each(|(heard, sound)| heard[lane] = sound);
            }
            (sides[0][lane], sides[1][lane]) = stroke.sides();
        }
        for (frame, heard) in heard.iter().enumerate() {
            left[frame] = added(left[frame], &sides[0], heard);
            right[frame] = added(right[frame], &sides[1], heard);
        }
    }
}

/// The strokes that only swing, each with its place.
fn swinging<'a>(
    strokes: &'a mut ArrayVec<&mut Stroke, ABREAST>,
    swings: &'a [bool; ABREAST],
) -> impl Iterator<Item = (usize, &'a mut Stroke)> {
    let all = strokes.iter_mut().map(|stroke| &mut **stroke).enumerate();
    all.filter(|(lane, _)| swings[*lane])
}

/// A sum, with all bars added to it in their order.
fn added(sum: f64, side: &[f64; ABREAST], heard: &[f64; ABREAST]) -> f64 {
    let of_each = side.iter().zip(heard).map(|(side, heard)| side * heard);
    of_each.fold(sum, |sum, one| sum + one)
}

impl Row {
    fn enter(&mut self, lane: usize, partial: &Partial) {
        (self.across[lane], self.height[lane]) = (partial.across, partial.height);
        self.turn_across[lane] = partial.turn_across;
        self.turn_height[lane] = partial.turn_height;
    }

    fn leave(&self, lane: usize, partial: &mut Partial) {
        (partial.across, partial.height) = (self.across[lane], self.height[lane]);
    }

    /// Each swings on, frame by frame, and is added to what is heard of its bar.
    fn swing(&mut self, heard: &mut [[f64; ABREAST]]) {
        let Self {
            mut across,
            mut height,
            turn_across,
            turn_height,
        } = *self;
        for heard in heard {
            let (was_across, was_height) = (across, height);
            for lane in 0..ABREAST {
                across[lane] =
                    was_across[lane] * turn_across[lane] - was_height[lane] * turn_height[lane];
                height[lane] =
                    was_across[lane] * turn_height[lane] + was_height[lane] * turn_across[lane];
                heard[lane] += height[lane];
            }
        }
        (self.across, self.height) = (across, height);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mallet::bar;
    use crate::mallet::make::Make;
    use crate::note::{Key, Velocity};
    use crate::settings::Mallet;

    const RATE: f64 = 48_000.0;

    /// From one that the mallet still drives to one that is about to fall silent, some damped and one
    /// fading: all that a bar goes through.
    fn strokes() -> Vec<Stroke> {
        let stroke = |n: u8| {
            let make = Make::of(Mallet::ALL[usize::from(n) % Mallet::ALL.len()]);
            let bar = (make, &bar::strengths(make));
            let key = Key::by_octave(40 + 7 * i32::from(n));
            let velocity = Velocity::new(0.05 + 0.1 * f32::from(n));
            let mut stroke = Stroke::new(n.into(), key, velocity, 20 * n, bar, RATE);
            let before = usize::from(n) * usize::from(n) * 450;
            stroke.sound(before).for_each(drop);
            if n % 3 == 1 {
                stroke.damp(RATE);
            }
            if n == 5 {
                stroke.leave(RATE);
            }
            stroke
        };
        (0..7).map(stroke).collect()
    }

    #[test]
    fn side_by_side_each_bar_sounds_as_by_itself_to_the_bit() {
        let mut together = strokes();
        let mut alone = together.clone();
        let mut abreast = Abreast::new();
        // How many bars only swung in a stretch, and how many did not.
        let mut went = [0, 0];
        let mut lengths = (1..=STRETCH).cycle();
        while !together.is_empty() {
            let length = lengths.next().unwrap_or(1);
            let mut sums = [[0.0; STRETCH]; 4];
            let [left, right, alone_left, alone_right] = &mut sums;
            let swinging = together.iter().filter(|s| s.only_swings()).count();
            went[0] += swinging;
            went[1] += together.len() - swinging;
            let mut few: ArrayVec<&mut Stroke, ABREAST> = together.iter_mut().collect();
            abreast.ring(&mut few, &mut left[..length], &mut right[..length]);
            drop(few);
            for stroke in &mut alone {
                stroke.ring(&mut alone_left[..length], &mut alone_right[..length]);
            }
            let bits = |side: [f64; STRETCH]| side.map(f64::to_bits);
            assert_eq!(bits(sums[0]), bits(sums[2]));
            assert_eq!(bits(sums[1]), bits(sums[3]));
            together.retain(|stroke| !stroke.is_over());
            alone.retain(|stroke| !stroke.is_over());
            assert_eq!(together.len(), alone.len());
        }
        assert!(went[0] > 5_000 && went[1] > 20, "{went:?}");
    }
}
