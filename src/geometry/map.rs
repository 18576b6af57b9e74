//! Affine maps between spaces, named `to_from`: `photo_from_crop` takes crop points to the photo.

use std::marker::PhantomData;

use nalgebra::{Matrix2, Matrix3, Vector3};

use super::{Angle, Point};

/// An affine map from space `From` to space `To`. Always invertible.
#[derive(Debug, PartialEq)]
pub struct Map<From, To> {
    matrix: Matrix3<f64>,
    spaces: PhantomData<(From, To)>,
}

impl<From, To> Clone for Map<From, To> {
    fn clone(&self) -> Self {
        *self
    }
}
impl<From, To> Copy for Map<From, To> {}

impl<From, To> Map<From, To> {
    /// The map that takes the square `[0, size]²` of `From` to the square of side `side` centred
    /// on `centre` in `To`, turned clockwise on the screen by `turn`; `mirrored` flips it left to
    /// right first.
    ///
    /// `None` when the square has no area, which has no inverse.
    pub fn square(
        size: f64,
        centre: Point<To>,
        side: f64,
        turn: Angle,
        mirrored: bool,
    ) -> Option<Self> {
        let scale = side / size;
        // So small or large that the inverse would no longer hold numbers.
        if !(1e-6..=1e6).contains(&scale) || !centre.is_finite() {
            return None;
        }
        let (sin, cos) = turn.radians().sin_cos();
        let flip = if mirrored { -1.0 } else { 1.0 };
        let linear = Matrix2::new(
            scale * cos * flip,
            -scale * sin,
            scale * sin * flip,
            scale * cos,
        );
        let middle = nalgebra::Vector2::new(size / 2.0, size / 2.0);
        let shift = nalgebra::Vector2::new(centre.x, centre.y) - linear * middle;
        Some(Map::from_matrix(Matrix3::new(
            linear[(0, 0)],
            linear[(0, 1)],
            shift.x,
            linear[(1, 0)],
            linear[(1, 1)],
            shift.y,
            0.0,
            0.0,
            1.0,
        )))
    }

    fn from_matrix(matrix: Matrix3<f64>) -> Self {
        Map {
            matrix,
            spaces: PhantomData,
        }
    }

    pub fn apply(&self, point: Point<From>) -> Point<To> {
        let mapped = self.matrix * Vector3::new(point.x, point.y, 1.0);
        Point::new(mapped.x, mapped.y)
    }

    pub fn inverse(&self) -> Map<To, From> {
        let inverse = self
            .matrix
            .try_inverse()
            .expect("every constructor refuses a map without an inverse");
        Map::from_matrix(inverse)
    }

    /// How many units of `To` one unit of `From` spans.
    pub fn scale(&self) -> f64 {
        self.matrix
            .fixed_view::<2, 2>(0, 0)
            .determinant()
            .abs()
            .sqrt()
    }

    /// Row-major 3×3 coefficients.
    pub fn coefficients(&self) -> [f64; 9] {
        let transposed = self.matrix.transpose();
        std::array::from_fn(|i| transposed[i])
    }
}
