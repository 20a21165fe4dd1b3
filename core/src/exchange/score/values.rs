//! Note values: a line of chords within a bar, cut into values that show the beat, with ties
//! where a chord takes several.

use super::lines::Chord;
use super::metre::{DOTTED_QUARTER, Metre, QUARTER};
use super::sheet::nearest_multiple;
use crate::note::Key;

/// A notehead (or several), or a rest.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Written {
    /// Written ticks after the bar line.
    pub start: i64,
    /// Written ticks.
    pub length: i64,
    pub value: Value,
    /// None is a rest.
    pub keys: Vec<Key>,
    pub tied_from: bool,
    pub tied_to: bool,
    /// Sounds on over the repeat.
    pub rings: bool,
    pub tuplet: Option<Tuplet>,
    /// Which beat of the bar it begins in.
    pub beat: usize,
}

/// A note value by its written length: 960 is a quarter, 1440 a dotted one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Value(i64);

impl Value {
    /// Its name in the format.
    pub fn name(self) -> &'static str {
        match self.0 {
            3840.. => "whole",
            1920.. => "half",
            960.. => "quarter",
            480.. => "eighth",
            240.. => "16th",
            _ => "32nd",
        }
    }

    pub fn is_dotted(self) -> bool {
        self.0 % 9 == 0
    }

    /// How many beams or flags it has.
    pub fn flags(self) -> usize {
        match self.0 {
            960.. => 0,
            480.. => 1,
            240.. => 2,
            _ => 3,
        }
    }
}

/// A beat's worth of notes in the time of a power of two of them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Tuplet {
    pub actual: i64,
    pub normal: i64,
    /// The value that is counted.
    pub of: Value,
    pub starts: bool,
    pub stops: bool,
}

const EIGHTH: i64 = 480;
/// A thirty-second, in written ticks.
pub(super) const THIRTY_SECOND: i64 = 120;
const TRIPLET_SIXTEENTH: i64 = 160;

/// What is written in the bar that begins `from` written ticks into the line's passage.
pub(super) fn written(line: &[Chord], from: i64, metre: &Metre) -> Vec<Written> {
    let beats = metre.beats();
    let mut chords = chords_in(line, from, metre.length);
    let divisions: Vec<Division> = beats.iter().map(|b| Division::of(&chords, *b)).collect();
    settle(&mut chords, &beats, &divisions);
    let mut bar = Vec::new();
    for event in with_rests(chords, metre.length) {
        write_event(&event, &beats, &divisions, metre.compound, &mut bar);
    }
    mark_tuplets(&mut bar);
    bar
}

/// A chord or a rest, from bar line to bar line at most.
struct Event {
    start: i64,
    end: i64,
    keys: Vec<Key>,
    tied_from: bool,
    tied_to: bool,
    rings: bool,
}

impl Event {
    fn rest(start: i64, end: i64) -> Self {
        Self {
            start,
            end,
            keys: Vec::new(),
            tied_from: false,
            tied_to: false,
            rings: false,
        }
    }
}

fn chords_in(line: &[Chord], from: i64, length: i64) -> Vec<Event> {
    let inside = line
        .iter()
        .filter(|chord| chord.start < from + length && chord.end > from);
    inside
        .map(|chord| {
            let tied_to = chord.end > from + length;
            Event {
                start: (chord.start - from).max(0),
                end: (chord.end - from).min(length),
                keys: chord.keys.clone(),
                tied_from: chord.start < from,
                tied_to,
                rings: chord.rings && !tied_to,
            }
        })
        .collect()
}

fn with_rests(chords: Vec<Event>, length: i64) -> Vec<Event> {
    let mut events = Vec::new();
    let mut now = 0;
    for chord in chords {
        if chord.start > now {
            events.push(Event::rest(now, chord.start));
        }
        now = chord.end;
        events.push(chord);
    }
    if now < length {
        events.push(Event::rest(now, length));
    }
    events
}

/// How a beat is divided.
#[derive(Clone, Copy)]
struct Division {
    /// Where notes begin.
    onsets: i64,
    /// Where they end, unless another begins there.
    ends: i64,
}

