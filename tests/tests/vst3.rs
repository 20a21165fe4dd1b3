//! What a VST3 host can rely on, tried on the built bundle. None of it is about processes: these
//! are notes passed on while nothing is held, and the ways in which hosts are careless.
//!
//! A plug-in that misbehaves ends its host, and a host calls a bundle from one thread: so each of
//! these hosts is a process of its own.

use procession_tests::host::{Address, Block, Error, Event, Timed, Transport};
use procession_tests::places::places;
use procession_tests::vst3_host::{
    Audio, Buses, Context, Module, Parameter, Playing, Plugin, Saved, Setup,
};
use std::process::Command;

type Outcome = Result<(), Error>;

fn playing() -> Result<Playing, Error> {
    Module::built()?.first_plugin()?.start(Setup::default())
}

/// The first parameter with a continuous course that a host can record.
fn automatable(plugin: &Plugin) -> Parameter {
    plugin
        .parameters()
        .into_iter()
        .find(|parameter| parameter.automatable && !parameter.hidden && parameter.steps == 0)
        .expect("some parameter can be automated")
}

/// What a saved state says of a parameter: a new instance shows it. The instance that was
/// automated need not: its editing half waits to be told by the host.
fn kept_value(saved: &Saved, parameter: u32) -> Result<f64, Error> {
    let mut plugin = Module::built()?.first_plugin()?;
    plugin.load(saved)?;
    Ok(plugin.value(parameter))
}

/// Frames, keys and whether they begin: what is left of notes when ids do not matter.
fn notes(heard: &[Timed]) -> Vec<(u32, Option<u16>, Option<u16>, &'static str)> {
    heard
        .iter()
        .filter_map(|timed| match timed.event {
            Event::NoteOn { note, .. } => Some((timed.frame, note.channel, note.key, "on")),
            Event::NoteOff { note, .. } => Some((timed.frame, note.channel, note.key, "off")),
            _ => None,
        })
        .collect()
}

fn phrase() -> Vec<Timed> {
    vec![
        Event::note_on(0, 60, 0.5).at(0),
        Event::note_on(0, 64, 0.25).at(1),
        Event::note_off(0, 60).at(31),
        Event::note_on(3, 67, 1.0).at(31),
        Event::note_off(0, 64).at(63),
        Event::note_off(3, 67).at(63),
    ]
}

fn block_of(frames: u32, events: Vec<Timed>) -> Block {
    let mut block = Block::of(frames);
    events.into_iter().for_each(|event| block.push(event));
    block
}

/// Runs the calling test again in a process of its own, and says whether that came back.
fn in_a_host_of_its_own(body: impl FnOnce() -> Outcome) -> Outcome {
    match is_a_host_of_its_own() {
        true => body(),
        false => run_again(None),
    }
}

const CHILD: &str = "PROCESSION_HOST_OF_ITS_OWN";

fn is_a_host_of_its_own() -> bool {
    std::env::var_os(CHILD).is_some()
}

fn run_again(display: Option<&str>) -> Outcome {
    what_is_said_again(display).map(drop)
}

/// The same; what it said.
fn what_is_said_again(display: Option<&str>) -> Result<String, Error> {
    let thread = std::thread::current();
    let name = thread.name().expect("a test has its name");
    let program = std::env::current_exe().expect("a test is a program");
    let output = Command::new(program)
        .args(["--exact", name, "--nocapture"])
        .env(CHILD, "1")
        .envs(display.map(|display| ("DISPLAY", display)))
        .output()
        .expect("a program can start itself");
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(
        output.status.success(),
        "the host ended with {}:\n{said}",
        output.status,
    );
    // What could not be tried is not to be passed over in silence.
    said.lines()
        .filter(|line| line.starts_with(NOT_TRIED))
        .for_each(|line| eprintln!("{line}"));
    Ok(said.into_owned())
}

/// What a bundle says when something is not as it should be.
const WARNINGS: [&str; 2] = ["WARN", "ERROR"];

const NOT_TRIED: &str = "not tried";

#[test]
fn the_bundle_holds_one_effect_with_notes_and_stereo_both_ways() -> Outcome {
    in_a_host_of_its_own(|| {
        let module = Module::built()?;
        let classes = module.classes();
        let [class] = &classes[..] else {
            panic!("one class was expected: {classes:#?}");
        };
        assert_eq!(class.category, "Audio Module Class");
        assert!(class.subcategories.starts_with("Fx"), "{class:?}");
        let plugin = module.first_plugin()?;
        assert_eq!(plugin.event_buses(), (1, 1));
        assert_eq!(plugin.audio_buses(), (1, 1));
        Ok(())
    })
}

