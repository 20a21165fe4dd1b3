//! The process: all there is to hear. The voices, the modes that they sound in, and how loud and in
//! which octave each plays.

mod edition;

pub use edition::Edition;

use crate::boundaries::begun_by;
use crate::fold::FoldMap;
use crate::mode::Mode;
use crate::modulation::{ChangesBegin, ModeChange, ModePlan};
use crate::note::{Key, Velocity};
use crate::part::Part;
use crate::phrase::Phrase;
use crate::route::Route;
use crate::settings::{Advance, CopySettings, Resulting, Settings};
use crate::time::{Beats, Span};
use crate::voices::{Footing, Reading, Readings, Stands, Voices};

/// A note as a voice plays it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct VoiceNote {
    /// Who plays it.
    pub part: Part,
    /// Song position at which it begins.
    pub on: Beats,
    /// Song position at which it ends.
    pub off: Beats,
    /// The key, folded and in the voice's octave.
    pub key: Key,
    /// How hard, at the voice's level.
    pub velocity: Velocity,
    /// Which note of the phrase it is.
    pub index: usize,
}

/// Voices and modes, made ready to be asked.
///
/// Copying settings in takes no allocation, and neither does asking.
#[derive(Clone, Debug)]
pub struct Process {
    voices: Voices,
    modes: ModePlan,
    /// Another whenever one of these two is another.
    edition: Edition,
}

/// How a process stands on its way: what is to be known, beside phrase, settings and route, to go
/// on from here.
#[derive(Clone, Debug, PartialEq)]
pub struct Stance {
    footing: Footing,
    begins: ChangesBegin,
}

impl Process {
    /// The process of `phrase` under `settings`, its cycle 0 beginning at song position `origin`.
    pub fn new(phrase: Phrase, settings: Settings, origin: Beats) -> Self {
        Self::of(Voices::new(phrase, settings, origin))
    }

    fn of(voices: Voices) -> Self {
        Self {
            modes: ModePlan::new(&voices),
            voices,
            edition: Edition::next(),
        }
    }

    /// As long as this is the same, so is everything that is asked of it.
    pub fn edition(&self) -> Edition {
        self.edition
    }

    /// The same settings with another phrase. Works in place: an audio thread's stack is small.
    pub fn set_phrase(&mut self, phrase: &Phrase) {
        self.edition = Edition::next();
        self.voices.set_phrase(phrase);
        self.modes = ModePlan::new(&self.voices);
    }

    /// What is read, and when.
    pub fn voices(&self) -> &Voices {
        &self.voices
    }

    /// The phrase.
    pub fn phrase(&self) -> &Phrase {
        self.voices.phrase()
    }

    /// The settings in force.
    pub fn settings(&self) -> &Settings {
        self.voices.settings()
    }

    /// The form as it is written; empty if the settings make it.
    pub fn route(&self) -> &Route {
        self.voices.route()
    }

    /// See [`Voices::set_route`].
    pub fn set_route(&mut self, route: &Route) {
        self.edition = Edition::next();
        self.voices.set_route(route);
        self.modes.follow_stages(&self.voices);
    }

    /// See [`Voices::change_route`].
    pub fn change_route(&mut self, route: &Route, now: Beats) {
        self.edition = Edition::next();
        let begun = |voices: &Voices| begun_by(voices, now);
        self.voices.change_route(route, now, begun);
        self.modes.follow_stages(&self.voices);
    }

    /// Song position at which cycle 0 begins.
    pub fn origin(&self) -> Beats {
        self.voices.origin()
    }

    /// Cycle 0 begins at song position `origin`.
    pub fn set_origin(&mut self, origin: Beats) {
        if origin != self.origin() {
            self.edition = Edition::next();
            self.voices.set_origin(origin);
        }
    }

    /// Where keys go as the fold's parameters say: at the beginning, before any modulation.
    pub fn fold(&self) -> &FoldMap {
        self.modes.base()
    }

    /// The mode that the piece begins in: where the fold leads, if it leads anywhere.
    pub fn first_mode(&self) -> Mode {
        self.modes.first()
    }

