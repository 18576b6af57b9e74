//! The stance that best explains the photo, and how well each part of it is known.
//!
//! Known heights of the body (parts of stature) against their pixels, turns and tilts as they
//! were seen, and priors for what a photo alone does not tell, solved by Gauss–Newton.

use std::collections::BTreeMap;

use nalgebra::{Cholesky, DMatrix, DVector, Dyn, Matrix4, SMatrix, SVector, Vector4};

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
/// A roll of which nothing is known: farther tilted, a photo counts as lying on its side.
const ANY_ROLL: Angle = Angle::from_degrees(30.0);
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
type Information = SMatrix<f64, UNKNOWNS, UNKNOWNS>;

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
    /// Between the errors of the two: they are read off the same uprights.
    pub correlation: f64,
    /// What something of known size that hangs plumb beside the person tells.
    pub hung: Option<Hung>,
    /// Landmarks of the photo.
    pub landmarks: &'a BTreeMap<Landmark, Located>,
}

/// What something of known size that hangs plumb in the plane of the body's middle tells of the
/// camera. It holds what the file says of the focal length, which is not to count twice.
#[derive(Clone, Debug)]
pub struct Hung {
    /// Logarithm of the focal length, how far away it hangs along the floor, straight ahead, in mm,
    /// pitch and roll.
    pub mean: Vector4<f64>,
    pub covariance: Matrix4<f64>,
    /// How far it hangs to the right of straight ahead, mm: where the body is turned it hangs
    /// farther away for that.
    pub aside: f64,
}

impl Hung {
    /// What a stance is off it, in sigmas, independent of each other.
    fn off(&self, x: &Unknowns) -> Option<Vector4<f64>> {
        let away = x[DISTANCE_AT] + self.aside * x[TURN].tan();
        let off = Vector4::new(x[LN_FOCAL], away, x[PITCH], x[ROLL]) - self.mean;
        self.covariance.cholesky()?.l().solve_lower_triangular(&off)
    }
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
    /// Whether something of known size told the scale.
    pub by_board: bool,
    /// Whether something of known size was left out because the body does not fit it.
    pub contradicts_board: bool,
    pub scale: Scale,
    /// How far person or camera leans, where nothing upright in the room tells which of them does:
    /// then the roll is taken to be half of it, with an error that holds both.
    pub leaning: Option<Angle>,
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
            by_board: self.by_board,
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

/// Fits the camera. `None` for an oblique view, which has no plane to measure in, and where no
/// stance explains the photo better than those around it. A board that the body contradicts is left
/// out: it may be printed too large, or hang askew.
pub fn fit(evidence: &Evidence<'_>) -> Option<CameraFit> {
    if matches!(evidence.view, View::Oblique(_)) {
        return None;
    }
    if evidence.hung.is_none() {
        return fit_as_told(evidence);
    }
    let with = fit_as_told(evidence).filter(|fitted| fitted.scale == Scale::Known);
    with.or_else(|| {
        let alone = fit_as_told(&Evidence {
            hung: None,
            ..evidence.clone()
        })?;
        Some(CameraFit {
            contradicts_board: true,
            ..alone
        })
    })
}

fn fit_as_told(evidence: &Evidence<'_>) -> Option<CameraFit> {
    let sees_upright = evidence.roll.is_some() || evidence.hung.is_some();
    let leaning = match sees_upright {
        true => None,
        false => leaning(evidence),
    };
    let halfway = leaning.map(|roll| Estimate::new(roll / 2.0, roll.abs() / 2.0));
    let known = Evidence {
        roll: evidence.roll.or(halfway),
        ..evidence.clone()
    };
    // The legs have told already that they lean.
    let (problem, x, information) = solved(&known, leaning.is_none())?;
    let by_board = evidence.hung.is_some();
    let scale = if evidence.stature.is_none() && !by_board {
        Scale::NoStature
    } else if !problem.heights.span_the_body() && !by_board {
        Scale::TooLittleSeen
    } else if !problem.fits(&x)? {
        Scale::Misfit
    } else {
        Scale::Known
    };
    Some(CameraFit {
        centre: problem.centre,
        mean: x,
        covariance: information.try_inverse()?,
        sees_upright,
        by_board,
        contradicts_board: false,
        scale,
        leaning: leaning.map(Angle::from_radians),
    })
}

/// The roll at which the hips would stand above the ankles, where it is too far for a camera held
/// as usual and for hips that are only as far off as usual: then it is either the camera that is
/// tilted or the person who stands askew, and nothing tells which.
fn leaning(evidence: &Evidence<'_>) -> Option<f64> {
    let any = Evidence {
        roll: Some(Estimate::new(0.0, ANY_ROLL.radians())),
        ..evidence.clone()
    };
    let (_, x, information) = solved(&any, true)?;
    let sigma = information.try_inverse()?[(ROLL, ROLL)].sqrt();
    let usual = sigma.hypot(ROLL_SIGMA.radians());
    (x[ROLL].abs() > MISFIT * usual).then_some(x[ROLL])
}

/// Solves a problem; `None` where it does not come to rest: what runs to and fro tells nothing, and
/// its covariance less.
fn solved<'a>(
    evidence: &'a Evidence<'a>,
    legs_tell: bool,
) -> Option<(Problem<'a>, Unknowns, Information)> {
    let (problem, mut x) = problem(evidence, legs_tell)?;
    for _ in 0..40 {
        let (step, information) = problem.step(&x)?;
        x -= step * problem.part_of(&x, &step)?;
        if problem.is_settled(&step) {
            return Some((problem, x, information));
        }
    }
    None
}

