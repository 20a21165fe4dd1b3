//! The plan, worked out: the form laid along an axis of time, and what its stages are in words.
//!
//! Times here are beats since the origin. What is drawn depends on how many points there are to
//! draw on, not on how long the form is: stages too narrow to be seen apart are drawn as one.

use crate::editor::model::circle::Circle;
use crate::editor::model::phrase::metre_of;
use crate::editor::model::sonority::{Cycle, name_of, pitch_classes_in};
use crate::editor::seen::Seen;
use egui::{Pos2, Rect, pos2};
use procession_core::exchange::Piece;
use procession_core::form::{CopyStage, Doing, Form, Stage, StageKind};
use procession_core::modulation::ModeChange;
use procession_core::motion::shifts_to_unison;
use procession_core::part::Part;
use procession_core::process::Process;
use procession_core::settings::FoldKind;
use procession_core::time::{Beats, HAIR};
use procession_core::words::{kind_word, stage_words};

/// The part of the form that is looked at, in beats since the origin.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Window {
    /// At the left edge.
    pub from: Beats,
    /// At the right edge.
    pub to: Beats,
}

impl Window {
    /// The whole form.
    pub fn whole(seen: &Seen) -> Self {
        Self {
            from: 0.0,
            to: length(seen),
        }
    }

    /// Beats from edge to edge.
    pub fn length(&self) -> Beats {
        (self.to - self.from).max(1e-6)
    }

    /// Nearer by `factor` (farther, if below 1), what lies at `at` staying where it is. Never
    /// wider than the form nor narrower than a cycle.
    pub fn nearer(&self, factor: f64, at: Beats, seen: &Seen) -> Self {
        let whole = length(seen);
        let least = seen.phrase().length().min(whole);
        let wanted = (self.length() / factor).clamp(least, whole);
        let share = (at - self.from) / self.length();
        Self::starting(at - share * wanted, wanted, whole)
    }

    /// Moved by so many beats, as far as the form goes.
    pub fn moved(&self, by: Beats, seen: &Seen) -> Self {
        Self::starting(self.from + by, self.length(), length(seen))
    }

    fn starting(from: Beats, length: Beats, whole: Beats) -> Self {
        let from = from.clamp(0.0, (whole - length).max(0.0));
        Self {
            from,
            to: from + length,
        }
    }

    /// Where on `chart` the time `at` lies.
    pub fn x(&self, at: Beats, chart: Rect) -> f32 {
        let share = (at - self.from) / self.length();
        chart.left() + (share * f64::from(chart.width())) as f32
    }

    /// The time at `x`.
    pub fn time(&self, x: f32, chart: Rect) -> Beats {
        let share = f64::from((x - chart.left()) / chart.width().max(1.0));
        self.from + share * self.length()
    }
}

/// Beats from the origin to where the listing ends.
pub fn length(seen: &Seen) -> Beats {
    (seen.form.end() - seen.process.origin()).max(seen.phrase().length())
}

/// The form along the axis of time.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Plan {
    /// How high an offset is drawn.
    pub scale: Scale,
    /// What happens when, without gaps; several stages in one where they are too narrow.
    pub blocks: Vec<Block>,
    /// How much of the phrase stands, where it is not whole.
    pub growth: Vec<Grown>,
    /// The offset of every voice, the steady one first.
    pub courses: Vec<Course>,
    /// Heights that carry a number.
    pub levels: Vec<Level>,
    /// Bar lines that carry a number.
    pub bars: Vec<BarLine>,
    /// Where groups begin within bars, if there is room to say so.
    pub groups: Vec<f32>,
    /// Where copies leap from one offset to another.
    pub jumps: Vec<f32>,
    /// Up to where it was performed, and in which bar that is, if anything was and it is in sight.
    pub performed: Option<(f32, i64)>,
    /// The modes of the modulation plan, the one that the piece begins in first; none without one.
    pub modes: Vec<ModeMark>,
}

/// The offsets that are drawn, from the lowest to the highest.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Scale {
    /// Steps, at the bottom.
    low: f64,
    /// Steps, at the top.
    high: f64,
}

impl Scale {
    /// Of an offset. A little air above and below, so that lines and marks stay whole.
    pub fn y(&self, steps: f64, chart: Rect) -> f32 {
        let inner = chart.shrink2(egui::vec2(0.0, 9.0));
        let share = (steps - self.low) / (self.high - self.low);
        inner.bottom() - share as f32 * inner.height()
    }

    /// The offset that is drawn at `y`.
    pub fn steps(&self, y: f32, chart: Rect) -> f64 {
        let inner = chart.shrink2(egui::vec2(0.0, 9.0));
        let share = f64::from((inner.bottom() - y) / inner.height().max(1.0));
        self.low + share * (self.high - self.low)
    }
}

/// A mode on the chart.
#[derive(Clone, Debug, PartialEq)]
pub struct ModeMark {
    /// Where it begins to come into force, is in force, and gives way.
    pub left: f32,
    /// Where all of its pitches have turned.
    pub whole: f32,
    /// Where the next one begins.
    pub right: f32,
    /// "D Lydian".
    pub name: String,
    /// Which of the plan's mode changes; none for the mode that the piece begins in.
    pub index: Option<usize>,
}

/// The mode marks as they are drawn now, the playhead being at `head`. On cue the course of the
/// form waits while the song goes on, and what begins at a bar of the song begins then: so what
/// has begun reaches up to the playhead, and what has not stays off it. What was performed lies
/// where it was.
pub fn modes_at(plan: &Plan, seen: &Seen, head: Option<f32>) -> Vec<ModeMark> {
    let now = seen.process.origin() + seen.elapsed();
    let is_past = seen.performance.until().is_some_and(|until| now <= until);
    let waits = seen.process.voices().are_cued() && !is_past;
    let Some(head) = head.filter(|_| waits) else {
        return plan.modes.clone();
    };
    let begun: Vec<Option<usize>> = seen
        .process
        .mode_changes()
        .take_while(|change| change.turning.start <= now + HAIR)
        .map(|change| change.index)
        .collect();
    let mark = |mark: &ModeMark| {
        let mut mark = mark.clone();
        if begun.last() == Some(&mark.index) {
            (mark.left, mark.right) = (mark.left.min(head), mark.right.max(head));
        } else if begun.contains(&mark.index) {
            (mark.left, mark.right) = (mark.left.min(head), mark.right.min(head));
        } else {
            (mark.left, mark.right) = (mark.left.max(head), mark.right.max(head));
        }
        mark.whole = mark.whole.clamp(mark.left, mark.right);
        mark
    };
    let marks = plan.modes.iter().map(mark);
    marks.filter(|mark| mark.right > mark.left).collect()
}

