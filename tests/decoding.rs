//! Raw outputs of the nets as published, for one photo whose joints are known, decoded without
//! a runtime.

use std::path::PathBuf;

use ndarray::{Array, Array2, Array4, Dimension};
use serde::Deserialize;
use serde_json::Value;

use tragus::body::{Landmark, Side};
use tragus::geometry::Point;
use tragus::infer::{Effort, NetPose, decode_detections, decode_pose, merge_detections};
use tragus::photo::Photo;

use crate::common::{finder, root};

fn fixture(path: &str) -> PathBuf {
    root().join("fixtures").join(path)
}

fn json(path: &str) -> Value {
    let text = std::fs::read_to_string(fixture(path)).unwrap();
    serde_json::from_str(&text).unwrap()
}

fn tensor<D: Dimension>(name: &str) -> Array<f32, D> {
    ndarray_npy::read_npy(fixture("tensors").join(name)).unwrap()
}

type Pixel = (f64, f64);

/// The maps from the nets' inputs to the photo, as the script that cut them wrote them down.
#[derive(Deserialize)]
struct Crops {
    photo_from_detector_input: [[f64; 3]; 2],
    photo_from_pose_input: [[f64; 3]; 2],
}

fn crops() -> Crops {
    serde_json::from_value(json("tensors/crops.json")).unwrap()
}

fn apply<S>(map: &[[f64; 3]; 2], at: Point<S>) -> Pixel {
    let [x, y] = map.map(|row| row[0] * at.x + row[1] * at.y + row[2]);
    (x, y)
}

fn distance(a: Pixel, b: Pixel) -> f64 {
    (a.0 - b.0).hypot(a.1 - b.1)
}

/// Where things truly are in the photo.
struct Truth(Value);

impl Truth {
    fn read() -> Truth {
        Truth(
            json("demo/visits/2026-03-10-intake/truth.json")["photos"]["front.jpg"]["landmarks"]
                .take(),
        )
    }

    fn at(&self, name: &str) -> Pixel {
        let point = &self.0[name];
        (point["x"].as_f64().unwrap(), point["y"].as_f64().unwrap())
    }

    fn middle(&self, of: &str) -> Pixel {
        let (left, right) = (
            self.at(&format!("{of}_left")),
            self.at(&format!("{of}_right")),
        );
        ((left.0 + right.0) / 2.0, (left.1 + right.1) / 2.0)
    }

    /// From the top of the head to the heels, pixels.
    fn body_height(&self) -> f64 {
        distance(self.at("head_top"), self.middle("heel"))
    }
}

fn pose() -> NetPose {
    let heatmaps: Array4<f32> = tensor("pose_full.heatmaps.npy");
    let points: Array2<f32> = tensor("pose_full.points.npy");
    let world_points: Array2<f32> = tensor("pose_full.world_points.npy");
    let score: Array2<f32> = tensor("pose_full.person_score.npy");
    decode_pose(
        points.row(0),
        score[(0, 0)],
        heatmaps.index_axis(ndarray::Axis(0), 0),
        world_points.row(0),
    )
}

#[test]
fn the_detector_finds_the_one_person() {
    let boxes: ndarray::Array3<f32> = tensor("person_detector.boxes.npy");
    let scores: ndarray::Array3<f32> = tensor("person_detector.scores.npy");
    let first = ndarray::Axis(0);
    let decoded = decode_detections(boxes.index_axis(first, 0), scores.index_axis(first, 0), 0.5);
    assert!(decoded.len() > 1, "several anchors see the person");
    let found = merge_detections(decoded);
    assert_eq!(found.len(), 1, "{found:?}");
    let person = found[0];
    assert!(person.score > 0.5 && person.score <= 1.0);

    let (crops, truth) = (crops(), Truth::read());
    let to_photo = |at| apply(&crops.photo_from_detector_input, at);
    let height = truth.body_height();
    let off = distance(to_photo(person.mid_hip), truth.middle("hip_joint"));
    assert!(
        off < 0.05 * height,
        "mid-hip {off:.1} px off, body {height:.1} px"
    );
    // The circle around the hips holds the head and the feet, and little more.
    let radius = distance(to_photo(person.mid_hip), to_photo(person.rim));
    for end in [truth.at("head_top"), truth.middle("heel")] {
        let part = distance(truth.middle("hip_joint"), end) / radius;
        assert!(
            (0.7..1.15).contains(&part),
            "an end of the body at {part:.2} of the circle"
        );
    }
    assert!(person.turn().abs().degrees() < 5.0, "{:?}", person.turn());
}

