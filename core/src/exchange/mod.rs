//! What is read from and written for others. Never reached from the audio path.

pub mod midi;
pub mod open;
pub mod picture;
pub mod plan;
pub mod score;
pub mod sound;
