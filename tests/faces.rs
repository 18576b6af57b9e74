//! Faces in the pictures that are passed on: covered where they truly are, and so that a face detector
//! that knows nothing of tragus finds none.

use std::ffi::OsStr;
use std::fs::{self, File};
use std::io::Cursor;
use std::path::PathBuf;
use std::sync::OnceLock;

use image::{ImageFormat, RgbImage};
use rustface::{Detector, ImageData, Model, Rectangle};
use serde_json::Value;
use tragus::batch;
use tragus::body::View;
use tragus::geometry::Point;
use tragus::locate::Wish;
use tragus::photo;
use tragus::pipeline::{Aids, PhotoInput, measure_visit};
use tragus::report::picture::{self, Framing};
use tragus::visit::{PhotoRecord, VisitFacts};

use crate::common::{self, face_points, finder, root};
use crate::real_photos::{annotated, cut_out};

fn measured(bytes: &[u8]) -> PhotoRecord {
    let input = PhotoInput {
        file: "photo".to_owned(),
        bytes: Ok(bytes.to_vec()),
        wish: Wish::default(),
        manual: Vec::new(),
        aids: Aids::default(),
    };
    let mut visit = measure_visit(finder(), VisitFacts::default(), [input]).expect("the nets");
    visit.photos.remove(0)
}

/// The photos of rendered people, and what was found in them; looked at once for all tests.
fn rendered() -> &'static [(PathBuf, PhotoRecord)] {
    static RENDERED: OnceLock<Vec<(PathBuf, PhotoRecord)>> = OnceLock::new();
    RENDERED.get_or_init(|| {
        ["truth/camera-a", "cases", "demo"]
            .iter()
            .flat_map(|name| batch::photos_in(&root().join("fixtures").join(name)).found)
            .map(|(_, path)| {
                let record = measured(&fs::read(&path).expect("a photo"));
                (path, record)
            })
            .collect()
    })
}

/// Eyes and chin of rendered people, where they truly are, in every pose and view.
#[test]
fn the_face_of_every_rendered_person_is_covered() {
    let folder = root().join("fixtures/truth/camera-a");
    let truth = fs::read_to_string(folder.join("truth.json")).expect("the truth");
    let truth: Value = serde_json::from_str(&truth).expect("JSON");
    let (mut seen, mut photos, mut shown) = (0, 0, Vec::<String>::new());
    for (path, record) in rendered()
        .iter()
        .filter(|(path, _)| path.starts_with(&folder))
    {
        photos += 1;
        // From behind nothing of a face shows.
        if record.view == Some(View::Back) {
            continue;
        }
        let file = path.file_name().and_then(OsStr::to_str).expect("a name");
        let (points, uncovered) = face_points(record, &truth["photos"][file]);
        seen += points;
        shown.extend(uncovered.iter().map(|name| format!("{name} of {file}")));
    }
    println!("{seen} points of {photos} photos");
    assert!(seen > 60 && photos >= 30, "{seen}");
    assert_eq!(shown, Vec::<String>::new());
}

/// SeetaFace, after "Funnel-structured cascade for multi-view face detection with alignment awareness"
/// (Wu et al., as its source cites it), BSD 2-clause. It knows faces seen from the front.
fn detector() -> Box<dyn Detector> {
    static MODEL: OnceLock<Model> = OnceLock::new();
    let model = MODEL.get_or_init(|| {
        let path = root().join("fixtures/faces/seeta_fd_frontal_v1.0.bin");
        rustface::read_model(File::open(path).expect("a file")).expect("a model")
    });
    let mut detector = rustface::create_detector_with_model(model.clone());
    // The smallest faces and the least sure that its documentation speaks of.
    detector.set_min_face_size(20);
    detector.set_score_thresh(0.95);
    detector.set_slide_window_step(4, 4);
    detector
}

/// The faces that the detector finds in a photo as a report shows it, and how that picture is framed.
/// `None` where a report shows no picture.
fn faces(
    upright: &RgbImage,
    record: &PhotoRecord,
    show: bool,
) -> Option<(Vec<Rectangle>, Framing)> {
    let framing = picture::frame_alike(&[record], 960).remove(0)?;
    let encoded = picture::encode(upright, record, framing, show)?;
    let shown = image::load_from_memory(&encoded.jpeg).expect("a picture");
    let grey = shown.into_luma8();
    let found = detector().detect(&ImageData::new(&grey, grey.width(), grey.height()));
    Some((found.iter().map(|face| *face.bbox()).collect(), framing))
}

#[test]
fn a_face_detector_finds_no_rendered_face_that_is_covered() {
    let (mut pictures, mut bare) = (0, 0);
    for (path, record) in rendered() {
        let bytes = fs::read(path).expect("a photo");
        let Ok(upright) = photo::upright(&bytes, photo::Limits::default()) else {
            continue;
        };
        let Some((covered, _)) = faces(&upright, record, false) else {
            continue;
        };
        pictures += 1;
        bare += faces(&upright, record, true).map_or(0, |(faces, _)| faces.len());
        assert!(covered.is_empty(), "{}: {covered:?}", path.display());
    }
    println!("{bare} faces in {pictures} pictures, none once covered");
    assert!(pictures > 50 && bare > 15, "{bare} of {pictures}");
}

/// The faces of bystanders don't count: that not every one may be covered is said with the photo.
#[test]
fn a_face_detector_finds_no_real_face_that_is_covered() {
    let Some(folder) = common::real_photos() else {
        println!("SKIPPED: the photos of real people are not on this machine");
        return;
    };
    let (mut pictures, mut bare) = (0, 0);
    for person in annotated(&folder) {
        let Some(nose) = person.points[0] else {
            continue;
        };
        let (picture, left, top) = cut_out(&person);
        let mut bytes = Cursor::new(Vec::new());
        picture
            .write_to(&mut bytes, ImageFormat::Png)
            .expect("a photo");
        let record = measured(bytes.get_ref());
        let theirs = |show| {
            let (faces, framing) = faces(&picture, &record, show)?;
            let nose = Point::new(nose.0 - left, nose.1 - top);
            let nose = framing.picture_from_photo.apply(nose);
            let (x, y) = (nose.x as i32, nose.y as i32);
            let has_nose = |face: &&Rectangle| {
                let right = face.x() + face.width() as i32;
                let bottom = face.y() + face.height() as i32;
                (face.x()..right).contains(&x) && (face.y()..bottom).contains(&y)
            };
            Some(faces.iter().filter(has_nose).count())
        };
        let (Some(shown), Some(covered)) = (theirs(true), theirs(false)) else {
            continue;
        };
        pictures += 1;
        bare += usize::from(shown > 0);
        assert_eq!(covered, 0, "{}", person.photo.display());
    }
    println!("{bare} faces of {pictures} people, none once covered");
    assert!(pictures >= 20 && bare > 10, "{bare} of {pictures}");
}
