//! What `tests/references/speech.py` asks: for each sound file named, the pitch of every frame in
//! hertz (0 where there is none), and how many seconds the tracker worked.

#![allow(
    clippy::unwrap_used,
    clippy::print_stdout,
    clippy::disallowed_types,
    clippy::disallowed_methods,
    reason = "an example, which measures what the tracker works"
)]

use procession_core::speech::{HOP, PitchTrack, Recording};
use std::time::Instant;

fn main() {
    let told: Vec<_> = std::env::args().skip(1).map(|path| told(&path)).collect();
    println!("{}", serde_json::Value::Array(told));
}

fn told(path: &str) -> serde_json::Value {
    let mut reader = hound::WavReader::open(path).unwrap();
    let rate = f64::from(reader.spec().sample_rate);
    let samples = reader.samples::<f32>().map(Result::unwrap).collect();
    let recording = Recording::new(samples, rate).unwrap();
    // The first time is slower: the transforms are made, the memory is fetched.
    let mut work = f64::INFINITY;
    let mut track = PitchTrack::default();
    for _ in 0..3 {
        let begun = Instant::now();
        track = PitchTrack::of(&recording);
        work = work.min(begun.elapsed().as_secs_f64());
    }
    let hertz: Vec<f64> = (track.frames().iter())
        .map(|frame| frame.hertz.unwrap_or(0.0))
        .collect();
    serde_json::json!({
        "hop": HOP,
        "seconds": recording.seconds(),
        "work": work,
        "hertz": hertz,
    })
}
