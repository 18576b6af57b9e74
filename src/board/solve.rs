//! Least squares for a handful of unknowns.

use nalgebra::{DMatrix, DVector, SMatrix, SVector};

/// Where the sum of squares is smallest.
pub struct Solved<const N: usize> {
    pub at: SVector<f64, N>,
    /// Of residuals that are in units of their own errors.
    pub covariance: SMatrix<f64, N, N>,
    pub squares: f64,
}

/// Levenberg–Marquardt from `start`. `steps` are small changes of the unknowns, by which residuals
/// are told apart and beyond which the search goes on. `None` where the residuals have no answer,
/// or do not tell every unknown.
pub fn least_squares<const N: usize>(
    start: SVector<f64, N>,
    steps: &SVector<f64, N>,
    residuals: impl Fn(&SVector<f64, N>) -> Option<DVector<f64>>,
) -> Option<Solved<N>> {
    let valid =
        |at: &SVector<f64, N>| residuals(at).filter(|of| of.iter().all(|value| value.is_finite()));
    let mut at = start;
    let mut off = valid(&at)?;
    let mut damping = 1e-4;
    for _ in 0..100 {
        let slopes = slopes(&at, steps, &valid, off.len())?;
        let normal = square(&slopes);
        let gradient = slopes.tr_mul(&off);
        let gradient = SVector::<f64, N>::from_fn(|i, _| gradient[i]);
        let mut settled = true;
        // A step that makes it worse is taken back and made shorter.
        for _ in 0..12 {
            let mut damped: SMatrix<f64, N, N> = normal;
            for i in 0..N {
                damped[(i, i)] *= 1.0 + damping;
            }
            let step = damped.cholesky()?.solve(&gradient);
            let next = at - step;
            match valid(&next) {
                Some(better) if better.norm_squared() <= off.norm_squared() => {
                    // A step is also short where it was much damped.
                    settled = damping < 1e-2 && (0..N).all(|i| step[i].abs() < 1e-3 * steps[i]);
                    (at, off) = (next, better);
                    damping /= 10.0;
                    break;
                }
                _ => damping *= 10.0,
            }
        }
        if settled {
            break;
        }
    }
    let information = square::<N>(&slopes(&at, steps, &valid, off.len())?);
    Some(Solved {
        at,
        covariance: information.cholesky()?.inverse(),
        squares: off.norm_squared(),
    })
}

fn square<const N: usize>(slopes: &DMatrix<f64>) -> SMatrix<f64, N, N> {
    let normal = slopes.tr_mul(slopes);
    SMatrix::from_fn(|i, j| normal[(i, j)])
}

fn slopes<const N: usize>(
    at: &SVector<f64, N>,
    steps: &SVector<f64, N>,
    residuals: &impl Fn(&SVector<f64, N>) -> Option<DVector<f64>>,
    rows: usize,
) -> Option<DMatrix<f64>> {
    let mut slopes = DMatrix::zeros(rows, N);
    for i in 0..N {
        let mut shifted = *at;
        shifted[i] = at[i] + steps[i];
        let ahead = residuals(&shifted)?;
        shifted[i] = at[i] - steps[i];
        let behind = residuals(&shifted)?;
        slopes.set_column(i, &((ahead - behind) / (2.0 * steps[i])));
    }
    Some(slopes)
}
