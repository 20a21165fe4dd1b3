//! The mode changes as they are written and read: places, modes, and what comes of them.

use crate::editor::model::plan::{beats_per_bar, tempo};
use crate::editor::seen::Seen;
use procession_core::fold::Turn;
use procession_core::mode::{Mode, ModeName, PitchName, PitchSet};
use procession_core::modulation::ModeChange;
use procession_core::process::Process;
use procession_core::settings::{MAX_MODULATIONS, Modulation, Modulations, Place};
use procession_core::time::{Beats, HAIR};
use procession_core::words::minutes;
use procession_core::words::number_of;

/// Cycles over which a new modulation turns.
const USUAL_TURNING: u32 = 4;

/// "stage 4", "bar 9", "bar 9 beat 2.5": bars and beats are counted from 1, from the origin on.
pub fn place_text(place: Place, beats_per_bar: Beats) -> String {
    match place {
        Place::Stage(stage) => format!("stage {stage}"),
        Place::Beats(beats) => {
            let bar = ((beats + HAIR) / beats_per_bar).floor();
            let beat = beats - bar * beats_per_bar;
            if beat.abs() < HAIR {
                format!("bar {}", bar + 1.0)
            } else {
                // To a thousandth, without digits that say nothing.
                let beat = ((beat + 1.0) * 1000.0).round() / 1000.0;
                format!("bar {} beat {beat}", bar + 1.0)
            }
        }
    }
}

/// The place that is meant by a text; a number alone is a bar.
///
/// # Errors
/// Says what can be written instead.
pub fn place_from(text: &str, beats_per_bar: Beats) -> Result<Place, String> {
    let understood = || {
        let text = text.to_lowercase().replace(',', ".");
        let mut words = text.split_whitespace();
        match (words.next()?, words.next(), words.next(), words.next()) {
            ("stage", Some(stage), None, None) => stage_from(stage),
            ("bar", Some(bar), None, None) | (bar, None, None, None) => {
                beats_from(bar, "1", beats_per_bar)
            }
            ("bar", Some(bar), Some("beat"), Some(beat)) => beats_from(bar, beat, beats_per_bar),
            _ => None,
        }
    };
    understood().ok_or_else(|| {
        format!(
            "\"{}\" is not a position. Type a stage from 1 to 4096 (\"stage 4\") or a bar (\"bar 9\", \
             \"bar 9 beat 2.5\"); beats run from 1 to {}.",
            text.trim(),
            last_beat(beats_per_bar)
        )
    })
}

/// The number of the last beat of a bar: 4 in 4/4, 3.5 in 7/8 (beats are quarters).
fn last_beat(beats_per_bar: Beats) -> String {
    let last = (beats_per_bar * 1000.0).round() / 1000.0;
    if last.fract() == 0.0 {
        last.to_string()
    } else {
        format!("just before {}", last + 1.0)
    }
}

fn stage_from(text: &str) -> Option<Place> {
    let stage: u32 = text.parse().ok()?;
    (1..=4096).contains(&stage).then_some(Place::Stage(stage))
}

fn beats_from(bar: &str, beat: &str, beats_per_bar: Beats) -> Option<Place> {
    let bar: u32 = bar.parse().ok()?;
    let beat: f64 = beat.parse().ok()?;
    let inside = (1.0..beats_per_bar + 1.0).contains(&beat);
    let beats = f64::from(bar.checked_sub(1)?) * beats_per_bar + beat - 1.0;
    inside.then_some(Place::Beats(beats))
}

/// What comes of a mode change in this process.
#[derive(Clone, Debug, PartialEq)]
pub struct Outcome {
    /// In words.
    pub text: String,
    /// Whether it does not take place.
    pub missing: bool,
}

/// What comes of each mode change, in the order of the list.
pub fn outcomes(seen: &Seen) -> Vec<Outcome> {
    let changes: Vec<ModeChange> = seen.process.mode_changes().collect();
    let modulations = &seen.settings().modulations;
    let of = |(index, modulation): (usize, &Modulation)| {
        let place = changes
            .iter()
            .position(|change| change.index == Some(index));
        match place {
            Some(place) => Outcome {
                text: takes_place(seen, &changes, place),
                missing: false,
            },
            None => Outcome {
                text: never_comes(seen, modulation.place),
                missing: true,
            },
        }
    };
    modulations.iter().enumerate().map(of).collect()
}

