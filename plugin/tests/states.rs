//! Saved projects: of this version, of others, cut off, and made of nonsense.

use nice_plug::params::Params;
use nice_plug::plugin::{ParamValue, PluginState};
use procession::declaration::Kind;
use procession::handover::Cause;
use procession::params::{DECLARATIONS, Parameters};
use procession::practice::{Desk, Partner, Passed};
use procession::state::{
    Comes, KEPT, Kept, Sketches, Taken, Takes, VERSION, Voice, WindowSize, filter,
};
use procession_core::engine::Anchor;
use procession_core::follower::{Outcome, Pass};
use procession_core::metre::{Grouping, Metre};
use procession_core::mode::{ModeName, PitchSet};
use procession_core::note::{Key, Note, Syllable, Velocity};
use procession_core::part::{MAX_COPIES, Part};
use procession_core::performed::{Happened, Moment, Recollection, Shape};
use procession_core::phrase::{Bar, Phrase};
use procession_core::practice::Exercise;
use procession_core::reciter::Utterance;
use procession_core::route::{Afterwards, Dwell, Route, Turn, Way, WrittenStage};
use procession_core::settings::{
    Advance, CopiesMove, Modulation, Modulations, Motion, MotionSettings, Place, Settings, Shifts,
};
use procession_core::tempo_map::{TempoMap, TempoStep};
use serde_json::{Value, json};
use std::sync::Arc;

fn state(json: &str) -> PluginState {
    serde_json::from_str(json).expect("a state as hosts keep it")
}

fn version_1() -> PluginState {
    state(include_str!("states/version-1.json"))
}

fn note(onset: f64, length: f64, key: u8, velocity: f32) -> Note {
    Note {
        onset,
        length,
        key: Key::new(key).expect("a key"),
        velocity: Velocity::new(velocity),
        said: None,
    }
}

/// What `states/version-1.json` keeps beside the parameters.
fn kept_in_version_1() -> Kept {
    let notes = [
        note(0.0, 0.25, 62, 0.8),
        note(1.0 / 3.0, 1.0 / 3.0, 65, 0.5),
        note(1.5, 0.5, 69, 1.0),
    ];
    Kept {
        taken: Taken {
            phrase: Phrase::new(notes, 2.0).expect("a phrase"),
            anchor: Anchor::Song(17.25),
        },
        seed: 20411,
        custom: PitchSet::of(&[0, 2, 3, 7, 8]),
        // There was no such thing yet.
        modulations: Modulations::default(),
        begins_at: None,
        grouping: Grouping::Undivided,
        route: Arc::default(),
        performed: Arc::default(),
        practice: Arc::default(),
        voice: None,
        takes: Takes::default(),
        sketches: Sketches::default(),
        comes: Comes::Now,
        window: WindowSize {
            width: 1200,
            height: 700,
            zoom: 1.25,
            dark: false,
        },
    }
}

fn version_2() -> PluginState {
    state(include_str!("states/version-2.json"))
}

/// What `states/version-2.json` keeps beside the parameters: a bar of 7/8, begun with a pick-up of
/// an eighth, and a modulation.
fn kept_in_version_2() -> Kept {
    let notes = [
        note(0.0, 0.5, 62, 0.8),
        note(0.5, 0.5, 65, 0.5),
        note(2.0, 1.5, 69, 1.0),
    ];
    let metre = Metre::new(7, 8).expect("a metre");
    let phrase = Phrase::new(notes, 3.5).expect("a phrase");
    Kept {
        taken: Taken {
            phrase: phrase.with_bar(Some(Bar {
                metre,
                begins: 0.5,
                // It was in no place of its own then.
                pick_up: false,
            })),
            anchor: Anchor::NextStart,
        },
        modulations: Modulations::new([modulation(Place::Stage(2), ModeName::Lydian, 4)]),
        ..kept_in_version_1()
    }
}

#[test]
fn a_project_of_version_2_knows_the_bar_of_its_phrase() {
    let (parameters, _) = Parameters::new();
    load(&parameters, version_2());
    assert_eq!(parameters.kept.notice(), None);
    assert_eq!(parameters.kept.current(), kept_in_version_2());
    assert!(parameters.kept.current().taken.phrase.bar().is_some());
    // What is saved of it is what was loaded, but for where keys stand.
    let again: Value = serde_json::from_str(&parameters.serialize_fields()[KEPT]).expect("JSON");
    let mut before: Value = serde_json::from_str(&version_2().fields[KEPT]).expect("JSON");
    before["version"] = VERSION.into();
    assert_eq!(again, before);
}

