//! An utterance as FLAC (RFC 9639): about half as large, and back to the bit.
//!
//! One channel, 16 or 24 bits, nothing beside the sound. What is read is believed no further than
//! an [`Utterance`] goes: damage, and what is longer, is refused, and takes no memory.

use super::guarded;
use crate::reciter::{LONGEST, Utterance};
use flac_codec::Error;
use flac_codec::decode::FlacSampleReader;
use flac_codec::encode::{FlacSampleWriter, Options};
use flac_codec::metadata::Metadata;
use std::io::Cursor;
use thiserror::Error as Described;

/// Why that is no utterance; the text says what to do.
#[derive(Clone, Debug, Described, PartialEq)]
pub enum FlacError {
    /// It is no FLAC, or not as it was written.
    #[error("it is damaged ({0})")]
    Damaged(String),
    /// It is FLAC, but not one channel of at most [`LONGEST`] seconds, at 8,000 to 48,000 samples a
    /// second of 16 or 24 bits.
    #[error("it is no recording of one voice, {LONGEST:.0} seconds at most")]
    NoUtterance,
}

impl From<Error> for FlacError {
    fn from(error: Error) -> Self {
        Self::Damaged(error.to_string())
    }
}

/// The utterance as a FLAC file. The same utterance always gives the same bytes.
///
/// # Errors
/// [`FlacError::Damaged`] if the library will not write it, of which no case is known.
pub fn to_flac(utterance: &Utterance) -> Result<Vec<u8>, FlacError> {
    let steps: Vec<i32> = utterance.steps().collect();
    let options = Options::default().no_padding().no_seektable();
    let mut file = Cursor::new(Vec::new());
    let (rate, bits) = (utterance.rate(), utterance.bits());
    let count = Some(steps.len() as u64);
    let mut writer = FlacSampleWriter::new(&mut file, options, rate, bits, 1, count)?;
    writer.write(&steps)?;
    writer.finalize()?;
    Ok(file.into_inner())
}

/// The utterance in a FLAC file.
///
/// # Errors
/// See [`FlacError`].
pub fn from_flac(file: &[u8]) -> Result<Utterance, FlacError> {
    let fallen = || FlacError::Damaged("its decoder fell over it".to_owned());
    guarded(|| decoded(file)).unwrap_or_else(|| Err(fallen()))
}

fn decoded(file: &[u8]) -> Result<Utterance, FlacError> {
    let mut reader = FlacSampleReader::new(file)?;
    let (rate, bits) = (reader.sample_rate(), reader.bits_per_sample());
    if reader.channel_count() != 1 {
        return Err(FlacError::NoUtterance);
    }
    let most = (LONGEST * f64::from(rate)) as usize;
    let mut steps = Vec::new();
    loop {
        let here = reader.fill_buf()?;
        let count = here.len();
        if count == 0 {
            break;
        }
        if steps.len() + count > most {
            return Err(FlacError::NoUtterance);
        }
        steps.extend_from_slice(here);
        reader.consume(count);
    }
    Utterance::from_steps(steps, rate, bits).ok_or(FlacError::NoUtterance)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn utterance() -> impl Strategy<Value = Utterance> {
        let rate = prop::sample::select(vec![8_000, 11_025, 22_050, 44_100, 47_999, 48_000]);
        let bits = prop::sample::select(vec![16_u32, 24]);
        // Silence, noise at any loudness, and something smooth, as speech is.
        let stretch = (0..6_000_usize, 0..24_u32, any::<u32>(), any::<bool>());
        let stretches = prop::collection::vec(stretch, 1..5);
        (rate, bits, stretches).prop_filter_map("some samples", |(rate, bits, stretches)| {
            let full = 1_i32 << (bits - 1);
            let mut steps = vec![0, full - 1, -full];
            for (count, quieter, mut seed, smooth) in stretches {
                let mut level = 0_i64;
                for _ in 0..count {
                    seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                    let noise = i64::from(seed.cast_signed() >> (32 - bits)) >> quieter;
                    level = if smooth {
                        (15 * level + noise) / 16
                    } else {
                        noise
                    };
                    steps.push(level as i32);
                }
            }
            Utterance::from_steps(steps, rate, bits)
        })
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(32))]
        #[test]
        fn what_was_said_comes_back_to_the_bit(utterance in utterance()) {
            let file = to_flac(&utterance).expect("it is written");
            prop_assert_eq!(from_flac(&file), Ok(utterance));
        }

        #[test]
        fn damage_is_refused_and_breaks_nothing(
            utterance in utterance(),
            at in any::<prop::sample::Index>(),
            bits in 1..=255_u8,
            cut in any::<bool>(),
        ) {
            let mut file = to_flac(&utterance).expect("it is written");
            let at = at.index(file.len());
            if cut {
                file.truncate(at);
            } else {
                file[at] ^= bits;
            }
            // Some bytes say nothing about the sound; whatever is read is an utterance.
            if let Ok(read) = from_flac(&file) {
                prop_assert!(read.seconds() <= LONGEST);
            }
        }
    }

    /// Found by chance: what a damaged byte has the decoder predict is beyond all numbers that it
    /// counts with.
    #[test]
    fn a_damaged_byte_on_which_the_decoder_falls_over_is_damage_like_any_other() {
        let loud = (0..64).map(|n| if n % 3 == 0 { 32_767 } else { -32_768 });
        let utterance = Utterance::from_steps(loud, 8_000, 16).expect("an utterance");
        let file = to_flac(&utterance).expect("it is written");
        let fallen = FlacError::Damaged("its decoder fell over it".to_owned());
        let mut falls = 0;
        for at in 0..file.len() {
            for bits in 1..=255 {
                let mut damaged = file.clone();
                damaged[at] ^= bits;
                falls += usize::from(from_flac(&damaged) == Err(fallen.clone()));
            }
        }
        // Else nobody would have to catch it.
        assert!(falls > 0);
    }

    #[test]
    fn smooth_sound_takes_half_the_room() {
        let tone = (0..48_000).map(|n| (8_000.0 * (0.02 * f64::from(n)).sin()) as i32);
        let utterance = Utterance::from_steps(tone, 48_000, 16).expect("an utterance");
        let file = to_flac(&utterance).expect("it is written");
        assert!(file.len() < 48_000, "{} bytes", file.len());
        assert_eq!(to_flac(&utterance), Ok(file));
    }

    #[test]
    fn what_is_no_voice_is_refused_in_words() {
        let refused = |file: &[u8]| from_flac(file).unwrap_err().to_string();
        assert!(refused(b"").contains("damaged"));
        assert!(refused(b"RIFF and other things").contains("damaged"));
        let mut file = Cursor::new(Vec::new());
        let options = Options::default();
        let mut writer =
            FlacSampleWriter::new(&mut file, options, 44_100, 16, 2, None).expect("it is written");
        writer.write(&[1, 2, 3, 4]).expect("it is written");
        writer.finalize().expect("it is written");
        assert_eq!(from_flac(&file.into_inner()), Err(FlacError::NoUtterance));
    }
}
