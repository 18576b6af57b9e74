//! Photos: read within limits, turned upright, sampled for the nets, and judged for sharpness
//! and light.
//!
//! The upright photo is the only image that later code sees. Of the file's metadata only what
//! the camera model needs is kept: nothing that says where, when or with which device. The day that a
//! file says is read apart from the picture, for those who offer it ([`day_taken`]).

mod bare;
mod day;
mod decode;
mod dicom;
mod exif;
mod file;
mod format;
#[cfg(feature = "heic")]
mod heif;
#[expect(
    unsafe_code,
    reason = "the library tells of garbled pixels by a callback alone"
)]
mod jpeg;
mod quality;
mod sample;

use image::RgbImage;

pub use bare::Bare;
pub use day::{Days, words as day_in_words};
pub use decode::{Limits, PhotoError, PhotoErrorKind, day_taken};
pub use exif::{BodyDirection, CameraTags};
pub use file::{
    DRAWN, DRAWN_DICOM, ENDINGS, Passed, PassedOver, REPORT_DICOM, Sorted, is_photo_name,
    is_video_name, read_bytes,
};
pub use quality::{PhotoFault, judge};

use decode::{Decoded, Detail};

use crate::geometry::{self, Angle, Map, Point};

/// An upright photo with half-size copies of itself, so that a crop never skips pixels.
///
/// Positions are always those of the whole photo, also where only a smaller copy is held.
pub struct Photo {
    /// The most detailed picture that is held, then each time half the size.
    levels: Vec<RgbImage>,
    /// Width and height of the whole photo.
    size: (u32, u32),
    /// How often the photo was halved to give the first level.
    halvings: u32,
    /// By how many photo pixels that level begins before the photo, right and down.
    lead: (u32, u32),
    tags: CameraTags,
}

/// Pixels on the longer side of a reduced photo: so that it has all that the nets need of a person
/// who fills most of the photo, of whom the closest look takes in less than a third.
const REDUCED: u32 = 1000;

/// Below this many pixels a side, a half-size copy is of no use to any crop.
const SMALLEST_LEVEL: u32 = 192;

/// Reads the upright picture alone from the bytes of a file, for those who only show it.
pub fn upright(bytes: &[u8], limits: Limits) -> Result<RgbImage, PhotoError> {
    decode::decode(bytes, limits, Detail::Whole).map(|decoded| decoded.picture)
}

impl Photo {
    /// Reads a photo from the bytes of a file, with all its detail.
    pub fn decode(bytes: &[u8], limits: Limits) -> Result<Photo, PhotoError> {
        decode::decode(bytes, limits, Detail::Whole).map(Photo::from_decoded)
    }

    /// Reads a photo without the detail that only a person far away would need, which takes half
    /// the time for a JPEG of 12 megapixels. [`Photo::has_detail`] tells whether that was enough.
    pub fn decode_reduced(bytes: &[u8], limits: Limits) -> Result<Photo, PhotoError> {
        decode::decode(bytes, limits, Detail::Reduced(REDUCED)).map(Photo::from_decoded)
    }

    /// Reads a photo with the detail that a crop of that scale needs, and no more.
    pub fn decode_for(
        bytes: &[u8],
        limits: Limits,
        photo_pixels_per_crop_pixel: f64,
    ) -> Result<Photo, PhotoError> {
        let detail = Detail::Halved(wanted_halvings(photo_pixels_per_crop_pixel));
        decode::decode(bytes, limits, detail).map(Photo::from_decoded)
    }

    /// Wraps an image that is already upright.
    pub fn new(upright: RgbImage, tags: CameraTags) -> Photo {
        Photo::from_decoded(Decoded {
            size: upright.dimensions(),
            picture: upright,
            halvings: 0,
            lead: (0, 0),
            tags,
        })
    }

    fn from_decoded(decoded: Decoded) -> Photo {
        let mut levels = vec![decoded.picture];
        while let Some(last) = levels.last() {
            if last.width().min(last.height()) / 2 < SMALLEST_LEVEL {
                break;
            }
            levels.push(halved(last));
        }
        Photo {
            levels,
            size: decoded.size,
            halvings: decoded.halvings,
            lead: decoded.lead,
            tags: decoded.tags,
        }
    }

