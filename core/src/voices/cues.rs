//! Copies that move on a performer's cue: where they dwell, and what a cue does.

use super::Voices;
use crate::motion::Dwelling;
use crate::part::{CopyNumber, MAX_COPIES, Part};
use crate::settings::Advance;
use crate::time::{Beats, HAIR, Since};

impl Voices {
    /// A performer's cue at song position `now`: every copy that dwells moves at its next cycle.
    /// Whether any took it.
    pub fn cue(&mut self, now: Beats) -> bool {
        let mut taken = false;
        for copy in self.copies() {
            if let Some(tau) = self.moving_for(copy, now) {
                let timetable = self.copies[copy.index()].course.timetable_mut();
                taken |= timetable.cue(tau);
            }
        }
        taken
    }

    /// No cue was ever given. Whether that is a change.
    pub fn forget_cues(&mut self) -> bool {
        self.set_dwellings([Some(Dwelling::FIRST); MAX_COPIES])
    }

    /// Song position leaps from `now` to `then`: copies that move on cue come to rest at the offset
    /// they have or were on their way to. Those that were cued and have not moved yet do so at
    /// their next cycle there. Whether that is a change.
    pub fn come_to_rest(&mut self, now: Beats, then: Beats) -> bool {
        let before = self.dwellings();
        for copy in CopyNumber::ALL {
            let tau = self.moving_for(copy, now).unwrap_or_default();
            let there = self.moving_for(copy, then).unwrap_or_default();
            self.copies[copy.index()]
                .course
                .timetable_mut()
                .come_to_rest(tau, there);
        }
        self.dwellings() != before
    }

    /// Where copies stand that move on cue; none if stages are counted.
    pub fn dwellings(&self) -> [Option<Dwelling>; MAX_COPIES] {
        std::array::from_fn(|index| self.copies[index].course.timetable().dwelling())
    }

    /// Puts copies that move on cue where others have them. Whether that is a change.
    pub fn set_dwellings(&mut self, dwellings: [Option<Dwelling>; MAX_COPIES]) -> bool {
        if dwellings == self.dwellings() {
            return false;
        }
        for (copy, dwelling) in self.copies.iter_mut().zip(dwellings) {
            if let Some(dwelling) = dwelling {
                copy.course.timetable_mut().dwell(dwelling);
            }
        }
        true
    }

    /// The same with dwells counted: what voices that move on cue propose to their performer.
    pub fn as_counted(&self) -> Self {
        let mut settings = self.settings;
        settings.motion.advance = Advance::Counted;
        Self::new(self.phrase.clone(), settings, self.origin)
    }

    /// Where song position `at` falls in the form. On cue that is where copy 1 would stand as it
    /// does were dwells counted; a dwell that lasts longer stays at its end.
    pub fn place_in_form(&self, at: Beats) -> Beats {
        let timetable = self.course(CopyNumber::FIRST).timetable();
        let moves_from = self.moves_from(Part::COPY_1);
        let (Some(_), Some(from)) = (timetable.dwelling(), moves_from) else {
            return at;
        };
        if at < from {
            return at;
        }
        let now = Since::from_song(at, from);
        let station = timetable.station_at(now);
        let counted = timetable.counted();
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
