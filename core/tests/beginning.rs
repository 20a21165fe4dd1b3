//! Where the process begins and how it ends: laws for any sample, metre, tempo and cut of blocks.

#![allow(clippy::unwrap_used, reason = "what is written here is right")]

mod common;

use common::{phrase, settings};
use procession_core::clock::Transport;
use procession_core::engine::{Anchor, Controls, Engine};
use procession_core::ledger::Message;
use procession_core::metre::Metre;
use procession_core::note::{Channel, Key};
use procession_core::phrase::Phrase;
use procession_core::settings::{BeginOn, Beginning, EndOn, Settings};
use proptest::prelude::*;
use proptest::sample::select;
use std::collections::HashMap;

const RATE: f64 = 48_000.0;

/// Frames for which a tempo stands.
const STEADY: u64 = 480;

/// The tenth channel, where clicks are.
const CLICKS: u8 = 9;

/// A host's song: a metre, and a tempo that may change all the time.
#[derive(Clone, Copy, Debug)]
struct Song {
    metre: (u32, u32),
    /// Beats a minute at the beginning of the song, and how much faster it gets with each
    /// [`STEADY`] frames, up to twice and down to half the tempo.
    tempo: f64,
    faster: f64,
    /// Song position of frame 0.
    from: f64,
}

impl Song {
    fn bar(&self) -> f64 {
        f64::from(self.metre.0) * 4.0 / f64::from(self.metre.1)
    }

    fn tempo_at(&self, frame: u64) -> f64 {
        let tempo = self.tempo + self.faster * (frame / STEADY) as f64;
        tempo.clamp(self.tempo / 2.0, self.tempo * 2.0)
    }

    /// Song positions of the frames up to `last`, one by one.
    fn positions(&self, last: u64) -> Vec<f64> {
        let mut positions = vec![self.from];
        let mut begun = self.from;
        for frame in 1..=last {
            let passed = (frame - 1) % STEADY + 1;
            let tempo = self.tempo_at(frame - 1);
            positions.push(begun + passed as f64 * tempo / (60.0 * RATE));
            if passed == STEADY {
                begun = positions[frame as usize];
            }
        }
        positions
    }
}

/// A song that a host plays to an engine, cut into blocks where tempo or a lane changes, as the
/// framework does, and by lengths.
struct Playing<'a> {
    song: Song,
    positions: &'a [f64],
    lengths: &'a [u32],
    controls: Controls,
    /// Where hold goes on and off, in frames.
    lane: Vec<(u64, bool)>,
}

impl Playing<'_> {
    fn hold_at(&self, frame: u64) -> bool {
        let before = self.lane.iter().rev().find(|(at, _)| *at <= frame);
        before.is_some_and(|(_, hold)| *hold)
    }

    fn controls_at(&self, frame: u64) -> Controls {
        Controls {
            hold: self.hold_at(frame),
            ..self.controls
        }
    }

    /// Rolls from frame `from` to `to`; what is heard, by the frame of the song.
    fn roll(&self, engine: &mut Engine, from: u64, to: u64) -> Vec<(u64, Message)> {
        let mut heard = Vec::new();
        let mut at = from;
        for length in self.lengths.iter().cycle() {
            if at >= to {
                break;
            }
            let lane = self.lane.iter().map(|(frame, _)| *frame);
            let cuts = lane.chain([(at / STEADY + 1) * STEADY, to]);
            let cut = cuts.filter(|cut| *cut > at).min().unwrap();
            let frames = u64::from(*length).min(cut - at) as u32;
            let position = self.positions[at as usize];
            let transport = Transport {
                playing: true,
                tempo: Some(self.song.tempo_at(at)),
                position: Some(position),
            };
            let line = ((position + 1e-9) / self.song.bar()).floor() * self.song.bar();
            let metre = Metre::new(self.song.metre.0, self.song.metre.1);
            engine.count_bars(metre, Some(line));
            let mut send = |event: procession_core::player::Event| {
                heard.push((at + u64::from(event.frame), event.message));
            };
            let block = engine.begin(&transport, frames, &self.controls_at(at), &mut send);
            block.finish(&mut send);
            at += u64::from(frames);
        }
        heard
    }

    /// The song stands still.
    fn rest(&self, engine: &mut Engine, hold: bool) -> Vec<(u64, Message)> {
        let mut heard = Vec::new();
        let transport = Transport {
            playing: false,
            tempo: Some(self.song.tempo),
            position: Some(0.0),
        };
        let controls = Controls {
            hold,
            ..self.controls
        };
        let mut send = |event: procession_core::player::Event| {
            heard.push((u64::from(event.frame), event.message));
        };
        let block = engine.begin(&transport, 512, &controls, &mut send);
        block.finish(&mut send);
        heard
    }
}