#[test]
fn every_parameter_that_is_shown_has_a_name_of_its_own_and_can_be_read() -> Outcome {
    in_a_host_of_its_own(|| {
        let plugin = Module::built()?.first_plugin()?;
        let shown: Vec<_> = plugin
            .parameters()
            .into_iter()
            .filter(|parameter| !parameter.hidden)
            .collect();
        assert!(!shown.is_empty());
        for parameter in &shown {
            let same = shown.iter().filter(|other| other.name == parameter.name);
            assert_eq!(same.count(), 1, "{parameter:?}");
            let text = plugin.text_of(parameter.number, parameter.default)?;
            let back = plugin.value_of(parameter.number, &text)?;
            assert!(
                (back - parameter.default).abs() < 1e-3,
                "{parameter:?} reads \"{text}\", which means {back}"
            );
        }
        Ok(())
    })
}

#[test]
fn played_notes_pass_through_on_their_own_frames() -> Outcome {
    in_a_host_of_its_own(|| {
        let mut plugin = playing()?;
        let heard = plugin.process(&block_of(64, phrase()).transport(Transport::rolling(120.0)))?;
        assert_eq!(notes(heard), notes(&phrase()));
        let velocities: Vec<_> = heard
            .iter()
            .filter_map(|timed| match timed.event {
                Event::NoteOn { velocity, .. } => Some(velocity),
                _ => None,
            })
            .collect();
        assert_eq!(velocities, [0.5, 0.25, 1.0]);
        Ok(())
    })
}

#[test]
fn a_block_of_one_frame_is_enough_for_a_note() -> Outcome {
    in_a_host_of_its_own(|| {
        let mut plugin = playing()?;
        let on = plugin.process(&Block::of(1).event(0, Event::note_on(0, 60, 0.5)))?;
        assert_eq!(notes(on), [(0, Some(0), Some(60), "on")]);
        let off = plugin.process(&Block::of(1).event(0, Event::note_off(0, 60)))?;
        assert_eq!(notes(off), [(0, Some(0), Some(60), "off")]);
        Ok(())
    })
}

#[test]
fn every_movement_of_a_controller_is_passed_on() -> Outcome {
    in_a_host_of_its_own(|| {
        let mut plugin = playing()?;
        let movements = [
            Event::controller(0, 10, 0).at(0),
            Event::controller(0, 10, 64).at(10),
            Event::controller(15, 1, 127).at(11),
            Event::pitch_bend(2, 8192).at(12),
            Event::pressure(9, 100).at(13),
            Event::controller(0, 10, 127).at(63),
        ];
        let heard = plugin.process(&block_of(64, movements.to_vec()))?;
        assert_eq!(heard, movements);
        Ok(())
    })
}

/// On opening a project, a host sends what it takes for moved: of this plug-in every controller, on
/// every channel, since the framework contradicts itself about them. Passed on, that is volume,
/// expression and modulation at a half.
#[test]
fn a_project_that_is_opened_moves_no_controller_of_the_instruments_behind() -> Outcome {
    in_a_host_of_its_own(|| {
        let mut plugin = playing()?;
        let saved = plugin.save()?;
        plugin.open_project(&saved)?;
        let heard = plugin.process(&block_of(64, phrase()))?;
        let channel_wide: Vec<_> = heard
            .iter()
            .filter(|timed| matches!(timed.event, Event::Midi(bytes) if bytes[0] & 0xF0 != 0xE0))
            .collect();
        assert!(
            channel_wide.is_empty(),
            "{} of them, from {:?} on",
            channel_wide.len(),
            channel_wide[0]
        );
        // A bend at the middle is none, and harms nobody.
        for timed in heard {
            if let Event::Midi([0xE0..=0xEF, low, high]) = timed.event {
                assert_eq!((low, high), (0, 64), "{timed:?}");
            }
        }
        assert_eq!(notes(heard), notes(&phrase()));
        Ok(())
    })
}

#[test]
fn a_hand_may_put_a_controller_anywhere() -> Outcome {
    in_a_host_of_its_own(|| {
        let mut plugin = playing()?;
        let saved = plugin.save()?;
        plugin.open_project(&saved)?;
        plugin.process(&Block::of(64))?;
        for value in 0..=127 {
            let movements = [
                Event::controller(0, 7, value).at(3),
                Event::pressure(5, value).at(4),
            ];
            let heard = plugin.process(&block_of(64, movements.to_vec()))?;
            assert_eq!(heard, movements);
        }
        Ok(())
    })
}

