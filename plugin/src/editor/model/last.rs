//! What makes the piece last as long as wished, or one of its moments come when it is wished, in
//! words and as wishes.

mod moment;

use crate::editor::model::plan::{beats, clock, seconds};
use crate::editor::seen::Seen;
use crate::editor::wish::{RouteWish, Wish};
use procession_core::fit::{
    Because, Counts, Fit, Fitted, Proposal, Ranges, fit, fit_whole, seconds_of,
};
use procession_core::route::{Dwell, Route, WrittenStage};
use procession_core::settings::{Motion, Settings};
use std::sync::Arc;

/// A length that was asked for, and what comes nearest.
#[derive(Clone, Debug, PartialEq)]
pub struct Last {
    /// "To last 6:00:", or that this is out of reach.
    pub heading: String,
    /// The nearest first.
    pub choices: Vec<Offer>,
    /// What it was worked out from.
    settings: Settings,
    /// See [`settings`](Self::settings).
    route: Route,
}

/// Counts to choose.
#[derive(Clone, Debug, PartialEq)]
pub struct Offer {
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
        let wished = seconds_of(text).ok_or_else(|| {
            format!(
                "\"{}\" is not a length of time. Type minutes and seconds (6:00), minutes (6) or seconds (360 s).",
                text.trim()
            )
        })?;
        if seen.process.route().is_written() {
            return Self::of_written(seen, wished);
        }
        let ranges = Ranges::customary();
        let found = fit(seen.phrase(), seen.settings(), &ranges, wished, |lasts| {
            seconds(seen, lasts)
        });
        Ok(Self {
            heading: heading(seen, &found, &ranges, wished),
            choices: found
                .proposals
                .iter()
                .map(|proposal| choice(seen, proposal))
                .collect(),
            settings: *seen.settings(),
            route: Route::generated(),
        })
    }

    fn of_written(seen: &Seen, wished: f64) -> Result<Self, String> {
        let wished = beats(seen, wished);
        let fitted = fit_whole(&seen.process, wished).map_err(|error| error.to_string())?;
        let (lasts, length) = (clock(seen, fitted.at), clock(seen, wished));
        let reasons = reasons(&fitted, lasts == length);
        let heading = if lasts == length {
            format!("To last {length}:{reasons}")
        } else {
            format!(
                "{length} is out of reach of the stages that are written.{reasons} The nearest:"
            )
        };
        let called = format!("making it last {lasts}");
        let words = format!("{}: {lasts}", moved(seen, &fitted.route));
        Ok(Self {
            heading,
            choices: vec![Offer {
                words,
                wishes: vec![Wish::Route(RouteWish::Take(Arc::new(fitted.route), called))],
            }],
            ..Self::nothing(seen)
        })
    }

    /// Nothing to choose.
    fn nothing(seen: &Seen) -> Self {
        Self {
            heading: String::new(),
            choices: Vec::new(),
            settings: *seen.settings(),
            route: seen.process.route().clone(),
        }
    }

    /// Whether it still follows from the settings.
    pub fn holds(&self, seen: &Seen) -> bool {
        self.settings == *seen.settings() && self.route == *seen.process.route()
    }
}

fn heading(seen: &Seen, found: &Fit, ranges: &Ranges, wished: f64) -> String {
    let is_reached = found.reaches(wished, |lasts| seconds(seen, lasts));
    let wished = procession_core::words::clock(wished);
    if found.shortest == found.longest {
        return "No number of cycles that is set here changes how long it lasts.".to_owned();
    }
    if is_reached {
        return format!("To last {wished}:");
    }
    let settings = seen.settings();
    let drifts = settings.motion.copies > 0 && settings.motion.motion == Motion::Drift;
    let (dwell, drift) = (&ranges.dwell, &ranges.drift);
    let drift = match drifts {
        true => format!(" and drifts over {} to {}", drift.start(), drift.end()),
        false => String::new(),
    };
    format!(
        "{wished} is out of reach: with dwells of {} to {} cycles{drift}, as is customary, it lasts \
         {} to {}.",
        dwell.start(),
        dwell.end(),
        clock(seen, found.shortest),
        clock(seen, found.longest)
    )
}

