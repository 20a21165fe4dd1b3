//! Touch: how players play what is written. Swing, a hand that is never quite even, and strong beats.
//!
//! What is written stays as it is: form, score and resulting line know nothing of touch. It is laid
//! over the notes where they leave, in real time and in the files that are heard, and is a function
//! of the song position: every bar can be played again exactly.
//!
//! **Swing** lengthens the first of two steps and shortens the second, so many to one. Jazz players'
//! ratios go from about 3.5 : 1 when slow to 1 : 1 when fast (Friberg & Sundström, "Swing ratios and
//! ensemble timing in jazz performance", Music Perception 19 (2002) 333-349).
//!
//! **Breathing.** What a hand is early or late, and louder or softer, is not white noise: it remembers
//! what was long ago, with a spectrum near 1/f, and listeners prefer it so (Hennig et al., "The
//! nature and perception of fluctuations in human musical rhythms", PLoS ONE 6 (2011) e26457).
//! Here noises of one strength are added up, each changing half as fast as the one before it.
//! (That a sum of such octaves has a spectrum near 1/f is common knowledge of sound synthesis; the
//! slope is measured in `tests/references/touch.py`.)
//!
//! **Accents** take from a note the more of its velocity the weaker its place in the bar, by the
//! weights of [`Metre::accent`](crate::metre::Metre::accent).

use crate::ensemble::Ensemble;
use crate::growth::scatter;
use crate::metre::Metre;
use crate::note::Velocity;
use crate::part::{MAX_PARTS, Part};
use crate::process::{Process, VoiceNote, VoiceNotes};
use crate::resulting::ResultingNotes;
use crate::settings::TouchSettings;
use crate::time::{Beats, HAIR, Span};
use crate::unrolling::{Unrolled, unroll};
use std::iter::Peekable;

/// Noises that are added up: the slowest changes every 512 steps.
const OCTAVES: u32 = 10;

/// The standard deviation of their sum where the fastest changes: each is even between -1 and 1, and
/// between its changes, where most of them are looked at, goes straight from one to the next, which
/// leaves two thirds of its variance. So the root of (1 + 9 x 2/3) / 3.
const DEVIATION: f64 = 1.527_525_231_651_947;

/// How a process is played.
#[derive(Clone, Copy, Debug)]
pub struct Touch<'a> {
    process: &'a Process,
    settings: TouchSettings,
    step: Beats,
    seed: u64,
}

/// What breathes.
#[derive(Clone, Copy)]
enum Breath {
    Timing,
    Velocity,
}

impl<'a> Touch<'a> {
    /// The touch that the settings of `process` ask for.
    pub fn of(process: &'a Process) -> Self {
        let settings = process.settings();
        Self {
            process,
            settings: settings.touch,
            step: settings.step(),
            seed: settings.growth.seed,
        }
    }

    /// Whether notes are played exactly as they are written.
    pub fn is_plain(&self) -> bool {
        self.settings.is_plain()
    }

    /// A note as it is played. None sounds before the process begins.
    pub fn play(&self, note: VoiceNote) -> VoiceNote {
        if self.is_plain() {
            return note;
        }
        VoiceNote {
            on: self.when(note.part, note.on),
            off: self.when(note.part, note.off),
            velocity: self.how_hard(&note),
            ..note
        }
    }

    /// When a part plays what is written at song position `at`: the later is never the earlier.
    pub fn when(&self, part: Part, at: Beats) -> Beats {
        let origin = self.process.origin();
        let since = self.swung(at - origin);
        let breath = self.settings.timing * self.step * self.breath(Breath::Timing, part, since);
        origin + (since + breath).max(0.0)
    }

    /// Where the written stretch begins of which a part plays the end at song position `at`: found by
    /// halving, and a little early.
    fn written_by(&self, part: Part, at: Beats) -> Beats {
        const HALVINGS: usize = 40;
        let reach = self.reach();
        let (mut early, mut late) = (at - reach, at + reach);
        for _ in 0..HALVINGS {
            let middle = early + (late - early) / 2.0;
            if late - early < HAIR {
                break;
            }
            if self.when(part, middle) < at {
                early = middle;
            } else {
                late = middle;
            }
        }
        early
    }

