//! A snippet: two cycles of a stage, of an alignment or of a mode change, to be heard by themselves.
//!
//! Of a stage that lasts, the two cycles in its middle: there the resulting line sings, and a drift
//! is half-way to where it goes. A stage of one cycle is heard twice, but for a drift, which goes
//! on to where it arrives. Of a mode change, the last cycle before it and the first in which the
//! new mode is whole, so that one is heard against the other. (Own choices, as is the number two:
//! the second time one knows what is coming.)
//!
//! Computed outside the audio thread, from the same [`Process`] that plays.

use crate::form::{Form, Stage, StageKind};
use crate::ledger::{Ledger, Message};
use crate::mode::ModeName;
use crate::note::Note;
use crate::part::{CopyNumber, Part};
use crate::performance::Performance;
use crate::phrase::Phrase;
use crate::player::{channel_of, pan_of};
use crate::process::{Process, VoiceNote};
use crate::settings::{
    Advance, CopySettings, FoldKind, FoldSettings, GrowthSettings, Hearing, Mallet, Modulations,
    Motion, MotionSettings, Settings, Shifts,
};
use crate::time::{Beats, HAIR, Span};
use crate::touch::perform;

/// What is to be heard.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Subject {
    /// That stage of the form, counted from 0.
    Stage(usize),
    /// The steady voice, and one copy locked so many steps ahead of it.
    Alignment {
        /// Which copy plays: in its octave, at its level, in its place.
        copy: CopyNumber,
        /// Steps.
        steps: i64,
    },
    /// That mode change of the list, counted from 0 as it was written.
    ModeChange(usize),
    /// That sentence of a recording, counted from 0: nothing of the process, but what it would
    /// become the phrase as ([`Snippet::of_phrase`]).
    Sentence(usize),
}

/// A note of a snippet begins or ends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stroke {
    /// Beats after the snippet's beginning.
    pub at: Beats,
    /// Where between left and right, as a MIDI pan position.
    pub pan: u8,
    /// On what bar.
    pub mallet: Mallet,
    /// What.
    pub message: Message,
}

/// Two cycles, and all that sounds in them.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Snippet {
    notes: Vec<VoiceNote>,
    strokes: Vec<Stroke>,
    length: Beats,
}

impl Snippet {
    /// Two cycles of `subject`, an alignment in the mode that is in force at song position `now`.
    /// None if there is no such stage, or if that mode change never comes.
    ///
    /// Stages and mode changes are those of the performance, as `form` lists them; a stage is heard
    /// as it stood in its middle.
    pub fn of(
        performance: &Performance,
        form: &Form,
        subject: Subject,
        now: Beats,
    ) -> Option<Self> {
        let voices = 1 + performance.copies().len();
        match subject {
            Subject::Stage(stage) => {
                let stretches = of_stage(form.stages.get(stage)?);
                Some(Self::played(performance, &stretches, voices))
            }
            Subject::ModeChange(index) => {
                let stretches = of_mode_change(performance, index)?;
                Some(Self::played(performance, &stretches, voices))
            }
            Subject::Sentence(_) => None,
            Subject::Alignment { copy, steps } => {
                let process = performance.at(now);
                let locked = Performance::counted(locked(&process, copy, steps, now));
                let cycle = process.phrase().length();
                // The resulting line enters after a cycle.
                let stretch = Span::new(cycle, 3.0 * cycle);
                let voices = voices.max(1 + locked.copies().len());
                Some(Self::played(&locked, &[stretch], voices))
            }
        }
    }

    /// A phrase by itself, twice, as the steady voice plays it.
    pub fn of_phrase(phrase: &Phrase) -> Self {
        let mut settings = Settings::default();
        settings.motion.copies = 0;
        let process = Process::new(phrase.clone(), settings, 0.0);
        let twice = Span::new(0.0, 2.0 * phrase.length());
        Self::played(&Performance::counted(process), &[twice], 1)
    }

    /// What is played in these stretches, one after another, in places for so many voices.
    fn played(performance: &Performance, stretches: &[Span], voices: usize) -> Self {
        let mut notes = Vec::new();
        let mut length = 0.0;
        for stretch in stretches {
            let middle = (stretch.start + stretch.end) / 2.0;
            notes.extend(heard_in(&performance.at(middle), *stretch, length));
            length += stretch.length();
        }
        for note in &mut notes {
            note.off = note.off.min(length);
        }
        Self {
            strokes: strokes(&notes, performance.future(), voices),
            notes,
            length,
        }
    }

    /// The notes, in order of onset, in beats after the snippet's beginning. None sounds after its
    /// end.
    pub fn notes(&self) -> &[VoiceNote] {
        &self.notes
    }

    /// The same as strokes, in order of time. What several voices strike at one moment on one key
    /// of one channel is one stroke, as it is when the process plays.
    pub fn strokes(&self) -> &[Stroke] {
        &self.strokes
    }

    /// Beats that the two cycles last.
    pub fn length(&self) -> Beats {
        self.length
    }

    /// Whether nothing is to be heard.
    pub fn is_silent(&self) -> bool {
        self.strokes.is_empty()
    }
}

