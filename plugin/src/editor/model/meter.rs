//! The level meter: what is shown of how loud it is. It rises at once and falls slowly, and what it
//! says in figures and signs stands still long enough to be read.

use crate::microphone::{FAINTEST, Reading};

/// How fast it falls, in dB a second (common practice, no source).
const FALLS: f32 = 20.0;

/// How long the highest peak is told in figures, in seconds.
const TOLD_FOR: f64 = 1.5;

/// How long the sign stands that it has clipped, in seconds: it never flashes.
const SIGN_FOR: f64 = 3.0;

/// The faint end of its scale, in dB.
pub const LOWEST: f32 = -60.0;

/// What was shown last.
#[derive(Clone, Copy, Debug)]
pub struct Meter {
    peak: f32,
    rms: f32,
    /// The peak that is told, and until when unless it is higher.
    told: (f32, f64),
    /// Until when the sign stands.
    sign: Option<f64>,
    /// The window's time when it was looked at last, in seconds.
    at: Option<f64>,
}

impl Default for Meter {
    fn default() -> Self {
        Self {
            peak: FAINTEST,
            rms: FAINTEST,
            told: (FAINTEST, 0.0),
            sign: None,
            at: None,
        }
    }
}

impl Meter {
    /// Goes on with what was read at `now`, in seconds of the window's time.
    pub fn follow(&mut self, now: f64, read: Reading) {
        // A window that was opened anew counts its time from 0.
        let since = self.at.replace(now).map_or(0.0, |at| (now - at).max(0.0));
        let fallen = FALLS * since as f32;
        self.peak = read.peak.max(self.peak - fallen).max(FAINTEST);
        self.rms = read.rms.max(self.rms - fallen).max(FAINTEST);
        let is_over = |until: f64| now >= until || until > now + SIGN_FOR;
        if self.peak > self.told.0 || is_over(self.told.1) {
            self.told = (self.peak, now + TOLD_FOR);
        }
        if read.clipped {
            self.sign = Some(now + SIGN_FOR);
        }
        self.sign = self.sign.filter(|until| !is_over(*until));
    }

    /// How far along its scale peak and mean are, 0 ..= 1.
    pub fn shares(&self) -> [f32; 2] {
        [self.peak, self.rms].map(|db| ((db - LOWEST) / -LOWEST).clamp(0.0, 1.0))
    }

    /// Whether it has clipped a moment ago.
    pub fn clips(&self) -> bool {
        self.sign.is_some()
    }

    /// "-12 dBFS", "Clips", or that nothing comes in.
    pub fn words(&self) -> String {
        if self.clips() {
            "Clips".to_owned()
        } else if self.told.0 < LOWEST {
            "Silence".to_owned()
        } else {
            format!("{:.0} dBFS", self.told.0)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(peak: f32, clipped: bool) -> Reading {
        Reading {
            peak,
            rms: peak - 3.0,
            clipped,
        }
    }

    #[test]
    fn it_rises_at_once_and_falls_twenty_decibels_a_second() {
        let mut meter = Meter::default();
        assert_eq!(meter.words(), "Silence");
        meter.follow(10.0, read(-12.0, false));
        assert_eq!(meter.shares(), [0.8, 0.75]);
        assert_eq!(meter.words(), "-12 dBFS");
        meter.follow(10.6, read(FAINTEST, false));
        let [peak, _] = meter.shares();
        assert!((peak - 0.6).abs() < 1e-3);
        assert_eq!(meter.words(), "-12 dBFS", "figures can be read");
        meter.follow(20.0, read(FAINTEST, false));
        assert_eq!(
            (meter.shares(), meter.words().as_str()),
            ([0.0; 2], "Silence")
        );
    }

    /// Harmful are flashes faster than three a second (WCAG 2.2, 2.3.1).
    #[test]
    fn however_often_it_clips_the_sign_does_not_flash() {
        for gap in [0.05, 0.2, 1.0, 3.1, 5.0] {
            let mut meter = Meter::default();
            let mut last = -gap;
            let shown: Vec<bool> = (0..1_800)
                .map(|frame| {
                    let now = f64::from(frame) / 60.0;
                    let clips = now - last >= gap;
                    if clips {
                        last = now;
                    }
                    meter.follow(now, read(if clips { 0.0 } else { -20.0 }, clips));
                    meter.clips()
                })
                .collect();
            let flashes = shown.windows(2).filter(|pair| !pair[0] && pair[1]).count();
            assert!(flashes <= 10, "{flashes} in 30 s, clipped every {gap} s");
            assert!(shown[0] && meter.words().len() > 3);
        }
    }
}
