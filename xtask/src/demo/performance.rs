//! The plug-in, loaded as a host loads it, and what it answers to the story.

use super::sound::{Recorded, Recorder};
use super::story::Story;
use super::window::{self, Moment};
use anyhow::{Context, Result, bail};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use procession_core::exchange::flac::to_flac;
use procession_core::exchange::put::Existing;
use procession_core::form::{Form, Stage, StageKind};
use procession_core::mallet::Mallets;
use procession_core::note::{Key, Velocity};
use procession_core::part::Part;
use procession_core::phrase::Phrase;
use procession_core::player::channel_of;
use procession_core::process::{Process, VoiceNote};
use procession_core::settings::{OutputSettings, Settings};
use procession_core::time::Beats;
use procession_tests::heard::{HeardNote, Recording};
use procession_tests::host::{Library, Plugin, Processing, Setup};
use procession_tests::session::Session;
use procession_tests::staging::project_with;
use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};

/// What was played, and what it was made from.
pub struct Performance {
    pub process: Process,
    pub form: Form,
    /// In order of onset.
    pub notes: Vec<VoiceNote>,
    /// The pan each channel was given last, if any.
    pub pans: Vec<Option<u8>>,
    /// From where to where one mode turned into the other.
    pub turning: Option<(Beats, Beats)>,
    /// Pictures of the window that were left on the way.
    pub windows: Vec<PathBuf>,
    /// The file of what came out of the plug-in's audio output, or why there is none.
    pub sound: Result<Recorded>,
}