/// One host keeps lanes by place. The list is the contract: what is new comes at its very end.
#[test]
fn a_host_that_keeps_lanes_by_place_finds_every_parameter_where_it_was() -> Outcome {
    in_a_host_of_its_own(|| {
        let parameters = Module::built()?.first_plugin()?.parameters();
        let shown = parameters.iter().take_while(|parameter| !parameter.hidden);
        let names: Vec<_> = shown.map(|parameter| parameter.name.clone()).collect();
        assert_eq!(names, places());
        let behind = &parameters[names.len()..];
        assert!(behind.iter().all(|parameter| parameter.hidden));
        Ok(())
    })
}

/// A beat is 24 000 frames, a bar four beats.
#[test]
fn hold_begins_the_phrase_of_before_on_the_sample_of_the_lane_or_on_the_next_bar() -> Outcome {
    in_a_host_of_its_own(|| {
        let mut plugin = playing()?;
        let hold = plugin.parameter("Hold")?.number;
        let begin_on = plugin.parameter("Begin on")?.number;
        let turn = |parameter, value| Event::Value { parameter, value };
        let events = [
            (0, Event::note_on(0, 62, 0.7)),
            (20_000, Event::note_off(0, 62)),
            // A phrase of one beat is taken.
            (24_000, turn(hold, 1.0)),
            (36_000, turn(hold, 0.0)),
            (39_000, turn(begin_on, 0.0)),
            (40_137, turn(hold, 1.0)),
            (60_000, turn(hold, 0.0)),
            (60_000, turn(begin_on, 1.0)),
            (70_001, turn(hold, 1.0)),
        ];
        let mut struck = Vec::new();
        for begun in (0..100_000_u32).step_by(1_000) {
            let beats = f64::from(begun) / 24_000.0;
            let mut block = Block::of(1_000).transport(Transport::rolling(120.0).at(beats));
            for (at, event) in events {
                if (begun..begun + 1_000).contains(&at) {
                    block.push(event.at(at - begun));
                }
            }
            for (frame, channel, _, kind) in notes(plugin.process(&block)?) {
                if kind == "on" && channel == Some(0) {
                    struck.push(begun + frame);
                }
            }
        }
        assert_eq!(struck, [0, 24_000, 40_137, 96_000]);
        Ok(())
    })
}

#[test]
fn a_parameter_moving_within_a_block_leaves_notes_on_their_frames() -> Outcome {
    in_a_host_of_its_own(|| {
        let mut plugin = playing()?;
        let parameter = automatable(&plugin).number;
        let course = [(0, 0.1), (16, 0.2), (31, 0.3), (48, 0.7)];
        let events = course
            .map(|(frame, value)| Event::Value { parameter, value }.at(frame))
            .into_iter()
            .chain(phrase())
            .collect();
        let heard = plugin.process(&block_of(64, events))?;
        assert_eq!(notes(heard), notes(&phrase()));
        let kept = kept_value(&plugin.save()?, parameter)?;
        assert!((kept - 0.7).abs() < 1e-3, "it stands at {kept}");
        Ok(())
    })
}

#[test]
fn a_saved_state_comes_back_in_another_instance() -> Outcome {
    in_a_host_of_its_own(|| {
        let module = Module::built()?;
        let mut one = module.first_plugin()?.start(Setup::default())?;
        let parameter = automatable(&one).number;
        let untouched = one.save()?;
        let value = 0.75;
        one.process(&Block::of(16).event(3, Event::Value { parameter, value }))?;
        let saved = one.save()?;
        assert!(saved != untouched, "the movement is no part of the state");
        let mut other = module.first_plugin()?;
        other.load(&saved)?;
        assert_eq!(readable(&other.save()?), readable(&saved));
        assert!((other.value(parameter) - value).abs() < 1e-3);
        Ok(())
    })
}

fn readable(saved: &Saved) -> String {
    String::from_utf8_lossy(&saved.component).into_owned()
}

#[test]
fn a_note_held_over_the_loading_of_a_state_ends_once() -> Outcome {
    in_a_host_of_its_own(|| {
        let mut plugin = playing()?;
        let saved = plugin.save()?;
        plugin.process(&Block::of(64).event(0, Event::note_on(0, 60, 0.5)))?;
        plugin.load(&saved)?;
        // At the load or at its own end: the plug-in may choose.
        let heard = plugin.process(&Block::of(64).event(5, Event::note_off(0, 60)))?;
        let ends: Vec<_> = notes(heard)
            .into_iter()
            .map(|(_, _, key, kind)| (key, kind))
            .collect();
        assert_eq!(ends, [(Some(60), "off")]);
        Ok(())
    })
}

