//! What stands in the table of stages, as it is read and typed.

use crate::editor::model::modulations::tonic_name;
use crate::editor::model::parameters::written;
use procession_core::mode::{Mode, ModeName, PitchName, PitchSet};
use procession_core::part::CopyNumber;
use procession_core::route::{Afterwards, CYCLES, Dwell, Edit, FURTHEST, Turn, Way, WrittenStage};
use procession_core::settings::Motion;
use procession_core::words::{number_of, to_hundredths};

/// A column that is written in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Column {
    /// How the stage is come to.
    Way,
    /// How long it is dwelt in.
    Dwell,
    /// Where a copy stands.
    Ahead(CopyNumber),
    /// How many notes of the phrase sound.
    Grown,
    /// The mode from there on.
    Turn,
}

impl Column {
    /// As it stands above the column.
    pub fn heading(self) -> String {
        match self {
            Self::Way => "come to by".to_owned(),
            Self::Dwell => "dwell".to_owned(),
            Self::Ahead(copy) => format!("copy {}", copy.number()),
            Self::Grown => "notes".to_owned(),
            Self::Turn => "mode from here".to_owned(),
        }
    }

    /// What it is of stage `index`, counted from 0.
    pub fn of(self, index: usize) -> String {
        let stage = index + 1;
        match self {
            Self::Way => format!("Way to stage {stage}"),
            Self::Dwell => format!("Dwell of stage {stage}"),
            Self::Ahead(copy) => format!("Offset of copy {} in stage {stage}", copy.number()),
            Self::Grown => format!("Notes in stage {stage}"),
            Self::Turn => format!("Mode from stage {stage}"),
        }
    }

    /// What can be typed, and what it means.
    pub fn about(self) -> &'static str {
        match self {
            Self::Way => {
                "How this stage is come to: drift over 1 to 64 cycles (\"drift 4\"), \"jump\" or \
                 \"build up\". A drift that no player could follow takes as many cycles as it needs."
            }
            Self::Dwell => {
                "How long it is dwelt in, once come to: 1 to 64 cycles, or \"cue\": until a cue."
            }
            Self::Ahead(_) => {
                "Steps that this copy stands ahead of the steady voice; behind, if negative."
            }
            Self::Grown => {
                "How many notes of the phrase sound in it, in the order of growth; nothing leaves \
                 that to growth."
            }
            Self::Turn => {
                "Another mode from here on, and over how many cycles it turns: \"D Lydian\", \"D \
                 Lydian over 4\"; nothing is no change."
            }
        }
    }

    /// As it is shown.
    pub fn text(self, stage: &WrittenStage, custom: PitchSet) -> String {
        match self {
            Self::Way => way_words(stage.way),
            Self::Dwell => dwell_words(stage.dwell),
            Self::Ahead(copy) => number(stage.ahead_of(copy)),
            Self::Grown => stage.grown.map_or(String::new(), |notes| notes.to_string()),
            Self::Turn => (stage.turn).map_or(String::new(), |turn| mode_words(Some(turn), custom)),
        }
    }

    /// The gesture that puts what is typed there, for stage `index`.
    ///
    /// # Errors
    /// It is not understood: what can be typed instead.
    pub fn typed(self, index: usize, stage: &WrittenStage, text: &str) -> Result<Edit, String> {
        let plain = text.trim().to_lowercase();
        let understood = match self {
            Self::Way => way_from(&plain, stage.way).map(|way| Edit::Way { stage: index, way }),
            Self::Dwell => dwell_from(&plain).map(|dwell| Edit::Dwell {
                stage: index,
                dwell,
            }),
            Self::Ahead(copy) => steps_from(&plain).map(|steps| Edit::Ahead {
                stage: index,
                copy,
                steps,
            }),
            Self::Grown => notes_from(&plain).map(|notes| Edit::Grown {
                stage: index,
                notes,
            }),
            Self::Turn => turn_from(text.trim()).map(|turn| Edit::Turn { stage: index, turn }),
        };
        understood.ok_or_else(|| {
            format!(
                "{}: \"{}\" is not understood, and it stays as it was. {}",
                self.of(index),
                text.trim(),
                match self {
                    Self::Way => "Type drift 4, jump or build up.",
                    Self::Dwell => "Type 1 to 64, or cue.",
                    Self::Ahead(_) => "Type steps: 3, -2.5.",
                    Self::Grown => "Type how many notes, or nothing.",
                    Self::Turn => "Type a tonic and a mode (D Lydian over 4), or nothing.",
                }
            )
        })
    }

    /// The gesture that goes `by` on from what is there.
    pub fn stepped(self, index: usize, stage: &WrittenStage, by: i32) -> Option<Edit> {
        Some(match self {
            Self::Way => Edit::Way {
                stage: index,
                way: stepped_way(stage.way, by),
            },
            Self::Dwell => Edit::Dwell {
                stage: index,
                dwell: stepped_dwell(stage.dwell, by),
            },
            Self::Ahead(copy) => Edit::Ahead {
                stage: index,
                copy,
                steps: (stage.ahead_of(copy) + f64::from(by)).clamp(-FURTHEST, FURTHEST),
            },
            Self::Grown => Edit::Grown {
                stage: index,
                notes: stepped_notes(stage.grown, by),
            },
            Self::Turn => return None,
        })
    }
}

