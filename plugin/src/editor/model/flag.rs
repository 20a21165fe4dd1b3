//! Where in the song the process is written to begin, as it is read and typed.

use crate::editor::model::plan::beats_per_bar;
use crate::editor::seen::Seen;
use crate::state::is_within_reach;
use procession_core::engine::Anchor;
use procession_core::settings::BeginOn;
use procession_core::time::{Beats, HAIR};

/// The bars of the song, counted in the metre that it has where it stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SongBars {
    /// How long one is.
    pub length: Beats,
    /// Song position at which bar 1 begins.
    pub first: Beats,
}

impl SongBars {
    /// As the host tells them.
    pub fn of(seen: &Seen) -> Self {
        let first = seen.snapshot.first_bar;
        Self {
            length: beats_per_bar(seen),
            first: if first.is_finite() { first } else { 0.0 },
        }
    }

    /// "33", and within a bar "33:2": the beats of it, in quarter notes, are counted from 1.
    pub fn text(&self, at: Beats) -> String {
        let bar = ((at - self.first + HAIR) / self.length).floor();
        let beat = at - self.first - bar * self.length;
        if beat.abs() <= HAIR {
            return format!("{}", bar + 1.0);
        }
        let beat = ((beat + 1.0) * 1000.0).round() / 1000.0;
        format!("{}:{beat}", bar + 1.0)
    }

    /// The song position that is typed: a bar ("33", "bar 33"), or a bar and a beat of it ("33:2").
    /// None if nothing is.
    ///
    /// # Errors
    /// It is none: in words, with the remedy.
    pub fn typed(&self, text: &str) -> Result<Option<Beats>, String> {
        let typed = text.trim().to_lowercase();
        let typed = typed.strip_prefix("bar").unwrap_or(&typed).trim();
        if typed.is_empty() {
            return Ok(None);
        }
        self.place(typed).map(Some).ok_or_else(|| {
            format!(
                "\"{}\" is no place to begin at. Type a bar of the song (33), or a bar and a beat of \
                 it (33:2); the last beat begins at {}. Nothing at all lifts it.",
                text.trim(),
                self.length
            )
        })
    }

    /// The song position of a bar ("33"), or of a bar and a beat of it ("33:2").
    pub fn place(&self, text: &str) -> Option<Beats> {
        let (bar, beat) = text.split_once([':', '.']).unwrap_or((text, "1"));
        let bar: i32 = bar.trim().parse().ok()?;
        let beat: f64 = beat.trim().parse().ok()?;
        let is_in_bar = (1.0..self.length + 1.0).contains(&beat);
        let at = self.first + f64::from(bar.checked_sub(1)?) * self.length + beat - 1.0;
        (is_in_bar && is_within_reach(at)).then_some(at)
    }

    /// What lies `by` beats after `at`, on the nearest bar line; or, if it is to be `fine`, on the
    /// nearest beat of its bar. Nothing lies before the first bar.
    pub fn dragged(&self, at: Beats, by: Beats, fine: bool) -> Beats {
        let to = (at + by - self.first).max(0.0);
        let bar = (to / self.length + HAIR).floor() * self.length;
        let in_song = if fine {
            bar + (to - bar).round().min(self.length)
        } else {
            (to / self.length).round() * self.length
        };
        self.first + in_song
    }
}

/// Where it begins as things are: where it is written, or else where it was found.
pub fn begins(seen: &Seen) -> Option<Beats> {
    let found = match seen.anchor {
        Anchor::Song(origin) => Some(origin),
        Anchor::NextStart => None,
    };
    seen.beginning.at.or(found)
}

/// What the flag says, the most telling wording first.
pub fn on_the_flag(seen: &Seen, at: Option<Beats>) -> Vec<String> {
    match at {
        Some(at) => {
            let bar = SongBars::of(seen).text(at);
            vec![format!("bar {bar}"), bar]
        }
        None => vec!["by Hold".to_owned(), "Hold".to_owned()],
    }
}

/// The same in full, and what can be done about it.
pub fn about(seen: &Seen) -> String {
    match seen.beginning.at {
        Some(at) => format!(
            "Begins at bar {} of the song: before it, Hold waits in silence; after it, Hold joins in.",
            SongBars::of(seen).text(at)
        ),
        None => {
            let boundary = match seen.beginning.begin_on {
                BeginOn::Now => "at once",
                BeginOn::Beat => "on the next beat",
                BeginOn::Bar => "on the next bar",
            };
            format!(
                "Begins {boundary} when Hold goes on. It can begin at a bar that is written here."
            )
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FOUR: SongBars = SongBars {
        length: 4.0,
        first: 0.0,
    };
    /// Where the host's bars of 7/8 are counted from a place of their own.
    const SEVEN: SongBars = SongBars {
        length: 3.5,
        first: 2.0,
    };

    #[test]
    fn what_is_read_is_what_is_typed() {
        for (bars, at, text) in [
            (FOUR, 0.0, "1"),
            (FOUR, 128.0, "33"),
            (FOUR, 129.0, "33:2"),
            (FOUR, 130.25, "33:3.25"),
            (FOUR, -4.0, "0"),
            (SEVEN, 114.0, "33"),
            (SEVEN, 116.5, "33:3.5"),
        ] {
            assert_eq!(bars.text(at), text);
            assert_eq!(bars.typed(text), Ok(Some(at)), "{text}");
        }
        assert_eq!(FOUR.typed(" Bar 33.2 "), Ok(Some(129.0)));
        assert_eq!(FOUR.typed("  "), Ok(None), "lifted");
    }

    #[test]
    fn what_is_no_place_is_told_with_the_remedy() {
        for text in [
            "soon",
            "33:5",
            "33:0",
            "33:",
            "1e9",
            "99999999999",
            "33:nan",
        ] {
            let refusal = FOUR.typed(text).expect_err(text);
            assert!(
                refusal.contains(text) && refusal.contains("Type a bar"),
                "{refusal}"
            );
        }
        assert!(SEVEN.typed("33:4.5").is_err(), "that is the next bar");
    }

    #[test]
    fn a_drag_goes_from_bar_to_bar_or_from_beat_to_beat_and_never_before_the_song() {
        for (by, fine, to) in [
            (7.9, false, 16.0),
            (4.5, false, 12.0),
            (-1.0, false, 8.0),
            (1.3, true, 10.0),
            (-99.0, false, 0.0),
        ] {
            assert_eq!(FOUR.dragged(9.0, by, fine), to, "{by}");
        }
        // The last beat of a bar of seven eighths is half a beat before the line.
        assert_eq!(SEVEN.dragged(2.0, 3.2, true), 5.0);
        assert_eq!(SEVEN.dragged(2.0, 3.6, true), 5.5);
    }
}
