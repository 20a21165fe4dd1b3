//! The window for a class: read from the last row, led by keys, a pedal or a cue.
#![allow(clippy::unwrap_used)]

mod desk;

use desk::{screen, seen};
use egui::{Key, Shape, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use procession::editor::class::{ClassState, show};
use procession::editor::look::{Look, Theme};
use procession::editor::wish::{SongWish, Wish};
use procession_core::settings::{Advance, Settings};
use procession_core::snippet::Subject;

/// Oars in a lock, eight sixteenths.
const OARS: &str = "D4 E4 G4 . A4 B4 . E4";

/// What the class sees, with what was wished for.
struct Class {
    settings: Settings,
    elapsed: f64,
    own_song: bool,
    cues: u32,
    held: bool,
    hearing: Option<Subject>,
    state: ClassState,
    wishes: Vec<Wish>,
}

fn class(settings: Settings, elapsed: f64) -> Harness<'static, Class> {
    let class = Class {
        settings,
        elapsed,
        own_song: false,
        cues: 0,
        held: false,
        hearing: None,
        state: ClassState::default(),
        wishes: Vec::new(),
    };
    let look = Look::of(Theme::Light);
    let mut harness = screen(vec2(1920.0, 1080.0), 1.0, class, move |ui, class| {
        let mut seen = seen(OARS, class.settings, class.elapsed);
        (seen.own_song, seen.hearing, seen.snapshot.cues) =
            (class.own_song, class.hearing, class.cues);
        seen.snapshot.cue_held = class.held;
        class
            .wishes
            .extend(show(ui, &seen, &look, &mut class.state));
    });
    harness.run_steps(2);
    harness
}

fn press(harness: &mut Harness<'static, Class>, key: Key) -> Vec<Wish> {
    harness.state_mut().wishes.clear();
    harness.key_press(key);
    harness.run_steps(2);
    std::mem::take(&mut harness.state_mut().wishes)
}

fn says(harness: &Harness<'static, Class>, words: &str) -> bool {
    harness.query_by_label(words).is_some()
}

/// The sizes of all type, in points.
fn sizes(harness: &Harness<'static, Class>) -> Vec<f32> {
    fn gather(shape: &Shape, into: &mut Vec<f32>) {
        match shape {
            Shape::Text(text) => {
                let sections = text.galley.job.sections.iter();
                into.extend(sections.map(|section| section.format.font_id.size));
            }
            Shape::Vec(shapes) => shapes.iter().for_each(|shape| gather(shape, into)),
            _ => (),
        }
    }
    let mut found = Vec::new();
    for clipped in &harness.output().shapes {
        gather(&clipped.shape, &mut found);
    }
    found
}

#[test]
fn on_1080_lines_no_type_is_smaller_than_24_points_however_much_there_is_to_say() {
    let mut busy = Settings::default();
    busy.motion.copies = 8;
    for (settings, elapsed) in [(Settings::default(), 0.0), (busy, 40.0)] {
        let sizes = sizes(&class(settings, elapsed));
        assert!(
            sizes.len() > 8,
            "now, next, and what can be pressed: {sizes:?}"
        );
        assert!(sizes.iter().all(|size| *size >= 24.0), "{sizes:?}");
    }
}

#[test]
fn keys_lead_through_the_form_stage_by_stage_and_back() {
    let mut class = class(Settings::default(), 0.0);
    assert!(says(&class, "Silence") && says(&class, "Unison"));
    let hear = |stage| vec![Wish::Hear(Subject::Stage(stage))];
    assert_eq!(press(&mut class, Key::ArrowRight), hear(0));
    assert!(
        says(&class, "Copy 1 drifts to 1 step ahead"),
        "it comes next"
    );
    assert_eq!(press(&mut class, Key::PageDown), hear(1));
    assert_eq!(press(&mut class, Key::ArrowLeft), hear(0));
    assert_eq!(press(&mut class, Key::PageUp), hear(0));
    assert_eq!(
        press(&mut class, Key::Escape),
        [Wish::Hush, Wish::ShowToClass(false)]
    );
}

