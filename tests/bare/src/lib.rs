//! A plug-in of the same framework, with as many parameters, that hands on events and audio and does
//! nothing else: what the framework takes for itself of every block. The floor of `cargo xtask
//! bench`.

use nice_plug::prelude::*;
use std::sync::Arc;

/// Every parameter of Procession, each with the lines that describe it indented below.
const PARAMETERS: &str = include_str!("../../../plugin/tests/parameters.txt");

/// One parameter.
#[derive(Params)]
struct Parameter {
    #[id = "value"]
    value: FloatParam,
}

/// All of them.
#[derive(Params)]
struct Parameters {
    #[nested(array, group = "Parameter")]
    all: Vec<Parameter>,
}

impl Default for Parameters {
    fn default() -> Self {
        let named = PARAMETERS.lines().filter(|line| !line.starts_with(' '));
        let range = FloatRange::Linear { min: 0.0, max: 1.0 };
        let parameter = |name: &str| Parameter {
            value: FloatParam::new(name, 0.0, range),
        };
        Self {
            all: named.map(parameter).collect(),
        }
    }
}

/// The plug-in.
#[derive(Default)]
struct Bare {
    parameters: Arc<Parameters>,
}

// As Procession declares itself, but for the window.
impl Plugin for Bare {
    const NAME: &'static str = "Bare";
    const VENDOR: &'static str = "Procession";
    const URL: &'static str = "";
    const EMAIL: &'static str = "";
    const VERSION: &'static str = env!("CARGO_PKG_VERSION");
    const AUDIO_IO_LAYOUTS: &'static [AudioIOLayout] = &[AudioIOLayout {
        main_input_channels: NonZeroU32::new(2),
        main_output_channels: NonZeroU32::new(2),
        ..AudioIOLayout::const_default()
    }];
    const MIDI_INPUT: MidiConfig = MidiConfig::MidiCCs;
    const MIDI_OUTPUT: MidiConfig = MidiConfig::MidiCCs;
    const SAMPLE_ACCURATE_AUTOMATION: bool = true;

    type Editor = ();
    type SysExMessage = ();
    type BackgroundTask = ();

    fn params(&self) -> Arc<dyn Params> {
        self.parameters.clone()
    }

    fn process(
        &mut self,
        _: &mut Buffer,
        _: &mut AuxiliaryBuffers,
        context: &mut impl ProcessContext<Self>,
    ) -> ProcessStatus {
        while let Some(event) = context.next_event() {
            // What the host has no room for is lost: this plug-in remembers nothing.
            let _ = context.try_send_event(event);
        }
        ProcessStatus::Normal
    }
}

impl ClapPlugin for Bare {
    const CLAP_ID: &'static str = "ProcessionBare";
    const CLAP_DESCRIPTION: Option<&'static str> = None;
    const CLAP_MANUAL_URL: Option<&'static str> = None;
    const CLAP_SUPPORT_URL: Option<&'static str> = None;
    const CLAP_FEATURES: &'static [ClapFeature] = &[ClapFeature::NoteEffect];
}

#[allow(
    clippy::disallowed_types,
    reason = "the framework's: a host enters here before any audio thread is"
)]
mod entry {
    use super::*;

    nice_export_clap!(Bare);
}
