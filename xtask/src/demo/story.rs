//! What is played, and how the plug-in is set: a piece for a night ferry crossing, or the user's
//! own phrase treated alike.

use anyhow::{Context, Result, bail};
use procession_core::exchange::open::{self, Excerpt};
use procession_core::exchange::picture::Melody;
use procession_core::exchange::recorded;
use procession_core::fit::{Counts, Proposal, Ranges, fit};
use procession_core::fold::detect_source;
use procession_core::form::Form;
use procession_core::mallet::START_LEVEL_DB;
use procession_core::mode::{Mode, ModeName, PitchSet};
use procession_core::phrase::Phrase;
use procession_core::reciter::Utterance;
use procession_core::route::{Afterwards, Dwell, Route};
use procession_core::settings::{Grid, Modulation, Modulations, Place, Settings, Worded};
use procession_core::speech::{Fit, Listened, Placing, own_tempo, strands};
use procession_core::starting_points::{self, ALL};
use procession_core::time::{Beats, to_ticks};
use procession_core::words::number_of;
use serde_json::{Value, json};
use std::path::Path;

/// Beats a bar, in the demo's host.
pub const BEATS_PER_BAR: f64 = 4.0;

/// Twelve notes in sixteen steps: a lantern, a wake, the engine below.
const CROSSING: &str = "D4 A4 . F4 C5 . E4 B4 D5 . A4 E5 C5 . G4 F4";

/// How the plug-in is set for the story, unless the user says otherwise.
const SETTINGS: [(&str, &str); 11] = [
    ("copies", "1"),
    ("motion", "Drift"),
    ("dwell", "4"),
    ("drift", "2"),
    ("growth", "Fill"),
    ("growth_step", "2"),
    ("growth_every", "1"),
    ("resulting", "Top"),
    ("resulting_octave", "1"),
    ("fold", "By degree"),
    ("fold_amount", "0"),
];

/// The parameters that shape the fold. Whoever sets one of them does without the recasting.
const FOLD: [&str; 6] = [
    "fold",
    "fold_amount",
    "source_tonic",
    "source_mode",
    "target_tonic",
    "target_mode",
];

/// What is said of the crossing, and by whom: a free speech synthesiser, flite 2.2 (Debian's package
/// 2.2-5; Carnegie Mellon University, a licence that permits use, copies and changes like MIT's), in its
/// voice `slt`:
///
/// ```text
/// flite -voice slt -t "The last ferry leaves at midnight, and the harbour lights grow small behind us." -o crossing.wav
/// flac --best crossing.wav
/// ```
const SPOKEN: &[u8] = include_bytes!("../../voice/crossing.flac");

/// How the plug-in is set for it besides: a long phrase, that goes round in great steps.
const SPOKEN_SETTINGS: [(&str, &str); 4] = [
    ("growth", "Off"),
    ("shift_by", "4 steps"),
    ("dwell", "2"),
    ("drift", "2"),
];

/// How loud the voice goes along.
const VOICE_LEVEL: &str = "-10 dB";

/// The tempo of a song that tells none, in beats a minute.
const USUAL: f64 = 108.0;

/// Cycles over which one mode turns into the other.
const TURNING_CYCLES: f64 = 8.0;

/// What is played.
pub struct Story {
    pub title: String,
    pub phrase: Phrase,
    /// Beats a minute.
    pub tempo: f64,
    /// The picture of its melody as SVG, if it was spoken.
    pub melody: Option<String>,
    /// Its recording, likewise: it goes along with the phrase.
    pub voice: Option<Utterance>,
    settings: Vec<(String, String)>,
    recast: bool,
    /// The mode changes of a starting point, and its form, if that is written.
    pub modulations: Modulations,
    pub route: Route,
}

impl Story {
    /// The night crossing.
    pub fn crossing() -> Result<Self> {
        let phrase = Phrase::from_text(CROSSING, Grid::Sixteenth.beats())?;
        Ok(Self::of(
            "A twelve-note phrase over sixteen steps, for a night crossing".to_owned(),
            phrase,
            Grid::Sixteenth,
            108.0,
        ))
    }

