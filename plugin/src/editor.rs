//! The window.
//!
//! Every view is one file with one function, `show(ui, &Seen, ...) -> Vec<Wish>`: it reads what is
//! [`Seen`], draws, and returns wishes. Only this file grants them: as parameter gestures, as an
//! edited phrase. What a view draws is worked out by the pure functions of [`model`], which are
//! tested without a window.

pub mod accidentals;
pub mod alignments;
pub mod circle;
pub mod look;
pub mod model;
pub mod notes;
pub mod phrase;
pub mod plan;
pub mod seen;
pub mod sonority;
pub mod wish;
