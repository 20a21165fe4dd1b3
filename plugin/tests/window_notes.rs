//! The notes, the alignments and the sonority, as somebody sees and clicks them.

mod desk;

use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT, Queryable};
use procession::editor::look::{Look, Theme};
use procession::editor::seen::Seen;
use procession::editor::wish::Wish;
use procession::editor::{alignments, circle, notes, sonority};
use procession_core::mode::{ModeName, PitchSet};
use procession_core::part::CopyNumber;
use procession_core::settings::{FoldKind, Settings};
use procession_core::snippet::Subject;

const FERRY: &str = "D4 F4 . A4 C5 . G4 A4 . F4 E4 .";

fn seen(text: &str, change: impl FnOnce(&mut Settings)) -> Seen {
    playing(text, 0.0, change)
}

fn playing(text: &str, position: f64, change: impl FnOnce(&mut Settings)) -> Seen {
    let mut settings = Settings::default();
    change(&mut settings);
    desk::seen(text, settings, position)
}

/// A view on its own; all it wished for so far is the state.
fn shown(
    size: (f32, f32),
    mut view: impl FnMut(&mut egui::Ui, &Look) -> Vec<Wish> + 'static,
) -> Harness<'static, Vec<Wish>> {
    let size = egui::vec2(size.0, size.1);
    desk::screen(size, 1.0, Vec::new(), move |ui, wishes: &mut Vec<Wish>| {
        wishes.extend(view(ui, &Look::of(Theme::Light)));
    })
}

const ROOMY: (f32, f32) = (900.0, 600.0);
const SMALL: (f32, f32) = (340.0, 220.0);

fn notes_of(seen: Seen, size: (f32, f32), chosen: Option<usize>) -> Harness<'static, Vec<Wish>> {
    let mut state = notes::NotesState::default();
    shown(size, move |ui, look| {
        notes::show(ui, &seen, look, &mut state, chosen)
    })
}

fn alignments_of(seen: Seen, size: (f32, f32)) -> Harness<'static, Vec<Wish>> {
    let mut state = alignments::AlignmentsState::default();
    shown(size, move |ui, look| {
        alignments::show(ui, &seen, look, &mut state)
    })
}

fn sonority_of(seen: Seen, size: (f32, f32)) -> Harness<'static, Vec<Wish>> {
    let mut state = sonority::SonorityState::default();
    shown(size, move |ui, look| {
        sonority::show(ui, &seen, look, &mut state, None)
    })
}

/// Every word on the screen that is named, in order of reading.
fn words(harness: &Harness<'_, Vec<Wish>>) -> Vec<String> {
    let nodes = harness.root().children_recursive();
    nodes
        .flat_map(|node| [node.accesskit_node().label(), node.value()])
        .flatten()
        .collect()
}

#[track_caller]
fn says(harness: &Harness<'_, Vec<Wish>>, part: &str) {
    let words = words(harness);
    assert!(
        words.iter().any(|said| said.contains(part)),
        "{part:?} is not in {words:#?}"
    );
}

#[test]
fn every_voice_has_a_lane_that_says_where_it_stands() {
    for size in [ROOMY, SMALL] {
        let seen = playing(FERRY, 36.0, |settings| settings.motion.copies = 2);
        let harness = notes_of(seen, size, None);
        harness.get_by_label("Steady, as played");
        harness.get_by_label("Copy 1, 1 step ahead");
        harness.get_by_label("Copy 2, 2 steps ahead");
    }
}

#[test]
fn at_rest_the_first_cycles_are_shown_and_their_attacks_counted() {
    let harness = notes_of(seen(FERRY, |_| ()), ROOMY, None);
    harness.get_by_label("Stopped: the first cycles");
    harness.get_by_label("8 attacks, 8 coincidences in this cycle");
}

#[test]
fn a_chosen_stage_is_shown_instead_and_the_heading_says_so() {
    let harness = notes_of(playing(FERRY, 1.0, |_| ()), ROOMY, Some(2));
    harness.get_by_label("Stage 3, its last cycles: copy 1 stays 1 step ahead");
    harness.get_by_label("Copy 1, 1 step ahead");
}

