//! The voices: phrase, growth and motion, and what every voice reads between two beats.
//!
//! Nothing here knows of pitch: which keys sound, and how loud, is the process's affair, which
//! stands above. A voice tells every note that it passes, the silent ones too.

mod change;
mod cues;
mod footing;
mod listing;
mod material;
mod moment;
mod own;
mod passing;
mod reading;

pub use footing::{Footing, Stands};
pub use material::Material;
pub use moment::CopyMoment;
pub use own::{OwnCycle, OwnMaterial};
pub use passing::Passing;
pub use reading::{Reading, Readings};

use crate::growth::{Lap, Laps, Ranks};
use crate::motion::{
    BuildUp, Building, Course, Going, Laid, Piece, Rule, Schedule, Standing, Timetable,
};
use crate::part::{CopyNumber, MAX_COPIES, Part};
use crate::phrase::{Backwards, Phrase};
use crate::route::Route;
use crate::settings::{CopiesMove, Growth, GrowthSettings, Settings};
use crate::time::{Beats, MaterialPlace, Since, Span};

/// Phrase, growth and motion, made ready to be asked.
///
/// Copying settings in takes no allocation, and neither does asking.
#[derive(Clone, Debug)]
pub struct Voices {
    phrase: Phrase,
    /// The phrase as copies read it that go backwards.
    backwards: Backwards,
    /// What copies read whose cycle is not the phrase's.
    own: Box<[OwnMaterial]>,
    settings: Settings,
    /// The form as it is written, if it is, and the same laid out in beats.
    route: Route,
    laid: Laid,
    /// The form as the settings have it.
    rule: Rule,
    origin: Beats,
    ranks: Ranks,
    steady: Laps,
    copies: [CopyVoice; MAX_COPIES],
    changed: Changed,
    /// Whether dwells are counted that wait for a cue.
    counted: bool,
    /// Ticks after which the phrase is as it was.
    rotation: i64,
}

/// When what shapes stages last became other than it was, on the way.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Changed {
    /// Beats after the origin; 0 if nothing has changed on the way.
    at: Beats,
    /// Stages that had begun by then, the first among them.
    stages: usize,
    /// Beats after the origin at which the steady voice's next lap began.
    next_lap: Beats,
}

impl Changed {
    /// Nothing has changed on the way. The first stage begins with the origin.
    const NEVER: Self = Self {
        at: 0.0,
        stages: 1,
        next_lap: 0.0,
    };
}

/// What one copy reads, and how it moves.
#[derive(Clone, Debug)]
struct CopyVoice {
    /// Its own, since each grows from its entry.
    laps: Laps,
    walk: Walk,
}

/// Where a copy goes on from.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Walk {
    /// Where it has gone on from since something changed, cues aside: from there stages are counted.
    from: Going,
    /// Where it goes on from now.
    going: Going,
    standing: Standing,
    /// Beats after the origin at which it entered, and at which it began to move, if something has
    /// changed since then.
    entered: Option<Beats>,
    moves: Option<Beats>,
}

impl Walk {
    /// From the beginning.
    fn first(schedule: Schedule<'_>, settings: &Settings, copy: CopyNumber) -> Self {
        let first = Going::first(schedule, copy);
        Self {
            from: first,
            going: first,
            standing: told_to_stand(settings, copy),
            entered: None,
            moves: None,
        }
    }
}

impl Voices {
    /// The voices that play `phrase` under `settings`, cycle 0 beginning at song position
    /// `origin`.
    pub fn new(phrase: Phrase, settings: Settings, origin: Beats) -> Self {
        let rule = Rule::new(&phrase, &settings, build_up_length(&phrase, &settings));
        let backwards = Backwards::of(&phrase, settings.step());
        let mut voices = Self {
            ranks: Ranks::new(&phrase, settings.growth.order, settings.growth.seed),
            steady: Laps::new(&phrase, &settings.growth),
            copies: CopyNumber::ALL.map(|copy| CopyVoice {
                laps: Laps::whole(&phrase),
                walk: Walk::first(Schedule::Generated(&rule), &settings, copy),
            }),
            changed: Changed::NEVER,
            counted: false,
            rotation: phrase.smallest_rotation(),
            laid: Laid::default(),
            rule,
            own: OwnMaterial::for_all(&phrase, &backwards),
            backwards,
            phrase,
            settings,
            route: Route::generated(),
            origin,
        };
        voices.make_own_material();
        voices.lay_laps();
        voices
    }

