//! Which way the person faces, and whether an arm is raised.
//!
//! The pose net's metric points tell where the left shoulder and hip lie from the right ones.
//! The face and the feet tell the same independently of which shoulder was called left; where
//! they disagree with the shoulders, the net has mixed up front and back, or left and right.

use super::Turns;
use crate::body::{Landmark, Side, Task, View};
use crate::estimate::Estimate;
use crate::geometry::Angle;
use crate::infer::Sample;

/// What the user says about the photo; it wins over what is seen.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Wish {
    pub view: Option<WishedView>,
    pub task: Option<Task>,
}

/// A view as a person names it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WishedView {
    /// From the side; which one is near may be left for the photo to tell.
    Side(Option<Side>),
    Front,
    Back,
}

impl WishedView {
    pub const fn name(self) -> &'static str {
        match self {
            WishedView::Side(_) => "side",
            WishedView::Front => "front",
            WishedView::Back => "back",
        }
    }

    /// As options and files name it; with the side nearest the camera, if it is to be settled too.
    pub fn from_name(name: &str) -> Option<WishedView> {
        match name {
            "side" => Some(WishedView::Side(None)),
            "side-left" => Some(WishedView::Side(Some(Side::Left))),
            "side-right" => Some(WishedView::Side(Some(Side::Right))),
            "front" => Some(WishedView::Front),
            "back" => Some(WishedView::Back),
            _ => None,
        }
    }
}

/// Something about view or task that may have been taken wrongly.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Doubt {
    /// Face or feet point another way than the shoulders: then the sides, and with them the signs
    /// of what is measured, may be exchanged.
    FrontOrBack,
    /// The looks disagree on which way the person faces.
    Facing,
    /// The arm is neither hanging nor clearly raised.
    StandOrReach,
}

/// What a photo shows.
#[derive(Clone, Debug, PartialEq)]
pub struct Recognised {
    pub view: View,
    pub task: Task,
    /// Turn of the body's plane as the pose net saw it, radians, signed as `scale::Camera::turn`:
    /// against the ray to the body, not against straight ahead.
    pub turn: Estimate,
    /// The net called left what is right: its sides must be exchanged.
    pub swapped: bool,
    /// The view the user named, when the photo plainly shows another.
    pub refused_wish: Option<WishedView>,
    pub doubts: Vec<Doubt>,
}

/// How much of a turn the metric points show, and the error of the whole turn that is worked out
/// from it. On the photos of the calibration (people turned up to 10°, in 71 from the side) half of
/// a turn from the side was seen, with an error of 7.8°; from the front and back more of it, and the
/// turn was 2.7° off, root mean square; the error there is wider, for turns beyond those.
const SEEN_SIDE: f64 = 0.5;
const TURN_SIGMA_SIDE: Angle = Angle::from_degrees(15.0);
const TURN_SIGMA_FRONT: Angle = Angle::from_degrees(5.0);
/// Turned farther than this, the person is asked to turn. Beyond it no turn was measured either:
/// half of what lies beyond counts as error.
pub const TURNED: Angle = Angle::from_degrees(15.0);
/// Turned farther than this from every standard view, the photo is oblique.
const OBLIQUE: Angle = Angle::from_degrees(30.0);
/// A user who names a view knows better than a turn that the net sees badly, up to here.
const BEYOND_A_WISH: Angle = Angle::from_degrees(40.0);
/// An upper arm raised farther than this is a reach; within the margin it is in doubt.
const RAISED: Angle = Angle::from_degrees(45.0);
const RAISED_MARGIN: Angle = Angle::from_degrees(12.0);

/// Face and feet speak for or against the shoulders by more than this cosine. Of the photos of
/// `fixtures` every face and foot seen from the front or side speaks for them by 0.6 at least; the
/// feet of those seen from behind speak against them. Tried once, by hand.
const LEAST_ALONG: f64 = 0.3;

/// A direction on the floor: to the photo's right, and away from the camera.
type Floor = (f64, f64);

impl Recognised {
    /// The turn of the trunk as all who saw it make it out together.
    pub fn apparent_turn(&self, seen: Option<&Turns>) -> Estimate {
        let turn = seen.map_or(self.turn, |seen| seen.trunk.fused(self.turn));
        let beyond = (turn.value.abs() - TURNED.radians()).max(0.0);
        Estimate::new(turn.value, turn.sigma.hypot(beyond / 2.0))
    }
}

