//! The plan: stage by stage what happens, when, and what sounds. As text for people, and as JSON
//! for programs.

mod json;
mod text;

pub use json::json;
pub use text::text;

use super::picture::steps_ahead;
use crate::form::{Doing, Form, Stage};
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
    let copies: Vec<String> = stage
        .copies
        .iter()
        .enumerate()
        .filter(|(_, copy)| copy.doing != Doing::Waiting)
        .map(|(index, copy)| {
            let place = match copy.doing {
                Doing::Drifting => format!("drifts to {}", steps_ahead(copy.to)),
                Doing::Building => format!("builds up {}", steps_ahead(copy.to)),
                Doing::Entering => format!("enters {}", steps_ahead(copy.from)),
                // A verb between the two numbers: "copy 1 2 steps ahead" is hard to read.
                Doing::Locked | Doing::Waiting => format!("stays {}", steps_ahead(copy.from)),
            };
            format!("copy {} {place}", index + 1)
        })
        .collect();
    copies.join(", ")
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
