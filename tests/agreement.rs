//! Agreement of raters against published figures, another program, and what must hold always.
//!
//! Figures are marked as in `published`: "read" in the source, "secondary" in a copy of it,
//! "memory" not verified, "computed" from the definitions alone.

use proptest::prelude::*;
use serde_json::Value;
use tragus::agree::{
    AgreeError, Agreement, Bounded, Correlation, Group, ICC_NAMES, Reliability, Sides, Spread,
    Undefined, agreement,
};
use tragus::body::Side;
use tragus::scores::Score;

use crate::common::root;
use crate::figures::agrees;

fn score(photo: &str, measure: &str, side: &str, value: f64) -> Score {
    Score {
        photo: photo.to_owned(),
        measure: measure.to_owned(),
        side: side.to_owned(),
        value: Some(value),
        ..Score::default()
    }
}

/// A table of one measure, a photo per value.
fn rater(values: &[f64]) -> Vec<Score> {
    let photo = |index: usize| format!("{index:05}.jpg");
    values
        .iter()
        .enumerate()
        .map(|(index, &value)| score(&photo(index), "flow", "", value))
        .collect()
}

fn agreed(raters: &[Vec<Score>]) -> Agreement {
    let raters: Vec<&[Score]> = raters.iter().map(Vec::as_slice).collect();
    agreement(&raters, false).expect("comparable raters")
}

/// The only group, of raters given as columns.
fn of_columns(columns: &[Vec<f64>]) -> Group {
    let raters: Vec<Vec<Score>> = columns.iter().map(|values| rater(values)).collect();
    let mut groups = agreed(&raters).groups;
    assert_eq!(groups.len(), 1);
    groups.remove(0)
}

fn of_rows(rows: &[Vec<f64>]) -> Group {
    let columns: Vec<Vec<f64>> = (0..rows[0].len())
        .map(|rater| rows.iter().map(|row| row[rater]).collect())
        .collect();
    of_columns(&columns)
}

fn reliability(group: &Group) -> Reliability {
    group.reliability.expect("a reliability")
}

fn spread(group: &Group) -> Spread {
    let differences = group.pairs[0].differences.expect("differences");
    differences.spread.expect("a spread")
}

fn all_icc(group: &Group) -> Vec<Correlation> {
    let icc = reliability(group).icc;
    let all = icc.single.into_iter().chain(icc.mean);
    all.map(|icc| icc.expect("a correlation")).collect()
}

// Shrout & Fleiss 1979, Psychol Bull 86:420–428: the table is read in three independent listings;
// correlations are computed from it, and published to two decimals (memory).

const SHROUT_FLEISS: [[f64; 4]; 6] = [
    [9.0, 2.0, 5.0, 8.0],
    [6.0, 1.0, 3.0, 2.0],
    [8.0, 4.0, 6.0, 8.0],
    [7.0, 1.0, 2.0, 6.0],
    [10.0, 5.0, 6.0, 9.0],
    [6.0, 2.0, 4.0, 7.0],
];

fn shrout_fleiss() -> Group {
    of_rows(&SHROUT_FLEISS.map(|row| row.to_vec()))
}

#[test]
fn six_correlations_and_their_intervals() {
    let published = [0.17, 0.29, 0.71, 0.44, 0.62, 0.91];
    let computed = [
        (0.165742, -0.1329, 0.7226),
        (0.289764, 0.0188, 0.7611),
        (0.714841, 0.3425, 0.9459),
        (0.442797, -0.8844, 0.9124),
        (0.620051, 0.0711, 0.9272),
        (0.909316, 0.6757, 0.9859),
    ];
    let icc = all_icc(&shrout_fleiss());
    for ((icc, printed), (value, low, high)) in icc.iter().zip(published).zip(computed) {
        agrees(icc.value, printed, 2);
        agrees(icc.value, value, 6);
        let interval = icc.interval.expect("an interval");
        agrees(interval.low, low, 4);
        agrees(interval.high, high, 4);
    }
}

