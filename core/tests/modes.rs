//! Statements about modes and folding: published examples first, then laws.

use procession_core::fold::{FoldMap, detect_source};
use procession_core::mode::{Mode, ModeName, PitchName, PitchSet};
use procession_core::note::{Key, Note, Velocity};
use procession_core::phrase::Phrase;
use procession_core::process::Process;
use procession_core::settings::{FoldKind, FoldSettings, Modulation, Modulations, Place, Settings};
use proptest::prelude::*;
use std::collections::HashSet;

const BRIGHT_TO_DARK: [&str; 7] = [
    "Lydian",
    "Ionian",
    "Mixolydian",
    "Dorian",
    "Aeolian",
    "Phrygian",
    "Locrian",
];

// The vocabulary.

#[track_caller]
fn named(text: &str) -> (u8, ModeName) {
    let (tonic, name) = text.split_once(' ').expect("a tonic and a mode");
    let tonic = PitchName::from_text(tonic).expect("a tonic");
    (
        tonic.pitch_class(),
        ModeName::from_text(name).expect("a mode"),
    )
}

/// The mode that a musician calls so: "Bb Lydian".
#[track_caller]
fn mode(text: &str) -> Mode {
    let (tonic, name) = named(text);
    Mode::named(tonic, name, PitchSet::CHROMATIC)
}

/// A whole fold from one mode to another.
fn between(kind: FoldKind, from: (u8, ModeName), to: (u8, ModeName)) -> FoldSettings {
    FoldSettings {
        fold: kind,
        source_tonic: Some(from.0),
        source_mode: Some(from.1),
        target_tonic: to.0,
        target_mode: to.1,
        ..FoldSettings::default()
    }
}

#[track_caller]
fn by_degree(from: &str, to: &str) -> FoldSettings {
    between(FoldKind::ByDegree, named(from), named(to))
}

#[track_caller]
fn nearest(from: &str, to: &str) -> FoldSettings {
    between(FoldKind::Nearest, named(from), named(to))
}

fn key(number: u8) -> Key {
    Key::new(number).expect("a key")
}

fn phrase_of(keys: &[u8]) -> Phrase {
    let notes = keys.iter().enumerate().map(|(index, number)| Note {
        onset: index as f64 * 0.25,
        length: 0.25,
        key: key(*number),
        velocity: Velocity::new(0.7),
        said: None,
    });
    Phrase::new(notes, 16.0).expect("a phrase")
}

fn map_of(settings: &FoldSettings, keys: &[u8]) -> FoldMap {
    FoldMap::new(settings, &phrase_of(keys))
}

/// Where these keys, played as a phrase, go.
fn folded(settings: &FoldSettings, keys: &[u8]) -> Vec<u8> {
    let map = map_of(settings, keys);
    keys.iter().map(|k| map.key(key(*k)).number()).collect()
}

/// Where the whole keyboard goes.
fn all_keys(map: &FoldMap) -> Vec<u8> {
    (0..128).map(|k| map.key(key(k)).number()).collect()
}

/// The turns of a fold, written "B>B♭ E>E♭".
fn turns(settings: &FoldSettings, keys: &[u8]) -> String {
    let map = map_of(settings, keys);
    let turns = map.order().iter();
    let written: Vec<_> = turns
        .map(|turn| format!("{}>{}", turn.from, turn.to))
        .collect();
    written.join(" ")
}

fn common_tones(a: &Mode, b: &Mode) -> usize {
    a.pitch_classes().intersection(b.pitch_classes()).len()
}

// Modes.

