//! The transport: whatever the song does, the sounding result is a function of song position.

mod common;

use common::plugin;
use procession_core::phrase::Phrase;
use procession_tests::heard::{Heard, Recording};
use procession_tests::host::{Block, Error, Event, Setup, Transport};
use procession_tests::session::{Blocks, Session};
use procession_tests::staging::{ByHand, held, listening, play_live, project, sixteenths};

type Outcome = Result<(), Error>;

fn phrase() -> Phrase {
    sixteenths("D4 F4 G4 A4 | C5 . E4+B4 -")
}

/// Something of everything: drifts and dwells, growth, fold, own offsets, several copies.
const RICH: [(&str, &str); 12] = [
    ("copies", "3"),
    ("dwell", "1"),
    ("drift", "2"),
    ("shifts", "Endless"),
    ("copy2_offset", "0.37 steps"),
    ("copy3_octave", "1"),
    ("growth", "Fill"),
    ("growth_step", "4"),
    ("growth_every", "1"),
    ("fold", "By degree"),
    ("target_mode", "Phrygian"),
    ("fold_amount", "50 %"),
];

fn rich() -> Result<Session, Error> {
    held(plugin()?, &phrase(), &RICH)
}

/// A note-on as the host gets it: frame since `start`, channel, key, velocity.
type Struck = (u64, u16, u16, f64);

fn struck(recording: &Recording, start: u64) -> Vec<Struck> {
    let notes = recording.notes();
    notes
        .iter()
        .filter(|note| note.start.frame >= start)
        .map(|note| {
            let frame = note.start.frame - start;
            (frame, note.channel, note.key, note.velocity)
        })
        .collect()
}

/// Frame and event of everything, the plug-in's own numbers of notes included.
fn all_events(recording: &Recording) -> Vec<(u64, Event)> {
    let plain = |heard: &Heard| (heard.frame, heard.event);
    recording.events().iter().map(plain).collect()
}

#[test]
fn how_the_host_cuts_time_into_blocks_is_not_heard() -> Outcome {
    let play = |blocks: Blocks| -> Result<_, Error> {
        let mut session = rich()?.tempo(97.3).blocks(blocks);
        session.ramp("fold_amount", (3.0, 0.0), (9.0, 1.0), 37)?;
        session.automate(4.1, "offset", "3 steps")?;
        session.automate(6.3, "copies", "2")?;
        session.run(12.0)?;
        Ok(all_events(&session.recording()))
    };
    let whole = play(Blocks::Of(4096))?;
    assert!(whole.len() > 200, "{}", whole.len());
    for blocks in [
        Blocks::Of(1),
        Blocks::Of(7),
        Blocks::Of(32),
        Blocks::Of(64),
        Blocks::Of(441),
        Blocks::Of(1024),
        Blocks::Pattern(vec![1, 1024, 7]),
        Blocks::Random {
            seed: 11,
            longest: 2000,
        },
    ] {
        assert!(play(blocks.clone())? == whole, "{blocks:?}");
    }
    Ok(())
}

#[test]
fn a_capture_and_all_after_it_sound_the_same_in_any_blocks() -> Outcome {
    let play = |blocks: Blocks| -> Result<_, Error> {
        let mut session = listening(plugin()?, &RICH)?.tempo(133.0).blocks(blocks);
        play_live(&mut session, 0.0, &phrase());
        play_live(&mut session, 2.0, &phrase());
        session.automate(4.0, "hold", "On")?;
        session.run(10.0)?;
        Ok(all_events(&session.recording()))
    };
    let whole = play(Blocks::Of(512))?;
    for blocks in [Blocks::Of(1), Blocks::Of(441), Blocks::Of(4096)] {
        assert!(play(blocks.clone())? == whole, "{blocks:?}");
    }
    Ok(())
}

