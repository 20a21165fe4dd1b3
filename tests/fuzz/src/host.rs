//! A host that does as the bytes say: parameters, notes, controllers, transports, blocks of every
//! size, in every order.

use crate::state::plugin;
use arbitrary::{Arbitrary, Result as Bytes, Unstructured};
use procession_core::phrase::Phrase;
use procession_tests::host::{Address, Block, Error, Event, Setup, Timed, Transport};
use procession_tests::staging::{ByHand, project};

/// Most blocks that a host asks for, and most frames in one.
const MOST_BLOCKS: usize = 200;
const LONGEST: u32 = 4_096;

/// Whatever the host does, events leave in order and within their block, and no note hangs.
pub fn run(bytes: &[u8]) {
    if let Err(error) = play(&mut Unstructured::new(bytes)) {
        panic!("{error}");
    }
}

fn play(bytes: &mut Unstructured) -> Result<(), Error> {
    let Ok(phrase) = Phrase::from_text("D4 F4+A4 - . | G4 - - E4", 0.25) else {
        unreachable!("that is a phrase");
    };
    let mut plugin = plugin();
    plugin.load(&project(&phrase, 0.0, true))?;
    let parameters: Vec<_> = plugin
        .parameters()
        .iter()
        .map(|each| (each.number, each.min, each.max))
        .collect();
    let mut hand = ByHand::new(plugin.activate(Setup::default())?.start()?);
    for _ in 0..MOST_BLOCKS {
        if bytes.is_empty() {
            break;
        }
        // The host's own list checks the order of what leaves.
        hand.block(&block(bytes, &parameters).unwrap_or(Block::of(1)))?;
    }
    hand.plugin.set("bypass", "Off")?;
    hand.plugin.set("end_on", "Now")?;
    hand.plugin.set("hold", "Off")?;
    let note = Address::ANY;
    let velocity = 0.0;
    hand.block(&Block::of(64).event(0, Event::NoteOff { note, velocity }))?;
    hand.block(&Block::of(64))?;
    hand.recording().assert_no_note_hangs();
    Ok(())
}

fn block(bytes: &mut Unstructured, parameters: &[(u32, f64, f64)]) -> Bytes<Block> {
    let frames = match bytes.int_in_range(0..=3)? {
        0 => 1,
        1 => 64,
        2 => 1_024,
        _ => bytes.int_in_range(1..=LONGEST)?,
    };
    let mut block = Block::of(frames);
    if bytes.ratio(7, 8)? {
        block = block.transport(transport(bytes)?);
    }
    for _ in 0..bytes.int_in_range(0..=12)? {
        let frame = match bytes.ratio(1, 16)? {
            true => u32::arbitrary(bytes)?,
            false => bytes.int_in_range(0..=frames)?,
        };
        let event = event(bytes, parameters)?;
        block.push(Timed { frame, event });
    }
    Ok(block)
}

/// Numbers that make sense, and some that do not.
fn number(bytes: &mut Unstructured, least: f64, most: f64) -> Bytes<f64> {
    if bytes.ratio(1, 32)? {
        return f64::arbitrary(bytes);
    }
    let share = f64::from(u16::arbitrary(bytes)?) / f64::from(u16::MAX);
    Ok(least + share * (most - least))
}

fn transport(bytes: &mut Unstructured) -> Bytes<Transport> {
    let tempo = number(bytes, 20.0, 400.0)?;
    let position = number(bytes, -8.0, 400.0)?;
    Ok(Transport {
        playing: bytes.ratio(7, 8)?,
        ..Transport::rolling(tempo).at(position)
    })
}

fn event(bytes: &mut Unstructured, parameters: &[(u32, f64, f64)]) -> Bytes<Event> {
    let note = Address {
        channel: Option::<u16>::arbitrary(bytes)?.map(|channel| channel % 18),
        key: Option::<u16>::arbitrary(bytes)?.map(|key| key % 130),
        id: Option::<u32>::arbitrary(bytes)?.map(|id| id % 20),
    };
    let velocity = number(bytes, 0.0, 1.0)?;
    Ok(match bytes.int_in_range(0..=8)? {
        0 | 1 => Event::NoteOn { note, velocity },
        2 => Event::NoteOff { note, velocity },
        3 => Event::Choke(note),
        4 => Event::Midi(<[u8; 3]>::arbitrary(bytes)?),
        5 => Event::Transport(transport(bytes)?),
        6 => {
            let (parameter, least, most) = *bytes.choose(parameters)?;
            let amount = number(bytes, least - most, most - least)?;
            Event::Modulation { parameter, amount }
        }
        _ => {
            let (parameter, least, most) = *bytes.choose(parameters)?;
            let value = number(bytes, least, most)?;
            Event::Value { parameter, value }
        }
    })
}
