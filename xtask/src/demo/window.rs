//! Pictures of the window at three moments of the story: growing, in the middle, and at the end.

use super::files::said;
use anyhow::Result;
use procession_core::exchange::put::{Existing, Trouble, create, put};
use procession_core::form::Form;
use procession_core::time::Beats;
use procession_tests::host::Window;
use procession_tests::host::screen::{Screen, is_inside};
use procession_tests::patience::wait_until;
use procession_tests::session::Session;
use std::io::BufWriter;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Duration;

/// A song position, and what the picture taken there is called.
pub struct Moment {
    pub at: Beats,
    pub name: &'static str,
}

/// The pictures, in the order of the moments.
pub const NAMES: [&str; 3] = [
    "window-growing.png",
    "window-turning.png",
    "window-unison.png",
];

/// Half-way through the growth, half-way through the turning of the mode, and in the unison at the
/// end. Where nothing grows, or nothing turns, early on and half-way through the whole.
pub fn moments(form: &Form, notes: usize, turning: Option<(Beats, Beats)>) -> Vec<Moment> {
    let whole = form.stages.first().map_or(0.0, |stage| stage.span.start);
    let end = form.end();
    let inside = |share: f64| whole + share * (end - whole);
    let growing = form.stages.iter().filter(|stage| stage.shown < notes);
    let grown = growing.map(|stage| stage.span.end).next_back();
    let half_way = |(start, end): (Beats, Beats)| (start + end) / 2.0;
    let places = [
        grown.map_or(inside(0.04), |grown| half_way((whole, grown))),
        turning.map_or(inside(0.55), half_way),
        inside(0.97),
    ];
    let moments = NAMES.into_iter().zip(places);
    moments.map(|(name, at)| Moment { at, name }).collect()
}

/// Runs this very program again on a screen that nobody sees, so that the window disturbs nobody:
/// whether that went well. `None` where it already runs on one, or there is none: the demo goes on
/// here then.
pub fn on_unseen_screen() -> Option<bool> {
    if is_inside() {
        return None;
    }
    let screen = Screen::start(1400, 1000)?;
    let program = std::env::current_exe().ok()?;
    let mut again = Command::new(program);
    // What the framework logs about closing windows is of no interest here.
    again
        .args(std::env::args_os().skip(1))
        .env("NICE_LOG", "/dev/null");
    let status = screen.run(&mut again).ok()?;
    Some(status.success())
}

/// Whether a window can be shown.
pub fn is_possible() -> bool {
    is_inside()
}

/// Where nothing is explained to the mouse.
const AT_REST: (i16, i16) = (600, 785);

/// On Hold, which shows that the mouse is on it.
const HOLD: (i16, i16) = (70, 26);

/// Waits until the window shows the moment to which the song has rolled. It was drawn since if it
/// has seen the mouse come and go.
fn catch_up(session: &mut Session, window: &mut Window) -> Result<()> {
    for place in [HOLD, AT_REST] {
        window.wait_until_still(session.plugin(), STILL)?;
        let before = window.picture()?;
        window.point(place)?;
        wait_until("a window that sees the mouse", || {
            window.wait(session.plugin(), STILL)?;
            Ok(window.picture()? != before)
        })?;
    }
    Ok(window.wait_until_still(session.plugin(), STILL)?)
}

/// Longer than a change takes to fade in, or a window takes to look whether there is one.
const STILL: Duration = Duration::from_millis(250);

/// Opens the window, lets the song roll on a little so that it shows where things stand, and takes
/// its picture.
pub fn picture(session: &mut Session, path: &Path, existing: Existing) -> Result<PathBuf> {
    let mut window = Window::open(session.plugin())?;
    window.resize(session.plugin(), 1200, 800)?;
    window.point(AT_REST)?;
    window.wait_until_drawn(session.plugin())?;
    session.run_frames(768)?;
    catch_up(session, &mut window)?;
    let picture = window.picture()?;
    window.close(session.plugin())?;
    put(path, existing, create, |file| {
        let written = picture.write(BufWriter::new(file));
        written.map_err(|error| Trouble::of(&error, path))
    })
    .map_err(said)?;
    Ok(path.to_owned())
}
