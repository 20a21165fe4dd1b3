//! Snippets: two cycles of what somebody wants to hear before it comes.
#![allow(clippy::unwrap_used)]

mod common;

use common::{phrase, settings};
use procession_core::form::{Form, StageKind};
use procession_core::ledger::Message;
use procession_core::mode::ModeName;
use procession_core::part::{CopyNumber, Part};
use procession_core::performance::Performance;
use procession_core::phrase::Phrase;
use procession_core::process::{Process, VoiceNote};
use procession_core::settings::{
    Advance, FoldKind, Growth, Modulation, Modulations, Motion, Place, Resulting, Settings,
};
use procession_core::snippet::{Snippet, Stroke, Subject};
use procession_core::time::Span;
use procession_core::unrolling::unroll;
use proptest::prelude::*;

/// Six sixteenths: a cycle of one and a half beats.
const SIX: &str = "D4 F4 G4 A4 C5 E4";
const CYCLE: f64 = 1.5;

fn process(text: &str, change: impl FnOnce(&mut Settings)) -> Process {
    let mut settings = Settings::default();
    change(&mut settings);
    Process::new(Phrase::from_text(text, 0.25).unwrap(), settings, 0.0)
}

fn heard(process: &Process, subject: Subject) -> Option<Snippet> {
    Snippet::of(
        &Performance::proposed(process),
        &Form::new(process),
        subject,
        process.origin(),
    )
}

/// (sixteenth, key) of all that a part strikes, off the grid to a thousandth.
fn line(snippet: &Snippet, part: Part) -> Vec<(f64, u8)> {
    let of_part = snippet.notes().iter().filter(|note| note.part == part);
    let place = |note: &VoiceNote| (note.on / 0.25 * 1000.0).round() / 1000.0;
    of_part
        .map(|note| (place(note), note.key.number()))
        .collect()
}

fn keys(snippet: &Snippet, part: Part) -> Vec<u8> {
    line(snippet, part).iter().map(|(_, key)| *key).collect()
}

/// The first of each kind in the form.
fn first(process: &Process, kind: StageKind) -> usize {
    let stages = &Form::new(process).stages;
    stages.iter().position(|stage| stage.kind == kind).unwrap()
}

/// Two to one, the second of two sixteenths comes after two thirds of their time.
#[test]
fn it_is_heard_with_the_touch_that_it_is_played_with() {
    let swinging = process(SIX, |settings| settings.touch.swing = 2.0);
    let copy = CopyNumber::FIRST;
    let twice = |swing: f64| {
        let pair = [0.0, 1.0 + swing];
        let cycle = [0.0, 2.0, 4.0].map(|at| pair.map(|place| at + place));
        let cycle = cycle.as_flattened().to_owned();
        let again = cycle.iter().map(|at| at + 6.0);
        [cycle.clone(), again.collect()].concat()
    };
    for subject in [Subject::Stage(0), Subject::Alignment { copy, steps: 0 }] {
        let places = |process: &Process| -> Vec<f64> {
            let snippet = heard(process, subject).unwrap();
            let line = line(&snippet, Part::Steady);
            line.into_iter().map(|(place, _)| place).collect()
        };
        assert_eq!(places(&swinging), twice(0.333), "{subject:?}");
        assert_eq!(places(&process(SIX, |_| ())), twice(0.0), "{subject:?}");
    }
}

#[test]
fn a_stage_after_a_jump_is_heard_with_the_copy_one_note_ahead() {
    let process = process(SIX, |settings| {
        settings.motion.motion = Motion::Jump;
        settings.motion.dwell = 4;
    });
    let snippet = heard(&process, Subject::Stage(1)).unwrap();
    assert_eq!(snippet.length(), 2.0 * CYCLE);
    let steady = [62, 65, 67, 69, 72, 64];
    let copy = [65, 67, 69, 72, 64, 62];
    assert_eq!(keys(&snippet, Part::Steady), steady.repeat(2));
    assert_eq!(keys(&snippet, Part::COPY_1), copy.repeat(2));
    let places = line(&snippet, Part::COPY_1);
    let places: Vec<f64> = places.iter().map(|(place, _)| *place).collect();
    assert_eq!(places, (0..12).map(f64::from).collect::<Vec<_>>());
}

