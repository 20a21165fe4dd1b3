//! Heard again: what was performed in the song is heard there from any position, cues included, as
//! long as the controls agree.

use procession_core::clock::Transport;
use procession_core::engine::{Anchor, Controls, Engine};
use procession_core::form::{Doing, Form, Made};
use procession_core::ledger::Message;
use procession_core::part::Part;
use procession_core::performance::Performance;
use procession_core::performed::{Happened, MOST_MOMENTS, Performed};
use procession_core::phrase::Phrase;
use procession_core::player::channel_of;
use procession_core::process::Process;
use procession_core::settings::{
    Advance, Growth, GrowthSettings, Motion, MotionSettings, Settings,
};
use procession_core::time::Beats;
use proptest::prelude::*;

const RATE: f64 = 48_000.0;
/// At 120 beats a minute.
const FRAMES_A_BEAT: f64 = 24_000.0;
/// The process begins with bar 2.
const ORIGIN: Beats = 4.0;

fn phrase() -> Phrase {
    Phrase::from_text("D4 F4 G4 A4 C5 E4", 0.25).expect("these words are notes")
}

fn settings(motion: Motion, dwell: u32, shift_by: i32) -> Settings {
    Settings {
        motion: MotionSettings {
            motion,
            dwell,
            shift_by,
            drift: 2,
            copies: 2,
            ..MotionSettings::default()
        },
        ..Settings::default()
    }
}

/// What a performer does, at a frame of the song.
// Small beside what a test holds anyway.
#[allow(clippy::large_enum_variant)]
#[derive(Clone, Copy, Debug)]
enum Act {
    Cue,
    Set(Settings),
}

/// What a host plays, told in absolute frames.
struct Host {
    engine: Engine,
    controls: Controls,
    frame: u64,
    heard: Vec<(u64, Message)>,
}

impl Host {
    fn new(settings: Settings) -> Self {
        let mut engine = Engine::new(RATE);
        engine.restore(&phrase(), Anchor::Song(ORIGIN));
        let controls = Controls {
            settings,
            hold: true,
            ..Controls::default()
        };
        let mut host = Self {
            engine,
            controls,
            frame: 0,
            heard: Vec::new(),
        };
        host.block(false, 0);
        host
    }

    fn block(&mut self, playing: bool, frames: u64) {
        let transport = Transport {
            playing,
            tempo: Some(120.0),
            position: Some(self.frame as f64 / FRAMES_A_BEAT),
        };
        let (begun, heard) = (self.frame, &mut self.heard);
        let mut hear = |event: procession_core::player::Event| {
            heard.push((begun + u64::from(event.frame), event.message));
        };
        let block = self
            .engine
            .begin(&transport, frames as u32, &self.controls, &mut hear);
        block.finish(&mut hear);
        if playing {
            self.frame += frames;
        }
    }

    fn act(&mut self, act: Act) {
        match act {
            Act::Set(settings) => self.controls.settings = settings,
            Act::Cue => {
                // A switch that is pressed, and let go with the next block.
                self.controls.cue = true;
                self.block(true, 1);
                self.controls.cue = false;
            }
        }
    }

    /// Rolls to a frame in blocks of these lengths, with what is done on the way: on its frame.
    fn roll(&mut self, end: u64, lengths: &[u64], acts: &[(u64, Act)]) {
        let mut lengths = lengths.iter().cycle();
        let mut acts = acts
            .iter()
            .filter(|(at, _)| *at >= self.frame)
            .collect::<Vec<_>>();
        acts.sort_by_key(|(at, _)| *at);
        let mut acts = acts.into_iter().peekable();
        while self.frame < end {
            while let Some((_, act)) = acts.next_if(|(at, _)| *at <= self.frame) {
                self.act(*act);
            }
            let next = acts.peek().map_or(end, |(at, _)| (*at).min(end));
            let length = *lengths.next().expect("it goes round");
            self.block(true, length.min(next.saturating_sub(self.frame)).max(1));
        }
    }

    /// The song stops, and is put elsewhere.
    fn stop_at(&mut self, frame: u64) {
        self.block(false, 64);
        self.frame = frame;
        self.block(false, 64);
        self.heard.clear();
    }

    /// The onsets from a frame on: when, who, which key. Ids tell notes of one run apart, and
    /// are nothing to the ear.
    fn onsets_from(&self, frame: u64) -> Vec<(u64, u8, u8)> {
        let onset = |(at, message): &(u64, Message)| match message {
            Message::NoteOn { channel, key, .. } => Some((*at, channel.number(), key.number())),
            _ => None,
        };
        let mut onsets: Vec<_> = self.heard.iter().filter_map(onset).collect();
        onsets.retain(|(at, ..)| *at >= frame);
        onsets.sort_unstable();
        onsets
    }
}

