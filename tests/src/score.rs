//! Scores as text: what is written against what was heard.
//!
//! One word a step: a note (`D4`, `F#4`), several at once (`D4+F4`), a rest (`.`), a dash that
//! holds what came before. Bar lines are free in what is written; what is printed has them every
//! four steps or as told by [`Line::in_bars_of`].

use crate::heard::HeardNote;
use procession_core::phrase::Phrase;

/// Part of a step by which an onset may miss its place and still count as in time; a test that
/// wants it to the frame compares frames.
const IN_TIME: f64 = 0.02;

/// The notes of one channel or of all, on an axis of beats.
#[derive(Clone, Debug)]
pub struct Line {
    name: String,
    notes: Vec<HeardNote>,
    axis: Axis,
    from: f64,
    to: f64,
    steps_a_bar: usize,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Axis {
    Song,
    Passed,
}

/// A note on paper, in beats.
#[derive(Clone, Debug, PartialEq)]
struct Written {
    onset: f64,
    length: f64,
    key: u16,
}

impl Line {
    pub(crate) fn new(name: String, notes: Vec<HeardNote>) -> Self {
        Self {
            name,
            notes,
            axis: Axis::Song,
            from: 0.0,
            to: f64::INFINITY,
            steps_a_bar: 4,
        }
    }

    /// By beats passed since the session began instead of song position: for loops, and for a
    /// transport that stands.
    pub fn as_time_passed(self) -> Self {
        Self {
            axis: Axis::Passed,
            ..self
        }
    }

    /// Only what starts from beat `from` on and before beat `to`; a score begins at `from`.
    pub fn between(self, from: f64, to: f64) -> Self {
        Self { from, to, ..self }
    }

    /// Prints so many steps to a bar.
    pub fn in_bars_of(self, steps: usize) -> Self {
        Self {
            steps_a_bar: steps.max(1),
            ..self
        }
    }

    /// The notes, in order of their start.
    pub fn notes(&self) -> Vec<HeardNote> {
        let slack = 1e-6;
        let inside = |note: &&HeardNote| {
            let onset = self.beats(note);
            onset >= self.from - slack && onset < self.to - slack
        };
        self.notes.iter().filter(inside).copied().collect()
    }

    /// Onsets in beats, counted from the start of the score.
    pub fn onsets(&self) -> Vec<f64> {
        let notes = self.notes();
        notes
            .iter()
            .map(|note| self.beats(note) - self.from)
            .collect()
    }

    /// Keys in order of their start.
    pub fn keys(&self) -> Vec<u16> {
        self.notes().iter().map(|note| note.key).collect()
    }

    fn beats(&self, note: &HeardNote) -> f64 {
        match self.axis {
            Axis::Song => note.start.beats,
            Axis::Passed => note.start.passed,
        }
    }

    /// Fails unless onsets, keys and lengths are as written, one word a step of `step` beats.
    ///
    /// # Panics
    /// Prints both, bar by bar, with the bars marked that differ. Also if `score` cannot be read.
    #[track_caller]
    pub fn assert_sounds(&self, step: f64, score: &str) {
        self.compare(step, score, Counts::Lengths);
    }

    /// As [`Line::assert_sounds`], whatever the lengths are.
    ///
    /// # Panics
    /// As [`Line::assert_sounds`].
    #[track_caller]
    pub fn assert_attacks(&self, step: f64, score: &str) {
        self.compare(step, score, Counts::Attacks);
    }

    /// What was heard, as text.
    pub fn to_text(&self, step: f64) -> String {
        let cells = cells(&self.heard(), step, 0);
        bars(&cells, self.steps_a_bar, &widths(&[&cells])).join("\n")
    }

    #[track_caller]
    fn compare(&self, step: f64, score: &str, counts: Counts) {
        let (written, length) = match read(score, step) {
            Ok(read) => read,
            Err(message) => panic!("this score cannot be read: {message}\n{score}"),
        };
        let heard = self.heard();
        if agree(&written, &heard, step, counts) {
            return;
        }
        let steps = (length / step).round() as usize;
        let written = cells(&written, step, steps);
        let heard = cells(&heard, step, steps);
        panic!(
            "{} does not sound as written (a word is {step} beats, from beat {})\n{}",
            self.name,
            self.from,
            side_by_side(&written, &heard, self.steps_a_bar)
        );
    }

    fn heard(&self) -> Vec<Written> {
        let mut heard: Vec<_> = self
            .notes()
            .iter()
            .map(|note| self.on_paper(note))
            .collect();
        heard.sort_by(|a, b| a.onset.total_cmp(&b.onset).then(a.key.cmp(&b.key)));
        heard
    }

