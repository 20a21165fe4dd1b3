//! The form: what a process will have done by the end, stage by stage, and how long it takes.
//!
//! Computed outside the audio thread, from the same [`Process`] that plays.

use crate::boundaries::{Boundaries, listed_end, one_round};
use crate::motion::StagePart;
use crate::note::Key;
use crate::part::{CopyNumber, Part};
use crate::performance::Performance;
use crate::phrase::Phrase;
use crate::process::Process;
use crate::time::{Beats, HAIR, LATE, MaterialPlace, Span, to_ticks};
use crate::voices::CopyMoment;

/// What a copy does during a stage.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Doing {
    /// It has not entered.
    Waiting,
    /// It grows from its entry, or waits for the others to have entered.
    Entering,
    /// Silent, then filling in, already displaced.
    Building,
    /// Locked at an offset.
    Locked,
    /// On its way to the next offset.
    Drifting,
}

/// A copy in a stage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CopyStage {
    /// What it does.
    pub doing: Doing,
    /// Steps ahead as the stage begins.
    pub from: f64,
    /// Steps ahead as the stage ends.
    pub to: f64,
    /// Steps of its cycle, if that is not as long as the phrase.
    pub cycle: Option<f64>,
}

/// What a stage is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StageKind {
    /// The phrase goes round by itself.
    Alone,
    /// The phrase is not whole, and no copy is there yet.
    Growth,
    /// Copies enter, or wait for others to.
    Entry,
    /// All voices coincide.
    Unison,
    /// All are locked somewhere else.
    Dwell,
    /// Somebody is on the way.
    Drift,
    /// Somebody builds up again.
    BuildUp,
}

impl StageKind {
    /// What a stage is in which copies do this. The phrase is `whole`, or still grows; locked, all
    /// voices coincide, or not.
    fn of(copies: &[CopyStage], is_whole: bool, is_unison: bool) -> Self {
        let any = |doing| copies.iter().any(|copy| copy.doing == doing);
        let alone = copies.iter().all(|copy| copy.doing == Doing::Waiting);
        if any(Doing::Building) {
            Self::BuildUp
        } else if any(Doing::Drifting) {
            Self::Drift
        } else if alone && !is_whole {
            Self::Growth
        } else if alone {
            Self::Alone
        } else if any(Doing::Entering) || any(Doing::Waiting) {
            Self::Entry
        } else if is_unison {
            Self::Unison
        } else {
            Self::Dwell
        }
    }
}

/// A stretch between two growth changes, entries or shifts.
#[derive(Clone, Debug, PartialEq)]
pub struct Stage {
    /// Where in the song.
    pub span: Span,
    /// How many notes of the phrase the steady voice plays.
    pub shown: usize,
    /// Beats of the steady voice's lap.
    pub lap: Beats,
    /// Copy 1 and following.
    pub copies: Vec<CopyStage>,
    /// What it is, all told.
    pub kind: StageKind,
    /// Who made it so.
    pub made: Made,
    /// Whether it began on a performer's cue.
    pub on_cue: bool,
}

/// Who made a stage.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Made {
    /// The settings.
    Generated,
    /// The composer, in the route.
    Written,
    /// It was performed, as long as it is.
    Performed,
}

impl Stage {
    /// Whether all voices have entered and coincide, or would with their offsets left out.
    pub fn is_unison(&self, form: &Form) -> bool {
        coincide(&self.copies, form.rotation)
    }
}

/// How long the whole lasts, in beats.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Totals {
    /// With the fewest repeats that are customary.
    pub shortest: Beats,
    /// As set.
    pub chosen: Beats,
    /// With the most repeats that are customary.
    pub longest: Beats,
}

/// Two voices held at one offset.
#[derive(Clone, Debug, PartialEq)]
pub struct Alignment {
    /// Steps ahead.
    pub offset: i64,
    /// Moments in a cycle at which something is struck.
    pub attacks: usize,
    /// Moments at which both voices strike.
    pub doublings: usize,
    /// What meets there: (steady voice's key, copy's key).
    pub meetings: Vec<(Key, Key)>,
}

