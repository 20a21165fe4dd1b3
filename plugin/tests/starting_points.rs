//! The starting points: each can be put in force, played to its end and saved, and what its three
//! sentences say of it is counted here.
#![allow(clippy::unwrap_used)]

use procession::params::Parameters;
use procession::state::{Kept, Sketch};
use procession_core::clock::Transport;
use procession_core::engine::{Anchor, Controls, Engine};
use procession_core::exchange::Unrolled;
use procession_core::ledger::Message;
use procession_core::part::Part;
use procession_core::process::{Process, VoiceNote};
use procession_core::starting_points::{ALL, StartingPoint, named};
use std::collections::BTreeSet;
use std::sync::Arc;

const STEADY: Part = Part::Steady;
const COPY_1: Part = Part::COPY_1;

fn copy(number: usize) -> Part {
    Part::ALL[number]
}

fn stood(start: &StartingPoint) -> Arc<Parameters> {
    Sketch::of_start(start).stood()
}

fn process(start: &StartingPoint) -> Process {
    let parameters = stood(start);
    let kept = parameters.kept.current();
    let settings = parameters.settings(&kept);
    let mut process = Process::new(kept.taken.phrase, settings, 0.0);
    process.set_route(&kept.route);
    process
}

/// A starting point unrolled, and its notes by step.
struct Heard {
    /// Steps in a cycle.
    cycle: i64,
    step: f64,
    /// Steps that the whole lasts.
    end: i64,
    notes: Vec<VoiceNote>,
}

impl Heard {
    fn of(name: &str) -> Self {
        let start = named(name).unwrap();
        let unrolled = Unrolled::new(process(start), start.tempo, 4.0);
        let step = start.grid.beats();
        let steps = |beats: f64| (beats / step).round() as i64;
        Self {
            cycle: steps(start.phrase().length()),
            step,
            end: steps(unrolled.form.end()),
            notes: unrolled.notes,
        }
    }

    /// When a part strikes in these cycles, counted from 1, the last one included: in steps; and
    /// which keys.
    fn struck(&self, part: Part, cycles: [i64; 2]) -> Vec<(i64, u8)> {
        self.within(part, [(cycles[0] - 1) * self.cycle, cycles[1] * self.cycle])
    }

    /// The same from one step to another.
    fn within(&self, part: Part, [from, to]: [i64; 2]) -> Vec<(i64, u8)> {
        let at = |note: &&VoiceNote| note.on / self.step;
        let inside = |note: &&VoiceNote| {
            note.part == part && (from as f64 - 0.01..to as f64 - 0.01).contains(&at(note))
        };
        let mine = self.notes.iter().filter(inside);
        let locked = |note: &VoiceNote| {
            let at = at(&note);
            assert!((at - at.round()).abs() < 1e-6, "on no step: {at}");
            (at.round() as i64, note.key.number())
        };
        mine.map(locked).collect()
    }

    fn steps(&self, part: Part, cycles: [i64; 2]) -> Vec<i64> {
        let struck = self.struck(part, cycles);
        struck.into_iter().map(|(at, _)| at).collect()
    }

    /// The places in the cycle at which two parts strike together in one cycle.
    fn shared(&self, one: Part, other: Part, cycle: i64) -> BTreeSet<i64> {
        let places = |part| -> BTreeSet<i64> {
            let steps = self.steps(part, [cycle, cycle]);
            steps.iter().map(|at| at % self.cycle).collect()
        };
        &places(one) & &places(other)
    }

    /// Whether the parts strike alike in these cycles, octaves apart or not.
    fn in_unison(&self, one: Part, other: Part, cycles: [i64; 2]) -> bool {
        let classes = |part| -> Vec<(i64, u8)> {
            let struck = self.struck(part, cycles).into_iter();
            struck.map(|(at, key)| (at, key % 12)).collect()
        };
        let (one, other) = (classes(one), classes(other));
        !one.is_empty() && one == other
    }

    fn cycles(&self) -> i64 {
        self.end / self.cycle
    }
}

