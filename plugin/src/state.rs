//! What a project remembers: the phrase and its like beside the parameters, and how a saved state
//! is put in order before it is loaded.
//!
//! A saved state may be of another version, cut off, or made of nonsense. Every part is checked by
//! itself; a part that cannot be read stays as it was, and a plain message says so.

mod modulations;
mod performed;
mod practice;
mod route;
mod sketches;
mod takes;
mod voice;

pub use modulations::LONGEST_TURNING;
pub use sketches::{Comes, LONGEST_NAME, PLACES, Sketch, Sketches, is_kept};
pub use takes::{How, MOST_RECORDINGS, MOST_TAKES, Take, Takes, now};
pub use voice::Voice;

use crate::handover::MainSide;
use crate::params::{DECLARATIONS, SavedChoices};
use crate::practice::Desk;
use nice_plug::params::persist::PersistentField;
use nice_plug::plugin::PluginState;
use procession_core::engine::Anchor;
use procession_core::metre::{Grouping, Metre};
use procession_core::mode::PitchSet;
use procession_core::note::{Key, Note, Syllable, Velocity};
use procession_core::performed::{Performed, Recollection};
use procession_core::phrase::{Bar, Phrase};
use procession_core::process::Process;
use procession_core::route::Route;
use procession_core::settings::{Modulations, Settings};
use procession_core::time::Beats;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::sync::Arc;

/// The version of what is written. Raise it with any change of meaning, migrate the older ones in
/// [`filter`], and keep one saved file of each under `plugin/tests/states/`.
///
/// 2: a phrase may know the bar it was played in.
/// 3: a position may be written at which the process begins, and a route that it takes; what was
/// performed is kept.
/// 4: a note may be a syllable of a recording, which is kept with it; it is kept what is practised,
/// how, and how it went, and where the tempo of the song changed; takes and sketches are kept.
pub const VERSION: u64 = 4;

/// Origins farther from the start of the song than this are damage: a year and a half at 120 beats
/// a minute, where an `f64` still tells a fraction of a sample.
const FARTHEST: Beats = 1e8;

/// A phrase and where in the song it belongs: all that capturing decides.
#[derive(Clone, Debug, PartialEq)]
pub struct Taken {
    /// The notes and their length.
    pub phrase: Phrase,
    /// The origin.
    pub anchor: Anchor,
}

/// How large the window is, in points, how far it is zoomed, and its theme.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct WindowSize {
    /// Points, 400 ..= 4000.
    pub width: u32,
    /// Points, 300 ..= 3000.
    pub height: u32,
    /// 1 is as drawn; 0.5 ..= 3.
    pub zoom: f32,
    /// Light on dark. Files from before there was a choice are dark on light.
    #[serde(default)]
    pub dark: bool,
}

impl WindowSize {
    /// A size that fits a screen.
    fn within_reason(self) -> Self {
        Self {
            width: self.width.clamp(400, 4000),
            height: self.height.clamp(300, 3000),
            // JSON knows no NaN.
            zoom: self.zoom.clamp(0.5, 3.0),
            dark: self.dark,
        }
    }
}

/// All that is saved beside the parameters.
#[derive(Clone, Debug, PartialEq)]
pub struct Kept {
    /// The phrase and its origin.
    pub taken: Taken,
    /// The chance that scattered growth throws, the same each time.
    pub seed: u64,
    /// The custom mode, as semitones above its tonic.
    pub custom: PitchSet,
    /// The modulation plan.
    pub modulations: Modulations,
    /// The song position that was written for the process to begin at, if one was.
    pub begins_at: Option<Beats>,
    /// How the bars of the song are grouped.
    pub grouping: Grouping,
    /// The form as it is written, if it is. Large, and shared by all who only look at it.
    pub route: Arc<Route>,
    /// What was performed in the song. Large, and shared likewise.
    pub performed: Arc<Recollection>,
    /// What is practised, and how it went. Likewise.
    pub practice: Arc<Desk>,
    /// The recording that goes along with the phrase, if that was said. One that no note is of is
    /// not saved.
    pub voice: Option<Voice>,
    /// The phrases that stay.
    pub takes: Takes,
    /// Ideas that were put aside whole.
    pub sketches: Sketches,
    /// When a sketch that is called up comes.
    pub comes: Comes,
    /// The window.
    pub window: WindowSize,
}

