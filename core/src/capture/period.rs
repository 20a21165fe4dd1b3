//! The period of a passage: what comes again in it, and after how long.
//!
//! Hands do not keep to a grid, so what is compared are attacks, in the order in which they came,
//! and the time from each to the same one a pass later. That time may change from pass to pass: it
//! is followed. What is compared from the end backwards is a *run*: all that comes again after the
//! same time, up to one stray attack in a pass.

use crate::note::Key;
use crate::time::Beats;
use arrayvec::ArrayVec;
use std::ops::Range;

/// Keys struck together.
#[derive(Clone, Copy, Debug)]
pub(super) struct Attack {
    /// When: the middle of its strokes, on the listener's clock.
    pub(super) at: Beats,
    /// A bit for each key.
    pub(super) keys: u128,
    /// The place of its first stroke among the notes heard.
    pub(super) first: usize,
    strokes: u32,
}

impl Attack {
    pub(super) fn new(at: Beats, key: Key, first: usize) -> Self {
        Self {
            at,
            keys: 1 << key.number(),
            first,
            strokes: 1,
        }
    }

    /// One more key in it.
    pub(super) fn join(&mut self, at: Beats, key: Key) {
        self.strokes += 1;
        self.at += (at - self.at) / f64::from(self.strokes);
        self.keys |= 1 << key.number();
    }
}

/// What was found to come again.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Repetition {
    /// The attacks of the pass that is the phrase.
    pub(super) pass: Range<usize>,
    /// Beats from one pass to the next, as they were played.
    pub(super) period: Beats,
}

/// Comparisons of two attacks that may be made before the search is given up: half a tenth of a
/// millisecond. Six passes of a hundred notes need a few thousand.
const PATIENCE: usize = 16_000;

/// Less than this, in beats, and less than so many attacks are no phrase of their own when they
/// come twice at the end of something longer: many melodies end so.
const OF_ITS_OWN: (Beats, usize) = (0.9, 3);

/// Of fewer attacks in a pass, none may be a stray one.
const FEWEST_TO_ERR: usize = 3;

/// How much of the tolerance is left where time alone tells attacks apart.
const BY_TIME: f64 = 0.7;

/// How much of a difference in pace is followed from one attack to the next.
const FOLLOWED: f64 = 0.2;

/// No attack.
const NONE: u16 = u16::MAX;

/// What comes again at the end of `attacks`, if anything does, the time from one pass to the next
/// being at most `longest`. An attack may come `tolerance` beats early or late. The passage began
/// at `began`, before what is told of it if that is no longer remembered. `again` is room to work
/// in: as many as there are attacks.
pub(super) fn repetition(
    attacks: &[Attack],
    (tolerance, longest): (Beats, Beats),
    (began, now): (Beats, Beats),
    again: &mut [u16],
) -> Option<Repetition> {
    let search = Search { attacks, tolerance };
    let best = search.best(longest)?;
    let again = &mut again[..attacks.len()];
    again.fill(NONE);
    let mut patience = PATIENCE;
    search.run(best.partner, best.lag, &mut patience, |earlier, later| {
        again[earlier] = later as u16;
    });
    let starts = search.starts(&best, search.downbeat(&best, began, now), again);
    let pass = search.pass_that_agrees(&starts)?;
    Some(Repetition {
        pass,
        period: best.period,
    })
}

/// All that comes again after the same time, counted from the end.
#[derive(Clone, Copy, Debug)]
struct Run {
    /// One past the attack that the last one repeats: there the last pass begins.
    partner: usize,
    /// From there to the last one, or what it should have been.
    lag: Beats,
    /// Its first attack.
    first: usize,
    /// Attacks in it that differ from those a pass earlier.
    strays: usize,
    /// The mean time from one pass to the next, of the last few passes.
    period: Beats,
}

impl Repetition {
    /// As many passes as one; none if so many were not played.
    pub(super) fn times(&self, passes: usize) -> Option<Self> {
        let more = (passes - 1) * self.pass.len();
        let start = self.pass.start.checked_sub(more)?;
        Some(Self {
            pass: start..self.pass.end,
            period: self.period * passes as f64,
        })
    }
}

struct Search<'a> {
    attacks: &'a [Attack],
    tolerance: Beats,
}

