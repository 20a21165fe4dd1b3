//! The distinct alignments of two voices: what each is like, and how to get there.

use crate::editor::model::circle::is_sliding;
use crate::editor::model::plan::stage_at;
use crate::editor::model::sonority::{HeardSpelling, name_of};
use crate::editor::seen::Seen;
use crate::files::sentence;
use procession_core::form::{Alignment, Doing, Form};
use procession_core::note::Key;
use procession_core::part::{CopyNumber, Part};
use procession_core::phrase::Phrase;
use procession_core::process::Process;
use procession_core::sonority::Sonority;
use procession_core::time::to_ticks;
use procession_core::words::number_of;
use procession_core::words::{realignment_words, steps_ahead};

/// How the list is sorted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Order {
    /// From unison on, a step at a time.
    #[default]
    ByOffset,
    /// The busiest composite first.
    ByAttacks,
    /// Those that meet most often first.
    ByCoincidences,
}

impl Order {
    /// In the order of their buttons.
    pub const ALL: [Self; 3] = [Self::ByOffset, Self::ByAttacks, Self::ByCoincidences];

    /// On its button.
    pub fn words(self) -> &'static str {
        match self {
            Self::ByOffset => "In order",
            Self::ByAttacks => "By attacks",
            Self::ByCoincidences => "By coincidences",
        }
    }
}

/// An alignment as a row of the list.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// Its place among the distinct alignments; 0 is unison.
    pub alignment: usize,
    /// "3 steps ahead", "unison".
    pub place: String,
    /// Moments in a cycle at which something is struck.
    pub attacks: usize,
    /// Moments at which both voices strike.
    pub coincidences: usize,
    /// Attacks as a share of the most there are, 0 ..= 1.
    pub attacks_share: f32,
    /// Coincidences as a share of the most there are, unison left out, 0 ..= 1.
    pub coincidences_share: f32,
    /// Whether the voices never meet.
    pub interlocks: bool,
}

/// What meets at an alignment, as it is heard after the fold.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Meeting {
    /// Summed up: "2 minor thirds, 1 fifth".
    pub intervals: String,
    /// By name: "D4 with F4, G4 with C5"; the first of very many.
    pub pairs: String,
    /// What the pitches make together.
    pub sonority: String,
}

impl Meeting {
    /// At alignment `index`. It changes with the fold, and telling takes its time, so that only
    /// what is in view is told.
    pub fn of(seen: &Seen, index: usize) -> Self {
        let alignment = seen.form.alignments.get(index);
        alignment.map_or_else(Self::default, |alignment| Self {
            intervals: intervals(&seen.process, alignment),
            pairs: pairs(&seen.process, alignment),
            sonority: sonority(&seen.process, alignment),
        })
    }
}

impl Row {
    /// "9 attacks, 3 coincidences", "12 attacks, interlocks".
    pub fn facts(&self) -> String {
        let coincidences = if self.interlocks {
            "interlocks".to_owned()
        } else {
            number_of(self.coincidences, "coincidence")
        };
        format!("{}, {coincidences}", number_of(self.attacks, "attack"))
    }
}

/// All alignments, in order of offset.
pub fn rows(seen: &Seen) -> Vec<Row> {
    let all = &seen.form.alignments;
    let most_attacks = all.iter().map(|alignment| alignment.attacks).max();
    // In unison everything meets; beside it all others would look alike.
    let most_coincidences = all
        .iter()
        .skip(1)
        .map(|alignment| alignment.doublings)
        .max();
    let share = |count: usize, most: Option<usize>| {
        let most = most.unwrap_or(0).max(1);
        (count as f32 / most as f32).min(1.0)
    };
    let row = |(index, alignment): (usize, &Alignment)| Row {
        alignment: index,
        place: steps_ahead(alignment.offset as f64),
        attacks: alignment.attacks,
        coincidences: alignment.doublings,
        attacks_share: share(alignment.attacks, most_attacks),
        coincidences_share: share(alignment.doublings, most_coincidences),
        interlocks: alignment.interlocks(),
    };
    all.iter().enumerate().map(row).collect()
}

/// The places of `rows` in that order; of equals, the smaller offset first.
pub fn sorted(rows: &[Row], order: Order) -> Vec<usize> {
    let mut places: Vec<usize> = (0..rows.len()).collect();
    let most = |count: usize| std::cmp::Reverse(count);
    match order {
        Order::ByOffset => (),
        Order::ByAttacks => places.sort_by_key(|place| most(rows[*place].attacks)),
        Order::ByCoincidences => places.sort_by_key(|place| most(rows[*place].coincidences)),
    }
    places
}

