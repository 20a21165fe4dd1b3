//! Practice, as a project keeps it: what is practised and how, and the last passes; and the line on
//! which the window asks the audio thread for it.
//!
//! None of it is a parameter. How one practises is no part of the piece: a host that automated it
//! would have nothing to play.

use procession_core::follower::Pass;
use procession_core::part::Part;
use procession_core::partner::Manner;
use procession_core::practice::{Exercise, Judged, PACES, Practice, Practising, Round};
use triple_buffer::{Input, Output, triple_buffer};

/// The most passes that are kept.
pub const MOST_PASSES: usize = 200;

/// Latencies farther from nothing than this, in milliseconds, are none: half a beat at 60.
pub const MOST_LATENCY_MS: f64 = 500.0;

/// How the steady voice is played while one practises by oneself.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Partner {
    /// As written.
    #[default]
    Rigid,
    /// Gives way to the player.
    Gives,
    /// Tries to pull the player along, for training.
    Pulls,
}

impl Partner {
    /// All of them, in order.
    pub const ALL: [Self; 3] = [Self::Rigid, Self::Gives, Self::Pulls];

    /// As the window has it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Rigid => "Rigid",
            Self::Gives => "Gives way",
            Self::Pulls => "Pulls back",
        }
    }
}

/// A pass that was played.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Passed {
    /// Whose part.
    pub part: Part,
    /// Of what.
    pub exercise: Exercise,
    /// Beats a minute.
    pub tempo: f64,
    /// How it was.
    pub pass: Pass,
}

/// What is practised and how, and the last passes.
#[derive(Clone, Debug, PartialEq)]
pub struct Desk {
    /// The part that is mine.
    pub part: Part,
    /// What of the form.
    pub exercise: Exercise,
    /// The share of the tempo, within [`PACES`], where the song is at rest.
    pub pace: f64,
    /// Whether beats are clicked on the way.
    pub click: bool,
    /// How the steady voice is played.
    pub partner: Partner,
    /// By which share (0 ..= 1) it gives way, or pulls.
    pub share: f64,
    /// Milliseconds by which notes come in later than they are played, once that was measured.
    pub latency_ms: Option<f64>,
    /// The last passes, at most [`MOST_PASSES`], the oldest first.
    pub passes: Vec<Passed>,
}

impl Default for Desk {
    fn default() -> Self {
        Self {
            part: Part::COPY_1,
            exercise: Exercise::Whole,
            pace: 1.0,
            click: true,
            partner: Partner::Rigid,
            // Best for four who play together (Wing et al., Journal of the Royal Society Interface
            // 11, 2014).
            share: 0.25,
            latency_ms: None,
            passes: Vec::new(),
        }
    }
}

impl Desk {
    /// A pass is over; the oldest makes room. One through which nobody played is none: a loop that is
    /// left alone would push out all the others.
    pub fn keep(&mut self, judged: &Judged) {
        if !judged.pass.is_played() {
            return;
        }
        if self.passes.len() >= MOST_PASSES {
            self.passes.remove(0);
        }
        self.passes.push(Passed {
            part: judged.part,
            exercise: judged.exercise,
            tempo: judged.tempo,
            pass: judged.pass,
        });
    }

    /// What the audio thread is asked for, for the so manieth time, in that round.
    pub fn practice(&self, round: Round, number: u32, seed: u64) -> Practice {
        let share = self.share.clamp(0.0, 1.0);
        Practice {
            part: self.part,
            number,
            exercise: self.exercise,
            round,
            pace: self.pace.clamp(*PACES.start(), *PACES.end()),
            click: self.click,
            manner: match self.partner {
                Partner::Rigid => Manner::Rigid,
                Partner::Gives => Manner::Follows(share),
                Partner::Pulls => Manner::PullsBack(share),
            },
            seed,
            latency_ms: self.latency_ms.unwrap_or(0.0),
        }
    }
}

/// Passes on their way to whoever keeps them. So many can wait that none is lost that is kept.
#[derive(Clone, Debug, Default)]
struct Told {
    /// How many there have been.
    count: u64,
    /// The last ones, each at its number, modulo their number.
    passes: Vec<Option<Judged>>,
}