#[test]
fn a_threshold_above_every_score_finds_nobody() {
    let boxes: ndarray::Array3<f32> = tensor("person_detector.boxes.npy");
    let scores: ndarray::Array3<f32> = tensor("person_detector.scores.npy");
    let first = ndarray::Axis(0);
    let decoded = decode_detections(
        boxes.index_axis(first, 0),
        scores.index_axis(first, 0),
        1.01,
    );
    assert!(merge_detections(decoded).is_empty());
}

/// Every joint within 3 % of the body's height of where it truly is, on its own side.
#[test]
fn the_pose_nets_joints_lie_where_they_are() {
    use Landmark::{Ankle, Elbow, HipJoint, Knee, ShoulderJoint};
    let (pose, crops, truth) = (pose(), crops(), Truth::read());
    assert!(pose.score > 0.9, "score {}", pose.score);
    let height = truth.body_height();
    for of in [ShoulderJoint, Elbow, HipJoint, Knee, Ankle] {
        for side in Side::BOTH {
            let landmark = of(side);
            let seen = apply(&crops.photo_from_pose_input, pose.points[&landmark].at);
            let off = distance(seen, truth.at(&landmark.name()));
            assert!(
                off < 0.03 * height,
                "{landmark} {off:.1} px off, body {height:.1} px"
            );
            let to_other = distance(seen, truth.at(&landmark.mirrored().name()));
            assert!(off < to_other, "{landmark} lies nearer to the other side's");
        }
    }
}

/// The order of the points: each landmark is nearest to its own true place, of all that stand
/// apart in this photo. The eye does not stand apart from the ear; it lies nearer to the nose.
#[test]
fn no_point_is_taken_for_another() {
    use Landmark::{Ankle, Elbow, EyeOuter, HipJoint, Knee, Nose, ShoulderJoint, Tragus, Wrist};
    let (pose, crops, truth) = (pose(), crops(), Truth::read());
    let apart: Vec<Landmark> = [Tragus, ShoulderJoint, Elbow, Wrist, HipJoint, Knee, Ankle]
        .into_iter()
        .flat_map(|of| Side::BOTH.map(of))
        .collect();
    for &landmark in &apart {
        let seen = apply(&crops.photo_from_pose_input, pose.points[&landmark].at);
        let nearest = apart
            .iter()
            .min_by(|a, b| {
                let off = |l: &Landmark| distance(seen, truth.at(&l.name()));
                off(a).total_cmp(&off(b))
            })
            .unwrap();
        assert_eq!(landmark, *nearest);
        let point = pose.points[&landmark];
        assert!((0.0..=1.0).contains(&point.visibility) && point.visibility > 0.5);
        assert!((0.0..=1.0).contains(&point.presence) && point.presence > 0.5);
    }
    for side in Side::BOTH {
        let to_nose = |l: Landmark| pose.points[&l].at.distance(pose.points[&Nose].at);
        assert!(to_nose(EyeOuter(side)) < to_nose(Tragus(side)));
        let to_own = pose.points[&EyeOuter(side)]
            .at
            .distance(pose.points[&Tragus(side)].at);
        let to_other = pose.points[&EyeOuter(side)]
            .at
            .distance(pose.points[&Tragus(side.other())].at);
        assert!(to_own < to_other, "the {side} eye is on the {side} side");
    }
    assert_eq!(pose.points.len(), 23);
}

/// Metric points: x to the picture's right, y down, z away; her left is the picture's right.
#[test]
fn metric_points_follow_their_axes() {
    let pose = pose();
    let metric = |landmark: Landmark| pose.points[&landmark].metric;
    for of in [Landmark::ShoulderJoint, Landmark::HipJoint] {
        let across = metric(of(Side::Left))[0] - metric(of(Side::Right))[0];
        assert!(
            (0.1..0.5).contains(&across),
            "{across} m from right to left"
        );
    }
    for side in Side::BOTH {
        let down = metric(Landmark::Ankle(side))[1] - metric(Landmark::ShoulderJoint(side))[1];
        assert!(
            (0.9..1.6).contains(&down),
            "{down} m from shoulder to ankle"
        );
        let away = metric(Landmark::Nose)[2] - metric(Landmark::Tragus(side))[2];
        assert!(
            away < 0.0,
            "the nose of one who faces the camera is nearer than the ear: {away}"
        );
    }
}

