//! Where stages begin: growth changes, entries and moves, in order, without keeping a list.
//!
//! The audio thread asks for the place of one stage, the form for all of them. Stages are told one
//! by one; on the way to a late one, whole rounds of moves are passed over: while nothing else
//! changes, every copy has moved on by a stage after a dwell and a move, and as many stages have
//! begun as in the round before.

use crate::growth;
use crate::motion::{StagePart, Station, Timetable, shifts_to_unison};
use crate::part::{CopyNumber, MAX_COPIES, MAX_VOICES, Part};
use crate::settings::Growth;
use crate::time::{Beats, HAIR, LATE, MaterialPlace, Since, Span};
use crate::voices::Voices;
use arrayvec::ArrayVec;

/// A moment at which something changes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Boundary {
    /// Song position; on cue, where it would be if dwells were counted.
    pub at: Beats,
    /// The copy and the part of its timetable that begins, if that is what changes.
    pub begins: Option<(CopyNumber, Station)>,
}

/// The boundaries of a form up to an end, in order: from the origin on, or from where something
/// last changed on the way.
///
/// # Real-time
/// Allocates never, blocks never. A step is bounded by the voices; to pass over any number of
/// boundaries ([`Iterator::nth`]) is bounded by the changes of growth and some rounds of moves for
/// each entry and each copy's last move.
pub struct Boundaries<'a> {
    reasons: ArrayVec<Reason<'a>, MAX_REASONS>,
    /// The next boundary of every reason that has one: where it is, and the place of the reason;
    /// the earliest first, of several at once that of the first reason.
    due: ArrayVec<(Beats, usize), MAX_REASONS>,
    from: Beats,
    end: Beats,
    last: Beats,
    /// A dwell and a move, in beats: what all copies need from one stage to the next, if stages are alike.
    round: Option<Beats>,
    /// How often a reason was asked for its next boundary: what looking has cost.
    #[cfg(test)]
    asked: usize,
}

/// The timetable that a copy keeps.
type Keeps<'a> = fn(&'a Voices, CopyNumber) -> Timetable<'a>;

/// Origin and end; growth of every voice; entry and moves of every copy.
const MAX_REASONS: usize = 1 + MAX_VOICES + 2 * MAX_COPIES;

/// The most boundaries of a round: every copy leaves and arrives.
const MOST_A_ROUND: usize = 2 * MAX_COPIES;

impl<'a> Boundaries<'a> {
    /// Those of `voices` up to song position `end`, which is one itself.
    pub fn new(voices: &'a Voices, end: Beats) -> Self {
        let (changed, _) = voices.changed();
        Self::by(voices, changed, end, Voices::proposed)
    }

    /// Those that come in `span` as it is performed, cues and all: beginning and end are two.
    pub fn performed(voices: &'a Voices, span: Span) -> Self {
        Self::by(voices, span.start, span.end, |voices, copy| {
            voices.course(copy).timetable()
        })
    }

    fn by(voices: &'a Voices, from: Beats, end: Beats, timetable: Keeps<'a>) -> Self {
        let mut all = Self {
            reasons: ArrayVec::new(),
            due: ArrayVec::new(),
            from,
            end,
            last: Beats::NEG_INFINITY,
            round: voices.schedule().round(),
            #[cfg(test)]
            asked: 0,
        };
        all.add(Reason::Ends([Some(from), Some(end)]));
        for part in voices.parts() {
            all.extend(Grown::new(voices, part, end).map(Reason::Growth));
        }
        let mut rides = [false; MAX_COPIES];
        for copy in voices.copies() {
            all.add(Reason::Ends([voices.entry(Part::Copy(copy)), None]));
            if !rides[copy.index()] {
                let moves = Moves::new(voices, timetable, copy, &mut rides);
                all.extend(moves.map(Reason::Moves));
            }
        }
        all
    }

    fn extend(&mut self, reason: Option<Reason<'a>>) {
        if let Some(reason) = reason {
            self.add(reason);
        }
    }

