//! Writes a piece as MIDI to the path given and prints what is in it, for outside readers to
//! compare: `cargo run -p procession-core --example piece_facts -- piece.mid`.

use procession_core::exchange::midi::{Score, Track, TrackNote, write};
use procession_core::form::Form;
use procession_core::phrase::Phrase;
use procession_core::player::channel_of;
use procession_core::process::Process;
use procession_core::program::Program;
use procession_core::settings::{Growth, Settings, Shifts};
use procession_core::time::{Span, to_ticks};
use procession_core::words::stage_words;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let path = std::env::args()
        .nth(1)
        .ok_or("say where to write: piece_facts PATH.mid")?;
    let phrase = Phrase::from_text("D4 A4 . F4 C5 . E4 B4 D5 . A4 E5", 0.25)?;
    let mut settings = Settings::default();
    settings.motion.copies = 3;
    settings.motion.dwell = 2;
    settings.motion.drift = 3;
    settings.motion.shifts = Shifts::Count(4);
    settings.growth.growth = Growth::Fill;
    let process = Process::new(phrase, settings, 0.0);
    let form = Form::new(&process);
    let score = score(&process, &form);
    std::fs::write(path, write(&score)?)?;
    println!("{}", facts(&score));
    Ok(())
}

fn score(process: &Process, form: &Form) -> Score {
    let tracks = process.voices().parts().map(|voice| Track {
        name: voice.to_string(),
        channel: channel_of(voice, &process.settings().output),
        program: Some(12),
        pan: Some(64),
        notes: process
            .notes(voice, Span::new(0.0, form.end()))
            .map(|n| TrackNote {
                on: n.on,
                off: n.off,
                key: n.key,
                velocity: n.velocity,
            })
            .collect(),
    });
    Score {
        name: "Lanterns on the quay".to_owned(),
        tempo: vec![(0.0, 96.0), (60.0, 120.0)],
        metre: vec![(0.0, (3, 4))],
        markers: form
            .stages
            .iter()
            .map(|stage| (stage.span.start, stage_words(stage, process)))
            .collect(),
        tracks: tracks.collect(),
    }
}

/// As JSON: positions in ticks, tempos in beats a minute.
fn facts(score: &Score) -> String {
    let list = |items: Vec<String>| format!("[{}]", items.join(", "));
    let tracks = score.tracks.iter().map(|track| {
        let notes = track.notes.iter().map(|note| {
            let (on, off) = (to_ticks(note.on), to_ticks(note.off));
            format!(
                "[{on}, {off}, {}, {}]",
                note.key.number(),
                note.velocity.midi()
            )
        });
        format!(
            "{{\"name\": \"{}\", \"channel\": {}, \"notes\": {}}}",
            track.name,
            track.channel.number(),
            list(notes.collect())
        )
    });
    let markers = score
        .markers
        .iter()
        .map(|(at, words)| format!("[{}, \"{words}\"]", to_ticks(*at)));
    let tempo = score
        .tempo
        .iter()
        .map(|(at, bpm)| format!("[{}, {bpm}]", to_ticks(*at)));
    format!(
        "{{\"name\": \"{}\", \"programs\": {}, \"tempo\": {}, \"markers\": {}, \"tracks\": {}}}",
        score.name,
        list(
            Program::all()
                .map(|program| format!("\"{}\"", program.name()))
                .collect()
        ),
        list(tempo.collect()),
        list(markers.collect()),
        list(tracks.collect())
    )
}
