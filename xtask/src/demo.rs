//! `demo`: the main job in one command.
//!
//! Builds the plug-in, loads it as a host does, plays a phrase into it, lets it hold and play,
//! and leaves what it answered as MIDI, as a picture and in words, and what it sounded like.

mod files;
mod performance;
mod settings;
mod sound;
mod story;
mod window;

use crate::bundle::{self, Build};
use crate::workspace;
use anyhow::{Context, Result, bail};
use lexopt::{Arg, Parser, ValueExt};
use procession_core::exchange::open::Excerpt;
use procession_core::exchange::put::Existing;
use procession_core::words;
use std::path::{Path, PathBuf};
use std::time::Instant;
use story::Story;

/// What `demo` does, leaves and understands.
pub const HELP: &str = "\
cargo xtask demo [PHRASE | --voice RECORDING | --start NAME] [OPTIONS]

Builds the plug-in, loads it as a host does, plays a phrase into it and lets it hold: the demo's
own, or PHRASE, a MIDI file or a score (MusicXML). Leaves MIDI, the sound of the plug-in's own
mallets, a picture, the plan in words and as JSON, a score and, where Xvfb is installed, pictures of
the window; ends by saying what it made and where. After the demo's own phrase a spoken sentence
becomes one: the same of that, with its melody as a picture and its voice in the sound, in a folder
of its own within, `spoken`. It was said by flite 2.2, voice slt (xtask/src/demo/story.rs says how).

  --voice FILE   make the phrase of the steadiest sentence that is spoken in this sound file (.wav, .flac,
                 .aiff, .ogg or .mp3), at its own tempo; also leaves a picture of its melody, and its
                 voice is in the sound
  --start NAME   play one of the starting points that the window offers, as it stands there: --start wake;
                 any other name lists them
  --part 2       take this part of PHRASE only, counted from 1
  --bars 3-6     take these bars of PHRASE only, or one: --bars 3
  --minutes 6    how long the piece is to last, above 0 and up to 600
  --set ID=VALUE set a parameter by its id, as you would type it in a host: --set copies=3
                 --set motion=Jump; plugin/tests/parameters.txt lists ids and values
  --out FOLDER   where the files go; target/demo unless said
  --replace      replace the files of an earlier run in that folder
";

/// `demo [PHRASE.mid or .musicxml | --voice FILE | --start NAME] [--part N] [--bars A-B] [--minutes M] [--set id=value ...] [--out DIR [--replace]]`
pub fn run(arguments: Parser) -> Result<()> {
    let wishes = Wishes::read(arguments)?;
    if let Some(went_well) = window::on_unseen_screen() {
        std::process::exit(if went_well { 0 } else { 1 });
    }
    let told = (&wishes.phrase, &wishes.voice, &wishes.start);
    let is_own = told == (&None, &None, &None);
    let mut story = match told {
        (Some(path), None, None) => Story::from_file(path, &wishes.choice)?,
        (None, Some(path), None) => Story::from_voice(path)?,
        (None, None, Some(name)) => Story::from_start(name)?,
        (None, None, None) => Story::crossing()?,
        _ => bail!("there is one phrase: give one of PHRASE, --voice and --start"),
    };
    if wishes.minutes.is_some() && story.is_written() {
        bail!("this form is written stage by stage, so its length is fixed: leave out --minutes");
    }
    for (id, value) in &wishes.settings {
        story.set(id, value);
    }
    if let Some(folder) = wishes.out.as_ref().filter(|_| !wishes.replace) {
        nothing_is_replaced(folder)?;
    }
    // Nor what comes to be there while it plays.
    let existing = match wishes.out.is_some() && !wishes.replace {
        true => Existing::Keep,
        false => Existing::Replace,
    };
    println!("building the plug-in ...");
    let clap = bundle::make_clap(Build::Release)?;
    let folder = match wishes.out {
        Some(folder) => folder,
        None => workspace::target()?.join("demo"),
    };
    tell(&clap, &mut story, wishes.minutes, (&folder, existing))?;
    if is_own {
        let mut story = Story::spoken()?;
        for (id, value) in &wishes.settings {
            story.set(id, value);
        }
        println!();
        tell(&clap, &mut story, None, (&folder.join(SPOKEN), existing))?;
    }
    Ok(())
}

/// Where the spoken part of the demo goes, within the folder of the rest.
const SPOKEN: &str = "spoken";

/// Plays a story through the plug-in, leaves its files, and says so.
fn tell(
    clap: &Path,
    story: &mut Story,
    minutes: Option<f64>,
    (folder, existing): (&Path, Existing),
) -> Result<()> {
    std::fs::create_dir_all(folder)
        .with_context(|| format!("the folder {} cannot be made", folder.display()))?;
    let begun = Instant::now();
    let performance = performance::perform(clap, story, minutes, (folder, existing))?;
    let took = begun.elapsed().as_secs_f64();
    let mut files = files::leave(folder, story, &performance, existing)?;
    files.extend(files::leave_melody(folder, story, existing)?);
    let lasts = words::minutes(performance.form.totals.chosen, story.tempo);
    println!(
        "{}: {} notes in {} stages, {lasts} of music, played by {} in {took:.1} s.\n",
        story.title,
        performance.notes.len(),
        performance.form.stages.len(),
        clap.display(),
    );
    let sound = performance.sound.as_ref();
    let recorded = sound.ok().map(|recorded| &recorded.path);
    for file in files.iter().chain(recorded).chain(&performance.windows) {
        println!("  {}", file.display());
    }
    match sound {
        Ok(recorded) => println!(
            "\nsound.wav is what came out of the plug-in's own audio output, the audition, brought to {}: as loud as other music files.",
            in_words(recorded.lufs)
        ),
        Err(reason) => println!("\nNo sound.wav: {reason:#}"),
    }
    if performance.windows.is_empty() {
        println!(
            "\nNo pictures of the window: they need a screen. Install Xvfb and Mesa (Debian: xvfb, libgl1-mesa-dri)."
        );
    }
    Ok(())
}

