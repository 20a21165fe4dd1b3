//! Setting the stage: a plug-in that holds a phrase, or hears one played, and blocks by hand where
//! a session would be too well behaved.

use crate::heard::{Heard, Recording};
use crate::host::{Block, Error, Loaded, Plugin, Processing, Setup, Timed};
use crate::session::{Session, scatter};
use procession_core::phrase::Phrase;
use std::fmt::Write;

/// The part of a written note's length by which a hand lets go early, in beats: fingers lift
/// before the next key goes down.
pub const LIFT: f64 = 0.02;

/// What words stand for, one a sixteenth; see [`Phrase::from_text`].
///
/// # Panics
/// If a word is none.
#[track_caller]
pub fn sixteenths(text: &str) -> Phrase {
    match Phrase::from_text(text, 0.25) {
        Ok(phrase) => phrase,
        Err(message) => panic!("this phrase cannot be read: {message}\n{text}"),
    }
}

/// A project in which `phrase` is kept and begins at song position `origin`, as a host would have
/// it: eight bytes of length, then text. It says nothing about parameters, which then stand at
/// their defaults, except that `hold` is on if `held`.
pub fn project(phrase: &Phrase, origin: f64, held: bool) -> Vec<u8> {
    modulating_project(phrase, origin, held, "")
}

/// The same with a modulation plan, as JSON: a list of {"stage" or "beats", "tonic", "mode",
/// "over"}. An empty text says nothing about it, as projects from before there were plans.
pub fn modulating_project(phrase: &Phrase, origin: f64, held: bool, plan: &str) -> Vec<u8> {
    let plan = match plan {
        "" => String::new(),
        plan => format!(r#""modulations":{plan},"#),
    };
    project_with(phrase, origin, held, &plan)
}

/// The same with further parts, as JSON: each a name, a colon, a value and a comma.
pub fn project_with(phrase: &Phrase, origin: f64, held: bool, parts: &str) -> Vec<u8> {
    let mut notes = String::new();
    for note in phrase.notes() {
        let comma = if notes.is_empty() { "" } else { "," };
        let (key, velocity) = (note.key.number(), note.velocity.value());
        let (onset, length) = (note.onset, note.length);
        let _ = write!(
            notes,
            r#"{comma}{{"onset":{onset:?},"length":{length:?},"key":{key},"velocity":{velocity:?}"#
        );
        if let Some(said) = note.said {
            let (start, vowel, end, cents) = (said.start, said.vowel, said.end, said.cents);
            let _ = write!(notes, r#","said":[{start:?},{vowel:?},{end:?},{cents:?}]"#);
        }
        notes.push('}');
    }
    let kept = format!(
        r#"{{"version":1,{parts}"phrase":{{"length":{:?},"notes":[{notes}]}},"anchor":{{"song":{origin:?}}},"seed":1,"custom":[0,2,4,5,7,9,11],"window":{{"width":960,"height":640,"zoom":1.0}}}}"#,
        phrase.length()
    );
    let kept = kept.replace('"', "\\\"");
    framed(&format!(
        r#"{{"version":"0.1.0","params":{{"hold":{{"bool":{held}}}}},"fields":{{"kept":"{kept}"}}}}"#
    ))
}

/// A state as the framework hands it to a host: the length in eight bytes, then the text.
pub fn framed(state: &str) -> Vec<u8> {
    let mut bytes = (state.len() as u64).to_le_bytes().to_vec();
    bytes.extend_from_slice(state.as_bytes());
    bytes
}

/// A session in which `phrase` is held from the start of the song, as in an opened project, with
/// these parameters.
///
/// # Errors
/// A parameter or value that is none.
pub fn held(
    mut plugin: Plugin<Loaded>,
    phrase: &Phrase,
    settings: &[(&str, &str)],
) -> Result<Session, Error> {
    plugin.load(&project(phrase, 0.0, true))?;
    listening(plugin, settings)
}

/// A session with these parameters in which nothing has been played yet.
///
/// # Errors
/// A parameter or value that is none.
pub fn listening(mut plugin: Plugin<Loaded>, settings: &[(&str, &str)]) -> Result<Session, Error> {
    for (name, text) in settings {
        plugin.set(name, text)?;
    }
    Ok(Session::new(plugin.activate(Setup::default())?.start()?))
}

/// The phrase is played live on the first channel from song position `at` on, with fingers that
/// lift a little early.
pub fn play_live(session: &mut Session, at: f64, phrase: &Phrase) {
    for note in phrase.notes() {
        let velocity = f64::from(note.velocity.value());
        let key = u16::from(note.key.number());
        session.note(at + note.onset, note.length - LIFT, key, velocity);
    }
}

/// Blocks fed by hand, for hosts that are not well behaved: no clock, no order, no sense.
pub struct ByHand {
    /// The plug-in, between two blocks.
    pub plugin: Plugin<Processing>,
    heard: Vec<Heard>,
    frames: u64,
}

impl ByHand {
    /// Over this plug-in.
    pub fn new(plugin: Plugin<Processing>) -> Self {
        Self {
            plugin,
            heard: Vec::new(),
            frames: 0,
        }
    }

    /// One block, and what the plug-in answers. A recording of it tells frames, but no beats.
    ///
    /// # Errors
    /// What [`Plugin::process`] says.
    pub fn block(&mut self, block: &Block) -> Result<Vec<Timed>, Error> {
        let events = self.plugin.process(block)?.to_vec();
        self.heard.extend(events.iter().map(|timed| Heard {
            frame: self.frames + u64::from(timed.frame),
            beats: 0.0,
            passed: 0.0,
            event: timed.event,
        }));
        self.frames += u64::from(block.frames());
        Ok(events)
    }

    /// Puts another plug-in, or the same after a break, into the place of the present one.
    ///
    /// # Errors
    /// Whatever `change` says.
    pub fn with_plugin(
        self,
        change: impl FnOnce(Plugin<Processing>) -> Result<Plugin<Processing>, Error>,
    ) -> Result<Self, Error> {
        Ok(Self {
            plugin: change(self.plugin)?,
            ..self
        })
    }

    /// Everything so far.
    pub fn recording(&self) -> Recording {
        Recording::new(self.heard.clone())
    }
}

/// Chance that falls the same way each time: a failing test tells its seed.
pub struct Dice {
    seed: u64,
    thrown: u64,
}

impl Dice {
    /// The same seed, the same throws.
    pub fn new(seed: u64) -> Self {
        Self {
            seed: scatter(seed),
            thrown: 0,
        }
    }

    /// 0 up to `sides`, which it never is; 0 if there are none.
    pub fn below(&mut self, sides: u64) -> u64 {
        self.thrown += 1;
        scatter(self.seed.wrapping_add(self.thrown)) % sides.max(1)
    }

    /// 0 ..= 1.
    pub fn part(&mut self) -> f64 {
        self.below(1 << 20) as f64 / f64::from((1 << 20) - 1)
    }

    /// One of these.
    ///
    /// # Panics
    /// If there is none.
    pub fn one_of<T: Copy>(&mut self, all: &[T]) -> T {
        all[self.below(all.len() as u64) as usize]
    }
}