    /// Where `key` goes at song position `at`.
    pub fn folded(&self, key: Key, at: Beats) -> Key {
        self.modes.key(key, at - self.origin())
    }

    /// The fold in charge at song position `at`, and how many pitch classes it has turned: the
    /// fold's parameters, or a modulation from the mode before it.
    pub fn fold_at(&self, at: Beats) -> (&FoldMap, usize) {
        self.modes.fold_at(at - self.origin())
    }

    /// Whether a modulation is in charge at song position `at`, and not the fold's parameters.
    pub fn is_modulated(&self, at: Beats) -> bool {
        self.modes.is_modulated(at - self.origin())
    }

    /// The mode that the piece begins in, and every modulation that will take place, in order.
    pub fn mode_changes(&self) -> impl Iterator<Item = ModeChange> + '_ {
        let origin = self.origin();
        let first = ModeChange {
            turning: Span::new(origin, origin),
            mode: self.first_mode(),
            index: None,
        };
        let later = self.modes.changes().map(move |change| ModeChange {
            turning: Span::new(origin + change.turning.start, origin + change.turning.end),
            ..change
        });
        std::iter::once(first).chain(later)
    }

    /// Whether a line is picked out of what the voices play together.
    pub fn has_line(&self) -> bool {
        self.voices.count() > 1 && self.settings().resulting.which != Resulting::Off
    }

    /// Whether a part is in use.
    pub fn plays(&self, part: Part) -> bool {
        self.voices.plays(part) || (part == Part::ResultingLine && self.has_line())
    }

    /// The parts in use: the voices, then the resulting line.
    pub fn parts(&self) -> impl Iterator<Item = Part> + use<> {
        let line = self.has_line().then_some(Part::ResultingLine);
        self.voices.parts().chain(line)
    }

    /// What a voice plays whose onset lies in `span`, in order of onset: what of its readings
    /// sounds. The resulting line reads nothing; see [`crate::resulting`].
    pub fn notes(&self, part: Part, span: Span) -> VoiceNotes<'_> {
        VoiceNotes {
            process: self,
            part,
            readings: self.voices.readings(part, span),
        }
    }

    /// The key that a part makes of a note of the phrase at song position `at`: folded, turned
    /// over and moved by degrees in the mode then in force, and then moved by semitones and octaves.
    pub fn key_of(&self, part: Part, key: Key, at: Beats) -> Key {
        Key::by_octave(self.number_of(part, key, at) + 12 * self.octave(part))
    }

    /// The same, in the octave of the phrase.
    pub fn pitch_of(&self, part: Part, key: Key, at: Beats) -> Key {
        Key::by_octave(self.number_of(part, key, at))
    }

    fn number_of(&self, part: Part, key: Key, at: Beats) -> i32 {
        let folded = self.folded(key, at);
        match part {
            Part::Copy(copy) => self.own_pitch(&self.settings().copies[copy.index()], folded, at),
            Part::Steady | Part::ResultingLine => i32::from(folded.number()),
        }
    }

    /// The mode in force at song position `at`: while one turns into another, what of it has turned.
    pub fn mode_at(&self, at: Beats) -> Mode {
        let (fold, moved) = self.fold_at(at);
        fold.mode_when(moved)
    }

    /// Key number that a copy makes of a key that has been folded. It may leave MIDI's range.
    fn own_pitch(&self, own: &CopySettings, folded: Key, at: Beats) -> i32 {
        let number = i32::from(folded.number());
        if own.degrees == 0 && !own.upside_down {
            return number + own.semitones;
        }
        let mode = self.mode_at(at);
        let tonic = i32::from(mode.tonic());
        let turned = match self.phrase().notes().first() {
            Some(first) if own.upside_down => {
                let axis = i32::from(self.folded(first.key, at).number());
                mode.inverted(number - tonic, axis - tonic)
            }
            _ => number - tonic,
        };
        tonic + mode.transposed(turned, own.degrees) + own.semitones
    }

    /// Octaves above the phrase at which a part plays; the resulting line, above what it doubles.
    pub fn octave(&self, part: Part) -> i32 {
        match part {
            Part::Steady => 0,
            Part::Copy(copy) => self.settings().copies[copy.index()].octave,
            Part::ResultingLine => self.settings().resulting.octave,
        }
    }

    /// How much a part scales velocities; 0 is silence.
    pub fn level(&self, part: Part) -> f32 {
        if !self.settings().is_heard(part) {
            return 0.0;
        }
        match part {
            Part::Steady => self.settings().output.steady_level,
            Part::Copy(copy) => self.settings().copies[copy.index()].level,
            Part::ResultingLine => self.settings().resulting.level,
        }
    }

    fn sounding(&self, part: Part, reading: &Reading) -> Option<VoiceNote> {
        let note = &self.phrase().notes()[reading.index];
        if !reading.appears {
            return None;
        }
        Some(VoiceNote {
            part,
            on: reading.on,
            off: reading.off,
            key: self.key_of(part, note.key, reading.on),
            velocity: note.velocity.scaled(self.level(part))?,
            index: reading.index,
        })
    }

    /// Puts other settings in force from song position `now` on; see [`Voices::set_settings`].
    pub fn set_settings(&mut self, settings: Settings, now: Beats) {
        self.edition = Edition::next();
        let old = *self.settings();
        let begun = |voices: &Voices| begun_by(voices, now);
        let stages_moved = self.voices.set_settings(settings, now, begun);
        self.modes.follow_settings(&old, stages_moved, &self.voices);
    }

    /// See [`Voices::settle`].
    pub fn settle(&mut self) {
        self.edition = Edition::next();
        if self.voices.settle() {
            self.modes.follow_stages(&self.voices);
        }
    }

    /// See [`Voices::cue`].
    pub fn cue(&mut self, now: Beats) -> bool {
        self.edition = Edition::next();
        let taken = self.voices.cue(now);
        if taken {
            self.modes.follow_cues(&self.voices);
        }
        taken
    }

    /// See [`Voices::begin_anew`].
    pub fn begin_anew(&mut self) {
        self.edition = Edition::next();
        if self.voices.begin_anew() {
            self.modes.follow_stages(&self.voices);
        }
    }

    /// See [`Voices::come_to_rest`].
    pub fn come_to_rest(&mut self, now: Beats, then: Beats) {
        self.edition = Edition::next();
        if self.voices.come_to_rest(now, then) {
            self.modes.follow_cues(&self.voices);
        }
    }

    /// How it stands: where voices do, and where mode changes begin.
    pub fn stance(&self) -> Stance {
        Stance {
            footing: self.voices.footing(),
            begins: self.modes.begins(),
        }
    }

    /// Stands as another did, of the same phrase, settings and route.
    pub fn stand_at(&mut self, stance: &Stance) {
        self.edition = Edition::next();
        self.voices.stand(&stance.footing);
        self.modes.stand(&stance.begins, &self.voices);
    }

    /// See [`Voices::rest_offsets`].
    pub fn rest_offsets(&mut self) {
        self.edition = Edition::next();
        self.voices.rest_offsets();
    }

    /// See [`Voices::footing`].
    pub fn footing(&self) -> Footing {
        self.voices.footing()
    }

    /// See [`Voices::stand`].
    pub fn stand(&mut self, footing: &Footing) -> Stands {
        self.edition = Edition::next();
        let stands = self.voices.stand(footing);
        match stands {
            Stands::AsBefore => (),
            Stands::Cued => self.modes.follow_cues(&self.voices),
            Stands::Elsewhere => self.modes.follow_stages(&self.voices),
        }
        stands
    }

    /// From song position `now` on dwells are counted that wait for a cue: see [`Self::as_counted`].
    pub fn count_from(&mut self, now: Beats) {
        if self.route().is_written() {
            let counted = self.route().counted(self.settings().motion.dwell);
            self.change_route(&counted, now);
        } else {
            let mut settings = *self.settings();
            settings.motion.advance = Advance::Counted;
            self.set_settings(settings, now);
        }
    }

    /// See [`Voices::count_dwells`].
    pub fn count_dwells(&mut self, counted: bool) -> bool {
        let changed = self.voices.count_dwells(counted);
        if changed {
            self.edition = Edition::next();
            self.modes.follow_stages(&self.voices);
        }
        changed
    }

    /// The same with dwells counted: what a process that moves on cue proposes to its performer.
    pub fn as_counted(&self) -> Self {
        Self::of(self.voices.as_counted())
    }
}

