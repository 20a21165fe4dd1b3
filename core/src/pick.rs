//! Picking: a route of only those stages that a composer wants, or of each alignment once.
//!
//! What a stage sounds like is asked of the [`Process`] that plays it: every voice in the last cycle
//! of its dwell there, as much of the phrase as has grown, in the mode then in force. A dwell that
//! waits for a cue is counted. For the window: this allocates.

use crate::mode::{Mode, PitchSet};
use crate::motion::{StagePart, Station};
use crate::part::{CopyNumber, Part};
use crate::process::Process;
use crate::route::{Afterwards, Dwell, Route, RouteError, Turn, WrittenStage};
use crate::time::{Beats, HAIR, Span, to_ticks};
use crate::words::listed;
use std::collections::BTreeSet;
use thiserror::Error;

/// What is picked of a route.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pick {
    /// Only stages at which the voices interlock, as in a hocket: at least two of them play, and no
    /// two ever strike at the same moment. What is struck together by one voice, a chord, is one
    /// attack; a note that is held or tied over is none.
    Interlocking,
    /// Only stages at which every pitch class of the mode in force sounds.
    AllPitches,
    /// Each alignment once, the one with the fewest moments of attack first; of equals, the one
    /// that came first. A stage takes along how long it is dwelt in, how it is come to, and its
    /// turn of the mode; what comes to an alignment again is left out.
    FewToMany,
}

/// Why nothing can be picked; the text says what to do.
#[derive(Clone, Debug, Error, PartialEq)]
pub enum PickError {
    /// There is no phrase.
    #[error("There is no phrase yet. Play one and hold it.")]
    NoPhrase,
    /// Nothing moves against the steady voice.
    #[error("No copy plays, so nothing is aligned. Let copies play.")]
    NoCopy,
    /// No copy ever enters.
    #[error("The phrase never stops growing, so no copy enters. Let growth come to an end.")]
    NeverGrown,
    /// In a cycle of its own a copy keeps no place.
    #[error(
        "Copy {0} goes round in a cycle of its own, and meets the others elsewhere each time: no stage interlocks, or is busier than another, for long. Set its length to the phrase's."
    )]
    OwnCycle(usize),
    /// In no stage do two voices strike anything.
    #[error(
        "In no stage do two voices play, so none interlock. Raise the level of the copies, or let more notes sound."
    )]
    OneVoice,
    /// They coincide everywhere.
    #[error(
        "In none of the {count} stages do the voices interlock; in stage {stage} they come nearest, {}. Leave notes out of the phrase, or let the copies stand elsewhere.",
        coinciding(*.moments)
    )]
    NoneInterlock {
        /// How many stages there are.
        count: usize,
        /// Where the fewest attacks coincide, counted from 1.
        stage: usize,
        /// At how many moments of a cycle.
        moments: usize,
    },
    /// The mode is never whole.
    #[error(
        "None of the {count} stages has all pitches of its mode; stage {stage} comes nearest, and lacks {missing} of {mode}. Play what is missing, or choose a mode of fewer notes."
    )]
    NoneWhole {
        /// How many stages there are.
        count: usize,
        /// Where the fewest are missing, counted from 1.
        stage: usize,
        /// Such as "C and E♭".
        missing: String,
        /// Such as "D Dorian".
        mode: String,
    },
    /// What would be left is no route.
    #[error(transparent)]
    Route(#[from] RouteError),
}

fn coinciding(moments: usize) -> String {
    match moments {
        1 => "with 1 moment in a cycle at which they coincide".to_owned(),
        _ => format!("with {moments} moments in a cycle at which they coincide"),
    }
}

