use super::*;
use crate::note::{Channel, Key, Velocity};
use crate::phrase::Phrase;
use midly::{MetaMessage, MidiMessage, Smf, TrackEventKind};
use proptest::prelude::*;

/// A file made by hand: format, announced tracks, division, the tracks' own bytes.
fn file(format: u8, announced: u8, division: [u8; 2], tracks: &[&[u8]]) -> Vec<u8> {
    let mut bytes = b"MThd\0\0\0\x06".to_vec();
    bytes.extend([0, format, 0, announced, division[0], division[1]]);
    for track in tracks {
        bytes.extend(b"MTrk");
        bytes.extend((track.len() as u32).to_be_bytes());
        bytes.extend(*track);
    }
    bytes
}

/// One track at 96 ticks a beat.
fn one_track(track: &[u8]) -> Vec<u8> {
    file(0, 1, [0, 96], &[track])
}

/// An end mark at once.
const END: [u8; 4] = [0, 0xFF, 0x2F, 0];

fn read(bytes: &[u8]) -> Result<ReadPhrase, MidiError> {
    read_phrase(bytes, 0.25, &Excerpt::default())
}

/// Onset, length, key, velocity.
fn notes(phrase: &Phrase) -> Vec<(Beats, Beats, u8, u8)> {
    let told = |n: &crate::note::Note| (n.onset, n.length, n.key.number(), n.velocity.midi());
    phrase.notes().iter().map(told).collect()
}

#[test]
fn a_phrase_is_read_with_running_status_and_strokes_of_no_velocity_as_ends() {
    let track = [
        &[0, 0x90, 62, 100][..], // D4
        &[48, 62, 0],            // ends, in running status
        &[0, 65, 80],            // F4
        &[24, 65, 0],
        &[24, 0xFF, 0x2F, 0], // the file ends a beat after it began
    ]
    .concat();
    let read = read(&one_track(&track)).unwrap();
    assert_eq!(
        notes(&read.phrase),
        [(0.0, 0.5, 62, 100), (0.5, 0.25, 65, 80)]
    );
    assert_eq!(read.phrase.length(), 1.0);
    assert_eq!(
        (read.tracks, read.left_out, read.tempo, read.name),
        (1, 0, None, None)
    );
}

#[test]
fn the_phrase_begins_on_the_beat_of_its_first_note() {
    // 2.5 beats of rest: 240 ticks of 96 are 81 70 as a variable-length quantity.
    let track = [&[0x81, 0x70, 0x90, 62, 100][..], &[24, 62, 0], &END].concat();
    let read = read(&one_track(&track)).unwrap();
    assert_eq!(notes(&read.phrase), [(0.5, 0.25, 62, 100)]);
    assert_eq!(read.phrase.length(), 1.0);
}

#[test]
fn the_rest_at_the_end_of_a_loop_is_kept_and_a_bar_of_it_is_not() {
    // A note of a quarter; then rests until the file ends.
    let length = |rest: &[u8]| {
        let track = [&[0, 0x90, 62, 100, 96, 62, 0][..], rest, &END[1..]].concat();
        read(&one_track(&track)).unwrap().phrase.length()
    };
    assert_eq!(length(&[24 * 3]), 1.75, "seven sixteenths");
    assert_eq!(length(&[0]), 1.0);
    assert_eq!(length(&[10]), 1.0, "no whole number of steps");
    assert_eq!(length(&[0x82, 0x68]), 4.75, "3.75 beats: 360 ticks");
    assert_eq!(length(&[0x83, 0x00]), 1.0, "four beats: 384 ticks");
}

#[test]
fn tracks_and_channels_become_one_without_the_percussion() {
    let conductor = [
        &[0, 0xFF, 0x03, 5, b'F', b'e', b'r', b'r', b'y'][..],
        // 500 000 microseconds: 120 beats a minute.
        &[0, 0xFF, 0x51, 3, 0x07, 0xA1, 0x20],
        &END,
    ]
    .concat();
    let low = [
        &[0, 0xFF, 0x03, 3, b'l', b'o', b'w'][..],
        &[0, 0x91, 50, 90, 96, 50, 0],
        &END,
    ];
    let high = [&[0, 0x94, 74, 70, 96, 74, 0][..], &END];
    let drums = [&[0, 0x99, 36, 127, 96, 36, 0][..], &END];
    let [low, high, drums] = [&low.concat(), &high.concat(), &drums.concat()];

    let all = file(1, 4, [0, 96], &[&conductor, low, high, drums]);
    let all = read(&all).unwrap();
    assert_eq!(notes(&all.phrase), [(0.0, 1.0, 50, 90), (0.0, 1.0, 74, 70)]);
    assert_eq!((all.tracks, all.left_out), (2, 1));
    assert_eq!(
        (all.tempo, all.name.as_deref()),
        (Some(120.0), Some("Ferry"))
    );

    let drums_alone = read(&file(1, 2, [0, 96], &[&conductor, drums])).unwrap();
    assert_eq!(notes(&drums_alone.phrase), [(0.0, 1.0, 36, 127)]);
}