#[test]
fn diatonic_modes_darken_one_degree_at_a_time() {
    // The order and the degrees: Persichetti, Twentieth-Century Harmony (1961), ch. 2.
    let row = BRIGHT_TO_DARK.map(|name| mode(&format!("D {name}")));
    let lowered = row.windows(2).map(|pair| {
        let lost = pair[0].steps().without(pair[1].steps());
        assert_eq!(lost.len(), 1);
        pair[0]
            .steps()
            .position(lost.nth(0).expect("one"))
            .expect("a degree")
            + 1
    });
    assert_eq!(lowered.collect::<Vec<_>>(), [4, 7, 3, 6, 2, 5]);
    // The sums: own arithmetic.
    assert_eq!(
        row.map(|mode| mode.brightness()),
        [39, 38, 37, 36, 35, 34, 33]
    );
}

#[test]
fn modes_of_one_tonic_share_seven_less_their_distance() {
    // Own arithmetic.
    let row = BRIGHT_TO_DARK.map(|name| mode(&format!("C {name}")));
    for (i, a) in row.iter().enumerate() {
        for (j, b) in row.iter().enumerate() {
            // Locrian has Lydian's raised fourth again, as its lowered fifth.
            let shared = if i.abs_diff(j) == 6 {
                2
            } else {
                7 - i.abs_diff(j)
            };
            assert_eq!(common_tones(a, b), shared);
        }
    }
}

#[test]
fn melodic_minor_has_its_own_row_from_bright_to_dark() {
    // Own arithmetic.
    let row = [
        "C Lydian augmented",
        "C Lydian dominant",
        "C melodic minor",
        "C Mixolydian b6",
        "C Dorian b2",
        "C Locrian ♮2",
        "C altered",
    ];
    assert_eq!(
        row.map(|name| mode(name).brightness()),
        [40, 38, 37, 36, 35, 34, 32]
    );
}

#[test]
fn rotating_a_mode_gives_its_sisters() {
    // Outside reference: the same rotations in tonal 6.4.3, the diatonic ones in music21 10.5.1.
    let families = [
        [
            "Ionian",
            "Dorian",
            "Phrygian",
            "Lydian",
            "Mixolydian",
            "Aeolian",
            "Locrian",
        ],
        [
            "melodic minor",
            "Dorian b2",
            "Lydian augmented",
            "Lydian dominant",
            "Mixolydian b6",
            "Locrian ♮2",
            "altered",
        ],
    ];
    for family in families {
        let parent = mode(&format!("C {}", family[0]));
        for (degree, name) in family.iter().enumerate() {
            let tonic = parent.steps().nth(degree).expect("seven degrees");
            let sister = Mode::new(tonic, mode(&format!("C {name}")).steps());
            assert_eq!(sister.pitch_classes(), parent.pitch_classes(), "{name}");
        }
    }
}

#[test]
fn transpositions_share_as_many_keys_as_intervals_say() {
    // Own arithmetic; interval vectors 2 5 4 3 6 1 and 2 5 4 4 4 2, the tritone counting double.
    let shared = |name: &str| -> [usize; 12] {
        let keys = mode(name).pitch_classes();
        std::array::from_fn(|up| keys.intersection(keys.transposed(up as i32)).len())
    };
    assert_eq!(shared("C Ionian"), [7, 2, 5, 4, 3, 6, 2, 6, 3, 4, 5, 2]);
    assert_eq!(
        shared("C melodic minor"),
        [7, 2, 5, 4, 4, 4, 4, 4, 4, 4, 5, 2]
    );
}

#[test]
fn modes_of_limited_transposition_have_few_transpositions() {
    // Messiaen, Technique de mon langage musical (1944), numbers as an encyclopaedia gives them.
    let distinct = |name: &str| {
        let keys = mode(name).pitch_classes();
        (0..12)
            .map(|up| keys.transposed(up))
            .collect::<HashSet<_>>()
            .len()
    };
    assert_eq!(distinct("C whole tone"), 2);
    assert_eq!(distinct("C octatonic half-whole"), 3);
    assert_eq!(distinct("C octatonic whole-half"), 3);
    assert_eq!(distinct("C limited transposition 3"), 4);
    for number in 4..=7 {
        assert_eq!(distinct(&format!("C limited transposition {number}")), 6);
    }
}