impl Alignment {
    /// Whether the voices fill each other's gaps and never meet.
    pub fn interlocks(&self) -> bool {
        self.doublings == 0
    }
}

/// The whole.
#[derive(Clone, Debug, PartialEq)]
pub struct Form {
    /// In order, without gaps, from the origin on.
    pub stages: Vec<Stage>,
    /// The stage that is held at the end goes on for ever; it is listed at the length of a dwell.
    pub totals: Totals,
    /// Every distinct alignment of two voices, from unison on.
    pub alignments: Vec<Alignment>,
    /// Whether the process goes on after what is listed, which is one round then.
    pub endless: bool,
    /// Steps after which the phrase is as it was.
    rotation: f64,
}

/// The most stages that are listed; a form with more is cut there.
const MAX_STAGES: usize = 4096;

impl Form {
    /// The form of `process`. One that moves on cue has the form of its counts, as a proposal to
    /// the performer.
    pub fn new(process: &Process) -> Self {
        Self::of(&Performance::proposed(process))
    }

    /// The form of a performance: the stages as they were performed, and those that follow.
    pub fn of(performance: &Performance) -> Self {
        let process = performance.future();
        let voices = process.voices();
        let alignments = alignments_of(voices.aligned(), process.settings().step());
        Self::with_alignments(performance, alignments)
    }

    /// The same, of a phrase and grid of which the alignments are known.
    pub fn with_alignments(performance: &Performance, alignments: Vec<Alignment>) -> Self {
        let process = performance.future();
        let (end, endless) = listed_end(process.voices());
        let cuts = cuts(performance, end);
        let step = to_ticks(process.settings().step()).max(1);
        let rotation = process.phrase().smallest_rotation() as f64 / step as f64;
        let stages: Vec<Stage> = cuts
            .windows(2)
            .map(|cut| stage(performance, Span::new(cut[0], cut[1]), rotation))
            .collect();
        let totals = match performance.until() {
            Some(_) => totals_of(&stages),
            None => totals(process, end),
        };
        Self {
            stages,
            totals,
            alignments,
            endless,
            rotation,
        }
    }

    /// Song position at which the listing ends.
    pub fn end(&self) -> Beats {
        self.stages.last().map_or(0.0, |stage| stage.span.end)
    }

    /// The stage at song position `at`; the last one holds for ever.
    pub fn stage_at(&self, at: Beats) -> Option<usize> {
        let after = self.stages.partition_point(|stage| stage.span.start <= at);
        after.checked_sub(1)
    }

    /// Whether an offset of that many steps leaves the phrase in unison with itself.
    pub fn is_whole_rotation(&self, steps: f64) -> bool {
        is_whole(steps, self.rotation)
    }

    /// The offset as a place among the distinct alignments, 0 being unison; the nearest one. Of a copy
    /// in a cycle of its own it says nothing.
    pub fn alignment_of(&self, steps: f64) -> usize {
        let place = steps.rem_euclid(self.rotation).round() as usize;
        place % self.alignments.len().max(1)
    }
}

/// Whether so many steps turn the phrase, which is as it was after `rotation` steps, into itself.
fn is_whole(steps: f64, rotation: f64) -> bool {
    let turns = steps / rotation;
    (turns - turns.round()).abs() < 1e-6
}

/// Whether all copies are locked, and in unison with the steady voice.
fn coincide(copies: &[CopyStage], rotation: f64) -> bool {
    // In a cycle of its own a copy stands elsewhere each time round.
    let locked = |copy: &CopyStage| copy.doing == Doing::Locked && copy.cycle.is_none();
    copies
        .iter()
        .all(|copy| locked(copy) && is_whole(copy.to, rotation))
}

