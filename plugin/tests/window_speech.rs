//! Speech in the window: a recording is opened, a sentence heard and made the phrase, its notes parted
//! and joined by hand.
#![allow(clippy::unwrap_used)]

mod host;

use egui::{Key, Modifiers, Role, vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::Queryable;
use host::Host;
use procession::bell::Bell;
use procession::editor::model::layout::View;
use procession::editor::shell::Shell;
use procession::feed::feed;
use procession::params::Parameters;
use procession_core::phrase::Phrase;
use std::f64::consts::TAU;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

const RATE: u32 = 16_000;

/// A 16-bit WAV file by hand (Multimedia Programming Interface and Data Specifications 1.0, 1991).
fn write_wav(path: &Path, samples: &[f32]) {
    let size = 2 * samples.len() as u32;
    let mut file = b"RIFF".to_vec();
    file.extend((36 + size).to_le_bytes());
    file.extend(b"WAVEfmt ");
    file.extend(16_u32.to_le_bytes());
    file.extend([1, 0, 1, 0]);
    file.extend(RATE.to_le_bytes());
    file.extend((2 * RATE).to_le_bytes());
    file.extend([2, 0, 16, 0]);
    file.extend(b"data");
    file.extend(size.to_le_bytes());
    for sample in samples {
        file.extend(((sample * 32_767.0) as i16).to_le_bytes());
    }
    std::fs::write(path, file).unwrap();
}

/// Vowels in a silence of that many seconds: when each begins, and at which pitch; 0.1 s long.
fn spoken(seconds: f64, vowels: &[(f64, f64)]) -> Vec<f32> {
    let rate = f64::from(RATE);
    let mut samples = vec![0.0_f32; (seconds * rate) as usize];
    for (onset, pitch) in vowels {
        let hertz = 440.0 * ((pitch - 69.0) / 12.0).exp2();
        for n in 0..(0.1 * rate) as usize {
            let at = n as f64 / rate;
            let swell = (at / 0.015).min((0.1 - at) / 0.015).min(1.0);
            let sum: f64 = (1..=8)
                .map(|h| (TAU * f64::from(h) * hertz * at).sin() / f64::from(h))
                .sum();
            samples[(onset * rate) as usize + n] += (0.2 * swell * sum) as f32;
        }
    }
    samples
}

/// "The gangway is up": four syllables, an eighth of a second from each to the next but the last;
/// a pause; and three more.
fn two_sentences() -> Vec<f32> {
    let first = [(0.5, 50.0), (0.625, 48.0), (0.75, 46.0), (1.0, 45.0)];
    let second = [(2.0, 55.0), (2.25, 53.0), (2.5, 50.0)];
    spoken(3.2, &[&first[..], &second[..]].concat())
}

struct Desk {
    harness: Harness<'static>,
    parameters: Arc<Parameters>,
    folder: tempfile::TempDir,
}

impl Desk {
    fn at(view: View) -> Self {
        let (parameters, _audio) = Parameters::new();
        let host = Host::new(parameters.clone());
        let (_, seer) = feed();
        let mut shell = Shell::new(parameters.clone(), seer, Bell::default());
        shell.choose(view);
        let context = host.context();
        let own = parameters.clone();
        let mut prepared = false;
        let harness = Harness::builder()
            .with_size(vec2(1200.0, 800.0))
            .build_ui(move |ui| {
                if !std::mem::replace(&mut prepared, true) {
                    shell.prepare(ui.ctx());
                }
                shell.show(ui, &|gesture| gesture.make(&own, &context.param_setter()));
            });
        Self {
            harness,
            parameters,
            folder: tempfile::tempdir().unwrap(),
        }
    }

    fn phrase(&self) -> Phrase {
        self.parameters.kept.current().taken.phrase
    }

    /// Onsets in sixteenths, and keys.
    fn notes(&self) -> Vec<(f64, u8)> {
        let phrase = self.phrase();
        let notes = phrase.notes().iter();
        notes
            .map(|note| (note.onset * 4.0, note.key.number()))
            .collect()
    }

    fn file(&self, samples: &[f32]) -> PathBuf {
        let path = self.folder.path().join("the gangway.wav");
        write_wav(&path, samples);
        path
    }

    fn open(&mut self, path: &Path) {
        let field = "Path of a sound file: .wav, .flac, .aiff, .ogg or .mp3";
        self.harness.run_steps(3);
        self.harness
            .get_by_role_and_label(Role::TextInput, field)
            .click();
        self.harness.run_steps(3);
        self.harness
            .get_by_role_and_label(Role::TextInput, field)
            .type_text(&path.display().to_string());
        self.harness.run_steps(3);
        self.harness.key_press(Key::Enter);
        self.harness.run_steps(3);
    }

    /// Until that is said, however long listening takes.
    fn wait_for(&mut self, words: &str) {
        let begun = Instant::now();
        while self
            .harness
            .query_all_by_label_contains(words)
            .next()
            .is_none()
        {
            assert!(begun.elapsed() < Duration::from_secs(120), "never: {words}");
            std::thread::yield_now();
            self.harness.run_steps(2);
        }
    }

    fn click(&mut self, label: &str) {
        self.harness.run_steps(2);
        self.harness.get_by_label(label).click();
        self.harness.run_steps(3);
    }

    /// Where no note is, so that the keyboard goes there.
    fn touch_the_grid(&mut self) {
        let grid = self.harness.get_by_role_and_label(Role::Group, "Phrase");
        let corner = grid.rect().right_bottom() - vec2(20.0, 20.0);
        self.harness.hover_at(corner);
        self.harness.drag_at(corner);
        self.harness.drop_at(corner);
        self.harness.run_steps(3);
    }

    fn key(&mut self, modifiers: Modifiers, key: Key) {
        self.harness.key_press_modifiers(modifiers, key);
        self.harness.run_steps(3);
    }
}

#[test]
fn a_sentence_of_a_recording_becomes_the_phrase_in_one_step() {
    let mut desk = Desk::at(View::Speech);
    let path = desk.file(&two_sentences());
    desk.open(&path);
    desk.wait_for("Make it the phrase");
    // Nobody has told a tempo, so it is 120: a sixteenth is an eighth of a second.
    desk.click("Sentence");
    let first = "Sentence 1: 0.9 s, 4 notes";
    let options: Vec<_> = desk
        .harness
        .query_all_by_label_contains("Sentence 1:")
        .collect();
    assert!(!options.is_empty(), "no {first}");
    drop(options);
    desk.harness
        .query_all_by_label_contains("Sentence 1:")
        .next()
        .unwrap()
        .click();
    desk.harness.run_steps(3);
    assert!(desk.notes().is_empty(), "choosing takes nothing yet");
    desk.click("Make it the phrase");
    assert_eq!(desk.notes(), [(0.0, 50), (1.0, 48), (2.0, 46), (4.0, 45)]);
    assert!(desk.phrase().notes().iter().all(|note| note.said.is_some()));
    desk.key(Modifiers::COMMAND, Key::Z);
    assert!(desk.notes().is_empty(), "one step");
    desk.key(Modifiers::COMMAND, Key::Y);
    assert_eq!(desk.notes().len(), 4);
}

#[test]
fn the_recording_of_a_sentence_goes_along_from_its_first_syllable_to_its_last() {
    let mut desk = Desk::at(View::Speech);
    let path = desk.file(&two_sentences());
    desk.open(&path);
    desk.wait_for("Make it the phrase");
    desk.click("Make it the phrase");
    let phrase = desk.phrase();
    let last = phrase.notes().last().unwrap().said.unwrap();
    let voice = desk.parameters.kept.current().voice.unwrap();
    assert!((voice.utterance().seconds() - f64::from(last.end)).abs() < 0.02);
    desk.key(Modifiers::COMMAND, Key::Z);
    assert!(desk.parameters.kept.current().voice.is_none());
}

#[test]
fn what_is_no_speech_is_said_with_its_remedy_and_the_phrase_stays() {
    let mut desk = Desk::at(View::Speech);
    let silence = desk.file(&vec![0.0; 16_000]);
    desk.open(&silence);
    desk.wait_for("There is only silence: check that the right input or file is chosen");
    assert!(desk.notes().is_empty());
    let mut desk = Desk::at(View::Speech);
    let none = desk.folder.path().join("none.wav");
    desk.open(&none);
    desk.wait_for("There is no file");
    let mut desk = Desk::at(View::Speech);
    let text = desk.folder.path().join("text.wav");
    std::fs::write(&text, "The gangway is up.").unwrap();
    desk.open(&text);
    desk.wait_for("This is no sound file that can be read: save the recording as .wav");
}

#[test]
fn a_note_that_was_said_is_split_and_joined_by_keys_and_by_mouse_and_keeps_its_syllable() {
    let mut desk = Desk::at(View::Speech);
    let path = desk.file(&two_sentences());
    desk.open(&path);
    desk.wait_for("Make it the phrase");
    desk.click("Make it the phrase");
    desk.click("Phrase");
    let whole = desk.phrase();
    let said = |phrase: &Phrase| -> Vec<(f32, f32)> {
        let said = phrase.notes().iter().map(|note| note.said.unwrap());
        said.map(|said| (said.start, said.end)).collect()
    };
    desk.touch_the_grid();
    desk.key(Modifiers::NONE, Key::PageDown);
    desk.key(Modifiers::NONE, Key::S);
    let parted = desk.phrase();
    assert_eq!(parted.notes().len(), whole.notes().len() + 1);
    let (before, after) = (said(&whole)[0], said(&parted));
    assert_eq!((after[0].0, after[1].1), before);
    assert_eq!(after[0].1, after[1].0);
    desk.key(Modifiers::COMMAND, Key::Z);
    assert_eq!(desk.phrase(), whole);
    desk.touch_the_grid();
    desk.key(Modifiers::NONE, Key::PageDown);
    desk.click("Join");
    let joined = desk.phrase();
    assert_eq!(joined.notes().len(), whole.notes().len() - 1);
    assert_eq!(said(&joined)[0], (said(&whole)[0].0, said(&whole)[1].1));
}
