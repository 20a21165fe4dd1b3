//! The writer: writes files on a thread of its own, and tells how far it has come.

use super::{FileKind, Order, Subject, There, Trouble, made, place};
use procession_core::exchange::put::{self, Existing, create, put};
use procession_core::exchange::{Piece, Unrolled};
use std::fs;
use std::io::ErrorKind;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread::{self, JoinHandle};

/// How far the writing has come.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Report {
    /// How many orders were given so far.
    pub orders: u64,
    /// The last of them.
    pub writing: Writing,
}

/// How far one order has come.
#[derive(Clone, Debug, Default, PartialEq)]
pub enum Writing {
    /// There was none.
    #[default]
    Nothing,
    /// It is being written.
    Going {
        /// Files that are done.
        done: usize,
        /// Files there are to be.
        of: usize,
        /// The one being written, and which part of it is, 0 ..= 1; none before the first.
        now: Option<(FileKind, f64)>,
    },
    /// It has ended.
    Ended(Ending),
}

/// How an order ended.
#[derive(Clone, Debug, PartialEq)]
pub enum Ending {
    /// With a question: the folder is missing. Shall it be made?
    NoFolder(PathBuf),
    /// With a question: these files are there. What becomes of them?
    There(Vec<PathBuf>),
    /// For good.
    Done {
        /// Where files went.
        written: Vec<PathBuf>,
        /// What was there and was left.
        left: Vec<PathBuf>,
        /// Why there are not more.
        troubles: Vec<Trouble>,
        /// Of how much of the piece there was too much, if there was.
        cut: Option<String>,
    },
}

impl<T: Into<Trouble>> From<T> for Ending {
    fn from(trouble: T) -> Self {
        Self::Done {
            written: Vec::new(),
            left: Vec::new(),
            troubles: vec![trouble.into()],
            cut: None,
        }
    }
}

/// Writes one order at a time. Dropped, it stops and is waited for.
#[derive(Debug, Default)]
pub struct Writer {
    report: Arc<Mutex<Report>>,
    stop: Arc<AtomicBool>,
    hand: Option<JoinHandle<()>>,
}

impl Writer {
    /// Begins to write. While something else is being written, this is not.
    pub fn write(&mut self, order: Order, subject: Subject) {
        if matches!(self.report().writing, Writing::Going { .. }) {
            return;
        }
        self.wait();
        self.stop.store(false, Ordering::Relaxed);
        {
            let mut report = lock(&self.report);
            report.orders += 1;
            report.writing = Writing::Going {
                done: 0,
                of: order.kinds.len(),
                now: None,
            };
        }
        let (report, stop) = (self.report.clone(), self.stop.clone());
        // A process is large: it goes over by its address.
        let subject = Box::new(subject);
        let hand = thread::Builder::new()
            .name("procession files".to_owned())
            .spawn(move || {
                let stop = || stop.load(Ordering::Relaxed);
                let tell = |going| lock(&report).writing = going;
                let ending = write(&order, *subject, &stop, &tell);
                lock(&report).writing = Writing::Ended(ending);
            });
        match hand {
            Ok(hand) => self.hand = Some(hand),
            Err(error) => self.end(&format!(
                "The system lends no thread to write on ({error}): close something and write again."
            )),
        }
    }

    /// What is being written is given up; files that are done stay.
    pub fn stop(&self) {
        self.stop.store(true, Ordering::Relaxed);
    }

    /// How far it has come.
    pub fn report(&self) -> Report {
        let finished = self.hand.as_ref().is_some_and(JoinHandle::is_finished);
        if finished && matches!(lock(&self.report).writing, Writing::Going { .. }) {
            self.end("The writing broke off, by a defect of Procession: please report it.");
        }
        lock(&self.report).clone()
    }

    /// Until nothing is being written.
    pub fn wait(&mut self) {
        if let Some(hand) = self.hand.take() {
            // It says itself how it ended; a panic leaves that undone.
            let broke_off = hand.join().is_err();
            if broke_off {
                self.end("The writing broke off, by a defect of Procession: please report it.");
            }
        }
    }

    fn end(&self, why: &str) {
        let trouble = put::Trouble::NotMade(why.to_owned());
        lock(&self.report).writing = Writing::Ended(trouble.into());
    }
}

impl Drop for Writer {
    fn drop(&mut self) {
        self.stop();
        self.wait();
    }
}

fn lock(report: &Mutex<Report>) -> MutexGuard<'_, Report> {
    report.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Writes an order, here and now.
