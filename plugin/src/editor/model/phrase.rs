//! The phrase as a grid: time across in steps, pitch upwards in rows.
//!
//! Positions are points within the whole grid, whose top left corner is the start of the phrase
//! on its highest row; the view scrolls over it.

pub use crate::files::sentence;
use egui::{Pos2, Rangef, Rect, Vec2, vec2};
use procession_core::metre::{Grouping, Metre, Strength};
use procession_core::mode::{Mode, Spelling};
use procession_core::note::{Key, Note};
use procession_core::phrase::{Bar as Measure, Edited, MAX_LENGTH, MIN_LENGTH, Phrase};
use procession_core::time::{Beats, from_ticks, to_ticks};

/// Semitones of room above and below the phrase: an octave.
const ROOM: u8 = 12;

/// Steps of room after the phrase's end, where it can be seen to end.
const AFTER: f64 = 1.0;

/// The keys that have a row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rows {
    /// The bottom row.
    pub lowest: u8,
    /// The top row.
    pub highest: u8,
}

impl Rows {
    /// Rows for the phrase, with room on both sides; two octaves around middle C if it is empty.
    pub fn around(phrase: &Phrase) -> Self {
        let keys = phrase.notes().iter().map(|note| note.key.number());
        let low = keys.clone().min().unwrap_or(60);
        let high = keys.max().unwrap_or(72);
        Self {
            lowest: low.saturating_sub(ROOM),
            highest: (high + ROOM).min(127),
        }
    }

    /// The same rows and as many more as the phrase needs.
    pub fn with(self, phrase: &Phrase) -> Self {
        let needed = Self::around(phrase);
        Self {
            lowest: self.lowest.min(needed.lowest),
            highest: self.highest.max(needed.highest),
        }
    }

    /// The same rows and, on both sides, as many more as fill `count`.
    pub fn at_least(self, count: u8) -> Self {
        let missing = count.saturating_sub(self.highest - self.lowest + 1);
        let above = missing.div_ceil(2).min(127 - self.highest);
        let below = (missing - above).min(self.lowest);
        Self {
            lowest: self.lowest - below,
            highest: (self.highest + missing - below).min(127),
        }
    }
}

/// How the phrase is laid out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Grid {
    /// The step.
    pub step: Beats,
    /// The phrase's length.
    pub length: Beats,
    /// Points a step.
    pub step_width: f32,
    /// Points a row.
    pub row_height: f32,
    /// Which keys have a row.
    pub rows: Rows,
    /// The bar that the phrase lies in, if one is known.
    pub bar: Option<Measure>,
}

impl Grid {
    /// The phrase as wide as the view, if steps stay wide enough to be touched.
    pub fn new(phrase: &Phrase, step: Beats, rows: Rows, view: Vec2) -> Self {
        let steps = (phrase.length() / step + AFTER) as f32;
        Self {
            step,
            length: phrase.length(),
            step_width: (view.x / steps).clamp(7.0, 90.0),
            row_height: Self::row_height(view.y),
            rows,
            bar: phrase.bar(),
        }
    }

    /// Points a row in a view so high; it does not hang on the phrase, so that editing never
    /// changes the scale.
    pub fn row_height(view: f32) -> f32 {
        (view / 26.0).floor().clamp(9.0, 18.0)
    }

    /// How much there is to scroll over.
    pub fn size(&self) -> Vec2 {
        let rows = self.rows.highest - self.rows.lowest + 1;
        vec2(
            self.x(self.length + AFTER * self.step),
            f32::from(rows) * self.row_height,
        )
    }

    /// Where a moment lies.
    pub fn x(&self, at: Beats) -> f32 {
        (at / self.step) as f32 * self.step_width
    }

    /// The moment that lies there.
    pub fn beats(&self, x: f32) -> Beats {
        f64::from(x / self.step_width) * self.step
    }

    /// The row of a key, from its top to its bottom.
    pub fn row(&self, key: u8) -> Rangef {
        let below_top = f32::from(self.rows.highest) - f32::from(key);
        let top = below_top * self.row_height;
        Rangef::new(top, top + self.row_height)
    }

    /// The key whose row lies there; the outermost ones go on for ever.
    pub fn key(&self, y: f32) -> Key {
        let below_top = (y / self.row_height).floor().clamp(0.0, 127.0) as u8;
        let number = self.rows.highest.saturating_sub(below_top);
        Key::by_octave(number.max(self.rows.lowest).into())
    }

    /// The note that a hand at this place asks for: one step, on the grid; none beyond the end.
    pub fn note_at(&self, at: Pos2, velocity: procession_core::note::Velocity) -> Option<Note> {
        let onset = (self.beats(at.x) / self.step).floor() * self.step;
        (at.x >= 0.0 && onset < self.length).then(|| Note {
            onset,
            length: self.step.min(self.length),
            key: self.key(at.y),
            velocity,
            said: None,
        })
    }
}