#[test]
fn the_worked_pairs_keep_what_they_keep() {
    // Own arithmetic.
    let pairs = [
        ("D Dorian", "D Mixolydian", 6),
        ("D Dorian", "D Phrygian", 5),
        ("F# Aeolian", "F# Lydian", 3),
        ("Bb Lydian", "Bb Locrian", 2),
        ("G Mixolydian", "E Phrygian", 7),
    ];
    for (a, b, kept) in pairs {
        assert_eq!(common_tones(&mode(a), &mode(b)), kept, "{a} {b}");
    }
}

// By degree.

#[test]
fn d_dorian_becomes_a_harmonic_minor_degree_by_degree() {
    // Outside reference: music21 10.5.1 and tonal 6.4.3 agree on these notes.
    let dorian = [62, 64, 65, 69, 67, 72, 71, 74, 69, 64, 67, 65];
    let minor = [57, 59, 60, 64, 62, 68, 65, 69, 64, 59, 62, 60];
    assert_eq!(
        folded(&by_degree("D Dorian", "A harmonic minor"), &dorian),
        minor
    );
}

#[test]
fn g_melodic_minor_becomes_f_sharp_lydian_and_a_stranger_keeps_its_distance() {
    // Outside reference: the same two libraries. The last note is no degree of the source: a
    // semitone above the fourth, it stays so in the target, where it happens to belong.
    let minor = [67, 70, 69, 74, 78, 76, 79, 72, 76, 62, 66, 73];
    let lydian = [66, 70, 68, 73, 77, 75, 78, 72, 75, 61, 65, 73];
    assert_eq!(
        folded(&by_degree("G melodic minor", "F# Lydian"), &minor),
        lydian
    );
}

#[test]
fn a_stranger_that_would_leave_the_target_goes_to_its_nearest_pitch() {
    // C♯ stays a semitone above C, in the mode. F♯ would stay a semitone above F; it is not in
    // the mode, F and G are equally near, and F is the lower.
    let settings = by_degree("C Ionian", "C Phrygian");
    assert_eq!(folded(&settings, &[60, 61, 65, 66]), [60, 61, 65, 65]);
}

#[test]
fn the_same_keys_on_another_tonic_move_by_degree_but_not_to_the_nearest() {
    let mixolydian = [67, 69, 71, 72, 74, 76, 77];
    let down_a_third = [64, 65, 67, 69, 71, 72, 74];
    let (from, to) = ("G Mixolydian", "E Phrygian");
    assert_eq!(folded(&by_degree(from, to), &mixolydian), down_a_third);
    assert_eq!(folded(&nearest(from, to), &mixolydian), mixolydian);
}

#[test]
fn with_another_size_degrees_run_on_from_the_tonic_below_the_phrase() {
    // Counted from D4.
    let wider = by_degree("D minor pentatonic", "D Dorian");
    let pentatonic = [62, 65, 67, 69, 72, 74, 77];
    assert_eq!(folded(&wider, &pentatonic), [62, 64, 65, 67, 69, 71, 72]);
    // With a C4 below, counted from D3: C4 is the fifth note from there, D4 the sixth.
    assert_eq!(folded(&wider, &[60, 62]), [57, 59]);
    let narrower = by_degree("D Dorian", "D minor pentatonic");
    let dorian = [62, 64, 65, 67, 69, 71, 72, 74];
    assert_eq!(folded(&narrower, &dorian), [62, 65, 67, 69, 72, 74, 77, 79]);
}

#[test]
fn at_the_end_of_the_keyboard_a_note_keeps_its_pitch_class() {
    // G9 would become the C above it, beyond the highest key.
    assert_eq!(folded(&by_degree("C Ionian", "F Ionian"), &[127]), [120]);
    // The lowest C would become the G below it.
    assert_eq!(folded(&by_degree("C Ionian", "G Ionian"), &[0]), [7]);
}

// By and by.

