//! Writes scores as MusicXML into the folder given and prints what is in them, for outside readers
//! to compare: `cargo run -p procession-core --example score_facts -- FOLDER`.

use procession_core::exchange::Piece;
use procession_core::exchange::score::{Layout, Score, Sheet, Transposition};
use procession_core::form::{Doing, Form};
use procession_core::metre::Metre;
use procession_core::mode::{Mode, ModeName};
use procession_core::note::{Key, Note, Velocity};
use procession_core::part::{MAX_PARTS, Part};
use procession_core::performance::Performance;
use procession_core::phrase::{Bar, Phrase};
use procession_core::process::{Process, VoiceNote};
use procession_core::settings::{
    CopiesMove, FoldKind, Grid, Growth, Modulation, Modulations, Motion, Place, Resulting,
    Settings, Shifts,
};
use procession_core::time::{Beats, Span, to_ticks};
use procession_core::unrolling::unroll;
use std::path::Path;

/// A night on the ferry.
const LANTERNS: &str = "D4 A4 . F4 C5 . E4 B4 D5 . A4 E5 C5 . G4 F4";
const WAKE: &str = "E4 G4 B4 . D5 A4 . F#4 B4 . G4 A4";
const TILLER: &str = "G4 . A4 Eb5 . C5 Bb4 - F4 D5 . C5";
const BELLS: &str = "D3+A3 - F4+A4+C5 . E4 D3 - . G4+B4 - - .";
const ROUND: &str = "F4 - - C5 . A4 E5 - D5 - - .";
const GULLS: &str = "A4 . D5 . E5 C5 . . A4 - B4 . G4 F4 . C5 - . A4 . E4 . D4 . . E4 F4 .";
const WINCH: &str = "E5 . E5 F5 . E5 . E5+C4 . F5 E5 . . E5 C4 .";
const ENGINE: &str = "C2 - G2 . Eb2 - Bb2 C3 . G2";

type Adjust = fn(&mut Settings);

