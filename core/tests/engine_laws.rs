//! Laws of the whole engine, whatever a host does with it.

#![allow(clippy::unwrap_used, reason = "what is written here is right")]

mod common;

use common::{phrase, settings};
use procession_core::clock::Transport;
use procession_core::engine::{Anchor, Controls, Engine};
use procession_core::ledger::Message;
use procession_core::metre::Metre;
use procession_core::note::{Channel, Key, Velocity};
use procession_core::phrase::Phrase;
use procession_core::player::Event;
use procession_core::settings::{
    Advance, BeginOn, Beginning, CopiesMove, EndOn, Growth, Motion, Settings, Shifts,
};
use proptest::prelude::*;
use proptest::sample::select;
use std::collections::HashMap;

const RATE: f64 = 48_000.0;

/// What may happen to a plug-in between or in two blocks.
#[derive(Clone, Debug)]
enum Turn {
    Roll(u32),
    Stop(u32),
    Seek(f64),
    Tempo(f64),
    Hold(bool),
    Thru(bool),
    Bypass(bool),
    Cue(bool),
    CueKey(Option<u8>),
    Advance(Advance),
    Beginning(Beginning),
    Bars(Option<(u32, u32)>, Option<f64>),
    Settings(Box<Settings>),
    NoteOn(u8, Option<u8>),
    NoteOff(Option<u8>, Option<u8>),
    Restore(Box<Phrase>, Anchor),
    Edit(Box<Phrase>),
    Reset,
    Prepare(f64),
}

fn turn() -> impl Strategy<Value = Turn> {
    let odd = vec![0.0, -5.0, 37.25, 1e6, f64::NAN, f64::INFINITY, -1e300];
    let tempi = vec![120.0, 61.5, 400.0, 0.0, -1.0, f64::NAN, 1e9];
    let anchors = vec![
        Anchor::NextStart,
        Anchor::Song(0.0),
        Anchor::Song(3.5),
        Anchor::Song(-9.0),
    ];
    prop_oneof![
        8 => (0u32..9000).prop_map(Turn::Roll),
        1 => (0u32..9000).prop_map(Turn::Stop),
        1 => select(odd).prop_map(Turn::Seek),
        1 => select(tempi).prop_map(Turn::Tempo),
        3 => any::<bool>().prop_map(Turn::Hold),
        1 => any::<bool>().prop_map(Turn::Thru),
        1 => any::<bool>().prop_map(Turn::Bypass),
        2 => any::<bool>().prop_map(Turn::Cue),
        1 => proptest::option::of(50u8..70).prop_map(Turn::CueKey),
        2 => select(vec![Advance::Counted, Advance::OnCue]).prop_map(Turn::Advance),
        2 => beginning().prop_map(Turn::Beginning),
        1 => (
            select(vec![None, Some((4, 4)), Some((7, 8)), Some((64, 1)), Some((1, 128))]),
            select(vec![None, Some(0.0), Some(3.5), Some(f64::NAN), Some(1e300)]),
        )
            .prop_map(|(metre, line)| Turn::Bars(metre, line)),
        2 => settings().prop_map(|s| Turn::Settings(Box::new(s))),
        6 => (50u8..70, proptest::option::of(0u8..4)).prop_map(|(k, c)| Turn::NoteOn(k, c)),
        4 => (proptest::option::of(50u8..70), proptest::option::of(0u8..4))
            .prop_map(|(k, c)| Turn::NoteOff(k, c)),
        1 => (phrase(), select(anchors)).prop_map(|(p, a)| Turn::Restore(Box::new(p), a)),
        1 => phrase().prop_map(|p| Turn::Edit(Box::new(p))),
        1 => Just(Turn::Reset),
        1 => select(vec![44_100.0, 96_000.0, 0.0, f64::NAN]).prop_map(Turn::Prepare),
    ]
}

