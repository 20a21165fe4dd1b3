//! What a frame of the window costs: the window's own work, without a graphics card.
//!
//! `cargo bench -p procession --bench window` prints the median and the 95th percentile of many
//! frames of 1200 x 800 points, for each view in turn, with eight copies on their way. The promise
//! is that a frame's own work stays under 4 ms; making triangles of its shapes, which the
//! framework does, stands apart.

#[path = "../tests/host/mod.rs"]
mod host;

use egui::{Context, Event, Pos2, RawInput, Rect, Vec2, pos2, vec2};
use host::Host;
use procession::bell::Bell;
use procession::editor::model::layout::View;
use procession::editor::shell::Shell;
use procession::feed::{Bars, Feed, feed};
use procession::params::Parameters;
use procession_core::clock::Transport;
use procession_core::engine::{Anchor, Controls, Engine};
use procession_core::phrase::Phrase;
use std::sync::Arc;
use std::time::Duration;

const SIZE: Vec2 = vec2(1200.0, 800.0);
/// Until galleys, fonts and caches are there.
const WARM: usize = 40;
const FRAMES: usize = 400;
/// A sixtieth of a second.
const BLOCK: u32 = 800;
const RATE: f64 = 48_000.0;
const TEMPO: f64 = 120.0;

/// A phrase of 32 notes in 32 steps.
const USUAL: &str = "D4 A4 F4 C5 E4 B4 D5 A4 E5 C5 G4 F4 D4 E4 A4 G4 \
                     C5 B4 F4 A4 D5 E5 G4 C5 A4 F4 E4 D4 B4 G4 A4 C5";

/// The most notes there are: chords of four on 128 steps.
fn fullest() -> String {
    let chords = ["D4+F4+A4+C5", "E4+G4+B4+D5", "C4+E4+A4+B4", "F4+A4+C5+E5"];
    (0..128)
        .map(|step| chords[(step * 7 / 3) % 4])
        .collect::<Vec<_>>()
        .join(" ")
}

/// How long this thread has worked so far: other programs' turns on the processor are not ours.
#[cfg(target_os = "linux")]
fn worked() -> Duration {
    let mut time = libc::timespec {
        tv_sec: 0,
        tv_nsec: 0,
    };
    // SAFETY: the place is ours, and the clock is one that every Linux has.
    #[expect(unsafe_code, reason = "the standard library tells no thread's time")]
    let failed = unsafe { libc::clock_gettime(libc::CLOCK_THREAD_CPUTIME_ID, &mut time) };
    assert_eq!(failed, 0);
    Duration::new(time.tv_sec as u64, time.tv_nsec as u32)
}

#[cfg(not(target_os = "linux"))]
fn worked() -> Duration {
    static BEGUN: std::sync::LazyLock<std::time::Instant> =
        std::sync::LazyLock::new(std::time::Instant::now);
    BEGUN.elapsed()
}

/// A window, and an engine that plays.
struct Desk {
    parameters: Arc<Parameters>,
    host: Arc<Host>,
    shell: Shell,
    context: Context,
    engine: Engine,
    feed: Feed,
    position: f64,
    time: f64,
    zoom: f32,
    /// Where the pointer goes to and fro, if it is in the window.
    pointer: Option<Rect>,
}

/// What a frame took, in milliseconds.
#[derive(Clone, Copy)]
struct Took {
    own: f64,
    triangles: f64,
}

