//! Growth: the additive process, and the laps of material that it leaves.
//!
//! A *lap* is one pass through the phrase, or through as much of it as stands. *Fill* keeps every
//! lap as long as the phrase and lets more of its notes sound; *lengthen* lets laps grow note by
//! note.

use crate::phrase::{MAX_NOTES, MIN_LENGTH, Phrase, attack_times};
use crate::settings::{Growth, GrowthOrder, GrowthSettings};
use crate::time::{Beats, HAIR, MaterialPlace, to_ticks};
use arrayvec::ArrayVec;

/// For every note of a phrase, its place in the order in which notes appear.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Ranks(ArrayVec<u16, MAX_NOTES>);

impl Ranks {
    /// The ranks by `order`; `seed` matters to [`GrowthOrder::Scattered`] alone. Ties go to the
    /// earlier note.
    pub fn new(phrase: &Phrase, order: GrowthOrder, seed: u64) -> Self {
        let notes = phrase.notes();
        let earliest_first = |i: usize| i as i64;
        let weight = |i: usize| match order {
            GrowthOrder::Forward => earliest_first(i),
            GrowthOrder::Backward => -earliest_first(i),
            GrowthOrder::StrongBeatsFirst => -i64::from(weight_in(phrase, notes[i].onset)),
            GrowthOrder::LowToHigh => i64::from(notes[i].key.number()),
            GrowthOrder::HighToLow => -i64::from(notes[i].key.number()),
            GrowthOrder::CentreOut => to_ticks((notes[i].onset - phrase.length() / 2.0).abs()),
            GrowthOrder::Scattered => (scatter(seed, i as u64) >> 1) as i64,
        };
        Self::by(notes.len(), weight)
    }

    /// The ranks of `count` notes, the lightest first. Each is weighed once: a weight costs more
    /// than all comparisons of it, and the audio thread waits.
    fn by(count: usize, mut weight: impl FnMut(usize) -> i64) -> Self {
        let mut order: ArrayVec<(i64, u16), MAX_NOTES> =
            (0..count).map(|note| (weight(note), note as u16)).collect();
        order.sort_unstable();
        let mut ranks: ArrayVec<u16, MAX_NOTES> = order.iter().map(|_| 0).collect();
        for (rank, (_, note)) in order.iter().enumerate() {
            ranks[usize::from(*note)] = rank as u16;
        }
        Self(ranks)
    }

    /// Whether note `index` is among the first `shown`.
    pub fn among_first(&self, index: usize, shown: usize) -> bool {
        self.0
            .get(index)
            .is_some_and(|rank| usize::from(*rank) < shown)
    }

    /// The place of note `index` in the order, from 0.
    pub fn of(&self, index: usize) -> Option<usize> {
        self.0.get(index).map(|rank| usize::from(*rank))
    }
}

/// How strong a position of a phrase is: in the bar it was played in where one is known, else as
/// if the phrase were a bar.
fn weight_in(phrase: &Phrase, onset: Beats) -> u32 {
    match phrase.bar() {
        Some(bar) => bar.metre.weight(onset - bar.begins),
        None => metrical_weight(onset, phrase.length()),
    }
}

/// How strong a position of a phrase is that is a bar: the number of levels of the metre that have a beat there.
///
/// The phrase is a bar. It is halved (or, if that leaves no whole beats, divided by three) down
/// to the beat, and the beat into halves, quarters and eighths, and into thirds and sixths. For
/// 16 sixteenths this gives 5 1 2 1 3 1 2 1 4 1 2 1 3 1 2 1 (common practice, no source), with the
/// finer levels adding the same to each.
pub fn metrical_weight(onset: Beats, length: Beats) -> u32 {
    const BELOW_THE_BEAT: [Beats; 5] = [0.5, 0.25, 0.125, 1.0 / 3.0, 1.0 / 6.0];
    let falls_on = |level: Beats| {
        let place = onset + HAIR;
        // Not by `rem_euclid`, which takes several times as long.
        let remainder = place - (place / level).floor() * level;
        u32::from(remainder < 0.01)
    };
    let mut weight: u32 = BELOW_THE_BEAT.into_iter().map(falls_on).sum();
    let mut level = length;
    while level > 1.0 && level.fract() == 0.0 {
        weight += falls_on(level);
        level = [2.0, 3.0]
            .into_iter()
            .find(|part| level % part == 0.0)
            .map_or(1.0, |p| level / p);
    }
    weight + falls_on(1.0)
}

