//! The plug-in that the statements are about: linked into the test, in its debug build, so that
//! every block of every statement is processed under the guard against allocation.

use procession_tests::host::{Error, Library, Loaded, Plugin};

/// A new instance.
pub fn plugin() -> Result<Plugin<Loaded>, Error> {
    Library::linked(&procession::clap_entry)?.first_plugin()
}
