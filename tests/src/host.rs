//! A CLAP host in a few verbs, for the demo, the bench and the tests.
//!
//! A plug-in passes through three stages, and each is a type: [`Loaded`] → [`Active`] →
//! [`Processing`]. What belongs to the main thread ([`Instance`]: parameters, state) can be
//! asked in every stage; a block can be processed in the last one only.
//!
//! ```no_run
//! use procession_tests::host::{Block, Event, Library, Setup, Transport};
//! # fn main() -> Result<(), procession_tests::host::Error> {
//! let library = Library::open("target/bundled/Procession.clap".as_ref())?;
//! let mut plugin = library.first_plugin()?.activate(Setup::default())?.start()?;
//! let block = Block::of(64)
//!     .transport(Transport::rolling(120.0).at(8.0))
//!     .event(10, Event::note_on(0, 60, 0.8));
//! for heard in plugin.process(&block)? {
//!     println!("{} {:?}", heard.frame, heard.event);
//! }
//! # Ok(()) }
//! ```

mod block;
mod clocked;
mod entry;
mod event;
mod handlers;
mod parameter;
pub mod screen;
mod transport;
#[cfg(target_os = "linux")]
mod window;

pub use block::Block;
pub use clack_host::process::ProcessStatus;
pub use clocked::{Clocked, Prepared};
pub use entry::Library;
pub use event::{Address, Event, Expression, Timed};
pub use handlers::{Requests, Room};
pub use parameter::{Parameter, parameter_number};
pub use transport::Transport;
#[cfg(target_os = "linux")]
pub use window::{Key, Picture, Window};

use clack_extensions::audio_ports::PluginAudioPorts;
use clack_extensions::latency::PluginLatency;
use clack_extensions::note_ports::PluginNotePorts;
use clack_extensions::params::{ParamInfoBuffer, PluginParams};
use clack_extensions::render::{PluginRender, RenderMode};
use clack_extensions::state::PluginState;
use clack_host::prelude::*;
use clack_host::utils::ClapId;
use event::Outlet;
use handlers::{Handlers, MainPending, Pending, as_audio_thread};
use std::ffi::{CStr, CString};
use std::fmt;
use std::ops::{Deref, DerefMut};

/// A plug-in at one of its stages.
///
/// Dropping it at any stage stops, deactivates and destroys the plug-in, in that order.
pub struct Plugin<Stage> {
    // First, for it is dropped first: an instance outlives its audio side.
    audio: Stage,
    main: Instance,
}

/// Loaded, and not asked to process anything.
pub struct Loaded(());

/// Given a sample rate and a largest block, but not running.
pub struct Active {
    processor: StoppedPluginAudioProcessor<Handlers>,
    setup: Setup,
}

/// Running: takes blocks. It may be sent to another thread, see [`Plugin::split`].
pub struct Processing {
    processor: StartedPluginAudioProcessor<Handlers>,
    setup: Setup,
    input: [Vec<f32>; 2],
    output: [Vec<f32>; 2],
    input_ports: AudioPorts,
    output_ports: AudioPorts,
    events: EventBuffer,
    outlet: Outlet,
    status: ProcessStatus,
    frames_done: u64,
}

/// What is agreed upon at activation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Setup {
    /// Hertz.
    pub sample_rate: f64,
    /// Frames of the longest block.
    pub max_frames: u32,
    /// The buses handed over.
    pub buses: Buses,
}

impl Default for Setup {
    /// 48 kHz, blocks of up to 4096 frames, stereo in and out.
    fn default() -> Self {
        Self {
            sample_rate: 48_000.0,
            max_frames: 4096,
            buses: Buses::Stereo,
        }
    }
}

/// The audio a host hands over with each block.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Buses {
    /// One stereo bus in, one out.
    Stereo,
    /// No audio at all, whatever the plug-in declared.
    None,
}

/// Events the plug-in may leave in one block, unless [`Processing::set_room`] says otherwise.
const USUAL_ROOM: usize = 16_384;