fn beginning() -> impl Strategy<Value = Beginning> {
    (
        select(vec![BeginOn::Now, BeginOn::Beat, BeginOn::Bar]),
        select(vec![EndOn::Now, EndOn::Cycle]),
        0u32..4,
        select(vec![
            None,
            None,
            Some(0.0),
            Some(0.3),
            Some(-7.0),
            Some(1e8),
        ]),
    )
        .prop_map(|(begin_on, end_on, count_in, at)| Beginning {
            begin_on,
            end_on,
            count_in,
            at,
        })
}

/// A channel and a key, where told.
type Place = (Option<Channel>, Option<Key>);

/// A host, as far as the engine sees one.
struct Host {
    engine: Engine,
    controls: Controls,
    tempo: f64,
    position: f64,
    sounding: HashMap<(Channel, Key), i32>,
    ons: usize,
}

impl Host {
    fn new() -> Self {
        Self {
            engine: Engine::new(RATE),
            controls: Controls::default(),
            tempo: 120.0,
            position: 0.0,
            sounding: HashMap::new(),
            ons: 0,
        }
    }

    fn take(&mut self, turn: &Turn) {
        match turn {
            Turn::Roll(frames) => self.block(true, *frames, None),
            Turn::Stop(frames) => self.block(false, *frames, None),
            Turn::Seek(to) => self.position = *to,
            Turn::Tempo(tempo) => self.tempo = *tempo,
            Turn::Hold(on) => self.controls.hold = *on,
            Turn::Thru(on) => self.controls.thru = *on,
            Turn::Bypass(on) => self.controls.bypass = *on,
            Turn::Cue(on) => self.controls.cue = *on,
            Turn::CueKey(key) => self.controls.cue_key = key.and_then(Key::new),
            Turn::Advance(advance) => self.controls.settings.motion.advance = *advance,
            Turn::Beginning(beginning) => self.controls.beginning = *beginning,
            Turn::Bars(metre, line) => {
                let metre = metre.and_then(|(count, unit)| Metre::new(count, unit));
                self.engine.count_bars(metre, *line);
            }
            Turn::Settings(settings) => self.controls.settings = **settings,
            Turn::NoteOn(key, channel) => {
                let place = (channel.and_then(Channel::new), Key::new(*key));
                self.block(true, 64, Some((true, place)));
            }
            Turn::NoteOff(key, channel) => {
                let place = (channel.and_then(Channel::new), key.and_then(Key::new));
                self.block(true, 64, Some((false, place)));
            }
            Turn::Restore(phrase, anchor) => self.engine.restore(phrase, *anchor),
            Turn::Edit(phrase) => self.engine.edit(phrase, self.engine.anchor()),
            Turn::Reset => self.engine.interrupt(),
            Turn::Prepare(rate) => self.engine.prepare(*rate),
        }
    }

    fn block(&mut self, playing: bool, frames: u32, note: Option<(bool, Place)>) {
        let transport = Transport {
            playing,
            tempo: Some(self.tempo),
            position: Some(self.position),
        };
        let mut events: Vec<Event> = Vec::new();
        let mut block = self
            .engine
            .begin(&transport, frames, &self.controls, |e| events.push(e));
        match note {
            Some((true, place)) => {
                block.note_on(17, place, Velocity::new(0.5), |e| events.push(e));
            }
            Some((false, place)) => block.note_off(40, place, |e| events.push(e)),
            None => (),
        }
        block.finish(|e| events.push(e));
        self.hear(&events, frames);
        if playing && self.tempo.is_finite() && self.position.is_finite() {
            self.position += f64::from(frames) * self.tempo.max(0.0) / (60.0 * RATE);
        }
    }