/// What is to be solved, and where to start.
fn problem<'a>(evidence: &'a Evidence<'a>, legs_tell: bool) -> Option<(Problem<'a>, Unknowns)> {
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
        legs_tell,
    };
    Some((problem, x))
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
    /// Whether the hips above the ankles tell of the roll.
    legs_tell: bool,
}

impl Problem<'_> {
    /// The step of Gauss and Newton to be taken off, and the information that it is made from.
    fn step(&self, x: &Unknowns) -> Option<(Unknowns, Information)> {
        let r = self.residuals(x)?;
        let jacobian = self.jacobian(x)?;
        let normal = jacobian.transpose() * &jacobian;
        let information = Information::from_fn(|i, j| normal[(i, j)]);
        let gradient = jacobian.transpose() * r;
        let gradient = Unknowns::from_fn(|i, _| gradient[i]);
        Some((information.cholesky()?.solve(&gradient), information))
    }

    /// How much of a step to take, so that it leads downhill.
    fn part_of(&self, x: &Unknowns, step: &Unknowns) -> Option<f64> {
        const LEAST: f64 = 1.0 / 64.0;
        let squares = |at: &Unknowns| Some(self.residuals(at)?.norm_squared());
        let before = squares(x)?;
        let mut part = 1.0;
        while part > LEAST && squares(&(x - step * part)).is_none_or(|after| after > before) {
            part /= 2.0;
        }
        Some(part)
    }

    fn is_settled(&self, step: &Unknowns) -> bool {
        (0..UNKNOWNS).all(|i| step[i].abs() < 1e-4 * self.prior[i].sigma)
    }

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
        ];
        all.extend(
            seen.into_iter()
                .filter_map(|(value, seen)| seen.map(|seen| (value - seen.value) / seen.sigma)),
        );
        all.extend(self.pitch_as_seen(x));
        if let Some(hung) = &evidence.hung {
            all.extend(hung.off(x)?.iter());
        }
        all.extend(self.hips_above_ankles(&stance).filter(|_| self.legs_tell));
        Some(DVector::from_vec(all))
    }

    /// Against what the uprights tell of the pitch at this roll.
    fn pitch_as_seen(&self, x: &Unknowns) -> Option<f64> {
        let Evidence {
            roll,
            pitch,
            correlation,
            ..
        } = *self.evidence;
        let off = |value: f64, seen: Estimate| (value - seen.value) / seen.sigma;
        let of_roll = roll.map_or(0.0, |roll| off(x[ROLL], roll));
        let alone = off(x[PITCH], pitch?);
        Some((alone - correlation * of_roll) / (1.0 - correlation * correlation).sqrt())
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
                    LN_FOCAL if self.evidence.hung.is_some() => self.prior[LN_FOCAL].value,
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

    /// Whether heights, the priors of the camera's place and of stature, and what a board tells are
    /// near what they should be. A pitch that was seen may be as unusual as it likes.
    fn fits(&self, x: &Unknowns) -> Option<bool> {
        let stance = stance_of(self.centre, x.as_slice());
        let off = self
            .heights
            .off(&stance, self.evidence.view, self.evidence.task)?;
        let of_heights = off.iter().zip(&self.heights.sigma).map(|(off, s)| off / s);
        let knows_pitch = self.evidence.pitch.is_some() || self.evidence.hung.is_some();
        let usual = self.usual(x).into_iter().enumerate().take(ROLL);
        // A board tells the scale of whoever stands beside it, however tall.
        let any_stature = self.evidence.hung.is_some() && self.evidence.stature.is_none();
        let of_priors = usual
            .filter(|(index, _)| *index != PITCH || !knows_pitch)
            .filter(|(index, _)| *index != STATURE || !any_stature)
            .map(|(_, off)| off);
        let of_board: Vec<f64> = match &self.evidence.hung {
            Some(hung) => {
                let legs = self.hips_above_ankles(&stance);
                hung.off(x)?.iter().copied().chain(legs).collect()
            }
            None => Vec::new(),
        };
        let mut all = of_heights.chain(of_priors).chain(of_board);
        Some(all.all(|off| off.abs() <= MISFIT))
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
            correlation: 0.0,
            hung: None,
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

    /// A board tells distance and tilt better than the body does, and a scale without a stature; one
    /// that the body's heights contradict is not believed to be of its size.
    #[test]
    fn a_board_beside_the_person_tells_scale_and_tilt() {
        let (camera, landmarks) = (camera(), seen_by(&camera(), 30.0));
        let sigmas = Vector4::new(0.02, 40.0, 0.005, 0.005);
        let hung = |nearer: f64| Hung {
            mean: Vector4::new(
                camera.focal.ln(),
                2900.0 / nearer,
                camera.pitch.radians(),
                0.0,
            ),
            covariance: Matrix4::from_diagonal(&sigmas.component_mul(&sigmas)),
            aside: 400.0,
        };
        let with = |hung: Option<Hung>, stature: Option<f64>| {
            let evidence = Evidence {
                hung,
                stature,
                ..evidence(&landmarks)
            };
            fit(&evidence).expect("a fit")
        };
        let (alone, helped) = (with(None, Some(1650.0)), with(Some(hung(1.0)), None));
        assert_eq!(helped.scale, Scale::Known, "no stature is needed");
        let (before, after) = (alone.setup(), helped.setup());
        assert!((after.distance_cm.value - 290.0).abs() < after.distance_cm.sigma);
        assert!(after.distance_cm.sigma < 0.7 * before.distance_cm.sigma);
        assert!(after.lens_height_cm.sigma < before.lens_height_cm.sigma);
        assert!(after.pitch_deg.expect("seen").sigma < 0.3 && before.pitch_deg.is_none());
        assert!(after.by_board && !before.by_board);
        let wrong = with(Some(hung(1.3)), Some(1650.0));
        assert!(wrong.contradicts_board, "printed a third too large");
        assert_eq!(wrong.setup(), alone.setup(), "it is left out");
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

    /// Uprights on one side of the picture tell one number well, and roll and pitch each badly: in
    /// closed form a pair whose sum is sure. What is learnt of the roll then tells the pitch.
    #[test]
    fn roll_and_pitch_that_are_sure_together_stay_so() {
        let landmarks = seen_by(&camera(), 30.0);
        let with = |correlation| {
            fit(&Evidence {
                roll: degrees(0.0, 1.0),
                pitch: degrees(-2.0, 1.0),
                correlation,
                ..evidence(&landmarks)
            })
            .unwrap()
        };
        let sum = |fitted: &CameraFit| {
            let c = &fitted.covariance;
            (c[(ROLL, ROLL)] + 2.0 * c[(ROLL, PITCH)] + c[(PITCH, PITCH)]).sqrt()
        };
        let (apart, together) = (with(0.0), with(-0.995));
        // Variance of the sum as told: 2·(1 − 0.995) square degrees.
        let told = Angle::from_degrees(0.1).radians();
        assert!(sum(&together) <= told, "{}", sum(&together));
        assert!(sum(&apart) > 5.0 * told, "{}", sum(&apart));
    }

    /// A heap of points is no body: whatever is made of it has at least come to rest.
    #[test]
    fn what_does_not_settle_is_no_fit() {
        let mut state = 1u32;
        let mut random = move || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            f64::from(state >> 8) / f64::from(1 << 24)
        };
        let (mut fits, mut restless) = (0, 0);
        for noise in 0..300 {
            let mut landmarks = seen_by(&camera(), 30.0);
            for located in landmarks.values_mut() {
                let mut off = || f64::from(noise) * (random() - 0.5);
                located.at = Point::new(located.at.x + off(), located.at.y + off());
            }
            let evidence = evidence(&landmarks);
            let (problem, mut x) = problem(&evidence, true).unwrap();
            match fit(&evidence) {
                Some(fitted) if fitted.leaning.is_none() => {
                    let (step, _) = problem.step(&fitted.mean).unwrap();
                    assert!(problem.is_settled(&(step / 10.0)), "{step}");
                    fits += 1;
                }
                Some(_) => {}
                None => {
                    let steps = (0..20).map_while(|_| {
                        let (step, _) = problem.step(&x)?;
                        x -= step;
                        Some(step)
                    });
                    restless += usize::from(steps.count() == 20);
                }
            }
        }
        assert!(
            fits > 20 && restless > 0,
            "{fits} fits, {restless} restless"
        );
    }

    /// Tilted so far, and no upright in the room: neither a level camera nor a person who stands
    /// straight is taken for granted.
    #[test]
    fn a_far_tilt_that_no_upright_tells_is_left_open() {
        for roll in [-25.0, -14.0, 14.0, 25.0] {
            let rolled = Camera {
                roll: Angle::from_degrees(roll),
                ..camera()
            };
            let fitted = fit(&evidence(&seen_by(&rolled, 30.0))).unwrap();
            let leaning = fitted.leaning.expect("it leans").degrees();
            assert!((leaning - roll).abs() < 3.0, "{leaning}, is {roll}");
            let sigma = Angle::from_radians(fitted.covariance[(ROLL, ROLL)].sqrt()).degrees();
            let found = stance(&fitted).camera.roll.degrees();
            assert!(
                (found - roll).abs() < 1.3 * sigma,
                "{found} {sigma}, is {roll}"
            );
            assert!(found.abs() < 1.3 * sigma, "{found} {sigma}");
            assert_eq!(fitted.setup().roll_deg, None);
        }
        let rolled = Camera {
            roll: Angle::from_degrees(3.0),
            ..camera()
        };
        assert_eq!(
            fit(&evidence(&seen_by(&rolled, 30.0))).unwrap().leaning,
            None
        );
    }
}
