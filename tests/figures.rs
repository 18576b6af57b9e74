//! Figures for tests, in the units of published figures: centimetres and degrees.

use tragus::body::{Landmark, Side};
use tragus::geometry::Point;
use tragus::measure::{Figure, Measure};

/// A figure from positions in centimetres.
pub fn figure(points: &[(Landmark, f64, f64)]) -> Figure {
    points
        .iter()
        .map(|&(landmark, x, y)| (landmark, Point::new(10.0 * x, 10.0 * y)))
        .collect()
}

/// The measure of a figure's right side in its outer unit.
#[track_caller]
pub fn read(measure: Measure, figure: &Figure) -> f64 {
    let inner = measure.read(figure, Some(Side::Right));
    measure.to_outer(inner.unwrap_or_else(|| panic!("{measure} has no value for {figure:?}")))
}

/// Fails unless `got` rounds to `printed` at the number of decimals that were printed.
#[track_caller]
pub fn agrees(got: f64, printed: f64, decimals: i32) {
    // A half of the last digit, and what that half itself is off in binary.
    let tolerance = 0.5 * f64::powi(10.0, -decimals) * (1.0 + 1e-9);
    assert!(
        (got - printed).abs() <= tolerance,
        "got {got}, published {printed} with {decimals} decimals"
    );
}
