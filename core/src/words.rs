//! The words: what stages, offsets and lengths are called, the same on screens and in files.
//!
//! What the parts are called stands with [`Part`](crate::part::Part).

mod pass;

pub use pass::pass_words;

use crate::form::{CopyStage, Doing, Stage, StageKind};
use crate::process::Process;
use crate::time::Beats;
use crate::voices::{OwnCycle, Voices};

/// What a stage is, in a word.
pub fn kind_word(kind: StageKind) -> &'static str {
    match kind {
        StageKind::Alone => "phrase alone",
        StageKind::Growth => "growth",
        StageKind::Entry => "entry",
        StageKind::Unison => "unison",
        StageKind::Dwell => "dwell",
        StageKind::Drift => "drift",
        StageKind::BuildUp => "build-up",
    }
}

/// What happens in a stage of `process`, in words.
pub fn stage_words(stage: &Stage, process: &Process) -> String {
    let mut words = doing_words(stage, process);
    if stage.on_cue {
        words.push_str(", on cue");
    }
    words
}

fn doing_words(stage: &Stage, process: &Process) -> String {
    match stage.kind {
        StageKind::Growth => {
            let all = process.phrase().notes().len();
            format!("{} of {all} notes", stage.shown)
        }
        StageKind::Alone => "the phrase alone".to_owned(),
        StageKind::Unison => "unison".to_owned(),
        StageKind::Entry | StageKind::Dwell | StageKind::Drift | StageKind::BuildUp => {
            copies_words(stage)
        }
    }
}

/// What each copy does in a stage; those that do the same are told in one breath.
fn copies_words(stage: &Stage) -> String {
    // Those in unison are told apart: "1, 0 and 0 steps ahead" is no place.
    type Kind = (Doing, bool, Option<f64>);
    let mut groups: Vec<(Kind, Vec<usize>)> = Vec::new();
    for (index, copy) in stage.copies.iter().enumerate() {
        let level = to_hundredths(place_of(copy)) == 0.0;
        let kind = (copy.doing, level, copy.cycle);
        match groups.iter_mut().find(|(other, _)| *other == kind) {
            Some((_, alike)) => alike.push(index),
            None => groups.push((kind, vec![index])),
        }
    }
    let copies: Vec<String> = groups
        .iter()
        .filter(|((doing, ..), _)| *doing != Doing::Waiting)
        .map(|((doing, level, cycle), alike)| {
            let each: Vec<f64> = alike
                .iter()
                .map(|copy| place_of(&stage.copies[*copy]))
                .collect();
            let (one, many) = match doing {
                Doing::Locked if *level && cycle.is_some() => ("goes", "go"),
                Doing::Drifting => ("drifts to", "drift to"),
                Doing::Building => ("builds up", "build up"),
                Doing::Entering => ("enters", "enter"),
                // A verb between the two numbers: "copy 1 2 steps ahead" is hard to read.
                Doing::Locked | Doing::Waiting => ("stays", "stay"),
            };
            let verb = if alike.len() == 1 { one } else { many };
            let numbers: Vec<usize> = alike.iter().map(|copy| copy + 1).collect();
            let who = copies_named(&numbers);
            let Some(cycle) = cycle.map(round_in) else {
                let place = match (level, doing) {
                    (true, Doing::Drifting) => "unison".to_owned(),
                    (true, _) => "in unison".to_owned(),
                    (false, _) => steps_ahead_each(&each),
                };
                return format!("{who} {verb} {place}");
            };
            match (level, doing) {
                (true, Doing::Drifting) => format!("{who} {verb} where it began, {cycle}"),
                (true, Doing::Locked) => format!("{who} {verb} {cycle}"),
                (true, _) => format!("{who} {verb}, {cycle}"),
                (false, _) => format!("{who} {verb} {}, {cycle}", steps_ahead_each(&each)),
            }
        })
        .collect();
    copies.join(", ")
}

/// Where a copy is, or is going.
fn place_of(copy: &CopyStage) -> f64 {
    match copy.doing {
        Doing::Drifting | Doing::Building => copy.to,
        Doing::Entering | Doing::Locked | Doing::Waiting => copy.from,
    }
}

/// A copy's place in words, whose cycle has so many steps, if it is one of its own: in such a one it
/// is never in unison for long. "3 steps ahead", "unison", "round in 14 steps".
pub fn place_words(steps: f64, cycle: Option<f64>) -> String {
    match cycle.map(round_in) {
        None => steps_ahead(steps),
        Some(cycle) if to_hundredths(steps) == 0.0 => cycle,
        Some(cycle) => format!("{}, {cycle}", steps_ahead(steps)),
    }
}

fn round_in(steps: f64) -> String {
    let steps = to_hundredths(steps);
    format!(
        "round in {steps} {}",
        if steps == 1.0 { "step" } else { "steps" }
    )
}