fn write(
    order: &Order,
    subject: Subject,
    stop: &dyn Fn() -> bool,
    tell: &dyn Fn(Writing),
) -> Ending {
    let each = order.kinds.iter().flat_map(|kind| kind.each(&subject));
    let order = &Order {
        kinds: each.collect(),
        ..order.clone()
    };
    let places = match places(order, &subject, is_there) {
        Ok(places) => places,
        Err(ending) => return ending,
    };
    let speaker = subject.speaker().cloned();
    let Subject {
        process,
        performed,
        tempo,
        beats_per_bar,
        ..
    } = subject;
    let unrolled = Unrolled::performed(&process, &performed, tempo, beats_per_bar);
    let piece = unrolled.piece(&places.title);
    let (mut written, mut troubles) = (Vec::new(), Vec::new());
    for (index, (kind, path, existing)) in places.files.iter().enumerate() {
        let came_to = |share: f64| {
            tell(Writing::Going {
                done: index,
                of: places.files.len(),
                now: Some((*kind, share)),
            });
            if stop() {
                ControlFlow::Break(())
            } else {
                ControlFlow::Continue(())
            }
        };
        // Not begun, if it was stopped since the last one.
        if came_to(0.0).is_break() {
            troubles.push(put::Trouble::Stopped.into());
            break;
        }
        let subject = (piece, unrolled.turnings.as_slice());
        let beside = (&order.transpositions[..], speaker.as_ref());
        let fill = |file: &mut _| made::fill(file, path, *kind, subject, beside, &came_to);
        match put(path, *existing, create, fill) {
            Ok(()) => written.push(path.clone()),
            // The others may well be made.
            Err(trouble @ put::Trouble::NotMade(_)) => troubles.push(trouble.into()),
            Err(trouble) => {
                troubles.push(trouble.into());
                break;
            }
        }
    }
    Ending::Done {
        written,
        left: places.left,
        troubles,
        cut: cut(&piece),
    }
}

/// What goes where.
#[derive(Debug, PartialEq)]
struct Places {
    title: String,
    files: Vec<(FileKind, PathBuf, Existing)>,
    left: Vec<PathBuf>,
}

/// Decides what goes where. `is_there` tells whether a path is taken; folders are looked up, and
/// made if that was asked for.
fn places(
    order: &Order,
    subject: &Subject,
    is_there: impl Fn(&Path) -> bool,
) -> Result<Places, Ending> {
    if subject.process.phrase().is_empty() {
        return Err(Trouble::NoPhrase.into());
    }
    if order.kinds.is_empty() {
        return Err(Trouble::NoKind.into());
    }
    let folder = place::folder(&order.folder, std::env::home_dir().as_deref())?;
    let title = place::name(&order.name)?;
    find_folder(&folder, order.make_folder)?;
    let mut name = title.clone();
    if order.there == There::Number && kinds_there(order, &folder, &name, &is_there).count() > 0 {
        name = place::numbered(&folder, &name, &order.kinds, &is_there);
    }
    let there: Vec<_> = kinds_there(order, &folder, &name, &is_there).collect();
    let may_go = |path: &PathBuf| match &order.there {
        There::Replace(paths) => paths.contains(path),
        There::Leave => true,
        There::Ask | There::Number => false,
    };
    if !there.iter().all(may_go) {
        return Err(Ending::There(there));
    }
    let files = order.kinds.iter().filter_map(|kind| {
        let path = place::path(&folder, &name, *kind);
        match (there.contains(&path), &order.there) {
            (false, _) => Some((*kind, path, Existing::Keep)),
            (true, There::Leave) => None,
            (true, _) => Some((*kind, path, Existing::Replace)),
        }
    });
    Ok(Places {
        title,
        files: files.collect(),
        left: if order.there == There::Leave {
            there
        } else {
            Vec::new()
        },
    })
}

fn kinds_there<'a>(
    order: &'a Order,
    folder: &'a Path,
    name: &'a str,
    is_there: &'a impl Fn(&Path) -> bool,
) -> impl Iterator<Item = PathBuf> + 'a {
    let paths = order
        .kinds
        .iter()
        .map(|kind| place::path(folder, name, *kind));
    paths.filter(|path| is_there(path))
}

/// Also a link that leads nowhere is something.
fn is_there(path: &Path) -> bool {
    fs::symlink_metadata(path).is_ok()
}

