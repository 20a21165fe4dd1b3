//! Audition: what leaves as notes is heard on the mallets, under them whatever audio comes in.
//!
//! How the mallets sound is measured in `core/tests/mallet_sound.rs`; here is what the plug-in
//! makes of them.

mod common;

use common::plugin;
use procession_core::mallet::{CEILING_DB, Mallets};
use procession_core::note::{Key, Velocity};
use procession_core::part::Part;
use procession_core::player::pan_of;
use procession_core::settings::Mallet;
use procession_tests::heard::Heard;
use procession_tests::host::{Error, Event, ProcessStatus};
use procession_tests::session::{Blocks, Session};
use procession_tests::staging::{held, listening, project, sixteenths};
use realfft::RealFftPlanner;

type Outcome = Result<(), Error>;

const RATE: f64 = 48_000.0;

/// Sound by no pattern: the frame's number, scattered.
fn noise(frame: u64) -> [f32; 2] {
    let mixed = (frame + 1).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    [mixed >> 40, mixed >> 16 & 0xFF_FFFF].map(|side| side as f32 / 8_388_608.0 - 1.0)
}

fn played(settings: &[(&str, &str)]) -> Result<Session, Error> {
    let phrase = sixteenths("D4 F4+A4 . G4 - E4 C5 .");
    Ok(held(plugin()?, &phrase, settings)?.keeping_sound())
}

/// One low note, long enough for nothing but its fundamental to be left.
fn ringing(settings: &[(&str, &str)]) -> Result<Session, Error> {
    let phrase = sixteenths("D3 - - - - - - - - - - - - - - -");
    let with = [settings, &[("audition", "-6 dB"), ("copies", "0")]].concat();
    Ok(held(plugin()?, &phrase, &with)?.keeping_sound())
}

fn peak(sound: [&[f32]; 2]) -> f32 {
    let both = sound.into_iter().flatten();
    both.fold(0.0, |peak, sample| peak.max(sample.abs()))
}

fn db(amplitude: f32) -> f64 {
    20.0 * f64::from(amplitude).log10()
}

/// The largest difference from one sample to the next.
fn steepest(sound: &[f32]) -> f32 {
    let steps = sound.windows(2).map(|pair| (pair[1] - pair[0]).abs());
    steps.fold(0.0, f32::max)
}

#[test]
fn nobody_hears_it_unless_it_is_switched_on_and_the_audio_passes_bit_for_bit() -> Outcome {
    let mut session = played(&[])?.incoming(noise);
    assert_eq!(session.plugin().text("audition")?, "Off");
    session.run(8.0)?;
    assert!(session.recording().notes().len() > 20);
    let [left, right] = session.sound();
    for (frame, at) in (0..session.frames()).enumerate() {
        let out = [left[frame], right[frame]].map(f32::to_bits);
        assert_eq!(out, noise(at).map(f32::to_bits), "frame {frame}");
    }
    Ok(())
}

/// The same notes on mallets of one's own, panned by channel: what ought to be heard.
fn on_own_mallets(
    heard: &[Heard],
    by_channel: [Mallet; 2],
    level: f32,
    frames: u64,
) -> [Vec<f32>; 2] {
    let mut mallets = Mallets::new(RATE);
    mallets.set_players(2);
    mallets.set_level(Some(level));
    let [mut left, mut right] = [(); 2].map(|()| vec![0.0; frames as usize]);
    let mut from = 0;
    for Heard { frame, event, .. } in heard {
        let at = *frame as usize;
        mallets.render(&mut left[from..at], &mut right[from..at]);
        from = at;
        match event {
            Event::NoteOn { note, velocity } => {
                let (channel, key) = (note.channel.unwrap_or(0), note.key.unwrap_or(0));
                let pan = pan_of(Part::ALL[usize::from(channel)], 2, 0.6);
                let key = Key::by_octave(i32::from(key));
                let id = note.id.map_or(-1, |id| id as i32);
                let mallet = by_channel[usize::from(channel)];
                mallets.strike(mallet, id, key, Velocity::new(*velocity as f32), pan);
            }
            Event::NoteOff { note, .. } => mallets.note_off(note.id.map_or(-1, |id| id as i32)),
            _ => (),
        }
    }
    mallets.render(&mut left[from..], &mut right[from..]);
    [left, right]
}

#[test]
fn every_note_is_struck_and_damped_on_the_very_frame_it_leaves() -> Outcome {
    let mut session = played(&[("audition", "-18 dB")])?;
    session.run(48.0)?;
    let (recording, frames) = (session.recording(), session.frames());
    let expected = on_own_mallets(recording.events(), [Mallet::Wood; 2], -18.0, frames);
    assert_eq!(session.sound(), [&expected[0][..], &expected[1]]);
    let on = |heard: &&Heard| matches!(heard.event, Event::NoteOn { .. });
    let first = recording.events().iter().find(on).map(|heard| heard.frame);
    let sounds = expected[0].iter().position(|sample| *sample != 0.0);
    // A bar at rest needs one frame to move.
    let latency = Mallets::new(RATE).latency() as u64 + 1;
    assert_eq!(sounds.map(|at| at as u64), first.map(|at| at + latency));
    Ok(())
}

