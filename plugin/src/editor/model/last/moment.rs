//! A moment that is to come when it is wished, as it is typed: "unison at 1:17", "alignment 5 at
//! bar 40", "stage 7 at 3:00".

use super::{Last, Offer, moved, reasons};
use crate::editor::model::flag::SongBars;
use crate::editor::model::plan::{beats, beats_per_bar, capitalised, clock};
use crate::editor::model::route::listed;
use crate::editor::seen::Seen;
use crate::editor::wish::{RouteWish, Wish};
use procession_core::fit::{Moment, fit_moment, seconds_of};
use procession_core::time::Beats;
use std::sync::Arc;

impl Last {
    /// For a moment as it was typed, and when it is to come.
    ///
    /// # Errors
    /// It is none, or it cannot be: in words, with the remedy.
    pub fn of_moment(seen: &Seen, text: &str) -> Result<Self, String> {
        let (moment, when) = typed(seen, text).ok_or_else(|| {
            format!(
                "\"{}\" says no moment and when. Type \"unison at 1:17\", \"alignment 5 at bar 40\" or \
                 \"stage 7 at 3:00\"; times and bars are those of the plan, counted from its beginning.",
                text.trim()
            )
        })?;
        let fitted =
            fit_moment(&seen.process, moment, when.at).map_err(|error| error.to_string())?;
        let name = name(moment);
        let place = when.words(seen, fitted.at);
        let called = format!("{name} at {place}");
        let is_as_wished = when.is_met_by(seen, fitted.at);
        let reasons = reasons(&fitted, is_as_wished);
        if fitted.route == listed(seen) && is_as_wished {
            let name = capitalised(name);
            return Err(format!("{name} comes at {place} already.{reasons}"));
        }
        let wished = when.words(seen, when.at);
        let heading = match is_as_wished {
            true => format!("For {name} at {wished}:{reasons}"),
            false => {
                let name = capitalised(name);
                format!("{name} cannot come at {wished}.{reasons} The nearest:")
            }
        };
        let words = format!("{}: {place}", moved(seen, &fitted.route));
        let take = RouteWish::Take(Arc::new(fitted.route), called);
        Ok(Self {
            heading,
            choices: vec![Offer {
                words,
                wishes: vec![Wish::Route(take)],
            }],
            ..Self::nothing(seen)
        })
    }
}

/// When something is to come.
#[derive(Clone, Copy, Debug, PartialEq)]
struct When {
    /// Beats from the origin.
    at: Beats,
    /// Whether it was said in bars.
    in_bars: bool,
}

impl When {
    /// A time in the same way of saying it.
    fn words(self, seen: &Seen, at: Beats) -> String {
        if !self.in_bars {
            return clock(seen, at);
        }
        format!("bar {}", bars_of_the_plan(seen).text(at))
    }

    /// To the clock's second, or to where in the bar.
    fn is_met_by(self, seen: &Seen, at: Beats) -> bool {
        self.words(seen, at) == self.words(seen, self.at)
    }
}

fn name(moment: Moment) -> String {
    match moment {
        Moment::Unison => "unison".to_owned(),
        Moment::Alignment(number) => format!("alignment {number}"),
        Moment::Stage(stage) => format!("stage {}", stage + 1),
    }
}

fn typed(seen: &Seen, text: &str) -> Option<(Moment, When)> {
    let text = text.trim().to_lowercase();
    let (what, when) = text.split_once(" at ")?;
    let counted = |what: &str| {
        let number = what.trim().parse::<usize>().ok();
        number.filter(|number| *number > 0)
    };
    let what = what.trim();
    let moment = if what == "unison" {
        Moment::Unison
    } else if let Some(alignment) = what.strip_prefix("alignment") {
        Moment::Alignment(counted(alignment)?)
    } else {
        Moment::Stage(counted(what.strip_prefix("stage")?)? - 1)
    };
    Some((moment, when_of(seen, when.trim())?))
}