/// Locked, on the way, at rest, and of a stage that is looked at: what the circle says of a cycle,
/// the notes say too.
#[test]
fn circle_and_notes_count_the_attacks_of_the_same_cycle() {
    let looks = [
        (0.0, None),
        (1.0, None),
        (26.3, None),
        (29.5, None),
        (31.0, None),
        (40.0, None),
        (40.0, Some(1)),
        (40.0, Some(2)),
    ];
    for (position, chosen) in looks {
        let look = || playing(FERRY, position, |settings| settings.motion.copies = 2);
        let harness = notes_of(look(), ROOMY, chosen);
        let counted = words(&harness);
        let counted = counted
            .iter()
            .find_map(|said| said.strip_suffix(" in this cycle"));
        let counted = counted.expect("a count").to_owned();
        let (seen, mut state) = (look(), circle::CircleState::default());
        let harness = shown(ROOMY, move |ui, look| {
            circle::show(ui, &seen, look, &mut state, chosen)
        });
        let said = words(&harness);
        let said = said.iter().find(|said| said.starts_with("Circle, "));
        let said = said
            .expect("the circle")
            .replace("interlocking", "0 coincidences");
        assert!(
            said.ends_with(&counted),
            "{position} {chosen:?}: {said} / {counted}"
        );
    }
}

#[test]
fn pointing_at_a_note_at_rest_names_it() {
    let mut harness = notes_of(seen(FERRY, |_| ()), ROOMY, None);
    let lane = harness.get_by_label("Steady, as played").rect();
    // The first note, the lowest: at the beginning of the lane, at its bottom.
    let notes_from = lane.left() + 150.0;
    let at = egui::pos2(notes_from + 4.0, lane.bottom() - 6.0);
    harness.hover_at(at);
    harness.run();
    for _ in 0..60 {
        harness.step();
    }
    says(&harness, "Steady: D4, note 1 of 8");
}

#[test]
fn without_a_phrase_each_view_says_what_to_do() {
    let rest = ". . . .";
    for harness in [
        notes_of(seen(rest, |_| ()), SMALL, None),
        alignments_of(seen(rest, |_| ()), SMALL),
        sonority_of(seen(rest, |_| ()), SMALL),
    ] {
        says(&harness, "switch Hold on");
    }
}

#[test]
fn the_alignments_are_listed_with_the_copy_where_it_stands() {
    let harness = alignments_of(playing(FERRY, 36.0, |_| ()), ROOMY);
    says(&harness, "12 distinct alignments");
    harness.get_by_label("1 step ahead: 12 attacks, 4 coincidences, copy 1 stands here");
    harness.get_by_label("unison: 8 attacks, 8 coincidences");
}

#[test]
fn sorting_by_attacks_puts_the_busiest_alignment_on_top() {
    let mut harness = alignments_of(seen(FERRY, |_| ()), ROOMY);
    let top =
        |harness: &Harness<'_, Vec<Wish>>, label: &str| harness.get_by_label(label).rect().top();
    let (unison, busy) = (
        "unison: 8 attacks, 8 coincidences, copy 1 stands here",
        "1 step ahead: 12 attacks, 4 coincidences",
    );
    assert!(top(&harness, unison) < top(&harness, busy));
    harness.get_by_label("By attacks").click();
    harness.run();
    assert!(top(&harness, unison) > top(&harness, busy));
    harness.get_by_label("By coincidences").click();
    harness.run();
    assert!(top(&harness, unison) < top(&harness, busy));
    assert!(harness.state().is_empty());
}

/// Copy 1 is heard so many steps ahead.
fn heard(steps: i64) -> Wish {
    let copy = CopyNumber::FIRST;
    Wish::Hear(Subject::Alignment { copy, steps })
}

#[test]
fn a_click_on_a_row_tells_more_and_lets_it_be_heard_and_the_button_moves_the_copy() {
    let mut harness = alignments_of(seen(FERRY, |_| ()), ROOMY);
    harness
        .get_by_label("5 steps ahead: 12 attacks, 4 coincidences")
        .click();
    harness.run();
    assert_eq!(harness.state_mut().split_off(0), [heard(5)]);
    says(
        &harness,
        "5 steps ahead: 12 attacks, 4 coincidences. What coincides:",
    );
    harness.get_by_label("Copy 1 here").click();
    harness.run();
    assert_eq!(
        *harness.state(),
        [Wish::Type("copy1_offset", "5".to_owned())]
    );
}