fn choice(seen: &Seen, proposal: &Proposal) -> Offer {
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
    let lasts = clock(seen, proposal.lasts);
    Offer {
        words: super::plan::capitalised(format!("{words}: {lasts}")),
        wishes: changed
            .map(|(id, _, _, count)| Wish::Type(id, count.to_string()))
            .collect(),
    }
}

/// Why it is not what was wished, or not certain. What is as wished to the second may be half a
/// cycle off: that is nothing to be said.
fn reasons(fitted: &Fitted, is_as_wished: bool) -> String {
    let is_idle = |because: &&Because| is_as_wished && matches!(because, Because::Cycle(_));
    let reasons = fitted.because.iter().filter(|because| !is_idle(because));
    reasons.map(|because| format!(" {because}")).collect()
}

/// Counts of a route, and what they are now: "Dwells of 9 to 10 cycles (now 8), drifts over 5 (now
/// 4)".
fn moved(seen: &Seen, after: &Route) -> String {
    let before = super::route::listed(seen);
    let range = |route: &Route, of: Counted| {
        let counts = route.stages().iter().enumerate().filter_map(of);
        let (least, most) = (counts.clone().min()?, counts.max()?);
        Some(match least == most {
            true => least.to_string(),
            false => format!("{least} to {most}"),
        })
    };
    let dwells: Counted = |(_, stage)| match stage.dwell {
        Dwell::Cycles(cycles) => Some(cycles),
        Dwell::UntilCued => None,
    };
    let drifts: Counted =
        |(index, stage)| (index > 0 && stage.way.motion == Motion::Drift).then_some(stage.way.over);
    let mut words: Vec<String> = Vec::new();
    for (what, of) in [("dwells of", dwells), ("drifts over", drifts)] {
        let (Some(is), Some(was)) = (range(after, of), range(&before, of)) else {
            continue;
        };
        let cycles = if words.is_empty() { " cycles" } else { "" };
        let now = match is == was {
            true => String::new(),
            false => format!(" (now {was})"),
        };
        words.push(format!("{what} {is}{cycles}{now}"));
    }
    super::plan::capitalised(words.join(", "))
}

