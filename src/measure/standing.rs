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

/// A point on the curve: how far down the chord, as a part of it, and how far behind it, mm.
#[derive(Clone, Copy)]
struct OnCurve {
    down: f64,
    behind: f64,
}

/// Where T4 and T8 are both known, the apex is that of the cubic through C7, T4, T8 and T12: a real
/// back's lies somewhere between the two, so taking the farther one would jump from one to the other
/// and read too flat. A single one of them is taken for the apex itself, as whoever places one point
/// means it.
fn chord(figure: &Figure) -> Option<Chord> {
    let (c7, t12) = (figure.get(Landmark::C7)?, figure.get(Landmark::T12)?);
    let chord = t12 - c7;
    let length = chord.length();
    if length == 0.0 {
        return None;
    }
    let on_curve = |at: Point<BodyPlane>| OnCurve {
        down: (at - c7).dot(chord) / (length * length),
        // The chord runs down; what lies to its right (clockwise) is behind.
        behind: (at - c7).cross(chord) / length,
    };
    let of = |landmark| figure.get(landmark).map(on_curve);
    let apex = match (of(Landmark::T4), of(Landmark::T8)) {
        (Some(t4), Some(t8)) => apex_between(t4, t8)?,
        (one, other) => one.or(other)?,
    };
    (0.0 < apex.down && apex.down < 1.0).then_some(Chord {
        apex: apex.behind,
        above: apex.down * length,
        below: (1.0 - apex.down) * length,
    })
}

/// The point farthest behind the chord on `s·(1 − s)·(a + b·s)`, the cubic through both ends of the
/// chord and two points between them.
fn apex_between(first: OnCurve, second: OnCurve) -> Option<OnCurve> {
    // What is left of a height once the zeros at both ends are divided out: a line in s.
    let line = |point: OnCurve| point.behind / (point.down * (1.0 - point.down));
    let b = (line(second) - line(first)) / (second.down - first.down);
    let a = line(first) - b * first.down;
    // Where a + 2·(b − a)·s − 3·b·s² is zero; by Rolle's theorem at least once between the ends.
    let (half, root) = (b - a, ((b - a).powi(2) + 3.0 * a * b).max(0.0).sqrt());
    let level = if b.abs() < 1e-9 * a.abs() {
        [0.5, f64::NAN]
    } else {
        [(half + root) / (3.0 * b), (half - root) / (3.0 * b)]
    };
    level
        .into_iter()
        .filter(|s| 0.0 < *s && *s < 1.0)
        .map(|s| OnCurve {
            down: s,
            behind: s * (1.0 - s) * (a + b * s),
        })
        .max_by(|one, other| one.behind.total_cmp(&other.behind))
}

/// `atan(E/L1) + atan(E/L2)`, radians: 180° minus the angle at the apex; larger = rounder. Side
/// view. A surface angle: never a Cobb angle.
///
/// Four points do not hold all of a back's curve: `survey` adds what they leave out.
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