/// An engine with a phrase loaded that began at the beginning of the song, and hold off.
fn loaded(phrase: &Phrase) -> Engine {
    let mut engine = Engine::new(RATE);
    engine.restore(phrase, Anchor::Song(0.0));
    engine
}

/// Six notes of which the first falls on the beginning.
fn six() -> Phrase {
    Phrase::from_text("D4 F4 G4 A4 C5 E4", 0.25).unwrap()
}

fn alone() -> Settings {
    let mut settings = Settings::default();
    settings.motion.copies = 0;
    settings
}

/// Strokes, without the numbers of notes: frame, channel, key, velocity.
fn strokes(heard: &[(u64, Message)]) -> Vec<(u64, u8, u8, u8)> {
    let stroke = |(frame, message): &(u64, Message)| match message {
        Message::NoteOn {
            channel,
            key,
            velocity,
            ..
        } => Some((*frame, channel.number(), key.number(), velocity.midi())),
        _ => None,
    };
    heard.iter().filter_map(stroke).collect()
}

/// What sounds at the end, every note-on having had one note-off before the next on its key.
fn left_sounding(heard: &[(u64, Message)]) -> usize {
    let mut sounding: HashMap<(Channel, Key), i32> = HashMap::new();
    for (_, message) in heard {
        match *message {
            Message::NoteOn {
                channel, key, id, ..
            } => assert_eq!(sounding.insert((channel, key), id), None),
            Message::NoteOff { channel, key, id } => {
                assert_eq!(sounding.remove(&(channel, key)), Some(id));
            }
            Message::Tuning { .. } | Message::Control { .. } => (),
        }
    }
    sounding.len()
}

/// The first frame from `from` on that is not before song position `at`, by more than a thousandth
/// of a frame.
fn frame_of(positions: &[f64], at: f64, from: u64) -> u64 {
    let of_frame = |frame: &u64| {
        let frame = *frame as usize;
        positions[frame] + (positions[frame + 1] - positions[frame]) * 1e-3 >= at
    };
    (from..positions.len() as u64 - 1).find(of_frame).unwrap()
}

fn lengths() -> impl Strategy<Value = Vec<u32>> {
    prop_oneof![
        Just(vec![64]),
        Just(vec![512]),
        Just(vec![1]),
        proptest::collection::vec(1u32..2000, 1..6),
    ]
}

/// A song that comes to its bar 33 with frame 0, or shortly before.
fn song() -> impl Strategy<Value = Song> {
    let metres = vec![(4, 4), (7, 8), (5, 4), (6, 8), (3, 4), (5, 16)];
    let tempi = select(vec![120.0, 300.0, 97.3, 240.0]);
    (select(metres), tempi, -0.5f64..0.5, 0.0f64..0.2).prop_map(|(metre, tempo, faster, early)| {
        let song = Song {
            metre,
            tempo,
            faster,
            from: 0.0,
        };
        Song {
            from: 32.0 * song.bar() - early,
            ..song
        }
    })
}

/// What musicians count in these metres, in quarter notes: the dotted quarter in 6/8.
fn beat(metre: (u32, u32)) -> f64 {
    match metre {
        (6, 8) => 1.5,
        (_, 4) => 1.0,
        (_, 8) => 0.5,
        (_, 16) => 0.25,
        other => panic!("{other:?}"),
    }
}