    fn hear(&mut self, events: &[Event], frames: u32) {
        for pair in events.windows(2) {
            assert!(pair[0].frame <= pair[1].frame, "{pair:?}");
        }
        for event in events {
            assert!(event.frame < frames.max(1), "{event:?} in {frames}");
            match event.message {
                Message::NoteOn {
                    channel, key, id, ..
                } => {
                    self.ons += 1;
                    let before = self.sounding.insert((channel, key), id);
                    assert_eq!(before, None, "struck again without an end: {event:?}");
                }
                Message::NoteOff { channel, key, id } => {
                    let begun = self.sounding.remove(&(channel, key));
                    assert_eq!(begun, Some(id), "ended what had not begun: {event:?}");
                }
                Message::Tuning { .. } | Message::Control { .. } => (),
            }
        }
    }

    /// The hand is lifted and hold let go.
    fn end(&mut self) {
        self.controls = Controls {
            hold: false,
            beginning: Beginning::default(),
            ..self.controls
        };
        self.block(true, 64, Some((false, (None, None))));
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, ..ProptestConfig::default() })]

    /// Every note-on has exactly one note-off, in time order, whatever happens.
    #[test]
    fn no_note_hangs_whatever_happens(turns in proptest::collection::vec(turn(), 1..60)) {
        let mut host = Host::new();
        for turn in &turns {
            host.take(turn);
        }
        host.end();
        prop_assert!(host.sounding.is_empty(), "{:?}", host.sounding);
        prop_assert!(host.engine.player().ledger().is_silent());
    }

    /// How time is cut into blocks is not heard.
    #[test]
    fn blocks_are_not_heard(
        phrase in phrase(), settings in settings(),
        lengths in proptest::collection::vec(1u32..1500, 1..8),
    ) {
        let whole = render(&phrase, settings, 0.0, &[96_000], 96_000);
        for lengths in [vec![1024], vec![441], vec![64], vec![7, 1, 32], lengths] {
            prop_assert_eq!(&whole, &render(&phrase, settings, 0.0, &lengths, 96_000));
        }
    }

    /// Playing from anywhere is the tail of playing from the start, notes that sound there aside.
    #[test]
    fn playing_from_anywhere_is_the_tail_of_playing_from_the_start(
        phrase in phrase(), settings in settings(), start in 0u32..3,
    ) {
        let start = 24_000 * start;
        let beats = f64::from(start) / 24_000.0;
        let ons = |events: Vec<(u64, Message)>| -> Vec<(u64, Channel, Key, u8)> {
            events
                .into_iter()
                .filter_map(|(frame, message)| match message {
                    Message::NoteOn { channel, key, velocity, .. } => {
                        Some((frame, channel, key, velocity.midi()))
                    }
                    _ => None,
                })
                .collect()
        };
        let whole = ons(render(&phrase, settings, 0.0, &[512], 96_000));
        let tail: Vec<_> =
            whole.into_iter().filter(|on| on.0 >= u64::from(start)).collect();
        let there: Vec<_> = ons(render(&phrase, settings, beats, &[512], 96_000 - start))
            .into_iter()
            .map(|on| (on.0 + u64::from(start), on.1, on.2, on.3))
            .collect();
        prop_assert_eq!(tail, there);
    }

    /// A reset engine, with the same phrase, plays as a fresh one.
    #[test]
    fn after_a_reset_all_is_as_fresh(phrase in phrase(), settings in settings()) {
        let fresh = render(&phrase, settings, 0.0, &[512], 48_000);
        let mut engine = held(&phrase, settings);
        let _ = play(&mut engine, settings, 0.0, &[512], 30_000);
        engine.interrupt();
        let again = play(&mut engine, settings, 0.0, &[512], 48_000);
        // Numbers of notes go on; and what sounded is ended first.
        let heard = |events: &[(u64, Message)]| -> Vec<(u64, Channel, Key)> {
            events
                .iter()
                .filter_map(|(frame, message)| match message {
                    Message::NoteOn { channel, key, .. } => Some((*frame, *channel, *key)),
                    _ => None,
                })
                .collect()
        };
        prop_assert_eq!(heard(&fresh), heard(&again));
    }
}

