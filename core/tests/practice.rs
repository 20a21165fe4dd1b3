//! Practice: one part is the player's, the others go on; looped by itself, or in the song.

#![allow(clippy::unwrap_used, reason = "what is written here is right")]

mod common;
#[path = "follower/player.rs"]
#[allow(dead_code, reason = "shared by tests that use a part each")]
mod player;

use common::{phrase, settings};
use nice_assert_no_alloc::{AllocDisabler, assert_no_alloc};
use player::{Chance, Hand, performance};
use procession_core::clock::Transport;
use procession_core::engine::{Anchor, Controls, Engine};
use procession_core::exercise::{exercise_words, exercises, round_of};
use procession_core::follower::{Goal, Outcome};
use procession_core::form::Form;
use procession_core::ledger::Message;
use procession_core::note::{Key, Velocity};
use procession_core::part::Part;
use procession_core::partner::Manner;
use procession_core::phrase::Phrase;
use procession_core::practice::{Exercise, Judged, Practice, Practising, Stage};
use procession_core::process::Process;
use procession_core::route::Route;
use procession_core::settings::{Advance, Motion, Settings};
use procession_core::time::{Beats, Span};
use proptest::prelude::*;
use proptest::sample::select;

#[cfg(debug_assertions)]
#[global_allocator]
static NO_ALLOCATION: AllocDisabler = AllocDisabler;

const RATE: f64 = 48_000.0;
const TEMPO: f64 = 120.0;
const STEP: Beats = 0.25;
const CYCLE: Beats = 3.0;

/// Ropes over a bollard, twelve sixteenths.
const BOLLARD: &str = "D4 . A4 G4 . E4 A4 C5 . G4 E4 A4";

/// Four cycles in unison, four of drift, four a step ahead, and so on.
fn drifting() -> Settings {
    let mut settings = Settings::default();
    settings.motion.motion = Motion::Drift;
    (settings.motion.dwell, settings.motion.drift) = (4, 4);
    settings
}

fn bollard() -> Phrase {
    Phrase::from_text(BOLLARD, STEP).unwrap()
}

fn process() -> Process {
    Process::new(bollard(), drifting(), 0.0)
}

fn practice(part: Part, exercise: Exercise) -> Practice {
    let process = process();
    Practice {
        part,
        number: 1,
        exercise,
        round: round_of(&Form::new(&process), 0.0, part, exercise).unwrap(),
        pace: 1.0,
        click: false,
        manner: Manner::Rigid,
        seed: 5,
        latency_ms: 0.0,
    }
}

/// What is sent, frame by frame from the first on.
type Sent = Vec<(u64, Message)>;

/// An engine in a room where somebody plays.
struct Room {
    engine: Engine,
    controls: Controls,
    frames: u64,
    sent: Sent,
    judged: Vec<Judged>,
}

impl Room {
    fn new(phrase: &Phrase, settings: Settings) -> Self {
        let mut engine = Engine::new(RATE);
        engine.restore(phrase, Anchor::Song(0.0));
        let controls = Controls {
            settings,
            ..Controls::default()
        };
        let (sent, judged) = (Vec::new(), Vec::new());
        Self {
            engine,
            controls,
            frames: 0,
            sent,
            judged,
        }
    }

    /// Plays blocks of these lengths; `song` is where it is at frame 0, if it rolls. Keys are
    /// struck at these frames.
    fn play(&mut self, song: Option<Beats>, lengths: &[u32], mut struck: &[(u64, Key)]) {
        for frames in lengths {
            let beats = self.frames as f64 * TEMPO / (60.0 * RATE);
            let transport = Transport {
                playing: song.is_some(),
                tempo: Some(TEMPO),
                position: song.map(|from| from + beats),
            };
            let (begun, sent) = (self.frames, &mut self.sent);
            let mut send = |event: procession_core::player::Event| {
                sent.push((begun + u64::from(event.frame), event.message));
            };
            let mut block = self
                .engine
                .begin(&transport, *frames, &self.controls, &mut send);
            let end = begun + u64::from(*frames);
            while let Some(((at, key), later)) =
                struck.split_first().filter(|((at, _), _)| *at < end)
            {
                let frame = at.saturating_sub(begun) as u32;
                block.note_on(frame, (None, Some(*key)), Velocity::new(0.6), &mut send);
                block.note_off(frame, (None, Some(*key)), &mut send);
                struck = later;
            }
            block.finish(&mut send);
            self.judged
                .extend(self.engine.rehearsal_mut().take_judged());
            self.frames = end;
        }
    }

