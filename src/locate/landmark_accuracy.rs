//! How the landmark net's own idea of its error compares with its error, as measured.
//!
//! The net was taught on rendered people and says of each landmark how far it may be off. A factor
//! on that, and an offset where the net leans to one side, make it hold on people whom another
//! renderer made: the 118 photos of 32 people of `accuracy`, none of whom is in `fixtures/truth`.
//! `scripts/accuracy --table` prints what stands here.
//!
//! # Honest scope
//! Those people, too, are rendered. How far the net is off on living ones nobody has measured.

use crate::body::{Landmark, Task, View};

/// How to take the net's word for a landmark.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Calibration {
    /// The net's sigma times this is the error's.
    pub factor: f64,
    /// Net minus truth, in parts of stature: forward (side view) or outward (front and back), and
    /// down. Half of it counts as error that remains once it is taken away.
    pub offset: [f64; 2],
}

/// The calibration of a landmark in a view and task.
pub fn of(landmark: Landmark, view: View, task: Task) -> Calibration {
    Calibration {
        factor: factor(landmark, view, task),
        offset: offset(landmark, view, task).map(|per_mille| per_mille / 1000.0),
    }
}

/// Where the net claims more error than it makes, its word stands.
fn factor(landmark: Landmark, view: View, task: Task) -> f64 {
    use Landmark::*;
    use Task::{Reach, Stand};
    match (view, landmark, task) {
        (View::Side(_), Tragus(_), _) | (View::Side(_), ShoulderJoint(_), Stand) => 1.25,
        (View::Side(_), Acromion(_), Stand) => 1.2,
        (View::Side(_), Elbow(_) | Wrist(_) | EyeOuter(_), Reach) => 1.2,
        (View::Side(_), Chin, _) => 1.15,
        (View::Side(_), Elbow(_) | Wrist(_) | SternalNotch | T4, Stand) => 1.1,
        (View::Front, Tragus(_), Stand) => 1.55,
        (View::Front, Chin, Stand) => 1.4,
        (View::Front | View::Back, Tragus(_) | Acromion(_) | ShoulderJoint(_), _) => 1.25,
        (View::Front, EyeOuter(_) | Chin, _) => 1.1,
        _ => 1.0,
    }
}

/// In thousandths of stature; only what stands out from chance (more than three standard errors
/// of its mean) and is at least 1.5. Six photos from behind are too few to tell.
fn offset(landmark: Landmark, view: View, task: Task) -> [f64; 2] {
    use Landmark::*;
    use Task::{Reach, Stand};
    match (view, landmark, task) {
        (View::Side(_), Acromion(_), Reach) => [0.0, 3.4],
        (View::Side(_), ShoulderJoint(_), Reach) => [0.0, 2.6],
        (View::Side(_), Acromion(_), Stand) => [-1.7, 0.0],
        (View::Side(_), ShoulderJoint(_), Stand) => [-1.8, 0.0],
        (View::Side(_), Wrist(_), Stand) => [0.0, -2.0],
        (View::Side(_), T8, Stand) => [0.0, -2.6],
        (View::Side(_), T12, Stand) => [0.0, -2.8],
        (View::Side(_), L3, Stand) => [-2.0, -2.3],
        (View::Side(_), T8, Reach) => [0.0, -3.4],
        (View::Side(_), T12, Reach) => [0.0, -3.4],
        (View::Side(_), L3, Reach) => [-2.0, -2.4],
        (View::Side(_), SternalNotch, Reach) => [0.0, -1.9],
        (View::Side(_), HipJoint(_), Stand) => [-3.3, 2.2],
        (View::Side(_), Trochanter(_), Stand) => [-4.2, 0.0],
        (View::Front, ShoulderJoint(_), Stand) => [0.0, -2.1],
        (View::Front, Elbow(_), Stand) => [0.0, 1.8],
        (View::Front, HipJoint(_), Stand) => [0.0, 2.0],
        (View::Front, HipJoint(_), Reach) => [0.0, 3.3],
        (View::Front, Trochanter(_), Reach) => [1.6, 2.3],
        (View::Front, Trochanter(_), Stand) => [-2.8, 3.5],
        _ => [0.0, 0.0],
    }
}

/// The same for the sigmas of the turns of trunk and head.
pub struct TurnFactors {
    pub trunk: f64,
    pub head: f64,
}

/// The trunk's turn was nearer to the truth on those photos than the net says, 0.3 to 0.7 of it;
/// their rooms are tidy and nobody is turned far, so its word stands.
pub fn turn_factors(view: View) -> TurnFactors {
    TurnFactors {
        trunk: 1.0,
        head: match view {
            View::Side(_) => 1.4,
            View::Back => 1.1,
            View::Front | View::Oblique(_) => 1.0,
        },
    }
}