/// A number as good as random for each (seed, index): the finaliser of SplitMix64 (Steele, Lea &
/// Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014; constants from memory).
/// It is written out here because saved pieces must scatter the same in every later version.
pub(crate) fn scatter(seed: u64, index: u64) -> u64 {
    let mut z = seed.wrapping_add(index.wrapping_add(1).wrapping_mul(0x9E37_79B9_7F4A_7C15));
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^ (z >> 31)
}

/// One pass through the phrase, or as much of it as stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lap {
    /// Where in the material it begins.
    pub start: MaterialPlace,
    /// How much of the phrase it holds; positive.
    pub length: Beats,
    /// How many notes sound, by rank.
    pub shown: usize,
}

impl Lap {
    /// Where in the material it ends.
    pub fn end(&self) -> MaterialPlace {
        self.start + self.length
    }
}

/// Where laps are counted from: the beginning of the material, or where growth became another on
/// the way. What had passed by then is not counted again.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LapsFrom {
    /// Where in the material.
    start: MaterialPlace,
    /// What stood there, notes or attacks; none leaves that to the settings.
    stood: Option<usize>,
    /// The lap that ends there, if it was one of another growth: how long it was, and how many notes sounded.
    before: Option<(Beats, usize)>,
    /// Where the whole phrase had come to stand before, if it had.
    done: Option<MaterialPlace>,
}

impl LapsFrom {
    /// The beginning of the material.
    pub const START: Self = Self {
        start: MaterialPlace::START,
        stood: None,
        before: None,
        done: None,
    };
}

/// The laps of one voice's material.
#[derive(Clone, Debug, PartialEq)]
pub struct Laps {
    from: LapsFrom,
    law: Law,
}

/// How laps follow one another, counted from where they begin.
// Lives in place, large as it is: the audio thread changes it and must not allocate.
#[allow(clippy::large_enum_variant)]
#[derive(Clone, Debug, PartialEq)]
enum Law {
    /// The whole phrase, again and again.
    Whole {
        /// Length of the phrase.
        length: Beats,
        /// Its notes.
        notes: usize,
    },
    /// More notes every few laps.
    Fill(Fill),
    /// Longer laps every few laps.
    Lengthen(Lengthen),
}

impl Laps {
    /// Nothing grows.
    pub fn whole(phrase: &Phrase) -> Self {
        Self {
            from: LapsFrom::START,
            law: Law::whole(phrase, phrase.notes().len()),
        }
    }

    /// The laps of `phrase` under `settings`.
    pub fn new(phrase: &Phrase, settings: &GrowthSettings) -> Self {
        Self::going_on_from(LapsFrom::START, phrase, settings)
    }

    /// The same, counted from there.
    pub fn going_on_from(from: LapsFrom, phrase: &Phrase, settings: &GrowthSettings) -> Self {
        Self::of_part(from, phrase, phrase.notes().len(), settings)
    }

    /// The laps of `material`, which has what it has of a phrase of so many notes: one that it does
    /// not have is waited for, and passed over, when its turn comes.
    pub fn of_part(
        from: LapsFrom,
        material: &Phrase,
        notes: usize,
        settings: &GrowthSettings,
    ) -> Self {
        let stood = from.stood;
        let law = match settings.growth {
            Growth::Off => Law::whole(material, notes),
            Growth::Fill => Law::Fill(Fill::new(material, notes, settings, stood)),
            Growth::Lengthen => Law::Lengthen(Lengthen::new(material, notes, settings, stood)),
        };
        Self { from, law }
    }

    /// Where they are counted from.
    pub fn from(&self) -> &LapsFrom {
        &self.from
    }

    /// The lap that `place` of the material falls in. Before the material begins, it is as it is
    /// at its beginning.
    pub fn at(&self, place: MaterialPlace) -> Lap {
        let start = self.from.start;
        match self.from.before {
            Some((length, shown)) if place + HAIR < start => Lap {
                start: start - length,
                length,
                shown,
            },
            _ => {
                let lap = self.law.at(place - start.beats());
                Lap {
                    start: lap.start + start.beats(),
                    ..lap
                }
            }
        }
    }

