//! Photographs in DICOM files: PS3.10 files that hold one visible light photograph or secondary
//! capture, uncompressed, in run lengths (RLE) or as baseline JPEG.
//!
//! Of everything that such a file says, only the attributes of [`WANTED`] are read; names, dates,
//! codes and identifiers of the person are stepped over without looking at them.
//!
//! The tokens of the file come from a library, its pixels from here: the library's decoders take a
//! file's word for how much it holds, and give wrong colours for some of what is read here.

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::io::Cursor;

use dicom_core::Tag;
use dicom_dictionary_std::{tags, uids};
use dicom_parser::StatefulDecode;
use dicom_parser::dataset::LazyDataToken;
use dicom_parser::dataset::lazy_read::LazyDataSetReader;
use dicom_transfer_syntax_registry::entries::{
    EXPLICIT_VR_LITTLE_ENDIAN, IMPLICIT_VR_LITTLE_ENDIAN,
};
use image::metadata::Orientation;
use image::{DynamicImage, RgbImage};

use super::decode::{self, Decoded, Detail, Limits, PhotoError, PhotoErrorKind};
use super::exif::{BodyDirection, FOCAL_LENGTHS_MM, Kept, Tags};
use super::jpeg;

const MAGIC: &[u8] = b"DICM";
const PREAMBLE: usize = 128;

/// Photographs, and pictures taken over from elsewhere; others show no person as a camera does.
const PHOTOGRAPHS: [&str; 6] = [
    uids::VL_PHOTOGRAPHIC_IMAGE_STORAGE,
    uids::VL_ENDOSCOPIC_IMAGE_STORAGE,
    uids::SECONDARY_CAPTURE_IMAGE_STORAGE,
    uids::MULTI_FRAME_GRAYSCALE_BYTE_SECONDARY_CAPTURE_IMAGE_STORAGE,
    uids::MULTI_FRAME_GRAYSCALE_WORD_SECONDARY_CAPTURE_IMAGE_STORAGE,
    uids::MULTI_FRAME_TRUE_COLOR_SECONDARY_CAPTURE_IMAGE_STORAGE,
];

/// All that is read of a file besides its pixels.
const WANTED: [Tag; 28] = [
    tags::SOP_CLASS_UID,
    tags::FOCAL_LENGTH_IN35MM_FILM,
    tags::IMAGER_PIXEL_SPACING,
    tags::NOMINAL_SCANNED_PIXEL_SPACING,
    tags::PATIENT_ORIENTATION,
    tags::BURNED_IN_ANNOTATION,
    tags::SAMPLES_PER_PIXEL,
    tags::PHOTOMETRIC_INTERPRETATION,
    tags::PLANAR_CONFIGURATION,
    tags::NUMBER_OF_FRAMES,
    tags::ROWS,
    tags::COLUMNS,
    tags::PIXEL_SPACING,
    tags::BITS_ALLOCATED,
    tags::BITS_STORED,
    tags::HIGH_BIT,
    tags::PIXEL_REPRESENTATION,
    tags::WINDOW_CENTER,
    tags::WINDOW_WIDTH,
    tags::RESCALE_INTERCEPT,
    tags::RESCALE_SLOPE,
    tags::RED_PALETTE_COLOR_LOOKUP_TABLE_DESCRIPTOR,
    tags::GREEN_PALETTE_COLOR_LOOKUP_TABLE_DESCRIPTOR,
    tags::BLUE_PALETTE_COLOR_LOOKUP_TABLE_DESCRIPTOR,
    tags::RED_PALETTE_COLOR_LOOKUP_TABLE_DATA,
    tags::GREEN_PALETTE_COLOR_LOOKUP_TABLE_DATA,
    tags::BLUE_PALETTE_COLOR_LOOKUP_TABLE_DATA,
    // Stands in the file's head.
    tags::TRANSFER_SYNTAX_UID,
];

/// No value that is wanted is longer: a palette of 65536 colours.
const LONGEST_VALUE: u32 = 2 << 16;

pub(super) fn is_dicom(bytes: &[u8]) -> bool {
    bytes
        .get(PREAMBLE..)
        .is_some_and(|rest| rest.starts_with(MAGIC))
}