#[test]
fn any_copy_can_be_the_one_that_stands_there() {
    let mut harness = alignments_of(seen(FERRY, |settings| settings.motion.copies = 3), ROOMY);
    harness
        .get_by_label("5 steps ahead: 12 attacks, 4 coincidences")
        .click();
    harness.run();
    harness.get_by_label("Copy 3").click();
    harness.run();
    harness.get_by_label("Copy 3 here").click();
    harness.run();
    assert_eq!(
        *harness.state(),
        [heard(5), Wish::Type("copy3_offset", "5".to_owned())]
    );
}

#[test]
fn without_a_copy_the_button_wishes_for_nothing() {
    let mut harness = alignments_of(seen(FERRY, |settings| settings.motion.copies = 0), ROOMY);
    harness.get_by_label("Copy 1 here").click();
    harness.run();
    assert!(harness.state().is_empty());
}

#[test]
fn the_fold_is_shown_half_way_and_what_comes_next() {
    for size in [ROOMY, SMALL] {
        let seen = seen("D4 E4 F4 G4 A4 B4 C5 D5", |settings| {
            settings.fold.fold = FoldKind::ByDegree;
            settings.fold.target_tonic = 2;
            settings.fold.target_mode = ModeName::Phrygian;
            settings.fold.amount = 0.5;
        });
        let harness = sonority_of(seen, size);
        says(
            &harness,
            "Sounding: D Aeolian, stopped; this is the first cycle. B♭ F C G D A E",
        );
        says(&harness, "Heard as D Dorian: F C G D A E B");
        says(&harness, "Target D Phrygian: E♭ B♭ F C G D A");
        says(&harness, "1 of 2 degrees moved: B into B♭.");
        says(&harness, "5 of 7 degrees kept");
    }
}

#[test]
fn a_pentatonic_guess_is_overruled_by_a_click() {
    let mut harness = sonority_of(seen("D4 F4 G4 A4 C5 A4", |_| ()), ROOMY);
    says(&harness, "heard as pentatonic");
    harness.get_by_label("Hear as D Dorian").click();
    harness.run();
    let wished = [
        Wish::Type("source_tonic", "D".to_owned()),
        Wish::Type("source_mode", "Dorian".to_owned()),
    ];
    assert_eq!(*harness.state(), wished);
}

#[test]
fn the_source_is_chosen_from_its_menu() {
    let mut harness = sonority_of(seen(FERRY, |_| ()), ROOMY);
    harness
        .get_by_role_and_label(egui::accesskit::Role::ComboBox, "Source mode")
        .click();
    harness.run();
    harness.get_by_label("Lydian").click();
    harness.run();
    assert_eq!(
        *harness.state(),
        [Wish::Type("source_mode", "Lydian".to_owned())]
    );
}

#[test]
fn the_custom_mode_is_edited_by_its_twelve_switches() {
    let own = |settings: &mut Settings| {
        settings.fold.target_tonic = 2;
        settings.fold.target_mode = ModeName::Custom;
        settings.fold.custom = PitchSet::of(&[0, 7]);
    };
    let mut harness = sonority_of(seen(FERRY, own), ROOMY);
    harness.get_by_label("E♭, 1 above the tonic").click();
    harness.run();
    harness.get_by_label("A, 7 above the tonic").click();
    harness.run();
    let wished = [PitchSet::of(&[0, 1, 7]), PitchSet::of(&[0])].map(Wish::Custom);
    assert_eq!(*harness.state(), wished);
}

#[test]
fn the_last_pitch_of_a_custom_mode_stays_and_a_word_says_why() {
    let mut harness = sonority_of(
        seen(FERRY, |settings| {
            settings.fold.target_mode = ModeName::Custom;
            settings.fold.custom = PitchSet::of(&[0]);
        }),
        ROOMY,
    );
    harness.get_by_label("C, 0 above the tonic").click();
    harness.run();
    assert!(
        matches!(&harness.state()[..], [Wish::Say(words)] if words.contains("at least one pitch"))
    );
}