/// Where stages begin, and where the last of them ends.
fn cuts(performance: &Performance, end: Beats) -> Vec<Beats> {
    let origin = performance.future().origin();
    let mut cuts: Vec<Beats> = vec![origin];
    let mut cut = |at: Beats| {
        let is_new = cuts.last().is_none_or(|last| at - last >= HAIR);
        if is_new && cuts.len() < MAX_STAGES {
            cuts.push(at);
        }
    };
    let mut before: Option<Vec<Standing>> = None;
    for (span, process) in performance.stretches() {
        let stand = |at: Beats| -> Vec<Standing> {
            let copies = process.voices().copies();
            copies
                .map(|copy| Standing::at(&process, copy, at))
                .collect()
        };
        let goes_on = |before: Vec<Standing>| {
            let now = stand(span.start + HAIR);
            let alike = |(then, now): (&Standing, &Standing)| now.goes_on_from(then);
            before.len() == now.len() && before.iter().zip(&now).all(alike)
        };
        if before.take().is_some_and(|before| !goes_on(before)) {
            cut(span.start);
        }
        let voices = process.voices();
        if span.end.is_finite() {
            let inside = Boundaries::performed(voices, span).map(|boundary| boundary.at);
            let inside = inside.filter(|at| span.start + HAIR < *at && *at < span.end - HAIR);
            inside.for_each(&mut cut);
            before = Some(stand(span.end - HAIR));
        } else {
            let later = Boundaries::new(voices, end).map(|boundary| boundary.at);
            let is_past = |at: &Beats| performance.until().is_some() && *at < span.start + HAIR;
            later.filter(|at| !is_past(at)).for_each(&mut cut);
        }
    }
    cuts
}

/// How a copy stands where one stretch of a performance turns into the next.
struct Standing {
    doing: Doing,
    /// Beats.
    ahead: Beats,
}

impl Standing {
    fn at(process: &Process, copy: CopyNumber, at: Beats) -> Self {
        let ahead = process.voices().displacement(Part::Copy(copy), at);
        Self {
            doing: doing(process, copy, at),
            ahead: ahead.unwrap_or(0.0),
        }
    }

    /// Whether it still does the same, and has not leapt: nobody drifts so far in so little time.
    fn goes_on_from(&self, before: &Self) -> bool {
        self.doing == before.doing && (self.ahead - before.ahead).abs() < LATE
    }
}

fn stage(performance: &Performance, span: Span, rotation: f64) -> Stage {
    let process = performance.at(span.start + HAIR);
    let lap = process.voices().steady_lap(span.start + HAIR);
    let mut copies = copy_stages(performance, &process, span);
    let shown = shown_in(process.phrase(), &lap);
    let is_whole = shown == process.phrase().notes().len();
    let kind = StageKind::of(&copies, is_whole, coincide(&copies, rotation));
    // Those that are not in use here are elsewhere.
    copies.resize(performance.copies().len(), CopyStage::ABSENT);
    let performed = performance.until();
    Stage {
        span,
        shown,
        lap: lap.length,
        kind,
        copies,
        made: match process.route().is_written() {
            _ if performed.is_some_and(|until| span.end <= until + HAIR) => Made::Performed,
            true => Made::Written,
            false => Made::Generated,
        },
        on_cue: performed.is_some() && is_cued(performance, span.start),
    }
}

/// Whether a cue has ended what was before song position `at`.
fn is_cued(performance: &Performance, at: Beats) -> bool {
    let process = performance.at(at - HAIR);
    let voices = process.voices();
    let moves = |copy| voices.cued_to_move(copy, at - HAIR);
    let mut moves = voices.copies().filter_map(moves);
    moves.any(|moves| (moves - at).abs() < 2.0 * HAIR)
}

/// How many notes of the phrase sound in a lap.
fn shown_in(phrase: &Phrase, lap: &crate::growth::Lap) -> usize {
    let reached = phrase
        .notes()
        .iter()
        .filter(|note| note.onset < lap.length - HAIR)
        .count();
    lap.shown.min(reached)
}

impl CopyStage {
    /// Not in use.
    const ABSENT: Self = Self {
        doing: Doing::Waiting,
        from: 0.0,
        to: 0.0,
        cycle: None,
    };
}

