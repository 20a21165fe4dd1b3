//! What was heard: the plug-in's events over a whole session, and the notes they make.

use crate::host::{Address, Event};
use crate::score::Line;

/// An event the plug-in sent, and when.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Heard {
    /// Frames since the session began.
    pub frame: u64,
    /// Song position in beats.
    pub beats: f64,
    /// Beats that had passed since the session began, at the tempi in force, rolling or not,
    /// through loops and seeks.
    pub passed: f64,
    /// What it was.
    pub event: Event,
}

/// A note with its end.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HeardNote {
    /// Channel 1 ..= 16, as musicians count.
    pub channel: u16,
    /// 0 ..= 127.
    pub key: u16,
    /// 0 ..= 1.
    pub velocity: f64,
    /// When it started.
    pub start: Heard,
    /// When it ended, unless it still sounds.
    pub end: Option<Heard>,
}

/// Everything heard in a session.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Recording {
    events: Vec<Heard>,
}

impl Recording {
    /// A recording of these events, which are in order of time.
    pub fn new(events: Vec<Heard>) -> Self {
        Self { events }
    }

    /// All events, in order of time.
    pub fn events(&self) -> &[Heard] {
        &self.events
    }

    /// The part of it from frame `start` up to frame `end` of the session.
    pub fn frames(&self, start: u64, end: u64) -> Self {
        let inside = |heard: &&Heard| (start..end).contains(&heard.frame);
        Self::new(self.events.iter().filter(inside).copied().collect())
    }

    /// The notes, in order of their start. A choke ends a note as a note-off does.
    pub fn notes(&self) -> Vec<HeardNote> {
        self.pair().0
    }

    /// What a channel plays, by song position. Channels count from 1, as musicians count.
    pub fn channel(&self, channel: u16) -> Line {
        let mut notes = self.notes();
        notes.retain(|note| note.channel == channel);
        Line::new(format!("channel {channel}"), notes)
    }

    /// What all the channels play together, by song position.
    pub fn all(&self) -> Line {
        Line::new("all channels".to_owned(), self.notes())
    }

    /// The values a MIDI controller took on a channel (1 ..= 16): song position and value.
    pub fn controller(&self, channel: u16, number: u8) -> Vec<(f64, u8)> {
        let status = 0xB0 | (channel.saturating_sub(1) & 15) as u8;
        self.events
            .iter()
            .filter_map(|heard| match heard.event {
                Event::Midi([first, second, value]) if first == status && second == number => {
                    Some((heard.beats, value))
                }
                _ => None,
            })
            .collect()
    }

    /// Fails unless every note-on has exactly one later note-off, and the reverse.
    ///
    /// # Panics
    /// Names the first notes for which it is not so.
    #[track_caller]
    pub fn assert_no_note_hangs(&self) {
        let (notes, strays) = self.pair();
        let hanging: Vec<_> = notes.iter().filter(|note| note.end.is_none()).collect();
        assert!(
            hanging.is_empty() && strays.is_empty(),
            "{} of {} notes never end, and {} note-offs end nothing.\nhanging, first: {:#?}\nstray, first: {:#?}",
            hanging.len(),
            notes.len(),
            strays.len(),
            hanging.first(),
            strays.first(),
        );
    }

    /// Notes, and the note-offs that end none.
    fn pair(&self) -> (Vec<HeardNote>, Vec<Heard>) {
        let mut notes: Vec<HeardNote> = Vec::new();
        let mut sounding: Vec<(usize, Address)> = Vec::new();
        let mut strays = Vec::new();
        for heard in &self.events {
            match heard.event {
                Event::NoteOn { note, velocity } => {
                    sounding.push((notes.len(), note));
                    notes.push(HeardNote {
                        channel: note.channel.map_or(0, |channel| channel + 1),
                        key: note.key.unwrap_or(u16::MAX),
                        velocity,
                        start: *heard,
                        end: None,
                    });
                }
                Event::NoteOff { note, .. } | Event::Choke(note) => {
                    // The one that sounds longest ends first.
                    match sounding.iter().position(|(_, other)| ends(note, *other)) {
                        Some(place) => {
                            let (index, _) = sounding.remove(place);
                            notes[index].end = Some(*heard);
                        }
                        None => strays.push(*heard),
                    }
                }
                _ => {}
            }
        }
        (notes, strays)
    }
}

/// Whether a note-off for `off` ends the note `on`: channel and key agree, and so do the ids if
/// both have one.
fn ends(off: Address, on: Address) -> bool {
    let same_id = match (off.id, on.id) {
        (Some(off), Some(on)) => off == on,
        _ => true,
    };
    off.channel == on.channel && off.key == on.key && same_id
}
