//! What becomes of voices on their way when what shapes stages is changed: from the present stage
//! on they do as it now says, and what has passed stays as it was.

use super::listing::Listed;
use super::{Changed, Voices, own_growth, told_to_stand};
use crate::growth::{Laps, LapsFrom, Ranks};
use crate::motion::{Going, Onward, Standing, Stood};
use crate::part::{CopyNumber, MAX_COPIES, Part};
use crate::route::Route;
use crate::settings::{Growth, GrowthSettings, Motion, MotionSettings, Settings};
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
    // A copy that grows counts its moves from when it is whole.
    let grown_otherwise = own_growth(&new.growth).growth != Growth::Off
        && old.copies.map(|copy| copy.length) != new.copies.map(|copy| copy.length);
    motion != new.motion || growth != new.growth || old.step() != new.step() || grown_otherwise
}

/// How voices stood a moment before a change.
struct Before {
    /// Stages that have begun.
    stages: usize,
    /// The end of the lap that the steady voice reads, after the origin.
    lap_ends: Beats,
    copies: [CopyBefore; MAX_COPIES],
}

#[derive(Clone, Copy)]
struct CopyBefore {
    /// After the origin.
    entered: Option<Beats>,
    moves: Option<Beats>,
    /// None before it moves.
    stood: Option<Stood>,
    /// Beats ahead at which it waits to move, its offset aside, if it has entered.
    waits_at: Option<Beats>,
    place: Option<MaterialPlace>,
}

impl Voices {
    /// Puts other settings in force from song position `now` on. Whether stages may lie elsewhere
    /// from now on. `begun` counts the stages that have begun.
    ///
    /// Where a change may take its time, it does: offsets are approached or wait for the copy's
    /// next cycle, and what shapes stages counts from the present one on; what comes up to [`LATE`]
    /// after a boundary has come on it. All else holds at once.
    pub fn set_settings(
        &mut self,
        settings: Settings,
        now: Beats,
        begun: impl FnOnce(&Self) -> usize,
    ) -> bool {
        let old = self.settings;
        let stages_move = stages_move(&old, &settings);
        if !stages_move {
            self.settings = settings;
            self.reorder(&old.growth);
            self.read_otherwise(&old);
            self.approach_offsets(&old, now);
            return false;
        }
        let before = (now - LATE > self.origin).then(|| self.before(now, begun));
        let stages: [u64; MAX_COPIES] = self.present_stages(&before);
        let on: [LapsFrom; 1 + MAX_COPIES] = self.laps_from(&before, &settings.growth, now);
        self.settings = settings;
        self.reorder(&old.growth);
        self.read_otherwise(&old);
        self.lay_out();
        match before {
            Some(before) => {
                self.go_on(&before, &stages, now);
                if regrows(&old.growth, &settings.growth) {
                    self.regrow(&on);
                }
                self.approach_offsets(&old, now);
            }
            None => {
                let standing = self.copies.each_ref().map(|copy| copy.walk.standing);
                self.begin_anew();
                if old.step() == settings.step() {
                    for (copy, standing) in self.copies.iter_mut().zip(standing) {
                        copy.walk.standing = standing;
                    }
                    self.approach_offsets(&old, now);
                }
            }
        }
        true
    }

    /// Another route from song position `now` on, or none. `begun` counts the stages that have
    /// begun.
    pub fn change_route(&mut self, route: &Route, now: Beats, begun: impl FnOnce(&Self) -> usize) {
        if now - LATE <= self.origin {
            self.set_route(route);
            return;
        }
        let before = self.before(now, begun);
        let stages = before.copies.map(|copy| {
            let stage = copy.stood.map_or(0, |stood| stood.stage());
            self.becomes(stage, route)
        });
        self.route.copy_from(route);
        self.lay_out();
        self.go_on(&before, &stages, now);
    }

    fn reorder(&mut self, old: &GrowthSettings) {
        let new = self.settings.growth;
        if (old.order, old.seed) != (new.order, new.seed) {
            self.ranks = Ranks::new(&self.phrase, new.order, new.seed);
        }
    }

    /// Copies that read the other way round from now on, or in a cycle of another length, or either
    /// on another grid: as if they always had. What they read may lengthen otherwise.
    fn read_otherwise(&mut self, old: &Settings) {
        let other_step = old.step() != self.settings.step();
        if other_step {
            self.backwards.turn(&self.phrase, self.settings.step());
        }
        let growth = own_growth(&self.settings.growth);
        for copy in CopyNumber::ALL {
            let own = |settings: &Settings| {
                let own = &settings.copies[copy.index()];
                (own.backwards, own.length)
            };
            let (was, is) = (own(old), own(&self.settings));
            if was.1 != is.1 || other_step {
                self.make_material_of(copy);
            }
            if was != is || (other_step && (is.0 || is.1.is_some())) {
                let from = *self.copies[copy.index()].laps.from();
                self.lay_laps_of(copy, from, &growth);
            }
        }
    }

    fn before(&self, now: Beats, begun: impl FnOnce(&Self) -> usize) -> Before {
        let past = now - LATE;
        Before {
            stages: begun(self),
            lap_ends: self.steady_lap(past).end().beats().max(0.0),
            copies: CopyNumber::ALL.map(|copy| self.copy_before(copy, now)),
        }
    }