/// The picture of a file for which [`is_dicom`] holds.
pub(super) fn decode(bytes: &[u8], limits: Limits, detail: Detail) -> Result<Decoded, PhotoError> {
    let file = File::read(bytes)?;
    let frame = Frame::of(&file.values)?;
    decode::refuse_size(frame.columns, frame.rows, limits)?;
    let (orientation, right) = upright(&file.values);
    let tags = Tags {
        orientation,
        premultiplied: false,
        focal_35mm: file
            .values
            .number(tags::FOCAL_LENGTH_IN35MM_FILM)
            // A whole number, by its type.
            .map(f64::round)
            .filter(|mm| FOCAL_LENGTHS_MM.contains(mm)),
        digital_zoom: None,
        taken_size: None,
        kept: Kept {
            right,
            text_in_picture: file.values.text(tags::BURNED_IN_ANNOTATION).as_deref() == Some("YES"),
        },
    };
    let mut decoded = match file.coding {
        Coding::Jpeg => {
            let jpeg = file.pixels.concat();
            if !jpeg.starts_with(&jpeg::START) {
                return Err(PhotoErrorKind::Damaged.into());
            }
            // Whatever tags its maker left inside are no part of the DICOM file, and programs that
            // show such files go by none.
            let decoded = decode::picture_file(&jpeg, limits, detail, Some(tags))?;
            if decoded.size != frame.upright_size(orientation) {
                return Err(PhotoErrorKind::Damaged.into());
            }
            match frame.colours {
                Colours::InvertedGrey => Decoded {
                    picture: inverted(decoded.picture),
                    ..decoded
                },
                _ => decoded,
            }
        }
        Coding::Plain | Coding::RunLengths => {
            let samples = match file.coding {
                Coding::RunLengths => Cow::Owned(frame.unpacked_samples(&file.pixels)?),
                _ => Cow::Borrowed(file.pixels[0].as_slice()),
            };
            let planar = frame.planar || matches!(file.coding, Coding::RunLengths);
            let picture = DynamicImage::ImageRgb8(frame.picture(&samples, planar, &file.values)?);
            decode::turned(picture, (frame.columns, frame.rows), 0, &tags)
        }
    };
    decoded.tags.pixel_size = [
        tags::PIXEL_SPACING,
        tags::IMAGER_PIXEL_SPACING,
        tags::NOMINAL_SCANNED_PIXEL_SPACING,
    ]
    .iter()
    .any(|tag| file.values.text(*tag).is_some());
    Ok(decoded)
}

fn inverted(mut picture: RgbImage) -> RgbImage {
    image::imageops::invert(&mut picture);
    picture
}

/// How the pixels are stored.
#[derive(Clone, Copy)]
enum Coding {
    Plain,
    RunLengths,
    Jpeg,
}

/// The parts of a file that matter.
struct File {
    coding: Coding,
    values: Values,
    /// The fragments of the one frame; pixels that are not encapsulated are one fragment.
    pixels: Vec<Vec<u8>>,
}

impl File {
    fn read(bytes: &[u8]) -> Result<File, PhotoError> {
        let (head, rest) = parts(bytes).ok_or(PhotoErrorKind::Damaged)?;
        let explicit = EXPLICIT_VR_LITTLE_ENDIAN.erased();
        let (head, _) = read(head, &explicit)?;
        let (coding, syntax) = match head.text(tags::TRANSFER_SYNTAX_UID).as_deref() {
            Some(uids::IMPLICIT_VR_LITTLE_ENDIAN) => {
                (Coding::Plain, IMPLICIT_VR_LITTLE_ENDIAN.erased())
            }
            Some(uids::EXPLICIT_VR_LITTLE_ENDIAN) => (Coding::Plain, explicit),
            Some(uids::RLE_LOSSLESS) => (Coding::RunLengths, explicit),
            Some(uids::JPEG_BASELINE8_BIT) => (Coding::Jpeg, explicit),
            Some(_) => return Err(PhotoErrorKind::DicomCoding.into()),
            None => return Err(PhotoErrorKind::Damaged.into()),
        };
        let (values, pixels) = read(rest, &syntax)?;
        let class = values.text(tags::SOP_CLASS_UID);
        if !class.is_some_and(|class| PHOTOGRAPHS.contains(&class.as_str())) {
            return Err(PhotoErrorKind::NoPhotograph.into());
        }
        let frames = values.number(tags::NUMBER_OF_FRAMES).unwrap_or(1.0);
        if frames != 1.0 {
            return Err(PhotoErrorKind::SeveralPictures.into());
        }
        match pixels.is_empty() {
            true => Err(PhotoErrorKind::Damaged.into()),
            false => Ok(File {
                coding,
                values,
                pixels,
            }),
        }
    }
}

