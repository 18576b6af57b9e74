//! Photos with words planted wherever a camera or a program writes some, and the search for them.

use std::io::{Cursor, Read};

use base64::Engine;
use base64::engine::general_purpose::STANDARD_NO_PAD;
use exif::experimental::Writer;
use exif::{Field, In, Rational, Tag, Value};

/// Begins every word that is planted.
pub const PLANTED: &[u8] = b"PLANTED";

/// An EXIF block with place, time, device, comments and a thumbnail, and with the tags that are read.
pub fn block(orientation: u16) -> Vec<u8> {
    let text = |word: &str| Value::Ascii(vec![format!("PLANTED-{word}").into_bytes()]);
    let bytes = |word: &str| Value::Undefined(format!("PLANTED-{word}").into_bytes(), 0);
    // A coordinate whose bytes are the word.
    let place = Rational {
        num: u32::from_be_bytes(*b"PLAN"),
        denom: u32::from_be_bytes(*b"TED-"),
    };
    let wide: Vec<u8> = "PLANTED-comment"
        .encode_utf16()
        .flat_map(u16::to_le_bytes)
        .collect();
    let thumbnail = [
        &b"\xff\xd8\xff\xfe\0\x13"[..],
        b"PLANTED-thumbnail",
        b"\xff\xd9",
    ]
    .concat();
    let fields: Vec<Field> = [
        (Tag::Orientation, Value::Short(vec![orientation])),
        (Tag::Make, text("make")),
        (Tag::Model, text("model")),
        (Tag::DateTime, text("time")),
        (Tag::ImageDescription, text("description")),
        (Tag::BodySerialNumber, text("serial")),
        (Tag::MakerNote, bytes("makernote")),
        (Tag::UserComment, bytes("usercomment")),
        (Tag(exif::Context::Tiff, 0x9c9c), Value::Byte(wide)),
        (Tag::GPSLatitude, Value::Rational(vec![place; 3])),
        (Tag::GPSProcessingMethod, bytes("gps")),
        (Tag::FocalLengthIn35mmFilm, Value::Short(vec![26])),
        (Tag::FocalLength, Value::Rational(vec![place])),
    ]
    .into_iter()
    .map(|(tag, value)| Field {
        tag,
        ifd_num: In::PRIMARY,
        value,
    })
    .collect();
    let mut writer = Writer::new();
    fields.iter().for_each(|field| writer.push_field(field));
    writer.set_jpeg(&thumbnail, In::THUMBNAIL);
    let mut block = Cursor::new(Vec::new());
    writer.write(&mut block, false).expect("a block");
    block.into_inner()
}

/// A JPEG with a block, XMP, IPTC, a list of further pictures, a comment, a comment between its tables
/// and its scan, and a film behind its end.
pub fn jpeg(jpeg: &[u8], orientation: u16) -> Vec<u8> {
    let segment = |marker: u8, content: &[u8]| {
        let length = u16::try_from(content.len() + 2).expect("a short segment");
        [&[0xff, marker], &length.to_be_bytes()[..], content].concat()
    };
    let scan = jpeg
        .windows(4)
        .position(|at| at == [0xff, 0xda, 0, 12])
        .expect("a scan of three colours");
    let xmp = b"http://ns.adobe.com/xap/1.0/\0<x:xmpmeta>PLANTED-xmp</x:xmpmeta>";
    [
        &jpeg[..2],
        &segment(0xe1, &[b"Exif\0\0", &block(orientation)[..]].concat()),
        &segment(0xe1, xmp),
        &segment(0xe2, b"MPF\0PLANTED-further-pictures"),
        &segment(0xe5, b"PLANTED-nobody-knows"),
        &segment(0xed, b"Photoshop 3.0\08BIMPLANTED-iptc"),
        &jpeg[2..scan],
        &segment(0xfe, b"PLANTED-comment"),
        &jpeg[scan..],
        b"\0\0\0\x18ftypmp42PLANTED-film",
    ]
    .concat()
}

