//! Hearing a stage, an alignment or a mode change by itself, with real pointer and keys.
#![allow(clippy::unwrap_used)]

mod desk;

use desk::seen;
use egui::accesskit::Role;
use egui::{Key, Modifiers, Pos2, pos2, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT, Queryable};
use procession::editor::alignments::{self, AlignmentsState};
use procession::editor::look::{Look, Theme};
use procession::editor::modulations::{self, ModulationsState};
use procession::editor::plan::{self, PlanState};
use procession::editor::seen::Seen;
use procession::editor::wish::Wish;
use procession_core::mode::ModeName;
use procession_core::part::CopyNumber;
use procession_core::settings::{Modulation, Modulations, Place, Settings};
use procession_core::snippet::Subject;

/// Eight steps of a sixteenth: dwells of 16 beats, drifts of 8, 208 beats in all.
const EIGHT: &str = "D4 . F4 G4 . A4 . .";

/// A view, in which whatever it wants heard is heard for ever.
struct Desk<State> {
    seen: Seen,
    state: State,
    chosen: Option<usize>,
    wishes: Vec<Wish>,
}

type View<State> = fn(&mut egui::Ui, &Look, &mut Desk<State>) -> Vec<Wish>;

struct Screen<State: 'static>(Harness<'static, Desk<State>>);

impl<State: Default> Screen<State> {
    fn new(seen: Seen, view: View<State>) -> Self {
        let desk = Desk {
            seen,
            state: State::default(),
            chosen: None,
            wishes: Vec::new(),
        };
        let look = Look::of(Theme::Light);
        let size = vec2(800.0, 420.0);
        let mut harness = desk::screen(size, 1.0, desk, move |ui, desk: &mut Desk<State>| {
            for wish in view(ui, &look, desk) {
                match wish {
                    Wish::Hear(subject) => desk.seen.hearing = Some(subject),
                    Wish::Hush => desk.seen.hearing = None,
                    _ => (),
                }
                desk.wishes.push(wish);
            }
        });
        harness.run();
        Self(harness)
    }

    fn click(&mut self, at: Pos2) {
        desk::take(&mut self.0, at);
        desk::button(&mut self.0, at, false, Modifiers::NONE);
        // So that the next click is no second one of a pair.
        self.0.run_steps(30);
    }

    fn press(&mut self, key: Key) {
        self.0.key_press(key);
        self.0.run();
    }

    fn hears(&self) -> Option<Subject> {
        self.0.state().seen.hearing
    }
}

fn plan_of(seen: Seen) -> Screen<PlanState> {
    Screen::new(seen, |ui, look, desk| {
        plan::show(ui, &desk.seen, look, &mut desk.state, &mut desk.chosen)
    })
}

impl Screen<PlanState> {
    /// At a time of the whole form, in beats.
    fn at(&self, beats: f64) -> Pos2 {
        let chart = self.0.get_by_label_contains("Plan: ").rect();
        let share = (beats / 208.0) as f32;
        pos2(chart.left() + share * chart.width(), chart.center().y)
    }
}

#[test]
fn a_click_on_a_stage_has_it_heard_and_a_second_one_ends_it() {
    let mut screen = plan_of(seen(EIGHT, Settings::default(), 0.0));
    // From beat 24 to 40 copy 1 stays a step ahead.
    screen.click(screen.at(30.0));
    assert_eq!(screen.hears(), Some(Subject::Stage(2)));
    screen
        .0
        .get_by_label_contains("Hearing stage 3 of 17: copy 1 stays 1 step ahead");
    screen.click(screen.at(30.0));
    assert_eq!(screen.hears(), None);
    assert_eq!(screen.0.state().chosen, None);
}

#[test]
fn the_arrow_keys_step_through_the_stages_and_each_is_heard() {
    let mut screen = plan_of(seen(EIGHT, Settings::default(), 0.0));
    screen.click(screen.at(30.0));
    screen.press(Key::ArrowRight);
    assert_eq!(screen.hears(), Some(Subject::Stage(3)));
    for _ in 0..9 {
        screen.press(Key::ArrowLeft);
    }
    assert_eq!(screen.hears(), Some(Subject::Stage(0)));
    screen.press(Key::Enter);
    assert_eq!(screen.hears(), None, "Enter ends what is heard");
    screen.press(Key::Enter);
    assert_eq!(screen.hears(), Some(Subject::Stage(0)));
}

/// Whatever view it was asked for in.
#[test]
fn the_plan_says_what_is_heard_by_itself() {
    let heard = [
        (
            ahead(3),
            "Hearing copy 1 and the steady voice: 3 steps ahead",
        ),
        (Some(Subject::ModeChange(1)), "Hearing mode change 2"),
    ];
    for (subject, words) in heard {
        let mut screen = plan_of(seen(EIGHT, Settings::default(), 0.0));
        screen.0.state_mut().seen.hearing = subject;
        screen.0.run();
        screen.0.get_by_label_contains(words);
    }
}