/// "from D Dorian at 1:04: F becomes F♯, C♯ ...; whole at bar 17".
fn takes_place(seen: &Seen, changes: &[ModeChange], place: usize) -> String {
    let change = &changes[place];
    let process = &seen.process;
    let at = change.turning.start;
    let clock = minutes(at - process.origin(), tempo(seen));
    let from = format!("at {clock}, from {}", origin_of(process, at));
    let turns: Vec<String> = heard_turns(process, at)
        .iter()
        .map(|turn| format!("{} to {}", turn.from, turn.to))
        .collect();
    if turns.is_empty() {
        return format!("{from}: no pitch of the phrase changes");
    }
    let turns = turns.join(", then ");
    if change.turning.length() < HAIR {
        return format!("{from}: {turns}, at once").replace(", then ", ", ");
    }
    let whole = change.turning.end - process.origin();
    let bar = place_text(Place::Beats(whole), beats_per_bar(seen));
    format!("{from}: {turns}; complete at {bar}")
}

/// What turns in the mode change that begins at song position `at`: of all pitches by which the
/// modes differ, those that the phrase has.
fn heard_turns(process: &Process, at: Beats) -> Vec<Turn> {
    let played = played_before(process, at);
    // A hair in, so that this change is in charge.
    let (fold, _) = process.fold_at(at + HAIR);
    let turns = fold.order().iter().copied();
    turns
        .filter(|turn| played.contains(turn.from.pitch_class()))
        .collect()
}

/// The pitch classes of the phrase, as they sound when nothing turns any more before `at`.
fn played_before(process: &Process, at: Beats) -> PitchSet {
    let earlier = process
        .mode_changes()
        .take_while(|change| change.turning.start < at - HAIR);
    let whole = earlier
        .last()
        .map_or(at, |change| change.turning.end.min(at));
    let notes = process.phrase().notes().iter();
    // As the changes before this one leave it, or, if this one cuts them short, just before it.
    let just_before = whole.max(at - 2.0 * HAIR);
    notes
        .map(|note| process.folded(note.key, just_before).pitch_class())
        .collect()
}

/// The mode that a change at song position `at` leads on from. A phrase of few pitches that was
/// heard in a small mode keeps the name it has in every view; the mode of as many degrees as the
/// target, in which the change counts, is said besides.
pub fn origin_of(process: &Process, at: Beats) -> String {
    let before = process
        .mode_changes()
        .take_while(|change| change.turning.start < at - HAIR || change.index.is_none())
        .last();
    let (fold, _) = process.fold_at(at + HAIR);
    let counted = fold.source().name();
    match before.map(|change| change.mode.name()) {
        Some(heard) if heard != counted => format!("{heard} (taken as {counted})"),
        _ => counted,
    }
}

fn never_comes(seen: &Seen, place: Place) -> String {
    match place {
        Place::Stage(stage) => format!(
            "There is no stage {stage}: the form has {}. Choose one from 1 to {}.",
            number_of(seen.form.stages.len(), "stage"),
            seen.form.stages.len()
        ),
        Place::Beats(_) => "This position is never reached. Choose an earlier one.".to_owned(),
    }
}

/// The tonics to choose from, by pitch class.
pub fn tonic_name(tonic: u8) -> String {
    PitchName::neutral(tonic).to_string()
}

/// Whether there is room for one more mode change.
pub fn has_room(modulations: &Modulations) -> bool {
    modulations.iter().count() < MAX_MODULATIONS
}

/// One more mode change: at the stage that is looked at, or a few stages on, into the next
/// brighter mode by which at least one pitch of the phrase changes; else into another one that
/// changes one.
pub fn proposal(seen: &Seen, stage: Option<usize>) -> Option<Modulation> {
    let modulations = &seen.settings().modulations;
    if !has_room(modulations) {
        return None;
    }
    let changes: Vec<ModeChange> = seen.process.mode_changes().collect();
    let start = |stage: usize| {
        let stage = seen.form.stages.get(stage);
        stage.map_or(f64::INFINITY, |stage| stage.span.start)
    };
    let before = match stage {
        Some(stage) => {
            let earlier = |change: &&ModeChange| change.turning.start <= start(stage) + HAIR;
            changes.iter().rev().find(earlier)
        }
        None => changes.last(),
    }?;
    let next = || {
        let end = before.turning.end;
        let reached = seen.form.stage_at(end + HAIR).unwrap_or(0);
        let next = (reached + 4).min(seen.form.stages.len().saturating_sub(1));
        if start(next) > end + HAIR || changes.len() == 1 {
            return Place::Stage(next as u32 + 1);
        }
        // The last stage is taken: then a few cycles on.
        Place::Beats(end - seen.process.origin() + 4.0 * seen.phrase().length())
    };
    let place = stage.map_or_else(next, |stage| Place::Stage(stage as u32 + 1));
    let into = |mode: ModeName| Modulation {
        place,
        tonic: before.mode.tonic(),
        mode,
        over: USUAL_TURNING,
    };
    let modes: Vec<ModeName> = brighter_first(&before.mode).collect();
    let heard = |mode: &&ModeName| changes_a_pitch(seen, into(**mode));
    let mode = modes.iter().find(heard).or(modes.first())?;
    Some(into(*mode))
}

