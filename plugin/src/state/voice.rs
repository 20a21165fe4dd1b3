//! The recording that goes along with a phrase of speech, as a project keeps it: FLAC, as text.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use procession_core::exchange::flac::{from_flac, to_flac};
use procession_core::phrase::Phrase;
use procession_core::reciter::Utterance;
use serde::{Serialize, Serializer};
use serde_json::Value;
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

/// What is written of a voice: nothing if no note of the phrase was said.
pub(super) fn saved(voice: Option<&Voice>, phrase: &Phrase) -> Option<Voice> {
    let is_said = phrase.notes().iter().any(|note| note.said.is_some());
    voice.filter(|_| is_said).cloned()
}

/// None was written in states from before there was one.
pub(super) fn restored(saved: &Value) -> Result<Option<Voice>, String> {
    let refused = |why: String| {
        format!(
            "The saved voice cannot be heard: {why}. The phrase plays without it; load an earlier \
             save of the project to have it back."
        )
    };
    match saved.get("voice") {
        None | Some(Value::Null) => Ok(None),
        Some(Value::String(written)) => Voice::read(written).map(Some).map_err(refused),
        Some(_) => Err(refused("it is no recording".to_owned())),
    }
}