    /// The lap after `lap`.
    pub fn after(&self, lap: &Lap) -> Lap {
        // From the middle of the next lap no rounding can lead back.
        let inside = self.at(lap.end() + HAIR);
        if inside.start > lap.start {
            inside
        } else {
            self.at(lap.end() + lap.length / 2.0)
        }
    }

    /// Where in the material the growth is done and the whole phrase goes on; `None` if it never
    /// is. Only building up is waited for: a phrase that is stripped, or holds, was whole.
    pub fn done(&self) -> Option<MaterialPlace> {
        let law = || Some(self.law.done()? + self.from.start.beats());
        self.from.done.or_else(law)
    }

    /// Where in the material laps become other than they were, in order.
    pub fn changes(&self) -> Changes<'_> {
        Changes {
            laps: self,
            stage: 0,
            last: match &self.law {
                Law::Whole { .. } => 0,
                Law::Fill(fill) => fill.stages_to_come(),
                Law::Lengthen(lengthen) => lengthen.stages.len() as i64 - 1,
            },
        }
    }

    /// From where laps go on that become other ones at `place`: under the same kind of growth, from
    /// the stage that is on, which ends with its lap if it has lasted longer than it now should;
    /// under another, from the end of the lap that is on.
    pub fn from_here(
        &self,
        place: MaterialPlace,
        settings: &GrowthSettings,
        phrase: &Phrase,
    ) -> LapsFrom {
        let lap = self.at(place);
        let done = self.done().filter(|done| *done <= place);
        let into = place - self.from.start.beats();
        let same = match (&self.law, settings.growth) {
            (Law::Fill(fill), Growth::Fill) => Some(fill.stage_at(into)),
            (Law::Lengthen(lengthen), Growth::Lengthen) => lengthen.stage_from(into),
            _ => None,
        };
        // A lap that is left over from before runs to its end in any case.
        match same.filter(|_| into + HAIR >= MaterialPlace::START) {
            Some((start, stood)) => {
                let start = start + self.from.start.beats();
                let stage = f64::from(settings.every.max(1)) * lap.length;
                LapsFrom {
                    start: start.max(lap.end() - stage),
                    stood: Some(stood),
                    before: None,
                    done,
                }
            }
            None => LapsFrom {
                start: lap.end(),
                stood: self.stands(&lap, settings.growth, phrase),
                before: Some((lap.length, lap.shown)),
                done,
            },
        }
    }

    /// How many notes stand in a lap, or attacks if it is those that are counted.
    fn stands(&self, lap: &Lap, growth: Growth, phrase: &Phrase) -> Option<usize> {
        let notes = phrase.notes();
        let reached = notes.partition_point(|note| note.onset < lap.length - HAIR);
        let shown = lap.shown.min(reached);
        match growth {
            Growth::Off => None,
            // All that the material has may be less than the phrase has.
            Growth::Fill if reached == notes.len() => Some(lap.shown),
            Growth::Fill => Some(shown),
            Growth::Lengthen => Some(attack_times(&notes[..shown]).count()),
        }
    }
}

impl Law {
    fn whole(material: &Phrase, notes: usize) -> Self {
        Self::Whole {
            length: material.length(),
            notes,
        }
    }

    fn at(&self, place: MaterialPlace) -> Lap {
        match self {
            Self::Whole { length, notes } => cycle(place, *length, |_| *notes),
            Self::Fill(fill) => cycle(place, fill.length, |index| fill.shown(index)),
            Self::Lengthen(lengthen) => lengthen.at(place),
        }
    }

    fn done(&self) -> Option<MaterialPlace> {
        match self {
            Self::Whole { .. } => Some(MaterialPlace::START),
            Self::Fill(fill) => fill.done,
            Self::Lengthen(lengthen) => lengthen.done,
        }
    }
}

/// Where in the material laps become other than they were, in order: each a step further, however
/// many laps a stage has.
#[derive(Clone, Debug)]
pub struct Changes<'a> {
    laps: &'a Laps,
    stage: i64,
    last: i64,
}

