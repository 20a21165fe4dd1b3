//! The count-in: bars of click before the first note.
//!
//! It is counted back from where the process begins, so it leads to the first note wherever the song
//! comes from, and begins in the middle if the song does. Where something is practised, the click can
//! go on, quietly.

use crate::metre::{Metre, Strength};
use crate::note::{Channel, Key, Velocity};
use crate::time::{Beats, Span};

/// Where clicks go: the tenth channel, which no voice uses and on which General MIDI has percussion.
pub const CLICK_CHANNEL: u8 = 9;

/// What is struck, and how hard, on the first beat of a bar, on that of a group, and on the others:
/// high and low wood block (General MIDI Level 1, percussion key map: 76 and 77; from memory). Below
/// what a hand plays: it is to be followed, not to be heard above the music.
const STROKES: [(u8, f32); 3] = [(76, 0.7), (76, 0.5), (77, 0.45)];

/// How long a click lasts, as a part of the beat.
const LASTS: f64 = 0.25;

/// Bars of click up to a song position.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CountIn {
    /// How many; 0 is none.
    pub bars: u32,
    /// How they are counted.
    pub metre: Metre,
    /// Song position of the first bar line of what is counted in. A pick-up is played before it.
    pub origin: Beats,
    /// Whether beats are clicked after that, too.
    pub goes_on: bool,
}

/// One click.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Click {
    /// Song position at which it begins.
    pub on: Beats,
    /// Song position at which it ends.
    pub off: Beats,
    /// Which beat of the bar it is.
    pub strength: Strength,
}

impl CountIn {
    /// How long it is.
    pub fn length(&self) -> Beats {
        f64::from(self.bars) * self.metre.bar()
    }

    /// Song position of the first click.
    pub fn begins(&self) -> Beats {
        self.origin - self.length()
    }

    /// The clicks that begin in `span`, in order; at most 64 a bar. Those after the bar line are all
    /// alike unless the bar is grouped: what is bar there, the phrase says.
    pub fn clicks(self, span: Span) -> impl Iterator<Item = Click> {
        let beat = self.metre.beat();
        let a_bar = self.metre.beats_a_bar();
        let all = self.bars * a_bar;
        // Where the process plays already there is nothing to look for.
        let counted = if span.start < self.origin { all } else { 0 };
        let click = move |index: u32| {
            let on = self.origin - f64::from(all - index) * beat;
            Click {
                on,
                off: on + LASTS * beat,
                strength: self.metre.strength(f64::from(index % a_bar) * beat),
            }
        };
        let after = Span::new(span.start.max(self.origin), span.end);
        let first = ((after.start - self.origin) / beat).floor();
        let on_the_way = (0..)
            .map(move |index| self.origin + (first + f64::from(index)) * beat)
            .take_while(move |on| self.goes_on && *on < after.end)
            .filter(move |on| after.contains(*on))
            .map(move |on| Click {
                on,
                off: on + LASTS * beat,
                strength: match self.metre.is_grouped() {
                    true => self.metre.strength(on - self.origin),
                    false => Strength::Beat,
                },
            });
        (0..counted)
            .map(click)
            .filter(move |click| span.contains(click.on))
            .chain(on_the_way)
    }
}

impl Click {
    /// On which channel and key it is struck.
    pub fn place(&self) -> (Channel, Key) {
        let channel = Channel::new(CLICK_CHANNEL).unwrap_or(Channel::FIRST);
        (channel, Key::by_octave(self.stroke().0.into()))
    }

    /// How hard it is struck.
    pub fn velocity(&self) -> Velocity {
        Velocity::new(self.stroke().1)
    }