/// What the copies in use do in a stage, at whose beginning the process stood as `process` does.
fn copy_stages(performance: &Performance, process: &Process, span: Span) -> Vec<CopyStage> {
    // A hair inside, on either side, so that a jump at the border belongs to its own stage.
    let (begin, end) = (span.start + HAIR, span.end - HAIR);
    let at_end = performance.at(end);
    // The steps of all stages are those of the grid as it is in the end.
    let step = performance.future().settings().step();
    let ahead = |process: &Process, copy, at| {
        let ahead = process.voices().displacement(Part::Copy(copy), at);
        round(ahead.unwrap_or(0.0) / step)
    };
    let stage = |copy| CopyStage {
        doing: doing(process, copy, begin),
        from: ahead(process, copy, begin),
        to: ahead(&at_end, copy, end),
        cycle: (process.voices().own_cycle(copy)).map(|own| round(own.length / step)),
    };
    process.voices().copies().map(stage).collect()
}

/// What `copy` does at song position `at`.
fn doing(process: &Process, copy: CopyNumber, at: Beats) -> Doing {
    let voices = process.voices();
    let part = Part::Copy(copy);
    match (voices.entry(part), voices.moves_from(part)) {
        (Some(entry), _) if entry > at => Doing::Waiting,
        (None, _) => Doing::Waiting,
        (_, Some(moves)) if moves <= at => moving(process, copy, at),
        _ => Doing::Entering,
    }
}

fn moving(process: &Process, copy: CopyNumber, at: Beats) -> Doing {
    let moment = process.voices().copy_moment(copy, at);
    match moment.filter(CopyMoment::moves).map(|moment| moment.part) {
        Some(StagePart::Build) => Doing::Building,
        Some(StagePart::Lean | StagePart::Settle) => Doing::Drifting,
        Some(StagePart::Dwell) | None => Doing::Locked,
    }
}

/// To a thousandth of a step: what the hairs above have cost.
fn round(steps: f64) -> f64 {
    // Adding zero turns a negative one into a positive one.
    (steps * 1000.0).round() / 1000.0 + 0.0
}

/// By how much musicians vary the counts they are given: 4 times may be 2 to 8 in a build-up,
/// 8 may be 4 to 16 in a slide, 16 may be 12 to 24 in a hold (common practice, no source).
pub(crate) const BUILD_RANGE: (f64, f64) = (0.5, 2.0);
pub(crate) const SLIDE_RANGE: (f64, f64) = (0.5, 2.0);
pub(crate) const HOLD_RANGE: (f64, f64) = (0.75, 1.5);

fn totals(process: &Process, end: Beats) -> Totals {
    let chosen = end - process.origin();
    let voices = process.voices();
    let grown = (voices.laps(Part::Steady).done()).map_or(0.0, MaterialPlace::beats);
    let schedule = voices.schedule();
    let shifts = if voices.count() == 1 {
        0
    } else {
        schedule.last().unwrap_or_else(|| one_round(voices))
    };
    let (slides, built) = schedule.moves(shifts);
    let builds = grown + built;
    let holds = chosen - slides - builds;
    let with = |pick: fn((f64, f64)) -> f64| {
        slides * pick(SLIDE_RANGE) + builds * pick(BUILD_RANGE) + holds * pick(HOLD_RANGE)
    };
    Totals {
        shortest: with(|range| range.0),
        chosen,
        longest: with(|range| range.1),
    }
}

/// How long a performance lasts with what follows it: what was performed is as long as it is.
fn totals_of(stages: &[Stage]) -> Totals {
    let with = |pick: fn((f64, f64)) -> f64| {
        let lasts = |stage: &Stage| {
            let share = match stage.kind {
                _ if stage.made == Made::Performed => 1.0,
                StageKind::Drift => pick(SLIDE_RANGE),
                StageKind::BuildUp | StageKind::Growth => pick(BUILD_RANGE),
                StageKind::Alone | StageKind::Entry | StageKind::Unison | StageKind::Dwell => {
                    pick(HOLD_RANGE)
                }
            };
            stage.span.length() * share
        };
        stages.iter().map(lasts).sum()
    };
    Totals {
        shortest: with(|range| range.0),
        chosen: with(|_| 1.0),
        longest: with(|range| range.1),
    }
}

