//! Any route that a composer could write, for tests.

use super::{Afterwards, CYCLES, Dwell, Route, Turn, Way, WrittenStage};
use crate::mode::ModeName;
use crate::part::MAX_COPIES;
use crate::settings::Motion;
use proptest::prelude::*;
use proptest::sample::select;

fn any_dwell() -> impl Strategy<Value = Dwell> {
    prop_oneof![
        4 => CYCLES.prop_map(Dwell::Cycles),
        1 => Just(Dwell::UntilCued),
    ]
}

fn any_turn() -> impl Strategy<Value = Turn> {
    let named = ModeName::shipped().map(|(name, _)| name);
    let modes: Vec<_> = named.chain([ModeName::Custom]).collect();
    (0..12u8, select(modes), 0..=64u32).prop_map(|(tonic, mode, over)| Turn { tonic, mode, over })
}

/// Whole steps and any others, ahead and behind.
fn any_ahead() -> impl Strategy<Value = [f64; MAX_COPIES]> {
    let steps = prop_oneof![
        3 => (-64..=64i32).prop_map(f64::from),
        1 => -40.0..40.0f64,
    ];
    proptest::collection::vec(steps, MAX_COPIES)
        .prop_map(|steps| std::array::from_fn(|copy| steps[copy]))
}

/// Any stage.
pub(crate) fn any_stage() -> impl Strategy<Value = WrittenStage> {
    let motion = select(vec![Motion::Drift, Motion::Jump, Motion::BuildUp]);
    let grown = proptest::option::weighted(0.2, 0..40u32);
    let turn = proptest::option::weighted(0.2, any_turn());
    (motion, CYCLES, any_dwell(), any_ahead(), grown, turn).prop_map(
        |(motion, over, dwell, ahead, grown, turn)| WrittenStage {
            way: Way { motion, over },
            dwell,
            ahead,
            grown,
            turn,
        },
    )
}

/// Any written route of up to nine stages.
pub(crate) fn any_route() -> impl Strategy<Value = Route> {
    let stages = proptest::collection::vec(any_stage(), 1..10);
    let afterwards = (0..3u8, any::<usize>(), any_ahead());
    (stages, afterwards).prop_map(|(stages, (which, from, gained))| {
        let afterwards = match which {
            0 => Afterwards::Hold,
            1 => Afterwards::Silence,
            _ => Afterwards::Repeat {
                from: from % stages.len(),
                gained,
            },
        };
        Route::new(&stages, afterwards).unwrap()
    })
}