impl Iterator for Changes<'_> {
    type Item = MaterialPlace;

    fn next(&mut self) -> Option<MaterialPlace> {
        while self.stage < self.last {
            self.stage += 1;
            let change = match &self.laps.law {
                Law::Whole { .. } => None,
                Law::Fill(fill) => Some(fill.start_of(self.stage)),
                Law::Lengthen(lengthen) => lengthen.change(self.stage as usize),
            };
            if let Some(change) = change {
                return Some(change + self.laps.from.start.beats());
            }
        }
        None
    }
}

/// The lap that `place` falls in if all are of one length, from the start of the material on.
fn cycle(place: MaterialPlace, length: Beats, shown: impl Fn(i64) -> usize) -> Lap {
    let index = laps_before(place, MaterialPlace::START, length);
    Lap {
        start: MaterialPlace::new(index * length),
        length,
        shown: shown(index as i64),
    }
}

/// How many laps of `length` beats from `start` on are over at `place`.
fn laps_before(place: MaterialPlace, start: MaterialPlace, length: Beats) -> f64 {
    ((place - start + HAIR) / length).floor()
}

/// What stands at the start of a growth: one step's worth if it builds, else everything.
fn shown_at_first(step: i32, total: usize) -> i64 {
    if step > 0 {
        i64::from(step).min(total as i64)
    } else {
        total as i64
    }
}

/// The length stays, rests are replaced by notes.
#[derive(Clone, Debug, PartialEq)]
struct Fill {
    length: Beats,
    total: i64,
    every: i64,
    step: i64,
    /// What stands first.
    shown: i64,
    done: Option<MaterialPlace>,
}

impl Fill {
    fn new(
        material: &Phrase,
        total: usize,
        settings: &GrowthSettings,
        stood: Option<usize>,
    ) -> Self {
        let fill = Self {
            length: material.length(),
            total: total as i64,
            every: i64::from(settings.every.max(1)),
            step: i64::from(settings.step),
            shown: stood.map_or_else(
                || shown_at_first(settings.step, total),
                |stood| stood as i64,
            ),
            done: None,
        };
        let done = if fill.step > 0 || stood.is_some() {
            fill.whole_after()
        } else {
            Some(MaterialPlace::START)
        };
        Self { done, ..fill }
    }

    fn shown(&self, cycle: i64) -> usize {
        let steps = cycle.max(0) / self.every;
        let shown = self.step.saturating_mul(steps).saturating_add(self.shown);
        shown.clamp(0, self.total) as usize
    }

    /// Where in the material a stage begins, counted from what stood first.
    fn start_of(&self, stage: i64) -> MaterialPlace {
        MaterialPlace::new((stage * self.every) as f64 * self.length)
    }

    /// Where the stage begins that `place` falls in, and what stands in it.
    fn stage_at(&self, place: MaterialPlace) -> (MaterialPlace, usize) {
        let now = laps_before(place, MaterialPlace::START, self.length) as i64;
        let stage = now.max(0) / self.every;
        (self.start_of(stage), self.shown(stage * self.every))
    }

    /// How many stages there are until everything stands, or nothing any more.
    fn stages_to_come(&self) -> i64 {
        let to_come = match self.step.signum() {
            1 => self.total - self.shown,
            -1 => self.shown,
            _ => 0,
        };
        let size = self.step.abs().max(1);
        (to_come + size - 1) / size
    }

    /// The end of the stage in which the whole phrase stands for the first time.
    fn whole_after(&self) -> Option<MaterialPlace> {
        let missing = self.total - self.shown;
        if missing > 0 && self.step <= 0 {
            return None;
        }
        let stages = 1 + if missing > 0 {
            (missing + self.step - 1) / self.step
        } else {
            0
        };
        Some(self.start_of(stages))
    }
}

/// Note 1, then 1-2, then 1-2-3. Notes struck together, as a hand strikes a chord, count as one.
#[derive(Clone, Debug, PartialEq)]
struct Lengthen {
    every: f64,
    whole: Beats,
    notes: usize,
    /// The stages in order; the last one goes on for ever.
    stages: ArrayVec<LengthenStage, { MAX_NOTES + 1 }>,
    done: Option<MaterialPlace>,
}