/// Names of intervals by semitones, wide ones within the octave. Common practice.
const INTERVALS: [&str; 12] = [
    "unison",
    "minor second",
    "major second",
    "minor third",
    "major third",
    "fourth",
    "tritone",
    "fifth",
    "minor sixth",
    "major sixth",
    "minor seventh",
    "major seventh",
];

/// What meets, as it is heard when the piece begins: octaves aside, which are a matter of register.
fn heard(process: &Process, (steady, copy): (Key, Key)) -> [Key; 2] {
    let at = process.origin();
    [
        process.pitch_of(Part::Steady, steady, at),
        process.pitch_of(Part::COPY_1, copy, at),
    ]
}

/// What meets, from the narrowest interval to the widest.
fn intervals(process: &Process, alignment: &Alignment) -> String {
    let mut counts = [0_usize; 13];
    for (a, b) in &alignment.meetings {
        let [a, b] = heard(process, (*a, *b)).map(|key| i32::from(key.number()));
        let apart = (a - b).unsigned_abs() as usize;
        let interval = if apart > 0 && apart.is_multiple_of(12) {
            12
        } else {
            apart % 12
        };
        counts[interval] += 1;
    }
    let words = counts.iter().enumerate().filter(|(_, count)| **count > 0);
    let words: Vec<String> = words
        .map(|(interval, count)| number_of(*count, INTERVALS.get(interval).unwrap_or(&"octave")))
        .collect();
    words.join(", ")
}

/// The most pairs that are named: more than anybody reads.
const NAMED: usize = 32;

/// What meets by name, as it is heard after the fold.
fn pairs(process: &Process, alignment: &Alignment) -> String {
    let spelling = HeardSpelling::of(process, process.origin());
    let name = |key| spelling.key(key);
    let (first, more) = alignment
        .meetings
        .split_at(alignment.meetings.len().min(NAMED));
    let pairs: Vec<String> = first
        .iter()
        .map(|meeting| heard(process, *meeting).map(name))
        .map(|[steady, copy]| format!("{steady} with {copy}"))
        .collect();
    let pairs = pairs.join(", ");
    if more.is_empty() {
        pairs
    } else {
        format!("{pairs} and {} more", more.len())
    }
}

fn sonority(process: &Process, alignment: &Alignment) -> String {
    if alignment.meetings.is_empty() {
        return "nothing coincides".to_owned();
    }
    let meetings = alignment.meetings.iter();
    let keys = meetings.flat_map(|meeting| heard(process, *meeting));
    name_of(process, Sonority::of(keys).pitch_classes, process.origin())
}

/// An attack in the small picture of a composite rhythm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Attack {
    /// Where in the cycle, 0 ..< 1.
    pub at: f32,
    /// Whether the steady voice strikes.
    pub steady: bool,
    /// Whether the copy does.
    pub copy: bool,
}

/// The composite rhythm of the steady voice and copy 1, `offset` steps ahead.
pub fn strokes(process: &Process, offset: i64) -> Vec<Attack> {
    let [steady, copy] = process.voices().aligned();
    let onsets = |phrase: &Phrase| -> Vec<i64> {
        let notes = phrase.notes().iter();
        notes.map(|note| to_ticks(note.onset)).collect()
    };
    let length = to_ticks(process.phrase().length()).max(1);
    let ahead = offset * to_ticks(process.settings().step()).max(1);
    let mut strokes: Vec<(i64, bool, bool)> = (onsets(steady).into_iter())
        .map(|onset| (onset, true, false))
        .chain(
            onsets(copy)
                .into_iter()
                .map(|onset| ((onset - ahead).rem_euclid(length), false, true)),
        )
        .collect();
    strokes.sort_unstable();
    strokes.dedup_by(|next, kept| {
        let same = next.0 == kept.0;
        if same {
            kept.1 |= next.1;
            kept.2 |= next.2;
        }
        same
    });
    let stroke = |(at, steady, copy): (i64, bool, bool)| Attack {
        at: at as f32 / length as f32,
        steady,
        copy,
    };
    strokes.into_iter().map(stroke).collect()
}

/// Copies that are on no row, since they go round in cycles of their own: which, and when they are
/// together again with the steady voice.
pub fn unequal(seen: &Seen) -> Option<String> {
    let lines = realignment_words(seen.process.voices());
    (!lines.is_empty()).then(|| {
        format!(
            "In a cycle of its own a copy keeps no alignment. {}",
            sentence(lines.join("; "))
        )
    })
}

