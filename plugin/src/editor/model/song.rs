//! The program's song and its line to the system, in words; and what typed places mean.

use super::files::Tone;
use crate::program::line::{Backend, Come, Line};
use procession_core::time::Beats;

/// So long after the last block audio is said to have stopped, in seconds: far beyond any block.
pub const AUDIO_PATIENCE: f64 = 2.0;

/// So long after the last note notes are said to come, in seconds. Also what keeps it from
/// flickering.
pub const NOTES_LINGER: f64 = 1.5;

/// "12.3": the bar and the beat of it, both counted from 1. Beats are quarters.
pub fn bar_and_beat(position: Beats, beats_per_bar: f64) -> String {
    let (position, per_bar) = (position.max(0.0), sane(beats_per_bar));
    // A hair before a beat is on it: places are rounded on their way.
    let position = position + 1e-6;
    let bar = (position / per_bar).floor();
    let beat = (position - bar * per_bar).floor();
    format!("{}.{}", bar + 1.0, beat + 1.0)
}

/// The place that is typed: a bar ("12"), a bar and a beat ("12.3"), or a time ("1:30").
pub fn place(typed: &str, beats_per_bar: f64, tempo: f64) -> Option<Beats> {
    let text = typed.trim().to_lowercase();
    let text = text.strip_prefix("bar").unwrap_or(&text).trim();
    if text.contains(':') {
        return time(text).map(|seconds| seconds * tempo / 60.0);
    }
    let (bar, beat) = text.split_once(['.', ',']).unwrap_or((text, "1"));
    let counted = |text: &str| text.trim().parse::<u32>().ok().filter(|number| *number > 0);
    let (bar, beat) = (counted(bar)?, counted(beat)?);
    let (per_bar, beat) = (sane(beats_per_bar), f64::from(beat - 1));
    (beat < per_bar).then(|| f64::from(bar - 1) * per_bar + beat)
}

fn sane(beats_per_bar: f64) -> f64 {
    if beats_per_bar > 0.0 {
        beats_per_bar
    } else {
        4.0
    }
}

/// Seconds of "1:30" or "1:02:30".
fn time(text: &str) -> Option<f64> {
    let mut seconds = 0.0;
    for (index, part) in text.split(':').enumerate() {
        let number: u32 = part.trim().parse().ok()?;
        if index > 0 && number > 59 {
            return None;
        }
        seconds = seconds * 60.0 + f64::from(number);
    }
    Some(seconds)
}

/// What the audio line is doing. `since_block` is how many seconds ago the last block came.
pub fn audio(line: &Line, come: &Come, since_block: f64) -> (Tone, String) {
    let name = line.wired.backend.name();
    if line.wired.backend == Backend::Silent {
        return (Tone::Alarm, "Audio: none, silent".to_owned());
    }
    if since_block > AUDIO_PATIENCE {
        return (Tone::Alarm, format!("Audio: {name} has stopped"));
    }
    if come.blocks == 0 {
        return (Tone::Quiet, format!("Audio: {name} begins"));
    }
    let said = format!(
        "Audio: {name}, {} kHz, {}",
        kilohertz(come.sample_rate),
        come.frames
    );
    (Tone::Quiet, said)
}

/// What the MIDI input is doing. `since_note` is how many seconds ago the last note came.
pub fn midi(line: &Line, come: &Come, since_note: f64) -> (Tone, String) {
    let from = match (line.wired.backend, &line.wired.midi_input) {
        (Backend::Silent, _) => return (Tone::Alarm, "MIDI in: none".to_owned()),
        (Backend::Jack, _) => "JACK",
        (Backend::System, Some(name)) => name,
        (Backend::System, None) => return (Tone::Quiet, "MIDI in: none".to_owned()),
    };
    match come.notes {
        0 => (Tone::Quiet, format!("MIDI in: {from}, no note yet")),
        _ if since_note < NOTES_LINGER => (Tone::Plain, format!("MIDI in: {from}, notes come")),
        1 => (Tone::Quiet, format!("MIDI in: {from}, 1 note so far")),
        notes => (
            Tone::Quiet,
            format!("MIDI in: {from}, {notes} notes so far"),
        ),
    }
}