/// The three standard errors of one table differ (computed), which is why each is named.
#[test]
fn mean_squares_and_standard_errors_by_definition() {
    let reliability = reliability(&shrout_fleiss());
    let squares = reliability.mean_squares;
    assert_eq!((squares.n, squares.k), (6, 4));
    agrees(squares.rows, 11.24167, 5);
    agrees(squares.raters, 32.48611, 5);
    agrees(squares.error, 1.01944, 5);
    agrees(squares.within, 6.26389, 5);
    agrees(squares.sd, 2.71035, 5);
    let sem = reliability.sem;
    agrees(sem.consistency.value, 1.00968, 5);
    agrees(sem.agreement.value, 2.50278, 5);
    agrees(sem.within_subject.value, 6.26389f64.sqrt(), 4);
    for (by_icc, value) in sem.by_icc.iter().zip([2.4756, 2.2842, 1.4473]) {
        agrees(by_icc.expect("a standard error").value, value, 4);
    }
    // 15 degrees of freedom, chi-square points 6.262 and 27.488 (from a table, memory).
    let interval = sem.consistency.interval.expect("an interval");
    agrees(interval.low, 1.00968 * (15f64 / 27.488).sqrt(), 3);
    agrees(interval.high, 1.00968 * (15f64 / 6.262).sqrt(), 3);
    assert!(sem.agreement.interval.is_none());
}

/// Weir 2005, J Strength Cond Res 19:231–240 (read): MDC95 = 1.96·√2·SEM. Rasmussen 2020 give an
/// SEM of 7.5° with an MDC of 20.8°, Dougherty 2015 an SEM of 12.3, hence 34.094 (computed).
#[test]
fn the_minimal_detectable_change_follows_from_its_own_standard_error() {
    // Two raters whose difference has SD s have an SEM of s/√2.
    for (sem, mdc) in [(7.5, 20.789), (12.3, 34.094), (1.5811, 4.3827)] {
        let values = [100.0, 120.0, 140.0];
        let apart = [sem * 2f64.sqrt(), 0.0, -sem * 2f64.sqrt()];
        let other: Vec<f64> = values.iter().zip(apart).map(|(v, d)| v + d).collect();
        let group = of_columns(&[values.to_vec(), other]);
        let sems = reliability(&group).sem;
        agrees(sems.consistency.value, sem, 4);
        agrees(sems.consistency.mdc95(), mdc, 3);
        agrees(sems.agreement.mdc95() / sems.agreement.value, 2.7719, 4);
    }
}

// Bland & Altman 1986, Lancet 1:307–310: peak flow with two meters, twice each. The data are read
// in the listing of an R package; figures are computed from them unless marked.

const WRIGHT: [[f64; 17]; 2] = [
    [
        494.0, 395.0, 516.0, 434.0, 476.0, 557.0, 413.0, 442.0, 650.0, 433.0, 417.0, 656.0, 267.0,
        478.0, 178.0, 423.0, 427.0,
    ],
    [
        490.0, 397.0, 512.0, 401.0, 470.0, 611.0, 415.0, 431.0, 638.0, 429.0, 420.0, 633.0, 275.0,
        492.0, 165.0, 372.0, 421.0,
    ],
];
const MINI: [[f64; 17]; 2] = [
    [
        512.0, 430.0, 520.0, 428.0, 500.0, 600.0, 364.0, 380.0, 658.0, 445.0, 432.0, 626.0, 260.0,
        477.0, 259.0, 350.0, 451.0,
    ],
    [
        525.0, 415.0, 508.0, 444.0, 500.0, 625.0, 460.0, 390.0, 642.0, 432.0, 420.0, 605.0, 227.0,
        467.0, 268.0, 370.0, 443.0,
    ],
];