/// The middle two of four cycles: eased by 2p^2 and its mirror, the copy is an eighth of a step
/// ahead where they begin, half a step between them, seven eighths where they end.
#[test]
fn a_drift_is_heard_on_the_middle_of_its_way() {
    let process = process(SIX, |_| ());
    let drift = first(&process, StageKind::Drift);
    let snippet = heard(&process, Subject::Stage(drift)).unwrap();
    assert_eq!(keys(&snippet, Part::Steady).len(), 12);
    let copy = line(&snippet, Part::COPY_1);
    let ahead: Vec<f64> = copy
        .iter()
        .enumerate()
        .map(|(index, (place, _))| index as f64 + 1.0 - place)
        .collect();
    assert!(ahead.is_sorted(), "{ahead:?}");
    assert!(ahead[0] > 0.125 && ahead[0] < 0.2, "{ahead:?}");
    assert!((ahead[5] - 0.5).abs() < 0.05, "{ahead:?}");
    assert!(ahead[11] > 0.8 && ahead[11] < 0.9, "{ahead:?}");
}

#[test]
fn a_dwell_of_one_cycle_is_heard_twice() {
    let process = process(SIX, |settings| {
        settings.motion.motion = Motion::Jump;
        settings.motion.dwell = 1;
    });
    let snippet = heard(&process, Subject::Stage(2)).unwrap();
    let copy = [67, 69, 72, 64, 62, 65];
    assert_eq!(keys(&snippet, Part::COPY_1), copy.repeat(2));
}

#[test]
fn a_drift_of_one_cycle_goes_on_to_where_it_arrives() {
    let process = process(SIX, |settings| settings.motion.drift = 1);
    let drift = first(&process, StageKind::Drift);
    let snippet = heard(&process, Subject::Stage(drift)).unwrap();
    let copy = line(&snippet, Part::COPY_1);
    let arrived: Vec<_> = copy.iter().filter(|(place, _)| *place >= 6.0).collect();
    let expected = [(6., 65), (7., 67), (8., 69), (9., 72), (10., 64), (11., 62)];
    assert_eq!(arrived, expected.iter().collect::<Vec<_>>());
}

#[test]
fn a_stage_of_growth_is_heard_as_far_as_the_phrase_has_grown() {
    let process = process("D4 F4 G4", |settings| {
        settings.growth.growth = Growth::Lengthen;
        settings.growth.every = 1;
    });
    let snippet = heard(&process, Subject::Stage(1)).unwrap();
    assert_eq!(keys(&snippet, Part::Steady), [62, 65, 62, 65]);
    assert_eq!(snippet.length(), 1.0);
}

#[test]
fn the_resulting_line_sings_in_the_middle_of_a_dwell() {
    let process = process(SIX, |settings| {
        settings.motion.motion = Motion::Jump;
        settings.resulting.which = Resulting::Top;
    });
    let snippet = heard(&process, Subject::Stage(1)).unwrap();
    let top = [65, 67, 69, 72, 72, 64];
    let octave = 12 * process.octave(Part::ResultingLine);
    let sung: Vec<i32> = keys(&snippet, Part::ResultingLine)
        .iter()
        .map(|key| i32::from(*key) - octave)
        .collect();
    assert_eq!(sung, top.repeat(2));
}

#[test]
fn an_alignment_is_heard_between_the_steady_voice_and_that_copy_alone() {
    let process = process(SIX, |settings| {
        settings.motion.copies = 4;
        settings.copies[1].octave = 1;
        settings.resulting.which = Resulting::Bottom;
    });
    let copy = CopyNumber::new(2).unwrap();
    let snippet = heard(&process, Subject::Alignment { copy, steps: 2 }).unwrap();
    let ahead = [79, 81, 84, 76, 74, 77];
    assert_eq!(keys(&snippet, Part::Copy(copy)), ahead.repeat(2));
    assert_eq!(keys(&snippet, Part::Steady).len(), 12);
    assert!(!keys(&snippet, Part::ResultingLine).is_empty());
    for other in [1, 3, 4] {
        let other = Part::Copy(CopyNumber::new(other).unwrap());
        assert!(keys(&snippet, other).is_empty());
    }
}

#[test]
fn an_alignment_can_be_heard_where_there_is_no_copy_yet() {
    let process = process(SIX, |settings| settings.motion.copies = 0);
    let copy = CopyNumber::FIRST;
    let snippet = heard(&process, Subject::Alignment { copy, steps: 1 }).unwrap();
    assert_eq!(keys(&snippet, Part::COPY_1)[..2], [65, 67]);
}