impl Library {
    /// The ids of the plug-ins inside.
    pub fn ids(&self) -> Vec<String> {
        self.c_ids()
            .iter()
            .map(|id| id.to_string_lossy().into_owned())
            .collect()
    }

    fn c_ids(&self) -> Vec<CString> {
        self.0
            .get_plugin_factory()
            .map(|factory| {
                factory
                    .plugin_descriptors()
                    .filter_map(|descriptor| descriptor.id().map(CStr::to_owned))
                    .collect()
            })
            .unwrap_or_default()
    }

    /// A new instance of the plug-in with this id.
    ///
    /// # Errors
    /// There is none of that id, or it does not initialise.
    pub fn plugin(&self, id: &str) -> Result<Plugin<Loaded>, Error> {
        let c_id = CString::new(id).map_err(Error::new)?;
        let info =
            HostInfo::new("Procession's test host", "Procession", "", "1").map_err(Error::new)?;
        let instance = PluginInstance::new(
            |_| Pending::new(),
            |pending| MainPending(pending),
            &self.0,
            &c_id,
            &info,
        )
        .map_err(|error| Error::new(format!("\"{id}\" cannot be made: {error}")))?;
        Ok(Plugin {
            audio: Loaded(()),
            main: Instance(instance),
        })
    }

    /// A new instance of the first plug-in in the library.
    ///
    /// # Errors
    /// The library is empty, or the plug-in does not initialise.
    pub fn first_plugin(&self) -> Result<Plugin<Loaded>, Error> {
        match self.ids().first() {
            Some(id) => self.plugin(id),
            None => Err(Error::new("the library holds no plug-in")),
        }
    }
}

impl Plugin<Loaded> {
    /// Prepares for processing; here a plug-in allocates.
    ///
    /// # Errors
    /// The plug-in declines.
    pub fn activate(mut self, setup: Setup) -> Result<Plugin<Active>, Error> {
        let configuration = PluginAudioConfiguration {
            sample_rate: setup.sample_rate,
            min_frames_count: 1,
            max_frames_count: setup.max_frames.max(1),
        };
        let processor = self
            .main
            .0
            .activate(|_, _| (), configuration)
            .map_err(|error| Error::new(format!("the plug-in declines {setup:?}: {error}")))?;
        Ok(Plugin {
            audio: Active { processor, setup },
            main: self.main,
        })
    }
}

impl Plugin<Active> {
    /// Begins to process.
    ///
    /// # Errors
    /// The plug-in declines.
    pub fn start(self) -> Result<Plugin<Processing>, Error> {
        let Active { processor, setup } = self.audio;
        let processor = as_audio_thread(|| processor.start_processing())
            .map_err(|_| Error::new("the plug-in declines to start processing"))?;
        let silence = || [(); 2].map(|()| vec![0.0; setup.max_frames as usize]);
        Ok(Plugin {
            audio: Processing {
                processor,
                setup,
                input: silence(),
                output: silence(),
                input_ports: AudioPorts::with_capacity(2, 1),
                output_ports: AudioPorts::with_capacity(2, 1),
                events: EventBuffer::new(),
                outlet: Outlet::with_room(USUAL_ROOM),
                status: ProcessStatus::Continue,
                frames_done: 0,
            },
            main: self.main,
        })
    }

    /// Back to [`Loaded`].
    pub fn deactivate(mut self) -> Plugin<Loaded> {
        self.main.0.deactivate(self.audio.processor);
        Plugin {
            audio: Loaded(()),
            main: self.main,
        }
    }

    /// Clears what sounds, without any block in between.
    pub fn reset(&mut self) {
        as_audio_thread(|| self.audio.processor.reset());
    }
}