/// A stretch in which one thing happens.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Block {
    /// Left edge.
    pub left: f32,
    /// Right edge.
    pub right: f32,
    /// What happens; with several stages, the most notable, or nothing in particular where many
    /// are too narrow to be told apart.
    pub kind: Option<StageKind>,
    /// How many stages it is.
    pub stages: usize,
}

/// A stretch in which only part of the phrase stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Grown {
    /// On the chart, from the bottom up to the share that stands.
    pub rect: Rect,
    /// Notes that stand.
    pub shown: usize,
}

/// The line of a voice.
#[derive(Clone, Debug, PartialEq)]
pub struct Course {
    /// Whose it is.
    pub part: Part,
    /// From its entry on.
    pub points: Vec<Pos2>,
    /// Where its mark stands, and whether it is filled.
    pub marks: Vec<(Pos2, bool)>,
}

/// An offset and its height.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Level {
    /// Height on the chart.
    pub y: f32,
    /// Steps ahead.
    pub steps: i64,
}

/// A bar line.
#[derive(Clone, Debug, PartialEq)]
pub struct BarLine {
    /// Place on the chart.
    pub x: f32,
    /// "bar 17".
    pub bar: String,
    /// "0:32".
    pub clock: String,
}

/// Room that a bar number and a clock time take, with air, in points.
const ROOM_FOR_A_BAR: f32 = 62.0;
/// Room that the number of a level takes, with air.
const ROOM_FOR_A_LEVEL: f32 = 22.0;
/// Narrower stages are drawn as one.
const NARROWEST: f32 = 2.0;
/// A stage at least so wide has a mark on its line.
const ROOM_FOR_A_MARK: f32 = 13.0;
/// Where no stage is so wide, marks stand about so far apart.
const BETWEEN_MARKS: f32 = 64.0;
/// So many blocks on end that are narrower than a mark would be stripes: they are drawn as one.
const STRIPES: usize = 4;

impl Plan {
    /// The form on `chart`, seen through `window`.
    pub fn new(seen: &Seen, window: Window, chart: Rect) -> Self {
        let canvas = Canvas::new(seen, window, chart);
        let visible = canvas.visible();
        Self {
            scale: canvas.scale,
            blocks: canvas.blocks(&visible),
            growth: canvas.growth(&visible),
            courses: (seen.performance.parts().filter(|part| part.is_voice()))
                .map(|part| canvas.course(part, &visible))
                .collect(),
            levels: canvas.levels(),
            bars: canvas.bars(),
            groups: canvas.groups(),
            jumps: canvas.jumps(&visible),
            performed: canvas.performed(),
            modes: canvas.modes(),
        }
    }
}

/// Where things are drawn.
struct Canvas<'a> {
    seen: &'a Seen,
    window: Window,
    chart: Rect,
    scale: Scale,
}

impl<'a> Canvas<'a> {
    fn new(seen: &'a Seen, window: Window, chart: Rect) -> Self {
        let offsets = seen
            .form
            .stages
            .iter()
            .flat_map(|stage| &stage.copies)
            .filter(|copy| copy.doing != Doing::Waiting)
            .flat_map(|copy| [copy.from, copy.to]);
        let (low, high) = offsets.fold((0.0, 0.0), |(low, high), steps| {
            (f64::min(low, steps), f64::max(high, steps))
        });
        Self {
            seen,
            window,
            chart,
            scale: Scale {
                low: low.floor(),
                high: f64::max(high.ceil(), low.floor() + 1.0),
            },
        }
    }

    /// The modulation plan along time.
    fn modes(&self) -> Vec<ModeMark> {
        let changes: Vec<_> = self.seen.performance.mode_changes().collect();
        if changes.len() < 2 {
            return Vec::new();
        }
        let next = |index: usize| {
            let next: Option<&ModeChange> = changes.get(index + 1);
            next.map_or(self.seen.form.end(), |next| next.turning.start)
        };
        let mark = |(index, change): (usize, &ModeChange)| ModeMark {
            left: self.inside(self.x(change.turning.start)),
            whole: self.inside(self.x(change.turning.end)),
            right: self.inside(self.x(next(index))),
            name: change.mode.name(),
            index: change.index,
        };
        let marks = changes.iter().enumerate().map(mark);
        marks.filter(|mark| mark.right > mark.left).collect()
    }

    fn performed(&self) -> Option<(f32, i64)> {
        let until = self.seen.performance.until()?;
        let at = until - self.seen.process.origin();
        let bar = ((at - HAIR) / beats_per_bar(self.seen)).floor().max(0.0) as i64 + 1;
        let in_sight = (self.window.from..=self.window.to).contains(&at);
        in_sight.then(|| (self.x(until), bar))
    }

    /// The stages that the window shows.
    fn visible(&self) -> std::ops::Range<usize> {
        let stages = &self.seen.form.stages;
        let origin = self.seen.process.origin();
        let first = stages.partition_point(|stage| stage.span.end - origin <= self.window.from);
        let after = stages.partition_point(|stage| stage.span.start - origin < self.window.to);
        first..after.max(first)
    }

