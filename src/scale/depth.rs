//! How far each landmark lies before the body's plane, towards the camera.
//!
//! For a person of 1.65 m, and scaled with stature. Measured on the body set of
//! [`super::stature`]: side views from the midline, front and back views from the frontal plane
//! through the ankle joints. The errors hold the differences between those people; where their
//! pose is drawn rather than measured, as an arm's, or their stance too regular, as their legs',
//! they are wider.

use crate::body::{Landmark, Side, Task, View};
use crate::estimate::Estimate;

/// Stature to which the table belongs, mm.
const STATURE: f64 = 1650.0;

/// Depth of a landmark, mm; `None` in an oblique view.
pub fn of(landmark: Landmark, view: View, task: Task, stature: f64) -> Option<Estimate> {
    let depth = match view {
        View::Side(near) => {
            let outward = outward(landmark, task);
            match landmark.side() {
                Some(side) if side != near => Estimate::new(-outward.value, outward.sigma),
                _ => outward,
            }
        }
        View::Front => forward(landmark, task),
        View::Back => {
            let forward = forward(landmark, task);
            Estimate::new(-forward.value, forward.sigma)
        }
        View::Oblique(_) => return None,
    };
    Some(depth.scaled(stature / STATURE))
}

/// Distance from the midline, mm.
fn outward(landmark: Landmark, task: Task) -> Estimate {
    use Landmark::*;
    let (value, sigma) = match landmark {
        // A trunk that bends to a side takes the midline along, the more the higher up.
        Nose | Chin | C7 | SternalNotch => (0.0, 10.0),
        T4 => (0.0, 9.0),
        T8 => (0.0, 7.0),
        T12 | L3 => (0.0, 4.0),
        Tragus(_) => (71.0, 12.0),
        EyeOuter(_) => (44.0, 12.0),
        Mouth(_) => (25.0, 12.0),
        // Falls from 163 mm in a level arm to 140 mm overhead.
        ShoulderJoint(_) => match task {
            Task::Stand => (161.0, 14.0),
            Task::Reach => (157.0, 16.0),
        },
        Acromion(_) => match task {
            Task::Stand => (171.0, 14.0),
            Task::Reach => (143.0, 19.0),
        },
        // A raised arm leans in or out by a hand's breadth without anyone noticing. On the body
        // set the elbow is 44 mm farther out than the shoulder at every elevation.
        Elbow(_) => match task {
            Task::Stand => (191.0, 20.0),
            Task::Reach => (200.0, 40.0),
        },
        Wrist(_) => match task {
            Task::Stand => (196.0, 40.0),
            Task::Reach => (207.0, 80.0),
        },
        HipJoint(_) => (106.0, 10.0),
        Trochanter(_) => (183.0, 12.0),
        Knee(_) => (99.0, 20.0),
        Ankle(_) | Heel(_) | Toe(_) => (101.0, 30.0),
    };
    Estimate::new(value, sigma)
}

/// Distance in front of the ankles, mm.
fn forward(landmark: Landmark, task: Task) -> Estimate {
    use Landmark::*;
    let (value, sigma) = match (landmark, task) {
        (Nose | Chin | Mouth(_), Task::Stand) => (153.0, 42.0),
        (Nose | Chin | Mouth(_), Task::Reach) => (128.0, 46.0),
        (EyeOuter(_), Task::Stand) => (129.0, 42.0),
        (EyeOuter(_), Task::Reach) => (103.0, 46.0),
        (Tragus(_), Task::Stand) => (68.0, 42.0),
        (Tragus(_), Task::Reach) => (43.0, 46.0),
        (SternalNotch, Task::Stand) => (54.0, 35.0),
        (SternalNotch, Task::Reach) => (30.0, 40.0),
        (Acromion(_), Task::Stand) => (34.0, 31.0),
        (Acromion(_), Task::Reach) => (19.0, 41.0),
        (ShoulderJoint(_), Task::Stand) => (25.0, 30.0),
        (ShoulderJoint(_), Task::Reach) => (14.0, 36.0),
        (C7, Task::Stand) => (-32.0, 40.0),
        (C7, Task::Reach) => (-58.0, 44.0),
        (T4 | T8 | T12 | L3, Task::Stand) => (-85.0, 35.0),
        (T4 | T8 | T12 | L3, Task::Reach) => (-100.0, 36.0),
        (Elbow(_), Task::Stand) => (39.0, 40.0),
        // The arm rises in the plane of the shoulder blade, somewhat in front of the frontal one.
        (Elbow(_), Task::Reach) => (38.0, 60.0),
        (Wrist(_), Task::Stand) => (97.0, 50.0),
        (Wrist(_), Task::Reach) => (89.0, 90.0),
        (HipJoint(_) | Trochanter(_), _) => (5.0, 25.0),
        (Knee(_), _) => (35.0, 25.0),
        (Ankle(_), _) => (0.0, 15.0),
        (Heel(_), _) => (-51.0, 15.0),
        (Toe(_), _) => (120.0, 30.0),
    };
    Estimate::new(value, sigma)
}