#[test]
fn dorian_becomes_phrygian_by_way_of_aeolian() {
    let dorian = [62, 64, 65, 67, 69, 71, 72];
    for whole in [
        by_degree("D Dorian", "D Phrygian"),
        nearest("D Dorian", "D Phrygian"),
    ] {
        assert_eq!(turns(&whole, &dorian), "B>B♭ E>E♭");
        let half = FoldSettings {
            amount: 0.5,
            ..whole
        };
        assert_eq!(folded(&half, &dorian), [62, 64, 65, 67, 69, 70, 72]);
        // To the nearest, E and B are ties: they go down.
        assert_eq!(folded(&whole, &dorian), [62, 63, 65, 67, 69, 70, 72]);
    }
}

#[test]
fn lydian_darkens_to_locrian_through_every_mode_between() {
    // The path is Persichetti's row, see above.
    let lydian = [70, 72, 74, 76, 77, 79, 81];
    let whole = by_degree("Bb Lydian", "Bb Locrian");
    assert_eq!(turns(&whole, &lydian), "E>E♭ A>A♭ D>D♭ G>G♭ C>C♭ F>F♭");
    for (moved, name) in BRIGHT_TO_DARK.into_iter().enumerate() {
        let amount = moved as f64 / 6.0;
        let heard = folded(&FoldSettings { amount, ..whole }, &lydian);
        let expected = mode(&format!("Bb {name}")).pitch_classes();
        assert_eq!(heard.into_iter().collect::<PitchSet>(), expected, "{name}");
    }
}

#[test]
fn brightening_turns_towards_the_sharps() {
    let keys = [66, 68, 69, 71, 73, 74, 76];
    let (from, to) = ("F# Aeolian", "F# Lydian");
    assert_eq!(turns(&by_degree(from, to), &keys), "D>D♯ A>A♯ E>E♯ B>B♯");
    assert_eq!(turns(&by_degree("D Dorian", "D Mixolydian"), &[62]), "F>F♯");
}

#[test]
fn a_stranger_turns_with_the_degree_below_it() {
    let whole = by_degree("C Aeolian", "C Ionian");
    let phrase = [60, 62, 63, 64, 65, 67, 68, 69, 70];
    assert_eq!(turns(&whole, &phrase), "A♭>A E♭>E B♭>B");
    let at = |amount| folded(&FoldSettings { amount, ..whole }, &phrase);
    // A♭ has turned; E, a semitone above E♭, waits for it, then goes on to F.
    assert_eq!(at(1.0 / 3.0), [60, 62, 63, 64, 65, 67, 69, 69, 70]);
    assert_eq!(at(2.0 / 3.0), [60, 62, 64, 65, 65, 67, 69, 69, 70]);
}

#[test]
fn a_stranger_above_a_degree_that_stays_turns_by_itself() {
    // F♯ stands above F, which stays; in D Phrygian it has no place.
    let whole = by_degree("D Dorian", "D Phrygian");
    assert_eq!(turns(&whole, &[62, 66]), "F♯>F B>B♭ E>E♭");
    assert_eq!(
        turns(&nearest("D Dorian", "D Phrygian"), &[62, 66]),
        "F♯>F B>B♭ E>E♭"
    );
}

// What a window asks.

#[test]
fn the_target_is_named_beside_the_source() {
    let name = |from, to| {
        let map = map_of(&by_degree(from, to), &[60]);
        map.target().name_on(map.target_tonic_name())
    };
    assert_eq!(name("Bb Lydian", "Bb Locrian"), "B♭ Locrian");
    assert_eq!(name("F# Aeolian", "F# Lydian"), "F♯ Lydian");
    assert_eq!(name("Gb Lydian", "B Ionian"), "C♭ Ionian");
    assert_eq!(name("D Dorian", "A harmonic minor"), "A harmonic minor");
    assert_eq!(name("D Lydian", "Bb Locrian"), "A♯ Locrian");
}

