//! A piece: a process at a tempo, with its stages and all its notes. What every file is made from.

use crate::form::Form;
use crate::mode::Mode;
use crate::performance::Performance;
use crate::performed::Recollection;
use crate::process::{Process, VoiceNote};
use crate::route::Route;
use crate::sonority::Sonority;
use crate::tempo_map::TempoMap;
use crate::time::{Beats, HAIR, Span};
use crate::touch::Touch;
use crate::words::clock;

/// A piece, as it is told to whoever writes a file.
#[derive(Clone, Copy, Debug)]
pub struct Piece<'a> {
    /// Stands at the top.
    pub title: &'a str,
    /// Whose voices move: as it was performed, and as it goes on.
    pub performance: &'a Performance<'a>,
    /// Its stages.
    pub form: &'a Form,
    /// The same as a list, with dwells that wait for a cue; see [`Voices::as_route`](crate::voices::Voices::as_route).
    pub route: &'a Route,
    /// What was played, in order of onset.
    pub notes: &'a [VoiceNote],
    /// Which mode is in force from which song position on, in order. None leaves spelling to the
    /// mode that the process folds into, or hears its phrase in.
    pub modes: &'a [(Beats, Mode)],
    /// Beats a minute, as it begins.
    pub tempo: f64,
    /// Where it went faster or slower, if it did.
    pub tempi: Option<&'a TempoMap>,
    /// Beats a bar.
    pub beats_per_bar: f64,
}

impl<'a> Piece<'a> {
    /// What of the process is the same from beginning to end, and as it goes on at last. How it
    /// stood at some position is for the performance to say.
    pub fn process(&self) -> &'a Process {
        self.performance.future()
    }

    /// Seconds from the origin to song position `at`.
    pub fn seconds(&self, at: Beats) -> f64 {
        let beats = at - self.process().origin();
        match self.tempi {
            Some(tempi) => tempi.seconds(beats),
            None => beats * 60.0 / self.tempo,
        }
    }

    /// The same as on a clock: "3:36".
    pub fn clock(&self, at: Beats) -> String {
        clock(self.seconds(at))
    }

    /// Beats a minute at song position `at`.
    pub fn tempo_at(&self, at: Beats) -> f64 {
        let at = at - self.process().origin();
        let told = self.tempi.and_then(|tempi| tempi.at(at));
        told.unwrap_or(self.tempo)
    }

    /// From where on, in beats after the origin, it goes at which tempo; one at least.
    pub fn tempo_steps(&self) -> Vec<(Beats, f64)> {
        let Some(tempi) = self.tempi else {
            return vec![(0.0, self.tempo)];
        };
        let end = self.form.end() - self.process().origin();
        let steps = tempi.steps().iter().map(|step| (step.at, step.tempo));
        steps.take_while(|(at, _)| *at < end).collect()
    }

    /// The tempo in words: "108 bpm", "60 to 108 bpm".
    pub fn tempo_words(&self) -> String {
        let round = |tempo: f64| (tempo * 1000.0).round() / 1000.0;
        let tempi = self
            .tempo_steps()
            .into_iter()
            .map(|(_, tempo)| round(tempo));
        let range = tempi.fold(None, |range: Option<(f64, f64)>, tempo| {
            let (low, high) = range.unwrap_or((tempo, tempo));
            Some((low.min(tempo), high.max(tempo)))
        });
        match range {
            Some((low, high)) if low < high => format!("{low} to {high} bpm"),
            _ => format!("{} bpm", round(self.tempo)),
        }
    }

    /// The first and the last bar that a stretch of the song falls in, counted from 1 at the
    /// origin.
    pub fn first_and_last_bar(&self, span: Span) -> (i64, i64) {
        let bar =
            |at: Beats| ((at - self.process().origin()) / self.beats_per_bar).floor() as i64 + 1;
        // A hair before the end: the bar line belongs to the next stage.
        let first = bar(span.start + HAIR);
        (first, bar(span.end - HAIR).max(first))
    }

    /// The same in words: "9-12".
    pub fn bars(&self, span: Span) -> String {
        match self.first_and_last_bar(span) {
            (first, last) if first == last => format!("{first}"),
            (first, last) => format!("{first}-{last}"),
        }
    }

    /// What sounds in the last cycle of a stretch, and what it is called in the mode then in force.
    pub fn sonority(&self, span: Span) -> (Sonority, String) {
        let cycle = Span::new(
            f64::max(span.start, span.end - self.process().phrase().length()),
            span.end,
        );
        let from = self
            .notes
            .partition_point(|note| note.on < cycle.start - HAIR);
        let inside = self.notes[from..]
            .iter()
            .take_while(|note| note.on < cycle.end - HAIR);
        let sounding = Sonority::of(inside.map(|note| note.key));
        let before_end = self
            .modes
            .iter()
            .rev()
            .find(|(from, _)| *from < cycle.end - HAIR);
        let name = sounding.name(before_end.map(|(_, mode)| mode));
        (sounding, name)
    }

    /// The bar in which the last of what was performed lies, if anything was.
    pub fn performed_until_bar(&self) -> Option<i64> {
        let until = self.performance.until()?;
        let (_, last) = self.first_and_last_bar(Span::new(self.process().origin(), until));
        Some(last)
    }

    /// What happens where what was performed is over: "as generated from here on".
    pub fn goes_on_words(&self) -> &'static str {
        if self.process().route().is_written() {
            "as written from here on"
        } else {
            "as generated from here on"
        }
    }

    /// The notes as they are played, with the touch that the settings ask for: for files that are
    /// heard.
    pub fn played(&self) -> Vec<VoiceNote> {
        let process = self.process();
        let touch = Touch::of(process);
        self.notes.iter().map(|note| touch.play(*note)).collect()
    }

    /// Whether every stage is there: not so if the piece was cut for being too long.
    pub fn is_whole(&self) -> bool {
        self.form.end() - self.process().origin() > self.form.totals.chosen - HAIR
    }
}