    /// The same settings with another phrase. Works in place: an audio thread's stack is small.
    pub fn set_phrase(&mut self, phrase: &Phrase) {
        let growth = self.settings.growth;
        self.phrase.clone_from(phrase);
        self.backwards.turn(phrase, self.settings.step());
        self.make_own_material();
        self.ranks = Ranks::new(phrase, growth.order, growth.seed);
        self.rotation = phrase.smallest_rotation();
        self.lay_out();
        self.begin_anew();
    }

    /// The phrase.
    pub fn phrase(&self) -> &Phrase {
        &self.phrase
    }

    /// The settings in force.
    pub fn settings(&self) -> &Settings {
        &self.settings
    }

    /// The form as it is written; empty if the settings make it.
    pub fn route(&self) -> &Route {
        &self.route
    }

    /// The form is as `route` has it, as if it had always been.
    pub fn set_route(&mut self, route: &Route) {
        self.route.copy_from(route);
        self.lay_out();
        self.begin_anew();
    }

    /// Song position at which cycle 0 begins.
    pub fn origin(&self) -> Beats {
        self.origin
    }

    /// Cycle 0 begins at song position `origin`.
    pub fn set_origin(&mut self, origin: Beats) {
        self.origin = origin;
    }

    /// The order in which notes appear.
    pub fn ranks(&self) -> &Ranks {
        &self.ranks
    }