/// Whether a pitch of the phrase turns by this change, were it added to the plan.
fn changes_a_pitch(seen: &Seen, more: Modulation) -> bool {
    let mut settings = *seen.settings();
    settings.modulations = and(&settings.modulations, more);
    let index = settings.modulations.iter().count() - 1;
    let origin = seen.process.origin();
    let process = Process::new(seen.phrase().clone(), settings, origin);
    let change = process
        .mode_changes()
        .find(|change| change.index == Some(index));
    change.is_some_and(|change| !heard_turns(&process, change.turning.start).is_empty())
}

/// The diatonic modes: those that are brighter than `mode` from the next one on, then the others,
/// the brightest of them first.
fn brighter_first(mode: &Mode) -> impl Iterator<Item = ModeName> {
    use ModeName::{Aeolian, Dorian, Ionian, Locrian, Lydian, Mixolydian, Phrygian};
    let upwards = [
        Locrian, Phrygian, Aeolian, Dorian, Mixolydian, Ionian, Lydian,
    ];
    let tonic = mode.tonic();
    let brightness = move |name: &ModeName| {
        let chromatic = PitchSet::CHROMATIC;
        Mode::named(tonic, *name, chromatic).brightness()
    };
    let (now, seven) = (mode.brightness(), mode.size() == 7);
    let is_brighter = move |name: &ModeName| seven && brightness(name) > now;
    let brighter = upwards.into_iter().filter(is_brighter);
    let others = upwards
        .into_iter()
        .rev()
        .filter(move |name| !is_brighter(name));
    brighter.chain(others)
}

/// The plan with one of its modulations exchanged, or taken out.
pub fn with(modulations: &Modulations, index: usize, other: Option<Modulation>) -> Modulations {
    let all =
        modulations.iter().enumerate().filter_map(
            |(place, now)| {
                if place == index { other } else { Some(*now) }
            },
        );
    Modulations::new(all)
}

