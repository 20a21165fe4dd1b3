//! What a change of settings does to voices on their way.

use super::{Voices, build_up_length, copy_laps};
use crate::growth::Ranks;
use crate::motion::{Course, Standing, Timetable};
use crate::part::{CopyNumber, Part};
use crate::settings::{GrowthSettings, Motion, MotionSettings, Settings};
use crate::time::{Beats, LATE, MaterialPlace, Since};

/// Whether stages may lie elsewhere under other settings: offsets and the order of notes are
/// nothing to them.
fn stages_move(old: &Settings, new: &Settings) -> bool {
    let motion = MotionSettings {
        offset: new.motion.offset,
        ..old.motion
    };
    let growth = GrowthSettings {
        order: new.growth.order,
        seed: new.growth.seed,
        ..old.growth
    };
    motion != new.motion || growth != new.growth || old.step() != new.step()
}

impl Voices {
    /// Puts other settings in force from song position `now` on. Whether stages may lie elsewhere
    /// from now on.
    ///
    /// Where a change may take its time, it does: offsets are approached or wait for the copy's
    /// next cycle, a growth step counts from the next stage on; what comes up to [`LATE`] after a
    /// boundary has come on it. All else holds at once.
    pub fn set_settings(&mut self, settings: Settings, now: Beats) -> bool {
        let old = std::mem::replace(&mut self.settings, settings);
        if old.growth != settings.growth {
            self.change_growth(&old.growth, now);
        }
        let stages_move = stages_move(&old, &settings);
        if stages_move || old.motion != settings.motion || old.copies != settings.copies {
            self.change_courses(&old, now);
        }
        stages_move
    }

    fn change_growth(&mut self, old: &GrowthSettings, now: Beats) {
        let new = self.settings.growth;
        if (old.order, old.seed) != (new.order, new.seed) {
            self.ranks = Ranks::new(&self.phrase, new.order, new.seed);
        }
        // Which notes come first says nothing of when.
        let reordered = GrowthSettings {
            order: new.order,
            seed: new.seed,
            ..*old
        };
        let only_step = GrowthSettings {
            step: new.step,
            ..reordered
        };
        if reordered == new {
            return;
        }
        if only_step == new && now - LATE > self.origin {
            self.change_growth_step(now - LATE);
        } else {
            self.lay_laps();
        }
    }

    fn change_growth_step(&mut self, now: Beats) {
        self.stepped = true;
        let step = self.settings.growth.step;
        for copy in CopyNumber::ALL {
            let part = Part::Copy(copy);
            let laps = match self.place(part, now) {
                Some(place) => self.laps(part).with_step_from(place, step, &self.phrase),
                None => copy_laps(&self.phrase, &self.settings.growth),
            };
            self.copies[copy.index()].laps = laps;
        }
        let place = Since::from_song(now, self.origin).steady_place();
        self.steady = self.steady.with_step_from(place, step, &self.phrase);
    }

    /// Where in its material a voice is at song position `at`, if it has entered.
    fn place(&self, part: Part, at: Beats) -> Option<MaterialPlace> {
        let entry = self.entry(part).filter(|entry| *entry <= at)?;
        let tau = Since::from_song(at, entry);
        Some(self.piece_at(part, tau)?.place_at(tau))
    }

    fn change_courses(&mut self, old: &Settings, now: Beats) {
        let settings = self.settings;
        let build = build_up_length(&self.phrase, &settings);
        let timetable = Timetable::new(&self.phrase, &settings, build);
        let same_step = old.step() == settings.step();
        for copy in CopyNumber::ALL {
            let mut course = Course::new(copy, timetable, &settings);
            let moving_for = self.moving_for(copy, now).unwrap_or_default();
            let before = self.copies[copy.index()].course;
            course
                .timetable_mut()
                .take_over(before.timetable(), moving_for);
            let tau = self
                .entry(Part::Copy(copy))
                .map(|entry| Since::from_song(now, entry))
                .filter(|tau| *tau > Since::START);
            if let (Some(tau), true) = (tau, same_step) {
                let target = course.standing.target();
                let standing = self.copies[copy.index()].course.standing;
                course.standing = if standing.target() == target {
                    standing
                } else {
                    self.approach(standing, tau, target)
                };
            }
            self.copies[copy.index()].course = course;
        }
    }

    /// How a copy gets to a changed offset.
    fn approach(&self, standing: Standing, tau: Since, target: Beats) -> Standing {
        let cycle = self.phrase.length();
        match self.settings.motion.motion {
            Motion::Drift => {
                let cycles = f64::from(self.settings.motion.drift.max(1));
                standing.glide(tau, target, self.settings.step() / (cycles * cycle))
            }
            Motion::Jump | Motion::BuildUp => {
                let cycles = ((tau - LATE).beats() / cycle).ceil();
                standing.leap(tau, target, Since::new(cycles * cycle))
            }
        }
    }
}