/// A project that opens in the middle of the song, and a lane that jumps along with a seek, find
/// the offsets at their target, not on the way there from where nothing was.
#[test]
fn offsets_stand_at_their_target_wherever_the_song_begins() {
    let phrase = phrase_of("D4 F4 G4 A4");
    let mut settings = Settings::default();
    settings.motion.offset = 2.0;
    let expected = render(&phrase, settings, 16.0, &[512], 48_000);

    let mut opened = Engine::new(RATE);
    opened.restore(&phrase, Anchor::Song(0.0));
    assert_eq!(play(&mut opened, settings, 16.0, &[512], 48_000), expected);

    let onsets = |events: &[(u64, Message)]| -> Vec<(u64, Channel, Key)> {
        let onset = |(frame, message): &(u64, Message)| match message {
            Message::NoteOn { channel, key, .. } => Some((*frame, *channel, *key)),
            _ => None,
        };
        events.iter().filter_map(onset).collect()
    };
    let mut sought = held(&phrase, Settings::default());
    let _ = play(&mut sought, Settings::default(), 0.0, &[512], 48_000);
    let there = play(&mut sought, settings, 16.0, &[512], 48_000);
    assert_eq!(onsets(&there), onsets(&expected));
}

/// An engine that holds `phrase` from the start of the song.
fn held(phrase: &Phrase, settings: Settings) -> Engine {
    let mut engine = Engine::new(RATE);
    engine.restore(phrase, Anchor::Song(0.0));
    // Told once, so that hold is not switched on by the first block.
    let controls = Controls {
        settings,
        hold: true,
        ..Controls::default()
    };
    let rest = Transport {
        playing: false,
        tempo: Some(120.0),
        position: Some(0.0),
    };
    let block = engine.begin(&rest, 0, &controls, |_| ());
    block.finish(|_| ());
    engine
}

fn render(
    phrase: &Phrase,
    settings: Settings,
    from: f64,
    lengths: &[u32],
    frames: u32,
) -> Vec<(u64, Message)> {
    play(&mut held(phrase, settings), settings, from, lengths, frames)
}

fn play(
    engine: &mut Engine,
    settings: Settings,
    from: f64,
    lengths: &[u32],
    frames: u32,
) -> Vec<(u64, Message)> {
    let controls = Controls {
        settings,
        hold: true,
        ..Controls::default()
    };
    let mut heard = Vec::new();
    let mut done = 0;
    for length in lengths.iter().cycle() {
        if done == frames {
            break;
        }
        let length = (*length).min(frames - done);
        let position = from + f64::from(done) * 120.0 / (60.0 * RATE);
        let transport = Transport {
            playing: true,
            tempo: Some(120.0),
            position: Some(position),
        };
        let mut send = |event: Event| heard.push((u64::from(done + event.frame), event.message));
        let block = engine.begin(&transport, length, &controls, &mut send);
        block.finish(&mut send);
        done += length;
    }
    heard
}

fn phrase_of(text: &str) -> Phrase {
    Phrase::from_text(text, 0.25).unwrap()
}

/// Plays `text` live from beat 0 in sixteenths, holds at `hold_at`, and hears on until `end`.
fn capture(text: &str, hold_at: f64, end: f64, settings: Settings) -> (Engine, Vec<(f64, u8)>) {
    let mut engine = Engine::new(RATE);
    let written = phrase_of(text);
    let mut heard = Vec::new();
    let per_frame = 120.0 / (60.0 * RATE);
    let frames = 480u32;
    let mut at = 0.0;
    while at < end - 1e-9 {
        let controls = Controls {
            settings,
            hold: at >= hold_at - 1e-9,
            ..Controls::default()
        };
        let transport = Transport {
            playing: true,
            tempo: Some(120.0),
            position: Some(at),
        };
        let mut send = |event: Event| {
            if let (Message::NoteOn { key, .. }, true) = (event.message, controls.hold) {
                heard.push((at + f64::from(event.frame) * per_frame, key.number()));
            }
        };
        let mut block = engine.begin(&transport, frames, &controls, &mut send);
        let next = at + f64::from(frames) * per_frame;
        for note in written.notes() {
            let place = (Some(Channel::FIRST), Some(note.key));
            let frame = |beats: f64| ((beats - at) / per_frame).round() as u32;
            let off = note.onset + note.length - 0.02;
            if (at..next).contains(&off) {
                block.note_off(frame(off), place, &mut send);
            }
            if (at..next).contains(&note.onset) && at < hold_at {
                block.note_on(frame(note.onset), place, note.velocity, &mut send);
            }
        }
        block.finish(&mut send);
        at = next;
    }
    (engine, heard)
}

