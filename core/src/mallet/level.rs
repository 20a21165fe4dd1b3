//! The level of the whole, which goes smoothly where it is sent.

/// Seconds from one level to the next. Own choice.
const SMOOTHING: f64 = 0.03;

/// A factor on its way to another.
#[derive(Debug)]
pub(crate) struct Level {
    now: f64,
    target: f64,
    step: f64,
    left: usize,
    frames: usize,
}

impl Level {
    /// Off.
    pub fn new(sample_rate: f64) -> Self {
        Self {
            now: 0.0,
            target: 0.0,
            step: 0.0,
            left: 0,
            frames: (SMOOTHING * sample_rate).ceil() as usize,
        }
    }

    /// Sets out for a factor; 0 is off. Being sent to the same place again changes nothing.
    pub fn go_to(&mut self, target: f64) {
        if target != self.target {
            self.target = target;
            self.left = self.frames;
            self.step = (target - self.now) / self.frames as f64;
        }
    }

    /// Whether it is off, or about to be.
    pub fn is_off(&self) -> bool {
        self.target == 0.0
    }

    /// Whether it has arrived at off.
    pub fn has_gone_off(&self) -> bool {
        self.is_off() && self.left == 0
    }

    /// Arrives at once.
    pub fn settle(&mut self) {
        self.now = self.target;
        self.left = 0;
    }

    /// The factor for the next frame.
    pub fn next(&mut self) -> f64 {
        match self.left {
            0 => {}
            1 => self.settle(),
            _ => {
                self.now += self.step;
                self.left -= 1;
            }
        }
        self.now
    }
}
