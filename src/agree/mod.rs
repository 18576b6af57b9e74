//! How well two or more raters, cameras or days agree on the same photos.
//!
//! Rows are joined on photo, measure, side and unit, and every statistic is of the rows that have
//! a value from every rater (complete cases); what is left out is counted. Rows count as
//! independent: with several rows of one person, or both sides pooled, intervals are too narrow.

mod coverage;
mod difference;
mod interval;
mod join;
mod reliability;

use std::collections::{BTreeMap, BTreeSet};

use crate::body::Side;
use crate::measure::Measure;
use crate::scores::Score;

pub use coverage::Coverage;
pub use difference::{Differences, Spread};
pub use interval::{Bounded, Interval, Undefined};
pub use join::{AgreeError, Key};
pub use reliability::{Correlation, Correlations, Icc, MeanSquares, Reliability, Sem, Sems};

use join::{Joined, Row};

/// What is compared: a measure of the catalogue, or one that others brought.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Quantity {
    Known(Measure),
    Other { id: String, unit: String },
}

impl Quantity {
    pub fn id(&self) -> &str {
        match self {
            Quantity::Known(measure) => measure.id(),
            Quantity::Other { id, .. } => id,
        }
    }

    pub fn unit(&self) -> &str {
        match self {
            Quantity::Known(measure) => measure.unit().name(),
            Quantity::Other { unit, .. } => unit,
        }
    }

    /// The plain name.
    pub fn words(&self) -> &str {
        match self {
            Quantity::Known(measure) => measure.words(),
            Quantity::Other { id, .. } => id,
        }
    }
}

/// Which rows of a quantity are taken together.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Sides {
    /// The quantity has no side.
    Without,
    One(Side),
    /// All rows, where the quantity was measured on both sides.
    Both,
}

impl Sides {
    /// As files say it: empty, left, right or both.
    pub const fn name(self) -> &'static str {
        match self {
            Sides::Without => "",
            Sides::One(side) => side.name(),
            Sides::Both => "both",
        }
    }
}

/// What became of the rows of one rater.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    pub rows: usize,
    /// Rows that name no measure: photos from which nothing was read.
    pub without_measure: usize,
    /// Rows of a measure that have no value.
    pub without_value: usize,
    /// Rows, with or without a value, that another rater lacks.
    pub not_in_all: usize,
    /// Whether any row states its sigma. Against one that does, a rater that states none is taken
    /// as the truth.
    pub states_sigma: bool,
}

/// One value from every rater.
#[derive(Clone, Debug, PartialEq)]
pub struct Complete {
    pub side: Option<Side>,
    /// In the order of the raters.
    pub values: Vec<f64>,
}

/// The second rater minus the first.
#[derive(Clone, Debug, PartialEq)]
pub struct Pair {
    pub first: usize,
    pub second: usize,
    pub differences: Result<Differences, Undefined>,
    /// `None` where no sigma is stated.
    pub coverage: Option<Coverage>,
}

/// Agreement on one quantity.
#[derive(Clone, Debug, PartialEq)]
pub struct Group {
    pub quantity: Quantity,
    pub sides: Sides,
    /// The rows that all statistics are of.
    pub rows: Vec<Complete>,
    /// Persons among these rows; `None` when one of them names no person.
    pub persons: Option<usize>,
    /// Rows that all raters have, without a value from one of them at least.
    pub unmeasured: usize,
    /// Rows that some rater lacks.
    pub not_in_all: usize,
    pub pairs: Vec<Pair>,
    pub reliability: Result<Reliability, Undefined>,
}

/// Agreement of all raters.
#[derive(Clone, Debug, PartialEq)]
pub struct Agreement {
    /// Whether the first rater is the reference that the others are held against.
    pub reference: bool,
    pub raters: Vec<Tally>,
    /// Rows with a value from every rater.
    pub complete: usize,
    /// Persons among these rows; `None` when one of them names no person.
    pub persons: Option<usize>,
    /// In the catalogue's order, others after; left, right, both.
    pub groups: Vec<Group>,
    /// Measures of which raters have the same photo and side in different units, with the units.
    pub unit_clashes: Vec<(String, Vec<String>)>,
}

impl Agreement {
    /// Whether every statistic that was asked for has a value.
    pub fn is_complete(&self) -> bool {
        self.groups.iter().all(|group| group.undefined().is_empty())
    }
}

impl Group {
    /// What has no value in this group and why, in the order of the statistics.
    pub fn undefined(&self) -> Vec<(&'static str, Undefined)> {
        let mut trouble = Vec::new();
        for pair in &self.pairs {
            let spread = pair.differences.and_then(|differences| differences.spread);
            trouble.extend(spread.err().map(|why| ("limits of agreement", why)));
        }
        match &self.reliability {
            Err(why) => trouble.push(("ICC, SEM and MDC95", *why)),
            Ok(reliability) => {
                let Correlations { single, mean } = &reliability.icc;
                let all = single.iter().chain(mean).zip(ICC_NAMES);
                for (icc, name) in all {
                    trouble.extend(icc.err().map(|why| (name, why)));
                }
            }
        }
        trouble.dedup();
        trouble
    }
}