#[test]
fn a_phrase_played_twice_goes_on_in_time_at_the_seam() {
    let mut settings = Settings::default();
    settings.motion.copies = 0;
    let (engine, heard) = capture("D4 F4 G4 A4 D4 F4 G4 A4", 2.0, 4.0, settings);
    assert_eq!(engine.process().phrase().length(), 1.0);
    let keys: Vec<u8> = heard.iter().map(|(_, key)| *key).collect();
    assert_eq!(keys, [62, 65, 67, 69, 62, 65, 67, 69]);
    for (place, (at, _)) in heard.iter().enumerate() {
        assert!((at - 2.0 - 0.25 * place as f64).abs() < 1e-4, "{at}");
    }
}

#[test]
fn a_hand_a_little_late_does_not_cost_the_first_note() {
    let mut settings = Settings::default();
    settings.motion.copies = 0;
    settings.capture.length = Some(4);
    let (_, heard) = capture("D4 F4 G4 A4", 1.02, 2.0, settings);
    assert_eq!(heard.first().map(|(_, key)| *key), Some(62));
    assert_eq!(heard.len(), 4);
}

#[test]
fn holding_again_with_nothing_played_keeps_the_phrase_and_says_so() {
    let settings = Settings::default();
    let (mut engine, _) = capture("D4 F4 G4 A4", 1.0, 2.0, settings);
    assert!(engine.take_news().taken.is_some());
    let before = engine.process().phrase().clone();
    for hold in [false, true] {
        let controls = Controls {
            settings,
            hold,
            ..Controls::default()
        };
        let transport = Transport {
            playing: true,
            tempo: Some(120.0),
            position: None,
        };
        let block = engine.begin(&transport, 480, &controls, |_| ());
        block.finish(|_| ());
    }
    assert!(engine.take_news().nothing_played);
    assert_eq!(engine.process().phrase(), &before);
}

#[test]
fn a_phrase_that_was_written_is_what_hold_plays_whatever_was_played_before() {
    let settings = Settings::default();
    // Played, and never held.
    let (mut engine, _) = capture("D4 F4 G4 A4", 99.0, 2.0, settings);
    let written = phrase_of("C4 E4 C5 .");
    engine.edit(&written, engine.anchor());
    // From the next bar on.
    let heard = play(&mut engine, settings, 2.0, &[480], 96_000);
    assert_eq!(engine.process().phrase(), &written);
    let struck: std::collections::BTreeSet<u8> = heard
        .iter()
        .filter_map(|(_, message)| match message {
            Message::NoteOn { key, .. } => Some(key.number()),
            _ => None,
        })
        .collect();
    assert_eq!(struck, [60, 64, 72].into());
}

#[test]
fn with_the_song_at_rest_the_phrase_plays_on_its_own_clock_from_the_moment_of_holding() {
    let mut engine = Engine::new(RATE);
    let phrase = phrase_of("D4 F4 G4 A4");
    engine.restore(&phrase, Anchor::NextStart);
    let heard = struck_at_rest(&mut engine, |block| Controls {
        hold: block >= 10,
        by_hand: true,
        ..Controls::default()
    });
    assert_eq!(
        heard[..4],
        [(4_800, 62), (10_800, 65), (16_800, 67), (22_800, 69)]
    );
    // When the song rolls, the process begins there and stays there.
    let controls = Controls {
        hold: true,
        ..Controls::default()
    };
    let roll = Transport {
        playing: true,
        tempo: Some(120.0),
        position: Some(9.0),
    };
    let block = engine.begin(&roll, 480, &controls, |_| ());
    block.finish(|_| ());
    assert_eq!(engine.anchor(), Anchor::Song(9.0));
}

