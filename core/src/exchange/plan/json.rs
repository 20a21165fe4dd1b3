//! The plan for programs. What every field means, and in which unit, is written in
//! `core/src/exchange/plan.schema.json`.

use super::places;
use super::route::RouteFacts;
use crate::exchange::Piece;
use crate::form::{CopyStage, Doing, Made, Stage};
use crate::mode::PitchSet;
use crate::note::Note;
use crate::part::Part;
use crate::process::Process;
use crate::settings::{Shifts, Worded};
use crate::time::Beats;
use crate::words::stage_words;
use serde::Serialize;

/// Raised whenever a field goes, or changes its meaning, and when it became something to be read
/// again; a new field is free.
pub(super) const SCHEMA: u32 = 4;

/// The plan of a piece as JSON. All positions are beats from the origin.
///
/// Numbers that a JSON file cannot hold (a tempo that is NaN, say) are written as null.
pub fn json(piece: &Piece) -> String {
    let mut text = serde_json::to_string_pretty(&Plan::of(piece)).unwrap_or_default();
    text.push('\n');
    text
}

#[derive(Serialize)]
struct Plan<'a> {
    schema: u32,
    title: &'a str,
    tempo: f64,
    tempi: Vec<TempoFacts>,
    beats_per_bar: f64,
    origin: Beats,
    whole: bool,
    endless: bool,
    performed_until: Option<Beats>,
    lasts: Lasts,
    phrase: PhraseFacts,
    process: ProcessFacts,
    voices: Vec<Voice>,
    modes: Vec<InForce>,
    alignments: Vec<AlignmentFacts>,
    stages: Vec<StageFacts>,
    route: RouteFacts,
}

#[derive(Serialize)]
struct TempoFacts {
    from_beat: Beats,
    tempo: f64,
}

#[derive(Serialize)]
struct Lasts {
    shortest_beats: Beats,
    chosen_beats: Beats,
    longest_beats: Beats,
    chosen_seconds: f64,
}

#[derive(Serialize)]
struct PhraseFacts {
    step_beats: Beats,
    length_beats: Beats,
    length_steps: f64,
    notes: Vec<NoteFacts>,
}

#[derive(Serialize)]
struct NoteFacts {
    onset_beats: Beats,
    length_beats: Beats,
    key: u8,
    velocity: u8,
}

#[derive(Serialize)]
struct ProcessFacts {
    motion: &'static str,
    copies_move: String,
    shift_by_steps: i32,
    shifts: Option<u32>,
    dwell_cycles: u32,
    drift_cycles: u32,
    entry_cycles: u32,
    growth: String,
    growth_step_notes: i32,
    growth_every_cycles: u32,
}

#[derive(Serialize)]
struct Voice {
    name: String,
    octave: i32,
    /// Only of a voice whose cycle is not the phrase's.
    #[serde(skip_serializing_if = "Option::is_none")]
    own_cycle: Option<OwnCycleFacts>,
}

#[derive(Serialize)]
struct OwnCycleFacts {
    length_steps: f64,
    together_after_beats: Beats,
    together_after_cycles: f64,
}

#[derive(Serialize)]
struct InForce {
    from_beat: Beats,
    name: String,
    tonic: u8,
    pitch_classes: Vec<u8>,
}

#[derive(Serialize)]
struct AlignmentFacts {
    offset_steps: i64,
    attacks: usize,
    coincidences: usize,
    interlocking: bool,
}

#[derive(Serialize)]
struct StageFacts {
    stage: usize,
    start_beat: Beats,
    length_beats: Beats,
    start_seconds: f64,
    first_bar: i64,
    last_bar: i64,
    made: &'static str,
    on_cue: bool,
    words: String,
    notes_shown: usize,
    cycle_beats: Beats,
    unison: bool,
    alignments: Vec<usize>,
    copies: Vec<CopyFacts>,
    sounding: Sounding,
}

#[derive(Serialize)]
struct CopyFacts {
    copy: usize,
    doing: &'static str,
    from_steps: f64,
    to_steps: f64,
}

#[derive(Serialize)]
struct Sounding {
    name: String,
    pitch_classes: Vec<u8>,
}