/// What sounds in a stretch as it is played, as if that began at `begin`.
fn heard_in(process: &Process, stretch: Span, begin: Beats) -> impl Iterator<Item = VoiceNote> {
    // What rounding has moved across a border belongs where it was meant to.
    let around = Span::new(stretch.start - HAIR, stretch.end - HAIR);
    let moved = move |at: Beats| begin + (at - stretch.start).max(0.0);
    perform(process, around, true).map(move |note| VoiceNote {
        on: moved(note.on),
        off: moved(note.off),
        ..note
    })
}

fn of_stage(stage: &Stage) -> Vec<Span> {
    let Span { start, .. } = stage.span;
    let lap = stage.lap;
    let cycles = ((stage.span.length() + HAIR) / lap).floor();
    if cycles >= 2.0 {
        let first = start + ((cycles - 2.0) / 2.0).floor() * lap;
        return vec![Span::new(first, first + 2.0 * lap)];
    }
    if cycles < 1.0 || stage.kind == StageKind::Drift {
        return vec![Span::new(start, start + 2.0 * lap)];
    }
    vec![Span::new(start, start + lap); 2]
}

fn of_mode_change(performance: &Performance, index: usize) -> Option<Vec<Span>> {
    let turning = performance
        .mode_changes()
        .find(|change| change.index == Some(index))?
        .turning;
    let lap = |at| performance.at(at).voices().steady_lap(at).length;
    let (before, after) = (lap(turning.start - HAIR), lap(turning.end + HAIR));
    let whole = Span::new(turning.end, turning.end + after);
    if turning.start - before < performance.future().origin() - HAIR {
        // Nothing was before.
        return Some(vec![Span::new(whole.start, whole.start + 2.0 * after)]);
    }
    Some(vec![
        Span::new(turning.start - before, turning.start),
        whole,
    ])
}

/// The steady voice and `copy`, so many steps ahead for ever, from song position 0 on. They play in
/// the mode that is in force in `process` at `now`; whoever else is there is silent.
fn locked(process: &Process, copy: CopyNumber, steps: i64, now: Beats) -> Process {
    let mut settings = Settings {
        growth: GrowthSettings::default(),
        modulations: Modulations::default(),
        motion: MotionSettings {
            copies: copy.number(),
            motion: Motion::Jump,
            offset: 0.0,
            advance: Advance::Counted,
            shifts: Shifts::Count(0),
            entry: 0,
            ..process.settings().motion
        },
        ..*process.settings()
    };
    // The keys are folded once for all, in the phrase; by degree copies move in the mode that it is in then.
    let mode = process.mode_at(now);
    settings.fold = FoldSettings {
        fold: FoldKind::Off,
        source_tonic: Some(mode.tonic()),
        source_mode: Some(ModeName::Custom),
        custom: mode.steps(),
        ..settings.fold
    };
    settings.steady.hearing = Hearing::default();
    for other in CopyNumber::ALL {
        let own = &mut settings.copies[other.index()];
        *own = CopySettings {
            offset: steps as f64,
            // In a cycle of its own it would keep no alignment.
            length: None,
            level: if other == copy { own.level } else { 0.0 },
            hearing: Hearing::default(),
            ..*own
        };
    }
    Process::new(folded(process, now), settings, 0.0)
}

/// The phrase with every key where it goes at song position `now`.
fn folded(process: &Process, now: Beats) -> Phrase {
    let phrase = process.phrase();
    let notes = phrase.notes().iter().map(|note| Note {
        key: process.folded(note.key, now),
        ..*note
    });
    // The same places and lengths make a phrase as they did before.
    Phrase::new(notes, phrase.length())
        .map(|folded| folded.with_bar(phrase.bar()))
        .unwrap_or_else(|_| phrase.clone())
}

/// When and where notes begin and end, as a player would say it.
fn strokes(notes: &[VoiceNote], process: &Process, voices: usize) -> Vec<Stroke> {
    let output = &process.settings().output;
    let mallets = process.settings().mallets();
    let mut strokes: Vec<Stroke> = Vec::new();
    let mut put = |at: Beats, message: Message| {
        // What is struck at one moment, give or take a hair, is struck when all of it is there.
        let at = strokes.last().map_or(at, |last| at.max(last.at));
        let part = match message {
            Message::NoteOn {
                part: Some(part), ..
            } => part,
            _ => Part::ResultingLine,
        };
        strokes.push(Stroke {
            at,
            pan: pan_of(part, voices, output.width),
            mallet: mallets[part.index()],
            message,
        });
    };
    let mut ledger = Ledger::new();
    let mut moment = None;
    for note in notes {
        if let Some(before) = moment.filter(|before| note.on - before > HAIR) {
            ledger.sound(|message| put(before, message));
        }
        if moment.is_none_or(|before| note.on - before > HAIR) {
            moment = Some(note.on);
        }
        while let Some(off) = ledger.next_off().filter(|off| *off <= note.on) {
            ledger.release_next(|message| put(off, message));
        }
        let place = (channel_of(note.part, output), note.key);
        ledger.strike(note.part, note.off, place, note.velocity, |message| {
            put(note.on, message);
        });
    }
    if let Some(last) = moment {
        ledger.sound(|message| put(last, message));
    }
    while let Some(off) = ledger.next_off() {
        ledger.release_next(|message| put(off, message));
    }
    strokes
}