impl Default for Kept {
    fn default() -> Self {
        Self {
            taken: Taken {
                phrase: Phrase::empty(4.0).expect("4 beats are a length"),
                anchor: Anchor::NextStart,
            },
            seed: 1,
            custom: PitchSet::CHROMATIC,
            modulations: Modulations::default(),
            begins_at: None,
            grouping: Grouping::default(),
            route: Arc::default(),
            performed: Arc::default(),
            practice: Arc::default(),
            voice: None,
            takes: Takes::default(),
            sketches: Sketches::default(),
            comes: Comes::default(),
            window: WindowSize {
                width: 960,
                height: 640,
                zoom: 1.0,
                dark: false,
            },
        }
    }
}

/// A message for the status line: what could not be loaded, why, and what to do.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Notice(pub String);

impl Kept {
    /// Takes over every part of `saved` that can be read. The rest stays and is named.
    pub fn restore(&mut self, saved: &Value) -> Option<Notice> {
        if let Err(refusal) = readable(saved) {
            return Some(Notice(refusal));
        }
        let mut refused = Vec::new();
        let mut take = |part: Result<(), String>| refused.extend(part.err());
        take(taken_from(saved).map(|taken| self.taken = taken));
        take(part(saved, "seed", "seed").map(|seed| self.seed = seed));
        take(custom_from(saved).map(|custom| self.custom = custom));
        take(modulations::restored(saved).map(|plan| self.modulations = plan));
        take(begins_at_from(saved).map(|at| self.begins_at = at));
        take(grouping_from(saved).map(|grouping| self.grouping = grouping));
        take(route::restored(saved).map(|route| self.route = Arc::new(route)));
        self.performed = Arc::default();
        take(performed::restored(saved).map(|told| self.performed = Arc::new(told)));
        self.practice = Arc::default();
        take(practice::restored(saved).map(|desk| self.practice = Arc::new(desk)));
        self.voice = None;
        let recordings = voice::Recordings::of(saved);
        take(voice::restored(saved, &recordings).map(|voice| self.voice = voice));
        let (takes, lost) = takes::restored(saved, &recordings);
        self.takes = takes;
        lost.into_iter().for_each(|lost| take(Err(lost)));
        let (sketches, lost) = sketches::restored(saved, &recordings);
        self.sketches = sketches;
        lost.into_iter().for_each(|lost| take(Err(lost)));
        take(comes_from(saved).map(|comes| self.comes = comes));
        take(
            part(saved, "window", "window size")
                .map(|window: WindowSize| self.window = window.within_reason()),
        );
        (!refused.is_empty()).then(|| Notice(refused.join(" ")))
    }

    /// Another phrase comes, out of a file or said, with what goes along with it; the one that gives
    /// way stays among the takes, and so does this one. `at` is when, in seconds since 1970.
    pub fn load(&mut self, phrase: Phrase, voice: Option<Voice>, at: u64) {
        self.take(phrase, voice, at, How::Loaded);
    }

    /// A sentence that was said becomes the phrase, held at `at`, in seconds since 1970; its recording
    /// goes along. The phrase that gives way stays among the takes.
    pub fn hold_said(&mut self, phrase: Phrase, voice: Option<Voice>, at: u64) {
        self.take(phrase, voice, at, How::Held);
    }

    fn take(&mut self, phrase: Phrase, voice: Option<Voice>, at: u64, how: How) {
        self.takes.keep(&self.taken.phrase, self.voice.as_ref());
        self.takes.add(&phrase, voice.as_ref(), at, how);
        self.taken.phrase = phrase;
        self.voice = voice;
    }

    /// A take comes back, the oldest being 0, if there is such a take; the phrase that gives way
    /// stays.
    pub fn bring_back(&mut self, index: usize) {
        if let Some(take) = self.takes.get(index).cloned() {
            self.takes.keep(&self.taken.phrase, self.voice.as_ref());
            self.taken.phrase = take.phrase;
            self.voice = take.voice;
        }
    }

    /// What was performed, ready to be gone on with. Costs some milliseconds: off the audio thread.
    pub fn recollected(&self) -> Box<Performed> {
        let origin = match self.taken.anchor {
            Anchor::Song(origin) => origin,
            Anchor::NextStart => 0.0,
        };
        let mut settings = Settings {
            modulations: self.modulations,
            ..Settings::default()
        };
        settings.fold.custom = self.custom;
        let mut process = Box::new(Process::new(self.taken.phrase.clone(), settings, origin));
        process.set_route(&self.route);
        let mut performed = Box::<Performed>::default();
        performed.recollect(&self.performed, &mut process);
        performed
    }

