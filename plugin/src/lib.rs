//! Procession as a plug-in: the border between the host and the engine in `procession-core`.

use nice_plug::prelude::*;
use std::sync::Arc;

pub mod audition;
pub mod bell;
mod clap;
pub mod controllers;
pub mod declaration;
#[allow(
    clippy::disallowed_types,
    clippy::disallowed_methods,
    reason = "never on the audio thread"
)]
pub mod editor;
pub mod feed;
#[allow(
    clippy::disallowed_types,
    clippy::disallowed_methods,
    reason = "never on the audio thread"
)]
pub mod files;
pub mod handover;
pub mod hearing;
pub mod microphone;
pub mod outbox;
pub mod params;
pub mod practice;
pub mod process;
pub mod program;
pub mod state;
mod vst3_keeper;

use bell::Bell;
use editor::ProcessionEditor;
use editor::grant::Gesture;
use microphone::Listener;
use params::Parameters;
use process::AudioThread;

/// The plug-in, as hosts load it.
pub type Procession = Instance<false>;

/// The same as a program of its own. It has no instrument behind it, so audition starts on; and no
/// host, so it has a song and a project of its own.
#[cfg(feature = "standalone")]
pub type Program = Instance<true>;

/// What is done on the host's main thread.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Task {
    /// A gesture of the window's.
    Gesture(Gesture),
    /// A sketch was called up, and is to come now.
    CallUp(usize),
}

/// The plug-in object; the audio thread owns it.
pub struct Instance<const PROGRAM: bool> {
    params: Arc<Parameters>,
    audio: AudioThread,
    /// Given away once, when the framework asks for it.
    editor: Option<ProcessionEditor>,
    bell: Bell,
    /// From the first activation on.
    listener: Option<Listener>,
}

impl<const PROGRAM: bool> Default for Instance<PROGRAM> {
    fn default() -> Self {
        let (params, exchange) = if PROGRAM {
            Parameters::of_program()
        } else {
            Parameters::new()
        };
        let (feed, reader) = feed::feed();
        let bell = Bell::default();
        let audio = AudioThread::new(exchange, feed, bell.clone());
        let editor = ProcessionEditor::new(params.clone(), reader, bell.clone());
        let (editor, audio) = if PROGRAM {
            let (program, program_audio) = program::program(&program::start::waiting());
            (editor.of_program(program), audio.of_program(program_audio))
        } else {
            (editor, audio)
        };
        Self {
            editor: Some(editor),
            params,
            audio,
            bell,
            listener: None,
        }
    }
}

impl<const PROGRAM: bool> Plugin for Instance<PROGRAM> {
    const NAME: &'static str = "Procession";
    const VENDOR: &'static str = "Procession";
    const URL: &'static str = "";
    const EMAIL: &'static str = "";
    const VERSION: &'static str = env!("CARGO_PKG_VERSION");

    // Some hosts load nothing without audio, so stereo comes first.
    const AUDIO_IO_LAYOUTS: &'static [AudioIOLayout] = &[
        AudioIOLayout {
            main_input_channels: NonZeroU32::new(2),
            main_output_channels: NonZeroU32::new(2),
            ..AudioIOLayout::const_default()
        },
        AudioIOLayout::const_default(),
    ];
    const MIDI_INPUT: MidiConfig = MidiConfig::MidiCCs;
    const MIDI_OUTPUT: MidiConfig = MidiConfig::MidiCCs;
    const SAMPLE_ACCURATE_AUTOMATION: bool = true;

    type Editor = ProcessionEditor;
    type SysExMessage = ();
    type BackgroundTask = Task;

    fn params(&self) -> Arc<dyn Params> {
        self.params.clone()
    }

    fn task_executor(&mut self) -> TaskExecutor<Self> {
        let parameters = self.params.clone();
        let ends = self.editor.as_ref();
        let ends = ends.map(|editor| (editor.hosts_end(), editor.caller()));
        Box::new(move |task| {
            if let Some((hosts_end, caller)) = &ends {
                match task {
                    Task::Gesture(gesture) => hosts_end.make(gesture, &parameters),
                    Task::CallUp(place) => caller.call_up(place),
                }
            }
        })
    }

    fn editor(&mut self, executor: AsyncExecutor<Self>) -> Option<ProcessionEditor> {
        let send_round = move |gesture| executor.execute_gui(Task::Gesture(gesture));
        Some(self.editor.take()?.sending_round(Arc::new(send_round)))
    }

    fn filter_state(state: &mut PluginState) {
        state::filter(state);
    }

    fn activate(
        &mut self,
        _layout: &AudioIOLayout,
        config: &BufferConfig,
        context: &mut impl ActivateContext<Self>,
    ) -> bool {
        if context.plugin_api() == PluginApi::Vst3 {
            vst3_keeper::keep_the_worker();
        }
        self.audio.prepare(config.sample_rate);
        let booth = self.params.kept.booth();
        if self.params.listens() {
            // So that the first frames are kept already.
            booth.lay_tape();
        }
        if self.listener.is_none() {
            match Listener::begin(self.params.clone(), self.bell.clone()) {
                Ok(listener) => self.listener = Some(listener),
                Err(why) => booth.is_unattended(why),
            }
        }
        true
    }

    fn reset(&mut self) {
        self.audio.reset();
    }

    fn process(
        &mut self,
        buffer: &mut Buffer,
        _aux: &mut AuxiliaryBuffers,
        context: &mut impl ProcessContext<Self>,
    ) -> ProcessStatus {
        // The framework has put the audio that comes in where it goes out.
        self.audio.process(buffer, &self.params, context)
    }
}

impl ClapPlugin for Procession {
    // The letters of the VST3 class: one identity in both formats, and no domain, which somebody
    // may own.
    const CLAP_ID: &'static str = "ProcessionPhases";
    const CLAP_DESCRIPTION: Option<&'static str> =
        Some("Process music from a phrase you play: phasing, additive growth, modal folding");
    const CLAP_MANUAL_URL: Option<&'static str> = None;
    const CLAP_SUPPORT_URL: Option<&'static str> = None;
    const CLAP_FEATURES: &'static [ClapFeature] = &[
        ClapFeature::NoteEffect,
        ClapFeature::Utility,
        ClapFeature::AudioEffect,
        ClapFeature::Stereo,
    ];
}

impl Vst3Plugin for Procession {
    const VST3_CLASS_ID: [u8; 16] = *b"ProcessionPhases";
    const VST3_SUBCATEGORIES: &'static [Vst3SubCategory] =
        &[Vst3SubCategory::Fx, Vst3SubCategory::Instrument];
}

#[allow(
    clippy::disallowed_types,
    reason = "the framework's: a host enters here before any audio thread is"
)]
mod entry {
    use super::*;

    nice_export_vst3!(Procession);
}

pub use clap::clap_entry;
pub use entry::*;