#[test]
fn the_tempo_is_the_one_in_force_where_the_phrase_begins() {
    let track = [
        &[0, 0xFF, 0x51, 3, 0x07, 0xA1, 0x20][..],
        // From the first beat 60, from the second 240; the note begins between.
        &[96, 0xFF, 0x51, 3, 0x0F, 0x42, 0x40],
        &[48, 0x90, 62, 100],
        &[48, 0xFF, 0x51, 3, 0x03, 0xD0, 0x90],
        &[0, 0x80, 62, 64],
        &END,
    ]
    .concat();
    assert_eq!(read(&one_track(&track)).unwrap().tempo, Some(60.0));
}

#[test]
fn a_key_struck_while_down_ends_its_earlier_note_and_one_never_ended_lasts_to_the_end() {
    let track = [
        &[0, 0x90, 62, 100][..],
        &[48, 62, 90], // struck again after half a beat
        &[24, 62, 0],  // ends the second
        &[24, 62, 0],  // ends nothing
        &[0, 65, 80],  // never ended
        &[96, 0xFF, 0x2F, 0],
    ]
    .concat();
    let read = read(&one_track(&track)).unwrap();
    let expected = [(0.0, 0.5, 62, 100), (0.5, 0.25, 62, 90), (1.0, 1.0, 65, 80)];
    assert_eq!(notes(&read.phrase), expected);
    assert_eq!(read.phrase.length(), 2.0);
}

#[test]
fn two_tracks_in_unison_are_one_line() {
    let soft = [&[0, 0x90, 62, 50, 48, 62, 0][..], &END].concat();
    let hard = [&[0, 0x91, 62, 99, 24, 62, 0][..], &END].concat();
    let read = read(&file(1, 2, [0, 96], &[&soft, &hard])).unwrap();
    assert_eq!(notes(&read.phrase), [(0.0, 0.5, 62, 99)]);
    assert_eq!((read.tracks, read.left_out), (2, 1));
}

#[test]
fn a_note_of_no_length_is_still_a_note() {
    let track = [&[96, 0x90, 62, 100][..], &[0, 62, 0], &END].concat();
    let read = read(&one_track(&track)).unwrap();
    assert_eq!(notes(&read.phrase), [(0.0, 1.0 / 64.0, 62, 100)]);
    assert_eq!(read.phrase.length(), 1.0);
}

/// A quarter note.
fn note_and_end() -> Vec<u8> {
    [&[0, 0x90, 62, 100, 96, 62, 0][..], &END].concat()
}

#[test]
fn harmless_oddities_are_read_over() {
    let good = one_track(&note_and_end());
    let no_end_mark = one_track(&[0, 0x90, 62, 100, 96, 62, 0]);
    let events_after_the_end = one_track(&[&note_and_end()[..], &[0, 0x90, 70, 9]].concat());
    let more_tracks_than_announced = file(1, 1, [0, 96], &[&note_and_end(), &END]);
    let bytes_after_the_last_track = [&good[..], &[0, 0, 0, 0, 0]].concat();
    let text_after_the_last_track = [&good[..], b"made by hand, unsigned"].concat();
    let mut unknown_chunk = good.clone();
    unknown_chunk.splice(14..14, *b"XFIH\0\0\0\x02hi");
    let mut long_header = good.clone();
    long_header.splice(14..14, [0, 0]);
    long_header[7] = 8;
    let controllers = [
        &[
            0, 0xC0, 12, 0, 0xB0, 64, 127, 0, 0xE0, 0, 64, 0, 0xA0, 62, 1, 0, 0xD0, 3,
        ][..],
        &[
            0, 0xF0, 3, 1, 2, 0xF7, 0, 0xFF, 0x7F, 2, 1, 2, 0, 0xFF, 0x60, 1, 0,
        ],
        &note_and_end(),
    ]
    .concat();
    let oddities = [
        good,
        no_end_mark,
        events_after_the_end,
        more_tracks_than_announced,
        bytes_after_the_last_track,
        text_after_the_last_track,
        unknown_chunk,
        long_header,
        one_track(&controllers),
    ];
    for (index, odd) in oddities.iter().enumerate() {
        let read = read(odd).unwrap_or_else(|error| panic!("{index}: {error}"));
        assert_eq!(notes(&read.phrase), [(0.0, 1.0, 62, 100)], "{index}");
    }
}

