//! The audio side of a plug-in: one block at a time.

use super::com::{Changes, EventList};
use super::{Plugin, Setup};
use crate::host::{self, Address, Block, Error, Timed, Transport};
use std::ffi::c_void;
use std::sync::atomic::Ordering;
use vst3::Steinberg::Vst::*;
use vst3::Steinberg::*;
use vst3::{ComPtr, ComWrapper};

/// The audio buses a host hands over with a block. The plug-ins here have one stereo bus each
/// way; a host may leave a bus off, and says so in different ways.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Buses {
    /// One stereo bus in, one out.
    Stereo,
    /// One bus each way with two channels, but a null pointer for each channel: an inactive bus.
    NullChannels,
    /// One bus each way, but a null pointer where its channels should be.
    NullBus,
    /// One bus each way that has no channels.
    NoChannels,
    /// A bus in only; no bus out.
    NoOutput,
    /// A bus out only; no bus in.
    NoInput,
    /// No buses at all.
    Missing,
}

/// Events the plug-in may leave in one block, unless [`Audio::set_room`] says otherwise.
const USUAL_ROOM: usize = 16_384;

/// Controllers that have a number of their own beside the 128 of MIDI.
const PRESSURE: u8 = 128;
const BEND: u8 = 129;

/// The audio side of a running plug-in; another thread may have it. Dropping it ends processing.
pub struct Audio {
    processor: ComPtr<IAudioProcessor>,
    component: ComPtr<IComponent>,
    setup: Setup,
    buses: Buses,
    lists: bool,
    room: usize,
    controllers: Vec<Option<u32>>,
    input: [Vec<f32>; 2],
    output: [Vec<f32>; 2],
    heard: Vec<Timed>,
    refused: usize,
    frames_done: i64,
    /// Values that are sent with the next block, ahead of everything else.
    believed: Vec<(u32, f64)>,
}

/// Values a host has room for in one block, when it opens a project.
const ROOM_FOR_VALUES: usize = 1000;

impl Audio {
    pub(super) fn start(plugin: &Plugin, setup: Setup) -> Result<Self, Error> {
        let component = plugin.component.clone();
        let processor = component
            .cast::<IAudioProcessor>()
            .ok_or_else(|| Error::new("the plug-in cannot process"))?;
        let silence = || [(); 2].map(|()| vec![0.0; setup.max_frames as usize]);
        let mut agreed = ProcessSetup {
            processMode: ProcessModes_::kRealtime as i32,
            symbolicSampleSize: SymbolicSampleSizes_::kSample32 as i32,
            maxSamplesPerBlock: setup.max_frames as i32,
            sampleRate: setup.sample_rate,
        };
        let mut stereo = [SpeakerArr::kStereo; 1];
        let mut stereo_out = stereo;
        // SAFETY: the order of calls is the standard's; the pointers outlast them.
        unsafe {
            // A plug-in may decline and keep its own arrangement.
            processor.setBusArrangements(stereo.as_mut_ptr(), 1, stereo_out.as_mut_ptr(), 1);
            if processor.setupProcessing(&mut agreed) != kResultOk {
                return Err(Error::new(format!("the plug-in declines {setup:?}")));
            }
            for media in [MediaTypes_::kAudio, MediaTypes_::kEvent] {
                for direction in [BusDirections_::kInput, BusDirections_::kOutput] {
                    component.activateBus(media as i32, direction as i32, 0, 1);
                }
            }
            if component.setActive(1) != kResultOk {
                return Err(Error::new("the plug-in declines to be activated"));
            }
            // Some plug-ins have nothing to do here, and say so; the answer tells nothing.
            processor.setProcessing(1);
        }
        Ok(Self {
            processor,
            controllers: controllers(&component),
            component,
            setup,
            buses: Buses::Stereo,
            lists: true,
            room: USUAL_ROOM,
            input: silence(),
            output: silence(),
            heard: Vec::new(),
            refused: 0,
            frames_done: 0,
            believed: Vec::new(),
        })
    }

