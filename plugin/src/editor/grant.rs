//! Granting wishes: the one place where the window changes anything.

mod sketches;

use crate::bell::Bell;
use crate::declaration::{Declaration, Kind, Shown};
use crate::editor::compare::Comparing;
use crate::editor::listen::Listening;
use crate::editor::model::files::subject;
use crate::editor::model::flag::SongBars;
use crate::editor::model::history::{Gone, History, Name, Turned};
use crate::editor::model::parameters::written;
use crate::editor::model::plan::beats_per_bar;
use crate::editor::model::route;
use crate::editor::rehearsing::Rehearsing;
use crate::editor::seen::Seen;
use crate::editor::wish::{ListenWish, PracticeWish, RouteWish, Sentence, SongWish, Wish};
use crate::files::{Report, Writer};
use crate::params::Parameters;
use crate::practice::{Desk, MOST_LATENCY_MS};
use crate::program::song::SongControl;
use crate::state::{Kept, now};
use nice_plug::prelude::ParamSetter;
use procession_core::snippet::{Snippet, Subject};
use procession_core::words::number_of;
use std::sync::Arc;

/// What the host is told of a hand on a parameter, by the parameter's id.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Gesture {
    /// A hand is laid on it.
    Begin(&'static str),
    /// The hand gives it this normalized value.
    Set(&'static str, f32),
    /// The hand is off.
    End(&'static str),
}

impl Gesture {
    /// Tells the host. On the thread that the plug-in format wants.
    pub fn make(self, parameters: &Parameters, host: &ParamSetter<'_>) {
        let parameter = |id| parameters.of_id(id).map(|(_, parameter)| parameter);
        match self {
            Self::Begin(id) => parameter(id).map(|parameter| parameter.begin(host)),
            Self::Set(id, value) => parameter(id).map(|parameter| parameter.set(host, value)),
            Self::End(id) => parameter(id).map(|parameter| parameter.end(host)),
        };
    }
}

/// Whoever makes gestures: the host's end of the window.
pub type Host<'a> = &'a dyn Fn(Gesture);

/// What wishes change: the instance that the window shows, and its host.
#[derive(Clone, Copy)]
pub struct Instance<'a> {
    /// What it stands at, and what its project keeps.
    pub parameters: &'a Parameters,
    /// The way to the audio thread.
    pub bell: &'a Bell,
    /// Where gestures go.
    pub host: Host<'a>,
}

/// What has to be remembered between wishes.
#[derive(Debug, Default)]
pub struct Granter {
    /// Parameters with a hand on them.
    held: Vec<&'static str>,
    history: History,
    /// Counts the hands that were laid on something and taken off.
    hand: u64,
    writer: Writer,
    /// Whether the phrase was written since this was last asked.
    wrote: bool,
    said: Option<String>,
    /// Whether something was granted since this was last asked: what was refused before is over.
    granted: bool,
    /// Parameters that a sketch has turned while there was no way to tell the host.
    owed: Vec<(&'static str, f32)>,
    /// Two sketches that are compared.
    pub(super) comparing: Comparing,
    /// What is heard by itself.
    pub(super) listening: Listening,
    /// What is practised.
    pub(super) rehearsing: Rehearsing,
    /// Whether the window is for a class.
    pub(super) shows_to_class: bool,
    /// That of the program.
    pub(super) song: Option<SongControl>,
}

fn grant_of_song(wish: SongWish, song: &SongControl) {
    match wish {
        SongWish::Roll(rolls) => song.roll(rolls),
        SongWish::Tempo(tempo) => song.set_tempo(tempo),
        SongWish::GoTo(place) => song.go_to(place),
        SongWish::Visit(after_beginning) => song.visit(after_beginning),
    }
}

impl Granter {
    /// Grants a wish. Parameters change through the host, in gestures, so that it can record and
    /// undo them; the phrase changes in what the project keeps. Files are written of what was
    /// `seen` as the wish came up.
    pub fn grant(&mut self, wish: Wish, seen: &Seen, of: Instance<'_>) {
        let parameters = of.parameters;
        match wish {
            Wish::Grasp(id) => self.grasp(id, of),
            Wish::Turn(id, value) => self.turn(id, value, of),
            Wish::LetGo(id) => self.let_go(id, of.host),
            Wish::Type(id, text) => self.typed(id, &text, of),
            Wish::Reset(id) => {
                if let Some((_, parameter)) = parameters.of_id(id) {
                    self.at_once(id, parameter.normalized_default(), of);
                }
            }
            Wish::Edit(phrase) => {
                let name = |before: &Kept| Name::of_phrase(&before.taken.phrase, &phrase);
                self.take_step(parameters, name, |kept| kept.taken.phrase = *phrase.clone());
                self.wrote = true;
            }
            Wish::Speak(sentence) => self.speak(&sentence, parameters),
            Wish::Listen(wish) => {
                let booth = parameters.kept.booth();
                match wish {
                    ListenWish::Choose(frame) => booth.choose(frame),
                    ListenWish::Manner(manner) => booth.set_manner(manner),
                }
                self.granted = true;
            }
            Wish::HearSentence(place, phrase) => {
                let snippet = Snippet::of_phrase(&phrase);
                let subject = Subject::Sentence(place);
                match self.listening.begin_snippet(subject, snippet, parameters) {
                    Ok(()) => self.granted = true,
                    Err(refusal) => self.say(refusal),
                }
            }
            Wish::Load(phrase) => {
                let name = |_: &Kept| Name::of_loading(&phrase);
                self.take_step(parameters, name, |kept| {
                    kept.load(*phrase.clone(), None, now())
                });
                self.wrote = true;
            }
            Wish::BringBack(index) => {
                let name = |kept: &Kept| match kept.takes.get(index) {
                    Some(take) => Name::of_take(&take.phrase),
                    None => Name::new("bringing back a take", None),
                };
                self.take_step(parameters, name, |kept| kept.bring_back(index));
                self.wrote = true;
            }
            Wish::Sketch(wish) => self.grant_of_sketches(wish, seen, of),
            Wish::StartFrom(start) => self.start_from(start, of),
            Wish::Undo => self.undo(of),
            Wish::Redo => self.redo(of),
            Wish::Panic => {
                of.bell.panic();
                self.say("Panic: every note was ended.");
            }
            Wish::Hear(subject) => match self.listening.begin(subject, seen, parameters) {
                Ok(()) => self.granted = true,
                Err(refusal) => self.say(refusal),
            },
            Wish::Hush => self.listening.end(parameters),
            Wish::Custom(mode) => {
                self.take_step(parameters, |_| Name::of_custom(), |kept| kept.custom = mode);
            }
            Wish::Metre(grouping, phrase) => {
                let name = |_: &Kept| Name::of_metre(grouping);
                self.take_step(parameters, name, |kept| {
                    kept.grouping = grouping;
                    kept.taken.phrase = *phrase.clone();
                });
            }
            Wish::BeginAt(at) => {
                let name = |_: &Kept| Name::of_beginning(at, &SongBars::of(seen));
                self.take_step(parameters, name, |kept| kept.begins_at = at);
            }
            Wish::Modulate(plan) => {
                let bar = beats_per_bar(seen);
                let name = |before: &Kept| {
                    Name::of_modulations(&before.modulations, &plan, before.custom, bar)
                };
                self.take_step(parameters, name, |kept| kept.modulations = *plan);
            }
            Wish::ForgetPerformed => {
                let nothing = |kept: &mut Kept| kept.performed = Arc::default();
                self.take_step(parameters, |_| Name::of_forgetting(), nothing);
            }
            Wish::Route(wish) => self.write_route(&wish, seen, parameters),
            Wish::Practise(wish) => self.practise(wish, seen, parameters),
            Wish::ShowToClass(shows) => self.shows_to_class = shows,
            Wish::Write(order) => self.writer.write(*order, subject(seen)),
            Wish::StopWriting => self.writer.stop(),
            Wish::Say(text) => self.said = Some(text),
            // In a host the song is the host's.
            Wish::Song(wish) => {
                if let Some(song) = &self.song {
                    grant_of_song(wish, song);
                }
            }
        }
    }

    fn practise(&mut self, wish: PracticeWish, seen: &Seen, parameters: &Parameters) {
        let done = match wish {
            PracticeWish::Begin => self.rehearsing.begin(seen, parameters),
            PracticeWish::Measure => self.rehearsing.measure(seen, parameters),
            PracticeWish::End => {
                self.rehearsing.end();
                Ok(())
            }
            PracticeWish::Keep(latency) => {
                self.rehearsing.end();
                let latency = latency.clamp(-MOST_LATENCY_MS, MOST_LATENCY_MS);
                let keep = |kept: &mut Kept| {
                    Arc::make_mut(&mut kept.practice).latency_ms = Some(latency);
                };
                parameters.kept.edit(keep);
                Ok(())
            }
            PracticeWish::Set(desk) => {
                // Passes that have come meanwhile stay.
                parameters.kept.edit(|kept| {
                    let now = Arc::make_mut(&mut kept.practice);
                    let passes = std::mem::take(&mut now.passes);
                    *now = Desk { passes, ..*desk };
                });
                Ok(())
            }
        };
        match done {
            Ok(()) => self.granted = true,
            Err(refusal) => self.say(refusal),
        }
    }

    /// Takes all hands off: the window closes, or nothing is pressed any more.
    pub fn let_go_of_all(&mut self, host: Host<'_>) {
        self.hand += 1;
        while let Some(id) = self.held.last().copied() {
            self.let_go(id, host);
        }
    }

    /// What a view wanted to have said since this was last asked.
    pub fn take_said(&mut self) -> Option<String> {
        self.said.take()
    }

    /// Whether something was changed since this was last asked.
    pub fn take_granted(&mut self) -> bool {
        std::mem::take(&mut self.granted)
    }

    /// How far the writing of files has come.
    pub fn writing(&self) -> Report {
        self.writer.report()
    }

    /// Whether the phrase was written since this was last asked.
    pub fn take_wrote(&mut self) -> bool {
        std::mem::take(&mut self.wrote)
    }

    /// Changes what the project keeps, so that it can be undone.
    fn take_step(
        &mut self,
        parameters: &Parameters,
        name: impl FnOnce(&Kept) -> Name,
        change: impl FnOnce(&mut Kept),
    ) {
        let before = parameters.kept.current();
        parameters.kept.edit(change);
        let (after, loads) = (parameters.kept.current(), parameters.kept.loads());
        self.history
            .record(name(&before), &before, &after, loads, self.hand);
        self.granted = true;
    }

    /// A sentence becomes the phrase: one step.
    fn speak(&mut self, sentence: &Sentence, parameters: &Parameters) {
        let notes = number_of(sentence.phrase.notes().len(), "note");
        let name = |_: &Kept| Name::new("a spoken sentence as the phrase", Some(notes));
        let voice = sentence.voice.clone().unwrap_or_else(|why| {
            self.say(&why);
            None
        });
        let change = |kept: &mut Kept| kept.load(sentence.phrase.clone(), voice, now());
        self.take_step(parameters, name, change);
        self.wrote = true;
    }

    fn write_route(&mut self, wish: &RouteWish, seen: &Seen, parameters: &Parameters) {
        let before = parameters.kept.current().route;
        match route::after(wish, &before, seen) {
            Ok(route::After { route, name, said }) => {
                self.take_step(parameters, |_| name, |kept| kept.route = Arc::new(route));
                self.said = said.or(self.said.take());
            }
            Err(refusal) => self.said = Some(refusal),
        }
    }

    fn undo(&mut self, of: Instance<'_>) {
        let parameters = of.parameters;
        let loads = parameters.kept.loads();
        let mut undone = None;
        parameters
            .kept
            .edit(|kept| undone = self.history.undo(kept, loads));
        match undone {
            Some(gone) => self.has_gone(of, &gone, &format!("Undone: {}.", gone.name.what)),
            None => self.say("There is nothing to undo."),
        }
    }

    fn redo(&mut self, of: Instance<'_>) {
        let parameters = of.parameters;
        let loads = parameters.kept.loads();
        let mut redone = None;
        parameters
            .kept
            .edit(|kept| redone = self.history.redo(kept, loads));
        match redone {
            Some(gone) => self.has_gone(of, &gone, &format!("Done again: {}.", gone.name.what)),
            None => self.say("There is nothing to redo."),
        }
    }

    fn has_gone(&mut self, of: Instance<'_>, gone: &Gone, said: &str) {
        // What is there now may be none of the two that were compared.
        self.comparing.alone(of.bell);
        for (id, value) in &gone.turned {
            self.at_once(id, *value, of);
        }
        self.wrote |= !of.parameters.kept.current().taken.phrase.is_empty();
        self.granted = true;
        self.say(said);
    }

    /// Notices what has come from elsewhere: what can be undone then is another matter, and in
    /// another project nothing is compared.
    pub fn follow(&mut self, kept: &Kept, loads: u64, bell: &Bell) {
        if self.history.follow(kept, loads) {
            self.comparing.alone(bell);
        }
    }

    /// What can be undone and done again.
    pub fn history(&self) -> &History {
        &self.history
    }

    fn say(&mut self, text: &str) {
        self.said = Some(text.to_owned());
    }

    fn grasp(&mut self, id: &'static str, of: Instance<'_>) {
        if !self.held.contains(&id) && of.parameters.of_id(id).is_some() {
            self.held.push(id);
            (of.host)(Gesture::Begin(id));
            self.granted = true;
        }
    }

    fn turn(&mut self, id: &'static str, value: f32, of: Instance<'_>) {
        if self.held.contains(&id) {
            set(id, value, of);
        } else {
            // No value without a gesture: a host may refuse it.
            self.at_once(id, value, of);
        }
    }

    fn let_go(&mut self, id: &'static str, host: Host<'_>) {
        if let Some(place) = self.held.iter().position(|held| *held == id) {
            self.held.remove(place);
            host(Gesture::End(id));
        }
    }

    fn at_once(&mut self, id: &'static str, value: f32, of: Instance<'_>) {
        self.grasp(id, of);
        set(id, value, of);
        self.let_go(id, of.host);
    }

    fn typed(&mut self, id: &'static str, text: &str, of: Instance<'_>) {
        let Some((declaration, parameter)) = of.parameters.of_id(id) else {
            return;
        };
        match parameter.value_of(text) {
            Some(value) => self.at_once(id, value, of),
            None => {
                let range = range_of(declaration, parameter);
                self.said = Some(format!(
                    "\"{}\" is not a value of {}, which stays as it was. {range}",
                    text.trim(),
                    declaration.name
                ));
            }
        }
    }
}

/// Gives a parameter the value that it can have nearest to `value`.
fn set(id: &'static str, value: f32, of: Instance<'_>) {
    if let Some((_, parameter)) = of.parameters.of_id(id) {
        let value = parameter.nearest(value);
        if id == "hold" && value > 0.5 {
            // Before the host can say it: the audio thread then knows whose hand it was.
            of.bell.hold();
        }
        (of.host)(Gesture::Set(id, value));
    }
}

/// What can be typed for a parameter: "It goes from 1 cycle to 64 cycles."
fn range_of(declaration: &Declaration, parameter: &dyn Shown) -> String {
    let ends = || (parameter.text_of(0.0), parameter.text_of(1.0));
    match &declaration.kind {
        Kind::Toggle(_) => "Type On or Off.".to_owned(),
        Kind::Choice(list) if list.options.len() <= 8 => {
            let names = list.options.iter().map(|option| written(option.name));
            format!("Type {}.", names.collect::<Vec<_>>().join(", "))
        }
        Kind::Choice(list) => {
            let named = |place: usize| {
                let option = list.options.get(place);
                option.map_or(String::new(), |option| written(option.name))
            };
            format!(
                "Type one of the list, such as {} or {}.",
                named(1),
                named(list.options.len() - 1)
            )
        }
        Kind::Whole(_) | Kind::Amount(_) => {
            let (least, most) = ends();
            format!("It goes from {least} to {most}.")
        }
    }
}