#[test]
fn a_file_that_is_no_phrase_says_why_and_what_to_do() {
    let good = note_and_end();
    let smpte = [0xE7, 40]; // 25 frames a second, 40 ticks a frame
    let far = [&[0, 0x90, 62, 100, 0x81, 0x80, 0x80, 0, 62, 0][..], &END].concat();
    let many: Vec<u8> = (0..600_u16)
        .flat_map(|index| {
            [
                1,
                0x90,
                (index % 128) as u8,
                100,
                1,
                0x80,
                (index % 128) as u8,
                0,
            ]
        })
        .chain(END)
        .collect();
    let cases: &[(Vec<u8>, MidiError, &str)] = &[
        (vec![], MidiError::Empty, "empty"),
        (
            b"hello, this is text".to_vec(),
            MidiError::NotMidi,
            "not a MIDI file",
        ),
        (
            b"RIFF\x04\0\0\0WAVE".to_vec(),
            MidiError::NotMidi,
            "not a MIDI file",
        ),
        (
            b"MThd\0\0\0\x06\0".to_vec(),
            MidiError::Truncated,
            "too early",
        ),
        (
            b"MThd\0\0\0\x02\0\0\0\x01\0\x60".to_vec(),
            MidiError::Damaged(None),
            "damaged",
        ),
        (
            file(7, 1, [0, 96], &[&good]),
            MidiError::Damaged(None),
            "damaged",
        ),
        (
            file(2, 1, [0, 96], &[&good]),
            MidiError::SeveralPieces,
            "format 2",
        ),
        (file(0, 1, smpte, &[&good]), MidiError::FilmTime, "SMPTE"),
        (file(0, 1, [0, 0], &[&good]), MidiError::NoTicks, "no ticks"),
        (
            file(1, 2, [0, 96], &[&good]),
            MidiError::Truncated,
            "too early",
        ),
        (one_track(&END), MidiError::NoNotes, "no notes"),
        (file(1, 0, [0, 96], &[]), MidiError::NoNotes, "no notes"),
        // A key of 200; an event without a status; a real-time message inside a file.
        (
            one_track(&[0, 0x90, 200, 1, 0, 0xFF, 0x2F, 0]),
            MidiError::Damaged(Some(1)),
            "track 1",
        ),
        (
            one_track(&[0, 62, 100]),
            MidiError::Damaged(Some(1)),
            "track 1",
        ),
        (
            one_track(&[0, 0xF8]),
            MidiError::Damaged(Some(1)),
            "track 1",
        ),
        // A distance of five bytes; a text longer than its track.
        (
            one_track(&[0x81, 0x80, 0x80, 0x80, 0, 0x90, 62, 1]),
            MidiError::Damaged(Some(1)),
            "",
        ),
        (
            one_track(&[0, 0xFF, 1, 90, b'a']),
            MidiError::Damaged(Some(1)),
            "track 1",
        ),
        (one_track(&far), MidiError::TooLong(21846.0), "fewer bars"),
        (one_track(&many), MidiError::TooManyNotes(600), "600 notes"),
    ];
    for (bytes, expected, words) in cases {
        let error = read(bytes).unwrap_err();
        assert_eq!(error, *expected);
        assert!(error.to_string().contains(words), "{error}");
        // The cause, then the remedy.
        assert!(error.to_string().contains(": "), "{error}");
    }
}

