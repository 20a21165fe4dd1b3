//! How loud a sound is to those who listen: loudness and true peak by ITU-R BS.1770.

use ebur128::{EbuR128, Mode};

/// Listens to a stereo sound from its beginning to its end.
pub struct Meter {
    /// None at a sample rate that cannot be measured at.
    heard: Option<EbuR128>,
}

impl Meter {
    /// Nothing heard yet. Frames come at `sample_rate` Hz. For the loudness alone.
    pub fn new(sample_rate: u32) -> Self {
        Self::of(sample_rate, Mode::I)
    }

    /// The same, for the true peak too, which takes several times as long.
    pub fn with_peak(sample_rate: u32) -> Self {
        Self::of(sample_rate, Mode::I | Mode::TRUE_PEAK)
    }

    fn of(sample_rate: u32, mode: Mode) -> Self {
        Self {
            heard: EbuR128::new(2, sample_rate, mode).ok(),
        }
    }

    /// Listens on. If the sides are not equally long, what is too long is not heard.
    pub fn hear(&mut self, left: &[f32], right: &[f32]) {
        let frames = left.len().min(right.len());
        if let Some(heard) = &mut self.heard {
            // Two sides of the same length are all that it asks for.
            let _ = heard.add_frames_planar_f32(&[&left[..frames], &right[..frames]]);
        }
    }

    /// The loudness of the whole, in LUFS, pauses left out; none if nothing was above -70.
    pub fn lufs(&self) -> Option<f64> {
        let lufs = self.heard.as_ref()?.loudness_global().ok()?;
        lufs.is_finite().then_some(lufs)
    }

    /// The highest point, between the samples too, in dBTP; none in silence, and without
    /// [`Self::with_peak`].
    pub fn true_peak_db(&self) -> Option<f64> {
        let heard = self.heard.as_ref()?;
        let sides = [0, 1].map(|side| heard.true_peak(side).unwrap_or(0.0));
        let peak = sides[0].max(sides[1]);
        (peak > 0.0).then(|| 20.0 * peak.log10())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// EBU Tech 3341, minimum requirements test 1 and 2: a stereo sine of 1000 Hz at -23 and -33
    /// dBFS is -23.0 and -33.0 LUFS, to 0.1.
    #[test]
    fn a_sine_is_as_loud_as_the_standard_says() {
        for level in [-23.0, -33.0] {
            let mut meter = Meter::with_peak(48_000);
            let sine: Vec<f32> = (0..48_000 * 5)
                .map(|frame| {
                    let turn = std::f64::consts::TAU * 1_000.0 * f64::from(frame) / 48_000.0;
                    (10_f64.powf(level / 20.0) * turn.sin()) as f32
                })
                .collect();
            sine.chunks(1_000).for_each(|part| meter.hear(part, part));
            let (lufs, peak) = (meter.lufs().unwrap(), meter.true_peak_db().unwrap());
            assert!((lufs - level).abs() < 0.1, "{lufs}");
            assert!((peak - level).abs() < 0.1, "{peak}");
        }
    }

    #[test]
    fn silence_has_no_loudness() {
        let mut meter = Meter::with_peak(48_000);
        meter.hear(&[0.0; 48_000], &[0.0; 48_000]);
        assert_eq!((meter.lufs(), meter.true_peak_db()), (None, None));
    }
}