impl Division {
    const BY_TWO: Self = Self {
        onsets: THIRTY_SECOND,
        ends: THIRTY_SECOND,
    };
    const BY_THREE: Self = Self {
        onsets: TRIPLET_SIXTEENTH,
        ends: TRIPLET_SIXTEENTH,
    };

    /// By two if that serves for all that happens in the beat, else by three, if the beat is a
    /// whole quarter. Where neither does, onsets are kept and ends give way.
    fn of(chords: &[Event], (start, end): (i64, i64)) -> Self {
        let inside = |at: &i64| (1..end - start).contains(at);
        let onsets = || chords.iter().map(|c| c.start - start).filter(inside);
        let ends = || chords.iter().map(|c| c.end - start).filter(inside);
        let on = |unit: i64| move |at: i64| at % unit == 0;
        let is_quarter = end - start == QUARTER;
        match () {
            () if onsets().chain(ends()).all(on(THIRTY_SECOND)) => Self::BY_TWO,
            () if is_quarter && onsets().chain(ends()).all(on(TRIPLET_SIXTEENTH)) => Self::BY_THREE,
            () if onsets().all(on(THIRTY_SECOND)) => Self {
                ends: 2 * THIRTY_SECOND,
                ..Self::BY_TWO
            },
            () if is_quarter && onsets().all(on(TRIPLET_SIXTEENTH)) => Self::BY_THREE,
            () if is_quarter && onsets().all(on(TRIPLET_SIXTEENTH / 2)) => Self {
                onsets: TRIPLET_SIXTEENTH / 2,
                ends: TRIPLET_SIXTEENTH / 2,
            },
            () => Self::BY_TWO,
        }
    }

    fn is_by_three(&self) -> bool {
        self.onsets % THIRTY_SECOND != 0
    }
}

/// Puts what lies off its beat's division on the nearest place of it. No note is lost: one that
/// would end where it begins lasts as little as can be, or is struck with the next.
fn settle(chords: &mut Vec<Event>, beats: &[(i64, i64)], divisions: &[Division]) {
    let place = |at: i64, unit: i64| {
        let (start, end) = beats[beat_of(beats, at)];
        (start + nearest_multiple(at - start, unit)).min(end)
    };
    let division = |at: i64| divisions[beat_of(beats, at)];
    let bar_end = beats.last().map_or(0, |beat| beat.1);
    let onset = |at: i64| {
        let unit = division(at).onsets;
        place(at, unit).min(bar_end - unit)
    };
    let onsets: Vec<i64> = chords.iter().map(|chord| chord.start).collect();
    for (index, chord) in chords.iter_mut().enumerate() {
        let shortest = division(chord.start).onsets;
        let next = onsets.get(index + 1).map(|next| (*next, onset(*next)));
        chord.start = onset(chord.start);
        chord.end = match next {
            Some((before, settled)) if before == chord.end => settled,
            _ => {
                let end = place(chord.end, division(chord.end).ends);
                let latest = next.map_or(bar_end, |(_, settled)| settled);
                end.max(chord.start + shortest).min(latest)
            }
        };
    }
    for index in (1..chords.len()).rev() {
        if chords[index - 1].end <= chords[index - 1].start {
            let keys = std::mem::take(&mut chords[index - 1].keys);
            chords[index].keys.extend(keys);
            chords[index].keys.sort_unstable();
            chords[index].keys.dedup();
        }
    }
    chords.retain(|chord| chord.end > chord.start);
}

fn beat_of(beats: &[(i64, i64)], at: i64) -> usize {
    let after = beats.partition_point(|(start, _)| *start <= at);
    after.max(1) - 1
}