    fn on_paper(&self, note: &HeardNote) -> Written {
        Written {
            onset: self.beats(note) - self.from,
            length: note
                .end
                .map_or(f64::INFINITY, |end| end.passed - note.start.passed),
            key: note.key,
        }
    }
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Counts {
    Attacks,
    Lengths,
}

fn read(score: &str, step: f64) -> Result<(Vec<Written>, f64), String> {
    let phrase = Phrase::from_text(score, step).map_err(|error| error.to_string())?;
    let notes = phrase.notes().iter().map(|note| Written {
        onset: note.onset,
        length: note.length,
        key: u16::from(note.key.number()),
    });
    Ok((notes.collect(), phrase.length()))
}

/// Whether the same notes stand in both; notes struck together may come in any order.
fn agree(written: &[Written], heard: &[Written], step: f64, counts: Counts) -> bool {
    let near = |a: f64, b: f64| (a - b).abs() <= IN_TIME * step;
    let mut unmatched: Vec<_> = heard.iter().collect();
    let all_found = written.iter().all(|note| {
        let place = unmatched.iter().position(|other| {
            note.key == other.key
                && near(note.onset, other.onset)
                && (counts == Counts::Attacks || near(note.length, other.length))
        });
        place.map(|place| unmatched.swap_remove(place)).is_some()
    });
    all_found && unmatched.is_empty()
}

/// One word a step. An onset off its step is written with where it stands, as `D4@0.13`, in
/// steps after the one before it.
fn cells(notes: &[Written], step: f64, at_least: usize) -> Vec<String> {
    let last = notes
        .iter()
        .map(|note| note.onset / step)
        .fold(0.0, f64::max);
    let steps = at_least.max(if notes.is_empty() {
        0
    } else {
        last.floor() as usize + 1
    });
    (0..steps)
        .map(|index| cell(notes, step, index as f64))
        .collect()
}

fn cell(notes: &[Written], step: f64, index: f64) -> String {
    let place = |note: &Written| note.onset / step - index;
    let starts = |note: &&Written| (-IN_TIME..1.0 - IN_TIME).contains(&place(note));
    let struck: Vec<_> = notes
        .iter()
        .filter(starts)
        .map(|note| match place(note) {
            at if at.abs() <= IN_TIME => key_name(note.key),
            at => format!("{}@{at:.2}", key_name(note.key)),
        })
        .collect();
    let holds =
        |note: &Written| place(note) < 0.0 && (note.onset + note.length) / step > index + IN_TIME;
    match (struck.is_empty(), notes.iter().any(holds)) {
        (false, _) => struck.join("+"),
        (true, true) => "-".to_owned(),
        (true, false) => ".".to_owned(),
    }
}

/// The name of a key, as scores have it: 60 is C4.
pub fn key_name(key: u16) -> String {
    const NAMES: [&str; 12] = [
        "C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B",
    ];
    let name = NAMES[usize::from(key % 12)];
    format!("{name}{}", i32::from(key / 12) - 1)
}

/// Column widths that fit all the rows.
fn widths(rows: &[&[String]]) -> usize {
    let lengths = rows
        .iter()
        .flat_map(|row| row.iter())
        .map(|word| word.len());
    lengths.max().unwrap_or(1)
}

fn bars(cells: &[String], steps_a_bar: usize, width: &usize) -> Vec<String> {
    cells
        .chunks(steps_a_bar)
        .map(|bar| {
            let words: Vec<_> = bar.iter().map(|word| format!("{word:width$}")).collect();
            words.join(" ").trim_end().to_owned()
        })
        .collect()
}

fn side_by_side(written: &[String], heard: &[String], steps_a_bar: usize) -> String {
    let width = widths(&[written, heard]);
    let row = |cells: &[String], bar: usize| {
        let from = (bar * steps_a_bar).min(cells.len());
        let to = (from + steps_a_bar).min(cells.len());
        bars(&cells[from..to], steps_a_bar, &width).concat()
    };
    let count = written.len().max(heard.len()).div_ceil(steps_a_bar);
    let lines = (0..count).map(|bar| {
        let (written, heard) = (row(written, bar), row(heard, bar));
        match written == heard {
            true => format!("  bar {:<3} {written}", bar + 1),
            false => format!("* bar {:<3} {written}\n    heard   {heard}", bar + 1),
        }
    });
    lines.collect::<Vec<_>>().join("\n")
}

#[cfg(test)]
mod tests {
    use crate::heard::{Heard, Recording};
    use crate::host::Event;

    fn recording(notes: &[(f64, f64, u16)]) -> Recording {
        let mut events: Vec<_> = notes
            .iter()
            .flat_map(|(onset, length, key)| {
                [
                    (*onset, Event::note_on(0, *key, 0.7)),
                    (onset + length, Event::note_off(0, *key)),
                ]
            })
            .map(|(beats, event)| Heard {
                frame: (beats * 24_000.0) as u64,
                beats,
                passed: beats,
                event,
            })
            .collect();
        events.sort_by(|a, b| a.beats.total_cmp(&b.beats));
        Recording::new(events)
    }

    #[test]
    fn what_was_heard_prints_as_it_is_written() {
        let line = recording(&[
            (0.0, 0.5, 62),
            (0.5, 0.25, 66),
            (1.0, 0.25, 58),
            (1.0, 0.25, 62),
        ])
        .channel(1);
        assert_eq!(line.to_text(0.25), "D4     -      F#4    .\nA#3+D4");
        line.assert_sounds(0.25, "D4 - F#4 . | D4+Bb3");
    }

    #[test]
    #[should_panic(expected = "* bar 2   E4\n    heard   F4")]
    fn a_wrong_note_is_shown_in_its_bar() {
        recording(&[(0.0, 1.0, 60), (1.0, 0.25, 65)])
            .channel(1)
            .assert_sounds(0.25, "C4 - - - | E4");
    }

    #[test]
    #[should_panic(expected = "D4@0.50")]
    fn a_note_off_its_step_tells_where_it_stands() {
        recording(&[(0.125, 0.25, 62)])
            .channel(1)
            .assert_sounds(0.25, "D4");
    }

    #[test]
    fn attacks_may_be_compared_without_lengths() {
        recording(&[(8.0, 3.0, 62)])
            .all()
            .between(8.0, 9.0)
            .assert_attacks(0.5, "D4");
    }

    #[test]
    #[should_panic(expected = "1 of 1 notes never end")]
    fn a_note_without_an_end_is_called_hanging() {
        let all = recording(&[(0.0, 1.0, 60)]);
        Recording::new(all.events()[..1].to_vec()).assert_no_note_hangs();
    }
}
