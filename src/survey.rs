//! Reads the measures of one photo: landmarks through the camera into the body's plane, every
//! uncertainty carried along.

use std::collections::BTreeMap;

use nalgebra::DMatrix;

use crate::body::{Landmark, Operated, Side, Task, View};
use crate::estimate::{Estimate, Inputs};
use crate::geometry::{Photo, Point};
use crate::locate::{Landmarks, Missing, accuracy};
use crate::measure::{Figure, Measure, Unit};
use crate::repeats::Repeats;
use crate::scale::{CameraFit, Scale, depth};
use crate::visit::{Evidence, Reading, Unmeasured};

/// One photo, ready to be measured.
pub struct Scene<'a> {
    pub file: &'a str,
    pub view: View,
    pub task: Task,
    pub landmarks: &'a Landmarks,
    /// Height that the person would have upright, pixels.
    pub stature_px: f64,
    /// `None` when no camera could be fitted.
    pub camera: Option<&'a CameraFit>,
    pub operated: Option<Operated>,
}

/// The shoulder joints lie under the acromia only roughly: error of the height of each when it
/// stands in for the other, mm. Common practice.
const STAND_IN_SIGMA: f64 = 5.0;

/// Reads every measure that a photo of this view and task is meant to show.
pub fn read(scene: &Scene<'_>) -> Vec<Reading> {
    let mut readings: Vec<Reading> = Measure::ALL
        .into_iter()
        .filter(|measure| measure.applies(scene.view, scene.task))
        .flat_map(|measure| {
            measure
                .sides(scene.view)
                .into_iter()
                .map(move |side| (measure, side))
        })
        .map(|(measure, side)| Reading {
            measure,
            side,
            photo: scene.file.to_owned(),
            outcome: outcome(scene, measure, side),
        })
        .collect();
    if Measure::ShoulderAbduction.applies(scene.view, scene.task) {
        readings.push(Reading {
            measure: Measure::AbductionAsymmetry,
            side: None,
            photo: scene.file.to_owned(),
            outcome: operated_side(scene.operated)
                .and_then(|operated| outcome(scene, Measure::AbductionAsymmetry, Some(operated))),
        });
    }
    readings
}

/// The difference between the sides of what the side-view photos of one visit show, each side by the
/// mean of its photos; `None` when there is no reach from the side at all.
pub fn flexion_asymmetry(readings: &[Reading], operated: Option<Operated>) -> Option<Reading> {
    let of = |side: Side| {
        readings
            .iter()
            .filter(move |r| r.measure == Measure::ShoulderFlexion && r.side == Some(side))
    };
    let read = |side: Side| of(side).filter_map(|reading| reading.outcome.as_ref().ok().copied());
    // Photos that were read; where none was, those that could have been.
    let photos: Vec<&str> = Side::BOTH
        .into_iter()
        .flat_map(|side| {
            let unread = read(side).next().is_none();
            of(side).filter(move |reading| unread || reading.outcome.is_ok())
        })
        .map(|reading| reading.photo.as_str())
        .collect();
    if photos.is_empty() {
        return None;
    }
    let value = |side: Side| -> Result<Estimate, Unmeasured> {
        let values: Vec<Estimate> = read(side).collect();
        let mean = Repeats::of(&values).map(|repeats| repeats.mean);
        mean.or_else(|| values.first().copied()).ok_or_else(|| {
            let why = of(side).find_map(|reading| reading.outcome.as_ref().err());
            why.cloned().unwrap_or_else(|| {
                Unmeasured::because(format!("needs a reach photo from the {side} side too"))
            })
        })
    };
    let outcome = operated_side(operated).and_then(|operated| {
        let (operated, other) = (value(operated)?, value(operated.other())?);
        Ok(Estimate::new(
            operated.value - other.value,
            operated.sigma.hypot(other.sigma),
        ))
    });
    Some(Reading {
        measure: Measure::FlexionAsymmetry,
        side: None,
        photo: photos.join(" + "),
        outcome,
    })
}

fn operated_side(operated: Option<Operated>) -> Result<Side, Unmeasured> {
    match operated {
        Some(Operated::One(side)) => Ok(side),
        Some(Operated::Both) => Err(Unmeasured::because(
            "surgery was on both sides: each is compared with its own first visit",
        )),
        Some(Operated::Neither) => Err(Unmeasured::because("no side was operated")),
        None => Err(Unmeasured::because(
            "needs the operated side, which nobody gave",
        )),
    }
}

