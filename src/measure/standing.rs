//! Measures of relaxed standing. All take a figure in mm and give radians, mm or parts of one.

use super::Figure;
use crate::body::{Landmark, Side};
use crate::geometry::{BodyPlane, Point, Vector};

/// At C7, from the forward horizontal up to the line C7→tragus, radians; smaller = head further
/// forward. Side view.
///
/// Definition: Silva et al. 2009 (Arch Phys Med Rehabil), Raine & Twomey 1997. Published means
/// lie near 49°. It can't know where the true spinous process is under the skin. Measures of the ear
/// are those of a head that looks where the trunk faces: what a turn of the head on the trunk does to
/// the near ear is taken away before, as far as it is seen.
pub(super) fn craniovertebral_angle(figure: &Figure, near: Side) -> Option<f64> {
    let line = figure.get(Landmark::Tragus(near))? - figure.get(Landmark::C7)?;
    direction(line, line.x, line.y)
}

/// Tragus ahead of C7, horizontally, mm. Side view.
pub(super) fn head_forward_of_c7(figure: &Figure, near: Side) -> Option<f64> {
    Some((figure.get(Landmark::Tragus(near))? - figure.get(Landmark::C7)?).x)
}

/// Tragus ahead of the acromion, horizontally, mm. Side view.
pub(super) fn head_forward_of_shoulder(figure: &Figure, near: Side) -> Option<f64> {
    Some((figure.get(Landmark::Tragus(near))? - figure.get(Landmark::Acromion(near))?).x)
}

/// At the acromion, from the backward horizontal up to the line acromion→C7, radians; smaller =
/// more protracted. Side view.
///
/// Definition: Raine & Twomey 1997, mean 53.7°. The forward shoulder angle of other papers is
/// 90° minus this one: their cut-offs must not be mixed.
pub(super) fn sagittal_shoulder_angle(figure: &Figure, near: Side) -> Option<f64> {
    let line = figure.get(Landmark::C7)? - figure.get(Landmark::Acromion(near))?;
    direction(line, -line.x, line.y)
}

/// Acromion ahead of C7, horizontally, mm. Side view.
pub(super) fn shoulder_forward_of_c7(figure: &Figure, near: Side) -> Option<f64> {
    Some((figure.get(Landmark::Acromion(near))? - figure.get(Landmark::C7)?).x)
}

/// The curve of the back against its chord C7–T12.
struct Chord {
    /// Height of the apex behind the chord.
    apex: f64,
    /// The chord on each side of the foot of that height.
    above: f64,
    below: f64,
}

/// The apex is the one of T4 and T8 that stands farther behind the chord.
fn chord(figure: &Figure) -> Option<Chord> {
    let (c7, t12) = (figure.get(Landmark::C7)?, figure.get(Landmark::T12)?);
    let chord = t12 - c7;
    let length = chord.length();
    if length == 0.0 {
        return None;
    }
    [Landmark::T4, Landmark::T8]
        .into_iter()
        .filter_map(|landmark| figure.get(landmark))
        .map(|apex: Point<BodyPlane>| {
            let to_apex = apex - c7;
            // The chord runs down; what lies to its right (clockwise) is behind.
            let behind = to_apex.cross(chord) / length;
            let above = to_apex.dot(chord) / length;
            Chord {
                apex: behind,
                above,
                below: length - above,
            }
        })
        .max_by(|a, b| a.apex.total_cmp(&b.apex))
        .filter(|chord| chord.above > 0.0 && chord.below > 0.0)
}

/// `atan(E/L1) + atan(E/L2)`, radians: 180° minus the angle at the apex; larger = rounder. Side
/// view. A surface angle: never a Cobb angle.
///
/// The apex of a real back lies somewhere between T4 and T8, so reading it at one of the two makes
/// the angle low by some 1.5° on a rendered body, alike at every visit.
///
/// Definition: Greendale et al. 2011, Osteoporos Int 22:1897–1905.
pub(super) fn thoracic_angle(figure: &Figure) -> Option<f64> {
    let chord = chord(figure)?;
    Some((chord.apex / chord.above).atan() + (chord.apex / chord.below).atan())
}

/// Height of the apex as a part of the chord; larger = rounder. Side view.
///
/// Definition: Greendale et al. 2011; that the length is the chord's is from memory.
pub(super) fn kyphosis_index(figure: &Figure) -> Option<f64> {
    let chord = chord(figure)?;
    Some(chord.apex / (chord.above + chord.below))
}

/// The line hip joint→shoulder joint against the vertical, radians; + = forward. Side view.
pub(super) fn trunk_lean(figure: &Figure, near: Side) -> Option<f64> {
    let line = figure.get(Landmark::ShoulderJoint(near))? - figure.get(Landmark::HipJoint(near))?;
    direction(line, line.y, line.x)
}

/// The line from the right to the left point of a pair against level, radians; + = the left one
/// higher. Front or back view.
pub(super) fn tilt(figure: &Figure, of: fn(Side) -> Landmark) -> Option<f64> {
    let line = figure.get(of(Side::Left))? - figure.get(of(Side::Right))?;
    direction(line, line.x, line.y)
}

/// Tilt of the acromia; of the shoulder joints where an acromion is not known.
pub(super) fn shoulder_tilt(figure: &Figure) -> Option<f64> {
    tilt(figure, Landmark::Acromion).or_else(|| tilt(figure, Landmark::ShoulderJoint))
}

/// The middle of a pair of points off the plumb line through the middle of the ankles, mm; + = to
/// the subject's left. Front or back view.
pub(super) fn shift(figure: &Figure, of: fn(Side) -> Landmark) -> Option<f64> {
    let middle = |of: fn(Side) -> Landmark| -> Option<Point<BodyPlane>> {
        Some(
            figure
                .get(of(Side::Left))?
                .midpoint(figure.get(of(Side::Right))?),
        )
    };
    Some((middle(of)? - middle(Landmark::Ankle)?).x)
}

/// `atan2(across, along)` of a line that has a length.
fn direction(line: Vector<BodyPlane>, along: f64, across: f64) -> Option<f64> {
    (line.length() > 0.0).then(|| across.atan2(along))
}