    /// As the framework writes it under [`KEPT`].
    pub fn to_json(&self) -> String {
        // Numbers and lists under words: there is nothing in it that JSON could not say.
        serde_json::to_string(&self.written()).unwrap_or_default()
    }

    /// What is written.
    fn written(&self) -> Written {
        let mut shelf = voice::Shelf::default();
        let voice = voice::of(&self.taken.phrase, self.voice.as_ref());
        Written {
            version: VERSION,
            phrase: SavedPhrase::from(&self.taken.phrase),
            anchor: self.taken.anchor.into(),
            seed: self.seed,
            custom: semitones(self.custom),
            modulations: modulations::saved(&self.modulations),
            begins_at: self.begins_at,
            metre: written_grouping(self.grouping),
            route: route::saved(&self.route),
            performed: performed::saved(&self.performed),
            tempi: performed::saved_tempi(&self.performed),
            practice: practice::saved(&self.practice),
            voice: shelf.place(voice.as_ref()),
            takes: takes::saved(&self.takes, &mut shelf),
            sketches: sketches::saved(&self.sketches, &mut shelf),
            comes: Some(self.comes).filter(|comes| *comes != Comes::default()),
            recordings: shelf.all(),
            window: self.window,
        }
    }
}

/// Whether this is a state of ours, of a version we know.
fn readable(saved: &Value) -> Result<(), String> {
    const STAYS: &str = "The phrase from before stays.";
    match saved.get("version").and_then(Value::as_u64) {
        Some(1..=VERSION) => Ok(()),
        Some(newer) if newer > VERSION => Err(format!(
            "This project was saved by a newer Procession (state {newer}, this one reads up to \
             {VERSION}). {STAYS} Update Procession and open the project again."
        )),
        _ if saved.is_null() => Err(format!(
            "The saved state holds no phrase. {STAYS} Play one and hold it."
        )),
        _ => Err(format!(
            "The saved phrase cannot be read: it is damaged or not from Procession. {STAYS} Load \
             an earlier save of the project."
        )),
    }
}

fn part<T: for<'a> Deserialize<'a>>(saved: &Value, key: &str, name: &str) -> Result<T, String> {
    let value = saved.get(key).unwrap_or(&Value::Null);
    T::deserialize(value).map_err(|error| {
        format!("The saved {name} cannot be read ({error}); the one from before stays.")
    })
}

/// Phrase and origin belong together: one without the other would start in the wrong place.
fn taken_from(saved: &Value) -> Result<Taken, String> {
    let phrase = part::<SavedPhrase>(saved, "phrase", "phrase")?;
    let phrase = phrase.checked().map_err(|error| {
        format!("The saved phrase was refused: {error}. The one from before stays.")
    })?;
    match part(saved, "anchor", "origin")? {
        SavedAnchor::Song(beats) if !is_within_reach(beats) => Err(format!(
            "The saved origin lies at beat {beats}, out of all reach; phrase and origin from \
             before stay."
        )),
        anchor => Ok(Taken {
            phrase,
            anchor: anchor.into(),
        }),
    }
}

fn custom_from(saved: &Value) -> Result<PitchSet, String> {
    let semitones: Vec<u8> = part(saved, "custom", "custom mode")?;
    pitch_set(&semitones).ok_or_else(|| {
        "The saved custom mode was refused: it needs 1 to 12 semitones between 0 and 11. The one \
         from before stays."
            .to_owned()
    })
}

/// None was written in states from before it could be.
fn begins_at_from(saved: &Value) -> Result<Option<Beats>, String> {
    match part::<Option<Beats>>(saved, "begins_at", "position to begin at")? {
        Some(at) if !is_within_reach(at) => Err(format!(
            "The saved position to begin at lies at beat {at}, out of all reach; what was there \
             before stays."
        )),
        at => Ok(at),
    }
}

/// What stands for a bar that is grouped as is usual.
const USUAL: &str = "usual";

fn written_grouping(grouping: Grouping) -> Option<String> {
    match grouping {
        Grouping::Undivided => None,
        Grouping::Usual => Some(USUAL.to_owned()),
        Grouping::Written(metre) => Some(metre.to_string()),
    }
}

