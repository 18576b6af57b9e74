//! The camera that best explains the photo, and how well each part of it is known.
//!
//! Known heights of the body (parts of stature) against their pixels, with priors for what a
//! photo alone does not tell, solved by Gauss–Newton.

use nalgebra::{DMatrix, DVector, SMatrix, SVector};

use super::camera::Camera;
use super::depth;
use super::stature;
use crate::body::{Landmark, Task, View};
use crate::estimate::Estimate;
use crate::geometry::{Angle, Photo, Point};
use crate::visit::CameraSetup;

/// Diagonal of a 35 mm frame, mm.
const FRAME_DIAGONAL: f64 = 43.267;
/// The two readings of "35 mm equivalent" (by width, by diagonal) are 4 % apart.
const FOCAL_TAG_SIGMA: f64 = 0.04;
/// Without a tag: phones' main cameras lie between 23 and 28 mm, older ones and small cameras up
/// to 50 mm. Common practice.
const FOCAL_UNKNOWN_MM: f64 = 28.0;
const FOCAL_UNKNOWN_SIGMA: f64 = 0.25;
/// Priors of the camera's place: 2.5 to 4 m away (common practice), held at chest height, nearly
/// level.
const DISTANCE: Estimate = Estimate::new(3000.0, 900.0);
const HEIGHT: Estimate = Estimate::new(1200.0, 200.0);
const PITCH: Estimate = Estimate::new(0.0, 4.0_f64.to_radians());
/// A photo held level by hand or stood on a tripod. Common practice; the photo cannot tell.
const ROLL_SIGMA: Angle = Angle::from_degrees(1.5);

/// Number of fitted unknowns: logarithm of focal length, distance, height, pitch, stature.
const UNKNOWNS: usize = 5;
/// The unknowns that the fit adds untouched: roll, turn.
const ALL: usize = UNKNOWNS + 2;

/// What is known about the photo before the fit.
#[derive(Clone, Debug)]
pub struct Evidence<'a> {
    pub view: View,
    pub task: Task,
    pub width: u32,
    pub height: u32,
    /// 35 mm equivalent focal length, when the file tells it.
    pub focal_35mm: Option<f64>,
    /// Stature, mm, when it is written down.
    pub stature: Option<f64>,
    /// Turn of the body's plane, as [`Camera::turn`], radians.
    pub turn: Estimate,
    /// Landmarks of the photo.
    pub landmarks: &'a [(Landmark, Point<Photo>)],
}

/// Whether lengths can be told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Scale {
    Known,
    /// No stature was written down.
    NoStature,
    /// Less than two heights of the body are in the photo.
    TooLittleSeen,
    /// What is seen does not fit a person of that stature standing on the floor.
    Misfit,
}

/// A residual beyond this many sigmas, of a height or of a prior, is a misfit.
const MISFIT: f64 = 3.0;

/// A camera with the covariance of everything about it that is uncertain.
#[derive(Clone, Debug)]
pub struct CameraFit {
    centre: Point<Photo>,
    /// ln focal, distance, height, pitch, stature, roll, turn.
    mean: [f64; ALL],
    covariance: DMatrix<f64>,
    pub scale: Scale,
}

impl CameraFit {
    /// The uncertain numbers, for error propagation.
    pub fn unknowns(&self) -> (&[f64], DMatrix<f64>) {
        (&self.mean, self.covariance.clone())
    }

    /// The camera and the stature (mm) that a set of unknowns describes.
    pub fn camera(&self, unknowns: &[f64]) -> (Camera, f64) {
        camera_of(self.centre, unknowns)
    }

    /// What the fit says about how the photo was taken.
    pub fn setup(&self) -> CameraSetup {
        let of =
            |index: usize| Estimate::new(self.mean[index], self.covariance[(index, index)].sqrt());
        CameraSetup {
            distance_cm: of(1).scaled(0.1),
            lens_height_cm: of(2).scaled(0.1),
            turn_deg: Estimate::new(
                Angle::from_radians(of(6).value).degrees(),
                Angle::from_radians(of(6).sigma).degrees(),
            ),
            mm_per_px: (self.scale == Scale::Known).then(|| self.millimetres_per_pixel()),
        }
    }

    /// Millimetres of the body's plane that one pixel spans at its middle, with error: that of
    /// distance over focal length.
    pub fn millimetres_per_pixel(&self) -> Estimate {
        let value = self.mean[1] / self.mean[0].exp();
        let c = &self.covariance;
        let distance = self.mean[1];
        let relative = c[(1, 1)] / distance.powi(2) + c[(0, 0)] - 2.0 * c[(0, 1)] / distance;
        Estimate::new(value, value * relative.max(0.0).sqrt())
    }
}

