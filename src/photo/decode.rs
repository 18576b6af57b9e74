//! From the bytes of a file to an upright picture.

use std::io::Cursor;

use image::{DynamicImage, ImageDecoder, ImageError, ImageFormat, ImageReader, RgbImage, Rgba};
use jiff::civil::Date;
use thiserror::Error;

use super::dicom;
use super::exif::{self, CameraTags, Tags};
use super::format::Format;
#[cfg(feature = "heic")]
use super::heif;
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
    #[error("not a photo that can be read: expected JPEG, PNG, WebP, TIFF or DICOM")]
    UnknownFormat,
    #[error("the photo is damaged or cut short")]
    Damaged,
    #[error("this kind of {format} file is not supported")]
    Unsupported { format: &'static str },
    #[error("this DICOM file holds no photograph")]
    NoPhotograph,
    #[error("this DICOM file holds several pictures")]
    SeveralPictures,
    #[error(
        "the pixels of this DICOM file are kept in a way that is not read: expected uncompressed, RLE \
         or JPEG baseline"
    )]
    DicomCoding,
    #[error("it is {format}, which this program was built without")]
    LeftOut { format: &'static str },
    #[error("it is a video, not a photo")]
    Video,
    #[error("the file has {} MB, more than the {} MB that are read", .bytes >> 20, .limit >> 20)]
    TooManyBytes { bytes: u64, limit: u64 },
    #[error(
        "written anew, without what the camera added, the photo has {} MB, more than the {} MB that are \
         read",
        .bytes >> 20, .limit >> 20
    )]
    GrowsTooLarge { bytes: u64, limit: u64 },
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
            PhotoErrorKind::NoPhotograph => {
                "a visible light photograph or a secondary capture is read: choose one of the person"
            }
            PhotoErrorKind::SeveralPictures => "export the one that is meant, as DICOM or as JPEG",
            PhotoErrorKind::DicomCoding => "export the photo uncompressed, or as JPEG",
            PhotoErrorKind::LeftOut { .. } => {
                "export the photo as JPEG (phones that save HEIC offer \"most compatible\"), or build \
                 the program with its feature heic"
            }
            PhotoErrorKind::Video => {
                "pause it at the greatest reach and export that picture as JPEG"
            }
            PhotoErrorKind::TooManyBytes { .. }
            | PhotoErrorKind::TooManyPixels { .. }
            | PhotoErrorKind::TooMuchMemory => "save the photo at 12 megapixels or less",
            PhotoErrorKind::GrowsTooLarge { .. } => {
                "save the photo as JPEG, at 12 megapixels or less"
            }
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
    match Format::of(bytes) {
        #[cfg(feature = "heic")]
        Some(Format::Heif(format)) => heif::decode(bytes, format, limits),
        #[cfg(not(feature = "heic"))]
        Some(Format::Heif(format)) => Err(PhotoErrorKind::LeftOut { format }.into()),
        Some(Format::Video) => Err(PhotoErrorKind::Video.into()),
        Some(Format::BigTiff) => {
            let reader = ImageReader::with_format(Cursor::new(bytes), ImageFormat::Tiff);
            decode_common(reader, bytes, limits, detail, None)
        }
        None if dicom::is_dicom(bytes) => dicom::decode(bytes, limits, detail),
        None => picture_file(bytes, limits, detail, None),
    }
}

/// The formats that are read; the library knows more of them where another crate asks for that.
const READ: [ImageFormat; 4] = [
    ImageFormat::Jpeg,
    ImageFormat::Png,
    ImageFormat::WebP,
    ImageFormat::Tiff,
];

/// A file of one of the usual formats of pictures. Its own tags count, unless others are given.
pub(super) fn picture_file(
    bytes: &[u8],
    limits: Limits,
    detail: Detail,
    tags: Option<Tags>,
) -> Result<Decoded, PhotoError> {
    let reader = ImageReader::new(Cursor::new(bytes))
        .with_guessed_format()
        .expect("reading from memory cannot fail");
    decode_common(reader, bytes, limits, detail, tags)
}

/// Refuses pictures that are too large, or too small to find a person in, before any pixel is made.
pub(super) fn refuse_size(width: u32, height: u32, limits: Limits) -> Result<(), PhotoError> {
    if u64::from(width) * u64::from(height) > limits.pixels {
        return Err(PhotoErrorKind::TooManyPixels {
            width,
            height,
            limit: limits.pixels,
        }
        .into());
    }
    if width == 0 || height == 0 {
        return Err(PhotoErrorKind::Damaged.into());
    }
    if width.min(height) < SMALLEST_SIDE {
        return Err(PhotoErrorKind::TooSmall { width, height }.into());
    }
    Ok(())
}