fn write_event(
    event: &Event,
    beats: &[(i64, i64)],
    divisions: &[Division],
    compound: bool,
    bar: &mut Vec<Written>,
) {
    let first = bar.len();
    let mut now = event.start;
    while now < event.end {
        let beat = beat_of(beats, now);
        let whole = whole_beats(event, now, beats, compound);
        let is_dotted = compound || beats[beat].1 - beats[beat].0 == DOTTED_QUARTER;
        let end = if whole > 0 {
            beats[beat + whole - 1].1
        } else {
            event.end.min(beats[beat].1)
        };
        // A whole beat is written plainly, also where it could be divided by three.
        let triplets = whole == 0 && divisions[beat].is_by_three();
        let scale = |ticks: i64| if triplets { ticks * 3 / 2 } else { ticks };
        let local = scale(now - beats[beat].0)..scale(end - beats[beat].0);
        let values = if whole > 0 {
            vec![local.end - local.start]
        } else {
            values_within(
                local.start,
                local.end,
                event.keys.is_empty(),
                is_dotted || triplets,
            )
        };
        for value in values {
            let length = if triplets { value * 2 / 3 } else { value };
            bar.push(Written {
                start: now,
                length,
                value: Value(value),
                keys: event.keys.clone(),
                tied_from: true,
                tied_to: true,
                rings: false,
                tuplet: triplets.then_some(Tuplet {
                    actual: 3,
                    normal: 2,
                    of: Value(EIGHTH),
                    starts: false,
                    stops: false,
                }),
                beat,
            });
            now += length;
        }
    }
    let is_rest = event.keys.is_empty();
    let pieces = &mut bar[first..];
    if is_rest {
        pieces.iter_mut().for_each(|piece| {
            piece.tied_from = false;
            piece.tied_to = false;
        });
    } else if let [one] = pieces {
        (one.tied_from, one.tied_to) = (event.tied_from, event.tied_to);
        one.rings = event.rings;
    } else if let [first, .., last] = pieces {
        first.tied_from = event.tied_from;
        last.tied_to = event.tied_to;
        last.rings = event.rings;
    }
}

/// How many whole beats from `now` on one value can stand for; 0 if it is not a whole one.
fn whole_beats(event: &Event, now: i64, beats: &[(i64, i64)], compound: bool) -> usize {
    let beat = beat_of(beats, now);
    let is_dotted = compound || beats[beat].1 - beats[beat].0 == DOTTED_QUARTER;
    let full = if is_dotted { DOTTED_QUARTER } else { QUARTER };
    let covered = beats[beat..]
        .iter()
        .take_while(|(start, end)| *end <= event.end && end - start == full)
        .count();
    if now != beats[beat].0 || covered == 0 {
        return 0;
    }
    let is_rest = event.keys.is_empty();
    let counts: &[usize] = if is_dotted { &[4, 2, 1] } else { &[4, 3, 2, 1] };
    let allowed = |count: &usize| match *count {
        1 => true,
        // A rest shows where the bar's halves are.
        2 => !is_rest || (beat.is_multiple_of(2) && beats.len().is_multiple_of(2)),
        3 => !is_rest && covered == 3,
        count => beat.is_multiple_of(count),
    };
    let fits = |count: &usize| *count <= covered && allowed(count);
    counts.iter().copied().find(fits).unwrap_or(1)
}

/// Cuts a stretch of a beat into values, at its strongest places.
fn values_within(start: i64, end: i64, is_rest: bool, by_three: bool) -> Vec<i64> {
    if end <= start {
        return Vec::new();
    }
    if is_one_value(start, end - start, is_rest, by_three) {
        return vec![end - start];
    }
    let Some(cut) = strongest_place(start, end) else {
        return vec![end - start];
    };
    let mut values = values_within(start, cut, is_rest, by_three);
    values.extend(values_within(cut, end, is_rest, by_three));
    values
}

/// Whether a value may stand at that place of a beat without hiding how the beat is divided.
fn is_one_value(at: i64, length: i64, is_rest: bool, by_three: bool) -> bool {
    match length {
        DOTTED_QUARTER => by_three,
        QUARTER => by_three && at % EIGHTH == 0 && (!is_rest || at == 0),
        EIGHTH | 240 | THIRTY_SECOND => at % if is_rest { length } else { length / 2 } == 0,
        720 => {
            !is_rest && (at == 0 || at + length == if by_three { DOTTED_QUARTER } else { QUARTER })
        }
        360 => !is_rest && (at % EIGHTH == 0 || (at + length) % EIGHTH == 0),
        _ => false,
    }
}

