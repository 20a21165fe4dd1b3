//! The audio thread: it never touches the allocator, whatever happens. The plug-in is linked in
//! its debug build, in which the framework aborts the program if `process` does; so every
//! statement of these files is one about that, too. Here is the largest case, a host that does
//! everything at once by chance, and the proof that the guard is awake.

mod common;

use common::plugin;
use procession_core::note::{Key, Note, Velocity};
use procession_core::phrase::Phrase;
use procession_tests::host::{
    Address, Block, Error, Event, Plugin, Processing, Setup, Timed, Transport,
};
use procession_tests::staging::{ByHand, Dice, framed, held, project, sixteenths};
use std::process::{Command, Output};

type Outcome = Result<(), Error>;

/// 128 notes in 32 beats, no two next to each other alike.
fn long_phrase() -> Phrase {
    let notes = (0..128u32).map(|step| Note {
        onset: f64::from(step) * 0.25,
        length: 0.6,
        key: Key::new((step * 29 % 127) as u8).expect("a remainder of 127 is a key"),
        velocity: Velocity::new(0.7),
        said: None,
    });
    Phrase::new(notes, 32.0).expect("128 notes are a phrase")
}

/// A host by chance: what it may do, and where it stands.
struct Chance {
    dice: Dice,
    hand: ByHand,
    parameters: Vec<(u32, f64, f64)>,
    projects: Vec<Vec<u8>>,
    position: f64,
    tempo: f64,
    playing: bool,
}

impl Chance {
    fn new(seed: u64) -> Result<Self, Error> {
        let mut plugin = plugin()?;
        plugin.load(&project(&long_phrase(), 0.0, true))?;
        plugin.set("copies", "8")?;
        let parameters = plugin.parameters();
        let ranges = parameters
            .iter()
            .map(|each| (each.number, each.min, each.max));
        Ok(Self {
            dice: Dice::new(seed),
            parameters: ranges.collect(),
            hand: ByHand::new(plugin.activate(Setup::default())?.start()?),
            projects: vec![
                project(&long_phrase(), 3.5, true),
                project(&sixteenths("D4 F4+A4 - . | G4 - - E4"), 0.0, false),
                framed("{\"params\":{},\"fields\":{}}"),
                framed("no state at all"),
                Vec::new(),
            ],
            position: 0.0,
            tempo: 120.0,
            playing: true,
        })
    }

    /// A block with whatever falls into it.
    fn block(&mut self) -> Outcome {
        let frames = self.dice.one_of(&[1, 7, 32, 64, 441, 1_024, 4_096]);
        let mut events: Vec<Timed> = (0..self.dice.below(12))
            .map(|_| {
                let frame = self.dice.below(u64::from(frames)) as u32;
                self.event().at(frame)
            })
            .collect();
        events.sort_by_key(|event| event.frame);
        let mut block = Block::of(frames);
        if self.dice.below(20) > 0 {
            block = block.transport(self.transport());
        }
        events.into_iter().for_each(|event| block.push(event));
        self.hand.block(&block)?;
        if self.playing {
            self.position += f64::from(frames) * self.tempo / (60.0 * 48_000.0);
        }
        Ok(())
    }

    fn transport(&self) -> Transport {
        Transport {
            playing: self.playing,
            ..Transport::rolling(self.tempo).at(self.position)
        }
    }

    fn event(&mut self) -> Event {
        let dice = &mut self.dice;
        let note = Address {
            channel: (dice.below(8) > 0).then_some(dice.below(4) as u16),
            key: (dice.below(8) > 0).then_some(50 + dice.below(24) as u16),
            id: (dice.below(2) > 0).then_some(dice.below(9) as u32),
        };
        let velocity = dice.part();
        match dice.below(8) {
            0 | 1 => Event::NoteOn { note, velocity },
            2 => Event::NoteOff { note, velocity },
            3 => Event::controller(dice.below(16) as u8, dice.below(120) as u8, 64),
            4 => Event::pitch_bend(dice.below(16) as u8, dice.below(16_384) as u16),
            5 if dice.below(9) == 0 => {
                self.position = dice.part() * 400.0 - 20.0;
                Event::Transport(Transport {
                    playing: true,
                    ..Transport::rolling(self.tempo).at(self.position)
                })
            }
            _ => {
                let (parameter, min, max) = dice.one_of(&self.parameters);
                let value = min + dice.part() * (max - min);
                Event::Value { parameter, value }
            }
        }
    }

