//! Axes of charts: round ticks, and from values to pixels.

use std::ops::Range;

/// An axis from its first tick to its last, laid over a range of pixels.
pub(super) struct Axis {
    low: f64,
    high: f64,
    pixels: Range<f64>,
    pub ticks: Vec<f64>,
    /// As many as the ticks need.
    pub decimals: usize,
}

impl Axis {
    /// An axis that holds all of `values`, with ticks at least `finest` apart. A range of pixels
    /// may run backwards.
    pub fn over(values: impl Iterator<Item = f64>, finest: f64, pixels: Range<f64>) -> Axis {
        let (low, high) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
            (low.min(value), high.max(value))
        });
        let step = step((high - low) / 4.0, finest);
        let (low, high) = ((low / step).floor() * step, (high / step).ceil() * step);
        let count = ((high - low) / step).round() as usize;
        Axis {
            low,
            high,
            pixels,
            // Adding zero turns −0 into 0.
            ticks: (0..=count)
                .map(|tick| low + tick as f64 * step + 0.0)
                .collect(),
            decimals: (-(step * (1.0 + 1e-9)).log10().floor()).max(0.0) as usize,
        }
    }

    pub fn pixel(&self, value: f64) -> f64 {
        // One value alone stands in the middle of no width.
        let part = (value - self.low) / (self.high - self.low).max(1e-9);
        self.pixels.start + part * (self.pixels.end - self.pixels.start)
    }
}

/// The least of 1, 2, 5, 10, … times a power of ten that is neither below `wished` nor `finest`.
fn step(wished: f64, finest: f64) -> f64 {
    let wished = wished.max(finest);
    // A hair less, so that 0.1 is found to be 0.1 whatever its logarithm is rounded to.
    let decade = 10f64.powf((wished * (1.0 - 1e-12)).log10().floor());
    [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|part| part * decade)
        .find(|step| *step >= wished * (1.0 - 1e-12))
        .unwrap_or(10.0 * decade)
}

/// SVG coordinates with a tenth of a pixel.
pub(super) fn at(coordinate: f64) -> String {
    format!("{coordinate:.1}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_are_round() {
        for (wished, round) in [
            (0.03, 0.1),
            (0.3, 0.5),
            (7.0, 10.0),
            (11.0, 20.0),
            (10.0, 10.0),
        ] {
            assert!((step(wished, 0.1) - round).abs() < 1e-12, "{wished}");
        }
        assert!((step(0.0003, 0.0) - 0.0005).abs() < 1e-12);
    }

    #[test]
    fn an_axis_holds_its_values_between_round_ticks() {
        let axis = Axis::over([-3.2, 7.9].into_iter(), 0.1, 100.0..0.0);
        assert_eq!(axis.ticks, [-5.0, 0.0, 5.0, 10.0]);
        assert_eq!(axis.decimals, 0);
        assert_eq!(axis.pixel(-5.0), 100.0);
        assert_eq!(axis.pixel(10.0), 0.0);
        let fine = Axis::over([0.31, 0.52].into_iter(), 1e-6, 0.0..1.0);
        assert_eq!(fine.decimals, 1);
    }
}
