//! Intraclass correlations and standard errors of measurement from a two-way analysis of variance.
//!
//! Shrout PE, Fleiss JL 1979, Psychol Bull 86:420–428 (names and formulas of the six ICCs);
//! McGraw KO, Wong SP 1996, Psychol Methods 1:30–46 (interval of the second form); Weir JP 2005,
//! J Strength Cond Res 19:231–240 (standard errors of measurement).
//!
//! One rule for variance components that come out negative, as the raters' does when they differ
//! by less than chance: ICCs are given as computed, even below zero; in the standard error of
//! measurement for agreement the raters' component counts as zero, so that it is never below the
//! one for consistency.

use crate::compare::{mdc95, sem};

use super::interval::{Interval, Undefined, f_quantile, of_sd};

/// Sums of squares that are only rounding: this part of the values' size, squared.
const ROUNDING: f64 = 1e-12;

/// Mean squares of n rows (what is measured) by k raters.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MeanSquares {
    pub n: usize,
    pub k: usize,
    /// Between rows, n − 1 degrees of freedom.
    pub rows: f64,
    /// Between raters, k − 1.
    pub raters: f64,
    /// What is left, (n − 1)(k − 1).
    pub error: f64,
    /// Within rows, raters and what is left together, n(k − 1).
    pub within: f64,
    /// Standard deviation of all n·k values.
    pub sd: f64,
}

/// The six intraclass correlations. The number says what the raters are: 1, other ones for each
/// row; 2, a sample of many raters; 3, the only ones of interest. Forms 1 and 2 count a constant
/// difference between raters as error, form 3 doesn't.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Correlations {
    /// Of one rater: ICC(1,1), ICC(2,1), ICC(3,1).
    pub single: [Icc; 3],
    /// Of the mean of all k raters: ICC(1,k), ICC(2,k), ICC(3,k).
    pub mean: [Icc; 3],
}

/// One intraclass correlation, or why there is none; its interval may be missing alone.
pub type Icc = Result<Correlation, Undefined>;

#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Correlation {
    pub value: f64,
    pub interval: Result<Interval, Undefined>,
}

/// A standard error of measurement, by one of its definitions.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sem {
    pub value: f64,
    /// Only where it is the root of a mean square, whose distribution is known.
    pub interval: Option<Interval>,
}

impl Sem {
    /// Smallest change beyond error between two measurements, 95 %: 1.96·√2·SEM.
    pub fn mdc95(&self) -> f64 {
        mdc95(self.value, self.value)
    }
}

/// Standard errors of measurement by definition. They differ: say which one is used.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sems {
    /// √MSE: raters may differ by a constant.
    pub consistency: Sem,
    /// √(σ²_raters + MSE), the raters' component at least zero: another rater may measure.
    pub agreement: Sem,
    /// √MSW, the within-subject standard deviation: raters taken as plain repeats.
    pub within_subject: Sem,
    /// SD·√(1 − ICC) with ICC(1,1), ICC(2,1), ICC(3,1) and the SD of all values.
    pub by_icc: [Result<Sem, Undefined>; 3],
}

/// Everything that the analysis of variance gives.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reliability {
    pub mean_squares: MeanSquares,
    pub icc: Correlations,
    pub sem: Sems,
}

impl Reliability {
    /// From complete rows, each with one value per rater, two raters or more.
    pub fn of(rows: &[Vec<f64>]) -> Result<Reliability, Undefined> {
        let mean_squares = MeanSquares::of(rows)?;
        let icc = mean_squares.correlations();
        Ok(Reliability {
            mean_squares,
            icc,
            sem: mean_squares.sems(&icc),
        })
    }
}

impl MeanSquares {
    fn of(rows: &[Vec<f64>]) -> Result<MeanSquares, Undefined> {
        match rows.len() {
            0 => return Err(Undefined::NoRow),
            1 => return Err(Undefined::OneRow),
            _ => {}
        }
        let (n, k) = (rows.len() as f64, rows[0].len() as f64);
        let grand = rows.iter().flatten().sum::<f64>() / (n * k);
        let row_means: Vec<f64> = rows.iter().map(|row| row.iter().sum::<f64>() / k).collect();
        let rater_means: Vec<f64> = (0..rows[0].len())
            .map(|rater| rows.iter().map(|row| row[rater]).sum::<f64>() / n)
            .collect();
        let size = rows
            .iter()
            .flatten()
            .fold(0.0, |size: f64, x| size.max(x.abs()));
        let floor = n * k * (ROUNDING * size).powi(2);
        let square = |sum: f64| if sum > floor { sum } else { 0.0 };
        let ss_rows = square(
            k * row_means
                .iter()
                .map(|mean| (mean - grand).powi(2))
                .sum::<f64>(),
        );
        let ss_raters = square(
            n * rater_means
                .iter()
                .map(|mean| (mean - grand).powi(2))
                .sum::<f64>(),
        );
        // From the residuals themselves: a difference of large sums could come out below zero.
        let residual = |row: usize, rater: usize| {
            rows[row][rater] - row_means[row] - rater_means[rater] + grand
        };
        let ss_error = square(
            (0..rows.len())
                .flat_map(|row| (0..rows[0].len()).map(move |rater| (row, rater)))
                .map(|(row, rater)| residual(row, rater).powi(2))
                .sum::<f64>(),
        );
        Ok(MeanSquares {
            n: rows.len(),
            k: rows[0].len(),
            rows: ss_rows / (n - 1.0),
            raters: ss_raters / (k - 1.0),
            error: ss_error / ((n - 1.0) * (k - 1.0)),
            within: (ss_raters + ss_error) / (n * (k - 1.0)),
            sd: ((ss_rows + ss_raters + ss_error) / (n * k - 1.0)).sqrt(),
        })
    }

