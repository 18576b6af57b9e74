//! What the pose net's numbers mean. This file alone knows the order of its points.
//!
//! The net sees a square picture of one upright person and gives 39 points: 33 of the body, two
//! that say where to look next time, and four of the hands that we have no use for.

use std::collections::BTreeMap;

use ndarray::{ArrayView1, ArrayView3};

use crate::body::{Landmark, Side};
use crate::geometry::{Crop, Point};

/// One point as the net gives it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NetPoint {
    pub at: Point<Crop>,
    /// Probability that the point is in the picture and not hidden.
    pub visibility: f64,
    /// Probability that the point is inside the picture.
    pub presence: f64,
    /// Metres from mid-hip: x to the picture's right, y down, z away from the camera.
    pub metric: [f64; 3],
}

/// The net's answer for one picture.
#[derive(Clone, Debug, PartialEq)]
pub struct NetPose {
    /// Probability that the picture shows a person at all.
    pub score: f64,
    pub points: BTreeMap<Landmark, NetPoint>,
    /// Between the hips, and on the rim of the body's circle, as in the detector.
    pub mid_hip: Point<Crop>,
    pub rim: Point<Crop>,
}

/// Numbers a point takes in the `points` output.
const STRIDE: usize = 5;
const MID_HIP: usize = 33;
const RIM: usize = 34;
/// Cells a side of a heat map, and pixels a cell.
const CELL: f64 = 4.0;
/// The neighbourhood of a point in which its heat map is searched, cells to each side. The cells on
/// its rim count by how far the neighbourhood reaches into them.
const REACH: isize = 3;
/// A heat map with a lower peak is not believed, one with a higher peak is; in between it counts in
/// part.
///
/// The net's authors take whole cells, and change over at 0.5. There the last bit of a runtime's
/// arithmetic may move a point by 17 pixels.
const BELIEVED: (f64, f64) = (0.3, 0.7);

/// Where each landmark stands in the net's list. The net's ear point is taken for the tragus;
/// how far that is wrong is part of the accuracy table in `locate`.
const ORDER: [(usize, Landmark); 23] = {
    use Landmark::*;
    use Side::*;
    [
        (0, Nose),
        (3, EyeOuter(Left)),
        (6, EyeOuter(Right)),
        (7, Tragus(Left)),
        (8, Tragus(Right)),
        (9, Mouth(Left)),
        (10, Mouth(Right)),
        (11, ShoulderJoint(Left)),
        (12, ShoulderJoint(Right)),
        (13, Elbow(Left)),
        (14, Elbow(Right)),
        (15, Wrist(Left)),
        (16, Wrist(Right)),
        (23, HipJoint(Left)),
        (24, HipJoint(Right)),
        (25, Knee(Left)),
        (26, Knee(Right)),
        (27, Ankle(Left)),
        (28, Ankle(Right)),
        (29, Heel(Left)),
        (30, Heel(Right)),
        (31, Toe(Left)),
        (32, Toe(Right)),
    ]
};

/// Decodes the raw outputs `points`, `person_score`, `heatmaps` and `world_points`.
pub fn decode(
    points: ArrayView1<'_, f32>,
    person_score: f32,
    heatmaps: ArrayView3<'_, f32>,
    world_points: ArrayView1<'_, f32>,
) -> NetPose {
    let raw = |i: usize| {
        Point::new(
            f64::from(points[STRIDE * i]),
            f64::from(points[STRIDE * i + 1]),
        )
    };
    NetPose {
        score: f64::from(person_score),
        points: ORDER
            .into_iter()
            .map(|(i, landmark)| {
                let point = NetPoint {
                    at: refined(raw(i), i, heatmaps),
                    visibility: sigmoid(points[STRIDE * i + 3]),
                    presence: sigmoid(points[STRIDE * i + 4]),
                    metric: std::array::from_fn(|axis| f64::from(world_points[3 * i + axis])),
                };
                (landmark, point)
            })
            .collect(),
        mid_hip: raw(MID_HIP),
        rim: raw(RIM),
    }
}

/// Moves a regressed point to the centre of mass of its heat map nearby, where that map is sure.
///
/// A cell stands for its top left corner, not for its middle: so read, the same person mirrored is
/// seen at the mirrored places; read at the middle, every point is 2 pixels off in both axes.
fn refined(at: Point<Crop>, index: usize, heatmaps: ArrayView3<'_, f32>) -> Point<Crop> {
    let (rows, columns, _) = heatmaps.dim();
    let (column, row) = (at.x / CELL, at.y / CELL);
    let cells = |about: f64, count: usize| {
        let about = about.floor() as isize;
        let reach = REACH + 1;
        (about - reach).max(0)..=(about + reach).min(count as isize - 1)
    };
    let part = |cell: isize, about: f64| {
        (REACH as f64 + 1.0 - (cell as f64 + 0.5 - about).abs()).clamp(0.0, 1.0)
    };
    let (mut mass, mut x, mut y, mut peak) = (0.0, 0.0, 0.0, 0.0f64);
    for r in cells(row, rows) {
        for c in cells(column, columns) {
            let heat =
                sigmoid(heatmaps[(r as usize, c as usize, index)]) * part(r, row) * part(c, column);
            mass += heat;
            x += heat * c as f64;
            y += heat * r as f64;
            peak = peak.max(heat);
        }
    }
    let share = ((peak - BELIEVED.0) / (BELIEVED.1 - BELIEVED.0)).clamp(0.0, 1.0);
    if share == 0.0 {
        return at;
    }
    at + (Point::new(x / mass * CELL, y / mass * CELL) - at) * share
}

pub(super) fn sigmoid(logit: f32) -> f64 {
    1.0 / (1.0 + (-f64::from(logit)).exp())
}
