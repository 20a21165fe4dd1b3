//! The plan: stage by stage what happens, when, and what sounds. As text for people, and as JSON
//! for programs.

mod json;
mod text;

pub use json::json;
pub use text::text;

use super::picture::{copies_named, steps_ahead_each, to_hundredths};
use crate::form::{CopyStage, Doing, Form, Stage};
use crate::process::Process;

/// What happens in a stage, in words.
pub fn stage_words(stage: &Stage, form: &Form, process: &Process) -> String {
    let all = process.phrase().notes().len();
    if stage.shown < all && stage.copies.iter().all(|copy| copy.doing == Doing::Waiting) {
        return format!("{} of {all} notes", stage.shown);
    }
    if stage.copies.is_empty() || stage.copies.iter().all(|copy| copy.doing == Doing::Waiting) {
        return "the phrase alone".to_owned();
    }
    if stage.is_unison(form) {
        return "unison".to_owned();
    }
    // Those in unison are told apart: "1, 0 and 0 steps ahead" is no place.
    let mut groups: Vec<((Doing, bool), Vec<usize>)> = Vec::new();
    for (index, copy) in stage.copies.iter().enumerate() {
        let kind = (copy.doing, to_hundredths(place_of(copy)) == 0.0);
        match groups.iter_mut().find(|(other, _)| *other == kind) {
            Some((_, alike)) => alike.push(index),
            None => groups.push((kind, vec![index])),
        }
    }
    let copies: Vec<String> = groups
        .iter()
        .filter(|((doing, _), _)| *doing != Doing::Waiting)
        .map(|((doing, in_unison), alike)| {
            let each: Vec<f64> = alike
                .iter()
                .map(|copy| place_of(&stage.copies[*copy]))
                .collect();
            let (one, many) = match doing {
                Doing::Drifting => ("drifts to", "drift to"),
                Doing::Building => ("builds up", "build up"),
                Doing::Entering => ("enters", "enter"),
                // A verb between the two numbers: "copy 1 2 steps ahead" is hard to read.
                Doing::Locked | Doing::Waiting => ("stays", "stay"),
            };
            let verb = if alike.len() == 1 { one } else { many };
            let place = match (in_unison, doing) {
                (true, Doing::Drifting) => "unison".to_owned(),
                (true, _) => "in unison".to_owned(),
                (false, _) => steps_ahead_each(&each),
            };
            let numbers: Vec<usize> = alike.iter().map(|copy| copy + 1).collect();
            format!("{} {verb} {place}", copies_named(&numbers))
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

/// Where each copy that is locked stands among the distinct alignments, counted from 1, unison.
fn places(stage: &Stage, form: &Form) -> Vec<usize> {
    stage
        .copies
        .iter()
        .filter(|copy| copy.doing == Doing::Locked)
        .map(|copy| form.alignment_of(copy.from) + 1)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phrase::Phrase;
    use crate::settings::{CopiesMove, Settings};

    fn told(stage: usize, change: impl FnOnce(&mut Settings)) -> String {
        let phrase = Phrase::from_text("D4 . F4 G4 . A4 . .", 0.25).unwrap();
        let mut settings = Settings::default();
        change(&mut settings);
        let process = Process::new(phrase, settings, 0.0);
        let form = Form::new(&process);
        stage_words(&form.stages[stage], &form, &process)
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