    /// Plays on for so many beats at the tempo.
    fn go_on(&mut self, song: Option<Beats>, beats: Beats, struck: &[(u64, Key)]) {
        let blocks = (frames_of(beats) / 480.0).round() as usize;
        self.play(song, &vec![480; blocks], struck);
    }
}

fn frames_of(beats: Beats) -> f64 {
    beats * 60.0 * RATE / TEMPO
}

/// Frames of what a part strikes.
fn strokes(sent: &Sent, of: Part) -> Vec<u64> {
    let is_stroke =
        |message: &Message| matches!(message, Message::NoteOn { part, .. } if *part == Some(of));
    sent.iter()
        .filter(|(_, message)| is_stroke(message))
        .map(|(at, _)| *at)
        .collect()
}

/// Frames of the clicks.
fn clicks(sent: &Sent) -> Vec<u64> {
    let is_click = |message: &Message| matches!(message, Message::NoteOn { channel, .. } if channel.number() == 9);
    sent.iter()
        .filter(|(_, message)| is_click(message))
        .map(|(at, _)| *at)
        .collect()
}

/// The channel that a message goes to.
fn channel(message: &Message) -> u8 {
    match message {
        Message::NoteOn { channel, .. }
        | Message::NoteOff { channel, .. }
        | Message::Tuning { channel, .. }
        | Message::Control { channel, .. } => channel.number(),
    }
}

/// What somebody strikes in a loop that begins at once at the tempo, a bar of four counted in.
fn performed(
    practice: &Practice,
    hand: Hand,
    seed: u64,
    ahead: impl Fn(Beats) -> f64,
) -> Vec<(u64, Key)> {
    let span = practice.round.span;
    let mut chance = Chance::new(seed);
    let ahead = |at| STEP * ahead(at);
    let played = performance(
        &process(),
        practice.part,
        span,
        500.0,
        hand,
        &mut chance,
        ahead,
    );
    let at = |beats: Beats| frames_of(4.0 + beats - span.start).round().max(0.0) as u64;
    played
        .iter()
        .map(|one| (at(one.struck.at), one.struck.key))
        .collect()
}

proptest! {
    #[test]
    fn the_part_that_is_mine_is_silent_and_the_others_are_unchanged_to_the_sample(
        phrase in phrase(),
        mut settings in settings(),
        part in select(Part::ALL.to_vec()),
        lengths in proptest::collection::vec(1u32..4000, 20..60),
        from in 0.0..200.0f64,
    ) {
        settings.output.all_on_one = false;
        let play = |practising| {
            let mut room = Room::new(&phrase, settings);
            room.controls.hold = true;
            room.controls.practising = practising;
            room.play(Some(from), &lengths, &[]);
            room.sent
        };
        let written = play(Practising::Not);
        let mine = Practice { part, ..practice(Part::Steady, Exercise::Whole) };
        let played = play(Practising::Playing(mine));
        let of_mine = procession_core::player::channel_of(part, &settings.output).number();
        let is_note = |message: &Message| !matches!(message, Message::Control { .. });
        let others: Sent = written
            .into_iter()
            .filter(|(_, message)| channel(message) != of_mine || !is_note(message))
            .collect();
        // Numbers of notes tell how many there were before, and mine are none.
        let unnumbered = |sent: &Sent| -> Vec<_> {
            let mut told: Vec<_> =
                sent.iter().map(|(at, message)| (*at, channel(message), nameless(message))).collect();
            // What comes first on one frame is not heard.
            told.sort();
            told
        };
        let (played, others) = (unnumbered(&played), unnumbered(&others));
        let differs = played.iter().zip(&others).find(|(one, other)| one != other);
        prop_assert_eq!(differs, None);
        prop_assert_eq!(played.len(), others.len());
    }
}

