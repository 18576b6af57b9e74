//! Photos for the screen.

use image::RgbImage;
use image::codecs::jpeg::JpegEncoder;
use image::imageops::{self, FilterType};

use super::answer::Trouble;
use crate::geometry::{Photo, Point};
use crate::photo::{self, Limits, PhotoError, PhotoErrorKind};
use crate::report::words::capitalised;
use crate::visit::PhotoRecord;

/// Pixels on the longer side of a photo that landmarks are placed in, and of one that is looked at.
pub const TO_PLACE: u32 = 2400;
pub const TO_LOOK_AT: u32 = 1600;
const QUALITY: u8 = 88;
/// What is left around a person, as a part of their height.
const ROOM: f64 = 0.25;

/// The upright photo in a file's bytes, or why it can't be shown.
pub fn upright(bytes: &[u8]) -> Result<RgbImage, Trouble> {
    Ok(photo::upright(bytes, Limits::default())?)
}

impl From<PhotoError> for Trouble {
    fn from(PhotoError { kind }: PhotoError) -> Trouble {
        let error = match kind {
            PhotoErrorKind::UnknownFormat => format!("This is {kind}."),
            _ => format!("{}.", capitalised(&kind.to_string())),
        };
        Trouble::unusable(error, format!("What helps: {}.", kind.hint()))
    }
}

/// The part of a photo that shows the person, with some room around; all of it where nobody was
/// found.
pub fn around_person(picture: &RgbImage, record: &PhotoRecord) -> RgbImage {
    let points = || record.landmarks.values().map(|located| located.at);
    let least = |of: fn(Point<Photo>) -> f64| points().map(of).fold(f64::INFINITY, f64::min);
    let most = |of: fn(Point<Photo>) -> f64| points().map(of).fold(f64::NEG_INFINITY, f64::max);
    let (top, bottom) = (least(|at| at.y), most(|at| at.y));
    if top >= bottom {
        return picture.clone();
    }
    let room = ROOM * (bottom - top);
    let within = |value: f64, size: u32| value.clamp(0.0, f64::from(size)) as u32;
    let left = within(least(|at| at.x) - room, picture.width());
    let right = within(most(|at| at.x) + room, picture.width());
    let (top, bottom) = (
        within(top - room, picture.height()),
        within(bottom + room, picture.height()),
    );
    imageops::crop_imm(picture, left, top, right - left, bottom - top).to_image()
}

/// A JPEG without any metadata, with at most so many pixels on its longer side.
pub fn for_screen(picture: &RgbImage, longest: u32) -> Result<Vec<u8>, Trouble> {
    let (width, height) = picture.dimensions();
    let smaller = width.max(height) > longest;
    let scale = f64::from(longest) / f64::from(width.max(height));
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
            let jpeg = for_screen(&RgbImage::new(size.0, size.1), TO_PLACE).expect("a JPEG");
            let read = image::load_from_memory(&jpeg).expect("a picture");
            assert_eq!((read.width(), read.height()), shown);
        }
    }
}
