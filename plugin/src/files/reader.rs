//! The reader: takes a phrase, or a route, out of a file on a thread of its own, so that no file,
//! however large or on however slow a disk, holds up the window.

use super::place::from_address;
use super::sentence;
use procession_core::exchange::open::{self, Contents, Excerpt, Found};
use procession_core::exchange::plan;
use procession_core::exchange::recorded::{self, is_sound};
use procession_core::route::Route;
use procession_core::time::Beats;
use std::fs::File;
use std::io::{ErrorKind, Read};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, TryRecvError, channel};
use std::thread::{self, JoinHandle};

/// What is wanted of a file.
#[derive(Clone, Debug, PartialEq)]
pub struct Wanted {
    /// Its path, as typed or pasted.
    pub path: String,
    /// Which part of it, and which bars.
    pub choice: Excerpt,
    /// The grid's step, in beats.
    pub step: Beats,
}

/// What came of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Answer {
    /// What the file has to choose from, if it could be read that far.
    pub contents: Option<Contents>,
    /// The part that was read, if it was one.
    pub part: Option<usize>,
    /// The phrase, or why there is none and what to do.
    pub found: Result<Found, String>,
}

/// What a reader answers. There may be no answer.
pub trait Told: Send + 'static {
    /// Nothing came of it, and why.
    fn none(why: impl Into<String>) -> Self;
}

impl Told for Answer {
    fn none(why: impl Into<String>) -> Self {
        Self {
            contents: None,
            part: None,
            found: Err(why.into()),
        }
    }
}

/// The route that a plan tells, or why there is none and what to do.
impl Told for Result<Route, String> {
    fn none(why: impl Into<String>) -> Self {
        Err(why.into())
    }
}

/// Reads one file at a time. Dropped, it stops and is waited for.
#[derive(Debug)]
pub struct Reader<T = Answer> {
    reading: Option<Reading<T>>,
    /// Nobody waits for these any more, but a disk may.
    given_up: Vec<Reading<T>>,
}

impl<T> Default for Reader<T> {
    fn default() -> Self {
        Self {
            reading: None,
            given_up: Vec::new(),
        }
    }
}

#[derive(Debug)]
struct Reading<T> {
    stop: Arc<AtomicBool>,
    answer: Receiver<T>,
    hand: Option<JoinHandle<()>>,
}

impl Reader<Result<Route, String>> {
    /// Begins to read the plan at a typed or pasted path. What is being read is given up for it.
    ///
    /// # Errors
    /// The system lends no thread; what to do.
    pub fn read_plan(&mut self, path: String) -> Result<(), String> {
        self.begin(move |stop| {
            let bytes = bytes(&path, &PLAN, stop)?;
            plan::read_route(&bytes).map_err(|error| sentence(error.to_string()))
        })
    }
}

impl Reader {
    /// Begins to read. What is being read is given up for it.
    ///
    /// # Errors
    /// The system lends no thread; what to do.
    pub fn read(&mut self, wanted: Wanted) -> Result<(), String> {
        self.begin(move |stop| read(&wanted, stop))
    }
}

impl<T: Told> Reader<T> {
    /// Begins `work`, which is to look now and then whether it shall stop.
    pub(crate) fn begin(
        &mut self,
        work: impl FnOnce(&dyn Fn() -> bool) -> T + Send + 'static,
    ) -> Result<(), String> {
        self.stop();
        let stop = Arc::new(AtomicBool::new(false));
        let (tell, answer) = channel();
        let asked = stop.clone();
        let hand = thread::Builder::new()
            .name("procession reading".to_owned())
            .spawn(move || {
                let answer = work(&|| asked.load(Ordering::Relaxed));
                // Nobody may be there any more.
                let _ = tell.send(answer);
            })
            .map_err(|error| {
                format!(
                    "The system lends no thread to read on ({error}): close something and load again."
                )
            })?;
        self.reading = Some(Reading {
            stop,
            answer,
            hand: Some(hand),
        });
        Ok(())
    }

    /// Whether something is being read, or was and is not asked for yet.
    pub fn is_reading(&self) -> bool {
        self.reading.is_some()
    }

    /// What is being read is given up, at once, and not answered.
    pub fn stop(&mut self) {
        self.given_up.retain(|reading| !reading.is_over());
        if let Some(reading) = self.reading.take() {
            reading.stop.store(true, Ordering::Relaxed);
            self.given_up.push(reading);
        }
    }

