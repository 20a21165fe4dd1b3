//! One block of time, as a host hands it over.

use super::{Event, Timed, Transport};

/// Frames, transport and events of one call of `process`.
///
/// Events go to the plug-in in the order given here, which a well-behaved host keeps sorted by
/// frame; nothing is sorted, so that a badly behaved one can be played as well.
#[derive(Clone, Debug, Default)]
pub struct Block {
    pub(super) frames: u32,
    pub(crate) transport: Option<Transport>,
    pub(super) events: Vec<Timed>,
}

impl Block {
    /// A block of `frames` frames, with no transport and no events.
    pub fn of(frames: u32) -> Self {
        Self {
            frames,
            ..Self::default()
        }
    }

    /// The transport at frame 0.
    pub fn transport(mut self, transport: Transport) -> Self {
        self.transport = Some(transport);
        self
    }

    /// One more event, `frame` frames into the block.
    pub fn event(mut self, frame: u32, event: Event) -> Self {
        self.push(event.at(frame));
        self
    }

    /// Adds an event to a block that is kept.
    pub fn push(&mut self, event: Timed) {
        self.events.push(event);
    }

    /// How many frames it lasts.
    pub fn frames(&self) -> u32 {
        self.frames
    }

    /// Its events, as given.
    pub fn events(&self) -> &[Timed] {
        &self.events
    }
}