impl Plugin<Processing> {
    /// One block; then the main thread does what the plug-in asked it for. What comes back are
    /// the plug-in's own events of this block, in order of time.
    ///
    /// # Errors
    /// See [`Processing::process`].
    pub fn process(&mut self, block: &Block) -> Result<&[Timed], Error> {
        self.audio.process(block)?;
        self.main.run_callbacks();
        Ok(self.audio.heard())
    }

    /// The two sides apart, so that a test can save or load state on the main thread while
    /// another thread processes.
    pub fn split(&mut self) -> (&mut Instance, &mut Processing) {
        (&mut self.main, &mut self.audio)
    }

    /// The audio side: buffers, room for events, status.
    pub fn audio(&mut self) -> &mut Processing {
        &mut self.audio
    }

    /// Back to [`Active`].
    pub fn stop(self) -> Plugin<Active> {
        let Processing {
            processor, setup, ..
        } = self.audio;
        let processor = as_audio_thread(|| processor.stop_processing());
        Plugin {
            audio: Active { processor, setup },
            main: self.main,
        }
    }

    /// Clears what sounds, without stopping.
    pub fn reset(&mut self) {
        as_audio_thread(|| self.audio.processor.reset());
    }
}

impl Processing {
    /// One block, on whichever thread calls.
    ///
    /// # Errors
    /// The block is empty or longer than agreed, the plug-in reports a failure, or its events
    /// break CLAP's contract: out of order, or outside the block.
    pub fn process(&mut self, block: &Block) -> Result<&[Timed], Error> {
        let frames = block.frames;
        if frames == 0 || frames > self.setup.max_frames {
            return Err(Error::new(format!(
                "a block of {frames} frames: 1 to {} were agreed upon",
                self.setup.max_frames
            )));
        }
        self.outlet.clear();
        self.events.clear();
        block
            .events
            .iter()
            .for_each(|event| event.write_to(&mut self.events));
        self.status = self.call(frames, block.transport)?;
        self.frames_done += u64::from(frames);
        check_order(&self.outlet.events, frames)?;
        Ok(self.heard())
    }

    fn call(&mut self, frames: u32, transport: Option<Transport>) -> Result<ProcessStatus, Error> {
        let length = frames as usize;
        let (inputs, mut outputs) = match self.setup.buses {
            Buses::Stereo => (
                self.input_ports.with_input_buffers([AudioPortBuffer {
                    latency: 0,
                    channels: AudioPortBufferType::f32_input_only(
                        self.input
                            .iter_mut()
                            .map(|channel| InputChannel::variable(&mut channel[..length])),
                    ),
                }]),
                self.output_ports.with_output_buffers([AudioPortBuffer {
                    latency: 0,
                    channels: AudioPortBufferType::f32_output_only(
                        self.output.iter_mut().map(|channel| &mut channel[..length]),
                    ),
                }]),
            ),
            Buses::None => (entry::no_buses(frames), OutputAudioBuffers::empty()),
        };
        let transport = transport.map(|transport| transport.to_clap(0));
        as_audio_thread(|| {
            self.processor.process(
                &inputs,
                &mut outputs,
                &self.events.as_input(),
                &mut OutputEvents::from_buffer(&mut self.outlet),
                Some(self.frames_done),
                transport.as_ref(),
            )
        })
        .map_err(|error| Error::new(format!("the plug-in failed to process: {error}")))
    }

    /// The plug-in's events of the last block.
    pub fn heard(&self) -> &[Timed] {
        &self.outlet.events
    }

    /// How many events fit into the host's list in one block. With few, the plug-in is turned
    /// away and has to keep what it could not leave.
    pub fn set_room(&mut self, events: usize) {
        self.outlet = Outlet::with_room(events);
    }

    /// From now on the host's list has no room set aside: it asks for memory as it grows, in the
    /// middle of the block. No proper host does so; it is a way to see that somebody watches.
    pub fn let_list_grow(&mut self) {
        self.outlet = Outlet::without_reserve();
    }

    /// How often the plug-in was turned away in the last block.
    pub fn refused(&self) -> usize {
        self.outlet.refused
    }

