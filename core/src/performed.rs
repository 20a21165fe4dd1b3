//! What was performed: cues, and changes of what shapes stages, each with the song position at which
//! it came, so that the music that was heard there is heard there again.
//!
//! How fast the song went is remembered, too, so that what was heard can be told as long as it lasted.
//!
//! A performance is believed as long as nobody says otherwise: played from any position, if the
//! values that were last remembered before it are those that the controls show, what had passed is
//! as it was performed, and what was performed later comes again in its time. If they are not, the
//! controls are right. A cue or another value on the way replaces what was performed from there on.

use crate::process::{Process, Stance};
use crate::settings::{Grid, GrowthSettings, MotionSettings, Settings};
use crate::tempo_map::{TempoEar, TempoMap};
use crate::time::{Beats, LATE, Span};
use arrayvec::ArrayVec;

/// How many moments are remembered. Later ones are not.
pub const MOST_MOMENTS: usize = 1024;

/// Moments from one mark to the next: how many are gone through, at most, to go on from any of them.
const BETWEEN_MARKS: usize = 16;

/// Beats after which a host that repeats its automation has told a value that was told before: a
/// long block.
const TOLD_AGAIN: Beats = 1.0 / 16.0;

/// The settings that shape stages. Offsets and the order of notes are nothing to them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shape {
    /// But for the offset.
    motion: MotionSettings,
    /// But for the order of notes.
    growth: GrowthSettings,
    /// The grid, by which shifts go.
    grid: Grid,
}

impl Shape {
    /// Of these settings.
    pub fn of(settings: &Settings) -> Self {
        let none = Settings::default();
        Self {
            motion: MotionSettings {
                offset: none.motion.offset,
                ..settings.motion
            },
            growth: GrowthSettings {
                order: none.growth.order,
                seed: none.growth.seed,
                ..settings.growth
            },
            grid: settings.capture.grid,
        }
    }

    /// Those settings, but shaped like this.
    pub fn over(&self, settings: &Settings) -> Settings {
        let mut shaped = *settings;
        shaped.motion = MotionSettings {
            offset: settings.motion.offset,
            ..self.motion
        };
        shaped.growth = GrowthSettings {
            order: settings.growth.order,
            seed: settings.growth.seed,
            ..self.growth
        };
        shaped.capture.grid = self.grid;
        shaped
    }
}

/// What happened.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Happened {
    /// A cue was taken.
    Cue,
    /// From then on stages were shaped like this.
    Shaped(Shape),
}

/// Something that happened, and when.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Moment {
    /// Beats after the origin.
    pub at: Beats,
    /// What.
    pub what: Happened,
}

/// Moments in order of time, and how stages were shaped before the first of them.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Recollection {
    /// None if nothing happened.
    pub first: Option<Shape>,
    /// What happened.
    pub moments: ArrayVec<Moment, MOST_MOMENTS>,
    /// How fast the song went.
    pub tempi: TempoMap,
}

impl Recollection {
    /// Takes over another in place: an audio thread's stack is small.
    pub fn copy_from(&mut self, other: &Self) {
        self.first = other.first;
        self.moments.clear();
        self.moments.extend(other.moments.iter().copied());
        self.tempi.copy_from(&other.tempi);
    }

    /// Whether what the controls say is something that they said while this was performed: if it
    /// is not, the controls are right, and nothing of this is believed.
    pub fn agrees_with(&self, settings: &Settings) -> bool {
        let now = Shape::of(settings);
        let shaped = self.moments.iter().filter_map(Moment::shape);
        self.first
            .iter()
            .copied()
            .chain(shaped)
            .any(|told| told == now)
    }

    /// Performs it all again on `process`, which is not left as it was, from its origin on: `told`
    /// hears how it stands after each moment. What is out of order is left out.
    pub fn perform(&self, process: &mut Process, mut told: impl FnMut(&Moment, &Process)) {
        let Some(first) = self.first else { return };
        let settings = *process.settings();
        begin(process, &first.over(&settings));
        let mut last = f64::NEG_INFINITY;
        for moment in &self.moments {
            if !(moment.at.is_finite() && moment.at >= last) {
                continue;
            }
            last = moment.at;
            play(process, moment, &settings);
            told(moment, process);
        }
    }
}

impl Moment {
    /// How stages were shaped from then on, if that is what happened.
    fn shape(&self) -> Option<Shape> {
        match self.what {
            Happened::Shaped(shape) => Some(shape),
            Happened::Cue => None,
        }
    }
}

