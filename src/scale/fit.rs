//! The stance that best explains the photo, and how well each part of it is known.
//!
//! Known heights of the body (parts of stature) against their pixels, turns and tilts as they
//! were seen, and priors for what a photo alone does not tell, solved by Gauss–Newton.

use std::collections::BTreeMap;

use nalgebra::{Cholesky, DMatrix, DVector, Dyn, SMatrix, SVector};

use super::camera::Camera;
use super::stance::Stance;
use super::stature::{self, Proportion};
use crate::body::{Landmark, Side, Task, View};
use crate::estimate::Estimate;
use crate::geometry::{Angle, Photo, Point};
use crate::visit::{CameraSetup, Located};

/// Diagonal of a 35 mm frame, mm.
pub const FRAME_DIAGONAL: f64 = 43.267;
/// The two readings of "35 mm equivalent" (by width, by diagonal) are 4 % apart.
const FOCAL_TAG_SIGMA: f64 = 0.04;
/// Without a tag: phones' main cameras lie between 23 and 28 mm, older ones and small cameras up
/// to 50 mm. Common practice.
const FOCAL_UNKNOWN_MM: f64 = 28.0;
const FOCAL_UNKNOWN_SIGMA: f64 = 0.25;
/// Priors of the camera's place: 2.5 to 4 m away (common practice), held at chest height.
const DISTANCE: Estimate = Estimate::new(3000.0, 900.0);
const HEIGHT: Estimate = Estimate::new(1200.0, 200.0);
/// Whoever takes a photo tips the camera about halfway towards the body's middle, which has this
/// part of stature. Common practice.
const MIDDLE: f64 = 0.55;
const TIPPED: f64 = 0.5;
const PITCH_SIGMA: Angle = Angle::from_degrees(3.0);
/// A photo held level by hand or stood on a tripod. Common practice.
const ROLL_SIGMA: Angle = Angle::from_degrees(1.5);
/// People who are asked to stand sideways or facing the camera do so within about 7°, and keep the
/// head straight on the trunk within 5° (common practice).
const POSED_SIGMA: Angle = Angle::from_degrees(7.0);
const HEAD_SIGMA: Angle = Angle::from_degrees(5.0);
/// How far someone's hips lie ahead of the ankles, and to a side of them, mm. Common practice: the
/// line of gravity falls a few centimetres ahead of the ankle and near the hip, and the weight is
/// seldom quite even. The rendered people of the truth sets stand more alike: 5 ± 6 mm ahead,
/// and even.
const HIPS_AHEAD: Estimate = Estimate::new(20.0, 30.0);
const HIPS_ASIDE: Estimate = Estimate::new(0.0, 20.0);

/// Number of fitted unknowns, and their places.
const UNKNOWNS: usize = 8;
const LN_FOCAL: usize = 0;
const DISTANCE_AT: usize = 1;
const HEIGHT_AT: usize = 2;
const PITCH: usize = 3;
const STATURE: usize = 4;
const ROLL: usize = 5;
const TURN: usize = 6;
const HEAD_TURN: usize = 7;

type Unknowns = SVector<f64, UNKNOWNS>;

/// What is known about the photo before the fit. Angles are in radians.
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
    /// Turn of the trunk as it looks along the ray to the body's middle, signed as
    /// [`Camera::turn`]; see [`Camera::azimuth`].
    pub trunk_turn: Option<Estimate>,
    /// The same of the head.
    pub head_turn: Option<Estimate>,
    /// Roll and pitch as in [`Camera`], when something upright in the room tells them. The roll then
    /// takes the place of the usual one.
    pub roll: Option<Estimate>,
    pub pitch: Option<Estimate>,
    /// Landmarks of the photo.
    pub landmarks: &'a BTreeMap<Landmark, Located>,
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

/// A stance with the covariance of everything about it that is uncertain.
#[derive(Clone, Debug)]
pub struct CameraFit {
    centre: Point<Photo>,
    mean: Unknowns,
    covariance: SMatrix<f64, UNKNOWNS, UNKNOWNS>,
    /// Whether something upright in the room told roll and pitch.
    sees_upright: bool,
    pub scale: Scale,
}

impl CameraFit {
    /// The uncertain numbers, for error propagation.
    pub fn unknowns(&self) -> (&[f64], DMatrix<f64>) {
        let covariance = DMatrix::from_fn(UNKNOWNS, UNKNOWNS, |i, j| self.covariance[(i, j)]);
        (self.mean.as_slice(), covariance)
    }