/// Plays the story through the plug-in at `bundle`, faster than real time, and leaves pictures of
/// its window in `folder` where there is a screen.
pub fn perform(
    bundle: &Path,
    story: &mut Story,
    minutes: Option<f64>,
    (folder, existing): (&Path, Existing),
) -> Result<Performance> {
    let library = Library::open(bundle)?;
    let mut plugin = library.first_plugin()?;
    if let Some(voice) = &story.voice {
        let parts = format!(r#""voice":"{}","#, STANDARD.encode(to_flac(voice)?));
        plugin.load(&project_with(&story.phrase, story.hold_at(), true, &parts))?;
    } else if let Some(parts) = story.parts() {
        let nothing = Phrase::empty(story.phrase.length())?;
        plugin.load(&project_with(&nothing, 0.0, false, &parts))?;
    }
    let mut plugin = plugin.activate(Setup::default())?.start()?;
    set(&mut plugin, story)?;
    if let Some(minutes) = minutes {
        story.last(minutes, super::settings::read(&mut plugin)?);
        set(&mut plugin, story)?;
    }
    let settings = Settings {
        modulations: story.modulations,
        ..super::settings::read(&mut plugin)?
    };
    let origin = story.hold_at();
    let mut process = Process::new(story.phrase.clone(), settings, origin);
    process.set_route(&story.route);
    let form = Form::new(&process);
    let turning = story.turning(&form, origin);
    let mut session = Session::new(plugin).tempo(story.tempo).keeping_sound();
    let mut recorder = recorder(folder, existing, origin * 60.0 / story.tempo);
    play_in(&mut session, story, turning)?;
    if process.voices().are_cued() {
        cue(&mut session, &form, story.phrase.length())?;
    }
    let mut windows = Vec::new();
    let moments = if window::is_possible() {
        window::moments(&form, story.phrase.notes().len(), turning)
    } else {
        Vec::new()
    };
    run(
        &mut session,
        form.end() + 4.0,
        moments,
        &mut recorder,
        |session, moment| {
            // The music does not depend on it.
            match window::picture(session, &folder.join(moment.name), existing) {
                Ok(path) => windows.push(path),
                Err(error) => eprintln!("no picture of the window here: {error:#}"),
            }
            Ok(())
        },
    )?;
    // Off the plug-in goes silent, so every note has its end.
    let hold_off = session.plugin().setting("hold", "Off")?;
    session.event_in(0, hold_off);
    session.run_seconds(TAIL)?;
    recorder.hear(session.take_sound());
    let recording = session.recording();
    let notes = notes(&recording, form.end(), story)?;
    let pans = (1..=16).map(|channel| recording.controller(channel, 10).last().map(|pan| pan.1));
    let process = in_force_at_end(process, settings, turning);
    Ok(Performance {
        process,
        form,
        notes,
        pans: pans.collect(),
        turning,
        windows,
        sound: recorder.end(),
    })
}

/// Seconds for the last bars to ring.
const TAIL: f64 = 1.0;

/// Records from `begins` seconds on, as far as the plug-in is late to sound: with the music.
fn recorder(folder: &Path, existing: Existing, begins: f64) -> Recorder {
    let rate = Setup::default().sample_rate;
    let late = Mallets::new(rate).latency();
    let before = (begins * rate).round() as usize + late;
    Recorder::new(folder, existing, rate as u32, before)
}

/// Through the host, in the words a user would type.
fn set(plugin: &mut Plugin<Processing>, story: &Story) -> Result<()> {
    for (id, value) in story.settings() {
        plugin.set(id, value)?;
    }
    Ok(())
}

/// The phrase as live notes, and hold at its end, unless it is in the project; and the recasting as a
/// lane of automation.
fn play_in(session: &mut Session, story: &Story, turning: Option<(f64, f64)>) -> Result<()> {
    for note in story.phrase.notes().iter().take(story.played_in()) {
        let length = note.length.min(story.hold_at() - note.onset);
        session.note(
            note.onset,
            length,
            u16::from(note.key.number()),
            f64::from(note.velocity.value()),
        );
    }
    if story.voice.is_none() {
        session.automate(story.hold_at(), "hold", "On")?;
    }
    if let Some((start, end)) = turning {
        let whole = session.plugin().value_of("fold_amount", "100 %")?;
        session.ramp("fold_amount", (start, 0.0), (end, whole), 64)?;
    }
    Ok(())
}

/// A form that waits for cues is given them where it is counted to go on: in the middle of the
/// cycle before.
fn cue(session: &mut Session, form: &Form, cycle: Beats) -> Result<()> {
    let followed = form.stages.iter().zip(form.stages.iter().skip(1));
    let waits = |stage: &Stage| matches!(stage.kind, StageKind::Unison | StageKind::Dwell);
    for (stage, _) in followed.filter(|(stage, _)| waits(stage)) {
        let at = stage.span.end - cycle / 2.0;
        session.automate(at, "cue", "On")?;
        session.automate(at + cycle / 4.0, "cue", "Off")?;
    }
    Ok(())
}

/// Beats by which the song goes on at least: more than a frame.
const A_LITTLE: Beats = 0.01;

/// Rolls on, with a stop at each moment.
fn run(
    session: &mut Session,
    until: Beats,
    moments: Vec<Moment>,
    recorder: &mut Recorder,
    mut stop: impl FnMut(&mut Session, &Moment) -> Result<()>,
) -> Result<()> {
    let progress = Progress::new();
    let mut moments = moments.into_iter().peekable();
    while session.position() < until {
        // No further than to where the next picture is taken, and yet on.
        let next = moments.peek().map_or(until, |moment| moment.at);
        let ahead = (next - session.position()).max(A_LITTLE);
        session.run(ahead.min(until / 50.0))?;
        recorder.hear(session.take_sound());
        progress.show((session.position() / until).min(1.0));
        if let Some(moment) = moments.next_if(|moment| moment.at <= session.position()) {
            stop(session, &moment)?;
        }
    }
    progress.end();
    Ok(())
}

/// What the process would be at the end: as set, but for what automation changed.
fn in_force_at_end(
    mut process: Process,
    mut settings: Settings,
    turning: Option<(f64, f64)>,
) -> Process {
    if turning.is_some() {
        settings.fold.amount = 1.0;
        process.set_settings(settings, f64::INFINITY);
    }
    process
}

/// The notes of the form: those of the voices, not what was played in.
fn notes(recording: &Recording, end: Beats, story: &Story) -> Result<Vec<VoiceNote>> {
    let heard = recording.notes();
    let hanging = heard.iter().filter(|note| note.end.is_none()).count();
    if hanging > 0 {
        bail!("{hanging} notes never ended: this is a defect of the plug-in, please report it");
    }
    let inside = |note: &&HeardNote| note.start.beats < end - 1e-6;
    let mut notes = heard
        .iter()
        .skip(story.played_in())
        .filter(inside)
        .map(voice_note)
        .collect::<Option<Vec<_>>>()
        .context("the plug-in sent a note without a channel or a key")?;
    notes.sort_by(|a, b| a.on.total_cmp(&b.on).then(a.part.cmp(&b.part)));
    Ok(notes)
}

fn voice_note(note: &HeardNote) -> Option<VoiceNote> {
    Some(VoiceNote {
        part: part_on(note.channel)?,
        on: note.start.beats,
        off: note.end?.beats,
        key: u8::try_from(note.key).ok().and_then(Key::new)?,
        velocity: Velocity::new(note.velocity as f32),
        index: 0,
    })
}

/// The part that plays on a channel, counted from 1 as musicians do.
fn part_on(channel: u16) -> Option<Part> {
    let output = OutputSettings::default();
    let plays = |part: &Part| u16::from(channel_of(*part, &output).number()) + 1 == channel;
    Part::ALL.into_iter().find(plays)
}

/// How far the rendering has come, where somebody watches.
struct Progress {
    watched: bool,
}

impl Progress {
    fn new() -> Self {
        Self {
            watched: std::io::stderr().is_terminal(),
        }
    }

    fn show(&self, share: f64) {
        if self.watched {
            let done = (share * 40.0) as usize;
            let bar: String = (0..40)
                .map(|place| if place < done { '=' } else { ' ' })
                .collect();
            eprint!("\rplaying  [{bar}] {:3.0} %", share * 100.0);
            let _ = std::io::stderr().flush();
        }
    }

    fn end(&self) {
        if self.watched {
            eprintln!();
        }
    }
}