#[test]
fn two_lamps_interlock_without_ever_meeting() {
    let heard = Heard::of("Two Lamps");
    assert!(heard.in_unison(STEADY, COPY_1, [1, 4]));
    assert_eq!(heard.steps(STEADY, [1, 1]).len(), 8);
    let octave = heard.struck(STEADY, [1, 4]).into_iter();
    let octave: Vec<_> = octave.map(|(at, key)| (at, key - 12)).collect();
    assert_eq!(heard.struck(COPY_1, [1, 4]), octave);
    assert!(heard.steps(COPY_1, [5, 5]).is_empty(), "it falls silent");
    let counts: Vec<usize> = (6..=13)
        .map(|cycle| heard.steps(COPY_1, [cycle, cycle]).len())
        .collect();
    assert_eq!(counts, [1, 2, 3, 4, 5, 6, 7, 8]);
    for cycle in 5..=heard.cycles() {
        assert!(heard.shared(STEADY, COPY_1, cycle).is_empty(), "{cycle}");
    }
    let (own, other) = (heard.steps(STEADY, [14, 14]), heard.steps(COPY_1, [14, 14]));
    let all: BTreeSet<i64> = own.iter().chain(&other).map(|at| at % 16).collect();
    assert_eq!((own.len() + other.len(), all.len()), (16, 16));
    assert!(heard.cycles() >= 16);
}

/// Of a round on eleven steps: locked in these cycles, counted from 0, a step further each time.
fn shares_another_two_each_time(heard: &Heard, first_locked: impl Fn(i64) -> i64) {
    let shared = |stage: i64| heard.shared(STEADY, COPY_1, first_locked(stage) + 1);
    let pairs: Vec<_> = (1..=10).map(shared).collect();
    assert!(pairs.iter().all(|pair| pair.len() == 2), "{pairs:?}");
    let distinct: BTreeSet<_> = pairs.iter().collect();
    assert_eq!(distinct.len(), 10, "{pairs:?}");
}

#[test]
fn wake_shares_two_strokes_wherever_it_locks_and_is_round_after_66_cycles() {
    let heard = Heard::of("Wake");
    assert_eq!(heard.steps(STEADY, [1, 1]).len(), 5);
    shares_another_two_each_time(&heard, |stage| stage * 6);
    for stage in 0..=11 {
        // Four cycles on end the same, whatever comes before and after.
        let own = |cycle| heard.shared(STEADY, COPY_1, cycle);
        let first = stage * 6 + 1;
        assert!((first..first + 4).all(|cycle| own(cycle) == own(first)));
    }
    assert!(heard.in_unison(STEADY, COPY_1, [1, 4]));
    assert!(heard.in_unison(STEADY, COPY_1, [67, 70]));
    assert_eq!(heard.cycles(), 70);
}

#[test]
fn gangway_is_the_same_round_without_the_ways() {
    let heard = Heard::of("Gangway");
    let wake = Heard::of("Wake");
    shares_another_two_each_time(&heard, |stage| stage * 4);
    for stage in 0..=11 {
        let (jumped, drifted) = (stage * 4 + 1, stage * 6 + 1);
        assert_eq!(
            heard.shared(STEADY, COPY_1, jumped),
            wake.shared(STEADY, COPY_1, drifted)
        );
    }
    for cycle in 1..=44 {
        let own = heard.steps(STEADY, [cycle, cycle]).into_iter();
        let all: BTreeSet<i64> = own.chain(heard.steps(COPY_1, [cycle, cycle])).collect();
        assert_eq!(all.len(), if cycle <= 4 { 5 } else { 8 }, "cycle {cycle}");
    }
    assert!(heard.in_unison(STEADY, COPY_1, [45, 48]));
    assert!(!heard.in_unison(STEADY, COPY_1, [44, 44]));
}

#[test]
fn windows_are_lit_one_every_two_cycles_the_beats_first() {
    let heard = Heard::of("Windows Lit");
    for stage in 0..10 {
        let cycle = 2 * stage + 1;
        for cycle in [cycle, cycle + 1] {
            let struck = heard.steps(STEADY, [cycle, cycle]);
            assert_eq!(struck.len() as i64, stage + 1, "cycle {cycle}");
        }
    }
    let beats: Vec<i64> = heard.steps(STEADY, [7, 7]);
    assert_eq!(
        beats.iter().map(|at| at % 16).collect::<Vec<_>>(),
        [0, 4, 8, 12]
    );
    assert!(heard.steps(COPY_1, [1, 20]).is_empty());
    assert!(heard.in_unison(STEADY, COPY_1, [21, 24]));
    for (stage, first) in [(1, 25), (2, 29), (3, 33), (4, 37)] {
        let ahead: Vec<i64> = heard.steps(COPY_1, [first + 1, first + 1]);
        let own = heard.steps(STEADY, [first + 1, first + 1]);
        let turned: BTreeSet<i64> = own
            .iter()
            .map(|at| (at - 4 * stage).rem_euclid(16))
            .collect();
        let ahead: BTreeSet<i64> = ahead.iter().map(|at| at % 16).collect();
        assert_eq!(ahead, turned, "from cycle {first}");
    }
    assert!(heard.in_unison(STEADY, COPY_1, [37, 40]));
}

