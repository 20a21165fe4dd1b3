//! The phrase view, with real clicks, drags, typing and keys.

#![allow(clippy::disallowed_methods, reason = "a hand may wait")]
#![allow(clippy::unwrap_used)]

use egui::{Event, Key, Modifiers, OutputCommand, PointerButton, Pos2, Rect, Vec2, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT, Queryable};
use procession::editor::look::{Look, Theme};
use procession::editor::phrase::{PhraseState, show};
use procession::editor::seen::Seen;
use procession::editor::wish::Wish;
use procession::feed::Snapshot;
use procession_core::engine::Anchor;
use procession_core::exchange::midi::{Score, Track, TrackNote, write};
use procession_core::metre::{Grouping, Metre};
use procession_core::note::{Channel, Key as Pitch, Velocity};
use procession_core::phrase::Phrase;
use procession_core::settings::Settings;
use procession_core::time::Beats;
use std::time::{Duration, Instant};

const STEP: Beats = 0.25;

/// A view and the window behind it, which grants edits at once unless it is told to wait.
struct Desk {
    view: PhraseState,
    seen: Seen,
    wishes: Vec<Wish>,
    waits: bool,
}

impl Desk {
    fn give(&mut self, phrase: Phrase) {
        self.seen = seen(phrase);
    }
}

fn seen(phrase: Phrase) -> Seen {
    Seen::new(
        Snapshot::default(),
        phrase,
        Settings::default(),
        Anchor::NextStart,
    )
}

