//! Taking files away, worked out: what there is to write of, and what is said about it.

use super::plan::{beats_per_bar, tempo};
use crate::editor::seen::Seen;
use crate::files::{Ending, FileKind, Order, Subject, There, Writing};
use procession_core::exchange::score::Transposition;
use procession_core::process::Process;
use std::path::{Path, PathBuf};

/// What is written of.
pub fn subject(seen: &Seen) -> Subject {
    Subject {
        process: Process::clone(&seen.process),
        performed: seen.performed.clone(),
        tempo: tempo(seen),
        beats_per_bar: beats_per_bar(seen),
        voice: seen.speaker.clone(),
    }
}

/// What files are called until a name is typed: after the mode that the phrase is in.
pub fn suggested_name(seen: &Seen) -> String {
    if seen.phrase().is_empty() {
        return "Process".to_owned();
    }
    let mode = seen.process.fold().source().name();
    // Letters that every machine can type.
    let plain = mode.replace('♭', "b").replace('♯', "#").replace('♮', "n");
    format!("Process in {plain}")
}

/// What the button says that writes so many files.
pub fn button(count: usize) -> String {
    match count {
        0 => "Write".to_owned(),
        1 => "Write 1 file".to_owned(),
        count => format!("Write {count} files"),
    }
}

/// How an instrument sounds beside what is written, in words.
pub fn sounds(transposition: Transposition) -> &'static str {
    match transposition {
        Transposition::AtPitch => "at pitch",
        Transposition::OctaveUp => "an octave up",
        Transposition::TwoOctavesUp => "two octaves up",
        Transposition::Unpitched => "without pitch",
    }
}

/// Instruments that sound so.
pub fn instruments(transposition: Transposition) -> &'static str {
    match transposition {
        Transposition::AtPitch => "sounds as written: marimba, vibraphone, piano",
        Transposition::OctaveUp => "sounds an octave above what is written: xylophone",
        Transposition::TwoOctavesUp => "sounds two octaves above what is written: glockenspiel",
        Transposition::Unpitched => "has no pitch, and a percussion clef: wood block, drum",
    }
}

/// All of them, in order.
pub const TRANSPOSITIONS: [Transposition; 4] = [
    Transposition::AtPitch,
    Transposition::OctaveUp,
    Transposition::TwoOctavesUp,
    Transposition::Unpitched,
];

/// How far the writing has come, 0 ..= 1, and in words. None if nothing is being written.
pub fn progress(writing: &Writing) -> Option<(f32, String)> {
    let Writing::Going { done, of, now } = writing else {
        return None;
    };
    let part = now.map_or(0.0, |(_, part)| part as f32);
    let share = (*done as f32 + part) / (*of).max(1) as f32;
    let words = match now {
        Some((kind, _)) => format!("Writing {} of {of}: {}", done + 1, kind.name()),
        None => "Writing".to_owned(),
    };
    Some((share, words))
}

/// How loudly a line speaks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tone {
    /// It says what is the case.
    Plain,
    /// It adds to that.
    Quiet,
    /// It says what is wrong.
    Alarm,
}

/// A line of an answer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    /// How loudly.
    pub tone: Tone,
    /// What.
    pub text: String,
}

/// Something to answer with: what stands on its button, what it does, and the order that follows.
#[derive(Clone, Debug, PartialEq)]
pub struct Reply {
    /// On the button.
    pub label: &'static str,
    /// When the pointer rests on it.
    pub about: &'static str,
    /// What is asked for then.
    pub order: Order,
}

/// What is said about the end of an order, and what can be answered.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Answer {
    /// In order.
    pub lines: Vec<Line>,
    /// If it is a question.
    pub choices: Vec<Reply>,
}

impl Answer {
    fn say(&mut self, tone: Tone, text: impl Into<String>) {
        let text = text.into();
        self.lines.push(Line { tone, text });
    }