/// Some laps of the same length.
#[derive(Clone, Copy, Debug, PartialEq)]
struct LengthenStage {
    start: MaterialPlace,
    attacks: usize,
    lap: Beats,
}

impl Lengthen {
    fn new(
        material: &Phrase,
        notes: usize,
        settings: &GrowthSettings,
        stood: Option<usize>,
    ) -> Self {
        let mut lengthen = Self {
            every: f64::from(settings.every.max(1)),
            whole: material.length(),
            notes,
            stages: ArrayVec::new(),
            done: None,
        };
        let attacks = Attacks::of(material);
        let first = stood.map_or_else(
            || shown_at_first(settings.step, attacks.count()) as usize,
            |stood| stood.min(attacks.count()),
        );
        lengthen.lay_stages(MaterialPlace::START, first, settings.step, &attacks);
        lengthen.done = if settings.step > 0 || stood.is_some() {
            lengthen.whole_after(attacks.count())
        } else {
            Some(MaterialPlace::START)
        };
        lengthen
    }

    fn lay_stages(&mut self, start: MaterialPlace, shown: usize, step: i32, attacks: &Attacks) {
        let mut stage = LengthenStage {
            start,
            attacks: shown,
            lap: attacks.lap_of(shown),
        };
        while self.stages.try_push(stage).is_ok() {
            let next = stage.attacks as i64 + i64::from(step);
            let next = next.clamp(0, attacks.count() as i64) as usize;
            if next == stage.attacks {
                return;
            }
            stage = LengthenStage {
                start: stage.start + self.every * stage.lap,
                attacks: next,
                lap: attacks.lap_of(next),
            };
        }
    }

    fn whole_after(&self, attacks: usize) -> Option<MaterialPlace> {
        let last = self
            .stages
            .last()
            .filter(|stage| stage.attacks == attacks)?;
        Some(last.start + self.every * last.lap)
    }

    fn stage_at(&self, place: MaterialPlace) -> Option<&LengthenStage> {
        let after = self
            .stages
            .partition_point(|stage| stage.start <= place + HAIR);
        self.stages.get(after.max(1) - 1)
    }

    /// Where in the material that stage begins, if its laps are other than those before it.
    fn change(&self, stage: usize) -> Option<MaterialPlace> {
        let told = |stage: &LengthenStage| (stage.attacks == 0, to_ticks(stage.lap));
        let (before, after) = (self.stages.get(stage - 1)?, self.stages.get(stage)?);
        (told(before) != told(after)).then_some(after.start)
    }

    fn at(&self, place: MaterialPlace) -> Lap {
        let Some(stage) = self.stage_at(place) else {
            return cycle(place, self.whole, |_| self.notes);
        };
        let index = laps_before(place, stage.start, stage.lap);
        Lap {
            start: stage.start + index * stage.lap,
            length: stage.lap,
            shown: if stage.attacks == 0 { 0 } else { self.notes },
        }
    }

    /// Where the stage begins that `place` falls in, and what stands in it. In the stage that goes on
    /// for ever, stages are counted on from its start.
    fn stage_from(&self, place: MaterialPlace) -> Option<(MaterialPlace, usize)> {
        let now = self.stage_at(place)?;
        let stage_length = self.every * now.lap;
        let past = laps_before(place, now.start, stage_length).max(0.0);
        Some((now.start + past * stage_length, now.attacks))
    }
}

/// The attacks of a phrase, gone through once: every stage of a lengthening asks for one of them.
struct Attacks {
    times: ArrayVec<Beats, MAX_NOTES>,
    /// How long the phrase is.
    whole: Beats,
}

impl Attacks {
    fn of(phrase: &Phrase) -> Self {
        Self {
            times: attack_times(phrase.notes()).collect(),
            whole: phrase.length(),
        }
    }

    fn count(&self) -> usize {
        self.times.len()
    }