/// A message without the number of its note.
fn nameless(message: &Message) -> String {
    match message {
        Message::NoteOn {
            channel,
            key,
            velocity,
            part,
            ..
        } => {
            format!("on {channel:?} {key:?} {velocity:?} {part:?}")
        }
        Message::NoteOff { channel, key, .. } => format!("off {channel:?} {key:?}"),
        other => format!("{other:?}"),
    }
}

#[test]
fn by_itself_a_round_goes_round_at_its_own_tempo_counted_in_each_time() {
    // Half the tempo: a beat is 48 000 frames, a bar of four and two cycles of three beats are ten.
    let alone = Practice {
        pace: 0.5,
        ..practice(Part::COPY_1, Exercise::Whole)
    };
    let span = Span::new(0.0, 2.0 * CYCLE);
    let alone = Practice {
        round: procession_core::practice::Round {
            span,
            goal: Goal::Stay,
        },
        ..alone
    };
    let play = |lengths: &[u32]| {
        let mut room = Room::new(&bollard(), drifting());
        room.controls.practising = Practising::Playing(alone);
        room.play(None, lengths, &[]);
        room.sent
    };
    let sent = play(&[480; 2000]);
    let beat = 48_000;
    let bar = [0, 1, 2, 3];
    let counted: Vec<u64> = [0, 10]
        .iter()
        .flat_map(|begin| bar.map(|click| (begin + click) * beat))
        .collect();
    assert_eq!(clicks(&sent), counted);
    // The steps that are struck of the twelve, a quarter of a beat each.
    let steps = [0, 2, 3, 5, 6, 7, 9, 10, 11];
    let cycles = [4, 7, 14, 17];
    let steady: Vec<u64> = cycles
        .iter()
        .flat_map(|cycle| steps.map(|step| cycle * beat + step * beat / 4))
        .collect();
    assert_eq!(strokes(&sent, Part::Steady), steady);
    assert!(strokes(&sent, Part::COPY_1).is_empty(), "the copy is mine");
    let cut: Vec<u32> = [1, 777, 4096, 63].into_iter().cycle().take(780).collect();
    let last = cut
        .iter()
        .map(|frames| u64::from(*frames))
        .sum::<u64>()
        .min(960_000);
    let until = |sent: Sent| -> Sent { sent.into_iter().filter(|(at, _)| *at < last).collect() };
    assert_eq!(
        until(play(&cut)),
        until(sent),
        "however it is cut into blocks"
    );
}

#[test]
fn beats_are_clicked_on_the_way_if_asked_for() {
    let clicked = Practice {
        click: true,
        ..practice(Part::COPY_1, Exercise::Stage(0))
    };
    let mut room = Room::new(&bollard(), drifting());
    room.controls.practising = Practising::Playing(clicked);
    // A bar of four, and four cycles of three beats.
    room.go_on(None, 16.0, &[]);
    let beats: Vec<u64> = (0..16).map(|beat| beat * 24_000).collect();
    assert_eq!(clicks(&room.sent), beats);
}

#[test]
fn who_plays_a_stage_15_ms_late_is_told_so() {
    let practice = practice(Part::COPY_1, Exercise::Stage(2));
    let hand = Hand {
        late_ms: 15.0,
        uneven_ms: 5.0,
        ..Hand::default()
    };
    let struck = performed(&practice, hand, 3, |_| 1.0);
    let mut room = Room::new(&bollard(), drifting());
    room.controls.practising = Practising::Playing(practice);
    room.go_on(None, 16.1, &struck);
    let [judged] = room.judged[..] else {
        panic!("one pass: {:?}", room.judged)
    };
    assert!(
        (judged.pass.late_ms.unwrap() - 15.0).abs() < 2.0,
        "{judged:?}"
    );
    assert_eq!((judged.part, judged.tempo), (Part::COPY_1, TEMPO));
    assert_eq!((judged.pass.expected, judged.pass.stray), (36, 0));
}

