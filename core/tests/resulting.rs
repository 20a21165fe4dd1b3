//! The resulting line, worked by hand.

use procession_core::note::{Key, Note, Velocity};
use procession_core::part::Part;
use procession_core::phrase::Phrase;
use procession_core::process::{Process, VoiceNote};
use procession_core::settings::{
    CopiesMove, Grid, Motion, MotionSettings, Resulting, ResultingSettings, Settings,
};
use procession_core::time::Span;
use procession_core::unrolling::unroll;

/// Six steps; a copy that jumps by one after every four cycles of 1.5 beats.
const PHRASE: &str = "D4 F4 . A4 . C5";

fn jumping(which: Resulting) -> Settings {
    Settings {
        motion: MotionSettings {
            motion: Motion::Jump,
            dwell: 4,
            ..MotionSettings::default()
        },
        resulting: ResultingSettings {
            which,
            ..ResultingSettings::default()
        },
        ..Settings::default()
    }
}

fn line(settings: Settings, from: f64, to: f64) -> Vec<VoiceNote> {
    let phrase = Phrase::from_text(PHRASE, 0.25).expect("these words are notes");
    let process = Process::new(phrase, settings, 0.0);
    unroll(&process, Span::new(from, to))
        .filter(|note| note.part == Part::ResultingLine)
        .collect()
}

fn keys(line: &[VoiceNote]) -> Vec<u8> {
    line.iter().map(|note| note.key.number()).collect()
}

/// One step ahead, the copy turns D F . A . C into F . A . C D. Together, step by step:
/// D+F, F, A, A, C, C+D.
#[test]
fn one_step_ahead_the_line_is_what_the_six_steps_give() {
    let second_cycle = (7.5, 9.0);
    let of = |which| keys(&line(jumping(which), second_cycle.0, second_cycle.1));
    assert_eq!(of(Resulting::Top), [65, 65, 69, 69, 72, 72]);
    assert_eq!(of(Resulting::Bottom), [62, 65, 69, 69, 72, 62]);
    assert_eq!(of(Resulting::Together), [65, 72]);
    assert!(of(Resulting::Off).is_empty());
}

#[test]
fn it_enters_a_cycle_after_the_copy_has_locked_and_leaves_a_cycle_before_it_moves() {
    let line = line(jumping(Resulting::Top), 6.0, 12.0);
    let first = line.first().map(|note| note.on);
    let last = line.last().map(|note| note.on);
    assert_eq!((first, last), (Some(7.5), Some(10.25)));
}

#[test]
fn in_unison_nothing_results() {
    assert_eq!(line(jumping(Resulting::Together), 0.0, 6.0), []);
    // Six jumps later the voices coincide again, for good.
    assert_eq!(line(jumping(Resulting::Top), 36.0, 60.0), []);
}

/// The copy jumps every `dwell` cycles of 1.5 beats. However long that is, the line is away for the
/// cycle before and the cycle after: of a dwell of one or two cycles nothing is left.
#[test]
fn whatever_the_dwell_it_leaves_a_cycle_before_a_move_and_enters_a_cycle_after() {
    for dwell in 1..=6 {
        let mut settings = jumping(Resulting::Top);
        settings.motion.dwell = dwell;
        let jump = 1.5 * f64::from(dwell);
        // The second dwell: the first is in unison.
        let line = line(settings, jump, 2.0 * jump);
        let inside = jump + 1.5..2.0 * jump - 1.5;
        assert!(
            line.iter().all(|note| inside.contains(&note.on)),
            "{dwell}: {line:?}"
        );
        let cycles = dwell.saturating_sub(2) as usize;
        assert_eq!(line.len(), 6 * cycles, "{dwell}");
    }
}

#[test]
fn it_falls_silent_during_a_drift() {
    let mut settings = jumping(Resulting::Top);
    settings.motion.motion = Motion::Drift;
    settings.motion.drift = 2;
    // Locked from 9 to 15, on the way from 15 to 18.
    let line = line(settings, 9.0, 18.0);
    assert!(line.iter().all(|note| (10.5..13.5).contains(&note.on)));
    assert_eq!(line.len(), 12);
}

#[test]
fn every_copy_has_to_be_locked() {
    let mut settings = jumping(Resulting::Top);
    settings.motion.copies = 2;
    settings.motion.copies_move = CopiesMove::Together;
    // The second copy enters two cycles later, so it moves two cycles later, too.
    settings.motion.entry = 2;
    let line = line(settings, 6.0, 12.0);
    // Copy 1 allows 7.5 to 10.5, copy 2 only what is before 7.5 or from 10.5 on.
    assert_eq!(line, []);
}

