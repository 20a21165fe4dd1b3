//! Prints plans as JSON, for an outside reader to judge against the schema:
//! `cargo run -p procession-core --example plan_facts`.

use procession_core::exchange::{Unrolled, plan};
use procession_core::mode::ModeName;
use procession_core::performed::{Happened, Moment, Recollection, Shape};
use procession_core::phrase::Phrase;
use procession_core::process::Process;
use procession_core::route::{Afterwards, Dwell, Edit, Turn};
use procession_core::settings::{
    Advance, CopiesMove, FoldKind, Growth, Motion, Resulting, Settings, Shifts,
};
use procession_core::tempo_map::{TempoMap, TempoStep};

const LANTERNS: &str = "D4 A4 . F4 C5 . E4 B4 D5 . A4 E5 C5 . G4 F4";

type Adjust = fn(&mut Settings);

const CASES: [(&str, Adjust); 6] = [
    ("as it comes", |_| ()),
    ("growing and drifting", |settings| {
        settings.growth.growth = Growth::Fill;
        settings.growth.step = 5;
        settings.motion.copies = 8;
        settings.motion.entry = 3;
        settings.resulting.which = Resulting::Top;
    }),
    ("building up in turn", |settings| {
        settings.motion.motion = Motion::BuildUp;
        settings.motion.copies = 2;
        settings.motion.copies_move = CopiesMove::InTurn;
        settings.motion.shifts = Shifts::Count(5);
        settings.copies[0].octave = -1;
    }),
    ("lengthening, then behind without end", |settings| {
        settings.growth.growth = Growth::Lengthen;
        settings.motion.shift_by = -3;
        settings.motion.shifts = Shifts::Endless;
    }),
    ("alone and recast", |settings| {
        settings.motion.copies = 0;
        settings.fold.fold = FoldKind::ByDegree;
        settings.fold.target_tonic = 6;
    }),
    ("too long", |settings| {
        settings.motion.copies = 8;
        settings.motion.dwell = 64;
        settings.motion.drift = 64;
        settings.motion.entry = 64;
        settings.motion.shifts = Shifts::Count(128);
    }),
];

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut plans = Vec::new();
    for (title, adjust) in CASES {
        let mut settings = Settings::default();
        adjust(&mut settings);
        let phrase = Phrase::from_text(LANTERNS, settings.step())?;
        let unrolled = Unrolled::new(Process::new(phrase, settings, 4.0), 108.0, 3.5);
        plans.push(plan::json(&unrolled.piece(title)));
    }
    for afterwards in [Afterwards::Hold, Afterwards::Silence] {
        plans.push(written(afterwards)?);
    }
    plans.push(performed()?);
    println!("[{}]", plans.join(",\n"));
    Ok(())
}

/// On cue, with two cues 30 and 100.5 beats after the origin, and at half the tempo from beat 50 on.
fn performed() -> Result<String, Box<dyn std::error::Error>> {
    let mut settings = Settings::default();
    settings.motion.advance = Advance::OnCue;
    let phrase = Phrase::from_text(LANTERNS, settings.step())?;
    let mut told = Recollection {
        first: Some(Shape::of(&settings)),
        ..Recollection::default()
    };
    for at in [30.0, 100.5] {
        let what = Happened::Cue;
        told.moments.push(Moment { at, what });
    }
    let step = |at, tempo| TempoStep { at, tempo };
    told.tempi = TempoMap::new([step(0.0, 108.0), step(50.0, 54.0)]);
    let process = Process::new(phrase, settings, 4.0);
    let unrolled = Unrolled::performed(&process, &told, 108.0, 3.5);
    Ok(plan::json(&unrolled.piece("performed on cue")))
}

/// The third stage waits for a cue and turns into another mode, the fifth is gone, three are
/// dwelt in for another time.
fn written(afterwards: Afterwards) -> Result<String, Box<dyn std::error::Error>> {
    let settings = Settings::default();
    let phrase = Phrase::from_text(LANTERNS, settings.step())?;
    let mut process = Process::new(phrase, settings, 4.0);
    let turn = Turn {
        tonic: 9,
        mode: ModeName::Aeolian,
        over: 3,
    };
    let dwell = |stage, dwell| Edit::Dwell { stage, dwell };
    let edits = [
        dwell(2, Dwell::UntilCued),
        Edit::Turn {
            stage: 2,
            turn: Some(turn),
        },
        Edit::LeaveOut { stage: 4 },
        dwell(5, Dwell::Cycles(64)),
        dwell(6, Dwell::Cycles(1)),
        Edit::Afterwards(afterwards),
    ];
    let mut route = process.voices().as_route();
    for edit in &edits {
        route = route.edited(edit)?;
    }
    process.set_route(&route);
    let unrolled = Unrolled::new(process, 108.0, 3.5);
    Ok(plan::json(&unrolled.piece("written by hand")))
}
