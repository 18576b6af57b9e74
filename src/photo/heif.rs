//! HEIC and AVIF, as phones save photos, by the system's libheif.

use image::{DynamicImage, RgbImage, RgbaImage};
use libheif_rs::{ColorSpace, HeifContext, HeifError, HeifErrorCode, LibHeif, RgbChroma};

use super::decode::{Decoded, Limits, PhotoError, PhotoErrorKind, over_white, refuse_size};
use super::exif::Tags;

pub(super) fn decode(
    bytes: &[u8],
    format: &'static str,
    limits: Limits,
) -> Result<Decoded, PhotoError> {
    let in_our_words = |error| in_our_words(error, format);
    let context = HeifContext::read_from_bytes(bytes).map_err(in_our_words)?;
    let handle = context.primary_image_handle().map_err(in_our_words)?;
    // As it is stored, and as it is shown: either may be the larger one.
    let stored = [handle.ispe_width(), handle.ispe_height()].map(i32::unsigned_abs);
    for [width, height] in [stored, [handle.width(), handle.height()]] {
        refuse_size(width, height, limits)?;
    }
    let clear = handle.has_alpha_channel();
    let (chroma, channels) = match clear {
        true => (RgbChroma::Rgba, 4),
        false => (RgbChroma::Rgb, 3),
    };
    let image = LibHeif::new()
        .decode(&handle, ColorSpace::Rgb(chroma), None)
        .map_err(in_our_words)?;
    let plane = image.planes().interleaved.ok_or(PhotoErrorKind::Damaged)?;
    let (width, height) = (plane.width, plane.height);
    let row = width as usize * channels;
    let rows = plane.data.chunks(plane.stride).take(height as usize);
    let pixels = rows.flat_map(|padded| padded.iter().take(row)).copied();
    let image = match clear {
        true => RgbaImage::from_raw(width, height, pixels.collect()).map(DynamicImage::ImageRgba8),
        false => RgbImage::from_raw(width, height, pixels.collect()).map(DynamicImage::ImageRgb8),
    };
    Ok(Decoded {
        picture: over_white(
            image.ok_or(PhotoErrorKind::Damaged)?,
            handle.is_premultiplied_alpha(),
        ),
        // The library has turned the picture as the file says. The EXIF block says it once more, and
        // is not to be asked.
        size: (width, height),
        halvings: 0,
        lead: (0, 0),
        tags: Tags::read(bytes).camera(width, height),
    })
}

fn in_our_words(error: HeifError, format: &'static str) -> PhotoError {
    match error.code {
        HeifErrorCode::UnsupportedFileType
        | HeifErrorCode::UnsupportedFeature
        | HeifErrorCode::PluginLoadingError => PhotoErrorKind::Unsupported { format },
        HeifErrorCode::MemoryAllocationError => PhotoErrorKind::TooMuchMemory,
        _ => PhotoErrorKind::Damaged,
    }
    .into()
}
