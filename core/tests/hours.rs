//! Hours into a piece, onsets are where an independent solver finds them.

use procession_core::clock::{Clock, Transport};
use procession_core::part::Part;
use procession_core::phrase::Phrase;
use procession_core::process::Process;
use procession_core::settings::{MotionSettings, Settings, Shifts};
use procession_core::time::Span;
use procession_core::unrolling::unroll;

/// The model's phase, written down once more from its definition, and inverted by bisection in
/// integers: beats are counted in 2^-56, so nothing is rounded above 2e-17 beats.
mod solver {
    /// A beat.
    const ONE: i128 = 1 << 56;

    pub struct Phase {
        pub dwell: i128,
        pub drift: i128,
        /// Beats of a shift, as a fraction of 2^56.
        pub shift: i128,
    }

    pub fn beats(whole: i128, parts: i128, of: i128) -> i128 {
        whole * ONE + parts * ONE / of
    }

    pub fn to_f64(beats: i128) -> f64 {
        (beats >> 56) as f64 + (beats & (ONE - 1)) as f64 / ONE as f64
    }

    impl Phase {
        /// x(tau) = tau + shift * (n + ease(p))
        fn place(&self, tau: i128) -> i128 {
            let period = self.dwell + self.drift;
            let (n, r) = (tau / period, tau % period);
            let p = if r < self.dwell {
                0
            } else {
                (r - self.dwell) * ONE / self.drift
            };
            let half = ONE / 2;
            let square = |a: i128| (a * a) >> 56;
            let ease = if p < half {
                2 * square(p)
            } else {
                ONE - 2 * square(ONE - p)
            };
            tau + self.shift * n + ((self.shift * ease) >> 56)
        }

        pub fn time_of(&self, place: i128) -> i128 {
            let (mut low, mut high) = (0, place + ONE);
            while high - low > 1 {
                let middle = low + (high - low) / 2;
                if self.place(middle) < place {
                    low = middle
                } else {
                    high = middle
                }
            }
            high
        }
    }
}

/// Ten hours at 120 beats a minute are 72 000 beats; a sample at 48 kHz is 4.2e-5 beats.
#[test]
fn ten_hours_in_an_onset_is_within_a_sample_of_the_exact_one() {
    let phrase = Phrase::from_text("D4 F4 G4 . A4 . C5 A4 . G4 E4 .", 0.25).unwrap();
    let motion = MotionSettings {
        shifts: Shifts::Endless,
        dwell: 5,
        drift: 3,
        ..Default::default()
    };
    let process = Process::new(
        phrase.clone(),
        Settings {
            motion,
            ..Settings::default()
        },
        0.0,
    );
    let phase = solver::Phase {
        dwell: solver::beats(15, 0, 1),
        drift: solver::beats(9, 0, 1),
        shift: solver::beats(0, 1, 4),
    };
    let sample = 120.0 / (60.0 * 48_000.0);
    let mut heard = process
        .notes(Part::COPY_1, Span::new(72_000.0, 72_100.0))
        .peekable();
    let first = heard.peek().copied().unwrap();
    // Which cycle of the material is being read is found by the solver, not by the engine.
    let onsets: Vec<i128> = phrase
        .notes()
        .iter()
        .map(|n| solver::beats(0, (n.onset * 4.0) as i128, 4))
        .collect();
    let exact = (23_900..24_400i128).flat_map(|cycle| {
        let onsets = &onsets;
        let phase = &phase;
        onsets
            .iter()
            .map(move |onset| solver::to_f64(phase.time_of(solver::beats(3 * cycle, 0, 1) + onset)))
    });
    let mut exact = exact.skip_while(|at| *at < first.on - 0.5 * sample);
    let mut compared = 0;
    for note in heard {
        let at = exact.next().unwrap();
        assert!((note.on - at).abs() < sample / 100.0, "{} {at}", note.on);
        compared += 1;
    }
    assert!(compared > 200, "{compared}");
}

/// The same stretch, asked for from the start and from an hour in.
#[test]
fn an_hour_in_nothing_depends_on_how_one_got_there() {
    let phrase = Phrase::from_text("D4 F4 G4 . A4 . C5 A4 . G4 E4 .", 0.25).unwrap();
    let mut settings = Settings::default();
    settings.motion.copies = 8;
    settings.motion.shifts = Shifts::Endless;
    let process = Process::new(phrase, settings, 0.0);
    let tail: Vec<_> = unroll(&process, Span::new(0.0, 7300.0))
        .filter(|n| n.on >= 7200.0)
        .collect();
    let there: Vec<_> = unroll(&process, Span::new(7200.0, 7300.0)).collect();
    assert_eq!(tail, there);
}

/// Ten hours at 97.3 beats a minute, told in ticks of 1/1920 beat, exactly, or not at all: a block
/// begins within a hundredth of a sample of where integers say it does.
#[test]
fn ten_hours_in_the_clock_is_where_it_should_be_however_the_host_rounds() {
    // 97.3 beats a minute of 60 * 48 000 frames.
    const BEATS: u64 = 973;
    const FRAMES: u64 = 28_800_000;
    let exact = |frame: u64| {
        let parts = frame * BEATS;
        (parts / FRAMES) as f64 + (parts % FRAMES) as f64 / FRAMES as f64
    };
    let sample = BEATS as f64 / FRAMES as f64;
    type Tells = fn(f64) -> Option<f64>;
    let hosts: [Tells; 3] = [
        |at| Some((at * 1920.0).round() / 1920.0),
        Some,
        |at| (at == 0.0).then_some(0.0),
    ];
    for tells in hosts {
        let mut clock = Clock::new(48_000.0);
        let mut frame = 0;
        while frame < 10 * 3600 * 48_000 {
            let transport = Transport {
                playing: true,
                tempo: Some(97.3),
                position: tells(exact(frame)),
            };
            let (block, _) = clock.advance(&transport, 2039);
            let off = block.start - exact(frame);
            assert!(off.abs() < sample / 100.0, "{frame}: {off}");
            frame += 2039;
        }
    }
}