    /// The stance that a set of unknowns describes.
    pub fn stance(&self, unknowns: &[f64]) -> Stance {
        stance_of(self.centre, unknowns)
    }

    /// What the fit says about how the photo was taken.
    pub fn setup(&self) -> CameraSetup {
        let of =
            |index: usize| Estimate::new(self.mean[index], self.covariance[(index, index)].sqrt());
        let degrees = |radians: Estimate| radians.scaled(Angle::from_radians(1.0).degrees());
        CameraSetup {
            distance_cm: of(DISTANCE_AT).scaled(0.1),
            lens_height_cm: of(HEIGHT_AT).scaled(0.1),
            turn_deg: degrees(of(TURN)),
            roll_deg: self.sees_upright.then(|| degrees(of(ROLL))),
            pitch_deg: self.sees_upright.then(|| degrees(of(PITCH))),
            mm_per_px: (self.scale == Scale::Known).then(|| self.millimetres_per_pixel()),
        }
    }

    /// Millimetres of the body's plane that one pixel spans at its middle, with error: that of
    /// distance over focal length.
    pub fn millimetres_per_pixel(&self) -> Estimate {
        let distance = self.mean[DISTANCE_AT];
        let value = distance / self.mean[LN_FOCAL].exp();
        let c = &self.covariance;
        let relative = c[(DISTANCE_AT, DISTANCE_AT)] / distance.powi(2) + c[(LN_FOCAL, LN_FOCAL)]
            - 2.0 * c[(LN_FOCAL, DISTANCE_AT)] / distance;
        Estimate::new(value, value * relative.max(0.0).sqrt())
    }
}

fn stance_of(centre: Point<Photo>, unknowns: &[f64]) -> Stance {
    Stance {
        camera: Camera {
            focal: unknowns[LN_FOCAL].exp(),
            centre,
            distance: unknowns[DISTANCE_AT],
            height: unknowns[HEIGHT_AT],
            pitch: Angle::from_radians(unknowns[PITCH]),
            roll: Angle::from_radians(unknowns[ROLL]),
            turn: Angle::from_radians(unknowns[TURN]),
        },
        stature: unknowns[STATURE],
        head_turn: Angle::from_radians(unknowns[HEAD_TURN]),
    }
}

/// Fits the camera. `None` for an oblique view, which has no plane to measure in.
pub fn fit(evidence: &Evidence<'_>) -> Option<CameraFit> {
    if matches!(evidence.view, View::Oblique(_)) {
        return None;
    }
    let (width, height) = (f64::from(evidence.width), f64::from(evidence.height));
    let centre = Point::new(width / 2.0, height / 2.0);
    let prior = priors(evidence);
    let mut x = Unknowns::from_fn(|i, _| prior[i].value);
    // Start the distance where the body's extent puts it, so that few steps are needed.
    if let Some(start) = first_distance(evidence, x[LN_FOCAL].exp(), x[STATURE]) {
        x[DISTANCE_AT] = start;
    }
    let problem = Problem {
        evidence,
        centre,
        prior,
        heights: Heights::seen(evidence, x[DISTANCE_AT] / x[LN_FOCAL].exp() / x[STATURE])?,
        middle: middle(evidence.landmarks),
    };
    let mut information = SMatrix::<f64, UNKNOWNS, UNKNOWNS>::identity();
    for _ in 0..20 {
        let r = problem.residuals(&x)?;
        let jacobian = problem.jacobian(&x)?;
        let normal = jacobian.transpose() * &jacobian;
        information = SMatrix::from_fn(|i, j| normal[(i, j)]);
        let gradient = jacobian.transpose() * r;
        let gradient = Unknowns::from_fn(|i, _| gradient[i]);
        let step = information.cholesky()?.solve(&gradient);
        x -= step;
        let settled = (0..UNKNOWNS).all(|i| step[i].abs() < 1e-4 * prior[i].sigma);
        if settled {
            break;
        }
    }
    let scale = if evidence.stature.is_none() {
        Scale::NoStature
    } else if !problem.heights.span_the_body() {
        Scale::TooLittleSeen
    } else if !problem.fits(&x)? {
        Scale::Misfit
    } else {
        Scale::Known
    };
    Some(CameraFit {
        centre,
        mean: x,
        covariance: information.try_inverse()?,
        sees_upright: evidence.roll.is_some(),
        scale,
    })
}

