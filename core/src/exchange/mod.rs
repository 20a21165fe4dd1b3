//! What is read from and written for others. Never reached from the audio path.

pub mod flac;
mod guarded;
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

use guarded::guarded;
pub use piece::{LONGEST, MOST_NOTES, Piece, Unrolled};
