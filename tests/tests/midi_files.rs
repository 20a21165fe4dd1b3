//! MIDI files as others see them: what we write, read by an independent library, and the reverse.
//!
//! The library is `midi_file`, which shares no code with the one the product uses.

use midi_file::MidiFile;
use midi_file::core::{Channel as TheirChannel, Message, NoteNumber, Velocity as TheirVelocity};
use midi_file::file::{Division, Event, Format, MetaEvent, QuarterNoteDivision, QuartersPerMinute};
use procession_core::exchange::midi::{Excerpt, Score, Track, TrackNote, read_phrase, write};
use procession_core::note::{Channel, Key, Velocity};
use procession_core::phrase::Phrase;

const SIXTEENTH: f64 = 0.25;

/// A line for a night crossing, round and round, the second voice a step ahead from the start.
fn crossing(cycles: u32) -> Score {
    let phrase = Phrase::from_text("D4 F4 . A4 C5 A4 G4 - F4 . E4 .", SIXTEENTH)
        .expect("these are notes, rests and a hold");
    let voice = |name: &str, channel: u8, ahead: f64| Track {
        name: name.to_owned(),
        channel: Channel::new(channel).expect("there are sixteen"),
        program: Some(12),
        pan: Some(20 + 60 * channel),
        notes: (0..cycles)
            .flat_map(|cycle| {
                let start = f64::from(cycle) * phrase.length() + SIXTEENTH - ahead;
                phrase.notes().iter().map(move |note| TrackNote {
                    on: start + note.onset,
                    off: start + note.onset + note.length,
                    key: note.key,
                    velocity: Velocity::new(0.6),
                })
            })
            .collect(),
    };
    Score {
        name: "Eight notes round and round".to_owned(),
        tempo: vec![(0.0, 132.0), (24.0, 120.0)],
        metre: vec![(0.0, (3, 4))],
        markers: vec![
            (0.0, "Unison".to_owned()),
            (24.0, "One step ahead".to_owned()),
        ],
        tracks: vec![voice("Steady", 0, 0.0), voice("Copy 1", 1, SIXTEENTH)],
    }
}

/// Everything in a track with the tick it happens on.
fn placed(track: &midi_file::file::Track) -> Vec<(u32, &Event)> {
    let mut now = 0;
    track
        .events()
        .map(|event| {
            now += event.delta_time();
            (now, event.event())
        })
        .collect()
}

/// On and off tick, channel, key, velocity: each end taken for the latest stroke of its key.
fn notes(track: &midi_file::file::Track) -> Vec<(u32, u32, u8, u8, u8)> {
    let mut notes: Vec<(u32, Option<u32>, u8, u8, u8)> = Vec::new();
    for (tick, event) in placed(track) {
        match event {
            Event::Midi(Message::NoteOn(note)) => {
                let (channel, key) = (note.channel().get(), note.note_number().get());
                notes.push((tick, None, channel, key, note.velocity().get()));
            }
            Event::Midi(Message::NoteOff(note)) => {
                let key = note.note_number().get();
                let open = notes.iter_mut().rev().find(|n| n.3 == key && n.1.is_none());
                open.expect("an end has its stroke").1 = Some(tick);
            }
            _ => (),
        }
    }
    let ended = |(on, off, channel, key, velocity): (u32, Option<u32>, u8, u8, u8)| {
        (
            on,
            off.expect("a stroke has its end"),
            channel,
            key,
            velocity,
        )
    };
    notes.into_iter().map(ended).collect()
}

#[test]
fn another_library_reads_every_note_on_its_tick() {
    let score = crossing(16);
    let bytes = write(&score).unwrap();
    let file = MidiFile::read(&bytes[..]).unwrap();
    assert_eq!(file.header().format(), Format::Multi);
    let division = Division::QuarterNote(QuarterNoteDivision::new(960));
    assert_eq!(file.header().division(), division);
    assert_eq!(file.tracks_len(), 3);
    for (index, voice) in score.tracks.iter().enumerate() {
        let heard = notes(file.track(index as u32 + 1).unwrap());
        // Sixteenths are exactly 240 ticks, so nothing is rounded here.
        let ticks = |beats: f64| (beats * 960.0) as u32;
        let expected: Vec<_> = voice
            .notes
            .iter()
            .map(|note| {
                let (channel, key) = (voice.channel.number(), note.key.number());
                (ticks(note.on), ticks(note.off), channel, key, 76)
            })
            .collect();
        assert_eq!(heard, expected);
    }
}

