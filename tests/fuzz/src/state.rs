//! A saved state, as a host hands it back.

use procession_tests::host::{Block, Error, Library, Loaded, Plugin, Setup, Transport};
use procession_tests::staging::framed;

/// A new instance of the plug-in, linked into this program.
///
/// # Panics
/// If it does not start.
pub fn plugin() -> Plugin<Loaded> {
    let plugin = Library::linked(&procession::clap_entry).and_then(|entry| entry.first_plugin());
    plugin.unwrap_or_else(|error| panic!("{error}"))
}

/// Whatever is loaded, it plays; what is saved then is loaded and saved again as it is.
pub fn run(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    if let Err(error) = load_and_play(&framed(&text)) {
        panic!("{error}");
    }
}

fn load_and_play(state: &[u8]) -> Result<(), Error> {
    let mut plugin = plugin();
    // What is no state is refused, and what there was stays.
    let _ = plugin.load(state);
    let saved = plugin.save()?;
    let mut plugin = plugin.activate(Setup::default())?.start()?;
    for beat in 0..4 {
        let transport = Transport::rolling(120.0).at(f64::from(beat) * 7.3);
        plugin.process(&Block::of(512).transport(transport))?;
    }
    let mut again = self::plugin();
    again.load(&saved)?;
    let resaved = again.save()?;
    assert!(saved == resaved, "saved, loaded and saved it is another");
    Ok(())
}