/// The file's head, whose length its first element tells, and the data set after it.
fn parts(bytes: &[u8]) -> Option<(&[u8], &[u8])> {
    // Tag (0002,0000), UL, four bytes long.
    const FIRST: [u8; 8] = [2, 0, 0, 0, b'U', b'L', 4, 0];
    let head = &bytes[PREAMBLE + MAGIC.len()..];
    let length = head.strip_prefix(&FIRST)?.first_chunk()?;
    let end = (FIRST.len() + length.len()).checked_add(u32::from_le_bytes(*length) as usize)?;
    head.split_at_checked(end)
}

/// The wanted values of a data set as far as its pixels, and these, fragment by fragment.
fn read(
    bytes: &[u8],
    syntax: &dicom_encoding::TransferSyntax,
) -> Result<(Values, Vec<Vec<u8>>), PhotoError> {
    let damaged = || PhotoError::from(PhotoErrorKind::Damaged);
    let mut reader =
        LazyDataSetReader::new_with_ts(Cursor::new(bytes), syntax).map_err(|_| damaged())?;
    let mut values = Values::default();
    let mut fragments = Vec::new();
    // How many sequences and items are open.
    let mut depth = 0u32;
    let mut in_pixels = false;
    let mut first_item = true;
    while let Some(token) = reader.advance() {
        match token.map_err(|_| damaged())? {
            LazyDataToken::SequenceStart { .. } | LazyDataToken::ItemStart { .. } => depth += 1,
            LazyDataToken::PixelSequenceStart => {
                in_pixels = depth == 0;
                depth += 1;
            }
            // The library expects no end without a beginning.
            LazyDataToken::SequenceEnd | LazyDataToken::ItemEnd => {
                depth = depth.checked_sub(1).ok_or_else(damaged)?;
                if in_pixels && depth == 1 {
                    first_item = false;
                }
                if in_pixels && depth == 0 {
                    break;
                }
            }
            LazyDataToken::LazyValue { header, decoder } => {
                let length = header.len.get().ok_or_else(damaged)?;
                let is_pixels = depth == 0 && header.tag == tags::PIXEL_DATA;
                let is_wanted =
                    depth == 0 && WANTED.contains(&header.tag) && length <= LONGEST_VALUE;
                if !is_pixels && !is_wanted {
                    decoder.skip_bytes(length).map_err(|_| damaged())?;
                    continue;
                }
                let value = bytes_of(decoder, length).ok_or_else(damaged)?;
                if is_pixels {
                    fragments.push(value);
                    break;
                }
                values.0.insert(header.tag, value);
            }
            LazyDataToken::LazyItemValue { len, decoder } => {
                // The first item is a table of offsets, which one frame has no need of.
                match in_pixels && !first_item {
                    true => fragments.push(bytes_of(decoder, len).ok_or_else(damaged)?),
                    false => decoder.skip_bytes(len).map_err(|_| damaged())?,
                }
            }
            _ => {}
        }
    }
    Ok((values, fragments))
}

/// So many bytes; `None` where the file ends before.
fn bytes_of(decoder: &mut impl StatefulDecode, length: u32) -> Option<Vec<u8>> {
    let mut bytes = Vec::new();
    decoder.read_to_vec(length, &mut bytes).ok()?;
    (bytes.len() == length as usize).then_some(bytes)
}

/// Values of attributes, as they are stored.
#[derive(Default)]
struct Values(BTreeMap<Tag, Vec<u8>>);

impl Values {
    /// Without what it is padded with.
    fn text(&self, tag: Tag) -> Option<String> {
        let text = std::str::from_utf8(self.0.get(&tag)?).ok()?;
        let text = text.trim_matches([' ', '\0']);
        (!text.is_empty()).then(|| text.to_owned())
    }

    /// The first number of one or several in decimals.
    fn number(&self, tag: Tag) -> Option<f64> {
        let text = self.text(tag)?;
        let first = text.split('\\').next()?.trim().parse::<f64>().ok()?;
        first.is_finite().then_some(first)
    }