/// A host tells what its lane says where the playhead is put, the song at rest.
#[test]
fn a_lane_that_says_hold_sounds_nothing_while_the_song_is_at_rest() {
    let mut engine = Engine::new(RATE);
    engine.restore(&phrase_of("D4 F4 G4 A4"), Anchor::Song(0.0));
    let lane = |block: u32| Controls {
        hold: block >= 10 && block % 40 != 39,
        ..Controls::default()
    };
    assert_eq!(struck_at_rest(&mut engine, lane), []);
    assert!(!engine.take_news().nothing_played, "nobody asked");
    // And yet it holds: the song rolls, and the phrase plays.
    let controls = lane(98);
    let roll = Transport {
        playing: true,
        tempo: Some(120.0),
        position: Some(4.0),
    };
    let mut struck = 0;
    let block = engine.begin(&roll, 480, &controls, |_| ());
    block.finish(|event| struck += u32::from(matches!(event.message, Message::NoteOn { .. })));
    assert!(struck > 0);
}

#[test]
fn what_was_played_since_hold_was_off_is_held_with_the_song_at_rest_and_only_that() {
    let mut engine = Engine::new(RATE);
    let strike = |engine: &mut Engine, hold: bool| {
        let controls = Controls {
            hold,
            thru: true,
            ..Controls::default()
        };
        let key = (Some(Channel::FIRST), Key::new(62));
        let mut block = engine.begin(&AT_REST, 6_000, &controls, |_| ());
        block.note_on(0, key, Velocity::new(0.8), |_| ());
        block.note_off(3_000, key, |_| ());
        block.finish(|_| ());
    };
    strike(&mut engine, false);
    let on = Controls {
        hold: true,
        thru: true,
        ..Controls::default()
    };
    // A quarter of the beat that was played has gone by: it goes on at the seam.
    assert_eq!(struck_at_rest(&mut engine, |_| on)[0], (18_000, 62));
    // Played along with it, and then the playhead is put before and behind the lane's point.
    strike(&mut engine, true);
    let to_and_fro = |block: u32| Controls {
        hold: block >= 10,
        ..on
    };
    assert_eq!(struck_at_rest(&mut engine, to_and_fro), []);
}

const AT_REST: Transport = Transport {
    playing: false,
    tempo: Some(120.0),
    position: Some(64.0),
};

/// The keys that the steady voice strikes in a second at rest, with their frames.
fn struck_at_rest(engine: &mut Engine, controls: impl Fn(u32) -> Controls) -> Vec<(u32, u8)> {
    let mut heard = Vec::new();
    for block in 0..100u32 {
        let mut send = |event: Event| {
            if let Message::NoteOn {
                channel: Channel::FIRST,
                key,
                ..
            } = event.message
            {
                heard.push((block * 480 + event.frame, key.number()));
            }
        };
        let block = engine.begin(&AT_REST, 480, &controls(block), &mut send);
        block.finish(&mut send);
    }
    heard
}