#[test]
fn playing_from_bar_200_is_the_tail_of_playing_from_the_start() -> Outcome {
    for seconds_a_beat in [0.5, 0.61] {
        let tempo = 60.0 / seconds_a_beat;
        let mut session = rich()?.tempo(tempo).blocks(Blocks::Of(4096));
        session.run_to(800.0)?;
        let start = session.frames();
        session.run_to(816.0)?;
        let tail = struck(&session.recording(), start);

        let mut session = rich()?.tempo(tempo);
        session.seek(800.0);
        session.run_to(816.0)?;
        let from_there = struck(&session.recording(), 0);
        assert!(tail.len() > 100, "{}", tail.len());
        assert_eq!(from_there.len(), tail.len());
        for (there, tail) in from_there.iter().zip(&tail) {
            // Bar 200 need not lie on a frame: the two may differ by a part of one.
            assert!(there.0.abs_diff(tail.0) <= 1, "{there:?} {tail:?}");
            assert_eq!((there.1, there.2, there.3), (tail.1, tail.2, tail.3));
        }
    }
    Ok(())
}

#[test]
fn faster_than_real_time_it_plays_the_same() -> Outcome {
    let mut live = rich()?;
    live.plugin().set_offline(false);
    live.run(8.0)?;
    let mut bounced = rich()?;
    bounced.plugin().set_offline(true);
    bounced.run(8.0)?;
    assert_eq!(
        all_events(&bounced.recording()),
        all_events(&live.recording())
    );
    Ok(())
}

#[test]
fn stopping_ends_every_note_at_once_and_all_is_silent() -> Outcome {
    let mut session = held(plugin()?, &sixteenths("D4 - - - A4 - - -"), &[])?;
    session.run_to(0.3)?;
    session.stop();
    let stopped = session.frames();
    session.run(4.0)?;
    let recording = session.recording();
    recording.assert_no_note_hangs();
    let events = all_events(&recording);
    assert_eq!(events.last().map(|(frame, _)| *frame), Some(stopped));
    // It goes on where the song goes on.
    session.play();
    session.run_to(2.0)?;
    let line = session.recording().channel(1).between(1.0, 2.0);
    line.assert_attacks(0.25, "A4 . . .");
    Ok(())
}

#[test]
fn seeking_ends_what_sounds_and_plays_what_belongs_there() -> Outcome {
    let mut session = held(plugin()?, &sixteenths("D4 - E4 - G4 - A4 -"), &[])?;
    session.seek_at(0.3, 9.0);
    session.seek_at(10.0, 2.0);
    session.seek_at(2.1, 3.0);
    session.run(2.4)?;
    let recording = session.recording();
    let line = recording.channel(1).as_time_passed();
    let heard: Vec<(u64, u16)> = line
        .notes()
        .iter()
        .map(|note| (note.start.frame, note.key))
        .collect();
    let beat = |beats: f64| (beats * 24_000.0) as u64;
    assert_eq!(
        heard,
        [
            (0, 62),
            // From 0.3 on, beat 9 and what follows.
            (beat(0.3), 67),
            (beat(0.8), 69),
            // From 1.3 on, beat 2.
            (beat(1.3), 62),
            // From 1.4 on, beat 3.
            (beat(1.4), 67),
            (beat(1.9), 69),
        ]
    );
    // No end of a note is later than the seek that ends it.
    let ends: Vec<u64> = line
        .notes()
        .iter()
        .filter_map(|note| note.end.map(|end| end.frame))
        .collect();
    assert_eq!(ends[..2], [beat(0.3), beat(0.8)]);
    Ok(())
}

#[test]
fn each_round_of_a_loop_is_the_same_to_the_sample() -> Outcome {
    for (start, end) in [(4.0, 8.0), (3.3, 9.05)] {
        let length = end - start;
        let mut session = rich()?;
        session.set_loop(Some((start, end)));
        session.run(start + 4.0 * length)?;
        let recording = session.recording();
        let frame = |round: f64| ((start + round * length) * 24_000.0).round() as u64;
        let round = |index: f64| {
            let (from, to) = (frame(index), frame(index + 1.0));
            struck(&recording.frames(from, to), from)
        };
        let second = round(1.0);
        assert!(second.len() > 20, "{}", second.len());
        assert_eq!(round(2.0), second);
        assert_eq!(round(3.0), second);
        // The first round comes from before: what is struck in it is the same.
        assert_eq!(round(0.0), second);
    }
    Ok(())
}