/// The route of `process`, written or as the settings make it, with only what is picked.
///
/// Of the stages that stay, the next is come to from the one before it. A mode that turned at a
/// stage that goes turns at the next that stays. Since a shorter route may turn elsewhere, it is
/// looked through again, until every stage left is as was asked.
///
/// # Errors
/// See [`PickError`].
pub fn pick(process: &Process, pick: Pick) -> Result<Route, PickError> {
    if process.phrase().notes().is_empty() {
        return Err(PickError::NoPhrase);
    }
    if process.voices().count() < 2 {
        return Err(PickError::NoCopy);
    }
    let own_cycle = process.voices().own_cycles().next();
    if let Some(own) = own_cycle.filter(|_| pick != Pick::AllPitches) {
        return Err(PickError::OwnCycle(own.copy.number()));
    }
    let mut route = process.voices().as_route();
    if pick == Pick::FewToMany {
        return few_to_many(process, &route);
    }
    loop {
        let heard = heard(process, &route)?;
        let stays = |heard: &Heard| match pick {
            Pick::Interlocking => heard.coinciding() == Some(0),
            Pick::AllPitches => heard.missing().is_empty(),
            Pick::FewToMany => true,
        };
        let kept: Vec<bool> = heard.iter().map(stays).collect();
        if kept.iter().all(|kept| *kept) {
            return Ok(route);
        }
        if !kept.contains(&true) {
            return Err(none_of(&heard, pick));
        }
        route = only(&route, &kept)?;
    }
}

/// Why not one stage is as was asked.
fn none_of(heard: &[Heard], pick: Pick) -> PickError {
    let count = heard.len();
    let stages = || heard.iter().enumerate();
    if pick == Pick::Interlocking {
        let coincide = stages().filter_map(|(stage, heard)| Some((heard.coinciding()?, stage)));
        return coincide
            .min()
            .map_or(PickError::OneVoice, |(moments, stage)| {
                PickError::NoneInterlock {
                    count,
                    stage: stage + 1,
                    moments,
                }
            });
    }
    let nearest = stages().min_by_key(|(_, heard)| heard.missing().len());
    let Some((stage, nearest)) = nearest else {
        return PickError::NoPhrase;
    };
    let spelling = nearest.mode.spelling();
    let missing = nearest.missing();
    let names = missing
        .into_iter()
        .map(|pitch_class| spelling.name(pitch_class).to_string());
    PickError::NoneWhole {
        count,
        stage: stage + 1,
        missing: listed(names),
        mode: nearest.mode.name(),
    }
}

/// The stages that are kept, and how the rest of the route follows.
fn only(route: &Route, kept: &[bool]) -> Result<Route, RouteError> {
    let mut stages: Vec<WrittenStage> = Vec::new();
    let mut turn: Option<Turn> = None;
    for (stage, kept) in route.stages().iter().zip(kept) {
        turn = stage.turn.or(turn);
        if *kept {
            stages.push(WrittenStage {
                turn: turn.take(),
                ..*stage
            });
        }
    }
    let afterwards = match route.afterwards() {
        Afterwards::Repeat { from, gained } => Afterwards::Repeat {
            from: kept[..*from]
                .iter()
                .filter(|kept| **kept)
                .count()
                .min(stages.len().saturating_sub(1)),
            gained: *gained,
        },
        other => *other,
    };
    Route::new(&stages, afterwards)
}

fn few_to_many(process: &Process, route: &Route) -> Result<Route, PickError> {
    let heard = heard(process, route)?;
    let mut met: Vec<&Heard> = Vec::new();
    let mut stages: Vec<(usize, WrittenStage)> = Vec::new();
    for (heard, stage) in heard.iter().zip(route.stages()) {
        let is_new = !met.iter().any(|other| other.is_aligned_as(heard));
        if is_new {
            met.push(heard);
            stages.push((heard.moments(), *stage));
        }
    }
    // Stable: of equals the one that came first.
    stages.sort_by_key(|(moments, _)| *moments);
    let stages: Vec<WrittenStage> = stages.into_iter().map(|(_, stage)| stage).collect();
    let afterwards = match route.afterwards() {
        Afterwards::Repeat { .. } => {
            let rotation = process.phrase().smallest_rotation() as f64;
            let step = to_ticks(process.settings().step()).max(1) as f64;
            Route::new(&stages, Afterwards::Hold)?.round_from(0, rotation / step)
        }
        other => *other,
    };
    Ok(Route::new(&stages, afterwards)?)
}

