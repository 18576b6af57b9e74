//! Photos with a board and stickers (`fixtures/aids`), from their bytes to what is told of them.

use std::path::PathBuf;

use image::codecs::jpeg::JpegEncoder;
use image::imageops;
use serde_json::Value;
use tragus::infer::Effort;
use tragus::locate::Wish;
use tragus::pipeline::{Aids, PhotoInput, measure_photo};
use tragus::visit::{CameraSetup, Evidence, PhotoRecord, Reading, VisitFacts};

use crate::common::{finder, root};

fn folder() -> PathBuf {
    root().join("fixtures/aids/camera-a")
}

fn truth() -> Value {
    let text = std::fs::read_to_string(folder().join("truth.json")).expect("a truth");
    let truth: Value = serde_json::from_str(&text).expect("JSON");
    assert!(truth["photos"].as_object().expect("photos").len() >= 10);
    truth
}

fn bytes(file: &str) -> Vec<u8> {
    std::fs::read(folder().join(file)).expect("a photo")
}

fn measured(bytes: Vec<u8>, facts: &VisitFacts) -> (PhotoRecord, Vec<Reading>) {
    let input = PhotoInput {
        file: "photo.jpg".to_owned(),
        bytes: Ok(bytes),
        wish: Wish::default(),
        manual: Vec::new(),
        aids: Aids::default(),
    };
    measure_photo(finder(), facts, &input, Effort::Thorough).expect("the nets")
}

/// The picture alone, as a program writes it that keeps nothing else.
fn without_exif(bytes: &[u8], change: impl Fn(image::RgbImage) -> image::RgbImage) -> Vec<u8> {
    let picture = change(image::load_from_memory(bytes).expect("a JPEG").to_rgb8());
    let mut out = Vec::new();
    let encoder = JpegEncoder::new_with_quality(&mut out, 92);
    picture.write_with_encoder(encoder).expect("a JPEG");
    out
}

fn told(record: &PhotoRecord, words: &str) -> bool {
    record
        .notices
        .iter()
        .any(|notice| notice.text.contains(words))
}

/// What the board says of the camera holds within its error, and no stature is needed.
#[test]
fn a_board_tells_where_the_camera_stood() {
    let truth = truth();
    let mut used = 0;
    let mut far = Vec::new();
    for (file, of) in truth["photos"].as_object().expect("photos") {
        let (record, _) = measured(bytes(file), &VisitFacts::default());
        let Some(setup) = record.setup.filter(|setup: &CameraSetup| setup.by_board) else {
            continue;
        };
        used += 1;
        let camera = |name: &str| of["camera"][name].as_f64().expect("a number");
        let roll = setup.roll_deg.expect("the board tells it");
        let off = [
            (setup.distance_cm.value - 100.0 * camera("distance_m")) / setup.distance_cm.sigma,
            (roll.value - camera("roll_deg")) / roll.sigma,
        ];
        far.extend(
            off.map(f64::abs)
                .into_iter()
                .filter(|off| *off > 3.0)
                .map(|off| (file.clone(), off)),
        );
    }
    assert!(used >= 8, "the board was used in {used} of 10 photos");
    assert!(
        far.len() <= 1,
        "off by more than three of their sigmas: {far:?}"
    );
}

/// A file without EXIF data, as messengers leave it: the focal length is a guess, and everything
/// is measured all the same.
#[test]
fn a_board_is_read_without_a_focal_length() {
    for file in [
        "p01-stand-left.jpg",
        "p02-stand-right.jpg",
        "p08-stand-right.jpg",
    ] {
        for stature_cm in [None, Some(165.0)] {
            let facts = VisitFacts {
                stature_cm,
                ..VisitFacts::default()
            };
            let (record, readings) = measured(without_exif(&bytes(file), |same| same), &facts);
            let angles = readings
                .iter()
                .filter(|reading| reading.outcome.is_ok())
                .count();
            assert!(
                record.setup.is_some() && angles >= 4,
                "{file} {stature_cm:?}: {record:?}"
            );
        }
    }
}

#[test]
fn a_mirrored_board_stops_the_measuring() {
    let mirrored = without_exif(&bytes("p01-stand-left.jpg"), |picture| {
        imageops::flip_horizontal(&picture)
    });
    let (record, readings) = measured(mirrored, &VisitFacts::default());
    assert_eq!(readings, []);
    assert!(
        told(&record, "left and right are exchanged"),
        "{:?}",
        record.notices
    );
}

/// A board turned about its middle by 8°, in a room whose door tells the vertical.
#[test]
fn a_board_that_leans_is_not_taken_for_the_plumb_line() {
    let file = "p01-stand-left.jpg";
    let truth = truth();
    let corners: Vec<(f64, f64)> = truth["photos"][file]["board"]["corners"]
        .as_array()
        .expect("corners")
        .iter()
        .map(|at| (at[0].as_f64().expect("x"), at[1].as_f64().expect("y")))
        .collect();
    let mean = |of: fn(&(f64, f64)) -> f64| corners.iter().map(of).sum::<f64>() / 4.0;
    let (x, y) = (mean(|at| at.0), mean(|at| at.1));
    let half = 0.75 * (corners[3].1 - corners[0].1);
    let leaning = without_exif(&bytes(file), |mut picture| {
        let side = (2.0 * half) as u32;
        let (left, top) = ((x - half) as i64, (y - half) as i64);
        let patch = imageops::crop_imm(&picture, left as u32, top as u32, side, side).to_image();
        let turned = imageproc::geometric_transformations::rotate_about_center(
            &patch,
            8f32.to_radians(),
            imageproc::geometric_transformations::Interpolation::Bicubic,
            imageproc::geometric_transformations::Border::Constant(image::Rgb([235, 235, 235])),
        );
        imageops::replace(&mut picture, &turned, left, top);
        picture
    });
    let (record, _) = measured(leaning, &VisitFacts::default());
    let by_board = record.setup.is_some_and(|setup| setup.by_board);
    assert!(!by_board, "{:?}", record.setup);
    assert!(told(&record, "was not used"), "{:?}", record.notices);
}

/// Dots lie on these people's ears and shoulders: some are found, none on anything else.
#[test]
fn stickers_are_found_where_they_are_worn() {
    let truth = truth();
    let (mut found, mut wrong) = (0, Vec::new());
    for (file, of) in truth["photos"].as_object().expect("photos") {
        let facts = VisitFacts {
            stature_cm: of["stature_mm"].as_f64().map(|mm| mm / 10.0),
            ..VisitFacts::default()
        };
        let (record, _) = measured(bytes(file), &facts);
        for (landmark, located) in &record.landmarks {
            if located.evidence != Evidence::Sticker {
                continue;
            }
            match of["stickers"].get(landmark.name()) {
                Some(_) => found += 1,
                None => wrong.push(format!("{file}: {landmark}")),
            }
        }
    }
    assert_eq!(wrong, Vec::<String>::new());
    assert!(found >= 1, "no sticker was found");
    println!("{found} stickers were found");
}
