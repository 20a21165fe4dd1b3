//! The modulation plan, worked by hand.

use procession_core::mode::{ModeName, PitchSet};
use procession_core::note::Key;
use procession_core::part::Part;
use procession_core::phrase::Phrase;
use procession_core::process::Process;
use procession_core::settings::{
    Advance, FoldKind, Growth, Modulation, Modulations, Motion, MotionSettings, Place, Settings,
};
use procession_core::time::{Beats, Span};

/// D Dorian, upwards; two beats a cycle.
const SCALE: &str = "D4 E4 F4 G4 A4 B4 C5 .";
const DORIAN: [u8; 7] = [62, 64, 65, 67, 69, 71, 72];

const D: u8 = 2;

fn modulation(place: Place, mode: ModeName, over: u32) -> Modulation {
    Modulation {
        place,
        tonic: D,
        mode,
        over,
    }
}

fn process(modulations: &[Modulation], settings: Settings) -> Process {
    let phrase = Phrase::from_text(SCALE, 0.25).expect("these words are notes");
    let settings = Settings {
        modulations: Modulations::new(modulations.iter().copied()),
        ..settings
    };
    Process::new(phrase, settings, 0.0)
}

/// What the steady voice plays in the cycle that begins there.
fn cycle(process: &Process, from: Beats) -> Vec<u8> {
    let notes = process.notes(Part::Steady, Span::new(from, from + 2.0));
    notes.map(|note| note.key.number()).collect()
}

/// Lydian on D has F♯, C♯ and G♯; they come in the order of the fifths, in cycles 0, 2 and 4 of
/// six.
#[test]
fn over_six_cycles_three_pitches_turn_every_two() {
    let to_lydian = modulation(Place::Beats(8.0), ModeName::Lydian, 6);
    let process = process(&[to_lydian], Settings::default());
    assert_eq!(cycle(&process, 6.0), DORIAN);
    assert_eq!(cycle(&process, 8.0), [62, 64, 66, 67, 69, 71, 72]);
    assert_eq!(cycle(&process, 10.0), [62, 64, 66, 67, 69, 71, 72]);
    assert_eq!(cycle(&process, 12.0), [62, 64, 66, 67, 69, 71, 73]);
    assert_eq!(cycle(&process, 16.0), [62, 64, 66, 68, 69, 71, 73]);
    assert_eq!(cycle(&process, 400.0), [62, 64, 66, 68, 69, 71, 73]);
}

#[test]
fn over_no_cycles_all_turn_at_once_and_the_next_leads_on_from_there() {
    let process = process(
        &[
            modulation(Place::Beats(8.0), ModeName::Lydian, 0),
            modulation(Place::Beats(12.0), ModeName::Aeolian, 0),
        ],
        Settings::default(),
    );
    assert_eq!(cycle(&process, 8.0), [62, 64, 66, 68, 69, 71, 73]);
    assert_eq!(cycle(&process, 12.0), [62, 64, 65, 67, 69, 70, 72]);
}

#[test]
fn the_order_in_which_they_were_written_does_not_matter() {
    let early = modulation(Place::Beats(4.0), ModeName::Lydian, 0);
    let late = modulation(Place::Beats(12.0), ModeName::Aeolian, 0);
    let written_early_first = process(&[early, late], Settings::default());
    let written_late_first = process(&[late, early], Settings::default());
    for from in [0.0, 4.0, 8.0, 12.0, 20.0] {
        assert_eq!(
            cycle(&written_early_first, from),
            cycle(&written_late_first, from)
        );
    }
}

/// Jumping after two cycles of two beats, the third stage begins at beat 8.
#[test]
fn a_stage_is_where_the_form_has_it_and_moves_with_it() {
    let motion = MotionSettings {
        motion: Motion::Jump,
        dwell: 2,
        ..MotionSettings::default()
    };
    let settings = Settings {
        motion,
        ..Settings::default()
    };
    let at_stage_3 = modulation(Place::Stage(3), ModeName::Aeolian, 0);
    let mut process = process(&[at_stage_3], settings);
    assert_eq!(cycle(&process, 6.0), DORIAN);
    assert_eq!(cycle(&process, 8.0)[5], 70);
    let mut longer = *process.settings();
    longer.motion.dwell = 4;
    process.set_settings(longer, 0.0);
    assert_eq!(cycle(&process, 8.0), DORIAN);
    assert_eq!(cycle(&process, 16.0)[5], 70);
}

/// Five pitch classes are heard as a pentatonic; degrees are counted in D Dorian all the same.
#[test]
fn a_phrase_of_five_pitch_classes_goes_degree_for_degree_into_a_mode_of_seven() {
    let phrase = Phrase::from_text("D4 F4 G4 A4 C5 .", 0.25).expect("these words are notes");
    let to_lydian = modulation(Place::Beats(3.0), ModeName::Lydian, 0);
    let settings = Settings {
        modulations: Modulations::new([to_lydian]),
        ..Settings::default()
    };
    let process = Process::new(phrase, settings, 0.0);
    assert_eq!(process.fold().source().name(), "D minor pentatonic");
    let keys = |from: f64| -> Vec<u8> {
        let notes = process.notes(Part::Steady, Span::new(from, from + 1.5));
        notes.map(|note| note.key.number()).collect()
    };
    assert_eq!(keys(0.0), [62, 65, 67, 69, 72]);
    assert_eq!(keys(3.0), [62, 66, 68, 69, 73]);
}