struct Screen(Harness<'static, Desk>);

fn screen(text: &str) -> Screen {
    screen_of(
        Phrase::from_text(text, STEP).unwrap(),
        vec2(760.0, 480.0),
        1.0,
    )
}

fn screen_of(phrase: Phrase, size: Vec2, scale: f32) -> Screen {
    let desk = Desk {
        view: PhraseState::default(),
        seen: seen(phrase),
        wishes: Vec::new(),
        waits: false,
    };
    let look = Look::of(Theme::Light);
    let show = move |ui: &mut egui::Ui, desk: &mut Desk| {
        for wish in show(ui, &desk.seen, &look, &mut desk.view) {
            if let (Wish::Edit(phrase) | Wish::Load(phrase) | Wish::Metre(_, phrase), false) =
                (&wish, desk.waits)
            {
                desk.give((**phrase).clone());
            }
            desk.wishes.push(wish);
        }
    };
    let mut harness = Harness::builder()
        .with_size(size)
        .with_pixels_per_point(scale)
        .with_step_dt(1.0 / 60.0)
        .build_ui_state(show, desk);
    harness.run_steps(3);
    Screen(harness)
}

impl Screen {
    fn steps(&mut self, count: usize) {
        self.0.run_steps(count);
        self.wait_for_file();
    }

    /// Until nothing is being read from a file any more, and what was read has been taken over.
    fn wait_for_file(&mut self) {
        let begun = Instant::now();
        while self.0.state().view.is_reading() {
            assert!(
                begun.elapsed() < Duration::from_secs(60),
                "nothing was read"
            );
            std::thread::sleep(Duration::from_millis(1));
            self.0.run_steps(1);
        }
    }

    fn note(&self, words: &str) -> Rect {
        self.0.get_by_label_contains(words).rect()
    }

    fn has(&self, words: &str) -> bool {
        self.0.query_all_by_label_contains(words).count() > 0
    }

    fn press(&mut self, at: Pos2, button: PointerButton, pressed: bool, modifiers: Modifiers) {
        self.0.event_modifiers(
            Event::PointerButton {
                pos: at,
                button,
                pressed,
                modifiers,
            },
            modifiers,
        );
        self.steps(1);
    }

    fn click_at(&mut self, at: Pos2, button: PointerButton, modifiers: Modifiers) {
        self.0.hover_at(at);
        self.press(at, button, true, modifiers);
        self.press(at, button, false, modifiers);
    }

    fn click(&mut self, at: Pos2) {
        self.click_at(at, PointerButton::Primary, Modifiers::NONE);
    }

    /// As for another click: so much later that the two are not one double click.
    fn pause(&mut self) {
        self.steps(30);
    }

    fn double_click(&mut self, at: Pos2) {
        self.click(at);
        self.click(at);
        self.pause();
    }

    fn take(&mut self, from: Pos2, way: Vec2, modifiers: Modifiers) {
        self.0.hover_at(from);
        self.press(from, PointerButton::Primary, true, modifiers);
        for share in [0.3, 0.7, 1.0] {
            self.0
                .event_modifiers(Event::PointerMoved(from + way * share), modifiers);
            self.steps(1);
        }
    }

    fn drag_with(&mut self, from: Pos2, way: Vec2, modifiers: Modifiers) {
        self.take(from, way, modifiers);
        self.press(from + way, PointerButton::Primary, false, modifiers);
        self.pause();
    }

    fn drag(&mut self, from: Pos2, way: Vec2) {
        self.drag_with(from, way, Modifiers::NONE);
    }

    fn key(&mut self, key: Key) {
        self.key_with(Modifiers::NONE, key);
    }

    fn key_with(&mut self, modifiers: Modifiers, key: Key) {
        self.0.key_press_modifiers(modifiers, key);
        self.steps(2);
    }

    fn button(&mut self, label: &str) {
        self.0.get_by_label(label).click();
        self.steps(3);
    }

    /// Writes `text` into a field in place of what stands there.
    fn write(&mut self, field: &str, text: &str) {
        let at = self.0.get_by_label(field).rect().center();
        self.click(at);
        self.pause();
        self.key_with(Modifiers::COMMAND, Key::A);
        self.0.get_by_label(field).type_text(text);
        self.steps(2);
    }

    fn enter(&mut self, field: &str, text: &str) {
        self.write(field, text);
        self.key(Key::Enter);
    }

    fn phrase(&self) -> &Phrase {
        self.0.state().seen.phrase()
    }

    #[track_caller]
    fn sounds(&self, text: &str) {
        assert_eq!(self.phrase().to_text(STEP).text, text);
    }

    fn edits(&self) -> usize {
        let wishes = &self.0.state().wishes;
        wishes
            .iter()
            .filter(|wish| matches!(wish, Wish::Edit(_) | Wish::Load(_)))
            .count()
    }

    fn step_width(&self) -> f32 {
        let steps = (self.phrase().length() / STEP) as f32;
        let end = self.0.get_by_label("End of the phrase").rect().left() + 1.0;
        (end - self.grid().left()) / steps
    }

    fn grid(&self) -> Rect {
        self.0.get_by_label("Phrase").rect()
    }

    fn row_height(&self, note: &str) -> f32 {
        self.note(note).height() + 2.0
    }
}

#[test]
fn a_dragged_note_moves_in_time_and_pitch_as_one_edit_when_let_go() {
    let mut screen = screen("D4 F4 . G4");
    let note = screen.note("F4, step 2").center();
    let way = vec2(screen.step_width(), -2.0 * screen.row_height("F4, step 2"));
    screen.take(note, way, Modifiers::NONE);
    assert_eq!(screen.edits(), 0, "on the way it is a preview");
    assert!(screen.has("G4, step 3"), "and is shown");
    screen.press(note + way, PointerButton::Primary, false, Modifiers::NONE);
    screen.sounds("D4 . G4 G4");
    assert_eq!(screen.edits(), 1);
}

#[test]
fn a_drag_with_shift_leaves_the_grid() {
    let mut screen = screen("D4 . . .");
    let way = vec2(0.4 * screen.step_width(), 0.0);
    screen.drag(screen.note("D4").center(), way);
    assert_eq!(screen.phrase().notes()[0].onset, 0.0);
    screen.drag_with(screen.note("D4").center(), way, Modifiers::SHIFT);
    let onset = screen.phrase().notes()[0].onset;
    assert!((onset - 0.4 * STEP).abs() < 0.01, "{onset}");
}

#[test]
fn escape_gives_a_drag_up() {
    let mut screen = screen("D4 . . .");
    let note = screen.note("D4").center();
    let way = vec2(2.0 * screen.step_width(), 0.0);
    screen.take(note, way, Modifiers::NONE);
    screen.key(Key::Escape);
    screen.press(note + way, PointerButton::Primary, false, Modifiers::NONE);
    screen.sounds("D4 . . .");
    assert_eq!(screen.edits(), 0);
}

#[test]
fn a_double_click_in_an_empty_place_adds_a_note_there() {
    let mut screen = screen("D4 . . F4");
    let at = screen.note("F4, step 4").center() - vec2(2.0 * screen.step_width(), 0.0);
    screen.double_click(at);
    screen.sounds("D4 F4 . F4");
    assert_eq!(screen.edits(), 1);
    screen.key(Key::Delete);
    screen.sounds("D4 . . F4");
}

#[test]
fn a_double_click_beyond_the_end_adds_nothing() {
    let mut screen = screen("D4 F4");
    let y = screen.note("D4").center().y;
    let x = screen.grid().left() + 2.5 * screen.step_width();
    screen.double_click(Pos2::new(x, y));
    assert_eq!(screen.edits(), 0);
}

#[test]
fn a_right_click_or_backspace_removes() {
    let mut screen = screen("D4 F4 G4 .");
    let at = screen.note("F4").center();
    screen.click_at(at, PointerButton::Secondary, Modifiers::NONE);
    screen.sounds("D4 . G4 .");
    screen.pause();
    screen.click(screen.note("G4").center());
    screen.key(Key::Backspace);
    screen.sounds("D4 . . .");
    assert_eq!(screen.edits(), 2);
}

#[test]
fn dragging_the_end_of_a_note_lengthens_it() {
    let mut screen = screen("D4 . . .");
    let end = screen.note("D4").right_center() - vec2(3.0, 0.0);
    screen.drag(end, vec2(2.0 * screen.step_width(), 0.0));
    screen.sounds("D4 - - .");
    assert_eq!(screen.edits(), 1);
}

#[test]
fn chosen_notes_are_struck_harder_together() {
    let mut screen = screen("D4 F4 G4 .");
    screen.click(screen.note("D4").center());
    screen.pause();
    let other = screen.note("F4").center();
    screen.click_at(other, PointerButton::Primary, Modifiers::SHIFT);
    screen.drag_with(other, vec2(0.0, -20.0), Modifiers::COMMAND);
    let velocities: Vec<_> = screen
        .phrase()
        .notes()
        .iter()
        .map(|note| (note.velocity.value() * 100.0).round())
        .collect();
    assert_eq!(velocities, [90.0, 90.0, 70.0], "{:?}", screen.phrase());
    assert_eq!(screen.edits(), 1);
}

#[test]
fn a_stem_beneath_the_grid_is_dragged_to_a_velocity() {
    let mut screen = screen("D4 F4 G4 .");
    let lane = screen.0.get_by_label("Velocities").rect();
    let x = lane.left() + screen.step_width() + 5.0;
    screen.drag(Pos2::new(x, lane.center().y), vec2(0.0, 60.0));
    let velocities: Vec<_> = screen
        .phrase()
        .notes()
        .iter()
        .map(|note| note.velocity.midi())
        .collect();
    assert_eq!(velocities, [89, 1, 89]);
}

#[test]
fn a_box_chooses_notes_and_keys_transpose_and_rotate_them() {
    let mut screen = screen("D4 F4 G4 .");
    let first = screen.note("D4");
    let start = Pos2::new(first.left() + 5.0, screen.grid().top() + 5.0);
    let way = vec2(1.5 * screen.step_width(), screen.grid().height() - 20.0);
    screen.drag(start, way);
    assert!(screen.has("2 notes chosen"));
    assert_eq!(screen.edits(), 0);
    screen.key(Key::ArrowUp);
    screen.sounds("Eb4 F#4 G4 .");
    screen.key_with(Modifiers::SHIFT, Key::ArrowDown);
    screen.sounds("Eb3 F#3 G4 .");
    screen.key(Key::ArrowLeft);
    screen.sounds("F#3 . G4 Eb3");
    screen.key_with(Modifiers::SHIFT, Key::ArrowRight);
    assert_eq!(screen.phrase().notes()[0].length, 2.0 * STEP);
    assert_eq!(screen.phrase().notes()[1].length, STEP);
    assert_eq!(screen.edits(), 4);
}

#[test]
fn enter_adds_a_note_where_the_pointer_is_or_after_the_one_that_is_chosen() {
    let mut screen = screen("D4 F4 . .");
    let pointed = screen.note("F4").center() + vec2(2.0 * screen.step_width(), 0.0);
    screen.click(screen.note("F4").center());
    screen.0.hover_at(pointed);
    screen.steps(1);
    screen.key(Key::Enter);
    screen.sounds("D4 F4 . F4");
    // The pointer elsewhere: after the note just added the phrase comes round, on F4 again.
    screen.0.hover_at(Pos2::new(2.0, 2.0));
    screen.steps(1);
    screen.key(Key::Enter);
    screen.sounds("D4+F4 F4 . F4");
    screen.key(Key::ArrowUp);
    screen.sounds("D4+F#4 F4 . F4");
    assert_eq!(screen.edits(), 3);
}

#[test]
fn with_no_note_chosen_keys_move_the_whole_phrase() {
    let mut screen = screen("D4 F4 . .");
    let empty = screen.note("D4").center() + vec2(3.0 * screen.step_width(), 0.0);
    screen.click(empty);
    screen.key(Key::ArrowRight);
    screen.key(Key::ArrowRight);
    screen.key(Key::ArrowUp);
    screen.sounds(". . Eb4 F#4");
    screen.key(Key::Delete);
    screen.sounds(". . Eb4 F#4");
}

#[test]
fn shift_click_chooses_one_more_and_one_less() {
    let mut screen = screen("D4 F4 G4 .");
    screen.click(screen.note("D4").center());
    screen.pause();
    for name in ["F4", "G4", "F4"] {
        let at = screen.note(name).center();
        screen.click_at(at, PointerButton::Primary, Modifiers::SHIFT);
        screen.pause();
    }
    assert!(screen.has("2 notes chosen"));
    screen.key(Key::Delete);
    screen.sounds(". F4 . .");
}

#[test]
fn undo_and_redo_are_asked_for_by_key_and_by_button() {
    let mut screen = screen("D4 F4 G4 .");
    screen.click(screen.note("D4").center());
    screen.key_with(Modifiers::COMMAND, Key::Z);
    screen.key_with(Modifiers::COMMAND | Modifiers::SHIFT, Key::Z);
    screen.key_with(Modifiers::COMMAND, Key::Y);
    screen.button("Undo");
    screen.button("Redo");
    assert_eq!(
        screen.0.state().wishes,
        [Wish::Undo, Wish::Redo, Wish::Redo, Wish::Undo, Wish::Redo]
    );
}

#[test]
fn the_length_is_typed_or_what_is_wrong_with_it_said() {
    let mut screen = screen("D4 F4 G4 A4");
    screen.enter("Length", "6");
    screen.sounds("D4 F4 G4 A4 . .");
    screen.enter("Length", "many");
    assert!(screen.has("\"many\" is not a length"));
    screen.sounds("D4 F4 G4 A4 . .");
    assert_eq!(screen.edits(), 1);
    screen.enter("Length", "2 steps");
    screen.sounds("D4 F4");
    assert!(screen.has("Left out after the new end: 2 notes"));
    assert!(!screen.has("is not a length"));
}

#[test]
fn the_metre_is_typed_or_what_is_wrong_with_it_said() {
    let mut screen = screen("D4 . F4 . G4 . A4 . C5 . A4 . E4 .");
    screen.enter("Metre", "3+2+2/8");
    let metre = |screen: &Screen| {
        let bar = screen.0.state().seen.phrase().bar();
        bar.map(|bar| bar.metre.to_string())
    };
    assert_eq!(metre(&screen).as_deref(), Some("3+2+2/8"));
    let written = Metre::grouped([3, 2, 2], 8).unwrap();
    let Some(Wish::Metre(grouping, _)) = screen.0.state().wishes.last() else {
        panic!("a wish");
    };
    assert_eq!(*grouping, Grouping::Written(written));
    screen.sounds("D4 . F4 . G4 . A4 . C5 . A4 . E4 .");
    // What is counted need not be said again; but the groups must make the bar.
    screen.enter("Metre", "2+2+2");
    assert!(screen.has("2+2+2 makes 6, and a bar of 7/8 has 7"));
    screen.enter("Metre", "ferry");
    assert!(screen.has("\"ferry\" is not a metre"));
    assert_eq!(metre(&screen).as_deref(), Some("3+2+2/8"));
    screen.enter("Metre", "4+3");
    assert_eq!(metre(&screen).as_deref(), Some("4+3/8"));
    assert!(!screen.has("is not a metre"));
    // The usual.
    screen.enter("Metre", " ");
    assert_eq!(metre(&screen).as_deref(), Some("2+2+3/8"));
    let last = screen.0.state().wishes.last().cloned();
    assert!(matches!(last, Some(Wish::Metre(Grouping::Usual, _))));
}

#[test]
fn the_end_of_the_phrase_is_dragged() {
    let mut screen = screen("D4 F4 G4 A4");
    let end = screen.0.get_by_label("End of the phrase").rect().center();
    screen.drag(end, vec2(-2.0 * screen.step_width(), 0.0));
    screen.sounds("D4 F4");
    assert_eq!(screen.edits(), 1);
    assert!(screen.has("2 notes"));
    let end = screen.0.get_by_label("End of the phrase").rect().center();
    screen.drag(end, vec2(1.0 * screen.step_width(), 0.0));
    screen.sounds("D4 F4 .");
}

#[test]
fn the_phrase_is_doubled_and_halved() {
    let mut screen = screen("D4 F4 .");
    screen.button("Double");
    screen.sounds("D4 F4 . D4 F4 .");
    screen.button("Halve");
    screen.sounds("D4 F4 .");
    assert!(screen.has("Left out after the new end: 2 notes"));
}

#[test]
fn a_phrase_too_long_to_double_stays_and_the_cause_is_said() {
    let phrase = Phrase::empty(100.0).unwrap();
    let mut screen = screen_of(phrase, vec2(760.0, 480.0), 1.0);
    screen.button("Double");
    assert_eq!(screen.edits(), 0);
    assert!(screen.has("at most 128 beats"));
}

#[test]
fn a_phrase_is_written_in_words() {
    let mut screen = screen("D4");
    screen.enter("Phrase in words", "D4 - F4 G4 . A4");
    screen.sounds("D4 - F4 G4 . A4");
    screen.write("Phrase in words", "G4 | A4+C5");
    screen.button("Use");
    screen.sounds("G4 A4+C5");
    assert_eq!(screen.edits(), 2);
}

#[test]
fn a_word_that_is_no_note_is_named_beside_the_field_and_nothing_is_lost() {
    let mut screen = screen("D4 F4");
    screen.enter("Phrase in words", "D4 H4 F4");
    assert!(screen.has("\"H4\" is not a note"));
    screen.sounds("D4 F4");
    let field = screen.0.get_by_label("Phrase in words");
    assert_eq!(field.value().as_deref(), Some("D4 H4 F4"));
    screen.enter("Phrase in words", " ");
    assert!(screen.has("Type notes first"));
    assert_eq!(screen.edits(), 0);
}

#[test]
fn the_phrase_is_copied_as_words_and_pasted_onto_the_grid() {
    let mut screen = screen("D4 - F4+A4 .");
    let copies = |screen: &Screen| {
        let commands = &screen.0.output().platform_output.commands;
        commands
            .iter()
            .any(|c| matches!(c, OutputCommand::CopyText(text) if text == "D4 - F4+A4 ."))
    };
    screen.click(screen.note("D4").center());
    screen.0.event(Event::Copy);
    screen.steps(1);
    assert!(copies(&screen));
    screen.steps(1);
    assert!(screen.has("Copied."));
    screen.0.event(Event::Paste("G4 . C5 C5".into()));
    screen.steps(2);
    screen.sounds("G4 . C5 C5");
}

#[test]
fn what_words_cannot_say_is_said_when_copying() {
    let mut screen = screen("D4 . . .");
    let way = vec2(0.4 * screen.step_width(), 0.0);
    screen.drag_with(screen.note("D4").center(), way, Modifiers::SHIFT);
    screen.button("Copy");
    assert!(screen.has("1 note off the grid"));
}

fn file(name: &str, bytes: &[u8]) -> String {
    let name = format!("procession-{}-{name}", std::process::id());
    let path = std::env::temp_dir().join(name);
    std::fs::write(&path, bytes).unwrap();
    path.display().to_string()
}

#[test]
fn a_midi_file_is_loaded_by_its_path() {
    let note = |step: u32, key| TrackNote {
        on: f64::from(step) * STEP,
        off: f64::from(step + 1) * STEP,
        key: Pitch::new(key).unwrap(),
        velocity: Velocity::new(0.6),
    };
    let score = Score {
        name: "deck".into(),
        tempo: vec![(0.0, 96.0)],
        metre: Vec::new(),
        markers: Vec::new(),
        tracks: vec![Track {
            name: "one".into(),
            channel: Channel::FIRST,
            program: None,
            pan: None,
            notes: vec![note(0, 62), note(2, 65), note(3, 69)],
        }],
    };
    let path = file("deck.mid", &write(&score).unwrap());
    let mut screen = screen("C4");
    screen.enter("Path of a .mid or .musicxml file", &path);
    assert_eq!(screen.edits(), 1);
    screen.sounds("D4 . F4 A4");
    assert!(screen.has("Loaded \"deck\": 3 notes in 4 steps. The file's tempo is 96 bpm."));
    std::fs::remove_file(path).unwrap();
}

/// Two bars of 2/4 on two tracks: above D4 then A4, below D3 then A3.
fn two_decks() -> Vec<u8> {
    let track = |name: &str, channel, keys: [u8; 2]| Track {
        name: name.into(),
        channel: Channel::new(channel).unwrap(),
        program: None,
        pan: None,
        notes: keys
            .into_iter()
            .enumerate()
            .map(|(bar, key)| TrackNote {
                on: 2.0 * bar as f64,
                off: 2.0 * bar as f64 + 2.0,
                key: Pitch::new(key).unwrap(),
                velocity: Velocity::new(0.6),
            })
            .collect(),
    };
    let score = Score {
        metre: vec![(0.0, (2, 4))],
        tracks: vec![track("upper", 0, [62, 69]), track("lower", 1, [50, 57])],
        ..Score::default()
    };
    write(&score).unwrap()
}

#[test]
fn a_part_of_a_file_and_some_of_its_bars_are_chosen_once_it_is_open() {
    let path = file("decks.mid", &two_decks());
    let mut screen = screen("C4");
    assert!(!screen.has("of 2"));
    screen.enter("Path of a .mid or .musicxml file", &path);
    screen.sounds("D3+D4 - - - - - - - A3+A4 - - - - - - -");
    assert!(screen.has("of 2"));
    screen.enter("bars", "2");
    screen.sounds("A3+A4 - - - - - - -");
    screen.0.get_by_label("Part of the file").click();
    screen.0.run();
    screen.0.get_by_label("lower").click();
    screen.0.run();
    screen.wait_for_file();
    screen.sounds("A3 - - - - - - -");
    screen.enter("bars", "2-5");
    assert!(screen.has("choose bars from 1 to 2"));
    screen.sounds("A3 - - - - - - -");
    std::fs::remove_file(path).unwrap();
}

#[test]
fn a_score_is_loaded_like_a_midi_file() {
    let score = r#"<score-partwise><part-list>
        <score-part id="P1"><part-name>Deck</part-name></score-part></part-list>
        <part id="P1"><measure number="1">
        <attributes><divisions>4</divisions><time><beats>1</beats><beat-type>4</beat-type></time></attributes>
        <note><pitch><step>D</step><octave>4</octave></pitch><duration>2</duration></note>
        <note><rest/><duration>1</duration></note>
        <note><pitch><step>A</step><octave>4</octave></pitch><duration>1</duration></note>
        </measure></part></score-partwise>"#;
    let path = file("deck.musicxml", score.as_bytes());
    let mut screen = screen("C4");
    screen.enter("Path of a .mid or .musicxml file", &path);
    screen.sounds("D4 - . A4");
    std::fs::remove_file(path).unwrap();
}

#[test]
fn a_file_that_is_missing_too_large_or_no_midi_file_is_told_plainly() {
    let mut screen = screen("D4 F4");
    let large = file("large.mid", &vec![0; (1 << 20) + 1]);
    let words = file("words.mid", b"no music in here");
    for (path, message) in [
        ("/no/such/night.mid", "There is no file /no/such/night.mid"),
        (large.as_str(), "larger than 1 MiB"),
        (words.as_str(), "This is neither a MIDI file nor a score"),
        (" ", "Type or paste the path"),
    ] {
        screen.write("Path of a .mid or .musicxml file", path);
        screen.button("Load");
        assert!(screen.has(message), "{message}");
    }
    screen.sounds("D4 F4");
    assert_eq!(screen.edits(), 0);
    for path in [large, words] {
        std::fs::remove_file(path).unwrap();
    }
}

#[test]
fn an_empty_phrase_says_what_to_do_and_can_be_written_into() {
    let phrase = Phrase::empty(1.0).unwrap();
    let mut screen = screen_of(phrase, vec2(340.0, 220.0), 1.0);
    assert!(screen.has("Play a phrase, then press Hold."));
    let at = screen.grid().center();
    screen.double_click(at);
    assert_eq!(screen.phrase().notes().len(), 1);
    assert!(!screen.has("Play a phrase, then press Hold."));
}

#[test]
fn an_edit_made_before_the_last_one_has_arrived_builds_on_it() {
    let mut screen = screen("D4 F4 . .");
    screen.0.state_mut().waits = true;
    screen.click(screen.note("D4").center());
    screen.key(Key::ArrowUp);
    screen.key(Key::ArrowUp);
    let wishes = &screen.0.state().wishes;
    let Some(Wish::Edit(last)) = wishes.last().cloned() else {
        panic!("{wishes:?}");
    };
    assert_eq!(last.to_text(STEP).text, "E4 F4 . .");
    let Wish::Edit(first) = wishes[0].clone() else {
        panic!("{wishes:?}");
    };
    screen.0.state_mut().give(*first);
    screen.steps(2);
    assert!(
        screen.has("E4, step 1"),
        "what was wished for last is shown"
    );
    screen.0.state_mut().give(*last);
    screen.steps(2);
    assert!(screen.has("1 note chosen"), "and its note still chosen");
}

#[test]
fn an_edit_that_is_never_granted_is_given_up() {
    let mut screen = screen("D4 F4 . .");
    screen.0.state_mut().waits = true;
    screen.click(screen.note("D4").center());
    screen.key(Key::ArrowUp);
    assert!(screen.has("Eb4, step 1"));
    screen.steps(600);
    assert!(screen.has("D4, step 1"));
}

#[test]
fn a_phrase_that_comes_from_elsewhere_is_shown_with_no_note_chosen() {
    let mut screen = screen("D4 F4 . .");
    screen.click(screen.note("D4").center());
    let high = Phrase::from_text("C8 D8", STEP).unwrap();
    screen.0.state_mut().give(high);
    screen.steps(3);
    assert!(!screen.has("chosen"));
    let note = screen.note("C8");
    assert!(screen.grid().contains_rect(note), "it is scrolled to");
}

#[test]
fn everything_that_can_be_touched_lies_inside_a_small_window() {
    for scale in [1.0, 1.5, 2.0] {
        let phrase = Phrase::from_text("D4 F4 G4 .", STEP).unwrap();
        let mut screen = screen_of(phrase, vec2(340.0, 220.0), scale);
        screen.button("Words, file");
        let window = Rect::from_min_size(Pos2::ZERO, vec2(340.0, 220.0));
        for label in [
            "Length",
            "Double",
            "Halve",
            "Undo",
            "Redo",
            "Words, file",
            "Phrase in words",
            "Use",
            "Copy",
            "Path of a .mid or .musicxml file",
            "Load",
            "Phrase",
            "End of the phrase",
        ] {
            let rect = screen.0.get_by_label(label).rect();
            assert!(window.contains_rect(rect), "{label} {rect:?}");
        }
    }
}

#[test]
fn a_tall_phrase_scrolls_and_notes_keep_their_place_when_rows_are_added() {
    let mut screen = screen("D4 F4 . .");
    let before = screen.note("D4").top();
    screen.click(screen.note("F4").center());
    screen.key_with(Modifiers::SHIFT, Key::ArrowUp);
    screen.key_with(Modifiers::SHIFT, Key::ArrowUp);
    screen.steps(3);
    screen.sounds("D4 F6 . .");
    let after = screen.note("D4").top();
    assert!((after - before).abs() < 1.0, "{after}, not {before}");
}

#[test]
fn the_wheel_scrolls_as_far_as_there_is_grid() {
    let mut screen = screen("D4 F4 . .");
    screen.click(screen.note("F4").center());
    screen.key_with(Modifiers::SHIFT, Key::ArrowUp);
    screen.key_with(Modifiers::SHIFT, Key::ArrowUp);
    let (grid, before) = (screen.grid(), screen.note("D4").top());
    let wheel = |screen: &mut Screen, way: f32| {
        screen.0.hover_at(grid.center());
        screen.0.event(Event::MouseWheel {
            unit: egui::MouseWheelUnit::Point,
            delta: vec2(0.0, way),
            phase: egui::TouchPhase::Move,
            source: egui::MouseWheelSource::Trackpad,
            modifiers: Modifiers::NONE,
        });
        screen.steps(40);
    };
    wheel(&mut screen, 30.0);
    let moved = screen.note("D4").top() - before;
    assert!((moved - 30.0).abs() < 1.0, "{moved}");
    wheel(&mut screen, -9000.0);
    let octave_of_room = 12.0 * screen.row_height("D4");
    let below = grid.bottom() - screen.note("D4").bottom();
    assert!(below > 0.0 && below < octave_of_room + 2.0, "{below}");
}

#[test]
fn a_note_dragged_past_the_upper_edge_goes_on_upwards() {
    let mut screen = screen("D4 F4 . .");
    let note = screen.note("F4").center();
    let out = vec2(0.0, screen.grid().top() - 30.0 - note.y);
    let rows_in_sight = (note.y - screen.grid().top()) / screen.row_height("F4");
    screen.take(note, out, Modifiers::NONE);
    screen.steps(60);
    screen.press(note + out, PointerButton::Primary, false, Modifiers::NONE);
    let higher = f32::from(screen.phrase().notes()[1].key.number()) - 65.0;
    assert!(higher > rows_in_sight, "{higher}");
    assert_eq!(screen.edits(), 1);
}

#[test]
fn plus_and_minus_reach_the_phrase_as_the_text_they_write() {
    let mut screen = screen("D4 F4 . .");
    screen.click(screen.note("D4").center());
    screen.pause();
    let velocity = |screen: &Screen| screen.phrase().notes()[0].velocity.midi();
    let before = velocity(&screen);
    screen.0.event(Event::Text("+".into()));
    screen.steps(2);
    assert_eq!(velocity(&screen), before + 5);
    for sign in ["-", "\u{2212}"] {
        screen.0.event(Event::Text(sign.into()));
        screen.steps(2);
    }
    assert_eq!(velocity(&screen), before - 5);
    assert_eq!(screen.edits(), 3, "none of them is pasted");
}

#[test]
fn the_words_are_those_of_the_phrase_until_others_are_typed() {
    let mut screen = screen("D4 F4 . .");
    let words = |screen: &Screen| screen.0.get_by_label("Phrase in words").value();
    assert_eq!(words(&screen).as_deref(), Some("D4 F4 . ."));
    screen.click(screen.note("F4").center());
    screen.key(Key::ArrowUp);
    assert_eq!(words(&screen).as_deref(), Some("D4 F#4 . ."));
    screen.write("Phrase in words", "G4 X9");
    assert_eq!(words(&screen).as_deref(), Some("G4 X9"));
    // Another phrase comes, as by playing: the words are its own.
    screen
        .0
        .state_mut()
        .give(Phrase::from_text("A4 C5", STEP).unwrap());
    screen.steps(3);
    assert_eq!(words(&screen).as_deref(), Some("A4 C5"));
}

#[test]
fn a_remark_ends_with_the_next_edit_and_an_error_when_the_value_is_good() {
    let mut screen = screen("D4 F4 G4 A4");
    screen.button("Halve");
    assert!(screen.has("Left out after the new end"));
    screen.click(screen.note("D4").center());
    screen.key(Key::ArrowUp);
    assert!(!screen.has("Left out"));
    screen.enter("Phrase in words", "D4 H4");
    assert!(screen.has("H4"));
    screen.write("Phrase in words", "D4 G4");
    assert!(!screen.has("H4"), "it is good before it is used");
    screen.enter("Length", "many");
    assert!(screen.has("is not a length"));
    screen.write("Length", "3");
    assert!(!screen.has("is not a length"));
}

#[test]
fn the_keyboard_stays_with_a_field_after_enter() {
    let mut screen = screen("D4 F4 G4 A4");
    for (field, text) in [("Length", "6"), ("Phrase in words", "D4 F4")] {
        screen.enter(field, text);
        screen.steps(2);
        assert!(
            screen.0.get_by_label(field).accesskit_node().is_focused(),
            "{field}"
        );
    }
}
