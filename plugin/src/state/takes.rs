//! Takes: every phrase that was held or loaded, and what was written before it, so that none is
//! lost.

use super::SavedPhrase;
use super::voice::{self, Recordings, Shelf, Voice};
use procession_core::phrase::Phrase;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::sync::Arc;
use std::time::{SystemTime, UNIX_EPOCH};

/// So many stay; the oldest gives way.
pub const MOST_TAKES: usize = 32;

/// So many recordings stay with them: a project is to stay one that can be opened. A take from
/// before keeps its notes.
pub const MOST_RECORDINGS: usize = 8;

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
    /// The recording that goes along with it, if notes of it were said.
    pub voice: Option<Voice>,
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

    /// One more, and what goes along with it. Rests are no take, and what came last does not come
    /// twice.
    pub fn add(&mut self, phrase: &Phrase, voice: Option<&Voice>, at: u64, how: How) {
        let voice = voice::of(phrase, voice);
        let is_last = (self.0.last()).is_some_and(|last| last.is_of(phrase, &voice));
        if phrase.is_empty() || is_last {
            return;
        }
        if self.0.len() == MOST_TAKES {
            self.0.remove(0);
        }
        self.0.push(Arc::new(Take {
            phrase: phrase.clone(),
            voice,
            at,
            how,
        }));
        self.let_go_of_recordings();
    }

    /// A phrase that is about to give way to another stays, unless it is here already.
    pub fn keep(&mut self, phrase: &Phrase, voice: Option<&Voice>) {
        let said = voice::of(phrase, voice);
        if !self.iter().any(|take| take.is_of(phrase, &said)) {
            self.add(phrase, voice, now(), How::Written);
        }
    }

    /// Of the recordings the latest stay.
    fn let_go_of_recordings(&mut self) {
        let mut stay: Vec<Voice> = Vec::new();
        for take in self.0.iter_mut().rev() {
            match &take.voice {
                Some(voice) if stay.contains(voice) => (),
                Some(voice) if stay.len() < MOST_RECORDINGS => stay.push(voice.clone()),
                Some(_) => Arc::make_mut(take).voice = None,
                None => (),
            }
        }
    }
}

impl Take {
    fn is_of(&self, phrase: &Phrase, voice: &Option<Voice>) -> bool {
        self.phrase == *phrase && self.voice == *voice
    }
}

#[derive(Clone, Debug, Serialize, Deserialize)]
pub(super) struct SavedTake {
    at: u64,
    how: How,
    phrase: SavedPhrase,
    /// The place of its recording. A take whose recording is damaged is still a take.
    #[serde(skip_deserializing, skip_serializing_if = "Option::is_none")]
    voice: Option<usize>,
}

/// As they are saved.
pub(super) fn saved(takes: &Takes, shelf: &mut Shelf) -> Vec<SavedTake> {
    let saved = |take: &Take| SavedTake {
        at: take.at,
        how: take.how,
        phrase: SavedPhrase::from(&take.phrase),
        voice: shelf.place(take.voice.as_ref()),
    };
    takes.iter().map(saved).collect()
}

/// The takes that were saved; none were in states from before they were kept. Those that can be
/// read, and what is to be said of the others.
pub(super) fn restored(saved: &Value, recordings: &Recordings) -> (Takes, Vec<String>) {
    let Some(saved) = saved.get("takes") else {
        return (Takes::default(), Vec::new());
    };
    let Some(all) = saved.as_array() else {
        let said = "The saved takes cannot be read, and are left out.".to_owned();
        return (Takes::default(), vec![said]);
    };
    let newest = &all[all.len().saturating_sub(MOST_TAKES)..];
    let are = |count: usize| if count == 1 { "is" } else { "are" };
    let (mut takes, mut lost, mut unheard) = (Vec::new(), 0, 0);
    for saved in newest {
        let Some(mut take) = read(saved) else {
            lost += 1;
            continue;
        };
        match recordings.voice(saved) {
            Ok(voice) => take.voice = voice,
            Err(_) => unheard += 1,
        }
        takes.push(Arc::new(take));
    }
    let mut said = Vec::new();
    if lost > 0 {
        let are = are(lost);
        said.push(format!(
            "Of the saved takes {lost} cannot be read, and {are} left out."
        ));
    }
    if unheard > 0 {
        let are = are(unheard);
        said.push(format!(
            "Of the saved takes {unheard} {are} there without the recording, which cannot be heard."
        ));
    }
    let mut takes = Takes(takes);
    takes.let_go_of_recordings();
    (takes, said)
}