/// Every distinct alignment of two voices that play `phrase`, in whole steps of `step` beats.
pub fn alignments(phrase: &Phrase, step: Beats) -> Vec<Alignment> {
    alignments_of([phrase, phrase], step)
}

/// The same of a steady voice and a copy that each read the phrase in their own way.
fn alignments_of([steady, copy]: [&Phrase; 2], step: Beats) -> Vec<Alignment> {
    let step = to_ticks(step).max(1);
    let count = (steady.smallest_rotation() / step).max(1);
    let (steady, copy) = (Struck::of(steady), Struck::of(copy));
    (0..count)
        .map(|offset| steady.alignment(&copy, offset, offset * step))
        .collect()
}

/// What a cycle strikes, and when, in ticks.
struct Struck {
    length: i64,
    attacks: Vec<(i64, Vec<Key>)>,
}

impl Struck {
    fn of(phrase: &Phrase) -> Self {
        let mut attacks: Vec<(i64, Vec<Key>)> = Vec::new();
        for note in phrase.notes() {
            let tick = to_ticks(note.onset);
            match attacks.last_mut() {
                Some((last, keys)) if *last == tick => keys.push(note.key),
                _ => attacks.push((tick, vec![note.key])),
            }
        }
        Self {
            length: to_ticks(phrase.length()).max(1),
            attacks,
        }
    }

    /// The keys struck at a tick of the cycle. Attacks are in order, so it is found by halving.
    fn at(&self, tick: i64) -> Option<&[Key]> {
        let found = self.attacks.binary_search_by_key(&tick, |(tick, _)| *tick);
        Some(&self.attacks[found.ok()?].1)
    }