    fn correlations(&self) -> Correlations {
        if self.sd == 0.0 {
            let none = [Err(Undefined::NoSpread); 3];
            return Correlations {
                single: none,
                mean: none,
            };
        }
        let (n, k) = (self.n as f64, self.k as f64);
        let MeanSquares {
            rows: msb,
            raters: msj,
            error: mse,
            within: msw,
            ..
        } = *self;
        let one_way = self.by_ratio(msw, n * (k - 1.0));
        let consistency = self.by_ratio(mse, (n - 1.0) * (k - 1.0));
        let agreement = ratio(msb - mse, msb + (k - 1.0) * mse + k * (msj - mse) / n)
            .map(|value| self.with_agreement_interval(value));
        // Spearman–Brown of the single interval, as the mean's own bounds.
        let agreement_of_mean = ratio(msb - mse, msb + (msj - mse) / n).map(|value| Correlation {
            value,
            interval: agreement
                .and_then(|single| single.interval)
                .and_then(|interval| {
                    let mean = |icc: f64| ratio(icc * k, 1.0 + icc * (k - 1.0));
                    Ok(Interval {
                        low: mean(interval.low)?,
                        high: mean(interval.high)?,
                    })
                }),
        });
        Correlations {
            single: [one_way.0, agreement, consistency.0],
            mean: [one_way.1, agreement_of_mean, consistency.1],
        }
    }

    /// Forms 1 and 3, single and mean: MSB against an error mean square with its degrees of
    /// freedom.
    fn by_ratio(&self, error: f64, freedom: f64) -> (Icc, Icc) {
        let (msb, k) = (self.rows, self.k as f64);
        let above = self.n as f64 - 1.0;
        let f = msb / error;
        let ratios = match (f_quantile(above, freedom), f_quantile(freedom, above)) {
            _ if error == 0.0 => Err(Undefined::NoError),
            (Some(low), Some(high)) => Ok(Interval {
                low: f / low,
                high: f * high,
            }),
            _ => Err(Undefined::NoFreedom),
        };
        let bounds = |icc: fn(f64, f64) -> f64| {
            ratios.map(|f| Interval {
                low: icc(f.low, k),
                high: icc(f.high, k),
            })
        };
        let single = ratio(msb - error, msb + (k - 1.0) * error).map(|value| Correlation {
            value,
            interval: bounds(|f, k| (f - 1.0) / (f + k - 1.0)),
        });
        let mean = if msb > 0.0 {
            Ok(Correlation {
                value: (msb - error) / msb,
                interval: bounds(|f, _| 1.0 - 1.0 / f),
            })
        } else {
            Err(Undefined::NoSpreadBetween)
        };
        (single, mean)
    }

    /// ICC(2,1) with the interval of McGraw & Wong, whose degrees of freedom are Satterthwaite's.
    fn with_agreement_interval(&self, value: f64) -> Correlation {
        let (n, k) = (self.n as f64, self.k as f64);
        let MeanSquares {
            rows: msb,
            raters: msj,
            error: mse,
            ..
        } = *self;
        // Their a and b, both times n(1 − ICC), which may be zero.
        let a = k * value * msj;
        let b = (n * (1.0 - value) + k * value * (n - 1.0)) * mse;
        let freedom = (a + b).powi(2) / (a * a / (k - 1.0) + b * b / ((n - 1.0) * (k - 1.0)));
        let quantiles = (f_quantile(n - 1.0, freedom), f_quantile(freedom, n - 1.0));
        let interval = match quantiles {
            _ if a == 0.0 && b == 0.0 => Err(Undefined::NoError),
            _ if msb == 0.0 => Err(Undefined::NoSpreadBetween),
            (Some(low), Some(high)) => {
                let rest = k * msj + (k * n - k - n) * mse;
                Ok(Interval {
                    low: n * (msb - low * mse) / (low * rest + n * msb),
                    high: n * (high * msb - mse) / (rest + n * high * msb),
                })
            }
            _ => Err(Undefined::NoFreedom),
        };
        Correlation { value, interval }
    }

    fn sems(&self, icc: &Correlations) -> Sems {
        let (n, k) = (self.n as f64, self.k as f64);
        let root_of = |mean_square: f64, freedom: f64| {
            let value = mean_square.sqrt();
            Sem {
                value,
                interval: Some(of_sd(value, freedom)),
            }
        };
        let between_raters = ((self.raters - self.error) / n).max(0.0);
        Sems {
            consistency: root_of(self.error, (n - 1.0) * (k - 1.0)),
            agreement: Sem {
                value: (between_raters + self.error).sqrt(),
                interval: None,
            },
            within_subject: root_of(self.within, n * (k - 1.0)),
            by_icc: icc.single.map(|icc| {
                icc.map(|icc| Sem {
                    // Rounding may carry a perfect correlation past one.
                    value: sem(self.sd, icc.value.min(1.0)),
                    interval: None,
                })
            }),
        }
    }
}

/// A variance component over a total variance, which must be above zero.
fn ratio(part: f64, total: f64) -> Result<f64, Undefined> {
    if total > 0.0 {
        Ok(part / total)
    } else {
        Err(Undefined::NoVariance)
    }
}