#[test]
fn bias_and_limits_of_two_peak_flow_meters() {
    let group = of_columns(&[MINI[0].to_vec(), WRIGHT[0].to_vec()]);
    let differences = group.pairs[0].differences.expect("differences");
    assert_eq!(differences.n, 17);
    agrees(differences.mean, -2.11765, 5);
    // The paper prints −2.1 and 38.8 (memory).
    agrees(differences.mean, -2.1, 1);
    let spread = spread(&group);
    agrees(spread.sd, 38.76513, 5);
    agrees(spread.sd, 38.8, 1);
    agrees(spread.bias.low, -22.05, 2);
    agrees(spread.bias.high, 17.81, 2);
    // The paper's limits are bias ± 2 SD, and its intervals lie around those.
    let wider = 0.04 * spread.sd;
    let limit = |limit: Bounded, shift: f64, value, low, high| {
        agrees(limit.value, value, 3);
        agrees(limit.interval.low + shift, low, 2);
        agrees(limit.interval.high + shift, high, 2);
    };
    limit(spread.lower_limit, -wider, -78.097, -114.17, -45.13);
    limit(spread.upper_limit, wider, 73.862, 40.89, 109.93);
    agrees(spread.lower_limit.value - wider, -79.648, 3);
    agrees(spread.upper_limit.value + wider, 75.413, 3);
}

#[test]
fn repeats_of_one_meter_and_the_rule_for_negative_components() {
    for (repeats, rms, within, coefficient, agreement, consistency) in [
        (WRIGHT, 21.647, 15.3067, 42.428, 0.98316, 0.98305),
        (MINI, 28.158, 19.9108, 55.190, 0.96847, 0.96690),
    ] {
        let group = of_columns(&repeats.map(|repeat| repeat.to_vec()));
        let differences = group.pairs[0].differences.expect("differences");
        agrees(differences.root_mean_square, rms, 3);
        let reliability = reliability(&group);
        agrees(reliability.sem.within_subject.value, within, 4);
        agrees(reliability.sem.within_subject.mdc95(), coefficient, 3);
        // Raters differ by less than chance: the correlations are as computed, form 2 above
        // form 3, and the raters' component of the standard error is zero, not negative.
        let squares = reliability.mean_squares;
        assert!(squares.raters < squares.error);
        let icc = all_icc(&group);
        agrees(icc[1].value, agreement, 5);
        agrees(icc[2].value, consistency, 5);
        assert_eq!(
            reliability.sem.agreement.value,
            reliability.sem.consistency.value
        );
        agrees(reliability.sem.consistency.value, squares.error.sqrt(), 9);
    }
}

// Another program.

#[test]
fn correlations_and_limits_are_those_of_pingouin() {
    let text = std::fs::read_to_string(root().join("fixtures/agreement/pingouin.json"))
        .expect("the reference");
    let reference: Value = serde_json::from_str(&text).expect("JSON");
    let cases = reference["cases"].as_array().expect("cases");
    let mut raters = std::collections::BTreeSet::new();
    for case in cases {
        let rows: Vec<Vec<f64>> =
            serde_json::from_value(case["ratings"].clone()).expect("rows of numbers");
        raters.insert(rows[0].len());
        let group = of_rows(&rows);
        for (name, icc) in ICC_NAMES.iter().zip(all_icc(&group)) {
            let expected = &case["icc"][name];
            same(icc.value, &expected["value"]);
            let interval = icc.interval.expect("an interval");
            same(interval.low, &expected["low"]);
            same(interval.high, &expected["high"]);
        }
        let expected = &case["differences"];
        let (differences, spread) = (
            group.pairs[0].differences.expect("differences"),
            spread(&group),
        );
        same(differences.mean, &expected["bias"]["value"]);
        same(spread.bias.low, &expected["bias"]["low"]);
        same(spread.bias.high, &expected["bias"]["high"]);
        same(spread.sd, &expected["sd"]);
        for (limit, name) in [(spread.lower_limit, "lower"), (spread.upper_limit, "upper")] {
            same(limit.value, &expected["limits"][name]["value"]);
            same(limit.interval.low, &expected["limits"][name]["low"]);
            same(limit.interval.high, &expected["limits"][name]["high"]);
        }
    }
    assert_eq!(raters.into_iter().collect::<Vec<_>>(), [2, 3, 4, 5]);
}

