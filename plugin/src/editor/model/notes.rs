//! The notes of every voice over a stretch of the song, and the composite rhythm they make.

use crate::editor::model::circle::{TOGETHER, is_sliding};
use crate::editor::model::plan::stage_at;
use crate::editor::model::sonority::HeardSpelling;
use crate::editor::seen::Seen;
use procession_core::form::{Doing, Stage};
use procession_core::note::Key;
use procession_core::part::Part;
use procession_core::performance::Stood;
use procession_core::phrase::Phrase;
use procession_core::process::{Process, VoiceNote};
use procession_core::resulting::{ResultingNotes, sings};
use procession_core::settings::{Growth, Resulting};
use procession_core::time::{Beats, HAIR, Span, from_ticks};
use procession_core::voices::Reading;
use procession_core::words::{number_of, place_words, stage_words};

/// The stretch of the song that is in view.
#[derive(Clone, Debug, PartialEq)]
pub struct Frame {
    /// Its beginning and end.
    pub span: Span,
    /// Where the song stands, if that is in view.
    pub now: Option<Beats>,
    /// A moment of the cycle of which attacks are counted.
    pub tallied: Beats,
    /// What is seen, in words.
    pub words: String,
    /// Whether it is a stage that is looked at.
    pub is_of_stage: bool,
}

/// How much is in view.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Zoom {
    /// Two cycles on either side of now.
    Wide,
    /// One, where there is little room.
    Close,
}

/// Beats in view on either side of now: more than a very short phrase fills, fewer than a very long
/// one would, so that notes can be told apart.
const EITHER_SIDE: std::ops::RangeInclusive<Beats> = 2.0..=16.0;

impl Frame {
    /// Around `now` while it plays; the first cycles at rest; those of a stage if one is chosen.
    pub fn new(seen: &Seen, now: Beats, chosen: Option<usize>, zoom: Zoom) -> Self {
        let reach = reach(seen.phrase(), zoom);
        let running = seen.snapshot.running;
        let stage = chosen.and_then(|index| Some((index, seen.form.stages.get(index)?)));
        if let Some((index, stage)) = stage {
            let start = stage.span.start.max(stage.span.end - 2.0 * reach);
            let span = Span::new(start, start + 2.0 * reach);
            let words = stage_words(stage, &seen.process);
            return Self {
                span,
                now: Some(now).filter(|now| running && span.contains(*now)),
                tallied: end_of_stage(stage),
                words: format!("Stage {}, its last cycles: {words}", index + 1),
                is_of_stage: true,
            };
        }
        if running {
            return Self {
                span: Span::new(now - reach, now + reach),
                now: Some(now),
                tallied: now,
                words: "The last cycles and the next ones".to_owned(),
                is_of_stage: false,
            };
        }
        let origin = seen.process.origin();
        Self {
            span: Span::new(origin, origin + 2.0 * reach),
            now: None,
            tallied: origin,
            words: "Stopped: the first cycles".to_owned(),
            is_of_stage: false,
        }
    }

    /// The process that it shows: as it stood in the stage that is looked at, or as it plays.
    pub fn process<'a>(&self, seen: &'a Seen) -> Stood<'a> {
        if self.is_of_stage {
            seen.performance.at(self.tallied)
        } else {
            Stood::Lent(&seen.process)
        }
    }

    /// The stretch to be worked out so that it need not be again until the frame has moved on by
    /// its own half: both ends lie on multiples of that half.
    pub fn stretch(&self) -> Span {
        let half = self.span.length() / 2.0;
        let index = (self.span.start / half).floor();
        Span::new((index - 1.0) * half, (index + 4.0) * half)
    }
}

/// Inside a stage's end: what begins at the border belongs to the next stage. By two hairs, for
/// whoever looks for a cycle at a moment allows it one.
pub fn end_of_stage(stage: &Stage) -> Beats {
    stage.span.end - 2.0 * HAIR
}

/// Beats in view on either side of now.
fn reach(phrase: &Phrase, zoom: Zoom) -> Beats {
    let (fewest, most) = EITHER_SIDE.into_inner();
    match zoom {
        Zoom::Wide => (2.0 * phrase.length()).clamp(fewest, most),
        Zoom::Close => phrase.length().clamp(fewest / 2.0, most / 2.0),
    }
}