fn ferry() -> Score {
    let key = |number| Key::new(number).unwrap();
    let note = |on, off, number| TrackNote {
        on,
        off,
        key: key(number),
        velocity: Velocity::new(0.5),
    };
    let voice = |name: &str, channel, notes| Track {
        name: name.to_owned(),
        channel: Channel::new(channel).unwrap(),
        program: Some(12),
        pan: Some(64),
        notes,
    };
    Score {
        name: "Night ferry".to_owned(),
        tempo: vec![(0.0, 96.0), (8.0, 132.5)],
        metre: vec![(0.0, (3, 4)), (6.0, (7, 8))],
        markers: vec![
            (0.0, "Casting off".to_owned()),
            (6.0, "Open water".to_owned()),
        ],
        tracks: vec![
            voice(
                "Steady",
                0,
                vec![note(0.0, 0.5, 62), note(1.0, 1.25, 65), note(2.0, 3.0, 69)],
            ),
            voice(
                "Copy 1",
                1,
                vec![note(1.0 / 3.0, 2.0 / 3.0, 74), note(9.75, 10.0, 62)],
            ),
        ],
    }
}

#[test]
fn a_score_is_a_conductors_track_and_a_named_track_a_voice() {
    let bytes = write(&ferry()).unwrap();
    // RP-001: MThd, length 6, format 1, three tracks, 960 ticks a quarter note.
    assert_eq!(bytes[..14], *b"MThd\0\0\0\x06\0\x01\0\x03\x03\xC0");
    let smf = Smf::parse(&bytes).unwrap();
    let name = |track: usize| match smf.tracks[track][0].kind {
        TrackEventKind::Meta(MetaMessage::TrackName(name)) => name,
        ref other => panic!("{other:?}"),
    };
    assert_eq!(
        [name(0), name(1), name(2)],
        [&b"Night ferry"[..], b"Steady", b"Copy 1"]
    );

    let mut now = 0;
    let placed = |event: &midly::TrackEvent<'static>| {
        now += event.delta.as_int();
        (now, event.kind)
    };
    let first = smf.tracks[0]
        .iter()
        .map(midly::TrackEvent::to_static)
        .collect::<Vec<_>>();
    let first: Vec<_> = first.iter().map(placed).collect();
    let meta = |tick, message| (tick, TrackEventKind::Meta(message));
    assert_eq!(
        first,
        [
            meta(0, MetaMessage::TrackName(b"")),
            meta(0, MetaMessage::TimeSignature(3, 2, 24, 8)),
            meta(0, MetaMessage::Tempo(625_000.into())),
            meta(0, MetaMessage::Marker(b"")),
            meta(5760, MetaMessage::TimeSignature(7, 3, 12, 8)),
            meta(5760, MetaMessage::Marker(b"")),
            meta(7680, MetaMessage::Tempo(452_830.into())),
            meta(9600, MetaMessage::EndOfTrack),
        ]
    );
    assert!(bytes.windows(10).any(|text| text == b"Open water"));
}

/// Tick, whether struck, key; of the voice that is track `index` of the file.
fn strokes(bytes: &[u8], index: usize) -> Vec<(u32, bool, u8)> {
    let smf = Smf::parse(bytes).unwrap();
    let mut now = 0;
    let mut strokes = Vec::new();
    for event in &smf.tracks[index] {
        now += event.delta.as_int();
        match event.kind {
            TrackEventKind::Midi {
                message: MidiMessage::NoteOn { key, vel },
                ..
            } => {
                assert!(vel.as_int() > 0);
                strokes.push((now, true, key.as_int()));
            }
            TrackEventKind::Midi {
                message: MidiMessage::NoteOff { key, .. },
                ..
            } => {
                strokes.push((now, false, key.as_int()));
            }
            _ => (),
        }
    }
    strokes
}

fn line(notes: &[(Beats, Beats, u8)]) -> Score {
    let note = |(on, off, key): &(Beats, Beats, u8)| TrackNote {
        on: *on,
        off: *off,
        key: Key::new(*key).unwrap(),
        velocity: Velocity::new(0.5),
    };
    let notes = notes.iter().map(note).collect();
    let (name, channel) = ("Steady".to_owned(), Channel::FIRST);
    let track = Track {
        name,
        channel,
        program: None,
        pan: None,
        notes,
    };
    Score {
        tracks: vec![track],
        ..Score::default()
    }
}

#[test]
fn a_note_ends_before_the_next_begins_on_the_same_tick() {
    let bytes = write(&line(&[(1.0, 2.0, 60), (0.0, 1.0, 60), (0.0, 1.0, 72)])).unwrap();
    assert_eq!(
        strokes(&bytes, 1),
        [
            (0, true, 60),
            (0, true, 72),
            (960, false, 60),
            (960, false, 72),
            (960, true, 60),
            (1920, false, 60),
        ]
    );
}