/// Both programs compute in double precision; pingouin's least squares lose some digits.
fn same(ours: f64, theirs: &Value) {
    let theirs = theirs.as_f64().expect("a number");
    assert!(
        (ours - theirs).abs() <= 1e-7 * theirs.abs().max(1.0),
        "{ours} is not {theirs}"
    );
}

// What is joined, and what is left out.

#[test]
fn only_rows_with_a_value_from_everyone_count_and_the_rest_is_counted() {
    let row = |photo: &str, side: &str, value: Option<f64>| Score {
        value,
        unit: "deg".to_owned(),
        person: photo.to_owned(),
        ..score(photo, "shoulder_flexion", side, 0.0)
    };
    let first = vec![
        row("a.jpg", "left", Some(100.0)),
        row("a.jpg", "right", Some(110.0)),
        row("b.jpg", "left", Some(120.0)),
        row("b.jpg", "right", None),
        row("only-here.jpg", "left", Some(130.0)),
        // A photo from which nothing was read.
        row("empty.jpg", "", None),
    ];
    let mut first = first;
    first[5].measure = String::new();
    let second = vec![
        row("b.jpg", "left", Some(123.0)),
        row("b.jpg", "right", Some(90.0)),
        row("a.jpg", "right", Some(111.0)),
        // No number is no value, whatever a table format allows.
        row("a.jpg", "left", Some(f64::NAN)),
    ];
    let agreement = agreed(&[first, second]);
    assert_eq!(agreement.complete, 2);
    let tally = agreement.raters[0];
    assert_eq!(
        (
            tally.rows,
            tally.without_measure,
            tally.without_value,
            tally.not_in_all
        ),
        (6, 1, 1, 1)
    );
    assert_eq!(agreement.raters[1].without_value, 1);
    let sides: Vec<Sides> = agreement.groups.iter().map(|group| group.sides).collect();
    assert_eq!(
        sides,
        [Sides::One(Side::Left), Sides::One(Side::Right), Sides::Both]
    );
    let counts: Vec<[usize; 3]> = agreement
        .groups
        .iter()
        .map(|group| [group.rows.len(), group.unmeasured, group.not_in_all])
        .collect();
    assert_eq!(counts, [[1, 1, 1], [1, 1, 0], [2, 2, 1]]);
    let both = &agreement.groups[2];
    assert_eq!(both.persons, Some(2));
    agrees(both.pairs[0].differences.expect("differences").mean, 2.0, 9);
    assert!(!agreement.is_complete());
}

#[test]
fn units_and_what_an_asymmetry_compares_never_mix() {
    let row = |photo: &str, measure: &str, unit: &str, value: f64| Score {
        unit: unit.to_owned(),
        ..score(photo, measure, "", value)
    };
    let table = |shift: f64| {
        let mut rows = vec![
            row("a.jpg", "arm_to_ear", "cm", 5.0 + shift),
            row("a.jpg", "arm_to_ear", "%", 20.0 + shift),
            row("l.jpg + r.jpg", "reach_asymmetry", "deg", -20.0 + shift),
            row("front.jpg", "reach_asymmetry", "deg", -10.0 + shift),
            row("mine.jpg", "grip", "kg", 30.0 + shift),
        ];
        rows[3].view = "front".to_owned();
        rows
    };
    let agreement = agreed(&[table(0.0), table(1.0)]);
    let names: Vec<(&str, &str)> = agreement
        .groups
        .iter()
        .map(|group| (group.quantity.words(), group.quantity.unit()))
        .collect();
    assert_eq!(
        names,
        [
            ("Arm to ear", "cm"),
            ("Arm to ear, % of upper-arm length", "%"),
            ("Reach asymmetry (flexion)", "deg"),
            ("Reach asymmetry (abduction)", "deg"),
            ("grip", "kg"),
        ]
    );
    assert!(agreement.groups.iter().all(|group| group.rows.len() == 1));
}

#[test]
fn a_missing_unit_is_the_catalogues_and_other_units_are_told() {
    let row = |measure: &str, unit: &str| Score {
        unit: unit.to_owned(),
        ..score("a.jpg", measure, "left", 1.0)
    };
    let agreement = agreed(&[
        vec![row("shoulder_flexion", "deg"), row("grip", "kg")],
        vec![row("shoulder_flexion", ""), row("grip", "N")],
    ]);
    assert_eq!(agreement.complete, 1);
    assert_eq!(
        agreement.unit_clashes,
        [("grip".to_owned(), vec!["N".to_owned(), "kg".to_owned()])]
    );
}

