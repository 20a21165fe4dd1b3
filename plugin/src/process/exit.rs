//! Where all that sounds leaves.

use crate::audition::Playing;
use crate::outbox::{HostEvent, Outbox};
use procession_core::engine::InBlock;
use procession_core::player::Event;

/// Where all that sounds leaves: to the host, and to the mallets while they are on.
pub(super) struct Exit<'a> {
    pub outbox: &'a mut Outbox,
    pub mallets: Option<Playing<'a>>,
}

impl Exit<'_> {
    pub fn send(&mut self, event: Event, to_host: impl FnMut(HostEvent) -> bool) {
        if let Some(mallets) = &mut self.mallets {
            mallets.play(&event);
        }
        self.outbox.send(event, to_host);
    }

    /// A block has begun: what goes along with its notes hears of it.
    pub fn enter(&mut self, block: &InBlock) {
        if let Some(mallets) = &mut self.mallets {
            mallets.enter(block);
        }
    }

    pub fn close(self) {
        if let Some(mallets) = self.mallets {
            mallets.finish();
        }
    }
}