/// The longest piece that is unrolled, in beats: 9 hours at 120 beats a minute.
pub const LONGEST: Beats = 65_536.0;

/// The most notes that are unrolled: 9 voices in sixteenths for nearly two hours at 120 beats a
/// minute.
pub const MOST_NOTES: usize = 500_000;

/// A process, unrolled offline from its origin to the end of its form.
///
/// What was performed is unrolled as it was heard. From there on, one that moves on cue is unrolled
/// as if it were counted, which is what its form lists too.
/// A process that goes on without end is unrolled for one round. One that lasts beyond
/// [`LONGEST`], or plays more than [`MOST_NOTES`], is cut after the last stage that is whole within
/// these, or within its first stage if even that is too long; its stages are cut with its notes,
/// so that all files agree.
#[derive(Clone, Debug)]
pub struct Unrolled {
    /// Whose voices move.
    pub performance: Performance<'static>,
    /// Its stages, as far as they are unrolled.
    pub form: Form,
    /// The same as a list, whole, with dwells that wait for a cue.
    pub route: Route,
    /// What is played, in order of onset.
    pub notes: Vec<VoiceNote>,
    /// Which mode is in force from which song position on: from the origin, and from where each
    /// modulation is complete.
    pub modes: Vec<(Beats, Mode)>,
    /// Where one mode is on its way into the next.
    pub turnings: Vec<Span>,
    /// Beats a minute, as it begins.
    pub tempo: f64,
    /// Where it went faster or slower; empty if it has one tempo throughout.
    pub tempi: TempoMap,
    /// Beats a bar.
    pub beats_per_bar: f64,
}

impl Unrolled {
    /// Unrolls `process` at `tempo` beats a minute, in bars of so many beats.
    pub fn new(process: Process, tempo: f64, beats_per_bar: f64) -> Self {
        let route = process.voices().as_route();
        Self::of(
            &Performance::proposed(&process),
            route,
            tempo,
            beats_per_bar,
        )
    }