    fn copy_before(&self, copy: CopyNumber, now: Beats) -> CopyBefore {
        let (part, past) = (Part::Copy(copy), now - LATE);
        let passed = |at: Option<Beats>| at.filter(|at| *at <= past).map(|at| at - self.origin);
        let moving = self.moving_for(copy, now);
        CopyBefore {
            entered: passed(self.entry(part)),
            moves: passed(self.moves_from(part)),
            stood: moving.map(|tau| Stood::at(tau, &self.course(copy), self.building())),
            waits_at: self.entry(part).filter(|entry| *entry <= now).map(|_| {
                let timetable = self.course(copy).timetable();
                timetable.ahead(timetable.going().stage)
            }),
            place: self.place(part, past),
        }
    }

    fn present_stages(&self, before: &Option<Before>) -> [u64; MAX_COPIES] {
        let stage = |copy: &CopyBefore| copy.stood.map_or(0, |stood| stood.stage());
        before.as_ref().map_or([0; MAX_COPIES], |before| {
            before.copies.each_ref().map(stage)
        })
    }

    /// From where each voice's laps go on, the steady one's first.
    fn laps_from(
        &self,
        before: &Option<Before>,
        growth: &GrowthSettings,
        now: Beats,
    ) -> [LapsFrom; 1 + MAX_COPIES] {
        let mut from = [LapsFrom::START; 1 + MAX_COPIES];
        let Some(before) = before else { return from };
        let place = Since::from_song(now - LATE, self.origin).steady_place();
        from[0] = self.steady.from_here(place, growth, &self.phrase);
        let own = own_growth(growth);
        for (index, copy) in before.copies.iter().enumerate() {
            if let Some(place) = copy.place {
                let laps = &self.copies[index].laps;
                let material = self.material(Part::Copy(CopyNumber::ALL[index]));
                from[1 + index] = laps.from_here(place, &own, material.phrase());
            }
        }
        from
    }

    fn regrow(&mut self, from: &[LapsFrom; 1 + MAX_COPIES]) {
        let growth = self.settings.growth;
        self.steady = Laps::going_on_from(from[0], &self.phrase, &growth);
        let own = own_growth(&growth);
        for (copy, from) in CopyNumber::ALL.into_iter().zip(&from[1..]) {
            self.lay_laps_of(copy, *from, &own);
        }
    }

    /// Copies go on from where they stood, each in the stage that its present one has become.
    fn go_on(&mut self, before: &Before, stages: &[u64; MAX_COPIES], now: Beats) {
        self.changed = Changed {
            at: now - LATE - self.origin,
            stages: before.stages,
            next_lap: before.lap_ends,
        };
        for copy in CopyNumber::ALL {
            let stood = &before.copies[copy.index()];
            let onward = Onward {
                schedule: self.schedule(),
                copy,
                stage: stages[copy.index()],
                building: self.building(),
                cycle: self.phrase.length(),
                rotation: self.rotation,
            };
            let going = match &stood.stood {
                Some(stood) => onward.from(stood),
                None => Going::first(self.schedule(), copy).standing_at(stood.waits_at),
            };
            let walk = &mut self.copies[copy.index()].walk;
            walk.from = going;
            walk.going = going;
            walk.entered = stood.entered;
            walk.moves = stood.moves;
        }
    }

    /// Where in its material a voice is at song position `at`, if it has entered.
    fn place(&self, part: Part, at: Beats) -> Option<MaterialPlace> {
        let entry = self.entry(part).filter(|entry| *entry <= at)?;
        let tau = Since::from_song(at, entry);
        Some(self.piece_at(part, tau)?.place_at(tau))
    }

    /// Copies set out for the offsets that they are told to stand at now.
    fn approach_offsets(&mut self, old: &Settings, now: Beats) {
        let same_step = old.step() == self.settings.step();
        for copy in CopyNumber::ALL {
            let told = told_to_stand(&self.settings, copy);
            let standing = self.copies[copy.index()].walk.standing;
            if same_step && standing.target() == told.target() {
                continue;
            }
            let entry = self.entry(Part::Copy(copy)).filter(|entry| *entry < now);
            let moves = self.moves_from(Part::Copy(copy));
            self.copies[copy.index()].walk.standing = match (same_step, entry, moves) {
                (true, Some(_), Some(moves)) => {
                    self.approach(standing, Since::from_song(now, moves), told.target())
                }
                _ => told,
            };
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

    /// The stage of another route that stage `stage` has become: what stands before it or after it
    /// on both lists tells, or where copies stand in it.
    fn becomes(&self, stage: u64, route: &Route) -> u64 {
        let (old, new) = (Listed::of(self, &self.route), Listed::of(self, route));
        let (index, rounds) = old.place(stage);
        let same = |a: usize, b: usize| old.at(a) == new.at(b);
        let before = (0..old.count.min(new.count)).take_while(|at| same(*at, *at));
        let after = (1..=old.count.min(new.count))
            .take_while(|back| same(old.count - back, new.count - back));
        let place = if before.count() > index {
            index
        } else if after.count() >= old.count - index {
            new.count - (old.count - index)
        } else {
            let ahead = old.at(index).ahead;
            (0..new.count)
                .filter(|at| new.at(*at).ahead == ahead)
                .min_by_key(|at| at.abs_diff(index))
                .unwrap_or(index.min(new.count.max(1) - 1))
        };
        new.stage(place, rounds)
    }
}

/// Whether laps may be others: in which order notes come says nothing of when.
fn regrows(old: &GrowthSettings, new: &GrowthSettings) -> bool {
    let reordered = GrowthSettings {
        order: new.order,
        seed: new.seed,
        ..*old
    };
    reordered != *new
}