/// All points of the net at one place of its picture, and all heat maps alike.
fn drawn(at: (f32, f32), heat: impl Fn(usize, usize) -> f32) -> NetPose {
    let points = ndarray::Array1::from_shape_fn(195, |i| match i % 5 {
        0 => at.0,
        1 => at.1,
        _ => 0.0,
    });
    let heatmaps =
        ndarray::Array3::from_shape_fn((64, 64, 39), |(row, column, _)| heat(row, column));
    decode_pose(
        points.view(),
        1.0,
        heatmaps.view(),
        ndarray::Array1::zeros(117).view(),
    )
}

/// A cell of a heat map is 4 pixels wide and stands for its corner: cell 30 lies at 120.
/// [`a_mirrored_photo_shows_the_same_places`] is the check that this is so.
#[test]
fn a_sure_heat_map_draws_its_point_to_the_middle_of_the_warm_cells() {
    let hot = |row: usize, column: usize, cells: &[(usize, usize)]| {
        if cells.contains(&(row, column)) {
            20.0
        } else {
            -20.0
        }
    };
    let one = drawn((125.0, 83.0), |row, column| hot(row, column, &[(21, 30)]));
    let two = drawn((125.0, 83.0), |row, column| {
        hot(row, column, &[(21, 30), (21, 31)])
    });
    for landmark in one.points.keys() {
        assert!(one.points[landmark].at.distance(Point::new(120.0, 84.0)) < 1e-3);
        assert!(two.points[landmark].at.distance(Point::new(122.0, 84.0)) < 1e-3);
    }
}

/// Whatever the net's points stand for, in a mirror they must lie at the mirrored places. An
/// offset between heat map and picture would move them to one side in both.
#[test]
fn a_mirrored_photo_shows_the_same_places() {
    let mut apart = Vec::new();
    for file in [
        "2026-03-10-intake/front.jpg",
        "2026-03-10-intake/side-right.jpg",
        "2026-04-28-follow-up/front-reach.jpg",
    ] {
        let photo = image::open(fixture("demo/visits").join(file))
            .unwrap()
            .into_rgb8();
        let (width, mirrored) = (
            f64::from(photo.width()),
            image::imageops::flip_horizontal(&photo),
        );
        let seen = |picture| {
            let photo = Photo::new(picture, Default::default());
            let search = finder().search(&photo, Effort::Quick).unwrap();
            search.person.unwrap().samples.remove(0)
        };
        let (plain, mirrored) = (seen(photo), seen(mirrored).with_sides_exchanged());
        for (landmark, point) in &plain.points {
            apart.push(point.at.x - (width - mirrored.points[landmark].at.x));
        }
    }
    let mean = apart.iter().sum::<f64>() / apart.len() as f64;
    println!("{} points, on average {mean:.2} pixels apart", apart.len());
    // Cells read at their middle put them 10 pixels of these photos apart.
    assert!(mean.abs() < 2.0, "{mean}");
}

#[test]
fn an_unsure_or_distant_heat_map_leaves_its_point_alone() {
    let at = Point::new(125.0, 83.0);
    let cold = drawn((125.0, 83.0), |_, _| -3.0);
    let far = drawn((125.0, 83.0), |row, column| {
        if (row, column) == (5, 50) {
            20.0
        } else {
            -20.0
        }
    });
    // Outside of the picture there is no map at all.
    let outside = drawn((-60.0, 400.0), |_, _| 20.0);
    for landmark in cold.points.keys() {
        assert_eq!(cold.points[landmark].at, at);
        assert_eq!(far.points[landmark].at, at);
        assert_eq!(outside.points[landmark].at, Point::new(-60.0, 400.0));
    }
}

/// The least change of a heat map, as another runtime's arithmetic makes it, moves no point far.
#[test]
fn a_point_goes_over_to_its_heat_map_by_and_by() {
    let drawn_by = |peak: f32| {
        let logit = (peak / (1.0 - peak)).ln();
        let pose = drawn((125.0, 83.0), |row, column| match (row, column) {
            (21, 28) => logit,
            _ => -20.0,
        });
        pose.points[&Landmark::Nose].at
    };
    let (regressed, warmest) = (Point::new(125.0, 83.0), Point::new(112.0, 84.0));
    let peaks = (200..=800).map(|peak| peak as f32 / 1000.0);
    let places: Vec<_> = peaks.map(drawn_by).collect();
    assert!(places[0] == regressed);
    assert!(places[600].distance(warmest) < 1e-3);
    for pair in places.windows(2) {
        let moved = pair[0].distance(pair[1]);
        assert!(moved < 0.1, "a thousandth of the peak moves it by {moved}");
    }
}