    /// What this, which is steady, and `copy` strike.
    fn alignment(&self, copy: &Self, offset: i64, ahead: i64) -> Alignment {
        let mut meetings = Vec::new();
        let mut doublings = 0;
        for (tick, steady) in &self.attacks {
            // What a voice that is ahead sounds at a moment stands so much later in the phrase.
            let Some(copy) = copy.at((tick + ahead).rem_euclid(copy.length)) else {
                continue;
            };
            doublings += 1;
            meetings.extend(
                steady
                    .iter()
                    .flat_map(|steady| copy.iter().map(|copy| (*steady, *copy))),
            );
        }
        Alignment {
            offset,
            attacks: self.attacks.len() + copy.attacks.len() - doublings,
            doublings,
            meetings,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::{CopiesMove, Growth, GrowthSettings, Settings};

    /// One note on each of these steps of `length`.
    fn rhythm(onsets: &[usize], length: usize) -> Phrase {
        let words: Vec<&str> = (0..length)
            .map(|s| if onsets.contains(&s) { "C4" } else { "." })
            .collect();
        Phrase::from_text(&words.join(" "), 0.25).unwrap()
    }

    fn attacks(onsets: &[usize], length: usize) -> Vec<usize> {
        alignments(&rhythm(onsets, length), 0.25)
            .iter()
            .map(|a| a.attacks)
            .collect()
    }

    /// Attacks at offset k are 2m - c(k), c the cyclic autocorrelation (own arithmetic).
    #[test]
    fn attacks_at_every_offset_follow_the_autocorrelation() {
        assert_eq!(
            attacks(&[0, 1, 3, 6, 7], 10),
            [5, 8, 9, 7, 7, 8, 7, 7, 9, 8]
        );
        assert_eq!(
            attacks(&[0, 2, 3, 7, 9, 10], 12),
            [6, 10, 9, 9, 10, 8, 10, 8, 10, 9, 9, 10]
        );
    }

    #[test]
    fn a_rhythm_of_sixteen_interlocks_at_four_offsets() {
        let all = alignments(&rhythm(&[0, 3, 4, 8, 11], 16), 0.25);
        let interlocking: Vec<i64> = all
            .iter()
            .filter(|a| a.interlocks())
            .map(|a| a.offset)
            .collect();
        assert_eq!(interlocking, [2, 6, 10, 14]);
    }

    #[test]
    fn a_rhythm_of_equal_halves_has_half_the_alignments() {
        assert_eq!(alignments(&rhythm(&[0, 1, 3, 6, 7, 9], 12), 0.25).len(), 6);
    }

    /// Twelve cycles of dwell and drift, 36 beats each, come to 432; a dwell in unison follows.
    #[test]
    fn twelve_steps_with_a_dwell_of_eight_and_a_drift_of_four() {
        let phrase = rhythm(&[0, 1, 3, 4, 5, 8, 10], 12);
        let form = Form::new(&Process::new(phrase, Settings::default(), 0.0));
        assert_eq!(form.totals.chosen, 432.0 + 24.0);
        assert_eq!(form.stages.len(), 25);
        let doing: Vec<_> = form.stages[..4].iter().map(|s| s.copies[0]).collect();
        assert_eq!(
            doing,
            [
                CopyStage {
                    doing: Doing::Locked,
                    from: 0.0,
                    to: 0.0,
                    cycle: None
                },
                CopyStage {
                    doing: Doing::Drifting,
                    from: 0.0,
                    to: 1.0,
                    cycle: None
                },
                CopyStage {
                    doing: Doing::Locked,
                    from: 1.0,
                    to: 1.0,
                    cycle: None
                },
                CopyStage {
                    doing: Doing::Drifting,
                    from: 1.0,
                    to: 2.0,
                    cycle: None
                },
            ]
        );
        assert!(form.stages[0].is_unison(&form));
        assert!(!form.stages[2].is_unison(&form));
        assert!(form.stages[24].is_unison(&form));
        assert_eq!(form.stage_at(36.0), Some(2));
        // Holds of 6 to 12, slides of 2 to 8 cycles of 3 beats.
        assert_eq!(form.totals.shortest, 13.0 * 18.0 + 12.0 * 6.0);
        assert_eq!(form.totals.longest, 13.0 * 36.0 + 12.0 * 24.0);
    }

    #[test]
    fn growth_comes_first_and_then_the_copies() {
        let mut settings = Settings::default();
        settings.growth = GrowthSettings {
            growth: Growth::Fill,
            step: 2,
            every: 2,
            ..settings.growth
        };
        settings.motion.copies = 2;
        settings.motion.entry = 1;
        settings.motion.copies_move = CopiesMove::InTurn;
        let phrase = rhythm(&[0, 1, 2, 3, 4, 6], 8);
        let form = Form::new(&Process::new(phrase, settings, 16.0));
        let starts: Vec<_> = form
            .stages
            .iter()
            .take(6)
            .map(|s| s.span.start - 16.0)
            .collect();
        assert_eq!(starts, [0.0, 4.0, 8.0, 12.0, 14.0, 30.0]);
        let shown: Vec<_> = form.stages.iter().take(4).map(|s| s.shown).collect();
        assert_eq!(shown, [2, 4, 6, 6]);
        assert_eq!(form.stages[3].copies[0].doing, Doing::Entering);
        assert_eq!(form.stages[3].copies[1].doing, Doing::Waiting);
        assert_eq!(form.stages[4].copies[1].doing, Doing::Locked);
        assert_eq!(form.stages[5].copies[0].doing, Doing::Drifting);
        assert_eq!(form.stages[5].copies[1].doing, Doing::Locked);
    }

    #[test]
    fn a_phrase_alone_is_listed_for_a_dwell() {
        let mut settings = Settings::default();
        settings.motion.copies = 0;
        let form = Form::new(&Process::new(rhythm(&[0], 4), settings, 0.0));
        assert_eq!(form.stages.len(), 1);
        assert_eq!(form.end(), 8.0);
    }
}
