//! What only a JPEG needs: a walk along its markers, decoding straight to a smaller size, and a look
//! whether its pixels are those that the camera wrote.

use std::borrow::Cow;
use std::mem;
use std::panic::{catch_unwind, resume_unwind};

use image::RgbImage;
use mozjpeg::{ColorSpace, Decompress};
use mozjpeg_sys::{self as library, c_int, jpeg_common_struct, jpeg_error_mgr};

/// A JPEG's blocks of 8 pixels can be decoded to 4, 2 or 1.
pub const MOST_HALVINGS: u32 = 3;

/// Each scan of a progressive JPEG goes over all of its blocks. Encoders make a dozen, and one in
/// search of the smallest file some tens (common practice); the usual decoder ends at 100.
const MOST_SCANS: usize = 100;

/// Bytes that some cameras leave between the pixels and the end marker. More of them are nought, or the
/// pixels were garbled and came out too few.
const PADDING: u32 = 2;

pub const START: [u8; 2] = [0xff, 0xd8];
const END: u8 = 0xd9;
const SCAN: u8 = 0xda;

/// The pixels are not those that were written: whatever comes after a wrong bit is another picture.
pub struct Garbled;

/// Where the first scan begins. `None` for other files, and where a shape that this walk does not know
/// comes before.
pub fn first_scan(bytes: &[u8]) -> Option<usize> {
    bytes.starts_with(&START).then_some(())?;
    let mut at = START.len();
    loop {
        match segment(bytes, at)? {
            (SCAN, _) => return Some(at),
            (_, next) => at = next,
        }
    }
}

/// The marker that stands here, and where the segment that it begins has its end.
fn segment(bytes: &[u8], at: usize) -> Option<(u8, usize)> {
    let is_fill = |pair: &&[u8]| **pair == [0xff, 0xff];
    let at = at + bytes.get(at..)?.windows(2).take_while(is_fill).count();
    let &[0xff, marker, high, low] = bytes.get(at..at + 4)? else {
        return None;
    };
    let length = usize::from(u16::from_be_bytes([high, low]));
    Some((marker, at + 2 + length))
}

/// Whether the end marker is missing. The usual decoder fills what is missing with grey and says
/// nothing, and a person with grey legs would be measured.
pub fn is_cut(bytes: &[u8], first_scan: usize) -> bool {
    // From the first scan on: a thumbnail before it has an end marker of its own. From the back:
    // there it stands in a whole file.
    !bytes[first_scan..]
        .windows(2)
        .rev()
        .any(|pair| pair == [0xff, END])
}

/// Whether there are more scans than any encoder makes, each of which costs time. Where the first one
/// was not found, whatever looks like the beginning of one counts.
pub fn has_too_many_scans(bytes: &[u8], first_scan: Option<usize>) -> bool {
    let Some(first_scan) = first_scan else {
        let pairs = bytes.windows(2);
        return pairs.filter(|pair| *pair == [0xff, SCAN]).count() > MOST_SCANS;
    };
    let mut scans = 0;
    let mut at = first_scan;
    while let Some((marker, next)) = segment(bytes, at) {
        at = next;
        if marker == SCAN {
            scans += 1;
            at += coded(bytes.get(at..).unwrap_or_default());
        }
        if marker == END || scans > MOST_SCANS {
            break;
        }
    }
    scans > MOST_SCANS
}

/// How many bytes of coded pixels come before the next segment: there a 0xff is followed by nought, or
/// is the mark of a new start.
fn coded(bytes: &[u8]) -> usize {
    let ends = |pair: &[u8]| pair[0] == 0xff && !matches!(pair[1], 0 | 0xd0..=0xd7 | 0xff);
    bytes.windows(2).position(ends).unwrap_or(bytes.len())
}

/// The file with no more nought bytes before its end marker than the library is let pass over: a camera
/// that fills up to a round length says nothing by them.
fn without_padding(bytes: &[u8]) -> Cow<'_, [u8]> {
    let mut at = first_scan(bytes).unwrap_or(bytes.len());
    while let Some((marker, next)) = segment(bytes, at) {
        at = next;
        if marker == SCAN {
            let data = bytes.get(at..).unwrap_or_default();
            let (data, rest) = data.split_at(coded(data));
            at += data.len();
            let nought = data.iter().rev().take_while(|byte| **byte == 0).count();
            let beyond = nought.saturating_sub(PADDING as usize);
            if beyond > 0 && rest.starts_with(&[0xff, END]) {
                return Cow::Owned([&bytes[..at - beyond], rest].concat());
            }
        }
        if marker == END {
            break;
        }
    }
    Cow::Borrowed(bytes)
}