impl Search<'_> {
    /// How far from where it is due a pass may begin: less than half a step.
    fn near(&self) -> Beats {
        self.tolerance / 2.0
    }

    /// The run that explains most of the passage; of equals the shortest period.
    fn best(&self, longest: Beats) -> Option<Run> {
        let count = self.attacks.len();
        let mut patience = PATIENCE;
        let mut best: Option<(Run, usize)> = None;
        // If the last attack is a stray one, the last but one is not.
        for seed in (count.saturating_sub(2)..count).rev() {
            let last = self.attacks[seed];
            for earlier in (0..seed).rev() {
                let lag = last.at - self.attacks[earlier].at;
                if best.is_some_and(|(_, weight)| weight == count) || lag > longest {
                    break;
                }
                if patience == 0 {
                    return best.map(|(run, _)| run);
                }
                if self.attacks[earlier].keys != last.keys {
                    continue;
                }
                let partner = self.partner_of_last(earlier, lag, seed);
                let Some(run) = self.run(partner, lag, &mut patience, |_, _| ()) else {
                    continue;
                };
                let weight = (count - run.first).saturating_sub(run.strays);
                if best.is_none_or(|(_, most)| weight > most) && self.is_phrase(&run) {
                    best = Some((run, weight));
                }
            }
        }
        best.map(|(run, _)| run)
    }

    /// One past the attack that the last one would repeat, if attack `seed` repeats `earlier`.
    fn partner_of_last(&self, earlier: usize, lag: Beats, seed: usize) -> usize {
        let last = self.attacks.len() - 1;
        let next = earlier + (last - seed);
        let fits = (self.attacks[last].at - self.attacks[next].at - lag).abs() <= self.tolerance;
        if fits { next + 1 } else { earlier + 1 }
    }

    /// What comes again after about `lag` beats, the last attack that of index `partner` - 1.
    /// None if less than the last pass does.
    ///
    /// The last pass may differ from the one before in one attack if there are three.
    fn run(
        &self,
        partner: usize,
        lag: Beats,
        patience: &mut usize,
        mut comes_again: impl FnMut(usize, usize),
    ) -> Option<Run> {
        let attacks = self.attacks;
        let (mut later, mut earlier) = (attacks.len(), partner);
        let mut followed = self.mean_lag(partner, lag);
        let mut passes = Passes::new(partner);
        let allowed = usize::from(attacks.len() - partner >= FEWEST_TO_ERR);
        let mut first = None;
        let (mut strays, mut strays_inside) = (0, 0);
        let mut periods = Mean::default();
        while earlier > 0 && *patience > 0 {
            passes.come_to(later, earlier);
            *patience -= 1;
            let (a, b) = (&attacks[later - 1], &attacks[earlier - 1]);
            let since = a.at - b.at;
            let gap = since - followed;
            let together = gap.abs() <= self.allowed(later - 1, earlier - 1);
            if together && a.keys == b.keys {
                comes_again(earlier - 1, later - 1);
                followed += FOLLOWED * gap;
                first = Some(earlier - 1);
                strays_inside = strays;
                if passes.count() < 4 {
                    periods.take(since);
                }
            } else {
                strays += 1;
                if passes.stray() > allowed {
                    break;
                }
            }
            later -= usize::from(together || gap > 0.0);
            earlier -= usize::from(together || gap < 0.0);
        }
        if earlier == 0 {
            passes.come_to(later, 0);
        }
        let run = Run {
            partner,
            lag,
            first: first?,
            strays: strays_inside,
            period: periods.mean()?,
        };
        (passes.agree() || self.last_is_third_last(&passes)).then_some(run)
    }

    /// The mean of the last few, so that one attack that comes early does not set the pace.
    fn mean_lag(&self, partner: usize, lag: Beats) -> Beats {
        let in_a_pass = self.attacks.len() - partner;
        let later = self.attacks.iter().rev();
        let earlier = self.attacks[..partner].iter().rev();
        let mut mean = Mean::default();
        for (later, earlier) in later.zip(earlier).take(in_a_pass.min(4)) {
            let since = later.at - earlier.at;
            if later.keys == earlier.keys && (since - lag).abs() <= 2.0 * self.tolerance {
                mean.take(since);
            }
        }
        mean.mean().unwrap_or(lag)
    }

    /// With a stray attack in the pass between, whether the last pass is what the third last was.
    fn last_is_third_last(&self, passes: &Passes) -> bool {
        match passes.begins[..] {
            [last, second, third, ..] => self.agree(last..self.attacks.len(), third..second),
            _ => false,
        }
    }

    /// Whether what comes again is a phrase, and not how a longer one happens to end.
    fn is_phrase(&self, run: &Run) -> bool {
        let all = self.attacks.len();
        let in_a_pass = all - run.partner;
        let covered = all - run.first;
        let whole = covered == all && run.strays == 0;
        let substantial = run.period >= OF_ITS_OWN.0 && in_a_pass >= OF_ITS_OWN.1;
        let most_of_it = in_a_pass > 1 && covered >= 3 * in_a_pass && 2 * covered > all;
        let few_strays = 4 * run.strays <= covered;
        whole || few_strays && (substantial || most_of_it)
    }

    /// The attack with which a pass begins: the first of the run, or the first that was played.
    fn downbeat(&self, run: &Run, began: Beats, now: Beats) -> usize {
        let attacks = self.attacks;
        let is_whole = |beats: Beats| {
            let passes = beats / run.period;
            ((passes - passes.round()) * run.period).abs() <= self.near()
        };
        let first = attacks[0].at;
        // A phrase whose very first attack went wrong began with it all the same.
        let next_is_due = attacks.get(run.partner).map(|due| due.at - first);
        if run.first == 1 && next_is_due.is_some_and(is_whole) {
            return 0;
        }
        let is_forgotten = first - began > self.tolerance;
        if run.first == 0 && is_forgotten {
            let due = (0..run.partner).find(|index| is_whole(attacks[*index].at - began));
            return due.unwrap_or(run.first);
        }
        self.after_chance(run, now).unwrap_or(run.first)
    }

    /// What was played before the first pass may end, by chance, with the note that the phrase ends
    /// with. If hold waited for the end of the last pass, that is where passes begin.
    fn after_chance(&self, run: &Run, now: Beats) -> Option<usize> {
        let attacks = self.attacks;
        let next = attacks.get(run.partner)?.at;
        let waited = now >= next + run.period - self.near();
        let passes = ((next - attacks[run.first].at + self.near()) / run.period).floor();
        let begins = next - passes * run.period - self.near();
        let begins = attacks.partition_point(|attack| attack.at < begins);
        let is_one = begins == run.first + 1;
        (run.first > 0 && waited && is_one).then_some(begins)
    }

    /// Where the last few passes begin, the latest last; the passes counted from attack `downbeat`.
    fn starts(&self, run: &Run, downbeat: usize, again: &[u16]) -> ArrayVec<usize, 6> {
        let mut starts = ArrayVec::new();
        let mut start = downbeat;
        let mut due = self.attacks[downbeat].at;
        loop {
            if starts.is_full() {
                starts.remove(0);
            }
            starts.push(start);
            due += run.period;
            let next = match again[start] {
                NONE => self
                    .attacks
                    .partition_point(|attack| attack.at < due - self.near()),
                later => usize::from(later),
            };
            if next >= self.attacks.len() || next <= start {
                return starts;
            }
            if again[start] != NONE {
                due = self.attacks[next].at;
            }
            start = next;
        }
    }

    /// The latest pass that another of the last few agrees with.
    fn pass_that_agrees(&self, starts: &[usize]) -> Option<Range<usize>> {
        let pass = |index: usize| {
            let end = starts.get(index + 1).copied();
            starts[index]..end.unwrap_or(self.attacks.len())
        };
        let agreeing = (1..starts.len()).rev().find(|index| {
            let before = index.saturating_sub(2)..*index;
            before
                .rev()
                .any(|earlier| self.agree(pass(*index), pass(earlier)))
        });
        agreeing.map(pass)
    }

    /// Whether the same is played in both.
    fn agree(&self, later: Range<usize>, earlier: Range<usize>) -> bool {
        let attacks = self.attacks;
        let pairs = || later.clone().zip(earlier.clone());
        let since = |(a, b): (usize, usize)| attacks[a].at - attacks[b].at;
        let mut lag = Mean::default();
        pairs().take(4).for_each(|pair| lag.take(since(pair)));
        let Some(mut lag) = lag.mean() else {
            return false;
        };
        later.len() == earlier.len()
            && pairs().all(|(a, b)| {
                let gap = since((a, b)) - lag;
                lag += FOLLOWED * gap;
                attacks[a].keys == attacks[b].keys && gap.abs() <= self.allowed(a, b)
            })
    }

    /// How far from its place an attack may be. Of strokes on the same keys nothing but time tells
    /// one from the next.
    fn allowed(&self, later: usize, earlier: usize) -> Beats {
        let is_told_by_time = |index: usize| {
            let keys = |index: usize| self.attacks.get(index).map(|attack| attack.keys);
            let before = index.checked_sub(1).and_then(keys);
            before == keys(index) || keys(index + 1) == keys(index)
        };
        if is_told_by_time(later) || is_told_by_time(earlier) {
            self.tolerance * BY_TIME
        } else {
            self.tolerance
        }
    }
}