    /// The same with the phrase in a MIDI file or a score, or in part of it.
    pub fn from_file(path: &Path, choice: &Excerpt) -> Result<Self> {
        let bytes = std::fs::read(path)
            .with_context(|| format!("{} cannot be read: check the path", path.display()))?;
        let says = || path.display().to_string();
        let read = open::read(&bytes, Grid::Sixteenth.beats(), choice).with_context(says)?;
        let phrase = read.phrase;
        let longest = procession_core::capture::MEMORY;
        if phrase.length() > longest {
            bail!(
                "{}: the phrase lasts {} beats, more than the {longest} the plug-in listens back: choose fewer with --bars",
                path.display(),
                phrase.length()
            );
        }
        let grid = grid_of(&phrase);
        let title = path
            .file_stem()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned();
        Ok(Self::of(title, phrase, grid, read.tempo.unwrap_or(USUAL)))
    }

    /// The same with the phrase that the steadiest sentence of a recording becomes, at its own tempo.
    pub fn from_voice(path: &Path) -> Result<Self> {
        let bytes = std::fs::read(path)
            .with_context(|| format!("{} cannot be read: check the path", path.display()))?;
        let title = path
            .file_stem()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned();
        Self::of_voice(title, &bytes).with_context(|| path.display().to_string())
    }

    /// The night crossing, as somebody tells it.
    pub fn spoken() -> Result<Self> {
        let mut story = Self::of_voice("A sentence of the night crossing".to_owned(), SPOKEN)?;
        for (id, value) in SPOKEN_SETTINGS {
            story.set(id, value);
        }
        Ok(story)
    }

    fn of_voice(title: String, bytes: &[u8]) -> Result<Self> {
        let recording = recorded::read(bytes)?;
        let listened = Listened::to(&recording)?;
        for remark in listened.remarks() {
            println!("{remark}");
        }
        let best = &listened.candidates()[listened.steadiest()[0]];
        let step = Grid::Sixteenth.beats();
        let pace = best.pace.as_ref();
        let tempo = pace.map_or(USUAL, |pace| own_tempo(pace, step, USUAL).round());
        let placing = Placing {
            step,
            snap: 1.0,
            steps: None,
            tempo,
            mode: None,
            fit: Fit::ToSong,
        };
        let phrase = placing.place(best)?.phrase;
        let span = best.span();
        let notes = number_of(phrase.notes().len(), "note");
        let melody = Melody {
            title: &title,
            words: &format!(
                "{notes} in {:.1} s of speech, at {tempo} bpm",
                span.end - span.start
            ),
            phrase: &phrase,
            strands: &strands(listened.track(), span.start, &phrase),
            step,
        };
        let melody = Some(melody.to_svg());
        let grid = grid_of(&phrase);
        let mut story = Self {
            melody,
            voice: Utterance::of(&recording, span.start, span.end),
            ..Self::of(title, phrase, grid, tempo)
        };
        story.set("voice_level", VOICE_LEVEL);
        Ok(story)
    }

    /// A starting point, as the window puts it in force.
    pub fn from_start(name: &str) -> Result<Self> {
        let Some(start) = starting_points::named(name) else {
            let lines = ALL
                .iter()
                .map(|start| format!("\n  {}: {}", start.name, start.idea));
            let lines: String = lines.collect();
            bail!("there is no starting point called \"{name}\"; there are{lines}");
        };
        let phrase = start.phrase();
        let owned = |(id, value): (&str, &str)| (id.to_owned(), value.to_owned());
        let mut settings: Vec<_> = start.settings().map(owned).collect();
        settings.extend(played_in(&phrase, start.grid));
        Ok(Self {
            title: format!("{}: {}", start.name, start.idea),
            phrase,
            tempo: start.tempo,
            melody: None,
            voice: None,
            settings,
            recast: false,
            modulations: start.modulations(),
            route: start.route(),
        })
    }

