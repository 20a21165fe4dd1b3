//! The program's own song, in place of a host's.

use crate::program::ProgramAudio;
use procession_core::clock::Transport;
use procession_core::engine::{Anchor, Controls, Engine};
use procession_core::player::Event;
use procession_core::time::Beats;

/// What the program's own song does in this block, after it has gone where it was asked to go.
pub(super) fn song(
    program: &mut ProgramAudio,
    engine: &mut Engine,
    (frames, sample_rate): (u32, f32),
    controls: &Controls,
    mut send: impl FnMut(Event),
) -> Transport {
    program.line.block(frames, sample_rate);
    let song = &mut program.song;
    if let Some(after_beginning) = song.takes_visit() {
        // What plays on the own clock is to go on playing, from there.
        if engine.is_running() && !engine.clock().is_playing() {
            song.roll();
        }
        song.go_to(beginning(engine, controls, &mut send) + after_beginning);
    }
    song.pass(frames, f64::from(sample_rate))
}

/// Where in the song the process begins. If that is open, it is at the beginning of the song from
/// now on.
fn beginning(engine: &mut Engine, controls: &Controls, mut send: impl FnMut(Event)) -> Beats {
    if engine.anchor() == Anchor::NextStart {
        let start = Transport {
            playing: true,
            tempo: None,
            position: Some(0.0),
        };
        // A moment of no length, in which nothing sounds.
        engine
            .begin(&start, 0, controls, &mut send)
            .finish(&mut send);
    }
    match engine.anchor() {
        Anchor::Song(beginning) => beginning,
        Anchor::NextStart => 0.0,
    }
}
