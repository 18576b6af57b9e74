//! How far the pose net's points lie from the joints they stand for, as measured.
//!
//! The net learnt where annotators click, which is not where the joint's centre is: seen from the
//! side its shoulder lies some 3 cm too high. The table holds that offset and what is left of the
//! error once it is taken away, on rendered people whose joints are known; it was made by
//! `scripts/accuracy.rs --table` on the people of `scripts/people/calibration.json`.
//!
//! # Honest scope
//! The table is that of the default pose net. The heavy one's offsets on the same people differ
//! from it by 2 thousandths of stature on average, and by 10 at most (the hanging elbow from the
//! side), which the remaining half of an offset and the scatter hold.
//!
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

/// How far one look lies from the mean of six in each coordinate, in parts of stature: root mean
/// square over landmarks and photos of the calibration.
pub const LOOK_WANDER: f64 = 0.004;

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
        View::Side(_) | View::Back | View::Oblique(_) => UNCALIBRATED,
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
        (Tragus(_), Stand) => ([10.6, -7.4], [3.0, 3.8]),
        (Tragus(_), Reach) => ([8.6, 3.4], [2.8, 5.7]),
        (EyeOuter(_), Stand) => ([1.5, -0.3], [3.3, 3.5]),
        (EyeOuter(_), Reach) => ([-1.7, 8.6], [4.6, 6.8]),
        (ShoulderJoint(_), Stand) => ([-10.1, -28.5], [7.2, 6.9]),
        (ShoulderJoint(_), Reach) => ([-7.1, -6.7], [7.6, 7.7]),
        (Elbow(_), Stand) => ([-7.1, -18.5], [7.3, 6.5]),
        (Elbow(_), Reach) => ([-18.9, -0.4], [8.6, 10.3]),
        (Wrist(_), Stand) => ([2.7, 0.0], [5.4, 6.1]),
        (Wrist(_), Reach) => ([-4.3, -6.6], [6.2, 5.2]),
        (HipJoint(_), Stand) => ([10.3, -4.2], [7.0, 6.2]),
        (HipJoint(_), Reach) => ([9.7, 0.1], [6.1, 9.3]),
        (Knee(_), Stand) => ([1.6, -2.5], [4.1, 8.4]),
        (Knee(_), Reach) => ([2.5, -3.3], [4.0, 7.2]),
        (Ankle(_), Stand) => ([1.7, -23.0], [2.3, 4.6]),
        (Ankle(_), Reach) => ([1.2, -22.5], [1.4, 4.4]),
        _ => UNMEASURED,
    }
}

/// Offset and scatter of both sides, in thousandths of stature.
fn front_view(landmark: Landmark, task: Task) -> ([f64; 2], [f64; 2]) {
    use Landmark::*;
    use Task::{Reach, Stand};
    match (landmark, task) {
        (Tragus(_), Stand) => ([-10.0, -13.1], [1.9, 3.4]),
        (Tragus(_), Reach) => ([-10.7, -10.5], [2.6, 3.8]),
        (EyeOuter(_), Stand) => ([-3.1, -1.2], [1.3, 4.3]),
        (EyeOuter(_), Reach) => ([-3.5, -1.3], [2.1, 3.5]),
        (ShoulderJoint(_), Stand) => ([-2.5, -13.5], [3.4, 3.6]),
        (ShoulderJoint(_), Reach) => ([-10.8, 0.7], [4.6, 5.1]),
        (Elbow(_), Stand) => ([-2.3, -6.0], [2.2, 3.9]),
        (Elbow(_), Reach) => ([-8.3, 3.5], [7.0, 8.1]),
        (Wrist(_), Stand) => ([0.3, 8.1], [1.3, 3.9]),
        (Wrist(_), Reach) => ([1.0, -10.8], [5.4, 6.0]),
        (HipJoint(_), Stand) => ([-9.2, 2.5], [4.7, 7.7]),
        (HipJoint(_), Reach) => ([-9.2, -6.5], [4.0, 9.1]),
        (Knee(_), Stand) => ([-3.3, 15.7], [1.9, 10.2]),
        (Knee(_), Reach) => ([-2.6, 10.5], [2.1, 10.2]),
        (Ankle(_), Stand) => ([-0.2, -11.4], [3.3, 3.7]),
        (Ankle(_), Reach) => ([-1.2, -10.1], [4.1, 4.5]),
        _ => UNMEASURED,
    }
}