#[test]
fn groups_and_a_pick_up_are_kept_and_damage_to_them_leaves_the_bar() {
    let seven = Metre::grouped([3, 2, 2], 8).expect("a metre");
    let (parameters, _) = Parameters::new();
    let bar = Bar::around(seven, 0.5);
    parameters.kept.edit(|kept| {
        let phrase = Phrase::new([note(0.0, 0.5, 62, 0.8)], 3.5).expect("a phrase");
        kept.taken.phrase = phrase.with_bar(Some(bar));
        kept.grouping = Grouping::Written(seven);
    });
    let before = parameters.kept.current();
    let saved = parameters.serialize_fields()[KEPT].clone();
    let (again, _) = Parameters::new();
    load(&again, with_kept(&saved));
    assert_eq!(again.kept.notice(), None);
    assert_eq!(again.kept.current().taken.phrase.bar(), Some(bar));
    assert_eq!(again.kept.current().taken.phrase.pick_up(), 0.5);
    assert_eq!(again.kept.current().grouping, before.grouping);
    // A new project says that its bars are grouped as is usual.
    let (new, _) = Parameters::new();
    load(&again, with_kept(&new.serialize_fields()[KEPT]));
    assert_eq!(again.kept.current().grouping, Grouping::Usual);
    // Groups that make another bar.
    let damaged = saved.replace("[3,2,2]", "[3,3,3]");
    load(&again, with_kept(&damaged));
    let metre = again.kept.current().taken.phrase.bar().map(|bar| bar.metre);
    assert_eq!(metre, Metre::new(7, 8));
    let damaged = saved.replace("3+2+2/8", "3+2+ferry");
    load(&again, with_kept(&damaged));
    let message = again.kept.notice().expect("a message says so").0;
    assert!(
        message.contains("\"3+2+ferry\" is not a metre"),
        "{message}"
    );
    assert_eq!(again.kept.current().grouping, Grouping::Written(seven));
}

fn version_3() -> PluginState {
    state(include_str!("states/version-3.json"))
}

/// The route in `states/version-3.json`: three stages of two copies, of which the second waits for
/// a cue and the third turns the mode and sounds two notes of the phrase; then round again from the
/// second.
fn route_in_version_3() -> Route {
    let stage = |motion, over, dwell, ahead: [f64; 2]| {
        let mut stage = WrittenStage {
            way: Way { motion, over },
            dwell,
            ahead: [0.0; MAX_COPIES],
            grown: None,
            turn: None,
        };
        stage.ahead[..2].copy_from_slice(&ahead);
        stage
    };
    let last = WrittenStage {
        grown: Some(2),
        turn: Some(Turn {
            tonic: 7,
            mode: ModeName::Aeolian,
            over: 3,
        }),
        ..stage(Motion::BuildUp, 4, Dwell::Cycles(64), [-3.0, 2.5])
    };
    let stages = [
        stage(Motion::Jump, 1, Dwell::Cycles(6), [0.0, 0.0]),
        stage(Motion::Drift, 5, Dwell::UntilCued, [1.0, 0.0]),
        last,
    ];
    let mut gained = [0.0; MAX_COPIES];
    gained[1] = 14.0;
    Route::new(&stages, Afterwards::Repeat { from: 1, gained }).expect("a route")
}

/// What was performed in `states/version-3.json`: a cue, and then a dwell of 6 cycles instead of 8,
/// without end.
fn performed_in_version_3() -> Recollection {
    let mut settings = Settings::default();
    settings.motion = MotionSettings {
        copies: 3,
        motion: Motion::Jump,
        shift_by: -2,
        copies_move: CopiesMove::Together,
        advance: Advance::OnCue,
        dwell: 8,
        drift: 4,
        shifts: Shifts::Count(5),
        entry: 1,
        ..settings.motion
    };
    settings.growth.step = 2;
    let mut told = Recollection {
        first: Some(Shape::of(&settings)),
        ..Recollection::default()
    };
    settings.motion.dwell = 6;
    settings.motion.shifts = Shifts::Endless;
    let changed = Happened::Shaped(Shape::of(&settings));
    for (at, what) in [(10.5, Happened::Cue), (24.25, changed)] {
        told.moments.push(Moment { at, what });
    }
    told
}

/// `states/version-3.json` is the same with a beginning that was written, at bar 33 of 7/8, a route,
/// and a performance.
#[test]
fn a_project_of_version_3_knows_where_it_was_written_to_begin_which_route_it_takes_and_what_was_performed()
 {
    let (parameters, _) = Parameters::new();
    load(&parameters, version_3());
    assert_eq!(parameters.kept.notice(), None);
    let kept = Kept {
        begins_at: Some(112.0),
        route: Arc::new(route_in_version_3()),
        performed: Arc::new(performed_in_version_3()),
        ..kept_in_version_2()
    };
    assert_eq!(parameters.kept.current(), kept);
    let again: Value = serde_json::from_str(&parameters.serialize_fields()[KEPT]).expect("JSON");
    let mut before: Value = serde_json::from_str(&version_3().fields[KEPT]).expect("JSON");
    before["version"] = VERSION.into();
    assert_eq!(again, before);
    // Projects from before begin on the bar, as a new one does.
    for (mut state, values) in [(version_3(), [1, 1, 2]), (version_2(), [2, 0, 0])] {
        filter(&mut state);
        for (id, value) in ["begin_on", "end_on", "count_in"].into_iter().zip(values) {
            let stands = matches!(state.params[id], ParamValue::I32(saved) if saved == value);
            assert!(stands, "{id}: {:?}", state.params[id]);
        }
    }
}

