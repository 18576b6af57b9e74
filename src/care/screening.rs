//! The answers of one screening.

use std::collections::BTreeMap;

use jiff::civil::Date;

use crate::body::Operated;

/// What a person, or their papers, said on one day.
#[derive(Clone, Debug, PartialEq)]
pub struct Screening {
    pub date: Date,
    pub surgery: Option<Date>,
    pub operated: Option<Operated>,
    /// Question → option, both by their ids in the file of rules.
    pub answers: BTreeMap<String, String>,
    /// How high the surgeon or therapist lets the operated arm go, degrees.
    pub arm_deg: Option<SetLimit>,
    /// How much it may lift, kg.
    pub load_kg: Option<SetLimit>,
    pub overrides: Vec<Override>,
}

/// A limit that the surgeon or therapist set.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SetLimit {
    pub value: f64,
    pub set_on: Option<Date>,
    /// The last day on which it holds.
    pub until: Option<Date>,
}

impl SetLimit {
    /// Whether its last day is before this one.
    pub fn is_over_on(&self, day: Date) -> bool {
        self.until.is_some_and(|last| last < day)
    }

    /// Of several the lowest.
    pub fn lowest(limits: impl IntoIterator<Item = SetLimit>) -> Option<SetLimit> {
        limits
            .into_iter()
            .min_by(|a, b| a.value.total_cmp(&b.value))
    }

    pub fn holds_on(&self, day: Date) -> bool {
        self.set_on.is_none_or(|first| first <= day) && !self.is_over_on(day)
    }
}

/// A clinician takes one rule away, and answers for it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Override {
    pub rule: String,
    pub initials: String,
    pub reason: String,
}
