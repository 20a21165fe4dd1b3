//! Hold, while what is said becomes the phrase: it goes on for the engine when the phrase is there.

use crate::microphone::Microphone;

/// Waits for sentences to be worked out.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Spoken {
    /// Hold, in the last block; none before the first and after a state was loaded: what is on then
    /// was not switched on.
    before: Option<bool>,
    /// The number of what was asked, and whether it was a hand that switched hold on.
    waits: Option<(u32, bool)>,
}

/// Hold as it counts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Held {
    pub hold: bool,
    pub by_hand: bool,
    /// Whether it is off only until the phrase is there.
    pub waits: bool,
    /// Whether it begins, or ends, to be worked out what was said.
    pub turns: bool,
}

impl Spoken {
    /// A state was loaded.
    pub fn begin_anew(&mut self) {
        *self = Self::default();
    }

    /// Hold as it counts in a block in which the control is at `hold`, put there `by_hand`, at that
    /// tempo.
    pub fn hold(
        &mut self,
        (hold, by_hand): (bool, bool),
        tempo: f64,
        microphone: &mut Microphone,
    ) -> Held {
        let goes_on = self.before.replace(hold) == Some(false) && hold;
        let as_it_is = |turns| Held {
            hold,
            by_hand,
            waits: false,
            turns,
        };
        if !hold || !microphone.listens() {
            let waited = self.waits.take().is_some();
            if waited {
                microphone.give_up();
            }
            return as_it_is(waited);
        }
        if goes_on {
            self.waits = microphone.ask(tempo).map(|number| (number, by_hand));
        }
        let Some((number, was_by_hand)) = self.waits else {
            return as_it_is(goes_on);
        };
        let by_hand = by_hand || was_by_hand;
        self.waits = Some((number, by_hand));
        match microphone.answer(number) {
            None => Held {
                hold: false,
                by_hand: false,
                waits: true,
                turns: goes_on,
            },
            Some(found) => {
                self.waits = None;
                Held {
                    hold,
                    // Who has said something means it.
                    by_hand: by_hand || found,
                    waits: false,
                    turns: true,
                }
            }
        }
    }
}