    /// What came of it, once.
    pub fn answer(&mut self) -> Option<T> {
        let answer = match self.reading.as_ref()?.answer.try_recv() {
            Err(TryRecvError::Empty) => return None,
            Err(TryRecvError::Disconnected) => {
                T::none("The reading broke off, by a defect of Procession: please report it.")
            }
            Ok(answer) => answer,
        };
        self.reading = None;
        Some(answer)
    }
}

impl<T> Reading<T> {
    fn is_over(&self) -> bool {
        self.hand.as_ref().is_none_or(JoinHandle::is_finished)
    }
}

impl<T> Drop for Reading<T> {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        if let Some(hand) = self.hand.take() {
            // A panic is told by there being no answer.
            let _ = hand.join();
        }
    }
}

/// A sort of file that is read.
pub(super) struct Sort {
    /// By what their names end.
    pub endings: &'static str,
    /// More bytes than that are not taken into memory.
    pub largest: usize,
    /// What a larger one is too large for, and what to do.
    pub too_large: &'static str,
}

const PHRASE: Sort = Sort {
    endings: ".mid or .musicxml",
    largest: open::LARGEST,
    too_large: "a phrase: save the bars you want as a file of their own",
};

const PLAN: Sort = Sort {
    endings: ".json",
    largest: plan::LARGEST,
    too_large: "a plan: choose the .json that was written with the others",
};

/// What is answered if nobody waits for it.
pub(super) const GIVEN_UP: &str = "Given up.";

/// Reads, here and now. `stop` is asked between any two pieces of work; each is bounded.
fn read(wanted: &Wanted, stop: &dyn Fn() -> bool) -> Answer {
    let bytes = match bytes(&wanted.path, &PHRASE, stop) {
        Ok(bytes) if is_sound(&bytes) => return Answer::none(IS_SOUND),
        Ok(bytes) => bytes,
        Err(why) => return Answer::none(why),
    };
    let contents = open::contents(&bytes).ok();
    if stop() {
        return Answer::none(GIVEN_UP);
    }
    // Parts of a score are not read as one.
    let as_one = contents.as_ref().is_none_or(|contents| contents.as_one);
    let part = wanted.choice.part.or((!as_one).then_some(0));
    let choice = Excerpt {
        part,
        ..wanted.choice.clone()
    };
    let found = open::read(&bytes, wanted.step, &choice);
    if stop() {
        return Answer::none(GIVEN_UP);
    }
    Answer {
        contents,
        part,
        found: found.map_err(sentence),
    }
}

/// What is said in the place of a phrase.
const IS_SOUND: &str =
    "That is a recording: open it in the Speech view, which makes a phrase of what is said in it.";

/// The bytes of the file at a typed or pasted path.
pub(super) fn bytes(typed: &str, sort: &Sort, stop: &dyn Fn() -> bool) -> Result<Vec<u8>, String> {
    let endings = sort.endings;
    let path = path_of(typed)
        .ok_or_else(|| format!("Type or paste the path of a {endings} file first."))?;
    let shown = path.display();
    let cannot = |error: std::io::Error| match error.kind() {
        ErrorKind::NotFound => {
            format!("There is no file {shown}: check the path.")
        }
        ErrorKind::PermissionDenied => {
            format!("{shown} may not be read: change its permissions, or choose another file.")
        }
        _ => format!("{shown} cannot be read ({error}): choose another file."),
    };
    let about = std::fs::metadata(&path).map_err(cannot)?;
    if !about.is_file() {
        return Err(format!("{shown} is not a file: add the file's name."));
    }
    let mut file = File::open(&path).map_err(cannot)?;
    let mut bytes = Vec::new();
    while !stop() {
        let mut chunk = file.by_ref().take(1 << 16);
        if chunk.read_to_end(&mut bytes).map_err(cannot)? == 0 {
            return Ok(bytes);
        }
        if bytes.len() > sort.largest && sort.largest < recorded::LARGEST && is_sound(&bytes) {
            return Err(IS_SOUND.to_owned());
        }
        if bytes.len() > sort.largest {
            return Err(format!(
                "{shown} is larger than {} MiB, too large for {}.",
                sort.largest >> 20,
                sort.too_large
            ));
        }
    }
    Err(GIVEN_UP.to_owned())
}