    fn words(&self, tag: Tag) -> Option<Vec<u16>> {
        self.0.get(&tag).map(|bytes| words(bytes))
    }

    fn word(&self, tag: Tag) -> Option<u16> {
        self.words(tag)?.first().copied()
    }
}

fn words(bytes: &[u8]) -> Vec<u16> {
    let (words, _) = bytes.as_chunks();
    words.iter().map(|word| u16::from_le_bytes(*word)).collect()
}

/// What the samples of a pixel mean.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Colours {
    Grey,
    /// 0 is white.
    InvertedGrey,
    Palette,
    Rgb,
    /// Luminance and two differences of colour, over the full range.
    Ybr,
    /// The same, two pixels side by side with one pair of differences.
    Ybr422,
}

/// How the pixels of the one frame are laid out.
struct Frame {
    columns: u32,
    rows: u32,
    samples: usize,
    /// Bytes of a sample.
    width: usize,
    bits: u16,
    high_bit: u16,
    signed: bool,
    /// All samples of one kind come before those of the next.
    planar: bool,
    colours: Colours,
}

impl Frame {
    fn of(values: &Values) -> Result<Frame, PhotoError> {
        let colours = match values.text(tags::PHOTOMETRIC_INTERPRETATION).as_deref() {
            Some("MONOCHROME2") => Colours::Grey,
            Some("MONOCHROME1") => Colours::InvertedGrey,
            Some("PALETTE COLOR") => Colours::Palette,
            Some("RGB") => Colours::Rgb,
            Some("YBR_FULL") => Colours::Ybr,
            Some("YBR_FULL_422") => Colours::Ybr422,
            Some(_) => return Err(PhotoErrorKind::DicomCoding.into()),
            None => return Err(PhotoErrorKind::Damaged.into()),
        };
        let word = |tag| values.word(tag).ok_or(PhotoErrorKind::Damaged);
        let (allocated, bits) = (word(tags::BITS_ALLOCATED)?, word(tags::BITS_STORED)?);
        let high_bit = values.word(tags::HIGH_BIT).unwrap_or(bits.max(1) - 1);
        let samples = word(tags::SAMPLES_PER_PIXEL)?;
        let expected = match colours {
            Colours::Grey | Colours::InvertedGrey | Colours::Palette => 1,
            Colours::Rgb | Colours::Ybr | Colours::Ybr422 => 3,
        };
        let fits = bits >= 1 && bits <= high_bit + 1 && high_bit < allocated;
        if samples != expected || !fits {
            return Err(PhotoErrorKind::Damaged.into());
        }
        let is_odd = matches!(colours, Colours::Ybr | Colours::Ybr422) && allocated != 8;
        if !matches!(allocated, 8 | 16) || is_odd {
            return Err(PhotoErrorKind::DicomCoding.into());
        }
        Ok(Frame {
            columns: word(tags::COLUMNS)?.into(),
            rows: word(tags::ROWS)?.into(),
            samples: samples.into(),
            width: usize::from(allocated / 8),
            bits,
            high_bit,
            signed: values.word(tags::PIXEL_REPRESENTATION) == Some(1),
            planar: values.word(tags::PLANAR_CONFIGURATION) == Some(1),
            colours,
        })
    }

    fn pixels(&self) -> usize {
        self.columns as usize * self.rows as usize
    }

    fn upright_size(&self, orientation: Orientation) -> (u32, u32) {
        match orientation {
            Orientation::Rotate90 | Orientation::Rotate270 => (self.rows, self.columns),
            _ => (self.columns, self.rows),
        }
    }