#[test]
fn another_library_reads_names_tempos_metre_and_markers() {
    let bytes = write(&crossing(16)).unwrap();
    let file = MidiFile::read(&bytes[..]).unwrap();
    let tell = |index: u32| -> Vec<String> {
        let told = |(tick, event): (u32, &Event)| match event {
            Event::Meta(MetaEvent::TrackName(name)) => {
                Some(format!("{tick} name {}", name.as_str()))
            }
            Event::Meta(MetaEvent::Marker(text)) => {
                Some(format!("{tick} marker {}", text.as_str()))
            }
            Event::Meta(MetaEvent::SetTempo(micros)) => {
                Some(format!("{tick} tempo {}", micros.get()))
            }
            Event::Meta(MetaEvent::TimeSignature(metre)) => Some(format!(
                "{tick} metre {}/{:?}",
                metre.numerator(),
                metre.denominator()
            )),
            Event::Midi(Message::ProgramChange(program)) => {
                Some(format!("{tick} program {}", program.program().get()))
            }
            Event::Midi(Message::Control(control)) => Some(format!(
                "{tick} {:?} {}",
                control.control(),
                control.value().get()
            )),
            Event::Meta(MetaEvent::EndOfTrack) => Some(format!("{tick} end")),
            _ => None,
        };
        placed(file.track(index).unwrap())
            .into_iter()
            .filter_map(told)
            .collect()
    };
    // The last note of the steady voice, E4 on step 11 of 12, ends 16 cycles of 3 beats on.
    assert_eq!(
        tell(0),
        [
            "0 name Eight notes round and round",
            "0 metre 3/Quarter",
            "0 tempo 454545",
            "0 marker Unison",
            "23040 tempo 500000",
            "23040 marker One step ahead",
            "46080 end",
        ]
    );
    assert_eq!(
        tell(1),
        ["0 name Steady", "0 program 12", "0 Pan 20", "46080 end"]
    );
    assert_eq!(
        tell(2),
        ["0 name Copy 1", "0 program 12", "0 Pan 80", "46080 end"]
    );
}

#[test]
fn a_phrase_that_another_library_wrote_is_read() {
    let mut track = midi_file::file::Track::default();
    let (channel, velocity) = (TheirChannel::new(3), TheirVelocity::new(80));
    let off = TheirVelocity::new(0);
    track.set_name("Lower deck").unwrap();
    track.push_tempo(0, QuartersPerMinute::new(90)).unwrap();
    for (rest, number) in [(0, 62), (120, 65), (120, 69), (120, 67)] {
        let key = NoteNumber::new(number);
        track.push_note_on(rest, channel, key, velocity).unwrap();
        track.push_note_off(120, channel, key, off).unwrap();
    }
    for (format, running_status) in [(Format::Single, true), (Format::Multi, false)] {
        let division = Division::QuarterNote(QuarterNoteDivision::new(480));
        let settings = midi_file::Settings::new()
            .format(format)
            .running_status(running_status)
            .divisions(division);
        let mut file = MidiFile::new_with_settings(settings);
        file.push_track(track.clone()).unwrap();
        let mut bytes = Vec::new();
        file.write(&mut bytes).unwrap();

        let read = read_phrase(&bytes, SIXTEENTH, &Excerpt::default()).unwrap();
        let heard: Vec<_> = read
            .phrase
            .notes()
            .iter()
            .map(|note| {
                (
                    note.onset,
                    note.length,
                    note.key.number(),
                    note.velocity.midi(),
                )
            })
            .collect();
        let expected = [62, 65, 69, 67].map(Key::new).map(Option::unwrap);
        let expected: Vec<_> = (0..4_u32)
            .map(|index| {
                (
                    f64::from(index) * 0.5,
                    0.25,
                    expected[index as usize].number(),
                    80,
                )
            })
            .collect();
        assert_eq!(heard, expected);
        assert_eq!(read.phrase.length(), 2.0);
        assert_eq!(read.name.as_deref(), Some("Lower deck"));
        assert!((read.tempo.unwrap() - 90.0).abs() < 1e-3);
    }
}