/// The same at length, with what can be done about it.
pub fn about(line: &Line, come: &Come) -> String {
    let wired = &line.wired;
    let mut told = Vec::new();
    match wired.backend {
        Backend::Silent => told.push(
            "There is no sound and no MIDI. Start the program again where a JACK server or the \
             system's audio is to be had; the terminal says what was tried."
                .to_owned(),
        ),
        backend => {
            let output = match &wired.output {
                Some(name) => format!("on {name}"),
                None if backend == Backend::Jack => "to the outputs that JACK connects".to_owned(),
                None => "on the system's own output".to_owned(),
            };
            told.push(format!(
                "Audio plays {output}, by {}, {} kHz, in blocks of {} frames.",
                backend.name(),
                kilohertz(come.sample_rate),
                come.frames
            ));
        }
    }
    match (wired.backend, &wired.midi_input) {
        (Backend::Silent, _) => (),
        (Backend::Jack, _) => told.push(
            "Notes come in by the MIDI port of \"procession\": connect a keyboard to it in JACK."
                .to_owned(),
        ),
        (_, Some(name)) => told.push(format!("Notes come in from {name}.")),
        (_, None) => told.push(
            "No MIDI input was named: start with --midi-input NAME to let a keyboard in; an empty \
             NAME lists those there are."
                .to_owned(),
        ),
    }
    if let Some(name) = &wired.midi_output {
        told.push(format!("Notes go out to {name}."));
    }
    told.join("\n")
}

/// "44.1", "48".
fn kilohertz(hertz: f32) -> String {
    let kilo = f64::from(hertz) / 1000.0;
    let text = format!("{kilo:.1}");
    text.strip_suffix(".0").unwrap_or(&text).to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::program::line::{Connection, line};

    #[test]
    fn a_place_is_said_by_bar_and_beat_from_1() {
        assert_eq!(bar_and_beat(0.0, 4.0), "1.1");
        assert_eq!(bar_and_beat(5.5, 4.0), "2.2");
        assert_eq!(bar_and_beat(7.0 - 1e-9, 4.0), "2.4");
        assert_eq!(bar_and_beat(6.0, 3.0), "3.1");
        // Seven eighths: three and a half quarters.
        assert_eq!(bar_and_beat(3.5, 3.5), "2.1");
        assert_eq!(bar_and_beat(3.4, 3.5), "1.4");
        assert_eq!(bar_and_beat(-1.0, 4.0), "1.1");
    }

    #[test]
    fn a_place_is_typed_as_a_bar_with_or_without_its_beat_or_as_a_time() {
        let at = |typed| place(typed, 4.0, 90.0);
        for (typed, beats) in [
            ("1", 0.0),
            ("bar 12", 44.0),
            ("12.3", 46.0),
            ("12,3", 46.0),
            ("0:10", 15.0),
            ("1:02:00", 5580.0),
        ] {
            assert_eq!(at(typed), Some(beats), "{typed}");
        }
        for typed in ["", "0", "1.0", "2.5", "-3", "soon", "1:60", "1:2.5"] {
            assert_eq!(at(typed), None, "{typed}");
        }
    }

    #[test]
    fn what_is_said_of_a_place_means_that_place() {
        for beats in 0..64 {
            let beats = f64::from(beats);
            for per_bar in [3.0, 4.0, 5.0] {
                let said = bar_and_beat(beats, per_bar);
                assert_eq!(place(&said, per_bar, 120.0), Some(beats), "{said}");
            }
        }
    }

    fn told(backend: Backend, midi_input: Option<&str>, notes: u64) -> [String; 2] {
        let wired = Connection {
            backend,
            midi_input: midi_input.map(str::to_owned),
            ..Connection::default()
        };
        let (line, _) = line(wired);
        let come = Come {
            blocks: 9,
            frames: 512,
            sample_rate: 44_100.0,
            notes,
            key: 60,
        };
        [audio(&line, &come, 0.0).1, midi(&line, &come, 9.0).1]
    }

    #[test]
    fn the_line_is_told_as_it_is() {
        assert_eq!(
            told(Backend::Jack, None, 0),
            ["Audio: JACK, 44.1 kHz, 512", "MIDI in: JACK, no note yet"]
        );
        let [_, midi] = told(Backend::System, Some("Quay"), 7);
        assert_eq!(midi, "MIDI in: Quay, 7 notes so far");
        assert_eq!(told(Backend::System, None, 0)[1], "MIDI in: none");
        assert_eq!(
            told(Backend::Silent, None, 0),
            ["Audio: none, silent", "MIDI in: none"]
        );
    }

    #[test]
    fn audio_that_stops_is_said() {
        let (line, _) = line(Connection {
            backend: Backend::Jack,
            ..Connection::default()
        });
        let (tone, said) = audio(&line, &Come::default(), AUDIO_PATIENCE + 0.1);
        assert_eq!(
            (tone, said.as_str()),
            (Tone::Alarm, "Audio: JACK has stopped")
        );
    }
}