    /// How a copy moves, from where it began to count its moves.
    pub fn course(&self, copy: CopyNumber) -> Course<'_> {
        let walk = &self.copies[copy.index()].walk;
        let timetable = Timetable::new(self.schedule(), copy, walk.going);
        Course::new(timetable, walk.standing)
    }

    /// How a copy was to move when something last changed, dwells that wait for a cue counted.
    pub fn proposed(&self, copy: CopyNumber) -> Timetable<'_> {
        let from = self.copies[copy.index()].walk.from;
        Timetable::new(self.schedule(), copy, from).counted()
    }

    /// The schedule that copies keep.
    pub fn schedule(&self) -> Schedule<'_> {
        if self.route.is_written() {
            Schedule::Written(&self.route, &self.laid)
        } else {
            Schedule::Generated(&self.rule)
        }
    }

    /// Song position from which stages are as the settings and the route now have them, and how
    /// many had begun by then.
    pub fn changed(&self) -> (Beats, usize) {
        (self.origin + self.changed.at, self.changed.stages)
    }

    /// Song position at which everything falls silent, if it does.
    pub fn ends(&self) -> Option<Beats> {
        if !self.schedule().ends_in_silence() {
            return None;
        }
        let copies = CopyNumber::ALL.into_iter().take(self.copies().len().max(1));
        let end = |copy| {
            let from = self.moves_from(Part::Copy(copy))?;
            Some(self.course(copy).timetable().falls_silent()?.to_song(from))
        };
        copies.filter_map(end).reduce(f64::max)
    }

    /// What a part reads. The resulting line, which doubles what others play, goes with the steady
    /// voice.
    pub fn laps(&self, part: Part) -> &Laps {
        match part {
            Part::Steady | Part::ResultingLine => &self.steady,
            Part::Copy(copy) => &self.copies[copy.index()].laps,
        }
    }

    /// The lap that the steady voice reads at song position `at`.
    pub fn steady_lap(&self, at: Beats) -> Lap {
        let place = Since::from_song(at, self.origin).steady_place();
        self.steady.at(place)
    }

    /// Voices in use: the steady one and its copies.
    pub fn count(&self) -> usize {
        1 + self.settings.motion.copies.min(MAX_COPIES)
    }

    /// The copies in use.
    pub fn copies(
        &self,
    ) -> impl DoubleEndedIterator<Item = CopyNumber> + ExactSizeIterator + Clone + use<> {
        CopyNumber::ALL.into_iter().take(self.count() - 1)
    }

    /// The voices in use, as parts: the steady one and its copies.
    pub fn parts(&self) -> impl Iterator<Item = Part> + use<> {
        std::iter::once(Part::Steady).chain(self.copies().map(Part::Copy))
    }

    /// Whether a part is a voice in use.
    pub fn plays(&self, part: Part) -> bool {
        part.index() < self.count()
    }

    /// Ticks after which the phrase, turned on itself, is as it was.
    pub fn rotation(&self) -> i64 {
        self.rotation
    }

    /// Song position at which a voice begins to play; `None` if it never does.
    ///
    /// Copies enter when the steady voice has grown, one entry gap after another.
    pub fn entry(&self, part: Part) -> Option<Beats> {
        match part {
            Part::Steady => Some(self.origin),
            Part::Copy(copy) => {
                if let Some(entered) = self.copies[copy.index()].walk.entered {
                    return Some(self.origin + entered);
                }
                let gaps = copy.index() as f64 * f64::from(self.settings.motion.entry);
                let grown = self.steady.done()?.steady_since();
                let due = grown.to_song(self.origin) + gaps * self.phrase.length();
                Some(self.not_in_the_past(due))
            }
            Part::ResultingLine => None,
        }
    }

    /// Song position from which a voice counts its dwells and moves. A copy that grows counts
    /// from when it is whole; copies that move in turn count from the last copy's entry.
    pub fn moves_from(&self, part: Part) -> Option<Beats> {
        let Part::Copy(copy) = part else {
            return self.entry(part);
        };
        if let Some(moves) = self.copies[copy.index()].walk.moves {
            return Some(self.origin + moves);
        }
        let counted_from = match self.settings.motion.copies_move {
            CopiesMove::InTurn => self.copies().next_back().unwrap_or(CopyNumber::FIRST),
            CopiesMove::Fanned | CopiesMove::Together => copy,
        };
        let grown = self.laps(part).done()?.steady_since();
        let due = grown.to_song(self.entry(Part::Copy(counted_from))?);
        Some(self.not_in_the_past(due))
    }

    /// When something begins that is due at song position `due`: if that was before something changed on
    /// the way, and nobody knew, then with the next lap.
    fn not_in_the_past(&self, due: Beats) -> Beats {
        let changed = self.origin + self.changed.at;
        if self.changed != Changed::NEVER && due <= changed {
            self.origin + self.changed.next_lap
        } else {
            due
        }
    }

    /// Beats by which a voice is ahead of the steady one at song position `at`; `None` while it
    /// has not entered.
    pub fn displacement(&self, part: Part, at: Beats) -> Option<Beats> {
        let entry = self.entry(part).filter(|entry| *entry <= at)?;
        let tau = Since::from_song(at, entry);
        Some(self.piece_at(part, tau)?.place_at(tau).ahead_at(tau))
    }

    /// Every note that a voice passes whose onset lies in `span`, in order of onset, whether it
    /// sounds or not.
    pub fn readings(&self, part: Part, span: Span) -> Readings<'_> {
        Readings::new(self, part, span)
    }

    /// How the settings and the phrase have it: what is generated, and what is written, in beats.
    fn lay_out(&mut self) {
        let build = build_up_length(&self.phrase, &self.settings);
        self.rule = Rule::new(&self.phrase, &self.settings, build).counting(self.counted);
        if self.route.is_written() {
            self.laid
                .lay(&self.route, &self.phrase, &self.settings, build);
            if self.counted {
                self.laid.count();
            }
        }
    }

    /// How build-ups go.
    fn building(&self) -> BuildUp {
        BuildUp {
            total: self.phrase.notes().len(),
            notes: notes_a_stage(&self.settings.growth),
            every: self.settings.growth.every,
        }
    }

    /// The piece of its course that a voice is in at `tau`, counted from its entry.
    fn piece_at(&self, part: Part, tau: Since) -> Option<Piece> {
        let waits = self.moves_from(part)? - self.entry(part)?;
        Some(self.leg_at(part, tau, waits).piece)
    }

    /// The same, if it is known how long the voice waits before it counts its moves.
    fn leg_at(&self, part: Part, tau: Since, waits: Beats) -> Leg {
        let Part::Copy(copy) = part else {
            return Leg::waiting(Piece::STEADY);
        };
        let course = self.course(copy);
        if tau >= Since::new(waits) {
            return Leg::counted(course.piece_at(tau - waits), waits);
        }
        // Waiting, it stands where its offset puts it.
        let timetable = course.timetable();
        let stage = timetable.going().stage;
        let ahead = timetable.ahead(stage) + course.standing.value(tau - waits);
        Leg::waiting(Piece {
            end: Since::new(waits),
            from: MaterialPlace::new(ahead),
            to: MaterialPlace::new(waits + ahead),
            grown: timetable.grown(stage),
            ..Piece::STEADY
        })
    }

    /// The one that follows.
    fn leg_after(&self, part: Part, leg: &Leg, waits: Beats) -> Leg {
        let Part::Copy(copy) = part else {
            return *leg;
        };
        let course = self.course(copy);
        let next = match &leg.counted {
            Some(piece) => course.piece_after(piece),
            None => course.piece_at(Since::START),
        };
        Leg::counted(next, waits)
    }
}

