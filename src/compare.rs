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
use crate::repeats::{self, common_view};
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

/// Where an arm stands against the limit set for it, its error considered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AgainstLimit {
    Below,
    /// Read below, and it may be at the limit or above it already.
    MayBeAt,
    /// Read above, within the error.
    MayBeAbove,
    Above,
}

impl AgainstLimit {
    pub fn of(elevation: Estimate, limit: f64) -> AgainstLimit {
        let error = Z95 * elevation.sigma;
        if elevation.value - error > limit {
            AgainstLimit::Above
        } else if elevation.value > limit {
            AgainstLimit::MayBeAbove
        } else if elevation.value + error > limit {
            AgainstLimit::MayBeAt
        } else {
            AgainstLimit::Below
        }
    }

    pub const fn id(self) -> &'static str {
        match self {
            AgainstLimit::Below => "below",
            AgainstLimit::MayBeAt => "may_be_at",
            AgainstLimit::MayBeAbove => "may_be_above",
            AgainstLimit::Above => "above",
        }
    }
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
    /// The largest step between two readings in a row that was worse beyond error, by the numbers of
    /// their visits; from three readings on.
    pub setback: Option<(usize, usize)>,
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

impl Change {
    fn between(first: Estimate, last: Estimate) -> Change {
        Change {
            amount: Estimate::new(last.value - first.value, first.sigma.hypot(last.sigma)),
            mdc95: mdc95(first.sigma, last.sigma),
        }
    }
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

/// What was set at one visit holds until a later one says otherwise: gives each visit the operated
/// side and the arm limit of the last visit before it that names them, and tells where a limit was
/// carried on.
fn carry_forward(visits: &mut [Visit]) -> Vec<String> {
    let mut cautions = Vec::new();
    for index in 1..visits.len() {
        let (before, rest) = visits.split_at_mut(index);
        let (earlier, visit) = (&before[index - 1], &mut rest[0]);
        visit.facts.operated = visit.facts.operated.or(earlier.facts.operated);
        if let (None, Some(limit)) = (visit.facts.arm_limit_deg, earlier.facts.arm_limit_deg) {
            visit.facts.arm_limit_deg = Some(limit);
            cautions.push(format!(
                "No arm limit is named at {}: the {limit}° set before is taken as still valid. If \
                 it was lifted or changed, put the new one among the facts of that visit.",
                visit.title(index + 1)
            ));
        }
    }
    cautions
}

/// Compares visits, oldest first, each with what an earlier one set and it does not name; what was
/// carried on stands first among the cautions.
pub fn compare_carrying(visits: &mut [Visit]) -> Comparison {
    let mut cautions = carry_forward(visits);
    let mut comparison = compare(visits);
    cautions.append(&mut comparison.cautions);
    Comparison {
        cautions,
        ..comparison
    }
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
    let view = common_view(visits, measure, side);
    let course: Vec<_> = visits
        .iter()
        .map(|visit| repeats::reading(visit, measure, side, view))
        .collect();
    let (first, last) = (course.first(), course.last());
    let change = match (first, last) {
        (Some(Ok(first)), Some(Ok(last))) if course.len() >= 2 => {
            Some(Change::between(*first, *last))
        }
        _ => None,
    };
    let verdict = match (change, first, last) {
        _ if measure.of().is_some() && operated_sides_differ(visits) => Verdict::CannotCompare {
            reason: "the visits name different operated sides".to_owned(),
        },
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
        setback: setback(measure.better(), &course),
        change,
        verdict,
        course,
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

/// What was read, each with the number of its visit; from three readings on.
fn readings(course: &[Result<Estimate, String>]) -> Option<Vec<(usize, Estimate)>> {
    let read: Vec<(usize, Estimate)> = course
        .iter()
        .enumerate()
        .filter_map(|(i, value)| value.as_ref().ok().map(|value| (i, *value)))
        .collect();
    (read.len() >= 3).then_some(read)
}

fn setback(better: Better, course: &[Result<Estimate, String>]) -> Option<(usize, usize)> {
    let read = readings(course)?;
    let by = |pair: &&[(usize, Estimate)]| (pair[1].1.value - pair[0].1.value).abs();
    let is_worse = |pair: &&[(usize, Estimate)]| {
        verdict(
            better,
            pair[0].1,
            pair[1].1,
            &Change::between(pair[0].1, pair[1].1),
        ) == Verdict::Worse
    };
    let steps = read.windows(2).filter(is_worse);
    let largest = steps.max_by(|a, b| by(a).total_cmp(&by(b)))?;
    Some((largest[0].0, largest[1].0))
}

fn why_not(visits: &[Visit], course: &[Result<Estimate, String>]) -> String {
    if course.len() < 2 {
        return "there is only one visit".to_owned();
    }
    let at = |index: usize| match &course[index] {
        Err(reason) => Some(format!("{}: {reason}", visits[index].title(index + 1))),
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
    let read = readings(course)?;
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

fn operated_sides_differ(visits: &[Visit]) -> bool {
    let mut sides = visits.iter().filter_map(|visit| visit.facts.operated);
    sides
        .next()
        .is_some_and(|first| sides.any(|operated| operated != first))
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
    if operated_sides_differ(visits) {
        cautions.push("The visits name different operated sides.".to_owned());
    }
    if differs(|visit| visit.facts.stature_cm.map(|cm| format!("{cm:.1}"))) {
        cautions.push("The visits carry different statures; lengths in cm follow them.".to_owned());
    }
    let by_board = |visit: &Visit| {
        let mut setups = visit.photos.iter().filter_map(|photo| photo.setup);
        setups.any(|setup| setup.by_board)
    };
    let boards: Vec<bool> = visits.iter().map(by_board).collect();
    if boards.contains(&true) && boards.contains(&false) {
        cautions.push(
            "The printed board was used at one visit and not at another: scale and plumb line come \
             from different sources, and part of a change may come from that. Hang it up at every \
             visit."
                .to_owned(),
        );
    }
    let dates: Vec<_> = visits.iter().filter_map(|visit| visit.facts.date).collect();
    if dates.windows(2).any(|pair| pair[1] < pair[0]) {
        cautions.push(
            "The visits are not in the order of their dates, so what is called improved may be \
             worse and the other way round. Name the oldest first."
                .to_owned(),
        );
    }
    let photos = |visit: &Visit| -> Vec<Option<String>> {
        visit
            .photos
            .iter()
            .map(|photo| photo.sha256.clone())
            .collect()
    };
    let same = |pair: &[Visit]| {
        let (a, b) = (photos(&pair[0]), photos(&pair[1]));
        !a.is_empty() && a.iter().all(Option::is_some) && a == b
    };
    if visits.windows(2).any(same) {
        cautions.push("Two visits hold the very same photos.".to_owned());
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::body::{Task, View};
    use crate::visit::{CameraSetup, PhotoRecord, Reading, VisitFacts};

    fn photo(file: &str, view: View) -> PhotoRecord {
        PhotoRecord {
            file: file.to_owned(),
            sha256: None,
            size: None,
            view: Some(view),
            task: Some(Task::Reach),
            landmarks: Default::default(),
            faces: Vec::new(),
            setup: None,
            notices: Vec::new(),
        }
    }

    /// A visit with one photo and one value of the measure for each entry.
    fn visit(measure: Measure, side: Option<Side>, values: &[(View, f64, f64)]) -> Visit {
        let names: Vec<String> = (0..values.len()).map(|i| format!("{i}.jpg")).collect();
        Visit {
            facts: VisitFacts::default(),
            photos: names
                .iter()
                .zip(values)
                .map(|(name, (view, _, _))| photo(name, *view))
                .collect(),
            readings: names
                .iter()
                .zip(values)
                .map(|(name, (_, value, sigma))| Reading {
                    measure,
                    side,
                    photo: name.clone(),
                    outcome: Ok(Estimate::new(*value, *sigma)),
                })
                .collect(),
            notices: Vec::new(),
        }
    }

    const NEAR: View = View::Side(Side::Right);
    const RIGHT: Option<Side> = Some(Side::Right);

    fn verdict_of(measure: Measure, first: f64, last: f64, sigma: f64) -> Verdict {
        let visits = [first, last].map(|value| visit(measure, RIGHT, &[(NEAR, value, sigma)]));
        compare(&visits).rows.remove(0).verdict
    }

    #[test]
    fn a_board_at_one_visit_only_is_told() {
        let told = |boards: [bool; 2]| {
            let visits = boards.map(|by_board| {
                let mut visit = visit(Measure::TrunkLean, None, &[(NEAR, 1.0, 1.0)]);
                let nothing = Estimate::new(0.0, 1.0);
                visit.photos[0].setup = Some(CameraSetup {
                    distance_cm: nothing,
                    lens_height_cm: nothing,
                    turn_deg: nothing,
                    roll_deg: None,
                    pitch_deg: None,
                    mm_per_px: None,
                    by_board,
                });
                visit
            });
            let cautions = compare(&visits).cautions;
            cautions.iter().any(|caution| caution.contains("board"))
        };
        assert_eq!(
            [[true, false], [false, true], [true, true], [false, false]].map(told),
            [true, true, false, false]
        );
    }

    #[test]
    fn a_change_counts_only_beyond_the_mdc() {
        // sigma 1: MDC95 = 1.96·√2 = 2.77.
        let flexion = Measure::ShoulderFlexion;
        assert_eq!(
            verdict_of(flexion, 100.0, 102.7, 1.0),
            Verdict::NoChangeBeyondError
        );
        assert_eq!(verdict_of(flexion, 100.0, 102.8, 1.0), Verdict::Improved);
        assert_eq!(verdict_of(flexion, 100.0, 97.2, 1.0), Verdict::Worse);
        assert_eq!(
            verdict_of(Measure::ArmToEar, 10.0, 5.0, 1.0),
            Verdict::Improved
        );
        assert_eq!(
            verdict_of(Measure::HeadTilt, 0.0, 5.0, 1.0),
            Verdict::Changed
        );
    }

    #[test]
    fn crossing_zero_to_the_same_distance_is_a_change_and_no_progress() {
        let lean = Measure::TrunkLean;
        assert_eq!(verdict_of(lean, 5.0, -4.5, 1.0), Verdict::Changed);
        assert_eq!(verdict_of(lean, 8.0, 1.0, 1.0), Verdict::Improved);
        assert_eq!(verdict_of(lean, 1.0, -8.0, 1.0), Verdict::Worse);
    }

    #[test]
    fn repeats_that_disagree_keep_their_spread_as_error() {
        let flexion = Measure::ShoulderFlexion;
        let first = visit(flexion, RIGHT, &[(NEAR, 101.0, 5.0), (NEAR, 145.0, 6.0)]);
        let last = visit(flexion, RIGHT, &[(NEAR, 145.0, 5.0)]);
        let row = compare(&[first, last]).rows.remove(0);
        let first = row.course[0].as_ref().expect("a value");
        assert!(first.sigma > 30.0, "{first:?}");
        assert_eq!(row.verdict, Verdict::NoChangeBeyondError);
    }

    #[test]
    fn views_are_not_mixed() {
        let elbow = Measure::ElbowExtensionDeficit;
        let both = [(View::Front, 3.0, 5.0), (NEAR, 16.0, 5.0)];
        let visits = [&both, &both].map(|values| visit(elbow, RIGHT, values));
        let row = compare(&visits).rows.remove(0);
        assert_eq!(row.course[0].as_ref().expect("a value").value, 16.0);
    }

    #[test]
    fn an_asymmetry_is_not_compared_across_operated_sides() {
        let asymmetry = Measure::AbductionAsymmetry;
        let mut visits = [-60.0, 20.0].map(|v| visit(asymmetry, None, &[(View::Front, v, 5.0)]));
        visits[0].facts.operated = Some(Operated::One(Side::Right));
        visits[1].facts.operated = Some(Operated::One(Side::Left));
        let row = compare(&visits).rows.remove(0);
        assert!(matches!(row.verdict, Verdict::CannotCompare { .. }));
    }

    #[test]
    fn a_limit_holds_until_a_later_visit_names_another_and_is_told_first() {
        let flexion = Measure::ShoulderFlexion;
        let mut visits = [100.0, 110.0, 120.0].map(|v| visit(flexion, RIGHT, &[(NEAR, v, 2.0)]));
        visits[0].facts.arm_limit_deg = Some(92.5);
        visits[0].facts.operated = Some(Operated::Both);
        visits[2].facts.arm_limit_deg = Some(120.0);
        let comparison = compare_carrying(&mut visits);
        let limits = visits.each_ref().map(|visit| visit.facts.arm_limit_deg);
        assert_eq!(limits, [Some(92.5), Some(92.5), Some(120.0)]);
        assert!(
            comparison.cautions[0].starts_with("No arm limit is named at visit 2: the 92.5°"),
            "{:?}",
            comparison.cautions
        );
        assert!(comparison.cautions[1].contains("both sides"));
        assert_eq!(visits[2].facts.operated, Some(Operated::Both));
    }

    #[test]
    fn a_trend_per_week_needs_three_dated_readings() {
        let flexion = Measure::ShoulderFlexion;
        let mut visits = [100.0, 110.0, 120.0].map(|v| visit(flexion, RIGHT, &[(NEAR, v, 2.0)]));
        assert!(compare(&visits[..2]).rows[0].trend.is_none());
        for (visit, date) in visits
            .iter_mut()
            .zip(["2026-03-01", "2026-03-15", "2026-03-29"])
        {
            visit.facts.date = Some(date.parse().expect("a date"));
        }
        let trend = compare(&visits).rows[0].trend.expect("three readings");
        assert!(trend.per_week);
        assert!((trend.slope.value - 5.0).abs() < 1e-9);
        // Weeks 0, 2, 4: variance of the slope = σ²/Σ(t − 2)² = 4/8.
        assert!((trend.slope.sigma - 0.5f64.sqrt()).abs() < 1e-9);
    }
}