fn version_4() -> PluginState {
    state(include_str!("states/version-4.json"))
}

/// What `states/version-4.json` keeps beside the parameters, but for its sketch: the phrase was said
/// and goes with its recording, in bars of 3+2+2 with a pick-up; another take is of before, the tempo
/// of the song changed twice, and a drift was practised.
fn kept_in_version_4() -> Kept {
    let said = |onset: f64, key: u8, [start, vowel, end, cents]: [f32; 4]| Note {
        said: Syllable::new(start, vowel, end, cents),
        ..note(onset, 0.5, key, 0.7)
    };
    let notes = [
        said(0.0, 55, [0.0, 0.0625, 0.25, -31.5]),
        said(1.0, 57, [0.25, 0.3125, 0.5, 12.0]),
    ];
    let seven = Metre::grouped([3, 2, 2], 8).expect("a metre");
    let phrase = Phrase::new(notes, 3.5).expect("a phrase");
    let spoken = (0..4_000).map(|n| (9_000.0 * (0.1 * f64::from(n)).sin()) as i32);
    let spoken = Utterance::from_steps(spoken, 8_000, 16).expect("an utterance");
    let voice = Voice::new(spoken).expect("it is written");
    let mut kept = Kept {
        begins_at: Some(112.0),
        grouping: Grouping::Written(seven),
        route: Arc::new(route_in_version_3()),
        ..kept_in_version_2()
    };
    kept.load(
        phrase.with_bar(Some(Bar::around(seven, 0.5))),
        Some(voice),
        1_795_000_000,
    );
    let mut takes = Takes::default();
    for (take, at) in kept.takes.iter().zip([1_794_999_000, 1_795_000_000]) {
        takes.add(&take.phrase, take.voice.as_ref(), at, take.how);
    }
    kept.takes = takes;
    let mut performed = performed_in_version_3();
    let step = |at, tempo| TempoStep { at, tempo };
    performed.tempi = TempoMap::new([step(0.0, 120.0), step(32.0, 96.0), step(33.0, 88.5)]);
    kept.performed = Arc::new(performed);
    let pass = Pass {
        expected: 16,
        matched: 14,
        stray: 1,
        again: 0,
        late_ms: Some(-7.25),
        spread_ms: Some(18.5),
        reached: Some(1.0),
        outcome: Some(Outcome::Arrived { locked_after: 12.5 }),
    };
    kept.practice = Arc::new(Desk {
        exercise: Exercise::Drift(1),
        pace: 0.75,
        partner: Partner::Gives,
        share: 0.25,
        latency_ms: Some(11.5),
        passes: vec![Passed {
            part: Part::COPY_1,
            exercise: Exercise::Drift(1),
            tempo: 90.0,
            pass,
        }],
        ..Desk::default()
    });
    kept.comes = Comes::Cycle;
    kept
}

/// Its parameters are those of version 3, and of what came with version 4 some that are not as they
/// come.
#[test]
fn a_project_of_version_4_knows_what_was_said_taken_put_aside_and_practised() {
    let (parameters, _) = Parameters::new();
    load(&parameters, version_4());
    assert_eq!(parameters.kept.notice(), None);
    let loaded = parameters.kept.current();
    let kept = Kept {
        sketches: loaded.sketches.clone(),
        ..kept_in_version_4()
    };
    assert_eq!(loaded, kept);
    let sketch = loaded.sketches.get(2).expect("the third place");
    assert_eq!(sketch.name, "Fog, slower");
    assert_eq!(sketch.phrase, kept_in_version_2().taken.phrase);
    assert_eq!(
        (sketch.route.clone(), sketch.voice.clone()),
        (kept.route, None)
    );
    assert_eq!(loaded.sketches.filled(), 0b100);
    let again: Value = serde_json::from_str(&parameters.serialize_fields()[KEPT]).expect("JSON");
    let before: Value = serde_json::from_str(&version_4().fields[KEPT]).expect("JSON");
    assert_eq!(again, before);
    let stood = sketch.stood();
    let settings = stood.settings(&stood.kept.current());
    assert_eq!(settings.motion.dwell, 12);
    let mut state = version_4();
    filter(&mut state);
    for (id, value) in [
        ("copy1_length", 14),
        ("copy2_degrees", 2),
        ("steady_mallet", 2),
        ("listen_to", 1),
        ("dwell", 8),
    ] {
        let stands = matches!(state.params[id], ParamValue::I32(saved) if saved == value);
        assert!(stands, "{id}: {:?}", state.params[id]);
    }
}