/// A piece of a voice's course, in both ways it is counted.
#[derive(Clone, Copy, Debug)]
struct Leg {
    /// From the voice's entry: this is what it reads.
    piece: Piece,
    /// From where its moves are counted, to find the next; none while it waits for that. Counted
    /// back from the other it would be a rounding off, and the next could be the same again.
    counted: Option<Piece>,
}

impl Leg {
    fn waiting(piece: Piece) -> Self {
        Self {
            piece,
            counted: None,
        }
    }

    fn counted(piece: Piece, waits: Beats) -> Self {
        Self {
            piece: later(piece, waits),
            counted: Some(piece),
        }
    }
}

/// The same piece, `by` beats later, having read on steadily until then.
fn later(piece: Piece, by: Beats) -> Piece {
    Piece {
        start: piece.start + by,
        end: piece.end + by,
        from: piece.from + by,
        to: piece.to + by,
        building: piece.building.map(|building| Building {
            from: building.from + by,
            ..building
        }),
        ..piece
    }
}

/// The offset that a copy is told to stand at.
fn told_to_stand(settings: &Settings, copy: CopyNumber) -> Standing {
    Standing::at(settings.standing_offset(copy) * settings.step())
}

/// How copies grow, if they do.
fn own_growth(growth: &GrowthSettings) -> GrowthSettings {
    GrowthSettings {
        growth: if growth.copies_grow {
            growth.growth
        } else {
            Growth::Off
        },
        ..*growth
    }
}

/// Beats a build-up takes: a silent opening, then as many steps as bring the whole phrase.
fn build_up_length(phrase: &Phrase, settings: &Settings) -> Beats {
    let growth = &settings.growth;
    let stages = phrase.notes().len().div_ceil(notes_a_stage(growth));
    (stages as u32 * growth.every.max(1)) as f64 * phrase.length()
}

fn notes_a_stage(growth: &GrowthSettings) -> usize {
    growth.step.unsigned_abs().max(1) as usize
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::Shifts;

    /// Found in a host: the copy never came past a piece, and the block never ended.
    #[test]
    fn a_copy_that_waits_and_glides_comes_on() {
        let mut settings = Settings::default();
        settings.motion.dwell = 1;
        settings.motion.drift = 1;
        settings.motion.entry = 3;
        settings.motion.copies = 3;
        settings.motion.copies_move = CopiesMove::InTurn;
        settings.motion.shifts = Shifts::Endless;
        for moment in 0..2000 {
            let phrase = Phrase::from_text("D4 F4 G4 A4 C5 E4", 0.25).unwrap();
            let mut voices = Voices::new(phrase, settings, 0.0);
            let mut other = settings;
            other.motion.offset = 3.0 + f64::from(moment) * 0.0137;
            let now = 20.0 + f64::from(moment) * 0.731;
            voices.set_settings(other, now, |_| 1);
            let copy = Part::COPY_1;
            let waits = voices.moves_from(copy).unwrap() - voices.entry(copy).unwrap();
            let mut leg = voices.leg_at(copy, Since::new(now), waits);
            for _ in 0..40 {
                let next = voices.leg_after(copy, &leg, waits);
                assert!(next.piece.end > leg.piece.end, "{leg:?} {next:?}");
                leg = next;
            }
        }
    }
}