/// The path in what was typed, or pasted from a file manager: with quotes, as an address, or from
/// the home folder.
fn path_of(typed: &str) -> Option<PathBuf> {
    let quotes = ['"', '\''];
    let path = typed.trim().trim_matches(quotes).trim();
    let path = match path.strip_prefix("file://") {
        Some(address) => from_address(address),
        None => path.to_owned(),
    };
    let in_home = path.strip_prefix("~/").zip(std::env::home_dir());
    let path = match in_home {
        Some((rest, home)) => home.join(rest),
        None => PathBuf::from(&path),
    };
    (!path.as_os_str().is_empty()).then_some(path)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::{Duration, Instant};

    /// What is answered, in the end.
    fn answer(reader: &mut Reader) -> Answer {
        let begun = Instant::now();
        loop {
            if let Some(answer) = reader.answer() {
                return answer;
            }
            assert!(begun.elapsed() < Duration::from_secs(60), "no answer");
            thread::sleep(Duration::from_millis(1));
        }
    }

    fn until_stopped(stop: &dyn Fn() -> bool) -> Answer {
        while !stop() {
            thread::sleep(Duration::from_millis(1));
        }
        Answer::none(GIVEN_UP)
    }

    #[test]
    fn what_is_being_read_can_be_stopped_and_something_else_read_then() {
        let mut reader = Reader::<Answer>::default();
        assert!(!reader.is_reading());
        reader.begin(until_stopped).unwrap();
        assert!(reader.is_reading());
        assert_eq!(reader.answer(), None);
        reader.stop();
        assert!(!reader.is_reading());
        assert_eq!(reader.answer(), None);
        reader.begin(|_| Answer::none("another")).unwrap();
        assert_eq!(answer(&mut reader), Answer::none("another"));
        // And what comes later counts.
        reader.begin(until_stopped).unwrap();
        reader.begin(|_| Answer::none("the last")).unwrap();
        assert_eq!(answer(&mut reader), Answer::none("the last"));
    }

    #[test]
    fn whoever_closes_the_window_while_a_file_is_read_is_not_kept() {
        let mut reader = Reader::default();
        reader.begin(until_stopped).unwrap();
        drop(reader);
    }

    #[test]
    fn a_defect_of_the_reading_is_told() {
        let mut reader = Reader::default();
        reader.begin(|_| panic!("on purpose")).unwrap();
        let told = answer(&mut reader).found.unwrap_err();
        assert!(told.contains("broke off"), "{told}");
    }

    #[test]
    fn a_reading_that_was_stopped_reads_no_further() {
        let own = format!("procession-reader-{}", std::process::id());
        let path = std::env::temp_dir().join(own);
        std::fs::write(&path, vec![b'x'; 1 << 19]).unwrap();
        let asked = std::cell::Cell::new(0);
        let third_time = || {
            asked.set(asked.get() + 1);
            asked.get() > 3
        };
        let stopped = bytes(&path.display().to_string(), &PHRASE, &third_time);
        assert_eq!(stopped, Err(GIVEN_UP.to_owned()));
        assert_eq!(asked.get(), 4);
        std::fs::remove_file(path).unwrap();
    }

    #[test]
    fn a_pasted_path_may_have_quotes_or_be_an_address() {
        let path = |typed| path_of(typed).map(|path| path.display().to_string());
        assert_eq!(
            path(" '/a/deck at night.mid' ").as_deref(),
            Some("/a/deck at night.mid")
        );
        assert_eq!(
            path("file:///a/deck%20at%20night.mid").as_deref(),
            Some("/a/deck at night.mid")
        );
        assert_eq!(path(" \"\" "), None);
    }

    #[test]
    fn what_is_no_file_is_said_plainly() {
        let read_file = |typed: &str| bytes(typed, &PHRASE, &|| false);
        let folder = std::env::temp_dir();
        let error = read_file(&folder.display().to_string()).unwrap_err();
        assert!(error.contains("is not a file"), "{error}");
        let error = read_file("/no/such/deck.mid").unwrap_err();
        assert!(
            error.contains("There is no file /no/such/deck.mid"),
            "{error}"
        );
        assert!(read_file(" ").unwrap_err().contains("Type or paste"));
    }
}
