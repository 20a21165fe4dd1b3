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

/// A note's place and length on some grid, or off any, as a part of the phrase.
#[derive(Clone, Copy, Debug)]
enum Placing {
    Grid(f64, u32, u32),
    Loose(f64, f64),
}

/// On sixteenths, on triplets of eighths and of sixteenths, or as no grid has it.
fn placing() -> impl Strategy<Value = Placing> {
    let grid =
        |step| (any::<u32>(), any::<u32>()).prop_map(move |(o, l)| Placing::Grid(step, o, l));
    prop_oneof![
        3 => grid(0.25),
        1 => grid(1.0 / 6.0),
        1 => grid(1.0 / 3.0),
        2 => (0.0f64..0.999, 0.01f64..=1.0).prop_map(|(o, l)| Placing::Loose(o, l)),
    ]
}

impl Placing {
    /// Onset and length in a phrase of `phrase` beats.
    fn within(self, phrase: f64) -> (f64, f64) {
        match self {
            Self::Grid(step, onset, length) => {
                let places = (phrase / step - 1e-9).ceil() as u32;
                let steps = |number: u32| f64::from(number) * step;
                (steps(onset % places), steps(1 + length % places))
            }
            Self::Loose(onset, length) => (onset * phrase, length * phrase),
        }
    }
}

/// A phrase of 1 to 40 notes that lasts 2 to 24 sixteenths or triplets. Its notes lie on grids or
/// off them; some are chords, struck by a hand: 1 to 3 ms apart at 120 beats a minute.
pub fn phrase() -> impl Strategy<Value = Phrase> {
    let steps = select(vec![0.25, 0.25, 1.0 / 6.0, 1.0 / 3.0]);
    (2u32..=24, steps).prop_flat_map(|(count, step)| {
        let length = f64::from(count) * step;
        let chord = proptest::option::weighted(0.2, (0.002f64..0.006, 1u8..=12));
        let note = (placing(), 30u8..100, 1u8..=127, chord);
        proptest::collection::vec(note, 1..20).prop_map(move |notes| {
            let notes = notes
                .into_iter()
                .flat_map(|(placing, key, velocity, chord)| {
                    let (onset, held) = placing.within(length);
                    let note = Note {
                        onset,
                        length: held,
                        key: Key::new(key).unwrap(),
                        velocity: Velocity::new(f32::from(velocity) / 127.0),
                        said: None,
                    };
                    let second = chord.map(|(late, higher)| Note {
                        onset: onset + late,
                        key: Key::new(key + higher).unwrap(),
                        ..note
                    });
                    std::iter::once(note).chain(second.filter(|second| second.onset < length))
                });
            Phrase::new(notes, length).unwrap()
        })
    })
}

fn copies() -> impl Strategy<Value = [CopySettings; MAX_COPIES]> {
    let copy = (-3200i32..3200, 0u8..=20, -3i32..=3, own_material());
    let copy = copy.prop_map(|(offset, level, octave, own)| {
        let offset = if offset % 3 == 0 {
            0.0
        } else {
            f64::from(offset) / 100.0
        };
        CopySettings {
            offset,
            level: f32::from(level) / 10.0,
            octave,
            ..own
        }
    });
    proptest::array::uniform8(copy)
}

/// What a copy makes of the phrase; most leave it alone.
fn own_material() -> impl Strategy<Value = CopySettings> {
    let length = proptest::option::of(1u32..=24);
    let some = (-14i32..=14, -12i32..=12, length, any::<[bool; 2]>());
    let some =
        some.prop_map(
            |(degrees, semitones, length, [backwards, upside_down])| CopySettings {
                degrees,
                semitones,
                length,
                backwards,
                upside_down,
                ..CopySettings::default()
            },
        );
    prop_oneof![2 => Just(CopySettings::default()), 1 => some]
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
        ..ResultingSettings::default()
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
            tuned: false,
        }
    });
    let shape = (select(grids), motion(), growth(), fold());
    (shape, modulations(), output, resulting(), copies()).prop_map(
        |((grid, motion, growth, fold), modulations, output, resulting, copies)| Settings {
            steady: SteadySettings::default(),
            touch: TouchSettings::default(),
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