/// Of copies whose cycle is not the phrase's, when they and the steady voice begin together again, a
/// line for each length: "copy 1: 14 steps against 16: together again after 112 steps, 7 cycles of the
/// steady voice". If there are several, then all voices, too.
pub fn realignment_words(voices: &Voices) -> Vec<String> {
    let step = voices.settings().step();
    let steps = |beats: Beats| to_hundredths(beats / step);
    let phrase = voices.phrase().length();
    let after = |together: Beats| {
        let cycles = (together / phrase).round() as usize;
        format!(
            "together again after {} steps, {} of the steady voice",
            steps(together),
            number_of(cycles, "cycle")
        )
    };
    let mut alike: Vec<(OwnCycle, Vec<usize>)> = Vec::new();
    for own in voices.own_cycles() {
        match alike
            .iter_mut()
            .find(|(other, _)| other.length == own.length)
        {
            Some((_, copies)) => copies.push(own.copy.number()),
            None => alike.push((own, vec![own.copy.number()])),
        }
    }
    let mut lines: Vec<String> = (alike.iter())
        .map(|(own, copies)| {
            let (who, own_steps) = (copies_named(copies), steps(own.length));
            let against = steps(phrase);
            format!(
                "{who}: {own_steps} steps against {against}: {}",
                after(own.together)
            )
        })
        .collect();
    if alike.len() > 1 {
        lines.push(match voices.all_together() {
            Some(together) => format!("all voices: {}", after(together)),
            None => "all voices: not together again within any time that counts".to_owned(),
        });
    }
    lines
}

/// An offset in words, the same wherever one is told: "3 steps ahead", "1 step behind",
/// "unison". To a hundredth of a step, as finely as an offset can be set.
pub fn steps_ahead(steps: f64) -> String {
    steps_ahead_each(&[steps])
}

/// The offsets of several copies in words: "3, 6 and 9 steps ahead", "2 steps behind and 1 step
/// ahead"; said once if they are the same.
pub fn steps_ahead_each(offsets: &[f64]) -> String {
    let offsets: Vec<f64> = offsets.iter().copied().map(to_hundredths).collect();
    if offsets.iter().all(|steps| *steps == 0.0) {
        return "unison".to_owned();
    }
    let one_side = |side: fn(&f64) -> bool| offsets.iter().all(side);
    if one_side(|steps| *steps > 0.0) || one_side(|steps| *steps < 0.0) {
        let behind = offsets.iter().any(|steps| *steps < 0.0);
        let side = if behind { "behind" } else { "ahead" };
        let one = offsets.iter().all(|steps| steps.abs() == 1.0);
        let unit = if one { "step" } else { "steps" };
        return format!("{} {unit} {side}", step_numbers(&offsets));
    }
    listed(offsets.iter().map(|steps| steps_ahead(*steps)))
}

/// The numbers alone, without side and unit: "3, 6 and 9"; said once if they are the same.
pub fn step_numbers(offsets: &[f64]) -> String {
    let mut numbers: Vec<f64> = offsets
        .iter()
        .map(|steps| to_hundredths(*steps).abs())
        .collect();
    if numbers.iter().all(|steps| Some(steps) == numbers.first()) {
        numbers.truncate(1);
    }
    listed(numbers.iter().map(f64::to_string))
}

/// An offset as it is told: to a hundredth of a step.
pub fn to_hundredths(steps: f64) -> f64 {
    // Adding zero turns a negative one into a positive one.
    (steps * 100.0).round() / 100.0 + 0.0
}

/// "1", "1 and 2", "1, 2 and 3".
pub fn listed(mut items: impl DoubleEndedIterator<Item = String>) -> String {
    let last = items.next_back().unwrap_or_default();
    let others: Vec<String> = items.collect();
    if others.is_empty() {
        last
    } else {
        format!("{} and {last}", others.join(", "))
    }
}

/// "copy 2", "copies 1 to 3", "copies 1 and 3".
pub fn copies_named(copies: &[usize]) -> String {
    match copies {
        [one] => format!("copy {one}"),
        [first, .., last] if copies.len() > 2 && last - first + 1 == copies.len() => {
            format!("copies {first} to {last}")
        }
        _ => format!("copies {}", listed(copies.iter().map(usize::to_string))),
    }
}

/// A length as minutes and seconds at `tempo`: "3:36", from an hour on with hours: "9:09:04".
pub fn minutes(beats: Beats, tempo: f64) -> String {
    clock(beats * 60.0 / tempo)
}

/// Seconds as on a clock: "3:36", "9:09:04".
pub fn clock(seconds: f64) -> String {
    let seconds = seconds.round().max(0.0) as u64;
    let (hours, minutes, seconds) = (seconds / 3600, seconds / 60 % 60, seconds % 60);
    match hours {
        0 => format!("{minutes}:{seconds:02}"),
        _ => format!("{hours}:{minutes:02}:{seconds:02}"),
    }
}

