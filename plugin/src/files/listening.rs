//! Listening to a recording: what is said in it, worked out where nobody waits.

use super::reader::{GIVEN_UP, Sort, Told, bytes};
use super::sentence;
use procession_core::exchange::recorded::{self, LARGEST};
use procession_core::speech::{Listened, Recording};
use std::sync::Arc;

const RECORDING: Sort = Sort {
    endings: "sound",
    largest: LARGEST,
    too_large: "a recording: cut out the sentences you need",
};

/// A recording, and what is said in it.
#[derive(Clone, Debug)]
pub struct Spoken {
    /// The recording.
    pub recording: Arc<Recording>,
    /// Its sentences.
    pub listened: Arc<Listened>,
}

/// That, or why there is none and what to do.
#[derive(Clone, Debug)]
pub struct Heard(pub Result<Spoken, String>);

impl Told for Heard {
    fn none(why: impl Into<String>) -> Self {
        Self(Err(why.into()))
    }
}

/// Listens to the sound file at a typed or pasted path, here and now. `stop` is asked between any two
/// pieces of work; each is bounded.
pub fn hear(typed: &str, stop: &dyn Fn() -> bool) -> Heard {
    Heard(bytes(typed, &RECORDING, stop).and_then(|bytes| {
        let recording = recorded::read(&bytes).map_err(sentence)?;
        if stop() {
            return Err(GIVEN_UP.to_owned());
        }
        let listened = Listened::to(&recording).map_err(sentence)?;
        Ok(Spoken {
            recording: Arc::new(recording),
            listened: Arc::new(listened),
        })
    }))
}