#[test]
fn what_cannot_be_joined_is_an_error_that_names_the_row() {
    let of = |raters: &[&[Score]]| agreement(raters, false).expect_err("an error");
    let table = rater(&[1.0, 2.0]);
    let twice = [table.clone(), table.clone()].concat();
    let error = of(&[&table, &twice]);
    assert!(matches!(
        error,
        AgreeError::Duplicate {
            rater: 1,
            first: 1,
            again: 3,
            ..
        }
    ));
    assert_eq!(
        error.to_string(),
        "row 3 measures again what row 1 did: photo 00000.jpg, flow"
    );
    let wrong = [score("a.jpg", "flow", "L", 1.0)];
    assert_eq!(
        of(&[&table, &wrong]).to_string(),
        "row 1: side is \"L\", expected left, right or nothing"
    );
    let other = [score("elsewhere/00000.jpg", "flow", "", 1.0)];
    let AgreeError::NothingInCommon { examples } = of(&[&table, &other, &[]]) else {
        panic!("another error");
    };
    let photos: Vec<Option<String>> = examples
        .into_iter()
        .map(|example| Some(example?.photo))
        .collect();
    assert_eq!(
        photos,
        [
            Some("00000.jpg".to_owned()),
            Some("elsewhere/00000.jpg".to_owned()),
            None
        ]
    );
}

#[test]
fn three_raters_have_three_pairs_and_a_reference_only_its_own() {
    let raters = [
        rater(&[1.0, 2.0, 4.0]),
        rater(&[1.5, 2.0, 5.0]),
        rater(&[1.0, 3.0, 4.5]),
    ];
    let raters: Vec<&[Score]> = raters.iter().map(Vec::as_slice).collect();
    let pairs = |reference| -> Vec<(usize, usize)> {
        let agreement = agreement(&raters, reference).expect("comparable raters");
        let pairs = agreement.groups[0].pairs.iter();
        pairs.map(|pair| (pair.first, pair.second)).collect()
    };
    assert_eq!(pairs(false), [(0, 1), (0, 2), (1, 2)]);
    assert_eq!(pairs(true), [(0, 1), (0, 2)]);
}

// What has no value says why.

#[test]
fn degenerate_tables_have_reasons_and_no_number_that_is_none() {
    let one = of_columns(&[vec![3.0], vec![4.0]]);
    agrees(one.pairs[0].differences.expect("differences").mean, 1.0, 9);
    assert_eq!(
        one.pairs[0].differences.expect("differences").spread,
        Err(Undefined::OneRow)
    );
    assert_eq!(one.reliability, Err(Undefined::OneRow));

    let constant = of_columns(&[vec![5.0; 4], vec![5.0; 4]]);
    assert_eq!(spread(&constant).sd, 0.0);
    for icc in reliability(&constant).icc.single {
        assert_eq!(icc, Err(Undefined::NoSpread));
    }

    // A constant difference is perfect consistency, and no perfect agreement.
    let shifted = of_columns(&[vec![1.1, 2.2, 3.3], vec![2.4, 3.5, 4.6]]);
    let icc = reliability(&shifted).icc;
    let consistency = icc.single[2].expect("a correlation");
    assert_eq!(consistency.value, 1.0);
    assert_eq!(consistency.interval, Err(Undefined::NoError));
    assert!(icc.single[1].expect("a correlation").value < 1.0);
    assert_eq!(reliability(&shifted).sem.consistency.value, 0.0);

    // Rows whose means are the same tell nothing about a mean's reliability.
    let crossed = of_columns(&[vec![1.0, 2.0], vec![2.0, 1.0]]);
    let icc = reliability(&crossed).icc;
    assert_eq!(icc.single[0].expect("a correlation").value, -1.0);
    assert_eq!(icc.mean[0], Err(Undefined::NoSpreadBetween));
    assert_eq!(icc.single[1], Err(Undefined::NoVariance));
    assert!(!crossed.undefined().is_empty());

    // A correlation so far below zero leaves the second form's interval next to no freedom.
    let opposed = of_columns(&[
        vec![146.7073616769579, 123.4136818104486, 50.0],
        vec![117.38833466183809, 161.56253721699048, 176.75900784956033],
    ]);
    let agreement_form = reliability(&opposed).icc.single[1].expect("a correlation");
    assert!(agreement_form.value < -0.7);
    assert_eq!(agreement_form.interval, Err(Undefined::NoFreedom));

    let none = vec![Score {
        value: None,
        ..score("00000.jpg", "flow", "", 0.0)
    }];
    let agreement = agreed(&[rater(&[1.0]), none]);
    assert_eq!(agreement.groups[0].reliability, Err(Undefined::NoRow));
    assert_eq!(agreement.groups[0].unmeasured, 1);
}