#[test]
fn a_tempo_change_breaks_no_alignment() -> Outcome {
    let phrase = sixteenths("D4 F4 G4 A4 C5 E4");
    let settings = [("motion", "Jump"), ("dwell", "1")];
    let score = "D4 F4 G4 A4 C5 E4 | F4 G4 A4 C5 E4 D4 | G4 A4 C5 E4 D4 F4";
    for mid_block in [false, true] {
        let mut session = held(plugin()?, &phrase, &settings)?.blocks(Blocks::Of(1024));
        if mid_block {
            session = session.turning_mid_block();
        }
        for (beat, tempo) in [(0.4, 60.0), (1.1, 240.0), (2.0, 97.0), (3.7, 100.0)] {
            session.tempo_at(beat, tempo);
        }
        session.run_to(4.5)?;
        let line = session.recording().channel(2).between(0.0, 4.5);
        line.assert_attacks(0.25, score);
        let steady = session.recording().channel(1);
        steady.assert_attacks(0.25, &["D4 F4 G4 A4 C5 E4"; 3].join(" | "));
    }
    Ok(())
}

#[test]
fn tempo_changes_told_inside_a_block_are_played_to_the_sample() -> Outcome {
    let play = |mid_block: bool, blocks: u32| -> Result<_, Error> {
        let mut session = rich()?.blocks(Blocks::Of(blocks));
        if mid_block {
            session = session.turning_mid_block();
        }
        // Automation that cuts the blocks as well.
        session.ramp("width", (0.0, 0.0), (8.0, 1.0), 300)?;
        for (beat, tempo) in [(1.01, 60.0), (2.3, 240.0), (5.0, 97.0), (5.1, 201.0)] {
            session.tempo_at(beat, tempo);
        }
        session.run_to(8.0)?;
        Ok(struck(&session.recording(), 0))
    };
    let between_blocks = play(false, 512)?;
    assert!(between_blocks.len() > 50);
    for blocks in [64, 512, 2048] {
        let inside = play(true, blocks)?;
        let unequal: Vec<_> = between_blocks
            .iter()
            .zip(&inside)
            .filter(|(between, inside)| between != inside)
            .collect();
        assert!(unequal.is_empty(), "{blocks}: {:?}", unequal.first());
        assert_eq!(inside.len(), between_blocks.len());
    }
    Ok(())
}

#[test]
fn a_loop_told_inside_a_block_is_right_from_the_next_block_on() -> Outcome {
    for blocks in [64, 512, 2048] {
        let mut session = held(plugin()?, &phrase(), &[])?
            .blocks(Blocks::Of(blocks))
            .turning_mid_block();
        session.set_loop(Some((2.0, 4.03)));
        session.run(2.0 + 3.0 * 2.03)?;
        let recording = session.recording();
        let mut clean = held(plugin()?, &phrase(), &[])?;
        clean.set_loop(Some((2.0, 4.03)));
        clean.run(2.0 + 3.0 * 2.03)?;
        // Of each round, what lies a block or more after its start.
        let settled = |recording: &Recording| -> Vec<Struck> {
            let turns = [4.03, 6.06].map(|beats| (beats * 24_000.0) as u64);
            let mut notes = struck(recording, 0);
            notes.retain(|note| {
                let apart = |turn: &u64| note.0 < *turn || note.0 >= turn + u64::from(blocks);
                turns.iter().all(apart)
            });
            notes
        };
        assert_eq!(settled(&recording), settled(&clean.recording()), "{blocks}");
    }
    Ok(())
}

