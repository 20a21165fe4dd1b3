//! The route as it stands in a plan.

use crate::part::MAX_COPIES;
use crate::route::{Afterwards, Dwell, Route, Turn, WrittenStage};
use serde::Serialize;

#[derive(Serialize)]
pub(super) struct RouteFacts {
    written: bool,
    stages: Vec<StageFacts>,
    afterwards: AfterwardsFacts,
}

#[derive(Serialize)]
struct StageFacts {
    stage: usize,
    motion: &'static str,
    over_cycles: u32,
    dwell_cycles: Option<u32>,
    ahead_steps: [f64; MAX_COPIES],
    grown_notes: Option<u32>,
    mode: Option<ModeFacts>,
}

#[derive(Serialize)]
struct ModeFacts {
    tonic: u8,
    name: &'static str,
    over_cycles: u32,
}

#[derive(Serialize)]
struct AfterwardsFacts {
    then: &'static str,
    from_stage: Option<usize>,
    gained_steps: Option<[f64; MAX_COPIES]>,
}

impl RouteFacts {
    /// A list that is `written`, or follows from the settings.
    pub fn of(route: &Route, written: bool) -> Self {
        let stages = route.stages().iter().enumerate();
        Self {
            written,
            stages: stages.map(stage).collect(),
            afterwards: afterwards(route.afterwards()),
        }
    }
}

fn stage((index, stage): (usize, &WrittenStage)) -> StageFacts {
    StageFacts {
        stage: index + 1,
        motion: stage.way.motion.noun(),
        over_cycles: stage.way.over,
        dwell_cycles: match stage.dwell {
            Dwell::Cycles(cycles) => Some(cycles),
            Dwell::UntilCued => None,
        },
        ahead_steps: stage.ahead,
        grown_notes: stage.grown,
        mode: stage.turn.map(mode),
    }
}

fn mode(turn: Turn) -> ModeFacts {
    ModeFacts {
        tonic: turn.tonic,
        name: turn.mode.id(),
        over_cycles: turn.over,
    }
}

fn afterwards(afterwards: &Afterwards) -> AfterwardsFacts {
    let (then, round) = match afterwards {
        Afterwards::Hold => ("hold", None),
        Afterwards::Repeat { from, gained } => ("repeat", Some((from + 1, *gained))),
        Afterwards::Silence => ("silence", None),
    };
    AfterwardsFacts {
        then,
        from_stage: round.map(|(from, _)| from),
        gained_steps: round.map(|(_, gained)| gained),
    }
}
