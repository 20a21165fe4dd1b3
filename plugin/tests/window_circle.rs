//! The circle, with real pointer, wheel and keys.
#![allow(clippy::unwrap_used)]

mod desk;

use desk::{seen, texts};
use egui::{CursorIcon, Event, Key, Modifiers, Pos2, Rect, Vec2, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use procession::editor::circle::{CircleState, face_in, show};
use procession::editor::look::{Look, Theme};
use procession::editor::model::circle::{Face, normalised};
use procession::editor::seen::Seen;
use procession::editor::wish::Wish;
use procession_core::part::Part;
use procession_core::settings::{Growth, Settings};

/// Eight steps of a sixteenth.
const EIGHT: &str = "D4 . F4 G4 . A4 . .";

/// The view, and what it has asked for.
struct Desk {
    seen: Seen,
    state: CircleState,
    chosen: Option<usize>,
    wishes: Vec<Wish>,
    rect: Rect,
}

fn two_copies() -> Settings {
    let mut settings = Settings::default();
    settings.motion.copies = 2;
    settings
}

struct Screen(Harness<'static, Desk>);

impl Screen {
    fn new(seen: Seen, size: Vec2) -> Self {
        Self::zoomed(seen, size, 1.0)
    }

    fn zoomed(seen: Seen, size: Vec2, zoom: f32) -> Self {
        let desk = Desk {
            seen,
            state: CircleState::default(),
            chosen: None,
            wishes: Vec::new(),
            rect: Rect::NOTHING,
        };
        let look = Look::of(Theme::Light);
        let mut harness = desk::screen(size, zoom, desk, move |ui, desk: &mut Desk| {
            desk.rect = ui.available_rect_before_wrap();
            let wishes = show(ui, &desk.seen, &look, &mut desk.state, desk.chosen);
            desk.wishes.extend(wishes);
        });
        harness.run();
        Self(harness)
    }

    fn face(&self) -> Face {
        let desk = self.0.state();
        face_in(desk.rect, desk.seen.process.voices().count())
    }

    /// On the ring of a voice, at that share of the circle.
    fn on_ring(&self, voice: usize, place: f64) -> Pos2 {
        let face = self.face();
        face.point(place, face.radius(Part::ALL[voice]))
    }

    fn button(&mut self, at: Pos2, pressed: bool, modifiers: Modifiers) {
        desk::button(&mut self.0, at, pressed, modifiers);
    }

    fn take(&mut self, at: Pos2) {
        desk::take(&mut self.0, at);
    }

    fn click(&mut self, at: Pos2) {
        self.take(at);
        self.button(at, false, Modifiers::NONE);
    }

    /// Takes the ring of a voice at `from` and turns it, in small moves, to `to`.
    fn turn(&mut self, voice: usize, from: f64, to: f64) {
        self.take(self.on_ring(voice, from));
        for part in 1..=10 {
            let place = from + (to - from) * f64::from(part) / 10.0;
            self.0.hover_at(self.on_ring(voice, place));
            self.0.step();
        }
    }

    fn let_go(&mut self, voice: usize, place: f64) {
        self.button(self.on_ring(voice, place), false, Modifiers::NONE);
        self.0.run();
    }

    fn wishes(&self) -> &[Wish] {
        &self.0.state().wishes
    }

    fn last_turn(&self) -> Option<(&'static str, f32)> {
        self.wishes().iter().rev().find_map(|wish| match wish {
            Wish::Turn(id, value) => Some((*id, *value)),
            _ => None,
        })
    }
}

const WINDOW: Vec2 = vec2(600.0, 420.0);

#[test]
fn a_ring_dragged_back_by_a_quarter_puts_its_copy_two_steps_of_eight_ahead() {
    let mut screen = Screen::new(seen(EIGHT, two_copies(), 1.0), WINDOW);
    screen.turn(2, 0.5, 0.25);
    screen.let_go(2, 0.25);
    let wishes = screen.wishes();
    assert_eq!(wishes.first(), Some(&Wish::Grasp("copy2_offset")));
    assert_eq!(wishes.last(), Some(&Wish::LetGo("copy2_offset")));
    assert_eq!(screen.last_turn(), Some(("copy2_offset", normalised(2.0))));
    // Whole steps, each asked for once.
    assert_eq!(wishes.len(), 4);
}

#[test]
fn dragged_on_by_a_quarter_it_falls_two_steps_behind() {
    let mut screen = Screen::new(seen(EIGHT, two_copies(), 1.0), WINDOW);
    screen.turn(1, 0.0, 0.25);
    screen.let_go(1, 0.25);
    assert_eq!(screen.last_turn(), Some(("copy1_offset", normalised(-2.0))));
}

#[test]
fn with_shift_held_it_stands_between_steps() {
    let mut screen = Screen::new(seen(EIGHT, two_copies(), 1.0), WINDOW);
    screen.0.event(Event::ModifiersChanged(Modifiers::SHIFT));
    screen.turn(1, 0.5, 0.45);
    screen.let_go(1, 0.45);
    let (_, value) = screen.last_turn().unwrap();
    assert!((value - normalised(0.4)).abs() < 1e-3, "{value}");
}

#[test]
fn a_turn_counts_from_where_the_copy_was() {
    let mut settings = two_copies();
    settings.copies[0].offset = 3.0;
    let mut screen = Screen::new(seen(EIGHT, settings, 1.0), WINDOW);
    screen.turn(1, 0.5, 0.375);
    screen.let_go(1, 0.375);
    assert_eq!(screen.last_turn(), Some(("copy1_offset", normalised(4.0))));
}

#[test]
fn escape_gives_a_turn_up() {
    let mut settings = two_copies();
    settings.copies[0].offset = 3.0;
    let mut screen = Screen::new(seen(EIGHT, settings, 1.0), WINDOW);
    screen.turn(1, 0.5, 0.25);
    screen.0.key_press(Key::Escape);
    screen.0.step();
    screen.let_go(1, 0.25);
    assert_eq!(screen.last_turn(), Some(("copy1_offset", normalised(3.0))));
    let gone = |wish: &&Wish| matches!(wish, Wish::LetGo(_));
    assert_eq!(screen.wishes().iter().filter(gone).count(), 1);
}

#[test]
fn the_steady_ring_and_the_empty_middle_do_not_turn() {
    let mut screen = Screen::new(seen(EIGHT, two_copies(), 1.0), WINDOW);
    screen.turn(0, 0.5, 0.25);
    screen.let_go(0, 0.25);
    let middle = screen.face().centre;
    screen.take(middle);
    screen.0.hover_at(middle + vec2(30.0, 0.0));
    screen.0.step();
    screen.button(middle, false, Modifiers::NONE);
    assert_eq!(screen.wishes(), []);
}

#[test]
fn two_clicks_on_a_ring_put_it_back() {
    let mut screen = Screen::new(seen(EIGHT, two_copies(), 1.0), WINDOW);
    let at = screen.on_ring(1, 0.3);
    screen.click(at);
    screen.click(at);
    assert_eq!(screen.wishes(), [Wish::Reset("copy1_offset")]);
}

#[test]
fn a_hand_over_a_ring_and_words_say_what_can_be_done() {
    let mut settings = two_copies();
    settings.motion.offset = 1.0;
    let mut screen = Screen::new(seen(EIGHT, settings, 1.0), WINDOW);
    screen.0.hover_at(screen.on_ring(2, 0.3));
    screen.0.run_steps(60);
    let cursor = screen.0.output().platform_output.cursor_icon;
    assert_eq!(cursor, CursorIcon::Grab);
    screen
        .0
        .get_by_label_contains("Copy 2: 2 steps ahead, locked.");
    screen
        .0
        .get_by_label_contains("Double-click to reset it to none");
    screen.turn(2, 0.3, 0.4);
    let cursor = screen.0.output().platform_output.cursor_icon;
    assert_eq!(cursor, CursorIcon::Grabbing);
}

#[test]
fn the_keyboard_moves_a_copy_step_by_step() {
    let mut screen = Screen::new(seen(EIGHT, two_copies(), 1.0), WINDOW);
    let row = screen.0.get_by_label_contains("Copy 1 offset").rect();
    screen.click(row.center());
    screen.0.run();
    screen.0.key_press(Key::ArrowUp);
    screen.0.run();
    let id = "copy1_offset";
    let step_ahead = [
        Wish::Grasp(id),
        Wish::Turn(id, normalised(1.0)),
        Wish::LetGo(id),
    ];
    assert_eq!(screen.wishes(), step_ahead);
    screen.0.key_press(Key::ArrowLeft);
    screen.0.run();
    assert_eq!(screen.last_turn(), Some((id, normalised(-1.0))));
}

#[test]
fn a_chosen_stage_is_shown_instead_of_the_present() {
    let mut screen = Screen::new(seen(EIGHT, Settings::default(), 1.0), WINDOW);
    screen.0.get_by_label_contains("Circle, Now: 4 attacks");
    screen.0.state_mut().chosen = Some(2);
    screen.0.run();
    screen
        .0
        .get_by_label_contains("Circle, Stage 3 of 17: 7 attacks, 1 coincidence");
    screen
        .0
        .get_by_label_contains("Copy 1 offset, 1 step ahead");
}

#[test]
fn without_a_phrase_it_says_what_to_do() {
    let nothing = seen("", Settings::default(), 0.0);
    assert!(nothing.phrase().is_empty());
    let screen = Screen::new(nothing, WINDOW);
    screen.0.get_by_label_contains("Play a few bars");
}

#[test]
fn at_every_size_all_words_are_inside_and_none_lies_on_another() {
    let mut eight = Settings::default();
    eight.motion.copies = 8;
    eight.motion.entry = 2;
    eight.growth.growth = Growth::Fill;
    let sizes = [
        (340.0, 220.0),
        (340.0, 340.0),
        (360.0, 520.0),
        (380.0, 300.0),
        (600.0, 420.0),
        (1200.0, 800.0),
    ];
    for (settings, at) in [(Settings::default(), 35.0), (eight, 40.0), (eight, 171.3)] {
        for (width, height) in sizes {
            for zoom in [1.0, 2.0] {
                let long = "D4 . F4 G4 . A4 C5 . D4 . E4 . G4 A4 . F4";
                let screen = Screen::zoomed(seen(long, settings, at), vec2(width, height), zoom);
                let room = screen.0.state().rect.expand(0.5);
                let texts = texts(&screen.0.output().shapes);
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

#[test]
fn a_circle_that_goes_while_a_ring_is_in_hand_lets_go() {
    let mut screen = Screen::new(seen(EIGHT, Settings::default(), 0.0), vec2(420.0, 420.0));
    screen.turn(1, 0.0, -0.25);
    assert_eq!(screen.wishes().first(), Some(&Wish::Grasp("copy1_offset")));
    let lets_go = |screen: &Screen| screen.wishes().contains(&Wish::LetGo("copy1_offset"));
    assert!(!lets_go(&screen));
    screen.0.state_mut().seen = seen("", Settings::default(), 0.0);
    screen.0.step();
    assert!(lets_go(&screen));
    let mut state = CircleState::default();
    assert_eq!(state.let_go(), None);
}