/// Where a hold at `at` begins: a line that is no more than 1/480 beat past is not missed.
fn boundary(song: &Song, begin_on: BeginOn, at: f64) -> f64 {
    let each = match begin_on {
        BeginOn::Now => return at,
        BeginOn::Beat => beat(song.metre),
        BeginOn::Bar => song.bar(),
    };
    // Beats are counted from the bar line, so in no metre across it.
    let bar = ((at + 1e-9) / song.bar()).floor() * song.bar();
    let lines = (0..200).map(|line| bar + f64::from(line) * each);
    lines
        .into_iter()
        .find(|line| *line >= at - 1.0 / 480.0)
        .unwrap()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, ..ProptestConfig::default() })]

    /// Hold is switched on by a lane at any sample of bar 33, a phrase loaded and the song rolling:
    /// the steady voice's first note is at that sample, at the next beat, at the next bar.
    #[test]
    fn it_begins_on_the_boundary_that_was_chosen(
        song in song(), lengths in lengths(), share in 0.0f64..1.0,
        begin_on in select(vec![BeginOn::Now, BeginOn::Beat, BeginOn::Bar]),
    ) {
        let positions = song.positions(700_000);
        let end_of_bar = frame_of(&positions, 33.0 * song.bar(), 0);
        let start_of_bar = frame_of(&positions, 32.0 * song.bar(), 0);
        let on = start_of_bar + ((end_of_bar - start_of_bar) as f64 * share) as u64;
        let to = end_of_bar + 9_000;
        let beginning = Beginning { begin_on, ..Beginning::default() };
        let settings = alone();
        let controls = Controls { settings, beginning, ..Controls::default() };
        let playing = Playing {
            song, positions: &positions, lengths: &lengths, controls, lane: vec![(on, true)],
        };
        let mut engine = loaded(&six());
        let heard = strokes(&playing.roll(&mut engine, 0, to));
        let boundary = boundary(&song, begin_on, positions[on as usize]);
        let expected = frame_of(&positions, boundary, on);
        prop_assert_eq!((heard[0].0, heard[0].2), (expected, 62));
        // It is the beginning of the process, not a place in its middle.
        prop_assert!(matches!(engine.anchor(), Anchor::Song(at) if (at - boundary).abs() < 1e-6));
        prop_assert!(engine.take_news().anchored, "a project has to know");
    }

    /// Played from anywhere after it, the same is heard: by a project that was saved since, and by
    /// a host that finds hold on where it starts.
    #[test]
    fn from_anywhere_after_it_the_same_is_heard(
        song in song(), phrase in phrase(), settings in settings(), lengths in lengths(),
        share in 0.0f64..1.0, later in 0u64..60_000,
        begin_on in select(vec![BeginOn::Now, BeginOn::Beat, BeginOn::Bar]),
        count_in in 0u32..=2,
    ) {
        let positions = song.positions(400_000);
        let on = (share * 20_000.0) as u64;
        let (from, to) = (on + 100 + later, on + 100_000);
        let beginning = Beginning { begin_on, count_in, ..Beginning::default() };
        let controls = Controls { settings, beginning, ..Controls::default() };
        let playing = Playing {
            song, positions: &positions, lengths: &lengths, controls, lane: vec![(on, true)],
        };
        let mut engine = loaded(&phrase);
        let whole = strokes(&playing.roll(&mut engine, 0, to));
        // What was struck within the last 1/480 beat is struck at once, where hold goes on there.
        let after = |strokes: Vec<(u64, u8, u8, u8)>| -> Vec<_> {
            strokes.into_iter().filter(|stroke| stroke.0 > from).collect()
        };
        let tail = after(whole);
        let mut opened = Engine::new(RATE);
        opened.restore(&phrase, engine.anchor());
        prop_assert_eq!(&tail, &after(strokes(&playing.roll(&mut opened, from, to))));
        // From the top again, hold being off there, and then from there: once with the lane told
        // at rest, once with the first block.
        for told_at_rest in [true, false] {
            playing.rest(&mut engine, true);
            playing.rest(&mut engine, false);
            if told_at_rest {
                playing.rest(&mut engine, true);
            }
            prop_assert_eq!(&tail, &after(strokes(&playing.roll(&mut engine, from, to))));
        }
    }

    /// How blocks are cut is not heard.
    #[test]
    fn blocks_are_not_heard(
        song in song(), phrase in phrase(), settings in settings(), lengths in lengths(),
        on in 0u64..20_000, held in 1u64..40_000, count_in in 0u32..=2,
        begin_on in select(vec![BeginOn::Now, BeginOn::Beat, BeginOn::Bar]),
        end_on in select(vec![EndOn::Now, EndOn::Cycle]),
        at in prop_oneof![3 => Just(None), 1 => (0.0f64..4.0).prop_map(Some)],
    ) {
        let positions = song.positions(120_000);
        let at = at.map(|at| song.from + at);
        let beginning = Beginning { begin_on, end_on, count_in, at };
        let controls = Controls { settings, beginning, ..Controls::default() };
        let lane = vec![(on, true), (on + held, false)];
        let mut playing = Playing {
            song, positions: &positions, lengths: &[512], controls, lane,
        };
        let whole = playing.roll(&mut loaded(&phrase), 0, 110_000);
        playing.lengths = &lengths;
        let pieces = playing.roll(&mut loaded(&phrase), 0, 110_000);
        prop_assert_eq!(whole, pieces);
    }

    /// Hold off plays the cycle to its end, then there is silence; every note has had its end.
    #[test]
    fn it_ends_with_the_cycle(
        song in song(), phrase in phrase(), settings in settings(), lengths in lengths(),
        share in 0.0f64..1.0,
    ) {
        let mut settings = settings;
        // The cycle is the phrase, whole from the start: what grows has cycles of other lengths.
        settings.growth.growth = procession_core::settings::Growth::Off;
        let positions = song.positions(1_100_000);
        let cycle = phrase.length();
        let beginning = Beginning {
            begin_on: BeginOn::Now,
            end_on: EndOn::Cycle,
            ..Beginning::default()
        };
        let controls = Controls { settings, beginning, ..Controls::default() };
        let on = 4_000;
        let origin = positions[on as usize];
        let (second, third) = (origin + cycle, origin + 2.0 * cycle);
        let off = frame_of(&positions, second + share * cycle, 0);
        let end = frame_of(&positions, third, 0);
        let is_inside = positions[off as usize] - second > 1.0 / 480.0 && off < end;
        let end = if is_inside { end } else { off };
        let to = end + 50_000;
        let mut playing = Playing {
            song, positions: &positions, lengths: &lengths, controls,
            lane: vec![(on, true), (off, false)],
        };
        let mut engine = loaded(&phrase);
        let heard = playing.roll(&mut engine, 0, to);
        prop_assert_eq!(left_sounding(&heard), 0);
        prop_assert!(heard.iter().all(|(frame, _)| *frame <= end), "{end}: {:?}", heard.last());
        prop_assert!(!engine.is_running() && engine.is_idle());
        // Until then it is what would have been heard without.
        playing.lane = vec![(on, true)];
        let held = playing.roll(&mut loaded(&phrase), 0, end);
        prop_assert_eq!(strokes(&heard), strokes(&held));
    }

    /// Bars of click come first, in the metre of the song, the first of each accented; the music
    /// begins when they are over.
    #[test]
    fn it_is_counted_in(
        song in song(), lengths in lengths(), on in 1u64..20_000, bars in 1u32..=2,
        begin_on in select(vec![BeginOn::Now, BeginOn::Beat, BeginOn::Bar]),
    ) {
        let positions = song.positions(1_400_000);
        let beginning = Beginning { begin_on, count_in: bars, ..Beginning::default() };
        let settings = alone();
        let controls = Controls { settings, beginning, ..Controls::default() };
        let playing = Playing {
            song, positions: &positions, lengths: &lengths, controls, lane: vec![(on, true)],
        };
        let counted_from = boundary(&song, begin_on, positions[on as usize]);
        let origin = counted_from + f64::from(bars) * song.bar();
        let to = frame_of(&positions, origin, on) + 3_000;
        let heard = playing.roll(&mut loaded(&six()), 0, to);
        let (clicks, music): (Vec<_>, Vec<_>) =
            strokes(&heard).into_iter().partition(|stroke| stroke.1 == CLICKS);
        prop_assert_eq!(music[0].0, frame_of(&positions, origin, on));
        let beat = beat(song.metre);
        let a_bar = (song.bar() / beat).round() as u32;
        prop_assert_eq!(clicks.len() as u32, bars * a_bar);
        for (index, (frame, _, key, velocity)) in (0u32..).zip(clicks.iter().copied()) {
            let at = counted_from + f64::from(index) * beat;
            prop_assert_eq!(frame, frame_of(&positions, at, on));
            let is_one = index % a_bar == 0;
            prop_assert_eq!((key, velocity > 70), (if is_one { 76 } else { 77 }, is_one));
        }
        // Each click is over before the next.
        prop_assert!(left_sounding(&heard) <= 1);
    }
}