    /// Beats by which anything is played early or late, at most.
    fn reach(&self) -> Beats {
        let breath = self.settings.timing * f64::from(OCTAVES) / DEVIATION;
        self.step * (1.0 + breath)
    }

    /// Beats after the origin with the first of two steps longer than the second.
    fn swung(&self, since: Beats) -> Beats {
        let ratio = self.settings.swing;
        if ratio == 1.0 {
            return since;
        }
        let pair = 2.0 * self.step;
        let begins = ((since + HAIR) / pair).floor() * pair;
        let into = since - begins;
        let first = pair * ratio / (ratio + 1.0);
        begins
            + if into < self.step {
                into * first / self.step
            } else {
                first + (into - self.step) * (pair - first) / self.step
            }
    }

    fn how_hard(&self, note: &VoiceNote) -> Velocity {
        let since = note.on - self.process.origin();
        let breath = self.settings.velocity * self.breath(Breath::Velocity, note.part, since);
        let weak = 1.0 - self.accent(since);
        let factor = (1.0 + breath) * (1.0 - self.settings.accents * weak);
        Velocity::new(note.velocity.value() * factor.max(0.0) as f32)
    }

    /// How strong a place is, in the bars that the phrase was played in, or in bars of four quarters.
    fn accent(&self, since: Beats) -> f64 {
        match self.process.phrase().bar() {
            Some(bar) => bar.metre.accent(since - bar.begins),
            None => Metre::COMMON.accent(since),
        }
    }

    /// A noise with a spectrum near 1/f and a standard deviation near 1, never beyond 6.6, which
    /// changes by no more than 2.62 a step.
    fn breath(&self, what: Breath, part: Part, since: Beats) -> f64 {
        let is_still = match what {
            Breath::Timing => self.settings.timing == 0.0,
            Breath::Velocity => self.settings.velocity == 0.0,
        };
        if is_still {
            return 0.0;
        }
        let stream = self.seed.wrapping_mul(2 * MAX_PARTS as u64)
            + 2 * part.index() as u64
            + matches!(what, Breath::Velocity) as u64;
        let octave = |octave: u32| {
            let at = since / (self.step * f64::from(1_u32 << octave));
            let before = at.floor();
            let stream = stream.wrapping_mul(u64::from(OCTAVES)) + u64::from(octave);
            let value = |place: f64| even(stream, place as i64);
            let (from, to) = (value(before), value(before + 1.0));
            from + (to - from) * (at - before)
        };
        (0..OCTAVES).map(octave).sum::<f64>() / DEVIATION
    }
}

/// Evenly between -1 and 1, as good as random for each stream and place.
fn even(stream: u64, place: i64) -> f64 {
    let bits = scatter(stream, place as u64) >> 11;
    bits as f64 / (1_u64 << 52) as f64 - 1.0
}

/// All that sounds as it is played: every voice, and the resulting line.
///
/// # Real-time
/// Allocates never, blocks never; bounded by the notes in the span and the parts.
// One lives at a time, on the audio thread's stack, and may not be boxed there.
#[allow(clippy::large_enum_variant)]
#[derive(Clone, Debug)]
pub enum Playing<'a> {
    /// As it is written.
    Plain(Unrolled<'a>),
    /// With a touch.
    Touched {
        /// The steady voice and its copies.
        voices: Peekable<Ensemble<Touched<'a, VoiceNotes<'a>>>>,
        /// The line picked out of them.
        line: Peekable<Touched<'a, ResultingNotes<'a>>>,
    },
}