/// "1 attack", "9 attacks".
pub fn number_of(count: usize, what: &str) -> String {
    format!("{count} {what}{}", if count == 1 { "" } else { "s" })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::form::Form;
    use crate::phrase::Phrase;
    use crate::settings::{CopiesMove, Settings};

    #[test]
    fn minutes_are_read_as_on_a_clock() {
        assert_eq!(minutes(432.0, 120.0), "3:36");
        assert_eq!(minutes(0.0, 120.0), "0:00");
        assert_eq!(minutes(7200.0, 120.0), "1:00:00");
        assert_eq!(minutes(65_888.0, 120.0), "9:09:04");
    }

    #[test]
    fn offsets_are_said_in_steps() {
        assert_eq!(steps_ahead(1.0), "1 step ahead");
        assert_eq!(steps_ahead(-2.5), "2.5 steps behind");
        assert_eq!(steps_ahead(8.8749), "8.87 steps ahead");
        assert_eq!(steps_ahead(-0.004), "unison");
        assert_eq!(steps_ahead_each(&[3.0, 6.0, 9.0]), "3, 6 and 9 steps ahead");
        assert_eq!(steps_ahead_each(&[-1.0, -1.0]), "1 step behind");
        assert_eq!(
            steps_ahead_each(&[-1.0, 0.0, 2.0]),
            "1 step behind, unison and 2 steps ahead"
        );
    }

    fn told(stage: usize, change: impl FnOnce(&mut Settings)) -> String {
        let phrase = Phrase::from_text("D4 . F4 G4 . A4 . .", 0.25).unwrap();
        let mut settings = Settings::default();
        change(&mut settings);
        let process = Process::new(phrase, settings, 0.0);
        let form = Form::new(&process);
        stage_words(&form.stages[stage], &process)
    }

    #[test]
    fn copies_that_do_the_same_are_told_in_one_breath() {
        let fan = |settings: &mut Settings| settings.motion.copies = 3;
        assert_eq!(
            told(1, fan),
            "copies 1 to 3 drift to 1, 2 and 3 steps ahead"
        );
        assert_eq!(told(2, fan), "copies 1 to 3 stay 1, 2 and 3 steps ahead");
        assert_eq!(told(2, |_| ()), "copy 1 stays 1 step ahead");
        let in_turn = |settings: &mut Settings| {
            settings.motion.copies = 3;
            settings.motion.copies_move = CopiesMove::InTurn;
        };
        assert_eq!(
            told(3, in_turn),
            "copy 1 stays 1 step ahead, copy 2 drifts to 1 step ahead, copy 3 stays in unison"
        );
    }

    #[test]
    fn a_copy_in_a_cycle_of_its_own_is_not_said_to_be_in_unison() {
        let own = |settings: &mut Settings| settings.copies[0].length = Some(7);
        assert_eq!(told(0, own), "copy 1 goes round in 7 steps");
        assert_eq!(
            told(1, own),
            "copy 1 drifts to 1 step ahead, round in 7 steps"
        );
        assert_eq!(told(2, own), "copy 1 stays 1 step ahead, round in 7 steps");
        let one_of_two = |settings: &mut Settings| {
            settings.motion.copies = 2;
            settings.copies[1].length = Some(5);
        };
        assert_eq!(
            told(0, one_of_two),
            "copy 1 stays in unison, copy 2 goes round in 5 steps"
        );
    }

    /// By hand: 14 and 16 meet after 112, 12 and 16 after 48, all three after 336.
    #[test]
    fn it_is_said_when_unequal_cycles_are_together_again() {
        let phrase = Phrase::from_text("D4 . F4 G4 . A4 . . D5 . . A4 G4 . F4 .", 0.25).unwrap();
        let mut settings = Settings::default();
        let words =
            |settings: Settings| realignment_words(&Voices::new(phrase.clone(), settings, 0.0));
        assert!(words(settings).is_empty());
        settings.copies[0].length = Some(14);
        let one = "copy 1: 14 steps against 16: together again after 112 steps, 7 cycles of the \
                   steady voice";
        assert_eq!(words(settings), [one]);
        settings.motion.copies = 3;
        settings.copies[2].length = Some(14);
        settings.copies[1].length = Some(48);
        assert_eq!(
            words(settings),
            [
                one.replacen("copy 1", "copies 1 and 3", 1).as_str(),
                "copy 2: 48 steps against 16: together again after 48 steps, 3 cycles of the \
                 steady voice",
                "all voices: together again after 336 steps, 21 cycles of the steady voice",
            ]
        );
    }

    #[test]
    fn copies_in_unison_are_told_apart_from_those_that_are_ahead() {
        let in_turn = |settings: &mut Settings| {
            settings.motion.copies = 5;
            settings.motion.copies_move = CopiesMove::InTurn;
        };
        assert_eq!(
            told(2, in_turn),
            "copy 1 stays 1 step ahead, copies 2 to 5 stay in unison"
        );
        let back = |settings: &mut Settings| settings.motion.offset = -1.0;
        assert_eq!(told(1, back), "copy 1 drifts to unison");
    }
}