fn camera_of(centre: Point<Photo>, unknowns: &[f64]) -> (Camera, f64) {
    let camera = Camera {
        focal: unknowns[0].exp(),
        centre,
        distance: unknowns[1],
        height: unknowns[2],
        pitch: Angle::from_radians(unknowns[3]),
        roll: Angle::from_radians(unknowns[5]),
        turn: Angle::from_radians(unknowns[6]),
    };
    (camera, unknowns[4])
}

/// Fits the camera. `None` for an oblique view, which has no plane to measure in.
pub fn fit(evidence: &Evidence<'_>) -> Option<CameraFit> {
    if matches!(evidence.view, View::Oblique(_)) {
        return None;
    }
    let (width, height) = (f64::from(evidence.width), f64::from(evidence.height));
    let centre = Point::new(width / 2.0, height / 2.0);
    let prior = priors(evidence, width.hypot(height));
    let seen = known_heights(evidence);

    let residuals = |x: &SVector<f64, UNKNOWNS>| -> Option<DVector<f64>> {
        let full = [x[0], x[1], x[2], x[3], x[4], 0.0, evidence.turn.value];
        let (camera, stature) = camera_of(centre, &full);
        let mut all = Vec::with_capacity(seen.len() + UNKNOWNS);
        for (landmark, at, fraction) in &seen {
            let depth = depth::of(*landmark, evidence.view, evidence.task, stature)?.value;
            let up = camera.plane_from_photo(*at, depth)?.y;
            all.push((up / stature - fraction.value) / fraction.sigma);
        }
        all.extend((0..UNKNOWNS).map(|i| (x[i] - prior[i].value) / prior[i].sigma));
        Some(DVector::from_vec(all))
    };

    let mut x = SVector::<f64, UNKNOWNS>::from_fn(|i, _| prior[i].value);
    // Start the distance where the body's extent puts it, so that few steps are needed.
    if let Some(start) = first_distance(evidence, x[0].exp(), x[4]) {
        x[1] = start;
    }
    let mut information = SMatrix::<f64, UNKNOWNS, UNKNOWNS>::identity();
    for _ in 0..20 {
        let r = residuals(&x)?;
        let jacobian = jacobian(&residuals, &x, &prior)?;
        let normal = jacobian.transpose() * &jacobian;
        information = SMatrix::from_fn(|i, j| normal[(i, j)]);
        let gradient = jacobian.transpose() * r;
        let gradient = SVector::<f64, UNKNOWNS>::from_fn(|i, _| gradient[i]);
        let step = information.cholesky()?.solve(&gradient);
        x -= step;
        let settled = (0..UNKNOWNS).all(|i| step[i].abs() < 1e-4 * prior[i].sigma);
        if settled {
            break;
        }
    }
    let fitted = information.try_inverse()?;
    let fits = residuals(&x)?
        .iter()
        .all(|residual| residual.abs() <= MISFIT);
    let scale = if evidence.stature.is_none() {
        Scale::NoStature
    } else if !spans_the_body(&seen) {
        Scale::TooLittleSeen
    } else if !fits {
        Scale::Misfit
    } else {
        Scale::Known
    };
    let mut covariance = DMatrix::zeros(ALL, ALL);
    covariance
        .view_mut((0, 0), (UNKNOWNS, UNKNOWNS))
        .copy_from(&fitted);
    covariance[(5, 5)] = ROLL_SIGMA.radians().powi(2);
    covariance[(6, 6)] = evidence.turn.sigma.powi(2);
    Some(CameraFit {
        centre,
        mean: [x[0], x[1], x[2], x[3], x[4], 0.0, evidence.turn.value],
        covariance,
        scale,
    })
}

fn priors(evidence: &Evidence<'_>, diagonal: f64) -> [Estimate; UNKNOWNS] {
    let (focal_mm, focal_sigma) = match evidence.focal_35mm {
        Some(mm) => (mm, FOCAL_TAG_SIGMA),
        None => (FOCAL_UNKNOWN_MM, FOCAL_UNKNOWN_SIGMA),
    };
    [
        Estimate::new((focal_mm / FRAME_DIAGONAL * diagonal).ln(), focal_sigma),
        DISTANCE,
        HEIGHT,
        PITCH,
        match evidence.stature {
            Some(mm) => Estimate::new(mm, stature::WRITTEN_DOWN_SIGMA),
            None => stature::UNKNOWN,
        },
    ]
}