fn frames(beats: Beats) -> u64 {
    (beats * FRAMES_A_BEAT).round() as u64
}

fn any_settings() -> impl Strategy<Value = Settings> {
    (
        prop_oneof![
            Just(Motion::Drift),
            Just(Motion::Jump),
            Just(Motion::BuildUp)
        ],
        1..5u32,
        -2..4i32,
        prop_oneof![3 => Just(Growth::Off), 1 => Just(Growth::Fill), 1 => Just(Growth::Lengthen)],
        prop_oneof![Just(Advance::Counted), Just(Advance::OnCue)],
    )
        .prop_map(|(motion, dwell, shift_by, growth, advance)| {
            let mut settings = settings(motion, dwell, shift_by);
            settings.motion.advance = advance;
            settings.growth = GrowthSettings {
                growth,
                every: 1,
                ..GrowthSettings::default()
            };
            settings
        })
}

fn any_act() -> impl Strategy<Value = Act> {
    prop_oneof![Just(Act::Cue), any_settings().prop_map(Act::Set)]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// The third law of the route. Played on from any bar, with the controls where a host's lanes
    /// put them, the same notes on the same frames; a project that was saved and opened in between
    /// is no different.
    #[test]
    fn a_performance_is_heard_again_from_any_bar(
        first in any_settings(),
        acts in proptest::collection::vec((ORIGIN + 0.3..50.0, any_act()), 0..24),
        from in 2..12u32,
        lengths in proptest::collection::vec(1..4000u64, 1..4),
        opened in any::<bool>(),
    ) {
        let acts: Vec<_> = acts.into_iter().map(|(at, act)| (frames(at), act)).collect();
        let end = frames(60.0);
        let mut host = Host::new(first);
        host.roll(end, &[512], &acts);
        let from = frames(f64::from(from) * 4.0);
        let performed = host.onsets_from(from + frames(0.05));

        let mut sorted = acts.clone();
        sorted.sort_by_key(|(at, _)| *at);
        let told = |act: &&(u64, Act)| act.0 <= from;
        let last = sorted.iter().take_while(told).filter_map(|(_, act)| match act {
            Act::Set(settings) => Some(*settings),
            Act::Cue => None,
        }).last();
        let mut again = if opened { reopened(&host, first) } else { host };
        again.controls.settings = last.unwrap_or(first);
        again.stop_at(from);
        // Lanes tell their values again; nobody cues.
        let lanes: Vec<_> = acts
            .iter()
            .filter(|(at, act)| *at > from && matches!(act, Act::Set(_)))
            .copied()
            .collect();
        again.roll(end, &lengths, &lanes);
        let heard = again.onsets_from(from + frames(0.05));
        let other = heard.iter().zip(&performed).find(|(heard, performed)| heard != performed);
        prop_assert_eq!(other, None);
        prop_assert_eq!(heard.len(), performed.len());
    }
}

/// What was performed, unrolled after it was over.
fn told(host: &Host) -> Performance<'static> {
    let process = Process::new(phrase(), host.controls.settings, ORIGIN);
    Performance::new(&process, host.engine.performed().told()).into_owned()
}

/// Who strikes which key on which frame, up to song position `end`.
fn onsets_told(performance: &Performance, end: Beats) -> Vec<(u8, u8, u64)> {
    let output = performance.future().settings().output;
    let notes = performance.notes(end, usize::MAX - 1);
    let onset = |note: &procession_core::process::VoiceNote| {
        let channel = channel_of(note.part, &output).number();
        (channel, note.key.number(), frames(note.on))
    };
    in_order(notes.iter().map(onset))
}

