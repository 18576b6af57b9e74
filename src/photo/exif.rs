//! The few tags that are read from a photo's EXIF block: which way is up, and the focal length.
//!
//! Everything else in the block (place, time, device) is left where it is and never copied.

use std::io::Cursor;
use std::ops::RangeInclusive;
use std::str;

use exif::experimental::Writer;
use exif::{Context, Exif, Field, In, Reader, Tag, Value};
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
    /// The file states how large a pixel is.
    pub pixel_size: bool,
    /// To which side of the person the upright picture's right lies, where the file says so.
    pub right: Option<BodyDirection>,
    /// The file says that text is part of the picture: it may name the person.
    pub text_in_picture: bool,
}

/// What a TIFF's samples beyond its colours are, and the kind of them that dims the colours.
const EXTRA_SAMPLES: Tag = Tag(Context::Tiff, 338);
const ASSOCIATED_ALPHA: f64 = 1.0;

/// A direction as the person's own body has it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BodyDirection {
    Left,
    Right,
    Anterior,
    Posterior,
    Head,
    Foot,
}

impl BodyDirection {
    /// By the letters of DICOM (PS3.3, C.7.6.1.1.1).
    pub(super) fn from_letter(letter: char) -> Option<BodyDirection> {
        use BodyDirection::*;
        Some(match letter {
            'L' => Left,
            'R' => Right,
            'A' => Anterior,
            'P' => Posterior,
            'H' => Head,
            'F' => Foot,
            _ => return None,
        })
    }

    const fn letter(self) -> char {
        use BodyDirection::*;
        match self {
            Left => 'L',
            Right => 'R',
            Anterior => 'A',
            Posterior => 'P',
            Head => 'H',
            Foot => 'F',
        }
    }

    pub(super) fn opposite(self) -> BodyDirection {
        use BodyDirection::*;
        match self {
            Left => Right,
            Right => Left,
            Anterior => Posterior,
            Posterior => Anterior,
            Head => Foot,
            Foot => Head,
        }
    }
}

/// Focal lengths that are taken for one.
pub(super) const FOCAL_LENGTHS_MM: RangeInclusive<f64> = 8.0..=400.0;

pub(super) struct Tags {
    pub orientation: Orientation,
    /// A TIFF whose colours are stored already dimmed by how clear they are.
    pub premultiplied: bool,
    pub focal_35mm: Option<f64>,
    pub digital_zoom: Option<f64>,
    pub taken_size: Option<(u32, u32)>,
    /// What a DICOM file said, in one that was made from it.
    pub kept: Kept,
}

/// What a DICOM file says of its picture and no tag of EXIF does. A file made from it keeps it as the
/// picture's description, in DICOM's own words and no others.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Kept {
    pub right: Option<BodyDirection>,
    pub text_in_picture: bool,
}

const TEXT_IN_PICTURE: &str = "Burned In Annotation: YES";

impl Kept {
    fn words(self) -> Option<String> {
        let right = self
            .right
            .map(|right| format!("Patient Orientation: {}\\F", right.letter()));
        let text = self.text_in_picture.then(|| TEXT_IN_PICTURE.to_owned());
        let all: Vec<String> = right.into_iter().chain(text).collect();
        (!all.is_empty()).then(|| all.join("; "))
    }

    /// Of these very words; whatever else somebody described says nothing here.
    fn from_words(words: &str) -> Kept {
        let letters = words
            .strip_prefix("Patient Orientation: ")
            .and_then(|rest| rest.chars().next());
        let kept = Kept {
            right: letters.and_then(BodyDirection::from_letter),
            text_in_picture: words.ends_with(TEXT_IN_PICTURE),
        };
        match kept.words().is_some_and(|own| own == words) {
            true => kept,
            false => Kept::default(),
        }
    }

    fn read(block: &Exif) -> Kept {
        let field = block.get_field(Tag::ImageDescription, In::PRIMARY);
        let text = field.and_then(|field| match &field.value {
            Value::Ascii(texts) => str::from_utf8(texts.first()?).ok(),
            _ => None,
        });
        text.map_or_else(Kept::default, Kept::from_words)
    }