    fn stages(&self, visible: &std::ops::Range<usize>) -> &'a [Stage] {
        &self.seen.form.stages[visible.clone()]
    }

    /// Of a song position.
    fn x(&self, at: Beats) -> f32 {
        self.window.x(at - self.seen.process.origin(), self.chart)
    }

    /// Of an offset.
    fn y(&self, steps: f64) -> f32 {
        self.scale.y(steps, self.chart)
    }

    fn inside(&self, x: f32) -> f32 {
        x.clamp(self.chart.left(), self.chart.right())
    }

    fn edges(&self, stage: &Stage) -> (f32, f32) {
        (
            self.inside(self.x(stage.span.start)),
            self.inside(self.x(stage.span.end)),
        )
    }

    fn blocks(&self, visible: &std::ops::Range<usize>) -> Vec<Block> {
        let mut blocks: Vec<Block> = Vec::new();
        for stage in self.stages(visible) {
            let (left, right) = self.edges(stage);
            let kind = Some(stage.kind);
            match blocks.last_mut() {
                Some(last) if last.right - last.left < NARROWEST || right - left < NARROWEST => {
                    last.take_in(right, kind);
                }
                _ => blocks.push(Block {
                    left,
                    right,
                    kind,
                    stages: 1,
                }),
            }
        }
        without_stripes(blocks)
    }

    fn growth(&self, visible: &std::ops::Range<usize>) -> Vec<Grown> {
        let all = self.seen.phrase().notes().len();
        let mut growth: Vec<Grown> = Vec::new();
        for stage in self
            .stages(visible)
            .iter()
            .filter(|stage| stage.shown < all)
        {
            let (left, right) = self.edges(stage);
            if let Some(last) = growth.last_mut()
                && right - left < NARROWEST
                && left - last.rect.left() < NARROWEST
            {
                last.rect.max.x = right;
                continue;
            }
            let height = self.chart.height() * stage.shown as f32 / all as f32;
            let top = pos2(left, self.chart.bottom() - height);
            growth.push(Grown {
                rect: Rect::from_min_max(top, pos2(right, self.chart.bottom())),
                shown: stage.shown,
            });
        }
        growth
    }

    fn course(&self, part: Part, visible: &std::ops::Range<usize>) -> Course {
        let mut line = Course {
            part,
            points: Vec::new(),
            marks: Vec::new(),
        };
        let Part::Copy(copy) = part else {
            let y = self.y(0.0);
            line.points = vec![
                pos2(self.chart.left(), y),
                pos2(self.inside(self.x(self.seen.form.end())), y),
            ];
            return line;
        };
        for stage in self.stages(visible) {
            let state = stage.copies[copy.index()];
            if state.doing == Doing::Waiting {
                continue;
            }
            self.draw_stage(&mut line, stage, &state);
        }
        self.mark_the_end(&mut line);
        line
    }

    /// Where no stage has room for a mark, the end of the line has.
    fn mark_the_end(&self, line: &mut Course) {
        let inside = |at: &&Pos2| at.x <= self.chart.right() + 0.5;
        if line.marks.is_empty()
            && let Some(last) = line.points.iter().rev().find(inside)
        {
            let x = last.x.min(self.chart.right() - 5.0);
            line.marks.push((pos2(x, last.y), true));
        }
    }

    fn draw_stage(&self, line: &mut Course, stage: &Stage, state: &CopyStage) {
        let (left, right) = (self.x(stage.span.start), self.x(stage.span.end));
        let slices = if state.from == state.to {
            1
        } else {
            ((right - left) / 4.0).clamp(1.0, 32.0) as u32
        };
        let from = pos2(left, self.y(state.from));
        line.add(from);
        for slice in 1..slices {
            let share = f64::from(slice) / f64::from(slices);
            let at = stage.span.start + share * stage.span.length();
            let process = self.seen.performance.at(at);
            if let Some(ahead) = process.voices().displacement(line.part, at) {
                let steps = ahead / self.seen.settings().step();
                line.add(pos2(self.x(at), self.y(steps)));
            }
        }
        let to = pos2(right, self.y(state.to));
        line.add(to);
        let (left, right) = (self.inside(left), self.inside(right));
        let middle = pos2((left + right) / 2.0, self.y(state.from));
        // Voices that lie on one line have their marks one after another.
        let free_from = match line.marks.last() {
            Some((last, _)) => last.x + BETWEEN_MARKS,
            None => self.chart.left() + ROOM_FOR_A_MARK * line.part.index() as f32,
        };
        let has_room = right - left >= ROOM_FOR_A_MARK || (right > left && middle.x >= free_from);
        if has_room && state.doing != Doing::Drifting {
            line.marks.push((middle, state.doing != Doing::Building));
        }
    }

    /// Every so many steps, preferably such that the ends carry a number; the ends in any case, if
    /// there is room.
    fn levels(&self) -> Vec<Level> {
        let room = f64::from((self.chart.height() / ROOM_FOR_A_LEVEL).floor().max(1.0));
        let range = self.scale.high - self.scale.low;
        let has_room = |every: f64| range / every < room;
        let doubling = doubling_until(has_room);
        let even = (1..=range as i64)
            .find(|every| range as i64 % every == 0 && has_room(*every as f64))
            .map(|every| every as f64)
            .filter(|every| *every <= 2.0 * doubling);
        let every = even.unwrap_or(doubling);
        let first = (self.scale.low / every).ceil() as i64;
        let last = (self.scale.high / every).floor() as i64;
        let mut steps: Vec<i64> = (first..=last).map(|count| count * every as i64).collect();
        for end in [self.scale.low as i64, self.scale.high as i64] {
            let clear = |level: &i64| {
                let apart = self.y(*level as f64) - self.y(end as f64);
                apart.abs() >= 0.7 * ROOM_FOR_A_LEVEL
            };
            if steps.iter().all(clear) {
                steps.push(end);
            }
        }
        steps.sort_unstable();
        let level = |steps: i64| Level {
            y: self.y(steps as f64),
            steps,
        };
        steps.into_iter().map(level).collect()
    }

    /// How many beats there are from one bar line that is drawn to the next.
    fn bars_apart(&self) -> Beats {
        let bar = beats_per_bar(self.seen);
        let room = f64::from((self.chart.width() / ROOM_FOR_A_BAR).floor().max(1.0));
        bar * doubling_until(|every| self.window.length() / (every * bar) <= room)
    }

    fn bars(&self) -> Vec<BarLine> {
        let bar = beats_per_bar(self.seen);
        let every = self.bars_apart();
        // The first bar line is where a pick-up leads to.
        let led = self.seen.phrase().pick_up();
        let first = ((self.window.from - led) / every - 1e-9).ceil().max(0.0) as u64;
        let last = ((self.window.to - led) / every + 1e-9).floor().max(0.0) as u64;
        (first..=last)
            .map(|count| count as f64 * every)
            .map(|at| BarLine {
                x: self.window.x(at + led, self.chart),
                bar: format!("bar {}", (at / bar).round() + 1.0),
                clock: clock(self.seen, at + led),
            })
            .collect()
    }

    /// Where groups begin within bars, where all bars are drawn and grouped.
    fn groups(&self) -> Vec<f32> {
        let bar = beats_per_bar(self.seen);
        let metre = metre_of(self.seen.phrase(), self.seen.snapshot.counted);
        let are_seen = self.bars_apart() <= bar && (metre.bar() - bar).abs() < 1e-6;
        if !(metre.is_grouped() && are_seen) {
            return Vec::new();
        }
        let led = self.seen.phrase().pick_up();
        let first = ((self.window.from - led) / bar).floor().max(0.0) as u64;
        let last = ((self.window.to - led) / bar).ceil().max(0.0) as u64;
        let heads: Vec<Beats> = metre
            .groups()
            .scan(0.0, |at, group| {
                *at += f64::from(group) * metre.pulse();
                Some(*at)
            })
            .collect();
        // The last one is the next bar line.
        let within = &heads[..heads.len() - 1];
        (first..=last)
            .flat_map(|count| {
                within
                    .iter()
                    .map(move |head| count as f64 * bar + led + head)
            })
            .filter(|at| (self.window.from..=self.window.to).contains(at))
            .map(|at| self.window.x(at, self.chart))
            .collect()
    }

    fn jumps(&self, visible: &std::ops::Range<usize>) -> Vec<f32> {
        let leaps = |pair: &&[Stage]| {
            let both = pair[0].copies.iter().zip(&pair[1].copies);
            both.into_iter().any(|(before, after)| {
                before.doing != Doing::Waiting
                    && after.doing != Doing::Building
                    && before.to != after.from
            })
        };
        let mut jumps: Vec<f32> = self
            .stages(visible)
            .windows(2)
            .filter(leaps)
            .map(|pair| self.x(pair[1].span.start))
            .collect();
        jumps.dedup_by(|a, b| *a - *b < NARROWEST);
        jumps
    }
}

