//! From the bytes of a file to an upright picture.

use std::io::Cursor;
use std::panic::catch_unwind;

use image::{DynamicImage, ImageDecoder, ImageError, ImageFormat, ImageReader, RgbImage};
use mozjpeg::{ColorSpace, Decompress};
use thiserror::Error;

use super::dicom;
use super::exif::{CameraTags, Tags};

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
            PhotoErrorKind::NoPhotograph => {
                "a visible light photograph or a secondary capture is read: choose one of the person"
            }
            PhotoErrorKind::SeveralPictures => "export the one that is meant, as DICOM or as JPEG",
            PhotoErrorKind::DicomCoding => "export the photo uncompressed, or as JPEG",
            PhotoErrorKind::TooManyBytes { .. }
            | PhotoErrorKind::TooManyPixels { .. }
            | PhotoErrorKind::TooMuchMemory => "save the photo at 12 megapixels or less",
            PhotoErrorKind::TooSmall { .. } => "use the original photo, not a thumbnail",
        }
    }
}

impl From<PhotoErrorKind> for PhotoError {
    fn from(kind: PhotoErrorKind) -> Self {
        PhotoError { kind }
    }
}

/// Smaller pictures than this hold no person whose landmarks could be told apart.
const SMALLEST_SIDE: u32 = 64;

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
    match dicom::is_dicom(bytes) {
        true => dicom::decode(bytes, limits, detail),
        false => picture_file(bytes, limits, detail, None),
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
    if !reader.format().is_some_and(|format| READ.contains(&format)) {
        return Err(PhotoErrorKind::UnknownFormat.into());
    }
    let decoder = reader.into_decoder().map_err(in_our_words)?;
    let (width, height) = decoder.dimensions();
    check_size(width, height, limits)?;
    let first_scan = first_scan(bytes);
    if first_scan.is_some_and(|at| is_cut_jpeg(bytes, at)) {
        return Err(PhotoErrorKind::Damaged.into());
    }
    // A JPEG's tags stand before its first scan; without any, the whole file would be searched.
    let tags = tags.unwrap_or_else(|| Tags::read(&bytes[..first_scan.unwrap_or(bytes.len())]));
    let halvings = match detail {
        Detail::Whole => 0,
        Detail::Reduced(long_side) => halvings(width.max(height), long_side),
        Detail::Halved(halvings) => halvings.min(MOST_HALVINGS),
    };
    let (image, halvings) = match reduced_jpeg(bytes, (width, height), halvings) {
        Some(image) => (image, halvings),
        None => (
            DynamicImage::from_decoder(decoder).map_err(in_our_words)?,
            0,
        ),
    };
    Ok(turned(image, (width, height), halvings, &tags))
}

/// Refuses pictures that are too large, or too small to find a person in, before they are decoded.
pub(super) fn check_size(width: u32, height: u32, limits: Limits) -> Result<(), PhotoError> {
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
    Ok(())
}

/// The picture of a photo of `width`×`height` pixels as stored, its sides halved so often, turned
/// upright.
pub(super) fn turned(
    mut image: DynamicImage,
    (width, height): (u32, u32),
    halvings: u32,
    tags: &Tags,
) -> Decoded {
    let beyond = |whole: u32, reduced: u32| (reduced << halvings) - whole;
    let (beyond_right, beyond_bottom) =
        (beyond(width, image.width()), beyond(height, image.height()));
    image.apply_orientation(tags.orientation);
    Decoded {
        picture: image.into_rgb8(),
        size: tags.upright_size(width, height),
        halvings,
        lead: tags.upright_lead(beyond_right, beyond_bottom),
        tags: tags.camera(width, height),
    }
}

/// A JPEG's blocks of 8 pixels can be decoded to 4, 2 or 1.
const MOST_HALVINGS: u32 = 3;

/// How often a side can be halved without falling below the one wanted.
fn halvings(side: u32, wanted: u32) -> u32 {
    (side / wanted.max(1))
        .checked_ilog2()
        .unwrap_or(0)
        .min(MOST_HALVINGS)
}

/// A JPEG decoded straight to a smaller size, which leaves out most of the arithmetic. `None` for
/// other files, for kinds of JPEG that only the usual decoder knows, and for damage that stops the
/// library; of that the usual decoder is to speak. Garbled pixels stop neither.
fn reduced_jpeg(bytes: &[u8], size: (u32, u32), halvings: u32) -> Option<DynamicImage> {
    if halvings == 0 || !bytes.starts_with(&JPEG_START) {
        return None;
    }
    // The library reports damage by unwinding.
    catch_unwind(|| {
        let mut header = Decompress::new_mem(bytes).ok()?;
        if matches!(
            header.color_space(),
            ColorSpace::JCS_CMYK | ColorSpace::JCS_YCCK
        ) {
            return None;
        }
        header.scale(8 >> halvings);
        let mut picture = header.rgb().ok()?;
        let (width, height) = (picture.width() as u32, picture.height() as u32);
        let reduced = |side: u32| side.div_ceil(1 << halvings);
        if (width, height) != (reduced(size.0), reduced(size.1)) {
            return None;
        }
        let pixels = picture.read_scanlines().ok()?;
        picture.finish().ok()?;
        RgbImage::from_raw(width, height, pixels).map(DynamicImage::ImageRgb8)
    })
    .ok()
    .flatten()
}

pub(super) const JPEG_START: [u8; 2] = [0xff, 0xd8];

/// Where the first scan of a JPEG begins. `None` for other files, and where fill bytes or a shape
/// that this walk does not know come before.
fn first_scan(bytes: &[u8]) -> Option<usize> {
    const SCAN: u8 = 0xda;
    if !bytes.starts_with(&JPEG_START) {
        return None;
    }
    let mut at = JPEG_START.len();
    while let Some(&[0xff, marker, high, low]) = bytes.get(at..at + 4) {
        if marker == SCAN {
            return Some(at);
        }
        at += 2 + usize::from(u16::from_be_bytes([high, low]));
    }
    None
}

/// Whether a JPEG lacks its end marker. The decoder fills what is missing with grey and says
/// nothing, and a person with grey legs would be measured.
fn is_cut_jpeg(bytes: &[u8], first_scan: usize) -> bool {
    const END: [u8; 2] = [0xff, 0xd9];
    // From the first scan on: a thumbnail before it has an end marker of its own. From the back:
    // there it stands in a whole file.
    !bytes[first_scan..].windows(2).rev().any(|pair| pair == END)
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