#[test]
fn without_any_transport_the_phrase_plays_at_120_from_the_moment_of_hold() -> Outcome {
    let mut session = listening(plugin()?, &[("copies", "0")])?
        .tempo(71.0)
        .without_transport();
    // Sixteenths of the tempo that is assumed, 6000 frames.
    for (step, key) in [62, 65, 67, 69, 62, 65, 67, 69].into_iter().enumerate() {
        let at = 100 + 6_000 * step as u64;
        session.event_in(at, Event::note_on(0, key, 0.7));
        session.event_in(at + 5_000, Event::note_off(0, key));
    }
    let hold = session.plugin().setting("hold", "On")?;
    session.event_in(48_100, hold);
    session.run_frames(48_100 + 24_000)?;
    let notes = struck(&session.recording(), 48_100);
    let heard: Vec<(u64, u16)> = notes.iter().map(|note| (note.0, note.2)).collect();
    assert_eq!(heard, [(0, 62), (6_000, 65), (12_000, 67), (18_000, 69)]);
    let off = session.plugin().setting("hold", "Off")?;
    session.event_in(0, off);
    session.run_frames(512)?;
    session.recording().assert_no_note_hangs();
    Ok(())
}

#[test]
fn with_the_transport_stopped_a_tempo_change_carries_the_own_clock_along() -> Outcome {
    let mut plugin = plugin()?;
    plugin.set("copies", "0")?;
    let mut hand = ByHand::new(plugin.activate(Setup::default())?.start()?);
    // Played, since at rest nothing sounds that nobody asked for.
    for key in [62, 65, 67, 69] {
        let sixteenth = Block::of(3_000).transport(Transport::stopped(120.0));
        hand.plugin
            .process(&sixteenth.clone().event(0, Event::note_on(0, key, 0.8)))?;
        hand.plugin
            .process(&sixteenth.event(2_000, Event::note_off(0, key)))?;
    }
    hand.plugin.set("hold", "On")?;
    // Two sixteenths at 120, then at 60.
    for _ in 0..24 {
        hand.block(&Block::of(500).transport(Transport::stopped(120.0)))?;
    }
    for _ in 0..48 {
        hand.block(&Block::of(500).transport(Transport::stopped(60.0)))?;
    }
    let heard: Vec<u64> = hand
        .recording()
        .notes()
        .iter()
        .map(|note| note.start.frame)
        .collect();
    assert_eq!(heard, [0, 6_000, 12_000, 24_000]);
    Ok(())
}

/// Transports that no sane host sends.
fn absurd() -> Vec<Transport> {
    let mut all = Vec::new();
    let tempi = [0.0, -120.0, f64::NAN, f64::INFINITY, 1e-9, 1e30, 9_999.0];
    for tempo in tempi {
        all.push(Transport {
            tempo: Some(tempo),
            ..Transport::rolling(120.0).at(1.0)
        });
    }
    for beats in [
        -64.0,
        f64::NAN,
        f64::INFINITY,
        -1e300,
        1e9,
        4e9,
        9.9e8,
        -9.9e8,
        3.7,
        3.6,
    ] {
        all.push(Transport {
            beats: Some(beats),
            ..Transport::rolling(120.0)
        });
    }
    all.push(Transport {
        tempo: None,
        beats: None,
        seconds: None,
        signature: None,
        ..Transport::rolling(120.0)
    });
    all.push(Transport::rolling(120.0).in_time(0, 0).looping(9.0, -9.0));
    all.push(Transport::rolling(120.0).in_time(u16::MAX, 1));
    all
}

#[test]
fn absurd_tempos_and_positions_leave_no_note_hanging_and_the_song_goes_on() -> Outcome {
    let mut session = rich()?;
    session.run_to(1.0)?;
    let mut hand = ByHand::new(session.into_plugin());
    for round in 0..3 {
        for transport in absurd() {
            hand.block(&Block::of(700).transport(transport))?;
            hand.block(&Block::of(700).transport(transport))?;
            if round == 1 {
                // Once more with sense in between.
                hand.block(&Block::of(64).transport(Transport::rolling(120.0).at(8.0)))?;
            }
        }
    }
    hand.block(&Block::of(64))?;
    // Back in order, it plays what a fresh one plays.
    let mut heard = Vec::new();
    for block in 0..48 {
        let beats = 16.0 + f64::from(block) * 1_000.0 / 24_000.0;
        let transport = Transport::rolling(120.0).at(beats);
        let events = hand.block(&Block::of(1_000).transport(transport))?;
        heard.extend(events.iter().filter_map(|timed| match timed.event {
            Event::NoteOn { note, .. } => {
                Some((block * 1_000 + timed.frame, note.channel, note.key))
            }
            _ => None,
        }));
    }
    let mut fresh = rich()?;
    fresh.seek(16.0);
    fresh.run_to(18.0)?;
    let expected: Vec<_> = struck(&fresh.recording(), 0)
        .iter()
        .map(|note| (note.0 as u32, Some(note.1 - 1), Some(note.2)))
        .collect();
    assert_eq!(heard, expected);
    hand.plugin.set("hold", "Off")?;
    hand.block(&Block::of(64))?;
    let all = hand.recording();
    let (ons, offs) = all
        .events()
        .iter()
        .fold((0, 0), |(ons, offs), heard| match heard.event {
            Event::NoteOn { .. } => (ons + 1, offs),
            Event::NoteOff { .. } => (ons, offs + 1),
            _ => (ons, offs),
        });
    assert!(ons > 100 && offs >= ons, "{ons} begin, {offs} end");
    Ok(())
}