/// The note that a key asks for: a step long, where `before` ends, and on its key; at the end of
/// the phrase it comes round to the first step. With none before it, C4 on the first step.
pub fn note_after(
    before: Option<&Note>,
    step: Beats,
    length: Beats,
    velocity: procession_core::note::Velocity,
) -> Note {
    let onset = before.map_or(0.0, |note| {
        // A hair more, so that an end on the grid is on its step.
        ((note.onset + note.length) / step + 1e-6).floor() * step
    });
    Note {
        onset: if onset < length - 1e-9 { onset } else { 0.0 },
        length: step.min(length),
        key: before.map_or(Key::by_octave(60), |note| note.key),
        velocity: before.map_or(velocity, |note| note.velocity),
        said: None,
    }
}

/// A note as it is drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bar {
    /// Which note.
    pub index: usize,
    /// From its onset to its end, or to the phrase's.
    pub rect: Rect,
    /// What rings on past the phrase's end, drawn where it is heard: at the start.
    pub over: Option<Rect>,
    /// 0 ..= 1: the velocity.
    pub strength: f32,
    /// Whether it is chosen.
    pub chosen: bool,
    /// Whether another note is struck at the same moment on the same key, and hidden beneath.
    pub doubled: bool,
}

/// The notes as they are drawn, the chosen ones (ascending) last, which is on top.
pub fn bars(phrase: &Phrase, chosen: &[usize], grid: &Grid) -> Vec<Bar> {
    let notes = phrase.notes();
    let doubles = |a: &Note, b: &Note| a.key == b.key && to_ticks(a.onset) == to_ticks(b.onset);
    let mut bars: Vec<_> = notes
        .iter()
        .enumerate()
        .map(|(index, note)| {
            let row = grid.row(note.key.number()).shrink(1.0);
            let span = |from: Beats, to: Beats| {
                let left = grid.x(from);
                Rect::from_x_y_ranges(left..=(grid.x(to) - 1.0).max(left + 3.0), row)
            };
            let end = note.onset + note.length;
            let over = end - phrase.length();
            Bar {
                index,
                rect: span(note.onset, end.min(phrase.length())),
                over: (to_ticks(over) > 0).then(|| span(0.0, over)),
                strength: note.velocity.value(),
                chosen: chosen.binary_search(&index).is_ok(),
                doubled: index
                    .checked_sub(1)
                    .is_some_and(|i| doubles(&notes[i], note))
                    || notes.get(index + 1).is_some_and(|next| doubles(note, next)),
            }
        })
        .collect();
    bars.sort_by_key(|bar| bar.chosen);
    bars
}

/// What lies under a hand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Under {
    /// A note.
    Note(usize),
    /// The end of a note, which can be dragged to lengthen it.
    End(usize),
    /// None.
    Nothing,
}

/// What lies there; what is on top comes first.
pub fn under(bars: &[Bar], at: Pos2) -> Under {
    for bar in bars.iter().rev() {
        let touch = bar.rect.expand2(vec2(0.0, 1.0));
        let grip = (bar.rect.width() / 3.0).min(8.0);
        if touch.contains(at) {
            return if at.x > bar.rect.right() - grip {
                Under::End(bar.index)
            } else {
                Under::Note(bar.index)
            };
        }
    }
    Under::Nothing
}

/// The notes that a box touches, ascending.
pub fn in_box(bars: &[Bar], corners: [Pos2; 2]) -> Vec<usize> {
    let area = Rect::from_two_pos(corners[0], corners[1]);
    let touched = bars.iter().filter(|bar| area.intersects(bar.rect));
    let mut chosen: Vec<_> = touched.map(|bar| bar.index).collect();
    chosen.sort_unstable();
    chosen
}

/// The velocity of a note as a stem beneath the grid: where it stands. Notes struck together
/// stand side by side.
pub fn stems(phrase: &Phrase, grid: &Grid) -> Vec<f32> {
    let notes = phrase.notes();
    let mut beside = 0;
    (0..notes.len())
        .map(|index| {
            let with_last =
                index > 0 && to_ticks(notes[index - 1].onset) == to_ticks(notes[index].onset);
            beside = if with_last { beside + 1 } else { 0 };
            grid.x(notes[index].onset) + 5.0 + 5.0 * beside as f32
        })
        .collect()
}