struct Case {
    name: &'static str,
    phrase: &'static str,
    grid: Grid,
    layout: Layout,
    transpositions: &'static [Transposition],
    /// The metre that it lies in, and where a bar begins, in beats; nothing is none.
    bar: (&'static str, Beats),
    /// Notes besides: onset and length in beats, and key.
    besides: &'static [(Beats, Beats, u8)],
    adjust: Adjust,
}

const fn case(name: &'static str, phrase: &'static str, adjust: Adjust) -> Case {
    Case {
        name,
        phrase,
        grid: Grid::Sixteenth,
        layout: Layout::SharedBeatOne,
        transpositions: &[],
        bar: ("", 0.0),
        besides: &[],
        adjust,
    }
}

const CASES: [Case; 20] = [
    case("drift", LANTERNS, |settings| {
        settings.motion.dwell = 4;
        settings.motion.drift = 2;
        settings.growth.growth = Growth::Fill;
        settings.growth.step = 2;
    }),
    Case {
        layout: Layout::OwnBeatOne,
        ..case("own_beat_one", WAKE, |settings| {
            settings.motion.dwell = 16;
            settings.motion.shifts = Shifts::Count(4);
        })
    },
    case("lengthen", WAKE, |settings| {
        settings.growth.growth = Growth::Lengthen;
        settings.motion.shifts = Shifts::Count(2);
    }),
    Case {
        grid: Grid::EighthTriplet,
        ..case("triplets", TILLER, |settings| {
            settings.motion.motion = Motion::Jump;
            settings.motion.shifts = Shifts::Count(5);
        })
    },
    Case {
        transpositions: &[
            Transposition::AtPitch,
            Transposition::OctaveUp,
            Transposition::TwoOctavesUp,
        ],
        ..case("fanned", WAKE, |settings| {
            settings.motion.copies = 3;
            settings.motion.entry = 4;
            settings.copies[1].octave = 2;
            settings.copies[2].octave = -1;
        })
    },
    case("build_up", BELLS, |settings| {
        settings.motion.motion = Motion::BuildUp;
        settings.motion.dwell = 2;
        settings.motion.shifts = Shifts::Count(2);
        settings.growth.step = 3;
    }),
    case("chords", BELLS, |settings| {
        settings.motion.motion = Motion::Jump;
        settings.motion.shift_by = -1;
        settings.motion.shifts = Shifts::Count(3);
    }),
    case("in_turn", TILLER, |settings| {
        settings.motion.copies = 2;
        settings.motion.copies_move = CopiesMove::InTurn;
        settings.motion.shifts = Shifts::Count(4);
    }),
    Case {
        grid: Grid::Eighth,
        ..case("recast", ROUND, |settings| {
            settings.motion.motion = Motion::Jump;
            settings.motion.dwell = 2;
            settings.motion.shifts = Shifts::Count(3);
            settings.fold.fold = FoldKind::ByDegree;
            settings.fold.target_tonic = 6;
            settings.fold.target_mode = ModeName::HarmonicMinor;
        })
    },
    Case {
        grid: Grid::Quarter,
        ..case("long_bars", BELLS, |settings| {
            settings.motion.motion = Motion::Jump;
            settings.motion.dwell = 3;
            settings.motion.shifts = Shifts::Count(2);
        })
    },
    Case {
        besides: &[
            (0.0, 2.0, 50),
            (2.0, 1.0, 45),
            (3.0, 1.0 / 3.0, 52),
            (3.0 + 1.0 / 3.0, 1.0 / 3.0, 53),
            (3.0 + 2.0 / 3.0, 0.5, 57),
        ],
        ..case(
            "two_lines",
            "D5 - A4 . F5 - C5 . E5 - - . . . . .",
            |settings| {
                settings.motion.motion = Motion::Jump;
                settings.motion.shift_by = 4;
                settings.motion.shifts = Shifts::Count(3);
            },
        )
    },
    case("low", ENGINE, |settings| {
        settings.motion.motion = Motion::Jump;
        settings.growth.growth = Growth::Lengthen;
        settings.growth.every = 1;
        settings.growth.copies_grow = true;
        settings.motion.shifts = Shifts::Count(1);
    }),
    Case {
        transpositions: &LINE_FAR_UP,
        ..case("resulting", WAKE, |settings| {
            settings.resulting.which = Resulting::Top;
            settings.resulting.octave = 1;
            settings.motion.drift = 2;
            settings.motion.shifts = Shifts::Count(4);
        })
    },
    Case {
        layout: Layout::OwnBeatOne,
        ..case("resulting_own_beat_one", BELLS, |settings| {
            settings.resulting.which = Resulting::Together;
            settings.motion.copies = 2;
            settings.motion.motion = Motion::Jump;
            settings.motion.shifts = Shifts::Count(3);
        })
    },
    case("modulations", LANTERNS, |settings| {
        settings.resulting.which = Resulting::Bottom;
        settings.motion.drift = 2;
        settings.motion.shifts = Shifts::Count(4);
        settings.modulations = Modulations::new([
            modulation(Place::Stage(3), 2, ModeName::Lydian, 5),
            modulation(Place::Beats(86.0), 10, ModeName::Lydian, 4),
            modulation(Place::Stage(9), 10, ModeName::Locrian, 0),
        ]);
    }),
    Case {
        bar: ("2+2+3/8", 0.5),
        ..case("seven", GULLS, |settings| {
            settings.motion.copies = 2;
            settings.motion.drift = 2;
            settings.motion.shifts = Shifts::Count(3);
        })
    },
    Case {
        bar: ("6/8", 0.0),
        ..case("six", WAKE, |settings| {
            settings.motion.motion = Motion::Jump;
            settings.motion.shifts = Shifts::Count(3);
        })
    },
    Case {
        bar: ("4/4", 1.0),
        ..case("pick_up", LANTERNS, |settings| {
            settings.motion.dwell = 3;
            settings.motion.drift = 2;
            settings.motion.shifts = Shifts::Count(3);
            settings.growth.growth = Growth::Fill;
            settings.resulting.which = Resulting::Top;
        })
    },
    Case {
        grid: Grid::EighthTriplet,
        bar: ("4/4", 1.0 / 3.0),
        ..case("triplet_pick_up", TILLER, |settings| {
            settings.motion.motion = Motion::Jump;
            settings.motion.shifts = Shifts::Count(2);
        })
    },
    Case {
        transpositions: &ALL_WITHOUT_PITCH,
        bar: ("3+3+2/8", 0.0),
        ..case("percussion", WINCH, |settings| {
            settings.motion.copies = 2;
            settings.motion.motion = Motion::Jump;
            settings.motion.shifts = Shifts::Count(4);
            settings.copies[1].octave = 1;
        })
    },
];

const ALL_WITHOUT_PITCH: [Transposition; MAX_PARTS] = [Transposition::Unpitched; MAX_PARTS];

/// A choice a part, the resulting line's last.
const LINE_FAR_UP: [Transposition; MAX_PARTS] = {
    let mut all = [Transposition::AtPitch; MAX_PARTS];
    all[1] = Transposition::OctaveUp;
    all[Part::ResultingLine.index()] = Transposition::TwoOctavesUp;
    all
};

const fn modulation(place: Place, tonic: u8, mode: ModeName, over: u32) -> Modulation {
    Modulation {
        place,
        tonic,
        mode,
        over,
    }
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let folder = std::env::args()
        .nth(1)
        .ok_or("say where to write: score_facts FOLDER")?;
    let facts: Result<Vec<_>, _> = CASES
        .iter()
        .map(|case| write(case, Path::new(&folder)))
        .collect();
    println!("[{}]", facts?.join(",\n"));
    Ok(())
}

fn write(case: &Case, folder: &Path) -> Result<String, Box<dyn std::error::Error>> {
    let mut settings = Settings::default();
    settings.capture.grid = case.grid;
    (case.adjust)(&mut settings);
    let phrase = phrase(case)?;
    let process = Process::new(phrase, settings, 0.0);
    let form = Form::new(&process);
    let mut notes: Vec<_> = unroll(&process, Span::new(0.0, form.end())).collect();
    let mut modes: Vec<(Beats, Mode)> = Vec::new();
    if case.name == "recast" {
        notes = turned_half_way(&process, &form);
        modes = vec![
            (0.0, process.fold().source()),
            (half_way(&form), process.fold().target()),
        ];
    }
    let score = Score {
        piece: Piece {
            title: "Lanterns & wake",
            performance: &Performance::proposed(&process),
            form: &form,
            route: process.route(),
            notes: &notes,
            modes: &modes,
            tempo: 96.0,
            tempi: None,
            beats_per_bar: 4.0,
        },
        layout: case.layout,
        transpositions: case.transpositions,
    };
    let file = folder.join(format!("{}.musicxml", case.name));
    std::fs::write(&file, score.to_musicxml())?;
    Ok(facts(case, &score))
}

fn phrase(case: &Case) -> Result<Phrase, Box<dyn std::error::Error>> {
    let words = Phrase::from_text(case.phrase, case.grid.beats())?;
    let besides = case.besides.iter().map(|(onset, length, key)| Note {
        onset: *onset,
        length: *length,
        key: Key::by_octave(i32::from(*key)),
        velocity: Velocity::new(0.7),
        said: None,
    });
    let notes = words.notes().iter().copied().chain(besides);
    let phrase = Phrase::new(notes, words.length())?;
    Ok(match case.bar {
        ("", _) => phrase,
        (metre, begins) => {
            let metre = Metre::from_text(metre, Metre::COMMON)?;
            phrase.with_bar(Some(Bar::around(metre, begins)))
        }
    })
}

fn half_way(form: &Form) -> Beats {
    form.stages[form.stages.len() / 2].span.start
}

/// The same notes, in the source mode up to half-way.
fn turned_half_way(process: &Process, form: &Form) -> Vec<VoiceNote> {
    let mut settings = *process.settings();
    settings.fold.target_mode = ModeName::Dorian;
    settings.fold.fold = FoldKind::Off;
    let before = Process::new(process.phrase().clone(), settings, 0.0);
    unroll(&before, Span::new(0.0, half_way(form)))
        .chain(unroll(process, Span::new(half_way(form), form.end())))
        .collect()
}

/// As JSON: positions in ticks, 960 to a beat.
fn facts(case: &Case, score: &Score) -> String {
    let sheet = score.sheet();
    let voices = score.piece.process().parts().enumerate();
    let parts = voices.map(|(place, voice)| part(score, &sheet, place, voice));
    let repeats = sheet.passages.iter().map(|passage| passage.plays);
    format!(
        "{{\"name\": \"{}\", \"layout\": \"{:?}\", \"beat\": {}, \"metre\": \"{}\", \"pick_up\": {}, \"length\": {}, \"repeats\": {}, \"parts\": {}}}",
        case.name,
        case.layout,
        if sheet.compound { 1440 } else { 960 },
        if sheet.compound { "" } else { case.bar.0 },
        to_ticks(score.piece.process().phrase().pick_up()),
        to_ticks(score.piece.form.end()),
        list(repeats.map(|plays| plays.to_string())),
        list(parts)
    )
}

/// What a part plays in all, from when to when it drifts, and how many notes are written.
fn part(score: &Score, sheet: &Sheet, place: usize, voice: Part) -> String {
    let played = score.piece.notes.iter().filter(|note| note.part == voice);
    let played = played.map(|note| {
        let (on, key) = (to_ticks(note.on), note.key.number());
        format!("[{on}, {key}]")
    });
    let drifts = score.piece.form.stages.iter().filter(|stage| {
        let copy = voice
            .as_copy()
            .and_then(|copy| stage.copies.get(copy.index()));
        copy.is_some_and(|copy| copy.doing == Doing::Drifting)
    });
    let drifts = drifts.map(|stage| {
        let (from, to) = (to_ticks(stage.span.start), to_ticks(stage.span.end));
        format!("[{from}, {to}]")
    });
    let written: usize = sheet.passages.iter().map(|p| p.parts[place].len()).sum();
    format!(
        "{{\"octaves\": {}, \"moves\": {}, \"written\": {written}, \"drifts\": {}, \"played\": {}}}",
        score.transposition(voice).octaves(),
        (1..score.piece.process().voices().count()).contains(&place),
        list(drifts),
        list(played)
    )
}

fn list(items: impl Iterator<Item = String>) -> String {
    format!("[{}]", items.collect::<Vec<_>>().join(", "))
}
