//! Hard cases, each a rendered photo: what a shell shows for them must be right or say why not.

use serde_json::Value;
use tragus::body::{Landmark, Side, Task, View};
use tragus::infer::Effort;
use tragus::locate::{ManualPoint, Wish, WishedView};
use tragus::measure::Measure;
use tragus::pipeline::{Aids, PhotoInput, measure_photo};
use tragus::visit::{Evidence, PhotoRecord, Reading, VisitFacts};

use crate::common::{self, face_points, finder, root};

fn truth(file: &str) -> Value {
    let text = std::fs::read_to_string(root().join("fixtures/cases/truth.json")).expect("truth");
    let truth: Value = serde_json::from_str(&text).expect("JSON");
    let photo = truth["photos"][file].clone();
    assert!(photo.is_object(), "no truth for {file}");
    photo
}

fn measured_as(file: &str, wish: Wish) -> (PhotoRecord, Vec<Reading>) {
    let facts = VisitFacts {
        stature_cm: truth(file)["stature_mm"].as_f64().map(|mm| mm / 10.0),
        ..VisitFacts::default()
    };
    let input = PhotoInput {
        file: file.to_owned(),
        bytes: Ok(std::fs::read(root().join("fixtures/cases").join(file)).expect("a photo")),
        wish,
        manual: Vec::new(),
        aids: Aids::default(),
    };
    measure_photo(finder(), &facts, &input, Effort::Thorough).expect("the nets")
}

fn measured(file: &str) -> (PhotoRecord, Vec<Reading>) {
    measured_as(file, Wish::default())
}

fn says(record: &PhotoRecord, words: &str) -> bool {
    record
        .notices
        .iter()
        .any(|notice| notice.text.contains(words))
}

/// Whether the record's left and right shoulders lie on the sides where they truly are.
fn sides_are_right(record: &PhotoRecord) -> bool {
    let truth = truth(&record.file);
    let at = |side: Side| {
        let landmark = Landmark::ShoulderJoint(side);
        let x = truth["landmarks"][landmark.name()]["x"]
            .as_f64()
            .expect("a shoulder");
        (record.landmarks[&landmark].at.x, x)
    };
    let ((left, true_left), (right, true_right)) = (at(Side::Left), at(Side::Right));
    (left - right) * (true_left - true_right) > 0.0
}

#[test]
fn a_bald_head_is_not_taken_for_its_back() {
    for (file, view) in [
        ("bald-front.jpg", View::Front),
        ("bald-front-reach.jpg", View::Front),
        ("bald-back.jpg", View::Back),
    ] {
        let (record, _) = measured(file);
        assert_eq!(record.view, Some(view), "{file}");
        assert!(sides_are_right(&record), "{file}: sides exchanged");
    }
}

#[test]
fn a_view_that_the_user_names_wins_and_the_sides_follow_it() {
    let wish = Wish {
        view: Some(WishedView::Back),
        task: None,
    };
    let (record, _) = measured_as("bald-front.jpg", wish);
    assert_eq!(record.view, Some(View::Back));
    assert!(
        !sides_are_right(&record),
        "seen from behind, left and right change places"
    );
}

#[test]
fn someone_between_front_and_side_is_told_how_to_stand() {
    let (record, readings) = measured("oblique.jpg");
    assert_eq!(record.view, Some(View::Oblique(Side::Right)));
    assert!(says(&record, "Stand exactly sideways"));
    assert!(readings.is_empty());
}

#[test]
fn a_low_early_reach_is_a_reach_and_said_to_be_in_doubt() {
    let (record, readings) = measured("low-reach.jpg");
    assert_eq!(record.task, Some(Task::Reach));
    assert!(says(&record, "neither hanging nor clearly raised"));
    let flexion = readings
        .iter()
        .find(|reading| reading.measure == Measure::ShoulderFlexion)
        .expect("flexion is read");
    let got = flexion.outcome.as_ref().expect("a value");
    let rows = truth("low-reach.jpg")["measures"].clone();
    let want = rows
        .as_array()
        .expect("measures")
        .iter()
        .find(|row| row["measure"] == "shoulder_flexion")
        .and_then(|row| row["value"].as_f64())
        .expect("a truth");
    assert!(
        (got.value - want).abs() <= 6.0,
        "{} against {want}",
        got.value
    );
}

#[test]
fn the_larger_of_two_people_is_measured_and_both_faces_are_covered() {
    let (record, _) = measured("two-people.jpg");
    assert!(says(&record, "2 people"));
    assert_eq!(record.faces.len(), 2);
    let truth = truth("two-people.jpg");
    let nose = record.landmarks[&Landmark::Nose].at.x;
    let chin = truth["landmarks"]["chin"]["x"].as_f64().expect("a chin");
    assert!((nose - chin).abs() < 30.0, "someone else was measured");
    let bystander = &truth["bystander"]["landmarks"]["chin"];
    let (x, y) = (
        bystander["x"].as_f64().expect("x"),
        bystander["y"].as_f64().expect("y"),
    );
    assert!(
        record
            .faces
            .iter()
            .any(|face| (face.centre.x - x).hypot(face.centre.y - y) < 1.5 * face.radius),
        "the bystander's face is not covered"
    );
}