/// A count of a stage, if it has one.
type Counted = fn((usize, &WrittenStage)) -> Option<u32>;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::editor::model::circle::tests::seen;
    use procession_core::performed::Recollection;
    use procession_core::tempo_map::{TempoMap, TempoStep};

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
                // The drift stays as it is set.
                "Dwell 10 cycles: 5:56",
                "Dwell 9 cycles, drift over 5 cycles: 5:54",
                "Dwell 10 cycles, drift over 5 cycles: 6:20",
            ]
        );
        assert_eq!(
            last.choices[1].wishes,
            [
                Wish::Type("dwell", "9".to_owned()),
                Wish::Type("drift", "5".to_owned())
            ]
        );
        assert_eq!(last.choices[0].wishes.len(), 1);
    }

    /// The first 180 beats went at 60, three minutes; 360 more at 120 are as many. So six minutes are
    /// 540 beats, as they are at 90, and what is six beats short of that is three seconds short.
    #[test]
    fn a_wished_length_is_measured_at_the_tempi_that_the_song_had() {
        let mut seen = seen(TWELVE, Settings::default(), None);
        let step = |at, tempo| TempoStep { at, tempo };
        seen.performed = Arc::new(Recollection {
            tempi: TempoMap::new([step(0.0, 60.0), step(180.0, 120.0)]),
            ..Recollection::default()
        });
        seen.snapshot.tempo = 200.0;
        let last = Last::of(&seen, "6:00").expect("a length");
        assert_eq!(last.heading, "To last 6:00:");
        assert_eq!(last.choices[0].words, "Dwell 10 cycles: 5:57");
        let stage = Last::of_moment(&seen, "stage 3 at bar 61").expect("a moment");
        assert_eq!(stage.heading, "For stage 3 at bar 61:");
        let same = Last::of_moment(&seen, "stage 3 at 3:30").expect("a moment");
        assert_eq!(same.heading, "For stage 3 at 3:30:");
        assert_eq!(
            same.choices[0].wishes,
            other_words(&stage, "stage 3 at 3:30")
        );
    }

    /// What is offered, as if it had been asked for in those words.
    fn other_words(last: &Last, words: &str) -> Vec<Wish> {
        let called = |wish: &Wish| match wish {
            Wish::Route(RouteWish::Take(route, _)) => {
                Wish::Route(RouteWish::Take(route.clone(), words.to_owned()))
            }
            wish => wish.clone(),
        };
        last.choices[0].wishes.iter().map(called).collect()
    }

    #[test]
    fn what_is_out_of_reach_says_what_is_in_reach() {
        let last = asked("60").expect("a length");
        assert_eq!(
            last.heading,
            "1:00:00 is out of reach: with dwells of 4 to 24 cycles and drifts over 4 to 16, as is \
             customary, it lasts 3:20 to 16:48."
        );
        assert_eq!(
            last.choices[0].words,
            "Dwell 24 cycles, drift over 16 cycles: 16:48"
        );
    }

    /// What is offered is set as if it were typed: then the plan says that it lasts so long, and a
    /// length that was in reach still is.
    #[test]
    fn what_was_offered_is_what_is_shown_and_the_limits_stay() {
        let mut seen = seen(TWELVE, Settings::default(), None);
        seen.snapshot.tempo = 90.0;
        let limits = |seen: &Seen| Last::of(seen, "60").expect("a length").heading;
        let before = limits(&seen);
        for wished in ["16:40", "3:20", "9"] {
            let last = Last::of(&seen, wished).expect("a length");
            assert!(last.heading.starts_with("To last"), "{}", last.heading);
            let chosen = &last.choices[0];
            let mut settings = *seen.settings();
            for wish in &chosen.wishes {
                let Wish::Type(id, count) = wish else {
                    panic!("{wish:?}");
                };
                let count = count.parse().expect("a number");
                match *id {
                    "dwell" => settings.motion.dwell = count,
                    "drift" => settings.motion.drift = count,
                    other => panic!("{other}"),
                }
            }
            seen = super::super::circle::tests::seen(TWELVE, settings, None);
            seen.snapshot.tempo = 90.0;
            let lasts = chosen.words.rsplit(": ").next().unwrap_or_default();
            let shown = super::super::plan::totals(&seen);
            assert!(
                shown[0].starts_with(&format!("{lasts} as set")),
                "{shown:?}"
            );
            assert_eq!(limits(&seen), before);
        }
    }

    /// What is offered is played out on the plan, and lasts what it says.
    #[test]
    fn a_written_form_lasts_what_is_offered_and_what_is_out_of_reach_says_why() {
        let mut seen = seen(TWELVE, Settings::default(), None);
        seen.snapshot.tempo = 90.0;
        let route = super::super::route::listed(&seen);
        seen.follow_route(&route);
        let last = Last::of(&seen, "6:00").expect("a length");
        assert_eq!(last.heading, "To last 6:00:");
        assert!(
            last.choices[0]
                .words
                .ends_with(" cycles (now 8), drifts over 5 (now 4): 6:00"),
            "{last:?}"
        );
        let [Wish::Route(RouteWish::Take(longer, called))] = &last.choices[0].wishes[..] else {
            panic!("{last:?}");
        };
        assert_eq!(called, "making it last 6:00");
        seen.follow_route(longer);
        let totals = super::super::plan::totals(&seen);
        assert!(totals[0].starts_with("6:00"), "{totals:?}");
        let last = Last::of(&seen, "0:10").expect("a length");
        assert!(
            last.heading
                .starts_with("0:10 is out of reach of the stages that are written. It cannot"),
            "{}",
            last.heading
        );
    }

    #[test]
    fn what_is_no_length_says_what_would_be_one() {
        let said = asked("soon").expect_err("no length");
        assert!(
            said.starts_with("\"soon\" is not a length of time."),
            "{said}"
        );
    }
}