#[test]
fn a_note_that_was_said_is_kept_with_its_syllable_and_without_one_that_cannot_be() {
    let (parameters, _) = Parameters::new();
    let said = [0.0625, 0.125, 0.375, -31.5];
    let [start, vowel, end, cents] = said;
    let notes = [
        Note {
            said: Syllable::new(start, vowel, end, cents),
            ..note(0.0, 0.5, 55, 0.7)
        },
        note(0.5, 0.5, 57, 0.7),
    ];
    let phrase = Phrase::new(notes, 1.0).expect("a phrase");
    (parameters.kept).edit(|kept| kept.taken.phrase = phrase.clone());
    let saved = parameters.serialize_fields();
    let mut kept: Value = serde_json::from_str(&saved[KEPT]).expect("JSON");
    assert_eq!(kept["phrase"]["notes"][0]["said"], json!(said));
    assert_eq!(kept["phrase"]["notes"][1].get("said"), None);
    let mut state = version_3();
    state.fields.insert(KEPT.to_owned(), kept.to_string());
    load(&parameters, state.clone());
    assert_eq!(parameters.kept.current().taken.phrase, phrase);
    // It ends before it begins: the note stays.
    kept["phrase"]["notes"][0]["said"] = json!([0.05, 0.125, 0.1, 0.0]);
    state.fields.insert(KEPT.to_owned(), kept.to_string());
    load(&parameters, state);
    let notes = parameters.kept.current().taken.phrase.notes().to_vec();
    assert_eq!(notes[0], note(0.0, 0.5, 55, 0.7));
}

#[test]
fn a_voice_is_kept_to_the_bit_as_long_as_a_note_is_of_it_and_a_damaged_one_is_left_out() {
    let (parameters, _) = Parameters::new();
    let said = (0..30_000).map(|n| (9_000.0 * (0.03 * f64::from(n)).sin()) as i32);
    let said = Utterance::from_steps(said, 44_100, 16).expect("an utterance");
    let voice = Voice::new(said.clone()).expect("it is written");
    let unsaid = note(0.0, 0.5, 55, 0.7);
    let notes = [Note {
        said: Syllable::new(0.0625, 0.125, 0.375, 0.0),
        ..unsaid
    }];
    let phrase = Phrase::new(notes, 1.0).expect("a phrase");
    (parameters.kept).edit(|kept| {
        kept.taken.phrase = phrase;
        kept.voice = Some(voice);
    });
    let saved = parameters.serialize_fields();
    let mut kept: Value = serde_json::from_str(&saved[KEPT]).expect("JSON");
    let load_kept = |kept: &Value| {
        let mut state = version_3();
        state.fields.insert(KEPT.to_owned(), kept.to_string());
        load(&parameters, state);
        parameters.kept.current().voice
    };
    let again = load_kept(&kept).expect("it is there");
    assert_eq!(**again.utterance(), said);
    assert_eq!(parameters.serialize_fields()[KEPT], saved[KEPT]);
    for (damage, words) in [
        (json!("no such text!"), "earlier save"),
        (json!("UklGRg=="), "damaged"),
        (json!([1, 2]), "no recording"),
    ] {
        kept["voice"] = damage;
        assert_eq!(load_kept(&kept), None);
        let notice = parameters.kept.notice().expect("it is said").0;
        assert!(notice.contains(words), "{notice}");
    }
    (parameters.kept).edit(|kept| {
        kept.voice = Some(again);
        kept.taken.phrase = Phrase::new([unsaid], 1.0).expect("a phrase");
    });
    assert!(!parameters.serialize_fields()[KEPT].contains("voice"));
}

#[test]
fn a_beginning_out_of_all_reach_is_refused_and_one_that_was_lifted_is_not_kept() {
    let (parameters, _) = Parameters::new();
    load(&parameters, version_3());
    let mut far = version_3();
    let mut kept: Value = serde_json::from_str(&far.fields[KEPT]).expect("JSON");
    kept["begins_at"] = json!(1e300);
    far.fields.insert(KEPT.to_owned(), kept.to_string());
    load(&parameters, far);
    assert_eq!(parameters.kept.current().begins_at, Some(112.0));
    let notice = parameters.kept.notice().expect("it is said");
    assert!(notice.0.contains("position to begin at"), "{notice:?}");
    load(&parameters, version_2());
    assert_eq!(parameters.kept.current().begins_at, None);
    assert!(!parameters.serialize_fields()[KEPT].contains("begins_at"));
}