#[test]
fn a_drift_that_arrives_and_one_that_is_pulled_back_are_told_apart_pass_after_pass() {
    let practice = practice(Part::COPY_1, Exercise::Drift(1));
    let hand = Hand {
        uneven_ms: 15.0,
        ..Hand::default()
    };
    let drift = (4.0 * CYCLE, 8.0 * CYCLE);
    let arrives = move |at: Beats| ((at - drift.0) / (drift.1 - drift.0)).clamp(0.0, 1.0);
    let mut struck = performed(&practice, hand, 1, arrives);
    let pass = 4.0 + practice.round.span.length();
    let again = performed(&practice, hand, 2, |_| 0.0);
    struck.extend(
        again
            .iter()
            .map(|(at, key)| (at + frames_of(pass) as u64, *key)),
    );
    let mut room = Room::new(&bollard(), drifting());
    room.controls.practising = Practising::Playing(practice);
    room.go_on(None, 2.0 * pass + 0.1, &struck);
    let outcomes: Vec<_> = room
        .judged
        .iter()
        .map(|one| one.pass.outcome.unwrap())
        .collect();
    assert!(
        matches!(outcomes[..], [Outcome::Arrived { .. }, Outcome::PulledBack]),
        "{outcomes:?}"
    );
}

#[test]
fn in_the_song_each_time_it_comes_through_is_a_pass() {
    let practice = practice(Part::COPY_1, Exercise::Stage(0));
    let mut room = Room::new(&bollard(), drifting());
    (room.controls.hold, room.controls.practising) = (true, Practising::Playing(practice));
    // Without a count-in: the song is where it is. A latency of 40 ms is taken off.
    let Practising::Playing(mine) = &mut room.controls.practising else {
        unreachable!()
    };
    mine.latency_ms = 40.0;
    let span = practice.round.span;
    let hand = Hand {
        late_ms: 40.0,
        ..Hand::default()
    };
    let played = performance(
        &process(),
        Part::COPY_1,
        span,
        500.0,
        hand,
        &mut Chance::new(1),
        |_| 0.0,
    );
    let struck: Vec<(u64, Key)> = played
        .iter()
        .map(|one| (frames_of(one.struck.at).round() as u64, one.struck.key))
        .collect();
    room.go_on(Some(0.0), 11.9, &struck);
    assert_eq!(room.engine.rehearsal().told().stage, Stage::Plays);
    room.go_on(Some(0.0), 1.0, &[]);
    assert_eq!(room.engine.rehearsal().told().stage, Stage::Waits);
    let [judged] = room.judged[..] else {
        panic!("one pass: {:?}", room.judged)
    };
    assert!(judged.pass.late_ms.unwrap().abs() < 1.0, "{judged:?}");
    assert!(
        judged.pass.matched >= judged.pass.expected - 1,
        "{judged:?}"
    );
}

#[test]
fn what_is_played_in_practice_is_no_phrase() {
    let mut room = Room::new(&bollard(), drifting());
    room.controls.practising = Practising::Playing(practice(Part::COPY_1, Exercise::Whole));
    let struck: Vec<(u64, Key)> = (0..40)
        .map(|note| (note * 9_000, Key::by_octave(60)))
        .collect();
    room.go_on(None, 18.0, &struck);
    room.controls.practising = Practising::Not;
    room.go_on(None, 1.0, &[]);
    (room.controls.hold, room.controls.by_hand) = (true, true);
    room.go_on(None, 1.0, &[]);
    assert!(room.engine.take_news().nothing_played);
    assert_eq!(*room.engine.process().phrase(), bollard());
}

#[test]
fn when_the_song_stops_practice_rests_until_it_is_asked_for_again() {
    let mut mine = practice(Part::COPY_1, Exercise::Stage(0));
    let mut room = Room::new(&bollard(), drifting());
    (room.controls.hold, room.controls.practising) = (true, Practising::Playing(mine));
    room.go_on(Some(0.0), 4.0, &[]);
    room.sent.clear();
    room.go_on(None, 8.0, &[]);
    assert!(strokes(&room.sent, Part::Steady).is_empty());
    assert_eq!(room.engine.rehearsal().told().stage, Stage::Rests);
    mine.number += 1;
    room.controls.practising = Practising::Playing(mine);
    room.go_on(None, 8.0, &[]);
    assert!(!strokes(&room.sent, Part::Steady).is_empty());
}