    /// Whether its form is written stage by stage.
    pub fn is_written(&self) -> bool {
        self.route.is_written()
    }

    /// What of it is no parameter, as a project has it; none if there is no such thing.
    pub fn parts(&self) -> Option<String> {
        let mut parts = String::new();
        if !self.modulations.is_empty() {
            let saved: Vec<_> = self.modulations.iter().map(saved_modulation).collect();
            parts.push_str(&format!("\"modulations\":{},", Value::from(saved)));
        }
        if self.is_written() {
            parts.push_str(&format!("\"route\":{},", saved_route(&self.route)));
        }
        (!parts.is_empty()).then_some(parts)
    }

    fn of(title: String, phrase: Phrase, grid: Grid, tempo: f64) -> Self {
        let mut settings: Vec<_> = SETTINGS.map(|(id, value)| (id.into(), value.into())).into();
        settings.push(("grid".to_owned(), grid.wording().name.to_owned()));
        settings.extend(played_in(&phrase, grid));
        let mode = bright_target(&phrase);
        settings.push(("target_tonic".to_owned(), mode.0));
        settings.push(("target_mode".to_owned(), mode.1.name().to_owned()));
        Self {
            title,
            phrase,
            tempo,
            melody: None,
            voice: None,
            settings,
            recast: true,
            modulations: Modulations::default(),
            route: Route::generated(),
        }
    }

    /// The user's own settings, on top.
    pub fn set(&mut self, id: &str, value: &str) {
        if FOLD.contains(&id) {
            // The user's fold stands alone, and whole unless an amount is given.
            if std::mem::take(&mut self.recast) {
                self.settings.retain(|(id, _)| !FOLD.contains(&id.as_str()));
            }
        }
        self.settings.retain(|(other, _)| other != id);
        self.settings.push((id.to_owned(), value.to_owned()));
    }

    /// Dwell, drift and growth such that the piece lasts nearly `minutes`; `settings` are those now
    /// in force. What keeps their proportions is preferred to what comes nearer still.
    pub fn last(&mut self, minutes: f64, settings: Settings) {
        const NEAR: f64 = 0.02;
        let seconds = minutes * 60.0;
        let tempo = self.tempo;
        let clock = |beats: f64| beats * 60.0 / tempo;
        let set = Counts::of(&settings);
        let (mut counts, mut found);
        let mut scale = 1.0;
        // The user may ask for any length: where customary counts do not reach it, counts are
        // scaled as a whole until they do.
        loop {
            counts = scaled(set, scale);
            let now = counts.put_in(&settings);
            found = fit(&self.phrase, &now, &Ranges::around(counts), seconds, clock);
            let longer = clock(found.longest) < seconds;
            let next = scale * if longer { 1.5 } else { 0.75 };
            let done = found.reaches(seconds, clock) || scaled(set, next) == counts;
            if done || !(0.01..=64.0).contains(&next) {
                break;
            }
            scale = next;
        }
        let miss = |proposal: &Proposal| (clock(proposal.lasts) - seconds).abs() / seconds;
        let truest = found.proposals.iter().rfind(|one| miss(one) <= NEAR);
        if let Some(proposal) = truest.or(found.proposals.first()) {
            counts = proposal.counts;
        }
        for (id, count) in [
            ("dwell", counts.dwell),
            ("drift", counts.drift),
            ("growth_every", counts.growth_every),
        ] {
            self.set(id, &count.to_string());
        }
    }

    /// How the plug-in is set before anything is played.
    pub fn settings(&self) -> &[(String, String)] {
        &self.settings
    }

    /// Song position at which the phrase is held: it has been played once; or, if it was spoken, it is
    /// in the project that is opened, and is held from the beginning.
    pub fn hold_at(&self) -> Beats {
        if self.voice.is_some() {
            0.0
        } else {
            self.phrase.length()
        }
    }

