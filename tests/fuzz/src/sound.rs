//! A recording out of a sound file: WAV, AIFF, FLAC, Ogg Vorbis or MP3.

use procession_core::exchange::recorded::read;
use procession_core::speech::LONGEST;

/// What is read is a recording that can be listened to; what is not is refused in words.
pub fn run(bytes: &[u8]) {
    match read(bytes) {
        Ok(recording) => {
            let samples = recording.samples();
            assert!(!samples.is_empty());
            assert!(samples.iter().all(|sample| sample.abs() <= 2.0));
            assert!(recording.rate() >= 1.0 && recording.seconds() <= LONGEST);
        }
        Err(refused) => assert!(!refused.to_string().is_empty()),
    }
}
