//! What a view may look at: one moment of the plug-in, with everything worked out that follows.

use crate::editor::compare::Compared;
use crate::editor::model::speech::Curve;
use crate::editor::rehearsing::Going;
use crate::feed::Snapshot;
use crate::files::{Report, Speaker};
use crate::microphone::{Booth, Live, Reading};
use crate::practice::Desk;
use crate::state::{Comes, Sketches, Takes};
use procession_core::engine::Anchor;
use procession_core::form::Form;
use procession_core::part::Part;
use procession_core::performance::Performance;
use procession_core::performed::Recollection;
use procession_core::phrase::Phrase;
use procession_core::process::Process;
use procession_core::route::Route;
use procession_core::settings::{
    Beginning, CopySettings, FoldSettings, Modulations, OutputSettings, ResultingSettings,
    Settings, SteadySettings, TouchSettings,
};
use procession_core::snippet::Subject;
use procession_core::time::Beats;
use procession_core::voices::Stands;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

/// Something that is worked out carries a number, and whatever is worked out anew another: views
/// that keep what they made of it compare the number. No two are alike, in any window.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Edition(u64);

impl Edition {
    fn next() -> Self {
        static LAST: AtomicU64 = AtomicU64::new(0);
        Self(LAST.fetch_add(1, Ordering::Relaxed))
    }
}

/// What is said into the audio input, at a moment.
#[derive(Clone, Debug, Default)]
pub struct Spoken {
    /// Whether it is listened to.
    pub listens: bool,
    /// Whether Hold waits for a sentence to be worked out.
    pub works: bool,
    /// How loud it is.
    pub level: Reading,
    /// What was said.
    pub live: Live,
}

impl Spoken {
    /// As it stands now.
    pub fn at(booth: &Booth) -> Self {
        Self {
            listens: booth.listens(),
            works: booth.works(),
            level: booth.level(),
            live: booth.live(),
        }
    }
}

/// One moment. Views read it and never change it.
pub struct Seen {
    /// From the audio thread.
    pub snapshot: Snapshot,
    /// The phrase, its settings and its place in the song, ready to be asked what sounds when.
    /// Large, and so not on the stack of the window's thread.
    pub process: Box<Process>,
    /// The same from beginning to end: as it was performed, and as it goes on.
    pub performance: Box<Performance<'static>>,
    /// The whole form that follows from that.
    pub form: Form,
    /// The one that is proposed, where something else was performed; without its alignments.
    proposed: Option<Form>,
    /// Changes with whatever could change a note, a stage or a mode.
    pub edition: Edition,
    /// Changes with the alignments of the form: with phrase and grid.
    pub alignments_edition: Edition,
    /// Where the process begins.
    pub anchor: Anchor,
    /// How it is to begin and to end.
    pub beginning: Beginning,
    /// Whether hold is on.
    pub hold: bool,
    /// Whether the song is the program's own, so that the window can move it.
    pub own_song: bool,
    /// What was performed in the song.
    pub performed: Arc<Recollection>,
    /// Whether that is told: not while something else plays.
    told: bool,
    /// The phrases that stay.
    pub takes: Takes,
    /// Ideas that were put aside whole.
    pub sketches: Sketches,
    /// When one that is called up comes.
    pub comes: Comes,
    /// Two of them that are compared.
    pub compared: Compared,
    /// A problem, its cause and its remedy, if there is one.
    pub notice: Option<String>,
    /// How far the writing of files has come.
    pub writing: Report,
    /// What is heard by itself, if anything is.
    pub hearing: Option<Subject>,
    /// What is practised, how, and how it went.
    pub practice: Arc<Desk>,
    /// Whether it is, or its latency measured.
    pub rehearsing: Going,
    /// How the pitch goes in the recording of which the phrase was made, if it is known.
    pub curve: Option<Curve>,
    /// What is said into the audio input.
    pub spoken: Spoken,
    /// The recording that goes along, as it is heard.
    pub speaker: Option<Speaker>,
}

impl Seen {
    /// Works out what follows from phrase and settings. Costs a few milliseconds: only when one of
    /// them has changed.
    pub fn new(snapshot: Snapshot, phrase: Phrase, settings: Settings, anchor: Anchor) -> Self {
        let mut process = Box::new(Process::new(phrase, settings, snapshot.origin));
        stand(&mut process, &snapshot);
        let performance = Box::new(Performance::proposed(&process).into_owned());
        let form = Form::of(&performance);
        Self {
            snapshot,
            process,
            performance,
            form,
            proposed: None,
            edition: Edition::next(),
            alignments_edition: Edition::next(),
            anchor,
            beginning: Beginning::default(),
            hold: false,
            own_song: false,
            performed: Arc::default(),
            told: true,
            takes: Takes::default(),
            sketches: Sketches::default(),
            comes: Comes::default(),
            compared: Compared::default(),
            notice: None,
            writing: Report::default(),
            hearing: None,
            practice: Arc::default(),
            rehearsing: Going::default(),
            curve: None,
            spoken: Spoken::default(),
            speaker: None,
        }
    }