#[test]
fn song_positions_before_the_start_of_the_song_play_the_phrase_from_its_origin_on() -> Outcome {
    let mut session = held(plugin()?, &sixteenths("D4 F4 G4 A4"), &[])?;
    session.seek(-2.0);
    session.run_to(2.0)?;
    let line = session.recording().channel(1).between(-2.0, 2.0);
    line.assert_attacks(0.25, ". . . . | . . . . | D4 F4 G4 A4 | D4 F4 G4 A4");
    Ok(())
}

#[test]
fn a_song_that_runs_backwards_is_followed_and_nothing_hangs() -> Outcome {
    let mut session = held(plugin()?, &phrase(), &[])?;
    session.run_to(1.0)?;
    let mut hand = ByHand::new(session.into_plugin());
    hand.plugin.set("hold", "Off")?;
    hand.block(&Block::of(64))?;
    hand.plugin.load(&project(&phrase(), 0.0, true))?;
    let mut hand = ByHand::new(hand.plugin);
    for block in 0..200 {
        let beats = 64.0 - f64::from(block) * 0.1;
        hand.block(&Block::of(512).transport(Transport::rolling(120.0).at(beats)))?;
    }
    hand.block(&Block::of(512).transport(Transport::stopped(120.0)))?;
    let recording = hand.recording();
    assert!(recording.notes().len() > 10);
    recording.assert_no_note_hangs();
    Ok(())
}

#[test]
fn ten_hours_into_the_song_onsets_are_still_on_their_sample() -> Outcome {
    // 36 000 seconds at 120 are 72 000 beats; 6 beats of phrase go evenly into them.
    let phrase = sixteenths("D4 F4 G4 A4 C5 E4");
    let settings = [("motion", "Jump"), ("dwell", "1"), ("shifts", "Endless")];
    let mut session = held(plugin()?, &phrase, &settings)?;
    session.seek(72_000.0);
    session.run_to(72_006.0)?;
    for channel in [1, 2] {
        let notes = session.recording().channel(channel).notes();
        assert_eq!(notes.len(), 24, "channel {channel}");
        for (step, note) in notes.iter().enumerate() {
            assert_eq!(note.start.frame, step as u64 * 6_000, "channel {channel}");
        }
    }
    // 48 000 cycles are 48 000 shifts: a multiple of six, unison.
    let first: Vec<u16> = session
        .recording()
        .channel(2)
        .between(72_000.0, 72_001.5)
        .keys();
    assert_eq!(first, [62, 65, 67, 69, 72, 64]);
    Ok(())
}

#[test]
fn song_positions_years_away_are_played_without_delay() -> Outcome {
    for copies_move in ["Fanned", "In turn"] {
        for position in [1e6, 1e7 + 0.1, 1e8, 9.9e8, -9.9e8] {
            let mut session = rich()?;
            session.plugin().set("copies_move", copies_move)?;
            session.plugin().set("entry", "3")?;
            session.plugin().set("copies_grow", "On")?;
            session.seek(position);
            // A glide on top of the drifts.
            session.automate(position + 1.0, "offset", "2.7 steps")?;
            session.run(4.0)?;
            session.plugin().set("hold", "Off")?;
            session.run(0.1)?;
            let recording = session.recording();
            recording.assert_no_note_hangs();
            assert_eq!(recording.notes().is_empty(), position < 0.0, "{position}");
        }
    }
    Ok(())
}