/// A copy on the list.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Standing {
    /// Which.
    pub copy: CopyNumber,
    /// The place among the alignments it is nearest to.
    pub alignment: usize,
    /// Whether it is locked there, or only passing.
    pub locked: bool,
}

/// Where every copy stands against the steady voice; at rest, where it will enter. One in a cycle of
/// its own stands nowhere among the alignments.
pub fn standings(seen: &Seen) -> Vec<Standing> {
    let voices = seen.process.voices();
    (voices.copies().filter(|copy| !voices.has_own_cycle(*copy)))
        .filter_map(|copy| standing(seen, copy))
        .collect()
}

fn standing(seen: &Seen, copy: CopyNumber) -> Option<Standing> {
    let steps = if seen.snapshot.running {
        seen.steps_ahead(Part::Copy(copy))?
    } else {
        seen.settings().standing_offset(copy)
    };
    let alignment = seen.form.alignment_of(steps);
    let off = steps - seen.form.alignments.get(alignment)?.offset as f64;
    Some(Standing {
        copy,
        alignment,
        locked: is_rotation(&seen.form, off) && !moves(seen, copy),
    })
}

/// Whether a copy is on its way somewhere now.
fn moves(seen: &Seen, copy: CopyNumber) -> bool {
    if !seen.snapshot.running {
        return false;
    }
    let now = seen.process.origin() + seen.elapsed();
    let stage = stage_at(seen, now).and_then(|stage| seen.form.stages.get(stage));
    let state = stage.and_then(|stage| stage.copies.get(copy.index()));
    let drifts = state.is_some_and(|state| state.doing == Doing::Drifting);
    drifts || is_sliding(seen, copy)
}

/// Whether `steps`, give or take what an eye does not see, leaves the phrase in unison with itself.
fn is_rotation(form: &Form, steps: f64) -> bool {
    let near = (steps - steps.round()).abs() < 0.02;
    form.is_whole_rotation(steps) || (near && form.is_whole_rotation(steps.round()))
}

/// Where an alignment cannot be had at once, why.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unreachable {
    /// There is no copy.
    NoCopy,
    /// Farther than a copy's own offset reaches.
    TooFar,
    /// It goes round in a cycle of its own.
    OwnCycle,
}

impl Unreachable {
    /// The cause and the remedy.
    pub fn words(self) -> &'static str {
        match self {
            Self::NoCopy => "There is no copy to move here: set Copies to 1 or more.",
            Self::OwnCycle => {
                "This copy goes round in a cycle of its own and keeps no alignment: set its length to \
                 As the phrase."
            }
            Self::TooFar => {
                "Out of reach: a copy's own offset goes from -32 to 32 steps. Let it shift there."
            }
        }
    }
}

/// The own offset, in steps, at which `copy` stands at that alignment: the nearest way from where
/// it stands now, or, while it moves, from where it is going.
///
/// # Errors
/// See [`Unreachable`].
pub fn own_offset_for(seen: &Seen, copy: CopyNumber, alignment: usize) -> Result<f64, Unreachable> {
    const REACH: f64 = 32.0;
    let has_copy = seen.process.plays(Part::Copy(copy));
    let wanted = seen.form.alignments.get(alignment).filter(|_| has_copy);
    let wanted = wanted.ok_or(Unreachable::NoCopy)?;
    if seen.process.voices().has_own_cycle(copy) {
        return Err(Unreachable::OwnCycle);
    }
    let own = seen.settings().copies[copy.index()].offset;
    let direct = own + wanted.offset as f64 - stands_at(seen, copy);
    // Only if the phrase comes round on a whole step does going round help.
    let round = seen.form.alignments.len() as f64;
    let rounds = if seen.form.is_whole_rotation(round) {
        64
    } else {
        0
    };
    (-rounds..=rounds)
        .map(|times| direct + f64::from(times) * round)
        .filter(|offset| offset.abs() <= REACH)
        .min_by(|a, b| (a - own).abs().total_cmp(&(b - own).abs()))
        .map(|offset| (offset * 100.0).round() / 100.0 + 0.0)
        .ok_or(Unreachable::TooFar)
}

