//! A picture in pixels.

use epaint_default_fonts::{HACK_REGULAR, UBUNTU_LIGHT};
use resvg::{tiny_skia, usvg};
use std::sync::Arc;
use thiserror::Error;

/// Why a picture could not be drawn; the text says what to do.
#[derive(Clone, Debug, Error, PartialEq)]
pub enum PngError {
    /// The text is no SVG that can be read; why not.
    #[error("the picture cannot be read back ({0}): write it as SVG, and please report this")]
    NoPicture(String),
    /// There is no memory for so many pixels, across and down.
    #[error("a picture of {0} by {1} pixels is too large for the memory: write it as SVG")]
    TooLarge(u32, u32),
    /// The pixels could not be packed; why not.
    #[error("the picture cannot be packed ({0}): write it as SVG, and please report this")]
    NotPacked(String),
}

/// An SVG drawn as PNG, a pixel for each of its units, with a typeface that is built in: a fresh
/// machine may have none.
///
/// # Errors
/// [`PngError`].
pub fn png(svg: &str) -> Result<Vec<u8>, PngError> {
    let mut options = usvg::Options::default();
    let typefaces = Arc::make_mut(&mut options.fontdb);
    typefaces.load_font_data(UBUNTU_LIGHT.to_vec());
    typefaces.load_font_data(HACK_REGULAR.to_vec());
    let tree = usvg::Tree::from_str(svg, &options)
        .map_err(|error| PngError::NoPicture(error.to_string()))?;
    let size = tree.size().to_int_size();
    let (width, height) = (size.width(), size.height());
    let mut pixels =
        tiny_skia::Pixmap::new(width, height).ok_or(PngError::TooLarge(width, height))?;
    let as_is = tiny_skia::Transform::identity();
    resvg::render(&tree, as_is, &mut pixels.as_mut());
    pixels
        .encode_png()
        .map_err(|error| PngError::NotPacked(error.to_string()))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Width and height, as the first chunk of the file has them (PNG, W3C, 11.2.1).
    fn size(png: &[u8]) -> (u32, u32) {
        let number = |at: usize| u32::from_be_bytes(png[at..at + 4].try_into().unwrap());
        (number(16), number(20))
    }

    #[test]
    fn a_picture_has_a_pixel_a_unit_and_letters_are_drawn_without_a_typeface_on_the_machine() {
        let draw = |words: &str| {
            png(&format!(
                r#"<svg xmlns="http://www.w3.org/2000/svg" width="120" height="40" font-family="Ubuntu"><text x="4" y="24">{words}</text></svg>"#
            ))
            .unwrap()
        };
        let with = draw("ferry");
        assert_eq!(&with[..8], b"\x89PNG\r\n\x1a\n");
        assert_eq!(size(&with), (120, 40));
        assert_ne!(with, draw(""));
        assert_ne!(with, draw("wharf"));
    }

    #[test]
    fn what_is_no_picture_is_told() {
        let error = png("a ferry").unwrap_err().to_string();
        assert!(error.contains("cannot be read back"), "{error}");
    }
}
