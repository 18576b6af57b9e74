//! Whether the stated errors are the right size: how many differences lie within them.

use crate::compare::Z95;

use super::interval::{Bounded, of_share};

/// Shares of differences within 1 and 1.96 of their stated sigma. When the sigmas are right, the
/// errors normal and those of the two raters independent, about 68.3 % and 95.0 %.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Coverage {
    /// Rows whose difference has a stated sigma.
    pub n: usize,
    /// Rows whose difference has none.
    pub without_sigma: usize,
    pub within_1: Bounded,
    pub within_1_96: Bounded,
}

impl Coverage {
    /// From (difference, its sigma); `None` when no row has a sigma.
    pub fn of(rows: &[(f64, Option<f64>)]) -> Option<Coverage> {
        // Nothing can be expected of a difference that is said to have no error at all.
        let stated: Vec<(f64, f64)> = rows
            .iter()
            .filter_map(|&(difference, sigma)| Some((difference, sigma.filter(|s| *s > 0.0)?)))
            .collect();
        if stated.is_empty() {
            return None;
        }
        let within = |sigmas: f64| {
            let count = stated
                .iter()
                .filter(|(difference, sigma)| difference.abs() <= sigmas * sigma)
                .count();
            Bounded {
                value: count as f64 / stated.len() as f64,
                interval: of_share(count, stated.len()),
            }
        };
        Some(Coverage {
            n: stated.len(),
            without_sigma: rows.len() - stated.len(),
            within_1: within(1.0),
            within_1_96: within(Z95),
        })
    }
}