#[test]
fn an_empty_room_is_nobody_with_advice() {
    let (record, readings) = measured("empty-room.jpg");
    assert_eq!(record.view, None);
    assert!(says(&record, "Nobody was found"));
    assert!(readings.is_empty() && record.landmarks.is_empty());
}

#[test]
fn feet_outside_the_photo_are_missing_and_said_so() {
    let (record, _) = measured("feet-cut.jpg");
    assert!(says(&record, "Not wholly in the photo"));
    for landmark in [Landmark::Ankle(Side::Right), Landmark::Knee(Side::Right)] {
        assert!(
            !record.landmarks.contains_key(&landmark),
            "{landmark} was invented"
        );
    }
}

/// A demo photo changed by `change` and measured with her stature.
fn changed(change: impl Fn(image::RgbImage) -> image::RgbImage) -> (PhotoRecord, Vec<Reading>) {
    changed_demo("side-reach.jpg", change)
}

fn changed_demo(
    name: &str,
    change: impl Fn(image::RgbImage) -> image::RgbImage,
) -> (PhotoRecord, Vec<Reading>) {
    let demo = common::demo("intake").join(name);
    let picture = change(image::open(demo).expect("a photo").into_rgb8());
    let mut png = std::io::Cursor::new(Vec::new());
    picture
        .write_to(&mut png, image::ImageFormat::Png)
        .expect("a picture");
    let facts = VisitFacts {
        stature_cm: Some(164.0),
        ..VisitFacts::default()
    };
    let input = PhotoInput {
        file: "changed.png".to_owned(),
        bytes: Ok(png.into_inner()),
        wish: Wish::default(),
        manual: Vec::new(),
        aids: Aids::default(),
    };
    measure_photo(finder(), &facts, &input, Effort::Thorough).expect("the nets")
}

/// A picture as a camera tilted by so much would take it, what lay outside being drawn out.
fn tilted(picture: &image::RgbImage, degrees: f32) -> image::RgbImage {
    let (width, height) = (picture.width() as f32, picture.height() as f32);
    let (sin, cos) = degrees.to_radians().sin_cos();
    image::RgbImage::from_fn(picture.width(), picture.height(), |x, y| {
        let (x, y) = (x as f32 - width / 2.0, y as f32 - height / 2.0);
        let (x, y) = (
            cos * x + sin * y + width / 2.0,
            cos * y - sin * x + height / 2.0,
        );
        let (x, y) = (x.clamp(0.0, width - 2.0), y.clamp(0.0, height - 2.0));
        image::imageops::interpolate_bilinear(picture, x, y).expect("inside")
    })
}

#[test]
fn a_camera_tilted_beyond_what_uprights_tell_makes_no_value_sure() {
    for (name, measure) in [
        ("side-right.jpg", Measure::TrunkLean),
        ("front.jpg", Measure::TrunkShift),
    ] {
        let value = |degrees: f32| {
            let (record, readings) = changed_demo(name, |picture| tilted(&picture, degrees));
            let reading = readings.into_iter().find(|r| r.measure == measure);
            (record, reading.expect("it is looked for").outcome)
        };
        let level = value(0.0).1.expect("a value");
        for degrees in [-20.0, 20.0] {
            let (record, outcome) = value(degrees);
            assert!(says(&record, "leans as a whole"), "{:?}", record.notices);
            assert_eq!(record.setup.expect("a fit").roll_deg, None);
            if let Ok(tilted) = outcome {
                let off = (tilted.value - level.value).abs();
                assert!(
                    off < 2.0 * tilted.sigma,
                    "{name} {degrees}: {tilted:?}, is {level:?}"
                );
            }
        }
    }
}

#[test]
fn a_photo_that_lies_on_its_side_is_not_measured() {
    for turn in [image::imageops::rotate90, image::imageops::rotate270] {
        let (record, readings) = changed(|picture| turn(&picture));
        assert!(readings.is_empty(), "{readings:?}");
        assert!(says(&record, "upright") || says(&record, "right way up"));
    }
}

#[test]
fn a_close_up_has_no_lengths_in_centimetres() {
    let (_, readings) =
        changed(|picture| image::imageops::crop_imm(&picture, 150, 60, 470, 360).to_image());
    for reading in readings.iter().filter(|r| r.measure == Measure::ArmToEar) {
        let reason = &reading
            .outcome
            .as_ref()
            .expect_err("a length from a close-up")
            .reason;
        assert!(reason.starts_with("needs a scale"), "{reason}");
    }
}

