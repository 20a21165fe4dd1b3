//! The tempo map: how fast the song went, where.
//!
//! A song of one tempo needs none. One that changed its tempo while it rolled has steps: from each
//! on it went at that tempo. A tempo that glides is a step a beat, each at the mean tempo of its
//! beat, so that it all lasts as long as it did.

use crate::time::{Beats, Span};
use arrayvec::ArrayVec;

/// The most steps that are remembered. Later ones are not.
pub const MOST_STEPS: usize = 1024;

/// Beats within which a tempo that changes again is one step, and within which a glide that comes
/// again, in other blocks, is the same.
const A_BEAT: Beats = 1.0;

/// Beats by which the song may miss where it had come to, and still go on.
const A_LEAP: Beats = 1.0 / 16.0;

/// Of a tempo, what is no change: hosts round.
const SAME: f64 = 1e-4;

/// From here on the song went at this tempo.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TempoStep {
    /// Beats after the origin.
    pub at: Beats,
    /// Beats a minute.
    pub tempo: f64,
}

/// Steps in order, the first at 0; none if there was one tempo throughout.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TempoMap {
    steps: ArrayVec<TempoStep, MOST_STEPS>,
}

impl TempoMap {
    /// Those steps; none of them from the first on that is out of order or no tempo.
    pub fn new(steps: impl IntoIterator<Item = TempoStep>) -> Self {
        let mut map = Self::default();
        for step in steps {
            let after = map
                .steps
                .last()
                .map_or(step.at == 0.0, |last| step.at > last.at);
            let is_tempo = step.tempo.is_finite() && step.tempo > 0.0;
            if !(after && is_tempo && step.at.is_finite()) || map.steps.try_push(step).is_err() {
                break;
            }
        }
        map
    }

    /// The steps.
    pub fn steps(&self) -> &[TempoStep] {
        &self.steps
    }

    /// Whether there was one tempo throughout.
    pub fn is_empty(&self) -> bool {
        self.steps.is_empty()
    }

    /// Whether there is room for no more.
    pub fn is_full(&self) -> bool {
        self.steps.is_full()
    }

    /// Takes over another in place: an audio thread's stack is small.
    pub fn copy_from(&mut self, other: &Self) {
        self.steps.clear();
        self.steps.extend(other.steps.iter().copied());
    }

    /// Forgets every step.
    pub fn clear(&mut self) {
        self.steps.clear();
    }

    /// The tempo `at` beats after the origin; before it, that of the beginning.
    pub fn at(&self, at: Beats) -> Option<f64> {
        Some(self.steps.get(self.index(at))?.tempo)
    }

    /// Seconds from the origin to `at` beats after it, or before it; at 120 beats a minute if there
    /// is no step.
    pub fn seconds(&self, at: Beats) -> f64 {
        let mut seconds = 0.0;
        for (index, step) in self.steps.iter().enumerate() {
            let next = self
                .steps
                .get(index + 1)
                .map_or(Beats::INFINITY, |next| next.at);
            let until = at.min(next);
            seconds += (until - step.at) * 60.0 / step.tempo;
            if at <= next {
                return seconds;
            }
        }
        at * 0.5
    }

    /// How many beats after the origin the song is after so many seconds; at 120 beats a minute if
    /// there is no step.
    pub fn beats(&self, seconds: f64) -> Beats {
        let mut before = 0.0;
        for (index, step) in self.steps.iter().enumerate() {
            let next = self.steps.get(index + 1);
            let lasts = |next: &TempoStep| (next.at - step.at) * 60.0 / step.tempo;
            let after = next.map_or(f64::INFINITY, |next| before + lasts(next));
            if seconds <= after {
                return step.at + (seconds - before) * step.tempo / 60.0;
            }
            before = after;
        }
        seconds * 2.0
    }

    fn index(&self, at: Beats) -> usize {
        let after = self.steps.partition_point(|step| step.at <= at);
        after.saturating_sub(1)
    }