const UNISON: Option<StageKind> = Some(StageKind::Unison);

/// Runs of blocks so narrow that they would be stripes, each as one; unison stays.
fn without_stripes(blocks: Vec<Block>) -> Vec<Block> {
    let narrow = |block: &Block| block.right - block.left < ROOM_FOR_A_MARK && block.kind != UNISON;
    let mut drawn: Vec<Block> = Vec::new();
    for run in blocks.chunk_by(|one, next| narrow(one) && narrow(next)) {
        let (first, last) = (run[0], run[run.len() - 1]);
        if run.len() < STRIPES {
            drawn.extend(run);
            continue;
        }
        let alike = run.iter().all(|block| block.kind == first.kind);
        drawn.push(Block {
            left: first.left,
            right: last.right,
            kind: first.kind.filter(|_| alike),
            stages: run.iter().map(|block| block.stages).sum(),
        });
    }
    drawn
}

impl Block {
    /// What happens, in a word.
    pub fn word(&self) -> &'static str {
        self.kind.map_or("dwells and moves", kind_word)
    }

    /// Stages too narrow to be seen are told by the most notable: unison before all, else what
    /// the wider of both is.
    fn take_in(&mut self, right: f32, kind: Option<StageKind>) {
        let wider = right - self.right > self.right - self.left;
        if self.kind != UNISON && (kind == UNISON || wider) {
            self.kind = kind;
        }
        self.right = right;
        self.stages += 1;
    }
}

impl Course {
    /// Leaves out what would lie on the point before.
    fn add(&mut self, at: Pos2) {
        let near = |last: &Pos2| (at.x - last.x).abs() < 0.4 && (at.y - last.y).abs() < 0.4;
        if !self.points.last().is_some_and(near) {
            self.points.push(at);
        }
    }
}

/// The first of 1, 2, 4, 8, ... that will do.
fn doubling_until(will_do: impl Fn(f64) -> bool) -> f64 {
    std::iter::successors(Some(1.0), |every| Some(every * 2.0))
        .take(40)
        .find(|every| will_do(*every))
        .unwrap_or(1.0)
}

/// Where the song is in the form.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Playhead {
    /// Beats since the origin, in the round that is listed.
    pub at: Beats,
    /// Rounds completed by an endless process.
    pub rounds: u64,
    /// Whether the end is passed, and what was reached there is held.
    pub held: bool,
}

/// Where the song is in the form; none when nothing plays.
pub fn playhead(seen: &Seen) -> Option<Playhead> {
    if !seen.snapshot.running {
        return None;
    }
    let (origin, end) = (seen.process.origin(), length(seen));
    let elapsed = place_in_form(seen, origin + seen.elapsed()) - origin;
    let here = Playhead {
        at: elapsed.min(end),
        rounds: 0,
        held: elapsed >= end,
    };
    let round = round(&seen.process);
    if !here.held || !seen.form.endless || round <= 0.0 {
        return Some(here);
    }
    let rounds = ((elapsed - end) / round).floor() + 1.0;
    Some(Playhead {
        at: elapsed - rounds * round,
        rounds: rounds as u64,
        held: false,
    })
}

