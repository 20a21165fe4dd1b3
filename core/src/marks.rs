//! The marks: by what hue, line and shape the parts are told apart, in pictures and in the window.
//!
//! Nothing is told by hue alone: the steady voice is solid and has a disc, copies are dashed and
//! have polygons.

use crate::part::{MAX_VOICES, Part};
use std::f64::consts::{FRAC_PI_2, PI, TAU};

/// What the steady voice and text are drawn in on light paper, as 0xRRGGBB.
pub const INK: u32 = 0x1F_2A_33;

/// On light paper, the steady voice's first. Each has a contrast of 3:1 or more against it.
pub const HUES_ON_LIGHT: [u32; MAX_VOICES] = [
    INK, 0xB3_43_1F, 0x1B_6F_8A, 0x6A_4F_A3, 0x3F_7A_2E, 0x9C_2A_66, 0x8A_6A_00, 0x2D_55_B8,
    0x7A_4A_2B,
];

/// On dark paper, in the same order and at the same contrast.
pub const HUES_ON_DARK: [u32; MAX_VOICES] = [
    0xEC_E8_DD, 0xF0_90_6A, 0x6C_C3_DE, 0xB9_A1_F0, 0x93_CC_7E, 0xE8_89_B6, 0xD9_B8_4A, 0x8F_B0_FF,
    0xCF_A2_84,
];

/// The hue of a voice on light paper; the resulting line, which doubles voices, has none.
pub fn hue_on_light(part: Part) -> Option<u32> {
    HUES_ON_LIGHT.get(part.index()).copied()
}

/// The dashes of a part's line in a picture, lengths on and off in turn (SVG's
/// `stroke-dasharray`); "none" if it is solid.
pub fn dashes_in_picture(part: Part) -> &'static str {
    const OF_COPIES: [&str; MAX_VOICES - 1] = [
        "9 4",
        "4 3",
        "12 3 3 3",
        "2 3",
        "14 5",
        "7 3 2 3",
        "3 6",
        "10 2 2 2 2 2",
    ];
    part.as_copy()
        .map_or("none", |copy| OF_COPIES[copy.index()])
}

/// The dashes of a part's line in the window, whose painter knows one length on and one off, in
/// points; none if it is solid.
pub fn dashes_in_window(part: Part) -> Option<(f32, f32)> {
    const OF_COPIES: [(f32, f32); MAX_VOICES - 1] = [
        (7.0, 3.0),
        (3.0, 3.0),
        (11.0, 4.0),
        (2.0, 4.0),
        (9.0, 2.0),
        (5.0, 5.0),
        (14.0, 3.0),
        (2.0, 2.0),
    ];
    part.as_copy().map(|copy| OF_COPIES[copy.index()])
}

/// The corners of a part's mark, (right, down) of its middle at a distance of 1; none if it is a
/// disc, as the steady voice's is. Triangles, squares, pentagons and hexagons, the second of each
/// on its head; for the even ones that is the same again, and their lines alone differ.
pub fn corners(part: Part) -> Option<impl Iterator<Item = (f64, f64)>> {
    let turned = part.index().checked_sub(1)?;
    let corners = 3 + turned / 2;
    let turn = if turned.is_multiple_of(2) { 0.0 } else { PI };
    Some((0..corners).map(move |corner| {
        let angle = turn + TAU * (corner as f64 / corners as f64) - FRAC_PI_2;
        (angle.cos(), angle.sin())
    }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::HashSet;

    #[test]
    fn no_two_copies_have_a_line_in_common() {
        let copies = || {
            Part::ALL
                .into_iter()
                .filter(|part| part.as_copy().is_some())
        };
        let in_picture: HashSet<_> = copies().map(dashes_in_picture).collect();
        let in_window: HashSet<_> = copies()
            .map(|p| format!("{:?}", dashes_in_window(p)))
            .collect();
        assert_eq!((in_picture.len(), in_window.len()), (8, 8));
    }
}
