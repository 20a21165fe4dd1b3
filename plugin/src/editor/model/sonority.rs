//! What sounds, and in which mode it is heard: twelve pitch classes in order of fifths, the source
//! above, the target below, and what has turned on the way from one to the other.

use crate::editor::model::modulations::origin_of;
use crate::editor::seen::Seen;
use procession_core::fold::{self, FoldMap, Turn};
use procession_core::mode::{Mode, ModeName, PitchName, PitchSet, Spelling};
use procession_core::note::Key;
use procession_core::process::Process;
use procession_core::settings::{FoldKind, FoldSettings};
use procession_core::sonority::Sonority;
use procession_core::time::{Beats, HAIR, Span};

/// The sonority and the fold, in places and words.
#[derive(Clone, Debug, PartialEq)]
pub struct SonorityPicture {
    /// What the sounding set is called: "D Dorian", "silence".
    pub name: String,
    /// In which cycle it sounds: "in the last cycle".
    pub when: String,
    /// What sounds, a cell a column.
    pub sounding: [Cell; 12],
    /// The mode the phrase is heard in.
    pub source: Heard,
    /// "Heard as D Dorian", or what a mode change leads on from.
    pub heard_as: String,
    /// The mode it moves into.
    pub target: Heard,
    /// Which pitch class turns into which, the first to turn first.
    pub turns: Vec<TurnLine>,
    /// Whether anything is to be moved at all.
    pub folding: bool,
    /// How many degrees the two modes have in common: "5 of 7 degrees kept".
    pub kept: String,
    /// What has turned so far: "1 of 2 degrees moved: B into B♭".
    pub moved: String,
    /// What turns next and when: "Next, at 75 %: E into E♭".
    pub next: Option<String>,
    /// Why the source is what it is, and that it can be overruled.
    pub guess: String,
    /// Modes that would fit as well, if a small mode was guessed.
    pub suggestions: Vec<Suggestion>,
}

/// One of twelve pitch classes.
#[derive(Clone, Debug, PartialEq)]
pub struct Cell {
    /// 0 (C) ..= 11 (B).
    pub pitch_class: u8,
    /// As it is written here.
    pub name: String,
    /// Whether it belongs, or sounds.
    pub filled: bool,
    /// Whether it is the tonic.
    pub tonic: bool,
}

/// A mode, named and spread over the twelve columns.
#[derive(Clone, Debug, PartialEq)]
pub struct Heard {
    /// "D Dorian".
    pub name: String,
    /// A cell a column.
    pub cells: [Cell; 12],
}

/// A pitch class on its way into another.
#[derive(Clone, Debug, PartialEq)]
pub struct TurnLine {
    /// Column in the source.
    pub from: usize,
    /// Column in the target.
    pub to: usize,
    /// Whether it has turned already.
    pub moved: bool,
    /// "B into B♭".
    pub words: String,
}

/// A mode that the phrase fits as well.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Suggestion {
    /// "D Dorian".
    pub name: String,
    /// As typed into the source tonic.
    pub tonic: String,
    /// As typed into the source mode.
    pub mode: &'static str,
}

impl SonorityPicture {
    /// The sonority of `cycle` and the fold of what is seen.
    pub fn new(seen: &Seen, cycle: &Cycle) -> Self {
        let process = &seen.process;
        let charge = Charge::at(process, cycle.span.end - 2.0 * HAIR);
        let fold = charge.fold;
        let set = pitch_classes_in(process, cycle.span);
        let (source, target) = (fold.source(), fold.target());
        let target_tonic = fold.target_tonic_name();
        let columns = columns(
            set.union(source.pitch_classes())
                .union(target.pitch_classes()),
        );
        let spread = |members: PitchSet, tonic: Option<u8>, name: &dyn Fn(u8) -> PitchName| {
            columns.map(|pitch_class| Cell {
                pitch_class,
                name: name(pitch_class).to_string(),
                filled: members.contains(pitch_class),
                tonic: tonic == Some(pitch_class),
            })
        };
        let heard = |mode: &Mode, spelling: Spelling, name: String| Heard {
            name,
            cells: spread(mode.pitch_classes(), Some(mode.tonic()), &|pitch_class| {
                spelling.name(pitch_class)
            }),
        };
        let spelling = HeardSpelling::under(&charge);
        Self {
            name: charge.name_of(set),
            when: cycle.words.clone(),
            sounding: spread(set, None, &|pitch_class| spelling.name(pitch_class)),
            source: heard(&source, source.spelling(), source.name()),
            heard_as: heard_as(process, &charge, cycle.span.end - 2.0 * HAIR),
            target: heard(
                &target,
                target.spelling_from(target_tonic),
                target.name_on(target_tonic),
            ),
            turns: turn_lines(&charge, &columns),
            folding: charge.folding,
            kept: kept(&source, &target),
            moved: moved(&charge),
            next: next(&charge),
            guess: guess(process, &charge),
            suggestions: suggestions(process, &charge),
        }
    }
}