/// The stem at hand: the nearest, a chosen one first; none farther than 8 points.
pub fn stem_at(stems: &[f32], chosen: &[usize], x: f32) -> Option<usize> {
    let near = |index: &usize| (stems[*index] - x).abs() <= 8.0;
    let nearest = |a: &usize, b: &usize| (stems[*a] - x).abs().total_cmp(&(stems[*b] - x).abs());
    let of_chosen = chosen.iter().copied().filter(|index| *index < stems.len());
    of_chosen
        .filter(near)
        .min_by(nearest)
        .or_else(|| (0..stems.len()).filter(near).min_by(nearest))
}

/// What a drag does.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Gesture {
    /// Moves the chosen notes; this one is in the hand.
    Move(usize),
    /// Lengthens the chosen notes; this one's end is in the hand.
    Lengthen(usize),
    /// Changes the velocity of the chosen notes; that many points stand for the whole range.
    Strike(f32),
    /// Moves the end of the phrase.
    End,
}

/// A drag on its way.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drag {
    /// What it does.
    pub gesture: Gesture,
    /// Where it began.
    pub from: Pos2,
    /// Where the hand is.
    pub to: Pos2,
    /// Whether it leaves the grid alone.
    pub fine: bool,
}

/// The phrase as it is if the hand lets go now.
pub fn dragged(phrase: &Phrase, chosen: &[usize], grid: &Grid, drag: &Drag) -> Edited {
    let way = drag.to - drag.from;
    let time = f64::from(way.x / grid.step_width) * grid.step;
    match drag.gesture {
        Gesture::Move(held) => {
            let onset = phrase.notes().get(held).map_or(0.0, |note| note.onset);
            let by = if drag.fine {
                time
            } else {
                fitting(phrase, chosen, grid.step, to_grid(onset, time, grid.step))
            };
            let semitones = -(way.y / grid.row_height).round() as i32;
            phrase.moved(chosen, by, semitones)
        }
        Gesture::Lengthen(held) => {
            let notes = phrase.notes();
            let end = notes.get(held).map_or(0.0, |note| note.onset + note.length);
            if drag.fine {
                phrase.lengthened(chosen, time, grid.step / 8.0)
            } else {
                phrase.lengthened(chosen, to_grid(end, time, grid.step), grid.step)
            }
        }
        Gesture::Strike(range) => phrase.struck_harder(chosen, -way.y / range),
        Gesture::End => {
            let by = if drag.fine {
                time
            } else {
                to_grid(phrase.length(), time, grid.step)
            };
            let least = if drag.fine { MIN_LENGTH } else { grid.step };
            let most = (MAX_LENGTH / grid.step + 1e-9).floor() * grid.step;
            let length = (phrase.length() + by).clamp(least, most.max(least));
            of_length(phrase, chosen, length)
        }
    }
}

/// The phrase at another length, and what is left of the chosen notes; unchanged if it cannot be.
fn of_length(phrase: &Phrase, chosen: &[usize], length: Beats) -> Edited {
    let cut = phrase.of_length(length).map(|cut| cut.phrase);
    let phrase = cut.unwrap_or_else(|_| phrase.clone());
    let left = phrase.notes().len();
    Edited {
        phrase,
        chosen: chosen
            .iter()
            .copied()
            .filter(|index| *index < left)
            .collect(),
    }
}

/// How far something at `from` goes if it is dragged by `way` and drawn to the grid; less than
/// half a step leaves it where it is, be that off the grid.
fn to_grid(from: Beats, way: Beats, step: Beats) -> Beats {
    if way.abs() < step / 2.0 {
        0.0
    } else {
        ((from + way) / step).round() * step - from
    }
}

/// The way nearest to `by`, in whole steps from it, that keeps all chosen notes inside.
fn fitting(phrase: &Phrase, chosen: &[usize], step: Beats, by: Beats) -> Beats {
    let onsets = chosen.iter().filter_map(|index| phrase.notes().get(*index));
    let onsets = onsets.map(|note| note.onset);
    let first = onsets.clone().fold(f64::INFINITY, f64::min);
    let last = onsets.fold(0.0, f64::max);
    // A hair, so that the last step is not lost to rounding.
    let hair = from_ticks(1) / 2.0;
    let too_early = ((-first - by - hair) / step).ceil().max(0.0) * step;
    let by = by + if first.is_finite() { too_early } else { 0.0 };
    let too_late = ((last + by - phrase.length() + hair) / step).floor() + 1.0;
    by - too_late.max(0.0) * step
}

/// A line across the grid.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// Where.
    pub x: f32,
    /// Whether a beat begins there, or a group where bars are grouped.
    pub beat: bool,
    /// Which step begins there, counted from 1, if there is room to say so.
    pub number: Option<usize>,
}