#[test]
fn the_rope_is_longer_by_a_note_after_every_three_rounds() {
    let heard = Heard::of("The Rope Pays Out");
    let mut at = 0;
    for (notes, round) in (1..).zip([2, 3, 6, 8, 9, 11, 12, 15, 16]) {
        for _ in 0..3 {
            let struck = heard.within(STEADY, [at, at + round]);
            assert_eq!(struck.len(), notes, "a round of {round} steps at {at}");
            assert_eq!(struck[0], (at, 67), "it begins with G4");
            at += round;
        }
    }
    assert!(heard.within(COPY_1, [0, at]).is_empty());
    assert_eq!(heard.within(COPY_1, [at, at + 16]).len(), 9);
    assert_eq!(16.0 * heard.step, 4.0);
}

#[test]
fn gulls_fan_out_and_meet_after_twelve_drifts() {
    let heard = Heard::of("Gulls Astern");
    // The stage after so many drifts, in its first cycle.
    let cycle = |drifts: i64| 4 * drifts + 1;
    let ahead = |drifts: i64, number: usize| -> BTreeSet<i64> {
        let own = heard
            .steps(STEADY, [cycle(drifts), cycle(drifts)])
            .into_iter();
        let by = drifts * number as i64;
        own.map(|at| (at - by).rem_euclid(12)).collect()
    };
    for drifts in 0..=12 {
        for number in 1..=3 {
            let cycle = cycle(drifts);
            let struck = heard.steps(copy(number), [cycle, cycle]);
            let struck: BTreeSet<i64> = struck.iter().map(|at| at % 12).collect();
            assert_eq!(
                struck,
                ahead(drifts, number),
                "copy {number} after {drifts}"
            );
        }
    }
    let with = |one, other, drifts| heard.in_unison(one, other, [cycle(drifts), cycle(drifts) + 1]);
    // A quarter of twelve steps is three: copy k is k quarters ahead, none of them at the same place.
    assert!(!with(STEADY, copy(2), 3) && !with(copy(1), copy(3), 3));
    assert!(with(STEADY, copy(2), 6) && with(copy(1), copy(3), 6) && !with(STEADY, copy(1), 6));
    let meets = |number| {
        (1..=12)
            .filter(|drifts| with(STEADY, copy(number), *drifts))
            .count()
    };
    assert_eq!([meets(3), meets(2), meets(1)], [3, 2, 1]);
    assert_eq!(cycle(12), 49);
    assert!((1..=3).all(|number| with(STEADY, copy(number), 12)));
}

#[test]
fn the_watch_changes_one_voice_at_a_time_and_is_round_after_twenty_moves() {
    let heard = Heard::of("Change of Watch");
    // In the second cycle of each stage.
    let places = |number: usize, moves: i64| -> BTreeSet<i64> {
        let cycle = 2 * moves + 2;
        let struck = heard.steps(copy(number), [cycle, cycle]);
        struck.iter().map(|at| at % 10).collect()
    };
    for moves in 1..=20 {
        let moved: Vec<usize> = [1, 2]
            .into_iter()
            .filter(|number| places(*number, moves) != places(*number, moves - 1))
            .collect();
        assert_eq!(moved, [if moves % 2 == 1 { 1 } else { 2 }], "move {moves}");
        if moves % 2 == 1 {
            let low = places(2, moves).into_iter();
            let before: BTreeSet<i64> = low.map(|at| (at - 1).rem_euclid(10)).collect();
            assert_eq!(places(1, moves), before, "a step before");
        } else {
            assert_eq!(places(1, moves), places(2, moves));
        }
    }
    let cycles = [41, 42];
    assert!(heard.in_unison(STEADY, copy(1), cycles) && heard.in_unison(STEADY, copy(2), cycles));
    let highest = |part| {
        heard
            .struck(part, [1, 1])
            .iter()
            .map(|note| note.1)
            .max()
            .unwrap()
    };
    assert_eq!(
        (highest(copy(1)), highest(copy(2))),
        (highest(STEADY) + 12, highest(STEADY) - 12)
    );
}

