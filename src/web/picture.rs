//! Photos for the screen.

use image::RgbImage;
use image::codecs::jpeg::JpegEncoder;
use image::imageops::{self, FilterType};

use super::answer::Trouble;
use crate::photo::{self, Limits, PhotoError};

/// Pixels on the longer side: more than a screen shows of a whole photo.
const LONGEST_SIDE: u32 = 2400;
const QUALITY: u8 = 88;

/// The upright photo in a file's bytes, or why it can't be shown.
pub fn upright(bytes: &[u8]) -> Result<RgbImage, Trouble> {
    photo::upright(bytes, Limits::default()).map_err(|PhotoError { kind }| {
        Trouble::unusable(
            format!("This photo could not be read: {kind}."),
            format!("What helps: {}.", kind.hint()),
        )
    })
}

/// A JPEG without any metadata, no larger than a screen needs.
pub fn for_screen(picture: &RgbImage) -> Result<Vec<u8>, Trouble> {
    let (width, height) = picture.dimensions();
    let smaller = width.max(height) > LONGEST_SIDE;
    let scale = f64::from(LONGEST_SIDE) / f64::from(width.max(height));
    let side = |side: u32| ((f64::from(side) * scale).round() as u32).max(1);
    let resized =
        smaller.then(|| imageops::resize(picture, side(width), side(height), FilterType::Triangle));
    let mut jpeg = Vec::new();
    JpegEncoder::new_with_quality(&mut jpeg, QUALITY)
        .encode_image(resized.as_ref().unwrap_or(picture))
        .map_err(Trouble::fault)?;
    Ok(jpeg)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_large_photo_is_shown_smaller_and_a_small_one_as_it_is() {
        for (size, shown) in [((4000, 3000), (2400, 1800)), ((600, 800), (600, 800))] {
            let jpeg = for_screen(&RgbImage::new(size.0, size.1)).expect("a JPEG");
            let read = image::load_from_memory(&jpeg).expect("a picture");
            assert_eq!((read.width(), read.height()), shown);
        }
    }
}