fn find_folder(folder: &Path, make: bool) -> Result<(), Ending> {
    match fs::metadata(folder) {
        Ok(about) if about.is_dir() => Ok(()),
        Ok(_) => Err(put::Trouble::FolderIsFile(folder.to_owned()).into()),
        Err(error) if error.kind() == ErrorKind::NotADirectory => {
            let file = folder.ancestors().find(|path| path.is_file());
            Err(put::Trouble::FolderIsFile(file.unwrap_or(folder).to_owned()).into())
        }
        Err(error) if error.kind() == ErrorKind::NotFound && make => fs::create_dir_all(folder)
            .map_err(|error| Trouble::FolderNotMade(folder.to_owned(), error.to_string()).into()),
        Err(error) if error.kind() == ErrorKind::NotFound => {
            Err(Ending::NoFolder(folder.to_owned()))
        }
        Err(error) => Err(put::Trouble::of(&error, &folder.join("file")).into()),
    }
}

fn cut(piece: &Piece) -> Option<String> {
    let origin = piece.process().origin();
    let lasts = |beats| piece.clock(origin + beats);
    (!piece.is_whole()).then(|| {
        format!(
            "The piece lasts {}, too long to be written whole: its first {} were.",
            lasts(piece.form.totals.chosen),
            lasts(piece.form.end() - piece.process().origin())
        )
    })
}

#[cfg(test)]
#[path = "../../tests/quay/mod.rs"]
mod quay;

#[cfg(test)]
mod tests {
    use super::quay::Quay;
    use super::*;
    use procession_core::exchange::midi::{Excerpt, read_phrase};
    use procession_core::exchange::score::{Layout, Transposition};
    use procession_core::phrase::Phrase;
    use procession_core::process::Process;
    use procession_core::settings::{Settings, Shifts};

    fn subject(text: &str, adjust: impl FnOnce(&mut Settings)) -> Subject {
        let mut settings = Settings::default();
        adjust(&mut settings);
        Subject {
            process: Process::new(Phrase::from_text(text, 0.25).unwrap(), settings, 8.0),
            performed: Arc::default(),
            tempo: 108.0,
            beats_per_bar: 4.0,
            voice: None,
        }
    }

    fn lanterns() -> Subject {
        subject("D4 F4 . A4 C5 E5", |_| ())
    }

    fn order(quay: &Quay, kinds: &[FileKind]) -> Order {
        Order {
            folder: quay.folder().display().to_string(),
            name: "night".to_owned(),
            kinds: kinds.to_vec(),
            ..Order::default()
        }
    }

    fn done(order: &Order) -> Ending {
        write(order, lanterns(), &|| false, &|_| ())
    }

    fn names(paths: &[PathBuf]) -> Vec<String> {
        let name = |path: &PathBuf| path.file_name().map(|name| name.display().to_string());
        paths.iter().filter_map(name).collect()
    }

