//! Where voices stand: what is to be known, beside phrase, settings and route, to go on from here.

use super::{Changed, Voices, copy_laps, told_to_stand};
use crate::growth::{Laps, LapsFrom};
use crate::motion::{Going, Standing};
use crate::part::{CopyNumber, MAX_COPIES};
use crate::settings::GrowthSettings;
use crate::time::Beats;

/// What voices have become on the way, counted from the origin.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Footing {
    changed: Changed,
    steady: LapsFrom,
    copies: [CopyFooting; MAX_COPIES],
}

#[derive(Clone, Copy, Debug, PartialEq)]
struct CopyFooting {
    laps: LapsFrom,
    from: Going,
    going: Going,
    standing: Standing,
    entered: Option<Beats>,
    moves: Option<Beats>,
}

impl Voices {
    /// Where they stand.
    pub fn footing(&self) -> Footing {
        Footing {
            changed: self.changed,
            steady: *self.steady.from(),
            copies: std::array::from_fn(|index| {
                let copy = &self.copies[index];
                CopyFooting {
                    laps: *copy.laps.from(),
                    from: copy.from,
                    going: copy.going,
                    standing: copy.standing,
                    entered: copy.entered,
                    moves: copy.moves,
                }
            }),
        }
    }

    /// Stands where others of the same phrase, settings and route do. Whether stages may lie elsewhere from now on, or
    /// only cues have come.
    pub fn stand(&mut self, footing: &Footing) -> Stands {
        let before = self.footing();
        if before == *footing {
            return Stands::AsBefore;
        }
        self.changed = footing.changed;
        self.steady = Laps::going_on_from(footing.steady, &self.phrase, &self.settings.growth);
        let growth = own_growth(&self.settings.growth);
        for (copy, other) in self.copies.iter_mut().zip(&footing.copies) {
            if *copy.laps.from() != other.laps {
                copy.laps = Laps::going_on_from(other.laps, &self.phrase, &growth);
            }
            copy.from = other.from;
            copy.going = other.going;
            copy.standing = other.standing;
            copy.entered = other.entered;
            copy.moves = other.moves;
        }
        let cued = before.but_for_cues() == footing.but_for_cues();
        if cued {
            Stands::Cued
        } else {
            Stands::Elsewhere
        }
    }

    /// Everything is as it would be if the settings and the route had been as they are from the
    /// origin on, and no cue had come. Whether that is a change.
    pub fn begin_anew(&mut self) -> bool {
        let before = self.footing();
        self.changed = Changed::NEVER;
        self.lay_laps();
        for copy in CopyNumber::ALL {
            let first = Going::first(self.schedule(), copy);
            let voice = &mut self.copies[copy.index()];
            voice.from = first;
            voice.going = first;
            voice.standing = told_to_stand(&self.settings, copy);
            voice.entered = None;
            voice.moves = None;
        }
        before != self.footing()
    }

    /// Offsets on their way have arrived.
    pub fn rest_offsets(&mut self) {
        for (voice, copy) in self.copies.iter_mut().zip(CopyNumber::ALL) {
            voice.standing = told_to_stand(&self.settings, copy);
        }
    }

    /// Every voice grows from the beginning as the settings have it.
    fn lay_laps(&mut self) {
        let laps = copy_laps(&self.phrase, &self.settings.growth);
        for copy in &mut self.copies {
            copy.laps.clone_from(&laps);
        }
        self.steady = Laps::new(&self.phrase, &self.settings.growth);
    }
}

/// How voices stand otherwise than before.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stands {
    /// Not at all.
    AsBefore,
    /// Stages are counted as before, but cues have come, or were forgotten.
    Cued,
    /// Stages lie elsewhere.
    Elsewhere,
}

impl Footing {
    /// The same without the cues that have come since something changed.
    fn but_for_cues(&self) -> Self {
        let mut without = *self;
        for copy in &mut without.copies {
            copy.going = copy.from;
            copy.standing = Standing::default();
        }
        without
    }
}

/// How copies grow, if they do.
pub(super) fn own_growth(growth: &GrowthSettings) -> GrowthSettings {
    use crate::settings::Growth;
    GrowthSettings {
        growth: if growth.copies_grow {
            growth.growth
        } else {
            Growth::Off
        },
        ..*growth
    }
}
