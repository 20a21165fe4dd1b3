//! What steps are called.

use crate::editor::model::flag::SongBars;
use crate::editor::model::modulations::place_text;
use procession_core::metre::Grouping;
use procession_core::mode::{Mode, PitchSet};
use procession_core::phrase::Phrase;
use procession_core::settings::{Modulation, Modulations};
use procession_core::time::Beats;
use procession_core::words::number_of;

/// What a step changed, and into what.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Name {
    /// "dwell of stage 3".
    pub what: String,
    /// "6 cycles".
    pub to: Option<String>,
}

impl Name {
    /// A name.
    pub fn new(what: impl Into<String>, to: Option<String>) -> Self {
        Self {
            what: what.into(),
            to,
        }
    }

    /// "Dwell of stage 3: 6 cycles".
    pub fn in_full(&self) -> String {
        let mut letters = self.what.chars();
        let first = letters.next().map(|first| first.to_uppercase().to_string());
        let what = first.unwrap_or_default() + letters.as_str();
        match &self.to {
            Some(to) => format!("{what}: {to}"),
            None => what,
        }
    }

    /// Another phrase.
    pub fn of_phrase(before: &Phrase, after: &Phrase) -> Self {
        let notes = |phrase: &Phrase| phrase.notes().len();
        let (was, is) = (notes(before), notes(after));
        match was.cmp(&is) {
            std::cmp::Ordering::Less => {
                Self::new("notes written", Some(number_of(is - was, "note")))
            }
            std::cmp::Ordering::Greater => {
                Self::new("notes removed", Some(number_of(was - is, "note")))
            }
            std::cmp::Ordering::Equal if before.length() != after.length() => {
                let beats = (after.length() * 1000.0).round() / 1000.0;
                Self::new("length of the phrase", Some(format!("{beats} beats")))
            }
            std::cmp::Ordering::Equal => Self::new("notes of the phrase", None),
        }
    }

    /// Another place to begin at.
    pub fn of_beginning(at: Option<Beats>, bars: &SongBars) -> Self {
        let to = match at {
            Some(at) => format!("bar {}", bars.text(at)),
            None => "by Hold".to_owned(),
        };
        Self::new("where it begins", Some(to))
    }

    /// Bars are grouped otherwise.
    pub fn of_metre(grouping: Grouping) -> Self {
        let to = match grouping {
            Grouping::Written(metre) => metre.to_string(),
            Grouping::Usual => "as is usual".to_owned(),
            Grouping::Undivided => "not grouped".to_owned(),
        };
        Self::new("metre", Some(to))
    }

    /// Other mode changes; the first that differs gives the name.
    pub fn of_modulations(
        before: &Modulations,
        after: &Modulations,
        custom: PitchSet,
        beats_per_bar: Beats,
    ) -> Self {
        let (was, is): (Vec<&Modulation>, Vec<&Modulation>) =
            (before.iter().collect(), after.iter().collect());
        let place = (0..).find(|place| was.get(*place) != is.get(*place));
        let place = place.unwrap_or(0);
        let what = format!("mode change {}", place + 1);
        let to = match is.get(place) {
            _ if is.len() < was.len() => "removed".to_owned(),
            Some(change) => {
                let mode = Mode::named(change.tonic, change.mode, custom).name();
                format!("{mode} at {}", place_text(change.place, beats_per_bar))
            }
            None => "removed".to_owned(),
        };
        Self::new(what, Some(to))
    }

    /// A phrase out of a file.
    pub fn of_loading(phrase: &Phrase) -> Self {
        let notes = number_of(phrase.notes().len(), "note");
        Self::new("loading a phrase", Some(notes))
    }

    /// A take has come back.
    pub fn of_take(phrase: &Phrase) -> Self {
        let notes = number_of(phrase.notes().len(), "note");
        Self::new("bringing back a take", Some(notes))
    }

    /// Something has become of the sketch in a place, counted from 0.
    pub fn of_sketch(deed: &str, place: usize, to: Option<String>) -> Self {
        Self::new(format!("{deed} sketch {}", place + 1), to)
    }

    /// A starting point has taken the place of what was there.
    pub fn of_start(name: &str) -> Self {
        Self::new("starting point", Some(name.to_owned()))
    }

    /// Nothing was performed.
    pub fn of_forgetting() -> Self {
        Self::new("forgetting what was performed", None)
    }

    /// Another custom mode.
    pub fn of_custom() -> Self {
        Self::new("custom mode", None)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use procession_core::metre::Metre;
    use procession_core::mode::ModeName;
    use procession_core::settings::Place;

    #[test]
    fn steps_are_called_by_what_they_changed() {
        let phrase = |text| Phrase::from_text(text, 0.25).expect("a phrase");
        let (one, two) = (phrase("D4 . F4 ."), phrase("D4 E4 F4 ."));
        let named = |before: &Phrase, after: &Phrase| Name::of_phrase(before, after).in_full();
        assert_eq!(named(&one, &two), "Notes written: 1 note");
        assert_eq!(named(&two, &one), "Notes removed: 1 note");
        assert_eq!(
            named(&one, &phrase("D4 . F4")),
            "Length of the phrase: 0.75 beats"
        );
        assert_eq!(named(&one, &phrase("D4 . G4 .")), "Notes of the phrase");
        let bars = SongBars {
            length: 4.0,
            first: 0.0,
        };
        assert_eq!(
            Name::of_beginning(Some(128.0), &bars).in_full(),
            "Where it begins: bar 33"
        );
        let metre = Metre::grouped([2, 2, 3], 8).expect("a metre");
        assert_eq!(
            Name::of_metre(Grouping::Written(metre)).in_full(),
            "Metre: 2+2+3/8"
        );
        let change = |stage, mode| Modulation {
            place: Place::Stage(stage),
            tonic: 2,
            mode,
            over: 4,
        };
        let plan = |changes: &[Modulation]| Modulations::new(changes.iter().copied());
        let first = change(2, ModeName::Dorian);
        let (before, after) = (
            plan(&[first, change(4, ModeName::Lydian)]),
            plan(&[first, change(4, ModeName::Aeolian)]),
        );
        let named =
            |before, after| Name::of_modulations(before, after, PitchSet::CHROMATIC, 4.0).in_full();
        assert_eq!(
            named(&before, &after),
            "Mode change 2: D Aeolian at stage 4"
        );
        assert_eq!(named(&before, &plan(&[first])), "Mode change 2: removed");
    }
}
