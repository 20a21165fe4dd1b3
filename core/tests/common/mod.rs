//! Any phrase and any settings that a musician could make.

#![allow(
    dead_code,
    clippy::unwrap_used,
    reason = "shared by tests that use a part each"
)]

use procession_core::mode::ModeName;
use procession_core::note::{Key, Note, Velocity};
use procession_core::phrase::Phrase;
use procession_core::settings::*;
use proptest::prelude::*;
use proptest::sample::select;

/// A phrase of 1 to 20 notes on a grid of sixteenths, 2 to 24 steps long.
pub fn phrase() -> impl Strategy<Value = Phrase> {
    (2u32..=24).prop_flat_map(|steps| {
        let note = (0..steps, 1..=steps, 30u8..100, 1u8..=127);
        proptest::collection::vec(note, 1..20).prop_map(move |notes| {
            let notes = notes
                .into_iter()
                .map(|(onset, length, key, velocity)| Note {
                    onset: f64::from(onset) * 0.25,
                    length: f64::from(length) * 0.25,
                    key: Key::new(key).unwrap(),
                    velocity: Velocity::new(f32::from(velocity) / 127.0),
                });
            Phrase::new(notes, f64::from(steps) * 0.25).unwrap()
        })
    })
}

fn copies() -> impl Strategy<Value = [CopySettings; MAX_COPIES]> {
    let copy = (-3200i32..3200, 0u8..=20, -3i32..=3).prop_map(|(offset, level, octave)| {
        let offset = if offset % 3 == 0 {
            0.0
        } else {
            f64::from(offset) / 100.0
        };
        CopySettings {
            offset,
            level: f32::from(level) / 10.0,
            octave,
        }
    });
    proptest::array::uniform8(copy)
}

fn motion() -> impl Strategy<Value = MotionSettings> {
    (
        0usize..=MAX_COPIES,
        select(vec![Motion::Drift, Motion::Jump, Motion::BuildUp]),
        select(vec![0.0, 0.0, 1.0, -2.5, 7.25]),
        -8i32..=8,
        select(vec![
            CopiesMove::Fanned,
            CopiesMove::Together,
            CopiesMove::InTurn,
        ]),
        1u32..=6,
        1u32..=6,
        select(vec![
            Shifts::Auto,
            Shifts::Count(0),
            Shifts::Count(3),
            Shifts::Endless,
        ]),
        0u32..=3,
    )
        .prop_map(
            |(copies, motion, offset, shift_by, copies_move, dwell, drift, shifts, entry)| {
                MotionSettings {
                    copies,
                    motion,
                    offset,
                    shift_by,
                    copies_move,
                    advance: Advance::Counted,
                    dwell,
                    drift,
                    shifts,
                    entry,
                }
            },
        )
}

fn growth() -> impl Strategy<Value = GrowthSettings> {
    let orders = vec![
        GrowthOrder::Forward,
        GrowthOrder::Backward,
        GrowthOrder::StrongBeatsFirst,
        GrowthOrder::LowToHigh,
        GrowthOrder::HighToLow,
        GrowthOrder::CentreOut,
        GrowthOrder::Scattered,
    ];
    let growths = vec![Growth::Off, Growth::Fill, Growth::Lengthen];
    (
        select(growths),
        -8i32..=8,
        1u32..=3,
        select(orders),
        any::<bool>(),
        any::<u64>(),
    )
        .prop_map(
            |(growth, step, every, order, copies_grow, seed)| GrowthSettings {
                growth,
                step,
                every,
                order,
                copies_grow,
                seed,
            },
        )
}

fn fold() -> impl Strategy<Value = FoldSettings> {
    let kinds = vec![FoldKind::Off, FoldKind::ByDegree, FoldKind::Nearest];
    (
        select(kinds),
        0u8..12,
        select(ModeName::ALL.to_vec()),
        0u32..=100,
    )
        .prop_map(|(fold, target_tonic, target_mode, amount)| FoldSettings {
            fold,
            target_tonic,
            target_mode,
            amount: f64::from(amount) / 100.0,
            ..FoldSettings::default()
        })
}

fn resulting() -> impl Strategy<Value = ResultingSettings> {
    let kinds = vec![
        Resulting::Off,
        Resulting::Top,
        Resulting::Bottom,
        Resulting::Together,
    ];
    (select(kinds), 0u8..=20, -3i32..=3).prop_map(|(which, level, octave)| ResultingSettings {
        which,
        level: f32::from(level) / 10.0,
        octave,
    })
}

fn modulations() -> impl Strategy<Value = Modulations> {
    let place = prop_oneof![
        (1u32..12).prop_map(Place::Stage),
        (0u32..160).prop_map(|step| Place::Beats(f64::from(step) * 0.25)),
    ];
    let modulation = (place, 0u8..12, select(ModeName::ALL.to_vec()), 0u32..8).prop_map(
        |(place, tonic, mode, over)| Modulation {
            place,
            tonic,
            mode,
            over,
        },
    );
    proptest::collection::vec(modulation, 0..4).prop_map(Modulations::new)
}

/// Any settings at all.
pub fn settings() -> impl Strategy<Value = Settings> {
    let grids = Grid::ALL.to_vec();
    let output = (any::<bool>(), 0u8..=20, 0u32..=100).prop_map(|(all_on_one, level, width)| {
        OutputSettings {
            all_on_one,
            steady_level: f32::from(level) / 10.0,
            width: f64::from(width) / 100.0,
        }
    });
    let shape = (select(grids), motion(), growth(), fold());
    (shape, modulations(), output, resulting(), copies()).prop_map(
        |((grid, motion, growth, fold), modulations, output, resulting, copies)| Settings {
            capture: CaptureSettings {
                grid,
                ..CaptureSettings::default()
            },
            motion,
            growth,
            fold,
            modulations,
            output,
            resulting,
            copies,
        },
    )
}
