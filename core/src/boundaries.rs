//! Where stages begin: growth changes, entries and moves, in order, without keeping a list.
//!
//! The audio thread asks for the place of one stage, the form for all of them.

use crate::growth::{Lap, Laps};
use crate::motion::{StagePart, Station, Timetable, shifts_to_unison};
use crate::part::{CopyNumber, MAX_COPIES, MAX_VOICES, Part};
use crate::settings::{Growth, Shifts};
use crate::time::{Beats, HAIR, to_ticks};
use crate::voices::Voices;
use arrayvec::ArrayVec;
use std::iter::Peekable;

/// A moment at which something changes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Boundary {
    /// Song position; on cue, where it would be if dwells were counted.
    pub at: Beats,
    /// The copy and the part of its timetable that begins, if that is what changes.
    pub begins: Option<(CopyNumber, Station)>,
}

/// The boundaries of a form up to an end, from the origin on, in order.
///
/// # Real-time
/// Allocates never, blocks never. A step is bounded by the stages of growth that change nothing.
pub struct Boundaries<'a> {
    sources: ArrayVec<Peekable<Source<'a>>, MAX_SOURCES>,
    from: Beats,
    end: Beats,
    last: Beats,
}

/// Origin and end; growth of every voice; entry and moves of every copy.
const MAX_SOURCES: usize = 1 + MAX_VOICES + 2 * MAX_COPIES;

impl<'a> Boundaries<'a> {
    /// Those of `voices` up to song position `end`, which is one itself.
    pub fn new(voices: &'a Voices, end: Beats) -> Self {
        let mut sources = ArrayVec::new();
        let mut add = |source: Option<Source<'a>>| sources.extend(source.map(Iterator::peekable));
        let origin = voices.origin();
        add(Some(Source::Ends([Some(origin), Some(end)])));
        for part in voices.parts() {
            add(Changes::new(voices, part, end).map(Source::Growth));
        }
        for copy in voices.copies() {
            add(Some(Source::Ends([voices.entry(Part::Copy(copy)), None])));
            add(Moves::new(voices, copy).map(Source::Moves));
        }
        Self {
            sources,
            from: origin,
            end,
            last: Beats::NEG_INFINITY,
        }
    }

    fn next_of_any(&mut self) -> Option<Boundary> {
        let earliest = self
            .sources
            .iter_mut()
            .enumerate()
            .filter_map(|(index, source)| Some((source.peek()?.at, index)))
            .min_by(|a, b| a.0.total_cmp(&b.0))?;
        self.sources[earliest.1].next()
    }
}

impl Iterator for Boundaries<'_> {
    type Item = Boundary;

    fn next(&mut self) -> Option<Boundary> {
        loop {
            let next = self.next_of_any().filter(|next| next.at <= self.end)?;
            if next.at >= self.from && next.at - self.last >= HAIR {
                self.last = next.at;
                return Some(next);
            }
        }
    }
}

/// Where the listing ends, and whether the voices go on.
pub fn listed_end(voices: &Voices) -> (Beats, bool) {
    let settings = voices.settings();
    let endless = settings.motion.shifts == Shifts::Endless;
    let round = shifts_to_unison(voices.phrase(), settings);
    let dwell = f64::from(settings.motion.dwell.max(1)) * voices.phrase().length();
    let grown = voices.entry(Part::Steady).unwrap_or(0.0)
        + voices.laps(Part::Steady).done().unwrap_or(dwell);
    let copies_end = voices.copies().filter_map(|copy| {
        let timetable = voices.course(copy).timetable().counted();
        let last = timetable.last_stage().unwrap_or(round);
        let held = Station {
            stage: last,
            part: StagePart::Dwell,
        };
        Some(voices.moves_from(Part::Copy(copy))? + timetable.begin_of(held) + dwell)
    });
    let end = copies_end.fold(grown, f64::max);
    let alone = voices.count() == 1 && settings.growth.growth == Growth::Off;
    (if alone { end + dwell } else { end }, endless)
}