    /// What the plug-in said at the end of the last block: whether it wants to go on.
    pub fn status(&self) -> ProcessStatus {
        self.status
    }

    /// The audio handed over with the coming blocks, left and right; silence unless changed.
    pub fn input(&mut self) -> &mut [Vec<f32>; 2] {
        &mut self.input
    }

    /// The audio of the last block, left and right, from its frame 0 on.
    pub fn output(&self) -> &[Vec<f32>; 2] {
        &self.output
    }

    /// What was agreed upon.
    pub fn setup(&self) -> Setup {
        self.setup
    }
}

/// CLAP wants events in order of time and inside the block.
///
/// What a hand does in the window is left out: the framework adds it, at frame 0, behind all that
/// the plug-in has sent.
fn check_order(events: &[Timed], frames: u32) -> Result<(), Error> {
    let by_hand =
        |timed: &&Timed| matches!(timed.event, Event::Gesture { .. } | Event::Value { .. });
    let events: Vec<&Timed> = events.iter().filter(|timed| !by_hand(timed)).collect();
    if let Some(pair) = events.windows(2).find(|pair| pair[0].frame > pair[1].frame) {
        return Err(Error::new(format!(
            "the plug-in's events are out of order: {:?} came before {:?}",
            pair[0], pair[1]
        )));
    }
    match events.last() {
        Some(last) if last.frame >= frames => Err(Error::new(format!(
            "the plug-in left {last:?} in a block of {frames} frames"
        ))),
        _ => Ok(()),
    }
}

/// The main thread's side of a plug-in: parameters, state, ports.
///
/// Parameters are named by their stable id (`hold`) or, failing that, by what the user reads
/// (`Hold`). Values are the host's plain ones; note that an integer parameter counts its values
/// from 0, so setting by text is the plainer way.
pub struct Instance(PluginInstance<Handlers>);

impl<Stage> Deref for Plugin<Stage> {
    type Target = Instance;

    fn deref(&self) -> &Instance {
        &self.main
    }
}

impl<Stage> DerefMut for Plugin<Stage> {
    fn deref_mut(&mut self) -> &mut Instance {
        &mut self.main
    }
}

impl Instance {
    /// What the host does from now on when the plug-in's window wants another size.
    pub fn set_room(&mut self, room: Room) {
        self.0
            .access_shared_handler(|pending| pending.set_room(room));
    }

    /// Every parameter, in the plug-in's order.
    pub fn parameters(&mut self) -> Vec<Parameter> {
        let handle = self.0.plugin_handle();
        let Some(extension) = handle.get_extension::<PluginParams>() else {
            return Vec::new();
        };
        let mut buffer = ParamInfoBuffer::new();
        (0..extension.count(&handle))
            .filter_map(|index| {
                extension
                    .get_info(&handle, index, &mut buffer)
                    .map(|info| Parameter::read(&info))
            })
            .collect()
    }

    /// One parameter, by stable id or name.
    ///
    /// # Errors
    /// There is none of that name; the message lists those there are.
    pub fn parameter(&mut self, name: &str) -> Result<Parameter, Error> {
        let all = self.parameters();
        let number = parameter_number(name);
        all.iter()
            .find(|parameter| parameter.number == number)
            .or_else(|| all.iter().find(|parameter| parameter.name == name))
            .cloned()
            .ok_or_else(|| {
                let names: Vec<_> = all.iter().map(|each| each.name.as_str()).collect();
                Error::new(format!(
                    "there is no parameter \"{name}\"; there are: {}",
                    names.join(", ")
                ))
            })
    }

    /// The plain value a parameter has.
    ///
    /// # Errors
    /// There is no such parameter.
    pub fn value(&mut self, name: &str) -> Result<f64, Error> {
        self.ask(name, "tells no value", |extension, handle, id| {
            extension.get_value(handle, id)
        })
    }