/// A cycle whose sonority is asked for.
#[derive(Clone, Debug, PartialEq)]
pub struct Cycle {
    /// Where in the song.
    pub span: Span,
    /// "in the last cycle".
    pub words: String,
}

impl Cycle {
    /// The last cycle of what plays; at rest the first; of a chosen stage the one that ends it.
    pub fn of(seen: &Seen, chosen: Option<usize>) -> Self {
        let cycle = seen.phrase().length();
        let stage = chosen.and_then(|index| Some((index, seen.form.stages.get(index)?)));
        if let Some((index, stage)) = stage {
            let start = stage.span.start.max(stage.span.end - cycle);
            return Self {
                span: Span::new(start, stage.span.end),
                words: format!("at the end of stage {}", index + 1),
            };
        }
        let origin = seen.process.origin();
        let now = origin + seen.elapsed();
        if seen.snapshot.running && now > origin {
            return Self {
                span: Span::new(now - cycle, now),
                words: "in the last cycle".to_owned(),
            };
        }
        Self {
            span: Span::new(origin, origin + cycle),
            words: "stopped; this is the first cycle".to_owned(),
        }
    }
}

/// The source, by the one name it has in every view.
fn heard_as(process: &Process, charge: &Charge, at: Beats) -> String {
    let began = process
        .mode_changes()
        .map(|change| change.turning.start)
        .take_while(|start| *start <= at + HAIR)
        .last();
    match began.filter(|_| charge.planned) {
        Some(start) => format!("From {}", origin_of(process, start)),
        None => format!("Heard as {}", charge.fold.source().name()),
    }
}

/// The pitch classes that sound within `span`, whether struck in it or held into it.
pub fn pitch_classes_in(process: &Process, span: Span) -> PitchSet {
    // A note lasts a cycle at most, and twice that if its copy drifts at half the tempo.
    let held_from = span.start - 2.0 * process.phrase().length();
    (process.voices().parts())
        .flat_map(|voice| process.notes(voice, Span::new(held_from, span.end)))
        .filter(|note| note.off > span.start + HAIR)
        .map(|note| note.key.pitch_class())
        .collect()
}

/// The twelve in order of fifths, flat side left, cut where the fewest of `used` are parted: in
/// the middle of the longest stretch that nothing uses.
fn columns(used: PitchSet) -> [u8; 12] {
    let from = |first: i32| -> [u8; 12] {
        std::array::from_fn(|column| ((first + column as i32) * 7).rem_euclid(12) as u8)
    };
    let unused_at = |columns: &[u8; 12], ends: &mut dyn Iterator<Item = usize>| {
        ends.take_while(|column| !used.contains(columns[*column]))
            .count() as i32
    };
    // D♭ at the far left is the cut of those names that take the fewest accidentals.
    (-5..7)
        .map(from)
        .min_by_key(|columns| {
            let left = unused_at(columns, &mut (0..12));
            let right = unused_at(columns, &mut (0..12).rev());
            (-(left + right), (left - right).abs())
        })
        .unwrap_or_else(|| from(-5))
}

/// How pitch classes are written while some of them have turned: as the source writes them, what
/// has turned as the target does; as the target altogether once everything has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct HeardSpelling([PitchName; 12]);

impl HeardSpelling {
    /// As the pitches of `process` are written at song position `at`.
    pub fn of(process: &Process, at: Beats) -> Self {
        Self::under(&Charge::at(process, at))
    }