fn outcome(
    scene: &Scene<'_>,
    measure: Measure,
    side: Option<Side>,
) -> Result<Estimate, Unmeasured> {
    let points = usable(scene, measure, side);
    let Some(camera) = scene.camera else {
        return Err(Unmeasured::because(
            "the camera's place could not be worked out from this photo",
        ));
    };
    let roundness = match measure {
        Measure::ThoracicAngle | Measure::KyphosisIndex => roundness(&points),
        _ => Estimate::new(1.0, 0.0),
    };
    let propagated = propagate(scene, camera, &points, roundness, |figure| {
        measure.read(figure, side)
    });
    let Some(estimate) = propagated else {
        return Err(why(scene, measure, side));
    };
    if measure.unit() == Unit::Centimetre
        && let Some(reason) = no_scale(camera.scale)
    {
        return Err(Unmeasured::because(reason));
    }
    let read = Estimate::new(
        measure.to_outer(estimate.value),
        measure.to_outer(estimate.sigma),
    );
    if read.sigma.is_nan() || read.sigma > useless_sigma(measure.unit()) {
        return Err(Unmeasured::because(
            "its error would be too large to be of use: the points it needs are too unclear here",
        ));
    }
    Ok(read)
}

/// A back's true roundness over what is read from it. Its apex lies farther behind the chord than
/// the cubic through four points of it has it, by 3.4 % ± 1.7 % of 100 drawn people (`scripts/people/
/// proportions.py`); half of that counts as error. Who takes one point for the apex means that point.
fn roundness(points: &[Taking]) -> Estimate {
    let taken = |landmark| points.iter().any(|point| point.landmark == landmark);
    if taken(Landmark::T4) && taken(Landmark::T8) {
        Estimate::new(1.034, f64::hypot(0.017, 0.034 / 2.0))
    } else {
        Estimate::new(1.0, 0.0)
    }
}

/// With a larger error a reading tells nothing of a posture: people differ by less.
const fn useless_sigma(unit: Unit) -> f64 {
    match unit {
        Unit::Degree => 20.0,
        Unit::Centimetre => 6.0,
        Unit::Percent => 30.0,
    }
}

/// Why lengths can't be told, if they can't.
fn no_scale(scale: Scale) -> Option<&'static str> {
    match scale {
        Scale::Known => None,
        Scale::NoStature => Some("needs a scale: nobody gave the stature"),
        Scale::TooLittleSeen => Some("needs a scale, and too little of the body is in the photo"),
        Scale::Misfit => {
            Some("needs a scale, and the body in the photo does not fit a person of this stature")
        }
    }
}

/// A landmark that takes part in a measure.
struct Taking {
    landmark: Landmark,
    at: Point<Photo>,
    covariance: nalgebra::Matrix2<f64>,
    evidence: Evidence,
    stands_in: bool,
}

fn usable(scene: &Scene<'_>, measure: Measure, side: Option<Side>) -> Vec<Taking> {
    let found = |landmark: Landmark| scene.landmarks.found.get(&landmark);
    let needs = measure.needs(side);
    // A pair is read from one kind of point: both acromia or both shoulder joints.
    let all_there = needs.iter().all(|landmark| found(*landmark).is_some());
    needs
        .into_iter()
        .filter_map(|landmark| {
            let substitute = measure.stand_in(landmark).filter(|_| !all_there);
            let landmark = substitute.unwrap_or(landmark);
            found(landmark).map(|located| Taking {
                landmark,
                at: located.at,
                covariance: located.covariance,
                evidence: located.evidence,
                stands_in: substitute.is_some(),
            })
        })
        .collect()
}

/// Carries the errors of the points, of their depth and of the stance through to the measure, which
/// is `factor` times what is read.
fn propagate(
    scene: &Scene<'_>,
    camera: &CameraFit,
    points: &[Taking],
    factor: Estimate,
    read: impl Fn(&Figure) -> Option<f64>,
) -> Option<Estimate> {
    let mut inputs = Inputs::new();
    let (means, covariance) = camera.unknowns();
    inputs.push_block(means, covariance);
    let at: Vec<f64> = points
        .iter()
        .flat_map(|point| [point.at.x, point.at.y])
        .collect();
    let pixels = inputs.push_block(&at, joint_covariance(scene, points));
    let offsets = inputs.push_block(
        &vec![0.0; points.len()],
        depth_covariance(scene, points, camera.stance(means).stature)?,
    );
    let factor = inputs.push(factor);
    let mut starts = BTreeMap::new();
    for (index, point) in points.iter().enumerate() {
        let height = if point.stands_in { STAND_IN_SIGMA } else { 0.0 };
        let height = inputs.push(Estimate::new(0.0, height));
        starts.insert(
            point.landmark,
            (pixels + 2 * index, offsets + index, height),
        );
    }
    let facing = scene.view.forward_sign();
    inputs.propagate(|x| {
        let stance = camera.stance(x);
        let mut figure = Figure::default();
        for (&landmark, &(pixel, offset, height)) in &starts {
            let seen = Point::new(x[pixel], x[pixel + 1]);
            let at = stance.place(landmark, seen, scene.view, scene.task, x[offset])?;
            figure.place(landmark, Point::new(facing * at.x, at.y + x[height]));
        }
        Some(x[factor] * read(&figure)?)
    })
}

