//! 95 % intervals, what can't be computed, and the quantiles behind both.

use std::fmt;

use statrs::distribution::{ChiSquared, ContinuousCDF, FisherSnedecor, StudentsT};

use crate::compare::Z95;

/// The upper point of a two-sided 95 % interval.
const UPPER: f64 = 0.975;

/// A 95 % confidence interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval {
    pub low: f64,
    pub high: f64,
}

impl Interval {
    pub(super) fn around(centre: f64, half_width: f64) -> Interval {
        Interval {
            low: centre - half_width,
            high: centre + half_width,
        }
    }
}

/// A value with its 95 % interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bounded {
    pub value: f64,
    pub interval: Interval,
}

/// Why a statistic has no value.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Undefined {
    NoRow,
    OneRow,
    /// All values are the same.
    NoSpread,
    /// The means of the rows are all the same.
    NoSpreadBetween,
    /// The raters differ by nothing, or all by the same amount, in every row.
    NoError,
    /// The estimated total variance is not above zero.
    NoVariance,
    /// The interval's estimated degrees of freedom are next to none.
    NoFreedom,
}

impl fmt::Display for Undefined {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Undefined::NoRow => "no row has a value in every file",
            Undefined::OneRow => "needs two rows or more, and only one has a value in every file",
            Undefined::NoSpread => "all values are the same",
            Undefined::NoSpreadBetween => "the mean of the raters is the same in every row",
            Undefined::NoError => "the raters show no error to estimate it from",
            Undefined::NoVariance => {
                "the estimated total variance is not above zero: too few rows, or rows that hardly \
                 differ"
            }
            Undefined::NoFreedom => "the estimate of its degrees of freedom is next to zero",
        })
    }
}

/// Student's t.
pub(super) fn t_quantile(freedom: f64) -> f64 {
    StudentsT::new(0.0, 1.0, freedom)
        .expect("one degree of freedom or more")
        .inverse_cdf(UPPER)
}

/// Fisher's F with degrees of freedom above and below the line; `None` where these are so few that
/// it passes what a number can hold.
pub(super) fn f_quantile(above: f64, below: f64) -> Option<f64> {
    let distribution = FisherSnedecor::new(above, below).ok()?;
    let quantile = distribution.inverse_cdf(UPPER);
    quantile.is_finite().then_some(quantile)
}

/// Of a standard deviation estimated with so many degrees of freedom.
pub(super) fn of_sd(sd: f64, freedom: f64) -> Interval {
    let spread = ChiSquared::new(freedom).expect("one degree of freedom or more");
    let bound = |point| sd * (freedom / spread.inverse_cdf(point)).sqrt();
    Interval {
        low: bound(UPPER),
        high: bound(1.0 - UPPER),
    }
}

/// Of a share, after Wilson 1927 (J Am Stat Assoc 22:209–212); it holds for few rows and near 0
/// and 1, too.
pub(super) fn of_share(within: usize, of: usize) -> Interval {
    let (n, z2) = (of as f64, Z95 * Z95);
    let share = within as f64 / n;
    let centre = (share + z2 / (2.0 * n)) / (1.0 + z2 / n);
    let half = Z95 / (1.0 + z2 / n) * (share * (1.0 - share) / n + z2 / (4.0 * n * n)).sqrt();
    // Rounding must not lead beyond what a share can be.
    Interval {
        low: (centre - half).max(0.0),
        high: (centre + half).min(1.0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(a: f64, b: f64) {
        assert!((a - b).abs() <= 1e-9 * b.abs(), "{a} is not {b}");
    }

    /// From SciPy 1.17 (`t.ppf`, `f.ppf`, `chi2.ppf`).
    #[test]
    fn quantiles_are_those_of_another_program() {
        near(t_quantile(16.0), 2.119905299221);
        near(f_quantile(5.0, 18.0).unwrap(), 3.381967805875);
        near(f_quantile(5.3, 14.7).unwrap(), 3.547048399601);
        near(f_quantile(20000.0, 60000.0).unwrap(), 1.022823883578);
        assert_eq!(f_quantile(2.0, 1e-9), None);
        assert_eq!(f_quantile(2.0, 0.0), None);
        let interval = of_sd(1.0, 16.0);
        near(interval.low, (16.0 / 28.84535072340f64).sqrt());
        near(interval.high, (16.0 / 6.907664353497f64).sqrt());
    }

    /// 81 of 263: 0.255 to 0.366 (Newcombe 1998, Stat Med 17:857–872, table I, method 3; from
    /// memory).
    #[test]
    fn a_share_is_bounded_after_wilson() {
        let interval = of_share(81, 263);
        assert!((interval.low - 0.2553).abs() < 5e-5 && (interval.high - 0.3662).abs() < 5e-5);
        assert_eq!(of_share(0, 10).low, 0.0);
        assert_eq!(of_share(10, 10).high, 1.0);
    }
}