/// The plan with one more.
pub fn and(modulations: &Modulations, more: Modulation) -> Modulations {
    Modulations::new(modulations.iter().copied().chain([more]))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::editor::model::circle::tests::seen;
    use procession_core::settings::Settings;

    /// Eight steps; a dwell of 8 cycles and a drift of 4, each cycle 2 beats.
    const EIGHT: &str = "D4 E4 F4 G4 A4 B4 C5 .";

    fn with_plan(modulations: impl IntoIterator<Item = Modulation>) -> Seen {
        let settings = Settings {
            modulations: Modulations::new(modulations),
            ..Settings::default()
        };
        seen(EIGHT, settings, None)
    }

    fn to(place: Place, mode: ModeName, over: u32) -> Modulation {
        Modulation {
            place,
            tonic: 2,
            mode,
            over,
        }
    }

    #[test]
    fn what_is_written_about_a_place_means_that_place() {
        let places = [
            (Place::Stage(4), "stage 4"),
            (Place::Beats(0.0), "bar 1"),
            (Place::Beats(32.0), "bar 9"),
            (Place::Beats(33.5), "bar 9 beat 2.5"),
        ];
        for (place, text) in places {
            assert_eq!(place_text(place, 4.0), text);
            assert_eq!(place_from(text, 4.0), Ok(place));
        }
        assert_eq!(place_from(" Bar  9 ", 4.0), Ok(Place::Beats(32.0)));
        assert_eq!(place_from("9", 3.0), Ok(Place::Beats(24.0)));
        assert_eq!(place_from("bar 2 beat 1,5", 3.0), Ok(Place::Beats(3.5)));
    }

    #[test]
    fn what_is_no_place_is_refused_with_examples() {
        for text in [
            "",
            "stage",
            "stage 0",
            "bar 0",
            "bar 2 beat 5",
            "soon",
            "-3",
            "bar x",
        ] {
            let refusal = place_from(text, 4.0).expect_err(text);
            assert!(refusal.contains("\"stage 4\""), "{refusal}");
        }
    }

    #[test]
    fn the_outcome_tells_the_turns_and_when_all_have_turned() {
        let seen = with_plan([to(Place::Beats(32.0), ModeName::Lydian, 6)]);
        let said = outcomes(&seen);
        assert_eq!(
            said[0].text,
            "at 0:16, from D Dorian: F to F♯, then C to C♯, then G to G♯; complete at bar 11"
        );
        assert!(!said[0].missing);
    }

    #[test]
    fn at_once_is_said_and_a_stage_that_never_comes_too() {
        let seen = with_plan([
            to(Place::Stage(3), ModeName::Aeolian, 0),
            to(Place::Stage(99), ModeName::Lydian, 4),
        ]);
        let said = outcomes(&seen);
        assert_eq!(said[0].text, "at 0:12, from D Dorian: B to B♭, at once");
        assert!(said[1].missing);
        assert!(
            said[1].text.contains("the form has 17 stages"),
            "{}",
            said[1].text
        );
    }

    /// D, F, G, A and C: B and E are in Dorian, but nobody plays them.
    const FIVE: &str = "D4 F4 G4 A4 C5 . A4 .";

    fn five(modulations: impl IntoIterator<Item = Modulation>) -> Seen {
        let settings = Settings {
            modulations: Modulations::new(modulations),
            ..Settings::default()
        };
        seen(FIVE, settings, None)
    }

    #[test]
    fn only_pitches_that_the_phrase_has_are_said_to_turn() {
        let said = outcomes(&five([to(Place::Beats(32.0), ModeName::Phrygian, 0)]));
        assert!(
            said[0].text.ends_with("no pitch of the phrase changes"),
            "{said:?}"
        );
        let said = outcomes(&five([to(Place::Beats(32.0), ModeName::Lydian, 0)]));
        let turns = said[0].text.split(": ").last();
        assert_eq!(
            turns,
            Some("F to F♯, C to C♯, G to G♯, at once"),
            "{said:?}"
        );
        // After that, F is F sharp: what comes next begins there.
        let said = outcomes(&five([
            to(Place::Beats(32.0), ModeName::Lydian, 0),
            to(Place::Beats(64.0), ModeName::Dorian, 0),
        ]));
        assert!(said[1].text.contains("F♯ to F"), "{said:?}");
        assert!(!said[1].text.contains("B"), "{said:?}");
    }

    #[test]
    fn what_is_proposed_changes_at_least_one_pitch_of_the_phrase() {
        for text in [
            "D4 E4 A4 B4",
            "D4 A4",
            FIVE,
            EIGHT,
            "D4 E4 G4 A4 B4",
            "C4 E4 G4",
            "F4 B4",
        ] {
            let mut plan = Modulations::default();
            for _ in 0..3 {
                let settings = Settings {
                    modulations: plan,
                    ..Settings::default()
                };
                let seen = seen(text, settings, None);
                let more = proposal(&seen, None).expect("there is room");
                let changes = changes_a_pitch(&seen, more);
                plan = and(&plan, more);
                let said = outcomes(&super::super::circle::tests::seen(
                    text,
                    Settings {
                        modulations: plan,
                        ..settings
                    },
                    None,
                ));
                let last = &said[said.len() - 1].text;
                // A tonic and its fifth belong to every mode but one.
                assert_eq!(
                    changes,
                    !last.contains("no pitch of the phrase"),
                    "{text}: {last}"
                );
                assert!(changes, "{text}: {last}");
            }
        }
    }

    /// The mode is called in the list what it is called under Sonority.
    #[test]
    fn the_source_has_one_name() {
        let phrase = five([to(Place::Beats(32.0), ModeName::Lydian, 0)]);
        let name = phrase.process.fold().source().name();
        let said = outcomes(&phrase);
        assert!(
            said[0]
                .text
                .contains(&format!("from {name} (taken as D Dorian)")),
            "{said:?}"
        );
    }

    #[test]
    fn what_is_proposed_is_brighter_and_at_the_stage_that_is_looked_at() {
        let proposed = proposal(&with_plan([]), Some(4)).expect("there is room");
        assert_eq!(proposed.place, Place::Stage(5));
        assert_eq!((proposed.tonic, proposed.mode), (2, ModeName::Mixolydian));
        let full = with_plan([to(Place::Stage(2), ModeName::Lydian, 0); MAX_MODULATIONS]);
        assert_eq!(proposal(&full, None), None);
    }

    #[test]
    fn one_is_exchanged_taken_out_or_added() {
        let (a, b) = (
            to(Place::Stage(2), ModeName::Lydian, 0),
            to(Place::Stage(5), ModeName::Aeolian, 3),
        );
        let plan = Modulations::new([a, b]);
        assert_eq!(with(&plan, 0, Some(b)), Modulations::new([b, b]));
        assert_eq!(with(&plan, 0, None), Modulations::new([b]));
        assert_eq!(and(&plan, a), Modulations::new([a, b, a]));
    }
}