    fn under(charge: &Charge) -> Self {
        let fold = charge.fold;
        let by = |spelling: Spelling| std::array::from_fn(|class| spelling.name(class as u8));
        if charge.hears_target {
            return Self(by(fold.target().spelling_from(fold.target_tonic_name())));
        }
        let mut names: [PitchName; 12] = by(fold.source().spelling());
        for turn in charge.turned() {
            let still_source = fold
                .source()
                .pitch_classes()
                .contains(turn.to.pitch_class());
            if !still_source {
                names[usize::from(turn.to.pitch_class())] = turn.to;
            }
        }
        Self(names)
    }

    /// "F♯".
    pub fn name(&self, pitch_class: u8) -> PitchName {
        self.0[usize::from(pitch_class % 12)]
    }

    /// "F♯4"; C4 is key 60.
    pub fn key(&self, key: Key) -> String {
        let name = self.name(key.pitch_class());
        // C♭4 is the key below C4.
        let natural = i32::from(key.number()) - name.accidental();
        format!("{name}{}", natural.div_euclid(12) - 1)
    }
}

/// The fold in charge at a moment, and how far it has gone.
struct Charge<'a> {
    fold: &'a FoldMap,
    moved: usize,
    /// Whether it moves anything at all.
    folding: bool,
    /// Whether the modulation plan put it in charge.
    planned: bool,
    /// Whether everything that differs has turned, so that the target is what is heard.
    hears_target: bool,
}

impl<'a> Charge<'a> {
    fn at(process: &'a Process, at: Beats) -> Self {
        let (fold, moved) = process.fold_at(at);
        let planned = process.is_modulated(at);
        let settings = &process.settings().fold;
        let folding = planned || settings.fold != FoldKind::Off;
        let begun = planned || settings.amount > 0.0;
        Self {
            fold,
            moved,
            folding,
            planned,
            hears_target: folding && begun && moved == fold.differing(),
        }
    }

    fn turned(&self) -> &'a [Turn] {
        &self.fold.order()[..self.moved]
    }

    /// What a set is called where it is heard then.
    fn name_of(&self, set: PitchSet) -> String {
        let sonority = Sonority { pitch_classes: set };
        if !self.hears_target {
            return sonority.name(Some(&self.fold.source()));
        }
        let target = self.fold.target();
        if set == target.pitch_classes() && set != PitchSet::CHROMATIC {
            return target.name_on(self.fold.target_tonic_name());
        }
        sonority.name(Some(&target))
    }
}

/// What a set is called where it is heard at song position `at`.
pub fn name_of(process: &Process, set: PitchSet, at: Beats) -> String {
    Charge::at(process, at).name_of(set)
}

fn turn_lines(charge: &Charge, columns: &[u8; 12]) -> Vec<TurnLine> {
    let column = |class: u8| {
        columns
            .iter()
            .position(|other| *other == class)
            .unwrap_or(0)
    };
    let line = |(index, turn): (usize, &Turn)| TurnLine {
        from: column(turn.from.pitch_class()),
        to: column(turn.to.pitch_class()),
        moved: index < charge.moved,
        words: turn_words(turn),
    };
    let order = charge.fold.order().iter().enumerate();
    order.map(line).collect()
}

fn turn_words(turn: &Turn) -> String {
    format!("{} into {}", turn.from, turn.to)
}

fn kept(source: &Mode, target: &Mode) -> String {
    let common = source.pitch_classes().intersection(target.pitch_classes());
    let degrees = if source.size() == 1 {
        "degree"
    } else {
        "degrees"
    };
    format!("{} of {} {degrees} kept", common.len(), source.size())
}

fn moved(charge: &Charge) -> String {
    if !charge.folding {
        return "Fold is off: pitches stay as they are.".to_owned();
    }
    let differing = charge.fold.differing();
    if differing == 0 {
        return "Nothing differs, so nothing moves.".to_owned();
    }
    let degrees = if differing == 1 { "degree" } else { "degrees" };
    let count = format!("{} of {differing} {degrees} moved", charge.moved);
    if charge.moved == 0 {
        return format!("{count}.");
    }
    let words: Vec<String> = charge.turned().iter().map(turn_words).collect();
    format!("{count}: {}.", words.join(", "))
}

