//! Waiting for what happens on other threads and other screens: for the event, never for a time.

use crate::host::Error;
use std::time::{Duration, Instant};

/// How long anything is waited for before it counts as not coming: long, since a machine may be
/// slow or busy, and only whoever waits in vain pays for it.
pub const PATIENCE: Duration = Duration::from_secs(120);

/// Asks again and again until `it_is` so; a little time should pass in each asking.
///
/// # Errors
/// It is not so within [`PATIENCE`]: `what` was waited for. Or asking fails.
pub fn wait_until(what: &str, mut it_is: impl FnMut() -> Result<bool, Error>) -> Result<(), Error> {
    let end = Instant::now() + PATIENCE;
    while !it_is()? {
        if Instant::now() >= end {
            let waited = PATIENCE.as_secs();
            return Err(Error::new(format!("{what}: waited in vain, {waited} s")));
        }
    }
    Ok(())
}