// Stated errors.

/// Numbers of a normal distribution from a fixed seed: sums of twelve uniform ones would have no
/// tails, so Box and Muller's way.
struct Normal(u64);

impl Normal {
    fn uniform(&mut self) -> f64 {
        // Knuth's multiplier and increment.
        self.0 = self
            .0
            .wrapping_mul(6364136223846793005)
            .wrapping_add(1442695040888963407);
        ((self.0 >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }

    fn next(&mut self) -> f64 {
        let (radius, turn) = ((-2.0 * self.uniform().ln()).sqrt(), self.uniform());
        radius * (std::f64::consts::TAU * turn).cos()
    }
}

/// True values, and ones with normal errors of a sigma that differs from row to row.
fn with_errors(seed: u64, n: usize, states: impl Fn(usize) -> bool) -> Vec<Score> {
    let mut normal = Normal(seed);
    let mut rows = rater(&truths(n));
    for (index, row) in rows.iter_mut().enumerate() {
        let sigma = 1.0 + (index % 5) as f64;
        row.value = row.value.map(|value| value + sigma * normal.next());
        row.sigma = states(index).then_some(sigma);
    }
    rows
}

fn truths(n: usize) -> Vec<f64> {
    (0..n).map(|index| 90.0 + (index % 60) as f64).collect()
}

#[test]
fn right_sigmas_cover_68_and_95_percent_against_the_truth_and_each_other() {
    let n = 4000;
    let first = with_errors(1, n, |_| true);
    let second = with_errors(2, n, |index| index % 4 != 0);
    let cover = |raters: &[Vec<Score>]| {
        let pair = agreed(raters).groups[0].pairs[0].clone();
        pair.coverage.expect("a coverage")
    };
    let against_truth = cover(&[rater(&truths(n)), first.clone()]);
    assert_eq!((against_truth.n, against_truth.without_sigma), (n, 0));
    // Rows of a rater that states sigmas elsewhere are not taken as the truth.
    let against_each_other = cover(&[first, second]);
    assert_eq!(
        (against_each_other.n, against_each_other.without_sigma),
        (n * 3 / 4, n / 4)
    );
    for coverage in [against_truth, against_each_other] {
        for (share, expected) in [(coverage.within_1, 0.6827), (coverage.within_1_96, 0.95)] {
            assert!(
                share.interval.low < expected && expected < share.interval.high,
                "{share:?}"
            );
            assert!(share.interval.high - share.interval.low < 0.04);
        }
    }
}

#[test]
fn no_sigma_no_coverage() {
    let group = of_columns(&[vec![1.0, 2.0], vec![1.5, 2.5]]);
    assert_eq!(group.pairs[0].coverage, None);
}

// What must hold for any raters.

fn columns() -> impl Strategy<Value = Vec<Vec<f64>>> {
    (2usize..5, 3usize..20).prop_flat_map(|(raters, rows)| {
        let column = prop::collection::vec(50.0..200.0f64, rows);
        prop::collection::vec(column, raters)
    })
}

fn near(a: f64, b: f64) -> bool {
    (a - b).abs() <= 1e-8 * a.abs().max(b.abs()).max(1.0)
}

proptest! {
    #[test]
    fn a_shifted_rater_changes_the_bias_only(columns in columns(), shift in -30.0..30.0f64) {
        let mut shifted = columns.clone();
        let last = shifted.len() - 1;
        for value in &mut shifted[last] {
            *value += shift;
        }
        let (before, after) = (of_columns(&columns), of_columns(&shifted));
        // The pair of the first rater and the shifted one.
        let pair = |group: &Group| group.pairs[last - 1].differences.expect("differences");
        prop_assert!(near(pair(&after).mean, pair(&before).mean + shift));
        let sd = |group: &Group| pair(group).spread.expect("a spread").sd;
        prop_assert!(near(sd(&before), sd(&after)));
        let (before, after) = (reliability(&before), reliability(&after));
        let consistency = |of: &Reliability| of.icc.single[2].expect("a correlation").value;
        prop_assert!(near(consistency(&before), consistency(&after)));
        prop_assert!(near(before.sem.consistency.value, after.sem.consistency.value));
    }

    #[test]
    fn swapped_raters_flip_the_bias_and_mirror_the_limits(columns in columns()) {
        let pair = [columns[0].clone(), columns[1].clone()];
        let swapped = [columns[1].clone(), columns[0].clone()];
        let (a, b) = (of_columns(&pair), of_columns(&swapped));
        let mean = |group: &Group| group.pairs[0].differences.expect("differences").mean;
        prop_assert!(near(mean(&a), -mean(&b)));
        prop_assert!(near(spread(&a).lower_limit.value, -spread(&b).upper_limit.value));
        for (a, b) in icc_where_defined(&a).iter().zip(icc_where_defined(&b)) {
            prop_assert!(near(a.value, b.value));
        }
    }

    #[test]
    fn another_unit_scales_errors_and_leaves_correlations(
        columns in columns(),
        factor in 0.01..100.0f64,
    ) {
        let scaled: Vec<Vec<f64>> = columns
            .iter()
            .map(|column| column.iter().map(|value| value * factor).collect())
            .collect();
        let (a, b) = (of_columns(&columns), of_columns(&scaled));
        for (a, b) in icc_where_defined(&a).iter().zip(icc_where_defined(&b)) {
            prop_assert!(near(a.value, b.value));
        }
        let (a, b) = (reliability(&a).sem, reliability(&b).sem);
        prop_assert!(near(a.consistency.value * factor, b.consistency.value));
        prop_assert!(near(a.agreement.value * factor, b.agreement.value));
        prop_assert!(near(a.within_subject.mdc95() * factor, b.within_subject.mdc95()));
    }

    #[test]
    fn agreement_never_errs_less_than_consistency_and_nothing_is_infinite(columns in columns()) {
        let group = of_columns(&columns);
        let sem = reliability(&group).sem;
        prop_assert!(sem.agreement.value >= sem.consistency.value);
        for icc in icc_where_defined(&group) {
            prop_assert!(icc.value.is_finite() && icc.value <= 1.0);
            if let Ok(interval) = icc.interval {
                prop_assert!(interval.low.is_finite() && interval.high.is_finite());
                prop_assert!(interval.low <= icc.value + 1e-9 && icc.value <= interval.high + 1e-9);
            }
        }
    }

    #[test]
    fn the_order_of_rows_does_not_matter(columns in columns(), seed in any::<u64>()) {
        let raters: Vec<Vec<Score>> = columns.iter().map(|values| rater(values)).collect();
        let mut normal = Normal(seed);
        let mut shuffled = raters.clone();
        for table in &mut shuffled {
            for last in (1..table.len()).rev() {
                table.swap(last, (normal.uniform() * (last + 1) as f64) as usize);
            }
        }
        prop_assert_eq!(agreed(&raters), agreed(&shuffled));
    }
}

fn icc_where_defined(group: &Group) -> Vec<Correlation> {
    let icc = reliability(group).icc;
    icc.single.into_iter().chain(icc.mean).flatten().collect()
}
