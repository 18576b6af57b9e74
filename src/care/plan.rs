//! Everything that one day's plan says: what was found, what falls short, and what is proposed.

use jiff::civil::Date;

use super::catalogue::Catalogue;
use super::programme::{Programme, propose};
use super::{About, Findings, Goal, Pace, Person, Rules, Screening, SetLimit, Shortfall, Signal};
use super::{goals, pace, shortfalls, signals};
use crate::visit::Visit;

/// A proposal: it becomes a programme when a clinician approves it.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    pub date: Date,
    /// Whom it is for, by code.
    pub code: String,
    pub screening: Screening,
    /// The visits it looks at, as they are called, oldest first.
    pub visits: Vec<String>,
    pub findings: Findings,
    pub goals: Vec<Goal>,
    pub shortfalls: Vec<Shortfall>,
    pub signals: Vec<Signal>,
    pub pace: Pace,
    pub pace_because: String,
    pub programme: Programme,
}

/// What a plan is made by.
pub struct Makings<'a> {
    pub rules: &'a Rules,
    pub catalogue: &'a Catalogue,
    pub about: &'a About,
    pub screening: &'a Screening,
    /// Oldest first.
    pub visits: &'a [Visit],
    /// What the last visit after the screening was told of the arm's limit, and its day.
    pub later_limit: Option<SetLimit>,
    /// Of the last plan that was approved on an earlier day.
    pub previous_level: Option<u8>,
}

impl Plan {
    pub fn of(makings: &Makings, today: Date) -> Plan {
        let Makings {
            rules,
            catalogue,
            about,
            screening,
            visits,
            later_limit,
            previous_level,
        } = *makings;
        let screening = &with_later_limit(screening, later_limit, today);
        let person = Person {
            surgery: screening.surgery,
            operated: screening.operated,
            sex: about.sex,
            birth_year: about.birth_year,
        };
        let findings = rules.findings(screening, today);
        let goals = goals(visits, &person, today);
        let shortfalls = shortfalls(visits, &person, &goals, today);
        let signals = signals(visits, screening.surgery, &findings);
        let (pace, pace_because) = pace(visits, screening.surgery, &signals, &findings);
        let programme = propose(catalogue, &findings, &shortfalls, pace, previous_level);
        Plan {
            date: today,
            code: about.code.clone(),
            screening: screening.clone(),
            visits: visits
                .iter()
                .enumerate()
                .map(|(index, visit)| visit.title(index + 1))
                .collect(),
            findings,
            goals,
            shortfalls,
            signals,
            pace,
            pace_because,
            programme,
        }
    }
}

/// Of two limits the lower one holds: nobody here can tell whether the later one took the other away.
fn with_later_limit(screening: &Screening, later: Option<SetLimit>, today: Date) -> Screening {
    let set = screening.arm_deg.filter(|limit| limit.holds_on(today));
    let lower = match (set, later) {
        (Some(set), Some(later)) if set.value <= later.value => Some(set),
        (_, Some(later)) => Some(later),
        (_, None) => screening.arm_deg,
    };
    Screening {
        arm_deg: lower,
        ..screening.clone()
    }
}
