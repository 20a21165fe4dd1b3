//! A host or a system as far as the audio thread knows it: it plays block by block, hands in what
//! comes, and keeps what is sent.

use nice_plug::context::PluginApi;
use nice_plug::context::process::SendEventError;
use nice_plug::midi::PluginNoteEvent;
use nice_plug::prelude::{ProcessContext, Transport};
use procession::{Instance, Task};

/// Around the plug-in in a host or, if it is the program, around that.
pub struct System<const PROGRAM: bool> {
    pub transport: Transport,
    pub coming: Vec<PluginNoteEvent<Instance<PROGRAM>>>,
    pub sent: Vec<PluginNoteEvent<Instance<PROGRAM>>>,
}

impl<const PROGRAM: bool> System<PROGRAM> {
    /// With room enough that nothing is allocated while it plays.
    pub fn new(transport: Transport) -> Self {
        Self {
            transport,
            coming: Vec::with_capacity(64),
            sent: Vec::with_capacity(4096),
        }
    }
}

impl<const PROGRAM: bool> ProcessContext<Instance<PROGRAM>> for System<PROGRAM> {
    fn plugin_api(&self) -> PluginApi {
        if PROGRAM {
            PluginApi::Standalone
        } else {
            PluginApi::Clap
        }
    }
    fn execute_background(&self, _: Task) {}
    fn execute_gui(&self, _: Task) {}
    fn transport(&self) -> &Transport {
        &self.transport
    }
    fn next_event(&mut self) -> Option<PluginNoteEvent<Instance<PROGRAM>>> {
        self.coming.pop()
    }
    fn try_send_event(
        &mut self,
        event: PluginNoteEvent<Instance<PROGRAM>>,
    ) -> Result<(), (PluginNoteEvent<Instance<PROGRAM>>, SendEventError)> {
        self.sent.push(event);
        Ok(())
    }
    fn set_latency_samples(&self, _: u32) {}
    fn set_current_voice_capacity(&self, _: u32) {}
    fn request_restart(&self) {}
}
