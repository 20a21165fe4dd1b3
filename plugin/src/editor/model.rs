//! What the views draw, worked out without a window: positions, labels, roles of colour.

pub mod alignments;
pub mod circle;
pub mod class;
pub mod files;
pub mod flag;
pub mod history;
pub mod keep;
pub mod last;
pub mod layout;
pub mod meter;
pub mod modulations;
pub mod notes;
pub mod parameters;
pub mod phrase;
pub mod plan;
pub mod practice;
pub mod project;
pub mod route;
pub mod song;
pub mod sonority;
pub mod speech;
pub mod status;
