//! A number with its error, and how errors travel through a calculation.

use nalgebra::{DMatrix, DVector};

/// A value and its standard error (one sigma), in the same unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    pub value: f64,
    pub sigma: f64,
}

impl Estimate {
    pub const fn new(value: f64, sigma: f64) -> Self {
        Estimate { value, sigma }
    }

    pub fn scaled(self, factor: f64) -> Self {
        Estimate::new(self.value * factor, self.sigma * factor.abs())
    }

    /// The best single value of two independent estimates of one quantity, weighted by their
    /// variances.
    pub fn fused(self, other: Estimate) -> Estimate {
        let (a, b) = (self.sigma.powi(-2), other.sigma.powi(-2));
        Estimate::new(
            (self.value * a + other.value * b) / (a + b),
            (a + b).sqrt().recip(),
        )
    }
}

/// Inputs of a calculation that are known only with an error: means, and the covariance between
/// them.
#[derive(Clone, Debug, Default)]
pub struct Inputs {
    means: Vec<f64>,
    /// Blocks along the diagonal: start index and covariance.
    blocks: Vec<(usize, DMatrix<f64>)>,
}

impl Inputs {
    pub fn new() -> Self {
        Inputs::default()
    }

    /// Appends an independent scalar and tells its index.
    pub fn push(&mut self, estimate: Estimate) -> usize {
        self.push_block(
            &[estimate.value],
            DMatrix::from_element(1, 1, estimate.sigma.powi(2)),
        )
    }

    /// Appends values that share a covariance and tells the index of the first.
    pub fn push_block(&mut self, means: &[f64], covariance: DMatrix<f64>) -> usize {
        assert_eq!(covariance.shape(), (means.len(), means.len()));
        let start = self.means.len();
        self.means.extend_from_slice(means);
        self.blocks.push((start, covariance));
        start
    }

    /// Runs `calculation` at the means and along every direction of the covariance, one sigma to
    /// each side, and sums the mean squares of what each direction changes.
    ///
    /// Exact for linear calculations, needs no derivatives, and keeps its size where the answer
    /// folds over, as the angle of an almost straight elbow does.
    /// `None` when the calculation has no answer at the means or one sigma away from them: a
    /// value that close to having no answer has no honest error either.
    pub fn propagate(&self, calculation: impl Fn(&[f64]) -> Option<f64>) -> Option<Estimate> {
        let value = calculation(&self.means).filter(|v| v.is_finite())?;
        let mut variance = 0.0;
        let mut shifted = DVector::from_column_slice(&self.means);
        for (start, covariance) in &self.blocks {
            for direction in directions(covariance) {
                let mut at = |sign: f64| {
                    for (offset, step) in direction.iter().enumerate() {
                        shifted[start + offset] = self.means[start + offset] + sign * step;
                    }
                    calculation(shifted.as_slice()).filter(|v| v.is_finite())
                };
                let (ahead, behind) = (at(1.0)? - value, at(-1.0)? - value);
                variance += (ahead * ahead + behind * behind) / 2.0;
            }
            for offset in 0..covariance.nrows() {
                shifted[start + offset] = self.means[start + offset];
            }
        }
        Some(Estimate::new(value, variance.sqrt()))
    }
}

/// The principal axes of a covariance, each one sigma long.
fn directions(covariance: &DMatrix<f64>) -> Vec<DVector<f64>> {
    let eigen = covariance.clone().symmetric_eigen();
    eigen
        .eigenvalues
        .iter()
        .zip(eigen.eigenvectors.column_iter())
        .filter(|(variance, _)| **variance > 0.0)
        .map(|(variance, axis)| axis * variance.sqrt())
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_linear_calculation_carries_the_full_covariance() {
        let mut inputs = Inputs::new();
        inputs.push_block(
            &[1.0, 2.0],
            DMatrix::from_row_slice(2, 2, &[4.0, 1.0, 1.0, 9.0]),
        );
        inputs.push(Estimate::new(5.0, 2.0));
        let sum = inputs
            .propagate(|x| Some(x[0] + 2.0 * x[1] - x[2]))
            .unwrap();
        // var = 4 + 4·9 + 2·2·1 + 4
        assert!((sum.value - 0.0).abs() < 1e-12);
        assert!((sum.sigma - 48f64.sqrt()).abs() < 1e-9);
    }

    #[test]
    fn a_folded_answer_keeps_its_error() {
        let mut inputs = Inputs::new();
        inputs.push(Estimate::new(0.0, 2.0));
        let folded = inputs.propagate(|x| Some(x[0].abs())).unwrap();
        assert!((folded.sigma - 2.0).abs() < 1e-12);
    }

    #[test]
    fn a_calculation_without_an_answer_one_sigma_away_has_none() {
        let mut inputs = Inputs::new();
        inputs.push(Estimate::new(0.5, 1.0));
        assert_eq!(inputs.propagate(|x| (x[0] > 0.0).then(|| x[0].ln())), None);
    }

    #[test]
    fn fusing_equal_estimates_halves_the_variance() {
        let fused = Estimate::new(1.0, 2.0).fused(Estimate::new(3.0, 2.0));
        assert!((fused.value - 2.0).abs() < 1e-12);
        assert!((fused.sigma - 2f64.sqrt()).abs() < 1e-12);
    }
}