    fn field(self) -> Option<Field> {
        Some(Field {
            tag: Tag::ImageDescription,
            ifd_num: In::PRIMARY,
            value: Value::Ascii(vec![self.words()?.into_bytes()]),
        })
    }
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
                .filter(|mm| FOCAL_LENGTHS_MM.contains(mm)),
            digital_zoom: block
                .and_then(|exif| number(exif, Tag::DigitalZoomRatio))
                .filter(|ratio| *ratio > 0.0),
            taken_size: block.and_then(size),
            kept: block.map_or_else(Kept::default, Kept::read),
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
            right: self.kept.right,
            text_in_picture: self.kept.text_in_picture,
            ..CameraTags::default()
        }
    }
}

/// A block of its own with nothing but the tags that [`Tags::read`] reads, as the file has them;
/// `None` where it has none of them. A picture that was turned upright has no orientation any more.
pub(super) fn only_what_is_read(bytes: &[u8], is_upright: bool) -> Option<Vec<u8>> {
    let from = block(bytes)?;
    let orientation = (!is_upright).then_some(Tag::Orientation);
    let fields: Vec<Field> = orientation
        .into_iter()
        .chain([
            Tag::FocalLengthIn35mmFilm,
            Tag::DigitalZoomRatio,
            Tag::PixelXDimension,
            Tag::PixelYDimension,
        ])
        .filter_map(|tag| {
            Some(Field {
                tag,
                ifd_num: In::PRIMARY,
                value: one_number(&from.get_field(tag, In::PRIMARY)?.value)?,
            })
        })
        .chain(Kept::read(&from).field())
        .collect();
    written(&fields)
}

/// A block of its own with what a DICOM file says of its upright picture.
pub(super) fn of_dicom(tags: &CameraTags) -> Option<Vec<u8>> {
    let focal = tags.focal_35mm.map(|mm| Field {
        tag: Tag::FocalLengthIn35mmFilm,
        ifd_num: In::PRIMARY,
        value: Value::Short(vec![mm as u16]),
    });
    let kept = Kept {
        right: tags.right,
        text_in_picture: tags.text_in_picture,
    };
    let fields: Vec<Field> = focal.into_iter().chain(kept.field()).collect();
    written(&fields)
}

fn written(fields: &[Field]) -> Option<Vec<u8>> {
    if fields.is_empty() {
        return None;
    }
    let mut writer = Writer::new();
    fields.iter().for_each(|field| writer.push_field(field));
    let mut written = Cursor::new(Vec::new());
    writer.write(&mut written, false).ok()?;
    Some(written.into_inner())
}

/// The first number of a value by itself: a list may hold anything behind it.
fn one_number(value: &Value) -> Option<Value> {
    match value {
        Value::Rational(values) => Some(Value::Rational(vec![*values.first()?])),
        value => {
            let number = value.get_uint(0)?;
            Some(match u16::try_from(number) {
                Ok(short) => Value::Short(vec![short]),
                Err(_) => Value::Long(vec![number]),
            })
        }
    }
}

/// The file's block. Many cameras and programs write slightly wrong ones; what can be read is taken.
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
        Value::Rational(values) => values
            .first()
            .filter(|ratio| ratio.denom != 0)
            .map(|ratio| ratio.to_f64()),
        value => value.get_uint(0).map(f64::from),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_very_words_of_a_dicom_file_are_kept_of_a_description() {
        for right in [
            None,
            Some(BodyDirection::Left),
            Some(BodyDirection::Posterior),
        ] {
            for text_in_picture in [false, true] {
                let kept = Kept {
                    right,
                    text_in_picture,
                };
                let words = kept.words().unwrap_or_default();
                assert_eq!(Kept::from_words(&words), kept, "{words}");
            }
        }
        for words in [
            "Jane Roe, Burned In Annotation: YES",
            "Patient Orientation: L\\F of Jane Roe",
            "Patient Orientation: X\\F",
            "Patient Orientation: L\\F; Burned In Annotation: YES ",
            "Patient Orientation: LJane\\F",
        ] {
            assert_eq!(Kept::from_words(words), Kept::default(), "{words}");
        }
    }
}
