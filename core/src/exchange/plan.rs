//! The plan: stage by stage what happens, when, and what sounds. As text for people, and as JSON
//! for programs, out of which a route can be read again.

mod json;
mod reading;
mod route;
mod text;

pub use json::json;
pub use reading::{LARGEST, ReadError, read_route};
pub use text::text;

use crate::form::{Doing, Form, Stage};

/// Where each copy that is locked stands among the distinct alignments, counted from 1, unison; in a
/// cycle of its own it stands nowhere among them.
fn places(stage: &Stage, form: &Form) -> Vec<usize> {
    stage
        .copies
        .iter()
        .filter(|copy| copy.doing == Doing::Locked && copy.cycle.is_none())
        .map(|copy| form.alignment_of(copy.from) + 1)
        .collect()
}