/// A take but for its recording.
fn read(saved: &Value) -> Option<Take> {
    let saved = SavedTake::deserialize(saved).ok()?;
    Some(Take {
        phrase: saved.phrase.checked().ok()?,
        voice: None,
        at: saved.at,
        how: saved.how,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::state::Kept;
    use procession_core::note::{Note, Syllable};
    use procession_core::reciter::Utterance;

    fn phrase(notes: usize) -> Phrase {
        Phrase::from_text(&"D4 ".repeat(notes), 0.25).expect("a phrase")
    }

    #[test]
    fn the_last_thirty_two_stay_and_what_came_last_does_not_come_twice() {
        let mut takes = Takes::default();
        for notes in 1..=40 {
            takes.add(&phrase(notes), None, notes as u64, How::Held);
            takes.add(&phrase(notes), None, 99, How::Loaded);
        }
        assert_eq!(takes.iter().len(), MOST_TAKES);
        let first = takes.get(0).expect("a take");
        assert_eq!((first.phrase.notes().len(), first.at), (9, 9));
        takes.keep(&phrase(20), None);
        takes.keep(&Phrase::empty(4.0).expect("a length"), None);
        assert_eq!(takes.iter().len(), MOST_TAKES, "it is there already");
        takes.keep(&phrase(3), None);
        let last = takes.iter().next_back().expect("a take");
        assert_eq!((last.phrase.notes().len(), last.how), (3, How::Written));
    }

    /// A sentence of three notes, and a recording that tells itself from others by its loudness.
    fn said(notes: usize, loud: i32) -> (Phrase, Voice) {
        let syllable = Syllable::new(0.0, 0.1, 0.2, 0.0);
        let plain = phrase(notes);
        let notes = plain.notes().iter().map(|note| Note {
            said: syllable,
            ..*note
        });
        let steps = (0..8_000).map(|n| if n % 40 < 20 { loud } else { -loud });
        let utterance = Utterance::from_steps(steps, 8_000, 16).expect("an utterance");
        let phrase = Phrase::new(notes, plain.length()).expect("a phrase");
        (phrase, Voice::new(utterance).expect("a voice"))
    }

    #[test]
    fn what_was_said_comes_back_with_its_recording_which_is_written_once() {
        let mut kept = Kept::default();
        let (one, other) = (said(3, 900), said(2, 300));
        kept.load(one.0.clone(), Some(one.1.clone()), 1);
        kept.load(phrase(5), None, 2);
        assert_eq!(kept.voice, None, "a phrase that nobody said");
        kept.load(other.0, Some(other.1.clone()), 3);
        let text = kept.to_json();
        let saved: Value = serde_json::from_str(&text).expect("JSON");
        assert_eq!(saved["recordings"].as_array().map(Vec::len), Some(2));
        let mut read = Kept::default();
        assert_eq!(read.restore(&saved), None);
        assert_eq!(read, kept);
        assert_eq!(read.voice, Some(other.1));
        read.bring_back(0);
        assert_eq!((read.taken.phrase, read.voice), (one.0, Some(one.1)));
    }

    #[test]
    fn a_take_whose_recording_is_damaged_is_there_without_it() {
        let mut kept = Kept::default();
        let (phrase, voice) = said(3, 900);
        kept.load(phrase.clone(), Some(voice), 1);
        kept.load(super::tests::phrase(5), None, 2);
        let mut saved: Value = serde_json::from_str(&kept.to_json()).expect("JSON");
        saved["recordings"][0] = Value::from("no such text!");
        let mut read = Kept::default();
        let notice = read.restore(&saved).expect("something to say").0;
        assert_eq!(
            notice,
            "Of the saved takes 1 is there without the recording, which cannot be heard."
        );
        let take = read.takes.get(0).expect("a take");
        assert_eq!((&take.phrase, &take.voice), (&phrase, &None));
    }

    #[test]
    fn of_the_recordings_the_latest_stay() {
        let mut takes = Takes::default();
        for at in 0..12 {
            let (phrase, voice) = said(1 + at % 4, 100 + at as i32);
            takes.add(&phrase, Some(&voice), at as u64, How::Loaded);
        }
        let kept: Vec<bool> = takes.iter().map(|take| take.voice.is_some()).collect();
        assert_eq!(kept, [[false; 4].as_slice(), &[true; 8]].concat());
    }
}