#[test]
fn the_sky_turns_by_five_semitones_in_ten_cycles() {
    let heard = Heard::of("Sky Before Landfall");
    let classes = |cycle| -> BTreeSet<u8> {
        let struck = heard.struck(STEADY, [cycle, cycle]).into_iter();
        struck.map(|(_, key)| key % 12).collect()
    };
    // E Phrygian: E F G A B C D. E Lydian: E F# G# A# B C# D#.
    let (dark, bright) = ([0, 2, 4, 5, 7, 9, 11], [1, 3, 4, 6, 8, 10, 11]);
    for cycle in 1..=8 {
        assert_eq!(classes(cycle), dark.into(), "cycle {cycle}");
    }
    let turned = |cycle| classes(cycle).difference(&dark.into()).count();
    let counts: Vec<usize> = (8..=18).map(turned).collect();
    assert!(
        counts.windows(2).all(|pair| pair[1] - pair[0] <= 1),
        "{counts:?}"
    );
    for cycle in 18..=heard.cycles() {
        assert_eq!(classes(cycle), bright.into(), "cycle {cycle}");
    }
    let (first, last) = (heard.struck(STEADY, [1, 1]), heard.struck(STEADY, [20, 20]));
    for ((at, was), (later, is)) in first.iter().zip(&last) {
        assert_eq!(later - at, 19 * 16);
        let stays = [4, 11].contains(&(was % 12));
        assert_eq!(is - was, if stays { 0 } else { 1 });
    }
}

#[test]
fn the_engines_are_together_again_after_63_cycles_of_which_no_two_are_alike() {
    let heard = Heard::of("Three Engines");
    let begins = |part, key: u8| -> BTreeSet<i64> {
        let struck = heard.within(part, [0, 640]).into_iter();
        struck
            .filter(|note| note.1 == key)
            .map(|note| note.0)
            .collect()
    };
    let every = |steps: usize| -> BTreeSet<i64> { (0..640).step_by(steps).collect() };
    let (steady, high, low) = (begins(STEADY, 62), begins(COPY_1, 74), begins(copy(2), 50));
    assert_eq!((&steady, &high, &low), (&every(10), &every(9), &every(7)));
    // Nine cycles of the steady voice are 90 steps, seven are 70, and 63 are 630.
    assert_eq!(&steady & &high, every(90));
    assert_eq!(&steady & &low, every(70));
    assert_eq!(&(&steady & &high) & &low, every(630));
    let cycle = |number: i64| -> Vec<(i64, u8)> {
        let parts = [STEADY, COPY_1, copy(2)].into_iter();
        let struck = parts.flat_map(|part| heard.struck(part, [number, number]));
        struck
            .map(|(at, key)| (at - (number - 1) * 10, key))
            .collect()
    };
    let distinct: BTreeSet<_> = (1..=63).map(cycle).collect();
    assert_eq!(distinct.len(), 63);
    assert_eq!(cycle(64), cycle(1));
}

#[test]
fn the_sentence_moves_within_five_semitones_and_ends_on_its_lowest() {
    let heard = Heard::of("Lights Along the Quay");
    let keys: Vec<u8> = heard
        .struck(STEADY, [1, 1])
        .iter()
        .map(|note| note.1)
        .collect();
    let (low, high) = (keys.iter().min().unwrap(), keys.iter().max().unwrap());
    assert_eq!(high - low, 5);
    // The second syllable is "lights".
    assert_eq!((keys[1], keys.last().unwrap()), (*high, low));
    assert_eq!(keys.iter().filter(|key| *key == high).count(), 1);
    assert!(heard.in_unison(STEADY, COPY_1, [1, 3]));
    assert!(!heard.in_unison(STEADY, COPY_1, [19, 21]));
    assert!(heard.in_unison(STEADY, COPY_1, [22, 24]));
    let lowest = heard.struck(COPY_1, [1, 1]).iter().map(|note| note.1).min();
    assert_eq!(lowest, Some(low + 12));
}