/// What was performed, ready to be gone on with from any position.
///
/// # Real-time
/// Large: it is to live on the heap, and be changed in place. Allocates never, blocks never.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Performed {
    told: Recollection,
    /// How the process stood after every so many moments.
    marks: ArrayVec<Stance, { MOST_MOMENTS / BETWEEN_MARKS }>,
    /// How many moments have passed where the song is.
    passed: usize,
    /// Whether what is heard is what was performed.
    followed: bool,
    /// Hears how fast the song goes.
    ear: TempoEar,
    /// Whether what is performed is not remembered: it came about as no song position tells.
    adrift: bool,
    /// Changes with what was performed.
    edition: u32,
}

impl Performed {
    /// What happened, in order.
    pub fn moments(&self) -> &[Moment] {
        &self.told.moments
    }

    /// The same, and how stages were shaped before.
    pub fn told(&self) -> &Recollection {
        &self.told
    }

    /// Changes with what was performed.
    pub fn edition(&self) -> u32 {
        self.edition
    }

    /// Whether what is heard is what was performed.
    pub fn is_followed(&self) -> bool {
        self.followed
    }

    /// Takes over another in place: an audio thread's stack is small. Where the song is, is for
    /// [`Self::recall`] to say.
    pub fn copy_from(&mut self, other: &Self) {
        self.forget();
        self.told.copy_from(&other.told);
        self.marks.extend(other.marks.iter().cloned());
    }

    /// Nothing was performed.
    pub fn forget(&mut self) {
        if !self.told.tempi.is_empty() {
            self.edition = self.edition.wrapping_add(1);
        }
        self.told.tempi.clear();
        self.ear = TempoEar::default();
        self.forget_moments();
    }

    fn forget_moments(&mut self) {
        if self.told.first.is_some() {
            self.edition = self.edition.wrapping_add(1);
        }
        self.told.first = None;
        self.told.moments.clear();
        self.marks.clear();
        self.passed = 0;
        self.followed = false;
        self.adrift = false;
    }

    /// What was performed before, as a project has kept it, moments in order. `process` is as it was then, but for them; it is not left as it was. Off the
    /// audio thread.
    pub fn recollect(&mut self, told: &Recollection, process: &mut Process) {
        self.forget();
        self.told.first = told.first;
        self.told.tempi.copy_from(&told.tempi);
        told.perform(process, |moment, process| self.push(*moment, process));
        self.passed = 0;
    }

    /// What is performed is not remembered until the song starts again: in a loop that copies go
    /// through on cue, how they stand is a matter of how often they have.
    pub fn go_adrift(&mut self) {
        self.followed = false;
        self.adrift = true;
    }

    /// The song goes on at song position `now`, from elsewhere, `process` being as its settings alone have it.
    /// Has it stand as it was performed, if that is believed. Whether it does.
    pub fn recall(&mut self, now: Beats, process: &mut Process) -> bool {
        let at = now - process.origin();
        self.followed = false;
        self.adrift = false;
        if at <= LATE {
            // A performance begins with its origin.
            self.passed = 0;
            return false;
        }
        let shape = Shape::of(process.settings());
        // What was told on the position itself is told again with it, or not any more.
        let by = |late: Beats| {
            self.told
                .moments
                .partition_point(|moment| moment.at <= at + late)
        };
        let passed = [by(LATE), by(-LATE)]
            .into_iter()
            .find(|passed| self.shape_after(*passed).is_none_or(|told| told == shape));
        let Some(passed) = passed else {
            self.passed = 0;
            return false;
        };
        self.passed = passed;
        self.followed = true;
        self.stand(passed, process);
        passed > 0
    }

    /// The process as it was after so many moments, under the settings that it has.
    fn stand(&self, passed: usize, process: &mut Process) {
        let marks = (passed / BETWEEN_MARKS).min(self.marks.len());
        let marked = marks * BETWEEN_MARKS;
        let told = *process.settings();
        if let Some(shape) = self.shape_after(marked) {
            begin(process, &shape.over(&told));
        }
        if let Some(mark) = marks.checked_sub(1).and_then(|last| self.marks.get(last)) {
            process.stand_at(mark);
        }
        for moment in &self.told.moments[marked..passed] {
            play(process, moment, &told);
        }
        process.rest_offsets();
    }

    /// How stages were shaped after so many moments; none if nothing happened.
    fn shape_after(&self, passed: usize) -> Option<Shape> {
        let mut before = self.told.moments[..passed].iter().rev();
        let last = before.find_map(Moment::shape);
        last.or(self.told.first)
    }

