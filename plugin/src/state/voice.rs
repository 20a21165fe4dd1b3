//! The recording that goes along with a phrase of speech, as a project keeps it: FLAC, as text, and
//! each once, however many phrases were said in it.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use procession_core::exchange::flac::{from_flac, to_flac};
use procession_core::phrase::Phrase;
use procession_core::reciter::Utterance;
use procession_core::speech::Recording;
use serde::{Serialize, Serializer};
use serde_json::Value;
use std::ops::Range;
use std::sync::Arc;

/// What was said, and how it is written. Large, and shared by all who only listen to it.
#[derive(Clone, Debug)]
pub struct Voice(Arc<Inner>);

#[derive(Debug)]
struct Inner {
    utterance: Arc<Utterance>,
    written: String,
}

impl Voice {
    /// Made ready to be kept, which takes a moment: never on the audio thread.
    ///
    /// # Errors
    /// In words, why it cannot be kept.
    pub fn new(utterance: Utterance) -> Result<Self, String> {
        let file = to_flac(&utterance)
            .map_err(|error| format!("The voice cannot be kept in the project: {error}."))?;
        Ok(Self(Arc::new(Inner {
            utterance: Arc::new(utterance),
            written: STANDARD.encode(file),
        })))
    }

    /// What lies between two moments of a recording, in seconds; none if nothing does.
    ///
    /// # Errors
    /// As for [`Self::new`].
    pub fn of(recording: &Recording, span: Range<f64>) -> Result<Option<Self>, String> {
        let said = Utterance::of(recording, span.start, span.end);
        said.map(Self::new).transpose()
    }

    /// What was said.
    pub fn utterance(&self) -> &Arc<Utterance> {
        &self.0.utterance
    }

    fn read(written: &str) -> Result<Self, String> {
        let file = STANDARD
            .decode(written)
            .map_err(|error| error.to_string())?;
        let utterance = from_flac(&file).map_err(|error| error.to_string())?;
        Ok(Self(Arc::new(Inner {
            utterance: Arc::new(utterance),
            written: written.to_owned(),
        })))
    }
}

impl PartialEq for Voice {
    fn eq(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.0, &other.0) || self.0.written == other.0.written
    }
}

impl Serialize for Voice {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&self.0.written)
    }
}

/// The voice of a phrase: none if no note of it was said.
pub(super) fn of(phrase: &Phrase, voice: Option<&Voice>) -> Option<Voice> {
    let is_said = phrase.notes().iter().any(|note| note.said.is_some());
    voice.filter(|_| is_said).cloned()
}

/// Recordings on their way into a project: each is written once, and known by its place.
#[derive(Default)]
pub(super) struct Shelf(Vec<Voice>);

impl Shelf {
    /// The place of a recording, if there is one.
    pub fn place(&mut self, voice: Option<&Voice>) -> Option<usize> {
        let voice = voice?;
        let found = self.0.iter().position(|one| one == voice);
        Some(found.unwrap_or_else(|| {
            self.0.push(voice.clone());
            self.0.len() - 1
        }))
    }

    /// All that were given a place, in order.
    pub fn all(self) -> Vec<Voice> {
        self.0
    }
}

/// The recordings of a project as they are read.
pub(super) struct Recordings(Vec<Result<Voice, String>>);

impl Recordings {
    /// Those that were saved.
    pub fn of(saved: &Value) -> Self {
        let written = saved.get("recordings").and_then(Value::as_array);
        let read = |written: &Value| {
            let text = written.as_str().ok_or(NO_RECORDING);
            Voice::read(text?)
        };
        Self(written.into_iter().flatten().map(read).collect())
    }

    /// The voice of what was saved, if it had one. States from before recordings were gathered have
    /// it with the phrase.
    ///
    /// # Errors
    /// In words, why it cannot be heard.
    pub fn voice(&self, saved: &Value) -> Result<Option<Voice>, String> {
        match saved.get("voice") {
            None | Some(Value::Null) => Ok(None),
            Some(Value::String(written)) => Voice::read(written).map(Some),
            Some(place) => {
                let place = place.as_u64().and_then(|place| usize::try_from(place).ok());
                let found = place.and_then(|place| self.0.get(place));
                found
                    .cloned()
                    .unwrap_or(Err(NO_RECORDING.to_owned()))
                    .map(Some)
            }
        }
    }
}

const NO_RECORDING: &str = "it is no recording";

/// The voice of the phrase; none was written in states from before there was one.
pub(super) fn restored(saved: &Value, recordings: &Recordings) -> Result<Option<Voice>, String> {
    recordings.voice(saved).map_err(|why| {
        format!(
            "The saved voice cannot be heard: {why}. The phrase plays without it; load an earlier \
             save of the project to have it back."
        )
    })
}