#[test]
fn a_source_left_open_is_heard_in_the_phrase() {
    let white = [62, 64, 65, 67, 69, 71, 72, 62];
    let open = FoldSettings {
        source_tonic: None,
        source_mode: None,
        ..by_degree("C Ionian", "D Phrygian")
    };
    let heard = map_of(&open, &white);
    assert_eq!(heard.source().name(), "D Dorian");
    assert_eq!((heard.moved(), heard.differing()), (2, 2));
    let on_e = FoldSettings {
        source_tonic: Some(4),
        ..open
    };
    assert_eq!(map_of(&on_e, &white).source().name(), "E Phrygian");
    let lydian = FoldSettings {
        source_mode: Some(ModeName::Lydian),
        ..open
    };
    assert_eq!(map_of(&lydian, &white).source().name(), "F Lydian");
}

/// C D E G A C leads into C Dorian as C D E♭ G A C: the first mode of seven that holds it is Ionian.
#[test]
fn five_notes_heard_go_degree_for_degree_into_a_mode_of_seven() {
    let five = [60, 62, 64, 67, 69, 72];
    let open = FoldSettings {
        source_tonic: None,
        source_mode: None,
        ..by_degree("C Ionian", "C Dorian")
    };
    assert_eq!(folded(&open, &five), [60, 62, 63, 67, 69, 72]);
    assert_eq!(map_of(&open, &five).source().name(), "C Ionian");
    let on_c = FoldSettings {
        source_tonic: Some(0),
        ..open
    };
    assert_eq!(folded(&on_c, &five), [60, 62, 63, 67, 69, 72]);
    // Into as few it is the pentatonic it sounds like, and off or nearest it is heard as one.
    let into_five = FoldSettings {
        target_mode: ModeName::MinorPentatonic,
        ..open
    };
    assert_eq!(folded(&into_five, &five), [60, 63, 65, 67, 70, 72]);
    for fold in [FoldKind::Off, FoldKind::Nearest] {
        let other = FoldSettings { fold, ..open };
        assert_eq!(map_of(&other, &five).source().name(), "C major pentatonic");
    }
    // Who names the pentatonic is taken at his word: five degrees of seven.
    let named = FoldSettings {
        source_mode: Some(ModeName::MajorPentatonic),
        ..on_c
    };
    assert_eq!(folded(&named, &five), [60, 62, 63, 65, 67, 69]);
}

/// A fold that has moved nothing yet does not make a modulation into five notes go by way of seven.
#[test]
fn a_pentatonic_modulates_into_a_pentatonic_whatever_the_fold_will_lead_to() {
    let phrase = phrase_of(&[60, 62, 64, 67, 69]);
    let mut settings = Settings {
        fold: FoldSettings {
            source_tonic: None,
            source_mode: None,
            amount: 0.0,
            ..by_degree("C Ionian", "C Dorian")
        },
        ..Settings::default()
    };
    settings.modulations = Modulations::new([Modulation {
        place: Place::Beats(0.0),
        tonic: 0,
        mode: ModeName::MinorPentatonic,
        over: 0,
    }]);
    let process = Process::new(phrase, settings, 0.0);
    let heard: Vec<u8> = [60, 62, 64, 67, 69]
        .map(|number| process.folded(key(number), 0.1).number())
        .into();
    assert_eq!(heard, [60, 63, 65, 67, 70]);
}

#[test]
fn folding_off_leaves_every_key_and_still_tells_the_source() {
    let off = between(FoldKind::Off, named("D Dorian"), named("A harmonic minor"));
    let map = map_of(&off, &[62]);
    assert_eq!(all_keys(&map), (0..128).collect::<Vec<_>>());
    assert_eq!((map.moved(), map.differing()), (0, 0));
    assert_eq!(map.source().name(), "D Dorian");
}

