//! The picture of a piece: the plan above, the notes below, as SVG.
//!
//! Voices are told apart by mark and line as well as by hue: the steady voice is solid, copies
//! are dashed, each with a mark of its own.

mod melody;
mod png;

pub use melody::Melody;
pub use png::{PngError, png};

use super::Piece;
use super::xml::{Attributes, Xml};
use crate::form::Doing;
use crate::marks::{self, dashes_in_picture};
use crate::part::{CopyNumber, Part};
use crate::time::{Beats, Span};
use crate::words::place_words;
use std::fmt::Write;

/// What a picture is made from.
#[derive(Clone, Copy, Debug)]
pub struct Picture<'a> {
    /// What is drawn.
    pub piece: Piece<'a>,
    /// Where one mode is on its way into the next, in order.
    pub turnings: &'a [Span],
}

const WIDTH: f64 = 1500.0;
const LEFT: f64 = 150.0;
const RIGHT: f64 = 40.0;
const PLAN_TOP: f64 = 150.0;
const PLAN_HEIGHT: f64 = 250.0;
const LANE_HEIGHT: f64 = 84.0;
const LANE_GAP: f64 = 12.0;
const CLOSE_UP_HEIGHT: f64 = 170.0;

const PAPER: &str = "#fbfaf6";
const INK: &str = "#1f2a33";
const QUIET: &str = "#5c6670";
const RULE: &str = "#d9d6cc";
const GROWTH: &str = "#e4e7dc";

fn hue(part: Part) -> String {
    format!("#{:06x}", marks::hue_on_light(part).unwrap_or(marks::INK))
}