#[test]
fn a_key_struck_while_it_sounds_is_let_go_first_and_no_note_has_no_length() {
    let bytes = write(&line(&[(0.0, 3.0, 60), (1.0, 2.0, 60), (4.0, 4.0, 60)])).unwrap();
    assert_eq!(
        strokes(&bytes, 1),
        [
            (0, true, 60),
            (960, false, 60),
            (960, true, 60),
            (1920, false, 60),
            (3840, true, 60),
            (3841, false, 60),
        ]
    );
}

#[test]
fn errors_of_rounding_never_add_up() {
    // Steps of a seventh of a beat for 10 000 beats.
    let notes: Vec<_> = (0..70_000_u32)
        .map(|index| (f64::from(index) / 7.0, f64::from(index) / 7.0 + 0.1, 60))
        .collect();
    let bytes = write(&line(&notes)).unwrap();
    let ons = strokes(&bytes, 1).into_iter().filter(|(_, on, _)| *on);
    for (index, (tick, ..)) in ons.enumerate() {
        // Exactly, in whole numbers: twice the distance to the true place is at most a tick.
        let distance = (i64::from(tick) * 7 - index as i64 * 960).abs();
        assert!(distance * 2 <= 7, "note {index} at {tick}");
    }
}

#[test]
fn what_a_file_cannot_hold_is_refused() {
    let at = |on| write(&line(&[(on, on + 1.0, 60)]));
    assert_eq!(at(-0.25), Err(MidiError::Position(-0.25)));
    assert!(matches!(at(f64::NAN), Err(MidiError::Position(_))));
    assert!(matches!(at(f64::INFINITY), Err(MidiError::Position(_))));
    assert!(matches!(at(300_000.0), Err(MidiError::Position(_))));
    assert!(at(279_600.0).is_ok());
    for tempo in [0.0, -120.0, 3.0, f64::NAN, f64::INFINITY] {
        let score = Score {
            tempo: vec![(0.0, tempo)],
            ..Score::default()
        };
        assert!(matches!(write(&score), Err(MidiError::Tempo(_))), "{tempo}");
    }
    for metre in [(0, 4), (4, 0), (4, 6)] {
        let score = Score {
            metre: vec![(0.0, metre)],
            ..Score::default()
        };
        assert_eq!(write(&score), Err(MidiError::Metre(metre.0, metre.1)));
    }
    let voices = vec![line(&[]).tracks.remove(0); 65_535];
    let score = Score {
        tracks: voices,
        ..Score::default()
    };
    assert_eq!(write(&score), Err(MidiError::TooLarge));
}

#[test]
fn a_score_of_nothing_is_a_file_without_notes() {
    let bytes = write(&Score::default()).unwrap();
    assert_eq!(read(&bytes), Err(MidiError::NoNotes));
}

fn any_phrase() -> impl Strategy<Value = Phrase> {
    proptest::collection::btree_map((0..64_i64, 0..128_u8), (1..32_i64, 1..=127_u8), 1..40)
        .prop_map(|strokes| {
            let notes = strokes.iter().map(|((step, key), (steps, velocity))| {
                // No longer than until the key is struck again.
                let again = strokes
                    .keys()
                    .filter(|(s, k)| k == key && s > step)
                    .map(|(s, _)| *s);
                let steps = again
                    .min()
                    .map_or(*steps, |again| (*steps).min(again - step));
                crate::note::Note {
                    onset: *step as f64 * 0.25,
                    length: steps as f64 * 0.25,
                    key: Key::new(*key).unwrap(),
                    velocity: Velocity::new(f32::from(*velocity) / 127.0),
                    said: None,
                }
            });
            Phrase::new(notes, 64.0).unwrap()
        })
}

