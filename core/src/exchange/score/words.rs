//! What stands above the bars, in words.

use super::sheet::{Passage, builds, is_compound};
use super::{Layout, Score, Transposition};
use crate::form::{CopyStage, Doing};
use crate::part::{CopyNumber, Part};
use crate::settings::{Grid, Growth, Resulting};

/// The name of a part where there is little room.
pub(super) fn abbreviation(part: Part) -> String {
    match part {
        Part::Steady => "St.".to_owned(),
        Part::Copy(copy) => format!("C. {}", copy.number()),
        Part::ResultingLine => "Res.".to_owned(),
    }
}

/// How often a passage is played: "play 12-24x (16)", the chosen number last.
fn plays(passage: &Passage, score: &Score) -> Option<String> {
    let chosen = passage.plays;
    match passage.customary_plays(score) {
        _ if chosen < 2 => None,
        Some((fewest, most)) if fewest < most => Some(format!("play {fewest}-{most}x ({chosen})")),
        _ => Some(format!("play {chosen}x")),
    }
}

/// What stands above a part as a passage begins.
#[derive(Debug, Default, PartialEq, Eq)]
pub(super) struct Words {
    pub words: Vec<String>,
    /// Whether a dashed line goes from the last of them to the end of the drift.
    pub dashes: bool,
}

/// What is said once, before the first bar of a part.
pub(super) fn opening(part: Part, score: &Score) -> Vec<String> {
    let sounds = match score.transposition(part) {
        Transposition::AtPitch | Transposition::Unpitched => None,
        Transposition::OctaveUp => Some("sounds an octave higher"),
        Transposition::TwoOctavesUp => Some("sounds two octaves higher"),
    };
    let takes = match score.piece.process().settings().resulting.which {
        _ if part != Part::ResultingLine => None,
        Resulting::Off => None,
        Resulting::Top => Some("the top of all parts"),
        Resulting::Bottom => Some("the bottom of all parts"),
        Resulting::Together => Some("the coincidences\nof all parts"),
    };
    [sounds, takes]
        .into_iter()
        .flatten()
        .map(str::to_owned)
        .collect()
}

