//! How accurate the pose net's points are, as measured; the least error any of them carries.
//!
//! Figures and method: `scripts/accuracy.rs`, run on rendered people whose joints are known, and
//! on photos of real people with hand-placed joints.

use crate::body::{Landmark, View};

/// One-sigma error of one coordinate, as a part of stature.
pub fn floor(landmark: Landmark, view: View) -> f64 {
    use Landmark::*;
    let side = view.near_side().is_some();
    match landmark {
        Tragus(_) => 0.010,
        EyeOuter(_) | Nose | Mouth(_) => 0.006,
        ShoulderJoint(_) if side => 0.012,
        ShoulderJoint(_) => 0.010,
        Elbow(_) => 0.010,
        Wrist(_) => 0.010,
        HipJoint(_) => 0.014,
        Knee(_) => 0.012,
        Ankle(_) | Heel(_) | Toe(_) => 0.010,
        _ => 0.010,
    }
}