/// The lines of the steps within the part that is seen.
pub fn lines(grid: &Grid, seen: Rangef) -> Vec<Line> {
    let a_beat = (1.0 / grid.step).round().max(1.0) as usize;
    let room = 28.0 / grid.step_width;
    let every = if room <= 1.0 {
        1
    } else {
        let beats = (room / a_beat as f32).ceil() as usize;
        beats.next_power_of_two() * a_beat
    };
    let steps = (grid.length / grid.step - 1e-6).ceil().max(0.0) as usize;
    let is_beat = |step: usize| match grid.bar {
        Some(bar) => begins_a_beat(bar, step as f64 * grid.step),
        None => step.is_multiple_of(a_beat),
    };
    let first = (seen.min / grid.step_width).floor().max(0.0) as usize;
    let last = (seen.max / grid.step_width).ceil().max(0.0) as usize;
    (first..steps.min(last + 1))
        .map(|step| Line {
            x: step as f32 * grid.step_width,
            beat: is_beat(step),
            number: (step % every == 0).then_some(step + 1),
        })
        .collect()
}

/// Whether what is felt as a beat begins there: a group where bars are grouped.
fn begins_a_beat(bar: Measure, at: Beats) -> bool {
    let at = at - bar.begins;
    match bar.metre.is_grouped() {
        true => bar.metre.strength(at) >= Strength::Group,
        false => (at / bar.metre.beat() - (at / bar.metre.beat()).round()).abs() < 1e-6,
    }
}

/// How pitches are written: as in the mode that the phrase is heard in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Names {
    mode: Mode,
    spelling: Spelling,
}

impl Names {
    /// The names within a mode.
    pub fn in_mode(mode: Mode) -> Self {
        Self {
            mode,
            spelling: mode.spelling(),
        }
    }

    /// Letter, accidental, octave, as they are typed; C4 is the middle one.
    pub fn of(&self, key: Key) -> String {
        let name = self.spelling.name(key.pitch_class());
        // A C flat belongs to the octave of the C it is written with.
        let written = i32::from(key.number()) - name.accidental();
        let octave = written.div_euclid(12) - 1;
        format!("{name}{octave}")
            .replace('♯', "#")
            .replace('♭', "b")
    }

    /// Whether the mode has it.
    pub fn in_it(&self, key: Key) -> bool {
        self.mode.contains(key)
    }

    /// Whether it is the mode's first note.
    pub fn is_tonic(&self, key: Key) -> bool {
        key.pitch_class() == self.mode.tonic()
    }

    /// A note in words: "F4, step 3, 2 steps long, velocity 89".
    pub fn words(&self, note: &Note, step: Beats) -> String {
        format!(
            "{}, step {}, {} long, velocity {}",
            self.of(note.key),
            number(note.onset / step + 1.0),
            steps(note.length / step),
            note.velocity.midi()
        )
    }
}

/// So many steps: "1 step", "2.5 steps".
pub fn steps(count: f64) -> String {
    let count = number(count);
    let unit = if count == "1" { "step" } else { "steps" };
    format!("{count} {unit}")
}

