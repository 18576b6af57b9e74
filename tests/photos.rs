//! Photos as they come: turned, cropped, of every kind, damaged, and no photos at all.

use std::time::{Duration, Instant};

use image::codecs::{jpeg::JpegEncoder, png::PngEncoder, webp::WebPEncoder};
use image::{DynamicImage, ImageEncoder, Rgb, RgbImage};

use tragus::geometry::{Angle, Map, Point};
use tragus::photo::{Bare, CameraTags, Limits, Photo, PhotoError, PhotoErrorKind};

// Writing TIFF, which is also the format of an EXIF block: a header, then directories of
// entries, each a tag with values of one type.

pub(super) enum Field {
    Short(u16),
    Shorts(&'static [u16]),
    Long(u32),
    Rational(u32, u32),
    Ascii(&'static str),
    Bytes(Vec<u8>),
}

#[derive(Clone, Copy)]
pub(super) enum Endian {
    Little,
    Big,
}

impl Endian {
    fn two(self, value: u16) -> [u8; 2] {
        match self {
            Endian::Little => value.to_le_bytes(),
            Endian::Big => value.to_be_bytes(),
        }
    }

    fn four(self, value: u32) -> [u8; 4] {
        match self {
            Endian::Little => value.to_le_bytes(),
            Endian::Big => value.to_be_bytes(),
        }
    }
}

pub(super) struct Tiff {
    endian: Endian,
    pub(super) bytes: Vec<u8>,
}

impl Tiff {
    pub(super) fn new(endian: Endian) -> Tiff {
        let mut bytes = match endian {
            Endian::Little => b"II".to_vec(),
            Endian::Big => b"MM".to_vec(),
        };
        bytes.extend(endian.two(42));
        bytes.extend(endian.four(0));
        Tiff { endian, bytes }
    }

    fn append(&mut self, data: &[u8]) -> u32 {
        if self.bytes.len() % 2 == 1 {
            self.bytes.push(0);
        }
        let offset = self.bytes.len() as u32;
        self.bytes.extend(data);
        offset
    }

    /// Appends a directory, its tags in rising order, and tells where it starts.
    pub(super) fn directory(&mut self, entries: &[(u16, Field)]) -> u32 {
        let endian = self.endian;
        let mut table = endian.two(entries.len() as u16).to_vec();
        for (tag, field) in entries {
            let (kind, count, data): (u16, u32, Vec<u8>) = match field {
                Field::Short(value) => (3, 1, endian.two(*value).to_vec()),
                Field::Shorts(values) => {
                    let data = values.iter().flat_map(|&value| endian.two(value)).collect();
                    (3, values.len() as u32, data)
                }
                Field::Long(value) => (4, 1, endian.four(*value).to_vec()),
                Field::Rational(above, below) => {
                    (5, 1, [endian.four(*above), endian.four(*below)].concat())
                }
                Field::Ascii(text) => (2, text.len() as u32 + 1, [text.as_bytes(), b"\0"].concat()),
                Field::Bytes(data) => (7, data.len() as u32, data.clone()),
            };
            table.extend(endian.two(*tag));
            table.extend(endian.two(kind));
            table.extend(endian.four(count));
            if data.len() <= 4 {
                let mut inline = data;
                inline.resize(4, 0);
                table.extend(inline);
            } else {
                let offset = self.append(&data);
                table.extend(endian.four(offset));
            }
        }
        table.extend(endian.four(0));
        self.append(&table)
    }

    /// Ends the file with its first directory.
    pub(super) fn finish(mut self, entries: &[(u16, Field)]) -> Vec<u8> {
        let first = self.directory(entries);
        self.bytes[4..8].copy_from_slice(&self.endian.four(first));
        self.bytes
    }
}

pub(super) const ORIENTATION: u16 = 0x0112;
pub(super) const EXIF_DIRECTORY: u16 = 0x8769;
const GPS_DIRECTORY: u16 = 0x8825;
pub(super) const WIDTH_TAKEN: u16 = 0xA002;
pub(super) const HEIGHT_TAKEN: u16 = 0xA003;
const DIGITAL_ZOOM: u16 = 0xA404;
pub(super) const FOCAL_35MM: u16 = 0xA405;

pub(super) fn orientation_block(endian: Endian, value: u16) -> Vec<u8> {
    Tiff::new(endian).finish(&[(ORIENTATION, Field::Short(value))])
}

/// A block with these entries in its EXIF directory.
pub(super) fn camera_block(entries: &[(u16, Field)]) -> Vec<u8> {
    let mut block = Tiff::new(Endian::Little);
    let camera = block.directory(entries);
    block.finish(&[(EXIF_DIRECTORY, Field::Long(camera))])
}

// The picture, and files of it.

const RED: Rgb<u8> = Rgb([220, 30, 40]);
const GREEN: Rgb<u8> = Rgb([30, 200, 60]);
const BLUE: Rgb<u8> = Rgb([40, 60, 210]);
const GREY: Rgb<u8> = Rgb([150, 150, 150]);

/// An upright picture that looks different in every mirror: red, green, blue and grey in the
/// quarters, and higher than wide.
pub(super) fn upright() -> RgbImage {
    RgbImage::from_fn(96, 128, |x, y| match (x < 48, y < 64) {
        (true, true) => RED,
        (false, true) => GREEN,
        (true, false) => BLUE,
        (false, false) => GREY,
    })
}

#[track_caller]
pub(super) fn assert_upright(photo: &Photo, what: &str) {
    assert_eq!((photo.width(), photo.height()), (96, 128), "{what}");
    for (x, y, colour) in [
        (24, 32, RED),
        (72, 32, GREEN),
        (24, 96, BLUE),
        (72, 96, GREY),
    ] {
        let got = photo.upright().get_pixel(x, y);
        let off = got
            .0
            .iter()
            .zip(colour.0)
            .map(|(a, b)| a.abs_diff(b))
            .max()
            .unwrap();
        assert!(
            off < 25,
            "{what}: {got:?} at ({x}, {y}), expected {colour:?}"
        );
    }
}

/// The picture as a camera stores it that wants it shown with this orientation, by the words of
/// the EXIF standard: at which edge of the visible picture row 0 and column 0 lie.
fn stored(orientation: u16) -> RgbImage {
    let picture = upright();
    let (width, height) = picture.dimensions();
    let (row_is_vertical_line, from_right, from_bottom) = match orientation {
        1 => (false, false, false), // row 0 top, column 0 left
        2 => (false, true, false),  // top, right
        3 => (false, true, true),   // bottom, right
        4 => (false, false, true),  // bottom, left
        5 => (true, false, false),  // left, top
        6 => (true, true, false),   // right, top
        7 => (true, true, true),    // right, bottom
        8 => (true, false, true),   // left, bottom
        other => panic!("there is no orientation {other}"),
    };
    let size = if row_is_vertical_line {
        (height, width)
    } else {
        (width, height)
    };
    RgbImage::from_fn(size.0, size.1, |column, row| {
        let (x, y) = if row_is_vertical_line {
            (row, column)
        } else {
            (column, row)
        };
        let x = if from_right { width - 1 - x } else { x };
        let y = if from_bottom { height - 1 - y } else { y };
        *picture.get_pixel(x, y)
    })
}

fn with_block<E: ImageEncoder>(mut encoder: E, picture: &RgbImage, block: Vec<u8>) {
    if !block.is_empty() {
        encoder.set_exif_metadata(block).unwrap();
    }
    let (width, height) = picture.dimensions();
    encoder
        .write_image(
            picture.as_raw(),
            width,
            height,
            image::ExtendedColorType::Rgb8,
        )
        .unwrap();
}

pub(super) fn jpeg(picture: &RgbImage, block: Vec<u8>) -> Vec<u8> {
    let mut bytes = Vec::new();
    with_block(
        JpegEncoder::new_with_quality(&mut bytes, 95),
        picture,
        block,
    );
    bytes
}

pub(super) fn png(picture: &RgbImage, block: Vec<u8>) -> Vec<u8> {
    let mut bytes = Vec::new();
    with_block(PngEncoder::new(&mut bytes), picture, block);
    bytes
}

fn webp(picture: &RgbImage, block: Vec<u8>) -> Vec<u8> {
    let mut bytes = Vec::new();
    with_block(WebPEncoder::new_lossless(&mut bytes), picture, block);
    bytes
}

/// An uncompressed TIFF; its orientation stands in its own directory.
pub(super) fn tiff(picture: &RgbImage, endian: Endian, orientation: u16) -> Vec<u8> {
    let (width, height) = picture.dimensions();
    let mut file = Tiff::new(endian);
    let pixels = file.append(picture.as_raw());
    file.finish(&[
        (0x0100, Field::Long(width)),
        (0x0101, Field::Long(height)),
        (0x0102, Field::Shorts(&[8, 8, 8])), // bits
        (0x0103, Field::Short(1)),           // not compressed
        (0x0106, Field::Short(2)),           // RGB
        (0x0111, Field::Long(pixels)),
        (ORIENTATION, Field::Short(orientation)),
        (0x0115, Field::Short(3)), // samples
        (0x0116, Field::Long(height)),
        (0x0117, Field::Long(width * height * 3)),
    ])
}

pub(super) fn decode(bytes: &[u8]) -> Result<Photo, PhotoErrorKind> {
    let decoded = Photo::decode(bytes, Limits::default());
    if let Err(error) = &decoded {
        assert_readable(error);
    }
    decoded.map_err(|error| error.kind)
}

#[track_caller]
pub(super) fn refused(bytes: &[u8]) -> PhotoErrorKind {
    match decode(bytes) {
        Ok(photo) => panic!("taken for a photo of {}×{}", photo.width(), photo.height()),
        Err(kind) => kind,
    }
}

/// One line of plain words that fits behind "could not be read:", and something to do about it.
#[track_caller]
fn assert_readable(error: &PhotoError) {
    let (message, hint) = (error.to_string(), error.kind.hint());
    for text in [message.as_str(), hint] {
        let first = text.chars().next().expect("not empty");
        assert!(first.is_lowercase(), "starts with a capital: {text}");
        assert!(
            !text.ends_with(['.', ' ', '\n', ':']),
            "ends in a full stop or a gap: {text}"
        );
        assert!(
            !text.contains(['\n', '{', '\0']),
            "not one line of words: {text:?}"
        );
        assert!(text.chars().count() < 200, "too long: {text}");
    }
    assert_eq!(message, error.kind.to_string());
}

// Upright.

#[test]
fn every_orientation_comes_out_upright_from_every_kind_of_file() {
    for orientation in 1..=8 {
        let picture = stored(orientation);
        let block = || orientation_block(Endian::Little, orientation);
        let big = orientation_block(Endian::Big, orientation);
        for (kind, bytes) in [
            ("JPEG", jpeg(&picture, block())),
            ("JPEG with a big-endian block", jpeg(&picture, big)),
            ("PNG", png(&picture, block())),
            ("WebP", webp(&picture, block())),
            ("TIFF", tiff(&picture, Endian::Little, orientation)),
            ("big-endian TIFF", tiff(&picture, Endian::Big, orientation)),
        ] {
            let photo = decode(&bytes).unwrap();
            assert_upright(&photo, &format!("{kind}, orientation {orientation}"));
        }
    }
}

/// A reduced photo keeps the places of the whole one, also where its sides are no multiples of the
/// reduction and the camera was turned: what lies beyond an edge must not move the rest.
#[test]
fn a_reduced_photo_has_everything_where_the_whole_one_has_it() {
    use image::metadata::Orientation;
    let (width, height) = (2005, 4010);
    let (x, y) = (620.5, 2840.5);
    let upright = RgbImage::from_fn(width, height, |column, row| {
        let off = (f64::from(column) + 0.5 - x).hypot(f64::from(row) + 0.5 - y);
        // A soft disc: no edge for a decoder to treat in its own way.
        let value = (255.0 * (1.0 - off / 240.0).clamp(0.0, 1.0)) as u8;
        Rgb([value; 3])
    });
    for orientation in 1..=8 {
        // The turn that undoes another is itself, but for the two by a quarter.
        let undoing = match orientation {
            6 => 8,
            8 => 6,
            same => same,
        };
        let mut stored = DynamicImage::ImageRgb8(upright.clone());
        stored.apply_orientation(Orientation::from_exif(undoing).unwrap());
        let block = orientation_block(Endian::Little, u16::from(orientation));
        let bytes = jpeg(&stored.into_rgb8(), block);
        let photo = Photo::decode_reduced(&bytes, Limits::default()).unwrap();
        assert_eq!((photo.width(), photo.height()), (width, height));
        assert_eq!(photo.upright().width(), 502, "halved twice");
        let map =
            Map::square(256.0, Point::new(600.0, 2800.0), 1024.0, Angle::ZERO, false).unwrap();
        let crop = photo.crop(&map, 256);
        let (mut mass, mut sum) = (0.0, (0.0, 0.0));
        for (column, row, pixel) in crop.enumerate_pixels() {
            let at = map.apply(Point::new(f64::from(column) + 0.5, f64::from(row) + 0.5));
            let value = f64::from(pixel.0[1]);
            mass += value;
            sum = (sum.0 + value * at.x, sum.1 + value * at.y);
        }
        let off = (sum.0 / mass - x).hypot(sum.1 / mass - y);
        assert!(off < 0.3, "orientation {orientation}: {off:.2} pixels off");
    }
}

/// Somebody far away needs more than a reduced photo has; it must know.
#[test]
fn a_reduced_photo_knows_what_it_lacks() {
    let picture = RgbImage::from_pixel(3000, 4000, Rgb([90; 3]));
    let reduced = Photo::decode_reduced(&jpeg(&picture, Vec::new()), Limits::default()).unwrap();
    assert_eq!(reduced.upright().dimensions(), (750, 1000));
    // A square of 1000 pixels looked at in 256, and one of 500.
    assert!(reduced.has_detail(1000.0 / 256.0));
    assert!(!reduced.has_detail(500.0 / 256.0));
    let whole = Photo::decode(&jpeg(&picture, Vec::new()), Limits::default()).unwrap();
    assert!(whole.has_detail(0.5));
}

#[test]
fn an_orientation_that_does_not_exist_is_ignored() {
    // 262 is 6 in its lowest byte.
    for orientation in [0, 9, 255, 262, u16::MAX] {
        let block = orientation_block(Endian::Little, orientation);
        let photo = decode(&jpeg(&upright(), block)).unwrap();
        assert_upright(&photo, &format!("orientation {orientation}"));
    }
}

#[test]
fn a_file_without_a_block_or_with_a_broken_one_is_taken_as_it_is() {
    let whole = orientation_block(Endian::Little, 6);
    let cut = whole[..9].to_vec();
    let mut far_away = whole;
    far_away[4..8].copy_from_slice(&0xFFFF_FFF0u32.to_le_bytes());
    for block in [
        Vec::new(),
        b"II".to_vec(),
        b"rubbish and more".to_vec(),
        cut,
        far_away,
    ] {
        for bytes in [jpeg(&upright(), block.clone()), png(&upright(), block)] {
            let photo = decode(&bytes).unwrap();
            assert_upright(&photo, "broken block");
            assert_eq!(*photo.tags(), CameraTags::default());
        }
    }
}

// Tags.

fn tags(entries: &[(u16, Field)]) -> CameraTags {
    let block = camera_block(entries);
    let photo = decode(&jpeg(&upright(), block.clone())).unwrap();
    let same = decode(&png(&upright(), block)).unwrap();
    assert_eq!(photo.tags(), same.tags());
    photo.tags().clone()
}

#[test]
fn the_focal_length_is_read() {
    let read = tags(&[(FOCAL_35MM, Field::Short(26))]);
    assert_eq!(
        read,
        CameraTags {
            focal_35mm: Some(26.0),
            ..CameraTags::default()
        }
    );
}

#[test]
fn a_focal_length_that_no_lens_has_is_not_believed() {
    for mm in [0, 1, 7, 401, u16::MAX] {
        assert_eq!(
            tags(&[(FOCAL_35MM, Field::Short(mm))]),
            CameraTags::default(),
            "{mm} mm"
        );
    }
}

#[test]
fn a_picture_of_the_shape_it_was_taken_in_keeps_its_focal_length() {
    // 96×128 now: scaled down, and turned.
    for (width, height) in [(96, 128), (3024, 4032), (4032, 3024)] {
        let read = tags(&[
            (WIDTH_TAKEN, Field::Long(width)),
            (HEIGHT_TAKEN, Field::Long(height)),
            (FOCAL_35MM, Field::Short(26)),
        ]);
        assert_eq!(read.focal_35mm, Some(26.0), "{width}×{height}");
        assert!(!read.cropped);
    }
}

#[test]
fn a_cropped_picture_loses_its_focal_length() {
    let read = tags(&[
        (WIDTH_TAKEN, Field::Long(4032)),
        (HEIGHT_TAKEN, Field::Long(2268)),
        (FOCAL_35MM, Field::Short(26)),
    ]);
    assert_eq!(
        read,
        CameraTags {
            cropped: true,
            ..CameraTags::default()
        }
    );
}

#[test]
fn a_zoomed_picture_loses_its_focal_length() {
    let zoomed = |above, below| {
        tags(&[
            (DIGITAL_ZOOM, Field::Rational(above, below)),
            (FOCAL_35MM, Field::Short(26)),
        ])
    };
    assert_eq!(
        zoomed(2, 1),
        CameraTags {
            cropped: true,
            ..CameraTags::default()
        }
    );
    // No zoom, in the ways that cameras write it.
    for (above, below) in [(1, 1), (0, 1), (100, 100), (1, 0), (0, 0)] {
        assert_eq!(
            zoomed(above, below).focal_35mm,
            Some(26.0),
            "zoom {above}/{below}"
        );
    }
}

/// Place, time and device stay in the file: there is no field that could hold them.
#[test]
fn nothing_but_the_lens_is_taken_from_the_file() {
    let mut block = Tiff::new(Endian::Little);
    let camera = block.directory(&[
        (0x9003, Field::Ascii("2026:03:10 09:41:00")),
        (0x927C, Field::Bytes(b"note of the maker".to_vec())),
        (FOCAL_35MM, Field::Short(26)),
    ]);
    let place = block.directory(&[
        (0x0001, Field::Ascii("N")),
        (0x0002, Field::Rational(48, 1)),
        (0x001B, Field::Ascii("somewhere")),
    ]);
    let block = block.finish(&[
        (0x010F, Field::Ascii("a maker")),
        (0x0110, Field::Ascii("a model")),
        (EXIF_DIRECTORY, Field::Long(camera)),
        (GPS_DIRECTORY, Field::Long(place)),
    ]);
    let photo = decode(&jpeg(&upright(), block)).unwrap();
    // A new field would not compile here unseen.
    let CameraTags {
        focal_35mm,
        cropped,
        pixel_size,
        right,
        text_in_picture,
    } = *photo.tags();
    assert_eq!((focal_35mm, cropped), (Some(26.0), false));
    assert_eq!((pixel_size, right, text_in_picture), (false, None, false));
}

// Kinds of pictures.

fn encoded(picture: &DynamicImage, format: image::ImageFormat) -> Vec<u8> {
    let mut bytes = std::io::Cursor::new(Vec::new());
    picture.write_to(&mut bytes, format).unwrap();
    bytes.into_inner()
}

#[test]
fn pictures_of_every_depth_come_out_as_the_same_colours() {
    use image::ImageFormat::{Png, Tiff, WebP};
    let plain = DynamicImage::ImageRgb8(upright());
    for (what, picture, format) in [
        (
            "16-bit PNG",
            DynamicImage::ImageRgb16(plain.to_rgb16()),
            Png,
        ),
        (
            "16-bit PNG with alpha",
            DynamicImage::ImageRgba16(plain.to_rgba16()),
            Png,
        ),
        (
            "PNG with alpha",
            DynamicImage::ImageRgba8(plain.to_rgba8()),
            Png,
        ),
        (
            "16-bit TIFF",
            DynamicImage::ImageRgb16(plain.to_rgb16()),
            Tiff,
        ),
        (
            "WebP with alpha",
            DynamicImage::ImageRgba8(plain.to_rgba8()),
            WebP,
        ),
    ] {
        assert_upright(&decode(&encoded(&picture, format)).unwrap(), what);
    }
}

#[test]
fn grey_pictures_come_out_grey() {
    use image::ImageFormat::{Jpeg, Png, Tiff};
    let plain = DynamicImage::ImageRgb8(upright());
    let grey = plain.to_luma8();
    for (what, picture, format) in [
        ("grey PNG", DynamicImage::ImageLuma8(plain.to_luma8()), Png),
        (
            "grey PNG with alpha",
            DynamicImage::ImageLumaA8(plain.to_luma_alpha8()),
            Png,
        ),
        (
            "16-bit grey PNG",
            DynamicImage::ImageLuma16(plain.to_luma16()),
            Png,
        ),
        (
            "grey JPEG",
            DynamicImage::ImageLuma8(plain.to_luma8()),
            Jpeg,
        ),
        (
            "grey TIFF",
            DynamicImage::ImageLuma8(plain.to_luma8()),
            Tiff,
        ),
    ] {
        let photo = decode(&encoded(&picture, format)).unwrap();
        for (x, y) in [(24, 32), (72, 32), (24, 96), (72, 96)] {
            let Rgb([r, g, b]) = *photo.upright().get_pixel(x, y);
            let expected = grey.get_pixel(x, y).0[0];
            assert!(r == g && g == b, "{what}: {:?}", (r, g, b));
            assert!(r.abs_diff(expected) < 6, "{what}: {r}, expected {expected}");
        }
    }
}

/// Printers' inks: nothing is white, cyan takes away red, black takes away all.
#[test]
fn a_jpeg_of_printing_inks_is_read() {
    let inks = |x: usize, y: usize| -> [u8; 4] {
        match (x < 48, y < 64) {
            (true, true) => [255, 0, 0, 0],
            (false, true) => [0, 255, 0, 0],
            (true, false) => [0, 0, 0, 0],
            (false, false) => [0, 0, 0, 255],
        }
    };
    let data: Vec<u8> = (0..96 * 128).flat_map(|i| inks(i % 96, i / 96)).collect();
    let mut bytes = Vec::new();
    jpeg_encoder::Encoder::new(&mut bytes, 95)
        .encode(&data, 96, 128, jpeg_encoder::ColorType::Cmyk)
        .unwrap();
    let photo = decode(&bytes).unwrap();
    let bright = |x, y| photo.upright().get_pixel(x, y).0.map(|value| value > 127);
    assert_eq!(bright(24, 32), [false, true, true], "cyan");
    assert_eq!(bright(72, 32), [true, false, true], "magenta");
    assert_eq!(bright(24, 96), [true, true, true], "no ink");
    assert_eq!(bright(72, 96), [false, false, false], "black");
}

fn chunk(name: &[u8; 4], data: &[u8]) -> Vec<u8> {
    let mut bytes = name.to_vec();
    bytes.extend((data.len() as u32).to_le_bytes());
    bytes.extend(data);
    if data.len() % 2 == 1 {
        bytes.push(0);
    }
    bytes
}

/// Of a picture that moves, the first frame counts.
#[test]
fn an_animated_webp_gives_its_first_frame() {
    let (width, height) = (96u32, 128u32);
    let three = |value: u32| value.to_le_bytes()[..3].to_vec();
    let frame = |picture: &RgbImage| {
        let file = webp(picture, Vec::new());
        assert_eq!(&file[12..16], b"VP8L");
        let mut data = [0, 0].map(three).concat(); // at the top left
        data.extend([width - 1, height - 1, 100].map(three).concat());
        data.push(0);
        data.extend(&file[12..]);
        chunk(b"ANMF", &data)
    };
    let mut header = vec![0b10, 0, 0, 0]; // it moves
    header.extend([width - 1, height - 1].map(three).concat());
    let second = RgbImage::from_pixel(width, height, Rgb([0, 0, 0]));
    let body = [
        b"WEBP".to_vec(),
        chunk(b"VP8X", &header),
        chunk(b"ANIM", &[0, 0, 0, 0, 0, 0]),
        frame(&upright()),
        frame(&second),
    ]
    .concat();
    assert_upright(&decode(&chunk(b"RIFF", &body)).unwrap(), "animated WebP");
}

/// Nobody shows a second picture, and it may be another one.
#[test]
fn a_webp_is_filed_with_the_picture_that_it_shows_alone() {
    let file = webp(&upright(), Vec::new());
    let second = webp(&RgbImage::from_pixel(96, 128, Rgb([7, 7, 7])), Vec::new());
    let body = [&file[8..], &second[12..]].concat();
    let twice = chunk(b"RIFF", &body);
    let bare = Bare::of(&twice, Limits::default()).expect("a photo");
    let shown = &second[20..];
    let holds = bare.bytes().windows(shown.len()).any(|part| part == shown);
    assert!(!holds);
    assert_upright(&decode(bare.bytes()).unwrap(), "WebP of two pictures");
}

// Bad files.

/// Nought for every table of Huffman codes: the usual decoder may go on with an earlier one or none.
#[test]
fn a_jpeg_that_its_library_gives_up_on_is_damaged() {
    let whole = jpeg(&upright(), Vec::new());
    decode(&whole).unwrap();
    let tables: Vec<usize> = (0..whole.len() - 1)
        .filter(|at| whole[*at..*at + 2] == [0xff, 0xc4])
        .collect();
    assert!(!tables.is_empty());
    // A comment in its place.
    for at in tables {
        let mut broken = whole.clone();
        broken[at + 1] = 0xfe;
        assert!(
            matches!(refused(&broken), PhotoErrorKind::Damaged),
            "at {at}"
        );
    }
    let mut twice = whole.clone();
    let start = whole
        .windows(2)
        .position(|pair| pair == [0xff, 0xda])
        .expect("a scan");
    twice.splice(start..start, [0xff, 0xd8]);
    assert!(matches!(refused(&twice), PhotoErrorKind::Damaged));
}

#[test]
fn an_empty_file_is_called_empty() {
    assert!(matches!(refused(b""), PhotoErrorKind::Empty));
}

#[test]
fn what_is_no_photo_is_called_no_photo() {
    let gif = b"GIF89a\x60\0\x80\0\x80\0\0\0\0\0\xff\xff\xff,\0\0\0\0\x60\0\x80\0\0\x02\x01\0\0;";
    let bmp = [b"BM".as_slice(), &[0; 200]].concat();
    for (what, bytes) in [
        ("text", b"knee 1, hip 2\n".as_slice()),
        ("a space", b" "),
        (
            "HTML",
            b"<!DOCTYPE html><html><body>404 not found</body></html>",
        ),
        ("PDF", b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n1 0 obj\n"),
        ("ZIP", b"PK\x03\x04\x14\0\0\0\x08\0"),
        ("JSON", b"{\"photos\":[]}"),
        ("zeros", &[0; 4096]),
        ("GIF", gif),
        ("BMP", &bmp),
    ] {
        let kind = refused(bytes);
        assert!(
            matches!(kind, PhotoErrorKind::UnknownFormat),
            "{what}: {kind:?}"
        );
    }
    let kind = PhotoErrorKind::UnknownFormat;
    assert!(kind.to_string().contains("JPEG, PNG, WebP, TIFF or DICOM"));
    assert!(kind.hint().contains("HEIC"));
}

/// The content decides what a file is: no name is ever asked for.
#[test]
fn every_kind_is_told_by_its_content() {
    let picture = upright();
    for bytes in [
        jpeg(&picture, Vec::new()),
        png(&picture, Vec::new()),
        webp(&picture, Vec::new()),
        tiff(&picture, Endian::Little, 1),
    ] {
        assert_upright(&decode(&bytes).unwrap(), "told by content");
    }
}

/// A photo with some detail, so that its files have something to cut.
fn detailed() -> RgbImage {
    RgbImage::from_fn(96, 128, |x, y| {
        let (x, y) = (x * 7 % 251, y * 11 % 241);
        Rgb([x as u8, y as u8, (x ^ y) as u8])
    })
}

fn one_of_each() -> Vec<(&'static str, Vec<u8>)> {
    let picture = detailed();
    let block = || orientation_block(Endian::Little, 6);
    vec![
        ("JPEG", jpeg(&picture, block())),
        ("PNG", png(&picture, block())),
        ("WebP", webp(&picture, block())),
        ("TIFF", tiff(&picture, Endian::Little, 6)),
    ]
}

/// A file cut short gives a message or, where enough is there, a picture of the right size.
#[test]
fn a_file_cut_short_anywhere_is_no_disaster() {
    for (kind, bytes) in one_of_each() {
        let mut refusals = 0;
        for length in (0..bytes.len()).step_by(37) {
            match decode(&bytes[..length]) {
                Ok(photo) => {
                    let size = (photo.width(), photo.height());
                    assert!(
                        size == (128, 96) || size == (96, 128),
                        "{kind}[..{length}]: {size:?}"
                    );
                }
                Err(PhotoErrorKind::Empty) => assert_eq!(length, 0),
                Err(PhotoErrorKind::UnknownFormat) => assert!(length < 64, "{kind}[..{length}]"),
                Err(PhotoErrorKind::Damaged) => refusals += 1,
                Err(other) => panic!("{kind}[..{length}]: {other:?}"),
            }
        }
        assert!(refusals > 2, "{kind}: nothing was called damaged");
        decode(&bytes).unwrap();
    }
}

#[test]
fn a_file_with_a_flipped_byte_is_no_disaster() {
    for (_, bytes) in one_of_each() {
        for at in (0..bytes.len()).step_by(bytes.len() / 150) {
            let mut flipped = bytes.clone();
            flipped[at] ^= 0xFF;
            let _message_or_picture = decode(&flipped);
        }
    }
}

pub(super) fn png_chunk(name: &[u8; 4], data: &[u8]) -> Vec<u8> {
    let body = [name.as_slice(), data].concat();
    let sum = body.iter().fold(u32::MAX, |sum, byte| {
        (0..8).fold(sum ^ u32::from(*byte), |sum, _| {
            (sum >> 1) ^ if sum & 1 == 1 { 0xEDB8_8320 } else { 0 }
        })
    });
    [
        (data.len() as u32).to_be_bytes().as_slice(),
        &body,
        &(!sum).to_be_bytes(),
    ]
    .concat()
}

/// A PNG that claims a size and holds no pixels.
pub(super) fn hollow_png(width: u32, height: u32) -> Vec<u8> {
    let mut header = [width.to_be_bytes(), height.to_be_bytes()].concat();
    header.extend([8, 2, 0, 0, 0]);
    [
        b"\x89PNG\r\n\x1a\n".to_vec(),
        png_chunk(b"IHDR", &header),
        png_chunk(b"IDAT", b"\x78\x9c"),
        png_chunk(b"IEND", b""),
    ]
    .concat()
}

/// A JPEG whose header claims another size.
pub(super) fn swollen_jpeg(width: u16, height: u16) -> Vec<u8> {
    let mut bytes = jpeg(&upright(), Vec::new());
    let frame = bytes
        .windows(2)
        .position(|pair| pair == [0xFF, 0xC0])
        .unwrap();
    bytes[frame + 5..frame + 7].copy_from_slice(&height.to_be_bytes());
    bytes[frame + 7..frame + 9].copy_from_slice(&width.to_be_bytes());
    bytes
}

#[test]
fn a_huge_claim_is_refused_before_any_pixel_is_made() {
    let started = Instant::now();
    for (bytes, claimed) in [
        (hollow_png(30_000, 30_000), (30_000, 30_000)),
        (swollen_jpeg(60_000, 50_000), (60_000, 50_000)),
    ] {
        let kind = refused(&bytes);
        let PhotoErrorKind::TooManyPixels {
            width,
            height,
            limit,
        } = kind
        else {
            panic!("{claimed:?}: {kind:?}");
        };
        assert_eq!((width, height), claimed);
        assert_eq!(limit, Limits::default().pixels);
    }
    assert!(
        started.elapsed() < Duration::from_secs(2),
        "{:?}",
        started.elapsed()
    );
}

/// Too large for memory is not damage: copying the file again won't help.
#[test]
fn a_claim_beyond_all_memory_is_called_too_large() {
    let smaller = PhotoErrorKind::TooManyBytes { bytes: 2, limit: 1 }.hint();
    for side in [0x7FFF_FFFF, 1_000_000] {
        let kind = refused(&hollow_png(side, side));
        assert_eq!(kind.hint(), smaller, "{side}: {kind}");
    }
}

#[test]
fn a_size_without_its_pixels_is_damage() {
    let kind = refused(&hollow_png(3000, 4000));
    assert!(matches!(kind, PhotoErrorKind::Damaged), "{kind:?}");
}

#[test]
fn limits_hold_to_the_byte_and_the_pixel() {
    let bytes = jpeg(&upright(), Vec::new());
    let size = bytes.len() as u64;
    let within = |bytes_limit, pixels| {
        Photo::decode(
            &bytes,
            Limits {
                bytes: bytes_limit,
                pixels,
            },
        )
        .map_err(|error| {
            assert_readable(&error);
            error.kind
        })
    };
    assert!(within(size, 96 * 128).is_ok());
    match within(size - 1, 96 * 128) {
        Err(PhotoErrorKind::TooManyBytes { bytes, limit }) => {
            assert_eq!((bytes, limit), (size, size - 1));
        }
        other => panic!("{:?}", other.err()),
    }
    match within(size, 96 * 128 - 1) {
        Err(PhotoErrorKind::TooManyPixels {
            width: 96,
            height: 128,
            limit,
        }) => {
            assert_eq!(limit, 96 * 128 - 1);
        }
        other => panic!("{:?}", other.err()),
    }
}

#[test]
fn a_thumbnail_is_too_small() {
    for (width, height) in [(1, 1), (63, 500), (500, 63)] {
        let kind = refused(&png(&RgbImage::new(width, height), Vec::new()));
        let PhotoErrorKind::TooSmall {
            width: w,
            height: h,
        } = kind
        else {
            panic!("{width}×{height}: {kind:?}");
        };
        assert_eq!((w, h), (width, height));
    }
    assert!(decode(&png(&RgbImage::new(64, 64), Vec::new())).is_ok());
}
