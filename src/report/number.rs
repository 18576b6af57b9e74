//! Numbers as people read them: never without their error, no more decimals than it warrants.

use crate::compare::Z95;
use crate::estimate::Estimate;
use crate::measure::Unit;

/// From this standard error on (degrees, %) a decimal would only feign precision.
const COARSE: f64 = 3.0;

/// What ± means wherever a person reads it.
pub(super) const PLUS_MINUS: &str = "± is the 95 % range: 1.96 standard errors to each side.";

pub(super) fn decimals(unit: Unit, sigma: f64) -> usize {
    match unit {
        Unit::Centimetre => 1,
        Unit::Degree | Unit::Percent if sigma < COARSE => 1,
        Unit::Degree | Unit::Percent => 0,
    }
}

/// Of statistics: two digits of the standard error, one decimal when that is zero.
pub(super) fn decimals_of(standard_error: f64) -> usize {
    if standard_error > 0.0 {
        (1.0 - standard_error.log10().floor()).clamp(0.0, 4.0) as usize
    } else {
        1
    }
}

/// With a real minus sign, and no minus before a zero.
pub(super) fn plain(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(digits) if digits.chars().any(|c| c.is_ascii_digit() && c != '0') => {
            format!("−{digits}")
        }
        Some(digits) => digits.to_owned(),
        None => text,
    }
}

/// As [`plain`], with a plus before what is larger than zero.
pub(super) fn signed(value: f64, decimals: usize) -> String {
    let text = plain(value, decimals);
    let zero = text.chars().all(|c| c == '0' || c == '.');
    if zero || text.starts_with('−') {
        text
    } else {
        format!("+{text}")
    }
}

/// A standard error by itself: "1.2°".
pub(super) fn error(sigma: f64, unit: Unit) -> String {
    plain(sigma, decimals(unit, sigma)) + unit.suffix()
}

/// What stands behind a value: " ± 2.4", half of its 95 % range.
pub(super) fn plus_minus(sigma: f64, decimals: usize) -> String {
    format!(" ± {}", plain(Z95 * sigma, decimals))
}

/// "42.3 ± 2.4°".
pub(super) fn with_error(Estimate { value, sigma }: Estimate, unit: Unit) -> String {
    let decimals = decimals(unit, sigma);
    plain(value, decimals) + &plus_minus(sigma, decimals) + unit.suffix()
}

/// "+37 ± 9°".
pub(super) fn signed_with_error(change: Estimate, decimals: usize, unit: Unit) -> String {
    signed(change.value, decimals) + &plus_minus(change.sigma, decimals) + unit.suffix()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decimals_follow_the_error() {
        assert_eq!(
            with_error(Estimate::new(42.31, 1.24), Unit::Degree),
            "42.3 ± 2.4°"
        );
        assert_eq!(
            with_error(Estimate::new(151.6, 4.4), Unit::Degree),
            "152 ± 9°"
        );
        assert_eq!(
            with_error(Estimate::new(-3.27, 3.6), Unit::Centimetre),
            "−3.3 ± 7.1 cm"
        );
    }

    #[test]
    fn zero_has_no_sign() {
        assert_eq!(plain(-0.04, 1), "0.0");
        assert_eq!(signed(0.04, 1), "0.0");
        assert_eq!(signed(-1.0, 1), "−1.0");
        assert_eq!(signed(1.0, 0), "+1");
    }
}