    fn list(&mut self, paths: &[PathBuf]) {
        for path in paths {
            self.say(Tone::Quiet, name(path));
        }
    }

    fn choose(&mut self, label: &'static str, about: &'static str, order: Order) {
        self.choices.push(Reply {
            label,
            about,
            order,
        });
    }
}

/// What is said about how `order` ended.
pub fn answer(ending: &Ending, order: &Order) -> Answer {
    let mut answer = Answer::default();
    match ending {
        Ending::NoFolder(folder) => {
            let said = format!("There is no folder {}.", folder.display());
            answer.say(Tone::Plain, said);
            let make = Order {
                make_folder: true,
                ..order.clone()
            };
            answer.choose("Make the folder", "Makes it, and writes the files.", make);
        }
        Ending::There(paths) => ask(paths, order, &mut answer),
        Ending::Done {
            written,
            left,
            troubles,
            cut,
        } => {
            for trouble in troubles {
                answer.say(Tone::Alarm, trouble.to_string());
            }
            if let Some(cut) = cut {
                answer.say(Tone::Alarm, cut);
            }
            if let Some(first) = written.first() {
                answer.say(Tone::Plain, format!("Written to {}:", folder(first)));
                answer.list(written);
            }
            if !left.is_empty() {
                answer.say(Tone::Plain, "Left as they were:");
                answer.list(left);
            }
        }
    }
    answer
}

fn ask(paths: &[PathBuf], order: &Order, answer: &mut Answer) {
    let folder = paths.first().map(|path| folder(path)).unwrap_or_default();
    let said = match paths {
        [path] => format!("{} is there already, in {folder}.", name(path)),
        _ => format!("{} files are there already, in {folder}:", paths.len()),
    };
    answer.say(Tone::Plain, said);
    if paths.len() > 1 {
        answer.list(paths);
    }
    let with = |there| Order {
        there,
        ..order.clone()
    };
    answer.choose(
        "Replace",
        "The new files take their place; what was in them is gone.",
        with(There::Replace(paths.to_vec())),
    );
    answer.choose(
        "Keep both",
        "They stay; all new files get a number after their name.",
        with(There::Number),
    );
    // One kind may be many files: then the others are offered in any case.
    let is_many = |kind: &FileKind| matches!(kind, FileKind::Voices | FileKind::Players);
    let some_are_new = paths.len() < order.kinds.len() || order.kinds.iter().any(is_many);
    if some_are_new {
        answer.choose(
            "Write the others",
            "They stay; only files that are not there yet are written.",
            with(There::Leave),
        );
    }
}

fn name(path: &Path) -> String {
    let name = path.file_name().unwrap_or_default();
    name.to_string_lossy().into_owned()
}

fn folder(path: &Path) -> String {
    let folder = path.parent().unwrap_or(path);
    folder.display().to_string()
}