    /// Whether the song goes there as it went: at that tempo, or gliding through it.
    fn agrees(&self, at: Beats, tempo: f64) -> bool {
        let (first, last) = (self.index(at - A_BEAT), self.index(at + A_BEAT));
        let near = self.steps.get(first..=last).into_iter().flatten();
        let range = near.fold((f64::INFINITY, 0.0), |(low, high), step| {
            (f64::min(low, step.tempo), f64::max(high, step.tempo))
        });
        (range.0 * (1.0 - SAME)..=range.1 * (1.0 + SAME)).contains(&tempo)
    }
}

/// The ear for the tempo of the rolling song.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct TempoEar {
    /// The tempo that was heard last, since the song started to roll.
    last: Option<f64>,
    /// Since the last step that was noted: seconds.
    open: Option<f64>,
    /// Beats after the origin up to which it was heard.
    come_to: Beats,
}

impl TempoEar {
    /// The song went through `span`, in beats after the origin, at `tempo`. Notes in `map` where it
    /// went otherwise than it had, and forgets how it had gone from there on. Whether `map` is
    /// another now.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn hear(&mut self, span: Span, tempo: f64, map: &mut TempoMap) -> bool {
        if (span.start - self.come_to).abs() > A_LEAP {
            *self = Self::default();
        }
        self.come_to = span.end;
        let before = self.last.replace(tempo);
        let span = Span::new(span.start.max(0.0), span.end);
        let is_told = tempo.is_finite() && tempo > 0.0;
        if !is_told || span.end <= span.start {
            return false;
        }
        if map.is_empty() {
            let changed = before.filter(|before| (before - tempo).abs() > SAME * tempo);
            let Some(before) = changed.filter(|_| span.start > 0.0) else {
                return false;
            };
            let first = TempoStep {
                at: 0.0,
                tempo: before,
            };
            map.steps.push(first);
            return self.note(span, tempo, map);
        }
        let last = map.steps.len() - 1;
        let is_last = map.index(span.start) == last;
        let step = map.steps[last];
        if let Some(seconds) = self
            .open
            .filter(|_| is_last && span.start - step.at < A_BEAT)
        {
            // What changes within a beat is one step: the mean.
            let seconds = seconds + span.length() * 60.0 / tempo;
            self.open = Some(seconds);
            let mean = (span.end - step.at) * 60.0 / seconds;
            let same = (mean - step.tempo).abs() <= SAME * mean;
            if !same {
                map.steps[last].tempo = mean;
            }
            return !same;
        }
        if map.agrees(span.start, tempo) && (!is_last || (step.tempo - tempo).abs() <= SAME * tempo)
        {
            return false;
        }
        self.note(span, tempo, map)
    }

    /// From the beginning of `span` on it went at `tempo`. Whether there was room to note that: with
    /// none, the last step goes on.
    fn note(&mut self, span: Span, tempo: f64, map: &mut TempoMap) -> bool {
        map.steps
            .retain(|step| step.at < span.start || step.at == 0.0);
        let at = span.start;
        if let Some(last) = map.steps.last_mut().filter(|last| last.at >= at) {
            last.tempo = tempo;
        } else if map.steps.try_push(TempoStep { at, tempo }).is_err() {
            return false;
        }
        self.open = Some(span.length() * 60.0 / tempo);
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The song rolls through these stretches: how many beats, and at which tempo; in blocks of a
    /// hundredth of a beat. How many seconds that took.
    fn roll(map: &mut TempoMap, from: Beats, stretches: &[(u32, f64)]) -> f64 {
        let mut ear = TempoEar::default();
        let (mut at, mut seconds) = (from, 0.0);
        for (beats, tempo) in stretches {
            for block in 0..beats * 100 {
                let start = at + f64::from(block) / 100.0;
                ear.hear(Span::new(start, start + 0.01), *tempo, map);
                seconds += 0.01 * 60.0 / tempo;
            }
            at += f64::from(*beats);
        }
        seconds
    }

    fn told(map: &TempoMap) -> Vec<(f64, f64)> {
        let step = |step: &TempoStep| ((step.at * 100.0).round() / 100.0, step.tempo.round());
        map.steps().iter().map(step).collect()
    }

    #[test]
    fn a_song_of_one_tempo_needs_no_map() {
        let mut map = TempoMap::default();
        roll(&mut map, -4.0, &[(64, 120.0)]);
        assert!(map.is_empty());
    }

    /// 8 beats at 120 are 4 seconds, 4 at 60 as many, 3 at 90 two.
    #[test]
    fn a_tempo_that_steps_is_noted_where_it_does() {
        let mut map = TempoMap::default();
        roll(&mut map, 0.0, &[(8, 120.0), (4, 60.0), (4, 90.0)]);
        assert_eq!(told(&map), [(0.0, 120.0), (8.0, 60.0), (12.0, 90.0)]);
        let seconds = [0.0, 8.0, 12.0, 15.0, -2.0].map(|at| (map.seconds(at) * 1e6).round() / 1e6);
        assert_eq!(seconds, [0.0, 4.0, 8.0, 10.0, -1.0]);
        assert_eq!(map.at(11.9), Some(60.0));
        let beats = [0.0, 4.0, 8.0, 10.0, -1.0].map(|at| (map.beats(at) * 1e6).round() / 1e6);
        assert_eq!(beats, [0.0, 8.0, 12.0, 15.0, -2.0]);
    }

    #[test]
    fn a_tempo_that_glides_lasts_as_long_as_it_did() {
        let fine = |beat: f64| 120.0 - 3.7 * beat;
        let mut map = TempoMap::default();
        let mut ear = TempoEar::default();
        let mut seconds = 0.0;
        for block in 0..1600 {
            let at = f64::from(block) / 100.0;
            ear.hear(Span::new(at, at + 0.01), fine(at), &mut map);
            seconds += 0.6 / fine(at);
        }
        assert!(
            (map.seconds(16.0) - seconds).abs() < 0.01,
            "{}",
            map.seconds(16.0) - seconds
        );
        assert!(map.steps().len() <= 18);
    }

    #[test]
    fn going_through_it_again_changes_nothing_and_another_tempo_replaces_what_came_after() {
        let mut map = TempoMap::default();
        roll(&mut map, 0.0, &[(8, 120.0), (4, 60.0), (4, 90.0)]);
        let before = map.clone();
        roll(&mut map, 6.0, &[(2, 120.0), (2, 60.0)]);
        assert_eq!(map, before);
        roll(&mut map, 2.0, &[(4, 100.0)]);
        assert_eq!(told(&map), [(0.0, 120.0), (2.0, 100.0)]);
    }

    #[test]
    fn there_is_room_for_so_many_steps_and_then_no_more() {
        let mut map = TempoMap::default();
        let turns: Vec<(u32, f64)> = (0..MOST_STEPS as u32 + 9)
            .map(|turn| (2, 90.0 + f64::from(turn % 7)))
            .collect();
        roll(&mut map, 0.0, &turns);
        assert!(map.is_full());
        let (full, mut ear) = (map.clone(), TempoEar::default());
        let told = (0..1000).filter(|block| {
            let at = 3000.0 + f64::from(*block) / 100.0;
            ear.hear(Span::new(at, at + 0.01), 50.0, &mut map)
        });
        assert_eq!(told.count(), 0, "and nothing is told of what is not noted");
        assert_eq!(map, full);
    }

    #[test]
    fn what_cannot_be_a_map_is_cut() {
        let step = |at, tempo| TempoStep { at, tempo };
        let map = TempoMap::new([step(0.0, 120.0), step(4.0, 60.0), step(3.0, 90.0)]);
        assert_eq!(told(&map), [(0.0, 120.0), (4.0, 60.0)]);
        assert!(TempoMap::new([step(1.0, 120.0)]).is_empty());
        assert!(TempoMap::new([step(0.0, f64::NAN)]).is_empty());
    }
}
