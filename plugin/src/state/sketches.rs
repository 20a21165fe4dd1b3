//! Sketches: eight places, each of which keeps the whole of an idea, to be called up again.

use super::voice::{self, Recordings, Shelf};
use super::{Kept, SavedPhrase, Voice, modulations, part, performed, route, semitones};
use crate::params::{DECLARATIONS, Parameters};
use crate::state::custom_from;
use nice_plug::plugin::ParamValue;
use procession_core::mode::PitchSet;
use procession_core::performed::Recollection;
use procession_core::phrase::Phrase;
use procession_core::route::Route;
use procession_core::settings::Modulations;
use procession_core::starting_points::StartingPoint;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::collections::BTreeMap;
use std::sync::Arc;

/// So many places there are.
pub const PLACES: usize = 8;

/// The longest name, in letters.
pub const LONGEST_NAME: usize = 40;

/// What is no part of a sketch: what one plays on, and what belongs to the room that it is played
/// in.
const NOT_KEPT: [&str; 8] = [
    "hold",
    "thru",
    "cue",
    "cue_key",
    "cue_controller",
    "channels",
    "audition",
    "bypass",
];

/// Whether a parameter is part of a sketch.
pub fn is_kept(id: &str) -> bool {
    !NOT_KEPT.contains(&id)
}

/// When a sketch that is called up comes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Comes {
    /// At once.
    #[default]
    Now,
    /// On the next bar of the song.
    Bar,
    /// With the next cycle of the steady voice.
    Cycle,
}

impl Comes {
    /// All, in the order in which they are offered.
    pub const ALL: [Self; 3] = [Self::Now, Self::Bar, Self::Cycle];

    /// "at once".
    pub fn name(self) -> &'static str {
        match self {
            Self::Now => "at once",
            Self::Bar => "on the next bar",
            Self::Cycle => "with the next cycle",
        }
    }
}

/// The whole of an idea.
#[derive(Clone, Debug, PartialEq)]
pub struct Sketch {
    /// What it is called; nothing if it was given no name.
    pub name: String,
    /// The phrase.
    pub phrase: Phrase,
    /// The chance that scattered growth throws.
    pub seed: u64,
    /// The custom mode.
    pub custom: PitchSet,
    /// The mode changes.
    pub modulations: Modulations,
    /// The form as it was written, if it was.
    pub route: Arc<Route>,
    /// What was performed.
    pub performed: Arc<Recollection>,
    /// The recording that goes along with the phrase, if notes of it were said.
    pub voice: Option<Voice>,
    /// The parameters, by id, as saved states have them.
    values: BTreeMap<String, Plain>,
}

/// A value of a parameter: a choice by its lasting word.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(untagged)]
enum Plain {
    Switch(bool),
    Number(f32),
    Word(String),
}

impl Sketch {
    /// Of things as they stand.
    pub fn of(kept: &Kept, parameters: &Parameters, name: String) -> Self {
        let mut values = BTreeMap::new();
        parameters.each(|declaration, parameter| {
            if is_kept(&declaration.id) {
                let value = declaration.choice_id(&parameter.saved());
                let plain = match (value, parameter.saved()) {
                    (Some(word), _) => Plain::Word(word.to_owned()),
                    (None, ParamValue::Bool(on)) => Plain::Switch(on),
                    (None, ParamValue::I32(number)) => Plain::Number(number as f32),
                    (None, ParamValue::F32(number)) => Plain::Number(number),
                    (None, ParamValue::String(word)) => Plain::Word(word),
                };
                values.insert(declaration.id.clone(), plain);
            }
        });
        Self {
            name,
            phrase: kept.taken.phrase.clone(),
            seed: kept.seed,
            custom: kept.custom,
            modulations: kept.modulations,
            route: kept.route.clone(),
            performed: kept.performed.clone(),
            voice: voice::of(&kept.taken.phrase, kept.voice.as_ref()),
            values,
        }
    }

    /// Of a starting point, and all that it does not name as in a new project.
    ///
    /// # Panics
    /// If it names a parameter, or a value of one, that there is none of.
    pub fn of_start(start: &StartingPoint) -> Self {
        let (parameters, _) = Parameters::new();
        for (id, text) in start.settings() {
            let (declaration, parameter) = parameters.of_id(id).expect("its parameters are known");
            parameter.restore(&declaration.typed(text).expect("its values are known"));
        }
        let mut kept = Kept::default();
        kept.taken.phrase = start.phrase();
        kept.modulations = start.modulations();
        kept.route = Arc::new(start.route());
        Self::of(&kept, &parameters, start.name.to_owned())
    }