    /// How many notes are played into the plug-in.
    pub fn played_in(&self) -> usize {
        if self.voice.is_some() {
            0
        } else {
            self.phrase.notes().len()
        }
    }

    /// From where to where one mode turns into the other: half-way through the form, at the
    /// beginning of a stage.
    pub fn turning(&self, form: &Form, origin: Beats) -> Option<(Beats, Beats)> {
        let middle = origin + form.totals.chosen / 2.0;
        let stage = form.stages.iter().find(|stage| stage.span.end > middle)?;
        let start = stage.span.start;
        self.recast
            .then_some((start, start + TURNING_CYCLES * self.phrase.length()))
    }
}

/// What a phrase takes to be played in and heard, whatever becomes of it.
fn played_in(phrase: &Phrase, grid: Grid) -> [(String, String); 2] {
    let steps = (phrase.length() / grid.beats()).round();
    [
        ("length".to_owned(), format!("{steps}")),
        ("audition".to_owned(), format!("{START_LEVEL_DB} dB")),
    ]
}

/// As projects have it.
fn saved_modulation(modulation: &Modulation) -> Value {
    let (place, at) = match modulation.place {
        Place::Stage(stage) => ("stage", Value::from(stage)),
        Place::Beats(beats) => ("beats", Value::from(beats)),
    };
    json!({
        place: at,
        "tonic": modulation.tonic,
        "mode": modulation.mode.id(),
        "over": modulation.over,
    })
}

/// As projects have it. No starting point goes round and round, or is cued stage by stage.
fn saved_route(route: &Route) -> Value {
    let stages = route.stages().iter().map(|stage| {
        let mut saved = json!({
            "way": stage.way.motion.wording().id,
            "over": stage.way.over,
            "ahead": stage.ahead,
        });
        if let Dwell::Cycles(cycles) = stage.dwell {
            saved["dwell"] = Value::from(cycles);
        }
        saved
    });
    let afterwards = match route.afterwards() {
        Afterwards::Silence => "silence",
        Afterwards::Hold | Afterwards::Repeat { .. } => "hold",
    };
    json!({ "stages": stages.collect::<Vec<_>>(), "afterwards": afterwards })
}

/// All counts times as many, as far as they go.
fn scaled(set: Counts, by: f64) -> Counts {
    let times = |count: u32, most: u32| {
        let many = (f64::from(count) * by).round();
        (many as u32).clamp(1, most)
    };
    Counts {
        dwell: times(set.dwell, 64),
        drift: times(set.drift, 64),
        growth_every: set.growth_every,
    }
}

/// A bright mode on the phrase's own tonic: Lydian, or Ionian if it is Lydian already.
fn bright_target(phrase: &Phrase) -> (String, ModeName) {
    let source = detect_source(phrase);
    let lydian = Mode::named(source.tonic(), ModeName::Lydian, PitchSet::CHROMATIC);
    let mode = if source == lydian {
        ModeName::Ionian
    } else {
        ModeName::Lydian
    };
    const TONICS: [&str; 12] = [
        "C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B",
    ];
    (TONICS[usize::from(source.tonic() % 12)].to_owned(), mode)
}