#[test]
fn the_ropes_wait_for_cues_and_four_bring_them_home() {
    let mut process = process(named("Ropes Let Go").unwrap());
    // Three beats a cycle; a drift takes three of them.
    let ahead = |process: &Process, number: usize, at: f64| {
        let beats = process.voices().displacement(copy(number), at).unwrap();
        (beats / 0.25).round() as i64
    };
    assert_eq!(ahead(&process, 2, 2999.0), 0, "nothing moves unasked");
    let mut cue_at = 3000.5;
    for cues in 1..=4 {
        assert!(process.cue(cue_at), "cue {cues} is taken");
        let locked = cue_at + 2.5 + 9.0;
        assert!(!process.cue(cue_at + 5.0), "on its way none is taken");
        assert_eq!(ahead(&process, 1, locked + 0.1), 3 * cues);
        assert_eq!(ahead(&process, 2, locked + 0.1), 6 * cues);
        assert_eq!(
            ahead(&process, 2, locked + 300.0),
            6 * cues,
            "it waits again"
        );
        cue_at = locked + 300.5;
    }
    // Twelve steps are unison: the second after two cues and after four, the first after four.
    assert_eq!(process.phrase().length() / 0.25, 12.0);
}

#[test]
fn the_fog_comes_lies_and_goes() {
    let heard = Heard::of("Fog on the Car Deck");
    let all = |cycle| -> Vec<i64> {
        let parts = (0..=6).map(copy);
        parts
            .flat_map(|part| heard.steps(part, [cycle, cycle]))
            .collect()
    };
    let distinct = |cycle| all(cycle).into_iter().collect::<BTreeSet<_>>().len();
    assert_eq!(
        (all(1).len(), distinct(1)),
        (35, 5),
        "one chime of seven voices"
    );
    for cycle in 11..=20 {
        assert_eq!(
            (all(cycle).len(), distinct(cycle)),
            (35, 16),
            "cycle {cycle}"
        );
        for step in 0..16 {
            let at = (cycle - 1) * 16 + step;
            let together = all(cycle).iter().filter(|struck| **struck == at).count();
            assert!((2..=3).contains(&together), "{together} on step {step}");
        }
    }
    assert_eq!((distinct(29), distinct(30)), (5, 5), "gathered");
    assert_eq!(heard.cycles(), 30);
    let seconds = 30.0 * 8.0 * 60.0 / 72.0;
    assert_eq!(seconds, 200.0, "three minutes and twenty");
    let process = process(named("Fog on the Car Deck").unwrap());
    let after = procession_core::time::Span::new(240.0, 600.0);
    assert!((0..=6).all(|number| process.notes(copy(number), after).next().is_none()));
}

#[test]
fn the_water_turns_every_interval_over() {
    let heard = Heard::of("Upside Down in the Water");
    let (own, turned) = (heard.struck(STEADY, [1, 4]), heard.struck(COPY_1, [1, 4]));
    assert_eq!((own[0].1, turned[0].1), (62, 62), "from the same D");
    for (one, other) in own.windows(2).zip(turned.windows(2)) {
        let way = |pair: &[(i64, u8)]| (i16::from(pair[1].1) - i16::from(pair[0].1)).signum();
        assert_eq!(one[1].0, other[1].0, "together");
        assert_eq!(way(one), -way(other));
    }
    // Degrees of D Aeolian.
    let scale = [2, 4, 5, 7, 9, 10, 0];
    let degree = |key: u8| -> i64 {
        let place = scale.iter().position(|class| *class == key % 12).unwrap() as i64;
        place + 7 * ((i64::from(key) - 2) / 12)
    };
    for (one, other) in own.iter().zip(&turned) {
        assert_eq!(degree(one.1) - degree(62), degree(62) - degree(other.1));
        assert_eq!(one.1 == other.1, one.1 == 62, "only the D is common");
    }
    assert_eq!(own.len(), 4 * 8);
    assert_eq!(
        heard.shared(STEADY, COPY_1, 7).len(),
        2,
        "half the phrase apart"
    );
    assert_eq!(heard.steps(STEADY, [13, 16]), heard.steps(COPY_1, [13, 16]));
    assert_ne!(heard.steps(STEADY, [10, 10]), heard.steps(COPY_1, [10, 10]));
}

#[test]
fn each_is_counted_by_a_test_of_its_own() {
    let here = include_str!("starting_points.rs");
    for start in ALL {
        let asked = ["of(\"", "named(\""].map(|before| format!("{before}{}\")", start.name));
        assert!(
            asked.iter().any(|asked| here.contains(asked)),
            "{}",
            start.name
        );
    }
}