/// Bars were not grouped in states from before they could be.
fn grouping_from(saved: &Value) -> Result<Grouping, String> {
    let metre: Option<String> = part(saved, "metre", "metre")?;
    match metre.as_deref() {
        None => Ok(Grouping::Undivided),
        Some(USUAL) => Ok(Grouping::Usual),
        Some(text) => Metre::from_text(text, Metre::COMMON)
            .map(Grouping::Written)
            .map_err(|error| {
                format!("The saved metre was refused: {error}. The one from before stays.")
            }),
    }
}

/// At once in states from before there were sketches.
fn comes_from(saved: &Value) -> Result<Comes, String> {
    let comes: Option<Comes> = part(saved, "comes", "word for when sketches come")?;
    Ok(comes.unwrap_or_default())
}

/// Whether a song position is none that only damage explains.
pub fn is_within_reach(at: Beats) -> bool {
    at.abs() <= FARTHEST
}

fn semitones(set: PitchSet) -> Vec<u8> {
    (0..12)
        .filter(|semitone| set.bits() >> semitone & 1 == 1)
        .collect()
}

fn pitch_set(semitones: &[u8]) -> Option<PitchSet> {
    let in_range = semitones.iter().all(|semitone| *semitone < 12);
    (in_range && !semitones.is_empty()).then(|| {
        PitchSet::from_bits(
            semitones
                .iter()
                .fold(0, |bits, semitone| bits | 1 << semitone),
        )
    })
}

/// What is written, part by part. The order of the fields is the order in the file.
#[derive(Clone, Debug, Serialize)]
pub struct Written {
    version: u64,
    phrase: SavedPhrase,
    anchor: SavedAnchor,
    seed: u64,
    custom: Vec<u8>,
    modulations: Vec<modulations::SavedModulation>,
    #[serde(skip_serializing_if = "Option::is_none")]
    begins_at: Option<Beats>,
    /// "usual", or groups and what they count; none if bars are not grouped.
    #[serde(skip_serializing_if = "Option::is_none")]
    metre: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    route: Option<route::SavedRoute>,
    #[serde(skip_serializing_if = "Option::is_none")]
    performed: Option<performed::SavedPerformance>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    tempi: Vec<performed::SavedTempo>,
    #[serde(skip_serializing_if = "Option::is_none")]
    practice: Option<practice::SavedPractice>,
    #[serde(skip_serializing_if = "Option::is_none")]
    voice: Option<usize>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    takes: Vec<takes::SavedTake>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    sketches: Vec<Option<sketches::SavedSketch>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    comes: Option<Comes>,
    /// To which all that was said refers by its place.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    recordings: Vec<Voice>,
    window: WindowSize,
}

#[derive(Clone, Copy, Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
enum SavedAnchor {
    /// At this song position, in beats. The first projects called it "at".
    #[serde(alias = "at")]
    Song(Beats),
    /// Where the song next starts to roll. The first projects called it "waiting".
    #[serde(alias = "waiting")]
    NextStart,
}

#[derive(Clone, Debug, Serialize, Deserialize)]
struct SavedPhrase {
    /// Beats.
    length: Beats,
    notes: Vec<SavedNote>,
    /// Not known before version 2, nor of a phrase that was written.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    bar: Option<SavedBar>,
}

#[derive(Clone, Debug, Serialize, Deserialize)]
struct SavedBar {
    /// Above and below in the time signature.
    metre: [u32; 2],
    /// How it is grouped, if it is.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    groups: Vec<u32>,
    /// Beats after the start of the phrase.
    begins: Beats,
    /// Whether what is before that is a pick-up. Not known in states from before it was kept in its
    /// place.
    #[serde(default, skip_serializing_if = "is_not")]
    pick_up: bool,
}

fn is_not(flag: &bool) -> bool {
    !flag
}

#[derive(Clone, Copy, Debug, Serialize, Deserialize)]
struct SavedNote {
    /// Beats after the start.
    onset: Beats,
    /// Beats.
    length: Beats,
    /// MIDI key.
    key: u8,
    /// Above 0, up to 1.
    velocity: f32,
    /// Of a note that was taken from speech: seconds into the recording at which the syllable
    /// starts, at which its vowel begins, and at which it ends; cents above the key.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    said: Option<[f32; 4]>,
}

impl From<Anchor> for SavedAnchor {
    fn from(anchor: Anchor) -> Self {
        match anchor {
            Anchor::Song(origin) => Self::Song(origin),
            Anchor::NextStart => Self::NextStart,
        }
    }
}