/// The next to turn: the fold amount at which it does, or that a coming cycle brings it.
fn next(charge: &Charge) -> Option<String> {
    let fold = charge.fold;
    let turn = turn_words(fold.order().get(charge.moved)?);
    if charge.planned {
        return Some(format!("Next, in a coming cycle: {turn}."));
    }
    // The count of those moved is the amount's share, rounded.
    let amount = 100.0 * (charge.moved as f64 + 0.5) / fold.differing() as f64;
    // Upwards to a tenth, the finest the amount is set to, so that it does happen there.
    let amount = (amount * 10.0 - 1e-9).ceil() / 10.0;
    Some(format!("Next, at {amount} %: {turn}."))
}

fn guess(process: &Process, charge: &Charge) -> String {
    if charge.planned {
        return "A mode change of the plan led here: see Mode changes.".to_owned();
    }
    let settings = &process.settings().fold;
    let heard = heard_by_itself(process);
    let counted_in = process.fold().source();
    if heard != counted_in {
        let (heard, counted_in) = (heard.name(), counted_in.name());
        return format!(
            "Guessed. By itself the phrase is in {heard}; on its way into more notes its degrees are counted in {counted_in}, the first mode of as many that holds it. If you hear another, say so:"
        );
    }
    let size = heard.size();
    match (settings.source_tonic, settings.source_mode) {
        (None, None) | (Some(_), None) if size == 5 => {
            "Guessed: the phrase has no more than five pitches, so it is heard as pentatonic. If you hear it in a mode of seven, choose one:"
        }
        (None, None) => "Guessed from the phrase. If you hear it otherwise, set it here.",
        (Some(_), None) => "The tonic is set, the mode is guessed from the phrase.",
        (None, Some(_)) => "The mode is set, the tonic is guessed from the phrase.",
        (Some(_), Some(_)) => "As set. Auto listens to the phrase again.",
    }
    .to_owned()
}

/// The mode that the phrase is heard in wherever it is to go.
fn heard_by_itself(process: &Process) -> Mode {
    fold::source(&process.settings().fold, process.phrase())
}

/// The modes of seven notes on the guessed tonic in which the phrase lies as well, the first few
/// of the list; none unless a mode of five was guessed.
fn suggestions(process: &Process, charge: &Charge) -> Vec<Suggestion> {
    const FEW: usize = 3;
    let source = heard_by_itself(process);
    if charge.planned || process.settings().fold.source_mode.is_some() || source.size() != 5 {
        return Vec::new();
    }
    let counted_in = process.fold().source();
    let played: PitchSet = process
        .phrase()
        .notes()
        .iter()
        .map(|n| n.key.pitch_class())
        .collect();
    let on_tonic = |(name, steps)| (name, Mode::new(source.tonic(), steps));
    ModeName::shipped()
        .map(on_tonic)
        .filter(|(_, mode)| mode.size() == 7 && played.is_subset_of(mode.pitch_classes()))
        .filter(|(_, mode)| *mode != counted_in)
        .take(FEW)
        .map(|(name, mode)| Suggestion {
            name: mode.name(),
            tonic: mode.tonic_name().to_string(),
            mode: name.name(),
        })
        .collect()
}

/// One of the twelve switches of the custom mode.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Switch {
    /// Semitones above the tonic.
    pub step: u8,
    /// The pitch it stands for.
    pub name: String,
    /// Whether it belongs.
    pub on: bool,
}

/// The switches of the custom mode, from its tonic upwards; none if no custom mode is in use.
pub fn switches(process: &Process) -> Option<[Switch; 12]> {
    let settings = &process.settings().fold;
    let fold = process.fold();
    let (mode, tonic) = if settings.target_mode == ModeName::Custom {
        (fold.target(), fold.target_tonic_name())
    } else if settings.source_mode == Some(ModeName::Custom) {
        (fold.source(), fold.source().tonic_name())
    } else {
        return None;
    };
    let spelling = mode.spelling_from(tonic);
    Some(std::array::from_fn(|step| {
        let step = step as u8;
        Switch {
            step,
            name: spelling.name(mode.tonic() + step).to_string(),
            on: settings.custom.contains(step),
        }
    }))
}

