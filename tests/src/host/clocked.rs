//! Blocks with a clock on them: how long `process` takes, and nothing around it.
//!
//! What a host does for a block, laying out its lists and looking through what comes back, is done
//! beforehand or left out. Between two looks at the clock there is the call that CLAP has for it.
#![expect(
    unsafe_code,
    reason = "a plug-in's process takes C structures, trusted to be as CLAP has them"
)]

use super::handlers::as_audio_thread;
use super::{Block, Error, Plugin, Processing};
use clack_host::events::io::EventBuffer;
use clap_sys::audio_buffer::clap_audio_buffer;
use clap_sys::events::{
    clap_event_header, clap_event_transport, clap_input_events, clap_output_events,
};
use clap_sys::plugin::clap_plugin;
use clap_sys::process::{CLAP_PROCESS_CONTINUE, CLAP_PROCESS_ERROR, clap_process};
use std::ptr::{from_mut, from_ref, null, null_mut};
use std::time::{Duration, Instant};

/// Blocks made ready: nothing is left to do for them but to be played.
pub struct Prepared(Vec<Ready>);

struct Ready {
    frames: u32,
    /// Kept for those that point into it.
    _written: EventBuffer,
    _told: EventBuffer,
    events: Vec<*const clap_event_header>,
    transport: *const clap_event_transport,
}

impl Prepared {
    /// These blocks, in this order.
    pub fn of(blocks: impl IntoIterator<Item = Block>) -> Self {
        Self(blocks.into_iter().map(Ready::of).collect())
    }

    /// How many there are.
    pub fn len(&self) -> usize {
        self.0.len()
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}

impl Ready {
    fn of(block: Block) -> Self {
        let mut written = EventBuffer::new();
        for event in &block.events {
            event.write_to(&mut written);
        }
        let mut told = EventBuffer::new();
        if let Some(transport) = block.transport {
            told.push(&transport.to_clap(0));
        }
        let headers = |list: &EventBuffer| -> Vec<*const clap_event_header> {
            list.iter().map(|event| event.as_raw()).collect()
        };
        let (events, transport) = (headers(&written), headers(&told));
        Self {
            frames: block.frames,
            _written: written,
            _told: told,
            events,
            transport: transport.first().map_or(null(), |header| header.cast()),
        }
    }
}

/// How long blocks took.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Clocked {
    /// One block, on average.
    pub mean: Duration,
    /// Events that the plug-in left, in all of them.
    pub left: usize,
}

impl Plugin<Processing> {
    /// Plays blocks one after another under one clock.
    ///
    /// # Errors
    /// There is none, one is longer than agreed, or the plug-in reports a failure.
    pub fn clock(&mut self, blocks: &Prepared) -> Result<Clocked, Error> {
        let mut stage = self.audio.stage(blocks)?;
        let took = as_audio_thread(|| stage.run(&blocks.0))?;
        let left = stage.outlet.left;
        // What the loop itself takes, which was built without optimising.
        stage.process = nothing;
        let empty = stage.run(&blocks.0)?;
        self.main.run_callbacks();
        Ok(Clocked {
            mean: took.saturating_sub(empty).div_f64(blocks.0.len() as f64),
            left,
        })
    }

    /// Plays blocks one after another, each under a clock of its own, which tells how long this
    /// thread has worked, whatever else the machine did. Looking at that clock takes a fraction of a
    /// microsecond, which is counted.
    ///
    /// # Errors
    /// As for [`Self::clock`].
    pub fn clock_each(&mut self, blocks: &Prepared) -> Result<Vec<Duration>, Error> {
        let mut stage = self.audio.stage(blocks)?;
        let each = as_audio_thread(|| {
            let one = |block| {
                let begun = worked();
                stage.play(block)?;
                Ok(worked().saturating_sub(begun))
            };
            blocks.0.iter().map(one).collect()
        });
        self.main.run_callbacks();
        each
    }
}

/// How long this thread has worked so far.
#[cfg(target_os = "linux")]
fn worked() -> Duration {
    let mut time = libc::timespec {
        tv_sec: 0,
        tv_nsec: 0,
    };
    // SAFETY: the place is ours, and the clock is one that every Linux has.
    unsafe { libc::clock_gettime(libc::CLOCK_THREAD_CPUTIME_ID, &mut time) };
    Duration::new(time.tv_sec as u64, time.tv_nsec as u32)
}