/// How far the errors of two depths go together: a trunk that leans or bends takes head, back and
/// arms along. On the body set: 1.0 between the ears seen from the front, 0.85 to 0.94 between the
/// shoulders, 0.8 to 0.99 along one arm, 0.7 to 0.8 between head and shoulders; from the side 0.9
/// between C7 and the tragus, 0.3 to 0.5 between C7 and the shoulder. A turn of the head or of the
/// trunk is not among them: it is measured by itself.
pub fn correlation(one: Landmark, other: Landmark, view: View) -> f64 {
    if one == other {
        return 1.0;
    }
    use Part::*;
    let (part, other_part) = (part(one), part(other));
    let same_side = one.side() == other.side();
    match (view.near_side(), part, other_part) {
        (_, Head, Head) => 0.98,
        (_, Back, Back) => 0.95,
        (_, Arm, Arm) if same_side => 0.85,
        (None, Arm, Arm) => 0.8,
        (None, Legs, Legs) => 0.9,
        (Some(_), Legs, Legs) if same_side => 0.8,
        (Some(_), Head, Back) | (Some(_), Back, Head) => 0.85,
        (Some(_), Arm, Head | Back) | (Some(_), Head | Back, Arm) => 0.3,
        (None, Arm, Head | Back) | (None, Head | Back, Arm) => 0.7,
        (None, Head, Back) | (None, Back, Head) => 0.7,
        _ => 0.0,
    }
}

/// What moves as one.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Part {
    Head,
    Back,
    Arm,
    Legs,
}

const fn part(landmark: Landmark) -> Part {
    use Landmark::*;
    match landmark {
        Nose | Mouth(_) | EyeOuter(_) | Tragus(_) | Chin => Part::Head,
        C7 | T4 | T8 | T12 | L3 | SternalNotch => Part::Back,
        Acromion(_) | ShoulderJoint(_) | Elbow(_) | Wrist(_) => Part::Arm,
        HipJoint(_) | Trochanter(_) | Knee(_) | Ankle(_) | Heel(_) | Toe(_) => Part::Legs,
    }
}

/// How far a point of the head lies from the axis about which the head turns, towards the photo's
/// right in a front or back view and towards the camera in a side view, mm; `None` for all that
/// does not turn with the head.
pub fn from_head_axis(landmark: Landmark, view: View, stature: f64) -> Option<f64> {
    use Landmark::*;
    let side = match landmark {
        Tragus(side) | EyeOuter(side) | Mouth(side) => side,
        _ => return None,
    };
    let positive = match view {
        View::Side(near) => near,
        View::Front => Side::Left,
        View::Back => Side::Right,
        View::Oblique(_) => return None,
    };
    let half_width = outward(landmark, Task::Stand).value * stature / STATURE;
    Some(if side == positive {
        half_width
    } else {
        -half_width
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::DMatrix;

    #[test]
    fn the_depth_errors_of_a_whole_body_can_occur_together() {
        let all: Vec<Landmark> = Landmark::all().collect();
        for view in [View::Front, View::Back, View::Side(Side::Left)] {
            let seen: Vec<Landmark> = all
                .iter()
                .copied()
                .filter(|landmark| view.shows_side_of(*landmark))
                .collect();
            let matrix = DMatrix::from_fn(seen.len(), seen.len(), |i, j| {
                correlation(seen[i], seen[j], view)
            });
            assert_eq!(matrix, matrix.transpose(), "{view:?}");
            assert!(matrix.symmetric_eigenvalues().min() > 0.0, "{view:?}");
        }
    }
}