/// Strokes of one key on one frame are one.
fn in_order(onsets: impl Iterator<Item = (u8, u8, u64)>) -> Vec<(u8, u8, u64)> {
    let mut onsets: Vec<_> = onsets.collect();
    onsets.sort_unstable();
    onsets.dedup();
    onsets
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Unrolled, a performance is note for note what was heard; and after it, if nothing waits for a
    /// cue, what goes on to be heard.
    #[test]
    fn unrolled_a_performance_is_what_was_heard(
        first in any_settings(),
        acts in proptest::collection::vec((ORIGIN + 0.3..50.0, any_act(), 0..4usize), 0..24),
    ) {
        let act = |(at, act, copies): (Beats, Act, usize)| {
            let act = match act {
                Act::Set(mut settings) => {
                    settings.motion.copies = copies;
                    Act::Set(settings)
                }
                Act::Cue => Act::Cue,
            };
            (frames(at), act)
        };
        let acts: Vec<_> = acts.into_iter().map(act).collect();
        let mut host = Host::new(first);
        host.roll(frames(60.0), &[512], &acts);
        let told = told(&host);
        let waits = host.engine.process().voices().are_cued();
        let end = match told.until() {
            Some(until) if waits => until.min(60.0),
            None if waits => ORIGIN,
            _ => 60.0,
        };
        let onset = |(at, channel, key): (u64, u8, u8)| (channel, key, at);
        let heard = in_order(host.onsets_from(0).into_iter().map(onset));
        let told = onsets_told(&told, end);
        // Up to a frame near the end on which nothing is struck, however it is rounded.
        let mut last = frames(end - 0.01);
        while heard.iter().any(|(.., at)| at.abs_diff(last) < 3) {
            last -= 3;
        }
        let before = |onsets: Vec<(u8, u8, u64)>| -> Vec<(u8, u8, u64)> {
            onsets.into_iter().filter(|(.., at)| *at < last).collect()
        };
        let (heard, told) = (before(heard), before(told));
        let apart = |(heard, told): &(&(u8, u8, u64), &(u8, u8, u64))| {
            (heard.0, heard.1) != (told.0, told.1) || heard.2.abs_diff(told.2) > 1
        };
        prop_assert_eq!(heard.iter().zip(&told).find(apart), None);
        prop_assert_eq!(heard.len(), told.len());
    }

    /// The stages of a performance follow each other without gaps, and what they say of a copy is
    /// where it was when it was played.
    #[test]
    fn the_form_of_a_performance_is_where_copies_were(
        first in any_settings(),
        acts in proptest::collection::vec((ORIGIN + 0.3..50.0, any_act()), 1..16),
    ) {
        let acts: Vec<_> = acts.into_iter().map(|(at, act)| (frames(at), act)).collect();
        let mut host = Host::new(first);
        let mut heard = Vec::new();
        while host.frame < frames(60.0) {
            let next = host.frame + frames(0.7);
            host.roll(next, &[512], &acts);
            let at = host.frame as f64 / FRAMES_A_BEAT;
            let ahead = host.engine.process().voices().displacement(Part::COPY_1, at);
            heard.push((at, ahead));
        }
        let told = told(&host);
        let form = Form::of(&told);
        for pair in form.stages.windows(2) {
            prop_assert_eq!(pair[0].span.end, pair[1].span.start);
        }
        let until = told.until().unwrap_or(ORIGIN);
        // What comes up to a hair after a change is as that has it.
        let changes = |at: f64| acts.iter().any(|(act, _)| act.abs_diff(frames(at)) < 100);
        let heard = heard.into_iter().filter(|(at, _)| !changes(*at));
        for (at, ahead) in heard.filter(|(at, _)| *at < until - 0.01) {
            let voices = told.at(at);
            let said = voices.voices().displacement(Part::COPY_1, at);
            prop_assert!(said.zip(ahead).is_none_or(|(a, b)| (a - b).abs() < 1e-6), "{}", at);
            let Some(stage) = form.stage_at(at) else { continue };
            let stage = &form.stages[stage];
            let copy = stage.copies[0];
            let inside = at > stage.span.start + 0.01 && at < stage.span.end - 0.01;
            if inside && copy.doing == Doing::Locked && ahead.is_some() {
                let steps = ahead.unwrap_or_default() / 0.25;
                prop_assert!((steps - copy.from).abs() < 1e-2, "{} {:?}", at, stage);
            }
        }
    }
}

/// The same instance, as a project opens it.
fn reopened(host: &Host, first: Settings) -> Host {
    let mut other = Host::new(first);
    let mut process = Process::new(phrase(), host.controls.settings, ORIGIN);
    let mut performed = Box::<Performed>::default();
    performed.recollect(host.engine.performed().told(), &mut process);
    other.engine.restore_performed(&performed);
    other
}

fn on_cue() -> Settings {
    let mut settings = settings(Motion::Jump, 2, 1);
    settings.motion.advance = Advance::OnCue;
    settings
}

/// Copy 1's steps ahead.
fn steps(host: &Host) -> f64 {
    let at = host.frame as f64 / FRAMES_A_BEAT;
    let part = procession_core::part::Part::COPY_1;
    let voices = host.engine.process().voices();
    (voices.displacement(part, at).expect("it plays") / 0.25).round()
}

