//! What a copy is doing at a moment: the part of its stage that it is in, from where to where it
//! moves, and since when.

use super::Voices;
use crate::motion::{StagePart, Station};
use crate::part::{CopyNumber, Part};
use crate::settings::Motion;
use crate::time::{Beats, Since};

/// A copy at a moment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CopyMoment {
    /// The part of its stage.
    pub part: StagePart,
    /// Beats ahead before and after the move that it makes or, locked, makes next; those of a
    /// build-up are where the copy came from and where it is. Where it is told to stand is in them.
    pub from: Beats,
    /// See [`from`](Self::from).
    pub to: Beats,
    /// Whether only a cue ends its dwell.
    pub waits_for_cue: bool,
    /// How it goes on from the stage.
    pub goes_on: Motion,
    /// Song position at which the part began; a drift is one.
    pub since: Beats,
    /// Song position at which it ends.
    pub until: Beats,
}

impl CopyMoment {
    /// Whether it moves, or is built up, and does not only wait while others do.
    pub fn moves(&self) -> bool {
        self.from != self.to
    }
}

impl Voices {
    /// What `copy` is doing at song position `at`; locked in its first stage until it begins to move.
    /// None if it has not entered.
    pub fn copy_moment(&self, copy: CopyNumber, at: Beats) -> Option<CopyMoment> {
        let part = Part::Copy(copy);
        self.entry(part).filter(|entry| *entry <= at)?;
        let moves_from = self.moves_from(part)?;
        let now = Since::from_song(at, moves_from);
        let course = self.course(copy);
        let timetable = course.timetable();
        let station = timetable.station_at(now.max(Since::START));
        let stage = station.stage;
        let stands = |stage| course.shifted(stage) + course.standing.target();
        let (from, to) = match station.part {
            // A build-up opens the stage at whose offset it already stands.
            StagePart::Build => {
                let came_from = timetable.came_from(stage) + course.standing.target();
                (came_from, stands(stage))
            }
            _ => (stands(stage), stands(stage + 1)),
        };
        let whole = |part| Station { part, ..station };
        let (since, until) = match station.part {
            StagePart::Lean | StagePart::Settle => (
                timetable.begin_of(whole(StagePart::Lean)),
                timetable.end_of(whole(StagePart::Settle)),
            ),
            _ => (timetable.begin_of(station), timetable.end_of(station)),
        };
        Some(CopyMoment {
            part: station.part,
            from,
            to,
            waits_for_cue: timetable.waits_for_cue(now),
            goes_on: timetable.way_on(stage),
            since: since.to_song(moves_from),
            until: until.to_song(moves_from),
        })
    }
}