#[test]
fn a_drag_lets_nothing_be_heard() {
    let mut screen = plan_of(seen(EIGHT, Settings::default(), 0.0));
    let (from, to) = (screen.at(30.0), screen.at(90.0));
    desk::take(&mut screen.0, from);
    for part in 1..=8 {
        screen.0.hover_at(from + (to - from) * part as f32 / 8.0);
        screen.0.step();
    }
    desk::button(&mut screen.0, to, false, Modifiers::NONE);
    assert!(screen.0.state().wishes.is_empty());
}

/// There the song goes where it is clicked, and is heard from there on.
#[test]
fn in_the_program_a_click_while_it_plays_takes_the_song_there_and_no_more() {
    for (elapsed, heard) in [(1.0, None), (0.0, Some(Subject::Stage(2)))] {
        let mut seen = seen(EIGHT, Settings::default(), elapsed);
        seen.own_song = true;
        let mut screen = plan_of(seen);
        screen.click(screen.at(30.0));
        assert_eq!(screen.hears(), heard);
    }
}

fn alignments_of(seen: Seen) -> Screen<AlignmentsState> {
    Screen::new(seen, |ui, look, desk| {
        alignments::show(ui, &desk.seen, look, &mut desk.state)
    })
}

fn ahead(steps: i64) -> Option<Subject> {
    let copy = CopyNumber::FIRST;
    Some(Subject::Alignment { copy, steps })
}

/// Sixteen places: more than there is room for.
const SIXTEEN: &str = "D4 . F4 G4 . A4 . . C5 . . E4 . . . G4";

impl Screen<AlignmentsState> {
    fn row(&mut self, words: &str) -> Pos2 {
        let row = self.0.get_by_role_and_label(Role::ListBoxOption, words);
        row.rect().center()
    }
}

#[test]
fn a_click_on_an_alignment_has_it_heard_and_a_second_one_ends_it() {
    let mut screen = alignments_of(seen(EIGHT, Settings::default(), 0.0));
    let row = screen.row("1 step ahead: 7 attacks, 1 coincidence");
    screen.click(row);
    assert_eq!(screen.hears(), ahead(1));
    let row = screen.row("1 step ahead: 7 attacks, 1 coincidence, heard now");
    screen.click(row);
    assert_eq!(screen.hears(), None);
}

#[test]
fn the_arrow_keys_step_through_the_alignments_in_their_order_and_out_of_sight() {
    let mut screen = alignments_of(seen(SIXTEEN, Settings::default(), 0.0));
    let unison = screen
        .0
        .get_all_by_role(Role::ListBoxOption)
        .next()
        .unwrap();
    let unison = unison.rect().center();
    screen.click(unison);
    assert_eq!(screen.hears(), ahead(0));
    for steps in 1..=15 {
        screen.press(Key::ArrowRight);
        assert_eq!(screen.hears(), ahead(steps));
        let mut rows = screen.0.get_all_by_role(Role::ListBoxOption);
        let focused = rows.find(|row| row.accesskit_node().is_focused());
        let label = focused.and_then(|row| row.accesskit_node().label());
        let begins = format!("{steps} step");
        assert!(label.is_some_and(|label| label.starts_with(&begins)));
    }
    screen.press(Key::ArrowRight);
    assert_eq!(screen.hears(), ahead(15), "there is no further one");
    screen.press(Key::ArrowLeft);
    assert_eq!(screen.hears(), ahead(14));
}

/// Mode changes at stages 2 and 4; the one between them never comes.
fn changes() -> Seen {
    let change = |stage| Modulation {
        place: Place::Stage(stage),
        tonic: 2,
        mode: ModeName::Lydian,
        over: 0,
    };
    let modulations = Modulations::new([change(2), change(4000), change(4)]);
    let settings = Settings {
        modulations,
        ..Settings::default()
    };
    seen(EIGHT, settings, 0.0)
}

#[test]
fn mode_changes_are_heard_one_after_another_but_for_those_that_never_come() {
    let mut screen: Screen<ModulationsState> = Screen::new(changes(), |ui, look, desk| {
        modulations::show(ui, &desk.seen, look, &mut desk.state, None)
    });
    assert!(screen.0.query_by_label("Hear mode change 2").is_none());
    screen.0.get_by_label("Hear mode change 1").click();
    screen.0.run();
    assert_eq!(screen.hears(), Some(Subject::ModeChange(0)));
    screen.press(Key::ArrowRight);
    assert_eq!(screen.hears(), Some(Subject::ModeChange(2)));
    screen.press(Key::ArrowRight);
    assert_eq!(screen.hears(), Some(Subject::ModeChange(2)));
    screen.press(Key::ArrowLeft);
    assert_eq!(screen.hears(), Some(Subject::ModeChange(0)));
    screen.press(Key::Enter);
    assert_eq!(screen.hears(), None);
    let only_heard = |wish: &Wish| matches!(wish, Wish::Hear(_) | Wish::Hush);
    assert!(screen.0.state().wishes.iter().all(only_heard));
}