impl Desk {
    fn new(phrase: &str, set: &[(&str, &str)]) -> Self {
        let (parameters, _audio) = Parameters::new();
        let host = Host::new(parameters.clone());
        let usual = [
            ("copies", "8"),
            ("dwell", "1"),
            ("drift", "8"),
            ("hold", "On"),
        ];
        for (id, text) in usual.iter().chain(set) {
            host.automate_to(id, text);
        }
        let phrase = Phrase::from_text(phrase, 0.25).expect("these words are notes");
        parameters.kept.edit(|kept| {
            kept.taken.phrase = phrase.clone();
            kept.taken.anchor = Anchor::Song(0.0);
        });
        let mut engine = Engine::new(RATE);
        engine.edit(&phrase, Anchor::Song(0.0));
        let (feed, seer) = feed();
        let mut shell = Shell::new(parameters.clone(), seer, Bell::default());
        let context = Context::default();
        shell.prepare(&context);
        Self {
            position: 2.2 * phrase.length(),
            parameters,
            host,
            shell,
            context,
            engine,
            feed,
            time: 0.0,
            zoom: 1.0,
            pointer: None,
        }
    }

    fn play(&mut self) {
        let transport = Transport {
            playing: true,
            tempo: Some(TEMPO),
            position: Some(self.position),
        };
        let controls = Controls {
            settings: self.parameters.settings(&self.parameters.kept.current()),
            hold: true,
            ..Controls::default()
        };
        let block = self.engine.begin(&transport, BLOCK, &controls, |_| ());
        block.finish(|_| ());
        let news = self.engine.take_news();
        self.feed.show(&self.engine, &news, Bars::default());
        self.position += f64::from(BLOCK) * TEMPO / (60.0 * RATE);
    }

    fn input(&mut self) -> RawInput {
        self.time += f64::from(BLOCK) / RATE;
        let mut input = RawInput {
            screen_rect: Some(Rect::from_min_size(Pos2::ZERO, SIZE)),
            time: Some(self.time),
            focused: true,
            ..RawInput::default()
        };
        if let Some(room) = self.pointer {
            let way = (self.time * 0.7).sin() as f32 * 0.5 + 0.5;
            let at = room.min + room.size() * vec2(way, (way * 3.0).fract());
            input.events.push(Event::PointerMoved(at));
        }
        if let Some(viewport) = input.viewports.get_mut(&input.viewport_id) {
            viewport.native_pixels_per_point = Some(self.zoom);
        }
        input
    }

    fn frame(&mut self, empty: bool) -> Took {
        self.play();
        let input = self.input();
        let context = self.context.clone();
        let (parameters, host) = (self.parameters.clone(), self.host.context());
        let begun = worked();
        let output = context.run_ui(input, |ui| {
            if !empty {
                let moved = self.shell.show(ui, &|gesture| {
                    gesture.make(&parameters, &host.param_setter());
                });
                assert!(moved, "the song stands still");
            }
        });
        let own = worked() - begun;
        assert!(empty || output.shapes.len() > 100, "nothing was drawn");
        let begun = worked();
        let triangles = context.tessellate(output.shapes, output.pixels_per_point);
        std::hint::black_box(triangles);
        let triangles = worked() - begun;
        Took {
            own: own.as_secs_f64() * 1e3,
            triangles: triangles.as_secs_f64() * 1e3,
        }
    }

    fn measure(&mut self, name: &str, empty: bool, mut before: impl FnMut(&Host, usize)) {
        let mut frame = |index| {
            before(&self.host.clone(), index);
            self.frame(empty)
        };
        (0..WARM).for_each(|index| {
            frame(index);
        });
        let took: Vec<Took> = (WARM..WARM + FRAMES).map(frame).collect();
        let of = |pick: fn(&Took) -> f64| {
            let mut sorted: Vec<f64> = took.iter().map(pick).collect();
            sorted.sort_by(f64::total_cmp);
            let at = |share: f64| sorted[((sorted.len() - 1) as f64 * share) as usize];
            format!("{:7.3} {:7.3} {:7.3}", at(0.5), at(0.95), at(1.0))
        };
        println!(
            "{name:46} {}   {}",
            of(|took| took.own),
            of(|took| took.triangles)
        );
    }
}

const VIEWS: [View; 4] = [View::Notes, View::Alignments, View::Phrase, View::Sonority];

