//! What is read from and written for others. Never reached from the audio path.

pub mod flac;
pub mod loudness;
pub mod midi;
pub mod open;
pub mod picture;
mod piece;
pub mod plan;
pub mod put;
pub mod recorded;
pub mod score;
pub mod sound;
mod xml;

pub use piece::{LONGEST, MOST_NOTES, Piece, Unrolled};