#[test]
fn each_voice_is_heard_on_the_mallets_chosen_for_it() -> Outcome {
    let chosen = [("steady_mallet", "Metal"), ("copy1_mallet", "Soft")];
    let mut session = played(&[&chosen[..], &[("audition", "-18 dB")]].concat())?;
    session.run(24.0)?;
    let (recording, frames) = (session.recording(), session.frames());
    let by_channel = [Mallet::Metal, Mallet::Soft];
    let expected = on_own_mallets(recording.events(), by_channel, -18.0, frames);
    assert_eq!(session.sound(), [&expected[0][..], &expected[1]]);
    Ok(())
}

#[test]
fn the_hand_is_heard_too_with_nothing_held() -> Outcome {
    let mut session = listening(plugin()?, &[("audition", "-18")])?.keeping_sound();
    session.note(1.0, 1.0, 62, 0.8);
    session.run(4.0)?;
    let [left, right] = session.sound();
    let (before, after) = left.split_at(24_000);
    assert!(before.iter().all(|sample| *sample == 0.0));
    assert!(after.iter().any(|sample| *sample != 0.0));
    assert_eq!(left, right, "it stands in the middle");
    Ok(())
}

#[test]
fn audio_passes_under_the_mallets() -> Outcome {
    let mut alone = played(&[("audition", "-18 dB")])?;
    let mut under = played(&[("audition", "-18 dB")])?.incoming(noise);
    alone.run(8.0)?;
    under.run(8.0)?;
    for side in 0..2 {
        let (mallets, sum) = (alone.sound()[side], under.sound()[side]);
        for (frame, (mallets, sum)) in mallets.iter().zip(sum).enumerate() {
            assert_eq!(*sum, noise(frame as u64)[side] + mallets, "frame {frame}");
        }
    }
    Ok(())
}

#[test]
fn how_time_is_cut_into_blocks_is_not_heard() -> Outcome {
    let in_blocks = |blocks| -> Result<_, Error> {
        let settings = [("audition", "-12 dB"), ("copies", "3")];
        let mut session = played(&settings)?.incoming(noise).blocks(blocks);
        session.automate(2.1, "audition", "-30 dB")?;
        session.automate(3.3, "audition", "Off")?;
        session.automate(4.7, "audition", "-6 dB")?;
        session.automate(5.2, "width", "0 %")?;
        session.run(8.0)?;
        Ok(session.sound().map(<[f32]>::to_vec))
    };
    let whole = in_blocks(Blocks::Of(4096))?;
    for blocks in [
        Blocks::Of(64),
        Blocks::Pattern(vec![1, 480, 31, 4096, 2]),
        Blocks::Random {
            seed: 5,
            longest: 700,
        },
    ] {
        assert!(in_blocks(blocks.clone())? == whole, "{blocks:?}");
    }
    Ok(())
}

#[test]
fn at_full_width_the_steady_voice_is_left_and_the_copy_right_on_however_many_channels() -> Outcome {
    for channels in ["One each", "All on one"] {
        let levels = |silent| -> Result<_, Error> {
            let settings = [
                ("audition", "-12 dB"),
                ("channels", channels),
                ("width", "100 %"),
                (silent, "0 %"),
            ];
            let mut session = played(&settings)?;
            session.run(8.0)?;
            Ok(session.sound().map(|side| peak([side, &[]])))
        };
        let [left, right] = levels("copy1_level")?;
        assert!(left > 0.01 && right == 0.0, "steady: {left} {right}");
        let [left, right] = levels("steady_level")?;
        assert!(right > 0.01 && left == 0.0, "copy: {left} {right}");
    }
    Ok(())
}

#[test]
fn with_all_voices_as_loud_as_can_be_it_stays_under_its_ceiling() -> Outcome {
    let words = "C3+E3+G3+C4+E4+G4+C5+E5 C3+E3+G3+C4+E4+G4+C5+E5";
    let levels = (1..=8).map(|copy| (format!("copy{copy}_level"), "200 %"));
    let levels: Vec<_> = levels.collect();
    let mut settings = vec![
        ("audition", "0 dB"),
        ("copies", "8"),
        ("shifts", "0"),
        ("steady_level", "200 %"),
    ];
    settings.extend(levels.iter().map(|(id, value)| (id.as_str(), *value)));
    let mut session = held(plugin()?, &sixteenths(words), &settings)?.keeping_sound();
    session.run(8.0)?;
    let loudest = db(peak(session.sound()));
    // It is loud enough to need a ceiling, and the ceiling holds.
    assert!((-6.0..CEILING_DB).contains(&loudest), "{loudest} dBFS");
    Ok(())
}