#[test]
fn the_manual_lists_them_all() {
    let manual = include_str!("../MANUAL.md");
    let (_, chapter) = manual.split_once("## Starting points").unwrap();
    let chapter = chapter.split("\n## ").next().unwrap();
    let rows: Vec<_> = chapter
        .lines()
        .filter(|line| line.starts_with("| "))
        .skip(1)
        .collect();
    let listed = ALL.iter().map(|start| {
        let (notes, words) = (
            start.phrase().notes().len(),
            start.words.split_whitespace().count(),
        );
        let grid = start.settings().find(|(id, _)| *id == "grid").unwrap().1;
        let phrase = format!("{notes} notes in {words} steps of {grid}");
        format!(
            "| {} | {} | {phrase} | {} |",
            start.name, start.idea, start.tempo
        )
    });
    assert_eq!(rows, listed.collect::<Vec<_>>());
}

/// All voices, in real time as a host has it, from the first note to silence.
#[test]
fn each_is_played_to_its_end_and_no_note_hangs() {
    const RATE: f64 = 44_100.0;
    const BLOCK: u32 = 1024;
    for start in ALL {
        let parameters = stood(start);
        let kept = parameters.kept.current();
        let mut engine = Engine::new(RATE);
        engine.restore(&kept.taken.phrase, Anchor::Song(0.0));
        engine.set_route(&kept.route);
        let mut controls = Controls {
            settings: parameters.settings(&kept),
            hold: true,
            ..Controls::default()
        };
        let whole = Unrolled::new(process(start), start.tempo, 4.0);
        let frames_a_beat = RATE * 60.0 / start.tempo;
        let end = ((whole.form.end() + 4.0) * frames_a_beat) as u64;
        let (mut on, mut off) = (BTreeSet::new(), 0);
        let mut frame = 0;
        let mut finished = false;
        while frame < end || !std::mem::replace(&mut finished, frame >= end) {
            controls.hold = frame < end;
            let transport = Transport {
                playing: true,
                tempo: Some(start.tempo),
                position: Some(frame as f64 / frames_a_beat),
            };
            let mut hear = |event: procession_core::player::Event| match event.message {
                Message::NoteOn { id, .. } => assert!(on.insert(id), "twice: {id}"),
                Message::NoteOff { id, .. } => {
                    assert!(on.contains(&id), "{id} never began");
                    off += 1;
                }
                _ => (),
            };
            let block = engine.begin(&transport, BLOCK, &controls, &mut hear);
            block.finish(&mut hear);
            frame += u64::from(BLOCK);
        }
        assert_eq!(on.len(), off, "{}", start.name);
        assert!(
            off >= start.phrase().notes().len() * 8,
            "{}: {off}",
            start.name
        );
    }
}

/// Saved and loaded it is what it was, to the byte; and stored as a sketch too.
#[test]
fn each_is_saved_and_comes_back() {
    for start in ALL {
        let parameters = stood(start);
        let mut kept = parameters.kept.current();
        let sketch = Sketch::of(&kept, &parameters, start.name.to_owned());
        assert_eq!(sketch, Sketch::of_start(start), "{}", start.name);
        kept.sketches.put(0, Some(Arc::new(sketch)));
        let saved = kept.to_json();
        let mut read = Kept::default();
        assert_eq!(read.restore(&serde_json::from_str(&saved).unwrap()), None);
        assert_eq!((&read, read.to_json()), (&kept, saved), "{}", start.name);
    }
}

/// Nobody has to set more than is heard: every value that is named differs from a new project's.
#[test]
fn each_names_parameters_that_there_are_and_only_those_that_differ() {
    let (new, _) = Parameters::new();
    for start in ALL {
        for (id, text) in start.settings() {
            let (declaration, parameter) = new.of_id(id).unwrap();
            assert!(
                declaration.typed(text).is_some(),
                "{}: {id} {text}",
                start.name
            );
            let shown = parameter.text_of(parameter.value_of(text).unwrap());
            assert_eq!(
                shown.split(' ').next(),
                text.split(' ').next(),
                "{id} {text}"
            );
            let is_new = parameter.value_of(text) == Some(parameter.normalized_default());
            assert!(
                id == "grid" || !is_new,
                "{}: {id} is {text} anyway",
                start.name
            );
        }
    }
}