    /// The samples out of run lengths, each kind by itself, low bytes first (PS3.5, annex G).
    fn unpacked_samples(&self, fragments: &[Vec<u8>]) -> Result<Vec<u8>, PhotoError> {
        const OFFSETS: usize = 16;
        let [fragment] = fragments else {
            return Err(PhotoErrorKind::Damaged.into());
        };
        let planes = self.samples * self.width;
        let (head, _) = fragment.as_chunks::<4>();
        let head: Vec<usize> = head
            .iter()
            .take(OFFSETS)
            .map(|word| u32::from_le_bytes(*word) as usize)
            .collect();
        if head.len() < OFFSETS || head[0] != planes {
            return Err(PhotoErrorKind::Damaged.into());
        }
        // One colour's share in a frame of 4:2:2 is no plane of this size.
        if self.colours == Colours::Ybr422 {
            return Err(PhotoErrorKind::DicomCoding.into());
        }
        let pixels = self.pixels();
        // Two bytes tell 128 at most: a longer frame than that was never in the file.
        if pixels * planes > 64 * fragment.len() {
            return Err(PhotoErrorKind::Damaged.into());
        }
        let mut samples = vec![0; pixels * planes];
        for plane in 0..planes {
            let from = head[1 + plane];
            let to = match plane + 1 < planes {
                true => head[2 + plane],
                false => fragment.len(),
            };
            let packed = fragment.get(from..to).ok_or(PhotoErrorKind::Damaged)?;
            let bytes = unpacked(packed, pixels).ok_or(PhotoErrorKind::Damaged)?;
            // The high bytes of a sample come first in the file.
            let (sample, byte) = (plane / self.width, self.width - 1 - plane % self.width);
            let plane = &mut samples[sample * pixels * self.width..][..pixels * self.width];
            for (value, unpacked) in plane.chunks_exact_mut(self.width).zip(bytes) {
                value[byte] = unpacked;
            }
        }
        Ok(samples)
    }

    /// The picture that uncompressed samples make.
    fn picture(
        &self,
        samples: &[u8],
        planar: bool,
        values: &Values,
    ) -> Result<RgbImage, PhotoError> {
        let pixels = self.pixels();
        let needed = match self.colours {
            // Two luminances and two differences for two pixels.
            Colours::Ybr422 if self.columns.is_multiple_of(2) => 2 * pixels,
            Colours::Ybr422 => return Err(PhotoErrorKind::Damaged.into()),
            _ => pixels * self.samples * self.width,
        };
        if samples.len() < needed {
            return Err(PhotoErrorKind::Damaged.into());
        }
        let raw = |index: usize| match self.width {
            1 => usize::from(samples[index]),
            _ => usize::from(u16::from_le_bytes([
                samples[2 * index],
                samples[2 * index + 1],
            ])),
        };
        let place = |pixel: usize, sample: usize| match planar {
            true => sample * pixels + pixel,
            false => pixel * self.samples + sample,
        };
        let mut bytes = Vec::with_capacity(3 * pixels);
        match self.colours {
            Colours::Grey | Colours::InvertedGrey => {
                let levels = self.levels(Some(values));
                bytes.extend((0..pixels).flat_map(|pixel| [levels[raw(pixel)]; 3]));
            }
            Colours::Palette => {
                let palette = self.palette(values)?;
                bytes.extend((0..pixels).flat_map(|pixel| palette[raw(pixel)]));
            }
            Colours::Rgb => {
                let levels = self.levels(None);
                bytes.extend(
                    (0..pixels).flat_map(|pixel| {
                        [0, 1, 2].map(|sample| levels[raw(place(pixel, sample))])
                    }),
                );
            }
            Colours::Ybr => bytes.extend(
                (0..pixels)
                    .flat_map(|pixel| rgb([0, 1, 2].map(|sample| samples[place(pixel, sample)]))),
            ),
            Colours::Ybr422 => bytes.extend(samples[..needed].as_chunks().0.iter().flat_map(
                |[first, second, blue, red]| {
                    let pair = [[*first, *blue, *red], [*second, *blue, *red]].map(rgb);
                    pair.into_iter().flatten()
                },
            )),
        }
        RgbImage::from_raw(self.columns, self.rows, bytes)
            .ok_or_else(|| PhotoErrorKind::Damaged.into())
    }

    /// What a sample as it is stored counts, for every one there can be.
    fn values(&self) -> impl Iterator<Item = i32> {
        let (bits, shift) = (u32::from(self.bits), self.high_bit + 1 - self.bits);
        let signed = self.signed;
        (0..1i32 << (8 * self.width)).map(move |raw| {
            let value = (raw >> shift) & ((1 << bits) - 1);
            match signed && value >> (bits - 1) == 1 {
                true => value - (1 << bits),
                false => value,
            }
        })
    }

