//! The built plug-in, loaded from its file as any host loads it: one piece from first to last,
//! against the same piece by the plug-in that is linked into the test.

mod common;

use procession_core::note::{Key, Note, Velocity};
use procession_core::phrase::Phrase;
use procession_tests::heard::{Heard, Recording};
use procession_tests::host::{Error, Event, Library, Loaded, Plugin, Setup};
use procession_tests::session::{Blocks, Session};
use procession_tests::staging::{listening, play_live};

type Outcome = Result<(), Error>;

/// 128 notes, no two next to each other alike: 32 beats.
fn long_phrase() -> Phrase {
    let notes = (0..128u32).map(|step| Note {
        onset: f64::from(step) * 0.25,
        length: 0.25,
        key: Key::new((step * 29 % 127) as u8).expect("a remainder of 127 is a key"),
        velocity: Velocity::new(0.7),
        said: None,
    });
    Phrase::new(notes, 32.0).expect("128 notes are a phrase")
}

fn reactivated(session: Session) -> Result<Session, Error> {
    session.change_plugin(|plugin| {
        plugin
            .stop()
            .deactivate()
            .activate(Setup::default())?
            .start()
    })
}

/// Played live and captured, eight copies, automation inside blocks, a loop, a stop, a bypass, a
/// break, a project that is closed, damaged, and opened again.
fn piece(make: &dyn Fn() -> Result<Plugin<Loaded>, Error>) -> Result<Recording, Error> {
    let settings = [
        ("copies", "8"),
        ("dwell", "1"),
        ("drift", "1"),
        ("fold", "By degree"),
        ("target_mode", "Phrygian"),
    ];
    let mut session = listening(make()?, &settings)?.blocks(Blocks::Random {
        seed: 3,
        longest: 2_000,
    });
    play_live(&mut session, 0.0, &long_phrase());
    session.automate(32.0, "hold", "On")?;
    session.ramp("fold_amount", (40.01, 0.0), (70.03, 1.0), 99)?;
    session.automate(66.6, "offset", "1.5 steps")?;
    session.automate(70.1, "bypass", "On")?;
    session.automate(72.3, "bypass", "Off")?;
    session.set_loop(Some((60.0, 75.3)));
    session.run(100.0)?;
    session.stop();
    session.run(1.0)?;
    session.play();
    session.run(5.0)?;
    let mut session = reactivated(session)?;
    session.run(5.0)?;
    let saved = session.plugin().save()?;
    assert!(session.plugin().load(&saved[..saved.len() / 2]).is_err());
    session.run(5.0)?;
    let mut session = session.change_plugin(|_| {
        let mut plugin = make()?;
        plugin.load(&saved)?;
        plugin.activate(Setup::default())?.start()
    })?;
    session.run(10.0)?;
    session.plugin().set("hold", "Off")?;
    session.run(1.0)?;
    Ok(session.recording())
}

#[test]
fn the_built_plugin_plays_the_piece_that_the_linked_one_plays() -> Outcome {
    let built = Library::built()?;
    let from_file = piece(&|| built.first_plugin())?;
    let linked = piece(&common::plugin)?;
    let plain = |heard: &Heard| -> (u64, Event) { (heard.frame, heard.event) };
    let all = |recording: &Recording| -> Vec<(u64, Event)> {
        recording.events().iter().map(plain).collect()
    };
    assert!(linked.notes().len() > 3_000, "{}", linked.notes().len());
    assert!(all(&from_file) == all(&linked));
    Ok(())
}

/// Up to the moment at which the project is closed, and its notes with it, all that began ends.
#[test]
fn the_built_plugin_lets_no_note_hang() -> Outcome {
    let built = Library::built()?;
    let mut session = listening(built.first_plugin()?, &[("copies", "8")])?;
    play_live(&mut session, 0.0, &long_phrase());
    session.automate(32.0, "hold", "On")?;
    session.seek_at(35.1, 50.2);
    session.run(40.0)?;
    session.plugin().reset();
    session.run(1.0)?;
    let mut session = reactivated(session)?;
    session.run(1.0)?;
    session.plugin().set("hold", "Off")?;
    session.run(1.0)?;
    session.recording().assert_no_note_hangs();
    Ok(())
}
