//! What the audio thread shows the window, once a block, without waiting for anybody.

use crate::hearing::Hearing;
use procession_core::engine::{Engine, News};
use procession_core::metre::Metre;
use procession_core::part::{MAX_PARTS, Part};
use procession_core::practice::{Judged, Told};
use procession_core::time::Beats;
use procession_core::voices::Footing;
use triple_buffer::{Input, Output, triple_buffer};

/// Where everything stands at the end of a block. Plain values; shaping them for the eye is the
/// window's business.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Snapshot {
    /// Whether the song rolls.
    pub playing: bool,
    /// Whether the process plays, on the song's time or on its own.
    pub running: bool,
    /// Where the song, or the own time, has come to.
    pub position: Beats,
    /// Beats a minute.
    pub tempo: f64,
    /// Beats a bar, as far as the host tells; 4 if it does not.
    pub beats_per_bar: f64,
    /// Where bar 1 of the song begins, if all its bars are as long.
    pub first_bar: Beats,
    /// The time signature, as the host tells it; none if it does not.
    pub metre: Option<Metre>,
    /// The metre that bars are counted by.
    pub counted: Option<Metre>,
    /// Until where it plays on, hold having gone off.
    pub ending: Option<Beats>,
    /// Position at which cycle 0 begins.
    pub origin: Beats,
    /// Beats by which each voice is ahead; none if it has not entered. At [`Part::index`].
    pub ahead: [Option<Beats>; MAX_PARTS],
    /// For each part, at [`Part::index`], the keys that sound: bit k is key k.
    pub sounding: [u128; MAX_PARTS],
    /// Where voices go on from; none before the first block.
    pub footing: Option<Footing>,
    /// Whether dwells are counted that wait for a cue.
    pub counts_dwells: bool,
    /// Whether what plays is what was performed, as it was remembered.
    pub follows: bool,
    /// How many keys were struck so far.
    pub struck: u32,
    /// How many phrases were taken so far.
    pub taken: u32,
    /// How many notes were left out of the last phrase because there was no room.
    pub left_out: u32,
    /// Whether the last phrase was heard to repeat.
    pub repeats: bool,
    /// The tempo that the last phrase was played at, and the one it was taken for, in beats a
    /// minute; 0 before the first.
    pub played_at: f64,
    /// See [`played_at`](Self::played_at).
    pub taken_as: f64,
    /// How often hold was asked for and nothing had been played.
    pub nothing_played: u32,
    /// The number of the snippet that is heard; 0 if none is.
    pub heard_snippet: u32,
    /// The number of the last one that was asked for and has been looked at.
    pub answered_snippet: u32,
    /// The number of the last one that had no audio to sound in; 0 if none.
    pub mute_snippet: u32,
    /// How many cues were given.
    pub cues: u32,
    /// Whether what gives them is held down.
    pub cue_held: bool,
    /// Where a player stands in what is practised.
    pub rehearsal: Told,
    /// The last pass that was played.
    pub judged: Option<Judged>,
}

/// The bars of the song where it stands, as far as the host tells.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bars {
    /// Beats a bar.
    pub length: Beats,
    /// Where bar 1 begins, if all bars are as long.
    pub first: Beats,
    /// The time signature, as the host tells it; none if it does not.
    pub metre: Option<Metre>,
    /// The metre that bars are counted by: the same, as it is grouped.
    pub counted: Option<Metre>,
}

impl Default for Bars {
    /// Four beats from the beginning of the song.
    fn default() -> Self {
        Self {
            length: 4.0,
            first: 0.0,
            metre: None,
            counted: None,
        }
    }
}

/// The audio thread's end.
pub struct Feed {
    sender: Input<Snapshot>,
    last: Snapshot,
    /// What is heard of snippets.
    hearing: Hearing,
    judged: Option<Judged>,
}

/// The window's end: what was shown last stays in sight until something newer is.
pub struct FeedReader(Output<Snapshot>);

/// The two ends of a feed.
pub fn feed() -> (Feed, FeedReader) {
    let (sender, receiver) = triple_buffer(&Snapshot::default());
    let last = Snapshot::default();
    let feed = Feed {
        sender,
        last,
        hearing: Hearing::default(),
        judged: None,
    };
    (feed, FeedReader(receiver))
}

impl Feed {
    /// What is heard of snippets, to be shown with all else.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn note_hearing(&mut self, hearing: &Hearing) {
        self.hearing = *hearing;
    }

    /// A pass was played, to be shown with all else.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn note_pass(&mut self, judged: &Judged) {
        self.judged = Some(*judged);
    }

    /// Shows where `engine` stands. Whether that differs from what was shown last.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn show(&mut self, engine: &Engine, news: &News, bars: Bars) -> bool {
        let process = engine.process();
        let clock = engine.clock();
        let before = self.last;
        let position = clock.position();
        let mut now = Snapshot {
            playing: clock.is_playing(),
            running: engine.is_running(),
            position,
            tempo: clock.tempo(),
            beats_per_bar: bars.length,
            first_bar: bars.first,
            metre: bars.metre,
            counted: bars.counted,
            ending: engine.ending(),
            origin: process.origin(),
            ahead: Part::ALL.map(|part| process.voices().displacement(part, position)),
            sounding: [0; MAX_PARTS],
            footing: Some(process.footing()),
            counts_dwells: process.voices().counts_dwells(),
            follows: engine.follows_performance(),
            struck: engine.struck(),
            heard_snippet: self.hearing.sounding(),
            answered_snippet: self.hearing.answered(),
            mute_snippet: self.hearing.mute(),
            cues: engine.cues_given(),
            cue_held: engine.cue_is_held(),
            rehearsal: engine.rehearsal().told(),
            judged: self.judged,
            nothing_played: before
                .nothing_played
                .wrapping_add(news.nothing_played.into()),
            ..before
        };
        if let Some(taken) = news.taken {
            now.taken = before.taken.wrapping_add(1);
            now.left_out = taken.left_out as u32;
            now.repeats = taken.repeats;
            (now.played_at, now.taken_as) = (taken.played_at, taken.taken_as);
        }
        for (part, key) in engine.player().ledger().held() {
            now.sounding[part.index()] |= 1 << key.number();
        }
        // The own clock of a plug-in that does nothing is nobody's business.
        let idle = !now.playing && !now.running;
        let still = Snapshot {
            position: before.position,
            ahead: before.ahead,
            ..now
        };
        let changed = if idle { still != before } else { now != before };
        if changed {
            self.last = now;
            self.sender.write(now);
        }
        changed
    }
}

impl FeedReader {
    /// The latest.
    pub fn look(&mut self) -> Snapshot {
        *self.0.read()
    }
}