    /// The same, called so.
    pub fn named(self, name: &str) -> Self {
        Self {
            name: cut(name),
            ..self
        }
    }

    /// Takes the place of what is kept. The origin stays: what is called up is heard where the song
    /// is in it. The phrase that gives way stays among the takes.
    pub fn take_place(&self, kept: &mut Kept) {
        let before = kept.taken.phrase.clone();
        kept.takes.keep(&before, kept.voice.as_ref());
        kept.taken.phrase.clone_from(&self.phrase);
        kept.seed = self.seed;
        kept.custom = self.custom;
        kept.modulations = self.modulations;
        kept.route.clone_from(&self.route);
        kept.performed.clone_from(&self.performed);
        kept.voice.clone_from(&self.voice);
    }

    /// An instance that stands as the sketch does: parameters, and what is kept. Parameters that
    /// there were none of when it was stored are at their defaults. Costs some milliseconds.
    pub fn stood(&self) -> Arc<Parameters> {
        let (parameters, _) = Parameters::new();
        for declaration in DECLARATIONS.iter() {
            let plain = self.values.get(&declaration.id);
            let word = match plain {
                Some(Plain::Word(word)) => Some(word),
                _ => None,
            };
            let saved = plain.and_then(|plain| match (plain, declaration.is_whole()) {
                (Plain::Switch(on), _) => Some(ParamValue::Bool(*on)),
                (Plain::Number(number), true) => Some(ParamValue::I32(number.round() as i32)),
                (Plain::Number(number), false) => Some(ParamValue::F32(*number)),
                (Plain::Word(_), _) => None,
            });
            if let Some((_, parameter)) = parameters.of_id(&declaration.id) {
                parameter.restore(&declaration.restored(saved, word));
            }
        }
        parameters.kept.edit(|kept| self.take_place(kept));
        parameters
    }
}

/// Eight places, each empty or with a sketch. Large, and shared by all who only look at it.
#[derive(Clone, Debug, Default)]
pub struct Sketches([Option<Arc<Sketch>>; PLACES]);

impl PartialEq for Sketches {
    /// What is shared need not be looked at.
    fn eq(&self, other: &Self) -> bool {
        let alike = |(one, other): (&Option<Arc<Sketch>>, &Option<Arc<Sketch>>)| match (one, other)
        {
            (Some(one), Some(other)) => Arc::ptr_eq(one, other) || one == other,
            (None, None) => true,
            _ => false,
        };
        self.0.iter().zip(&other.0).all(alike)
    }
}

impl Sketches {
    /// The sketch in a place, counted from 0.
    pub fn get(&self, place: usize) -> Option<&Arc<Sketch>> {
        self.0.get(place)?.as_ref()
    }

    /// Puts one there, or takes it away.
    pub fn put(&mut self, place: usize, sketch: Option<Arc<Sketch>>) {
        if let Some(here) = self.0.get_mut(place) {
            *here = sketch;
        }
    }

    /// Which places are not empty, bit by bit.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn filled(&self) -> u8 {
        let places = self.0.iter().enumerate();
        places.fold(0, |bits, (place, sketch)| {
            bits | u8::from(sketch.is_some()) << place
        })
    }

    /// Whether all places are empty.
    pub fn is_empty(&self) -> bool {
        self.0.iter().all(Option::is_none)
    }
}

#[derive(Clone, Debug, Serialize)]
pub(super) struct SavedSketch {
    #[serde(skip_serializing_if = "String::is_empty")]
    name: String,
    phrase: SavedPhrase,
    seed: u64,
    custom: Vec<u8>,
    modulations: Vec<modulations::SavedModulation>,
    #[serde(skip_serializing_if = "Option::is_none")]
    route: Option<route::SavedRoute>,
    #[serde(skip_serializing_if = "Option::is_none")]
    performed: Option<performed::SavedPerformance>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    tempi: Vec<performed::SavedTempo>,
    #[serde(skip_serializing_if = "Option::is_none")]
    voice: Option<usize>,
    values: BTreeMap<String, Plain>,
}