    /// One block, on whichever thread calls; of no frames, it tells the plug-in of parameters.
    ///
    /// # Errors
    /// The block is longer than agreed, holds an event that VST3 has no way to deliver, or the
    /// plug-in reports a failure or leaves an event outside the block.
    pub fn process(&mut self, block: &Block) -> Result<&[Timed], Error> {
        let frames = block.frames();
        if frames > self.setup.max_frames {
            return Err(Error::new(format!(
                "a block of {frames} frames: up to {} were agreed upon",
                self.setup.max_frames
            )));
        }
        let (events, changes) = self.deliver(block)?;
        self.believed.clear();
        let outlet = EventList::with_room(self.room);
        let moved = Changes::none();
        let result = self.call(block, &events, &changes, &outlet, &moved);
        self.frames_done += i64::from(frames);
        self.refused = outlet.refused.load(Ordering::Relaxed);
        self.heard.clear();
        self.heard.extend(outlet.events.borrow().iter().map(read));
        self.heard.extend(moved_values(&moved));
        if result != kResultOk {
            return Err(Error::new(format!(
                "the plug-in failed to process: {result}"
            )));
        }
        match self.heard.iter().find(|event| event.frame >= frames.max(1)) {
            Some(late) => Err(Error::new(format!(
                "the plug-in left {late:?} in a block of {frames} frames"
            ))),
            None => Ok(&self.heard),
        }
    }

    fn call(
        &mut self,
        block: &Block,
        events: &ComWrapper<EventList>,
        changes: &ComWrapper<Changes>,
        outlet: &ComWrapper<EventList>,
        moved: &ComWrapper<Changes>,
    ) -> tresult {
        let null = std::ptr::null_mut::<c_void>();
        let list = |list: &ComWrapper<EventList>| {
            list.as_com_ref::<IEventList>()
                .filter(|_| self.lists)
                .map_or(null, |list| list.as_ptr().cast())
        };
        let course = |changes: &ComWrapper<Changes>| {
            changes
                .as_com_ref::<IParameterChanges>()
                .filter(|_| self.lists)
                .map_or(null, |changes| changes.as_ptr().cast())
        };
        let (inputs_events, outputs_events) = (list(events), list(outlet));
        let (inputs_changes, outputs_changes) = (course(changes), course(moved));
        let mut context = block.transport.map(|transport| self.context(transport));
        let mut input = channels(&mut self.input, self.buses);
        let mut output = channels(&mut self.output, self.buses);
        let mut inputs = [bus(&mut input, self.buses)];
        let mut outputs = [bus(&mut output, self.buses)];
        let (has_input, has_output) = match self.buses {
            Buses::Missing => (false, false),
            Buses::NoOutput => (true, false),
            Buses::NoInput => (false, true),
            _ => (true, true),
        };
        let mut data = ProcessData {
            processMode: ProcessModes_::kRealtime as i32,
            symbolicSampleSize: SymbolicSampleSizes_::kSample32 as i32,
            numSamples: block.frames() as i32,
            numInputs: i32::from(has_input),
            numOutputs: i32::from(has_output),
            inputs: if has_input {
                inputs.as_mut_ptr()
            } else {
                null.cast()
            },
            outputs: if has_output {
                outputs.as_mut_ptr()
            } else {
                null.cast()
            },
            inputParameterChanges: inputs_changes.cast(),
            outputParameterChanges: outputs_changes.cast(),
            inputEvents: inputs_events.cast(),
            outputEvents: outputs_events.cast(),
            processContext: context.as_mut().map_or(null.cast(), |it| it as *mut _),
        };
        // SAFETY: everything `data` points to lives until the call returns, and each channel
        // has room for the longest block agreed upon.
        unsafe { self.processor.process(&mut data) }
    }

    /// Splits a block's events into what VST3 sends as events and what it sends as parameters.
    fn deliver(
        &self,
        block: &Block,
    ) -> Result<(ComWrapper<EventList>, ComWrapper<Changes>), Error> {
        let changes = Changes::none();
        let mut events = Vec::new();
        for (parameter, value) in &self.believed {
            changes.add(*parameter, 0, *value);
        }
        for timed in block.events() {
            let frame = timed.frame as i32;
            match timed.event {
                host::Event::NoteOn { note, velocity } => {
                    events.push(note_on(frame, note, velocity));
                }
                host::Event::NoteOff { note, velocity } => {
                    events.push(note_off(frame, note, velocity));
                }
                host::Event::Midi(bytes) => {
                    let (parameter, value) = self.controller(bytes)?;
                    changes.add(parameter, frame, value);
                }
                host::Event::Value { parameter, value } => changes.add(parameter, frame, value),
                other => {
                    return Err(Error::new(format!(
                        "this VST3 host has no way to deliver {other:?}"
                    )));
                }
            }
        }
        Ok((EventList::of(events), changes))
    }