/// The passes of a run, counted from the end, and the strays in each.
struct Passes {
    /// Where the last three begin.
    begins: ArrayVec<usize, 3>,
    /// Strays in those of the last two that are whole.
    strays: ArrayVec<usize, 2>,
    next: usize,
    whole: usize,
    here: usize,
}

impl Passes {
    fn new(begins: usize) -> Self {
        Self {
            begins: [begins].into_iter().collect(),
            strays: ArrayVec::new(),
            next: begins,
            whole: 0,
            here: 0,
        }
    }

    /// The attacks compared next are those before `later` and `earlier`.
    fn come_to(&mut self, later: usize, earlier: usize) {
        if later > self.next {
            return;
        }
        let _ = self.strays.try_push(std::mem::take(&mut self.here));
        let _ = self.begins.try_push(earlier);
        self.next = earlier;
        self.whole += 1;
    }

    /// How many were compared as a whole.
    fn count(&self) -> usize {
        self.whole
    }

    /// An attack differs; how many do in this pass.
    fn stray(&mut self) -> usize {
        self.here += 1;
        self.here
    }

    /// Whether two that follow each other, out of the last three, are the same.
    fn agree(&self) -> bool {
        matches!(self.strays[..], [0, ..] | [1, 0])
    }
}

#[derive(Default)]
struct Mean {
    sum: Beats,
    count: u32,
}

impl Mean {
    fn take(&mut self, beats: Beats) {
        self.sum += beats;
        self.count += 1;
    }

    fn mean(&self) -> Option<Beats> {
        (self.count > 0).then(|| self.sum / f64::from(self.count))
    }
}
