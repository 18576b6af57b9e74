//! Everything that one day's plan says: what was found, what falls short, and what is proposed.

use jiff::civil::Date;

use super::catalogue::Catalogue;
use super::programme::{Programme, propose};
use super::rules::own;
use super::{
    About, Finding, Findings, Goal, Pace, Person, Rules, Screening, SetLimit, Shortfall, Signal,
};
use super::{goals, pace, shortfalls, signals};
use crate::body::Operated;
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
    /// The step that the last visit gave, in this plan or an earlier one.
    pub taken: Pace,
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
    /// The last plan that was approved on an earlier day.
    pub previous: Option<&'a Previous>,
}

/// What an earlier plan leaves to the next.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Previous {
    pub date: Date,
    pub level: u8,
    /// The last visit that it looked at, as it is called, and the step that this visit gave.
    pub last_visit: Option<String>,
    pub taken: Pace,
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
            previous,
        } = *makings;
        let screening = &with_later_limit(screening, later_limit, today);
        let (operated, doubt) = side(screening, visits);
        let screening = &Screening {
            operated,
            ..screening.clone()
        };
        // One side for all that follows, whoever said it.
        let visits: Vec<Visit> = visits
            .iter()
            .map(|visit| {
                let mut visit = visit.clone();
                visit.facts.operated = operated.or(visit.facts.operated);
                visit
            })
            .collect();
        let visits = &visits[..];
        let person = Person {
            surgery: screening.surgery,
            operated,
            sex: about.sex,
            birth_year: about.birth_year,
        };
        let mut findings = rules.findings(screening, today);
        findings.holds.extend(doubt);
        let titles: Vec<String> = (1..)
            .zip(visits)
            .map(|(number, visit)| visit.title(number))
            .collect();
        let goals = goals(visits, &person, today);
        let shortfalls = shortfalls(visits, &person, &goals, today);
        let signals = signals(visits, screening.surgery, &findings);
        let (pace, pace_because, taken) = unspent(
            pace(visits, screening.surgery, &signals, &findings),
            previous,
            titles.last(),
        );
        let level = previous.map(|previous| previous.level);
        let programme = propose(catalogue, &findings, &shortfalls, pace, level);
        Plan {
            date: today,
            code: about.code.clone(),
            screening: screening.clone(),
            visits: titles,
            findings,
            goals,
            shortfalls,
            signals,
            pace,
            pace_because,
            taken,
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

/// The operated side as the screening has it, or else the last visit that says; and a hold where it is
/// not known, or told in two ways.
fn side(screening: &Screening, visits: &[Visit]) -> (Option<Operated>, Option<Finding>) {
    let told: Vec<Operated> = visits
        .iter()
        .rev()
        .filter_map(|visit| visit.facts.operated)
        .collect();
    let side = screening.operated.or(told.first().copied());
    let doubt = match side {
        None => Some(own(
            "side_unknown",
            "Nobody said which side was operated: enter it. Without it no limit knows its arm."
                .to_owned(),
        )),
        Some(Operated::Neither) => Some(own(
            "side_none",
            "By what was entered no side was operated: this plan is for people after breast surgery."
                .to_owned(),
        )),
        Some(side) => told.iter().find(|told| **told != side).map(|told| {
            own(
                "side_doubt",
                format!(
                    "The screening has {} for the operated side, and a visit has {}: find out which \
                     is right, and mend the other.",
                    side.name(),
                    told.name()
                ),
            )
        }),
    };
    (side, doubt)
}

/// A gain or a loss counts once: the plan that took its step has taken it. A loss that no plan stepped
/// back for, since the visit was corrected afterwards, still counts.
fn unspent(
    (pace, because): (Pace, String),
    previous: Option<&Previous>,
    last_visit: Option<&String>,
) -> (Pace, String, Pace) {
    let same_visit = previous.filter(|previous| previous.last_visit.as_ref() == last_visit);
    match (same_visit, pace) {
        (Some(previous), Pace::Forward) => spent(previous, &because),
        (Some(previous), Pace::Back) if previous.taken == Pace::Back => spent(previous, &because),
        (Some(previous), Pace::Stay | Pace::Begin) => (pace, because, previous.taken),
        _ => (pace, because, pace),
    }
}

fn spent(previous: &Previous, because: &str) -> (Pace, String, Pace) {
    let words = format!(
        "No visit since the plan of {}, which counted the last one. {because}",
        previous.date
    );
    (Pace::Stay, words, previous.taken)
}
