//! Hearing a snippet: the window asks for two cycles of something, the mallets play them.
//!
//! Snippets are made on the window's thread and cross whole, through a triple buffer, so that nobody
//! waits. The audio thread reads them where they lie; whatever is freed, the window's thread frees.

use procession_core::ledger::Message;
use procession_core::mallet::Mallets;
use procession_core::snippet::{Snippet, Stroke};
use procession_core::time::{Beats, Block};
use triple_buffer::{Input, Output, triple_buffer};

/// Asks for snippets: the window's end.
pub struct Asking {
    sender: Input<Order>,
    number: u32,
}

/// Hears what is asked for: the audio thread's end.
pub struct Asked(Output<Order>);

/// The two ends. Make one pair for each plug-in instance.
pub fn line() -> (Asking, Asked) {
    let (sender, receiver) = triple_buffer(&Order::default());
    (Asking { sender, number: 0 }, Asked(receiver))
}

/// Play this, in the place of what was ordered before; nothing, if it is silent.
#[derive(Clone, Default)]
pub struct Order {
    number: u32,
    snippet: Snippet,
}

impl Asking {
    /// Asks for a snippet at once, in the place of any other. Its number, by which the audio thread
    /// will tell that it sounds; never 0.
    ///
    /// It allocates, so it must not run on the audio thread.
    pub fn play(&mut self, snippet: Snippet) -> u32 {
        // A number that came round would be that of a snippet forgotten long ago.
        self.number = self.number.checked_add(1).unwrap_or(1);
        let order = self.sender.input_buffer_mut();
        (order.number, order.snippet) = (self.number, snippet);
        self.sender.publish();
        self.number
    }

    /// Asks for silence.
    pub fn stop(&mut self) {
        self.play(Snippet::default());
    }
}

impl Asked {
    /// What was asked for last.
    ///
    /// # Real-time
    /// Allocates never, blocks never: one atomic swap.
    pub fn poll(&mut self) -> &Order {
        self.0.update();
        self.0.output_buffer()
    }

    /// The same, as of the last [`Self::poll`].
    pub fn order(&self) -> &Order {
        self.0.output_buffer()
    }
}

/// How far a snippet has come, and which one: what the audio thread remembers between two blocks.
#[derive(Clone, Copy, Debug, Default)]
pub struct Hearing {
    /// Of the order that was looked at last.
    number: u32,
    /// While it sounds.
    place: Option<Place>,
    /// It has come to its end, or was broken off, and may still ring.
    lingers: bool,
    /// The number of the last one that had no audio to sound in.
    mute: u32,
}

#[derive(Clone, Copy, Debug, Default)]
struct Place {
    /// Beats of it that are over.
    at: Beats,
    /// The stroke that comes next.
    next: usize,
}

/// Its strokes go by numbers of their own, so that no note of the song ends them.
fn own(id: i32) -> i32 {
    -id
}

impl Hearing {
    /// Looks at what was asked for. If it is something new, what rings makes room for it.
    pub fn look(&mut self, order: &Order, mallets: &mut Mallets) {
        if self.number == order.number {
            return;
        }
        self.number = order.number;
        if !order.snippet.is_silent() {
            mallets.all_off();
            (self.place, self.lingers) = (Some(Place::default()), true);
        } else {
            self.stop(mallets);
        }
    }

    /// Breaks it off, as fast as can be done without a click.
    pub fn stop(&mut self, mallets: &mut Mallets) {
        if self.place.take().is_some() {
            mallets.all_off();
        }
    }

    /// The same with nothing sounding, after the mallets have gone.
    pub fn broken_off(self) -> Self {
        Self {
            number: self.number,
            ..Self::default()
        }
    }

    /// There is no audio to sound in.
    pub fn find_no_audio(&mut self) {
        if self.place.take().is_some() {
            self.mute = self.number;
        }
        self.lingers = false;
    }

    /// The number of the last snippet that had no audio to sound in, or 0.
    pub fn mute(&self) -> u32 {
        self.mute
    }

    /// The number of the snippet that sounds, or 0.
    pub fn sounding(&self) -> u32 {
        self.place.map_or(0, |_| self.number)
    }

    /// The number of the last order that was looked at.
    pub fn answered(&self) -> u32 {
        self.number
    }

    /// Whether it sounds: the song is not to be heard.
    pub fn sounds(&self) -> bool {
        self.place.is_some()
    }

    /// Whether it sounds, or did and may still ring.
    pub fn is_heard(&self) -> bool {
        self.lingers
    }

    /// Nothing rings any more.
    pub fn die_away(&mut self) {
        self.lingers = self.sounds();
    }
}

/// A snippet during a block, of which `block` says at which tempo and from where in it on.
pub struct SnippetBlock<'a> {
    hearing: &'a mut Hearing,
    snippet: &'a Snippet,
    block: Block,
}

impl<'a> SnippetBlock<'a> {
    /// For a block of so many frames.
    pub fn begin(
        hearing: &'a mut Hearing,
        order: &'a Order,
        beats_per_frame: f64,
        frames: u32,
    ) -> Self {
        let block = Block {
            start: hearing.place.map_or(0.0, |place| place.at),
            beats_per_frame,
            frames,
        };
        Self {
            hearing,
            snippet: &order.snippet,
            block,
        }
    }

    /// Whether the song is not to be heard.
    pub fn sounds(&self) -> bool {
        self.hearing.sounds()
    }

    /// The next stroke up to and with `frame`, and the frame it falls on. When none is left, the
    /// snippet is over.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn next_until(&mut self, frame: u32) -> Option<(u32, Stroke)> {
        let place = self.hearing.place.as_mut()?;
        let until = self.block.span().end;
        let Some(stroke) = self.snippet.strokes().get(place.next) else {
            let end = self.snippet.length();
            if end < until && self.block.frame_of(end) <= frame {
                self.hearing.place = None;
            }
            return None;
        };
        let falls_on = self.block.frame_of(stroke.at);
        if stroke.at >= until || falls_on > frame {
            return None;
        }
        place.next += 1;
        Some((falls_on, *stroke))
    }

    /// The block is over, and something rings on or nothing does.
    pub fn finish(self, rings: bool) {
        if let Some(place) = &mut self.hearing.place {
            place.at = self.block.end();
        } else if !rings {
            self.hearing.die_away();
        }
    }
}

/// Strikes or damps a bar.
pub fn strike(mallets: &mut Mallets, stroke: &Stroke) {
    match stroke.message {
        Message::NoteOn {
            key, velocity, id, ..
        } => {
            mallets.strike(stroke.mallet, own(id), key, velocity, stroke.pan);
        }
        Message::NoteOff { id, .. } => mallets.note_off(own(id)),
        Message::Tuning { .. } | Message::Control { .. } => (),
    }
}