/// The notes of one voice whose onsets lie in a span, in order.
#[derive(Clone, Debug)]
pub struct VoiceNotes<'a> {
    process: &'a Process,
    part: Part,
    readings: Readings<'a>,
}

impl Iterator for VoiceNotes<'_> {
    type Item = VoiceNote;

    fn next(&mut self) -> Option<VoiceNote> {
        let (process, part) = (self.process, self.part);
        self.readings
            .find_map(|reading| process.sounding(part, &reading))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::{CopySettings, Growth, GrowthSettings, Motion, MotionSettings};

    const SIX: &str = "D4 F4 G4 A4 C5 E4";

    fn process(text: &str, settings: Settings) -> Process {
        Process::new(Phrase::from_text(text, 0.25).unwrap(), settings, 0.0)
    }

    fn keys(process: &Process, part: Part, start: Beats, end: Beats) -> Vec<u8> {
        process
            .notes(part, Span::new(start, end))
            .map(|note| note.key.number())
            .collect()
    }

    #[test]
    fn whatever_is_done_to_it_it_is_of_another_edition() {
        let mut process = process(SIX, Settings::default());
        let stance = process.stance();
        let footing = process.footing();
        let other = Phrase::from_text("C4 G4", 0.25).unwrap();
        let route = Route::default();
        let louder = Settings {
            output: crate::settings::OutputSettings {
                steady_level: 1.5,
                ..Default::default()
            },
            ..Settings::default()
        };
        let deeds: [&dyn Fn(&mut Process); 14] = [
            &|process| process.set_phrase(&other),
            &|process| process.set_route(&route),
            &|process| process.change_route(&route, 2.0),
            &|process| process.set_origin(3.0),
            &|process| process.set_settings(louder, 4.0),
            &|process| process.settle(),
            &|process| {
                process.cue(5.0);
            },
            &|process| process.begin_anew(),
            &|process| process.come_to_rest(6.0, 7.0),
            &|process| process.stand_at(&stance),
            &|process| process.rest_offsets(),
            &|process| {
                process.stand(&footing);
            },
            &|process| process.count_from(8.0),
            &|process| {
                process.count_dwells(true);
            },
        ];
        for (place, deed) in deeds.iter().enumerate() {
            let before = process.clone();
            assert_eq!(before.edition(), process.edition());
            deed(&mut process);
            assert_ne!(before.edition(), process.edition(), "deed {place}");
        }
        let now = process.edition();
        process.set_origin(process.origin());
        assert_eq!(process.edition(), now, "nothing was done");
    }

    #[test]
    fn after_a_jump_the_copy_is_one_note_ahead() {
        let motion = MotionSettings {
            motion: Motion::Jump,
            dwell: 2,
            ..Default::default()
        };
        let process = process(
            SIX,
            Settings {
                motion,
                ..Settings::default()
            },
        );
        assert_eq!(
            keys(&process, Part::COPY_1, 1.5, 3.0),
            [62, 65, 67, 69, 72, 64]
        );
        assert_eq!(
            keys(&process, Part::COPY_1, 3.0, 4.5),
            [65, 67, 69, 72, 64, 62]
        );
        assert_eq!(
            keys(&process, Part::COPY_1, 6.0, 7.5),
            [67, 69, 72, 64, 62, 65]
        );
    }

    #[test]
    fn a_note_across_the_start_of_a_drift_is_shortened_by_it() {
        let motion = MotionSettings {
            dwell: 1,
            drift: 1,
            ..Default::default()
        };
        let process = process(
            "D4 - - - - -",
            Settings {
                motion,
                ..Settings::default()
            },
        );
        let notes: Vec<_> = process.notes(Part::COPY_1, Span::new(0.0, 6.0)).collect();
        assert_eq!((notes[0].on, notes[0].off), (0.0, 1.5));
        // From 1.5 on the copy leans forward and gains a step of 0.25: it is through with the
        // phrase before 3.0.
        assert_eq!(notes[1].on, 1.5);
        assert!(notes[1].off < 3.0 && notes[1].off > 2.7, "{}", notes[1].off);
    }

    #[test]
    fn a_copy_with_an_offset_enters_in_the_middle_of_the_phrase() {
        let mut settings = Settings::default();
        settings.copies[0] = CopySettings {
            offset: 2.0,
            octave: 1,
            ..Default::default()
        };
        let process = process(SIX, settings);
        assert_eq!(
            keys(&process, Part::COPY_1, 0.0, 1.5),
            [79, 81, 84, 76, 74, 77]
        );
    }

    #[test]
    fn copies_enter_when_the_phrase_has_grown() {
        let mut settings = Settings::default();
        settings.growth = GrowthSettings {
            growth: Growth::Fill,
            step: 3,
            every: 1,
            ..settings.growth
        };
        settings.motion.copies = 2;
        settings.motion.entry = 4;
        let process = process(SIX, settings);
        assert_eq!(process.voices().entry(Part::COPY_1), Some(3.0));
        assert_eq!(process.voices().entry(Part::ALL[2]), Some(9.0));
        assert_eq!(keys(&process, Part::Steady, 0.0, 1.5).len(), 3);
        assert_eq!(keys(&process, Part::COPY_1, 0.0, 3.0).len(), 0);
        assert_eq!(keys(&process, Part::COPY_1, 3.0, 4.5).len(), 6);
    }

    #[test]
    fn a_build_up_is_silent_first_and_fills_in_displaced() {
        let mut settings = Settings::default();
        settings.motion = MotionSettings {
            motion: Motion::BuildUp,
            dwell: 1,
            ..settings.motion
        };
        settings.growth = GrowthSettings {
            step: 3,
            every: 1,
            ..settings.growth
        };
        let process = process(SIX, settings);
        let sounding: Vec<usize> = (0..5)
            .map(|c| {
                keys(
                    &process,
                    Part::COPY_1,
                    f64::from(c) * 1.5,
                    f64::from(c + 1) * 1.5,
                )
                .len()
            })
            .collect();
        assert_eq!(sounding, [6, 0, 3, 6, 0]);
        assert_eq!(
            keys(&process, Part::COPY_1, 4.5, 6.0),
            [65, 67, 69, 72, 64, 62]
        );
    }

    #[test]
    fn a_lap_that_lengthens_repeats_its_beginning() {
        let mut settings = Settings::default();
        settings.growth = GrowthSettings {
            growth: Growth::Lengthen,
            every: 1,
            ..settings.growth
        };
        let process = process("D4 F4 G4", settings);
        assert_eq!(
            keys(&process, Part::Steady, 0.0, 2.25),
            [62, 62, 65, 62, 65, 67, 62, 65, 67]
        );
    }

    #[test]
    fn nothing_is_lost_or_doubled_where_spans_meet() {
        let motion = MotionSettings {
            copies: 8,
            dwell: 1,
            drift: 1,
            ..Default::default()
        };
        let process = process(
            SIX,
            Settings {
                motion,
                ..Settings::default()
            },
        );
        for voice in process.parts() {
            let whole: Vec<_> = process.notes(voice, Span::new(0.0, 100.0)).collect();
            let mut pieced = Vec::new();
            let mut at = 0.0;
            while at < 100.0 {
                let next = f64::min(at + 0.37, 100.0);
                pieced.extend(process.notes(voice, Span::new(at, next)));
                at = next;
            }
            assert_eq!(whole, pieced);
        }
    }
}
