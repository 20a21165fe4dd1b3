//! A soak: hours of what a host may do with a held phrase, as fast as the machine can.
//!
//! Every parameter but one is automated, on a lane of its own; tempi ramp, the song loops and leaps, notes
//! come in, and the project is saved and opened meanwhile. Every ten minutes hold goes off, and
//! nothing may sound; then a project far into the song must play as on a new instance.

use crate::host::{
    Address, Block, Error, Event, Loaded, Parameter, Plugin, Processing, Setup, Timed, Transport,
    parameter_number,
};
use crate::staging::{Dice, project};
use procession_core::phrase::Phrase;
use std::collections::BTreeMap;
use std::collections::hash_map::DefaultHasher;
use std::hash::Hasher as _;

const RATE: f64 = 48_000.0;
const LONGEST: u32 = 4_096;

/// Simulated seconds between two stocktakings, and between two openings of the project.
const BETWEEN_STOCKTAKINGS: f64 = 600.0;
const BETWEEN_OPENINGS: f64 = 90.0;

/// What came of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Soaked {
    /// Of everything that left, in order: the same twice, or chance is at work.
    pub digest: u64,
    /// Notes that began.
    pub notes: u64,
    /// How often nothing sounded when nothing should, and a project played as on a new instance.
    pub stocktakings: u64,
}

/// Soaks what `make` makes for so many simulated seconds. `watch` is told after each stocktaking
/// how many have passed.
///
/// # Errors
/// The plug-in fails to process, save or load; a note hangs; a project plays otherwise than on a
/// new instance.
pub fn soak(
    make: impl Fn() -> Result<Plugin<Loaded>, Error>,
    seconds: f64,
    mut watch: impl FnMut(f64),
) -> Result<Soaked, Error> {
    let phrase = phrase()?;
    let mut host = Host::new(make()?, &phrase)?;
    let far = project(&phrase, 3.0, true);
    let expected = heard_far(&mut started(make()?)?, &far)?;
    let (mut stocktaking, mut opening) = (BETWEEN_STOCKTAKINGS.min(seconds), BETWEEN_OPENINGS);
    while host.passed < seconds {
        host.block()?;
        if host.passed >= opening {
            opening += BETWEEN_OPENINGS;
            let saved = host.plugin.save()?;
            host.plugin.load(&saved)?;
        }
        if host.passed >= stocktaking {
            stocktaking += BETWEEN_STOCKTAKINGS;
            host.take_stock(&far, &expected)?;
            watch(host.passed);
        }
    }
    Ok(Soaked {
        digest: host.digest.finish(),
        notes: host.notes,
        stocktakings: host.stocktakings,
    })
}

/// Sixteen notes over five beats, so that no bar is like the next.
fn phrase() -> Result<Phrase, Error> {
    let text = "D4 F4+A4 . G4 | C5 - A4 F4 | E4 . G4 B4 | D5 - - C5 | A4 . F4 E4";
    Phrase::from_text(text, 0.25).map_err(Error::new)
}

fn started(plugin: Plugin<Loaded>) -> Result<Plugin<Processing>, Error> {
    let setup = Setup {
        sample_rate: RATE,
        max_frames: LONGEST,
        ..Setup::default()
    };
    plugin.activate(setup)?.start()
}

/// What a project plays two days into the song: when, which key, on which channel.
fn heard_far(
    plugin: &mut Plugin<Processing>,
    project: &[u8],
) -> Result<Vec<(u32, u16, u16)>, Error> {
    plugin.load(project)?;
    let mut heard = Vec::new();
    for block in 0..24_u32 {
        let passed = block * LONGEST;
        let position = 345_603.0 + f64::from(passed) * 120.0 / (60.0 * RATE);
        let block = Block::of(LONGEST).transport(Transport::rolling(120.0).at(position));
        for timed in plugin.process(&block)? {
            if let Event::NoteOn { note, .. } = timed.event {
                let place = |number: Option<u16>| number.unwrap_or(u16::MAX);
                heard.push((passed + timed.frame, place(note.channel), place(note.key)));
            }
        }
    }
    Ok(heard)
}

/// Channel, key and number of a note.
type Sounding = (Option<u16>, Option<u16>, Option<u32>);

/// A host, and what it has heard.
struct Host {
    plugin: Plugin<Processing>,
    lanes: Vec<Parameter>,
    dice: Dice,
    /// Simulated seconds.
    passed: f64,
    position: f64,
    /// Beats a minute, and by how many more a second.
    tempo: f64,
    bend: f64,
    /// In beats.
    cycle: Option<(f64, f64)>,
    sounding: BTreeMap<Sounding, i32>,
    digest: DefaultHasher,
    notes: u64,
    stocktakings: u64,
}