/// Rooms of a window of this size, near enough.
const PLAN: Rect = Rect::from_min_max(pos2(20.0, 80.0), pos2(890.0, 300.0));
const CIRCLE: Rect = Rect::from_min_max(pos2(20.0, 340.0), pos2(400.0, 720.0));
const CHOSEN: Rect = Rect::from_min_max(pos2(460.0, 390.0), pos2(890.0, 720.0));

fn main() {
    println!("1200 x 800 points, eight copies drifting, {FRAMES} frames; times in ms\n");
    println!(
        "{:46} {:^23}   {:^23}",
        "", "own work", "triangles (the framework)"
    );
    let columns = format!("{:>7} {:>7} {:>7}", "median", "95 %", "worst");
    println!("{:46} {columns}   {columns}", "");
    Desk::new(USUAL, &[]).measure("an empty frame", true, |_, _| ());
    for view in VIEWS {
        let mut desk = Desk::new(USUAL, &[]);
        desk.shell.choose(view);
        let name = format!("plan, circle and {}", view.name().to_lowercase());
        desk.measure(&name, false, |_, _| ());
    }
    for (name, room, view) in [
        ("pointer over the plan", PLAN, View::Notes),
        ("pointer over the circle", CIRCLE, View::Notes),
        ("pointer over the notes", CHOSEN, View::Notes),
        ("pointer over the alignments", CHOSEN, View::Alignments),
        ("pointer over the phrase", CHOSEN, View::Phrase),
        ("pointer over the sonority", CHOSEN, View::Sonority),
    ] {
        let mut desk = Desk::new(USUAL, &[]);
        desk.shell.choose(view);
        desk.pointer = Some(room);
        desk.measure(name, false, |_, _| ());
    }
    for view in VIEWS {
        let mut desk = Desk::new(&fullest(), &[]);
        desk.shell.choose(view);
        let name = format!("512 notes, {}", view.name().to_lowercase());
        desk.measure(&name, false, |_, _| ());
    }
    let growing = [
        ("growth", "Fill"),
        ("growth_every", "4"),
        ("copies_grow", "On"),
        ("entry", "4"),
    ];
    Desk::new(USUAL, &growing).measure("the phrase grows, each copy too", false, |_, _| ());
    let endless = [("shifts", "Endless"), ("shift_by", "3 steps")];
    Desk::new(USUAL, &endless).measure("endless, three steps at a time", false, |_, _| ());
    // 128 alignments for each of eight copies: some two thousand stages.
    let longest = [("copies_move", "In turn"), ("drift", "1")];
    Desk::new(&fullest(), &longest).measure("the longest form", false, |_, _| ());
    let mut desk = Desk::new(&fullest(), &longest);
    desk.measure(
        "the longest form, a level is automated",
        false,
        |host, frame| {
            host.automate("copy3_level", (frame % 60) as f32 / 60.0);
        },
    );
    let mut desk = Desk::new(&fullest(), &longest);
    desk.measure(
        "the longest form, the drift is automated",
        false,
        |host, frame| {
            host.automate("drift", (frame % 60) as f32 / 60.0);
        },
    );
    let folding = [("fold", "By degree"), ("target_mode", "Lydian")];
    for (name, id) in [
        ("a level is automated", "copy3_level"),
        ("the fold is automated", "fold_amount"),
        ("an offset is automated", "copy3_offset"),
        ("the drift is automated", "drift"),
    ] {
        for view in VIEWS {
            let mut desk = Desk::new(&fullest(), &folding);
            desk.shell.choose(view);
            let name = format!("512 notes, {}, {name}", view.name().to_lowercase());
            desk.measure(&name, false, |host, frame| {
                host.automate(id, (frame % 60) as f32 / 60.0);
            });
        }
    }
    let mut desk = Desk::new(USUAL, &[]);
    desk.zoom = 2.0;
    desk.measure("at 2 pixels a point", false, |_, _| ());
}