/// The notes of a stretch.
#[derive(Clone, Debug, PartialEq)]
pub struct Stretch {
    /// Where in the song.
    pub span: Span,
    /// The notes of each voice, and of the resulting line if there is one, in order of onset.
    pub voices: Vec<Vec<Bar>>,
    /// The composite rhythm.
    pub attacks: Vec<Attack>,
    /// Where the steady voice begins anew.
    pub cycles: Vec<CycleStart>,
}

/// A note as a bar in its lane.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bar {
    /// Song position at which it begins.
    pub on: Beats,
    /// Song position at which it ends.
    pub off: Beats,
    /// The key.
    pub key: Key,
    /// Its pitch within what the voice plays: 0 at the bottom, 1 at the top.
    pub height: f32,
    /// Whether it sounds; one that has not grown yet, or is silenced, is hollow.
    pub filled: bool,
    /// Which note of the phrase it is.
    pub index: usize,
}

/// A moment at which something is struck.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Attacked {
    /// A bit for each, at [`Part::index`].
    voices: u16,
}

/// A moment of the composite rhythm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Attack {
    /// Song position.
    pub at: Beats,
    /// Who strikes.
    pub attacked: Attacked,
}

impl Attack {
    /// How many voices strike.
    pub fn voices(&self) -> usize {
        self.attacked.voices.count_ones() as usize
    }

    /// Whether voices meet.
    pub fn coincides(&self) -> bool {
        self.voices() > 1
    }

    /// Such as "Steady, Copy 2".
    pub fn names(&self) -> String {
        let strikes = |part: &Part| self.attacked.voices & 1 << part.index() != 0;
        let names = Part::ALL.into_iter().filter(strikes);
        let names: Vec<String> = names.map(|part| part.to_string()).collect();
        names.join(", ")
    }
}

/// Where the steady voice begins a cycle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CycleStart {
    /// Song position.
    pub at: Beats,
    /// 1 for the first; none while the cycles still lengthen.
    pub number: Option<i64>,
}

impl Stretch {
    /// The notes of `process` in `span`.
    pub fn new(process: &Process, span: Span) -> Self {
        let heard: Vec<Vec<VoiceNote>> = process
            .parts()
            .map(|part| heard(process, part, span))
            .collect();
        let parts = process.parts().zip(&heard);
        Self {
            span,
            voices: parts
                .map(|(part, heard)| bars(process, part, span, heard))
                .collect(),
            // The resulting line doubles what others strike.
            attacks: attacks(
                process,
                heard.iter().take(process.voices().count()).flatten(),
            ),
            cycles: cycles(process, span),
        }
    }
}

fn heard(process: &Process, part: Part, span: Span) -> Vec<VoiceNote> {
    if part == Part::ResultingLine {
        ResultingNotes::new(process, span).collect()
    } else {
        process.notes(part, span).collect()
    }
}

/// The composite rhythm of these notes. Attacks that are heard as one are one, see [`TOGETHER`].
fn attacks<'a>(process: &Process, heard: impl Iterator<Item = &'a VoiceNote>) -> Vec<Attack> {
    let apart = f64::max(TOGETHER * process.settings().step(), from_ticks(1));
    let mut strokes: Vec<(Beats, Part)> = heard.map(|note| (note.on, note.part)).collect();
    strokes.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut attacks: Vec<Attack> = Vec::new();
    for (at, part) in strokes {
        match attacks.last_mut() {
            Some(last) if at - last.at <= apart => last.attacked.voices |= 1 << part.index(),
            _ => attacks.push(Attack {
                at,
                attacked: Attacked {
                    voices: 1 << part.index(),
                },
            }),
        }
    }
    attacks
}

fn cycles(process: &Process, span: Span) -> Vec<CycleStart> {
    let origin = process.origin();
    let (laps, whole) = (
        process.voices().laps(Part::Steady),
        process.phrase().length(),
    );
    let lengthens = process.settings().growth.growth == Growth::Lengthen;
    let mut lap = process.voices().steady_lap(span.start.max(origin));
    let mut cycles = Vec::new();
    while lap.start.steady_since().to_song(origin) < span.end {
        let number = (lap.start.beats() / whole).round() as i64 + 1;
        cycles.push(CycleStart {
            at: lap.start.steady_since().to_song(origin),
            number: (!lengthens).then_some(number),
        });
        lap = laps.after(&lap);
    }
    cycles
}

