//! Where the camera stood and how it was held, told by a board that hung freely.
//!
//! The camera is that of [`crate::scale`], with the floor at the height of the board's middle. What
//! is fitted besides: how far the board leans from the plumb line, and how far its print is off its
//! size. Both are errors that no photo shows, and so part of every sigma.
//!
//! The tilt of a board seen from straight ahead hardly changes its picture, and a tilt to either
//! side looks almost the same. Where two poses explain the photo, the answer is their mean, each
//! weighted by its likelihood, with an error that holds both.

use nalgebra::{DMatrix, DVector, Matrix3, Matrix4, SMatrix, SVector, Vector3, Vector4};

use super::find::FoundBoard;
use super::homography::{Homography, pixels, unknowns};
use super::layout::{Corners, Face, OUTLINE};
use super::solve::{Solved, least_squares};
use crate::estimate::{Estimate, Inputs};
use crate::geometry::{Angle, Photo, Point};
use crate::scale::{Camera, Hung};

/// How far the long edge of the board may be off the plumb line, one sigma: to a side, and towards
/// the camera or away from it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lean {
    pub aside: Angle,
    pub ahead: Angle,
}

/// A board that hangs from a string. Common practice: a clip 1 mm off the middle of the upper edge
/// turns a board of A4 by 0.4°, and stiff card curls a little.
pub const HUNG_FREELY: Lean = Lean {
    aside: Angle::from_degrees(0.5),
    ahead: Angle::from_degrees(1.0),
};
/// Relative error of a printed length. Common practice: whoever holds a ruler to the line of 100 mm
/// sees half a millimetre.
const PRINT_SIGMA: f64 = 0.005;
/// Nobody tips a camera further towards a standing person, or turns a board that should face it.
const PITCH_SIGMA: Angle = Angle::from_degrees(10.0);
const TURN_SIGMA: Angle = Angle::from_degrees(20.0);
/// Depth of the board before the body's middle when nothing is said: held beside the hip, mm.
pub const BESIDE_THE_HIP: Estimate = Estimate::new(0.0, 50.0);

/// Places of the numbers in [`BoardPose::mean`].
pub const LN_FOCAL: usize = 0;
pub const AWAY: usize = 1;
pub const ASIDE: usize = 2;
pub const LENS_ABOVE: usize = 3;
pub const PITCH: usize = 4;
pub const ROLL: usize = 5;
pub const TURN: usize = 6;
/// Numbers about the camera and the board's place.
pub const TOLD: usize = 7;

const LEANS_ASIDE: usize = 7;
const LEANS_AHEAD: usize = 8;
const LN_SIZE: usize = 9;
const FITTED: usize = 10;

type Fitted = SVector<f64, FITTED>;

/// What a board tells about the camera. Radians, millimetres and pixels.
///
/// It holds the focal length that was handed in, which must not count once more, and, ten times
/// weaker than what else is known of them, that nobody tips a camera or turns a board far.
#[derive(Clone, Debug, PartialEq)]
pub struct BoardPose {
    /// Logarithm of the focal length; from the lens to the board's middle along the floor, straight
    /// ahead and to the right; height of the lens above the board's middle; pitch, roll and the
    /// board's turn, signed as in [`Camera`].
    pub mean: SVector<f64, TOLD>,
    pub covariance: SMatrix<f64, TOLD, TOLD>,
    /// Millimetres of the board's plane that a pixel spans at its middle.
    pub mm_per_px: Estimate,
}

impl BoardPose {
    fn told(&self, index: usize) -> Estimate {
        Estimate::new(self.mean[index], self.covariance[(index, index)].sqrt())
    }

    /// Focal length, pixels: what was handed in, and what the board adds.
    pub fn focal(&self) -> Estimate {
        let ln = self.told(LN_FOCAL);
        Estimate::new(ln.value.exp(), ln.value.exp() * ln.sigma)
    }

    /// From the lens to the board's middle along the floor.
    pub fn distance(&self) -> Estimate {
        self.told(AWAY)
    }

    /// Height of the lens above the board's middle.
    pub fn lens_above(&self) -> Estimate {
        self.told(LENS_ABOVE)
    }

    pub fn pitch(&self) -> Estimate {
        self.told(PITCH)
    }

    pub fn roll(&self) -> Estimate {
        self.told(ROLL)
    }

    /// Turn of the board's plane, not of the body's.
    pub fn turn(&self) -> Estimate {
        self.told(TURN)
    }

