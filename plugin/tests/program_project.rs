//! Projects of the program: saved and opened again they are what a host would have kept, and
//! nothing is lost on the way.
#![allow(clippy::unwrap_used)]

mod quay;

use procession::editor::model::project::{Project, Question, World};
use procession::params::Parameters;
use procession::program::project::{self, essence, state_of, written};
use procession::program::song::{SongControl, song};
use procession::program::{rescue, start::Start};
use procession::state::{KEPT, Kept, Taken};
use procession_core::engine::Anchor;
use procession_core::phrase::Phrase;
use quay::Quay;
use serde_json::{Value, json};
use std::fs;
use std::path::Path;
use std::sync::Arc;

/// A program without a window.
struct Desk {
    parameters: Arc<Parameters>,
    song: SongControl,
    project: Project,
}

impl Desk {
    fn new() -> Self {
        let (parameters, _) = Parameters::of_program();
        let (song, _) = song(120.0);
        let world = World {
            parameters: &parameters,
            song: &song,
        };
        let project = Project::new(world);
        Self {
            parameters,
            song,
            project,
        }
    }

    /// With a phrase, other settings and another tempo.
    fn changed() -> Self {
        let desk = Self::new();
        desk.change("D4 F4 . A4 C5", 33.3, 97.25);
        desk
    }

    fn change(&self, text: &str, snap: f32, tempo: f64) {
        let phrase = Phrase::from_text(text, 0.25).unwrap();
        self.parameters.kept.edit(|kept| {
            kept.taken = Taken {
                phrase,
                anchor: Anchor::Song(17.25),
            };
            kept.seed = 20411;
        });
        let (_, parameter) = self.parameters.of_id("snap").unwrap();
        parameter.restore(&nice_plug::plugin::ParamValue::F32(snap));
        self.song.set_tempo(tempo);
    }