/// The coarsest grid that all onsets lie on; sixteenths if none does.
fn grid_of(phrase: &Phrase) -> Grid {
    let fits = |grid: &Grid| {
        let step = to_ticks(grid.beats());
        let on_grid = |beats| to_ticks(beats) % step == 0;
        on_grid(phrase.length()) && phrase.notes().iter().all(|note| on_grid(note.onset))
    };
    Grid::ALL
        .into_iter()
        .filter(|grid| grid.beats() <= 0.5)
        .find(fits)
        .unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;
    use procession_core::process::Process;

    #[test]
    fn the_crossing_is_in_a_dark_mode_and_turns_to_a_bright_one() {
        let story = Story::crossing().expect("the story can be told");
        assert_eq!(detect_source(&story.phrase).name(), "D Dorian");
        let has = |id: &str, value: &str| {
            story
                .settings()
                .iter()
                .any(|setting| setting.0 == id && setting.1 == value)
        };
        assert!(has("target_tonic", "D") && has("target_mode", "Lydian"));
    }

    #[test]
    fn the_sentence_of_the_crossing_is_a_melody_with_its_voice() {
        let story = Story::spoken().expect("it is understood");
        // "The last ferry leaves at midnight, and the harbour lights grow small behind us." has 17
        // syllables; those that are hardly voiced are not all heard, and a glide is two notes.
        let notes = story.phrase.notes();
        assert!((12..=24).contains(&notes.len()), "{}", notes.len());
        assert!(notes.iter().all(|note| note.said.is_some()));
        let seconds = story.voice.expect("it goes along").seconds();
        assert!((3.0..6.0).contains(&seconds), "{seconds}");
    }

    #[test]
    fn whoever_sets_the_fold_does_without_the_recasting() {
        let mut story = Story::crossing().expect("the story can be told");
        let process = Process::new(story.phrase.clone(), Settings::default(), 4.0);
        let form = Form::new(&process);
        assert!(story.turning(&form, 4.0).is_some());
        story.set("fold", "Nearest");
        assert_eq!(story.turning(&form, 4.0), None);
        assert!(!story.settings().iter().any(|(id, _)| id == "fold_amount"));
    }

    #[test]
    fn asked_to_last_six_minutes_or_half_an_hour_it_does() {
        for minutes in [3.0, 6.0, 30.0] {
            let lasts = lasts_if_asked_for(minutes);
            // Of the shortest, a dwell more or less is a tenth already.
            assert!((lasts - minutes).abs() <= 0.03 * minutes, "{lasts}");
        }
    }

    fn lasts_if_asked_for(minutes: f64) -> f64 {
        let mut story = Story::crossing().expect("the story can be told");
        story.last(minutes, Settings::default());
        let number = |id: &str| {
            let found = story.settings().iter().find(|(other, _)| other == id);
            let value = found.map(|(_, value)| value.parse());
            value.expect("it was set").expect("a number")
        };
        let mut settings = Settings::default();
        settings.motion.dwell = number("dwell");
        settings.motion.drift = number("drift");
        let process = Process::new(story.phrase.clone(), settings, 0.0);
        Form::new(&process).totals.chosen / story.tempo
    }

    #[test]
    fn a_starting_point_is_told_as_it_is_written_and_another_name_lists_them() -> Result<()> {
        let story = Story::from_start("sky before landfall")?;
        let has = |id: &str, value: &str| {
            let mut settings = story.settings().iter();
            settings.any(|setting| setting.0 == id && setting.1 == value)
        };
        assert!(has("motion", "Jump") && has("grid", "1/16") && has("length", "16"));
        assert_eq!(
            story.parts().context("it has mode changes")?,
            r#""modulations":[{"mode":"lydian","over":10,"stage":2,"tonic":4}],"#
        );
        assert_eq!(Story::from_start("Wake")?.parts(), None);
        let fog = Story::from_start("fog-on-the-car-deck")?.parts();
        let fog = fog.context("its form is written")?;
        assert!(fog.contains(r#""afterwards":"silence""#), "{fog}");
        assert!(
            fog.contains(r#""dwell":10,"over":8,"way":"drift""#),
            "{fog}"
        );
        let refusal = Story::from_start("Iceberg")
            .err()
            .context("there is none")?;
        let refusal = refusal.to_string();
        assert!(refusal.contains("Wake: a round by drift"), "{refusal}");
        Ok(())
    }

    #[test]
    fn the_grid_is_the_coarsest_that_holds_every_note() {
        let on = |step| Phrase::from_text("C4 D4 E4 . . .", step).expect("these words are notes");
        assert_eq!(grid_of(&on(0.5)), Grid::Eighth);
        assert_eq!(grid_of(&on(1.0 / 3.0)), Grid::EighthTriplet);
        assert_eq!(grid_of(&on(0.125)), Grid::ThirtySecond);
    }
}