/// Where song position `at` falls in the form. On cue a dwell that lasts longer than is proposed
/// stays at its end.
fn place_in_form(seen: &Seen, at: Beats) -> Beats {
    let voices = seen.process.voices();
    let until = match seen.performance.until() {
        None => return voices.place_in_form(at),
        Some(until) if at <= until || !voices.are_cued() => return at,
        Some(until) => until,
    };
    let moves = |kind| matches!(kind, StageKind::Drift | StageKind::BuildUp);
    let mut later = seen.form.stages.iter();
    let waits = later.find(|stage| stage.span.end > until + HAIR && !moves(stage.kind));
    waits.map_or(at, |stage| at.min(stage.span.end - 2.0 * HAIR))
}

/// Beats from one unison to the next.
fn round(process: &Process) -> Beats {
    if process.voices().count() == 1 {
        return 0.0;
    }
    let shifts = shifts_to_unison(process.phrase(), process.settings());
    process.voices().schedule().round_of(shifts)
}

/// The stage that song position `at` falls in; on cue, the one in which copy 1 stands as it does
/// then.
pub fn stage_at(seen: &Seen, at: Beats) -> Option<usize> {
    seen.form.stage_at(place_in_form(seen, at))
}

/// The stage that the song is in.
pub fn stage_now(seen: &Seen) -> Option<usize> {
    let at = seen.process.origin() + playhead(seen)?.at;
    seen.form.stage_at(at)
}

/// How long the whole lasts, in words, the most telling wording first.
pub fn totals(seen: &Seen) -> Vec<String> {
    let totals = &seen.form.totals;
    let clock = |beats| clock(seen, beats);
    let (least, chosen, most) = (
        clock(totals.shortest),
        clock(totals.chosen),
        clock(totals.longest),
    );
    let stages = seen.form.stages.len();
    let listed = match stages {
        1 => "1 stage".to_owned(),
        _ if is_cut(&seen.form, totals.chosen, seen.process.origin()) => {
            format!("the first {stages} stages are drawn")
        }
        _ => format!("{stages} stages"),
    };
    let bars = (totals.chosen / beats_per_bar(seen) - 1e-9).ceil();
    let bars = match bars {
        1.0 => "1 bar".to_owned(),
        _ => format!("{bars} bars"),
    };
    let (lasts, goes_on, endless) = if seen.form.endless {
        ("a round lasts ", "; it goes on endlessly", ", endless")
    } else {
        ("", "", "")
    };
    vec![
        format!(
            "{lasts}{chosen} as set, {bars}, {listed}; with customary repeats {least} at the shortest, {most} at the longest{goes_on}"
        ),
        format!("{lasts}{chosen} as set, {bars}; shortest {least}, longest {most}{goes_on}"),
        format!("{lasts}{chosen} as set; shortest {least}, longest {most}{goes_on}"),
        format!("{chosen} as set, {least} to {most}{endless}"),
        format!("{chosen}{endless}"),
    ]
    .into_iter()
    .map(capitalised)
    .collect()
}

/// Whether the listing ends before the process does.
fn is_cut(form: &Form, chosen: Beats, origin: Beats) -> bool {
    form.end() - origin < chosen - 1e-3
}

pub(crate) fn capitalised(text: String) -> String {
    let mut letters = text.chars();
    match letters.next() {
        Some(first) => first.to_uppercase().chain(letters).collect(),
        None => text,
    }
}

/// Which mode is in force.
#[derive(Clone, Debug, PartialEq)]
pub struct InForce {
    /// In words, the most telling wording first.
    pub words: Vec<String>,
    /// For every degree that differs between source and target, whether it has moved.
    pub moved: Vec<bool>,
}

/// Which mode is in force, and how far the phrase has been folded into it.
pub fn mode_in_force(seen: &Seen) -> InForce {
    if seen.phrase().is_empty() {
        return InForce {
            words: vec![String::new()],
            moved: Vec::new(),
        };
    }
    let now = seen.process.origin() + seen.elapsed();
    let (fold, moved) = seen.process.fold_at(now);
    let source = fold.source().name();
    let kind = match seen.settings().fold.fold {
        _ if seen.process.is_modulated(now) => "by the plan",
        FoldKind::Off => {
            return InForce {
                words: vec![format!("{source}, not folded"), source],
                moved: Vec::new(),
            };
        }
        FoldKind::ByDegree => "by degree",
        FoldKind::Nearest => "to the nearest pitch",
    };
    let target = fold.target().name_on(fold.target_tonic_name());
    let differing = fold.differing();
    let degrees = if differing == 1 { "degree" } else { "degrees" };
    let far = match differing {
        0 => "no degree differs".to_owned(),
        _ => format!("{moved} of {differing} {degrees} moved"),
    };
    InForce {
        words: vec![
            format!("{source}, folded {kind} into {target}: {far}"),
            format!("{source} into {target}: {far}"),
            format!("into {target}: {far}"),
            far,
        ],
        moved: (0..differing).map(|tone| tone < moved).collect(),
    }
}

/// What a stage is, in words.
#[derive(Clone, Debug, PartialEq)]
pub struct About {
    /// "Stage 7 of 25: dwell".
    pub title: String,
    /// "copy 1 stays 3 steps ahead".
    pub words: String,
    /// "Bars 10-13, 0:18 to 0:24".
    pub when: String,
    /// "11 attacks, 5 coincidences", as the stage ends.
    pub facts: String,
    /// "D Dorian", as the stage ends.
    pub sonority: String,
}

/// What stage `index` is, in words. None if there is no such stage.
pub fn about(seen: &Seen, index: usize) -> Option<About> {
    let stage = seen.form.stages.get(index)?;
    let origin = seen.process.origin();
    let piece = Piece {
        title: "",
        performance: &seen.performance,
        form: &seen.form,
        route: seen.process.route(),
        notes: &[],
        modes: &[],
        tempo: tempo(seen),
        tempi: None,
        beats_per_bar: beats_per_bar(seen),
    };
    let bars = piece.bars(stage.span);
    let process = seen.performance.at(stage.span.end - HAIR);
    let sounding = pitch_classes_in(&process, Cycle::of(seen, Some(index)).span);
    let some = if bars.contains('-') { "Bars" } else { "Bar" };
    let clock = |at: Beats| clock(seen, at - origin);
    let held = seen.form.stages.len() == index + 1 && !seen.form.endless;
    Some(About {
        title: format!(
            "Stage {} of {}: {}",
            index + 1,
            seen.form.stages.len(),
            kind_word(stage.kind)
        ),
        words: stage_words(stage, &seen.process),
        when: format!(
            "{some} {bars}, {} to {}{}",
            clock(stage.span.start),
            clock(stage.span.end),
            if held { ", then held" } else { "" }
        ),
        facts: Circle::of_stage(seen, index, None).map_or(String::new(), |circle| circle.facts),
        sonority: name_of(&process, sounding, stage.span.end - HAIR),
    })
}