/// So many notes: "1 note", "3 notes".
pub fn notes(count: usize) -> String {
    let unit = if count == 1 { "note" } else { "notes" };
    format!("{count} {unit}")
}
/// A number with as many of two decimals as it needs.
pub fn number(value: f64) -> String {
    let text = format!("{value:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// The length that a typed number of steps stands for.
///
/// # Errors
/// A plain sentence that says what to type.
pub fn typed_length(text: &str, step: Beats) -> Result<Beats, String> {
    let most = (MAX_LENGTH / step + 1e-9).floor();
    let digits = text
        .trim()
        .trim_end_matches("steps")
        .trim_end_matches("step");
    digits
        .trim()
        .replace(',', ".")
        .parse::<f64>()
        .ok()
        .map(|count| from_ticks(to_ticks(count * step)))
        .filter(|length| (MIN_LENGTH..=MAX_LENGTH).contains(length))
        .ok_or_else(|| {
            format!(
                "\"{}\" is not a length: type a number of steps, from {} up to {}.",
                text.trim(),
                number((100.0 * MIN_LENGTH / step).ceil() / 100.0),
                number(most)
            )
        })
}

/// The metre that the phrase is in, or else the song.
pub fn metre_of(phrase: &Phrase, song: Option<Metre>) -> Metre {
    let own = phrase.bar().map(|bar| bar.metre);
    own.or(song).unwrap_or(Metre::COMMON)
}

/// The song, as far as its bars are concerned.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SongMetre {
    /// The host's time signature, if it tells one.
    pub told: Option<Metre>,
    /// The metre that its bars are counted by.
    pub counted: Option<Metre>,
    /// Whether it is nobody else's, so that any metre can be its.
    pub is_own: bool,
}

/// What a typed metre makes of bars.
#[derive(Clone, Debug, PartialEq)]
pub struct Barred {
    /// How those of the song are grouped.
    pub grouping: Grouping,
    /// The phrase in them, if it comes round with them.
    pub phrase: Phrase,
    /// What there is to say about it.
    pub said: Option<String>,
}

/// What a typed metre makes of the song's bars and of the phrase's: "2+2+3", "3+2/8"; nothing is
/// the usual.
///
/// # Errors
/// A plain sentence that says what to type.
pub fn typed_metre(text: &str, phrase: &Phrase, song: SongMetre) -> Result<Barred, String> {
    let in_bars_of = |metre: Metre| {
        let from_the_start = Measure {
            metre,
            begins: 0.0,
            pick_up: false,
        };
        let before = phrase.bar().unwrap_or(from_the_start);
        phrase.clone().with_bar(Some(Measure { metre, ..before }))
    };
    if text.trim().is_empty() {
        let usual = phrase.bar().map(|bar| in_bars_of(bar.metre.usually()));
        return Ok(Barred {
            grouping: Grouping::Usual,
            phrase: usual.unwrap_or_else(|| phrase.clone()),
            said: None,
        });
    }
    let now = metre_of(phrase, song.counted);
    let metre = Metre::from_text(text, now).map_err(sentence)?;
    let barred = in_bars_of(metre);
    let is_of_song = song.is_own || song.told.is_none_or(|told| told.is_as_long_as(metre));
    let (phrase, said) = match barred.bar() {
        Some(_) => (barred, None),
        None if is_of_song => {
            let said = "The song is counted so; the phrase does not come round with such bars, and \
                        stays as it is.";
            (phrase.clone(), Some(said.to_owned()))
        }
        None => return Err(does_not_come_round(metre, phrase, song)),
    };
    Ok(Barred {
        grouping: Grouping::Written(metre),
        phrase,
        said,
    })
}

fn does_not_come_round(metre: Metre, phrase: &Phrase, song: SongMetre) -> String {
    let song = song.told.map_or(String::new(), |told| {
        format!(", and is not as long as the song's of {}", told.signature())
    });
    sentence(format!(
        "a bar of {metre} lasts {} beats: it does not come round with the phrase, which lasts {}{song}; \
         write groups that make such a bar, or change the length first",
        number(metre.bar()),
        number(phrase.length()),
    ))
}

/// Words as a phrase in the bars of the one before it, or in those of the song, if a stroke says that
/// a pick-up leads to one.
///
/// # Errors
/// A plain sentence that says what to type.
pub fn words_as_phrase(
    text: &str,
    step: Beats,
    before: &Phrase,
    song: Option<Metre>,
) -> Result<Phrase, String> {
    if let Some(bar) = before.bar() {
        return Phrase::from_text_in(text, step, bar).map_err(sentence);
    }
    let of_song = song.map(|metre| Measure::around(metre, 0.0));
    let led = of_song.and_then(|bar| Phrase::from_text_in(text, step, bar).ok());
    match led.filter(|phrase| phrase.pick_up() > 0.0) {
        Some(phrase) => Ok(phrase),
        None => Phrase::from_text(text, step).map_err(sentence),
    }
}

/// Where a note is split: on the step that is nearest to its middle, or in its middle, if no step
/// begins inside it.
pub fn where_to_split(note: &Note, step: Beats) -> Beats {
    let middle = note.onset + note.length / 2.0;
    let line = (middle / step).round() * step;
    let room = step / 4.0;
    let inside = line > note.onset + room && line < note.onset + note.length - room;
    if inside { line } else { middle }
}

/// What the hand can do, in words; from the longest to the shortest, for the room there is.
pub fn hints(chosen: usize) -> &'static [&'static str] {
    match chosen {
        0 => &[
            "Double-click or Enter: add a note. Drag: move (Shift: fine). Drag the right end: lengthen. Right-click: remove. Drag across: choose several. C4 is middle C.",
            "Double-click: add. Drag: move (Shift: fine). Drag the right end: lengthen. Right-click: remove.",
            "Double-click adds, drag moves, right-click removes",
            "Double-click adds",
        ],
        _ => &[
            "Arrow keys: up and down transpose (Shift: an octave), left and right rotate (Shift: shorten, lengthen). + and \u{2212}: velocity. S splits, J joins. Enter adds, Delete removes. Escape: choose none.",
            "Arrows transpose and rotate; with Shift: octave, length. + and \u{2212}: velocity. Delete removes.",
            "Arrows transpose and rotate, Delete removes",
            "Delete removes",
        ],
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use egui::pos2;
    use procession_core::mode::ModeName;
    use procession_core::note::Velocity;

    const STEP: Beats = 0.25;

    fn phrase(text: &str) -> Phrase {
        Phrase::from_text(text, STEP).unwrap()
    }

    /// 20 points a step, 10 a row.
    fn grid(phrase: &Phrase) -> Grid {
        Grid {
            step: STEP,
            length: phrase.length(),
            step_width: 20.0,
            row_height: 10.0,
            rows: Rows::around(phrase),
            bar: phrase.bar(),
        }
    }

    fn beats(text: &str, metre: &str, begins: Beats) -> Vec<usize> {
        let metre = Metre::from_text(metre, Metre::COMMON).unwrap();
        let phrase = phrase(text).with_bar(Some(Measure::around(metre, begins)));
        let lines = lines(&grid(&phrase), Rangef::new(0.0, 1000.0));
        let steps = (0..).zip(lines).filter(|(_, line)| line.beat);
        steps.map(|(step, _)| step).collect()
    }

    /// Worked by hand, in sixteenths.
    #[test]
    fn the_grid_shows_groups_or_beats_from_where_the_bar_begins() {
        let fourteen = "D4 . . . . . . . . . . . . .";
        assert_eq!(beats(fourteen, "2+2+3/8", 0.0), [0, 4, 8]);
        assert_eq!(beats(fourteen, "3+2+2/8", 0.5), [2, 8, 12]);
        assert_eq!(beats("D4 . . . . . . . . . . .", "6/8", 0.0), [0, 6]);
        assert_eq!(beats("D4 . . . . . . .", "2/4", 0.25), [1, 5]);
    }

    #[test]
    fn a_metre_is_the_phrases_or_the_songs_or_neither() {
        let seven = Metre::new(7, 8);
        let song = |told, is_own| SongMetre {
            told,
            counted: told,
            is_own,
        };
        let sixteen = phrase("D4 . . . . . . . . . . . . . . .");
        // As long as the song's bar.
        let barred = typed_metre("3+3+2/8", &sixteen, song(Some(Metre::COMMON), false)).unwrap();
        let metre = Metre::grouped([3, 3, 2], 8).unwrap();
        assert_eq!(barred.grouping, Grouping::Written(metre));
        assert_eq!(barred.phrase.bar().map(|bar| bar.metre), Some(metre));
        // The song's, and not the phrase's.
        let barred = typed_metre("3+2+2", &sixteen, song(seven, false)).unwrap();
        assert_eq!(barred.phrase.bar(), None);
        assert!(barred.said.unwrap().contains("stays as it is"));
        assert!(typed_metre("7/8", &sixteen, song(seven, true)).is_ok());
        // Neither's.
        let refusal = typed_metre("2+3/8", &sixteen, song(Some(Metre::COMMON), false)).unwrap_err();
        assert_eq!(
            refusal,
            "A bar of 2+3/8 lasts 2.5 beats: it does not come round with the phrase, which lasts 4, \
             and is not as long as the song's of 4/4; write groups that make such a bar, or change \
             the length first."
        );
    }

    #[track_caller]
    fn drag(text: &str, chosen: &[usize], gesture: Gesture, way: Vec2, fine: bool) -> Edited {
        let phrase = phrase(text);
        let from = pos2(5.0, 5.0);
        let drag = Drag {
            gesture,
            from,
            to: from + way,
            fine,
        };
        dragged(&phrase, chosen, &grid(&phrase), &drag)
    }

    #[track_caller]
    fn sounds(edited: &Edited, text: &str) {
        assert_eq!(edited.phrase.to_text(STEP).text, text);
    }

    #[test]
    fn there_is_an_octave_of_room_above_and_below() {
        let rows = Rows::around(&phrase("D4 F4 C5"));
        assert_eq!((rows.lowest, rows.highest), (50, 84));
        let rows = Rows::around(&phrase("C-1 G9"));
        assert_eq!((rows.lowest, rows.highest), (0, 127));
    }

    #[test]
    fn rows_fill_the_view_without_leaving_the_keyboard() {
        let rows = Rows {
            lowest: 50,
            highest: 60,
        }
        .at_least(31);
        assert_eq!((rows.lowest, rows.highest), (40, 70));
        let rows = Rows {
            lowest: 0,
            highest: 10,
        }
        .at_least(31);
        assert_eq!((rows.lowest, rows.highest), (0, 30));
        let rows = Rows {
            lowest: 117,
            highest: 127,
        }
        .at_least(31);
        assert_eq!((rows.lowest, rows.highest), (97, 127));
        let rows = Rows {
            lowest: 50,
            highest: 60,
        }
        .at_least(200);
        assert_eq!((rows.lowest, rows.highest), (0, 127));
    }

    #[test]
    fn higher_notes_stand_higher_and_later_ones_farther_right() {
        let phrase = phrase("D4 F4");
        let bars = bars(&phrase, &[], &grid(&phrase));
        assert!(bars[1].rect.top() < bars[0].rect.top());
        assert!(bars[1].rect.left() > bars[0].rect.right());
        assert_eq!(bars[0].rect.width(), 19.0);
    }

    #[test]
    fn a_place_and_the_note_put_there_agree() {
        let phrase = phrase("D4 . . F4");
        let grid = grid(&phrase);
        let at = pos2(25.0, grid.row(64).center());
        let note = grid.note_at(at, Velocity::new(0.5)).unwrap();
        assert_eq!(
            (note.onset, note.length, note.key.number()),
            (0.25, 0.25, 64)
        );
        assert_eq!(grid.note_at(pos2(81.0, 5.0), Velocity::new(0.5)), None);
    }

    #[test]
    fn what_rings_past_the_end_is_drawn_at_the_start() {
        let note = Note {
            onset: 0.5,
            length: 1.0,
            ..phrase("D4").notes()[0]
        };
        let phrase = Phrase::new([note], 1.0).unwrap();
        let bar = bars(&phrase, &[], &grid(&phrase))[0];
        assert_eq!(bar.rect.right(), 79.0);
        assert_eq!(
            bar.over.map(|over| (over.left(), over.right())),
            Some((0.0, 39.0))
        );
    }

    #[test]
    fn two_notes_in_one_place_are_both_told() {
        let phrase = phrase("D4+D4 F4");
        let doubled: Vec<_> = bars(&phrase, &[], &grid(&phrase))
            .iter()
            .map(|bar| bar.doubled)
            .collect();
        assert_eq!(doubled, [true, true, false]);
    }

    #[test]
    fn the_end_of_a_note_is_at_its_right_and_chosen_notes_lie_on_top() {
        let phrase = phrase("D4+D4 - F4");
        let bars = bars(&phrase, &[0], &grid(&phrase));
        let middle = bars[0].rect.center();
        assert_eq!(under(&bars, middle), Under::Note(0));
        assert_eq!(
            under(
                &bars,
                pos2(bars.last().unwrap().rect.right() - 2.0, middle.y)
            ),
            Under::End(0)
        );
        assert_eq!(
            under(&bars, pos2(middle.x, middle.y + 30.0)),
            Under::Nothing
        );
    }

    #[test]
    fn a_box_chooses_what_it_touches() {
        let phrase = phrase("D4 F4 G4");
        let grid = grid(&phrase);
        let bars = bars(&phrase, &[], &grid);
        let corners = [pos2(35.0, 0.0), pos2(45.0, 400.0)];
        assert_eq!(in_box(&bars, corners), [1, 2]);
        assert_eq!(in_box(&bars, [corners[1], corners[0]]), [1, 2]);
    }

    #[test]
    fn a_dragged_note_lands_on_the_grid_in_the_row_under_the_hand() {
        let edited = drag(
            "D4 F4 . .",
            &[0],
            Gesture::Move(0),
            vec2(36.0, -32.0),
            false,
        );
        sounds(&edited, ". F4 F4 .");
        let by_a_hair = drag("D4 F4 . .", &[0], Gesture::Move(0), vec2(9.0, 4.0), false);
        sounds(&by_a_hair, "D4 F4 . .");
    }

    #[test]
    fn a_note_off_the_grid_stays_so_unless_it_is_moved_in_time() {
        let late = Note {
            onset: 0.3,
            ..phrase("D4").notes()[0]
        };
        let phrase = Phrase::new([late], 1.0).unwrap();
        let go = |x: f32, y: f32| {
            let drag = Drag {
                gesture: Gesture::Move(0),
                from: pos2(0.0, 0.0),
                to: pos2(x, y),
                fine: false,
            };
            dragged(&phrase, &[0], &grid(&phrase), &drag).phrase.notes()[0]
        };
        assert_eq!(go(3.0, -10.0).onset, 0.3);
        assert_eq!(go(3.0, -10.0).key.number(), 63);
        assert_eq!(go(18.0, 0.0).onset, 0.5);
    }

    #[test]
    fn a_fine_drag_stops_between_steps() {
        let edited = drag("D4 . . .", &[0], Gesture::Move(0), vec2(7.0, 0.0), true);
        assert_eq!(to_ticks(edited.phrase.notes()[0].onset), 84);
    }

    #[test]
    fn chosen_notes_dragged_too_far_stop_on_the_last_step_together() {
        let way = vec2(400.0, 0.0);
        let edited = drag("D4 F4 . . .", &[0, 1], Gesture::Move(0), way, false);
        sounds(&edited, ". . . D4 F4");
        let edited = drag(". . D4 F4 .", &[0, 1], Gesture::Move(1), -way, false);
        sounds(&edited, "D4 F4 . . .");
    }

    #[test]
    fn a_dragged_end_lengthens_to_the_grid() {
        let edited = drag(
            "D4 . . .",
            &[0],
            Gesture::Lengthen(0),
            vec2(45.0, 0.0),
            false,
        );
        sounds(&edited, "D4 - - .");
        let edited = drag(
            "D4 - - .",
            &[0],
            Gesture::Lengthen(0),
            vec2(-400.0, 0.0),
            false,
        );
        sounds(&edited, "D4 . . .");
    }

    #[test]
    fn dragged_up_a_note_is_struck_harder() {
        let edited = drag("D4", &[0], Gesture::Strike(100.0), vec2(0.0, -20.0), false);
        assert!((edited.phrase.notes()[0].velocity.value() - 0.9).abs() < 1e-6);
    }

    #[test]
    fn the_phrase_ends_where_its_end_is_dragged_to() {
        let longer = drag("D4 F4", &[0], Gesture::End, vec2(41.0, 0.0), false);
        sounds(&longer, "D4 F4 . .");
        let shorter = drag("D4 F4 G4", &[0, 2], Gesture::End, vec2(-999.0, 0.0), false);
        sounds(&shorter, "D4");
        assert_eq!(shorter.chosen, [0]);
        let longest = drag("D4", &[], Gesture::End, vec2(1e9, 0.0), false);
        assert_eq!(longest.phrase.length(), MAX_LENGTH);
    }

    #[test]
    fn beats_are_told_from_steps_and_numbered_as_far_as_there_is_room() {
        let phrase = phrase("D4 . . . F4 . . .");
        let mut grid = grid(&phrase);
        let shown = lines(&grid, Rangef::new(0.0, 500.0));
        let beats: Vec<_> = shown.iter().map(|line| line.beat).collect();
        assert_eq!(
            beats,
            [true, false, false, false, true, false, false, false]
        );
        let numbers: Vec<_> = shown.iter().filter_map(|line| line.number).collect();
        assert_eq!(numbers, [1, 5]);
        grid.step_width = 30.0;
        assert!(
            lines(&grid, Rangef::new(0.0, 500.0))
                .iter()
                .all(|line| line.number.is_some())
        );
    }

    #[test]
    fn only_the_lines_that_are_seen_are_drawn() {
        let long = Phrase::empty(MAX_LENGTH).unwrap();
        let shown = lines(&grid(&long), Rangef::new(4000.0, 4400.0));
        assert!(shown.len() <= 23, "{}", shown.len());
        assert_eq!(shown[0].x, 4000.0);
    }

    #[test]
    fn notes_are_named_as_the_mode_writes_them() {
        let in_b_flat = Names::in_mode(Mode::named(10, ModeName::Lydian, Default::default()));
        let key = |number| Key::new(number).unwrap();
        assert_eq!(in_b_flat.of(key(58)), "Bb3");
        assert_eq!(in_b_flat.of(key(60)), "C4");
        assert!(in_b_flat.is_tonic(key(70)) && in_b_flat.in_it(key(64)));
        assert!(!in_b_flat.in_it(key(63)));
    }

    #[test]
    fn a_note_is_said_in_steps() {
        let names = Names::in_mode(Mode::named(2, ModeName::Dorian, Default::default()));
        let note = phrase(". . F4 -").notes()[0];
        assert_eq!(
            names.words(&note, STEP),
            "F4, step 3, 2 steps long, velocity 89"
        );
        let late = Note {
            onset: 0.3,
            length: 0.25,
            ..note
        };
        assert_eq!(
            names.words(&late, STEP),
            "F4, step 2.2, 1 step long, velocity 89"
        );
    }

    #[test]
    fn a_typed_length_is_understood_or_the_remedy_named() {
        assert_eq!(typed_length(" 12 steps", STEP), Ok(3.0));
        assert_eq!(typed_length("2,5", STEP), Ok(0.625));
        for text in ["", "no", "0", "-3", "513", "NaN", "inf", "1e99"] {
            let error = typed_length(text, STEP).unwrap_err();
            assert!(error.contains("up to 512"), "{error}");
        }
    }

    #[test]
    fn stems_of_a_chord_stand_side_by_side() {
        let phrase = phrase("D4+F4 G4");
        let stems = stems(&phrase, &grid(&phrase));
        assert_eq!(stems, [5.0, 10.0, 25.0]);
        assert_eq!(stem_at(&stems, &[], 9.0), Some(1));
        assert_eq!(stem_at(&stems, &[0], 9.0), Some(0));
        assert_eq!(stem_at(&stems, &[], 16.9), Some(1));
        assert_eq!(stem_at(&stems, &[], 60.0), None);
    }
}
