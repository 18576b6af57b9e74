//! One point from what two nets say of it.

use nalgebra::{Matrix2, Vector2};

use crate::geometry::{Photo, Point};

/// A point and its covariance, pixels and pixels squared.
pub type Placed = (Point<Photo>, Matrix2<f64>);

/// How far the errors of the two nets go together: both see the same clothes and the same light,
/// and one was built upon the other. On the 118 rendered photos of `accuracy` it is 0.35 over the
/// points that both know, from 0.27 (ear and eye) to 0.46 (shoulder), tried once, by hand; a cautious
/// half, since too small a value would make a joined point look surer than it is.
pub const BOTH_NETS: f64 = 0.5;
/// A finger that palpates and a net that looks have nothing in common.
pub const APART: f64 = 0.0;

/// Squared distance, in units of their errors, beyond which two readings do not mean one place: as
/// far comes about once in a thousand times.
pub const DISPUTED: f64 = 13.8;

/// The best point between two, and its error when those of the two go together so far. Of two nets,
/// one that is more than twice as unsure as the other in an axis adds nothing there.
pub fn fused(a: Placed, b: Placed, correlation: f64) -> Placed {
    mean(a, b, shares(a.1, b.1, correlation), correlation)
}

/// The part of the first of two in their best mean, for each axis of the photo by the variances there.
pub fn shares(of_a: Matrix2<f64>, of_b: Matrix2<f64>, correlation: f64) -> Vector2<f64> {
    let part = |axis: usize| share(of_a[(axis, axis)], of_b[(axis, axis)], correlation);
    Vector2::new(part(0), part(1))
}

/// A mean of two points with that part of the first in each axis, and its error.
pub fn mean((a, of_a): Placed, (b, of_b): Placed, to_a: Vector2<f64>, correlation: f64) -> Placed {
    let (take_a, take_b) = (
        Matrix2::from_diagonal(&to_a),
        Matrix2::from_diagonal(&to_a.map(|part| 1.0 - part)),
    );
    let cross = take_a * root(of_a) * root(of_b) * take_b * correlation;
    (
        Point::new(
            to_a.x * a.x + (1.0 - to_a.x) * b.x,
            to_a.y * a.y + (1.0 - to_a.y) * b.y,
        ),
        take_a * of_a * take_a + take_b * of_b * take_b + cross + cross.transpose(),
    )
}

/// The part of the first of two correlated readings in their best mean, from their variances.
fn share(a: f64, b: f64, correlation: f64) -> f64 {
    let common = correlation * (a * b).sqrt();
    ((b - common) / (a + b - 2.0 * common)).clamp(0.0, 1.0)
}

/// The symmetric square root of a covariance.
fn root(of: Matrix2<f64>) -> Matrix2<f64> {
    let determinant = of.determinant().max(0.0).sqrt();
    (of + Matrix2::identity() * determinant) / (of.trace() + 2.0 * determinant).sqrt()
}

/// Squared distance of two points in units of their errors, as if these were independent; more than
/// [`DISPUTED`] is a contradiction.
pub fn apart((a, of_a): Placed, (b, of_b): Placed) -> f64 {
    let off = Vector2::new(a.x - b.x, a.y - b.y);
    match (of_a + of_b).try_inverse() {
        Some(inverse) => (off.transpose() * inverse * off)[0],
        None => f64::INFINITY,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn placed(x: f64, y: f64, variances: [f64; 2]) -> Placed {
        let covariance = Matrix2::from_diagonal(&Vector2::from(variances));
        (Point::new(x, y), covariance)
    }

    #[test]
    fn two_equal_readings_meet_in_the_middle() {
        let (at, covariance) = fused(
            placed(0.0, 10.0, [4.0, 4.0]),
            placed(2.0, 20.0, [4.0, 4.0]),
            BOTH_NETS,
        );
        assert!(at.distance(Point::new(1.0, 15.0)) < 1e-12);
        // Variance of the mean of two with correlation 1/2: 4·(1 + 1/2)/2.
        assert!((covariance - Matrix2::identity() * 3.0).norm() < 1e-12);
    }

    #[test]
    fn each_axis_goes_to_who_knows_it() {
        let (at, covariance) = fused(
            placed(0.0, 0.0, [1.0, 100.0]),
            placed(5.0, 5.0, [100.0, 1.0]),
            BOTH_NETS,
        );
        assert!(at.distance(Point::new(0.0, 5.0)) < 1e-12);
        assert!((covariance[(0, 0)] - 1.0).abs() < 1e-12);
        assert!((covariance[(1, 1)] - 1.0).abs() < 1e-12);
    }

    /// Against the closed form of the best mean of two readings with sigmas 2 and 3: weights
    /// (9 − 3)/(4 + 9 − 6) and (4 − 3)/7, variance 4·9·(1 − 1/4)/7.
    #[test]
    fn unequal_readings_have_the_least_variance() {
        let (at, covariance) = fused(
            placed(0.0, 0.0, [4.0, 4.0]),
            placed(7.0, 0.0, [9.0, 9.0]),
            BOTH_NETS,
        );
        assert!((at.x - 1.0).abs() < 1e-12);
        assert!((covariance[(0, 0)] - 27.0 / 7.0).abs() < 1e-12);
    }

    /// Inverse variances add up where nothing is shared: 1/(1/4 + 1/12) = 3.
    #[test]
    fn what_has_nothing_in_common_is_weighed_by_its_inverse_variance() {
        let (at, covariance) = fused(
            placed(0.0, 0.0, [4.0, 4.0]),
            placed(8.0, 0.0, [12.0, 12.0]),
            APART,
        );
        assert!((at.x - 2.0).abs() < 1e-12);
        assert!((covariance - Matrix2::identity() * 3.0).norm() < 1e-12);
    }

    #[test]
    fn the_root_of_a_covariance_squares_to_it() {
        let of = Matrix2::new(4.0, 1.5, 1.5, 9.0);
        assert!((root(of) * root(of) - of).norm() < 1e-12);
    }

    #[test]
    fn the_distance_is_in_sigmas_of_the_difference() {
        let distance = apart(placed(0.0, 0.0, [9.0, 1.0]), placed(10.0, 0.0, [16.0, 1.0]));
        assert!((distance - 4.0).abs() < 1e-12);
    }
}
