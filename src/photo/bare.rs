//! A photo's file without what the camera wrote into it besides the picture.
//!
//! Of a JPEG, PNG or WebP the parts that hold no pixels are left out and the others copied as they
//! are: nothing is compressed anew. What can't be taken apart like that is written anew as PNG,
//! which loses nothing. Either way the result is decoded and compared with the original.
//!
//! The colour profile stays, so that the photo looks as it did; a file written anew has none.

use std::mem;

use image::codecs::png::PngEncoder;
use image::{ExtendedColorType, ImageEncoder, RgbImage};

use super::decode::{self, Decoded, Detail, Limits, PhotoError, PhotoErrorKind};
use super::dicom;
use super::exif;
use super::file;
use super::jpeg;

/// The bytes of a photo that say nothing but the picture, which way is up, and the lens: no place,
/// time, device, comment, thumbnail or further picture.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Bare {
    bytes: Vec<u8>,
    is_written_anew: bool,
}

impl Bare {
    /// Takes everything else out of a photo's file. It measures the same as the original does, and the
    /// same is to be said of it, but for a pixel size in a DICOM file, which is not used.
    pub fn of(bytes: &[u8], limits: Limits) -> Result<Bare, PhotoError> {
        let whole = |bytes: &[u8]| decode::decode(bytes, limits, Detail::Whole);
        let mut original = whole(bytes)?;
        let is_dicom = dicom::is_dicom(bytes);
        original.tags.pixel_size &= !is_dicom;
        let taken_apart = jpeg(bytes).or_else(|| png(bytes)).or_else(|| webp(bytes));
        if let Some(bytes) = taken_apart
            && whole(&bytes).is_ok_and(|bare| is_same(&bare, &original))
        {
            return Ok(Bare {
                bytes,
                is_written_anew: false,
            });
        }
        let block = match is_dicom {
            true => exif::of_dicom(&original.tags),
            false => exif::only_what_is_read(before_scan(bytes), true),
        };
        let bytes = anew(&original.picture, block.as_deref())?;
        // A picture that compresses badly may now be larger than what is read.
        if bytes.len() as u64 > limits.bytes {
            return Err(PhotoErrorKind::GrowsTooLarge {
                bytes: bytes.len() as u64,
                limit: limits.bytes,
            }
            .into());
        }
        if !is_same(&whole(&bytes)?, &original) {
            return Err(PhotoErrorKind::Damaged.into());
        }
        Ok(Bare {
            bytes,
            is_written_anew: true,
        })
    }

    pub fn bytes(&self) -> &[u8] {
        &self.bytes
    }

    /// What the file is called then: one that was written anew has another ending, and a name is one
    /// that every usual system can hold.
    pub fn name(&self, name: &str) -> String {
        let name = file::portable(name);
        match self.is_written_anew && !name.to_lowercase().ends_with(".png") {
            true => format!("{name}.png"),
            false => name,
        }
    }
}

fn is_same(a: &Decoded, b: &Decoded) -> bool {
    a.tags == b.tags && a.size == b.size && a.picture == b.picture
}

/// Where a JPEG's tags are looked for.
fn before_scan(bytes: &[u8]) -> &[u8] {
    &bytes[..jpeg::first_scan(bytes).unwrap_or(bytes.len())]
}

fn anew(picture: &RgbImage, block: Option<&[u8]>) -> Result<Vec<u8>, PhotoError> {
    let mut bytes = Vec::new();
    PngEncoder::new(&mut bytes)
        .write_image(
            picture.as_raw(),
            picture.width(),
            picture.height(),
            ExtendedColorType::Rgb8,
        )
        .map_err(|_| PhotoError::from(PhotoErrorKind::TooMuchMemory))?;
    match block {
        Some(block) => Ok(png_with(&bytes, Some(block)).expect("a PNG that was just written")),
        None => Ok(bytes),
    }
}

/// A JPEG (ITU T.81) with the segments that its picture is decoded from. `None` for other files,
/// and for a shape that this walk does not know.
fn jpeg(bytes: &[u8]) -> Option<Vec<u8>> {
    const APP0: u8 = 0xe0;
    const APP2: u8 = 0xe2;
    const APP14: u8 = 0xee;
    const SCAN: u8 = 0xda;
    const END: u8 = 0xd9;
    let mut rest = bytes.strip_prefix(&[0xff, 0xd8])?;
    let mut head = vec![0xff, 0xd8];
    let mut body = Vec::with_capacity(bytes.len());
    loop {
        let marker = match *rest {
            [0xff, 0xff, ..] => {
                rest = &rest[1..];
                continue;
            }
            [0xff, marker, ..] => marker,
            _ => return None,
        };
        if marker == END {
            break;
        }
        let &[high, low] = rest.get(2..4)?.first_chunk()?;
        let length = 2 + usize::from(u16::from_be_bytes([high, low]));
        let (segment, after) = rest.split_at_checked(length.max(4))?;
        rest = after;
        match marker {
            // Says that the colours are YCbCr; behind its first 16 bytes comes a thumbnail.
            APP0 => {
                if segment[4..].starts_with(b"JFIF\0") && segment.len() >= 18 && head.len() == 2 {
                    head.extend([0xff, APP0, 0, 16]);
                    head.extend(&segment[4..16]);
                    head.extend([0, 0]);
                }
            }
            // Says which colours they are where they are others.
            APP14 => {
                if segment[4..].starts_with(b"Adobe") && segment.len() >= 16 {
                    body.extend([0xff, APP14, 0, 14]);
                    body.extend(&segment[4..16]);
                }
            }
            APP2 => {
                if segment[4..].starts_with(b"ICC_PROFILE\0") {
                    body.extend(segment);
                }
            }
            // Tables, frames and the like; restart intervals.
            0xc0..=0xc7 | 0xc9..=0xcf | 0xdb..=0xdd => body.extend(segment),
            SCAN => {
                body.extend(segment);
                let end = scan_end(rest)?;
                body.extend(&rest[..end]);
                rest = &rest[end..];
            }
            // Cameras' own segments, comments, what is reserved, and what nobody knows.
            0xc8 | 0xde | 0xdf | 0xe1 | 0xe3..=0xed | 0xef..=0xfe => {}
            _ => return None,
        }
    }
    if let Some(block) = exif::only_what_is_read(before_scan(bytes), false) {
        const PREFIX: &[u8] = b"Exif\0\0";
        let length = u16::try_from(2 + PREFIX.len() + block.len()).ok()?;
        head.extend([0xff, 0xe1]);
        head.extend(length.to_be_bytes());
        head.extend(PREFIX);
        head.extend(block);
    }
    head.extend(body);
    head.extend([0xff, END]);
    Some(head)
}

