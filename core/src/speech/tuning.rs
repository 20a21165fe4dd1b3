//! From a spoken pitch to a key.

use crate::mode::Mode;
use crate::note::Key;

/// That near to the middle between two keys, in semitones, either will do (own choice).
const NEAR_TIE: f64 = 0.1;

/// A key, and how far the voice was from it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tuned {
    /// The key struck.
    pub key: Key,
    /// Cents; positive is where the voice was higher.
    pub cents: f64,
}

/// The key of each pitch: the nearest tone of the mode, or without one the nearest of all keys. Near
/// the middle between two keys the one that was struck last is struck again, so that a voice that
/// wavers there does not trill.
pub fn in_tune(pitches: &[f64], mode: Option<&Mode>) -> Vec<Tuned> {
    let mut last: Option<Key> = None;
    (pitches.iter())
        .map(|pitch| {
            let off = |key: &Key| (f64::from(key.number()) - pitch).abs();
            let keys = (0..128)
                .filter_map(Key::new)
                .filter(|key| mode.is_none_or(|mode| mode.contains(*key)));
            let nearest = keys
                .min_by(|a, b| off(a).total_cmp(&off(b)))
                .unwrap_or(Key::by_octave(pitch.round() as i32));
            let again = last.filter(|key| off(key) <= off(&nearest) + 2.0 * NEAR_TIE);
            let key = again.unwrap_or(nearest);
            last = Some(key);
            Tuned {
                key,
                cents: 100.0 * (pitch - f64::from(key.number())),
            }
        })
        .collect()
}