/// What a stage sounds like.
#[derive(Clone, Debug)]
struct Heard {
    /// When each voice strikes, in ticks of the cycle.
    attacks: Vec<BTreeSet<i64>>,
    /// Where each copy stands, in ticks of the phrase's smallest rotation, and how much has grown.
    places: (Vec<i64>, Option<u32>),
    pitches: PitchSet,
    mode: Mode,
}

impl Heard {
    /// Moments at which anything is struck.
    fn moments(&self) -> usize {
        let all: BTreeSet<&i64> = self.attacks.iter().flatten().collect();
        all.len()
    }

    /// Moments at which several voices strike; none if not even two voices do anything.
    fn coinciding(&self) -> Option<usize> {
        let voices = self.attacks.iter().filter(|voice| !voice.is_empty());
        if voices.count() < 2 {
            return None;
        }
        let all: BTreeSet<&i64> = self.attacks.iter().flatten().collect();
        let several = |moment: &&i64| {
            let strikes = |voice: &&BTreeSet<i64>| voice.contains(*moment);
            self.attacks.iter().filter(strikes).count() > 1
        };
        Some(all.into_iter().filter(several).count())
    }

    /// Pitch classes of the mode that do not sound.
    fn missing(&self) -> Vec<u8> {
        let mode = self.mode.pitch_classes().iter();
        mode.filter(|pitch_class| !self.pitches.contains(*pitch_class))
            .collect()
    }

    fn is_aligned_as(&self, other: &Self) -> bool {
        self.places == other.places
    }
}

/// What every stage of `route` sounds like when `process` plays it.
fn heard(process: &Process, route: &Route) -> Result<Vec<Heard>, PickError> {
    let settings = *process.settings();
    let mut playing = Box::new(Process::new(
        process.phrase().clone(),
        settings,
        process.origin(),
    ));
    playing.set_route(&route.counted(settings.motion.dwell));
    let stages = 0..route.stages().len();
    stages
        .map(|stage| heard_in(&playing, stage).ok_or(PickError::NeverGrown))
        .collect()
}

fn heard_in(process: &Process, stage: usize) -> Option<Heard> {
    let voices = process.voices();
    let length = to_ticks(process.phrase().length()).max(1);
    let rotation = process.phrase().smallest_rotation().max(1);
    let step = process.settings().step();
    let written = &process.route().stages()[stage];
    let mut attacks = Vec::new();
    let mut places = Vec::new();
    let mut pitches = PitchSet::default();
    let mut listen = |part: Part, cycle: Span| {
        let mut struck = BTreeSet::new();
        for note in process.notes(part, cycle) {
            struck.insert(to_ticks(note.on - cycle.start).rem_euclid(length));
            pitches.insert(note.key.pitch_class());
        }
        attacks.push(struck);
    };
    let mut latest = Span::new(0.0, 0.0);
    for copy in voices.copies() {
        let cycle = last_cycle(process, copy, stage)?;
        listen(Part::Copy(copy), cycle);
        latest = cycle;
        let ahead = written.ahead_of(copy) + process.settings().standing_offset(copy);
        places.push(to_ticks(ahead * step).rem_euclid(rotation));
    }
    listen(Part::Steady, latest);
    let in_force = process
        .mode_changes()
        .take_while(|change| change.turning.start < latest.end)
        .filter(|change| change.turning.end < latest.end - HAIR)
        .last();
    Some(Heard {
        attacks,
        places: (places, written.grown),
        pitches,
        mode: in_force.map_or_else(|| process.first_mode(), |change| change.mode),
    })
}

