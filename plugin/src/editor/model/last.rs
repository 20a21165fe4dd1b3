//! What makes the piece last as long as wished, in words and as wishes.

use crate::editor::model::plan::tempo;
use crate::editor::seen::Seen;
use crate::editor::wish::Wish;
use procession_core::exchange::picture::minutes;
use procession_core::fit::{Counts, Fit, Proposal, fit, seconds_of};
use procession_core::settings::Settings;

/// A length that was asked for, and what comes nearest.
#[derive(Clone, Debug, PartialEq)]
pub struct Last {
    /// "To last 6:00:", or that this is out of reach.
    pub heading: String,
    /// The nearest first.
    pub choices: Vec<Choice>,
    /// What it was worked out from.
    settings: Settings,
}

/// Counts to choose.
#[derive(Clone, Debug, PartialEq)]
pub struct Choice {
    /// "Dwell 12 cycles, drift over 2 cycles: 6:00".
    pub words: String,
    /// What has to be typed for it.
    pub wishes: Vec<Wish>,
}

impl Last {
    /// For a length of time as it was typed.
    ///
    /// # Errors
    /// It is none: in words, with the remedy.
    pub fn of(seen: &Seen, text: &str) -> Result<Self, String> {
        let seconds = seconds_of(text).ok_or_else(|| {
            format!(
                "\"{}\" is no length of time. Type something like 6:00, 6 (minutes) or 360 s.",
                text.trim()
            )
        })?;
        let found = fit(seen.phrase(), seen.settings(), seconds, tempo(seen));
        Ok(Self {
            heading: heading(seen, &found, seconds),
            choices: found
                .proposals
                .iter()
                .map(|proposal| choice(seen, proposal))
                .collect(),
            settings: *seen.settings(),
        })
    }

    /// Whether it still follows from the settings.
    pub fn holds(&self, seen: &Seen) -> bool {
        self.settings == *seen.settings()
    }
}

fn heading(seen: &Seen, found: &Fit, seconds: f64) -> String {
    let tempo = tempo(seen);
    let clock = |beats| minutes(beats, tempo);
    let wished = clock(seconds * tempo / 60.0);
    if found.shortest == found.longest {
        return "No count that is customarily varied changes how long it lasts.".to_owned();
    }
    if found.reaches(seconds, tempo) {
        return format!("To last {wished}:");
    }
    format!(
        "{wished} is out of reach of customary repeats: the shortest is {}, the longest {}.",
        clock(found.shortest),
        clock(found.longest)
    )
}

fn choice(seen: &Seen, proposal: &Proposal) -> Choice {
    let (set, now) = (Counts::of(seen.settings()), proposal.counts);
    let cycles = |count: u32| if count == 1 { "cycle" } else { "cycles" };
    let counts = [
        ("dwell", "dwell", set.dwell, now.dwell),
        ("drift", "drift over", set.drift, now.drift),
        (
            "growth_every",
            "grow every",
            set.growth_every,
            now.growth_every,
        ),
    ];
    let changed = counts.iter().filter(|(_, _, set, now)| set != now);
    let words: Vec<String> = changed
        .clone()
        .map(|(_, name, _, count)| format!("{name} {count} {}", cycles(*count)))
        .collect();
    let words = if words.is_empty() {
        "as set".to_owned()
    } else {
        words.join(", ")
    };
    let lasts = minutes(proposal.lasts, tempo(seen));
    Choice {
        words: super::plan::capitalised(format!("{words}: {lasts}")),
        wishes: changed
            .map(|(id, _, _, count)| Wish::Type(id, count.to_string()))
            .collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::editor::model::circle::tests::seen;

    const TWELVE: &str = "D4 F4 . A4 C5 . G4 A4 . F4 E4 .";

    fn asked(text: &str) -> Result<Last, String> {
        let mut seen = seen(TWELVE, Settings::default(), None);
        seen.snapshot.tempo = 90.0;
        Last::of(&seen, text)
    }

    #[test]
    fn a_wished_length_is_answered_with_counts_to_choose() {
        let last = asked("6:00").expect("a length");
        assert_eq!(last.heading, "To last 6:00:");
        let words: Vec<_> = last.choices.iter().map(|one| one.words.as_str()).collect();
        assert_eq!(
            words,
            [
                "Dwell 12 cycles, drift over 2 cycles: 6:00",
                "Dwell 11 cycles, drift over 3 cycles: 5:58",
                // The drift stays as it is set.
                "Dwell 10 cycles: 5:56",
            ]
        );
        assert_eq!(
            last.choices[0].wishes,
            [
                Wish::Type("dwell", "12".to_owned()),
                Wish::Type("drift", "2".to_owned())
            ]
        );
        assert_eq!(last.choices[2].wishes.len(), 1);
    }

    #[test]
    fn what_is_out_of_reach_says_what_is_in_reach() {
        let last = asked("60").expect("a length");
        assert_eq!(
            last.heading,
            "1:00:00 is out of reach of customary repeats: the shortest is 3:24, the longest 8:24."
        );
        assert_eq!(
            last.choices[0].words,
            "Dwell 12 cycles, drift over 8 cycles: 8:24"
        );
    }

    #[test]
    fn what_is_no_length_says_what_would_be_one() {
        let said = asked("soon").expect_err("no length");
        assert!(said.starts_with("\"soon\" is no length of time."), "{said}");
    }
}