/// How long this program has run so far: no clock that everybody has tells one thread's time.
#[cfg(not(target_os = "linux"))]
fn worked() -> Duration {
    static BEGUN: std::sync::LazyLock<Instant> = std::sync::LazyLock::new(Instant::now);
    BEGUN.elapsed()
}

type Process = unsafe extern "C" fn(*const clap_plugin, *const clap_process) -> i32;

/// In the place of a plug-in.
unsafe extern "C" fn nothing(_: *const clap_plugin, _: *const clap_process) -> i32 {
    CLAP_PROCESS_CONTINUE
}

/// All that `process` is handed, laid out once.
struct Stage<'a> {
    process: Process,
    plugin: *const clap_plugin,
    outlet: Outlet,
    input: [*mut f32; 2],
    output: [*mut f32; 2],
    steady_time: i64,
    _audio: &'a mut Processing,
}

/// Takes what the plug-in leaves, and only counts it.
struct Outlet {
    left: usize,
}

impl Processing {
    fn stage(&mut self, blocks: &Prepared) -> Result<Stage<'_>, Error> {
        let frames = blocks.0.iter().map(|block| block.frames);
        let agreed = 1..=self.setup.max_frames;
        if blocks.0.is_empty() || !frames.clone().all(|frames| agreed.contains(&frames)) {
            return Err(Error::new("no blocks, or one that is longer than agreed"));
        }
        let plugin = self.processor.plugin_handle().as_raw_ptr();
        // SAFETY: it lives as long as its processor.
        let process = unsafe { (*plugin).process };
        let process = process.ok_or_else(|| Error::new("the plug-in processes nothing"))?;
        let steady_time = self.frames_done as i64;
        self.frames_done += frames.map(u64::from).sum::<u64>();
        Ok(Stage {
            process,
            plugin,
            outlet: Outlet { left: 0 },
            input: self.input.each_mut().map(Vec::as_mut_ptr),
            output: self.output.each_mut().map(Vec::as_mut_ptr),
            steady_time,
            _audio: self,
        })
    }
}

impl Stage<'_> {
    fn run(&mut self, blocks: &[Ready]) -> Result<Duration, Error> {
        let begun = Instant::now();
        for block in blocks {
            self.play(block)?;
        }
        Ok(begun.elapsed())
    }

    fn play(&mut self, block: &Ready) -> Result<(), Error> {
        let bus = |sides: &mut [*mut f32; 2]| clap_audio_buffer {
            data32: sides.as_mut_ptr(),
            data64: null_mut(),
            channel_count: 2,
            latency: 0,
            constant_mask: 0,
        };
        let (input, mut output) = (bus(&mut self.input), bus(&mut self.output));
        let listed = clap_input_events {
            ctx: from_ref(&block.events).cast_mut().cast(),
            size: Some(size),
            get: Some(get),
        };
        let left = clap_output_events {
            ctx: from_mut(&mut self.outlet).cast(),
            try_push: Some(try_push),
        };
        let process = clap_process {
            steady_time: self.steady_time,
            frames_count: block.frames,
            transport: block.transport,
            audio_inputs: &raw const input,
            audio_outputs: &raw mut output,
            audio_inputs_count: 1,
            audio_outputs_count: 1,
            in_events: &raw const listed,
            out_events: &raw const left,
        };
        self.steady_time += i64::from(block.frames);
        // SAFETY: the plug-in processes; buffers are as long as was agreed, which no block exceeds;
        // all that is pointed at lives until the call is over.
        match unsafe { (self.process)(self.plugin, &raw const process) } {
            CLAP_PROCESS_ERROR => Err(Error::new("the plug-in failed to process")),
            _ => Ok(()),
        }
    }
}

unsafe extern "C" fn size(list: *const clap_input_events) -> u32 {
    // SAFETY: made by `Stage::play`, and asked during its call.
    unsafe { (*(*list).ctx.cast::<Vec<*const clap_event_header>>()).len() as u32 }
}

unsafe extern "C" fn get(list: *const clap_input_events, index: u32) -> *const clap_event_header {
    // SAFETY: as in `size`.
    let events = unsafe { &*(*list).ctx.cast::<Vec<*const clap_event_header>>() };
    events.get(index as usize).copied().unwrap_or(null())
}

unsafe extern "C" fn try_push(
    list: *const clap_output_events,
    _: *const clap_event_header,
) -> bool {
    // SAFETY: made by `Stage::play`, and asked during its call, by one thread.
    unsafe { (*(*list).ctx.cast::<Outlet>()).left += 1 };
    true
}