/// Focal length by the file's tag, pixels; a usual one where it has none.
pub fn focal_px(focal_35mm: Option<f64>, width: u32, height: u32) -> Estimate {
    let (mm, relative) = match focal_35mm {
        Some(mm) => (mm, FOCAL_TAG_SIGMA),
        None => (FOCAL_UNKNOWN_MM, FOCAL_UNKNOWN_SIGMA),
    };
    let pixels = mm / FRAME_DIAGONAL * f64::from(width).hypot(f64::from(height));
    Estimate::new(pixels, relative * pixels)
}

/// What each unknown is taken for before anything of the person is seen. That of the pitch is for
/// a level camera; [`Problem::usual`] knows better.
fn priors(evidence: &Evidence<'_>) -> [Estimate; UNKNOWNS] {
    let focal = focal_px(evidence.focal_35mm, evidence.width, evidence.height);
    let straight = |sigma: Angle| Estimate::new(0.0, sigma.radians());
    [
        Estimate::new(focal.value.ln(), focal.sigma / focal.value),
        DISTANCE,
        HEIGHT,
        straight(PITCH_SIGMA),
        match evidence.stature {
            Some(mm) => Estimate::new(mm, stature::WRITTEN_DOWN_SIGMA),
            None => stature::UNKNOWN,
        },
        // What the room tells goes before what is usual.
        evidence.roll.unwrap_or(straight(ROLL_SIGMA)),
        straight(POSED_SIGMA),
        straight(HEAD_SIGMA),
    ]
}

/// The body's middle, between shoulders and hips.
fn middle(landmarks: &BTreeMap<Landmark, Located>) -> Option<Point<Photo>> {
    use Landmark::{HipJoint, ShoulderJoint};
    let of = |kind: fn(Side) -> Landmark| {
        let seen: Vec<_> = Side::BOTH
            .into_iter()
            .filter_map(|side| Some(landmarks.get(&kind(side))?.at))
            .collect();
        match seen[..] {
            [one] => Some(one),
            [one, other] => Some(one.midpoint(other)),
            _ => None,
        }
    };
    Some(of(ShoulderJoint)?.midpoint(of(HipJoint)?))
}

/// Landmarks of known height, and how far each may be off it.
struct Heights {
    seen: Vec<(Landmark, Point<Photo>, Proportion)>,
    /// Standard deviation of each, and the root of their covariance, in parts of stature.
    sigma: Vec<f64>,
    root: Option<Cholesky<f64, Dyn>>,
}

impl Heights {
    /// `stature_of_px` is the part of stature that a pixel spans.
    fn seen(evidence: &Evidence<'_>, stature_of_px: f64) -> Option<Heights> {
        let seen: Vec<_> = evidence
            .landmarks
            .iter()
            // Of the side away from the camera a landmark is often guessed.
            .filter(|(landmark, _)| evidence.view.shows_side_of(**landmark))
            .filter_map(|(&landmark, located)| {
                Some((landmark, located, stature::height(landmark, evidence.task)?))
            })
            .collect();
        let covariance = DMatrix::from_fn(seen.len(), seen.len(), |i, j| {
            let of_body = stature::covariance((seen[i].0, seen[i].2), (seen[j].0, seen[j].2));
            if i == j {
                of_body + seen[i].1.covariance[(1, 1)] * stature_of_px.powi(2)
            } else {
                of_body
            }
        });
        Some(Heights {
            sigma: (0..seen.len()).map(|i| covariance[(i, i)].sqrt()).collect(),
            root: if seen.is_empty() {
                None
            } else {
                Some(covariance.cholesky()?)
            },
            seen: seen
                .into_iter()
                .map(|(landmark, located, height)| (landmark, located.at, height))
                .collect(),
        })
    }

    /// Height minus usual height of each, in parts of stature.
    fn off(&self, stance: &Stance, view: View, task: Task) -> Option<DVector<f64>> {
        let off = self
            .seen
            .iter()
            .map(|(landmark, at, height)| {
                let up = stance.place(*landmark, *at, view, task, 0.0)?.y;
                Some(up / stance.stature - height.fraction)
            })
            .collect::<Option<Vec<_>>>()?;
        Some(DVector::from_vec(off))
    }