    fn add(&mut self, mut reason: Reason<'a>) {
        if let Some(at) = reason.next() {
            let due = (at, self.reasons.len());
            self.due.insert(self.place_of(due), due);
            self.reasons.push(reason);
        }
    }

    fn place_of(&self, due: (Beats, usize)) -> usize {
        self.due.partition_point(|other| *other < due)
    }

    /// Where the next boundary is, and its reason. What is one with the boundary told last is
    /// passed over.
    fn peek(&mut self) -> Option<(Beats, usize)> {
        loop {
            let (at, reason) = *self.due.first()?;
            if at >= self.from && at - self.last >= HAIR {
                return (at <= self.end).then_some((at, reason));
            }
            self.go_on(reason);
        }
    }

    /// The reason that is due goes on to its next boundary.
    fn go_on(&mut self, reason: usize) {
        #[cfg(test)]
        {
            self.asked += 1;
        }
        match self.reasons[reason].next() {
            Some(at) => {
                let place = self.place_of((at, reason)).max(1);
                self.due.copy_within(1..place, 0);
                self.due[place - 1] = (at, reason);
            }
            None => drop(self.due.remove(0)),
        }
    }

    /// Passes over one boundary.
    fn pass_one(&mut self) -> Option<()> {
        let (at, reason) = self.peek()?;
        self.last = at;
        self.go_on(reason);
        Some(())
    }

    /// Goes on by rounds of moves, `most` boundaries at most, and tells by how many; none while
    /// something else happens than copies moving on, or a few rounds are more than `most`.
    fn pass_rounds(&mut self, most: usize) -> Option<usize> {
        let round = self.round?;
        let is_calm = self.last.is_finite() && self.calm() >= 3.0 * round;
        if most < 2 * MOST_A_ROUND || !is_calm || self.moving().next().is_none() {
            return None;
        }
        // One round is gone through to see how many boundaries there are.
        self.peek()?;
        let before: ArrayVec<Station, MAX_COPIES> = self.moving().map(Moves::station).collect();
        let goal = self.last + round - HAIR;
        let mut a_round = 0;
        while self.last < goal {
            self.pass_one()?;
            a_round += 1;
        }
        self.peek()?;
        let a_stage_on = |station: &Station| Station {
            stage: station.stage + 1,
            ..*station
        };
        let moved_on = self.moving().map(Moves::station);
        if !moved_on.eq(before.iter().map(a_stage_on)) {
            return Some(a_round);
        }
        // A round is kept in hand: what lies near its end is gone to step by step.
        let left = (self.calm() / round).floor() as usize;
        let rounds = left.saturating_sub(1).min((most - a_round) / a_round);
        for (at, reason) in &mut self.due {
            if let Reason::Moves(moves) = &mut self.reasons[*reason]
                && moves.is_moving()
            {
                *at = moves.pass(rounds as u64);
            }
        }
        // All that move are due before all else, and have moved on by the same.
        self.due
            .sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        self.last += rounds as f64 * round;
        Some(a_round * (1 + rounds))
    }

    /// Passes over all that are left, and tells how many.
    fn pass_all(&mut self) -> usize {
        let mut passed = 0;
        loop {
            match self.pass_rounds(usize::MAX / 2) {
                Some(rounds) => passed += rounds,
                None if self.pass_one().is_some() => passed += 1,
                None => return passed,
            }
        }
    }

    /// The copies that have begun to move, and have not come to their end.
    fn moving(&self) -> impl Iterator<Item = &Moves<'a>> {
        self.reasons.iter().filter_map(Reason::moving)
    }

    /// How long nothing happens but moves of the copies that have begun to move.
    fn calm(&self) -> Beats {
        let mut until = self.end;
        for (at, reason) in &self.due {
            match self.reasons[*reason].moving() {
                Some(moves) => until = until.min(moves.ends),
                // The others are due later.
                None => return until.min(*at) - self.last,
            }
        }
        until - self.last
    }
}

