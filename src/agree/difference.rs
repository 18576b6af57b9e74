//! Differences between two raters: bias, spread and limits of agreement.
//!
//! Bland JM, Altman DG 1986, Lancet 1:307–310. The limits hold 95 % of the differences when these
//! are about normal and neither bias nor spread depends on the size of what is measured.

use crate::compare::Z95;

use super::interval::{Bounded, Interval, Undefined, t_quantile};

/// What the differences of one pair of raters come to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Differences {
    pub n: usize,
    /// Mean difference.
    pub mean: f64,
    pub mean_absolute: f64,
    pub root_mean_square: f64,
    /// What takes two rows or more.
    pub spread: Result<Spread, Undefined>,
}

/// Bias and limits with their errors.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spread {
    /// Interval of the mean difference: ± t·s/√n.
    pub bias: Interval,
    /// Standard deviation of the differences, s.
    pub sd: f64,
    /// Mean − 1.96·s and mean + 1.96·s, each ± t·√(3s²/n).
    pub lower_limit: Bounded,
    pub upper_limit: Bounded,
}

impl Differences {
    /// `None` without any difference.
    pub fn of(differences: &[f64]) -> Option<Differences> {
        if differences.is_empty() {
            return None;
        }
        let n = differences.len() as f64;
        let mean = differences.iter().sum::<f64>() / n;
        Some(Differences {
            n: differences.len(),
            mean,
            mean_absolute: differences.iter().map(|d| d.abs()).sum::<f64>() / n,
            root_mean_square: (differences.iter().map(|d| d * d).sum::<f64>() / n).sqrt(),
            spread: Spread::of(differences, mean),
        })
    }
}

impl Spread {
    fn of(differences: &[f64], mean: f64) -> Result<Spread, Undefined> {
        if differences.len() < 2 {
            return Err(Undefined::OneRow);
        }
        let n = differences.len() as f64;
        let squares: f64 = differences.iter().map(|d| (d - mean).powi(2)).sum();
        let sd = (squares / (n - 1.0)).sqrt();
        let t = t_quantile(n - 1.0);
        let limit = |value| Bounded {
            value,
            interval: Interval::around(value, t * sd * (3.0 / n).sqrt()),
        };
        Ok(Spread {
            bias: Interval::around(mean, t * sd / n.sqrt()),
            sd,
            lower_limit: limit(mean - Z95 * sd),
            upper_limit: limit(mean + Z95 * sd),
        })
    }
}