#[test]
fn a_damaged_state_is_refused_and_changes_nothing() -> Outcome {
    in_a_host_of_its_own(|| {
        let mut plugin = playing()?;
        let before = plugin.save()?;
        let whole = &before.component;
        let damaged = [
            ("none of it", Vec::new()),
            ("its first byte", whole[..1].to_vec()),
            ("its first half", whole[..whole.len() / 2].to_vec()),
            ("all but its last byte", whole[..whole.len() - 1].to_vec()),
            ("noise", (0..=255).cycle().take(4096).collect()),
            ("the greatest length there is", vec![0xFF; 64]),
        ];
        for (what, bytes) in damaged {
            let mut saved = before.clone();
            saved.component = bytes;
            assert!(plugin.load(&saved).is_err(), "{what} was taken for a state");
            assert_eq!(plugin.save()?, before, "{what} changed something");
        }
        let heard = plugin.process(&block_of(64, phrase()))?;
        assert_eq!(notes(heard), notes(&phrase()));
        Ok(())
    })
}

#[test]
fn notes_pass_without_any_transport() -> Outcome {
    in_a_host_of_its_own(|| {
        let mut plugin = playing()?;
        for _ in 0..3 {
            let heard = plugin.process(&block_of(64, phrase()))?;
            assert_eq!(notes(heard), notes(&phrase()));
        }
        Ok(())
    })
}

#[test]
fn a_host_without_lists_of_events_is_put_up_with() -> Outcome {
    in_a_host_of_its_own(|| {
        let mut plugin = playing()?;
        plugin.audio().without_lists();
        assert_eq!(plugin.process(&Block::of(64))?, []);
        Ok(())
    })
}

#[test]
fn a_block_of_no_frames_tells_of_parameters() -> Outcome {
    in_a_host_of_its_own(|| {
        let mut plugin = playing()?;
        let parameter = automatable(&plugin).number;
        let value = 0.7;
        plugin.process(&Block::of(0).event(0, Event::Value { parameter, value }))?;
        let kept = kept_value(&plugin.save()?, parameter)?;
        assert!((kept - 0.7).abs() < 1e-3, "it stands at {kept}");
        Ok(())
    })
}

#[test]
fn a_host_that_does_not_introduce_itself_is_put_up_with() -> Outcome {
    in_a_host_of_its_own(|| {
        let module = Module::built()?;
        let mut plugin = module
            .first_plugin_with(Context::Missing)?
            .start(Setup::default())?;
        let heard = plugin.process(&block_of(64, phrase()))?;
        assert_eq!(notes(heard), notes(&phrase()));
        Ok(())
    })
}

#[test]
fn notes_pass_without_an_audio_bus_in() -> Outcome {
    in_a_host_of_its_own(|| {
        let mut plugin = playing()?;
        plugin.audio().set_buses(Buses::NoInput);
        let heard = plugin.process(&block_of(64, phrase()))?;
        assert_eq!(notes(heard), notes(&phrase()));
        Ok(())
    })
}

/// The framework does not ask the plug-in to process then, so that notes of such blocks are
/// lost; no host is known to want them.
#[test]
fn a_host_without_an_audio_bus_out_is_put_up_with() -> Outcome {
    in_a_host_of_its_own(|| {
        for buses in [
            Buses::Missing,
            Buses::NoOutput,
            Buses::NoChannels,
            Buses::NullBus,
        ] {
            let mut plugin = playing()?;
            plugin.audio().set_buses(buses);
            plugin.process(&block_of(64, phrase()))?;
            plugin.audio().set_buses(Buses::Stereo);
            let heard = plugin.process(&block_of(64, phrase()))?;
            assert_eq!(notes(heard), notes(&phrase()), "after {buses:?}");
        }
        Ok(())
    })
}

/// With audition on, and a bar that rings.
fn auditioning() -> Result<Playing, Error> {
    let mut plugin = playing()?;
    let parameter = plugin.parameter("Audition")?.number;
    let value = plugin.value_of(parameter, "-18 dB")?;
    let on = Block::of(64).event(0, Event::Value { parameter, value });
    plugin.process(&on.event(1, Event::note_on(0, 62, 0.8)))?;
    Ok(plugin)
}

