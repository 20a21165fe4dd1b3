//! The voice goes along: what a host hears of a phrase that was said.

mod common;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use common::plugin;
use procession_core::exchange::flac::to_flac;
use procession_core::mallet::CEILING_DB;
use procession_core::note::{Note, Syllable};
use procession_core::phrase::Phrase;
use procession_core::reciter::Utterance;
use procession_tests::heard::Heard;
use procession_tests::host::{Error, Event, Expression};
use procession_tests::session::Session;
use procession_tests::staging::{listening, project_with, sixteenths};

type Outcome = Result<(), Error>;

/// Cents above their keys, note by note.
const CENTS: [f32; 4] = [-31.5, 12.25, 49.0, 0.0];

/// Four syllables of a quarter of a second, with a consonant of 50 ms.
fn said() -> Phrase {
    let phrase = sixteenths("D3 - F3 - E3 - G3 -");
    let notes = phrase.notes().iter().zip(CENTS).enumerate();
    let notes = notes.map(|(which, (note, cents))| {
        let at = 0.25 * which as f32;
        Note {
            said: Syllable::new(at, at + 0.05, at + 0.25, cents),
            ..*note
        }
    });
    Phrase::new(notes, phrase.length()).expect("a phrase")
}

/// A second of a loud voice of 150 Hz, as JSON.
fn voice() -> String {
    let sound = (0..44_100).map(|n| {
        let turn = 150.0 * std::f64::consts::TAU * f64::from(n) / 44_100.0;
        (10_000.0 * (turn.sin() + (2.0 * turn).sin() + (3.0 * turn).sin())) as i32
    });
    let utterance = Utterance::from_steps(sound, 44_100, 16).expect("an utterance");
    let file = to_flac(&utterance).expect("it is written");
    format!(r#""voice":"{}","#, STANDARD.encode(file))
}

fn held(settings: &[(&str, &str)]) -> Result<Session, Error> {
    let mut plugin = plugin()?;
    plugin.load(&project_with(&said(), 0.0, true, &voice()))?;
    Ok(listening(plugin, settings)?.keeping_sound())
}

/// The tunings, in semitones, that follow the note-ons of a channel, each at once and for the same
/// note.
fn tunings(heard: &[Heard], channel: u16) -> Vec<Option<f64>> {
    let told = |at: usize, on: &Heard| match on.event {
        Event::NoteOn { note, .. } if note.channel == Some(channel) => {
            let next = heard.get(at + 1).filter(|next| next.frame == on.frame);
            Some(next.and_then(|next| match next.event {
                Event::Expression {
                    note: told,
                    kind: Expression::Tuning,
                    value,
                } if told == note => Some(value),
                _ => None,
            }))
        }
        _ => None,
    };
    let heard = heard.iter().enumerate();
    heard.filter_map(|(at, on)| told(at, on)).collect()
}

#[test]
fn with_each_note_of_speech_goes_its_tuning_also_in_a_copy_a_fold_and_another_octave() -> Outcome {
    let tuned = [
        ("send_tuning", "On"),
        ("offset", "2 steps"),
        ("copy1_octave", "1 octave"),
        ("fold", "By degree"),
        ("target_mode", "Phrygian"),
    ];
    let mut session = held(&tuned)?;
    session.run(8.0)?;
    // The copy is a note ahead.
    for (channel, ahead) in [(0, 0), (1, 1)] {
        let told = tunings(session.recording().events(), channel);
        assert!(told.len() >= 12, "{told:?}");
        for (cents, told) in CENTS.iter().cycle().skip(ahead).zip(&told) {
            let told = told.expect("each is told");
            let off = told - f64::from(*cents) / 100.0;
            assert!(
                off.abs() < 1e-6,
                "{cents} cents on channel {channel}: {told}"
            );
        }
    }
    Ok(())
}

#[test]
fn nothing_is_told_of_tuning_unless_it_is_asked_for() -> Outcome {
    let mut session = held(&[])?;
    session.run(4.0)?;
    let recording = session.recording();
    assert!(recording.notes().len() > 8);
    let is_told = |heard: &Heard| matches!(heard.event, Event::Expression { .. });
    assert!(!recording.events().iter().any(is_told));
    let [left, right] = session.sound();
    assert!(
        left.iter().chain(right).all(|sample| *sample == 0.0),
        "and nothing is said"
    );
    Ok(())
}

#[test]
fn the_voice_sounds_with_its_notes_under_the_ceiling_and_ends_with_them() -> Outcome {
    let loud = [
        ("voice_level", "0 dB"),
        ("voice_with", "Every voice"),
        ("audition", "0 dB"),
        ("copies", "4"),
    ];
    let mut session = held(&loud)?;
    session.run(8.0)?;
    let peak = |sound: [&[f32]; 2]| {
        let both = sound.into_iter().flatten();
        both.fold(0.0_f32, |peak, sample| peak.max(sample.abs()))
    };
    let ceiling = 10_f32.powf(CEILING_DB as f32 / 20.0);
    assert!((0.1..=ceiling).contains(&peak(session.sound())));
    let mut session = held(&[("voice_level", "-6 dB")])?;
    session.run(3.3)?;
    assert!(peak(session.sound()) > 0.1);
    session.stop();
    session.forget();
    session.run_seconds(0.5)?;
    let [left, _] = session.sound();
    // A block until the stop is heard of, 8 ms of fade, 2 ms of the limiter's.
    let rest = &left[left.len() - 20_000..];
    assert!(rest.iter().all(|sample| *sample == 0.0));
    Ok(())
}