impl From<SavedAnchor> for Anchor {
    fn from(saved: SavedAnchor) -> Self {
        match saved {
            SavedAnchor::Song(origin) => Self::Song(origin),
            SavedAnchor::NextStart => Self::NextStart,
        }
    }
}

impl From<&Phrase> for SavedPhrase {
    fn from(phrase: &Phrase) -> Self {
        let note = |note: &Note| SavedNote {
            onset: note.onset,
            length: note.length,
            key: note.key.number(),
            velocity: note.velocity.value(),
            said: (note.said).map(|said| [said.start, said.vowel, said.end, said.cents]),
        };
        Self {
            length: phrase.length(),
            notes: phrase.notes().iter().map(note).collect(),
            bar: phrase.bar().map(|bar| SavedBar {
                metre: [bar.metre.count(), bar.metre.unit()],
                groups: match bar.metre.is_grouped() {
                    true => bar.metre.groups().collect(),
                    false => Vec::new(),
                },
                begins: bar.begins,
                pick_up: bar.pick_up,
            }),
        }
    }
}

impl SavedPhrase {
    fn checked(&self) -> Result<Phrase, String> {
        let note = |note: &SavedNote| {
            let key = Key::new(note.key)
                .ok_or_else(|| format!("{} is not a key from 0 to 127", note.key))?;
            Ok(Note {
                onset: note.onset,
                length: note.length,
                key,
                velocity: Velocity::new(note.velocity),
                // A note whose syllable is damaged is still a note.
                said: (note.said)
                    .and_then(|[start, vowel, end, cents]| Syllable::new(start, vowel, end, cents)),
            })
        };
        let notes: Result<Vec<_>, String> = self.notes.iter().map(note).collect();
        let bar = self.bar.as_ref().map(SavedBar::checked).transpose()?;
        let phrase = Phrase::new(notes?, self.length).map_err(|error| error.to_string())?;
        Ok(phrase.with_bar(bar))
    }
}

impl SavedBar {
    fn checked(&self) -> Result<Bar, String> {
        let [count, unit] = self.metre;
        let metre = Metre::new(count, unit).ok_or_else(|| format!("there is no {count}/{unit}"))?;
        // Groups that do not make the bar are damage, and the bar is still one.
        let grouped = Metre::grouped(self.groups.iter().copied(), unit);
        let grouped = grouped.filter(|grouped| grouped.count() == count);
        Ok(Bar {
            metre: grouped.unwrap_or(metre),
            begins: self.begins,
            pick_up: self.pick_up,
        })
    }
}

/// The form in which the framework carries [`Kept`].
#[derive(Debug, Serialize, Deserialize)]
#[serde(untagged)]
pub enum Carried {
    /// On its way in, any JSON at all: it is checked before use.
    Unchecked(Value),
    /// On its way out.
    #[serde(skip_deserializing)]
    Written(Box<Written>),
}

impl PersistentField<'_, Carried> for MainSide {
    fn set(&self, carried: Carried) {
        if let Carried::Unchecked(saved) = carried {
            self.load(|kept| kept.restore(&saved));
        }
    }

    fn map<F, R>(&self, f: F) -> R
    where
        F: Fn(&Carried) -> R,
    {
        f(&Carried::Written(Box::new(self.current().written())))
    }
}

/// The key of [`Kept`] in a saved state.
pub const KEPT: &str = "kept";

/// The key in a saved state under which choices stand by their lasting ids.
pub const CHOICES: &str = "choices";

/// Puts a saved state in order before it is loaded, whatever it holds, so that every parameter
/// gets a value in its range and every load brings something under [`KEPT`].
///
/// The framework takes over any number it finds, and would abort the host at some of them.
pub fn filter(state: &mut PluginState) {
    let choices = SavedChoices::take_from(state);
    let mut saved = std::mem::take(&mut state.params);
    for declaration in DECLARATIONS.iter() {
        let value =
            declaration.restored(saved.remove(&declaration.id), choices.get(&declaration.id));
        state.params.insert(declaration.id.clone(), value);
    }
    let kept = state.fields.remove(KEPT);
    state.fields.clear();
    state.fields.insert(KEPT.to_owned(), as_json(kept));
}

/// What was saved if it is JSON at all, else something that is and will be refused with a message.
fn as_json(saved: Option<String>) -> String {
    match saved {
        None => "null".to_owned(),
        Some(text) if serde_json::from_str::<Value>(&text).is_ok() => text,
        Some(_) => "\"unreadable\"".to_owned(),
    }
}