/// Whether anything comes out in the next few blocks.
fn is_heard(plugin: &mut Playing) -> Result<bool, Error> {
    let mut heard = false;
    for _ in 0..8 {
        plugin.process(&Block::of(64))?;
        heard |= plugin
            .audio()
            .output()
            .iter()
            .flatten()
            .any(|sample| *sample != 0.0);
    }
    Ok(heard)
}

#[test]
fn audition_is_heard_and_a_host_that_takes_the_audio_away_meanwhile_is_put_up_with() -> Outcome {
    in_a_host_of_its_own(|| {
        for buses in [
            Buses::Missing,
            Buses::NoOutput,
            Buses::NoChannels,
            Buses::NullBus,
        ] {
            let mut plugin = auditioning()?;
            assert!(is_heard(&mut plugin)?);
            plugin.audio().set_buses(buses);
            plugin.process(&block_of(64, phrase()))?;
            plugin.audio().set_buses(Buses::Stereo);
            plugin.process(&block_of(64, phrase()))?;
            assert!(is_heard(&mut plugin)?, "after {buses:?}");
        }
        Ok(())
    })
}

/// A host may hand over channels that are null where it has switched the audio off. In its debug
/// build the framework itself aborts then, so this is for the build that users have.
#[test]
fn audition_leaves_null_channels_alone() -> Outcome {
    in_a_host_of_its_own(|| {
        if std::env::var_os("PROCESSION_VST3").is_none() {
            eprintln!("{NOT_TRIED}: null channels need a release bundle, named by PROCESSION_VST3");
            return Ok(());
        }
        let mut plugin = auditioning()?;
        plugin.audio().set_buses(Buses::NullChannels);
        let heard = plugin.process(&block_of(64, phrase()))?;
        assert_eq!(notes(heard), notes(&phrase()));
        plugin.audio().set_buses(Buses::Stereo);
        plugin.process(&block_of(64, phrase()))?;
        assert!(is_heard(&mut plugin)?);
        Ok(())
    })
}

#[test]
fn a_note_without_a_channel_or_a_key_does_no_harm() -> Outcome {
    in_a_host_of_its_own(|| {
        let mut plugin = playing()?;
        for note in [Address::ANY, Address::new(200, 999)] {
            let velocity = 0.5;
            let block = Block::of(64)
                .event(0, Event::NoteOn { note, velocity })
                .event(9, Event::NoteOff { note, velocity });
            plugin.process(&block)?;
        }
        let heard = plugin.process(&block_of(64, phrase()))?;
        assert_eq!(notes(heard), notes(&phrase()));
        Ok(())
    })
}

#[test]
fn instances_come_and_go_while_parameters_move() -> Outcome {
    in_a_host_of_its_own(|| {
        for _ in 0..20 {
            let mut plugin = playing()?;
            let parameter = automatable(&plugin).number;
            std::thread::scope(|scope| {
                let (_, audio) = plugin.split();
                scope
                    .spawn(|| moving(audio, parameter, || false))
                    .join()
                    .expect("the audio thread does not panic")
            })?;
        }
        Ok(())
    })
}

/// Some blocks in which a parameter moves, until told to stop.
fn moving(audio: &mut Audio, parameter: u32, goes_on: impl Fn() -> bool) -> Outcome {
    let mut step = 0_u32;
    while step < 64 || goes_on() {
        step += 1;
        let value = f64::from(step % 100) / 100.0;
        audio.process(&Block::of(64).event(step % 64, Event::Value { parameter, value }))?;
        // As fast as sound, about: a queue that real time would never fill is not on trial.
        std::thread::sleep(std::time::Duration::from_micros(1300));
    }
    Ok(())
}

#[cfg(target_os = "linux")]
mod window {
    use super::*;
    use procession_tests::patience::PATIENCE;
    use procession_tests::vst3_host::{Editor, RunLoop};
    use std::io::{BufRead, BufReader};
    use std::process::{Child, Stdio};
    use std::sync::atomic::{AtomicBool, Ordering};
    use std::time::Duration;

    /// A display nobody looks at, gone when dropped.
    struct Display {
        server: Child,
        name: String,
    }