/// A song in four at 120: a beat is 24 000 frames.
const FOUR: Song = Song {
    metre: (4, 4),
    tempo: 120.0,
    faster: 0.0,
    from: 0.0,
};
const BEAT: u64 = 24_000;

/// The strokes of the steady voice's first note and of clicks, in beats from 0, under `beginning`
/// and a lane of hold in beats, `from .. to` beats.
fn in_four(
    engine: &mut Engine,
    beginning: Beginning,
    lane: &[(f64, bool)],
    (from, to): (f64, f64),
) -> Vec<f64> {
    let frame = |beats: f64| (beats * BEAT as f64).round() as u64;
    let positions = FOUR.positions(frame(to));
    let settings = alone();
    let playing = Playing {
        song: FOUR,
        positions: &positions,
        lengths: &[480],
        controls: Controls {
            settings,
            beginning,
            ..Controls::default()
        },
        lane: lane.iter().map(|(at, on)| (frame(*at), *on)).collect(),
    };
    let heard = strokes(&playing.roll(engine, frame(from), frame(to)));
    let of_interest = heard
        .into_iter()
        .filter(|stroke| stroke.2 == 62 || stroke.1 == CLICKS);
    of_interest
        .map(|stroke| stroke.0 as f64 / BEAT as f64)
        .collect()
}

