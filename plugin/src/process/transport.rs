//! The host's transport in the engine's words: where the song is, and in which bar.

use crate::feed::Bars;
use nice_plug::prelude::Transport as HostTransport;
use procession_core::clock::Transport;
use procession_core::metre::{Grouping, Metre};
use procession_core::time::Beats;

/// Whether the song rolls, how fast, and where it is.
pub(super) fn heard_from(transport: &HostTransport) -> Transport {
    Transport {
        playing: transport.playing,
        tempo: transport.tempo,
        position: transport.pos_beats(),
    }
}

/// The host's time signature, if it tells one.
fn metre(transport: &HostTransport) -> Option<Metre> {
    let count = u32::try_from(transport.time_sig_numerator?).ok()?;
    let unit = u32::try_from(transport.time_sig_denominator?).ok()?;
    Metre::new(count, unit)
}

/// Where a bar begins, if the host tells. The program's song is its own, and begins with one.
pub(super) fn bar_start(transport: &HostTransport, is_own: bool) -> Option<Beats> {
    transport.bar_start_pos_beats().filter(|_| !is_own)
}

/// The bars of the song. The program's song is its own, and begins with one.
pub(super) fn bars(transport: &HostTransport, is_own: bool, grouping: Grouping) -> Bars {
    let metre = metre(transport);
    let counted = grouping.of(metre, is_own);
    let length = counted.map_or(beats_per_bar(transport), Metre::bar);
    let told = transport.bar_start_pos_beats().zip(transport.bar_number());
    let first = match told.filter(|_| !is_own) {
        Some((start, number)) => start - f64::from(number) * length,
        None => 0.0,
    };
    Bars {
        length,
        first,
        metre,
        counted,
    }
}

/// Quarter notes a bar; 4 if the host tells none.
fn beats_per_bar(transport: &HostTransport) -> f64 {
    match (transport.time_sig_numerator, transport.time_sig_denominator) {
        (Some(beats), Some(unit)) if beats > 0 && unit > 0 => {
            f64::from(beats) * 4.0 / f64::from(unit)
        }
        _ => 4.0,
    }
}
