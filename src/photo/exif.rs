//! The few tags that are read from a photo's EXIF block: which way is up, and the focal length.
//!
//! Everything else in the block (place, time, device) is left where it is and never copied.

use std::io::Cursor;
use std::str;

use exif::{Context, Exif, In, Reader, Tag};
use image::metadata::Orientation;
use jiff::civil::Date;

/// What the photo says about the lens that took it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CameraTags {
    /// Focal length of a 35 mm camera with the same field of view, mm. `None` when the file does
    /// not say, or when the picture was visibly cropped afterwards, which breaks the rule.
    pub focal_35mm: Option<f64>,
    /// The file has a focal length, but the picture no longer has the shape the camera gave it.
    pub cropped: bool,
}

/// What a TIFF's samples beyond its colours are, and the kind of them that dims the colours.
const EXTRA_SAMPLES: Tag = Tag(Context::Tiff, 338);
const ASSOCIATED_ALPHA: f64 = 1.0;

pub(super) struct Tags {
    pub orientation: Orientation,
    /// A TIFF whose colours are stored already dimmed by how clear they are.
    pub premultiplied: bool,
    focal_35mm: Option<f64>,
    digital_zoom: Option<f64>,
    taken_size: Option<(u32, u32)>,
}

impl Tags {
    /// Reads the tags; a file without a readable EXIF block has none.
    pub fn read(bytes: &[u8]) -> Tags {
        let block = block(bytes);
        let block = block.as_ref();
        let orientation = block
            .and_then(|exif| number(exif, Tag::Orientation))
            .and_then(|value| Orientation::from_exif(value as u8))
            .unwrap_or(Orientation::NoTransforms);
        let size = |exif: &Exif| {
            let width = number(exif, Tag::PixelXDimension)?;
            let height = number(exif, Tag::PixelYDimension)?;
            (width >= 1.0 && height >= 1.0).then_some((width as u32, height as u32))
        };
        Tags {
            orientation,
            premultiplied: block
                .and_then(|exif| number(exif, EXTRA_SAMPLES))
                .is_some_and(|kind| kind == ASSOCIATED_ALPHA),
            focal_35mm: block
                .and_then(|exif| number(exif, Tag::FocalLengthIn35mmFilm))
                .filter(|mm| (8.0..=400.0).contains(mm)),
            digital_zoom: block
                .and_then(|exif| number(exif, Tag::DigitalZoomRatio))
                .filter(|ratio| *ratio > 0.0),
            taken_size: block.and_then(size),
        }
    }

    /// Width and height upright of a file of `width`×`height` pixels as stored.
    pub fn upright_size(&self, width: u32, height: u32) -> (u32, u32) {
        match self.orientation {
            Orientation::Rotate90
            | Orientation::Rotate270
            | Orientation::Rotate90FlipH
            | Orientation::Rotate270FlipH => (height, width),
            _ => (width, height),
        }
    }

    /// What lies beyond the stored picture's right and lower edge, where it lies in the upright
    /// one: before its left and its upper edge, as far as turning it brings it there.
    pub fn upright_lead(&self, beyond_right: u32, beyond_bottom: u32) -> (u32, u32) {
        match self.orientation {
            Orientation::NoTransforms | Orientation::Rotate90FlipH => (0, 0),
            Orientation::FlipHorizontal => (beyond_right, 0),
            Orientation::FlipVertical => (0, beyond_bottom),
            Orientation::Rotate180 => (beyond_right, beyond_bottom),
            Orientation::Rotate90 => (beyond_bottom, 0),
            Orientation::Rotate270 => (0, beyond_right),
            Orientation::Rotate270FlipH => (beyond_bottom, beyond_right),
        }
    }

    /// The camera's tags for a file of `width`×`height` pixels as stored.
    pub fn camera(&self, width: u32, height: u32) -> CameraTags {
        let shape = |w: u32, h: u32| f64::from(w.max(h)) / f64::from(w.min(h));
        let cropped = self
            .taken_size
            .is_some_and(|(w, h)| (shape(w, h) / shape(width, height) - 1.0).abs() > 0.02);
        // Makers disagree on whether the 35 mm figure already includes a digital zoom.
        let zoomed = self.digital_zoom.is_some_and(|ratio| ratio > 1.01);
        CameraTags {
            focal_35mm: self.focal_35mm.filter(|_| !cropped && !zoomed),
            cropped: self.focal_35mm.is_some() && (cropped || zoomed),
        }
    }
}

/// Many cameras and programs write slightly wrong blocks; what can be read is taken.
fn block(bytes: &[u8]) -> Option<Exif> {
    Reader::new()
        .continue_on_error(true)
        .read_from_container(&mut Cursor::new(bytes))
        .or_else(|error| error.distill_partial_result(|_| ()))
        .ok()
}

/// The day on which the picture was taken by the camera's clock; not that of a later change.
pub(super) fn day_taken(bytes: &[u8]) -> Option<Date> {
    let block = block(bytes)?;
    [Tag::DateTimeOriginal, Tag::DateTimeDigitized]
        .into_iter()
        .filter_map(|tag| block.get_field(tag, In::PRIMARY))
        .find_map(|field| match &field.value {
            exif::Value::Ascii(texts) => day(texts.first()?),
            _ => None,
        })
}

/// Of "2026:03:10 14:03:22", as EXIF writes it.
fn day(text: &[u8]) -> Option<Date> {
    let day = str::from_utf8(text.get(..10)?).ok()?;
    Date::strptime("%Y:%m:%d", day).ok()
}

fn number(exif: &Exif, tag: Tag) -> Option<f64> {
    let field = exif.get_field(tag, In::PRIMARY)?;
    match &field.value {
        exif::Value::Rational(values) => values
            .first()
            .filter(|ratio| ratio.denom != 0)
            .map(|ratio| ratio.to_f64()),
        value => value.get_uint(0).map(f64::from),
    }
}
