//! The modulation plan, written with real pointer and keys.
#![allow(clippy::unwrap_used)]

use egui::accesskit::Role;
use egui::{Key, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use procession::editor::accidentals;
use procession::editor::look::{Look, Theme};
use procession::editor::modulations::{ModulationsState, show};
use procession::editor::seen::Seen;
use procession::editor::wish::Wish;
use procession::feed::Snapshot;
use procession_core::engine::Anchor;
use procession_core::mode::ModeName;
use procession_core::phrase::Phrase;
use procession_core::settings::{Modulation, Modulations, Place, Settings};

/// Eight steps; stages of 16 and 8 beats in turn.
const EIGHT: &str = "D4 E4 F4 G4 A4 B4 C5 .";

/// The view, with every wish for another plan granted.
struct Desk {
    phrase: Phrase,
    plan: Modulations,
    state: ModulationsState,
    stage: Option<usize>,
}

impl Desk {
    fn seen(&self) -> Seen {
        let settings = Settings {
            modulations: self.plan,
            ..Settings::default()
        };
        let snapshot = Snapshot {
            tempo: 120.0,
            beats_per_bar: 4.0,
            ..Snapshot::default()
        };
        Seen::new(snapshot, self.phrase.clone(), settings, Anchor::Song(0.0))
    }
}

struct Screen(Harness<'static, Desk>);

impl Screen {
    fn new(phrase: &str, plan: &[Modulation]) -> Self {
        let phrase = match phrase {
            "" => Phrase::empty(2.0).unwrap(),
            words => Phrase::from_text(words, 0.25).unwrap(),
        };
        let desk = Desk {
            phrase,
            plan: Modulations::new(plan.iter().copied()),
            state: ModulationsState::default(),
            stage: None,
        };
        let look = Look::of(Theme::Light);
        let mut harness = Harness::builder()
            .with_size(vec2(400.0, 300.0))
            .build_ui_state(
                move |ui, desk: &mut Desk| {
                    accidentals::install(ui.ctx());
                    let seen = desk.seen();
                    for wish in show(ui, &seen, &look, &mut desk.state, desk.stage) {
                        match wish {
                            Wish::Modulate(plan) => desk.plan = *plan,
                            other => panic!("{other:?} is none of its business"),
                        }
                    }
                },
                desk,
            );
        harness.run();
        Self(harness)
    }

    fn plan(&self) -> Vec<Modulation> {
        self.0.state().plan.iter().copied().collect()
    }

    fn click(&mut self, label: &str) {
        self.0.get_by_label(label).click();
        self.0.run();
    }

    /// Types into the field of that name, from its beginning to Enter.
    fn write(&mut self, field: &str, text: &str) {
        self.0.get_by_role_and_label(Role::TextInput, field).click();
        self.0.run();
        self.0.key_press_modifiers(egui::Modifiers::COMMAND, Key::A);
        self.0
            .get_by_role_and_label(Role::TextInput, field)
            .type_text(text);
        self.0.run();
        self.0.key_press(Key::Enter);
        self.0.run();
    }

    fn says(&self, words: &str) -> bool {
        self.0.query_by_label_contains(words).is_some()
    }
}

fn to_lydian(place: Place) -> Modulation {
    Modulation {
        place,
        tonic: 2,
        mode: ModeName::Lydian,
        over: 0,
    }
}

#[test]
fn with_no_plan_it_says_what_a_plan_is_for_and_one_click_begins_it() {
    let mut screen = Screen::new(EIGHT, &[]);
    assert!(screen.says("Begins and stays in D Dorian"));
    screen.click("Add a mode change");
    let plan = screen.plan();
    assert_eq!(plan.len(), 1);
    assert_eq!((plan[0].tonic, plan[0].mode), (2, ModeName::Mixolydian));
    assert!(screen.says("F to F♯"));
}

#[test]
fn a_place_is_typed_and_what_is_no_place_is_refused_in_words() {
    let mut screen = Screen::new(EIGHT, &[to_lydian(Place::Stage(3))]);
    screen.write("Position 1", "bar 9");
    assert_eq!(screen.plan()[0].place, Place::Beats(32.0));
    screen.write("Position 1", "soon");
    assert_eq!(screen.plan()[0].place, Place::Beats(32.0));
    assert!(screen.says("\"soon\" is not a position"));
    screen.write("Position 1", "stage 5");
    assert_eq!(screen.plan()[0].place, Place::Stage(5));
    assert!(!screen.says("is not a position"));
}

#[test]
fn tonic_and_mode_are_chosen_from_lists() {
    let mut screen = Screen::new(EIGHT, &[to_lydian(Place::Stage(3))]);
    screen.click("Mode 1");
    screen.click("Aeolian");
    assert_eq!(screen.plan()[0].mode, ModeName::Aeolian);
    screen.click("Tonic 1");
    screen.click("E♭");
    assert_eq!(screen.plan()[0].tonic, 3);
}

#[test]
fn the_stage_that_is_looked_at_is_where_a_new_one_goes() {
    let mut screen = Screen::new(EIGHT, &[]);
    screen.0.state_mut().stage = Some(6);
    screen.0.run();
    screen.click("Change mode at stage 7");
    assert_eq!(screen.plan()[0].place, Place::Stage(7));
}

#[test]
fn one_is_taken_out_and_the_others_stay() {
    let (third, fifth) = (to_lydian(Place::Stage(3)), to_lydian(Place::Stage(5)));
    let mut screen = Screen::new(EIGHT, &[third, fifth]);
    screen.click("Remove 1");
    assert_eq!(screen.plan(), [fifth]);
}

#[test]
fn a_stage_that_never_comes_is_told_with_the_remedy() {
    let screen = Screen::new(EIGHT, &[to_lydian(Place::Stage(99))]);
    assert!(screen.says("There is no stage 99"));
    assert!(screen.says("Choose one from 1 to 17"));
}

#[test]
fn without_a_phrase_it_says_what_to_do() {
    let mut screen = Screen::new("", &[]);
    assert!(screen.says("First play a phrase"));
    screen.click("Add a mode change");
    assert!(screen.plan().is_empty());
}