#[test]
fn an_amount_that_is_no_number_moves_nothing() {
    let whole = by_degree("D Dorian", "A harmonic minor");
    let none = FoldSettings {
        amount: f64::NAN,
        ..whole
    };
    assert_eq!(folded(&none, &[62, 64, 66]), [62, 64, 66]);
}

#[test]
fn a_set_of_ones_own_with_nothing_in_it_is_chromatic() {
    let custom = FoldSettings {
        custom: PitchSet::EMPTY,
        ..nearest("D Dorian", "D custom")
    };
    assert_eq!(map_of(&custom, &[62]).target().name(), "D chromatic");
}

// Laws.

fn any_mode() -> impl Strategy<Value = ModeName> {
    prop::sample::select(ModeName::ALL.to_vec())
}

fn seven_notes() -> impl Strategy<Value = (u8, ModeName)> {
    let seven = ModeName::shipped().filter(|(_, steps)| steps.len() == 7);
    let names: Vec<_> = seven.map(|(name, _)| name).collect();
    (0_u8..12, prop::sample::select(names))
}

fn any_keys() -> impl Strategy<Value = Vec<u8>> {
    prop::collection::vec(0_u8..128, 0..24)
}

prop_compose! {
    /// Settings as the parameters can make them, with a fold that is on.
    fn any_fold()(
        fold in prop::sample::select(vec![FoldKind::ByDegree, FoldKind::Nearest]),
        source_tonic in prop::option::of(0_u8..12),
        source_mode in prop::option::of(any_mode()),
        target_tonic in 0_u8..12,
        target_mode in any_mode(),
        amount in 0.0..=1.0,
        custom in any::<u16>(),
    ) -> FoldSettings {
        let custom = PitchSet::from_bits(custom);
        FoldSettings { fold, source_tonic, source_mode, target_tonic, target_mode, amount, custom }
    }
}