/// Steps by which `copy` is ahead, moves that have begun made.
fn stands_at(seen: &Seen, copy: CopyNumber) -> f64 {
    let at_rest = seen.settings().standing_offset(copy);
    if !seen.snapshot.running {
        return at_rest;
    }
    let here = seen.steps_ahead(Part::Copy(copy)).unwrap_or(at_rest);
    let now = seen.process.origin() + seen.elapsed();
    let stage = seen
        .form
        .stage_at(now)
        .map(|stage| &seen.form.stages[stage]);
    match stage.and_then(|stage| stage.copies.get(copy.index())) {
        Some(copy) if copy.doing == Doing::Drifting => copy.to,
        _ => here,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::feed::Snapshot;
    use procession_core::engine::Anchor;
    use procession_core::phrase::Phrase;
    use procession_core::settings::{Motion, Settings};
    use procession_core::time::Beats;

    fn seen(text: &str, change: impl FnOnce(&mut Settings)) -> Seen {
        let mut settings = Settings::default();
        change(&mut settings);
        let phrase = Phrase::from_text(text, 0.25).expect("a phrase");
        Seen::new(Snapshot::default(), phrase, settings, Anchor::NextStart)
    }

    /// The same, playing at `position`.
    fn playing(text: &str, position: Beats, change: impl FnOnce(&mut Settings)) -> Seen {
        let mut seen = seen(text, change);
        let ahead = |part| seen.process.voices().displacement(part, position);
        seen.snapshot = Snapshot {
            playing: true,
            running: true,
            position,
            tempo: 120.0,
            ahead: Part::ALL.map(ahead),
            ..seen.snapshot
        };
        seen
    }

    const EIGHT: &str = "D4 . F4 G4 . . A4 C5";

    #[test]
    fn every_distinct_alignment_has_a_row_that_says_what_it_is() {
        let rows = rows(&seen(EIGHT, |_| ()));
        assert_eq!(rows.len(), 8);
        assert_eq!(rows[0].place, "unison");
        assert_eq!(rows[0].facts(), "5 attacks, 5 coincidences");
        assert_eq!(rows[1].place, "1 step ahead");
    }

    #[test]
    fn voices_that_never_meet_interlock() {
        let seen = seen("D4 . F4 . G4 .", |_| ());
        assert_eq!(rows(&seen)[1].facts(), "6 attacks, interlocks");
        let meeting = Meeting::of(&seen, 1);
        assert_eq!(
            (meeting.sonority.as_str(), meeting.pairs.as_str()),
            ("nothing coincides", "")
        );
    }

    #[test]
    fn what_meets_is_named_by_pitch_and_by_interval() {
        // One step ahead: F over D, A over F; the rest falls on the last note.
        let meeting = Meeting::of(&seen("D4 F4 A4 .", |_| ()), 1);
        assert_eq!(meeting.pairs, "D4 with F4, F4 with A4");
        assert_eq!(meeting.intervals, "1 minor third, 1 major third");
        assert_eq!(meeting.sonority, "D minor");
    }

    #[test]
    fn what_meets_is_named_as_it_is_folded() {
        use procession_core::mode::ModeName;
        use procession_core::settings::FoldKind;
        let seen = seen("D4 E4 F4 G4 A4 B4 C5 D5", |settings| {
            settings.fold.fold = FoldKind::ByDegree;
            settings.fold.target_tonic = 2;
            settings.fold.target_mode = ModeName::Phrygian;
        });
        let pairs = Meeting::of(&seen, 1).pairs;
        assert!(pairs.starts_with("D4 with E♭4, E♭4 with F4"), "{pairs}");
    }

    #[test]
    fn of_very_many_pairs_the_first_are_named() {
        let seen = seen(&["D4+F4+A4+C5+E5"; 8].join(" "), |_| ());
        let pairs = Meeting::of(&seen, 0).pairs;
        // 25 pairs at each of eight moments.
        assert_eq!(pairs.matches(" with ").count(), 32);
        assert!(pairs.ends_with(" and 168 more"), "{pairs}");
    }

    #[test]
    fn the_list_sorts_by_attacks_and_by_coincidences() {
        let rows = rows(&seen(EIGHT, |_| ()));
        assert_eq!(sorted(&rows, Order::ByOffset), [0, 1, 2, 3, 4, 5, 6, 7]);
        let by_attacks = sorted(&rows, Order::ByAttacks);
        let by_coincidences = sorted(&rows, Order::ByCoincidences);
        assert_eq!(by_coincidences[0], 0);
        assert_eq!(by_attacks.last(), Some(&0));
        let falls = |counts: Vec<usize>| counts.is_sorted_by(|a, b| a >= b);
        assert!(falls(
            by_attacks
                .iter()
                .map(|place| rows[*place].attacks)
                .collect()
        ));
        assert!(falls(
            by_coincidences
                .iter()
                .map(|place| rows[*place].coincidences)
                .collect()
        ));
    }

    #[test]
    fn the_small_picture_has_as_many_strokes_as_the_alignment_has_attacks() {
        let seen = seen(EIGHT, |_| ());
        for alignment in &seen.form.alignments {
            let strokes = strokes(&seen.process, alignment.offset);
            assert_eq!(strokes.len(), alignment.attacks);
            let both = strokes.iter().filter(|stroke| stroke.steady && stroke.copy);
            assert_eq!(both.count(), alignment.doublings);
        }
        // A copy that is ahead sounds its second note first.
        let ahead = strokes(&seen.process, 2);
        assert_eq!(
            (ahead[0].at, ahead[0].steady, ahead[0].copy),
            (0.0, true, true)
        );
    }

    #[test]
    fn copies_are_marked_where_they_stand_and_hollow_while_they_pass() {
        let fan = |settings: &mut Settings| settings.motion.copies = 2;
        // A dwell of eight cycles of two beats, then a drift of four.
        let locked = standings(&playing(EIGHT, 24.0, fan));
        let at = |copy: usize, alignment, locked| Standing {
            copy: CopyNumber::ALL[copy - 1],
            alignment,
            locked,
        };
        assert_eq!(locked, [at(1, 1, true), at(2, 2, true)]);
        // At the turn of the drift the first is half-way; the second passes a whole step.
        let passing = standings(&playing(EIGHT, 19.0, fan));
        assert!(!passing[0].locked);
    }

    #[test]
    fn at_rest_copies_are_marked_where_they_will_enter() {
        let standings = standings(&seen(EIGHT, |settings| settings.motion.offset = -1.0));
        assert_eq!(standings[0].alignment, 7);
        assert!(standings[0].locked);
    }

    #[test]
    fn standing_at_an_alignment_puts_the_copy_there() {
        let jump = |settings: &mut Settings| settings.motion.motion = Motion::Jump;
        for position in [0.5, 17.0, 40.0] {
            for alignment in 0..8 {
                let now = playing(EIGHT, position, jump);
                let own = own_offset_for(&now, CopyNumber::FIRST, alignment).expect("within reach");
                let then = playing(EIGHT, position, |settings| {
                    jump(settings);
                    settings.copies[0].offset = own;
                });
                assert_eq!(standings(&then)[0].alignment, alignment, "from {position}");
            }
        }
    }

    #[test]
    fn the_nearer_way_round_is_taken() {
        assert_eq!(
            own_offset_for(&seen(EIGHT, |_| ()), CopyNumber::FIRST, 7),
            Ok(-1.0)
        );
        let set = seen(EIGHT, |settings| settings.copies[0].offset = 6.0);
        assert_eq!(own_offset_for(&set, CopyNumber::FIRST, 0), Ok(8.0));
    }

    #[test]
    fn while_it_drifts_the_copy_is_counted_where_it_is_going() {
        // In the drift from unison to one step ahead.
        let drifting = playing(EIGHT, 20.0, |_| ());
        assert_eq!(own_offset_for(&drifting, CopyNumber::FIRST, 1), Ok(0.0));
    }

    #[test]
    fn what_cannot_be_had_is_said_with_its_remedy() {
        let alone = seen(EIGHT, |settings| settings.motion.copies = 0);
        assert_eq!(
            own_offset_for(&alone, CopyNumber::FIRST, 1),
            Err(Unreachable::NoCopy)
        );
        let words: Vec<String> = (0..100)
            .map(|n| format!("{}{}", ["C", "D"][n % 2], n / 14))
            .collect();
        let long = seen(&words.join(" "), |_| ());
        assert_eq!(
            own_offset_for(&long, CopyNumber::FIRST, 50),
            Err(Unreachable::TooFar)
        );
        assert_eq!(own_offset_for(&long, CopyNumber::FIRST, 90), Ok(-10.0));
    }

    #[test]
    fn a_copy_in_a_cycle_of_its_own_stands_on_no_row_and_it_is_said_why() {
        let seen = seen("D4 . F4 G4 . A4 . .", |settings| {
            settings.motion.copies = 2;
            settings.copies[0].length = Some(6);
        });
        let standing: Vec<usize> = (standings(&seen).iter())
            .map(|standing| standing.copy.number())
            .collect();
        assert_eq!(standing, [2]);
        assert_eq!(
            own_offset_for(&seen, CopyNumber::FIRST, 1),
            Err(Unreachable::OwnCycle)
        );
        assert_eq!(
            unequal(&seen).as_deref(),
            Some(
                "In a cycle of its own a copy keeps no alignment. Copy 1: 6 steps against 8: together \
                 again after 24 steps, 3 cycles of the steady voice."
            )
        );
        // What is listed is the phrase against itself, as copy 2 has it.
        assert_eq!(seen.form.alignments[0].doublings, 4);
    }
}
