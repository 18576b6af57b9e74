//! Photos in the formats of other people's programs: `scripts/formats` writes one picture in each.

use image::{Rgb, RgbImage};

use tragus::photo::{Limits, Photo, PhotoErrorKind};

use crate::common::root;

fn bytes(file: &str) -> Vec<u8> {
    let path = root().join("fixtures/formats").join(file);
    std::fs::read(&path).unwrap_or_else(|error| panic!("{error}: {}", path.display()))
}

fn read(file: &str) -> Result<RgbImage, PhotoErrorKind> {
    Photo::decode(&bytes(file), Limits::default())
        .map(|photo| photo.upright().clone())
        .map_err(|error| error.kind)
}

fn picture(file: &str) -> RgbImage {
    read(file).unwrap_or_else(|error| panic!("{file}: {error}"))
}

/// How far two pictures are apart at most, in levels of 255.
fn apart(one: &RgbImage, other: &RgbImage) -> u8 {
    assert_eq!(one.dimensions(), other.dimensions());
    let levels = one.as_raw().iter().zip(other.as_raw());
    levels.map(|(a, b)| a.abs_diff(*b)).max().unwrap_or(0)
}

/// Files of 16 bits hold what 8 bits can't, less than half a level of it: rounding gives the very
/// picture, cutting off one that is a level off.
#[test]
fn every_depth_and_packing_holds_the_same_picture() {
    let original = picture("picture.png");
    for file in [
        "rgb16.png",
        "palette.png",
        "lzw.tif",
        "packbits.tif",
        "deflate16.tif",
        "big.tif",
        "big-endian16.tif",
        "tiles.tif",
        "planes.tif",
        "float.tif",
        "cmyk.tif",
    ] {
        assert_eq!(apart(&picture(file), &original), 0, "{file}");
    }
    let grey = picture("grey.png");
    for file in ["grey16.png", "grey16.tif"] {
        assert_eq!(apart(&picture(file), &grey), 0, "{file}");
    }
    // This one loses something on purpose.
    assert!(apart(&picture("jpeg.tif"), &original) <= 8);
    let black_and_white = picture("fax.tif");
    assert!(
        black_and_white
            .pixels()
            .all(|pixel| matches!(pixel.0, [0, 0, 0] | [255, 255, 255]))
    );
}

/// Half of the picture is clear, over colours that nobody is meant to see; two rows are half clear.
#[test]
fn what_is_clear_shows_white() {
    for (file, original) in [
        ("alpha.png", "picture.png"),
        ("alpha16.png", "picture.png"),
        ("alpha.tif", "picture.png"),
        ("premultiplied.tif", "picture.png"),
        ("grey-alpha.png", "grey.png"),
    ] {
        let mut expected = picture(original);
        for (_, y, pixel) in expected.enumerate_pixels_mut() {
            let seen = |value: u8| match y {
                0..48 => 255,
                48..50 => (f64::from(value) * 128.0 / 255.0 + 127.0).round() as u8,
                _ => value,
            };
            *pixel = Rgb(pixel.0.map(seen));
        }
        // Colours that are stored dimmed were rounded once more.
        assert!(apart(&picture(file), &expected) <= 1, "{file}");
    }
}

#[test]
fn a_kind_of_tiff_that_is_not_read_says_so() {
    let kind = read("palette.tif").expect_err("colours by number");
    assert_eq!(kind.to_string(), "this kind of TIFF file is not supported");
    assert!(kind.hint().starts_with("export the photo as JPEG"));
}

#[cfg(not(feature = "heic"))]
#[test]
fn what_the_build_left_out_is_named_with_two_ways_out() {
    for (file, format) in [("upright.heic", "HEIC"), ("upright.avif", "AVIF")] {
        let kind = read(file).expect_err("built without it");
        assert_eq!(
            kind.to_string(),
            format!("it is {format}, which this program was built without")
        );
        assert!(kind.hint().contains("JPEG") && kind.hint().contains("feature heic"));
    }
}

#[cfg(feature = "heic")]
mod heic {
    use image::imageops;

    use super::*;
    use crate::common::{demo, mean_apart};

    /// The photo that the files were made of, at their size.
    fn original() -> RgbImage {
        let photo = image::open(demo("intake").join("side-reach.jpg")).expect("the demo photo");
        let (width, height) = (photo.width() / 2, photo.height() / 2);
        let filter = imageops::FilterType::Lanczos3;
        imageops::resize(&photo.into_rgb8(), width, height, filter)
    }

    /// `turned.heic` says twice that it lies on its side, as phones do: in the file's own way and in
    /// its EXIF block. A picture that is turned wrongly is more than 20 levels off.
    #[test]
    fn the_picture_is_that_of_the_jpeg_and_turned_once() {
        let original = original();
        let upside_down = imageops::rotate180(&original);
        assert!(mean_apart(&upside_down, &original) > 20.0);
        for file in ["upright.heic", "turned.heic", "deep.heic", "upright.avif"] {
            let off = mean_apart(&picture(file), &original);
            println!("{file}: {off:.2} levels off on average");
            assert!(off < 3.0, "{file}: {off:.2}");
        }
        let clear = picture("alpha.heic");
        assert_eq!(clear.get_pixel(100, 50), &Rgb([255; 3]));
    }

    #[test]
    fn limits_hold_before_any_pixel_is_made() {
        let file = bytes("turned.heic");
        let (pixels, size) = (360 * 480, file.len() as u64);
        let kind = |bytes, pixels| {
            let limits = Limits { bytes, pixels };
            Photo::decode(&file, limits).err().map(|error| error.kind)
        };
        assert!(kind(size, pixels).is_none());
        assert!(matches!(
            kind(size, pixels - 1),
            Some(PhotoErrorKind::TooManyPixels { .. })
        ));
        assert!(matches!(
            kind(size - 1, pixels),
            Some(PhotoErrorKind::TooManyBytes { .. })
        ));
    }

    #[test]
    fn a_file_cut_short_or_with_a_flipped_byte_is_no_disaster() {
        let file = bytes("turned.heic");
        for length in (16..file.len()).step_by(97) {
            let cut = Photo::decode(&file[..length], Limits::default());
            assert!(cut.is_err(), "{length} of {} bytes", file.len());
        }
        for at in (0..file.len()).step_by(31) {
            let mut flipped = file.clone();
            flipped[at] ^= 0x55;
            let _message_or_picture = Photo::decode(&flipped, Limits::default());
        }
    }
}