/// D Dorian becomes D Lydian, worked by hand: F and C rise, and G.
fn to_lydian(over: u32) -> Process {
    process("D4 F4 G4 A4 B4 C5", |settings| {
        settings.motion.copies = 0;
        settings.modulations = Modulations::new([Modulation {
            place: Place::Beats(6.0),
            tonic: 2,
            mode: ModeName::Lydian,
            over,
        }]);
    })
}

const DORIAN: [u8; 6] = [62, 65, 67, 69, 71, 72];
const LYDIAN: [u8; 6] = [62, 66, 68, 69, 71, 73];

#[test]
fn a_mode_change_is_heard_as_the_cycle_before_and_the_first_that_is_whole() {
    for over in [0, 1, 5] {
        let snippet = heard(&to_lydian(over), Subject::ModeChange(0)).unwrap();
        let both = [DORIAN, LYDIAN].concat();
        assert_eq!(keys(&snippet, Part::Steady), both, "over {over} cycles");
        assert_eq!(snippet.length(), 2.0 * CYCLE);
    }
    assert_eq!(heard(&to_lydian(0), Subject::ModeChange(1)), None);
}

#[test]
fn an_alignment_is_heard_in_the_mode_in_force() {
    let process = to_lydian(0);
    let form = Form::new(&process);
    let unison = Subject::Alignment {
        copy: CopyNumber::FIRST,
        steps: 0,
    };
    for (now, mode) in [(0.0, DORIAN), (7.0, LYDIAN)] {
        let snippet = Snippet::of(&Performance::proposed(&process), &form, unison, now).unwrap();
        assert_eq!(keys(&snippet, Part::COPY_1), mode.repeat(2));
    }
}

/// What is listed of a piece on cue is what its counts propose.
#[test]
fn a_stage_that_waits_for_a_cue_can_be_heard_before_it() {
    let process = process(SIX, |settings| {
        settings.motion.motion = Motion::Jump;
        settings.motion.advance = Advance::OnCue;
    });
    let snippet = heard(&process, Subject::Stage(3)).unwrap();
    let copy = [69, 72, 64, 62, 65, 67];
    assert_eq!(keys(&snippet, Part::COPY_1), copy.repeat(2));
}

#[test]
fn there_is_no_snippet_of_a_stage_that_is_none() {
    let process = process(SIX, |_| ());
    assert_eq!(heard(&process, Subject::Stage(4096)), None);
}

#[test]
fn on_one_channel_a_unison_is_one_stroke_and_on_many_one_a_voice() {
    for (all_on_one, strokes) in [(true, 12), (false, 24)] {
        let process = process(SIX, |settings| settings.output.all_on_one = all_on_one);
        let snippet = heard(&process, Subject::Stage(0)).unwrap();
        let ons = snippet.strokes().iter().filter(|stroke| is_on(stroke));
        assert_eq!(ons.count(), strokes);
    }
}

fn is_on(stroke: &Stroke) -> bool {
    matches!(stroke.message, Message::NoteOn { .. })
}

