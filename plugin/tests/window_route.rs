//! The table of stages, with real clicks, typing and keys.
#![allow(
    clippy::unwrap_used,
    clippy::disallowed_methods,
    reason = "a test may wait"
)]

mod desk;

use desk::seen;
use egui::{Event, Key, Modifiers, Vec2, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use procession::editor::look::{Look, Theme};
use procession::editor::route::{RouteState, show};
use procession::editor::seen::Seen;
use procession::editor::wish::{RouteWish, Wish};
use procession_core::exchange::{Unrolled, plan};
use procession_core::part::CopyNumber;
use procession_core::performed::{Happened, Moment, Recollection, Shape};
use procession_core::process::Process;
use procession_core::route::{Afterwards, Dwell, Edit, MAX_STAGES, Route, Way};
use procession_core::settings::{Motion, Settings};
use procession_core::snippet::Subject;
use std::sync::Arc;

/// Eight steps of a sixteenth: nine stages of 8 cycles, a step apart.
const EIGHT: &str = "D4 . F4 G4 . A4 . .";

struct Desk {
    seen: Seen,
    state: RouteState,
    chosen: Option<usize>,
    wishes: Vec<Wish>,
}

struct Screen(Harness<'static, Desk>);

impl Screen {
    fn new(seen: Seen, size: Vec2) -> Self {
        let desk = Desk {
            seen,
            state: RouteState::default(),
            chosen: None,
            wishes: Vec::new(),
        };
        let look = Look::of(Theme::Light);
        let mut harness = desk::screen(size, 1.0, desk, move |ui, desk: &mut Desk| {
            let Desk {
                seen,
                state,
                chosen,
                wishes,
            } = desk;
            wishes.extend(show(ui, seen, &look, state, chosen));
        });
        harness.run();
        Self(harness)
    }

    fn usual() -> Self {
        Self::new(seen(EIGHT, Settings::default(), 1.0), vec2(900.0, 420.0))
    }

    fn click(&mut self, label: &str) {
        self.0.get_by_label(label).click();
        self.0.run();
    }

    fn key(&mut self, key: Key) {
        self.0.key_press(key);
        self.0.run();
    }

    /// Types into a cell, in the place of what stands there.
    fn type_into(&mut self, label: &str, text: &str) {
        self.click(label);
        self.0.key_press_modifiers(Modifiers::COMMAND, Key::A);
        self.0.event(Event::Text(text.to_owned()));
        self.0.run();
        self.key(Key::Enter);
    }

    fn wishes(&mut self) -> Vec<Wish> {
        std::mem::take(&mut self.0.state_mut().wishes)
    }

    /// What the wishes make of the route is there.
    fn grant(&mut self) {
        self.0.run();
        for wish in self.wishes() {
            if let Wish::Route(RouteWish::Edit(edit)) = wish {
                let desk = self.0.state_mut();
                let route = desk.seen.process.voices().as_route();
                let route = route.edited(&edit).unwrap();
                desk.seen.follow_route(&route);
            }
        }
        self.0.run();
    }
}

fn edit(edit: Edit) -> Wish {
    Wish::Route(RouteWish::Edit(edit))
}

fn dwell(stage: usize, dwell: Dwell) -> Wish {
    edit(Edit::Dwell { stage, dwell })
}

#[test]
fn what_is_typed_in_a_cell_is_wished_for() {
    let mut screen = Screen::usual();
    screen.0.get_by_label_contains("As generated: 9 stages");
    screen.type_into("Dwell of stage 3", "6");
    assert_eq!(screen.wishes(), [dwell(2, Dwell::Cycles(6))]);
    assert_eq!(
        screen.0.state().chosen,
        Some(4),
        "and looked at on the plan"
    );
    screen.type_into("Dwell of stage 4", "cue");
    assert_eq!(screen.wishes(), [dwell(3, Dwell::UntilCued)]);
    screen.type_into("Way to stage 2", "jump");
    let way = Way {
        motion: Motion::Jump,
        over: 4,
    };
    assert_eq!(screen.wishes(), [edit(Edit::Way { stage: 1, way })]);
    screen.type_into("Offset of copy 1 in stage 5", "-2.5");
    let copy = CopyNumber::FIRST;
    let ahead = Edit::Ahead {
        stage: 4,
        copy,
        steps: -2.5,
    };
    assert_eq!(screen.wishes(), [edit(ahead)]);
    screen.type_into("Mode from stage 2", "D Lydian over 4");
    assert!(matches!(
        screen.wishes()[..],
        [Wish::Route(RouteWish::Edit(Edit::Turn {
            stage: 1,
            turn: Some(_)
        }))]
    ));
}

#[test]
fn what_is_not_understood_is_said_and_what_is_given_up_is_not_wished_for() {
    let mut screen = Screen::usual();
    screen.type_into("Dwell of stage 3", "long");
    let wishes = screen.wishes();
    assert!(
        matches!(&wishes[..], [Wish::Say(words)] if words.contains("\"long\"")),
        "{wishes:?}"
    );
    screen.click("Dwell of stage 4");
    screen.0.event(Event::Text("9".to_owned()));
    screen.0.run();
    screen.key(Key::Escape);
    assert_eq!(screen.wishes(), []);
}

#[test]
fn up_and_down_step_a_cell() {
    let mut screen = Screen::usual();
    screen.click("Dwell of stage 3");
    screen.key(Key::ArrowUp);
    screen.key(Key::ArrowDown);
    let wished = [dwell(2, Dwell::Cycles(9)), dwell(2, Dwell::Cycles(7))];
    assert_eq!(screen.wishes(), wished);
}

#[test]
fn a_stage_is_left_out_repeated_and_moved_by_buttons_and_by_keys() {
    let mut screen = Screen::usual();
    screen.click("Stage 3");
    assert_eq!(screen.0.state().chosen, Some(4));
    assert_eq!(screen.wishes(), [Wish::Hear(Subject::Stage(4))]);
    screen.click("Leave out");
    screen.click("Repeat");
    screen.click("Earlier");
    let moved = |to| edit(Edit::Move { from: 2, to });
    let out = edit(Edit::LeaveOut { stage: 2 });
    let again = edit(Edit::Repeat { stage: 2, times: 2 });
    assert_eq!(screen.wishes(), [out.clone(), again.clone(), moved(1)]);
    screen.click("Stage 3");
    screen.wishes();
    screen.key(Key::R);
    screen.key(Key::Delete);
    assert_eq!(screen.wishes(), [again, out]);
    // It is followed to where it goes.
    screen
        .0
        .key_press_modifiers(Modifiers::COMMAND, Key::ArrowDown);
    screen.grant();
    screen.0.get_by_label_contains("Written: 9 stages");
    assert_eq!(screen.0.state().chosen, Some(6));
    screen.key(Key::ArrowDown);
    assert_eq!(screen.0.state().chosen, Some(8));
}

#[test]
fn what_follows_the_last_stage_is_chosen_and_the_rule_comes_back() {
    let mut screen = Screen::usual();
    screen.click("Stage 3");
    screen.wishes();
    screen.click("After the last stage");
    screen.click("then again from stage 3");
    let wishes = screen.wishes();
    assert!(
        matches!(
            wishes[..],
            [Wish::Route(RouteWish::Edit(Edit::Afterwards(
                Afterwards::Repeat { from: 2, .. }
            )))]
        ),
        "{wishes:?}"
    );
    screen.0.state_mut().wishes = wishes;
    screen.grant();
    screen.click("As generated");
    assert_eq!(screen.wishes(), [Wish::Route(RouteWish::AsGenerated)]);
}

#[test]
fn of_512_stages_only_those_in_sight_are_drawn_and_the_chosen_one_is_among_them() {
    let mut screen = Screen::usual();
    let route = screen.0.state().seen.process.voices().as_route();
    let stages: Vec<_> = route
        .stages()
        .iter()
        .cycle()
        .take(MAX_STAGES)
        .copied()
        .collect();
    let route = Route::new(&stages, Afterwards::Hold).unwrap();
    screen.0.state_mut().seen.follow_route(&route);
    screen.0.run();
    let rows = screen
        .0
        .query_all_by_label_contains("Dwell of stage")
        .count();
    assert!(rows < 20, "{rows}");
    let places = procession::editor::model::route::Places::of(&screen.0.state().seen);
    screen.0.state_mut().chosen = places.on_plan(400);
    screen.0.run();
    screen.0.get_by_label("Dwell of stage 401");
    assert!(screen.0.query_by_label("Dwell of stage 1").is_none());
    // With the keyboard it goes on beyond what is in sight.
    screen.click("Stage 401");
    for _ in 0..30 {
        screen.key(Key::ArrowDown);
    }
    assert_eq!(screen.0.state().chosen, places.on_plan(430));
}

#[test]
fn in_a_small_room_too_every_cell_can_be_reached() {
    let mut settings = Settings::default();
    settings.motion.copies = 8;
    let mut screen = Screen::new(seen(EIGHT, settings, 1.0), vec2(340.0, 240.0));
    screen.type_into("Dwell of stage 1", "5");
    assert_eq!(screen.wishes(), [dwell(0, Dwell::Cycles(5))]);
    for _ in 0..12 {
        screen.key(Key::Tab);
    }
    assert_eq!(screen.wishes(), []);
}

#[test]
fn stages_are_picked_by_a_choice() {
    let mut screen = Screen::usual();
    screen.click("Pick stages");
    screen.click("each once, from few attacks to many");
    let wishes = screen.wishes();
    let [Wish::Route(RouteWish::Take(route, called))] = &wishes[..] else {
        panic!("{wishes:?}");
    };
    assert!(route.is_written());
    assert_eq!(called, "picking each once, from few attacks to many");
    // Struck on steps 0, 2, 3 and 5 of eight, the phrase meets itself everywhere but four steps on.
    screen.click("Pick stages");
    screen.click("only those that interlock");
    let wishes = screen.wishes();
    let [Wish::Route(RouteWish::Take(route, _))] = &wishes[..] else {
        panic!("{wishes:?}");
    };
    let ahead = route.stages().iter().map(|stage| stage.ahead[0]);
    assert_eq!(ahead.collect::<Vec<_>>(), [4.0]);
}

#[test]
fn what_was_performed_stands_above_the_table_and_can_be_forgotten() {
    let words = "Performed: 2 cues and 1 change, heard again from any bar.";
    assert!(Screen::usual().0.query_by_label(words).is_none());
    let shape = Shape::of(&Settings::default());
    let happened = [Happened::Cue, Happened::Shaped(shape), Happened::Cue];
    let mut told = Recollection {
        first: Some(shape),
        ..Recollection::default()
    };
    for (place, what) in happened.into_iter().enumerate() {
        let at = place as f64 * 9.0;
        told.moments.push(Moment { at, what });
    }
    let mut seen = seen(EIGHT, Settings::default(), 1.0);
    seen.performed = Arc::new(told);
    let mut screen = Screen::new(seen, vec2(900.0, 420.0));
    assert!(screen.0.query_by_label(words).is_some());
    screen.click("Forget what was performed");
    assert_eq!(screen.wishes(), [Wish::ForgetPerformed]);
}

/// Nothing is lost: what a plan tells is one gesture that is taken back, what tells nothing is said.
#[test]
fn a_plan_that_was_taken_away_is_opened_again_and_what_is_none_says_why() {
    let mut screen = Screen::usual();
    let mut route = screen.0.state().seen.process.voices().as_route();
    for stage in [0, 3] {
        let edit = Edit::Dwell {
            stage,
            dwell: Dwell::Cycles(5),
        };
        route = route.edited(&edit).unwrap();
    }
    let mut process = Process::new(
        screen.0.state().seen.phrase().clone(),
        Settings::default(),
        0.0,
    );
    process.set_route(&route);
    let unrolled = Unrolled::new(process, 120.0, 4.0);
    let folder = std::env::temp_dir().join(format!("procession-plan-{}", std::process::id()));
    std::fs::create_dir_all(&folder).unwrap();
    let (plan, other) = (folder.join("crossing.json"), folder.join("other.json"));
    std::fs::write(&plan, plan::json(&unrolled.piece("Crossing"))).unwrap();
    std::fs::write(&other, "{\"schema\": 900}").unwrap();
    let mut opened = |path: &std::path::Path| {
        screen.type_into("Path of a plan (.json)", &path.display().to_string());
        let begun = std::time::Instant::now();
        loop {
            let wishes = screen.wishes();
            if !wishes.is_empty() {
                return wishes;
            }
            assert!(begun.elapsed().as_secs() < 60, "nothing was read");
            std::thread::sleep(std::time::Duration::from_millis(2));
            screen.0.run_steps(1);
        }
    };
    let taken = opened(&plan);
    let called = "opening a plan".to_owned();
    assert_eq!(
        taken,
        [Wish::Route(RouteWish::Take(Arc::new(route), called))]
    );
    let said = |wishes: Vec<Wish>| match &wishes[..] {
        [Wish::Say(said)] => said.clone(),
        other => panic!("{other:?}"),
    };
    assert!(said(opened(&other)).contains("900"));
    let said = said(opened(&folder.join("none.json")));
    assert!(said.starts_with("There is no file"), "{said}");
    std::fs::remove_dir_all(folder).unwrap();
}
