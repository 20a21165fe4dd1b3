//! Practising: asking the audio thread for it, and going on asking as the form changes.

use crate::editor::seen::Seen;
use crate::params::Parameters;
use procession_core::exercise::round_of;
use procession_core::practice::{Exercise, Practising};

/// What is to go on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Going {
    /// Nothing.
    #[default]
    Nothing,
    /// Practice.
    Practice,
    /// The measuring of the latency.
    Taps,
}

/// What was asked for.
#[derive(Clone, Debug, Default)]
pub struct Rehearsing {
    going: Going,
    /// How often something was begun.
    number: u32,
    /// What the audio thread was asked last.
    sent: Practising,
    /// How many projects had been opened then.
    loads: u64,
}

impl Rehearsing {
    /// What goes on.
    pub fn going(&self) -> Going {
        self.going
    }

    /// Practice begins, from the beginning of its round.
    ///
    /// # Errors
    /// Why it cannot, and what to do.
    pub fn begin(&mut self, seen: &Seen, parameters: &Parameters) -> Result<(), &'static str> {
        if let Some(refusal) = refusal(seen, parameters) {
            return Err(refusal);
        }
        (self.going, self.number) = (Going::Practice, self.number.wrapping_add(1));
        Ok(())
    }

    /// The latency is measured.
    ///
    /// # Errors
    /// If the song rolls: its click would be another's.
    pub fn measure(&mut self, seen: &Seen, parameters: &Parameters) -> Result<(), &'static str> {
        if seen.snapshot.playing {
            return Err("Stop the song first: the latency is measured with a click of its own.");
        }
        if parameters.bypass() {
            return Err("There is no click while Bypass is on. Switch it off in the host first.");
        }
        (self.going, self.number) = (Going::Taps, self.number.wrapping_add(1));
        Ok(())
    }

    /// Whatever goes on ends.
    pub fn end(&mut self) {
        self.going = Going::Nothing;
    }

    /// Asks for what is to go on, if that has become something else. Why it goes on no longer, if
    /// the form has no such round any more.
    pub fn follow(&mut self, seen: &Seen, parameters: &Parameters) -> Option<&'static str> {
        let loads = parameters.kept.loads();
        if std::mem::replace(&mut self.loads, loads) != loads {
            self.end();
        }
        let mut said = None;
        if self.going == Going::Practice {
            said = refusal(seen, parameters);
            if said.is_some() {
                self.end();
            }
        }
        let practising = match self.going {
            Going::Nothing => Practising::Not,
            Going::Taps => Practising::Tapping(self.number),
            Going::Practice => self.practice(seen, parameters),
        };
        if practising != self.sent {
            self.sent = practising;
            parameters.kept.practise(practising);
        }
        said
    }

    fn practice(&self, seen: &Seen, parameters: &Parameters) -> Practising {
        let desk = &seen.practice;
        let origin = seen.process.origin();
        match round_of(seen.form_to_practise(), origin, desk.part, desk.exercise) {
            Some(round) => {
                let seed = parameters.kept.current().seed;
                Practising::Playing(desk.practice(round, self.number, seed))
            }
            None => Practising::Not,
        }
    }
}

/// Why nothing can be practised now, and what to do.
pub fn refusal(seen: &Seen, parameters: &Parameters) -> Option<&'static str> {
    let desk = &seen.practice;
    if seen.phrase().is_empty() {
        return Some(
            "There is nothing to practise yet. Play a phrase and press Hold, or write one.",
        );
    }
    if parameters.bypass() {
        return Some("Nothing plays while Bypass is on. Switch it off in the host first.");
    }
    let in_song = seen.snapshot.playing && seen.process.voices().are_cued();
    if in_song && desk.exercise != Exercise::Whole {
        return Some(
            "In the rolling song copies move at your cue, so nobody knows where a stage will be. \
             Practise the whole here; or stop the song, and each dwell lasts as Dwell has it.",
        );
    }
    if !seen.process.plays(desk.part) {
        return Some("That part does not play here. Choose another as yours.");
    }
    let round = round_of(
        seen.form_to_practise(),
        seen.process.origin(),
        desk.part,
        desk.exercise,
    );
    round.is_none().then_some(
        "The form has no such place any more, or your part does nothing there. Choose another.",
    )
}