#[test]
fn a_dark_photo_is_not_called_blurred() {
    for (light, blur, dark, blurred) in [
        (1.0, 0.0, false, false),
        (0.4, 0.0, false, false),
        (0.2, 0.0, true, false),
        (0.4, 2.0, false, true),
        (1.0, 2.0, false, true),
    ] {
        let (record, _) = changed(|mut picture| {
            if blur > 0.0 {
                picture = image::imageops::blur(&picture, blur);
            }
            for pixel in picture.pixels_mut() {
                pixel.0 = pixel.0.map(|level| (f64::from(level) * light) as u8);
            }
            picture
        });
        let notices = &record.notices;
        let what = format!("light {light}, blur {blur}: {notices:?}");
        assert_eq!(says(&record, "very dark"), dark, "{what}");
        assert_eq!(says(&record, "blurred"), blurred, "{what}");
    }
}

#[test]
fn a_head_and_shoulders_picture_comes_with_advice() {
    let (record, readings) =
        changed(|picture| image::imageops::crop_imm(&picture, 200, 60, 300, 260).to_image());
    assert!(readings.is_empty(), "{readings:?}");
    assert!(says(&record, "whole person"), "{:?}", record.notices);
}

#[test]
fn a_wish_against_the_photo_is_refused() {
    let wish = Wish {
        view: Some(WishedView::Front),
        task: None,
    };
    let (record, readings) = measured_as("low-reach.jpg", wish);
    assert!(readings.is_empty());
    assert!(says(&record, "was said to be taken from the front"));
}

#[test]
fn the_near_side_can_be_named() {
    let wish = Wish {
        view: Some(WishedView::Side(Some(Side::Left))),
        task: None,
    };
    let (record, _) = measured_as("low-reach.jpg", wish);
    assert_eq!(record.view, Some(View::Side(Side::Left)));
}

#[test]
fn points_placed_outside_the_photo_are_left_out_and_named() {
    let place = |x: f64, y: f64| ManualPoint {
        landmark: Landmark::C7,
        at: tragus::geometry::Point::new(x, y),
        sigma_px: None,
    };
    for (x, y, words) in [(1e308, 1e308, "lies outside"), (250.0, 620.0, "lies far")] {
        let input = PhotoInput {
            file: "low-reach.jpg".to_owned(),
            bytes: Ok(std::fs::read(root().join("fixtures/cases/low-reach.jpg")).expect("a photo")),
            wish: Wish::default(),
            manual: vec![place(x, y)],
            aids: Aids::default(),
        };
        let (record, _) = measure_photo(finder(), &VisitFacts::default(), &input, Effort::Thorough)
            .expect("the nets");
        assert!(says(&record, words), "{:?}", record.notices);
        let by_hand = record
            .landmarks
            .get(&Landmark::C7)
            .is_some_and(|located| located.evidence == Evidence::Manual);
        assert_eq!(by_hand, words == "lies far");
    }
}

#[test]
fn a_point_placed_where_no_body_has_it_is_used_and_said_to_be_odd() {
    let of = |manual: Vec<ManualPoint>| {
        let input = PhotoInput {
            file: "low-reach.jpg".to_owned(),
            bytes: Ok(std::fs::read(root().join("fixtures/cases/low-reach.jpg")).expect("a photo")),
            wish: Wish::default(),
            manual,
            aids: Aids::default(),
        };
        let facts = VisitFacts::default();
        let (record, _) = measure_photo(finder(), &facts, &input, Effort::Quick).expect("the nets");
        record
    };
    let seen = of(Vec::new());
    let c7_at = |at| {
        of(vec![ManualPoint {
            landmark: Landmark::C7,
            at,
            sigma_px: None,
        }])
    };
    let before_the_face = c7_at(seen.landmarks[&Landmark::Nose].at);
    assert!(says(
        &before_the_face,
        "The C7 placed by hand lies too far forward"
    ));
    assert!(says(&before_the_face, "used all the same"));
    assert_eq!(
        before_the_face.landmarks[&Landmark::C7].evidence,
        Evidence::Manual
    );
    let in_its_place = c7_at(seen.landmarks[&Landmark::C7].at);
    assert!(
        !says(&in_its_place, "placed by hand"),
        "{:?}",
        in_its_place.notices
    );
}

#[test]
fn the_turn_of_a_turned_body_lies_within_three_sigmas() {
    let (record, _) = measured("turned.jpg");
    let turn = record.setup.expect("a fitted camera").turn_deg;
    let truth = truth("turned.jpg")["camera"]["turn_deg"]
        .as_f64()
        .expect("a turn");
    assert!(
        (turn.value - truth).abs() <= 3.0 * turn.sigma,
        "{turn:?}, is {truth}"
    );
}

#[test]
fn every_face_point_of_every_case_is_covered() {
    for file in [
        "bald-front.jpg",
        "bald-front-reach.jpg",
        "headscarf-side.jpg",
        "turned.jpg",
    ] {
        let (record, _) = measured(file);
        let (_, shown) = face_points(&record, &truth(file));
        assert!(shown.is_empty(), "{file}: {shown:?} shows");
    }
}
