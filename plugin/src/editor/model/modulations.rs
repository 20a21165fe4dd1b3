//! The modulation plan as it is written and read: places, modes, and what comes of them.

use crate::editor::model::plan::{beats_per_bar, tempo};
use crate::editor::seen::Seen;
use procession_core::exchange::picture::minutes;
use procession_core::mode::{Mode, ModeName, PitchName};
use procession_core::modulation::ModeChange;
use procession_core::settings::{MAX_MODULATIONS, Modulation, Modulations, Place};
use procession_core::time::Beats;

/// Cycles over which a new modulation turns.
const USUAL_TURNING: u32 = 4;

/// Positions so close, in beats, are the same.
const SAME: Beats = 1e-6;

/// "stage 4", "bar 9", "bar 9 beat 2.5": bars and beats are counted from 1, from the origin on.
pub fn place_text(place: Place, beats_per_bar: Beats) -> String {
    match place {
        Place::Stage(stage) => format!("stage {stage}"),
        Place::Beats(beats) => {
            let bar = ((beats + SAME) / beats_per_bar).floor();
            let beat = beats - bar * beats_per_bar;
            if beat.abs() < SAME {
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
        format!("\"{text}\" is no place. Write a stage or a bar: \"stage 4\", \"bar 9\", \"bar 9 beat 2.5\".")
    })
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

/// What comes of a modulation in this process.
#[derive(Clone, Debug, PartialEq)]
pub struct Outcome {
    /// In words.
    pub text: String,
    /// Whether it does not take place.
    pub missing: bool,
}

/// What comes of each modulation, in the order of the list.
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
    let before = changes[place.saturating_sub(1)].mode;
    let process = &seen.process;
    let at = change.turning.start;
    let clock = minutes(at - process.origin(), tempo(seen));
    // A hair in, so that this modulation is in charge.
    let (fold, _) = process.fold_at(at + SAME);
    let turns: Vec<String> = fold
        .order()
        .iter()
        .map(|turn| format!("{} to {}", turn.from, turn.to))
        .collect();
    let from = format!("at {clock}, from {}", before.name());
    if turns.is_empty() {
        return format!("{from}: no pitch changes");
    }
    let turns = turns.join(", then ");
    if change.turning.length() < SAME {
        return format!("{from}: {turns}, at once").replace(", then ", ", ");
    }
    let whole = change.turning.end - process.origin();
    let bar = place_text(Place::Beats(whole), beats_per_bar(seen));
    format!("{from}: {turns}; whole at {bar}")
}

fn never_comes(seen: &Seen, place: Place) -> String {
    match place {
        Place::Stage(stage) => format!(
            "Stage {stage} never comes: the form has {}. Choose an earlier one.",
            seen.form.stages.len()
        ),
        Place::Beats(_) => "This place is never reached. Choose another.".to_owned(),
    }
}

/// The tonics to choose from, by pitch class.
pub fn tonic_name(tonic: u8) -> String {
    PitchName::neutral(tonic).to_string()
}

/// One more modulation: at the stage that is looked at, or a few stages on, into a mode that is
/// brighter than the one before it, if there is one.
pub fn proposal(seen: &Seen, stage: Option<usize>) -> Option<Modulation> {
    let modulations = &seen.settings().modulations;
    if modulations.iter().count() >= MAX_MODULATIONS {
        return None;
    }
    let last = seen.process.mode_changes().last()?;
    let next = || {
        let reached = seen.form.stage_at(last.turning.end + SAME).unwrap_or(0);
        (reached + 4).min(seen.form.stages.len().saturating_sub(1))
    };
    let stage = stage.unwrap_or_else(next) as u32 + 1;
    Some(Modulation {
        place: Place::Stage(stage),
        tonic: last.mode.tonic(),
        mode: brighter(&last.mode),
        over: USUAL_TURNING,
    })
}

/// Of the diatonic modes the next brighter one than `mode`; the darkest after the brightest.
fn brighter(mode: &Mode) -> ModeName {
    use ModeName::{Aeolian, Dorian, Ionian, Locrian, Lydian, Mixolydian, Phrygian};
    let upwards = [
        Locrian, Phrygian, Aeolian, Dorian, Mixolydian, Ionian, Lydian,
    ];
    let brightness = |name: ModeName| {
        Mode::named(
            mode.tonic(),
            name,
            procession_core::mode::PitchSet::CHROMATIC,
        )
        .brightness()
    };
    let is_brighter = |name: &ModeName| brightness(*name) > mode.brightness() && mode.size() == 7;
    upwards.into_iter().find(is_brighter).unwrap_or(Aeolian)
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
            "at 0:16, from D Dorian: F to F♯, then C to C♯, then G to G♯; whole at bar 11"
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
        assert!(said[1].text.contains("the form has 17"), "{}", said[1].text);
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
