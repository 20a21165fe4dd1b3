//! The plan in words: stage by stage what happens, when, and what sounds.

use crate::exchange::picture::{alignment_place, copies_named, minutes, steps_ahead_each};
use crate::form::{CopyStage, Doing, Form, Stage};
use crate::mode::Mode;
use crate::process::{Process, VoiceNote};
use crate::sonority::Sonority;
use crate::time::{Beats, Span};
use std::fmt::Write;

/// What a plan is made from.
#[derive(Clone, Copy, Debug)]
pub struct Plan<'a> {
    /// Stands at the top.
    pub title: &'a str,
    /// Whose voices move.
    pub process: &'a Process,
    /// Its stages.
    pub form: &'a Form,
    /// What was played, in order of onset.
    pub notes: &'a [VoiceNote],
    /// Which mode is in force from which song position on, in order.
    pub modes: &'a [(Beats, Mode)],
    /// Beats a minute.
    pub tempo: f64,
    /// Beats a bar.
    pub beats_per_bar: f64,
}

impl Plan<'_> {
    /// The plan as text, a line a stage.
    pub fn to_text(&self) -> String {
        let mut out = String::new();
        let totals = &self.form.totals;
        let clock = |beats| minutes(beats, self.tempo);
        let phrase = self.process.phrase();
        let _ = writeln!(out, "{}\n", self.title);
        let _ = writeln!(
            out,
            "{} notes in {} steps, {} distinct alignments.",
            phrase.notes().len(),
            rounded(phrase.length() / self.process.settings().step()),
            self.form.alignments.len()
        );
        let _ = writeln!(
            out,
            "{} at {} bpm; with customary repeats between {} and {}.{}\n",
            clock(totals.chosen),
            self.tempo,
            clock(totals.shortest),
            clock(totals.longest),
            if self.form.endless {
                " It goes on after that."
            } else {
                ""
            },
        );
        out.push_str(&self.table());
        out.push_str("\nThe alignments of two voices\n\n");
        for alignment in &self.form.alignments {
            let _ = writeln!(
                out,
                "{:>16}: {:>3} attacks, {:>3} together{}",
                alignment_place(alignment.offset),
                alignment.attacks,
                alignment.doublings,
                if alignment.interlocks() {
                    ", interlocking"
                } else {
                    ""
                },
            );
        }
        out
    }

    /// A line a stage, each column as wide as its widest word.
    fn table(&self) -> String {
        let mut rows =
            vec![["stage", "bars", "time", "what", "alignment", "sounding"].map(str::to_owned)];
        rows.extend(self.form.stages.iter().enumerate().map(|(index, stage)| {
            [
                (index + 1).to_string(),
                self.bars(stage.span),
                minutes(stage.span.start - self.process.origin(), self.tempo),
                self.words(stage),
                self.alignments(stage),
                self.sonority(stage.span),
            ]
        }));
        let width = |column: usize| {
            rows.iter()
                .map(|row| row[column].chars().count())
                .max()
                .unwrap_or_default()
        };
        let widths: [usize; 6] = std::array::from_fn(width);
        let line = |row: &[String; 6]| {
            let [stage, bars, time, what, alignment, sounding] = row;
            let [w0, w1, w2, w3, w4, _] = widths;
            format!(
                "{stage:>w0$}  {bars:>w1$}  {time:>w2$}  {what:<w3$}  {alignment:<w4$}  {sounding}\n"
            )
        };
        rows.iter().map(line).collect()
    }

    /// What happens in a stage, in words.
    pub fn words(&self, stage: &Stage) -> String {
        stage_words(stage, self.form, self.process)
    }

    /// Where each copy that is locked stands among the distinct alignments, counted from unison.
    fn alignments(&self, stage: &Stage) -> String {
        let locked = stage
            .copies
            .iter()
            .filter(|copy| copy.doing == Doing::Locked);
        let places: Vec<_> = locked
            .map(|copy| (self.form.alignment_of(copy.from) + 1).to_string())
            .collect();
        match places.len() {
            0 => String::new(),
            _ => format!("{} of {}", places.join(", "), self.form.alignments.len()),
        }
    }

    /// The bars a stretch of the song falls in, counted from the origin: "9-12".
    pub fn bars(&self, span: Span) -> String {
        let bar =
            |at: Beats| ((at - self.process.origin()) / self.beats_per_bar).floor() as i64 + 1;
        // A hair before the end: the bar line belongs to the next stage.
        let (first, last) = (bar(span.start + 1e-6), bar(span.end - 1e-6));
        if first == last {
            format!("{first}")
        } else {
            format!("{first}-{last}")
        }
    }

    /// What sounds in the last cycle of a stage.
    fn sonority(&self, span: Span) -> String {
        let cycle = Span::new(
            f64::max(span.start, span.end - self.process.phrase().length()),
            span.end,
        );
        let from = self
            .notes
            .partition_point(|note| note.on < cycle.start - 1e-6);
        let inside = self.notes[from..]
            .iter()
            .take_while(|note| note.on < cycle.end - 1e-6);
        let sounding = Sonority::of(inside.map(|note| note.key));
        let before_end = self
            .modes
            .iter()
            .rev()
            .find(|(from, _)| *from < cycle.end - 1e-6);
        sounding.name(before_end.map(|(_, mode)| mode))
    }
}