impl Picture<'_> {
    /// The picture as the text of an SVG file.
    pub fn to_svg(&self) -> String {
        let lanes = self.piece.performance.parts().count();
        let lanes_top = PLAN_TOP + PLAN_HEIGHT + 70.0;
        let close_ups_top = lanes_top + lanes as f64 * (LANE_HEIGHT + LANE_GAP) + 46.0;
        let height = close_ups_top + CLOSE_UP_HEIGHT + 66.0;
        on_paper(WIDTH, height, |out| {
            self.draw_heading(out);
            self.draw_plan(out);
            for (lane, part) in self.piece.performance.parts().enumerate() {
                let top = lanes_top + lane as f64 * (LANE_HEIGHT + LANE_GAP);
                self.draw_lane(out, part, top);
            }
            self.draw_close_ups(out, close_ups_top);
        })
    }

    fn draw_heading(&self, out: &mut Drawing) {
        out.text(LEFT, 52.0, 26.0, INK, "start", self.piece.title);
        let totals = &self.piece.form.totals;
        let origin = self.piece.process().origin();
        let clock = |beats: Beats| self.piece.clock(origin + beats);
        let words = format!(
            "{} at {}; with customary repeats between {} and {}",
            clock(totals.chosen),
            self.piece.tempo_words(),
            clock(totals.shortest),
            clock(totals.longest)
        );
        out.text(LEFT, 78.0, 15.0, QUIET, "start", &words);
        let parts = self.piece.performance.parts();
        for voice in parts.filter(|part| part.is_voice()) {
            let x = LEFT + 140.0 * voice.index() as f64;
            out.course(&format!("M{x} 101 h44"), voice);
            out.mark(x + 22.0, 101.0, voice, 1.0);
            out.text(x + 52.0, 106.0, 14.0, INK, "start", &voice.to_string());
        }
    }

    fn draw_plan(&self, out: &mut Drawing) {
        let bottom = PLAN_TOP + PLAN_HEIGHT;
        self.draw_modes(out);
        self.draw_growth(out);
        let (low, high) = self.offsets();
        let y = |steps: f64| bottom - (steps - low) / (high - low).max(1.0) * PLAN_HEIGHT;
        let every = ((high - low) / 8.0).ceil().max(1.0);
        let mut steps = (low / every).ceil() * every;
        while steps <= high {
            out.rule(LEFT, y(steps), WIDTH - RIGHT, y(steps));
            out.text(
                LEFT - 12.0,
                y(steps) + 5.0,
                13.0,
                QUIET,
                "end",
                &format!("{steps}"),
            );
            steps += every;
        }
        out.text(
            LEFT - 12.0,
            PLAN_TOP - 14.0,
            13.0,
            QUIET,
            "end",
            "steps ahead",
        );
        self.draw_time(out, bottom);
        let end = self.x(self.piece.form.end());
        out.course(
            &format!(
                "M{} {} H{end}",
                self.x(self.piece.process().origin()),
                y(0.0)
            ),
            Part::Steady,
        );
        for copy in self.piece.performance.copies() {
            self.draw_course(out, copy, y);
        }
        self.draw_performed(out);
    }

    fn draw_course(&self, out: &mut Drawing, copy: CopyNumber, y: impl Fn(f64) -> f64) {
        let step = self.piece.process().settings().step();
        let part = Part::Copy(copy);
        let mut path = String::new();
        for stage in &self.piece.form.stages {
            let state = stage.copies[copy.index()];
            if state.doing == Doing::Waiting {
                continue;
            }
            let slices = if state.doing == Doing::Drifting {
                24
            } else {
                1
            };
            for slice in 0..=slices {
                let share = f64::from(slice) / f64::from(slices);
                // A hair inside the stage, so that jumps stand upright at its border.
                let at = stage.span.start + share * stage.span.length() + 1e-6 - 2e-6 * share;
                let Some(ahead) = self
                    .piece
                    .performance
                    .at(at)
                    .voices()
                    .displacement(part, at)
                else {
                    continue;
                };
                let pen = if path.is_empty() { 'M' } else { 'L' };
                let _ = write!(path, "{pen}{:.2} {:.2} ", self.x(at), y(ahead / step));
            }
        }
        out.course(&path, part);
        for stage in &self.piece.form.stages {
            let state = stage.copies[copy.index()];
            let middle = (stage.span.start + stage.span.end) / 2.0;
            match state.doing {
                Doing::Locked | Doing::Entering => {
                    out.mark(self.x(middle), y(state.from), part, 1.0);
                }
                Doing::Building => out.mark(self.x(middle), y(state.from), part, 0.0),
                Doing::Drifting | Doing::Waiting => (),
            }
        }
    }

    fn draw_growth(&self, out: &mut Drawing) {
        let all = self.piece.process().phrase().notes().len().max(1) as f64;
        let bottom = PLAN_TOP + PLAN_HEIGHT;
        for stage in self
            .piece
            .form
            .stages
            .iter()
            .filter(|stage| (stage.shown as f64) < all)
        {
            let height = PLAN_HEIGHT * stage.shown as f64 / all;
            let (x, end) = (self.x(stage.span.start), self.x(stage.span.end));
            let [x, y, width, height] = [x, bottom - height, end - x, height].map(fixed);
            let place = [
                ("x", &*x),
                ("y", &y),
                ("width", &width),
                ("height", &height),
            ];
            out.0
                .empty("rect", &[&place[..], &[("fill", GROWTH)]].concat());
        }
        let mut stages = self.piece.form.stages.iter();
        if let Some(last) = stages.rfind(|stage| (stage.shown as f64) < all) {
            let words = format!("grown to {all} notes");
            out.text(
                self.x(last.span.end) + 8.0,
                PLAN_TOP + 20.0,
                14.0,
                QUIET,
                "start",
                &words,
            );
        }
    }

    fn draw_modes(&self, out: &mut Drawing) {
        let modes = self.modes();
        for (index, (from, name)) in modes.iter().enumerate() {
            let x = self.x(from.max(self.piece.process().origin()));
            let next = modes
                .get(index + 1)
                .map_or(self.piece.form.end(), |(next, _)| *next);
            let y = PLAN_TOP - 14.0;
            let path = format!("M{x:.2} {PLAN_TOP:.2} v{PLAN_HEIGHT}");
            out.path(&path, QUIET, "1", &[]);
            if self.x(next) - x > 8.0 * name.chars().count() as f64 {
                out.text(x + 6.0, y, 14.0, INK, "start", name);
            }
        }
    }

    /// From where on which mode is in force, or one turns into the next.
    fn modes(&self) -> Vec<(Beats, String)> {
        let named = self.piece.modes.iter();
        let mut modes: Vec<_> = named.map(|(from, mode)| (*from, mode.name())).collect();
        modes.extend(
            self.turnings
                .iter()
                .map(|span| (span.start, "mode change".to_owned())),
        );
        modes.sort_by(|a, b| a.0.total_cmp(&b.0));
        modes
    }

    /// Up to where it was performed, if anything was.
    fn draw_performed(&self, out: &mut Drawing) {
        let piece = &self.piece;
        let (Some(until), Some(bar)) = (piece.performance.until(), piece.performed_until_bar())
        else {
            return;
        };
        let x = self.x(until);
        let path = format!("M{x:.2} {PLAN_TOP:.2} v{PLAN_HEIGHT}");
        out.path(&path, INK, "1.2", &[("stroke-dasharray", "2 4")]);
        let y = PLAN_TOP + PLAN_HEIGHT - 8.0;
        let performed = format!("performed up to bar {bar}");
        // Where there is no room on its own side, the words stand on the other.
        if x - LEFT > 9.0 * performed.len() as f64 {
            out.text(x - 6.0, y, 13.0, QUIET, "end", &performed);
            out.text(x + 6.0, y, 13.0, QUIET, "start", piece.goes_on_words());
        } else {
            let words = format!("{performed}, {}", piece.goes_on_words());
            out.text(x + 6.0, y, 13.0, QUIET, "start", &words);
        }
    }

    fn draw_time(&self, out: &mut Drawing, top: f64) {
        let bars =
            (self.piece.form.end() - self.piece.process().origin()) / self.piece.beats_per_bar;
        let every = [1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0, 128.0, 256.0, 512.0]
            .into_iter()
            .find(|every| bars / every <= 14.0)
            .unwrap_or(1024.0);
        let mut bar = 0.0;
        while bar <= bars {
            let at = self.piece.process().origin() + bar * self.piece.beats_per_bar;
            let x = self.x(at);
            out.rule(x, top, x, top + 8.0);
            out.text(
                x,
                top + 24.0,
                13.0,
                INK,
                "middle",
                &format!("bar {}", bar + 1.0),
            );
            let clock = self.piece.clock(at);
            out.text(x, top + 41.0, 12.0, QUIET, "middle", &clock);
            bar += every;
        }
    }

    fn draw_lane(&self, out: &mut Drawing, part: Part, top: f64) {
        out.text(
            LEFT - 12.0,
            top + LANE_HEIGHT / 2.0 + 5.0,
            14.0,
            INK,
            "end",
            &part.to_string(),
        );
        out.rule(LEFT, top + LANE_HEIGHT, WIDTH - RIGHT, top + LANE_HEIGHT);
        let (low, high) = self.keys();
        let mut path = String::new();
        for note in self.piece.notes.iter().filter(|note| note.part == part) {
            let height = f64::from(high - low).max(1.0);
            let share = f64::from(note.key.number() - low) / height;
            let y = top + 4.0 + (1.0 - share) * (LANE_HEIGHT - 8.0);
            let width = (self.x(note.off) - self.x(note.on)).max(1.8);
            let _ = write!(path, "M{:.2} {y:.2}h{width:.2}", self.x(note.on));
        }
        let hue = hue(part);
        out.path(&path, &hue, "1.6", &[("fill", "none")]);
    }

    /// A cycle of each of some alignments, near enough to see which notes meet.
    fn draw_close_ups(&self, out: &mut Drawing, top: f64) {
        let moments = self.moments();
        let gap = 26.0;
        let count = moments.len().max(1) as f64;
        let width = (WIDTH - LEFT - RIGHT - gap * (count - 1.0)) / count;
        out.text(LEFT - 12.0, top + 5.0, 14.0, INK, "end", "a cycle at");
        for (index, (span, words)) in moments.iter().enumerate() {
            let left = LEFT + index as f64 * (width + gap);
            out.text(left, top + 5.0, 14.0, INK, "start", words);
            self.draw_close_up(out, *span, left, top + 18.0, width);
        }
    }

    fn draw_close_up(&self, out: &mut Drawing, span: Span, left: f64, top: f64, width: f64) {
        let step = self.piece.process().settings().step();
        let x = |at: Beats| left + (at - span.start) / span.length() * width;
        let steps = (span.length() / step).round() as u32;
        for line in 0..=steps {
            let at = x(span.start + f64::from(line) * step);
            out.rule(at, top, at, top + CLOSE_UP_HEIGHT);
        }
        let (low, high) = self.keys();
        let inside = self
            .piece
            .notes
            .iter()
            .filter(|note| span.contains(note.on));
        // The resulting line is made of notes that are drawn already.
        for note in inside.filter(|note| note.part.is_voice()) {
            let share = f64::from(note.key.number() - low) / f64::from(high - low).max(1.0);
            let y = top + 10.0 + (1.0 - share) * (CLOSE_UP_HEIGHT - 20.0);
            let hue = hue(note.part);
            let end = x(note.off.min(span.end));
            let path = format!("M{:.2} {y:.2}H{end:.2}", x(note.on));
            out.path(
                &path,
                &hue,
                "2",
                &[("stroke-dasharray", dashes_in_picture(note.part))],
            );
            out.mark(x(note.on), y, note.part, 1.0);
        }
    }

    /// Up to four locked stages, spread over the piece, and the cycle in the middle of each.
    fn moments(&self) -> Vec<(Span, String)> {
        let length = self.piece.process().phrase().length();
        let locked: Vec<_> = self
            .piece
            .form
            .stages
            .iter()
            .filter(|stage| stage.copies.iter().all(|copy| copy.doing == Doing::Locked))
            .filter(|stage| stage.span.length() >= length)
            .collect();
        let count = locked.len().min(4);
        (0..count)
            .map(|index| {
                let stage = locked[index * (locked.len() - 1) / (count - 1).max(1)];
                let cycles = (stage.span.length() / length / 2.0).floor();
                let start = stage.span.start + cycles * length;
                (
                    Span::new(start, start + length),
                    locked_words(stage, self.piece.process().origin(), self),
                )
            })
            .collect()
    }

    fn offsets(&self) -> (f64, f64) {
        let all = self
            .piece
            .form
            .stages
            .iter()
            .flat_map(|stage| &stage.copies);
        let ends = all
            .filter(|copy| copy.doing != Doing::Waiting)
            .flat_map(|c| [c.from, c.to]);
        ends.fold((0.0, 1.0), |(low, high), steps| {
            (f64::min(low, steps), f64::max(high, steps))
        })
    }

    fn keys(&self) -> (u8, u8) {
        let keys = self.piece.notes.iter().map(|note| note.key.number());
        keys.fold(None, |range: Option<(u8, u8)>, key| {
            Some(range.map_or((key, key), |(low, high)| (low.min(key), high.max(key))))
        })
        .unwrap_or((60, 72))
    }

    fn x(&self, at: Beats) -> f64 {
        let start = self.piece.process().origin();
        let whole = (self.piece.form.end() - start).max(1e-9);
        LEFT + (at - start) / whole * (WIDTH - LEFT - RIGHT)
    }
}