/// A PNG with a block, a text, a packed text, and something behind its end.
pub fn png(png: &[u8], orientation: u16) -> Vec<u8> {
    const HEADER: usize = 8 + 25;
    let chunk = |kind: &[u8; 4], data: &[u8]| {
        let body = [kind, data].concat();
        let length = u32::try_from(data.len()).expect("a short chunk");
        let checksum = crc32fast::hash(&body);
        [&length.to_be_bytes()[..], &body, &checksum.to_be_bytes()].concat()
    };
    [
        &png[..HEADER],
        &chunk(b"eXIf", &block(orientation)),
        &chunk(b"tEXt", b"Comment\0PLANTED-text"),
        &chunk(
            b"zTXt",
            &[b"Comment\0\0", &packed(b"PLANTED-packed")[..]].concat(),
        ),
        &chunk(b"tIME", b"PLANTED"),
        &png[HEADER..],
        b"PLANTED-behind",
    ]
    .concat()
}

/// A WebP in the extended form, with a block and XMP.
pub fn webp(webp: &[u8], size: (u32, u32), orientation: u16) -> Vec<u8> {
    let chunk = |kind: &[u8; 4], data: &[u8]| {
        let length = u32::try_from(data.len()).expect("a short chunk");
        [
            &kind[..],
            &length.to_le_bytes(),
            data,
            &vec![0; data.len() % 2],
        ]
        .concat()
    };
    let (width, height) = (size.0 - 1, size.1 - 1);
    let head = [
        &[0x08 | 0x04, 0, 0, 0],
        &width.to_le_bytes()[..3],
        &height.to_le_bytes()[..3],
    ]
    .concat();
    let chunks = [
        chunk(b"VP8X", &head),
        webp[12..].to_vec(),
        chunk(b"EXIF", &block(orientation)),
        chunk(b"XMP ", b"<x:xmpmeta>PLANTED-xmp</x:xmpmeta>"),
        chunk(b"WHAT", b"PLANTED-nobody-knows"),
    ]
    .concat();
    let length = u32::try_from(4 + chunks.len()).expect("a small file");
    [&b"RIFF"[..], &length.to_le_bytes(), b"WEBP", &chunks].concat()
}

pub fn packed(bytes: &[u8]) -> Vec<u8> {
    let mut packed = Vec::new();
    flate2::read::ZlibEncoder::new(bytes, flate2::Compression::default())
        .read_to_end(&mut packed)
        .expect("packed");
    packed
}

/// Whether a planted word shows, also in UTF-16, in a picture or file inside a text, or packed.
pub fn shows(bytes: &[u8]) -> bool {
    let wide: Vec<u8> = PLANTED.iter().flat_map(|letter| [*letter, 0]).collect();
    let holds = |word: &[u8]| bytes.windows(word.len()).any(|at| at == word);
    holds(PLANTED)
        || holds(&wide)
        || in_base64(bytes).iter().any(|inner| shows(inner))
        || unpacked(bytes).iter().any(|inner| shows(inner))
}

fn in_base64(bytes: &[u8]) -> Vec<Vec<u8>> {
    let is_digit = |byte: &u8| byte.is_ascii_alphanumeric() || matches!(byte, b'+' | b'/');
    bytes
        .split(|byte| !is_digit(byte))
        .filter(|run| run.len() >= 40)
        .filter_map(|run| STANDARD_NO_PAD.decode(run).ok())
        .collect()
}

/// What zlib streams hold, as those of PNG and PDF, wherever they begin.
fn unpacked(bytes: &[u8]) -> Vec<Vec<u8>> {
    let begins = |at: &[u8]| at[0] == 0x78 && matches!(at[1], 0x01 | 0x5e | 0x9c | 0xda);
    let places = bytes.windows(2).enumerate().filter(|(_, at)| begins(at));
    places
        .filter_map(|(place, _)| {
            let mut inner = Vec::new();
            let stream = flate2::read::ZlibDecoder::new(&bytes[place..]);
            // Most of these places are none.
            let _ = stream.take(1 << 26).read_to_end(&mut inner);
            (inner.len() > PLANTED.len()).then_some(inner)
        })
        .collect()
}
