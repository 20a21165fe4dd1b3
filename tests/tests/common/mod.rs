//! The plug-in that the statements are about: linked into the test, in its debug build, so that
//! every block of every statement is processed under the guard against allocation.

use procession_tests::host::{Error, Library, Loaded, Plugin};
use procession_tests::session::Session;

/// A new instance.
pub fn plugin() -> Result<Plugin<Loaded>, Error> {
    Library::linked(&procession::clap_entry)?.first_plugin()
}

/// What a channel plays from song position `from` on, in sixteenths.
#[allow(dead_code, reason = "shared by tests that use a part each")]
#[track_caller]
pub fn assert_plays(session: &Session, channel: u16, from: f64, score: &str) {
    let beats = score.split_whitespace().filter(|word| *word != "|").count() as f64 * 0.25;
    let line = session.recording().channel(channel);
    line.between(from, from + beats).assert_attacks(0.25, score);
}
