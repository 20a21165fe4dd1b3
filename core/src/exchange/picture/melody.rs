//! The picture of a spoken sentence: the curve of its pitch, and over it the notes that it became.

use super::{Drawing, INK, QUIET, fixed, on_paper};
use crate::note::Key;
use crate::phrase::{Phrase, key_name};
use crate::speech::Strand;
use crate::time::Beats;

const WIDTH: f64 = 1200.0;
const LEFT: f64 = 70.0;
const RIGHT: f64 = 30.0;
const TOP: f64 = 100.0;
const ROW: f64 = 26.0;

/// Of the curve, and of the notes: told apart by shape as well.
const CURVE: &str = "#1b6f5c";
const NOTE: &str = "#dfe3e4";

/// What is drawn.
#[derive(Clone, Copy, Debug)]
pub struct Melody<'a> {
    /// Above it.
    pub title: &'a str,
    /// Beneath the title.
    pub words: &'a str,
    /// The notes.
    pub phrase: &'a Phrase,
    /// The curve under them.
    pub strands: &'a [Strand],
    /// The grid's step.
    pub step: Beats,
}

impl Melody<'_> {
    /// The picture as the text of an SVG file.
    pub fn to_svg(&self) -> String {
        let (lowest, highest) = self.rows();
        let height = TOP + f64::from(highest - lowest + 1) * ROW + 50.0;
        on_paper(WIDTH, height, |out| {
            out.text(LEFT, 44.0, 24.0, INK, "start", self.title);
            out.text(LEFT, 70.0, 15.0, QUIET, "start", self.words);
            self.draw_ground(out, lowest, highest);
            self.draw_notes(out, highest);
            self.draw_curve(out, highest);
        })
    }

    /// Two keys more than the notes have, on both sides.
    fn rows(&self) -> (i32, i32) {
        let keys = self.phrase.notes().iter();
        let keys = keys.map(|note| i32::from(note.key.number()));
        let lowest = keys.clone().min().unwrap_or(60);
        (lowest - 2, keys.max().unwrap_or(60) + 2)
    }

    fn x(&self, at: Beats) -> f64 {
        LEFT + at / self.phrase.length() * (WIDTH - LEFT - RIGHT)
    }

    fn draw_ground(&self, out: &mut Drawing, lowest: i32, highest: i32) {
        let bottom = TOP + f64::from(highest - lowest + 1) * ROW;
        for key in lowest..=highest {
            let y = TOP + f64::from(highest - key) * ROW;
            out.rule(LEFT, y, WIDTH - RIGHT, y);
            let name = key_name(Key::by_octave(key));
            out.text(LEFT - 10.0, y + ROW * 0.68, 13.0, QUIET, "end", &name);
        }
        out.rule(LEFT, bottom, WIDTH - RIGHT, bottom);
        let steps = (self.phrase.length() / self.step).round() as usize;
        for step in 0..=steps {
            let x = self.x(step as f64 * self.step);
            out.rule(x, TOP, x, bottom);
            let beat = step as f64 * self.step;
            if beat.fract() == 0.0 {
                let number = (beat + 1.0).to_string();
                out.path(&format!("M{x:.2} {TOP}V{bottom}"), QUIET, "1", &[]);
                if step < steps {
                    out.text(x + 4.0, bottom + 20.0, 13.0, QUIET, "start", &number);
                }
            }
        }
        out.text(WIDTH - RIGHT, bottom + 40.0, 13.0, QUIET, "end", "beats");
    }

    fn draw_notes(&self, out: &mut Drawing, highest: i32) {
        for note in self.phrase.notes() {
            let left = self.x(note.onset);
            let width = self.x(note.onset + note.length) - left;
            let y = TOP + f64::from(highest - i32::from(note.key.number())) * ROW;
            let attributes = [
                ("x", &*fixed(left)),
                ("y", &fixed(y + 3.0)),
                ("width", &fixed(width)),
                ("height", &fixed(ROW - 6.0)),
                ("rx", "3"),
                ("fill", NOTE),
                ("stroke", INK),
            ];
            out.0.empty("rect", &attributes);
        }
    }

    fn draw_curve(&self, out: &mut Drawing, highest: i32) {
        for strand in self.strands {
            let points = strand.iter().map(|(at, pitch)| {
                let y = TOP + (f64::from(highest) - pitch + 0.5) * ROW;
                format!("{:.2} {y:.2}", self.x(*at))
            });
            let path = format!("M{}", points.collect::<Vec<_>>().join("L"));
            out.path(&path, CURVE, "3", &[("fill", "none")]);
        }
    }
}