    fn written(ending: Ending) -> Vec<String> {
        match ending {
            Ending::Done {
                written, troubles, ..
            } if troubles.is_empty() => names(&written),
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn each_file_is_what_its_name_says() {
        let quay = Quay::new();
        let short = subject("D4 F4 . A4 C5 E5", |settings| {
            settings.motion.dwell = 2;
            settings.motion.drift = 1;
            settings.motion.shifts = Shifts::Count(1);
        });
        let asked = order(&quay, &FileKind::ALL);
        let all = written(write(&asked, short, &|| false, &|_| ()));
        // Of the voices apart, and of the players' parts, there are two.
        assert_eq!(all.len(), FileKind::ALL.len() + 2);
        let mut sorted = all.clone();
        sorted.sort();
        assert_eq!(quay.names(), sorted);
        let read = |name: &str| fs::read(quay.folder().join(name)).unwrap();
        let text = |name: &str| String::from_utf8(read(name)).unwrap();
        let sound = header(&read("night.wav"));
        assert_eq!(sound, (2, 48_000, 24));
        // Two dwells of two cycles and a drift of one: five cycles of five notes, and as many of
        // the copy, which comes a step further.
        let midi = read_phrase(&read("night.mid"), 0.25, &Excerpt::default()).unwrap();
        assert_eq!(midi.tempo.map(f64::round), Some(108.0));
        assert_eq!(midi.name.as_deref(), Some("night"));
        let notes = midi.phrase.notes().len() + midi.left_out;
        assert!((50..=51).contains(&notes), "{notes}");
        assert!(read("night.png").starts_with(b"\x89PNG"));
        assert!(text("night.svg").starts_with("<svg"));
        assert!(text("night.txt").starts_with("night\n"));
        let plan: serde_json::Value = serde_json::from_str(&text("night.json")).unwrap();
        assert_eq!(
            (&plan["title"], &plan["origin"]),
            (&"night".into(), &8.0.into())
        );
        assert!(text("night.musicxml").contains("written against the"));
        assert!(text("night, own beat one.musicxml").contains("counts its own beat one"));
        let apart = ["night, steady.wav", "night, copy 1.wav"].map(|name| read(name).len());
        assert_eq!(apart[0], apart[1]);
        for (name, part, other) in [
            ("night, steady.musicxml", "Steady", "Copy 1"),
            ("night, copy 1.musicxml", "Copy 1", "Steady"),
        ] {
            let named = |part: &str| format!("<part-name>{part}</part-name>");
            let score = text(name);
            assert!(
                score.contains(&named(part)) && !score.contains(&named(other)),
                "{name}"
            );
            assert!(score.contains("<rehearsal>A</rehearsal>"), "{name}");
        }
    }

    /// Channels, frames a second and bits, from a WAV file's header (the extensible form of it has
    /// them in the same places).
    fn header(wav: &[u8]) -> (u16, u32, u16) {
        assert_eq!((&wav[..4], &wav[8..16]), (&b"RIFF"[..], &b"WAVEfmt "[..]));
        let short = |at: usize| u16::from_le_bytes(wav[at..at + 2].try_into().unwrap());
        let rate = u32::from_le_bytes(wav[24..28].try_into().unwrap());
        (short(22), rate, short(34))
    }

    #[test]
    fn a_part_is_written_for_its_instrument() {
        let quay = Quay::new();
        let score = FileKind::Score(Layout::SharedBeatOne);
        let high = Order {
            transpositions: vec![Transposition::AtPitch, Transposition::TwoOctavesUp],
            ..order(&quay, &[score])
        };
        written(done(&high));
        let text = fs::read_to_string(quay.folder().join("night.musicxml")).unwrap();
        assert_eq!(text.matches("sounds two octaves higher").count(), 1);
    }

    #[test]
    fn nothing_is_written_before_it_is_said_what_becomes_of_files_that_are_there() {
        let quay = Quay::new();
        fs::write(quay.folder().join("night.txt"), "older").unwrap();
        let asked = order(&quay, &[FileKind::Midi, FileKind::PlanText]);
        let there = vec![quay.folder().join("night.txt")];
        assert_eq!(done(&asked), Ending::There(there.clone()));
        assert_eq!(quay.names(), ["night.txt"]);

        let leave = Order {
            there: There::Leave,
            ..asked.clone()
        };
        let Ending::Done { written, left, .. } = done(&leave) else {
            panic!("it has ended");
        };
        assert_eq!(
            (names(&written), left),
            (vec!["night.mid".to_owned()], there.clone())
        );
        assert_eq!(fs::read(quay.folder().join("night.txt")).unwrap(), b"older");

        let both = Order {
            there: There::Number,
            ..asked.clone()
        };
        assert_eq!(self::written(done(&both)), ["night 2.mid", "night 2.txt"]);
        assert_eq!(self::written(done(&both)), ["night 3.mid", "night 3.txt"]);
        assert_eq!(fs::read(quay.folder().join("night.txt")).unwrap(), b"older");

        // The MIDI file came since it was asked about the text: so that is asked about, too.
        let replace = |paths: &[&str]| Order {
            there: There::Replace(paths.iter().map(|name| quay.folder().join(name)).collect()),
            ..asked.clone()
        };
        assert!(matches!(done(&replace(&["night.txt"])), Ending::There(paths) if paths.len() == 2));
        assert_eq!(fs::read(quay.folder().join("night.txt")).unwrap(), b"older");
        let replaced = self::written(done(&replace(&["night.txt", "night.mid"])));
        assert_eq!(replaced, ["night.mid", "night.txt"]);
        assert!(
            fs::read(quay.folder().join("night.txt"))
                .unwrap()
                .starts_with(b"night")
        );
        assert_eq!(quay.names().len(), 6);
    }

    #[test]
    fn a_missing_folder_is_made_only_if_that_is_wanted() {
        let quay = Quay::new();
        let pier = quay.folder().join("pier/seven");
        let asked = Order {
            folder: pier.display().to_string(),
            ..order(&quay, &[FileKind::Midi])
        };
        assert_eq!(done(&asked), Ending::NoFolder(pier.clone()));
        assert!(quay.names().is_empty());
        let make = Order {
            make_folder: true,
            ..asked
        };
        assert_eq!(written(done(&make)), ["night.mid"]);
        assert!(pier.join("night.mid").is_file());
    }

    #[test]
    fn a_file_where_the_folder_should_be_is_said() {
        let quay = Quay::new();
        let pier = quay.folder().join("pier");
        fs::write(&pier, "a file").unwrap();
        for folder in [pier.clone(), pier.join("seven")] {
            let on_file = Order {
                folder: folder.display().to_string(),
                make_folder: true,
                ..order(&quay, &[FileKind::Midi])
            };
            let said = put::Trouble::FolderIsFile(pier.clone());
            assert_eq!(done(&on_file), said.into());
        }
    }

    #[test]
    fn with_nothing_to_write_it_says_what_to_do() {
        let quay = Quay::new();
        let none = order(&quay, &[]);
        assert_eq!(done(&none), Trouble::NoKind.into());
        let silent = Subject {
            process: Process::new(Phrase::empty(4.0).unwrap(), Settings::default(), 0.0),
            ..lanterns()
        };
        let ending = write(&order(&quay, &[FileKind::Midi]), silent, &|| false, &|_| ());
        assert_eq!(ending, Trouble::NoPhrase.into());
        let nameless = Order {
            name: " ".to_owned(),
            ..order(&quay, &[FileKind::Midi])
        };
        assert_eq!(done(&nameless), Trouble::NoName.into());
        assert!(quay.names().is_empty());
    }

    #[test]
    fn what_cannot_be_made_leaves_the_others_alone() {
        let quay = Quay::new();
        // No MIDI file can hold that.
        let still = Subject {
            tempo: 1.0,
            ..lanterns()
        };
        let both = order(&quay, &[FileKind::Midi, FileKind::PlanText]);
        let Ending::Done {
            written, troubles, ..
        } = write(&both, still, &|| false, &|_| ())
        else {
            panic!("it has ended");
        };
        assert_eq!(names(&written), ["night.txt"]);
        assert!(
            troubles[0]
                .to_string()
                .starts_with("A MIDI file cannot hold a tempo of 1 bpm")
        );
        assert_eq!(quay.names(), ["night.txt"]);
    }

    #[test]
    fn stopped_it_leaves_what_is_done_and_no_part_of_what_is_not() {
        let quay = Quay::new();
        let three = order(
            &quay,
            &[FileKind::Midi, FileKind::PlanText, FileKind::PictureSvg],
        );
        let stop = std::cell::Cell::new(false);
        let tell = |going: Writing| {
            if let Writing::Going { done: 1, .. } = going {
                stop.set(true);
            }
        };
        let Ending::Done {
            written, troubles, ..
        } = write(&three, lanterns(), &|| stop.get(), &tell)
        else {
            panic!("it has ended");
        };
        assert_eq!(names(&written), ["night.mid"]);
        assert_eq!(troubles, [Trouble::File(put::Trouble::Stopped)]);
        assert_eq!(quay.names(), ["night.mid"]);
    }

    #[test]
    fn a_piece_that_is_too_long_says_how_much_of_it_there_is() {
        let quay = Quay::new();
        let long = subject(
            "C4 D4 E4 F4 G4 A4 B4 C5 D5 E5 F5 G5 A5 B5 C6 D6",
            |settings| {
                settings.motion.dwell = 64;
                settings.motion.drift = 64;
                settings.motion.shifts = Shifts::Count(128);
            },
        );
        let ending = write(
            &order(&quay, &[FileKind::PlanText]),
            long,
            &|| false,
            &|_| (),
        );
        let Ending::Done { cut: Some(cut), .. } = ending else {
            panic!("{ending:?}");
        };
        // 128 stages of 128 cycles of 4 beats, and the last dwell: 65 792 at 108 a minute.
        assert!(
            cut.starts_with("The piece lasts 10:09:11, too long"),
            "{cut}"
        );
    }

    #[test]
    fn the_scribe_writes_beside_whatever_else_goes_on_and_tells_how_it_ended() {
        let quay = Quay::new();
        let mut writer = Writer::default();
        assert_eq!(writer.report(), Report::default());
        writer.write(order(&quay, &[FileKind::PlanText]), lanterns());
        writer.wait();
        let report = writer.report();
        assert_eq!(report.orders, 1);
        let Writing::Ended(ending) = report.writing else {
            panic!("it has ended");
        };
        assert_eq!(written(ending), ["night.txt"]);
    }

    #[test]
    fn a_scribe_that_goes_takes_its_hand_off_and_leaves_no_part() {
        let quay = Quay::new();
        let mut writer = Writer::default();
        writer.write(order(&quay, &FileKind::ALL), lanterns());
        drop(writer);
        assert!(!quay.names().iter().any(|name| name.ends_with(".part")));
    }
}