/// The lane of a part: what is heard filled, what a voice passes in silence hollow.
fn bars(process: &Process, part: Part, span: Span, heard: &[VoiceNote]) -> Vec<Bar> {
    let lane = Lane::of(process, part, span.start, heard);
    if part == Part::ResultingLine {
        let bar = |note: &VoiceNote| {
            let span = Span::new(note.on, note.off);
            lane.bar(note.index, note.key, span, true)
        };
        return heard.iter().map(bar).collect();
    }
    let silenced = process.level(part) <= 0.0;
    let notes = process.phrase().notes();
    let bar = |reading: Reading| {
        let key = process.key_of(part, notes[reading.index].key, reading.on);
        let span = Span::new(reading.on, reading.off);
        lane.bar(reading.index, key, span, reading.appears && !silenced)
    };
    process.voices().readings(part, span).map(bar).collect()
}

/// The pitches a voice plays, from the lowest to the highest.
struct Lane {
    low: u8,
    high: u8,
}

impl Lane {
    /// As wide as what is heard in the stretch, and the whole phrase at its beginning.
    fn of(process: &Process, part: Part, at: Beats, heard: &[VoiceNote]) -> Self {
        let phrase = match part {
            Part::ResultingLine => &[],
            Part::Steady | Part::Copy(_) => process.phrase().notes(),
        };
        let written = phrase.iter().map(|note| process.key_of(part, note.key, at));
        let keys = written.chain(heard.iter().map(|note| note.key));
        let keys = keys.map(Key::number);
        Self {
            low: keys.clone().min().unwrap_or(60),
            high: keys.max().unwrap_or(60),
        }
    }

    fn bar(&self, index: usize, key: Key, span: Span, filled: bool) -> Bar {
        let above = f32::from(key.number()) - f32::from(self.low);
        let height = if self.high > self.low {
            above / f32::from(self.high - self.low)
        } else {
            0.5
        };
        Bar {
            on: span.start,
            off: span.end,
            key,
            height,
            filled,
            index,
        }
    }
}

/// The head of a lane.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Head {
    /// Whose lane it is.
    pub part: Part,
    /// "Steady", "Copy 1".
    pub name: String,
    /// "2 steps ahead".
    pub place: String,
    /// Whether it is on its way to another offset.
    pub moving: bool,
}

/// The heads of all lanes, as they stand at song position `at`.
pub fn heads(seen: &Seen, at: Beats) -> Vec<Head> {
    let head = |part| match part {
        Part::ResultingLine => line_head(seen, at),
        Part::Steady | Part::Copy(_) => head(seen, part, at),
    };
    seen.process.parts().map(head).collect()
}

fn line_head(seen: &Seen, at: Beats) -> Head {
    let picks = match seen.settings().resulting.which {
        Resulting::Top | Resulting::Off => "the top",
        Resulting::Bottom => "the bottom",
        Resulting::Together => "coincidences",
    };
    let place = if sings(&seen.process, at) {
        picks.to_owned()
    } else {
        format!("{picks}, resting")
    };
    Head {
        part: Part::ResultingLine,
        name: Part::ResultingLine.to_string(),
        place,
        moving: false,
    }
}

fn head(seen: &Seen, part: Part, at: Beats) -> Head {
    let stage = stage_at(seen, at).map(|stage| &seen.form.stages[stage]);
    let doing = stage
        .zip(part.as_copy())
        .and_then(|(stage, copy)| Some(stage.copies.get(copy.index())?.doing));
    let slides = seen.snapshot.running && part.as_copy().is_some_and(|copy| is_sliding(seen, copy));
    let moving = doing == Some(Doing::Drifting) || slides;
    // A hair later, so that a jump on this very moment has been made.
    let ahead = seen.process.voices().displacement(part, at + HAIR);
    let step = seen.settings().step();
    let own = (part.as_copy()).and_then(|copy| seen.process.voices().own_cycle(copy));
    let cycle = own.map(|own| own.length / step);
    let place = match (part, ahead) {
        (Part::Steady, _) => "as played".to_owned(),
        (_, None) => "not yet entered".to_owned(),
        (_, Some(ahead)) => standing_words(ahead / step, cycle, doing),
    };
    Head {
        part,
        name: part.to_string(),
        place,
        moving,
    }
}