/// Linear phase correction by a half: who is 30 ms late is met at 30 ms, by hand 15, 22.5, 26.25...
#[test]
fn a_partner_who_gives_comes_to_meet_who_is_late_and_loses_no_note() {
    let gives = |manner| Practice {
        manner,
        ..practice(Part::COPY_1, Exercise::Stage(0))
    };
    let hand = Hand {
        late_ms: 30.0,
        ..Hand::default()
    };
    let play = |manner| {
        let mut room = Room::new(&bollard(), drifting());
        room.controls.practising = Practising::Playing(gives(manner));
        room.go_on(None, 16.0, &performed(&gives(manner), hand, 1, |_| 0.0));
        strokes(&room.sent, Part::Steady)
    };
    let (rigid, giving) = (play(Manner::Rigid), play(Manner::Follows(0.5)));
    assert_eq!(rigid.len(), 36);
    let late: Vec<f64> = giving
        .iter()
        .zip(&rigid)
        .map(|(one, other)| (one - other) as f64 / 48.0)
        .collect();
    assert_eq!(giving.len(), rigid.len());
    assert_eq!(late[0], 0.0);
    for (late, by_hand) in late[1..4].iter().zip([15.0, 22.5, 26.25]) {
        assert!((late - by_hand).abs() < 1.0, "{late} for {by_hand}");
    }
    assert!(
        late[12..].iter().all(|late| (late - 30.0).abs() < 1.0),
        "{late:?}"
    );
    assert_eq!(play(Manner::Follows(0.0)), rigid);
}

#[test]
fn the_latency_is_tapped_along_with_a_click() {
    let mut room = Room::new(&bollard(), drifting());
    room.controls.practising = Practising::Tapping(1);
    // 1104 frames are 23 ms.
    let taps: Vec<(u64, Key)> = (2..12)
        .map(|beat| (beat * 24_000 + 1104, Key::by_octave(60)))
        .collect();
    room.go_on(None, 12.0, &taps);
    assert_eq!(clicks(&room.sent).len(), 12);
    assert!(
        room.sent
            .iter()
            .all(|(_, message)| !matches!(message, Message::NoteOn { part: Some(_), .. }))
    );
    let told = room.engine.rehearsal().told();
    let latency = told.tapped.unwrap().unwrap();
    assert!(
        (latency.ms - 23.0).abs() < 0.1 && latency.spread_ms < 0.1,
        "{latency:?}"
    );
}

#[test]
fn practice_costs_the_audio_thread_no_memory() {
    let practice = practice(Part::COPY_1, Exercise::Stage(0));
    let struck = performed(&practice, Hand::default(), 1, |_| 0.0);
    let mut engine = Engine::new(RATE);
    engine.restore(&bollard(), Anchor::Song(0.0));
    let practising = Practising::Playing(Practice {
        manner: Manner::Follows(0.3),
        ..practice
    });
    let controls = Controls {
        settings: drifting(),
        practising,
        ..Controls::default()
    };
    let transport = Transport {
        tempo: Some(TEMPO),
        ..Transport::default()
    };
    let mut left = &struck[..];
    let mut passes = 0;
    assert_no_alloc(|| {
        for block in 0..1610u64 {
            let mut begun = engine.begin(&transport, 480, &controls, |_| ());
            while let Some(((_, key), later)) = left
                .split_first()
                .filter(|((at, _), _)| *at < 480 * (block + 1))
            {
                begun.note_on(0, (None, Some(*key)), Velocity::new(0.5), |_| ());
                left = later;
            }
            begun.finish(|_| ());
            passes += u32::from(engine.rehearsal_mut().take_judged().is_some());
        }
    });
    assert_eq!(passes, 2);
}