/// To a thousandth, without digits that say nothing.
fn rounded(number: f64) -> f64 {
    (number * 1000.0).round() / 1000.0
}

/// What happens in a stage, in words.
pub fn stage_words(stage: &Stage, form: &Form, process: &Process) -> String {
    let all = process.phrase().notes().len();
    if stage.shown < all && stage.copies.iter().all(|copy| copy.doing == Doing::Waiting) {
        return format!("{} of {all} notes", stage.shown);
    }
    if stage.copies.is_empty() || stage.copies.iter().all(|copy| copy.doing == Doing::Waiting) {
        return "the phrase alone".to_owned();
    }
    if stage.is_unison(form) {
        return "unison".to_owned();
    }
    let mut groups: Vec<(Doing, Vec<usize>)> = Vec::new();
    for (index, copy) in stage.copies.iter().enumerate() {
        match groups.iter_mut().find(|(doing, _)| *doing == copy.doing) {
            Some((_, alike)) => alike.push(index),
            None => groups.push((copy.doing, vec![index])),
        }
    }
    let copies: Vec<String> = groups
        .iter()
        .filter(|(doing, _)| *doing != Doing::Waiting)
        .map(|(doing, alike)| {
            let places = |of: fn(&CopyStage) -> f64| {
                let each: Vec<f64> = alike.iter().map(|copy| of(&stage.copies[*copy])).collect();
                steps_ahead_each(&each)
            };
            let (one, many, places) = match doing {
                Doing::Drifting => ("drifts to", "drift to", places(|copy| copy.to)),
                Doing::Building => ("builds up", "build up", places(|copy| copy.to)),
                Doing::Entering => ("enters", "enter", places(|copy| copy.from)),
                // A verb between the two numbers: "copy 1 2 steps ahead" is hard to read.
                Doing::Locked | Doing::Waiting => ("stays", "stay", places(|copy| copy.from)),
            };
            let verb = if alike.len() == 1 { one } else { many };
            let numbers: Vec<usize> = alike.iter().map(|copy| copy + 1).collect();
            format!("{} {verb} {places}", copies_named(&numbers))
        })
        .collect();
    copies.join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phrase::Phrase;
    use crate::settings::{CopiesMove, Settings};

    fn told(stage: usize, change: impl FnOnce(&mut Settings)) -> String {
        let phrase = Phrase::from_text("D4 . F4 G4 . A4 . .", 0.25).unwrap();
        let mut settings = Settings::default();
        change(&mut settings);
        let process = Process::new(phrase, settings, 0.0);
        let form = Form::new(&process);
        stage_words(&form.stages[stage], &form, &process)
    }

    #[test]
    fn copies_that_do_the_same_are_told_in_one_breath() {
        let fan = |settings: &mut Settings| settings.motion.copies = 3;
        assert_eq!(
            told(1, fan),
            "copies 1 to 3 drift to 1, 2 and 3 steps ahead"
        );
        assert_eq!(told(2, fan), "copies 1 to 3 stay 1, 2 and 3 steps ahead");
        assert_eq!(told(2, |_| ()), "copy 1 stays 1 step ahead");
        let in_turn = |settings: &mut Settings| {
            settings.motion.copies = 3;
            settings.motion.copies_move = CopiesMove::InTurn;
        };
        assert_eq!(
            told(3, in_turn),
            "copies 1 and 3 stay 1 and 0 steps ahead, copy 2 drifts to 1 step ahead"
        );
    }
}