    /// The hidden parameter that stands for a MIDI message, and its normalised value.
    fn controller(&self, [status, first, second]: [u8; 3]) -> Result<(u32, f64), Error> {
        let (number, value) = match status & 0xF0 {
            0xB0 => (first, f64::from(second) / 127.0),
            0xD0 => (PRESSURE, f64::from(first) / 127.0),
            0xE0 => {
                let bend = u16::from(first) | u16::from(second) << 7;
                (BEND, f64::from(bend) / 16_383.0)
            }
            _ => {
                return Err(Error::new(format!(
                    "VST3 has no way to deliver the MIDI message {status:#04x}"
                )));
            }
        };
        let channel = status & 15;
        self.controllers[usize::from(channel) * CONTROLLERS + usize::from(number)]
            .map(|parameter| (parameter, value))
            .ok_or_else(|| {
                Error::new(format!(
                    "the plug-in takes no controller {number} on channel {}",
                    channel + 1
                ))
            })
    }

    fn context(&self, transport: Transport) -> ProcessContext {
        use ProcessContext_::StatesAndFlags_ as Flag;
        // SAFETY: plain numbers, of which zero is one.
        let mut context: ProcessContext = unsafe { std::mem::zeroed() };
        let mut set = |flag, condition: bool| {
            if condition {
                context.state |= flag;
            }
        };
        set(Flag::kPlaying, transport.playing);
        set(Flag::kRecording, transport.recording);
        set(Flag::kTempoValid, transport.tempo.is_some());
        set(Flag::kProjectTimeMusicValid, transport.beats.is_some());
        set(Flag::kTimeSigValid, transport.signature.is_some());
        set(
            Flag::kCycleActive | Flag::kCycleValid,
            transport.cycle.is_some(),
        );
        set(Flag::kContTimeValid, true);
        let rate = self.setup.sample_rate;
        let (numerator, denominator) = transport.signature.unwrap_or((0, 0));
        let (start, end) = transport.cycle.unwrap_or((0.0, 0.0));
        ProcessContext {
            sampleRate: rate,
            projectTimeSamples: (transport.seconds.unwrap_or(0.0) * rate).round() as i64,
            continousTimeSamples: self.frames_done,
            projectTimeMusic: transport.beats.unwrap_or(0.0),
            tempo: transport.tempo.unwrap_or(0.0),
            timeSigNumerator: i32::from(numerator),
            timeSigDenominator: i32::from(denominator),
            cycleStartMusic: start,
            cycleEndMusic: end,
            ..context
        }
    }

    /// Sends these values with the next block, as many as there is room for.
    pub(super) fn believe(&mut self, values: impl Iterator<Item = (u32, f64)>) {
        self.believed = values.take(ROOM_FOR_VALUES).collect();
    }

    /// The plug-in's events of the last block, in the order it left them; parameters it moved
    /// come last.
    pub fn heard(&self) -> &[Timed] {
        &self.heard
    }

    /// Hands over other buses from now on.
    pub fn set_buses(&mut self, buses: Buses) {
        self.buses = buses;
    }

    /// From now on hands over null pointers in place of the lists of events and parameters, as
    /// a host may when it has none; events of a block are then not delivered.
    pub fn without_lists(&mut self) {
        self.lists = false;
    }

    /// How many events fit into the host's list in one block. Common hosts have room for few:
    /// the list in the standard's own kit holds 50.
    pub fn set_room(&mut self, events: usize) {
        self.room = events;
    }

    /// How often the plug-in was turned away in the last block.
    pub fn refused(&self) -> usize {
        self.refused
    }

    /// The audio handed over with the coming blocks, left and right; silence unless changed.
    pub fn input(&mut self) -> &mut [Vec<f32>; 2] {
        &mut self.input
    }

    /// The audio of the last block, left and right, from its frame 0 on.
    pub fn output(&self) -> &[Vec<f32>; 2] {
        &self.output
    }
}

impl Drop for Audio {
    fn drop(&mut self) {
        // SAFETY: the end of what `start` began.
        unsafe {
            self.processor.setProcessing(0);
            self.component.setActive(0);
        }
    }
}

/// The numbers of `IMidiMapping`: 128 controllers, pressure, bend.
const CONTROLLERS: usize = 130;

/// The hidden parameter of each controller, channel by channel.
fn controllers(component: &ComPtr<IComponent>) -> Vec<Option<u32>> {
    let mapping = component.cast::<IMidiMapping>();
    (0..16 * CONTROLLERS)
        .map(|index| {
            let (channel, number) = (index / CONTROLLERS, index % CONTROLLERS);
            let mut parameter = 0;
            // SAFETY: there is room for one number.
            let result = unsafe {
                mapping.as_ref()?.getMidiControllerAssignment(
                    0,
                    channel as i16,
                    number as i16,
                    &mut parameter,
                )
            };
            (result == kResultOk).then_some(parameter)
        })
        .collect()
}