impl Iterator for Boundaries<'_> {
    type Item = Boundary;

    fn next(&mut self) -> Option<Boundary> {
        let (at, reason) = self.peek()?;
        let begins = self.reasons[reason].begins();
        self.last = at;
        self.go_on(reason);
        Some(Boundary { at, begins })
    }

    fn nth(&mut self, mut count: usize) -> Option<Boundary> {
        while count > 0 {
            match self.pass_rounds(count) {
                Some(passed) => count -= passed,
                None => {
                    self.pass_one()?;
                    count -= 1;
                }
            }
        }
        self.next()
    }
}

/// How many stages have begun at song position `now`, what comes up to [`LATE`] after one being
/// before it.
pub fn begun_by(voices: &Voices, now: Beats) -> usize {
    let (_, begun) = voices.changed();
    // A hair later, so that the end is a boundary of its own.
    let mut since = Boundaries::new(voices, now - LATE + 2.0 * HAIR);
    // Neither where counting began nor the end is a stage.
    begun + since.pass_all().saturating_sub(2)
}

/// Where the listing ends, and whether the voices go on.
pub fn listed_end(voices: &Voices) -> (Beats, bool) {
    let settings = voices.settings();
    let schedule = voices.schedule();
    let dwell = f64::from(settings.motion.dwell.max(1)) * voices.phrase().length();
    let done = voices.laps(Part::Steady).done();
    let grown = done.map_or(Since::new(dwell), MaterialPlace::steady_since);
    let grown = grown.to_song(voices.origin());
    let copies_end = voices.copies().filter_map(|copy| {
        let timetable = voices.proposed(copy);
        let last = timetable
            .last_stage()
            .unwrap_or_else(|| timetable.going().stage + one_round(voices));
        let held = Station {
            stage: last,
            part: StagePart::Dwell,
        };
        let begins = timetable.begin_of(held);
        Some(begins.to_song(voices.moves_from(Part::Copy(copy))?) + schedule.dwell(last))
    });
    let end = copies_end.fold(grown, f64::max);
    let is_endless = schedule.last().is_none();
    let alone = voices.count() == 1 && settings.growth.growth == Growth::Off;
    (if alone { end + dwell } else { end }, is_endless)
}

/// The stages of a form that goes on for ever that are listed.
pub fn one_round(voices: &Voices) -> u64 {
    if voices.route().is_written() {
        voices.route().stages().len() as u64
    } else {
        shifts_to_unison(voices.phrase(), voices.settings())
    }
}

/// A reason for boundaries: where they are, in order of time.
// Lives in place, large as it is: the audio thread must not allocate.
#[allow(clippy::large_enum_variant)]
enum Reason<'a> {
    Ends([Option<Beats>; 2]),
    Growth(Grown<'a>),
    Moves(Moves<'a>),
}

impl<'a> Reason<'a> {
    fn next(&mut self) -> Option<Beats> {
        match self {
            Self::Ends(ends) => ends.iter_mut().find_map(Option::take),
            Self::Growth(grown) => grown.next(),
            Self::Moves(moves) => moves.next(),
        }
    }

    /// The moves, if they have begun and are not over.
    fn moving(&self) -> Option<&Moves<'a>> {
        match self {
            Self::Moves(moves) if moves.is_moving() => Some(moves),
            _ => None,
        }
    }

    /// What begins with the boundary told last, if it is a move.
    fn begins(&self) -> Option<(CopyNumber, Station)> {
        match self {
            Self::Ends(_) | Self::Growth(_) => None,
            Self::Moves(moves) => moves.begins(),
        }
    }
}