/// Six eighths: the first comes every three beats.
fn every_three() -> Phrase {
    Phrase::from_text("D4 F4 G4 A4 C5 E4", 0.5).unwrap()
}

fn written(at: f64) -> Beginning {
    Beginning {
        at: Some(at),
        ..Beginning::default()
    }
}

#[test]
fn on_a_bar_line_or_a_hair_past_it_it_begins_there() {
    for on in [8.0, 8.0 + 1.0 / 960.0] {
        let heard = in_four(
            &mut loaded(&every_three()),
            Beginning::default(),
            &[(on, true)],
            (0.0, 12.0),
        );
        assert_eq!(heard, [on, 11.0], "the first one at once, the next in time");
    }
    let late = in_four(
        &mut loaded(&every_three()),
        Beginning::default(),
        &[(8.1, true)],
        (0.0, 13.0),
    );
    assert_eq!(late, [12.0]);
}

#[test]
fn a_written_position_is_waited_for_and_joined_in_the_middle_and_holds_until_it_is_lifted() {
    let mut engine = loaded(&every_three());
    // Bar 3, held in bar 1: silence until then.
    assert_eq!(
        in_four(&mut engine, written(8.0), &[(1.0, true)], (0.0, 15.0)),
        [8.0, 11.0, 14.0]
    );
    // Held in bar 3, half a beat late: it joins in.
    assert_eq!(
        in_four(&mut engine, written(8.0), &[(8.5, true)], (0.0, 15.0)),
        [11.0, 14.0]
    );
    // From anywhere, hold being on.
    assert_eq!(
        in_four(&mut engine, written(8.0), &[(0.0, true)], (10.0, 15.0)),
        [11.0, 14.0]
    );
    assert_eq!(engine.anchor(), Anchor::Song(8.0));
    // Lifted, it stays where it was until hold goes on anew.
    assert_eq!(
        in_four(
            &mut engine,
            Beginning::default(),
            &[(0.0, true)],
            (10.0, 15.0)
        ),
        [11.0, 14.0]
    );
    assert_eq!(
        in_four(
            &mut engine,
            Beginning::default(),
            &[(0.0, false), (5.0, true)],
            (4.0, 12.0)
        ),
        [8.0, 11.0]
    );
}

#[test]
fn a_written_position_that_is_moved_while_it_plays_is_begun_from_at_once() {
    let mut engine = loaded(&every_three());
    let held = [(0.0, true)];
    assert_eq!(
        in_four(&mut engine, written(0.0), &held, (0.0, 4.0)),
        [0.0, 3.0]
    );
    assert_eq!(
        in_four(&mut engine, written(1.0), &held, (4.0, 8.0)),
        [4.0, 7.0]
    );
    assert_eq!(
        in_four(&mut engine, written(9.0), &held, (8.0, 10.0)),
        [9.0]
    );
}

#[test]
fn a_count_in_to_a_written_position_is_in_the_bar_before_it() {
    let beginning = Beginning {
        count_in: 1,
        ..written(8.0)
    };
    let counted = [4.0, 5.0, 6.0, 7.0, 8.0, 11.0];
    let mut engine = loaded(&every_three());
    assert_eq!(
        in_four(&mut engine, beginning, &[(1.0, true)], (0.0, 12.0)),
        counted
    );
    // Held in the middle of it, what is left of it is counted.
    assert_eq!(
        in_four(&mut engine, beginning, &[(5.5, true)], (0.0, 12.0)),
        counted[2..]
    );
}