/// Recognises view and task from the looks; `None` when there is none.
pub fn recognise(samples: &[Sample], wish: Wish) -> Option<Recognised> {
    if samples.is_empty() {
        return None;
    }
    let mut doubts = Vec::new();
    let body = total(samples, shoulders_and_hips);
    let face = total(samples, face);
    let feet = total(samples, feet);
    let mut heading = heading_of(body);

    // The face and the feet against the shoulders.
    let along = |other: Floor| dot(unit(other), facing(heading));
    let against = |other: Floor| along(other) < -LEAST_ALONG;
    let for_it = |other: Floor| along(other) > LEAST_ALONG;
    let swapped = match wish.view {
        Some(WishedView::Front) => heading.abs() > Angle::from_degrees(90.0),
        Some(WishedView::Back) => heading.abs() < Angle::from_degrees(90.0),
        Some(WishedView::Side(Some(near))) => nearer_side(heading) != near,
        Some(WishedView::Side(None)) | None => against(face) && against(feet),
    };
    if wish.view.is_none() && !(for_it(face) && for_it(feet)) {
        doubts.push(Doubt::FrontOrBack);
    }
    if swapped {
        heading = (heading + Angle::from_degrees(180.0)).wrapped();
    }
    let unsure = samples
        .iter()
        .filter(|sample| dot(unit(shoulders_and_hips(sample)), unit(body)) < 0.3)
        .count();
    if unsure > 0 {
        doubts.push(Doubt::Facing);
    }

    let (wished_view, off) = match wish.view {
        None => nearest_view(heading),
        Some(WishedView::Front) => (View::Front, heading),
        Some(WishedView::Back) => (View::Back, (heading - Angle::from_degrees(180.0)).wrapped()),
        Some(WishedView::Side(_)) => side_view(heading),
    };
    let refused_wish = wish.view.filter(|_| off.abs() > BEYOND_A_WISH);
    let view = match refused_wish {
        Some(_) => View::Oblique(nearer_side(heading)),
        None => wished_view,
    };
    let (seen, sigma) = match view {
        View::Side(_) => (SEEN_SIDE, TURN_SIGMA_SIDE),
        View::Front | View::Back | View::Oblique(_) => (1.0, TURN_SIGMA_FRONT),
    };
    let turn = Estimate::new(off.radians() / seen, sigma.radians());

    let raised = raised(samples, view, swapped);
    let task = wish.task.unwrap_or(if raised > RAISED {
        Task::Reach
    } else {
        Task::Stand
    });
    if wish.task.is_none() && (raised - RAISED).abs() < RAISED_MARGIN {
        doubts.push(Doubt::StandOrReach);
    }
    Some(Recognised {
        view,
        task,
        turn,
        swapped,
        refused_wish,
        doubts,
    })
}

/// Heading 0 faces the camera, +90° faces the photo's right.
fn nearest_view(heading: Angle) -> (View, Angle) {
    let degrees = heading.degrees();
    let candidates = [
        (View::Front, 0.0),
        (View::Side(Side::Right), 90.0),
        (View::Back, 180.0),
        (View::Side(Side::Left), -90.0),
    ];
    let (view, off) = candidates
        .into_iter()
        .map(|(view, at)| (view, Angle::from_degrees(degrees - at).wrapped()))
        .min_by(|a, b| a.1.abs().radians().total_cmp(&b.1.abs().radians()))
        .expect("there are four views");
    if off.abs() > OBLIQUE {
        (View::Oblique(nearer_side(heading)), off)
    } else {
        (view, off)
    }
}

fn nearer_side(heading: Angle) -> Side {
    if heading.radians() >= 0.0 {
        Side::Right
    } else {
        Side::Left
    }
}

fn side_view(heading: Angle) -> (View, Angle) {
    let near = nearer_side(heading);
    let exact = match near {
        Side::Right => Angle::from_degrees(90.0),
        Side::Left => Angle::from_degrees(-90.0),
    };
    (View::Side(near), heading - exact)
}

/// The heading of a body whose left lies in this direction from its right.
fn heading_of(right_to_left: Floor) -> Angle {
    Angle::from_radians(right_to_left.1.atan2(right_to_left.0))
}

/// The direction in which a body of this heading faces.
fn facing(heading: Angle) -> Floor {
    let (sin, cos) = heading.radians().sin_cos();
    (sin, -cos)
}

fn step(sample: &Sample, from: Landmark, to: Landmark) -> Floor {
    match (sample.points.get(&from), sample.points.get(&to)) {
        (Some(from), Some(to)) => (to.metric[0] - from.metric[0], to.metric[2] - from.metric[2]),
        _ => (0.0, 0.0),
    }
}

/// From the right shoulder and hip to the left ones.
fn shoulders_and_hips(sample: &Sample) -> Floor {
    use Landmark::{HipJoint, ShoulderJoint};
    let across = |of: fn(Side) -> Landmark| step(sample, of(Side::Right), of(Side::Left));
    sum([across(ShoulderJoint), across(HipJoint)])
}

/// From the ears to the nose.
fn face(sample: &Sample) -> Floor {
    sum(Side::BOTH.map(|side| step(sample, Landmark::Tragus(side), Landmark::Nose)))
}

/// From the heels to the toes.
fn feet(sample: &Sample) -> Floor {
    sum(Side::BOTH.map(|side| step(sample, Landmark::Heel(side), Landmark::Toe(side))))
}