    /// The same as it was performed, see [`Performance::new`], and as fast as it was; at `tempo` if
    /// that did not change.
    pub fn performed(
        process: &Process,
        told: &Recollection,
        tempo: f64,
        beats_per_bar: f64,
    ) -> Self {
        let route = process.voices().as_route();
        let performance = Performance::new(process, told);
        let tempo = told.tempi.at(0.0).unwrap_or(tempo);
        Self {
            tempi: told.tempi.clone(),
            ..Self::of(&performance, route, tempo, beats_per_bar)
        }
    }

    fn of(performance: &Performance, route: Route, tempo: f64, beats_per_bar: f64) -> Self {
        let form = Form::of(performance);
        let limits = (LONGEST, MOST_NOTES);
        Self::within(performance, (form, route), tempo, beats_per_bar, limits)
    }

    fn within(
        performance: &Performance,
        (mut form, route): (Form, Route),
        tempo: f64,
        beats_per_bar: f64,
        (longest, most): (Beats, usize),
    ) -> Self {
        let limit = performance.future().origin() + longest;
        let mut notes = performance.notes(form.end().min(limit), most);
        let came_to = notes.get(most).map_or(limit, |beyond| beyond.on);
        if came_to < form.end() - HAIR {
            cut(&mut form, came_to);
        }
        let end = form.end();
        // What begins on the end itself, but for rounding, is not in it.
        notes.retain(|note| note.on < end - HAIR);
        Self {
            modes: modes(performance, end),
            turnings: turnings(performance, end),
            performance: performance.clone().into_owned(),
            route,
            form,
            notes,
            tempo,
            tempi: TempoMap::default(),
            beats_per_bar,
        }
    }

    /// The piece, under a title.
    pub fn piece<'a>(&'a self, title: &'a str) -> Piece<'a> {
        Piece {
            title,
            performance: &self.performance,
            form: &self.form,
            route: &self.route,
            notes: &self.notes,
            modes: &self.modes,
            tempo: self.tempo,
            tempi: Some(&self.tempi).filter(|tempi| !tempi.is_empty()),
            beats_per_bar: self.beats_per_bar,
        }
    }
}

/// Leaves the stages that are whole by `at`, or the beginning of the first.
fn cut(form: &mut Form, at: Beats) {
    let whole = form
        .stages
        .partition_point(|stage| stage.span.end <= at + HAIR);
    form.stages.truncate(whole.max(1));
    if let (0, Some(first)) = (whole, form.stages.first_mut()) {
        first.span.end = at;
    }
}

fn modes(performance: &Performance, end: Beats) -> Vec<(Beats, Mode)> {
    let changes = performance.mode_changes();
    let modes = changes.map(|change| (change.turning.end, change.mode));
    modes.filter(|(from, _)| *from < end - HAIR).collect()
}

