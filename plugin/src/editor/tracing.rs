//! The curve of the voice under the notes of a phrase, worked out of the recording that goes along on
//! a thread of its own: so it is there for whatever phrase was said, in a project that was opened as
//! well.

use crate::editor::model::speech::Curve;
use crate::files::{Reader, Told};
use crate::state::Voice;
use procession_core::reciter::Utterance;
use procession_core::speech::{PitchTrack, Recording};
use std::sync::Arc;

/// What was worked out; nothing if that broke off.
struct Traced(Option<Curve>);

impl Told for Traced {
    fn none(_: impl Into<String>) -> Self {
        Self(None)
    }
}

/// Has the curve of the recording that goes along.
#[derive(Default)]
pub struct Tracing {
    of: Option<Arc<Utterance>>,
    curve: Option<Curve>,
    reader: Reader<Traced>,
}

impl Tracing {
    /// The curve of that recording, if it is known; it is worked out if it is another than before.
    pub fn follow(&mut self, voice: Option<&Voice>) -> Option<Curve> {
        let now = voice.map(Voice::utterance);
        let same = match (&self.of, now) {
            (Some(before), Some(now)) => Arc::ptr_eq(before, now),
            (None, None) => true,
            _ => false,
        };
        if !same {
            self.of = now.cloned();
            self.begin();
        }
        if let Some(Traced(curve)) = self.reader.answer() {
            self.curve = curve;
        }
        self.curve.clone()
    }

    /// Whether one is being worked out.
    pub fn works(&self) -> bool {
        self.reader.is_reading()
    }

    fn begin(&mut self) {
        self.curve = None;
        self.reader.stop();
        if let Some(utterance) = self.of.clone() {
            // With no thread to be had there is no curve: the notes say what they did.
            let _ = self.reader.begin(move |_| Traced(traced(&utterance)));
        }
    }
}

fn traced(utterance: &Utterance) -> Option<Curve> {
    let samples = utterance.samples().to_vec();
    let recording = Recording::new(samples, utterance.rate().into()).ok()?;
    Some(Curve::new(Arc::new(PitchTrack::of(&recording)), 0.0))
}
