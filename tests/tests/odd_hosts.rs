//! Hosts that are within the rules and at their edges: every sample rate, every size of block and
//! one after another, many instances at once, calls in an order that nobody expects.

mod common;

use common::plugin;
use procession_tests::host::{
    Block, Buses, Error, Event, Loaded, Plugin, ProcessStatus, Setup, Timed, Transport,
};
use procession_tests::session::{Blocks, Session};
use procession_tests::staging::{ByHand, Dice, held, project, sixteenths};

type Outcome = Result<(), Error>;

const RATES: [f64; 8] = [
    8_000.0, 11_025.0, 22_050.0, 44_100.0, 48_000.0, 96_000.0, 192_000.0, 768_000.0,
];
const LONGEST: u32 = 65_536;

fn at_rate(rate: f64, settings: &[(&str, &str)]) -> Result<Session, Error> {
    let mut plugin = plugin()?;
    plugin.load(&project(&sixteenths("D4 F4 . A4"), 0.0, true))?;
    for (name, text) in settings {
        plugin.set(name, text)?;
    }
    let setup = Setup {
        sample_rate: rate,
        max_frames: LONGEST,
        ..Setup::default()
    };
    Ok(Session::new(plugin.activate(setup)?.start()?))
}

fn ons(events: &[Timed]) -> usize {
    let is_on = |timed: &&Timed| matches!(timed.event, Event::NoteOn { .. });
    events.iter().filter(is_on).count()
}

#[test]
fn the_phrase_is_in_time_at_every_sample_rate_in_blocks_of_every_size() -> Outcome {
    for rate in RATES {
        // Beside the shortest and the longest, sizes by chance. Of single frames, 4000 are enough.
        let short = 4_000.0 / rate * 2.0;
        for (blocks, beats) in [
            (Blocks::Of(1), short),
            (Blocks::Of(LONGEST), 8.0),
            (
                Blocks::Random {
                    seed: 5,
                    longest: LONGEST,
                },
                8.0,
            ),
            (Blocks::Pattern(vec![LONGEST, 1, 4_096, 7]), 8.0),
        ] {
            let mut session = at_rate(rate, &[("copies", "0")])?.blocks(blocks);
            session.run_to(beats)?;
            let line = session.recording().channel(1).between(0.0, beats);
            let words = ["D4", "F4", ".", "A4"].repeat(8);
            line.assert_attacks(0.25, &words[..(beats * 4.0).ceil() as usize].join(" "));
        }
    }
    Ok(())
}

#[test]
fn the_mallets_are_heard_and_stay_below_their_ceiling_at_every_sample_rate() -> Outcome {
    for rate in RATES {
        let settings = [("copies", "8"), ("audition", "0 dB")];
        let mut session = at_rate(rate, &settings)?.blocks(Blocks::Random {
            seed: 9,
            longest: LONGEST,
        });
        session = session.keeping_sound();
        session.run_to(2.0)?;
        let ceiling = 10_f32.powf(-3.0 / 20.0);
        for side in session.sound() {
            let loudest = side
                .iter()
                .fold(0.0_f32, |most, sample| most.max(sample.abs()));
            assert!(loudest > 0.01 && loudest < ceiling, "{loudest} at {rate}");
        }
    }
    Ok(())
}

#[test]
fn two_hundred_instances_play_side_by_side_each_its_own() -> Outcome {
    let phrases = ["D4 F4 G4 A4", "C4 . E4 .", "A3+C4 . . G4"].map(sixteenths);
    let mut hands = Vec::new();
    for index in 0..200 {
        let copies = (index % 9).to_string();
        let phrase = &phrases[index % phrases.len()];
        let session = held(plugin()?, phrase, &[("copies", &copies)])?;
        hands.push(ByHand::new(session.into_plugin()));
    }
    // Those that are there from the beginning.
    let mut struck = vec![Some(0); hands.len()];
    for block in 0..12 {
        let transport = Transport::rolling(120.0).at(f64::from(block) * 2_048.0 / 24_000.0);
        for (hand, struck) in hands.iter_mut().zip(&mut struck) {
            let heard = ons(&hand.block(&Block::of(2_048).transport(transport))?);
            *struck = struck.map(|before| before + heard);
        }
        // One goes while the others play, and another comes.
        let index = 17 * block as usize % hands.len();
        let copies = (index % 9).to_string();
        let phrase = &phrases[index % phrases.len()];
        let session = held(plugin()?, phrase, &[("copies", &copies)])?;
        hands[index] = ByHand::new(session.into_plugin());
        struck[index] = None;
    }
    // A beat is played, and what begins the next.
    for (index, struck) in struck.into_iter().enumerate() {
        let notes = [5, 3, 5][index % phrases.len()];
        let expected = struck.map(|_| notes * (1 + index % 9));
        assert_eq!(struck, expected, "instance {index}");
    }
    Ok(())
}

