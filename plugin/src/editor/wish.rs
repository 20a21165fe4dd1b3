//! What a view wants to happen. It says so and leaves the rest to the window.

use crate::files::Order;
use crate::microphone::Manner;
use crate::practice::Desk;
use crate::state::{Comes, Voice};
use procession_core::metre::Grouping;
use procession_core::phrase::Phrase;
use procession_core::route::{Edit, Route};
use procession_core::settings::Modulations;
use procession_core::snippet::Subject;
use procession_core::starting_points::StartingPoint;
use procession_core::time::Beats;
use std::sync::Arc;

/// A wish of a view.
#[derive(Clone, Debug, PartialEq)]
pub enum Wish {
    /// A hand is laid on a parameter: a gesture begins.
    Grasp(&'static str),
    /// The parameter takes this value, in the host's normalised range 0 ..= 1, as part of a gesture.
    Turn(&'static str, f32),
    /// The hand is taken off: the gesture ends.
    LetGo(&'static str),
    /// A whole gesture at once, to the value that a typed text stands for.
    Type(&'static str, String),
    /// A whole gesture at once, back to the default.
    Reset(&'static str),
    /// Another phrase; a step that can be undone, as is everything that is written.
    Edit(Box<Phrase>),
    /// A sentence that becomes the phrase.
    Speak(Box<Sentence>),
    /// Of what is said into the audio input.
    Listen(ListenWish),
    /// That sentence of a recording, counted from 0, is to be heard as this phrase.
    HearSentence(usize, Box<Phrase>),
    /// Another phrase, out of a file: it stays among the takes.
    Load(Box<Phrase>),
    /// A take comes back, the oldest being 0.
    BringBack(usize),
    /// Of the sketches.
    Sketch(SketchWish),
    /// That starting point takes the place of what is there.
    StartFrom(&'static StartingPoint),
    /// Take the last step back.
    Undo,
    /// Do it again.
    Redo,
    /// Everything silent, at once.
    Panic,
    /// Two cycles of this are to be heard, at once.
    Hear(Subject),
    /// What is heard by itself is to end.
    Hush,
    /// Another custom mode: semitones above the tonic, bit by bit.
    Custom(procession_core::mode::PitchSet),
    /// Bars are grouped so, and the phrase lies in them as it does here.
    Metre(Grouping, Box<Phrase>),
    /// Another song position to begin at, or none.
    BeginAt(Option<Beats>),
    /// Another modulation plan.
    Modulate(Box<Modulations>),
    /// Of the route.
    Route(RouteWish),
    /// What was performed in the song is to be forgotten.
    ForgetPerformed,
    /// Write files of what is seen.
    Write(Box<Order>),
    /// Give up what is being written.
    StopWriting,
    /// Say this on the status line.
    Say(String),
    /// Of practice.
    Practise(PracticeWish),
    /// The window is for a class, or for one again.
    ShowToClass(bool),
    /// Of the song; only the program has one of its own.
    Song(SongWish),
}

/// What is to become of practice. How one practises is no part of the piece, so there is nothing to
/// undo.
#[derive(Clone, Debug, PartialEq)]
pub enum PracticeWish {
    /// It begins, from the beginning of its round.
    Begin,
    /// It ends, or measuring does.
    End,
    /// The latency of the input is to be measured.
    Measure,
    /// The latency is this, in milliseconds.
    Keep(f64),
    /// It is to be so.
    Set(Box<Desk>),
}

/// A phrase that was said.
#[derive(Clone, Debug, PartialEq)]
pub struct Sentence {
    /// Each note knows its syllable in the recording.
    pub phrase: Phrase,
    /// What was said, from the first syllable to the last; or why it cannot be kept.
    pub voice: Result<Option<Voice>, String>,
}

/// What is to become of what is being said.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ListenWish {
    /// Hold is to take the sentence that begins with that frame, or the latest.
    Choose(Option<u64>),
    /// Sentences are to be put on the grid so.
    Manner(Manner),
}

/// What is to become of a sketch; places are counted from 0.
#[derive(Clone, Debug, PartialEq)]
pub enum SketchWish {
    /// All as it stands is kept there.
    Store(usize),
    /// What is kept there comes, when it is to come.
    CallUp(usize),
    /// It is called so.
    Name(usize, String),
    /// It is kept in another place, too.
    Duplicate {
        /// Where it is.
        from: usize,
        /// Where it comes.
        to: usize,
    },
    /// The place is empty again.
    Empty(usize),
    /// When one that is called up comes.
    Comes(Comes),
    /// Those two are compared.
    Pair(usize, usize),
    /// Of the two that are compared, the other one comes, at equal loudness.
    Flip,
    /// Nothing is compared any more: all is as loud as it is.
    Alone,
}

/// What is to become of the route.
#[derive(Clone, Debug, PartialEq)]
pub enum RouteWish {
    /// A gesture on it; a form that the settings make is written out first.
    Edit(Edit),
    /// It is written out as a list, and sounds as before.
    WriteOut,
    /// The settings make the form again.
    AsGenerated,
    /// It is this one, which is so called.
    Take(Arc<Route>, String),
}

/// What the program's song is to do.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum SongWish {
    /// Roll, or stop.
    Roll(bool),
    /// Have that tempo, in beats a minute.
    Tempo(f64),
    /// Go to that place, in beats.
    GoTo(Beats),
    /// Go to a stage of the process, so many beats after its beginning.
    Visit(Beats),
}