/// Cycles of 1.5 beats from beat 4 on.
fn cued_at_10_and_20() -> Host {
    let mut host = Host::new(on_cue());
    let cues = [(frames(9.8), Act::Cue), (frames(19.9), Act::Cue)];
    host.roll(frames(30.0), &[512], &cues);
    host
}

#[test]
fn cues_come_again_where_they_came() {
    let mut host = cued_at_10_and_20();
    assert_eq!(steps(&host), 2.0);
    host.stop_at(frames(15.0));
    host.roll(frames(16.0), &[480], &[]);
    assert_eq!(steps(&host), 1.0);
    host.roll(frames(22.0), &[480], &[]);
    assert_eq!(steps(&host), 2.0);
    assert_eq!(host.engine.performed().moments().len(), 2);
}

/// Cycles of 1.5 beats from beat 4 on. A cue at 9.8 is followed at 10, one at 19.9 at 20.5; from there
/// on dwells are counted as 2 cycles.
#[test]
fn stages_that_were_performed_are_as_long_as_they_were() {
    let performance = told(&cued_at_10_and_20());
    assert_eq!(performance.until(), Some(20.5));
    let form = Form::of(&performance);
    let stages: Vec<_> = form.stages[..4]
        .iter()
        .map(|stage| {
            (
                stage.span.start,
                stage.copies[0].from,
                stage.on_cue,
                stage.made,
            )
        })
        .collect();
    assert_eq!(
        stages,
        [
            (4.0, 0.0, false, Made::Performed),
            (10.0, 1.0, true, Made::Performed),
            (20.5, 2.0, true, Made::Generated),
            (23.5, 3.0, false, Made::Generated),
        ]
    );
}

/// Settings that were never performed are right, and nothing is told of what was.
#[test]
fn what_the_controls_contradict_is_not_told() {
    let mut host = cued_at_10_and_20();
    host.controls.settings.motion.dwell = 7;
    let performance = told(&host);
    assert_eq!(performance.until(), None);
    let first = &Form::of(&performance).stages[0];
    assert_eq!(
        (first.span.end, first.made),
        (4.0 + 7.0 * 1.5, Made::Generated)
    );
}

#[test]
fn with_its_origin_a_performance_begins_anew_and_the_next_cue_replaces_it() {
    let mut host = cued_at_10_and_20();
    host.stop_at(0);
    host.roll(frames(15.0), &[512], &[]);
    assert_eq!(steps(&host), 0.0);
    // Nothing is lost before something else is performed.
    assert_eq!(host.engine.performed().moments().len(), 2);
    host.roll(frames(17.0), &[512], &[(frames(15.2), Act::Cue)]);
    assert_eq!(steps(&host), 1.0);
    assert_eq!(host.engine.performed().moments().len(), 1);
}

#[test]
fn a_cue_on_the_way_replaces_what_was_performed_from_there_on() {
    let mut host = cued_at_10_and_20();
    host.stop_at(frames(12.0));
    host.roll(frames(30.0), &[512], &[(frames(14.0), Act::Cue)]);
    assert_eq!(steps(&host), 2.0);
    let at = |moment: &procession_core::performed::Moment| moment.at;
    let told: Vec<Beats> = host.engine.performed().moments().iter().map(at).collect();
    assert!((told[0] - 5.8).abs() < 1e-3 && (told[1] - 10.0).abs() < 1e-3 && told.len() == 2);
}

#[test]
fn if_the_controls_say_otherwise_the_past_is_what_they_say() {
    let mut host = Host::new(settings(Motion::Jump, 2, 1));
    let slower = settings(Motion::Jump, 4, 1);
    host.roll(frames(30.0), &[512], &[(frames(17.3), Act::Set(slower))]);
    let performed = steps(&host);
    // Dwells of 3 beats from 4 on: four are over at 16; the fifth, now of 6, ends at 22, then 28.
    assert_eq!(performed, 6.0);
    host.controls.settings = settings(Motion::Jump, 8, 1);
    host.stop_at(frames(29.0));
    host.roll(frames(30.0), &[512], &[]);
    // Dwells of 12 beats from the origin on.
    assert_eq!(steps(&host), 2.0);
    host.controls.settings = slower;
    host.stop_at(frames(29.0));
    host.roll(frames(30.0), &[512], &[]);
    assert_eq!(steps(&host), performed);
    host.engine.restore_performed(&Box::<Performed>::default());
    host.stop_at(frames(29.0));
    host.roll(frames(30.0), &[512], &[]);
    assert_eq!(steps(&host), 4.0);
}

