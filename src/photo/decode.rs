//! From the bytes of a file to an upright picture.

use std::io::Cursor;

use image::{DynamicImage, ImageDecoder, ImageError, ImageReader, RgbImage};
use thiserror::Error;

use super::exif::{CameraTags, Tags};
use super::jpeg::{self, Garbled, MOST_HALVINGS};

/// How large a file is still read.
#[derive(Clone, Copy, Debug)]
pub struct Limits {
    pub bytes: u64,
    pub pixels: u64,
}

impl Default for Limits {
    /// Twice the largest photo of today's phones (200 megapixels come in files of 50 MB, but
    /// hold no more detail for our purpose than 50 megapixels do).
    fn default() -> Self {
        Limits {
            bytes: 64 << 20,
            pixels: 100_000_000,
        }
    }
}

/// Why a file could not be read as a photo.
#[derive(Debug, Error)]
#[error("{kind}")]
pub struct PhotoError {
    pub kind: PhotoErrorKind,
}

#[derive(Debug, Error)]
#[non_exhaustive]
pub enum PhotoErrorKind {
    #[error("the file is empty")]
    Empty,
    #[error("not a photo that can be read: expected JPEG, PNG, WebP or TIFF")]
    UnknownFormat,
    #[error("the photo is damaged or cut short")]
    Damaged,
    #[error("this kind of {format} file is not supported")]
    Unsupported { format: &'static str },
    #[error("the file has {} MB, more than the {} MB that are read", .bytes >> 20, .limit >> 20)]
    TooManyBytes { bytes: u64, limit: u64 },
    #[error("the photo has {width}×{height} pixels, more than the {} megapixels that are read", .limit / 1_000_000)]
    TooManyPixels { width: u32, height: u32, limit: u64 },
    #[error("the photo is too large to be read in one piece")]
    TooMuchMemory,
    #[error("the photo has {width}×{height} pixels, too few to find a person in")]
    TooSmall { width: u32, height: u32 },
}

impl PhotoErrorKind {
    /// What the person can do about it.
    pub fn hint(&self) -> &'static str {
        match self {
            PhotoErrorKind::Empty | PhotoErrorKind::Damaged => {
                "copy the photo from the camera again, or take it again"
            }
            PhotoErrorKind::UnknownFormat | PhotoErrorKind::Unsupported { .. } => {
                "export the photo as JPEG (phones that save HEIC offer \"most compatible\")"
            }
            PhotoErrorKind::TooManyBytes { .. }
            | PhotoErrorKind::TooManyPixels { .. }
            | PhotoErrorKind::TooMuchMemory => "save the photo at 12 megapixels or less",
            PhotoErrorKind::TooSmall { .. } => "use the original photo, not a thumbnail",
        }
    }
}

impl From<Garbled> for PhotoError {
    fn from(_: Garbled) -> Self {
        PhotoErrorKind::Damaged.into()
    }
}

impl From<PhotoErrorKind> for PhotoError {
    fn from(kind: PhotoErrorKind) -> Self {
        PhotoError { kind }
    }
}

/// Smaller pictures than this hold no person whose landmarks could be told apart.
const SMALLEST_SIDE: u32 = 64;

/// Pixels of four channels of 16 bits are read from smaller photos alone: the picture is held twice
/// while its colours are taken over.
const MOST_BYTES_A_PIXEL: u64 = 4;

/// How much of a photo's detail is wanted.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Detail {
    Whole,
    /// Not much less than this many pixels on the longer side, where that saves work.
    Reduced(u32),
    /// The sides halved so often, where that saves work.
    Halved(u32),
}

pub(super) struct Decoded {
    /// Upright.
    pub picture: RgbImage,
    /// Width and height of the photo upright and whole.
    pub size: (u32, u32),
    /// How often the photo's sides were halved to give the picture's.
    pub halvings: u32,
    /// By how many photo pixels the picture begins before the photo, right and down: what the
    /// reduced picture of a turned photo has beyond an edge that now comes first.
    pub lead: (u32, u32),
    pub tags: CameraTags,
}