/// How many seconds so many beats from the origin on take: at the tempi that the song had, if it had
/// several.
pub fn seconds(seen: &Seen, beats: Beats) -> f64 {
    let tempi = &seen.performed.tempi;
    if tempi.is_empty() {
        beats * 60.0 / tempo(seen)
    } else {
        tempi.seconds(beats)
    }
}

/// How many beats from the origin on the song is after so many seconds.
pub fn beats(seen: &Seen, seconds: f64) -> Beats {
    let tempi = &seen.performed.tempi;
    if tempi.is_empty() {
        seconds * tempo(seen) / 60.0
    } else {
        tempi.beats(seconds)
    }
}

/// How long so many beats from the origin on take, on a clock.
pub fn clock(seen: &Seen, beats: Beats) -> String {
    procession_core::words::clock(seconds(seen, beats))
}

/// Beats a minute; 120 until a host has told.
pub fn tempo(seen: &Seen) -> f64 {
    Some(seen.snapshot.tempo)
        .filter(|tempo| tempo.is_finite() && *tempo > 0.0)
        .unwrap_or(120.0)
}

/// Beats a bar; 4 until a host has told.
pub fn beats_per_bar(seen: &Seen) -> f64 {
    Some(seen.snapshot.beats_per_bar)
        .filter(|beats| beats.is_finite() && *beats > 0.0)
        .unwrap_or(4.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::editor::model::circle::tests::seen;
    use procession_core::mode::ModeName;
    use procession_core::settings::{CopiesMove, Growth, Motion, Settings, Shifts};

    /// Eight steps of a sixteenth, so a cycle of two beats.
    const EIGHT: &str = "D4 . F4 G4 . A4 . .";

    const CHART: Rect = Rect {
        min: pos2(40.0, 20.0),
        max: pos2(840.0, 220.0),
    };

    fn plan(seen: &Seen) -> Plan {
        Plan::new(seen, Window::whole(seen), CHART)
    }

    fn kinds(seen: &Seen) -> Vec<StageKind> {
        let stages = seen.form.stages.iter();
        stages.map(|stage| stage.kind).collect()
    }

    #[test]
    fn a_process_dwells_and_drifts_from_unison_to_unison() {
        let seen = seen(EIGHT, Settings::default(), None);
        let kinds = kinds(&seen);
        assert_eq!(kinds.len(), 17);
        assert_eq!(
            kinds[..4],
            [
                StageKind::Unison,
                StageKind::Drift,
                StageKind::Dwell,
                StageKind::Drift
            ]
        );
        assert_eq!(kinds[16], StageKind::Unison);
    }

    #[test]
    fn growth_comes_first_then_entries_then_motion() {
        let mut settings = Settings::default();
        settings.growth.growth = Growth::Fill;
        settings.motion.copies = 2;
        settings.motion.entry = 2;
        let seen = seen(EIGHT, settings, None);
        let kinds = kinds(&seen);
        assert_eq!(
            kinds[..3],
            [StageKind::Growth, StageKind::Growth, StageKind::Growth]
        );
        // Whole, the phrase goes round alone; then copy 1 waits for copy 2.
        assert_eq!(kinds[3..5], [StageKind::Alone, StageKind::Entry]);
        let plan = plan(&seen);
        let shown: Vec<usize> = plan.growth.iter().map(|grown| grown.shown).collect();
        assert_eq!(shown, [1, 2, 3]);
        // Copy 2 enters two cycles after copy 1.
        let entry = |copy: usize| plan.courses[copy].points[0].x;
        let two_cycles = 800.0 * 4.0 / length(&seen) as f32;
        assert!((entry(2) - entry(1) - two_cycles).abs() < 0.01);
    }

    #[test]
    fn stages_follow_one_another_without_gaps_over_the_whole_width() {
        let plan = plan(&seen(EIGHT, Settings::default(), None));
        assert_eq!(plan.blocks[0].left, CHART.left());
        assert_eq!(plan.blocks[16].right, CHART.right());
        for pair in plan.blocks.windows(2) {
            assert_eq!(pair[0].right, pair[1].left);
        }
    }

    #[test]
    fn a_copy_rises_by_what_it_drifts_and_stands_level_while_it_dwells() {
        let seen = seen(EIGHT, Settings::default(), None);
        let plan = plan(&seen);
        let height = |steps: i64| {
            let level = plan.levels.iter().find(|level| level.steps == steps);
            level.unwrap().y
        };
        let course = &plan.courses[1];
        assert_eq!(course.points[0].y, height(0));
        assert_eq!(course.points.last().unwrap().y, height(8));
        assert!(course.points.windows(2).all(|pair| pair[1].y <= pair[0].y));
        // A mark for every dwell, none for a drift.
        assert_eq!(course.marks.len(), 9);
        assert_eq!(course.marks[3].0.y, height(3));
    }

    #[test]
    fn a_jump_stands_upright_and_is_marked() {
        let mut settings = Settings::default();
        settings.motion.motion = Motion::Jump;
        let seen = seen(EIGHT, settings, None);
        let plan = plan(&seen);
        assert_eq!(plan.jumps.len(), 8);
        assert_eq!(plan.jumps[0], plan.blocks[1].left);
        let course = &plan.courses[1].points;
        assert_eq!(course[1].x, course[2].x);
        assert!(course[1].y > course[2].y);
    }

    #[test]
    fn a_build_up_is_no_jump_and_its_mark_is_hollow() {
        let mut settings = Settings::default();
        settings.motion.motion = Motion::BuildUp;
        let seen = seen(EIGHT, settings, None);
        assert_eq!(kinds(&seen)[1], StageKind::BuildUp);
        let plan = plan(&seen);
        assert_eq!(plan.jumps.len(), 0);
        assert!(plan.courses[1].marks.iter().any(|(_, filled)| !filled));
    }

    #[test]
    fn bars_and_minutes_run_from_the_origin() {
        let seen = seen(EIGHT, Settings::default(), None);
        let window = Window {
            from: 0.0,
            to: 40.0,
        };
        let plan = Plan::new(&seen, window, CHART);
        assert_eq!(plan.bars[0].bar, "bar 1");
        assert_eq!(plan.bars[0].x, CHART.left());
        assert_eq!(
            (plan.bars[1].bar.as_str(), plan.bars[1].clock.as_str()),
            ("bar 2", "0:02")
        );
        for pair in plan.bars.windows(2) {
            assert!(pair[1].x - pair[0].x >= ROOM_FOR_A_BAR);
        }
    }

    /// 9 dwells of 8 cycles, 8 drifts of 4, of 2 beats each: 208 beats, at 120 bpm 1:44. With
    /// dwells of 6 to 12 and drifts of 2 to 8 cycles, 140 to 344 beats.
    #[test]
    fn the_totals_are_said_in_words() {
        let seen = seen(EIGHT, Settings::default(), None);
        let words = totals(&seen);
        assert_eq!(
            words[0],
            "1:44 as set, 52 bars, 17 stages; with customary repeats 1:10 at the shortest, 2:52 at the longest"
        );
        assert!(words.windows(2).all(|pair| pair[1].len() < pair[0].len()));
    }

    #[test]
    fn an_endless_process_says_so_in_every_wording_and_its_playhead_comes_round() {
        let mut settings = Settings::default();
        settings.motion.shifts = Shifts::Endless;
        let endless = seen(EIGHT, settings, Some(1000.0));
        assert!(
            totals(&endless)
                .iter()
                .all(|words| words.contains("endless"))
        );
        // A round is 8 dwells and 8 drifts: 192 beats.
        let head = playhead(&endless).unwrap();
        assert_eq!(
            (head.at, head.rounds, head.held),
            (1000.0 - 5.0 * 192.0, 5, false)
        );
        for beats in [207.0, 209.0, 390.0, 5000.0] {
            let seen = seen(EIGHT, settings, Some(beats));
            let head = playhead(&seen).unwrap();
            let ahead = |at| {
                seen.process
                    .voices()
                    .displacement(Part::COPY_1, 16.0 + at)
                    .unwrap()
                    / 0.25
            };
            assert!(head.at < length(&seen));
            assert_eq!(ahead(head.at).rem_euclid(8.0), ahead(beats).rem_euclid(8.0));
        }
    }

    #[test]
    fn a_process_that_has_ended_holds_its_last_stage() {
        let seen = seen(EIGHT, Settings::default(), Some(5000.0));
        let head = playhead(&seen).unwrap();
        assert!(head.held && head.at == 208.0);
        assert_eq!(stage_now(&seen), Some(16));
    }

    #[test]
    fn nothing_plays_nothing_heads() {
        assert_eq!(playhead(&seen(EIGHT, Settings::default(), None)), None);
    }

    #[test]
    fn a_stage_is_told_in_words_bars_time_alignment_and_sonority() {
        let seen = seen(EIGHT, Settings::default(), None);
        let told = about(&seen, 2).unwrap();
        assert_eq!(told.title, "Stage 3 of 17: dwell");
        assert_eq!(told.words, "copy 1 stays 1 step ahead");
        assert_eq!(told.when, "Bars 7-10, 0:12 to 0:20");
        assert_eq!(told.facts, "7 attacks, 1 coincidence");
        assert_eq!(told.sonority, "4 pitches: D F G A");
        assert!(about(&seen, 16).unwrap().when.ends_with("then held"));
        assert_eq!(about(&seen, 17), None);
    }

    #[test]
    fn the_mode_in_force_tells_how_far_the_fold_has_gone() {
        let mut settings = Settings::default();
        settings.fold.source_tonic = Some(2);
        settings.fold.source_mode = Some(ModeName::Dorian);
        let words = |settings| mode_in_force(&seen(EIGHT, settings, None));
        assert_eq!(words(settings).words[0], "D Dorian, not folded");
        settings.fold.fold = FoldKind::ByDegree;
        settings.fold.target_tonic = 2;
        settings.fold.target_mode = ModeName::Phrygian;
        settings.fold.amount = 0.5;
        // Dorian and Phrygian differ in their second and their sixth degree.
        let half = words(settings);
        assert_eq!(
            half.words[0],
            "D Dorian, folded by degree into D Phrygian: 1 of 2 degrees moved"
        );
        assert_eq!(half.moved, [true, false]);
    }

    #[test]
    fn a_form_of_days_and_thousands_of_stages_stays_as_light_as_the_chart_is_wide() {
        let mut settings = Settings::default();
        settings.motion.copies = 8;
        settings.motion.copies_move = CopiesMove::InTurn;
        settings.motion.dwell = 64;
        settings.motion.drift = 64;
        settings.motion.shifts = Shifts::Auto;
        let long = "D4 ".repeat(63) + "E4 " + &". ".repeat(64);
        let seen = seen(&long, settings, None);
        assert!(seen.form.stages.len() > 1000 && length(&seen) > 120.0 * 60.0 * 24.0);
        let plan = plan(&seen);
        assert!(plan.blocks.len() <= 401);
        for course in &plan.courses {
            assert!(course.points.len() < 2500, "{}", course.points.len());
            // About so far apart that they can be told from each other.
            assert!(course.marks.len() <= (CHART.width() / 64.0) as usize + 1);
        }
        assert!(plan.bars.len() < 15 && plan.bars.len() > 4);
        // Near enough, the same form has all its detail.
        let near = Window::whole(&seen).nearer(1000.0, 3000.0, &seen);
        let close = Plan::new(&seen, near, CHART);
        assert!(close.blocks.iter().all(|block| block.stages == 1));
    }

    #[test]
    fn looking_nearer_leaves_what_is_under_the_pointer_where_it_is() {
        let seen = seen(EIGHT, Settings::default(), None);
        let whole = Window::whole(&seen);
        let near = whole.nearer(4.0, 100.0, &seen);
        assert!((near.x(100.0, CHART) - whole.x(100.0, CHART)).abs() < 0.01);
        assert_eq!(near.length(), 52.0);
        assert_eq!(near.nearer(0.01, 100.0, &seen), whole);
        // Never nearer than a cycle, never beyond the ends.
        assert_eq!(near.nearer(1e9, 100.0, &seen).length(), 2.0);
        assert_eq!(near.moved(1e9, &seen).to, 208.0);
        assert_eq!(near.moved(-1e9, &seen).from, 0.0);
    }

    #[test]
    fn no_tempo_told_yet_is_no_reason_to_fail() {
        let mut unknown = seen(EIGHT, Settings::default(), None);
        unknown.snapshot.tempo = 0.0;
        unknown.snapshot.beats_per_bar = f64::NAN;
        assert!(totals(&unknown)[0].starts_with("1:44 as set, 52 bars"));
        assert!(!plan(&unknown).bars.is_empty());
    }

    /// Eight copies that move one after another: stages narrower than a mark.
    fn eight_in_turn() -> Seen {
        let mut settings = Settings::default();
        settings.motion.copies = 8;
        settings.motion.copies_move = CopiesMove::InTurn;
        seen("D4 F4 . A4 C5 . G4 A4 . F4 E4 .", settings, None)
    }

    #[test]
    fn eight_copies_in_turn_are_no_stripes_and_every_line_has_its_marks() {
        let seen = eight_in_turn();
        let plan = Plan::new(&seen, Window::whole(&seen), CHART);
        let narrow = |block: &Block| block.right - block.left < 13.0;
        let stripes = plan.blocks.windows(4).filter(|run| run.iter().all(narrow));
        assert_eq!(stripes.count(), 0, "{:?}", plan.blocks);
        for course in &plan.courses[1..] {
            assert!(
                course.marks.len() >= 3,
                "copy {}: {:?}",
                course.part,
                course.marks
            );
            for pair in course.marks.windows(2) {
                assert!(pair[1].0.x - pair[0].0.x > 10.0, "{}", course.part);
            }
        }
    }

    #[test]
    fn the_axis_carries_a_number_at_both_ends() {
        let seen = seen("D4 F4 . A4 C5 . G4 A4 . F4 E4 .", Settings::default(), None);
        for height in [44.0, 60.0, 90.0, 140.0, 300.0] {
            let chart = Rect::from_min_size(CHART.min, egui::vec2(CHART.width(), height));
            let plan = Plan::new(&seen, Window::whole(&seen), chart);
            let steps: Vec<i64> = plan.levels.iter().map(|level| level.steps).collect();
            assert_eq!(steps.first(), Some(&0), "{height}: {steps:?}");
            assert_eq!(steps.last(), Some(&12), "{height}: {steps:?}");
            for pair in plan.levels.windows(2) {
                assert!(pair[0].y - pair[1].y >= 15.0, "{height}: {steps:?}");
            }
        }
    }

    /// Dwells wait for cues while the song goes on: a change at a bar of the song is heard then,
    /// and the plan shows it where the playhead stands.
    #[test]
    fn on_cue_the_mode_at_the_playhead_is_the_one_that_sounds() {
        use crate::feed::Snapshot;
        use procession_core::performed::{Happened, Moment, Recollection, Shape};
        use procession_core::settings::{Modulation, Modulations, Place};
        use std::sync::Arc;
        let to = |beats: f64, mode| Modulation {
            place: Place::Beats(beats),
            tonic: 2,
            mode,
            over: 0,
        };
        let mut settings = Settings::default();
        settings.motion.advance = procession_core::settings::Advance::OnCue;
        settings.modulations =
            Modulations::new([to(96.0, ModeName::Lydian), to(192.0, ModeName::Aeolian)]);
        // Copy 1 still waits in its first dwell, or in the one to which a cue has led it.
        let cued = |mut now: Seen| {
            let mut told = Recollection {
                first: Some(Shape::of(&settings)),
                ..Recollection::default()
            };
            let what = Happened::Cue;
            told.moments.push(Moment { at: 20.0, what });
            let mut process = now.process.clone();
            told.perform(&mut process, |_, _| ());
            let phrase = now.phrase().clone();
            let snapshot = Snapshot {
                footing: Some(process.footing()),
                follows: true,
                ..now.snapshot
            };
            now.follow(snapshot, &phrase, settings, now.anchor);
            now.follow_performed(&Arc::new(told));
            assert!(
                now.performance
                    .until()
                    .is_some_and(|until| until < 16.0 + 48.0)
            );
            now
        };
        let waiting = |elapsed| seen("D4 E4 F4 G4 A4 B4 C5 .", settings, Some(elapsed));
        let moments =
            [48.0, 150.0, 300.0].map(|elapsed| [waiting(elapsed), cued(waiting(elapsed))]);
        for now in moments.into_iter().flatten() {
            let elapsed = now.elapsed();
            let window = Window::whole(&now);
            let plan = Plan::new(&now, window, CHART);
            let head = playhead(&now).map(|head| window.x(head.at, CHART));
            let at = head.expect("it plays");
            let marks = modes_at(&plan, &now, head);
            let shown = marks
                .iter()
                .rev()
                .find(|mark| mark.left <= at && at <= mark.right);
            let (fold, _) = now.process.fold_at(now.process.origin() + elapsed);
            let sounds = match now.process.is_modulated(now.process.origin() + elapsed) {
                true => fold.target().name(),
                false => fold.source().name(),
            };
            assert_eq!(
                shown.map(|mark| mark.name.clone()),
                Some(sounds),
                "{elapsed}: {marks:?}"
            );
        }
    }
}
