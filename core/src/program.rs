//! Programs: the instruments that a MIDI file may ask for, by their number and name.

/// A program of General MIDI, as a published list counts: 1 ..= 128.
///
/// Source: *General MIDI System Level 1*, MIDI Manufacturers Association, 1991 (names from memory,
/// compared with another list in `tests/references/midi.py`).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Program(u8);

/// How many there are.
pub const PROGRAMS: u8 = 128;

impl Default for Program {
    fn default() -> Self {
        Self::MARIMBA
    }
}

impl Program {
    /// What a voice is played on unless told otherwise.
    pub const MARIMBA: Self = Self(13);

    /// The program of that number, if there is one.
    pub fn new(number: u8) -> Option<Self> {
        (1..=PROGRAMS).contains(&number).then_some(Self(number))
    }

    /// As the published list counts: 1 ..= 128.
    pub fn number(self) -> u8 {
        self.0
    }

    /// As MIDI sends it: 0 ..= 127.
    pub fn on_the_wire(self) -> u8 {
        self.0 - 1
    }

    /// Such as "Marimba".
    pub fn name(self) -> &'static str {
        NAMES[usize::from(self.on_the_wire())]
    }

    /// All of them, in order.
    pub fn all() -> impl Iterator<Item = Self> {
        (1..=PROGRAMS).map(Self)
    }
}

const NAMES: [&str; PROGRAMS as usize] = [
    "Acoustic Grand Piano",
    "Bright Acoustic Piano",
    "Electric Grand Piano",
    "Honky-tonk Piano",
    "Electric Piano 1",
    "Electric Piano 2",
    "Harpsichord",
    "Clavi",
    "Celesta",
    "Glockenspiel",
    "Music Box",
    "Vibraphone",
    "Marimba",
    "Xylophone",
    "Tubular Bells",
    "Dulcimer",
    "Drawbar Organ",
    "Percussive Organ",
    "Rock Organ",
    "Church Organ",
    "Reed Organ",
    "Accordion",
    "Harmonica",
    "Tango Accordion",
    "Acoustic Guitar (nylon)",
    "Acoustic Guitar (steel)",
    "Electric Guitar (jazz)",
    "Electric Guitar (clean)",
    "Electric Guitar (muted)",
    "Overdriven Guitar",
    "Distortion Guitar",
    "Guitar Harmonics",
    "Acoustic Bass",
    "Electric Bass (finger)",
    "Electric Bass (pick)",
    "Fretless Bass",
    "Slap Bass 1",
    "Slap Bass 2",
    "Synth Bass 1",
    "Synth Bass 2",
    "Violin",
    "Viola",
    "Cello",
    "Contrabass",
    "Tremolo Strings",
    "Pizzicato Strings",
    "Orchestral Harp",
    "Timpani",
    "String Ensemble 1",
    "String Ensemble 2",
    "Synth Strings 1",
    "Synth Strings 2",
    "Choir Aahs",
    "Voice Oohs",
    "Synth Voice",
    "Orchestra Hit",
    "Trumpet",
    "Trombone",
    "Tuba",
    "Muted Trumpet",
    "French Horn",
    "Brass Section",
    "Synth Brass 1",
    "Synth Brass 2",
    "Soprano Sax",
    "Alto Sax",
    "Tenor Sax",
    "Baritone Sax",
    "Oboe",
    "English Horn",
    "Bassoon",
    "Clarinet",
    "Piccolo",
    "Flute",
    "Recorder",
    "Pan Flute",
    "Blown Bottle",
    "Shakuhachi",
    "Whistle",
    "Ocarina",
    "Lead 1 (square)",
    "Lead 2 (sawtooth)",
    "Lead 3 (calliope)",
    "Lead 4 (chiff)",
    "Lead 5 (charang)",
    "Lead 6 (voice)",
    "Lead 7 (fifths)",
    "Lead 8 (bass + lead)",
    "Pad 1 (new age)",
    "Pad 2 (warm)",
    "Pad 3 (polysynth)",
    "Pad 4 (choir)",
    "Pad 5 (bowed)",
    "Pad 6 (metallic)",
    "Pad 7 (halo)",
    "Pad 8 (sweep)",
    "FX 1 (rain)",
    "FX 2 (soundtrack)",
    "FX 3 (crystal)",
    "FX 4 (atmosphere)",
    "FX 5 (brightness)",
    "FX 6 (goblins)",
    "FX 7 (echoes)",
    "FX 8 (sci-fi)",
    "Sitar",
    "Banjo",
    "Shamisen",
    "Koto",
    "Kalimba",
    "Bagpipe",
    "Fiddle",
    "Shanai",
    "Tinkle Bell",
    "Agogo",
    "Steel Drums",
    "Woodblock",
    "Taiko Drum",
    "Melodic Tom",
    "Synth Drum",
    "Reverse Cymbal",
    "Guitar Fret Noise",
    "Breath Noise",
    "Seashore",
    "Bird Tweet",
    "Telephone Ring",
    "Helicopter",
    "Applause",
    "Gunshot",
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn programs_are_counted_from_one_and_sent_from_nought() {
        assert_eq!((Program::new(0), Program::new(129)), (None, None));
        let marimba = Program::default();
        assert_eq!((marimba.number(), marimba.on_the_wire()), (13, 12));
        assert_eq!(marimba.name(), "Marimba");
        assert_eq!(Program::all().count(), 128);
    }
}
