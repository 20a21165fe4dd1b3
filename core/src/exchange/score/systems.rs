//! Systems: which bars stand side by side. A letter and the drift after it stay together.

use super::lines::lines;
use super::metre::Metre;
use super::sheet::{Passage, Sheet};
use super::values::written;

/// Notes and rests that a system holds readably, room for a bar line counted as four.
const ROOM: usize = 46;
const BAR_LINE: usize = 4;

/// What a bar takes at least, for the words above it.
const LEAST: usize = 11;

/// For each bar of each passage, whether it begins a system; `bars` are those of a passage.
pub(super) fn system_starts(
    sheet: &Sheet,
    bars: impl Fn(&Passage) -> Vec<Metre>,
) -> Vec<Vec<bool>> {
    let rooms: Vec<Vec<usize>> = sheet
        .passages
        .iter()
        .map(|passage| rooms(passage, &bars(passage), sheet.compound))
        .collect();
    let mut taken = 0;
    let mut starts = Vec::new();
    for (index, passage) in sheet.passages.iter().enumerate() {
        let together = if passage.is_drift() {
            0
        } else {
            let drifts = sheet.passages[index + 1..]
                .iter()
                .take_while(|passage| passage.is_drift())
                .count();
            rooms[index..=index + drifts].iter().flatten().sum()
        };
        let mut begins = taken > 0 && together <= ROOM && taken + together > ROOM;
        let of_bars = rooms[index].iter().map(|room| {
            let is_start = std::mem::take(&mut begins) || (taken > 0 && taken + room > ROOM);
            taken = if is_start { *room } else { taken + room };
            is_start
        });
        starts.push(of_bars.collect());
    }
    starts
}

/// What each bar takes.
fn rooms(passage: &Passage, bars: &[Metre], compound: bool) -> Vec<usize> {
    let parts: Vec<_> = passage
        .parts
        .iter()
        .map(|part| lines(part, passage.length, compound))
        .collect();
    let mut from = 0;
    bars.iter()
        .map(|metre| {
            let symbols = |line: &Vec<_>| written(line, from, metre).len();
            let fullest = parts.iter().flatten().map(symbols).max();
            from += metre.length;
            BAR_LINE + fullest.unwrap_or(1).max(LEAST)
        })
        .collect()
}
