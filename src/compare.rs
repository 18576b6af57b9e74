//! Change between visits, held against its error.
//!
//! The smallest change that can be told from error with 95 % confidence is
//! `MDC95 = 1.96·√(s₁² + s₂²)`, with the standard errors of the two readings; for equal errors
//! that is the usual 2.77·SEM (Weir 2005, J Strength Cond Res 19:231–240). Errors that two visits
//! share, such as a bias of the method, cancel in the change; counting them as independent makes
//! the limit larger, never smaller.

use crate::body::{Operated, Side};
use crate::estimate::Estimate;
use crate::measure::{Better, Measure};
use crate::visit::Visit;

/// The two-sided 95 % point of the normal distribution.
pub const Z95: f64 = 1.96;

/// Standard error of measurement from the spread between people and the reliability.
pub fn sem(sd: f64, icc: f64) -> f64 {
    sd * (1.0 - icc).sqrt()
}

/// Minimal detectable change, 95 %, between two readings with these standard errors.
pub fn mdc95(first: f64, last: f64) -> f64 {
    Z95 * first.hypot(last)
}

/// What a change amounts to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Verdict {
    Improved,
    Worse,
    /// Beyond error, of a measure of which neither way is better.
    Changed,
    NoChangeBeyondError,
    CannotCompare {
        reason: String,
    },
}

impl Verdict {
    pub fn words(&self) -> &'static str {
        match self {
            Verdict::Improved => "improved",
            Verdict::Worse => "worse",
            Verdict::Changed => "changed",
            Verdict::NoChangeBeyondError => "no change beyond error",
            Verdict::CannotCompare { .. } => "can't compare",
        }
    }

    pub fn id(&self) -> &'static str {
        match self {
            Verdict::Improved => "improved",
            Verdict::Worse => "worse",
            Verdict::Changed => "changed",
            Verdict::NoChangeBeyondError => "no_change_beyond_error",
            Verdict::CannotCompare { .. } => "cannot_compare",
        }
    }
}

/// One measure on one side across all visits.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    pub measure: Measure,
    pub side: Option<Side>,
    /// One entry per visit, in order: the value, or why there is none.
    pub course: Vec<Result<Estimate, String>>,
    /// First to last visit; `None` when one of them has no value.
    pub change: Option<Change>,
    pub verdict: Verdict,
    /// From three readings on.
    pub trend: Option<Trend>,
}

/// A change with its error.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Change {
    /// Last minus first, and its standard error.
    pub amount: Estimate,
    pub mdc95: f64,
}

/// The straight line through the readings, weighted by their errors.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trend {
    /// Change per week, where every reading has a date; else per visit.
    pub slope: Estimate,
    pub per_week: bool,
}

/// The comparison of two or more visits, oldest first.
#[derive(Clone, Debug, PartialEq)]
pub struct Comparison {
    pub rows: Vec<Row>,
    /// What stands in the way of comparing the visits as a whole.
    pub cautions: Vec<String>,
}

/// Compares visits, oldest first.
pub fn compare(visits: &[Visit]) -> Comparison {
    let mut rows = Vec::new();
    for measure in Measure::ALL {
        for side in [None, Some(Side::Left), Some(Side::Right)] {
            let known = visits
                .iter()
                .any(|visit| visit.readings_of(measure, side).next().is_some());
            if known {
                rows.push(row(visits, measure, side));
            }
        }
    }
    Comparison {
        rows,
        cautions: cautions(visits),
    }
}

fn row(visits: &[Visit], measure: Measure, side: Option<Side>) -> Row {
    let course: Vec<_> = visits
        .iter()
        .map(|visit| reading(visit, measure, side))
        .collect();
    let (first, last) = (course.first(), course.last());
    let change = match (first, last) {
        (Some(Ok(first)), Some(Ok(last))) if course.len() >= 2 => Some(Change {
            amount: Estimate::new(last.value - first.value, first.sigma.hypot(last.sigma)),
            mdc95: mdc95(first.sigma, last.sigma),
        }),
        _ => None,
    };
    let verdict = match (change, first, last) {
        (Some(change), Some(Ok(first)), Some(Ok(last))) => {
            verdict(measure.better(), *first, *last, &change)
        }
        _ => Verdict::CannotCompare {
            reason: why_not(visits, &course),
        },
    };
    Row {
        measure,
        side,
        trend: trend(visits, &course),
        change,
        verdict,
        course,
    }
}