#[test]
fn a_route_that_nobody_could_have_written_is_refused_with_its_place_and_the_one_before_stays() {
    let (parameters, mut audio) = Parameters::new();
    load(&parameters, version_3());
    let crowd = vec![json!({"way": "jump", "over": 1, "dwell": 1, "ahead": []}); 513];
    for (part, value, words) in [
        (
            "/stages/0/dwell",
            json!(65),
            "Stage 1: a dwell takes 1 to 64",
        ),
        ("/stages/1/over", json!(0), "Stage 2: a drift takes 1 to 64"),
        ("/stages/2/ahead/1", json!(1e300), "Stage 3: copy 2"),
        (
            "/stages/2/ahead",
            json!(vec![0.0; 9]),
            "Stage 3: offsets of 9",
        ),
        ("/stages/2/turn/tonic", json!(12), "Stage 3: a mode"),
        (
            "/stages/2/turn/mode",
            json!("blue"),
            "mode \"blue\" is unknown",
        ),
        ("/stages/0/way", json!("walk"), "walk"),
        ("/stages", json!(crowd), "at most 512 stages"),
        ("/afterwards/repeat/from", json!(0), "no stage 0"),
        ("/afterwards/repeat/from", json!(4), "from stage 4"),
        ("/afterwards", json!("applause"), "applause"),
    ] {
        let mut state = version_3();
        let mut kept: Value = serde_json::from_str(&state.fields[KEPT]).expect("JSON");
        *kept.pointer_mut(&format!("/route{part}")).expect(part) = value;
        state.fields.insert(KEPT.to_owned(), kept.to_string());
        load(&parameters, state);
        let notice = parameters.kept.notice().expect("it is said").0;
        assert!(
            notice.contains(words) && notice.contains("stays"),
            "{notice}"
        );
        assert_eq!(*parameters.kept.current().route, route_in_version_3());
    }
    // A project without one is made by its settings again.
    load(&parameters, version_2());
    assert_eq!(parameters.kept.notice(), None);
    assert_eq!(*parameters.kept.current().route, Route::generated());
    assert!(!parameters.serialize_fields()[KEPT].contains("route"));
    audio.poll_incoming();
    let generated = Route::generated();
    assert_eq!(audio.poll_route(), Some((Cause::Loaded, &generated)));
}

#[test]
fn a_phrase_with_no_bar_is_saved_without_one() {
    let (parameters, _) = Parameters::new();
    load(&parameters, version_1());
    let saved = &parameters.serialize_fields()[KEPT];
    assert!(!saved.contains("\"bar\""), "{saved}");
}

/// Loads what is kept beside the parameters of `state` into `parameters`, as a host's load does.
fn load(parameters: &Parameters, mut state: PluginState) {
    filter(&mut state);
    parameters.deserialize_fields(&state.fields);
}

/// Version 1 with something else under [`KEPT`].
fn with_kept(kept: &str) -> PluginState {
    let mut state = version_1();
    state.fields.insert(KEPT.to_owned(), kept.to_owned());
    state
}

fn plain(state: &PluginState) -> Value {
    serde_json::to_value(&state.params).expect("a state is JSON")
}

/// What a state says about the parameters that version 1 had. Those added since were not saved.
fn plain_as_then(state: &PluginState) -> Value {
    let then = version_1();
    let mut state = state.clone();
    state.params.retain(|id, _| then.params.contains_key(id));
    plain(&state)
}

#[test]
fn a_project_saved_by_version_1_still_loads() {
    let (parameters, mut audio) = Parameters::new();
    let mut state = version_1();
    filter(&mut state);
    assert_eq!(
        plain_as_then(&state),
        plain(&version_1()),
        "its parameters are as they were"
    );
    load(&parameters, version_1());
    assert_eq!(parameters.kept.notice(), None);
    assert_eq!(parameters.kept.current(), kept_in_version_1());
    let settings = parameters.settings(&parameters.kept.current());
    assert_eq!(
        (settings.growth.seed, settings.fold.custom),
        (20411, PitchSet::of(&[0, 2, 3, 7, 8]))
    );
    let (cause, taken) = audio.poll_incoming().expect("the audio side hears of it");
    assert_eq!((cause, taken), (Cause::Loaded, &kept_in_version_1().taken));
}