/// The six forms after Shrout & Fleiss: single raters, then the mean of all.
pub const ICC_NAMES: [&str; 6] = [
    "ICC(1,1)", "ICC(2,1)", "ICC(3,1)", "ICC(1,k)", "ICC(2,k)", "ICC(3,k)",
];

/// Holds two or more raters against each other, or against the first one as the reference.
pub fn agreement(raters: &[&[Score]], reference: bool) -> Result<Agreement, AgreeError> {
    let joined = join::join(raters)?;
    let groups = groups(&joined, raters.len(), reference);
    let complete = || joined.rows.iter().filter(|row| row.values.is_some());
    Ok(Agreement {
        reference,
        complete: complete().count(),
        persons: persons(complete().map(|row| row.person)),
        raters: joined.tallies,
        groups,
        unit_clashes: joined.unit_clashes,
    })
}

fn groups(joined: &Joined, raters: usize, reference: bool) -> Vec<Group> {
    let mut quantities: BTreeMap<&Quantity, BTreeMap<Option<Side>, Vec<&Row>>> = BTreeMap::new();
    for row in &joined.rows {
        let sides = quantities.entry(&row.quantity).or_default();
        sides.entry(row.side).or_default().push(row);
    }
    let states: Vec<bool> = joined.tallies.iter().map(|t| t.states_sigma).collect();
    let group = |quantity: &Quantity, sides, rows: &[&Row]| {
        group(quantity.clone(), sides, rows, raters, &states, reference)
    };
    let mut groups = Vec::new();
    for (quantity, by_side) in quantities {
        for (side, rows) in &by_side {
            let sides = side.map_or(Sides::Without, Sides::One);
            groups.push(group(quantity, sides, rows));
        }
        if by_side.len() > 1 {
            let rows: Vec<&Row> = by_side.into_values().flatten().collect();
            groups.push(group(quantity, Sides::Both, &rows));
        }
    }
    groups
}

fn group(
    quantity: Quantity,
    sides: Sides,
    rows: &[&Row],
    raters: usize,
    states_sigma: &[bool],
    reference: bool,
) -> Group {
    let complete: Vec<(&Row, &Vec<f64>)> = rows
        .iter()
        .filter_map(|row| Some((*row, row.values.as_ref()?)))
        .collect();
    let values: Vec<Vec<f64>> = complete
        .iter()
        .map(|(_, values)| (*values).clone())
        .collect();
    let firsts = if reference { 1 } else { raters };
    let pairs = (0..firsts)
        .flat_map(|first| (first + 1..raters).map(move |second| (first, second)))
        .map(|(first, second)| {
            let rows: Vec<(f64, Option<f64>)> = complete
                .iter()
                .map(|(row, values)| {
                    let sigma = combined(row, states_sigma, first, second);
                    (values[second] - values[first], sigma)
                })
                .collect();
            let differences: Vec<f64> = rows.iter().map(|(difference, _)| *difference).collect();
            Pair {
                first,
                second,
                differences: Differences::of(&differences).ok_or(Undefined::NoRow),
                coverage: Coverage::of(&rows),
            }
        })
        .collect();
    Group {
        quantity,
        sides,
        persons: persons(complete.iter().map(|(row, _)| row.person)),
        unmeasured: rows
            .iter()
            .filter(|row| row.in_all && row.values.is_none())
            .count(),
        not_in_all: rows.iter().filter(|row| !row.in_all).count(),
        pairs,
        reliability: Reliability::of(&values),
        rows: complete
            .iter()
            .map(|(row, values)| Complete {
                side: row.side,
                values: (*values).clone(),
            })
            .collect(),
    }
}

/// The sigma of a difference: both in quadrature; of one rater alone where the other states none
/// anywhere; `None` where one that states sigmas elsewhere doesn't here.
fn combined(row: &Row, states_sigma: &[bool], first: usize, second: usize) -> Option<f64> {
    let stated = |rater: usize| match states_sigma[rater] {
        true => row.sigmas[rater],
        false => Some(0.0),
    };
    Some(stated(first)?.hypot(stated(second)?))
}

fn persons<'a>(named: impl Iterator<Item = &'a str>) -> Option<usize> {
    let named: Vec<&str> = named.collect();
    if named.is_empty() || named.contains(&"") {
        return None;
    }
    let distinct: BTreeSet<&str> = named.into_iter().collect();
    Some(distinct.len())
}