/// The kinds that are on, in the order in which they are offered.
pub fn in_order(chosen: &[FileKind]) -> Vec<FileKind> {
    let on = |kind: &FileKind| chosen.contains(kind);
    FileKind::ALL.into_iter().filter(on).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::feed::Snapshot;
    use crate::files::Trouble;
    use procession_core::engine::Anchor;
    use procession_core::exchange::put;
    use procession_core::exchange::score::Layout;
    use procession_core::phrase::Phrase;
    use procession_core::settings::Settings;

    fn seen(text: &str, snapshot: Snapshot) -> Seen {
        let phrase = Phrase::from_text(text, 0.25).unwrap();
        Seen::new(snapshot, phrase, Settings::default(), Anchor::NextStart)
    }

    fn order() -> Order {
        Order {
            kinds: vec![FileKind::Midi, FileKind::PlanText],
            ..Order::default()
        }
    }

    fn said(answer: &Answer) -> Vec<&str> {
        answer.lines.iter().map(|line| line.text.as_str()).collect()
    }

    fn offered(answer: &Answer) -> Vec<&str> {
        answer.choices.iter().map(|choice| choice.label).collect()
    }

    fn done(written: &[&str], left: &[&str], troubles: Vec<Trouble>) -> Ending {
        let paths = |names: &[&str]| names.iter().map(PathBuf::from).collect();
        Ending::Done {
            written: paths(written),
            left: paths(left),
            troubles,
            cut: None,
        }
    }

    #[test]
    fn a_name_is_suggested_that_every_machine_can_type() {
        let named = |text| suggested_name(&seen(text, Snapshot::default()));
        assert_eq!(named("D4 E4 F4 G4 A4 B4 C5 D5"), "Process in D Dorian");
        assert_eq!(
            named("Bb3 C4 D4 Eb4 F4 G4 Ab4 Bb4"),
            "Process in Bb Mixolydian"
        );
    }

    #[test]
    fn until_a_host_has_told_its_tempo_there_is_one() {
        let subject = subject(&seen("D4 F4", Snapshot::default()));
        assert_eq!((subject.tempo, subject.beats_per_bar), (120.0, 4.0));
        let told = Snapshot {
            tempo: 97.5,
            beats_per_bar: 3.0,
            ..Snapshot::default()
        };
        let subject = super::subject(&seen("D4 F4", told));
        assert_eq!((subject.tempo, subject.beats_per_bar), (97.5, 3.0));
    }

    #[test]
    fn the_folder_is_said_once_and_each_file_by_its_name() {
        let answer = answer(
            &done(&["/quay/night.mid", "/quay/night.txt"], &[], vec![]),
            &order(),
        );
        assert_eq!(
            said(&answer),
            ["Written to /quay:", "night.mid", "night.txt"]
        );
        assert!(answer.choices.is_empty());
    }

    #[test]
    fn what_went_wrong_comes_first_and_what_went_well_is_said_too() {
        let full = Trouble::from(put::Trouble::Full("/quay".into()));
        let answer = answer(&done(&["/quay/night.mid"], &[], vec![full]), &order());
        assert_eq!(answer.lines[0].tone, Tone::Alarm);
        assert_eq!(said(&answer)[1..], ["Written to /quay:", "night.mid"]);
    }

    #[test]
    fn for_files_that_are_there_one_may_choose_and_what_is_chosen_follows() {
        let one = Ending::There(vec!["/quay/night.mid".into()]);
        let asked = answer(&one, &order());
        assert_eq!(said(&asked), ["night.mid is there already, in /quay."]);
        assert_eq!(
            offered(&asked),
            ["Replace", "Keep both", "Write the others"]
        );
        let orders: Vec<_> = asked
            .choices
            .iter()
            .map(|c| c.order.there.clone())
            .collect();
        let replaced = There::Replace(vec!["/quay/night.mid".into()]);
        assert_eq!(orders, [replaced, There::Number, There::Leave]);

        let all = Ending::There(vec!["/quay/night.mid".into(), "/quay/night.txt".into()]);
        let asked = answer(&all, &order());
        assert_eq!(offered(&asked), ["Replace", "Keep both"]);
        assert_eq!(said(&asked).len(), 3);
    }

    #[test]
    fn a_missing_folder_is_offered_to_be_made() {
        let asked = answer(&Ending::NoFolder("/quay/9".into()), &order());
        assert_eq!(said(&asked), ["There is no folder /quay/9."]);
        assert!(asked.choices[0].order.make_folder);
    }

    #[test]
    fn progress_counts_files_and_names_the_one_at_hand() {
        let going = Writing::Going {
            done: 1,
            of: 4,
            now: Some((FileKind::Score(Layout::OwnBeatOne), 0.5)),
        };
        let words = "Writing 2 of 4: Score, own beat one".to_owned();
        assert_eq!(progress(&going), Some((0.375, words)));
        assert_eq!(progress(&Writing::Nothing), None);
    }

    #[test]
    fn the_button_counts() {
        assert_eq!(button(1), "Write 1 file");
        assert_eq!(button(4), "Write 4 files");
    }
}