    /// What it tells of the camera of a person whose middle is `offset` farther away than the board.
    pub fn hung(&self, offset: Estimate) -> Hung {
        const TOLD: [usize; 4] = [LN_FOCAL, AWAY, PITCH, ROLL];
        let mut mean = Vector4::from_fn(|i, _| self.mean[TOLD[i]]);
        let mut covariance = Matrix4::from_fn(|i, j| self.covariance[(TOLD[i], TOLD[j])]);
        mean[1] += offset.value;
        covariance[(1, 1)] += offset.sigma.powi(2);
        Hung {
            mean,
            covariance,
            aside: self.mean[ASIDE],
        }
    }

    /// From the lens to a plane behind the board's middle by `offset`; [`BESIDE_THE_HIP`] for the
    /// body's middle plane.
    pub fn distance_behind(&self, offset: Estimate) -> Estimate {
        let distance = self.distance();
        Estimate::new(
            distance.value + offset.value,
            distance.sigma.hypot(offset.sigma),
        )
    }

    /// Millimetres per pixel in that plane.
    pub fn mm_per_px_behind(&self, offset: Estimate) -> Option<Estimate> {
        let mut inputs = Inputs::new();
        let scale = inputs.push(self.mm_per_px);
        let distance = inputs.push(self.distance());
        let behind = inputs.push(offset);
        inputs.propagate(|x| Some(x[scale] / (1.0 + parallax(-x[behind], x[distance])?)))
    }
}

/// By how much larger a thing is seen that stands nearer to the lens, by `nearer`, than the plane at
/// `distance` on which the scale was taken. `None` at the lens and behind it.
pub fn parallax(nearer: f64, distance: f64) -> Option<f64> {
    (distance > nearer && distance > 0.0).then(|| nearer / (distance - nearer))
}

/// The pose of a found board. `focal` is in pixels, by the file or a usual one with its wide error,
/// which a tilted board near by makes smaller by itself; `centre` is the optical axis in the photo.
/// `None` where no camera before the board sees it so.
pub fn pose(
    found: &FoundBoard,
    focal: Estimate,
    centre: Point<Photo>,
    lean: &Lean,
) -> Option<BoardPose> {
    let mm_per_px = scale(found)?;
    let root = found.covariance.cholesky()?;
    let seen = unknowns(&found.outline);
    let priors = [
        (
            LN_FOCAL,
            Estimate::new(focal.value.ln(), focal.sigma / focal.value),
        ),
        (PITCH, Estimate::new(0.0, PITCH_SIGMA.radians())),
        (TURN, Estimate::new(0.0, TURN_SIGMA.radians())),
        (LEANS_ASIDE, Estimate::new(0.0, lean.aside.radians())),
        (LEANS_AHEAD, Estimate::new(0.0, lean.ahead.radians())),
        (LN_SIZE, Estimate::new(0.0, PRINT_SIGMA)),
    ];
    let residuals = |at: &Fitted| {
        let predicted = unknowns(&predicted(at, centre)?);
        let mut off: Vec<f64> = root
            .l()
            .solve_lower_triangular(&(predicted - seen))?
            .iter()
            .copied()
            .collect();
        off.extend(
            priors
                .iter()
                .map(|(index, prior)| (at[*index] - prior.value) / prior.sigma),
        );
        Some(DVector::from_vec(off))
    };
    let solutions: Vec<Solved<FITTED>> = starts(found, focal.value, centre)?
        .into_iter()
        .filter_map(|start| least_squares(start, &steps(), residuals))
        .collect();
    let (mean, covariance) = mixture(&solutions)?;
    Some(BoardPose {
        mean: mean.fixed_rows::<TOLD>(0).into_owned(),
        covariance: covariance.fixed_view::<TOLD, TOLD>(0, 0).into_owned(),
        mm_per_px,
    })
}

/// Scale in the board's plane, from its picture alone.
fn scale(found: &FoundBoard) -> Option<Estimate> {
    let mut inputs = Inputs::new();
    inputs.push_block(
        unknowns(&found.outline).as_slice(),
        DMatrix::from_fn(8, 8, |i, j| found.covariance[(i, j)]),
    );
    let size = inputs.push(Estimate::new(1.0, PRINT_SIGMA));
    inputs.propagate(|x| {
        Some(x[size] * Homography::of_outline(&pixels::<Photo>(x))?.millimetres_per_pixel()?)
    })
}