/// A hand two per cent slow, four beats twice, the song at rest; hold comes where told, in the
/// hand's beats, and what is heard is told in the host's.
fn captured_at_rest(hold_at: f64) -> (Engine, Vec<(f64, u8)>) {
    const SLOW: f64 = 1.02;
    let mut settings = Settings::default();
    settings.motion.copies = 0;
    let mut engine = Engine::new(RATE);
    let written = phrase_of(
        "D4 . F4 G4 . A4 C5 . A4 . G4 . E4 . F4 . D4 . F4 G4 . A4 C5 . A4 . G4 . E4 . F4 .",
    );
    let mut heard = Vec::new();
    for block in 0..900_u32 {
        // A block of 240 frames is a hundredth of a beat.
        let at = |block: u32| f64::from(block) / 100.0 / SLOW;
        let controls = Controls {
            settings,
            hold: at(block) >= hold_at - 1e-9,
            ..Controls::default()
        };
        let mut send = |event: Event| {
            if let (Message::NoteOn { key, .. }, true) = (event.message, controls.hold) {
                let beats = f64::from(block) / 100.0 + f64::from(event.frame) / 24_000.0;
                heard.push((beats, key.number()));
            }
        };
        let mut playing = engine.begin(&AT_REST, 240, &controls, &mut send);
        for note in written.notes().iter().filter(|_| !controls.hold) {
            let place = (Some(Channel::FIRST), Some(note.key));
            let now = at(block)..at(block + 1);
            if now.contains(&(note.onset + 0.2)) {
                playing.note_off(0, place, &mut send);
            }
            if now.contains(&note.onset) {
                playing.note_on(0, place, note.velocity, &mut send);
            }
        }
        playing.finish(&mut send);
    }
    (engine, heard)
}

#[test]
fn at_rest_a_slow_hand_is_taken_at_the_hosts_tempo_and_goes_on_at_its_own_seam() {
    // Eight of the hand's beats are 8.16 of the host's. Pressed early, in time and late.
    for (hold_at, first) in [
        (7.6, (8.16, 62)),
        (8.0, (8.16, 62)),
        (8.05, (8.21, 62)),
        (8.2, (8.66, 65)),
    ] {
        let (mut engine, heard) = captured_at_rest(hold_at);
        assert_eq!(engine.process().phrase().length(), 4.0, "{hold_at}");
        let news = engine.take_news().taken.unwrap();
        assert!(news.repeats);
        assert_eq!((news.played_at.round(), news.taken_as), (118.0, 120.0));
        let (at, key) = heard[0];
        assert!(
            (at - first.0).abs() < 0.02 && key == first.1,
            "{hold_at}: {at} {key}"
        );
    }
}

#[test]
fn fewer_copies_end_their_notes_at_once() {
    let phrase = phrase_of("D4 - - - - - - -");
    let mut settings = Settings::default();
    settings.motion.copies = 3;
    let mut engine = held(&phrase, settings);
    let heard = play(&mut engine, settings, 0.0, &[480], 4800);
    assert_eq!(
        heard
            .iter()
            .filter(|(_, m)| matches!(m, Message::NoteOn { .. }))
            .count(),
        4
    );
    settings.motion.copies = 1;
    let heard = play(&mut engine, settings, 0.2, &[480], 480);
    let offs = heard
        .iter()
        .filter(|(frame, m)| *frame == 0 && matches!(m, Message::NoteOff { .. }));
    assert_eq!(offs.count(), 2);
}

/// The same stages, whatever the words of the settings: a smoke test over all motions.
#[test]
fn every_motion_and_growth_plays() {
    let phrase = phrase_of("D4 F4 . G4 A4 .");
    for motion in [Motion::Drift, Motion::Jump, Motion::BuildUp] {
        for growth in [Growth::Off, Growth::Fill, Growth::Lengthen] {
            for copies_move in [CopiesMove::Fanned, CopiesMove::Together, CopiesMove::InTurn] {
                let mut settings = Settings::default();
                settings.motion.motion = motion;
                settings.motion.copies_move = copies_move;
                settings.motion.copies = 3;
                settings.motion.dwell = 1;
                settings.motion.drift = 1;
                settings.motion.shifts = Shifts::Endless;
                settings.growth.growth = growth;
                let heard = render(&phrase, settings, 0.0, &[512], 960_000);
                let copies = heard.iter().filter(
                    |(_, m)| matches!(m, Message::NoteOn { channel, .. } if channel.number() == 3),
                );
                assert!(copies.count() > 0, "{motion:?} {growth:?} {copies_move:?}");
            }
        }
    }
}
