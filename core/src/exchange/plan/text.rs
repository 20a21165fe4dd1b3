//! The plan in words, a line a stage.

use super::places;
use crate::exchange::Piece;
use crate::form::{Made, Stage};
use crate::route::WrittenStage;
use crate::words::{copies_named, realignment_words, stage_words, steps_ahead};
use std::fmt::Write;

/// The plan of a piece as text.
pub fn text(piece: &Piece) -> String {
    let mut out = String::new();
    let totals = &piece.form.totals;
    let origin = piece.process().origin();
    let clock = |beats| piece.clock(origin + beats);
    let phrase = piece.process().phrase();
    let _ = writeln!(out, "{}\n", piece.title);
    let _ = writeln!(
        out,
        "{} notes in {} steps, {} distinct alignments.",
        phrase.notes().len(),
        rounded(phrase.length() / piece.process().settings().step()),
        piece.form.alignments.len()
    );
    let _ = writeln!(
        out,
        "{} at {}; with customary repeats between {} and {}.{}",
        clock(totals.chosen),
        piece.tempo_words(),
        clock(totals.shortest),
        clock(totals.longest),
        if piece.form.endless {
            " It goes on after that."
        } else {
            ""
        },
    );
    for line in realignment_words(piece.process().voices()) {
        let _ = writeln!(out, "{}.", sentence(&line));
    }
    if !piece.is_whole() {
        let written = piece.form.end() - piece.process().origin();
        let _ = writeln!(
            out,
            "Too long to be written whole: only its first {} are here.",
            clock(written)
        );
    }
    if let Some(bar) = piece.performed_until_bar() {
        let _ = writeln!(out, "Performed up to bar {bar}, {}.", piece.goes_on_words());
    }
    out.push('\n');
    out.push_str(&table(piece));
    let slower = slower_drifts(piece);
    if !slower.is_empty() {
        let _ = write!(out, "\n{slower}");
    }
    out.push_str("\nThe alignments of two voices\n\n");
    let own = piece.process().voices().own_cycles();
    let own: Vec<usize> = own.map(|own| own.copy.number()).collect();
    if !own.is_empty() {
        let (who, keeps) = (
            sentence(&copies_named(&own)),
            if own.len() == 1 { "keeps" } else { "keep" },
        );
        let _ = writeln!(out, "{who} {keeps} none, in a cycle of another length.\n");
    }
    for alignment in &piece.form.alignments {
        let _ = writeln!(
            out,
            "{:>16}: {:>3} attacks, {:>3} coincidences{}",
            steps_ahead(alignment.offset as f64),
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

/// With a capital.
fn sentence(words: &str) -> String {
    let mut letters = words.chars();
    let first = letters.next().map(|letter| letter.to_ascii_uppercase());
    first.into_iter().chain(letters).collect()
}

/// A line a stage, each column as wide as its widest word.
fn table(piece: &Piece) -> String {
    let mut rows =
        vec![["stage", "bars", "time", "what", "alignment", "sounding"].map(str::to_owned)];
    rows.extend(piece.form.stages.iter().enumerate().map(|(index, stage)| {
        [
            (index + 1).to_string(),
            piece.bars(stage.span),
            piece.clock(stage.span.start),
            stage_words(stage, piece.process()),
            alignments(stage, piece),
            piece.sonority(stage.span).1,
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
    let mut lines: Vec<String> = rows.iter().map(line).collect();
    let performed = |stage: &&Stage| stage.made == Made::Performed;
    let count = piece.form.stages.iter().take_while(performed).count();
    if piece.performance.until().is_some() {
        // After the heading and the stages that were performed.
        lines.insert(1 + count, format!("       ({})\n", piece.goes_on_words()));
    }
    lines.concat()
}

/// Of a written route, the drifts that take longer than is written, a line each.
fn slower_drifts(piece: &Piece) -> String {
    let voices = piece.process().voices();
    if !voices.route().is_written() {
        return String::new();
    }
    let stages = piece.route.stages().iter().enumerate().skip(1);
    let line = |(index, stage): (usize, &WrittenStage)| {
        let way = voices.schedule().way(index as u64 - 1) / piece.process().phrase().length();
        let (takes, over) = (way.round(), stage.way.over);
        (takes > f64::from(over)).then(|| {
            let cycles = if over == 1 { "cycle" } else { "cycles" };
            format!(
                "The drift to stage {} of the route takes {takes} cycles, not the {over} {cycles} written: \
                 faster than twice or slower than half the tempo nobody drifts.\n",
                index + 1,
            )
        })
    };
    stages.filter_map(line).collect()
}

/// Where each copy that is locked stands among the distinct alignments.
fn alignments(stage: &Stage, piece: &Piece) -> String {
    let places: Vec<_> = places(stage, piece.form)
        .iter()
        .map(usize::to_string)
        .collect();
    match places.len() {
        0 => String::new(),
        _ => format!("{} of {}", places.join(", "), piece.form.alignments.len()),
    }
}

/// To a thousandth, without digits that say nothing.
fn rounded(number: f64) -> f64 {
    (number * 1000.0).round() / 1000.0
}