#[test]
fn a_form_is_practised_whole_by_stages_by_drifts_and_at_its_seams() {
    let process = process();
    let form = Form::new(&process);
    let first: Vec<_> = exercises(&form, Part::COPY_1).take(6).collect();
    use Exercise::{Drift, Seam, Stage, Whole};
    assert_eq!(
        first,
        [Whole, Stage(0), Seam(0), Stage(1), Drift(1), Seam(1)]
    );
    let span = |exercise| round_of(&form, 0.0, Part::COPY_1, exercise).unwrap().span;
    let cycles = |from, to| Span::new(from * CYCLE, to * CYCLE);
    assert_eq!(span(Stage(1)), cycles(4.0, 8.0));
    assert_eq!(span(Seam(0)), cycles(2.0, 6.0));
    assert_eq!(span(Drift(1)), cycles(3.0, 11.0));
    assert_eq!(span(Whole).start, 0.0);
    // The steady voice drifts nowhere.
    assert!(!exercises(&form, Part::Steady).any(|exercise| matches!(exercise, Drift(_))));
    assert_eq!(round_of(&form, 0.0, Part::COPY_1, Drift(0)), None);
    assert_eq!(round_of(&form, 0.0, Part::COPY_1, Stage(9999)), None);
    assert_eq!(
        exercise_words(&form, Part::COPY_1, Drift(1)),
        "the drift of stage 2 to 1 step ahead"
    );
    assert_eq!(
        exercise_words(&form, Part::COPY_1, Seam(0)),
        "the seam of stages 1 and 2"
    );
    // Fanned, copy 2 gains two steps while copy 1 gains one.
    let mut two = drifting();
    two.motion.copies = 2;
    let form = Form::new(&Process::new(bollard(), two, 0.0));
    assert_eq!(
        exercise_words(&form, Part::copy(2).unwrap(), Drift(1)),
        "the drift of stage 2 to 2 steps ahead"
    );
}

/// What waits for a cue lasts as long as is proposed; in the song, and when practice is over, it waits
/// again.
#[test]
fn by_itself_a_form_on_cue_goes_as_it_is_proposed_stage_by_stage() {
    let mut on_cue = drifting();
    on_cue.motion.advance = Advance::OnCue;
    let written = {
        let process = Process::new(bollard(), on_cue, 0.0);
        process.voices().as_route()
    };
    let room = |settings: Settings, route: Option<&Route>| {
        let mut room = Room::new(&bollard(), settings);
        if let Some(route) = route {
            room.engine.set_route(route);
        }
        room.controls.practising = Practising::Playing(practice(Part::Steady, Exercise::Stage(1)));
        // A bar of four, and four cycles of three beats; twice.
        room.go_on(None, 32.0, &[]);
        room
    };
    let counted = room(drifting(), None);
    let copy = strokes(&counted.sent, Part::COPY_1);
    assert!(copy.len() > 60, "{}", copy.len());
    for route in [None, Some(&written)] {
        let mut cued = room(on_cue, route);
        assert_eq!(strokes(&cued.sent, Part::COPY_1), copy);
        assert!(!cued.engine.process().voices().are_cued());
        cued.controls.practising = Practising::Not;
        cued.go_on(None, 1.0, &[]);
        assert!(cued.engine.process().voices().are_cued());
    }
    let mut cued = room(on_cue, None);
    cued.controls.hold = true;
    let from = -(cued.frames as f64) * TEMPO / (60.0 * RATE);
    cued.go_on(Some(from), 20.0, &[]);
    let voices = cued.engine.process().voices();
    assert!(voices.are_cued());
    assert_eq!(
        voices.displacement(Part::COPY_1, 19.0),
        Some(0.0),
        "it waits"
    );
}

/// Where copies jump, the seam is the move.
#[test]
fn at_the_seam_of_a_jump_the_part_has_somewhere_to_get_to() {
    let mut settings = drifting();
    settings.motion.motion = Motion::Jump;
    let form = Form::new(&Process::new(bollard(), settings, 0.0));
    let goal = |part| round_of(&form, 0.0, part, Exercise::Seam(0)).unwrap().goal;
    let at = 4.0 * CYCLE;
    let during = Span::new(at, at);
    let jumps = Goal::Move {
        during,
        from: 0.0,
        to: 1.0,
        cycle: CYCLE,
    };
    assert_eq!(goal(Part::COPY_1), jumps);
    assert_eq!(goal(Part::Steady), Goal::Stay);
}