#[test]
fn a_key_is_heard_at_its_pitch() -> Outcome {
    // Equal temperament: 440 Hz * 2^((n - 69) / 12), the MIDI tuning.
    const LENGTH: usize = 1 << 15;
    for key in [50, 62, 69, 81_u16] {
        let mut session = listening(plugin()?, &[("audition", "-12 dB")])?.keeping_sound();
        session.note(0.0, 8.0, key, 0.6);
        session.run_seconds(1.0)?;
        let mut sound: Vec<f32> = session.sound()[0][2_400..][..LENGTH].to_vec();
        for (n, sample) in sound.iter_mut().enumerate() {
            let turn = std::f32::consts::TAU * n as f32 / LENGTH as f32;
            *sample *= 0.5 - 0.5 * turn.cos();
        }
        let transform = RealFftPlanner::<f32>::new().plan_fft_forward(LENGTH);
        let mut spectrum = transform.make_output_vec();
        transform
            .process(&mut sound, &mut spectrum)
            .expect("lengths agree");
        let level = |bin: usize| f64::from(spectrum[bin].norm()).ln();
        let top = (1..spectrum.len() - 1)
            .max_by(|a, b| level(*a).total_cmp(&level(*b)))
            .unwrap_or(1);
        let (below, at, above) = (level(top - 1), level(top), level(top + 1));
        let between = 0.5 * (below - above) / (below - 2.0 * at + above);
        let heard = (top as f64 + between) * RATE / LENGTH as f64;
        let expected = 440.0 * 2_f64.powf((f64::from(key) - 69.0) / 12.0);
        let cents = 1200.0 * (heard / expected).log2();
        assert!(
            cents.abs() < 2.0,
            "key {key}: {heard} Hz, {cents} cents off"
        );
    }
    Ok(())
}

/// What may cut into a note that rings.
type Cut = fn(&mut Session) -> Outcome;

#[test]
fn whatever_cuts_into_a_note_nothing_clicks_and_nothing_rings_on() -> Outcome {
    let cuts: [(&str, Cut); 7] = [
        ("the song stops", |session| {
            session.stop();
            Ok(())
        }),
        ("hold is let go", |session| set_now(session, "hold", "Off")),
        ("bypass", |session| set_now(session, "bypass", "On")),
        ("audition off", |session| {
            set_now(session, "audition", "Off")
        }),
        ("the song leaps", |session| {
            session.seek(400.7);
            set_now(session, "steady_level", "0 %")
        }),
        ("a reset", |session| {
            session.plugin().reset();
            set_now(session, "hold", "Off")
        }),
        ("a project is loaded", |session| {
            let rest = project(&sixteenths("C4 . . ."), 1_000.0, false);
            session.plugin().load(&rest)
        }),
    ];
    for (name, cut) in cuts {
        let mut session = ringing(&[])?;
        session.run_frames(24_000)?;
        let steady = steepest(&session.sound()[0][19_200..]);
        cut(&mut session)?;
        session.run_frames(96_000)?;
        let [left, right] = session.sound();
        let cut_into = steepest(&left[23_999..33_600]).max(steepest(&right[23_999..33_600]));
        // A cut would be a step of fifty times that.
        assert!(steady > 1e-4, "{name}: it rang");
        assert!(cut_into < 1.2 * steady, "{name}: {cut_into} after {steady}");
        let rest = peak([&left[96_000..], &right[96_000..]]);
        assert_eq!(rest, 0.0, "{name}");
        let status = session.plugin().audio().status();
        let stopped = matches!(name, "bypass" | "audition off" | "the song leaps");
        assert!(
            stopped || status == ProcessStatus::ContinueIfNotQuiet,
            "{name}"
        );
    }
    Ok(())
}

fn set_now(session: &mut Session, name: &str, text: &str) -> Outcome {
    let setting = session.plugin().setting(name, text)?;
    session.event_in(0, setting);
    Ok(())
}

#[test]
fn the_host_keeps_asking_until_the_last_bar_is_silent() -> Outcome {
    let mut session = listening(plugin()?, &[("audition", "-18 dB")])?.keeping_sound();
    session.stop();
    session.event_in(0, Event::note_on(0, 62, 0.8));
    session.event_in(512, Event::note_off(0, 62));
    session.run_frames(1_024)?;
    let mut seconds = 0.0;
    while session.plugin().audio().status() == ProcessStatus::Continue {
        session.run_frames(512)?;
        seconds += 512.0 / RATE;
        assert!(seconds < 2.0, "a damped bar rings for ever");
    }
    assert!(seconds > 0.3, "it was asleep after {seconds} s");
    let last = peak(session.sound().map(|side| &side[side.len() - 64..]));
    assert_eq!(last, 0.0);
    Ok(())
}

#[test]
fn out_of_the_way_means_that_audio_passes_bit_for_bit() -> Outcome {
    let settings = [("audition", "-6 dB"), ("bypass", "On")];
    let mut session = played(&settings)?.incoming(noise);
    session.note(0.5, 1.0, 62, 0.8);
    session.run(4.0)?;
    assert_eq!(session.recording().notes().len(), 1, "notes go through");
    let [left, right] = session.sound();
    let out = left.iter().zip(right).map(|(l, r)| [*l, *r]);
    assert!(out.eq((0..session.frames()).map(noise)));
    Ok(())
}
