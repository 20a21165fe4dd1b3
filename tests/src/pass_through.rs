//! A bare plug-in that hands on what it gets, events and audio, at the frame it gets it: what the
//! host is tried on, and what the bench measures against.

use crate::host::{Error, Library};
use clack_plugin::clack_entry;
use clack_plugin::entry::EntryDescriptor;
use clack_plugin::prelude::*;

static ENTRY: EntryDescriptor = clack_entry!(SinglePluginEntry<PassThrough>);

/// The pass-through, ready to be loaded.
///
/// # Errors
/// It does not initialise.
pub fn library() -> Result<Library, Error> {
    Library::linked(&ENTRY)
}

struct PassThrough;

impl Plugin for PassThrough {
    type AudioProcessor<'a> = Processor;
    type Shared<'a> = ();
    type MainThread<'a> = ();
}

impl DefaultPluginFactory for PassThrough {
    fn get_descriptor() -> PluginDescriptor {
        PluginDescriptor::new("ProcessionPassThrough", "Pass-through")
    }

    fn new_shared(_: HostSharedHandle<'_>) -> Result<(), PluginError> {
        Ok(())
    }

    fn new_main_thread<'a>(_: HostMainThreadHandle<'a>, _: &'a ()) -> Result<(), PluginError> {
        Ok(())
    }
}

struct Processor;

impl<'a> PluginAudioProcessor<'a, (), ()> for Processor {
    fn activate(
        _: HostAudioProcessorHandle<'a>,
        (): &(),
        (): &'a (),
        _: PluginAudioConfiguration,
    ) -> Result<Self, PluginError> {
        Ok(Self)
    }

    fn process(
        &mut self,
        _: Process,
        mut audio: Audio,
        events: Events,
    ) -> Result<ProcessStatus, PluginError> {
        for event in events.input {
            // What the host has no room for is lost: this plug-in remembers nothing.
            let _ = events.output.try_push(event);
        }
        for mut port in &mut audio {
            let Some(channels) = port.channels()?.into_f32() else {
                continue;
            };
            for channel in channels {
                if let ChannelPair::InputOutput(from, to) = channel {
                    to.copy_from_slice(from);
                }
            }
        }
        Ok(ProcessStatus::Continue)
    }
}