/// What was kept changed several times while the version stayed 1, as the history of `state.rs`,
/// of `state/modulations.rs` and of `parameters.txt` shows. A file each: the ids are those of that commit's
/// `parameters.txt`, the entries those of its `Written`, in that order; the values are ours.
#[test]
fn a_project_of_any_time_before_version_2_still_loads() {
    let dark = |kept: Kept| Kept {
        window: WindowSize {
            dark: true,
            ..kept.window
        },
        ..kept
    };
    let changing = |kept: Kept| Kept {
        modulations: Modulations::new([
            modulation(Place::Stage(2), ModeName::Lydian, 4),
            modulation(Place::Beats(96.5), ModeName::OctatonicHalfWhole, 0),
        ]),
        ..kept
    };
    let before_the_start = Kept {
        taken: Taken {
            anchor: Anchor::NextStart,
            ..kept_in_version_1().taken
        },
        ..kept_in_version_1()
    };
    let of_its_time = [
        // 43b0520: a song position as the origin was called "at".
        (
            include_str!("states/version-1-anchor-at.json"),
            kept_in_version_1(),
        ),
        // 42903f6: the window may be dark.
        (
            include_str!("states/version-1-dark.json"),
            dark(before_the_start),
        ),
        // 58cb236: copies move on cue, and there is a resulting line.
        (
            include_str!("states/version-1-cue-and-line.json"),
            dark(kept_in_version_1()),
        ),
        // 6c33813: modes change.
        (
            include_str!("states/version-1-mode-changes.json"),
            changing(dark(kept_in_version_1())),
        ),
        // 2df6884: audition.
        (
            include_str!("states/version-1-audition.json"),
            changing(dark(kept_in_version_1())),
        ),
    ];
    for (json, kept) in of_its_time {
        let (parameters, _) = Parameters::new();
        load(&parameters, state(json));
        assert_eq!(parameters.kept.notice(), None, "{json}");
        assert_eq!(parameters.kept.current(), kept, "{json}");
        let mut ordered = state(json);
        filter(&mut ordered);
        for (id, value) in state(json).params {
            let (then, now) = (value.plain(), ordered.params[&id].clone().plain());
            assert_eq!(then, now, "{id}");
        }
    }
}

/// Before 5168173 an origin that was still to come was "waiting".
#[test]
fn a_project_from_before_origins_had_their_names_waits_for_the_start() {
    let (parameters, _) = Parameters::new();
    load(
        &parameters,
        with_kept(&kept_but("/anchor", json!("waiting"))),
    );
    assert_eq!(parameters.kept.notice(), None);
    assert_eq!(parameters.kept.current().taken.anchor, Anchor::NextStart);
}

fn modulation(place: Place, mode: ModeName, over: u32) -> Modulation {
    Modulation {
        place,
        tonic: 9,
        mode,
        over,
    }
}

/// The plan is a list that somebody may have written by hand.
#[test]
fn a_modulation_plan_that_makes_no_sense_is_named_and_the_one_before_stays() {
    let good = json!({"stage": 2, "tonic": 2, "mode": "lydian", "over": 4});
    let but = |key: &str, value: Value| {
        let mut bad = good.clone();
        bad[key] = value;
        json!([good, bad])
    };
    for (list, words) in [
        (but("stage", json!(0)), "no stage 0"),
        (but("tonic", json!(12)), "no pitch class 12"),
        (but("over", json!(65)), "65 cycles"),
        (but("mode", json!("sideways")), "\"sideways\" is unknown"),
        (but("mode", json!(3)), "refused"),
        (
            json!([{"beats": -1.0, "tonic": 2, "mode": "lydian", "over": 4}]),
            "no beat -1",
        ),
        (json!(vec![good.clone(); 17]), "17 mode changes"),
        (json!("none"), "refused"),
    ] {
        let (parameters, _) = Parameters::new();
        let before = Modulations::new([modulation(Place::Stage(7), ModeName::Aeolian, 1)]);
        parameters.kept.edit(|kept| kept.modulations = before);
        let mut saved: Value =
            serde_json::from_str(&version_1().fields[KEPT]).expect("version 1 is JSON");
        saved["modulations"] = list.clone();
        load(&parameters, with_kept(&saved.to_string()));
        let notice = parameters.kept.notice().expect("it is named").0;
        assert!(notice.contains(words), "{list}: {notice}");
        assert!(notice.contains("stays"), "{notice}");
        assert_eq!(parameters.kept.current().modulations, before);
    }
}

#[test]
fn loading_what_was_saved_changes_nothing() {
    let awkward = Kept {
        taken: Taken {
            phrase: Phrase::new(
                [
                    note(0.1 + 0.2, 1.0 / 3.0, 0, 1.0 / 127.0),
                    note(1.0 - 1e-16, 1e-9, 127, 0.1),
                ],
                std::f64::consts::PI,
            )
            .expect("a phrase"),
            anchor: Anchor::NextStart,
        },
        seed: u64::MAX,
        ..kept_in_version_1()
    };
    let modulating = Kept {
        modulations: Modulations::new([
            modulation(Place::Stage(4), ModeName::Lydian, 6),
            modulation(Place::Beats(96.5), ModeName::OctatonicHalfWhole, 0),
        ]),
        ..kept_in_version_1()
    };
    let all = [
        awkward,
        modulating,
        kept_in_version_1(),
        kept_in_version_2(),
    ];
    for kept in all.into_iter().chain([Kept::default()]) {
        let (before, _) = Parameters::new();
        before.kept.edit(|now| *now = kept.clone());
        let saved = before.serialize_fields();
        let (after, _) = Parameters::new();
        after.deserialize_fields(&saved);
        assert_eq!(after.kept.current(), kept);
        assert_eq!(after.serialize_fields(), saved);
    }
}