    /// How bright every sample is, from 0 to 255: through the window that the file states, or else
    /// over the whole range. Other tables for display are left out: what they change is how bright
    /// things are, not where.
    fn levels(&self, values: Option<&Values>) -> Vec<u8> {
        let number = |tag| values.and_then(|values| values.number(tag));
        let window = number(tags::WINDOW_CENTER)
            .zip(number(tags::WINDOW_WIDTH).filter(|width| *width > 1.0));
        let slope = number(tags::RESCALE_SLOPE).unwrap_or(1.0);
        let intercept = number(tags::RESCALE_INTERCEPT).unwrap_or(0.0);
        let range = f64::from((1u32 << self.bits) - 1);
        let lowest = match self.signed {
            true => -f64::from(1u32 << (self.bits - 1)),
            false => 0.0,
        };
        let inverted = self.colours == Colours::InvertedGrey;
        self.values()
            .map(|value| {
                let part = match window {
                    // PS3.3, C.11.2.1.2.1.
                    Some((centre, width)) => {
                        let value = f64::from(value) * slope + intercept;
                        (value - (centre - 0.5)) / (width - 1.0) + 0.5
                    }
                    None => (f64::from(value) - lowest) / range,
                };
                let level = (255.0 * part).round() as u8;
                if inverted { 255 - level } else { level }
            })
            .collect()
    }

    /// The colour of every sample (PS3.3, C.7.6.3.1.5 and 6).
    fn palette(&self, values: &Values) -> Result<Vec<[u8; 3]>, PhotoError> {
        let tables = [
            (
                tags::RED_PALETTE_COLOR_LOOKUP_TABLE_DESCRIPTOR,
                tags::RED_PALETTE_COLOR_LOOKUP_TABLE_DATA,
            ),
            (
                tags::GREEN_PALETTE_COLOR_LOOKUP_TABLE_DESCRIPTOR,
                tags::GREEN_PALETTE_COLOR_LOOKUP_TABLE_DATA,
            ),
            (
                tags::BLUE_PALETTE_COLOR_LOOKUP_TABLE_DESCRIPTOR,
                tags::BLUE_PALETTE_COLOR_LOOKUP_TABLE_DATA,
            ),
        ];
        let mut palette = vec![[0; 3]; 1 << (8 * self.width)];
        for (channel, (descriptor, data)) in tables.into_iter().enumerate() {
            // Palettes in segments have their data under other tags.
            let data = values.0.get(&data).ok_or(PhotoErrorKind::DicomCoding)?;
            let descriptor = values.words(descriptor).ok_or(PhotoErrorKind::Damaged)?;
            let [entries, first, bits] = descriptor[..] else {
                return Err(PhotoErrorKind::Damaged.into());
            };
            // Of 65536 entries the number does not fit.
            let entries = if entries == 0 {
                1 << 16
            } else {
                entries.into()
            };
            let first = match self.signed {
                true => i32::from(first as i16),
                false => i32::from(first),
            };
            let table: Vec<u8> = match bits {
                8 if data.len() < 2 * entries => data.clone(),
                8 => words(data).into_iter().map(|word| word as u8).collect(),
                _ => words(data)
                    .into_iter()
                    .map(|word| (word >> 8) as u8)
                    .collect(),
            };
            if table.len() < entries {
                return Err(PhotoErrorKind::Damaged.into());
            }
            for (colour, value) in palette.iter_mut().zip(self.values()) {
                // Values outside of the table take the colour of its end.
                let entry = (value - first).clamp(0, entries as i32 - 1);
                colour[channel] = table[entry as usize];
            }
        }
        Ok(palette)
    }
}

/// So many bytes out of packed ones: runs of the same byte, and bytes as they are (PS3.5, G.3.1).
fn unpacked(packed: &[u8], count: usize) -> Option<Vec<u8>> {
    let mut bytes = Vec::with_capacity(count);
    let mut rest = packed;
    while bytes.len() < count {
        let (control, after) = rest.split_first()?;
        rest = match *control as i8 {
            length @ 0.. => {
                let (literal, after) = after.split_at_checked(length as usize + 1)?;
                bytes.extend_from_slice(literal);
                after
            }
            i8::MIN => after,
            length => {
                let (repeated, after) = after.split_first()?;
                let times = 1 + usize::from(length.unsigned_abs());
                bytes.resize(bytes.len() + times, *repeated);
                after
            }
        };
    }
    bytes.truncate(count);
    Some(bytes)
}