proptest! {
    #[test]
    fn by_degree_there_and_back_is_where_we_were(
        (here, there) in (seven_notes(), seven_notes()),
        // Far enough from both ends that no octave has to be given up.
        keys in prop::collection::vec(12_u8..116, 1..24),
    ) {
        let home = Mode::named(here.0, here.1, PitchSet::CHROMATIC);
        let keys: Vec<u8> = keys.into_iter().filter(|k| home.contains(key(*k))).collect();
        let away = folded(&between(FoldKind::ByDegree, here, there), &keys);
        let back = folded(&between(FoldKind::ByDegree, there, here), &away);
        prop_assert_eq!(back, keys);
    }

    #[test]
    fn by_degree_what_rises_still_rises(
        (from, to) in ((0_u8..12, any_mode()), (0_u8..12, any_mode())),
    ) {
        let home = Mode::named(from.0, from.1, PitchSet::CHROMATIC);
        // Two octaves, so that a target of five notes to twelve still ends on the keyboard.
        let rising: Vec<u8> = (48..72).filter(|k| home.contains(key(*k))).collect();
        let heard = folded(&between(FoldKind::ByDegree, from, to), &rising);
        prop_assert!(heard.is_sorted_by(|a, b| a < b), "{:?}", heard);
    }

    #[test]
    fn nearest_never_moves_a_note_of_the_target(any in any_fold(), keys in any_keys()) {
        let map = map_of(&FoldSettings { fold: FoldKind::Nearest, ..any }, &keys);
        for number in (0..128).filter(|k| map.target().contains(key(*k))) {
            prop_assert_eq!(map.key(key(number)).number(), number);
        }
    }

    #[test]
    fn nearest_finds_what_a_search_of_the_whole_keyboard_finds(
        any in any_fold(), keys in any_keys(),
    ) {
        let whole = FoldSettings { fold: FoldKind::Nearest, amount: 1.0, ..any };
        let map = map_of(&whole, &keys);
        for number in 6_u8..122 {
            let members = (0_u8..128).filter(|k| map.target().contains(key(*k)));
            let closest = members.min_by_key(|k| (k.abs_diff(number), *k));
            prop_assert_eq!(Some(map.key(key(number)).number()), closest);
        }
    }

    #[test]
    fn at_the_full_amount_every_key_is_in_the_target(any in any_fold(), keys in any_keys()) {
        let map = map_of(&FoldSettings { amount: 1.0, ..any }, &keys);
        prop_assert!((0..128).all(|k| map.target().contains(map.key(key(k)))));
        prop_assert_eq!(map.moved(), map.differing());
    }

    #[test]
    fn at_no_amount_every_key_stays(any in any_fold(), keys in any_keys()) {
        let map = map_of(&FoldSettings { amount: 0.0, ..any }, &keys);
        prop_assert_eq!(all_keys(&map), (0..128).collect::<Vec<_>>());
    }

    #[test]
    fn each_step_of_the_amount_turns_one_pitch_class(any in any_fold(), keys in any_keys()) {
        let at = |amount| map_of(&FoldSettings { amount, ..any }, &keys);
        let differing = at(0.0).differing();
        for moved in 1..=differing {
            let before = at((moved - 1) as f64 / differing as f64);
            let after = at(moved as f64 / differing as f64);
            prop_assert_eq!((before.moved(), after.moved()), (moved - 1, moved));
            let changed: PitchSet = (0..128)
                .filter(|k| before.key(key(*k)) != after.key(key(*k)))
                .collect();
            let turned = PitchSet::of(&[before.order()[moved - 1].pitch_class()]);
            prop_assert!(turned.is_subset_of(changed));
            // With it, only strangers to the source that follow.
            let home = before.source().pitch_classes();
            prop_assert!(changed.intersection(home).is_subset_of(turned));
        }
    }

    #[test]
    fn on_one_tonic_the_line_of_fifths_is_walked_outwards(
        ((tonic, from), (_, to)) in (seven_notes(), seven_notes()),
    ) {
        let map = map_of(&between(FoldKind::ByDegree, (tonic, from), (tonic, to)), &[60]);
        let home: Vec<i32> = map.source().degree_names().map(PitchName::fifths).collect();
        let flattest = home.iter().copied().min().expect("seven");
        let sharpest = home.iter().copied().max().expect("seven");
        let spelling = map.target().spelling_from(map.source().tonic_name());
        let outside: Vec<i32> = map
            .order()
            .iter()
            .map(|turn| spelling.name(turn.to.pitch_class()).fifths())
            .map(|place| (flattest - place).max(place - sharpest).max(0))
            .collect();
        prop_assert!(outside.is_sorted(), "{:?}", outside);
    }

    #[test]
    fn any_values_make_a_map(
        (source_tonic, target_tonic) in (prop::option::of(any::<u8>()), any::<u8>()),
        amount in prop::num::f64::ANY,
        any in any_fold(),
        keys in any_keys(),
    ) {
        let wild = FoldSettings { source_tonic, target_tonic, amount, ..any };
        let tidy = FoldSettings {
            source_tonic: source_tonic.map(|tonic| tonic % 12),
            target_tonic: target_tonic % 12,
            amount: if amount.is_nan() { 0.0 } else { amount.clamp(0.0, 1.0) },
            ..any
        };
        prop_assert_eq!(map_of(&wild, &keys), map_of(&tidy, &keys));
    }

    #[test]
    fn the_source_that_is_heard_is_the_smallest_that_holds_the_phrase(keys in any_keys()) {
        prop_assume!(!keys.is_empty());
        let heard = detect_source(&phrase_of(&keys));
        let played: PitchSet = keys.iter().map(|k| k % 12).collect();
        prop_assert!(played.is_subset_of(heard.pitch_classes()));
        let holds = |steps: PitchSet| (0..12).any(|up| played.is_subset_of(steps.transposed(up)));
        let smaller = ModeName::shipped().find(|(_, s)| s.len() < heard.size() && holds(*s));
        prop_assert_eq!(smaller, None);
    }
}
