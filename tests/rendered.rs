//! The camera and the catalogue against the program that rendered the demo people, which was
//! written separately: the same points of the body in space must land on the same pixels and
//! give the same measures.

use serde_json::Value;

use tragus::body::Landmark;
use tragus::geometry::Point;
use tragus::measure::Figure;
use tragus::scores;

use crate::common::root;
use crate::truth;

/// Every rendered photo of the demo and of the truth set, with its truth.
fn photos() -> Vec<(String, Value)> {
    let folders = [
        "demo/visits/2026-03-10-intake",
        "demo/visits/2026-04-28-follow-up",
        "truth/camera-a",
        "truth/camera-b",
    ];
    let photos: Vec<(String, Value)> = folders
        .into_iter()
        .flat_map(|folder| {
            truth::photos(&root().join("fixtures").join(folder))
                .into_iter()
                .map(move |(file, photo)| (format!("{folder}/{file}"), photo))
        })
        .collect();
    assert!(photos.len() >= 70);
    photos
}

/// A point of the body in space, millimetres: forward, to the subject's left, up.
pub type InSpace = [f64; 3];

pub fn in_space(point: &Value) -> InSpace {
    serde_json::from_value(point.clone()).unwrap()
}

pub fn body(photo: &Value) -> Vec<(Landmark, InSpace)> {
    let points: Vec<(Landmark, InSpace)> = photo["body"]
        .as_object()
        .unwrap()
        .iter()
        .filter_map(|(name, point)| Some((Landmark::from_name(name)?, in_space(point))))
        .collect();
    assert!(points.len() >= 20);
    points
}

/// Along the body's plane to the photo's right, and towards the camera.
pub fn along_and_nearer(photo: &Value, [forward, left, _]: InSpace) -> (f64, f64) {
    match (
        photo["view"].as_str().unwrap(),
        photo["side"].as_str().unwrap(),
    ) {
        ("side", "right") => (forward, -left),
        ("side", "left") => (-forward, left),
        ("front", "") => (left, forward),
        ("back", "") => (-left, -forward),
        other => panic!("no such view: {other:?}"),
    }
}

/// Pixels are written to a thousandth, angles of the camera to 1e-5°, millimetres to a hundredth.
#[test]
fn the_camera_sees_each_point_where_the_renderer_drew_it() {
    for (file, photo) in photos() {
        let camera = truth::camera(&photo);
        for (landmark, at) in body(&photo) {
            let drawn = truth::pixel(&photo, &landmark.name()).unwrap();
            let (along, nearer) = along_and_nearer(&photo, at);
            let seen = camera
                .photo_from_plane(Point::new(along, at[2]), nearer)
                .unwrap();
            let off = seen.distance(drawn);
            assert!(off < 0.01, "{file}: {landmark} {off:.3} px off");
        }
    }
}

/// Every measure in the truth, read by the catalogue off the body's own plane, with the renderer's
/// apex of the back in the place of T4 and T8.
#[test]
fn the_catalogue_reads_what_the_renderer_measured() {
    let mut read = 0;
    for (file, photo) in photos() {
        let from_the_side = photo["view"] == "side";
        let in_plane = |[forward, left, up]: InSpace| {
            Point::new(if from_the_side { forward } else { left }, up)
        };
        let mut figure: Figure = body(&photo)
            .into_iter()
            .filter(|(landmark, _)| *landmark != Landmark::T4)
            .map(|(landmark, at)| (landmark, in_plane(at)))
            .collect();
        let apex = in_space(&photo["body"][truth::APEX]);
        figure.place(Landmark::T8, in_plane(apex));
        for truth in truth::measures(&photo) {
            let (measure, expected) = (truth.measure, truth.value);
            let value = measure
                .read(&figure, truth.side)
                .map(|inner| measure.to_outer(inner));
            let value = value.unwrap_or_else(|| panic!("{file}: {measure} has no value"));
            let off = (value - expected).abs();
            assert!(
                off < 0.01,
                "{file}: {measure} {value:.4}, the renderer says {expected}"
            );
            read += 1;
        }
    }
    assert!(read >= 400, "only {read} measures");
}

/// The table beside the truth, which agreement is worked out from, says the same.
#[test]
fn the_table_of_the_truth_set_holds_its_measures() {
    for camera in ["truth/camera-a", "truth/camera-b"] {
        let table = scores::read(&root().join("fixtures").join(camera).join("truth.csv")).unwrap();
        let mut listed = 0;
        for (file, photo) in photos() {
            let Some(file) = file.strip_prefix(camera) else {
                continue;
            };
            for truth in photo["measures"].as_array().unwrap() {
                let of = |name: &str| truth[name].as_str().unwrap();
                let row = table.iter().find(|row| {
                    (&*row.photo, &*row.measure, &*row.unit)
                        == (&file[1..], of("measure"), of("unit"))
                        // An asymmetry is of both sides: the table gives it none.
                        && (row.side == of("side") || row.side.is_empty())
                });
                let value = row.and_then(|row| row.value);
                assert_eq!(value, truth["value"].as_f64(), "{camera}{file}: {truth}");
                listed += 1;
            }
        }
        assert_eq!(listed, table.len(), "{camera}");
    }
}