/// The visit's value: the mean of several photos of one thing, weighted by their errors.
///
/// Photos of one visit share the errors of scale and vertical, so averaging is not allowed to
/// claim a smaller error than the best of them.
fn reading(visit: &Visit, measure: Measure, side: Option<Side>) -> Result<Estimate, String> {
    let mut values = Vec::new();
    let mut reasons = Vec::new();
    for reading in visit.readings_of(measure, side) {
        match &reading.outcome {
            Ok(value) => values.push(*value),
            Err(unmeasured) => reasons.push(unmeasured.reason.clone()),
        }
    }
    let smallest = values.iter().map(|v| v.sigma).fold(f64::INFINITY, f64::min);
    match values.into_iter().reduce(Estimate::fused) {
        Some(fused) => Ok(Estimate::new(fused.value, smallest)),
        None => Err(reasons
            .into_iter()
            .next()
            .unwrap_or_else(|| "not photographed".to_owned())),
    }
}

fn verdict(better: Better, first: Estimate, last: Estimate, change: &Change) -> Verdict {
    let by = change.amount.value;
    if by.abs() <= change.mdc95 {
        return Verdict::NoChangeBeyondError;
    }
    let better_when = |good: bool| {
        if good {
            Verdict::Improved
        } else {
            Verdict::Worse
        }
    };
    match better {
        Better::Larger => better_when(by > 0.0),
        Better::Smaller => better_when(by < 0.0),
        Better::Neither => Verdict::Changed,
        Better::NearerZero => {
            // From one side of zero to the other the distance from zero may hardly change.
            let nearer = first.value.abs() - last.value.abs();
            if nearer.abs() <= change.mdc95 {
                Verdict::Changed
            } else {
                better_when(nearer > 0.0)
            }
        }
    }
}

fn why_not(visits: &[Visit], course: &[Result<Estimate, String>]) -> String {
    if course.len() < 2 {
        return "there is only one visit".to_owned();
    }
    let at = |index: usize| match &course[index] {
        Err(reason) => Some(format!("{}: {reason}", visits[index].title())),
        Ok(_) => None,
    };
    let (first, last) = (at(0), at(course.len() - 1));
    match (&course[0], &course[course.len() - 1]) {
        // One reason is enough when both visits have the same.
        (Err(a), Err(b)) if a == b => a.clone(),
        _ => [first, last]
            .into_iter()
            .flatten()
            .collect::<Vec<_>>()
            .join("; "),
    }
}

fn trend(visits: &[Visit], course: &[Result<Estimate, String>]) -> Option<Trend> {
    let read: Vec<(usize, Estimate)> = course
        .iter()
        .enumerate()
        .filter_map(|(i, value)| value.as_ref().ok().map(|value| (i, *value)))
        .collect();
    if read.len() < 3 {
        return None;
    }
    let dates: Option<Vec<_>> = read.iter().map(|&(i, _)| visits[i].facts.date).collect();
    let per_week = dates.is_some();
    let when: Vec<f64> = match &dates {
        Some(dates) => dates
            .iter()
            .map(|date| f64::from((*date - dates[0]).get_days()) / 7.0)
            .collect(),
        None => read.iter().map(|&(i, _)| i as f64).collect(),
    };
    let weights: Vec<f64> = read.iter().map(|(_, value)| value.sigma.powi(-2)).collect();
    let total: f64 = weights.iter().sum();
    let mean = |of: &dyn Fn(usize) -> f64| -> f64 {
        weights
            .iter()
            .enumerate()
            .map(|(k, w)| w * of(k))
            .sum::<f64>()
            / total
    };
    let mean_when = mean(&|k| when[k]);
    let mean_value = mean(&|k| read[k].1.value);
    let spread = total * mean(&|k| (when[k] - mean_when).powi(2));
    if spread <= 0.0 {
        return None;
    }
    let slope = total * mean(&|k| (when[k] - mean_when) * (read[k].1.value - mean_value)) / spread;
    Some(Trend {
        slope: Estimate::new(slope, spread.sqrt().recip()),
        per_week,
    })
}

fn cautions(visits: &[Visit]) -> Vec<String> {
    let mut cautions = Vec::new();
    let differs = |of: fn(&Visit) -> Option<String>| {
        let mut known: Vec<String> = visits.iter().filter_map(of).collect();
        known.dedup();
        known.len() > 1
    };
    if differs(|visit| visit.facts.case.clone()) {
        cautions.push("The visits carry different case codes: is this one person?".to_owned());
    }
    if differs(|visit| visit.facts.operated.map(|o| o.name().to_owned())) {
        cautions.push("The visits name different operated sides.".to_owned());
    }
    if differs(|visit| visit.facts.stature_cm.map(|cm| format!("{cm:.1}"))) {
        cautions.push("The visits carry different statures; lengths in cm follow them.".to_owned());
    }
    let dates: Vec<_> = visits.iter().filter_map(|visit| visit.facts.date).collect();
    if dates.windows(2).any(|pair| pair[1] < pair[0]) {
        cautions.push("The visits are not in the order of their dates.".to_owned());
    }
    if visits
        .iter()
        .any(|visit| visit.facts.operated == Some(Operated::Both))
    {
        cautions.push(
            "Surgery was on both sides: no side serves as a healthy one, so each is compared \
             with its own first visit."
                .to_owned(),
        );
    }
    cautions
}