/// The last cycle of a copy's dwell in a stage.
fn last_cycle(process: &Process, copy: CopyNumber, stage: usize) -> Option<Span> {
    let voices = process.voices();
    let Dwell::Cycles(dwell) = process.route().stages()[stage].dwell else {
        return None;
    };
    let station = Station {
        stage: stage as u64,
        part: StagePart::Dwell,
    };
    let begins = voices.course(copy).timetable().begin_of(station);
    let begins = begins.to_song(voices.moves_from(Part::Copy(copy))?);
    let cycle: Beats = process.phrase().length();
    let last = begins + f64::from(dwell - 1) * cycle;
    Some(Span::new(last, last + cycle))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::form::{Doing, Form};
    use crate::mode::ModeName;
    use crate::phrase::Phrase;
    use crate::route::invented::any_route;
    use crate::settings::{CopiesMove, Settings};
    use proptest::prelude::*;

    fn process(words: &str, adjust: impl FnOnce(&mut Settings)) -> Process {
        let mut settings = Settings::default();
        adjust(&mut settings);
        Process::new(Phrase::from_text(words, 0.25).unwrap(), settings, 8.0)
    }

    /// Where copy 1 stands, stage by stage.
    fn ahead(route: &Route) -> Vec<f64> {
        route.stages().iter().map(|stage| stage.ahead[0]).collect()
    }

    /// Strokes on 0, 3, 4, 8 and 11 of sixteen. Their distances, both ways round: 1 5, 3 13, 4 12
    /// and so on leave 2, 6, 10 and 14 (worked by hand).
    const OARS: &str = "D4 . . E4 A4 . . . D5 . . C5 . . . .";

    #[test]
    fn only_where_every_stroke_falls_into_a_gap() {
        let process = process(OARS, |_| ());
        let picked = pick(&process, Pick::Interlocking).unwrap();
        assert_eq!(ahead(&picked), [2.0, 6.0, 10.0, 14.0]);
        let whole = process.voices().as_route();
        assert_eq!(picked.stages()[1], whole.stages()[6]);
    }

    /// A chord is one stroke; a note held over the others' strokes is in nobody's way.
    #[test]
    fn chords_and_held_notes_interlock_as_their_attacks_do() {
        // Strokes on 0 and 2 of four: ahead by 1 or 3 they fill each other's gaps.
        let process = process("D4+F4+A4 - C5 -", |_| ());
        let picked = pick(&process, Pick::Interlocking).unwrap();
        assert_eq!(ahead(&picked), [1.0, 3.0]);
    }

    /// Three voices on one stroke of three steps each, fanned: 1 and 2 ahead all gaps are filled.
    /// Together they stand on each other.
    #[test]
    fn of_three_voices_no_two_may_meet() {
        let fanned = process("D4 . .", |settings| settings.motion.copies = 2);
        let picked = pick(&fanned, Pick::Interlocking).unwrap();
        assert_eq!(ahead(&picked), [1.0, 2.0]);
        let together = process("D4 . .", |settings| {
            settings.motion.copies = 2;
            settings.motion.copies_move = CopiesMove::Together;
        });
        assert_eq!(
            pick(&together, Pick::Interlocking).unwrap_err().to_string(),
            "In none of the 4 stages do the voices interlock; in stage 1 they come nearest, with 1 moment in a cycle at which they coincide. Leave notes out of the phrase, or let the copies stand elsewhere."
        );
    }

    #[test]
    fn what_cannot_be_picked_is_told_with_its_cause() {
        let told = |process: &Process, what| pick(process, what).unwrap_err().to_string();
        let unequal = process(OARS, |settings| settings.copies[0].length = Some(14));
        assert!(
            told(&unequal, Pick::Interlocking).contains("Copy 1 goes round in a cycle of its own")
        );
        assert!(told(&unequal, Pick::FewToMany).contains("Set its length"));
        let full = process("D4 F4 A4 C5", |_| ());
        assert!(told(&full, Pick::Interlocking).contains("4 moments"));
        let alone = process(OARS, |settings| settings.motion.copies = 0);
        assert_eq!(told(&alone, Pick::FewToMany), PickError::NoCopy.to_string());
        let silent = process(OARS, |settings| settings.copies[0].level = 0.0);
        assert_eq!(
            told(&silent, Pick::Interlocking),
            PickError::OneVoice.to_string()
        );
        let three = process("D4 F4 A4 .", |settings| {
            settings.fold.source_tonic = Some(2);
            settings.fold.source_mode = Some(ModeName::Dorian);
        });
        assert_eq!(
            told(&three, Pick::AllPitches),
            "None of the 5 stages has all pitches of its mode; stage 1 comes nearest, and lacks C, E, G and B of D Dorian. Play what is missing, or choose a mode of fewer notes."
        );
    }

    /// The strokes on 0, 1 and 3 of eight: 3, 5, 5, 5, 6, 5, 5, 5 moments at 0 to 7 ahead, since
    /// each of the differences 1, 2, 3 and their complements comes once, 4 never, 0 three times.
    /// Unison again at the end is left out.
    #[test]
    fn each_once_from_few_attacks_to_many() {
        let process = process("D4 F4 . A4 . . . .", |_| ());
        let picked = pick(&process, Pick::FewToMany).unwrap();
        assert_eq!(ahead(&picked), [0.0, 1.0, 2.0, 3.0, 5.0, 6.0, 7.0, 4.0]);
    }

    /// All seven pitches of D Dorian are there, and as many of D Aeolian once it has turned. The
    /// stage at which it turns has but three notes and goes; the next one turns instead.
    #[test]
    fn the_mode_turns_where_it_still_can() {
        let mut process = process("D4 E4 F4 G4 A4 B4 C5 .", |_| ());
        let route = process.voices().as_route();
        let mut stages = route.stages().to_vec();
        stages[1].grown = Some(3);
        stages[1].turn = Some(Turn {
            tonic: 2,
            mode: ModeName::Aeolian,
            over: 0,
        });
        process.set_route(&Route::new(&stages, Afterwards::Hold).unwrap());
        let picked = pick(&process, Pick::AllPitches).unwrap();
        assert_eq!(ahead(&picked), [0.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0]);
        assert_eq!(picked.stages()[1].turn, stages[1].turn);
        assert_eq!(picked.stages()[2].turn, None);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(32))]

        /// The form, which counts doublings from the intervals between attacks and knows nothing
        /// of this, finds the same places.
        #[test]
        fn two_voices_interlock_where_the_form_says(
            strokes in proptest::collection::vec(any::<bool>(), 5..14),
        ) {
            prop_assume!(strokes.contains(&true));
            let words = strokes.iter().map(|struck| if *struck { "D4" } else { "." });
            let process = process(&words.collect::<Vec<_>>().join(" "), |_| ());
            let form = Form::new(&process);
            let expected: Vec<f64> = form
                .stages
                .iter()
                .filter(|stage| stage.copies[0].doing == Doing::Locked)
                .map(|stage| stage.copies[0].from)
                .filter(|steps| form.alignments[form.alignment_of(*steps)].interlocks())
                .collect();
            match pick(&process, Pick::Interlocking) {
                Ok(route) => prop_assert_eq!(ahead(&route), expected),
                Err(_) => prop_assert_eq!(expected, Vec::<f64>::new()),
            }
        }

        /// Whatever is written, what is left was there, in its order, and picked again it stays.
        #[test]
        fn picked_twice_is_as_picked_once(written in any_route(), copies in 1..4usize) {
            let mut process = process(OARS, |settings| settings.motion.copies = copies);
            process.set_route(&written);
            let place = |stage: &WrittenStage| (stage.ahead, stage.dwell, stage.way);
            for what in [Pick::Interlocking, Pick::AllPitches, Pick::FewToMany] {
                let Ok(picked) = pick(&process, what) else {
                    continue;
                };
                let mut rest = written.stages().iter();
                if what != Pick::FewToMany {
                    for stage in picked.stages() {
                        prop_assert!(rest.any(|other| place(other) == place(stage)));
                    }
                }
                let mut again = process.clone();
                again.set_route(&picked);
                prop_assert_eq!(pick(&again, what).unwrap(), picked);
            }
        }
    }
}