fn when_of(seen: &Seen, text: &str) -> Option<When> {
    let Some(bar) = text.strip_prefix("bar") else {
        let at = beats(seen, seconds_of(text)?);
        return Some(When { at, in_bars: false });
    };
    let at = bars_of_the_plan(seen).place(bar)?;
    (at >= 0.0).then_some(When { at, in_bars: true })
}

/// The first begins where the process does.
fn bars_of_the_plan(seen: &Seen) -> SongBars {
    SongBars {
        length: beats_per_bar(seen),
        first: 0.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::editor::model::circle::tests::seen;
    use crate::editor::model::route::Places;
    use procession_core::settings::Settings;
    use procession_core::words::minutes;

    /// Twelve steps of a sixteenth: a cycle is 3 beats, 2 seconds at 90 beats a minute.
    const TWELVE: &str = "D4 F4 . A4 C5 . G4 A4 . F4 E4 .";

    fn at_ninety() -> Seen {
        let mut seen = seen(TWELVE, Settings::default(), None);
        seen.snapshot.tempo = 90.0;
        seen
    }

    /// As if what is offered were clicked.
    fn take(seen: &mut Seen, last: &Last) {
        let [Wish::Route(RouteWish::Take(route, _))] = &last.choices[0].wishes[..] else {
            panic!("{last:?}");
        };
        seen.follow_route(route);
    }

    #[test]
    fn a_stage_comes_when_it_is_wished_and_the_plan_says_so() {
        let mut seen = at_ninety();
        let last = Last::of_moment(&seen, "Stage 3 at 2:00").expect("a moment");
        assert_eq!(last.heading, "For stage 3 at 2:00:");
        take(&mut seen, &last);
        assert!(seen.process.route().is_written());
        let places = Places::of(&seen);
        let place = places.on_plan(2).and_then(|on_plan| places.get(on_plan));
        let begins = place.map(|place| minutes(place.begins - seen.process.origin(), 90.0));
        assert_eq!(begins.as_deref(), Some("2:00"));
        let again = Last::of_moment(&seen, "stage 3 at 2:00").expect_err("nothing to do");
        assert_eq!(again, "Stage 3 comes at 2:00 already.");
    }

    /// Bars are the plan's: of four beats, the first begins where the process does. So bar 40 is 156
    /// beats on, 52 cycles of three beats; bar 41 falls within a cycle, and the nearest is a beat
    /// before it.
    #[test]
    fn a_bar_is_one_of_the_plan_and_what_falls_within_a_cycle_says_what_comes_nearest() {
        let seen = at_ninety();
        let last = Last::of_moment(&seen, "alignment 5 at bar 40").expect("a moment");
        assert_eq!(last.heading, "For alignment 5 at bar 40:");
        assert!(last.choices[0].words.ends_with(": bar 40"), "{last:?}");
        let last = Last::of_moment(&seen, "alignment 5 at bar 41").expect("a moment");
        assert_eq!(
            last.heading,
            "Alignment 5 cannot come at bar 41. A stage begins with a cycle, and a cycle lasts 3 \
             beats. The nearest:"
        );
        assert!(last.choices[0].words.ends_with(": bar 40:4"), "{last:?}");
    }

    #[test]
    fn what_cannot_be_says_why_and_what_is_no_moment_says_what_would_be_one() {
        let seen = at_ninety();
        let said = |text: &str| Last::of_moment(&seen, text).expect_err("no moment");
        assert!(said("alignment 50 at 1:00").contains("never comes to alignment 50"));
        assert!(said("stage 1 at 1:00").starts_with("Stage 1 cannot be moved"));
        for text in [
            "soon",
            "unison at last",
            "stage 0 at 1:00",
            "unison at bar 0",
            "stage at 2",
        ] {
            assert!(said(text).contains("Type \"unison at 1:17\""), "{text}");
        }
        let early = Last::of_moment(&seen, "unison at 0:02").expect("the nearest");
        assert!(
            early.heading.contains("It cannot come earlier"),
            "{early:?}"
        );
    }
}