/// "8 cycles", "until a cue".
pub fn dwell_words(dwell: Dwell) -> String {
    match dwell {
        Dwell::Cycles(cycles) => number_of(cycles as usize, "cycle"),
        Dwell::UntilCued => "until a cue".to_owned(),
    }
}

/// "drift over 4", "jump".
pub fn way_words(way: Way) -> String {
    match way.motion {
        Motion::Drift => format!("drift over {}", way.over),
        Motion::Jump => "jump".to_owned(),
        Motion::BuildUp => "build up".to_owned(),
    }
}

/// "5 notes", "as they grow".
pub fn notes_words(notes: Option<u32>) -> String {
    match notes {
        Some(notes) => number_of(notes as usize, "note"),
        None => "as they grow".to_owned(),
    }
}

/// "D Lydian over 4", "no change".
pub fn mode_words(turn: Option<Turn>, custom: PitchSet) -> String {
    let Some(turn) = turn else {
        return "no change".to_owned();
    };
    let name = match turn.mode {
        // By its own name, so that it can be typed.
        ModeName::Custom => format!("{} {}", tonic_name(turn.tonic), written(turn.mode.name())),
        named => Mode::named(turn.tonic, named, custom).name(),
    };
    match turn.over {
        0 => name,
        over => format!("{name} over {over}"),
    }
}

/// What comes after the last stage: "held", "again from stage 2", "silence".
pub fn followed_by(afterwards: &Afterwards) -> String {
    match afterwards {
        Afterwards::Hold => "held".to_owned(),
        Afterwards::Repeat { from, .. } => format!("again from stage {}", from + 1),
        Afterwards::Silence => "silence".to_owned(),
    }
}

/// The next dwell or the one before; what goes on from 64 cycles waits for a cue.
pub fn stepped_dwell(dwell: Dwell, by: i32) -> Dwell {
    let (least, most) = (*CYCLES.start() as i32, *CYCLES.end() as i32);
    let now = match dwell {
        Dwell::Cycles(cycles) => cycles as i32,
        Dwell::UntilCued => most + 1,
    };
    match now.saturating_add(by) {
        cycles if cycles > most => Dwell::UntilCued,
        cycles => Dwell::Cycles(cycles.max(least) as u32),
    }
}

/// Up and down through drifts; below the shortest of them are jumping and building up.
fn stepped_way(way: Way, by: i32) -> Way {
    let most = *CYCLES.end() as i32;
    let now = match way.motion {
        Motion::BuildUp => -1,
        Motion::Jump => 0,
        Motion::Drift => way.over as i32,
    };
    match now.saturating_add(by).clamp(-1, most) {
        -1 => Way {
            motion: Motion::BuildUp,
            ..way
        },
        0 => Way {
            motion: Motion::Jump,
            ..way
        },
        over => Way {
            motion: Motion::Drift,
            over: over as u32,
        },
    }
}

fn stepped_notes(notes: Option<u32>, by: i32) -> Option<u32> {
    match notes {
        None if by > 0 => Some(by as u32),
        None => None,
        Some(notes) => notes.checked_add_signed(by).filter(|notes| *notes > 0),
    }
}

fn number(steps: f64) -> String {
    to_hundredths(steps).to_string().replace('-', "−")
}

fn steps_from(text: &str) -> Option<f64> {
    let number = text.split_whitespace().next()?.replace('−', "-");
    let steps: f64 = number.replace(',', ".").parse().ok()?;
    let behind = text.contains("behind");
    steps
        .is_finite()
        .then_some(if behind { -steps.abs() } else { steps })
}

fn whole_in(text: &str) -> Option<u32> {
    text.split_whitespace().find_map(|word| word.parse().ok())
}

fn dwell_from(text: &str) -> Option<Dwell> {
    if text.contains("cue") {
        return Some(Dwell::UntilCued);
    }
    whole_in(text).map(Dwell::Cycles)
}

fn way_from(text: &str, before: Way) -> Option<Way> {
    let over = whole_in(text);
    let motion = match text.chars().next()? {
        'd' => Motion::Drift,
        'j' => Motion::Jump,
        'b' => Motion::BuildUp,
        _ if over.is_some() => Motion::Drift,
        _ => return None,
    };
    Some(Way {
        motion,
        over: over.unwrap_or(before.over),
    })
}

fn notes_from(text: &str) -> Option<Option<u32>> {
    if text.is_empty() || text.starts_with("as ") {
        return Some(None);
    }
    whole_in(text).map(Some)
}