    /// The next moment. Works out anew only what has changed: automation of a level, say, moves no
    /// stage, and no setting but the grid moves an alignment.
    pub fn follow(
        &mut self,
        snapshot: Snapshot,
        phrase: &Phrase,
        settings: Settings,
        anchor: Anchor,
    ) {
        self.snapshot = snapshot;
        self.anchor = anchor;
        let same_phrase = self.phrase() == phrase;
        let (before, origin) = (*self.settings(), self.process.origin());
        if same_phrase && before == settings && origin == snapshot.origin {
            let stands = stand(&mut self.process, &snapshot);
            if stands != Stands::AsBefore {
                self.edition = Edition::next();
            }
            if stands == Stands::Elsewhere {
                self.list_stages();
            }
            return;
        }
        self.edition = Edition::next();
        if same_phrase {
            self.process.set_origin(snapshot.origin);
            self.process.set_settings(settings, snapshot.origin);
        } else {
            let route = self.process.route().clone();
            *self.process = Process::new(phrase.clone(), settings, snapshot.origin);
            self.process.set_route(&route);
        }
        let stands = stand(&mut self.process, &snapshot);
        self.tell();
        if same_phrase && aligns(&before) == aligns(&settings) {
            let reshaped = form_follows_from(before) != form_follows_from(settings);
            if origin != snapshot.origin || reshaped || stands == Stands::Elsewhere {
                self.list_stages();
            }
        } else {
            self.form = Form::of(&self.performance);
            self.alignments_edition = Edition::next();
        }
    }

    /// The route as it is now.
    pub fn follow_route(&mut self, route: &Route) {
        if self.process.route() != route {
            self.process.set_route(route);
            stand(&mut self.process, &self.snapshot);
            self.list_stages();
            self.edition = Edition::next();
        }
    }

    /// What was performed as it is remembered now.
    pub fn follow_performed(&mut self, performed: &Arc<Recollection>) {
        let told = self.told;
        self.told = !self.snapshot.running || self.snapshot.follows;
        let before = std::mem::replace(&mut self.performed, performed.clone());
        let same = Arc::ptr_eq(&before, performed)
            || (before.first, &before.moments) == (performed.first, &performed.moments);
        if before.tempi != performed.tempi {
            self.edition = Edition::next();
        }
        let is_any = self.performance.until().is_some() || !self.performed.moments.is_empty();
        if !same || (told != self.told && is_any) {
            self.list_stages();
            self.edition = Edition::next();
        }
    }

    /// Lists the stages anew; the alignments are as they were.
    fn list_stages(&mut self) {
        self.tell();
        let alignments = std::mem::take(&mut self.form.alignments);
        self.form = Form::with_alignments(&self.performance, alignments);
    }

    /// Tells it all from the beginning. While something else plays than what was performed, it is
    /// that which is told.
    fn tell(&mut self) {
        let performance = if self.told {
            Performance::new(&self.process, &self.performed)
        } else {
            Performance::proposed(&self.process)
        };
        *self.performance = performance.into_owned();
        self.proposed = self.performance.until().map(|_| {
            let proposed = Performance::proposed(&self.process);
            Form::with_alignments(&proposed, Vec::new())
        });
    }

    /// The form in which one practises: the song's where it rolls, and by oneself, where nothing is
    /// performed again, as it is proposed.
    pub fn form_to_practise(&self) -> &Form {
        let proposed = self.proposed.as_ref();
        proposed
            .filter(|_| !self.snapshot.playing)
            .unwrap_or(&self.form)
    }

    /// The phrase.
    pub fn phrase(&self) -> &Phrase {
        self.process.phrase()
    }

    /// The settings.
    pub fn settings(&self) -> &Settings {
        self.process.settings()
    }

    /// Beats since cycle 0 began; before it, and with nothing running, 0.
    pub fn elapsed(&self) -> Beats {
        if self.snapshot.running {
            (self.snapshot.position - self.snapshot.origin).max(0.0)
        } else {
            0.0
        }
    }

    /// Steps by which a part is ahead now; none if it has not entered.
    pub fn steps_ahead(&self, part: Part) -> Option<f64> {
        self.snapshot.ahead[part.index()].map(|ahead| ahead / self.settings().step())
    }
}

/// Has voices stand where the audio thread has them.
fn stand(process: &mut Process, snapshot: &Snapshot) -> Stands {
    let is_other = process.count_dwells(snapshot.counts_dwells);
    let stands = snapshot
        .footing
        .as_ref()
        .map(|footing| process.stand(footing));
    match stands {
        _ if is_other => Stands::Elsewhere,
        Some(stands) => stands,
        None => Stands::AsBefore,
    }
}