/// The outline as a camera sees it.
fn predicted(at: &Fitted, centre: Point<Photo>) -> Option<Corners<Photo>> {
    let turn = at[TURN];
    // Straight ahead meets the board's plane at `distance`; its middle lies `along` in the plane.
    let along = at[ASIDE] / turn.cos();
    let camera = Camera {
        focal: at[LN_FOCAL].exp(),
        centre,
        distance: at[AWAY] - at[ASIDE] * turn.tan(),
        height: at[LENS_ABOVE],
        pitch: Angle::from_radians(at[PITCH]),
        roll: Angle::from_radians(at[ROLL]),
        turn: Angle::from_radians(turn),
    };
    let size = at[LN_SIZE].exp();
    let (aside_sin, aside_cos) = at[LEANS_ASIDE].sin_cos();
    let (ahead_sin, ahead_cos) = at[LEANS_AHEAD].sin_cos();
    let see = |corner: Point<Face>| {
        let (x, y) = (size * corner.x, size * corner.y);
        let (x, y) = (x * aside_cos - y * aside_sin, x * aside_sin + y * aside_cos);
        camera.photo_from_plane(Point::new(along + x, y * ahead_cos), y * ahead_sin)
    };
    let [a, b, c, d] = OUTLINE.map(see);
    Some([a?, b?, c?, d?])
}

fn steps() -> Fitted {
    let angle = 1e-4;
    Fitted::from_column_slice(&[1e-4, 0.1, 0.1, 0.1, angle, angle, angle, angle, angle, 1e-4])
}

/// Where the search begins: the pose that the picture gives in closed form, and the one tilted to the
/// other side of the line of sight, which looks almost the same.
fn starts(found: &FoundBoard, focal: f64, centre: Point<Photo>) -> Option<[Fitted; 2]> {
    let axes = found
        .outline
        .map(|at| Point::<Photo>::new((at.x - centre.x) / focal, (at.y - centre.y) / focal));
    let columns = Matrix3::from(Homography::of_outline(&axes)?.coefficients()).transpose();
    let column = |i: usize| columns.column(i).into_owned();
    let scale = ((column(0).norm() + column(1).norm()) / 2.0).recip();
    let (along, up, place) = (column(0) * scale, column(1) * scale, column(2) * scale);
    let sight = place.normalize();
    let mirrored = |axis: Vector3<f64>| axis - sight * (2.0 * axis.dot(&sight));
    Some([
        start(along, up, place, focal),
        start(mirrored(along), mirrored(up), place, focal),
    ])
}

/// The unknowns of a board of which these are the short edge, the long edge and the middle, from the
/// lens: x right, y down, z along the axis.
fn start(along: Vector3<f64>, up: Vector3<f64>, place: Vector3<f64>, focal: f64) -> Fitted {
    let up = up.normalize();
    let axis = Vector3::z();
    let away = (axis - up * axis.dot(&up)).normalize();
    let right = away.cross(&up);
    let mut start = Fitted::zeros();
    start[LN_FOCAL] = focal.ln();
    start[AWAY] = away.dot(&place);
    start[ASIDE] = right.dot(&place);
    start[LENS_ABOVE] = -up.dot(&place);
    start[PITCH] = up.z.clamp(-1.0, 1.0).asin();
    start[ROLL] = f64::atan2(-right.y, right.x);
    start[TURN] = f64::atan2(away.dot(&along), right.dot(&along));
    start
}

/// Mean and covariance of all that explains the photo, by likelihood.
fn mixture(solutions: &[Solved<FITTED>]) -> Option<(Fitted, SMatrix<f64, FITTED, FITTED>)> {
    let best = solutions
        .iter()
        .map(|of| of.squares)
        .min_by(f64::total_cmp)?;
    let mut apart: Vec<&Solved<FITTED>> = Vec::new();
    for solution in solutions {
        let same = |other: &&Solved<FITTED>| {
            [PITCH, TURN].iter().all(|&i| {
                let sigma = solution.covariance[(i, i)].sqrt();
                (solution.at[i] - other.at[i]).abs() < 0.1 * sigma
            })
        };
        if !apart.iter().any(same) {
            apart.push(solution);
        }
    }
    let weight = |of: &Solved<FITTED>| {
        ((best - of.squares) / 2.0).exp() * of.covariance.determinant().max(0.0).sqrt()
    };
    let whole: f64 = apart.iter().map(|of| weight(of)).sum();
    if whole <= 0.0 {
        return None;
    }
    let mut mean = Fitted::zeros();
    for of in &apart {
        mean += of.at * (weight(of) / whole);
    }
    let mut covariance = SMatrix::zeros();
    for of in &apart {
        let off = of.at - mean;
        covariance += (of.covariance + off * off.transpose()) * (weight(of) / whole);
    }
    Some((mean, covariance))
}