fn turn_from(text: &str) -> Option<Option<Turn>> {
    if text.is_empty() || text.eq_ignore_ascii_case("no change") {
        return Some(None);
    }
    let (name, over) = match text.rsplit_once(" over ") {
        Some((name, over)) => (name, whole_in(over)?),
        None => (text, 0),
    };
    let (tonic, mode) = name.split_once(char::is_whitespace)?;
    Some(Some(Turn {
        tonic: PitchName::from_text(tonic)?.pitch_class(),
        mode: ModeName::from_text(mode.trim())?,
        over,
    }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use procession_core::part::MAX_COPIES;

    fn stage() -> WrittenStage {
        WrittenStage {
            way: Way {
                motion: Motion::Drift,
                over: 4,
            },
            dwell: Dwell::Cycles(8),
            ahead: [0.0; MAX_COPIES],
            grown: None,
            turn: None,
        }
    }

    fn custom() -> PitchSet {
        PitchSet::of(&[0, 2, 3, 7])
    }

    #[test]
    fn what_is_read_in_a_cell_is_understood_when_it_is_typed() {
        use procession_core::route::{Afterwards as Then, Route};
        let copy = CopyNumber::FIRST;
        let columns = [
            Column::Way,
            Column::Dwell,
            Column::Ahead(copy),
            Column::Grown,
            Column::Turn,
        ];
        let mut stages = vec![stage(); 6];
        stages[1].way.motion = Motion::Jump;
        stages[2].way.motion = Motion::BuildUp;
        stages[1].dwell = Dwell::UntilCued;
        stages[2].ahead[0] = -2.25;
        stages[3].grown = Some(3);
        let modes = [ModeName::Lydian, ModeName::HarmonicMinor, ModeName::Custom];
        for (stage, mode) in stages.iter_mut().zip(modes) {
            stage.turn = Some(Turn {
                tonic: 10,
                mode,
                over: 4,
            });
        }
        let route = Route::new(&stages, Then::Hold).expect("a route");
        for (index, stage) in stages.iter().enumerate() {
            for column in columns {
                let text = column.text(stage, custom());
                let edit = column.typed(index, stage, &text).expect(&text);
                let again = route.edited(&edit).expect("it can be");
                assert_eq!(again, route, "{text}");
            }
        }
    }

    #[test]
    fn people_write_in_their_own_way() {
        let typed = |column: Column, text: &str| column.typed(2, &stage(), text);
        let dwell = |dwell| Ok(Edit::Dwell { stage: 2, dwell });
        assert_eq!(typed(Column::Dwell, " 12 "), dwell(Dwell::Cycles(12)));
        assert_eq!(typed(Column::Dwell, "Until cued"), dwell(Dwell::UntilCued));
        let way = |motion, over| {
            Ok(Edit::Way {
                stage: 2,
                way: Way { motion, over },
            })
        };
        assert_eq!(typed(Column::Way, "6"), way(Motion::Drift, 6));
        assert_eq!(typed(Column::Way, "Drift 6 cycles"), way(Motion::Drift, 6));
        assert_eq!(typed(Column::Way, "Build up"), way(Motion::BuildUp, 4));
        let copy = CopyNumber::FIRST;
        let steps = |steps| {
            Ok(Edit::Ahead {
                stage: 2,
                copy,
                steps,
            })
        };
        assert_eq!(typed(Column::Ahead(copy), "2,5"), steps(2.5));
        assert_eq!(typed(Column::Ahead(copy), "3 steps behind"), steps(-3.0));
        for (column, text) in [
            (Column::Dwell, "long"),
            (Column::Way, "walk"),
            (Column::Ahead(copy), "far"),
            (Column::Ahead(copy), "NaN"),
            (Column::Grown, "few"),
            (Column::Turn, "H blue"),
        ] {
            let refusal = typed(column, text).expect_err(text);
            assert!(
                refusal.contains(text) && refusal.contains("Type "),
                "{refusal}"
            );
            assert!(refusal.contains("stage 3"), "{refusal}");
        }
    }

    #[test]
    fn stepping_goes_through_all_there_is_and_stops_at_the_ends() {
        let dwell = |cycles, by| stepped_dwell(Dwell::Cycles(cycles), by);
        assert_eq!(dwell(8, -1), Dwell::Cycles(7));
        assert_eq!(dwell(1, -1), Dwell::Cycles(1));
        assert_eq!(dwell(64, 1), Dwell::UntilCued);
        assert_eq!(stepped_dwell(Dwell::UntilCued, -1), Dwell::Cycles(64));
        assert_eq!(stepped_dwell(Dwell::UntilCued, 9), Dwell::UntilCued);
        let drift = |over| Way {
            motion: Motion::Drift,
            over,
        };
        assert_eq!(stepped_way(drift(64), 1), drift(64));
        assert_eq!(stepped_way(drift(1), -1).motion, Motion::Jump);
        assert_eq!(stepped_way(drift(1), -9).motion, Motion::BuildUp);
        assert_eq!(stepped_way(stepped_way(drift(1), -1), 1), drift(1));
        assert_eq!(stepped_notes(None, 1), Some(1));
        assert_eq!(stepped_notes(Some(1), -1), None);
    }
}