fn locked_words(stage: &crate::form::Stage, origin: Beats, picture: &Picture<'_>) -> String {
    let bar = ((stage.span.start - origin) / picture.piece.beats_per_bar).floor() + 1.0;
    let place = match stage.copies.first() {
        Some(copy) if stage.is_unison(picture.piece.form) => {
            if copy.from == 0.0 {
                "unison".to_owned()
            } else {
                "unison again".to_owned()
            }
        }
        Some(copy) => place_words(copy.from, copy.cycle),
        None => "alone".to_owned(),
    };
    format!("bar {bar}: {place}")
}

/// A number in a picture: a hundredth of a unit is finer than a pixel.
fn fixed(number: f64) -> String {
    format!("{number:.2}")
}

/// A sheet of paper of that size, and what is drawn on it, as the text of an SVG file.
fn on_paper(width: f64, height: f64, draw: impl FnOnce(&mut Drawing)) -> String {
    let (across, down) = (width.to_string(), height.to_string());
    let root = [
        ("xmlns", "http://www.w3.org/2000/svg"),
        ("viewBox", &format!("0 0 {across} {down}")),
        ("width", &across),
        ("height", &down),
        ("font-family", "Ubuntu, DejaVu Sans, sans-serif"),
    ];
    let mut xml = Xml::new();
    xml.within("svg", &root, |xml| {
        let paper = [("width", &*across), ("height", &down), ("fill", PAPER)];
        xml.empty("rect", &paper);
        draw(&mut Drawing(xml));
    });
    xml.finish()
}

