//! Measures of a raised arm. All take a figure in mm and give radians, mm or parts of one.

use std::f64::consts::{FRAC_PI_2, PI, TAU};

use super::Figure;
use super::standing::trunk_lean;
use crate::body::{Landmark, Side};
use crate::geometry::{BodyPlane, Vector};

/// Where the line of the arm meets ear height farther from the shoulder than this many upper arms,
/// it does so beyond the hand: the arm itself never comes near the ear.
const ARM_LENGTH: f64 = 2.0;

fn upper_arm_line(figure: &Figure, side: Side) -> Option<Vector<BodyPlane>> {
    let line = figure.get(Landmark::Elbow(side))? - figure.get(Landmark::ShoulderJoint(side))?;
    (line.length() > 0.0).then_some(line)
}

/// From straight down, through `outward`, up: 0 hanging, π overhead, continuous to 3π/2 so that
/// an arm may pass overhead. Behind a hanging arm it is negative.
fn elevation(line: Vector<BodyPlane>, outward: f64) -> f64 {
    let angle = outward.atan2(-line.y);
    if angle < -FRAC_PI_2 {
        angle + TAU
    } else {
        angle
    }
}

/// Length of the upper arm in the plane, mm.
pub(super) fn upper_arm(figure: &Figure, side: Side) -> Option<f64> {
    upper_arm_line(figure, side).map(Vector::length)
}

/// Straight down to shoulder→elbow, through forward, radians. Side view, near side.
///
/// A photo sees the elevation projected on the sagittal plane. Standing overhead reach holds some
/// 10–15° of thoracic extension that a supine goniometer does not.
pub(super) fn shoulder_flexion(figure: &Figure, near: Side) -> Option<f64> {
    let line = upper_arm_line(figure, near)?;
    Some(elevation(line, line.x))
}

/// Flexion against the trunk line: flexion plus trunk lean, radians. Side view, near side.
pub(super) fn shoulder_flexion_to_trunk(figure: &Figure, near: Side) -> Option<f64> {
    Some(shoulder_flexion(figure, near)? + trunk_lean(figure, near)?)
}

/// Straight down to shoulder→elbow, outward, radians. Front or back view.
pub(super) fn shoulder_abduction(figure: &Figure, side: Side) -> Option<f64> {
    let line = upper_arm_line(figure, side)?;
    Some(elevation(line, outward(line.x, side)))
}

/// 180° minus the angle shoulder–elbow–wrist, radians. Any view across the arm.
pub(super) fn elbow_extension_deficit(figure: &Figure, side: Side) -> Option<f64> {
    let elbow = figure.get(Landmark::Elbow(side))?;
    let to_shoulder = figure.get(Landmark::ShoulderJoint(side))? - elbow;
    let to_wrist = figure.get(Landmark::Wrist(side))? - elbow;
    if to_shoulder.length() == 0.0 || to_wrist.length() == 0.0 {
        return None;
    }
    Some(PI - to_shoulder.angle_to(to_wrist).radians())
}

/// Signed distance from the tragus to the line shoulder→elbow, mm; + = the arm is still in front
/// of the ear, 0 = beside it, − = behind it. Side view, near side.
///
/// The project's own measure; it has no published norm.
pub(super) fn arm_to_ear(figure: &Figure, near: Side) -> Option<f64> {
    let line = upper_arm_line(figure, near)?;
    let to_ear = figure.get(Landmark::Tragus(near))? - figure.get(Landmark::ShoulderJoint(near))?;
    Some(line.cross(to_ear) / line.length())
}

/// From the tragus out to the arm's line at ear height, mm; smaller = nearer. Front view.
///
/// `None` where the line meets ear height below the shoulder or beyond the hand.
pub(super) fn arm_to_ear_front(figure: &Figure, side: Side) -> Option<f64> {
    let line = upper_arm_line(figure, side)?;
    let shoulder = figure.get(Landmark::ShoulderJoint(side))?;
    let ear = figure.get(Landmark::Tragus(side))?;
    let upper_arms = (ear.y - shoulder.y) / line.y;
    if !(0.0..=ARM_LENGTH).contains(&upper_arms) {
        return None;
    }
    let at_ear_height = shoulder.x + line.x * upper_arms;
    Some(outward(at_ear_height - ear.x, side))
}

/// A step to the subject's left, seen as away from the midline on that side.
fn outward(left: f64, side: Side) -> f64 {
    match side {
        Side::Left => left,
        Side::Right => -left,
    }
}
