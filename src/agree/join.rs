//! Rows of several raters brought together by what they measured.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

use thiserror::Error;

use crate::body::{Side, View};
use crate::measure::Measure;
use crate::scores::Score;

use super::{Quantity, Tally};

/// What a row is known by.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Key {
    pub photo: String,
    pub measure: String,
    pub side: String,
    pub unit: String,
}

impl fmt::Display for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "photo {}, {}", self.photo, self.measure)?;
        for part in [&self.side, &self.unit] {
            if !part.is_empty() {
                write!(f, ", {part}")?;
            }
        }
        Ok(())
    }
}

/// Why raters can't be compared.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum AgreeError {
    #[error("row {again} measures again what row {first} did: {key}")]
    Duplicate {
        rater: usize,
        key: Key,
        /// Counted from 1, without the header.
        first: usize,
        again: usize,
    },
    #[error("row {row}: side is {side:?}, expected left, right or nothing")]
    Side {
        rater: usize,
        row: usize,
        side: String,
    },
    #[error("no row is in all files")]
    NothingInCommon {
        /// The first row of each rater, where there is one.
        examples: Vec<Option<Key>>,
    },
}

/// One key, as all raters have it.
pub(super) struct Row<'a> {
    pub quantity: Quantity,
    pub side: Option<Side>,
    pub person: &'a str,
    pub in_all: bool,
    /// Of every rater; `None` unless all have one.
    pub values: Option<Vec<f64>>,
    pub sigmas: Vec<Option<f64>>,
}

pub(super) struct Joined<'a> {
    pub rows: Vec<Row<'a>>,
    pub tallies: Vec<Tally>,
    pub unit_clashes: Vec<(String, Vec<String>)>,
}

pub(super) fn join<'a>(raters: &[&'a [Score]]) -> Result<Joined<'a>, AgreeError> {
    let mut tallies = vec![Tally::default(); raters.len()];
    let mut keys: BTreeMap<Key, Vec<Option<usize>>> = BTreeMap::new();
    for (rater, scores) in raters.iter().enumerate() {
        for (index, score) in scores.iter().enumerate() {
            tally(&mut tallies[rater], score);
            if score.measure.is_empty() {
                continue;
            }
            if side(score).is_none() {
                return Err(AgreeError::Side {
                    rater,
                    row: index + 1,
                    side: score.side.clone(),
                });
            }
            let key = key(score);
            let rows = keys
                .entry(key.clone())
                .or_insert_with(|| vec![None; raters.len()]);
            if let Some(first) = rows[rater].replace(index) {
                return Err(AgreeError::Duplicate {
                    rater,
                    key,
                    first: first + 1,
                    again: index + 1,
                });
            }
        }
    }
    if !keys.values().any(|rows| rows.iter().all(Option::is_some)) {
        let examples = raters
            .iter()
            .map(|scores| scores.iter().find(|s| !s.measure.is_empty()).map(key))
            .collect();
        return Err(AgreeError::NothingInCommon { examples });
    }
    for rows in keys.values().filter(|rows| rows.contains(&None)) {
        for (tally, row) in tallies.iter_mut().zip(rows) {
            tally.not_in_all += usize::from(row.is_some());
        }
    }
    let unit_clashes = unit_clashes(&keys);
    let rows = keys
        .iter()
        .map(|(key, rows)| {
            let scores: Vec<Option<&Score>> = rows
                .iter()
                .zip(raters)
                .map(|(row, scores)| row.map(|row| &scores[row]))
                .collect();
            row(key, &scores)
        })
        .collect();
    Ok(Joined {
        rows,
        tallies,
        unit_clashes,
    })
}

fn tally(tally: &mut Tally, score: &Score) {
    tally.rows += 1;
    if score.measure.is_empty() {
        tally.without_measure += 1;
    } else if value(score).is_none() {
        tally.without_value += 1;
    }
    tally.states_sigma |= sigma(score).is_some();
}

fn row<'a>(key: &Key, scores: &[Option<&'a Score>]) -> Row<'a> {
    let present: Vec<&Score> = scores.iter().copied().flatten().collect();
    Row {
        quantity: quantity(key, &present),
        side: present.first().and_then(|score| side(score)).flatten(),
        person: present
            .iter()
            .map(|score| score.person.as_str())
            .find(|person| !person.is_empty())
            .unwrap_or_default(),
        in_all: present.len() == scores.len(),
        values: scores.iter().map(|score| value((*score)?)).collect(),
        sigmas: scores.iter().map(|score| sigma((*score)?)).collect(),
    }
}

/// What is no number is no value; some table formats have room for it.
fn value(score: &Score) -> Option<f64> {
    score.value.filter(|value| value.is_finite())
}

fn sigma(score: &Score) -> Option<f64> {
    score
        .sigma
        .filter(|sigma| sigma.is_finite() && *sigma >= 0.0)
}

/// The side that a row names, or none; `None` when that is no side.
fn side(score: &Score) -> Option<Option<Side>> {
    if score.side.is_empty() {
        return Some(None);
    }
    Side::from_name(&score.side).map(Some)
}

/// A row without a unit has the catalogue's, where the measure comes in one only.
fn key(score: &Score) -> Key {
    let mut units: BTreeSet<&str> = BTreeSet::from([score.unit.as_str()]);
    if score.unit.is_empty() {
        let known = Measure::ALL.into_iter().filter(|m| m.id() == score.measure);
        units = known.map(|measure| measure.unit().name()).collect();
    }
    Key {
        photo: score.photo.clone(),
        measure: score.measure.clone(),
        side: score.side.clone(),
        unit: match units.len() {
            1 => units.into_iter().collect(),
            _ => String::new(),
        },
    }
}

/// Asymmetries of flexion and of abduction share an id; photo and view tell them apart. The two
/// sides of a flexion are seen in two photos, whose names are joined by a plus.
fn quantity(key: &Key, scores: &[&Score]) -> Quantity {
    let view = |view: View| scores.iter().any(|score| score.view == view.name());
    let compared = if key.photo.contains(" + ") || view(View::Side(Side::Left)) {
        Some(Measure::ShoulderFlexion)
    } else if view(View::Front) || view(View::Back) {
        Some(Measure::ShoulderAbduction)
    } else {
        None
    };
    let measure = Measure::ALL.into_iter().find(|measure| {
        measure.id() == key.measure
            && measure.unit().name() == key.unit
            && (measure.of().is_none() || measure.of() == compared)
    });
    measure.map_or_else(
        || Quantity::Other {
            id: key.measure.clone(),
            unit: key.unit.clone(),
        },
        Quantity::Known,
    )
}

/// Where one rater has a photo, measure and side in one unit and another has it in another only.
fn unit_clashes(keys: &BTreeMap<Key, Vec<Option<usize>>>) -> Vec<(String, Vec<String>)> {
    let mut alone: BTreeMap<(&str, &str, &str), Vec<&Key>> = BTreeMap::new();
    for (key, rows) in keys {
        if rows.contains(&None) {
            let but_for_unit = (key.photo.as_str(), key.measure.as_str(), key.side.as_str());
            alone.entry(but_for_unit).or_default().push(key);
        }
    }
    let mut clashes: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
    for keys in alone.values().filter(|keys| keys.len() > 1) {
        for key in keys {
            clashes.entry(&key.measure).or_default().insert(&key.unit);
        }
    }
    clashes
        .into_iter()
        .map(|(measure, units)| {
            let units = units.into_iter().map(str::to_owned).collect();
            (measure.to_owned(), units)
        })
        .collect()
}