    /// Whether the heights are far enough apart to tell a scale: from the hips to the eyes is.
    fn span_the_body(&self) -> bool {
        let heights = || self.seen.iter().map(|(_, _, height)| height.fraction);
        let span =
            heights().fold(f64::NEG_INFINITY, f64::max) - heights().fold(f64::INFINITY, f64::min);
        span >= 0.25
    }
}

struct Problem<'a> {
    evidence: &'a Evidence<'a>,
    centre: Point<Photo>,
    prior: [Estimate; UNKNOWNS],
    heights: Heights,
    middle: Option<Point<Photo>>,
}

impl Problem<'_> {
    /// Everything that should be nought, in sigmas.
    fn residuals(&self, x: &Unknowns) -> Option<DVector<f64>> {
        let evidence = self.evidence;
        let stance = stance_of(self.centre, x.as_slice());
        let mut all = self.usual(x);
        let off = self.heights.off(&stance, evidence.view, evidence.task)?;
        match &self.heights.root {
            Some(root) => all.extend(root.l().solve_lower_triangular(&off)?.iter()),
            None => all.extend(off.iter()),
        }
        let apparent = x[TURN] + self.azimuth(&stance);
        let seen = [
            (apparent, evidence.trunk_turn),
            (apparent + x[HEAD_TURN], evidence.head_turn),
            (x[PITCH], evidence.pitch),
        ];
        all.extend(
            seen.into_iter()
                .filter_map(|(value, seen)| seen.map(|seen| (value - seen.value) / seen.sigma)),
        );
        all.extend(self.hips_above_ankles(&stance));
        Some(DVector::from_vec(all))
    }

    /// Against the priors, an unknown each.
    fn usual(&self, x: &Unknowns) -> Vec<f64> {
        let stance = stance_of(self.centre, x.as_slice());
        let rise = MIDDLE * stance.stature - stance.camera.height;
        let tipped = TIPPED * (rise / stance.camera.distance).atan();
        (0..UNKNOWNS)
            .map(|i| {
                let value = match i {
                    PITCH => x[PITCH] - tipped,
                    TURN => x[TURN] + self.azimuth(&stance),
                    _ => x[i],
                };
                (value - self.prior[i].value) / self.prior[i].sigma
            })
            .collect()
    }

    /// Of the body's middle; it stands straight ahead when it is not known.
    fn azimuth(&self, stance: &Stance) -> f64 {
        self.middle
            .map_or(0.0, |at| stance.camera.azimuth(at).radians())
    }

    /// The hips stand above the ankles: that tells something of the roll.
    fn hips_above_ankles(&self, stance: &Stance) -> Option<f64> {
        let Evidence { view, task, .. } = *self.evidence;
        // The mean of the near joint, or of both; and its variance, square pixels.
        let middle = |kind: fn(Side) -> Landmark| -> Option<(f64, f64)> {
            let sides = view
                .near_side()
                .map_or(Side::BOTH.to_vec(), |near| vec![near]);
            let count = sides.len() as f64;
            sides.into_iter().try_fold((0.0, 0.0), |sum, side| {
                let located = self.evidence.landmarks.get(&kind(side))?;
                let at = stance.place(kind(side), located.at, view, task, 0.0)?;
                let variance = located.covariance[(0, 0)];
                Some((sum.0 + at.x / count, sum.1 + variance / count.powi(2)))
            })
        };
        let usual = match view {
            View::Side(_) => HIPS_AHEAD.scaled(view.forward_sign()),
            _ => HIPS_ASIDE,
        };
        let (hips, ankles) = (middle(Landmark::HipJoint)?, middle(Landmark::Ankle)?);
        let millimetres = stance.camera.distance / stance.camera.focal;
        let seen = (hips.1 + ankles.1).sqrt() * millimetres;
        Some((hips.0 - ankles.0 - usual.value) / usual.sigma.hypot(seen))
    }

    /// Whether heights, and the priors of the camera's place and of stature, are near what they
    /// should be. A pitch that was seen may be as unusual as it likes.
    fn fits(&self, x: &Unknowns) -> Option<bool> {
        let stance = stance_of(self.centre, x.as_slice());
        let off = self
            .heights
            .off(&stance, self.evidence.view, self.evidence.task)?;
        let of_heights = off.iter().zip(&self.heights.sigma).map(|(off, s)| off / s);
        let usual = self.usual(x).into_iter().enumerate().take(ROLL);
        let of_priors = usual
            .filter(|(index, _)| *index != PITCH || self.evidence.pitch.is_none())
            .map(|(_, off)| off);
        Some(of_heights.chain(of_priors).all(|r| r.abs() <= MISFIT))
    }

    fn jacobian(&self, x: &Unknowns) -> Option<DMatrix<f64>> {
        let columns = (0..UNKNOWNS)
            .map(|i| {
                let step = 1e-3 * self.prior[i].sigma;
                let (mut ahead, mut behind) = (*x, *x);
                ahead[i] += step;
                behind[i] -= step;
                Some((self.residuals(&ahead)? - self.residuals(&behind)?) / (2.0 * step))
            })
            .collect::<Option<Vec<_>>>()?;
        Some(DMatrix::from_columns(&columns))
    }
}