    impl Display {
        /// None if there is no Xvfb on this machine.
        fn open() -> Option<Self> {
            let mut server = Command::new("Xvfb")
                .args(["-displayfd", "1", "-noreset"])
                .args(["-screen", "0", "1024x768x24"])
                .stdout(Stdio::piped())
                .stderr(Stdio::null())
                .spawn()
                .ok()?;
            let mut number = String::new();
            if let Some(output) = server.stdout.take() {
                // Without a number the name is no display, and the test says so.
                let _ = BufReader::new(output).read_line(&mut number);
            }
            let name = format!(":{}", number.trim());
            Some(Self { server, name })
        }
    }

    impl Drop for Display {
        fn drop(&mut self) {
            let _ = self.server.kill();
            let _ = self.server.wait();
        }
    }

    fn in_a_host_with_a_display(body: impl FnOnce() -> Outcome) -> Outcome {
        if is_a_host_of_its_own() {
            return body();
        }
        match Display::open() {
            Some(display) => run_again(Some(&display.name)),
            None => {
                eprintln!("{NOT_TRIED}: this needs Xvfb (Debian: apt-get install xvfb)");
                Ok(())
            }
        }
    }

    /// Opens and closes the window a few times while a parameter moves, then removes the plug-in.
    fn open_under_automation(run_loop: RunLoop) -> Outcome {
        let mut plugin = playing()?;
        let parameter = automatable(&plugin).number;
        let (main, audio) = plugin.split();
        let open = AtomicBool::new(true);
        std::thread::scope(|scope| {
            let audio = scope.spawn(|| moving(audio, parameter, || open.load(Ordering::Relaxed)));
            let window = open_and_close(main, parameter, run_loop);
            open.store(false, Ordering::Relaxed);
            audio.join().expect("the audio thread does not panic")?;
            window
        })
    }

    fn open_and_close(plugin: &mut Plugin, parameter: u32, run_loop: RunLoop) -> Outcome {
        for value in [0.2, 0.4, 0.6] {
            plugin.show(parameter, value);
            let editor: Editor = plugin.open_editor(run_loop)?;
            editor.run_for(Duration::from_millis(300));
            assert!(
                editor
                    .size()
                    .is_some_and(|(width, height)| width > 0 && height > 0)
            );
        }
        Ok(())
    }

    #[test]
    fn closing_the_window_gives_no_cause_for_warnings() -> Outcome {
        if is_a_host_of_its_own() {
            let mut plugin = playing()?;
            for _ in 0..3 {
                is_drawn(&mut plugin);
            }
            return Ok(());
        }
        if let Some(display) = Display::open() {
            let said = what_is_said_again(Some(&display.name))?;
            let warnings = said
                .lines()
                .filter(|line| WARNINGS.iter().any(|word| line.contains(word)));
            assert_eq!(warnings.collect::<Vec<_>>(), Vec::<&str>::new());
        }
        Ok(())
    }

    /// How often the window is opened below. Blank ones are rare: to look for them, say a hundred,
    /// on a machine at rest and on a busy one.
    const OPENINGS: &str = "PROCESSION_OPENINGS";

    #[test]
    fn a_window_is_drawn_however_often_it_is_opened() -> Outcome {
        in_a_host_with_a_display(|| {
            let openings = std::env::var(OPENINGS).map_or(Ok(3), |many| many.parse::<u32>());
            let openings = openings.expect("PROCESSION_OPENINGS is a number");
            let mut plugin = playing()?;
            let parameter = automatable(&plugin).number;
            let (main, audio) = plugin.split();
            let open = AtomicBool::new(true);
            let blank = std::thread::scope(|scope| {
                let audio =
                    scope.spawn(|| moving(audio, parameter, || open.load(Ordering::Relaxed)));
                let blank = (0..openings).filter(|_| !is_drawn(main)).count();
                open.store(false, Ordering::Relaxed);
                audio.join().expect("the audio thread does not panic")?;
                Ok::<_, Error>(blank)
            })?;
            assert_eq!(blank, 0, "windows of {openings} that stayed blank");
            Ok(())
        })
    }

    /// Whether a new window is drawn, however long that takes.
    fn is_drawn(plugin: &mut Plugin) -> bool {
        let editor = plugin.open_editor(RunLoop::Lent).expect("it opens");
        editor.run_until_drawn(PATIENCE).expect("there is a screen")
    }

    #[test]
    fn a_window_opened_and_closed_while_a_parameter_moves_harms_nobody() -> Outcome {
        in_a_host_with_a_display(|| open_under_automation(RunLoop::Lent))
    }

    #[test]
    fn a_host_that_lends_no_run_loop_is_put_up_with() -> Outcome {
        in_a_host_with_a_display(|| open_under_automation(RunLoop::Missing))
    }
}
