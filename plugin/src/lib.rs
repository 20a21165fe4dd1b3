//! Procession as a plug-in: the border between the host and the engine in `procession-core`.

use nice_plug::prelude::*;
use std::sync::Arc;

pub mod declaration;
pub mod handover;
pub mod params;
pub mod state;

use handover::AudioSide;
use params::Parameters;

/// The plug-in object; the audio thread owns it.
pub struct Procession {
    params: Arc<Parameters>,
    audio: AudioSide,
}

impl Default for Procession {
    fn default() -> Self {
        let (params, audio) = Parameters::new();
        Self { params, audio }
    }
}

impl Plugin for Procession {
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

    type Editor = ();
    type SysExMessage = ();
    type BackgroundTask = ();

    fn params(&self) -> Arc<dyn Params> {
        self.params.clone()
    }

    fn filter_state(state: &mut PluginState) {
        state::filter(state);
    }

    fn process(
        &mut self,
        _buffer: &mut Buffer,
        _aux: &mut AuxiliaryBuffers,
        context: &mut impl ProcessContext<Self>,
    ) -> ProcessStatus {
        let _ = self.audio.poll_incoming();
        while let Some(event) = context.next_event() {
            // A full host list loses the event; the engine will keep it for the next block.
            let _ = context.try_send_event(event);
        }
        ProcessStatus::Normal
    }
}

impl ClapPlugin for Procession {
    const CLAP_ID: &'static str = "org.procession.procession";
    const CLAP_DESCRIPTION: Option<&'static str> =
        Some("Process music from a phrase you play: phasing, additive growth, modal folding");
    const CLAP_MANUAL_URL: Option<&'static str> = None;
    const CLAP_SUPPORT_URL: Option<&'static str> = None;
    const CLAP_FEATURES: &'static [ClapFeature] = &[
        ClapFeature::NoteEffect,
        ClapFeature::NoteDetector,
        ClapFeature::Utility,
        ClapFeature::AudioEffect,
        ClapFeature::Stereo,
    ];
}

nice_export_clap!(Procession);
