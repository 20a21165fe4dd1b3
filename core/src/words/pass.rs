//! What is said after a pass: short, and of use for the next.

use super::{steps_ahead, to_hundredths};
use crate::follower::{Outcome, Pass};
use crate::time::Beats;

/// Milliseconds by which nobody is early or late: the order of two sounds is heard from about 20 ms
/// on (Hirsh, JASA 31, 1959, 759-767), a displaced note from about 6 (Friberg & Sundberg, JASA 98,
/// 1995); half-way.
const IN_TIME_MS: f64 = 10.0;

/// The share of a part's notes of which fewer say nothing.
const ENOUGH: f64 = 0.5;

/// Sentences about a pass, the most important first; `from` steps ahead is where a move began, and
/// a cycle lasts so many beats.
pub fn pass_words(pass: &Pass, from: f64, cycle: Beats) -> Vec<String> {
    if pass.matched == 0 {
        let played = pass.stray > 0;
        return vec![if played {
            "Nothing of the part was recognised: look which part is yours, and in which octave."
                .to_owned()
        } else {
            "Nothing was played.".to_owned()
        }];
    }
    let mut sentences = Vec::new();
    sentences.extend(
        pass.outcome
            .map(|outcome| move_words(outcome, pass, from, cycle)),
    );
    if (pass.matched as f64) < ENOUGH * pass.expected as f64 {
        let were = if pass.matched == 1 { "was" } else { "were" };
        sentences.push(format!(
            "Only {} of {} notes {were} recognised, so take the rest with a grain of salt.",
            pass.matched, pass.expected
        ));
    }
    sentences.extend(time_words(pass));
    sentences
}

/// "15 ms late on average, even to 12 ms."
fn time_words(pass: &Pass) -> Option<String> {
    let even = format!("even to {:.0} ms", pass.spread_ms?);
    Some(match pass.late_ms {
        Some(late) if late.abs() < IN_TIME_MS => format!("In time on average, {even}."),
        Some(late) if late > 0.0 => format!("{late:.0} ms late on average, {even}."),
        Some(late) => format!("{:.0} ms early on average, {even}.", -late),
        None => format!("{}.", capital(&even)),
    })
}

fn move_words(outcome: Outcome, pass: &Pass, from: f64, cycle: Beats) -> String {
    let reached = pass.reached.unwrap_or(from);
    // To a tenth of a step: a hand is no surer.
    let exact = steps_ahead((10.0 * reached).round() / 10.0);
    let step = steps_ahead(reached.round());
    match outcome {
        Outcome::Arrived { locked_after } => {
            let cycles = to_hundredths((10.0 * locked_after / cycle).round() / 10.0);
            let unit = if cycles == 1.0 { "cycle" } else { "cycles" };
            format!("Arrived: {step}, locked after {cycles} {unit}.")
        }
        Outcome::TooFar => format!(
            "Went too far: {exact} at the end. Lean in less, and stay with the first place that \
             locks."
        ),
        Outcome::PulledBack if reached.round() == 0.0 => "Pulled back to unison. Lean in sooner, \
             and listen to your own beat one."
            .to_owned(),
        Outcome::PulledBack => format!(
            "Pulled back: {exact} at the end. Lean in sooner, and listen to your own beat one."
        ),
        Outcome::NotLocked => format!(
            "Nearly there: {exact} at the end, but not locked. Hold the new place for some cycles."
        ),
        Outcome::Unclear => {
            "Too little was recognised at the end to say where it arrived: play on \
             to the end of the pass."
                .to_owned()
        }
    }
}

fn capital(words: &str) -> String {
    let mut letters = words.chars();
    let first = letters.next().into_iter().flat_map(char::to_uppercase);
    first.chain(letters).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pass(outcome: Option<Outcome>, reached: f64) -> Pass {
        Pass {
            expected: 84,
            matched: 80,
            late_ms: Some(14.6),
            spread_ms: Some(12.2),
            reached: Some(reached),
            outcome,
            ..Pass::default()
        }
    }

    fn said(pass: &Pass) -> String {
        pass_words(pass, 0.0, 3.0).join(" ")
    }

    #[test]
    fn what_is_said_after_a_pass() {
        let stayed = "15 ms late on average, even to 12 ms.";
        assert_eq!(said(&pass(None, 1.0)), stayed);
        let locked_after = 10.5;
        let arrived = pass(Some(Outcome::Arrived { locked_after }), 0.98);
        let words = format!("Arrived: 1 step ahead, locked after 3.5 cycles. {stayed}");
        assert_eq!(said(&arrived), words);
        let not = |outcome, reached| Pass {
            late_ms: None,
            ..pass(Some(outcome), reached)
        };
        let far = said(&not(Outcome::TooFar, 1.97));
        assert!(far.starts_with("Went too far: 2 steps ahead at the end. Lean in less"));
        assert!(far.ends_with("Even to 12 ms."), "{far}");
        let pulled = said(&not(Outcome::PulledBack, -0.1));
        assert!(pulled.starts_with("Pulled back to unison. Lean in sooner"));
        let between = said(&not(Outcome::NotLocked, 0.62));
        assert!(between.starts_with("Nearly there: 0.6 steps ahead at the end, but not locked."));
    }

    #[test]
    fn early_in_time_and_little_of_it() {
        let mut pass = pass(None, 0.0);
        pass.late_ms = Some(-31.0);
        assert_eq!(said(&pass), "31 ms early on average, even to 12 ms.");
        pass.late_ms = Some(-9.0);
        assert_eq!(said(&pass), "In time on average, even to 12 ms.");
        pass.matched = 30;
        assert!(said(&pass).starts_with("Only 30 of 84 notes were recognised"));
        pass.matched = 0;
        assert_eq!(said(&pass), "Nothing was played.");
        pass.stray = 12;
        assert!(said(&pass).starts_with("Nothing of the part was recognised: look which part"));
    }
}
