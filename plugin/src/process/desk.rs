//! What the parameters say, read when one of them has moved and at no other time.

use super::spoken::Held;
use crate::handover::AudioSide;
use crate::params::Parameters;
use procession_core::engine::Controls;
use procession_core::practice::Practising;
use procession_core::reciter::Along;

/// The parameters, as they were read last.
#[derive(Default)]
pub(super) struct Desk {
    /// How often parameters, and what is kept beside them, had changed by then; none before the first
    /// block.
    read: Option<(u64, u64)>,
    controls: Controls,
    hold: bool,
    listens: bool,
    audition: Option<f32>,
    along: Along,
    /// Whether anything was read since the engine was told.
    moved: bool,
}

impl Desk {
    /// Reads them anew, if one has moved. What a block is told is what they say now, to the letter.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn read(&mut self, parameters: &Parameters, exchange: &AudioSide) {
        // Counted before anything is read: what moves meanwhile is read once more.
        let now = Some((parameters.moves(), exchange.looks()));
        if self.read == now {
            return;
        }
        self.read = now;
        self.moved = true;
        self.hold = parameters.hold();
        self.listens = parameters.listens() && !parameters.bypass();
        self.audition = parameters.audition();
        self.along = parameters.along();
        let kept = exchange.kept();
        self.controls = Controls {
            settings: parameters.settings(kept),
            beginning: parameters.beginning(kept),
            thru: parameters.thru(),
            bypass: parameters.bypass(),
            cue: parameters.cue(),
            cue_key: parameters.cue_key(),
            cue_controller: parameters.cue_controller(),
            ..self.controls
        };
    }

    /// What no parameter says by itself. Whether the engine is to look at the controls: it has been told
    /// nothing of them yet, or something else.
    ///
    /// # Real-time
    /// Allocates never, blocks never.
    pub fn told(&mut self, practising: Practising, held: Held) -> bool {
        let Held {
            hold,
            waits,
            by_hand,
            ..
        } = held;
        let all = &mut self.controls;
        let before = (all.hold, all.waits, all.by_hand, all.practising);
        (all.hold, all.waits, all.by_hand, all.practising) = (hold, waits, by_hand, practising);
        std::mem::take(&mut self.moved) || before != (hold, waits, by_hand, practising)
    }

    /// Where the control of hold is. Whether it counts, is not for it to say.
    pub fn hold(&self) -> bool {
        self.hold
    }

    /// Whether what is said into the audio input is to be listened to.
    pub fn listens(&self) -> bool {
        self.listens
    }

    /// All that the engine is told.
    pub fn controls(&self) -> &Controls {
        &self.controls
    }

    /// How loud the mallets are, in dB; none while they are off.
    pub fn audition(&self) -> Option<f32> {
        self.audition
    }

    /// How loud the recording goes along with the phrase, and with whom.
    pub fn along(&self) -> Along {
        self.along
    }
}