    /// How long a lap of the first `attacks` attacks is: up to where the next one begins. With
    /// none, a silent cycle. Like a phrase, it has a least length, whatever hairs lie between.
    fn lap_of(&self, attacks: usize) -> Beats {
        match attacks {
            0 => self.whole,
            _ => {
                let next = self.times.get(attacks).copied();
                next.unwrap_or(self.whole).max(MIN_LENGTH)
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::metre::Metre;
    use crate::note::Note;
    use crate::phrase::Bar;

    fn place(beats: Beats) -> MaterialPlace {
        MaterialPlace::new(beats)
    }

    fn phrase(text: &str) -> Phrase {
        Phrase::from_text(text, 0.25).unwrap()
    }

    fn order(phrase: &Phrase, by: GrowthOrder) -> Vec<usize> {
        let ranks = Ranks::new(phrase, by, 7);
        let mut order: Vec<usize> = (0..phrase.notes().len()).collect();
        order.sort_by_key(|&i| ranks.of(i));
        order
    }

    fn grow(growth: Growth, step: i32, every: u32) -> GrowthSettings {
        GrowthSettings {
            growth,
            step,
            every,
            ..GrowthSettings::default()
        }
    }

    /// The same laps so far, others from `at` on.
    fn from_here(laps: &Laps, at: Beats, settings: &GrowthSettings, phrase: &Phrase) -> Laps {
        let from = laps.from_here(place(at), settings, phrase);
        Laps::going_on_from(from, phrase, settings)
    }

    fn shown(laps: &Laps, cycles: u32) -> Vec<usize> {
        (0..cycles)
            .map(|c| laps.at(place(f64::from(c) * 1.5)).shown)
            .collect()
    }

    const SIX: &str = "D4 F4 G4 A4 C5 E4";

    /// Metric order of {0, 3, 4, 7, 8, 11, 14} in 16 steps: common practice, no source.
    #[test]
    fn strong_beats_come_first_and_ties_go_left() {
        let seven = phrase("C4 . . C4 C4 . . C4 C4 . . C4 . . C4 .");
        let steps: Vec<i64> = order(&seven, GrowthOrder::StrongBeatsFirst)
            .into_iter()
            .map(|i| to_ticks(seven.notes()[i].onset) / 240)
            .collect();
        assert_eq!(steps, [0, 8, 4, 14, 3, 7, 11]);
    }

    #[test]
    fn strong_beats_are_counted_from_the_bar_where_one_is_known() {
        let metre = Metre::new(4, 4).unwrap();
        // Begun with a pick-up of an eighth: the bar begins with the third sixteenth.
        let with_pick_up = phrase("C4 C4 C4 . C4 . C4 . C4 . C4 . C4 . C4 C4");
        let first = |phrase: &Phrase| {
            let note = order(phrase, GrowthOrder::StrongBeatsFirst)[0];
            phrase.notes()[note].onset
        };
        assert_eq!(first(&with_pick_up), 0.0);
        let bar = Bar::around(metre, 0.5);
        assert_eq!(first(&with_pick_up.with_bar(Some(bar))), 0.5);
        // Three beats come round differently in every bar of four: the phrase is its own bar.
        let three = phrase("C4 C4 C4 C4 C4 C4 C4 C4 C4 C4 C4 C4").with_bar(Some(bar));
        assert_eq!((three.bar(), first(&three)), (None, 0.0));
    }

    #[test]
    fn sixteen_sixteenths_weigh_as_musicians_count_them() {
        let weights: Vec<u32> = (0..16)
            .map(|s| metrical_weight(f64::from(s) * 0.25, 4.0))
            .collect();
        // The levels below a sixteenth, and those of triplets that fall on it, come on top.
        let heaviest_first = |weights: &[u32]| {
            let mut order: Vec<usize> = (0..16).collect();
            order.sort_by_key(|&s| (std::cmp::Reverse(weights[s]), s));
            order
        };
        let common = [5, 1, 2, 1, 3, 1, 2, 1, 4, 1, 2, 1, 3, 1, 2, 1];
        assert_eq!(heaviest_first(&weights), heaviest_first(&common));
    }

    #[test]
    fn however_many_notes_there_are_each_is_weighed_once() {
        let mut weighed = vec![0; MAX_NOTES];
        Ranks::by(MAX_NOTES, |note| {
            weighed[note] += 1;
            (scatter(3, note as u64) >> 1) as i64
        });
        assert_eq!(weighed, vec![1; MAX_NOTES]);
    }

    #[test]
    fn every_order_differs_from_its_neighbours() {
        let six = phrase(SIX);
        assert_eq!(order(&six, GrowthOrder::Forward), [0, 1, 2, 3, 4, 5]);
        assert_eq!(order(&six, GrowthOrder::Backward), [5, 4, 3, 2, 1, 0]);
        assert_eq!(order(&six, GrowthOrder::LowToHigh), [0, 5, 1, 2, 3, 4]);
        assert_eq!(order(&six, GrowthOrder::HighToLow), [4, 3, 2, 1, 5, 0]);
        assert_eq!(order(&six, GrowthOrder::CentreOut), [3, 2, 4, 1, 5, 0]);
        let scattered = order(&six, GrowthOrder::Scattered);
        assert_eq!(scattered, order(&six, GrowthOrder::Scattered));
        assert_ne!(scattered, [0, 1, 2, 3, 4, 5]);
    }

    #[test]
    fn a_fill_adds_its_step_every_so_many_cycles() {
        let six = phrase(SIX);
        let laps = Laps::new(&six, &grow(Growth::Fill, 2, 2));
        assert_eq!(shown(&laps, 7), [2, 2, 4, 4, 6, 6, 6]);
        assert_eq!(laps.done(), Some(place(6.0 * 1.5)));
    }

    #[test]
    fn a_negative_step_strips_and_none_holds() {
        let six = phrase(SIX);
        assert_eq!(
            shown(&Laps::new(&six, &grow(Growth::Fill, -4, 1)), 4),
            [6, 2, 0, 0]
        );
        assert_eq!(
            shown(&Laps::new(&six, &grow(Growth::Fill, 0, 1)), 3),
            [6, 6, 6]
        );
    }

    /// 7 onsets, 16 steps, each stage four times: 28 cycles (own arithmetic; the habit of four
    /// times is common practice, no source).
    #[test]
    fn seven_notes_four_times_each_take_twenty_eight_cycles() {
        let seven = phrase("C4 . . C4 C4 . . C4 C4 . . C4 . . C4 .");
        let laps = Laps::new(&seven, &grow(Growth::Fill, 1, 4));
        assert_eq!(laps.done(), Some(place(28.0 * 4.0)));
    }

    /// N(N+1)/2 units: 5 take 15, 8 take 36, 12 take 78 (own arithmetic).
    #[test]
    fn lengthening_by_single_notes_takes_a_triangular_number_of_steps() {
        for (notes, steps) in [(5, 15.0), (8, 36.0), (12, 78.0)] {
            let run = phrase(&"C4 ".repeat(notes));
            let laps = Laps::new(&run, &grow(Growth::Lengthen, 1, 1));
            assert_eq!(laps.done(), Some(place(steps * 0.25)));
        }
    }

    /// Groups of 3, 2, 3, 4 eighths give bars of 3, 5, 8, 12 eighths, 28 in all (own arithmetic).
    #[test]
    fn groups_of_eighths_lengthen_the_bar_group_by_group() {
        let groups = Phrase::from_text("C4 - - D4 - E4 - - F4 - - -", 0.5).unwrap();
        let laps = Laps::new(&groups, &grow(Growth::Lengthen, 1, 1));
        let mut lap = laps.at(place(0.0));
        let mut bars = Vec::new();
        for _ in 0..4 {
            bars.push(lap.length / 0.5);
            lap = laps.after(&lap);
        }
        assert_eq!(bars, [3.0, 5.0, 8.0, 12.0]);
        assert_eq!(laps.done(), Some(place(28.0 * 0.5)));
        assert_eq!(lap.start, place(14.0));
    }

    /// Three chords of three notes, none of them struck quite at once.
    #[test]
    fn a_chord_struck_by_hand_lengthens_the_lap_as_one() {
        let written = phrase("C4+E4+G4 - - - A3+C4+E4 - - - F3+A3+C4 - - -");
        let late = [0.0, 0.004, 0.006, 0.002, 0.0, 0.005, 0.0, 0.003, 0.05];
        let notes = written.notes().iter().zip(late).map(|(note, late)| Note {
            onset: note.onset + late,
            ..*note
        });
        let by_hand = Phrase::new(notes, written.length()).unwrap();
        let laps = Laps::new(&by_hand, &grow(Growth::Lengthen, 1, 1));
        let mut lap = laps.at(place(0.0));
        let mut lengths = Vec::new();
        for _ in 0..4 {
            lengths.push(lap.length);
            lap = laps.after(&lap);
        }
        assert_eq!(lengths, [1.0, 2.0, 3.0, 3.0]);
    }

    #[test]
    fn sixty_fourths_are_notes_and_no_chord() {
        let fast = Phrase::from_text("C4 D4 E4 F4", 1.0 / 16.0).unwrap();
        assert_eq!(attack_times(fast.notes()).count(), 4);
    }

    #[test]
    fn a_phrase_shortened_to_nothing_is_silent_and_goes_on() {
        let six = phrase(SIX);
        let laps = Laps::new(&six, &grow(Growth::Lengthen, -3, 1));
        let lengths: Vec<_> = [0.0, 1.5, 2.25, 5.0].map(|at| laps.at(place(at))).to_vec();
        assert_eq!(lengths[0].length, 1.5);
        assert_eq!(lengths[1].length, 0.75);
        assert_eq!((lengths[2].shown, lengths[3].shown), (0, 0));
    }

    /// Looked for lap by lap, the changes are the same.
    #[test]
    fn laps_change_where_one_differs_from_the_one_before_it() {
        for (text, kind) in [SIX, "D4 F4 G4 . C5 E4", "D4 D4+F4 . .", "C4"]
            .into_iter()
            .flat_map(|text| [Growth::Fill, Growth::Lengthen].map(|kind| (text, kind)))
        {
            for (step, every) in (-8..=8).flat_map(|step| [1, 3].map(|every| (step, every))) {
                let phrase = phrase(text);
                let fresh = Laps::new(&phrase, &grow(kind, step, every));
                let changed = from_here(&fresh, 5.0, &grow(kind, -step, every), &phrase);
                for laps in [fresh, changed] {
                    let told = |lap: &Lap| (lap.shown, to_ticks(lap.length));
                    // From where the present step counts: what was before it is forgotten.
                    let mut lap = laps.at(place(0.0));
                    let mut expected = Vec::new();
                    while lap.start < place(400.0) {
                        let next = laps.after(&lap);
                        if told(&next) != told(&lap) {
                            expected.push(next.start);
                        }
                        lap = next;
                    }
                    let found: Vec<MaterialPlace> = laps.changes().collect();
                    let same = |(a, b): (&MaterialPlace, &MaterialPlace)| (*a - *b).abs() < HAIR;
                    let all_same = found.iter().zip(&expected).all(same);
                    assert!(
                        found.len() == expected.len() && all_same,
                        "{text} {kind:?} {step}: {found:?} {expected:?}"
                    );
                }
            }
        }
    }

    #[test]
    fn a_changed_step_counts_from_the_next_stage_on() {
        let six = phrase(SIX);
        let laps = Laps::new(&six, &grow(Growth::Fill, 1, 2));
        let changed = from_here(&laps, 3.2 * 1.5, &grow(Growth::Fill, 3, 2), &six);
        assert_eq!(shown(&changed, 7)[3..], [2, 5, 5, 6]);
        let held = from_here(&laps, 3.2 * 1.5, &grow(Growth::Fill, 0, 2), &six);
        assert_eq!(shown(&held, 7)[3..], [2, 2, 2, 2]);
        assert_eq!(held.done(), None);
    }

    #[test]
    fn however_close_notes_are_a_lap_is_no_shorter_than_a_phrase_may_be() {
        let note = |onset| Note {
            onset,
            ..phrase("D4").notes()[0]
        };
        let hairs = (0..9).map(|hair| note(f64::from(hair) * 2e-9));
        let close = Phrase::new(hairs, 1.0).unwrap();
        let laps = Laps::new(&close, &grow(Growth::Lengthen, 1, 1));
        let mut lap = laps.at(place(0.0));
        for _ in 0..12 {
            assert!(lap.length >= MIN_LENGTH, "{lap:?}");
            lap = laps.after(&lap);
        }
    }
}
