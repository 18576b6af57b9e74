//! A plane seen in perspective.

use std::marker::PhantomData;

use nalgebra::{DMatrix, DVector, Matrix3, SVector, Vector3};

use super::layout::{Corners, Face, OUTLINE};
use super::solve::least_squares;
use crate::geometry::Point;

/// The map of the board's face to a picture of it in the space `To`.
#[derive(Clone, Debug, PartialEq)]
pub struct Homography<To> {
    matrix: Matrix3<f64>,
    space: PhantomData<To>,
}

impl<To> Homography<To> {
    /// The map that takes the corners of all that is black to these pixels.
    pub fn of_outline(seen: &Corners<To>) -> Option<Homography<To>> {
        let pairs: Vec<_> = OUTLINE.into_iter().zip(*seen).collect();
        Homography::direct(&pairs)
    }

    /// The map with the smallest squares of distances in the photo between where points of the face
    /// were seen and where they should be.
    pub fn fit(pairs: &[(Point<Face>, Point<To>)]) -> Option<Homography<To>> {
        let start = Homography::direct(pairs)?;
        let outline = start.outline()?;
        let solved = least_squares(unknowns(&outline), &SVector::<f64, 8>::repeat(1e-3), |at| {
            let map = Homography::of_outline(&pixels(at.as_slice()))?;
            let mut off = Vec::with_capacity(2 * pairs.len());
            for (face, seen) in pairs {
                let step = map.apply(*face)? - *seen;
                off.extend([step.x, step.y]);
            }
            Some(DVector::from_vec(off))
        });
        match solved {
            Some(solved) => Homography::of_outline(&pixels(solved.at.as_slice())),
            None => Some(start),
        }
    }

    /// The direct linear transform with both sides normalised (Hartley 1997).
    fn direct(pairs: &[(Point<Face>, Point<To>)]) -> Option<Homography<To>> {
        if pairs.len() < 4 {
            return None;
        }
        let faces = normalisation(pairs.iter().map(|(face, _)| (face.x, face.y)))?;
        let photos = normalisation(pairs.iter().map(|(_, seen)| (seen.x, seen.y)))?;
        let mut normal = DMatrix::zeros(9, 9);
        for (face, seen) in pairs {
            let from = faces * Vector3::new(face.x, face.y, 1.0);
            let to = photos * Vector3::new(seen.x, seen.y, 1.0);
            let rows = [
                [
                    -from.x,
                    -from.y,
                    -1.0,
                    0.0,
                    0.0,
                    0.0,
                    to.x * from.x,
                    to.x * from.y,
                    to.x,
                ],
                [
                    0.0,
                    0.0,
                    0.0,
                    -from.x,
                    -from.y,
                    -1.0,
                    to.y * from.x,
                    to.y * from.y,
                    to.y,
                ],
            ];
            for row in rows {
                let row = DVector::from_row_slice(&row);
                normal += &row * row.transpose();
            }
        }
        let eigen = normal.symmetric_eigen();
        let mut order: Vec<usize> = (0..9).collect();
        order.sort_by(|a, b| eigen.eigenvalues[*a].total_cmp(&eigen.eigenvalues[*b]));
        // Points on one line leave more than one map.
        if eigen.eigenvalues[order[1]] < 1e-12 * eigen.eigenvalues[order[8]] {
            return None;
        }
        let smallest = eigen.eigenvectors.column(order[0]);
        let matrix = Matrix3::from_fn(|i, j| smallest[3 * i + j]);
        let whole = photos.try_inverse()? * matrix * faces;
        let scale = whole[(2, 2)];
        let map = whole / scale;
        (map.iter().all(|value| value.is_finite()) && map.determinant().abs() > 1e-12).then_some(
            Homography {
                matrix: map,
                space: PhantomData,
            },
        )
    }

    /// Where a point of the face is seen; `None` behind the camera.
    pub fn apply(&self, point: Point<Face>) -> Option<Point<To>> {
        let seen = self.matrix * Vector3::new(point.x, point.y, 1.0);
        // The board's middle lies before the camera and has a weight of one.
        (seen.z > 1e-6).then(|| Point::new(seen.x / seen.z, seen.y / seen.z))
    }

    /// Row-major coefficients; the last is one.
    pub fn coefficients(&self) -> [[f64; 3]; 3] {
        std::array::from_fn(|i| std::array::from_fn(|j| self.matrix[(i, j)]))
    }

    pub fn outline(&self) -> Option<Corners<To>> {
        self.corners(&OUTLINE)
    }

    pub fn corners(&self, of: &Corners<Face>) -> Option<Corners<To>> {
        let [a, b, c, d] = of.map(|corner| self.apply(corner));
        Some([a?, b?, c?, d?])
    }

    /// Millimetres of the face that a pixel spans at the board's middle: the root of the area of a
    /// small square there over its area in the photo.
    pub fn millimetres_per_pixel(&self) -> Option<f64> {
        // d(u, v)/d(x, y) at the middle has the determinant of the whole, for a last coefficient
        // of one.
        let area = self.matrix.determinant().abs();
        (area > 0.0).then(|| area.sqrt().recip())
    }
}

/// Outline as a list of unknowns.
pub fn unknowns<To>(outline: &Corners<To>) -> SVector<f64, 8> {
    SVector::from_fn(|i, _| match i % 2 {
        0 => outline[i / 2].x,
        _ => outline[i / 2].y,
    })
}

/// The outline that a list of unknowns begins with.
pub fn pixels<To>(unknowns: &[f64]) -> Corners<To> {
    std::array::from_fn(|i| Point::new(unknowns[2 * i], unknowns[2 * i + 1]))
}

/// Moves the mean to the origin and the mean distance from it to √2.
fn normalisation(points: impl Iterator<Item = (f64, f64)> + Clone) -> Option<Matrix3<f64>> {
    let count = points.clone().count() as f64;
    let (x, y) = points
        .clone()
        .fold((0.0, 0.0), |sum, point| (sum.0 + point.0, sum.1 + point.1));
    let (x, y) = (x / count, y / count);
    let spread = points
        .map(|point| (point.0 - x).hypot(point.1 - y))
        .sum::<f64>()
        / count;
    let scale = std::f64::consts::SQRT_2 / spread;
    // Points all in one place, or beyond all numbers, have none.
    (scale.is_finite() && scale > 0.0).then(|| {
        Matrix3::new(
            scale,
            0.0,
            -scale * x,
            0.0,
            scale,
            -scale * y,
            0.0,
            0.0,
            1.0,
        )
    })
}
