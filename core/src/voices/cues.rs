//! Copies that move on a performer's cue: where they dwell, and what a cue does.

use super::{Changed, Going, Timetable, Voices};
use crate::motion::StagePart;
use crate::part::{CopyNumber, Part};
use crate::settings::Advance;
use crate::time::{Beats, HAIR, Since};

impl Voices {
    /// Whether any stage waits for a performer's cue.
    pub fn are_cued(&self) -> bool {
        self.schedule().has_cues()
    }

    /// A performer's cue at song position `now`: every copy that waits for one moves at its next
    /// cycle. Whether any took it.
    pub fn cue(&mut self, now: Beats) -> bool {
        let mut taken = false;
        for copy in self.copies() {
            let Some(tau) = self.moving_for(copy, now) else {
                continue;
            };
            let cued = self.course(copy).timetable().cue(tau, self.phrase.length());
            if let Some(going) = cued {
                self.copies[copy.index()].walk.going = going;
                taken = true;
            }
        }
        taken
    }

    /// Song position leaps from `now` to `then`: where stages wait for cues, copies come to rest at
    /// the offset they have or were on their way to. Those that were cued and have not moved yet do
    /// so at their next cycle there. Whether that is a change.
    pub fn come_to_rest(&mut self, now: Beats, then: Beats) -> bool {
        if !self.are_cued() {
            return false;
        }
        let mut changed = false;
        for copy in CopyNumber::ALL {
            let tau = self.moving_for(copy, now).unwrap_or_default();
            let there = self.moving_for(copy, then).unwrap_or_default();
            let rest = self
                .course(copy)
                .timetable()
                .come_to_rest(tau, there, self.phrase.length());
            changed |= self.copies[copy.index()].walk.going != rest;
            self.copies[copy.index()].walk.going = rest;
        }
        changed
    }

    /// Forgets how it got here: offsets stand at their target; and unless stages wait for cues, all
    /// is as the settings and the route would have had it from the origin on. After a leap in song position.
    /// Whether stages may lie elsewhere from now on.
    pub fn settle(&mut self) -> bool {
        if self.changed == Changed::NEVER {
            // Laps and stages are as they would be anyway.
            self.rest_offsets();
            return false;
        }
        if !self.are_cued() {
            return self.begin_anew();
        }
        let going = self.copies.each_ref().map(|copy| copy.walk.going);
        let changed = self.begin_anew();
        for (copy, going) in self.copies.iter_mut().zip(going) {
            copy.walk.going = going;
        }
        changed
    }

    /// Whether dwells are counted that wait for a cue.
    pub fn counts_dwells(&self) -> bool {
        self.counted
    }

    /// Has dwells counted that wait for a cue, or has them wait: all is as if it had been so from the
    /// origin on. Whether that is a change.
    pub fn count_dwells(&mut self, counted: bool) -> bool {
        if self.counted == counted {
            return false;
        }
        self.counted = counted;
        self.lay_out();
        self.begin_anew();
        true
    }

    /// The same with dwells counted that wait for a cue: what is proposed to a performer.
    pub fn as_counted(&self) -> Self {
        let mut settings = self.settings;
        settings.motion.advance = Advance::Counted;
        let mut counted = Self::new(self.phrase.clone(), settings, self.origin);
        counted.set_route(&self.route.counted(settings.motion.dwell));
        counted
    }

    /// Song position at which the last of the copies moves that were cued and had not moved yet at
    /// `now`; none if there is none.
    pub fn cue_holds_until(&self, now: Beats) -> Option<Beats> {
        let moves = self.copies().filter_map(|copy| {
            let from = self.moves_from(Part::Copy(copy))?;
            let going = *self.course(copy).timetable().going();
            let cued = self.schedule().waits(going.stage) && going.until.is_finite();
            cued.then(|| going.until.to_song(from))
        });
        moves.filter(|at| *at > now).reduce(f64::max)
    }

    /// Whether a cue ends the dwell in which `copy` is at song position `at`, and when, if it does.
    pub fn cued_to_move(&self, copy: CopyNumber, at: Beats) -> Option<Beats> {
        let from = self.moves_from(Part::Copy(copy))?;
        let timetable = self.course(copy).timetable();
        let station = timetable.station_at(self.moving_for(copy, at)?);
        let dwells = station.part == StagePart::Dwell && timetable.is_cued(station.stage);
        dwells.then(|| timetable.end_of(station).to_song(from))
    }

    /// Where song position `at` falls in the form. On cue that is where copy 1 would stand as it
    /// does were dwells counted; a dwell that lasts longer stays at its end.
    pub fn place_in_form(&self, at: Beats) -> Beats {
        let moves_from = self.moves_from(Part::COPY_1);
        let Some(from) = moves_from.filter(|from| self.are_cued() && *from <= at) else {
            return at;
        };
        let copy = CopyNumber::FIRST;
        let now = Since::from_song(at, from);
        let course = self.course(copy);
        let timetable = course.timetable();
        let station = timetable.station_at(now);
        let schedule = self.schedule();
        let counted = Timetable::new(schedule, copy, Going::first(schedule, copy)).counted();
        let since = now - timetable.begin_of(station);
        let lasts = counted.end_of(station) - counted.begin_of(station);
        // A hair before its end, so that it is still in that part.
        let since = since.clamp(0.0, (lasts - HAIR).max(0.0));
        counted.begin_of(station).to_song(from) + since
    }

    /// Song position `now`, counted from where `copy` began to count its moves, once it has.
    pub(super) fn moving_for(&self, copy: CopyNumber, now: Beats) -> Option<Since> {
        let tau = Since::from_song(now, self.moves_from(Part::Copy(copy))?);
        (tau >= Since::START).then_some(tau)
    }
}