    /// The most detailed picture that is held.
    pub fn upright(&self) -> &RgbImage {
        &self.levels[0]
    }

    pub fn width(&self) -> u32 {
        self.size.0
    }

    pub fn height(&self) -> u32 {
        self.size.1
    }

    pub fn tags(&self) -> &CameraTags {
        &self.tags
    }

    /// The centre of the photo.
    pub fn centre(&self) -> Point<geometry::Photo> {
        Point::new(
            f64::from(self.width()) / 2.0,
            f64::from(self.height()) / 2.0,
        )
    }

    /// The most detailed copy with at most so many pixels on its longer side, or else the smallest,
    /// and where it lies in the photo.
    pub fn at_most(&self, long_side: u32) -> (&RgbImage, Map<geometry::Crop, geometry::Photo>) {
        let index = self
            .levels
            .iter()
            .position(|level| level.width().max(level.height()) <= long_side)
            .unwrap_or(self.levels.len() - 1);
        let level = &self.levels[index];
        let divisor = f64::powi(2.0, self.halvings as i32 + index as i32);
        let side = f64::from(level.width());
        let middle = Point::new(
            side / 2.0 * divisor - f64::from(self.lead.0),
            side / 2.0 * divisor - f64::from(self.lead.1),
        );
        let map = Map::square(side, middle, side * divisor, Angle::ZERO, false)
            .expect("a photo is not halved a million times");
        (level, map)
    }

    /// A square picture of `size` pixels a side, looked up through `photo_from_crop`. Outside of
    /// the photo it is black, as the nets were trained.
    pub fn crop(
        &self,
        photo_from_crop: &Map<geometry::Crop, geometry::Photo>,
        size: u32,
    ) -> RgbImage {
        let (level, divisor) = self.level_for(photo_from_crop.scale());
        let [a, b, mut c, d, e, mut f, ..] = photo_from_crop.coefficients();
        c += f64::from(self.lead.0);
        f += f64::from(self.lead.1);
        let level_from_crop = [a, b, c, d, e, f].map(|value| value / divisor);
        sample::square(level, level_from_crop, size)
    }

    /// The smallest copy that still has about a pixel for every pixel of a crop, and by how much
    /// it is smaller than the photo.
    fn level_for(&self, photo_pixels_per_crop_pixel: f64) -> (&RgbImage, f64) {
        let index = wanted_halvings(photo_pixels_per_crop_pixel)
            .saturating_sub(self.halvings)
            .min(self.levels.len() as u32 - 1);
        let divisor = f64::powi(2.0, (self.halvings + index) as i32);
        (&self.levels[index as usize], divisor)
    }

    /// Whether a crop of that scale gets the same from this photo as from the whole one.
    pub fn has_detail(&self, photo_pixels_per_crop_pixel: f64) -> bool {
        wanted_halvings(photo_pixels_per_crop_pixel) >= self.halvings
    }
}

/// How often a photo is best halved before a crop is taken from it.
fn wanted_halvings(photo_pixels_per_crop_pixel: f64) -> u32 {
    photo_pixels_per_crop_pixel.log2().round().max(0.0) as u32
}

/// The image at half its size, each pixel the mean of four. An odd last row or column is dropped,
/// so that positions are halved exactly.
fn halved(image: &RgbImage) -> RgbImage {
    use rayon::prelude::*;
    let (width, height) = (image.width() as usize / 2, image.height() as usize / 2);
    let stride = image.width() as usize * 3;
    let source = image.as_raw();
    let mut half = vec![0u8; width * height * 3];
    half.par_chunks_mut(width * 3)
        .enumerate()
        .for_each(|(y, row)| {
            let top = &source[2 * y * stride..][..stride];
            let bottom = &source[(2 * y + 1) * stride..][..stride];
            for (x, pixel) in row.chunks_exact_mut(3).enumerate() {
                let at = 6 * x;
                for channel in 0..3 {
                    let sum = u16::from(top[at + channel])
                        + u16::from(top[at + channel + 3])
                        + u16::from(bottom[at + channel])
                        + u16::from(bottom[at + channel + 3]);
                    pixel[channel] = ((sum + 2) / 4) as u8;
                }
            }
        });
    RgbImage::from_raw(width as u32, height as u32, half)
        .expect("the buffer was made for this size")
}