/// The custom mode with one pitch more, or less; none if that would leave it without any.
pub fn switched(settings: &FoldSettings, step: u8) -> Option<PitchSet> {
    let one = PitchSet::EMPTY.with(step);
    let custom = if settings.custom.contains(step) {
        settings.custom.without(one)
    } else {
        settings.custom.union(one)
    };
    (!custom.is_empty()).then_some(custom)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::feed::Snapshot;
    use procession_core::engine::Anchor;
    use procession_core::phrase::Phrase;
    use procession_core::settings::Settings;

    fn seen(text: &str, change: impl FnOnce(&mut Settings)) -> Seen {
        let mut settings = Settings::default();
        change(&mut settings);
        let phrase = Phrase::from_text(text, 0.25).expect("a phrase");
        Seen::new(Snapshot::default(), phrase, settings, Anchor::NextStart)
    }

    fn picture(seen: &Seen) -> SonorityPicture {
        SonorityPicture::new(seen, &Cycle::of(seen, None))
    }

    const DORIAN: &str = "D4 E4 F4 G4 A4 B4 C5 D5";

    fn to_phrygian(amount: f64) -> impl FnOnce(&mut Settings) {
        move |settings| {
            settings.fold.fold = FoldKind::ByDegree;
            settings.fold.target_tonic = 2;
            settings.fold.target_mode = ModeName::Phrygian;
            settings.fold.amount = amount;
        }
    }

    fn filled(cells: &[Cell; 12]) -> Vec<&str> {
        cells
            .iter()
            .filter(|cell| cell.filled)
            .map(|cell| cell.name.as_str())
            .collect()
    }

    #[test]
    fn a_mode_stands_together_in_order_of_fifths() {
        let picture = picture(&seen(DORIAN, |_| ()));
        assert_eq!(
            filled(&picture.source.cells),
            ["F", "C", "G", "D", "A", "E", "B"]
        );
        assert_eq!(picture.name, "D Dorian");
        assert!(
            picture
                .source
                .cells
                .iter()
                .any(|cell| cell.tonic && cell.name == "D")
        );
    }

    #[test]
    fn half_way_into_phrygian_one_pitch_has_turned_and_the_next_is_announced() {
        let picture = picture(&seen(DORIAN, to_phrygian(0.5)));
        assert_eq!(picture.moved, "1 of 2 degrees moved: B into B♭.");
        assert_eq!(picture.next.as_deref(), Some("Next, at 75 %: E into E♭."));
        assert_eq!(picture.kept, "5 of 7 degrees kept");
        assert_eq!(picture.name, "D Aeolian");
        assert_eq!(
            filled(&picture.sounding),
            ["B♭", "F", "C", "G", "D", "A", "E"]
        );
        let moved: Vec<bool> = picture.turns.iter().map(|turn| turn.moved).collect();
        assert_eq!(moved, [true, false]);
    }

    #[test]
    fn the_amount_announced_is_the_one_at_which_it_turns() {
        for moved in 0..2 {
            let at = [0.25, 0.75][moved];
            let before = seen(DORIAN, to_phrygian(at - 0.001));
            let after = seen(DORIAN, to_phrygian(at));
            let announced = picture(&before).next.expect("one more to come");
            assert!(
                announced.contains(&format!("at {} %", at * 100.0)),
                "{announced}"
            );
            assert_eq!(before.process.fold().moved(), moved);
            assert_eq!(after.process.fold().moved(), moved + 1);
        }
    }

    #[test]
    fn a_whole_fold_is_spelled_as_the_target_beside_its_source() {
        let settings = |settings: &mut Settings| {
            settings.fold.fold = FoldKind::ByDegree;
            settings.fold.target_tonic = 10;
            settings.fold.target_mode = ModeName::Locrian;
        };
        let picture = picture(&seen("Bb3 C4 D4 E4 F4 G4 A4 Bb3", settings));
        assert_eq!(picture.source.name, "B♭ Lydian");
        assert_eq!(picture.target.name, "B♭ Locrian");
        assert_eq!(picture.name, "B♭ Locrian");
    }

    #[test]
    fn with_the_fold_off_nothing_turns_and_the_picture_says_so() {
        let picture = picture(&seen(DORIAN, |_| ()));
        assert!(!picture.folding && picture.turns.is_empty() && picture.next.is_none());
        assert_eq!(picture.moved, "Fold is off: pitches stay as they are.");
    }

    #[test]
    fn five_notes_heard_as_a_pentatonic_come_with_modes_of_seven_to_choose() {
        let five = picture(&seen("D4 F4 G4 A4 C5 A4", |_| ()));
        assert_eq!(five.source.name, "D minor pentatonic");
        assert!(five.guess.contains("heard as pentatonic"), "{}", five.guess);
        let names: Vec<_> = five.suggestions.iter().map(|s| s.name.as_str()).collect();
        assert_eq!(names, ["D Dorian", "D Phrygian", "D Aeolian"]);
        let set = picture(&seen("D4 F4 G4 A4 C5 A4", |settings| {
            settings.fold.source_tonic = Some(2);
            settings.fold.source_mode = Some(ModeName::Dorian);
        }));
        assert!(set.suggestions.is_empty());
        assert!(set.guess.starts_with("As set"));
    }

    #[test]
    fn five_notes_on_their_way_into_seven_say_in_which_seven_they_are_counted() {
        let five = picture(&seen("D4 F4 G4 A4 C5 A4", to_phrygian(1.0)));
        assert_eq!(five.source.name, "D Dorian");
        for told in ["D minor pentatonic", "counted in D Dorian"] {
            assert!(five.guess.contains(told), "{}", five.guess);
        }
        let names: Vec<_> = five.suggestions.iter().map(|s| s.name.as_str()).collect();
        assert_eq!(names[..2], ["D Phrygian", "D Aeolian"], "the others");
        // What turns, B and E, is not played.
        assert_eq!(filled(&five.sounding), ["F", "C", "G", "D", "A"]);
    }

    #[test]
    fn what_is_held_into_a_cycle_sounds_in_it_and_what_ends_with_it_does_not() {
        let process = seen("D4 - - - - E4 F4 .", |_| ()).process;
        let sounding = |start, end| pitch_classes_in(&process, Span::new(start, end));
        assert_eq!(sounding(0.5, 1.25), PitchSet::of(&[2]));
        assert_eq!(sounding(1.25, 1.5), PitchSet::of(&[4]));
        assert_eq!(sounding(1.75, 2.0), PitchSet::EMPTY);
    }

    #[test]
    fn growth_shows_only_what_has_appeared_by_the_end_of_a_chosen_stage() {
        use procession_core::settings::{Growth, GrowthOrder};
        let seen = seen("D4 F4 G4 A4", |settings| {
            settings.growth.growth = Growth::Fill;
            settings.growth.order = GrowthOrder::Forward;
        });
        let at = |stage| SonorityPicture::new(&seen, &Cycle::of(&seen, Some(stage)));
        assert_eq!(filled(&at(0).sounding), ["D"]);
        assert_eq!(at(0).when, "at the end of stage 1");
        assert_eq!(filled(&at(1).sounding), ["F", "D"]);
    }

    #[test]
    fn keys_are_named_in_the_octave_of_their_letter() {
        let process = seen("Gb4 Ab4 Bb4 Cb5 Db5 Eb5 F5 Gb5", |settings| {
            settings.fold.source_tonic = Some(6);
            settings.fold.source_mode = Some(ModeName::Ionian);
        })
        .process;
        let spelling = HeardSpelling::of(&process, 0.0);
        let name = |number| spelling.key(Key::new(number).expect("a key"));
        assert_eq!(name(60), "C4");
        assert_eq!(name(61), "D♭4");
        // The key below C5, though its letter is in the octave of C5.
        assert_eq!(name(71), "C♭5");
    }

    #[test]
    fn the_custom_mode_never_loses_its_last_pitch() {
        let mut settings = FoldSettings {
            custom: PitchSet::of(&[0, 3]),
            ..FoldSettings::default()
        };
        assert_eq!(switched(&settings, 7), Some(PitchSet::of(&[0, 3, 7])));
        assert_eq!(switched(&settings, 3), Some(PitchSet::of(&[0])));
        settings.custom = PitchSet::of(&[0]);
        assert_eq!(switched(&settings, 0), None);
    }

    #[test]
    fn switches_start_on_the_tonic_and_appear_for_a_custom_mode_only() {
        assert_eq!(switches(&seen(DORIAN, |_| ()).process), None);
        let own = seen(DORIAN, |settings| {
            settings.fold.target_tonic = 2;
            settings.fold.target_mode = ModeName::Custom;
            settings.fold.custom = PitchSet::of(&[0, 1, 5]);
        });
        let switches = switches(&own.process).expect("a custom target");
        assert_eq!((switches[0].name.as_str(), switches[0].on), ("D", true));
        assert_eq!((switches[1].name.as_str(), switches[1].on), ("E♭", true));
        assert_eq!((switches[2].name.as_str(), switches[2].on), ("E", false));
    }
}