/// Changes on bar lines, as lanes of automation have them: copies enter, a copy jumps, the phrase
/// grows, hold goes off and on again.
fn performed(from: f64, blocks: Blocks, ticks: Option<f64>) -> Result<Recording, Error> {
    let settings = [
        ("copies", "1"),
        ("motion", "Jump"),
        ("dwell", "64"),
        ("growth", "Fill"),
        ("growth_step", "0"),
        ("growth_every", "1"),
    ];
    let mut session = held(plugin()?, &phrase(), &settings)?.blocks(blocks);
    if let Some(ticks) = ticks {
        session = session.told_in_ticks(ticks);
    }
    session.automate(8.0, "copies", "3")?;
    session.automate(12.0, "copy2_offset", "2 steps")?;
    session.automate(16.0, "hold", "Off")?;
    session.automate(20.0, "hold", "On")?;
    session.automate(24.0, "offset", "1 step")?;
    session.automate(28.0, "growth_step", "-2")?;
    session.automate(30.0, "growth_step", "0")?;
    session.seek(from);
    session.run_to(36.0)?;
    Ok(session.recording())
}

/// The blocks of a host that plays, and those of one that exports.
fn many_blocks() -> [Blocks; 4] {
    [
        Blocks::Of(1024),
        Blocks::Of(441),
        Blocks::Pattern(vec![64, 7, 509]),
        Blocks::Random {
            seed: 5,
            longest: 3000,
        },
    ]
}

#[test]
fn what_a_host_plays_that_tells_time_in_ticks_is_what_it_exports_to_the_sample() -> Outcome {
    let exported = all_events(&performed(0.0, Blocks::Of(8192), None)?);
    assert!(exported.len() > 200, "{}", exported.len());
    for ticks in [1920.0, 960.0, 480.0] {
        for blocks in many_blocks() {
            let played = all_events(&performed(0.0, blocks.clone(), Some(ticks))?);
            assert!(played == exported, "{ticks} {blocks:?}");
        }
    }
    Ok(())
}

/// Channel, start and end in frames, key.
type Lasting = (u16, u64, Option<u64>, u16);

#[test]
fn started_between_two_ticks_it_plays_the_same_notes_within_a_tick() -> Outcome {
    // In order of channels: two voices may change places
    // within a tick.
    let notes = |recording: &Recording| -> Vec<Lasting> {
        let mut notes: Vec<_> = recording
            .notes()
            .iter()
            .map(|note| {
                let end = note.end.map(|end| end.frame);
                (note.channel, note.start.frame, end, note.key)
            })
            .collect();
        notes.sort_unstable_by_key(|note| (note.0, note.1, note.3));
        notes
    };
    for (start, ticks) in [
        (3.300_17, 1920.0),
        (5.100_7, 1920.0),
        (6.1003, 960.0),
        (7.5011, 480.0),
    ] {
        let exported = notes(&performed(start, Blocks::Of(8192), None)?);
        let tick = (24_000.0 / ticks) as u64 + 1;
        let is_near = |one: u64, other: u64| one.abs_diff(other) <= tick;
        for blocks in many_blocks() {
            let played = notes(&performed(start, blocks.clone(), Some(ticks))?);
            let same = |(one, other): (&Lasting, &Lasting)| {
                let ends = match (one.2, other.2) {
                    (Some(one), Some(other)) => is_near(one, other),
                    (one, other) => one == other,
                };
                (one.0, one.3) == (other.0, other.3) && is_near(one.1, other.1) && ends
            };
            let differ = exported.iter().zip(&played).find(|pair| !same(*pair));
            assert_eq!(differ, None, "{start} {ticks} {blocks:?}");
            assert_eq!(exported.len(), played.len(), "{start} {ticks} {blocks:?}");
        }
    }
    Ok(())
}
