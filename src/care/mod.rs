//! The care around the measuring: what was asked of the person, what that forbids, what falls short,
//! and the exercises that are proposed for it.
//!
//! A [`Screening`] holds answers; [`rules`] turn them into [`Findings`]: holds, limits, cautions.
//! Visits say what falls [`short`](goals), what should be [asked about](signals), and at which
//! [`pace`] to go on. From findings, shortfalls and pace comes a proposed [`programme`]; a clinician
//! approves it or does not. Nothing here knows of photos, files or pages.

mod about;
pub mod catalogue;
mod course;
pub mod goals;
pub mod height;
pub mod pace;
pub mod plan;
pub mod programme;
pub mod rules;
#[cfg(test)]
mod samples;
mod screening;
pub mod signals;

use std::collections::BTreeMap;

use jiff::civil::Date;
use serde::Deserialize;

pub use self::about::About;
pub use self::course::Movement;
pub use self::goals::{Basis, Goal, Person, Sex, Standing, Target, goals, shortfalls};
pub use self::pace::pace;
pub(crate) use self::rules::ANSWERS_OLD;
pub use self::rules::{Choice, LOAD_KG, Question, Rules, RulesError, ScreeningError, Unanswered};
pub use self::screening::{Override, Screening, SetLimit};
pub use self::signals::{Signal, SignalKind, signals};

use crate::body::Side;

/// What a screening comes to on one day.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Findings {
    /// Refer or ask before anything else: while one stands, no exercise is proposed.
    pub holds: Vec<Finding>,
    /// The highest that an operated arm may be raised, degrees.
    pub arm_deg: Option<Limit>,
    /// The most that an operated arm may lift, kg.
    pub load_kg: Option<Limit>,
    pub cautions: Vec<Finding>,
    /// What no exercise on the sheet may ask for, by the tag in the catalogue, and every rule that
    /// says so.
    pub avoid: BTreeMap<String, Vec<Finding>>,
    pub highest_level: Option<HighestLevel>,
    /// What the programme begins with, whatever falls short.
    pub first: Vec<(Aim, Finding)>,
    /// Rules that limit less than another does, or than the limit that was set: for the clinician.
    pub set_aside: Vec<Finding>,
    /// Rules that would have applied, and whom and what took them away.
    pub overridden: Vec<(Finding, Override)>,
    /// Days since the surgery; negative before it.
    pub days_since_surgery: Option<i32>,
    /// The last day before the surgery, or a day of the rules, changes what may be done.
    pub stays_until: Option<Date>,
}

/// No exercise above this level.
#[derive(Clone, Debug, PartialEq)]
pub struct HighestLevel {
    pub level: u8,
    /// Every rule that bounds it, the strictest first.
    pub by: Vec<Finding>,
}

/// One rule that applies.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// Of the rule, as in the file of rules.
    pub rule: String,
    /// For the clinician, one or two sentences.
    pub words: String,
    /// For the person's sheet, where the person has to know it.
    pub at_home: Option<String>,
    pub source: String,
    pub known: Known,
}

/// How a source is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Known {
    Read,
    /// In a copy, or in a paper that cites it.
    Secondary,
    /// Not looked up.
    Memory,
    CommonPractice,
}

impl Known {
    pub const fn id(self) -> &'static str {
        match self {
            Known::Read => "read",
            Known::Secondary => "secondary",
            Known::Memory => "memory",
            Known::CommonPractice => "common_practice",
        }
    }
}

/// A limit that holds today.
#[derive(Clone, Debug, PartialEq)]
pub struct Limit {
    pub value: f64,
    /// The last day on which it holds; open where nobody said.
    pub until: Option<Date>,
    pub by: LimitBy,
}

#[derive(Clone, Debug, PartialEq)]
pub enum LimitBy {
    /// The surgeon's or therapist's own entry: it goes before the rules.
    Set { on: Option<Date> },
    /// Every rule that sets this very value, the one that holds longest first.
    Rules(Vec<Finding>),
}

impl LimitBy {
    /// None where surgeon or therapist set it.
    pub fn rules(&self) -> &[Finding] {
        match self {
            LimitBy::Set { .. } => &[],
            LimitBy::Rules(rules) => rules,
        }
    }
}

/// What an exercise is good for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Aim {
    Breathing,
    Flexion,
    Abduction,
    ElbowExtension,
    HeadForward,
    ShoulderForward,
    RoundedBack,
    TrunkLean,
    Strength,
}

impl Aim {
    pub const ALL: [Aim; 9] = [
        Aim::Breathing,
        Aim::Flexion,
        Aim::Abduction,
        Aim::ElbowExtension,
        Aim::HeadForward,
        Aim::ShoulderForward,
        Aim::RoundedBack,
        Aim::TrunkLean,
        Aim::Strength,
    ];

    pub const fn id(self) -> &'static str {
        match self {
            Aim::Breathing => "breathing",
            Aim::Flexion => "flexion",
            Aim::Abduction => "abduction",
            Aim::ElbowExtension => "elbow_extension",
            Aim::HeadForward => "head_forward",
            Aim::ShoulderForward => "shoulder_forward",
            Aim::RoundedBack => "rounded_back",
            Aim::TrunkLean => "trunk_lean",
            Aim::Strength => "strength",
        }
    }

    pub fn from_id(id: &str) -> Option<Aim> {
        Aim::ALL.into_iter().find(|aim| aim.id() == id)
    }
}

/// What the last visit's measures leave to be wished for.
#[derive(Clone, Debug, PartialEq)]
pub struct Shortfall {
    pub aim: Aim,
    pub side: Option<Side>,
    /// "right shoulder flexion 118 ± 12°, 47° short of the other arm"
    pub words: String,
}

/// How to go on since the visit before.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pace {
    /// The first plan, or nothing to hold it against.
    Begin,
    Forward,
    Stay,
    Back,
}

/// Initials that somebody can be asked by: one to eight characters, a letter among them.
pub fn is_initials(text: &str) -> bool {
    let text = text.trim();
    (1..=8).contains(&text.chars().count()) && text.chars().any(char::is_alphabetic)
}

/// Days from one date to another, negative where the other is earlier.
fn days_from(first: Date, other: Date) -> i32 {
    (other - first).get_days()
}
