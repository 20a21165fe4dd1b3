//! Tonality: the mode in which a stretch is written, and how its pitches are spelt.

use super::Score;
use super::pitch::key_signature;
use crate::mode::{Mode, ModeName, PitchName, Spelling};
use crate::performance::{Performance, Stood};
use crate::time::{Beats, HAIR, Span};

/// A mode and how it is written.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Tonality {
    /// In force as the stretch ends.
    pub mode: Mode,
    /// Members of the mode by its names; what is left of the mode before, and what has come of the
    /// mode that is on its way, by theirs.
    pub spelling: Spelling,
    /// The sharps of the key signature, or flats if negative.
    pub signature: i32,
    /// The mode that pitches are turning into, one after another.
    pub towards: Option<Mode>,
}

impl Tonality {
    /// That of a stretch of the song.
    pub fn of(score: &Score, span: Span) -> Self {
        let modes = Modes::of(score);
        let (mode, spelling) = modes.in_force(span.end);
        let towards = modes.on_its_way(span.end);
        let (left, left_names) = modes.in_force(span.start + 2.0 * HAIR);
        let mut names = spelling;
        if let Some(next) = towards {
            names = names.respelt(next.pitch_classes(), &modes.spelling(next, None));
        }
        names = names.respelt(left.pitch_classes(), &left_names);
        Self {
            mode,
            spelling: names.respelt(mode.pitch_classes(), &spelling),
            signature: key_signature(&mode, &spelling),
            towards,
        }
    }

    /// Whether one key signature, and one saying, serves for both.
    pub fn is_as(&self, other: &Self) -> bool {
        (self.mode, self.towards) == (other.mode, other.towards)
    }

    /// Such as "D Lydian".
    pub fn name(&self) -> String {
        self.mode.name_on(self.spelling.name(self.mode.tonic()))
    }

    /// Such as "turning to D Lydian".
    pub fn turning(&self) -> Option<String> {
        let next = self.towards?;
        let name = next.name_on(self.spelling.name(next.tonic()));
        Some(format!("turning to {name}"))
    }

    /// The format's word for the mode, if it has one.
    pub fn word(&self) -> Option<&'static str> {
        match ModeName::of(self.mode.steps())? {
            ModeName::Ionian => Some("ionian"),
            ModeName::Dorian => Some("dorian"),
            ModeName::Phrygian => Some("phrygian"),
            ModeName::Lydian => Some("lydian"),
            ModeName::Mixolydian => Some("mixolydian"),
            ModeName::Aeolian => Some("aeolian"),
            ModeName::Locrian => Some("locrian"),
            _ => None,
        }
    }
}

/// Which mode is in force from when on.
struct Modes<'a> {
    performance: &'a Performance<'a>,
    listed: Vec<(Beats, Mode)>,
}

impl<'a> Modes<'a> {
    /// As the piece lists them; or as the fold and the modulation plan have them.
    fn of(score: &Score<'a>) -> Self {
        let (performance, process) = (score.piece.performance, score.piece.process());
        if !score.piece.modes.is_empty() {
            return Self {
                performance,
                listed: score.piece.modes.to_vec(),
            };
        }
        let fold = process.fold();
        let first = match fold.moved() {
            0 => fold.source(),
            _ => fold.target(),
        };
        let later = performance
            .mode_changes()
            .filter(|change| change.index.is_some());
        let later = later.map(|change| (change.turning.end, change.mode));
        Self {
            performance,
            listed: std::iter::once((process.origin(), first))
                .chain(later)
                .collect(),
        }
    }

    /// What is in force just before `at`, and its names.
    fn in_force(&self, at: Beats) -> (Mode, Spelling) {
        let last = self.listed.iter().rev().find(|(from, _)| *from < at - HAIR);
        let (from, mode) = match last.or(self.listed.first()) {
            Some(listed) => *listed,
            None => {
                let process = self.performance.future();
                (process.origin(), process.first_mode())
            }
        };
        (mode, self.spelling(mode, Some(from)))
    }

    /// What is not yet in force just before `at`, though pitches have begun to turn into it.
    fn on_its_way(&self, at: Beats) -> Option<Mode> {
        let begun = self
            .performance
            .mode_changes()
            .filter(|change| change.index.is_some() && change.turning.start < at - HAIR)
            .last()?;
        (begun.turning.end >= at - HAIR).then_some(begun.mode)
    }

    /// The names of a mode that is in force from a position on, or on its way.
    fn spelling(&self, mode: Mode, from: Option<Beats>) -> Spelling {
        mode.spelling_from(self.tonic(mode, from))
    }

    /// The tonic by its best name beside the mode before.
    fn tonic(&self, mode: Mode, from: Option<Beats>) -> PitchName {
        let leads_there = |end: Beats| from.is_none_or(|from| (end - from).abs() < HAIR);
        let change = self.performance.mode_changes().find(|change| {
            change.index.is_some() && change.mode == mode && leads_there(change.turning.end)
        });
        let process = match change {
            Some(change) => self.performance.at(change.turning.start),
            None => Stood::Lent(self.performance.future()),
        };
        let fold = match change {
            Some(change) => process.fold_at(change.turning.start).0,
            None => process.fold(),
        };
        if mode == fold.target() && mode != fold.source() {
            fold.target_tonic_name()
        } else {
            mode.tonic_name()
        }
    }
}
