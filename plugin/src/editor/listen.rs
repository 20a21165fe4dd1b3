//! Hearing something by itself: asking for it, and showing that it can be heard, or is.

use crate::editor::look::Look;
use crate::editor::seen::Seen;
use crate::editor::wish::Wish;
use crate::feed::Snapshot;
use crate::params::Parameters;
use egui::{Color32, EventFilter, Key, Painter, Pos2, Response, Shape, Stroke, Ui, pos2};
use procession_core::snippet::{Snippet, Subject};

/// What was asked for, and since when, in seconds of the window.
#[derive(Clone, Copy, Debug, Default)]
pub struct Listening(Option<Heard>);

#[derive(Clone, Copy, Debug)]
struct Heard {
    number: u32,
    subject: Subject,
    asked: Option<f64>,
}

/// So long audio is waited for before that is said, in seconds.
const PATIENCE: f64 = 2.0;

impl Listening {
    /// Has `subject` heard.
    ///
    /// # Errors
    /// Why it cannot be, in words.
    pub fn begin(
        &mut self,
        subject: Subject,
        seen: &Seen,
        parameters: &Parameters,
    ) -> Result<(), &'static str> {
        let now = seen.process.origin() + seen.elapsed();
        let snippet = Snippet::of(&seen.performance, &seen.form, subject, now)
            .ok_or("This never comes, so it cannot be heard.")?;
        self.begin_snippet(subject, snippet, parameters)
    }

    /// Has `snippet` heard, which is that of `subject`.
    ///
    /// # Errors
    /// Why it cannot be, in words.
    pub fn begin_snippet(
        &mut self,
        subject: Subject,
        snippet: Snippet,
        parameters: &Parameters,
    ) -> Result<(), &'static str> {
        if parameters.bypass() {
            return Err("Nothing is heard while Bypass is on. Switch it off in the host first.");
        }
        if snippet.is_silent() {
            return Err("Nothing sounds there. Are the levels of the voices at 0?");
        }
        self.0 = Some(Heard {
            number: parameters.kept.hear(snippet),
            subject,
            asked: None,
        });
        Ok(())
    }

    /// Ends what is heard.
    pub fn end(&mut self, parameters: &Parameters) {
        if self.0.take().is_some() {
            parameters.kept.hush();
        }
    }

    /// Why what was asked for last could not be heard, once.
    pub fn refused(&mut self, snapshot: &Snapshot) -> Option<&'static str> {
        let is_mute = |heard: &Heard| snapshot.mute_snippet == heard.number;
        self.0.take_if(|heard| is_mute(heard)).map(|_| {
            "Nothing is heard: here the plug-in has no audio output. Insert it where audio passes, \
             as an instrument or an effect."
        })
    }

    /// What is heard, or is about to be.
    pub fn follow(&mut self, snapshot: &Snapshot) -> Option<Subject> {
        let over = |heard: &Heard| {
            snapshot.answered_snippet == heard.number && snapshot.heard_snippet != heard.number
        };
        self.0 = self.0.filter(|heard| !over(heard));
        self.0.map(|heard| heard.subject)
    }

    /// What stands against it, if no audio comes that could carry it; at `now`, in seconds of the
    /// window.
    pub fn waits(&mut self, snapshot: &Snapshot, now: f64) -> Option<&'static str> {
        let heard = self.0.as_mut()?;
        if snapshot.answered_snippet == heard.number {
            return None;
        }
        let asked = heard.asked.get_or_insert(now);
        (now - *asked > PATIENCE).then_some(
            "Nothing is heard yet: no audio runs through the plug-in. Start the host's audio, or \
             enable this track.",
        )
    }
}

/// A click, or Enter: it is heard, or if it is heard already, that ends.
pub fn toggled(seen: &Seen, subject: Subject) -> Wish {
    if seen.hearing == Some(subject) {
        Wish::Hush
    } else {
        Wish::Hear(subject)
    }
}

/// Whether Enter was pressed with the keyboard on `response`.
pub fn entered(ui: &Ui, response: &Response) -> bool {
    let enter =
        |input: &egui::InputState| input.key_pressed(Key::Enter) && input.modifiers.is_none();
    response.has_focus() && ui.input(enter)
}

/// How many places on the arrow keys go, with the keyboard on `response`. They move nothing else.
pub fn steps(ui: &Ui, response: &Response) -> isize {
    if !response.has_focus() {
        return 0;
    }
    let filter = EventFilter {
        horizontal_arrows: true,
        ..EventFilter::default()
    };
    ui.memory_mut(|memory| memory.set_focus_lock_filter(response.id, filter));
    ui.input(|input| {
        let presses = |key| input.num_presses(key) as isize;
        presses(Key::ArrowRight) - presses(Key::ArrowLeft)
    })
}

/// The place that is so many steps on from `place`, of `count`.
pub fn stepped(place: usize, steps: isize, count: usize) -> usize {
    place
        .saturating_add_signed(steps)
        .min(count.saturating_sub(1))
}

/// How wide [`sign`] is, in points.
pub const SIGN: f32 = 14.0;

/// The sign of what can be heard, its middle at `at`: something that sounds, and two waves of it.
/// While it is heard it stands on a disc; it never moves.
pub fn sign(painter: &Painter, at: Pos2, look: &Look, heard: bool) {
    let ink = if heard { look.card } else { look.accent };
    if heard {
        painter.circle_filled(at, SIGN / 2.0 + 1.5, look.accent);
    }
    painter.circle_filled(at - egui::vec2(4.0, 0.0), 1.8, ink);
    for radius in [5.0, 8.5] {
        painter.add(wave(at - egui::vec2(4.0, 0.0), radius, ink));
    }
}

/// A quarter of a circle, to the right of its middle.
fn wave(middle: Pos2, radius: f32, ink: Color32) -> Shape {
    let points = (-4..=4).map(|part| {
        let angle = part as f32 * std::f32::consts::FRAC_PI_4 / 4.0;
        pos2(
            middle.x + radius * angle.cos(),
            middle.y + radius * angle.sin(),
        )
    });
    Shape::line(points.collect(), Stroke::new(1.4, ink))
}