impl<'a> Plan<'a> {
    fn of(piece: &Piece<'a>) -> Self {
        let (process, form) = (piece.process(), piece.form);
        let settings = process.settings();
        let voices = piece.performance.parts().map(|part| Voice {
            name: part.to_string(),
            octave: process.octave(part),
            own_cycle: own_cycle(process, part),
        });
        let modes = piece.modes.iter().map(|(from, mode)| InForce {
            from_beat: from - process.origin(),
            name: mode.name(),
            tonic: mode.tonic(),
            pitch_classes: members(mode.pitch_classes()),
        });
        let alignments = form.alignments.iter().map(|alignment| AlignmentFacts {
            offset_steps: alignment.offset,
            attacks: alignment.attacks,
            coincidences: alignment.doublings,
            interlocking: alignment.interlocks(),
        });
        let stages = form.stages.iter().enumerate();
        Self {
            schema: SCHEMA,
            title: piece.title,
            tempo: piece.tempo,
            tempi: piece.tempo_steps().into_iter().map(tempo).collect(),
            beats_per_bar: piece.beats_per_bar,
            origin: process.origin(),
            whole: piece.is_whole(),
            endless: form.endless,
            performed_until: piece
                .performance
                .until()
                .map(|until| until - process.origin()),
            lasts: Lasts {
                shortest_beats: form.totals.shortest,
                chosen_beats: form.totals.chosen,
                longest_beats: form.totals.longest,
                chosen_seconds: seconds(form.totals.chosen, piece),
            },
            phrase: PhraseFacts {
                step_beats: settings.step(),
                length_beats: process.phrase().length(),
                length_steps: process.phrase().length() / settings.step(),
                notes: process.phrase().notes().iter().map(note).collect(),
            },
            process: process_facts(piece),
            voices: voices.collect(),
            modes: modes.collect(),
            alignments: alignments.collect(),
            stages: stages
                .map(|(index, stage)| stage_facts(index, stage, piece))
                .collect(),
            route: RouteFacts::of(piece.route, process.route().is_written()),
        }
    }
}

fn own_cycle(process: &Process, part: Part) -> Option<OwnCycleFacts> {
    let own = process.voices().own_cycle(part.as_copy()?)?;
    Some(OwnCycleFacts {
        length_steps: own.length / process.settings().step(),
        together_after_beats: own.together,
        together_after_cycles: (own.together / process.phrase().length()).round(),
    })
}

fn tempo((from_beat, tempo): (Beats, f64)) -> TempoFacts {
    TempoFacts { from_beat, tempo }
}

fn note(note: &Note) -> NoteFacts {
    NoteFacts {
        onset_beats: note.onset,
        length_beats: note.length,
        key: note.key.number(),
        velocity: (note.velocity.value() * 127.0).round() as u8,
    }
}

fn process_facts(piece: &Piece) -> ProcessFacts {
    let settings = piece.process().settings();
    let (motion, growth) = (&settings.motion, &settings.growth);
    ProcessFacts {
        motion: motion.motion.noun(),
        copies_move: motion.copies_move.wording().in_text(),
        shift_by_steps: motion.shift_by,
        shifts: match motion.shifts {
            Shifts::Count(count) => Some(count),
            Shifts::Auto | Shifts::Endless => None,
        },
        dwell_cycles: motion.dwell,
        drift_cycles: motion.drift,
        entry_cycles: motion.entry,
        growth: growth.growth.wording().in_text(),
        growth_step_notes: growth.step,
        growth_every_cycles: growth.every,
    }
}

fn stage_facts(index: usize, stage: &Stage, piece: &Piece) -> StageFacts {
    let start = stage.span.start - piece.process().origin();
    let (first_bar, last_bar) = piece.first_and_last_bar(stage.span);
    let (sonority, name) = piece.sonority(stage.span);
    StageFacts {
        stage: index + 1,
        start_beat: start,
        length_beats: stage.span.length(),
        start_seconds: seconds(start, piece),
        first_bar,
        last_bar,
        made: match stage.made {
            Made::Generated => "generated",
            Made::Written => "written",
            Made::Performed => "performed",
        },
        on_cue: stage.on_cue,
        words: stage_words(stage, piece.process()),
        notes_shown: stage.shown,
        cycle_beats: stage.lap,
        unison: stage.is_unison(piece.form),
        alignments: places(stage, piece.form),
        copies: stage.copies.iter().enumerate().map(copy).collect(),
        sounding: Sounding {
            name,
            pitch_classes: members(sonority.pitch_classes),
        },
    }
}

fn copy((index, copy): (usize, &CopyStage)) -> CopyFacts {
    CopyFacts {
        copy: index + 1,
        doing: match copy.doing {
            Doing::Waiting => "waiting",
            Doing::Entering => "entering",
            Doing::Building => "building up",
            Doing::Locked => "locked",
            Doing::Drifting => "drifting",
        },
        from_steps: copy.from,
        to_steps: copy.to,
    }
}

fn members(set: PitchSet) -> Vec<u8> {
    set.iter().collect()
}