proptest! {
    #[test]
    fn a_phrase_that_is_written_is_read_as_it_was(phrase in any_phrase()) {
        let mut score = line(&[]);
        score.tracks[0].notes = phrase.notes().iter().map(|note| TrackNote {
            on: note.onset,
            off: note.onset + note.length,
            key: note.key,
            velocity: note.velocity,
        }).collect();
        let read = read(&write(&score).unwrap()).unwrap();
        let start = phrase.notes()[0].onset.floor();
        let expected: Vec<_> = notes(&phrase).into_iter()
            .map(|(onset, length, key, velocity)| (onset - start, length, key, velocity))
            .collect();
        // The last note may be cut at the seam, where its key comes round again.
        let length = read.phrase.length();
        let heard = notes(&read.phrase);
        prop_assert_eq!(heard.len(), expected.len());
        for (heard, expected) in heard.iter().zip(&expected) {
            prop_assert_eq!((heard.0, heard.2, heard.3), (expected.0, expected.2, expected.3));
            prop_assert!(heard.1 == expected.1 || heard.0 + heard.1 >= length);
        }
    }

    #[test]
    fn every_stroke_has_its_end_before_the_key_is_struck_again(
        notes in proptest::collection::vec((0.0..20.0_f64, -1.0..5.0_f64, 60..64_u8), 0..60)
    ) {
        let notes: Vec<_> = notes.iter()
            .map(|(on, length, key)| (*on, (on + length).max(0.0), *key)).collect();
        let bytes = write(&line(&notes)).unwrap();
        let mut down = [false; 128];
        for (_, struck, key) in strokes(&bytes, 1) {
            prop_assert_ne!(down[usize::from(key)], struck);
            down[usize::from(key)] = struck;
        }
        prop_assert!(!down.contains(&true));
    }

    #[test]
    fn no_bytes_break_the_reader(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
        let _ = read(&bytes);
        let mut headed = file(1, 1, [0, 96], &[&bytes]);
        let _ = read(&headed);
        headed.truncate(headed.len() / 2);
        let _ = read(&headed);
    }

    #[test]
    fn no_damage_to_a_good_file_breaks_the_reader(
        damage in proptest::collection::vec((any::<proptest::sample::Index>(), any::<u8>()), 1..8),
    ) {
        let mut bytes = write(&ferry()).unwrap();
        for (place, byte) in damage {
            let place = place.index(bytes.len());
            bytes[place] = byte;
        }
        if let Ok(read) = read(&bytes) {
            prop_assert!(!read.phrase.is_empty());
        }
    }

    #[test]
    fn a_file_cut_anywhere_is_refused(cut in any::<proptest::sample::Index>()) {
        let whole = write(&ferry()).unwrap();
        let kept = cut.index(whole.len());
        let error = read(&whole[..kept]).unwrap_err();
        let expected = match kept {
            0 => MidiError::Empty,
            1..4 => MidiError::NotMidi,
            _ => MidiError::Truncated,
        };
        prop_assert_eq!(error, expected);
    }
}

/// Three bars of 3/4 in the first track; the second plays on two channels. 96 ticks a beat.
fn waltz() -> Vec<u8> {
    let conductor = [
        &[0, 0xFF, 0x58, 4, 3, 2, 24, 8][..], // 3/4
        &END,
    ]
    .concat();
    let strings = [
        &[0, 0xFF, 3, 4, b'D', b'e', b'c', b'k'][..],
        &[0, 0x90, 60, 100, 0, 0x91, 48, 90], // C4, and C3 below it
        &[96, 0x80, 60, 0, 0, 0x81, 48, 0],
        // Bar 2: D4 on its second beat, held over into bar 3.
        &[0x82, 0x40, 0x90, 62, 100], // 320 ticks later: bar 2 begins at 288
        &[0x82, 0x40, 0x80, 62, 0],
        &END,
    ]
    .concat();
    let drums = [&[0, 0x99, 38, 100, 24, 0x89, 38, 0][..], &END].concat();
    file(1, 3, [0, 96], &[&conductor, &strings, &drums])
}

fn excerpt(part: Option<usize>, bars: Option<std::ops::RangeInclusive<usize>>) -> Excerpt {
    Excerpt { part, bars }
}

#[test]
fn what_plays_is_listed_by_track_and_channel_and_bars_are_counted_in_the_files_metre() {
    let (listed, bars) = contents(&waltz()).unwrap();
    let parts: Vec<_> = listed
        .iter()
        .map(|part| (part.name.as_str(), part.notes))
        .collect();
    assert_eq!(
        parts,
        [
            ("Deck, channel 1", 2),
            ("Deck, channel 2", 1),
            ("Track 3", 1)
        ]
    );
    assert_eq!(bars, 2);
}