#[test]
fn what_will_you_hear_is_not_told_before_it_sounds() {
    let mut class = class(Settings::default(), 0.0);
    press(&mut class, Key::ArrowRight);
    press(&mut class, Key::H);
    assert!(says(&class, "What will you hear?"));
    assert!(!says(&class, "Copy 1 drifts to 1 step ahead"));
    press(&mut class, Key::ArrowRight);
    class.state_mut().hearing = Some(Subject::Stage(1));
    class.run_steps(2);
    assert!(
        says(&class, "Copy 1 drifts to 1 step ahead"),
        "now it sounds"
    );
    assert!(
        says(&class, "What will you hear?"),
        "and what comes then is asked again"
    );
    press(&mut class, Key::H);
    assert!(says(&class, "Copy 1 stays 1 step ahead"));
}

#[test]
fn a_pedal_or_a_key_that_gives_cues_leads_on() {
    let mut class = class(Settings::default(), 0.0);
    class.state_mut().cues = 1;
    class.run_steps(2);
    assert_eq!(class.state().wishes, [Wish::Hear(Subject::Stage(0))]);
}

/// A frame is a sixtieth of a second here.
#[test]
fn a_pedal_that_is_held_leads_back_and_one_that_is_tapped_leads_on_when_it_is_let_go() {
    let mut class = class(Settings::default(), 0.0);
    press(&mut class, Key::ArrowRight);
    press(&mut class, Key::ArrowRight);
    (class.state_mut().cues, class.state_mut().held) = (1, true);
    class.run_steps(20);
    assert!(class.state().wishes.is_empty(), "nobody knows yet");
    class.run_steps(40);
    assert_eq!(class.state().wishes, [Wish::Hear(Subject::Stage(0))]);
    class.state_mut().held = false;
    class.run_steps(5);
    assert_eq!(class.state().wishes.len(), 1, "letting go leads nowhere");
    class.state_mut().wishes.clear();
    (class.state_mut().cues, class.state_mut().held) = (2, true);
    class.run_steps(5);
    class.state_mut().held = false;
    class.run_steps(5);
    assert_eq!(class.state().wishes, [Wish::Hear(Subject::Stage(1))]);
}

#[test]
fn who_leaves_while_a_cue_is_given_takes_the_hand_off() {
    let mut cued = Settings::default();
    cued.motion.advance = Advance::OnCue;
    let mut class = class(cued, 5.0);
    press(&mut class, Key::ArrowRight);
    assert_eq!(
        press(&mut class, Key::Escape),
        [
            Wish::Type("cue", "Off".to_owned()),
            Wish::Hush,
            Wish::ShowToClass(false)
        ]
    );
}

/// Copies wait for a cue in their first dwell, long after it would have been over.
#[test]
fn on_cue_the_stage_in_which_copies_wait_is_now() {
    let mut cued = Settings::default();
    cued.motion.advance = Advance::OnCue;
    let class = class(cued, 50.0);
    assert!(says(&class, "Unison"));
    assert!(
        says(&class, "Copy 1 drifts to 1 step ahead"),
        "it comes next"
    );
}

#[test]
fn while_copies_wait_for_a_cue_next_gives_one_and_takes_its_hand_off() {
    let mut cued = Settings::default();
    cued.motion.advance = Advance::OnCue;
    let mut class = class(cued, 5.0);
    class.key_press(Key::ArrowRight);
    class.run_steps(60);
    let typed = |text: &str| Wish::Type("cue", text.to_owned());
    assert_eq!(class.state().wishes, [typed("On"), typed("Off")]);
    // The pedal has moved them already.
    class.state_mut().wishes.clear();
    class.state_mut().cues = 1;
    class.run_steps(2);
    assert!(class.state().wishes.is_empty());
}

#[test]
fn in_the_programs_rolling_song_next_goes_there() {
    let mut class = class(Settings::default(), 5.0);
    class.state_mut().own_song = true;
    // Eight cycles of two beats in unison, then the drift.
    assert_eq!(
        press(&mut class, Key::ArrowRight),
        [Wish::Song(SongWish::Visit(16.0))]
    );
}

#[test]
fn by_mouse_it_is_led_too() {
    let mut class = class(Settings::default(), 0.0);
    for (label, wished) in [
        ("Next", vec![Wish::Hear(Subject::Stage(0))]),
        ("Ask what comes", vec![]),
        ("Leave", vec![Wish::Hush, Wish::ShowToClass(false)]),
    ] {
        class.state_mut().wishes.clear();
        class
            .get_by_role_and_label(egui::accesskit::Role::Button, label)
            .click();
        class.run_steps(3);
        assert_eq!(class.state().wishes, wished, "{label}");
    }
    assert!(says(&class, "What will you hear?"));
}