/// Landmarks of known height. In a side view only the side nearest the camera: the other is
/// often hidden. From the front both, each with the error of a single one.
fn known_heights(evidence: &Evidence<'_>) -> Vec<(Landmark, Point<Photo>, Estimate)> {
    evidence
        .landmarks
        .iter()
        .filter(|(landmark, _)| match (evidence.view, landmark.side()) {
            (View::Side(near), Some(side)) => near == side,
            _ => true,
        })
        .filter_map(|&(landmark, at)| {
            let mut fraction = stature::height_fraction(landmark, evidence.task)?;
            // Two sides share their error of proportion; together they must not count twice.
            if evidence.view.near_side().is_none() && landmark.side().is_some() {
                fraction.sigma *= std::f64::consts::SQRT_2;
            }
            Some((landmark, at, fraction))
        })
        .collect()
}

/// Whether the heights seen are far enough apart to tell a scale: from the hips to the eyes is.
fn spans_the_body(seen: &[(Landmark, Point<Photo>, Estimate)]) -> bool {
    let heights = || seen.iter().map(|(_, _, fraction)| fraction.value);
    let span =
        heights().fold(f64::NEG_INFINITY, f64::max) - heights().fold(f64::INFINITY, f64::min);
    span >= 0.25
}

/// Distance from the span of the highest and lowest landmark of known height.
fn first_distance(evidence: &Evidence<'_>, focal: f64, stature: f64) -> Option<f64> {
    let seen = known_heights(evidence);
    let top = seen.iter().max_by(|a, b| a.2.value.total_cmp(&b.2.value))?;
    let bottom = seen.iter().min_by(|a, b| a.2.value.total_cmp(&b.2.value))?;
    let pixels = top.1.distance(bottom.1);
    let span = (top.2.value - bottom.2.value) * stature;
    (pixels > 1.0 && span > 1.0).then(|| focal * span / pixels)
}

fn jacobian(
    residuals: &impl Fn(&SVector<f64, UNKNOWNS>) -> Option<DVector<f64>>,
    x: &SVector<f64, UNKNOWNS>,
    prior: &[Estimate; UNKNOWNS],
) -> Option<DMatrix<f64>> {
    let columns = (0..UNKNOWNS)
        .map(|i| {
            let step = 1e-3 * prior[i].sigma;
            let (mut ahead, mut behind) = (*x, *x);
            ahead[i] += step;
            behind[i] -= step;
            Some((residuals(&ahead)? - residuals(&behind)?) / (2.0 * step))
        })
        .collect::<Option<Vec<_>>>()?;
    Some(DMatrix::from_columns(&columns))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::body::Side;

    /// A synthetic person of 1.65 m seen from the right side by a known camera.
    fn evidence_from(camera: &Camera, stature: f64) -> Vec<(Landmark, Point<Photo>)> {
        let view = View::Side(Side::Right);
        [
            Landmark::EyeOuter(Side::Right),
            Landmark::HipJoint(Side::Right),
            Landmark::Knee(Side::Right),
            Landmark::Ankle(Side::Right),
        ]
        .into_iter()
        .map(|landmark| {
            let up = stature::height_fraction(landmark, Task::Stand)
                .unwrap()
                .value
                * stature;
            let depth = depth::of(landmark, view, Task::Stand, stature)
                .unwrap()
                .value;
            let at = camera
                .photo_from_plane(Point::new(30.0, up), depth)
                .unwrap();
            (landmark, at)
        })
        .collect()
    }

    #[test]
    fn distance_and_scale_come_back_within_their_error() {
        let diagonal = 720f64.hypot(960.0);
        let camera = Camera {
            focal: 26.0 / FRAME_DIAGONAL * diagonal,
            centre: Point::new(360.0, 480.0),
            distance: 2900.0,
            height: 1150.0,
            pitch: Angle::from_degrees(-2.0),
            roll: Angle::ZERO,
            turn: Angle::ZERO,
        };
        let landmarks = evidence_from(&camera, 1650.0);
        let fitted = fit(&Evidence {
            view: View::Side(Side::Right),
            task: Task::Stand,
            width: 720,
            height: 960,
            focal_35mm: Some(26.0),
            stature: Some(1650.0),
            turn: Estimate::new(0.0, 0.1),
            landmarks: &landmarks,
        })
        .unwrap();
        let distance = fitted.setup().distance_cm;
        assert!((distance.value - 290.0).abs() < distance.sigma);
        assert!(distance.sigma < 20.0);
        let scale = fitted.millimetres_per_pixel();
        let truth = camera.distance / camera.focal;
        assert!((scale.value - truth).abs() < 1.5 * scale.sigma);
        assert!(scale.sigma / scale.value < 0.03);
    }
}
