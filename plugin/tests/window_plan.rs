//! The plan, with real pointer, wheel and keys.
#![allow(clippy::unwrap_used)]

mod desk;

use desk::{seen, texts};
use egui::{Event, Key, Modifiers, Pos2, Rect, Vec2, pos2, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT, Queryable};
use procession::editor::look::{Look, Theme};
use procession::editor::plan::{PlanState, show};
use procession::editor::seen::Seen;
use procession::editor::wish::{RouteWish, Wish};
use procession_core::mode::ModeName;
use procession_core::part::CopyNumber;
use procession_core::route::{Dwell, Edit, Way};
use procession_core::settings::{
    CopiesMove, FoldKind, Growth, Modulation, Modulations, Motion, Place, Settings, Shifts,
};
use procession_core::snippet::Subject;

/// Eight steps of a sixteenth: dwells of 16 beats, drifts of 8, 208 beats in all.
const EIGHT: &str = "D4 . F4 G4 . A4 . .";

/// The view, and the stage that is looked at.
struct Desk {
    seen: Seen,
    state: PlanState,
    chosen: Option<usize>,
    wishes: Vec<Wish>,
    rect: Rect,
}

struct Screen(Harness<'static, Desk>);

impl Screen {
    fn new(seen: Seen, size: Vec2) -> Self {
        Self::zoomed(seen, size, 1.0)
    }

    fn zoomed(seen: Seen, size: Vec2, zoom: f32) -> Self {
        let desk = Desk {
            seen,
            state: PlanState::default(),
            chosen: None,
            wishes: Vec::new(),
            rect: Rect::NOTHING,
        };
        let look = Look::of(Theme::Dark);
        let mut harness = desk::screen(size, zoom, desk, move |ui, desk: &mut Desk| {
            desk.rect = ui.available_rect_before_wrap();
            let Desk {
                seen,
                state,
                chosen,
                wishes,
                ..
            } = desk;
            wishes.extend(show(ui, seen, &look, state, chosen));
        });
        harness.run();
        Self(harness)
    }

    /// At a time of the whole form, in beats.
    fn at(&self, beats: f64, of: f64) -> Pos2 {
        let chart = self.0.get_by_label_contains("Plan: ").rect();
        let share = (beats / of) as f32;
        pos2(chart.left() + share * chart.width(), chart.center().y)
    }

    fn button(&mut self, at: Pos2, pressed: bool) {
        desk::button(&mut self.0, at, pressed, Modifiers::NONE);
    }

    fn take(&mut self, at: Pos2) {
        desk::take(&mut self.0, at);
    }

    fn click(&mut self, at: Pos2) {
        self.take(at);
        self.button(at, false);
        // So that the next click is no second one of a pair.
        self.0.run_steps(30);
    }

    fn wheel(&mut self, at: Pos2, delta: Vec2) {
        self.0.hover_at(at);
        self.0.step();
        self.0.event(Event::MouseWheel {
            unit: egui::MouseWheelUnit::Point,
            delta,
            phase: egui::TouchPhase::Move,
            source: egui::MouseWheelSource::Wheel,
            modifiers: Modifiers::NONE,
        });
        self.0.run_steps(60);
    }

    fn chosen(&self) -> Option<usize> {
        self.0.state().chosen
    }
}

const WINDOW: Vec2 = vec2(700.0, 420.0);

#[test]
fn a_click_on_a_stage_chooses_it_and_another_lets_it_go() {
    let mut screen = Screen::new(seen(EIGHT, Settings::default(), 1.0), WINDOW);
    // From beat 24 to 40 copy 1 stays a step ahead.
    let third = screen.at(30.0, 208.0);
    screen.click(third);
    assert_eq!(screen.chosen(), Some(2));
    screen
        .0
        .get_by_label_contains("Looking at stage 3 of 17: copy 1 stays 1 step ahead");
    screen.click(screen.at(42.0, 208.0));
    assert_eq!(screen.chosen(), Some(3));
    screen.click(screen.at(42.0, 208.0));
    assert_eq!(screen.chosen(), None);
}

#[test]
fn escape_lets_go() {
    let mut screen = Screen::new(seen(EIGHT, Settings::default(), 1.0), WINDOW);
    screen.click(screen.at(30.0, 208.0));
    screen.0.key_press(Key::Escape);
    screen.0.run();
    assert_eq!(screen.chosen(), None);
    screen.0.get_by_label_contains("Now stage 1 of 17: unison");
}

#[test]
fn the_arrow_keys_go_from_stage_to_stage() {
    let mut screen = Screen::new(seen(EIGHT, Settings::default(), 1.0), WINDOW);
    screen.click(screen.at(30.0, 208.0));
    screen.0.key_press(Key::ArrowRight);
    screen.0.run();
    assert_eq!(screen.chosen(), Some(3));
    for _ in 0..9 {
        screen.0.key_press(Key::ArrowLeft);
        screen.0.run();
    }
    assert_eq!(screen.chosen(), Some(0));
}

#[test]
fn resting_on_a_stage_tells_what_it_is() {
    let mut screen = Screen::new(seen(EIGHT, Settings::default(), 1.0), WINDOW);
    screen.0.hover_at(screen.at(30.0, 208.0));
    screen.0.run_steps(60);
    for words in [
        "Stage 3 of 17: dwell",
        "Copy 1 stays 1 step ahead",
        "Bars 7-10, 0:12 to 0:20",
        "7 attacks, 1 coincidence; 4 pitches: D F G A",
    ] {
        screen.0.get_by_label_contains(words);
    }
    assert_eq!(screen.chosen(), None);
}

#[test]
fn a_stage_that_is_no_more_is_let_go() {
    let mut screen = Screen::new(seen(EIGHT, Settings::default(), 1.0), WINDOW);
    screen.0.state_mut().chosen = Some(16);
    let mut short = Settings::default();
    short.motion.shifts = Shifts::Count(1);
    screen.0.state_mut().seen = seen(EIGHT, short, 1.0);
    screen.0.run();
    assert_eq!(screen.chosen(), None);
}

#[test]
fn the_wheel_looks_nearer_and_two_clicks_show_the_whole_again() {
    let mut screen = Screen::new(seen(EIGHT, Settings::default(), 0.0), WINDOW);
    let left = screen.at(1.0, 208.0);
    let right = screen.at(207.0, 208.0);
    screen.wheel(left, vec2(0.0, 480.0));
    // Two halvings about the left edge: the right edge is a quarter of the way.
    screen.click(right);
    assert_eq!(screen.chosen(), Some(4));
    for _ in 0..2 {
        screen.take(right);
        screen.button(right, false);
    }
    screen.0.run_steps(30);
    assert_eq!(screen.chosen(), Some(4));
    screen.click(right);
    assert_eq!(screen.chosen(), Some(16));
}

#[test]
fn a_drag_moves_on_through_the_piece_and_chooses_nothing() {
    let mut screen = Screen::new(seen(EIGHT, Settings::default(), 0.0), WINDOW);
    let left = screen.at(1.0, 208.0);
    let right = screen.at(207.0, 208.0);
    screen.wheel(left, vec2(0.0, 480.0));
    screen.take(right);
    for part in 1..=8 {
        screen
            .0
            .hover_at(right + (left - right) * part as f32 / 8.0);
        screen.0.step();
    }
    screen.button(left, false);
    screen.0.run_steps(30);
    assert_eq!(screen.chosen(), None);
    // Most of a quarter further, all but what the first move needed to become a drag.
    screen.click(right);
    let chosen = screen.chosen().unwrap();
    assert!((7..=8).contains(&chosen), "{chosen}");
}

#[test]
fn the_playhead_is_followed_off_the_edge_while_it_is_in_sight() {
    let mut screen = Screen::new(seen(EIGHT, Settings::default(), 2.0), WINDOW);
    let left = screen.at(1.0, 208.0);
    screen.wheel(left, vec2(0.0, 480.0));
    screen.0.state_mut().seen = seen(EIGHT, Settings::default(), 100.0);
    screen.0.run();
    screen.click(left);
    // A tenth of the 52 beats in sight lies before beat 100.
    assert_eq!(screen.chosen(), Some(7));
}

#[test]
fn an_endless_process_says_so() {
    let mut settings = Settings::default();
    settings.motion.shifts = Shifts::Endless;
    let screen = Screen::new(seen(EIGHT, settings, 500.0), WINDOW);
    screen.0.get_by_label_contains("it goes on endlessly");
    screen.0.get_by_label_contains("round 3");
}

#[test]
fn without_a_phrase_it_says_what_will_be_here() {
    let nothing = seen("", Settings::default(), 0.0);
    assert!(nothing.phrase().is_empty());
    let screen = Screen::new(nothing, WINDOW);
    screen.0.get_by_label_contains("once there is a phrase");
}

#[test]
fn at_every_size_all_words_are_inside_and_none_lies_on_another() {
    let mut eight = Settings::default();
    eight.motion.copies = 8;
    eight.motion.entry = 2;
    eight.growth.growth = Growth::Fill;
    eight.fold.fold = FoldKind::ByDegree;
    eight.fold.amount = 0.5;
    eight.fold.target_mode = ModeName::Locrian;
    let mut long = eight;
    long.motion.copies_move = CopiesMove::InTurn;
    long.motion.dwell = 64;
    long.motion.shifts = Shifts::Endless;
    let sizes = [
        (340.0, 220.0),
        (340.0, 340.0),
        (380.0, 300.0),
        (600.0, 180.0),
        (700.0, 420.0),
        (1200.0, 800.0),
    ];
    let phrase = "D4 . F4 G4 . A4 C5 . D4 . E4 . G4 A4 . F4";
    for (settings, at) in [(Settings::default(), 35.0), (eight, 171.3), (long, 1e5)] {
        for (width, height) in sizes {
            for zoom in [1.0, 2.0] {
                let seen = seen(phrase, settings, at);
                let screen = Screen::zoomed(seen, vec2(width, height), zoom);
                let room = screen.0.state().rect.expand(0.5);
                // Blanks, which nobody sees, may lie anywhere.
                let mut texts = texts(&screen.0.output().shapes);
                texts.retain(|(words, _)| !words.trim().is_empty());
                assert!(texts.len() > 5);
                for (index, (words, rect)) in texts.iter().enumerate() {
                    assert!(room.contains_rect(*rect), "{words} at {width} x {height}");
                    for (others, other) in &texts[index + 1..] {
                        let apart = !rect.shrink(1.0).intersects(other.shrink(1.0));
                        assert!(apart, "{words} on {others} at {width} x {height}");
                    }
                }
            }
        }
    }
}

/// Types into the field for the length of the whole.
fn ask_for(screen: &mut Screen, text: &str) {
    screen.0.get_by_label("Make it last").click();
    screen.0.run();
    screen.0.event(Event::Text(text.to_owned()));
    screen.0.run();
    screen.0.key_press(Key::Enter);
    screen.0.run();
}

#[test]
fn a_length_that_is_typed_is_answered_with_counts_of_which_one_is_clicked() {
    for size in [vec2(900.0, 300.0), vec2(340.0, 220.0)] {
        // At 120 a cycle lasts a second: 9 dwells of 8 and 8 drifts of 4 are 1:44.
        let mut screen = Screen::new(seen(EIGHT, Settings::default(), 0.0), size);
        ask_for(&mut screen, "2:10");
        screen.0.get_by_label("To last 2:10:");
        // 9 D + 8 R = 130 is 10 and 5, and only that: D is 2 more than a multiple of 8.
        screen
            .0
            .get_by_label("Dwell 10 cycles, drift over 5 cycles: 2:10")
            .click();
        screen.0.run();
        assert_eq!(
            screen.0.state().wishes,
            [
                Wish::Type("dwell", "10".to_owned()),
                Wish::Type("drift", "5".to_owned())
            ]
        );
        assert!(screen.0.query_by_label("To last 2:10:").is_none(), "closed");
    }
}

#[test]
fn a_length_out_of_reach_says_what_is_in_reach_and_no_length_what_would_be_one() {
    let mut screen = Screen::new(seen(EIGHT, Settings::default(), 0.0), vec2(900.0, 300.0));
    ask_for(&mut screen, "60");
    // 9 dwells of 4 to 24 and 8 drifts over 4 to 16 cycles of a second: 68 s and 344 s.
    screen.0.get_by_label(
        "1:00:00 is out of reach: with dwells of 4 to 24 cycles and drifts over 4 to 16, as is \
         customary, it lasts 1:08 to 5:44.",
    );
    screen
        .0
        .get_by_label("Dwell 24 cycles, drift over 16 cycles: 5:44");
    let mut screen = Screen::new(seen(EIGHT, Settings::default(), 0.0), vec2(900.0, 300.0));
    ask_for(&mut screen, "soon");
    let [Wish::Say(said)] = &screen.0.state().wishes[..] else {
        panic!("{:?}", screen.0.state().wishes);
    };
    assert!(
        said.starts_with("\"soon\" is not a length of time."),
        "{said}"
    );
}

/// Of the flag; its parts tell about it what a screen reader hears.
fn flag(screen: &Screen) -> Rect {
    screen.0.get_by_label("Begins at").rect()
}

fn flag_says(screen: &Screen) -> Option<String> {
    let flag = screen.0.get_by_label("Begins at");
    flag.accesskit_node().value()
}

/// Types where the keyboard is.
fn type_in(screen: &mut Screen, text: &str) {
    screen.0.event(Event::Text(text.to_owned()));
    screen.0.run();
}

#[test]
fn a_bar_typed_on_the_flag_is_where_the_process_begins_and_can_be_lifted() {
    let mut screen = Screen::new(seen(EIGHT, Settings::default(), 1.0), WINDOW);
    assert_eq!(flag_says(&screen).as_deref(), Some("by Hold"));
    screen.click(flag(&screen).center());
    type_in(&mut screen, "33:2");
    screen.0.key_press(Key::Enter);
    screen.0.run();
    let wishes = std::mem::take(&mut screen.0.state_mut().wishes);
    assert_eq!(wishes, [Wish::BeginAt(Some(129.0))]);
    assert!(screen.0.query_by_label("Bar to begin at").is_none(), "done");
    // It has been granted.
    screen.0.state_mut().seen.beginning.at = Some(129.0);
    screen.0.run();
    assert_eq!(flag_says(&screen).as_deref(), Some("bar 33:2"));
    // What stands there is replaced by what is typed.
    screen.click(flag(&screen).center());
    type_in(&mut screen, "17");
    screen.0.key_press(Key::Enter);
    screen.0.run();
    let wishes = std::mem::take(&mut screen.0.state_mut().wishes);
    assert_eq!(wishes, [Wish::BeginAt(Some(64.0))]);
    screen.click(flag(&screen).center());
    screen.0.get_by_label("Lift").click();
    screen.0.run();
    assert_eq!(screen.0.state().wishes, [Wish::BeginAt(None)]);
}

#[test]
fn what_is_no_bar_is_refused_in_words_and_stays_to_be_mended() {
    let mut screen = Screen::new(seen(EIGHT, Settings::default(), 1.0), WINDOW);
    screen.click(flag(&screen).center());
    type_in(&mut screen, "soon");
    screen.0.key_press(Key::Enter);
    screen.0.run();
    let [Wish::Say(words)] = &screen.0.state().wishes[..] else {
        panic!("{:?}", screen.0.state().wishes)
    };
    assert!(words.contains("soon") && words.contains("33:2"), "{words}");
    screen.0.get_by_label("Bar to begin at");
}

#[test]
fn the_flag_is_dragged_from_bar_to_bar_and_escape_gives_it_up() {
    let mut seen = seen(EIGHT, Settings::default(), 1.0);
    seen.beginning.at = Some(32.0);
    let mut screen = Screen::new(seen, WINDOW);
    let from = flag(&screen).center();
    // 41 of the 208 beats that the chart shows: ten bars of four and a beat.
    let by = screen.at(41.0, 208.0).x - screen.at(0.0, 208.0).x;
    screen.take(from);
    for part in 1..=4 {
        screen.0.hover_at(from + vec2(by * part as f32 / 4.0, 0.0));
        screen.0.step();
    }
    assert_eq!(screen.0.state().wishes, [], "not before it is let go");
    screen.button(from + vec2(by, 0.0), false);
    screen.0.run_steps(30);
    let wishes = std::mem::take(&mut screen.0.state_mut().wishes);
    assert_eq!(wishes, [Wish::BeginAt(Some(72.0))]);
    assert_eq!(screen.chosen(), None, "no stage was clicked");

    screen.take(from);
    screen.0.hover_at(from + vec2(by, 0.0));
    screen.0.step();
    screen.0.key_press(Key::Escape);
    screen.0.step();
    screen.button(from + vec2(by, 0.0), false);
    screen.0.run_steps(30);
    assert_eq!(screen.0.state().wishes, []);
}

#[test]
fn the_keyboard_moves_the_flag_and_lifts_it() {
    let mut seen = seen(EIGHT, Settings::default(), 1.0);
    seen.beginning.at = Some(32.0);
    let mut screen = Screen::new(seen, WINDOW);
    screen.0.get_by_label("Begins at").focus();
    screen.0.run();
    screen.0.key_press(Key::ArrowRight);
    screen.0.run();
    screen.0.key_press(Key::ArrowLeft);
    screen.0.run();
    screen.0.key_press(Key::Delete);
    screen.0.run();
    let to = |at| Wish::BeginAt(at);
    assert_eq!(
        screen.0.state().wishes,
        [to(Some(36.0)), to(Some(28.0)), to(None)]
    );
}

/// What of the wishes is about the route.
fn written(screen: &Screen) -> Vec<Edit> {
    let wishes = screen.0.state().wishes.iter();
    let edits = wishes.filter_map(|wish| match wish {
        Wish::Route(RouteWish::Edit(edit)) => Some(edit.clone()),
        _ => None,
    });
    edits.collect()
}

/// On the strip of blocks beneath the lines.
fn strip(screen: &Screen, beats: f64, of: f64) -> Pos2 {
    let chart = screen.0.get_by_label_contains("Plan: ").rect();
    pos2(screen.at(beats, of).x, chart.bottom() - 8.0)
}

fn drag(screen: &mut Screen, from: Pos2, to: Pos2) {
    screen.take(from);
    for part in 1..=6 {
        screen.0.hover_at(from + (to - from) * part as f32 / 6.0);
        screen.0.step();
    }
    screen.button(to, false);
    screen.0.run_steps(4);
}

#[test]
fn the_end_of_a_dwell_and_of_a_drift_is_dragged_from_cycle_to_cycle() {
    let mut screen = Screen::new(seen(EIGHT, Settings::default(), 1.0), WINDOW);
    // Copy 1 stays a step ahead from beat 24 to 40: 8 cycles of 2 beats.
    let (end, two_on) = (strip(&screen, 40.0, 208.0), strip(&screen, 44.4, 208.0));
    drag(&mut screen, end, two_on);
    let dwell = Dwell::Cycles(10);
    assert_eq!(written(&screen), [Edit::Dwell { stage: 1, dwell }]);
    // The drift from beat 40 to 48 leads to the third stage.
    let (end, two_back) = (strip(&screen, 48.0, 208.0), strip(&screen, 44.0, 208.0));
    drag(&mut screen, end, two_back);
    let way = |motion, over| Way { motion, over };
    let drift = Edit::Way {
        stage: 2,
        way: way(Motion::Drift, 2),
    };
    assert_eq!(written(&screen)[1..], [drift]);
    // Down to nothing it is a jump.
    let gone = strip(&screen, 39.0, 208.0);
    drag(&mut screen, end, gone);
    let jump = Edit::Way {
        stage: 2,
        way: way(Motion::Jump, 1),
    };
    assert_eq!(written(&screen)[2..], [jump]);
    assert_eq!(screen.chosen(), None, "to drag is not to choose");
}

#[test]
fn a_drag_that_is_given_up_writes_nothing() {
    let mut screen = Screen::new(seen(EIGHT, Settings::default(), 1.0), WINDOW);
    let (end, far) = (strip(&screen, 40.0, 208.0), strip(&screen, 60.0, 208.0));
    screen.take(end);
    screen.0.hover_at(far);
    screen.0.step();
    screen.0.get_by_label_contains("Plan: ");
    let words = texts(&screen.0.output().shapes);
    assert!(
        words.iter().any(|(words, _)| words == "18 cycles"),
        "{words:?}"
    );
    screen.0.key_press(Key::Escape);
    screen.0.step();
    screen.button(far, false);
    assert_eq!(written(&screen), []);
}

#[test]
fn a_line_is_dragged_to_another_offset_and_a_block_to_another_place() {
    let mut screen = Screen::new(seen(EIGHT, Settings::default(), 1.0), WINDOW);
    let middle = screen.at(32.0, 208.0);
    screen.click(middle);
    assert_eq!(screen.chosen(), Some(2));
    // The line of copy 1 in the stage that is looked at: one step up of eight.
    let chart = screen.0.get_by_label_contains("Plan: ").rect();
    let strip_height = 17.0;
    let (top, bottom) = (chart.top() + 9.0, chart.bottom() - strip_height - 9.0);
    let height = |steps: f32| pos2(middle.x, bottom - (bottom - top) * steps / 8.0);
    drag(&mut screen, height(1.0), height(4.1));
    let copy = CopyNumber::FIRST;
    let steps = 4.0;
    let ahead = Edit::Ahead {
        stage: 1,
        copy,
        steps,
    };
    assert_eq!(written(&screen), [ahead]);
    let (block, later) = (strip(&screen, 32.0, 208.0), strip(&screen, 80.0, 208.0));
    drag(&mut screen, block, later);
    assert_eq!(written(&screen)[1..], [Edit::Move { from: 1, to: 3 }]);
}

#[test]
fn every_gesture_is_a_key_too() {
    let mut screen = Screen::new(seen(EIGHT, Settings::default(), 1.0), WINDOW);
    screen.click(screen.at(32.0, 208.0));
    let way = |motion, over| Edit::Way {
        stage: 1,
        way: Way { motion, over },
    };
    let dwell = |dwell| Edit::Dwell { stage: 1, dwell };
    let ahead = |steps| Edit::Ahead {
        stage: 1,
        copy: CopyNumber::FIRST,
        steps,
    };
    let keys = [
        (Modifiers::NONE, Key::ArrowUp, dwell(Dwell::Cycles(9))),
        (Modifiers::NONE, Key::ArrowDown, dwell(Dwell::Cycles(7))),
        (Modifiers::NONE, Key::C, dwell(Dwell::UntilCued)),
        (Modifiers::SHIFT, Key::ArrowUp, way(Motion::Drift, 5)),
        (Modifiers::NONE, Key::W, way(Motion::Jump, 4)),
        (Modifiers::NONE, Key::Num1, ahead(2.0)),
        (Modifiers::COMMAND, Key::Num1, ahead(0.0)),
        (Modifiers::NONE, Key::R, Edit::Repeat { stage: 1, times: 2 }),
        (Modifiers::NONE, Key::Delete, Edit::LeaveOut { stage: 1 }),
        (
            Modifiers::COMMAND,
            Key::ArrowRight,
            Edit::Move { from: 1, to: 2 },
        ),
    ];
    for (modifiers, key, edit) in keys {
        screen.0.state_mut().wishes.clear();
        screen.0.key_press_modifiers(modifiers, key);
        screen.0.run();
        assert_eq!(written(&screen), [edit], "{modifiers:?} {key:?}");
        assert_eq!(screen.chosen(), Some(2));
    }
}

#[test]
fn a_written_form_says_so_and_leads_back_to_the_rule() {
    let mut screen = Screen::new(seen(EIGHT, Settings::default(), 1.0), WINDOW);
    assert!(screen.0.query_by_label("As generated").is_none());
    let route = screen.0.state().seen.process.voices().as_route();
    let dwell = Dwell::Cycles(2);
    let route = route.edited(&Edit::Dwell { stage: 0, dwell }).unwrap();
    screen.0.state_mut().seen.follow_route(&route);
    screen.0.run();
    screen.0.get_by_label("As generated").click();
    screen.0.run();
    assert!(
        screen
            .0
            .state()
            .wishes
            .contains(&Wish::Route(RouteWish::AsGenerated))
    );
}

#[test]
fn a_written_form_is_made_to_last_and_all_its_counts_keep_their_share() {
    let mut screen = Screen::new(seen(EIGHT, Settings::default(), 0.0), vec2(900.0, 300.0));
    let route = screen.0.state().seen.process.voices().as_route();
    let dwell = Dwell::Cycles(16);
    let route = route.edited(&Edit::Dwell { stage: 0, dwell }).unwrap();
    screen.0.state_mut().seen.follow_route(&route);
    // A cycle lasts a second: 16 and 8 dwells of 8, and 8 drifts of 4, are 1:52.
    ask_for(&mut screen, "2:48");
    // Half as long again, and so is each.
    screen
        .0
        .get_by_label("Dwells of 12 to 24 cycles (now 8 to 16), drifts over 6 (now 4): 2:48")
        .click();
    screen.0.run();
    let wishes = &screen.0.state().wishes;
    let [Wish::Route(RouteWish::Take(taken, called))] = &wishes[..] else {
        panic!("{wishes:?}");
    };
    assert_eq!(called, "making it last 2:48");
    assert_eq!(taken.stages()[0].dwell, Dwell::Cycles(24));
    assert_eq!(taken.stages()[5].dwell, Dwell::Cycles(12));
}

/// Beside the length, where the plan is wide: nine dwells of 8 s and eight drifts of 4 s come to
/// unison after 8 dwells and 8 drifts, at 1:36.
#[test]
fn unison_comes_when_it_is_wished() {
    let mut screen = Screen::new(seen(EIGHT, Settings::default(), 0.0), vec2(900.0, 300.0));
    screen.0.get_by_label("Let come").click();
    screen.0.run();
    screen.0.event(Event::Text("unison at 1:17".to_owned()));
    screen.0.run();
    screen.0.key_press(Key::Enter);
    screen.0.run();
    screen.0.get_by_label("For unison at 1:17:");
    let offered = screen.0.get_by_label_contains(": 1:17");
    offered.click();
    screen.0.run();
    let wishes = &screen.0.state().wishes;
    let [Wish::Route(RouteWish::Take(taken, called))] = &wishes[..] else {
        panic!("{wishes:?}");
    };
    assert_eq!(called, "unison at 1:17");
    let before_last = &taken.stages()[..8];
    let counted = before_last.iter().map(|stage| match stage.dwell {
        Dwell::Cycles(cycles) => cycles,
        Dwell::UntilCued => 0,
    });
    let drifts = taken.stages()[1..].iter().map(|stage| stage.way.over);
    assert_eq!(counted.sum::<u32>() + drifts.sum::<u32>(), 77);
}

#[test]
fn where_a_mode_begins_a_click_has_the_change_heard() {
    let change = Modulation {
        place: Place::Stage(5),
        tonic: 2,
        mode: ModeName::Lydian,
        over: 2,
    };
    let settings = Settings {
        modulations: Modulations::new([change]),
        ..Settings::default()
    };
    let mut screen = Screen::new(seen(EIGHT, settings, 0.0), vec2(900.0, 300.0));
    let mark = screen.0.get_by_label_contains("Hear mode change 1");
    mark.click();
    screen.0.run();
    assert_eq!(
        screen.0.state().wishes,
        [Wish::Hear(Subject::ModeChange(0))]
    );
}