/// The end that asks, and is told of passes.
pub struct Asking {
    orders: Input<Practising>,
    told: Output<Told>,
    /// How many passes were taken.
    taken: u64,
}

/// The audio thread's end.
pub struct Asked {
    orders: Output<Practising>,
    told: Input<Told>,
    count: u64,
    last: Box<[Option<Judged>]>,
}

/// The two ends. Make one pair for each plug-in instance.
pub fn line() -> (Asking, Asked) {
    let (orders_out, orders_in) = triple_buffer(&Practising::Not);
    let nothing = Told {
        count: 0,
        passes: vec![None; MOST_PASSES],
    };
    let (told_out, told_in) = triple_buffer(&nothing);
    let asking = Asking {
        orders: orders_out,
        told: told_in,
        taken: 0,
    };
    let asked = Asked {
        orders: orders_in,
        told: told_out,
        count: 0,
        last: vec![None; MOST_PASSES].into(),
    };
    (asking, asked)
}

impl Asking {
    /// Asks for this from now on.
    pub fn ask(&mut self, practising: Practising) {
        self.orders.write(practising);
    }

    /// The passes since this was last asked, the oldest first.
    pub fn passes(&mut self) -> Vec<Judged> {
        if !self.told.update() {
            return Vec::new();
        }
        let told = self.told.output_buffer();
        let first = self
            .taken
            .max(told.count.saturating_sub(MOST_PASSES as u64));
        self.taken = told.count;
        (first..told.count)
            .filter_map(|number| told.passes[place_of(number)])
            .collect()
    }
}

impl Asked {
    /// What is asked for.
    ///
    /// # Real-time
    /// Allocates never, blocks never: one atomic swap.
    pub fn poll(&mut self) -> Practising {
        *self.orders.read()
    }

    /// Tells of a pass.
    ///
    /// # Real-time
    /// Allocates never, blocks never: a copy of what is kept and one atomic swap.
    pub fn tell(&mut self, judged: &Judged) {
        self.last[place_of(self.count)] = Some(*judged);
        self.count += 1;
        let told = self.told.input_buffer_mut();
        told.count = self.count;
        told.passes.copy_from_slice(&self.last);
        self.told.publish();
    }
}

fn place_of(number: u64) -> usize {
    (number % MOST_PASSES as u64) as usize
}

#[cfg(test)]
mod tests {
    use super::*;
    use nice_assert_no_alloc::assert_no_alloc;
    use procession_core::follower::Goal;

    fn judged(late_ms: f64) -> Judged {
        Judged {
            pass: Pass {
                late_ms: Some(late_ms),
                matched: 9,
                ..Pass::default()
            },
            part: Part::COPY_1,
            exercise: Exercise::Whole,
            goal: Goal::Stay,
            tempo: 96.0,
        }
    }

    #[test]
    fn a_loop_that_nobody_plays_along_with_pushes_no_pass_out() {
        let mut desk = Desk::default();
        desk.keep(&judged(15.0));
        let silent = Judged {
            pass: Pass::default(),
            ..judged(0.0)
        };
        (0..MOST_PASSES).for_each(|_| desk.keep(&silent));
        let late: Vec<_> = desk.passes.iter().map(|one| one.pass.late_ms).collect();
        assert_eq!(late, [Some(15.0)]);
    }

    #[test]
    fn every_pass_arrives_once_in_order_and_of_too_many_the_last() {
        let (mut asking, mut asked) = line();
        let mut desk = Desk::default();
        let mut told = |numbers: std::ops::Range<u32>| {
            for number in numbers {
                let judged = judged(f64::from(number));
                assert_no_alloc(|| asked.tell(&judged));
            }
            for judged in asking.passes() {
                desk.keep(&judged);
            }
            let late: Vec<f64> = desk
                .passes
                .iter()
                .filter_map(|one| one.pass.late_ms)
                .collect();
            late
        };
        assert_eq!(told(0..3), [0.0, 1.0, 2.0]);
        assert_eq!(told(3..5), [0.0, 1.0, 2.0, 3.0, 4.0]);
        let last: Vec<f64> = (505..705).map(f64::from).collect();
        assert_eq!(told(5..705), last);
        assert_eq!(told(705..705), last);
    }
}
