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
    let arm_deg = match later {
        Some(later) => SetLimit::lowest(set.into_iter().chain([later])),
        // One that is over stays, to be told.
        None => screening.arm_deg,
    };
    Screening {
        arm_deg,
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::body::Side;

    fn previous(taken: Pace) -> Previous {
        Previous {
            date: "2026-04-28".parse().unwrap(),
            level: 2,
            last_visit: Some("follow-up".to_owned()),
            taken,
        }
    }

    fn step(pace: Pace, taken: Pace, visit: &str) -> (Pace, Pace) {
        let (step, _, taken) = unspent(
            (pace, "why".to_owned()),
            Some(&previous(taken)),
            Some(&visit.to_owned()),
        );
        (step, taken)
    }

    #[test]
    fn a_step_is_taken_once_for_each_visit() {
        use Pace::{Back, Begin, Forward, Stay};
        assert_eq!(step(Forward, Forward, "follow-up"), (Stay, Forward));
        assert_eq!(step(Back, Back, "follow-up"), (Stay, Back));
        // Through a plan between them too.
        assert_eq!(step(Stay, Back, "follow-up"), (Stay, Back));
        // Landmarks that were corrected afterwards may show a loss that no plan stepped back for.
        assert_eq!(step(Back, Forward, "follow-up"), (Back, Back));
        assert_eq!(step(Forward, Forward, "week 14"), (Forward, Forward));
        assert_eq!(step(Back, Back, "week 14"), (Back, Back));
        let first = unspent((Begin, String::new()), None, None);
        assert_eq!((first.0, first.2), (Begin, Begin));
    }

    #[test]
    fn of_two_limits_the_lower_one_that_holds_is_taken() {
        let day: Date = "2026-05-27".parse().unwrap();
        let limit = |value, until: Option<Date>| SetLimit {
            value,
            set_on: None,
            until,
        };
        let of = |set: Option<SetLimit>, later: Option<SetLimit>| {
            let screening = screening(None, set);
            with_later_limit(&screening, later, day)
                .arm_deg
                .map(|limit| limit.value)
        };
        assert_eq!(
            of(Some(limit(90.0, None)), Some(limit(60.0, None))),
            Some(60.0)
        );
        assert_eq!(
            of(Some(limit(60.0, None)), Some(limit(90.0, None))),
            Some(60.0)
        );
        let over = limit(60.0, Some(day.yesterday().unwrap()));
        assert_eq!(of(Some(over), Some(limit(90.0, None))), Some(90.0));
        assert_eq!(of(None, None), None);
    }

    #[test]
    fn a_side_that_nobody_knows_or_two_tell_differently_holds() {
        let rule = |told: Option<Operated>| {
            let (side, doubt) = side(&screening(told, None), &[]);
            (side, doubt.map(|doubt| doubt.rule))
        };
        assert_eq!(rule(None), (None, Some("side_unknown".to_owned())));
        let none = Some(Operated::Neither);
        assert_eq!(rule(none), (none, Some("side_none".to_owned())));
        let both = Some(Operated::Both);
        assert_eq!(rule(both), (both, None));
        let mut visit = crate::care::samples::right_arm(70, 150.0, 140.0, 3.0);
        visit.facts.operated = Some(Operated::One(Side::Right));
        let told = Some(Operated::One(Side::Left));
        let (_, doubt) = side(&screening(told, None), &[visit]);
        assert_eq!(doubt.map(|doubt| doubt.rule), Some("side_doubt".to_owned()));
    }

    fn screening(operated: Option<Operated>, arm_deg: Option<SetLimit>) -> Screening {
        Screening {
            date: "2026-05-27".parse().unwrap(),
            surgery: None,
            operated,
            answers: Default::default(),
            arm_deg,
            load_kg: None,
            overrides: Vec::new(),
        }
    }
}
