//! Flat, sharp and natural signs: none of the window's typefaces has them, so they are drawn here.

use egui::GlyphRasterizerRequest;
use egui::epaint::text::RasterizedGlyph;
use egui::{Color32, ColorImage, Context, GlyphBitmap, GlyphRasterizer, Vec2, vec2};

/// Lets every text of `ctx` write ♭, ♯ and ♮. Before the first frame; again does no harm.
pub fn install(ctx: &Context) {
    ctx.add_glyph_rasterizer(GlyphRasterizer::new("procession::accidentals", rasterize));
}

/// A sign as strokes of a round pen, in parts of the type size: x from the sign's left edge, y up
/// from the line the letters stand on.
struct Sign {
    lines: &'static [PenLine],
    advance: f32,
}

/// From one point through the others, with a pen of that half width.
struct PenLine {
    points: &'static [(f32, f32)],
    half_width: f32,
}

const STEM: f32 = 0.022;
const BAR: f32 = 0.034;

const FLAT: Sign = Sign {
    lines: &[
        PenLine {
            points: &[(0.08, 0.0), (0.08, 0.8)],
            half_width: STEM,
        },
        PenLine {
            points: &[
                (0.08, 0.35),
                (0.17, 0.44),
                (0.26, 0.44),
                (0.31, 0.37),
                (0.28, 0.25),
                (0.2, 0.12),
                (0.08, 0.0),
            ],
            half_width: 0.03,
        },
    ],
    advance: 0.38,
};

const SHARP: Sign = Sign {
    lines: &[
        PenLine {
            points: &[(0.15, -0.06), (0.15, 0.7)],
            half_width: STEM,
        },
        PenLine {
            points: &[(0.34, 0.0), (0.34, 0.76)],
            half_width: STEM,
        },
        PenLine {
            points: &[(0.05, 0.18), (0.44, 0.27)],
            half_width: BAR,
        },
        PenLine {
            points: &[(0.05, 0.42), (0.44, 0.51)],
            half_width: BAR,
        },
    ],
    advance: 0.5,
};

const NATURAL: Sign = Sign {
    lines: &[
        PenLine {
            points: &[(0.1, 0.13), (0.1, 0.8)],
            half_width: STEM,
        },
        PenLine {
            points: &[(0.3, -0.1), (0.3, 0.57)],
            half_width: STEM,
        },
        PenLine {
            points: &[(0.1, 0.14), (0.3, 0.2)],
            half_width: BAR,
        },
        PenLine {
            points: &[(0.1, 0.5), (0.3, 0.56)],
            half_width: BAR,
        },
    ],
    advance: 0.4,
};

/// Highest and lowest point of any sign.
const REACH: (f32, f32) = (0.85, -0.15);

fn sign(cluster: &str) -> Option<&'static Sign> {
    match cluster {
        "♭" => Some(&FLAT),
        "♯" => Some(&SHARP),
        "♮" => Some(&NATURAL),
        _ => None,
    }
}

fn rasterize(request: &GlyphRasterizerRequest<'_>) -> Option<RasterizedGlyph> {
    let sign = sign(request.cluster)?;
    let size = request.font_size_px;
    let top = (REACH.0 * size).ceil();
    let height = (top - REACH.1 * size).ceil() as usize;
    let width = (sign.advance * size + 1.0).ceil() as usize;
    let mut image = ColorImage::filled([width, height], Color32::TRANSPARENT);
    for (index, pixel) in image.pixels.iter_mut().enumerate() {
        let (column, row) = (index % width, index / width);
        let at = vec2(
            column as f32 + 0.5 - request.subpixel_offset_px,
            top - row as f32 - 0.5,
        );
        *pixel = Color32::from_white_alpha((sign.ink(at, size) * 255.0).round() as u8);
    }
    Some(RasterizedGlyph {
        bitmap: GlyphBitmap {
            image,
            offset_px: vec2(0.0, -top),
            is_color: false,
        },
        advance_px: sign.advance * size,
    })
}

impl Sign {
    /// How much of the pixel around `at` is covered, 0 ..= 1.
    fn ink(&self, at: Vec2, size: f32) -> f32 {
        let lines = self.lines.iter();
        lines.map(|line| line.ink(at, size)).fold(0.0, f32::max)
    }
}

impl PenLine {
    fn ink(&self, at: Vec2, size: f32) -> f32 {
        // Never much thinner than a pixel, or small signs would pale away.
        let half_width = (self.half_width * size).max(0.42);
        let point = |(x, y): (f32, f32)| vec2(x, y) * size;
        let distances = self
            .points
            .windows(2)
            .map(|ends| distance(at, point(ends[0]), point(ends[1])));
        let nearest = distances.fold(f32::INFINITY, f32::min);
        (half_width + 0.5 - nearest).clamp(0.0, 1.0)
    }
}

/// From a point to a segment.
fn distance(at: Vec2, from: Vec2, to: Vec2) -> f32 {
    let way = to - from;
    let share = ((at - from).dot(way) / way.length_sq()).clamp(0.0, 1.0);
    (at - from - way * share).length()
}

#[cfg(test)]
mod tests {
    use super::*;
    use procession_core::mode::{ModeName, PitchName};

    /// How dark a sign is, as a share of its own box.
    fn ink_of(cluster: &str, size: f32) -> f32 {
        let request = GlyphRasterizerRequest {
            cluster,
            family: &egui::FontFamily::Proportional,
            font_size_px: size,
            subpixel_offset_px: 0.0,
        };
        let image = rasterize(&request).expect("a sign").bitmap.image;
        let ink: f32 = image
            .pixels
            .iter()
            .map(|pixel| f32::from(pixel.a()) / 255.0)
            .sum();
        ink / image.pixels.len() as f32
    }

    #[test]
    fn every_sign_that_pitches_and_modes_are_written_with_is_drawn() {
        let pitches = (0..12).map(|class| PitchName::neutral(class).to_string());
        let modes = ModeName::ALL.map(|name| name.name().to_owned());
        let written: String = pitches.chain(modes).collect();
        let signs = written.chars().filter(|letter| !letter.is_ascii());
        for letter in signs {
            assert!(sign(&letter.to_string()).is_some(), "{letter}");
        }
        assert!(sign("D").is_none());
    }

    #[test]
    fn signs_have_ink_at_every_size_and_none_is_a_blot() {
        for cluster in ["♭", "♯", "♮"] {
            for size in [10.0, 12.0, 24.0, 60.0] {
                let ink = ink_of(cluster, size);
                assert!((0.06..0.5).contains(&ink), "{cluster} at {size}: {ink}");
            }
        }
    }
}