/// Everything `process` plays in `span`, in order of time. If that opens the performance, also what
/// is written in it and would have been played before: at its beginning.
pub fn perform(process: &Process, span: Span, opens: bool) -> Playing<'_> {
    let touch = Touch::of(process);
    if touch.is_plain() {
        return Playing::Plain(unroll(process, span));
    }
    let written = |part| {
        // A little more on either side: what is played outside the span is left out by its own time.
        let from = touch.written_by(part, span.start) - HAIR;
        let from = if opens { from.min(span.start) } else { from };
        Span::new(from, touch.written_by(part, span.end) + 2.0 * HAIR)
    };
    let voice = |part| Touched {
        touch,
        span,
        opens,
        notes: process.notes(part, written(part)),
    };
    let line = Touched {
        touch,
        span,
        opens,
        notes: ResultingNotes::new(process, written(Part::ResultingLine)),
    };
    Playing::Touched {
        voices: Ensemble::of(process.voices().parts().map(voice)).peekable(),
        line: line.peekable(),
    }
}

impl Iterator for Playing<'_> {
    type Item = VoiceNote;

    fn next(&mut self) -> Option<VoiceNote> {
        match self {
            Self::Plain(notes) => notes.next(),
            Self::Touched { voices, line } => match (voices.peek(), line.peek()) {
                (Some(voice), Some(first)) if first.on < voice.on => line.next(),
                (Some(_), _) => voices.next(),
                (None, _) => line.next(),
            },
        }
    }
}

/// What one part plays in a span, in order of time.
#[derive(Clone, Debug)]
pub struct Touched<'a, N> {
    touch: Touch<'a>,
    span: Span,
    opens: bool,
    notes: N,
}

impl<N: Iterator<Item = VoiceNote>> Iterator for Touched<'_, N> {
    type Item = VoiceNote;

    fn next(&mut self) -> Option<VoiceNote> {
        let Self {
            touch,
            span,
            opens,
            notes,
        } = self;
        notes.find_map(|note| {
            let played = touch.play(note);
            let missed = *opens && played.on < span.start && note.on >= span.start;
            let on = if missed { span.start } else { played.on };
            let inside = (span.start..span.end).contains(&on);
            inside.then_some(VoiceNote {
                on,
                off: played.off.max(on),
                ..played
            })
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phrase::Phrase;
    use crate::settings::Settings;

    fn played(touch: TouchSettings) -> Process {
        let phrase = Phrase::from_text("D4 F4 G4 A4 C5 E4 A4 G4", 0.25).unwrap();
        let settings = Settings {
            touch,
            ..Settings::default()
        };
        Process::new(phrase, settings, 8.0)
    }

    /// Two to one, two sixteenths take 1/3 and 1/6 of a beat; three to one, 3/8 and 1/8.
    #[test]
    fn swing_is_as_many_to_one_as_is_said() {
        for (swing, second) in [(1.0, 0.25), (2.0, 1.0 / 3.0), (3.0, 0.375)] {
            let process = played(TouchSettings {
                swing,
                ..TouchSettings::default()
            });
            let steady: Vec<Beats> = perform(&process, Span::new(8.0, 9.0), true)
                .filter(|note| note.part == Part::Steady)
                .map(|note| note.on)
                .collect();
            let expected = [8.0, 8.0 + second, 8.5, 8.5 + second];
            let close = |(a, b): (&f64, &f64)| (a - b).abs() < 1e-9;
            assert_eq!(steady.len(), 4);
            assert!(steady.iter().zip(&expected).all(close), "{steady:?}");
        }
    }

    #[test]
    fn accents_take_from_weak_places_what_they_are_told_to() {
        let process = played(TouchSettings {
            accents: 0.5,
            ..TouchSettings::default()
        });
        let hard: Vec<u8> = perform(&process, Span::new(8.0, 10.0), true)
            .filter(|note| note.part == Part::Steady)
            .map(|note| note.velocity.midi())
            .collect();
        // 0.7 of 127 is 89. In 4/4 the first beat weighs 1, the second 1/4, a half of it 1/8, a
        // quarter 1/16; of what is missing to 1, half goes.
        let of = |weight: f64| (0.7 * 127.0 * (1.0 - 0.5 * (1.0 - weight))).round() as u8;
        let expected = [1.0, 0.0625, 0.125, 0.0625, 0.25, 0.0625, 0.125, 0.0625].map(of);
        assert_eq!(hard, expected);
    }
}