/// A host's lane and its plug-in's memory are the same performance: told again where it was, a value
/// changes nothing, though blocks are cut otherwise.
#[test]
fn a_value_told_again_where_it_was_told_changes_nothing() {
    let mut host = Host::new(settings(Motion::Jump, 2, 1));
    let slower = settings(Motion::Jump, 4, 1);
    let acts = [(frames(17.3), Act::Set(slower))];
    host.roll(frames(30.0), &[512], &acts);
    let before = host.engine.performed().moments().to_vec();
    host.controls.settings = settings(Motion::Jump, 2, 1);
    host.stop_at(frames(8.0));
    // Late by a block of 1000 frames.
    host.roll(
        frames(30.0),
        &[512],
        &[(frames(17.3) + 1000, Act::Set(slower))],
    );
    assert_eq!(host.engine.performed().moments(), before);
    assert_eq!(steps(&host), 6.0);
}

#[test]
fn a_loop_that_copies_go_through_on_cue_goes_on_and_is_not_remembered() {
    let mut host = Host::new(on_cue());
    host.roll(frames(12.0), &[512], &[(frames(9.0), Act::Cue)]);
    for round in 1..4 {
        host.frame = frames(10.0);
        host.roll(frames(13.0), &[512], &[(frames(10.2), Act::Cue)]);
        assert_eq!(steps(&host), f64::from(1 + round));
    }
    let cues = |host: &Host| host.engine.performed().moments().len();
    assert_eq!(cues(&host), 1);
    host.stop_at(frames(14.0));
    host.roll(frames(15.0), &[512], &[]);
    assert_eq!(steps(&host), 1.0);
}

/// The song rolls from `from` to `to` at `tempo`, in blocks of a hundredth of a beat.
fn roll_at(engine: &mut Engine, from: f64, to: f64, tempo: f64) {
    let frames = (0.01 * RATE * 60.0 / tempo).round();
    let block = frames * tempo / (60.0 * RATE);
    let controls = Controls {
        settings: settings(Motion::Jump, 2, 1),
        hold: true,
        ..Controls::default()
    };
    for count in 0..((to - from) / block).round() as u32 {
        let transport = Transport {
            playing: true,
            tempo: Some(tempo),
            position: Some(from + f64::from(count) * block),
        };
        let block = engine.begin(&transport, frames as u32, &controls, |_| ());
        block.finish(|_| ());
    }
}

/// 12 beats after the origin, at beat 16, the song goes at half the tempo, and that is known from
/// then on, whatever else is performed, until it is to be forgotten.
#[test]
fn how_fast_the_song_went_is_remembered() {
    let mut engine = Engine::new(RATE);
    engine.restore(&phrase(), Anchor::Song(ORIGIN));
    roll_at(&mut engine, 0.0, 16.0, 120.0);
    assert!(engine.performed().told().tempi.is_empty());
    roll_at(&mut engine, 16.0, 24.0, 60.0);
    let tempi = &engine.performed().told().tempi;
    let [first, second] = tempi.steps() else {
        panic!("two tempi: {tempi:?}");
    };
    assert_eq!((first.at, first.tempo), (0.0, 120.0));
    assert!(
        (second.at - 12.0).abs() < 1e-3 && (second.tempo - 60.0).abs() < 1e-6,
        "{second:?}"
    );
    assert!((tempi.seconds(20.0) - 14.0).abs() < 1e-3);
    engine.restore_performed(&Box::<Performed>::default());
    assert!(engine.performed().told().tempi.is_empty());
}

#[test]
fn there_is_room_for_a_long_evening_and_then_no_more() {
    let mut host = Host::new(settings(Motion::Jump, 2, 1));
    let acts: Vec<_> = (0..MOST_MOMENTS as u64 + 40)
        .map(|turn| {
            let dwell = 2 + (turn % 3) as u32;
            let at = frames(ORIGIN + 1.0) + turn * 700;
            (at, Act::Set(settings(Motion::Jump, dwell, 1)))
        })
        .collect();
    host.roll(frames(60.0), &[4096], &acts);
    let performed = host.engine.performed();
    assert!(performed.told().moments.is_full());
    assert_eq!(performed.moments().len(), MOST_MOMENTS);
    let shaped = |what: &Happened| matches!(what, Happened::Shaped(_));
    assert!(
        performed
            .moments()
            .iter()
            .all(|moment| shaped(&moment.what))
    );
}
