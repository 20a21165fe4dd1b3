//! Where voices stand: what is to be known, beside phrase, settings and route, to go on from here.

use super::{Changed, Voices, Walk, own_growth, told_to_stand};
use crate::growth::{Laps, LapsFrom};
use crate::motion::Standing;
use crate::part::{CopyNumber, MAX_COPIES, Part};
use crate::settings::GrowthSettings;

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
    walk: Walk,
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
                    walk: copy.walk,
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
        for (copy, other) in CopyNumber::ALL.into_iter().zip(&footing.copies) {
            if *self.copies[copy.index()].laps.from() != other.laps {
                self.lay_laps_of(copy, other.laps, &growth);
            }
            self.copies[copy.index()].walk = other.walk;
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
            let first = Walk::first(self.schedule(), &self.settings, copy);
            self.copies[copy.index()].walk = first;
        }
        before != self.footing()
    }

    /// Offsets on their way have arrived.
    pub fn rest_offsets(&mut self) {
        for (voice, copy) in self.copies.iter_mut().zip(CopyNumber::ALL) {
            voice.walk.standing = told_to_stand(&self.settings, copy);
        }
    }

    /// Every voice grows from the beginning as the settings have it.
    pub(super) fn lay_laps(&mut self) {
        let growth = own_growth(&self.settings.growth);
        for copy in CopyNumber::ALL {
            self.lay_laps_of(copy, LapsFrom::START, &growth);
        }
        self.steady = Laps::new(&self.phrase, &self.settings.growth);
    }

    /// A copy's laps go on from there, growing so.
    pub(super) fn lay_laps_of(
        &mut self,
        copy: CopyNumber,
        from: LapsFrom,
        growth: &GrowthSettings,
    ) {
        let material = self.material(Part::Copy(copy)).phrase();
        let notes = self.phrase.notes().len();
        self.copies[copy.index()].laps = Laps::of_part(from, material, notes, growth);
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
            copy.walk.going = copy.walk.from;
            copy.walk.standing = Standing::default();
        }
        without
    }
}
