//! How far each landmark lies before the body's plane, towards the camera.
//!
//! Side views: measured from the midline on a body set, for a woman of 1.65 m, and scaled with
//! stature. Front and back views: from the frontal plane through the hip joints; common
//! practice, with a wide error.

use crate::body::{Landmark, Task, View};
use crate::estimate::Estimate;

/// Stature to which the table belongs, mm.
const STATURE: f64 = 1650.0;
/// Differences of build between people of one stature.
const RELATIVE_ERROR: f64 = 0.15;

/// Depth of a landmark, mm; `None` in an oblique view.
pub fn of(landmark: Landmark, view: View, task: Task, stature: f64) -> Option<Estimate> {
    let scale = stature / STATURE;
    match view {
        View::Side(near) => {
            let (half_width, extra) = lateral(landmark, task);
            let depth = match landmark.side() {
                None => 0.0,
                Some(side) if side == near => half_width,
                Some(_) => -half_width,
            };
            let sigma = (half_width * RELATIVE_ERROR).hypot(extra);
            Some(Estimate::new(depth, sigma).scaled(scale))
        }
        View::Front => Some(frontal(landmark).scaled(scale)),
        View::Back => {
            let front = frontal(landmark);
            Some(Estimate::new(-front.value, front.sigma).scaled(scale))
        }
        View::Oblique(_) => None,
    }
}

/// Distance from the midline, and an error of it beyond that of build, mm.
fn lateral(landmark: Landmark, task: Task) -> (f64, f64) {
    use Landmark::*;
    match landmark {
        Nose | Chin | C7 | T4 | T8 | T12 | L3 | SternalNotch => (0.0, 5.0),
        Tragus(_) => (72.0, 5.0),
        EyeOuter(_) => (45.0, 5.0),
        Mouth(_) => (25.0, 5.0),
        ShoulderJoint(_) => (165.0, 10.0),
        Acromion(_) => (175.0, 10.0),
        // A raised arm leans in or out by a hand's breadth without anyone noticing.
        Elbow(_) => match task {
            Task::Stand => (210.0, 20.0),
            Task::Reach => (195.0, 50.0),
        },
        Wrist(_) => match task {
            Task::Stand => (220.0, 40.0),
            Task::Reach => (180.0, 80.0),
        },
        HipJoint(_) => (90.0, 10.0),
        Trochanter(_) => (160.0, 10.0),
        Knee(_) => (85.0, 20.0),
        Ankle(_) | Heel(_) | Toe(_) => (80.0, 30.0),
    }
}

/// Distance in front of the frontal plane through the hip joints, mm.
fn frontal(landmark: Landmark) -> Estimate {
    use Landmark::*;
    match landmark {
        Nose | Chin => Estimate::new(130.0, 40.0),
        EyeOuter(_) | Mouth(_) => Estimate::new(90.0, 40.0),
        Tragus(_) => Estimate::new(10.0, 40.0),
        SternalNotch => Estimate::new(50.0, 40.0),
        C7 | T4 | T8 | T12 | L3 => Estimate::new(-80.0, 40.0),
        // The arm rises in the plane of the shoulder blade, somewhat in front of the frontal one.
        Elbow(_) => Estimate::new(20.0, 60.0),
        Wrist(_) => Estimate::new(40.0, 90.0),
        Toe(_) => Estimate::new(120.0, 40.0),
        Acromion(_) | ShoulderJoint(_) | HipJoint(_) | Trochanter(_) | Knee(_) | Ankle(_)
        | Heel(_) => Estimate::new(0.0, 30.0),
    }
}

/// How far the near ear moves forward or back in the side view when the head turns by one sigma
/// of an unnoticed head turn (5°, common practice), mm.
pub fn head_turn_shift(landmark: Landmark, view: View, stature: f64) -> f64 {
    let on_head = matches!(
        landmark,
        Landmark::Tragus(_) | Landmark::EyeOuter(_) | Landmark::Mouth(_)
    );
    match view {
        View::Side(_) if on_head => {
            let (half_width, _) = lateral(landmark, Task::Stand);
            half_width * stature / STATURE * 5f64.to_radians().sin()
        }
        _ => 0.0,
    }
}