fn standing_words(steps: f64, cycle: Option<f64>, doing: Option<Doing>) -> String {
    let words = place_words(steps, cycle);
    if doing == Some(Doing::Building) {
        return format!("{words}, building up");
    }
    words
}

/// How many moments of a cycle are struck, and at how many of them voices meet.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    /// Moments at which something is struck.
    pub attacks: usize,
    /// Moments at which two voices or more are.
    pub coincidences: usize,
}

impl Tally {
    /// The tally of the cycle that song position `at` falls in: the one that circle, notes and
    /// plan tell.
    pub fn at(process: &Process, at: Beats) -> Self {
        let cycle = cycle_at(process, at);
        let heard: Vec<VoiceNote> = process
            .voices()
            .parts()
            .flat_map(|voice| process.notes(voice, cycle))
            .collect();
        Self::of(&attacks(process, heard.iter()), cycle)
    }

    /// The tally of `span`.
    pub fn of(attacks: &[Attack], span: Span) -> Self {
        // A hair of rounding puts an attack on a bar line into the cycle it begins.
        let inside = |attack: &&Attack| span.contains(attack.at + from_ticks(1) / 2.0);
        let counted = attacks.iter().filter(inside);
        counted.fold(Self::default(), |tally, attack| Self {
            attacks: tally.attacks + 1,
            coincidences: tally.coincidences + usize::from(attack.coincides()),
        })
    }

    /// "9 attacks"
    pub fn attacks_words(&self) -> String {
        number_of(self.attacks, "attack")
    }

    /// "3 coincidences"
    pub fn coincidences_words(&self) -> String {
        number_of(self.coincidences, "coincidence")
    }
}

/// The cycle of the steady voice that song position `at` falls in; before the first, the first.
pub fn cycle_at(process: &Process, at: Beats) -> Span {
    let origin = process.origin();
    // A hair of rounding puts a moment on a bar line into the cycle it begins.
    let lap = process.voices().steady_lap((at + HAIR).max(origin));
    let start = lap.start.steady_since().to_song(origin);
    Span::new(start, start + lap.length)
}

/// How much a note stands out at `now`, 0 ..= 1: swelling as it begins, fading when it is over, so
/// that nothing flashes. `sounding` tells the keys that do sound: bit k is key k.
pub fn glow(bar: &Bar, now: Beats, sounding: u128) -> f32 {
    const SWELL: Beats = 0.1;
    const FADE: Beats = 0.5;
    let since_off = now - bar.off;
    if !bar.filled || now < bar.on || since_off >= FADE {
        return 0.0;
    }
    if since_off >= 0.0 {
        return (1.0 - since_off / FADE) as f32;
    }
    let sounds = sounding & 1 << bar.key.number() != 0;
    if sounds {
        ((now - bar.on) / SWELL).min(1.0) as f32
    } else {
        0.0
    }
}

/// What a note is, in words: "Copy 1: F4, note 2 of 6, silent".
pub fn bar_words(process: &Process, part: Part, bar: &Bar) -> String {
    let key = HeardSpelling::of(process, bar.on).key(bar.key);
    let (number, all) = (bar.index + 1, process.phrase().notes().len());
    let silent = if bar.filled { "" } else { ", silent" };
    format!("{}: {key}, note {number} of {all}{silent}", part)
}

/// What meets at a moment: "3 voices coincide: Steady, Copy 1, Copy 2".
pub fn attack_words(attack: &Attack) -> String {
    match attack.voices() {
        1 => format!("{} alone", attack.names()),
        many => format!("{many} voices coincide: {}", attack.names()),
    }
}

/// Carries the song position on between two messages of the audio thread, which come a block at a
/// time, so that what moves moves smoothly.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Carried {
    heard: Beats,
    at: f64,
}