impl Boundary {
    /// Beats after the origin at which it comes as it is performed: where it was `counted` to come,
    /// or on cue where it has come. None while that is not known.
    pub fn performed(&self, counted: Beats, voices: &Voices) -> Option<Beats> {
        let Some((copy, station)) = self.begins else {
            return Some(counted);
        };
        let course = voices.course(copy);
        let timetable = course.timetable();
        let at = match timetable.has_cues() {
            false => return Some(counted),
            true if station.stage < timetable.going().stage => Since::START,
            true => timetable.begin_of(station),
        };
        let from = voices.moves_from(Part::Copy(copy))?;
        at.is_finite().then(|| at.to_song(from) - voices.origin())
    }
}

/// A voice's growth: its entry and every lap that differs from the one before.
struct Grown<'a> {
    entry: Beats,
    end: Beats,
    entered: bool,
    changes: growth::Changes<'a>,
}

impl<'a> Grown<'a> {
    /// How a voice grows up to `end`; none if it does not, or just as an earlier voice does.
    fn new(voices: &'a Voices, part: Part, end: Beats) -> Option<Self> {
        let growth = &voices.settings().growth;
        let grows = growth.growth != Growth::Off && (part == Part::Steady || growth.copies_grow);
        let entry = voices.entry(part).filter(|_| grows)?;
        let laps = voices.laps(part);
        let same = |other| voices.entry(other) == Some(entry) && voices.laps(other) == laps;
        let mut earlier = voices.parts().take_while(|other| *other != part);
        let alone = !earlier.any(same);
        alone.then(|| Self {
            entry,
            end,
            entered: false,
            changes: laps.changes(),
        })
    }

    fn next(&mut self) -> Option<Beats> {
        if !std::mem::replace(&mut self.entered, true) {
            return Some(self.entry);
        }
        let at = self.changes.next()?.steady_since().to_song(self.entry);
        (at < self.end).then_some(at)
    }
}

/// The moves of a copy, as counted, and of those that move whenever it does: whole rounds after it.
struct Moves<'a> {
    timetable: Timetable<'a>,
    /// From where the first of them counts.
    from: Beats,
    /// The copies, and how many stages each is behind the first.
    together: ArrayVec<(CopyNumber, u64), MAX_COPIES>,
    /// The stage that the last of them never leaves, as the first counts.
    last: Option<u64>,
    /// The last boundary.
    ends: Beats,
    /// The part that begins with the boundary told last; none before the first was told.
    station: Option<Station>,
    over: bool,
}

impl<'a> Moves<'a> {
    /// Those of `copy`. Later copies that ride along are marked.
    fn new(
        voices: &'a Voices,
        keeps: Keeps<'a>,
        copy: CopyNumber,
        rides: &mut [bool; MAX_COPIES],
    ) -> Option<Self> {
        let timetable = keeps(voices, copy);
        let from = voices.moves_from(Part::Copy(copy))?;
        let mut together = ArrayVec::from_iter([(copy, 0)]);
        let mut last = timetable.last_stage();
        let later = voices.copies().filter(|other| other.index() > copy.index());
        for other in later
            .filter(|other| !rides[other.index()])
            .collect::<ArrayVec<_, MAX_COPIES>>()
        {
            let begins = voices.moves_from(Part::Copy(other));
            let alike = timetable.goes_as(&keeps(voices, other));
            let (Some(begins), true) = (begins, alike) else {
                continue;
            };
            // Stages that are not alike are one with those of another copy only at once.
            let round = voices.schedule().round().unwrap_or(Beats::INFINITY);
            let behind = ((begins - from) / round).round();
            let apart = if behind == 0.0 {
                begins - from
            } else {
                begins - from - behind * round
            };
            // After a gap in which none of them moves it is on its own.
            let joins = behind >= 0.0 && last.is_none_or(|last| behind <= last as f64);
            if joins && apart.abs() < HAIR / 2.0 {
                let behind = behind as u64;
                rides[other.index()] = true;
                together.push((other, behind));
                let own = timetable.last_stage().map(|own| own + behind);
                last = last.zip(own).map(|(last, own)| last.max(own));
            }
        }
        let part = StagePart::Dwell;
        let ends = last.map(|stage| timetable.begin_of(Station { stage, part }).to_song(from));
        Some(Self {
            timetable,
            from,
            together,
            last,
            ends: ends.unwrap_or(Beats::INFINITY),
            station: None,
            over: false,
        })
    }