/// One step of a host that obeys CLAP's rules on what may be called when, and no habit.
enum Stage {
    Loaded(Plugin<Loaded>),
    Processing(Box<ByHand>),
}

#[test]
fn whatever_the_order_of_calls_the_phrase_is_kept_and_no_note_hangs() -> Outcome {
    for seed in 0..12 {
        println!("seed {seed}");
        let mut dice = Dice::new(seed);
        let mut first = plugin()?;
        first.load(&project(&sixteenths("D4 F4 . A4"), 0.0, true))?;
        let mut stage = Stage::Loaded(first);
        for _ in 0..80 {
            stage = match stage {
                Stage::Loaded(mut plugin) => match dice.below(6) {
                    // It is made active and let go again, with nothing in between.
                    0 => Stage::Loaded(plugin.activate(any_setup(&mut dice))?.deactivate()),
                    1 => {
                        plugin.set("width", "40 %")?;
                        Stage::Loaded(plugin)
                    }
                    2 => {
                        let saved = plugin.save()?;
                        plugin.load(&saved)?;
                        plugin.load(&saved)?;
                        Stage::Loaded(plugin)
                    }
                    3 => {
                        let mut active = plugin.activate(any_setup(&mut dice))?;
                        active.reset();
                        active.set("width", "50 %")?;
                        Stage::Loaded(active.start()?.stop().start()?.stop().deactivate())
                    }
                    _ => {
                        let active = plugin.activate(any_setup(&mut dice))?;
                        Stage::Processing(Box::new(ByHand::new(active.start()?)))
                    }
                },
                Stage::Processing(mut hand) => match dice.below(8) {
                    0 => {
                        end(&mut hand)?;
                        Stage::Loaded(hand.plugin.stop().deactivate())
                    }
                    1 => {
                        hand.plugin.reset();
                        hand.plugin.reset();
                        Stage::Processing(hand)
                    }
                    2 => Stage::Processing(Box::new(
                        hand.with_plugin(|plugin| plugin.stop().start())?,
                    )),
                    3 => {
                        let saved = hand.plugin.save()?;
                        hand.plugin.load(&saved)?;
                        Stage::Processing(hand)
                    }
                    _ => {
                        let longest = u64::from(hand.plugin.audio().setup().max_frames);
                        let frames = 1 + dice.below(longest) as u32;
                        let position = dice.part() * 40.0 - 4.0;
                        let transport = Transport::rolling(120.0).at(position);
                        hand.block(&Block::of(frames).transport(transport))?;
                        Stage::Processing(hand)
                    }
                },
            };
        }
        let mut hand = match stage {
            Stage::Loaded(plugin) => ByHand::new(plugin.activate(Setup::default())?.start()?),
            Stage::Processing(hand) => hand.with_plugin(|plugin| {
                plugin
                    .stop()
                    .deactivate()
                    .activate(Setup::default())?
                    .start()
            })?,
        };
        end(&mut hand)?;
        hand.plugin.set("copies", "0")?;
        hand.plugin.set("hold", "On")?;
        let block = Block::of(4_096).transport(Transport::rolling(120.0).at(0.0));
        hand.block(&block)?;
        let heard = hand.block(&Block::of(1).transport(Transport::rolling(120.0).at(8.0)))?;
        assert_eq!(ons(&heard), 1, "the first note of the phrase");
    }
    Ok(())
}

fn any_setup(dice: &mut Dice) -> Setup {
    Setup {
        sample_rate: dice.one_of(&RATES),
        max_frames: dice.one_of(&[1, 64, 4_096, LONGEST]),
        buses: dice.one_of(&[Buses::Stereo, Buses::None]),
    }
}

/// Hold goes off, and all that sounds is ended.
fn end(hand: &mut ByHand) -> Outcome {
    hand.plugin.set("hold", "Off")?;
    hand.block(&Block::of(1))?;
    hand.recording().assert_no_note_hangs();
    let status = hand.plugin.audio().status();
    assert!(!matches!(status, ProcessStatus::Tail), "{status:?}");
    hand.plugin.set("hold", "On")
}