    /// How the plug-in writes a plain value.
    ///
    /// # Errors
    /// There is no such parameter, or the plug-in has no text for the value.
    pub fn text_of(&mut self, name: &str, value: f64) -> Result<String, Error> {
        self.ask(
            name,
            "has no text for that value",
            |extension, handle, id| {
                let mut buffer = [0; 256];
                let text = extension.value_to_text(handle, id, value, &mut buffer);
                text.ok()
                    .map(|bytes| String::from_utf8_lossy(bytes).into_owned())
            },
        )
    }

    /// The plain value that a text typed by the user stands for.
    ///
    /// # Errors
    /// There is no such parameter, or the plug-in does not understand the text.
    pub fn value_of(&mut self, name: &str, text: &str) -> Result<f64, Error> {
        let typed = CString::new(text).map_err(Error::new)?;
        let refusal = format!("does not understand \"{text}\"");
        self.ask(name, &refusal, |extension, handle, id| {
            extension.text_to_value(handle, id, &typed)
        })
    }

    /// How the plug-in writes the value a parameter has.
    ///
    /// # Errors
    /// There is no such parameter.
    pub fn text(&mut self, name: &str) -> Result<String, Error> {
        let value = self.value(name)?;
        self.text_of(name, value)
    }

    /// The event that sets a parameter to the value a text stands for.
    ///
    /// # Errors
    /// As for [`Instance::value_of`].
    pub fn setting(&mut self, name: &str, text: &str) -> Result<Event, Error> {
        let value = self.value_of(name, text)?;
        let parameter = self.parameter(name)?.number;
        Ok(Event::Value { parameter, value })
    }

    fn ask<T>(
        &mut self,
        name: &str,
        refusal: &str,
        question: impl FnOnce(&PluginParams, &PluginMainThreadHandle, ClapId) -> Option<T>,
    ) -> Result<T, Error> {
        let id = ClapId::new(self.parameter(name)?.number);
        let handle = self.0.plugin_handle();
        handle
            .get_extension::<PluginParams>()
            .and_then(|extension| question(&extension, &handle, id))
            .ok_or_else(|| Error::new(format!("the parameter \"{name}\" {refusal}")))
    }

    /// The state, as a host would keep it in its project.
    ///
    /// # Errors
    /// The plug-in fails to save.
    pub fn save(&mut self) -> Result<Vec<u8>, Error> {
        let handle = self.0.plugin_handle();
        let mut bytes = Vec::new();
        handle
            .get_extension::<PluginState>()
            .ok_or_else(|| Error::new("the plug-in keeps no state"))?
            .save(&handle, &mut bytes)
            .map_err(|_| Error::new("the plug-in failed to save its state"))?;
        Ok(bytes)
    }

    /// Gives back a saved state, in any stage.
    ///
    /// # Errors
    /// The plug-in refuses it.
    pub fn load(&mut self, mut bytes: &[u8]) -> Result<(), Error> {
        let handle = self.0.plugin_handle();
        handle
            .get_extension::<PluginState>()
            .ok_or_else(|| Error::new("the plug-in keeps no state"))?
            .load(&handle, &mut bytes)
            .map_err(|_| Error::new("the plug-in refused the state"))?;
        self.run_callbacks();
        Ok(())
    }

    /// Latency in frames; 0 if the plug-in tells none.
    pub fn latency(&mut self) -> u32 {
        let handle = self.0.plugin_handle();
        handle
            .get_extension::<PluginLatency>()
            .map_or(0, |extension| extension.get(&handle))
    }

    /// How many note ports there are, in and out.
    pub fn note_ports(&mut self) -> (u32, u32) {
        let handle = self.0.plugin_handle();
        handle
            .get_extension::<PluginNotePorts>()
            .map_or((0, 0), |extension| {
                (
                    extension.count(&handle, true),
                    extension.count(&handle, false),
                )
            })
    }