/// What decides how copy 1 and the steady voice meet: the step, which way it reads, and how long.
fn aligns(settings: &Settings) -> (Beats, bool, Option<u32>) {
    let own = &settings.copies[0];
    (settings.step(), own.backwards, own.length)
}

/// The settings with all that moves no stage at its default.
fn form_follows_from(settings: Settings) -> Settings {
    Settings {
        fold: FoldSettings::default(),
        output: OutputSettings::default(),
        modulations: Modulations::default(),
        resulting: ResultingSettings::default(),
        steady: SteadySettings::default(),
        touch: TouchSettings::default(),
        copies: settings.copies.map(|copy| CopySettings {
            offset: copy.offset,
            length: copy.length,
            backwards: copy.backwards,
            ..CopySettings::default()
        }),
        ..settings
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use procession_core::mode::ModeName;
    use procession_core::settings::{CopiesMove, FoldKind, Grid, Growth, GrowthOrder, Motion};

    /// Moments are handed from function to function, and a debug build copies them each time.
    #[test]
    fn a_moment_leaves_room_on_the_stack() {
        assert!(size_of::<Seen>() <= 4096, "{}", size_of::<Seen>());
    }

    /// One change after another, and after each the moment is as if nothing had been before.
    #[test]
    fn what_is_followed_is_what_would_be_worked_out_afresh() {
        let one = Phrase::from_text("D4 F4 A4 C5 G4 . A4 .", 0.25).expect("a phrase");
        let other = Phrase::from_text("E4 . B4", 0.25).expect("a phrase");
        let changes: [fn(&mut Settings); 18] = [
            |settings| settings.motion.copies = 3,
            |settings| settings.copies[1].level = 0.5,
            |settings| settings.copies[1].length = Some(5),
            |settings| settings.copies[0].length = Some(7),
            |settings| settings.copies[1].octave = -1,
            |settings| settings.copies[1].offset = 2.5,
            |settings| settings.motion.offset = -1.0,
            |settings| settings.fold.fold = FoldKind::ByDegree,
            |settings| settings.fold.target_mode = ModeName::Lydian,
            |settings| settings.fold.amount = 0.4,
            |settings| settings.output.width = 0.1,
            |settings| settings.growth.growth = Growth::Fill,
            |settings| settings.growth.step = 2,
            |settings| settings.growth.order = GrowthOrder::Backward,
            |settings| settings.growth.copies_grow = true,
            |settings| settings.motion.copies_move = CopiesMove::InTurn,
            |settings| settings.motion.motion = Motion::BuildUp,
            |settings| settings.capture.grid = Grid::Eighth,
        ];
        let mut snapshot = Snapshot::default();
        let mut settings = Settings::default();
        let mut phrase = &one;
        let mut seen = Seen::new(snapshot, phrase.clone(), settings, Anchor::NextStart);
        for (index, change) in changes.into_iter().enumerate() {
            change(&mut settings);
            match index {
                6 => snapshot.origin = 8.0,
                12 => phrase = &other,
                _ => (),
            }
            seen.follow(snapshot, phrase, settings, Anchor::Song(0.0));
            let afresh = Seen::new(snapshot, phrase.clone(), settings, Anchor::Song(0.0));
            assert_eq!(seen.form, afresh.form, "change {index}");
            let told = |process: &Process| format!("{process:?}");
            assert!(
                told(&seen.process) == told(&afresh.process),
                "change {index}"
            );
            assert_eq!(seen.anchor, afresh.anchor);
        }
    }

    #[test]
    fn what_is_worked_out_anew_is_another_edition_and_nothing_else_is() {
        let phrase = Phrase::from_text("D4 F4 G4 . A4 C5", 0.25).unwrap();
        let other = Phrase::from_text("D4 F4 G4 . A4 E4", 0.25).unwrap();
        let settings = Settings::default();
        let anchor = Anchor::Song(0.0);
        let snapshot = Snapshot::default();
        let later = Snapshot {
            position: 3.0,
            ..snapshot
        };
        let mut seen = Seen::new(snapshot, phrase.clone(), settings, anchor);
        let editions = |seen: &Seen| (seen.edition, seen.alignments_edition);
        let first = editions(&seen);
        seen.follow(later, &phrase, settings, anchor);
        assert_eq!(editions(&seen), first, "the song has gone on, no more");
        let mut softer = settings;
        softer.output.steady_level = 0.5;
        seen.follow(later, &phrase, softer, anchor);
        assert_ne!(seen.edition, first.0);
        assert_eq!(seen.alignments_edition, first.1);
        seen.follow(later, &other, softer, anchor);
        assert_ne!(seen.alignments_edition, first.1);
        assert_ne!(
            editions(&Seen::new(snapshot, phrase, settings, anchor)),
            first
        );
    }
}
