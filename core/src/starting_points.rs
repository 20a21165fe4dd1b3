//! Starting points: short phrases of our own, each with a process that becomes it, and what to
//! listen for.
//!
//! They are data: words as the composer would type them, and parameters as one would type them in a
//! host. Whoever knows the parameters puts them in force; here they are only written down. What the
//! sentences claim is counted by `plugin/tests/starting_points.rs`.

mod table;

pub use table::ALL;

use crate::phrase::Phrase;
use crate::route::{Afterwards, Route, WrittenStage};
use crate::settings::{Grid, Modulation, Modulations, Worded};

/// An invented phrase with a process.
#[derive(Debug, PartialEq)]
pub struct StartingPoint {
    /// What it is called: "Wake".
    pub name: &'static str,
    /// What it is an example of: "a round by drift".
    pub idea: &'static str,
    /// The phrase, a word a step, as [`Phrase::from_text`] reads it.
    pub words: &'static str,
    /// The step.
    pub grid: Grid,
    /// A tempo that suits it, in quarter notes a minute.
    pub tempo: f64,
    /// Parameters by their ids, with values as they are typed. All others are at their defaults.
    set: &'static [(&'static str, &'static str)],
    /// The mode changes.
    modes: &'static [Modulation],
    /// The form, if it is written by hand.
    stages: &'static [WrittenStage],
    /// What comes after the last of those.
    afterwards: Afterwards,
    /// What to listen for.
    pub listen: [&'static str; 3],
}

/// What is left out is as in a new project.
const NEW: StartingPoint = StartingPoint {
    name: "",
    idea: "",
    words: "",
    grid: Grid::Sixteenth,
    tempo: 108.0,
    set: &[],
    modes: &[],
    stages: &[],
    afterwards: Afterwards::Hold,
    listen: [""; 3],
};

impl StartingPoint {
    /// The phrase.
    pub fn phrase(&self) -> Phrase {
        Phrase::from_text(self.words, self.grid.beats()).expect("its words are notes")
    }

    /// Parameters by their ids, with values as they are typed. All others are at their defaults.
    pub fn settings(&self) -> impl Iterator<Item = (&'static str, &'static str)> {
        let grid = ("grid", self.grid.wording().name);
        std::iter::once(grid).chain(self.set.iter().copied())
    }

    /// The mode changes.
    pub fn modulations(&self) -> Modulations {
        Modulations::new(self.modes.iter().copied())
    }

    /// The form as it is written; the generated one, if it is not.
    pub fn route(&self) -> Route {
        Route::new(self.stages, self.afterwards).expect("its stages are a route")
    }
}

/// The one of that name, however it is spelt: "change of watch", "change-of-watch".
pub fn named(text: &str) -> Option<&'static StartingPoint> {
    let bare = |text: &str| -> String {
        let signs = text.chars().filter(|sign| sign.is_alphanumeric());
        signs.collect::<String>().to_lowercase()
    };
    ALL.iter().find(|start| bare(start.name) == bare(text))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn each_is_a_phrase_with_a_name_of_its_own_and_three_sentences() {
        let names: BTreeSet<_> = ALL.iter().map(|start| start.name).collect();
        let ideas: BTreeSet<_> = ALL.iter().map(|start| start.idea).collect();
        assert!(names.len() >= 12, "{}", names.len());
        assert_eq!((names.len(), ideas.len()), (ALL.len(), ALL.len()));
        for start in ALL {
            assert!(start.phrase().notes().len() >= 4, "{}", start.name);
            assert_eq!(start.route().stages().len(), start.stages.len());
            assert!((20.0..=300.0).contains(&start.tempo), "{}", start.name);
            for sentence in start.listen {
                let ends = sentence.matches(['.', '!', '?']).count();
                assert!(ends == 1 && sentence.ends_with('.'), "{sentence}");
            }
        }
    }

    #[test]
    fn one_is_found_by_its_name_however_it_is_spelt() {
        let name = |text| named(text).map(|start| start.name);
        assert_eq!(name("change-of-WATCH"), Some("Change of Watch"));
        assert_eq!(name("wake"), Some("Wake"));
        assert_eq!(name("no such thing"), None);
    }
}