proptest! {
    /// What a voice that is k steps ahead plays at a moment stands k steps later in the phrase.
    #[test]
    fn an_alignment_is_the_phrase_against_itself_turned(
        phrase in phrase(),
        steps in -40i64..40,
        copy in 1usize..=8,
    ) {
        let length = phrase.length();
        let copy = CopyNumber::new(copy).unwrap();
        let settings = Settings::default();
        let ahead = steps as f64 * settings.step();
        let process = Process::new(phrase.clone(), settings, 0.0);
        let snippet = heard(&process, Subject::Alignment { copy, steps }).unwrap();
        for (part, ahead) in [(Part::Steady, 0.0), (Part::Copy(copy), ahead)] {
            let mut expected: Vec<(f64, u8)> = Vec::new();
            for note in phrase.notes() {
                let on = (note.onset - ahead).rem_euclid(length);
                let on = if length - on < 1e-5 { 0.0 } else { on };
                expected.extend([on, on + length].map(|on| (on, note.key.number())));
            }
            let mut found: Vec<(f64, u8)> = snippet
                .notes()
                .iter()
                .filter(|note| note.part == part)
                .map(|note| (note.on, note.key.number()))
                .collect();
            let in_order = |a: &(f64, u8), b: &(f64, u8)| {
                let tick = |at: f64| (at * 10_000.0).round() as i64;
                (tick(a.0), a.1).cmp(&(tick(b.0), b.1))
            };
            expected.sort_by(in_order);
            found.sort_by(in_order);
            prop_assert_eq!(expected.len(), found.len());
            for (expected, found) in expected.iter().zip(&found) {
                prop_assert!((expected.0 - found.0).abs() < 1e-4, "{expected:?} {found:?}");
                prop_assert_eq!(expected.1, found.1);
            }
        }
    }

    /// A stage that lasts two cycles or more is heard as it will be played: every onset in the
    /// snippet is one of the stage's own, and a whole number of cycles after its beginning.
    #[test]
    fn two_cycles_of_a_stage_are_what_the_process_plays_there(
        phrase in phrase(),
        settings in settings(),
        which in any::<proptest::sample::Index>(),
    ) {
        let process = Process::new(phrase, settings, 3.0);
        let process = match settings.motion.advance {
            Advance::OnCue => process.as_counted(),
            Advance::Counted => process,
        };
        let form = Form::new(&process);
        prop_assume!(!form.stages.is_empty());
        let index = which.index(form.stages.len().min(40));
        let stage = &form.stages[index];
        prop_assume!(stage.span.length() >= 2.0 * stage.lap);
        let snippet = Snippet::of(&Performance::proposed(&process), &form, Subject::Stage(index), 3.0).unwrap();
        prop_assert!((snippet.length() - 2.0 * stage.lap).abs() < 1e-9);
        let whole = Span::new(stage.span.start - 1e-5, stage.span.end + 1e-5);
        let played: Vec<VoiceNote> = unroll(&process, whole).collect();
        let begins = (0..4096).map(|cycle| stage.span.start + f64::from(cycle) * stage.lap);
        let mut begins = begins.take_while(|begin| begin + 2.0 * stage.lap <= whole.end);
        let is_played_from = |begin: f64| snippet.notes().iter().all(|note| {
            let same = |other: &&VoiceNote| {
                other.part == note.part
                    && other.key == note.key
                    && (other.on - begin - note.on).abs() < 1e-5
            };
            played.iter().any(|other| same(&other))
        });
        prop_assert!(begins.any(is_played_from), "stage {index}: {stage:?}");
    }

    /// Every stroke is let go, under its own number, within the two cycles; in order of time.
    #[test]
    fn every_stroke_is_let_go_before_the_end(
        phrase in phrase(),
        settings in settings(),
        which in any::<proptest::sample::Index>(),
    ) {
        let process = Process::new(phrase, settings, 0.0);
        let form = Form::new(&process);
        prop_assume!(!form.stages.is_empty());
        let index = which.index(form.stages.len().min(40));
        let snippet = Snippet::of(&Performance::proposed(&process), &form, Subject::Stage(index), 0.0).unwrap();
        let mut sounding = std::collections::BTreeSet::new();
        let mut before = 0.0;
        for stroke in snippet.strokes() {
            prop_assert!(stroke.at >= before && stroke.at <= snippet.length());
            before = stroke.at;
            match stroke.message {
                Message::NoteOn { id, .. } => prop_assert!(id > 0 && sounding.insert(id)),
                Message::NoteOff { id, .. } => prop_assert!(sounding.remove(&id)),
                Message::Tuning { .. } | Message::Control { .. } => {
                    prop_assert!(false, "nothing is placed, nor tuned");
                }
            }
        }
        prop_assert!(sounding.is_empty());
    }
}

/// A fold that the parameters make holds in a snippet, too.
#[test]
fn what_is_folded_is_heard_folded() {
    let process = process("D4 F4 G4 A4 B4 C5", |settings| {
        settings.fold.fold = FoldKind::ByDegree;
        settings.fold.source_tonic = Some(2);
        settings.fold.source_mode = Some(ModeName::Dorian);
        settings.fold.target_tonic = 2;
        settings.fold.target_mode = ModeName::Lydian;
        settings.fold.amount = 1.0;
    });
    for subject in [
        Subject::Stage(0),
        Subject::Alignment {
            copy: CopyNumber::FIRST,
            steps: 0,
        },
    ] {
        let snippet = heard(&process, subject).unwrap();
        assert_eq!(keys(&snippet, Part::COPY_1), LYDIAN.repeat(2));
    }
}