/// Eighths from tick `first` on, 96 ticks a beat, each let go a little early; the file ends with
/// the last. The metre is `count` and a power of two.
fn eighths(count: u8, power: u8, first: u8, notes: u8) -> Vec<u8> {
    let mut track = vec![0, 0xFF, 0x58, 4, count, power, 24, 8];
    for note in 0..notes {
        let rest = if note == 0 { first } else { 5 };
        track.extend([rest, 0x90, 60 + note, 100, 43, 0x80, 60 + note, 0]);
    }
    track.extend(END);
    one_track(&track)
}

#[test]
fn a_bar_of_the_files_metre_is_as_long_as_it_is() {
    for (count, power, notes, length) in [
        (7, 3, 7, 3.5),
        (5, 3, 5, 2.5),
        (6, 3, 6, 3.0),
        // A note is missing at the end: still the dotted quarter.
        (6, 3, 5, 3.0),
        (3, 2, 6, 3.0),
        (4, 2, 6, 3.0),
        (2, 1, 6, 3.0),
    ] {
        let read = read(&eighths(count, power, 0, notes)).unwrap();
        let metre = crate::metre::Metre::new(count.into(), 1 << power).unwrap();
        assert_eq!(read.phrase.length(), length, "{count} {power}");
        let whole = length % metre.bar() == 0.0 || metre.bar() % length == 0.0;
        // What neither halves nor has threes is grouped as is usual.
        let grouped = match count {
            5 => crate::metre::Metre::grouped([2, 3], 8).unwrap(),
            7 => crate::metre::Metre::grouped([2, 2, 3], 8).unwrap(),
            _ => metre,
        };
        let bar = whole.then_some(crate::phrase::Bar::around(grouped, 0.0));
        assert_eq!(read.phrase.bar(), bar, "{count} {power}");
    }
}

#[test]
fn beats_are_counted_from_the_bar_line_and_a_pick_up_knows_its_bar() {
    // 7/8, in ticks of 48 an eighth: the first note lies in the third eighth, after 96.
    let read = read(&eighths(7, 3, 127, 1)).unwrap();
    assert_eq!(notes(&read.phrase)[0].0, 31.0 / 96.0);
    let mut track = vec![0, 0xFF, 0x58, 4, 7, 3, 24, 8, 0x82, 0x20];
    for note in 0..7_u8 {
        let rest = if note == 0 { &[][..] } else { &[0][..] };
        track.extend(rest);
        track.extend([0x90, 60 + note, 100, 48, 0x80, 60 + note, 0]);
    }
    track.extend(END);
    let read = super::read_phrase(&one_track(&track), 0.25, &Excerpt::default()).unwrap();
    assert_eq!((notes(&read.phrase)[0].0, read.phrase.length()), (0.0, 3.5));
    assert_eq!(read.phrase.bar().map(|bar| bar.begins), Some(0.5));
    assert_eq!(read.phrase.pick_up(), 0.5);
}

#[test]
fn a_short_bar_before_the_others_is_a_pick_up_to_them() {
    // A bar of 1/8, then 4/4: an eighth, seven more and a rest of one. 48 ticks an eighth.
    let mut track = vec![0, 0xFF, 0x58, 4, 1, 3, 24, 8];
    for note in 0..8_u8 {
        track.extend([0, 0x90, 60 + note, 100, 48, 0x80, 60 + note, 0]);
        if note == 0 {
            track.extend([0, 0xFF, 0x58, 4, 4, 2, 24, 8]);
        }
    }
    track.extend(END);
    let read = super::read_phrase(&one_track(&track), 0.25, &Excerpt::default()).unwrap();
    assert_eq!((notes(&read.phrase)[0].0, read.phrase.length()), (0.0, 4.0));
    let bar = read.phrase.bar().unwrap();
    assert_eq!((bar.metre.to_string().as_str(), bar.begins), ("4/4", 0.5));
    assert_eq!(read.phrase.pick_up(), 0.5);
}

#[test]
fn one_part_is_read_even_if_it_is_percussion() {
    let of = |part| read_phrase(&waltz(), 0.25, &excerpt(Some(part), None)).unwrap();
    assert_eq!(notes(&of(1).phrase), [(0.0, 1.0, 48, 90)]);
    assert_eq!(notes(&of(2).phrase), [(0.0, 0.25, 38, 100)]);
}