#[test]
fn a_stage_that_never_comes_is_never_reached() {
    let at_stage_99 = modulation(Place::Stage(99), ModeName::Aeolian, 0);
    let process = process(&[at_stage_99], Settings::default());
    assert_eq!(cycle(&process, 1e6), DORIAN);
    assert_eq!(process.mode_changes().count(), 1);
}

#[test]
fn on_cue_a_stage_begins_when_it_is_cued() {
    let motion = MotionSettings {
        motion: Motion::Jump,
        advance: Advance::OnCue,
        dwell: 2,
        ..MotionSettings::default()
    };
    let settings = Settings {
        motion,
        ..Settings::default()
    };
    let at_stage_2 = modulation(Place::Stage(2), ModeName::Aeolian, 0);
    let mut process = process(&[at_stage_2], settings);
    assert_eq!(cycle(&process, 100.0), DORIAN);
    assert!(process.cue(101.0));
    assert_eq!(cycle(&process, 100.0), DORIAN);
    assert_eq!(cycle(&process, 102.0)[5], 70);
    // It stays so when the next stage is cued.
    assert!(process.cue(110.0));
    assert_eq!(cycle(&process, 120.0)[5], 70);
}

#[test]
fn it_leads_on_from_where_the_fold_begins() {
    let mut settings = Settings::default();
    settings.fold.fold = FoldKind::ByDegree;
    settings.fold.target_tonic = D;
    settings.fold.target_mode = ModeName::Phrygian;
    let back = modulation(Place::Beats(8.0), ModeName::Dorian, 0);
    let process = process(&[back], settings);
    assert_eq!(cycle(&process, 0.0), [62, 63, 65, 67, 69, 70, 72]);
    assert_eq!(cycle(&process, 8.0), DORIAN);
    let modes: Vec<String> = process
        .mode_changes()
        .map(|change| change.mode.name())
        .collect();
    assert_eq!(modes, ["D Phrygian", "D Dorian"]);
}

#[test]
fn the_list_of_changes_says_from_when_to_when_they_turn() {
    let to_lydian = modulation(Place::Beats(8.0), ModeName::Lydian, 6);
    let process = process(&[to_lydian], Settings::default());
    let changes: Vec<_> = process.mode_changes().collect();
    assert_eq!(changes[0].mode.name(), "D Dorian");
    assert_eq!(changes[1].mode.name(), "D Lydian");
    assert_eq!(changes[1].turning, Span::new(8.0, 16.0));
}

/// Whatever was changed on the way: stages, modes, the fold, cues.
#[test]
fn however_it_came_about_the_plan_is_that_of_its_settings() {
    let stage = |stage, tonic, mode| Modulation {
        tonic,
        ..modulation(Place::Stage(stage), mode, 3)
    };
    let plans = [
        Modulations::new([
            stage(9, 7, ModeName::Lydian),
            stage(3, D, ModeName::Phrygian),
            modulation(Place::Beats(21.0), ModeName::Aeolian, 2),
        ]),
        Modulations::new([
            stage(3, D, ModeName::Phrygian),
            stage(5, 4, ModeName::Locrian),
            stage(9, 7, ModeName::Lydian),
        ]),
        Modulations::new([stage(5, 4, ModeName::Custom)]),
    ];
    let changes: [fn(&mut Settings); 8] = [
        |settings| settings.motion.dwell = 2,
        |settings| settings.motion.copies = 3,
        |settings| settings.motion.entry = 2,
        |settings| settings.fold.fold = FoldKind::ByDegree,
        |settings| settings.fold.amount = 0.4,
        |settings| settings.fold.custom = PitchSet::of(&[0, 1, 5, 7, 8]),
        |settings| settings.motion.advance = Advance::OnCue,
        |settings| settings.growth.growth = Growth::Fill,
    ];
    let mut settings = Settings::default();
    let mut kept = process(&[], settings);
    for round in 0..plans.len() * changes.len() {
        settings.modulations = plans[round / 2 % plans.len()];
        changes[round % changes.len()](&mut settings);
        if round % changes.len() == 0 {
            settings.motion.dwell = 3 + round as u32;
            settings.motion.advance = Advance::Counted;
        }
        kept.set_settings(settings, 0.0);
        let phrase = Phrase::from_text(SCALE, 0.25).expect("these words are notes");
        let mut fresh = Process::new(phrase, settings, 0.0);
        fresh.stand(&kept.footing());
        for process in [&mut kept, &mut fresh] {
            process.cue(9.0 + round as f64);
        }
        let told = |process: &Process| process.mode_changes().collect::<Vec<_>>();
        assert_eq!(told(&kept), told(&fresh), "{round}");
        for at in (0..400).map(|at| f64::from(at) * 0.7) {
            for key in (0..128).filter_map(Key::new) {
                assert_eq!(kept.folded(key, at), fresh.folded(key, at), "{round} {at}");
            }
        }
    }
}
