//! What a voice is in the middle of: the lap that it reads at a moment, and what of it has appeared.

use super::Voices;
use crate::growth::Lap;
use crate::motion::{Building, Piece};
use crate::part::{CopyNumber, Part};
use crate::time::{Beats, HAIR, MaterialPlace, Since};

/// The lap that a voice reads at a moment.
#[derive(Clone, Copy, Debug)]
pub struct Passing<'a> {
    voices: &'a Voices,
    part: Part,
    /// Where it lies in the voice's material.
    pub lap: Lap,
    /// How far the voice has come in it.
    pub into: Beats,
    sounding: Sounding,
}

/// What of a lap may sound, growth aside.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sounding {
    /// The build-up that the voice is in, if it is in one.
    pub building: Option<Building>,
    /// Notes that are written to sound, in the order of growth.
    pub grown: Option<usize>,
}

impl Voices {
    /// What a voice reads at song position `at`, being `ahead` beats ahead then: a copy that is on
    /// its way to another offset is not where its settings alone would have it. None if it never
    /// enters.
    pub fn passing(&self, part: Part, at: Beats, ahead: Beats) -> Option<Passing<'_>> {
        let tau = Since::from_song(at, self.entry(part)?);
        let place = tau.steady_place() + ahead;
        let lap = self.laps(part).at(place);
        let piece = self.piece_at(part, tau)?;
        Some(Passing {
            voices: self,
            part,
            lap,
            into: place - lap.start,
            sounding: Sounding {
                building: piece.building,
                grown: self.grown(part, &piece, at),
            },
        })
    }

    /// How many notes are written to sound, if that is written. The steady voice, which has no stages of its own, goes
    /// with copy 1.
    pub(super) fn grown(&self, part: Part, piece: &Piece, at: Beats) -> Option<usize> {
        if part != Part::Steady || !self.route.is_written() {
            return piece.grown;
        }
        let course = self.course(CopyNumber::FIRST);
        let timetable = course.timetable();
        let moving = self.moving_for(CopyNumber::FIRST, at).unwrap_or_default();
        timetable.grown(timetable.station_at(moving).stage)
    }

    /// Whether note `index` of the phrase has appeared, read at `place` of the material in `lap`.
    pub(super) fn appears(
        &self,
        index: usize,
        place: MaterialPlace,
        lap: &Lap,
        sounding: &Sounding,
    ) -> bool {
        let built = sounding.building.is_none_or(|building| {
            // `as` saturates: before it began, nothing stands.
            let cycles = ((place - building.from + HAIR) / self.phrase.length()) as usize;
            let stand = self.building().stand(building.built, cycles);
            self.ranks.among_first(index, stand)
        });
        let shown = sounding
            .grown
            .map_or(lap.shown, |grown| grown.min(lap.shown));
        built && self.ranks.among_first(index, shown)
    }
}

impl Passing<'_> {
    /// Whether note `index` of the phrase is in the lap, and has appeared.
    pub fn appears(&self, index: usize) -> bool {
        let note = self.voices.material(self.part).note(index);
        note.is_some_and(|note| {
            let place = self.lap.start + note.onset;
            let is_in = note.onset < self.lap.length - HAIR;
            is_in && (self.voices).appears(index, place, &self.lap, &self.sounding)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phrase::Phrase;
    use crate::settings::{Growth, Motion, Settings};
    use crate::time::Span;

    fn voices(change: impl FnOnce(&mut Settings)) -> Voices {
        let mut settings = Settings::default();
        settings.growth.every = 1;
        change(&mut settings);
        let phrase = Phrase::from_text("D4 F4 . A4 C5 E5", 0.25).unwrap();
        Voices::new(phrase, settings, 16.0)
    }

    /// The notes that have appeared in the lap that is read then.
    fn appeared(voices: &Voices, part: Part, at: Beats) -> Vec<usize> {
        let ahead = voices.displacement(part, at).unwrap();
        let passing = voices.passing(part, at, ahead).unwrap();
        (0..5).filter(|index| passing.appears(*index)).collect()
    }

    #[test]
    fn a_lap_of_a_phrase_that_lengthens_has_only_the_notes_that_are_in_it() {
        let voices = voices(|settings| settings.growth.growth = Growth::Lengthen);
        // Laps of 1, 3, 4, 5 and 6 steps: from 0, 0.25, 1, 2 and 3.25 on.
        let at = |beat: Beats| appeared(&voices, Part::Steady, 16.0 + beat);
        assert_eq!(at(0.1), [0]);
        assert_eq!(at(0.5), [0, 1]);
        assert_eq!(at(1.5), [0, 1, 2]);
        assert_eq!(at(3.5), [0, 1, 2, 3, 4]);
    }

    #[test]
    fn a_copy_that_builds_itself_up_is_silent_first() {
        let voices = voices(|settings| {
            settings.motion.motion = Motion::BuildUp;
            settings.motion.dwell = 1;
            settings.growth.step = 2;
        });
        // A cycle of 1.5 beats: whole, then silent, two notes, four, five. A step ahead, the copy
        // comes to the strongest of the two, which opens the phrase, at the end of its cycle, in
        // the next lap: in this one it was passed in silence.
        let many = |cycle: u32| {
            let middle = 16.0 + 1.5 * f64::from(cycle) + 0.3;
            appeared(&voices, Part::COPY_1, middle).len()
        };
        assert_eq!([0, 1, 2, 3, 4].map(many), [5, 0, 1, 4, 5]);
    }

    #[test]
    fn what_is_passed_at_an_onset_is_what_is_read_there() {
        for motion in [Motion::Drift, Motion::Jump, Motion::BuildUp] {
            let voices = voices(|settings| {
                settings.motion.motion = motion;
                settings.motion.copies = 2;
                settings.motion.dwell = 2;
                settings.growth.growth = Growth::Fill;
                settings.growth.copies_grow = true;
            });
            for part in voices.parts() {
                for reading in voices.readings(part, Span::new(16.0, 116.0)) {
                    let at = reading.on + 1e-6;
                    let ahead = voices.displacement(part, at).unwrap();
                    let passing = voices.passing(part, at, ahead).unwrap();
                    let appears = passing.appears(reading.index);
                    assert_eq!(appears, reading.appears, "{motion:?}, {part}: {reading:?}");
                }
            }
        }
    }
}
