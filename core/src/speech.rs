//! Speech: the melody of what was said.
//!
//! A [`Recording`] is tracked: [`PitchTrack`] says a hundred times a second how high the voice is,
//! how loud, and whether it is voiced at all. Out of that come [`tones`], one for each syllable;
//! [`sentences`] are what lies between two pauses, and have a [`pace`] of their own; [`in_tune`]
//! finds the keys. [`Listened`] is all of that of one recording, [`Placing`] puts a sentence on the
//! grid.
//!
//! Runs where there is time, never on the audio thread: it allocates.

mod candidates;
mod curve;
mod decimation;
mod extent;
mod listened;
mod pace;
mod path;
mod placing;
mod recording;
mod sentences;
mod tones;
mod track;
mod tuning;

pub use curve::{Strand, strands};
pub use listened::{Candidate, Listened, NoVoice, Remark};
pub use pace::{Pace, UNASKED, pace, stretch};
pub use placing::{Fit, Placed, Placing, own_tempo};
pub use recording::{LONGEST, Recording, RecordingError};
pub use sentences::{PAUSE, Sentence, sentences, steadiest_first};
pub use tones::{RUNNING_SPEECH, SINGLE_VOWELS, Tone, is_glide, pitch_of, tones};
pub use track::{Frame, HIGHEST, HOP, LOWEST, PitchTrack};
pub use tuning::{Tuned, in_tune};