    fn next(&mut self) -> Option<Beats> {
        let mut station = match self.station {
            None => self.timetable.first(),
            Some(Station {
                stage,
                part: StagePart::Dwell,
            }) if Some(stage) == self.last => {
                self.over = true;
                return None;
            }
            Some(before) => self.timetable.after(before),
        };
        // A drift is one stage, though its tempo has two halves.
        if station.part == StagePart::Settle {
            station = self.timetable.after(station);
        }
        self.station = Some(station);
        Some(self.at())
    }

    fn station(&self) -> Station {
        self.station.unwrap_or(self.timetable.first())
    }

    fn at(&self) -> Beats {
        self.timetable.begin_of(self.station()).to_song(self.from)
    }

    /// The first of the copies that has not come to its end, and what begins for it.
    fn begins(&self) -> Option<(CopyNumber, Station)> {
        let Station { stage, part } = self.station();
        let own = |(copy, behind): &(CopyNumber, u64)| {
            let stage = stage.checked_sub(*behind)?;
            let is_over = self.timetable.last_stage().is_some_and(|last| stage > last);
            (!is_over).then_some((*copy, Station { stage, part }))
        };
        self.together.iter().find_map(own)
    }

    /// Whether what comes next is more than that it begins.
    fn is_moving(&self) -> bool {
        self.station() != self.timetable.first() && !self.over
    }