    fn stroke(&self) -> (u8, f32) {
        match self.strength {
            Strength::Bar => STROKES[0],
            Strength::Group => STROKES[1],
            Strength::Beat => STROKES[2],
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::part::Part;
    use crate::player::channel_of;
    use crate::settings::OutputSettings;

    fn clicks(bars: u32, metre: (u32, u32), span: (Beats, Beats)) -> Vec<(Beats, bool)> {
        let count_in = CountIn {
            bars,
            metre: Metre::new(metre.0, metre.1).unwrap(),
            origin: 12.0,
            goes_on: false,
        };
        let clicks = count_in.clicks(Span::new(span.0, span.1));
        clicks
            .map(|click| (click.on, click.strength == Strength::Bar))
            .collect()
    }

    #[test]
    fn bars_are_counted_as_musicians_count_them_and_lead_to_the_first_note() {
        let four = [(8.0, true), (9.0, false), (10.0, false), (11.0, false)];
        assert_eq!(clicks(1, (4, 4), (0.0, 100.0)), four);
        assert_eq!(clicks(1, (4, 4), (9.5, 11.0)), [four[2]]);
        // Two dotted quarters.
        assert_eq!(
            clicks(1, (6, 8), (0.0, 100.0)),
            [(9.0, true), (10.5, false)]
        );
        let seven = clicks(2, (7, 8), (0.0, 100.0));
        assert_eq!(
            (seven.len(), seven[0], seven[7]),
            (14, (5.0, true), (8.5, true))
        );
        assert_eq!(clicks(0, (4, 4), (0.0, 100.0)), []);
        assert_eq!(
            clicks(1, (4, 4), (12.0, 100.0)),
            [],
            "the process has begun"
        );
    }

    /// Worked by hand: every eighth is clicked, and the first of each group is heard as one.
    #[test]
    fn the_click_of_a_grouped_bar_tells_its_groups() {
        let count_in = CountIn {
            bars: 1,
            metre: Metre::grouped([2, 2, 3], 8).unwrap(),
            origin: 12.0,
            goes_on: true,
        };
        let clicks = count_in.clicks(Span::new(8.0, 14.5));
        let heard: Vec<_> = clicks
            .map(|click| (click.on, click.place().1.number(), click.velocity().value()))
            .collect();
        let bar = [
            (76, 0.7),
            (77, 0.45),
            (76, 0.5),
            (77, 0.45),
            (76, 0.5),
            (77, 0.45),
            (77, 0.45),
        ];
        let eighths = (0..12).map(|eighth| (eighth, bar[eighth % 7]));
        let expected: Vec<_> = eighths
            .map(|(eighth, (key, hard))| (8.5 + eighth as f64 * 0.5, key, hard))
            .collect();
        assert_eq!(heard, expected);
        // Three groups of two are three beats.
        let three = CountIn {
            metre: Metre::grouped([2, 2, 2], 8).unwrap(),
            goes_on: false,
            ..count_in
        };
        let beats: Vec<_> = three.clicks(Span::new(0.0, 12.0)).map(|c| c.on).collect();
        assert_eq!(beats, [9.0, 10.0, 11.0]);
    }

    #[test]
    fn a_click_that_goes_on_counts_every_beat_once_however_it_is_cut() {
        let count_in = CountIn {
            bars: 1,
            metre: Metre::new(3, 4).unwrap(),
            origin: 12.0,
            goes_on: true,
        };
        let cuts = [8.0, 9.5, 12.0, 12.0, 13.25, 15.0, 16.0];
        let spans = cuts.windows(2).map(|cut| Span::new(cut[0], cut[1]));
        let clicks = spans.flat_map(|span| count_in.clicks(span));
        let heard: Vec<_> = clicks
            .map(|click| (click.on, click.strength == Strength::Bar))
            .collect();
        let mut expected = vec![(9.0, true), (10.0, false), (11.0, false)];
        expected.extend([12.0, 13.0, 14.0, 15.0].map(|on| (on, false)));
        assert_eq!(heard, expected);
    }

    #[test]
    fn no_part_plays_where_the_click_is() {
        let click = Click {
            on: 0.0,
            off: 0.25,
            strength: Strength::Bar,
        };
        for all_on_one in [false, true] {
            let output = OutputSettings {
                all_on_one,
                ..OutputSettings::default()
            };
            for part in Part::ALL {
                assert_ne!(channel_of(part, &output), click.place().0);
            }
        }
    }
}