impl Carried {
    /// Seconds for which it is carried on without news.
    const PATIENCE: f64 = 0.1;

    /// The song position at `time` (seconds), the last one heard of being `position`.
    pub fn position(&mut self, position: Beats, tempo: f64, rolls: bool, time: f64) -> Beats {
        if position != self.heard || !rolls {
            *self = Self {
                heard: position,
                at: time,
            };
        }
        let since = (time - self.at).clamp(0.0, Self::PATIENCE);
        position + since * tempo / 60.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::feed::Snapshot;
    use procession_core::engine::Anchor;
    use procession_core::settings::GrowthOrder;
    use procession_core::settings::{Motion, Settings};

    const SIX: &str = "D4 F4 G4 A4 C5 E4";

    fn seen_at(text: &str, position: Option<Beats>, change: impl FnOnce(&mut Settings)) -> Seen {
        let mut settings = Settings::default();
        change(&mut settings);
        let snapshot = Snapshot {
            running: position.is_some(),
            position: position.unwrap_or(0.0),
            tempo: 120.0,
            ..Snapshot::default()
        };
        let phrase = Phrase::from_text(text, 0.25).expect("a phrase");
        Seen::new(snapshot, phrase, settings, Anchor::NextStart)
    }

    fn stretch(text: &str, span: Span, change: impl FnOnce(&mut Settings)) -> Stretch {
        Stretch::new(&seen_at(text, None, change).process, span)
    }

    #[test]
    fn two_cycles_either_side_of_now_are_in_view() {
        let seen = seen_at(SIX, Some(30.0), |_| ());
        let frame = Frame::new(&seen, 30.0, None, Zoom::Wide);
        assert_eq!((frame.span, frame.now), (Span::new(27.0, 33.0), Some(30.0)));
        let stretch = frame.stretch();
        assert!(stretch.start < frame.span.start && stretch.end > frame.span.end);
    }

    #[test]
    fn where_there_is_little_room_one_cycle_is() {
        let seen = seen_at(SIX, Some(30.0), |_| ());
        let frame = Frame::new(&seen, 30.0, None, Zoom::Close);
        assert_eq!(frame.span, Span::new(28.5, 31.5));
    }

    #[test]
    fn at_rest_the_first_cycles_are_in_view_without_a_playhead() {
        let seen = seen_at(SIX, None, |_| ());
        let frame = Frame::new(&seen, 0.0, None, Zoom::Wide);
        assert_eq!((frame.span, frame.now), (Span::new(0.0, 6.0), None));
    }

    #[test]
    fn a_chosen_stage_shows_its_last_cycles_and_says_so() {
        let seen = seen_at(SIX, Some(0.5), |settings| {
            settings.motion.motion = Motion::Jump
        });
        let stage = seen.form.stages[2].span;
        let frame = Frame::new(&seen, 0.5, Some(2), Zoom::Wide);
        assert_eq!((frame.span.end, frame.now), (stage.end, None));
        assert!(frame.span.start > stage.start);
        assert_eq!(cycle_at(&seen.process, frame.tallied).end, stage.end);
        assert_eq!(
            frame.words,
            "Stage 3, its last cycles: copy 1 stays 2 steps ahead"
        );
        // A stage that is not there, as after an edit, is not insisted on.
        let frame = |chosen| Frame::new(&seen, 0.5, chosen, Zoom::Wide);
        assert_eq!(frame(Some(999)), frame(None));
    }

    #[test]
    fn a_long_phrase_is_not_squeezed_in_whole() {
        let long = Phrase::empty(128.0).expect("a phrase");
        let short = Phrase::empty(0.25).expect("a phrase");
        assert_eq!(
            (reach(&long, Zoom::Wide), reach(&long, Zoom::Close)),
            (16.0, 8.0)
        );
        assert_eq!(
            (reach(&short, Zoom::Wide), reach(&short, Zoom::Close)),
            (2.0, 1.0)
        );
    }

    #[test]
    fn two_voices_in_unison_double_every_attack() {
        let stretch = stretch(SIX, Span::new(0.0, 1.5), |_| ());
        let tally = Tally::of(&stretch.attacks, stretch.span);
        assert_eq!((tally.attacks, tally.coincidences), (6, 6));
        assert_eq!(stretch.attacks[0].names(), "Steady, Copy 1");
    }

    #[test]
    fn a_gapped_rhythm_interlocks_with_itself_one_step_ahead() {
        let stretch = stretch("D4 . F4 . G4 .", Span::new(0.0, 1.5), |settings| {
            settings.motion.offset = 1.0;
        });
        let tally = Tally::of(&stretch.attacks, stretch.span);
        assert_eq!((tally.attacks, tally.coincidences), (6, 0));
        assert_eq!(tally.attacks_words(), "6 attacks");
    }

    /// The tallies here, from the notes themselves, against those of the form, from arithmetic.
    #[test]
    fn the_composite_rhythm_agrees_with_the_list_of_alignments() {
        for offset in 0..8 {
            let seen = seen_at("D4 . F4 G4 . . A4 C5", None, |settings| {
                settings.motion.offset = f64::from(offset);
            });
            // The second cycle: in the first, a copy that is behind has yet to begin.
            let stretch = Stretch::new(&seen.process, Span::new(2.0, 4.0));
            let tally = Tally::of(&stretch.attacks, stretch.span);
            let alignment = &seen.form.alignments[offset as usize];
            assert_eq!(tally.attacks, alignment.attacks, "{offset} steps ahead");
            assert_eq!(
                tally.coincidences, alignment.doublings,
                "{offset} steps ahead"
            );
        }
    }

    #[test]
    fn notes_that_have_not_grown_are_hollow_and_in_their_place() {
        let grown = stretch("D4 F4 G4 A4", Span::new(0.0, 1.0), |settings| {
            settings.growth.growth = Growth::Fill;
            settings.growth.order = GrowthOrder::Forward;
        });
        let steady: Vec<_> = grown.voices[0]
            .iter()
            .map(|bar| (bar.on, bar.filled))
            .collect();
        assert_eq!(
            steady,
            [(0.0, true), (0.25, false), (0.5, false), (0.75, false)]
        );
        // The copy waits until all is there.
        assert!(grown.voices[1].is_empty());
    }

    #[test]
    fn a_copy_that_builds_itself_up_again_is_hollow_at_its_new_place() {
        let built = stretch(SIX, Span::new(1.5, 3.0), |settings| {
            settings.motion.motion = Motion::BuildUp;
            settings.motion.dwell = 1;
            settings.growth.every = 1;
        });
        let copy: Vec<_> = built.voices[1]
            .iter()
            .map(|bar| (bar.index, bar.filled))
            .collect();
        let hollow = |index| (index, false);
        assert_eq!(copy, [1, 2, 3, 4, 5, 0].map(hollow));
        assert!(
            built
                .attacks
                .iter()
                .all(|attack| attack.names() == "Steady")
        );
    }

    #[test]
    fn a_silenced_voice_is_hollow_even_while_it_drifts() {
        let sounding = |level: f32| {
            stretch(SIX, Span::new(12.0, 18.0), |settings| {
                settings.copies[0].level = level
            })
        };
        let (loud, mute) = (sounding(1.0), sounding(0.0));
        assert!(!mute.voices[1].is_empty() && mute.voices[1].iter().all(|bar| !bar.filled));
        assert_eq!(loud.voices[1].len(), mute.voices[1].len());
        for (loud, mute) in loud.voices[1].iter().zip(&mute.voices[1]) {
            assert!((loud.on - mute.on).abs() < 1e-3 && loud.index == mute.index);
        }
    }

    #[test]
    fn the_lowest_note_lies_at_the_bottom_of_its_lane_whatever_its_octave() {
        let stretch = stretch("D4 A4 D5", Span::new(0.0, 0.75), |settings| {
            settings.copies[0].octave = 2;
        });
        for voice in &stretch.voices {
            let heights: Vec<f32> = voice.iter().map(|bar| bar.height).collect();
            assert_eq!(heights, [0.0, 7.0 / 12.0, 1.0]);
        }
    }

    #[test]
    fn each_voice_says_where_it_stands() {
        let places = |at: Beats| -> Vec<(String, bool)> {
            let seen = seen_at("D4 F4 G4 . A4 C5 . E4 . . . .", Some(at), |settings| {
                settings.motion.copies = 2;
            });
            let heads = heads(&seen, at);
            heads
                .into_iter()
                .skip(1)
                .map(|head| (head.place, head.moving))
                .collect()
        };
        let still = |words: &str| (words.to_owned(), false);
        assert_eq!(places(0.0), [still("unison"), still("unison")]);
        assert_eq!(
            places(36.0),
            [still("1 step ahead"), still("2 steps ahead")]
        );
        // Half-way through its lean.
        let moving = |words: &str| (words.to_owned(), true);
        assert_eq!(
            places(30.0),
            [moving("0.5 steps ahead"), moving("1 step ahead")]
        );
    }

    #[test]
    fn the_cycle_counted_is_the_one_that_plays() {
        let seen = seen_at(SIX, Some(4.0), |_| ());
        let frame = Frame::new(&seen, 4.0, None, Zoom::Wide);
        let stretch = Stretch::new(&seen.process, frame.stretch());
        let cycle = cycle_at(&seen.process, frame.tallied);
        assert_eq!(cycle, Span::new(3.0, 4.5));
        let numbers: Vec<_> = stretch
            .cycles
            .iter()
            .filter_map(|cycle| cycle.number)
            .collect();
        assert_eq!(numbers[..3], [1, 2, 3]);
    }

    #[test]
    fn the_resulting_line_has_a_lane_and_says_when_it_rests() {
        let mut settings = Settings::default();
        settings.motion.motion = Motion::Jump;
        settings.motion.dwell = 4;
        settings.resulting.which = Resulting::Top;
        let seen = crate::editor::model::circle::tests::seen("D4 F4 . A4 . C5", settings, None);
        // From beat 16 on; a step ahead from beat 22 on; the line enters a cycle of 1.5 beats later.
        let stretch = Stretch::new(&seen.process, Span::new(22.0, 25.0));
        assert_eq!(stretch.voices.len(), 3);
        let line: Vec<u8> = stretch.voices[2]
            .iter()
            .map(|bar| bar.key.number())
            .collect();
        assert_eq!(line, [65, 65, 69, 69, 72, 72]);
        // Whoever doubles is no further voice of the composite.
        assert!(stretch.attacks.iter().all(|attack| attack.voices() <= 2));
        let place = |at| heads(&seen, at)[2].place.clone();
        assert_eq!(place(23.0), "the top, resting");
        assert_eq!(place(24.0), "the top");
    }

    #[test]
    fn a_sounding_note_swells_and_fades_and_never_flashes() {
        let stretch = stretch("D4 - F4 -", Span::new(0.0, 1.0), |_| ());
        let bar = stretch.voices[0][0];
        let sounding = 1 << 62;
        assert_eq!(glow(&bar, 0.4, sounding), 1.0);
        assert_eq!(glow(&bar, 0.4, 0), 0.0);
        assert_eq!(glow(&bar, 0.0, sounding), 0.0);
        assert!(glow(&bar, 0.55, 0) > 0.8);
        assert_eq!(glow(&bar, 1.0, 0), 0.0);
    }

    #[test]
    fn between_two_messages_the_song_is_carried_on_at_its_tempo_and_not_for_long() {
        let mut carried = Carried::default();
        assert_eq!(carried.position(8.0, 120.0, true, 10.0), 8.0);
        let later = carried.position(8.0, 120.0, true, 10.01);
        assert!((later - 8.02).abs() < 1e-9);
        let hung = carried.position(8.0, 120.0, true, 99.0);
        assert!((hung - 8.2).abs() < 1e-9);
        assert_eq!(carried.position(8.0, 120.0, false, 99.5), 8.0);
    }

    #[test]
    fn notes_and_attacks_say_what_they_are() {
        let seen = seen_at("D4 F#4 A4", None, |_| ());
        let stretch = Stretch::new(&seen.process, Span::new(0.0, 0.75));
        let words = bar_words(&seen.process, Part::COPY_1, &stretch.voices[1][1]);
        assert_eq!(words, "Copy 1: F♯4, note 2 of 3");
        assert_eq!(
            attack_words(&stretch.attacks[0]),
            "2 voices coincide: Steady, Copy 1"
        );
    }
}
