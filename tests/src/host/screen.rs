//! A screen to show a window on: one that nobody sees, if there is a server for it, so that a test
//! neither takes the mouse away from anybody nor is disturbed.

use std::io::{BufRead, BufReader, Write};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::{Mutex, PoisonError};

/// Set in a program that was started by [`run_test`], so that it does not start another.
const INSIDE: &str = "PROCESSION_SCREEN";

/// A screen of our own; it goes when this is dropped.
pub struct Screen {
    server: Child,
    name: String,
}

impl Screen {
    /// Starts an unseen screen of that many pixels; none if there is no server for it here.
    pub fn start(width: u32, height: u32) -> Option<Self> {
        let mut server = Command::new("Xvfb")
            .args([
                "-displayfd",
                "1",
                "-nolisten",
                "tcp",
                "-noreset",
                "-screen",
                "0",
            ])
            .arg(format!("{width}x{height}x24"))
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .ok()?;
        let mut number = String::new();
        let mut told = server.stdout.take().map(BufReader::new)?;
        told.read_line(&mut number).ok()?;
        let name = format!(":{}", number.trim());
        if number.trim().is_empty() {
            let _ = server.kill();
            let _ = server.wait();
            return None;
        }
        Some(Self { server, name })
    }

    /// Runs a program with this as its screen.
    ///
    /// # Errors
    /// The program does not start.
    pub fn run(&self, command: &mut Command) -> std::io::Result<ExitStatus> {
        command.env("DISPLAY", &self.name).env(INSIDE, "1").status()
    }
}

impl Drop for Screen {
    fn drop(&mut self) {
        let _ = self.server.kill();
        let _ = self.server.wait();
    }
}

/// Whether this program was given a screen of its own.
pub fn is_inside() -> bool {
    std::env::var_os(INSIDE).is_some()
}

/// Runs the body of the test called `name` on a screen: on an unseen one of its own, in a program
/// of its own; where there is none, on the one there is; and without any, says so and runs nothing.
pub fn run_test(name: &str, body: impl FnOnce()) {
    if is_inside() {
        return body();
    }
    // Screens are drawn by the processor, and several at once would only wait for each other.
    static ONE_AT_A_TIME: Mutex<()> = Mutex::new(());
    let _turn = ONE_AT_A_TIME.lock().unwrap_or_else(PoisonError::into_inner);
    if let Some(screen) = Screen::start(2600, 1800) {
        let program = std::env::current_exe().expect("a test knows where it lies");
        let status = screen
            .run(Command::new(program).args([name, "--exact", "--nocapture"]))
            .expect("a test that runs can be run");
        assert!(
            status.success(),
            "\"{name}\" failed on its screen ({status}): see above"
        );
    } else if std::env::var_os("DISPLAY").is_some() {
        body();
    } else {
        // Not by the macro: what a passing test prints with it is not shown.
        let _ = writeln!(
            std::io::stderr(),
            "SKIPPED: \"{name}\" needs a screen. Install Xvfb and Mesa (Debian: xvfb, \
             libgl1-mesa-dri), or set DISPLAY, to see the real window tested."
        );
    }
}