/// Where the data of a scan end: at the first marker that is no restart.
fn scan_end(data: &[u8]) -> Option<usize> {
    data.windows(2)
        .position(|pair| pair[0] == 0xff && !matches!(pair[1], 0 | 0xd0..=0xd7 | 0xff))
}

const PNG_START: &[u8] = b"\x89PNG\r\n\x1a\n";

fn png(bytes: &[u8]) -> Option<Vec<u8>> {
    png_with(bytes, exif::only_what_is_read(bytes, false).as_deref())
}

/// A PNG with the chunks that its picture is decoded and coloured by, and this EXIF block. `None`
/// for other files and broken ones.
fn png_with(bytes: &[u8], block: Option<&[u8]>) -> Option<Vec<u8>> {
    let mut rest = bytes.strip_prefix(PNG_START)?;
    let mut kept = PNG_START.to_vec();
    loop {
        let length = u32::from_be_bytes(*rest.first_chunk()?);
        let size = usize::try_from(length).ok()?.checked_add(12)?;
        let (chunk, after) = rest.split_at_checked(size)?;
        rest = after;
        let kind = &chunk[4..8];
        match kind {
            b"IHDR" => {
                kept.extend(chunk);
                if let Some(block) = block {
                    kept.extend(png_chunk(b"eXIf", block)?);
                }
            }
            b"PLTE" | b"IDAT" | b"tRNS" | b"gAMA" | b"cHRM" | b"sRGB" | b"iCCP" | b"cICP" => {
                kept.extend(chunk);
            }
            b"IEND" => {
                kept.extend(png_chunk(b"IEND", &[])?);
                return Some(kept);
            }
            _ => {}
        }
    }
}

fn png_chunk(kind: &[u8; 4], data: &[u8]) -> Option<Vec<u8>> {
    let mut chunk = u32::try_from(data.len()).ok()?.to_be_bytes().to_vec();
    chunk.extend(kind);
    chunk.extend(data);
    let checksum = crc32fast::hash(&chunk[4..]);
    chunk.extend(checksum.to_be_bytes());
    Some(chunk)
}

/// A WebP with the chunks of its picture. `None` for other files, animations and broken ones.
fn webp(bytes: &[u8]) -> Option<Vec<u8>> {
    const HAS_PROFILE: u8 = 0x20;
    const HAS_ALPHA: u8 = 0x10;
    const HAS_EXIF: u8 = 0x08;
    let head = bytes.get(..12)?;
    if &head[..4] != b"RIFF" || &head[8..] != b"WEBP" {
        return None;
    }
    let block = exif::only_what_is_read(bytes, false);
    let mut extended: Option<Vec<u8>> = None;
    let mut chunks: Vec<u8> = Vec::new();
    let mut has_profile = false;
    let mut has_picture = false;
    let mut rest = &bytes[12..];
    while let Some(&size) = rest.get(4..).and_then(<[u8]>::first_chunk) {
        let data = usize::try_from(u32::from_le_bytes(size)).ok()?;
        let padded = data.checked_add(8 + data % 2)?;
        let (chunk, after) = rest.split_at_checked(padded)?;
        rest = after;
        match &chunk[..4] {
            b"VP8X" if data == 10 => extended = Some(chunk.to_vec()),
            b"ICCP" => {
                has_profile = true;
                chunks.extend(chunk);
            }
            b"VP8 " | b"VP8L" => {
                // A second picture is shown by nobody, and would be handed on unseen.
                if mem::replace(&mut has_picture, true) {
                    return None;
                }
                chunks.extend(chunk);
            }
            b"ALPH" => chunks.extend(chunk),
            b"VP8X" | b"ANIM" | b"ANMF" => return None,
            _ => {}
        }
    }
    let mut kept = Vec::with_capacity(bytes.len());
    if let Some(mut extended) = extended {
        let flags = extended.get_mut(8)?;
        *flags &= HAS_ALPHA;
        *flags |= if has_profile { HAS_PROFILE } else { 0 };
        *flags |= if block.is_some() { HAS_EXIF } else { 0 };
        kept.extend(extended);
    } else if block.is_some() {
        // Only the extended form may have a block, so such a file was none.
        return None;
    }
    kept.extend(chunks);
    if let Some(block) = block {
        kept.extend(b"EXIF");
        kept.extend(u32::try_from(block.len()).ok()?.to_le_bytes());
        kept.extend(&block);
        kept.extend(vec![0; block.len() % 2]);
    }
    let size = u32::try_from(4 + kept.len()).ok()?;
    Some([&b"RIFF"[..], &size.to_le_bytes(), b"WEBP", &kept].concat())
}