pub(super) fn decode(bytes: &[u8], limits: Limits, detail: Detail) -> Result<Decoded, PhotoError> {
    let size = bytes.len() as u64;
    if size == 0 {
        return Err(PhotoErrorKind::Empty.into());
    }
    if size > limits.bytes {
        return Err(PhotoErrorKind::TooManyBytes {
            bytes: size,
            limit: limits.bytes,
        }
        .into());
    }
    let reader = ImageReader::new(Cursor::new(bytes))
        .with_guessed_format()
        .expect("reading from memory cannot fail");
    if reader.format().is_none() {
        return Err(PhotoErrorKind::UnknownFormat.into());
    }
    let decoder = reader.into_decoder().map_err(in_our_words)?;
    let (width, height) = decoder.dimensions();
    if u64::from(width) * u64::from(height) > limits.pixels {
        return Err(PhotoErrorKind::TooManyPixels {
            width,
            height,
            limit: limits.pixels,
        }
        .into());
    }
    if width.min(height) < SMALLEST_SIDE {
        return Err(PhotoErrorKind::TooSmall { width, height }.into());
    }
    if decoder.total_bytes() > limits.pixels * MOST_BYTES_A_PIXEL {
        return Err(PhotoErrorKind::TooMuchMemory.into());
    }
    let first_scan = jpeg::first_scan(bytes);
    if first_scan.is_some_and(|at| jpeg::is_cut(bytes, at)) {
        return Err(PhotoErrorKind::Damaged.into());
    }
    if first_scan.is_some_and(|at| jpeg::has_too_many_scans(bytes, at)) {
        return Err(PhotoErrorKind::Unsupported { format: "JPEG" }.into());
    }
    // A JPEG's tags stand before its first scan; without any, the whole file would be searched.
    let tags = Tags::read(&bytes[..first_scan.unwrap_or(bytes.len())]);
    let halvings = match detail {
        Detail::Whole => 0,
        Detail::Reduced(long_side) => halvings(width.max(height), long_side),
        Detail::Halved(halvings) => halvings.min(MOST_HALVINGS),
    };
    let reduced = match first_scan {
        Some(_) if halvings > 0 => jpeg::reduced(bytes, (width, height), halvings)?,
        _ => None,
    };
    let (picture, halvings) = match reduced {
        Some(picture) => (picture, halvings),
        None => {
            if first_scan.is_some() {
                jpeg::check(bytes)?;
            }
            let whole = DynamicImage::from_decoder(decoder).map_err(in_our_words)?;
            (whole.into_rgb8(), 0)
        }
    };
    let beyond = |whole: u32, reduced: u32| (reduced << halvings) - whole;
    let (beyond_right, beyond_bottom) = (
        beyond(width, picture.width()),
        beyond(height, picture.height()),
    );
    // After the colours: turning takes a second picture, of eight bits a channel at most.
    let mut picture = DynamicImage::ImageRgb8(picture);
    picture.apply_orientation(tags.orientation);
    Ok(Decoded {
        picture: picture.into_rgb8(),
        size: tags.upright_size(width, height),
        halvings,
        lead: tags.upright_lead(beyond_right, beyond_bottom),
        tags: tags.camera(width, height),
    })
}

/// How often a side can be halved without falling below the one wanted.
fn halvings(side: u32, wanted: u32) -> u32 {
    (side / wanted.max(1))
        .checked_ilog2()
        .unwrap_or(0)
        .min(MOST_HALVINGS)
}

/// The library's own messages speak of chunks and markers; what the user can do depends only on
/// the kind.
fn in_our_words(error: ImageError) -> PhotoError {
    use image::ImageFormat::{Jpeg, Png, Tiff, WebP};
    use image::error::ImageFormatHint::Exact;
    match error {
        ImageError::Unsupported(error) => match error.format_hint() {
            Exact(Jpeg) => PhotoErrorKind::Unsupported { format: "JPEG" },
            Exact(Png) => PhotoErrorKind::Unsupported { format: "PNG" },
            Exact(WebP) => PhotoErrorKind::Unsupported { format: "WebP" },
            Exact(Tiff) => PhotoErrorKind::Unsupported { format: "TIFF" },
            _ => PhotoErrorKind::UnknownFormat,
        },
        ImageError::Limits(_) => PhotoErrorKind::TooMuchMemory,
        _ => PhotoErrorKind::Damaged,
    }
    .into()
}