#[test]
fn it_is_one_line_in_its_own_octave_and_at_its_own_level() {
    let mut settings = jumping(Resulting::Top);
    settings.resulting.octave = 1;
    settings.resulting.level = 0.5;
    let line = line(settings, 7.5, 9.0);
    assert_eq!(keys(&line), [77, 77, 81, 81, 84, 84]);
    for pair in line.windows(2) {
        assert!(pair[0].off <= pair[1].on);
    }
    let whole = Phrase::from_text(PHRASE, 0.25).expect("these words are notes");
    let struck = whole.notes()[0].velocity.value();
    assert!(
        line.iter()
            .all(|note| (note.velocity.value() - struck / 2.0).abs() < 1e-6)
    );
}

/// Long notes, D at step 0 and A at step 3: a step ahead, the copy strikes A at 2 and D at 5, while
/// they sound. The line gives each up for the next.
#[test]
fn of_notes_that_overlap_each_ends_where_the_next_begins() {
    let phrase = Phrase::from_text("D4 - - A4 - -", 0.25).expect("these words are notes");
    let process = Process::new(phrase, jumping(Resulting::Top), 0.0);
    let line: Vec<(f64, f64, u8)> = unroll(&process, Span::new(7.5, 9.0))
        .filter(|note| note.part == Part::ResultingLine)
        .map(|note| (note.on, note.off, note.key.number()))
        .collect();
    assert_eq!(
        line,
        [
            (7.5, 8.0, 62),
            (8.0, 8.25, 69),
            (8.25, 8.75, 69),
            (8.75, 9.0, 62)
        ]
    );
}

/// The ferry's night watch plays chords; no hand strikes three keys at once. At 120 beats a minute
/// these lie up to 25 ms behind the first, the highest last.
fn chords_by_hand(spread: [f64; 3]) -> Process {
    let chords = [[50, 57, 65], [52, 60, 67], [48, 55, 64], [53, 57, 69]];
    let notes = chords.iter().enumerate().flat_map(|(step, keys)| {
        let chord = keys.iter().zip(spread);
        chord.map(move |(key, late)| Note {
            onset: 0.5 * step as f64 + late,
            length: 0.4,
            key: Key::new(*key).expect("a key"),
            velocity: Velocity::new(0.7),
            said: None,
        })
    });
    let phrase = Phrase::new(notes, 2.0).expect("a phrase");
    let mut settings = jumping(Resulting::Top);
    settings.capture.grid = Grid::Eighth;
    Process::new(phrase, settings, 0.0)
}

fn struck(process: &Process, spans: impl IntoIterator<Item = (f64, f64)>) -> Vec<(f64, u8)> {
    let notes = spans
        .into_iter()
        .flat_map(|(from, to)| unroll(process, Span::new(from, to)));
    notes
        .filter(|note| note.part == Part::ResultingLine)
        .map(|note| (note.on, note.key.number()))
        .collect()
}

/// One step ahead, E G C F lie over D E C F, by their tops 67 64 69 65 over 65 67 64 69.
#[test]
fn a_chord_that_a_hand_spreads_is_one_stroke_of_the_line() {
    // Locked one ahead from 8 to 16, so heard from 10 to 14.
    let one_cycle = [(10.0, 67), (10.5, 67), (11.0, 69), (11.5, 69)];
    for spread in [[0.0, 0.0, 0.0], [0.0, 0.02, 0.05], [0.05, 0.03, 0.0]] {
        let process = chords_by_hand(spread);
        assert_eq!(struck(&process, [(9.9, 11.9)]), one_cycle, "{spread:?}");
        // However finely it is asked for: as a host's blocks cut it, in the middle of chords too.
        let cuts = (0..200).map(|cut| (9.9 + 0.01 * f64::from(cut), 9.91 + 0.01 * f64::from(cut)));
        assert_eq!(struck(&process, cuts), one_cycle, "{spread:?}");
    }
}

#[test]
fn what_is_spread_is_a_coincidence_only_if_another_voice_is_in_it() {
    let mut settings = jumping(Resulting::Together);
    settings.capture.grid = Grid::Eighth;
    // A chord, then a rest of the same length: a step ahead, the voices never meet.
    let note = |onset, key| Note {
        onset,
        length: 0.4,
        key: Key::new(key).expect("a key"),
        velocity: Velocity::new(0.7),
        said: None,
    };
    let phrase = Phrase::new([note(0.0, 50), note(0.03, 62)], 1.0).expect("a phrase");
    let process = Process::new(phrase.clone(), settings, 0.0);
    assert_eq!(struck(&process, [(4.0, 8.0)]), []);
    // And the top of each is the later note, at the beginning of the chord.
    settings.resulting.which = Resulting::Top;
    let process = Process::new(phrase, settings, 0.0);
    let heard = struck(&process, [(5.0, 6.0)]);
    assert_eq!(heard, [(5.0, 62), (5.5, 62)]);
}