    /// How many audio buses there are, in and out.
    pub fn audio_buses(&mut self) -> (u32, u32) {
        let handle = self.0.plugin_handle();
        handle
            .get_extension::<PluginAudioPorts>()
            .map_or((0, 0), |extension| {
                (
                    extension.count(&handle, true),
                    extension.count(&handle, false),
                )
            })
    }

    /// Tells the plug-in that a file is written (faster than real time), or that it plays live.
    /// Whether it took note; a plug-in to which it makes no difference need not.
    pub fn set_offline(&mut self, offline: bool) -> bool {
        let mode = match offline {
            true => RenderMode::Offline,
            false => RenderMode::Realtime,
        };
        let handle = self.0.plugin_handle();
        handle
            .get_extension::<PluginRender>()
            .is_some_and(|extension| extension.set(&handle, mode).is_ok())
    }

    /// What the plug-in has asked the host for since it was loaded.
    pub fn requests(&self) -> Requests {
        self.0.access_shared_handler(|pending| pending.requests())
    }

    /// Does on the main thread what the plug-in asked to have done there.
    pub fn run_callbacks(&mut self) {
        if self
            .0
            .access_shared_handler(|pending| pending.takes_callback())
        {
            self.0.call_on_main_thread_callback();
        }
    }
}

/// A stage in which parameters can be set between blocks.
pub trait Settable: sealed::Sealed {
    #[doc(hidden)]
    fn flush(&mut self, main: &mut Instance, events: &EventBuffer);
}

mod sealed {
    pub trait Sealed {}
    impl Sealed for super::Loaded {}
    impl Sealed for super::Active {}
    impl Sealed for super::Processing {}
}

impl Settable for Loaded {
    fn flush(&mut self, main: &mut Instance, events: &EventBuffer) {
        if let Some(mut handle) = main.0.inactive_plugin_handle()
            && let Some(extension) = handle.get_extension::<PluginParams>()
        {
            extension.flush(&mut handle, &events.as_input(), &mut OutputEvents::void());
        }
    }
}

impl Settable for Active {
    fn flush(&mut self, _: &mut Instance, events: &EventBuffer) {
        flush_active(self.processor.plugin_handle(), events);
    }
}

impl Settable for Processing {
    fn flush(&mut self, _: &mut Instance, events: &EventBuffer) {
        flush_active(self.processor.plugin_handle(), events);
    }
}

fn flush_active(mut handle: PluginAudioProcessorHandle, events: &EventBuffer) {
    if let Some(extension) = handle.get_extension::<PluginParams>() {
        as_audio_thread(|| {
            extension.flush_active(&mut handle, &events.as_input(), &mut OutputEvents::void());
        });
    }
}

impl<Stage: Settable> Plugin<Stage> {
    /// Sets a parameter, between blocks, to the value a text stands for: `set("copies", "3")`.
    ///
    /// # Errors
    /// As for [`Instance::value_of`].
    pub fn set(&mut self, name: &str, text: &str) -> Result<(), Error> {
        let event = self.main.setting(name, text)?;
        self.send(event);
        Ok(())
    }

    /// Sets a parameter, between blocks, to a plain value, within its range or not.
    ///
    /// # Errors
    /// There is no such parameter.
    pub fn set_value(&mut self, name: &str, value: f64) -> Result<(), Error> {
        let parameter = self.main.parameter(name)?.number;
        self.send(Event::Value { parameter, value });
        Ok(())
    }

    fn send(&mut self, event: Event) {
        let mut events = EventBuffer::new();
        event.at(0).write_to(&mut events);
        self.audio.flush(&mut self.main, &events);
        self.main.run_callbacks();
    }
}

/// Why the host could not go on, in plain words.
#[derive(Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct Error(String);

impl Error {
    pub(crate) fn new(message: impl fmt::Display) -> Self {
        Self(message.to_string())
    }
}

/// As [`fmt::Display`], so that a failing test shows the message and no wrapping.
impl fmt::Debug for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}