#[test]
fn hold_in_a_count_in_lets_go_at_once_and_counts_anew() {
    let beginning = Beginning {
        count_in: 1,
        end_on: EndOn::Cycle,
        ..Beginning::default()
    };
    let lane = [(3.0, true), (5.5, false), (6.0, true)];
    assert_eq!(
        in_four(&mut loaded(&every_three()), beginning, &lane, (0.0, 13.0)),
        [4.0, 5.0, 8.0, 9.0, 10.0, 11.0, 12.0]
    );
}

const WITH_CYCLE: Beginning = Beginning {
    begin_on: BeginOn::Bar,
    end_on: EndOn::Cycle,
    count_in: 0,
    at: None,
};

#[test]
fn hold_that_goes_on_again_before_the_end_goes_on_as_if_it_had_stayed() {
    let lane = [(0.0, true), (4.0, false), (5.0, true)];
    assert_eq!(
        in_four(&mut loaded(&every_three()), WITH_CYCLE, &lane, (0.0, 10.0)),
        [0.0, 3.0, 6.0, 9.0]
    );
    // After the end it begins anew, on the next bar.
    let lane = [(0.0, true), (4.0, false), (6.5, true)];
    assert_eq!(
        in_four(&mut loaded(&every_three()), WITH_CYCLE, &lane, (0.0, 12.0)),
        [0.0, 3.0, 8.0, 11.0]
    );
}

/// An engine that plays its last cycle, from beat 3 to 6, and has come to beat 4.
fn ending() -> Engine {
    let mut engine = loaded(&every_three());
    let lane = [(0.0, true), (3.5, false)];
    in_four(&mut engine, WITH_CYCLE, &lane, (0.0, 4.0));
    assert_eq!(engine.ending(), Some(6.0));
    assert!(engine.is_running());
    engine
}

#[test]
fn a_cycle_that_is_played_to_its_end_ends_at_once_where_the_song_stops_leaps_or_is_bypassed() {
    let off = Controls {
        settings: alone(),
        beginning: WITH_CYCLE,
        ..Controls::default()
    };
    let bypassed = Controls {
        bypass: true,
        ..off
    };
    let at_once = Controls {
        beginning: Beginning::default(),
        ..off
    };
    let rolling = |position: f64| Transport {
        playing: true,
        tempo: Some(120.0),
        position: Some(position),
    };
    let stopped = Transport {
        playing: false,
        ..rolling(4.0)
    };
    type Change = fn(&mut Engine);
    let nothing: Change = |_| ();
    let cases: [(&str, Transport, Controls, Change); 7] = [
        ("stop", stopped, off, nothing),
        ("leap", rolling(5.0), off, nothing),
        ("bypass", rolling(4.0), bypassed, nothing),
        ("another mind", rolling(4.0), at_once, nothing),
        ("panic", rolling(4.0), off, Engine::interrupt),
        ("load", rolling(4.0), off, |engine| {
            engine.restore(&every_three(), Anchor::Song(0.0));
        }),
        ("edit", rolling(4.0), off, |engine| {
            engine.edit(&every_three(), Anchor::Song(0.0));
        }),
    ];
    for (what, transport, controls, change) in cases {
        let mut engine = ending();
        change(&mut engine);
        let mut heard = Vec::new();
        let block = engine.begin(&transport, 30_000, &controls, |event| heard.push(event));
        block.finish(|event| heard.push(event));
        let is_end = |message: &Message| {
            matches!(message, Message::NoteOff { .. } | Message::Control { .. })
        };
        let silent = heard
            .iter()
            .all(|event| event.frame == 0 && is_end(&event.message));
        assert!(silent, "{what}: {heard:?}");
        assert!(
            engine.player().ledger().is_silent() && engine.is_idle(),
            "{what}"
        );
    }
}

#[test]
fn a_state_that_is_loaded_with_hold_on_begins_where_it_began() {
    let mut engine = Engine::new(RATE);
    engine.restore(&every_three(), Anchor::Song(1.0));
    assert_eq!(
        in_four(
            &mut engine,
            Beginning::default(),
            &[(0.0, true)],
            (2.0, 8.0)
        ),
        [4.0, 7.0]
    );
    assert_eq!(engine.anchor(), Anchor::Song(1.0));
}