/// Distance from the span of the highest and lowest landmark of known height.
fn first_distance(evidence: &Evidence<'_>, focal: f64, stature: f64) -> Option<f64> {
    let seen = || {
        evidence
            .landmarks
            .iter()
            .filter_map(|(&landmark, located)| {
                let height = stature::height(landmark, evidence.task)?;
                evidence
                    .view
                    .shows_side_of(landmark)
                    .then_some((located.at, height.fraction))
            })
    };
    let top = seen().max_by(|a, b| a.1.total_cmp(&b.1))?;
    let bottom = seen().min_by(|a, b| a.1.total_cmp(&b.1))?;
    let pixels = top.0.distance(bottom.0);
    let span = (top.1 - bottom.1) * stature;
    (pixels > 1.0 && span > 1.0).then(|| focal * span / pixels)
}

#[cfg(test)]
mod tests {
    use nalgebra::Matrix2;

    use super::*;
    use crate::visit;

    const VIEW: View = View::Side(Side::Right);

    fn camera() -> Camera {
        Camera {
            focal: 26.0 / FRAME_DIAGONAL * 720f64.hypot(960.0),
            centre: Point::new(360.0, 480.0),
            distance: 2900.0,
            height: 1150.0,
            pitch: Angle::from_degrees(-2.0),
            roll: Angle::ZERO,
            turn: Angle::ZERO,
        }
    }

    /// A synthetic person of 1.65 m, this far along the plane, seen from the right side.
    fn seen_by(camera: &Camera, along: f64) -> BTreeMap<Landmark, Located> {
        use Landmark::*;
        [EyeOuter, Tragus, ShoulderJoint, HipJoint, Knee, Ankle]
            .into_iter()
            .map(|of| {
                let landmark = of(Side::Right);
                let up = stature::height(landmark, Task::Stand).unwrap().fraction * 1650.0;
                let depth = crate::scale::depth::of(landmark, VIEW, Task::Stand, 1650.0).unwrap();
                let at = camera.photo_from_plane(Point::new(along, up), depth.value);
                let located = Located {
                    at: at.unwrap(),
                    covariance: Matrix2::identity(),
                    evidence: visit::Evidence::PoseNet,
                    covered: false,
                };
                (landmark, located)
            })
            .collect()
    }