    /// When stages are to be shaped otherwise, told at song position `now`: when they were, if that
    /// is what was performed there.
    pub fn told_before(&self, now: Beats, shape: &Shape, origin: Beats) -> Beats {
        self.next()
            .filter(|next| next.what == Happened::Shaped(*shape))
            .filter(|next| (next.at + origin - now).abs() <= TOLD_AGAIN)
            .map_or(now, |next| next.at + origin)
    }

    /// Stages are shaped otherwise since song position `now`, `process` having followed, and were
    /// like `before` until then.
    pub fn shaped(&mut self, now: Beats, before: &Shape, process: &Process) {
        let moment = Moment {
            at: now - process.origin(),
            what: Happened::Shaped(Shape::of(process.settings())),
        };
        if self.next() == Some(&moment) {
            self.passed += 1;
        } else {
            self.note(moment, before, process);
        }
    }

    /// A cue was taken at song position `now`, `process` having followed.
    pub fn cued(&mut self, now: Beats, process: &Process) {
        let moment = Moment {
            at: now - process.origin(),
            what: Happened::Cue,
        };
        self.note(moment, &Shape::of(process.settings()), process);
    }

    /// Whether a cue at song position `now` is the one that was performed there, and has already come.
    pub fn was_cued(&self, now: Beats, origin: Beats) -> bool {
        let last = self
            .passed
            .checked_sub(1)
            .and_then(|last| self.told.moments.get(last));
        self.followed
            && last.is_some_and(|last| {
                last.what == Happened::Cue && (last.at + origin - now).abs() <= LATE
            })
    }

    /// Song position of the cue that was performed next, if the song is to come to it.
    pub fn next_cue(&self, origin: Beats) -> Option<Beats> {
        let next = self.next()?;
        (next.what == Happened::Cue).then_some(origin + next.at)
    }

    /// The cue that was performed next has come again.
    pub fn pass_cue(&mut self) {
        self.passed = (self.passed + 1).min(self.told.moments.len());
    }

    /// The song went through `span` of it at `tempo`, in beats a minute.
    pub fn went(&mut self, span: Span, tempo: f64, origin: Beats) {
        let span = Span::new(span.start - origin, span.end - origin);
        if self.ear.hear(span, tempo, &mut self.told.tempi) {
            self.edition = self.edition.wrapping_add(1);
        }
    }

    /// The song has come to `now`. A value that was told on the way and was not told again is not
    /// to be: what was performed from there on is forgotten.
    pub fn come_to(&mut self, now: Beats, origin: Beats) {
        let is_over =
            |next: &Moment| next.what != Happened::Cue && next.at + origin + TOLD_AGAIN < now;
        if self.next().is_some_and(is_over) {
            self.cut();
        }
    }

    fn next(&self) -> Option<&Moment> {
        self.told.moments.get(self.passed).filter(|_| self.followed)
    }

    fn note(&mut self, moment: Moment, before: &Shape, process: &Process) {
        if self.adrift {
            return;
        }
        if !self.followed {
            self.forget_moments();
            self.followed = true;
        }
        self.cut();
        self.told.first.get_or_insert(*before);
        self.push(moment, process);
    }

    /// Forgets what was performed after what has passed.
    fn cut(&mut self) {
        if self.passed < self.told.moments.len() {
            self.edition = self.edition.wrapping_add(1);
        }
        self.told.moments.truncate(self.passed);
        self.marks.truncate(self.passed / BETWEEN_MARKS);
    }

    fn push(&mut self, moment: Moment, process: &Process) {
        if self.told.moments.try_push(moment).is_err() {
            return;
        }
        self.edition = self.edition.wrapping_add(1);
        self.passed = self.told.moments.len();
        if self.passed.is_multiple_of(BETWEEN_MARKS) {
            // There is one for every so many moments.
            let _ = self.marks.try_push(process.stance());
        }
    }
}

/// The process begins under these settings.
fn begin(process: &mut Process, settings: &Settings) {
    process.set_settings(*settings, process.origin());
    process.begin_anew();
}

/// What happened happens again.
fn play(process: &mut Process, moment: &Moment, told: &Settings) {
    let now = process.origin() + moment.at;
    match moment.what {
        Happened::Cue => {
            process.cue(now);
        }
        Happened::Shaped(shape) => process.set_settings(shape.over(told), now),
    }
}