/// As they are saved: a place that is empty is null.
pub(super) fn saved(sketches: &Sketches, shelf: &mut Shelf) -> Vec<Option<SavedSketch>> {
    if sketches.is_empty() {
        return Vec::new();
    }
    let mut saved = |sketch: &Arc<Sketch>| SavedSketch {
        name: sketch.name.clone(),
        phrase: SavedPhrase::from(&sketch.phrase),
        seed: sketch.seed,
        custom: semitones(sketch.custom),
        modulations: modulations::saved(&sketch.modulations),
        route: route::saved(&sketch.route),
        performed: performed::saved(&sketch.performed),
        tempi: performed::saved_tempi(&sketch.performed),
        voice: shelf.place(sketch.voice.as_ref()),
        values: sketch.values.clone(),
    };
    sketches
        .0
        .iter()
        .map(|place| place.as_ref().map(&mut saved))
        .collect()
}

/// The sketches that were saved; none were in states from before there were any. A place that
/// cannot be read is empty, and named.
pub(super) fn restored(saved: &Value, recordings: &Recordings) -> (Sketches, Vec<String>) {
    let (mut sketches, mut refused) = (Sketches::default(), Vec::new());
    let places = match saved.get("sketches") {
        None | Some(Value::Null) => &[][..],
        Some(Value::Array(places)) => &places[..places.len().min(PLACES)],
        Some(_) => {
            refused.push("The saved sketches cannot be read, and their places are empty.".into());
            &[]
        }
    };
    for (place, saved) in places.iter().enumerate() {
        if saved.is_null() {
            continue;
        }
        let number = place + 1;
        let Ok(mut sketch) = read(saved) else {
            refused.push(format!(
                "Sketch {number} cannot be read, and its place is empty."
            ));
            continue;
        };
        match recordings.voice(saved) {
            Ok(voice) => sketch.voice = voice,
            Err(_) => refused.push(format!(
                "Sketch {number} is there without its recording, which cannot be heard."
            )),
        }
        sketches.put(place, Some(Arc::new(sketch)));
    }
    (sketches, refused)
}

/// A sketch but for its recording.
fn read(saved: &Value) -> Result<Sketch, String> {
    let name: Option<String> = saved.get("name").and_then(|name| name.as_str().map(cut));
    Ok(Sketch {
        name: name.unwrap_or_default(),
        phrase: part::<SavedPhrase>(saved, "phrase", "phrase")?.checked()?,
        seed: part(saved, "seed", "seed")?,
        custom: custom_from(saved)?,
        modulations: modulations::restored(saved)?,
        route: Arc::new(route::restored(saved)?),
        performed: Arc::new(performed::restored(saved)?),
        voice: None,
        values: part(saved, "values", "values of the parameters")?,
    })
}