/// The picture as it grows.
struct Drawing<'a>(&'a mut Xml);

impl Drawing<'_> {
    fn path(&mut self, path: &str, hue: &str, width: &str, more: Attributes) {
        let line = [("d", path), ("stroke", hue), ("stroke-width", width)];
        self.0.empty("path", &[&line, more].concat());
    }

    fn rule(&mut self, x1: f64, y1: f64, x2: f64, y2: f64) {
        let path = format!("M{x1:.2} {y1:.2}L{x2:.2} {y2:.2}");
        self.path(&path, RULE, "1", &[]);
    }

    fn text(&mut self, x: f64, y: f64, size: f64, hue: &str, anchor: &str, words: &str) {
        let attributes = [
            ("x", &*fixed(x)),
            ("y", &fixed(y)),
            ("font-size", &size.to_string()),
            ("fill", hue),
            ("text-anchor", anchor),
        ];
        self.0.text("text", &attributes, words);
    }

    /// The line of a voice: solid if steady, dashed if moving.
    fn course(&mut self, path: &str, part: Part) {
        let more = [
            ("stroke-dasharray", dashes_in_picture(part)),
            ("stroke-linejoin", "round"),
            ("fill", "none"),
        ];
        self.path(path, &hue(part), "2.2", &more);
    }

    /// The mark of a voice; hollow if `filled` is 0.
    fn mark(&mut self, x: f64, y: f64, part: Part, filled: f64) {
        let hue = hue(part);
        let fill = if filled > 0.0 { &*hue } else { PAPER };
        let paint = [("fill", fill), ("stroke", &hue), ("stroke-width", "1.4")];
        let radius = 4.6;
        let Some(corners) = marks::corners(part) else {
            let (x, y, radius) = (fixed(x), fixed(y), radius.to_string());
            let place = [("cx", &*x), ("cy", &y), ("r", &radius)];
            self.0.empty("circle", &[place, paint].concat());
            return;
        };
        let out = 1.3 * radius;
        let points: Vec<String> = corners
            .map(|(right, down)| format!("{:.2},{:.2}", x + out * right, y + out * down))
            .collect();
        let place = [("points", &*points.join(" "))];
        self.0.empty("polygon", &[&place[..], &paint].concat());
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::exchange::Unrolled;
    use crate::phrase::Phrase;
    use crate::process::Process;
    use crate::settings::Settings;

    #[test]
    fn every_note_and_every_voice_is_in_the_picture() {
        let phrase = Phrase::from_text("D4 F4 G4 . A4 C5", 0.25).unwrap();
        let mut settings = Settings::default();
        settings.motion.copies = 2;
        let unrolled = Unrolled::new(Process::new(phrase, settings, 0.0), 120.0, 4.0);
        let picture = Picture {
            piece: unrolled.piece("Night & ferry"),
            turnings: &[Span::new(60.0, 90.0)],
        };
        let svg = picture.to_svg();
        let drawn: usize = svg.lines().map(|line| line.matches('h').count()).sum();
        assert!(drawn >= unrolled.notes.len());
        for words in [
            "Steady",
            "Copy 1",
            "Copy 2",
            "D minor pentatonic",
            "mode change",
            "Night &amp; ferry",
        ] {
            assert!(svg.contains(words), "{words}");
        }
        assert!(!svg.contains("NaN") && !svg.contains("inf"));
    }
}
