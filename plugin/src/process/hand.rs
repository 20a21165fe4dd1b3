//! Hold, pressed in the window.

use crate::bell::Bell;

/// Whether hold was switched on in the window. The window tells at once, the host of the same only
/// when it comes to it.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Hand {
    /// For so many frames more, a hold that goes on is the window's.
    left: u32,
    patience: u32,
}

impl Hand {
    /// As long as a host may take to send round what was done in the window, in seconds.
    const PATIENCE: f32 = 2.0;

    pub fn at_rate(sample_rate: f32) -> Self {
        Self {
            left: 0,
            patience: (sample_rate * Self::PATIENCE) as u32,
        }
    }

    /// Whether a hold that is seen on for the first time in these frames is the window's.
    pub fn holds(&mut self, bell: &Bell, hold: bool, frames: u32) -> bool {
        if bell.takes_hold() {
            self.left = self.patience;
        }
        let by_hand = self.left > 0;
        self.left = if hold {
            0
        } else {
            self.left.saturating_sub(frames)
        };
        by_hand
    }
}