/// A name as long as names may be.
fn cut(name: &str) -> String {
    name.trim().chars().take(LONGEST_NAME).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::state::{How, MOST_RECORDINGS, MOST_TAKES};
    use procession_core::part::MAX_COPIES;
    use procession_core::performed::{Happened, MOST_MOMENTS, Moment, Shape};
    use procession_core::phrase::MAX_NOTES;
    use procession_core::reciter::{LONGEST, Utterance};
    use procession_core::route::{Afterwards, Dwell, MAX_STAGES, Way, WrittenStage};
    use procession_core::settings::{Motion, Settings};

    /// As much as can be kept: 512 notes, 512 stages, 1024 moments.
    fn full() -> Kept {
        let mut kept = Kept::default();
        let words = "C#4 Eb5 F#3 A4 ".repeat(MAX_NOTES / 4);
        kept.taken.phrase = Phrase::from_text(&words, 1.0 / 3.0 * 0.5).expect("a phrase");
        let stage = WrittenStage {
            way: Way {
                motion: Motion::Drift,
                over: 16,
            },
            dwell: Dwell::Cycles(12),
            ahead: [1.0 / 3.0; MAX_COPIES],
            grown: Some(100),
            turn: None,
        };
        let route = Route::new(&[stage; MAX_STAGES], Afterwards::Hold).expect("a route");
        kept.route = Arc::new(route);
        let shape = Shape::of(&Settings::default());
        let mut told = Recollection {
            first: Some(shape),
            ..Recollection::default()
        };
        for at in 0..MOST_MOMENTS {
            let at = at as f64 / 7.0;
            let what = Happened::Shaped(shape);
            told.moments.push(Moment { at, what });
        }
        kept.performed = Arc::new(told);
        kept
    }

    fn read_back(kept: &Kept) -> Kept {
        let mut read = Kept::default();
        let saved = serde_json::from_str(&kept.to_json()).expect("JSON");
        assert_eq!(read.restore(&saved), None);
        read
    }

    #[test]
    fn what_is_put_aside_is_saved_and_comes_back_with_every_value() {
        let (parameters, _) = Parameters::new();
        let values = [
            ("dwell", ParamValue::I32(3)),
            ("motion", ParamValue::I32(1)),
            ("offset", ParamValue::F32(-1.25)),
            ("copies_grow", ParamValue::Bool(true)),
            ("audition", ParamValue::F32(-12.0)),
        ];
        for (id, value) in &values {
            if let Some((_, parameter)) = parameters.of_id(id) {
                parameter.restore(value);
            }
        }
        let mut kept = Kept::default();
        kept.taken.phrase = Phrase::from_text("D4 . F4", 0.25).expect("a phrase");
        let sketch = Sketch::of(&kept, &parameters, "Buoys".to_owned());
        kept.sketches.put(5, Some(Arc::new(sketch.clone())));
        kept.takes
            .add(&kept.taken.phrase.clone(), None, 1_700_000_000, How::Held);
        kept.comes = Comes::Cycle;
        assert_eq!(read_back(&kept), kept);
        let stood = sketch.stood();
        for (id, value) in &values {
            let text = |parameters: &Parameters| {
                let (_, parameter) = parameters.of_id(id).expect("a parameter");
                parameter.text_of(parameter.normalized())
            };
            let is_same = text(&stood) == text(&parameters);
            assert_eq!(is_same, is_kept(id), "{id} {value:?}");
        }
    }

    /// What cannot be read is named, and nothing else is lost with it.
    #[test]
    fn a_damaged_place_is_empty_and_the_others_are_there() {
        let (parameters, _) = Parameters::new();
        let mut kept = Kept::default();
        for place in [0, 1] {
            let sketch = Sketch::of(&kept, &parameters, format!("{place}"));
            kept.sketches.put(place, Some(Arc::new(sketch)));
        }
        let mut saved: Value = serde_json::from_str(&kept.to_json()).expect("JSON");
        saved["sketches"][0]["phrase"]["length"] = Value::from(-1.0);
        let mut read = Kept::default();
        let notice = read.restore(&saved).expect("something to say").0;
        assert_eq!(notice, "Sketch 1 cannot be read, and its place is empty.");
        assert_eq!(read.sketches.get(0), None);
        assert_eq!(read.sketches.get(1), kept.sketches.get(1));
    }

    /// The largest project that there can be is one that the program opens again.
    #[test]
    fn as_much_as_can_be_kept_is_a_project_that_can_be_opened() {
        let (parameters, _) = Parameters::new();
        let mut kept = full();
        let sketch = Arc::new(Sketch::of(&kept, &parameters, "x".repeat(LONGEST_NAME)));
        for place in 0..PLACES {
            kept.sketches.put(place, Some(sketch.clone()));
        }
        let phrase = kept.taken.phrase.clone();
        let rest = Phrase::from_text("D4", 0.25).expect("a phrase");
        for at in 0..MOST_TAKES as u64 {
            // No take comes twice in a row.
            let phrase = if at % 2 == 0 { &phrase } else { &rest };
            kept.takes.add(phrase, None, at, How::Held);
        }
        // Within the state it is text within text.
        let text = serde_json::to_string(&kept.to_json()).expect("JSON");
        // The longest recordings there can be, of noise, which cannot be written shorter: that of the
        // phrase, those of the sketches, those of the takes.
        let mut noise = 1u32;
        let steps = (0..LONGEST as usize * 48_000).map(|_| {
            noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            noise as i32 >> 8
        });
        let said = Utterance::from_steps(steps, 48_000, 24).expect("an utterance");
        let voice = serde_json::to_string(&Voice::new(said).expect("a voice")).expect("JSON");
        let recordings = (1 + PLACES + MOST_RECORDINGS) * voice.len();
        assert!(
            (text.len() * 3 / 2 + recordings) as u64 <= crate::program::project::LARGEST,
            "{} and {recordings}",
            text.len()
        );
        assert_eq!(read_back(&kept), kept);
    }
}