/// One reason for boundaries, in order of time.
enum Source<'a> {
    Ends([Option<Beats>; 2]),
    Growth(Changes<'a>),
    Moves(Moves),
}

impl Iterator for Source<'_> {
    type Item = Boundary;

    fn next(&mut self) -> Option<Boundary> {
        match self {
            Self::Ends(ends) => ends.iter_mut().find_map(Option::take).map(Boundary::at),
            Self::Growth(changes) => changes.next(),
            Self::Moves(moves) => moves.next(),
        }
    }
}

impl Boundary {
    fn at(at: Beats) -> Self {
        Self { at, begins: None }
    }

    /// Song position at which it comes as it is performed: where it is counted to come, or on cue
    /// where it has come. None while that is not known.
    pub fn performed(&self, voices: &Voices) -> Option<Beats> {
        let Some((copy, station)) = self.begins else {
            return Some(self.at);
        };
        let timetable = voices.course(copy).timetable();
        let at = match timetable.dwelling() {
            None => return Some(self.at),
            Some(now) if station.stage < now.stage => 0.0,
            Some(_) => timetable.begin_of(station),
        };
        at.is_finite()
            .then_some(voices.moves_from(Part::Copy(copy))? + at)
    }
}

/// A voice's growth: its entry and every lap that differs from the one before.
struct Changes<'a> {
    laps: &'a Laps,
    entry: Beats,
    end: Beats,
    /// From where in the material laps are the same. Nothing is looked for beyond.
    settled: Beats,
    /// None before the entry was told.
    lap: Option<Lap>,
}

impl<'a> Changes<'a> {
    fn new(voices: &'a Voices, part: Part, end: Beats) -> Option<Self> {
        let growth = &voices.settings().growth;
        let grows = growth.growth != Growth::Off && (part == Part::Steady || growth.copies_grow);
        let entry = voices.entry(part).filter(|_| grows)?;
        Some(Self {
            laps: voices.laps(part),
            entry,
            end,
            settled: voices.laps(part).settled(),
            lap: None,
        })
    }
}

impl Iterator for Changes<'_> {
    type Item = Boundary;

    fn next(&mut self) -> Option<Boundary> {
        let Some(mut lap) = self.lap else {
            self.lap = Some(self.laps.at(0.0));
            return Some(Boundary::at(self.entry));
        };
        // From stage to stage and not from lap to lap: a stage may have 64, and a piece 512 stages.
        while let Some(next) = self.laps.next_stage(&lap) {
            if self.entry + next.start >= self.end || next.start > self.settled + HAIR {
                return None;
            }
            let differs = (next.shown, to_ticks(next.length)) != (lap.shown, to_ticks(lap.length));
            lap = next;
            self.lap = Some(lap);
            if differs {
                return Some(Boundary::at(self.entry + lap.start));
            }
        }
        None
    }
}

/// A copy's moves, as counted.
struct Moves {
    copy: CopyNumber,
    timetable: Timetable,
    from: Beats,
    /// None before the first was told.
    station: Option<Station>,
}

impl Moves {
    fn new(voices: &Voices, copy: CopyNumber) -> Option<Self> {
        Some(Self {
            copy,
            timetable: voices.course(copy).timetable().counted(),
            from: voices.moves_from(Part::Copy(copy))?,
            station: None,
        })
    }
}

impl Iterator for Moves {
    type Item = Boundary;