/// What everybody is told, as a passage begins: mode, repeats, and whether it goes on.
pub(super) fn for_all(
    passage: &Passage,
    before: Option<&Passage>,
    is_last: bool,
    score: &Score,
) -> Vec<String> {
    let now = &passage.tonality;
    let then = before.map(|before| &before.tonality);
    let mode = then
        .is_none_or(|then| then.mode != now.mode)
        .then(|| now.name());
    let turns = then.is_none_or(|then| then.towards != now.towards);
    let turning = now.turning().filter(|_| turns);
    let goes_on = is_last && score.piece.form.endless;
    let goes_on = goes_on.then(|| "and so on".to_owned());
    let stage = &score.piece.form.stages[passage.stage];
    let on_cue = (passage.begins && stage.on_cue).then(|| "on cue".to_owned());
    let is_over = before.is_some_and(|before| before.performed) && !passage.performed;
    let is_over = is_over.then(|| {
        let then = score.piece.goes_on_words();
        format!("performed up to here,\n{then}")
    });
    [
        is_over,
        on_cue,
        mode,
        turning,
        plays(passage, score),
        goes_on,
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// What the steady part is told.
pub(super) fn steady(passage: &Passage, before: Option<&Passage>, score: &Score) -> Words {
    let mut words = hold(passage, before);
    let stage = &score.piece.form.stages[passage.stage];
    let process = score.piece.performance.at(stage.span.start);
    let growth = process.settings().growth.growth;
    if passage.begins && growth != Growth::Off && builds(stage, score) {
        let all = process.phrase().notes().len();
        words.push(format!("{} of {all} notes", stage.shown));
    }
    Words {
        words,
        dashes: false,
    }
}

/// What the resulting line is told: when within a repeat it enters, and when it leaves.
pub(super) fn resulting(passage: &Passage) -> Words {
    let plays = passage.line_plays.filter(|_| passage.is_line_partial());
    let words = plays.map(|(first, last)| enters_and_leaves(first, last, passage.plays));
    Words {
        words: words.into_iter().collect(),
        dashes: false,
    }
}

/// "enters after the 1st time,\nleaves before the last"
fn enters_and_leaves(first: u32, last: u32, plays: u32) -> String {
    if first == last {
        return match first {
            first if first == plays => "only the last time".to_owned(),
            first => format!("only the {} time", ordinal(first)),
        };
    }
    let enters = (first > 1).then(|| format!("enters after the {} time", ordinal(first - 1)));
    let leaves = match plays - last {
        0 => None,
        1 if enters.is_some() => Some("leaves before the last".to_owned()),
        1 => Some("leaves before the last time".to_owned()),
        _ => Some(format!("leaves after the {} time", ordinal(last))),
    };
    let both: Vec<String> = [enters, leaves].into_iter().flatten().collect();
    both.join(",\n")
}

/// 1st, 2nd, 3rd, 4th ... 11th ... 21st
fn ordinal(number: u32) -> String {
    let ending = match (number % 10, number % 100) {
        (_, 11..=13) => "th",
        (1, _) => "st",
        (2, _) => "nd",
        (3, _) => "rd",
        _ => "th",
    };
    format!("{number}{ending}")
}

/// For whoever does not drift, as somebody begins to.
fn hold(passage: &Passage, before: Option<&Passage>) -> Vec<String> {
    let drifted = before.is_some_and(Passage::is_drift);
    let holds = passage.is_drift() && !drifted;
    holds.then(|| "hold tempo".to_owned()).into_iter().collect()
}

/// What a copy is told.
pub(super) fn moving(
    copy: CopyNumber,
    passage: &Passage,
    before: Option<&Passage>,
    score: &Score,
) -> Words {
    let mut told = Words::default();
    if !passage.begins {
        return told;
    }
    let now = score.piece.form.stages[passage.stage].copies[copy.index()];
    let then = before.map(|before| score.piece.form.stages[before.stage].copies[copy.index()]);
    let was = then.map_or(Doing::Waiting, |then| then.doing);
    if was == Doing::Waiting && now.doing != Doing::Waiting {
        told.words.push(match score.layout {
            Layout::OwnBeatOne if now.cycle.is_none() => "counts its own beat one".to_owned(),
            _ => "written against the\nsteady part's beat one".to_owned(),
        });
        let cycle = now.cycle.map(|steps| distance(steps, score));
        told.words
            .extend(cycle.map(|cycle| format!("round in {cycle}")));
    }
    let place = place(&now, score);
    let words = match now.doing {
        Doing::Waiting => None,
        Doing::Drifting if was == Doing::Drifting => None,
        Doing::Drifting => {
            told.dashes = true;
            Some(drift(&now, passage, score))
        }
        Doing::Building => Some(format!("silent, then build up again,\n{place}")),
        Doing::Entering if was == Doing::Waiting && copies_grow(passage, score) => {
            Some(format!("enter, note by note: {place}"))
        }
        _ if was == Doing::Waiting => Some(format!("enter: {place}")),
        Doing::Locked if was != Doing::Locked || then.is_some_and(|then| then.to != now.to) => {
            Some(if was == Doing::Locked {
                format!("jump: {place}")
            } else {
                place
            })
        }
        Doing::Locked | Doing::Entering => {
            told.words.extend(hold(passage, before));
            None
        }
    };
    told.words.extend(words);
    if score.layout == Layout::OwnBeatOne
        && now.cycle.is_none()
        && then.is_none_or(|then| then.to != now.to || was == Doing::Drifting)
        && matches!(now.doing, Doing::Locked | Doing::Building | Doing::Entering)
    {
        told.words.extend(own_bar(now.to, score));
    }
    told
}

fn copies_grow(passage: &Passage, score: &Score) -> bool {
    let process = score.piece.performance.at(passage.at);
    process.settings().growth.copies_grow
}

/// "drift ahead over 4 cycles, to 3 sixteenths ahead", in two lines: the bar may be short.
fn drift(copy: &CopyStage, passage: &Passage, score: &Score) -> String {
    let stage = &score.piece.form.stages[passage.stage];
    let cycles = (stage.span.length() / stage.lap).round();
    let way = if copy.to > copy.from { "ahead" } else { "back" };
    let unit = if cycles == 1.0 { "cycle" } else { "cycles" };
    format!(
        "drift {way} over {cycles} {unit},\nto {}",
        place(copy, score)
    )
}

/// Where a copy is in the end: "3 sixteenths ahead", "1 eighth behind", "unison". In a cycle of its own
/// it is level at most, and in unison never for long.
fn place(copy: &CopyStage, score: &Score) -> String {
    let steps = copy.to;
    if copy.cycle.is_some() && steps == 0.0 {
        return "level".to_owned();
    }
    if copy.cycle.is_none() && score.piece.form.is_whole_rotation(steps) {
        return "unison".to_owned();
    }
    let side = if steps > 0.0 { "ahead" } else { "behind" };
    format!("{} {side}", distance(steps, score))
}

fn distance(steps: f64, score: &Score) -> String {
    let steps = steps.abs();
    let plural = if steps == 1.0 { "" } else { "s" };
    // Where the beat is written as a dotted quarter, its thirds are plain eighths.
    let unit = match score.piece.process().settings().capture.grid {
        Grid::Quarter => "quarter",
        Grid::Eighth => "eighth",
        Grid::EighthTriplet if is_compound(score) => "eighth",
        Grid::EighthTriplet => "triplet eighth",
        Grid::Sixteenth => "sixteenth",
        Grid::SixteenthTriplet if is_compound(score) => "sixteenth",
        Grid::SixteenthTriplet => "triplet sixteenth",
        Grid::ThirtySecond => "thirty-second",
    };
    format!("{steps} {unit}{plural}")
}

/// Where the part's own bar falls.
fn own_bar(steps: f64, score: &Score) -> Option<String> {
    if score.piece.form.is_whole_rotation(steps) {
        return None;
    }
    let side = if steps > 0.0 { "before" } else { "after" };
    Some(format!(
        "beat one is {}\n{side} the steady part's",
        distance(steps, score)
    ))
}

/// Rehearsal letters: A to Z, then AA to ZZ, then AAA.
pub(super) fn rehearsal_letter(index: usize) -> String {
    let letter = char::from(b'A' + (index % 26) as u8);
    letter.to_string().repeat(1 + index / 26)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn letters_double_after_z() {
        let letters = [0, 1, 25, 26, 27, 52].map(rehearsal_letter);
        assert_eq!(letters, ["A", "B", "Z", "AA", "BB", "AAA"]);
    }
}