#[test]
fn a_captured_phrase_is_saved_with_the_project() {
    let (parameters, mut audio) = Parameters::new();
    audio.publish(&kept_in_version_1().taken);
    let (reopened, _) = Parameters::new();
    reopened.deserialize_fields(&parameters.serialize_fields());
    assert_eq!(reopened.kept.current().taken, kept_in_version_1().taken);
}

#[test]
fn a_loaded_phrase_is_told_from_an_edited_one_even_if_it_is_the_same() {
    let (parameters, mut audio) = Parameters::new();
    load(&parameters, version_1());
    assert!(audio.poll_incoming().is_some());
    load(&parameters, version_1());
    let cause = audio.poll_incoming().map(|(cause, _)| cause);
    assert_eq!(cause, Some(Cause::Loaded));
}

/// Loads `kept` over the phrase of version 1 and returns the message; asserts that the phrase of
/// before stays and that the audio side still hears of a load.
#[track_caller]
fn refusal(kept: &str) -> String {
    let (parameters, mut audio) = Parameters::new();
    load(&parameters, version_1());
    load(&parameters, with_kept(kept));
    assert_eq!(parameters.kept.current().taken, kept_in_version_1().taken);
    let cause = audio.poll_incoming().map(|(cause, _)| cause);
    assert_eq!(cause, Some(Cause::Loaded));
    parameters.kept.notice().expect("a message says so").0
}

/// The kept part of version 1 with one entry exchanged.
fn kept_but(pointer: &str, value: Value) -> String {
    let mut kept: Value = serde_json::from_str(&version_1().fields[KEPT]).expect("JSON");
    let (within, name) = pointer.rsplit_once('/').expect("a pointer");
    match kept.pointer_mut(within).expect("an entry of version 1") {
        Value::Object(entries) => drop(entries.insert(name.to_owned(), value)),
        list => list[name.parse::<usize>().expect("a place")] = value,
    }
    kept.to_string()
}

#[test]
fn what_cannot_be_read_is_named_and_the_last_good_phrase_stays() {
    let whole = version_1().fields[KEPT].clone();
    let damaged = "damaged or not from Procession";
    let crowd: Vec<_> = (0..600)
        .map(|_| json!({"onset": 0.0, "length": 0.1, "key": 60, "velocity": 0.5}))
        .collect();
    for (kept, words) in [
        (whole[..whole.len() / 2].to_owned(), damaged),
        (String::new(), damaged),
        ("7".to_owned(), damaged),
        ("[]".to_owned(), damaged),
        ("{\"version\":1e400}".to_owned(), damaged),
        ("null".to_owned(), "holds no phrase"),
        (kept_but("/version", json!(0)), damaged),
        (kept_but("/version", json!(VERSION + 1)), "newer Procession"),
        (
            kept_but("/phrase/bar", json!({"metre": [0, 5], "begins": 0.0})),
            "no 0/5",
        ),
        (
            kept_but("/phrase/bar", json!("three four")),
            "phrase cannot be read",
        ),
        (kept_but("/phrase/length", json!(0.0)), "length"),
        (kept_but("/phrase/length", json!(1e300)), "length"),
        (kept_but("/phrase/length", json!(1e-9)), "at least 0.125"),
        (kept_but("/phrase/length", json!(1e-6)), "at least 0.125"),
        (kept_but("/phrase/notes/1/onset", json!(-1.0)), "note 2"),
        (kept_but("/phrase/notes/1/length", json!(0)), "note 2"),
        (
            kept_but("/phrase/notes/1/key", json!(128)),
            "128 is not a key",
        ),
        (
            kept_but("/phrase/notes/1/key", json!("D")),
            "phrase cannot be read",
        ),
        (kept_but("/phrase/notes", json!(crowd)), "600 notes"),
        (kept_but("/phrase", json!(null)), "phrase cannot be read"),
        (
            kept_but("/anchor", json!("elsewhere")),
            "origin cannot be read",
        ),
        (kept_but("/anchor/song", json!(-1e300)), "out of all reach"),
    ] {
        let message = refusal(&kept);
        assert!(message.contains(words), "{kept}: {message}");
        assert!(message.contains("stay"), "{message}");
    }
}

#[test]
fn a_state_without_a_phrase_says_so() {
    let (parameters, _) = Parameters::new();
    let mut state = version_1();
    state.fields.clear();
    load(&parameters, state);
    let message = parameters.kept.notice().expect("a message says so").0;
    assert!(message.contains("holds no phrase"), "{message}");
}

