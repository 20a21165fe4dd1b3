//! Takes: every phrase that was held or loaded, and what was written before it, so that none is
//! lost.

use super::SavedPhrase;
use procession_core::phrase::Phrase;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::sync::Arc;
use std::time::{SystemTime, UNIX_EPOCH};

/// So many stay; the oldest gives way.
pub const MOST_TAKES: usize = 32;

/// How a phrase came.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum How {
    /// It was played, and held.
    Held,
    /// Out of a file, or typed as words.
    Loaded,
    /// Written by hand, and about to give way to another.
    Written,
}

/// A phrase that stays.
#[derive(Clone, Debug, PartialEq)]
pub struct Take {
    /// The phrase.
    pub phrase: Phrase,
    /// When it came: seconds since 1970, by the system's clock.
    pub at: u64,
    /// How it came.
    pub how: How,
}

/// Seconds since 1970, by the system's clock.
///
/// # Real-time
/// Allocates never, blocks never: the clock is read, no more.
pub fn now() -> u64 {
    let since = SystemTime::now().duration_since(UNIX_EPOCH);
    since.map_or(0, |since| since.as_secs())
}

/// The last [`MOST_TAKES`], the oldest first. Large, and each shared by all who only look at it.
#[derive(Clone, Debug, Default)]
pub struct Takes(Vec<Arc<Take>>);

impl PartialEq for Takes {
    /// What is shared need not be looked at.
    fn eq(&self, other: &Self) -> bool {
        let alike =
            |(one, other): (&Arc<Take>, &Arc<Take>)| Arc::ptr_eq(one, other) || one == other;
        self.0.len() == other.0.len() && self.0.iter().zip(&other.0).all(alike)
    }
}

impl Takes {
    /// The oldest first.
    pub fn iter(&self) -> impl DoubleEndedIterator<Item = &Take> + ExactSizeIterator {
        self.0.iter().map(|take| &**take)
    }

    /// One of them, the oldest being 0.
    pub fn get(&self, index: usize) -> Option<&Take> {
        self.0.get(index).map(|take| &**take)
    }

    /// The last that holds this very phrase.
    pub fn place_of(&self, phrase: &Phrase) -> Option<usize> {
        self.0.iter().rposition(|take| take.phrase == *phrase)
    }

    /// One more. Rests are no take, and what came last does not come twice.
    pub fn add(&mut self, phrase: &Phrase, at: u64, how: How) {
        let is_last = self.0.last().is_some_and(|last| last.phrase == *phrase);
        if phrase.is_empty() || is_last {
            return;
        }
        if self.0.len() == MOST_TAKES {
            self.0.remove(0);
        }
        let phrase = phrase.clone();
        self.0.push(Arc::new(Take { phrase, at, how }));
    }

    /// A phrase that is about to give way to another stays, unless it is here already.
    pub fn keep(&mut self, phrase: &Phrase) {
        if self.place_of(phrase).is_none() {
            self.add(phrase, now(), How::Written);
        }
    }
}

#[derive(Clone, Debug, Serialize, Deserialize)]
pub(super) struct SavedTake {
    at: u64,
    how: How,
    phrase: SavedPhrase,
}

/// As they are saved.
pub(super) fn saved(takes: &Takes) -> Vec<SavedTake> {
    let saved = |take: &Take| SavedTake {
        at: take.at,
        how: take.how,
        phrase: SavedPhrase::from(&take.phrase),
    };
    takes.iter().map(saved).collect()
}

/// The takes that were saved; none were in states from before they were kept. Those that can be
/// read, and what is to be said of the others.
pub(super) fn restored(saved: &Value) -> (Takes, Option<String>) {
    let Some(saved) = saved.get("takes") else {
        return (Takes::default(), None);
    };
    let all = saved.as_array().map_or(&[][..], Vec::as_slice);
    let newest = &all[all.len().saturating_sub(MOST_TAKES)..];
    let read: Vec<Option<Arc<Take>>> = newest.iter().map(read).collect();
    let lost = read.iter().filter(|take| take.is_none()).count();
    let said = match (saved.is_array(), lost) {
        (false, _) => Some("The saved takes cannot be read, and are left out.".to_owned()),
        (true, 0) => None,
        (true, lost) => Some(format!(
            "Of the saved takes {lost} cannot be read, and {} left out.",
            if lost == 1 { "is" } else { "are" }
        )),
    };
    (Takes(read.into_iter().flatten().collect()), said)
}

fn read(saved: &Value) -> Option<Arc<Take>> {
    let saved = SavedTake::deserialize(saved).ok()?;
    Some(Arc::new(Take {
        phrase: saved.phrase.checked().ok()?,
        at: saved.at,
        how: saved.how,
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn phrase(notes: usize) -> Phrase {
        Phrase::from_text(&"D4 ".repeat(notes), 0.25).expect("a phrase")
    }

    #[test]
    fn the_last_thirty_two_stay_and_what_came_last_does_not_come_twice() {
        let mut takes = Takes::default();
        for notes in 1..=40 {
            takes.add(&phrase(notes), notes as u64, How::Held);
            takes.add(&phrase(notes), 99, How::Loaded);
        }
        assert_eq!(takes.iter().len(), MOST_TAKES);
        let first = takes.get(0).expect("a take");
        assert_eq!((first.phrase.notes().len(), first.at), (9, 9));
        takes.keep(&phrase(20));
        takes.keep(&Phrase::empty(4.0).expect("a length"));
        assert_eq!(takes.iter().len(), MOST_TAKES, "it is there already");
        takes.keep(&phrase(3));
        let last = takes.iter().next_back().expect("a take");
        assert_eq!((last.phrase.notes().len(), last.how), (3, How::Written));
    }
}