fn turnings(performance: &Performance, end: Beats) -> Vec<Span> {
    let changes = performance.mode_changes();
    let turnings = changes.map(|change| change.turning);
    turnings
        .filter(|span| span.length() > HAIR && span.start < end - HAIR)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mode::ModeName;
    use crate::phrase::Phrase;
    use crate::settings::{Advance, Modulation, Modulations, Place, Settings, Shifts};

    fn process(adjust: impl FnOnce(&mut Settings)) -> Process {
        let mut settings = Settings::default();
        adjust(&mut settings);
        // Six notes in six steps: a cycle of 1.5 beats.
        let phrase = Phrase::from_text("D4 F4 G4 A4 C5 E5", 0.25).unwrap();
        Process::new(phrase, settings, 16.0)
    }

    fn within(process: Process, longest: Beats, most: usize) -> Unrolled {
        let performance = Performance::proposed(&process);
        let parts = (Form::of(&performance), Route::generated());
        Unrolled::within(&performance, parts, 120.0, 4.0, (longest, most))
    }

    #[test]
    fn a_piece_is_unrolled_from_its_origin_to_the_end_of_its_form() {
        // Seven dwells of 8 cycles and six drifts of 4: 80 cycles of 1.5 beats. The steady voice
        // plays 6 notes a cycle; the copy, 6 steps further on in the end, 6 more in all.
        let unrolled = Unrolled::new(process(|_| ()), 120.0, 4.0);
        assert_eq!(unrolled.form.end(), 16.0 + 120.0);
        assert_eq!(unrolled.notes.len(), 480 + 486);
        assert!(unrolled.notes.iter().all(|note| note.on >= 16.0));
        assert!(unrolled.piece("Ferry").is_whole());
    }

    #[test]
    fn a_process_without_end_is_unrolled_for_one_round() {
        let endless = Unrolled::new(process(|s| s.motion.shifts = Shifts::Endless), 120.0, 4.0);
        let round = Unrolled::new(process(|_| ()), 120.0, 4.0);
        assert_eq!(endless.notes.len(), round.notes.len());
        assert!(endless.form.endless);
    }

    #[test]
    fn a_piece_on_cue_is_unrolled_as_it_is_counted() {
        let counted = Unrolled::new(process(|_| ()), 120.0, 4.0);
        let on_cue = process(|settings| settings.motion.advance = Advance::OnCue);
        let on_cue = Unrolled::new(on_cue, 120.0, 4.0);
        assert_eq!(on_cue.notes, counted.notes);
        assert_eq!(on_cue.form, counted.form);
    }

    #[test]
    fn a_piece_that_is_too_long_is_cut_between_stages_and_says_so() {
        // A dwell of 12 beats, a drift of 6, a dwell of 12: the second dwell ends at beat 30.
        for longest in [30.0, 31.0, 35.9] {
            let cut = within(process(|_| ()), longest, usize::MAX - 1);
            assert_eq!((cut.form.stages.len(), cut.form.end()), (3, 16.0 + 30.0));
            assert!(cut.notes.iter().all(|note| note.on < 46.0));
            assert!(!cut.piece("Ferry").is_whole());
        }
    }

    #[test]
    fn a_piece_of_too_many_notes_is_cut_between_stages() {
        // Two voices, 6 notes a cycle each: 96 in the first dwell, and a drift that needs 49.
        let cut = within(process(|_| ()), 1e9, 144);
        assert_eq!((cut.form.stages.len(), cut.notes.len()), (1, 96));
        let cut = within(process(|_| ()), 1e9, 145);
        assert_eq!((cut.form.stages.len(), cut.notes.len()), (2, 145));
    }

    #[test]
    fn a_first_stage_that_is_too_long_is_cut_within() {
        let cut = within(process(|_| ()), 3.0, usize::MAX - 1);
        assert_eq!((cut.form.stages.len(), cut.form.end()), (1, 19.0));
        assert_eq!(cut.notes.len(), 2 * 12);
    }

    #[test]
    fn nothing_in_it_is_nothing_to_write_and_no_trouble() {
        let phrase = Phrase::empty(4.0).unwrap();
        let process = Process::new(phrase, Settings::default(), 0.0);
        let unrolled = Unrolled::new(process, 120.0, 4.0);
        assert!(unrolled.notes.is_empty());
    }

    #[test]
    fn a_modulation_is_on_its_way_and_then_in_force() {
        // At beat 12, over two cycles of 1.5 beats at the most; one pitch class differs at least.
        let unrolled = Unrolled::new(
            process(|settings| {
                settings.modulations = Modulations::new([Modulation {
                    place: Place::Beats(12.0),
                    tonic: 2,
                    mode: ModeName::Lydian,
                    over: 2,
                }]);
            }),
            120.0,
            4.0,
        );
        let [(first, _), (from, mode)] = unrolled.modes[..] else {
            panic!("two modes");
        };
        assert_eq!((first, mode.name()), (16.0, "D Lydian".to_owned()));
        let [turning] = unrolled.turnings[..] else {
            panic!("one turning");
        };
        assert_eq!((turning.start, turning.end), (28.0, from));
        assert!(turning.length() <= 3.0 && from > 28.0);
    }

    #[test]
    fn bars_are_counted_from_the_origin() {
        let unrolled = Unrolled::new(process(|_| ()), 120.0, 4.0);
        let piece = unrolled.piece("Ferry");
        assert_eq!(piece.bars(Span::new(16.0, 20.0)), "1");
        assert_eq!(piece.bars(Span::new(20.0, 33.0)), "2-5");
    }
}
