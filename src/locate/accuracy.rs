//! How far the pose net's points lie from the joints they stand for, as measured.
//!
//! The net learnt where annotators click, which is not where the joint's centre is: seen from the
//! side its shoulder lies some 3 cm too high. The table holds that offset and what is left of the
//! error once it is taken away, on rendered people whose joints are known; it was made by
//! `scripts/accuracy.rs --table` on the people of `scripts/people/calibration.json`.
//!
//! # Honest scope
//! Rendered people are not patients. Half of each offset therefore counts as error that remains
//! after the correction, the same on both sides of the body.

use crate::body::{Landmark, Side, Task, View};

/// Net minus truth, in parts of stature: forward (side view) or outward (front and back), and
/// down.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Accuracy {
    pub offset: [f64; 2],
    /// Standard deviation around the offset.
    pub scatter: [f64; 2],
}

impl Accuracy {
    /// The part of the error that is the same on both sides.
    pub fn shared(&self) -> [f64; 2] {
        self.offset.map(|offset| offset.abs() / 2.0)
    }

    /// One-sigma error of each coordinate once the offset is taken away.
    pub fn sigma(&self) -> [f64; 2] {
        let shared = self.shared();
        std::array::from_fn(|axis| self.scatter[axis].hypot(shared[axis]))
    }
}

/// The sign of "forward" (side view) or "outward" (front and back view) along the photo's x axis.
pub fn away_sign(view: View, side: Option<Side>) -> f64 {
    match (view, side) {
        (View::Side(Side::Left), _) => -1.0,
        (View::Front, Some(Side::Right)) | (View::Back, Some(Side::Left)) => -1.0,
        _ => 1.0,
    }
}

/// Points that the calibration could not see well, in thousandths of stature: the far side in a
/// side view, and every point from behind.
const UNCALIBRATED: ([f64; 2], [f64; 2]) = ([0.0, 0.0], [20.0, 20.0]);

/// Points whose truth the calibration does not hold (nose, mouth, heel, toe); no measure uses them.
const UNMEASURED: ([f64; 2], [f64; 2]) = ([0.0, 0.0], [10.0, 10.0]);

/// The accuracy of a landmark in a view and task.
pub fn of(landmark: Landmark, view: View, task: Task) -> Accuracy {
    let near = match (view.near_side(), landmark.side()) {
        (Some(near), Some(side)) => near == side,
        _ => true,
    };
    let (offset, scatter) = match view {
        View::Side(_) if near => side_view(landmark, task),
        View::Front => front_view(landmark, task),
        View::Side(_) | View::Back | View::Oblique => UNCALIBRATED,
    };
    Accuracy {
        offset: offset.map(|value| value / 1000.0),
        scatter: scatter.map(|value| value / 1000.0),
    }
}

/// Offset and scatter of the near side, in thousandths of stature.
fn side_view(landmark: Landmark, task: Task) -> ([f64; 2], [f64; 2]) {
    use Landmark::*;
    use Task::{Reach, Stand};
    match (landmark, task) {
        (Tragus(_), Stand) => ([10.3, 3.1], [3.2, 4.1]),
        (Tragus(_), Reach) => ([8.7, 16.3], [2.4, 6.6]),
        (EyeOuter(_), Stand) => ([0.4, 9.9], [3.0, 3.8]),
        (EyeOuter(_), Reach) => ([-2.4, 21.3], [3.9, 6.5]),
        (ShoulderJoint(_), Stand) => ([-7.6, -17.8], [7.0, 8.0]),
        (ShoulderJoint(_), Reach) => ([-7.2, 7.7], [9.3, 8.3]),
        (Elbow(_), Stand) => ([-5.4, -8.8], [8.0, 7.5]),
        (Elbow(_), Reach) => ([-17.6, 14.3], [9.4, 13.3]),
        (Wrist(_), Stand) => ([2.8, 8.9], [6.5, 6.2]),
        (Wrist(_), Reach) => ([-5.7, 6.0], [7.1, 5.5]),
        (HipJoint(_), Stand) => ([11.7, 6.7], [7.9, 6.9]),
        (HipJoint(_), Reach) => ([11.0, 13.2], [7.0, 10.6]),
        (Knee(_), Stand) => ([1.9, 8.3], [3.6, 8.7]),
        (Knee(_), Reach) => ([2.0, 10.0], [4.8, 7.8]),
        (Ankle(_), Stand) => ([2.3, -13.2], [2.0, 5.5]),
        (Ankle(_), Reach) => ([1.2, -10.5], [1.5, 5.5]),
        _ => UNMEASURED,
    }
}

/// Offset and scatter of both sides, in thousandths of stature.
fn front_view(landmark: Landmark, task: Task) -> ([f64; 2], [f64; 2]) {
    use Landmark::*;
    use Task::{Reach, Stand};
    match (landmark, task) {
        (Tragus(_), Stand) => ([-9.7, -3.0], [1.9, 3.8]),
        (Tragus(_), Reach) => ([-10.6, 1.6], [1.5, 4.2]),
        (EyeOuter(_), Stand) => ([-3.0, 8.1], [1.3, 4.2]),
        (EyeOuter(_), Reach) => ([-3.4, 11.0], [2.2, 2.8]),
        (ShoulderJoint(_), Stand) => ([-2.7, -3.4], [3.7, 4.1]),
        (ShoulderJoint(_), Reach) => ([-11.0, 13.1], [5.0, 6.2]),
        (Elbow(_), Stand) => ([-2.0, 3.7], [2.1, 4.4]),
        (Elbow(_), Reach) => ([-9.4, 17.2], [6.6, 9.6]),
        (Wrist(_), Stand) => ([0.1, 16.1], [1.4, 3.9]),
        (Wrist(_), Reach) => ([-0.5, 2.1], [4.6, 5.7]),
        (HipJoint(_), Stand) => ([-9.0, 12.1], [4.7, 7.5]),
        (HipJoint(_), Reach) => ([-9.3, 7.8], [4.4, 9.0]),
        (Knee(_), Stand) => ([-3.5, 23.4], [2.0, 11.3]),
        (Knee(_), Reach) => ([-2.2, 21.9], [1.8, 9.4]),
        (Ankle(_), Stand) => ([0.0, -1.3], [3.5, 2.8]),
        (Ankle(_), Reach) => ([-0.3, 2.2], [4.0, 3.9]),
        _ => UNMEASURED,
    }
}