/// Reads the formats that every build knows.
fn decode_common(
    reader: ImageReader<Cursor<&[u8]>>,
    bytes: &[u8],
    limits: Limits,
    detail: Detail,
    tags: Option<Tags>,
) -> Result<Decoded, PhotoError> {
    if !reader.format().is_some_and(|format| READ.contains(&format)) {
        return Err(PhotoErrorKind::UnknownFormat.into());
    }
    let decoder = reader.into_decoder().map_err(in_our_words)?;
    let (width, height) = decoder.dimensions();
    refuse_size(width, height, limits)?;
    if decoder.total_bytes() > limits.pixels * MOST_BYTES_A_PIXEL {
        return Err(PhotoErrorKind::TooMuchMemory.into());
    }
    let first_scan = jpeg::first_scan(bytes);
    let is_jpeg = bytes.starts_with(&jpeg::START);
    if is_jpeg && jpeg::is_cut(bytes, first_scan.unwrap_or(jpeg::START.len())) {
        return Err(PhotoErrorKind::Damaged.into());
    }
    if is_jpeg && jpeg::has_too_many_scans(bytes, first_scan) {
        return Err(PhotoErrorKind::Unsupported { format: "JPEG" }.into());
    }
    // A JPEG's tags stand before its first scan; without any, the whole file would be searched.
    let tags = tags.unwrap_or_else(|| Tags::read(&bytes[..first_scan.unwrap_or(bytes.len())]));
    let halvings = match detail {
        Detail::Whole => 0,
        Detail::Reduced(long_side) => halvings(width.max(height), long_side),
        Detail::Halved(halvings) => halvings.min(MOST_HALVINGS),
    };
    let reduced = match first_scan {
        Some(_) if halvings > 0 => jpeg::reduced(bytes, (width, height), halvings)?,
        _ => None,
    };
    let (image, halvings) = match reduced {
        Some(picture) => (DynamicImage::ImageRgb8(picture), halvings),
        None => {
            if is_jpeg {
                jpeg::check(bytes)?;
            }
            (
                DynamicImage::from_decoder(decoder).map_err(in_our_words)?,
                0,
            )
        }
    };
    Ok(turned(image, (width, height), halvings, &tags))
}

/// The picture of a photo of `width`×`height` pixels as stored, its sides halved so often, turned
/// upright.
pub(super) fn turned(
    image: DynamicImage,
    (width, height): (u32, u32),
    halvings: u32,
    tags: &Tags,
) -> Decoded {
    let beyond = |whole: u32, reduced: u32| (reduced << halvings) - whole;
    let (beyond_right, beyond_bottom) =
        (beyond(width, image.width()), beyond(height, image.height()));
    // After the colours: turning takes a second picture, of eight bits a channel at most.
    let mut picture = DynamicImage::ImageRgb8(over_white(image, tags.premultiplied));
    picture.apply_orientation(tags.orientation);
    Decoded {
        picture: picture.into_rgb8(),
        size: tags.upright_size(width, height),
        halvings,
        lead: tags.upright_lead(beyond_right, beyond_bottom),
        tags: tags.camera(width, height),
    }
}

/// The picture as a viewer shows it: what is clear shows white. `premultiplied`: the colours are
/// stored already dimmed by how clear they are.
pub(super) fn over_white(image: DynamicImage, premultiplied: bool) -> RgbImage {
    if !image.color().has_alpha() {
        return image.into_rgb8();
    }
    let image = image.into_rgba8();
    let (width, height) = image.dimensions();
    let pixels = image.pixels().flat_map(|&Rgba([red, green, blue, alpha])| {
        let (alpha, white) = (u16::from(alpha), u16::from(255 - alpha));
        [red, green, blue].map(|value| match premultiplied {
            true => (u16::from(value) + white).min(255) as u8,
            false => ((u16::from(value) * alpha + 255 * white + 127) / 255) as u8,
        })
    });
    RgbImage::from_raw(width, height, pixels.collect()).expect("as many pixels as the picture has")
}

/// The day that a photo says it was taken on. It may be wrong: it is to be offered, not taken.
pub fn day_taken(bytes: &[u8]) -> Option<Date> {
    exif::day_taken(&bytes[..jpeg::first_scan(bytes).unwrap_or(bytes.len())])
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