#[test]
fn one_unreadable_part_does_not_take_the_others_with_it() {
    let (parameters, _) = Parameters::new();
    load(&parameters, with_kept(&kept_but("/custom", json!([0, 12]))));
    let message = parameters.kept.notice().expect("a message says so").0;
    assert!(message.contains("custom mode"), "{message}");
    let kept = parameters.kept.current();
    assert_eq!(kept.custom, Kept::default().custom);
    assert_eq!(kept.taken, kept_in_version_1().taken);
    load(&parameters, version_1());
    assert_eq!(
        parameters.kept.notice(),
        None,
        "a good load clears the message"
    );
}

#[test]
fn a_window_larger_than_any_screen_comes_back_within_reason() {
    let (parameters, _) = Parameters::new();
    load(
        &parameters,
        with_kept(&kept_but(
            "/window",
            json!({"width": 1, "height": 99999, "zoom": 1e30}),
        )),
    );
    let expected = WindowSize {
        width: 400,
        height: 3000,
        zoom: 3.0,
        dark: false,
    };
    assert_eq!(parameters.kept.current().window, expected);
}

/// Whether `value` is one that this parameter can have.
fn is_proper(kind: &Kind, value: &ParamValue) -> bool {
    match (kind, value) {
        (Kind::Toggle(_), ParamValue::Bool(_)) => true,
        (Kind::Whole(whole), ParamValue::I32(value)) => whole.range().contains(value),
        (Kind::Choice(list), ParamValue::I32(place)) => list.id(*place).is_some(),
        (Kind::Amount(amount), ParamValue::F32(value)) => amount.range().contains(value),
        _ => false,
    }
}

#[test]
fn whatever_a_state_holds_every_parameter_gets_a_value_of_its_own() {
    let texts =
        ["", "sixteenth", "ionian", "\u{0}"].map(|text| ParamValue::String(text.to_owned()));
    let wholes = [i32::MIN, -2, -1, 0, 77, 999, i32::MAX].map(ParamValue::I32);
    let amounts = [
        f32::NAN,
        f32::INFINITY,
        f32::NEG_INFINITY,
        -1e30,
        0.123_456,
        1e30,
    ]
    .map(ParamValue::F32);
    let toggles = [true, false].map(ParamValue::Bool);
    let anything = texts
        .into_iter()
        .chain(wholes)
        .chain(amounts)
        .chain(toggles);
    for value in anything {
        let mut state = version_1();
        state.fields.clear();
        state
            .params
            .values_mut()
            .for_each(|saved| *saved = value.clone());
        state.params.insert("unknown".to_owned(), value.clone());
        filter(&mut state);
        assert_eq!(state.params.len(), DECLARATIONS.len());
        for declaration in DECLARATIONS.iter() {
            let restored = &state.params[&declaration.id];
            assert!(
                is_proper(&declaration.kind, restored),
                "{}: {restored:?} from {value:?}",
                declaration.id
            );
        }
    }
}

#[test]
fn a_missing_parameter_starts_at_its_default() {
    let mut empty = version_1();
    empty.params.clear();
    empty.fields.clear();
    filter(&mut empty);
    assert_eq!(empty.params["shifts"].clone().plain(), "-1");
    assert_eq!(empty.params["target_mode"].clone().plain(), "1");
    assert_eq!(empty.params["width"].clone().plain(), "60");
    assert_eq!(empty.params["hold"].clone().plain(), "false");
}

#[test]
fn a_choice_is_found_by_its_id_wherever_it_stands_in_the_list() {
    let mut state = version_1();
    state
        .params
        .insert("target_mode".to_owned(), ParamValue::I32(3));
    filter(&mut state);
    assert_eq!(
        state.params["target_mode"].clone().plain(),
        "27",
        "custom, as the id says"
    );
}

#[test]
fn a_choice_this_version_does_not_know_starts_at_its_default() {
    let mut state = version_1();
    let choices = json!({"target_mode": "of a later version", "grid": "quarter"}).to_string();
    state.fields.insert("choices".to_owned(), choices);
    filter(&mut state);
    assert_eq!(state.params["target_mode"].clone().plain(), "1");
    assert_eq!(state.params["grid"].clone().plain(), "0");
}

#[test]
fn unreadable_choices_leave_the_places_in_force() {
    let mut state = version_1();
    state
        .fields
        .insert("choices".to_owned(), "{\"target_mode\": 3".to_owned());
    filter(&mut state);
    assert_eq!(plain_as_then(&state), plain(&version_1()));
}

trait Plain {
    fn plain(self) -> String;
}

impl Plain for ParamValue {
    fn plain(self) -> String {
        match self {
            Self::F32(value) => value.to_string(),
            Self::I32(value) => value.to_string(),
            Self::Bool(value) => value.to_string(),
            Self::String(value) => value,
        }
    }
}