/// Full range luminance and differences of colour, by the weights of ITU-R BT.601, as RGB
/// (PS3.3, C.7.6.3.1.2).
fn rgb([y, blue, red]: [u8; 3]) -> [u8; 3] {
    let (y, blue, red) = (
        f32::from(y),
        f32::from(blue) - 128.0,
        f32::from(red) - 128.0,
    );
    [
        y + 1.402 * red,
        y - 0.344_136 * blue - 0.714_136 * red,
        y + 1.772 * blue,
    ]
    .map(|level| level.round() as u8)
}

/// How the picture is turned upright, and to which side of the person its right then lies, by
/// Patient Orientation (0020,0020): where rows run to the right, and columns downwards.
///
/// A picture is turned where exactly one of the two runs along the body, and left as it is where
/// the file says nothing or nothing clear. It is never mirrored: what rows and columns say of a
/// mirrored picture is what they say of one taken from the other side of the person, so that only
/// what is seen in it can tell the two apart.
fn upright(values: &Values) -> (Orientation, Option<BodyDirection>) {
    use BodyDirection::{Foot, Head};
    let as_it_is = (Orientation::NoTransforms, None);
    let Some(text) = values.text(tags::PATIENT_ORIENTATION) else {
        return as_it_is;
    };
    let directions: Vec<Option<BodyDirection>> = text.split('\\').map(main_direction).collect();
    let [Some(row), Some(column)] = directions[..] else {
        return as_it_is;
    };
    match (row, column) {
        (Head | Foot, Head | Foot) => as_it_is,
        (across, Foot) => (Orientation::NoTransforms, Some(across)),
        (across, Head) => (Orientation::Rotate180, Some(across.opposite())),
        (Foot, across) => (Orientation::Rotate90, Some(across.opposite())),
        (Head, across) => (Orientation::Rotate270, Some(across)),
        _ => as_it_is,
    }
}

/// The direction that comes first of those that one value names, such as "L" of "LF"; the words for
/// animals are none.
fn main_direction(value: &str) -> Option<BodyDirection> {
    let letters = value.trim();
    let directions: Vec<BodyDirection> = letters
        .chars()
        .map(BodyDirection::from_letter)
        .collect::<Option<_>>()?;
    directions.first().copied()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn runs_and_bytes_as_they_are_come_out() {
        // Two bytes as they are, four times 7, nothing, one byte as it is.
        let packed = [1, 5, 6, (-3i8) as u8, 7, i8::MIN as u8, 0, 9];
        assert_eq!(unpacked(&packed, 7), Some(vec![5, 6, 7, 7, 7, 7, 9]));
        assert_eq!(unpacked(&packed, 4), Some(vec![5, 6, 7, 7]));
        assert_eq!(unpacked(&packed, 8), None);
        assert_eq!(unpacked(&[5, 1], 6), None);
    }

    #[test]
    fn a_picture_is_turned_where_the_file_says_clearly_how() {
        use BodyDirection::{Anterior, Left, Posterior, Right};
        for (text, expected) in [
            ("L\\F", (Orientation::NoTransforms, Some(Left))),
            ("P\\F", (Orientation::NoTransforms, Some(Posterior))),
            ("LF\\FR", (Orientation::NoTransforms, Some(Left))),
            ("R\\H", (Orientation::Rotate180, Some(Left))),
            ("F\\R", (Orientation::Rotate90, Some(Left))),
            ("H\\L ", (Orientation::Rotate270, Some(Left))),
            ("H\\A", (Orientation::Rotate270, Some(Anterior))),
            ("R\\F", (Orientation::NoTransforms, Some(Right))),
            ("", (Orientation::NoTransforms, None)),
            ("L", (Orientation::NoTransforms, None)),
            ("L\\P", (Orientation::NoTransforms, None)),
            ("H\\F", (Orientation::NoTransforms, None)),
            ("LE\\CD", (Orientation::NoTransforms, None)),
            ("L\\F\\F", (Orientation::NoTransforms, None)),
        ] {
            let mut values = Values::default();
            values
                .0
                .insert(tags::PATIENT_ORIENTATION, text.as_bytes().to_vec());
            assert_eq!(upright(&values), expected, "{text}");
        }
    }
}