/// The covariance of the depths of all points together, mm².
fn depth_covariance(scene: &Scene<'_>, points: &[Taking], stature: f64) -> Option<DMatrix<f64>> {
    let sigmas = points
        .iter()
        .map(|point| Some(depth::of(point.landmark, scene.view, scene.task, stature)?.sigma))
        .collect::<Option<Vec<f64>>>()?;
    Some(DMatrix::from_fn(points.len(), points.len(), |i, j| {
        let together = depth::correlation(points[i].landmark, points[j].landmark, scene.view);
        sigmas[i] * sigmas[j] * together
    }))
}

/// The covariance of all points together, pixels squared. The net sets a joint off in the same
/// way on both sides of the body, so in a front view a part of their errors is one and the same:
/// it drops out of a tilt and of a difference between the sides.
fn joint_covariance(scene: &Scene<'_>, points: &[Taking]) -> DMatrix<f64> {
    let mut joint = DMatrix::zeros(2 * points.len(), 2 * points.len());
    for (i, point) in points.iter().enumerate() {
        joint
            .view_mut((2 * i, 2 * i), (2, 2))
            .copy_from(&point.covariance);
        let twin = point.landmark.mirrored();
        let Some(j) = points
            .iter()
            .position(|other| other.landmark == twin && twin != point.landmark)
        else {
            continue;
        };
        if point.evidence != Evidence::PoseNet || points[j].evidence != Evidence::PoseNet {
            continue;
        }
        let [away, down] = accuracy::of(point.landmark, scene.view, scene.task)
            .shared()
            .map(|part| part * scene.stature_px);
        // Outward on one side is inward on the other, seen along the photo's x.
        joint[(2 * i, 2 * j)] = -away * away;
        joint[(2 * i + 1, 2 * j + 1)] = down * down;
    }
    joint
}

/// Why a measure has no value.
fn why(scene: &Scene<'_>, measure: Measure, side: Option<Side>) -> Unmeasured {
    let lacking: Vec<Landmark> = measure
        .needs(side)
        .into_iter()
        .filter(|landmark| !scene.landmarks.found.contains_key(landmark))
        .collect();
    if lacking.is_empty() {
        return Unmeasured::because(match measure {
            Measure::ArmToEarFront | Measure::ArmToEarFrontRelative => {
                "the arm is not raised high enough to come near the ear"
            }
            _ => "the landmarks lie too close together to tell",
        });
    }
    let mut by_cause: Vec<(Missing, Vec<String>)> = Vec::new();
    for landmark in &lacking {
        let Some(&how) = scene.landmarks.missing.get(landmark) else {
            continue;
        };
        match by_cause.iter_mut().find(|(known, _)| *known == how) {
            Some((_, names)) => names.push(landmark.in_words()),
            None => by_cause.push((how, vec![landmark.in_words()])),
        }
    }
    if by_cause.is_empty() {
        let names: Vec<String> = lacking.iter().map(|landmark| landmark.words()).collect();
        return Unmeasured::because(format!(
            "needs {}: not found by the nets; it can be placed by hand",
            names.join(", ")
        ));
    }
    let causes: Vec<String> = by_cause
        .iter()
        .map(|(how, names)| {
            let are = if names.len() > 1 { "are" } else { "is" };
            format!("{}, which {are} {}", names.join(" and "), how.words())
        })
        .collect();
    Unmeasured::because(format!("needs {}", causes.join(", and ")))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_asymmetry_is_between_the_means_of_both_sides() {
        let reading = |side, photo: &str, value| Reading {
            measure: Measure::ShoulderFlexion,
            side: Some(side),
            photo: photo.to_owned(),
            outcome: value,
        };
        let read = |degrees| Ok(Estimate::new(degrees, 2.0));
        let blurred = Err(Unmeasured::because("too unclear"));
        let readings = [
            reading(Side::Left, "a.jpg", read(150.0)),
            reading(Side::Right, "b.jpg", read(140.0)),
            reading(Side::Left, "c.jpg", read(154.0)),
            reading(Side::Left, "d.jpg", blurred.clone()),
        ];
        let right = Some(Operated::One(Side::Right));
        let of = |readings: &[Reading]| flexion_asymmetry(readings, right).expect("a reach");
        let both = of(&readings);
        assert_eq!(both.outcome.expect("a value").value, -12.0);
        assert_eq!(both.photo, "a.jpg + c.jpg + b.jpg");
        let lone = of(&[readings[3].clone()]);
        assert_eq!(lone.photo, "d.jpg");
        assert!(lone.outcome.unwrap_err().reason.contains("right side too"));
    }
}