fn seconds(beats: Beats, piece: &Piece) -> f64 {
    piece.seconds(piece.process().origin() + beats)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::exchange::Unrolled;
    use crate::phrase::Phrase;
    use crate::settings::{CopiesMove, Motion, Resulting, Settings};
    use serde_json::{Value, json};

    fn ferry(adjust: impl FnOnce(&mut Settings)) -> Value {
        let phrase = Phrase::from_text("D4 F4 . A4 C5 E5", 0.25).unwrap();
        let mut settings = Settings::default();
        adjust(&mut settings);
        // From bar 5 on, at a beat a half second.
        let unrolled = Unrolled::new(Process::new(phrase, settings, 16.0), 120.0, 4.0);
        serde_json::from_str(&super::json(&unrolled.piece("Night \"ferry\""))).unwrap()
    }

    #[test]
    fn a_round_told_by_hand() {
        // A cycle is six sixteenths, 1.5 beats. Six dwells of 8 cycles, six drifts of 4, and the
        // dwell in which unison is held: 7 * 12 + 6 * 6 = 120 beats, a minute at this tempo.
        let plan = ferry(|_| ());
        assert_eq!(plan["schema"], 4);
        assert_eq!(plan["title"], "Night \"ferry\"");
        assert_eq!(plan["origin"], 16.0);
        assert_eq!(plan["lasts"]["chosen_beats"], 120.0);
        assert_eq!(plan["lasts"]["chosen_seconds"], 60.0);
        assert_eq!(plan["phrase"]["length_steps"], 6.0);
        assert_eq!(plan["phrase"]["notes"][2]["onset_beats"], 0.75);
        assert_eq!(plan["phrase"]["notes"][2]["key"], 69);
        assert_eq!(plan["stages"].as_array().map(Vec::len), Some(13));
    }

    /// 4 steps against 6: together after 12, 3 beats, 2 cycles of the steady voice.
    #[test]
    fn a_copy_in_a_cycle_of_its_own_is_told_with_when_it_is_together_again() {
        let plan = ferry(|settings| {
            settings.motion.copies = 2;
            settings.copies[0].length = Some(4);
        });
        let own = json!({
            "length_steps": 4.0, "together_after_beats": 3.0, "together_after_cycles": 2.0
        });
        assert_eq!(plan["voices"][1]["own_cycle"], own);
        assert!(plan["voices"][0].get("own_cycle").is_none());
        assert!(plan["voices"][2].get("own_cycle").is_none());
        // Only copy 2 stands among the alignments.
        assert_eq!(plan["stages"][0]["alignments"], json!([1]));
        assert_eq!(plan["stages"][0]["unison"], false);
    }

    #[test]
    fn the_second_stage_is_the_first_drift() {
        // After 12 beats, which end bar 3; it lasts 6 beats, into bar 5.
        let stage = &ferry(|_| ())["stages"][1];
        let told = [
            "start_beat",
            "length_beats",
            "start_seconds",
            "first_bar",
            "last_bar",
        ];
        assert_eq!(
            told.map(|field| stage[field].as_f64().unwrap()),
            [12.0, 6.0, 6.0, 4.0, 5.0]
        );
        assert_eq!(stage["words"], "copy 1 drifts to 1 step ahead");
        assert_eq!(
            stage["copies"],
            json!([{"copy": 1, "doing": "drifting", "from_steps": 0.0, "to_steps": 1.0}])
        );
        assert_eq!(stage["alignments"], json!([]));
    }

    #[test]
    fn at_one_step_the_gap_is_filled_and_four_notes_meet() {
        // x x . x x x against x . x x x x: all six steps are struck, four of them by both.
        let plan = ferry(|_| ());
        let stage = &plan["stages"][2];
        assert_eq!(stage["alignments"], json!([2]));
        let alignment = &plan["alignments"][1];
        assert_eq!(alignment["attacks"], 6);
        assert_eq!(alignment["coincidences"], 4);
        assert_eq!(alignment["interlocking"], false);
        // D F A C E.
        assert_eq!(stage["sounding"]["pitch_classes"], json!([0, 2, 4, 5, 9]));
    }

    #[test]
    fn what_is_set_is_told_in_the_words_of_the_plug_in() {
        let plan = ferry(|settings| {
            settings.motion.motion = Motion::BuildUp;
            settings.motion.copies = 2;
            settings.motion.copies_move = CopiesMove::InTurn;
            settings.motion.shifts = Shifts::Count(3);
            settings.copies[1].octave = -1;
            settings.resulting.which = Resulting::Top;
            settings.resulting.octave = 1;
        });
        assert_eq!(plan["process"]["motion"], "build-up");
        assert_eq!(plan["process"]["copies_move"], "in turn");
        assert_eq!(plan["process"]["shifts"], 3);
        assert_eq!(plan["voices"][2], json!({"name": "Copy 2", "octave": -1}));
        let line = json!({"name": "Resulting line", "octave": 1});
        assert_eq!(plan["voices"][3], line);
    }

    #[test]
    fn one_round_of_an_endless_process_says_that_it_goes_on() {
        let plan = ferry(|settings| settings.motion.shifts = Shifts::Endless);
        assert_eq!(plan["endless"], true);
        assert_eq!(plan["process"]["shifts"], Value::Null);
    }

    #[test]
    fn the_schema_beside_it_is_of_the_same_version() {
        let schema: Value = serde_json::from_str(include_str!("../plan.schema.json")).unwrap();
        assert_eq!(schema["properties"]["schema"]["const"], SCHEMA);
    }
}