    fn next(&mut self) -> Option<Boundary> {
        let mut station = match self.station {
            None => self.timetable.station_at(0.0),
            Some(before) if self.timetable.end_of(before).is_finite() => {
                self.timetable.after(before)
            }
            Some(_) => return None,
        };
        // A drift is one stage, though its tempo has two halves.
        if station.part == StagePart::Settle {
            station = self.timetable.after(station);
        }
        self.station = Some(station);
        Some(Boundary {
            at: self.from + self.timetable.begin_of(station),
            begins: Some((self.copy, station)),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phrase::Phrase;
    use crate::settings::{GrowthSettings, Motion, MotionSettings, Settings};

    /// Six steps, 1.5 beats, from beat 2 on.
    fn boundaries(motion: MotionSettings, growth: GrowthSettings, end: Beats) -> Vec<Beats> {
        let phrase = Phrase::from_text("D4 F4 G4 A4 C5 E4", 0.25).unwrap();
        let settings = Settings {
            motion,
            growth,
            ..Settings::default()
        };
        let voices = Voices::new(phrase, settings, 2.0);
        Boundaries::new(&voices, end).map(|next| next.at).collect()
    }

    #[test]
    fn a_stripped_phrase_changes_though_it_was_whole_from_the_start() {
        let growth = GrowthSettings {
            growth: Growth::Fill,
            step: -2,
            every: 1,
            ..GrowthSettings::default()
        };
        let alone = MotionSettings {
            copies: 0,
            ..MotionSettings::default()
        };
        assert_eq!(boundaries(alone, growth, 20.0), [2.0, 3.5, 5.0, 6.5, 20.0]);
    }

    #[test]
    fn a_phrase_that_is_stripped_and_then_built_up_again_changes_both_ways() {
        let phrase = Phrase::from_text("D4 F4 G4 A4 C5 E4", 0.25).unwrap();
        let mut settings = Settings {
            growth: GrowthSettings {
                growth: Growth::Fill,
                step: -2,
                every: 1,
                ..GrowthSettings::default()
            },
            ..Settings::default()
        };
        settings.motion.copies = 0;
        let mut voices = Voices::new(phrase, settings, 2.0);
        settings.growth.step = 2;
        // Four notes stand since 3.5, two since 5.
        voices.set_settings(settings, 5.5);
        let all: Vec<_> = Boundaries::new(&voices, 20.0).map(|next| next.at).collect();
        assert!(all.ends_with(&[6.5, 8.0, 20.0]), "{all:?}");
    }

    /// Looked for lap by lap, the boundaries are the same.
    #[test]
    fn from_where_laps_are_settled_none_differs_and_the_one_before_does() {
        let phrase = Phrase::from_text("D4 F4 G4 . C5 E4", 0.25).unwrap();
        for (kind, step) in [Growth::Fill, Growth::Lengthen]
            .into_iter()
            .flat_map(|kind| (-8..=8).map(move |step| (kind, step)))
        {
            let growth = GrowthSettings {
                growth: kind,
                step,
                every: 3,
                ..GrowthSettings::default()
            };
            let fresh = Laps::new(&phrase, &growth);
            for laps in [fresh.with_step_from(5.0, -step, &phrase), fresh] {
                let told = |lap: Lap| (lap.shown, to_ticks(lap.length));
                let mut lap = laps.at(0.0);
                let mut last = 0.0;
                while lap.start < 400.0 {
                    let next = laps.after(&lap);
                    if told(next) != told(lap) {
                        last = next.start;
                    }
                    lap = next;
                }
                let settled = laps.settled();
                assert!(last <= settled + HAIR, "{kind:?} {step}: {last} {settled}");
                // Where nothing changes any more, a stage that was counted from may come later.
                let stays = last == 0.0 || (settled - last).abs() < HAIR;
                assert!(stays || step <= 0, "{kind:?} {step}: {last} {settled}");
            }
        }
    }

    #[test]
    fn two_copies_with_an_entry_gap_move_each_in_its_time() {
        let motion = MotionSettings {
            motion: Motion::Jump,
            copies: 2,
            dwell: 2,
            entry: 1,
            ..MotionSettings::default()
        };
        let all = boundaries(motion, GrowthSettings::default(), 10.0);
        // Copy 1 enters at 2 and jumps every 3 beats, copy 2 a cycle of 1.5 later.
        assert_eq!(all, [2.0, 3.5, 5.0, 6.5, 8.0, 9.5, 10.0]);
    }

    #[test]
    fn a_drift_is_one_stage() {
        let motion = MotionSettings {
            dwell: 2,
            drift: 2,
            ..MotionSettings::default()
        };
        let all = boundaries(motion, GrowthSettings::default(), 9.0);
        assert_eq!(all, [2.0, 5.0, 8.0, 9.0]);
    }
}