impl Host {
    fn new(mut plugin: Plugin<Loaded>, phrase: &Phrase) -> Result<Self, Error> {
        plugin.load(&project(phrase, 0.0, true))?;
        plugin.set("copies", "8")?;
        // What is said into the input is worked out by a thread of its own, in its own time: with that,
        // nothing would be the same twice.
        let mut lanes = plugin.parameters();
        lanes.retain(|parameter| parameter.name != "Listen to");
        Ok(Self {
            lanes,
            plugin: started(plugin)?,
            dice: Dice::new(8),
            passed: 0.0,
            position: 0.0,
            tempo: 120.0,
            bend: 0.0,
            cycle: None,
            sounding: BTreeMap::new(),
            digest: DefaultHasher::new(),
            notes: 0,
            stocktakings: 0,
        })
    }

    /// A block of whatever comes.
    fn block(&mut self) -> Result<(), Error> {
        self.turn();
        let frames = self.dice.one_of(&[64, 441, 512, 1_024, 2_048, LONGEST]);
        let transport = Transport::rolling(self.tempo).at(self.position);
        let mut block = Block::of(frames).transport(transport);
        let mut at = 0;
        // Now and then every lane at once; else a few.
        let moves = self.dice.below(16) == 0;
        for index in 0..self.lanes.len() {
            if moves || self.dice.below(40) == 0 {
                at = (at + self.dice.below(8) as u32).min(frames - 1);
                block = block.event(at, self.lane(index));
            }
        }
        if self.dice.below(6) == 0 {
            let key = 50 + self.dice.below(24) as u16;
            block = block.event(at, Event::note_on(0, key, 0.6));
            block = block.event(frames - 1, Event::note_off(0, key));
        }
        self.play(&block)?;
        let seconds = f64::from(frames) / RATE;
        self.passed += seconds;
        self.position += seconds * self.tempo / 60.0;
        self.tempo = (self.tempo + self.bend * seconds).clamp(40.0, 280.0);
        if let Some((from, to)) = self.cycle
            && self.position >= to
        {
            self.position = from + (self.position - to);
        }
        Ok(())
    }

    /// What the song does next.
    fn turn(&mut self) {
        match self.dice.below(4_000) {
            0..4 => self.bend = self.dice.part() * 8.0 - 4.0,
            4..8 => self.bend = 0.0,
            8 => self.cycle = Some((self.position - 16.0, self.position + 4.0)),
            9..16 => self.cycle = None,
            16..20 => self.position = self.dice.part() * 70_000.0 - 8.0,
            _ => {}
        }
    }

    /// Where a parameter's lane stands: up and down its whole range, each at a pace of its own.
    /// Hold is on for most of the time and bypass off, or there would be nothing to hear.
    fn lane(&self, index: usize) -> Event {
        let parameter = &self.lanes[index];
        let pace = 1.0 / (17.0 + 3.7 * index as f64);
        let up_and_down = (2.0 * (self.passed * pace).rem_euclid(1.0) - 1.0).abs();
        let share = if parameter.bypass {
            f64::from(u8::from(up_and_down > 0.97))
        } else if parameter.number == parameter_number("hold") {
            f64::from(u8::from(up_and_down > 0.1))
        } else {
            up_and_down
        };
        Event::Value {
            parameter: parameter.number,
            value: (parameter.min + share * (parameter.max - parameter.min)),
        }
    }

    fn play(&mut self, block: &Block) -> Result<(), Error> {
        for Timed { frame, event } in self.plugin.process(block)? {
            self.digest.write_u32(*frame);
            let (note, change) = match event {
                Event::NoteOn { note, velocity } => {
                    self.notes += 1;
                    self.digest.write_u64(velocity.to_bits());
                    (note, 1)
                }
                Event::NoteOff { note, .. } => (note, -1),
                other => {
                    self.digest.write(format!("{other:?}").as_bytes());
                    continue;
                }
            };
            self.digest.write(format!("{note:?}").as_bytes());
            let place = (note.channel, note.key, note.id);
            let sounding = self.sounding.entry(place).or_default();
            *sounding += change;
            if *sounding == 0 {
                self.sounding.remove(&place);
            }
        }
        Ok(())
    }

    fn take_stock(&mut self, far: &[u8], expected: &[(u32, u16, u16)]) -> Result<(), Error> {
        let before = self.plugin.save()?;
        for (name, text) in [("bypass", "Off"), ("end_on", "Now"), ("hold", "Off")] {
            self.plugin.set(name, text)?;
        }
        let note = Address::ANY;
        let velocity = 0.0;
        self.play(&Block::of(64).event(0, Event::NoteOff { note, velocity }))?;
        self.play(&Block::of(64))?;
        let seconds = self.passed;
        if !self.sounding.is_empty() {
            let hang = &self.sounding;
            return Err(Error::new(format!(
                "after {seconds} s these hang: {hang:?}"
            )));
        }
        let heard = heard_far(&mut self.plugin, far)?;
        if heard != expected {
            return Err(Error::new(format!(
                "after {seconds} s a project far into the song plays {heard:?}, on a new instance {expected:?}"
            )));
        }
        // Silence again before what is measured goes on.
        self.plugin.set("hold", "Off")?;
        self.plugin.process(&Block::of(64))?;
        self.plugin.load(&before)?;
        self.stocktakings += 1;
        Ok(())
    }
}