fn in_words(lufs: Option<f64>) -> String {
    lufs.map_or("hardly a sound".to_owned(), |lufs| {
        format!("{lufs:.0} LUFS")
    })
}

/// A folder of the user's own is not written over unasked.
fn nothing_is_replaced(folder: &Path) -> Result<()> {
    let mut left = files::NAMES
        .into_iter()
        .chain([sound::NAME, files::MELODY])
        .chain(window::NAMES);
    let spoken = folder.join(SPOKEN);
    let is_there = |name: &&str| {
        let places = [folder.join(name), spoken.join(name)];
        places.iter().any(|path| path.symlink_metadata().is_ok())
    };
    match left.find(is_there) {
        Some(name) => bail!(
            "{} holds a {name} already: choose another folder with --out, or add --replace",
            folder.display()
        ),
        None => Ok(()),
    }
}

/// What the user asked for.
#[derive(Default)]
struct Wishes {
    phrase: Option<PathBuf>,
    /// A recording to make it of.
    voice: Option<PathBuf>,
    /// The name of a starting point.
    start: Option<String>,
    /// Which part of it, and which bars.
    choice: Excerpt,
    minutes: Option<f64>,
    settings: Vec<(String, String)>,
    out: Option<PathBuf>,
    /// Whether files that are in that folder may go.
    replace: bool,
}

impl Wishes {
    fn read(mut arguments: Parser) -> Result<Self> {
        let mut wishes = Self::default();
        while let Some(argument) = arguments.next()? {
            match argument {
                Arg::Value(path) if wishes.phrase.is_none() => wishes.phrase = Some(path.into()),
                Arg::Long("voice") => wishes.voice = Some(arguments.value()?.into()),
                Arg::Long("start") => wishes.start = Some(arguments.value()?.string()?),
                Arg::Long("part") => {
                    let part: usize = arguments.value()?.parse()?;
                    let place = part.checked_sub(1).context("--part counts from 1")?;
                    wishes.choice.part = Some(place);
                }
                Arg::Long("bars") => {
                    let text = arguments.value()?.string()?;
                    let (first, last) = text.split_once('-').unwrap_or((&text, &text));
                    let bars = first.parse().ok().zip(last.parse().ok());
                    let (first, last) = bars.with_context(|| {
                        format!("--bars takes a bar or two, for example 3 or 3-6, not \"{text}\"")
                    })?;
                    wishes.choice.bars = Some(first..=last);
                }
                Arg::Long("minutes") => {
                    let minutes: f64 = arguments.value()?.parse()?;
                    if !(minutes > 0.0 && minutes <= 600.0) {
                        bail!("--minutes takes a number above 0 and up to 600, not {minutes}");
                    }
                    wishes.minutes = Some(minutes);
                }
                Arg::Long("set") => {
                    let text = arguments.value()?.string()?;
                    let (id, value) = text.split_once('=').with_context(|| {
                        format!("--set takes id=value, for example dwell=8, not \"{text}\"")
                    })?;
                    wishes.settings.push((id.to_owned(), value.to_owned()));
                }
                Arg::Long("replace") => wishes.replace = true,
                Arg::Long("out") => wishes.out = Some(arguments.value()?.into()),
                other => return Err(other.unexpected().into()),
            }
        }
        Ok(wishes)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wishes(words: &[&str]) -> Result<Wishes> {
        Wishes::read(Parser::from_args(words))
    }

    #[test]
    fn wishes_are_read_in_any_order() {
        let asked = [
            "--set",
            "dwell=8",
            "mine.mid",
            "--minutes",
            "6.5",
            "--out",
            "here",
        ];
        let wishes = wishes(&asked).expect("these are wishes");
        assert_eq!(wishes.phrase, Some("mine.mid".into()));
        assert_eq!(wishes.minutes, Some(6.5));
        assert_eq!(wishes.settings, [("dwell".to_owned(), "8".to_owned())]);
        assert_eq!(wishes.out, Some("here".into()));
    }

    #[test]
    fn a_folder_of_ones_own_is_not_written_over_unasked() {
        let folder = std::env::temp_dir().join(format!("procession-out-{}", std::process::id()));
        std::fs::create_dir_all(&folder).expect("a folder");
        assert!(nothing_is_replaced(&folder).is_ok());
        std::fs::write(folder.join("plan.txt"), "mine").expect("a file");
        let refusal = nothing_is_replaced(&folder).expect_err("it would be lost");
        assert!(refusal.to_string().contains("--replace"), "{refusal}");
        std::fs::remove_dir_all(&folder).expect("it goes");
        assert!(wishes(&["--replace"]).expect("a wish").replace);
    }

    #[test]
    fn part_and_bars_are_counted_as_musicians_count() {
        let wishes = wishes(&["mine.musicxml", "--part", "2", "--bars", "3-6"]);
        let choice = wishes.expect("these are wishes").choice;
        assert_eq!((choice.part, choice.bars), (Some(1), Some(3..=6)));
    }

    #[test]
    fn a_wish_that_cannot_be_is_refused_with_the_remedy() {
        for (words, remedy) in [
            (["--set", "dwell"], "for example dwell=8"),
            (["--bars", "the last"], "for example 3"),
            (["--part", "0"], "from 1"),
            (["--minutes", "0"], "above 0"),
            (["a.mid", "b.mid"], "b.mid"),
        ] {
            let refusal = wishes(&words).err().expect("this is no wish");
            assert!(format!("{refusal:#}").contains(remedy), "{refusal:#}");
        }
    }
}