/// The highest arm, from hanging, in the photo: of the near side in a side view, where the far
/// arm is often guessed.
fn raised(samples: &[Sample], view: View, swapped: bool) -> Angle {
    let sides: Vec<Side> = match view.near_side() {
        Some(near) if swapped => vec![near.other()],
        Some(near) => vec![near],
        None => Side::BOTH.to_vec(),
    };
    let elevation = |side: Side| {
        let angles: Vec<f64> = samples
            .iter()
            .filter_map(|sample| {
                let shoulder = sample.points.get(&Landmark::ShoulderJoint(side))?.at;
                let elbow = sample.points.get(&Landmark::Elbow(side))?.at;
                let arm = elbow - shoulder;
                Some(arm.x.abs().atan2(arm.y))
            })
            .collect();
        angles.iter().sum::<f64>() / angles.len().max(1) as f64
    };
    Angle::from_radians(sides.into_iter().map(elevation).fold(0.0, f64::max))
}

fn total(samples: &[Sample], of: fn(&Sample) -> Floor) -> Floor {
    samples
        .iter()
        .map(of)
        .fold((0.0, 0.0), |a, b| (a.0 + b.0, a.1 + b.1))
}

fn sum<const N: usize>(steps: [Floor; N]) -> Floor {
    steps
        .into_iter()
        .fold((0.0, 0.0), |a, b| (a.0 + b.0, a.1 + b.1))
}

fn dot(a: Floor, b: Floor) -> f64 {
    a.0 * b.0 + a.1 * b.1
}

fn unit(a: Floor) -> Floor {
    let length = a.0.hypot(a.1);
    if length > 0.0 {
        (a.0 / length, a.1 / length)
    } else {
        (0.0, 0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Point;
    use crate::infer::SeenPoint;

    fn seen(degrees: f64) -> Recognised {
        Recognised {
            view: View::Front,
            task: Task::Stand,
            turn: Estimate::new(degrees.to_radians(), TURN_SIGMA_FRONT.radians()),
            swapped: false,
            refused_wish: None,
            doubts: Vec::new(),
        }
    }

    /// Someone whose left shoulder and hip are at the photo's right, and whose face and feet point
    /// this far towards the camera (1) or away from it (−1), and otherwise to the photo's right.
    fn facing_us(face: f64, feet: f64) -> Sample {
        use Landmark::*;
        let mut points = std::collections::BTreeMap::new();
        let mut put = |landmark, x: f64, z: f64| {
            let point = SeenPoint {
                at: Point::new(0.0, 0.0),
                visibility: 1.0,
                presence: 1.0,
                metric: [x, 0.0, z],
            };
            points.insert(landmark, point);
        };
        let aside = |towards: f64| (1.0 - towards * towards).sqrt();
        for (side, x) in [(Side::Left, 0.15), (Side::Right, -0.15)] {
            put(ShoulderJoint(side), x, 0.0);
            put(HipJoint(side), x, 0.0);
            put(Tragus(side), 0.0, 0.0);
            put(Heel(side), x, 0.0);
            put(Toe(side), x + 0.2 * aside(feet), -0.2 * feet);
        }
        put(Nose, 0.1 * aside(face), -0.1 * face);
        Sample { points }
    }

    #[test]
    fn front_and_back_are_in_doubt_unless_face_and_feet_both_tell() {
        for (face, feet, view, doubted) in [
            (1.0, 1.0, View::Front, false),
            (0.5, 0.5, View::Front, false),
            (1.0, 0.2, View::Front, true),
            (0.2, 1.0, View::Front, true),
            (0.0, 0.0, View::Front, true),
            (1.0, -1.0, View::Front, true),
            (-1.0, -1.0, View::Back, true),
        ] {
            let seen = recognise(&[facing_us(face, feet)], Wish::default()).unwrap();
            assert_eq!(seen.view, view, "{face} {feet}");
            let in_doubt = seen.doubts.contains(&Doubt::FrontOrBack);
            assert_eq!(in_doubt, doubted, "{face} {feet}");
            let wish = Wish {
                view: Some(WishedView::Front),
                task: None,
            };
            let named = recognise(&[facing_us(face, feet)], wish).unwrap();
            assert!(!named.doubts.contains(&Doubt::FrontOrBack));
        }
    }

    #[test]
    fn a_turn_goes_by_who_sees_it_best() {
        let sharp = Estimate::new(8f64.to_radians(), 1f64.to_radians());
        let turns = Turns {
            trunk: sharp,
            head: sharp,
        };
        let turn = seen(2.0).apparent_turn(Some(&turns));
        assert!((turn.value.to_degrees() - 8.0).abs() < 0.3);
        assert!(turn.sigma < sharp.sigma);
        assert_eq!(seen(2.0).apparent_turn(None), seen(2.0).turn);
    }

    #[test]
    fn a_turn_beyond_what_was_measured_has_a_wider_error() {
        for degrees in [-25.0, 25.0] {
            let turn = seen(degrees).apparent_turn(None);
            assert!((turn.value.to_degrees() - degrees).abs() < 1e-9);
            assert!((turn.sigma.to_degrees() - 50f64.sqrt()).abs() < 1e-9);
        }
    }
}