    /// Between two blocks.
    fn turn(mut self) -> Result<Self, Error> {
        match self.dice.below(60) {
            0 => self.position = self.dice.part() * 4_000.0 - 40.0,
            1 => self.playing = !self.playing,
            2 => self.tempo = self.dice.one_of(&[31.0, 97.3, 120.0, 333.0]),
            3 => {
                let index = self.dice.below(self.projects.len() as u64) as usize;
                // What is no project is refused; nothing else may follow from it.
                let _ = self.hand.plugin.load(&self.projects[index]);
            }
            4 => self.hand.plugin.reset(),
            5 => {
                let room = self.dice.one_of(&[0, 1, 3, 50, 16_384]);
                self.hand.plugin.audio().set_room(room);
            }
            6 => self.hand = self.hand.with_plugin(|plugin| plugin.stop().start())?,
            7 => {
                let rate = self.dice.one_of(&[44_100.0, 48_000.0, 192_000.0]);
                let setup = Setup {
                    sample_rate: rate,
                    ..Setup::default()
                };
                let again = |plugin: Plugin<Processing>| {
                    plugin.stop().deactivate().activate(setup)?.start()
                };
                self.hand = self.hand.with_plugin(again)?;
            }
            8 => {
                self.hand.plugin.save()?;
            }
            9 => self
                .hand
                .plugin
                .set("hold", self.dice.one_of(&["On", "Off"]))?,
            10 => {
                let plugin = &mut self.hand.plugin;
                plugin.set("begin_on", self.dice.one_of(&["Now", "Beat", "Bar"]))?;
                plugin.set("end_on", self.dice.one_of(&["Now", "Cycle"]))?;
                plugin.set("count_in", self.dice.one_of(&["0 bars", "1 bar", "2 bars"]))?;
            }
            _ => {}
        }
        Ok(self)
    }

    /// The hand is lifted, hold let go, and the list has room for everything that waited.
    fn end(mut self) -> Outcome {
        let plugin = &mut self.hand.plugin;
        plugin.audio().set_room(16_384);
        plugin.set("end_on", "Now")?;
        plugin.set("hold", "Off")?;
        plugin.set("bypass", "Off")?;
        let off = Event::NoteOff {
            note: Address::ANY,
            velocity: 0.0,
        };
        self.hand.block(&Block::of(64).event(0, off))?;
        self.hand.block(&Block::of(64))?;
        self.hand.recording().assert_no_note_hangs();
        assert!(self.hand.recording().notes().len() > 100);
        Ok(())
    }
}

#[test]
fn whatever_a_host_does_nothing_is_allocated_and_every_note_on_has_exactly_one_note_off() -> Outcome
{
    for seed in 0..40 {
        // Shown if the test fails.
        println!("seed {seed}");
        let mut host = Chance::new(seed)?;
        for _ in 0..600 {
            host.block()?;
            host = host.turn()?;
        }
        host.end()?;
    }
    Ok(())
}

#[test]
fn eight_copies_of_128_notes_drift_grow_and_fold_for_an_hour() -> Outcome {
    let settings = [
        ("copies", "8"),
        ("dwell", "1"),
        ("drift", "1"),
        ("shifts", "Endless"),
        ("growth", "Fill"),
        ("growth_step", "8"),
        ("growth_every", "1"),
        ("fold", "By degree"),
        ("target_mode", "Whole-tone"),
        ("copies_grow", "On"),
    ];
    let mut session = held(plugin()?, &long_phrase(), &settings)?.tempo(240.0);
    session.ramp("fold_amount", (0.0, 0.0), (1_000.0, 1.0), 3_000)?;
    session.ramp("offset", (700.0, 0.0), (2_000.0, 1.0), 3_000)?;
    session.automate(14_000.0, "hold", "Off")?;
    let mut notes = 0;
    // By the hundred beats: a recording of it all would be large.
    for _ in 0..141 {
        session.run(100.0)?;
        notes += session
            .recording()
            .events()
            .iter()
            .filter(|heard| matches!(heard.event, Event::NoteOn { .. }))
            .count() as i64;
        notes -= session
            .recording()
            .events()
            .iter()
            .filter(|heard| matches!(heard.event, Event::NoteOff { .. }))
            .count() as i64;
        session.forget();
    }
    assert_eq!(notes, 0, "begun and not ended");
    Ok(())
}

/// Tells a copy of this program that it is to play the part named here.
const PART: &str = "PROCESSION_TEST_PART";

/// Runs one test of this program in a process of its own, playing `part`.
fn in_a_process_of_its_own(test: &str, part: &str) -> Output {
    let program = std::env::current_exe().expect("a test is a program");
    Command::new(program)
        .args(["--exact", test, "--nocapture"])
        .env(PART, part)
        .output()
        .expect("a test can run itself")
}

/// A block of held music, with a host's list that has room or grows.
fn a_block(lets_list_grow: bool) -> Outcome {
    let mut session = held(plugin()?, &sixteenths("D4 F4 G4 A4"), &[("copies", "8")])?;
    if lets_list_grow {
        session.plugin().audio().let_list_grow();
    }
    session.run(1.0)
}

#[test]
fn the_guard_is_awake_a_host_that_asks_for_memory_within_a_block_dies_of_it() -> Outcome {
    match std::env::var(PART).as_deref() {
        Ok("proper") => return a_block(false),
        Ok("asking") => return a_block(true),
        _ => {}
    }
    let test = "the_guard_is_awake_a_host_that_asks_for_memory_within_a_block_dies_of_it";
    let proper = in_a_process_of_its_own(test, "proper");
    assert!(proper.status.success(), "{proper:?}");
    let asking = in_a_process_of_its_own(test, "asking");
    assert!(!asking.status.success(), "nobody noticed");
    let said = String::from_utf8_lossy(&asking.stderr);
    assert!(said.contains("memory allocation of"), "{said}");
    Ok(())
}