/// The picture at a smaller size, which leaves out most of the arithmetic. `None` for kinds of JPEG
/// that only the usual decoder knows; of other damage that one is to speak.
pub fn reduced(bytes: &[u8], size: (u32, u32), halvings: u32) -> Result<Option<RgbImage>, Garbled> {
    let reduced = |side: u32| side.div_ceil(1 << halvings);
    let size = (reduced(size.0), reduced(size.1));
    let decoded = strictly(bytes, halvings, |kind| match kind {
        ColorSpace::JCS_CMYK | ColorSpace::JCS_YCCK => None,
        _ => Some(ColorSpace::JCS_RGB),
    })?;
    Ok(decoded
        .filter(|decoded| decoded.size == size)
        .and_then(|decoded| RgbImage::from_raw(size.0, size.1, decoded.pixels)))
}

/// Reads all coded pixels and draws the fewest. The usual decoder passes over what contradicts itself
/// there: grey or shifted blocks would be measured.
pub fn check(bytes: &[u8]) -> Result<(), Garbled> {
    strictly(bytes, MOST_HALVINGS, Some).map(drop)
}

struct Decoded {
    pixels: Vec<u8>,
    size: (u32, u32),
}

/// Decodes as far as the coded pixels make sense; `None` where this library can't or `colours` doesn't
/// want to.
fn strictly(
    bytes: &[u8],
    halvings: u32,
    colours: impl FnOnce(ColorSpace) -> Option<ColorSpace>,
) -> Result<Option<Decoded>, Garbled> {
    let bytes = without_padding(bytes);
    let decode = || {
        let mut header = Decompress::with_err(strict()).from_mem(&bytes).ok()?;
        let colours = colours(header.color_space())?;
        header.scale(8 >> halvings);
        let mut picture = header.to_colorspace(colours).ok()?;
        let size = (picture.width() as u32, picture.height() as u32);
        let pixels = picture.read_scanlines().ok()?;
        picture.finish().ok()?;
        Some(Decoded { pixels, size })
    };
    // The library's way out is unwinding.
    catch_unwind(std::panic::AssertUnwindSafe(decode)).or_else(|stopped| {
        match stopped.is::<Garbled>() {
            true => Err(Garbled),
            false => Ok(None),
        }
    })
}

/// Makes the library stop where it would otherwise warn and go on.
fn strict() -> jpeg_error_mgr {
    // SAFETY: a C struct of numbers, pointers and optional functions, for which nought is a value; the
    // library then fills it.
    let mut errors: jpeg_error_mgr = unsafe { mem::zeroed() };
    unsafe { library::jpeg_std_error(&mut errors) };
    errors.error_exit = Some(stop);
    errors.emit_message = Some(stop_if_garbled);
    errors
}

/// A kind of JPEG that the library does not read, of which the usual decoder is to speak.
struct OfAnotherKind;

/// What the library can't go on with is damage, but for kinds of JPEG that it was not made for.
unsafe extern "C-unwind" fn stop(at: &mut jpeg_common_struct) {
    // SAFETY: as in `stop_if_garbled`.
    let errors = unsafe { &*at.err };
    match errors.msg_code {
        library::JERR_ARITH_NOTIMPL
        | library::JERR_BAD_PRECISION
        | library::JERR_CONVERSION_NOTIMPL
        | library::JERR_NOT_COMPILED
        | library::JERR_SOF_UNSUPPORTED => resume_unwind(Box::new(OfAnotherKind)),
        _ => resume_unwind(Box::new(Garbled)),
    }
}

unsafe extern "C-unwind" fn stop_if_garbled(at: &mut jpeg_common_struct, level: c_int) {
    // From nought on it only tells what it does.
    if level >= 0 {
        return;
    }
    // SAFETY: the library calls this with its own state, whose errors are those of `strict`.
    let errors = unsafe { &*at.err };
    let garbled = match errors.msg_code {
        library::JWRN_HUFF_BAD_CODE
        | library::JWRN_HIT_MARKER
        | library::JWRN_MUST_RESYNC
        | library::JWRN_JPEG_EOF => true,
        library::JWRN_EXTRANEOUS_DATA => errors.msg_parm._bindgen_data_[0] > PADDING,
        _ => false,
    };
    if garbled {
        resume_unwind(Box::new(Garbled));
    }
}