    fn evidence(landmarks: &BTreeMap<Landmark, Located>) -> Evidence<'_> {
        Evidence {
            view: VIEW,
            task: Task::Stand,
            width: 720,
            height: 960,
            focal_35mm: Some(26.0),
            stature: Some(1650.0),
            trunk_turn: None,
            head_turn: None,
            roll: None,
            pitch: None,
            landmarks,
        }
    }

    fn degrees(degrees: f64, sigma: f64) -> Option<Estimate> {
        Some(Estimate::new(degrees.to_radians(), sigma.to_radians()))
    }

    fn stance(fitted: &CameraFit) -> Stance {
        fitted.stance(fitted.unknowns().0)
    }

    #[test]
    fn distance_and_scale_come_back_within_their_error() {
        let landmarks = seen_by(&camera(), 30.0);
        let fitted = fit(&evidence(&landmarks)).unwrap();
        let distance = fitted.setup().distance_cm;
        assert!((distance.value - 290.0).abs() < distance.sigma);
        assert!(distance.sigma < 20.0);
        let scale = fitted.millimetres_per_pixel();
        let truth = camera().distance / camera().focal;
        assert!((scale.value - truth).abs() < scale.sigma);
        assert!(scale.sigma / scale.value < 0.03);
    }

    /// A person who stands to the right of straight ahead, square to the photo's own plane, looks
    /// turned by the azimuth; one who looks square is turned the other way.
    #[test]
    fn an_apparent_turn_is_told_from_where_the_person_stands() {
        let landmarks = seen_by(&camera(), 500.0);
        let azimuth = camera().azimuth(middle(&landmarks).unwrap()).degrees();
        assert!((8.0..12.0).contains(&azimuth), "{azimuth}");
        for (apparent, turn) in [(azimuth, 0.0), (0.0, -azimuth), (azimuth + 5.0, 5.0)] {
            let fitted = fit(&Evidence {
                trunk_turn: degrees(apparent, 0.01),
                ..evidence(&landmarks)
            });
            let fitted = stance(&fitted.unwrap()).camera.turn.degrees();
            assert!(
                (fitted - turn).abs() < 0.5,
                "{apparent}: {fitted}, is {turn}"
            );
        }
    }

    #[test]
    fn roll_pitch_and_head_are_taken_from_where_they_are_seen() {
        let landmarks = seen_by(&camera(), 0.0);
        let unseen = fit(&evidence(&landmarks)).unwrap();
        let fitted = fit(&Evidence {
            trunk_turn: degrees(4.0, 0.1),
            head_turn: degrees(-3.0, 0.1),
            roll: degrees(1.0, 0.1),
            pitch: degrees(-2.0, 0.1),
            ..evidence(&landmarks)
        })
        .unwrap();
        let found = stance(&fitted);
        for (found, seen) in [
            (found.camera.turn, 4.0),
            (found.camera.roll, 1.0),
            (found.camera.pitch, -2.0),
            (found.head_turn, -7.0),
        ] {
            assert!((found.degrees() - seen).abs() < 0.1, "{}", found.degrees());
        }
        // With the pitch known, the lens is found as well.
        let lens = |fit: &CameraFit| fit.setup().lens_height_cm;
        assert!(lens(&fitted).sigma < 0.4 * lens(&unseen).sigma);
        assert!((lens(&fitted).value - 115.0).abs() < lens(&fitted).sigma);
    }

    #[test]
    fn what_is_not_seen_is_as_usual() {
        let landmarks = seen_by(&camera(), 0.0);
        let fitted = fit(&evidence(&landmarks)).unwrap();
        let sigma = |at: usize| Angle::from_radians(fitted.covariance[(at, at)].sqrt()).degrees();
        for (at, usual) in [(TURN, POSED_SIGMA), (HEAD_TURN, HEAD_SIGMA)] {
            let part = sigma(at) / usual.degrees();
            assert!((part - 1.0).abs() < 0.05, "{part}");
        }
    }

    /// Hips that are seen off the ankles are in part those of a tilted camera.
    #[test]
    fn the_legs_tell_something_of_the_roll() {
        let rolled = Camera {
            roll: Angle::from_degrees(2.0),
            ..camera()
        };
        let fitted = fit(&evidence(&seen_by(&rolled, 30.0))).unwrap();
        let level = fit(&evidence(&seen_by(&camera(), 30.0))).unwrap();
        let roll = |fitted: &CameraFit| stance(fitted).camera.roll.degrees();
        let told = (roll(&fitted) - roll(&level)) / 2.0;
        assert!((0.25..0.6).contains(&told), "{told}");
        assert!(fitted.covariance[(ROLL, ROLL)].sqrt() < 0.85 * ROLL_SIGMA.radians());
    }

    /// A room that leans by 8°, or a camera that does: neither is taken for granted.
    #[test]
    fn a_roll_that_is_undecided_is_not_taken_for_level() {
        let rolled = Camera {
            roll: Angle::from_degrees(8.0),
            ..camera()
        };
        let halfway = Estimate::new(
            Angle::from_degrees(4.0).radians(),
            Angle::from_degrees(4.0).radians(),
        );
        let landmarks = seen_by(&rolled, 30.0);
        let fitted = fit(&Evidence {
            roll: Some(halfway),
            ..evidence(&landmarks)
        })
        .unwrap();
        let sigma = Angle::from_radians(fitted.covariance[(ROLL, ROLL)].sqrt()).degrees();
        assert!(sigma > 1.2 * ROLL_SIGMA.degrees(), "{sigma}");
        let off = stance(&fitted).camera.roll.degrees() - 8.0;
        assert!(off.abs() < 1.5 * sigma, "{off} {sigma}");
    }
}