fn channels(buffers: &mut [Vec<f32>; 2], buses: Buses) -> [*mut f32; 2] {
    match buses {
        Buses::NullChannels => [std::ptr::null_mut(); 2],
        _ => buffers.each_mut().map(|buffer| buffer.as_mut_ptr()),
    }
}

fn bus(channels: &mut [*mut f32; 2], buses: Buses) -> AudioBusBuffers {
    let (count, pointer) = match buses {
        Buses::NullBus => (2, std::ptr::null_mut()),
        Buses::NoChannels => (0, std::ptr::null_mut()),
        _ => (2, channels.as_mut_ptr()),
    };
    AudioBusBuffers {
        numChannels: count,
        silenceFlags: 0,
        __field0: AudioBusBuffers__type0 {
            channelBuffers32: pointer,
        },
    }
}

fn event(frame: i32, kind: Event_::EventTypes, what: Event__type0) -> Event {
    Event {
        busIndex: 0,
        sampleOffset: frame,
        ppqPosition: 0.0,
        flags: 0,
        r#type: kind as u16,
        __field0: what,
    }
}

/// What is any to CLAP is −1 here, which a plug-in may or may not take for a wildcard.
fn specific<T: TryInto<N>, N: From<i8>>(value: Option<T>) -> N {
    value
        .and_then(|value| value.try_into().ok())
        .unwrap_or(N::from(-1))
}

fn note_on(frame: i32, note: Address, velocity: f64) -> Event {
    let what = NoteOnEvent {
        channel: specific(note.channel),
        pitch: specific(note.key),
        tuning: 0.0,
        velocity: velocity as f32,
        length: 0,
        noteId: specific(note.id),
    };
    event(
        frame,
        Event_::EventTypes_::kNoteOnEvent,
        Event__type0 { noteOn: what },
    )
}

fn note_off(frame: i32, note: Address, velocity: f64) -> Event {
    let what = NoteOffEvent {
        channel: specific(note.channel),
        pitch: specific(note.key),
        velocity: velocity as f32,
        noteId: specific(note.id),
        tuning: 0.0,
    };
    event(
        frame,
        Event_::EventTypes_::kNoteOffEvent,
        Event__type0 { noteOff: what },
    )
}

fn read(event: &Event) -> Timed {
    use Event_::EventTypes_ as Kind;
    const NOTE_ON: u16 = Kind::kNoteOnEvent as u16;
    const NOTE_OFF: u16 = Kind::kNoteOffEvent as u16;
    const CONTROLLER_OUT: u16 = Kind::kLegacyMIDICCOutEvent as u16;
    let address = |channel: i16, key: i16, id: i32| Address {
        channel: u16::try_from(channel).ok(),
        key: u16::try_from(key).ok(),
        id: u32::try_from(id).ok(),
    };
    // SAFETY: the kind says which of the structures it is; all are plain numbers.
    let what = unsafe {
        match event.r#type {
            NOTE_ON => {
                let it = event.__field0.noteOn;
                host::Event::NoteOn {
                    note: address(it.channel, it.pitch, it.noteId),
                    velocity: f64::from(it.velocity),
                }
            }
            NOTE_OFF => {
                let it = event.__field0.noteOff;
                host::Event::NoteOff {
                    note: address(it.channel, it.pitch, it.noteId),
                    velocity: f64::from(it.velocity),
                }
            }
            CONTROLLER_OUT => midi(event.__field0.midiCCOut),
            _ => host::Event::Other(event.r#type),
        }
    };
    what.at(u32::try_from(event.sampleOffset).unwrap_or(u32::MAX))
}

/// A controller on its way out, as the MIDI message it stands for.
fn midi(it: LegacyMIDICCOutEvent) -> host::Event {
    let channel = it.channel as u8 & 15;
    let (first, second) = (it.value as u8 & 127, it.value2 as u8 & 127);
    host::Event::Midi(match it.controlNumber {
        number @ 0..=127 => [0xB0 | channel, number, first],
        PRESSURE => [0xD0 | channel, first, 0],
        BEND => [0xE0 | channel, first, second],
        130 => [0xC0 | channel, first, 0],
        _ => return host::Event::Other(u16::from(it.controlNumber)),
    })
}

fn moved_values(moved: &Changes) -> Vec<Timed> {
    let queues = moved.0.borrow();
    queues
        .iter()
        .flat_map(|queue| {
            let points = queue.points.borrow().clone();
            points.into_iter().map(|(frame, value)| {
                host::Event::Value {
                    parameter: queue.parameter,
                    value,
                }
                .at(u32::try_from(frame).unwrap_or(u32::MAX))
            })
        })
        .collect()
}