    fn with<R>(&mut self, act: impl FnOnce(&mut Project, World<'_>) -> R) -> R {
        let world = World {
            parameters: &self.parameters,
            song: &self.song,
        };
        act(&mut self.project, world)
    }

    fn save_as(&mut self, path: &Path) -> bool {
        self.project.typed = path.display().to_string();
        self.with(|project, world| project.save(world))
    }

    fn open(&mut self, path: &Path) {
        self.project.typed = path.display().to_string();
        self.with(|project, world| project.open(world));
    }

    fn has_changed(&mut self) -> bool {
        self.with(|project, world| project.look(world))
    }

    fn written(&self) -> String {
        String::from_utf8(written(&self.parameters, &self.song)).unwrap()
    }

    fn said(&self) -> &str {
        self.project.said.as_ref().map_or("", |(_, said)| said)
    }
}

#[test]
fn saved_and_opened_again_it_is_the_same_to_the_last_byte() {
    let quay = Quay::new();
    let path = quay.folder().join("night.procession");
    let mut first = Desk::changed();
    assert!(first.save_as(&path), "{}", first.said());
    assert_eq!(fs::read_to_string(&path).unwrap(), first.written());
    assert_eq!(quay.names(), ["night.procession"], "and nothing beside it");

    let mut second = Desk::new();
    second.open(&path);
    assert_eq!(second.written(), first.written());
    assert_eq!(second.song.tempo(), 97.25);
    assert_eq!(
        second.parameters.kept.current(),
        first.parameters.kept.current()
    );
    assert_eq!(second.parameters.kept.notice(), None);
    assert!(!second.has_changed());
    assert_eq!(second.project.name().as_deref(), Some("night"));
}

#[test]
fn the_audio_thread_hears_of_an_opened_project_as_of_a_load() {
    let quay = Quay::new();
    let path = quay.put("night.procession", Desk::changed().written());
    let (parameters, mut audio) = Parameters::of_program();
    project::open(&path).unwrap().take_place(&parameters);
    let (cause, taken) = audio.poll_incoming().unwrap();
    assert_eq!(cause, procession::handover::Cause::Loaded);
    assert_eq!(taken.anchor, Anchor::Song(17.25));
    assert_eq!(taken.phrase.notes().len(), 4);
}

#[test]
fn a_file_without_an_ending_gets_ours_and_a_second_save_asks_nothing() {
    let quay = Quay::new();
    let mut desk = Desk::changed();
    assert!(desk.save_as(&quay.folder().join("night")));
    assert_eq!(quay.names(), ["night.procession"]);
    desk.change("D4 E4", 50.0, 97.25);
    assert!(desk.has_changed());
    assert!(
        desk.with(|project, world| project.save(world)),
        "{}",
        desk.said()
    );
    assert!(!desk.has_changed());
    assert_eq!(
        fs::read_to_string(quay.folder().join("night.procession")).unwrap(),
        desk.written()
    );
}

#[test]
fn a_file_of_somebody_elses_is_replaced_only_after_asking() {
    let quay = Quay::new();
    let path = quay.put("night.procession", "somebody's");
    let mut desk = Desk::changed();
    assert!(!desk.save_as(&path));
    assert!(matches!(&desk.project.question, Some(Question::Replace(asked)) if *asked == path));
    assert_eq!(fs::read(&path).unwrap(), b"somebody's");
    desk.project.decline();
    assert_eq!(fs::read(&path).unwrap(), b"somebody's");
    assert!(desk.has_changed());

    desk.save_as(&path);
    assert!(desk.with(|project, world| project.agree(world)));
    assert_eq!(fs::read_to_string(&path).unwrap(), desk.written());

    // One's own, if somebody has written there since.
    fs::write(&path, "somebody's again").unwrap();
    assert!(!desk.save_as(&path));
    assert!(desk.project.question.is_some());
    assert_eq!(fs::read(&path).unwrap(), b"somebody's again");
}

#[test]
fn what_is_no_project_is_refused_in_words_and_nothing_changes() {
    let quay = Quay::new();
    let whole: Value = serde_json::from_str(&Desk::changed().written()).unwrap();
    let with_kept = |change: &dyn Fn(&mut Value)| {
        let mut state = whole.clone();
        let mut kept: Value =
            serde_json::from_str(state["fields"][KEPT].as_str().unwrap()).unwrap();
        change(&mut kept);
        state["fields"][KEPT] = json!(kept.to_string());
        state.to_string()
    };
    let text = whole.to_string();
    let cases: Vec<(&str, String, &str)> = vec![
        ("empty", String::new(), "not a project of Procession"),
        ("cut", text[..text.len() / 2].to_owned(), "or it is damaged"),
        (
            "foreign",
            json!({"params": {}, "fields": {}}).to_string(),
            "not a project",
        ),
        ("list", "[1, 2, 3]".to_owned(), "not a project"),
        ("deep", "[".repeat(100_000), "not a project"),
        (
            "newer",
            with_kept(&|kept| kept["version"] = json!(99)),
            "newer Procession",
        ),
        (
            "phrase",
            with_kept(&|kept| kept["phrase"]["notes"][0]["key"] = json!(999)),
            "phrase",
        ),
        (
            "origin",
            with_kept(&|kept| kept["anchor"] = json!({"song": 1e300})),
            "origin",
        ),
        (
            "tempo",
            {
                let mut state = whole.clone();
                state["fields"]["song"] = json!("soon");
                state.to_string()
            },
            "or it is damaged",
        ),
    ];
    for (name, content, why) in cases {
        let path = quay.put(name, content);
        let mut desk = Desk::new();
        desk.change("E4 G4", 40.0, 66.0);
        let before = desk.written();
        desk.open(&path);
        let said = desk.said();
        assert!(
            said.starts_with(&format!("{} cannot be opened", path.display())),
            "{said}"
        );
        assert!(
            said.contains(why) && said.ends_with("Nothing was changed."),
            "{said}"
        );
        assert_eq!(desk.written(), before, "{name}");
    }
}

#[test]
fn what_is_no_file_is_said_with_what_to_do() {
    let quay = Quay::new();
    let mut desk = Desk::new();
    for (typed, why) in [
        ("", "Type the path of a project file"),
        ("night.procession", "does not say where it begins"),
        (
            "/nowhere/night.procession",
            "There is no file /nowhere/night.procession.",
        ),
        (&*quay.folder().display().to_string(), "is a folder"),
    ] {
        typed.clone_into(&mut desk.project.typed);
        desk.with(|project, world| project.open(world));
        assert!(desk.said().contains(why), "{typed}: {}", desk.said());
    }
    // What never ends is not read.
    #[cfg(target_os = "linux")]
    {
        desk.open(Path::new("/dev/zero"));
        assert!(desk.said().contains("not a project"), "{}", desk.said());
    }
    desk.project.typed = "/nowhere/night".to_owned();
    assert!(!desk.with(|project, world| project.save(world)));
    assert!(desk.said().contains("/nowhere"), "{}", desk.said());
}

#[test]
fn opening_asks_before_unsaved_work_would_be_gone() {
    let quay = Quay::new();
    let path = quay.put("night.procession", Desk::changed().written());
    let mut desk = Desk::new();
    desk.change("E4 G4", 40.0, 66.0);
    let before = desk.written();
    desk.open(&path);
    assert!(matches!(desk.project.question, Some(Question::Discard(_))));
    assert_eq!(desk.written(), before, "nothing yet");
    desk.project.decline();
    assert_eq!(desk.written(), before, "nor after declining");
    desk.open(&path);
    desk.with(|project, world| project.agree(world));
    assert_eq!(desk.written(), Desk::changed().written());
}

#[test]
fn playing_is_no_change_and_writing_turning_and_another_tempo_are() {
    let mut desk = Desk::new();
    assert!(!desk.has_changed());
    let switch = |desk: &Desk, id: &str| {
        let (_, parameter) = desk.parameters.of_id(id).unwrap();
        parameter.restore(&nice_plug::plugin::ParamValue::Bool(true));
    };
    switch(&desk, "hold");
    desk.parameters.kept.edit(|kept| {
        kept.taken.anchor = Anchor::Song(4.0);
        kept.window.width = 1111;
    });
    desk.song.roll(true);
    assert!(!desk.has_changed());
    desk.song.set_tempo(60.0);
    assert!(desk.has_changed());
    desk.song.set_tempo(120.0);
    assert!(!desk.has_changed());
    switch(&desk, "thru");
    assert!(desk.has_changed());
}

#[test]
fn what_could_not_be_asked_about_is_kept_and_offered() {
    let quay = Quay::new();
    assert_eq!(rescue::kept(quay.folder()), None);
    let bytes = Desk::changed().written();
    let first = rescue::keep(&quay.folder().join("state"), bytes.as_bytes()).unwrap();
    assert_eq!(fs::read_to_string(&first).unwrap(), bytes);
    let second = rescue::keep(&quay.folder().join("state"), bytes.as_bytes()).unwrap();
    assert_ne!(first, second, "none takes the place of another");
    assert_eq!(
        rescue::kept(&quay.folder().join("state")),
        Some(second.clone())
    );

    let mut desk = Desk::new();
    desk.project.offer(Some(second.clone()));
    assert!(desk.said().contains(&second.display().to_string()));
    // Saving something else leaves it.
    assert!(desk.save_as(&quay.folder().join("other.procession")));
    assert!(second.is_file());

    let mut desk = Desk::new();
    desk.project.offer(Some(second.clone()));
    desk.with(|project, world| project.open_offered(world));
    assert_eq!(desk.written(), bytes);
    assert!(desk.has_changed(), "it is in no file of its own");
    assert!(second.is_file(), "it stays until it is safe");
    assert!(desk.save_as(&quay.folder().join("night.procession")));
    assert!(!second.is_file());
    assert!(first.is_file());
}

#[test]
fn the_program_may_be_started_with_a_project() {
    let quay = Quay::new();
    let path = quay.put("night.procession", Desk::changed().written());
    let words = |more: &[&str]| {
        let path = path.display().to_string();
        let own = ["procession", "--project", &path].map(str::to_owned);
        own.into_iter()
            .chain(more.iter().map(|word| (*word).to_owned()))
            .collect::<Vec<_>>()
    };
    let start = Start::read(words(&[])).unwrap();
    assert_eq!(start.tempo_at_first(), 97.25);
    // What is typed counts more.
    let start = Start::read(words(&["--tempo", "60"])).unwrap();
    assert_eq!(start.tempo_at_first(), 60.0);
    assert!(
        start
            .tries()
            .iter()
            .all(|(_, words)| !words.contains(&"--project".to_owned()))
    );
}

#[test]
fn a_state_from_a_host_opens_and_leaves_the_tempo() {
    let quay = Quay::new();
    let from_host = serde_json::to_string(&state_of(&Desk::changed().parameters)).unwrap();
    let path = quay.put("night.procession", &from_host);
    let mut desk = Desk::new();
    desk.song.set_tempo(66.0);
    desk.with(|project, world| *project = Project::new(world));
    desk.open(&path);
    assert_eq!(desk.song.tempo(), 66.0);
    assert_eq!(
        serde_json::to_string(&state_of(&desk.parameters)).unwrap(),
        from_host
    );
}

#[test]
fn what_there_is_to_lose_does_not_depend_on_the_window() {
    let desk = Desk::new();
    let before = essence(&desk.parameters, &desk.song);
    let mut dark = Kept::default().window;
    dark.dark = true;
    desk.parameters.kept.edit(|kept| kept.window = dark);
    assert_eq!(essence(&desk.parameters, &desk.song), before);
}