fn strongest_place(start: i64, end: i64) -> Option<i64> {
    [EIGHTH, 240, THIRTY_SECOND].into_iter().find_map(|unit| {
        let first = (start / unit + 1) * unit;
        let last = (end - 1) / unit * unit;
        let place = if start % unit == 0 { last } else { first };
        (start < place && place < end).then_some(place)
    })
}

/// The first and last of each beat's tuplet, and the value it counts.
fn mark_tuplets(bar: &mut [Written]) {
    for beat in bar.chunk_by_mut(|a, b| a.beat == b.beat) {
        let shortest = beat
            .iter()
            .filter(|written| written.tuplet.is_some())
            .map(|written| written.value.flags())
            .max();
        let (actual, normal, of) = match shortest {
            None => continue,
            Some(0 | 1) => (3, 2, EIGHTH),
            Some(2) => (6, 4, 240),
            Some(_) => (12, 8, THIRTY_SECOND),
        };
        let last = beat.len() - 1;
        for (index, written) in beat.iter_mut().enumerate() {
            written.tuplet = written.tuplet.map(|_| Tuplet {
                actual,
                normal,
                of: Value(of),
                starts: index == 0,
                stops: index == last,
            });
        }
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    /// Middle C from each start to its end, in written ticks.
    pub fn line(chords: &[(i64, i64)]) -> Vec<Chord> {
        let chord = |(start, end): &(i64, i64)| Chord {
            start: *start,
            end: *end,
            keys: Key::new(60).into_iter().collect(),
            rings: false,
        };
        chords.iter().map(chord).collect()
    }

    /// The values of a bar of 4/4 as text: a tie is `~`, a rest in brackets.
    fn bar(chords: &[(i64, i64)]) -> String {
        let line = line(chords);
        let metre = Metre {
            length: 3840,
            compound: false,
            unit: 4,
            of: None,
        };
        let word = |w: &Written| {
            let dot = if w.value.is_dotted() { "." } else { "" };
            let name = format!("{}{dot}", w.value.name());
            let three = if w.tuplet.is_some() { "/3" } else { "" };
            match (w.keys.is_empty(), w.tied_to) {
                (true, _) => format!("({name}{three})"),
                (_, true) => format!("{name}{three}~"),
                _ => format!("{name}{three}"),
            }
        };
        let words: Vec<_> = written(&line, 0, &metre).iter().map(word).collect();
        words.join(" ")
    }

    #[test]
    fn a_note_across_a_beat_is_tied_there() {
        assert_eq!(
            bar(&[(720, 1200)]),
            "(eighth) (16th) 16th~ 16th (eighth.) (half)".replace("(eighth.)", "(16th) (eighth)")
        );
    }

    #[test]
    fn a_syncopation_within_a_beat_is_one_value() {
        assert_eq!(
            bar(&[(0, 240), (240, 720), (720, 960)]),
            "16th eighth 16th (quarter) (half)"
        );
    }

    #[test]
    fn whole_beats_are_one_value() {
        assert_eq!(bar(&[(0, 3840)]), "whole");
        assert_eq!(bar(&[(0, 2880)]), "half. (quarter)");
        assert_eq!(bar(&[(960, 2880)]), "(quarter) half (quarter)");
        assert_eq!(bar(&[(0, 720)]), "eighth. (16th) (quarter) (half)");
    }

    #[test]
    fn where_a_third_ends_among_sixteenths_it_gives_way_to_them() {
        assert_eq!(
            bar(&[(640, 960), (960, 1120), (1200, 1440)]),
            "(quarter/3) eighth/3 16th 16th (eighth) (half)"
        );
    }

    #[test]
    fn thirds_of_a_beat_are_triplets() {
        assert_eq!(
            bar(&[(0, 320), (640, 960)]),
            "eighth/3 (eighth/3) eighth/3 (quarter) (half)"
        );
        assert_eq!(
            bar(&[(640, 1600)]),
            "(quarter/3) eighth/3~ quarter/3 (eighth/3) (half)"
        );
    }
}