/// Bars 1 to 4 were held before; now a lane says hold from bar 9 on, and the song starts there.
#[test]
fn where_hold_was_off_when_it_was_last_heard_a_song_that_starts_there_begins_anew() {
    let mut engine = loaded(&every_three());
    let lane = [(0.0, true), (16.0, false)];
    in_four(&mut engine, Beginning::default(), &lane, (0.0, 20.0));
    let lane = [(0.0, false), (32.0, true)];
    assert_eq!(
        in_four(&mut engine, Beginning::default(), &lane, (31.0, 36.0)),
        [32.0, 35.0]
    );
    let mut engine = loaded(&every_three());
    let lane = [(0.0, true), (16.0, false)];
    in_four(&mut engine, Beginning::default(), &lane, (0.0, 20.0));
    assert_eq!(
        in_four(
            &mut engine,
            Beginning::default(),
            &[(32.0, true)],
            (32.0, 36.0)
        ),
        [32.0, 35.0]
    );
}

#[test]
fn with_the_song_at_rest_a_hand_is_counted_in_on_the_own_clock() {
    let controls = Controls {
        settings: alone(),
        hold: true,
        by_hand: true,
        beginning: Beginning {
            count_in: 1,
            ..Beginning::default()
        },
        ..Controls::default()
    };
    let rest = Transport {
        playing: false,
        tempo: Some(120.0),
        position: Some(0.0),
    };
    let mut engine = loaded(&every_three());
    engine.count_bars(Metre::new(3, 4), Some(0.0));
    let off = Controls {
        hold: false,
        ..controls
    };
    engine.begin(&rest, 480, &off, |_| ()).finish(|_| ());
    let mut heard = Vec::new();
    for block in 0..250u64 {
        let mut send = |event: procession_core::player::Event| {
            heard.push((block * 480 + u64::from(event.frame), event.message));
        };
        let block = engine.begin(&rest, 480, &controls, &mut send);
        block.finish(&mut send);
    }
    let struck: Vec<_> = strokes(&heard)
        .into_iter()
        .map(|stroke| (stroke.0, stroke.2))
        .collect();
    assert_eq!(
        struck[..4],
        [(0, 76), (BEAT, 77), (2 * BEAT, 77), (3 * BEAT, 62)]
    );
}

/// A lane says hold where the song starts, at beat 2; for 12 blocks, nearly a quarter of a beat, nobody knows what it
/// takes. In between a phrase may come.
#[test]
fn hold_that_waited_for_its_phrase_begins_with_it_and_with_none_goes_on_as_if_it_had_not_waited() {
    let played = |comes: Option<Phrase>| {
        let mut engine = Engine::new(RATE);
        engine.restore(&every_three(), Anchor::Song(1.0));
        let of = |hold, waits| Controls {
            settings: alone(),
            hold,
            waits,
            beginning: Beginning {
                begin_on: BeginOn::Now,
                ..Beginning::default()
            },
            ..Controls::default()
        };
        let transport = |playing, frame: u64| Transport {
            playing,
            tempo: Some(120.0),
            position: Some(2.0 + frame as f64 / BEAT as f64),
        };
        let at_rest = transport(false, 0);
        engine
            .begin(&at_rest, 480, &of(false, false), |_| ())
            .finish(|_| ());
        let mut heard = Vec::new();
        for frame in (0..6 * BEAT).step_by(480) {
            let waits = frame < 12 * 480;
            if frame == 12 * 480
                && let Some(phrase) = &comes
            {
                engine.edit(phrase, Anchor::Song(1.0));
            }
            let mut send = |event: procession_core::player::Event| {
                heard.push((frame + u64::from(event.frame), event.message));
            };
            let block = engine.begin(&transport(true, frame), 480, &of(!waits, waits), &mut send);
            block.finish(&mut send);
        }
        let first = |stroke: &(u64, u8, u8, u8)| stroke.2 == 62;
        let strokes = strokes(&heard).into_iter().filter(first);
        strokes
            .map(|stroke| 2.0 + stroke.0 as f64 / BEAT as f64)
            .collect::<Vec<_>>()
    };
    assert_eq!(played(None), [4.0, 7.0]);
    assert_eq!(played(Some(every_three())), [2.24, 5.24]);
}