#[test]
fn bars_are_read_whole_and_a_note_over_their_end_is_cut() {
    let second = excerpt(Some(0), Some(2..=2));
    let read = read_phrase(&waltz(), 0.25, &second).unwrap();
    assert_eq!(read.phrase.length(), 3.0);
    let read = notes(&read.phrase);
    // Tick 416 is 128 ticks into the bar.
    assert_eq!(read.len(), 1);
    assert!((read[0].0 - 128.0 / 96.0).abs() < 1e-9, "{read:?}");
    assert!(read[0].0 + read[0].1 <= 3.0 + 1e-9, "{read:?}");
}

#[test]
fn a_part_or_bars_that_are_not_there_are_told_with_what_is() {
    for (wanted, error, words) in [
        (excerpt(Some(3), None), MidiError::NoSuchPart(3), "3 parts"),
        (
            excerpt(None, Some(2..=3)),
            MidiError::NoSuchBars(2),
            "from 1 to 2",
        ),
        (
            excerpt(None, Some(0..=1)),
            MidiError::NoSuchBars(2),
            "from 1 to 2",
        ),
        (
            excerpt(Some(1), Some(2..=2)),
            MidiError::NothingThere,
            "other bars",
        ),
    ] {
        let refused = read_phrase(&waltz(), 0.25, &wanted).unwrap_err();
        assert_eq!(refused, error);
        assert!(refused.to_string().contains(words), "{refused}");
    }
}

/// Found by chance: the library cannot negate the division of a header that comes again.
#[test]
fn a_second_header_among_the_tracks_breaks_nothing() {
    let mut bytes = one_track(&note_and_end());
    bytes.extend(b"MThd\0\0\0\x06\0\x01\0\x01\x80\0");
    assert_eq!(read(&bytes), Err(MidiError::Damaged(None)));
}

/// From *MIDI 1.0*, RP-001: the highest bit of the division means film frames; 0x80 is none of the
/// four rates there are, and has no negative in a byte.
#[test]
fn whatever_film_rate_a_header_says_it_is_told_plainly() {
    for rate in 0x80..=0xFF {
        let bytes = file(0, 1, [rate, 40], &[&END]);
        assert_eq!(read(&bytes), Err(MidiError::FilmTime), "{rate:#x}");
        let mut riff = b"RIFF\0\0\0\0RMIDdata\0\0\0\0".to_vec();
        let length = bytes.len() as u32;
        riff[16..20].copy_from_slice(&length.to_le_bytes());
        riff[4..8].copy_from_slice(&(length + 12).to_le_bytes());
        riff.extend(&bytes);
        assert_eq!(read(&riff), Err(MidiError::FilmTime), "{rate:#x}");
    }
}

fn announcing(tracks: u16, mut bytes: Vec<u8>) -> Vec<u8> {
    bytes[10..12].copy_from_slice(&tracks.to_be_bytes());
    bytes
}

#[test]
fn a_file_of_countless_tracks_is_refused_once_they_are_counted() {
    let note = [0, 0x90, 62, 100, 0, 0xFF, 0x2F, 0];
    for count in [MOST_TRACKS + 1, 64_000] {
        let tracks = vec![&note[..]; count];
        let bytes = announcing(count as u16, file(1, 0, [0, 96], &tracks));
        let refusal = Err(MidiError::TooManyTracks(count));
        assert_eq!(contents(&bytes).map(|_| ()), refusal);
        assert_eq!(read(&bytes).map(|_| ()), refusal);
    }
    let tracks = vec![&note[..]; MOST_TRACKS];
    let bytes = announcing(MOST_TRACKS as u16, file(1, 0, [0, 96], &tracks));
    assert_eq!(contents(&bytes).unwrap().0.len(), MOST_TRACKS);
}

#[test]
fn a_bar_that_is_too_short_for_a_phrase_is_told_plainly() {
    // A metre of 1/128, and two of its bars.
    let metre = [0, 0xFF, 0x58, 4, 1, 7, 24, 8];
    let track = [&metre[..], &[0, 0x90, 62, 100, 6, 62, 0], &END].concat();
    let bars = |bars| Excerpt {
        bars: Some(bars),
        ..Excerpt::default()
    };
    let short = read_phrase(&one_track(&track), 0.25, &bars(1..=1));
    assert_eq!(short, Err(MidiError::TooShort(0.03125)));
    assert!(short.unwrap_err().to_string().contains("choose more bars"));
}