    /// Goes on by so many rounds; where the next boundary is then.
    fn pass(&mut self, rounds: u64) -> Beats {
        let station = self.station();
        self.station = Some(Station {
            stage: station.stage + rounds,
            ..station
        });
        self.at()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phrase::Phrase;
    use crate::settings::{CopiesMove, GrowthSettings, Motion, MotionSettings, Settings, Shifts};

    /// Six steps, 1.5 beats, from beat 2 on.
    fn boundaries(motion: MotionSettings, growth: GrowthSettings, end: Beats) -> Vec<Beats> {
        let phrase = Phrase::from_text("D4 F4 G4 A4 C5 E4", 0.25).unwrap();
        let settings = Settings {
            motion,
            growth,
            ..Settings::default()
        };
        let voices = Voices::new(phrase, settings, 2.0);
        Boundaries::new(&voices, end).map(|next| next.at).collect()
    }

    #[test]
    fn a_stripped_phrase_changes_though_it_was_whole_from_the_start() {
        let growth = GrowthSettings {
            growth: Growth::Fill,
            step: -2,
            every: 1,
            ..GrowthSettings::default()
        };
        let alone = MotionSettings {
            copies: 0,
            ..MotionSettings::default()
        };
        assert_eq!(boundaries(alone, growth, 20.0), [2.0, 3.5, 5.0, 6.5, 20.0]);
    }

    #[test]
    fn a_phrase_that_is_stripped_and_then_built_up_again_changes_both_ways() {
        let phrase = Phrase::from_text("D4 F4 G4 A4 C5 E4", 0.25).unwrap();
        let mut settings = Settings {
            growth: GrowthSettings {
                growth: Growth::Fill,
                step: -2,
                every: 1,
                ..GrowthSettings::default()
            },
            ..Settings::default()
        };
        settings.motion.copies = 0;
        let mut voices = Voices::new(phrase, settings, 2.0);
        settings.growth.step = 2;
        // Four notes stand since 3.5, two since 5.
        voices.set_settings(settings, 5.5, |voices| begun_by(voices, 5.5));
        let all: Vec<_> = Boundaries::new(&voices, 20.0).map(|next| next.at).collect();
        assert!(all.ends_with(&[6.5, 8.0, 20.0]), "{all:?}");
    }

    /// As many copies as there can be over a phrase of 512 notes, growing and moving in every way.
    fn crowded() -> impl Iterator<Item = Voices> {
        let steps = (0..512).map(|step| format!("{}4", ["C", "D", "F", "A"][step * 7 % 5 % 4]));
        let text: Vec<String> = steps.collect();
        let phrase = Phrase::from_text(&text.join(" "), 0.25).unwrap();
        let growth = [
            (Growth::Off, 1),
            (Growth::Lengthen, 8),
            (Growth::Fill, 5),
            (Growth::Lengthen, -3),
            (Growth::Fill, -3),
        ];
        let motion = [
            (Motion::Drift, 3, 2),
            (Motion::Jump, 1, 1),
            (Motion::BuildUp, 2, 1),
        ];
        let shifts = [Shifts::Auto, Shifts::Endless, Shifts::Count(40)];
        let moves = [CopiesMove::Together, CopiesMove::InTurn];
        let all = growth.into_iter().flat_map(move |growth| {
            let motions = motion.into_iter().zip(shifts);
            motions.flat_map(move |motion| [0, 3, 5].map(|entry| (growth, motion, entry)))
        });
        let all = all.flat_map(move |one| moves.map(|moves| (one, moves)));
        all.map(
            move |(((growth, step), ((motion, dwell, drift), shifts), entry), moves)| {
                let mut settings = Settings::default();
                settings.growth.growth = growth;
                settings.growth.step = step;
                settings.growth.copies_grow = entry != 3;
                settings.motion = MotionSettings {
                    copies: MAX_COPIES,
                    copies_move: moves,
                    motion,
                    dwell,
                    drift,
                    shifts,
                    entry,
                    ..settings.motion
                };
                Voices::new(phrase.clone(), settings, 2.0)
            },
        )
    }

    #[test]
    fn passing_over_boundaries_leads_where_telling_them_one_by_one_does() {
        for voices in crowded() {
            let (end, _) = listed_end(&voices);
            let all: Vec<Boundary> = Boundaries::new(&voices, end).collect();
            for steps in [1, 40, 333, 1200] {
                let mut passing = Boundaries::new(&voices, end);
                for told in all.iter().skip(steps - 1).step_by(steps) {
                    let found = passing.nth(steps - 1).unwrap();
                    assert_eq!(found.begins, told.begins);
                    assert!((found.at - told.at).abs() < HAIR, "{found:?} {told:?}");
                }
                assert_eq!(passing.nth(steps - 1), None);
            }
        }
    }

    /// What the audio thread waits for: rounds of moves are not gone through one by one.
    #[test]
    fn a_late_stage_is_found_without_going_through_those_before_it() {
        for voices in crowded() {
            let (end, _) = listed_end(&voices);
            let mut stages = Boundaries::new(&voices, end);
            let changes = |part| voices.laps(part).changes().count();
            let changes: usize = voices.parts().map(changes).sum();
            stages.nth(4095);
            // Some rounds for each of the entries and last moves, and between changes of growth.
            let bound = 5 * changes + 200;
            assert!(
                stages.asked <= bound,
                "{} {bound} {:?}",
                stages.asked,
                voices.settings()
            );
        }
    }

    #[test]
    fn two_copies_with_an_entry_gap_move_each_in_its_time() {
        let motion = MotionSettings {
            motion: Motion::Jump,
            copies: 2,
            dwell: 2,
            entry: 1,
            ..MotionSettings::default()
        };
        let all = boundaries(motion, GrowthSettings::default(), 10.0);
        // Copy 1 enters at 2 and jumps every 3 beats, copy 2 a cycle of 1.5 later.
        assert_eq!(all, [2.0, 3.5, 5.0, 6.5, 8.0, 9.5, 10.0]);
    }

    #[test]
    fn a_drift_is_one_stage() {
        let motion = MotionSettings {
            dwell: 2,
            drift: 2,
            ..MotionSettings::default()
        };
        let all = boundaries(motion, GrowthSettings::default(), 9.0);
        assert_eq!(all, [2.0, 5.0, 8.0, 9.0]);
    }
}
